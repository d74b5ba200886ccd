"""The stages as a whole: their surveys and tests, what is open, owed or not restored, and their order."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from qualify.plan.model import Plan, Stage
from qualify.plan.stage_tests import StageChoice
from qualify.record import Decision, DeviationRecord, StageRecord, StageTestRecord, SurveyRecord
from qualify.record_sheets.restored import OpenLine

NOT_RESTORED = "do not use: what was changed for a test is not recorded as restored"


def stage_records(
    plan: Plan,
    surveys: Sequence[SurveyRecord],
    tests: Sequence[StageTestRecord],
    not_restored: Sequence[OpenLine],
) -> tuple[StageRecord, ...]:
    """Put the stages together, in their order.

    A plan that holds surveys only has no stage records: its surveys stand for themselves.

    Parameters
    ----------
    plan
        The plan.
    surveys, tests
        Every hold, and every test besides.
    not_restored
        Planned changes that nobody recorded as put back; they make the operation stage fail.
    """
    if not tests and not not_restored:
        return ()
    found: list[StageRecord] = []
    for stage in Stage:
        choice = choice_of(plan, stage)
        own = [item for item in tests if item.stage == stage.value]
        holds = [item for item in surveys if item.stage == stage.value]
        lines = list(not_restored) if stage is Stage.OPERATION else []
        if not own and not holds and not lines:
            continue
        former = found[-1] if found else None
        found.append(_stage(stage, choice, holds, own, lines, former))
    return tuple(found)


def choice_of(plan: Plan, stage: Stage) -> StageChoice:
    """What the plan says of a stage besides its surveys and tests."""
    choices: Mapping[Stage, StageChoice] = {
        Stage.INSTALLATION: plan.installation,
        Stage.OPERATION: plan.operation,
        Stage.PERFORMANCE: plan.performance,
    }
    return choices[stage]


def _stage(
    stage: Stage,
    choice: StageChoice,
    surveys: Sequence[SurveyRecord],
    tests: Sequence[StageTestRecord],
    not_restored: Sequence[OpenLine],
    former: StageRecord | None,
) -> StageRecord:
    decisions = [*(item.verdict for item in surveys), *(item.verdict for item in tests)]
    if not_restored:
        decisions.append(Decision.FAIL)
    remarks: list[str] = []
    if not_restored:
        remarks.append(NOT_RESTORED)
    if former is not None and former.open_items:
        count = len(former.open_items)
        items = f"{count} open item{'s' * (count != 1)}"
        if former.proceeds_by:
            remarks.append(
                f"started while the stage {former.stage} has {items}; accepted by {former.proceeds_by}"
            )
        else:
            decisions.append(Decision.CONDITIONAL)
            remarks.append(
                f"started while the stage {former.stage} has {items}; the plan names nobody who accepted that"
            )
    return StageRecord(
        stage=stage.value,
        verdict=Decision.worst(decisions),
        surveys=tuple(item.name for item in surveys),
        tests=tuple(tests),
        open_items=(
            *(f"not restored: {line.changed}" for line in not_restored),
            *(f"{item.name}: {item.verdict}" for item in surveys if _open(item.verdict)),
            *(
                f"{test.name}: {item.id}: {item.decision}"
                for test in tests
                for item in test.requirements
                if _open(item.decision)
            ),
        ),
        owed=tuple(f"{test.name}: {owed}" for test in tests for owed in test.owed),
        not_restored=tuple(f"{line.changed}: {line.reason}" for line in not_restored),
        proceeds_by=choice.proceed,
        remarks=tuple(remarks),
    )


def _open(decision: Decision) -> bool:
    return decision in (Decision.FAIL, Decision.NOT_SHOWN)


def stage_deviations(stages: Sequence[StageRecord]) -> list[DeviationRecord]:
    """Nonconformities and departures of the stages' tests, for a person's disposition."""
    found: list[DeviationRecord] = []

    def add(test: str, kind: str, requirement: str | None, text: str) -> None:
        found.append(DeviationRecord(id="", survey=test, requirement=requirement, kind=kind, text=text))

    for stage in stages:
        for line in stage.not_restored:
            add(stage.stage, "nonconformity", None, f"not restored after a test: {line}")
        for test in stage.tests:
            for item in test.requirements:
                if _open(item.decision):
                    add(test.name, "nonconformity", item.id, f"{item.text}: {item.decision}; {item.note}")
            for departure in test.figures.get("departures", ()):
                add(test.name, "departure", None, str(departure))
    return found
