"""Components of variance against a published nested analysis, other estimators and plain independent code.

Sources: NIST/SEMATECH e-Handbook 3.5.1, furnace case study, data file FURNACE.DAT unchanged under data/nist
(C); Searle's and Henderson's formulas by plain loops (D); statsmodels (R); the chi-square interval of a
variance, e-Handbook 3.5.1 (C).
"""

from __future__ import annotations

import warnings
from math import log, sqrt
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

from qualify.figures.absent import Absent
from qualify.inference.components import Components, Lines, run_components
from qualify.inference.likelihood_components import LikelihoodComponents, likelihood_components
from qualify.inference.nested import Nested, nested_components
from qualify.inference.variance_intervals import Component, MeanSquare, variance_bounds

if TYPE_CHECKING:
    from reference_checks.conftest import Published

FURNACE = Path(__file__).parent / "data" / "nist" / "FURNACE.DAT"


@pytest.fixture(scope="module")
def furnace() -> np.ndarray:
    """Film thickness (21 runs, 4 zones, 2 wafers)."""
    rows = [line.split() for line in FURNACE.read_text(encoding="ascii").splitlines()[25:] if line.strip()]
    values = np.full((21, 4, 2), np.nan)
    for run, zone, wafer, thickness in rows:
        values[int(run) - 1, int(zone) - 1, int(wafer) - 1] = float(thickness)
    assert np.isfinite(values).all()
    return values


def nested(values: np.ndarray) -> Nested:
    found = nested_components(values)
    assert not isinstance(found, Absent)
    return found


def test_furnace_nested(furnace: np.ndarray, published: Published):
    found = nested(furnace)
    assert (found.n, found.groups, found.subgroups, found.balanced) == (168, 21, 84, True)
    name = "e-Handbook 3.5.1 furnace: "
    for value, digits, what in (
        (found.mean_c, "563.0357", "mean"),
        (found.between_groups.sum_c2, "61442.29", "sum of squares, run"),
        (found.between_subgroups.sum_c2, "36014.5", "sum of squares, zone in run"),
        (found.within_subgroups.sum_c2, "10155", "sum of squares, within"),
        (found.between_groups.value_c2, "3072.11", "mean square, run"),
        (found.between_subgroups.value_c2, "571.659", "mean square, zone in run"),
        (found.within_subgroups.value_c2, "120.893", "mean square, within"),
        (found.group_f, "5.37404", "F, run"),
        (found.subgroup_f, "4.72864", "F, zone in run"),
        (found.group_p_value, "0.000000139", "p, run"),
        (found.subgroup_p_value, "3.85E-11", "p, zone in run"),
        (found.group.variance_c2, "312.55694", "component, run"),
        (found.subgroup.variance_c2, "225.38294", "component, zone in run"),
        (found.within.variance_c2, "120.89286", "component, within"),
        (found.group.sd_c, "17.679", "standard deviation, run"),
        (found.subgroup.sd_c, "15.013", "standard deviation, zone in run"),
        (found.within.sd_c, "10.995", "standard deviation, within"),
    ):
        published.agree(value, digits, name + what)
    degrees = found.between_groups.degrees, found.between_subgroups.degrees, found.within_subgroups.degrees
    assert degrees == (20, 63, 84)
    total = found.group.variance_c2 + found.subgroup.variance_c2 + found.within.variance_c2
    for component, digits in ((found.group, "47.44"), (found.subgroup, "34.21"), (found.within, "18.35")):
        published.agree(100 * component.variance_c2 / total, digits, name + "share of the variance [%]")


def test_furnace_interval_of_the_standard_deviation(furnace: np.ndarray, published: Published):
    values = furnace.ravel()
    published.agree(float(values.std(ddof=1)), "25.3847", "e-Handbook 3.5.1 furnace: standard deviation")
    whole = MeanSquare(sum_c2=float(((values - values.mean()) ** 2).sum()), degrees=values.size - 1.0)
    low, high = variance_bounds(whole, 0.95)
    published.agree(sqrt(low), "22.9297", "e-Handbook 3.5.1 furnace: its lower bound")
    published.agree(sqrt(high), "28.4331", "e-Handbook 3.5.1 furnace: its upper bound")


def test_unbalanced_nested_expectations(furnace: np.ndarray):
    """Coefficients of the expected mean squares, by the trace of each quadratic form (D).

    E(y'Ay) = Σ σ²·tr(A·ZZ') for any data; the estimates solve these three equations.
    """
    values = furnace[:5].copy()
    values[0, 1, 1] = values[2, 3, 0] = values[3, 0] = values[4, 2, 1] = np.nan
    run, zone, _ = np.nonzero(np.isfinite(values))
    y = values[np.isfinite(values)]
    runs = (run[:, None] == np.arange(5)).astype(float)
    cell = run * 4 + zone
    cells = (cell[:, None] == np.unique(cell)).astype(float)
    ones = np.ones((y.size, 1))

    def projection(z: np.ndarray) -> np.ndarray:
        return z @ np.linalg.pinv(z)

    forms = (
        projection(runs) - projection(ones),
        projection(cells) - projection(runs),
        np.eye(y.size) - projection(cells),
    )
    sources = (runs @ runs.T, cells @ cells.T, np.eye(y.size))
    left = np.array([[np.trace(form @ source) for source in sources] for form in forms])
    expected = np.linalg.solve(left, [y @ form @ y for form in forms])
    found = nested(values)
    assert not found.balanced
    got = [component.unheld_c2 for component in (found.group, found.subgroup, found.within)]
    assert got == pytest.approx(expected, rel=1e-10)


def table(seed: int, locations: int, runs: int, missing: float) -> np.ndarray:
    """Invented figures of locations and runs."""
    random = np.random.default_rng(seed)
    values = random.normal(0, 1.0, (locations, 1)) + random.normal(0, 0.5, (1, runs)) + 180.0
    values = values + random.normal(0, 0.3, (locations, runs))
    values[random.random(values.shape) < missing] = np.nan
    return values


def crossed(values: np.ndarray) -> Components:
    found = run_components(values)
    assert not isinstance(found, Absent)
    return found


def component(value: object) -> Component:
    assert isinstance(value, Component)
    return value


@pytest.mark.parametrize("missing", [0.0, 0.15])
def test_crossed_by_traces(missing: float):
    """Henderson's method III with whole matrices (D); balanced data are the textbook's special case."""
    values = table(4, 9, 6, missing)
    location, run = np.nonzero(np.isfinite(values))
    y = values[location, run]
    locations = (location[:, None] == np.arange(9)).astype(float)
    runs = (run[:, None] == np.arange(6)).astype(float)
    both = np.hstack((locations, runs))

    def projection(z: np.ndarray) -> np.ndarray:
        return z @ np.linalg.pinv(z)

    whole = projection(both)
    after_locations, after_runs = whole - projection(locations), whole - projection(runs)
    rest = np.eye(y.size) - whole
    residual = (y @ rest @ y) / np.trace(rest)
    run_variance = (y @ after_locations @ y - np.trace(after_locations) * residual) / np.trace(
        after_locations @ runs @ runs.T
    )
    location_variance = (y @ after_runs @ y - np.trace(after_runs) * residual) / np.trace(
        after_runs @ locations @ locations.T
    )
    found = crossed(values)
    assert component(found.residual).unheld_c2 == pytest.approx(residual, rel=1e-9)
    assert component(found.run).unheld_c2 == pytest.approx(run_variance, rel=1e-9)
    assert component(found.location).unheld_c2 == pytest.approx(location_variance, rel=1e-9)


def test_balanced_likelihood_is_the_analysis_of_variance():
    """Where no estimate is negative, restricted likelihood and balanced mean squares agree (Searle 1971)."""
    values = table(1, 9, 10, 0.0)
    found, other = crossed(values), likelihood_components(values)
    assert isinstance(other, LikelihoodComponents)
    for name in ("run", "location", "residual"):
        by_likelihood = component(getattr(other, name)).variance_c2
        assert by_likelihood == pytest.approx(component(getattr(found, name)).variance_c2, rel=1e-5)


@pytest.mark.parametrize(("locations", "runs", "missing"), [(9, 3, 0.0), (9, 10, 0.2), (16, 5, 0.1)])
def test_likelihood_against_statsmodels(locations: int, runs: int, missing: float):
    """The library's mixed model with crossed components (R): estimates, mean and log likelihood."""
    import pandas as pd
    import statsmodels.formula.api as formulas

    values = table(2, locations, runs, missing)
    location, run = np.nonzero(np.isfinite(values))
    frame = pd.DataFrame({"y": values[location, run], "location": location, "run": run, "whole": 1})
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the library speaks of near-singular Hessians
        model = formulas.mixedlm(
            "y ~ 1",
            frame,
            groups="whole",
            vc_formula={"location": "0 + C(location)", "run": "0 + C(run)"},
        )
        fit = model.fit(reml=True)
    found = likelihood_components(values)
    assert isinstance(found, LikelihoodComponents)
    names = dict(zip(model.exog_vc.names, fit.vcomp, strict=True))
    assert component(found.location).variance_c2 == pytest.approx(names["location"], rel=2e-3)
    assert component(found.run).variance_c2 == pytest.approx(names["run"], rel=2e-3)
    assert component(found.residual).variance_c2 == pytest.approx(fit.scale, rel=2e-3)
    assert found.mean_c == pytest.approx(float(fit.fe_params.iloc[0]), abs=1e-5)
    # The library stops a little short of the greatest likelihood, never beyond it.
    assert found.log_likelihood == pytest.approx(fit.llf, abs=1e-4)
    assert found.log_likelihood > fit.llf - 1e-8


def test_profile_interval_by_a_grid():
    """Profile of the run component over a grid of the other two, the likelihood as one matrix (D)."""
    values = table(7, 5, 4, 0.0)
    found = likelihood_components(values)
    assert isinstance(found, LikelihoodComponents)
    location, run = np.nonzero(np.isfinite(values))
    y = values[location, run] - 180.0
    same_location = (location[:, None] == location).astype(float)
    same_run = (run[:, None] == run).astype(float)
    ones = np.ones(y.size)

    def minus_twice(run_sd: float, location_sd: float, rest_sd: float) -> float:
        v = run_sd**2 * same_run + location_sd**2 * same_location + rest_sd**2 * np.eye(y.size)
        inverse = np.linalg.inv(v)
        weight = ones @ inverse @ ones
        centred = y - (ones @ inverse @ y) / weight
        return float(np.linalg.slogdet(v)[1] + log(weight) + centred @ inverse @ centred)

    best = [component(getattr(found, name)).sd_c for name in ("run", "location", "residual")]
    lowest = minus_twice(*best)
    # χ² of one degree, 3.841459, times 3·(ln 1.5 − ψ(1.5)) with ψ(1.5) = 2 − γ − 2·ln 2
    threshold = 3.841459 * 3 * (log(1.5) - (2 - 0.5772156649 - 2 * log(2)))

    def profile(run_sd: float) -> float:
        grids = [np.geomspace(0.25, 4.0, 25) * best[1], np.geomspace(0.5, 2.0, 25) * best[2]]
        for _ in range(3):
            cost = np.array([[minus_twice(run_sd, a, b) for b in grids[1]] for a in grids[0]])
            i, j = np.unravel_index(np.argmin(cost), cost.shape)
            grids = [
                np.geomspace(grid[max(at - 1, 0)], grid[min(at + 1, grid.size - 1)], 9)
                for grid, at in zip(grids, (int(i), int(j)), strict=True)
            ]
        return float(cost.min()) - lowest

    for end in (component(found.run).sd_low_c, component(found.run).sd_high_c):
        assert end > 0
        assert profile(end) == pytest.approx(threshold, abs=5e-3)


def test_interval_ends_of_a_difference():
    """Where the mean square below vanishes, the interval is the exact chi-square one of the upper (D)."""
    from qualify.inference.variance_intervals import component_of_difference

    upper, nothing = MeanSquare(sum_c2=12.0, degrees=4.0), MeanSquare(sum_c2=0.0, degrees=20.0)
    found = component_of_difference(upper, nothing, 3.0, 0.95)
    # χ² of 4 degrees: 0.4844186 and 11.143287 (tables)
    assert found.low_c2 == pytest.approx(12.0 / 11.143287 / 3, rel=1e-6)
    assert found.high_c2 == pytest.approx(12.0 / 0.4844186 / 3, rel=1e-6)


def test_interval_of_a_difference_meets_the_exact_test():
    """Its lower end is 0 exactly where the F test is at its critical value (D)."""
    from scipy.stats import f

    from qualify.inference.variance_intervals import component_of_difference

    critical = float(f.ppf(0.975, 4, 20))
    for factor, positive in ((0.999, False), (1.001, True)):
        upper = MeanSquare(sum_c2=4.0 * critical * factor, degrees=4.0)
        found = component_of_difference(upper, MeanSquare(sum_c2=20.0, degrees=20.0), 3.0, 0.95)
        assert (found.low_c2 > 0) is positive


def test_lines_of_a_crossed_table_add_up():
    """Balanced: the sums of squares of runs, locations and the rest make up the total (D)."""
    values = table(3, 8, 5, 0.0)
    lines = crossed(values).lines
    assert isinstance(lines, Lines)
    total = float(((values - values.mean()) ** 2).sum())
    parts = lines.run.sum_c2 + lines.location.sum_c2 + lines.residual.sum_c2
    assert parts == pytest.approx(total, rel=1e-12)
    assert (lines.run_times, lines.location_times) == pytest.approx((8, 5), rel=1e-12)
