"""The file behind the sheets: styles, one sheet at a time from top to bottom, text that stays text."""

from __future__ import annotations

import io
import textwrap
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Self

from qualify.figures.absent import Absent, Maybe
from qualify.pack.chances import PROBABILITY_FORMAT, is_near_an_end

ACCENT = "#3C5A66"
SHADE = "#EEEEEA"
QUIET = "#595959"
LONGEST_TEXT = 32_000
"""Cells hold 32,767 characters; what is longer is cut, and says so."""

FIXED_TIME = datetime(2000, 1, 1)
"""Creation time in the file's properties: the same for every workbook, so that same inputs give the
same bytes. When the pack was made stands on the front page."""

_TOP = {"valign": "top"}
_SECTION = {"font_color": ACCENT, "top": 1, "top_color": ACCENT, **_TOP}
_HEADER = {
    "bold": True,
    "text_wrap": True,
    "bg_color": SHADE,
    "bottom": 2,
    "bottom_color": ACCENT,
    **_TOP,
}
STYLES: dict[str, dict[str, Any]] = {
    "title": {"bold": True, "font_size": 14, "font_color": ACCENT},
    "subtitle": {"bold": True, "font_size": 11, "font_color": ACCENT, "bottom": 1, "bottom_color": ACCENT},
    "section": {"bold": True, **_SECTION},
    "section words": {"text_wrap": True, "align": "left", "indent": 1, **_SECTION},
    "note": {"font_color": QUIET},
    "header": _HEADER,
    "header of numbers": {**_HEADER, "align": "right"},
    "plain": {},
    "text": {"text_wrap": True, **_TOP},
    "line": {**_TOP},
    "strong": {"bold": True, **_TOP},
    "strong wrapped": {"bold": True, "text_wrap": True, **_TOP},
    "field": {"bottom": 1, "bottom_color": QUIET},
    "blank": {"border": 1, "border_color": "#A6A6A6", "text_wrap": True, **_TOP},
    "count": {"num_format": "0", **_TOP},
    "count beside": {"num_format": "0", "align": "left", "indent": 1, **_TOP},
    "verdict": {"bold": True, "font_size": 12, **_TOP},
    "raw": {"num_format": "0.0???", **_TOP},
    "raw, interpolated": {"num_format": '0.0???" i"', "italic": True, **_TOP},
    "temperature": {"num_format": "0.000", **_TOP},
    "fine": {"num_format": "0.0000", **_TOP},
    "finest": {"num_format": "0.000000", **_TOP},
    "sum": {"num_format": "0.0000E+00", **_TOP},
    "seconds": {"num_format": "General", **_TOP},
    "strong fine": {"bold": True, "num_format": "0.0000", **_TOP},
    "share": {"num_format": "0.0%", **_TOP},
    "degrees": {"num_format": "[>=1000000]0.0E+00;0.0", "align": "right", **_TOP},
    "probability": {"num_format": "0.000", "align": "right", **_TOP},
    "probability near an end": {"num_format": PROBABILITY_FORMAT, "align": "right", **_TOP},
    "word": {**_TOP},
    "word for number": {"align": "right", **_TOP},
}
_SET_IN = ("text", "line", "strong", "strong wrapped", "word", "header", "verdict", "field")
"""Styles of text that are set in from a number in the column to their left."""
STYLES |= {f"{name}, set in": {**STYLES[name], "align": "left", "indent": 1} for name in _SET_IN}
_LINE_POINTS = 13.0


def _is_of_numbers(header: str) -> bool:
    """Whether a column's header says that numbers stand in it: it ends with a unit, or counts rows."""
    return header.endswith(")") or header.startswith(("Row in", "First row", "Last row", "No."))


def clean(text: str) -> str:
    """Make any text fit for a cell: valid Unicode, and not longer than a cell holds."""
    valid = text.encode("utf-8", "replace").decode("utf-8")
    if len(valid) > LONGEST_TEXT:
        return valid[:LONGEST_TEXT] + " … [cut; whole in record.json]"
    return valid


def lines_of(text: str, width: int) -> list[str]:
    """Break text into lines of at most `width` characters."""
    return textwrap.wrap(clean(text), width, break_on_hyphens=False) or [""]


def column_letters(column: int) -> str:
    """Name a column by its letters: 0 → A, 27 → AB."""
    from xlsxwriter.utility import xl_col_to_name

    name: str = xl_col_to_name(column)
    return name


def _for_number(style: str, value: float | str) -> str:
    """Show whole seconds without decimals, others with three."""
    if style == "seconds" and not isinstance(value, str) and value != round(value, 0):
        return "temperature"
    return style


def width_for(name: str, least: float) -> float:
    """Give a column's width so that a file's or location's name stands unbroken in its header."""
    return max(least, min(len(name) + 3.0, 26.0))


class Sheet:
    """One sheet, written row by row from the top; a row that was left can't be written again."""

    def __init__(self, worksheet: Any, styles: dict[str, Any], name: str, widths: Sequence[float]) -> None:
        self._sheet = worksheet
        self._styles = styles
        self.name = name
        self.row = 0
        self._lines = 1
        self.widths = tuple(widths)
        for column, width in enumerate(widths):
            worksheet.set_column(column, column, width)
        worksheet.set_paper(9)
        worksheet.hide_gridlines(2)
        worksheet.set_margins(left=0.5, right=0.4, top=0.6, bottom=0.6)

    @property
    def excel_row(self) -> int:
        """The number that the sheet shows beside the row now being written."""
        return self.row + 1

    def text(self, column: int, text: str, style: str = "text") -> None:
        """Write text that never becomes a formula, a number or a link."""
        if column > 0 and style in _SET_IN:
            style = f"{style}, set in"
        if STYLES[style].get("text_wrap"):
            self._lines = max(self._lines, self._lines_in(text, column, style))
        if text == "":
            self._sheet.write_blank(self.row, column, None, self._styles[style])
        else:
            self._sheet.write_string(self.row, column, clean(text), self._styles[style])

    def number(self, column: int, value: float, style: str) -> None:
        """Write a number, unrounded."""
        self._sheet.write_number(self.row, column, value, self._styles[_for_number(style, value)])

    def maybe(self, column: int, value: Maybe | None, style: str) -> None:
        """Write a figure, or the word "absent"; nothing for None."""
        if isinstance(value, Absent):
            self.text(column, "absent", "word for number")
        elif value is not None:
            self.number(column, value, style)

    def probability(self, column: int, value: Maybe | None) -> None:
        """Write a probability, which is shown in words near 0 and 1; or the word "absent"."""
        near = isinstance(value, float) and is_near_an_end(value)
        self.maybe(column, value, "probability near an end" if near else "probability")

    def formula(self, column: int, formula: str, value: float | str, style: str) -> None:
        """Write a formula with the engine's value as its cached result."""
        chosen = self._styles[_for_number(style, value)]
        self._sheet.write_formula(self.row, column, "=" + formula, chosen, value)

    def at_least(self, lines: int) -> None:
        """Make the row at least so many lines high."""
        self._lines = max(self._lines, lines)

    def next(self, rows: int = 1) -> None:
        """Go down; the row that is left becomes as high as its wrapped text needs."""
        if rows > 0:
            if self._lines > 1:
                self._sheet.set_row(self.row, min(_LINE_POINTS * self._lines + 2.0, 400.0))
            self._lines = 1
            self.row += rows

    def _lines_in(self, text: str, column: int, style: str) -> int:
        """About how many lines a wrapped text takes in its column; rather one too many."""
        if column >= len(self.widths):
            return 1
        bold = STYLES[style].get("bold", False)
        room = max(3, int((self.widths[column] - 1.0) * (1.06 if bold else 1.2)))
        return sum(len(textwrap.wrap(part, room)) or 1 for part in text[:5000].split("\n"))

    def title(self, text: str) -> None:
        """Write the sheet's title."""
        self.text(0, text, "title")
        self._sheet.set_row(self.row, 21)
        self.next()

    def note(self, text: str, width: int | None = None, column: int = 0) -> None:
        """Write a note in as many rows as it needs; it runs over the empty cells to its right."""
        for line in lines_of(text, width or int(min(sum(self.widths), 150))):
            self.text(column, line, "note")
            self.next()

    def section(self, text: str, definition: str = "") -> None:
        """Write a heading across the columns, with a definition in the last."""
        last = len(self.widths) - 1
        self.text(0, text, "section")
        for column in range(1, last):
            self.text(column, "", "section")
        self.text(last, definition, "section words")
        self.next()

    def header(self, words: Sequence[str], *, frozen_columns: int | None = None) -> None:
        """Write the header row; with `frozen_columns` it stays in view and is printed on each page."""
        for column, word in enumerate(words):
            self.text(column, word, "header of numbers" if _is_of_numbers(word) else "header")
        if frozen_columns is not None:
            self._sheet.freeze_panes(self.row + 1, frozen_columns)
            self._sheet.repeat_rows(self.row)
        self.next()

    def fit(self, *, landscape: bool = True, pages_wide: int = 1, pages_tall: int = 0) -> None:
        """Fit the print to so many pages."""
        if landscape:
            self._sheet.set_landscape()
        self._print_area()
        self._sheet.fit_to_pages(pages_wide, pages_tall)

    def print_in_strips(self, scale: int, key_columns: int, groups: Sequence[int]) -> None:
        """Print a wide sheet in strips of whole groups of columns, key columns on each.

        Parameters
        ----------
        scale
            Print scale [%].
        key_columns
            Columns that are printed on every page.
        groups
            The first column of each group that should not be torn, rising.
        """
        self._sheet.set_landscape()
        self._print_area()
        self._sheet.set_print_scale(scale)
        self._sheet.repeat_columns(0, key_columns - 1)
        room = 265.0 / 0.2646 / (scale / 100)  # a landscape A4's width in pixels, margins off

        def pixels(first: int, last: int) -> float:
            return sum(7 * width + 5 for width in self.widths[first:last])

        key = pixels(0, key_columns)
        breaks: list[int] = []
        begin = key_columns
        ends = [*groups[1:], len(self.widths)]
        for first, end in zip(groups, ends, strict=True):
            if first > begin and key + pixels(begin, end) > room:
                breaks.append(first)
                begin = first
        if breaks:
            self._sheet.set_v_pagebreaks(breaks)

    def _print_area(self) -> None:
        """Print the columns of the sheet, and not what a long text runs over."""
        self._sheet.print_area(0, 0, max(self.row - 1, 0), len(self.widths) - 1)

    def footer(self, text: str) -> None:
        """Print the sheet's name and page numbers at the foot of each page."""
        self._sheet.set_footer(f"&L&8{text}&R&8&A · page &P of &N")


def _plain_worksheet() -> type[Any]:
    """Give the library's worksheet without its search of each formula for new functions' names.

    No formula here uses such a function, and the search takes nine tenths of the time of writing.
    """
    from xlsxwriter.worksheet import Worksheet

    class PlainWorksheet(Worksheet):  # type: ignore[misc]
        def _prepare_formula(self, formula: str, expand_future_functions: bool = False) -> str:
            return formula.removeprefix("=")

    return PlainWorksheet


class Book:
    """A workbook in memory; written to its path in one go."""

    def __init__(self, footer: str) -> None:
        import xlsxwriter

        self._bytes = io.BytesIO()
        self._folder = TemporaryDirectory()
        self._book = xlsxwriter.Workbook(
            self._bytes,
            {
                # one row at a time: a sheet of a million cells needs no more memory than its bytes
                "constant_memory": True,
                "tmpdir": self._folder.name,
                "strings_to_formulas": False,
                "strings_to_numbers": False,
                "strings_to_urls": False,
                "default_format_properties": {"font_name": "Arial", "font_size": 10},
            },
        )
        self._book.set_properties({"created": FIXED_TIME})
        self._styles = {name: self._book.add_format(style) for name, style in STYLES.items()}
        self._worksheet = _plain_worksheet()
        self._footer = footer.replace("&", "&&")

    def sheet(self, name: str, widths: Sequence[float]) -> Sheet:
        """Begin the next sheet."""
        worksheet = self._book.add_worksheet(name, worksheet_class=self._worksheet)
        sheet = Sheet(worksheet, self._styles, name, widths)
        sheet.footer(self._footer[:150])
        return sheet

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *raised: object) -> None:
        """Leave no temporary file behind, also where writing failed."""
        self._folder.cleanup()

    def write(self, path: Path) -> None:
        """Write the file."""
        self._book.close()
        path.write_bytes(self._bytes.getvalue())
