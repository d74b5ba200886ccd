"""What a sheet of an .xls workbook keeps beside its values: read from its records.

The container is a compound file ([MS-CFB]), the stream in it a row of records ([MS-XLS]): a type and a
length of two bytes each, then the content. Only the records named below are looked at.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator

from qualify.readings.sheets import Beside


class RecordsDamagedError(Exception):
    """The container or its records don't fit together."""


_END = 0xFFFFFFFA
_BOUNDSHEET, _FORMULA, _BOOLERR, _ROW, _COLINFO = 0x85, 0x06, 0x205, 0x208, 0x7D
_DIMENSIONS, _STRINGS, _MULTIPLE = 0x200, 0xFC, (0xBD, 0xBE)
_CELLS = (0x06, 0x201, 0x203, 0x204, 0x205, 0x27E, 0xBD, 0xBE, 0xFD, 0xD6)
_MOST_ROWS, _MOST_COLUMNS = 65536, 256
_MERGED, _FILTERMODE, _EOF, _BOF = 0xE5, 0x9B, 0x0A, 0x809
_ERRORS = {0x00: "#NULL!", 0x07: "#DIV/0!", 0x0F: "#VALUE!", 0x17: "#REF!", 0x1D: "#NAME?", 0x24: "#NUM!"}
_ERRORS |= {0x2A: "#N/A"}


def workbook_stream(data: bytes) -> bytes | None:
    """Take the workbook's records out of the container; None if it holds none.

    Raises
    ------
    RecordsDamagedError
        If the container's tables don't fit together.
    """
    streams = _Container(data)
    for name in ("Workbook", "Book"):
        if name in streams.entries:
            return streams.read(name)
    return None


def stream_names(data: bytes) -> set[str]:
    """Names of all that the container holds; empty where it is damaged."""
    try:
        return set(_Container(data).entries)
    except (RecordsDamagedError, struct.error):
        return set()


class _Container:
    """A compound file: sectors, chained by a table, and a directory of streams."""

    def __init__(self, data: bytes) -> None:
        self.data = data
        if len(data) < 512:
            raise RecordsDamagedError("too short")
        shift, mini_shift = struct.unpack_from("<HH", data, 30)
        if shift not in (9, 12) or mini_shift != 6:
            raise RecordsDamagedError("sector size")
        self.size, self.mini_size = 1 << shift, 1 << mini_shift
        directory, _, self.cutoff = struct.unpack_from("<III", data, 48)
        mini_start, mini_count, next_difat, difat_count = struct.unpack_from("<IIII", data, 60)
        sectors = list(struct.unpack_from("<109I", data, 76))
        for _ in range(min(difat_count, 1 << 16)):
            if next_difat >= _END:
                break
            block = struct.unpack(f"<{self.size // 4}I", self._sector(next_difat))
            sectors += block[:-1]
            next_difat = block[-1]
        table = b"".join(self._sector(sector) for sector in sectors if sector < _END)
        self.table = struct.unpack(f"<{len(table) // 4}I", table)
        mini = self._chain(mini_start) if mini_count else b""
        self.mini_table = struct.unpack(f"<{len(mini) // 4}I", mini)
        self.entries: dict[str, tuple[int, int]] = {}
        self.root = (0, 0)
        listed = self._chain(directory)
        for at in range(0, len(listed) - 127, 128):
            length, kind = struct.unpack_from("<HB", listed, at + 64)
            start, size = struct.unpack_from("<II", listed, at + 116)
            name = _name(listed[at : at + max(min(length, 64) - 2, 0)])
            if kind == 5:
                self.root = (start, size)
            elif kind == 2 and name:
                self.entries[name] = (start, size)

    def _sector(self, number: int) -> bytes:
        start = (number + 1) * self.size
        block = self.data[start : start + self.size]
        if not block:
            raise RecordsDamagedError("a sector lies behind the end of the file")
        return block.ljust(self.size, b"\0")

    def _chain(self, start: int) -> bytes:
        found: list[bytes] = []
        sector = start
        while sector < _END:
            if sector >= len(self.table) or len(found) > len(self.table):
                raise RecordsDamagedError("a chain of sectors has no end")
            found.append(self._sector(sector))
            sector = self.table[sector]
        return b"".join(found)

    def read(self, name: str) -> bytes:
        start, size = self.entries[name]
        if size >= self.cutoff:
            whole = self._chain(start)
        else:
            store = self._chain(self.root[0])
            parts: list[bytes] = []
            sector = start
            while sector < _END:
                if sector >= len(self.mini_table) or len(parts) > len(self.mini_table):
                    raise RecordsDamagedError("a chain of small sectors has no end")
                parts.append(store[sector * self.mini_size : (sector + 1) * self.mini_size])
                sector = self.mini_table[sector]
            whole = b"".join(parts)
        if len(whole) < size:
            raise RecordsDamagedError("a stream is shorter than it says")
        return whole[:size]


def _name(content: bytes) -> str:
    try:
        return content.decode("utf-16-le")
    except UnicodeDecodeError:
        raise RecordsDamagedError("a name isn't text") from None


def _records(stream: bytes, at: int) -> Iterator[tuple[int, bytes]]:
    while at + 4 <= len(stream):
        kind, length = struct.unpack_from("<HH", stream, at)
        end = at + 4 + length
        if end > len(stream):
            raise RecordsDamagedError("a record is longer than the rest of the file")
        yield kind, stream[at + 4 : end]
        at = end


def must_hold_together(data: bytes) -> None:
    """Check the counts by which a reader sets memory aside, so that damage can't ask for all there is.

    Raises
    ------
    RecordsDamagedError
        If a count is beyond what the format, or the file's own length, allows.
    """
    stream = workbook_stream(data)
    if stream is None:
        raise RecordsDamagedError("no workbook")
    for kind, content in _records(stream, 0):
        if kind in _CELLS:
            _, column = struct.unpack_from("<HH", content)
            last = struct.unpack("<H", content[-2:])[0] if kind in _MULTIPLE else column
            if max(column, last) >= _MOST_COLUMNS:
                raise RecordsDamagedError("a cell lies outside every sheet")
        elif kind == _DIMENSIONS and len(content) >= 10:
            wide = len(content) >= 14
            _, rows, _, columns = struct.unpack_from("<IIHH" if wide else "<HHHH", content)
            if rows > _MOST_ROWS or columns > _MOST_COLUMNS:
                raise RecordsDamagedError("a sheet is larger than any can be")
        elif kind == _STRINGS and struct.unpack_from("<I", content, 4)[0] * 3 > len(stream):
            raise RecordsDamagedError("more texts are counted than there is room for")


def _sheet_start(stream: bytes, sheet: str) -> int:
    """Position of a sheet's records."""
    version = 0
    for kind, content in _records(stream, 0):
        if kind == _BOF and not version:
            version = struct.unpack_from("<H", content)[0]
        elif kind == _BOUNDSHEET:
            position, _, _, length = struct.unpack_from("<IBBB", content)
            if version == 0x0600:
                wide = content[7] & 1
                letters = content[8 : 8 + length * (1 + wide)]
                name = _name(letters) if wide else letters.decode("latin-1")
            else:
                name = content[7 : 7 + length].decode("cp1252")
            if name == sheet:
                return int(position)
        elif kind == _EOF:
            break
    raise RecordsDamagedError("the sheet isn't listed")


def read_beside_xls(data: bytes, sheet: str) -> tuple[Beside, dict[tuple[int, int], str]]:
    """Read formulas, merged and hidden cells of a sheet, and its words for errors.

    Parameters
    ----------
    data
        The workbook's bytes.
    sheet
        The sheet's name.

    Returns
    -------
    tuple
        What stands beside the values, and the words by row and column (from 0).

    Raises
    ------
    RecordsDamagedError
        If the records don't fit together.
    """
    stream = workbook_stream(data)
    if stream is None:
        raise RecordsDamagedError("no workbook")
    beside = Beside()
    words: dict[tuple[int, int], str] = {}
    depth = 0
    for kind, content in _records(stream, _sheet_start(stream, sheet)):
        if kind == _BOF:
            depth += 1
        elif kind == _EOF:
            depth -= 1
            if depth <= 0:
                break
        elif depth != 1:
            continue
        elif kind == _FORMULA:
            row, column, _, result = struct.unpack_from("<HHH8s", content)
            beside.formulas.add((row, column))
            if result[6:] == b"\xff\xff" and result[0] == 2:
                words[row, column] = _ERRORS.get(result[2], "#error")
            # Writers that don't calculate store empty text; a formula that yields it looks the same.
            if result[6:] == b"\xff\xff" and result[0] == 3:
                beside.uncalculated.add((row, column))
        elif kind == _BOOLERR:
            row, column, _, value, is_error = struct.unpack_from("<HHHBB", content)
            if is_error:
                words[row, column] = _ERRORS.get(value, "#error")
        elif kind == _ROW:
            row, flags = struct.unpack_from("<H", content)[0], struct.unpack_from("<H", content, 12)[0]
            if flags & 0x20:
                beside.hidden_rows.add(row)
        elif kind == _COLINFO:
            first, last, _, _, flags = struct.unpack_from("<HHHHH", content)
            if flags & 1:
                beside.hidden_columns.update(range(first, last + 1))
        elif kind == _MERGED:
            count = struct.unpack_from("<H", content)[0]
            for index in range(count):
                top, bottom, left, right = struct.unpack_from("<HHHH", content, 2 + 8 * index)
                beside.merged.append((top, left, bottom, right))
        elif kind == _FILTERMODE:
            beside.filtered = True
    return beside, words
