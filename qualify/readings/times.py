"""From the cells of time columns to instants; and a TIME option to seconds."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from qualify.findings import Doubt, RefusalKind
from qualify.readings.cells import DATE, STAMP, TIME, TIME_IN_DIGITS
from qualify.readings.elapsed import read_numbers
from qualify.readings.instants import (
    DAY,
    SECOND,
    TIME_UNREADABLE,
    Instants,
    TimeColumns,
    clock_at,
    in_series,
    usual_step,
)
from qualify.readings.model import FloatArray, IntArray, ReadOptions, Recording
from qualify.readings.numbers import Marks
from qualify.readings.stamps import cut, days_of, time_of_day, utc_offsets
from qualify.readings.table import Cells, Column
from qualify.readings.undated import must_fit, read_times_of_day
from qualify.readings.zones import clock_jumps, looks_set_back, to_utc

__all__ = [
    "TIME_MISSING",
    "TIME_UNREADABLE",
    "Instants",
    "TimeColumns",
    "read_instants",
    "seconds_from",
    "seconds_of",
]

TIME_MISSING = RefusalKind(
    "time-missing",
    what="the row ends before its time",
    why="A reading without its time can't be judged.",
    mend="look at the row in a text editor and mend it, or export the file again.",
)
TIME_REPEATED = RefusalKind(
    "time-repeated",
    what="the time is the same as in row {before}",
    why="Of two readings at one instant it can't be told which is right, or the clock was set back.",
    mend="look at rows {before} and {here}: remove the wrong one, or export with finer times (with seconds)"
    "{zone}.",
)
TIME_BACKWARD = RefusalKind(
    "time-backward",
    what="the time goes back, by {step:.6g} s against row {before}",
    why="The clock was set, rows were moved, or a second record starts here.",
    mend="look at rows {before} and {here}: split the file there, or export it again{zone}.",
)
OPTION_TIME = RefusalKind(
    "time-option",
    what="the time '{text}' {trouble}",
    why="Which readings are meant can't be told.",
    mend="{mend}",
)

_ZONE_HINT = (
    "; if the clock was set back at the end of summer time, add --zone with the name of the time zone that "
    "it followed, such as --zone Europe/Berlin"
)


def read_instants(
    file: str,
    time: TimeColumns,
    cells: Sequence[Column],
    rows: IntArray,
    options: ReadOptions,
    marks: Marks,
    preamble: Sequence[Cells],
    *,
    rising: bool = True,
    series: IntArray | None = None,
) -> Instants:
    """Read the time columns of one file.

    Parameters
    ----------
    file
        The file's name, for messages.
    time
        Which columns give the time, and how.
    cells
        The cells of those columns, text or numbers.
    rows : (n,) int64
        The row numbers.
    options
        What the user told.
    marks
        How the file writes numbers.
    preamble
        The rows of text cells above the header.
    rising
        Whether to refuse times that don't rise from row to row, within each series.
    series : (n,) int64
        The series that each row belongs to, such as the channel in a long table: midnights and clock changes
        are told from the order of rows within each. None where all rows are one series.

    Raises
    ------
    Refusal
        If a time can't be read, the order of day and month stays open, what was told contradicts the file,
        or time doesn't rise.
    """
    column = time.header
    if time.form == "number":
        instants = read_numbers(file, time, cells[0], rows, marks)
    elif time.form == "clock":
        instants = read_times_of_day(file, time, cells[0], rows, options, preamble, series)
    else:
        instants = _from_stamps(file, time, cells, rows, options.dates)
    must_fit(file, column, instants, rows, options.date)
    on_a_clock = instants.start is not None and instants.utc_offset is None
    if options.zone is not None:
        instants = to_utc(file, column, instants, rows, options.zone, series)
        on_a_clock = False
    if rising:
        may_change = on_a_clock or time.form == "clock"
        for members in in_series(series, len(rows)):
            must_rise(file, column, instants.nanoseconds[members], rows[members], may_change=may_change)
    doubts: tuple[Doubt, ...] = ()
    if on_a_clock and (rising or series is not None):
        doubts = clock_jumps(file, column, instants.nanoseconds, rows, series)
    told = dict(instants.told)
    if all(header.strip() for header in time.headers):
        told["time_columns"] = tuple(header.strip() for header in time.headers)
    return replace(instants, doubts=instants.doubts + doubts, told=told)


def must_rise(
    file: str, column: str, nanoseconds: IntArray, rows: IntArray, *, may_change: bool = False
) -> None:
    """Refuse times that don't rise from row to row.

    Parameters
    ----------
    file, column
        The file's name and the raw header, for messages.
    nanoseconds, rows : (n,) int64
        The instants [ns] and their row numbers.
    may_change
        Whether the times are on a clock that may have been changed with the season.

    Raises
    ------
    Refusal
        At the first row whose time is the same as, or before, that of the row before it.
    """
    step = np.diff(nanoseconds)
    wrong = np.flatnonzero(step <= 0)
    if not len(wrong):
        return
    at = int(wrong[0])
    kind = TIME_REPEATED if step[at] == 0 else TIME_BACKWARD
    set_back = may_change and looks_set_back(float(step[at]), usual_step(nanoseconds))
    raise kind(
        file=file,
        row=int(rows[at + 1]),
        column=column,
        before=int(rows[at]),
        here=int(rows[at + 1]),
        step=-float(step[at]) / SECOND,
        zone=_ZONE_HINT if set_back else "",
    )


def _from_stamps(
    file: str, time: TimeColumns, cells: Sequence[Column], rows: IntArray, dates: str | None
) -> Instants:
    clock_cells, clock_header = cells[0], time.header
    day_fields = cut(
        file,
        time.header,
        cells[0],
        rows,
        STAMP if time.form == "stamp" else DATE,
        "date and time" if time.form == "stamp" else "a date",
    )
    clock_fields = day_fields if time.form == "stamp" else None
    if time.form == "date and time":
        clock_cells, clock_header = cells[1], time.headers[1]
        pattern = TIME_IN_DIGITS if TIME_IN_DIGITS.fullmatch(str(clock_cells[0])) else TIME
        clock_fields = cut(file, clock_header, clock_cells, rows, pattern, "a time of day")
    days, order, order_words = days_of(file, time.header, day_fields, cells[0], rows, dates)
    local = days * DAY
    form = {"stamp": "date and time in one cell", "date": "date alone"}.get(
        time.form, "date and time in two cells"
    )
    told = {"dates": order}
    words = {"time format": form, "date order": order_words}
    start = clock_at(int(local[0]))
    if clock_fields is None:
        return Instants(local, start, None, words, (), told)
    local = local + time_of_day(file, clock_header, clock_fields, clock_cells, rows, limit=True)
    offset, utc_offset, doubts = utc_offsets(file, clock_header, clock_fields, clock_cells, rows)
    if "half" in clock_fields:
        words["time format"] += ", AM/PM"
    if utc_offset is not None:
        words["time format"] += ", with UTC offset"
    return Instants(local - offset, clock_at(int(local[0])), utc_offset, words, doubts, told)


def seconds_from(nanoseconds: NDArray[np.int64]) -> FloatArray:
    """Seconds [s] from the first of rising instants [ns]."""
    return (nanoseconds - nanoseconds[0]) / SECOND


def seconds_of(recording: Recording, text: str) -> float:
    """Turn a TIME option into seconds from the first reading.

    Parameters
    ----------
    recording
        The recording that the option speaks of.
    text
        ISO 8601 on the logger's clock, with or without a UTC offset, or seconds from the first reading.

    Returns
    -------
    float
        Seconds [s] from the first reading; it may lie outside the record.

    Raises
    ------
    Refusal
        If it is neither, or is a clock time where the recording has none, or has an offset where the
        recording has none.
    """
    try:
        seconds = float(text)
    except ValueError:
        pass
    else:
        if not math.isfinite(seconds):
            raise OPTION_TIME(text=text, trouble="isn't finite", mend="give seconds from the first reading.")
        return seconds
    try:
        instant = datetime.fromisoformat(text.strip())
    except ValueError:
        raise OPTION_TIME(
            text=text,
            trouble="is neither ISO 8601 nor a number of seconds",
            mend="write it as 2026-03-02T14:30:00, or as seconds from the first reading.",
        ) from None
    if recording.start is None:
        raise OPTION_TIME(
            text=text,
            trouble="is a clock time, but the files hold elapsed time only",
            mend="give seconds from the first reading.",
        )
    start = recording.start
    if instant.tzinfo is not None:
        if recording.utc_offset is None:
            raise OPTION_TIME(
                text=text,
                trouble="has a UTC offset, but the file's times have none",
                mend="leave the offset off: the time is then on the logger's clock.",
            )
        start = datetime.fromisoformat(start.isoformat() + recording.utc_offset)
    return (instant - start).total_seconds()
