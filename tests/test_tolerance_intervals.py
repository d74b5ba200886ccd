"""Tolerance intervals of runs and of locations: what they refuse, and what must not change them."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qualify.figures.absent import Absent
from qualify.inference.location_tolerance import LocationTolerance, location_tolerance
from qualify.inference.tolerance import (
    ToleranceInterval,
    howe_factor,
    least_factor,
    one_sided_factor,
    tolerance_interval,
    two_sided_factor,
)

QUICK = settings(max_examples=25, deadline=None)

RUNS = np.array([1.9, 2.4, 2.1])
TABLE = np.array([[0.1, 0.6, 0.2], [1.2, 1.5, 1.3], [-0.8, -0.1, -0.4], [0.4, 0.9, 0.7]])
"""Invented figures of four locations in three runs [°C]."""


def interval(values: np.ndarray, **more: object) -> ToleranceInterval:
    found = tolerance_interval(values, **more)  # type: ignore[arg-type]
    assert isinstance(found, ToleranceInterval)
    return found


def limits(table: np.ndarray, content: float = 0.95, confidence: float = 0.95) -> LocationTolerance:
    found = location_tolerance(table, content, confidence)
    assert isinstance(found, LocationTolerance)
    return found


def test_echoes_what_it_rests_on():
    found = interval(RUNS)
    assert (found.n, found.content, found.confidence, found.side) == (3, 0.95, 0.95, "two-sided")
    assert found.factor == pytest.approx(9.788752, abs=5e-7)
    assert found.low_c == pytest.approx(RUNS.mean() - found.factor * RUNS.std(ddof=1))
    assert "3 runs can't show" in found.note


def test_one_sided_has_one_limit():
    upper, lower = interval(RUNS, side="upper"), interval(-RUNS, side="lower")
    assert isinstance(upper.low_c, Absent)
    assert isinstance(lower.high_c, Absent)
    assert isinstance(upper.high_c, float)
    assert lower.low_c == pytest.approx(-upper.high_c)


@pytest.mark.parametrize(
    ("values", "word"),
    [
        ([], "0 runs"),
        ([2.0], "1 run with"),
        ([2.0, np.nan], "1 run with"),
        ([2.0, 2.0, 2.0], "do not differ"),
        ([180.0, 180.0 + 1e-13, 180.0], "do not differ"),
    ],
)
def test_no_interval(values: list[float], word: str):
    found = tolerance_interval(np.array(values))
    assert isinstance(found, Absent)
    assert word in found.reason


def test_run_without_the_figure_is_said():
    found = interval(np.append(RUNS, np.nan))
    assert found.n == 3
    assert found.low_c == interval(RUNS).low_c
    assert "1 run(s) without this figure" in found.note


@pytest.mark.parametrize(("content", "confidence"), [(0.4, 0.95), (1.0, 0.95), (0.95, 0.0), (0.95, 1.0)])
def test_shares_that_make_no_sense(content: float, confidence: float):
    with pytest.raises(ValueError, match=r"content|confidence"):
        tolerance_interval(RUNS, content, confidence)


def test_two_dimensions_are_refused():
    with pytest.raises(ValueError, match="one dimension"):
        tolerance_interval(TABLE)


@QUICK
@given(
    n=st.integers(2, 60),
    content=st.floats(0.5, 0.999),
    confidence=st.floats(0.5, 0.999),
)
def test_factor_falls_with_runs_and_stays_above_its_least(n: int, content: float, confidence: float):
    here, more = two_sided_factor(n, content, confidence), two_sided_factor(n + 1, content, confidence)
    assert more < here
    if confidence > 0.6:
        assert here > least_factor(content, "two-sided")
    assert two_sided_factor(n, content, min(confidence + 5e-4, 0.9995)) > here


@QUICK
@given(n=st.integers(3, 80), content=st.floats(0.8, 0.99), confidence=st.floats(0.8, 0.99))
def test_factor_is_near_howes(n: int, content: float, confidence: float):
    assert two_sided_factor(n, content, confidence) == pytest.approx(
        howe_factor(n, content, confidence), rel=0.04
    )


@QUICK
@given(n=st.integers(2, 40), content=st.floats(0.6, 0.99))
def test_two_sided_is_wider_than_one_sided_of_the_same_content(n: int, content: float):
    assert two_sided_factor(n, content, 0.95) > one_sided_factor(n, content, 0.95)


@QUICK
@given(shift=st.floats(-300, 300), scale=st.floats(0.01, 100), order=st.permutations(range(5)))
def test_interval_moves_with_its_runs(shift: float, scale: float, order: list[int]):
    values = np.array([0.0, 0.4, -0.7, 1.0, 0.2])
    before, after = interval(values), interval(shift + scale * values[order])
    assert isinstance(before.low_c, float)
    assert after.factor == before.factor
    assert after.low_c == pytest.approx(shift + scale * before.low_c, abs=1e-9 * (abs(shift) + scale))


def test_location_limits_of_a_table_worked_by_hand():
    """Sums of squares by hand for two locations in two runs: 0, 1 and 2, 4.

    Runs 1 and 2.5, locations 0.5 and 3, all 1.75: S_run² = 2·(0.75² + 0.75²) = 2.25; rest ±0.25: 0.25.
    Run and rest together: (2.25 + 0.25)/2 = 1.25.
    """
    found = limits(np.array([[0.0, 1.0], [2.0, 4.0]]))
    assert found.sd_c == pytest.approx(np.sqrt(1.25))
    assert found.mean_c == pytest.approx([0.5, 3.0])
    assert found.high_c - found.mean_c == pytest.approx(found.factor * found.sd_c)
    # Bound: 1.25 + √((1.125·H)² + (0.125·H)²), H = 1/χ²(1 degree, 5 %) − 1 = 1/0.00393214 − 1
    bound = 1.25 + np.sqrt(1.125**2 + 0.125**2) * (1 / 0.0039321400 - 1)
    from scipy.special import chdtri

    assert found.degrees / chdtri(found.degrees, 0.95) == pytest.approx(bound / 1.25, rel=1e-6)


def test_one_location_has_the_exact_factor():
    found = limits(TABLE[:1])
    assert found.factor[0] == pytest.approx(two_sided_factor(3, 0.95, 0.95), rel=1e-8)
    assert found.degrees == pytest.approx(2.0, rel=1e-8)


def test_more_locations_can_only_add_to_the_rest():
    """Where all locations move together, nine say no more of a run than one: n is the run."""
    moves = np.array([0.0, 0.5, -0.2])
    places = np.linspace(-1, 1, 9)[:, None]
    rest = 1e-6 * np.random.default_rng(1).standard_normal((9, 3))
    found = limits(places + moves + rest)
    assert found.factor == pytest.approx(np.full(9, two_sided_factor(3, 0.95, 0.95)), rel=1e-3)


def test_location_in_fewer_runs_has_wider_limits():
    table = TABLE.copy()
    table[1, 2] = np.nan
    found = limits(table)
    assert found.runs_of_location.tolist() == [3, 2, 3, 3]
    assert found.factor[1] > found.factor[0]
    assert "approximate" in found.note


def test_location_without_a_figure_has_no_limits():
    table = np.vstack((TABLE, np.full(3, np.nan)))
    found, without = limits(table), limits(TABLE)
    assert np.isnan(found.low_c[4])
    assert found.low_c[:4] == pytest.approx(without.low_c)
    assert found.locations == 4


@pytest.mark.parametrize(
    ("table", "word"),
    [
        (np.full((3, 3), np.nan), "no figure"),
        (TABLE[:, :1], "one run"),
        (TABLE[:1, :1], "one run"),
        (np.full((3, 3), 180.0), "do not differ"),
    ],
)
def test_no_location_limits(table: np.ndarray, word: str):
    found = location_tolerance(table)
    assert isinstance(found, Absent)
    assert word in found.reason


def test_low_confidence_is_no_bound():
    assert isinstance(location_tolerance(TABLE, confidence=0.5), Absent)


@QUICK
@given(
    shift=st.floats(-300, 300),
    rows=st.permutations(range(4)),
    columns=st.permutations(range(3)),
    scale=st.floats(0.1, 10),
)
def test_location_limits_follow_order_offset_and_unit(
    shift: float, rows: list[int], columns: list[int], scale: float
):
    before, after = limits(TABLE), limits(shift + scale * TABLE[rows][:, columns])
    assert after.factor == pytest.approx(before.factor[rows], rel=1e-6)
    assert after.low_c == pytest.approx(shift + scale * before.low_c[rows], abs=1e-6 * (1 + scale))
