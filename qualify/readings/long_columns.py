"""Which columns of a long table hold the channel, the value and the unit; and whether it is long at all."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from qualify.findings import RefusalKind, nearest
from qualify.readings.cells import UNIT_LABEL, CellKind, is_unit
from qualify.readings.model import ReadOptions
from qualify.readings.table import Head

LONG_UNCLEAR = RefusalKind(
    "long-table-unclear",
    what="the table was told to be long, but its column of {what} can't be told",
    why="Which cell belongs to which channel would be a guess.",
    mend="add --{option} COLUMN (columns: {known}).",
)
LONG_COLUMN_MISSING = RefusalKind(
    "long-column-missing",
    what="--{option} '{word}' is no column of this file{hint}",
    why="The readings of a long table can't be sorted to their channels without it.",
    mend="use one of its headers: {known}.",
)

_CHANNEL_WORDS_TEXT = """
    channel, channels, channel name, channel no, channel no., ch, ch., sensor, sensor id, sensor name, tag,
    tag name, tagname, point, point name, measuring point, probe, location, position, thermocouple, series,
    signal, variable, kanal, name, input
"""
_CHANNEL_WORDS = frozenset(word.strip() for word in _CHANNEL_WORDS_TEXT.split(","))
_VALUE_WORDS_TEXT = """
    value, values, reading, readings, measurement, measured value, process value, pv, wert, messwert,
    temperature, temp, temp., data, result
"""
_VALUE_WORDS = frozenset(word.strip() for word in _VALUE_WORDS_TEXT.split(","))


@dataclass(frozen=True, slots=True)
class LongColumns:
    """Indices of the columns of a long table: a row a reading."""

    channel: int
    value: int
    unit: int | None

    def told(self, head: Head) -> dict[str, str]:
        """The options that would say the same."""
        found = {
            "channel_column": head.names[self.channel].strip(),
            "value_column": head.names[self.value].strip(),
        }
        if self.unit is not None:
            found["unit_column"] = head.names[self.unit].strip()
        return found


def find_long(
    file: str,
    head: Head,
    kinds: Sequence[CellKind],
    split: Sequence[tuple[str, str]],
    taken: Collection[int],
    options: ReadOptions,
) -> LongColumns | None:
    """Tell the columns of a long table; None for a wide one.

    A table is long where one column is headed as channels are and one other as values are, and all the
    others beside them are times, units or words.

    Raises
    ------
    Refusal
        If the table was told to be long and a column can't be told.
    """
    if options.table == "wide":
        return None
    told = {
        what: _told(file, head, split, getattr(options, f"{what}_column"), f"{what}-column")
        for what in ("channel", "value", "unit")
    }
    if options.table is None and all(column is None for column in told.values()):
        return _detected(head, kinds, split, taken)
    free = [column for column in range(len(head.names)) if column not in taken]
    channel, value, unit = told["channel"], told["value"], told["unit"]
    if channel is None:
        channel = _only(
            [c for c in free if _is_called(split[c][0], _CHANNEL_WORDS) and c not in (value, unit)]
        )
    if value is None:
        value = _only([c for c in free if _is_called(split[c][0], _VALUE_WORDS) and c not in (channel, unit)])
    for what, column in (("channels", channel), ("values", value)):
        if column is None:
            raise LONG_UNCLEAR(
                file=file, what=what, option=f"{what[:-1]}-column", known=", ".join(_shown(head))
            )
    assert channel is not None and value is not None
    if unit is None:
        unit = _unit_column(head, kinds, split, {channel, value, *taken})
    return LongColumns(channel, value, unit)


def _detected(
    head: Head, kinds: Sequence[CellKind], split: Sequence[tuple[str, str]], taken: Collection[int]
) -> LongColumns | None:
    free = [column for column in range(len(head.names)) if column not in taken]
    channel = _only([column for column in free if _is_called(split[column][0], _CHANNEL_WORDS)])
    value = _only([column for column in free if _is_called(split[column][0], _VALUE_WORDS)])
    if channel is None or value is None or channel == value:
        return None
    if kinds[value] not in (CellKind.NUMBER, CellKind.ABSENT):
        return None
    unit = _unit_column(head, kinds, split, {channel, value, *taken})
    rest = [column for column in free if column not in (channel, value, unit)]
    return (
        None
        if any(kinds[column] is CellKind.NUMBER for column in rest)
        else LongColumns(channel, value, unit)
    )


def _unit_column(
    head: Head, kinds: Sequence[CellKind], split: Sequence[tuple[str, str]], taken: Collection[int]
) -> int | None:
    return _only(
        [
            column
            for column, kind in enumerate(kinds)
            if column not in taken
            and kind in (CellKind.WORD, CellKind.ABSENT)
            and UNIT_LABEL.fullmatch(head.names[column])
            and any(is_unit(row[column]) for row in head.sample)
        ]
    )


def _told(
    file: str, head: Head, split: Sequence[tuple[str, str]], word: str | None, option: str
) -> int | None:
    if word is None:
        return None
    for column, header in enumerate(head.names):
        if word in (header, header.strip(), split[column][0]):
            return column
    known = _shown(head)
    raise LONG_COLUMN_MISSING(
        file=file, option=option, word=word, hint=nearest(word, known), known=", ".join(known)
    )


def _shown(head: Head) -> list[str]:
    return [name.strip() for name in head.names if name.strip()]


def _is_called(name: str, words: frozenset[str]) -> bool:
    return " ".join(name.casefold().replace("_", " ").split()) in words


def _only(columns: Sequence[int]) -> int | None:
    return columns[0] if len(columns) == 1 else None
