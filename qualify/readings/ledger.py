"""The ledger of one file: what a person should know of its rows, and the count of rows and cells.

The ledger is the rule that nothing is lost: the rows and cells that the file holds are readings or
stand in a listed doubt. It is counted on every read; if it doesn't balance, that is a defect.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from qualify.findings import Doubt, DoubtKind
from qualify.readings.model import FloatArray, IntArray
from qualify.readings.table import TableSource
from qualify.readings.values import BLOCK_ROWS

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


def row_doubts(
    file: str, source: TableSource, rows: IntArray, cuts: Mapping[int, int], kept: Sequence[int]
) -> Iterator[Doubt]:
    """List rows that were short, cut, blank, left open, below the table or a header again.

    Parameters
    ----------
    file
        The file's name.
    source
        The table, read to its end.
    rows : (n,) int64
        Numbers of the rows that were read.
    cuts : index of a row -> cells
        Rows that were too short.
    kept
        Indices of the columns whose cells are counted.
    """
    faults, names = source.faults, source.head.names
    for at, cells in cuts.items():
        yield ROW_SHORT(
            file=file,
            row=int(rows[at]),
            column=names[cells],
            cells=sum(index >= cells for index in kept),
            present=cells,
            width=len(names),
        )
    for row in faults.unread:
        yield LAST_ROW_CUT(file=file, row=row, cells=len(kept))
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


def balance(
    file: str,
    source: TableSource,
    values: Sequence[FloatArray],
    doubts: Sequence[Doubt],
    rows: IntArray,
    cells_in_a_row: int,
) -> None:
    """Hold the ledger: rows in = rows kept + rows listed; cells in = readings + cells in listed doubts."""
    faults = source.faults
    listed_rows = len(faults.blank) + len(faults.unread) + len(faults.below)
    listed_rows += sum(until - first + 1 for first, until in faults.again)
    if faults.seen != len(rows) + listed_rows:
        raise RuntimeError(f"{file}: of {faults.seen} rows {len(rows)} were read and {listed_rows} listed")
    cells = (len(rows) + len(faults.unread)) * cells_in_a_row
    readings = sum(
        int(np.count_nonzero(np.isfinite(part[start : start + BLOCK_ROWS])))
        for part in values
        for start in range(0, len(part), BLOCK_ROWS)
    )
    listed = sum(doubt.cells for doubt in doubts)
    if cells != readings + listed:
        raise RuntimeError(f"{file}: of {cells} cells {readings} are readings and {listed} stand in doubts")
