"""What people wrote down for a stage: record sheets, as a test of the stage each."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from qualify.figures.absent import Absent
from qualify.record import Decision, RequirementRecord, StageTestRecord
from qualify.record_sheets.items import RecordItem, RecordSheet
from qualify.record_sheets.judging import ItemJudged, judge_items


def judge_sheet(sheet: RecordSheet, stage: str, on: date, *, accept_overdue: bool) -> StageTestRecord:
    """Judge a record sheet's items.

    Parameters
    ----------
    sheet
        The sheet as it was read.
    stage
        The stage whose plan names it; an item may name another one.
    on
        The day on which it is judged: that of the pack.
    accept_overdue
        Whether an instrument past its date leaves its item conditional.
    """
    judged = judge_items(sheet.items, on, accept_overdue=accept_overdue)
    items = [item.item for item in judged]
    return StageTestRecord(
        name=f"record sheet {sheet.file.name}",
        kind="record sheet",
        stage=stage,
        place=_place(items),
        simulated=any(item.simulated is True for item in items),
        owed=tuple(owed for item in items for owed in _owed(item)),
        verdict=Decision.worst([item.decision for item in judged]),
        requirements=tuple(_requirement(item) for item in judged),
        figures={
            "items": len(judged),
            "open": sum(item.open for item in judged),
            "departures": [item.departure for item in judged if item.departure],
        },
        notes=tuple(doubt.text for doubt in sheet.doubts),
    )


def _place(items: Sequence[RecordItem]) -> str:
    places = {item.place for item in items if item.place}
    return places.pop() if len(places) == 1 else ", ".join(sorted(places))


def _owed(item: RecordItem) -> list[str]:
    found = []
    if item.simulated:
        found.append(f"{item.id}: {item.item}: to be repeated with the real thing, not a simulated signal")
    if item.place == "factory":
        found.append(f"{item.id}: {item.item}: shown before dispatch, to be repeated where the oven stands")
    return found


def _requirement(judged: ItemJudged) -> RequirementRecord:
    item = judged.item
    value = item.value_in_unit
    text = f"{item.item}: {item.requirement}" if item.requirement else item.item
    if item.expected:
        text += f" (expected: {item.expected})"
    return RequirementRecord(
        id=item.id,
        text=text,
        figure="recorded",
        value=Absent(f"found: {item.found or 'nothing'}") if value is None else value,
        unit=str(item.unit) or "1",
        limit_low=item.low,
        limit_high=item.high,
        margin=judged.margin,
        acceptance="simple",
        guard_band=None,
        decision=judged.decision,
        location=None,
        time=None if item.when is None else item.when.text,
        time_s=None,
        decided_by=item.by or None,
        note=judged.note,
        citation=f"{item.file}, row {item.row}",
        standing="",
    )
