"""The two models of a temperature field, fitted to the locations' means, and how each does left out."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np

from qualify.figures.absent import Absent, present
from qualify.inference.fits import LinearFit, linear_fit
from qualify.inference.gaussian_process import Process, Trend, fit_process, linear_trend
from qualify.readings.model import FloatArray

TRILINEAR, PROCESS = "trilinear", "gaussian process"
LEAST_FOR_THREE_LENGTHS = 30
"""About ten locations for the correlation length of each direction; below, one length serves all three."""
_ALONE = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class LackOfFit:
    """Whether the trilinear field explains the means within their uncertainty.

    Attributes
    ----------
    chi_square, degrees
        Σ (residual/standard uncertainty)² and its degrees of freedom [1].
    probability
        Of so large a sum, or larger, if the field were trilinear [1].
    """

    chi_square: float
    degrees: int
    probability: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Trilinear:
    """A trilinear field of coefficients (8,) [°C] with covariance (8, 8) [°C²]; places in parts of the sides.

    `sd` [°C] is the size of what it misses, and `lengths` (3,) the distance over which that changes.
    """

    coefficients: FloatArray
    covariance: FloatArray
    sd: float
    lengths: FloatArray

    def predict(self, places: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Give the field at places (k, 3): (k,) mean [°C] and (k,) variance [°C²]."""
        design = trilinear_design(places)
        own = np.einsum("ij,jk,ik->i", design, self.covariance, design)
        return design @ self.coefficients, own + self.sd**2


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldModel:
    """One fitted model.

    Attributes
    ----------
    name, fitted, trend
        What it is.
    errors, variances : (n,) float64
        Error of each location left out [°C], and the variance that the model states for it [°C²].
    own_variance
        Mean of the means' own variances [°C²].
    """

    name: str
    fitted: Trilinear | Process
    trend: Trend
    errors: FloatArray
    variances: FloatArray
    own_variance: float

    @property
    def left_out_c(self) -> float:
        """Root mean square of the errors [°C]."""
        return float(np.sqrt(np.mean(self.errors**2)))

    @property
    def hidden_c(self) -> float:
        """The part of these errors that is not the means' own [°C]: what the model doesn't see of a place."""
        return sqrt(max(self.left_out_c**2 - self.own_variance, 0.0))

    @property
    def widening(self) -> float:
        """Ratio of the errors to what the model states, at least 1 [1]."""
        return max(1.0, float(np.sqrt(np.mean(self.errors**2 / self.variances))))

    def predict(self, places: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Give the field at places (k, 3): (k,) estimate and standard uncertainty [°C]."""
        mean, spread = self.fitted.predict(places)
        variance = spread if spread.ndim == 1 else np.diag(spread)
        return mean, self.widening * np.sqrt(np.maximum(variance, 0.0))


def trilinear_design(parts: FloatArray) -> FloatArray:
    """Give the columns 1, x, y, z, xy, xz, yz, xyz (n, 8) of places (n, 3), from the zone's middle."""
    x, y, z = (parts - 0.5).T
    return np.column_stack([np.ones(x.size), x, y, z, x * y, x * z, y * z, x * y * z])


def fit_trilinear(
    parts: FloatArray, values: FloatArray, standard: FloatArray
) -> tuple[FieldModel | Absent, LackOfFit | Absent]:
    """Fit a trilinear field by least squares, weighed by what each mean is uncertain by.

    What it misses is taken as one more variance, found from the residuals (`_missed`).

    Parameters
    ----------
    parts : (n, 3) float64
        Places in parts of the sides [1].
    values, standard : (n,) float64
        Means and their standard uncertainties [°C], the latter above zero.

    Returns
    -------
    FieldModel, LackOfFit
        Both Absent where the places don't tell the eight terms apart; the former also where one location
        alone decides a term.
    """
    from scipy.special import chdtrc

    design = trilinear_design(parts)
    plain = linear_fit(design, values, standard)
    if isinstance(plain, Absent):
        absent = Absent("the locations don't tell the terms of a trilinear field apart")
        return absent, absent
    if plain.degrees == 0:
        absent = Absent("eight locations fit any trilinear field")
        return absent, absent
    assert present(plain.chi_square)
    lack = LackOfFit(
        chi_square=plain.chi_square,
        degrees=plain.degrees,
        probability=float(chdtrc(plain.degrees, plain.chi_square)),
    )
    sd, fit = _missed(design, values, standard, plain)
    room = 1.0 - fit.leverage
    if room.min() < _ALONE:
        return Absent("one location alone decides a term of the trilinear field"), lack
    assert not isinstance(fit.covariance, Absent)
    model = FieldModel(
        name=TRILINEAR,
        fitted=Trilinear(
            coefficients=fit.coefficients,
            covariance=fit.covariance,
            sd=sd,
            # What changes over less than the distance of neighbours would not be seen.
            lengths=np.full(3, values.size ** (-1 / 3)),
        ),
        trend=trilinear_design,
        errors=fit.left_out_residuals,
        variances=(sd**2 + standard**2) / room,
        own_variance=float(np.mean(standard**2)),
    )
    return model, lack


def _missed(
    design: FloatArray, values: FloatArray, standard: FloatArray, plain: LinearFit
) -> tuple[float, LinearFit]:
    """Deviation [°C] with which chi-square equals its degrees of freedom; 0 where it is below them.

    Paule & Mandel, Consensus values and weighting factors, J. Res. NBS 87, 1982 (cited from memory).
    """
    from scipy.optimize import brentq

    assert present(plain.chi_square)
    if plain.chi_square <= plain.degrees:
        return 0.0, plain

    def excess(deviation: float) -> float:
        weight = 1.0 / np.hypot(standard, deviation)
        weighed, wanted = design * weight[:, None], values * weight
        left = wanted - weighed @ np.linalg.lstsq(weighed, wanted, rcond=None)[0]
        return float(left @ left) / plain.degrees - 1.0

    # With all weights alike this is where the excess is zero or below; unlike ones move it but little.
    high = sqrt(plain.chi_square / plain.degrees) * float(standard.max())
    while excess(high) > 0.0:
        high *= 2.0
    sd = float(brentq(excess, 0.0, high, rtol=1e-9))
    fit = linear_fit(design, values, np.hypot(standard, sd))
    assert not isinstance(fit, Absent)
    return sd, fit


def fit_smooth(parts: FloatArray, values: FloatArray, standard: FloatArray) -> FieldModel:
    """Fit a Gaussian process on a linear trend; parameters as for `fit_trilinear`, not all in one plane."""
    one_length = values.size < LEAST_FOR_THREE_LENGTHS
    process = fit_process(parts, values, standard, linear_trend, one_length=one_length)
    errors, variances = process.leave_one_out()
    return FieldModel(
        name=PROCESS,
        fitted=process,
        trend=linear_trend,
        errors=errors,
        variances=variances,
        own_variance=float(np.mean(standard**2)),
    )
