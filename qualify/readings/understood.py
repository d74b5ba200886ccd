"""What was understood of a file: in words that a person can check, and as options that would pin it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from qualify.readings.columns import Quantity, Roles
from qualify.readings.model import Millivolts, ReadOptions
from qualify.readings.table import TableSource
from qualify.readings.times import Instants

_GIVEN_AS_TOLD = (
    "column_units",
    "millivolts",
    "member",
    "zone",
    "clock",
    "interpolate_up_to_s",
    "time_unit",
    "date",
    "channel_column",
    "value_column",
    "unit_column",
    "sheet",
    "encoding",
    "not_readings",
    "logger",
)
"""What stays as it was told where nothing was detected in its place."""


def layout_words(
    source: TableSource,
    roles: Roles,
    instants: Instants,
    temperatures: Sequence[Quantity],
    others: Sequence[Quantity],
    aside: Mapping[int, str],
    millivolts: Millivolts | None,
) -> dict[str, str]:
    """Word the layout: format, rows, marks, times, units, and what became of each column."""
    names = source.head.names
    units = dict.fromkeys(str(quantity.unit) for quantity in temperatures)
    return {
        **source.head.words,
        "time columns": ", ".join(f"'{header.strip()}'" for header in roles.time.headers),
        **instants.words,
        "unit": ", ".join(units),
        "unit source": roles.unit_source,
        **(
            {"millivolts": _millivolts_in_words(millivolts)}
            if millivolts is not None and any(quantity.millivolts for quantity in temperatures)
            else {}
        ),
        "temperature columns": ", ".join(f"'{quantity.shown.strip()}'" for quantity in temperatures),
        "other columns": ", ".join(
            f"'{quantity.shown.strip()}'"
            + ("" if _shows_unit(quantity) else f" ({quantity.unit_word or 'no unit'})")
            for quantity in others
        )
        or "none",
        "columns set aside": ", ".join(
            [f"'{names[index].strip()}' ({reason})" for index, reason in sorted(aside.items())]
            + [f"'{names[index].strip()}' (holds the unit)" for index in sorted(roles.unit_columns)]
        )
        or "none",
    }


def _millivolts_in_words(told: Millivolts) -> str:
    """How millivolts became temperatures, in words that a person can check."""
    junction = (
        f"the reading of '{told.junction_channel}'"
        if told.junction_channel is not None
        else f"{told.junction_c:g} °C"
    )
    return f"type {told.thermocouple}, reference junction at {junction}, as told"


def _shows_unit(quantity: Quantity) -> bool:
    """Whether the header itself shows the unit."""
    return bool(quantity.unit_word) and quantity.unit_word in quantity.header


def pins_of(
    source: TableSource, roles: Roles, instants: Instants, options: ReadOptions, last_row: int
) -> ReadOptions:
    """Make the options under which nothing about the file is left to detection."""
    pins: dict[str, Any] = {
        "table": "wide" if roles.long is None else "long",
        **{name: getattr(options, name) for name in _GIVEN_AS_TOLD},
        "time_columns": tuple(header.strip() for header in roles.time.headers),
        **roles.told,
        **source.told,
        **instants.told,
    }
    if roles.unit_was_told:
        pins["units"] = options.units
    if source.faults.below:
        pins["last_row"] = last_row
    return replace(ReadOptions(), **pins)
