"""Phases of a hold: starting level, heat start, approach, hold end, steadiness, assessment window.

Phases follow the chamber mean: the mean, at each instant, over the locations that have a reading.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil

import numpy as np

from qualify.figures.absent import Absent, Maybe
from qualify.figures.columns import each_column
from qualify.figures.instants import sliding_range, stretches
from qualify.readings.model import BoolArray, FloatArray, IntArray

LEVEL_SECONDS = 300.0
LEVEL_READINGS = 3
SAME_INSTANT_S = 0.0005
"""Two times closer than half a millisecond are one instant."""


@dataclass(frozen=True, slots=True)
class Level:
    """A level that the chamber keeps: median and band of the chamber mean [°C]."""

    median_c: float
    band_c: float

    def holds(self, mean_c: FloatArray) -> BoolArray:
        """Where the chamber mean lies within the band."""
        return np.abs(mean_c - self.median_c) <= self.band_c


def robust_sd(values: FloatArray) -> float:
    """Give 1.4826 × the median absolute deviation from the median."""
    return 1.4826 * float(np.median(np.abs(values - np.median(values))))


def level_of(values_c: FloatArray) -> Level:
    """Level [°C] of a stretch of the chamber mean: its median, within max(1 °C, 5 robust sd)."""
    return Level(float(np.median(values_c)), max(1.0, 5.0 * robust_sd(values_c)))


def starting_level(seconds: FloatArray, mean_c: FloatArray) -> Level | Absent:
    """Level over the first 5 minutes of the record (at least 3 readings).

    Absent where the record begins already heating or cooling: where the least-squares line through
    those readings moves by more than the band of what scatters about it.

    Parameters
    ----------
    seconds, mean_c : (n,) float64
        Instants [s] and chamber mean [°C].
    """
    count = max(int(np.searchsorted(seconds, seconds[0] + LEVEL_SECONDS, side="right")), LEVEL_READINGS)
    time, values = seconds[:count], mean_c[:count]
    there = ~np.isnan(values)
    time, values = time[there], values[there]
    if values.size < LEVEL_READINGS:
        return Absent(f"fewer than {LEVEL_READINGS} readings at the start of the record")
    line = np.polynomial.Polynomial.fit(time, values, 1)(time)
    moved = abs(float(line[-1] - line[0]))
    if moved > max(1.0, 5.0 * robust_sd(values - line)):
        return Absent(f"the record begins with the chamber already moving ({moved:.1f} °C at the start)")
    return level_of(values)


def ending_level(seconds: FloatArray, mean_c: FloatArray, last: int) -> Level:
    """Level [°C] over the last 5 minutes up to the instant `last` (at least 3 readings).

    Where those minutes hold no reading at all, the last readings before them are taken.
    """
    first = int(np.searchsorted(seconds, seconds[last] - LEVEL_SECONDS, side="left"))
    values = mean_c[max(0, min(first, last - LEVEL_READINGS + 1)) : last + 1]
    values = values[~np.isnan(values)]
    if values.size == 0:
        before = mean_c[: last + 1]
        values = before[~np.isnan(before)][-LEVEL_READINGS:]
    return level_of(values)


def near_band_c(step_c: float) -> float:
    """How near [°C] counts as "at the set point" for finding a hold: max(10 °C, 10 % of the step)."""
    return max(10.0, 0.1 * abs(step_c))


def leave_instant(mean_c: FloatArray, first: int, stop: int, level: Level, setpoint_c: float) -> int | None:
    """Index of the last instant at the level before the chamber mean is half way to the set point.

    Parameters
    ----------
    mean_c : (n,) float64
        Chamber mean [°C].
    first, stop
        The stretch to search, `stop` excluded.
    level
        Level before the step.
    setpoint_c
        Set point of the hold that follows [°C].
    """
    stretch = mean_c[first:stop]
    half_way = (level.median_c + setpoint_c) / 2
    passed = stretch >= half_way if setpoint_c > level.median_c else stretch <= half_way
    until = int(np.argmax(passed)) if passed.any() else stretch.size
    kept = np.flatnonzero(level.holds(stretch[:until]))
    return first + int(kept[-1]) if kept.size else None


@dataclass(frozen=True, slots=True)
class Departure:
    """How a hold ends: its last instant, the last one near the set point, and whether it left upwards.

    `left_at` is None where the chamber mean stays near the set point to the end of the search.
    """

    end: int
    left_at: int | None
    upwards: bool


def departure(
    seconds: FloatArray,
    mean_c: FloatArray,
    *,
    approach: int,
    stop: int,
    setpoint_c: float,
    near_c: float,
    away_s: float,
) -> Departure:
    """Find the last instant of a hold before the chamber mean leaves the set point for good.

    It has left for good after the last instant within `near_c` of the set point before it stays away
    for longer than `away_s`. The departure is followed back from there to the last instant at the hold's
    own level, and further back over its unbroken rise or fall, 5 minutes at most, so that no reading of
    the departure counts to the hold.

    Parameters
    ----------
    seconds, mean_c : (n,) float64
        Instants [s] and chamber mean [°C].
    approach, stop
        First instant at the set point; end of the stretch to search (excluded).
    setpoint_c, near_c
        Set point, and how far from it counts as left [°C].
    away_s
        How long an absence is for good [s].
    """
    stretch = mean_c[approach:stop]
    near = np.flatnonzero(np.abs(stretch - setpoint_c) <= near_c)
    if near.size:
        long_away = np.flatnonzero(np.diff(seconds[approach:stop][near]) > away_s)
        # Away for long only if there were readings meanwhile: a gap of the logger is no departure.
        long_away = long_away[near[long_away + 1] - near[long_away] > 1]
        near = near[: int(long_away[0]) + 1] if long_away.size else near
    if near.size == 0 or near[-1] == stretch.size - 1:
        return Departure(stop - 1, None, False)
    left_at = int(near[-1])
    held = stretch[: left_at + 1]
    kept = np.flatnonzero(level_of(held[~np.isnan(held)]).holds(held))
    last = int(kept[-1]) if kept.size else left_at
    upwards = bool(stretch[left_at + 1] > setpoint_c)
    earliest = int(np.searchsorted(seconds[approach:stop], seconds[approach + last] - LEVEL_SECONDS))
    while last > earliest and (
        stretch[last] > stretch[last - 1] if upwards else stretch[last] < stretch[last - 1]
    ):
        last -= 1
    return Departure(approach + last, approach + left_at, upwards)


def steady_minutes_used(steady_minutes: float, cycle_period_s: Maybe) -> float:
    """Averaging time [min]: `steady_minutes`, or the least whole number of cycles [s] not shorter."""
    if isinstance(cycle_period_s, Absent):
        return steady_minutes
    cycles = ceil(steady_minutes * 60.0 / cycle_period_s - 1e-9)
    return cycles * cycle_period_s / 60.0


@dataclass(frozen=True, slots=True)
class Steadiness:
    """When the chamber is steady.

    `first` is the index of the first steady instant, or why there is none; `lost_at` the index of a
    later instant in the hold from which it is not steady, or None; `full_soak` whether a whole soak
    followed.
    """

    first: int | Absent
    lost_at: int | None
    full_soak: bool


def steadiness(
    seconds: FloatArray,
    corrected_c: FloatArray,
    *,
    first: int,
    last: int,
    average_s: float,
    soak_s: float,
    within_c: float,
) -> Steadiness:
    """Find the first instant from which every location stays steady for the soak.

    A_i(t) is the mean of the readings in (t − average, t]. Steady at t: over [t, t + soak] the largest
    A_i less the least is at most `within_c`, for every location. Where less than a soak is left before
    the hold's end, what is left is used, but never less than one averaging time.

    Parameters
    ----------
    seconds : (n,) float64
        Instants [s].
    corrected_c : (n, m) float64
        Corrected readings [°C]; NaN where absent.
    first, last
        Indices of the first instant to consider and of the hold's end.
    average_s, soak_s, within_c
        Averaging time [s], soak [s], allowed movement [°C].
    """
    time = seconds[: last + 1]
    ends = seconds[last]
    candidates = np.arange(
        first, int(np.searchsorted(time, ends - average_s + SAME_INSTANT_S, side="right")), dtype=np.int64
    )
    if candidates.size == 0:
        return Steadiness(Absent("the hold is shorter than the averaging time"), None, False)
    begin = np.searchsorted(time, time - average_s + SAME_INSTANT_S, side="left")
    begin = np.minimum(begin, np.arange(time.size))
    until = np.searchsorted(time, time[candidates] + soak_s + SAME_INSTANT_S, side="right") - 1

    soaks = stretches(until - first)

    def keeps_still(column: int) -> BoolArray:
        average = _running_mean(corrected_c[: last + 1, column], begin)
        return ~(sliding_range(average[first:], soaks) > within_c + 1e-9)

    steady = np.logical_and.reduce(each_column(keeps_still, corrected_c.shape[1]))
    if not steady.any():
        return Steadiness(
            Absent(f"no location-wide {within_c:g} °C steadiness before the hold's end"), None, False
        )
    found = int(np.argmax(steady))
    lost = np.flatnonzero(~steady[found:])
    start = int(candidates[found])
    return Steadiness(
        first=start,
        lost_at=int(candidates[found + lost[0]]) if lost.size else None,
        full_soak=bool(seconds[start] + soak_s <= ends + half_interval(time)),
    )


def _running_mean(values: FloatArray, begin: IntArray) -> FloatArray:
    """Mean of the present readings from `begin[i]` to i; NaN where there is none."""
    there = ~np.isnan(values)
    # Centred, so that the running sums keep their last digits over a long record.
    centre = float(values[there].mean()) if there.any() else 0.0
    total = np.zeros(values.size + 1)
    if there.all():
        np.cumsum(values - centre, out=total[1:])
        return (total[1:] - total[begin]) / (np.arange(1, values.size + 1) - begin) + centre
    np.cumsum(np.where(there, values - centre, 0.0), out=total[1:])
    count = np.zeros(values.size + 1, dtype=np.int64)
    np.cumsum(there, out=count[1:])
    number = count[1:] - count[begin]
    sums = total[1:] - total[begin]
    return np.divide(sums, number, out=np.full(values.size, np.nan), where=number > 0) + centre


def half_interval(seconds: FloatArray) -> float:
    """Half the median interval between instants [s]."""
    return float(np.median(np.diff(seconds))) / 2 if seconds.size > 1 else 0.0


@dataclass(frozen=True, slots=True)
class WindowFound:
    """The assessment window: times [s], first and last instant inside, declared or found, filled."""

    start_s: float
    end_s: float
    first: int
    last: int
    declared: bool
    filled: bool


def window_of(
    seconds: FloatArray,
    start_s: float,
    end_s: float,
    *,
    declared: bool,
    required_end_s: float,
    available_end_s: float,
) -> WindowFound | Absent:
    """All instants with start ≤ t ≤ end, to half a millisecond.

    Filled if what is available reaches `required_end_s` less half an interval, and an instant exists at
    or before the start plus half an interval.

    Parameters
    ----------
    seconds : (n,) float64
        Instants [s].
    start_s, end_s
        Edges [s].
    declared
        Whether a person declared them.
    required_end_s
        Until when readings are needed [s].
    available_end_s
        Until when there are readings that may count: the record's end, or the hold's [s].
    """
    first = int(np.searchsorted(seconds, start_s - SAME_INSTANT_S, side="left"))
    last = int(np.searchsorted(seconds, end_s + SAME_INSTANT_S, side="right")) - 1
    if last < first:
        return Absent("no instant of the record lies in the window")
    half = half_interval(seconds)
    filled = bool(
        available_end_s >= required_end_s - half - SAME_INSTANT_S
        and seconds[0] <= start_s + half + SAME_INSTANT_S
    )
    return WindowFound(start_s, end_s, first, last, declared, filled)
