"""The sheet of where everything came from: software, settings, files, steps, doubts, channels left out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from qualify.evidence import Evaluation
from qualify.findings import Doubt
from qualify.pack.workbook.book import Book, Sheet
from qualify.readings.model import Recording
from qualify.record import ExclusionRecord

NAME = "Provenance"
WIDTHS = (34, 24, 10, 24, 20, 90)
MOST_ROWS = 900_000
"""A sheet ends at 1,048,576 rows; doubts beyond this many are in record.json alone, and the sheet says so."""


def write_provenance(book: Book, evaluation: Evaluation) -> None:
    """Write the sheet."""
    record = evaluation.record
    sheet = book.sheet(NAME, WIDTHS)
    sheet.title("Provenance")
    sheet.note(
        "A hash shows that a file is unchanged since it was read, not since it was recorded. The files "
        "named here lie in the pack's folder inputs."
    )
    sheet.next()
    sheet.header(
        ["What", "File, kind or value", "Row", "Column", "Survey or test", "Words"], frozen_columns=1
    )
    sheet.section("Software")
    _mapping(sheet, record.software)
    sheet.next()
    sheet.section("Settings: every option, and what was found out about the files")
    _mapping(sheet, {key: value for key, value in record.settings.items() if key != "layouts"})
    if record.replaces is not None:
        sheet.text(0, "Replaces the pack", "text")
        sheet.text(1, record.replaces, "line")
        sheet.next()
    sheet.next()
    sheet.section("Inputs: name, role, SHA-256, size")
    for item in record.inputs:
        sheet.text(0, item.path)
        sheet.text(1, item.role)
        sheet.text(3, f"{item.bytes:,} bytes")
        sheet.text(5, item.sha256, "line")
        sheet.next()
    sheet.next()
    if record.plan.instruments:
        sheet.section("Instruments, as the plan states them")
        for instrument in record.plan.instruments:
            words = {str(key): str(value) for key, value in instrument.items()}
            sheet.text(0, words.pop("name", "instrument"))
            sheet.text(5, "; ".join(f"{key}: {value}" for key, value in words.items()))
            sheet.next()
        sheet.next()
    _write_files(sheet, evaluation)
    sheet.section("Processing steps, in order")
    for number, step in enumerate(record.steps, start=1):
        sheet.text(0, f"Step {number}")
        sheet.text(5, step)
        sheet.next()
    sheet.next()
    _write_exclusions(sheet, evaluation)
    _write_doubts(sheet, evaluation)
    sheet.fit()


def _mapping(sheet: Sheet, mapping: Mapping[str, Any], before: str = "") -> None:
    for key, value in mapping.items():
        name = f"{before}{key}"
        if isinstance(value, Mapping) and value:
            _mapping(sheet, value, f"{name}: ")
            continue
        if isinstance(value, list | tuple) and any(isinstance(item, Mapping) for item in value):
            _mapping(sheet, {str(number): item for number, item in enumerate(value, start=1)}, f"{name} ")
            continue
        sheet.text(0, name)
        words = _worded(value)
        if len(words) > 150:
            sheet.text(5, words)
        else:
            sheet.text(1, words, "line")
        sheet.next()


def _worded(value: Any) -> str:
    if value is None or value in ("", [], ()):
        return "not stated"
    if isinstance(value, list | tuple):
        return ", ".join(str(item) for item in value)
    return str(value)


def _write_files(sheet: Sheet, evaluation: Evaluation) -> None:
    for view in evaluation.recordings:
        readings = view.readings
        judged = {index: name for name, index in zip(readings.locations, readings.channel_index, strict=True)}
        uses = [
            f"location {judged[index]}"
            if index in judged
            else "a temperature, not judged as a location: ignored or given another role; see "
            "Settings and the remarks on the sheet Verdicts"
            for index in range(len(readings.recording.channels))
        ]
        sheet.section(f"Files of the recording {view.name}: layout and columns")
        _write_recording(sheet, readings.recording, uses, "not a temperature; kept, not judged")
    for item in evaluation.test_recordings:
        recording = item.recording
        used = ["used" if channel.name in item.channels else "not used" for channel in recording.channels]
        sheet.section(f"Files of the tests {', '.join(item.tests)}: layout and columns")
        _write_recording(sheet, recording, used, "not a temperature", item.channels)


def _write_recording(
    sheet: Sheet,
    recording: Recording,
    uses: Sequence[str],
    other: str,
    used: Sequence[str] | None = None,
) -> None:
    """Write the layout of each file, and the use of each channel."""
    for file, layout in recording.layouts.items():
        for key, value in layout.items():
            sheet.text(0, file)
            sheet.text(1, str(key))
            sheet.text(5, str(value))
            sheet.next()
    for index, channel in enumerate(recording.channels):
        sheet.text(0, channel.file)
        sheet.text(1, f"column in {recording.units[index].value}")
        sheet.text(3, channel.header)
        sheet.text(5, f"channel {channel.name}: {uses[index]}")
        sheet.next()
    for channel in recording.others:
        sheet.text(0, channel.file)
        sheet.text(1, f"column in {channel.unit or 'no unit'}")
        sheet.text(3, channel.header)
        use = "" if used is None else "used; " if channel.name in used else "not used; "
        sheet.text(5, f"channel {channel.name}: {use}{other}")
        sheet.next()
    sheet.next()


def _write_exclusions(sheet: Sheet, evaluation: Evaluation) -> None:
    """List what the plan leaves out of every figure; the section stands only where there is something."""
    exclusions: dict[ExclusionRecord, list[str]] = {}
    for survey in evaluation.record.surveys:
        for item in survey.exclusions:
            exclusions.setdefault(item, []).append(survey.name)
    if not exclusions:
        return
    sheet.section(f"Exclusions: {len(exclusions)}, readings that the plan leaves out of every figure")
    for item, surveys in exclusions.items():
        sheet.text(0, item.file)
        sheet.text(1, item.kind or "named by the plan")
        if item.first_row is not None:
            sheet.number(2, item.first_row, "count")
        sheet.text(3, item.location if item.location == item.channel else f"{item.location}, {item.channel}")
        sheet.text(4, ", ".join(surveys))
        rows = "" if item.first_row is None else f", rows {item.first_row} to {item.last_row}"
        first, last = item.first or f"{item.first_s:g} s", item.last or f"{item.last_s:g} s"
        count = f"{item.readings:,} reading{'s' * (item.readings != 1)}"
        sheet.text(5, f"{count} from {first} to {last}{rows}; reason: {item.reason}")
        sheet.next()
    sheet.next()


def _write_doubts(sheet: Sheet, evaluation: Evaluation) -> None:
    doubts: dict[Doubt, list[str]] = {}
    for survey in evaluation.record.surveys:
        for doubt in survey.doubts:
            doubts.setdefault(doubt, []).append(survey.name)
    for view in evaluation.recordings:
        for doubt in view.readings.recording.doubts:
            doubts.setdefault(doubt, [])
    for item in evaluation.test_recordings:
        for doubt in item.recording.doubts:
            doubts.setdefault(doubt, []).extend(item.tests)
    sheet.section(f"Doubts: {len(doubts)} in all, each with its place")
    for number, (doubt, surveys) in enumerate(doubts.items()):
        if number == MOST_ROWS:
            sheet.text(0, f"… and {len(doubts) - number} more: in record.json", "line")
            sheet.next()
            return
        sheet.text(0, doubt.file or "")
        sheet.text(1, doubt.kind)
        if doubt.row is not None:
            sheet.number(2, doubt.row, "count")
        sheet.text(3, doubt.column or doubt.location or "")
        sheet.text(4, ", ".join(surveys))
        sheet.text(5, doubt.text)
        sheet.next()
    if not doubts:
        sheet.text(0, "none", "line")
        sheet.next()
