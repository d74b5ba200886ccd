"""Logger files of every layout: what must be understood, and what must be refused."""

from __future__ import annotations

import hashlib
import io
import subprocess
import sys
from datetime import date, datetime, time, timedelta
from pathlib import Path

import numpy as np
import pytest

from qualify.findings import Refusal
from qualify.inputs import InputFile
from qualify.readings import ReadOptions, Recording, read_recording
from qualify.readings.times import seconds_of
from qualify.units import TemperatureUnit

C, F, K = TemperatureUnit.C, TemperatureUnit.F, TemperatureUnit.K
AS_C = ReadOptions(units=C)


def logger_file(data: str | bytes, name: str = "oven.csv", encoding: str = "utf-8") -> InputFile:
    content = data.encode(encoding) if isinstance(data, str) else data
    return InputFile(name, Path(name), content, hashlib.sha256(content).hexdigest(), "readings")


def workbook(sheets: dict[str, list[list[object]]], name: str = "oven.xlsx") -> InputFile:
    from openpyxl import Workbook

    book = Workbook()
    del book["Sheet"]
    for title, rows in sheets.items():
        sheet = book.create_sheet(title)
        for row in rows:
            sheet.append(row)
    buffer = io.BytesIO()
    book.save(buffer)
    return logger_file(buffer.getvalue(), name)


def read(data: str | bytes, options: ReadOptions | None = None, encoding: str = "utf-8") -> Recording:
    return read_recording([logger_file(data, encoding=encoding)], options or ReadOptions())


def refused(data: str | bytes, options: ReadOptions | None = None, encoding: str = "utf-8") -> Refusal:
    with pytest.raises(Refusal) as caught:
        read(data, options, encoding)
    assert caught.value.where.startswith("oven.csv")
    return caught.value


def names(recording: Recording) -> list[str]:
    return [channel.name for channel in recording.channels]


ISO = "Time,T1 (°C),T2 (°C)\n2026-03-02T08:00:00,20.5,21.25\n2026-03-02T08:00:10,20.75,-3\n"


# --- layouts -----------------------------------------------------------------------------------------


def test_iso_times_with_comma():
    recording = read(ISO)
    assert names(recording) == ["T1", "T2"]
    assert [channel.header for channel in recording.channels] == ["T1 (°C)", "T2 (°C)"]
    assert [channel.unit for channel in recording.channels] == ["°C", "°C"]
    assert recording.raw_c.tolist() == [[20.5, 21.25], [20.75, -3.0]]
    assert recording.seconds.tolist() == [0.0, 10.0]
    assert recording.start == datetime(2026, 3, 2, 8)
    assert recording.utc_offset is None
    assert recording.rows["oven.csv"].tolist() == [2, 3]
    assert recording.doubts == ()
    layout = recording.layouts["oven.csv"]
    assert layout["delimiter"] == "comma"
    assert layout["encoding"] == "UTF-8"
    assert layout["header row"] == "1"
    assert layout["first row of readings"] == "2"


def test_semicolon_decimal_comma_windows_1252_separate_date_and_time():
    text = (
        "Datum;Zeit;Fühler 1 (°C);Fühler 2 (°C)\r\n"
        "02.03.2026;08:00:00;20,5;21,25\r\n"
        "02.03.2026;08:00:30;20,75;-3\r\n"
    )
    recording = read(text, encoding="cp1252")
    assert names(recording) == ["Fühler 1", "Fühler 2"]
    assert recording.raw_c.tolist() == [[20.5, 21.25], [20.75, -3.0]]
    assert recording.start == datetime(2026, 3, 2, 8)  # dots: day first
    assert recording.seconds.tolist() == [0.0, 30.0]
    layout = recording.layouts["oven.csv"]
    assert layout["encoding"] == "Windows-1252"
    assert layout["delimiter"] == "semicolon"
    assert layout["decimal mark"] == "comma"
    assert layout["time columns"] == "'Datum', 'Zeit'"
    assert "day-first" in layout["date order"]


@pytest.mark.parametrize("units_above_names", [False, True])
def test_preamble_units_row_half_days_fahrenheit_utf16(units_above_names: bool):
    header = ["Date,Time,Upper,Lower,Door", ",,°F,°F,%"]
    text = (
        "Logger,L-7\nStarted,03/14/2026 11:59:58 AM\n\n"
        + "\n".join(reversed(header) if units_above_names else header)
        + "\n03/14/2026,11:59:58 AM,212,32,0\n03/14/2026,12:00:00 PM,213.8,33.8,100\n"
    )
    recording = read(text, encoding="utf-16")
    assert names(recording) == ["Upper", "Lower"]
    assert recording.units == (F, F)
    np.testing.assert_allclose(recording.raw_c, [[100, 0], [101, 1]], atol=1e-12)
    assert [channel.name for channel in recording.others] == ["Door"]
    assert recording.others[0].unit == "%"
    assert recording.other_values.tolist() == [[0.0], [100.0]]
    assert recording.start == datetime(2026, 3, 14, 11, 59, 58)
    assert recording.seconds.tolist() == [0.0, 2.0]
    layout = recording.layouts["oven.csv"]
    assert layout["units row"] == ("4" if units_above_names else "5")
    assert layout["encoding"] == "UTF-16 with a byte order mark"
    assert "AM/PM" in layout["time format"]


def test_midnight_and_noon_of_half_days():
    text = (
        "Time,T1 (°C)\n2026-03-02 11:59 PM,1\n2026-03-03 12:00 AM,2\n2026-03-03 12:00 PM,3\n"
        "2026-03-03 1:00 p.m.,4\n"
    )
    assert read(text).seconds.tolist() == [0.0, 60.0, 43260.0, 46860.0]


@pytest.mark.parametrize(
    ("header", "factor"),
    [("Time (s)", 1.0), ("Elapsed [min]", 60.0), ("t (h)", 3600.0), ("Time_s", 1.0), ("Time (ms)", 0.001)],
)
def test_tab_with_elapsed_time(header: str, factor: float):
    recording = read(f"{header}\tT1 [°C]\tT2 [°C]\n0.5\t20.5\t21\n1.5\t20.6\t22\n")
    assert recording.start is None
    np.testing.assert_allclose(recording.seconds, [0.0, factor], rtol=1e-12)
    assert recording.raw_c.tolist() == [[20.5, 21.0], [20.6, 22.0]]
    assert recording.layouts["oven.csv"]["delimiter"] == "tab"
    assert not recording.doubts


def test_elapsed_unit_from_the_units_row_with_negative_times():
    recording = read("Time,T1,T2,O2\nmin,C,C,mol/mol\n-1.5,20,21,0.2\n0,20.5,21,0.19\n")
    assert recording.seconds.tolist() == [0.0, 90.0]
    assert names(recording) == ["T1", "T2"]
    assert recording.others[0].unit == "mol/mol"


def test_elapsed_time_without_a_unit_is_doubted():
    recording = read("Time,T1 (°C)\n-0.5,20\n0.5,21\n")
    assert recording.seconds.tolist() == [0.0, 1.0]
    assert [doubt.kind for doubt in recording.doubts] == ["time-unit-assumed"]


def test_elapsed_hours_minutes_seconds_beyond_a_day():
    recording = read("Elapsed;T1 (°C)\n23:59:59.5;20\n24:00:00.25;21\n100:00:00;22\n")
    assert recording.start is None
    assert recording.seconds.tolist() == [0.0, 0.75, 273600.5]


def test_times_of_day_without_a_date_are_doubted():
    recording = read("Time,T1 (°C)\n08:00:00,20\n08:00:05,21\n")
    assert recording.start is None
    assert recording.seconds.tolist() == [0.0, 5.0]
    assert [doubt.kind for doubt in recording.doubts] == ["clock-without-date"]


def test_two_part_elapsed_time_needs_its_form():
    assert refused("Elapsed,T1 (°C)\n0:05,20\n0:10,21\n").code == "time-form-unclear"
    assert read("Elapsed (mm:ss),T1 (°C)\n0:05,20\n1:10,21\n").seconds.tolist() == [0.0, 65.0]
    assert read("Elapsed (h:mm),T1 (°C)\n0:05,20\n1:10,21\n").seconds.tolist() == [0.0, 3900.0]


def test_sheet_with_a_title_above_its_header():
    rows: list[list[object]] = [
        ["Survey of oven OV-9"],
        [],
        ["Time", "T1 (°C)", "T2 (°C)", "Door"],
        [datetime(2026, 3, 2, 8), 20.5, 21, "shut"],
        [datetime(2026, 3, 2, 8, 0, 10), 20.75, "OL", "shut"],
        [datetime(2026, 3, 2, 8, 0, 20), 0.1, None, "open"],
    ]
    recording = read_recording([workbook({"Data": rows, "Notes": [["no table here"]]})])
    assert names(recording) == ["T1", "T2"]
    np.testing.assert_array_equal(recording.raw_c, [[20.5, 21], [20.75, np.nan], [0.1, np.nan]])
    assert recording.start == datetime(2026, 3, 2, 8)
    assert recording.seconds.tolist() == [0.0, 10.0, 20.0]
    assert recording.rows["oven.xlsx"].tolist() == [4, 5, 6]
    assert [(doubt.row, doubt.column, doubt.cells) for doubt in recording.doubts] == [
        (5, "T2 (°C)", 1),
        (6, "T2 (°C)", 1),
    ]
    layout = recording.layouts["oven.xlsx"]
    assert layout["sheet"] == "Data"
    assert layout["header row"] == "3"
    assert [(channel.name, channel.states) for channel in recording.others] == [("Door", ("shut", "open"))]


def test_sheet_with_times_as_text_and_numbers_as_text():
    rows: list[list[object]] = [
        ["Date", "Time", "T1 [°F]"],
        ["14/03/2026", "08:00", "212"],
        ["14/03/2026", "08:01", 32.5],
    ]
    recording = read_recording([workbook({"Data": rows})])
    assert recording.start == datetime(2026, 3, 14, 8)
    np.testing.assert_allclose(recording.raw_c, [[100], [0.5 / 1.8]])


def test_sheet_with_real_dates_and_times_in_two_columns():
    rows: list[list[object]] = [["Date", "Time", "T1 [°C]"]]
    rows += [[date(2026, 3, 14), time(23, 59, 59), 1.5], [date(2026, 3, 15), time(0, 0, 1), 2.5]]
    recording = read_recording([workbook({"Data": rows})])
    assert recording.start == datetime(2026, 3, 14, 23, 59, 59)
    assert recording.seconds.tolist() == [0.0, 2.0]


def test_sheet_with_elapsed_durations():
    rows: list[list[object]] = [["Elapsed", "T1 [°C]"]]
    rows += [[timedelta(hours=30, seconds=k), 20.0 + k] for k in range(3)]
    recording = read_recording([workbook({"Data": rows})])
    assert recording.seconds.tolist() == [0.0, 1.0, 2.0]


def test_sheet_times_with_fractions_stay_exact():
    start = datetime(2026, 3, 2, 23, 59, 58)
    rows: list[list[object]] = [["Time", "T1 (°C)"]]
    rows += [[start + timedelta(milliseconds=100 * k), k] for k in range(50)]
    recording = read_recording([workbook({"Data": rows})])
    np.testing.assert_allclose(recording.seconds, 0.1 * np.arange(50), atol=1e-9)


def test_sheet_that_must_be_named():
    table: list[list[object]] = [["Time (s)", "T1 (°C)"], [0, 20], [1, 21]]
    other: list[list[object]] = [["Time (s)", "T9 (°C)"], [0, 90], [1, 91]]
    file = workbook({"First": table, "Second": other})
    with pytest.raises(Refusal, match="--sheet") as caught:
        read_recording([file])
    assert caught.value.code == "several-sheets"
    assert names(read_recording([file], ReadOptions(sheet="Second"))) == ["T9"]
    with pytest.raises(Refusal, match="did you mean 'Second'") as caught:
        read_recording([file], ReadOptions(sheet="second"))
    assert caught.value.code == "sheet-no-such"


def test_two_tables_on_a_sheet_need_the_header_row():
    rows: list[list[object]] = [["Time (s)", "T1 (°C)"], [0, 20], [1, 21], []]
    rows += [["Time (s)", "T9 (°C)"], [0, 90], [1, 91], [2, 92]]
    file = workbook({"Data": rows})
    with pytest.raises(Refusal, match="--header-row") as caught:
        read_recording([file])
    assert caught.value.code == "several-tables"
    second = read_recording([file], ReadOptions(header_row=5))
    assert names(second) == ["T9"]
    assert second.rows["oven.xlsx"].tolist() == [6, 7, 8]
    first = read_recording([file], ReadOptions(header_row=1))
    assert names(first) == ["T1"]
    assert len(first.seconds) == 2
    assert [doubt.kind for doubt in first.doubts] == ["rows-below"]


def test_tables_side_by_side_on_a_sheet_are_refused():
    stamp = datetime(2026, 3, 2, 8)
    rows: list[list[object]] = [["Time", "T1 (°C)", None, "Time", "T2 (°C)"]]
    rows += [[stamp + timedelta(seconds=k), 20.0, None, stamp + timedelta(seconds=k), 30.0] for k in range(3)]
    with pytest.raises(Refusal) as caught:
        read_recording([workbook({"Data": rows})])
    assert caught.value.code == "tables-side-by-side"


def test_sheet_dates_half_text_are_refused():
    # A spreadsheet that took 03/02/2026 for a date but not 14/02/2026 has swapped day and month in the first.
    rows: list[list[object]] = [["Time", "T1 (°C)"]]
    rows += [[datetime(2026, 3, 2, 8), 20], ["14/02/2026 08:00", 21]]
    with pytest.raises(Refusal) as caught:
        read_recording([workbook({"Data": rows})])
    assert caught.value.code == "dates-in-two-forms"


def test_a_told_header_row_in_text():
    text = "Old,Names\n1,2\nTime (s),T1 (°C)\n0,20\n1,21\n"
    assert read(text, ReadOptions(header_row=3)).raw_c.tolist() == [[20.0], [21.0]]
    assert refused(text, ReadOptions(header_row=40)).code == "header-row-outside"


def test_two_tables_of_text_need_the_header_row():
    text = "Time (s),T1 (°C)\n0,20\n1,21\n\nTime (s),T8 (°C),T9 (°C)\n0,80,90\n1,81,91\n2,82,92\n"
    refusal = refused(text)
    assert refusal.code == "several-tables"
    assert "--header-row" in refusal.mend
    assert names(read(text, ReadOptions(header_row=5))) == ["T8", "T9"]


def test_names_that_could_be_units():
    assert names(read("Time,A,B,C,F\ns,C,C,C,C\n0,1,2,3,4\n1,1,2,3,4\n")) == ["A", "B", "C", "F"]
    assert names(read("Time,A,C,F,K\n2026-03-02 08:00,1,2,3,4\n2026-03-02 08:01,1,2,3,4\n", AS_C)) == [
        "A",
        "C",
        "F",
        "K",
    ]


def test_trailing_delimiters_make_no_column():
    recording = read("Time;T1 (°C);T2 (°C)\n0;20,5;21,5;\n1;20,6;21,6;\n", AS_C)
    assert names(recording) == ["T1", "T2"]
    assert [doubt.cells for doubt in recording.doubts if doubt.cells] == []


def test_a_column_without_a_name_is_called_by_its_number():
    recording = read("Time (s),T1,\n0,20,30\n1,21,31\n", AS_C)
    assert names(recording) == ["T1", "column 3"]
    assert [(doubt.kind, doubt.cells) for doubt in recording.doubts] == [("name-missing", 0)]


def test_lone_carriage_returns_and_quotation_marks():
    assert read(ISO.replace("\n", "\r")).raw_c.shape == (2, 2)
    quoted = '"Time","T1, top (°C)"\n"2026-03-02 08:00:00","20.5"\n"2026-03-02 08:00:01","21"\n'
    recording = read(quoted)
    assert names(recording) == ["T1, top"]
    assert recording.raw_c.tolist() == [[20.5], [21.0]]


def test_integers_of_any_size_are_numbers():
    recording = read("Time (s),T1 (°C),Pulses (1)\n0,20,123456789012345678901234\n1,21,9007199254740993\n")
    assert recording.other_values[:, 0].tolist() == [123456789012345678901234.0, 9007199254740993.0]


def test_several_time_columns_the_fullest_is_taken():
    text = (
        "Time,Timestamp,Elapsed Time,T1\n"
        "-2,2026-03-02 16:45:01,00:00:01,15\n"
        "-1,2026-03-02 16:45:03,00:00:02,16\n"
    )
    recording = read(text, AS_C)
    assert recording.start == datetime(2026, 3, 2, 16, 45, 1)
    assert recording.seconds.tolist() == [0.0, 2.0]
    assert names(recording) == ["T1"]
    aside = recording.layouts["oven.csv"]["columns set aside"]
    assert "'Time'" in aside
    assert "'Elapsed Time'" in aside


def test_date_and_time_go_before_elapsed_numbers():
    text = "Date,Time,Seconds,T1 (°C)\n2026/03/02,08:00:00,0,20\n2026/03/02,08:00:09,1,21\n"
    assert read(text).seconds.tolist() == [0.0, 9.0]


# --- units -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        ("Time (s),T1 (°C)\n0,20\n1,21\n", C),
        ("Time (s),T1 [°F]\n0,20\n1,21\n", F),
        ("Time (s),T1 °C\n0,20\n1,21\n", C),
        ("Time (s),T1 (K)\n0,320\n1,321\n", K),
        ("Time (s),T1,Scale\n0,20,F\n1,21,F\n", F),
        ("Units,°F\nTime (s),T1\n0,20\n1,21\n", F),
        ("Temperature unit: C\nTime (s),T1\n0,20\n1,21\n", C),
        ("Time,T1\ns,degF\n0,20\n1,21\n", F),
    ],
)
def test_where_a_unit_can_be_named(text: str, unit: TemperatureUnit):
    # What the file names wins over what was told.
    for told in (None, C, F):
        assert read(text, ReadOptions(units=told)).units == (unit,)


def test_trailing_degrees_stay_in_the_name():
    assert names(read("Time (s),T1 °C\n0,20\n1,21\n")) == ["T1 °C"]
    assert names(read("Time (s), T1 (top) \n0,20\n1,21\n", AS_C)) == ["T1 (top)"]


def test_a_unit_for_some_columns_means_none_for_the_others():
    recording = read("Time (s),T1 (°C),Level,RH (%)\n0,20,5,40\n1,21,6,41\n", AS_C)
    assert names(recording) == ["T1"]
    assert [channel.name for channel in recording.others] == ["Level", "RH"]
    assert [(doubt.kind, doubt.column) for doubt in recording.doubts] == [("unit-missing", "Level")]


def test_a_damaged_unit_does_not_lose_a_location_without_a_word():
    recording = read(ISO.replace("T2 (°C)", "T2 (°Q)"))
    assert names(recording) == ["T1"]
    assert [(doubt.kind, doubt.column) for doubt in recording.doubts] == [("unit-missing", "T2 (°Q)")]
    recording = read("Time,T1,T2,T3\ns,C,C,Q\n0,20,21,22\n1,20,21,22\n")
    assert names(recording) == ["T1", "T2"]
    assert [(doubt.kind, doubt.column) for doubt in recording.doubts] == [("unit-strange", "T3")]


def test_told_units_leave_columns_of_other_units_alone():
    recording = read("Time (s),T1,RH (%)\n0,212,40\n1,32,41\n", ReadOptions(units=F))
    assert names(recording) == ["T1"]
    np.testing.assert_allclose(recording.raw_c, [[100.0], [0.0]])
    assert [channel.name for channel in recording.others] == ["RH"]


def test_units_that_contradict_are_refused():
    assert refused("Time (s),T1,Scale\n0,20,C\n1,21,C\n2,70,F\n").code == "units-contradict"
    assert refused("Time,T1 (°C)\ns,°F\n0,20\n1,21\n").code == "units-contradict"


def test_a_column_of_flags_names_no_unit():
    recording = read("Time (s),T1,Alarm\n0,20,F\n1,21,F\n", AS_C)
    assert recording.units == (C,)
    assert recording.raw_c.tolist() == [[20.0], [21.0]]


def test_a_column_of_words_is_no_temperature():
    recording = read("Time (s),T1,State\n0,20,ON\n1,21,OFF\n", AS_C)
    assert names(recording) == ["T1"]
    assert [(channel.name, channel.states) for channel in recording.others] == [("State", ("ON", "OFF"))]
    assert recording.other_values.tolist() == [[0.0], [1.0]]


def test_a_column_of_remarks_is_set_aside():
    rows = "".join(f"{i},20.5,remark number {'abcdefghijklmnop'[i]}\n" for i in range(14))
    recording = read("Time (s),T1,Remark\n" + rows, AS_C)
    assert recording.others == ()
    assert "'Remark' (remarks)" in recording.layouts["oven.csv"]["columns set aside"]


def test_a_dead_channel_stays_a_temperature():
    recording = read("Time (s),T1,T2\n0,20,OL\n1,21,OL\n", AS_C)
    assert names(recording) == ["T1", "T2"]
    assert np.isnan(recording.raw_c[:, 1]).all()
    assert [(doubt.row, doubt.column, doubt.cells) for doubt in recording.doubts] == [(2, "T2", 2)]


# --- dates -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("first", "second", "options", "start"),
    [
        ("2026-03-02", "2026-03-04", ReadOptions(), datetime(2026, 3, 2)),
        ("02.03.2026", "04.03.2026", ReadOptions(), datetime(2026, 3, 2)),
        ("02.03.26", "04.03.26", ReadOptions(), datetime(2026, 3, 2)),
        ("02/03/2026", "13/03/2026", ReadOptions(), datetime(2026, 3, 2)),
        ("02/03/2026", "02/13/2026", ReadOptions(), datetime(2026, 2, 3)),
        ("02-03-2026", "04-03-2026", ReadOptions(dates="day-first"), datetime(2026, 3, 2)),
        ("02-03-2026", "04-03-2026", ReadOptions(dates="month-first"), datetime(2026, 2, 3)),
        ("26/03/02", "26/03/04", ReadOptions(dates="year-first"), datetime(2026, 3, 2)),
        ("02.03.2026", "04.03.2026", ReadOptions(dates="month-first"), datetime(2026, 2, 3)),
        ("2026-03-02", "2026-03-04", ReadOptions(dates="month-first"), datetime(2026, 3, 2)),
    ],
)
def test_order_of_day_and_month(first: str, second: str, options: ReadOptions, start: datetime):
    recording = read(f"Time,T1 (°C)\n{first} 00:00:00,20\n{second} 00:00:00,21\n", options)
    assert recording.start == start


@pytest.mark.parametrize("day", ["02/03/2026", "03/03/2026", "24/05/22", "02-03-26"])
def test_an_open_order_is_refused_naming_the_option(day: str):
    refusal = refused(f"Time,T1 (°C)\n{day} 08:00:00,20\n{day} 08:00:01,21\n")
    assert refusal.code == "dates-ambiguous"
    assert "--dates" in refusal.mend


def test_half_days_and_language_are_no_evidence_of_the_order():
    text = "Datum;Zeit;T1 (°C)\n02/03/2026;08:00:00 AM;20\n02/03/2026;08:00:01 AM;21\n"
    assert refused(text).code == "dates-ambiguous"


@pytest.mark.parametrize(
    ("rows", "row"),
    [(["13/03/2026", "03/14/2026"], 3), (["02.03.2026", "02.14.2026"], 3), (["2026-02-28", "2026-02-29"], 3)],
)
def test_dates_that_fit_no_order_are_refused_by_row(rows: list[str], row: int):
    text = "Time,T1 (°C)\n" + "".join(f"{day} 08:00:00,20\n" for day in rows)
    refusal = refused(text)
    assert refusal.code == "dates-contradict"
    assert f"row {row}" in refusal.where


def test_offsets_are_kept():
    recording = read("Time,T1 (°C)\n2026-03-02T08:00:00+01:00,20\n2026-03-02T08:00:10+01:00,21\n")
    assert recording.start == datetime(2026, 3, 2, 8)
    assert recording.utc_offset == "+01:00"
    assert recording.iso(10) == "2026-03-02T08:00:10+01:00"
    assert read("Time,T1 (°C)\n2026-03-02T08:00:00Z,20\n2026-03-02T08:00:10Z,21\n").utc_offset == "+00:00"


def test_mixed_offsets_are_put_in_order_of_utc_and_doubted():
    recording = read("Time,T1 (°C)\n2026-10-25T02:59:50+02:00,20\n2026-10-25T02:00:00+01:00,21\n")
    assert recording.seconds.tolist() == [0.0, 10.0]
    assert recording.utc_offset == "+02:00"
    assert [(doubt.kind, doubt.row) for doubt in recording.doubts] == [("utc-offsets-mixed", 3)]


def test_offsets_in_part_are_refused():
    text = "Time,T1 (°C)\n2026-03-02T08:00:00Z,20\n2026-03-02T08:00:10,21\n"
    assert refused(text).code == "utc-offset-in-part"


# --- TIME options ------------------------------------------------------------------------------------


def test_time_options():
    recording = read(ISO)
    assert seconds_of(recording, "2026-03-02T08:00:30") == 30.0
    assert seconds_of(recording, "2026-03-02 07:59:30.5") == -29.5
    assert seconds_of(recording, "12.5") == 12.5
    for text, word in [("2026-03-02T08:00:30+01:00", "offset"), ("soon", "ISO 8601"), ("nan", "finite")]:
        with pytest.raises(Refusal, match=word):
            seconds_of(recording, text)


def test_time_options_on_elapsed_time_are_seconds():
    recording = read("Time (s),T1 (°C)\n100,20\n101,21\n")
    assert seconds_of(recording, "1.5") == 1.5
    with pytest.raises(Refusal, match="elapsed"):
        seconds_of(recording, "2026-03-02T08:00:00")


def test_time_options_with_an_offset():
    recording = read("Time,T1 (°C)\n2026-03-02T08:00:00+01:00,20\n2026-03-02T08:00:10+01:00,21\n")
    assert seconds_of(recording, "2026-03-02T08:01:00") == 60.0
    assert seconds_of(recording, "2026-03-02T07:01:00Z") == 60.0


# --- encodings ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("encoding", "told", "worded"),
    [
        ("utf-8", None, "UTF-8"),
        ("utf-8-sig", None, "UTF-8 with a byte order mark"),
        ("utf-16", None, "UTF-16 with a byte order mark"),
        ("cp1252", None, "Windows-1252"),
        ("cp437", "cp437", "cp437, as told"),
        ("utf-16-le", "utf-16-le", "utf-16-le, as told"),
        # Valid UTF-8 goes before what was told.
        ("utf-8", "cp1252", "UTF-8"),
    ],
)
def test_encodings(encoding: str, told: str | None, worded: str):
    recording = read(ISO, ReadOptions(encoding=told), encoding)
    assert names(recording) == ["T1", "T2"]
    assert recording.layouts["oven.csv"]["encoding"] == worded


def test_an_unknown_encoding_is_refused_naming_the_option():
    # Two words that are as likely in another encoding; with a word of the trade it would be a doubt.
    unsure = ISO.replace("T1", "鉄板").replace("T2", "鋼").replace("°", "")
    refusal = refused(unsure, encoding="shift_jis", options=AS_C)
    assert refusal.code == "encoding-unknown"
    assert "--encoding" in refusal.mend
    told = ISO.replace("T1", "温度").replace("°", "")
    assert names(read(told, ReadOptions(encoding="shift_jis"), "shift_jis")) == ["温度", "T2"]
    assert refused(ISO.encode("cp437"), ReadOptions(encoding="no-such")).code == "encoding-no-such"
    assert refused(b"\xff\xfeT\x00i\x00m", None).code == "encoding-does-not-fit"


# --- refusals ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (b"", "file-empty"),
        (b" \n\n", "file-empty"),
        ("Time,T1 (°C)\n", "no-rows-of-readings"),
        ("some text\nand more of it\n", "no-rows-of-readings"),
        (bytes(range(256)) * 40, "format-unknown"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600), "format-unknown"),
        (b"PK\x03\x04 and no more", "format-unknown"),
        ("A,B\nx,20\ny,21\n", "no-time-column"),
        ("Time (s),RH (%)\n0,40\n1,41\n", "no-temperature-column"),
        ("Time (s),Event\n0,start\n1,stop\n", "no-temperature-column"),
        ("Time (s),T1\n0,20\n1,21\n", "unit-unknown"),
        ("0,20\n1,21\n", "no-column-names"),
        ("Time (s),T1 (°C)\n0,20,5\n1,21,6\n", "column-names-do-not-fit"),
        ("Time (s),T1 (°C),T1 (°C)\n0,20,5\n1,21,6\n", "names-double"),
        ("Time (s),T1 (°C)\n0,20\n1,21\n2,22\n3,23,24\n4,25\n", "row-too-long"),
        ("Time (s),T1 (°C)\n0,20\n0,21\n", "time-repeated"),
        ("Time (s),T1 (°C)\n0,20\n5,20\n4,21\n", "time-backward"),
        ("Time,T1 (°C)\n45717.5,20\n45717.6,21\n", "time-numbers-unclear"),
        ("Time (s),T1 (°C)\n0,20\nMax,21\n1,22\n", "time-unreadable"),
        ("Time,T1 (°C)\n2026-03-02 08:00:00,20\n2026-03-02 08:00:60,21\n", "time-unreadable"),
        ("Time,T1 (°C)\n2026-03-02 08:00:00,20\n2026-03-02 08:00:1O,21\n", "time-unreadable"),
        ("Time;T1 (°C)\n0;20,5\n1;20.6\n2;20,7\n", "marks-mixed"),
        ("Time;T1 (°C)\n0;20.5\n1;1.234,5\n", "marks-mixed"),
        ("Time (s);T1 (°C)\n0;998\n1;1,002\n", "decimal-mark-unclear"),
        ('Time (s),T1 (°C)\n0,"20\n1",21\n', "quotation-marks"),
        ('Time (s),T1 (°C)\n0,2"0\n1,2"1\n', "quotation-marks"),
        ("Time (s),T1 (°C)\r0,20\n1,21\n", "line-ends-mixed"),
        ("Time (s),T1 (°C)\n0,20\n1,2\x001\n", "format-unknown"),
        ("Time (s),T1 (°C)\n0,20\n1,2\x011\n", "control-characters"),
    ],
)
def test_refusals(data: str | bytes, code: str):
    refusal = refused(data)
    assert refusal.code == code
    assert refusal.why
    assert refusal.mend


def test_a_damaged_first_row_is_not_taken_for_names():
    text = "Time,T1,T2\n2026-0x-02 08:00:00,20.5,21.5\n2026-03-02 08:00:01,20.6,21.6\n"
    refusal = refused(text, AS_C)
    assert refusal.code == "column-names-unclear"
    assert "row 2" in refusal.where
    assert refused(text.replace(".5", "").replace(".6", ""), AS_C).code == "column-names-unclear"


def test_channels_may_be_called_by_numbers():
    assert names(read("Time,1,2,3\n2026-03-02 08:00,20,21,22\n2026-03-02 08:01,20,21,22\n", AS_C)) == [
        "1",
        "2",
        "3",
    ]


def test_a_short_first_row_is_not_taken_for_a_preamble():
    recording = read("Time (s),T1,T2\n0,20\n1,21,22\n2,21,23\n", AS_C)
    assert recording.rows["oven.csv"].tolist() == [2, 3, 4]
    assert [(doubt.kind, doubt.row, doubt.cells) for doubt in recording.doubts] == [("row-short", 2, 1)]


def test_a_damaged_workbook_is_refused():
    whole = workbook({"Data": [["Time (s)", "T1 (°C)"], [0, 20], [1, 21]]}).data
    for cut in (len(whole) // 2, len(whole) - 30):
        refusal = refused(whole[:cut])
        assert refusal.code == "format-unknown"
    at = whole.index(b"xl/worksheets/sheet1.xml") + 60
    broken = whole[:at] + bytes(byte ^ 0x5A for byte in whole[at : at + 40]) + whole[at + 40 :]
    assert refused(broken).code == "workbook-damaged"


def test_a_time_of_two_claimants_is_a_defect():
    from qualify.readings.registry import READERS, Reader, open_file

    twin = Reader("twin", READERS[0].sniff, READERS[0].open_source)
    with pytest.raises(RuntimeError, match="delimited text and twin"):
        open_file(logger_file(ISO), ReadOptions(), (*READERS, twin))


def test_what_was_tried_is_told():
    refusal = refused(bytes(range(256)) * 40)
    assert "delimited text: byte 1 is NUL" in refusal.what
    assert "workbook (.xlsx): it is no zip archive" in refusal.what


# --- discipline --------------------------------------------------------------------------------------


def test_importing_the_package_stays_light():
    code = "import sys, qualify.readings; print(sorted({'pandas', 'openpyxl'} & set(sys.modules)))"
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert found.stdout.strip() == "[]"


def test_text_files_need_no_openpyxl():
    code = (
        "import sys, hashlib; from pathlib import Path; from qualify.inputs import InputFile\n"
        "from qualify.readings import read_recording\n"
        f"data = {ISO!r}.encode()\n"
        "read_recording([InputFile('a.csv', Path('a.csv'), data, '', 'readings')])\n"
        "print('openpyxl' in sys.modules)"
    )
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert found.stdout.strip() == "False"


FORBIDDEN = (
    '"coerce"',
    "'coerce'",
    'errors="ignore"',
    'errors="replace"',
    "dropna",
    "fillna",
    "ffill",
    "bfill",
    "interpol" + "ate(",
    "np.interp",
    "nan_to_num",
    "drop_duplicates",
    "resample(",
    "merge_asof",
    "usecols",
    "skiprows",
    "skipfooter",
    "skipinitialspace",
    "na_values",
    "skip_blank_lines=True",
    "na_filter=True",
    'on_bad_lines="skip"',
    'on_bad_lines="warn"',
    "float_precision",
    "genfromtxt",
    "loadtxt",
)


def test_nothing_between_file_and_readings_coerces_skips_or_fills():
    import qualify.readings

    folder = Path(qualify.readings.__file__).parent
    sources = {path.name: path.read_text(encoding="utf-8") for path in folder.glob("*.py")}
    assert "delimited.py" in sources
    found = [(name, word) for name, text in sources.items() for word in FORBIDDEN if word in text]
    # Between two loggers, where the user told how far; and to estimate a clock's offset, which fills nothing.
    allowed = {"interpolate.py", "side_by_side.py", "shared_sensor.py"}
    assert [(name, word) for name, word in found if name not in allowed or "interp" not in word] == []


@pytest.mark.parametrize("mark", [".", ","])
def test_the_float_parser_is_exact(mark: str):
    """The default float parser of pandas gives the nearest double, as Python's own does."""
    generator = np.random.default_rng(20260302)
    words = [repr(float(x)) for x in generator.normal(200, 80, 4000)]
    words += [f"{x:.3f}" for x in generator.normal(200, 80, 4000)]
    words += [f"{x:.17e}" for x in 10.0 ** generator.uniform(-30, 29, 4000)]
    words += ["179.99999999999999999", "+3.5", ".5", "5.", "1E+05", "0.1", "1e-320"]
    text = "Time (s);T1 (°C);Count (1)\n" + "".join(
        f"{k};{word.replace('.', mark)};{word.replace('.', mark)}\n" for k, word in enumerate(words)
    )
    recording = read(text)
    assert recording.other_values[:, 0].tolist() == [float(word) for word in words]


def test_a_blank_between_date_and_time_makes_two_columns():
    recording = read("Time T1 T2\n2026-03-02 08:00:00 20.5 21\n2026-03-02 08:00:10 20.75 22\n", AS_C)
    assert recording.raw_c.tolist() == [[20.5, 21.0], [20.75, 22.0]]
    assert recording.start == datetime(2026, 3, 2, 8)
    assert recording.layouts["oven.csv"]["time columns"] == "'Time (date)', 'Time (time)'"
    text = "    Time        T1        T2        T3\n       s         C         C         C79.9    179.15\n"
    assert refused(text, AS_C).code == "column-names-do-not-fit"


def test_millivolts_by_an_unconfirmed_function_are_doubted():
    from qualify.readings.model import Millivolts

    text = "Time (s),T1 (mV)\n0,3.090\n1,3.1\n"
    for letter, doubted in (("K", False), ("C", True)):
        recording = read(text, ReadOptions(millivolts=Millivolts(letter, junction_c=0.0)))
        kinds = {doubt.kind for doubt in recording.doubts}
        assert ("reference-function-unconfirmed" in kinds) is doubted
