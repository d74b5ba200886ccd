"""The sheet of what would change the margin: what to improve first."""

from __future__ import annotations

from qualify.evidence import Evaluation
from qualify.figures.absent import Absent, Maybe
from qualify.pack.chances import probability_words
from qualify.pack.workbook.book import Book, Sheet
from qualify.record import WhatIfRecord

NAME = "What if"
WIDTHS = (24, 46, 16, 15, 15, 18, 18, 14, 19, 56)
HEADERS = (
    "Survey",
    "What is changed, all else as measured",
    "Location that decides",
    "Margin (°C of difference)",
    "Guard band w (°C of difference)",
    "Margin after w, live (°C of difference)",
    "Gained over as measured, live (°C of difference)",
    "It would be",
    "Probability that all watched locations conform (1)",
    "Remark",
)
_CHANGE, _LOCATION, _MARGIN, _GUARD, _GUARDED, _GAINED, _DECISION, _PROBABILITY, _REMARK = range(1, 10)
NOTES = (
    "The hold as it was measured, with one thing changed at a time: what is worth improving first. It "
    "decides nothing. Margin: distance to the nearer limit of the location that then decides, positive "
    "inside; both limits of the hold are asked together, whichever requirements the plan has.",
    "Of the sources of uncertainty those are halved that weigh most at the deciding location, the largest "
    "first. A gain of 0 says that the money is better spent elsewhere. Rows about more locations or a longer "
    "window are estimates, which measuring them may contradict.",
)


def has_statistics(evaluation: Evaluation) -> bool:
    """Whether statistics were asked for: of a survey without a plan they are not."""
    return not evaluation.record.plan.from_options


def write_what_if(book: Book, evaluation: Evaluation) -> None:
    """Write the sheet, where there is a plan."""
    if not has_statistics(evaluation):
        return
    sheet = book.sheet(NAME, WIDTHS)
    sheet.title("What would change the margin")
    for note in NOTES:
        sheet.note(note, 170, 1)
    sheet.next()
    sheet.header(HEADERS, frozen_columns=2)
    for survey in evaluation.record.surveys:
        sheet.section(survey.name)
        found = survey.statistics
        rows = found if isinstance(found, Absent) else found.what_if
        if isinstance(rows, Absent):
            sheet.text(0, survey.name)
            sheet.text(1, f"not known: {rows.reason}", "line")
            sheet.next()
            continue
        measured = sheet.excel_row
        for number, row in enumerate(rows):
            _write(sheet, survey.name, row, rows[0], measured, first=number == 0)
    sheet.fit()


def _write(
    sheet: Sheet, survey: str, row: WhatIfRecord, measured: WhatIfRecord, first_row: int, *, first: bool
) -> None:
    style = "strong wrapped" if first else "text"
    here = sheet.excel_row
    sheet.text(0, survey, style)
    sheet.text(_CHANGE, row.change, style)
    sheet.text(_LOCATION, row.location)
    sheet.number(_MARGIN, row.margin_c, "temperature")
    sheet.number(_GUARD, row.guard_band_c, "temperature")
    sheet.formula(_GUARDED, f"D{here}-E{here}", row.guarded_margin_c, "temperature")
    if not first:
        gained = row.guarded_margin_c - measured.guarded_margin_c
        sheet.formula(_GAINED, f"F{here}-F{first_row}", gained, "temperature")
    sheet.text(_DECISION, str(row.decision), style)
    write_probability(sheet, _PROBABILITY, row.conformance_probability, "not simulated")
    remarks = [row.remark]
    if isinstance(row.conformance_probability, Absent) and not row.remark:
        remarks.append(f"probability: {row.conformance_probability.reason}")
    sheet.text(_REMARK, "; ".join(part for part in remarks if part))
    sheet.next()


def write_probability(sheet: Sheet, column: int, value: Maybe, absent: str = "absent") -> None:
    """Write a probability as words near its ends, so that no cell says 0 or 1."""
    if isinstance(value, Absent):
        sheet.text(column, absent, "word for number")
        return
    words = probability_words(value)
    if words[0].isdigit():
        sheet.probability(column, value)
    else:
        sheet.text(column, words, "word for number")
