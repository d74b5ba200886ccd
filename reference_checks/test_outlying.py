"""Outlying runs, trend and runs that follow each other against published tables and simulation.

Sources: NIST/SEMATECH e-Handbook 1.3.5.17.1 and 1.3.5.17.3, data and results from memory (M: that so many
digits come out right is the evidence); critical values of Grubbs' test, published tables from memory (M) and
by simulation (D); scipy (R).
"""

from __future__ import annotations

from itertools import permutations
from typing import TYPE_CHECKING

import numpy as np
import pytest

from qualify.figures.absent import Absent
from qualify.inference.outlying import (
    Outlying,
    SeveralOutlying,
    grubbs_critical,
    outlying_run,
    outlying_runs,
)
from qualify.inference.run_stability import RunsFollowing, RunTrend, run_trend, runs_following

if TYPE_CHECKING:
    from reference_checks.conftest import Published

MASSES = [199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57]


def test_handbook_grubbs(published: Published):
    found = outlying_run(np.array(MASSES), which="highest")
    assert isinstance(found, Outlying)
    # Printed cut, not rounded: 2.46876.
    published.agree(found.statistic, "2.4687", "e-Handbook 1.3.5.17.1 (from memory): G", within=1e-4)
    published.agree(found.critical, "2.032", "e-Handbook 1.3.5.17.1 (from memory): critical value")
    assert found.outlying
    assert found.run == 7


# One-sided, 5 %: Grubbs' table (M).
TABLE = {3: "1.153", 4: "1.463", 5: "1.672", 6: "1.822", 7: "1.938", 8: "2.032", 9: "2.110", 10: "2.176"}


@pytest.mark.parametrize("n", TABLE)
def test_table_of_grubbs(n: int, published: Published):
    found = grubbs_critical(n, 0.05, "highest")
    # The table's third decimal was rounded one way or the other.
    published.agree(found, TABLE[n], f"Grubbs one-sided 5 %, n {n} (from memory)", within=1e-3)


@pytest.mark.parametrize("n", [3, 5, 10, 20])
def test_false_alarms_of_grubbs(n: int):
    """Alike runs pass the critical value as often as stated; with 40,000 cases ±0.0044 is four errors (D)."""
    random = np.random.default_rng(n)
    runs = random.standard_normal((40_000, n))
    away = np.abs(runs - runs.mean(axis=1, keepdims=True)).max(axis=1) / runs.std(axis=1, ddof=1)
    assert float(np.mean(away > grubbs_critical(n))) == pytest.approx(0.05, abs=0.0044)


@pytest.mark.parametrize("n", [3, 6, 12])
def test_p_value_is_the_level_at_the_critical_value(n: int):
    """A run placed so that its statistic is critical has p = 0.05 (D)."""
    from scipy.optimize import brentq

    rest = np.linspace(-1.0, 1.0, n - 1)

    def at(place: float) -> Outlying:
        found = outlying_run(np.append(rest, place))
        assert isinstance(found, Outlying)
        return found

    place = brentq(lambda where: at(where).statistic - at(where).critical, 1.5, 1e3)
    assert at(place).p_value == pytest.approx(0.05, abs=1e-6)


ROSNER = [
    -0.25,
    0.68,
    0.94,
    1.15,
    1.20,
    1.26,
    1.26,
    1.34,
    1.38,
    1.43,
    1.49,
    1.49,
    1.55,
    1.56,
    1.58,
    1.65,
    1.69,
]
ROSNER += [
    1.70,
    1.76,
    1.77,
    1.81,
    1.91,
    1.94,
    1.96,
    1.99,
    2.06,
    2.09,
    2.10,
    2.14,
    2.15,
    2.23,
    2.24,
    2.26,
    2.35,
]
ROSNER += [
    2.37,
    2.40,
    2.47,
    2.54,
    2.62,
    2.64,
    2.90,
    2.92,
    2.92,
    2.93,
    3.21,
    3.26,
    3.30,
    3.59,
    3.68,
    4.30,
    4.64,
]
ROSNER += [5.34, 5.42, 6.01]

EXTREMES = ["3.118906", "2.942973", "3.179424", "2.810181", "2.815580", "2.848172", "2.279327", "2.310366"]
EXTREMES += ["2.101581", "2.067178"]
CRITICAL = ["3.158794", "3.151430", "3.143890", "3.136165", "3.128247", "3.120128", "3.111796", "3.103243"]
CRITICAL += ["3.094456", "3.085425"]


def test_handbook_several(published: Published):
    found = outlying_runs(np.array(ROSNER), most=10)
    assert isinstance(found, SeveralOutlying)
    name = "e-Handbook 1.3.5.17.3 (from memory): "
    for at in range(10):
        published.agree(float(found.statistics[at]), EXTREMES[at], f"{name}R{at + 1}")
        published.agree(float(found.critical[at]), CRITICAL[at], f"{name}critical value {at + 1}")
    assert found.runs == (53, 52, 51)


def test_two_that_hide_each_other():
    """One test alone sees neither of two far runs; the several-outlier test sees both."""
    values = np.array([0.1, -0.2, 0.3, 0.0, -0.1, 0.2, -0.3, 0.15, -0.05, 0.1, -0.15, 9.0, 9.1])
    single, several = outlying_run(values), outlying_runs(values, most=3)
    assert isinstance(single, Outlying)
    assert isinstance(several, SeveralOutlying)
    assert not single.outlying
    assert set(several.runs) == {11, 12}


def test_trend_against_the_library():
    from scipy.stats import linregress

    values = np.array([1.0, 1.3, 0.9, 1.6, 1.4, 1.9])
    found = run_trend(values)
    assert isinstance(found, RunTrend)
    other = linregress(np.arange(6.0), values)
    assert found.slope_c_per_run == pytest.approx(other.slope, rel=1e-12)
    assert found.p_value == pytest.approx(other.pvalue, rel=1e-10)
    # t of 4 degrees, 0.975: 2.776445
    assert found.high_c_per_run == pytest.approx(other.slope + 2.776445 * other.stderr, rel=1e-6)


def test_moments_of_the_ratio_of_neighbours():
    """Over all orders of the same figures Σ(difference of neighbours)² is 2·Σ deviation²: mean 0 (D)."""
    values = [0.3, -1.2, 0.7, 2.0, -0.4, 0.1]
    statistics = []
    for order in permutations(values):
        found = runs_following(np.array(order))
        assert isinstance(found, RunsFollowing)
        statistics.append(found.statistic)
    assert float(np.mean(statistics)) == pytest.approx(0.0, abs=1e-12)
    assert float(np.max(np.abs(statistics))) <= np.cos(np.pi / 6)


@pytest.mark.parametrize("n", [4, 5, 8, 20])
def test_false_alarms_of_neighbours(n: int):
    """Its chance is exact: simulated, within four standard errors (D)."""
    random = np.random.default_rng(n)
    cases = 1500
    chances = []
    for values in random.standard_normal((cases, n)):
        found = runs_following(values)
        assert isinstance(found, RunsFollowing)
        chances.append(found.p_value)
    for level in (0.5, 0.05, 0.05 / 3):
        alarms = float(np.mean(np.array(chances) < level))
        assert alarms == pytest.approx(level, abs=4 * np.sqrt(level * (1 - level) / cases))


def test_chance_of_three_neighbours_in_closed_form():
    """Of three runs the statistic is half a cosine: P(|C| > c) = 1 − 2·arcsin(2c)/π; four are tested (D).

    The package needs four runs; three of its weights are held here against the arcsine law.
    """
    from qualify.inference.run_stability import _positive

    for c in (0.1, 0.3, 0.45):
        expected = 0.5 - np.arcsin(2 * c) / np.pi
        assert _positive(np.array([0.5, -0.5]) - c) == pytest.approx(expected, abs=1e-7)


def test_chance_of_many_neighbours():
    """With 1000 runs the statistic is nearly normal with variance (n − 2)/(n² − 1) (D)."""
    from qualify.inference.run_stability import _positive

    n = 1000
    for z, tail in ((1.0, 0.158655), (2.0, 0.022750), (3.0, 0.001350)):
        at = z * np.sqrt((n - 2) / (n**2 - 1))
        weights = np.cos(np.arange(1, n) * np.pi / n)
        assert _positive(weights - at) == pytest.approx(tail, rel=0.02)


def test_too_few():
    assert isinstance(outlying_run(np.array([1.0, 2.0])), Absent)
    assert isinstance(outlying_runs(np.array([1.0, 2.0, 4.0])), Absent)
    with pytest.raises(ValueError, match="2 runs"):
        grubbs_critical(2)
