"""What a protection does after it tripped: it restores by itself, or stays until it is reset by hand."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np

from qualify.figures.absent import Absent, Maybe
from qualify.figures.approach import COVERAGE_FACTOR
from qualify.figures.challenge import Trip, stretch_of, trip
from qualify.figures.digital import Switch
from qualify.figures.digital_changes import NoAnswer, answer_of
from qualify.readings.model import BoolArray, FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Restoration:
    """What the channel did after its answer, when the quantity came back.

    Attributes
    ----------
    restored_by_itself
        Whether it left its answer without a reset by hand.
    at
        Value of the quantity at which it did so, or why there is none.
    dead_band
        How far the quantity had come back from the trip then; negative where it was farther out.
    dead_band_expanded
        Its expanded uncertainty, k = 2; an error that all readings share is in both values and drops out.
    held_s
        How long the answer was seen to last [s].
    returned_s
        Longest time for which the quantity was back at `returned_to` while the answer lasted [s].
    returned_to
        The value that counts as back.
    farthest_back
        Reading farthest back while the answer lasted.
    restored_after_reset
        Whether it left its answer at the reset by hand or later; None without reset, or where it was not
        watched after it.
    note
        What a reader should know, in plain words; may be empty.
    """

    restored_by_itself: bool
    at: Trip | Absent
    dead_band: Maybe
    dead_band_expanded: Maybe
    held_s: float
    returned_s: float
    returned_to: float
    farthest_back: float
    restored_after_reset: bool | None
    note: str


def restoration(
    seconds: FloatArray,
    quantity: FloatArray,
    state: Switch,
    tripped: Trip,
    *,
    rising: bool,
    end_s: float,
    reset_s: float | None = None,
    reset_half_width_s: float = 0.0,
    return_to: float | None = None,
    observe_s: float = 0.0,
    settle_s: float = 0.0,
    reading_u: float = 0.0,
    clock_half_width_s: float = 0.0,
) -> Restoration | Absent:
    """What a channel did after its answer: restored by itself, or stayed until it was reset by hand.

    A channel is shown to stay only where the quantity was back for long enough meanwhile; else nothing asked
    it to restore, and the result is absent.

    Parameters
    ----------
    seconds, quantity, state
        As for `trip`.
    tripped
        Its result.
    rising
        Whether the quantity was driven upwards to the trip.
    end_s
        End of the stretch [s].
    reset_s, reset_half_width_s
        When it was reset by hand, and how far that note may be off either way [s].
    return_to
        Value that counts as back (a reset value); without it the trip value.
    observe_s
        How long the quantity must be back before a channel that stays is shown to stay [s].
    settle_s, reading_u, clock_half_width_s
        As for `trip`.

    Returns
    -------
    Restoration or Absent
    """
    change = tripped.change
    to = not change.to
    begin_s = change.settled_s
    times, values, part = stretch_of(seconds, quantity, state, begin_s, end_s)
    found = answer_of(times, part, to=to, settle_s=settle_s)
    loose_s = reset_half_width_s + clock_half_width_s
    if isinstance(found, Absent):
        if not isinstance(found, NoAnswer):
            return Absent(f"not watched for long enough after the answer: {found.reason}")
        last_s, restored_s = float(times[part.known][-1]), None
    else:
        last_s, restored_s = found.change.after_s, found.change.by_s
    by_itself = restored_s is not None and (reset_s is None or restored_s < reset_s - loose_s)
    after_reset: bool | None = None
    if reset_s is not None and not by_itself:
        after_reset = True if restored_s is not None else (False if last_s > reset_s + loose_s else None)
        last_s = min(last_s, reset_s)
    goal = tripped.value if return_to is None else return_to
    sign = 1.0 if rising else -1.0
    meanwhile = np.isfinite(values) & (times <= last_s)
    if not meanwhile.any():
        return Absent("the quantity has no reading while the answer lasted")
    t, x = times[meanwhile], values[meanwhile]
    returned_s = _longest(t, sign * (x - goal) <= 0)
    if not by_itself and (returned_s is None or returned_s < observe_s):
        before = "before it was reset by hand" if reset_s is not None else "before the stretch ended"
        if returned_s is None:
            return Absent(f"the quantity was not back at {goal:.6g} {before}: nothing asked it to restore")
        return Absent(
            f"{before} the quantity was back at {goal:.6g} for {returned_s:.6g} s, not {observe_s:g} s"
        )
    stayed = Absent("it did not restore by itself")
    at: Trip | Absent = stayed
    dead_band: Maybe = stayed
    dead_band_expanded: Maybe = stayed
    said = []
    if by_itself:
        at = trip(
            seconds,
            quantity,
            state,
            rising=not rising,
            start_s=begin_s,
            end_s=end_s,
            answer=to,
            settle_s=settle_s,
            reading_u=reading_u,
            clock_half_width_s=clock_half_width_s,
        )
        if isinstance(at, Absent):
            dead_band = dead_band_expanded = at
        else:
            dead_band = sign * (tripped.value - at.value)
            own = [sqrt(max(one.u**2 - one.u_reading**2, 0.0)) for one in (tripped, at)]
            dead_band_expanded = COVERAGE_FACTOR * sqrt(own[0] ** 2 + own[1] ** 2)
            if dead_band < 0:
                said.append("it restored while the quantity was still past the value at which it tripped")
            if at.later:
                said.append(f"the channel changed {at.later} more times afterwards")
    if after_reset is False:
        said.append("it did not restore after the reset by hand")
    return Restoration(
        restored_by_itself=by_itself,
        at=at,
        dead_band=dead_band,
        dead_band_expanded=dead_band_expanded,
        held_s=last_s - change.by_s,
        returned_s=0.0 if returned_s is None else returned_s,
        returned_to=goal,
        farthest_back=sign * float(np.min(sign * x)),
        restored_after_reset=after_reset,
        note="; ".join(said),
    )


def _longest(t: FloatArray, held: BoolArray) -> float | None:
    """Longest time [s] over which a state holds at reading after reading; None where it never does."""
    padded = np.concatenate(([False], held, [False]))
    starts = np.flatnonzero(padded[1:] & ~padded[:-1])
    stops = np.flatnonzero(~padded[1:] & padded[:-1]) - 1
    return float(np.max(t[stops] - t[starts])) if starts.size else None
