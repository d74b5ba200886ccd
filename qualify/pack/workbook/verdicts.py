"""The sheet of verdicts with everything that stands beside them, and of the conditions of the survey."""

from __future__ import annotations

from qualify.evidence import Evaluation
from qualify.pack.workbook.book import Book

NAME = "Verdicts"
WIDTHS = (34, 14, 16, 100)


def write_verdicts(book: Book, evaluation: Evaluation) -> None:
    """Write the sheet: the front page shows the first remarks only, this one all."""
    record = evaluation.record
    sheet = book.sheet(NAME, WIDTHS)
    sheet.title("Verdicts, remarks, conditions")
    sheet.note(
        "A verdict is the worst of its requirements; a remark may make a pass conditional, and says so."
    )
    sheet.next()
    sheet.header(["Survey", "Stage", "VERDICT", "Remark"], frozen_columns=1)
    judged = [
        (survey.name, survey.stage, survey.verdict, survey.remarks or ("no remark",))
        for survey in record.surveys
    ]
    for stage in record.stages:
        remarks = stage.remarks or ("no remark; what it holds stands on the sheet Stages",)
        judged.append(("the whole stage", stage.stage, stage.verdict, remarks))
    for name, stage_name, verdict, remarks in judged:
        for number, remark in enumerate(remarks):
            words = (name, stage_name, str(verdict).upper()) if number == 0 else ("", "", "")
            for column, word in enumerate(words):
                sheet.text(column, word, "strong wrapped")
            sheet.text(3, remark)
            sheet.next()
    sheet.text(0, "OVERALL", "strong wrapped")
    sheet.text(2, str(record.verdict).upper(), "strong wrapped")
    sheet.text(3, "the worst of the above")
    sheet.next(2)
    sheet.section("Conditions, in the plan's words")
    for name, condition in (record.conditions or {"conditions": "not stated"}).items():
        sheet.text(0, name.replace("_", " "), "strong wrapped")
        sheet.text(3, condition)
        sheet.next()
    sheet.fit()
