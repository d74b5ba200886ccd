"""The sheets of what people wrote down for a stage: each item of its record sheets, and its decision."""

from __future__ import annotations

from qualify.evidence import Evaluation
from qualify.figures.absent import Absent
from qualify.pack.stage_words import counted
from qualify.pack.workbook.asked import style_for, write_margin
from qualify.pack.workbook.book import Book, Sheet
from qualify.record import RequirementRecord, StageTestRecord

KIND = "record sheet"
HEADERS = (
    "Id",
    "Item: requirement",
    "Lower limit (unit beside)",
    "Upper limit (unit beside)",
    "Found (unit beside)",
    "Unit",
    "Margin (unit beside)",
    "DECISION",
    "Note",
    "By",
    "When",
    "Sheet and row",
)
WIDTHS = (11, 54, 13, 13, 16, 12, 13, 15, 46, 16, 19, 24)
_ID, _ITEM, _LOW, _HIGH, _FOUND, _UNIT, _MARGIN, _DECISION, _NOTE, _BY, _WHEN, _ROW = range(12)
NOTES = (
    "Items as they were written down, in the unit of the limits. An item that is blank, or that lacks who "
    "found it and when, is open: not shown, never a pass. The sheets themselves lie in the folder inputs.",
)


def write_stage_records(book: Book, evaluation: Evaluation) -> None:
    """Write a sheet for each stage that has record sheets."""
    for stage in evaluation.record.stages:
        tests = [test for test in stage.tests if test.kind == KIND]
        if not tests:
            continue
        name = stage.stage.capitalize()
        sheet = book.sheet(name if stage.stage == "installation" else f"{name} records", WIDTHS)
        sheet.title(f"What was written down: {stage.stage}")
        for note in NOTES:
            sheet.note(note)
        sheet.next()
        sheet.header(HEADERS, frozen_columns=2)
        for test in tests:
            _write_sheet(sheet, test)
        sheet.fit()


def _write_sheet(sheet: Sheet, test: StageTestRecord) -> None:
    sheet.section(test.name)
    done = test.place or "place not stated"
    told = f"{str(test.verdict).upper()} · {counted(len(test.requirements), 'item')} · {done}"
    if "open" in test.figures:
        told += f" · {test.figures['open']} open"
    if test.simulated:
        told += " · some shown with simulated signals"
    _line(sheet, "Verdict", told, "strong")
    for item in test.requirements:
        _write_item(sheet, item)
    for word, lines in (
        ("Departure", test.figures.get("departures", ())),
        ("Doubt", test.notes),
        ("Still owed", test.owed),
    ):
        for line in lines:
            _line(sheet, word, str(line))
    sheet.next()


def _line(sheet: Sheet, word: str, text: str, style: str = "line") -> None:
    sheet.text(_ID, word, "strong wrapped")
    sheet.text(_ITEM, text, style)
    sheet.next()


def _write_item(sheet: Sheet, item: RequirementRecord) -> None:
    sheet.text(_ID, item.id, "strong wrapped")
    sheet.text(_ITEM, item.text)
    for column, limit in ((_LOW, item.limit_low), (_HIGH, item.limit_high)):
        if limit is None:
            sheet.text(column, "none", "word for number")
        else:
            sheet.number(column, limit, style_for(limit))
    if isinstance(item.value, Absent):
        sheet.text(_FOUND, item.value.reason.removeprefix("found: "), "text")
    else:
        sheet.number(_FOUND, item.value, style_for(item.value))
    sheet.text(_UNIT, _unit(item))
    write_margin(sheet, item, _MARGIN, _FOUND, _LOW, _HIGH)
    sheet.text(_DECISION, str(item.decision).upper(), "strong wrapped")
    sheet.text(_NOTE, item.note)
    sheet.text(_BY, item.decided_by or "")
    sheet.text(_WHEN, item.time or "")
    sheet.text(_ROW, item.citation)
    sheet.next()


def _unit(item: RequirementRecord) -> str:
    """The unit of found value and limits; the record keeps none where no number was found."""
    if not isinstance(item.value, Absent):
        return "" if item.unit == "1" else item.unit
    return "as on the sheet" if item.limit_low is not None or item.limit_high is not None else ""
