"""A test's figures as plain rows: a value, its half-width, its two ends; live where cells give it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from qualify.figures.absent import Absent, Maybe, present
from qualify.pack.workbook.words import DIFFERENCE, NUMBER, TEMPERATURE

VALUE, HALF, LOW, HIGH, MARGIN, UNIT = range(2, 8)
"""Columns in which the parts of a row stand."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One row.

    Attributes
    ----------
    what, how
        The figure's name, and what it means.
    value, half, low, high
        Its value, ± half-width (k = 2, or that of the interval named), its two ends; None: the cell is empty.
    unit
        Of all four.
    formula, half_formula, low_formula, high_formula
        Gives the cell's formula for the row's number in the sheet; None: the engine's value stands alone.
    note
        What a person should know.
    chance
        Whether the value is a probability, which is never printed as certain.
    """

    what: str
    how: str = ""
    value: Maybe | None = None
    half: Maybe | None = None
    low: Maybe | None = None
    high: Maybe | None = None
    unit: str = NUMBER
    formula: Callable[[int], str] | None = None
    half_formula: Callable[[int], str] | None = None
    low_formula: Callable[[int], str] | None = None
    high_formula: Callable[[int], str] | None = None
    note: str = ""
    chance: bool = False

    @property
    def reasons(self) -> str:
        """The note, and why what is absent is absent."""
        parts = (
            ("", self.value),
            ("half-width ", self.half),
            ("lower end ", self.low),
            ("upper end ", self.high),
        )
        missing = [f"{name}absent: {part.reason}" for name, part in parts if isinstance(part, Absent)]
        return "; ".join(part for part in (self.note, *missing) if part)


def difference_unit(unit: str) -> str:
    """Unit of a difference of two values."""
    return DIFFERENCE if unit == TEMPERATURE else unit


def words(what: str, said: str) -> Line:
    """A row of words."""
    return Line(what=what, unit="", note=said)


def whether(what: str, value: bool | Absent, how: str = "") -> Line:
    """A row that says yes or no, or why neither."""
    said = f"not known: {value.reason}" if isinstance(value, Absent) else "yes" if value else "no"
    return Line(what=what, how=how, unit="", note=said)


def ranged(what: str, found: Any, unit: str, how: str = "", note: str = "") -> Line:
    """A figure with its 95 % interval, or why there is none."""
    if isinstance(found, Absent):
        return Line(what=what, how=how, value=found, unit=unit, note=note)
    return Line(what=what, how=how, value=found.value, low=found.low, high=found.high, unit=unit, note=note)


def number(what: str, value: Maybe | None, unit: str, how: str = "", note: str = "") -> Line:
    """A single number; none where it is not known at all."""
    if value is None:
        return Line(what=what, how=how, unit=unit, note="not stated")
    return Line(what=what, how=how, value=value, unit=unit, note=note)


def counts(found: Any, *, what: str = "readings") -> list[Line]:
    """Readings used, instants without one, recording interval, where a result tells them."""
    lines = []
    for key, name, unit in (
        ("readings", f"{what} used", NUMBER),
        ("absent_readings", "instants without a reading", NUMBER),
        ("interval_s", "median interval between readings", "s"),
    ):
        value = getattr(found, key, None)
        if value is not None:
            lines.append(number(name, float(value), unit))
    return lines


def root_of_squares(cells: list[str]) -> str:
    """Formula of the root of a sum of squares."""
    return f"SQRT({'+'.join(f'{cell}^2' for cell in cells)})"


def all_present(*values: Maybe | None) -> bool:
    """Whether none is absent."""
    return all(value is not None and present(value) for value in values)
