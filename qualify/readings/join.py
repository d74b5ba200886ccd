"""Several files into one recording: end to end, side by side, or refused."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np

from qualify.findings import Doubt, DoubtKind, RefusalKind
from qualify.readings.model import Channel, FloatArray, IntArray, Recording
from qualify.readings.single import FileReadings
from qualify.readings.times import seconds_from
from qualify.units import TemperatureUnit

CLOCKS_DIFFER = RefusalKind(
    "clocks-differ",
    what="'{one}' has {form}, but '{other}' has {other_form}",
    why="The two can't be put on one time axis.",
    mend="export both with the same kind of time, or survey them one by one.",
)
OVERLAP_DIFFERS = RefusalKind(
    "overlap-differs",
    what="'{other}' (row {other_row}) has another value for the same channel and time",
    why="Of two readings of one channel at one instant it can't be told which is right.",
    mend="leave out the file that isn't meant, or cut the overlap off one of them; loggers that "
    "share channel names "
    "need different names.",
)
OVERLAP_INTERLEAVED = RefusalKind(
    "overlap-interleaved",
    what="'{other}' has readings of the same channels between those of this file, from its row "
    "{other_row} on",
    why="Two loggers with the same channel names, or a clock that was set, would look like this.",
    mend="give the channels of each logger their own names, or leave out the file that isn't meant.",
)
NO_COMMON_TIME = RefusalKind(
    "no-common-time",
    what="it shares no instant with '{other}', which has other channels",
    why="Files side by side are compared instant by instant (within 0.5 ms); a clock may be wrong.",
    mend="check the loggers' clocks and intervals, or survey the files one by one.",
)
UNITS_DIFFER = RefusalKind(
    "joined-units-differ",
    what="channel '{name}' is in {unit}, but in {other_unit} in '{other}'",
    why="A channel that changes its unit from file to file may be another channel.",
    mend="check the files' headers; rename the channel in one of them if it is another.",
)
NAMES_STILL_DOUBLE = RefusalKind(
    "joined-names-double",
    what="two channels would both be called '{name}'",
    why="A certificate or location called by that name could mean either.",
    mend="rename one of the files or one of the channels.",
)
OVERLAP_EQUAL = DoubtKind(
    "overlap-equal",
    "{rows} rows, to row {last}, also stand in '{other}' with the same values; they were kept once",
)
INSTANT_MISSING = DoubtKind(
    "instant-missing", "this file has no row at {count} instants of the others, from {first} to {last}"
)

_SAME_INSTANT = 500_000
"""Half a millisecond, in nanoseconds: instants closer than this are one."""
_MOST_RUNS = 200


@dataclass(frozen=True, slots=True)
class _Strand:
    """Files of the same channels, end to end."""

    files: tuple[FileReadings, ...]
    nanoseconds: IntArray
    channels: tuple[Channel, ...]
    units: tuple[TemperatureUnit, ...]
    raw_c: FloatArray
    others: tuple[Channel, ...]
    other_values: FloatArray
    rows: dict[str, IntArray]
    doubts: tuple[Doubt, ...]


def join(files: Sequence[FileReadings]) -> Recording:
    """Put the readings of all files on one time axis.

    Files with the same channels are joined end to end; files with different channels stand side by side
    where their instants agree within 0.5 ms. Nothing is interpolated.

    Raises
    ------
    Refusal
        If their clocks can't be compared, or they contradict each other.
    """
    _must_share_clock(files)
    steps = [
        f"read '{file.file}': {len(file.rows)} rows, {len(file.channels)} temperature channels"
        for file in files
    ]
    for file in files:
        converted = [str(unit) for unit in dict.fromkeys(file.units) if unit is not TemperatureUnit.C]
        if converted:
            steps.append(f"converted '{file.file}' from {', '.join(converted)} to °C")
    groups: dict[tuple[frozenset[str], frozenset[str]], list[FileReadings]] = {}
    for file in files:
        key = (
            frozenset(channel.name for channel in file.channels),
            frozenset(channel.name for channel in file.others),
        )
        groups.setdefault(key, []).append(file)
    strands = [_end_to_end(group) for group in groups.values()]
    steps += [
        "joined end to end: " + ", ".join(f"'{file.file}'" for file in strand.files)
        for strand in strands
        if len(strand.files) > 1
    ]
    first = min(files, key=lambda file: int(file.instants.nanoseconds[0]))
    doubts = [doubt for file in files for doubt in file.doubts]
    doubts += [doubt for strand in strands for doubt in strand.doubts]
    if len(strands) == 1:
        whole = strands[0]
    else:
        whole = _side_by_side(strands, first.instants.start)
        steps.append("put side by side: " + ", ".join(f"'{strand.files[0].file}'" for strand in strands))
        doubts += whole.doubts
    _balance(files, whole, doubts)
    return Recording(
        seconds=seconds_from(whole.nanoseconds),
        start=first.instants.start,
        utc_offset=first.instants.utc_offset,
        channels=whole.channels,
        units=whole.units,
        raw_c=whole.raw_c,
        others=whole.others,
        other_values=whole.other_values,
        rows=whole.rows,
        layouts={file.file: file.layout for file in files},
        doubts=tuple(doubts),
        steps=tuple(steps),
    )


def _must_share_clock(files: Sequence[FileReadings]) -> None:
    def form(file: FileReadings) -> str:
        if file.instants.start is None:
            return "elapsed time"
        return "clock times" + (" with a UTC offset" if file.instants.utc_offset is not None else "")

    for file in files[1:]:
        if form(file) != form(files[0]):
            raise CLOCKS_DIFFER(
                file=file.file, one=file.file, form=form(file), other=files[0].file, other_form=form(files[0])
            )


def _strand(file: FileReadings) -> _Strand:
    return _Strand(
        files=(file,),
        nanoseconds=file.instants.nanoseconds,
        channels=file.channels,
        units=file.units,
        raw_c=file.raw_c,
        others=file.others,
        other_values=file.other_values,
        rows={file.file: file.rows},
        doubts=(),
    )


def _end_to_end(files: Sequence[FileReadings]) -> _Strand:
    """Join files of the same channels in the order of their times, channels in the first file's order."""
    strand = _strand(files[0])
    later = sorted(files[1:], key=lambda file: int(file.instants.nanoseconds[0]))
    for file in later:
        strand = _append(strand, file)
    return strand


def _append(strand: _Strand, file: FileReadings) -> _Strand:
    order = _order(strand.channels, file.channels)
    for column, source in enumerate(order):
        if file.units[source] is not strand.units[column]:
            raise UNITS_DIFFER(
                file=strand.channels[column].file,
                name=strand.channels[column].name,
                unit=strand.units[column],
                other_unit=file.units[source],
                other=file.file,
            )
    other_order = _order(strand.others, file.others)
    raw = file.raw_c[:, order]
    other = file.other_values[:, other_order]
    here, there = strand.nanoseconds, file.instants.nanoseconds
    same_here, same_there = _same_instants(here, there)
    doubts = list(strand.doubts)
    if len(same_here):
        equal = _equal(strand.raw_c[same_here], raw[same_there]) & _equal(
            strand.other_values[same_here], other[same_there]
        )
        if not equal.all():
            at = int(np.flatnonzero(~equal)[0])
            known = _file_at(strand, int(same_here[at]))
            raise OVERLAP_DIFFERS(
                file=known[0], row=known[1], other=file.file, other_row=int(file.rows[same_there[at]])
            )
        known = _file_at(strand, int(same_here[0]))
        doubts.append(
            OVERLAP_EQUAL(
                file=file.file,
                row=int(file.rows[same_there[0]]),
                rows=len(same_there),
                last=int(file.rows[same_there[-1]]),
                other=known[0],
            )
        )
    fresh = np.ones(len(there), dtype=bool)
    fresh[same_there] = False
    # New rows stand before, behind or in a gap between files, never between two rows of one file.
    _must_not_interleave(strand, file, fresh)
    merged = np.concatenate((here, there[fresh]))
    by_time = np.argsort(merged, kind="stable")
    rows = {
        name: np.concatenate((known, np.zeros(int(fresh.sum()), dtype=np.int64)))[by_time]
        for name, known in strand.rows.items()
    }
    own = np.zeros(len(here), dtype=np.int64)
    own[same_here] = file.rows[same_there]
    rows[file.file] = np.concatenate((own, file.rows[fresh]))[by_time]
    return replace(
        strand,
        files=(*strand.files, file),
        nanoseconds=merged[by_time],
        raw_c=np.concatenate((strand.raw_c, raw[fresh]))[by_time],
        other_values=np.concatenate((strand.other_values, other[fresh]))[by_time],
        rows=rows,
        doubts=tuple(doubts),
    )


def _order(wanted: Sequence[Channel], given: Sequence[Channel]) -> list[int]:
    place = {channel.name: index for index, channel in enumerate(given)}
    return [place[channel.name] for channel in wanted]


def _same_instants(here: IntArray, there: IntArray) -> tuple[IntArray, IntArray]:
    """Indices of the instants that both have, within 0.5 ms."""
    right = np.searchsorted(here, there)
    left = np.maximum(right - 1, 0)
    right = np.minimum(right, len(here) - 1)
    near = np.where(np.abs(here[left] - there) <= np.abs(here[right] - there), left, right)
    same = np.flatnonzero(np.abs(here[near] - there) <= _SAME_INSTANT)
    # Of two instants of one file within half a millisecond of one of the other, only the first is the same.
    near_same, first = np.unique(near[same], return_index=True)
    return near_same, same[first]


def _equal(one: FloatArray, other: FloatArray) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Which rows are equal, cell by cell, two absent readings counting as equal."""
    return np.asarray(((one == other) | (np.isnan(one) & np.isnan(other))).all(axis=1))


def _file_at(strand: _Strand, index: int) -> tuple[str, int]:
    for name, rows in strand.rows.items():
        if rows[index]:
            return name, int(rows[index])
    raise RuntimeError("an instant without a row in any file")


def _must_not_interleave(
    strand: _Strand, file: FileReadings, fresh: np.ndarray[tuple[int], np.dtype[np.bool_]]
) -> None:
    there = file.instants.nanoseconds
    new = np.flatnonzero(fresh)
    for known in strand.files:
        inner = known.instants.nanoseconds
        between = new[(there[new] > inner[0]) & (there[new] < inner[-1])]
        old = inner[(inner > there[0]) & (inner < there[-1])]
        unmatched = len(old) - len(_same_instants(old, there)[0]) if len(old) else 0
        if len(between) or unmatched:
            at = int(between[0]) if len(between) else int(np.searchsorted(there, old[0]))
            raise OVERLAP_INTERLEAVED(file=known.file, other=file.file, other_row=int(file.rows[at]))


def _side_by_side(strands: Sequence[_Strand], start: datetime | None) -> _Strand:
    """Put strands of different channels on the union of their instants."""
    for strand in strands[1:]:
        if not any(
            len(_same_instants(each.nanoseconds, strand.nanoseconds)[0])
            for each in strands
            if each is not strand
        ):
            raise NO_COMMON_TIME(file=strand.files[0].file, other=strands[0].files[0].file)
    axis = strands[0].nanoseconds
    for strand in strands[1:]:
        fresh = np.ones(len(strand.nanoseconds), dtype=bool)
        fresh[_same_instants(axis, strand.nanoseconds)[1]] = False
        axis = np.sort(np.concatenate((axis, strand.nanoseconds[fresh])))
    raw = np.full((len(axis), sum(len(strand.channels) for strand in strands)), np.nan)
    other = np.full((len(axis), sum(len(strand.others) for strand in strands)), np.nan)
    rows: dict[str, IntArray] = {}
    doubts: list[Doubt] = []
    column = other_column = 0
    for strand in strands:
        at, own = _same_instants(axis, strand.nanoseconds)
        if len(own) != len(strand.nanoseconds):
            raise RuntimeError(f"{strand.files[0].file}: rows closer than 0.5 ms to each other")
        raw[at, column : column + len(strand.channels)] = strand.raw_c
        other[at, other_column : other_column + len(strand.others)] = strand.other_values
        column += len(strand.channels)
        other_column += len(strand.others)
        for name, known in strand.rows.items():
            rows[name] = np.zeros(len(axis), dtype=np.int64)
            rows[name][at] = known
        absent = np.ones(len(axis), dtype=bool)
        absent[at] = False
        doubts += _missing(strand, np.flatnonzero(absent), axis, start)
    channels, others = _named_apart(strands)
    return _Strand(
        files=tuple(file for strand in strands for file in strand.files),
        nanoseconds=axis,
        channels=channels,
        units=tuple(unit for strand in strands for unit in strand.units),
        raw_c=raw,
        others=others,
        other_values=other,
        rows=rows,
        doubts=tuple(doubts),
    )


def _missing(strand: _Strand, absent: IntArray, axis: IntArray, start: datetime | None) -> Iterator[Doubt]:
    """List the instants at which a strand has no row, run by run."""
    if not len(absent):
        return
    cells = len(strand.channels) + len(strand.others)

    def worded(index: int) -> str:
        seconds = (int(axis[index]) - int(axis[0])) / 1e9
        return f"{seconds:g} s" if start is None else (start + timedelta(seconds=seconds)).isoformat(sep=" ")

    breaks = np.flatnonzero(np.diff(absent) != 1) + 1
    runs = np.split(absent, breaks)
    if len(runs) > _MOST_RUNS:
        runs = [*runs[:_MOST_RUNS], np.concatenate(runs[_MOST_RUNS:])]
    for run in runs:
        yield INSTANT_MISSING(
            file=strand.files[0].file,
            cells=len(run) * cells,
            count=len(run),
            first=worded(int(run[0])),
            last=worded(int(run[-1])),
        )


def _named_apart(strands: Sequence[_Strand]) -> tuple[tuple[Channel, ...], tuple[Channel, ...]]:
    """Put the file's stem before every name that two strands share."""
    names = [channel.name for strand in strands for channel in (*strand.channels, *strand.others)]
    shared = {name for name in names if names.count(name) > 1}

    def apart(strand: _Strand, channels: Sequence[Channel]) -> list[Channel]:
        stem = strand.files[0].stem
        return [
            replace(channel, name=f"{stem}:{channel.name}") if channel.name in shared else channel
            for channel in channels
        ]

    channels = [channel for strand in strands for channel in apart(strand, strand.channels)]
    others = [channel for strand in strands for channel in apart(strand, strand.others)]
    seen: set[str] = set()
    for channel in (*channels, *others):
        if channel.name in seen:
            raise NAMES_STILL_DOUBLE(file=channel.file, column=channel.header, name=channel.name)
        seen.add(channel.name)
    return tuple(channels), tuple(others)


def _balance(files: Sequence[FileReadings], whole: _Strand, doubts: Sequence[Doubt]) -> None:
    """Hold the ledger over the join: every reading is there, once, and every empty cell is listed."""
    if len(files) == 1:
        return
    before = sum(int(np.isfinite(part).sum()) for file in files for part in (file.raw_c, file.other_values))
    after = int(np.isfinite(whole.raw_c).sum()) + int(np.isfinite(whole.other_values).sum())
    repeated = 0
    for file in files:
        at = np.flatnonzero(whole.rows[file.file])
        if len(at) != len(file.rows):
            raise RuntimeError(f"{file.file}: {len(file.rows)} rows were read and {len(at)} joined")
    claimed = np.zeros(len(whole.nanoseconds), dtype=np.int64)
    strand_of: dict[tuple[str, ...], list[FileReadings]] = {}
    for file in files:
        strand_of.setdefault(tuple(sorted(c.name for c in (*file.channels, *file.others))), []).append(file)
    for group in strand_of.values():
        claimed[:] = 0
        for file in group:
            at = np.flatnonzero(whole.rows[file.file])
            finite = np.isfinite(file.raw_c).sum(axis=1) + np.isfinite(file.other_values).sum(axis=1)
            repeated += int(finite[claimed[at] > 0].sum())
            claimed[at] += 1
    if before - repeated != after:
        raise RuntimeError(f"of {before} readings, {repeated} of them repeated, {after} were joined")
