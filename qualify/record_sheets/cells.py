"""Cells of record sheets: numbers, days, yes and no. What can be read in two ways is refused."""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, time

from qualify.findings import RefusalKind, nearest
from qualify.readings.numbers import COMMA, POINT, Marks, is_number, value_of
from qualify.record_sheets.tables import SheetOptions, SheetRow

CELL = RefusalKind(
    "record-sheet-cell",
    what="'{text}' is not {expected}",
    why="A cell that is read otherwise than it was meant changes what is judged.",
    mend="correct the cell.",
)
NUMBER_WITH_UNIT = RefusalKind(
    "record-sheet-number-with-unit",
    what="'{text}' holds a number and something else",
    why="The unit has a column of its own, so that it can be checked and converted.",
    mend="write {number} here and '{rest}' in the column {unit_column}.",
)
DECIMAL_MARK = RefusalKind(
    "record-sheet-decimal-mark",
    what="'{text}' can be read in two ways",
    why="{why}",
    mend="write decimals with a point and no mark for thousands, or tell the sheet's decimal mark "
    "(point or comma) in the plan.",
)
DAY_ORDER = RefusalKind(
    "record-sheet-day-order",
    what="whether day or month stands first in '{text}' can't be told",
    why="04.03.2026 is a day in March or in April, and whether a certificate was in force hangs on it.",
    mend="write days such as 2026-03-04, or tell the sheet's order of dates (day-first or month-first) "
    "in the plan.",
)

DAY_ORDERS = ("day-first", "month-first", "year-first")
_ISO = re.compile(
    r"(\d{4}-\d{2}-\d{2})(?:[T ](\d{2}:\d{2}(?::\d{2}(?:\.\d+)?)?(?:Z|[+-]\d{2}:\d{2})?))?", re.ASCII
)
_PARTS = re.compile(r"(\d{1,4})\s*[./-]\s*(\d{1,2})\s*[./-]\s*(\d{1,4})", re.ASCII)
_TIME_OF_DAY = re.compile(r"\d{2}:\d{2}(?::\d{2}(?:\.\d+)?)?", re.ASCII)
_LEADING_NUMBER = re.compile(r"([+-]?\d[\d.,]*(?:[eE][+-]?\d+)?)\s*(\D.*)", re.ASCII)
_SURE_COMMA = re.compile(r"[+-]?(?:\d*,(?!\d{3}$)\d+|0+,\d+|\d{4,},\d+|,\d+)", re.ASCII)
_MAYBE_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}", re.ASCII)


def same_words(one: str, other: str) -> bool:
    """Whether two texts say the same: trimmed, without regard to case; exact otherwise.

    Letters with an accent count as the same however they are encoded.
    """
    return _folded(one) == _folded(other)


def _folded(text: str) -> str:
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", text.strip()).casefold())


# ---- numbers ----


def _sign_as_typed(text: str) -> str:
    return text.replace("−", "-")


def find_decimal_mark(cells: Iterable[tuple[SheetRow, str]], options: SheetOptions) -> Marks:
    """Tell a sheet's decimal mark from its cells of numbers.

    A comma is taken for the decimal mark where it can't set off thousands: not three digits behind it, or a
    zero in front. Points are decimals where no comma says otherwise. Marks for thousands are never read.

    Parameters
    ----------
    cells
        Row and column of each cell that should hold a number.
    options
        What was told.

    Raises
    ------
    Refusal
        If a comma may set off thousands, or commas and points are mixed.
    """
    if options.decimal_mark is not None:
        return {"point": POINT, "comma": COMMA}[options.decimal_mark]
    typed = [
        (row, column, _sign_as_typed(row[column]))
        for row, column in cells
        if column not in row.stored_numbers
    ]
    commas = [place for place in typed if _SURE_COMMA.fullmatch(place[2])]
    points = [place for place in typed if "." in place[2] and is_number(place[2], POINT)]
    if commas and points:
        row, column, text = points[0]
        other = f"'{commas[0][2]}' in row {commas[0][0].number}"
        why = f"{other} has a decimal comma, so that a point may set off thousands."
        raise DECIMAL_MARK(text=text, why=why, **row.where(column))
    for row, column, text in typed:
        if not commas and _MAYBE_THOUSANDS.fullmatch(text):
            why = "Its comma may be the decimal mark or set off thousands."
            raise DECIMAL_MARK(text=text, why=why, **row.where(column))
    return COMMA if commas else POINT


def number(row: SheetRow, column: str, marks: Marks, *, unit_column: str) -> float:
    """Read a cell that must hold a number and nothing else.

    Parameters
    ----------
    row, column
        The cell.
    marks
        The sheet's decimal mark.
    unit_column
        Where the cell's unit belongs.

    Raises
    ------
    Refusal
        If it holds anything else.
    """
    text = _sign_as_typed(row[column])
    read = POINT if column in row.stored_numbers else marks
    readable = is_number(text, read)
    if readable and math.isfinite(value := value_of(text, read)):
        return value
    beside = _LEADING_NUMBER.fullmatch(text)
    if not readable and beside is not None and re.search(r"[^\W\d_]|[°%\"]", beside[2]):
        raise NUMBER_WITH_UNIT(
            text=text, number=beside[1], rest=beside[2].strip(), unit_column=unit_column, **row.where(column)
        )
    expected = (
        f"a number (decimal {'comma' if read.decimal == ',' else 'point'}, no mark for thousands, no < or ±)"
    )
    raise CELL(text=text, expected=expected, **row.where(column))


# ---- days ----


@dataclass(frozen=True, slots=True)
class Moment:
    """A day, and the cell as it was written, which may hold a time of day too."""

    day: date
    text: str


def moment(row: SheetRow, column: str, options: SheetOptions) -> Moment | None:
    """Read a day, with a time of day or without; None where the cell is blank.

    2026-03-02, 2026-03-02 14:05 and 2026-03-02T14:05:00+01:00 are read always; other orders only as told.

    Raises
    ------
    Refusal
        If the order of day and month is open, or there is no such day.
    """
    text = row[column]
    if not text:
        return None
    iso = _ISO.fullmatch(text)
    parts = _PARTS.fullmatch(text)
    try:
        if iso is not None:
            if iso[2]:
                time.fromisoformat(iso[2])
            return Moment(date.fromisoformat(iso[1]), text)
        if parts is not None and options.dates is not None:
            return Moment(_day([parts[1], parts[2], parts[3]], options.dates), text)
    except ValueError:
        pass
    if parts is not None and iso is None and options.dates is None:
        raise DAY_ORDER(text=text, **row.where(column))
    raise CELL(text=text, expected="a day that exists, written such as 2026-03-02", **row.where(column))


def _day(parts: Sequence[str], order: str) -> date:
    places = {"day-first": (2, 1, 0), "month-first": (2, 0, 1), "year-first": (0, 1, 2)}[order]
    if len(parts[places[0]]) != 4:
        raise ValueError("a year has four digits")
    year, month, day = (int(parts[place]) for place in places)
    return date(year, month, day)


def time_text(row: SheetRow, column: str, options: SheetOptions) -> str:
    """Read a time, "14:05" or with its day, as text; "" where the cell is blank.

    Raises
    ------
    Refusal
        If it is neither.
    """
    text = row[column]
    if _TIME_OF_DAY.fullmatch(text):
        try:
            time.fromisoformat(text)
        except ValueError:
            raise CELL(text=text, expected="a time of day", **row.where(column)) from None
        return text
    found = moment(row, column, options)
    return "" if found is None else found.text


# ---- words ----

_YES_NO = {"yes": True, "true": True, "no": False, "false": False}


def yes_no(row: SheetRow, column: str) -> bool | None:
    """Read yes or no; None where the cell is blank.

    Raises
    ------
    Refusal
        If it holds anything else.
    """
    text = row[column].casefold()
    if not text:
        return None
    if text not in _YES_NO:
        raise CELL(text=row[column], expected="yes or no", **row.where(column))
    return _YES_NO[text]


def one_of(row: SheetRow, column: str, words: Sequence[str]) -> str:
    """Read one of a few words, in any case; "" where the cell is blank.

    Raises
    ------
    Refusal
        If it is none of them.
    """
    text = row[column].casefold()
    if text and text not in words:
        expected = f"one of {', '.join(words)}{nearest(text, list(words))}"
        raise CELL(text=row[column], expected=expected, **row.where(column))
    return text
