"""A record sheet as rows of named cells, from CSV or .xlsx: no row is dropped, no header is guessed."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from qualify.findings import Refusal, RefusalKind, nearest
from qualify.inputs import InputFile
from qualify.readings.text import read_text
from qualify.record_sheets.workbook import SheetCell, WorkbookSheet, read_sheets

HEADER = RefusalKind(
    "record-sheet-header",
    what="the header row is not that of a {sheet}: {problem}",
    why="A column under another name would be left out, and with it a limit, a finding or a signature.",
    mend="write the header {header}.",
)
EMPTY = RefusalKind(
    "record-sheet-empty",
    what="{problem}",
    why="An empty {sheet} shows nothing, and a file that was emptied by accident looks the same.",
    mend="fill it in, or take it out of the plan.",
)
DAMAGED_TABLE = RefusalKind(
    "record-sheet-damaged",
    what="the rows can't be told apart: {problem}",
    why="A quotation mark that is never closed swallows the rows that follow.",
    mend="open the file in a text editor and close the quotation mark, or save the table again.",
)
MORE_CELLS = RefusalKind(
    "record-sheet-cells",
    what="the row has more cells than the header",
    why="A comma inside a cell without quotation marks moves every cell behind it into the wrong column.",
    mend="put quotation marks round the cell that holds the separator.",
)
MERGED = RefusalKind(
    "record-sheet-merged",
    what="cells {area} are merged",
    why="A merged area holds one value, and for which of its rows or columns can't be told.",
    mend="unmerge them and write the value into each cell that it belongs to.",
)
NOT_A_VALUE = RefusalKind(
    "record-sheet-no-value",
    what="the cell holds {trouble}",
    why="What the person meant can't be told from it, and nothing is guessed.",
    mend="write the value itself; a percentage as a plain number, with % as its unit.",
)
ENCODING_OPEN = RefusalKind(
    "record-sheet-encoding",
    what="the text's encoding can only be guessed (perhaps {encoding})",
    why="Names, units and signs such as µ and Ω hang on it.",
    mend="save the file as UTF-8 or .xlsx, or tell the sheet's encoding in the plan.",
)
SEVERAL_SHEETS = RefusalKind(
    "record-sheet-several",
    what="the sheets {names} of the workbook all have the header of a {sheet}",
    why="One may be an older copy of another.",
    mend="keep one of them in this file, and save the others as files of their own.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetColumns:
    """The columns of one kind of sheet.

    Attributes
    ----------
    sheet
        What the sheet is called in messages.
    required, optional
        Names of columns; case is free, and a blank may stand for the underscore.
    marks
        Columns that tell a sheet of this kind from the others of a workbook.
    """

    sheet: str
    required: tuple[str, ...]
    optional: tuple[str, ...] = ()
    marks: frozenset[str]

    @property
    def header(self) -> str:
        """The header row to copy."""
        return ",".join(self.required)


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetOptions:
    """What a person tells about a sheet.

    Attributes
    ----------
    decimal_mark
        "point" or "comma"; None where the numbers tell it themselves.
    dates
        "day-first", "month-first" or "year-first", for days that are not written as 2026-03-02.
    encoding
        The text's encoding, where it is neither told by the file nor UTF-8.
    """

    decimal_mark: str | None = None
    dates: str | None = None
    encoding: str | None = None


AS_WRITTEN = SheetOptions()


@dataclass(frozen=True, slots=True)
class SheetRow:
    """A row as written: its cells by column, which of them are stored numbers, and its place."""

    file: str
    number: int
    cells: Mapping[str, str]
    stored_numbers: frozenset[str] = frozenset()

    def __getitem__(self, column: str) -> str:
        return self.cells.get(column, "")

    def where(self, column: str = "") -> dict[str, Any]:
        """Place of a cell, or of the row, for a finding."""
        return {"file": self.file, "row": self.number, "column": column}


@dataclass(frozen=True, slots=True)
class SheetTable:
    """The rows of a sheet."""

    rows: tuple[SheetRow, ...]


Written = tuple[int, Sequence[SheetCell]]


def read_table(file: InputFile, columns: SheetColumns, options: SheetOptions = AS_WRITTEN) -> SheetTable:
    """Read a sheet of a known kind.

    Parameters
    ----------
    file
        CSV (comma, semicolon or tab), or an .xlsx workbook in which one sheet has this header.
    columns
        What the header may hold.
    options
        What was told.

    Raises
    ------
    Refusal
        If the file is empty or its encoding open, its header is another, a row has too many cells, or a
        cell of a workbook is merged, a formula without value, an error, or a number shown as a percentage.
    """
    if file.content.startswith(b"PK\x03\x04"):
        sheet = _chosen(file, columns, read_sheets(file))
        table = _below_header(file, columns, sheet.rows)
        _refuse_merged(file, sheet, table)
        return table
    text = read_text(file, options.encoding)
    if text.doubts:
        raise ENCODING_OPEN(file=file.name, encoding=text.codec)
    content = bytes(text.data[text.start :]).decode("utf-8")
    return _below_header(file, columns, _from_csv(file, content))


# ---- CSV ----


def _from_csv(file: InputFile, content: str) -> Sequence[Written]:
    lines = (
        line
        for line in content.splitlines()
        if line.strip(' ",;\t') and not line.lstrip(' "').startswith("#")
    )
    separator = max(",;\t", key=next(lines, "").count)
    reader = csv.reader(io.StringIO(content, newline=""), delimiter=separator, strict=True)
    written: list[Written] = []
    first = 1
    try:
        for cells in reader:
            written.append((first, [SheetCell(cell.strip()) for cell in cells]))
            first = reader.line_num + 1
    except csv.Error as error:
        raise DAMAGED_TABLE(file=file.name, row=first, problem=str(error)) from None
    return written


# ---- .xlsx ----


def _chosen(file: InputFile, columns: SheetColumns, sheets: Sequence[WorkbookSheet]) -> WorkbookSheet:
    """The one sheet with the header; where none has it, the first that is not empty."""
    fitting = []
    for sheet in sheets:
        header = next((cells for _, cells in sheet.rows if not _passed_over(cells)), ())
        if columns.marks <= set(_names(header)):
            fitting.append(sheet)
    if len(fitting) > 1:
        names = " and ".join(f"'{sheet.name}'" for sheet in fitting)
        raise SEVERAL_SHEETS(file=file.name, names=names, sheet=columns.sheet)
    filled = [sheet for sheet in sheets if any(not _passed_over(cells) for _, cells in sheet.rows)]
    return next(iter(fitting or filled or sheets), WorkbookSheet("", (), ()))


def _refuse_merged(file: InputFile, sheet: WorkbookSheet, table: SheetTable) -> None:
    remarks = {number for number, cells in sheet.rows if _passed_over(cells)}
    for first, last, area in sheet.merged:
        # A title or a remark may stretch over columns; it is read as one cell anyway.
        if not (first == last and first in remarks):
            raise MERGED(file=file.name, row=first, area=area)


# ---- both ----


def _names(cells: Sequence[SheetCell]) -> list[str]:
    return ["_".join(cell.text.strip().casefold().split()) for cell in cells]


def _passed_over(cells: Sequence[SheetCell]) -> bool:
    """Whether a row is blank, or a remark: one filled cell that begins with #.

    A row with # and further cells is read: "#2 fan" is a thing in an oven.
    """
    filled = [cell.text for cell in cells if cell.text.strip()]
    return not filled or (len(filled) == 1 and filled[0].startswith("#"))


def _below_header(file: InputFile, columns: SheetColumns, written: Sequence[Written]) -> SheetTable:
    filled = [(number, cells) for number, cells in written if not _passed_over(cells)]
    # Above the header a remark may hold separators: it can't be taken for a row.
    while filled and next(cell.text for cell in filled[0][1] if cell.text).startswith("#"):
        filled.pop(0)
    if not filled:
        raise EMPTY(file=file.name, problem="the file is empty", sheet=columns.sheet)
    line, cells = filled[0]
    header = _names(cells)
    while header and not header[-1]:
        header.pop()
    _check_header(file.name, line, columns, header)
    if len(filled) == 1:
        raise EMPTY(file=file.name, row=line, problem="no row stands below the header", sheet=columns.sheet)
    return SheetTable(tuple(_rows(file.name, header, filled[1:])))


def _rows(file: str, header: Sequence[str], filled: Sequence[Written]) -> Iterator[SheetRow]:
    for number, cells in filled:
        if any(cell.text.strip() for cell in cells[len(header) :]):
            raise MORE_CELLS(file=file, row=number)
        named = dict(zip(header, cells, strict=False))
        for name, cell in named.items():
            if cell.trouble:
                raise NOT_A_VALUE(file=file, row=number, column=name, trouble=cell.trouble)
        texts = {name: named[name].text.strip() if name in named else "" for name in header}
        yield SheetRow(file, number, texts, frozenset(name for name, cell in named.items() if cell.number))


def _check_header(file: str, line: int, columns: SheetColumns, header: Sequence[str]) -> None:
    def wrong(problem: str) -> Refusal:
        return HEADER(file=file, row=line, sheet=columns.sheet, problem=problem, header=columns.header)

    known = [*columns.required, *columns.optional]
    for place, name in enumerate(header, start=1):
        if not name:
            raise wrong(f"column {place} has no name")
        if name not in known:
            raise wrong(f"unknown column '{name}'{nearest(name, known)}")
        if header.count(name) > 1:
            raise wrong(f"the column '{name}' stands twice")
    missing = [name for name in columns.required if name not in header]
    if missing:
        raise wrong(f"it lacks {', '.join(missing)}")
