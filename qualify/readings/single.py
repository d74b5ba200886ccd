"""One file to readings: roles of the columns, one pass over the rows, and the ledger of cells."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from qualify.readings.cells import CellKind, kind_of
from qualify.readings.columns import (
    NO_TEMPERATURE,
    UNITS_CONTRADICT,
    Quantity,
    Roles,
    assign,
    must_be_unique,
    names_missing,
    names_of_other_quantities,
    units_missing,
)
from qualify.readings.ledger import balance, row_doubts
from qualify.readings.model import Channel, FloatArray, IntArray, ReadOptions
from qualify.readings.numbers import POINT, is_other_notation
from qualify.readings.parts import FileReadings
from qualify.readings.progress import Progress, no_progress
from qualify.readings.room import room_for
from qualify.readings.states import MOST_STATES, STATES, as_states, states_of
from qualify.readings.table import Column, TableSource, one_column
from qualify.readings.times import TIME_MISSING, read_instants
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


@dataclass(frozen=True, slots=True)
class _Wide:
    """All cells of a wide table: numbers by column, words where a cell is none, cells of the time."""

    raw: FloatArray
    other: FloatArray
    words: list[Words]
    times: Sequence[Column]
    rows: IntArray
    cuts: dict[int, int]


@dataclass(frozen=True, slots=True)
class _Kept:
    """The columns that are kept, each with its slot among the columns of numbers."""

    temperatures: list[tuple[int, Quantity]]
    others: list[tuple[int, Quantity]]
    states: dict[int, tuple[str, ...]]
    aside: dict[int, str]


def read_one(
    file: str,
    stem: str,
    source: TableSource,
    options: ReadOptions,
    progress: Progress = no_progress,
) -> FileReadings:
    """Read one opened file.

    Parameters
    ----------
    file, stem
        The file's name among the inputs, and its name without suffix.
    source
        Its table.
    options
        What the user told of it.
    progress
        Is told the file's name and the share of its rows that was read.

    Raises
    ------
    Refusal
        If a column's unit, the time, or a cell stays open.
    """
    head = source.head
    roles = assign(file, head, options)
    if roles.long is not None:
        from qualify.readings.long import read_long

        return read_long(file, stem, source, roles, options)
    table = _gather(file, source, roles, progress)
    rows, cuts, words = table.rows, table.cuts, table.words
    instants = read_instants(file, roles.time, table.times, rows, options, head.marks, head.preamble)
    kept = _keep(roles, table)
    if not kept.temperatures and not (options.without_temperature and kept.others):
        raise NO_TEMPERATURE(file=file, found="none of the columns holds a number")
    quantities = [quantity for _, quantity in (*kept.temperatures, *kept.others)]
    must_be_unique(file, quantities)
    raw = _chosen(table.raw, [slot for slot, _ in kept.temperatures])
    other = _others(table, [slot for slot, _ in kept.others])
    doubts = [*source.doubts, *instants.doubts]
    doubts += names_missing(file, quantities)
    doubts += names_of_other_quantities(file, [quantity for _, quantity in kept.temperatures])
    doubts += units_missing(file, [quantity for slot, quantity in kept.others if slot not in kept.states])
    for values, members in ((raw, kept.temperatures), (other, kept.others)):
        for column, (slot, quantity) in enumerate(members):
            if slot in kept.states:
                words[slot] = as_states(values[:, column], words[slot], kept.states[slot])
            no_marks_mixed(file, quantity, words[slot], rows, head.marks, cuts)
            told = options.not_readings if values is raw else ()
            doubts += cells_without_reading(file, quantity, values[:, column], words[slot], rows, cuts, told)
    temperatures = [quantity for _, quantity in kept.temperatures]
    to_celsius(raw, [quantity.unit for quantity in temperatures])
    if options.millivolts is not None:
        from qualify.readings.millivolts import to_temperatures

        doubts += to_temperatures(file, raw, temperatures, rows, options.millivolts)
    doubts += below_absolute_zero(file, raw, temperatures, rows)
    doubts += row_doubts(file, source, rows, cuts, [quantity.index for quantity in quantities])
    balance(file, source, (raw, other), doubts, rows, len(quantities))
    return FileReadings(
        file=file,
        stem=stem,
        instants=instants,
        rows=rows,
        channels=tuple(_channel(file, quantity) for quantity in temperatures),
        units=tuple(quantity.unit for quantity in temperatures if quantity.unit is not None),
        raw_c=raw,
        others=tuple(_channel(file, q, kept.states.get(slot, ())) for slot, q in kept.others),
        other_values=other,
        layout=layout_words(
            source, roles, instants, temperatures, [q for _, q in kept.others], kept.aside, options.millivolts
        ),
        pins=pins_of(source, roles, instants, options, int(rows[-1])),
        doubts=tuple(doubts),
    )


def _gather(file: str, source: TableSource, roles: Roles, progress: Progress) -> _Wide:
    """Go over the rows once."""
    head = source.head
    columns = [*roles.temperatures, *roles.others]
    many = len(roles.temperatures)
    as_text = frozenset(roles.unit_columns)
    if roles.time.form != "number":
        as_text |= frozenset(roles.time.columns)
    if head.marks.foreign_to_parsers:
        as_text |= frozenset(quantity.index for quantity in columns)
    raw = room_for(source.most_rows, many)
    other = room_for(source.most_rows, len(roles.others))
    rows = np.empty(source.most_rows, dtype=np.int64)
    words = [Words() for _ in columns]
    times: list[list[Column]] = [[] for _ in roles.time.columns]
    cuts: dict[int, int] = {}
    count = 0
    for piece in source.pieces(as_text):
        stop = count + len(piece.rows)
        rows[count:stop] = piece.rows
        for at, cells in piece.cuts.items():
            if cells <= max(roles.time.columns):
                raise TIME_MISSING(file=file, row=int(piece.rows[at]), column=roles.time.header)
            cuts[count + at] = cells
        for store, column in zip(times, roles.time.columns, strict=True):
            store.append(piece.columns[column])
        for column, unit in roles.unit_columns.items():
            _same_unit(file, head.names[column], piece.columns[column], piece.rows, unit)
        for slot, quantity in enumerate(columns):
            target = raw[count:stop, slot] if slot < many else other[count:stop, slot - many]
            fill(target, piece.columns[quantity.index], head.marks, words[slot], count)
        count = stop
        progress(file, count / source.most_rows)
    if count == 0:
        raise NO_TEMPERATURE(file=file, found="no row of readings could be read")
    cells_of_time = [one_column(store) for store in times]
    return _Wide(raw[:count], other[:count], words, cells_of_time, rows[:count], cuts)


def _channel(file: str, quantity: Quantity, states: tuple[str, ...] = ()) -> Channel:
    return Channel(quantity.name, quantity.header, file, quantity.unit_word, quantity.description, states)


def _chosen(values: FloatArray, columns: list[int]) -> FloatArray:
    """The chosen columns, without a copy where all are chosen."""
    if len(columns) == values.shape[1]:
        return values
    chosen = room_for(len(values), len(columns))
    for column, source in enumerate(columns):
        chosen[:, column] = values[:, source]
    return chosen


def _others(table: _Wide, slots: list[int]) -> FloatArray:
    """The columns that hold no temperatures; a column of states may have been met among those."""
    many = table.raw.shape[1]
    if all(slot >= many for slot in slots):
        return _chosen(table.other, [slot - many for slot in slots])
    return np.column_stack(
        [table.raw[:, slot] if slot < many else table.other[:, slot - many] for slot in slots]
    )


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


def _keep(roles: Roles, table: _Wide) -> _Kept:
    """Sort out the columns without a single number, now that all rows are known.

    A column whose own header names a temperature unit stays, with every cell in doubt; so does one that holds
    nothing but words for "no reading". A column of a few different words is one of states, such as ON and
    OFF; one of other words is a remark, whatever the rest is.
    """
    many = table.raw.shape[1]
    temperatures: list[tuple[int, Quantity]] = []
    others: list[tuple[int, Quantity]] = []
    states: dict[int, tuple[str, ...]] = {}
    aside = dict(roles.aside)
    for slot, quantity in enumerate((*roles.temperatures, *roles.others)):
        without = sum(len(part) for part in table.words[slot].places)
        if without < len(table.rows):
            (temperatures if slot < many else others).append((slot, quantity))
            continue
        distinct = list(dict.fromkeys(word for part in table.words[slot].words for word in part))
        telling = states_of(distinct, told=quantity.unit_word == STATES)
        number_like = any(
            kind_of(word) is CellKind.NUMBER or is_other_notation(word, POINT) for word in distinct
        )
        if slot < many and (
            quantity.own_unit
            or number_like
            or (not telling and (quantity.header.strip() or any(word.strip() for word in distinct)))
        ):
            # Numbers in another notation are kept too, so that the first of them is refused by its row.
            temperatures.append((slot, quantity))
        elif telling and not number_like and len(telling) <= MOST_STATES:
            states[slot] = telling
            others.append((slot, replace(quantity, unit=None, unit_word="") if slot < many else quantity))
        elif telling:
            aside[quantity.index] = "remarks"
        elif slot < many:
            aside[quantity.index] = "empty, without a name"
        elif any(word.strip() for word in distinct):
            # Nothing but words for "no reading": kept, so that its unit can be doubted as any other is.
            others.append((slot, quantity))
        else:
            aside[quantity.index] = "empty"
    return _Kept(temperatures, others, states, aside)
