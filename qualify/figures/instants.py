"""Instants of a recording: means over locations, completeness, spacing, time weights, sliding ranges."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from qualify.readings.model import BoolArray, FloatArray, IntArray

UNEVEN_SHARE = 0.10
"""Intervals that differ from their median by more than this share make means time-weighted."""


def instant_mean(values_c: FloatArray) -> FloatArray:
    """Mean over the locations that have a reading, at each instant.

    Parameters
    ----------
    values_c : (n, m) float64
        Readings [°C], NaN where absent.

    Returns
    -------
    (n,) float64
        Mean [°C]; NaN where no location has a reading.
    """
    absent = np.isnan(values_c)
    if not absent.any():
        mean: FloatArray = values_c.mean(axis=1)
        return mean
    count = (~absent).sum(axis=1)
    total = np.where(absent, 0.0, values_c).sum(axis=1)
    return np.divide(total, count, out=np.full(count.shape, np.nan), where=count > 0)


def complete_instants(values_c: FloatArray) -> BoolArray:
    """Whether every location has a reading, at each instant: (n, m) readings [°C] → (n,) bool."""
    return np.all(~np.isnan(values_c), axis=1)


def recording_interval(seconds: FloatArray) -> float:
    """Give the median interval between instants [s]; NaN for fewer than two."""
    return float(np.median(np.diff(seconds))) if seconds.size > 1 else float("nan")


def mean_interval(seconds: FloatArray) -> float:
    """Mean of the intervals that are no gap (not longer than three medians) [s]; NaN for fewer than two.

    For instants of several loggers together, which lie unevenly however evenly each of them reads.
    """
    steps = np.diff(seconds)
    if not steps.size:
        return float("nan")
    return float(steps[steps <= 3 * np.median(steps)].mean())


def evenly_spaced(seconds: FloatArray) -> bool:
    """Whether no interval differs from the median interval by more than a tenth of it."""
    if seconds.size < 3:
        return True
    steps = np.diff(seconds)
    if np.ptp(steps) <= UNEVEN_SHARE * steps.min():
        return True  # whatever the median is; spares a long record its sorting
    middle = float(np.median(steps))
    return bool(np.all(np.abs(steps - middle) <= UNEVEN_SHARE * middle * (1 + 1e-9)))


def time_weights(seconds: FloatArray) -> FloatArray:
    """Weights of the trapezoid rule, summing to 1: half the way to each neighbour.

    Parameters
    ----------
    seconds : (n,) float64
        Instants [s], rising.
    """
    if seconds.size < 2:
        return np.ones(seconds.size)
    steps = np.diff(seconds)
    weights = np.zeros(seconds.size)
    weights[:-1] += steps / 2
    weights[1:] += steps / 2
    return weights / weights.sum()


def mean_over_time(seconds: FloatArray, values: FloatArray, even: bool) -> float:
    """Mean of a series without gaps in it: plain where the instants are even, else time-weighted."""
    return float(values.mean()) if even else float(np.dot(time_weights(seconds), values))


@dataclass(frozen=True, slots=True)
class Stretches:
    """Stretches of a series, sorted by the length of the two runs that cover each.

    `count` is the number of stretches; `levels[k]` the starts of the first run of length
    2**k, which is also the stretch's own index, and of the second.
    """

    count: int
    levels: tuple[tuple[IntArray, IntArray], ...]


def stretches(last: IntArray) -> Stretches:
    """Sort stretches for `sliding_range`, once for all series.

    Parameters
    ----------
    last : (k,) int64
        Index of the last value of the stretch that begins at i = 0 … k − 1; never below i.
    """
    level_of = np.log2(last - np.arange(last.size) + 1).astype(np.int64)
    levels = []
    for level in range(int(level_of.max(initial=0)) + 1):
        here = np.flatnonzero(level_of == level)
        levels.append((here, last[here] - (1 << level) + 1))
    return Stretches(last.size, tuple(levels))


def sliding_range(values: FloatArray, over: Stretches) -> FloatArray:
    """Largest minus smallest value of every stretch at once.

    Runs of doubling length are combined, two of them cover any stretch, so that n stretches of any
    length cost n·log2(length). NaN are passed over.

    Parameters
    ----------
    values : (n,) float64
    over
        The stretches.
    """
    result = np.empty(over.count)
    high, low = values, values
    # The plain functions are quicker, but carry NaN along.
    larger, smaller = (np.fmax, np.fmin) if np.isnan(values).any() else (np.maximum, np.minimum)
    for level, (here, tail) in enumerate(over.levels):
        half = 1 << level
        if here.size:
            result[here] = larger(high[here], high[tail]) - smaller(low[here], low[tail])
        if high.size <= half:
            break
        high = larger(high[:-half], high[half:])
        low = smaller(low[:-half], low[half:])
    return result
