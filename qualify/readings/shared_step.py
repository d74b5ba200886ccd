"""The offset between two clocks, estimated from the heating start that both loggers saw.

Method. In each logger: the starting level (median of the first five minutes of the mean of its
temperature channels), then a straight line by least squares through the readings between 5 % and 25 % of
the rise, carried back to the level. The two loggers use the same limits in °C. Where both see a chamber
that answers like a delay and a first-order lag, the line meets the level 0.6 % of the time constant
early, alike in both; crossings of a threshold alone (5 %, 10 %) lie later by that share of the time
constant, and by other amounts where the loggers' locations warm at different rates. No reading before the
rise takes part in the line, so that the kink at the start doesn't bend it.

What is assumed: the places of both loggers begin to warm at one instant. By how much they don't is not in
the uncertainty, and the doubt says so.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, sqrt

import numpy as np

from qualify.readings.model import FloatArray
from qualify.readings.shared_sensor import Estimate, NotEstimated, Series, student_factor

_LEVEL_SECONDS = 300.0
_LEAST_LEVEL = 3
_LEAST_LINE = 5
_LOW, _HIGH, _HIGH_MOST = 0.05, 0.25, 0.6
_LEAST_RISE_C = 5.0


@dataclass(frozen=True, slots=True)
class _Rise:
    level_c: float
    noise_c: float
    readings: int
    leaves: int
    rise_c: float


def estimate_offset_of_starts(series: Series, other: Series) -> Estimate | NotEstimated:
    """Estimate the offset [s] to add to the times of `series` to have those of `other`.

    Parameters
    ----------
    series, other
        Mean of the temperature channels of each logger, with times [s] from its own first reading.
    """
    rises = []
    for each in (series, other):
        rise = _rise(each)
        if isinstance(rise, NotEstimated):
            return rise
        rises.append(rise)
    height = min(rise.rise_c for rise in rises)
    low = max(_LOW * height, *(5 * rise.noise_c for rise in rises))
    high = _HIGH * height
    while high < _HIGH_MOST * height and any(
        _on_line(each, rise, low, high)[0].size < _LEAST_LINE
        for each, rise in zip((series, other), rises, strict=True)
    ):
        high += _LOW * height
    starts = []
    for each, rise in zip((series, other), rises, strict=True):
        seconds, above = _on_line(each, rise, low, high)
        if seconds.size < _LEAST_LINE:
            return NotEstimated(
                "there are too few readings while the chamber rises from 5 % to 60 % of its step",
                "use a shorter reading interval, or tell the offset itself, with its uncertainty",
            )
        starts.append(_start(seconds, above, rise))
    (one, one_u), (two, two_u) = starts
    count = min(
        _on_line(each, rise, low, high)[0].size for each, rise in zip((series, other), rises, strict=True)
    )
    return Estimate(two - one, hypot(one_u, two_u), count)


def _rise(series: Series) -> _Rise | NotEstimated:
    """The level before the first rise, its scatter, and how far the rise goes without a stop."""
    seconds, values = series.seconds, series.values_c
    count = max(int(np.searchsorted(seconds, seconds[0] + _LEVEL_SECONDS, side="right")), _LEAST_LEVEL)
    if values.size < count + _LEAST_LINE:
        return NotEstimated("one of the two records is too short to show a start and what was before it")
    first = values[:count]
    line = np.polynomial.Polynomial.fit(seconds[:count], first, 1)(seconds[:count])
    scatter = 1.4826 * float(np.median(np.abs(first - line - np.median(first - line))))
    if abs(float(line[-1] - line[0])) > max(1.0, 5 * scatter):
        return NotEstimated("one of the two records begins with the chamber already moving")
    level = float(np.median(first))
    left = np.flatnonzero(values > level + max(1.0, 5 * scatter))
    # It leaves where it stays above, at the first of the readings behind the last one at the level before
    # half of the whole rise is reached.
    half = np.flatnonzero(values > (level + values.max()) / 2)
    if not left.size or values.max() - level < _LEAST_RISE_C:
        return NotEstimated(
            f"one of the two records shows no heating start (no rise of {_LEAST_RISE_C:g} °C from its first "
            "level)"
        )
    held = np.flatnonzero(values[: half[0] + 1] <= level + max(1.0, 5 * scatter))
    leaves = int(held[-1]) + 1 if held.size else int(left[0])
    # The rise ends where, for the first time, the mean is no higher than five minutes before.
    rest, times = values[leaves:], seconds[leaves:]
    before = np.searchsorted(times, times - _LEVEL_SECONDS, side="right") - 1
    stopped = np.flatnonzero((before >= 0) & (rest <= rest[np.maximum(before, 0)] + 5 * scatter))
    top = float(rest[: stopped[0] + 1].max()) if stopped.size else float(rest.max())
    return _Rise(level, scatter, count, leaves, top - level)


def _on_line(series: Series, rise: _Rise, low: float, high: float) -> tuple[FloatArray, FloatArray]:
    """Readings [s], [°C above the level] of the rise from the first above `low` to the last before `high`."""
    above = series.values_c[rise.leaves :] - rise.level_c
    beyond = np.flatnonzero(above > high)
    stop = int(beyond[0]) if beyond.size else above.size
    under = np.flatnonzero(above[:stop] <= low)
    begin = int(under[-1]) + 1 if under.size else 0
    chosen = slice(rise.leaves + begin, rise.leaves + stop)
    return series.seconds[chosen], above[begin:stop]


def _start(seconds: FloatArray, above: FloatArray, rise: _Rise) -> tuple[float, float]:
    """Where the line meets the level [s], and the expanded uncertainty [s]."""
    n = seconds.size
    meets, slope, spread = _line(seconds, above)
    # Scatter about a curve, for the bend of the rise is the same in both loggers; what the bend does with
    # readings that fall elsewhere on it shows when the first or the last reading of the line is left out.
    curve = np.polynomial.Polynomial.fit(seconds, above, 2)(seconds)
    scatter = sqrt(float(np.sum((above - curve) ** 2)) / (n - 3))
    sd = max(scatter, rise.noise_c)
    ends = [abs(_line(seconds[part], above[part])[0] - meets) for part in (slice(1, n), slice(0, n - 1))]
    level_sd = 1.2533 * rise.noise_c / sqrt(rise.readings)
    noise = hypot(sd * spread, level_sd) / slope
    return meets, hypot(student_factor(n - 3) * noise, max(ends))


def _line(seconds: FloatArray, above: FloatArray) -> tuple[float, float, float]:
    """Where the least-squares line meets zero [s], its slope [°C/s], and √(1/n + d²/Σt²) of that place."""
    middle, mean = float(seconds.mean()), float(above.mean())
    time = seconds - middle
    power = float(time @ time)
    slope = float(time @ above) / power
    return middle - mean / slope, slope, sqrt(1 / seconds.size + (mean / slope) ** 2 / power)
