"""Workbooks (.xlsx) of record sheets: cells with what stands behind them, and templates.

A record sheet is small, so each is read whole through the library that shows formulas, merged cells and
formats: a cell that shows 5 % holds 0.05, and one with a formula may hold nothing.
"""

from __future__ import annotations

import io
import warnings
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from qualify.findings import RefusalKind
from qualify.inputs import InputFile
from qualify.readings.foreign import DAMAGED_ZIP
from qualify.sensors.certificates_tables import as_text

NO_WORKBOOK = RefusalKind(
    "record-sheet-workbook",
    what="the workbook can't be read ({reason})",
    why="Nothing of it can be trusted.",
    mend="open it in a spreadsheet program and save it again as .xlsx, or save the sheet as CSV.",
)

_DAMAGED = (*DAMAGED_ZIP, SyntaxError, AttributeError, TypeError, zipfile.LargeZipFile)
_MOST_BYTES = 1 << 25
_MOST_CELLS = 1 << 21
_WIDEST = 48


@dataclass(frozen=True, slots=True)
class SheetCell:
    """A cell: its text, whether a number is stored, and what makes it unreadable ("" if nothing does)."""

    text: str
    number: bool = False
    trouble: str = ""


@dataclass(frozen=True, slots=True)
class WorkbookSheet:
    """A sheet's rows with their numbers, and its merged areas as (first row, last row, words)."""

    name: str
    rows: tuple[tuple[int, tuple[SheetCell, ...]], ...]
    merged: tuple[tuple[int, int, str], ...]


def read_sheets(file: InputFile) -> list[WorkbookSheet]:
    """Read every sheet of a workbook.

    Raises
    ------
    Refusal
        If it is damaged, or far larger than a record sheet.
    """
    import openpyxl
    from openpyxl.utils.exceptions import InvalidFileException

    try:
        _must_be_small(file.data)
        with warnings.catch_warnings():
            # What the library leaves out (pictures, rules of input) holds no cell.
            warnings.simplefilter("ignore")
            values = openpyxl.load_workbook(io.BytesIO(file.data), data_only=True)
            written = openpyxl.load_workbook(io.BytesIO(file.data))
        # A library that doesn't calculate asks for it on opening; what it stored beside formulas is made up.
        made_up = bool(written.calculation is not None and written.calculation.fullCalcOnLoad)
        return [
            _sheet(one, other, made_up)
            for one, other in zip(values.worksheets, written.worksheets, strict=True)
        ]
    except (*_DAMAGED, InvalidFileException) as error:
        raise NO_WORKBOOK(file=file.name, reason=str(error) or type(error).__name__) from error


def _must_be_small(data: bytes) -> None:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        parts = [item for item in archive.infolist() if not item.filename.startswith("xl/media/")]
        if sum(item.file_size for item in parts) > _MOST_BYTES:
            raise ValueError("it is far larger than a record sheet")


def _sheet(values: Any, written: Any, made_up: bool) -> WorkbookSheet:
    if written.max_row * written.max_column > _MOST_CELLS:
        raise ValueError(f"sheet '{written.title}' has a cell in row {written.max_row}, far below any table")
    pairs = zip(values.iter_rows(), written.iter_rows(), strict=True)
    rows = [
        (number, tuple(_cell(*cells, made_up) for cells in zip(row, as_written, strict=True)))
        for number, (row, as_written) in enumerate(pairs, start=1)
    ]
    merged = tuple(sorted((area.min_row, area.max_row, area.coord) for area in written.merged_cells.ranges))
    return WorkbookSheet(written.title, tuple(rows), merged)


def _cell(value: Any, written: Any, made_up: bool) -> SheetCell:
    found = value.value
    if written.data_type == "f" and (made_up or found is None):
        return SheetCell("=", trouble="a formula without its value")
    if value.data_type == "e":
        return SheetCell(str(found), trouble=f"the error {found}")
    number = isinstance(found, (int, float)) and not isinstance(found, bool)
    if number and "%" in str(value.number_format):
        return SheetCell(
            as_text(found),
            trouble=f"a number shown as a percentage: {found:.12g} shown as {100 * found:.12g} %",
        )
    return SheetCell(as_text(found), number)


def workbook_of(rows: Sequence[Sequence[str]], title: str, *, header: int) -> bytes:
    """A workbook of one sheet of text, for a template.

    Parameters
    ----------
    rows
        Every row, remarks and header included.
    title
        Name of the sheet.
    header
        Which of the rows, from 0, is the header; it stays in view.
    """
    import openpyxl
    from openpyxl.styles import Alignment, Font
    from openpyxl.utils import get_column_letter

    book = openpyxl.Workbook()
    sheet: Any = book.active
    sheet.title = title
    for number, row in enumerate(rows, start=1):
        for column, text in enumerate(row, start=1):
            if text == "":
                continue
            cell = sheet.cell(number, column, text)
            cell.data_type = "s"  # words from a plan that begin with = are no formula
            if number == header + 1:
                cell.font = Font(bold=True)
            elif number > header + 1 and not (column == 1 and text.startswith("#")):
                cell.alignment = Alignment(wrap_text=True, vertical="top")
    for column, name in enumerate(rows[header], start=1):
        words = [row[column - 1] for row in rows[header + 1 :] if not row[0].startswith("#")]
        widest = max((len(text) for text in (name, *words)), default=0)
        sheet.column_dimensions[get_column_letter(column)].width = min(widest, _WIDEST) + 3
    sheet.freeze_panes = sheet.cell(header + 2, 1)
    content = io.BytesIO()
    book.save(content)
    return content.getvalue()
