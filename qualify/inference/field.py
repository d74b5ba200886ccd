"""Places without a sensor: a smooth model of the temperature field, and the extremes to expect of it.

Two models are fitted to the locations' means (`field_models`): the trilinear field
a + bx + cy + dz + exy + fxz + gyz + hxyz, and a Gaussian process on a linear trend. Each location is left out
and predicted from the others; the model with the smaller error is used, and none if it does no better than
the plain mean of the others.

The extremes are those of fields simulated given the means: the model's trend with smooth deviations of every
size and correlation length that the means leave likely, their spread widened where the errors of leaving
one out are larger than the model states. The far end of an interval is at least 1.96 such errors beyond
what is expected, as a spot between locations is at worst as hidden as a location left out. The near end is
what the most extreme location itself may be taken to have. An estimate is a help to place sensors. It decides
nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from qualify.figures.absent import Absent, Maybe
from qualify.inference.field_models import (
    PROCESS,
    TRILINEAR,
    FieldModel,
    LackOfFit,
    fit_smooth,
    fit_trilinear,
)
from qualify.inference.field_places import FieldZone, bad_zone, search_places, shown_axes, why_not
from qualify.inference.gaussian_process import likely_processes
from qualify.probability import normal_quantile
from qualify.readings.model import BoolArray, FloatArray

ESTIMATE_ONLY = (
    "An estimate from a smooth model of the temperature field between the locations. Hot or cold spots "
    "narrower than the distance of neighbouring locations don't show in it. It is no verdict and never "
    "grounds for fewer sensors."
)
ROUGH = (
    "Leaving out locations shows that the field changes between neighbours by much that the model does not "
    "see: true extremes lie outside such intervals more often than in 5 % of cases."
)
ROUGH_FROM = 0.5
"""From this part of the plain mean's error on, the estimate carries `ROUGH`: our own rule, from the study."""
BETTER_THAN_MEAN = 0.9
"""The error of leaving one out must be below this part of the plain mean's: our own rule; how often means
without a field pass it, tests/studies/field.py measures."""
CONFIDENCE = 0.95
DRAWS, LEAST_DRAWS = 4000, 100
SEED = 20_250_101
NAMES = {TRILINEAR: "trilinear field", PROCESS: "Gaussian process"}
NEAR_SHARE = 0.25
_LIKELY = 12
_LEAST_STANDARD = 1e-6
_SAME = 1e-12


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldExtreme:
    """The expected highest, or lowest, temperature in the whole work zone.

    Attributes
    ----------
    expected_c
        Mean over the simulated fields [°C]; never inside what was observed.
    low_c, high_c
        Ends of the 95 % interval [°C].
    position_mm : (x, y, z)
        Where most simulated fields have it [mm].
    share_there
        Part of the simulated fields that have it within a quarter of each side of that place [1].
    observed_c
        The highest, or lowest, mean of a location [°C].
    """

    expected_c: float
    low_c: float
    high_c: float
    position_mm: tuple[float, float, float]
    share_there: float
    observed_c: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldGrid:
    """The estimated field on a small grid, to be drawn.

    Attributes
    ----------
    x_mm, y_mm, z_mm : (nx,), (ny,), (nz,) float64
        Axes [mm].
    temperature_c, standard_c : (nz, ny, nx) float64
        Estimate and its standard uncertainty [°C].
    inside : (ny, nx) bool
        Whether the place lies in the zone; the corners of a cylinder's box do not.
    """

    x_mm: FloatArray
    y_mm: FloatArray
    z_mm: FloatArray
    temperature_c: FloatArray
    standard_c: FloatArray
    inside: BoolArray


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOut:
    """Root mean square error of predicting each location from the others [°C], by model."""

    mean_c: float
    trilinear_c: Maybe
    process_c: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldEstimate:
    """An estimate of the field of the whole work zone; see `ESTIMATE_ONLY`.

    Attributes
    ----------
    model, why
        Which model is used, and why.
    caution
        `ROUGH` where it applies, else empty.
    locations, without_mean, outside
        Locations used; those left out as they have no mean, and those as they stand outside the zone [1].
    highest, lowest
        The expected extremes.
    left_out
        Errors of leaving one out.
    lack_of_fit
        Test of the trilinear field; Absent where it can't be fitted.
    widening
        Factor on the model's standard deviations, from the errors of leaving one out [1]; at least 1.
    deviation_sd_c
        Standard deviation of the field about its trend [°C].
    lengths_mm : (x, y, z)
        Correlation lengths of that deviation [mm]; for the trilinear field assumed, the neighbours' distance.
    grid
        The field to be drawn.
    confidence, draws, seed
        Of the intervals [1]; simulated fields [1]; seed of the random numbers.
    statement
        What an estimate is; printed with it.
    """

    model: str
    why: str
    caution: str
    locations: int
    without_mean: int
    outside: int
    highest: FieldExtreme
    lowest: FieldExtreme
    left_out: LeftOut
    lack_of_fit: LackOfFit | Absent
    widening: float
    deviation_sd_c: float
    lengths_mm: tuple[float, float, float]
    grid: FieldGrid
    confidence: float
    draws: int
    seed: int
    statement: str


def estimate_field(
    positions_mm: FloatArray,
    means_c: FloatArray,
    standard_c: FloatArray,
    zone: FieldZone,
    *,
    draws: int = DRAWS,
    seed: int = SEED,
) -> FieldEstimate | Absent:
    """Estimate the highest and the lowest temperature of the whole work zone from its locations.

    Parameters
    ----------
    positions_mm : (m, 3) float64
        Places from the left front lower corner [mm]; NaN where not known.
    means_c : (m,) float64
        Mean of each location in the window [°C]; NaN where it has none.
    standard_c : (m,) float64
        Standard uncertainty of each mean [°C]: the part of its sensor's error that others don't share, and
        its scatter in time. What all sensors share shifts the whole field and is not in the intervals.
    zone
        The work zone.
    draws, seed
        Fields to simulate, at least 100, and the seed of the random numbers.

    Returns
    -------
    FieldEstimate or Absent
        Absent where positions or uncertainties are missing, with fewer than 15 locations, locations in one
        plane or at corners and centre only, equal means, and where leaving out locations shows that no
        model predicts them better than the mean of the others.

    Raises
    ------
    ValueError
        With fewer than 100 draws.
    """
    if draws < LEAST_DRAWS:
        raise ValueError(f"{draws} simulated fields give no 95 % interval; at least {LEAST_DRAWS}")
    refused = bad_zone(zone) or _why_not_inputs(positions_mm, means_c, standard_c)
    if refused is not None:
        return refused
    known = np.isfinite(means_c)
    parts = positions_mm / zone.size
    held = zone.inside(parts)
    used = known & held
    refused = why_not(parts[used], zone)
    if refused is not None:
        return refused
    # One order for one set of locations, whatever order they come in.
    order = np.lexsort((means_c[used], *parts[used].T))
    parts, means, standard = parts[used][order], means_c[used][order], standard_c[used][order]
    middle = float(means.mean())
    values = means - middle
    size = float(np.sqrt(np.mean(values**2)))
    if size <= _SAME * max(1.0, abs(middle)):
        return Absent("all locations have the same mean: there is no field to model")
    standard = np.maximum(standard, _LEAST_STANDARD * size)
    trilinear, lack_of_fit = fit_trilinear(parts, values, standard)
    process = fit_smooth(parts, values, standard)
    left_out = LeftOut(
        mean_c=size * means.size / (means.size - 1),
        trilinear_c=trilinear if isinstance(trilinear, Absent) else trilinear.left_out_c,
        process_c=process.left_out_c,
    )
    best = process
    if not isinstance(trilinear, Absent) and trilinear.left_out_c <= process.left_out_c:
        best = trilinear
    if not best.left_out_c < BETTER_THAN_MEAN * left_out.mean_c:
        return Absent(
            "the locations don't show a smooth field: predicting each from the others errs by "
            f"{best.left_out_c:.2g} °C, their plain mean by {left_out.mean_c:.2g} °C"
        )
    highest, lowest = _extremes(best, zone, (parts, values, standard), means_c[known], middle, draws, seed)
    return FieldEstimate(
        model=best.name,
        why=_why(best, left_out),
        caution=ROUGH if best.left_out_c >= ROUGH_FROM * left_out.mean_c else "",
        locations=means.size,
        without_mean=int((~known).sum()),
        outside=int((known & ~held).sum()),
        highest=highest,
        lowest=lowest,
        left_out=left_out,
        lack_of_fit=lack_of_fit,
        widening=best.widening,
        deviation_sd_c=best.fitted.sd,
        lengths_mm=_three(best.fitted.lengths * zone.size),
        grid=_grid(best, zone, middle),
        confidence=CONFIDENCE,
        draws=draws,
        seed=seed,
        statement=ESTIMATE_ONLY,
    )


def _why_not_inputs(positions_mm: FloatArray, means_c: FloatArray, standard_c: FloatArray) -> Absent | None:
    known = np.isfinite(means_c)
    lost = int((known & ~np.isfinite(positions_mm).all(axis=1)).sum())
    if lost:
        return Absent(f"{lost} of {known.sum()} locations have no position")
    bare = int((known & ~(np.isfinite(standard_c) & (standard_c >= 0.0))).sum())
    if bare:
        return Absent(f"the uncertainty of the mean is not known for {bare} of {known.sum()} locations")
    return None


def _why(best: FieldModel, left_out: LeftOut) -> str:
    if best.name == PROCESS:
        trilinear = left_out.trilinear_c
        other = (
            f"a trilinear field can't be fitted ({trilinear.reason})"
            if isinstance(trilinear, Absent)
            else f"a {NAMES[TRILINEAR]} by {trilinear:.2g} °C"
        )
    else:
        other = f"a {NAMES[PROCESS]} by {left_out.process_c:.2g} °C"
    used = f"a {NAMES[best.name]} errs by {best.left_out_c:.2g} °C (root mean square)"
    plain = f"their plain mean by {left_out.mean_c:.2g} °C"
    return f"Predicting each location from the others, {used}, {other}, {plain}."


def _extremes(
    model: FieldModel,
    zone: FieldZone,
    watched: tuple[FloatArray, FloatArray, FloatArray],
    means_c: FloatArray,
    middle: float,
    draws: int,
    seed: int,
) -> tuple[FieldExtreme, FieldExtreme]:
    """Extremes of simulated fields; `means_c` holds every location's mean, also outside the zone."""
    searched = search_places(zone)
    places = np.vstack([searched, watched[0]])
    fields = _simulated(model, watched, places, draws, seed) + middle
    tail = (1.0 - CONFIDENCE) / 2.0
    hidden = normal_quantile(1.0 - tail) * model.hidden_c
    found = []
    for sign, seen in ((1.0, float(means_c.max())), (-1.0, float(means_c.min()))):
        turned = sign * fields
        where = turned.argmax(axis=0)
        ends = turned[where, np.arange(draws)]
        at_locations = turned[searched.shape[0] :].max(axis=0)
        expected = max(float(ends.mean()), sign * seen)
        near = min(float(np.quantile(at_locations, tail)), expected)
        far = max(float(np.quantile(ends, 1.0 - tail)), expected + hidden)
        low, high = sorted((sign * near, sign * far))
        place = places[np.bincount(where, minlength=places.shape[0]).argmax()]
        close = (np.abs(places - place) <= NEAR_SHARE + 1e-9).all(axis=1)
        found.append(
            FieldExtreme(
                expected_c=sign * expected,
                low_c=low,
                high_c=high,
                position_mm=_three(place * zone.size),
                share_there=float(close[where].mean()),
                observed_c=seen,
            )
        )
    return found[0], found[1]


def _simulated(
    model: FieldModel,
    watched: tuple[FloatArray, FloatArray, FloatArray],
    places: FloatArray,
    draws: int,
    seed: int,
) -> FloatArray:
    """Fields (k, draws) at places (k, 3), given the means, relative to their mean [°C]."""
    random = np.random.default_rng(seed)
    likely = likely_processes(*watched, model.trend, model.fitted.lengths, _LIKELY)
    ends = np.cumsum([often for _, often in likely]) * draws // _LIKELY
    fields = np.empty((places.shape[0], draws))
    begin = 0
    for (process, _), end in zip(likely, ends, strict=True):
        mean, covariance = process.predict(places)
        root = _root(covariance)
        scatter = root @ random.standard_normal((root.shape[1], end - begin))
        fields[:, begin:end] = mean[:, None] + model.widening * scatter
        begin = end
    return fields


def _root(covariance: FloatArray) -> FloatArray:
    """Give A (k, r), A·Aᵀ a covariance that may lack rank: Cholesky with pivoting, cut at its rank."""
    from scipy.linalg.lapack import dpstrf

    factor, pivots, rank, _ = dpstrf(covariance, lower=1, tol=1e-6 * float(np.diag(covariance).max()))
    root = np.zeros((covariance.shape[0], rank))
    root[pivots - 1] = np.tril(factor)[:, :rank]
    return root


def _grid(model: FieldModel, zone: FieldZone, middle: float) -> FieldGrid:
    x, y, z = shown_axes()
    shape = (z.size, y.size, x.size)
    up, deep, across = np.meshgrid(z, y, x, indexing="ij")
    places = np.column_stack([across.ravel(), deep.ravel(), up.ravel()])
    mean, standard = model.predict(places)
    return FieldGrid(
        x_mm=x * zone.width_mm,
        y_mm=y * zone.depth_mm,
        z_mm=z * zone.height_mm,
        temperature_c=mean.reshape(shape) + middle,
        standard_c=standard.reshape(shape),
        inside=zone.inside(places[: y.size * x.size]).reshape(shape[1:]),
    )


def _three(values: FloatArray) -> tuple[float, float, float]:
    x, y, z = (float(value) for value in values)
    return x, y, z
