"""Locations compared on their differences: invariants, what makes a comparison absent, families that hold."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from qualify.figures.absent import Absent
from qualify.inference.locations import LocationComparison, compare_locations
from qualify.inference.variances import compare_variances
from tests.studies.series import KINDS, location_rows, window

Series = NDArray[np.float64]


def invented(seed: int, n: int = 40, m: int = 5) -> tuple[Series, Series]:
    found = window(np.random.default_rng(seed), KINDS[seed % 3], n, m)
    return found.values_c, found.seconds


def compared(values_c: Series, seconds: Series) -> LocationComparison:
    found = compare_locations(values_c, seconds)
    assert isinstance(found, LocationComparison)
    return found


def test_known_offsets_are_found_and_the_rest_is_not():
    values, seconds = invented(0, n=120, m=6)
    values = values.copy()
    values[:, 2] += 3.0
    found = compared(values, seconds)
    assert found.against_mean_differs[2]
    assert found.against_mean_c[2] == pytest.approx(2.5, abs=0.2)
    with_third = (found.pairs == 2).any(axis=1)
    assert found.pair_differs[with_third].all()
    assert not found.pair_differs[~with_third].any()
    assert found.pairs.shape == (15, 2)


def test_a_cycle_that_moves_all_alike_cancels():
    values, seconds = invented(0, n=90)
    moved = values + 4.0 * np.sin(seconds / 90.0)[:, None]
    plain, cycling = compared(values, seconds), compared(moved, seconds)
    assert cycling.pair_difference_c == pytest.approx(plain.pair_difference_c, abs=1e-9)
    # The fit spends some degrees of freedom on the cycle, which widens the intervals a little.
    assert float(cycling.pair_half_c.max()) < 2.0 * float(plain.pair_half_c.max())


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 50), order=st.permutations(range(5)))
def test_the_order_of_locations_changes_nothing(seed: int, order: list[int]):
    values, seconds = invented(seed)
    plain, turned = compare_locations(values, seconds), compare_locations(values[:, order], seconds)
    if isinstance(plain, Absent) or isinstance(turned, Absent):
        assert plain == turned
        return
    assert turned.against_mean_c == pytest.approx(plain.against_mean_c[order], abs=1e-9)
    assert turned.against_mean_half_c == pytest.approx(plain.against_mean_half_c[order], rel=1e-6)
    widths = zip(plain.pairs.tolist(), plain.pair_half_c.tolist(), strict=True)
    half = {frozenset(pair): width for pair, width in widths}
    for (i, j), width in zip(turned.pairs, turned.pair_half_c, strict=True):
        assert float(width) == pytest.approx(half[frozenset((order[i], order[j]))], rel=1e-6)


@settings(max_examples=15, deadline=None)
@given(
    seed=st.integers(0, 50),
    common=st.floats(-200, 200),
    own=st.lists(st.floats(-5, 5), min_size=5, max_size=5),
    later_s=st.floats(0, 1e5),
)
def test_offsets_and_later_clocks_move_only_the_differences(
    seed: int, common: float, own: list[float], later_s: float
):
    values, seconds = invented(seed)
    plain = compare_locations(values, seconds)
    moved = compare_locations(values + common + np.array(own), seconds + later_s)
    if isinstance(plain, Absent) or isinstance(moved, Absent):
        assert isinstance(plain, Absent) and isinstance(moved, Absent)
        return
    assert moved.against_mean_c == pytest.approx(plain.against_mean_c + own - np.mean(own), abs=1e-9)
    assert moved.against_mean_half_c == pytest.approx(plain.against_mean_half_c, rel=1e-5)
    assert moved.pair_half_c == pytest.approx(plain.pair_half_c, rel=1e-5)


@settings(max_examples=10, deadline=None)
@given(seed=st.integers(0, 50))
def test_in_fahrenheit_all_is_one_point_eight_times_as_wide(seed: int):
    values, seconds = invented(seed)
    plain, scaled = compare_locations(values, seconds), compare_locations(32 + 1.8 * values, seconds)
    if isinstance(plain, Absent) or isinstance(scaled, Absent):
        assert isinstance(plain, Absent) and isinstance(scaled, Absent)
        return
    assert scaled.pair_half_c == pytest.approx(1.8 * plain.pair_half_c, rel=1e-6)
    assert scaled.against_mean_half_c == pytest.approx(1.8 * plain.against_mean_half_c, rel=1e-6)


def test_only_complete_instants_count():
    values, seconds = invented(0, n=60)
    gappy = values.copy()
    gappy[7, 1] = gappy[30, 4] = np.nan
    there = ~np.isnan(gappy).any(axis=1)
    found, expected = compared(gappy, seconds), compared(values[there], seconds[there])
    assert found.readings == 58
    assert found.pair_half_c.tolist() == expected.pair_half_c.tolist()


@pytest.mark.parametrize(("n", "m"), [(0, 3), (2, 3), (9, 3), (60, 1)])
def test_too_little_to_compare(n: int, m: int):
    found = compare_locations(np.random.default_rng(1).standard_normal((n, m)), np.arange(n) * 60.0)
    assert isinstance(found, Absent)
    assert str(n if m > 1 else m) in found.reason


def test_constant_differences_have_no_interval():
    seconds = np.arange(40) * 60.0
    noise = np.random.default_rng(2).standard_normal((40, 1))
    assert isinstance(compare_locations(np.full((40, 3), 180.0), seconds), Absent)
    assert isinstance(compare_locations(np.hstack((noise, noise + 1.0, -noise)), seconds), Absent)


def test_nothing_but_absent_readings():
    assert isinstance(compare_locations(np.full((40, 3), np.nan), np.arange(40) * 60.0), Absent)


def test_unequal_scatter_is_told():
    values = np.random.default_rng(3).standard_normal((200, 6)) * np.array([1, 1, 1, 1, 1, 3])
    found = compared(180 + values, np.arange(200) * 60.0)
    assert not isinstance(found.variances, Absent)
    assert found.variances.differs


def test_variances_of_too_little():
    assert isinstance(compare_variances(np.ones((30, 2))), Absent)
    assert isinstance(compare_variances(np.random.default_rng(1).standard_normal((2, 4))), Absent)
    assert isinstance(compare_variances(np.random.default_rng(1).standard_normal((30, 1))), Absent)


# 9 locations. 60 windows here: 95 % less 3 standard errors is
# 0.866, so that a family that holds in 80 % is caught nine times in ten.
@pytest.mark.parametrize("kind", KINDS[:3])
def test_families_hold_together(kind: str):
    rows = location_rows(60, np.random.default_rng(11), kind, 60, 9)
    for row in rows[:2]:
        assert row.cases >= 55
        assert row.coverage >= 0.95 - 3 * row.sampling_error, row
    variances = rows[2]
    assert variances.coverage >= 0.95 - 3 * variances.sampling_error
