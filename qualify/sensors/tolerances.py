"""Tolerance classes of thermocouples and platinum thermometers, from their cited table."""

from __future__ import annotations

from dataclasses import dataclass

from qualify.standards import Row, citation, rows


@dataclass(frozen=True, slots=True, kw_only=True)
class Tolerance:
    """What a class allows at a temperature [°C], and where that is written."""

    tolerance_c: float
    document: str
    name: str
    citation: str
    standing: str


def tolerance_at(sensor_type: str, temperature_c: float, document: str, name: str) -> Tolerance | None:
    """Tolerance of a sensor type's class at a temperature.

    max(constant, offset + share·|t|) with the terms of the row in standards/sensor_tolerances.toml.

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
    for row in rows("sensor_tolerances", "tolerance"):
        named = row["document"] == document and row["class"] == name and sensor_type in row["types"]
        if named and row["from"] <= temperature_c <= row["to"]:
            return _tolerance(row, temperature_c)
    return None


def _tolerance(row: Row, temperature_c: float) -> Tolerance:
    return Tolerance(
        tolerance_c=max(row["constant"], row["offset"] + row["share"] * abs(temperature_c)),
        document=row["document"],
        name=row["class"],
        citation=citation(row),
        standing=row["standing"],
    )
