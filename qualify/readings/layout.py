"""Where a table stands among the first rows of a file: names, units, first row of readings.

Works on rows of text cells, so that text files and sheets share one set of rules.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from qualify.findings import RefusalKind
from qualify.readings.cells import CellKind, is_number, is_unit, kind_of, unit_of_line, usual_kind
from qualify.readings.table import Cells, Head
from qualify.units import parse_unit

HEADER_ONLY = RefusalKind(
    "no-rows-of-readings",
    what="the file holds no row of readings ({tried})",
    why="There is nothing to judge.",
    mend="export the file again with its readings; name the row of the column names with "
    "--header-row if there "
    "is a long text above it.",
)
HEADER_MISSING = RefusalKind(
    "no-column-names",
    what="no row of column names stands above the first readings",
    why="Without names a reading can't be given to its location.",
    mend="put a row with a name for each column above the readings, or name it with --header-row ROW.",
)
HEADER_WIDTH = RefusalKind(
    "column-names-do-not-fit",
    what="{names} names stand above rows of {cells} cells",
    why="Which name belongs to which column can't be told.",
    mend="name the row of the column names with --header-row ROW, or export the file again.",
)
HEADER_UNCLEAR = RefusalKind(
    "column-names-unclear",
    what="the row above the first readings holds numbers ({cells}), so it may be a damaged row of readings",
    why="Taken for names, its readings would be lost and the columns called by them.",
    mend="mend the row, or name the row of the column names with --header-row ROW.",
)
HEADER_ROW_OUTSIDE = RefusalKind(
    "header-row-outside",
    what="--header-row {told} names no row with readings below it",
    why="The column names must stand directly above the readings, with at most a units row and "
    "blank rows between.",
    mend="count the rows from 1, as a text editor or the sheet does, and name the row of the column names.",
)
MARK_UNCLEAR = RefusalKind(
    "decimal-mark-unclear",
    what="commas in numbers such as '{cell}' may set off thousands or decimals",
    why="1,234 is 1234 or 1.234: the two can't be told apart here.",
    mend="export the file again with a decimal point and without a thousands mark.",
)

TABLES_SEVERAL = RefusalKind(
    "several-tables",
    what="two tables stand one above the other (one starts before this row, one at row {other})",
    why="Which of the tables is meant can't be told.",
    mend="add --header-row with the row of the column names of the one that is meant.",
)

SAMPLE_ROWS = 300
_BODY_ROWS = 40
_VALUES = frozenset((CellKind.NUMBER, CellKind.STAMP, CellKind.DATE, CellKind.TIME))


@dataclass(frozen=True, slots=True)
class Place:
    """Indices of the rows of a table (first = 0) and the number of its columns."""

    names: int
    units: int | None
    first: int
    width: int
    key: int
    key_kind: CellKind


def is_blank(row: Sequence[str]) -> bool:
    """Whether no cell of the row holds anything."""
    return not any(cell.strip() for cell in row)


def body_score(rows: Sequence[Sequence[str]]) -> float:
    """Tell how well the rows read as a table, 0 to 1.

    The share of rows with the usual number of cells, times the share of their cells that are numbers,
    times, units or words for "no reading"; of the rows below the header.
    """
    kinds = [[kind_of(cell) for cell in row] for row in rows]
    body = _likely_body(kinds, range(len(rows)))
    width = _usual_width(kinds, body)
    if width is None:
        return 0.0
    full = [index for index in body if len(rows[index]) == width]
    known = sum(
        kind is not CellKind.WORD or is_unit(cell)
        for index in full
        for kind, cell in zip(kinds[index], rows[index], strict=True)
    )
    return len(full) / len(body) * known / (len(full) * width)


def _likely_body(kinds: Sequence[Sequence[CellKind]], indices: Iterable[int]) -> list[int]:
    """Rows that are likely readings: those below the last row of words, else the last quarter.

    Readings come last, whatever stands above them; so some rows from the end tell their form.
    """
    filled = [index for index in indices if any(kind is not CellKind.BLANK for kind in kinds[index])]
    words = [
        place
        for place, index in enumerate(filled)
        if kinds[index].count(CellKind.WORD) >= 2 and not _VALUES.intersection(kinds[index])
    ]
    if words and words[-1] < len(filled) - 1:
        filled = filled[words[-1] + 1 :]
    return filled[-max(3, -(-len(filled) // 4)) :][-_BODY_ROWS:]


def _usual_width(kinds: Sequence[Sequence[CellKind]], body: Sequence[int]) -> int | None:
    """Tell the number of cells of the rows that hold the most values; None if no row of two cells has one.

    Counted by values, not by rows, since a line of "name;value" holds one value.
    """
    values: Counter[int] = Counter()
    for index in body:
        if len(kinds[index]) >= 2:
            values[len(kinds[index])] += sum(kind in _VALUES for kind in kinds[index])
    width = max(values, key=lambda cells: (values[cells], cells), default=None)
    return width if width is not None and values[width] else None


def has_readings(rows: Sequence[Sequence[str]]) -> bool:
    """Whether any row has two cells or more of which one is a number or a time."""
    return any(
        len(row) >= 2
        and any(kind_of(cell) in (CellKind.NUMBER, CellKind.STAMP, CellKind.TIME) for cell in row)
        for row in rows
    )


def find_table(rows: Sequence[Sequence[str]], *, file: str, told_row: int | None, tried: str) -> Place:
    """Find the names, the units row and the first row of readings.

    Parameters
    ----------
    rows
        The file's first rows as text cells; the index is the row number less one.
    file
        The file's name, for messages.
    told_row
        The row of the column names (first = 1) as the user told it, or None.
    tried
        What was tried, for the message when there is no table.

    Raises
    ------
    Refusal
        If there is no table, or the names above it can't be told.
    """
    start = 0
    if told_row is not None:
        start = told_row
        if not 1 <= told_row < len(rows) or is_blank(rows[told_row - 1]):
            raise HEADER_ROW_OUTSIDE(file=file, told=told_row)
    kinds = [[kind_of(cell) for cell in row] for row in rows]
    body = _likely_body(kinds, range(start, len(rows)))
    width = _usual_width(kinds, body)
    if width is None:
        if told_row is not None:
            raise HEADER_ROW_OUTSIDE(file=file, told=told_row)
        raise HEADER_ONLY(file=file, tried=tried)
    valued = [
        index
        for index in range(start, len(rows))
        if len(rows[index]) >= 2 and any(kind in _VALUES for kind in kinds[index])
    ]
    full = [index for index in body if len(rows[index]) == width]
    found = _key_column([[kinds[index][column] for index in full] for column in range(width)])
    if found is None:
        raise HEADER_ONLY(file=file, tried=tried)
    key, key_kind = found

    def is_row_of_readings(index: int) -> bool:
        return len(rows[index]) > key and kinds[index][key] is key_kind

    if told_row is not None:
        units, first = _below_names(rows, told_row - 1, is_row_of_readings)
        if first is None:
            raise HEADER_ROW_OUTSIDE(file=file, told=told_row)
        return Place(told_row - 1, units, first, width, key, key_kind)
    # A row of the full width opens the table; narrower ones above it, such as "Start;08:00", are preamble.
    first = next((index for index in valued if len(rows[index]) == width and is_row_of_readings(index)), None)
    if first is None:
        raise HEADER_ONLY(file=file, tried=tried)
    while first > 0 and is_row_of_readings(first - 1):
        # Directly above it, a row of another width is no preamble but a damaged row of readings.
        first -= 1
    above = [index for index in range(first) if not is_blank(rows[index])]
    if not above:
        raise HEADER_MISSING(file=file, row=first + 1)
    names, units = _names_and_units(rows, above, width)
    for index in (names, units):
        if index is not None:
            _must_be_words(rows, index, above, file)
    _no_table_above(kinds[:names], names, file)
    return Place(names, units, first, width, key, key_kind)


def _key_column(columns: Sequence[Sequence[CellKind]]) -> tuple[int, CellKind] | None:
    """Tell the column, and its kind, by which a row of readings is known: a time, else a number.

    A quarter of the rows is enough for a time, since no header or preamble holds one by chance.
    """
    for kind in (CellKind.STAMP, CellKind.DATE, CellKind.TIME):
        for index, column in enumerate(columns):
            if column.count(kind) * 4 >= len(column):
                return index, kind
    for index, column in enumerate(columns):
        if usual_kind(column) is CellKind.NUMBER:
            return index, CellKind.NUMBER
    return None


def _names_and_units(
    rows: Sequence[Sequence[str]], above: Sequence[int], width: int
) -> tuple[int, int | None]:
    """Tell which of the two rows above the readings holds names and which units, in either order."""
    lower = above[-1]
    upper = above[-2] if len(above) > 1 else None
    if upper is None:
        return lower, None
    for names, units in ((upper, lower), (lower, upper)):
        if (
            is_units_row(rows[units])
            and _share_of_units(rows[units]) > _share_of_units(rows[names])
            and abs(len(rows[units]) - width) <= 1
            and abs(len(rows[names]) - width) <= 1
            and sum(bool(cell.strip()) for cell in rows[names]) * 2 >= width
        ):
            return names, units
    return lower, None


def _below_names(
    rows: Sequence[Sequence[str]], names: int, is_row_of_readings: Callable[[int], bool]
) -> tuple[int | None, int | None]:
    """Tell the units row and the first row of readings below a told row of names."""
    units = None
    for index in range(names + 1, len(rows)):
        if is_blank(rows[index]):
            continue
        if is_row_of_readings(index):
            return units, index
        if units is not None or not is_units_row(rows[index]):
            return units, None
        units = index
    return units, None


def is_units_row(row: Sequence[str]) -> bool:
    """Whether half of the row's cells or more are units, one of them at least of temperature."""
    if unit_of_line(row) is not None:
        return False
    cells = [cell.strip().strip("[]()").strip() for cell in row]
    return _share_of_units(row) >= 0.5 and any(parse_unit(cell) is not None for cell in cells)


def _share_of_units(row: Sequence[str]) -> float:
    cells = [cell.strip().strip("[]()").strip() for cell in row if cell.strip()]
    return sum(is_unit(cell) for cell in cells) / len(cells) if cells else 0.0


def _no_table_above(kinds: Sequence[Sequence[CellKind]], names: int, file: str) -> None:
    """Refuse a file in which rows like readings stand above the names: two alike that begin with values."""
    for index in range(1, len(kinds)):
        here = kinds[index]
        if here == kinds[index - 1] and here[0] in _VALUES and sum(kind in _VALUES for kind in here) >= 2:
            raise TABLES_SEVERAL(file=file, row=index, other=names + 1)


def _must_be_words(rows: Sequence[Sequence[str]], index: int, above: Sequence[int], file: str) -> None:
    """Refuse a row of names that may be a damaged row of readings."""
    numbers = [cell.strip() for cell in rows[index] if is_number(cell, ".") or is_number(cell, ",")]
    with_marks = [cell for cell in numbers if "." in cell or "," in cell]
    # Channels may be called 1, 2, 3; but not where the row above has a word for them.
    upper = next((row for row in reversed(above) if row < index), None)
    doubled = (
        numbers
        and upper is not None
        and len(rows[upper]) == len(rows[index])
        and sum(bool(cell.strip()) and kind_of(cell) is CellKind.WORD for cell in rows[upper])
        > len(rows[index]) - len(numbers)
    )
    stamps = [cell.strip() for cell in rows[index] if kind_of(cell) in (CellKind.STAMP, CellKind.DATE)]
    if with_marks or doubled or stamps:
        raise HEADER_UNCLEAR(file=file, row=index + 1, cells=", ".join((with_marks or stamps or numbers)[:3]))


def decimal_mark(cells: Sequence[str], file: str) -> str | None:
    """Tell the decimal mark from cells that are numbers; None where no cell has one.

    Raises
    ------
    Refusal
        If commas may set off thousands: three digits behind every comma, and numbers without any beside them.
    """
    numbers = [cell.strip() for cell in cells if kind_of(cell) is CellKind.NUMBER]
    commas = [cell for cell in numbers if "," in cell]
    points = [cell for cell in numbers if "." in cell]
    if not commas:
        return "." if points else None
    if points:
        # Mixed marks: the commoner is taken, and each cell with the other is refused by its row.
        return "," if len(commas) > len(points) else "."
    thousands = all(len(cell.split(",")[1]) == 3 and cell.split(",")[0].lstrip("+-0") for cell in commas)
    if thousands and len(commas) < len(numbers):
        raise MARK_UNCLEAR(file=file, cell=commas[0])
    return ","


def make_head(
    rows: Sequence[Sequence[str]],
    place: Place,
    *,
    file: str,
    mark: str,
    words: dict[str, str],
) -> Head:
    """Put together what stands above the readings; names and units get one cell a column.

    Raises
    ------
    Refusal
        If the number of names and of cells don't fit.
    """
    width = place.width
    sample = tuple(tuple(row) for row in rows[place.first :] if len(row) == width)
    spare = all(not row[-1].strip() for row in sample)
    names = _to_width(rows[place.names], width, spare)
    if names is None:
        raise HEADER_WIDTH(file=file, row=place.names + 1, names=len(rows[place.names]), cells=width)
    units: Cells | None = ("",) * width
    if place.units is not None:
        units = _to_width(rows[place.units], width, spare)
        if units is None:
            raise HEADER_WIDTH(file=file, row=place.units + 1, names=len(rows[place.units]), cells=width)
    assert units is not None
    header_rows = [place.names] if place.units is None else sorted([place.names, place.units])
    words = {
        **words,
        "decimal mark": "point" if mark == "." else "comma",
        "header row": str(place.names + 1),
        "units row": "none" if place.units is None else str(place.units + 1),
        "first row of readings": str(place.first + 1),
    }
    return Head(
        names=names,
        unit_cells=tuple(cell.strip().strip("[]()").strip() for cell in units),
        preamble=tuple(tuple(row) for row in rows[: header_rows[0]] if not is_blank(row)),
        sample=sample,
        mark=mark,
        words=words,
    )


def _to_width(row: Sequence[str], width: int, spare: bool) -> Cells | None:
    """Bring a header row to the width of the readings where only blank cells are in question.

    `spare` tells that the last column of the readings is blank.
    """
    cells = list(row)
    while len(cells) > width and not cells[-1].strip():
        cells.pop()
    if len(cells) == width - 1 and (spare or len(row) >= width):
        # Rows that end in a delimiter have one more, blank cell than their header.
        cells.append("")
    return tuple(cells) if len(cells) == width else None
