"""A protection made to act on purpose: the value of the quantity at which it tripped.

How long it took is in `challenge_delay`, what it did afterwards in `challenge_restoration`. Values are in the
quantity's own unit.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np

from qualify.figures.absent import Absent, Maybe
from qualify.figures.approach import COVERAGE_FACTOR, scatter_before, slope_before
from qualify.figures.digital import Switch
from qualify.figures.digital_changes import Change, NoAnswer, answer_of
from qualify.readings.model import FloatArray

STRAY = 6.0
"""A reversal larger than this many standard deviations of scatter is a movement of the quantity."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Trip:
    """Value of a quantity when a channel changed.

    Attributes
    ----------
    value
        Middle of the values that the quantity can have had at the change.
    u, expanded
        Standard uncertainty of `value`, and 2 × it.
    least, most
        The values that the quantity can have had, the errors of its readings aside.
    read_s : tuple of float
        Times of the readings of the quantity around the change [s]: the last by its beginning, the first from
        its end on.
    went_on
        Where the quantity would have been at the second of them with the slope it came with.
    u_recording
        Part of `u` from the recording interval: (most − least)/2/√3.
    u_scatter
        Part from the scatter of the readings, or why it isn't counted.
    u_clock
        Part from the clocks: slope × half-width/√3.
    u_reading
        Part from the uncertainty of the reading itself, as passed in.
    change
        The change: when, bounces.
    slope_per_s
        Slope of the quantity over the change [unit/s], signed.
    monotone
        Whether the quantity came to the change without turning back by more than its scatter explains.
    largest_reversal
        How far it turned back at most on the way.
    farthest_before
        Reading farthest towards the trip before the change, while nothing had answered.
    earlier, momentary, later
        Further changes of the channel in the stretch [1]; see `digital_changes.Answer`.
    interval_s
        Median interval between the readings of the channel [s].
    readings
        Readings of the quantity from the start of the stretch to the change [1].
    note
        What a reader should know, in plain words; may be empty.
    """

    value: float
    u: float
    expanded: float
    least: float
    most: float
    read_s: tuple[float, float]
    went_on: float
    u_recording: float
    u_scatter: Maybe
    u_clock: float
    u_reading: float
    change: Change
    slope_per_s: float
    monotone: bool
    largest_reversal: float
    farthest_before: float
    earlier: int
    momentary: int
    later: int
    interval_s: float
    readings: int
    note: str


@dataclass(frozen=True, slots=True)
class NeverTripped(Absent):
    """The channel did not answer; how far the quantity went meanwhile, None where it has no reading."""

    farthest: float | None


def trip(
    seconds: FloatArray,
    quantity: FloatArray,
    state: Switch,
    *,
    rising: bool,
    start_s: float,
    end_s: float,
    answer: bool = True,
    settle_s: float = 0.0,
    lasts_s: float = 0.0,
    reading_u: float = 0.0,
    clock_half_width_s: float = 0.0,
) -> Trip | NeverTripped | Absent:
    """Value of a quantity at which a channel answered.

    The change lies between two readings of the channel, and the quantity then between the least and the most
    of its readings around them (where readings are absent: out to the next) and of where it would have gone
    with the slope it came with, as the trip itself may turn it before the next reading: a rectangle of
    half-width (most − least)/2 (JCGM 100:2008, 4.3.7). Scatter, clocks and the reading's own uncertainty are
    combined with it by root sum of squares (5.1.2), k = 2. It is taken that the quantity does not come faster
    within the interval than both before it and over it.

    Where a limit is lowered onto the quantity, pass the quantity less the limit: the value is then by how
    much the quantity was past the limit.

    Parameters
    ----------
    seconds : (n,) float64
        Instants [s], rising.
    quantity : (n,) float64
        Readings in the quantity's own unit, NaN for none.
    state
        States of the answering channel at the same instants.
    rising
        Whether the quantity is driven upwards to the trip.
    start_s, end_s
        The stretch [s].
    answer
        The state that answers: on or off.
    settle_s, lasts_s
        How long a contact may bounce, how long an answer must last [s]; see `digital_changes.answer_of`.
    reading_u
        Standard uncertainty of a reading of the quantity that all share (calibration), in its unit.
    clock_half_width_s
        How far the clock of the channel may lie from that of the quantity, either way [s].

    Returns
    -------
    Trip, NeverTripped or Absent
        Absent where the channel or the quantity has no reading where it is needed.
    """
    times, values, part = stretch_of(seconds, quantity, state, start_s, end_s)
    found = answer_of(times, part, to=answer, settle_s=settle_s, lasts_s=lasts_s)
    sign = 1.0 if rising else -1.0
    if isinstance(found, NoAnswer):
        there = values[np.isfinite(values)]
        if there.size == 0:
            return NeverTripped(found.reason, None)
        farthest = sign * float(np.max(sign * there))
        return NeverTripped(f"{found.reason}, while the quantity went to {farthest:.6g}", farthest)
    if isinstance(found, Absent):
        return found
    there = np.isfinite(values)
    t, x = times[there], values[there]
    change = found.change
    first = int(np.searchsorted(t, change.after_s, side="right")) - 1
    last = int(np.searchsorted(t, change.by_s, side="left"))
    if first < 0 or last >= t.size:
        side = "before" if first < 0 else "after"
        return Absent(
            f"the channel changed by {change.by_s:.6g} s, but the quantity has no reading {side} that"
        )
    scatter = scatter_before(t, x, last)
    taken_s = float(t[last] - t[first])
    slope = float(x[last] - x[first]) / taken_s
    # The trip itself may turn the quantity before the next reading; until then it went on as it came.
    came = sign * slope_before(t, sign * x, first, 0.0 if isinstance(scatter, Absent) else scatter.sd)
    went_on = float(x[first]) + (came * taken_s if sign * came > 0 else 0.0)
    least, most = (
        min(float(x[first : last + 1].min()), went_on),
        max(float(x[first : last + 1].max()), went_on),
    )
    u_recording = (most - least) / 2 / sqrt(3.0)
    # The clocks move the change along the steepest step around it.
    near = slice(max(first - 1, 0), last + 2)
    u_clock = float(np.max(np.abs(np.diff(x[near]) / np.diff(t[near])))) * clock_half_width_s / sqrt(3.0)
    u_scatter = scatter if isinstance(scatter, Absent) else scatter.u
    u = sqrt(
        u_recording**2 + u_clock**2 + reading_u**2 + (0.0 if isinstance(u_scatter, Absent) else u_scatter**2)
    )
    way = sign * x[: last + 1]
    reversal = float(np.max(np.maximum.accumulate(way) - way))
    monotone = reversal <= (0.0 if isinstance(scatter, Absent) else STRAY * scatter.sd) + 1e-9 * max(
        abs(least), abs(most)
    )
    said = []
    if not monotone:
        said.append(f"the quantity turned back by {reversal:.6g} on its way")
    if sign * slope < 0:
        said.append("the quantity was moving away from the limit when the channel changed")
    if isinstance(u_scatter, Absent):
        said.append(f"scatter of the readings not counted: {u_scatter.reason}")
    if taken_s > 1.5 * found.interval_s:
        said.append(f"readings are absent around the change: {taken_s:.6g} s lie between those at its sides")
    if tries := found.earlier + found.momentary:
        said.append(f"the channel changed to this state {tries} more times without staying so")
    if change.bounces:
        said.append(f"the contact bounced {change.bounces} times; the first change counts")
    return Trip(
        value=(least + most) / 2,
        u=u,
        expanded=COVERAGE_FACTOR * u,
        least=least,
        most=most,
        read_s=(float(t[first]), float(t[last])),
        went_on=went_on,
        u_recording=u_recording,
        u_scatter=u_scatter,
        u_clock=u_clock,
        u_reading=reading_u,
        change=change,
        slope_per_s=slope,
        monotone=monotone,
        largest_reversal=reversal,
        farthest_before=sign * float(np.max(way[: first + 1])),
        earlier=found.earlier,
        momentary=found.momentary,
        later=found.later,
        interval_s=found.interval_s,
        readings=last + 1,
        note="; ".join(said),
    )


def stretch_of(
    seconds: FloatArray, quantity: FloatArray, state: Switch, start_s: float, end_s: float
) -> tuple[FloatArray, FloatArray, Switch]:
    """Times, readings and states between two times [s], both included."""
    inside = (seconds >= start_s) & (seconds <= end_s)
    part = Switch(on=state.on[inside], known=state.known[inside], rule=state.rule)
    return seconds[inside], quantity[inside], part
