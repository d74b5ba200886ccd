"""Spreadsheet workbooks (.xlsx): values through openpyxl, what stands beside them from the sheet's XML."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Iterator
from functools import partial
from typing import TYPE_CHECKING
from xml.etree import ElementTree

from qualify.inputs import InputFile
from qualify.readings.foreign import DAMAGED_ZIP
from qualify.readings.model import ReadOptions
from qualify.readings.sheets import WORKBOOK_DAMAGED, Beside, Row, SheetSource, choose_sheet, table_on_sheet

if TYPE_CHECKING:
    from openpyxl.workbook import Workbook

_FORM = "spreadsheet (.xlsx)"
# What may tell that a sheet holds more than values; most sheets of readings hold none of it.
_MORE = (b"<f>", b"<f ", b"<f/", b":f>", b":f ", b":f/", b"mergeCell", b"autoFilter", b"hidden=")
_CALCULATE_ON_LOAD = re.compile(rb"<(?:\w+:)?calcPr\b[^>]*\bfullCalcOnLoad=[\"'](?:1|true)[\"']")
_REFERENCE = re.compile(r"\$?([A-Z]{1,3})\$?(\d+)")
_FREE_BYTES, _MOST_TIMES = 1 << 26, 400
_DAMAGED = (*DAMAGED_ZIP, ElementTree.ParseError, AttributeError, TypeError, SyntaxError)
"""What a damaged archive, or damaged XML in it, makes the libraries raise."""


def sniff(file: InputFile) -> str | None:
    """Tell why the file is no .xlsx workbook, or None if it is."""
    if not file.content.startswith(b"PK\x03\x04"):
        return "it is no zip archive, as every .xlsx is"
    try:
        with zipfile.ZipFile(io.BytesIO(file.data)) as archive:
            names = archive.namelist()
    except DAMAGED_ZIP:
        return "it starts as a zip archive but is damaged or cut"
    return None if "xl/workbook.xml" in names else "it is a zip archive without a workbook in it"


def open_source(file: InputFile, options: ReadOptions) -> SheetSource:
    """Find the sheet and the table on it.

    Raises
    ------
    Refusal
        If several sheets or tables could be meant, or none, or a cell of the table has no sure value.
    """
    import openpyxl
    from openpyxl.utils.exceptions import InvalidFileException

    try:
        _must_not_swell(file.data)
        book = openpyxl.load_workbook(io.BytesIO(file.data), read_only=True, data_only=True)
        names = [sheet.title for sheet in book.worksheets]
        beside_of = partial(_beside, file, book)
        chosen = choose_sheet(file.name, names, partial(_rows, book), beside_of, options)
        rows = list(_rows(book, chosen))
        beside = beside_of(chosen)
    except (*_DAMAGED, InvalidFileException) as error:
        raise WORKBOOK_DAMAGED(file=file.name, reason=type(error).__name__) from error
    return table_on_sheet(file.name, chosen, rows, beside, options, form=_FORM)


def _must_not_swell(data: bytes) -> None:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        if sum(info.file_size for info in archive.infolist()) > max(_FREE_BYTES, _MOST_TIMES * len(data)):
            raise ValueError("the workbook unpacks to many times its size")


def _rows(book: Workbook, name: str) -> Iterator[Row]:
    sheet = book[name]
    # Some writers store a wrong extent; without it every row that is there is read.
    if hasattr(sheet, "reset_dimensions"):
        sheet.reset_dimensions()
    yield from sheet.iter_rows(values_only=True)


def _beside(file: InputFile, book: Workbook, name: str) -> Beside:
    part = str(getattr(book[name], "_worksheet_path"))  # noqa: B009 (the library has no public name for it)
    with zipfile.ZipFile(io.BytesIO(file.data)) as archive:
        xml = archive.read(part.lstrip("/"))
        on_load = _CALCULATE_ON_LOAD.search(archive.read("xl/workbook.xml")) is not None
    if not any(sign in xml for sign in _MORE):
        return Beside()
    return _read_beside(xml, on_load)


def _read_beside(xml: bytes, on_load: bool) -> Beside:
    """Read formulas, merged cells, hidden rows and columns and the filter from a sheet's XML.

    A workbook that asks to be calculated when it is opened was written by a library that didn't calculate:
    the values beside its formulas are empty or made up.
    """
    beside = Beside()
    row = column = -1
    row_element = None
    for event, element in ElementTree.iterparse(io.BytesIO(xml), events=("start", "end")):
        tag = element.tag.rpartition("}")[2]
        if event == "start":
            if tag == "row":
                row_element = element
                row = int(element.get("r", row + 2)) - 1
                column = -1
                if element.get("hidden") in ("1", "true"):
                    beside.hidden_rows.add(row)
            continue
        if tag == "c":
            place = element.get("r")
            column = column + 1 if place is None else _place(place)[1]
            children = {child.tag.rpartition("}")[2]: child for child in element}
            if "f" in children:
                _formula(beside, row, column, element.get("t"), children, on_load)
        elif tag == "col" and element.get("hidden") in ("1", "true"):
            last = min(int(element.get("max", "1")), 16384)
            beside.hidden_columns.update(range(int(element.get("min", "1")) - 1, last))
        elif tag == "mergeCell":
            top_left, _, bottom_right = element.get("ref", "A1").partition(":")
            beside.merged.append((*_place(top_left), *_place(bottom_right or top_left)))
        elif tag == "autoFilter":
            beside.filtered = True
        elif tag == "row" and row_element is not None:
            row_element.clear()
    return beside


def _formula(
    beside: Beside,
    row: int,
    column: int,
    kind: str | None,
    children: dict[str, ElementTree.Element],
    on_load: bool,
) -> None:
    formula, value = children["f"], children.get("v")
    cells = [(row, column)]
    if formula.get("t") == "array" and formula.get("ref"):
        top_left, _, bottom_right = formula.get("ref", "").partition(":")
        (top, left), (bottom, right) = _place(top_left), _place(bottom_right or top_left)
        if (bottom - top + 1) * (right - left + 1) <= 1 << 20:
            cells = [(r, c) for r in range(top, bottom + 1) for c in range(left, right + 1)]
    beside.formulas.update(cells)
    # A formula whose result is text may have yielded empty text.
    if on_load or ((value is None or not value.text) and kind != "str"):
        beside.uncalculated.update(cells)


def _place(reference: str) -> tuple[int, int]:
    """Row and column, from 0, of a reference such as "B5"."""
    match = _REFERENCE.fullmatch(reference)
    if match is None:
        raise ValueError(f"no cell is called {reference!r}")
    column = 0
    for letter in match[1]:
        column = column * 26 + ord(letter) - ord("A") + 1
    return int(match[2]) - 1, column - 1
