"""Cool-downs: what is measured, what is fitted, what other coolant would give, what is refused."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qualify.figures.absent import Absent
from qualify.inference.cooling import Cooling, cooling, time_with_coolant
from qualify.inference.decay import Decay
from qualify.readings.model import FloatArray

NAN = float("nan")


def record(sd: float = 0.2, seed: int = 1, step_s: float = 15.0) -> tuple[FloatArray, FloatArray]:
    """An invented cool-down: 180 °C towards 25 °C, time constant 10 min, from 120 s on."""
    seconds = np.arange(0.0, 3000.0, step_s)
    after = np.maximum(seconds - 120.0, 0.0)
    noise = sd * np.random.default_rng(seed).normal(size=seconds.size)
    return seconds, 25 + 155 * np.exp(-after / 600) + noise


def evaluated(seconds: FloatArray, values: FloatArray, **given_: object) -> Cooling:
    known: dict[str, object] = {"start_s": 120.0, "handling_c": 50.0, "coolant_c": 18.0, "reading_u_c": 0.5}
    found = cooling(seconds, values, **{**known, **given_})  # type: ignore[arg-type]
    assert isinstance(found, Cooling), found
    return found


def reason(found: object) -> str:
    assert isinstance(found, Absent), found
    return found.reason


def test_an_ordinary_cool_down() -> None:
    found = evaluated(*record())
    true_s = 600 * np.log(155 / 25)
    assert found.time_low_s < true_s < found.time_high_s  # type: ignore[operator]
    assert found.mean_rate_c_per_min == pytest.approx(130 / (true_s / 60), rel=0.02)
    # over the first 5 min: 155·(1 − e^(−0.5))/5
    assert found.steepest_c_per_min == pytest.approx(155 * (1 - np.exp(-0.5)) / 5, rel=0.02)
    assert isinstance(found.decay, Decay)
    assert found.decay.time_constant_s.value == pytest.approx(600, rel=0.01)
    assert found.floor_above_coolant_c == pytest.approx(7.0, abs=0.5)
    assert not isinstance(found.fitted_time_s, Absent)
    assert found.fitted_time_s.low < true_s < found.fitted_time_s.high


def test_other_coolant_moves_the_floor() -> None:
    found = evaluated(*record())
    same = time_with_coolant(found, 18.0, 50.0, reading_u_c=0.5)
    assert same == found.fitted_time_s
    warmer = time_with_coolant(found, 28.0, 50.0, reading_u_c=0.5)
    assert not isinstance(warmer, Absent)
    assert warmer.value == pytest.approx(600 * np.log(145 / 15), rel=0.02)
    assert warmer.low < 600 * np.log(145 / 15) < warmer.high
    vaguer = time_with_coolant(found, 28.0, 50.0, reading_u_c=0.5, coolant_u_c=2.0)
    assert not isinstance(vaguer, Absent)
    assert vaguer.high > warmer.high
    assert "never be reached" in reason(time_with_coolant(found, 60.0, 50.0))
    assert "not known" in reason(time_with_coolant(evaluated(*record(), coolant_c=None), 28.0, 50.0))


def test_a_load_with_two_time_constants_is_told() -> None:
    seconds = np.arange(0.0, 3000.0, 15.0)
    noise = 0.2 * np.random.default_rng(3).normal(size=seconds.size)
    values = 25 + 100 * np.exp(-seconds / 300) + 55 * np.exp(-seconds / 1500) + noise
    found = evaluated(seconds, values, start_s=0.0)
    assert "a first order does not describe the record" in reason(found.decay)
    assert isinstance(found.time_s, float)
    assert isinstance(time_with_coolant(found, 28.0, 50.0), Absent)


@settings(max_examples=15, deadline=None)
@given(st.floats(-200, 200), st.integers(0, 50))
def test_a_shift_of_temperature_or_unit_changes_no_time(warmer: float, seed: int) -> None:
    seconds, values = record(seed=seed)
    plain = evaluated(seconds, values)
    for factor, more in ((1.0, warmer), (1.8, 32.0)):
        moved = evaluated(
            seconds,
            factor * values + more,
            handling_c=factor * 50 + more,
            coolant_c=factor * 18 + more,
            reading_u_c=factor * 0.5,
        )
        assert moved.time_s == pytest.approx(plain.time_s, rel=1e-6)
        if isinstance(plain.decay, Decay) and isinstance(moved.decay, Decay):
            assert moved.decay.time_constant_s.value == pytest.approx(
                plain.decay.time_constant_s.value, rel=1e-5
            )


def test_coarse_records_leave_the_time_wider_open() -> None:
    fine, coarse = evaluated(*record(sd=0.0)), evaluated(*record(sd=0.0, step_s=120.0))
    widths = [c.time_high_s - c.time_low_s for c in (fine, coarse)]  # type: ignore[operator]
    assert widths[0] < widths[1]
    assert coarse.interval_s == 120.0


def test_what_is_refused() -> None:
    seconds, values = record()
    assert "2 readings" in reason(cooling(seconds[:2], values[:2], start_s=0, handling_c=50))
    assert "throughout" in reason(cooling(seconds, np.full(seconds.size, 180.0), start_s=0, handling_c=50))
    assert "does not fall" in reason(cooling(seconds, values[::-1].copy(), start_s=0, handling_c=50))
    assert "0 readings" in reason(cooling(seconds, np.full(seconds.size, NAN), start_s=0, handling_c=50))
    assert "already met" in reason(evaluated(seconds, values, handling_c=190.0).time_s)
    never = evaluated(seconds, values, handling_c=10.0)
    assert "never reached" in reason(never.time_s)
    assert "never be reached" in reason(never.fitted_time_s)
    few = evaluated(seconds[8::25], values[8::25])
    assert "at least 12" in reason(few.decay)
    assert isinstance(few.time_s, float)


def test_absent_readings_are_counted() -> None:
    seconds, values = record()
    values[[30, 40]] = NAN
    assert evaluated(seconds, values).absent_readings == 2
