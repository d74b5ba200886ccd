"""One file to readings: roles of the columns, one pass over the rows, and the ledger of cells.

The ledger is the rule that nothing is lost: the cells that the file holds in kept columns are readings
or stand in a listed doubt. It is counted on every read; if it doesn't balance, that is a defect.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from qualify.findings import Doubt, DoubtKind, RefusalKind
from qualify.readings.cells import CellKind, is_absent_word, kind_of
from qualify.readings.columns import (
    NO_TEMPERATURE,
    UNITS_CONTRADICT,
    Quantity,
    Roles,
    assign,
    must_be_unique,
    names_missing,
    units_missing,
)
from qualify.readings.model import Channel, FloatArray, IntArray, ReadOptions
from qualify.readings.numbers import NAMES, POINT, Marks, is_number, is_other_notation, value_of
from qualify.readings.table import Column, TableSource
from qualify.readings.times import TIME_MISSING, Instants, read_instants
from qualify.units import ABSOLUTE_ZERO_C, TemperatureUnit, parse_unit, temperature_to_c

MARKS_MIXED = RefusalKind(
    "marks-mixed",
    what="'{cell}' is written in another way than the file's other numbers, which have a decimal {mark}{and_}",
    why="It can be read as two different numbers.",
    mend="mend the cell; or, if the whole file is written so, add --decimal-mark and --thousands-mark.",
)
NO_READING = DoubtKind("no-reading", "no reading: {word}{rows}; the figures do without it")
NOT_A_TEMPERATURE = DoubtKind(
    "not-a-temperature",
    "{word} is no reading ({reason}){rows}; the figures do without it",
)
ROW_SHORT = DoubtKind(
    "row-short",
    "the row ends after {present} of {width} cells; the cells before the end were read, the last "
    "of them may be cut",
)
LAST_ROW_CUT = DoubtKind(
    "last-row-cut", "the file ends in the middle of this row; the row was not read, its last cell may be cut"
)
LAST_ROW_OPEN = DoubtKind(
    "last-row-open", "the file ends without a line end behind this row; its last cell may be cut"
)
ROW_BLANK = DoubtKind("row-blank", "no cell holds anything{rows}; a reading may be missing there")
HEADER_AGAIN = DoubtKind(
    "header-again",
    "the header stands here again{rows}: the recorder was stopped and started, or files were put together; "
    "no reading is on these rows, and time goes on below them",
)
ROWS_BELOW = DoubtKind("rows-below", "what stands below the table was not read{rows}")

_BEYOND = 1e30
_MOST_RUNS = 200
_BLOCK_ROWS = 8192


@dataclass(frozen=True, slots=True)
class FileReadings:
    """The readings of one file.

    Attributes
    ----------
    file
        The file's name.
    stem
        Its name without suffix.
    instants
        The instants of its rows.
    rows : (n,) int64
        Row numbers.
    channels, units, raw_c : (n, m) float64
        Temperature channels, their recorded units, readings [°C].
    others, other_values : (n, k) float64
        Columns of other units.
    layout
        What was understood, in words.
    doubts
        Everything listed about the file.
    """

    file: str
    stem: str
    instants: Instants
    rows: IntArray
    channels: tuple[Channel, ...]
    units: tuple[TemperatureUnit, ...]
    raw_c: FloatArray
    others: tuple[Channel, ...]
    other_values: FloatArray
    layout: dict[str, str]
    doubts: tuple[Doubt, ...]


@dataclass(slots=True)
class _Words:
    """Cells of one column that are no number: index of the row and the word, in order of rows."""

    places: list[NDArray[np.int64]] = field(default_factory=list)
    words: list[NDArray[np.object_]] = field(default_factory=list)

    def joined(self) -> tuple[IntArray, NDArray[np.object_]]:
        if not self.places:
            return np.empty(0, dtype=np.int64), np.empty(0, dtype=object)
        return np.concatenate(self.places), np.concatenate(self.words)


def read_one(file: str, stem: str, source: TableSource, options: ReadOptions) -> FileReadings:
    """Read one opened file.

    Raises
    ------
    Refusal
        If a column's unit, the time, or a cell stays open.
    """
    head = source.head
    roles = assign(file, head, options)
    kept = [*roles.temperatures, *roles.others]
    many = len(roles.temperatures)
    as_text = frozenset(roles.unit_columns) | (
        frozenset(roles.time.columns) if roles.time.form != "number" else frozenset()
    )
    if head.marks.foreign_to_parsers:
        as_text |= frozenset(quantity.index for quantity in kept)
    raw = np.empty((source.most_rows, many))
    other = np.empty((source.most_rows, len(roles.others)))
    rows = np.empty(source.most_rows, dtype=np.int64)
    words = [_Words() for _ in kept]
    time_cells: list[list[Column]] = [[] for _ in roles.time.columns]
    cuts: dict[int, int] = {}
    count = 0
    for piece in source.pieces(as_text):
        stop = count + len(piece.rows)
        rows[count:stop] = piece.rows
        for at, cells in piece.cuts.items():
            if cells <= max(roles.time.columns):
                raise TIME_MISSING(file=file, row=int(piece.rows[at]), column=roles.time.header)
            cuts[count + at] = cells
        for store, column in zip(time_cells, roles.time.columns, strict=True):
            store.append(piece.columns[column])
        for column, unit in roles.unit_columns.items():
            _same_unit(file, head.names[column], piece.columns[column], piece.rows, unit)
        for slot, quantity in enumerate(kept):
            target = raw[count:stop, slot] if slot < many else other[count:stop, slot - many]
            _fill(target, piece.columns[quantity.index], head.marks, words[slot], count)
        count = stop
    raw, other, rows = raw[:count], other[:count], rows[:count]
    if count == 0:
        raise NO_TEMPERATURE(file=file, found="no row of readings could be read")
    time_columns = [_one_column(store) for store in time_cells]
    instants = read_instants(file, roles.time, time_columns, rows, options, head.marks, head.preamble)
    temperatures, others, aside = _keep(roles, raw, other, words)
    if not temperatures:
        raise NO_TEMPERATURE(file=file, found="none of the columns holds a number")
    must_be_unique(file, [quantity for _, quantity in (*temperatures, *others)])
    raw = _chosen(raw, [slot for slot, _ in temperatures])
    other = _chosen(other, [slot - many for slot, _ in others])
    doubts = [*source.doubts, *instants.doubts]
    doubts += names_missing(file, [quantity for _, quantity in (*temperatures, *others)])
    doubts += units_missing(file, [quantity for _, quantity in others])
    for values, members in ((raw, temperatures), (other, others)):
        for column, (slot, quantity) in enumerate(members):
            _no_marks_mixed(file, quantity, words[slot], rows, head.marks, cuts)
            doubts += _cells_without_reading(file, quantity, values[:, column], words[slot], rows, cuts)
    _to_celsius(raw, [quantity.unit for _, quantity in temperatures])
    doubts += _below_absolute_zero(file, raw, [quantity for _, quantity in temperatures], rows)
    indices = [quantity.index for _, quantity in (*temperatures, *others)]
    doubts += _row_doubts(file, source, roles, rows, cuts, indices)
    _balance(file, source, raw, other, doubts, rows)
    layout = _layout(source, roles, instants, temperatures, others, aside)
    return FileReadings(
        file=file,
        stem=stem,
        instants=instants,
        rows=rows,
        channels=tuple(_channel(file, quantity) for _, quantity in temperatures),
        units=tuple(quantity.unit for _, quantity in temperatures if quantity.unit is not None),
        raw_c=raw,
        others=tuple(_channel(file, quantity) for _, quantity in others),
        other_values=other,
        layout=layout,
        doubts=tuple(doubts),
    )


def _channel(file: str, quantity: Quantity) -> Channel:
    return Channel(quantity.name, quantity.header, file, quantity.unit_word, quantity.description)


def _one_column(store: Sequence[Column]) -> Column:
    if len(store) == 1:
        return store[0]
    if any(column.dtype == object for column in store):
        return np.concatenate([column.astype(object) for column in store])
    return np.concatenate(store)


def _chosen(values: FloatArray, columns: list[int]) -> FloatArray:
    """The chosen columns, without a copy where all are chosen."""
    return values if len(columns) == values.shape[1] else np.ascontiguousarray(values[:, columns])


def _fill(target: FloatArray, column: Column, marks: Marks, words: _Words, before: int) -> None:
    """Put one column of a piece in its place; only the distinct words of a column of text are looked at."""
    if column.dtype != object:
        target[:] = column
        return
    import pandas as pd

    codes, distinct = pd.factorize(column)
    numbers = np.array([value_of(word, marks) if is_number(word, marks) else np.nan for word in distinct])
    is_word = np.isnan(numbers)
    target[:] = numbers[codes]
    at = np.flatnonzero(is_word[codes])
    if len(at):
        words.places.append(at + before)
        words.words.append(np.asarray(distinct, dtype=object)[codes[at]])


def _same_unit(file: str, header: str, column: Column, rows: IntArray, unit: TemperatureUnit) -> None:
    """Refuse a unit column whose unit changes; blank cells say nothing."""
    import pandas as pd

    codes, distinct = pd.factorize(column)
    for code, word in enumerate(distinct):
        if word.strip() and parse_unit(word) is not unit:
            row = int(rows[np.flatnonzero(codes == code)[0]])
            raise UNITS_CONTRADICT(
                file=file,
                row=row,
                column=header,
                one=unit,
                other=f"'{word.strip()}'",
                where="above this row and in it",
            )


def _keep(
    roles: Roles, raw: FloatArray, other: FloatArray, words: Sequence[_Words]
) -> tuple[list[tuple[int, Quantity]], list[tuple[int, Quantity]], dict[int, str]]:
    """Sort out the columns without a single number, now that all rows are known.

    A column whose own header names a temperature unit stays, with every cell in doubt; so does one that holds
    nothing but words for "no reading". A column of other words is no temperature, whatever the rest is.
    """
    many = raw.shape[1]
    temperatures: list[tuple[int, Quantity]] = []
    others: list[tuple[int, Quantity]] = []
    aside = dict(roles.aside)
    for slot, quantity in enumerate((*roles.temperatures, *roles.others)):
        values = raw[:, slot] if slot < many else other[:, slot - many]
        without = sum(len(part) for part in words[slot].places)
        if without < len(values):
            (temperatures if slot < many else others).append((slot, quantity))
            continue
        distinct = {word for part in words[slot].words for word in set(part)}
        if slot >= many:
            aside[quantity.index] = "no numbers"
        elif quantity.own_unit or (
            all(is_absent_word(word) for word in distinct)
            and (quantity.header.strip() or any(word.strip() for word in distinct))
        ):
            temperatures.append((slot, quantity))
        elif any(kind_of(word) is CellKind.NUMBER or is_other_notation(word, POINT) for word in distinct):
            # Numbers in another notation: kept, so that the first of them is refused by its row.
            temperatures.append((slot, quantity))
        else:
            aside[quantity.index] = "words only" if quantity.header.strip() else "empty, without a name"
    return temperatures, others, aside


def _no_marks_mixed(
    file: str, quantity: Quantity, words: _Words, rows: IntArray, marks: Marks, cuts: dict[int, int]
) -> None:
    places, found = words.joined()
    if not len(places):
        return
    for word in dict.fromkeys(found.tolist()):
        if is_other_notation(word, marks):
            at = int(places[np.flatnonzero(found == word)[0]])
            raise MARKS_MIXED(
                file=file,
                row=int(rows[at]),
                column=quantity.shown,
                cell=word.strip(),
                mark=NAMES[marks.decimal],
                and_=f" and a {NAMES[marks.thousands]} for thousands" if marks.thousands else "",
            )


def _cells_without_reading(
    file: str,
    quantity: Quantity,
    values: FloatArray,
    words: _Words,
    rows: IntArray,
    cuts: dict[int, int],
) -> Iterator[Doubt]:
    """List a column's words and impossible numbers; make the latter NaN."""
    places, found = words.joined()
    lost = [row for row, cells in cuts.items() if quantity.index >= cells]
    if lost:
        keep = ~np.isin(places, lost)
        places, found = places[keep], found[keep]
    for first, last, cells, word in _runs(places, found):
        yield NO_READING(
            file=file,
            row=int(rows[first]),
            column=quantity.shown,
            cells=cells,
            word=f"'{word.strip()}'" if word.strip() else "the cell is blank",
            rows=_rows_worded(rows, first, last, cells),
        )
    low, high = values.min(), values.max()
    if max(-low, high) < _BEYOND:
        return
    beyond = np.flatnonzero(np.abs(values) >= _BEYOND)
    numbers = np.array([f"{value:g}" for value in values[beyond]], dtype=object)
    values[beyond] = np.nan
    for first, last, cells, word in _runs(beyond, numbers):
        yield NOT_A_TEMPERATURE(
            file=file,
            row=int(rows[first]),
            column=quantity.shown,
            cells=cells,
            word=word,
            reason="loggers write numbers of 1e30 and above for overload or an open circuit",
            rows=_rows_worded(rows, first, last, cells),
        )


def _to_celsius(raw: FloatArray, units: Sequence[TemperatureUnit | None]) -> None:
    """Convert in place, in blocks of rows, so that no second copy of the readings is held."""
    for unit in set(units):
        assert unit is not None
        if unit is TemperatureUnit.C:
            continue
        chosen = [column for column, each in enumerate(units) if each is unit]
        for start in range(0, len(raw), _BLOCK_ROWS):
            block = raw[start : start + _BLOCK_ROWS]
            block[:, chosen] = temperature_to_c(block[:, chosen], unit)


def _below_absolute_zero(
    file: str, raw: FloatArray, quantities: Sequence[Quantity], rows: IntArray
) -> Iterator[Doubt]:
    lowest = np.fmin.reduce(raw, axis=0)
    for column in np.flatnonzero(lowest < ABSOLUTE_ZERO_C - 1e-9).tolist():
        values = raw[:, column]
        below = np.flatnonzero(values < ABSOLUTE_ZERO_C - 1e-9)
        numbers = np.array([f"{value:.6g} °C" for value in values[below]], dtype=object)
        values[below] = np.nan
        for first, last, cells, word in _runs(below, numbers):
            yield NOT_A_TEMPERATURE(
                file=file,
                row=int(rows[first]),
                column=quantities[column].shown,
                cells=cells,
                word=word,
                reason="below absolute zero",
                rows=_rows_worded(rows, first, last, cells),
            )


def _runs(places: IntArray, words: NDArray[np.object_]) -> Iterator[tuple[int, int, int, str]]:
    """Runs of one word in consecutive rows: first and last index, number of cells, the word.

    Beyond the first two hundred runs of a column, all further cells with one word make one run.
    """
    if not len(places):
        return
    breaks = np.flatnonzero((np.diff(places) != 1) | (words[1:] != words[:-1])) + 1
    starts = np.concatenate(([0], breaks))
    stops = np.concatenate((breaks, [len(places)]))
    for start, stop in zip(starts[:_MOST_RUNS].tolist(), stops[:_MOST_RUNS].tolist(), strict=True):
        yield int(places[start]), int(places[stop - 1]), stop - start, str(words[start])
    if len(starts) > _MOST_RUNS:
        rest = int(starts[_MOST_RUNS])
        later_places, later = places[rest:], words[rest:]
        for word in dict.fromkeys(later.tolist()):
            at = later_places[later == word]
            yield int(at[0]), int(at[-1]), len(at), str(word)


def _rows_worded(rows: IntArray, first: int, last: int, cells: int) -> str:
    if cells == 1:
        return ""
    if last - first + 1 == cells:
        return f" in rows {int(rows[first])} to {int(rows[last])}"
    return f" in {cells} rows between {int(rows[first])} and {int(rows[last])}"


def _row_doubts(
    file: str,
    source: TableSource,
    roles: Roles,
    rows: IntArray,
    cuts: dict[int, int],
    indices: Sequence[int],
) -> Iterator[Doubt]:
    """List rows that were short, cut, blank or left open."""
    faults, names = source.faults, source.head.names
    for at, cells in cuts.items():
        yield ROW_SHORT(
            file=file,
            row=int(rows[at]),
            column=names[cells],
            cells=sum(index >= cells for index in indices),
            present=cells,
            width=len(names),
        )
    for row in faults.unread:
        yield LAST_ROW_CUT(file=file, row=row, cells=len(indices))
    last = int(rows[-1])
    # Blank rows behind the last reading are a tail of line ends, and hold nothing.
    for first, until in _consecutive([row for row in faults.blank if row < last]):
        yield ROW_BLANK(file=file, row=first, rows=f" in rows {first} to {until}" if until > first else "")
    if faults.open_end == last:
        yield LAST_ROW_OPEN(file=file, row=last, column=names[-1])
    for first, until in faults.again:
        yield HEADER_AGAIN(file=file, row=first, rows=f" in rows {first} to {until}" if until > first else "")
    if faults.below:
        first, until = faults.below[0], faults.below[-1]
        yield ROWS_BELOW(
            file=file,
            row=first,
            rows=f" in rows {first} to {until}" if until > first else "",
        )


def _consecutive(rows: Sequence[int]) -> Iterator[tuple[int, int]]:
    first = last = None
    for row in rows:
        if first is None or last is None:
            first = row
        elif row != last + 1:
            yield first, last
            first = row
        last = row
    if first is not None and last is not None:
        yield first, last


def _balance(
    file: str,
    source: TableSource,
    raw: FloatArray,
    other: FloatArray,
    doubts: Sequence[Doubt],
    rows: IntArray,
) -> None:
    """Hold the ledger: rows in = rows kept + rows listed; cells in = readings + cells in listed doubts."""
    faults = source.faults
    listed_rows = len(faults.blank) + len(faults.unread) + len(faults.below)
    listed_rows += sum(until - first + 1 for first, until in faults.again)
    if faults.seen != len(rows) + listed_rows:
        raise RuntimeError(f"{file}: of {faults.seen} rows {len(rows)} were read and {listed_rows} listed")
    cells = (len(rows) + len(faults.unread)) * (raw.shape[1] + other.shape[1])
    readings = sum(
        int(np.count_nonzero(np.isfinite(values[start : start + _BLOCK_ROWS])))
        for values in (raw, other)
        for start in range(0, len(values), _BLOCK_ROWS)
    )
    listed = sum(doubt.cells for doubt in doubts)
    if cells != readings + listed:
        raise RuntimeError(f"{file}: of {cells} cells {readings} are readings and {listed} stand in doubts")


def _layout(
    source: TableSource,
    roles: Roles,
    instants: Instants,
    temperatures: Sequence[tuple[int, Quantity]],
    others: Sequence[tuple[int, Quantity]],
    aside: dict[int, str],
) -> dict[str, str]:
    names = source.head.names
    units = dict.fromkeys(str(quantity.unit) for _, quantity in temperatures)
    return {
        **source.head.words,
        "time columns": ", ".join(f"'{header.strip()}'" for header in roles.time.headers),
        **instants.words,
        "unit": ", ".join(units),
        "unit source": roles.unit_source,
        "temperature columns": ", ".join(f"'{quantity.shown.strip()}'" for _, quantity in temperatures),
        "other columns": ", ".join(
            f"'{quantity.shown.strip()}'"
            + ("" if _shows_unit(quantity) else f" ({quantity.unit_word or 'no unit'})")
            for _, quantity in others
        )
        or "none",
        "columns set aside": ", ".join(
            [f"'{names[index].strip()}' ({reason})" for index, reason in sorted(aside.items())]
            + [f"'{names[index].strip()}' (holds the unit)" for index in sorted(roles.unit_columns)]
        )
        or "none",
    }


def _shows_unit(quantity: Quantity) -> bool:
    """Whether the header itself shows the unit."""
    return bool(quantity.unit_word) and quantity.unit_word in quantity.header
