"""The best tolerance class that a certificate's points show, by three rules side by side."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from qualify.probability import normal_between
from qualify.sensors.tolerances import Tolerance, UnknownClassError, classes, tolerance_at
from qualify.standards import UNCONFIRMED

FloatArray = NDArray[np.float64]

_SLACK_C = 1e-9
REQUIRED_PROBABILITY = 0.95


class Shown(StrEnum):
    """What a point, or all points together, show of a class."""

    MET = "met"
    NOT_MET = "not met"
    NO_TOLERANCE = "no tolerance defined"
    NO_UNCERTAINTY = "uncertainty not known"


@dataclass(frozen=True, slots=True, kw_only=True)
class PointShown:
    """One calibration point against one class.

    Attributes
    ----------
    temperature_c, error_c
        Temperature [°C] and error, indicated − true [°C of difference].
    expanded_uncertainty_c, coverage_factor
        U [°C of difference] and k; None where not known.
    tolerance
        What the class allows there; None outside its range.
    simple
        |error| ≤ tolerance.
    guarded
        |error| + U ≤ tolerance.
    probability
        That the true error lies within the tolerance; None where U or the tolerance is not there.
    """

    temperature_c: float
    error_c: float
    expanded_uncertainty_c: float | None
    coverage_factor: float | None
    tolerance: Tolerance | None
    simple: Shown
    guarded: Shown
    probability: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class GradeShown:
    """All points against one class.

    Attributes
    ----------
    document, name
        The document and its class.
    points
        Each point, in the order given.
    simple, guarded, by_probability
        The worst of the points by each rule; by probability the smaller of the two below against the one
        required. "no tolerance defined" as soon as one point lies outside the range, unless another one is
        not met.
    probability_independent, probability_shared
        That all points conform together, with errors of calibration that are independent from point to
        point, and with one error that all share; None where a point has none.
    unconfirmed
        Citations, with standing, of numbers that nobody has seen in a copy: with one of them a class is
        never the best.
    """

    document: str
    name: str
    points: tuple[PointShown, ...]
    simple: Shown
    guarded: Shown
    by_probability: Shown
    probability_independent: float | None
    probability_shared: float | None
    unconfirmed: tuple[str, ...]

    @property
    def probability(self) -> float | None:
        """The smaller of the two probabilities."""
        if self.probability_independent is None or self.probability_shared is None:
            return None
        return min(self.probability_independent, self.probability_shared)


@dataclass(frozen=True, slots=True, kw_only=True)
class ClassShown:
    """The best class by each rule, and everything it was found from.

    Attributes
    ----------
    sensor_type, document, confirmed, required_probability
        What was asked.
    grades
        Every class of the document for this type, best first.
    best_simple, best_guarded, best_by_probability
        The best class that is met at every point; None where there is none.
    """

    sensor_type: str
    document: str
    confirmed: tuple[str, ...]
    required_probability: float
    grades: tuple[GradeShown, ...]
    best_simple: str | None
    best_guarded: str | None
    best_by_probability: str | None


def class_shown(
    sensor_type: str,
    document: str,
    *,
    temperature_c: ArrayLike,
    error_c: ArrayLike,
    expanded_uncertainty_c: ArrayLike | None = None,
    coverage_factor: ArrayLike | None = None,
    confirmed: Sequence[str] = (),
    required_probability: float = REQUIRED_PROBABILITY,
) -> ClassShown:
    """Find the best class of a document that calibration points show.

    Parameters
    ----------
    sensor_type
        Letter of the thermocouple ("K"), or "Pt wire-wound" or "Pt thin film".
    document
        "IEC 60584-1", "ASTM E230/E230M" or "IEC 60751".
    temperature_c : (n,)
        Temperatures of the points [°C].
    error_c : (n,)
        Errors, indicated − true [°C of difference]; a correction with its sign turned.
    expanded_uncertainty_c : (n,) or a number
        Expanded uncertainties U [°C of difference]; NaN or None where not known.
    coverage_factor : (n,) or a number
        The k of each U; NaN or None where not known, and then there is no probability.
    confirmed
        Rows of standards/sensor_tolerances.toml without standing that the user has confirmed against a
        copy of the document.
    required_probability
        What the probability for all points must reach.

    Returns
    -------
    ClassShown
        A class is the best by a rule only where each point lies in its range, meets it, and every number
        that it rests on was seen in a copy or confirmed.

    Raises
    ------
    UnknownClassError
        If the document has no class for this type.
    ValueError
        If there is no point, the numbers don't go together, one is not finite, a U is negative, or a k or
        the required probability can't be.

    References
    ----------
    JCGM 106:2012, 7.4 (probability of conformity, normal); ILAC-G8:09/2019 (guard band U).
    """
    names = classes(sensor_type, document)
    if not names:
        raise UnknownClassError(sensor_type, document)
    t, error, expanded, factor = _checked(temperature_c, error_c, expanded_uncertainty_c, coverage_factor)
    if not 0.0 < required_probability < 1.0:
        raise ValueError(f"a required probability of {required_probability:g} is not between 0 and 1")
    grades = tuple(
        _grade(sensor_type, document, name, t, error, expanded, factor, confirmed, required_probability)
        for name in names
    )
    return ClassShown(
        sensor_type=sensor_type,
        document=document,
        confirmed=tuple(confirmed),
        required_probability=required_probability,
        grades=grades,
        best_simple=_best(grades, "simple"),
        best_guarded=_best(grades, "guarded"),
        best_by_probability=_best(grades, "by_probability"),
    )


def conformity_probability(error_c: FloatArray, tolerance_c: FloatArray, u_c: FloatArray) -> FloatArray:
    """Probability that each true error lies within ± its tolerance (normal).

    Parameters
    ----------
    error_c, tolerance_c, u_c : (n,) float64
        Errors found, tolerances and standard uncertainties [°C of difference].

    Returns
    -------
    (n,) float64
        Φ((T − e)/u) − Φ((−T − e)/u); with u = 0 either 0 or 1.

    References
    ----------
    JCGM 106:2012, 7.4.
    """
    low, high = _bounds(error_c, tolerance_c, u_c)
    pairs = zip(low.tolist(), high.tolist(), strict=True)
    return np.array([normal_between(one, other) for one, other in pairs], dtype=np.float64)


def joint_probabilities(error_c: FloatArray, tolerance_c: FloatArray, u_c: FloatArray) -> tuple[float, float]:
    """Probability that all true errors lie within their tolerances, at the two ends of dependence.

    Parameters
    ----------
    error_c, tolerance_c, u_c : (n,) float64
        Errors found, tolerances and standard uncertainties [°C of difference].

    Returns
    -------
    (independent, shared)
        With errors of calibration independent from point to point (the product), and with one normal
        error that all points share, each in proportion to its u (the intersection of the intervals).
    """
    low, high = _bounds(error_c, tolerance_c, u_c)
    independent = float(np.prod(conformity_probability(error_c, tolerance_c, u_c)))
    return independent, normal_between(float(low.max()), float(high.min()))


def _bounds(error_c: FloatArray, tolerance_c: FloatArray, u_c: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Interval of the standardised error in which each point conforms."""
    inside = np.abs(error_c) <= tolerance_c + _SLACK_C
    certain = u_c == 0.0
    u = np.where(certain, 1.0, u_c)
    low = np.where(certain, np.where(inside, -np.inf, np.inf), (-tolerance_c - error_c) / u)
    high = np.where(certain, np.where(inside, np.inf, -np.inf), (tolerance_c - error_c) / u)
    return low, high


def _checked(
    temperature_c: ArrayLike,
    error_c: ArrayLike,
    expanded_uncertainty_c: ArrayLike | None,
    coverage_factor: ArrayLike | None,
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    t = np.atleast_1d(np.asarray(temperature_c, dtype=np.float64))
    error = np.atleast_1d(np.asarray(error_c, dtype=np.float64))
    if t.ndim != 1 or t.shape != error.shape or t.size == 0:
        raise ValueError("a class needs as many errors as temperatures, and at least one")
    if not (np.isfinite(t).all() and np.isfinite(error).all()):
        raise ValueError("a temperature or an error is not a number")
    absent = math.nan
    expanded = np.asarray(
        absent if expanded_uncertainty_c is None else expanded_uncertainty_c, dtype=np.float64
    )
    factor = np.asarray(absent if coverage_factor is None else coverage_factor, dtype=np.float64)
    expanded, factor = np.broadcast_to(expanded, t.shape), np.broadcast_to(factor, t.shape)
    if (expanded < 0.0).any() or np.isinf(expanded).any():
        raise ValueError("an expanded uncertainty is negative or infinite")
    if (factor <= 0.0).any() or np.isinf(factor).any():
        raise ValueError("a coverage factor is not above zero, or infinite")
    return t, error, expanded, factor


def _grade(
    sensor_type: str,
    document: str,
    name: str,
    t: FloatArray,
    error: FloatArray,
    expanded: FloatArray,
    factor: FloatArray,
    confirmed: Sequence[str],
    required: float,
) -> GradeShown:
    found = [tolerance_at(sensor_type, value, document, name) for value in t.tolist()]
    allowed = np.array([math.nan if item is None else item.tolerance_c for item in found])
    defined, known = np.isfinite(allowed), np.isfinite(expanded)
    simple = _rule(np.abs(error), allowed, defined, np.ones_like(known))
    # A point beyond the tolerance before any U is added is not met, whether U is known or not.
    beyond = np.abs(error) > allowed + _SLACK_C
    guarded = _rule(np.abs(error) + np.where(known, expanded, 0.0), allowed, defined, known | beyond)
    weighed = defined & known & np.isfinite(factor)
    u = np.where(weighed, expanded, 0.0) / np.where(weighed, factor, 1.0)
    width = np.where(weighed, allowed, 0.0)
    each = np.where(weighed, conformity_probability(error, width, u), np.nan)
    independent = shared = None
    if weighed.all():
        independent, shared = joint_probabilities(error, width, u)
        enough = min(independent, shared) >= required
        by_probability = Shown.MET if enough else Shown.NOT_MET
    elif (each[weighed] < required).any():
        # One point alone under what all together must reach: they can't reach it.
        by_probability = Shown.NOT_MET
    else:
        by_probability = Shown.NO_UNCERTAINTY if defined.all() else Shown.NO_TOLERANCE
    return GradeShown(
        document=document,
        name=name,
        points=tuple(
            PointShown(
                temperature_c=t.tolist()[i],
                error_c=error.tolist()[i],
                expanded_uncertainty_c=_or_none(expanded[i]),
                coverage_factor=_or_none(factor[i]),
                tolerance=found[i],
                simple=simple[i],
                guarded=guarded[i],
                probability=_or_none(each[i]),
            )
            for i in range(t.size)
        ),
        simple=_worst(simple),
        guarded=_worst(guarded),
        by_probability=by_probability,
        probability_independent=independent,
        probability_shared=shared,
        unconfirmed=tuple(
            dict.fromkeys(
                f"{item.citation} [{item.standing}]"
                for item in found
                if item is not None and item.standing in UNCONFIRMED and item.row not in confirmed
            )
        ),
    )


def _rule(
    value: FloatArray, allowed: FloatArray, defined: NDArray[np.bool_], known: NDArray[np.bool_]
) -> list[Shown]:
    met = value <= allowed + _SLACK_C
    return [
        Shown.NO_TOLERANCE
        if not is_defined
        else Shown.NO_UNCERTAINTY
        if not is_known
        else Shown.MET
        if is_met
        else Shown.NOT_MET
        for is_defined, is_known, is_met in zip(defined, known, met, strict=True)
    ]


def _worst(points: list[Shown]) -> Shown:
    for outcome in (Shown.NOT_MET, Shown.NO_TOLERANCE, Shown.NO_UNCERTAINTY):
        if outcome in points:
            return outcome
    return Shown.MET


def _best(grades: tuple[GradeShown, ...], rule: str) -> str | None:
    for grade in grades:
        if getattr(grade, rule) is Shown.MET and not grade.unconfirmed:
            return grade.name
    return None


def _or_none(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None
