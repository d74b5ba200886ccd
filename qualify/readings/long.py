"""Long tables: a row a reading, with its time, its channel and its value."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from qualify.findings import Doubt, DoubtKind, RefusalKind
from qualify.readings.columns import (
    NO_TEMPERATURE,
    UNIT_UNKNOWN,
    UNITS_CONTRADICT,
    Quantity,
    Roles,
    name_and_unit,
)
from qualify.readings.ledger import balance, row_doubts
from qualify.readings.long_columns import LongColumns
from qualify.readings.millivolts import to_temperatures
from qualify.readings.model import Channel, FloatArray, IntArray, ReadOptions
from qualify.readings.parts import FileReadings
from qualify.readings.table import Column, TableSource, one_column
from qualify.readings.times import TIME_MISSING, Instants, must_rise, read_instants
from qualify.readings.understood import layout_words, pins_of
from qualify.readings.values import (
    Words,
    below_absolute_zero,
    cells_without_reading,
    fill,
    no_marks_mixed,
    to_celsius,
)
from qualify.units import TemperatureUnit, parse_unit

CHANNEL_BLANK = RefusalKind(
    "channel-blank",
    what="the row names no channel",
    why="A reading without its channel can't be given to its location.",
    mend="look at the row: name the channel, or cut off a summary that starts there (--last-row).",
)
READING_TWICE = RefusalKind(
    "reading-twice",
    what="channel '{name}' has two rows at one time (the other is row {other})",
    why="Of two readings of one channel at one instant it can't be told which is right.",
    mend="look at the two rows and remove the wrong one, or export with finer times (with seconds).",
)
CHANNEL_ROW_MISSING = DoubtKind(
    "channel-row-missing",
    "this channel has no row at {count} of {total} instants (the first is that of row {first}); the figures "
    "do without it there",
)


@dataclass(frozen=True, slots=True)
class _Long:
    """All rows of a long table, as they stand."""

    values: FloatArray
    words: Words
    channels: Column
    units: Column | None
    times: list[Column]
    rows: IntArray
    cuts: dict[int, int]


def read_long(file: str, stem: str, source: TableSource, roles: Roles, options: ReadOptions) -> FileReadings:
    """Read one opened file whose table is long.

    The instants are those of all rows; a channel without a row at one of them has no reading there.

    Raises
    ------
    Refusal
        If a row names no channel, a channel has two rows at one time or changes its unit, or a unit,
        a time or a cell stays open.
    """
    import pandas as pd

    assert roles.long is not None
    head = source.head
    table = _gather(file, source, roles, roles.long)
    member, names = pd.factorize(np.array([str(cell).strip() for cell in table.channels], dtype=object))
    instants = read_instants(
        file,
        roles.time,
        table.times,
        table.rows,
        options,
        head.marks,
        head.preamble,
        rising=False,
        series=np.asarray(member, dtype=np.int64),
    )
    blank = np.flatnonzero(member == (list(names).index("") if "" in names else -2))
    if len(blank):
        raise CHANNEL_BLANK(file=file, row=int(table.rows[blank[0]]), column=head.names[roles.long.channel])
    axis, at = np.unique(instants.nanoseconds, return_inverse=True)
    grid = np.full((len(axis), len(names)), np.nan)
    first_row = np.full(len(axis), np.iinfo(np.int64).max)
    np.minimum.at(first_row, at, table.rows)
    doubts = [*source.doubts, *instants.doubts]
    quantities: list[Quantity] = []
    places, found = table.words.joined()
    for number, name in enumerate(names):
        of_channel = np.flatnonzero(member == number)
        rows = table.rows[of_channel]
        own = set(of_channel.tolist()) if table.cuts else set()
        _must_be_once(file, str(name), instants.nanoseconds[of_channel], rows)
        must_rise(file, roles.time.header, instants.nanoseconds[of_channel], rows)
        quantity = _quantity(file, str(name), of_channel, table, roles, options)
        quantities.append(quantity)
        values = table.values[of_channel]
        mine = np.isin(places, of_channel)
        words = Words([np.searchsorted(of_channel, places[mine])], [found[mine]])
        no_marks_mixed(file, quantity, words, rows, head.marks, {})
        told = options.not_readings if quantity.unit is not None else ()
        cuts = {
            int(np.searchsorted(of_channel, row)): cells for row, cells in table.cuts.items() if row in own
        }
        doubts += cells_without_reading(file, quantity, values, words, rows, cuts, told)
        if quantity.unit is not None and not quantity.millivolts:
            column = values[:, None]
            to_celsius(column, [quantity.unit])
            doubts += below_absolute_zero(file, column, [quantity], rows)
        grid[at[of_channel], number] = values
        doubts += _missing(file, quantity, of_channel, at, len(axis), first_row)
    temperature = [index for index, quantity in enumerate(quantities) if quantity.unit is not None]
    if not temperature and not options.without_temperature:
        if any(not quantity.unit_word for quantity in quantities):
            raise UNIT_UNKNOWN(file=file)
        raise NO_TEMPERATURE(file=file, found="none of the channels is one of temperature")
    other = [index for index, quantity in enumerate(quantities) if quantity.unit is None]
    raw = np.ascontiguousarray(grid[:, temperature])
    temperatures = [quantities[index] for index in temperature]
    others = [quantities[index] for index in other]
    if options.millivolts is not None:
        doubts += to_temperatures(file, raw, temperatures, first_row, options.millivolts)
    doubts += row_doubts(file, source, table.rows, table.cuts, [roles.long.value])
    balance(file, source, (raw, grid[:, other]), doubts, table.rows, 1)
    return FileReadings(
        file=file,
        stem=stem,
        instants=_on_axis(instants, axis),
        rows=first_row,
        channels=tuple(Channel(q.name, q.header, file, q.unit_word) for q in temperatures),
        units=tuple(q.unit for q in temperatures if q.unit is not None),
        raw_c=raw,
        others=tuple(Channel(q.name, q.header, file, q.unit_word) for q in others),
        other_values=grid[:, other],
        layout=layout_words(source, roles, instants, temperatures, others, roles.aside, options.millivolts),
        pins=pins_of(source, roles, instants, options, int(table.rows[-1])),
        doubts=tuple(doubts),
    )


def _on_axis(instants: Instants, axis: IntArray) -> Instants:
    """The instants, each once; the clock starts with the earliest, wherever its row stands."""
    from datetime import timedelta

    start = instants.start
    if start is not None:
        start -= timedelta(microseconds=(int(instants.nanoseconds[0]) - int(axis[0])) // 1000)
    return replace(instants, nanoseconds=axis, start=start)


def _gather(file: str, source: TableSource, roles: Roles, long: LongColumns) -> _Long:
    """Go over the rows once."""
    as_text = {long.channel}
    if long.unit is not None:
        as_text.add(long.unit)
    if roles.time.form != "number":
        as_text.update(roles.time.columns)
    if source.head.marks.foreign_to_parsers:
        as_text.add(long.value)
    values, words = np.empty(source.most_rows), Words()
    rows = np.empty(source.most_rows, dtype=np.int64)
    channels: list[Column] = []
    units: list[Column] = []
    times: list[list[Column]] = [[] for _ in roles.time.columns]
    cuts: dict[int, int] = {}
    count = 0
    for piece in source.pieces(frozenset(as_text)):
        stop = count + len(piece.rows)
        rows[count:stop] = piece.rows
        for cut, cells in piece.cuts.items():
            if cells <= max(*roles.time.columns, long.channel):
                raise TIME_MISSING(file=file, row=int(piece.rows[cut]), column=roles.time.header)
            cuts[count + cut] = cells
        for store, column in zip(times, roles.time.columns, strict=True):
            store.append(piece.columns[column])
        channels.append(piece.columns[long.channel])
        if long.unit is not None:
            units.append(piece.columns[long.unit])
        fill(values[count:stop], piece.columns[long.value], source.head.marks, words, count)
        count = stop
    if count == 0:
        raise NO_TEMPERATURE(file=file, found="no row of readings could be read")
    return _Long(
        values[:count],
        words,
        one_column(channels),
        one_column(units) if units else None,
        [one_column(store) for store in times],
        rows[:count],
        cuts,
    )


def _quantity(
    file: str, header: str, of_channel: IntArray, table: _Long, roles: Roles, options: ReadOptions
) -> Quantity:
    """Tell a channel's unit: told; in its own name; in the unit column; in the value's header."""
    assert roles.long is not None
    name, in_name = name_and_unit(header)
    told = options.column_units.get(header, options.column_units.get(name))
    word = told or in_name
    if not word and table.units is not None:
        words = [str(cell).strip() for cell in table.units[of_channel]]
        word = words[0]
        other = next((index for index, each in enumerate(words) if each != word), None)
        if other is not None:
            raise UNITS_CONTRADICT(
                file=file,
                row=int(table.rows[of_channel[other]]),
                column=header,
                one=f"'{word}'",
                other=f"'{words[other]}'",
                where="above this row and in it",
            )
    if not word:
        word = roles.value_unit_word
    unit = parse_unit(word) if word else None
    if not word and roles.general_unit is not None:
        unit, word = roles.general_unit, str(roles.general_unit)
    millivolts = options.millivolts is not None and word.strip().casefold() == "mv"
    return Quantity(
        index=roles.long.value,
        header=header,
        name=name or header,
        unit=TemperatureUnit.C if millivolts else unit,
        unit_word=word,
        own_unit=bool(word),
        millivolts=millivolts,
    )


def _must_be_once(file: str, name: str, nanoseconds: IntArray, rows: IntArray) -> None:
    order = np.argsort(nanoseconds, kind="stable")
    twice = np.flatnonzero(np.diff(nanoseconds[order]) == 0)
    if len(twice):
        one, other = sorted((int(rows[order[twice[0]]]), int(rows[order[twice[0] + 1]])))
        raise READING_TWICE(file=file, row=other, name=name, other=one)


def _missing(
    file: str, quantity: Quantity, of_channel: IntArray, at: IntArray, total: int, first_row: IntArray
) -> Iterator[Doubt]:
    """List the instants at which a channel has no row."""
    if len(of_channel) == total:
        return
    absent = np.ones(total, dtype=bool)
    absent[at[of_channel]] = False
    yield CHANNEL_ROW_MISSING(
        file=file,
        row=int(first_row[np.flatnonzero(absent)[0]]),
        column=quantity.header,
        count=total - len(of_channel),
        total=total,
        first=int(first_row[np.flatnonzero(absent)[0]]),
    )
