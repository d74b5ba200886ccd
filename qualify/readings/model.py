"""What was recorded: times, channels and values, before any correction."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from qualify.findings import Doubt
from qualify.units import TemperatureUnit

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class LoggerClock:
    """How a logger's clock stands against that of the first file, as the user told it.

    Attributes
    ----------
    offset_s, uncertainty_s
        Seconds [s] to add to this logger's times to have those of the base, the first file of whose clock
        nothing was told; and their expanded uncertainty [s]. Where only one of the two has a clock, that
        one's times count from its first reading: the offset of a file of elapsed time is then in seconds
        after the base's first reading. With and without a UTC offset, the clocks as printed are compared.
    shared_sensor
        This logger's channel and the other logger's (which may be FILESTEM:NAME) that recorded one sensor;
        the offset is estimated from the two.
    shared_step
        True where both loggers saw one heating start; the offset is estimated from it.
    """

    offset_s: float | None = None
    uncertainty_s: float | None = None
    shared_sensor: tuple[str, str] | None = None
    shared_step: bool = False


@dataclass(frozen=True, slots=True)
class Millivolts:
    """How columns of thermocouple millivolts become temperatures.

    Attributes
    ----------
    thermocouple
        Letter of the type, such as "K".
    junction_c
        Temperature of the reference junction [°C], or None where a channel records it.
    junction_channel
        Name or header of the channel that records it.
    """

    thermocouple: str
    junction_c: float | None = None
    junction_channel: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadOptions:
    """What the user said about a file; None, or empty, leaves a thing to be detected.

    Attributes
    ----------
    units
        Unit of every temperature column for which the file names none.
    column_units : name or header -> unit
        Units told for single columns, in the words that headers use ("°C", "K", "mV", "%").
    millivolts
        How columns in mV become temperatures; None leaves them as they are.
    member
        Name of the file inside an archive.
    encoding
        Name of the text encoding.
    delimiter
        "comma", "semicolon", "tab", "bar" or "space" (any run of blanks).
    decimal_mark
        "point" or "comma".
    thousands_mark
        "none", "point", "comma", "space" or "apostrophe".
    sheet
        Name of the sheet in a workbook.
    header_row, units_row, description_row
        The rows (first = 1) of the column names, their units and their descriptions; 0 where there is
        no such row.
    first_row, last_row
        The first and the last row of readings.
    table
        "wide" (a column a channel) or "long" (a row a reading).
    channel_column, value_column, unit_column
        Headers of the three columns of a long table.
    time_columns
        Headers of the time: one, or date and time of day.
    time_unit
        "s", "min", "h", "ms", "h:mm:ss", "h:mm", "mm:ss", "unix-s", "unix-ms" or "serial-days" (days of
        a spreadsheet's calendar).
    dates
        "day-first", "month-first" or "year-first".
    date
        The day of the first reading, where its times have none.
    zone
        Name of the time zone whose clock changes the logger followed, such as "Europe/Berlin".
    not_readings
        Numbers that the logger writes where it has no reading, in the file's own unit.
    logger
        Name of the logger, where files with the same channel names come from different ones.
    clock
        How this logger's clock stands against that of the first file.
    without_temperature
        Whether a file may hold no temperature at all, as the log of an analyser alone.
    interpolate_up_to_s
        The longest gap [s] across which a logger's readings may be interpolated to another's instants; where
        files differ, each logger's own, the largest of its files.
    """

    units: TemperatureUnit | None = None
    column_units: Mapping[str, str] = field(default_factory=dict)
    millivolts: Millivolts | None = None
    member: str | None = None
    encoding: str | None = None
    delimiter: str | None = None
    decimal_mark: str | None = None
    thousands_mark: str | None = None
    sheet: str | None = None
    header_row: int | None = None
    units_row: int | None = None
    description_row: int | None = None
    first_row: int | None = None
    last_row: int | None = None
    table: str | None = None
    channel_column: str | None = None
    value_column: str | None = None
    unit_column: str | None = None
    time_columns: tuple[str, ...] = ()
    time_unit: str | None = None
    dates: str | None = None
    date: date | None = None
    zone: str | None = None
    not_readings: tuple[float, ...] = ()
    logger: str | None = None
    clock: LoggerClock | None = None
    interpolate_up_to_s: float | None = None
    without_temperature: bool = False


@dataclass(frozen=True, slots=True)
class Channel:
    """One column of a logger file.

    `header` is the raw header; `name` the header trimmed and without its unit in brackets, with
    the file's stem in front where two files share a name; `unit` the file's own word for the unit;
    `description` what a second row of words above the readings says of it; `states` the words of a
    digital channel, whose values are their numbers (first = 0).
    """

    name: str
    header: str
    file: str
    unit: str
    description: str = ""
    states: tuple[str, ...] = ()

    def is_called(self, word: str) -> bool:
        """Whether a certificate, an option or the plan means this channel by `word`."""
        return word in (self.name, self.header)


@dataclass(frozen=True, slots=True, kw_only=True)
class Recording:
    """All readings of one recording, on one time axis, as recorded.

    Attributes
    ----------
    seconds : (n,) float64
        Time of each instant [s], strictly rising, 0 at the first reading.
    start
        Wall-clock time of the first reading on the logger's clock, without zone; None for files
        of elapsed time.
    utc_offset
        The offset that the file's times carry, or None.
    channels
        The temperature channels, in the order of the files and their columns.
    units
        The unit in which each temperature channel was recorded.
    raw_c : (n, m) float64
        Readings [°C], NaN where there is none.
    others, other_values : (n, k) float64
        Columns of other units, kept and not judged.
    interpolated : (n, m) bool
        True where a reading was interpolated between two of its logger's own; None where none was.
    rows : file name -> (n,) int64
        The row of each file at each instant; 0 where the file has none. Of a long table, the first of
        the rows at that instant.
    layouts : file name -> {word: value}
        What was detected or told about each file, in words that a person can check.
    pins : file name -> options
        What would have to be told so that nothing about the file is left to detection.
    doubts
        Every cell without a reading and all else that a person should know.
    steps
        What was done to the readings, in order.
    """

    seconds: FloatArray
    start: datetime | None
    utc_offset: str | None
    channels: tuple[Channel, ...]
    units: tuple[TemperatureUnit, ...]
    raw_c: FloatArray
    others: tuple[Channel, ...] = ()
    other_values: FloatArray = field(default_factory=lambda: np.empty((0, 0)))
    interpolated: BoolArray | None = None
    rows: Mapping[str, IntArray]
    layouts: Mapping[str, Mapping[str, str]]
    pins: Mapping[str, ReadOptions] = field(default_factory=dict)
    doubts: tuple[Doubt, ...] = ()
    steps: tuple[str, ...] = ()

    def iso(self, seconds: float) -> str | None:
        """The logger's clock at `seconds`, ISO 8601; None for files of elapsed time."""
        if self.start is None:
            return None
        try:
            instant = self.start + timedelta(seconds=seconds)
        except OverflowError:
            return None
        spec = "seconds" if instant.microsecond == 0 else "milliseconds"
        return instant.isoformat(timespec=spec) + (self.utc_offset or "")
