"""The times of one file: which columns give them, and the instants they became."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta

import numpy as np

from qualify.findings import Doubt, RefusalKind
from qualify.readings.model import IntArray

TIME_UNREADABLE = RefusalKind(
    "time-unreadable",
    what="the time '{cell}' can't be read as {form}",
    why="A reading without its time can't be judged, and leaving the row out would hide it.",
    mend="look at the row: mend the time, or cut off a summary or a second table that starts "
    "there; if another "
    "table was meant, name the row of its column names with --header-row ROW.",
)

SECOND = 1_000_000_000
"""Nanoseconds in a second."""
DAY = 86_400 * SECOND
"""Nanoseconds in a day."""
EPOCH = datetime(1970, 1, 1)
"""The instant from which nanoseconds count."""


@dataclass(frozen=True, slots=True)
class TimeColumns:
    """The columns that give the time: full stamps, date with time, or elapsed time.

    `form` is "stamp", "date and time", "date", "number" or "clock" (h:mm:ss without a date). `unit` is the
    unit that the user told or the header names, "" for none.
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
        Since 1970 in UTC where the stamps carry offsets or their zone was told, on the logger's own clock
        where not, and since the logger's own zero for elapsed time.
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


def clock_at(nanoseconds: int) -> datetime:
    """The clock time at nanoseconds since 1970, to the microsecond."""
    return EPOCH + timedelta(microseconds=nanoseconds // 1000)


def in_series(series: IntArray | None, count: int) -> list[IntArray]:
    """The rows of each series, in order; all rows where the file holds one series only.

    A long table holds a series a channel, and time goes on within each.
    """
    if series is None:
        return [np.arange(count, dtype=np.int64)]
    order = np.argsort(series, kind="stable")
    return np.split(order, np.flatnonzero(np.diff(series[order])) + 1)


def usual_step(nanoseconds: IntArray) -> float:
    """The median [ns] of the steps forward; 0 where there is none."""
    steps = np.diff(nanoseconds)
    steps = steps[steps > 0]
    return float(np.median(steps)) if len(steps) else 0.0


def offset_word(seconds: int) -> str:
    """A UTC offset [s] as ISO 8601 writes it, such as "+01:00"."""
    sign, size = ("-" if seconds < 0 else "+"), abs(seconds)
    tail = f":{size % 60:02d}" if size % 60 else ""
    return f"{sign}{size // 3600:02d}:{size // 60 % 60:02d}{tail}"
