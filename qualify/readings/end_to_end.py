"""Files of one logger, end to end: equal overlaps kept once, contradictions refused, gaps listed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from qualify.findings import Doubt, DoubtKind, RefusalKind
from qualify.readings.model import BoolArray, Channel, FloatArray
from qualify.readings.parts import FileReadings
from qualify.readings.strands import NANOSECONDS, Strand, same_instants, strand_of, usual_interval_s

OVERLAP_DIFFERS = RefusalKind(
    "overlap-differs",
    what="'{other}' (row {other_row}) has another value for the same channel and time",
    why="Of two readings of one channel at one instant it can't be told which is right.",
    mend="leave out the file that isn't meant, or cut the overlap off one of them by naming its first or "
    "last row of readings; if they are different loggers, add --side-by-side (in the plan: logger = NAME "
    "for each).",
)
OVERLAP_INTERLEAVED = RefusalKind(
    "overlap-interleaved",
    what="'{other}' has readings of the same channels between those of this file, from its row "
    "{other_row} on",
    why="Two loggers with the same channel names, or a clock that was set, would look like this.",
    mend="if they are different loggers, add --side-by-side (in the plan: logger = NAME for each); else "
    "leave out the file that isn't meant.",
)
UNITS_DIFFER = RefusalKind(
    "joined-units-differ",
    what="channel '{name}' is in {unit}, but in {other_unit} in '{other}'",
    why="A channel that changes its unit from file to file may be another channel.",
    mend="check the files' headers; rename the channel in one of them if it is another.",
)
OVERLAP_EQUAL = DoubtKind(
    "overlap-equal",
    "{rows} rows, to row {last}, also stand in '{other}' with the same values; they were kept once",
)
GAP = DoubtKind(
    "gap",
    "no reading for {length:.6g} s after this row, until row {after}{where}; readings are usually "
    "{usual:.6g} s apart. What the oven did meanwhile isn't known, and nothing is interpolated across it "
    "unless the limit for interpolation is told to be as long",
)
GAPS_MORE = DoubtKind(
    "gaps-more",
    "{count} more gaps after this row, longer than three usual intervals of {usual:.6g} s, the longest of "
    "{length:.6g} s; the intervals are not even, and each of them is too short a look at the oven",
)

CONTRADICTIONS = (OVERLAP_DIFFERS.code, OVERLAP_INTERLEAVED.code)
USUAL_INTERVALS = 3.0
"""A gap is longer than so many usual intervals."""
_LEAST_INTERVALS = 3
_MOST_GAPS = 20


def end_to_end(files: Sequence[FileReadings]) -> Strand:
    """Join files of the same channels in the order of their times, channels in the first file's order.

    Raises
    ------
    Refusal
        If two files contradict each other, interleave, or change a channel's unit.
    """
    strand = strand_of(files[0])
    for file in sorted(files[1:], key=lambda file: int(file.instants.nanoseconds[0])):
        strand = _append(strand, file)
    return replace(strand, doubts=(*strand.doubts, *gaps(strand)))


def gaps(strand: Strand) -> Iterator[Doubt]:
    """List every gap longer than three usual intervals, by the rows before and after it."""
    usual = usual_interval_s(strand.nanoseconds)
    if usual is None or len(strand.nanoseconds) <= _LEAST_INTERVALS:
        return
    lengths = np.diff(strand.nanoseconds) / NANOSECONDS
    found = np.flatnonzero(lengths > USUAL_INTERVALS * usual + 1e-3)
    for at in found[:_MOST_GAPS].tolist():
        (file, row), (next_file, after) = strand.file_at(at), strand.file_at(at + 1)
        where = "" if next_file == file else f" of '{next_file}'"
        yield GAP(file=file, row=row, after=after, where=where, length=float(lengths[at]), usual=usual)
    if len(found) > _MOST_GAPS:
        rest = found[_MOST_GAPS:]
        file, row = strand.file_at(int(rest[0]))
        yield GAPS_MORE(file=file, row=row, count=len(rest), usual=usual, length=float(lengths[rest].max()))


def _append(strand: Strand, file: FileReadings) -> Strand:
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
    same_here, same_there = same_instants(here, there)
    doubts = list(strand.doubts)
    if len(same_here):
        equal = _equal(strand.raw_c[same_here], raw[same_there]) & _equal(
            strand.other_values[same_here], other[same_there]
        )
        if not equal.all():
            at = int(np.flatnonzero(~equal)[0])
            known = strand.file_at(int(same_here[at]))
            raise OVERLAP_DIFFERS(
                file=known[0], row=known[1], other=file.file, other_row=int(file.rows[same_there[at]])
            )
        known = strand.file_at(int(same_here[0]))
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


def _equal(one: FloatArray, other: FloatArray) -> BoolArray:
    """Which rows are equal, cell by cell, two absent readings counting as equal."""
    return np.asarray(((one == other) | (np.isnan(one) & np.isnan(other))).all(axis=1))


def _must_not_interleave(strand: Strand, file: FileReadings, fresh: BoolArray) -> None:
    there = file.instants.nanoseconds
    new = np.flatnonzero(fresh)
    for known in strand.files:
        inner = known.instants.nanoseconds
        between = new[(there[new] > inner[0]) & (there[new] < inner[-1])]
        old = inner[(inner > there[0]) & (inner < there[-1])]
        unmatched = len(old) - len(same_instants(old, there)[0]) if len(old) else 0
        if len(between) or unmatched:
            at = int(between[0]) if len(between) else int(np.searchsorted(there, old[0]))
            raise OVERLAP_INTERLEAVED(file=known.file, other=file.file, other_row=int(file.rows[at]))
