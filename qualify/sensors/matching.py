"""Which certificate corrects which channel, and the steps that follow from it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import pairwise

import numpy as np

from qualify.findings import RefusalKind, nearest
from qualify.readings.model import Channel, FloatArray
from qualify.sensors.certificate import Certificate, Certificates
from qualify.sensors.corrections import Correction, Step
from qualify.sensors.curves import TooFewPointsError, fit_curve
from qualify.sensors.drift import paired_step
from qualify.sensors.spools import spool_step

SAME_POINT_TWICE = RefusalKind(
    "certificates-same-point",
    what="{what} has two calibration points at {temperature:g} °C",
    why="Only one correction can hold at a temperature.",
    mend="keep the point of the certificate in force and take the other out. Two calibrations of one sensor "
    "need the columns certificate and calibrated.",
)
UNKNOWN_CHANNEL = RefusalKind(
    "certificates-channel",
    what="a certificate names the {kind} '{name}', which {where} has{near}",
    why="A certificate that meets no channel would leave a reading uncorrected without a word.",
    mend="correct the name, or take the rows out; a plan whose list holds more sensors than the survey uses "
    "says more_sensors = true below [certificates].",
)
WRONG_SENSOR = RefusalKind(
    "certificates-wrong-sensor",
    what="the certificate for channel '{channel}' is of sensor '{found}', the plan has '{planned}' there",
    why="The correction of another sensor is worse than none.",
    mend="correct the sensor in the plan or in the certificates file.",
)
NO_CERTIFICATE = RefusalKind(
    "certificates-missing",
    what="no certificate for {channels}",
    why="Corrected and uncorrected readings must not be judged side by side.",
    mend="add the certificate's points, or ignore the channel with its reason.",
)
LOOP_AND_MORE = RefusalKind(
    "certificates-loop-and-more",
    what="channel '{channel}' has a loop certificate and a {other} certificate",
    why="A loop certificate already holds the sensor and the logger channel; both would be added twice.",
    mend="keep either the loop, or the sensor and the channel.",
)
SPOOL_AND_SENSOR = RefusalKind(
    "certificates-spool-and-sensor",
    what="channel '{channel}' has a certificate of its own sensor and the plan cuts it from spool '{spool}'",
    why="Only one correction of the sensor can hold.",
    mend="take the spool out of the plan's location, or the sensor's own rows out of the certificates.",
)
UNDATED = RefusalKind(
    "certificates-undated",
    what="channel '{channel}' has {count} {of} certificates, and {name} has no date of calibration",
    why="Which of them held on the day of the survey can't be told.",
    mend="fill the column calibrated, or keep the one in force.",
)
WHICH_TWO = RefusalKind(
    "certificates-more-than-two",
    what="channel '{channel}' has {count} {of} certificates, and the day of the survey is not known",
    why="Which of them came before and after the survey can't be told.",
    mend="give the surveyor's date in the plan ([plan] surveyor with name and date), or keep two.",
)
SAME_DAY = RefusalKind(
    "certificates-same-day",
    what="channel '{channel}' has two {of} certificates of {day}",
    why="Only one correction can hold, and which came later can't be told.",
    mend="keep the one in force, or correct the date.",
)
TOO_FEW_FOR_CURVE = RefusalKind(
    "certificates-too-few-for-curve",
    what="the {of} certificate of channel '{channel}' has {count} points; a {form} needs {least}",
    why="Through so few points a curve fits its own scatter, and its uncertainty can't be told.",
    mend='set interpolation = "linear" below [certificates] in the plan, or choose a lower degree.',
)


@dataclass(frozen=True, slots=True)
class Judged:
    """A judged channel: as recorded, and what the plan has there ("" where it is silent).

    `sensor` is the sensor's own identity; `spool` the spool that it was cut from, and `sample` its serial
    where the sensor is the calibrated sample itself.
    """

    channel: Channel
    sensor: str
    needed: bool = True
    spool: str = ""
    sample: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rules:
    """How certificates are used.

    `degree` of a fitted curve, 0 for linear interpolation; `spool_range_c` the largest range [°C] of a
    spool's samples; `use` the correction where two calibrations exist; `correlation` of their uncertainties;
    `more_sensors` passes over certificates of sensors that no location has; `day` of the survey.
    """

    degree: int = 0
    spool_range_c: float | None = None
    use: str = "mean"
    correlation: float = 0.0
    more_sensors: bool = False
    day: date | None = None


def corrections_for(
    certificates: Certificates,
    judged: Sequence[Judged],
    channels: Sequence[Channel],
    *,
    reach_c: float,
    reach_uncertainty_c: float,
    rules: Rules | None = None,
) -> tuple[Correction | None, ...]:
    """Match certificates to channels by channel name or raw header, else by the plan's sensor or spool.

    Parameters
    ----------
    certificates
        All certificates.
    judged
        The channels to correct; a `needed` one without certificate is refused.
    channels
        All temperature channels of the recording: a certificate may also name one that is not judged.
    reach_c, reach_uncertainty_c
        The plan's allowed reach beyond the end points and the expanded uncertainty it adds [°C].
    rules
        How certificates are used; None for the ordinary way.

    Raises
    ------
    Refusal
        If a certificate meets no channel, is of another sensor than the plan's, stands twice at one
        temperature, mixes a loop with more, a spool's samples don't agree, two calibrations can't be told
        apart, or a judged channel has none.
    """
    rules = rules or Rules()
    _check_names(certificates, judged, channels, rules)
    lookup = _Lookup(certificates)
    found: list[Correction | None] = []
    missing = []
    for item in judged:
        met = [certificate for certificate in lookup.near(item) if _meets(certificate, item)]
        if not met:
            found.append(None)
            if item.needed:
                missing.append(f"'{item.channel.name}'")
            continue
        steps = _steps(certificates.file, item, met, rules)
        found.append(Correction(steps=steps, reach_c=reach_c, reach_uncertainty_c=reach_uncertainty_c))
    if missing:
        raise NO_CERTIFICATE(file=certificates.file, channels=", ".join(missing))
    return tuple(found)


class _Lookup:
    """Certificates by the names that they carry, in the order of the file."""

    def __init__(self, certificates: Certificates) -> None:
        self._all = certificates.certificates
        self._places: dict[tuple[str, str], list[int]] = {}
        for place, item in enumerate(self._all):
            kind = "channel" if item.channel else "sensor" if item.sensor else "spool"
            self._places.setdefault((kind, getattr(item, kind)), []).append(place)

    def near(self, item: Judged) -> list[Certificate]:
        words = {
            ("channel", item.channel.name),
            ("channel", item.channel.header),
            ("sensor", item.sensor),
            ("spool", item.spool),
        }
        places = sorted(place for word in words if word[1] for place in self._places.get(word, ()))
        return [self._all[place] for place in places]


def _check_names(
    certificates: Certificates, judged: Sequence[Judged], channels: Sequence[Channel], rules: Rules
) -> None:
    called = {word for channel in channels for word in (channel.name, channel.header)}
    sensors = {item.sensor for item in judged if item.sensor}
    spools = {item.spool for item in judged if item.spool}
    for item in certificates.certificates:
        if item.channel:
            kind, where, known, met = "channel", "no logger file", [c.name for c in channels], called
        elif item.sensor:
            kind, where, known, met = "sensor", "no location of the plan", sorted(sensors), sensors
        else:
            kind, where, known, met = "spool", "no location of the plan", sorted(spools), spools
        name: str = getattr(item, kind)
        if name in met or (kind != "channel" and rules.more_sensors):
            continue
        raise UNKNOWN_CHANNEL(
            file=item.file,
            row=item.points[0].row,
            column=kind,
            kind=kind,
            name=name,
            where=where,
            near=nearest(name, known),
        )


def _meets(certificate: Certificate, item: Judged) -> bool:
    """Whether a certificate that carries one of the item's names is for it."""
    if not certificate.channel:
        if certificate.sensor:
            return certificate.sensor == item.sensor
        return certificate.spool == item.spool and item.sample in ("", certificate.sample)
    other = certificate.of != "channel" and certificate.sensor and item.sensor
    if other and certificate.sensor != item.sensor:
        raise WRONG_SENSOR(
            file=certificate.file,
            row=certificate.points[0].row,
            column="sensor",
            channel=item.channel.name,
            found=certificate.sensor,
            planned=item.sensor,
        )
    return True


def _steps(file: str, item: Judged, met: list[Certificate], rules: Rules) -> tuple[Step, ...]:
    """The certificates of one channel as steps, in the order in which they are added."""
    channel = item.channel.name
    present = {certificate.of for certificate in met}
    if "loop" in present and len(present) > 1:
        other = next(of for of in ("sensor", "channel") if of in present)
        raise LOOP_AND_MORE(file=file, channel=channel, other=other)
    steps = []
    for of in ("loop", "channel", "sensor"):
        chosen = [certificate for certificate in met if certificate.of == of]
        if chosen:
            step = _in_force(_calibrations(item, of, chosen, rules), item, of, rules)
            steps.append(_with_curve(step, channel, rules.degree) if rules.degree else step)
    return tuple(steps)


def _calibrations(item: Judged, of: str, chosen: list[Certificate], rules: Rules) -> list[Step]:
    """Each calibration as a step: a certificate, the samples of a spool, rows without number or date."""
    channel = item.channel.name
    own = [certificate for certificate in chosen if certificate.channel or certificate.sensor]
    spools = [certificate for certificate in chosen if not (certificate.channel or certificate.sensor)]
    if own and spools:
        raise SPOOL_AND_SENSOR(file=spools[0].file, channel=channel, spool=item.spool)
    steps = []
    plain = [certificate for certificate in own if not (certificate.number or certificate.calibrated)]
    if plain:
        steps.append(_one_step(of, plain, channel))
    steps += [_one_step(of, [item], channel) for item in own if item not in plain]
    by_number: dict[object, list[Certificate]] = {}
    for certificate in spools:
        by_number.setdefault(certificate.number or certificate.calibrated, []).append(certificate)
    for samples in by_number.values():
        points = [_one_step(of, [sample], channel) for sample in samples]
        if item.sample and len(points) == 1:
            steps.append(points[0])
        else:
            steps.append(spool_step(samples, points, range_limit_c=rules.spool_range_c))
    return steps


def _one_step(of: str, certificates: list[Certificate], channel: str) -> Step:
    points = sorted(
        (point for certificate in certificates for point in certificate.points),
        key=lambda point: point.temperature_c,
    )
    for one, next_one in pairwise(points):
        if next_one.temperature_c - one.temperature_c <= 1e-9:
            raise SAME_POINT_TWICE(
                file=certificates[0].file,
                row=max(one.row, next_one.row),
                what=f"the {of} certificate of channel '{channel}'",
                temperature=one.temperature_c,
            )
    return Step(
        of=of,
        temperature_c=np.array([point.temperature_c for point in points]),
        correction_c=np.array([point.correction_c for point in points]),
        expanded_uncertainty_c=_numbers([point.expanded_uncertainty_c for point in points]),
        coverage_factor=_numbers([point.coverage_factor for point in points]),
        rows=tuple(point.row for point in points),
        certificates=tuple(certificates),
    )


def _numbers(values: list[float | None]) -> FloatArray:
    return np.array([math.nan if value is None else value for value in values], dtype=np.float64)


def _in_force(steps: list[Step], item: Judged, of: str, rules: Rules) -> Step:
    """The calibration in force on the day of the survey; with one after it, both."""
    if len(steps) == 1:
        return steps[0]
    channel, count = item.channel.name, len(steps)
    for step in steps:
        first = step.certificates[0]
        if first.calibrated is None:
            raise UNDATED(
                file=first.file,
                row=first.points[0].row,
                channel=channel,
                count=count,
                of=of,
                name=first.name,
            )
    steps = sorted(steps, key=_calibrated)
    for one, other in pairwise(steps):
        if _calibrated(one) == _calibrated(other):
            first = other.certificates[0]
            raise SAME_DAY(
                file=first.file, row=first.points[0].row, channel=channel, of=of, day=_calibrated(one)
            )
    if rules.day is None:
        if count > 2:
            raise WHICH_TWO(file=steps[0].certificates[0].file, channel=channel, count=count, of=of)
        before, after = steps
    else:
        earlier = [step for step in steps if _calibrated(step) <= rules.day]
        later = [step for step in steps if _calibrated(step) > rules.day]
        if not later:
            return earlier[-1]
        if not earlier:
            return later[0]
        before, after = earlier[-1], later[0]
    return paired_step(before, after, use=rules.use, correlation=rules.correlation)


def _calibrated(step: Step) -> date:
    day = step.certificates[0].calibrated
    assert day is not None
    return day


def _with_curve(step: Step, channel: str, degree: int) -> Step:
    try:
        return replace(step, curve=fit_curve(step.temperature_c, step.correction_c, degree))
    except TooFewPointsError:
        first = step.certificates[0]
        raise TOO_FEW_FOR_CURVE(
            file=first.file,
            row=first.points[0].row,
            of=step.of,
            channel=channel,
            count=step.temperature_c.size,
            form="straight line" if degree == 1 else f"polynomial of degree {degree}",
            least=degree + 3,
        ) from None
