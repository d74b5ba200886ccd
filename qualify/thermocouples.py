"""Thermocouple reference functions of the ITS-90: voltage, temperature, sensitivity.

Known here for both the readers (millivolts to temperatures) and the sensors room, as units are. No
library on the package index was both exact in every type and vectorised, so the published coefficients
stand as cited rows in `standards/thermocouple_functions.toml`; reference_checks/ hold every point of the
published tables against them. Type C alone stands from memory: `standing` and `source` say so, and who
prints a value of it must print that too.

Errors keep one sign throughout: error = indicated − true.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from qualify.standards import UNCONFIRMED, rows

FloatArray = NDArray[np.float64]

_GRID_C = 0.25
_NEWTON_STEPS = 4


class UnknownTypeError(KeyError):
    """No reference function is known under this letter."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """Where a type's reference function is written, and how far that was seen."""

    citation: str
    standing: str

    @property
    def confirmed(self) -> bool:
        """Whether the coefficients were seen in a copy of what is cited."""
        return self.standing not in UNCONFIRMED


@dataclass(frozen=True, slots=True)
class _Piece:
    low_c: float
    high_c: float
    coefficients: tuple[float, ...]
    exponential: tuple[float, ...]

    def emf(self, t: FloatArray) -> FloatArray:
        value = np.polynomial.polynomial.polyval(t, self.coefficients)
        if self.exponential:
            a0, a1, a2 = self.exponential
            value = value + a0 * np.exp(a1 * (t - a2) ** 2)
        return np.asarray(value)

    def slope(self, t: FloatArray) -> FloatArray:
        value = np.polynomial.polynomial.polyval(t, np.polynomial.polynomial.polyder(self.coefficients))
        if self.exponential:
            a0, a1, a2 = self.exponential
            value = value + 2 * a0 * a1 * (t - a2) * np.exp(a1 * (t - a2) ** 2)
        return np.asarray(value)


@cache
def _pieces(letter: str) -> tuple[_Piece, ...]:
    found = tuple(
        _Piece(row["from"], row["to"], tuple(row["coefficients"]), tuple(row.get("exponential", ())))
        for row in rows("thermocouple_functions", "piece")
        if row["type"] == letter
    )
    if not found:
        raise UnknownTypeError(letter)
    return found


def types() -> tuple[str, ...]:
    """The letters of the types that are known."""
    return tuple(dict.fromkeys(row["type"] for row in rows("thermocouple_functions", "piece")))


def source(letter: str) -> Source:
    """Where a type's reference function is written: of its pieces, the one least confirmed.

    Raises
    ------
    UnknownTypeError
        If no reference function is known under this letter.
    """
    found = [row for row in rows("thermocouple_functions", "piece") if row["type"] == letter]
    if not found:
        raise UnknownTypeError(letter)
    row = next((row for row in found if row["standing"] in UNCONFIRMED), found[0])
    where = f"{row['document']} ({row['edition']}), type {letter}, reference function"
    return Source(citation=where, standing=row["standing"])


def standing(letter: str) -> str:
    """Standing of a type's reference function: "C" seen in a copy, "M" from memory. See `source`."""
    return source(letter).standing


def range_c(letter: str) -> tuple[float, float]:
    """The temperatures [°C] between which the reference function of a type is defined.

    Raises
    ------
    UnknownTypeError
        If no reference function is known under this letter.
    """
    pieces = _pieces(letter)
    return pieces[0].low_c, pieces[-1].high_c


@cache
def inverse_range_c(letter: str) -> tuple[float, float]:
    """The temperatures [°C] that a voltage can be turned back to; one voltage, one temperature.

    Raises
    ------
    UnknownTypeError
        If no reference function is known under this letter.
    """
    for row in rows("thermocouple_functions", "inverse"):
        if row["type"] == letter:
            return row["from"], row["to"]
    raise UnknownTypeError(letter)


def emf_mv(letter: str, temperature_c: ArrayLike) -> FloatArray:
    """Voltage of a thermocouple whose reference junction is at 0 °C.

    Parameters
    ----------
    letter
        The type: B, C, E, J, K, N, R, S or T.
    temperature_c : (...)
        Temperatures of the measuring junction [°C].

    Returns
    -------
    (...) float64
        Voltage [mV]; NaN outside the range of the reference function.

    Raises
    ------
    UnknownTypeError
        If no reference function is known under this letter.

    References
    ----------
    NIST Monograph 175, the ITS-90 reference functions (as in the NIST ITS-90 Thermocouple Database); type C:
    IEC 60584-1:2013, from memory.
    """
    return _by_piece(letter, temperature_c, slope=False)


def sensitivity_mv_per_c(letter: str, temperature_c: ArrayLike) -> FloatArray:
    """Slope of the reference function [mV/°C]; NaN outside its range. See `emf_mv`."""
    return _by_piece(letter, temperature_c, slope=True)


def _by_piece(letter: str, temperature_c: ArrayLike, *, slope: bool) -> FloatArray:
    t = np.asarray(temperature_c, dtype=np.float64)
    value = np.full(t.shape, np.nan)
    for piece in _pieces(letter):
        # At an end that two pieces share, the lower one holds: type K is exactly 0 mV at 0 °C there.
        inside = np.isnan(value) & (t >= piece.low_c) & (t <= piece.high_c)
        value[inside] = piece.slope(t[inside]) if slope else piece.emf(t[inside])
    return value


@cache
def _grid(letter: str) -> tuple[FloatArray, FloatArray]:
    low, high = inverse_range_c(letter)
    t = np.linspace(low, high, int((high - low) / _GRID_C) + 1)
    return emf_mv(letter, t), t


def temperature_c(letter: str, voltage_mv: ArrayLike, junction_c: ArrayLike = 0.0) -> FloatArray:
    """Temperature of the measuring junction from voltage and reference-junction temperature.

    The reference function is inverted by Newton's method from a grid of its own values, so the result
    goes back to the voltage within rounding; the published approximate inverses differ by up to 0.06 °C.

    Parameters
    ----------
    letter
        The type: B, C, E, J, K, N, R, S or T.
    voltage_mv : (...)
        Voltages between the terminals [mV].
    junction_c : (...)
        Temperatures of the reference junction [°C].

    Returns
    -------
    (...) float64
        Temperatures [°C]; NaN where the sum of voltages lies outside the range of the inverse.

    Raises
    ------
    UnknownTypeError
        If no reference function is known under this letter.
    """
    total = np.asarray(voltage_mv, dtype=np.float64) + emf_mv(letter, junction_c)
    grid_mv, grid_c = _grid(letter)
    low, high = inverse_range_c(letter)
    slack = 1e-9
    inside = (total >= grid_mv[0] - slack) & (total <= grid_mv[-1] + slack)
    t = np.interp(total, grid_mv, grid_c)
    for _ in range(_NEWTON_STEPS):
        t = np.clip(t - (emf_mv(letter, t) - total) / sensitivity_mv_per_c(letter, t), low, high)
    return np.where(inside, t, np.nan)


def voltage_error_c(letter: str, temperature_c: ArrayLike, error_uv: ArrayLike) -> FloatArray:
    """Temperature error that an error of voltage makes: of the input, or of an extension cable.

    error_uv / (1000·S(t)), to first order.

    Parameters
    ----------
    letter
        The type: B, C, E, J, K, N, R, S or T.
    temperature_c : (...)
        Temperatures of the measuring junction [°C].
    error_uv : (...)
        Errors of voltage, indicated − true [µV].

    Returns
    -------
    (...) float64
        Errors of temperature, indicated − true [°C of difference]; NaN outside the range of the reference
        function, infinite where the sensitivity is zero.

    Raises
    ------
    UnknownTypeError
        If no reference function is known under this letter.
    """
    return _over_sensitivity(letter, np.asarray(error_uv, dtype=np.float64) / 1000.0, temperature_c)


def junction_error_c(
    letter: str, temperature_c: ArrayLike, junction_c: ArrayLike, junction_error_c: ArrayLike
) -> FloatArray:
    """Temperature error that an error of the reference junction's temperature makes.

    S(t_ref)/S(t) · error, to first order: a junction believed 1 °C too warm makes the indication too high
    by the ratio of the sensitivities, wherever the measuring junction is.

    Parameters
    ----------
    letter
        The type: B, C, E, J, K, N, R, S or T.
    temperature_c : (...)
        Temperatures of the measuring junction [°C].
    junction_c : (...)
        Temperatures of the reference junction [°C].
    junction_error_c : (...)
        Errors of the reference junction's temperature, believed − true [°C of difference].

    Returns
    -------
    (...) float64
        Errors of temperature, indicated − true [°C of difference]; NaN outside the range of the reference
        function, infinite where the sensitivity is zero.

    Raises
    ------
    UnknownTypeError
        If no reference function is known under this letter.
    """
    volts = sensitivity_mv_per_c(letter, junction_c) * np.asarray(junction_error_c, dtype=np.float64)
    return _over_sensitivity(letter, volts, temperature_c)


def _over_sensitivity(letter: str, error_mv: FloatArray, at_c: ArrayLike) -> FloatArray:
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(error_mv / sensitivity_mv_per_c(letter, at_c))
