"""Older and open workbooks (.xls, .ods): values through calamine, what stands beside them from `beside`.

Calamine gives every empty cell, and every cell with an error, as empty text; numbers of .ods as
fractions; true and false of .ods as 1 and 0. What it leaves out is put back here.
"""

from __future__ import annotations

import io
import re
import struct
import zipfile
from collections.abc import Iterator
from datetime import date, datetime, timedelta
from functools import lru_cache
from typing import Any
from xml.etree import ElementTree
from xml.parsers import expat

from qualify.inputs import InputFile
from qualify.readings.apart import WorkbookLockedError, WorkbookUnreadableError, sheets_of
from qualify.readings.biff import RecordsDamagedError, must_hold_together, read_beside_xls, workbook_stream
from qualify.readings.foreign import DAMAGED_ZIP, OLE
from qualify.readings.model import ReadOptions
from qualify.readings.opendocument import must_not_swell, read_beside_ods
from qualify.readings.sheets import (
    WORKBOOK_DAMAGED,
    WORKBOOK_LOCKED,
    Beside,
    Row,
    SheetSource,
    choose_sheet,
    table_on_sheet,
    to_the_millisecond,
)

_ODS_TYPE = b"application/vnd.oasis.opendocument.spreadsheet"
_DURATION = re.compile(r"(-?)P(?:T(?:(\d+)H)?(?:(\d+)M)?(?:(\d+(?:\.\d+)?)S)?)")
_DAMAGED = (*DAMAGED_ZIP, RecordsDamagedError, ElementTree.ParseError, expat.ExpatError)


def sniff_xls(file: InputFile) -> str | None:
    """Tell why the file is no .xls workbook, or None if it is."""
    if not file.content.startswith(OLE):
        return "it doesn't start as every .xls does"
    try:
        found = workbook_stream(file.data) is not None
    except (RecordsDamagedError, struct.error):
        return "it starts as an .xls does but is damaged or cut"
    return None if found else "it starts as an .xls does but holds no workbook"


def sniff_ods(file: InputFile) -> str | None:
    """Tell why the file is no .ods workbook, or None if it is."""
    if not file.content.startswith(b"PK\x03\x04"):
        return "it is no zip archive, as every .ods is"
    try:
        with zipfile.ZipFile(io.BytesIO(file.data)) as archive:
            if "mimetype" not in archive.namelist() or archive.getinfo("mimetype").file_size > 200:
                return "it is a zip archive without an open document in it"
            kind = archive.read("mimetype").strip()
    except DAMAGED_ZIP:
        return "it starts as a zip archive but is damaged or cut"
    return None if kind.startswith(_ODS_TYPE) else "it is an open document, but no spreadsheet"


def open_xls(file: InputFile, options: ReadOptions) -> SheetSource:
    """Find the sheet of an .xls workbook and the table on it; refusals as `open_source` of .xlsx."""
    return _open(file, options, "spreadsheet (.xls)")


def open_ods(file: InputFile, options: ReadOptions) -> SheetSource:
    """Find the sheet of an .ods workbook and the table on it; refusals as `open_source` of .xlsx."""
    return _open(file, options, "spreadsheet (.ods)")


def _open(file: InputFile, options: ReadOptions, form: str) -> SheetSource:
    try:
        (must_not_swell if form.endswith("(.ods)") else must_hold_together)(file.data)
        sheets = sheets_of(file.data)
        read = read_beside_ods if form.endswith("(.ods)") else read_beside_xls

        @lru_cache(maxsize=2)
        def beside_of(name: str) -> tuple[Beside, dict[tuple[int, int], str]]:
            return read(file.data, name)

        def values(name: str) -> Iterator[Row]:
            return (tuple(map(_cell, row)) for row in sheets[name])

        chosen = choose_sheet(file.name, list(sheets), values, lambda name: beside_of(name)[0], options)
        beside, words = beside_of(chosen)
        rows = _with_words(list(values(chosen)), words)
    except WorkbookLockedError:
        raise WORKBOOK_LOCKED(file=file.name) from None
    except WorkbookUnreadableError as error:
        raise WORKBOOK_DAMAGED(file=file.name, reason=str(error)) from None
    except _DAMAGED as error:
        raise WORKBOOK_DAMAGED(file=file.name, reason=type(error).__name__) from error
    return table_on_sheet(file.name, chosen, rows, beside, options, form=form)


def _cell(cell: Any) -> object:
    """Bring a cell to what openpyxl gives for the same sheet."""
    if cell == "":
        return None
    if type(cell) in (float, int, bool):
        return cell
    if isinstance(cell, str):
        match = _DURATION.fullmatch(cell) if cell.startswith(("P", "-P")) else None
        return cell if match is None else _duration(match)
    if type(cell) is date:
        return datetime(cell.year, cell.month, cell.day)
    return to_the_millisecond(cell)


def _duration(match: re.Match[str]) -> object:
    sign = -1 if match[1] else 1
    hours, minutes, seconds = (float(part or 0) for part in match.groups()[1:])
    return to_the_millisecond(sign * timedelta(hours=hours, minutes=minutes, seconds=seconds))


def _with_words(rows: list[Row], words: dict[tuple[int, int], str]) -> list[Row]:
    """Put back errors, and the words for true and false, in the cells where they stood."""
    by_row: dict[int, dict[int, str]] = {}
    for (row, column), word in words.items():
        by_row.setdefault(row, {})[column] = word
    for index, cells in by_row.items():
        while index >= len(rows):
            rows.append(())
        width = max(len(rows[index]), max(cells) + 1)
        row_cells = [*rows[index], *[None] * (width - len(rows[index]))]
        for column, word in cells.items():
            row_cells[column] = word
        rows[index] = tuple(row_cells)
    return rows
