"""The keys of a plan that tell how logger files are read: for a survey, and for each of its loggers."""

from __future__ import annotations

from pathlib import PurePath
from typing import Any

from qualify.findings import RefusalKind, nearest
from qualify.plan.keys import Keys
from qualify.readings.model import LoggerClock, Millivolts, ReadOptions
from qualify.readings.told import CHOICES, ROWS, ROWS_OR_NONE, TEXTS
from qualify.units import parse_unit

NO_SUCH_FILE = RefusalKind(
    "plan-logger-file",
    what="'{name}' is no file of this survey{near}",
    why="What the plan tells about it would be heeded nowhere.",
    mend="use a name from the survey's files: {known}.",
)


def read_options(table: Keys) -> ReadOptions:
    """Take the keys that tell how files are read.

    Raises
    ------
    Refusal
        If a value is not one that the key may have.
    """
    word = table.text("units")
    unit = parse_unit(word) if word else None
    if word and unit is None:
        raise table.wrong("units", "a temperature unit (C, F or K)")
    told: dict[str, Any] = {
        **{key: table.choice(key, list(words)) for key, words in CHOICES.items()},
        **{key: table.text(key) or None for key in TEXTS},
        **{key: table.whole(key) for key in ROWS},
        **{key: table.whole(key, least=0) for key in ROWS_OR_NONE},
    }
    return ReadOptions(
        units=unit,
        column_units=table.words("column_units"),
        millivolts=_millivolts(table),
        interpolate_up_to_s=table.number("interpolate_up_to_s", least=0.0),
        time_columns=table.texts("time_columns"),
        not_readings=table.numbers("not_readings"),
        date=table.day("date"),
        clock=_clock(table),
        **told,
    )


def logger_options(survey: Keys, files: tuple[str, ...]) -> dict[str, ReadOptions]:
    """Take a survey's `loggers`: what is told about single files, by the names that `files` gives them.

    A file inside an archive is told of as archive/file.

    Raises
    ------
    Refusal
        If a file is none of the survey's, or could be two of them.
    """
    found: dict[str, ReadOptions] = {}
    for table in survey.tables("loggers"):
        names = table.texts("files")
        if not names:
            raise table.missing("files", "What is told of a logger belongs to its files.")
        options = read_options(table)
        for name in names:
            found[_file_of(table, name, files)] = options
        table.done()
    return found


def _file_of(table: Keys, name: str, files: tuple[str, ...]) -> str:
    if name in files:
        return name
    meant = [file for file in files if PurePath(file).name == name]
    if len(meant) == 1:
        return meant[0]
    for file in files:
        for archive in (file, PurePath(file).name):
            if name.startswith(f"{archive}/"):
                return file + name.removeprefix(archive)
    raise NO_SUCH_FILE(
        name=name, near=nearest(name, list(files)), known=", ".join(files), **table.where("files")
    )


def _millivolts(table: Keys) -> Millivolts | None:
    letter = table.text("thermocouple")
    junction_c = table.number("reference_junction_c")
    channel = table.text("reference_junction_channel") or None
    if not letter:
        if junction_c is not None or channel:
            raise table.missing("thermocouple", "A reference junction belongs to a thermocouple's type.")
        return None
    if (junction_c is None) == (channel is None):
        raise table.missing(
            "reference_junction_c",
            "Millivolts need the reference junction: its temperature, or the channel that recorded it "
            "(reference_junction_channel), one of the two.",
        )
    return Millivolts(letter.upper(), junction_c, channel)


def _clock(table: Keys) -> LoggerClock | None:
    sensor = table.texts("shared_sensor")
    if sensor and len(sensor) != 2:
        raise table.wrong("shared_sensor", "two channels: this logger's and the other logger's")
    clock = LoggerClock(
        offset_s=table.number("clock_offset_s"),
        uncertainty_s=table.number("clock_uncertainty_s", least=0.0),
        shared_sensor=(sensor[0], sensor[1]) if sensor else None,
        shared_step=table.yes_or_no("shared_step"),
    )
    ways = [clock.offset_s is not None, clock.shared_sensor is not None, clock.shared_step]
    if sum(ways) > 1:
        raise table.wrong(
            "clock_offset_s" if clock.offset_s is not None else "shared_sensor",
            "to stand beside another way to the clock: give one",
        )
    return clock if any(ways) else None
