"""Challenges: protections made to act on purpose, from recorded channels and from what a person saw."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from qualify.decisions import Claim
from qualify.evidence import ChallengeEvidence, SwitchEvidence
from qualify.figures.absent import Absent, Maybe
from qualify.figures.challenge import NeverTripped, Trip, trip
from qualify.figures.challenge_delay import Delay, delay, shown_within
from qualify.figures.challenge_restoration import Restoration, restoration
from qualify.figures.digital import Switch, as_switch, by_threshold
from qualify.figures.digital_changes import must_not
from qualify.plan.model import Plan
from qualify.plan.stage_tests import Answer, Challenge, Forbidden, Restores, SwitchedChannel
from qualify.readings.model import FloatArray, Recording
from qualify.readings.times import seconds_of
from qualify.record import Decision, RequirementRecord, StageTestRecord
from qualify.record_sheets.observed import ObservedAnswer
from qualify.stages.recorded_tests import Scale, column, guarded, plain, requirement, stretch_s
from qualify.units import temperature_to_c


@dataclass(frozen=True, slots=True, kw_only=True)
class _Ground:
    """The recorded stretch of a challenge, temperatures in °C.

    Where the limit is lowered onto the quantity and recorded, `quantity` is the quantity less the limit, and
    `limit` is 0 throughout; `recorded` is the quantity as it was.
    """

    challenge: Challenge
    recording: Recording
    quantity: FloatArray
    recorded: FloatArray
    recorded_unit: str
    recorded_limit: FloatArray | None
    unit: str
    limit: FloatArray | None
    start_s: float
    end_s: float
    reading_u: float
    scale: Scale

    def in_scale(self, number: float) -> float:
        """A number of the plan as it is compared: past a moving limit, a difference."""
        if self.challenge.limit_channel:
            return self.scale.difference(number)
        return self.scale.value(number)


def run_challenge(
    plan: Plan,
    challenge: Challenge,
    recording: Recording | None,
    observed: Sequence[ObservedAnswer],
) -> tuple[StageTestRecord, ChallengeEvidence | None]:
    """Evaluate a challenge.

    Parameters
    ----------
    plan, challenge
        The plan and the challenge of it.
    recording
        What was recorded; None where a person saw everything.
    observed
        What a person saw of it.

    Raises
    ------
    Refusal
        If a channel is not in the recording, or the stretch lies outside it.
    """
    ground = None if recording is None else _ground(plan, challenge, recording)
    requirements: list[RequirementRecord] = []
    notes: list[str] = []
    switches: list[SwitchEvidence] = []
    tripped: Trip | None = None
    delays: list[tuple[str, Delay]] = []
    for answer in challenge.answers:
        if answer.channel is None:
            requirements.append(_seen(challenge, answer, observed))
            continue
        assert ground is not None
        state = _switch(ground, answer.channel)
        found = _answered(ground, answer, state, first=tripped is None)
        requirements += found.requirements
        notes += found.notes
        if isinstance(state, Switch):
            switches.append(_switch_evidence(answer.name, state, answer.becomes_on))
        if tripped is None and found.trip is not None and isinstance(state, Switch):
            tripped = found.trip
            if challenge.restores is not None:
                requirements += _restores(ground, state, tripped, answer, notes)
        if found.delay is not None:
            delays.append((answer.name, found.delay))
    if challenge.restores is not None and tripped is None:
        requirements.append(
            plain(
                challenge.name,
                "restores",
                f"restores {challenge.restores.value}",
                Decision.NOT_SHOWN,
                "no recorded answer: nothing was there to restore",
            )
        )
    for item in challenge.forbidden:
        assert ground is not None
        state = _switch(ground, item.channel)
        requirements.append(_must_not(ground, item, state))
        if isinstance(state, Switch):
            switches.append(_switch_evidence(f"{item.name} (must not)", state, None))
    if ground is not None and challenge.rated is not None:
        requirements.append(_kept_rating(ground, challenge.rated))
    circumstances = challenge.circumstances
    record = StageTestRecord(
        name=challenge.name,
        kind=f"challenge: {challenge.kind}",
        stage="operation",
        place=circumstances.place.value,
        simulated=circumstances.simulated,
        owed=circumstances.owed,
        verdict=Decision.worst([item.decision for item in requirements]),
        requirements=tuple(requirements),
        figures=_figures(ground, tripped, delays),
        # A note of several parts may repeat another's.
        notes=tuple(dict.fromkeys(part for note in notes for part in note.split("; ") if part)),
    )
    if ground is None:
        return record, None
    return record, ChallengeEvidence(
        name=challenge.name,
        seconds=ground.recording.seconds,
        quantity=ground.recorded,
        quantity_name=challenge.quantity,
        unit=ground.recorded_unit,
        limit=ground.recorded_limit,
        switches=tuple(switches),
        start_s=ground.start_s,
        end_s=ground.end_s,
        trip_s=None if tripped is None else (tripped.change.after_s, tripped.change.by_s),
        # A trip past a moving limit is a difference, and no value on the quantity's axis.
        trip_value=None if tripped is None or challenge.limit_channel else tripped.value,
    )


def _kept_rating(ground: _Ground, rated: float) -> RequirementRecord:
    """Whether the process stayed inside its rated limit while it was driven."""
    challenge = ground.challenge
    seconds = ground.recording.seconds
    inside = (seconds >= ground.start_s) & (seconds <= ground.end_s)
    values = ground.recorded[inside]
    text = "the process stayed inside its rated limit"
    if np.isnan(values).all():
        return plain(challenge.name, "rated limit", text, Decision.NOT_SHOWN, "the quantity has no reading")
    limit = ground.scale.value(rated)
    farthest = float(np.nanmax(values) if challenge.rising else np.nanmin(values))
    kept = farthest <= limit + 1e-9 if challenge.rising else farthest >= limit - 1e-9
    return requirement(
        challenge.name,
        "rated limit",
        text,
        farthest,
        ground.recorded_unit,
        Decision.PASS if kept else Decision.FAIL,
        "" if kept else "it was driven past its rated limit",
        high=limit if challenge.rising else None,
        low=None if challenge.rising else limit,
    )


# ---- the recorded stretch ----


def _ground(plan: Plan, challenge: Challenge, recording: Recording) -> _Ground:
    values, unit, is_temperature = column(challenge.name, recording, challenge.quantity)
    scale = Scale(units=plan.units, is_temperature=is_temperature)
    recorded, limit, recorded_unit = values, None, unit
    recorded_limit: FloatArray | None = None
    if challenge.limit_channel:
        recorded_limit = column(challenge.name, recording, challenge.limit_channel)[0]
        values, limit = values - recorded_limit, np.zeros(values.shape)
        unit = f"{unit} past the limit"
    elif challenge.limit is not None:
        limit = recorded_limit = np.full(recording.seconds.shape, scale.value(challenge.limit))
    start_s, end_s = stretch_s(challenge.name, recording, challenge.start, challenge.end)
    return _Ground(
        challenge=challenge,
        recording=recording,
        quantity=values,
        recorded=recorded,
        recorded_unit=recorded_unit,
        recorded_limit=recorded_limit,
        unit=unit,
        limit=limit,
        start_s=start_s,
        end_s=end_s,
        reading_u=scale.difference(challenge.reading_u),
        scale=scale,
    )


def _switch(ground: _Ground, channel: SwitchedChannel) -> Switch | Absent:
    values, _, is_temperature = column(ground.challenge.name, ground.recording, channel.channel)
    if channel.threshold is not None:
        threshold = channel.threshold
        if is_temperature:
            threshold = float(temperature_to_c(threshold, ground.scale.units))
        return by_threshold(values, threshold, on_above=channel.on_above)
    found = next((item for item in ground.recording.others if item.is_called(channel.channel)), None)
    return as_switch(values, () if found is None else found.states, channel.on, channel.off)


# ---- answers ----


@dataclass(frozen=True, slots=True, kw_only=True)
class _Answered:
    requirements: tuple[RequirementRecord, ...]
    trip: Trip | None = None
    delay: Delay | None = None
    notes: tuple[str, ...] = ()


def _answered(ground: _Ground, answer: Answer, state: Switch | Absent, *, first: bool) -> _Answered:
    challenge, channel = ground.challenge, answer.channel
    assert channel is not None
    text = f"{answer.name}: '{channel.channel}' becomes {'on' if answer.becomes_on else 'off'}"
    if isinstance(state, Absent):
        return _Answered(
            requirements=(plain(challenge.name, answer.name, text, Decision.NOT_SHOWN, state.reason),)
        )
    told: dict[str, Any] = {
        "rising": challenge.rising,
        "start_s": ground.start_s,
        "end_s": ground.end_s,
        "answer": answer.becomes_on,
        "settle_s": channel.settle_s,
        "lasts_s": channel.lasts_s,
        "reading_u": ground.reading_u,
    }
    seconds = ground.recording.seconds
    tripped = trip(seconds, ground.quantity, state, **told)
    requirements: list[RequirementRecord] = []
    late: Delay | None = None
    notes: list[str] = []
    if answer.within_s is not None and ground.limit is not None:
        found = delay(seconds, ground.quantity, ground.limit, state, **told)
        shown = shown_within(found, answer.within_s)
        decision = {"met": Decision.PASS, "not met": Decision.FAIL}.get(shown, Decision.NOT_SHOWN)
        note = "" if shown == "met" else f"{shown}"
        value: Maybe = found if isinstance(found, Absent) else found.delay_s
        if isinstance(found, Delay):
            late = found
            least_s = max(found.least_s, 0.0) if found.most_s >= 0.0 else found.least_s
            note = f"{note + ': ' if note else ''}between {least_s:.3g} and {found.most_s:.3g} s"
            notes.append(found.note)
        elif isinstance(found, Absent):
            note = f"{note}: {found.reason}"
        requirements.append(
            requirement(
                challenge.name,
                answer.name,
                f"{text} within {answer.within_s:g} s",
                value,
                "s",
                decision,
                note,
                high=answer.within_s,
                time_s=None if late is None else late.answered_by_s,
                recording=ground.recording,
            )
        )
    else:
        decision = Decision.PASS if isinstance(tripped, Trip) else Decision.NOT_SHOWN
        note = "" if isinstance(tripped, Trip) else f"{tripped.reason}"
        if isinstance(tripped, NeverTripped) and _was_driven(ground):
            decision = Decision.FAIL
        requirements.append(plain(challenge.name, answer.name, text, decision, note))
    if isinstance(tripped, Trip):
        notes.append(tripped.note)
    if first and (challenge.trip_low is not None or challenge.trip_high is not None):
        requirements.append(_trip_point(ground, tripped))
    return _Answered(
        requirements=tuple(requirements),
        trip=tripped if isinstance(tripped, Trip) else None,
        delay=late,
        notes=tuple(notes),
    )


def _was_driven(ground: _Ground) -> bool:
    """Whether the quantity was past the limit for at least two readings of the stretch."""
    if ground.limit is None:
        return False
    inside = (ground.recording.seconds >= ground.start_s) & (ground.recording.seconds <= ground.end_s)
    past = ground.quantity - ground.limit
    beyond = past > 0 if ground.challenge.rising else past < 0
    return int(np.count_nonzero(beyond & inside)) >= 2


def _trip_point(ground: _Ground, tripped: Trip | Absent) -> RequirementRecord:
    challenge = ground.challenge
    return guarded(
        challenge.name,
        "trip point",
        "trip point of the first recorded answer",
        _claim(tripped),
        ground.unit,
        low=None if challenge.trip_low is None else ground.in_scale(challenge.trip_low),
        high=None if challenge.trip_high is None else ground.in_scale(challenge.trip_high),
        time_s=tripped.change.by_s if isinstance(tripped, Trip) else None,
        recording=ground.recording,
    )


def _claim(found: Trip | Absent) -> Claim:
    if isinstance(found, Absent):
        return Claim(value=found)
    return Claim(value=found.value, expanded_uncertainty=found.expanded, standard_uncertainty=found.u)


def _restores(
    ground: _Ground, state: Switch, tripped: Trip, answer: Answer, notes: list[str]
) -> list[RequirementRecord]:
    challenge = ground.challenge
    assert challenge.restores is not None and answer.channel is not None
    reset_s = None
    if challenge.reset_by_hand is not None:
        reset_s = seconds_of(ground.recording, challenge.reset_by_hand)
    goal = challenge.reset_low if challenge.rising else challenge.reset_high
    found = restoration(
        ground.recording.seconds,
        ground.quantity,
        state,
        tripped,
        rising=challenge.rising,
        end_s=ground.end_s,
        reset_s=reset_s,
        return_to=None if goal is None else ground.in_scale(goal),
        observe_s=challenge.observe_s,
        settle_s=answer.channel.settle_s,
        reading_u=ground.reading_u,
    )
    if challenge.restores is Restores.BY_HAND:
        return [_by_hand(challenge, found, notes)]
    return _by_itself(ground, found, notes)


def _by_hand(challenge: Challenge, found: Restoration | Absent, notes: list[str]) -> RequirementRecord:
    text = "stays off until it is reset by hand"
    if isinstance(found, Absent):
        return plain(challenge.name, "restores", text, Decision.NOT_SHOWN, found.reason)
    notes.append(found.note)
    if found.restored_by_itself:
        note = f"it restored by itself after {found.held_s:.3g} s"
        if challenge.kind == "over-temperature":
            note += "; an excess-temperature limit that restores by itself is not one"
        return plain(challenge.name, "restores", text, Decision.FAIL, note)
    if found.restored_after_reset is False:
        return plain(challenge.name, "restores", text, Decision.FAIL, "it did not come back after the reset")
    note = "" if found.restored_after_reset else "its return after a reset was not seen"
    return plain(challenge.name, "restores", text, Decision.PASS, note)


def _by_itself(ground: _Ground, found: Restoration | Absent, notes: list[str]) -> list[RequirementRecord]:
    challenge, scale = ground.challenge, ground.scale
    text = "restores by itself"
    if isinstance(found, Absent):
        return [plain(challenge.name, "restores", text, Decision.NOT_SHOWN, found.reason)]
    notes.append(found.note)
    if not found.restored_by_itself:
        return [plain(challenge.name, "restores", text, Decision.FAIL, "it stayed as it was")]
    records = [plain(challenge.name, "restores", text, Decision.PASS, "")]
    low, high = (
        None if value is None else ground.in_scale(value)
        for value in (challenge.reset_low, challenge.reset_high)
    )
    if low is not None or high is not None:
        text = "value at which it restores"
        records.append(
            guarded(challenge.name, "reset value", text, _claim(found.at), ground.unit, low=low, high=high)
        )
    if challenge.dead_band_low is not None:
        width = found.dead_band_expanded
        claim = Claim(
            value=found.dead_band, expanded_uncertainty=None if isinstance(width, Absent) else width
        )
        text = "dead band between trip and restoration"
        least = scale.difference(challenge.dead_band_low)
        records.append(guarded(challenge.name, "dead band", text, claim, ground.unit, low=least))
    return records


def _must_not(ground: _Ground, item: Forbidden, state: Switch | Absent) -> RequirementRecord:
    text = f"must not happen: {item.name}"
    if isinstance(state, Absent):
        return plain(ground.challenge.name, item.name, text, Decision.NOT_SHOWN, state.reason)
    found = must_not(
        ground.recording.seconds,
        state,
        start_s=ground.start_s,
        end_s=ground.end_s,
        must_stay=item.stays_on,
    )
    if isinstance(found, Absent):
        return plain(ground.challenge.name, item.name, text, Decision.NOT_SHOWN, found.reason)
    if found.happened:
        return requirement(
            ground.challenge.name,
            item.name,
            text,
            Absent("it happened"),
            "1",
            Decision.FAIL,
            "it happened",
            time_s=found.when_s,
            recording=ground.recording,
        )
    return plain(ground.challenge.name, item.name, text, Decision.PASS, found.note)


def _seen(challenge: Challenge, answer: Answer, observed: Sequence[ObservedAnswer]) -> RequirementRecord:
    text = f"{answer.name}: seen or heard by a person"
    found = next((item for item in observed if item.answer.casefold() == answer.name.casefold()), None)
    if found is None:
        return plain(
            challenge.name, answer.name, text, Decision.NOT_SHOWN, "no row of the observations says so"
        )
    if found.why_open:
        return plain(challenge.name, answer.name, text, Decision.NOT_SHOWN, found.why_open)
    if not found.seen:
        return plain(
            challenge.name, answer.name, text, Decision.FAIL, f"not seen by {found.observer}, {found.time}"
        )
    note = f"seen by {found.observer}, witness {found.witness}, {found.time}"
    if answer.within_s is None:
        return plain(challenge.name, answer.name, text, Decision.PASS, note)
    late = f"{note}; a time within {answer.within_s:g} s needs a recording"
    return plain(challenge.name, answer.name, text, Decision.NOT_SHOWN, late)


# ---- into the record ----


def _figures(
    ground: _Ground | None, tripped: Trip | None, delays: Sequence[tuple[str, Delay]]
) -> Mapping[str, object]:
    if ground is None:
        return {}
    challenge = ground.challenge
    found: dict[str, object] = {
        "unit": ground.unit,
        "quantity": challenge.quantity,
        "rising": challenge.rising,
        "from_s": ground.start_s,
        "to_s": ground.end_s,
        "interval_s": float(np.median(np.diff(ground.recording.seconds))),
    }
    if challenge.limit_channel:
        found["limit_channel"] = challenge.limit_channel
    elif challenge.limit is not None:
        found["limit"] = ground.scale.value(challenge.limit)
    if tripped is not None:
        found["trip"] = tripped
    if delays:
        found["delays"] = [{"answer": name, "delay": item} for name, item in delays]
    return found


def _switch_evidence(name: str, state: Switch, answers_on: bool | None) -> SwitchEvidence:
    return SwitchEvidence(name=name, on=state.on, known=state.known, answers_on=answers_on)
