"""How the oven moved into, through and out of one hold: excess, times, rates."""

from __future__ import annotations

import numpy as np

from qualify.figures.absent import Absent, Maybe
from qualify.figures.phases import Level, ending_level
from qualify.figures.response import (
    band_lag_s,
    counted_from_first_inside,
    high_excess_c,
    mean_rate_c_per_min,
    recovery_s,
    steepest_c_per_min,
    time_to_band_s,
)
from qualify.readings.model import FloatArray
from qualify.stages.stretch import Stretch


def longest_interval(stretch: Stretch, first: int, last: int) -> Maybe:
    """Longest interval between instants [s], from the first to the last index.

    Where readings were interpolated to another logger's instants, the longest between readings that a
    location has of its own: the instants of all loggers together lie closer than any of them recorded.
    """
    rows = slice(first, last + 1)
    seconds = stretch.trace.seconds[rows]
    if seconds.size < 2:
        return Absent("fewer than two instants")
    made = stretch.readings.recording.interpolated
    longest = float(np.diff(seconds).max())
    if made is not None:
        for column, channel in enumerate(stretch.readings.channel_index):
            own = ~np.isnan(stretch.readings.raw_c[rows, column]) & ~made[rows, channel]
            if np.count_nonzero(own) > 1:
                longest = max(longest, float(np.diff(seconds[own]).max()))
    return longest


def high_excess(stretch: Stretch) -> tuple[Maybe, tuple[int, int] | None]:
    """Largest reading above the upper limit over the hold's ground, all sensors."""
    low_c, high_c = stretch.limits.low_c, stretch.limits.high_c
    if high_c is None or low_c is None:
        return Absent("the hold has no upper limit"), None
    first, last = stretch.found.ground
    values_c = stretch.readings.corrected_c[first : last + 1]
    if stretch.assigned.displays:
        values_c = np.hstack((values_c, stretch.assigned.displays_c[first : last + 1]))
    if not stretch.found.entered_from_below:
        values_c = counted_from_first_inside(values_c, low_c, high_c)
    found = high_excess_c(values_c, high_c)
    if found is None:
        return Absent("no reading inside the band in the record"), None
    return found[0], (first + found[1], found[2])


def time_to_band(stretch: Stretch, guard_c: FloatArray) -> Maybe:
    """Time to band [s] with the limits drawn in by a guard for each location (m,) [°C]."""
    found, limits = stretch.found, stretch.limits
    if isinstance(found.heat_start_s, Absent):
        return Absent(f"no heat start: {found.heat_start_s.reason}")
    if isinstance(found.window, Absent):
        return found.window
    if limits.low_c is None or limits.high_c is None:
        return Absent("the hold has no limits")
    rows = slice(found.begin, found.window.last + 1)
    if stretch.trace.seconds[rows].size == 0:
        return Absent("the window ends before heat start")
    return time_to_band_s(
        stretch.trace.seconds[rows],
        stretch.readings.corrected_c[rows],
        found.heat_start_s,
        limits.low_c + guard_c,
        limits.high_c - guard_c,
    )


def time_to_stabilize(stretch: Stretch) -> Maybe:
    """From heat start to stabilisation [s]."""
    found = stretch.found
    if isinstance(found.steadiness.first, Absent):
        return found.steadiness.first
    if isinstance(found.heat_start_s, Absent):
        return Absent(f"no heat start: {found.heat_start_s.reason}")
    return float(stretch.trace.seconds[found.steadiness.first]) - found.heat_start_s


def band_lag(stretch: Stretch) -> Maybe:
    """Between the first and the last location's first reading inside the limits [s]."""
    found, limits = stretch.found, stretch.limits
    if limits.low_c is None or limits.high_c is None:
        return Absent("the hold has no limits")
    if found.heat_start is None:
        return Absent("there is no heat start in the record")
    rows = slice(found.begin, found.end + 1)
    return band_lag_s(
        stretch.trace.seconds[rows], stretch.readings.corrected_c[rows], limits.low_c, limits.high_c
    )


def recovery(stretch: Stretch) -> Maybe:
    """From the closing of the door until every location stays inside the limits [s]."""
    found, limits = stretch.found, stretch.limits
    if found.hold.door_closed is None:
        return Absent("the plan names no door opening (`door_closed`)")
    if limits.low_c is None or limits.high_c is None:
        return Absent("the hold has no limits")
    rows = slice(0, found.end + 1)
    return recovery_s(
        stretch.trace.seconds[rows],
        stretch.readings.corrected_c[rows],
        stretch.trace.tell_time(found.hold.door_closed),
        limits.low_c,
        limits.high_c,
    )


def heat_up(stretch: Stretch) -> tuple[Maybe, Maybe]:
    """Heat-up over the step, and over its steepest 5 minutes [°C/min]."""
    found, trace = stretch.found, stretch.trace
    if not found.entered_from_below:
        absent = Absent("the hold is entered from above")
        return absent, absent
    if found.heat_start is None or isinstance(found.level, Absent):
        absent = Absent("there is no heat start or no starting level in the record")
        return absent, absent
    rows = slice(found.heat_start, found.end + 1)
    return (
        mean_rate_c_per_min(
            trace.seconds[rows], trace.mean_c[rows], found.level.median_c, found.hold.setpoint
        ),
        steepest_c_per_min(trace.seconds[rows], trace.mean_c[rows], rising=True),
    )


def cool_down(stretch: Stretch) -> tuple[Maybe, Maybe]:
    """Fall after the hold's end, to the level at which the next hold or the record ends [°C/min]."""
    found, trace = stretch.found, stretch.trace
    stop = trace.seconds.size - 1 if stretch.following_end is None else stretch.following_end
    if stop <= found.end:
        absent = Absent("the record ends with the hold")
        return absent, absent
    held: Level = ending_level(trace.seconds, trace.mean_c, found.end)
    ended: Level = ending_level(trace.seconds, trace.mean_c, stop)
    if ended.median_c > held.median_c - held.band_c:
        absent = Absent("the chamber does not cool after the hold")
        return absent, absent
    rows = slice(found.end, stop + 1)
    return (
        mean_rate_c_per_min(trace.seconds[rows], trace.mean_c[rows], held.median_c, ended.median_c),
        steepest_c_per_min(trace.seconds[rows], trace.mean_c[rows], rising=False),
    )
