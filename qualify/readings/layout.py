"""Where a table stands among the first rows of a file: names, units, first row of readings.

Works on rows of text cells, so that text files and sheets share one set of rules.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from qualify.findings import Doubt, RefusalKind
from qualify.readings.cells import CellKind, is_unit, kind_of, usual_kind
from qualify.readings.header import find_header
from qualify.readings.model import ReadOptions
from qualify.readings.numbers import Marks, is_any_number
from qualify.readings.table import Cells, Head

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
ROW_TOLD_WRONG = RefusalKind(
    "told-row-wrong",
    what="--{option} {told} can't be: {trouble}",
    why="The rows that were told and the rows that are there don't fit, so the table can't be found.",
    mend="count the rows from 1, as a text editor or the sheet does.",
)
ROW_BETWEEN = RefusalKind(
    "row-between",
    what="a row between the column names and the first readings is neither units nor description ({cells})",
    why="It may be a damaged row of readings, and its readings would be lost.",
    mend="mend the row; or, if there is none to mend, name the rows with --header-row, --units-row, "
    "--description-row and --first-row.",
)
HEADER_ROW_OUTSIDE = RefusalKind(
    "header-row-outside",
    what="--header-row {told} names no row with readings below it",
    why="The column names must stand directly above the readings, with at most a units row and "
    "blank rows between.",
    mend="count the rows from 1, as a text editor or the sheet does, and name the row of the column names.",
)
TABLES_SEVERAL = RefusalKind(
    "several-tables",
    what="two tables stand one above the other (one starts before this row, one at row {other})",
    why="Which of the tables is meant can't be told.",
    mend="add --header-row with the row of the column names of the one that is meant.",
)

SAMPLE_ROWS = 300
_BODY_ROWS = 40
_UNNAMED = 0.8
_TIMES = frozenset((CellKind.STAMP, CellKind.DATE, CellKind.TIME))
_VALUES = frozenset((CellKind.NUMBER, CellKind.STAMP, CellKind.DATE, CellKind.TIME))


@dataclass(frozen=True, slots=True)
class Place:
    """Indices of the rows of a table (first = 0) and the number of its columns."""

    names: int
    units: int | None
    description: int | None
    first: int
    width: int
    key: int
    key_kind: CellKind
    doubts: tuple[Doubt, ...] = ()

    @property
    def told(self) -> dict[str, int]:
        """The options that would say the same."""
        return {
            "header_row": self.names + 1,
            "units_row": 0 if self.units is None else self.units + 1,
            "description_row": 0 if self.description is None else self.description + 1,
            "first_row": self.first + 1,
        }

    def beside_key(self, rows: Sequence[Sequence[str]]) -> list[str]:
        """The cells of the rows of readings but for the key column, whose numbers count time."""
        return [
            cell
            for row in rows[self.first :]
            for column, cell in enumerate(row[: self.width])
            if column != self.key
        ]

    def is_row_of_readings(self, row: Sequence[str]) -> bool:
        """Whether a row holds what every row of readings holds: a time (or number) in the key column.

        A date counts as a stamp: sheets store it as one at midnight, and it is cut to the date there.
        """
        if len(row) <= self.key:
            return False
        kind = kind_of(row[self.key])
        return kind is self.key_kind or (kind is CellKind.DATE and self.key_kind is CellKind.STAMP)


def is_blank(row: Sequence[str]) -> bool:
    """Whether no cell of the row holds anything."""
    return not any(cell.strip() for cell in row)


def body_score(rows: Sequence[Sequence[str]]) -> float:
    """Tell how well the rows read as a table, 0 to 1.

    The share of rows with the usual number of cells, times the share of their cells that are numbers,
    times, units or words for "no reading"; of the rows below the header. Less where no row of as many
    words stands above them, since a wrong delimiter seldom cuts names and readings alike.
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
    named = any(len(kinds[index]) == width and _all_words(kinds[index]) for index in range(body[0]))
    return len(full) / len(body) * known / (len(full) * width) * (1.0 if named else _UNNAMED)


def _all_words(kinds: Sequence[CellKind]) -> bool:
    return all(kind in (CellKind.WORD, CellKind.BLANK) for kind in kinds)


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
    # A summary below the readings, whose rows begin with a word where theirs begin with a value, is no body.
    first = {index: next(kind for kind in kinds[index] if kind is not CellKind.BLANK) for index in filled}
    while len(filled) > 1 and first[filled[-1]] is CellKind.WORD and first[filled[0]] in _VALUES:
        filled.pop()
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


def find_table(rows: Sequence[Sequence[str]], *, file: str, options: ReadOptions, tried: str) -> Place:
    """Find the names, the units row, the description row and the first row of readings.

    Parameters
    ----------
    rows
        The file's first rows as text cells; the index is the row number less one.
    file
        The file's name, for messages.
    options
        The rows that the user told (first = 1), where any.
    tried
        What was tried, for the message when there is no table.

    Raises
    ------
    Refusal
        If there is no table, or the names above it can't be told.
    """
    start = _start(rows, file, options)
    kinds = [[kind_of(cell) for cell in row] for row in rows]
    body = _likely_body(kinds, range(start, len(rows)))
    width = _usual_width(kinds, body)
    if width is None:
        if options.header_row is not None:
            raise HEADER_ROW_OUTSIDE(file=file, told=options.header_row)
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

    first: int | None
    if options.first_row is not None:
        first = options.first_row - 1
    elif options.header_row is not None:
        first = next((index for index in range(start, len(rows)) if is_row_of_readings(index)), None)
        if first is None:
            raise HEADER_ROW_OUTSIDE(file=file, told=options.header_row)
    else:
        # A row of the full width opens the table; narrower ones above it, as "Start;08:00", are preamble.
        first = next(
            (index for index in valued if len(rows[index]) == width and is_row_of_readings(index)), None
        )
        if first is None:
            raise HEADER_ONLY(file=file, tried=tried)
        while first > 0 and is_row_of_readings(first - 1):
            # Directly above it, a row of another width is no preamble but a damaged row of readings.
            first -= 1
    above = [index for index in range(first) if not is_blank(rows[index])]
    if not above:
        raise HEADER_MISSING(file=file, row=first + 1)
    header = find_header(rows, above, width=width, key=key, file=file, options=options)
    if options.header_row is None:
        for index in (header.names, header.units):
            if index is not None:
                _must_be_words(rows, index, above, file)
        _no_table_above(kinds[: header.names], header.names, file)
        for index in above:
            if index > header.names and index not in (header.units, header.description):
                cells = [cell.strip() for cell in rows[index] if cell.strip()]
                raise ROW_BETWEEN(file=file, row=index + 1, cells=", ".join(cells[:3]))
    elif any(index > header.names and index not in (header.units, header.description) for index in above):
        raise HEADER_ROW_OUTSIDE(file=file, told=options.header_row)
    return Place(header.names, header.units, header.description, first, width, key, key_kind, header.doubts)


def _start(rows: Sequence[Sequence[str]], file: str, options: ReadOptions) -> int:
    """Index from which rows of readings are looked for; the told rows must be there."""
    told = options.header_row
    if told is not None and (not 1 <= told <= len(rows) or is_blank(rows[told - 1])):
        raise HEADER_ROW_OUTSIDE(file=file, told=told)
    for name in ("units_row", "description_row", "first_row"):
        row = getattr(options, name)
        if row is None or row == 0:
            continue
        if not 1 <= row <= len(rows) or is_blank(rows[row - 1]):
            raise ROW_TOLD_WRONG(
                file=file, option=name.replace("_", "-"), told=row, trouble="the file has nothing there"
            )
        if name == "first_row" and told is not None and row <= told:
            raise ROW_TOLD_WRONG(
                file=file, option="first-row", told=row, trouble="it is not below the column names"
            )
    if options.first_row is not None:
        return options.first_row - 1
    return told or 0


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


def _no_table_above(kinds: Sequence[Sequence[CellKind]], names: int, file: str) -> None:
    """Refuse a file in which rows like readings stand above the names: two alike that begin with values."""
    for index in range(1, len(kinds)):
        here = kinds[index]
        if (
            here
            and here == kinds[index - 1]
            and here[0] in _VALUES
            and sum(kind in _VALUES for kind in here) >= 2
        ):
            raise TABLES_SEVERAL(file=file, row=index, other=names + 1)


def _must_be_words(rows: Sequence[Sequence[str]], index: int, above: Sequence[int], file: str) -> None:
    """Refuse a row of names that may be a damaged row of readings."""
    numbers = [cell.strip() for cell in rows[index] if is_any_number(cell)]
    with_marks = [cell for cell in numbers if "." in cell or "," in cell]
    # Channels may be called 1, 2, 3; but not where the row above has a word for them.
    width = len(rows[index])
    upper = next((row for row in reversed(above) if row < index and len(rows[row]) == width), None)
    doubled = (
        numbers
        and upper is not None
        and sum(bool(cell.strip()) and kind_of(cell) is CellKind.WORD for cell in rows[upper])
        > width - len(numbers)
    )
    stamps = [cell.strip() for cell in rows[index] if kind_of(cell) in _TIMES]
    if with_marks or doubled or stamps:
        raise HEADER_UNCLEAR(file=file, row=index + 1, cells=", ".join((with_marks or stamps or numbers)[:3]))


def make_head(
    rows: Sequence[Sequence[str]],
    place: Place,
    *,
    file: str,
    marks: Marks,
    words: dict[str, str],
) -> Head:
    """Put together what stands above the readings; names, units and descriptions get one cell a column.

    Raises
    ------
    Refusal
        If the number of names and of cells don't fit.
    """
    width = place.width
    sample = tuple(
        tuple(row) for row in rows[place.first :] if len(row) == width and place.is_row_of_readings(row)
    )
    spare = all(not row[-1].strip() for row in sample)

    def cells_of(index: int | None) -> Cells:
        if index is None:
            return ("",) * width
        cells = _to_width(rows[index], width, spare)
        if cells is None:
            raise HEADER_WIDTH(file=file, row=index + 1, names=len(rows[index]), cells=width)
        return cells

    words = {
        **words,
        **marks.words,
        "header row": str(place.names + 1),
        "units row": "none" if place.units is None else str(place.units + 1),
        "description row": "none" if place.description is None else str(place.description + 1),
        "first row of readings": str(place.first + 1),
    }
    return Head(
        names=cells_of(place.names),
        unit_cells=tuple(cell.strip().strip("[]()").strip() for cell in cells_of(place.units)),
        descriptions=tuple(cell.strip() for cell in cells_of(place.description)),
        preamble=tuple(
            tuple(row)
            for index, row in enumerate(rows[: place.first])
            if not is_blank(row) and index not in (place.names, place.units)
        ),
        sample=sample,
        marks=marks,
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
