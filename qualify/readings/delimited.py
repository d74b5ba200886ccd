"""Delimited text: comma, semicolon, tab or bar between the cells.

The numbers are parsed by `pandas.read_csv`, piece by piece, from the bytes themselves. That parser pads
short rows in silence, so before each piece is handed to it the cells of every line are counted.
"""

from __future__ import annotations

import io
import re
from collections import deque
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor

import numpy as np
from numpy.typing import NDArray

from qualify.findings import Doubt, RefusalKind
from qualify.inputs import InputFile, view_of
from qualify.readings.cells import CellKind, kind_of
from qualify.readings.delimiters import BLANKS, DELIMITERS, best_table, first_lines
from qualify.readings.extent import find_extent
from qualify.readings.layout import SAMPLE_ROWS, Place, find_table, make_head
from qualify.readings.model import IntArray, ReadOptions
from qualify.readings.numbers import POINT, FoundMarks, find_marks, is_number
from qualify.readings.table import Column, Faults, Head, Piece, text_column
from qualify.readings.text import Text, is_text, read_text

LONG_ROW = RefusalKind(
    "row-too-long",
    what="the row has {cells} cells where the table has {width} columns",
    why="Which reading belongs to which column can't be told (two rows run together, or a stray delimiter).",
    mend="look at the row in a text editor and mend it, or export the file again.",
)
QUOTES = RefusalKind(
    "quotation-marks",
    what="a quotation mark {trouble}",
    why="Where the cell ends can't be told, so readings could move to another column or row.",
    mend="look at the row in a text editor and mend it, or export the file again without quotation marks.",
)
LINE_TOO_LONG = RefusalKind(
    "line-too-long",
    what="a line is longer than {limit} bytes",
    why="No logger writes such a row: the file is damaged or isn't a table.",
    mend="export the file again as .csv or .xlsx.",
)

_PIECE_BYTES = 1 << 22


def sniff(file: InputFile) -> str | None:
    """Tell why the file is no delimited text, or None if it is."""
    if file.content.startswith(b"PK\x03\x04"):
        return "it is a zip archive"
    return is_text(file.content)


def open_source(file: InputFile, options: ReadOptions) -> DelimitedSource:
    """Find encoding, delimiter, marks and header of a delimited text file.

    Raises
    ------
    Refusal
        If any of them can't be told.
    """
    text = read_text(file, options.encoding)
    wanted = SAMPLE_ROWS + max(options.header_row or 0, options.first_row or 0)
    word, text, rows = best_table(text, wanted, options.delimiter)
    tried = (
        "no lines of one width hold a time or number beside another cell, with "
        + (f"{options.delimiter}, as told" if options.delimiter else ", ".join([*DELIMITERS, "blanks"]))
        + " between cells"
    )
    place = find_table(rows, file=file.name, options=options, tried=tried)
    _quotes_above_match(file.name, text, place.first)
    sign = DELIMITERS.get(word, "\t")
    if word in BLANKS:
        rows[place.names] = _with_name_for_time(rows[place.names], place, rows[place.first])
    body = place.beside_key(rows)
    # Between commas a plain point is the decimal mark; only numbers written otherwise tell more.
    body = [cell for cell in body if not is_number(cell, POINT)] if sign == "," else body
    found = find_marks(body, file.name, decimal=options.decimal_mark, thousands=options.thousands_mark)
    if found.marks is None and sign != ",":
        found = _marks_further_down(text, sign, file.name)
    head = make_head(
        rows,
        place,
        file=file.name,
        marks=found.marks or POINT,
        words={"format": "delimited text", "encoding": text.encoding, "delimiter": word},
    )
    told = {**place.told, **head.marks.told, "delimiter": word, "encoding": text.codec}
    doubts = (*place.doubts, *found.doubts(file.name, rows, head.names))
    return DelimitedSource(file.name, text, head, sign, place, told, doubts, options.last_row)


def _quotes_above_match(file: str, text: Text, first: int) -> None:
    """Refuse a header in which a cell in quotation marks runs over the line's end."""
    for index, line in enumerate(first_lines(text, first)):
        if line.count('"') % 2:
            raise QUOTES(file=file, row=index + 1, trouble="opens a cell that isn't closed in its row")


def _with_name_for_time(names: list[str], place: Place, first: list[str]) -> list[str]:
    """Give a date and a time of day, which a blank between them made two columns, a name each."""
    key = place.key
    if len(names) != place.width - 1 or place.key_kind is not CellKind.DATE or key + 1 >= len(first):
        return names
    if kind_of(first[key + 1]) is not CellKind.TIME:
        return names
    return [*names[:key], f"{names[key]} (date)", f"{names[key]} (time)", *names[key + 1 :]]


def _marks_further_down(text: Text, delimiter: str, file: str) -> FoundMarks:
    """Look for a decimal mark in the whole file where the first rows hold whole numbers only."""
    edge = re.escape(delimiter.encode())
    number = rb"[+-]?\d*%b\d+"
    cell = rb"(?:^|" + edge + rb")[ ]*(" + number + rb")[ ]*(?=" + edge + rb"|\r?$)"
    found: list[str] = []
    for sign in (rb",", rb"\."):
        pattern = re.compile(cell % sign, re.MULTILINE)
        found += [match[1].decode() for match in pattern.finditer(view_of(text.data), text.start)]
    return find_marks([*found, "0"], file, decimal=None, thousands=None)


class DelimitedSource:
    """The rows of one delimited text file."""

    def __init__(
        self,
        file: str,
        text: Text,
        head: Head,
        delimiter: str,
        place: Place,
        told: Mapping[str, object],
        doubts: tuple[Doubt, ...],
        last_row: int | None,
    ) -> None:
        self.file = file
        self.head = head
        self.faults = Faults()
        self.told = told
        self.doubts = doubts + text.doubts
        self._data = text.data
        self._delimiter = delimiter
        self._width = len(head.names)
        self._extent = find_extent(file, text, place, delimiter, last_row)
        self.faults.below = list(self._extent.below)
        self.faults.again = list(self._extent.again)
        self.most_rows = self._extent.rows

    def pieces(self, as_text: frozenset[int]) -> Iterator[Piece]:
        """Hand over the rows, some million bytes at a time.

        Raises
        ------
        Refusal
            At a row that is too long, or whose quotation marks don't match.
        """
        waiting: deque[Future[Piece]] = deque()
        # The parser lets other threads run: two pieces are parsed side by side, and handed over in order.
        with ThreadPoolExecutor(2) as pool:
            for rows, cuts, clean in self._cut_up():
                waiting.append(pool.submit(self._parsed, rows, cuts, clean, as_text))
                if len(waiting) == 2:
                    yield waiting.popleft().result()
            while waiting:
                yield waiting.popleft().result()
        self.faults.seen = self._extent.all_rows

    def _cut_up(self) -> Iterator[tuple[IntArray, dict[int, int], memoryview]]:
        """Cut the rows into pieces whose every line has been counted."""
        for stretch in self._extent.stretches:
            yield from self._cut_stretch(stretch.start, stretch.stop, stretch.row)

    def _cut_stretch(
        self, start: int, end: int, row: int
    ) -> Iterator[tuple[IntArray, dict[int, int], memoryview]]:
        while start < end:
            stop = end
            if end - start > _PIECE_BYTES:
                stop = self._data.rfind(b"\n", start, start + _PIECE_BYTES) + 1
                if stop == 0:
                    raise LINE_TOO_LONG(file=self.file, row=row, limit=_PIECE_BYTES)
            rows, cuts, clean = self._checked(start, stop, row)
            row += self._lines
            if len(rows):
                yield rows, cuts, clean
            start = stop

    def _parsed(
        self, rows: IntArray, cuts: dict[int, int], clean: memoryview, as_text: frozenset[int]
    ) -> Piece:
        import pandas as pd

        frame = pd.read_csv(
            io.BytesIO(clean),
            sep=self._delimiter,
            decimal=self.head.marks.decimal,
            header=None,
            names=list(range(self._width)),
            index_col=False,
            dtype=dict.fromkeys(as_text, object),
            engine="c",
            encoding="utf-8",
            na_filter=False,
            skip_blank_lines=False,
            low_memory=False,
            on_bad_lines="error",
        )
        if len(frame) != len(rows):
            raise RuntimeError(f"{self.file}: {len(rows)} lines became {len(frame)} rows")
        return Piece(rows, _columns_of(frame, self._width), cuts)

    def _checked(self, start: int, stop: int, row: int) -> tuple[IntArray, dict[int, int], memoryview]:
        """Count the cells of every line; take out lines without a row and fill up short ones."""
        view = view_of(self._data)[start:stop]
        block = np.frombuffer(view, dtype=np.uint8)
        ends = np.flatnonzero(block == ord("\n"))
        open_end = not len(ends) or ends[-1] != len(block) - 1
        if open_end:
            ends = np.append(ends, len(block))
        self._lines = len(ends)
        starts = np.empty_like(ends)
        starts[0] = 0
        starts[1:] = ends[:-1] + 1
        between = block == ord(self._delimiter)
        if self._data.find(b'"', start, stop) >= 0:
            between &= ~self._quoted(block, starts, row)
        marks = np.diff(np.searchsorted(np.flatnonzero(between), ends), prepend=0)
        lengths = ends - starts
        lengths -= block[np.maximum(ends - 1, 0)] == ord("\r")
        odd = np.flatnonzero((marks != self._width - 1) | (lengths <= marks))
        rows = np.arange(row, row + len(ends), dtype=np.int64)
        if open_end:
            self.faults.open_end = int(rows[-1])
        if not len(odd):
            return rows, {}, view
        keep = np.ones(len(ends), dtype=bool)
        missing: dict[int, int] = {}
        parts: list[bytes | memoryview] = []
        done = 0
        for line in odd.tolist():
            parts.append(view[done : starts[line]])
            done = min(int(ends[line]) + 1, len(block))
            cells = int(marks[line]) + 1
            content = bytes(view[starts[line] : ends[line]]).strip(b"\r")
            if not content.replace(self._delimiter.encode(), b"").strip():
                self.faults.blank.append(int(rows[line]))
                keep[line] = False
            elif cells > self._width:
                raise LONG_ROW(file=self.file, row=int(rows[line]), cells=cells, width=self._width)
            elif cells < self._width and open_end and line == len(ends) - 1:
                self.faults.unread.append(int(rows[line]))
                keep[line] = False
            else:
                missing[line] = cells
                parts.append(content + self._delimiter.encode() * (self._width - cells) + b"\n")
        parts.append(view[done:])
        index = np.cumsum(keep) - 1
        cuts = {int(index[line]): cells for line, cells in missing.items() if cells < self._width}
        return rows[keep], cuts, memoryview(b"".join(parts))

    def _quoted(self, block: NDArray[np.uint8], starts: IntArray, row: int) -> NDArray[np.bool_]:
        """Tell which bytes stand inside quotation marks.

        A mark may open only at a cell's start and close only at its end, as the parser takes them.
        """
        quote = block == ord('"')
        inside = np.logical_xor.accumulate(quote)
        newline = block == ord("\n")
        across = np.flatnonzero(inside & newline)
        if len(across) or inside[-1]:
            at = int(across[0]) if len(across) else len(block) - 1
            raise QUOTES(
                file=self.file,
                row=self._row_of(at, starts, row),
                trouble="opens a cell that isn't closed in its row",
            )
        edge = (block == ord(self._delimiter)) & ~inside | newline | quote
        before = np.concatenate(([True], edge[:-1]))
        after = np.concatenate((edge[1:] | (block[1:] == ord("\r")), [True]))
        stray = np.flatnonzero(quote & np.where(inside, ~before, ~after))
        if len(stray):
            raise QUOTES(
                file=self.file,
                row=self._row_of(int(stray[0]), starts, row),
                trouble="stands inside a cell instead of round it",
            )
        return inside

    @staticmethod
    def _row_of(position: int, starts: IntArray, row: int) -> int:
        return row + int(np.searchsorted(starts, position, side="right")) - 1


def _columns_of(frame: object, width: int) -> Sequence[Column]:
    import pandas as pd

    assert isinstance(frame, pd.DataFrame)
    columns: list[Column] = []
    for index in range(width):
        column = frame[index]
        if column.dtype == bool:
            # A column of nothing but True and False: words, not numbers.
            columns.append(np.where(column.to_numpy(), "True", "False").astype(object))
        elif column.dtype.kind in "iuf":
            columns.append(column.to_numpy())
        else:
            cells = column.to_numpy(dtype=object)
            # Whole numbers beyond 64 bits come as Python's own; as text they keep every digit.
            columns.append(cells if isinstance(cells[0], str) else text_column([str(cell) for cell in cells]))
    return columns
