"""The sheet of replicate runs: what they say of runs to come."""

from __future__ import annotations

from qualify.evidence import Evaluation
from qualify.figures.absent import Absent, Maybe
from qualify.pack.run_words import counted, group_title
from qualify.pack.workbook.book import Book, Sheet
from qualify.pack.workbook.cells import agrees, span
from qualify.pack.workbook.figures import FiguresLayout
from qualify.pack.workbook.run_lines import PER_RUN, RUNS, SQUARE, Line, lines_of_group
from qualify.pack.workbook.run_tables import RunTable, write_run_table
from qualify.pack.workbook.what_if import write_probability
from qualify.pack.workbook.words import DIFFERENCE, NUMBER

NAME = "Runs"
WIDTHS = (60, 15, 17, 9, 18, 18, 18, 32, 70)
HEADERS = (
    "What",
    "Live formula (unit beside)",
    "Engine's value (unit beside)",
    "Check",
    "Lower end (unit beside)",
    "Upper end (unit beside)",
    "Unit",
    "It says",
    "How, and what to know of it",
)
_LIVE, _ENGINE, _CHECK, _LOW, _HIGH, _UNIT, _SAYS, _REMARK = range(1, 9)
_STYLES = {
    DIFFERENCE: "temperature",
    PER_RUN: "fine",
    SQUARE: "finest",
    NUMBER: "temperature",
    RUNS: "count",
}
HEADER_ROW = 5
NOTES = (
    "The sample is the run. A hundred readings or twelve locations of one run say nothing of the next run: "
    "every n below is a number of runs. Runs of one stage, set point and limits stand together; their "
    "figures are on the sheets Run table.",
)


class RunsLayout:
    """The tables and lines of every group of replicate runs."""

    def __init__(self, evaluation: Evaluation, figures: list[FiguresLayout]) -> None:
        record = evaluation.record
        self.tables = [RunTable(record, number, figures) for number in range(len(record.replicates))]
        self.parts = [lines_of_group(table) for table in self.tables]

    @property
    def _last_row(self) -> int:
        """Last row of the sheet."""
        return HEADER_ROW + sum(1 + sum(1 + len(lines) for _, lines in parts) for parts in self.parts)

    @property
    def live(self) -> int:
        """How many values are re-performed on the sheets of runs."""
        lines = (line for parts in self.parts for _, lines in parts for line in lines)
        return sum(line.live for line in lines) + sum(table.live for table in self.tables)

    @property
    def checks(self) -> tuple[str, ...]:
        """The cells that say "agrees" or "differs"."""
        if not self.tables:
            return ()
        own = span(NAME, _CHECK, HEADER_ROW + 1, self._last_row)
        return (own, *(table.checks for table in self.tables))


def write_runs(book: Book, layout: RunsLayout) -> None:
    """Write the sheet of all groups, and the table of each; nothing without replicate runs."""
    if not layout.tables:
        return
    sheet = book.sheet(NAME, WIDTHS)
    sheet.title("Replicate runs: what they say of runs to come")
    for note in NOTES:
        sheet.note(note, 150)
    sheet.next(HEADER_ROW - sheet.excel_row)
    sheet.header(HEADERS, frozen_columns=1)
    for table, parts in zip(layout.tables, layout.parts, strict=True):
        sheet.text(0, f"{group_title(table.group)}: {counted(table.group)}", "subtitle")
        for column in range(1, len(WIDTHS)):
            sheet.text(column, table.name if column == _REMARK else "", "subtitle")
        sheet.next()
        for heading, lines in parts:
            sheet.section(heading)
            for line in lines:
                _write(sheet, line)
    sheet.fit()
    for table in layout.tables:
        write_run_table(book, table)


def _write(sheet: Sheet, line: Line) -> None:
    row = sheet.excel_row
    sheet.text(0, line.what, "strong wrapped" if line.strong else "text")
    style = _STYLES.get(line.unit, "temperature")
    if line.value is None:
        pass
    elif isinstance(line.value, Absent):
        sheet.text(_LIVE, "absent", "word for number")
        sheet.text(_ENGINE, "absent", "word for number")
    else:
        if line.formula is None:
            sheet.text(_LIVE, "engine only", "word for number")
        else:
            sheet.formula(_LIVE, line.formula, line.value, style)
            sheet.formula(_CHECK, agrees(f"B{row}", f"C{row}"), "agrees", "word, set in")
        _number(sheet, _ENGINE, line.value, style, chance=line.chance)
    for column, value in ((_LOW, line.low), (_HIGH, line.high)):
        if value is not None:
            _number(sheet, column, value, style, chance=line.chance)
    sheet.text(_UNIT, line.unit)
    if line.says_formula:
        sheet.formula(_SAYS, line.says_formula, line.says, "word, set in")
    else:
        sheet.text(_SAYS, line.says)
    sheet.text(_REMARK, line.remark)
    sheet.next()


def _number(sheet: Sheet, column: int, value: Maybe, style: str, *, chance: bool) -> None:
    if chance:
        write_probability(sheet, column, value)
    else:
        sheet.maybe(column, value, style)
