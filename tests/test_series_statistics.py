"""Drift, mean and steadiness of one window: coverage on invented series, invariants, what is absent."""

from __future__ import annotations

from math import sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qualify.figures.absent import Absent, present
from qualify.figures.noise import cosines
from qualify.figures.series import Cycle, MeanError, drift, find_cycle, standard_error_of_mean
from qualify.inference.steadiness import SteadinessTest, steadiness_test
from tests.studies.series import KINDS, NOISE_C, drift_held, mean_held, stayed_quiet, window

CASES = 300
LEAST = 0.95 - 3 * sqrt(0.95 * 0.05 / CASES)


@pytest.mark.parametrize("held", [drift_held, mean_held])
@pytest.mark.parametrize("n", [30, 120])
@pytest.mark.parametrize("kind", KINDS)
def test_intervals_hold_the_truth(kind: str, n: int, held):
    random = np.random.default_rng(n)
    outcomes = [held(window(random, kind, n)) for _ in range(CASES)]
    given_ = [outcome for outcome in outcomes if outcome is not None]
    assert len(given_) >= 0.8 * CASES
    assert sum(given_) / len(given_) >= LEAST


@pytest.mark.parametrize("kind", KINDS[:3])
def test_a_steady_window_is_seldom_called_unsteady(kind: str):
    random = np.random.default_rng(5)
    outcomes = [stayed_quiet(window(random, kind, 60)) for _ in range(CASES)]
    quiet = [outcome for outcome in outcomes if outcome is not None]
    assert len(quiet) >= 0.8 * CASES
    assert sum(quiet) / len(quiet) >= LEAST


def test_a_rising_window_is_called_unsteady():
    """0.5 °C/h over 1 to 2 hours in noise of 0.1 °C: seen in 95 of 100 windows at least."""
    random = np.random.default_rng(6)
    outcomes = [stayed_quiet(window(random, KINDS[3], 120)) for _ in range(100)]
    assert sum(outcome is False for outcome in outcomes) >= 95


def test_a_step_is_called_unsteady():
    values = 180 + NOISE_C * np.random.default_rng(7).standard_normal(80)
    values[40:] += 0.3
    found = steadiness_test(np.arange(80) * 60.0, values)
    assert isinstance(found, SteadinessTest)
    assert not found.steady
    assert found.p_value < 0.001 < found.level


def test_intervals_are_no_wider_than_they_need_be():
    """White noise, 120 readings: half-widths about 1.96·σ/√n for the mean and its like for the slope."""
    random = np.random.default_rng(8)
    slopes, means = [], []
    for _ in range(60):
        invented = window(random, KINDS[0], 120)
        seconds, values = invented.seconds, invented.values_c[:, 0]
        moving = drift(seconds, values, Absent("none"))
        level = standard_error_of_mean(seconds, values, Absent("none"))
        assert present(moving.high_c_per_h) and present(moving.slope_c_per_h)
        assert isinstance(level, MeanError)
        hours = seconds / 3600
        half_c_per_h = moving.high_c_per_h - moving.slope_c_per_h
        slopes.append(half_c_per_h / (1.96 * NOISE_C / (hours.std() * sqrt(120))))
        means.append(level.half_width_c / (1.96 * NOISE_C / sqrt(120)))
    assert 0.95 <= float(np.median(slopes)) <= 1.25
    assert 0.95 <= float(np.median(means)) <= 1.25


def test_an_unfinished_cycle_shifts_the_mean_and_is_told():
    """Three and a half cycles: the mean of a sine over them is 2/(2π·3.5) of its amplitude."""
    n = 140
    seconds = np.arange(n) * 30.0
    values = 180 + 0.01 * np.random.default_rng(9).standard_normal(n) + np.sin(2 * np.pi * seconds / 1200.0)
    cycle = find_cycle(seconds, values)
    assert isinstance(cycle, Cycle)
    found = standard_error_of_mean(seconds, values, cycle)
    assert isinstance(found, MeanError)
    assert found.cycle_shift_c == pytest.approx(2 / (2 * np.pi * 3.5), rel=0.05)
    assert found.half_width_c > found.cycle_shift_c > 10 * found.standard_error_c


@settings(max_examples=20, deadline=None)
@given(
    seed=st.integers(0, 200),
    offset=st.floats(-300, 300),
    slope=st.floats(-5, 5),
    later_s=st.floats(0, 1e6),
)
def test_a_line_and_a_later_clock_change_no_half_width(
    seed: int, offset: float, slope: float, later_s: float
):
    invented = window(np.random.default_rng(seed), KINDS[seed % 3], 50)
    seconds, values = invented.seconds, invented.values_c[:, 0]
    cycle = find_cycle(seconds, values)
    plain = drift(seconds, values, cycle)
    hours = (seconds - seconds.mean()) / 3600
    moved = drift(seconds + later_s, values + offset + slope * hours, cycle)
    if not (present(plain.low_c_per_h) and present(plain.slope_c_per_h)):
        assert isinstance(moved.low_c_per_h, Absent)
        return
    assert present(moved.low_c_per_h) and present(moved.slope_c_per_h)
    assert moved.slope_c_per_h == pytest.approx(plain.slope_c_per_h + slope, abs=1e-6)
    assert moved.slope_c_per_h - moved.low_c_per_h == pytest.approx(
        plain.slope_c_per_h - plain.low_c_per_h, rel=1e-5
    )


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 200))
def test_fahrenheit_and_mirrored_readings(seed: int):
    invented = window(np.random.default_rng(seed), KINDS[seed % 3], 50)
    seconds, values = invented.seconds, invented.values_c[:, 0]
    cycle = find_cycle(seconds, values)
    plain = standard_error_of_mean(seconds, values, cycle)
    for factor in (1.8, -1.0):
        found = standard_error_of_mean(seconds, factor * values, cycle)
        if isinstance(plain, Absent) or isinstance(found, Absent):
            assert isinstance(plain, Absent) and isinstance(found, Absent)
            continue
        assert found.half_width_c == pytest.approx(abs(factor) * plain.half_width_c, rel=1e-6)
        assert found.cycle_shift_c == pytest.approx(factor * plain.cycle_shift_c, rel=1e-5, abs=1e-9)
        assert found.degrees == pytest.approx(plain.degrees, rel=1e-3)


@pytest.mark.parametrize("n", [0, 1, 2, 3, 9])
def test_few_readings(n: int):
    seconds, values = np.arange(n) * 60.0, 180 + np.random.default_rng(n).standard_normal(n)
    moving = drift(seconds, values, Absent("none"))
    assert present(moving.slope_c_per_h) == (n >= 2)
    assert isinstance(moving.low_c_per_h, Absent)
    assert isinstance(standard_error_of_mean(seconds, values, Absent("none")), Absent)
    assert isinstance(steadiness_test(seconds, values), Absent)


def test_a_test_of_steadiness_needs_forty_readings():
    values = 180 + np.random.default_rng(1).standard_normal(40)
    seconds = np.arange(40) * 60.0
    assert isinstance(steadiness_test(seconds, values), SteadinessTest)
    assert isinstance(steadiness_test(seconds[1:], values[1:]), Absent)


def test_readings_that_do_not_vary():
    seconds, values = np.arange(60) * 60.0, np.full(60, 180.0)
    assert isinstance(drift(seconds, values, Absent("none")).low_c_per_h, Absent)
    assert isinstance(standard_error_of_mean(seconds, values, Absent("none")), Absent)
    assert isinstance(steadiness_test(seconds, values), Absent)


@pytest.mark.parametrize("period_readings", [2.05, 2.5, 3.0, 4.0, 6.0])
@pytest.mark.parametrize("n", [60, 1000])
def test_cycles_near_the_fastest_that_readings_can_tell(n: int, period_readings: float):
    """Overtones that would look like a constant or like the cycle itself are left out."""
    seconds = np.arange(n) * 60.0
    noise = NOISE_C * np.random.default_rng(3).standard_normal(n)
    values = 180 + noise + np.sin(2 * np.pi * np.arange(n) / period_readings + 0.4)
    plain = drift(seconds, 180 + noise, Absent("none"))
    found = drift(seconds, values, Cycle(period_readings * 60.0, 1.0))
    assert present(found.low_c_per_h) and present(found.high_c_per_h)
    assert present(plain.low_c_per_h) and present(plain.high_c_per_h)
    assert found.high_c_per_h - found.low_c_per_h < 3 * (plain.high_c_per_h - plain.low_c_per_h)


@pytest.mark.parametrize("n", [10, 11, 64, 301])
@pytest.mark.parametrize("share", [0.3, 1.0])
def test_cosines_against_the_sums_themselves(n: int, share: float):
    values = np.random.default_rng(n).standard_normal((n, 2))
    count = int(share * (n - 1))
    basis = np.cos(np.pi / n * np.outer(np.arange(count + 1), np.arange(n) + 0.5)) * sqrt(2 / n)
    basis[0] = 1 / sqrt(n)
    assert cosines(values, count) == pytest.approx(basis @ values, abs=1e-10)
