"""What was recorded: times, channels and values, before any correction."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from qualify.findings import Doubt
from qualify.units import TemperatureUnit

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class ReadOptions:
    """What the user said about a file's layout; None leaves a thing to be detected.

    Attributes
    ----------
    units
        Unit of every temperature column for which the file names none.
    dates
        "day-first", "month-first" or "year-first".
    encoding
        Name of the text encoding.
    sheet
        Name of the sheet in a workbook.
    header_row
        The row (first = 1) in which the column names stand.
    """

    units: TemperatureUnit | None = None
    dates: str | None = None
    encoding: str | None = None
    sheet: str | None = None
    header_row: int | None = None


@dataclass(frozen=True, slots=True)
class Channel:
    """One column of a logger file.

    `header` is the raw header; `name` the header trimmed and without its unit in brackets, with
    the file's stem in front where two files share a name; `unit` the file's own word for the unit.
    """

    name: str
    header: str
    file: str
    unit: str

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
    rows : file name -> (n,) int64
        The row of each file at each instant; 0 where the file has none.
    layouts : file name -> {word: value}
        What was detected or told about each file, in words that a person can check.
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
    rows: Mapping[str, IntArray]
    layouts: Mapping[str, Mapping[str, str]]
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
