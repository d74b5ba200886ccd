"""Times as recorders write them: what must be understood to the nanosecond, and what must be refused."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from qualify.findings import Refusal
from qualify.inputs import InputFile
from qualify.readings import ReadOptions, Recording, read_recording

EPOCH = datetime(1970, 1, 1)
DAY_FIRST = ReadOptions(dates="day-first")
MONTH_FIRST = ReadOptions(dates="month-first")


def read(text: str, options: ReadOptions | None = None) -> Recording:
    content = text.encode()
    file = InputFile("oven.csv", Path("oven.csv"), content, hashlib.sha256(content).hexdigest(), "readings")
    return read_recording([file], options or ReadOptions())


def refused(text: str, options: ReadOptions | None = None) -> Refusal:
    with pytest.raises(Refusal) as caught:
        read(text, options)
    return caught.value


def table(times: Sequence[object], header: str = "Time", above: str = "") -> str:
    """A small file with these times; a time of two cells has its semicolon in it."""
    body = "".join(f"{time};{20.5 + 0.25 * (index % 7)}\n" for index, time in enumerate(times))
    return f"{above}{header};T1 (°C)\n{body}"


def kinds(recording: Recording) -> list[str]:
    return [doubt.kind for doubt in recording.doubts]


def regular(start: datetime, step_s: float, count: int) -> list[datetime]:
    return [start + index * timedelta(seconds=step_s) for index in range(count)]


def is_same(recording: Recording, instants: Sequence[datetime]) -> bool:
    """Whether the recording has these clock times, to the nanosecond of its seconds."""
    expected = [(instant - instants[0]).total_seconds() for instant in instants]
    return recording.start == instants[0] and np.array_equal(recording.seconds, expected)


# --- names of months -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "cell",
    [
        "02-Mar-2026 14:03:05",
        "2 Mar 2026 14:03:05",
        "02Mar2026 14:03:05",
        "02MAR2026:14:03:05",
        "02/mar/26 14:03:05",
        "Mar 2, 2026 2:03:05 PM",
        "March 2 2026 02:03:05 pm",
        "Mar-02-2026 14:03:05",
        "2026-Mar-02T14:03:05",
        "2026 March 2 14:03:05",
        "2nd March 2026, 14:03:05",
        "Mon 02-Mar-2026 14:03:05",
        "Monday, March 2, 2026 14:03:05",
        "2. März 2026 14:03:05",
        "Mo. 2. Mrz. 2026 14:03:05",
        "MÄRZ 2, 2026 14:03:05",
        "2 mars 2026 14:03:05",
        "lundi 2 mars 2026 14:03:05",
        "2 de marzo de 2026 14:03:05",
        "lun. 2 mar. 2026 14:03:05",
        "20260302 140305",
        "20260302T140305",
        "20260302_14:03:05",
        "20260302140305",
        "Mon 02.03.2026 14:03:05",
    ],
)
def test_a_form_of_stamp_is_understood(cell: str):
    other = {"PM": "2:04:05 PM", "pm": "02:04:05 pm"}.get(cell[-2:], "14:04:05")
    length = (
        6
        if cell.endswith("140305")
        else len({"PM": "2:03:05 PM", "pm": "02:03:05 pm"}.get(cell[-2:], "x" * 8))
    )
    later = cell[:-length] + ("140405" if length == 6 else other)
    recording = read(table([cell, later]))
    assert recording.start == datetime(2026, 3, 2, 14, 3, 5)
    assert recording.seconds.tolist() == [0, 60]


@pytest.mark.parametrize(
    ("names", "language"),
    [
        ("January February March April May June July August September October November December", "en"),
        ("Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec", "en short"),
        ("Januar Februar März April Mai Juni Juli August September Oktober November Dezember", "de"),
        ("Jan Feb Mrz Apr Mai Jun Jul Aug Sep Okt Nov Dez", "de short"),
        ("janvier février mars avril mai juin juillet août septembre octobre novembre décembre", "fr"),
        ("janv. févr. mars avr. mai juin juil. août sept. oct. nov. déc.", "fr short"),
        ("enero febrero marzo abril mayo junio julio agosto septiembre octubre noviembre diciembre", "es"),
        ("ene feb mar abr may jun jul ago sep oct nov dic", "es short"),
        (
            "gennaio febbraio marzo aprile maggio giugno luglio agosto settembre ottobre novembre dicembre",
            "it",
        ),
        ("gen feb mar apr mag giu lug ago set ott nov dic", "it short"),
    ],
)
def test_every_month_of_five_languages(names: str, language: str):
    cells = [f"05 {name} 2026 08:00" for name in names.split()]
    recording = read(table(cells))
    expected = [datetime(2026, month, 5, 8) for month in range(1, 13)]
    assert is_same(recording, expected), language


def test_a_named_month_needs_no_order_and_says_so():
    recording = read(table(["02-Mar-2026 08:00", "03-Mar-2026 08:00"]), MONTH_FIRST)
    assert recording.start == datetime(2026, 3, 2, 8)
    assert recording.layouts["oven.csv"]["date order"] == "day-first (the month has a name)"


def test_a_date_column_with_names_beside_a_time_column():
    recording = read(table(["2 Mar 2026;23:59:50", "3 Mar 2026;00:00:00"], "Date;Time"))
    assert is_same(recording, regular(datetime(2026, 3, 2, 23, 59, 50), 10, 2))


def test_a_date_of_eight_digits_beside_a_time_column():
    recording = read(table(["20260302;23:59:50", "20260303;00:00:00"], "Date;Time"))
    assert is_same(recording, regular(datetime(2026, 3, 2, 23, 59, 50), 10, 2))


@pytest.mark.parametrize(
    ("cells", "code", "row"),
    [
        (["30-Feb-2026 08:00", "01-Mar-2026 08:00"], "dates-contradict", 2),
        (["28-Feb-2026 08:00", "29-Feb-2026 08:00"], "dates-contradict", 3),
        (["Tue 02-Mar-2026 08:00", "Wed 03-Mar-2026 08:00"], "weekday-contradicts", 2),
        (["Mon 02-Mar-2026 08:00", "Mon 03-Mar-2026 08:00"], "weekday-contradicts", 3),
        (["02-Mar-2026 08:00", "03.03.2026 08:00"], "dates-in-two-forms", 3),
        (["02-Mar-2026 08:00", "2026-Mar-03 08:00"], "dates-in-two-forms", 3),
        (["02-Mar-2026 08:00", "Mar-03-2026 08:00"], "dates-in-two-forms", 3),
        (["02-Mar-2026 08:00", "03-Mai-2026 08:00", "04-Mxr-2026 08:00"], "time-unreadable", 4),
        (["14:03:05:250", "14:03:05:500"], "times-unreadable", 2),
        (["2026-060 14:03:05", "2026-060 14:03:15"], "times-unreadable", 2),
        (["2026-03-02T08:00:00+99:00", "2026-03-02T08:00:10+99:00"], "time-unreadable", 2),
    ],
)
def test_a_damaged_or_open_stamp_is_refused_by_its_row(cells: list[str], code: str, row: int):
    refusal = refused(table(cells))
    assert (refusal.code, refusal.where) == (code, f"oven.csv, row {row}, column 'Time'")


def test_day_of_year_is_not_read():
    assert refused(table(["2026-060", "2026-061"])).code == "times-unreadable"


def test_fractions_to_the_nanosecond():
    cells = [f"2026-03-02 08:00:00.{digits}" for digits in ("000000001", "000000002", "1", "99")]
    recording = read(table(cells))
    np.testing.assert_allclose(recording.seconds, [0, 1e-9, 0.099999999, 0.989999999], rtol=0, atol=1e-16)


def test_an_offset_of_hours_alone():
    recording = read(table(["2026-03-02 08:00:00+01", "2026-03-02 08:00:10+01"]))
    assert (recording.start, recording.utc_offset) == (datetime(2026, 3, 2, 8), "+01:00")


# --- any form, any instant -----------------------------------------------------------------------------

ENGLISH = [*("Jan", "Feb", "Mar", "Apr", "May", "Jun"), *("Jul", "Aug", "Sep", "Oct", "Nov", "Dec")]
GERMAN = [
    *("Januar", "Februar", "März", "April", "Mai", "Juni"),
    *("Juli", "August", "September", "Oktober", "November", "Dezember"),
]
FRENCH = ["janv.", "févr.", "mars", "avr.", "mai", "juin", "juil.", "août", "sept.", "oct.", "nov.", "déc."]


def half_day(instant: datetime) -> str:
    return f"{(instant.hour + 11) % 12 + 1}:{instant:%M:%S} {'AM' if instant.hour < 12 else 'PM'}"


@dataclass(frozen=True)
class Form:
    """One way to write instants: cell, header, the options that settle it, the finest step [µs]."""

    write: Callable[[datetime], str]
    header: str = "Time"
    options: ReadOptions = field(default_factory=ReadOptions)
    finest_us: int = 1_000_000


def whole_us(instant: datetime) -> int:
    return (instant - EPOCH) // timedelta(microseconds=1)


FORMS = {
    "iso": Form(lambda t: t.isoformat(sep="T", timespec="microseconds"), finest_us=1),
    "iso utc": Form(lambda t: t.isoformat(sep=" ", timespec="milliseconds") + "Z", finest_us=1000),
    "day first, dots": Form(lambda t: f"{t:%d.%m.%Y %H:%M:%S}"),
    "day first, told": Form(lambda t: f"{t.day}/{t.month}/{t:%Y %H:%M:%S}", options=DAY_FIRST),
    "month first, told": Form(lambda t: f"{t.month}/{t.day}/{t:%Y} {half_day(t)}", options=MONTH_FIRST),
    "two digits of the year": Form(lambda t: f"{t:%d-%m-%y %H:%M:%S}", options=DAY_FIRST),
    "day, English month": Form(lambda t: f"{t.day:02d}-{ENGLISH[t.month - 1]}-{t:%Y %H:%M:%S}"),
    "run together": Form(lambda t: f"{t.day:02d}{ENGLISH[t.month - 1].upper()}{t:%y %H:%M:%S}"),
    "English month in front": Form(lambda t: f"{ENGLISH[t.month - 1]} {t.day}, {t:%Y} {half_day(t)}"),
    "year, English month": Form(lambda t: f"{t:%Y}-{ENGLISH[t.month - 1]}-{t.day:02d} {t:%H:%M:%S}"),
    "German month": Form(lambda t: f"{t.day}. {GERMAN[t.month - 1]} {t:%Y, %H:%M:%S}"),
    "French month": Form(lambda t: f"{t.day} {FRENCH[t.month - 1]} {t:%Y %H:%M:%S}"),
    "day of the week": Form(
        lambda t: f"{('Mon', 'Tue', 'Wed', 'Thu', 'Fri', 'Sat', 'Sun')[t.weekday()]} {t:%d.%m.%Y %H:%M:%S}"
    ),
    "compact": Form(lambda t: f"{t:%Y%m%dT%H%M%S.%f}", finest_us=1),
    "fourteen digits": Form(lambda t: f"{t:%Y%m%d%H%M%S}"),
    "two cells": Form(lambda t: f"{t:%Y-%m-%d;%H:%M:%S}", header="Date;Time"),
    "two cells, compact date": Form(lambda t: f"{t:%Y%m%d;%H:%M:%S}", header="Date;Time"),
    "two cells of digits": Form(lambda t: f"{t:%Y%m%d;%H%M%S}", header="Date;Time"),
    "unix": Form(lambda t: str(whole_us(t) // 1_000_000), header="Unix time (s)"),
    "unix, fractions": Form(
        lambda t: f"{whole_us(t) // 1_000_000}.{whole_us(t) % 1_000_000:06d}", "epoch_s", finest_us=1000
    ),
    "unix-ms, told": Form(
        lambda t: str(whole_us(t) // 1000), options=ReadOptions(time_unit="unix-ms"), finest_us=1000
    ),
    "serial days": Form(
        lambda t: f"{whole_us(t) / 86_400e6 + 25_569:.11f}", header="Serial date", finest_us=1000
    ),
    "serial days, told": Form(
        lambda t: f"{whole_us(t) / 86_400e6 + 25_569:.11f}", "Date", ReadOptions(time_unit="serial-days")
    ),
}

starts = st.datetimes(datetime(2000, 1, 1), datetime(2099, 12, 1))


@settings(deadline=None, max_examples=300)
@given(
    form=st.sampled_from(sorted(FORMS)),
    start=starts,
    steps=st.lists(st.integers(1, 4_000_000_000), min_size=2, max_size=12),
)
@example(form="day, English month", start=datetime(2027, 12, 31, 23, 59, 59), steps=[1_000_000] * 3)
@example(form="month first, told", start=datetime(2028, 2, 28, 23, 59, 58), steps=[1_000_000, 86_400_000_000])
@example(form="unix", start=datetime(2099, 12, 31, 23, 59, 59), steps=[1_000_000] * 3)
@example(form="serial days", start=datetime(2028, 2, 29, 23, 59, 59, 999_000), steps=[1000, 1000])
def test_what_is_written_is_read(form: str, start: datetime, steps: list[int]):
    """Any form that holds the instants gives them back, to the last digit that it holds."""
    way = FORMS[form]
    grain = way.finest_us
    first = EPOCH + timedelta(microseconds=whole_us(start) // grain * grain)
    instants = [first]
    for step in steps:
        instants.append(instants[-1] + timedelta(microseconds=max(grain, step // grain * grain)))
    recording = read(table([way.write(instant) for instant in instants], way.header), way.options)
    assert is_same(recording, instants)


@settings(deadline=None, max_examples=60)
@given(form=st.sampled_from(sorted(FORMS)), start=starts)
def test_what_was_found_can_be_told(form: str, start: datetime):
    """Told what was found, a file is read to the same instants."""
    way = FORMS[form]
    text = table([way.write(instant) for instant in regular(start.replace(microsecond=0), 60, 4)], way.header)
    found = read(text, way.options)
    pinned = found.pins["oven.csv"]
    assert pinned.time_columns == tuple(way.header.split(";"))
    again = read(
        text,
        ReadOptions(
            time_columns=pinned.time_columns, time_unit=pinned.time_unit, dates=pinned.dates, date=pinned.date
        ),
    )
    assert (again.start, again.utc_offset) == (found.start, found.utc_offset)
    assert np.array_equal(again.seconds, found.seconds)


# --- numbers -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "header", ["Unix time", "epoch", "POSIX time (s)", "Timestamp (unix)", "epoch_seconds"]
)
def test_unix_seconds_named_in_words(header: str):
    recording = read(table([1772460185, 1772460195], header))
    assert (recording.start, recording.utc_offset) == (datetime(2026, 3, 2, 14, 3, 5), "+00:00")
    assert recording.seconds.tolist() == [0, 10]


@pytest.mark.parametrize("header", ["Unix time", "epoch (ms)", "epoch_ms"])
def test_unix_milliseconds_named_in_words(header: str):
    recording = read(table([1772460185250, 1772460195250], header))
    assert recording.start == datetime(2026, 3, 2, 14, 3, 5, 250_000)
    assert recording.seconds.tolist() == [0, 10]


def test_unix_numbers_of_no_sound_size_are_refused():
    refusal = refused(table([12, 22], "Unix time"))
    assert refusal.code == "time-numbers-unclear"
    assert "--time-unit" in refusal.mend


@pytest.mark.parametrize("first", [1772460185, 46083.5])
def test_large_numbers_without_a_unit_are_refused(first: float):
    refusal = refused(table([first, first + 1], "Time"))
    assert (refusal.code, refusal.where) == ("time-numbers-unclear", "oven.csv, row 2, column 'Time'")
    assert "--time-unit" in refusal.mend


def test_a_date_column_of_numbers_is_refused_until_told():
    text = table([46083.5, 46083.75], "Date")
    assert refused(text).code == "time-numbers-unclear"
    recording = read(text, ReadOptions(time_unit="serial-days"))
    assert is_same(recording, [datetime(2026, 3, 2, 12), datetime(2026, 3, 2, 18)])
    assert recording.utc_offset is None


def test_serial_days_are_rounded_to_a_millisecond_and_their_resolution_told():
    recording = read(table(["46083.333333", "46083.333449"], "Serial date"))
    assert recording.start == datetime(2026, 3, 2, 7, 59, 59, 971_000)
    assert recording.seconds.tolist() == [0, 10.023]
    assert "6 decimals of a day (0.0864 s)" in recording.layouts["oven.csv"]["time format"]


def test_a_serial_number_on_a_plate_is_no_time():
    text = "Serial number;Time (s);T1 (°C)\n40123;0;20\n40123;10;21\n"
    assert read(text).seconds.tolist() == [0, 10]
    assert refused("Serial number;T1 (°C)\n40123;20\n40123;21\n").code == "no-time-column"


@pytest.mark.parametrize(("unit", "factor"), [("s", 1), ("min", 60), ("h", 3600), ("ms", 0.001)])
def test_a_told_unit_of_elapsed_time_leaves_no_doubt(unit: str, factor: float):
    recording = read(table([0, 30, 60]), ReadOptions(time_unit=unit))
    np.testing.assert_allclose(recording.seconds, np.array([0, 30, 60]) * factor, rtol=0, atol=1e-12)
    assert "time-unit-assumed" not in kinds(recording)
    assert "time-unit-assumed" in kinds(read(table([0, 30, 60])))


def test_a_damaged_number_is_refused_by_its_row():
    for damaged in ("x20", "1e300"):
        refusal = refused(table([0, 10, damaged, 30], "Time (s)"))
        assert (refusal.code, refusal.where) == ("time-unreadable", "oven.csv, row 4, column 'Time (s)'")


# --- elapsed h:mm:ss -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("unit", "cells", "seconds"),
    [
        ("h:mm:ss", ["0:00:00", "0:10:00", "26:00:00"], [0, 600, 93_600]),
        ("h:mm", ["0:00", "0:10", "26:00"], [0, 600, 93_600]),
        ("mm:ss", ["00:00", "00:10", "126:00"], [0, 10, 7560]),
        ("mm:ss", ["05:12.3", "05:12.8"], [0, 0.5]),
        ("h:mm:ss", ["23:59:59", "1d 00:00:01", "2d 02:03:04"], [0, 2, 93_785]),
    ],
)
def test_a_told_form_of_elapsed_time(unit: str, cells: list[str], seconds: list[float]):
    recording = read(table(cells), ReadOptions(time_unit=unit))
    np.testing.assert_allclose(recording.seconds, seconds, rtol=0, atol=1e-9)
    assert recording.start is None
    assert "clock-without-date" not in kinds(recording)


@pytest.mark.parametrize("cell", ["1d 02:03:04", "1.02:03:04", "1 02:03:04"])
def test_days_in_front_of_elapsed_time(cell: str):
    text = table(["23:59:59", cell], "Elapsed time")
    assert read(text).seconds.tolist() == [0, 93_784 - 86_399]
    refusal = refused(table(["23:59:59", cell], "Clock"))
    assert (refusal.code, refusal.where) == ("time-unreadable", "oven.csv, row 3, column 'Clock'")


def test_two_parts_are_refused_until_told():
    for cells in (["05:12", "05:13"], ["05:12.3", "05:12.8"]):
        refusal = refused(table(cells))
        assert refusal.code == "time-form-unclear"
        assert "--time-unit" in refusal.mend
    refusal = refused(table(["05:59", "05:60"]), ReadOptions(time_unit="mm:ss"))
    assert (refusal.code, refusal.where) == ("time-unreadable", "oven.csv, row 3, column 'Time'")


# --- what is told --------------------------------------------------------------------------------------

BOTH = "Stamp;Elapsed;T1 (°C)\n2026-03-02 08:00:00;0;20\n2026-03-02 08:00:10;11;21\n"


def test_told_columns_win_over_detection():
    assert read(BOTH).seconds.tolist() == [0, 10]
    assert read(BOTH, ReadOptions(time_columns=("Elapsed",), time_unit="s")).seconds.tolist() == [0, 11]
    assert read(BOTH, ReadOptions(time_columns=("Stamp",))).seconds.tolist() == [0, 10]
    assert read(BOTH, ReadOptions(time_unit="min")).seconds.tolist() == [0, 660]


def test_told_date_and_time_in_either_order():
    text = "A;B;C;T1 (°C)\n2026-01-01;08:00:00;2026-03-02;20\n2026-01-02;08:00:10;2026-03-02;21\n"
    for told in (("B", "C"), ("C", "B")):
        assert is_same(read(text, ReadOptions(time_columns=told)), regular(datetime(2026, 3, 2, 8), 10, 2))


@pytest.mark.parametrize(
    ("options", "code", "words"),
    [
        (ReadOptions(time_columns=("Elapse",)), "time-column-missing", "did you mean 'Elapsed'?"),
        (ReadOptions(time_columns=("Stamp", "Elapsed")), "time-column-unfit", "--time-column"),
        (ReadOptions(time_unit="sec"), "time-unit-unknown", "serial-days"),
        (ReadOptions(time_unit="mm:ss"), "time-unit-unfit", "h:mm:ss"),
        (ReadOptions(time_columns=("Stamp",), time_unit="s"), "time-unit-unfit", "numbers"),
        (ReadOptions(date=date(2026, 3, 3)), "date-contradicts", "2026-03-02"),
        (ReadOptions(zone="Europe/Berlim"), "zone-unknown", "did you mean 'Europe/Berlin'?"),
        (ReadOptions(time_columns=("Elapsed",), zone="Europe/Berlin"), "zone-contradicts", "no date"),
        (ReadOptions(time_columns=("Elapsed",), date=date(2026, 3, 2)), "date-contradicts", "elapsed"),
    ],
)
def test_what_is_told_wrongly_is_refused(options: ReadOptions, code: str, words: str):
    refusal = refused(BOTH, options)
    assert refusal.code == code
    assert words in str(refusal)


# --- times of day --------------------------------------------------------------------------------------

EVENING = ["23:59:40", "23:59:50", "00:00:00", "00:00:10"]
EVENING_INSTANTS = regular(datetime(2026, 3, 2, 23, 59, 40), 10, 4)


def test_a_told_date_and_a_midnight():
    recording = read(table(EVENING), ReadOptions(date=date(2026, 3, 2)))
    assert is_same(recording, EVENING_INSTANTS)
    midnights = [doubt for doubt in recording.doubts if doubt.kind == "midnight-passed"]
    assert [(doubt.row, doubt.column) for doubt in midnights] == [(4, "Time")]
    assert "clock-without-date" not in kinds(recording)


def test_a_midnight_without_a_date():
    recording = read(table(EVENING))
    assert recording.start is None
    assert recording.seconds.tolist() == [0, 10, 20, 30]
    assert {"midnight-passed", "clock-without-date"} <= set(kinds(recording))


def test_many_midnights_make_one_doubt():
    cells = [f"{hour:02d}:00:00" for _ in range(6) for hour in range(0, 24, 2)]
    recording = read(table(cells), ReadOptions(date=date(2026, 12, 28)))
    assert is_same(recording, regular(datetime(2026, 12, 28), 7200, 72))
    midnights = [doubt for doubt in recording.doubts if doubt.kind == "midnight-passed"]
    assert [doubt.row for doubt in midnights] == [14]
    assert "4 times" in midnights[0].text


@pytest.mark.parametrize(
    "cells", [["12:00:00", "12:00:10", "08:00:00"], ["23:00:00", "23:00:10", "01:00:00"]]
)
def test_a_fall_that_is_no_midnight_is_refused(cells: list[str]):
    for options in (ReadOptions(), ReadOptions(date=date(2026, 3, 2))):
        refusal = refused(table(cells), options)
        assert (refusal.code, refusal.where) == ("time-backward", "oven.csv, row 4, column 'Time'")


def test_a_date_column_rolls_only_by_its_date():
    refusal = refused(table(["2026-03-02;23:59:50", "2026-03-02;00:00:00"], "Date;Time"))
    assert refusal.code == "time-backward"


@pytest.mark.parametrize(
    "line",
    [
        "Start date;02.03.2026",
        "Date: 02.03.2026",
        "# Start = 2026-03-02",
        "Datum 02.03.2026",
        "Date de début;2 mars 2026",
        "Recording start:;Mar 2, 2026",
        "Start time;2026-03-02 23:59:40",
        "Date;02.03.2026;23:59:40",
        "Started: Mon 02-Mar-2026 11:59:40 PM",
    ],
)
def test_a_date_above_the_header(line: str):
    recording = read(table(EVENING, above=f"{line}\nDue;2027-01-01\n"))
    assert is_same(recording, EVENING_INSTANTS)
    assert "2026-03-02" in recording.layouts["oven.csv"]["date"]
    assert recording.pins["oven.csv"].date == date(2026, 3, 2)
    assert not {"clock-without-date", "before-start", "date-above-unused"} & set(kinds(recording))


@pytest.mark.parametrize(
    "line",
    [
        "Calibration date;02.03.2026",
        "Due;02.03.2026",
        "Exported: 02.03.2026",
        "Printed;2026-03-02 23:59:40",
        "Version;2026-03-02",
        "Start;23:59:40",
        "Start;channel 2",
    ],
)
def test_other_dates_above_the_header_are_never_taken(line: str):
    recording = read(table(EVENING, above=f"{line}\n"))
    assert recording.start is None
    assert "clock-without-date" in kinds(recording)


def test_dates_above_the_header_that_disagree_are_not_used():
    recording = read(table(EVENING, above="Date;2026-03-02\nStart;2026-03-03 23:59:40\n"))
    assert recording.start is None
    unused = [doubt for doubt in recording.doubts if doubt.kind == "date-above-unused"]
    assert len(unused) == 1
    assert "2026-03-03" in unused[0].text
    assert "--date" in unused[0].text


def test_an_ambiguous_date_above_the_header_is_not_used_until_its_order_is_told():
    text = table(EVENING, above="Date;02/03/2026\n")
    recording = read(text)
    assert recording.start is None
    assert "date-above-unused" in kinds(recording)
    assert is_same(read(text, DAY_FIRST), EVENING_INSTANTS)


def test_a_told_date_wins_over_one_above_the_header():
    recording = read(table(EVENING, above="Date;2025-01-01\n"), ReadOptions(date=date(2026, 3, 2)))
    assert is_same(recording, EVENING_INSTANTS)


def test_a_first_time_before_the_named_start_is_a_doubt():
    assert "before-start" in kinds(read(table(["08:00:00", "08:00:10"], above="Start;2026-03-02 14:00:00\n")))
    assert "before-start" not in kinds(
        read(table(["08:00:00", "08:00:10"], above="Start;2026-03-02 08:00:30\n"))
    )


@pytest.mark.parametrize("above", ["Start;2026-03-02 08:00:00\n", "Date;2026-03-02\n"])
@pytest.mark.parametrize("first", ["00:00:00", "00:00:05"])
def test_times_from_zero_under_a_date_are_elapsed(above: str, first: str):
    """A clock that begins at zero under a start at 8 is a stop watch, not a night."""
    recording = read(table([first, "00:00:10"], above=above))
    assert recording.start is None
    assert "date-above-unused" in kinds(recording)


def test_two_parts_under_a_date_are_never_taken_for_hours_without_evidence():
    cells = [f"00:{second:02d}" for second in range(20, 60)]
    assert refused(table(cells, above="Date;2026-03-02\n")).code == "time-form-unclear"
    recording = read(table(["14:02", "14:03"], above="Start;2026-03-02 14:02:10\n"))
    assert is_same(recording, regular(datetime(2026, 3, 2, 14, 2), 60, 2))


# --- zones and clock changes ---------------------------------------------------------------------------

# UTC instant of the change, offsets before and after [min]; from the published rules of each zone.
FALLS = {
    "Europe/Berlin": (datetime(2026, 10, 25, 1), 120, 60),
    "America/New_York": (datetime(2026, 11, 1, 6), -240, -300),
    "Australia/Sydney": (datetime(2026, 4, 4, 16), 660, 600),
    "Australia/Lord_Howe": (datetime(2026, 4, 4, 15), 660, 630),
}
SPRINGS = {
    "Europe/Berlin": (datetime(2026, 3, 29, 1), 60, 120),
    "America/New_York": (datetime(2026, 3, 8, 7), -300, -240),
    "Australia/Sydney": (datetime(2026, 10, 3, 16), 600, 660),
    "Australia/Lord_Howe": (datetime(2026, 10, 3, 15, 30), 630, 660),
}
CHANGES = [(zone, *change) for changes in (FALLS, SPRINGS) for zone, change in changes.items()]


def local_cells(utc: Sequence[datetime], change: datetime, before: int, after: int) -> list[str]:
    return [f"{t + timedelta(minutes=before if t < change else after):%Y-%m-%d %H:%M:%S}" for t in utc]


@pytest.mark.parametrize(("zone", "change", "before", "after"), CHANGES)
@pytest.mark.parametrize("step_s", [10, 60, 600, 1800, 3600, 7200])
def test_a_clock_change_of_a_told_zone(zone: str, change: datetime, before: int, after: int, step_s: int):
    utc = regular(change - timedelta(hours=6), step_s, 43_200 // step_s)
    recording = read(table(local_cells(utc, change, before, after)), ReadOptions(zone=zone))
    assert recording.start == utc[0] + timedelta(minutes=before)
    sign = "-" if before < 0 else "+"
    assert recording.utc_offset == f"{sign}{abs(before) // 60:02d}:{abs(before) % 60:02d}"
    assert np.array_equal(recording.seconds, step_s * np.arange(len(utc)))
    listed = [doubt for doubt in recording.doubts if doubt.kind == "clock-changed"]
    assert [doubt.row for doubt in listed] == [2 + utc.index(change)]
    assert zone in listed[0].text
    assert recording.pins["oven.csv"].zone == zone


@settings(deadline=None, max_examples=80)
@given(
    change=st.sampled_from(CHANGES),
    step_s=st.integers(1, 900),
    lead_s=st.integers(3601, 20_000),
    phase_s=st.integers(0, 900),
)
def test_any_regular_record_across_a_clock_change(
    change: tuple[str, datetime, int, int], step_s: int, lead_s: int, phase_s: int
):
    zone, at, before, after = change
    first = at - timedelta(seconds=lead_s + phase_s % step_s)
    utc = regular(first, step_s, (lead_s + 12_000) // step_s + 2)
    recording = read(table(local_cells(utc, at, before, after)), ReadOptions(zone=zone))
    assert np.array_equal(recording.seconds, step_s * np.arange(len(utc)))


@pytest.mark.parametrize(("zone", "change"), SPRINGS.items())
def test_a_time_that_never_was_is_refused_by_its_row(zone: str, change: tuple[datetime, int, int]):
    at, before, _ = change
    local = regular(at + timedelta(minutes=before) - timedelta(minutes=20), 600, 5)
    refusal = refused(table(local), ReadOptions(zone=zone))
    assert (refusal.code, refusal.where) == ("time-never-was", "oven.csv, row 4, column 'Time'")
    assert zone in refusal.what


def test_a_repeated_hour_without_a_fall_is_refused():
    local = regular(datetime(2026, 10, 25, 1, 0), 600, 18)
    refusal = refused(table(local), ReadOptions(zone="Europe/Berlin"))
    assert (refusal.code, refusal.where) == ("repeated-hour-open", "oven.csv, row 8, column 'Time'")


@pytest.mark.parametrize(
    ("local", "first", "span"),
    [
        # The record ends in the first pass, and begins in the second.
        (regular(datetime(2026, 10, 25, 1, 30), 600, 8), "+02:00", 4200),
        (regular(datetime(2026, 10, 25, 2, 30), 600, 8), "+01:00", 4200),
    ],
)
def test_a_part_of_a_repeated_hour_belongs_to_its_neighbours(local: list[datetime], first: str, span: int):
    recording = read(table(local), ReadOptions(zone="Europe/Berlin"))
    assert (recording.utc_offset, recording.seconds[-1]) == (first, span)
    taken = [doubt for doubt in recording.doubts if doubt.kind == "repeated-hour-taken"]
    assert len(taken) == 1
    assert ("first" if first == "+02:00" else "second") in taken[0].text


@pytest.mark.parametrize("minutes", [30, 60])
@pytest.mark.parametrize("step_s", [10, 60, 600])
def test_a_clock_set_back_without_a_zone_is_refused_with_the_zone_as_mend(minutes: int, step_s: int):
    before = regular(datetime(2026, 10, 25, 1, 0), step_s, 7200 // step_s)
    after = regular(datetime(2026, 10, 25, 3, 0) - timedelta(minutes=minutes), step_s, 5)
    refusal = refused(table([*before, *after]))
    assert (refusal.code, refusal.where) == (
        "time-backward",
        f"oven.csv, row {2 + len(before)}, column 'Time'",
    )
    assert "--zone Europe/Berlin" in refusal.mend


def test_a_repeated_hour_with_a_gap_and_no_fall_is_refused():
    local = [*regular(datetime(2026, 10, 25, 1, 30), 600, 5), *regular(datetime(2026, 10, 25, 2, 40), 600, 2)]
    assert refused(table(local), ReadOptions(zone="Europe/Berlin")).code == "repeated-hour-open"


def test_another_fall_says_nothing_of_zones():
    local = [*regular(datetime(2026, 10, 25, 1), 10, 9), *regular(datetime(2026, 10, 24, 20), 10, 9)]
    assert "--zone" not in refused(table(local)).mend


def test_a_clock_put_forward_without_a_zone_is_a_doubt():
    local = [*regular(datetime(2026, 3, 29, 1, 50), 10, 60), *regular(datetime(2026, 3, 29, 3), 10, 9)]
    recording = read(table(local))
    jumps = [doubt for doubt in recording.doubts if doubt.kind == "clock-jump"]
    assert [(doubt.row, doubt.column) for doubt in jumps] == [(62, "Time")]
    assert "row 61" in jumps[0].text
    assert "--zone" in jumps[0].text
    assert "clock-jump" not in kinds(read(table(local), ReadOptions(zone="Europe/Berlin")))
    gap = [*local[:60], *regular(datetime(2026, 3, 29, 3, 7), 10, 9)]
    assert "clock-jump" not in kinds(read(table(gap)))


@pytest.mark.parametrize("cells", [["2026-03-02T08:00:00Z", "2026-03-02T08:00:10Z"]])
def test_a_zone_beside_offsets_is_a_contradiction(cells: list[str]):
    refusal = refused(table(cells), ReadOptions(zone="Europe/Berlin"))
    assert (refusal.code, refusal.where) == ("zone-contradicts", "oven.csv, row 2, column 'Time'")
    unix = refused(table([1772460185, 1772460195], "Unix time"), ReadOptions(zone="Europe/Berlin"))
    assert unix.code == "zone-contradicts"


def test_a_zone_holds_for_times_of_day_and_serial_days():
    told = ReadOptions(zone="America/New_York", date=date(2026, 3, 2))
    recording = read(table(EVENING), told)
    assert (recording.start, recording.utc_offset) == (EVENING_INSTANTS[0], "-05:00")
    serial = read(table([46083.5, 46083.75], "Serial date"), ReadOptions(zone="Asia/Tokyo"))
    assert (serial.start, serial.utc_offset) == (datetime(2026, 3, 2, 12), "+09:00")


def test_zone_data_do_not_come_from_the_machine(monkeypatch: pytest.MonkeyPatch):
    import zoneinfo

    def forbidden(*_: object, **__: object) -> None:
        raise AssertionError("the machine's zone data were asked for")

    monkeypatch.setattr(zoneinfo, "ZoneInfo", forbidden)
    recording = read(table(regular(datetime(2026, 3, 2, 8), 10, 3)), ReadOptions(zone="Asia/Kathmandu"))
    assert recording.utc_offset == "+05:45"


# --- long tables ---------------------------------------------------------------------------------------


def long_table(times: Sequence[str], *, by_channel: bool) -> str:
    places = [(when, channel) for when in range(len(times)) for channel in (1, 2)]
    if by_channel:
        places.sort(key=lambda place: place[1])
    body = "".join(f"{times[when]};T{channel};{20 + when + channel}\n" for when, channel in places)
    return f"Time;Channel;Value (°C)\n{body}"


@pytest.mark.parametrize("by_channel", [False, True])
def test_midnights_of_a_long_table_pass_within_each_channel(by_channel: bool):
    """A channel that begins where another ended its day doesn't begin a day later."""
    cells = [f"{hour:02d}:{minute:02d}:00" for hour in range(24) for minute in (0, 30)]
    text = long_table([*cells, "00:00:00"], by_channel=by_channel)
    recording = read(text, ReadOptions(date=date(2026, 3, 2), table="long"))
    assert is_same(recording, regular(datetime(2026, 3, 2), 1800, 49))
    assert np.isfinite(recording.raw_c).all()


@pytest.mark.parametrize("by_channel", [False, True])
def test_a_clock_change_in_a_long_table(by_channel: bool):
    change, before, after = FALLS["Europe/Berlin"]
    utc = regular(change - timedelta(hours=2), 600, 30)
    text = long_table(local_cells(utc, change, before, after), by_channel=by_channel)
    recording = read(text, ReadOptions(zone="Europe/Berlin", table="long"))
    assert np.array_equal(recording.seconds, 600 * np.arange(30))
    assert kinds(recording).count("clock-changed") == 1
