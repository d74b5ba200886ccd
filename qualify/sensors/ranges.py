"""What temperatures a sensor type can show at all, from the cited tables."""

from __future__ import annotations

from dataclasses import dataclass

from qualify.standards import rows


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorRange:
    """Lowest and highest temperature [°C] of a sensor type's reference function, and where it is written."""

    low_c: float
    high_c: float
    citation: str
    standing: str


def range_of(sensor_type: str) -> SensorRange | None:
    """Range of a sensor type, as the plan words it.

    For thermocouples the ends of the reference function in standards/thermocouple_functions.toml, for
    platinum thermometers the row in standards/sensor_ranges.toml [°C].

    Parameters
    ----------
    sensor_type
        "K", "type K", "Pt100" and the like; case does not count.

    Returns
    -------
    SensorRange or None
        None where no row knows the type.
    """
    word = sensor_type.strip().casefold().removeprefix("type ").removesuffix("-type").strip()
    found = [row for row in rows("thermocouple_functions", "piece") if row["type"].casefold() == word]
    found += [
        row for row in rows("sensor_ranges", "range") if word in (name.casefold() for name in row["types"])
    ]
    if not word or not found:
        return None
    return SensorRange(
        low_c=min(row["from"] for row in found),
        high_c=max(row["to"] for row in found),
        citation=f"{found[0]['document']} {found[0]['edition']}",
        standing=found[0]["standing"],
    )
