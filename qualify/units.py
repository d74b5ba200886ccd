"""Temperatures and temperature differences in °C, °F and K.

Everything inside the package is in °C and seconds; this module is the only place that knows
any other temperature unit. A temperature and a difference of temperatures convert by different
rules (100 °C is 212 °F, but 100 °C of difference is 180 °F of difference), so the two never share
a function, and scalars carry one of the two types below.
"""

from __future__ import annotations

from enum import StrEnum
from typing import NewType, TypeVar

import numpy as np
from numpy.typing import NDArray

Celsius = NewType("Celsius", float)
"""A temperature in °C."""

CelsiusDifference = NewType("CelsiusDifference", float)
"""A difference between two temperatures, in °C."""

Number = TypeVar("Number", float, NDArray[np.float64])

ABSOLUTE_ZERO_C = -273.15


class TemperatureUnit(StrEnum):
    """A temperature unit, spelled as it is printed."""

    C = "°C"
    F = "°F"
    K = "K"

    @property
    def difference(self) -> str:
        """The same unit, worded for a difference of temperatures."""
        return f"{self.value} of difference"


_SPELLINGS = {
    "c": TemperatureUnit.C,
    "°c": TemperatureUnit.C,
    "ºc": TemperatureUnit.C,
    "℃": TemperatureUnit.C,
    "degc": TemperatureUnit.C,
    "deg c": TemperatureUnit.C,
    "deg.c": TemperatureUnit.C,
    "deg. c": TemperatureUnit.C,
    "° c": TemperatureUnit.C,
    "celsius": TemperatureUnit.C,
    "f": TemperatureUnit.F,
    "°f": TemperatureUnit.F,
    "ºf": TemperatureUnit.F,
    "℉": TemperatureUnit.F,
    "degf": TemperatureUnit.F,
    "deg f": TemperatureUnit.F,
    "deg.f": TemperatureUnit.F,
    "deg. f": TemperatureUnit.F,
    "° f": TemperatureUnit.F,
    "fahrenheit": TemperatureUnit.F,
    "k": TemperatureUnit.K,
    "°k": TemperatureUnit.K,
    "kelvin": TemperatureUnit.K,
}


def parse_unit(text: str) -> TemperatureUnit | None:
    """Read a temperature unit as people and loggers spell it; None for any other word."""
    return _SPELLINGS.get(text.strip().casefold())


def temperature_to_c(value: Number, unit: TemperatureUnit) -> Number:
    """Convert temperatures in `unit` to °C."""
    if unit is TemperatureUnit.F:
        return (value - 32.0) / 1.8
    if unit is TemperatureUnit.K:
        return value + ABSOLUTE_ZERO_C
    return value


def temperature_from_c(value: Number, unit: TemperatureUnit) -> Number:
    """Convert temperatures in °C to `unit`."""
    if unit is TemperatureUnit.F:
        return value * 1.8 + 32.0
    if unit is TemperatureUnit.K:
        return value - ABSOLUTE_ZERO_C
    return value


def difference_to_c(value: Number, unit: TemperatureUnit) -> Number:
    """Convert differences of temperatures in `unit` to differences in °C."""
    return value / 1.8 if unit is TemperatureUnit.F else value


def difference_from_c(value: Number, unit: TemperatureUnit) -> Number:
    """Convert differences of temperatures in °C to differences in `unit`."""
    return value * 1.8 if unit is TemperatureUnit.F else value
