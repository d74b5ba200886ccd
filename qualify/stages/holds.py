"""Finding the holds of a recording: where each begins, is reached, becomes steady and ends."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from qualify.figures.absent import Absent, Maybe
from qualify.figures.phases import (
    SAME_INSTANT_S,
    Level,
    Steadiness,
    WindowFound,
    departure,
    ending_level,
    leave_instant,
    near_band_c,
    starting_level,
    steadiness,
    steady_minutes_used,
    window_of,
)
from qualify.figures.series import Cycle, find_cycle
from qualify.findings import RefusalKind
from qualify.plan.model import Hold
from qualify.readings.model import FloatArray

NEVER_APPROACHED = RefusalKind(
    "setpoint-never-approached",
    what="no reading comes within {near:.3g} °C of the set point {setpoint:.5g} °C (hold '{hold}'); "
    "the readings run from {low:.5g} to {high:.5g} °C",
    why="Figures of a hold that never was would look like figures of a bad oven.",
    mend="check the set point and its unit (--setpoint, --units; in the plan: setpoint, units) and the file.",
)
WINDOW_OUTSIDE = RefusalKind(
    "window-outside-record",
    what="the window {start} to {end} lies wholly outside the record ({first} to {last}; hold '{hold}')",
    why="There is no reading in it to judge.",
    mend="correct --start and --minutes (in the plan: start, minutes); times are on the logger's clock.",
)
NO_READING = RefusalKind(
    "no-reading-left",
    what="there is no reading left for hold '{hold}'",
    why="Nothing can be said about it.",
    mend="check that the file holds readings, not only words for their absence, and the order of the holds.",
)
HEAT_START_OUTSIDE = RefusalKind(
    "heat-start-outside-record",
    what="the declared heat start {declared} lies outside the record, which ends at {end} (hold '{hold}')",
    why="Times are counted from it.",
    mend="correct --heat-start (in the plan: heat_start), or leave it out.",
)

SET_POINT_SAME_C = 0.5
"""A recorded set point this near to the hold's is the hold's."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Trace:
    """What the holds are found in.

    Attributes
    ----------
    seconds : (n,) float64
        Instants [s].
    corrected_c : (n, m) float64
        Corrected readings [°C].
    mean_c : (n,) float64
        Chamber mean [°C].
    set_point_c : (n,) float64 or None
        The recorded set point [°C].
    tell_time
        Turns a TIME of the plan into seconds from the first reading.
    """

    seconds: FloatArray
    corrected_c: FloatArray
    mean_c: FloatArray
    set_point_c: FloatArray | None
    tell_time: Callable[[str], float]


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundHold:
    """One hold in its recording; indices of instants, inclusive; times in seconds."""

    hold: Hold
    level: Level | Absent
    entered_from_below: bool
    heat_start: int | None
    heat_start_s: Maybe
    heat_start_how: str
    approach: int
    end: int
    end_how: str
    left_unexplained: int | None
    """Last instant near the set point, where nothing planned or recorded tells why it was left."""
    ground: tuple[int, int]
    cycle: Cycle | Absent
    steadiness: Steadiness
    window: WindowFound | Absent

    @property
    def begin(self) -> int:
        """First instant that counts to the hold: heat start, else the first of its ground."""
        return self.ground[0] if self.heat_start is None else self.heat_start


def find_holds(holds: tuple[Hold, ...], trace: Trace) -> tuple[FoundHold, ...]:
    """Find the holds of a recording, in the order in which they were planned.

    Raises
    ------
    Refusal
        If a set point is never approached or a declared window lies outside the record.
    """
    found: list[FoundHold] = []
    for number, hold in enumerate(holds):
        previous = found[-1] if found else None
        following = holds[number + 1] if number + 1 < len(holds) else None
        found.append(_find_hold(hold, previous, following, trace))
    return tuple(found)


def _find_hold(hold: Hold, previous: FoundHold | None, following: Hold | None, trace: Trace) -> FoundHold:
    seconds, mean_c = trace.seconds, trace.mean_c
    first = 0 if previous is None else previous.end
    level: Level | Absent
    if previous is None:
        level = starting_level(seconds, mean_c)
    else:
        level = ending_level(seconds, mean_c, previous.end)
    there = mean_c[first:][~np.isnan(mean_c[first:])]
    if there.size == 0:
        raise NO_READING(hold=hold.name)
    before = level.median_c if isinstance(level, Level) else float(there[0])
    near_c = near_band_c(hold.setpoint - before)
    step_c = abs(hold.setpoint - before)
    # A step smaller than twice the band would count as done before it began.
    approach_c = min(near_c, step_c / 2) if isinstance(level, Level) and step_c > level.band_c else near_c
    commanded = None
    if trace.set_point_c is not None:
        commanded = _commanded(trace.set_point_c, first, hold.setpoint)
    approach = _approach(hold, trace, _declared_instant(hold, trace, first), approach_c)
    heat_start, heat_start_s, how = _heat_start(hold, level, trace, (first, approach), commanded)
    end, end_how, unexplained = _end(hold, following, trace, approach, near_c, commanded)
    cycle = _cycle(trace, approach, end, hold.soak_minutes * 60.0)
    period: Maybe = cycle if isinstance(cycle, Absent) else cycle.period_s
    steady = steadiness(
        seconds,
        trace.corrected_c,
        first=approach,
        last=end,
        average_s=steady_minutes_used(hold.steady_minutes, period) * 60.0,
        soak_s=hold.soak_minutes * 60.0,
        within_c=hold.steady_within,
    )
    return FoundHold(
        hold=hold,
        level=level,
        entered_from_below=before - hold.setpoint <= (level.band_c if isinstance(level, Level) else 1.0),
        heat_start=heat_start,
        heat_start_s=heat_start_s,
        heat_start_how=how,
        approach=approach,
        end=end,
        end_how=end_how,
        left_unexplained=unexplained,
        ground=(
            0 if previous is None else previous.end + 1,
            seconds.size - 1 if following is None else end,
        ),
        cycle=cycle,
        steadiness=steady,
        window=_window(hold, trace, steady, end),
    )


def _declared_instant(hold: Hold, trace: Trace, first: int) -> int:
    """First instant from the declared heat start on; `first` where none is declared."""
    if hold.heat_start is None:
        return first
    declared_s = trace.tell_time(hold.heat_start)
    index = int(np.searchsorted(trace.seconds, declared_s - SAME_INSTANT_S, side="left"))
    if index >= trace.seconds.size or declared_s < -SAME_INSTANT_S:
        raise HEAT_START_OUTSIDE(
            declared=hold.heat_start, hold=hold.name, end=f"{float(trace.seconds[-1]):g} s"
        )
    return index


def _approach(hold: Hold, trace: Trace, first: int, near_c: float) -> int:
    near = np.flatnonzero(np.abs(trace.mean_c[first:] - hold.setpoint) <= near_c)
    if near.size:
        return first + int(near[0])
    # The chamber as a whole stays away, yet a location comes near: an oven to be judged, not refused.
    with_readings = trace.corrected_c[first:]
    some = np.flatnonzero((np.abs(with_readings - hold.setpoint) <= near_c).any(axis=1))
    if some.size == 0:
        raise NEVER_APPROACHED(
            near=near_c,
            setpoint=hold.setpoint,
            hold=hold.name,
            low=float(np.fmin.reduce(with_readings, axis=None)),
            high=float(np.fmax.reduce(with_readings, axis=None)),
        )
    return first + int(some[0])


@dataclass(frozen=True, slots=True)
class _Commanded:
    """Where the recorded set point begins to move to the hold's, arrives at it, and leaves it."""

    moves: int | None
    arrives: int
    leaves: int | None


def _commanded(set_point_c: FloatArray, first: int, setpoint_c: float) -> _Commanded | None:
    """Read a hold off the recorded set point; None where it never shows the hold's set point."""
    stretch = set_point_c[first:]
    same = np.abs(stretch - setpoint_c) <= SET_POINT_SAME_C
    if not same.any():
        return None
    arrives = int(np.argmax(same))
    former = np.flatnonzero(np.abs(stretch[:arrives] - stretch[0]) <= SET_POINT_SAME_C)
    other = np.abs(stretch[arrives:] - setpoint_c) > SET_POINT_SAME_C
    return _Commanded(
        moves=first + int(former[-1]) if former.size else None,
        arrives=first + arrives,
        leaves=first + arrives + int(np.argmax(other)) - 1 if other.any() else None,
    )


def _heat_start(
    hold: Hold,
    level: Level | Absent,
    trace: Trace,
    before: tuple[int, int],
    commanded: _Commanded | None,
) -> tuple[int | None, Maybe, str]:
    """Heat start: its instant, its time, how it was found; `before` runs up to the approach."""
    seconds, mean_c = trace.seconds, trace.mean_c
    first, approach = before
    if hold.heat_start is not None:
        return _declared_instant(hold, trace, first), trace.tell_time(hold.heat_start), "declared"
    if commanded is not None and commanded.moves is not None and commanded.moves <= approach:
        how = "last reading before the recorded set point changes"
        return commanded.moves, float(seconds[commanded.moves]), how
    if isinstance(level, Absent):
        return None, level, "absent"
    if level.holds(np.array([hold.setpoint]))[0]:
        return None, Absent("the record begins at the set point"), "absent"
    found = leave_instant(mean_c, first, approach + 1, level, hold.setpoint)
    if found is None:
        return None, Absent("the chamber mean is never at the starting level"), "absent"
    how = f"last reading within {level.band_c:.3g} °C of the starting level {level.median_c:.2f} °C"
    return found, float(seconds[found]), how


def _end(
    hold: Hold,
    following: Hold | None,
    trace: Trace,
    approach: int,
    near_c: float,
    commanded: _Commanded | None,
) -> tuple[int, str, int | None]:
    """Last instant of the hold, how it was found, and where the set point was left without a reason."""
    seconds, mean_c = trace.seconds, trace.mean_c
    stop = mean_c.size
    if following is not None:
        if following.heat_start is not None:
            declared_s = trace.tell_time(following.heat_start)
            index = int(np.searchsorted(seconds, declared_s + SAME_INSTANT_S, side="right")) - 1
            return max(index, approach), "last reading before the next hold's declared heat start", None
        next_near_c = min(
            near_band_c(following.setpoint - hold.setpoint), abs(following.setpoint - hold.setpoint) / 2
        )
        near_c = min(near_c, abs(following.setpoint - hold.setpoint) / 2)
        reached = np.flatnonzero(np.abs(mean_c[approach:] - following.setpoint) <= next_near_c)
        stop = approach + int(reached[0]) if reached.size else stop
    if commanded is not None and commanded.leaves is not None and commanded.leaves >= approach:
        return commanded.leaves, "last reading before the recorded set point changes", None
    found = departure(
        seconds,
        mean_c,
        approach=approach,
        stop=stop,
        setpoint_c=hold.setpoint,
        near_c=near_c,
        away_s=hold.soak_minutes * 60.0,
    )
    how = f"last reading before the chamber mean leaves the set point for good by {near_c:.3g} °C"
    if following is not None and stop < mean_c.size:
        return found.end, how, None
    if found.left_at is None:
        return found.end, "end of the record", None
    if found.upwards:
        # Nothing planned drives an oven up and away: a runaway belongs to the hold that it happened in.
        return found.left_at, f"last reading before the chamber mean runs {near_c:.3g} °C above", None
    return found.end, how, found.left_at


def _cycle(trace: Trace, approach: int, end: int, soak_s: float) -> Cycle | Absent:
    """Control cycle of the chamber mean over the last soak of the hold."""
    seconds, mean_c = trace.seconds, trace.mean_c
    first = max(approach, int(np.searchsorted(seconds, seconds[end] - soak_s - SAME_INSTANT_S)))
    stretch = slice(first, end + 1)
    there = ~np.isnan(mean_c[stretch])
    return find_cycle(seconds[stretch][there], mean_c[stretch][there])


def _window(hold: Hold, trace: Trace, steady: Steadiness, end: int) -> WindowFound | Absent:
    seconds = trace.seconds
    if hold.start is not None:
        start_s = trace.tell_time(hold.start)
    elif isinstance(steady.first, Absent):
        return Absent(f"no assessment window: never steady ({steady.first.reason}) and none declared")
    else:
        start_s = float(seconds[steady.first])
    if hold.minutes is not None:
        end_s = required_end_s = start_s + hold.minutes * 60.0
        available_end_s = float(seconds[-1])
    else:
        end_s, required_end_s = float(seconds[end]), start_s + hold.soak_minutes * 60.0
        available_end_s = end_s
    if end_s < seconds[0] - SAME_INSTANT_S or start_s > seconds[-1] + SAME_INSTANT_S:
        raise WINDOW_OUTSIDE(
            start=f"{start_s:g} s",
            end=f"{end_s:g} s",
            first=f"{seconds[0]:g} s",
            last=f"{seconds[-1]:g} s",
            hold=hold.name,
        )
    declared = hold.start is not None or hold.minutes is not None
    return window_of(
        seconds,
        start_s,
        end_s,
        declared=declared,
        required_end_s=required_end_s,
        available_end_s=available_end_s,
    )
