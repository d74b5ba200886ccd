"""Tolerance classes of thermocouples, extension cable and platinum thermometers, from their cited table.

Outside the range of a class there is no tolerance: nothing here extrapolates.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from qualify.standards import UNCONFIRMED, Row, citation, rows
from qualify.thermocouples import sensitivity_mv_per_c

FloatArray = NDArray[np.float64]

_SLACK_C = 1e-9
"""What decimals lose in binary; the end of a range belongs to it."""


class UnknownClassError(KeyError):
    """No tolerance of this sensor type, document and class is known."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tolerance:
    """What a class allows at a temperature [°C], and where that is written.

    Attributes
    ----------
    tolerance_c
        Half-width of the tolerance [°C of difference].
    document, name, citation, standing
        The document, the class in it, the whole citation, and how far that was seen.
    sensor_type, temperature_c
        What was asked.
    low_c, high_c
        The range of the class that the temperature lies in [°C].
    row
        Identity of the row in standards/sensor_tolerances.toml.
    """

    tolerance_c: float
    document: str
    name: str
    citation: str
    standing: str
    sensor_type: str
    temperature_c: float
    low_c: float
    high_c: float
    row: str

    @property
    def confirmed(self) -> bool:
        """Whether the number was seen in a copy of the document."""
        return self.standing not in UNCONFIRMED


@dataclass(frozen=True, slots=True, kw_only=True)
class ClassRange:
    """Temperatures [°C] between which a class has a tolerance, by one row of the table."""

    sensor_type: str
    document: str
    name: str
    low_c: float
    high_c: float
    citation: str
    standing: str
    row: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CableTolerance:
    """What a class of extension cable may add, worst where the sensor's wire is least sensitive.

    Attributes
    ----------
    cable, name, document, citation, standing
        Type of the cable ("KX"), class, and where that is written.
    tolerance_c, hot_junction_c
        The tolerance as it is written [°C of difference], and the measuring junction's temperature [°C]
        that it is stated for.
    low_c, high_c
        Temperatures [°C] that the cable itself may have.
    voltage_uv
        The same tolerance as voltage [µV]: tolerance times the sensitivity at the stated hot junction
        (arithmetic, not read in the document).
    temperature_c, effect_c
        The measuring junction's temperature that was asked for [°C], and what that voltage makes there
        [°C of difference]; None, with the reason in `effect_why`, outside the reference function.
    """

    cable: str
    name: str
    document: str
    citation: str
    standing: str
    tolerance_c: float
    hot_junction_c: float
    low_c: float
    high_c: float
    voltage_uv: float
    temperature_c: float
    effect_c: float | None
    effect_why: str | None


def sensor_types() -> tuple[str, ...]:
    """The sensor types that the table knows, extension cable apart."""
    return tuple(dict.fromkeys(kind for row in _tolerance_rows() for kind in row["types"]))


def cable_types() -> tuple[str, ...]:
    """The types of extension cable that the table knows."""
    return tuple(dict.fromkeys(kind for row in rows("sensor_tolerances", "cable") for kind in row["types"]))


def documents(sensor_type: str) -> tuple[str, ...]:
    """The documents that have a tolerance for a sensor type; none for an unknown type."""
    return tuple(dict.fromkeys(row["document"] for row in _tolerance_rows() if sensor_type in row["types"]))


def classes(sensor_type: str, document: str) -> tuple[str, ...]:
    """The classes that a document has for a sensor type, best first; none where it has none."""
    present = {
        row["class"]
        for row in _tolerance_rows()
        if row["document"] == document and sensor_type in row["types"]
    }
    return tuple(name for name in _best_first(document) if name in present)


def ranges(sensor_type: str, document: str, name: str) -> tuple[ClassRange, ...]:
    """The ranges of a class, from the coldest; none where the document has no such class."""
    found = [
        ClassRange(
            sensor_type=sensor_type,
            document=document,
            name=name,
            low_c=row["from"],
            high_c=row["to"],
            citation=citation(row),
            standing=row["standing"],
            row=row["id"],
        )
        for row in _rows_of(sensor_type, document, name)
    ]
    return tuple(sorted(found, key=lambda item: (item.low_c, item.high_c)))


def tolerance_at(sensor_type: str, temperature_c: float, document: str, name: str) -> Tolerance | None:
    """Tolerance of a sensor type's class at a temperature.

    max(constant, offset + share·|t|) with the terms of the row in standards/sensor_tolerances.toml. Where
    two rows of a class meet, one that was seen in a copy goes before one that was not.

    Parameters
    ----------
    sensor_type
        Letter of the thermocouple ("K"), or "Pt wire-wound" or "Pt thin film".
    temperature_c
        Temperature [°C].
    document, name
        "IEC 60584-1", "ASTM E230/E230M" or "IEC 60751"; class "1", "special", "A" and so on.

    Returns
    -------
    Tolerance or None
        None outside the range of the class: there is no tolerance there.
    """
    for row in _rows_of(sensor_type, document, name):
        if row["from"] - _SLACK_C <= temperature_c <= row["to"] + _SLACK_C:
            return _tolerance(row, sensor_type, temperature_c)
    return None


def tolerances_at(
    sensor_type: str, temperature_c: float, document: str | None = None, name: str | None = None
) -> tuple[Tolerance, ...]:
    """Every tolerance of a sensor type at a temperature [°C], document by document, best class first.

    Parameters
    ----------
    sensor_type
        As `tolerance_at` takes it.
    temperature_c
        Temperature [°C].
    document, name
        One document or one class only; None for all.

    Returns
    -------
    tuple of Tolerance
        Only of classes whose range holds the temperature.
    """
    found = [
        tolerance_at(sensor_type, temperature_c, of, grade)
        for of in documents(sensor_type)
        if document in (None, of)
        for grade in classes(sensor_type, of)
        if name in (None, grade)
    ]
    return tuple(item for item in found if item is not None)


def tolerances_c(sensor_type: str, temperature_c: ArrayLike, document: str, name: str) -> FloatArray:
    """Tolerances of a class at many temperatures.

    Parameters
    ----------
    sensor_type, document, name
        As `tolerance_at` takes them.
    temperature_c : (...)
        Temperatures [°C].

    Returns
    -------
    (...) float64
        Half-widths of the tolerance [°C of difference]; NaN where none is defined.

    Raises
    ------
    UnknownClassError
        If the document has no such class for this type.
    """
    found = _rows_of(sensor_type, document, name)
    if not found:
        raise UnknownClassError(sensor_type, document, name)
    t = np.asarray(temperature_c, dtype=np.float64)
    value = np.full(t.shape, np.nan)
    for row in found:
        inside = np.isnan(value) & (t >= row["from"] - _SLACK_C) & (t <= row["to"] + _SLACK_C)
        value = np.where(inside, np.maximum(row["constant"], row["offset"] + row["share"] * np.abs(t)), value)
    return value


def cable_tolerances(
    cable: str, temperature_c: float | None = None, name: str | None = None
) -> tuple[CableTolerance, ...]:
    """What each class of an extension cable allows, best first.

    Parameters
    ----------
    cable
        "KX", "JX", "EX", "NX" or "TX".
    temperature_c
        The measuring junction's temperature [°C]; None for the one that the document states.
    name
        One class only.

    Returns
    -------
    tuple of CableTolerance
        Empty for a type that the table doesn't know.
    """
    found = []
    for row in rows("sensor_tolerances", "cable"):
        if cable not in row["types"] or name not in (None, row["class"]):
            continue
        letter = cable.removesuffix("X")
        at_c = row["hot_junction"] if temperature_c is None else temperature_c
        here = float(sensitivity_mv_per_c(letter, at_c))
        voltage_mv = row["constant"] * float(sensitivity_mv_per_c(letter, row["hot_junction"]))
        found.append(
            CableTolerance(
                cable=cable,
                name=row["class"],
                document=row["document"],
                citation=citation(row),
                standing=row["standing"],
                tolerance_c=row["constant"],
                hot_junction_c=row["hot_junction"],
                low_c=row["from"],
                high_c=row["to"],
                voltage_uv=1000.0 * voltage_mv,
                temperature_c=at_c,
                effect_c=voltage_mv / here if here > 0.0 else None,
                effect_why=None if here > 0.0 else f"type {letter} has no sensitivity at {at_c:g} °C",
            )
        )
    return tuple(sorted(found, key=lambda item: _best_first(item.document).index(item.name)))


def _tolerance_rows() -> tuple[Row, ...]:
    return rows("sensor_tolerances", "tolerance")


def _best_first(document: str) -> Sequence[str]:
    return next(
        (row["classes"] for row in rows("sensor_tolerances", "grade") if row["document"] == document), ()
    )


def _rows_of(sensor_type: str, document: str, name: str) -> tuple[Row, ...]:
    """Rows of a class; those that were seen in a copy first."""
    found = [
        row
        for row in _tolerance_rows()
        if row["document"] == document and row["class"] == name and sensor_type in row["types"]
    ]
    return tuple(sorted(found, key=lambda row: row["standing"] in UNCONFIRMED))


def _tolerance(row: Row, sensor_type: str, temperature_c: float) -> Tolerance:
    return Tolerance(
        tolerance_c=max(row["constant"], row["offset"] + row["share"] * abs(temperature_c)),
        document=row["document"],
        name=row["class"],
        citation=citation(row),
        standing=row["standing"],
        sensor_type=sensor_type,
        temperature_c=temperature_c,
        low_c=row["from"],
        high_c=row["to"],
        row=row["id"],
    )
