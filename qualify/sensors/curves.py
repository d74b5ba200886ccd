"""A fitted correction curve: least squares over calibration points, with its uncertainty (GUM H.3)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from qualify.readings.model import FloatArray

HIGHEST_DEGREE = 3
"""Beyond a cubic the fit follows the scatter of a certificate's few points."""


class TooFewPointsError(ValueError):
    """There are too few calibration points for a curve of that degree."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """A polynomial b(t) = Σ y_j·(t − origin)^j, with the covariances of its coefficients.

    Attributes
    ----------
    origin_c
        Temperature [°C] from which t counts.
    coefficients
        y_0, y_1 ...: [°C], [°C/°C] and so on.
    covariance
        Covariances of the coefficients, a row each, in the same units multiplied.
    residual_sd_c
        Standard deviation s of the points about the curve [°C], of `degrees_of_freedom`.
    low_c, high_c
        End points [°C]; beyond them the curve's value there is held.
    """

    origin_c: float
    coefficients: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
    residual_sd_c: float
    degrees_of_freedom: int
    low_c: float
    high_c: float

    @property
    def degree(self) -> int:
        """Degree of the polynomial."""
        return len(self.coefficients) - 1

    @property
    def variance_coefficients(self) -> tuple[float, ...]:
        """Coefficients of u²(b) [°C²] as a polynomial of t − origin: sums over the covariances."""
        sums = [0.0] * (2 * self.degree + 1)
        for j, row in enumerate(self.covariance):
            for k, value in enumerate(row):
                sums[j + k] += value
        return tuple(sums)

    def at(self, temperature_c: FloatArray) -> FloatArray:
        """Give the predicted correction [°C] at each indication [°C]."""
        return _horner(self._from_origin(temperature_c), self.coefficients)

    def standard_uncertainty_at(self, temperature_c: FloatArray) -> FloatArray:
        """Standard uncertainty [°C] of the predicted correction, from the fit alone.

        u²(b) = Σ_j Σ_k u(y_j, y_k)·(t − origin)^(j+k): the covariances are in it (JCGM 100:2008, H.3.4).
        """
        variance = _horner(self._from_origin(temperature_c), self.variance_coefficients)
        uncertainty: FloatArray = np.sqrt(np.maximum(variance, 0.0))
        return uncertainty

    def _from_origin(self, temperature_c: FloatArray) -> FloatArray:
        held: FloatArray = np.clip(temperature_c, self.low_c, self.high_c)
        return held - self.origin_c


def _horner(x: FloatArray, coefficients: tuple[float, ...]) -> FloatArray:
    value = np.full(x.shape, coefficients[-1])
    value[np.isnan(x)] = np.nan
    for coefficient in reversed(coefficients[:-1]):
        value = coefficient + x * value
    return value


def fit_curve(
    temperature_c: FloatArray, correction_c: FloatArray, degree: int, *, origin_c: float | None = None
) -> Curve:
    """Fit a correction curve by least squares, every point of equal weight.

    Parameters
    ----------
    temperature_c, correction_c : (n,) float64
        Indications and corrections of the calibration points [°C].
    degree
        1 for a straight line; at most `HIGHEST_DEGREE`.
    origin_c
        Temperature from which t counts [°C]; None takes the mean of the points, where intercept and slope
        of a line don't correlate.

    Returns
    -------
    Curve
        Its covariances are s²·(XᵀX)⁻¹ with s² = Σ residual²/(n − degree − 1).

    Raises
    ------
    TooFewPointsError
        Below degree + 3 points: the scatter about the curve would rest on one degree of freedom or none.

    References
    ----------
    JCGM 100:2008, H.3 (straight line: H.3.2, H.3.3; predicted correction: H.3.4).
    """
    count = temperature_c.size
    if not 1 <= degree <= HIGHEST_DEGREE:
        raise ValueError(f"degree {degree}")
    if count < degree + 3:
        raise TooFewPointsError(f"{count} points for degree {degree}")
    origin = float(temperature_c.mean()) if origin_c is None else origin_c
    x = temperature_c - origin
    # Scaled to ±1, else the powers of some hundred degrees would spoil the last digits.
    scale = float(np.abs(x).max())
    powers = np.vander(x / scale, degree + 1, increasing=True)
    q, r = np.linalg.qr(powers)
    inverse = np.linalg.inv(r)
    scaled = inverse @ (q.T @ correction_c)
    freedom = count - degree - 1
    variance = float(((correction_c - powers @ scaled) ** 2).sum()) / freedom
    back = 1.0 / scale ** np.arange(degree + 1)
    covariance = variance * (inverse @ inverse.T) * np.outer(back, back)
    return Curve(
        origin_c=origin,
        coefficients=tuple(float(value) for value in scaled * back),
        covariance=tuple(tuple(float(value) for value in row) for row in covariance),
        residual_sd_c=variance**0.5,
        degrees_of_freedom=freedom,
        low_c=float(temperature_c.min()),
        high_c=float(temperature_c.max()),
    )
