"""The sheet of items for a person's disposition."""

from __future__ import annotations

from qualify.evidence import Evaluation
from qualify.pack.workbook.book import Book, Sheet
from qualify.record import DispositionRecord

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
_FIRST = 6
"""First of the columns that a person fills in."""
READ_BACK = (
    "What a person wrote about an item was read back from a file of the plan; it changes no figure and no "
    "decision."
)


def write_dispositions(book: Book, evaluation: Evaluation) -> None:
    """Write the sheet: nonconformities and departures, beside them what a person decided, or blanks."""
    record = evaluation.record
    decided = {item.id: item for item in record.dispositions}
    remarked = any(item.remark for item in record.dispositions)
    headers = [*HEADERS, *(["Remark"] if remarked else [])]
    if record.stages:
        headers[headers.index("Survey")] = "Survey or test"
    sheet = book.sheet(NAME, (*WIDTHS, *((28,) if remarked else ())))
    sheet.title("Items to disposition")
    sheet.note(
        "Nonconformity: a requirement not met. Departure: the plan was not followed. A person fills in "
        "the last five columns."
    )
    if decided:
        sheet.note(READ_BACK)
    sheet.next()
    sheet.header(headers, frozen_columns=2)
    for number, item in enumerate(record.deviations, start=1):
        sheet.number(0, number, "count")
        words = (item.id, item.kind, item.survey, item.requirement or "", item.text)
        for column, word in enumerate(words, start=1):
            sheet.text(column, word)
        _write_decided(sheet, decided.get(item.id), len(headers))
        sheet.at_least(4)  # room to write by hand
        sheet.next()
    if not record.deviations:
        sheet.text(
            1,
            "No item: no requirement failed or stayed unshown, and no departure was found. What is "
            "conditional stands on the sheet Verdicts.",
            "line",
        )
        sheet.next()
    sheet.fit()


def _write_decided(sheet: Sheet, found: DispositionRecord | None, columns: int) -> None:
    """Write what a person decided; what is not said stays blank, to be filled in by hand."""
    words: tuple[str, ...] = ()
    if found is not None:
        closed = "yes" if found.closed else "no"
        words = (found.cause, found.action, found.by, found.date or "", closed, found.remark)
    for column in range(_FIRST, columns):
        place = column - _FIRST
        sheet.text(column, words[place] if place < len(words) else "", "blank")
