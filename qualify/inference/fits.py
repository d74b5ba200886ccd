"""Linear least-squares fits, as good as double precision allows.

A fit is solved by QR of the design with its columns brought to like size, then refined: residuals
are formed in twice the working precision and the augmented system is solved for what is left (Björck,
Iterative refinement of linear least squares solutions I, BIT 7, 1967, pages 257-278; cited from memory).
What remains is the rounding of the design itself.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import fsum, sqrt

import numpy as np

from qualify.figures.absent import Absent, Maybe
from qualify.readings.model import FloatArray

_MOST_REFINEMENTS = 10
_EPSILON = float(np.finfo(np.float64).eps)
_TINY = float(np.finfo(np.float64).tiny)


@dataclass(frozen=True, slots=True, kw_only=True)
class LinearFit:
    """A linear least-squares fit. Units: y and its coefficients as they were given.

    Attributes
    ----------
    coefficients : (p,) float64
    standard_errors : (p,) float64 or Absent
        From `covariance`.
    covariance : (p, p) float64 or Absent
        With known standard uncertainties from these alone; else scaled by the residuals. Absent where
        residuals should scale it and no reading is left over.
    residuals : (n,) float64
        y − fit, of the readings used.
    leverage : (n,) float64
        Diagonal of the hat matrix [1].
    residual_sd
        √(Σ residual² / degrees); with known standard uncertainties of residual/standard [1], the Birge ratio.
    chi_square
        Σ (residual/standard)² [1]; Absent without known standard uncertainties.
    degrees
        n − p [1].
    count
        Readings used [1]; those that were absent (NaN) are not.
    condition
        Ratio of the largest to the smallest singular value of the design with columns of like size [1].
    """

    coefficients: FloatArray
    standard_errors: FloatArray | Absent
    covariance: FloatArray | Absent
    residuals: FloatArray
    leverage: FloatArray
    residual_sd: Maybe
    chi_square: Maybe
    degrees: int
    count: int
    condition: float

    @property
    def left_out_residuals(self) -> FloatArray:
        """Residual of each reading against the fit to all others, e/(1 − h); infinite where h is 1.

        Allen, The relationship between variable selection and data augmentation and a method for
        prediction, Technometrics 16, 1974 (cited from memory).
        """
        room = 1.0 - self.leverage
        return np.divide(
            self.residuals, room, out=np.full(room.shape, np.inf), where=room > 64 * _EPSILON * room.size
        )


def linear_fit(
    design: FloatArray, y: FloatArray, known_standard: FloatArray | None = None
) -> LinearFit | Absent:
    """Fit y = design · coefficients by least squares.

    Parameters
    ----------
    design : (n, p) float64
        One row a reading, one column a coefficient.
    y : (n,) float64
        Readings; a row with NaN anywhere is an absent reading.
    known_standard : (n,) float64, optional
        Standard uncertainty of each reading [unit of y], above zero; readings weigh 1/standard², and
        one of infinite or unknown uncertainty counts as absent.

    Returns
    -------
    LinearFit or Absent
        Absent with fewer readings than coefficients, readings that don't determine the coefficients, or a
        standard uncertainty that is not above zero.
    """
    used = np.isfinite(design).all(axis=1) & np.isfinite(y)
    if known_standard is not None:
        used &= np.isfinite(known_standard)
        if not (known_standard[used] > 0.0).all():
            return Absent("a reading without uncertainty would outweigh all others in the fit")
    a, b = design[used], y[used]
    if known_standard is not None:
        weight = 1.0 / known_standard[used]
        a, b = a * weight[:, None], b * weight
    n, p = a.shape
    if n < p or p == 0:
        return Absent(f"{n} readings can't give {p} coefficients" if p else "there is nothing to fit")
    norms = np.sqrt(np.einsum("ij,ij->j", a, a))
    if not (norms > 0.0).all():
        return Absent("the readings don't tell the coefficients apart")
    # Powers of two, so that the scaling itself rounds nothing.
    scale = np.exp2(-np.round(np.log2(norms)))
    a = a * scale
    singular = np.linalg.svd(a, compute_uv=False)
    if singular[-1] <= n * _EPSILON * singular[0]:
        return Absent("the readings don't tell the coefficients apart")
    q, r = np.linalg.qr(a)
    solution, residuals = _refined(a, q, r, b, np.zeros(p))
    # The same augmented system with a unit vector below gives a column of −(AᵀA)⁻¹.
    columns = [_refined(a, q, r, np.zeros(n), -unit)[0] for unit in np.eye(p)]
    inverse = np.column_stack(columns)
    inverse = (inverse + inverse.T) / 2.0 * np.outer(scale, scale)
    degrees = n - p
    squares = fsum(residuals**2)
    residual_sd: Maybe = (
        sqrt(squares / degrees) if degrees else Absent("no reading is left over to judge the fit by")
    )
    covariance: FloatArray | Absent
    if known_standard is not None:
        covariance = inverse
    elif isinstance(residual_sd, Absent):
        covariance = residual_sd
    else:
        covariance = inverse * residual_sd**2
    return LinearFit(
        coefficients=solution * scale,
        standard_errors=covariance if isinstance(covariance, Absent) else np.sqrt(np.diag(covariance)),
        covariance=covariance,
        residuals=residuals if known_standard is None else residuals * known_standard[used],
        leverage=np.minimum(np.einsum("ij,ij->i", q, q), 1.0),
        residual_sd=residual_sd,
        chi_square=squares
        if known_standard is not None
        else Absent("the readings' uncertainty is not known"),
        degrees=degrees,
        count=n,
        condition=float(singular[0] / singular[-1]),
    )


def _refined(
    a: FloatArray, q: FloatArray, r: FloatArray, top: FloatArray, below: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Solve [I A; Aᵀ 0]·[residual; solution] = [top; below], refined until corrections stop falling."""
    from scipy.linalg import solve_triangular

    def solve(f: FloatArray, g: FloatArray) -> tuple[FloatArray, FloatArray]:
        along = q.T @ f - solve_triangular(r, g, trans="T")
        return solve_triangular(r, along), f - q @ along

    solution, residual = solve(top, below)
    former = np.inf
    for _ in range(_MOST_REFINEMENTS):
        f = _left_over(a, solution, residual, top)
        g = below - _column_products(a, residual)
        step, change = solve(f, g)
        # Relative to each coefficient, but not to one that is zero to rounding.
        largest = float(np.abs(solution).max())
        size = float(np.max(np.abs(step) / np.maximum(np.abs(solution), _EPSILON * largest + _TINY)))
        if not size < former / 2.0:
            break
        solution, residual = solution + step, residual + change
        former = size
    return solution, residual


def _left_over(a: FloatArray, solution: FloatArray, residual: FloatArray, top: FloatArray) -> FloatArray:
    """Give top − residual − A·solution as if computed with twice the digits.

    Ogita, Rump & Oishi, Accurate sum and dot product, SIAM J. Sci. Comput. 26, 2005, algorithm 5.3
    (cited from memory).
    """
    total, lost = _two_sum(top, -residual)
    for column, coefficient in zip(a.T, solution, strict=True):
        product, rest = _two_product(column, -coefficient)
        total, gone = _two_sum(total, product)
        lost = lost + (gone + rest)
    return total + lost


def _column_products(a: FloatArray, residual: FloatArray) -> FloatArray:
    """Give Aᵀ·residual, each sum rounded once."""
    product, rest = _two_product(a, residual[:, None])
    return np.array([fsum(column) for column in np.vstack([product, rest]).T])


def _two_sum(one: FloatArray, other: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Sum as rounded, and what rounding took (Knuth)."""
    total = one + other
    part = total - one
    return total, (one - (total - part)) + (other - part)


def _two_product(one: FloatArray, other: FloatArray | float) -> tuple[FloatArray, FloatArray]:
    """Product as rounded, and what rounding took (Dekker, with Veltkamp's splitting)."""
    product = one * other
    (one_high, one_low), (other_high, other_low) = _split(one), _split(np.asarray(other))
    rest = ((one_high * other_high - product) + one_high * other_low + one_low * other_high) + (
        one_low * other_low
    )
    return product, rest


def _split(values: FloatArray) -> tuple[FloatArray, FloatArray]:
    wide = values * 134217729.0  # 2²⁷ + 1
    high = wide - (wide - values)
    return high, values - high
