"""The uncertainty budget of one corrected reading at a location: its certificates and the plan's sources.

It guards deviations, overshoot and time to band, and never holds stability or uniformity, which those
figures already contain.
"""

from __future__ import annotations

from math import isnan

import numpy as np

from qualify.figures.absent import Absent
from qualify.figures.budget import Budget, Contribution, budget
from qualify.plan.model import Location
from qualify.plan.uncertainty import OF_READING, Source, StatedSource, UncertaintyChoice
from qualify.readings.model import FloatArray
from qualify.sensors.corrections import Correction, Step

NO_CERTIFICATE = Absent("no certificate")
NO_READING = Absent("no reading in the window")
NO_UNCERTAINTY = Absent("the certificate gives no uncertainty with its coverage factor")

OF_ALL = "all locations"
"""The key of those who share an error, where it is everybody."""


def reading_budget(
    choice: UncertaintyChoice, place: Location, correction: Correction | None, raw_c: FloatArray
) -> Budget | Absent:
    """Give the budget of one corrected reading, of the most uncertain of some.

    Parameters
    ----------
    choice
        What the plan says of uncertainty.
    place
        The location, with its sensor's type.
    correction
        Its certificates; None where it has none.
    raw_c : (n,) float64
        Indications [°C]; NaN are passed over.

    Returns
    -------
    Budget or Absent
        Absent where there is no reading, or where neither a certificate nor the plan says what the
        calibration is worth: a budget without it would be too small.
    """
    stated = choice.of_location(place.name, place.sensor_type)
    own = next((item for item in stated if item.source == Source.CALIBRATION), None)
    if correction is None and own is None:
        return NO_CERTIFICATE
    indicated = raw_c[~np.isnan(raw_c)]
    if indicated.size == 0:
        return NO_READING
    rows: list[Contribution] = []
    if correction is not None:
        known = correction.coverage_factor is not None
        if not known and own is None:
            return NO_UNCERTAINTY
        if known:
            rows += _certificates(correction, _most_uncertain(correction, indicated), choice)
    rows += [_row(item) for item in stated if not item.covered]
    if not rows:
        return NO_UNCERTAINTY
    alone = correction is not None and all(item.covered for item in stated)
    return budget(
        rows, coverage_factor=correction.coverage_factor if alone and correction is not None else None
    )


def left_out(choice: UncertaintyChoice, place: Location, correction: Correction | None) -> tuple[str, ...]:
    """Sources of one corrected reading that nobody gave: neither certificate nor plan."""
    named = {item.source for item in choice.of_location(place.name, place.sensor_type)}
    if correction is not None and correction.coverage_factor is not None:
        named.add(Source.CALIBRATION)
        if any(step.curve is not None for step in correction.steps):
            named.add(Source.INTERPOLATION)
    return tuple(item.value for item in OF_READING if item not in named and item is not Source.OTHER)


def covered(choice: UncertaintyChoice, place: Location) -> tuple[str, ...]:
    """Sources that the plan says its certificates cover, each with its reason."""
    return tuple(
        f"{item.source} ({item.because})"
        for item in choice.of_location(place.name, place.sensor_type)
        if item.covered
    )


def _most_uncertain(correction: Correction, indicated_c: FloatArray) -> float:
    """The indication [°C] at which the certificates are worth least."""
    if indicated_c.size == 1:
        return float(indicated_c[0])
    factor = correction.coverage_factor or 1.0
    variance = np.zeros(indicated_c.shape)
    at = indicated_c
    for step in correction.steps:
        variance += step.standard_uncertainty_at(at) ** 2
        variance[step.beyond(at) > 0] += (correction.reach_uncertainty_c / factor) ** 2
        at = at + step.correction_at(at)
    return float(indicated_c[int(np.argmax(variance))])


def _certificates(
    correction: Correction, indicated_c: float, choice: UncertaintyChoice
) -> list[Contribution]:
    """Rows of the certificates at one indication: what each shares, what is its own, the reach beyond."""
    factor = correction.coverage_factor
    assert factor is not None
    rows: list[Contribution] = []
    at = np.array([indicated_c])
    for step in correction.steps:
        rows += _step(step, at, choice.calibration_correlation)
        if step.beyond(at)[0] > 0 and correction.reach_uncertainty_c > 0:
            rows.append(
                Contribution(
                    source=f"reach beyond the {step.of}'s points",
                    stated_c=correction.reach_uncertainty_c,
                    divisor=factor,
                    origin="the plan's reach_uncertainty",
                )
            )
        at = at + step.correction_at(at)
    return rows


def _step(step: Step, at: FloatArray, correlation: float) -> list[Contribution]:
    shared_c = float(step.shared_uncertainty_at(at)[0])
    private_c = float(step.private_uncertainty_at(at)[0])
    if isnan(shared_c):
        return []
    origin = _origin(step)
    factors = np.unique(step.coverage_factor)
    factor = float(factors[0]) if factors.size == 1 and step.curve is None else 1.0
    rows = []
    source = f"{Source.CALIBRATION} of the {step.of}"
    # A correlation ρ between any two certificates: √ρ of the error is everybody's, √(1 − ρ) its own.
    common_c, own_c = correlation**0.5 * shared_c, (1.0 - correlation) ** 0.5 * shared_c
    if correlation > 0.0:
        rows.append(
            Contribution(
                source=f"{source}, common to the laboratory",
                stated_c=factor * common_c,
                divisor=factor,
                shared_with=OF_ALL,
                origin=f"correlation {correlation:g} between certificates, as the plan states",
            )
        )
    if correlation < 1.0:
        rows.append(
            Contribution(
                source=source,
                stated_c=factor * own_c,
                divisor=factor,
                shared_with=step.shared_key,
                origin=origin,
            )
        )
    if step.private_uncertainty_c is not None:
        rows.append(
            Contribution(
                source=f"spool's samples and drift between two calibrations of the {step.of}",
                stated_c=3.0**0.5 * private_c,
                divisor=3.0**0.5,
                shape="rectangular",
                origin=origin,
            )
        )
    return rows


def _origin(step: Step) -> str:
    names = list(dict.fromkeys(item.name for item in step.certificates))
    words = ", ".join(names[:3]) + (" and so on" if len(names) > 3 else "")
    return words or "certificate"


def _row(item: StatedSource) -> Contribution:
    return Contribution(
        source=item.source,
        shape=item.shape.value,
        stated_c=item.stated_c,
        divisor=item.divisor,
        degrees_of_freedom=item.degrees_of_freedom,
        shared_with=OF_ALL if item.shared else "",
        origin=item.because,
    )
