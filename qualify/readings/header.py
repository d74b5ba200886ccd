"""The rows directly above the readings: names, descriptions and units, in whichever order they stand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from qualify.findings import Doubt, DoubtKind
from qualify.readings.cells import CellKind, is_unit, kind_of, unit_of_line
from qualify.readings.model import ReadOptions
from qualify.units import parse_unit

NAMES_IN_TWO_ROWS = DoubtKind(
    "names-in-two-rows",
    "two rows above the readings hold words for the columns; the names were taken from this one, and row "
    "{other} was kept as a description. If it is the other way round, add --header-row {other} "
    "--description-row {here}",
)

_NAME_LABELS = frozenset(
    ("channel", "channels", "name", "names", "tag", "tags", "point", "no", "no.", "number", "ch", "kanal")
)
_DESCRIPTION_LABELS = frozenset(
    ("description", "descriptions", "comment", "remark", "label", "location", "position", "place", "text")
)
_TIME_LABELS = frozenset(("time", "date", "date/time", "date time", "datetime", "timestamp", "zeit", "datum"))


@dataclass(frozen=True, slots=True)
class Header:
    """Indices of the rows above the readings (first = 0)."""

    names: int
    units: int | None
    description: int | None
    doubts: tuple[Doubt, ...] = ()


def find_header(
    rows: Sequence[Sequence[str]],
    above: Sequence[int],
    *,
    width: int,
    key: int,
    file: str,
    options: ReadOptions,
) -> Header:
    """Tell which of the rows above the readings holds the names, the units and the descriptions.

    Parameters
    ----------
    rows
        The file's first rows as text cells.
    above
        Indices of the filled rows above the first row of readings; one at least.
    width
        Number of columns of the readings.
    key
        Index of the column that a row of readings is known by, most often the time.
    file
        The file's name, for doubts.
    options
        The rows that the user told, where any.
    """
    names = None if options.header_row is None else options.header_row - 1
    units = options.units_row - 1 if options.units_row else None
    description = options.description_row - 1 if options.description_row else None
    taken = {index for index in (names, units, description) if index is not None}
    near: list[int] = []
    for index in reversed(above):
        if len(near) == 3 or not _is_header_row(rows[index], width):
            break
        if names is not None and index < names:
            break
        if index not in taken:
            near.append(index)
    near.reverse()
    if options.units_row is None:
        # A row of units has a larger share of them than any other, and leaves a row for the names.
        units = max(
            (index for index in near if is_units_row(rows[index])),
            key=lambda index: _share_of_units(rows[index]),
            default=None,
        )
        if units is not None and names is None and near == [units]:
            units = None
    words = [index for index in near if index != units and _is_words(rows[index])]
    if names is not None:
        if options.description_row is None and options.first_row is None:
            description = words[-1] if words else None
        return Header(names, units, description)
    lowest = max((index for index in above if index != units), default=above[-1])
    if lowest not in words:
        # Names may be numbers, and a damaged row of readings may stand there: the caller looks at it.
        return Header(lowest, units, description)
    if options.description_row is not None or len(words) == 1:
        return Header(words[-1], units, description)
    upper, lower = words[-2:]
    chosen, why = _names_of_two(rows[upper], rows[lower], key)
    if not _speaks_of_columns(rows[upper], width, key, sure=why):
        return Header(lower, units, None)
    names, description = (upper, lower) if chosen == "upper" else (lower, upper)
    doubts: tuple[Doubt, ...] = ()
    if not why:
        doubts = (NAMES_IN_TWO_ROWS(file=file, row=names + 1, here=names + 1, other=description + 1),)
    return Header(names, units, description, doubts)


def _names_of_two(upper: Sequence[str], lower: Sequence[str], key: int) -> tuple[str, bool]:
    """Tell which of two rows of words holds the names, and whether the rows themselves say so."""
    for test in (_is_labelled_names, lambda row: not _is_labelled_description(row)):
        if test(upper) != test(lower):
            return ("upper" if test(upper) else "lower"), True

    def over_time(row: Sequence[str]) -> bool:
        return len(row) > key and row[key].strip().casefold() in _TIME_LABELS

    def different(row: Sequence[str]) -> bool:
        cells = [cell.strip() for cell in row]
        return all(cells) and len(set(cells)) == len(cells)

    for test in (over_time, different):
        if test(upper) != test(lower):
            return ("upper" if test(upper) else "lower"), True
    return "lower", False


def _speaks_of_columns(row: Sequence[str], width: int, key: int, *, sure: bool) -> bool:
    """Whether a row of words says something of each column, and isn't a line of the preamble.

    `sure` tells that the two rows themselves show which of them holds the names.
    """
    filled = sum(bool(cell.strip()) for cell in row)
    if len(row) != width or filled < width - 1:
        return False
    if _is_labelled_names(row) or _is_labelled_description(row):
        return True
    return not row[key].strip() or (width > 2 and (sure or filled == width))


def _is_labelled_names(row: Sequence[str]) -> bool:
    return row[0].strip().rstrip(":").casefold() in _NAME_LABELS


def _is_labelled_description(row: Sequence[str]) -> bool:
    return row[0].strip().rstrip(":").casefold() in _DESCRIPTION_LABELS


def _is_header_row(row: Sequence[str], width: int) -> bool:
    """Whether a row has a cell for each column, give or take one, and fills half of them or names units."""
    filled = sum(bool(cell.strip()) for cell in row)
    return abs(len(row) - width) <= 1 and (filled * 2 >= width or is_units_row(row))


def _is_words(row: Sequence[str]) -> bool:
    """Whether all filled cells are words."""
    return unit_of_line(row) is None and all(
        kind_of(cell) in (CellKind.WORD, CellKind.ABSENT, CellKind.BLANK) for cell in row
    )


def is_units_row(row: Sequence[str]) -> bool:
    """Whether half of the row's cells or more are units, one of them at least of temperature."""
    if unit_of_line(row) is not None:
        return False
    cells = [cell.strip().strip("[]()").strip() for cell in row]
    return _share_of_units(row) >= 0.5 and any(parse_unit(cell) is not None for cell in cells)


def _share_of_units(row: Sequence[str]) -> float:
    cells = [cell.strip().strip("[]()").strip() for cell in row if cell.strip()]
    return sum(is_unit(cell) for cell in cells) / len(cells) if cells else 0.0
