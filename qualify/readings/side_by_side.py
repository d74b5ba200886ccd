"""Loggers with different channels, side by side on the union of their instants."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from math import ceil

import numpy as np

from qualify.findings import Doubt, DoubtKind, Refusal, RefusalKind
from qualify.readings.end_to_end import USUAL_INTERVALS
from qualify.readings.interpolate import interpolate
from qualify.readings.model import BoolArray, Channel, FloatArray, IntArray
from qualify.readings.strands import NANOSECONDS, SAME_INSTANT, Strand, same_instants, union, usual_interval_s

NO_COMMON_TIME = RefusalKind(
    "no-common-time",
    what="its times, {span}, and those of '{other}', {other_span}, have none in common",
    why="Files of different channels are compared instant by instant; a clock may be wrong.",
    mend="check the loggers' clocks; if one was set wrongly, tell its offset with --clock, or survey the "
    "files one by one.",
)
INSTANTS_DIFFER = RefusalKind(
    "instants-differ",
    what="it has no reading at {count:,} instants of {others}, which lie between its own",
    why="Loggers are compared instant by instant (within 0.5 ms), and a reading is made up between two "
    "others only where that is told.",
    mend="add --interpolate-up-to {seconds:g} (or interpolate_up_to_s = {seconds:g} in the plan), so that "
    "readings up to {seconds:g} s apart are joined by a straight line and marked; or survey the files one by "
    "one.",
)
NAMES_STILL_DOUBLE = RefusalKind(
    "joined-names-double",
    what="two channels would both be called '{name}'",
    why="A certificate or location called by that name could mean either.",
    mend="rename one of the files or one of the channels.",
)
INSTANT_MISSING = DoubtKind(
    "instant-missing", "this file has no row at {instants} of the others, {span}; nothing stands in its place"
)
OTHERS_PLACED = DoubtKind(
    "others-not-interpolated",
    "the channels that are no temperatures ({names}) have no value at {count} instants of the other loggers: "
    "only temperatures are interpolated",
)
READINGS_INTERPOLATED = DoubtKind(
    "readings-interpolated",
    "{count} readings ({share} of this logger's) stand at instants of the other loggers, interpolated on the "
    "straight line between its own two neighbours, at most {longest:.6g} s apart. Their scatter over time is "
    "a little understated; largest and least readings are not touched, as every recorded reading is kept",
)

_MOST_RUNS = 200
_MOST_PHASE_MISSES = 0.05
"""Loggers whose instants agree but for so many, a gap aside, stand side by side as they are."""


@dataclass(frozen=True, slots=True)
class _Placed:
    """A strand on the common axis."""

    raw_c: FloatArray
    other_values: FloatArray
    interpolated: BoolArray
    rows: dict[str, IntArray]
    doubts: tuple[Doubt, ...]
    there: BoolArray
    """Where it has a row or an interpolated reading."""


def side_by_side(
    strands: Sequence[Strand], up_to_s: Sequence[float | None], start: datetime | None
) -> Strand:
    """Put strands of different channels on the union of their instants.

    Parameters
    ----------
    strands
        What each logger recorded, on one clock.
    up_to_s
        Of each logger: how far apart [s] two of its readings may be to draw a line between them, or None.
    start
        The clock at the first instant of all, for messages; None for elapsed times.

    Raises
    ------
    Refusal
        If two loggers share no time, or their instants differ and nothing was told about that.
    """
    _must_overlap(strands, start)
    axis = union([strand.nanoseconds for strand in strands])
    placed = [
        _place(strand, axis, limit, start, strands) for strand, limit in zip(strands, up_to_s, strict=True)
    ]
    _must_meet(strands, placed, start)
    channels, others = _named_apart(strands)
    interpolated = np.concatenate([each.interpolated for each in placed], axis=1)
    return Strand(
        files=tuple(file for strand in strands for file in strand.files),
        nanoseconds=axis,
        channels=channels,
        units=tuple(unit for strand in strands for unit in strand.units),
        raw_c=np.concatenate([each.raw_c for each in placed], axis=1),
        others=others,
        other_values=np.concatenate([each.other_values for each in placed], axis=1),
        rows={name: rows for each in placed for name, rows in each.rows.items()},
        doubts=tuple(doubt for each in placed for doubt in each.doubts),
        interpolated=interpolated if interpolated.any() else None,
    )


def _worded(axis_first: int, instant: int, start: datetime | None) -> str:
    seconds = (instant - axis_first) / NANOSECONDS
    return f"{seconds:g} s" if start is None else (start + timedelta(seconds=seconds)).isoformat(sep=" ")


def _must_overlap(strands: Sequence[Strand], start: datetime | None) -> None:
    for strand in strands[1:]:
        begin, end = strand.nanoseconds[0] - SAME_INSTANT, strand.nanoseconds[-1] + SAME_INSTANT
        rest = [each for each in strands if each is not strand]
        if not any(each.nanoseconds[0] <= end and each.nanoseconds[-1] >= begin for each in rest):
            raise _nothing_common(strands, strand, start)


def _must_meet(strands: Sequence[Strand], placed: Sequence[_Placed], start: datetime | None) -> None:
    """Refuse a logger that recorded only while the others did not, in a gap of theirs."""
    for number, strand in enumerate(strands[1:], start=1):
        rest = [each.there for index, each in enumerate(placed) if index != number]
        if not any((placed[number].there & there).any() for there in rest):
            raise _nothing_common(strands, strand, start)


def _nothing_common(strands: Sequence[Strand], strand: Strand, start: datetime | None) -> Refusal:
    first = min(int(each.nanoseconds[0]) for each in strands)

    def span(each: Strand) -> str:
        return " to ".join(_worded(first, int(each.nanoseconds[edge]), start) for edge in (0, -1))

    other = strands[0]
    return NO_COMMON_TIME(file=strand.name, other=other.name, span=span(strand), other_span=span(other))


def _place(
    strand: Strand,
    axis: IntArray,
    up_to_s: float | None,
    start: datetime | None,
    strands: Sequence[Strand],
) -> _Placed:
    at, own = same_instants(axis, strand.nanoseconds)
    if len(own) != len(strand.nanoseconds):
        raise RuntimeError(f"{strand.name}: rows closer than 0.5 ms to each other")
    raw = np.full((len(axis), len(strand.channels)), np.nan)
    other = np.full((len(axis), len(strand.others)), np.nan)
    interpolated = np.zeros(raw.shape, dtype=bool)
    raw[at], other[at] = strand.raw_c, strand.other_values
    rows = {}
    for name, known in strand.rows.items():
        rows[name] = np.zeros(len(axis), dtype=np.int64)
        rows[name][at] = known
    foreign = np.ones(len(axis), dtype=bool)
    foreign[at] = False
    absent = np.flatnonzero(foreign)
    _must_agree(strand, axis, absent, up_to_s, strands)
    doubts: list[Doubt] = []
    if up_to_s is not None and len(absent):
        made = interpolate(strand.nanoseconds, strand.raw_c, axis[absent], up_to_s)
        raw[absent] = made.values_c
        interpolated[absent] = np.isfinite(made.values_c)
        count = int(interpolated.sum())
        if count:
            share = f"{count / int(np.isfinite(raw).sum()):.1%}".replace("%", " %")
            doubts.append(
                READINGS_INTERPOLATED(file=strand.name, count=count, share=share, longest=made.longest_s)
            )
    without = np.isnan(raw[absent]).sum(axis=1)
    missing = without > 0
    if not interpolated.any():
        without = without + other.shape[1]
        missing = np.ones(len(absent), dtype=bool)
    elif other.shape[1]:
        doubts.append(
            OTHERS_PLACED(
                file=strand.name,
                cells=len(absent) * other.shape[1],
                count=len(absent),
                names=", ".join(f"'{channel.name}'" for channel in strand.others),
            )
        )
    doubts += _missing(strand, absent[missing], without[missing], axis, start)
    empty = int(np.isnan(raw[absent]).sum() + np.isnan(other[absent]).sum())
    if sum(doubt.cells for doubt in doubts) != empty:
        raise RuntimeError(f"{strand.name}: {empty} cells without a reading, not all of them listed")
    there = ~foreign | interpolated.any(axis=1)
    return _Placed(raw, other, interpolated, rows, tuple(doubts), there)


def _must_agree(
    strand: Strand, axis: IntArray, absent: IntArray, up_to_s: float | None, strands: Sequence[Strand]
) -> None:
    """Refuse a logger that has no reading at many instants of the others and isn't interpolated there.

    Only instants between two neighbouring rows count: before its first row, behind its last and in a gap the
    logger recorded nothing, and no option would change that.
    """
    usual = usual_interval_s(strand.nanoseconds)
    if usual is None or not len(absent):
        return
    own = strand.nanoseconds
    after = np.searchsorted(own, axis[absent])
    inside = (after > 0) & (after < len(own))
    apart = own[after[inside]] - own[after[inside] - 1]
    missed = apart <= (USUAL_INTERVALS * usual * NANOSECONDS + SAME_INSTANT)
    if up_to_s is not None:
        missed &= apart > up_to_s * NANOSECONDS + SAME_INSTANT
    instants = int(np.count_nonzero((axis >= own[0]) & (axis <= own[-1])))
    if np.count_nonzero(missed) > _MOST_PHASE_MISSES * instants:
        rest = [each for each in strands if each is not strand]
        raise INSTANTS_DIFFER(
            file=strand.name,
            count=int(np.count_nonzero(missed)),
            others=", ".join(f"'{each.name}'" for each in rest),
            seconds=max(enough_s(each.nanoseconds) for each in strands),
        )


def enough_s(nanoseconds: IntArray) -> float:
    """The limit [s] that most of a logger's intervals keep: 98 % of them, rounded up to a second."""
    if len(nanoseconds) < 2:
        return 0.0
    return float(ceil(float(np.quantile(np.diff(nanoseconds), 0.98)) / NANOSECONDS - 1e-3))


def _missing(
    strand: Strand, absent: IntArray, cells: IntArray, axis: IntArray, start: datetime | None
) -> Iterator[Doubt]:
    """List the instants at which a strand has no reading, run by run."""
    if not len(absent):
        return
    breaks = np.flatnonzero(np.diff(absent) != 1) + 1
    runs = np.split(np.arange(len(absent)), breaks)
    if len(runs) > _MOST_RUNS:
        runs = [*runs[:_MOST_RUNS], np.concatenate(runs[_MOST_RUNS:])]
    for run in runs:
        first, last = (_worded(int(axis[0]), int(axis[absent[run[edge]]]), start) for edge in (0, -1))
        yield INSTANT_MISSING(
            file=strand.name,
            cells=int(cells[run].sum()),
            instants="1 instant" if len(run) == 1 else f"{len(run)} instants",
            span=first if len(run) == 1 else f"from {first} to {last}",
        )


def _named_apart(strands: Sequence[Strand]) -> tuple[tuple[Channel, ...], tuple[Channel, ...]]:
    """Put the file's stem before every name that two strands share."""
    names = [channel.name for strand in strands for channel in (*strand.channels, *strand.others)]
    shared = {name for name in names if names.count(name) > 1}

    def apart(strand: Strand, channels: Sequence[Channel]) -> list[Channel]:
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
