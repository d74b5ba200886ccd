"""The verdict of a hold: the worst of its requirements, what holds it down, and the words beside it."""

from __future__ import annotations

from qualify.figures.absent import present
from qualify.findings import Doubt
from qualify.plan.model import Plan
from qualify.plan.uncertainty import Source
from qualify.record import Decision, RequirementRecord
from qualify.stages.certificate_doubts import HOLD_DOWN
from qualify.stages.doubts import OUTSIDE_WINDOW
from qualify.stages.profile_rules import NOT_CONFIRMED
from qualify.stages.requirements import Court, column_verdict
from qualify.stages.stretch import Stretch
from qualify.standards.classes import ClassLimits
from qualify.units import difference_from_c


def verdict_of(
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
    holding = [doubt for doubt in doubts if doubt.kind in HOLD_DOWN]
    if holding:
        ceilings.append(Decision.CONDITIONAL)
        remarks += [doubt.text for doubt in holding]
    remarks += [doubt.text for doubt in doubts if doubt.kind == NOT_CONFIRMED.code]
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
    elif any(correction is None for correction in stretch.readings.corrections):
        remarks.append("uncorrected at some locations; their uncertainty is what the plan states")
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
        or any(
            item.figure == "high_excess"
            for item in (*plan.requirements, *court.stretch.found.hold.requirements)
        )
    ):
        return None
    shown = difference_from_c(excess, plan.units)
    asked = (*plan.requirements, *court.stretch.found.hold.requirements)
    judges = "which no requirement judges"
    if any(item.figure == "overshoot" for item in asked):
        judges = "which only the overshoot's own limit judges"
    return (
        f"the limits are judged in the window; over the whole hold a reading lies {shown:.2f} "
        f"{plan.units.value} above the upper limit (high excess), {judges}"
    )


def _uncertainty_known(stretch: Stretch) -> bool:
    return all(
        (correction is not None and correction.coverage_factor is not None)
        or any(
            item.source == Source.CALIBRATION
            for item in stretch.uncertainty.of_location(place.name, place.sensor_type)
        )
        for place, correction in zip(stretch.assigned.places, stretch.readings.corrections, strict=True)
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
