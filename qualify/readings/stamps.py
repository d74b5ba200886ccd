"""Dates, times of day and UTC offsets out of text cells.

Columns of time are parsed whole, with numpy: cells of one shape (the same characters but for the digits)
have their fields at the same places, so that a pattern is tried, and the name of a month looked up, once a
shape. No locale, no zone of the machine, no guess takes part.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from qualify.findings import Doubt, DoubtKind, RefusalKind
from qualify.readings.calendar_names import MONTHS, WEEKDAYS
from qualify.readings.cells import DATE, STAMP, CellPattern
from qualify.readings.instants import SECOND, TIME_UNREADABLE, offset_word
from qualify.readings.model import IntArray
from qualify.readings.table import Column

DATES_AMBIGUOUS = RefusalKind(
    "dates-ambiguous",
    what="the dates, such as '{cell}', can be read {ways}",
    why="No field of the file settles the order of day and month, and the wrong one moves the whole record.",
    mend="add --dates day-first, --dates month-first or --dates year-first.",
)
DATES_CONTRADICT = RefusalKind(
    "dates-contradict",
    what="no one order of day, month and year fits all dates; '{cell}' is not a date when read {order}",
    why="The dates were written in two ways or damaged, and a wrong order moves readings in time.",
    mend="look at the date in the file; if another order is meant, add --dates day-first, "
    "month-first or year-first.",
)
DATES_IN_TWO_FORMS = RefusalKind(
    "dates-in-two-forms",
    what="the date '{cell}' is written in another form than '{other}' above it",
    why="A spreadsheet that understood only part of the dates may have swapped day and month in the others.",
    mend="export the file from the logger again without opening it in a spreadsheet.",
)
WEEKDAY_CONTRADICTS = RefusalKind(
    "weekday-contradicts",
    what="the date '{cell}', read {order}, is a {weekday}, and the cell names another day of the week",
    why="Either is wrong, and a wrong date moves readings in time.",
    mend="look at the date in the file; if another order is meant, add --dates day-first, "
    "month-first or year-first.",
)
OFFSET_IN_PART = RefusalKind(
    "utc-offset-in-part",
    what="some times carry a UTC offset and some don't, from '{cell}' on",
    why="The two can't be put on one time axis.",
    mend="export the file again with one kind of time stamp.",
)
UTC_OFFSETS_MIXED = DoubtKind(
    "utc-offsets-mixed",
    "the UTC offset changes in this row from {first} to {other}; instants are in order of UTC and "
    "printed with {first}",
)

ORDERS = {"day-first": (2, 1, 0), "month-first": (2, 0, 1), "year-first": (0, 1, 2)}
"""Index of year, month and day among a date's three fields."""

_LETTERS = frozenset(("half", "sign", "offset", "sep", "gap"))
_NAMES: Mapping[str, Mapping[str, int]] = {
    "month": MONTHS,
    "month_in_front": MONTHS,
    "weekday": WEEKDAYS,
}
_DAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
_DATE_GROUPS: tuple[tuple[str, ...], ...] = (
    ("first", "second", "third"),
    ("front", "month", "back"),
    ("month_in_front", "day", "year"),
    ("compact",),
)
_LARGEST_OFFSET_S = 15 * 3600
_LONGEST_CELL = 80
_BLOCK_CELLS = 1 << 18
"""So many cells are cut at once: their characters take far more room than the cells."""


@dataclass(frozen=True, slots=True)
class Fields:
    """What a pattern's groups hold in every cell of a column; groups that no cell has are left out.

    Groups of digits are numbers, -1 where a cell has none; names of months and days their numbers, letters
    and signs their character codes, both 0 where a cell has none.
    """

    count: int
    values: Mapping[str, IntArray]
    digit_counts: Mapping[str, IntArray]

    def __contains__(self, name: str) -> bool:
        return name in self.values

    def value(self, name: str) -> IntArray:
        """The group's values."""
        absent = 0 if name in _LETTERS or name in _NAMES else -1
        found = self.values.get(name)
        return _same(absent, self.count) if found is None else found

    def digits(self, name: str) -> IntArray:
        """How many digits the group has in each cell, 0 where it has none."""
        found = self.digit_counts.get(name)
        return _same(0, self.count) if found is None else found


@dataclass(frozen=True, slots=True)
class _Dates:
    """The three fields of dates that are all written in one form, and how many digits each has."""

    values: tuple[IntArray, IntArray, IntArray]
    digits: tuple[IntArray, IntArray, IntArray]
    separator: str
    form: int


def _same(value: int, count: int) -> IntArray:
    return np.broadcast_to(np.int64(value), (count,))


def cut(file: str, column: str, cells: Column, rows: IntArray, pattern: CellPattern, form: str) -> Fields:
    """Cut the fields that `pattern` names out of every cell.

    Parameters
    ----------
    file, column
        The file's name and the raw header, for messages.
    cells, rows : (n,)
        The cells as text, and their row numbers.
    pattern
        The pattern that every cell must match as a whole.
    form
        What the pattern stands for, for messages.

    Raises
    ------
    Refusal
        At the first cell that doesn't match.
    """
    longest = max(map(len, cells)) if cells.dtype == object else 0
    if longest > _LONGEST_CELL:
        at = next(index for index, cell in enumerate(cells) if len(cell) == longest)
        shown = f"{str(cells[at])[:_LONGEST_CELL]} ..."
        raise TIME_UNREADABLE(file=file, row=int(rows[at]), column=column, cell=shown, form=form)
    blocks = [slice(at, at + _BLOCK_CELLS) for at in range(0, len(cells), _BLOCK_CELLS)]
    parts = [_cut_block(file, column, cells[block], rows[block], pattern, form) for block in blocks]
    if len(parts) == 1:
        return parts[0]
    # Groups that a block lacks have their "none" there.
    values = {name: None for part in parts for name in part.values}
    digits = {name: None for part in parts for name in part.digit_counts}
    return Fields(
        len(cells),
        {name: np.concatenate([part.value(name) for part in parts]) for name in values},
        {name: np.concatenate([part.digits(name) for part in parts]) for name in digits},
    )


def _cut_block(
    file: str, column: str, cells: Column, rows: IntArray, pattern: CellPattern, form: str
) -> Fields:
    text = np.asarray(cells, dtype=np.str_)
    count = len(text)
    width = max(text.dtype.itemsize // 4, 1)
    codes = np.ascontiguousarray(text.astype(f"U{width}")).view(np.uint32).reshape(count, width)
    digit = (codes >= ord("0")) & (codes <= ord("9"))
    shapes = np.where(digit, np.uint32(ord("0")), codes)
    if (shapes == shapes[0]).all():
        kinds, member = shapes[:1], np.zeros(count, dtype=np.int64)
    else:
        joined = np.ascontiguousarray(shapes).view(f"U{width}").ravel()
        unique, member = np.unique(joined, return_inverse=True)
        kinds = unique.view(np.uint32).reshape(len(unique), width)
    examples = ["".join(map(chr, kind)).rstrip("\0") for kind in kinds]
    matches = [pattern.fullmatch(example) for example in examples]
    bad = [int(np.flatnonzero(member == kind)[0]) for kind, match in enumerate(matches) if match is None]
    if bad:
        at = min(bad)
        raise TIME_UNREADABLE(
            file=file, row=int(rows[at]), column=column, cell=str(text[at]).strip(), form=form
        )
    values: dict[str, IntArray] = {}
    digit_counts: dict[str, IntArray] = {}
    for kind, (example, match) in enumerate(zip(examples, matches, strict=True)):
        assert match is not None
        chosen = slice(None) if len(examples) == 1 else np.flatnonzero(member == kind)
        for name, found in match.groupdict().items():
            if not found:
                continue
            begin, end = match.span(name)
            if name in _NAMES:
                _put(values, name, count, chosen, _NAMES[name][found.casefold()], absent=0)
            elif name in _LETTERS:
                _put(values, name, count, chosen, ord(example[begin]), absent=0)
            else:
                powers = 10 ** np.arange(end - begin - 1, -1, -1, dtype=np.int64)
                numbers = (codes[chosen, begin:end].astype(np.int64) - ord("0")) @ powers
                _put(values, name, count, chosen, numbers, absent=-1)
                _put(digit_counts, name, count, chosen, end - begin, absent=0)
    return Fields(count, values, digit_counts)


def _put(
    into: dict[str, IntArray],
    name: str,
    count: int,
    chosen: slice | IntArray,
    value: int | IntArray,
    *,
    absent: int,
) -> None:
    if isinstance(chosen, slice):
        into[name] = value if isinstance(value, np.ndarray) else _same(value, count)
        return
    if name not in into:
        into[name] = np.full(count, absent, dtype=np.int64)
    into[name][chosen] = value


def _one_form(file: str, column: str, fields: Fields, cells: Column, rows: IntArray) -> _Dates:
    """The three fields of dates, refused where they are written in more than one form."""
    present = [form for form, group in enumerate(_DATE_GROUPS) if group[0] in fields]
    form_of = np.zeros(fields.count, dtype=np.int64)
    for form in present:
        absent = 0 if _DATE_GROUPS[form][0] in _NAMES else -1
        form_of[fields.value(_DATE_GROUPS[form][0]) != absent] = form
    form = int(form_of[0])
    group = _DATE_GROUPS[form]
    if group == ("compact",):
        number = fields.value("compact")
        values = (number // 10_000, number // 100 % 100, number % 100)
        digits = (_same(4, fields.count), _same(2, fields.count), _same(2, fields.count))
    else:
        values = (fields.value(group[0]), fields.value(group[1]), fields.value(group[2]))
        digits = (fields.digits(group[0]), fields.digits(group[1]), fields.digits(group[2]))
    separator = fields.value("sep") + fields.value("gap")
    shape = form_of + 8 * (digits[0] > 2) + 16 * (digits[2] > 2) + 32 * separator
    other = np.flatnonzero(shape != shape[0])
    if len(other):
        at = int(other[0])
        raise DATES_IN_TWO_FORMS(
            file=file,
            row=int(rows[at]),
            column=column,
            cell=str(cells[at]).strip(),
            other=str(cells[0]).strip(),
        )
    return _Dates(values, digits, chr(int(separator[0])), form)


def days_of(
    file: str, column: str, fields: Fields, cells: Column, rows: IntArray, told: str | None
) -> tuple[IntArray, str, str]:
    """Days since 1970 of a column of dates.

    Parameters
    ----------
    file, column
        The file's name and the raw header, for messages.
    fields
        What was cut out of the cells.
    cells, rows : (n,)
        The cells and their row numbers, for messages.
    told
        The order of day, month and year that the user told, or None.

    Returns
    -------
    days : (n,) int64
        Days since 1970.
    order
        A key of `ORDERS`.
    words
        The order, and what settles it, in words.

    Raises
    ------
    Refusal
        If the order stays open, or a cell is no date in it.
    """
    dates = _one_form(file, column, fields, cells, rows)
    order, words = _date_order(file, column, dates, cells, rows, told)
    year_at, month_at, day_at = ORDERS[order]
    year, month, day = dates.values[year_at], dates.values[month_at], dates.values[day_at]
    year = np.where(dates.digits[year_at] <= 2, year + 2000, year)
    sound = (month >= 1) & (month <= 12) & (year >= 1900) & (year <= 2199) & (dates.digits[day_at] <= 2)
    first_of_month = ((year - 1970) * 12 + np.where(sound, month, 1) - 1).astype("datetime64[M]")
    first_day = first_of_month.astype("datetime64[D]").astype(np.int64)
    length = (first_of_month + np.timedelta64(1, "M")).astype("datetime64[D]").astype(np.int64) - first_day
    wrong = np.flatnonzero(~sound | (day < 1) | (day > length))
    if len(wrong):
        at = int(wrong[0])
        raise DATES_CONTRADICT(
            file=file, row=int(rows[at]), column=column, cell=str(cells[at]).strip(), order=order
        )
    days = np.asarray(first_day + day - 1, dtype=np.int64)
    if "weekday" in fields:
        named = fields.value("weekday")
        real = (days + 3) % 7 + 1
        wrong = np.flatnonzero((named != 0) & (named != real))
        if len(wrong):
            at = int(wrong[0])
            raise WEEKDAY_CONTRADICTS(
                file=file,
                row=int(rows[at]),
                column=column,
                cell=str(cells[at]).strip(),
                order=order,
                weekday=_DAYS[int(real[at]) - 1],
            )
    return days, order, words


def _date_order(
    file: str, column: str, dates: _Dates, cells: Column, rows: IntArray, told: str | None
) -> tuple[str, str]:
    """Settle the order: a month's name; told; year first; dots (day first); a field over 12; else refused."""
    year_in_front = bool(dates.digits[0][0] > 2)
    year_behind = bool(dates.digits[2][0] > 2)
    if dates.form == 2:
        return "month-first", "month-first (the month has a name)"
    if dates.form == 1:
        front = year_in_front or (not year_behind and told == "year-first")
        return ("year-first" if front else "day-first"), (
            "year-first" if front else "day-first (the month has a name)"
        )
    if year_in_front:
        possible = ["year-first"]
    elif year_behind:
        possible = ["day-first", "month-first"]
    else:
        possible = ["day-first", "month-first", "year-first"]
    example = str(cells[0]).strip()
    if told is not None and (told in possible or not year_in_front):
        if told not in possible:
            raise DATES_CONTRADICT(file=file, row=int(rows[0]), column=column, cell=example, order=told)
        return told, f"{told}, as told"
    if len(possible) == 1:
        return possible[0], "year-first"
    if dates.separator == ".":
        return "day-first", "day-first (dots between the numbers)"
    fitting, misfit = [], {}
    for order in possible:
        _, month, day = (dates.values[index] for index in ORDERS[order])
        wrong = np.flatnonzero((month > 12) | (day > 31))
        if len(wrong):
            misfit[order] = int(wrong[0])
        else:
            fitting.append(order)
    if not fitting:
        at = max(misfit.values())
        order = max(misfit, key=lambda name: misfit[name])
        raise DATES_CONTRADICT(
            file=file, row=int(rows[at]), column=column, cell=str(cells[at]).strip(), order=order
        )
    if len(fitting) > 1:
        raise DATES_AMBIGUOUS(
            file=file, row=int(rows[0]), column=column, cell=example, ways=" or ".join(fitting)
        )
    at = max(misfit.values())
    return fitting[0], f"{fitting[0]} (row {int(rows[at])} has a field over 12)"


def time_of_day(
    file: str, column: str, fields: Fields, cells: Column, rows: IntArray, *, limit: bool
) -> IntArray:
    """Nanoseconds since midnight, or since the start where `limit` is False and hours may exceed 23.

    Raises
    ------
    Refusal
        If a field lies outside its range, or AM and PM stand in part of the cells only.
    """
    hour, minute = fields.value("hour"), fields.value("minute")
    second = np.maximum(fields.value("second_of_minute"), 0)
    fraction = fraction_of_second(fields, "fraction")
    if "compact_time" in fields:
        number = fields.value("compact_time")
        has = number >= 0
        hour = np.where(has, number // 10_000, hour)
        minute = np.where(has, number // 100 % 100, minute)
        second = np.where(has, number % 100, second)
        fraction = np.where(has, fraction_of_second(fields, "compact_fraction"), fraction)
    wrong = (minute > 59) | (second > 59)
    if "half" in fields:
        half = fields.value("half")
        with_half = half != 0
        afternoon = (half == ord("p")) | (half == ord("P"))
        wrong |= with_half & ((hour < 1) | (hour > 12))
        wrong |= with_half != with_half[0]
        hour = np.where(with_half, hour % 12 + 12 * afternoon, hour)
    if limit:
        wrong |= hour > 23
    if wrong.any():
        at = int(np.flatnonzero(wrong)[0])
        raise TIME_UNREADABLE(
            file=file, row=int(rows[at]), column=column, cell=str(cells[at]).strip(), form="a time of day"
        )
    return (hour * 3600 + minute * 60 + second) * SECOND + fraction


def fraction_of_second(fields: Fields, name: str) -> IntArray:
    """Nanoseconds of the fraction behind the seconds of each cell, 0 where it has none."""
    if name not in fields:
        return _same(0, fields.count)
    return np.asarray(np.maximum(fields.value(name), 0) * 10 ** (9 - fields.digits(name)), dtype=np.int64)


def utc_offsets(
    file: str, column: str, fields: Fields, cells: Column, rows: IntArray
) -> tuple[IntArray, str | None, tuple[Doubt, ...]]:
    """UTC offsets [ns] of every stamp, the first as a word, and a doubt where it changes.

    Raises
    ------
    Refusal
        If only part of the stamps carry one, or one can't be.
    """
    if "offset" not in fields:
        return _same(0, fields.count), None, ()
    present = fields.value("offset") != 0
    if not present.all():
        at = int(np.flatnonzero(present != present[0])[0])
        raise OFFSET_IN_PART(file=file, row=int(rows[at]), column=column, cell=str(cells[at]).strip())
    minutes = np.maximum(fields.value("offset_minute"), 0)
    seconds = np.maximum(fields.value("offset_hour"), 0) * 3600 + minutes * 60
    wrong = np.flatnonzero((minutes > 59) | (seconds > _LARGEST_OFFSET_S))
    if len(wrong):
        at = int(wrong[0])
        raise TIME_UNREADABLE(
            file=file,
            row=int(rows[at]),
            column=column,
            cell=str(cells[at]).strip(),
            form="a time with its UTC offset",
        )
    seconds = np.where(fields.value("sign") == ord("-"), -seconds, seconds)
    first = offset_word(int(seconds[0]))
    doubts: tuple[Doubt, ...] = ()
    other = np.flatnonzero(seconds != seconds[0])
    if len(other):
        at = int(other[0])
        doubts = (
            UTC_OFFSETS_MIXED(
                file=file, row=int(rows[at]), column=column, first=first, other=offset_word(int(seconds[at]))
            ),
        )
    return seconds * SECOND, first, doubts


def date_in_words(text: str, told: str | None) -> tuple[int, int | None] | None:
    """A date, or date and time, that stands alone in `text`: days since 1970 and nanoseconds since midnight.

    None where `text` is neither; no nanoseconds where it is a date alone.

    Raises
    ------
    Refusal
        If the order of day and month stays open, or there is no such date.
    """
    cells, rows = np.array([text], dtype=object), np.zeros(1, dtype=np.int64)
    pattern = DATE if DATE.fullmatch(text) else STAMP
    if not pattern.fullmatch(text):
        return None
    fields = cut("", "", cells, rows, pattern, "a date")
    days, _, _ = days_of("", "", fields, cells, rows, told)
    if pattern is DATE:
        return int(days[0]), None
    return int(days[0]), int(time_of_day("", "", fields, cells, rows, limit=True)[0])
