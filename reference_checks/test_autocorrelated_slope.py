"""Standard error of a slope under autocorrelation (Newey–West), and Student's t, against two libraries.

Sources: statsmodels (cov_type "HAC", Bartlett weights) on several series; the output of a commercial
statistics program for the US macroeconomic series 1959–2009, Bartlett weights over 4 lags, as typed in
statsmodels' own tests (standing C: those tests reproduce it). That regression has two regressors and a
constant, the package's has one: by the theorem of Frisch, Waugh and Lovell the slope of what is left of y
on what is left of one regressor, once the others are taken out of both, is the same slope, and with the same
residuals the sandwich gives the same error. Only the small-sample factor has to be turned from n/(n − 2)
into n/(n − 3).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
import pytest
from numpy.typing import NDArray

from qualify.figures.absent import present
from qualify.figures.series import (
    Drift,
    bartlett_lags,
    drift,
    find_cycle,
    hac_slope_error,
    least_squares_slope,
)
from qualify.probability import normal_between, student_quantile

if TYPE_CHECKING:
    from reference_checks.conftest import Published

Series = NDArray[np.float64]
Reader = Callable[[str], list[list[float]]]


def ar1(seed: int, n: int, phi: float) -> Series:
    random = np.random.default_rng(seed)
    noise = random.standard_normal(n)
    values = np.empty(n)
    values[0] = noise[0] / np.sqrt(1 - phi**2)
    for index in range(1, n):
        values[index] = phi * values[index - 1] + noise[index]
    return values


def pair(name: str, nist: Reader) -> tuple[Series, Series]:
    """Abscissa and series of one set."""
    if name == "Norris":
        y, x = np.array(nist("Norris")).T
        return x, y
    if name in ("Lew", "Mavro", "Michelso", "Lottery"):
        y = np.array([row[0] for row in nist(name)])
        return np.arange(y.size, dtype=np.float64), y
    phi = {"AR(1) 0.5": 0.5, "AR(1) 0.9": 0.9, "AR(1) -0.6": -0.6}[name]
    x = np.cumsum(np.random.default_rng(5).uniform(0.5, 1.5, 400))  # uneven spacing
    return x, 180 + 0.01 * x + ar1(6, 400, phi)


SETS = ["Norris", "Lew", "Mavro", "Michelso", "Lottery", "AR(1) 0.5", "AR(1) 0.9", "AR(1) -0.6"]


@pytest.mark.parametrize("small_sample", [True, False])
@pytest.mark.parametrize("lags", [0, 1, 4, 12, 25])
@pytest.mark.parametrize("name", SETS)
def test_against_the_library(name: str, lags: int, small_sample: bool, nist: Reader):
    sm = pytest.importorskip("statsmodels.regression.linear_model")
    x, y = pair(name, nist)
    design = np.column_stack((np.ones(x.size), x))
    fit = sm.OLS(y, design).fit(
        cov_type="HAC", cov_kwds={"maxlags": lags, "use_correction": small_sample, "kernel": "bartlett"}
    )
    # Norris and Mavro lie far from zero against their scatter: the library's own solver keeps 9 to 10 digits.
    assert least_squares_slope(x, y) == pytest.approx(float(fit.params[1]), rel=1e-8)
    found = hac_slope_error(x, y, lags, small_sample=small_sample)
    assert found == pytest.approx(float(fit.bse[1]), rel=1e-8)


# Regressor: slope, error with and without the small-sample factor, as published.
MACRO = {
    "g_realgdp": ("4.3742216647", ".33125644884", ".32878742226"),
    "L.realint": ("-.613996969479", ".295823475932", ".293618549721"),
}


@pytest.mark.parametrize("regressor", MACRO)
def test_against_published_output(regressor: str, published: Published):
    data = pytest.importorskip("statsmodels.datasets").macrodata.load_pandas().data
    growth = 400 * np.diff(np.log(data["realgdp"].to_numpy()))
    investment = 400 * np.diff(np.log(data["realinv"].to_numpy()))
    interest = data["realint"].to_numpy()[:-1]
    columns = {"g_realgdp": growth, "L.realint": interest}
    x = columns.pop(regressor)
    (other,) = columns.values()
    others = np.column_stack((np.ones(x.size), other))

    def left(series: Series) -> Series:
        fit, *_ = np.linalg.lstsq(others, series, rcond=None)
        return np.asarray(series - others @ fit)

    x, y = left(x), left(investment)
    assert x.size == 202
    slope, small, large = MACRO[regressor]
    name = f"macroeconomic series, {regressor}"
    published.agree(least_squares_slope(x, y), slope, f"{name}: slope")
    published.agree(hac_slope_error(x, y, 4, small_sample=False), large, f"{name}: error")
    found = hac_slope_error(x, y, 4) * float(np.sqrt((202 - 2) / (202 - 3)))
    published.agree(found, small, f"{name}: error, small sample")


@pytest.mark.parametrize(("n", "phi"), [(60, 0.3), (200, 0.5), (400, 0.8), (2000, 0.9), (400, 0.0)])
def test_number_of_lags_against_the_literal_formula(n: int, phi: float):
    """1.1447·(a·n)^(1/3) rounded up, a = 4ρ²/((1 − ρ)²(1 + ρ)²) from ρ = Σ d_t·d_t+1 / Σ d_t², by loops."""
    values = ar1(n, n, phi).tolist()
    mean = sum(values) / n
    d = [value - mean for value in values]
    rho = sum(d[t] * d[t + 1] for t in range(n - 1)) / sum(v * v for v in d)
    a = 4 * rho**2 / ((1 - rho) ** 2 * (1 + rho) ** 2)
    exact = 1.1447 * (a * n) ** (1 / 3)
    found = bartlett_lags(np.array(values))
    assert exact <= found < exact + 1


DEGREES = [1, 1.5, 2, 3, 9, 10, 29.3, 60, 120, 199.9, 200, 250.5, 999, 1000, 1001, 1e5, 1e7, 1e12]


@pytest.mark.parametrize("probability", [0.6, 0.9, 0.95, 0.975, 0.97725, 0.995, 0.9999])
@pytest.mark.parametrize("degrees", DEGREES)
def test_students_t_against_the_library(degrees: float, probability: float):
    stats = pytest.importorskip("scipy.stats")
    wanted = float(stats.t.ppf(probability, degrees))
    assert student_quantile(degrees, probability) == pytest.approx(wanted, rel=1e-10)


@pytest.mark.parametrize(
    ("degrees", "probability"), [(0.9, 0.975), (float("nan"), 0.975), (5, 0.5), (5, 1.0)]
)
def test_students_t_outside_its_range(degrees: float, probability: float):
    with pytest.raises(ValueError, match="no quantile"):
        student_quantile(degrees, probability)


@pytest.mark.parametrize(
    "bounds", [(-1.0, 2.0), (3.0, 5.0), (-40.0, -39.0), (8.0, 9.0), (2.0, 1.0), (-9.0, 9.0)]
)
def test_normal_probability_against_the_library(bounds: tuple[float, float]):
    stats = pytest.importorskip("scipy.stats")
    low, high = bounds
    tails = (
        stats.norm.sf(low) - stats.norm.sf(high) if low > 0 else stats.norm.cdf(high) - stats.norm.cdf(low)
    )
    assert normal_between(low, high) == pytest.approx(max(float(tails), 0.0), rel=1e-12)


# Two-sided 95 % points as every printed table of Student's t has them (from memory of such tables: M; the
# library above confirms them).
PRINTED_T = {1: "12.706", 2: "4.303", 5: "2.571", 9: "2.262", 10: "2.228", 30: "2.042", 120: "1.980"}


@pytest.mark.parametrize("degrees", PRINTED_T)
def test_students_t_against_printed_tables(degrees: int, published: Published):
    published.agree(student_quantile(degrees), PRINTED_T[degrees], f"Student's t, 95 %, {degrees} degrees")


def drifts(n: int, phi: float, slope_c_per_h: float) -> list[Drift]:
    """Drifts of 300 made-up locations: 0.05 °C noise, a reading every 30 s, figured as a hold is."""
    seconds = np.arange(n) * 30.0
    found = []
    for seed in range(300):
        values = 180 + slope_c_per_h * seconds / 3600 + 0.05 * ar1(seed, n, phi)
        found.append(drift(seconds, values, find_cycle(seconds, values)))
    return found


# n, φ, least share of 95 % intervals that hold the true slope (0): 0.95 less three standard errors of 300
# windows, and a little for the shapes of noise that the interval averages over. Newey–West with Student's t
# held in 0.94, 0.94, 0.90, 0.87 and 0.87 of them: its errors are too small while the correlation is a good
# part of the window. tests/studies counts more windows.
COVERAGE = [
    (60, 0.0, 0.91),
    (180, 0.0, 0.91),
    (180, 0.5, 0.91),
    (180, 0.8, 0.91),
    (400, 0.8, 0.91),
]


@pytest.mark.parametrize(("n", "phi", "least"), COVERAGE)
def test_coverage_of_the_interval_of_a_drift(n: int, phi: float, least: float):
    held = [
        present(item.low_c_per_h)
        and present(item.high_c_per_h)
        and item.low_c_per_h <= 0.0 <= item.high_c_per_h
        for item in drifts(n, phi, 0.0)
    ]
    assert least <= sum(held) / len(held) <= 0.99


@pytest.mark.parametrize("slope_c_per_h", [0.3, 0.9])
def test_a_clear_drift_has_an_interval_that_excludes_zero(slope_c_per_h: float):
    """Twenty times its own standard error: a trend is not correlation, and must not hide its own interval."""
    clear = [present(item.low_c_per_h) and item.low_c_per_h > 0.0 for item in drifts(180, 0.0, slope_c_per_h)]
    assert sum(clear) >= 0.99 * len(clear)
