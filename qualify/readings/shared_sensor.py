"""The offset between two clocks, estimated from one sensor that both loggers recorded.

Method. Let a(s) be this logger's readings and b(t) the other's. The offset D makes a(s) = b(s + D) up to
a straight line in temperature (the two channels have different corrections, and these change with
temperature). Of all offsets at which the records overlap, the cross-correlation of the two slopes on an
even grid gives a few candidates; each is refined by least squares, and the one that fits clearly best is
taken.

The refinement solves the normal equation of least squares for D, Σ g·(a − b(s + D)) = 0, with g the
smoothed slope, freed of its share of the level and the line in temperature. The sum of squares itself is
not searched for its minimum: a value interpolated half way between two readings has half their noise
variance, which pulls the minimum towards such offsets; the equation with a slope of its own is free of
that pull.

Uncertainty. The residuals follow each other (control cycles, a channel that lags), so the variance of Σ
g·residual is summed over lags with Bartlett's weights (the estimator of Newey and West, 1987), the number
of lags growing with the cube root of the readings that carry slope; lags may add to it, never take away.
A level on which a quiet channel rests is rounded to the channel's resolution, once and not at random;
that is added. What the straight lines between readings do stands in no residual where the bend of the
curve goes with its slope. It is found by doing it again with every second reading left out: the error of
a line goes with the square of its length, so a third of the change is the error itself; of the two ways
to leave out, the larger change counts. All are combined, and expanded to 95 % with Student's factor for
the degrees of freedom that the lags leave.

Not in it: two sensors taken for one that answer at different speeds; by as much as one lags, the offset
is wrong.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import ceil, hypot, inf, sqrt

import numpy as np

from qualify.readings.model import BoolArray, FloatArray

LEAST_READINGS = 20
_GRID_MOST = 1 << 17
_MOST_CANDIDATES = 8
_LEAST_OVERLAP = 0.25
"""Share of the shorter record that must overlap."""
_LEAST_EXPLAINED = 0.9
"""Share of the variance that one sensor's record must explain of the other's."""
_MOST_GAIN = 0.1
"""Corrections that differ by more than 10 % of the temperature are not those of one sensor."""
_CLEARLY = 2.0
"""The best offset's residuals must be smaller than any other's by this factor."""
_LEAST_SIGNAL = 10.0
"""The sensor must move by so many times the noise."""


@dataclass(frozen=True, slots=True)
class Estimate:
    """An offset that was estimated.

    Attributes
    ----------
    offset_s
        Seconds [s] to add to this series' times to have the other's.
    uncertainty_s
        Expanded uncertainty [s], about 95 %.
    readings
        Readings compared.
    halves
        The offset and its expanded uncertainty [s] over the first and the second half of the overlap; None
        where one of them moves too little to tell.
    """

    offset_s: float
    uncertainty_s: float
    readings: int
    halves: tuple[tuple[float, float], tuple[float, float]] | None = None


@dataclass(frozen=True, slots=True)
class NotEstimated:
    """Why no offset could be estimated, and what to do."""

    why: str
    mend: str = "tell the offset itself, with its uncertainty"


@dataclass(frozen=True, slots=True)
class Series:
    """Readings of a channel: `seconds` (n,) from its first [s], rising; `values_c` (n,) [°C], none absent."""

    seconds: FloatArray
    values_c: FloatArray

    def part(self, there: BoolArray) -> Series:
        """The readings chosen."""
        return Series(self.seconds[there], self.values_c[there])

    @property
    def interval_s(self) -> float:
        """Median interval [s]."""
        return float(np.median(np.diff(self.seconds)))


@dataclass(frozen=True, slots=True)
class _Fit:
    shift_s: float
    expanded_s: float
    residual_sd_c: float
    explained: float
    readings: int


def estimate_offset(
    series: Series, other: Series, least_s: float = -inf, most_s: float = inf
) -> Estimate | NotEstimated:
    """Estimate the offset [s] to add to the times of `series` to have those of `other`.

    Parameters
    ----------
    series, other
        The two records of one sensor, each with times [s] from its own first reading.
    least_s, most_s
        Bounds of the search [s].
    """
    for each in (series, other):
        if each.seconds.size < LEAST_READINGS:
            return NotEstimated(f"one of the two channels has fewer than {LEAST_READINGS} readings")
        if not _moves(each):
            return NotEstimated(
                "the sensor hardly moved: an offset shows only where the temperature changes",
                "record a heat-up with both loggers, or tell the offset itself, with its uncertainty",
            )
    # The line is drawn through the denser of the two.
    swapped = other.interval_s > series.interval_s
    coarse, fine = (other, series) if swapped else (series, other)
    bounds = (-most_s, -least_s) if swapped else (least_s, most_s)
    fits = []
    for start in _candidates(coarse, fine, *bounds):
        fit = _refine(coarse, fine, start)
        if fit is not None and bounds[0] <= fit.shift_s <= bounds[1] and fit.explained >= _LEAST_EXPLAINED:
            fits.append(fit)
    fits.sort(key=lambda fit: fit.residual_sd_c)
    if not fits:
        return NotEstimated(
            "at no offset within the search do the two channels look like one sensor",
            "check that the two channels named recorded one sensor at the same time",
        )
    best = fits[0]
    for fit in fits[1:]:
        apart = abs(fit.shift_s - best.shift_s) > 3 * hypot(fit.expanded_s, best.expanded_s)
        if apart and fit.residual_sd_c < _CLEARLY * best.residual_sd_c:
            sign = -1.0 if swapped else 1.0
            return NotEstimated(
                f"two offsets fit nearly as well as each other, {sign * best.shift_s:.6g} s and "
                f"{sign * fit.shift_s:.6g} s (counted between the first readings)",
                "tell the offset itself, or use a stretch of the record that doesn't repeat",
            )
    halves = _halves(coarse, fine, best)
    if swapped:
        halves = None if halves is None else ((-halves[0][0], halves[0][1]), (-halves[1][0], halves[1][1]))
        return Estimate(-best.shift_s, best.expanded_s, best.readings, halves)
    return Estimate(best.shift_s, best.expanded_s, best.readings, halves)


def noise_sd(values: FloatArray) -> float:
    """Scatter of a series about its own smooth course: from second differences, robust.

    Second differences of independent noise have √6 times its standard deviation.
    """
    second = np.diff(values, 2)
    return 1.4826 * float(np.median(np.abs(second - np.median(second)))) / sqrt(6.0)


def student_factor(degrees: float) -> float:
    """Two-sided 95 % factor of Student's t, by the series in 1/ν of the normal quantile.

    Source: Abramowitz and Stegun, 26.7.5 [M]; within 0.5 % from 4 degrees of freedom.
    """
    z, v = 1.959964, max(degrees, 3.0)
    return (
        z
        + (z**3 + z) / (4 * v)
        + (5 * z**5 + 16 * z**3 + 3 * z) / (96 * v**2)
        + (3 * z**7 + 19 * z**5 + 17 * z**3 - 15 * z) / (384 * v**3)
    )


def _moves(series: Series) -> bool:
    smooth = _smoothed(series.values_c)
    return float(np.ptp(smooth)) > max(_LEAST_SIGNAL * noise_sd(series.values_c), 1e-6)


def _smoothed(values: FloatArray) -> FloatArray:
    """Moving mean of five, shorter and still centred at the ends."""
    reach = np.minimum(2, np.minimum(np.arange(values.size), np.arange(values.size)[::-1]))
    total = np.concatenate(([0.0], np.cumsum(values - values.mean())))
    at = np.arange(values.size)
    return (total[at + reach + 1] - total[at - reach]) / (2 * reach + 1) + values.mean()


def _slope(series: Series) -> FloatArray:
    return np.gradient(_smoothed(series.values_c), series.seconds)


def _candidates(coarse: Series, fine: Series, least_s: float, most_s: float) -> Iterator[float]:
    """Offsets worth refining: the peaks of the cross-correlation of the slopes, highest first."""
    spans = (float(coarse.seconds[-1]), float(fine.seconds[-1]))
    step = max(coarse.interval_s, max(spans) / _GRID_MOST)
    slopes = []
    for series, span in zip((coarse, fine), spans, strict=True):
        grid = np.arange(0.0, span + step / 2, step)
        slopes.append(np.diff(_smoothed(np.interp(grid, series.seconds, series.values_c))))
    one, two = slopes
    size = 1 << int(one.size + two.size).bit_length()
    product = np.fft.irfft(np.conj(np.fft.rfft(one, size)) * np.fft.rfft(two, size), size)
    lags = np.concatenate((np.arange(-(one.size - 1), 0), np.arange(two.size)))
    correlation = product[lags % size]
    overlap = np.minimum(lags + one.size, two.size) - np.maximum(lags, 0)
    allowed = (overlap >= _LEAST_OVERLAP * min(one.size, two.size)) & (lags * step >= least_s - step)
    correlation = np.where(allowed & (lags * step <= most_s + step), correlation, -inf)
    for _ in range(_MOST_CANDIDATES):
        top = int(np.argmax(correlation))
        peak = float(correlation[top])
        if not peak > 0:
            return
        if _ == 0:
            highest = peak
        elif peak < 0.5 * highest:
            return
        yield float(lags[top]) * step
        # Leave the peak's own hill: down both sides until it has fallen by a tenth and rises again.
        correlation[slice(*_hill(correlation, top))] = -inf


def _hill(heights: FloatArray, top: int) -> tuple[int, int]:
    """First and one past the last place of the hill about a peak."""

    def foot(side: FloatArray) -> int:
        lowest = np.minimum.accumulate(side)
        climbs = (side > lowest + 0.1 * side[0]) & (lowest < 0.9 * side[0])
        return int(np.argmax(climbs)) if climbs.any() else side.size

    return top - foot(heights[top::-1]) + 1, top + foot(heights[top:])


def _refine(coarse: Series, fine: Series, start: float) -> _Fit | None:
    """Refine one candidate; None where it leads nowhere."""
    fit = _solve(coarse, fine, start)
    if fit is None:
        return None
    # Twice the length of the lines: four times their error, so the change is three times the error.
    changes = []
    for first in (0, 1):
        every_second = np.zeros(fine.seconds.size, dtype=bool)
        every_second[first::2] = True
        again = _solve(coarse, fine.part(every_second), fit.shift_s)
        if again is not None:
            changes.append(again.shift_s - fit.shift_s)
    if not changes:
        return None
    lines_s = max(abs(change) for change in changes) / 3
    expanded = hypot(fit.expanded_s, 2.0 * lines_s)
    return _Fit(fit.shift_s, expanded, fit.residual_sd_c, fit.explained, fit.readings)


def _solve(coarse: Series, fine: Series, start: float) -> _Fit | None:
    """Solve the normal equation for the shift of the coarser series' times."""
    slope, other_slope = _slope(coarse), _slope(fine)
    level = _smoothed(coarse.values_c)
    # Slopes that are no more than noise say nothing of the offset and would only bring noise in.
    slope = np.where(np.abs(slope) < 0.05 * np.abs(slope).max(), 0.0, slope)
    tolerance = 1e-4 * fine.interval_s
    least = max(LEAST_READINGS // 2, int(_LEAST_OVERLAP * min(coarse.seconds.size, fine.seconds.size)))
    shift, moved = start, inf
    for _ in range(60):
        at = coarse.seconds + shift
        inside = (at >= fine.seconds[0]) & (at <= fine.seconds[-1])
        if np.count_nonzero(inside) < min(least, LEAST_READINGS // 2):
            return None
        at = at[inside]
        difference = coarse.values_c[inside] - np.interp(at, fine.seconds, fine.values_c)
        line = np.column_stack((np.ones(at.size), level[inside] - level[inside].mean()))
        g = slope[inside]
        g = g - line @ np.linalg.lstsq(line, g, rcond=None)[0]
        power = float(g @ np.interp(at, fine.seconds, other_slope))
        if not power > 0:
            return None
        moved = float(g @ difference) / power
        if abs(moved) <= tolerance:
            break
        shift += moved
    if abs(moved) > 100 * tolerance:
        return None
    gain = np.linalg.lstsq(line, difference, rcond=None)[0]
    if abs(gain[1]) > _MOST_GAIN:
        return None
    residual = difference - line @ gain
    carrying = float(g @ g) ** 2 / float(g**2 @ g**2)
    lags = ceil(1.5 * carrying ** (1 / 3))
    score = g * residual
    alone = variance = float(score @ score)
    for lag in range(1, min(lags, score.size - 1) + 1):
        variance += 2 * (1 - lag / (lags + 1)) * float(score[lag:] @ score[:-lag])
    # Where few readings carry the slope the scores, which sum to nothing, seem to undo each other: a single
    # reading off the line at the kink of the start would vanish. Lags may add, never take away.
    variance = max(variance, alone)
    variance *= carrying / max(carrying - 3, 1.0)
    variance += _rounding(g, slope[inside] == 0.0, level[inside], coarse, fine)
    total = float(np.var(coarse.values_c[inside]))
    return _Fit(
        shift_s=shift,
        expanded_s=student_factor(1.5 * carrying / (lags + 1)) * sqrt(max(variance, 0.0)) / power,
        residual_sd_c=float(residual.std()),
        explained=1 - float(residual.var()) / total if total > 0 else 0.0,
        readings=int(at.size),
    )


def _rounding(g: FloatArray, at_rest: BoolArray, level: FloatArray, coarse: Series, fine: Series) -> float:
    """Variance of Σ g·error by the rounding of readings that rest on one number.

    While the temperature rests, the rounding error of a quiet channel is one and the same, at the lower and
    at the upper level: it doesn't average out and no residual shows it. Noise breaks it up: a scatter of σ
    about steps of q leaves exp(−2π²σ²/q²) of it.
    """
    squares = 0.0
    for series in (coarse, fine):
        q = resolution(series.values_c)
        if q > 0:
            kept = np.exp(-2 * (np.pi * noise_sd(series.values_c) / q) ** 2)
            squares += float((q * kept) ** 2 / 12)
    upper = level > (level.min() + level.max()) / 2
    return squares * sum(float(g[at_rest & part].sum()) ** 2 for part in (upper, ~upper))


def resolution(values: FloatArray) -> float:
    """The step between neighbouring numbers of a channel: the least of those that occur."""
    distinct = np.unique(values)
    steps = np.diff(distinct)
    steps = steps[steps > 1e-9]
    return float(steps.min()) if steps.size else 0.0


def _halves(
    coarse: Series, fine: Series, fit: _Fit
) -> tuple[tuple[float, float], tuple[float, float]] | None:
    """The shift over each half of the overlap, where both halves move enough."""
    first = max(float(coarse.seconds[0]), float(fine.seconds[0]) - fit.shift_s)
    last = min(float(coarse.seconds[-1]), float(fine.seconds[-1]) - fit.shift_s)
    middle = (first + last) / 2
    found = []
    for begin, end in ((first, middle), (middle, last)):
        part = coarse.part((coarse.seconds >= begin) & (coarse.seconds <= end))
        if part.seconds.size < LEAST_READINGS or not _moves(part):
            return None
        half = _refine(part, fine, fit.shift_s)
        if half is None or half.explained < _LEAST_EXPLAINED:
            return None
        found.append((half.shift_s, half.expanded_s))
    return found[0], found[1]
