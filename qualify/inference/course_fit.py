"""A smooth course fitted to a recording: intervals that allow for memory of the noise, a test of the curve.

Readings in a row often miss the curve alike (a filter in the analyser, a slow control). The noise is taken as
first-order autoregressive: a reading keeps the share ρ of what the reading before it missed the curve by. ρ
is estimated by restricted likelihood beside the curve and beside a few slow waves, so that a curve which
doesn't fit is not taken for noise with memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np

from qualify.figures.absent import Absent
from qualify.inference.course_noise import noise_of, slow_waves, whitened
from qualify.inference.curve_fits import Curve, nonlinear_fit
from qualify.probability import student_quantile
from qualify.readings.model import FloatArray

LEAST_READINGS = 12
LEVEL = 0.01
"""Share of records that one curve describes, and that are nevertheless said not to fit."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Misfit:
    """Outcome of the test whether a curve describes a record.

    Attributes
    ----------
    p_slow, p_jump
        Chance of so large a slow departure, and of so large a jump, where the curve is right [1].
    level
        Share of right curves that are said not to fit [1]; half of it for each sign.
    largest
        Largest slow departure of the readings from the curve, in their unit.
    jump
        Largest step of the readings that neither curve nor noise foretells, with its sign, in their unit.
    jump_s
        Instant of its first reading, as given to the fit [s].
    slow, jumped
        Whether the readings depart slowly; whether they jump.
    waves
        Slow waves that were looked for [1].
    """

    p_slow: float
    p_jump: float
    level: float
    largest: float
    jump: float
    jump_s: float
    slow: bool
    jumped: bool
    waves: int

    @property
    def fits(self) -> bool:
        """Whether there is no sign that the curve is wrong."""
        return not (self.slow or self.jumped)


@dataclass(frozen=True, slots=True, kw_only=True)
class CourseFit:
    """A curve fitted to a record.

    Attributes
    ----------
    coefficients : (p,) float64
    covariance : (p, p) float64
        Averaged over the likely memories of the noise.
    degrees
        Degrees of freedom [1]: readings that count as independent, less p.
    quantile
        Student's t for a 95 % interval [1].
    residuals : (n,) float64
        Reading − curve, in the readings' unit.
    residual_sd
        Their standard deviation, p coefficients allowed for, in the readings' unit.
    memory
        Share of a miss that the next reading keeps, at the median interval [1].
    readings
        Readings used [1].
    misfit
        Whether the curve describes the record.
    """

    coefficients: FloatArray
    covariance: FloatArray
    degrees: float
    quantile: float
    residuals: FloatArray
    residual_sd: float
    memory: float
    readings: int
    misfit: Misfit


def fit_course(
    function: Curve,
    start: FloatArray,
    seconds: FloatArray,
    values: FloatArray,
    *,
    sd: FloatArray | None = None,
    resolution: float = 0.0,
) -> CourseFit | Absent:
    """Fit a curve by generalised least squares and test whether it describes the record.

    Two signs are looked for, each at half the level.

    Slow departures: after the fit the readings still hold slow waves (cosines along time and along the
    course's own progress), or only noise. Under the right curve the ratio of the two variances is Fisher's F;
    its chance is averaged over the likely values of ρ (restricted likelihood: Patterson & Thompson,
    Biometrika 58, 1971, 545–554, and Harville, Journal of the American Statistical Association 72, 1977,
    320–338; both cited from memory). A departure within half a resolution step is no sign.

    Jumps (a door, a flow that changes): the reading that its predecessors foretell worst, by its externally
    studentised residual and Bonferroni's bound (R. D. Cook & S. Weisberg, Residuals and Influence in
    Regression, 1982, section 2.2; cited from memory). A jump within one resolution step is no sign.

    This form is the project's own; its false alarms are counted in reference_checks/test_purge.py.

    Parameters
    ----------
    function
        Curve of instants [s] and coefficients, rising or falling throughout.
    start : (p,) float64
        Starting values of the coefficients.
    seconds, values : (n,) float64
        Instants [s], rising, and readings without gaps.
    sd : (n,) float64
        How the noise of one reading compares with that of another (only ratios count); None for all alike.
    resolution
        Step in which readings are shown, in their unit; the smallest step between readings where that is
        larger.

    Returns
    -------
    CourseFit or Absent
    """
    n, p = values.size, start.size
    if n < LEAST_READINGS:
        return Absent(f"{n} readings; a curve whose fit can be judged needs at least {LEAST_READINGS}")
    weight = np.ones(n) if sd is None else float(np.median(sd)) / sd
    at = np.arange(n, dtype=np.float64)

    def weighted(_: FloatArray, coefficients: FloatArray) -> FloatArray:
        return weight * function(seconds, coefficients)

    first = nonlinear_fit(weighted, start, at, weight * values)
    if isinstance(first, Absent):
        return first
    if isinstance(first.covariance, Absent):
        return first.covariance
    if float(np.max(np.abs(first.residuals))) <= 1e-12 * float(np.max(np.abs(values))):
        return Absent("the readings do not scatter about the curve, so how sure it is can't be told")
    tangent = _tangent(weighted, first.coefficients, at)
    waves = (
        slow_waves(seconds, function(seconds, first.coefficients))[:, : max(1, (n - p) // 3)]
        * weight[:, None]
    )
    steps = np.diff(seconds) / float(np.median(np.diff(seconds)))
    noise = noise_of(first.residuals, tangent, waves, steps)
    memory = noise.memory
    fit = first
    if memory > 0.0:

        def remembered(_: FloatArray, coefficients: FloatArray) -> FloatArray:
            return whitened(weighted(at, coefficients), memory, steps)

        again = nonlinear_fit(remembered, first.coefficients, at, whitened(weight * values, memory, steps))
        if isinstance(again, Absent):
            return again
        fit = again
    if not fit.converged:
        return Absent("the fit did not converge")
    residuals = values - function(seconds, fit.coefficients)
    largest = float(np.max(np.abs(noise.departure / weight)))
    # Shown in steps, readings miss a right curve by half a step for long, then jump by one.
    between = np.diff(np.unique(values))
    resolution = max(resolution, float(between.min()) if between.size else 0.0)
    jump = noise.jump / float(weight[noise.jump_at])
    degrees = max(1.0, n * (1.0 - memory) / (1.0 + memory) - p)
    return CourseFit(
        coefficients=fit.coefficients,
        covariance=noise.covariance,
        degrees=degrees,
        quantile=student_quantile(degrees),
        residuals=residuals,
        residual_sd=sqrt(float(np.sum(residuals**2)) / (n - p)),
        memory=memory,
        readings=n,
        misfit=Misfit(
            p_slow=noise.p_slow,
            p_jump=noise.p_jump,
            level=LEVEL,
            largest=largest,
            jump=jump,
            jump_s=float(seconds[noise.jump_at]),
            slow=noise.p_slow < LEVEL / 2 and largest > resolution / 2,
            jumped=noise.p_jump < LEVEL / 2 and abs(jump) > 1.01 * resolution,
            waves=noise.waves,
        ),
    )


def _tangent(function: Curve, coefficients: FloatArray, at: FloatArray) -> FloatArray:
    """Derivatives of a curve by its coefficients, central differences: (n, p)."""
    columns = []
    for index, value in enumerate(coefficients):
        width = 1e-5 * max(abs(float(value)), 1e-3)
        above, below = coefficients.copy(), coefficients.copy()
        above[index] += width
        below[index] -= width
        columns.append((function(at, above) - function(at, below)) / (2 * width))
    return np.column_stack(columns)
