"""A table as a format hands it over: what stands above the readings, then the rows in pieces."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from qualify.findings import Doubt
from qualify.readings.model import IntArray
from qualify.readings.numbers import Marks

Cells = tuple[str, ...]
Column = NDArray[Any]


@dataclass(frozen=True, slots=True)
class Head:
    """What was found above the readings, and a sample of the rows.

    Attributes
    ----------
    names
        The raw headers, one a column.
    unit_cells
        The cells of the units row, one a column; empty text where there is none.
    descriptions
        The cells of a second row of words, one a column; empty text where there is none.
    preamble
        The rows above the headers.
    sample
        The first rows of readings, as text.
    marks
        The decimal mark and the thousands mark.
    words
        The layout in words that a person can check.
    """

    names: Cells
    unit_cells: Cells
    descriptions: Cells
    preamble: tuple[Cells, ...]
    sample: tuple[Cells, ...]
    marks: Marks
    words: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Piece:
    """Some consecutive rows: their row numbers and their columns, each numbers or text.

    `cuts` tells, for the index of a row that was too short, how many cells it has.
    """

    rows: IntArray
    columns: Sequence[Column]
    cuts: Mapping[int, int]


@dataclass(slots=True)
class Faults:
    """Rows that hold no table row, told by the source while it hands over the pieces.

    Attributes
    ----------
    blank
        Rows without a cell.
    unread
        Rows that were cut so that no cell of them can be trusted.
    below
        Rows below the end of the table, with what stands there.
    again
        Rows between the readings that repeat the header, first and last of each block.
    open_end
        The last row, where the file ends without a line end.
    seen
        Rows that the file holds from the first row of readings on, counted on their own.
    """

    blank: list[int] = field(default_factory=list)
    unread: list[int] = field(default_factory=list)
    below: list[int] = field(default_factory=list)
    again: list[tuple[int, int]] = field(default_factory=list)
    open_end: int | None = None
    seen: int = 0


class TableSource(Protocol):
    """One table of one file, whose rows can be had in pieces, once."""

    @property
    def head(self) -> Head:
        """What stands above the readings."""

    @property
    def most_rows(self) -> int:
        """A bound on the number of rows."""

    @property
    def faults(self) -> Faults:
        """What was met on the way; complete after the last piece."""

    @property
    def told(self) -> Mapping[str, object]:
        """The fields of `ReadOptions` that would say what was found."""

    @property
    def doubts(self) -> tuple[Doubt, ...]:
        """What a person should know about how the table was found."""

    def pieces(self, as_text: frozenset[int]) -> Iterator[Piece]:
        """Hand over the rows; columns in `as_text` come as text even where they look like numbers."""


def text_column(cells: Sequence[str]) -> Column:
    """Make a column of text from Python strings."""
    column = np.empty(len(cells), dtype=object)
    column[:] = cells
    return column


def one_column(parts: Sequence[Column]) -> Column:
    """Put the parts of a column, one a piece, together."""
    if len(parts) == 1:
        return parts[0]
    if any(part.dtype == object for part in parts):
        return np.concatenate([part.astype(object) for part in parts])
    return np.concatenate(parts)
