"""Columns of cells to columns of readings: numbers, words for "no reading", impossible numbers.

Every cell that gives no reading ends up in a doubt with its row and column.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from qualify.findings import Doubt, DoubtKind, RefusalKind
from qualify.readings.columns import Quantity
from qualify.readings.model import FloatArray, IntArray
from qualify.readings.numbers import NAMES, Marks, is_number, is_other_notation, value_of
from qualify.readings.table import Column
from qualify.units import ABSOLUTE_ZERO_C, TemperatureUnit, temperature_to_c

MARKS_MIXED = RefusalKind(
    "marks-mixed",
    what="'{cell}' is written in another way than the file's other numbers, which have a decimal "
    "{mark}{and_}",
    why="It can be read as two different numbers.",
    mend="mend the cell; or, if the whole file is written so, add --decimal-mark and --thousands-mark.",
)
NO_READING = DoubtKind("no-reading", "no reading: {word}{rows}; the figures do without it")
NOT_A_TEMPERATURE = DoubtKind(
    "not-a-temperature",
    "{word} is no reading ({reason}){rows}; the figures do without it",
)

_BEYOND = 1e30
_MOST_RUNS = 200
BLOCK_ROWS = 8192


@dataclass(slots=True)
class Words:
    """Cells of one column that are no number: index of the row and the word, in order of rows."""

    places: list[NDArray[np.int64]] = field(default_factory=list)
    words: list[NDArray[np.object_]] = field(default_factory=list)

    def joined(self) -> tuple[IntArray, NDArray[np.object_]]:
        """Indices of all rows that hold a word, and the words."""
        if not self.places:
            return np.empty(0, dtype=np.int64), np.empty(0, dtype=object)
        return np.concatenate(self.places), np.concatenate(self.words)


def fill(target: FloatArray, column: Column, marks: Marks, words: Words, before: int) -> None:
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


def no_marks_mixed(
    file: str, quantity: Quantity, words: Words, rows: IntArray, marks: Marks, cuts: Mapping[int, int]
) -> None:
    """Refuse the first cell that is a number written with other marks than the file's."""
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


def cells_without_reading(
    file: str,
    quantity: Quantity,
    values: FloatArray,
    words: Words,
    rows: IntArray,
    cuts: Mapping[int, int],
    not_readings: Sequence[float] = (),
) -> Iterator[Doubt]:
    """List a column's words, impossible numbers and those told to be no readings; make the numbers NaN."""
    places, found = words.joined()
    lost = [row for row, cells in cuts.items() if quantity.index >= cells]
    if lost:
        keep = ~np.isin(places, lost)
        places, found = places[keep], found[keep]
    for first, last, cells, word in runs(places, found):
        yield NO_READING(
            file=file,
            row=int(rows[first]),
            column=quantity.shown,
            cells=cells,
            word=f"'{word.strip()}'" if word.strip() else "the cell is blank",
            rows=rows_worded(rows, first, last, cells),
        )
    for number in not_readings:
        told = np.flatnonzero(values == number)
        values[told] = np.nan
        for first, last, cells, word in runs(told, np.full(len(told), f"{number:g}", dtype=object)):
            yield NOT_A_TEMPERATURE(
                file=file,
                row=int(rows[first]),
                column=quantity.shown,
                cells=cells,
                word=word,
                reason="told to be what the logger writes where it has none",
                rows=rows_worded(rows, first, last, cells),
            )
    low, high = values.min(), values.max()
    if max(-low, high) < _BEYOND:
        return
    beyond = np.flatnonzero(np.abs(values) >= _BEYOND)
    numbers = np.array([f"{value:g}" for value in values[beyond]], dtype=object)
    values[beyond] = np.nan
    for first, last, cells, word in runs(beyond, numbers):
        yield NOT_A_TEMPERATURE(
            file=file,
            row=int(rows[first]),
            column=quantity.shown,
            cells=cells,
            word=word,
            reason="loggers write numbers of 1e30 and above for overload or an open circuit",
            rows=rows_worded(rows, first, last, cells),
        )


def to_celsius(raw: FloatArray, units: Sequence[TemperatureUnit | None]) -> None:
    """Convert in place, in blocks of rows, so that no second copy of the readings is held."""
    for unit in set(units):
        assert unit is not None
        if unit is TemperatureUnit.C:
            continue
        chosen = [column for column, each in enumerate(units) if each is unit]
        for start in range(0, len(raw), BLOCK_ROWS):
            block = raw[start : start + BLOCK_ROWS]
            block[:, chosen] = temperature_to_c(block[:, chosen], unit)


def below_absolute_zero(
    file: str, raw: FloatArray, quantities: Sequence[Quantity], rows: IntArray
) -> Iterator[Doubt]:
    """List readings [°C] below absolute zero, and make them NaN."""
    lowest = np.fmin.reduce(raw, axis=0)
    for column in np.flatnonzero(lowest < ABSOLUTE_ZERO_C - 1e-9).tolist():
        values = raw[:, column]
        below = np.flatnonzero(values < ABSOLUTE_ZERO_C - 1e-9)
        numbers = np.array([f"{value:.6g} °C" for value in values[below]], dtype=object)
        values[below] = np.nan
        for first, last, cells, word in runs(below, numbers):
            yield NOT_A_TEMPERATURE(
                file=file,
                row=int(rows[first]),
                column=quantities[column].shown,
                cells=cells,
                word=word,
                reason="below absolute zero",
                rows=rows_worded(rows, first, last, cells),
            )


def runs(places: IntArray, words: NDArray[np.object_]) -> Iterator[tuple[int, int, int, str]]:
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


def rows_worded(rows: IntArray, first: int, last: int, cells: int) -> str:
    """Word the rows between two indices that hold `cells` cells of one kind; nothing for a single one."""
    if cells == 1:
        return ""
    if last - first + 1 == cells:
        return f" in rows {int(rows[first])} to {int(rows[last])}"
    return f" in {cells} rows between {int(rows[first])} and {int(rows[last])}"
