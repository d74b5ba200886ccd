"""The sheet of decision rules: what the plan's own and others say of each requirement's evidence."""

from __future__ import annotations

from qualify.evidence import Evaluation
from qualify.pack.workbook.book import Book, Sheet
from qualify.pack.workbook.words import DIFFERENCE
from qualify.record import OtherRule, RequirementRecord

NAME = "Other rules"
WIDTHS = (22, 22, 44, 18, 26, 15, 16, 16, 54)
HEADERS = (
    "Survey",
    "Requirement",
    "Decision rule",
    "It says",
    "Beside the decision",
    "Guard band w (unit beside)",
    "Unit",
    "Decided by",
    "What is asked",
)
NOTES = (
    "The verdict rests on the plan's own rule alone. Beside it stands what other rules would have said of "
    "the same evidence, so that a reader who works by another rule needs no second evaluation.",
    "Guard band w: tolerance limit − acceptance limit (ILAC-G8:09/2019, JCGM 106:2012). Simple acceptance: "
    "w = 0. The four zones part a conditional pass and a conditional fail. A requirement whose evidence has "
    "no known uncertainty is decided simply, and is not listed.",
)
SAME = {"conditional pass": "conditional", "conditional fail": "fail"}
"""Zones that say what a decision says with a word of their own."""


def write_other_rules(book: Book, evaluation: Evaluation) -> None:
    """Write the sheet."""
    sheet = book.sheet(NAME, WIDTHS)
    sheet.title("Other decision rules")
    for note in NOTES:
        sheet.note(note, 150, 1)
    sheet.next()
    sheet.header(HEADERS, frozen_columns=2)
    written = 0
    for survey in evaluation.record.surveys:
        for requirement in survey.requirements:
            for number, rule in enumerate(requirement.other_rules):
                _write(sheet, survey.name, requirement, rule, first=number == 0)
                written += 1
    if not written:
        sheet.text(0, "none: no requirement rests on evidence whose uncertainty is known", "line")
        sheet.next()
    sheet.fit()


def _write(
    sheet: Sheet, survey: str, requirement: RequirementRecord, rule: OtherRule, *, first: bool
) -> None:
    style = "strong wrapped" if rule.chosen else "text"
    sheet.text(0, survey)
    sheet.text(1, requirement.id, "strong wrapped" if first else "text")
    sheet.text(2, rule.rule, style)
    sheet.text(3, rule.says.upper() if rule.chosen else rule.says, style)
    sheet.text(4, beside(requirement, rule), style)
    if rule.guard_band is None:
        sheet.text(5, "none", "word for number")
    else:
        sheet.number(5, rule.guard_band, "fine" if requirement.unit == "°C" else "seconds")
    sheet.text(6, DIFFERENCE if requirement.unit == "°C" else requirement.unit)
    sheet.text(7, rule.location or "")
    sheet.text(8, requirement.text if first else "")
    sheet.next()


def beside(requirement: RequirementRecord, rule: OtherRule) -> str:
    """Word how a rule stands to the decision of the plan's own."""
    if rule.chosen:
        return "the plan's own rule"
    if SAME.get(rule.says, rule.says) == str(requirement.decision):
        return "the same"
    return f"differs from {requirement.decision}"
