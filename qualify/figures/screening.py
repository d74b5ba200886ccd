"""Screening of single locations: resolution, spikes, stuck values, rates that no sensor in an oven has.

Pure functions of arrays. Each result carries the threshold that it was found with. Nothing here removes
a reading: what is found is doubted, and what becomes of it is the plan's to say.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from qualify.figures.columns import each_column
from qualify.readings.model import BoolArray, FloatArray, IntArray
from qualify.units import TemperatureUnit, difference_to_c, temperature_from_c

Result = TypeVar("Result")

SPIKE_WINDOW = 21
SPIKE_MULTIPLE = 10.0
SPIKE_FLOOR_C = 1.0
SPIKE_FLOOR_STEPS = 5.0
SPIKE_READINGS = 2
SPIKE_TRIMMED = 1.2
"""Root mean square of the window without its two furthest → robust sd, about, for normal noise."""
STUCK_READINGS, STUCK_SECONDS = 20, 600.0
STUCK_LEAST_READINGS = 5
STUCK_MOVE_C, STUCK_MOVE_STEPS = 10.0, 10.0
STUCK_FAST_MOVE_C, STUCK_FAST_MOVE_STEPS = 20.0, 20.0
STUCK_FOLLOWS = 0.3
STUCK_TIMES_LONGER = 5.0
STUCK_OTHERS_STEPS = 3.0
STUCK_OTHERS_SHARE = 0.75
RATE_MULTIPLE = 10.0
RATE_OWN_MULTIPLE, RATE_OWN_FASTEST = 3.0, 4
RATE_FLOOR_C_PER_S = 1.0
_SAMPLE = 4096
_ABREAST = 8
_AT_ONCE_BYTES = 1 << 27
_DECIMALS = 6
_MAD = 1.4826


# ---- common to all detectors ----


def sampled(values: FloatArray, most: int = _SAMPLE) -> FloatArray:
    """At most so many of the values, evenly picked along the first axis."""
    return values[:: max(1, -(-values.shape[0] // most))]


def median_across(values_c: FloatArray) -> FloatArray:
    """Median over the locations that have a reading: (n, m) readings [°C] → (n,), NaN where none has."""
    ordered = np.sort(values_c, axis=1)  # NaN go to the end
    count = values_c.shape[1] - np.isnan(ordered).sum(axis=1)
    rows = np.arange(ordered.shape[0])
    low = ordered[rows, np.maximum(count - 1, 0) // 2]
    high = ordered[rows, np.minimum(count // 2, values_c.shape[1] - 1)]
    return np.where(count > 0, (low + high) / 2, np.nan)


def chamber_middle(values_c: FloatArray) -> FloatArray:
    """Median location at each instant, taken at no more than some thousand instants and held between.

    Parameters
    ----------
    values_c : (n, m) float64
        Readings [°C].

    Returns
    -------
    (n,) float64
        What the chamber as a whole does [°C]; meant for movements over many readings.
    """
    every = max(1, -(-values_c.shape[0] // (2 * _SAMPLE)))
    middle = median_across(values_c[::every])
    return middle if every == 1 else np.repeat(middle, every)[: values_c.shape[0]]


def _there(column: FloatArray) -> tuple[IntArray | None, FloatArray]:
    """The readings of a column without its gaps, and their places; None where it has no gap."""
    absent = np.isnan(column)
    if not absent.any():
        return None, column
    places = np.flatnonzero(~absent)
    return places, column[places]


def _each(values_c: FloatArray, function: Callable[[int, FloatArray], Result]) -> list[Result]:
    """Call `function` with every column's index and readings; results in that order.

    Readings lie instant by instant: up to eight columns are brought together at a time, which reads the
    array an eighth as often as column by column would, and holds no second copy of it.
    """
    rows, count = values_c.shape
    abreast = min(max(_AT_ONCE_BYTES // (8 * max(rows, 1)), 1), _ABREAST)

    def block(number: int) -> list[Result]:
        columns = range(number * abreast, min((number + 1) * abreast, count))
        together = np.ascontiguousarray(values_c[:, columns.start : columns.stop].T)
        return [function(column, together[column - columns.start]) for column in columns]

    return [result for results in each_column(block, -(-count // abreast)) for result in results]


# ---- resolution ----


@dataclass(frozen=True, slots=True)
class Resolution:
    """Step in which a channel was recorded [°C of difference]; 0 where none can be told.

    `shown` is False where the readings change too seldom, or too evenly, to tell the recorder's step from
    the oven's: the step may then be finer.
    """

    step_c: float
    shown: bool


def resolution(values_c: FloatArray, unit: TemperatureUnit) -> Resolution:
    """Step in which a channel was recorded, as a common divisor of its readings.

    Taken in the unit of the file, where the recorder rounded: the greatest common divisor of the distances
    between readings; where the readings lie at regular distances of several of those (a step that is no
    whole number of written digits, such as a sixteenth), their mean distance. It is shown by at least
    5 reversals of the readings, or 3 sizes of change. Common practice, no published source.

    Parameters
    ----------
    values_c : (n,) float64
        Readings of one channel [°C]; NaN are passed over.
    unit
        The unit in which it was recorded.
    """
    some = sampled(values_c)
    some = some[~np.isnan(some)]
    if some.size < 2:
        return Resolution(0.0, False)
    recorded = np.round(np.asarray(temperature_from_c(some, unit), dtype=np.float64), 9)
    for decimals in range(_DECIMALS + 1):
        whole = recorded * 10.0**decimals
        if np.all(np.abs(whole - np.round(whole)) <= 1e-9 * np.maximum(np.abs(whole), 1.0) + 1e-6):
            break
    else:
        return Resolution(0.0, False)
    gaps = np.diff(np.unique(np.round(whole).astype(np.int64)))
    if gaps.size == 0:
        return Resolution(0.0, False)
    step = float(np.gcd.reduce(gaps))
    if gaps.size >= 30:
        low, high = np.quantile(gaps, (0.05, 0.75))
        if low > 1.5 * step and high <= low + 1.01 * step:
            step = float(gaps[gaps <= high].mean())
    step_c = float(difference_to_c(step / 10.0**decimals, unit))
    middle = max(0, (values_c.size - 2 * _SAMPLE) // 2)
    changes = np.diff(values_c[middle : middle + 2 * _SAMPLE])
    changes = changes[(changes != 0) & ~np.isnan(changes)]
    reversals = int((np.sign(changes[1:]) != np.sign(changes[:-1])).sum())
    sizes = np.unique(np.round(np.abs(changes) / step_c)).size
    return Resolution(step_c, reversals >= 5 or sizes >= 3)


# ---- spikes ----


@dataclass(frozen=True, slots=True)
class Spikes:
    """Single and double readings far from their neighbours in time.

    `places` are their instants, `deviations_c` how far each lies from the running median [°C], and
    `thresholds_c` what each was held against.
    """

    places: IntArray
    deviations_c: FloatArray
    thresholds_c: FloatArray


_NO_SPIKES = Spikes(np.empty(0, dtype=np.int64), np.empty(0), np.empty(0))


def spikes(values_c: FloatArray, steps_c: FloatArray, middle_c: FloatArray) -> tuple[Spikes, ...]:
    """Find spikes of one or two readings in every location.

    A reading is a spike where it lies further from the running median of 21 readings than
    max(10 × the running spread, 10 × the location's noise, 5 steps of its resolution, 1 °C). The spread is
    1.4826 × the running median absolute deviation, or 1.2 × the root mean square of the window without its
    two furthest readings where that is smaller; the noise is that of second differences, which drift does
    not touch. What the median location does is taken off first where there are three locations or more, and
    then the line through the window's outer thirds, so that a heat-up does not widen the spread. An instant
    at which the others jump too (their median by half as much, or half of the locations) and a longer
    excursion are none. A Hampel identifier (F. R. Hampel, J. Am. Stat. Assoc. 69, 1974, 383–393; as a running
    filter R. K. Pearson, IEEE Trans. Control Syst. Technol. 10, 2002, 55–63; both cited from memory); line,
    floors and multiple are the project's own.

    Parameters
    ----------
    values_c : (n, m) float64
        Readings [°C].
    steps_c : (m,) float64
        Resolution of each location [°C].
    middle_c : (n,) float64
        Median location [°C], as `chamber_middle` gives it.

    Returns
    -------
    m results
    """
    # Held between instants, the median would add steps of its own; so dense a record needs none.
    apart = values_c.shape[1] >= 3 and values_c.shape[0] <= 2 * _SAMPLE

    def of_column(column: int, x: FloatArray) -> Spikes:
        return _spikes(values_c, column, x - middle_c if apart else x, float(steps_c[column]))

    return _not_shared(_each(values_c, of_column))


def _not_shared(every: list[Spikes]) -> tuple[Spikes, ...]:
    """Leave out instants at which half of three or more locations spike: that is an event in the oven."""
    if len(every) < 3:
        return tuple(every)
    instants, times = np.unique(np.concatenate([one.places for one in every]), return_counts=True)
    shared = instants[times >= len(every) / 2]
    if shared.size == 0:
        return tuple(every)
    kept = [~np.isin(one.places, shared) for one in every]
    return tuple(
        Spikes(one.places[keep], one.deviations_c[keep], one.thresholds_c[keep])
        for one, keep in zip(every, kept, strict=True)
    )


def _spikes(values_c: FloatArray, column: int, readings_c: FloatArray, step_c: float) -> Spikes:
    places, x = _there(readings_c)
    n = x.size
    if n < 7:
        return _NO_SPIKES
    bends = np.abs(x[1:-1] - (x[:-2] + x[2:]) / 2)
    noise_c = _MAD * float(np.median(sampled(bends))) / np.sqrt(1.5)
    floor_c = max(SPIKE_FLOOR_C, SPIKE_FLOOR_STEPS * step_c)
    # A spike of two equal readings bends by half its size at each, give or take the noise.
    least_c = 0.35 * max(floor_c, SPIKE_MULTIPLE * noise_c)
    bent = np.zeros(n, dtype=np.bool_)
    bent[1:-1] = bends > least_c
    for end, inner in ((0, 1), (-1, -2)):
        bent[end] = abs(x[end] - x[inner]) > least_c
    if not bent.any():
        return _NO_SPIKES
    candidates = np.flatnonzero(bent)
    deviation_c, threshold_c = _hampel(x, candidates, noise_c, floor_c)
    beyond = np.abs(deviation_c) > threshold_c
    at, deviation_c, threshold_c = candidates[beyond], deviation_c[beyond], threshold_c[beyond]
    if at.size == 0:
        return _NO_SPIKES
    keep = _short(x, at, deviation_c)
    instants = at if places is None else places[at]
    if values_c.shape[1] >= 3:
        keep &= np.abs(_shared(values_c, instants, column)) < np.abs(deviation_c) / 2
    return Spikes(instants[keep], deviation_c[keep], threshold_c[keep])


def _hampel(
    x: FloatArray, at: IntArray, noise_c: float, floor_c: float, block: int = 20_000
) -> tuple[FloatArray, FloatArray]:
    """Deviation of each chosen reading from its running median, and the threshold for it."""
    width = min(SPIKE_WINDOW, x.size)
    third = max(width // 3, 1)
    deviation, threshold = np.empty(at.size), np.empty(at.size)
    for begin in range(0, at.size, block):
        chosen = at[begin : begin + block]
        start = np.clip(chosen - width // 2, 0, x.size - width)
        window = x[start[:, None] + np.arange(width)]
        slope = np.median(window[:, -third:], axis=1) - np.median(window[:, :third], axis=1)
        window -= (slope / (width - third))[:, None] * np.arange(width)
        middle = np.median(window, axis=1)
        away = window - middle[:, None]
        deviation[begin : begin + block] = away[np.arange(chosen.size), chosen - start]
        away = np.sort(np.abs(away), axis=1)
        spread = _MAD * away[:, width // 2]
        # Of coarse steps the median is coarse too; without the two that may be a spike the rest can tell.
        rest = np.sqrt(np.mean(away[:, : width - SPIKE_READINGS] ** 2, axis=1))
        spread = np.minimum(spread, SPIKE_TRIMMED * rest)
        threshold[begin : begin + block] = np.maximum(floor_c, SPIKE_MULTIPLE * np.maximum(spread, noise_c))
    return deviation, threshold


def _short(x: FloatArray, at: IntArray, deviation_c: FloatArray) -> BoolArray:
    """Whether each found reading belongs to an excursion of no more than two readings.

    The readings beside it must be at least half way back: of a longer excursion only the ends bend.
    """
    base = x[at] - deviation_c
    breaks = np.flatnonzero(np.diff(at) != 1) + 1
    starts, stops = np.concatenate(([0], breaks)), np.append(breaks, at.size)
    keep = np.zeros(at.size, dtype=np.bool_)
    for start, stop in zip(starts.tolist(), stops.tolist(), strict=True):
        if stop - start > SPIKE_READINGS:
            continue
        half_c = abs(deviation_c[start:stop]).max() / 2
        beside = [(int(at[start]) - 1, base[start]), (int(at[stop - 1]) + 1, base[stop - 1])]
        keep[start:stop] = all(abs(x[i] - level) < half_c for i, level in beside if 0 <= i < x.size)
    return keep


def _shared(values_c: FloatArray, instants: IntArray, column: int) -> FloatArray:
    """How far the median of the other locations jumps at the same instants [°C]; 0 where unknown."""
    last = values_c.shape[0] - 1
    others = np.arange(values_c.shape[1]) != column
    jump = np.empty(instants.size)
    for begin in range(0, instants.size, 4096):
        chosen = instants[begin : begin + 4096]
        before, after = np.maximum(chosen - 2, 0), np.minimum(chosen + 2, last)
        apart = values_c[chosen] - (values_c[before] + values_c[after]) / 2
        jump[begin : begin + 4096] = median_across(apart[:, others])
    return np.nan_to_num(jump)


# ---- stuck values ----


@dataclass(frozen=True, slots=True)
class StuckRun:
    """A run of exactly equal readings that is longer than is credible.

    `first` and `last` are instants; `others_moved_c` is how far the median location moved meanwhile [°C],
    `longest_else` the longest run of equal readings credible there [readings].
    """

    first: int
    last: int
    readings: int
    value_c: float
    others_moved_c: float
    longest_else: int
    while_moving: bool


def stuck_runs(
    seconds: FloatArray, values_c: FloatArray, steps_c: FloatArray, middle_c: FloatArray
) -> tuple[tuple[StuckRun, ...], ...]:
    """Find runs of exactly equal readings that are longer than is credible, in every location.

    Either the chamber moves meanwhile: its median location by over max(20 °C, 20 steps of the resolution)
    in a run of at least 5 readings, or by over max(10 °C, 10 steps) in one of at least 20 readings and
    10 minutes; the location otherwise moves with the chamber, through at least 0.3 of the range that the
    median location has in the record (a shielded place may honestly stand still), or the run is at least half
    of its readings. Or nothing moves, and the run has at least 20 readings and 10 minutes, is over 5 times as
    long as any other run of the location, and over 5 times as long as the longest run of at least three
    quarters of the others in the same stretch, each of which takes four or more neighbouring values there.
    A coarse recorder at a quiet hold repeats honestly, and so do its neighbours: that is no stuck value.
    Common practice, no published source.

    Parameters
    ----------
    seconds : (n,) float64
        Instants [s].
    values_c : (n, m) float64
        Readings [°C].
    steps_c : (m,) float64
        Resolution of each location [°C].
    middle_c : (n,) float64
        Median location [°C].

    Returns
    -------
    m tuples
    """
    return tuple(_each(values_c, lambda column, x: _stuck(seconds, values_c, steps_c, middle_c, column, x)))


def _stuck(
    seconds: FloatArray,
    values_c: FloatArray,
    steps_c: FloatArray,
    middle_c: FloatArray,
    column: int,
    readings_c: FloatArray,
) -> tuple[StuckRun, ...]:
    places, x = _there(readings_c)
    if x.size < STUCK_LEAST_READINGS:
        return ()
    starts = np.concatenate(([0], np.flatnonzero(x[1:] != x[:-1]) + 1))
    lengths = np.diff(np.append(starts, x.size))
    long = np.flatnonzero(lengths >= STUCK_LEAST_READINGS)
    if long.size == 0:
        return ()
    first, last = starts[long], starts[long] + lengths[long] - 1
    if places is not None:
        first, last = places[first], places[last]
    moved = _ranges(middle_c, first, last)
    enough = (lengths[long] >= STUCK_READINGS) & (seconds[last] - seconds[first] >= STUCK_SECONDS)
    step_c = steps_c[column]
    moving = moved > max(STUCK_FAST_MOVE_C, STUCK_FAST_MOVE_STEPS * step_c)
    moving |= enough & (moved > max(STUCK_MOVE_C, STUCK_MOVE_STEPS * step_c))
    if moving.any():
        whole = float(np.nanmax(middle_c) - np.nanmin(middle_c))
        follows = float(x.max() - x.min()) >= STUCK_FOLLOWS * whole
        moving &= follows | (lengths[long] >= x.size / 2)
    longest_first = np.sort(lengths)[::-1]
    usual = int(longest_first[1]) if lengths.size > 1 else 0
    found = []
    for run in np.flatnonzero(moving | (enough & (lengths[long] > STUCK_TIMES_LONGER * max(usual, 1)))):
        stretch = slice(int(first[run]), int(last[run]) + 1)
        length = int(lengths[long[run]])
        credible = STUCK_LEAST_READINGS if moving[run] else usual
        if not moving[run]:
            others = _longest_of_others(values_c[stretch], steps_c, column, length)
            if others is None:
                continue
            credible = max(usual, others)
        found.append(
            StuckRun(
                first=stretch.start,
                last=stretch.stop - 1,
                readings=length,
                value_c=float(values_c[stretch.start, column]),
                others_moved_c=float(moved[run]),
                longest_else=credible,
                while_moving=bool(moving[run]),
            )
        )
    return tuple(found)


def _ranges(middle_c: FloatArray, first: IntArray, last: IntArray) -> FloatArray:
    """Largest less least value of each stretch first … last; stretches don't overlap and rise."""
    edges = np.column_stack((first, np.minimum(last + 1, middle_c.size - 1))).ravel()
    high = np.fmax.reduceat(middle_c, edges)[::2]
    low = np.fmin.reduceat(middle_c, edges)[::2]
    # reduceat leaves out a last value at the very end of the record
    ends = middle_c[last]
    return np.nan_to_num(np.fmax(high, ends) - np.fmin(low, ends))


def _longest_of_others(stretch_c: FloatArray, steps_c: FloatArray, column: int, length: int) -> int | None:
    """Longest run of the others in a stretch; None where too few of them scatter and have short runs."""
    others = [j for j in range(stretch_c.shape[1]) if j != column]
    if len(others) < 3:
        return None
    some = sampled(stretch_c)[:, others]
    spread = np.fmax.reduce(some, axis=0) - np.fmin.reduce(some, axis=0)
    lively = np.nan_to_num(spread) >= STUCK_OTHERS_STEPS * steps_c[others] * (1 - 1e-9)
    lively &= steps_c[others] > 0
    wanted = STUCK_OTHERS_SHARE * len(others)
    if lively.sum() < wanted:
        return None
    runs = []
    for j in np.asarray(others)[lively]:
        x = stretch_c[:, j]
        x = x[~np.isnan(x)]
        edges = np.flatnonzero(x[1:] != x[:-1]) + 1
        runs.append(int(np.diff(np.concatenate(([0], edges, [x.size]))).max()))
    short = [run for run in runs if STUCK_TIMES_LONGER * run < length]
    return max(short) if len(short) >= wanted else None


# ---- rates ----


@dataclass(frozen=True, slots=True)
class Jump:
    """A change between two readings that no sensor in an oven shows.

    `at` is the instant of the reading after it; `first` to `last` the readings that are doubted: those on
    the side of the jump that is further from the median location, up to the location's next jump.
    """

    at: int
    change_c: float
    rate_c_per_s: float
    first: int
    last: int


@dataclass(frozen=True, slots=True)
class Rates:
    """The threshold of each location [°C/s], and its jumps."""

    thresholds_c_per_s: tuple[float, ...]
    jumps: tuple[tuple[Jump, ...], ...]


def impossible_rates(seconds: FloatArray, values_c: FloatArray, middle_c: FloatArray) -> Rates:
    """Find changes faster than any sensor in this oven shows.

    The threshold is the largest of 1 °C/s, 10 × the rate that 99.9 % of a location's readings keep, for the
    median location, and 3 × the rate that 99 % of the location's own readings keep (all but its 4 fastest
    in a short record): air in an oven with circulation moves by tenths of a degree a second; what a record's
    own noise, doors and ramps do at its own interval is allowed for ten times over, and one faulty location
    does not widen that; a place that is often quicker than the others is allowed to be. A jump that half of
    the locations show at one instant is the oven's or the recorder's, not a sensor's. Common practice, no
    published source.

    Parameters
    ----------
    seconds : (n,) float64
        Instants [s].
    values_c : (n, m) float64
        Readings [°C].
    middle_c : (n,) float64
        Median location [°C].
    """
    count = values_c.shape[1]
    if seconds.size < 3:
        return Rates((RATE_FLOOR_C_PER_S,) * count, ((),) * count)

    def usual(column: int, x: FloatArray) -> tuple[float, float, float]:
        rates = _rates(seconds, x)[1]
        if rates.size == 0:
            return np.nan, 0.0, 0.0
        some = sampled(rates, 4 * _SAMPLE)
        own = max(0, min(int(0.99 * (some.size - 1)), some.size - 1 - RATE_OWN_FASTEST))
        ranks = [own, int(0.999 * (some.size - 1))]
        ordered = np.partition(some, ranks)
        return float(ordered[ranks[1]]), float(rates.max()), float(ordered[ranks[0]])

    each = np.array(_each(values_c, usual))
    kept = np.sort(each[~np.isnan(each[:, 0]), 0])
    middle = float(kept[(kept.size - 1) // 2]) if kept.size else 0.0
    thresholds = np.maximum(max(RATE_FLOOR_C_PER_S, RATE_MULTIPLE * middle), RATE_OWN_MULTIPLE * each[:, 2])

    def jumps(column: int) -> tuple[IntArray, FloatArray]:
        threshold = float(thresholds[column])
        if each[column, 1] <= threshold:
            return np.empty(0, dtype=np.int64), np.empty(0)
        after, rates = _rates(seconds, values_c[:, column])
        fast = rates > threshold
        return (np.flatnonzero(fast) + 1 if after is None else after[fast]), rates[fast]

    every = [jumps(column) for column in range(count)]
    instants = np.concatenate([at for at, _ in every])
    shared: set[int] = set()
    if instants.size and count >= 3:
        distinct, times = np.unique(instants, return_counts=True)
        shared = set(distinct[times >= count / 2].tolist())
    return Rates(
        tuple(thresholds.tolist()),
        tuple(
            _jumps(
                values_c[:, column],
                middle_c,
                [
                    (int(instant), float(rate))
                    for instant, rate in zip(at, rates, strict=True)
                    if int(instant) not in shared
                ],
            )
            for column, (at, rates) in enumerate(every)
        ),
    )


def _rates(seconds: FloatArray, values: FloatArray) -> tuple[IntArray | None, FloatArray]:
    """Instants of the later reading of each pair (None: one after the other), and the rates [°C/s]."""
    places, x = _there(values)
    if places is None:
        return None, np.abs(np.diff(x)) / np.diff(seconds)
    return places[1:], np.abs(np.diff(x)) / np.diff(seconds[places])


def _jumps(x: FloatArray, middle_c: FloatArray, fast: list[tuple[int, float]]) -> tuple[Jump, ...]:
    if not fast:
        return ()
    instants = [instant for instant, _ in fast]
    found = []
    for number, (at, rate) in enumerate(fast):
        before = at - 1
        while np.isnan(x[before]):
            before -= 1
        stop = instants[number + 1] - 1 if number + 1 < len(fast) else x.size - 1
        start = instants[number - 1] if number else 0
        leaves = abs(x[at] - middle_c[at]) >= abs(x[before] - middle_c[before])
        first, last = (at, stop) if leaves else (start, before)
        found.append(Jump(at, float(x[at] - x[before]), rate, first, last))
    return tuple(found)
