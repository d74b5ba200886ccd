"""Heat effect, cure equivalent, time above a temperature: what they give, what they refuse."""

from __future__ import annotations

from math import exp

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from qualify.figures.absent import Absent
from qualify.figures.heat_effect import (
    HeatEffect,
    Summed,
    cure_equivalent,
    heat_effect,
    least_effect_min,
    time_above,
)
from qualify.readings.model import FloatArray

seeds = st.integers(0, 2**32 - 1)
NAN = float("nan")


def effect(minutes: list[float], temperatures: object, **settings: object) -> HeatEffect:
    values = (
        np.atleast_2d(np.asarray(temperatures, dtype=float)).T if np.ndim(temperatures) == 1 else temperatures
    )
    found = heat_effect(
        60.0 * np.asarray(minutes),
        values,  # type: ignore[arg-type]
        **{"reference_c": 170.0, "z_c": 20.0, **settings},  # type: ignore[arg-type]
    )
    assert isinstance(found, HeatEffect)
    return found


def above(minutes: list[float], temperatures: list[float], level: float) -> Summed:
    found = time_above(60.0 * np.asarray(minutes), np.asarray(temperatures)[:, None], level)
    assert isinstance(found, Summed)
    return found


def test_uneven_instants_by_hand() -> None:
    # rates 1, 10, 100: 2 min × 5.5 + 1 min × 55
    assert effect([0, 2, 3], [170.0, 190.0, 210.0]).as_read.minutes[0] == pytest.approx(66.0, rel=1e-14)


def test_uncertainty_is_taken_off_the_temperature() -> None:
    found = effect([0, 10], [180.0, 180.0], expanded_uncertainty_c=10.0)
    assert found.less_uncertainty.minutes[0] == pytest.approx(10.0, rel=1e-14)
    assert found.as_read.minutes[0] == pytest.approx(10 * 10**0.5, rel=1e-14)


def test_only_above_a_temperature_counts() -> None:
    # 150 → 190 crosses 170 half way through 10 min: 5 min × (1 + 10)/2, then 5 min × 10
    found = effect([0, 10, 15], [150.0, 190.0, 190.0], above_c=170.0)
    assert found.as_read.minutes[0] == pytest.approx(27.5 + 50.0, rel=1e-14)
    assert effect([0, 10], [150.0, 160.0], above_c=170.0).as_read.minutes[0] == 0.0


def test_a_straight_line_between_readings_gives_less_than_the_trapezoid() -> None:
    # 170 → 190 in 10 min: ∫ 10^(t/10) dt = 10·9/ln 10
    found = effect([0, 10], [170.0, 190.0])
    assert found.straight_minutes[0] == pytest.approx(90 / np.log(10), rel=1e-12)
    assert found.as_read.minutes[0] == pytest.approx(55.0, rel=1e-14)
    level = effect([0, 10], [180.0, 180.0])
    assert level.straight_minutes[0] == pytest.approx(level.as_read.minutes[0], rel=1e-14)


def test_an_absent_reading_makes_its_location_absent_and_leaves_a_least() -> None:
    values = np.array([[170.0, 170.0], [170.0, NAN], [170.0, 170.0], [170.0, 170.0]])
    found = effect([0, 1, 2, 3], values).as_read
    assert found.minutes[0] == pytest.approx(3.0)
    assert isinstance(found.minutes[1], Absent)
    assert "2 of 3 intervals" in found.minutes[1].reason
    assert found.at_least_minutes[1] == pytest.approx(1.0)
    assert isinstance(found.least, Absent)
    assert found.least_location is None


def test_a_gap_in_time_is_not_bridged_where_it_is_declared() -> None:
    found = heat_effect(
        np.array([0.0, 60.0, 660.0]), np.full((3, 1), 170.0), reference_c=170, z_c=20, longest_gap_s=120
    )
    assert isinstance(found, HeatEffect)
    assert isinstance(found.as_read.minutes[0], Absent)
    assert found.as_read.at_least_minutes[0] == pytest.approx(1.0)
    assert found.as_read.longest_interval_s == 600.0


def test_the_least_location() -> None:
    found = effect([0, 1], np.array([[180.0, 170.0, 175.0]] * 2)).as_read
    assert found.least_location == 1
    assert found.least == pytest.approx(1.0)


@given(seeds, st.integers(2, 30), st.integers(1, 4))
def test_splits_order_shifts_and_z(seed: int, n: int, m: int) -> None:
    rng = np.random.default_rng(seed)
    seconds, values = np.cumsum(rng.uniform(1, 90, n)), rng.uniform(20, 260, (n, m))

    def sums(t: FloatArray, v: FloatArray, reference: float = 170.0) -> FloatArray:
        found = heat_effect(t, v, reference_c=reference, z_c=20.0)
        assert isinstance(found, HeatEffect)
        return np.array(found.as_read.at_least_minutes)

    whole = sums(seconds, values)
    np.testing.assert_allclose(sums(seconds + 1e6, values), whole, rtol=1e-6)
    np.testing.assert_allclose(sums(seconds, values[:, ::-1]), whole[::-1], rtol=1e-14)
    # 20 °C colder is a tenth, whether the readings fall or the reference rises.
    np.testing.assert_allclose(sums(seconds, values - 20.0), whole / 10, rtol=1e-12)
    np.testing.assert_allclose(sums(seconds, values, 190.0), whole / 10, rtol=1e-12)
    if n > 2:
        cut = n // 2
        parts = sums(seconds[: cut + 1], values[: cut + 1]) + sums(seconds[cut:], values[cut:])
        np.testing.assert_allclose(parts, whole, rtol=1e-12)
    found = heat_effect(seconds, values, reference_c=170.0, z_c=20.0)
    assert isinstance(found, HeatEffect)
    assert np.all(np.array(found.straight_minutes) <= whole * (1 + 1e-12))


def test_time_above_with_crossings() -> None:
    # up through 100 half way (5 min), above for 10, down through 100 at a quarter of 8 min (2 min)
    found = above([0, 10, 20, 28], [90.0, 110.0, 110.0, 70.0], 100.0)
    assert found.minutes[0] == pytest.approx(5 + 10 + 2)
    assert above([0, 10], [100.0, 100.0], 100.0).minutes[0] == pytest.approx(10.0)
    assert above([0, 10], [99.0, 99.0], 100.0).minutes[0] == 0.0
    assert above([0, 10, 20], [99.0, 100.0, 99.0], 100.0).minutes[0] == 0.0
    assert isinstance(above([0, 10, 20], [100.0, NAN, 100.0], 100.0).minutes[0], Absent)


def test_cure_equivalent_at_and_off_its_reference() -> None:
    minutes = 60.0 * np.array([0.0, 30.0])
    found = cure_equivalent(
        minutes, np.array([[180.0, 170.0]] * 2), reference_c=180.0, activation_energy_kj_per_mol=80.0
    )
    assert isinstance(found, Summed)
    assert found.minutes[0] == pytest.approx(30.0, rel=1e-14)
    slower = exp(-80000 / 8.31446261815324 * (1 / 443.15 - 1 / 453.15))
    assert found.minutes[1] == pytest.approx(30.0 * slower, rel=1e-13)


def test_what_is_refused() -> None:
    two = np.array([0.0, 60.0])
    level = np.full((2, 1), 170.0)
    assert isinstance(heat_effect(two[:1], level[:1], reference_c=170, z_c=20), Absent)
    assert isinstance(heat_effect(two, np.empty((2, 0)), reference_c=170, z_c=20), Absent)
    for z in (0.0, -5.0, NAN):
        assert isinstance(heat_effect(two, level, reference_c=170, z_c=z), Absent)
    for energy in (0.0, -1.0, NAN):
        assert isinstance(
            cure_equivalent(two, level, reference_c=170, activation_energy_kj_per_mol=energy), Absent
        )
    cold = cure_equivalent(two, level - 500.0, reference_c=170, activation_energy_kj_per_mol=80)
    assert isinstance(cold, Absent)
    assert "0 K" in cold.reason
    for values in ((0.0, 1.0, 1.0), (1.0, 0.0, 1.0), (1.0, 1.0, 0.0), (NAN, 1.0, 1.0)):
        assert isinstance(least_effect_min(*values), Absent)


def test_all_readings_absent() -> None:
    found = effect([0, 1, 2], [NAN, NAN, NAN]).as_read
    assert isinstance(found.minutes[0], Absent)
    assert found.at_least_minutes == (0.0,)


def test_absurd_temperatures_stay_numbers() -> None:
    found = effect([0, 1], [1e6, -1e6]).as_read
    assert np.isfinite(found.at_least_minutes[0])
