"""Tables of invented readings, written in random layouts, with what must be understood of each.

A layout is made from choices. `Chooser` is where they come from: hypothesis (which can shrink them) in the
tests, `random.Random` in the long run. Numbers come from a seeded generator, since their digits need no
shrinking. Whatever the file leaves open (an order of day and month, a unit) is told through ReadOptions,
nothing else is.
"""

from __future__ import annotations

import csv
import gzip
import io
import random
import re
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from typing import Any, Protocol, TypeVar

import numpy as np

from qualify.findings import Doubt
from qualify.inputs import InputFile
from qualify.readings import ReadOptions, Recording, read_recording
from qualify.units import TemperatureUnit, temperature_to_c
from tests.support.corpus import logger_file

T = TypeVar("T")
C, F, K = TemperatureUnit.C, TemperatureUnit.F, TemperatureUnit.K
SPELLED = {C: ["°C", "C", "degC"], F: ["°F", "F", "degF"], K: ["K", "Kelvin"]}
SIGNS = {"comma": ",", "semicolon": ";", "tab": "\t", "bar": "|", "space": " "}
MARKS = {"point": ".", "comma": ","}
THOUSANDS = {"point": ".", "comma": ",", "space": " ", "apostrophe": "'"}
ABSENT = ["OL", "OPEN", "---", "NaN", "#N/A", "*****", "9.91E37", ""]
WESTERN = [
    "T1",
    "TC 3",
    "Vorn links",
    "Étagère",
    "Zone A top",
    "Über Tür",
    "Rear-right",
    "ch_07",
    "Fühler 12",
    "top/left",
]
JAPANESE = ["上段", "中段", "下段", "炉心", "T1", "TC 3", "奥", "手前"]
AWKWARD = ['with "marks"', "left, rear", "upper; lower", "a|b"]
DESCRIPTIONS = ["front", "rear wall", "by the door", "exhaust side", "middle rack"]
EPOCH = datetime(1970, 1, 1)
DAY_ZERO = datetime(1899, 12, 30)


class Chooser(Protocol):
    """Where the choices of a layout come from."""

    def one_of(self, choices: Sequence[T]) -> T: ...

    def whole(self, low: int, high: int) -> int: ...


class RandomChooser:
    """Choices from a seeded generator."""

    def __init__(self, seed: int | str) -> None:
        self.random = random.Random(seed)

    def one_of(self, choices: Sequence[T]) -> T:
        return choices[self.random.randrange(len(choices))]

    def whole(self, low: int, high: int) -> int:
        return self.random.randint(low, high)


class DrawnChooser:
    """Choices from hypothesis."""

    def __init__(self, draw: Any) -> None:
        from hypothesis import strategies as st

        self.draw, self.st = draw, st

    def one_of(self, choices: Sequence[T]) -> T:
        return choices[self.draw(self.st.integers(0, len(choices) - 1))]

    def whole(self, low: int, high: int) -> int:
        return self.draw(self.st.integers(low, high))


@dataclass(frozen=True, kw_only=True)
class Written:
    """A file, what is told of it, and what must be understood.

    `absent` holds (row, header) of every cell without a reading; the header is None in a long table, where
    the row alone tells the cell. `listed` holds rows of which some doubt must speak, and which no other doubt
    may be at.
    """

    file: InputFile
    told: ReadOptions
    names: list[str]
    units: list[TemperatureUnit]
    celsius: np.ndarray
    seconds: np.ndarray
    start: datetime | None
    utc_offset: str | None
    rows: list[int]
    others: list[str]
    absent: set[tuple[int, str | None]]
    listed: list[int]
    header_again: list[int]
    free_doubts: set[str]
    within_s: float
    layout: dict[str, Any] = field(default_factory=dict)


# --- how times are written ---------------------------------------------------------------------------

STAMP_FORMS = {
    # form: (strftime of the day, order to be told where the file leaves it open)
    "iso": ("%Y-%m-%d", None),
    "slashes year first": ("%Y/%m/%d", None),
    "dots": ("%d.%m.%Y", None),
    "day first": ("%d/%m/%Y", "day-first"),
    "month first": ("%m/%d/%Y", "month-first"),
    "dashes day first": ("%d-%m-%Y", "day-first"),
    "short year": ("%y/%m/%d", "year-first"),
    "short dots": ("%d.%m.%y", None),
    "month's name": ("%d-%b-%Y", None),
    "run together": ("%Y%m%d", None),
}
CLOCK_FORMS = [
    "stamp",
    "date and time",
    "time of day",
    "elapsed",
    "elapsed h:mm:ss",
    "mm:ss",
    "unix-s",
    "unix-ms",
    "serial-days",
]


@dataclass(frozen=True, kw_only=True)
class Times:
    """Cells of the time columns, their headers, and what must come of them."""

    cells: list[list[str]]
    headers: list[str]
    unit_cells: list[str]
    seconds: list[float]
    start: datetime | None
    utc_offset: str | None = None
    told: dict[str, Any] = field(default_factory=dict)
    preamble: list[list[str]] = field(default_factory=list)
    rolls_over_at: list[int] = field(default_factory=list)
    moments: list[datetime] | None = None
    within_s: float = 1e-6


def make_times(choose: Chooser, count: int, *, mark: str, delimiter: str) -> Times:
    form = choose.one_of([*CLOCK_FORMS, "stamp", "stamp", "date and time"])
    step = choose.one_of([1.0, 10.0, 30.0, 60.0, 0.5, 0.1, 3600.0, 7.5])
    start = datetime(choose.whole(2001, 2037), choose.whole(1, 12), choose.whole(1, 28)) + timedelta(
        seconds=choose.whole(0, 86399)
    )
    fraction = "." if mark == "." or delimiter == "," else choose.one_of([".", ","])
    if form in ("stamp", "date and time", "time of day"):
        return stamp_times(choose, form, start, step, count, fraction=fraction, delimiter=delimiter)
    if form == "elapsed":
        word, factor, decimals = choose.one_of(
            [("s", 1.0, 1), ("min", 60.0, 6), ("h", 3600.0, 9), ("ms", 0.001, 0)]
        )
        style = choose.one_of(
            ["Time ({})", "Elapsed [{}]", "t ({})"] if delimiter != " " else ["Time({})", "Elapsed[{}]"]
        )
        cells = [[f"{step * k / factor:.{decimals}f}".replace(".", mark)] for k in range(count)]
        return Times(
            cells=cells, headers=[style.format(word)], unit_cells=[word], start=None,
            seconds=[step * k for k in range(count)], within_s=1e-4,
        )  # fmt: skip
    if form in ("elapsed h:mm:ss", "mm:ss"):
        step = max(1.0, float(round(step)))
        first = choose.whole(0, 100_000) if form != "mm:ss" else 0
        total = [first + int(step) * k for k in range(count)]
        if form == "mm:ss":
            cells = [[f"{each // 60}:{each % 60:02d}"] for each in total]
            return Times(
                cells=cells, headers=["Elapsed"], unit_cells=[""], start=None,
                seconds=[step * k for k in range(count)], told={"time_unit": "mm:ss"},
            )  # fmt: skip
        cells = [[f"{each // 3600}:{each // 60 % 60:02d}:{each % 60:02d}"] for each in total]
        return Times(
            cells=cells, headers=["Elapsed" if delimiter == " " else "Elapsed time"], unit_cells=[""],
            start=None, seconds=[step * k for k in range(count)],
        )  # fmt: skip
    moments = [start + timedelta(seconds=step * k) for k in range(count)]
    if form == "serial-days":
        days = [f"{(moment - DAY_ZERO) / timedelta(days=1):.10f}".replace(".", mark) for moment in moments]
        return Times(
            cells=[[each] for each in days], headers=["Time"], unit_cells=[""], start=start,
            seconds=[step * k for k in range(count)], told={"time_unit": form}, within_s=1e-3,
        )  # fmt: skip
    scale, decimals = (1.0, 1) if form == "unix-s" else (1000.0, 0)
    numbers = [
        f"{(moment - EPOCH) / timedelta(seconds=1) * scale:.{decimals}f}".replace(".", mark)
        for moment in moments
    ]
    return Times(
        cells=[[cell.removesuffix(f"{mark}0") if step >= 1 and step != 7.5 else cell] for cell in numbers],
        headers=[choose.one_of(["Time", "Timestamp"])], unit_cells=[""], start=start,
        seconds=[step * k for k in range(count)], utc_offset="+00:00", told={"time_unit": form},
        within_s=0.06 if form == "unix-s" and step == 7.5 else 1e-6,
    )  # fmt: skip


def stamp_times(
    choose: Chooser, form: str, start: datetime, step: float, count: int, *, fraction: str, delimiter: str
) -> Times:
    # Digits run together are a date only beside a time of day.
    forms = [each for each in STAMP_FORMS if form == "date and time" or each != "run together"]
    day_form = choose.one_of(forms)
    day, order = STAMP_FORMS[day_form]
    if form == "time of day":
        # Half of these records run over midnight.
        start = start.replace(hour=23, minute=59, second=30) if choose.one_of([True, False]) else start
    moments = [start + timedelta(seconds=step * k) for k in range(count)]
    if form == "time of day" and (moments[-1] - moments[0]) >= timedelta(hours=20):
        step = 10.0
        moments = [start + timedelta(seconds=step * k) for k in range(count)]
    digits = (
        choose.one_of([1, 3])
        if step not in (1.0, 10.0, 30.0, 60.0, 3600.0)
        else choose.one_of([0, 0, 0, 1, 3])
    )
    half = choose.one_of([False, False, True]) and form != "time of day" and delimiter != " "
    minutes_only = step in (60.0, 3600.0) and start.second == 0

    def clock(moment: datetime) -> str:
        cell = moment.strftime("%I:%M" if half else "%H:%M")
        if not minutes_only:
            cell += moment.strftime(":%S")
            if digits:
                cell += fraction + f"{moment.microsecond:06d}"[:digits]
        return cell + (moment.strftime(" %p") if half else "")

    told: dict[str, Any] = {}
    fields = {(moment.month, moment.day) for moment in moments}
    if order is not None and form != "time of day":
        # A day over 12 settles day and month, but not where a year of two digits could be a day as well.
        settled = day_form != "short year" and any(number[1] > 12 for number in fields)
        if not settled or choose.one_of([True, False]):
            told["dates"] = order
    seconds = [step * k for k in range(count)]
    if form == "time of day":
        rolls = [k for k in range(1, count) if moments[k].date() != moments[k - 1].date()]
        cells = [[clock(moment)] for moment in moments]
        preamble: list[list[str]] = []
        # Times that begin near zero may as well be elapsed, whatever date stands above; 05:50 may be mm:ss.
        midnight = datetime.combine(start.date(), time())
        unclear = start - midnight <= timedelta(minutes=10) or (minutes_only and not half)
        if choose.one_of([True, False]) or unclear:
            told["date"] = start.date()
        else:
            label = choose.one_of(["Date", "Start date", "Datum"])
            preamble = [[label, start.strftime(choose.one_of(["%Y-%m-%d", "%d.%m.%Y"]))]]
        return Times(
            cells=cells, headers=["Time"], unit_cells=[""], seconds=seconds, start=start, told=told,
            preamble=preamble, rolls_over_at=rolls,
        )  # fmt: skip
    offset = choose.one_of([None, None, "Z", "+01:00", "-05:30"]) if day_form == "iso" and not half else None
    tail = offset or ""
    if form == "date and time":
        return Times(
            cells=[[moment.strftime(day), clock(moment) + tail] for moment in moments],
            headers=choose.one_of([["Date", "Time"], ["Datum", "Zeit"], ["Day", "Time"]]),
            unit_cells=["", ""], seconds=seconds, start=start, told=told,
            utc_offset={None: None, "Z": "+00:00"}.get(offset, offset), moments=moments,
        )  # fmt: skip
    between = "T" if delimiter == " " or (day_form == "iso" and choose.one_of([True, False])) else " "
    return Times(
        cells=[[moment.strftime(day) + between + clock(moment) + tail] for moment in moments],
        headers=[choose.one_of(["Time", "Timestamp", "Date/Time"])],
        unit_cells=[""], seconds=seconds, start=start, told=told,
        utc_offset={None: None, "Z": "+00:00"}.get(offset, offset), moments=moments,
    )  # fmt: skip


# --- how numbers are written -------------------------------------------------------------------------


def number_text(value: float, decimals: int, mark: str, thousands: str) -> str:
    plain = f"{value:,.{decimals}f}"
    return plain.translate(str.maketrans({",": thousands, ".": mark}))


@dataclass(frozen=True, kw_only=True)
class Numbers:
    """Readings as they are written without a thousands mark and with a point; None where there is none."""

    texts: list[list[str | None]]
    words: list[list[str]]
    decimals: int


def make_numbers(choose: Chooser, count: int, channels: int, *, high: int, blanks: bool) -> Numbers:
    source = random.Random(choose.whole(0, 2**32))
    decimals = choose.one_of([1, 2, 3, 0, 4, 1, 2])
    share = choose.one_of([0.0, 0.0, 0.05, 0.2])
    words = [word for word in ABSENT if word or blanks]
    texts: list[list[str | None]] = []
    chosen: list[list[str]] = []
    for row in range(count):
        # The first row and the first channel are whole, so that every column has a number and every row too.
        texts.append(
            [
                None
                if row and channel and source.random() < share
                else f"{source.uniform(-200, high):.{decimals}f}"
                for channel in range(channels)
            ]
        )
        chosen.append([source.choice(words) for _ in range(channels)])
    return Numbers(texts=texts, words=chosen, decimals=decimals)


# --- the whole file ----------------------------------------------------------------------------------


@dataclass(kw_only=True)
class _Sheet:
    """Rows of text cells with what they are in a spreadsheet: a number, a moment, or nothing of the kind."""

    rows: list[list[str]]
    kinds: dict[tuple[int, int], Any] = field(default_factory=dict)


def random_layout(choose: Chooser, container: str | None = None) -> Written:
    """Write a random table in a random layout.

    Parameters
    ----------
    choose
        Where the choices come from.
    container
        "text", "gzip", "zip", "xlsx", "xls", "ods" or "parquet"; None leaves it to chance.
    """
    container = container or choose.one_of(["text"] * 20 + ["gzip", "zip", "xlsx", "xls", "ods", "parquet"])
    binary = container in ("xlsx", "xls", "ods", "parquet")
    count, channels = choose.whole(3, 40), choose.whole(2, 8)
    delimiter = "" if binary else choose.one_of(list(SIGNS))
    sign = SIGNS.get(delimiter, "")
    encoding = "utf-8" if binary else choose.one_of(
        ["utf-8", "utf-8-sig", "utf-16", "utf-16-be mark", "cp1252", "shift_jis told", "utf-16-le told"]
    )  # fmt: skip
    quoting = "needed" if delimiter != "space" and choose.one_of([False, False, True]) else "none"
    quoting = "all" if quoting == "needed" and choose.one_of([True, False]) else quoting
    mark_word = (
        "point" if binary or (sign == "," and quoting == "none") else choose.one_of(["point", "comma"])
    )
    mark = MARKS[mark_word]
    times = make_times(choose, count, mark=mark, delimiter=sign)
    table = "wide" if container == "parquet" else choose.one_of(["wide", "wide", "wide", "long"])
    numbers = make_numbers(
        choose, count, channels, high=choose.one_of([250, 1600, 9999]), blanks=sign != " " and table == "wide"
    )
    thousands_word = "none"
    if not binary and choose.one_of([False, False, True]):
        free = [
            word
            for word, character in THOUSANDS.items()
            if character != mark
            and (character != sign or quoting != "none")
            and not (sign == " " and word == "space")
        ]
        if free:
            thousands_word = choose.one_of(free)
    thousands = THOUSANDS.get(thousands_word, "")
    told: dict[str, Any] = dict(times.told)
    # "1,234" alone is 1234 or 1.234: only a number with both marks, or one with another count of digits,
    # tells. One such number may be a damaged one, and times without the thousands mark contradict it; so
    # there it is told.
    long_numbers = sum(
        cell is not None and len(cell.split(".")[0]) > 3 for row in numbers.texts for cell in row
    )
    if thousands_word != "none" and (
        numbers.decimals in (0, 3)
        or long_numbers < 3
        or re.fullmatch(r"[\d.,]+", times.cells[0][0])
        or choose.one_of([True, False])
    ):
        told |= {"thousands_mark": thousands_word, "decimal_mark": mark_word}
    elif numbers.decimals in (0, 3) and mark_word == "comma":
        told["decimal_mark"] = mark_word
    if encoding.endswith(" told"):
        told["encoding"] = encoding.removesuffix(" told")
    pool = list(JAPANESE if encoding.startswith("shift_jis") else WESTERN)
    if quoting != "none" or binary:
        pool += AWKWARD
    if sign == " ":
        pool = [name.replace(" ", "_") for name in pool]
    names = []
    for _ in range(channels):
        names.append(pool.pop(choose.whole(0, len(pool) - 1)))
    one_unit = choose.one_of([C, F, K])
    many_units = choose.one_of([False, False, True])
    units = [choose.one_of([C, F, K]) if many_units else one_unit for _ in names]
    degree = encoding not in ("shift_jis told",)
    spelled = {
        unit: choose.one_of(words if degree else words[1:] or words) for unit, words in SPELLED.items()
    }
    for channel, unit in enumerate(units):
        _keep_above_absolute_zero(numbers.texts, channel, unit, numbers.decimals)
    # In a file of whole numbers a single 9.91E37 is the one number with a mark, which is worth a doubt.
    free_doubts = {"one-number-with-a-mark"} if numbers.decimals == 0 else set()
    builder = _Builder(
        choose=choose, times=times, numbers=numbers, names=names, units=units, spelled=spelled, mark=mark,
        thousands=thousands, told=told, sign=sign, binary=binary, container=container, many_units=many_units,
    )  # fmt: skip
    if table == "wide":
        builder.wide()
    else:
        builder.long()
    if container == "parquet":
        # Its rows are counted from the first row of data: there is no row of names.
        builder.row_of_instant = [row - 1 for row in builder.row_of_instant]
        builder.absent = {(row - 1, header) for row, header in builder.absent}
        builder.listed = [row - 1 for row in builder.listed]
    layout = {
        "container": container, "delimiter": delimiter, "encoding": encoding, "quoting": quoting,
        "mark": mark_word, "thousands": thousands_word, "table": table,
    }  # fmt: skip
    line_end = choose.one_of(["\n", "\r\n", "\r"])
    data, name = _packed(builder, container, sign, quoting, line_end, encoding, choose)
    meant = np.array([[np.nan if cell is None else float(cell) for cell in row] for row in numbers.texts])
    celsius = np.column_stack([temperature_to_c(meant[:, k], unit) for k, unit in enumerate(units)])
    return Written(
        file=logger_file(data, name),
        told=ReadOptions(**builder.told),
        names=names,
        units=units,
        celsius=celsius,
        seconds=np.array(times.seconds),
        start=times.start,
        utc_offset=times.utc_offset,
        rows=builder.row_of_instant,
        others=builder.others,
        absent=builder.absent,
        listed=builder.listed,
        header_again=builder.header_again,
        free_doubts=free_doubts,
        within_s=max(times.within_s, 1.1e-3 if binary else 0),
        layout=layout,
    )


def _keep_above_absolute_zero(
    texts: list[list[str | None]], channel: int, unit: TemperatureUnit, decimals: int
) -> None:
    """Turn negative kelvin round, in place: what is below absolute zero is no reading."""
    if unit is K:
        for row in texts:
            cell = row[channel]
            if cell is not None and cell.startswith("-"):
                row[channel] = cell[1:]


@dataclass(kw_only=True)
class _Builder:
    """Builds the rows of one file and notes what must be understood of them."""

    choose: Chooser
    times: Times
    numbers: Numbers
    names: list[str]
    units: list[TemperatureUnit]
    spelled: dict[TemperatureUnit, str]
    mark: str
    thousands: str
    told: dict[str, Any]
    sign: str
    binary: bool
    container: str
    many_units: bool
    rows: list[list[str]] = field(default_factory=list)
    kinds: dict[tuple[int, int], Any] = field(default_factory=dict)
    row_of_instant: list[int] = field(default_factory=list)
    others: list[str] = field(default_factory=list)
    absent: set[tuple[int, str | None]] = field(default_factory=set)
    listed: list[int] = field(default_factory=list)
    header_again: list[int] = field(default_factory=list)

    def add(self, cells: list[str]) -> None:
        self.rows.append(cells)

    def cell(self, row: int, channel: int) -> tuple[str, float | None]:
        number = self.numbers.texts[row][channel]
        if number is None:
            # A number that stands for "no reading" is written with the file's own mark.
            return self.numbers.words[row][channel].replace(".", self.mark), None
        value = float(number)
        return number_text(value, self.numbers.decimals, self.mark, self.thousands), value

    def preamble(self, width: int) -> None:
        choose = self.choose
        if self.container == "parquet":
            if self.times.preamble:
                assert self.times.start is not None
                self.told["date"] = self.times.start.date()
            return
        kind = choose.one_of(["none", "none", "colon", "hash", "cells", "padded", "numbers", "blank"])
        made = {
            "none": [],
            "colon": [["Remark: invented"], ["Interval: 30 s"], [""]],
            "hash": [["# invented readings"], ["# channels: some"]],
            "cells": [["Remark", "invented"], ["Channels", "3"]],
            "padded": [["Remark", "invented", *[""] * max(0, width - 2)]],
            "numbers": [["Limits", "175.5", "185.5"], ["Battery 87 percent"]],
            "blank": [[""], [""]],
        }[kind]
        if self.sign == " ":
            # A line of as many words as the table has columns would be a row of words like the header.
            made = [[cell.replace(" ", "_") for cell in row] for row in made]
        made = [*made, *self.times.preamble]
        if choose.one_of([True, False]):
            made = made[::-1]
        for row in made:
            self.add(list(row))

    def unit_route(self, routes: Sequence[str]) -> str:
        """Where the unit is named; `told` tells it, where all are one."""
        one = len(set(self.units)) == 1
        return self.choose.one_of(
            [route for route in routes if one or route not in ("told", "preamble", "column")]
        )

    def wide(self) -> None:
        choose, times, names = self.choose, self.times, self.names
        many = len(times.headers)
        routes = ["header", "header", "row", "told", "told by column", "preamble", "column"]
        if self.container == "parquet" or self.sign == " ":
            routes = ["header", "told", "told by column"]
        route = self.unit_route(routes)
        other = route in ("header", "row") and choose.one_of([False, False, True])
        others = ["Oxygen"] if other else []
        brackets = choose.one_of(["({})", "[{}]"])
        between = "" if self.sign == " " else " "
        words = [self.spelled[unit] for unit in self.units]
        headers = list(names)
        if route == "header":
            headers = [
                f"{name}{between}{brackets.format(word)}" for name, word in zip(names, words, strict=True)
            ]
            others_headers = [f"{name}{between}{brackets.format('%')}" for name in others]
        else:
            others_headers = list(others)
        if route == "told":
            self.told["units"] = self.units[0]
        elif route == "told by column":
            self.told["column_units"] = {
                name: str(unit) for name, unit in zip(names, self.units, strict=True)
            }
        extra = ["Unit"] if route == "column" else []
        head = [*times.headers, *headers, *others_headers, *extra]
        width = len(head)
        self.preamble(width)
        if route == "preamble":
            self.add([choose.one_of(["Units", "Unit", "Temperature unit"]), words[0]])
        header_rows = [head]
        if route == "row":
            units_row = [*times.unit_cells, *words, *["%" for _ in others]]
            header_rows = [head, units_row] if choose.one_of([True, False]) else [units_row, head]
        if self.container != "parquet" and self.sign != " " and choose.one_of([False, False, False, True]):
            header_rows = self._with_descriptions(header_rows, head, many, width)
        for row in header_rows:
            self.add(list(row))
        again = self._row_of_repeated_header()
        for row in range(len(times.cells)):
            if row == again:
                for each in header_rows:
                    self.listed.append(len(self.rows) + 1)
                    self.header_again.append(len(self.rows) + 1)
                    self.add(list(each))
            line = list(times.cells[row])
            self._time_kinds(row, many)
            for channel in range(len(names)):
                text, value = self.cell(row, channel)
                if value is None:
                    self.absent.add((len(self.rows) + 1, headers[channel]))
                else:
                    self.kinds[len(self.rows), len(line)] = value
                line.append(text)
            for _ in others:
                text = number_text(20.9 - 0.25 * (row % 40), 2, self.mark, self.thousands)
                self.kinds[len(self.rows), len(line)] = 20.9 - 0.25 * (row % 40)
                line.append(text)
            line += [words[0] for _ in extra]
            if row in times.rolls_over_at:
                self.listed.append(len(self.rows) + 1)
            self.row_of_instant.append(len(self.rows) + 1)
            self.add(line)
        self.others = others
        self._summary(width, many, extra=[words[0] for _ in extra])

    def _with_descriptions(
        self, header_rows: list[list[str]], head: list[str], many: int, width: int
    ) -> list[list[str]]:
        """Add a row that describes the channels, anywhere among the header rows, and tell the rows."""
        choose = self.choose
        words = [f"{DESCRIPTIONS[k % len(DESCRIPTIONS)]} {k}" for k in range(width - many)]
        rows = list(header_rows)
        rows.insert(choose.whole(0, len(rows)), [*[""] * many, *words])
        # Two rows of words: which of them holds the names can't be told by form.
        top = len(self.rows) + 1
        self.told["header_row"] = top + next(k for k, row in enumerate(rows) if row is head)
        self.told["description_row"] = top + next(k for k, row in enumerate(rows) if row[-1] == words[-1])
        units = [k for k, row in enumerate(rows) if row is not head and row[-1] != words[-1]]
        self.told["units_row"] = top + units[0] if units else 0
        return rows

    def _row_of_repeated_header(self) -> int | None:
        count = len(self.times.cells)
        if self.container == "parquet" or count < 6 or self.choose.one_of([True, True, True, True, False]):
            return None
        return self.choose.whole(2, count - 2)

    def _time_kinds(self, row: int, many: int) -> None:
        """In a sheet, stamps are moments half of the time, else text."""
        moments = self.times.moments
        if not self.binary or self.times.utc_offset is not None:
            return
        if row == 0:
            self._real_times = moments is not None and self.choose.one_of([True, False])
        if self._real_times and moments is not None:
            if many == 1:
                self.kinds[len(self.rows), 0] = moments[row]
            else:
                self.kinds[len(self.rows), 0] = moments[row].date()
                self.kinds[len(self.rows), 1] = moments[row].time()

    def _summary(self, width: int, many: int, extra: list[str]) -> None:
        if self.container == "parquet" or self.choose.one_of([True, True, True, True, False]):
            return
        if many == 2 and self.times.cells[0][0].isdigit():
            # In a short table, dates whose digits run together are numbers like those of the summary; it is
            # refused then, naming the summary.
            return
        if self.choose.one_of([True, False]):
            self.add([""])
        for word in ("Minimum", "Maximum", "Average"):
            self.listed.append(len(self.rows) + 1)
            # Between blanks an empty cell would be no cell.
            empty = ["-" if self.sign == " " else ""] * (many - 1)
            self.add([word, *empty, *[f"1{self.mark}5"] * (width - many - len(extra)), *extra])

    def long(self) -> None:
        choose, times, names = self.choose, self.times, self.names
        many = len(times.headers)
        routes = ["unit column", "header", "told"] if len(set(self.units)) == 1 else ["unit column"]
        if self.sign == " ":
            routes = ["unit column"]
        route = choose.one_of(routes)
        words = [self.spelled[unit] for unit in self.units]
        odd = choose.one_of([False, False, True])
        channel_head, value_head, unit_head = ("what", "how_much", "in") if odd else (
            choose.one_of(["Channel", "Sensor"]), choose.one_of(["Value", "Reading"]), "Unit"
        )  # fmt: skip
        if route == "header":
            value_head = f"{value_head} ({words[0]})"
        if route == "told":
            self.told["units"] = self.units[0]
        head = [*times.headers, channel_head, value_head, *([unit_head] if route == "unit column" else [])]
        if odd or choose.one_of([True, False]):
            self.told |= {"table": "long", "channel_column": channel_head, "value_column": value_head}
            if route == "unit column":
                self.told["unit_column"] = unit_head
        self.preamble(len(head))
        self.add(head)
        by_channel = not times.rolls_over_at and choose.one_of([False, False, True])
        order = [(row, channel) for row in range(len(times.cells)) for channel in range(len(names))]
        if by_channel:
            order.sort(key=lambda place: place[1])
        first: dict[int, int] = {}
        for row, channel in order:
            text, value = self.cell(row, channel)
            at = len(self.rows) + 1
            first.setdefault(row, at)
            if value is None:
                self.absent.add((at, None))
            else:
                self.kinds[len(self.rows), many + 1] = value
            if row in times.rolls_over_at and channel == 0:
                self.listed.append(at)
            self.add(
                [
                    *times.cells[row],
                    names[channel],
                    text,
                    *([words[channel]] if route == "unit column" else []),
                ]
            )
        self.row_of_instant = [first[row] for row in range(len(times.cells))]


# --- containers --------------------------------------------------------------------------------------


def _packed(
    builder: _Builder, container: str, sign: str, quoting: str, line_end: str, encoding: str, choose: Chooser
) -> tuple[bytes, str]:
    if container == "xlsx":
        return _xlsx(builder), "record.xlsx"
    if container == "xls":
        return _xls(builder), "record.xls"
    if container == "ods":
        return _ods(builder), "record.ods"
    if container == "parquet":
        return _parquet(builder), "record.parquet"
    trailing = sign not in ("", " ") and choose.one_of([True, True, True, True, False])
    spread = choose.one_of([1, 2, 3]) if sign == " " else 1
    content = "".join(
        _line(row, sign * spread, quoting) + (sign if not trailing and len(row) > 1 else "") + line_end
        for row in builder.rows
    )
    if encoding == "utf-16-be mark":
        data = b"\xfe\xff" + content.encode("utf-16-be")
    else:
        data = content.encode(encoding.removesuffix(" told"))
    if container == "gzip":
        return gzip.compress(data, mtime=0), "record.csv.gz"
    if container == "zip":
        return zipped({"record.csv": data}), "record.zip"
    return data, "record.csv"


def _line(row: Sequence[str], sign: str, quoting: str) -> str:
    if quoting == "none":
        return sign.join(row)
    buffer = io.StringIO()
    how = csv.QUOTE_ALL if quoting == "all" and row != [""] else csv.QUOTE_MINIMAL
    csv.writer(buffer, delimiter=sign, quoting=how, lineterminator="").writerow(row)
    return buffer.getvalue() if row != [""] else ""


def zipped(members: dict[str, bytes]) -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in members.items():
            archive.writestr(zipfile.ZipInfo(name, (2026, 3, 14, 12, 0, 0)), data)
    return buffer.getvalue()


def _xlsx(builder: _Builder) -> bytes:
    import xlsxwriter

    buffer = io.BytesIO()
    book = xlsxwriter.Workbook(buffer, {"in_memory": True})
    sheet = book.add_worksheet("Readings")
    forms = {
        datetime: book.add_format({"num_format": "yyyy-mm-dd hh:mm:ss.000"}),
        date: book.add_format({"num_format": "yyyy-mm-dd"}),
        time: book.add_format({"num_format": "hh:mm:ss.000"}),
    }
    for row, cells in enumerate(builder.rows):
        for column, cell in enumerate(cells):
            value = builder.kinds.get((row, column))
            if isinstance(value, float):
                sheet.write_number(row, column, value)
            elif value is not None:
                sheet.write_datetime(row, column, value, forms[type(value)])
            elif cell:
                sheet.write_string(row, column, cell)
    book.close()
    return buffer.getvalue()


def _xls(builder: _Builder) -> bytes:
    import xlwt

    book = xlwt.Workbook()
    sheet = book.add_sheet("Readings")
    forms = {
        datetime: xlwt.easyxf(num_format_str="yyyy-mm-dd hh:mm:ss"),
        date: xlwt.easyxf(num_format_str="yyyy-mm-dd"),
        time: xlwt.easyxf(num_format_str="hh:mm:ss"),
    }
    for row, cells in enumerate(builder.rows):
        for column, cell in enumerate(cells):
            value = builder.kinds.get((row, column))
            if isinstance(value, float):
                sheet.write(row, column, value)
            elif value is not None:
                serial: Any = value
                if isinstance(value, datetime):
                    serial = (value - DAY_ZERO) / timedelta(days=1)
                elif isinstance(value, time):
                    serial = (datetime.combine(date.min, value) - datetime.min) / timedelta(days=1)
                sheet.write(row, column, serial, forms[type(value)])
            elif cell:
                sheet.write(row, column, cell)
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


def _ods(builder: _Builder) -> bytes:
    from xml.sax.saxutils import escape, quoteattr

    def xml(row: int, column: int, cell: str) -> str:
        value = builder.kinds.get((row, column))
        kind = 'office:value-type="string"'
        if isinstance(value, float):
            kind = f'office:value-type="float" office:value="{value!r}"'
        elif isinstance(value, datetime | date):
            kind = f'office:value-type="date" office:date-value={quoteattr(value.isoformat())}'
        elif isinstance(value, time):
            seconds = value.second + value.microsecond / 1e6
            clock = f"PT{value.hour:02d}H{value.minute:02d}M{seconds:09.6f}S"
            kind = f'office:value-type="time" office:time-value="{clock}"'
        elif not cell:
            return "<table:table-cell/>"
        return f"<table:table-cell {kind}><text:p>{escape(cell)}</text:p></table:table-cell>"

    body = "".join(
        "<table:table-row>"
        + "".join(xml(row, column, cell) for column, cell in enumerate(cells))
        + "</table:table-row>"
        for row, cells in enumerate(builder.rows)
    )
    space = "".join(
        f' xmlns:{short}="urn:oasis:names:tc:opendocument:xmlns:{short}:1.0"'
        for short in ("office", "table", "text")
    )
    content = (
        f'<?xml version="1.0" encoding="UTF-8"?><office:document-content{space} office:version="1.2">'
        '<office:body><office:spreadsheet><table:table table:name="Readings">'
        f"{body}</table:table></office:spreadsheet></office:body></office:document-content>"
    )
    kind = "application/vnd.oasis.opendocument.spreadsheet"
    manifest = (
        '<?xml version="1.0" encoding="UTF-8"?><manifest:manifest '
        'xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0" manifest:version="1.2">'
        f'<manifest:file-entry manifest:full-path="/" manifest:media-type="{kind}"/>'
        '<manifest:file-entry manifest:full-path="content.xml" manifest:media-type="text/xml"/>'
        "</manifest:manifest>"
    )
    return zipped(
        {
            "mimetype": kind.encode(),
            "content.xml": content.encode(),
            "META-INF/manifest.xml": manifest.encode(),
        }
    )


def _parquet(builder: _Builder) -> bytes:
    import pyarrow as pa
    import pyarrow.parquet as pq

    head, body = builder.rows[0], builder.rows[1:]
    columns: dict[str, Any] = {}
    for column, name in enumerate(head):
        values = [builder.kinds.get((row + 1, column)) for row in range(len(body))]
        if all(value is None for value in values):
            columns[name] = pa.array([cells[column] for cells in body])
        else:
            columns[name] = pa.array(values)
    buffer = io.BytesIO()
    pq.write_table(pa.table(columns), buffer)
    return buffer.getvalue()


# --- reading back ------------------------------------------------------------------------------------


def read(written: Written) -> Recording:
    return read_recording([written.file], written.told)


def rows_of(recording: Recording, written: Written) -> list[int]:
    """Rows of the instants; a file inside an archive is called by both names."""
    (rows,) = recording.rows.values()
    (label,) = recording.rows
    assert label.startswith(written.file.name) or written.file.name.startswith(label)
    return rows.tolist()


def last_row_of(doubt: Doubt) -> int:
    """The last row that a doubt speaks of; its text names it."""
    assert doubt.row is not None
    return max(
        [doubt.row, *(int(number) for number in re.findall(r"(?:rows?|between|and|to) (\d+)", doubt.text))]
    )


def covered(recording: Recording, written: Written) -> set[tuple[int, str | None]]:
    """The cells of which a doubt says that they hold no reading."""
    found: set[tuple[int, str | None]] = set()
    rows = rows_of(recording, written)
    long = written.layout["table"] == "long"
    for doubt in recording.doubts:
        if doubt.cells and doubt.row is not None:
            if long or doubt.cells == 1:
                found.add((doubt.row, None if long else doubt.column))
                continue
            at = rows.index(doubt.row)
            found |= {(row, doubt.column) for row in rows[at : at + doubt.cells]}
    return found


def check(recording: Recording, written: Written) -> None:
    """Hold what was read against what was written."""
    assert [channel.name for channel in recording.channels] == written.names
    assert list(recording.units) == written.units
    np.testing.assert_array_equal(recording.raw_c, written.celsius)
    np.testing.assert_allclose(recording.seconds, written.seconds, rtol=0, atol=written.within_s)
    if written.start is None:
        assert recording.start is None
    else:
        assert recording.start is not None
        assert abs((recording.start - written.start).total_seconds()) <= written.within_s
    assert recording.utc_offset == written.utc_offset
    assert [channel.name for channel in recording.others] == written.others
    assert rows_of(recording, written) == written.rows
    if written.layout["table"] == "wide":
        assert covered(recording, written) == written.absent
    assert sum(doubt.cells for doubt in recording.doubts) == int(np.isnan(written.celsius).sum())
    others = [
        doubt for doubt in recording.doubts if not doubt.cells and doubt.kind not in written.free_doubts
    ]
    for row in written.listed:
        # A header of several rows that stands again is one thing to say.
        assert any(
            doubt.row is not None and doubt.row <= row <= last_row_of(doubt) + len(written.header_again)
            for doubt in others
        ), f"row {row}: {[str(doubt) for doubt in others]}"
    if not written.listed:
        assert [str(doubt) for doubt in others] == []


def check_pins(recording: Recording, written: Written) -> None:
    """Read again with nothing told but the pins: the same recording, nothing left to detection."""
    again = read_recording([written.file], ReadOptions(), dict(recording.pins))
    check(again, written)
    np.testing.assert_array_equal(again.seconds, recording.seconds)
    assert again.channels == recording.channels
    assert again.start == recording.start
    assert again.pins == recording.pins
