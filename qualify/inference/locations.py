"""Locations of one window compared with each other, on their differences at the same instants."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np

from qualify.figures.absent import Absent
from qualify.figures.instants import complete_instants
from qualify.figures.noise import (
    LEAST_READINGS,
    MOST_COSINES,
    TOO_SHORT,
    NoiseFit,
    WindowCosines,
    WindowNoise,
    fit_noise,
    fits_among_cosines,
    half_widths,
    in_blocks,
    window_cosines,
)
from qualify.figures.series import Cycle, find_cycle, without_cycle
from qualify.inference.ranges import studentized_range_quantile
from qualify.inference.variances import (
    VarianceComparison,
    compare_variances,
    time_of_absolute_deviations,
)
from qualify.readings.model import BoolArray, FloatArray, IntArray

POOLING_STEPS = 8
METHOD = (
    "differences at the same instants; trend, control cycle and autocorrelated noise fitted to each; "
    "against the chamber mean by Šidák's level, pairs by the level of the studentized range"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class LocationComparison:
    """Mean differences between m locations, with intervals that hold together.

    Attributes
    ----------
    against_mean_c, against_mean_half_c : (m,) float64
        Mean of T_i − mean_j T_j, and half-width of its interval [°C].
    against_mean_differs : (m,) bool
        Whether the interval excludes zero.
    effective_readings : (m,) float64
        Independent readings that each T_i − mean_j T_j is likely worth to its mean.
    pairs : (m·(m − 1)/2, 2) int64
        Columns i < j of each pair.
    pair_difference_c, pair_half_c : (m·(m − 1)/2,) float64
        Mean of T_i − T_j, and half-width of its interval [°C].
    pair_differs : (m·(m − 1)/2,) bool
        Whether the interval excludes zero.
    variances
        Whether the differences from the chamber mean scatter alike.
    cycle
        The control cycle that was fitted to the differences.
    readings
        Complete instants.
    confidence
        Chance that all m intervals, and chance that all intervals of pairs, hold the truth [1].
    method
        In words.
    """

    against_mean_c: FloatArray
    against_mean_half_c: FloatArray
    against_mean_differs: BoolArray
    effective_readings: FloatArray
    pairs: IntArray
    pair_difference_c: FloatArray
    pair_half_c: FloatArray
    pair_differs: BoolArray
    variances: VarianceComparison | Absent
    cycle: Cycle | Absent
    readings: int
    confidence: float
    method: str = METHOD


def compare_locations(
    values_c: FloatArray, seconds: FloatArray, confidence: float = 0.95
) -> LocationComparison | Absent:
    """Compare the locations of a window with the chamber mean and with each other.

    A control cycle or a wander that moves all locations alike cancels in the differences; what is left of
    a cycle is fitted. Each difference has its own noise and its own correlation, so that neither need be
    equal among locations. Against the chamber mean each interval misses with the chance
    1 − confidence^(1/m) (Z. Šidák, Journal of the American Statistical Association 62, 1967, 626–633). A
    pair misses with the chance that Student's t leaves beyond q/√2, q the studentized range of m means, as
    in the procedure of P. A. Games and J. F. Howell (Journal of Educational Statistics 1, 1976, 113–125)
    for unequal variances; its degrees of freedom are replaced by the likely shapes of the noise. All
    cited from memory. Families of intervals that held are counted in tests/studies.

    The intervals are about what the sensors showed, and whether they would show it again in such a window.
    Errors of calibration, which the means carry, are not in them: a difference that is clear here can
    still be one between sensors.

    Parameters
    ----------
    values_c : (n, m) float64
        Readings [°C], NaN where absent; only complete instants are used.
    seconds : (n,) float64
        Times [s].
    confidence
        Of each of the two families [1].
    """
    locations = values_c.shape[1]
    if locations < 2:
        return Absent(f"{locations} location; a comparison needs at least 2")
    there = complete_instants(values_c)
    time, values = seconds[there], values_c[there]
    n = time.size
    if n < LEAST_READINGS:
        return Absent(f"{n} instants with a reading of every location; at least {LEAST_READINGS} are needed")
    cycle = _common_cycle(time, values)
    first, second = np.triu_indices(locations, 1)
    means = values.mean(axis=0)
    rest, period_s = values - means, None
    if not isinstance(cycle, Absent):
        if fits_among_cosines(time, cycle.period_s):
            period_s = cycle.period_s
        else:
            rest = np.stack([without_cycle(time, column, cycle) for column in rest.T], axis=1)
    # A long window is averaged here, before there are many pairs; `window_cosines` would do it after.
    together = max(n // (8 * MOST_COSINES), 1)
    brief_s, brief = in_blocks(time[:, None], together)[:, 0], in_blocks(rest, together)
    window = window_cosines(brief_s, brief, period_s)
    if isinstance(window, Absent):
        return window
    columns = np.hstack((window.trend, window.waves))[1:]
    of_mean = window.data - window.data.mean(axis=1, keepdims=True)
    of_pairs = window.data[:, first] - window.data[:, second]
    if any(((data**2).sum(axis=0) <= n * 1e-18).any() for data in (of_mean, of_pairs)):
        return Absent("two locations differ by a constant, so that the noise between them can't be told")
    against_mean = fit_noise(columns, of_mean[1:], window.readings)
    between = fit_noise(columns, of_pairs[1:], window.readings)
    if isinstance(against_mean, Absent) or isinstance(between, Absent):
        return against_mean if isinstance(against_mean, Absent) else TOO_SHORT
    if against_mean.too_short().mean() > 0.5:
        return Absent("most locations wander so slowly against the others that the window is too short")
    factors = _pooled(against_mean)
    against_mean, between = against_mean.reweighted(factors), between.reweighted(factors)
    outside_mean = 1.0 - confidence ** (1.0 / locations)
    against_mean_c = means - means.mean()
    against_mean_half_c = _half(against_mean, window, outside_mean)
    pair_difference_c = means[first] - means[second]
    pair_half_c = _half(between, window, _outside_of_pairs(confidence, locations, between.degrees))
    return LocationComparison(
        against_mean_c=against_mean_c,
        against_mean_half_c=against_mean_half_c,
        against_mean_differs=np.abs(against_mean_c) > against_mean_half_c,
        effective_readings=np.minimum(against_mean.independent() * together, n),
        pairs=np.stack((first, second), axis=1).astype(np.int64),
        pair_difference_c=pair_difference_c,
        pair_half_c=pair_half_c,
        pair_differs=np.abs(pair_difference_c) > pair_half_c,
        variances=compare_variances(
            _scatter(time, rest, cycle if period_s else Absent("taken out before")),
            confidence,
            _time_of_scatter(against_mean, n) if together == 1 else None,
        ),
        cycle=cycle,
        readings=n,
        confidence=confidence,
    )


def _half(fit: NoiseFit, window: WindowCosines, outside: float) -> FloatArray:
    from scipy.special import ndtr

    noise = WindowNoise(fit=fit, of=window, taken_out_c=np.zeros(fit.weights.shape[1]))
    offset, variance = noise.mean_error()
    return half_widths(fit, offset, variance, outside, tail=lambda z: ndtr(-z))


def _outside_of_pairs(confidence: float, locations: int, degrees: int) -> float:
    """Chance of missing that one pair has where all pairs hold together, by the studentized range."""
    from scipy.special import stdtr

    q = studentized_range_quantile(confidence, locations, float(degrees))
    return 2.0 * float(stdtr(degrees, -q / sqrt(2.0)))


def _common_cycle(seconds: FloatArray, values: FloatArray) -> Cycle | Absent:
    """Cycle of the chamber mean; without one, the strongest among the differences from it."""
    mean = values.mean(axis=1)
    common = find_cycle(seconds, mean)
    if isinstance(common, Cycle):
        return common
    found = [find_cycle(seconds, column - mean) for column in values.T]
    cycles = [cycle for cycle in found if isinstance(cycle, Cycle)]
    return max(cycles, key=lambda cycle: cycle.amplitude_c) if cycles else common


def _pooled(fit: NoiseFit) -> FloatArray:
    """Factors by which the noise of all locations together changes the weight of each shape: (g,) float64.

    Locations of one oven, read by one logger, mostly have noise of similar shape. How the shapes are
    distributed among locations is estimated from all of them (empirical Bayes by the EM algorithm), the
    weights of `shapes` counting as one location more, so that a location unlike the others is still heard.
    Only a few steps are taken: at convergence families of autocorrelated locations held in 92 of 100 windows.
    """
    prior, locations = fit.shapes.prior, fit.weights.shape[1]
    among = prior
    for _ in range(POOLING_STEPS):
        weights = fit.weights * (among / prior)[:, None]
        among = (prior + (weights / weights.sum(axis=0)).sum(axis=1)) / (1.0 + locations)
    factors: FloatArray = among / prior
    return factors


def _scatter(seconds: FloatArray, rest: FloatArray, cycle: Cycle | Absent) -> FloatArray:
    """Differences from the chamber mean about their own trend and cycle: (n, m) float64."""
    differences = rest - rest.mean(axis=1, keepdims=True)
    if not isinstance(cycle, Absent):
        differences = np.stack([without_cycle(seconds, column, cycle) for column in differences.T], axis=1)
    centred = seconds - seconds.mean()
    slopes = centred @ differences / (centred @ centred)
    scatter: FloatArray = differences - differences.mean(axis=0) - centred[:, None] * slopes
    return scatter


def _time_of_scatter(fit: NoiseFit, n: int) -> float:
    """Correlation time of the absolute deviations of all locations, by the shapes of their noise."""
    return max(float(np.mean(fit.weights.T @ time_of_absolute_deviations(fit.shapes, n))), 1.0)
