"""Delimited text: comma, semicolon, tab or bar between the cells.

The numbers are parsed by `pandas.read_csv`, piece by piece, from the bytes themselves. That parser pads
short rows in silence, so before each piece is handed to it the cells of every line are counted.
"""

from __future__ import annotations

import csv
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
from qualify.readings.layout import SAMPLE_ROWS, Place, body_score, find_table, has_readings, make_head
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

LAST_ROW_OUTSIDE = RefusalKind(
    "told-last-row-outside",
    what="--last-row {told} lies outside the rows of the file",
    why="The readings can't end where there is nothing.",
    mend="count the rows from 1, as a text editor shows them.",
)

DELIMITERS = {"comma": ",", "semicolon": ";", "tab": "\t", "bar": "|"}
BLANKS = {"spaces": rb"[ \t]{2,}|\t", "space": rb"[ \t]+"}
"""Runs of blanks as delimiters: two or more (or a tab), and one or more."""
_HEAD_BYTES = 1 << 18
_PIECE_BYTES = 1 << 22
_ENOUGH = 0.5
_CLEARLY = 0.9
_BETTER_BY = 0.1
_MOST_ODD_LINES = 60
"""So many lines of a repeated header, or of a summary below the readings, are looked at."""


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
    word, text, rows = _table(text, wanted, options.delimiter)
    tried = (
        "no lines of one width hold a time or number beside another cell, with "
        + (f"{options.delimiter}, as told" if options.delimiter else ", ".join([*DELIMITERS, "blanks"]))
        + " between cells"
    )
    place = find_table(rows, file=file.name, options=options, tried=tried)
    _quotes_above_match(file.name, text, place.first)
    sign = DELIMITERS.get(word, "\t")
    if word in BLANKS:
        rows = [_with_name_for_time(row, place, index) for index, row in enumerate(rows)]
    body = [cell for row in rows[place.first :] for cell in row]
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
    doubts = (*place.doubts, *found.doubts(file.name))
    return DelimitedSource(file.name, text, head, sign, place, told, doubts, options.last_row)


def _table(text: Text, wanted: int, told: str | None) -> tuple[str, Text, list[list[str]]]:
    """Choose the delimiter under which the first lines read best as a table.

    Blanks are tried only where no other sign gives a table, since they stand in names and stamps too. A
    text delimited by blanks comes back with a tab in place of each run.
    """
    scores: dict[str, float] = {}
    tables: dict[str, list[list[str]]] = {}
    texts: dict[str, Text] = {}

    def attempt(word: str) -> None:
        texts[word] = text if word in DELIMITERS else _tabbed(text, BLANKS[word])
        sign = DELIMITERS.get(word, "\t")
        rows = [split(line, sign) for line in _first_lines(texts[word], wanted)]
        if told is not None or has_readings(rows):
            tables[word], scores[word] = rows, body_score(rows)

    for word in DELIMITERS if told is None else (told,):
        attempt(word)
    signs = max(scores.values(), default=0.0)
    if told is None and signs < _CLEARLY:
        for word in BLANKS:
            attempt(word)
            if scores.get(word, 0.0) >= max(_ENOUGH, signs + _BETTER_BY):
                break
            scores.pop(word, None)
    best = max(scores, key=lambda word: scores[word], default=None)
    if best is None or (scores[best] < _ENOUGH and told is None):
        # Say what is wrong by the rules of the likeliest delimiter; most often there is only a header.
        if best is None or best in BLANKS:
            best = next((word for word in DELIMITERS if word in scores), "comma")
            if best not in tables:
                attempt(best)
                tables.setdefault(best, [[line] for line in _first_lines(text, wanted)])
        if scores.get(best, 0.0) < 0.2:
            tables[best] = [[""] for _ in tables[best]]
    return best, texts.get(best, text), tables[best]


def _tabbed(text: Text, blanks: bytes) -> Text:
    """The text with one tab for each run of blanks outside quotation marks, and none at a line's ends."""
    pattern = re.compile(rb'"[^"\n]*"|^[ \t]+|[ \t]+(?=\r?$)|' + blanks, re.MULTILINE)

    def replace(match: re.Match[bytes]) -> bytes:
        found = match[0]
        if found.startswith(b'"'):
            return found
        at_edge = match.start() == 0 or match.string[match.start() - 1 : match.start()] == b"\n"
        behind = match.string[match.end() : match.end() + 1]
        return b"" if at_edge or behind in (b"", b"\n", b"\r") else b"\t"

    return Text(pattern.sub(replace, text.data[text.start :]), 0, text.encoding, text.codec, text.doubts)


def _quotes_above_match(file: str, text: Text, first: int) -> None:
    """Refuse a header in which a cell in quotation marks runs over the line's end."""
    for index, line in enumerate(_first_lines(text, first)):
        if line.count('"') % 2:
            raise QUOTES(file=file, row=index + 1, trouble="opens a cell that isn't closed in its row")


def _with_name_for_time(row: list[str], place: Place, index: int) -> list[str]:
    """Give a date and a time, which a blank between them made two columns, a name each."""
    if index != place.names or len(row) != place.width - 1:
        return row
    return [*row[: place.key], f"{row[place.key]} (date)", f"{row[place.key]} (time)", *row[place.key + 1 :]]


def _is_label(cell: str) -> bool:
    """Whether a cell is a word without a digit, as "Average:" is; words for "no reading" are none."""
    return kind_of(cell) is CellKind.WORD and not any(character.isdigit() for character in cell)


def split(line: str, delimiter: str) -> list[str]:
    """Split one line into its cells, quotation marks taken off."""
    if '"' in line:
        return next(csv.reader([line], delimiter=delimiter), [""])
    return line.split(delimiter)


def _first_lines(text: Text, wanted: int) -> list[str]:
    """The first lines as text, whole ones only unless the file ends there."""
    size = max(_HEAD_BYTES, wanted * 1024)
    stop = len(text.data)
    if stop - text.start > size:
        stop = text.data.rfind(b"\n", text.start, text.start + size) + 1
    head = text.data[text.start : stop].decode("utf-8")
    lines = [line.removesuffix("\r") for line in head.split("\n")]
    if lines and not lines[-1]:
        lines.pop()
    return lines[:wanted]


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
        self._place = place
        self._start = self._text_start = text.start
        for _ in range(place.first):
            self._start = self._data.index(b"\n", self._start) + 1
        self._stop, rows_below = self._end(last_row)
        rows = self._lines_between(self._start, self._stop)
        last = place.first + rows
        self.faults.below = list(range(last + 1, last + 1 + rows_below))
        self._stretches = self._without_repeated_headers()
        self.most_rows = sum(self._lines_between(start, stop) for start, stop, _ in self._stretches)
        self._rows_in_file = rows + rows_below

    def _lines_between(self, start: int, stop: int) -> int:
        open_end = stop == len(self._data) and stop > start and self._data[stop - 1 : stop] != b"\n"
        return self._data.count(b"\n", start, stop) + open_end

    def _cells_of(self, start: int, stop: int) -> list[str]:
        line = self._data[start:stop].decode("utf-8").rstrip("\r\n")
        return split(line, self._delimiter) if line.count('"') % 2 == 0 else [line]

    def _end(self, last_row: int | None) -> tuple[int, int]:
        """Byte behind the last row of readings, and the number of filled rows below it.

        A summary is told by a word in the time's place, or in another cell where that is blank: "Min",
        "Average:". A cell with a digit in it may be a damaged time and is never taken for one.
        """
        data, size = self._data, len(self._data)
        if last_row is not None:
            stop = self._start
            for _ in range(last_row - self._place.first):
                if stop >= size:
                    raise LAST_ROW_OUTSIDE(file=self.file, told=last_row)
                stop = data.find(b"\n", stop) + 1 or size
            return stop, self._lines_between(stop, size)
        stop, below = size, 0
        end, lines, filled = size, 0, False
        while end > self._start and lines < _MOST_ODD_LINES:
            start = data.rfind(b"\n", self._start, end - 1) + 1 or self._start
            cells = self._cells_of(start, end)
            if self._place.is_row_of_readings(cells):
                break
            key = cells[self._place.key].strip() if len(cells) > self._place.key else ""
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

    def _without_repeated_headers(self) -> list[tuple[int, int, int]]:
        """Stretches of rows of readings: first byte, byte behind, number of the first row.

        A recorder that was restarted writes its header again. A line equal to that of the names, with
        all lines beside it that are no rows of readings, is left out and listed.
        """
        data = self._data
        names = self._line_of(self._place.names)
        stretches: list[tuple[int, int, int]] = []
        start, row = self._start, self._place.first + 1
        at = data.find(names, start, self._stop) if names.strip() else -1
        while at >= 0:
            before = data[at - 1 : at] == b"\n" or at == self._start
            end = at + len(names)
            whole = before and data[end : end + 1] in (b"\n", b"\r", b"")
            if whole:
                block_start, block_end = self._block_round(at, start)
                stretches.append((start, block_start, row))
                row += self._lines_between(start, block_start)
                lines = self._lines_between(block_start, block_end)
                self.faults.again.append((row, row + lines - 1))
                row += lines
                start = end = block_end
            at = data.find(names, end, self._stop)
        stretches.append((start, self._stop, row))
        return [stretch for stretch in stretches if stretch[1] > stretch[0]]

    def _line_of(self, index: int) -> bytes:
        start = self._text_start
        for _ in range(index):
            start = self._data.index(b"\n", start) + 1
        stop = self._data.find(b"\n", start)
        return self._data[start : stop if stop >= 0 else len(self._data)].rstrip(b"\r")

    def _block_round(self, at: int, least: int) -> tuple[int, int]:
        """First byte and byte behind the lines round `at` that are no rows of readings."""
        data = self._data
        start = at
        for _ in range(_MOST_ODD_LINES):
            if start <= least:
                break
            above = data.rfind(b"\n", least, start - 1) + 1 or least
            if self._place.is_row_of_readings(self._cells_of(above, start)):
                break
            start = above
        stop = at
        for _ in range(_MOST_ODD_LINES):
            end = data.find(b"\n", stop, self._stop) + 1 or self._stop
            if stop >= self._stop or self._place.is_row_of_readings(self._cells_of(stop, end)):
                break
            stop = end
        return start, stop

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
        self.faults.seen = self._rows_in_file

    def _cut_up(self) -> Iterator[tuple[IntArray, dict[int, int], memoryview]]:
        """Cut the rows into pieces whose every line has been counted."""
        for start, end, row in self._stretches:
            yield from self._cut_stretch(start, end, row)

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
