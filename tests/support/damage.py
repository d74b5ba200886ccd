"""Damage done to good files, and the judge of what became of their readings.

A damaged file must be refused, or every reading that differs from the undamaged one must stand in a doubt at
its row. Not every damage can be seen, though: see `honest_cells`.
"""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from qualify.findings import Doubt, Refusal
from qualify.inputs import InputFile
from qualify.readings import ReadOptions, Recording, read_recording
from tests.support.corpus import CASES, load, logger_file, told
from tests.support.layouts import SIGNS, Chooser, random_layout

KINDS = (
    "cut", "duplicate a line", "duplicate a block", "swap lines", "swap cells", "change a mark",
    "insert a mark",
    "insert bytes", "delete a byte", "flip a bit", "insert a quotation mark", "remove a line end",
    "insert a line end", "change a delimiter", "double a delimiter",
)  # fmt: skip
# Codecs by what the layout's word for the encoding holds.
CODECS = {"16-le": "utf-16-le", "utf-16": "utf-16", "1252": "cp1252", "jis": "shift_jis", "932": "shift_jis"}
# Doubts that speak of the whole row, whichever column they name.
OF_THE_ROW = {"row-short", "last-row-cut", "row-blank", "rows-below"}


@dataclass(frozen=True, kw_only=True)
class Base:
    """A good text file and what is read from it."""

    name: str
    data: bytes
    codec: str
    told: ReadOptions
    recording: Recording
    delimiter: str
    mark: str
    """The decimal mark, or both where no number of the file has one, since then either is the file's own."""
    thousands: str
    first_row: int
    long: bool


@dataclass(frozen=True, kw_only=True)
class Damaged:
    """A good file, the damage, and the damaged bytes."""

    base: Base
    kind: str
    data: bytes


TEXT_CASES = [
    case
    for case in CASES
    if "file" in case
    and "refusal" not in case
    and "refused" not in case
    and case["file"].endswith((".csv", ".txt", ".tsv"))
    and case["file"] != "sheet-called-csv.csv"
]


def _marks(text: str, word: str) -> str:
    mark = "." if word == "point" else ","
    return mark if re.search(rf"\d[{mark}]\d", text) else ".,"


def _base(file: InputFile, options: ReadOptions) -> Base | None:
    try:
        recording = read_recording([file], options)
    except Refusal:
        return None
    words = recording.layouts[file.name]
    encoding = words["encoding"].lower()
    codec = next((codec for sign, codec in CODECS.items() if sign in encoding), "utf-8-sig")
    thousands = {"point": ".", "comma": ",", "space": " \u00a0\u202f", "apostrophe": "'’"}
    return Base(
        name=file.name,
        data=file.data,
        codec=codec,
        told=options,
        recording=recording,
        delimiter="  " if words["delimiter"] == "spaces" else SIGNS[words["delimiter"]],
        mark=_marks(file.data.decode(codec), words["decimal mark"]),
        thousands=thousands.get(words.get("thousands mark", "none").split(",")[0], ""),
        first_row=int(words["first row of readings"]),
        long=recording.pins[file.name].table == "long",
    )


@lru_cache(maxsize=512)
def corpus_base(index: int) -> Base | None:
    case = TEXT_CASES[index]
    return _base(load(case["file"]), told(case))


def random_base(choose: Chooser) -> Base | None:
    if choose.one_of([True, True, False]):
        return corpus_base(choose.whole(0, len(TEXT_CASES) - 1))
    written = random_layout(choose, "text")
    return _base(written.file, written.told)


def random_damage(choose: Chooser) -> Damaged | None:
    """Take a good file and damage it; None where the file itself isn't read (other tests tell that)."""
    base = random_base(choose)
    if base is None:
        return None
    kind = choose.one_of(KINDS)
    data = _damaged(choose, base, kind)
    return Damaged(base=base, kind=kind, data=data)


def _damaged(choose: Chooser, base: Base, kind: str) -> bytes:
    data = base.data
    if kind == "cut":
        return data[: choose.whole(1, len(data) - 1)]
    if kind == "insert bytes":
        at = choose.whole(0, len(data))
        added = bytes(
            choose.one_of([0, 9, 32, 34, 44, 46, 45, 59, 65, 122, 176, 255, 13, 10])
            for _ in range(choose.whole(1, 4))
        )
        return data[:at] + added + data[at:]
    if kind == "delete a byte":
        at = choose.whole(0, len(data) - 1)
        return data[:at] + data[at + 1 :]
    if kind == "flip a bit":
        at = choose.whole(0, len(data) - 1)
        changed = data[at] ^ (1 << choose.whole(0, 7))
        return data[:at] + bytes([changed]) + data[at + 1 :]
    text = data.decode(base.codec)
    end = "\r\n" if "\r\n" in text else "\n" if "\n" in text else "\r"
    rows = text.split(end)
    tail = rows.pop() if not rows[-1] else None
    # Most damage goes to the readings, some to what stands above them.
    low = 0 if choose.whole(0, 4) == 0 else min(base.first_row - 1, len(rows) - 1)
    at = choose.whole(low, len(rows) - 1)
    other = choose.whole(low, len(rows) - 1)
    row = rows[at]
    if kind == "duplicate a line":
        rows.insert(other, row)
    elif kind == "duplicate a block":
        first, last = sorted((at, other))
        rows[last:last] = rows[first : last + 1]
    elif kind == "swap lines":
        rows[at], rows[other] = rows[other], rows[at]
    elif kind == "swap cells":
        cells = row.split(base.delimiter)
        one, two = choose.whole(0, len(cells) - 1), choose.whole(0, len(cells) - 1)
        cells[one], cells[two] = cells[two], cells[one]
        rows[at] = base.delimiter.join(cells)
    elif kind == "change a mark":
        rows[at] = _at_one_of(
            choose, row, ".,:-/", lambda old: choose.one_of([sign for sign in ".,:;-/ " if sign != old])
        )
    elif kind == "insert a mark":
        place = choose.whole(0, len(row))
        rows[at] = row[:place] + choose.one_of([".", ",", " ", "'", "-", ":", "\u00a0"]) + row[place:]
    elif kind == "insert a quotation mark":
        place = choose.whole(0, len(row))
        rows[at] = row[:place] + '"' + row[place:]
    elif kind == "remove a line end":
        if at + 1 < len(rows):
            rows[at : at + 2] = [row + rows[at + 1]]
        else:
            tail = None
    elif kind == "insert a line end":
        place = choose.whole(0, len(row))
        rows[at : at + 1] = [row[:place], row[place:]]
    elif kind == "change a delimiter":
        rows[at] = _at_one_of(
            choose,
            row,
            base.delimiter,
            lambda old: choose.one_of([sign for sign in ",;\t|. " if sign != old]),
        )
    else:
        assert kind == "double a delimiter"
        rows[at] = _at_one_of(choose, row, base.delimiter, lambda old: old + old)
    text = end.join(rows) + (end if tail is not None else "")
    return text.encode(base.codec, errors="backslashreplace")


def _at_one_of(choose: Chooser, row: str, signs: str, change: Any) -> str:
    places = [place for place, character in enumerate(row) if character in signs]
    if not places:
        return row
    at = choose.one_of(places)
    return row[:at] + change(row[at]) + row[at + 1 :]


# --- the judge ---------------------------------------------------------------------------------------


def lines_of(data: bytes, codec: str) -> list[str]:
    text = data.decode(codec, errors="replace")
    return re.split(r"\r\n|\n|\r", text)


def cells_of(line: str, delimiter: str) -> list[str] | None:
    """The cells of a line; None where its quotation marks leave them open."""
    if delimiter == " ":
        return line.split()
    if delimiter == "  ":
        return re.split(r"[ \t]{2,}|\t", line.strip())
    if '"' not in line:
        return line.split(delimiter)
    try:
        return next(csv.reader([line], delimiter=delimiter, strict=True), [""])
    except csv.Error:
        return None


def is_honest_number(cell: str, base: Base) -> bool:
    """Whether the cell is a number in the file's own notation, so that nobody can see that it was another."""
    digits = r"\d+"
    if base.thousands:
        digits = rf"(?:\d+|\d{{1,3}}(?:[{re.escape(base.thousands)}]\d{{3}})+)"
    number = rf"\s*[+-]?(?:{digits}(?:[{base.mark}]\d*)?|[{base.mark}]\d+)(?:[eE][+-]?\d+)?\s*"
    return re.fullmatch(number, cell, re.ASCII) is not None


def _skeleton(cell: str) -> str:
    return re.sub(r"\d+", "0", cell.strip())


def honest_cells(base: Base, old: str, new: str) -> set[int] | None:
    """Columns of a line that the damage changed without leaving a trace; None where the line itself shows it.

    A line shows the damage if it has another number of cells, or a changed cell that was a number or time is
    neither a number in the file's notation, nor a time of the same form.
    """
    before, after = cells_of(old, base.delimiter), cells_of(new, base.delimiter)
    if before is None or after is None or len(before) != len(after):
        return None
    traceless = set()
    for column, (was, now) in enumerate(zip(before, after, strict=True)):
        if was == now:
            continue
        if (is_honest_number(now, base) and not re.search(r"\d[:/]\d|\d-\d", was)) or _skeleton(
            was
        ) == _skeleton(now):
            traceless.add(column)
    return traceless


def _at(recording: Recording) -> dict[int, int]:
    """Index of each instant, by its microseconds on the logger's clock (or since the start)."""
    from datetime import datetime

    origin = (
        0
        if recording.start is None
        else round((recording.start - datetime(1970, 1, 1)).total_seconds() * 1e6)
    )
    return {origin + round(float(second) * 1e6): index for index, second in enumerate(recording.seconds)}


def _columns(recording: Recording) -> dict[str, np.ndarray]:
    """Readings by header, or by name where the column has no header."""
    found = {
        channel.header.strip() or channel.name: recording.raw_c[:, k]
        for k, channel in enumerate(recording.channels)
    }
    others = {
        channel.header.strip() or channel.name: recording.other_values[:, k]
        for k, channel in enumerate(recording.others)
    }
    return found | others


def _rows_of_long(base: Base, lines: list[str]) -> dict[tuple[int, str], int]:
    """Of a long table: the row of each channel's reading, by the row in which its instant stands first."""
    words = base.recording.layouts[base.name]
    times = [
        column
        for column, header in enumerate(_headers_of_file(base))
        if header.strip() and f"'{header.strip()}'" in words["time columns"]
    ]
    names = {channel.header for channel in (*base.recording.channels, *base.recording.others)}
    first: dict[tuple[str, ...], int] = {}
    found = {}
    for row in range(base.first_row, len(lines) + 1):
        cells = cells_of(lines[row - 1], base.delimiter) or []
        if len(cells) > max(times):
            key = tuple(cells[column].strip() for column in times)
            name = next((cell.strip() for cell in cells if cell.strip() in names), None)
            if name is not None:
                found[first.setdefault(key, row), name] = row
    return found


def _speaks_of(doubt: Doubt, low: int, high: int, header: str, *, long: bool) -> bool:
    """Whether a doubt stands at one of the rows from `low` to `high`, at the column or the row as a whole."""
    if doubt.kind == "one-number-with-a-mark":
        # It names the cell by what stands in it.
        return True
    if doubt.row is None or doubt.kind == "channel-row-missing":
        return (doubt.column or "").strip() == header
    numbers = [int(number) for number in re.findall(r"(?:rows?|between|and|to) (\d+)", doubt.text)]
    last = max([doubt.row, *numbers])
    if doubt.row > high or last < low:
        return False
    return long or (doubt.column or header).strip() == header or doubt.kind in OF_THE_ROW or not doubt.column


def check_damaged(damaged: Damaged | None) -> str:
    """Read the damaged file and hold it against the undamaged; anything but a refusal or a doubt fails.

    Returns what came of it, to be counted: "refused", "unchanged", "doubted", "traceless" (a changed cell
    that is honest in itself) or "not read" (the base).
    """
    if damaged is None:
        return "not read"
    base = damaged.base
    try:
        after = read_recording([logger_file(damaged.data, base.name)], base.told)
    except Refusal as refusal:
        assert refusal.where.startswith(base.name), str(refusal)
        return "refused"
    before = base.recording
    old, new = lines_of(base.data, base.codec), lines_of(damaged.data, base.codec)
    prefix = 0
    while prefix < min(len(old), len(new)) and old[prefix] == new[prefix]:
        prefix += 1
    suffix = 0
    while suffix < min(len(old), len(new)) - prefix and old[-1 - suffix] == new[-1 - suffix]:
        suffix += 1
    low, high, old_high = prefix + 1, max(len(new) - suffix, prefix + 1), max(len(old) - suffix, prefix + 1)
    last = len(new) - (not new[-1].strip())
    was_cut = damaged.kind == "cut"
    row_of = _rows_of_long(base, old) if base.long else {}
    traceless_rows: set[int] = set()
    traceless_cells: dict[int, set[int]] = {}
    if len(old) == len(new):
        for row in range(low, old_high + 1):
            if row > len(old):
                continue
            changed = honest_cells(base, old[row - 1], new[row - 1])
            if changed is None:
                continue
            traceless_cells[row] = changed
            if changed and base.told.millivolts is not None:
                # The junction's temperature goes into every reading of its row.
                traceless_rows.add(row)
            before_cells = cells_of(old[row - 1], base.delimiter) or []
            if base.long or any(
                re.search(r"\d[:/]\d|\d-\d", before_cells[column]) or column == _time_column(base)
                for column in changed
            ):
                traceless_rows.add(row)
    new_doubts = [doubt for doubt in after.doubts if doubt not in before.doubts]
    in_header = low < base.first_row
    columns_before, columns_after = _columns(before), _columns(after)
    at_before, at_after = _at(before), _at(after)
    rows_before, rows_after = before.rows[base.name], after.rows[base.name]
    order = {header.strip(): k for k, header in enumerate(_headers_of_file(base))}
    states = {channel.header.strip() for channel in before.others if not channel.unit}
    outcome = "unchanged"
    if in_header and damaged.kind == "swap cells":
        # Two names changed places: nobody can see that.
        return "header unchanged"
    if in_header:
        return _check_header(base, before, after, new_doubts, new[low - 1 : high])
    if before.start is None and int(rows_before[0]) in traceless_rows:
        # Elapsed time counts from the first reading, whose time was changed to another honest one.
        return "traceless"
    for header, values in columns_before.items():
        if header in states and not base.long:
            # Words such as open and shut come as codes; a letter changed in one makes another word of it.
            continue
        for instant, index in at_before.items():
            row = int(rows_before[index])
            row = row_of.get((row, header), row)
            if was_cut and row > last:
                continue
            place = at_after.get(instant)
            found = columns_after[header][place] if place is not None and header in columns_after else np.nan
            if found == values[index] or (np.isnan(found) and np.isnan(values[index]) and place is not None):
                continue
            if row in traceless_rows or order.get(header, -1) in traceless_cells.get(row, ()):
                outcome = "traceless" if outcome == "unchanged" else outcome
                continue
            first, last = (low, high) if low <= row <= old_high else (row, row)
            if row > old_high:
                first = last = row + len(new) - len(old)
            assert any(_speaks_of(doubt, first, last, header, long=base.long) for doubt in after.doubts), (
                f"{base.name}, {damaged.kind}: row {row}, '{header}' was {values[index]}, now {found}, and "
                f"no doubt names it; line {new[first - 1]!r}"
            )
            outcome = "doubted"
    for instant, index in at_after.items():
        row = int(rows_after[index])
        if instant in at_before or row in traceless_rows:
            continue
        assert any(_speaks_of(doubt, row, row, "", long=True) for doubt in after.doubts), (
            f"{base.name}, {damaged.kind}: row {row} is new, and no doubt names it; line {new[row - 1]!r}"
        )
        outcome = "doubted"
    return outcome


def _headers_of_file(base: Base) -> list[str]:
    words = base.recording.layouts[base.name]
    row = int(words["header row"])
    return cells_of(lines_of(base.data, base.codec)[row - 1], base.delimiter) or []


def _time_column(base: Base) -> int:
    words = base.recording.layouts[base.name]["time columns"]
    for column, header in enumerate(_headers_of_file(base)):
        if header.strip() and f"'{header.strip()}'" in words:
            return column
    return 0


def _check_header(
    base: Base, before: Recording, after: Recording, new_doubts: list[Doubt], changed: list[str]
) -> str:
    """Damage above the readings: no reading of a column that kept its header may change, none may be lost.

    A letter changed in a name or a remark can't be seen; nor can one that makes another honest unit of a
    unit.
    """
    where = f"{base.name}, above the readings: {changed!r}"
    columns_before, columns_after = _columns(before), _columns(after)
    lost = len(before.rows[base.name]) - len(after.rows[base.name])
    assert lost <= 0 or new_doubts, f"{where}: {lost} rows lost"
    assert len(columns_after) >= len(columns_before) or new_doubts, f"{where}: a column was lost"
    same_length = len(before.seconds) == len(after.seconds)
    if same_length:
        for header, values in columns_before.items():
            if header in columns_after and not np.array_equal(values, columns_after[header], equal_nan=True):
                units = [
                    {
                        channel.header.strip() or channel.name: channel.unit
                        for channel in (*each.channels, *each.others)
                    }[header]
                    for each in (before, after)
                ]
                assert new_doubts or units[0] != units[1], f"{where}: '{header}' changed"
        if not np.allclose(before.seconds, after.seconds, rtol=0, atol=1e-6):
            assert new_doubts or any(
                word in line.casefold() for line in changed for word in ("time", "elapsed", "t (", "t [")
            ), f"{where}: times changed"
    else:
        assert new_doubts, f"{where}: rows changed"
    return "header doubted" if new_doubts else "header unchanged"
