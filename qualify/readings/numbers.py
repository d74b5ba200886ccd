"""Numbers as text: which marks they are written with, and what they are worth.

A number has a decimal mark and may have a thousands mark. Where a file shows both in one number, or a
mark that can only set off thousands, the marks are known; where a mark could be either, nothing is guessed.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

from qualify.findings import Doubt, DoubtKind, RefusalKind

MARK_UNCLEAR = RefusalKind(
    "decimal-mark-unclear",
    what="{sign_name}s in numbers such as '{cell}' may set off thousands or decimals",
    why="1,234 is 1234 or 1.234: the two can't be told apart here.",
    mend="add --decimal-mark point or --decimal-mark comma (with --thousands-mark where it is one).",
)
MARKS_SAME = RefusalKind(
    "marks-same",
    what="the decimal mark and the thousands mark are both the {mark}",
    why="One sign can't be both.",
    mend="correct --decimal-mark or --thousands-mark.",
)

THREE_DIGITS = DoubtKind(
    "three-digits-behind-every-comma",
    "every number has three digits behind its comma, such as '{cell}'; the comma was read as the decimal "
    "mark, since numbers under a thousand would have none. To pin it add --decimal-mark comma; if it sets "
    "off thousands, --thousands-mark comma",
)

ONE_MARK = DoubtKind(
    "one-number-with-a-mark",
    "of all numbers that were looked at only '{cell}' has a mark; it was read as the decimal mark, but may "
    "be a damage. To pin it add --decimal-mark",
)

SIGNS = {"point": ".", "comma": ",", "space": " ", "apostrophe": "'", "none": ""}
"""The marks by their names in options and plans."""
_MANY = 12
NAMES = {sign: name for name, sign in SIGNS.items()}

_BLANKS = " \u00a0\u2009\u202f"
_APOSTROPHES = "'\u2019"
_CLASSES = {".": r"\.", ",": ",", " ": f"[{_BLANKS}]", "'": f"[{_APOSTROPHES}]"}
_EXPONENT = r"(?:[eE][+-]?\d+)?"
_DIGITS_AND_MARKS = re.compile(rf"\s*[+-]?\d[\d.,{_APOSTROPHES}\s]*{_EXPONENT}\s*")


@dataclass(frozen=True, slots=True)
class Marks:
    """How a file writes its numbers: the decimal mark and the thousands mark ("" for none)."""

    decimal: str = "."
    thousands: str = ""

    @property
    def words(self) -> Mapping[str, str]:
        """The marks in words that a person can check."""
        return {"decimal mark": NAMES[self.decimal], "thousands mark": NAMES[self.thousands]}

    @property
    def told(self) -> Mapping[str, str]:
        """The options that would say the same."""
        return {"decimal_mark": NAMES[self.decimal], "thousands_mark": NAMES[self.thousands]}

    @property
    def foreign_to_parsers(self) -> bool:
        """Whether numbers must be read as text, because a parser would drop thousands marks anywhere."""
        return bool(self.thousands)


@lru_cache(maxsize=16)
def _pattern(marks: Marks) -> re.Pattern[str]:
    decimal = _CLASSES[marks.decimal]
    plain = rf"(?:\d+(?:{decimal}\d*)?|{decimal}\d+){_EXPONENT}"
    if marks.thousands:
        grouped = rf"\d{{1,3}}(?:{_CLASSES[marks.thousands]}\d{{3}})+(?:{decimal}\d*)?"
        plain = f"(?:{grouped}|{plain})"
    return re.compile(rf"\s*[+-]?{plain}\s*", re.ASCII)


def is_number(text: str, marks: Marks) -> bool:
    """Whether `text` is a number written with these marks."""
    return _pattern(marks).fullmatch(text) is not None


def value_of(text: str, marks: Marks) -> float:
    """The value of a number that `is_number` accepts."""
    if marks.thousands:
        for sign in _BLANKS if marks.thousands == " " else _APOSTROPHES if marks.thousands == "'" else "":
            text = text.strip().replace(sign, "")
        text = text.replace(marks.thousands, "")
    return float(text.replace(marks.decimal, "."))


POINT = Marks(".")
COMMA = Marks(",")
_GROUPED = tuple(
    Marks(decimal, thousands)
    for decimal in ".,"
    for thousands in (".", ",", "'", " ")
    if decimal != thousands
)


_ANY = re.compile("|".join(_pattern(marks).pattern for marks in (POINT, COMMA, *_GROUPED)), re.ASCII)


def is_any_number(text: str) -> bool:
    """Whether `text` is a number with any marks that are in use."""
    return _ANY.fullmatch(text) is not None


def is_other_notation(text: str, marks: Marks) -> bool:
    """Whether `text` is made of digits and marks as a number is, but isn't one with these marks."""
    return _DIGITS_AND_MARKS.fullmatch(text) is not None and not is_number(text, marks)


@dataclass(frozen=True, slots=True)
class FoundMarks:
    """The marks of a file (None where no number has one), and a number that left a doubt about them."""

    marks: Marks | None
    doubtful: str = ""
    kind: DoubtKind = THREE_DIGITS

    def doubts(self, file: str, rows: Sequence[Sequence[str]], names: Sequence[str]) -> tuple[Doubt, ...]:
        """List the doubt, where there is one, with its place among the file's first rows."""
        if not self.doubtful:
            return ()
        for number, row in enumerate(rows, start=1):
            for column, cell in enumerate(row):
                if cell.strip() == self.doubtful and column < len(names):
                    return (self.kind(file=file, row=number, column=names[column], cell=self.doubtful),)
        return (self.kind(file=file, cell=self.doubtful),)


def find_marks(cells: Sequence[str], file: str, *, decimal: str | None, thousands: str | None) -> FoundMarks:
    """Tell the marks from cells of numbers.

    Parameters
    ----------
    cells
        Cells that may be numbers; others are passed over.
    file
        The file's name, for messages.
    decimal, thousands
        The marks that the user told, by name, or None.

    Raises
    ------
    Refusal
        If a mark may set off thousands as well as decimals, or both are told the same.
    """
    told_decimal = None if decimal is None else SIGNS[decimal]
    told_thousands = None if thousands is None else SIGNS[thousands]
    if told_decimal is not None and told_decimal == told_thousands:
        raise MARKS_SAME(file=file, mark=decimal)
    numbers = [text for text in map(str.strip, cells) if is_any_number(text)]
    if told_decimal is not None:
        if told_thousands is None:
            told_thousands = _thousands(numbers, told_decimal)
        return FoundMarks(Marks(told_decimal, told_thousands))
    if told_thousands:
        left = [sign for sign in ".," if sign != told_thousands]
        return FoundMarks(Marks(_decimal_sign(numbers, left), told_thousands))
    sure = [marks for text in numbers if (marks := _sure(text)) is not None]
    # One such number alone may be a damaged one; two, with no long number that lacks the mark, are a habit.
    if len(sure) > 1 and told_thousands is None and not any(map(_long_without_mark, numbers)):
        # The commonest wins, and each cell written otherwise is refused by its row.
        return FoundMarks(max(dict.fromkeys(sure), key=sure.count))
    marked = [text for text in numbers if ("," in text or "." in text) and "e" not in text.casefold()]
    if told_thousands is None and len(marked) == 1 and len(numbers) >= _MANY:
        return FoundMarks(COMMA if "," in marked[0] else POINT, marked[0], ONE_MARK)
    commas = [text for text in numbers if "," in text]
    points = [text for text in numbers if "." in text]
    if not commas:
        if points and told_thousands is None:
            _must_be_decimals(points, numbers, ".", file)
        return FoundMarks(POINT if points else None)
    if points:
        # Mixed marks: the commoner is taken, and each cell with the other is refused by its row.
        return FoundMarks(COMMA if len(commas) > len(points) else POINT)
    if told_thousands is None:
        _must_be_decimals(commas, numbers, ",", file)
        if all(_as_thousands(text, ",") for text in commas):
            return FoundMarks(COMMA, commas[0])
    return FoundMarks(COMMA)


def _sure(text: str) -> Marks | None:
    """The marks of a number that can be read in one way only and has a thousands mark."""
    body = text.lstrip("+-")
    if "," in body and "." in body:
        last = "," if body.rfind(",") > body.rfind(".") else "."
        marks = Marks(last, "," if last == "." else ".")
        return marks if is_number(text, marks) else None
    for sign in " '":
        if any(character in body for character in (_BLANKS if sign == " " else _APOSTROPHES)):
            marks = Marks("," if "," in body else ".", sign)
            return marks if is_number(text, marks) else None
    for sign, other in ((",", "."), (".", ",")):
        if body.count(sign) > 1:
            marks = Marks(other, sign)
            return marks if is_number(text, marks) else None
    return None


def _long_without_mark(text: str) -> bool:
    """Whether a number has four digits or more in a row in front of its decimal mark."""
    return re.match(r"[+-]?\d{4}", text) is not None


def _thousands(numbers: Sequence[str], decimal: str) -> str:
    """The thousands mark that numbers show beside a known decimal mark; "" for none."""
    found = {marks.thousands for text in numbers if (marks := _sure(text)) and marks.decimal == decimal}
    return found.pop() if len(found) == 1 else ""


def _decimal_sign(numbers: Sequence[str], left: Sequence[str]) -> str:
    return max(left, key=lambda sign: sum(sign in text for text in numbers))


def _must_be_decimals(marked: Sequence[str], numbers: Sequence[str], sign: str, file: str) -> None:
    """Refuse where every mark has three digits behind it and stands in some numbers only.

    For points, which are decimals in most files, only where a number of more digits has none: 1.234 beside
    987 may be thousands, beside 0.987 it is not.
    """
    if len(marked) == len(numbers) or not all(_as_thousands(text, sign) for text in marked):
        return
    if sign == "." and any(len(text.lstrip("+-")) > 3 for text in numbers if sign not in text):
        return
    raise MARK_UNCLEAR(file=file, cell=marked[0], sign_name=NAMES[sign])


def _as_thousands(text: str, sign: str) -> bool:
    """Whether the only mark of a number stands where one for thousands would."""
    front, _, behind = text.lstrip("+-").partition(sign)
    return len(behind) == 3 and behind.isdigit() and 1 <= len(front) <= 3 and front.lstrip("0") != ""
