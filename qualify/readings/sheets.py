"""Spreadsheet workbooks (.xlsx): one table on one sheet, a title above its header allowed."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterator, Sequence
from datetime import date, datetime, time, timedelta
from itertools import islice
from typing import TYPE_CHECKING, Any

import numpy as np

from qualify.findings import RefusalKind, nearest
from qualify.inputs import InputFile
from qualify.readings.cells import CellKind, kind_of
from qualify.readings.layout import SAMPLE_ROWS, TABLES_SEVERAL, find_table, has_readings, is_blank, make_head
from qualify.readings.model import ReadOptions
from qualify.readings.table import Column, Faults, Head, Piece, text_column

if TYPE_CHECKING:
    from openpyxl.workbook import Workbook

SHEETS_SEVERAL = RefusalKind(
    "several-sheets",
    what="several sheets hold a table of readings: {sheets}",
    why="Which of them is meant can't be told.",
    mend="add --sheet NAME, such as --sheet '{first}'.",
)
SHEET_NO_SUCH = RefusalKind(
    "sheet-no-such",
    what="there is no sheet '{told}' (sheets: {sheets}){hint}",
    why="The readings can't be taken from it.",
    mend="add --sheet with one of these names.",
)
SHEETS_EMPTY = RefusalKind(
    "no-sheet-with-readings",
    what="no sheet holds a table of times and readings (sheets: {sheets})",
    why="There is nothing to judge.",
    mend="export the readings again, with their times, as a table on one sheet.",
)
WORKBOOK_DAMAGED = RefusalKind(
    "workbook-damaged",
    what="the workbook can't be opened ({reason})",
    why="The file is damaged or not what its name says.",
    mend="open it in a spreadsheet program and save it again as .xlsx, or export the readings as .csv.",
)
CELLS_BESIDE = RefusalKind(
    "cells-beside-table",
    what="the row has {cells} cells where the table has {width} columns",
    why="Which reading belongs to which column can't be told.",
    mend="move notes off the rows of the table, or export the readings again.",
)

_PIECE_ROWS = 4096
_Row = tuple[Any, ...]


def sniff(file: InputFile) -> str | None:
    """Tell why the file is no .xlsx workbook, or None if it is."""
    if not file.data.startswith(b"PK\x03\x04"):
        return "it is no zip archive, as every .xlsx is"
    try:
        with zipfile.ZipFile(io.BytesIO(file.data)) as archive:
            names = archive.namelist()
    except zipfile.BadZipFile:
        return "it starts as a zip archive but is damaged or cut"
    return None if "xl/workbook.xml" in names else "it is a zip archive without a workbook in it"


def open_source(file: InputFile, options: ReadOptions) -> SheetSource:
    """Find the sheet and the table on it.

    Raises
    ------
    Refusal
        If several sheets or tables could be meant, or none.
    """
    import zlib

    import openpyxl
    from openpyxl.utils.exceptions import InvalidFileException

    damaged = (
        zipfile.BadZipFile,
        zlib.error,
        InvalidFileException,
        KeyError,
        IndexError,
        AttributeError,
        ValueError,
        TypeError,
        SyntaxError,
        OSError,
        EOFError,
        RuntimeError,
    )
    try:
        book = openpyxl.load_workbook(io.BytesIO(file.data), read_only=True, data_only=True)
        names = [sheet.title for sheet in book.worksheets]
        if options.sheet is not None:
            if options.sheet not in names:
                raise SHEET_NO_SUCH(
                    file=file.name,
                    told=options.sheet,
                    sheets=", ".join(names),
                    hint=nearest(options.sheet, names),
                )
            chosen = options.sheet
        else:
            wanted = SAMPLE_ROWS + (options.header_row or 0)
            found = [name for name in names if has_readings(_texts(islice(_rows(book, name), wanted)))]
            if len(found) > 1:
                raise SHEETS_SEVERAL(
                    file=file.name, sheets=", ".join(f"'{name}'" for name in found), first=found[0]
                )
            if not found:
                raise SHEETS_EMPTY(file=file.name, sheets=", ".join(names))
            chosen = found[0]
        rows = list(_rows(book, chosen))
    except damaged as error:
        # What a damaged archive or damaged XML inside it makes the library raise.
        raise WORKBOOK_DAMAGED(file=file.name, reason=type(error).__name__) from error
    return _source(file.name, chosen, rows, options)


def _source(file: str, sheet: str, rows: list[_Row], options: ReadOptions) -> SheetSource:
    wanted = SAMPLE_ROWS + (options.header_row or 0)
    texts = _texts(rows[:wanted])
    tried = f"no row of sheet '{sheet}' holds a time or number beside another cell"
    texts = [_without_blank_tail(row) for row in texts]
    place = find_table(
        _same_width(texts, options.header_row), file=file, told_row=options.header_row, tried=tried
    )
    head_rows = [list(row[: place.width]) if len(row) <= place.width else row for row in texts]
    head_rows = [row + [""] * (place.width - len(row)) for row in head_rows]
    dates = _columns_of_dates(rows[place.first : wanted], place.width)
    for row in head_rows[place.first :]:
        for column in dates:
            row[column] = row[column].removesuffix(" 00:00:00")
    head = make_head(
        head_rows, place, file=file, mark=".", words={"format": "spreadsheet (.xlsx)", "sheet": sheet}
    )
    end = _end_of_table(file, rows, place.first, place.key, place.key_kind, options.header_row)
    return SheetSource(file, rows, place.first, end, head, dates)


def _rows(book: Workbook, name: str) -> Iterator[_Row]:
    sheet = book[name]
    # Some writers store a wrong extent; without it every row that is there is read.
    if hasattr(sheet, "reset_dimensions"):
        sheet.reset_dimensions()
    yield from sheet.iter_rows(values_only=True)


def _texts(rows: Iterator[_Row] | Sequence[_Row]) -> list[list[str]]:
    return [[cell_text(cell) for cell in row] for row in rows]


def cell_text(cell: object) -> str:
    """Write a cell as text that reads back as the same number or time."""
    if cell is None:
        return ""
    if isinstance(cell, datetime):
        return cell.isoformat(sep=" ")
    if isinstance(cell, date | time):
        return cell.isoformat()
    if isinstance(cell, timedelta):
        microseconds = cell // timedelta(microseconds=1)
        seconds, fraction = divmod(microseconds, 1_000_000)
        worded = f"{seconds // 3600}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"
        return f"{worded}.{fraction:06d}" if fraction else worded
    return repr(cell) if isinstance(cell, float) else str(cell)


def _without_blank_tail(row: Sequence[str]) -> list[str]:
    cells = list(row)
    while cells and not cells[-1].strip():
        cells.pop()
    return cells


def _same_width(texts: Sequence[Sequence[str]], told_row: int | None) -> list[list[str]]:
    """Pad rows of readings whose last cells are empty to the width of the row above them."""
    widest = 0
    padded = []
    for index, row in enumerate(texts):
        if is_blank(row) or index + 1 == told_row:
            widest = 0
        widest = max(widest, len(row))
        padded.append([*row, *[""] * (widest - len(row))] if len(row) > 1 else list(row))
    return padded


def _columns_of_dates(rows: Sequence[_Row], width: int) -> list[int]:
    """Columns whose time stamps are all midnight: dates, which the sheet stores as stamps."""
    found = []
    for column in range(width):
        cells = [row[column] for row in rows if column < len(row) and isinstance(row[column], datetime)]
        if cells and all(cell.time() == time() for cell in cells):
            found.append(column)
    return found


def _end_of_table(
    file: str,
    rows: Sequence[_Row],
    first: int,
    key: int,
    key_kind: CellKind,
    told_row: int | None,
) -> int:
    """Index behind the table's last row: the first blank row that no row of readings of it follows."""

    def is_reading(row: _Row) -> bool:
        return len(row) > key and kind_of(cell_text(row[key])) is key_kind

    blank = [index for index in range(first, len(rows)) if all(cell is None for cell in rows[index])]
    for index in blank:
        after = next(
            (later for later in range(index, len(rows)) if any(c is not None for c in rows[later])), None
        )
        if after is None:
            return index
        if not is_reading(rows[after]):
            other = next((later for later in range(after, len(rows)) if is_reading(rows[later])), None)
            if other is not None and told_row is None:
                raise TABLES_SEVERAL(file=file, row=index + 1, other=after + 1)
            return index
    return len(rows)


class SheetSource:
    """The rows of one table on one sheet."""

    def __init__(
        self, file: str, rows: list[_Row], first: int, end: int, head: Head, dates: Sequence[int]
    ) -> None:
        self.file = file
        self.head = head
        self.faults = Faults()
        self.most_rows = end - first
        self._rows, self._first, self._end, self._dates = rows, first, end, set(dates)
        self._width = len(head.names)

    def pieces(self, as_text: frozenset[int]) -> Iterator[Piece]:
        """Hand over the rows.

        Raises
        ------
        Refusal
            At a row with cells beside the table.
        """
        for start in range(self._first, self._end, _PIECE_ROWS):
            stop = min(start + _PIECE_ROWS, self._end)
            rows, table = [], []
            for index in range(start, stop):
                row = self._rows[index]
                if all(cell is None for cell in row):
                    self.faults.blank.append(index + 1)
                    continue
                beside = [column for column in range(self._width, len(row)) if row[column] is not None]
                if beside:
                    raise CELLS_BESIDE(file=self.file, row=index + 1, cells=beside[-1] + 1, width=self._width)
                rows.append(index + 1)
                table.append((*row[: self._width], *[None] * (self._width - len(row))))
            if table:
                columns = [
                    self._column(cells, column in as_text, column in self._dates)
                    for column, cells in enumerate(zip(*table, strict=True))
                ]
                yield Piece(np.array(rows, dtype=np.int64), columns, {})
        self.faults.below = [
            index + 1
            for index in range(self._end, len(self._rows))
            if any(cell is not None for cell in self._rows[index])
        ]
        self.faults.seen = self._end - self._first + len(self.faults.below)

    @staticmethod
    def _column(cells: Sequence[object], as_text: bool, is_date: bool) -> Column:
        """Numbers where every cell is one; else text, in which the numbers keep every digit."""
        if not as_text and all(type(cell) in (float, int) for cell in cells):
            return np.array(cells, dtype=np.float64)
        texts = [cell_text(cell) for cell in cells]
        if is_date:
            texts = [text.removesuffix(" 00:00:00") for text in texts]
        return text_column(texts)
