"""Several loggers on one time base: clocks told and estimated, intervals that differ, gaps, marks."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qualify.findings import Doubt, Refusal
from qualify.inputs import InputFile
from qualify.pack.workbook import write_workbook
from qualify.readings import ReadOptions, Recording, read_recording
from qualify.readings.end_to_end import end_to_end
from qualify.readings.interpolate import interpolate, resting_on
from qualify.readings.model import LoggerClock
from qualify.readings.shared_sensor import Estimate, NotEstimated, Series, estimate_offset
from qualify.readings.shared_step import estimate_offset_of_starts
from tests.support.command import qualify
from tests.support.evaluations import Case, evaluation_of
from tests.support.loggers import Logger, Oven, csv_file, file_of, two_loggers

QUICK = settings(max_examples=40, deadline=None)
AS_DETECTED = ReadOptions()
PLAIN_LOGGER = Logger()
HALF_MINUTE = ReadOptions(interpolate_up_to_s=30)


def told(**words: Any) -> ReadOptions:
    return ReadOptions(clock=LoggerClock(**words))


def refused(files: list[InputFile], options: ReadOptions = AS_DETECTED, **per_file: ReadOptions) -> Refusal:
    with pytest.raises(Refusal) as caught:
        read_recording(files, options, {f"{stem}.csv": each for stem, each in per_file.items()})
    return caught.value


def read(files: list[InputFile], options: ReadOptions = AS_DETECTED, **per_file: ReadOptions) -> Recording:
    return read_recording(files, options, {f"{stem}.csv": each for stem, each in per_file.items()})


def doubts(recording: Recording, kind: str) -> list[Doubt]:
    return [doubt for doubt in recording.doubts if doubt.kind == kind]


def ticks(count: int, step: float = 10.0, first: float = 0.0) -> Any:
    return first + np.arange(count) * step


def rows(count: int, channels: int, first: float = 20.0) -> Any:
    return first + np.arange(count * channels, dtype=float).reshape(count, channels) / 4


# Offsets that were told


def test_a_told_offset_moves_a_logger_and_is_listed():
    one = csv_file("a.csv", ticks(40), rows(40, 2), ["T1", "T2"])
    two = csv_file("b.csv", ticks(40) - 37, rows(40, 1), ["T3"])
    recording = read([one, two], b=told(offset_s=37, uncertainty_s=2))
    assert recording.seconds.tolist() == ticks(40).tolist()
    assert recording.iso(0) == "2026-03-02T08:00:00"
    np.testing.assert_array_equal(recording.raw_c[:, 2], rows(40, 1)[:, 0])
    assert any("added 37 s to the clock of 'b.csv'" in step for step in recording.steps)
    (doubt,) = doubts(recording, "clock-offset-given")
    # 0.25 °C in 10 s is 1.5 °C/min, and in two seconds a reading moves by 0.05 °C.
    assert "37 s" in doubt.text and "1.5 °C/min" in doubt.text and "0.05 °C" in doubt.text
    assert doubt.file == "b.csv" and doubt.cells == 0


def test_an_offset_of_unknown_uncertainty_says_so():
    one = csv_file("a.csv", ticks(40), rows(40, 1), ["T1"])
    two = csv_file("b.csv", ticks(40) - 10, rows(40, 1), ["T2"])
    (doubt,) = doubts(read([one, two], b=told(offset_s=10)), "clock-offset-given")
    assert "uncertainty was not told" in doubt.text


def test_an_offset_moves_the_start_if_the_moved_file_is_first():
    one = csv_file("a.csv", ticks(40), rows(40, 1), ["T1"])
    two = csv_file("b.csv", ticks(40), rows(40, 1), ["T2"])
    recording = read([one, two], b=told(offset_s=-20))
    assert recording.iso(0) == "2026-03-02T07:59:40"
    assert recording.seconds[-1] == 410


def test_elapsed_files_have_a_zero_each():
    one = csv_file("a.csv", ticks(40), rows(40, 1), ["T1"], elapsed=True)
    two = csv_file("b.csv", ticks(40), rows(40, 1), ["T2"], elapsed=True)
    recording = read([one, two], b=told(offset_s=100))
    assert recording.start is None
    assert np.flatnonzero(recording.rows["b.csv"])[0] == 10


def test_an_elapsed_logger_stands_in_seconds_after_the_first_reading_of_a_clock():
    clock = csv_file("a.csv", ticks(40, first=600), rows(40, 1), ["T1"])
    elapsed = csv_file("b.csv", ticks(40), rows(40, 1), ["T2"], elapsed=True)
    for files in ([clock, elapsed], [elapsed, clock]):
        recording = read(files, b=told(offset_s=50))
        assert recording.iso(0) == "2026-03-02T08:10:00"
        assert np.flatnonzero(recording.rows["b.csv"])[0] == 5
    assert refused([clock, elapsed]).code == "clocks-differ"


def test_a_clock_on_an_elapsed_base_counts_from_its_first_reading():
    elapsed = csv_file("a.csv", ticks(40), rows(40, 1), ["T1"], elapsed=True)
    clock = csv_file("b.csv", ticks(40, first=600), rows(40, 1), ["T2"])
    recording = read([elapsed, clock], b=told(offset_s=50))
    assert recording.start is None
    assert np.flatnonzero(recording.rows["b.csv"])[0] == 5


def test_a_file_with_a_utc_offset_is_told_by_the_clock_that_it_prints():
    one = csv_file("a.csv", ticks(40), rows(40, 1), ["T1"])
    two = csv_file("b.csv", ticks(40) - 30, rows(40, 1), ["T2"])
    zoned = replace(two, content=two.data.replace(b".000,", b".000+02:00,"))
    recording = read([one, zoned], b=told(offset_s=30))
    assert recording.iso(0) == "2026-03-02T08:00:00"
    assert recording.rows["b.csv"].all()


@QUICK
@given(
    offset_ms=st.integers(-(10**8), 10**8),
    which=st.sampled_from(["a", "b"]),
    elapsed=st.booleans(),
    same_channels=st.booleans(),
)
def test_adding_an_offset_and_telling_its_negative_changes_nothing(
    offset_ms: int, which: str, elapsed: bool, same_channels: bool
):
    """Side by side, and end to end with an overlap of equal rows."""
    offset = offset_ms / 1000
    seconds = ticks(40, first=2e5)
    values = rows(60, 2)
    later = seconds + 200 if same_channels else seconds
    shown = values[20:] if same_channels else values[:40]
    names = ["T1", "T2"] if same_channels else ["T3", "T4"]

    def files(a: float, b: float) -> list[InputFile]:
        return [
            csv_file("a.csv", np.round(seconds + a, 3), values[:40], ["T1", "T2"], elapsed=elapsed),
            csv_file("b.csv", np.round(later + b, 3), shown, names, elapsed=elapsed),
        ]

    plain = read(files(0, 0))
    moved = read(files(*((offset, 0) if which == "a" else (0, offset))), **{which: told(offset_s=-offset)})
    np.testing.assert_array_equal(moved.raw_c, plain.raw_c)
    np.testing.assert_allclose(moved.seconds, plain.seconds, atol=1e-6)
    assert moved.start == plain.start
    assert [each.name for each in moved.channels] == [each.name for each in plain.channels]
    for name in plain.rows:
        np.testing.assert_array_equal(moved.rows[name], plain.rows[name])
    plainly = [doubt for doubt in moved.doubts if doubt.kind != "clock-offset-given"]
    assert plainly == list(plain.doubts)


def test_loggers_with_the_same_names_and_clocks_that_differ_are_two():
    one = csv_file("a.csv", ticks(40), rows(40, 1), ["T1"])
    two = csv_file("b.csv", ticks(40) - 40, rows(40, 1, 30.0), ["T1"])
    recording = read([one, two], b=told(offset_s=40))
    assert [channel.name for channel in recording.channels] == ["a:T1", "b:T1"]
    assert refused([one, two]).code.startswith("overlap")


def test_loggers_with_the_same_names_are_two_if_told():
    one = csv_file("a.csv", ticks(40), rows(40, 1), ["T1"])
    two = csv_file("b.csv", ticks(40), rows(40, 1, 30.0), ["T1"])
    assert "--side-by-side" in refused([one, two]).mend
    recording = read([one, two], a=ReadOptions(logger="left"), b=ReadOptions(logger="right"))
    assert [channel.name for channel in recording.channels] == ["a:T1", "b:T1"]
    assert recording.pins["a.csv"].logger == "left"


@pytest.mark.parametrize("offset", [float("nan"), 1e300, -1e11])
def test_an_offset_out_of_the_calendar_is_refused(offset: float):
    one = csv_file("a.csv", ticks(40), rows(40, 1), ["T1"])
    two = csv_file("b.csv", ticks(40), rows(40, 1), ["T2"])
    assert refused([one, two], b=told(offset_s=offset)).code == "clock-offset-unusable"


# Offsets that are estimated


def series_of(logger: Logger, oven: Oven) -> Series:
    clock = logger.clock()
    return Series(clock - clock[0], logger.reads(oven)[:, 0])


def covered(estimator: Any, seeds: range) -> tuple[int, int, list[float]]:
    """How many estimates hold the truth within their uncertainty, of how many; and the uncertainties [s]."""
    inside = made = 0
    uncertainties = []
    for seed in seeds:
        oven, first, second = two_loggers(seed)
        found = estimator(series_of(second, oven), series_of(first, oven))
        if isinstance(found, NotEstimated):
            continue
        truth = second.times()[0] - first.times()[0]
        made += 1
        inside += abs(found.offset_s - truth) <= found.uncertainty_s
        uncertainties.append(found.uncertainty_s)
    return inside, made, uncertainties


def test_the_stated_uncertainty_of_a_shared_sensor_covers_the_truth():
    inside, made, uncertainties = covered(estimate_offset, range(120))
    assert made == 120
    # 95 % of 120 are 114; fewer than 106 would happen once in two thousand times.
    assert inside >= 106
    assert np.median(uncertainties) < 0.5


@pytest.mark.parametrize("phase_s", [0.0, 13.0, 27.0, 41.0])
def test_long_intervals_are_in_the_uncertainty_of_a_quiet_sensor(phase_s: float):
    """Without noise only the straight lines between readings are wrong."""
    oven = Oven(lag_s=240, cycle_c=0.0)
    one = Logger(interval_s=60, noise_c=0.0, decimals=6)
    two = replace(one, first_s=phase_s)
    found = estimate_offset(series_of(two, oven), series_of(one, oven))
    assert isinstance(found, Estimate)
    assert abs(found.offset_s - phase_s) <= found.uncertainty_s < 10
    fine = estimate_offset(series_of(two, oven), series_of(replace(one, interval_s=5), oven))
    assert isinstance(fine, Estimate) and fine.uncertainty_s < found.uncertainty_s / 4


def test_the_stated_uncertainty_of_a_shared_start_covers_the_truth():
    inside, made, uncertainties = covered(estimate_offset_of_starts, range(120))
    assert made >= 110
    assert inside >= 0.9 * made
    assert np.median(uncertainties) < 5


@pytest.mark.parametrize("slow_s", [-37.0, 0.0, 4000.5, 40000.0])
def test_a_shared_sensor_puts_two_clocks_together(slow_s: float):
    oven = Oven()
    one = file_of("a.csv", Logger(), oven, ["T1", "S"])
    logger = Logger(interval_s=15, first_s=4, slow_s=slow_s, gain=0.003, level_c=-0.6, seed=2)
    two = file_of("b.csv", logger, oven, ["R", "T2"])
    recording = read([one, two], ReadOptions(interpolate_up_to_s=15), b=told(shared_sensor=("R (°C)", "a:S")))
    (doubt,) = doubts(recording, "clock-offset-estimated")
    offset = recording.pins["b.csv"].clock
    assert offset is not None and offset.offset_s is not None and offset.uncertainty_s is not None
    assert abs(offset.offset_s - slow_s) <= 2 * offset.uncertainty_s < 2
    assert f"{offset.offset_s:.6g} s were added" in doubt.text and "'a.csv'" in doubt.text
    assert any("to the clock of 'b.csv', estimated" in step for step in recording.steps)
    # What was estimated can be told, to the same effect.
    again = read([one, two], ReadOptions(interpolate_up_to_s=15), b=ReadOptions(clock=offset))
    np.testing.assert_array_equal(again.raw_c, recording.raw_c)
    np.testing.assert_array_equal(again.seconds, recording.seconds)


@pytest.mark.parametrize("elapsed", [(False, True), (True, False), (True, True)])
def test_a_shared_start_puts_loggers_without_a_common_clock_together(elapsed: tuple[bool, bool]):
    oven = Oven()
    first, second = Logger(), Logger(first_s=305, slow_s=305, seed=2, level_c=0.4)
    one = file_of("a.csv", first, oven, ["T1", "T2"], elapsed=elapsed[0])
    two = file_of("b.csv", second, oven, ["T3", "T4"], elapsed=elapsed[1])
    recording = read([one, two], ReadOptions(interpolate_up_to_s=10), b=told(shared_step=True))
    at = float(recording.seconds[np.flatnonzero(recording.rows["b.csv"])[0]])
    (doubt,) = doubts(recording, "clock-offset-estimated")
    assert abs(at - 305) < 3
    assert (recording.start is None) == elapsed[0]
    assert "began to warm at one instant" in doubt.text


def test_a_chain_of_clocks_is_settled_in_order_and_adds_its_uncertainties():
    oven = Oven()
    files = [
        file_of("c.csv", Logger(slow_s=70, seed=3), oven, ["T3", "S3"]),
        file_of("b.csv", Logger(slow_s=20, seed=2), oven, ["T2", "S2"]),
        file_of("a.csv", Logger(seed=1), oven, ["T1", "S1"]),
    ]
    recording = read(
        files,
        ReadOptions(interpolate_up_to_s=10),
        b=told(shared_sensor=("S2", "S1")),
        c=told(shared_sensor=("S3", "S2")),
    )
    b, c = recording.pins["b.csv"].clock, recording.pins["c.csv"].clock
    assert b is not None and c is not None and b.uncertainty_s is not None and c.uncertainty_s is not None
    assert b.offset_s == pytest.approx(20, abs=0.5) and c.offset_s == pytest.approx(70, abs=0.5)
    assert c.uncertainty_s > b.uncertainty_s


def test_the_uncertainty_of_a_clock_goes_on_to_those_estimated_from_it():
    oven = Oven()
    files = [
        file_of("a.csv", Logger(seed=1), oven, ["T1", "S1"]),
        file_of("b.csv", Logger(slow_s=20, seed=2), oven, ["T2", "S2"]),
        file_of("c.csv", Logger(slow_s=70, seed=3), oven, ["T3", "S3"]),
    ]
    chained = told(shared_sensor=("S3", "S2"))
    recording = read(
        files, ReadOptions(interpolate_up_to_s=10), b=told(offset_s=20, uncertainty_s=5), c=chained
    )
    clock = recording.pins["c.csv"].clock
    assert clock is not None and clock.uncertainty_s == pytest.approx(5, abs=0.1) and clock.uncertainty_s > 5


def test_one_logger_in_two_files_is_estimated_as_one():
    oven = Oven()
    one = file_of("a.csv", Logger(), oven, ["T1", "S"])
    logger = Logger(slow_s=33, seed=2)
    clock, values = logger.clock(), logger.reads(oven, 2)
    half = clock.size // 2
    whole = csv_file("b.csv", clock, values, ["R", "T2"])
    parts = [
        csv_file("b.csv", clock[:half], values[:half], ["R", "T2"]),
        csv_file("c.csv", clock[half:], values[half:], ["R", "T2"]),
    ]
    option, clocked = ReadOptions(interpolate_up_to_s=10), told(shared_sensor=("R", "S"))
    together = read([one, whole], option, b=clocked)
    split = read([one, *parts], option, b=clocked, c=clocked)
    np.testing.assert_array_equal(split.raw_c, together.raw_c)
    np.testing.assert_array_equal(split.seconds, together.seconds)


def not_estimated(
    oven: Oven, logger: Logger, other: Oven | None = None, first: Logger = PLAIN_LOGGER
) -> Refusal:
    one = file_of("a.csv", first, oven, ["T1", "S"])
    two = file_of("b.csv", logger, other or oven, ["R", "T2"])
    return refused([one, two], b=told(shared_sensor=("R", "S")))


def test_a_sensor_at_rest_gives_no_offset():
    refusal = not_estimated(Oven(heats_s=1e9), Logger(seed=2))
    assert refusal.code == "clock-not-estimated"
    assert "hardly moved" in refusal.what and "heat-up" in refusal.mend


def test_a_record_that_repeats_gives_no_offset():
    # In the hold only the control cycle is left, and it fits as well one cycle later.
    oven = Oven(heats_s=-1e5, cycle_c=3.0)
    refusal = not_estimated(oven, Logger(seed=2))
    assert refusal.code == "clock-not-estimated" and "two offsets" in refusal.what


def test_two_sensors_at_different_places_are_not_one():
    refusal = not_estimated(
        Oven(lag_s=200), Logger(seed=2), other=Oven(lag_s=200, heats_s=3000, setpoint_c=400)
    )
    assert refusal.code == "clock-not-estimated" and "one sensor" in refusal.what + refusal.mend


def test_too_few_readings_give_no_offset():
    refusal = not_estimated(Oven(), Logger(interval_s=600, seed=2))
    assert refusal.code == "clock-not-estimated" and "fewer than" in refusal.what


@pytest.mark.parametrize(
    ("oven", "logger", "words"),
    [
        (Oven(heats_s=-300), Logger(seed=2), "already moving"),
        (Oven(heats_s=1e9), Logger(seed=2), "no heating start"),
        (Oven(lag_s=60), Logger(interval_s=60, seed=2), "too few readings"),
    ],
)
def test_no_start_gives_no_offset(oven: Oven, logger: Logger, words: str):
    one = file_of("a.csv", Logger(), Oven(lag_s=60), ["T1", "S"])
    two = file_of("b.csv", logger, oven, ["R", "T2"])
    refusal = refused([one, two], b=told(shared_step=True))
    assert refusal.code == "clock-not-estimated" and words in refusal.what


def test_a_clock_told_in_no_way_or_two_is_refused():
    one = csv_file("a.csv", ticks(40), rows(40, 1), ["T1"])
    two = csv_file("b.csv", ticks(40), rows(40, 1), ["T2"])
    assert refused([one, two], b=told(offset_s=0, shared_step=True)).code == "clock-told-twice"
    assert refused([one, two], b=told()).code == "clock-told-twice"


def test_a_channel_that_is_not_there_or_in_two_loggers_is_refused_with_those_that_are():
    oven = Oven()
    files = [
        file_of("a.csv", Logger(), oven, ["T1", "S"]),
        file_of("b.csv", Logger(seed=2), oven, ["R", "T2"]),
        file_of("c.csv", Logger(seed=3), oven, ["S", "T3"]),
    ]
    unknown = refused(files, b=told(shared_sensor=("R", "X")))
    assert unknown.code == "clock-channel-unknown" and "'a:S'" in unknown.mend
    assert refused(files, b=told(shared_sensor=("S", "R"))).code == "clock-channel-unknown"
    assert "more than one" in refused(files, b=told(shared_sensor=("R", "S"))).what
    assert read(files, HALF_MINUTE, b=told(shared_sensor=("R", "c:S"))).steps


def test_clocks_that_wait_for_each_other_are_refused():
    oven = Oven()
    files = [
        file_of("a.csv", Logger(), oven, ["T1", "S"]),
        file_of("b.csv", Logger(seed=2), oven, ["R", "T2"]),
    ]
    a, b = told(shared_sensor=("S", "R")), told(shared_sensor=("R", "S"))
    assert refused(files, a=a, b=b).code == "clock-without-reference"
    assert refused(files[:1], a=told(shared_step=True)).code == "clock-without-reference"


def test_clocks_that_drift_against_each_other_are_listed():
    oven = Oven(again_s=5400)
    one = file_of("a.csv", Logger(minutes=180), oven, ["T1", "S"])
    option = ReadOptions(interpolate_up_to_s=11)
    steady = file_of("b.csv", Logger(minutes=180, slow_s=30, seed=2), oven, ["R", "T2"])
    drifting = file_of("b.csv", Logger(minutes=180, slow_s=30, drift=0.002, seed=2), oven, ["R", "T2"])
    clocked = told(shared_sensor=("R", "S"))
    assert not doubts(read([one, steady], option, b=clocked), "clocks-drift")
    (doubt,) = doubts(read([one, drifting], option, b=clocked), "clocks-drift")
    numbers = [float(number) for number in re.findall(r"(-?[\d.]+) ± ", doubt.text)]
    # The clock shows t·(1 − 0.002) − 30: about 32 s slow at the first heating, 41 s at the second.
    assert numbers == pytest.approx([32.5, 41.5], abs=2)


def test_that_drift_cannot_be_told_is_said():
    oven = Oven(cycle_c=0.0)
    one = file_of("a.csv", Logger(), oven, ["T1", "S"])
    two = file_of("b.csv", Logger(slow_s=30, seed=2), oven, ["R", "T2"])
    recording = read([one, two], ReadOptions(interpolate_up_to_s=10), b=told(shared_sensor=("R", "S")))
    (doubt,) = doubts(recording, "clock-offset-estimated")
    assert "drift" in doubt.text and not doubts(recording, "clocks-drift")


# Intervals that differ


def test_without_a_word_intervals_that_differ_are_refused_with_the_number_that_would_do():
    one = csv_file("a.csv", ticks(60), rows(60, 1), ["T1"])
    two = csv_file("b.csv", ticks(20, 30.0, first=4), rows(20, 1), ["T2"])
    refusal = refused([one, two])
    assert refusal.code == "instants-differ"
    assert "--interpolate-up-to 30" in refusal.mend and "interpolate_up_to_s = 30" in refusal.mend
    assert read([one, two], HALF_MINUTE).interpolated is not None
    # A limit that leaves the slower logger without readings is no better than none.
    assert refused([one, two], ReadOptions(interpolate_up_to_s=20)).code == "instants-differ"


def test_a_missing_row_or_a_gap_is_no_other_interval():
    one = csv_file("a.csv", ticks(60), rows(60, 1), ["T1"])
    keep = np.r_[0:20, 21:40, 50:60]
    two = csv_file("b.csv", ticks(60)[keep], rows(60, 1)[keep], ["T2"])
    recording = read([one, two])
    assert recording.interpolated is None
    assert sorted(doubt.cells for doubt in doubts(recording, "instant-missing")) == [1, 10]
    assert [doubt.row for doubt in doubts(recording, "gap")] == [40]


@st.composite
def side_by_side(draw: st.DrawFn) -> tuple[Any, Any, Any, Any, float]:
    """Two loggers with any intervals, absent readings and gaps, and a limit."""
    random = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    found: list[Any] = []
    for _ in range(2):
        count = draw(st.integers(30, 60))
        steps = np.full(count, draw(st.sampled_from([7.0, 10.0, 12.5, 30.0])))
        steps[random.random(count) < draw(st.sampled_from([0.0, 0.05]))] *= 6
        seconds = np.cumsum(steps) + draw(st.sampled_from([0.0, 3.3, 10.0]))
        values = np.round(random.normal(100, 5, (count, 2)), 1)
        values[random.random(values.shape) < draw(st.sampled_from([0.0, 0.1]))] = np.nan
        values[[0, 0], [0, 1]] = 100.0
        found += [np.round(seconds, 3), values]
    return (*found, draw(st.sampled_from([30.0, 40.0, 100.0])))


@QUICK
@given(data=side_by_side())
def test_interpolated_readings_lie_on_the_line_between_two_of_their_own(data: Any):
    seconds, values, other_seconds, other_values, limit = data
    files = [
        csv_file("a.csv", seconds, values, ["T1", "T2"]),
        csv_file("b.csv", other_seconds, other_values, ["T3", "T4"]),
    ]
    try:
        recording = read(files, ReadOptions(interpolate_up_to_s=limit))
    except Refusal as refusal:
        assert refusal.code in ("no-common-time", "instants-differ")
        return
    axis = recording.seconds + min(seconds[0], other_seconds[0])
    made = recording.interpolated
    if made is None:
        made = np.zeros(recording.raw_c.shape, dtype=bool)
    for name, own, mine, columns in (
        ("a.csv", seconds, values, (0, 1)),
        ("b.csv", other_seconds, other_values, (2, 3)),
    ):
        has_row = recording.rows[name] > 0
        assert not made[has_row][:, columns].any()
        for place, column in enumerate(columns):
            recorded = recording.raw_c[has_row, column]
            np.testing.assert_array_equal(recorded, mine[:, place])
            there = np.isfinite(mine[:, place])
            at, known = own[there], mine[there, place]
            result = recording.raw_c[:, column]
            assert np.nanmin(result) == known.min() and np.nanmax(result) == known.max()
            for instant in np.flatnonzero(~has_row):
                after = int(np.searchsorted(at, axis[instant]))
                inside = 0 < after < at.size and at[after] - at[after - 1] <= limit + 0.0005
                assert made[instant, column] == inside == np.isfinite(result[instant])
                if inside:
                    share = (axis[instant] - at[after - 1]) / (at[after] - at[after - 1])
                    line = known[after - 1] + share * (known[after] - known[after - 1])
                    assert result[instant] == pytest.approx(line, abs=1e-6)
    listed = {doubt.file: doubt for doubt in doubts(recording, "readings-interpolated")}
    for name, columns in (("a.csv", (0, 1)), ("b.csv", (2, 3))):
        count = int(made[:, columns].sum())
        assert (name in listed) == (count > 0)
        if count:
            assert listed[name].text.startswith(f"{count} readings") and listed[name].cells == 0
    absent = int(np.isnan(recording.raw_c).sum())
    assert absent == sum(doubt.cells for doubt in recording.doubts)


def test_a_line_passes_an_absent_reading_only_within_the_limit_and_never_fills_it():
    own = np.array([0, 10, 20, 30], dtype=np.int64) * 10**9
    values = np.array([[100.0], [np.nan], [104.0], [106.0]])
    wanted = np.array([5, 15, 25, 35], dtype=np.int64) * 10**9
    assert np.isnan(interpolate(own, values, wanted, 10).values_c[:2]).all()
    near = interpolate(own, values, wanted, 20)
    assert near.values_c[:3, 0].tolist() == [101.0, 103.0, 105.0]
    assert np.isnan(near.values_c[3, 0]) and near.longest_s == 20


def test_what_rests_on_a_doubted_reading_is_found():
    own = np.array([0, 10, 20, 30], dtype=np.int64) * 10**9
    recorded = np.array([[100.0, 1.0], [150.0, 1.0], [104.0, np.nan], [106.0, 1.0]])
    wanted = np.array([5, 15, 25], dtype=np.int64) * 10**9
    raw = np.empty((7, 2))
    raw[::2], raw[1::2] = recorded, interpolate(own, recorded, wanted, 20).values_c
    made = np.zeros((7, 2), dtype=bool)
    made[1::2] = True
    doubted = np.zeros((7, 2), dtype=bool)
    doubted[2] = True
    assert resting_on(doubted, raw, made)[:, 0].tolist() == [False, True, False, True, False, False, False]
    # The second channel has no reading at 20 s: its line goes on to 30 s.
    assert resting_on(doubted, raw, made)[:, 1].tolist() == [False, True, False, True, False, True, False]
    assert not resting_on(np.zeros((7, 2), dtype=bool), raw, made).any()


def test_what_is_no_temperature_is_placed_and_not_interpolated():
    one = csv_file("a.csv", ticks(40), rows(40, 1), ["T1"])
    two = csv_file("b.csv", ticks(40, first=5), rows(40, 2), ["T2", "Oxygen (%)"])
    recording = read([one, two], ReadOptions(interpolate_up_to_s=10))
    own = recording.rows["b.csv"] > 0
    np.testing.assert_array_equal(np.isfinite(recording.other_values[:, 0]), own)
    (doubt,) = doubts(recording, "others-not-interpolated")
    assert "Oxygen" in doubt.text and doubt.cells == int((~own).sum())


def test_each_logger_may_have_its_own_limit():
    one = csv_file("a.csv", ticks(60), rows(60, 1), ["T1"])
    two = csv_file("b.csv", ticks(20, 30.0), rows(20, 1), ["T2"])
    recording = read([one, two], a=ReadOptions(interpolate_up_to_s=10), b=HALF_MINUTE)
    assert recording.interpolated is not None
    assert recording.interpolated.sum(axis=0).tolist() == [0, 38]


@pytest.mark.parametrize(("interval_s", "first_s"), [(15, 0), (20, 5)])
def test_a_survey_of_two_loggers_by_its_options(interval_s: float, first_s: float, tmp_path: Path):
    oven = Oven(cycle_c=0.0)
    files = [
        file_of("a.csv", Logger(noise_c=0.0), oven, ["T1", "T2"]),
        file_of(
            "b.csv",
            Logger(interval_s=interval_s, first_s=first_s, slow_s=37, noise_c=0.0, level_c=0.5),
            oven,
            ["T3"],
        ),
    ]
    for file in files:
        (tmp_path / file.name).write_bytes(file.data)
    words = ("--setpoint", 180, "--tolerance", 3, "--json", "--start", "2026-03-02T09:15", "--minutes", 30)
    paths = [tmp_path / file.name for file in files]
    clock = ("--clock", "b.csv=37")
    refusal = qualify("survey", *paths, *words, *clock)
    assert refusal.status == 3 and f"--interpolate-up-to {interval_s}" in refusal.err
    ran = qualify("survey", *paths, *words, *clock, "--interpolate-up-to", interval_s)
    assert ran.status == 0, ran.err
    kinds = {doubt["kind"]: doubt for doubt in ran.survey["doubts"]}
    assert {"clock-offset-given", "readings-interpolated"} <= kinds.keys()
    # Levels 0, 0.2 and 0.5 °C apart, the same oven.
    assert ran.survey["chamber"]["spread_max_c"] == pytest.approx(0.5, abs=0.02)
    # The slower logger's interval counts, not that of all instants together.
    assert ran.survey["chamber"]["recording_interval_s"] == interval_s


def test_a_gap_of_one_logger_is_not_hidden_by_the_others_instants(tmp_path: Path):
    oven = Oven(cycle_c=0.0)
    gappy = Logger(interval_s=15, first_s=4, noise_c=0.0)
    keep = (gappy.times() < 5000) | (gappy.times() > 5300)
    files = [
        file_of("a.csv", Logger(noise_c=0.0), oven, ["T1"]),
        csv_file("b.csv", gappy.clock()[keep], gappy.reads(oven)[keep], ["T2"]),
    ]
    for file in files:
        (tmp_path / file.name).write_bytes(file.data)
    window = ("--start", "2026-03-02T09:15", "--minutes", 30)
    ran = qualify(
        "survey",
        *(tmp_path / file.name for file in files),
        *("--setpoint", 180, "--tolerance", 3, "--interpolate-up-to", 15, "--json", *window),
    )
    assert ran.survey["verdict"] == "not shown"
    assert any(doubt["kind"] == "gap" and doubt["file"] == "b.csv" for doubt in ran.survey["doubts"])
    assert ran.survey["chamber"]["recording_interval_s"] > 300


# Gaps


def test_gaps_are_listed_by_the_rows_about_them():
    keep = np.r_[0:10, 16:30]
    one = csv_file("a.csv", ticks(30)[keep], rows(30, 1)[keep], ["T1"])
    two = csv_file("b.csv", ticks(10, first=600), rows(10, 1), ["T1"])
    within, between = doubts(read([one, two]), "gap")
    assert (within.file, within.row, within.cells) == ("a.csv", 11, 0)
    assert "70 s" in within.text and "row 12;" in within.text
    assert (between.file, between.row) == ("a.csv", 25)
    assert "310 s" in between.text and "row 2 of 'b.csv'" in between.text


def test_many_gaps_are_summed_up():
    steps = np.where(np.arange(200) % 4 == 3, 100.0, 10.0)
    recording = read([csv_file("a.csv", np.cumsum(steps), rows(200, 1), ["T1"])])
    assert len(doubts(recording, "gap")) == 20
    (rest,) = doubts(recording, "gaps-more")
    assert rest.text.startswith("30 more")


def test_even_intervals_have_no_gap():
    assert not doubts(read([csv_file("a.csv", ticks(30), rows(30, 1), ["T1"])]), "gap")


def test_the_ledger_is_held_over_the_join(monkeypatch: pytest.MonkeyPatch):
    def loses_a_reading(files: Any) -> Any:
        strand = end_to_end(files)
        raw = strand.raw_c.copy()
        raw[3, 0] = np.nan
        return replace(strand, raw_c=raw)

    monkeypatch.setattr("qualify.readings.join.end_to_end", loses_a_reading)
    one = csv_file("a.csv", ticks(40), rows(40, 1), ["T1"])
    two = csv_file("b.csv", ticks(40), rows(40, 1), ["T2"])
    with pytest.raises(RuntimeError, match="of 80 readings"):
        read([one, two])


# The workbook


@pytest.mark.parametrize("instants", [200, 5001])
def test_the_workbook_marks_what_was_interpolated(instants: int, tmp_path: Path):
    case = Case(instants=instants, locations=4)
    evaluation = evaluation_of(case)
    recording = evaluation.recordings[0].readings.recording
    made = np.zeros(recording.raw_c.shape, dtype=bool)
    made[1::2, 2:] = True
    marked = evaluation_of(case, replace(recording, interpolated=made))
    write_workbook(marked, tmp_path / "marked.xlsx")
    write_workbook(evaluation, tmp_path / "plain.xlsx")
    sheet = openpyxl.load_workbook(tmp_path / "marked.xlsx", data_only=True)["Readings 1"]
    plain = openpyxl.load_workbook(tmp_path / "plain.xlsx", data_only=True)["Readings 1"]
    text = "\n".join(str(cell.value) for row in sheet.iter_rows(max_row=9) for cell in row if cell.value)
    assert f"{int(made.sum()):,} of the {made.size:,} raw readings were not recorded" in " ".join(
        text.split()
    )
    assert "interpolated" not in " ".join(str(c.value) for row in plain.iter_rows(max_row=10) for c in row)
    header_row = 8 if instants == 200 else 10
    header = [str(cell.value) for cell in sheet[header_row]]
    if instants == 200:
        counts = header.index("Interpolated (count)") + 1
        raw = [index + 1 for index, word in enumerate(header) if "raw" in word]
        for instant in (0, 1, 120, 121):
            cells = [sheet.cell(header_row + 1 + instant, column) for column in raw]
            assert [" i" in cell.number_format for cell in cells] == made[instant].tolist()
            assert all(isinstance(cell.value, float | int) for cell in cells)
            assert sheet.cell(header_row + 1 + instant, counts).value == made[instant].sum()
    else:
        columns = [index + 1 for index, word in enumerate(header) if "of them interpolated" in word]
        assert len(columns) == 2
        total = sum(
            sheet.cell(row, columns[0]).value or 0 for row in range(header_row + 1, sheet.max_row + 1)
        )
        first, last = marked.recordings[0].holds[0].ground
        assert total == made[first : last + 1, 2].sum()


def test_estimates_say_what_they_are():
    found = estimate_offset(series_of(Logger(seed=5), Oven()), series_of(Logger(seed=6), Oven()))
    assert isinstance(found, Estimate) and found.readings > 100
