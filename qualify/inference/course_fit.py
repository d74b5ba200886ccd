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
from qualify.inference.curve_fits import Curve, nonlinear_fit
from qualify.probability import student_quantile
from qualify.readings.model import FloatArray

LEAST_READINGS = 12
LEVEL = 0.01
"""Share of records that one curve describes, and that are nevertheless said not to fit."""
_MEMORIES = np.concatenate((np.linspace(0.0, 0.9, 19), [0.93, 0.95]))
_WAVES = 4
_SAME = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Misfit:
    """Outcome of the test whether a curve describes a record.

    Attributes
    ----------
    p_value
        Chance of so large a slow departure where the curve is right [1].
    level
        Share of right curves that are said not to fit [1].
    largest
        Largest slow departure of the readings from the curve, in their unit.
    fits
        Whether there is no sign that the curve is wrong.
    waves
        Slow waves that were looked for [1].
    """

    p_value: float
    level: float
    largest: float
    fits: bool
    waves: int


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

    The test: after the fit the readings still hold slow waves (cosines along time and along the course's own
    progress), or only noise. Under the right curve the ratio of the two variances is Fisher's F; its chance
    is averaged over the likely values of ρ (restricted likelihood: Patterson & Thompson, Biometrika 58, 1971,
    545–554, and Harville, Journal of the American Statistical Association 72, 1977, 320–338; both cited from
    memory). A departure within half a resolution step is no sign. This form is the project's own; its false
    alarms are counted in reference_checks/test_purge.py.

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
        Step in which readings are shown, in their unit.

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
        _waves(seconds, function(seconds, first.coefficients))[:, : max(1, (n - p) // 3)] * weight[:, None]
    )
    steps = np.diff(seconds) / float(np.median(np.diff(seconds)))
    noise = _noise_of(first.residuals, tangent, waves, steps)
    memory = noise.memory
    fit = first
    if memory > 0.0:

        def remembered(_: FloatArray, coefficients: FloatArray) -> FloatArray:
            return _whitened(weighted(at, coefficients), memory, steps)

        again = nonlinear_fit(remembered, first.coefficients, at, _whitened(weight * values, memory, steps))
        if isinstance(again, Absent):
            return again
        fit = again
    if not fit.converged:
        return Absent("the fit did not converge")
    residuals = values - function(seconds, fit.coefficients)
    largest = float(np.max(np.abs(noise.departure / weight)))
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
            p_value=noise.p_value,
            level=LEVEL,
            largest=largest,
            fits=noise.p_value >= LEVEL or largest <= resolution / 2,
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


def _waves(seconds: FloatArray, course: FloatArray) -> FloatArray:
    """Cosines of half to two periods along the course and along time, alternating, the slowest first."""
    along = [(part - part.min()) / max(float(np.ptp(part)), 1e-300) for part in (course, seconds)]
    return np.column_stack(
        [np.cos(np.pi * number * part) for number in range(1, _WAVES + 1) for part in along]
    )


def _whitened(columns: FloatArray, memory: float, steps: FloatArray) -> FloatArray:
    """Take the remembered part out of each reading and bring all to one variance: (n,) or (n, k)."""
    kept = np.power(memory, steps) if memory > 0.0 else np.zeros(steps.size)
    scale = np.sqrt(1.0 - kept**2)
    if columns.ndim == 2:
        kept, scale = kept[:, None], scale[:, None]
    return np.concatenate((columns[:1], (columns[1:] - kept * columns[:-1]) / scale))


@dataclass(frozen=True, slots=True)
class _Noise:
    """What the readings say of their noise, and of what the curve leaves.

    Attributes
    ----------
    memory
        Likeliest share that the next reading keeps [1].
    p_value
        Chance of so large a slow departure, averaged over the likely memories [1].
    departure : (n,) float64
        The slow departure, weighted as the readings are.
    waves
        Slow waves looked for [1].
    covariance : (p, p) float64
        Of the coefficients, averaged over the likely memories.
    """

    memory: float
    p_value: float
    departure: FloatArray
    waves: int
    covariance: FloatArray


def _noise_of(residuals: FloatArray, tangent: FloatArray, waves: FloatArray, steps: FloatArray) -> _Noise:
    """Go through the possible memories of the noise: likelihood, test and covariance under each."""
    from scipy.stats import f as f_distribution

    n, p = tangent.shape
    lengths = np.linalg.norm(tangent, axis=0)
    tangent = tangent / lengths
    likelihoods, chances, covariances = [], [], []
    outcome: list[tuple[FloatArray, int]] = []
    for memory in _MEMORIES:
        curve = _whitened(tangent, float(memory), steps)
        rest = _whitened(residuals, float(memory), steps)
        slow_columns = _whitened(waves, float(memory), steps)
        basis, triangle = np.linalg.qr(curve)
        rest = rest - basis @ (basis.T @ rest)
        slow_columns = slow_columns - basis @ (basis.T @ slow_columns)
        directions, sizes, turned = np.linalg.svd(slow_columns, full_matrices=False)
        used = sizes > _SAME * sizes[0]
        directions, sizes, turned = directions[:, used], sizes[used], turned[used]
        along = directions.T @ rest
        count, degrees = along.size, n - p - int(along.size)
        noise = max(float(np.sum((rest - directions @ along) ** 2)), 1e-300)
        ratio = float(np.sum(along**2)) / count / (noise / degrees)
        chances.append(float(f_distribution.sf(ratio, count, degrees)))
        kept = np.power(float(memory), steps) if memory > 0 else np.zeros(steps.size)
        likelihoods.append(
            -0.5 * degrees * np.log(noise)
            - 0.5 * float(np.sum(np.log1p(-(kept**2))))
            - float(np.sum(np.log(np.abs(np.diag(triangle)))))
            - float(np.sum(np.log(sizes)))
        )
        inverse = np.linalg.inv(triangle) / lengths[:, None]
        covariances.append(inverse @ inverse.T * float(np.sum(rest**2)) / (n - p))
        # The departure in readings, the part that the curve itself could take up left out.
        shape = waves @ (turned.T @ (along / sizes))
        outcome.append((shape - tangent @ np.linalg.lstsq(tangent, shape, rcond=None)[0], count))
    shares = np.exp(np.array(likelihoods) - max(likelihoods))
    best = int(np.argmax(shares))
    # The grid is finer near its upper end: each value counts for the stretch of memories around it.
    shares *= np.gradient(_MEMORIES)
    shares /= shares.sum()
    return _Noise(
        memory=float(_MEMORIES[best]),
        p_value=float(shares @ np.array(chances)),
        departure=outcome[best][0],
        waves=outcome[best][1],
        covariance=np.einsum("g,gij->ij", shares, np.array(covariances)),
    )
