"""How long a protection takes to answer: from the crossing of its limit to the change of a channel."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt
from typing import Literal

from qualify.figures.absent import Absent
from qualify.figures.approach import COVERAGE_FACTOR, Crossing, crossing
from qualify.figures.challenge import stretch_of
from qualify.figures.digital import Switch
from qualify.figures.digital_changes import NoAnswer, answer_of
from qualify.readings.model import FloatArray

Shown = Literal["met", "not met", "could not be shown"]

SLACK_S = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Delay:
    """Time from the crossing of a limit to the answer; negative where the answer came first.

    Attributes
    ----------
    delay_s
        Best estimate [s]: middle of the interval in which the answer came, less the crossing.
    least_s, most_s
        The delay lies between these [s]: the intervals that the recording leaves open in full, and 2 × what
        scatter and the uncertainty of the reading make of the crossing.
    u_s, expanded_s
        Standard uncertainty of `delay_s`, and 2 × it [s].
    u_answer_s, u_crossing_s, u_clock_s
        Its parts [s]: the interval of the answer (half-width/√3), the crossing, the clocks (half-width/√3).
    answered_after_s, answered_by_s
        The answer came after the one time and by the other [s].
    crossing
        The crossing.
    early
        Whether the answer surely came before the crossing.
    bounces, momentary, earlier, later
        Of the answering channel [1]; see `digital_changes.Answer`.
    interval_s
        Median interval between the readings of the answering channel [s].
    readings
        Readings of it in the stretch [1].
    note
        What a reader should know, in plain words; may be empty.
    """

    delay_s: float
    least_s: float
    most_s: float
    u_s: float
    expanded_s: float
    u_answer_s: float
    u_crossing_s: float
    u_clock_s: float
    answered_after_s: float
    answered_by_s: float
    crossing: Crossing
    early: bool
    bounces: int
    momentary: int
    earlier: int
    later: int
    interval_s: float
    readings: int
    note: str


@dataclass(frozen=True, slots=True)
class NeverAnswered(Absent):
    """The quantity crossed the limit and the channel did not answer; how long it was surely watched [s]."""

    watched_s: float
    crossing: Crossing


@dataclass(frozen=True, slots=True)
class AnsweredBefore(Absent):
    """The channel answered and the quantity never crossed the limit; the answer came by this time [s]."""

    answered_by_s: float


def delay(
    seconds: FloatArray,
    quantity: FloatArray,
    limit: float | FloatArray,
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
) -> Delay | NeverAnswered | AnsweredBefore | Absent:
    """Time from the quantity's crossing of a limit to the answer of a channel.

    The answer came anywhere between two readings of its channel: a rectangle (JCGM 100:2008, 4.3.7). The
    crossing has its own uncertainty (`approach.crossing`). The two are independent and are combined by root
    sum of squares (JCGM 100:2008, 5.1.2), k = 2.

    Parameters
    ----------
    seconds : (n,) float64
        Instants [s], rising.
    quantity : (n,) float64
        Readings of the quantity in its own unit, NaN for none.
    limit
        The limit in the same unit, or the limit in force at each instant (n,).
    state
        States of the answering channel at the same instants.
    rising
        Whether past the limit means above it.
    start_s, end_s
        The stretch [s].
    answer
        The state that answers: on or off.
    settle_s, lasts_s
        How long a contact may bounce, how long an answer must last [s]; see `digital_changes.answer_of`.
    reading_u
        Standard uncertainty of a reading of the quantity that all share (calibration), in its unit.
    clock_half_width_s
        How far the clock of the answering channel may lie from that of the quantity, either way [s].

    Returns
    -------
    Delay, NeverAnswered, AnsweredBefore or Absent
        `approach.NotDriven` where the limit was never crossed and nothing answered.
    """
    times, values, part = stretch_of(seconds, quantity, state, start_s, end_s)
    limits = limit if isinstance(limit, float | int) else limit[(seconds >= start_s) & (seconds <= end_s)]
    answered = answer_of(times, part, to=answer, settle_s=settle_s, lasts_s=lasts_s)
    turned_s = None if isinstance(answered, Absent) else answered.change.by_s
    crossed = crossing(times, values, limits, rising=rising, reading_u=reading_u, turned_s=turned_s)
    if isinstance(crossed, Absent):
        if isinstance(answered, Absent):
            return crossed
        by_s = answered.change.by_s
        return AnsweredBefore(f"the channel answered by {by_s:g} s, but {crossed.reason}", by_s)
    if isinstance(answered, NoAnswer):
        watched_s = float(times[part.known][-1]) - crossed.most_s - clock_half_width_s
        return NeverAnswered(
            f"{answered.reason}, though the limit was crossed at {crossed.at_s:.6g} s", watched_s, crossed
        )
    if isinstance(answered, Absent):
        return answered
    change = answered.change
    half = (change.by_s - change.after_s) / 2
    u_answer, u_clock = half / sqrt(3.0), clock_half_width_s / sqrt(3.0)
    u = sqrt(u_answer**2 + u_clock**2 + crossed.u_s**2)
    most_s = change.by_s - crossed.least_s + clock_half_width_s
    early = most_s < 0
    return Delay(
        delay_s=change.after_s + half - crossed.at_s,
        least_s=change.after_s - crossed.most_s - clock_half_width_s,
        most_s=most_s,
        u_s=u,
        expanded_s=COVERAGE_FACTOR * u,
        u_answer_s=u_answer,
        u_crossing_s=crossed.u_s,
        u_clock_s=u_clock,
        answered_after_s=change.after_s,
        answered_by_s=change.by_s,
        crossing=crossed,
        early=early,
        bounces=change.bounces,
        momentary=answered.momentary,
        earlier=answered.earlier,
        later=answered.later,
        interval_s=answered.interval_s,
        readings=answered.readings,
        note=_note(crossed, early, reading_u, answered.earlier + answered.momentary, change.bounces),
    )


def _note(crossed: Crossing, early: bool, reading_u: float, tries: int, bounces: int) -> str:
    """What a reader should know of a delay."""
    said = []
    if early:
        said.append("the answer came before the limit was crossed")
    if crossed.past_by < COVERAGE_FACTOR * reading_u:
        said.append(
            f"the readings went only {crossed.past_by:.6g} past the limit, less than the expanded "
            f"uncertainty of a reading ({COVERAGE_FACTOR * reading_u:.6g})"
        )
    if isinstance(crossed.u_scatter_s, Absent):
        said.append(f"scatter of the readings not counted: {crossed.u_scatter_s.reason}")
    if crossed.remembers:
        said.append("readings in a row scatter alike, which leaves the uncertainty of the crossing less sure")
    if crossed.later_s:
        listed = ", ".join(f"{time:.6g} s" for time in crossed.later_s[:5])
        said.append(f"the limit was crossed again at {listed}; the first crossing counts")
    if tries:
        said.append(f"the channel changed to this state {tries} more times without staying so")
    if bounces:
        said.append(f"the contact bounced {bounces} times; the first change counts")
    return "; ".join(said)


def shown_within(found: Delay | Absent, at_most_s: float, *, early_counts: bool = False) -> Shown:
    """Whether a recording shows that the answer came within a time.

    Parameters
    ----------
    found
        Result of `delay`.
    at_most_s
        The time [s].
    early_counts
        Whether an answer that surely came before the crossing counts as one within the time. Without, it
        could not be shown: a channel that changes of itself (a heater that the controller switches) would
        meet every time.

    Returns
    -------
    "met", "not met" or "could not be shown"
        Met only where no delay that the recording leaves possible is longer, not met only where all are.
        Without an answer: not met once the channel was watched for longer. Without a recorded crossing it
        could not be shown: the quantity may have crossed the limit between two readings.
    """
    if isinstance(found, NeverAnswered):
        return "not met" if found.watched_s > at_most_s + SLACK_S else "could not be shown"
    if isinstance(found, Absent):
        return "could not be shown"
    if found.early and not early_counts:
        return "could not be shown"
    if found.most_s <= at_most_s + SLACK_S:
        return "met"
    return "not met" if found.least_s > at_most_s + SLACK_S else "could not be shown"
