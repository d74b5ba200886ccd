"""Tests of operation besides challenges: purges, cool-downs, loop checks, programs → their records."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from qualify.decisions import Claim
from qualify.evidence import PurgeEvidence
from qualify.figures.absent import Absent, Maybe, present
from qualify.figures.instants import instant_mean
from qualify.figures.loop_check import SignalRange, broken_signal, loop_check, trip_on_scale
from qualify.figures.program import Step, StepFound, follow_program
from qualify.figures.well_mixed import AIR_OXYGEN_PERCENT, predicted_purge_s
from qualify.findings import RefusalKind
from qualify.plan.stage_tests import (
    Circumstances,
    CoolDown,
    LoopTest,
    OperationTest,
    ProgramTest,
    PurgeTest,
)
from qualify.readings.model import FloatArray, Recording
from qualify.readings.times import seconds_of
from qualify.record import Decision, RequirementRecord, StageTestRecord
from qualify.stages.recorded_tests import column, guarded, plain, requirement, stretch_s

OXYGEN_UNIT = RefusalKind(
    "purge-oxygen-unit",
    what="purge '{test}': the unit of '{name}' is {unit}",
    why="Oxygen is held against a limit in % by volume; ppm are ten-thousandths of it.",
    mend='tell the unit: column_units = {{ "{name}" = "%" }}, or "ppm".',
)
if TYPE_CHECKING:
    from qualify.inference.purge import Purge

PPM_PER_PERCENT = 1e4
_PERCENT = ("%", "vol%", "vol.%", "% vol", "%vol", "%o2", "% o2", "% (v/v)")
_PPM = ("ppm", "ppmv", "ppm o2", "vppm")


def run_operation_test(
    test: OperationTest, recording: Recording | None
) -> tuple[StageTestRecord, PurgeEvidence | None]:
    """Evaluate one test of operation.

    Parameters
    ----------
    test
        The test as planned.
    recording
        What was recorded; None for a loop check.

    Raises
    ------
    Refusal
        If a channel is not in the recording, a stretch lies outside it, or the oxygen's unit isn't known.
    """
    if isinstance(test, LoopTest):
        return _loop(test), None
    assert recording is not None
    if isinstance(test, PurgeTest):
        return _purge(test, recording)
    if isinstance(test, CoolDown):
        return _cool_down(test, recording), None
    return _program(test, recording), None


def _record(
    name: str,
    kind: str,
    circumstances: Circumstances,
    requirements: list[RequirementRecord],
    figures: dict[str, object],
    notes: tuple[str, ...] = (),
) -> StageTestRecord:
    return StageTestRecord(
        name=name,
        kind=kind,
        stage="operation",
        place=circumstances.place.value,
        simulated=circumstances.simulated,
        owed=circumstances.owed,
        verdict=Decision.worst([item.decision for item in requirements]),
        requirements=tuple(requirements),
        figures=figures,
        notes=notes,
    )


def _within(
    test: str,
    about: str,
    text: str,
    value: Maybe,
    low: Maybe,
    high: Maybe,
    at_most_s: float,
) -> RequirementRecord:
    """A time that the recording knows between two ends only: met and not met where both ends say so."""
    if isinstance(value, Absent) or isinstance(low, Absent) or isinstance(high, Absent):
        reason = next(item for item in (value, low, high) if isinstance(item, Absent)).reason
        return plain(test, about, text, Decision.NOT_SHOWN, reason)
    decision = Decision.NOT_SHOWN
    if high <= at_most_s + 1e-9:
        decision = Decision.PASS
    elif low > at_most_s + 1e-9:
        decision = Decision.FAIL
    note = f"between {low:.4g} and {high:.4g} s"
    if decision is Decision.NOT_SHOWN:
        note = f"could not be shown: {note}"
    return requirement(test, about, text, value, "s", decision, note, high=at_most_s)


def _reached(test: str, about: str, text: str, after_s: Maybe) -> RequirementRecord:
    """Whether something was reached at all, where no time is asked."""
    if isinstance(after_s, Absent):
        return plain(test, about, text, Decision.FAIL, after_s.reason)
    return plain(test, about, text, Decision.PASS, f"after {after_s:.4g} s")


# ---- purge ----


def _purge(test: PurgeTest, recording: Recording) -> tuple[StageTestRecord, PurgeEvidence]:
    from qualify.inference.purge import Analyser, Gas, purge, time_to_another_limit
    from qualify.inference.purge_hold import ability_to_hold, rise_rate

    oxygen, per_percent = _oxygen(test, recording)
    seconds = recording.seconds
    start_s, end_s = stretch_s(test.name, recording, test.start, test.end)
    stopped_s = None if test.flow_stopped is None else seconds_of(recording, test.flow_stopped)
    # What follows the end of the flow is no purge, and is no misfit of it.
    purged_s = end_s if stopped_s is None else min(end_s, stopped_s)
    gas = None
    if test.volume_m3 and test.flow_m3_per_h:
        gas = Gas(volume_m3=test.volume_m3, flow_m3_per_s=test.flow_m3_per_h / 3600.0)
    found = purge(
        seconds,
        oxygen,
        start_s=start_s,
        end_s=purged_s,
        limit=test.limit,
        analyser=Analyser(
            lag_s=test.lag_s, delay_s=test.delay_s, u=test.reading_u, resolution=test.resolution
        ),
        gas=gas,
        supply=test.supply,
    )
    text = f"oxygen at or below {test.limit:g} %"
    figures: dict[str, object] = {
        "unit": "% oxygen",
        "channel": test.channel,
        "recorded_per_percent": per_percent,
        "from_s": start_s,
        "to_s": purged_s,
    }
    notes: list[str] = []
    requirements: list[RequirementRecord] = []
    if isinstance(found, Absent):
        requirements.append(plain(test.name, "limit", text, Decision.NOT_SHOWN, found.reason))
    else:
        figures["purge"] = found
        if test.volume_m3 and test.flow_m3_per_h:
            figures["predicted_s"] = predicted_purge_s(
                AIR_OXYGEN_PERCENT,
                test.limit,
                volume_m3=test.volume_m3,
                flow_m3_per_s=test.flow_m3_per_h / 3600.0,
                supply=test.supply or 0.0,
            )
        notes += found.findings
        if isinstance(found.model, Absent):
            reason = found.model.reason
            told = any(reason in finding for finding in found.findings)
            notes.append(f"no model{'' if told else f': {reason}'}; the measured time stands alone")
        elif test.another_limit is not None:
            figures["time_to_another_limit"] = time_to_another_limit(
                found, test.another_limit, u=test.reading_u
            )
        if test.within_s is not None:
            requirements.append(
                _within(
                    test.name,
                    "time to limit",
                    f"{text} within {test.within_s:g} s of the start of the purge",
                    found.measured_s,
                    found.measured_low_s,
                    found.measured_high_s,
                    test.within_s,
                )
            )
        else:
            requirements.append(_reached(test.name, "limit", text, found.measured_s))
    if stopped_s is not None:
        rise = rise_rate(seconds, oxygen, stopped_s=stopped_s, end_s=end_s)
        figures["rise"] = rise
        if test.rise_at_most is not None:
            requirements.append(_rise(test, rise))
    kept_s: tuple[float, float] | None = None
    if test.kept_from is not None or test.kept_to is not None:
        from_s, to_s = kept_s = stretch_s(test.name, recording, test.kept_from, test.kept_to)
        kept = ability_to_hold(seconds, oxygen, test.limit, start_s=from_s, end_s=to_s)
        figures["kept"] = kept
        figures["kept_from_s"], figures["kept_to_s"] = from_s, to_s
        kept_text = f"{text} all the time from {from_s:g} to {to_s:g} s"
        if isinstance(kept, Absent):
            requirements.append(plain(test.name, "kept", kept_text, Decision.NOT_SHOWN, kept.reason))
        else:
            claim = Claim(
                value=kept.largest,
                expanded_uncertainty=2.0 * test.reading_u if test.reading_u > 0 else None,
                standard_uncertainty=test.reading_u if test.reading_u > 0 else None,
                shortfall="some instants have no reading of oxygen" if kept.absent_readings else None,
            )
            requirements.append(
                guarded(
                    test.name,
                    "kept",
                    kept_text,
                    claim,
                    "% oxygen",
                    high=test.limit,
                    time_s=kept.largest_at_s,
                    recording=recording,
                )
            )
    record = _record(test.name, "purge", test.circumstances, requirements, figures, tuple(notes))
    return record, PurgeEvidence(
        name=test.name,
        seconds=seconds,
        oxygen=oxygen,
        fitted=_fitted(found, seconds, start_s),
        start_s=start_s,
        end_s=end_s,
        limit=test.limit,
        flow_stopped_s=stopped_s,
        kept_s=kept_s,
    )


def _fitted(found: Purge | Absent, seconds: FloatArray, start_s: float) -> FloatArray | None:
    """What the analyser would show by the fit, from the start on; None without a fit."""
    from qualify.inference.decay import shown_share

    if isinstance(found, Absent) or isinstance(found.model, Absent):
        return None
    decay = found.model.decay
    after_s = seconds - start_s - decay.delay_s
    share = shown_share(np.maximum(after_s, 0.0), decay.time_constant_s.value, decay.lag_s)
    shown = decay.floor.value + (decay.start.value - decay.floor.value) * share
    return np.where(after_s >= 0.0, shown, np.nan)


def _oxygen(test: PurgeTest, recording: Recording) -> tuple[FloatArray, float]:
    """Oxygen [%], and how many of the recorded unit are one percent."""
    values, unit, is_temperature = column(test.name, recording, test.channel)
    word = unit.strip().casefold()
    if not is_temperature and word in _PERCENT:
        return values, 1.0
    if not is_temperature and word in _PPM:
        return values / PPM_PER_PERCENT, PPM_PER_PERCENT
    raise OXYGEN_UNIT(test=test.name, name=test.channel, unit=f"'{unit}'" if unit else "not known")


def _rise(test: PurgeTest, found: object) -> RequirementRecord:
    text = f"with the flow stopped oxygen rises by at most {test.rise_at_most:g} % per hour"
    if isinstance(found, Absent):
        return plain(test.name, "rise", text, Decision.NOT_SHOWN, found.reason)
    value, low, high = (
        getattr(found, name) for name in ("percent_per_h", "low_percent_per_h", "high_percent_per_h")
    )
    half = None
    if present(low) and present(high):
        half = (high - low) / 2.0
    claim = Claim(
        value=value,
        expanded_uncertainty=half,
        standard_uncertainty=None if half is None else half / 2.0,
    )
    return guarded(test.name, "rise", text, claim, "% per hour", high=test.rise_at_most)


# ---- cool-down ----


def _course(test: str, channel: str, recording: Recording) -> FloatArray:
    """A temperature channel, or the mean of all of them [°C]."""
    if not channel:
        return instant_mean(recording.raw_c)
    values, _, is_temperature = column(test, recording, channel)
    if not is_temperature:
        return np.full(values.shape, np.nan)
    return values


def _cool_down(test: CoolDown, recording: Recording) -> StageTestRecord:
    from qualify.inference.cooling import cooling, time_with_coolant

    start_s, end_s = stretch_s(test.name, recording, test.start, test.end)
    found = cooling(
        recording.seconds,
        _course(test.name, test.channel, recording),
        start_s=start_s,
        handling_c=test.handling_c,
        end_s=end_s,
        coolant_c=test.coolant_c,
        reading_u_c=test.reading_u_c,
    )
    text = f"cooled to {test.handling_c:g} °C"
    figures: dict[str, object] = {"channel": test.channel, "from_s": start_s, "to_s": end_s}
    notes: tuple[str, ...] = ()
    if isinstance(found, Absent):
        requirements = [plain(test.name, "handling temperature", text, Decision.NOT_SHOWN, found.reason)]
        return _record(test.name, "cool-down", test.circumstances, requirements, figures)
    figures["cooling"] = found
    if isinstance(found.decay, Absent):
        notes = (f"no time constant: {found.decay.reason}",)
    elif test.other_coolant_c is not None:
        figures["time_with_other_coolant"] = time_with_coolant(
            found, test.other_coolant_c, test.handling_c, reading_u_c=test.reading_u_c
        )
    if test.within_s is None:
        requirements = [_reached(test.name, "handling temperature", text, found.time_s)]
    else:
        requirements = [
            _within(
                test.name,
                "time to handling temperature",
                f"{text} within {test.within_s:g} s",
                found.time_s,
                found.time_low_s,
                found.time_high_s,
                test.within_s,
            )
        ]
    return _record(test.name, "cool-down", test.circumstances, requirements, figures, notes)


# ---- loop check ----


def _loop(test: LoopTest) -> StageTestRecord:
    signal = SignalRange(
        signal_low=test.signal_low,
        signal_high=test.signal_high,
        scale_low=test.scale_low,
        scale_high=test.scale_high,
    )
    injected, displayed, rising = zip(*test.points, strict=True)
    found = loop_check(
        signal,
        np.array(injected, dtype=np.float64),
        np.array([np.nan if value is None else value for value in displayed], dtype=np.float64),
        np.array(rising, dtype=np.bool_),
    )
    requirements: list[RequirementRecord] = []
    figures: dict[str, object] = {"unit": test.unit}
    notes: list[str] = []
    text = f"largest error at most {test.error_at_most:g} % of the span"
    if isinstance(found, Absent):
        requirements.append(plain(test.name, "error", text, Decision.NOT_SHOWN, found.reason))
    else:
        figures["loop"] = found
        figures["points"] = [
            {"signal": signal_in, "displayed": shown, "rising": went_up}
            for signal_in, shown, went_up in test.points
        ]
        size = abs(found.largest_error_percent)
        requirements.append(_at_most(test.name, "error", text, size, test.error_at_most))
        if test.hysteresis_at_most is not None:
            width = found.hysteresis_percent
            requirements.append(
                _at_most(
                    test.name,
                    "hysteresis",
                    f"hysteresis at most {test.hysteresis_at_most:g} % of the span",
                    abs(width) if present(width) else width,
                    test.hysteresis_at_most,
                )
            )
    if test.trip is not None:
        on_scale = trip_on_scale(signal, test.trip, harmful_above=test.harmful_above)
        trip_text = f"the trip point {test.trip:g} {test.unit} can be reached on the scale"
        if isinstance(on_scale, Absent):
            requirements.append(plain(test.name, "trip", trip_text, Decision.NOT_SHOWN, on_scale.reason))
        else:
            figures["trip"] = on_scale
            decision = Decision.PASS if on_scale.can_be_shown else Decision.NOT_SHOWN
            requirements.append(plain(test.name, "trip", trip_text, decision, on_scale.note))
    for how, value, fault_shown in test.broken:
        requirements.append(_broken(test, how, value, fault_shown))
    notes.append("a simulated signal proves the loop, never the sensor")
    return _record(test.name, "loop check", test.circumstances, requirements, figures, tuple(notes))


def _at_most(test: str, about: str, text: str, value: Maybe, limit: float) -> RequirementRecord:
    if isinstance(value, Absent):
        return plain(test, about, text, Decision.NOT_SHOWN, value.reason)
    decision = Decision.PASS if value <= limit + 1e-9 else Decision.FAIL
    return requirement(test, about, text, value, "% of span", decision, "", high=limit)


def _broken(test: LoopTest, how: str, value: float | None, fault_shown: bool) -> RequirementRecord:
    text = f"the signal {how}: seen as a fault, or on the harmful side"
    assert test.trip is not None
    found = broken_signal(
        how,  # type: ignore[arg-type]  # one of the plan's words, which are the figure's
        Absent("nothing was displayed") if value is None else value,
        test.trip,
        harmful_above=test.harmful_above,
        fault_shown=fault_shown,
    )
    if isinstance(found, Absent):
        return plain(test.name, f"signal {how}", text, Decision.NOT_SHOWN, found.reason)
    decision = Decision.FAIL if found.finding else Decision.PASS
    return plain(test.name, f"signal {how}", text, decision, found.finding)


# ---- program ----


def _program(test: ProgramTest, recording: Recording) -> StageTestRecord:
    steps = [
        Step(
            setpoint_c=item.setpoint_c,
            band_c=item.band_c,
            rate_c_per_min=item.rate_c_per_min,
            rate_tolerance_c_per_min=item.rate_tolerance_c_per_min,
            dwell_min=item.dwell_min,
            shorter_by_min=item.shorter_by_min,
            longer_by_min=item.longer_by_min,
        )
        for item in test.steps
    ]
    found = follow_program(recording.seconds, _course(test.name, test.channel, recording), steps)
    requirements = []
    for number, step in enumerate(test.steps, start=1):
        about, text = f"step {number}", f"step {number}: {step.setpoint_c:g} °C as programmed"
        one = found if isinstance(found, Absent) else found.steps[number - 1]
        if isinstance(one, Absent):
            requirements.append(plain(test.name, about, text, Decision.NOT_SHOWN, one.reason))
            continue
        assert isinstance(one, StepFound)
        decision = Decision.FAIL if one.not_kept else Decision.PASS
        note = "; ".join(one.not_kept) or f"{one.dwell_min:.4g} min there"
        if one.unfinished and not one.not_kept:
            decision = Decision.NOT_SHOWN if step.dwell_min is not None else Decision.PASS
            note = f"the record ends in it; {note}"
        requirements.append(plain(test.name, about, text, decision, note))
    figures: dict[str, object] = {} if isinstance(found, Absent) else {"program": found}
    return _record(test.name, "program", test.circumstances, requirements, figures)
