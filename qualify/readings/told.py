"""What was told about a file, as plain words: for the record, for the plan, and back."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import fields
from datetime import date
from typing import Any

from qualify.inputs import InputFile
from qualify.readings.model import LoggerClock, Millivolts, ReadOptions
from qualify.units import TemperatureUnit

CHOICES: Mapping[str, tuple[str, ...]] = {
    "delimiter": ("comma", "semicolon", "tab", "bar", "spaces", "space"),
    "decimal_mark": ("point", "comma"),
    "thousands_mark": ("none", "point", "comma", "space", "apostrophe"),
    "table": ("wide", "long"),
    "time_unit": ("s", "min", "h", "ms", "h:mm:ss", "h:mm", "mm:ss", "unix-s", "unix-ms", "serial-days"),
    "dates": ("day-first", "month-first", "year-first"),
}
"""Words that an option or plan key may have."""

TEXTS = ("member", "encoding", "sheet", "channel_column", "value_column", "unit_column", "zone", "logger")
ROWS = ("header_row", "first_row", "last_row")
ROWS_OR_NONE = ("units_row", "description_row")
"""Rows that a file may lack; 0 says that it does."""


def as_plain(options: ReadOptions) -> dict[str, Any]:
    """Word what was told as JSON and TOML can hold it; the names are those of a plan's keys."""
    plain: dict[str, Any] = {}
    for field in fields(options):
        value = getattr(options, field.name)
        if value in (None, (), {}) or value is False:
            continue
        if isinstance(value, TemperatureUnit):
            plain[field.name] = value.name
        elif isinstance(value, Millivolts):
            plain["thermocouple"] = value.thermocouple
            if value.junction_c is not None:
                plain["reference_junction_c"] = value.junction_c
            if value.junction_channel is not None:
                plain["reference_junction_channel"] = value.junction_channel
        elif isinstance(value, LoggerClock):
            plain |= _clock_as_plain(value)
        elif isinstance(value, date):
            plain[field.name] = value.isoformat()
        elif isinstance(value, tuple):
            plain[field.name] = list(value)
        elif isinstance(value, Mapping):
            plain[field.name] = dict(value)
        else:
            plain[field.name] = value
    return plain


def _clock_as_plain(clock: LoggerClock) -> dict[str, Any]:
    plain: dict[str, Any] = {}
    if clock.offset_s is not None:
        plain["clock_offset_s"] = clock.offset_s
    if clock.uncertainty_s is not None:
        plain["clock_uncertainty_s"] = clock.uncertainty_s
    if clock.shared_sensor is not None:
        plain["shared_sensor"] = list(clock.shared_sensor)
    if clock.shared_step:
        plain["shared_step"] = True
    return plain


def from_plain(plain: Mapping[str, Any]) -> ReadOptions:
    """Take what `as_plain` worded back."""
    told: dict[str, Any] = dict(plain)
    sensor = told.pop("shared_sensor", None)
    clock = LoggerClock(
        offset_s=told.pop("clock_offset_s", None),
        uncertainty_s=told.pop("clock_uncertainty_s", None),
        shared_sensor=(sensor[0], sensor[1]) if sensor else None,
        shared_step=told.pop("shared_step", False),
    )
    letter = told.pop("thermocouple", None)
    junction_c = told.pop("reference_junction_c", None)
    junction_channel = told.pop("reference_junction_channel", None)
    if letter is not None:
        told["millivolts"] = Millivolts(letter, junction_c, junction_channel)
    if clock != LoggerClock():
        told["clock"] = clock
    if "units" in told:
        told["units"] = TemperatureUnit[told["units"]]
    if "date" in told:
        told["date"] = date.fromisoformat(told["date"])
    for name in ("time_columns", "not_readings"):
        if name in told:
            told[name] = tuple(told[name])
    return ReadOptions(**told)


def plan_lines(pins: Mapping[str, ReadOptions]) -> list[str]:
    """Write the lines of a plan that pin how each file is read, so that nothing is left to detection."""
    lines: list[str] = []
    for file, options in pins.items():
        if lines:
            lines.append("")
        lines += ["[[surveys.loggers]]", f"files = [{_toml(file)}]"]
        plain = as_plain(options)
        tables = {key: value for key, value in plain.items() if isinstance(value, dict)}
        lines += [f"{key} = {_toml(value)}" for key, value in plain.items() if key not in tables]
        for key, table in tables.items():
            lines.append(f"{key} = {{ {', '.join(f'{_toml(k)} = {_toml(v)}' for k, v in table.items())} }}")
    return lines


def _toml(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list):
        return f"[{', '.join(map(_toml, value))}]"
    if isinstance(value, str):
        # TOML's basic strings escape as JSON's do; DEL, which JSON leaves as it is, has no place in a name.
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007F")
    return repr(value)


def labelled(loggers: Mapping[str, ReadOptions], files: Mapping[str, InputFile]) -> dict[str, ReadOptions]:
    """What is told of single files, by the names that they have among the inputs."""
    told = {}
    for name, options in loggers.items():
        file = next(file for file in files if name == file or name.startswith(f"{file}/"))
        told[files[file].name + name.removeprefix(file)] = options
    return told
