"""The sheet of items for a person's disposition."""

from __future__ import annotations

from qualify.evidence import Evaluation
from qualify.pack.workbook.book import Book

NAME = "Dispositions"
HEADERS = (
    "No.",
    "Item",
    "Kind",
    "Survey",
    "Requirement",
    "What was found",
    "Cause",
    "Action",
    "By",
    "Date",
    "Closed",
)
WIDTHS = (5, 11, 15, 20, 16, 50, 30, 30, 14, 12, 12)


def write_dispositions(book: Book, evaluation: Evaluation) -> None:
    """Write the sheet: nonconformities and departures, with blank columns for what a person decides."""
    sheet = book.sheet(NAME, WIDTHS)
    sheet.title("Items to disposition")
    sheet.note(
        "Nonconformity: a requirement not met. Departure: the plan was not followed. A person fills in "
        "the last five columns."
    )
    sheet.next()
    sheet.header(HEADERS, frozen_columns=2)
    for number, item in enumerate(evaluation.record.deviations, start=1):
        sheet.number(0, number, "count")
        words = (item.id, item.kind, item.survey, item.requirement or "", item.text)
        for column, word in enumerate(words, start=1):
            sheet.text(column, word)
        for column in range(6, len(HEADERS)):
            sheet.text(column, "", "blank")
        sheet.at_least(4)  # room to write by hand
        sheet.next()
    if not evaluation.record.deviations:
        sheet.text(
            1,
            "No item: no requirement failed or stayed unshown, and no departure was found. What is "
            "conditional stands on the sheet Verdicts.",
            "line",
        )
        sheet.next()
    sheet.fit()
