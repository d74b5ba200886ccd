"""Whether the readings of some locations scatter more than those of others."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from qualify.figures.absent import Absent
from qualify.figures.noise import Shapes
from qualify.figures.series import common_correlation_time
from qualify.readings.model import FloatArray

LEAST_DEGREES = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class VarianceComparison:
    """Brown and Forsythe's test of equal variances.

    Attributes
    ----------
    statistic
        F of the absolute deviations from the medians, divided by their correlation time [1].
    degrees_between, degrees_within
        Its degrees of freedom [1].
    p_value
        Chance of so large a statistic where all variances are equal [1].
    correlation_time
        Readings that count as one independent absolute deviation [1]; 1 for independent readings.
    differs
        Whether `p_value` is below 1 − confidence.
    confidence
        As asked for [1].
    """

    statistic: float
    degrees_between: float
    degrees_within: float
    p_value: float
    correlation_time: float
    differs: bool
    confidence: float


def one_way_f(values: FloatArray) -> float:
    """Ratio of the mean squares between and within groups of one size.

    Parameters
    ----------
    values : (n, m) float64
        One group a column.
    """
    n, groups = values.shape
    means = values.mean(axis=0)
    between = n * float(np.sum((means - means.mean()) ** 2)) / (groups - 1)
    within = float(np.sum((values - means) ** 2)) / (groups * (n - 1))
    return between / within


def time_of_absolute_deviations(kinds: Shapes, n: int) -> FloatArray:
    """Correlation time of |x| for normal x of each shape of noise [readings].

    1 + 2·Σ (1 − k/n)·c(ρ_k), where two standard normal variables of correlation ρ have absolute values of
    correlation c = (√(1 − ρ²) + ρ·arcsin ρ − 1)/(π/2 − 1).

    Parameters
    ----------
    kinds
        The g shapes.
    n
        Readings.

    Returns
    -------
    (g,) float64
    """
    lags = np.arange(1, min(n, 1000))
    rho = kinds.correlated[:, None] * kinds.ratio[:, None] ** lags
    of_absolute = (np.sqrt(1 - rho**2) + rho * np.arcsin(rho) - 1) / (np.pi / 2 - 1)
    time: FloatArray = 1.0 + 2.0 * of_absolute @ (1.0 - lags / n)
    return time


def compare_variances(
    values: FloatArray, confidence: float = 0.95, correlation_time: float | None = None
) -> VarianceComparison | Absent:
    """Test whether series scatter alike about their medians.

    M. B. Brown and A. B. Forsythe, Journal of the American Statistical Association 69, 1974, 364–367
    (cited from memory): the one-way F of |x − median|. Autocorrelated readings are worth fewer: the
    correlation time τ of the absolute deviations makes n/τ of the n readings of each, so that F is divided
    by τ and has m·(n/τ − 1) degrees within. Without a τ it comes from the mean autocorrelation of all
    series, which in short windows is too small.

    Parameters
    ----------
    values : (n, m) float64
        One series a column, none absent.
    confidence
        1 − chance that equal variances are called different.
    correlation_time
        Readings that count as one independent one [1], where it is known; 1 gives the test as published.
    """
    from scipy.stats import f as f_distribution

    n, groups = values.shape
    if groups < 2 or n < 3:
        return Absent(f"{groups} locations with {n} readings; variances need 2 locations with 3 readings")
    deviations = np.abs(values - np.median(values, axis=0))
    if not (np.ptp(deviations, axis=0) > 1e-9).all():
        return Absent("the readings of a location do not vary, so that its variance can't be compared")
    tau = max(common_correlation_time(deviations), 1.0) if correlation_time is None else correlation_time
    within = groups * (n / tau - 1.0)
    if within < LEAST_DEGREES:
        return Absent("the window is too short for its correlation to compare variances")
    statistic = one_way_f(deviations) / tau
    p_value = float(f_distribution.sf(statistic, groups - 1, within))
    return VarianceComparison(
        statistic=statistic,
        degrees_between=float(groups - 1),
        degrees_within=within,
        p_value=p_value,
        correlation_time=tau,
        differs=p_value < 1.0 - confidence,
        confidence=confidence,
    )
