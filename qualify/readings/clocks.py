"""Clocks of several loggers put on one: offsets told, or estimated from what two loggers both saw.

The first file without a clock of its own told is the base: its clock, or the zero of its elapsed times,
holds. An offset is added to a logger's times. Where only one of the two has a clock and the other elapsed
times, the clock's times count from its first reading: an elapsed file's offset is then in seconds after
the first reading of the base file.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import timedelta
from math import hypot, inf, isfinite
from typing import TYPE_CHECKING

import numpy as np

from qualify.findings import Doubt, DoubtKind, RefusalKind
from qualify.readings.model import FloatArray, IntArray, LoggerClock, ReadOptions
from qualify.readings.parts import FileReadings
from qualify.readings.strands import NANOSECONDS, LoggerKey, logger_key

if TYPE_CHECKING:
    from qualify.readings.shared_sensor import Estimate, NotEstimated, Series

CLOCKS_DIFFER = RefusalKind(
    "clocks-differ",
    what="'{one}' has {form}, but '{other}' has {other_form}",
    why="The two can't be put on one time axis.",
    mend="export both with the same kind of time, tell the offset between the two with --clock, or survey "
    "them one by one.",
)
CLOCK_TOLD_TWICE = RefusalKind(
    "clock-told-twice",
    what="the clock of this file is told in {count} ways",
    why="Exactly one of an offset, a shared sensor and a shared start settles how the clock stands.",
    mend="keep one of offset_s, shared_sensor and shared_step.",
)
CLOCK_OFFSET_UNUSABLE = RefusalKind(
    "clock-offset-unusable",
    what="a clock offset of {offset} s, uncertain by {uncertainty} s, can't be used",
    why="It leads out of the calendar, or is no number of seconds.",
    mend="tell the offset in seconds, and an uncertainty that is not negative.",
)
CLOCK_WITHOUT_REFERENCE = RefusalKind(
    "clock-without-reference",
    what="there is no other logger whose clock is settled and to which this one could be compared",
    why="An offset is estimated between two loggers, one of which keeps its times.",
    mend="give the other logger's file too; leave the clock of one logger untold, or tell its offset.",
)
CLOCK_CHANNEL_UNKNOWN = RefusalKind(
    "clock-channel-unknown",
    what="the shared sensor's channel '{word}' {trouble}",
    why="The offset is estimated from one channel of this logger and one of another.",
    mend="name a temperature channel as its header or name stands in the file, the other logger's as "
    "FILESTEM:NAME if needed; the channels are {known}.",
)
CLOCK_NOT_ESTIMATED = RefusalKind(
    "clock-not-estimated",
    what="the offset to the clock of '{other}' can't be estimated from {source}: {reason}",
    why="Readings at wrong times are compared with what the oven did at other times.",
    mend="{mend}.",
)
CLOCK_GIVEN = DoubtKind(
    "clock-offset-given",
    "{offset:.6g} s were told to be added to this logger's clock, {uncertain}; {consequence}",
)
CLOCK_ESTIMATED = DoubtKind(
    "clock-offset-estimated",
    "{offset:.6g} s were added to this logger's clock, estimated from {source}; "
    "{uncertain}{assumed}; {consequence}",
)
CLOCKS_DRIFT = DoubtKind(
    "clocks-drift",
    "the clock offset is {first:.6g} ± {first_u:.2g} s over the first half of the records that overlap and "
    "{second:.6g} ± {second_u:.2g} s over the second: the two clocks run at different speeds or one was set. "
    "One offset was used for all readings, so that times may be wrong by about {apart:.2g} s",
)

_MOST_CLOCK_S = 12 * 3600.0
"""Clocks are searched for offsets up to so much [s]: more would be another day."""
_MOST_OFFSET_S = 100 * 366 * 86400.0
_RATE_SECONDS = 300.0


@dataclass(slots=True)
class _Logger:
    """The files of one logger, by their places among all, and the shift of its times once it is settled."""

    clock: LoggerClock | None
    files: list[FileReadings] = field(default_factory=list)
    places: list[int] = field(default_factory=list)
    shift_ns: int | None = None
    offset_s: float = 0.0
    uncertainty_s: float | None = 0.0
    source: str = ""
    assumed: str = ""

    @property
    def name(self) -> str:
        return self.files[0].file

    @property
    def first_ns(self) -> int:
        return min(int(file.instants.nanoseconds[0]) for file in self.files)


@dataclass(frozen=True, slots=True)
class OneClock:
    """The files with their times on one clock, what was done, what is doubtful about it, and what was used.

    `settled` holds of each file the offset and uncertainty that a plan could tell to have the same times.
    """

    files: tuple[FileReadings, ...]
    steps: tuple[str, ...]
    doubts: tuple[Doubt, ...]
    settled: dict[str, LoggerClock]


def on_one_clock(files: Sequence[FileReadings], options: Sequence[ReadOptions]) -> OneClock:
    """Put the times of all files on one clock.

    Parameters
    ----------
    files
        The readings of each file.
    options
        What was told of each file: how its clock stands, and which logger it is of.

    Raises
    ------
    Refusal
        If the clocks can't be compared, or an offset can't be estimated.
    """
    if len(files) == 1 and options[0].clock is None:
        return OneClock(tuple(files), (), (), {})
    loggers = _loggers(files, options)
    base = next((logger for logger in loggers if logger.clock is None), loggers[0])
    for logger in loggers:
        kinds = {_form(file) for file in logger.files}
        reference = base if len(kinds) == 1 else logger
        differing = next((file for file in logger.files if _form(file) != _form(reference.files[0])), None)
        if differing is not None and (logger.clock is None or len(kinds) > 1):
            raise _clocks_differ(differing, reference.files[0])
    doubts: list[Doubt] = []
    steps: list[str] = []
    for logger in loggers:
        if logger.clock is None:
            logger.shift_ns = 0
        elif logger.clock.offset_s is not None:
            _shift_as_told(logger, base)
    while open_ones := [logger for logger in loggers if logger.shift_ns is None]:
        settled = [logger for logger in loggers if logger.shift_ns is not None]
        before = len(settled)
        for logger in open_ones:
            doubts += _estimate(logger, settled, loggers, base)
        if sum(logger.shift_ns is not None for logger in loggers) == before:
            raise CLOCK_WITHOUT_REFERENCE(file=open_ones[0].name)
    moved = list(files)
    used: dict[str, LoggerClock] = {}
    for logger in loggers:
        if logger.clock is None:
            continue
        steps += _steps(logger, base)
        told = not logger.source
        doubts += [] if told and logger.offset_s == 0.0 and not logger.uncertainty_s else [_doubt(logger)]
        for place, file in zip(logger.places, logger.files, strict=True):
            moved[place] = _moved(file, logger, base.files[0])
            used[file.file] = LoggerClock(offset_s=logger.offset_s, uncertainty_s=logger.uncertainty_s)
    return OneClock(tuple(moved), tuple(steps), tuple(doubts), used)


def _loggers(files: Sequence[FileReadings], options: Sequence[ReadOptions]) -> list[_Logger]:
    """Files that have their channels and their clock in common are one logger's."""
    found: dict[tuple[LoggerKey, LoggerClock | None], _Logger] = {}
    for place, (file, told) in enumerate(zip(files, options, strict=True)):
        clock = told.clock
        if clock is not None:
            _must_be_one_way(file, clock)
        logger = found.setdefault((logger_key(file, told), clock), _Logger(clock))
        logger.files.append(file)
        logger.places.append(place)
    return list(found.values())


def _must_be_one_way(file: FileReadings, clock: LoggerClock) -> None:
    ways = (clock.offset_s is not None) + (clock.shared_sensor is not None) + clock.shared_step
    if ways != 1:
        raise CLOCK_TOLD_TWICE(file=file.file, count=ways if ways else "none of the")
    offset, uncertainty = clock.offset_s or 0.0, clock.uncertainty_s or 0.0
    if not (
        isfinite(offset) and abs(offset) <= _MOST_OFFSET_S and isfinite(uncertainty) and uncertainty >= 0
    ):
        raise CLOCK_OFFSET_UNUSABLE(file=file.file, offset=clock.offset_s, uncertainty=clock.uncertainty_s)


def _form(file: FileReadings) -> str:
    if file.instants.start is None:
        return "elapsed time"
    return "clock times" + (" with a UTC offset" if file.instants.utc_offset is not None else "")


def _clocks_differ(file: FileReadings, other: FileReadings) -> Exception:
    return CLOCKS_DIFFER(
        file=file.file, one=file.file, form=_form(file), other=other.file, other_form=_form(other)
    )


def _frame_ns(logger: _Logger, base: _Logger) -> int:
    """What to add [ns] to a logger's instants so that an offset of 0 s means what its user expects.

    The same kind of times: nothing. Times with and without a UTC offset: so that the clocks as printed agree.
    A clock and elapsed times: so that the clock counts from its first reading.
    """
    one, two = logger.files[0].instants, base.files[0].instants
    if _form(logger.files[0]) == _form(base.files[0]):
        return 0
    if one.start is None:
        return base.first_ns
    if two.start is None:
        return -logger.first_ns
    printed = round((one.start - two.start) / timedelta(microseconds=1)) * 1000
    return int(two.nanoseconds[0]) + printed - int(one.nanoseconds[0])


def _shift_as_told(logger: _Logger, base: _Logger) -> None:
    assert logger.clock is not None and logger.clock.offset_s is not None
    logger.offset_s = logger.clock.offset_s
    logger.uncertainty_s = logger.clock.uncertainty_s
    logger.shift_ns = _frame_ns(logger, base) + round(logger.offset_s * NANOSECONDS)


def _estimate(
    logger: _Logger, settled: Sequence[_Logger], loggers: Sequence[_Logger], base: _Logger
) -> list[Doubt]:
    """Settle a logger's shift from a settled one; leave it open if the logger it needs is open still."""
    from qualify.readings.shared_sensor import NotEstimated, estimate_offset
    from qualify.readings.shared_step import estimate_offset_of_starts

    assert logger.clock is not None
    if logger.clock.shared_sensor is not None:
        own, word = logger.clock.shared_sensor
        column = _channel(own, [logger], logger)[1]
        reference, other_column = _channel(word, [each for each in loggers if each is not logger], logger)
        if reference.shift_ns is None:
            return []
        (first, series), (other_first, other) = (
            _series(logger, column),
            _series(reference, other_column),
        )
        logger.source = f"the sensor that '{own}' and '{word}' of '{reference.name}' both recorded"
        clocks = logger.files[0].instants.start is not None and reference.files[0].instants.start is not None
        # Between the first readings: what is added to the clocks, less how far apart they start.
        zero_s = (_frame_ns(logger, base) + first - other_first - reference.shift_ns) / NANOSECONDS
        bounds = (zero_s - _MOST_CLOCK_S, zero_s + _MOST_CLOCK_S) if clocks else (-inf, inf)
        found = _not_too_few(logger, reference) or estimate_offset(series, other, *bounds)
    else:
        candidates = [each for each in (base, *settled) if each is not logger and each.shift_ns is not None]
        if not candidates:
            return []
        reference = candidates[0]
        (first, series), (other_first, other) = _series(logger, None), _series(reference, None)
        logger.source = f"the heating start that it and '{reference.name}' both saw"
        logger.assumed = (
            ", if the locations of both loggers began to warm at one instant; by how much they did not is "
            "not in it"
        )
        found = _not_too_few(logger, reference) or estimate_offset_of_starts(series, other)
    if isinstance(found, NotEstimated):
        raise CLOCK_NOT_ESTIMATED(
            file=logger.name,
            other=reference.name,
            source=logger.source,
            reason=found.why,
            mend=found.mend,
        )
    assert reference.shift_ns is not None
    frame = _frame_ns(logger, base)
    shift = other_first - first + round(found.offset_s * NANOSECONDS) + reference.shift_ns
    # Whole milliseconds: what is printed is what was added, and can be told to the same effect.
    logger.offset_s = round((shift - frame) / NANOSECONDS, 3)
    logger.shift_ns = frame + round(logger.offset_s * NANOSECONDS)
    logger.uncertainty_s = hypot(found.uncertainty_s, reference.uncertainty_s or 0.0)
    logger.source += f" ({found.readings} readings)"
    if logger.clock.shared_sensor is not None and found.halves is None:
        logger.assumed = (
            "; whether the two clocks drift against each other can't be told, as the sensor moves in one "
            "half of the record only"
        )
    return _drift(logger, found, logger.offset_s - found.offset_s)


def _not_too_few(*loggers: _Logger) -> NotEstimated | None:
    from qualify.readings.shared_sensor import NotEstimated

    for logger in loggers:
        if max(len(file.rows) for file in logger.files) < 2:
            return NotEstimated(f"'{logger.name}' has a single row")
    return None


def _drift(logger: _Logger, found: Estimate, between_s: float) -> list[Doubt]:
    if found.halves is None:
        return []
    (first, first_u), (second, second_u) = found.halves
    if abs(first - second) <= hypot(first_u, second_u):
        return []
    return [
        CLOCKS_DRIFT(
            file=logger.name,
            first=first + between_s,
            first_u=first_u,
            second=second + between_s,
            second_u=second_u,
            apart=abs(first - second),
        )
    ]


def _channel(word: str, loggers: Sequence[_Logger], told_for: _Logger) -> tuple[_Logger, str]:
    """The logger and the name of the channel that a word means, FILESTEM:NAME or NAME."""
    found: dict[int, tuple[_Logger, str]] = {}
    for number, logger in enumerate(loggers):
        for file in logger.files:
            for channel in file.channels:
                after_stem = word.removeprefix(f"{file.stem}:") if word.startswith(f"{file.stem}:") else word
                if channel.is_called(word) or channel.is_called(after_stem):
                    found[number] = (logger, channel.name)
    if len(found) == 1:
        return next(iter(found.values()))
    stems = (
        (file.stem, channel.name) for logger in loggers for file in logger.files for channel in file.channels
    )
    raise CLOCK_CHANNEL_UNKNOWN(
        file=told_for.name,
        word=word,
        trouble="is in more than one other logger" if found else "is no temperature channel there",
        known=", ".join(f"'{stem}:{name}'" for stem, name in stems) or "none",
    )


def _series(logger: _Logger, name: str | None) -> tuple[int, Series]:
    """A channel of a logger over all its files, or the mean of its channels; and its first instant [ns]."""
    instants: list[IntArray] = []
    values: list[FloatArray] = []
    wanted = [channel.name for channel in logger.files[0].channels]
    for file in logger.files:
        place = {channel.name: index for index, channel in enumerate(file.channels)}
        columns = [place[name]] if name is not None else [place[each] for each in wanted]
        instants.append(file.instants.nanoseconds)
        values.append(file.raw_c[:, columns])
    whole = np.concatenate(values)
    if name is None:
        # A channel that is often absent would make the mean jump when it comes and goes.
        share = np.isfinite(whole).mean(axis=0)
        whole = whole[:, share >= 0.95] if (share >= 0.95).any() else whole
    nanoseconds, kept = np.unique(np.concatenate(instants), return_index=True)
    mean = whole.mean(axis=1)[kept]
    there = np.isfinite(mean)
    nanoseconds, mean = nanoseconds[there], mean[there]
    first = int(nanoseconds[0]) if nanoseconds.size else logger.first_ns
    from qualify.readings.shared_sensor import Series

    return first, Series((nanoseconds - first) / NANOSECONDS, mean)


def steepest_c_per_min(seconds: FloatArray, mean_c: FloatArray) -> float:
    """The steepest change over five minutes, or over the whole of a shorter record [°C/min].

    Parameters
    ----------
    seconds, mean_c : (n,) float64
        Times [s] and mean of a logger's channels [°C].
    """
    if seconds.size < 2:
        return 0.0
    later = np.searchsorted(seconds, seconds + _RATE_SECONDS)
    whole = later < seconds.size
    if not whole.any():
        return abs(float(mean_c[-1] - mean_c[0])) / float(seconds[-1]) * 60
    later = later[whole]
    rates = np.abs(mean_c[later] - mean_c[: later.size]) / (seconds[later] - seconds[: later.size])
    return float(rates.max()) * 60


def _doubt(logger: _Logger) -> Doubt:
    _, series = _series(logger, None)
    rate = steepest_c_per_min(series.seconds, series.values_c)
    u = logger.uncertainty_s
    if u is None:
        uncertain = "its uncertainty was not told"
        consequence = (
            f"during the steepest change ({rate:.2g} °C/min) each second of it is worth {rate / 60:.2g} "
            "°C, so that comparisons across the loggers hold only where the temperature hardly changes"
        )
    else:
        uncertain = f"expanded uncertainty {u:.2g} s"
        consequence = (
            f"this logger's times against the others' are uncertain by that, and during the steepest change "
            f"({rate:.2g} °C/min) its readings by {rate / 60 * u:.2g} °C; where the temperature rests "
            "they are not"
        )
    kind = CLOCK_ESTIMATED if logger.source else CLOCK_GIVEN
    return kind(
        file=logger.name,
        offset=logger.offset_s,
        uncertain=uncertain,
        consequence=consequence,
        source=logger.source,
        assumed=logger.assumed,
    )


def _steps(logger: _Logger, base: _Logger) -> list[str]:
    how = f"estimated from {logger.source}" if logger.source else "as told"
    count = " after the first reading of the base file" if _counts_from_first(logger, base) else ""
    return [
        f"added {logger.offset_s:.12g} s{count} to the clock of '{file.file}', {how}" for file in logger.files
    ]


def _counts_from_first(logger: _Logger, base: _Logger) -> bool:
    return logger.files[0].instants.start is None and base.files[0].instants.start is not None


def _moved(file: FileReadings, logger: _Logger, base: FileReadings) -> FileReadings:
    """Shift a file's instants; where its kind of time is another than the base's, it gets the base's."""
    assert logger.shift_ns is not None
    nanoseconds = file.instants.nanoseconds + logger.shift_ns
    start, utc_offset = file.instants.start, file.instants.utc_offset
    try:
        if _form(file) != _form(base):
            start, utc_offset = base.instants.start, base.instants.utc_offset
            if start is not None:
                later_ns = int(nanoseconds[0]) - int(base.instants.nanoseconds[0])
                start += timedelta(microseconds=later_ns / 1000)
        elif start is not None:
            start += timedelta(microseconds=logger.shift_ns / 1000)
    except OverflowError:
        raise CLOCK_OFFSET_UNUSABLE(
            file=file.file, offset=logger.offset_s, uncertainty=logger.uncertainty_s
        ) from None
    return replace(
        file, instants=replace(file.instants, nanoseconds=nanoseconds, start=start, utc_offset=utc_offset)
    )
