"""The sheet of a stage's tests, a block each: circumstances, cautions, what was asked, what was found."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from qualify.evidence import Evaluation
from qualify.figures.absent import Absent, Maybe, present
from qualify.pack.cautions_beside import cautions_beside
from qualify.pack.workbook.asked import in_fahrenheit, style_for, unit_of, write_margin
from qualify.pack.workbook.book import Book, Sheet
from qualify.pack.workbook.challenge_lines import challenge_lines
from qualify.pack.workbook.figure_rows import HALF, HIGH, LOW, MARGIN, UNIT, VALUE, Line
from qualify.pack.workbook.process_lines import cooling_lines, loop_lines, program_lines, purge_lines
from qualify.pack.workbook.stage_records import KIND as RECORD_SHEET
from qualify.pack.workbook.test_readings import TestCells, TestReadingsLayout
from qualify.record import RequirementRecord, StageTestRecord
from qualify.units import TemperatureUnit, parse_unit

NAME = "Operation tests"
HEADERS = (
    "What",
    "Asked, or what it means",
    "Value (unit beside)",
    "± half-width, or guard band (unit beside)",
    "Lower limit, or lower end (unit beside)",
    "Upper limit, or upper end (unit beside)",
    "Margin (unit beside)",
    "Unit",
    "DECISION",
    "When",
    "Note",
)
WIDTHS = (36, 44, 14, 14, 14, 14, 13, 16, 14, 19, 56)
_FAHRENHEIT = (
    "Value (°F, for °C)",
    "± half-width, or guard band (°F, for °C)",
    "Lower limit, or lower end (°F, for °C)",
    "Upper limit, or upper end (°F, for °C)",
)
_WHAT, _ASKED, _DECISION, _WHEN, _NOTE = 0, 1, 8, 9, 10
NOTES = (
    "Asked: value, guard band, limits, margin and decision of each requirement. Found: the figures of the "
    "test, with ± U (k = 2) or the two ends between which they lie. What is set out as a formula is live, "
    "down to the readings on the sheet Test readings; the rest is the engine's, re-performed by "
    "`qualify verify`.",
    "A trip point lies between two readings, a delay between a least and a most. A recording too coarse to "
    "tell whether a time was kept could not show it: not shown, never met.",
)
_LINES: Mapping[str, Callable[[Mapping[str, Any], TestCells | None], list[Line]]] = {
    "challenge": challenge_lines,
    "purge": purge_lines,
    "cool-down": cooling_lines,
    "loop check": loop_lines,
    "program": program_lines,
}


def write_operation_tests(book: Book, evaluation: Evaluation, readings: TestReadingsLayout) -> None:
    """Write the sheet, where a stage holds tests besides surveys and record sheets."""
    record = evaluation.record
    tests = [test for stage in record.stages for test in stage.tests if test.kind != RECORD_SHEET]
    if not tests:
        return
    fahrenheit = parse_unit(record.units) is TemperatureUnit.F
    sheet = book.sheet(NAME, (*WIDTHS, *((14,) * 4 if fahrenheit else ())))
    sheet.title("Tests of the operation")
    for note in NOTES:
        sheet.note(note, 150)
    sheet.next()
    sheet.header([*HEADERS, *(_FAHRENHEIT if fahrenheit else ())], frozen_columns=1)
    for test in tests:
        _Block(sheet, test, readings.cells(test.name), fahrenheit=fahrenheit).write(record.cautions)
    sheet.fit()


def lines_of_test(test: StageTestRecord, cells: TestCells | None) -> list[Line]:
    """The rows of a test's figures; none of a kind that has none."""
    make = _LINES.get(test.kind.partition(":")[0])
    return [] if make is None else make(test.figures, cells)


class _Block:
    """Writes one test."""

    def __init__(
        self, sheet: Sheet, test: StageTestRecord, cells: TestCells | None, *, fahrenheit: bool
    ) -> None:
        self.sheet, self.test, self.cells, self.fahrenheit = sheet, test, cells, fahrenheit

    def write(self, cautions: tuple[str, ...]) -> None:
        """Heading, cautions, circumstances, what was asked, what was found, notes."""
        sheet, test = self.sheet, self.test
        sheet.section(f"{test.name} · {test.kind}")
        for caution in cautions_beside(test.kind, cautions):
            self._words("CAUTION", caution)
        self._words("Verdict", str(test.verdict).upper(), "strong")
        signal = "with a simulated signal" if test.simulated else "with the real sensor and signal"
        self._words("Circumstances", f"{test.place or 'place not stated'}; {signal}")
        for owed in test.owed:
            self._words("Still owed", owed)
        self._subtitle("Asked")
        for item in test.requirements:
            self._requirement(item)
        lines = lines_of_test(test, self.cells)
        if lines:
            self._subtitle("Found")
        for line in lines:
            self._line(line)
        said = {line.note for line in lines} | {f"{line.what}: {line.note}" for line in lines}
        for note in test.notes:
            if note not in said:
                self._words("Note", note)
        sheet.next()

    def _words(self, word: str, text: str, style: str = "line") -> None:
        self.sheet.text(_WHAT, word, "strong wrapped")
        self.sheet.text(_ASKED, text, style)
        self.sheet.next()

    def _subtitle(self, word: str) -> None:
        self.sheet.text(_WHAT, word, "subtitle")
        for column in range(1, len(self.sheet.widths)):
            self.sheet.text(column, "", "subtitle")
        self.sheet.next()

    def _requirement(self, item: RequirementRecord) -> None:
        sheet = self.sheet
        sheet.text(_WHAT, item.id, "strong wrapped")
        sheet.text(_ASKED, item.text)
        asked = item.limit_low is not None or item.limit_high is not None
        unit = unit_of(item)
        if isinstance(item.value, Absent):
            # what is only seen, or done or not, has no number to be absent
            if asked:
                sheet.text(VALUE, "absent", "word for number")
        else:
            sheet.number(VALUE, item.value, style_for(item.value))
        for column, value in ((HALF, item.guard_band), (LOW, item.limit_low), (HIGH, item.limit_high)):
            if value is not None:
                sheet.number(column, value, style_for(value))
            elif asked:
                sheet.text(column, "none", "word for number")
        if asked:
            write_margin(sheet, item, MARGIN, VALUE, LOW, HIGH)
        sheet.text(UNIT, unit)
        sheet.text(_DECISION, str(item.decision).upper(), "strong wrapped")
        seconds = f"{item.time_s:.6g} s" if item.time_s is not None else ""
        sheet.text(_WHEN, ", ".join(part for part in (item.time or "", seconds) if part))
        note = item.note
        if isinstance(item.value, Absent) and asked and item.value.reason not in note:
            note = "; ".join(part for part in (note, f"absent: {item.value.reason}") if part)
        sheet.text(_NOTE, note)
        self._fahrenheit(unit, item.value, item.guard_band, item.limit_low, item.limit_high)
        sheet.next()

    def _line(self, line: Line) -> None:
        sheet = self.sheet
        row = sheet.excel_row
        sheet.text(_WHAT, line.what)
        sheet.text(_ASKED, line.how)
        for column, value, formula in (
            (VALUE, line.value, line.formula),
            (HALF, line.half, line.half_formula),
            (LOW, line.low, line.low_formula),
            (HIGH, line.high, line.high_formula),
        ):
            style = style_for(value) if value is not None and present(value) else "seconds"
            if formula is not None and value is not None and present(value):
                sheet.formula(column, formula(row), value, style)
            elif line.chance:
                sheet.probability(column, value)
            else:
                sheet.maybe(column, value, style)
        sheet.text(UNIT, line.unit)
        sheet.text(_NOTE, line.reasons)
        self._fahrenheit(line.unit, line.value, line.half, line.low, line.high)
        sheet.next()

    def _fahrenheit(self, unit: str, *values: Maybe | None) -> None:
        """Value, half-width and ends in °F; a half-width and a guard band are differences."""
        if not self.fahrenheit:
            return
        for index, (source, value) in enumerate(zip((VALUE, HALF, LOW, HIGH), values, strict=True)):
            known = value if value is not None and present(value) else None
            own = f"{unit} of difference" if source == HALF and unit.startswith("°C") else unit
            in_fahrenheit(self.sheet, len(WIDTHS) + index, source, known, own)
