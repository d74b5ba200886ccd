"""How files were understood, for a person and as JSON: what `qualify read` prints."""

from __future__ import annotations

import json
from collections.abc import Iterator

import numpy as np

from qualify.readings.model import Recording
from qualify.readings.told import as_plain, plan_lines

_MOST_DOUBTS = 40


def as_words(recording: Recording) -> str:
    """Word what was understood of each file, every doubt, and the plan lines that pin it."""
    return "\n".join(_lines(recording))


def _lines(recording: Recording) -> Iterator[str]:
    for file, layout in recording.layouts.items():
        yield file
        width = max(map(len, layout))
        for word, value in layout.items():
            yield f"  {word:<{width}}  {value}"
        yield ""
    count = len(recording.seconds)
    yield f"{count} instants, {len(recording.channels)} temperature channels, {len(recording.others)} others"
    end = float(recording.seconds[-1])
    first, last = recording.iso(0.0), recording.iso(end)
    yield f"  from {first} to {last}" if first is not None else f"  {end:g} s from first to last"
    if count > 1:
        steps = np.diff(recording.seconds)
        yield f"  a reading every {np.median(steps):g} s (from {steps.min():g} to {steps.max():g} s)"
    absent = int(np.isnan(recording.raw_c).sum())
    if absent:
        yield f"  {absent} of {recording.raw_c.size} places without a reading"
    if recording.interpolated is not None:
        yield f"  {int(recording.interpolated.sum())} readings interpolated between a logger's own"
    yield ""
    width = max(len(channel.name) for channel in (*recording.channels, *recording.others))
    for index, (channel, unit) in enumerate(zip(recording.channels, recording.units, strict=True)):
        values = recording.raw_c[:, index]
        present = values[~np.isnan(values)]
        span = f"{present.min():.2f} to {present.max():.2f} °C" if len(present) else "no reading"
        yield f"  {channel.name:<{width}}  {channel.unit or unit:<6}  {span}  {channel.description}".rstrip()
    for channel in recording.others:
        kept = ", ".join(channel.states) if channel.states else channel.unit or "no unit"
        yield f"  {channel.name:<{width}}  {kept} (kept, not judged)"
    yield ""
    yield f"{len(recording.doubts) or 'no'} doubt{'' if len(recording.doubts) == 1 else 's'}"
    for doubt in recording.doubts[:_MOST_DOUBTS]:
        yield f"  {doubt}"
    if len(recording.doubts) > _MOST_DOUBTS:
        yield f"  ... and {len(recording.doubts) - _MOST_DOUBTS} more (--json lists all)"
    yield ""
    yield "These lines in a plan's survey pin how the files are read:"
    yield ""
    yield from plan_lines(recording.pins)


def to_json(recording: Recording) -> str:
    """Word the same as JSON, one line, with every doubt."""
    document = {
        "layouts": {file: dict(words) for file, words in recording.layouts.items()},
        "pins": {file: as_plain(options) for file, options in recording.pins.items()},
        "instants": len(recording.seconds),
        "start": recording.iso(0.0),
        "seconds": float(recording.seconds[-1]),
        "channels": [
            {
                "name": channel.name,
                "header": channel.header,
                "file": channel.file,
                "unit": channel.unit,
                "description": channel.description,
            }
            for channel in recording.channels
        ],
        "others": [
            {
                "name": channel.name,
                "header": channel.header,
                "file": channel.file,
                "unit": channel.unit,
                "states": list(channel.states),
            }
            for channel in recording.others
        ],
        "doubts": [
            {"file": d.file, "row": d.row, "column": d.column, "kind": d.kind, "text": d.text}
            for d in recording.doubts
        ],
        "steps": list(recording.steps),
    }
    return json.dumps(document, ensure_ascii=False, allow_nan=False) + "\n"
