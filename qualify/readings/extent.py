"""Which lines of a text hold its readings: where they end, and where the header stands again between them."""

from __future__ import annotations

from dataclasses import dataclass

from qualify.findings import RefusalKind
from qualify.inputs import Bytes
from qualify.readings.cells import CellKind, kind_of
from qualify.readings.delimiters import split
from qualify.readings.layout import Place
from qualify.readings.text import Text

LAST_ROW_OUTSIDE = RefusalKind(
    "told-last-row-outside",
    what="--last-row {told} lies outside the rows of the file",
    why="The readings can't end where there is nothing.",
    mend="count the rows from 1, as a text editor shows them.",
)

_MOST_ODD_LINES = 60
"""So many lines of a repeated header, or of a summary below the readings, are looked at."""


def _is_label(cell: str) -> bool:
    """Whether a cell is a word without a digit, as "Average:" is; words for "no reading" are none."""
    return kind_of(cell) is CellKind.WORD and not any(character.isdigit() for character in cell)


@dataclass(frozen=True, slots=True)
class Stretch:
    """Rows of readings without a break: first byte, byte behind, number of the first row."""

    start: int
    stop: int
    row: int


@dataclass(frozen=True, slots=True)
class Extent:
    """Which lines of a text hold readings.

    Attributes
    ----------
    stretches
        The rows of readings, in stretches between repeated headers.
    rows
        How many rows that are.
    again
        First and last row of each header that stands again between them.
    below
        Numbers of the rows below the readings.
    """

    stretches: tuple[Stretch, ...]
    rows: int
    again: tuple[tuple[int, int], ...]
    below: tuple[int, ...]

    @property
    def all_rows(self) -> int:
        """Rows from the first row of readings to the end of the file."""
        return self.rows + len(self.below) + sum(last - first + 1 for first, last in self.again)


def find_extent(file: str, text: Text, place: Place, delimiter: str, last_row: int | None) -> Extent:
    """Find the end of the readings, and the headers between them.

    Parameters
    ----------
    file
        The file's name, for messages.
    text
        The text.
    place
        Where its table stands.
    delimiter
        The sign between cells.
    last_row
        The last row of readings that the user told, or None.

    Raises
    ------
    Refusal
        If the told row lies outside the file.
    """
    start = text.start
    for _ in range(place.first):
        start = text.data.index(b"\n", start) + 1
    lines = _Lines(file, text.data, text.start, start, place, delimiter)
    stop, below = lines.end(last_row)
    last = place.first + lines.lines_between(start, stop)
    stretches, again = lines.stretches(stop)
    return Extent(
        tuple(stretches),
        sum(lines.lines_between(stretch.start, stretch.stop) for stretch in stretches),
        tuple(again),
        tuple(range(last + 1, last + 1 + below)),
    )


@dataclass(frozen=True, slots=True)
class _Lines:
    """The lines of a text from the first row of readings on."""

    file: str
    data: Bytes
    text_start: int
    start: int
    place: Place
    delimiter: str

    def lines_between(self, start: int, stop: int) -> int:
        open_end = stop == len(self.data) and stop > start and self.data[stop - 1 : stop] != b"\n"
        return self.data.count(b"\n", start, stop) + open_end

    def _cells_of(self, start: int, stop: int) -> list[str]:
        line = self.data[start:stop].decode("utf-8").rstrip("\r\n")
        return split(line, self.delimiter) if line.count('"') % 2 == 0 else [line]

    def end(self, last_row: int | None) -> tuple[int, int]:
        """Byte behind the last row of readings, and the number of filled rows below it.

        A summary is told by a word in the time's place, or in another cell where that is blank: "Min",
        "Average:". A cell with a digit in it may be a damaged time and is never taken for one.
        """
        data, size = self.data, len(self.data)
        if last_row is not None:
            stop = self.start
            for _ in range(last_row - self.place.first):
                if stop >= size:
                    raise LAST_ROW_OUTSIDE(file=self.file, told=last_row)
                stop = data.find(b"\n", stop) + 1 or size
            return stop, self.lines_between(stop, size)
        stop, below = size, 0
        end, lines, filled = size, 0, False
        while end > self.start and lines < _MOST_ODD_LINES:
            start = data.rfind(b"\n", self.start, end - 1) + 1 or self.start
            cells = self._cells_of(start, end)
            if self.place.is_row_of_readings(cells):
                break
            key = cells[self.place.key].strip() if len(cells) > self.place.key else ""
            blank = not any(cell.strip() for cell in cells)
            labelled = _is_label(key) or (not key and any(map(_is_label, cells)))
            if not blank and not labelled:
                break
            lines += 1
            filled = filled or not blank
            if filled:
                stop, below = start, lines
            end = start
        if not below:
            return size, 0
        # Blank rows between the last reading and the summary are below the readings too.
        return end, lines if end < stop else below

    def stretches(self, stop: int) -> tuple[list[Stretch], list[tuple[int, int]]]:
        """Stretches of rows of readings up to a byte, and first and last row of each header between them.

        A recorder that was restarted writes its header again. A line equal to that of the names, with
        all lines beside it that are no rows of readings, is left out and listed.
        """
        data = self.data
        names = self._line_of(self.place.names)
        found: list[Stretch] = []
        again: list[tuple[int, int]] = []
        start, row = self.start, self.place.first + 1
        at = data.find(names, start, stop) if names.strip() else -1
        while at >= 0:
            before = data[at - 1 : at] == b"\n" or at == self.start
            end = at + len(names)
            whole = before and data[end : end + 1] in (b"\n", b"\r", b"")
            if whole:
                block_start, block_end = self._block_round(at, start, stop)
                found.append(Stretch(start, block_start, row))
                row += self.lines_between(start, block_start)
                lines = self.lines_between(block_start, block_end)
                again.append((row, row + lines - 1))
                row += lines
                start = end = block_end
            at = data.find(names, end, stop)
        found.append(Stretch(start, stop, row))
        return [stretch for stretch in found if stretch.stop > stretch.start], again

    def _line_of(self, index: int) -> bytes:
        start = self.text_start
        for _ in range(index):
            start = self.data.index(b"\n", start) + 1
        stop = self.data.find(b"\n", start)
        return self.data[start : stop if stop >= 0 else len(self.data)].rstrip(b"\r")

    def _block_round(self, at: int, least: int, most: int) -> tuple[int, int]:
        """First byte and byte behind the lines round `at` that are no rows of readings."""
        data = self.data
        start = at
        for _ in range(_MOST_ODD_LINES):
            if start <= least:
                break
            above = data.rfind(b"\n", least, start - 1) + 1 or least
            if self.place.is_row_of_readings(self._cells_of(above, start)):
                break
            start = above
        stop = at
        for _ in range(_MOST_ODD_LINES):
            end = data.find(b"\n", stop, most) + 1 or most
            if stop >= most or self.place.is_row_of_readings(self._cells_of(stop, end)):
                break
            stop = end
        return start, stop
