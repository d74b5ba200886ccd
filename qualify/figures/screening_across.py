"""Screening across locations: pinned and moved sensors, junction steps, swapped corrections, ambient.

Pure functions of arrays, as `screening`: each result carries the threshold that it was found with.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from qualify.figures.screening import chamber_middle, median_across, sampled
from qualify.readings.model import BoolArray, FloatArray, IntArray

PINNED_BEYOND_C, PINNED_BEYOND_SHARE = 20.0, 0.10
PINNED_READINGS = 5
PINNED_STEPS, PINNED_WITHIN_C = 5.0, 1.0
PINNED_TIMES_CHAMBER = 3.0
PINNED_ONE_WAY = 0.6
NEAR_C, NEAR_SDS = 5.0, 5.0
MOVED_C, MOVED_STEPS, MOVED_SDS = 1.0, 5.0, 10.0
MOVED_READINGS, MOVED_SECONDS = 10, 180.0
MOVED_LASTING = 0.7
JUNCTION_C, JUNCTION_STEPS, JUNCTION_SDS = 1.0, 5.0, 10.0
JUNCTION_EQUAL_SDS, JUNCTION_EQUAL_STEPS = 3.0, 1.0
JUNCTION_MOST_C = 40.0
SWAP_C, SWAP_TIMES_U = 1.0, 3.0
SWAP_TIGHTER = 3.0
AMBIENT_C, AMBIENT_SDS = 2.0, 5.0
_MAD = 1.4826


def _scatter(values: FloatArray) -> float:
    """1.4826 × median absolute deviation; 0 of nothing."""
    there = values[~np.isnan(values)]
    return _MAD * float(np.median(np.abs(there - np.median(there)))) if there.size else 0.0


# ---- open circuit: a ramp to a rail ----


@dataclass(frozen=True, slots=True)
class Pinned:
    """A location that leaves all others one way and ends pinned, or without a reading.

    The readings `first` … `last` are doubted; `end_c` is the last value or the rail [°C], `threshold_c` how
    far beyond every other location's extreme it had to go.
    """

    first: int
    last: int
    end_c: float
    beyond_c: float
    threshold_c: float
    pinned: bool


def pinned(values_c: FloatArray, steps_c: FloatArray, middle_c: FloatArray) -> tuple[Pinned | None, ...]:
    """Find open circuits that look like readings: a plausible ramp to a rail, or to no reading at all.

    A location goes beyond the extreme that any other location has in the whole record, by over
    max(20 °C, 10 % of the others' range), and stays there pinned for at least 5 readings (within 5 steps
    of its resolution, or 1 °C), or is without a reading for at least 5 instants or to the record's end
    right after. On its way there from near the median location it moves one way (net change at least
    0.6 of all its movement) and at least 3 times as far as the median location. Common practice, no
    published source.

    Parameters
    ----------
    values_c : (n, m) float64
        Readings [°C].
    steps_c : (m,) float64
        Resolution of each location [°C].
    middle_c : (n,) float64
        Median location [°C].

    Returns
    -------
    m results, None where nothing was found
    """
    count = values_c.shape[1]
    if count < 3:
        return (None,) * count
    highs, lows = np.fmax.reduce(values_c, axis=0), np.fmin.reduce(values_c, axis=0)
    found: list[Pinned | None] = []
    for column in range(count):
        others = np.arange(count) != column
        if np.isnan(highs[column]) or np.isnan(highs[others]).all():
            found.append(None)
            continue
        high, low = float(np.nanmax(highs[others])), float(np.nanmin(lows[others]))
        beyond = max(PINNED_BEYOND_C, PINNED_BEYOND_SHARE * (high - low))
        result: Pinned | None = None
        if highs[column] > high + beyond:
            result = _pinned(values_c[:, column], middle_c, high, beyond, float(steps_c[column]))
        elif lows[column] < low - beyond:
            result = _pinned(-values_c[:, column], -middle_c, -low, beyond, float(steps_c[column]))
            if result is not None:
                result = Pinned(
                    result.first, result.last, -result.end_c, result.beyond_c, beyond, result.pinned
                )
        found.append(result)
    return tuple(found)


def _pinned(x: FloatArray, middle_c: FloatArray, high: float, beyond: float, step_c: float) -> Pinned | None:
    """Look upwards for the rail that a location runs to."""
    top = float(np.nanmax(x))
    at_rail = np.nan_to_num(x, nan=-np.inf) >= top - max(PINNED_STEPS * step_c, PINNED_WITHIN_C)
    start, length = _longest_run(at_rail)
    is_pinned = length >= PINNED_READINGS
    if is_pinned:
        reached, last = start, start + length - 1
    else:
        absent = np.isnan(x)
        last = int(np.nanargmax(x))
        following = absent[last + 1 :]
        gone = int(np.argmin(following)) if not following.all() else following.size
        if gone == 0 or (gone < PINNED_READINGS and last + 1 + gone < x.size):
            return None
        reached = last
    apart = x - middle_c
    near = max(NEAR_C, NEAR_SDS * _scatter(sampled(apart)))
    was_near = np.flatnonzero(np.abs(apart[:reached]) <= min(near, beyond / 2))
    if was_near.size == 0:
        return None
    left = int(was_near[-1])
    way = x[left : reached + 1]
    way = way[~np.isnan(way)]
    net, total = float(way[-1] - way[0]), float(np.abs(np.diff(way)).sum())
    chamber = abs(float(middle_c[reached] - middle_c[left]))
    if net < beyond or net < PINNED_TIMES_CHAMBER * np.nan_to_num(chamber) or net < PINNED_ONE_WAY * total:
        return None
    return Pinned(left + 1, last, top if is_pinned else float(x[last]), top - high, beyond, is_pinned)


def _longest_run(true: BoolArray) -> tuple[int, int]:
    """Start and length of the longest run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], true, [False]))))
    starts, stops = edges[::2], edges[1::2]
    if starts.size == 0:
        return 0, 0
    best = int(np.argmax(stops - starts))
    return int(starts[best]), int(stops[best] - starts[best])


# ---- a sensor that moved to another place ----


@dataclass(frozen=True, slots=True)
class Moved:
    """A lasting step of one location against the median of all: readings from instant `at` are doubted."""

    at: int
    step_c: float
    threshold_c: float


def settled(values_c: FloatArray) -> slice | None:
    """Longest stretch in which the median location keeps its level; None for fewer than 3 readings.

    The level is the median over all, and it is kept within max(1 °C, 5 robust sd).

    Parameters
    ----------
    values_c : (n, m) float64
        Corrected readings of a hold [°C].
    """
    middle = chamber_middle(values_c)
    if (~np.isnan(middle)).sum() < 3:
        return None
    kept = ~(np.abs(middle - np.nanmedian(middle)) > max(1.0, 5.0 * _scatter(middle)))
    start, length = _longest_run(kept)
    return slice(start, start + length)


def moved(
    seconds: FloatArray, values_c: FloatArray, steps_c: FloatArray, period_s: float | None = None
) -> tuple[Moved | None, ...]:
    """Find sensors that changed their place within a steady stretch.

    T_i − median_j T_j is compared before and after each instant, by means over max(10 readings, 3 min, one
    control cycle) on either side. A step counts where it is over max(1 °C, 5 steps of the resolution,
    10 × the robust sd of the same difference elsewhere in the stretch, the location's own or the median
    location's, whichever is larger), no other location steps so there, and the medians of all that lies
    before and of all that lies after differ by at least 0.7 of it, the same way. Common practice, no
    published source.

    Parameters
    ----------
    seconds : (n,) float64
        Instants of the stretch [s].
    values_c : (n, m) float64
        Corrected readings [°C].
    steps_c : (m,) float64
        Resolution of each location [°C].
    period_s
        Period of the control cycle [s], where there is one.

    Returns
    -------
    m results, None where nothing was found
    """
    count = values_c.shape[1]
    every = max(1, -(-seconds.size // 4096))
    time, x = seconds[::every], values_c[::every]
    nothing: tuple[Moved | None, ...] = (None,) * count
    if count < 3 or time.size < 2 * MOVED_READINGS + 1:
        return nothing
    interval = float(np.median(np.diff(time)))
    width = int(np.ceil(max(MOVED_READINGS * interval, MOVED_SECONDS, period_s or 0.0) / interval - 1e-9))
    places = time.size - 2 * width + 1
    if places < 1:
        return nothing
    apart = x - median_across(x)[:, None]
    there = ~np.isnan(apart)
    sums = np.concatenate((np.zeros((1, count)), np.cumsum(np.where(there, apart, 0.0), axis=0)))
    counts = np.concatenate((np.zeros((1, count)), np.cumsum(there, axis=0)))
    total, number = sums[width:] - sums[:-width], counts[width:] - counts[:-width]
    means = np.divide(total, number, out=np.full(total.shape, np.nan), where=number >= width / 2)
    step = means[width:] - means[:-width]
    size = np.nan_to_num(np.abs(step))
    peaks = np.argmax(size, axis=0)
    elsewhere = np.abs(np.arange(places)[:, None] - peaks) > width
    own = np.array(
        [
            _scatter(step[elsewhere[:, j], j]) if elsewhere[:, j].sum() >= MOVED_READINGS else 0.0
            for j in range(count)
        ]
    )
    usual = max(float(np.median(own)), float(np.median([_scatter(apart[:, j]) for j in range(count)])) / 2)
    threshold = np.maximum(np.maximum(MOVED_C, MOVED_STEPS * steps_c), MOVED_SDS * np.maximum(own, usual))
    beyond = size > threshold
    found: list[Moved | None] = []
    for column, peak in enumerate(peaks.tolist()):
        near = slice(max(peak - width, 0), peak + width + 1)
        alone = not beyond[near][:, np.arange(count) != column].any()
        if not beyond[peak, column] or not alone:
            found.append(None)
            continue
        at = peak + width
        before, after = apart[:at, column], apart[at:, column]
        before, after = before[~np.isnan(before)], after[~np.isnan(after)]
        change = float(np.median(after) - np.median(before))
        lasting = change * np.sign(step[peak, column]) >= MOVED_LASTING * size[peak, column]
        found.append(Moved(at * every, change, float(threshold[column])) if lasting else None)
    return tuple(found)


# ---- a step of the reference junction ----


@dataclass(frozen=True, slots=True)
class JunctionStep:
    """A step common to all channels of one logger: readings from instant `at` up to `last` are doubted."""

    at: int
    last: int
    step_c: float
    unequal_c: float
    threshold_c: float


def junction_steps(
    values_c: FloatArray, steps_c: FloatArray, others_c: FloatArray | None = None
) -> tuple[JunctionStep, ...]:
    """Find steps that all channels of one logger make together within one interval.

    The median change of the channels stands out of the 5 changes before and after it by over max(1 °C,
    5 steps of the resolution, 10 × the robust sd of the record's, or of those ten, changes), is no larger
    than 40 °C, and all channels but one in ten share it within max(3 × the noise of a change, one step).
    No air heats places of different lag by equal amounts within one interval. Where another logger
    recorded beside it, that one must not show it: its median change stays below half of the step. A step
    back within the next readings is no step. Common practice, no published source.

    Parameters
    ----------
    values_c : (n, m) float64
        Readings of the channels of one logger [°C].
    steps_c : (m,) float64
        Resolution of each channel [°C].
    others_c : (n, k) float64 or None
        Readings of the channels of all other loggers [°C].
    """
    n, count = values_c.shape
    if count < 3 or n < 12:
        return ()
    mean = values_c.mean(axis=1)
    if np.isnan(mean).any():
        mean = median_across(values_c)
    change = np.diff(mean)
    bends = np.abs(change[1:-1] - (change[:-2] + change[2:]) / 2)
    bends = bends[~np.isnan(bends)]
    if bends.size == 0:
        return ()
    coarsest = float(steps_c.max())
    usual = _MAD * float(np.median(bends)) / np.sqrt(1.5)
    least = max(JUNCTION_C, JUNCTION_STEPS * coarsest, JUNCTION_SDS * usual)
    # The change's mean over the channels is near their median where all of them share it.
    pairs = np.maximum(np.abs(np.diff(change, prepend=0.0)), np.abs(np.diff(change, append=0.0)))
    candidates = np.flatnonzero(pairs >= 0.5 * least)
    found: list[tuple[int, float, float, float]] = []
    noise: FloatArray | None = None
    for at in candidates.tolist():
        around = np.concatenate((change[max(at - 5, 0) : at], change[at + 1 : at + 6]))
        around = around[~np.isnan(around)]
        if around.size < 6:
            continue
        threshold = max(least, JUNCTION_SDS * _scatter(around))
        each = values_c[at + 1] - values_c[at]
        each = each[~np.isnan(each)]
        if each.size < 3:
            continue
        step = float(np.median(each))
        rest = step - float(np.median(around))
        if not threshold < abs(rest) <= JUNCTION_MOST_C:
            continue
        if noise is None:
            noise = _change_noise(values_c)
        equal = max(JUNCTION_EQUAL_SDS * float(np.median(noise)), JUNCTION_EQUAL_STEPS * coarsest)
        unequal = float(np.sort(np.abs(each - step))[int(np.ceil(0.9 * each.size)) - 1])
        if unequal > equal * (1 + 1e-9):
            continue
        if others_c is not None and others_c.shape[1]:
            elsewhere = np.diff(others_c[at : at + 2], axis=0)
            elsewhere = elsewhere[~np.isnan(elsewhere)]
            if elsewhere.size and abs(float(np.median(elsewhere))) > abs(rest) / 2:
                continue
        found.append((at + 1, rest, unequal, threshold))
    steps = []
    for number, (at, rest, unequal, threshold) in enumerate(found):
        back = [later for later in found[number + 1 :] if later[1] * rest < 0]
        last = back[0][0] - 1 if back else n - 1
        if number and found[number - 1][1] * rest < 0:
            continue  # the way back of the step before
        steps.append(JunctionStep(at, last, rest, unequal, threshold))
    return tuple(step for step in steps if step.last > step.at)


def _change_noise(values_c: FloatArray) -> FloatArray:
    """Noise of the difference of two readings of each channel [°C], from second differences."""
    noise = np.zeros(values_c.shape[1])
    for column in range(values_c.shape[1]):
        x = values_c[:, column]
        bends = np.abs(x[1:-1] - (x[:-2] + x[2:]) / 2)
        bends = bends[~np.isnan(bends)]
        if bends.size:
            noise[column] = _MAD * float(np.median(sampled(bends))) / np.sqrt(1.5) * np.sqrt(2)
    return noise


# ---- swapped channels ----


@dataclass(frozen=True, slots=True)
class Swapped:
    """Two locations whose corrections fit each other better than themselves.

    `apart_c` is the larger distance of the two from the median of the others as corrected, `exchanged_c`
    the same with their corrections exchanged, `differ_c` how far the corrections differ.
    """

    one: int
    other: int
    apart_c: float
    exchanged_c: float
    differ_c: float
    threshold_c: float


def swapped(
    indicated_c: FloatArray, corrections_c: FloatArray, expanded_uncertainty_c: FloatArray
) -> tuple[Swapped, ...]:
    """Find pairs of locations whose corrections seem to be exchanged.

    The two corrections differ by at least max(1 °C, 3 × the larger U of the two); as corrected the two lie
    on opposite sides of the median of all others, each by at least a third of that difference; exchanged,
    the larger of their two distances falls to a third or less, and within max(U, the other locations'
    robust sd × 3) of that median. Common practice, no published source.

    Parameters
    ----------
    indicated_c : (m,) float64
        Mean indication of each location in a stretch where the chamber is uniform [°C].
    corrections_c : (m,) float64
        Correction of each location there [°C]; NaN where it has none.
    expanded_uncertainty_c : (m,) float64
        U of each correction [°C].
    """
    corrected = indicated_c + corrections_c
    usable = np.flatnonzero(~np.isnan(corrected))
    found = []
    for number, i in enumerate(usable.tolist()):
        for j in usable[number + 1 :].tolist():
            differ = float(corrections_c[j] - corrections_c[i])
            largest_u = float(max(expanded_uncertainty_c[i], expanded_uncertainty_c[j]))
            threshold = max(SWAP_C, SWAP_TIMES_U * largest_u)
            rest = corrected[[k for k in usable.tolist() if k not in (i, j)]]
            if not abs(differ) >= threshold or rest.size < 3:
                continue
            middle = float(np.median(rest))
            one, other = float(corrected[i]) - middle, float(corrected[j]) - middle
            apart, exchanged = max(abs(one), abs(other)), max(abs(one + differ), abs(other - differ))
            enough = one * other < 0 and min(abs(one), abs(other)) >= abs(differ) / 3
            close = exchanged <= max(largest_u, 3 * _scatter(rest))
            if enough and close and exchanged * SWAP_TIGHTER <= apart:
                found.append(Swapped(i, j, apart, exchanged, abs(differ), threshold))
    return tuple(found)


# ---- disagreement at ambient ----


@dataclass(frozen=True, slots=True)
class Disagreement:
    """A location that disagrees with the others before heat start: its offset and the threshold [°C]."""

    column: int
    offset_c: float
    threshold_c: float


def disagreements(offsets_c: FloatArray, expanded_uncertainty_c: FloatArray) -> tuple[Disagreement, ...]:
    """Find locations whose offset at ambient is over max(2 °C, 5 × the offsets' robust sd, own U).

    Common practice, no published source.

    Parameters
    ----------
    offsets_c : (m,) float64
        Offset of each location from the median location before heat start [°C]; NaN where absent.
    expanded_uncertainty_c : (m,) float64
        U of each location [°C]; NaN where unknown.
    """
    if (~np.isnan(offsets_c)).sum() < 3:
        return ()
    threshold = np.fmax(max(AMBIENT_C, AMBIENT_SDS * _scatter(offsets_c)), expanded_uncertainty_c)
    return tuple(
        Disagreement(int(column), float(offsets_c[column]), float(threshold[column]))
        for column in np.flatnonzero(np.nan_to_num(np.abs(offsets_c)) > threshold)
    )


def runs_of(places: IntArray) -> tuple[tuple[int, int], ...]:
    """Runs of neighbouring instants, as first and last."""
    if places.size == 0:
        return ()
    breaks = np.flatnonzero(np.diff(places) != 1) + 1
    starts, stops = np.concatenate(([0], breaks)), np.append(breaks, places.size)
    return tuple(
        (int(places[start]), int(places[stop - 1])) for start, stop in zip(starts, stops, strict=True)
    )
