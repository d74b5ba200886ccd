"""Certificates in spreadsheet workbooks (.xlsx): their cells as text, and a template."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterable, Sequence
from typing import Any

from qualify.findings import RefusalKind
from qualify.inputs import InputFile
from qualify.readings.foreign import DAMAGED_ZIP
from qualify.sensors.certificates_tables import as_text

NO_WORKBOOK = RefusalKind(
    "certificates-workbook",
    what="the workbook can't be read ({reason})",
    why="Nothing of it can be trusted.",
    mend="open it in a spreadsheet program and save it again as .xlsx, or save the sheet as CSV.",
)
FORMULA_WITHOUT_VALUE = RefusalKind(
    "certificates-formula",
    what="the cell holds a formula without its value",
    why="The program that wrote the workbook did not compute it, and nothing is guessed.",
    mend="open the workbook in a spreadsheet program and save it, or write the value.",
)
_DAMAGED = (*DAMAGED_ZIP, SyntaxError, AttributeError, TypeError)
_MOST_BYTES = 1 << 26
_LARGEST_SHEET = 100_000
_MORE = (b"<f>", b"<f ", b":f>", b":f ", b't="e"', b"t='e'")


def sheets(file: InputFile) -> list[list[tuple[int, list[str]]]]:
    """Read every sheet as numbered rows of text.

    Raises
    ------
    Refusal
        If the workbook is damaged, or a formula has no value.
    """
    import python_calamine

    try:
        if _has_more_than_values(file.data):
            return _calculated(file)
        book = python_calamine.CalamineWorkbook.from_filelike(io.BytesIO(file.data))
        sheets_ = [book.get_sheet_by_name(name) for name in book.sheet_names]
        return [_numbered(sheet.to_python(skip_empty_area=False)) for sheet in sheets_]
    except (*_DAMAGED, python_calamine.CalamineError) as error:
        raise NO_WORKBOOK(file=file.name, reason=type(error).__name__) from error


def _calculated(file: InputFile) -> list[list[tuple[int, list[str]]]]:
    """Read a workbook with formulas or errors through the library that shows them; slower."""
    import openpyxl
    from openpyxl.utils.exceptions import InvalidFileException

    try:
        book = openpyxl.load_workbook(io.BytesIO(file.data), read_only=True, data_only=True)
        written = openpyxl.load_workbook(io.BytesIO(file.data), read_only=True)
    except InvalidFileException as error:
        raise NO_WORKBOOK(file=file.name, reason=type(error).__name__) from error
    found = [_rows(sheet) for sheet in book.worksheets]
    for values, sheet in zip(found, written.worksheets, strict=True):
        _refuse_uncalculated(file.name, values, _rows(sheet))
    return found


def _has_more_than_values(data: bytes) -> bool:
    """Whether a sheet holds a formula or an error such as #N/A, which the quick library reads as blank."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        if sum(info.file_size for info in archive.infolist()) > _MOST_BYTES:
            raise ValueError("the workbook is far larger than a list of certificates")
        parts = [name for name in archive.namelist() if name.startswith("xl/worksheets/")]
        return any(sign in archive.read(name) for name in parts for sign in _MORE)


def _rows(sheet: Any) -> list[tuple[int, list[str]]]:
    if hasattr(sheet, "reset_dimensions"):
        sheet.reset_dimensions()
    return _numbered(sheet.iter_rows(values_only=True, max_row=_LARGEST_SHEET))


def _numbered(rows: Iterable[Sequence[object]]) -> list[tuple[int, list[str]]]:
    return [(number, [as_text(value) for value in cells]) for number, cells in enumerate(rows, start=1)]


def _refuse_uncalculated(
    file: str, values: Sequence[tuple[int, list[str]]], written: Sequence[tuple[int, list[str]]]
) -> None:
    for (number, there), (_, as_written) in zip(values, written, strict=True):
        for column, text in enumerate(as_written):
            if text.startswith("=") and not (column < len(there) and there[column]):
                raise FORMULA_WITHOUT_VALUE(file=file, row=number, column=f"number {column + 1}")


def workbook_of(rows: Sequence[Sequence[object]]) -> bytes:
    """A workbook of one sheet, for a template."""
    import openpyxl

    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.title = "Certificates"
    for row in rows:
        sheet.append([value if value != "" else None for value in row])
    content = io.BytesIO()
    book.save(content)
    return content.getvalue()
