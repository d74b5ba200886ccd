"""Platinum resistance thermometers after IEC 60751: resistance, temperature, sensitivity.

The coefficients of Callendar and Van Dusen stand as cited rows in `standards/platinum.toml`, the range in
`standards/sensor_ranges.toml`; no current library on the package index gave them right and vectorised.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from qualify.standards import rows

FloatArray = NDArray[np.float64]

_NEWTON_STEPS = 6
_SLACK = 1e-12


@dataclass(frozen=True, slots=True, kw_only=True)
class Function:
    """Coefficients of the resistance function, its range [°C], and where they are written."""

    a: float
    b: float
    c: float
    low_c: float
    high_c: float
    citation: str
    standing: str
    range_standing: str


@cache
def function() -> Function:
    """The resistance function as its cited rows give it."""
    found = {row["name"]: row for row in rows("platinum", "coefficient")}
    ends = next(row for row in rows("sensor_ranges", "range") if "Pt100" in row["types"])
    return Function(
        a=found["a"]["value"],
        b=found["b"]["value"],
        c=found["c"]["value"],
        low_c=ends["from"],
        high_c=ends["to"],
        citation=f"{found['a']['document']} {found['a']['edition']}, resistance function",
        standing=found["a"]["standing"],
        range_standing=ends["standing"],
    )


def range_c() -> tuple[float, float]:
    """The temperatures [°C] between which the resistance function is used."""
    return function().low_c, function().high_c


def resistance_ohm(temperature_c: ArrayLike, r0_ohm: ArrayLike = 100.0) -> FloatArray:
    """Resistance of a platinum thermometer.

    Parameters
    ----------
    temperature_c : (...)
        Temperatures [°C].
    r0_ohm : (...)
        Resistance at 0 °C [Ω].

    Returns
    -------
    (...) float64
        Resistance [Ω]; NaN outside the range of the function.

    References
    ----------
    IEC 60751, resistance function: R = R0·(1 + A·t + B·t² + C·(t − 100)·t³), C above 0 °C zero.
    """
    t = np.asarray(temperature_c, dtype=np.float64)
    return np.asarray(np.asarray(r0_ohm, dtype=np.float64) * np.where(_inside(t), _ratio(t), np.nan))


def sensitivity_ohm_per_c(temperature_c: ArrayLike, r0_ohm: ArrayLike = 100.0) -> FloatArray:
    """Slope of the resistance function [Ω/°C]; NaN outside its range. See `resistance_ohm`."""
    t = np.asarray(temperature_c, dtype=np.float64)
    return np.asarray(np.asarray(r0_ohm, dtype=np.float64) * np.where(_inside(t), _slope(t), np.nan))


def temperature_c(resistance_ohm: ArrayLike, r0_ohm: ArrayLike = 100.0) -> FloatArray:
    """Temperature of a platinum thermometer from its resistance.

    Closed form from 0 °C up; Newton's method from that value below. Both go back to the resistance within
    rounding.

    Parameters
    ----------
    resistance_ohm : (...)
        Resistances [Ω].
    r0_ohm : (...)
        Resistance at 0 °C [Ω].

    Returns
    -------
    (...) float64
        Temperatures [°C]; NaN where the resistance lies outside the function's range.
    """
    f = function()
    ratio = np.asarray(resistance_ohm, dtype=np.float64) / np.asarray(r0_ohm, dtype=np.float64)
    least, most = _ratio(np.array([f.low_c, f.high_c]))
    inside = (ratio >= least - _SLACK) & (ratio <= most + _SLACK)
    rise = np.where(inside, ratio, 1.0) - 1.0
    # The root written so that nothing cancels near 0 °C.
    t = 2.0 * rise / (f.a + np.sqrt(f.a**2 + 4.0 * f.b * rise))
    below = rise < 0.0
    for _ in range(_NEWTON_STEPS):
        t = np.where(below, t - (_ratio(t) - 1.0 - rise) / _slope(t), t)
    return np.where(inside, np.clip(t, f.low_c, f.high_c), np.nan)


def _inside(t: FloatArray) -> NDArray[np.bool_]:
    low, high = range_c()
    return np.asarray((t >= low) & (t <= high))


def _ratio(t: FloatArray) -> FloatArray:
    f = function()
    c = np.where(t < 0.0, f.c, 0.0)
    return np.asarray(1.0 + t * (f.a + t * (f.b + c * t * (t - 100.0))))


def _slope(t: FloatArray) -> FloatArray:
    f = function()
    c = np.where(t < 0.0, f.c, 0.0)
    return np.asarray(f.a + 2.0 * f.b * t + c * t**2 * (4.0 * t - 300.0))
