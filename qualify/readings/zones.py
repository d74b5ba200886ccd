"""Clock times of a named time zone to UTC, and steps that look like the change of a clock.

Zone data come from the package tzdata alone, so that a machine's own can't change a result.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from importlib import resources
from zoneinfo import ZoneInfo

import numpy as np

from qualify.findings import Doubt, DoubtKind, RefusalKind, nearest
from qualify.readings.instants import SECOND, Instants, in_series, offset_word, usual_step
from qualify.readings.model import IntArray

ZONE_UNKNOWN = RefusalKind(
    "zone-unknown",
    what="there is no time zone '{zone}'{nearest}",
    why="The instants hang on the zone's clock changes.",
    mend="write the zone as Area/City, such as Europe/Berlin, in the names of the IANA time zone database.",
)
ZONE_CONTRADICTS = RefusalKind(
    "zone-contradicts",
    what="the zone {zone} was told, but {trouble}",
    why="A zone turns a logger's clock times into UTC; here there is nothing for it to turn.",
    mend="{mend}",
)
NEVER_WAS = RefusalKind(
    "time-never-was",
    what="the time '{time}' never was in {zone}: the clock went from {before} to {after} that day",
    why="The logger didn't follow the clock changes of that zone, so its times aren't what they seem.",
    mend="leave --zone off if the logger's clock wasn't changed, or name the zone that it followed.",
)
REPEATED_HOUR_OPEN = RefusalKind(
    "repeated-hour-open",
    what="the times from this row to row {last} came twice that day in {zone}, from {low} to {high}, and the "
    "rows don't tell which of the two they are",
    why="The clock was set back then; without a fall of the times at that place the instants are open.",
    mend="leave --zone off if the logger's clock wasn't changed; else export the file with UTC times.",
)
REPEATED_HOUR_TAKEN = DoubtKind(
    "repeated-hour-taken",
    "the times from this row to row {last} came twice that day in {zone}, from {low} to {high}; they were "
    "taken for the {which} time because they follow their neighbours at the usual interval; a stop of "
    "{size} in between would not show",
)
CLOCK_CHANGED = DoubtKind(
    "clock-changed",
    "the clocks of {zone} went {way} by {size} before this row, from UTC offset {before} to {after}; "
    "instants are in UTC and printed with {first}",
)
CLOCK_JUMP = DoubtKind(
    "clock-jump",
    "the time jumps by {step:.6g} s against row {previous}: one hour more than the usual interval, so either "
    "an hour of readings is missing or the clock was put forward{more}; --zone, with the name of the time "
    "zone that the logger followed, tells the two apart",
)

_HOUR = 3600 * SECOND
_MOST_JUMPS = 3
_EPOCH_UTC = datetime(1970, 1, 1, tzinfo=UTC)


@lru_cache(maxsize=8)
def zone_of(name: str, file: str) -> ZoneInfo:
    """The zone of that name, from the package tzdata; the file is named in messages.

    Raises
    ------
    Refusal
        If there is none.
    """
    data = resources.files("tzdata")
    known = data.joinpath("zones").read_text(encoding="utf-8").split()
    if name not in known:
        raise ZONE_UNKNOWN(file=file, zone=name, nearest=nearest(name, known))
    with data.joinpath("zoneinfo", *name.split("/")).open("rb") as stream:
        return ZoneInfo.from_file(stream, key=name)


def _offset_at(zone: ZoneInfo, second: int) -> int:
    """UTC offset [s] at a UTC second since 1970."""
    offset = (_EPOCH_UTC + timedelta(seconds=second)).astimezone(zone).utcoffset()
    assert offset is not None
    return round(offset.total_seconds())


def _changes(zone: ZoneInfo, first: int, last: int) -> tuple[int, list[tuple[int, int, int]]]:
    """The offset [s] at a UTC second, and the changes until another: second, offset before and after."""
    start = here = _offset_at(zone, first)
    changes = []
    for day in range(first, last + 1, 86_400):
        there = _offset_at(zone, day + 86_400)
        if there == here:
            continue
        low, high = day, day + 86_400
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (middle, high) if _offset_at(zone, middle) == here else (low, middle)
        changes.append((high, here, there))
        here = there
    return start, changes


def to_utc(
    file: str, column: str, instants: Instants, rows: IntArray, name: str, series: IntArray | None
) -> Instants:
    """Turn clock times of a zone into UTC.

    Of an hour that came twice, the rows before the fall of the clock are the first pass and those behind it
    the second.

    Parameters
    ----------
    file, column
        The file's name and the raw header, for messages.
    instants
        Clock times, or others that are refused here.
    rows : (n,) int64
        The row numbers.
    name
        The zone's name.
    series : (n,) int64
        The series that each row belongs to; None where all are one.

    Raises
    ------
    Refusal
        If the times carry UTC offsets or have no date, the zone is unknown, a time never was in it, or it
        stays open which pass of a repeated hour is meant.
    """
    zone = zone_of(name, file)
    if instants.utc_offset is not None:
        raise ZONE_CONTRADICTS(
            file=file,
            row=int(rows[0]),
            column=column,
            zone=name,
            trouble=f"the times are bound to UTC already (offset {instants.utc_offset})",
            mend="leave --zone off.",
        )
    if instants.start is None:
        raise ZONE_CONTRADICTS(
            file=file,
            row=int(rows[0]),
            column=column,
            zone=name,
            trouble="the times have no date",
            mend="leave --zone off for elapsed times; add --date YYYY-MM-DD for times of day.",
        )
    local = instants.nanoseconds
    lowest, highest = int(local.min()) // SECOND, int(local.max()) // SECOND
    start, changes = _changes(zone, lowest - 2 * 86_400, highest + 2 * 86_400)
    offset = np.full(len(local), start, dtype=np.int64)
    doubts: list[Doubt] = []
    for second, before, after in changes:
        low, high = sorted(((second + before) * SECOND, (second + after) * SECOND))
        behind = local >= high
        within = np.flatnonzero((local >= low) & (local < high))
        if len(within) and after > before:
            at = int(within[0])
            raise NEVER_WAS(
                file=file,
                row=int(rows[at]),
                column=column,
                time=_clock(int(local[at])),
                zone=name,
                before=_clock(low),
                after=_clock(high),
            )
        for members in in_series(series, len(local)) if len(within) else ():
            twice = members[np.isin(members, within)]
            second_pass = _second_pass(local[members], np.flatnonzero(np.isin(members, within)), high - low)
            if second_pass is None:
                raise REPEATED_HOUR_OPEN(
                    file=file,
                    row=int(rows[twice[0]]),
                    column=column,
                    last=int(rows[twice[-1]]),
                    zone=name,
                    low=_clock(low),
                    high=_clock(high),
                )
            behind[members[second_pass]] = True
            if len(twice) and len(second_pass) in (0, len(twice)):
                doubts.append(
                    REPEATED_HOUR_TAKEN(
                        file=file,
                        row=int(rows[twice[0]]),
                        column=column,
                        last=int(rows[twice[-1]]),
                        zone=name,
                        low=_clock(low),
                        high=_clock(high),
                        which="second" if len(second_pass) else "first",
                        size=_size(before - after),
                    )
                )
        offset[behind] += after - before
    utc = local - offset * SECOND
    first = offset_word(int(offset[0]))
    doubts += _changes_listed(file, column, utc, rows, changes, name, first)
    words = dict(instants.words)
    words["time format"] += f", clock of {name}"
    return replace(
        instants,
        nanoseconds=utc,
        utc_offset=first,
        words=words,
        doubts=(*instants.doubts, *doubts),
        told={**instants.told, "zone": name},
    )


def _second_pass(local: IntArray, within: IntArray, size: int) -> IntArray | None:
    """Which rows of a repeated stretch are its second pass; None where the rows don't tell."""
    if not len(within):
        return within
    usual = usual_step(local)
    steps = np.diff(local[within])
    # Where the interval is as long as the stretch, the clock stands still instead of falling.
    falls = np.flatnonzero((steps < 0) | ((steps == 0) & (abs(usual - size) <= usual / 4)))
    if len(falls):
        return within[falls[0] + 1 :]
    if (steps > 1.25 * usual).any():
        # A gap may hide the fall.
        return None
    first, last = int(within[0]), int(within[-1])
    lead = float(local[first] - local[first - 1]) if first > 0 else None
    tail = float(local[last + 1] - local[last]) if last + 1 < len(local) else None

    def regular(step: float | None) -> bool:
        return step is not None and abs(step - usual) <= min(usual, size) / 4

    as_first = regular(lead) + regular(None if tail is None else tail + size)
    as_second = regular(None if lead is None else lead + size) + regular(tail)
    if as_first == as_second:
        return None
    return within if as_second > as_first else within[:0]


def _changes_listed(
    file: str,
    column: str,
    utc: IntArray,
    rows: IntArray,
    changes: list[tuple[int, int, int]],
    name: str,
    first: str,
) -> Iterator[Doubt]:
    for second, before, after in changes:
        if utc.min() < second * SECOND <= utc.max():
            later = np.flatnonzero(utc >= second * SECOND)
            at = later[np.argmin(utc[later])]
            yield CLOCK_CHANGED(
                file=file,
                row=int(rows[at]),
                column=column,
                zone=name,
                way="forward" if after > before else "back",
                size=_size(abs(after - before)),
                before=offset_word(before),
                after=offset_word(after),
                first=first,
            )


def looks_set_back(step: float, usual: float) -> bool:
    """Whether a step [ns] that isn't forward is that of a clock set back by 30 min or 1 h."""
    return any(abs(step - (usual - size)) <= usual for size in (_HOUR, _HOUR // 2))


def clock_jumps(
    file: str, column: str, nanoseconds: IntArray, rows: IntArray, series: IntArray | None
) -> tuple[Doubt, ...]:
    """List steps of one hour and an interval in otherwise regular times, which a clock change would make.

    Of several series the first is looked at that shows one: they share a clock.
    """
    for members in in_series(series, len(rows)):
        found = _clock_jumps(file, column, nanoseconds[members], rows[members])
        if found:
            return found
    return ()


def _clock_jumps(file: str, column: str, nanoseconds: IntArray, rows: IntArray) -> tuple[Doubt, ...]:
    steps = np.diff(nanoseconds)
    usual = usual_step(nanoseconds)
    if len(steps) < 4 or np.count_nonzero(np.abs(steps - usual) <= usual / 10) < 0.9 * (len(steps) - 1):
        return ()
    at = np.flatnonzero(np.abs(steps - usual - _HOUR) <= min(usual / 2, 60.0 * SECOND))
    shown = at if len(at) <= _MOST_JUMPS else at[:1]
    more = "" if len(at) <= _MOST_JUMPS else f" (so do {len(at) - 1} later rows)"
    return tuple(
        CLOCK_JUMP(
            file=file,
            row=int(rows[index + 1]),
            column=column,
            step=float(steps[index]) / SECOND,
            previous=int(rows[index]),
            more=more,
        )
        for index in shown.tolist()
    )


def _size(seconds: int) -> str:
    return f"{seconds // 3600} h" if seconds % 3600 == 0 else f"{seconds / 60:g} min"


def _clock(nanoseconds: int) -> str:
    """A clock time in words, to the second."""
    return (datetime(1970, 1, 1) + timedelta(seconds=nanoseconds // SECOND)).isoformat(sep=" ")
