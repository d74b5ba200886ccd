"""What each column of a table is: time, temperature, another quantity, a unit column, or set aside."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from qualify.findings import Doubt, DoubtKind, RefusalKind, nearest
from qualify.readings.cells import (
    TIME_UNIT_SECONDS,
    UNIT_LABEL,
    CellKind,
    first_unit,
    is_other_unit,
    kind_of,
    unit_of_line,
    usual_kind,
)
from qualify.readings.long_columns import LongColumns, find_long
from qualify.readings.model import ReadOptions
from qualify.readings.table import Head
from qualify.readings.time_columns import TIME_KINDS, is_time_name, time_columns
from qualify.readings.times import TimeColumns
from qualify.units import TemperatureUnit, parse_unit

NO_TEMPERATURE = RefusalKind(
    "no-temperature-column",
    what="no column of temperatures was found ({found})",
    why="There is nothing to judge.",
    mend="give the columns their unit in the header, such as 'T1 (°C)', or tell it with --unit-of; for "
    "thermocouple millivolts add --thermocouple TYPE and --reference-junction.",
)
UNIT_UNKNOWN = RefusalKind(
    "unit-unknown",
    what="the file names no temperature unit",
    why="Whether the numbers are °C or °F is never guessed from their size.",
    mend="add --units C or --units F.",
)
UNITS_CONTRADICT = RefusalKind(
    "units-contradict",
    what="two temperature units are named, {one} and {other} ({where})",
    why="Which of them the readings have can't be told.",
    mend="mend the header in a copy of the file, or export it again with one unit.",
)
TOLD_COLUMN_MISSING = RefusalKind(
    "told-column-missing",
    what="no column is called '{word}'{hint}",
    why="What was told of it can't be heeded.",
    mend="use a header or name of the file (its columns: {known}).",
)
NAMES_DOUBLE = RefusalKind(
    "names-double",
    what="columns {columns} are both called '{name}'",
    why="A certificate or location called by that name could mean either.",
    mend="rename one of them in the logger or in a copy of the file.",
)
NAME_MISSING = DoubtKind(
    "name-missing",
    "the column has no name; it is called '{name}' here, which says nothing of where its sensor sat",
)
UNIT_STRANGE = DoubtKind(
    "unit-strange",
    "the unit '{word}' isn't a known one, so the column is kept but not judged as a temperature; "
    "if it is one, mend its unit in the header",
)
UNIT_MISSING = DoubtKind(
    "unit-missing",
    "the column names no unit where others do, so it is kept but not judged as a temperature; if it is one, "
    "give it its unit in the header",
)

NAME_OF_OTHER_QUANTITY = DoubtKind(
    "name-of-other-quantity",
    "the name speaks of {word} and the column names no unit, so it was taken for a temperature as all "
    "columns without one are; if it is none, add --unit-of with its unit, such as --unit-of '{name}=%'",
)

MILLIVOLTS = frozenset(("mV", "mv", "MV", "millivolt", "millivolts"))
"""Words for the unit of a thermocouple's voltage."""

_OTHER_QUANTITIES_TEXT = """
    pressure, oxygen, o2, flow, velocity, speed, flux, humidity, rh, voltage, current, power, level, output,
    valve, damper, frequency, weight, druck, feuchte, sauerstoff
"""
_OTHER_QUANTITIES = frozenset(word.strip() for word in _OTHER_QUANTITIES_TEXT.split(","))
_TEMPERATURE_WORDS = frozenset(("temperature", "temp", "temperatur", "température", "temperatura"))

_TRAILING_BRACKET = re.compile(
    r"^(?P<name>.*?)\s*(?:\((?P<round>[^()]*)\)|\[(?P<square>[^\[\]]*)\])\s*$", re.DOTALL
)
_TRAILING_DEGREES = re.compile(
    r"(?:^|[\s_,./-]|(?<=\w))(?P<unit>[°º]\s?[CF]|[℃℉]|(?<![A-Za-z])deg\.?\s?[CF])\s*$", re.IGNORECASE
)


@dataclass(frozen=True, slots=True)
class Quantity:
    """One column of numbers: its place among the file's columns, header, name and unit.

    `unit` is None for a column that isn't a temperature; `unit_word` the file's own word for the unit.
    `own_unit` tells that the column itself names its temperature unit, in its header or the units row, or
    that the user told it. `millivolts` tells that the file holds thermocouple voltages.
    """

    index: int
    header: str
    name: str
    unit: TemperatureUnit | None
    unit_word: str
    own_unit: bool
    description: str = ""
    millivolts: bool = False

    @property
    def shown(self) -> str:
        """The header to name in messages."""
        return self.header if self.header.strip() else self.name


@dataclass(frozen=True, slots=True)
class Roles:
    """What each column of one file is.

    Attributes
    ----------
    time
        The columns of the time.
    temperatures, others
        Columns of numbers; whether a column holds any number is known only after reading.
    unit_columns
        Columns that hold nothing but the unit, and that unit.
    aside
        Columns that are not kept, with the reason.
    unit_source
        Where the units were named, in words.
    unit_was_told
        Whether only the user's word gives the unit of some column.
    long
        The columns of a long table; None for a wide one, and then the next two say nothing.
    value_unit_word, general_unit
        The unit that the value's header names, and that of channels for which nothing names one.
    told
        The fields of `ReadOptions` that would say the same.
    """

    time: TimeColumns
    temperatures: tuple[Quantity, ...]
    others: tuple[Quantity, ...]
    unit_columns: dict[int, TemperatureUnit]
    aside: dict[int, str]
    unit_source: str
    unit_was_told: bool = False
    long: LongColumns | None = None
    value_unit_word: str = ""
    general_unit: TemperatureUnit | None = None
    told: Mapping[str, object] = field(default_factory=dict)


def name_and_unit(header: str) -> tuple[str, str]:
    """Split a header into the channel's name and the unit it names, in its own spelling.

    A unit in trailing ( ) or [ ] is no part of the name; a trailing °C or °F without brackets is both.
    """
    trimmed = header.strip()
    match = _TRAILING_BRACKET.match(trimmed)
    if match is not None:
        word = (match["round"] if match["round"] is not None else match["square"]).strip()
        if parse_unit(word) is not None or is_other_unit(word) or word.casefold() in TIME_UNIT_SECONDS:
            return match["name"].strip(), word
        return trimmed, ""
    match = _TRAILING_DEGREES.search(trimmed)
    return trimmed, match["unit"] if match is not None else ""


def assign(file: str, head: Head, options: ReadOptions) -> Roles:
    """Tell what each column is, from the headers and the first rows.

    Parameters
    ----------
    file
        The file's name, for messages.
    head
        What stands above the readings, and a sample of them.
    options
        What the user told: the unit of columns for which the file names none, the columns of the time.

    Raises
    ------
    Refusal
        If there is no time or no temperature column, or the unit stays open.
    """
    width = len(head.names)
    kinds = [usual_kind(kind_of(row[column]) for row in head.sample) for column in range(width)]
    split = [name_and_unit(header) for header in head.names]
    time = time_columns(file, head, kinds, split, options)
    aside = {
        column: "another column of time"
        for column in range(width)
        if column not in time.columns
        and (
            kinds[column] in TIME_KINDS
            or (kinds[column] is CellKind.NUMBER and is_time_name(split[column][0], split[column][1]))
        )
    }
    unit_columns = _unit_columns(head, kinds, {*time.columns, *aside})
    long = find_long(file, head, kinds, split, {*time.columns, *aside}, options)
    if long is not None:
        return _long_roles(file, head, long, time, aside, split, options)
    whole_file, source = _unit_of_file(file, head, unit_columns)
    quantities = []
    for column in range(width):
        if column in time.columns or column in aside or column in unit_columns:
            continue
        quantities.append(_quantity(file, head, column, split[column], options))
    _told_columns_are_there(file, quantities, options)
    named = [quantity for quantity in quantities if quantity.unit is not None]
    general = whole_file
    if not named and general is None:
        general, source = options.units, f"--units {options.units}" if options.units is not None else ""
    elif named and general is None:
        source = "the columns' own headers or units row"
    elif named:
        source = f"the columns' own headers or units row, else {source}"
    temperatures: list[Quantity] = []
    others: list[Quantity] = []
    for quantity in quantities:
        unit = quantity.unit
        if unit is None and not quantity.unit_word:
            unit = general
        word = quantity.unit_word or (str(unit) if unit is not None else "")
        kept = replace(quantity, unit=unit, unit_word=word)
        (temperatures if unit is not None else others).append(kept)
    if not temperatures and not (options.without_temperature and others):
        if any(
            not quantity.unit_word and kinds[quantity.index] in (CellKind.NUMBER, CellKind.ABSENT)
            for quantity in quantities
        ):
            raise UNIT_UNKNOWN(file=file)
        raise NO_TEMPERATURE(file=file, found=_found(others, aside, head))
    was_told = not named and whole_file is None and options.units is not None
    return Roles(time, tuple(temperatures), tuple(others), unit_columns, aside, source, was_told)


def _long_roles(
    file: str,
    head: Head,
    long: LongColumns,
    time: TimeColumns,
    aside: dict[int, str],
    split: Sequence[tuple[str, str]],
    options: ReadOptions,
) -> Roles:
    """Put together the roles of a long table's columns; its channels are known only after reading."""
    word = split[long.value][1] or head.unit_cells[long.value]
    whole_file, source = _unit_of_file(file, head, {})
    general, told = whole_file, False
    if long.unit is not None:
        source = f"the unit column '{head.names[long.unit].strip()}'"
    elif word:
        source = f"the header '{head.names[long.value].strip()}'"
    elif general is None:
        general, told = options.units, options.units is not None
        source = f"--units {options.units}" if told else "the channels' own names"
    used = {long.channel, long.value, long.unit, *time.columns, *aside}
    rest = {column: "not part of the long table" for column in range(len(head.names)) if column not in used}
    return Roles(
        time=time,
        temperatures=(),
        others=(),
        unit_columns={},
        aside={**aside, **rest},
        unit_source=source,
        unit_was_told=told,
        long=long,
        value_unit_word=word,
        general_unit=general,
        told=long.told(head),
    )


def units_missing(file: str, others: Sequence[Quantity]) -> Iterator[Doubt]:
    """List columns of numbers that are no temperatures only because they name no known unit."""
    for quantity in others:
        if not quantity.unit_word:
            yield UNIT_MISSING(file=file, column=quantity.shown)
        elif not is_other_unit(quantity.unit_word):
            yield UNIT_STRANGE(file=file, column=quantity.shown, word=quantity.unit_word)


def names_of_other_quantities(file: str, temperatures: Sequence[Quantity]) -> Iterator[Doubt]:
    """List the columns taken for temperatures, for want of a unit, whose names speak of something else."""
    for quantity in temperatures:
        if quantity.own_unit:
            continue
        words = re.split(r"[\W_]+", quantity.name.casefold())
        word = next((word for word in words if word in _OTHER_QUANTITIES), None)
        if word is not None and not _TEMPERATURE_WORDS.intersection(words):
            yield NAME_OF_OTHER_QUANTITY(file=file, column=quantity.shown, word=word, name=quantity.name)


def names_missing(file: str, quantities: Sequence[Quantity]) -> Iterator[Doubt]:
    """List the kept columns that are called by their number, since they have no name."""
    for quantity in quantities:
        if not name_and_unit(quantity.header)[0]:
            yield NAME_MISSING(file=file, column=quantity.shown, name=quantity.name)


def must_be_unique(file: str, quantities: Sequence[Quantity]) -> None:
    """Refuse a file in which two kept columns share a name."""
    seen: dict[str, int] = {}
    for quantity in quantities:
        if quantity.name in seen:
            columns = f"{seen[quantity.name] + 1} and {quantity.index + 1}"
            raise NAMES_DOUBLE(file=file, columns=columns, name=quantity.name)
        seen[quantity.name] = quantity.index


def _found(others: Sequence[Quantity], aside: dict[int, str], head: Head) -> str:
    words = [f"'{other.shown}'" + (f" in {other.unit_word}" if other.unit_word else "") for other in others]
    words += [f"'{head.names[column].strip()}': {reason}" for column, reason in aside.items()]
    return "found " + ", ".join(words[:6]) if words else "found only the time"


def _quantity(file: str, head: Head, column: int, split: tuple[str, str], options: ReadOptions) -> Quantity:
    name, in_header = split
    header = head.names[column]
    in_row = head.unit_cells[column]
    told = options.column_units.get(header, options.column_units.get(name))
    unit = parse_unit(in_header)
    row_unit = parse_unit(in_row)
    if told is None and unit is not None and row_unit is not None and unit is not row_unit:
        raise UNITS_CONTRADICT(
            file=file, column=header, one=unit, other=row_unit, where="in the header and in the units row"
        )
    if told is not None:
        word, unit = told, parse_unit(told)
    else:
        word = in_header or in_row
        unit = unit if in_header else row_unit
    millivolts = options.millivolts is not None and word.strip() in MILLIVOLTS
    return Quantity(
        column,
        header,
        name or f"column {column + 1}",
        TemperatureUnit.C if millivolts else unit,
        word,
        unit is not None or millivolts,
        head.descriptions[column],
        millivolts,
    )


def _told_columns_are_there(file: str, quantities: Sequence[Quantity], options: ReadOptions) -> None:
    """Refuse a unit that was told for a column that the file doesn't have."""
    known = [word for quantity in quantities for word in (quantity.header, quantity.name)]
    for word in options.column_units:
        if word not in known:
            names = [quantity.name for quantity in quantities]
            raise TOLD_COLUMN_MISSING(
                file=file, word=word, hint=nearest(word, known), known=", ".join(names[:12])
            )


def _unit_columns(head: Head, kinds: Sequence[CellKind], taken: set[int]) -> dict[int, TemperatureUnit]:
    """Columns of words that all spell a temperature unit, such as 'Scale' with C in every row.

    A bare letter counts only under a header that speaks of a unit: F under 'Alarm' means false.
    """
    found = {}
    for column, kind in enumerate(kinds):
        if kind is not CellKind.WORD or column in taken:
            continue
        cells = [row[column].strip() for row in head.sample if row[column].strip()]
        unit = first_unit(cells)
        if unit is not None and (UNIT_LABEL.fullmatch(head.names[column]) or min(map(len, cells)) > 1):
            found[column] = unit
    return found


def _unit_of_file(
    file: str, head: Head, unit_columns: dict[int, TemperatureUnit]
) -> tuple[TemperatureUnit | None, str]:
    """Tell the unit that a unit column or a preamble line names for the whole table."""
    named = [
        (unit, f"the unit column '{head.names[column].strip()}'") for column, unit in unit_columns.items()
    ]
    for row in head.preamble:
        unit = unit_of_line(row)
        if unit is not None:
            named.append((unit, "a line above the header"))
    if not named:
        return None, ""
    for unit, where in named[1:]:
        if unit is not named[0][0]:
            raise UNITS_CONTRADICT(file=file, one=named[0][0], other=unit, where=f"{named[0][1]} and {where}")
    return named[0]
