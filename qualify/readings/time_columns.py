"""Which columns of a table give the time, and in which form."""

from __future__ import annotations

import re
from collections.abc import Sequence

from qualify.findings import RefusalKind
from qualify.readings.cells import TIME_UNIT_SECONDS, CellKind, is_absent_word
from qualify.readings.model import ReadOptions
from qualify.readings.table import Head
from qualify.readings.times import TimeColumns
from qualify.units import parse_unit

NO_TIME = RefusalKind(
    "no-time-column",
    what="no column of times was found (columns: {names})",
    why="Without times there are no phases, no window and no figures.",
    mend="export the file with its times; a column of elapsed time must be called 'Time' or name a unit "
    "of time, such as 'Time (s)'.",
)
SEVERAL_TIME_AXES = RefusalKind(
    "tables-side-by-side",
    what="tables stand side by side, with times in columns {columns} and an empty column between them",
    why="Which times belong to which readings can't be told.",
    mend="put each table on a sheet or in a file of its own.",
)
_TIME_NAMES_TEXT = """
    time, zeit, elapsed, elapsed time, time elapsed, run time, test time, timestamp, time stamp, duration,
    seconds, secs, minutes, hours, datetime, date time, date/time, time/date, date and time
"""
_TIME_NAMES = frozenset(word.strip() for word in _TIME_NAMES_TEXT.split(","))
_TIME_NAME_WITH_UNIT = re.compile(
    r"(?:elapsed |run |test )?(?:time|elapsed|t|zeit)[ _](?P<unit>s|sec|min|h|ms)"
)
_TIME_FORMS = frozenset(("h:mm:ss", "hh:mm:ss", "h:mm", "hh:mm", "mm:ss", "m:ss"))
TIME_KINDS = (CellKind.STAMP, CellKind.DATE, CellKind.TIME)
"""Kinds of cells that give a time by themselves."""


def is_time_name(name: str, unit: str) -> bool:
    """Whether a column of numbers under this name and unit is one of elapsed time."""
    word = name.casefold().replace("_", " ").strip()
    if parse_unit(unit) is not None:
        return False
    return word in _TIME_NAMES or (word in ("t", "") and unit.casefold() in TIME_UNIT_SECONDS)


def _time_unit(name: str, unit_words: Sequence[str]) -> str:
    """The unit of elapsed time that a header, its bracket or the units row names; "" if none."""
    word = name.casefold().replace("_", " ").strip()
    match = _TIME_NAME_WITH_UNIT.fullmatch(word)
    for candidate in (*unit_words, match["unit"] if match is not None else "", word):
        folded = candidate.strip().casefold()
        if folded in TIME_UNIT_SECONDS or folded in _TIME_FORMS:
            return folded
    return ""


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
        If no column gives the time, a told one isn't there, or two tables stand side by side.
    """

    def of(kind: CellKind) -> list[int]:
        return [column for column, found in enumerate(kinds) if found is kind]

    def make(form: str, *columns: int) -> TimeColumns:
        column = columns[-1]
        form_in_header = re.search(r"[(\[]\s*([hms:]+)\s*[)\]]\s*$", head.names[column].casefold())
        words = (
            head.unit_cells[column],
            split[column][1],
            form_in_header[1] if form_in_header is not None else "",
        )
        headers = tuple(head.names[each] for each in columns)
        return TimeColumns(form, columns, headers, _time_unit(split[column][0], words))

    stamps, dates, times = of(CellKind.STAMP), of(CellKind.DATE), of(CellKind.TIME)
    if len(stamps) > 1:
        _must_be_one_table(file, head, stamps)
    if stamps:
        return make("stamp", stamps[0])
    clocks = sorted(times, key=lambda column: "elapsed" in head.names[column].casefold())
    if dates and clocks:
        return make("date and time", dates[0], clocks[0])
    numbers = of(CellKind.NUMBER)
    called = [column for column in numbers if is_time_name(split[column][0], split[column][1])]
    with_unit = [
        column
        for column in numbers
        if parse_unit(split[column][1]) is None
        and parse_unit(head.unit_cells[column]) is None
        and (
            {split[column][1].casefold(), head.unit_cells[column].casefold()} & TIME_UNIT_SECONDS.keys()
            or _TIME_NAME_WITH_UNIT.fullmatch(split[column][0].casefold())
        )
    ]
    for candidates in (called, with_unit):
        if candidates:
            return make("number", candidates[0])
    if times:
        return make("clock", times[0])
    if dates:
        return make("date", dates[0])
    names = ", ".join(f"'{name.strip()}'" for name in head.names[:8])
    raise NO_TIME(file=file, names=names + (", …" if len(head.names) > 8 else ""))


def _must_be_one_table(file: str, head: Head, stamps: Sequence[int]) -> None:
    """Refuse tables side by side: two columns of full stamps with an empty column between."""
    for column in range(stamps[0] + 1, stamps[1]):
        if not head.names[column].strip() and all(is_absent_word(row[column]) for row in head.sample):
            raise SEVERAL_TIME_AXES(file=file, columns=f"{stamps[0] + 1} and {stamps[1] + 1}")
