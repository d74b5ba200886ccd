"""Doubts about certificates: out of date, of another type, drifted, or with a sign that may be wrong."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np

from qualify.figures.absent import Absent
from qualify.findings import Doubt, DoubtKind
from qualify.plan.model import Plan
from qualify.readings.model import FloatArray
from qualify.sensors.certificate import BASE_METAL, Certificate, normal_type
from qualify.sensors.certificate_class import table_type
from qualify.sensors.corrections import Correction, Drift, Step
from qualify.sensors.tolerances import Tolerance, tolerance_at
from qualify.stages.locations import survey_day
from qualify.stages.stretch import Stretch

EXPIRED = DoubtKind(
    "certificate-expired",
    "{name} was due on {due}, before the day of the survey, {day}: the verdict is at most conditional",
)
CALIBRATED_LATER = DoubtKind(
    "certificate-calibrated-later",
    "{name} is of a calibration on {calibrated}, after the day of the survey, {day}, and there is none from "
    "before it: the verdict is at most conditional",
)
NO_INSTRUMENT_CERTIFICATE = DoubtKind(
    "instrument-without-certificate",
    "the plan's instrument '{name}' names no certificate: the verdict is at most conditional. Name it "
    '(certificate = "number"), or say why it needs none (certificate = "none: reason")',
)
WRONG_TYPE = DoubtKind(
    "certificate-wrong-type",
    "{name} is of type {found}, the plan has type {planned} there: the verdict is at most conditional",
)
DAY_UNKNOWN = DoubtKind(
    "certificate-day-unknown",
    "the certificates have dates but the day of the survey is not known (elapsed times, and the plan gives "
    "no date of the surveyor): whether they were in force is not judged",
)
DRIFTED = DoubtKind(
    "certificate-drift",
    "the sensor's correction changed by {drift:+.3g} °C at {temperature:.4g} °C between {before} and "
    "{after}, more than the calibrations' uncertainty explains (1.96·u = {explained:.2g} °C); it is "
    "carried by the uncertainty",
)
DRIFT_AT_OTHER_IMMERSION = DoubtKind(
    "certificate-drift-immersion",
    "type {type} is a base metal, whose change shows only where the wire lay as in use; {before} and {after} "
    "{immersion}: the drift between them is no evidence of the sensor's drift in the oven",
)
ABOVE_TOLERANCE = DoubtKind(
    "certificate-above-tolerance",
    "the correction of {correction:+.3g} °C at {temperature:.4g} °C is more than twice what {name} allows a "
    "new type {type} (±{tolerance:.2g} °C): a wrong sign, unit or sensor, or a wire that aged",
)
WIDENS = DoubtKind(
    "certificate-sign",
    "{where}, the corrections widen the spread of {what} from {raw:.2f} to {corrected:.2f} °C, more than "
    "their uncertainty explains; with the other sign at '{suspect}' it would be {turned:.2f} °C. Compare the "
    "sign with the certificate{caution}",
)

HOLD_DOWN = frozenset(
    kind.code for kind in (EXPIRED, CALIBRATED_LATER, NO_INSTRUMENT_CERTIFICATE, WRONG_TYPE)
)
"""Doubts with which a verdict is at most conditional."""

LEAST_WIDENING_C = 0.1
"""A wider spread counts as wider from here on where no uncertainty is known [°C]."""
_CLASSES = (("IEC 60584-1", "2"), ("ASTM E230/E230M", "standard"))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Place:
    """A location with its correction and what the plan says of its sensor."""

    name: str
    type: str
    correction: Correction
    where: Mapping[str, Any]


def doubts_about_certificates(plan: Plan, stretch: Stretch) -> list[Doubt]:
    """List what speaks against the certificates of a hold's locations and the plan's instruments."""
    places = list(_places(stretch))
    day = survey_day(plan, stretch.readings.recording)
    doubts = [*_out_of_date(places, day), *_instruments(plan, day)]
    for place in places:
        for step in place.correction.steps:
            doubts += _of_another_type(place, step)
            doubts += _drift(place, step)
            doubts += _above_tolerance(place, step)
    return [*doubts, *_signs(plan, stretch)]


def _places(stretch: Stretch) -> Iterator[_Place]:
    readings = stretch.readings
    for column, correction in enumerate(readings.corrections):
        if correction is None:
            continue
        channel = readings.recording.channels[readings.channel_index[column]]
        name = readings.locations[column]
        yield _Place(
            name=name,
            type=normal_type(stretch.assigned.places[column].sensor_type),
            correction=correction,
            where={"file": channel.file, "column": channel.header, "location": name},
        )


def _out_of_date(places: list[_Place], day: date | None) -> Iterator[Doubt]:
    """One doubt a certificate number, not one a location: a list of sensors often shares it."""
    expired: dict[tuple[str, date], list[str]] = {}
    later: dict[tuple[str, date], list[str]] = {}
    dated = False
    for place in places:
        for step in place.correction.steps:
            held = (step.drift.before,) if step.drift is not None else step.certificates
            for item in held:
                dated = dated or item.due is not None or item.calibrated is not None
                word = f"certificate {item.number}" if item.number else item.name
                if day is None:
                    continue
                if item.due is not None and item.due < day:
                    _add(expired, (word, item.due), place.name)
                if item.calibrated is not None and item.calibrated > day:
                    _add(later, (word, item.calibrated), place.name)
    if day is None:
        if dated:
            yield DAY_UNKNOWN()
        return
    for (word, due), names in expired.items():
        yield EXPIRED(name=_with_locations(word, names), due=due.isoformat(), day=day.isoformat())
    for (word, calibrated), names in later.items():
        name = _with_locations(word, names)
        yield CALIBRATED_LATER(name=name, calibrated=calibrated.isoformat(), day=day.isoformat())


def _add(found: dict[tuple[str, date], list[str]], key: tuple[str, date], name: str) -> None:
    names = found.setdefault(key, [])
    if name not in names:
        names.append(name)


def _with_locations(word: str, names: list[str]) -> str:
    return f"{word} ({'location' if len(names) == 1 else 'locations'} {', '.join(names)})"


def _instruments(plan: Plan, day: date | None) -> Iterator[Doubt]:
    for number, instrument in enumerate(plan.instruments, start=1):
        name = instrument.get("name") or f"number {number}"
        if not instrument.get("certificate", "").strip():
            yield NO_INSTRUMENT_CERTIFICATE(name=name)
        due = _day(instrument.get("due", ""))
        if day is not None and due is not None and due < day:
            certificate = f"certificate {instrument.get('certificate', 'unknown')} of instrument '{name}'"
            yield EXPIRED(name=certificate, due=due.isoformat(), day=day.isoformat())


def _day(text: str) -> date | None:
    """A day among free words; None where it is none."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


def _of_another_type(place: _Place, step: Step) -> Iterator[Doubt]:
    for item in step.certificates:
        if item.type and place.type and _family(item.type) != _family(place.type):
            yield WRONG_TYPE(name=item.name, found=item.type, planned=place.type, **place.where)
            return


def _family(word: str) -> str:
    """Types that a certificate and a plan may word differently: any platinum thermometer is one."""
    return "platinum" if table_type(word) == "Pt wire-wound" else word.casefold().replace(" ", "")


def _drift(place: _Place, step: Step) -> Iterator[Doubt]:
    drift = step.drift
    if drift is None:
        return
    if drift.significant.any():
        at = int(np.argmax(np.where(drift.significant, np.abs(drift.drift_c), 0.0)))
        yield DRIFTED(
            drift=float(drift.drift_c[at]),
            temperature=float(drift.temperature_c[at]),
            explained=1.96 * float(drift.standard_uncertainty_c[at]),
            before=_dated(drift.before),
            after=_dated(drift.after),
            **place.where,
        )
    kind = drift.after.type or drift.before.type or place.type
    if kind in BASE_METAL and step.of != "channel" and not _same_immersion(drift):
        known = [item.immersion_mm for item in (drift.before, drift.after)]
        immersion = "do not both state their immersion (column immersion_mm)"
        if known[0] is not None and known[1] is not None:
            immersion = f"were immersed {known[0]:g} and {known[1]:g} mm"
        yield DRIFT_AT_OTHER_IMMERSION(
            type=kind,
            before=_dated(drift.before),
            after=_dated(drift.after),
            immersion=immersion,
            **place.where,
        )


def _same_immersion(drift: Drift) -> bool:
    one, other = drift.before.immersion_mm, drift.after.immersion_mm
    return one is not None and other is not None and abs(one - other) <= 1e-9


def _dated(item: Certificate) -> str:
    number = f"certificate {item.number} of " if item.number else "the calibration of "
    return number + ("an unknown day" if item.calibrated is None else item.calibrated.isoformat())


def _above_tolerance(place: _Place, step: Step) -> Iterator[Doubt]:
    if step.of == "channel":
        return
    kind = next((item.type for item in step.certificates if item.type), place.type)
    worst: tuple[float, int, Tolerance] | None = None
    for index, temperature_c in enumerate(step.temperature_c.tolist()):
        tolerance = _tolerance(kind, temperature_c)
        if tolerance is None or tolerance.tolerance_c <= 0:
            continue
        times = abs(float(step.correction_c[index])) / tolerance.tolerance_c
        if times > 2.0 and (worst is None or times > worst[0]):
            worst = times, index, tolerance
    if worst is not None:
        _, index, tolerance = worst
        yield ABOVE_TOLERANCE(
            correction=float(step.correction_c[index]),
            temperature=float(step.temperature_c[index]),
            name=f"{tolerance.document} class {tolerance.name}",
            type=kind,
            tolerance=tolerance.tolerance_c,
            **place.where,
        )


def _tolerance(kind: str, temperature_c: float) -> Tolerance | None:
    if _family(kind) == "platinum":
        return tolerance_at(table_type(kind), temperature_c, "IEC 60751", "B")
    found = (tolerance_at(kind, temperature_c, document, name) for document, name in _CLASSES)
    return next((item for item in found if item is not None), None)


# ---- the sign of a correction ----


def _signs(plan: Plan, stretch: Stretch) -> Iterator[Doubt]:
    """Where sensors that share one temperature lie wider apart corrected than raw."""
    readings, found = stretch.readings, stretch.found
    everywhere = list(range(len(readings.locations)))
    if found.ground[0] == 0 and found.heat_start is not None and found.heat_start >= 2:
        rows = slice(0, found.heat_start + 1)
        caution = (
            ". For thermocouples agreement at ambient says nothing of their error when hot, as both "
            "junctions are at one temperature"
        )
        yield from _widened(stretch, rows, everywhere, "before heat start", "all locations", caution)
    listed = plan.certificates.co_located if plan.certificates is not None else ()
    columns = [column for column in everywhere if readings.locations[column] in listed]
    if len(columns) > 1 and not isinstance(found.window, Absent):
        rows = slice(found.window.first, found.window.last + 1)
        names = ", ".join(f"'{readings.locations[column]}'" for column in columns)
        yield from _widened(stretch, rows, columns, "in the window", f"the co-located sensors {names}", "")


def _widened(
    stretch: Stretch, rows: slice, columns: list[int], where: str, what: str, caution: str
) -> Iterator[Doubt]:
    readings = stretch.readings
    kept, raw, corrections, uncertainties = [], [], [], []
    for column in columns:
        values_c = readings.raw_c[rows, column]
        values_c = values_c[~np.isnan(values_c)]
        correction = readings.corrections[column]
        if values_c.size == 0 or correction is None:
            continue
        mean_c = np.array([values_c.mean()])
        if correction.steps[0].beyond(mean_c)[0] > 0:
            continue
        kept.append(column)
        raw.append(float(mean_c[0]))
        corrections.append(float(correction.apply(mean_c)[0][0] - mean_c[0]))
        uncertainties.append(correction.expanded_uncertainty_c(mean_c))
    if len(kept) < 2:
        return
    known = [value for value in uncertainties if value is not None]
    least_c = max([LEAST_WIDENING_C, *known])
    raw_c, added_c = np.array(raw), np.array(corrections)
    before_c, after_c = float(np.ptp(raw_c)), float(np.ptp(raw_c + added_c))
    if after_c - before_c <= least_c:
        return
    turned = [float(np.ptp(raw_c + _turned(added_c, index))) for index in range(len(kept))]
    suspect = int(np.argmin(turned))
    column = kept[suspect]
    channel = readings.recording.channels[readings.channel_index[column]]
    name = readings.locations[column]
    yield WIDENS(
        file=channel.file,
        column=channel.header,
        location=name,
        where=where,
        what=what,
        raw=before_c,
        corrected=after_c,
        suspect=name,
        turned=turned[suspect],
        caution=caution,
    )


def _turned(added_c: FloatArray, index: int) -> FloatArray:
    """The corrections with the sign of one turned."""
    result = added_c.copy()
    result[index] = -result[index]
    return result
