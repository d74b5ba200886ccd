"""Every cell of a file is a reading or stands in a listed doubt, by file, row and column."""

from __future__ import annotations

import hashlib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from qualify.findings import DOUBTS, REFUSALS, Refusal
from qualify.inputs import InputFile
from qualify.readings import ReadOptions, Recording, delimited, read_recording
from qualify.readings.table import Faults
from qualify.units import TemperatureUnit

AS_C = ReadOptions(units=TemperatureUnit.C)
HEADER = "Time (s),T1,T2,T3\n"


def logger_file(data: str | bytes, name: str = "oven.csv") -> InputFile:
    content = data.encode() if isinstance(data, str) else data
    return InputFile(name, Path(name), content, hashlib.sha256(content).hexdigest(), "readings")


def read(data: str | bytes, options: ReadOptions = AS_C) -> Recording:
    return read_recording([logger_file(data)], options)


def listed(recording: Recording) -> list[tuple[str, int | None, str | None, int]]:
    return [(doubt.kind, doubt.row, doubt.column, doubt.cells) for doubt in recording.doubts]


@pytest.mark.parametrize(
    "word",
    ["OL", "-OL", "OVLD", "OPEN", "NaN", "nan", "---", "*****", "", " ", "#N/A", "True", "error 7", "1e400"],
)
def test_a_word_is_no_reading_and_is_listed(word: str):
    recording = read(HEADER + f"0,1,2,3\n1,4,{word},6\n2,7,8,9\n")
    np.testing.assert_array_equal(recording.raw_c, [[1, 2, 3], [4, np.nan, 6], [7, 8, 9]])
    kind = "not-a-temperature" if word == "1e400" else "no-reading"
    assert listed(recording) == [(kind, 3, "T2", 1)]


def test_a_column_of_true_and_false_is_words():
    recording = read(HEADER + "0,1,2,True\n1,4,5,False\n")
    assert [channel.name for channel in recording.channels] == ["T1", "T2"]
    recording = read("Time (s),T1 (°C),T3 (°C)\n0,1,True\n1,4,False\n")
    assert listed(recording) == [("no-reading", 2, "T3 (°C)", 1), ("no-reading", 3, "T3 (°C)", 1)]


def test_runs_of_one_word_make_one_doubt():
    rows = [f"{k},1,{'OL' if 3 <= k <= 6 else '---' if k == 7 else 2},3" for k in range(10)]
    recording = read(HEADER + "\n".join(rows) + "\n")
    assert listed(recording) == [("no-reading", 5, "T2", 4), ("no-reading", 9, "T2", 1)]
    assert "'OL' in rows 5 to 8" in recording.doubts[0].text
    assert np.isnan(recording.raw_c).sum() == 5


def test_very_many_runs_are_gathered_and_still_counted():
    rows = [f"{k},1,{'OL' if k % 2 else 2},3" for k in range(2000)]
    recording = read(HEADER + "\n".join(rows) + "\n")
    assert sum(doubt.cells for doubt in recording.doubts) == 1000
    assert len(recording.doubts) < 250


@pytest.mark.parametrize(
    ("number", "unit", "reading"),
    [
        ("9.91E37", "C", None),
        ("-9.9e37", "C", None),
        ("1.78e38", "F", None),
        ("1e30", "C", None),
        ("9.9e29", "C", 9.9e29),
        ("-273.15", "C", -273.15),
        ("-273.2", "C", None),
        ("-459.67", "F", -273.15),
        ("-460", "F", None),
        ("-0.1", "K", None),
        ("0", "K", -273.15),
        ("-198.8", "C", -198.8),
        ("32767", "C", 32767.0),
        ("-inf", "C", None),
    ],
)
def test_numbers_that_can_be_no_temperature(number: str, unit: str, reading: float | None):
    recording = read(f"Time (s),T1 ({unit}),T2 ({unit})\n0,300,301\n1,{number},302\n", ReadOptions())
    if reading is None:
        assert np.isnan(recording.raw_c[1, 0])
        assert listed(recording) == [("not-a-temperature", 3, f"T1 ({unit})", 1)]
    else:
        assert recording.raw_c[1, 0] == pytest.approx(reading, abs=1e-9)
        assert listed(recording) == []


def test_blank_rows_are_listed_but_not_a_tail_of_line_ends():
    recording = read(HEADER + "0,1,2,3\n\n,,,\n  \n1,4,5,6\n\n,,,\n\n")
    assert recording.rows["oven.csv"].tolist() == [2, 6]
    assert listed(recording) == [("row-blank", 3, None, 0)]
    assert "rows 3 to 5" in recording.doubts[0].text


def test_a_short_row_keeps_what_it_has():
    recording = read(HEADER + "0,1,2,3\n1,4\n2,7,8,9\n")
    np.testing.assert_array_equal(recording.raw_c, [[1, 2, 3], [4, np.nan, np.nan], [7, 8, 9]])
    assert listed(recording) == [("row-short", 3, "T2", 2)]


def test_a_cut_last_row_is_not_read():
    recording = read(HEADER + "0,1,2,3\n1,4,5,6\n2,7,8")
    assert recording.rows["oven.csv"].tolist() == [2, 3]
    assert listed(recording) == [("last-row-cut", 4, None, 3)]


def test_a_last_row_without_a_line_end_is_doubted():
    recording = read(HEADER + "0,1,2,3\n1,4,5,6")
    assert recording.raw_c.shape == (2, 3)
    assert listed(recording) == [("last-row-open", 3, "T3", 0)]


def test_a_row_cut_before_its_time_is_refused():
    text = "T1,T2,Time (s)\n1,2,0\n3\n5,6,2\n7,8,3\n"
    with pytest.raises(Refusal) as caught:
        read(text)
    assert caught.value.code == "time-missing"
    assert "row 3" in caught.value.where


@pytest.mark.parametrize("word", ["1.234,5", "12,3", "1'234.5", "1 234"])
def test_another_notation_is_refused_by_its_row(word: str):
    with pytest.raises(Refusal) as caught:
        read(
            (HEADER + f"0,1.5,2.5,3.5\n1,4.5,{word},6.5\n2,1.5,2.5,3.5\n")
            .replace(",", ";")
            .replace(word.replace(",", ";"), word)
        )
    assert caught.value.code == "marks-mixed"
    assert caught.value.where == "oven.csv, row 3, column 'T2'"


def test_a_column_all_in_another_notation_is_refused():
    rows = "".join(f'{k},1.5,"2,{k}",3.5\n' for k in range(5))
    with pytest.raises(Refusal) as caught:
        read(HEADER + rows)
    assert caught.value.code == "marks-mixed"


def test_words_in_columns_of_other_units_are_listed_too():
    recording = read("Time (s),T1 (°C),O2 (%)\n0,20,20.9\n1,21,NaN\n", ReadOptions())
    assert listed(recording) == [("no-reading", 3, "O2 (%)", 1)]
    assert np.isnan(recording.other_values[1, 0])


def test_values_far_down_in_a_column_without_name_are_not_lost():
    rows = "".join(f"{k},20,21,22,{'' if k < 500 else 99}\n" for k in range(510))
    recording = read(HEADER.replace("\n", ",\n") + rows)
    assert [channel.name for channel in recording.channels] == ["T1", "T2", "T3", "column 5"]
    assert recording.raw_c[-1].tolist() == [20, 21, 22, 99]


def test_pieces_make_no_difference(monkeypatch: pytest.MonkeyPatch):
    rows = [f"{k},{k / 8},{'OL' if 40 < k < 90 else k},-{k / 8}" for k in range(300)]
    rows[120] = "120,1"
    rows.insert(200, "")
    text = HEADER + "\n".join(rows) + "\n300,5"
    whole = read(text)
    monkeypatch.setattr(delimited, "_PIECE_BYTES", 64)
    pieces = read(text)
    np.testing.assert_array_equal(whole.raw_c, pieces.raw_c)
    np.testing.assert_array_equal(whole.seconds, pieces.seconds)
    np.testing.assert_array_equal(whole.rows["oven.csv"], pieces.rows["oven.csv"])
    assert whole.doubts == pieces.doubts
    assert [doubt.kind for doubt in whole.doubts] == ["no-reading", "row-short", "last-row-cut", "row-blank"]


def test_a_decimal_mark_far_down_is_found():
    rows = [f"{k};20;21;22\n" for k in range(400)] + ["400;20,5;21,25;22\n"]
    recording = read(HEADER.replace(",", ";") + "".join(rows))
    assert recording.raw_c[-1].tolist() == [20.5, 21.25, 22]
    rows[-1] = "400;1,020;21;22\n"
    with pytest.raises(Refusal) as caught:
        read(HEADER.replace(",", ";") + "".join(rows))
    assert caught.value.code == "decimal-mark-unclear"


def test_a_unit_that_changes_far_down_is_refused():
    rows = [f"{k},20,C\n" for k in range(400)] + ["400,68,F\n"]
    with pytest.raises(Refusal) as caught:
        read("Time (s),T1,Scale\n" + "".join(rows), ReadOptions())
    assert caught.value.code == "units-contradict"
    assert caught.value.where == "oven.csv, row 402, column 'Scale'"


def test_a_ledger_that_does_not_balance_is_a_defect(monkeypatch: pytest.MonkeyPatch):
    honest = delimited.DelimitedSource.pieces

    def forgetful(self: delimited.DelimitedSource, as_text: frozenset[int]):
        yield from honest(self, as_text)
        self.faults.blank.clear()

    monkeypatch.setattr(delimited.DelimitedSource, "pieces", forgetful)
    with pytest.raises(RuntimeError, match="3 rows 2 were read"):
        read(HEADER + "0,1,2,3\n\n1,4,5,6\n")
    assert Faults().seen == 0


def test_cells_lost_on_the_way_are_a_defect(monkeypatch: pytest.MonkeyPatch):
    from qualify.readings import single

    monkeypatch.setattr(single, "cells_without_reading", lambda *_: iter(()))
    with pytest.raises(RuntimeError, match="6 cells 5 are readings and 0 stand in doubts"):
        read(HEADER + "0,1,2,OL\n1,4,5,6\n")


def test_every_kind_of_finding_is_registered_with_words():
    import qualify.readings.reading  # noqa: F401

    assert {"no-reading", "row-short", "last-row-cut", "overlap-equal"} <= DOUBTS.keys()
    assert {"marks-mixed", "dates-ambiguous", "unit-unknown", "several-sheets"} <= REFUSALS.keys()


cell = st.sampled_from(["20.5", "-3", "OL", "", "nan", "1e31", "-300", "x", "7.25", "0"])


@settings(max_examples=60, deadline=None)
@example(rows=[["20.5"], ["20.5", "OL"], ["20.5", "x", "x"]], line_end=False)
@given(
    rows=st.lists(st.lists(cell, min_size=1, max_size=3), min_size=2, max_size=12),
    line_end=st.booleans(),
)
def test_cells_in_are_readings_and_doubts(rows: list[list[str]], line_end: bool):
    lines = [",".join([str(index), *row]) for index, row in enumerate(rows)]
    text = HEADER.replace("T1,T2,T3", "T1 (°C),T2 (°C),T3 (°C)") + "\n".join(lines) + "\n" * line_end
    try:
        recording = read(text)
    except Refusal as refusal:
        # Where most rows are short, the names don't fit them, or the rows have no width in common.
        assert refusal.code in ("column-names-do-not-fit", "no-rows-of-readings")
        assert any(len(row) < 3 for row in rows)
        return
    cells = 3 * len(rows)
    finite = int(np.isfinite(recording.raw_c).sum())
    assert finite + sum(doubt.cells for doubt in recording.doubts) == cells
    for index, row in enumerate(rows[: len(recording.seconds)]):
        for column, word in enumerate(row):
            if word in ("20.5", "-3", "7.25", "0"):
                assert recording.raw_c[index, column] == float(word)
            else:
                assert np.isnan(recording.raw_c[index, column])
