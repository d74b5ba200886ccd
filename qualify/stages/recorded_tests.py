"""What the tests of a stage share: a channel by its name, a stretch of a recording, a requirement."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from qualify.decisions import Claim, Limit, Rule, decide
from qualify.figures.absent import Absent, Maybe
from qualify.findings import RefusalKind, nearest
from qualify.plan.model import Acceptance
from qualify.plan.stage_tests import Challenge, LoopTest, OperationTest
from qualify.readings.model import FloatArray, Recording
from qualify.readings.times import seconds_of
from qualify.record import Decision, RequirementRecord
from qualify.units import TemperatureUnit, difference_to_c, temperature_to_c

UNKNOWN_CHANNEL = RefusalKind(
    "test-unknown-channel",
    what="test '{test}': there is no channel '{name}' in {files}{near}",
    why="What it is about was not recorded, or is called otherwise.",
    mend="correct the name; recorded are {known}.",
)
OUTSIDE = RefusalKind(
    "test-outside",
    what="test '{test}': its stretch holds fewer than two readings of the recording",
    why="Nothing can be seen in it.",
    mend="correct its times, or the files.",
)

SIMPLE = Rule(acceptance=Acceptance.SIMPLE)
GUARDED = Rule(acceptance=Acceptance.GUARDED)


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """How the plan's numbers become those of the recording: °F to °C for temperatures, else as they are."""

    units: TemperatureUnit
    is_temperature: bool

    def value(self, number: float) -> float:
        """A value of the quantity."""
        return float(temperature_to_c(number, self.units)) if self.is_temperature else number

    def difference(self, number: float) -> float:
        """A difference of two values."""
        return float(difference_to_c(number, self.units)) if self.is_temperature else number


def column(test: str, recording: Recording, name: str) -> tuple[FloatArray, str, bool]:
    """Values of a channel, its unit, and whether it is a temperature (then in °C).

    Raises
    ------
    Refusal
        If the recording has no such channel.
    """
    for index, channel in enumerate(recording.channels):
        if channel.is_called(name):
            return recording.raw_c[:, index], "°C", True
    for index, channel in enumerate(recording.others):
        if channel.is_called(name):
            return recording.other_values[:, index], channel.unit, False
    known = [item.name for item in (*recording.channels, *recording.others)]
    raise UNKNOWN_CHANNEL(
        test=test,
        name=name,
        files=", ".join(recording.layouts),
        near=nearest(name, known),
        known=", ".join(known),
    )


def stretch_s(test: str, recording: Recording, start: str | None, end: str | None) -> tuple[float, float]:
    """From when to when [s] a test goes; the whole recording where the plan is silent.

    Raises
    ------
    Refusal
        If fewer than two readings lie in it.
    """
    start_s = float(recording.seconds[0]) if start is None else seconds_of(recording, start)
    end_s = float(recording.seconds[-1]) if end is None else seconds_of(recording, end)
    inside = (recording.seconds >= start_s) & (recording.seconds <= end_s)
    if int(inside.sum()) < 2:
        raise OUTSIDE(test=test)
    return start_s, end_s


def channels_used(recording: Recording, tests: Sequence[Challenge | OperationTest]) -> tuple[str, ...]:
    """Names of the channels that tests use, in the recording's order.

    A test that names none uses every temperature: it is about their mean.
    """
    named = {name for test in tests for name in _names(test)}
    everywhere = "" in named
    temperatures = [
        channel.name for channel in recording.channels if everywhere or any(map(channel.is_called, named))
    ]
    others = [channel.name for channel in recording.others if any(map(channel.is_called, named))]
    return (*temperatures, *others)


def _names(test: Challenge | OperationTest) -> tuple[str, ...]:
    if isinstance(test, LoopTest):
        return ()
    if not isinstance(test, Challenge):
        return (test.channel,)
    switched = [
        *(item.channel.channel for item in test.answers if item.channel is not None),
        *(item.channel.channel for item in test.forbidden),
    ]
    return tuple(name for name in (test.quantity, test.limit_channel, *switched) if name)


# ---- requirements ----


def guarded(
    test: str,
    about: str,
    text: str,
    claim: Claim,
    unit: str,
    *,
    low: float | None = None,
    high: float | None = None,
    time_s: float | None = None,
    recording: Recording | None = None,
) -> RequirementRecord:
    """A figure held against its limits less its own expanded uncertainty."""
    decided = decide([claim], Limit(low=low, high=high), GUARDED, uncertainty_share=1.0, tolerance=None)
    return requirement(
        test,
        about,
        text,
        claim.value,
        unit,
        decided.decision,
        decided.note,
        low=low,
        high=high,
        guard=decided.guard_band,
        margin=decided.margin,
        time_s=time_s,
        recording=recording,
    )


def plain(test: str, about: str, text: str, decision: Decision, note: str) -> RequirementRecord:
    """A requirement without a number."""
    return requirement(test, about, text, Absent(note or "no number belongs to it"), "1", decision, note)


def requirement(
    test: str,
    about: str,
    text: str,
    value: Maybe,
    unit: str,
    decision: Decision,
    note: str,
    *,
    low: float | None = None,
    high: float | None = None,
    guard: float | None = None,
    margin: Maybe | None = None,
    time_s: float | None = None,
    recording: Recording | None = None,
) -> RequirementRecord:
    """One requirement of a test and its decision; without a guard band by simple acceptance."""
    if margin is None:
        margin = value
        if not isinstance(value, Absent) and (low is not None or high is not None):
            margin = Limit(low=low, high=high).margin(value)
    return RequirementRecord(
        id=f"{as_id(test)}-{as_id(about)}",
        text=text,
        figure=about,
        value=value,
        unit=unit,
        limit_low=low,
        limit_high=high,
        margin=margin,
        acceptance=SIMPLE.acceptance.value if guard is None else GUARDED.acceptance.value,
        guard_band=guard,
        decision=decision,
        location=None,
        time=None if time_s is None or recording is None else recording.iso(time_s),
        time_s=time_s,
        decided_by=None,
        note=note,
        citation="",
        standing="",
    )


def as_id(name: str) -> str:
    """A name as a requirement's id holds it: letters and digits, hyphens between."""
    return "-".join("".join(c if c.isalnum() else " " for c in name.casefold()).split())
