"""The sheet of the recordings that tests rest on, and the cells in which their readings stand."""

from __future__ import annotations

from dataclasses import dataclass
from math import isnan

import numpy as np

from qualify.evidence import Evaluation, TestRecording
from qualify.pack.workbook.book import Book, Sheet, column_letters, width_for
from qualify.pack.workbook.cells import to_celsius
from qualify.pack.workbook.readings import as_recorded
from qualify.readings.model import FloatArray
from qualify.units import TemperatureUnit

NAME = "Test readings"
FIRST_BLOCK_ROW = 6
MOST_INSTANTS = 100_000
"""A longer recording is not repeated here: it lies in the pack's folder inputs."""
NOTES = (
    "The recordings of tests as they were recorded, one below another; only the channels that a test uses. "
    "An empty cell: no reading.",
    "A row's number in the logger's file stands first. The sheet Operation tests names these cells.",
)


@dataclass(frozen=True, slots=True, eq=False)
class _Column:
    """One channel: its header, its values in the file's unit, words in place of numbers for a state."""

    name: str
    header: str
    values: FloatArray
    values_c: FloatArray
    """In °C where it is a temperature, else the same."""
    celsius: TemperatureUnit | None
    """The unit to turn into °C; None for what is no temperature."""
    states: tuple[str, ...]
    interpolated: list[bool] | None


@dataclass(frozen=True, slots=True, eq=False)
class _Block:
    """One recording on the sheet."""

    evidence: TestRecording
    columns: tuple[_Column, ...]
    first_column: int
    header_row: int

    @property
    def first_row(self) -> int:
        """Row of the first instant."""
        return self.header_row + 1

    @property
    def shown(self) -> bool:
        """Whether its readings stand on the sheet."""
        return self.evidence.recording.seconds.size <= MOST_INSTANTS

    @property
    def last_row(self) -> int:
        """Row of the last instant; the header's where the recording is too long."""
        return self.header_row + (self.evidence.recording.seconds.size if self.shown else 0)


@dataclass(frozen=True, slots=True, eq=False)
class TestCells:
    """Where the readings of one test stand."""

    block: _Block

    def reading(self, channel: str, at_s: float) -> str:
        """Formula of the reading of a channel at an instant [s], in °C where it is a temperature."""
        place, column = self._column(channel)
        return self._in_celsius(f"'{NAME}'!${place}${self._row(at_s)}", column)

    def value(self, channel: str, at_s: float) -> float:
        """The reading itself."""
        return float(self._column(channel)[1].values_c[self._row(at_s) - self.block.first_row])

    def around(self, channel: str, at_s: float) -> tuple[float, float] | None:
        """The readings before and after a moment [s]: their instants; None where one is missing."""
        seconds = self.block.evidence.recording.seconds
        after = int(np.searchsorted(seconds, at_s, side="right"))
        if not 0 < after < seconds.size:
            return None
        instants = float(seconds[after - 1]), float(seconds[after])
        return None if any(isnan(self.value(channel, at)) for at in instants) else instants

    def extreme(self, channel: str, from_s: float, to_s: float, *, highest: bool) -> str:
        """Formula of the highest or lowest reading from one instant to another [s]."""
        place, column = self._column(channel)
        cells = f"'{NAME}'!${place}${self._row(from_s)}:${place}${self._row(to_s, last=True)}"
        return self._in_celsius(f"{'MAX' if highest else 'MIN'}({cells})", column)

    def extreme_difference(
        self, channel: str, less: str, from_s: float, to_s: float, *, highest: bool
    ) -> str | None:
        """Formula of the highest or lowest difference of two channels; None where a cell would be empty."""
        first, last = self._row(from_s), self._row(to_s, last=True)
        part = slice(first - self.block.first_row, last - self.block.first_row + 1)
        terms = []
        for name in (channel, less):
            place, column = self._column(name)
            if np.isnan(column.values[part]).any():
                return None
            terms.append(self._in_celsius(f"'{NAME}'!${place}${first}:${place}${last}", column))
        return f"SUMPRODUCT({'MAX' if highest else 'MIN'}({terms[0]}-{terms[1]}))"

    def row(self, at_s: float) -> str:
        """The row of the logger's file at an instant [s], in words."""
        recording = self.block.evidence.recording
        instant = self._row(at_s) - self.block.first_row
        told = [
            f"row {rows[instant]} of {name}" for name, rows in recording.rows.items() if rows[instant] > 0
        ]
        return ", ".join(told)

    def _row(self, at_s: float, *, last: bool = False) -> int:
        """Row of the first instant from a time on, or of the last by it."""
        seconds = self.block.evidence.recording.seconds
        if last:
            return self.block.header_row + int(np.searchsorted(seconds, at_s, side="right"))
        return self.block.first_row + int(np.searchsorted(seconds, at_s, side="left"))

    def _column(self, channel: str) -> tuple[str, _Column]:
        names = [column.name for column in self.block.columns]
        at = names.index(_name_of(self.block.evidence, channel))
        return column_letters(self.block.first_column + at), self.block.columns[at]

    @staticmethod
    def _in_celsius(formula: str, column: _Column) -> str:
        if column.celsius is None or column.celsius is TemperatureUnit.C:
            return formula
        return to_celsius(formula, column.celsius)


class TestReadingsLayout:
    """Which rows of the sheet hold which recording."""

    def __init__(self, evaluation: Evaluation) -> None:
        found = evaluation.test_recordings
        self.files = max((len(item.recording.rows) for item in found), default=0)
        self.clock = any(item.recording.start is not None for item in found)
        self.blocks: list[_Block] = []
        row = FIRST_BLOCK_ROW
        for item in found:
            block = _Block(item, _columns(item), self.files + 1 + self.clock, row + 1)
            self.blocks.append(block)
            row = block.last_row + 2

    def cells(self, test: str) -> TestCells | None:
        """The cells of a test's readings; None where they do not stand on the sheet."""
        block = next((block for block in self.blocks if test in block.evidence.tests), None)
        return TestCells(block) if block is not None and block.shown else None


def _name_of(evidence: TestRecording, word: str) -> str:
    channels = (*evidence.recording.channels, *evidence.recording.others)
    return next(channel.name for channel in channels if channel.is_called(word))


def _columns(evidence: TestRecording) -> tuple[_Column, ...]:
    recording = evidence.recording
    columns = []
    for index, channel in enumerate(recording.channels):
        if channel.name in evidence.channels:
            unit = recording.units[index]
            marks = None if recording.interpolated is None else recording.interpolated[:, index].tolist()
            values = as_recorded(recording.raw_c[:, index], unit)
            header = f"{channel.name} ({unit.value})"
            columns.append(_Column(channel.name, header, values, recording.raw_c[:, index], unit, (), marks))
    for index, channel in enumerate(recording.others):
        if channel.name in evidence.channels:
            values = recording.other_values[:, index]
            header = f"{channel.name} ({channel.unit})" if channel.unit else channel.name
            columns.append(_Column(channel.name, header, values, values, None, channel.states, None))
    return tuple(columns)


def write_test_readings(book: Book, layout: TestReadingsLayout) -> None:
    """Write the sheet, where tests rest on recordings."""
    if not layout.blocks:
        return
    names = [name for block in layout.blocks for name in block.evidence.recording.rows]
    row_width = max(width_for(name, 12) for name in names)
    channels = max(len(block.columns) for block in layout.blocks)
    widest = max(width_for(column.header, 12) for block in layout.blocks for column in block.columns)
    leading = (*(row_width,) * layout.files, 10.0, *((25.0,) if layout.clock else ()))
    sheet = book.sheet(NAME, (*leading, *(widest,) * channels))
    sheet.title("Recordings of tests")
    for note in NOTES:
        sheet.note(note, 150)
    for block in layout.blocks:
        sheet.next(block.header_row - 1 - sheet.excel_row)
        _write_block(sheet, layout, block)
    sheet.fit()


def _write_block(sheet: Sheet, layout: TestReadingsLayout, block: _Block) -> None:
    recording = block.evidence.recording
    sheet.section(" · ".join(block.evidence.tests))
    if not block.shown:
        files = ", ".join(recording.rows)
        sheet.text(
            0, f"{recording.seconds.size:,} instants are not repeated here: see {files} in inputs", "line"
        )
        sheet.next()
        return
    named = [f"Row in {name}" for name in recording.rows]
    named += [""] * (layout.files - len(named))
    clock = ["Logger's clock"] if layout.clock else []
    sheet.header([*named, "Time (s)", *clock, *(column.header for column in block.columns)])
    sources = [rows.tolist() for rows in recording.rows.values()]
    listed = [column.values.tolist() for column in block.columns]
    for instant, second in enumerate(recording.seconds.tolist()):
        for place, rows in enumerate(sources):
            if rows[instant] > 0:
                sheet.number(place, rows[instant], "count")
        sheet.number(layout.files, second, "seconds")
        if recording.start is not None:
            sheet.text(layout.files + 1, recording.iso(second) or "", "line")
        for place, (column, values) in enumerate(zip(block.columns, listed, strict=True)):
            _write(sheet, block.first_column + place, column, values[instant], instant)
        sheet.next()


def _write(sheet: Sheet, place: int, column: _Column, value: float, instant: int) -> None:
    if isnan(value):
        return  # no reading: an empty cell
    if column.states:
        sheet.text(place, column.states[int(value)], "word for number")
        return
    marked = column.interpolated is not None and column.interpolated[instant]
    sheet.number(place, value, "raw, interpolated" if marked else "raw")
