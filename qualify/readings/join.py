"""Several files into one recording: one clock, end to end, side by side; and the ledger over it all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from qualify.findings import Refusal
from qualify.readings.clocks import on_one_clock
from qualify.readings.end_to_end import CONTRADICTIONS, end_to_end
from qualify.readings.model import FloatArray, LoggerClock, ReadOptions, Recording
from qualify.readings.parts import FileReadings
from qualify.readings.side_by_side import side_by_side
from qualify.readings.strands import LoggerKey, Strand, logger_key
from qualify.readings.times import seconds_from
from qualify.units import TemperatureUnit


def join(files: Sequence[FileReadings], options: Sequence[ReadOptions]) -> Recording:
    """Put the readings of all files on one time axis.

    Clocks are put on that of the first file whose clock nothing was told about. Files with the same channels
    are joined end to end; loggers with different channels stand side by side on the union of their instants
    (equal within 0.5 ms). A logger's temperatures are interpolated to the others' instants only where that
    was told, and no further than told; every such reading is marked.

    Parameters
    ----------
    files
        The readings of each file.
    options
        What was told of each file, in the same order.

    Raises
    ------
    Refusal
        If their clocks can't be compared, they contradict each other, or their instants differ and nothing
        was told about that.
    """
    clock = on_one_clock(files, options)
    steps = [
        f"read '{file.file}': {len(file.rows)} rows, {len(file.channels)} temperature channels"
        for file in files
    ]
    for file in files:
        converted = [str(unit) for unit in dict.fromkeys(file.units) if unit is not TemperatureUnit.C]
        if converted:
            steps.append(f"converted '{file.file}' from {', '.join(converted)} to °C")
    steps += clock.steps
    strands = _strands(clock.files, options)
    steps += [
        "joined end to end: " + ", ".join(f"'{file.file}'" for file in strand.files)
        for strand in strands
        if len(strand.files) > 1
    ]
    first = min(clock.files, key=lambda file: int(file.instants.nanoseconds[0]))
    doubts = [doubt for file in files for doubt in file.doubts]
    doubts += clock.doubts
    doubts += [doubt for strand in strands for doubt in strand.doubts]
    if len(strands) == 1:
        whole = strands[0]
    else:
        told = {file.file: each for file, each in zip(files, options, strict=True)}
        limits = [_longest([told[file.file] for file in strand.files]) for strand in strands]
        whole = side_by_side(strands, limits, first.instants.start)
        steps.append("put side by side: " + ", ".join(f"'{strand.name}'" for strand in strands))
        steps += _interpolation_steps(strands, limits, whole)
        doubts += whole.doubts
    _balance(strands, whole)
    return Recording(
        seconds=seconds_from(whole.nanoseconds),
        start=first.instants.start,
        utc_offset=first.instants.utc_offset,
        channels=whole.channels,
        units=whole.units,
        raw_c=whole.raw_c,
        others=whole.others,
        other_values=whole.other_values,
        interpolated=whole.interpolated,
        rows=whole.rows,
        layouts={file.file: file.layout for file in files},
        pins={
            file.file: replace(
                file.pins,
                clock=clock.settled.get(file.file),
                logger=each.logger,
                interpolate_up_to_s=each.interpolate_up_to_s,
            )
            for file, each in zip(files, options, strict=True)
        },
        doubts=tuple(doubts),
        steps=tuple(steps),
    )


def _strands(files: Sequence[FileReadings], options: Sequence[ReadOptions]) -> list[Strand]:
    """Join the files of each logger end to end.

    Files with the same channels are one logger's unless told otherwise; where they contradict each other and
    their clocks were told to differ, they are those of several loggers with the same names.
    """
    groups: dict[LoggerKey, list[int]] = {}
    for index, file in enumerate(files):
        groups.setdefault(logger_key(file, options[index]), []).append(index)
    strands = []
    for group in groups.values():
        try:
            strands.append(end_to_end([files[index] for index in group]))
        except Refusal as refusal:
            by_clock: dict[LoggerClock | None, list[FileReadings]] = {}
            for index in group:
                by_clock.setdefault(options[index].clock, []).append(files[index])
            if len(by_clock) == 1 or refusal.code not in CONTRADICTIONS:
                raise
            strands += [end_to_end(each) for each in by_clock.values()]
    return strands


def _longest(options: Sequence[ReadOptions]) -> float | None:
    """The limit for one logger: the largest that was told of its files."""
    told = [each.interpolate_up_to_s for each in options if each.interpolate_up_to_s is not None]
    return max(told, default=None)


def _interpolation_steps(
    strands: Sequence[Strand], limits: Sequence[float | None], whole: Strand
) -> list[str]:
    if whole.interpolated is None:
        return []
    steps = []
    column = 0
    for strand, limit in zip(strands, limits, strict=True):
        count = int(whole.interpolated[:, column : column + len(strand.channels)].sum())
        column += len(strand.channels)
        if count and limit is not None:
            steps.append(
                f"interpolated {count} readings of '{strand.name}' to the instants of the others, between "
                f"readings up to {limit:g} s apart"
            )
    return steps


def _finite(values: Sequence[FloatArray]) -> int:
    return sum(int(np.isfinite(part).sum()) for part in values)


def _balance(strands: Sequence[Strand], whole: Strand) -> None:
    """Hold the ledger over the join: readings in, less equal repeats, are readings out; made ones apart."""
    files = [file for strand in strands for file in strand.files]
    if len(files) == 1:
        return
    before = _finite([part for file in files for part in (file.raw_c, file.other_values)])
    after = _finite([whole.raw_c, whole.other_values])
    made = 0
    if whole.interpolated is not None:
        made = int(whole.interpolated.sum())
        if not np.isfinite(whole.raw_c[whole.interpolated]).all():
            raise RuntimeError("a reading is marked as interpolated and is none")
    repeated = 0
    for strand in strands:
        claimed = np.zeros(len(whole.nanoseconds), dtype=np.int64)
        for file in strand.files:
            at = np.flatnonzero(whole.rows[file.file])
            if len(at) != len(file.rows):
                raise RuntimeError(f"{file.file}: {len(file.rows)} rows were read and {len(at)} joined")
            finite = np.isfinite(file.raw_c).sum(axis=1) + np.isfinite(file.other_values).sum(axis=1)
            repeated += int(finite[claimed[at] > 0].sum())
            claimed[at] += 1
    if before - repeated != after - made:
        raise RuntimeError(f"of {before} readings, {repeated} of them repeated, {after - made} were joined")
