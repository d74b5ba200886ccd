"""Times written as numbers or as h:mm:ss: elapsed time, seconds since 1970, days of a spreadsheet."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from qualify.findings import Doubt, DoubtKind, RefusalKind
from qualify.readings.cells import DAYS_DURATION, DURATION, TIME_UNIT_SECONDS, TWO_PART_DURATION
from qualify.readings.instants import DAY, SECOND, TIME_UNREADABLE, Instants, TimeColumns, clock_at
from qualify.readings.model import FloatArray, IntArray
from qualify.readings.numbers import Marks, is_number, value_of
from qualify.readings.stamps import cut, fraction_of_second, time_of_day
from qualify.readings.table import Column

TIME_NUMBERS_UNCLEAR = RefusalKind(
    "time-numbers-unclear",
    what="the times start at the number {value:.10g} and no unit is named",
    why="They may be elapsed seconds, days of a spreadsheet's calendar or seconds since 1970.",
    mend="add --time-unit with s, min, h, ms, unix-s, unix-ms or serial-days, or export the times as dates.",
)
TIME_FORM_UNCLEAR = RefusalKind(
    "time-form-unclear",
    what="the elapsed time '{cell}' can be hours and minutes or minutes and seconds",
    why="The two differ by a factor of sixty.",
    mend="add --time-unit h:mm or --time-unit mm:ss; for times of day, add --date YYYY-MM-DD.",
)
TIME_UNIT_ASSUMED = DoubtKind(
    "time-unit-assumed",
    "the file names no unit for its elapsed time; it was read in seconds, and every rate and "
    "duration hangs on that; --time-unit settles it",
)

CLOCK_FORMS = {"h:mm:ss": "h:mm:ss", "hh:mm:ss": "h:mm:ss", "h:mm": "h:mm", "hh:mm": "h:mm"} | {
    "mm:ss": "mm:ss",
    "m:ss": "mm:ss",
}
"""The forms of elapsed time that headers and options name, and the name that options have for each."""

UNIX_UNIT = "unix"
"""The unit where a header names Unix time, and its size must tell seconds from milliseconds."""

_UNIT_OPTIONS = {1.0: "s", 60.0: "min", 3600.0: "h", 0.001: "ms"}
LATE_START = 20_000.0
"""From this number on, times without a unit are more likely days or seconds of a calendar."""
_LONGEST_ELAPSED_S = 9e9
# 1990 to 2100 as seconds and as milliseconds since 1970: no number is in both.
_UNIX_S = (6.3e8, 4.11e9)
_LATEST_UNIX_S = 7_258_118_400.0  # 2200-01-01
# Days of a spreadsheet: 1 March 1900, from when on the count is sound, to the end of 2199.
SERIAL_DAYS = (61.0, 109_575.0)
"""The first and the last day that serial days can name."""
_SERIAL_OF_1970 = 25_569
_NO_ORDER = {"date order": "none"}


def read_numbers(file: str, time: TimeColumns, cells: Column, rows: IntArray, marks: Marks) -> Instants:
    """Read a column of numbers as times.

    Parameters
    ----------
    file
        The file's name, for messages.
    time
        The column, with the unit that was told or named.
    cells, rows : (n,)
        Numbers, or text where a cell is no number; the row numbers.
    marks
        How the file writes numbers.

    Raises
    ------
    Refusal
        If a cell is no number, lies outside the calendar, or the unit stays open.
    """
    numbers = _numbers(file, time, cells, rows, marks)
    unit = time.unit
    if unit == UNIX_UNIT:
        unit = _unix_unit(file, time, numbers, rows)
    if unit in ("unix-s", "unix-ms"):
        return _since_1970(file, time, numbers, rows, unit)
    if unit == "serial-days":
        return _serial_days(file, time, numbers, rows)
    doubts: list[Doubt] = []
    if not unit:
        if numbers[0] >= LATE_START:
            raise TIME_NUMBERS_UNCLEAR(
                file=file, row=int(rows[0]), column=time.header, value=float(numbers[0])
            )
        doubts.append(TIME_UNIT_ASSUMED(file=file, column=time.header))
        unit = "s"
    if unit not in TIME_UNIT_SECONDS:
        form = f"a time such as {unit}, which the header names"
        raise TIME_UNREADABLE(
            file=file, row=int(rows[0]), column=time.header, cell=f"{numbers[0]:.10g}", form=form
        )
    seconds = TIME_UNIT_SECONDS[unit]
    _must_lie(
        file, time, numbers * seconds, rows, (-_LONGEST_ELAPSED_S, _LONGEST_ELAPSED_S), "an elapsed time"
    )
    nanoseconds = _scaled(numbers, round(seconds * SECOND), 1)
    form = f"elapsed time in {unit}" + ("" if time.unit else ", the unit not named")
    told: Mapping[str, object] = {"time_unit": _UNIT_OPTIONS[seconds]}
    return Instants(nanoseconds, None, None, {"time format": form, **_NO_ORDER}, tuple(doubts), told)


def _numbers(file: str, time: TimeColumns, cells: Column, rows: IntArray, marks: Marks) -> FloatArray:
    if cells.dtype != object:
        return np.asarray(cells, dtype=np.float64)
    for at, cell in enumerate(cells):
        if isinstance(cell, str) and not is_number(cell, marks):
            raise TIME_UNREADABLE(
                file=file, row=int(rows[at]), column=time.header, cell=cell.strip(), form="a number"
            )
    return np.array([value_of(cell, marks) if isinstance(cell, str) else float(cell) for cell in cells])


def _must_lie(
    file: str,
    time: TimeColumns,
    numbers: FloatArray,
    rows: IntArray,
    limits: tuple[float, float],
    form: str,
) -> None:
    strange = np.flatnonzero(~((numbers >= limits[0]) & (numbers < limits[1])))
    if len(strange):
        at = int(strange[0])
        raise TIME_UNREADABLE(
            file=file, row=int(rows[at]), column=time.header, cell=f"{numbers[at]:.15g}", form=form
        )


def _scaled(numbers: FloatArray, unit_ns: int, grain_ns: int) -> IntArray:
    """Nanoseconds of numbers of a unit: whole ones exactly, the rest of each to a grain [ns]."""
    whole = np.floor(numbers)
    grains = np.rint((numbers - whole) * (unit_ns / grain_ns)).astype(np.int64)
    return np.asarray(whole.astype(np.int64) * unit_ns + grains * grain_ns, dtype=np.int64)


def _unix_unit(file: str, time: TimeColumns, numbers: FloatArray, rows: IntArray) -> str:
    for unit, factor in (("unix-s", 1.0), ("unix-ms", 1000.0)):
        if bool(((numbers >= _UNIX_S[0] * factor) & (numbers < _UNIX_S[1] * factor)).all()):
            return unit
    raise TIME_NUMBERS_UNCLEAR(file=file, row=int(rows[0]), column=time.header, value=float(numbers[0]))


def _since_1970(file: str, time: TimeColumns, numbers: FloatArray, rows: IntArray, unit: str) -> Instants:
    """Unix time, which is UTC; a float holds it to a quarter of a microsecond, so it is rounded to one."""
    factor = 1 if unit == "unix-s" else 1000
    _must_lie(file, time, numbers, rows, (0.0, _LATEST_UNIX_S * factor), "a Unix time (1970 to 2199)")
    nanoseconds = _scaled(numbers, SECOND // factor, 1000)
    words = {
        "time format": f"Unix time in {'seconds' if factor == 1 else 'milliseconds'}, which is UTC",
        **_NO_ORDER,
    }
    return Instants(nanoseconds, clock_at(int(nanoseconds[0])), "+00:00", words, (), {"time_unit": unit})


def _serial_days(file: str, time: TimeColumns, numbers: FloatArray, rows: IntArray) -> Instants:
    _must_lie(file, time, numbers, rows, SERIAL_DAYS, "a spreadsheet's serial day (March 1900 to 2199)")
    nanoseconds = _scaled(numbers - _SERIAL_OF_1970, DAY, SECOND // 1000)
    form = f"serial days of a spreadsheet (1900 system), {_resolution(numbers)}"
    words = {"time format": form, **_NO_ORDER}
    told: Mapping[str, object] = {"time_unit": "serial-days"}
    return Instants(nanoseconds, clock_at(int(nanoseconds[0])), None, words, (), told)


def _resolution(days: FloatArray) -> str:
    """How finely days were written, in words."""
    for places in range(9):
        if np.allclose(np.round(days, places), days, rtol=0, atol=2e-11):
            step = 86_400 / 10**places
            return f"written to {places} decimals of a day ({step:.3g} s), rounded to a millisecond"
    return "rounded to a millisecond"


def read_durations(
    file: str, time: TimeColumns, cells: Column, rows: IntArray, form: str, *, elapsed: bool
) -> Instants:
    """Read a column of h:mm:ss, h:mm or mm:ss as elapsed time.

    Parameters
    ----------
    file
        The file's name, for messages.
    time
        The column.
    cells, rows : (n,)
        Text cells and their row numbers.
    form
        "h:mm:ss", "h:mm" or "mm:ss" as told or named, or "".
    elapsed
        Whether the header or the user says that the time is elapsed time, so that days may stand in front.

    Raises
    ------
    Refusal
        If a cell can't be read, or two parts can be h:mm or mm:ss.
    """
    first = str(cells[0])
    header = time.header
    if form in ("h:mm", "mm:ss") or TWO_PART_DURATION.fullmatch(first):
        if form not in ("h:mm", "mm:ss"):
            raise TIME_FORM_UNCLEAR(file=file, row=int(rows[0]), column=header, cell=first.strip())
        fields = cut(file, header, cells, rows, TWO_PART_DURATION, f"elapsed time ({form})")
        large, small, fraction = (
            fields.value("large"),
            fields.value("small"),
            fraction_of_second(fields, "fraction"),
        )
        wrong = small > 59
        if form == "h:mm":
            # A part of a minute is written as seconds, so a fraction here shows that mm:ss was meant.
            wrong |= fields.digits("fraction") > 0
        if wrong.any():
            at = int(np.flatnonzero(wrong)[0])
            raise TIME_UNREADABLE(
                file=file,
                row=int(rows[at]),
                column=header,
                cell=str(cells[at]).strip(),
                form=f"elapsed time ({form})",
            )
        factors = (3600, 60) if form == "h:mm" else (60, 1)
        nanoseconds = (large * factors[0] + small * factors[1]) * SECOND + fraction
        words = {"time format": f"elapsed {form}", **_NO_ORDER}
        return Instants(nanoseconds, None, None, words, (), {"time_unit": form})
    pattern = DAYS_DURATION if elapsed else DURATION
    fields = cut(file, header, cells, rows, pattern, "elapsed h:mm:ss")
    nanoseconds = time_of_day(file, header, fields, cells, rows, limit=False)
    words = {"time format": "elapsed h:mm:ss", **_NO_ORDER}
    if "days" in fields:
        days = fields.value("days")
        wrong = (days >= 0) & (fields.value("hour") > 23)
        if wrong.any():
            at = int(np.flatnonzero(wrong)[0])
            raise TIME_UNREADABLE(
                file=file,
                row=int(rows[at]),
                column=header,
                cell=str(cells[at]).strip(),
                form="elapsed days and h:mm:ss",
            )
        nanoseconds = nanoseconds + np.maximum(days, 0) * DAY
        words["time format"] = "elapsed days and h:mm:ss"
    return Instants(nanoseconds, None, None, words, (), {"time_unit": "h:mm:ss"} if elapsed else {})
