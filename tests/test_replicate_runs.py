"""Statistics of replicate runs: components, the next run, capability, stability, all together."""

from __future__ import annotations

import dataclasses
import subprocess
import sys
from math import sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qualify.figures.absent import Absent
from qualify.inference.capability import Capability, Index, capability
from qualify.inference.components import Components, run_components
from qualify.inference.control_limits import ControlLimits, control_limits
from qualify.inference.likelihood_components import LikelihoodComponents, likelihood_components
from qualify.inference.nested import Nested, nested_components
from qualify.inference.next_run import NextRun, next_run, passing_runs, runs_needed
from qualify.inference.one_way import OneWay, one_way
from qualify.inference.outlying import Outlying, outlying_run
from qualify.inference.replicates import Replicates, replicate_statistics
from qualify.inference.run_stability import RunStability, run_stability
from qualify.inference.tolerance import two_sided_factor
from qualify.inference.variance_intervals import Component
from tests.studies import runs as studied
from tests.studies.study import Row

QUICK = settings(max_examples=20, deadline=None)

STEADY = np.array([0.3, -0.5, 0.1, 0.8, -0.2, -0.9, 0.4, 0.6, -0.3, -0.1])
TABLE = np.array([[0.1, 0.6, 0.2], [1.2, 1.5, 1.3], [-0.8, -0.1, -0.4], [0.4, 0.9, 0.7]])
"""Invented figures [°C]."""


def components(table: np.ndarray) -> Components:
    found = run_components(table)
    assert isinstance(found, Components)
    return found


def there(value: object) -> Component:
    assert isinstance(value, Component)
    return value


def ahead(values: np.ndarray, low: float | None, high: float | None) -> NextRun:
    found = next_run(values, low, high)
    assert isinstance(found, NextRun)
    return found


def test_components_by_hand():
    """0, 1 and 2, 4: S_run² 2.25, S_location² 6.25, rest 0.25; two of each."""
    found = components(np.array([[0.0, 1.0], [2.0, 4.0]]))
    assert there(found.run).variance_c2 == pytest.approx((2.25 - 0.25) / 2)
    assert there(found.location).variance_c2 == pytest.approx((6.25 - 0.25) / 2)
    assert there(found.residual).variance_c2 == pytest.approx(0.25)
    assert there(found.run_to_run).variance_c2 == pytest.approx(1.25)
    assert (found.n, found.locations, found.runs, found.missing) == (4, 2, 2, 0)


def test_negative_estimate_is_shown_as_nought_with_a_note():
    table = np.array([[0.0, 1.0, 0.9], [1.0, 0.0, 0.4], [0.0, 0.9, 1.0]])
    run = there(components(table).run)
    assert run.variance_c2 == run.low_c2 == 0.0
    assert run.unheld_c2 < 0.0 < run.high_c2
    assert "negative" in run.note
    by_likelihood = likelihood_components(table)
    assert isinstance(by_likelihood, LikelihoodComponents)
    assert there(by_likelihood.run).variance_c2 == 0.0
    assert there(by_likelihood.run).low_c2 == 0.0


def test_interval_below_nought_is_not_shown_as_certainty():
    """Three runs of exactly the same mean though single figures differ."""
    run = there(components(np.array([[0.0, 1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])).run)
    assert run.variance_c2 == run.high_c2 == 0.0
    assert "chance seldom does" in run.note


def test_constant_figures_give_noughts_with_a_reason():
    found = components(np.full((3, 4), 180.1))
    for part in (found.run, found.location, found.residual, found.run_to_run):
        assert there(part).variance_c2 == there(part).high_c2 == 0.0
        assert "same to the last digit" in there(part).note
    assert isinstance(found.run_p_value, Absent)
    assert isinstance(likelihood_components(np.full((3, 4), 180.1)), Absent)


def test_exactly_additive_figures():
    """Runs that move all locations alike leave no rest; the runs' interval is the exact one."""
    found = components(np.array([[1.0, 2.0, 4.0], [3.0, 4.0, 6.0]]))
    assert there(found.residual).variance_c2 == 0.0
    assert there(found.run).variance_c2 == pytest.approx(np.var([1, 2, 4], ddof=1))
    assert isinstance(found.run_p_value, Absent)


@pytest.mark.parametrize(
    ("table", "part", "word"),
    [
        (TABLE[:, :1], "run", "one run"),
        (TABLE[:, :1], "residual", "one run"),
        (TABLE[:1], "run", "one location"),
        (TABLE[:1], "location", "one location"),
        (np.array([[1.0, np.nan], [np.nan, 2.0]]), "run", "too few"),
        (
            np.array([[1.0, 2, np.nan, np.nan], [2, 3.5, np.nan, np.nan], [np.nan, np.nan, 1, 2]]),
            "run",
            "too few",
        ),
        (
            np.array(
                [[1.0, 2, np.nan, np.nan], [2, 3.5, np.nan, np.nan]] * 2 + [[np.nan, np.nan, 1, 2.5]] * 2
            ),
            "run",
            "share no location",
        ),
    ],
)
def test_components_that_cannot_be_told(table: np.ndarray, part: str, word: str):
    value = getattr(components(table), part)
    assert isinstance(value, Absent)
    assert word in value.reason


def test_one_location_still_has_its_run_to_run_scatter():
    found = components(TABLE[:1])
    assert there(found.run_to_run).sd_c == pytest.approx(TABLE[0].std(ddof=1))
    assert there(found.run_to_run).degrees == pytest.approx(2.0)


def test_no_figures_at_all():
    assert isinstance(run_components(np.full((2, 3), np.nan)), Absent)
    assert isinstance(run_components(np.empty((0, 3))), Absent)
    with pytest.raises(ValueError, match="two dimensions"):
        run_components(STEADY)


def test_empty_rows_and_columns_change_nothing():
    wider = np.full((6, 5), np.nan)
    wider[np.ix_([0, 2, 3, 5], [0, 2, 4])] = TABLE
    found, before = components(wider), components(TABLE)
    assert (found.locations, found.runs, found.missing) == (4, 3, 0)
    assert there(found.run).variance_c2 == pytest.approx(there(before.run).variance_c2)


@QUICK
@given(
    shift=st.floats(-300, 300),
    scale=st.floats(0.1, 10),
    rows=st.permutations(range(4)),
    columns=st.permutations(range(3)),
    gap=st.booleans(),
)
def test_components_follow_order_offset_and_unit(
    shift: float, scale: float, rows: list[int], columns: list[int], gap: bool
):
    table = TABLE.copy()
    if gap:
        table[2, 1] = np.nan
    before, after = components(table), components(shift + scale * table[rows][:, columns])
    for name in ("run", "location", "residual", "run_to_run"):
        one, other = there(getattr(before, name)), there(getattr(after, name))
        for figure in ("variance_c2", "low_c2", "high_c2"):
            expected = scale**2 * getattr(one, figure)
            assert getattr(other, figure) == pytest.approx(expected, rel=1e-6, abs=1e-9 * scale**2)


def test_likelihood_follows_offset_and_order():
    before = likelihood_components(TABLE)
    after = likelihood_components(500.0 + TABLE[::-1, [2, 0, 1]])
    assert isinstance(before, LikelihoodComponents)
    assert isinstance(after, LikelihoodComponents)
    assert after.mean_c == pytest.approx(500.0 + before.mean_c)
    for name in ("run", "location", "residual"):
        one, other = there(getattr(before, name)), there(getattr(after, name))
        assert (other.sd_c, other.sd_low_c, other.sd_high_c) == pytest.approx(
            (one.sd_c, one.sd_low_c, one.sd_high_c), rel=2e-4, abs=1e-6
        )


@pytest.mark.parametrize("rest", [1e-2, 1e-5])
def test_likelihood_of_runs_far_apart(rest: float):
    """Either an answer that agrees with the analysis of variance, or the reason why there is none."""
    random = np.random.default_rng(3)
    table = random.normal(0, 1.0, (6, 1)) + random.normal(0, 1.0, 5) + random.normal(0, rest, (6, 5))
    found = likelihood_components(table)
    if rest < 1e-3:
        assert isinstance(found, Absent)
        assert "further apart" in found.reason
    else:
        assert isinstance(found, LikelihoodComponents)
        expected = there(components(table).run)
        assert there(found.run).sd_c == pytest.approx(expected.sd_c, rel=1e-3)
        assert there(found.run).sd_high_c > expected.sd_c


def test_one_way_refuses_what_it_cannot_tell():
    assert isinstance(one_way([np.array([1.0, 2.0])]), Absent)
    assert isinstance(one_way([np.array([1.0]), np.array([2.0])]), Absent)
    assert isinstance(one_way([np.array([1.0, 2.0]), np.array([np.nan])]), Absent)
    same = one_way([np.array([1.0, 1.0]), np.array([1.0, 1.0])])
    assert isinstance(same, OneWay)
    assert isinstance(same.f, Absent)
    assert isinstance(same.r_squared, Absent)


def test_nested_refuses_what_it_cannot_tell():
    values = np.arange(12.0).reshape(2, 3, 2)
    assert isinstance(nested_components(values), Nested)
    assert isinstance(nested_components(values[:1]), Absent)
    assert isinstance(nested_components(values[:, :1]), Absent)
    assert isinstance(nested_components(values[:, :, :1]), Absent)
    assert isinstance(nested_components(np.full((2, 2, 2), np.nan)), Absent)
    with pytest.raises(ValueError, match="three dimensions"):
        nested_components(TABLE)


def test_next_run_turns_with_its_sign():
    up, down = ahead(STEADY, None, 1.5), ahead(-STEADY, -1.5, None)
    for name in ("chance", "share", "share_low", "share_high", "share_at_least"):
        assert getattr(up, name) == pytest.approx(getattr(down, name), abs=1e-9)
    assert (up.low_c, up.high_c) == pytest.approx((-down.high_c, -down.low_c))


@QUICK
@given(shift=st.floats(-300, 300), scale=st.floats(0.1, 10))
def test_next_run_follows_offset_and_unit(shift: float, scale: float):
    before = ahead(STEADY, -2.0, 1.5)
    after = ahead(shift + scale * STEADY, shift - 2.0 * scale, shift + 1.5 * scale)
    for name in ("chance", "share", "share_low", "share_high", "share_at_least"):
        assert getattr(after, name) == pytest.approx(getattr(before, name), abs=1e-8)


@QUICK
@given(
    mean=st.floats(-3, 3),
    sd=st.floats(1e-6, 1e3),
    n=st.integers(2, 30),
    two=st.booleans(),
    confidence=st.sampled_from([0.8, 0.95, 0.99]),
)
def test_shares_are_shares_in_order(mean: float, sd: float, n: int, two: bool, confidence: float):
    values = mean + sd * np.linspace(-1, 1, n)
    found = next_run(values, -1.0 if two else None, 1.0, confidence)
    assert isinstance(found, NextRun)
    shares = [found.share_low, found.share, found.share_high]
    assert all(isinstance(share, float) and 0.0 <= share <= 1.0 for share in shares)
    assert found.share_low <= found.share <= found.share_high  # type: ignore[operator]
    assert found.share_low <= found.share_at_least <= found.share_high  # type: ignore[operator]
    assert isinstance(found.chance, float)
    assert -1e-12 <= found.chance <= 1.0


def test_no_limits_no_shares():
    found = ahead(STEADY, None, None)
    assert isinstance(found.chance, Absent)
    assert isinstance(found.share, Absent)
    with pytest.raises(ValueError, match="not below"):
        next_run(STEADY, 1.0, -1.0)
    assert isinstance(next_run(np.array([1.0]), None, 2.0), Absent)
    assert isinstance(next_run(np.full(4, 1.0), None, 2.0), Absent)


def test_limit_narrower_than_the_scatter():
    """Nearly no run keeps it, and the statement says so instead of failing."""
    found = ahead(STEADY, -1e-6, 1e-6)
    assert found.share_high < 0.01  # type: ignore[operator]
    assert found.chance < 0.01  # type: ignore[operator]


def test_three_passing_runs_show_little():
    found = passing_runs(3, 3)
    assert not isinstance(found, Absent)
    assert found.at_least == pytest.approx(0.05 ** (1 / 3))
    assert "at least as often" in found.note
    assert isinstance(passing_runs(0, 0), Absent)
    for passed, n in ((4, 3), (-1, 3)):
        with pytest.raises(ValueError, match="runs passed"):
            passing_runs(passed, n)


def test_runs_needed_is_the_least_number_that_fits():
    found = runs_needed(STEADY, -2.0, 2.0)
    assert isinstance(found.by_scatter, int)
    room = (2.0 - abs(float(STEADY.mean()))) / float(STEADY.std(ddof=1))
    assert two_sided_factor(found.by_scatter, 0.95, 0.95) <= room
    assert two_sided_factor(found.by_scatter - 1, 0.95, 0.95) > room
    assert found.passing_alone == 59


def test_runs_needed_may_never_be_enough():
    close = runs_needed(STEADY, None, 0.5)
    assert isinstance(close.by_scatter, Absent)
    assert "never" in close.by_scatter.reason
    barely = runs_needed(STEADY, None, float(STEADY.mean() + 1.66 * STEADY.std(ddof=1)), most_runs=50)
    assert isinstance(barely.by_scatter, Absent)
    assert "more than 50" in barely.by_scatter.reason
    assert isinstance(runs_needed(STEADY, None, None).by_scatter, Absent)
    one = runs_needed(np.array([1.0]), None, 2.0)
    assert isinstance(one.by_scatter, Absent)
    assert one.passing_alone == 59


def test_capability_by_hand():
    found = capability(STEADY, -3.0, 2.0)
    assert isinstance(found, Capability)
    sd = sqrt(float(((STEADY - 0.02) ** 2).sum()) / 9)
    assert found.ppk.value == pytest.approx((2.0 - 0.02) / (3 * sd))
    assert isinstance(found.pp, Index)
    assert found.pp.value == pytest.approx(5.0 / (6 * sd))
    assert found.ppk.low < found.ppk.value < found.ppk.high
    steps = [0.8, 0.6, 0.7, 1.0, 0.7, 1.3, 0.2, 0.9, 0.2]
    assert found.short_term_sd_c == pytest.approx(sum(steps) / 9 * sqrt(np.pi) / 2)
    assert "approximate" in found.cpk.method


def test_capability_with_one_limit_has_no_spread_index():
    found = capability(STEADY, None, 2.0)
    assert isinstance(found, Capability)
    assert isinstance(found.pp, Absent)
    assert isinstance(found.cp, Absent)


@pytest.mark.parametrize(
    ("values", "word"),
    [
        (STEADY[:4], "4 runs"),
        (np.full(8, 1.0), "do not differ"),
        (STEADY + 0.5 * np.arange(10), "trend"),
        (np.where(np.arange(10) == 4, 9.0, STEADY), "outlying run at 9 °C (run 5 of 10"),
        (np.repeat([0.0, 1.0], 6) + 0.01 * np.arange(12) % 0.03, "resemble|trend"),
        (np.tile([0.0, 1.0], 8) + 0.013 * np.arange(16) % 0.05, "alternate"),
    ],
)
def test_no_capability(values: np.ndarray, word: str):
    found = capability(values, -3.0, 3.0)
    assert isinstance(found, Absent)
    assert any(part in found.reason for part in word.split("|")), found.reason


def test_no_capability_without_limits():
    assert isinstance(capability(STEADY, None, None), Absent)
    with pytest.raises(ValueError, match="not below"):
        capability(STEADY, 1.0, 1.0)


def test_control_limits_need_eight_runs():
    assert isinstance(control_limits(STEADY[:7]), Absent)
    found = control_limits(np.append(STEADY, 9.0))
    assert isinstance(found, ControlLimits)
    assert found.beyond == (10,)
    assert found.ranges_beyond == (10,)
    assert "provisional" in found.note


def test_run_without_a_figure_keeps_the_numbers_of_the_others():
    found = outlying_run(np.array([0.1, np.nan, 0.2, 0.0, 5.0, 0.15]))
    assert isinstance(found, Outlying)
    assert (found.n, found.run, found.value_c) == (5, 4, 5.0)


def test_stability_says_what_it_found():
    found = run_stability(STEADY)
    assert isinstance(found, RunStability)
    assert found.stable
    assert found.reasons == ()
    assert found.trend.level == pytest.approx(0.05 / 3)


@QUICK
@given(order=st.permutations(range(10)), shift=st.floats(-300, 300))
def test_order_matters_to_stability_alone(order: list[int], shift: float):
    before, after = outlying_run(STEADY), outlying_run(shift + STEADY[order])
    assert isinstance(before, Outlying)
    assert isinstance(after, Outlying)
    assert after.p_value == pytest.approx(before.p_value, rel=1e-6)
    assert order[after.run] == before.run


def replicates(k: int) -> Replicates:
    random = np.random.default_rng(k)
    table = random.normal(0, 0.5, (9, 1)) + random.normal(0, 0.2, (9, k))
    names = [f"run {number}" for number in range(1, k + 1)]
    return replicate_statistics(names, table.max(axis=0) + 0.3, table.min(axis=0) - 0.3, table, -5.0, 5.0)


def test_three_runs_say_what_three_runs_can():
    found = replicates(3)
    assert (found.n, found.runs) == (3, ("run 1", "run 2", "run 3"))
    assert (found.highest.side, found.lowest.side) == ("upper", "lower")
    assert not isinstance(found.passing, Absent)
    assert (found.passing.passed, found.passing.n) == (3, 3)
    for side in (found.highest, found.lowest):
        assert not isinstance(side.tolerance, Absent)
        assert side.tolerance.n == 3
        assert isinstance(side.control, Absent)
        assert isinstance(side.capability, Absent)
        assert isinstance(side.next_run, NextRun)
    assert not isinstance(found.locations, Absent)
    assert isinstance(found.components, Components)
    assert isinstance(found.likelihood, LikelihoodComponents)


def test_ten_runs_add_what_three_lack():
    found = replicates(10)
    assert isinstance(found.highest.control, ControlLimits)
    assert isinstance(found.highest.capability, Capability)


def test_one_run_says_nothing_of_the_next():
    found = replicate_statistics(["only"], np.array([1.0]), np.array([-1.0]), TABLE[:, :1], -5.0, 5.0)
    for side in (found.highest, found.lowest):
        for name in ("tolerance", "next_run", "outlying", "trend", "control", "capability"):
            assert isinstance(getattr(side, name), Absent), name
    assert isinstance(found.likelihood, Absent)
    assert isinstance(found.locations, Absent)
    assert not isinstance(found.passing, Absent)


def test_figure_at_its_limit_keeps_it():
    found = replicate_statistics(
        ["a", "b"], np.array([5.0, 5.1]), np.array([-5.0, -4.0]), TABLE[:, :2], -5.0, 5.0
    )
    assert not isinstance(found.passing, Absent)
    assert found.passing.passed == 1


def test_without_limits_nothing_passes():
    found = replicate_statistics(["a", "b"], np.array([1.0, 2.0]), np.zeros(2), TABLE[:, :2], None, None)
    assert isinstance(found.passing, Absent)
    assert isinstance(found.highest.passing, Absent)


def test_names_and_figures_must_fit():
    for names in (["a"], ["a", "a"]):
        with pytest.raises(ValueError, match="name"):
            replicate_statistics(names, np.zeros(2), np.zeros(2), TABLE[:, :2], None, 1.0)


def test_results_are_frozen_and_say_their_method():
    found = replicates(3)
    with pytest.raises(dataclasses.FrozenInstanceError):
        found.n = 4  # type: ignore[misc]
    assert not isinstance(found.highest.tolerance, Absent)
    assert "ISO 16269-6" in found.highest.tolerance.method


def test_nothing_heavy_is_imported_with_the_modules():
    code = "import qualify.inference.replicates, sys; print('scipy' in sys.modules, 'pandas' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["False", "False"]


def held(row: Row) -> bool:
    """Whether coverage is within four standard errors of what is stated, or above it where it warns."""
    error = 4 * max(row.sampling_error, sqrt(0.05 * 0.95 / max(row.cases, 1)))
    return abs(row.coverage - row.stated) <= error + 0.01 or (row.warned and row.coverage > row.stated)


def test_intervals_hold_the_truth_as_often_as_they_say():
    random = np.random.default_rng(11)
    rows = studied.component_rows(300, random, 9, 3, studied.RUN_SD, 0.1)
    rows += studied.component_rows(300, random, 9, 3, studied.SMALL_RUN_SD, 0.0)
    rows += studied.likelihood_rows(20, random, 9, 3, 0.0)
    rows += studied.figure_rows(100, random, 3)
    rows += studied.capability_rows(150, random, 10, 0.3)
    rows += studied.alarm_rows(300, random, 10)
    rows += studied.passing_rows(300, random, 3)
    assert [row for row in rows if not held(row)] == []


def test_two_equal_runs_of_three_make_no_outlying_run() -> None:
    """Coarse figures: whichever of three stands alone would always be the farthest there can be."""
    from qualify.inference.outlying import outlying_run

    found = outlying_run(np.array([-2.86, -2.76, -2.76]))
    assert isinstance(found, Absent)
    assert "coarse" in found.reason
    assert not isinstance(outlying_run(np.array([-2.86, -2.76, -2.75])), Absent)
