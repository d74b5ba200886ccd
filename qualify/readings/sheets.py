"""Tables on sheets, whichever format keeps them: which sheet, where the table stands, its rows in pieces.

`xlsx` and `oldsheets` hand over the cells and what a sheet keeps beside its values (formulas, merged
cells, hidden rows); the rules for both stand here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from itertools import islice
from typing import Any

import numpy as np

from qualify.findings import Doubt, DoubtKind, Refusal, RefusalKind, nearest
from qualify.readings.layout import (
    SAMPLE_ROWS,
    TABLES_SEVERAL,
    Place,
    find_table,
    has_readings,
    is_blank,
    make_head,
)
from qualify.readings.model import ReadOptions
from qualify.readings.numbers import POINT, find_marks
from qualify.readings.table import Column, Faults, Head, Piece, text_column

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
WORKBOOK_LOCKED = RefusalKind(
    "workbook-locked",
    what="the workbook is locked with a password",
    why="Its readings can't be seen without it.",
    mend="open it in a spreadsheet program, take the password off and save it as .xlsx.",
)
CELLS_BESIDE = RefusalKind(
    "cells-beside-table",
    what="the row has {cells} cells where the table has {width} columns",
    why="Which reading belongs to which column can't be told.",
    mend="move notes off the rows of the table, or export the readings again.",
)
CELLS_MERGED = RefusalKind(
    "cells-merged",
    what="the cells {area} are merged into one",
    why="Only one of them holds a value, so which rows and columns it stands for can't be told.",
    mend="open the sheet, take the merging off there, fill in what belongs into each cell, and save.",
)
FORMULA_NOT_CALCULATED = RefusalKind(
    "formula-not-calculated",
    what="cell {cell} of sheet '{sheet}' holds a formula that no spreadsheet program has calculated",
    why="Its value isn't in the file; taken for blank, or for the value beside it, it would be wrong.",
    mend="open it in a spreadsheet program, let it calculate, and save it; if the cell stays empty, put its "
    "value in place of the formula.",
)
LAST_ROW_NOT_THERE = RefusalKind(
    "last-row-not-there",
    what="--last-row {told} lies outside the rows of the table (rows {first} to {last})",
    why="The readings can't end where there is nothing.",
    mend="count the rows from 1, as the sheet does.",
)
FORMULAS_READ = DoubtKind(
    "formulas-read",
    "{count} of the table's cells {are}, this one first; the values calculated last were read, which "
    "is not what a logger recorded",
)
HIDDEN_READ = DoubtKind(
    "hidden-cells-read",
    "the sheet hides {what}{filtered}; they were read like the rest, so the figures hold more than the "
    "sheet shows",
)

Row = tuple[Any, ...]
Area = tuple[int, int, int, int]
"""First row, first column, last row, last column of merged cells, each counted from 0."""

_PIECE_ROWS = 4096
_MOST_RANGES = 12
_MOST_LABELLED_ROWS = 60
_MILLISECOND = timedelta(milliseconds=1)


@dataclass(slots=True)
class Beside:
    """What a sheet keeps beside its values; rows and columns count from 0.

    Attributes
    ----------
    formulas
        Cells that hold a formula.
    uncalculated
        Those of them whose value is not in the file.
    merged
        Merged cells.
    hidden_rows, hidden_columns
        What the sheet doesn't show.
    filtered
        Whether a filter is set on the sheet.
    """

    formulas: set[tuple[int, int]] = field(default_factory=set)
    uncalculated: set[tuple[int, int]] = field(default_factory=set)
    merged: list[Area] = field(default_factory=list)
    hidden_rows: set[int] = field(default_factory=set)
    hidden_columns: set[int] = field(default_factory=set)
    filtered: bool = False


def rows_to_look_at(options: ReadOptions) -> int:
    """How many rows are looked at to find the table."""
    return SAMPLE_ROWS + max(options.header_row or 0, options.first_row or 0)


def choose_sheet(
    file: str,
    names: Sequence[str],
    rows_of: Callable[[str], Iterable[Row]],
    beside_of: Callable[[str], Beside],
    options: ReadOptions,
) -> str:
    """Tell the sheet with the table: the one that was told, or the only one with readings.

    Raises
    ------
    Refusal
        If no sheet holds a table, or several do, or the told one isn't there.
    """
    if options.sheet is not None:
        if options.sheet not in names:
            raise SHEET_NO_SUCH(
                file=file,
                told=options.sheet,
                sheets=", ".join(names),
                hint=nearest(options.sheet, list(names)),
            )
        return options.sheet
    wanted = rows_to_look_at(options)
    found = [name for name in names if has_readings(texts_of(islice(rows_of(name), wanted)))]
    if len(found) > 1:
        raise SHEETS_SEVERAL(file=file, sheets=", ".join(f"'{name}'" for name in found), first=found[0])
    if not found:
        for name in names:
            _must_be_calculated(file, name, beside_of(name).uncalculated)
        raise SHEETS_EMPTY(file=file, sheets=", ".join(names))
    return found[0]


def table_on_sheet(
    file: str, sheet: str, rows: list[Row], beside: Beside, options: ReadOptions, *, form: str
) -> SheetSource:
    """Find the table on a sheet.

    Parameters
    ----------
    file
        The file's name, for messages.
    sheet
        The sheet's name.
    rows
        All rows of the sheet from its first on; an empty cell is None.
    beside
        What the sheet keeps beside these values.
    options
        What the user said.
    form
        The format, in words.

    Raises
    ------
    Refusal
        If there is no table, several, or cells in it are merged or were never calculated.
    """
    try:
        source = _find(file, sheet, rows, beside, options, form)
    except Refusal:
        # A table that can't be made out for want of calculated values is refused for these.
        _must_be_calculated(file, sheet, beside.uncalculated)
        raise
    return source


def _find(
    file: str, sheet: str, rows: list[Row], beside: Beside, options: ReadOptions, form: str
) -> SheetSource:
    wanted = rows_to_look_at(options)
    tried = f"no row of sheet '{sheet}' holds a time or number beside another cell"
    texts = [_without_blank_tail(row) for row in texts_of(rows[:wanted])]
    place = find_table(_same_width(texts, options.header_row), file=file, options=options, tried=tried)
    width = place.width
    head_rows = [row if len(row) > width else row + [""] * (width - len(row)) for row in texts]
    _merged_in_header(file, place, head_rows, beside.merged)
    dates = _columns_of_dates(rows[place.first :], width)
    for row in head_rows[place.first :]:
        for column in dates:
            row[column] = row[column].removesuffix(" 00:00:00")
    body = place.beside_key(head_rows)
    marks_found = find_marks(body, file, decimal=options.decimal_mark, thousands=options.thousands_mark)
    marks = marks_found.marks or POINT
    words = {
        "format": form,
        "sheet": sheet,
        "times in cells": "to the nearest millisecond, since sheets keep them as fractions of a day",
    }
    head = make_head(head_rows, place, file=file, marks=marks, words=words)
    end = _end_of_table(file, rows, place, options)
    end = _above_summary(rows, place, end) if options.last_row is None else end
    names = head.names
    _must_be_calculated(
        file, sheet, {cell for cell in beside.uncalculated if cell[0] >= place.names and cell[1] < width}
    )
    for top, left, bottom, right in beside.merged:
        if bottom >= place.first and top < end and left < width:
            area = f"{cell_name(top, left)}:{cell_name(bottom, right)}"
            raise CELLS_MERGED(file=file, row=max(top, place.first) + 1, column=names[left], area=area)
    doubts = [
        *place.doubts,
        *marks_found.doubts(file, head_rows, head.names),
        *_doubts_beside(file, names, place.first, end, beside),
    ]
    told = {**place.told, **marks.told, "sheet": sheet}
    return SheetSource(file, rows, place, end, head, dates, told, tuple(doubts))


def _must_be_calculated(file: str, sheet: str, cells: Iterable[tuple[int, int]]) -> None:
    first = min(cells, default=None)
    if first is not None:
        raise FORMULA_NOT_CALCULATED(file=file, row=first[0] + 1, cell=cell_name(*first), sheet=sheet)


def _merged_in_header(
    file: str, place: Place, head_rows: Sequence[list[str]], merged: Sequence[Area]
) -> None:
    """Give a name that is merged downwards to the row of names; refuse one that spans columns there."""
    header = [row for row in (place.names, place.units, place.description) if row is not None]
    for top, left, bottom, right in merged:
        covered = [row for row in header if top <= row <= bottom]
        if not covered or left >= place.width:
            continue
        if right > left:
            area = f"{cell_name(top, left)}:{cell_name(bottom, right)}"
            raise CELLS_MERGED(file=file, row=covered[0] + 1, column=head_rows[top][left], area=area)
        if top < place.names <= bottom and not head_rows[place.names][left].strip():
            head_rows[place.names][left] = head_rows[top][left]


def _doubts_beside(file: str, names: Sequence[str], first: int, end: int, beside: Beside) -> Iterator[Doubt]:
    inside = [cell for cell in beside.formulas if first <= cell[0] < end and cell[1] < len(names)]
    if inside:
        row, column = min(inside)
        are = "is a formula" if len(inside) == 1 else "are formulas"
        yield FORMULAS_READ(file=file, row=row + 1, column=names[column], count=len(inside), are=are)
    rows = sorted(row for row in beside.hidden_rows if first <= row < end)
    columns = sorted(column for column in beside.hidden_columns if column < len(names))
    if rows or columns:
        parts = [f"{'row' if len(rows) == 1 else 'rows'} {_ranges(rows)}"] if rows else []
        if columns:
            called = ", ".join(f"'{names[column].strip()}'" for column in columns)
            parts.append(f"{'column' if len(columns) == 1 else 'columns'} {called}")
        yield HIDDEN_READ(
            file=file,
            row=rows[0] + 1 if rows else None,
            column=names[columns[0]] if columns and not rows else None,
            what=" and ".join(parts),
            filtered=" (a filter is set)" if beside.filtered and rows else "",
        )


def _ranges(rows: Sequence[int]) -> str:
    """Word row numbers, runs shortened: "4, 7 to 9"."""
    runs: list[list[int]] = []
    for row in rows:
        if runs and row == runs[-1][1] + 1:
            runs[-1][1] = row
        else:
            runs.append([row, row])
    shown, more = runs[:_MOST_RANGES], len(runs) - _MOST_RANGES
    worded = [str(first + 1) if first == last else f"{first + 1} to {last + 1}" for first, last in shown]
    return ", ".join(worded) + (f" and {more} more stretches" if more > 0 else "")


def cell_name(row: int, column: int) -> str:
    """Name a cell as sheets do: (4, 1) is "B5"."""
    letters = ""
    number = column + 1
    while number:
        number, rest = divmod(number - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return f"{letters}{row + 1}"


def texts_of(rows: Iterable[Row]) -> list[list[str]]:
    """Write every cell as text."""
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
    if isinstance(cell, float):
        # Some formats keep every number as a fraction: a column called 1 is not called 1.0.
        return str(int(cell)) if cell.is_integer() and 0 < abs(cell) < 1e15 else repr(cell)
    return str(cell)


def to_the_millisecond(cell: object) -> object:
    """Round a date, time or duration to the nearest millisecond; other cells stay."""
    if isinstance(cell, datetime):
        whole = cell.replace(microsecond=0)
        return whole + round((cell - whole) / _MILLISECOND) * _MILLISECOND
    if isinstance(cell, timedelta):
        return round(cell / _MILLISECOND) * _MILLISECOND
    if isinstance(cell, time):
        rounded = to_the_millisecond(datetime.combine(date(2000, 1, 1), cell))
        assert isinstance(rounded, datetime)
        return rounded.time() if rounded.day == 1 else timedelta(days=1)
    return cell


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


def _columns_of_dates(rows: Sequence[Row], width: int) -> list[int]:
    """Columns whose time stamps are all midnight: dates, which the sheet stores as stamps."""
    found = []
    for column in range(width):
        cells = [row[column] for row in rows if column < len(row) and isinstance(row[column], datetime)]
        if cells and all(cell.time() == time() for cell in cells):
            found.append(column)
    return found


def _end_of_table(file: str, rows: Sequence[Row], place: Place, options: ReadOptions) -> int:
    """Index behind the last row: told, or the first blank row that no row of readings follows."""
    if options.last_row is not None:
        if not place.first < options.last_row <= len(rows):
            raise LAST_ROW_NOT_THERE(file=file, told=options.last_row, first=place.first + 1, last=len(rows))
        return options.last_row

    def is_reading(row: Row) -> bool:
        return place.is_row_of_readings(texts_of([row])[0])

    told = options.header_row is not None or options.first_row is not None
    filled = [index for index in range(place.first, len(rows)) if not _is_empty(rows[index])]
    for before, after in zip([place.first - 1, *filled], [*filled, None], strict=True):
        if after is None:
            return before + 1
        if after > before + 1 and not is_reading(rows[after]):
            other = next((later for later in filled if later > after and is_reading(rows[later])), None)
            if other is not None and not told:
                raise TABLES_SEVERAL(file=file, row=before + 2, other=after + 1)
            return before + 1
    return len(rows)


def _above_summary(rows: Sequence[Row], place: Place, end: int) -> int:
    """Index behind the last row of readings, where rows with a word in the time's place close the table.

    A cell with a digit in it may be a damaged time and is never taken for such a word.
    """
    stop = end
    for index in range(end - 1, max(place.first, end - _MOST_LABELLED_ROWS), -1):
        texts = texts_of([rows[index]])[0]
        key = texts[place.key].strip() if len(texts) > place.key else ""
        labelled = _is_label(key) or (not key and any(map(_is_label, texts)))
        if place.is_row_of_readings(texts) or not (labelled or is_blank(texts)):
            break
        if labelled:
            stop = index
    return stop


def _is_label(text: str) -> bool:
    """Whether a cell is a word such as "Max" or "Average:"."""
    word = text.strip()
    return any(sign.isalpha() for sign in word) and not any(sign.isdigit() for sign in word)


def _is_empty(row: Row) -> bool:
    return all(cell is None for cell in row)


class SheetSource:
    """The rows of one table on one sheet."""

    def __init__(
        self,
        file: str,
        rows: list[Row],
        place: Place,
        end: int,
        head: Head,
        dates: Sequence[int],
        told: Mapping[str, object],
        doubts: tuple[Doubt, ...],
    ) -> None:
        self.file = file
        self.head = head
        self.told = told
        self.doubts = doubts
        self.faults = Faults()
        self.most_rows = end - place.first
        self._rows, self._place, self._end, self._dates = rows, place, end, set(dates)
        self._width = len(head.names)

    def pieces(self, as_text: frozenset[int]) -> Iterator[Piece]:
        """Hand over the rows.

        Raises
        ------
        Refusal
            At a row with cells beside the table.
        """
        first = self._place.first
        again = self._repeated_headers()
        self.faults.again = again
        skipped = {row - 1 for begin, end in again for row in range(begin, end + 1)}
        for start in range(first, self._end, _PIECE_ROWS):
            stop = min(start + _PIECE_ROWS, self._end)
            rows, table = [], []
            for index in range(start, stop):
                if index in skipped:
                    continue
                row = self._rows[index]
                if _is_empty(row):
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
            index + 1 for index in range(self._end, len(self._rows)) if not _is_empty(self._rows[index])
        ]
        self.faults.seen = self._end - first + len(self.faults.below)

    def _repeated_headers(self) -> list[tuple[int, int]]:
        """First and last row of each block that repeats the names, with the filled rows round it.

        A recorder that was restarted writes its header again; only rows that are no rows of readings go with
        it.
        """
        names = self._rows[self._place.names]
        if _is_empty(names):
            return []
        found: list[tuple[int, int]] = []
        least = self._place.first
        for index in range(least, self._end):
            if index < least or self._rows[index] != names:
                continue
            start = stop = index
            while start > least and self._is_odd(start - 1):
                start -= 1
            while stop + 1 < self._end and self._is_odd(stop + 1):
                stop += 1
            found.append((start + 1, stop + 1))
            least = stop + 1
        return found

    def _is_odd(self, index: int) -> bool:
        return not self._place.is_row_of_readings(texts_of([self._rows[index]])[0])

    @staticmethod
    def _column(cells: Sequence[object], as_text: bool, is_date: bool) -> Column:
        """Numbers where every cell is one; else text, in which the numbers keep every digit."""
        if not as_text and all(type(cell) in (float, int) for cell in cells):
            return np.array(cells, dtype=np.float64)
        texts = [cell_text(cell) for cell in cells]
        if is_date:
            texts = [text.removesuffix(" 00:00:00") for text in texts]
        return text_column(texts)
