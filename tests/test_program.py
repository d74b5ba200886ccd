"""A course against its program: segments found, rates, dwells, deviations, what is missing."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from qualify.figures.absent import Absent
from qualify.figures.program import ProgramFollowed, Step, StepFound, follow_program
from qualify.readings.model import FloatArray

# 20 → 120 °C at 5 a minute, 30 min; → 180 at 2, 60 min; → 80 at 4, 10 min
CORNERS_MIN = [0.0, 20.0, 50.0, 80.0, 140.0, 165.0, 175.0]
CORNERS_C = [20.0, 120.0, 120.0, 180.0, 180.0, 80.0, 80.0]
STEPS = (
    Step(setpoint_c=120, band_c=1, rate_c_per_min=5, rate_tolerance_c_per_min=0.2, dwell_min=30,
         shorter_by_min=1, longer_by_min=2),
    Step(setpoint_c=180, band_c=1, rate_c_per_min=2, rate_tolerance_c_per_min=0.2, dwell_min=60,
         shorter_by_min=1, longer_by_min=2),
    Step(setpoint_c=80, band_c=1, rate_c_per_min=4, rate_tolerance_c_per_min=0.2, dwell_min=10,
         shorter_by_min=1),
)  # fmt: skip


def course(step_s: float = 15.0) -> tuple[FloatArray, FloatArray]:
    seconds = np.arange(0.0, 60 * CORNERS_MIN[-1] + 1, step_s)
    return seconds, np.interp(seconds / 60, CORNERS_MIN, CORNERS_C)


def follow(seconds: FloatArray, values: FloatArray, steps: tuple[Step, ...] = STEPS) -> ProgramFollowed:
    found = follow_program(seconds, values, steps)
    assert isinstance(found, ProgramFollowed)
    return found


def found_steps(followed: ProgramFollowed) -> list[StepFound]:
    assert all(isinstance(step, StepFound) for step in followed.steps), followed.steps
    return [step for step in followed.steps if isinstance(step, StepFound)]


def test_a_program_that_was_kept() -> None:
    followed = follow(*course())
    assert followed.missing == ()
    first, second, third = found_steps(followed)
    assert [s.rate_c_per_min for s in (first, second, third)] == pytest.approx([5.0, 2.0, 4.0], rel=0.02)
    # within 1 °C from 119 up (19.8 min) and until 121 (50.5 min), to the reading every 15 s
    assert first.reached_s == pytest.approx(60 * 20.0, abs=15)
    assert first.ended_s == pytest.approx(60 * 50.5, abs=15)
    assert first.dwell_min == pytest.approx(30.7, abs=0.5)
    assert first.dwell_resolution_min == pytest.approx(0.5)
    assert first.deviation_max_c <= 1
    assert first.mean_deviation_c == pytest.approx(0.0, abs=0.02)
    assert all(not step.not_kept for step in (first, second, third))
    assert third.unfinished
    assert not second.unfinished


def test_a_slow_ramp_and_a_short_dwell_are_told() -> None:
    seconds = np.arange(0.0, 60 * 110, 15.0)
    values = np.interp(seconds / 60, [0, 40, 60, 90, 110], [20, 120, 120, 180, 180])
    first, second = found_steps(follow(seconds, values, STEPS[:2]))
    assert first.rate_off_c_per_min == pytest.approx(-2.5, abs=0.05)
    assert any("2.5 °C/min slower" in said for said in first.not_kept)
    assert any("min shorter" in said for said in first.not_kept)
    assert any("the record ends during it" in said for said in second.not_kept)
    # 20 min behind 5 °C a minute
    assert first.largest_off_ramp_c == pytest.approx(-50.0, abs=2)


def test_a_long_dwell_and_excursions_are_told() -> None:
    seconds, values = course()
    values = values.copy()
    values[(seconds > 60 * 90) & (seconds < 60 * 95)] += 5.0
    steps = (STEPS[0], Step(setpoint_c=180, band_c=1, dwell_min=40, longer_by_min=2), STEPS[2])
    second = found_steps(follow(seconds, values, steps))[1]
    assert second.outside_readings == 19
    assert second.deviation_max_c == pytest.approx(5.0)
    assert any("longer" in said for said in second.not_kept)
    assert any("19 readings" in said for said in second.not_kept)
    assert isinstance(second.rate_off_c_per_min, Absent)


def test_a_missing_step_is_told_and_the_next_still_found() -> None:
    seconds = np.arange(0.0, 60 * 120, 15.0)
    values = np.interp(seconds / 60, [0, 20, 50, 60, 120], [20, 120, 120, 80, 80])
    followed = follow(seconds, values)
    assert followed.missing == (2,)
    missing = followed.steps[1]
    assert isinstance(missing, Absent)
    assert "never came within 1 °C of 180 °C" in missing.reason
    assert "the nearest was 120 °C" in missing.reason
    third = followed.steps[2]
    assert isinstance(third, StepFound)
    assert third.rate_c_per_min == pytest.approx(4.0, rel=0.02)


def test_going_back_to_a_set_point_that_was_never_left() -> None:
    steps = (Step(setpoint_c=100, band_c=1), Step(setpoint_c=200, band_c=1), Step(setpoint_c=100, band_c=1))
    seconds = np.arange(0.0, 600.0, 10.0)
    followed = follow(seconds, np.full(seconds.size, 100.0), steps)
    assert followed.missing == (2, 3)
    first = followed.steps[0]
    assert isinstance(first, StepFound)
    assert isinstance(first.rate_c_per_min, Absent)
    assert first.dwell_min == pytest.approx(590 / 60)


def test_a_jump_through_the_band_is_no_dwell() -> None:
    steps = (Step(setpoint_c=100, band_c=1, dwell_min=10), Step(setpoint_c=200, band_c=1))
    followed = follow(np.arange(0.0, 60.0, 10.0), np.array([20.0, 60.0, 150.0, 200.0, 200.0, 200.0]), steps)
    assert followed.missing == (1,)


@given(st.floats(-1e4, 1e4), st.floats(-15, 30), st.sampled_from([5.0, 15.0, 30.0]))
def test_shifts_of_time_and_temperature(later_s: float, warmer: float, step_s: float) -> None:
    seconds, values = course(step_s)
    plain = found_steps(follow(seconds, values))
    steps = tuple(
        Step(setpoint_c=s.setpoint_c + warmer, band_c=s.band_c, rate_c_per_min=s.rate_c_per_min)
        for s in STEPS
    )
    moved = found_steps(follow(seconds + later_s, values + warmer, steps))
    for one, other in zip(plain, moved, strict=True):
        assert other.dwell_min == pytest.approx(one.dwell_min, abs=2.1 * step_s / 60)
        assert other.rate_c_per_min == pytest.approx(one.rate_c_per_min, rel=0.05)


def test_absent_readings_are_counted_and_passed_over() -> None:
    seconds, values = course()
    holed = values.copy()
    holed[100:120] = np.nan
    followed = follow(seconds, holed)
    assert followed.absent_readings == 20
    assert followed.missing == ()


def test_what_is_refused() -> None:
    seconds, values = course()
    assert isinstance(follow_program(seconds, values, ()), Absent)
    assert isinstance(follow_program(seconds[:2], values[:2], STEPS), Absent)
    assert isinstance(follow_program(seconds, np.full(seconds.size, np.nan), STEPS), Absent)
    assert isinstance(follow_program(seconds, values, (STEPS[0], STEPS[0])), Absent)
    assert isinstance(follow_program(seconds, values, (Step(setpoint_c=100, band_c=0),)), Absent)
