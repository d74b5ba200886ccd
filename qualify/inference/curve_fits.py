"""Curves that are not linear in their coefficients, fitted by least squares: cooling, purging, settling."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import fsum, sqrt

import numpy as np

from qualify.figures.absent import Absent, Maybe
from qualify.readings.model import FloatArray

Curve = Callable[[FloatArray, FloatArray], FloatArray]
"""A curve f(x, coefficients): (n,) values at the (n,) places x."""
Map = Callable[[FloatArray], FloatArray]
"""Misses, or slopes, of coefficients."""

_MOST_STEPS = 10
_WIDTH = 2.0**-10
_NEAR_ZERO = 1e-6
_EPSILON = float(np.finfo(np.float64).eps)
_CONVERGED_OFFSET = 1e-4
_CONVERGED_STEP = 1e-8
_SAME_SUM = 1e-9
"""Sums of squares near the solution agree to the rounding of the readings, not to that of the sum."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NonlinearFit:
    """A curve fitted by least squares. Units: as they were given.

    Attributes
    ----------
    coefficients : (p,) float64
    standard_errors : (p,) float64 or Absent
        From the curve's derivatives at the solution and the residuals; Absent without convergence or
        without a reading left over.
    covariance : (p, p) float64 or Absent
    residuals : (n,) float64
        y − curve.
    residual_sd
        √(Σ residual² / degrees).
    degrees, count
        n − p, and the readings used [1].
    converged
        Whether the next step would move no coefficient by more than 1e-8 of its size, or all of them by less
        than 1e-4 of what their uncertainty allows.
    evaluations
        How often the curve was computed for a step, those for derivatives aside [1].
    """

    coefficients: FloatArray
    standard_errors: FloatArray | Absent
    covariance: FloatArray | Absent
    residuals: FloatArray
    residual_sd: Maybe
    degrees: int
    count: int
    converged: bool
    evaluations: int


def nonlinear_fit(function: Curve, start: FloatArray, x: FloatArray, y: FloatArray) -> NonlinearFit | Absent:
    """Fit y = function(x, coefficients) by least squares from starting values.

    Levenberg-Marquardt (MINPACK, by scipy), derivatives by central differences, with two scalings of the
    coefficients of which the lower sum of squares is kept; then Gauss-Newton steps as long as they shrink.
    Convergence is judged by the relative offset (Bates & Watts, A relative offset orthogonality convergence
    criterion for nonlinear least squares, Technometrics 23, 1981; cited from memory).

    Parameters
    ----------
    function
        The curve, of (n,) places and (p,) coefficients.
    start : (p,) float64
        Starting values.
    x, y : (n,) float64
        Places and readings; a pair with NaN is an absent reading.

    Returns
    -------
    NonlinearFit or Absent
        Absent with fewer readings than coefficients, a curve that has no value at the start, or readings that
        don't determine the coefficients.
    """
    from scipy.optimize import least_squares

    start = np.asarray(start, dtype=np.float64)
    used = np.isfinite(x) & np.isfinite(y)
    x, y = x[used], y[used]
    n, p = y.size, start.size
    if n < p or p == 0:
        return Absent(f"{n} readings can't give {p} coefficients" if p else "there is nothing to fit")

    def off(coefficients: FloatArray) -> FloatArray:
        values = np.asarray(function(x, coefficients), dtype=np.float64) - y
        # Far off the curve may overflow: a huge miss turns the search round, where NaN would end it.
        return np.where(np.isfinite(values), np.clip(values, -1e150, 1e150), 1e150)

    def slopes_of(coefficients: FloatArray) -> FloatArray:
        return _slopes(off, coefficients, scale)

    scale = np.where(start != 0.0, np.abs(start), 1.0)
    with np.errstate(all="ignore"):
        if not np.isfinite(np.asarray(function(x, start), dtype=np.float64)).all():
            return Absent("the curve has no value at the starting values")
        ends = [
            least_squares(
                off,
                start,
                method="lm",
                x_scale=sizes,
                jac=slopes_of,
                ftol=4 * _EPSILON,
                xtol=4 * _EPSILON,
                gtol=4 * _EPSILON,
                max_nfev=1000 * (p + 1),
            )
            for sizes in (scale, "jac")
        ]
        # From a far start one scaling may run into a corner where the other does not.
        polished = [_polished(off, slopes_of, end.x) for end in ends]
        determined = [one for one in polished if one[3] is not None] or polished
        coefficients, residuals, slopes, step = min(determined, key=lambda one: fsum(one[1] ** 2))
    if step is None or not np.isfinite(slopes).all():
        return Absent("the readings don't determine the curve's coefficients")
    degrees = n - p
    squares = fsum(residuals**2)
    residual_sd: Maybe = (
        sqrt(squares / degrees) if degrees else Absent("no reading is left over to judge the curve by")
    )
    moved = float(np.linalg.norm(slopes @ step)) / sqrt(p)
    # Relative to the coefficients' uncertainty; a curve that goes through every reading has none.
    offset = moved / residual_sd if not isinstance(residual_sd, Absent) and residual_sd > 0.0 else np.inf
    still = bool((np.abs(step) <= _CONVERGED_STEP * np.maximum(np.abs(coefficients), 1e-8 * scale)).all())
    converged = still or offset <= _CONVERGED_OFFSET
    covariance: FloatArray | Absent
    if not converged:
        covariance = Absent("the fit did not converge")
    elif isinstance(residual_sd, Absent):
        covariance = residual_sd
    else:
        lengths = np.linalg.norm(slopes, axis=0)
        inverse = np.linalg.inv(np.linalg.qr(slopes / lengths, mode="r")) / lengths[:, None]
        covariance = inverse @ inverse.T * residual_sd**2
    return NonlinearFit(
        coefficients=coefficients,
        standard_errors=covariance if isinstance(covariance, Absent) else np.sqrt(np.diag(covariance)),
        covariance=covariance,
        residuals=-residuals,
        residual_sd=residual_sd,
        degrees=degrees,
        count=n,
        converged=converged,
        evaluations=sum(int(end.nfev) for end in ends),
    )


def _polished(
    off: Map, slopes_of: Map, coefficients: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray | None]:
    """Gauss-Newton steps from a near solution: coefficients, misses, slopes there, and the next step."""
    misses = off(coefficients)
    slopes = slopes_of(coefficients)
    step = _gauss_newton(slopes, misses)
    for _ in range(_MOST_STEPS):
        if step is None:
            break
        tried = coefficients + step
        tried_misses = off(tried)
        # Near the solution the sums agree to the rounding of the readings, and the smaller step is the
        # better judge.
        if fsum(tried_misses**2) > fsum(misses**2) * (1.0 + _SAME_SUM):
            break
        tried_slopes = slopes_of(tried)
        tried_step = _gauss_newton(tried_slopes, tried_misses)
        if tried_step is None or not np.linalg.norm(tried_slopes @ tried_step) < np.linalg.norm(
            slopes @ step
        ):
            break
        coefficients, misses, slopes, step = tried, tried_misses, tried_slopes, tried_step
    return coefficients, misses, slopes, step


def _gauss_newton(slopes: FloatArray, misses: FloatArray) -> FloatArray | None:
    """Least-squares step −slopes⁺·misses; None where the slopes don't determine it."""
    lengths = np.linalg.norm(slopes, axis=0)
    if not (np.isfinite(lengths) & (lengths > 0.0)).all():
        return None
    step, _, rank, _ = np.linalg.lstsq(slopes / lengths, -misses, rcond=misses.size * _EPSILON)
    return step / lengths if rank == lengths.size else None


def _slopes(off: Map, coefficients: FloatArray, scale: FloatArray) -> FloatArray:
    """Derivatives by each coefficient: central differences at two widths, the error in width² taken out.

    Richardson's extrapolation; the width balances its error, width⁴, against rounding. `scale` is the size of
    the starting values; a coefficient that came near zero is moved by a part of that.
    """
    slopes = np.empty((off(coefficients).size, coefficients.size))
    widths = _WIDTH * np.maximum(np.abs(coefficients), _NEAR_ZERO * scale)
    for column, width in enumerate(widths):
        near, far = (_central(off, coefficients, column, part * width) for part in (0.5, 1.0))
        slopes[:, column] = near + (near - far) / 3.0
    return slopes


def _central(off: Map, coefficients: FloatArray, column: int, width: float) -> FloatArray:
    above, below = coefficients.copy(), coefficients.copy()
    above[column] += width
    below[column] -= width
    return (off(above) - off(below)) / (above[column] - below[column])
