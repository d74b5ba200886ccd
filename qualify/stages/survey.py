"""One recording and its holds: from readings to survey records, with every doubt and departure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from qualify.evidence import HoldEvidence, Readings, RecordingEvidence
from qualify.figures.absent import Absent, present
from qualify.figures.instants import instant_mean
from qualify.figures.phases import Level
from qualify.findings import Doubt, DoubtKind, Refusal, RefusalKind, nearest
from qualify.plan.model import Hold, Plan, Screening, Survey
from qualify.plan.statistics import StatisticsChoice
from qualify.readings.model import BoolArray, Recording
from qualify.readings.times import seconds_of
from qualify.record import (
    Decision,
    DeviationRecord,
    HeatRecord,
    LoadRecord,
    RequirementRecord,
    SimulationRecord,
    StatisticsRecord,
    SurveyRecord,
)
from qualify.sensors.certificates import Certificates
from qualify.stages.budgets import uncertainty_record
from qualify.stages.certificate_doubts import doubts_about_certificates
from qualify.stages.doubts import doubts_of
from qualify.stages.exclusions import Excluded, exclude
from qualify.stages.hold_figures import HoldFigures, hold_figures
from qualify.stages.holds import FoundHold, Trace, find_holds
from qualify.stages.locations import Assigned, assign, leave_out
from qualify.stages.profile_rules import doubts_about_profile, rules_not_kept, trend_is_asked
from qualify.stages.requirements import Court
from qualify.stages.screening import (
    Screened,
    ScreenedRecording,
    doubts_of_hold,
    mask_of,
    row_at,
    screen_moved,
    screen_recording,
    without_impossible,
)
from qualify.stages.stretch import Limits, Stretch
from qualify.stages.verdict import verdict_of
from qualify.standards.classes import ClassLimits, class_limits, confirmable_ids
from qualify.standards.counts import confirmable_counts
from qualify.standards.profiles import confirmable_rows

UNKNOWN_ROW = RefusalKind(
    "plan-unknown-row",
    what="the plan confirms '{name}', which is no row to be confirmed{near}",
    why="A confirmation that meets no row confirms nothing.",
    mend="correct it; rows that may be confirmed: {known}.",
)
VERDICT_HANGS = DoubtKind(
    "verdict-hangs-on-doubted",
    "hold '{hold}': the verdict hangs on doubted readings: {verdict} as judged, {other} without {count} "
    "({kinds}; the first at {when}, location '{name}')",
)
VERDICT_HANGS_EXCLUDED = DoubtKind(
    "verdict-hangs-on-excluded",
    "hold '{hold}': the verdict hangs on readings that the plan excludes: {verdict} as judged, {other} with "
    "{count} in ({reasons})",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class SurveyResult:
    """What one recording came to."""

    records: tuple[SurveyRecord, ...]
    deviations: tuple[DeviationRecord, ...]
    evidence: RecordingEvidence
    assigned: Assigned


def run_survey(
    plan: Plan,
    survey: Survey,
    recording: Recording,
    certificates: Certificates | None,
    first_index: int,
) -> SurveyResult:
    """Evaluate one survey of the plan.

    Parameters
    ----------
    plan, survey
        The plan and the survey of it.
    recording
        What was recorded.
    certificates
        All calibration points, or None.
    first_index
        Index that the first hold's record will have among all survey records.

    Raises
    ------
    Refusal
        If channels, certificates, set points or windows do not fit the recording.
    """
    _check_confirmed(plan)
    everything = without_impossible(assign(plan, recording, certificates))
    screening = screen_recording(plan, everything)
    shape = everything.readings.raw_c.shape

    def tell_time(text: str) -> float:
        return seconds_of(recording, text)

    def left_out(screened: Sequence[Screened]) -> Excluded:
        return exclude(plan.exclusions, survey, everything, screened, tell_time)

    screened = screening.found
    excluded = left_out(screened)
    assigned = leave_out(everything, excluded.mask)
    stretches = find_stretches(plan, survey, assigned)
    moved = tuple(screen_moved(stretch, screening) for stretch in stretches)
    screened += tuple(item for items in moved for item in items)
    if any(rule.kind is Screening.MOVED for rule in plan.exclusions):
        excluded = left_out(screened)
        assigned = leave_out(everything, excluded.mask)
        stretches = find_stretches(plan, survey, assigned)
    judged = []
    for number, stretch in enumerate(stretches):
        items = (*screening.found, *(moved[number] if number < len(moved) else ()))
        doubts = (*excluded.doubts, *dict.fromkeys(item.doubt for item in items))
        judged.append(judge(plan, stretch, doubts, screening))
    doubted = mask_of(screened, (shape[0], shape[1]))
    if doubted is not None and excluded.mask is not None:
        doubted &= ~excluded.mask
    without = (
        _verdicts(plan, survey, leave_out(assigned, doubted), screening) if doubted is not None else None
    )
    whole = _verdicts(plan, survey, everything, screening) if excluded.mask is not None else None
    records: list[SurveyRecord] = []
    deviations: list[DeviationRecord] = []
    evidence: list[HoldEvidence] = []
    for number, item in enumerate(judged):
        hangs = [
            *_without_doubted(item, screened, doubted, None if without is None else without[number]),
            *_with_excluded(item, excluded, None if whole is None else whole[number]),
        ]
        record = _record(survey, item, hangs, excluded)
        records.append(record)
        deviations += _deviations(record, item.stretch)
        deviations += [
            DeviationRecord(id="", survey=record.name, requirement=None, kind="departure", text=text)
            for text in rules_not_kept(plan, item.stretch, item.figures)
        ]
        evidence.append(_evidence(first_index + number, item.stretch))
    return SurveyResult(
        records=tuple(records),
        deviations=tuple(deviations),
        evidence=RecordingEvidence(
            name=survey.name,
            readings=_with_steps(assigned, everything, excluded),
            holds=tuple(evidence),
            set_point_c=assigned.set_point_c,
        ),
        assigned=assigned,
    )


def _with_steps(assigned: Assigned, everything: Assigned, excluded: Excluded) -> Readings:
    """The readings that count, with what was left out of them among the steps."""
    impossible = everything.readings
    steps = list(impossible.recording.steps)
    if impossible.recorded_c is not None:
        count = int((np.isnan(impossible.raw_c) & ~np.isnan(impossible.recorded_c)).sum())
        steps.append(f"{count:,} readings beyond the range of their sensor's type left out")
    steps += [
        f"{item.readings:,} reading{'s' * (item.readings != 1)} of location '{item.location}' left out by "
        f"the plan ({f'kind {item.kind}; ' if item.kind else ''}{item.reason})"
        for item in excluded.records
    ]
    readings = assigned.readings
    return replace(readings, recording=replace(readings.recording, steps=tuple(steps)))


def find_stretches(plan: Plan, survey: Survey, assigned: Assigned) -> tuple[Stretch, ...]:
    """Find the survey's holds in the readings that count.

    Raises
    ------
    Refusal
        If set points or windows do not fit the readings.
    """
    recording = assigned.readings.recording
    trace = Trace(
        seconds=recording.seconds,
        corrected_c=assigned.readings.corrected_c,
        mean_c=instant_mean(assigned.readings.corrected_c),
        set_point_c=assigned.set_point_c,
        tell_time=lambda text: seconds_of(recording, text),
    )
    found = find_holds(survey.holds, trace)
    return tuple(
        Stretch(
            found=hold,
            trace=trace,
            assigned=assigned,
            limits=_limits(hold.hold, _classes(plan, hold.hold)),
            following_end=found[number + 1].end if number + 1 < len(found) else None,
            uncertainty=plan.uncertainty,
        )
        for number, hold in enumerate(found)
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """One hold with its figures and what they come to; a pure function of the readings that count."""

    plan: Plan
    stretch: Stretch
    figures: HoldFigures
    requirements: tuple[RequirementRecord, ...]
    doubts: tuple[Doubt, ...]
    verdict: Decision
    remarks: tuple[str, ...]
    heat: tuple[HeatRecord, ...]


def judge(
    plan: Plan,
    stretch: Stretch,
    screened: Sequence[Doubt],
    screening: ScreenedRecording,
    *,
    simulated: bool = True,
) -> Judged:
    """Compute the figures of a hold and decide its requirements.

    Parameters
    ----------
    plan, stretch
        The plan, and the hold in its recording.
    screened
        Doubts from screening that touch it.
    screening
        What screening found in the recording: the resolution of each location.
    simulated
        Whether the errors of the sensors are simulated; where only the verdict is wanted, they need not be.
    """
    figures = hold_figures(stretch, (plan.statistics or StatisticsChoice()) if simulated else None)
    classes = _classes(plan, stretch.found.hold)
    court = Court(plan, stretch, figures)
    heat, asked = _heat(plan, stretch)
    requirements = (*court.decide_all(classes), *asked)
    by_document = any(item.trend_is_nonconformity for item in classes) or trend_is_asked(stretch)
    trending = [] if by_document else court.trending(stretch.limits.low_c, stretch.limits.high_c)
    found = (
        *screened,
        *doubts_of_hold(stretch, figures, screening),
        *doubts_about_certificates(plan, stretch),
        *doubts_about_profile(plan, stretch, figures),
    )
    doubts = doubts_of(plan, stretch, figures, trending, found)
    verdict, remarks = verdict_of(plan, stretch, court, classes, requirements, doubts)
    return Judged(
        plan=plan,
        stretch=stretch,
        figures=figures,
        requirements=requirements,
        doubts=doubts,
        verdict=verdict,
        remarks=remarks,
        heat=heat,
    )


def _simulation(stretch: Stretch, figures: HoldFigures) -> SimulationRecord | Absent:
    if isinstance(figures.simulation, Absent):
        return figures.simulation
    from qualify.stages.simulation import simulation_record

    return simulation_record(stretch, figures.simulation)


def _heat(plan: Plan, stretch: Stretch) -> tuple[tuple[HeatRecord, ...], list[RequirementRecord]]:
    """What the plan adds up over the run, and the requirements about it."""
    if not plan.heat:
        return (), []
    from qualify.stages.heat import heat_records, heat_requirements

    found = heat_records(plan, stretch)
    return found, heat_requirements(found)


def _loads(stretch: Stretch) -> tuple[LoadRecord, ...]:
    if not stretch.assigned.loads:
        return ()
    from qualify.stages.heat import load_records

    return load_records(stretch)


def _statistics(plan: Plan, stretch: Stretch, figures: HoldFigures) -> StatisticsRecord | Absent:
    """The statistics of a hold, for a plan; nothing of them is loaded for a survey without one."""
    if plan.statistics is None:
        return Absent("statistics are computed for a plan, not for a survey without one")
    from qualify.stages.statistics import hold_statistics

    return hold_statistics(plan, stretch, figures, plan.statistics)


def _check_confirmed(plan: Plan) -> None:
    known = [*confirmable_ids(), *confirmable_counts(), *confirmable_rows(), *plan.own_confirmable]
    for row in plan.confirmed:
        if row not in known:
            raise UNKNOWN_ROW(name=row, near=nearest(row, known), known=", ".join(known))


def _classes(plan: Plan, hold: Hold) -> tuple[ClassLimits, ...]:
    return tuple(
        class_limits(
            choice,
            setpoint_c=hold.setpoint,
            ambient_c=hold.ambient,
            units=plan.units,
            confirmed=plan.confirmed,
        )
        for choice in hold.classes
    )


def _limits(hold: Hold, classes: tuple[ClassLimits, ...]) -> Limits:
    """The hold's own limits; else the narrowest that its classes set for every location."""
    if hold.low is not None and hold.high is not None:
        return Limits(low_c=hold.setpoint + hold.low, high_c=hold.setpoint + hold.high)
    widths = [item.half_width_c for item in classes if item.judged == "all" and item.half_width_c is not None]
    if not widths:
        return Limits(low_c=None, high_c=None)
    return Limits(low_c=hold.setpoint - min(widths), high_c=hold.setpoint + min(widths))


def _record(survey: Survey, judged: Judged, hangs: Sequence[Hangs], excluded: Excluded) -> SurveyRecord:
    plan, stretch, figures = judged.plan, judged.stretch, judged.figures
    found, hold = stretch.found, stretch.found.hold
    recording = stretch.readings.recording
    verdict = Decision.worst([judged.verdict, *(item.at_best for item in hangs)])
    low_c, high_c = stretch.limits.low_c, stretch.limits.high_c
    symmetric = hold.low is not None and hold.high is not None and -hold.low == hold.high
    heat_start_s = found.heat_start_s
    name = survey.name if len(survey.holds) == 1 else f"{survey.name}, {hold.name}"
    return SurveyRecord(
        name=hold.name if plan.from_options else name,
        recording=survey.name,
        hold=hold.name,
        stage=survey.stage.value,
        verdict=verdict,
        remarks=(*(item.remark for item in hangs), *judged.remarks),
        setpoint_c=hold.setpoint,
        tolerance_c=hold.high if symmetric else None,
        limit_low_c=low_c,
        limit_high_c=high_c,
        window=figures.window,
        heat_start=recording.iso(heat_start_s) if present(heat_start_s) else None,
        heat_start_s=heat_start_s,
        heat_start_how=found.heat_start_how,
        hold_end_s=float(recording.seconds[found.end]),
        hold_end=recording.iso(float(recording.seconds[found.end])),
        hold_end_how=found.end_how,
        starting_level_c=found.level.median_c if isinstance(found.level, Level) else found.level,
        steady_s=(
            found.steadiness.first
            if isinstance(found.steadiness.first, Absent)
            else float(recording.seconds[found.steadiness.first])
        ),
        entered_from="below" if found.entered_from_below else "above",
        reference_location=(
            None
            if stretch.assigned.reference is None
            else stretch.readings.locations[stretch.assigned.reference]
        ),
        chamber=figures.chamber,
        variants=figures.variants,
        locations=figures.locations,
        indications=figures.indications,
        requirements=judged.requirements,
        doubts=(*(item.doubt for item in hangs if item.doubt is not None), *judged.doubts),
        uncertainty=uncertainty_record(stretch, stretch.window, figures.budgets),
        simulation=_simulation(stretch, figures),
        statistics=_statistics(plan, stretch, figures),
        loads=_loads(stretch),
        heat=judged.heat,
        exclusions=excluded.records,
    )


# ---- what the verdict hangs on ----


@dataclass(frozen=True, slots=True, kw_only=True)
class Hangs:
    """What stands beside a verdict because readings are doubted or left out."""

    remark: str
    doubt: Doubt | None = None
    at_best: Decision = Decision.PASS


def _verdicts(
    plan: Plan, survey: Survey, assigned: Assigned, screening: ScreenedRecording
) -> list[Decision | str]:
    """The verdict of every hold on other readings than those that count, or why there is none."""
    try:
        stretches = find_stretches(plan, survey, assigned)
        asked = any(item.figure == "conformance_probability" for item in plan.requirements)
        return [judge(plan, stretch, (), screening, simulated=asked).verdict for stretch in stretches]
    except Refusal as refusal:
        return [refusal.what] * len(survey.holds)


def _worded(verdict: Decision | str) -> str:
    return f"{verdict}" if isinstance(verdict, Decision) else f"none ({verdict})"


def _ground(judged: Judged) -> slice:
    """The hold's stretch of the record, from heat start and the ground of the high excess to its end."""
    found = judged.stretch.found
    return slice(min(found.begin, found.ground[0]), max(found.end, found.ground[1]) + 1)


def _counted(count: int, what: str = "reading") -> str:
    return f"1 {what}" if count == 1 else f"{count:,} {what}s"


def _without_doubted(
    judged: Judged, screened: Sequence[Screened], doubted: BoolArray | None, other: Decision | str | None
) -> list[Hangs]:
    """Say that the verdict hangs on doubted readings, where it does."""
    if doubted is None or other is None or other == judged.verdict:
        return []
    rows = _ground(judged)
    if not doubted[rows].any():
        rows = slice(0, doubted.shape[0])
    there = doubted[rows]
    instant = rows.start + int(np.argmax(there.any(axis=1)))
    column = int(np.argmax(doubted[instant]))
    columns = set(np.flatnonzero(there.any(axis=0)).tolist())
    kinds = ", ".join(sorted({item.kind.value for item in screened if item.column in columns}))
    readings = judged.stretch.readings
    channel = readings.recording.channels[readings.channel_index[column]]
    seconds = float(readings.recording.seconds[instant])
    name = readings.locations[column]
    doubt = VERDICT_HANGS(
        file=channel.file,
        row=row_at(judged.stretch.assigned, column, instant),
        column=channel.header,
        location=name,
        hold=judged.stretch.found.hold.name,
        verdict=judged.verdict,
        count=_counted(int(there.sum()), "doubted reading"),
        kinds=kinds,
        name=name,
        when=readings.recording.iso(seconds) or f"{seconds:g} s",
        other=_worded(other),
    )
    return [Hangs(remark=doubt.text, doubt=doubt)]


def _with_excluded(judged: Judged, excluded: Excluded, other: Decision | str | None) -> list[Hangs]:
    """Name the readings that the plan leaves out of the hold, and the verdict that they would give."""
    if excluded.mask is None or other is None:
        return []
    rows = _ground(judged)
    inside = int(excluded.mask[rows].sum())
    if inside == 0 and other == judged.verdict:
        return []
    reasons = "; ".join(dict.fromkeys(item.reason for item in excluded.records))
    count = _counted(inside)
    remark = f"without {count} of this hold that the plan excludes ({reasons}); with them the verdict is "
    remark += _worded(other)
    if other == judged.verdict:
        return [Hangs(remark=remark)]
    doubt = VERDICT_HANGS_EXCLUDED(
        hold=judged.stretch.found.hold.name,
        verdict=judged.verdict,
        count=count,
        reasons=reasons,
        other=_worded(other),
    )
    named = excluded.named is not None and bool(excluded.named[rows].any())
    capped = named and other is Decision.FAIL
    return [Hangs(remark=remark, doubt=doubt, at_best=Decision.CONDITIONAL if capped else Decision.PASS)]


# ---- departures and nonconformities ----


def _deviations(record: SurveyRecord, stretch: Stretch) -> list[DeviationRecord]:
    found: list[DeviationRecord] = []

    def add(kind: str, requirement: str | None, text: str) -> None:
        found.append(
            DeviationRecord(id="", survey=record.name, requirement=requirement, kind=kind, text=text)
        )

    for item in record.requirements:
        if item.decision in (Decision.FAIL, Decision.NOT_SHOWN):
            place = f" at location '{item.decided_by}'" if item.decided_by else ""
            add("nonconformity", item.id, f"{item.text}: {item.decision}{place}; {item.note}")
    hold = stretch.found.hold
    steady = stretch.found.steadiness
    if not isinstance(steady.first, Absent) and not steady.full_soak:
        left = (record.hold_end_s - float(stretch.trace.seconds[steady.first])) / 60.0
        add(
            "departure",
            None,
            f"short soak: {left:.1f} min after stabilisation instead of {hold.soak_minutes:g}",
        )
    if not isinstance(record.window, Absent) and not record.window.filled:
        add(
            "departure",
            None,
            "the record does not fill the assessment window: last reading at "
            f"{record.window.last_s:g} s, window from {record.window.start_s:g} to {record.window.end_s:g} s",
        )
    return found


def _evidence(survey: int, stretch: Stretch) -> HoldEvidence:
    found: FoundHold = stretch.found
    window = found.window
    return HoldEvidence(
        survey=survey,
        setpoint_c=found.hold.setpoint,
        limit_low_c=stretch.limits.low_c,
        limit_high_c=stretch.limits.high_c,
        hold=(found.begin, found.end),
        ground=found.ground,
        window=None if isinstance(window, Absent) else (window.first, window.last),
        reference=stretch.assigned.reference,
        entered_from_below=found.entered_from_below,
    )
