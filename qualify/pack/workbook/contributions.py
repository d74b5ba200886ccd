"""What a location's budget is made of, as far as formulas can follow it: rows of certificates, other rows.

The rows of the certificates are those of the reading in the window that is worth least; the formulas find
that reading themselves, so that a row follows a changed reading.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np

from qualify.evidence import Evaluation
from qualify.figures.absent import Absent
from qualify.pack.workbook.cells import HoldView, RecordingView
from qualify.pack.workbook.sensors import Points, SensorsLayout, reading_variance
from qualify.record import ContributionRecord, LocationBudgetRecord, LocationRecord
from qualify.sensors.corrections import Correction

NEAR = 1e-9


def same(one: float, other: float) -> bool:
    """Whether two values agree as the workbook counts it: 1e-9 relative, and absolute below 1."""
    return abs(one - other) <= NEAR * max(1.0, abs(other))


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """One certificate's part at the reading with the largest uncertainty in the window [°C]."""

    points: Points
    indication_c: float
    standard_c: float
    beyond: bool


@dataclass(frozen=True, slots=True, eq=False)
class CertificateRow:
    """A row that a certificate gives: which part of its uncertainty, and what that is multiplied by.

    `kind` is "shared" (what the certificate states), "private" (a spool's samples, a drift) or "reach"
    (beyond its points); `step` counts the location's certificates from 0.
    """

    record: ContributionRecord
    step: int
    kind: str
    multiplier: float = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class LocationBudget:
    """The budget of one survey and location: the record's, and what stands behind it."""

    survey: int
    number: int
    location: LocationRecord
    record: LocationBudgetRecord | None
    parts: tuple[Part, ...]
    factor: float | None
    """Coverage factor of the certificates; None where they give no uncertainty."""
    reach_uncertainty_c: float
    rows: tuple[CertificateRow, ...]
    """Rows of the certificates."""
    others: tuple[ContributionRecord, ...]
    """Rows that the plan gives."""

    @property
    def certificates_c(self) -> float:
        """Standard uncertainty that the certificates leave [°C]; 0 without any."""
        if self.factor is None:
            return 0.0
        allowed = (self.reach_uncertainty_c / self.factor) ** 2
        return sqrt(sum(part.standard_c**2 + allowed * part.beyond for part in self.parts))

    @property
    def others_c(self) -> float:
        """Standard uncertainty of the plan's sources together [°C]."""
        return sqrt(sum(item.standard_c**2 for item in self.others))

    @property
    def finite(self) -> tuple[int, ...]:
        """Which of the plan's rows have finite degrees of freedom."""
        return tuple(n for n, item in enumerate(self.others) if item.degrees_of_freedom is not None)

    @property
    def alone(self) -> bool:
        """Whether the certificates make up the whole budget, so that their k is kept."""
        return not self.others

    @property
    def one_live(self) -> bool:
        """Whether the budget of one reading can be combined here, and gives what the engine has."""
        if self.record is None or isinstance(self.record.reading, Absent):
            return False
        return same(sqrt(self.certificates_c**2 + self.others_c**2), self.record.reading.standard_c)

    @property
    def mean_live(self) -> bool:
        """Whether the budget of the mean can be combined here."""
        return (
            self.one_live
            and self.record is not None
            and self.record.repeatability is not None
            and not isinstance(self.record.mean, Absent)
        )


def location_budgets(
    evaluation: Evaluation, recordings: tuple[RecordingView, ...], sensors: SensorsLayout
) -> list[LocationBudget]:
    """Give the budget of every survey and location, in the record's order."""
    of_survey = {hold.survey: (view, hold) for view in recordings for hold in view.holds}
    found = []
    for survey, record in enumerate(evaluation.record.surveys):
        uncertainty = record.uncertainty
        known = {}
        correlation = 0.0
        if not isinstance(uncertainty, Absent):
            known = {item.location: item for item in uncertainty.locations}
            correlation = uncertainty.calibration_correlation
        for number, location in enumerate(record.locations):
            own = known.get(location.location)
            behind = _behind(of_survey.get(survey), location.location)
            found.append(_budget(survey, number, location, own, behind, sensors, correlation))
    return found


@dataclass(frozen=True, slots=True, eq=False)
class _Behind:
    """The readings and the correction behind a budget."""

    view: RecordingView
    hold: HoldView
    index: int
    correction: Correction | None


def _behind(found: tuple[RecordingView, HoldView] | None, location: str) -> _Behind | None:
    if found is None or found[1].evidence.window is None:
        return None
    view, hold = found
    readings = view.evidence.readings
    if location not in readings.locations:
        return None
    index = readings.locations.index(location)
    return _Behind(view, hold, index, readings.corrections[index])


def _budget(
    survey: int,
    number: int,
    location: LocationRecord,
    record: LocationBudgetRecord | None,
    behind: _Behind | None,
    sensors: SensorsLayout,
    correlation: float,
) -> LocationBudget:
    parts: tuple[Part, ...] = ()
    factor, reach_c = None, 0.0
    if behind is not None and behind.correction is not None:
        correction = behind.correction
        parts = _parts(behind, correction, sensors)
        if parts and correction.coverage_factor is not None:
            factor, reach_c = correction.coverage_factor, correction.reach_uncertainty_c
        else:
            parts = ()
    rows, taken = _certificate_rows(record, parts, factor, reach_c, correlation)
    return LocationBudget(
        survey=survey,
        number=number,
        location=location,
        record=record,
        parts=parts,
        factor=factor,
        reach_uncertainty_c=reach_c,
        rows=rows,
        others=() if record is None else record.contributions[taken:],
    )


def _parts(behind: _Behind, correction: Correction, sensors: SensorsLayout) -> tuple[Part, ...]:
    """Each certificate's part at the reading in the window that is worth least."""
    factor = correction.coverage_factor
    first, last = behind.hold.evidence.window or (0, -1)
    raw_c = behind.view.evidence.readings.raw_c[first : last + 1, behind.index]
    raw_c = raw_c[~np.isnan(raw_c)]
    if factor is None or raw_c.size == 0:
        return ()
    widest = int(np.argmax(reading_variance(correction, raw_c, factor)))
    indicated = raw_c[widest : widest + 1]
    parts = []
    for points in sensors.steps(behind.view.number, behind.index):
        step = points.step
        standard_c = float(step.standard_uncertainty_at(indicated)[0])
        beyond = bool(step.beyond(indicated)[0] > 0)
        parts.append(Part(points, float(indicated[0]), standard_c, beyond))
        indicated = indicated + step.correction_at(indicated)
    return tuple(parts)


def _certificate_rows(
    record: LocationBudgetRecord | None,
    parts: tuple[Part, ...],
    factor: float | None,
    reach_c: float,
    correlation: float,
) -> tuple[tuple[CertificateRow, ...], int]:
    """Rows of the certificates, and how many of the record's contributions they are.

    They stand before the plan's rows and in the order of the certificates. A reach that no reading needs
    is no row of the record; it stands here with 0, because a changed reading may need it.
    """
    if record is None or factor is None:
        return (), 0
    rows: list[CertificateRow] = []
    taken = 0

    def take(step: int, kind: str, multiplier: float = 1.0) -> None:
        nonlocal taken
        if taken < len(record.contributions):
            rows.append(CertificateRow(record.contributions[taken], step, kind, multiplier))
            taken += 1

    for number, part in enumerate(parts):
        if correlation > 0.0:
            take(number, "shared", correlation**0.5)
        if correlation < 1.0:
            take(number, "shared", (1.0 - correlation) ** 0.5)
        if part.points.step.private_uncertainty_c is not None:
            take(number, "private")
        if reach_c > 0.0 and part.beyond:
            take(number, "reach")
        elif reach_c > 0.0:
            rows.append(CertificateRow(_unused_reach(part, factor), number, "reach"))
    return tuple(rows), taken


def _unused_reach(part: Part, factor: float) -> ContributionRecord:
    return ContributionRecord(
        source=f"reach beyond the {part.points.step.of}'s points",
        evaluation="B",
        shape="normal",
        stated_c=0.0,
        divisor=factor,
        standard_c=0.0,
        degrees_of_freedom=None,
        shared_with="",
        share=0.0,
        origin="the plan's reach_uncertainty; no reading needs it",
    )
