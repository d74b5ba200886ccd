"""The path from loaded files to one recording."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields, replace

from qualify.inputs import InputFile
from qualify.readings.join import join
from qualify.readings.model import ReadOptions, Recording
from qualify.readings.parts import FileReadings
from qualify.readings.progress import Progress, no_progress
from qualify.readings.registry import open_file
from qualify.readings.single import read_one
from qualify.readings.unwrap import unwrap_with_side_files


def read_files(
    files: Sequence[InputFile],
    options: ReadOptions,
    per_file: Mapping[str, ReadOptions],
    progress: Progress = no_progress,
) -> Recording:
    """Read the files one by one and join them; see `qualify.readings.read_recording`.

    What was told of a file holds by its label, its name, or the name of the file inside an archive.
    """
    if not files:
        raise ValueError("at least one file must be given")
    unpacked: list[tuple[InputFile, ReadOptions, dict[str, str]]] = []
    for file, label in zip(files, labels(files), strict=True):
        told = _merged(options, per_file.get(label, per_file.get(file.name)))
        found, aside = unwrap_with_side_files(replace(file, name=label), told.member)
        pinned = {f"{label}/{own.member}" for key, own in per_file.items() if own.member and key != label}
        if len(found) > 1 and (chosen := [inner for inner in found if inner.name in pinned]):
            found = chosen
        for inner in found:
            words = {} if inner.content is file.content else {"unpacked from": file.name}
            if aside:
                words["left aside in the archive"] = ", ".join(aside)
            # What stands alone in its archive is called by the file that the user has.
            shown = inner.name if inner.name.startswith(f"{label}/") else label
            unpacked.append((replace(inner, name=shown), told, words))
    parts: list[FileReadings] = []
    all_told: list[ReadOptions] = []
    names = labels([inner for inner, _, _ in unpacked])
    for (inner, outer_told, words), label in zip(unpacked, names, strict=True):
        own = _first_told(per_file, label, inner.name, inner.path.name) if words else None
        told = _merged(outer_told, own)
        part = read_one(label, inner.stem, open_file(replace(inner, name=label), told), told, progress)
        if words:
            member = inner.name.partition("/")[2] or None
            pins = replace(part.pins, member=member if label.startswith(inner.name) else part.pins.member)
            part = replace(part, layout={**words, **part.layout}, pins=pins)
        parts.append(part)
        all_told.append(told)
    return join(parts, all_told)


def _first_told(per_file: Mapping[str, ReadOptions], *names: str) -> ReadOptions | None:
    return next((per_file[name] for name in names if name in per_file), None)


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
