"""From the cells of time columns to instants; and a TIME option to seconds.

Columns of time are parsed whole, with numpy: cells of one shape (the same characters but for the digits)
have their fields at the same places. No locale, no zone of the machine, no guess takes part.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from qualify.findings import Doubt, DoubtKind, RefusalKind
from qualify.readings.cells import (
    DATE,
    DURATION,
    STAMP,
    TIME,
    TIME_UNIT_SECONDS,
    TWO_PART_DURATION,
    is_number,
)
from qualify.readings.model import FloatArray, IntArray, ReadOptions, Recording
from qualify.readings.table import Cells, Column

TIME_UNREADABLE = RefusalKind(
    "time-unreadable",
    what="the time '{cell}' can't be read as {form}, as the rows above it are",
    why="A reading without its time can't be judged, and leaving the row out would hide it.",
    mend="look at the row: mend the time, or cut off a summary or a second table that starts "
    "there; if another "
    "table was meant, name the row of its column names with --header-row ROW.",
)
TIME_MISSING = RefusalKind(
    "time-missing",
    what="the row ends before its time",
    why="A reading without its time can't be judged.",
    mend="look at the row in a text editor and mend it, or export the file again.",
)
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
OFFSET_IN_PART = RefusalKind(
    "utc-offset-in-part",
    what="some times carry a UTC offset and some don't, from '{cell}' on",
    why="The two can't be put on one time axis.",
    mend="export the file again with one kind of time stamp.",
)
TIME_REPEATED = RefusalKind(
    "time-repeated",
    what="the time is the same as in row {before}",
    why="Of two readings at one instant it can't be told which is right, or the clock was set back.",
    mend="look at rows {before} and {here}: remove the wrong one, or export with finer times (with seconds).",
)
TIME_BACKWARD = RefusalKind(
    "time-backward",
    what="the time goes back, by {step:.6g} s against row {before}",
    why="The clock was set, rows were moved, or a second record starts here.",
    mend="look at rows {before} and {here}: split the file there, or export it again.",
)
TIME_NUMBERS_UNCLEAR = RefusalKind(
    "time-numbers-unclear",
    what="the times start at the number {value:.10g} and no unit is named",
    why="They may be elapsed seconds, days of a spreadsheet's calendar or seconds since 1970.",
    mend="name the unit in the header, such as 'Time (s)', or export the times as dates.",
)
TIME_FORM_UNCLEAR = RefusalKind(
    "time-form-unclear",
    what="the elapsed time '{cell}' can be hours and minutes or minutes and seconds",
    why="The two differ by a factor of sixty.",
    mend="export it as h:mm:ss, or name the form in the header, such as 'Time (mm:ss)'.",
)
OPTION_TIME = RefusalKind(
    "time-option",
    what="the time '{text}' {trouble}",
    why="Which readings are meant can't be told.",
    mend="{mend}",
)
UTC_OFFSETS_MIXED = DoubtKind(
    "utc-offsets-mixed",
    "the UTC offset changes in this row from {first} to {other}; instants are in order of UTC and "
    "printed with {first}",
)
TIME_UNIT_ASSUMED = DoubtKind(
    "time-unit-assumed",
    "the file names no unit for its elapsed time; it was read in seconds, and every rate and "
    "duration hangs on that",
)
CLOCK_WITHOUT_DATE = DoubtKind(
    "clock-without-date",
    "times of day without a date: they were read as elapsed time, so printed times count from the "
    "first reading",
)

ORDERS = {"day-first": (2, 1, 0), "month-first": (2, 0, 1), "year-first": (0, 1, 2)}
"""Index of year, month and day among a date's three fields."""

_NANOSECOND = 1_000_000_000
_LATE_START = 20_000.0
_EPOCH = datetime(1970, 1, 1)


@dataclass(frozen=True, slots=True)
class TimeColumns:
    """The columns that give the time: full stamps, date with time, or elapsed time.

    `form` is "stamp", "date and time", "date", "number" or "clock" (h:mm:ss without a date).
    """

    form: str
    columns: tuple[int, ...]
    headers: tuple[str, ...]
    unit: str = ""

    @property
    def header(self) -> str:
        """The raw header to name in messages."""
        return self.headers[0]


@dataclass(frozen=True, slots=True)
class Instants:
    """Instants of one file's rows.

    Attributes
    ----------
    nanoseconds : (n,) int64
        Since 1970 in UTC where the stamps carry offsets, on the logger's own clock where they don't, and
        since the logger's own zero for elapsed time.
    start
        The first instant on the logger's clock, without zone; None for elapsed time.
    utc_offset
        The first stamp's offset, such as "+01:00", or None.
    words
        Layout words: time format, date order.
    doubts
        What a person should know about the times.
    told
        The fields of ReadOptions, with their values, by which the user could pin what was found.
    """

    nanoseconds: IntArray
    start: datetime | None
    utc_offset: str | None
    words: Mapping[str, str]
    doubts: tuple[Doubt, ...]
    told: Mapping[str, object] = field(default_factory=dict)


def read_instants(
    file: str,
    time: TimeColumns,
    cells: Sequence[Column],
    rows: IntArray,
    options: ReadOptions,
    mark: str,
    preamble: Sequence[Cells],
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
    mark
        The file's decimal mark.
    preamble
        The rows of text cells above the header.

    Raises
    ------
    Refusal
        If a time can't be read, the order of day and month stays open, or time doesn't rise.
    """
    if time.form == "number":
        instants = _from_numbers(file, time, cells[0], rows, mark)
    elif time.form == "clock":
        instants = _from_clock(file, time, cells[0], rows)
    else:
        instants = _from_stamps(file, time, cells, rows, options.dates)
    _must_rise(file, time.header, instants.nanoseconds, rows)
    return instants


def _must_rise(file: str, column: str, nanoseconds: IntArray, rows: IntArray) -> None:
    step = np.diff(nanoseconds)
    wrong = np.flatnonzero(step <= 0)
    if not len(wrong):
        return
    at = int(wrong[0])
    kind = TIME_REPEATED if step[at] == 0 else TIME_BACKWARD
    raise kind(
        file=file,
        row=int(rows[at + 1]),
        column=column,
        before=int(rows[at]),
        here=int(rows[at + 1]),
        step=-float(step[at]) / _NANOSECOND,
    )


def _from_numbers(file: str, time: TimeColumns, cells: Column, rows: IntArray, mark: str) -> Instants:
    if cells.dtype == object:
        at = next(
            index for index, cell in enumerate(cells) if isinstance(cell, str) and not is_number(cell, mark)
        )
        raise TIME_UNREADABLE(
            file=file, row=int(rows[at]), column=time.header, cell=str(cells[at]).strip(), form="a number"
        )
    numbers = cells.astype(np.float64)
    strange = np.flatnonzero(~(np.abs(numbers) < 9e9))
    if len(strange):
        at = int(strange[0])
        raise TIME_UNREADABLE(
            file=file, row=int(rows[at]), column=time.header, cell=numbers[at], form="an elapsed time"
        )
    doubts: list[Doubt] = []
    unit = time.unit
    if not unit:
        if len(numbers) and numbers[0] >= _LATE_START:
            raise TIME_NUMBERS_UNCLEAR(
                file=file, row=int(rows[0]), column=time.header, value=float(numbers[0])
            )
        doubts.append(TIME_UNIT_ASSUMED(file=file, column=time.header))
        unit = "s"
    nanoseconds = np.rint(numbers * TIME_UNIT_SECONDS[unit] * _NANOSECOND).astype(np.int64)
    form = f"elapsed time in {unit}" + ("" if time.unit else ", the unit not named")
    return Instants(nanoseconds, None, None, {"time format": form, "date order": "none"}, tuple(doubts))


def _from_clock(file: str, time: TimeColumns, cells: Column, rows: IntArray) -> Instants:
    unit = time.unit.replace(" ", "")
    elapsed = (
        unit in ("h:mm:ss", "hh:mm:ss", "h:mm", "hh:mm", "mm:ss", "m:ss")
        or "elapsed" in time.header.casefold()
    )
    doubts: tuple[Doubt, ...] = ()
    first = str(cells[0])
    if TWO_PART_DURATION.fullmatch(first):
        if unit not in ("h:mm", "hh:mm", "mm:ss", "m:ss"):
            raise TIME_FORM_UNCLEAR(file=file, row=int(rows[0]), column=time.header, cell=first)
        fields = _fields(file, time.header, cells, rows, TWO_PART_DURATION, f"elapsed time ({unit})")
        large, small = (3600, 60) if unit in ("h:mm", "hh:mm") else (60, 1)
        nanoseconds = (fields["large"] * large + fields["small"] * small) * _NANOSECOND
        return Instants(nanoseconds, None, None, {"time format": f"elapsed {unit}", "date order": "none"}, ())
    if DURATION.fullmatch(first):
        fields = _fields(file, time.header, cells, rows, DURATION, "elapsed h:mm:ss")
        form = "elapsed h:mm:ss"
    else:
        fields = _fields(file, time.header, cells, rows, TIME, "a time of day")
        form = "time of day"
    nanoseconds = _time_of_day(file, time.header, fields, cells, rows, limit=form == "time of day")
    if not elapsed and nanoseconds[0] != 0:
        doubts = (CLOCK_WITHOUT_DATE(file=file, column=time.header),)
        form = "time of day without a date"
    return Instants(nanoseconds, None, None, {"time format": form, "date order": "none"}, doubts)


def _from_stamps(
    file: str, time: TimeColumns, cells: Sequence[Column], rows: IntArray, dates: str | None
) -> Instants:
    if time.form == "stamp":
        day_fields = clock_fields = _fields(file, time.header, cells[0], rows, STAMP, "date and time")
        clock_cells, clock_header = cells[0], time.header
    else:
        day_fields = _fields(file, time.header, cells[0], rows, DATE, "a date")
        clock_fields, clock_cells, clock_header = {}, cells[0], time.header
        if time.form == "date and time":
            clock_cells, clock_header = cells[1], time.headers[1]
            clock_fields = _fields(file, clock_header, clock_cells, rows, TIME, "a time of day")
    order, order_words = _date_order(file, time.header, day_fields, cells[0], rows, dates)
    days = _days(file, time.header, day_fields, cells[0], rows, order)
    local = days * (86_400 * _NANOSECOND)
    if clock_fields:
        local = local + _time_of_day(file, clock_header, clock_fields, clock_cells, rows, limit=True)
    offset, utc_offset, doubts = _offsets(file, clock_header, clock_fields, clock_cells, rows)
    start = _EPOCH + timedelta(microseconds=int(local[0]) // 1000)
    form = {"stamp": "date and time in one cell", "date": "date alone"}.get(
        time.form, "date and time in two cells"
    )
    if "half" in clock_fields and (clock_fields["half"] != 0).any():
        form += ", AM/PM"
    if utc_offset is not None:
        form += ", with UTC offset"
    words = {"time format": form, "date order": order_words}
    return Instants(local - offset, start, utc_offset, words, doubts)


def _fields(
    file: str, column: str, cells: Column, rows: IntArray, pattern: re.Pattern[str], form: str
) -> dict[str, IntArray]:
    """Cut the fields that `pattern` names out of every cell.

    Fields of digits come as numbers with their `<name>_digits`, -1 and 0 where a cell has none. Fields of a
    letter or sign come as its character code, 0 where there is none.
    """
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
    names = list(pattern.groupindex)
    fields = {name: np.full(count, -1, dtype=np.int64) for name in names}
    fields |= {f"{name}_digits": np.zeros(count, dtype=np.int64) for name in names}
    worst = count
    for kind in range(len(kinds)):
        chosen = np.flatnonzero(member == kind)
        example = "".join(map(chr, kinds[kind])).rstrip("\0")
        match = pattern.fullmatch(example)
        if match is None:
            worst = min(worst, int(chosen[0]))
            continue
        for name in names:
            begin, end = match.span(name)
            if begin < 0:
                if name in ("half", "sign", "offset", "sep"):
                    fields[name][chosen] = 0
                continue
            if example[begin] != "0":
                fields[name][chosen] = ord(example[begin])
                continue
            powers = 10 ** np.arange(end - begin - 1, -1, -1, dtype=np.int64)
            fields[name][chosen] = (codes[chosen, begin:end].astype(np.int64) - ord("0")) @ powers
            fields[f"{name}_digits"][chosen] = end - begin
    if worst < count:
        raise TIME_UNREADABLE(file=file, row=int(rows[worst]), column=column, cell=text[worst], form=form)
    return fields


def _date_order(
    file: str, column: str, fields: Mapping[str, IntArray], cells: Column, rows: IntArray, told: str | None
) -> tuple[str, str]:
    """Settle the order: told; year first; dots mean day first; a field over 12; else refused."""
    year_in_front = fields["first_digits"] > 2
    year_behind = fields["third_digits"] > 2
    shape = np.where(year_in_front, 2, np.where(year_behind, 1, 0)) * 256 + fields["sep"]
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
    if year_in_front[0]:
        possible = ["year-first"]
    elif year_behind[0]:
        possible = ["day-first", "month-first"]
    else:
        possible = ["day-first", "month-first", "year-first"]
    example = str(cells[0]).strip()
    if told is not None and (told in possible or not year_in_front[0]):
        if told not in possible:
            raise DATES_CONTRADICT(file=file, row=int(rows[0]), column=column, cell=example, order=told)
        return told, f"{told}, as told"
    if len(possible) == 1:
        return possible[0], "year-first"
    if chr(int(fields["sep"][0])) == ".":
        return "day-first", "day-first (dots between the numbers)"
    values = (fields["first"], fields["second"], fields["third"])
    fitting, misfit = [], {}
    for order in possible:
        _, month, day = (values[index] for index in ORDERS[order])
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


def _days(
    file: str, column: str, fields: Mapping[str, IntArray], cells: Column, rows: IntArray, order: str
) -> IntArray:
    """Days since 1970 of dates in a known order."""
    values = (fields["first"], fields["second"], fields["third"])
    digits = (fields["first_digits"], fields["second_digits"], fields["third_digits"])
    year_at, month_at, day_at = ORDERS[order]
    year, month, day = values[year_at], values[month_at], values[day_at]
    year = np.where(digits[year_at] <= 2, year + 2000, year)
    sound = (month >= 1) & (month <= 12) & (year >= 1900) & (year <= 2199) & (digits[day_at] <= 2)
    first_of_month = ((year - 1970) * 12 + np.where(sound, month, 1) - 1).astype("datetime64[M]")
    first_day = first_of_month.astype("datetime64[D]").astype(np.int64)
    length = (first_of_month + np.timedelta64(1, "M")).astype("datetime64[D]").astype(np.int64) - first_day
    wrong = np.flatnonzero(~sound | (day < 1) | (day > length))
    if len(wrong):
        at = int(wrong[0])
        raise DATES_CONTRADICT(
            file=file, row=int(rows[at]), column=column, cell=str(cells[at]).strip(), order=order
        )
    return np.asarray(first_day + day - 1, dtype=np.int64)


def _time_of_day(
    file: str, column: str, fields: Mapping[str, IntArray], cells: Column, rows: IntArray, *, limit: bool
) -> IntArray:
    """Nanoseconds since midnight, or since the start where `limit` is False and hours may exceed 23."""
    hour, minute = fields["hour"], fields["minute"]
    second = np.maximum(fields["second_of_minute"], 0)
    wrong = (minute > 59) | (second > 59)
    half = fields.get("half")
    if half is not None and (half != 0).any():
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
    fraction = np.maximum(fields["fraction"], 0) * 10 ** (9 - fields["fraction_digits"])
    return (hour * 3600 + minute * 60 + second) * _NANOSECOND + fraction


def _offsets(
    file: str, column: str, fields: Mapping[str, IntArray], cells: Column, rows: IntArray
) -> tuple[IntArray, str | None, tuple[Doubt, ...]]:
    """UTC offsets [ns] of every stamp, the first as a word, and a doubt where it changes."""
    none = np.zeros(len(rows), dtype=np.int64)
    if not fields or not (fields["offset"] != 0).any():
        return none, None, ()
    present = fields["offset"] != 0
    if not present.all():
        at = int(np.flatnonzero(present != present[0])[0])
        raise OFFSET_IN_PART(file=file, row=int(rows[at]), column=column, cell=str(cells[at]).strip())
    minutes = np.maximum(fields["offset_hour"], 0) * 60 + np.maximum(fields["offset_minute"], 0)
    minutes = np.where(fields["sign"] == ord("-"), -minutes, minutes)
    doubts: tuple[Doubt, ...] = ()
    other = np.flatnonzero(minutes != minutes[0])
    if len(other):
        doubts = (
            UTC_OFFSETS_MIXED(
                file=file,
                row=int(rows[other[0]]),
                column=column,
                first=_offset_word(int(minutes[0])),
                other=_offset_word(int(minutes[other[0]])),
            ),
        )
    return minutes * (60 * _NANOSECOND), _offset_word(int(minutes[0])), doubts


def _offset_word(minutes: int) -> str:
    sign = "-" if minutes < 0 else "+"
    return f"{sign}{abs(minutes) // 60:02d}:{abs(minutes) % 60:02d}"


def seconds_from(nanoseconds: NDArray[np.int64]) -> FloatArray:
    """Seconds [s] from the first of rising instants [ns]."""
    return (nanoseconds - nanoseconds[0]) / _NANOSECOND


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
