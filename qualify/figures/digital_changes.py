"""Changes of a channel that is on or off: bouncing contacts, the change that answers, changes forbidden.

A change is only seen by the next reading. It happened after the last reading of the old state and not later
than the first reading of the new one; readings that are absent in between widen that interval.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from qualify.figures.absent import Absent
from qualify.figures.digital import Switch
from qualify.readings.model import FloatArray

TIME_SLACK_S = 1e-6
"""Times this near each other [s] are one: what binary fractions leave behind."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One change of state.

    Attributes
    ----------
    to : bool
        The new state: on or off.
    after_s, by_s
        It happened after the one time, and by the other [s].
    settled_s
        First reading from which the contact no longer bounced [s]; `by_s` where it didn't.
    bounces
        Further changes that belong to this one because they came within the settling time [1].
    """

    to: bool
    after_s: float
    by_s: float
    settled_s: float
    bounces: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Changes:
    """The changes of a channel, in order; each is to the other state.

    Attributes
    ----------
    started_on
        State at the first reading.
    changes
        Changes that lasted longer than the settling time.
    bounces
        Further changes that belong to one of them [1].
    momentary
        Times at which the channel changed and was back within the settling time [1].
    readings
        Readings there are [1].
    interval_s
        Median interval between them [s].
    last_s
        Last reading [s].
    """

    started_on: bool
    changes: tuple[Change, ...]
    bounces: int
    momentary: int
    readings: int
    interval_s: float
    last_s: float


def changes(seconds: FloatArray, state: Switch, *, settle_s: float = 0.0) -> Changes | Absent:
    """Find the changes of a channel.

    All changes within the settling time after a first one are one event. Where the channel then is in the
    new state, the first change counts and the others are bounces; where it is in the old one, the event was
    momentary.

    Parameters
    ----------
    seconds : (n,) float64
        Instants [s], rising.
    state
        States at them.
    settle_s
        How long a contact may bounce [s].

    Returns
    -------
    Changes or Absent
        Absent where the channel never changes, or has fewer than two readings.
    """
    times, on = seconds[state.known], state.on[state.known]
    if times.size < 2:
        return Absent(f"the channel has {_readings(times.size)}; a change needs two")
    at = np.flatnonzero(on[1:] != on[:-1]) + 1
    if at.size == 0:
        word = "on" if on[0] else "off"
        return Absent(f"the channel never changes: it is {word} at all {times.size} readings")
    found: list[Change] = []
    bounces = momentary = first = 0
    while first < at.size:
        index = int(at[first])
        until = float(times[index]) + settle_s + TIME_SLACK_S
        stop = max(int(np.searchsorted(times[at], until, side="right")), first + 1) if settle_s else first + 1
        if (stop - first) % 2:
            bounces += stop - first - 1
            found.append(
                Change(
                    to=bool(on[index]),
                    after_s=float(times[index - 1]),
                    by_s=float(times[index]),
                    settled_s=float(times[at[stop - 1]]),
                    bounces=stop - first - 1,
                )
            )
        else:
            momentary += 1
        first = stop
    return Changes(
        started_on=bool(on[0]),
        changes=tuple(found),
        bounces=bounces,
        momentary=momentary,
        readings=int(times.size),
        interval_s=float(np.median(np.diff(times))),
        last_s=float(times[-1]),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """The change with which a channel answers a challenge.

    Attributes
    ----------
    change
        The change.
    earlier
        Changes to the same state before it that did not last as long as asked [1].
    momentary
        Times in the whole stretch at which the channel changed and was back within the settling time [1].
    later
        Changes after it [1].
    readings, interval_s, last_s
        As in `Changes`.
    """

    change: Change
    earlier: int
    momentary: int
    later: int
    readings: int
    interval_s: float
    last_s: float


class NoAnswer(Absent):
    """The channel was watched and did not come to the state with which it should answer."""

    __slots__ = ()


def answer_of(
    seconds: FloatArray, state: Switch, *, to: bool, settle_s: float = 0.0, lasts_s: float = 0.0
) -> Answer | NoAnswer | Absent:
    """Find the first change to a state that lasts.

    Parameters
    ----------
    seconds : (n,) float64
        Instants [s] of the stretch, rising.
    state
        States at them.
    to
        The state that answers: on or off.
    settle_s
        How long a contact may bounce [s].
    lasts_s
        How long the answer must be seen to last at least [s], so that a heater that the controller switches
        on and off isn't taken for one that a protection has cut. One that the stretch's end cuts short counts
        only where it has lasted so long.

    Returns
    -------
    Answer, NoAnswer or Absent
        Absent where the channel can't tell: fewer than two readings, or in that state from the start.
    """
    word, other = ("on", "off") if to else ("off", "on")
    found = changes(seconds, state, settle_s=settle_s)
    if isinstance(found, Absent):
        if state.known.sum() < 2:
            return found
        if bool(state.on[state.known][0]) == to:
            return Absent(
                f"the channel is {word} from the start of the stretch, so it can't answer by {word}"
            )
        return NoAnswer(
            f"the channel did not go {word}: it is {other} at all {int(state.known.sum())} readings"
        )
    # Each lasts until the next; the last until the last reading.
    ends = [change.after_s for change in found.changes[1:]] + [found.last_s]
    tries = 0
    for place, (change, end_s) in enumerate(zip(found.changes, ends, strict=False)):
        if change.to != to:
            continue
        if end_s - change.by_s >= lasts_s - TIME_SLACK_S:
            return Answer(
                change=change,
                earlier=tries,
                momentary=found.momentary,
                later=len(found.changes) - place - 1,
                readings=found.readings,
                interval_s=found.interval_s,
                last_s=found.last_s,
            )
        tries += 1
    if found.started_on == to and tries == 0:
        return Absent(f"the channel is {word} from the start of the stretch and does not come back to it")
    if tries and found.changes[-1].to == to:
        lasted = found.last_s - found.changes[-1].by_s
        return Absent(f"the channel went {word} but was seen so for {lasted:g} s only, not for {lasts_s:g} s")
    return NoAnswer(f"the channel went {word} {_times(tries + found.momentary)} but did not stay so")


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"


def _readings(count: int) -> str:
    return "no reading" if count == 0 else "1 reading" if count == 1 else f"{count} readings"


@dataclass(frozen=True, slots=True, kw_only=True)
class MustNot:
    """Whether a channel changed that must not.

    Attributes
    ----------
    happened
        Whether it changed, or was in another state than the one it must keep.
    when_s
        First reading that shows it [s]; None without.
    changes
        Changes from reading to reading, bounces too [1].
    readings
        Readings in the stretch [1].
    longest_unwatched_s
        Longest time without a reading within the stretch [s]: something shorter would not be seen.
    note
        What a reader should know, in plain words.
    """

    happened: bool
    when_s: float | None
    changes: int
    readings: int
    longest_unwatched_s: float
    note: str


def must_not(
    seconds: FloatArray, state: Switch, *, start_s: float, end_s: float, must_stay: bool | None = None
) -> MustNot | Absent:
    """Whether something happened that must not.

    Parameters
    ----------
    seconds : (n,) float64
        Instants [s], rising.
    state
        States of the channel.
    start_s, end_s
        The stretch [s].
    must_stay
        The state that it must keep; without it the one at the first reading of the stretch.

    Returns
    -------
    MustNot or Absent
        Absent where the channel has fewer than two readings in the stretch.
    """
    inside = (seconds >= start_s) & (seconds <= end_s) & state.known
    times, on = seconds[inside], state.on[inside]
    if times.size < 2:
        return Absent(f"the channel has {_readings(times.size)} in the stretch; a change needs two")
    wrong = np.flatnonzero(on != (on[0] if must_stay is None else must_stay))
    unwatched_s = float(np.max(np.diff(np.concatenate(([start_s], times, [end_s])))))
    return MustNot(
        happened=bool(wrong.size),
        when_s=float(times[wrong[0]]) if wrong.size else None,
        changes=int(np.count_nonzero(on[1:] != on[:-1])),
        readings=int(times.size),
        longest_unwatched_s=unwatched_s,
        note=f"a change shorter than {unwatched_s:.6g} s could have passed unseen",
    )
