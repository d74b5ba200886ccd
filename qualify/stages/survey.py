"""One recording and its holds: from readings to survey records, with every doubt and departure."""

from __future__ import annotations

from dataclasses import dataclass

from qualify.evidence import HoldEvidence, RecordingEvidence
from qualify.figures.absent import Absent, present
from qualify.figures.instants import instant_mean
from qualify.figures.phases import Level
from qualify.findings import Doubt, RefusalKind, nearest
from qualify.plan.model import Hold, Plan, Survey
from qualify.readings.model import Recording
from qualify.readings.times import seconds_of
from qualify.record import Decision, DeviationRecord, RequirementRecord, SurveyRecord
from qualify.sensors.certificates import Certificates
from qualify.stages.doubts import OUTSIDE_WINDOW, doubts_of
from qualify.stages.hold_figures import HoldFigures, hold_figures
from qualify.stages.holds import FoundHold, Trace, find_holds
from qualify.stages.locations import Assigned, assign
from qualify.stages.requirements import Court, column_verdict
from qualify.stages.stretch import Limits, Stretch
from qualify.standards.classes import ClassLimits, class_limits, confirmable_ids
from qualify.units import difference_from_c

UNKNOWN_ROW = RefusalKind(
    "plan-unknown-row",
    what="the plan confirms '{name}', which is no row to be confirmed{near}",
    why="A confirmation that meets no row confirms nothing.",
    mend="correct it; rows that may be confirmed: {known}.",
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
    assigned = assign(plan, recording, certificates)
    trace = Trace(
        seconds=recording.seconds,
        corrected_c=assigned.readings.corrected_c,
        mean_c=instant_mean(assigned.readings.corrected_c),
        set_point_c=assigned.set_point_c,
        tell_time=lambda text: seconds_of(recording, text),
    )
    found = find_holds(survey.holds, trace)
    records: list[SurveyRecord] = []
    deviations: list[DeviationRecord] = []
    evidence: list[HoldEvidence] = []
    for number, hold in enumerate(found):
        classes = _classes(plan, hold.hold)
        stretch = Stretch(
            found=hold,
            trace=trace,
            assigned=assigned,
            limits=_limits(hold.hold, classes),
            following_end=found[number + 1].end if number + 1 < len(found) else None,
        )
        figures = hold_figures(stretch)
        record = _record(plan, survey, stretch, figures, classes)
        records.append(record)
        deviations += _deviations(record, stretch)
        evidence.append(_evidence(first_index + number, stretch))
    return SurveyResult(
        records=tuple(records),
        deviations=tuple(deviations),
        evidence=RecordingEvidence(
            name=survey.name,
            readings=assigned.readings,
            holds=tuple(evidence),
            set_point_c=assigned.set_point_c,
        ),
        assigned=assigned,
    )


def _check_confirmed(plan: Plan) -> None:
    known = confirmable_ids()
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


def _record(
    plan: Plan,
    survey: Survey,
    stretch: Stretch,
    figures: HoldFigures,
    classes: tuple[ClassLimits, ...],
) -> SurveyRecord:
    found, hold = stretch.found, stretch.found.hold
    recording = stretch.readings.recording
    court = Court(plan, stretch, figures)
    requirements = court.decide_all(classes)
    judged = any(item.trend_is_nonconformity for item in classes)
    trending = [] if judged else court.trending(stretch.limits.low_c, stretch.limits.high_c)
    doubts = doubts_of(plan, stretch, figures, trending)
    verdict, remarks = _verdict(plan, stretch, court, classes, requirements, doubts)
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
        remarks=remarks,
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
        requirements=requirements,
        doubts=doubts,
    )


# ---- the verdict ----


def _verdict(
    plan: Plan,
    stretch: Stretch,
    court: Court,
    classes: tuple[ClassLimits, ...],
    requirements: tuple[RequirementRecord, ...],
    doubts: tuple[Doubt, ...],
) -> tuple[Decision, tuple[str, ...]]:
    """Give the worst of the requirements, held down by what speaks against it, and the words beside it."""
    decided = Decision.worst([item.decision for item in requirements])
    remarks: list[str] = []
    if not requirements:
        remarks.append("the plan asks for nothing in this hold")
    ceilings: list[Decision] = [decided]
    outside = [doubt for doubt in doubts if doubt.kind == OUTSIDE_WINDOW.code]
    if outside:
        ceilings.append(Decision.CONDITIONAL)
        remarks += [doubt.text for doubt in outside]
    remarks += [_condition(item, plan) for item in requirements if item.decision is Decision.CONDITIONAL]
    excess = _excess_remark(court, plan)
    if excess is not None and decided is not Decision.FAIL:
        remarks.append(excess)
    if not _uncertainty_known(stretch):
        remarks.append(
            "uncorrected, uncertainty not known"
            if plan.certificates is None
            else "corrected, uncertainty not known for every location"
        )
        if not plan.from_options:
            ceilings.append(Decision.CONDITIONAL)
    for column, role in enumerate(stretch.assigned.ignored):
        would = column_verdict(
            stretch,
            stretch.assigned.ignored_c[:, column],
            stretch.assigned.ignored_corrections[column],
            plan,
        )
        if would is None:
            remarks.append(f"without column '{role.channel}' ({role.reason}), which can't be judged here")
            continue
        with_it = Decision.worst([decided, would])
        remarks.append(f"without column '{role.channel}' ({role.reason}); with it the verdict is {with_it}")
        if would is Decision.FAIL:
            ceilings.append(Decision.CONDITIONAL)
    verdict = Decision.worst(ceilings)
    remarks += _hangs_on_doubt(court, classes, decided, doubts)
    return verdict, tuple(remarks)


def _condition(item: RequirementRecord, plan: Plan) -> str:
    """Word what a conditional decision hangs on."""
    if item.unit != "°C" or not present(item.margin) or not present(item.value):
        return f"conditional: {item.id}, {item.note}"
    unit = plan.units.value
    value, margin = (difference_from_c(number, plan.units) for number in (item.value, item.margin))
    guard = difference_from_c(item.guard_band or 0.0, plan.units)
    return (
        f"conditional: {item.id}, {value:+.2f} {unit} at {item.location}, inside the limit by {margin:.2f} "
        f"{unit}; decided by {item.decided_by} with U {guard:.2f} {unit}. A person must accept it"
    )


def _excess_remark(court: Court, plan: Plan) -> str | None:
    """Say that a reading outside the window passed the upper limit, where no requirement judges that."""
    excess = court.figures.chamber.high_excess_c
    if (
        not present(excess)
        or excess <= 1e-9
        or any(item.figure == "high_excess" for item in plan.requirements)
    ):
        return None
    shown = difference_from_c(excess, plan.units)
    return (
        f"the limits are judged in the window; over the whole hold a reading lies {shown:.2f} "
        f"{plan.units.value} above the upper limit (high excess), which no requirement judges"
    )


def _uncertainty_known(stretch: Stretch) -> bool:
    return all(
        correction is not None and correction.coverage_factor is not None
        for correction in stretch.readings.corrections
    )


def _hangs_on_doubt(
    court: Court, classes: tuple[ClassLimits, ...], decided: Decision, doubts: tuple[Doubt, ...]
) -> list[str]:
    """Say what the verdict would be without the columns that are in doubt as columns."""
    columns = {"name-suggests-other", "far-from-setpoint"}
    doubted = {doubt.location for doubt in doubts if doubt.kind in columns and doubt.location is not None}
    if not doubted or len(court.columns) - len(doubted) < 1:
        return []
    without = court.without(frozenset(doubted)).decide_all(classes)
    other = Decision.worst([item.decision for item in without])
    if other is decided:
        return []
    names = ", ".join(f"'{name}'" for name in sorted(doubted))
    return [f"the verdict hangs on doubted readings: without {names} it would be {other}"]


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
