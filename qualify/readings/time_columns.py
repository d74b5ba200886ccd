"""Which columns of a table give the time, and in which form."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from qualify.findings import RefusalKind, nearest
from qualify.readings.cells import TIME_UNIT_SECONDS, CellKind, is_absent_word
from qualify.readings.elapsed import CLOCK_FORMS, LATE_START, SERIAL_DAYS, UNIX_UNIT
from qualify.readings.instants import TimeColumns
from qualify.readings.model import ReadOptions
from qualify.readings.numbers import is_number, value_of
from qualify.readings.table import Head
from qualify.units import parse_unit

NO_TIME = RefusalKind(
    "no-time-column",
    what="no column of times was found (columns: {names})",
    why="Without times there are no phases, no window and no figures.",
    mend="export the file with its times; if a column holds them, name it with --time-column, and the "
    "unit of its numbers with --time-unit.",
)
SEVERAL_TIME_AXES = RefusalKind(
    "tables-side-by-side",
    what="tables stand side by side, with times in columns {columns} and an empty column between them",
    why="Which times belong to which readings can't be told.",
    mend="put each table on a sheet or in a file of its own.",
)
TIMES_UNREADABLE = RefusalKind(
    "times-unreadable",
    what="times such as '{cell}' are written in a form that can't be read for certain",
    why="A reading without its time can't be judged.",
    mend="export the times in a common form, such as 2026-03-02 14:03:05, 02.03.2026 14:03:05 or seconds.",
)
TIME_COLUMN_MISSING = RefusalKind(
    "time-column-missing",
    what="there is no column '{name}', which was told to hold the time{nearest}",
    why="The time of every reading hangs on it.",
    mend="correct --time-column; the columns are {names}.",
)
TIME_COLUMN_UNFIT = RefusalKind(
    "time-column-unfit",
    what="the columns told to hold the time ({told}) can't be read as one: {found}",
    why="The time of every reading hangs on them.",
    mend="name one column with --time-column, or two: that of the date and that of the time of day.",
)
TIME_UNIT_UNKNOWN = RefusalKind(
    "time-unit-unknown",
    what="there is no time unit '{unit}'{nearest}",
    why="Every rate and duration hangs on it.",
    mend="write one of {units}.",
)
TIME_UNIT_UNFIT = RefusalKind(
    "time-unit-unfit",
    what="the time unit {unit} was told, but {trouble}",
    why="The unit would change nothing, or the times would be misread.",
    mend="leave --time-unit off, or name the column that is meant with --time-column.",
)
_TIME_NAMES_TEXT = """
    time, zeit, elapsed, elapsed time, time elapsed, run time, test time, timestamp, time stamp, duration,
    seconds, secs, minutes, hours, datetime, date time, date/time, time/date, date and time
"""
_TIME_NAMES = frozenset(word.strip() for word in _TIME_NAMES_TEXT.split(","))
_DATE_NAMES = frozenset(("date", "datum", "day", "fecha", "uhrzeit", "heure", "hora"))
_TIME_NAME_WITH_UNIT = re.compile(
    r"(?:elapsed |run |test )?(?:time|elapsed|t|zeit)[ _](?P<unit>s|sec|min|h|ms)"
)
_UNIX_WORD = re.compile(r"\b(?:unix|epoch|posix)\b")
_MILLISECONDS = re.compile(r"\b(?:ms|msec|millis|milliseconds?)\b")
_SECONDS = re.compile(r"\b(?:s|sec|secs|seconds?)\b")
_SERIAL_WORDS = re.compile(r"\bserial (?:dates?|days?)\b")
_SERIAL_NUMBER = re.compile(r"\bserial number\b")
_COMPACT_DATE_TEXT = r"(?:19|20|21)\d\d(?:0[1-9]|1[0-2])(?:0[1-9]|[12]\d|3[01])"
_COMPACT_DATE = re.compile(_COMPACT_DATE_TEXT, re.ASCII)
_COMPACT_TIME = re.compile(r"(?:[01]\d|2[0-3])(?:[0-5]\d){2}(?:\.\d{1,9})?", re.ASCII)
_COMPACT_STAMP = re.compile(_COMPACT_DATE_TEXT + r"(?:[01]\d|2[0-3])(?:[0-5]\d){2}(?:\.\d{1,9})?", re.ASCII)
TIME_KINDS = (CellKind.STAMP, CellKind.DATE, CellKind.TIME)
"""Kinds of cells that give a time by themselves."""
NUMBER_UNITS = ("s", "min", "h", "ms", "unix-s", "unix-ms", "serial-days")
"""Units that times written as numbers can have."""
CLOCK_UNITS = ("h:mm:ss", "h:mm", "mm:ss")
"""Forms that elapsed time can have."""


def is_time_name(name: str, unit: str) -> bool:
    """Whether a column of numbers under this name and unit is one of time."""
    word = _folded(name)
    if parse_unit(unit) is not None:
        return False
    return (
        word in _TIME_NAMES
        or word in _DATE_NAMES
        or (word in ("t", "") and unit.casefold() in TIME_UNIT_SECONDS)
        or _calendar_unit(name, unit) != ""
    )


def _folded(name: str) -> str:
    return name.casefold().replace("_", " ").strip()


def _calendar_unit(*words: str) -> str:
    """The unit of a count from a fixed day that words name: Unix time or serial days; "" for neither."""
    text = " ".join(map(_folded, words))
    if _UNIX_WORD.search(text):
        if _MILLISECONDS.search(text):
            return "unix-ms"
        return "unix-s" if _SECONDS.search(text) else UNIX_UNIT
    return "serial-days" if _SERIAL_WORDS.search(text) else ""


def _time_unit(name: str, unit_words: Sequence[str]) -> str:
    """The unit of time that a header, its bracket or the units row names; "" if none."""
    calendar = _calendar_unit(name, *unit_words)
    if calendar:
        return calendar
    word = _folded(name)
    match = _TIME_NAME_WITH_UNIT.fullmatch(word)
    for candidate in (*unit_words, match["unit"] if match is not None else "", word):
        folded = candidate.strip().casefold()
        if folded in TIME_UNIT_SECONDS or folded in CLOCK_FORMS:
            return folded
    return ""


@dataclass(frozen=True, slots=True)
class _Table:
    """What is known of a table's columns; `kinds` tells only of those that may hold the time."""

    file: str
    head: Head
    kinds: Sequence[CellKind]
    split: Sequence[tuple[str, str]]
    told_unit: str
    told_columns: bool

    def of(self, kind: CellKind) -> list[int]:
        return [column for column, found in enumerate(self.kinds) if found is kind]

    def numbers(self, column: int) -> list[float]:
        cells = [row[column] for row in self.head.sample if is_number(row[column], self.head.marks)]
        return [value_of(cell, self.head.marks) for cell in cells]

    def make(self, form: str, *columns: int, unit: str = "") -> TimeColumns:
        headers = tuple(self.head.names[each] for each in columns)
        return TimeColumns(form, columns, headers, self.told_unit or unit or self.unit(columns[-1]))

    def unit(self, column: int) -> str:
        form_in_header = re.search(r"[(\[]\s*([hms:]+)\s*[)\]]\s*$", self.head.names[column].casefold())
        words = (
            self.head.unit_cells[column],
            self.split[column][1],
            form_in_header[1] if form_in_header is not None else "",
        )
        return _time_unit(self.split[column][0], words)

    def is_elapsed(self, column: int) -> bool:
        return "elapsed" in self.head.names[column].casefold()


def time_columns(
    file: str, head: Head, kinds: Sequence[CellKind], split: Sequence[tuple[str, str]], options: ReadOptions
) -> TimeColumns:
    """Choose the time: as told; a full stamp; date with time; a number; h:mm:ss; a date alone.

    Parameters
    ----------
    file
        The file's name, for messages.
    head
        What stands above the readings, and a sample of them.
    kinds
        The usual kind of each column's cells.
    split
        Each header's name and unit.
    options
        What the user told.

    Raises
    ------
    Refusal
        If no column gives the time, a told one isn't there or doesn't fit, or two tables stand side by side.
    """
    stamps = [column for column, kind in enumerate(kinds) if kind is CellKind.STAMP]
    if len(stamps) > 1:
        _must_be_one_table(file, head, stamps)
    unit = options.time_unit or ""
    units = [*NUMBER_UNITS, *CLOCK_UNITS]
    if unit and unit not in units:
        raise TIME_UNIT_UNKNOWN(file=file, unit=unit, nearest=nearest(unit, units), units=", ".join(units))
    told = [_columns_called(file, head, split, name) for name in options.time_columns]
    if told:
        kinds = _only(kinds, lambda column: any(column in each for each in told))
    fitting = CellKind.NUMBER if unit in NUMBER_UNITS else CellKind.TIME
    dated = [column for column, kind in enumerate(kinds) if kind in (CellKind.STAMP, CellKind.DATE)]
    if unit:
        fit = [column for column, kind in enumerate(kinds) if kind is fitting]
        named = [column for column in fit if "elapsed" in head.names[column].casefold()]
        if not fit:
            wanted = "numbers" if fitting is CellKind.NUMBER else "h:mm:ss"
            raise TIME_UNIT_UNFIT(
                file=file, unit=unit, trouble=f"no column that may be the time holds {wanted}"
            )
        if fitting is CellKind.TIME and dated and not named and not told:
            header = head.names[dated[0]].strip()
            raise TIME_UNIT_UNFIT(file=file, unit=unit, trouble=f"the column '{header}' gives the date")
        chosen = named if fitting is CellKind.TIME and named else fit
        kinds = _only(kinds, lambda column: column in chosen)
    table = _Table(file, head, kinds, split, unit, bool(told))
    found = _choose(table)
    if told and (found is None or not all(set(each) & set(found.columns) for each in told)):
        raise _unfit(table, options.time_columns, told)
    if found is None:
        raise _none(table, unit)
    return found


def _only(kinds: Sequence[CellKind], may_be_time: Callable[[int], bool]) -> list[CellKind]:
    """The kinds, with every column that may not be the time made one of words."""
    return [kind if may_be_time(column) else CellKind.ABSENT for column, kind in enumerate(kinds)]


def _columns_called(file: str, head: Head, split: Sequence[tuple[str, str]], told: str) -> list[int]:
    """The columns that a told header or name means: those with that header, else those with that name."""
    headers = [name.strip() for name in head.names]
    word = told.strip()
    for spellings in (headers, [name for name, _ in split]):
        found = [column for column, spelling in enumerate(spellings) if spelling == word]
        if found:
            return found
    names = ", ".join(f"'{name}'" for name in headers[:8]) + (", …" if len(headers) > 8 else "")
    raise TIME_COLUMN_MISSING(file=file, name=word, nearest=nearest(word, headers), names=names)


def _choose(table: _Table) -> TimeColumns | None:
    stamps, dates, times = table.of(CellKind.STAMP), table.of(CellKind.DATE), table.of(CellKind.TIME)
    if stamps:
        return table.make("stamp", stamps[0])
    clocks = sorted(times, key=table.is_elapsed)
    if not dates and not table.told_unit:
        dates = [column for column in table.of(CellKind.NUMBER) if _is_compact_date(table, column)]
        clocks = clocks or [column for column in table.of(CellKind.NUMBER) if _is_compact_time(table, column)]
        dates = dates if clocks else []
    if dates and clocks:
        return table.make("date and time", dates[0], clocks[0])
    number = _number_column(table)
    if number is not None:
        return number
    if times:
        return table.make("clock", times[0])
    if dates:
        return table.make("date", dates[0])
    return None


def _number_column(table: _Table) -> TimeColumns | None:
    """The column of numbers that is called a time, else one with a unit of time, else serial days."""
    head, split = table.head, table.split
    numbers = table.of(CellKind.NUMBER)
    without_temperature = [
        column
        for column in numbers
        if parse_unit(split[column][1]) is None and parse_unit(head.unit_cells[column]) is None
    ]
    called = [
        column
        for column in without_temperature
        if is_time_name(split[column][0], split[column][1])
        and (table.told_unit or _folded(split[column][0]) not in _DATE_NAMES or _is_late(table, column))
    ]
    with_unit = [
        column
        for column in without_temperature
        if {split[column][1].casefold(), head.unit_cells[column].casefold()} & TIME_UNIT_SECONDS.keys()
        or _TIME_NAME_WITH_UNIT.fullmatch(split[column][0].casefold())
        or _calendar_unit(head.names[column], head.unit_cells[column])
    ]
    candidates = [*(numbers if table.told_columns else ()), *called, *with_unit]
    if candidates:
        form = "number"
        if not table.told_unit and _all_match(table, candidates[0], _COMPACT_STAMP):
            form = "stamp"
        return table.make(form, candidates[0])
    serial = [column for column in without_temperature if _is_serial_number(table, column)]
    return table.make("number", serial[0], unit="serial-days") if serial else None


def _is_late(table: _Table, column: int) -> bool:
    """Whether a column called a date holds numbers too large for a count of days, hours or seconds."""
    numbers = table.numbers(column)
    return bool(numbers) and numbers[0] >= LATE_START


def _is_compact_date(table: _Table, column: int) -> bool:
    """Whether a column called a date holds nothing but dates such as 20260302."""
    return _folded(table.split[column][0]) in _DATE_NAMES and _all_match(table, column, _COMPACT_DATE)


def _is_compact_time(table: _Table, column: int) -> bool:
    """Whether a column called a time holds nothing but times of day such as 140305."""
    return is_time_name(*table.split[column]) and _all_match(table, column, _COMPACT_TIME)


def _all_match(table: _Table, column: int, pattern: re.Pattern[str]) -> bool:
    """Whether every cell of the sample that isn't blank matches."""
    cells = [row[column].strip() for row in table.head.sample if row[column].strip()]
    return bool(cells) and all(pattern.fullmatch(cell) for cell in cells)


def _is_serial_number(table: _Table, column: int) -> bool:
    """Whether "serial number" means days here, and not what stands on a plate: rising days of a calendar."""
    if not _SERIAL_NUMBER.search(_folded(table.head.names[column])):
        return False
    numbers = table.numbers(column)
    low, high = SERIAL_DAYS
    rising = all(earlier < later for earlier, later in pairwise(numbers))
    fraction = any(number != int(number) for number in numbers)
    return rising and fraction and all(low <= number < high for number in numbers)


def _unfit(table: _Table, names: Sequence[str], told: Sequence[Sequence[int]]) -> Exception:
    """The refusal of told columns that aren't a time together."""
    words = []
    for name, columns in zip(names, told, strict=True):
        kind = table.kinds[columns[0]]
        if kind is CellKind.WORD:
            return TIMES_UNREADABLE(
                file=table.file,
                row=_first_row(table.head),
                column=table.head.names[columns[0]],
                cell=table.head.sample[0][columns[0]].strip(),
            )
        words.append(f"'{name}' holds cells like {_example(table, columns[0])}")
    return TIME_COLUMN_UNFIT(file=table.file, told=", ".join(names), found="; ".join(words))


def _example(table: _Table, column: int) -> str:
    cells = [row[column].strip() for row in table.head.sample if row[column].strip()]
    return f"'{cells[0]}'" if cells else "a blank"


def _none(table: _Table, unit: str) -> Exception:
    """The refusal of a table without a column of time; of times in an unknown form where one is called so."""
    for column in table.of(CellKind.WORD):
        name, in_header = table.split[column]
        if is_time_name(name, in_header) and name.strip():
            return TIMES_UNREADABLE(
                file=table.file,
                row=_first_row(table.head),
                column=table.head.names[column],
                cell=table.head.sample[0][column].strip(),
            )
    if unit:
        trouble = "no column of numbers is called a time"
        return TIME_UNIT_UNFIT(file=table.file, unit=unit, trouble=trouble)
    names = ", ".join(f"'{name.strip()}'" for name in table.head.names[:8])
    return NO_TIME(file=table.file, names=names + (", …" if len(table.head.names) > 8 else ""))


def _first_row(head: Head) -> int | None:
    """The row of the first sample, where the layout tells it."""
    word = head.words.get("first row of readings", "")
    return int(word) if word.isdigit() else None


def _must_be_one_table(file: str, head: Head, stamps: Sequence[int]) -> None:
    """Refuse tables side by side: two columns of full stamps with an empty column between."""
    for column in range(stamps[0] + 1, stamps[1]):
        if not head.names[column].strip() and all(is_absent_word(row[column]) for row in head.sample):
            raise SEVERAL_TIME_AXES(file=file, columns=f"{stamps[0] + 1} and {stamps[1] + 1}")
