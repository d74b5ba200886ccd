"""What a sheet of an .ods workbook keeps beside its values: read from its XML.

OpenDocument 1.3 part 3, chapters 9 (tables) and 19 (attributes): rows and cells may be repeated by a
count, merged cells name their span at the first of them.
"""

from __future__ import annotations

import io
import re
import zipfile
from xml.etree import ElementTree
from xml.parsers import expat

from qualify.readings.sheets import Beside

_MORE = re.compile(
    rb'table:formula=|table:visibility="(?:collapse|filter)|-spanned=|value-type="(?:boolean|error)"'
)
_TABLE = "{urn:oasis:names:tc:opendocument:xmlns:table:1.0}"
_OFFICE = "{urn:oasis:names:tc:opendocument:xmlns:office:1.0}"
_CALC = "{urn:org:documentfoundation:names:experimental:calc:xmlns:calcext:1.0}"
_TEXT = "{urn:oasis:names:tc:opendocument:xmlns:text:1.0}"
_MOST_REPEATED = 1 << 20
_MOST_CELLS = 50_000_000
_REPEATED_CELL = re.compile(rb'<table:table-cell\b[^>]*columns-repeated="(\d{4,})"[^>]*>')
_REPEATED_ROW = re.compile(rb'<table:table-row\b[^>]*rows-repeated="(\d{4,})"[^>]*>')


def must_not_swell(data: bytes) -> None:
    """Refuse a sheet in which filled rows or cells are repeated beyond what a computer can hold.

    Raises
    ------
    ValueError
        If they are.
    """
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        if archive.getinfo("content.xml").file_size > max(1 << 26, 400 * len(data)):
            raise ValueError("the document unpacks to many times its size")
        xml = archive.read("content.xml")
    # The library takes a document that breaks off for one that ends.
    expat.ParserCreate().Parse(xml, True)
    cells = 0
    for match in _REPEATED_CELL.finditer(xml):
        if b"value-type=" in match[0]:
            cells += int(match[1])
    for match in _REPEATED_ROW.finditer(xml):
        stop = xml.find(b"</table:table-row>", match.end())
        cells += int(match[1]) * xml.count(b"value-type=", match.end(), stop if stop >= 0 else len(xml))
    if cells > _MOST_CELLS:
        raise ValueError("more repeated cells than a sheet of readings can have")


def read_beside_ods(data: bytes, sheet: str) -> tuple[Beside, dict[tuple[int, int], str]]:
    """Read formulas, merged and hidden cells of a sheet, and its words for errors, true and false.

    Parameters
    ----------
    data
        The workbook's bytes.
    sheet
        The sheet's name.

    Returns
    -------
    tuple
        What stands beside the values, and the words by row and column (from 0).
    """
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        xml = archive.read("content.xml")
    words: dict[tuple[int, int], str] = {}
    beside = Beside()
    if _MORE.search(xml) is None:
        return beside, words
    inside = False
    depth = row = column = columns = 0
    for event, element in ElementTree.iterparse(io.BytesIO(xml), events=("start", "end")):
        tag = element.tag
        if tag == f"{_TABLE}table":
            depth += 1 if event == "start" else -1
            if depth == 1 and event == "start":
                inside = element.get(f"{_TABLE}name") == sheet
                row = columns = 0
            elif event == "end":
                element.clear()
            continue
        if tag == f"{_TABLE}database-range" and event == "end":
            target = element.get(f"{_TABLE}target-range-address", "")
            if element.find(f"{_TABLE}filter") is not None and sheet in target:
                beside.filtered = True
            continue
        if not inside:
            continue
        if event == "start":
            if tag == f"{_TABLE}table-row":
                column = 0
            continue
        if tag == f"{_TABLE}table-column":
            count = int(element.get(f"{_TABLE}number-columns-repeated", "1"))
            if _is_hidden(element):
                beside.hidden_columns.update(range(columns, columns + min(count, 16384)))
            columns += count
        elif tag in (f"{_TABLE}table-cell", f"{_TABLE}covered-table-cell"):
            count = int(element.get(f"{_TABLE}number-columns-repeated", "1"))
            _cell(element, row, column, min(count, 16384), beside, words)
            column += count
        elif tag == f"{_TABLE}table-row":
            count = int(element.get(f"{_TABLE}number-rows-repeated", "1"))
            if _is_hidden(element):
                beside.filtered |= element.get(f"{_TABLE}visibility") == "filter"
                beside.hidden_rows.update(range(row, row + min(count, _MOST_REPEATED)))
            if 1 < count < _MOST_REPEATED:
                _repeat(row, count, beside, words)
            row += count
            element.clear()
    return beside, words


def _is_hidden(element: ElementTree.Element) -> bool:
    return element.get(f"{_TABLE}visibility") in ("collapse", "filter")


def _cell(
    element: ElementTree.Element,
    row: int,
    column: int,
    count: int,
    beside: Beside,
    words: dict[tuple[int, int], str],
) -> None:
    kind = element.get(f"{_OFFICE}value-type")
    cells = [(row, column + step) for step in range(count)]
    is_formula = element.get(f"{_TABLE}formula") is not None
    shown = "".join("".join(part.itertext()) for part in element.iter(f"{_TEXT}p")).strip()
    is_error = element.get(f"{_CALC}value-type") == "error"
    if is_formula:
        beside.formulas.update(cells)
        if kind is None and not shown:
            beside.uncalculated.update(cells)
    if kind == "boolean":
        word = "True" if element.get(f"{_OFFICE}boolean-value") == "true" else "False"
        words.update(dict.fromkeys(cells, word))
    elif is_error and shown:
        words.update(dict.fromkeys(cells, shown))
    down = int(element.get(f"{_TABLE}number-rows-spanned", "1"))
    across = int(element.get(f"{_TABLE}number-columns-spanned", "1"))
    if down > 1 or across > 1:
        beside.merged.append((row, column, row + down - 1, column + across - 1))


def _repeat(row: int, count: int, beside: Beside, words: dict[tuple[int, int], str]) -> None:
    """A row that stands for several: what it holds stands in each of them."""
    for cells in (beside.formulas, beside.uncalculated):
        columns = [column for at, column in cells if at == row]
        cells.update((later, column) for later in range(row + 1, row + count) for column in columns)
    held = [(column, word) for (at, column), word in words.items() if at == row]
    words.update({(later, column): word for later in range(row + 1, row + count) for column, word in held})
