"""Thermocouple voltages to temperatures, with the reference junction that the user stated."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from qualify.findings import Doubt, DoubtKind, RefusalKind, nearest
from qualify.readings.columns import Quantity
from qualify.readings.model import FloatArray, IntArray, Millivolts
from qualify.readings.values import NOT_A_TEMPERATURE, rows_worded, runs
from qualify.thermocouples import UnknownTypeError, inverse_range_c, range_c, source, temperature_c, types

TYPE_UNKNOWN = RefusalKind(
    "thermocouple-type-unknown",
    what="no reference function is known for thermocouple type '{letter}'",
    why="Millivolts can't be turned into temperatures without it.",
    mend="use one of {known}.",
)
JUNCTION_MISSING = RefusalKind(
    "reference-junction-missing",
    what="'{word}' is no temperature column of this file{hint}",
    why="Without the temperature of the reference junction a voltage tells only a difference.",
    mend="name the column that recorded it, or its temperature in degrees (columns: {known}).",
)
JUNCTION_RANGE = RefusalKind(
    "reference-junction-out-of-range",
    what="a reference junction at {value:g} °C lies outside the reference function of type {letter}",
    why="Its voltage is not defined there.",
    mend="correct the temperature of the reference junction.",
)


FUNCTION_UNCONFIRMED = DoubtKind(
    "reference-function-unconfirmed",
    "the reference function is not confirmed: {citation} [{standing}]; confirm it in a licensed copy before "
    "readings converted with it decide anything",
)


def to_temperatures(
    file: str, raw: FloatArray, quantities: Sequence[Quantity], rows: IntArray, told: Millivolts
) -> Iterator[Doubt]:
    """Convert the columns of millivolts in place.

    Parameters
    ----------
    file
        The file's name, for messages.
    raw : (n, m) float64
        Columns in °C, or in mV where the quantity says so.
    quantities
        What each column is.
    rows : (n,) int64
        Row numbers.
    told
        Type and reference junction.

    Raises
    ------
    Refusal
        If the type is unknown or the reference junction isn't there.
    """
    columns = [index for index, quantity in enumerate(quantities) if quantity.millivolts]
    if not columns:
        return
    try:
        inverse_range_c(told.thermocouple)
    except UnknownTypeError:
        raise TYPE_UNKNOWN(file=file, letter=told.thermocouple, known=", ".join(types())) from None
    function = source(told.thermocouple)
    if not function.confirmed:
        yield FUNCTION_UNCONFIRMED(
            file=file,
            standing=function.standing,
            citation=function.citation,
        )
    junction_c = _junction(file, raw, quantities, told)
    for column in columns:
        values = raw[:, column]
        voltages = values.copy()
        values[:] = temperature_c(told.thermocouple, voltages, junction_c)
        lost = np.flatnonzero(np.isnan(values) & ~np.isnan(voltages))
        found = np.array([f"{voltage:.6g} mV" for voltage in voltages[lost]], dtype=object)
        low, high = inverse_range_c(told.thermocouple)
        for first, last, cells, word in runs(lost, found):
            yield NOT_A_TEMPERATURE(
                file=file,
                row=int(rows[first]),
                column=quantities[column].shown,
                cells=cells,
                word=word,
                reason=f"type {told.thermocouple} gives a temperature from {low:g} to {high:g} °C only, "
                "or the reference junction has no reading",
                rows=rows_worded(rows, first, last, cells),
            )


def _junction(file: str, raw: FloatArray, quantities: Sequence[Quantity], told: Millivolts) -> FloatArray:
    """Temperatures of the reference junction [°C]."""
    if told.junction_channel is None:
        value = told.junction_c
        assert value is not None, "a reference junction is told by its temperature or its channel"
        low, high = range_c(told.thermocouple)
        if not low <= value <= high:
            raise JUNCTION_RANGE(file=file, value=value, letter=told.thermocouple)
        return np.array(value)
    for index, quantity in enumerate(quantities):
        if told.junction_channel in (quantity.name, quantity.header) and not quantity.millivolts:
            return raw[:, index].copy()
    known = [quantity.name for quantity in quantities if not quantity.millivolts]
    raise JUNCTION_MISSING(
        file=file,
        word=told.junction_channel,
        hint=nearest(told.junction_channel, known),
        known=", ".join(known) or "none",
    )
