"""Whether the certificates of a plan hold on the day, reach over its holds, and are certain enough."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

import numpy as np

from qualify.findings import Refusal
from qualify.plan.model import Acceptance, Hold, Location, Plan
from qualify.readings.model import Channel, FloatArray
from qualify.sensors.certificate import normal_type
from qualify.sensors.certificates import Certificates, Judged, Rules, corrections_for
from qualify.sensors.corrections import Correction
from qualify.stages.readiness_points import Point, band_c, classes_of, listed, missing, note, ready
from qualify.units import difference_from_c, temperature_from_c


def certificates_of(
    plan: Plan, on: date, certificates: Certificates | None, unreadable: Refusal | None
) -> Iterator[Point]:
    """Tell whether each location has a certificate that the run could use on the day.

    Parameters
    ----------
    plan, on
        The plan, and the day of the survey.
    certificates, unreadable
        What the plan's certificates files say, or why they can't be used.
    """
    about = "certificates"
    if unreadable is not None:
        yield missing(
            about, f"{unreadable.where}: {unreadable.what}".lstrip(": "), unreadable.why, unreadable.mend
        )
        return
    if plan.certificates is None or certificates is None:
        yield missing(
            about,
            "the plan names no certificates file",
            'The verdict would be "uncorrected, uncertainty not known", at most conditional.',
            "name it below [certificates] file.",
        )
        return
    yield from _strangers(plan, certificates)
    corrections: list[tuple[Location, Correction]] = []
    without = []
    for location in plan.locations:
        try:
            correction = _correction(plan, on, certificates, location)
        except Refusal as refusal:
            text = f"{refusal.where}: {refusal.what}".lstrip(": ")
            yield missing(f"certificate at {location.name}", text, refusal.why, refusal.mend)
            continue
        if correction is None:
            without.append(location.name)
        else:
            corrections.append((location, correction))
    if without:
        yield missing(
            about,
            f"no certificate for the sensor or channel at: {listed(without)}",
            "Corrected and uncorrected readings must not be judged side by side; the run would be refused.",
            "add its points, or put a calibrated sensor there.",
        )
    yield from _types(corrections)
    yield from _dates(on, corrections)
    for survey in plan.surveys:
        for hold in survey.holds:
            yield from _covered(plan, hold, corrections)
            yield from _uncertainty(plan, hold, corrections)


def _correction(plan: Plan, on: date, certificates: Certificates, location: Location) -> Correction | None:
    """The correction of one location by the run's own matching, as if only its channel were recorded."""
    choice = plan.certificates
    assert choice is not None
    channel = Channel(name=location.channel, header=location.channel, file="", unit="")
    mine = tuple(
        item
        for item in certificates.certificates
        if item.channel == location.channel
        or (not item.channel and item.sensor and item.sensor == location.sensor)
        or (not item.channel and not item.sensor and item.spool and item.spool == location.spool)
    )
    (found,) = corrections_for(
        Certificates(file=certificates.file, certificates=mine),
        [Judged(channel, location.sensor, needed=False, spool=location.spool, sample=location.sample)],
        [channel],
        reach_c=choice.reach,
        reach_uncertainty_c=choice.reach_uncertainty,
        rules=Rules(
            degree=choice.degree,
            spool_range_c=choice.spool_range,
            use=choice.use,
            correlation=choice.laboratory_correlation,
            more_sensors=choice.more_sensors,
            day=on,
        ),
    )
    return found


def _strangers(plan: Plan, certificates: Certificates) -> Iterator[Point]:
    """Certificates that meet nothing of the plan: the run would be refused."""
    choice = plan.certificates
    assert choice is not None
    channels = {item.channel for item in plan.locations} | {item.channel for item in plan.channels}
    sensors = {item.sensor for item in plan.locations}
    spools = {item.spool for item in plan.locations}
    unknown = [
        item.name
        for item in certificates.certificates
        if (item.channel and item.channel not in channels)
        or (not item.channel and not choice.more_sensors and item.sensor and item.sensor not in sensors)
        or (not (item.channel or item.sensor or choice.more_sensors) and item.spool not in spools)
    ]
    if unknown:
        yield missing(
            "certificates",
            f"no channel, sensor or spool of the plan is meant by {listed(unknown)}",
            "A certificate that meets nothing may be meant for a location that is then left uncorrected.",
            "correct the name; more_sensors = true below [certificates] passes over sensors not in use.",
        )


def _types(corrections: list[tuple[Location, Correction]]) -> Iterator[Point]:
    for location, correction in corrections:
        planned = normal_type(location.sensor_type)
        types = {item.type for step in correction.steps for item in step.certificates if item.type}
        wrong = [found for found in sorted(types) if planned and found != planned]
        if wrong:
            yield missing(
                f"certificate at {location.name}",
                f"it is of type {wrong[0]}, the plan has type {location.sensor_type} there",
                "The logger would read it by another type's table.",
                "put the right sensor there, or correct the type.",
            )


def _dates(on: date, corrections: list[tuple[Location, Correction]]) -> Iterator[Point]:
    about = "certificates' dates"
    dated = [
        (location.name, item)
        for location, correction in corrections
        for step in correction.steps
        for item in step.certificates
    ]
    expired = [f"{name} (due {item.due})" for name, item in dated if item.due is not None and item.due < on]
    if expired:
        yield missing(
            about,
            f"expired on {on.isoformat()}: {listed(expired)}",
            "Its corrections are not in force on the day of the survey.",
            "have the sensor calibrated again, or take another.",
        )
    later = [
        f"{location.name} (calibrated {step.certificates[0].calibrated})"
        for location, correction in corrections
        for step in correction.steps
        if step.certificates
        and all(item.calibrated is not None and item.calibrated > on for item in step.certificates)
    ]
    if later:
        yield missing(
            about,
            f"calibrated only after {on.isoformat()}: {listed(later)}",
            "What the sensor read before it was calibrated is not covered; a verdict is at most conditional.",
            "add the certificate from before, or correct the date.",
        )
    undated = list(dict.fromkeys(name for name, item in dated if item.due is None))
    if undated:
        yield note(
            about,
            f"no due date for the sensor at: {listed(undated)}",
            "Whether it is in force on the day can't be told from the file.",
            "fill the column `due`, or look at the certificates themselves.",
        )
    if dated and not (expired or later or undated):
        yield ready(about, f"every certificate is in force on {on.isoformat()}")


def _indicated_c(correction: Correction, true_c: FloatArray) -> FloatArray:
    """What the sensor indicates at true temperatures [°C]: corrections change slowly, so two steps do."""
    indicated = true_c
    for _ in range(2):
        corrected, _calibrated = correction.apply(indicated)
        indicated = indicated + (true_c - corrected)
    return indicated


def _covered(plan: Plan, hold: Hold, corrections: list[tuple[Location, Correction]]) -> Iterator[Point]:
    """Whether every certificate reaches over the set point and the band round it."""
    about = f"certificates at {hold.name}"
    band = band_c(hold, classes_of(plan, hold)) or (0.0, 0.0)
    short, edge = [], []
    for location, correction in corrections:
        true_c = np.array([hold.setpoint, hold.setpoint + band[0], hold.setpoint + band[1]])
        _, covered = correction.apply(_indicated_c(correction, true_c))
        if not covered[0]:
            short.append(location.name)
        elif not covered.all():
            edge.append(location.name)
    setpoint = f"{temperature_from_c(hold.setpoint, plan.units):g} {plan.units.value}"
    if short:
        yield missing(
            about,
            f"the points, and the reach the plan allows, don't cover {setpoint}: {listed(short)}",
            "Readings beyond them are not calibrated: the requirement would not be shown.",
            "calibrate at or beyond the set point, or allow a reach with its uncertainty.",
        )
    if edge:
        yield missing(
            about,
            f"the points cover {setpoint}, but not the whole band round it: {listed(edge)}",
            "A reading near the limit would lie beyond them, and the requirement would not be shown.",
            "calibrate beyond the band, or allow a reach with its uncertainty.",
        )
    if corrections and not (short or edge):
        yield ready(about, f"every certificate covers {setpoint} and the band round it")


def _uncertainty(plan: Plan, hold: Hold, corrections: list[tuple[Location, Correction]]) -> Iterator[Point]:
    """The certificates' U against the limits: under simple acceptance the plan asks for a ratio."""
    about = f"uncertainty at {hold.name}"
    known: list[tuple[float, str]] = []
    unknown = []
    for location, correction in corrections:
        value = correction.expanded_uncertainty_c(_indicated_c(correction, np.array([float(hold.setpoint)])))
        if value is None:
            unknown.append(location.name)
        else:
            known.append((value, location.name))
    if unknown:
        yield missing(
            about,
            f"no uncertainty in the certificate of: {listed(unknown)}",
            "The limits can't be guarded, and how much the figure may be off can't be said.",
            "copy it from the certificate, with its coverage factor.",
        )
    if not known:
        return
    largest_c, where = max(known)
    unit = plan.units
    shown = (
        f"U of the certificates is at most {difference_from_c(largest_c, unit):.3g} {unit.value} ({where})"
    )
    asked = f"the plan asks for at most {plan.uncertainty_share:.2f} (uncertainty_share)"
    for whose, tolerance_c, rule in _tolerances_c(plan, hold):
        if tolerance_c <= 0:
            continue
        share = largest_c / tolerance_c
        text = f"{shown}, {share:.2f} of the tolerance of {whose}"
        if rule is Acceptance.SIMPLE and share > plan.uncertainty_share:
            yield missing(
                about,
                f"{text}; {asked}",
                "Under simple acceptance a larger share shows nothing: the requirement would be not shown.",
                'use better sensors, or decide by acceptance = "guarded".',
            )
        elif rule is Acceptance.GUARDED and share >= 1.0:
            yield missing(
                about,
                f"{text}; with the limits guarded by U no reading could pass",
                "The best that the survey could show is conditional.",
                "use better sensors.",
            )
        elif rule is Acceptance.SIMPLE:
            yield ready(about, f"{text}; {asked}")
        else:
            yield ready(about, f"{text}; the limits are guarded by it, and no ratio is asked for")


def _tolerances_c(plan: Plan, hold: Hold) -> Iterator[tuple[str, float, Acceptance]]:
    """Who sets limits for a hold, half their width [°C], and by which rule they are decided."""
    if hold.low is not None and hold.high is not None:
        yield "the plan", (hold.high - hold.low) / 2, plan.acceptance or Acceptance.GUARDED
    for limits in classes_of(plan, hold):
        if limits.half_width_c is not None:
            yield str(limits.choice), limits.half_width_c, plan.acceptance or Acceptance.SIMPLE
