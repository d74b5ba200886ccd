"""The sheet of the stages: their verdicts, surveys and tests, what is open, owed, accepted, not restored."""

from __future__ import annotations

from qualify.evidence import Evaluation
from qualify.pack.stage_words import DO_NOT_USE, counted, left_in_place, tally
from qualify.pack.workbook.book import Book, Sheet
from qualify.record import Record, StageRecord, StageTestRecord

NAME = "Stages"
HEADERS = ("Stage", "What", "Kind", "VERDICT", "Where done", "Simulated", "Words", "By whom", "Until")
WIDTHS = (15, 44, 25, 15, 12, 12, 66, 16, 12)
_STAGE, _WHAT, _KIND, _VERDICT, _WHERE, _SIMULATED, _WORDS, _WHO, _UNTIL = range(9)
NOT_RESTORED = "NOT RESTORED"
NOTE = (
    "A stage's verdict is the worst of its surveys and tests. A stage that starts while the former has open "
    "items is at most conditional, unless the plan names who accepted that. What was shown with a simulated "
    "signal or before dispatch is still owed where the plan or the sheet says so. Who does what is open or "
    "owed, and until when, is written by hand into the last two columns."
)


def write_stages(book: Book, evaluation: Evaluation) -> None:
    """Write the sheet, where the plan holds more than surveys."""
    record = evaluation.record
    if not record.stages:
        return
    sheet = book.sheet(NAME, WIDTHS)
    if left_in_place(record):
        sheet.title(DO_NOT_USE)
        for stage in record.stages:
            for line in stage.not_restored:
                _row(sheet, stage.stage, line, NOT_RESTORED, strong=True, to_do=True)
        sheet.next()
    sheet.title("Stages")
    sheet.note(NOTE)
    sheet.next()
    sheet.header(HEADERS, frozen_columns=2)
    for index, stage in enumerate(record.stages):
        following = record.stages[index + 1] if index + 1 < len(record.stages) else None
        _stage(sheet, record, stage, following)
    sheet.text(_STAGE, "OVERALL", "strong wrapped")
    sheet.text(_VERDICT, str(record.verdict).upper(), "strong wrapped")
    sheet.text(_WORDS, "the worst of the stages and surveys")
    sheet.next()
    sheet.fit()


def _row(
    sheet: Sheet,
    stage: str,
    what: str,
    kind: str,
    verdict: str = "",
    where: str = "",
    simulated: str = "",
    words: str = "",
    *,
    strong: bool = False,
    to_do: bool = False,
) -> None:
    style = "strong wrapped" if strong else "text"
    sheet.text(_STAGE, stage, style)
    sheet.text(_WHAT, what, style)
    sheet.text(_KIND, kind, style)
    sheet.text(_VERDICT, verdict.upper(), "strong wrapped")
    sheet.text(_WHERE, where)
    sheet.text(_SIMULATED, simulated)
    sheet.text(_WORDS, words)
    if to_do:
        for column in (_WHO, _UNTIL):
            sheet.text(column, "", "blank")
    sheet.next()


def _stage(sheet: Sheet, record: Record, stage: StageRecord, following: StageRecord | None) -> None:
    name = stage.stage
    sheet.section(f"Stage {name}")
    for line in stage.not_restored:
        _row(sheet, name, line, NOT_RESTORED, strong=True, to_do=True)
    remarks = stage.remarks or ("no remark",)
    _row(sheet, name, "the whole stage", "stage", str(stage.verdict), words="; ".join(remarks), strong=True)
    for survey in record.surveys:
        if survey.stage == name and survey.name in stage.surveys:
            _row(
                sheet, name, survey.name, "survey", str(survey.verdict), words="sheets Verdicts, Requirements"
            )
    for test in stage.tests:
        _test(sheet, name, test)
    for kind, lines in (("open item", stage.open_items), ("still owed", stage.owed)):
        for line in lines:
            _row(sheet, name, line, kind, to_do=True)
    if stage.open_items and (following is not None or stage.proceeds_by):
        _proceeds(sheet, stage, following)
    sheet.next()


def _test(sheet: Sheet, stage: str, test: StageTestRecord) -> None:
    decided = tally(str(item.decision) for item in test.requirements)
    words = [f"{counted(len(test.requirements), 'requirement')}: {decided}"]
    if test.owed:
        words.append(f"{len(test.owed)} still owed")
    _row(
        sheet,
        stage,
        test.name,
        test.kind,
        str(test.verdict),
        test.place or "not stated",
        "yes" if test.simulated else "no",
        "; ".join(words),
    )


def _proceeds(sheet: Sheet, stage: StageRecord, following: StageRecord | None) -> None:
    """Say who accepted that the next stage starts with open items."""
    next_stage = f"stage {following.stage}" if following is not None else "next stage"
    _row(
        sheet,
        stage.stage,
        f"that the {next_stage} starts with {counted(len(stage.open_items), 'open item')}",
        "accepted by",
        words=stage.proceeds_by or "nobody is named in the plan",
        strong=not stage.proceeds_by,
    )
