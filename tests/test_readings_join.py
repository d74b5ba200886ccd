"""Several files: end to end, side by side, or refused."""

from __future__ import annotations

import hashlib
from pathlib import Path

import numpy as np
import pytest

from qualify.findings import Refusal
from qualify.inputs import InputFile
from qualify.readings import ReadOptions, Recording, read_recording
from qualify.units import TemperatureUnit


def logger_file(name: str, text: str) -> InputFile:
    content = text.encode()
    return InputFile(Path(name).name, Path(name), content, hashlib.sha256(content).hexdigest(), "readings")


def table(header: str, seconds: list[float], values: list[list[float | str]], elapsed: bool = False) -> str:
    lines = ["Time (s)," + header if elapsed else "Time," + header]
    for second, row in zip(seconds, values, strict=True):
        stamp = f"{second}" if elapsed else f"2026-03-02T08:{int(second) // 60:02d}:{second % 60:06.3f}"
        lines.append(",".join([stamp, *map(str, row)]))
    return "\n".join(lines) + "\n"


def joined(*texts: str, names: tuple[str, ...] = ("a.csv", "b.csv", "c.csv")) -> Recording:
    return read_recording([logger_file(name, text) for name, text in zip(names, texts, strict=False)])


def refused(*texts: str, names: tuple[str, ...] = ("a.csv", "b.csv", "c.csv")) -> Refusal:
    with pytest.raises(Refusal) as caught:
        joined(*texts, names=names)
    return caught.value


T12 = "T1 (°C),T2 (°C)"
ONE = table(T12, [0, 10], [[1, 2], [3, 4]])
TWO = table("T2 (°C),T1 (°C)", [20, 30], [[6, 5], [8, 7]])


@pytest.mark.parametrize("turned", [False, True])
def test_the_same_channels_at_other_times_are_joined(turned: bool):
    recording = joined(TWO, ONE, names=("b.csv", "a.csv")) if turned else joined(ONE, TWO)
    column = [channel.name for channel in recording.channels]
    assert sorted(column) == ["T1", "T2"]
    assert recording.raw_c[:, column.index("T1")].tolist() == [1, 3, 5, 7]
    assert recording.raw_c[:, column.index("T2")].tolist() == [2, 4, 6, 8]
    assert recording.seconds.tolist() == [0, 10, 20, 30]
    assert recording.rows["a.csv"].tolist() == [2, 3, 0, 0]
    assert recording.rows["b.csv"].tolist() == [0, 0, 2, 3]
    assert recording.iso(0) == "2026-03-02T08:00:00"
    assert any("joined" in step for step in recording.steps)


def test_an_overlap_of_equal_rows_is_kept_once():
    recording = joined(ONE, table(T12, [10, 20], [[3, 4], [5, 6]]))
    assert recording.raw_c.tolist() == [[1, 2], [3, 4], [5, 6]]
    assert recording.rows["a.csv"].tolist() == [2, 3, 0]
    assert recording.rows["b.csv"].tolist() == [0, 2, 3]
    assert [(doubt.kind, doubt.file, doubt.row) for doubt in recording.doubts] == [
        ("overlap-equal", "b.csv", 2)
    ]


def test_the_same_file_twice_is_the_file():
    recording = joined(ONE, ONE, names=("a.csv", "a.csv"))
    assert recording.raw_c.tolist() == [[1, 2], [3, 4]]
    assert list(recording.rows) == ["a.csv", "a.csv-2"]
    assert list(recording.layouts) == ["a.csv", "a.csv-2"]


def test_an_overlap_that_differs_is_refused_by_its_rows():
    refusal = refused(ONE, table(T12, [10, 20], [[3, 4.5], [5, 6]]))
    assert refusal.code == "overlap-differs"
    assert refusal.where == "a.csv, row 3"
    assert "'b.csv' (row 2)" in refusal.what
    # An absent reading is not the same as a reading.
    assert refused(ONE, table(T12, [10, 20], [[3, "OL"], [5, 6]])).code == "overlap-differs"


def test_rows_between_those_of_another_file_are_refused():
    assert refused(ONE, table(T12, [5, 15], [[1, 2], [3, 4]])).code == "overlap-interleaved"
    inside = table(T12, [2, 4], [[1, 2], [3, 4]])
    assert refused(ONE, inside).code == "overlap-interleaved"
    gap = table(T12, [0, 10, 20], [[1, 2], [3, 4], [5, 6]])
    assert refused(gap, table(T12, [0, 20], [[1, 2], [5, 6]])).code == "overlap-interleaved"


def test_a_file_that_fills_the_gap_between_two_others():
    early, late = table(T12, [0, 10], [[1, 2], [3, 4]]), table(T12, [40, 50], [[9, 9], [8, 8]])
    middle = table(T12, [20, 30], [[5, 5], [6, 6]])
    recording = joined(late, early, middle)
    assert recording.seconds.tolist() == [0, 10, 20, 30, 40, 50]
    assert recording.raw_c[:, 0].tolist() == [1, 3, 5, 6, 9, 8]


def test_other_channels_at_the_same_instants_stand_side_by_side():
    other = table("T3 (°F),Door (%)", [0.0004, 10, 20], [[32, 1], [50, 2], [212, 3]])
    recording = joined(ONE, other)
    assert [channel.name for channel in recording.channels] == ["T1", "T2", "T3"]
    assert recording.units == (TemperatureUnit.C, TemperatureUnit.C, TemperatureUnit.F)
    np.testing.assert_allclose(recording.raw_c, [[1, 2, 0], [3, 4, 10], [np.nan, np.nan, 100]], atol=1e-12)
    assert recording.other_values[:, 0].tolist() == [1, 2, 3]
    assert recording.seconds.tolist() == [0, 10, 20]
    assert recording.rows["a.csv"].tolist() == [2, 3, 0]
    assert recording.rows["b.csv"].tolist() == [2, 3, 4]
    assert [(doubt.kind, doubt.file, doubt.cells) for doubt in recording.doubts] == [
        ("instant-missing", "a.csv", 2)
    ]


def test_instants_further_apart_than_half_a_millisecond_are_two():
    ticks = [float(second) for second in range(0, 41)]
    late = [0.001, *ticks[1:]]
    recording = joined(table(T12, ticks, [[1, 2]] * len(ticks)), table("T3 (°C)", late, [[5]] * len(late)))
    assert recording.seconds.tolist()[:3] == [0, 0.001, 1]
    assert np.isnan(recording.raw_c[0, 2]) and np.isnan(recording.raw_c[1, :2]).all()


def test_a_name_in_two_files_carries_the_stem_in_both():
    recording = joined(ONE, table("T2 (°C),T3 (°C)", [0, 10], [[20, 30], [21, 31]]))
    assert [channel.name for channel in recording.channels] == ["T1", "a:T2", "b:T2", "T3"]
    assert [channel.header for channel in recording.channels] == [
        "T1 (°C)",
        "T2 (°C)",
        "T2 (°C)",
        "T3 (°C)",
    ]
    assert (
        refused(
            ONE, table("T2 (°C),T3 (°C)", [0, 10], [[20, 30], [21, 31]]), names=("x/a.csv", "y/a.csv")
        ).code
        == "joined-names-double"
    )


def test_other_channels_at_no_common_time_are_refused():
    assert refused(ONE, table("T3 (°C)", [13, 23], [[5], [6]])).code == "no-common-time"
    assert refused(ONE, table("T3 (°C)", [3, 13], [[5], [6]])).code == "instants-differ"


def test_elapsed_times_that_both_start_at_zero():
    first = table(T12, [0, 10], [[1, 2], [3, 4]], elapsed=True)
    assert refused(first, table(T12, [0, 10], [[5, 6], [7, 8]], elapsed=True)).code == "overlap-differs"
    beside = joined(first, table("T3 (°C)", [0, 10], [[5], [6]], elapsed=True))
    assert beside.raw_c.tolist() == [[1, 2, 5], [3, 4, 6]]
    later = joined(first, table(T12, [20, 30], [[5, 6], [7, 8]], elapsed=True))
    assert later.seconds.tolist() == [0, 10, 20, 30]


def test_clocks_of_two_kinds_are_refused():
    assert refused(ONE, table("T3 (°C)", [0, 10], [[5], [6]], elapsed=True)).code == "clocks-differ"
    with_offset = table("T3 (°C)", [0, 10], [[5], [6]]).replace(".000,", ".000Z,")
    assert refused(ONE, with_offset).code == "clocks-differ"


def test_offsets_put_files_in_order_of_utc():
    winter = ONE.replace(".000,", ".000+01:00,")
    summer = table(T12, [20, 30], [[5, 6], [7, 8]]).replace(".000,", ".000+02:00,").replace("T08:", "T09:")
    recording = joined(winter, summer)
    assert recording.seconds.tolist() == [0, 10, 20, 30]
    assert recording.utc_offset == "+01:00"


def test_a_joined_channel_keeps_its_unit():
    fahrenheit = table("T1 (°F),T2 (°F)", [20, 30], [[32, 32], [32, 32]])
    assert refused(ONE, fahrenheit).code == "joined-units-differ"


def test_options_for_one_file_go_before_those_for_all():
    files = [
        logger_file("a.csv", "Time (s),T1\n0,20\n1,21\n"),
        logger_file("b.csv", "Time (s),T2\n0,212\n1,32\n"),
    ]
    celsius, fahrenheit = (ReadOptions(units=unit) for unit in (TemperatureUnit.C, TemperatureUnit.F))
    recording = read_recording(files, celsius, {"b.csv": fahrenheit})
    np.testing.assert_allclose(recording.raw_c, [[20, 100], [21, 0]])
