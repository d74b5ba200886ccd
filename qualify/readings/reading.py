"""The path from loaded files to one recording."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields, replace

from qualify.inputs import InputFile
from qualify.readings.join import join
from qualify.readings.model import ReadOptions, Recording
from qualify.readings.registry import open_file
from qualify.readings.single import FileReadings, read_one


def read_files(
    files: Sequence[InputFile], options: ReadOptions, per_file: Mapping[str, ReadOptions]
) -> Recording:
    """Read the files one by one and join them; see `qualify.readings.read_recording`."""
    if not files:
        raise ValueError("at least one file must be given")
    parts: list[FileReadings] = []
    for file, label in zip(files, labels(files), strict=True):
        told = _merged(options, per_file.get(label, per_file.get(file.name)))
        named = replace(file, name=label)
        parts.append(read_one(label, file.stem, open_file(named, told), told))
    return join(parts)


def labels(files: Sequence[InputFile]) -> list[str]:
    """Names of the files, each once: the second of a name becomes NAME-2, as in the data pack."""
    taken: set[str] = set()
    found = []
    for file in files:
        label, count = file.name, 1
        while label in taken:
            count += 1
            label = f"{file.name}-{count}"
        taken.add(label)
        found.append(label)
    return found


def _merged(options: ReadOptions, own: ReadOptions | None) -> ReadOptions:
    """What was told of one file goes before what was told of all."""
    if own is None:
        return options
    told = {field.name: getattr(own, field.name) for field in fields(own)}
    return replace(options, **{name: value for name, value in told.items() if value not in (None, (), {})})
