"""The budgets of one hold: of a reading and of the mean at each location, of the chamber as a whole."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, sqrt

import numpy as np

from qualify.figures.absent import Absent
from qualify.figures.budget import Budget, Contribution, budget
from qualify.figures.series import MeanError
from qualify.figures.uniformity import NO_REFERENCE, Window
from qualify.plan.uncertainty import OfChamber, UncertaintyChoice
from qualify.probability import student_quantile
from qualify.record import (
    ChamberBudgetRecord,
    CombinedRecord,
    ContributionRecord,
    LocationBudgetRecord,
    UncertaintyRecord,
)
from qualify.stages.reading_budget import covered, left_out
from qualify.stages.stretch import Stretch

REPEATABILITY = "repeatability of the mean"
INHOMOGENEITY = "inhomogeneity of the chamber"
INSTABILITY = "instability of the chamber"


@dataclass(frozen=True, slots=True, kw_only=True)
class LocationBudgets:
    """Of one corrected reading in the window, and of the location's mean."""

    reading: Budget | Absent
    mean: Budget | Absent


def location_budgets(stretch: Stretch, column: int, error: MeanError | Absent) -> LocationBudgets:
    """Give the budgets of a location in the window.

    The mean adds the scatter of an autocorrelated series (type A; JCGM 100:2008, 4.2 and 5.1.2, clauses
    cited from memory): the half-width of its 95 % interval, an unfinished cycle included, over Student's t.
    The plain s/√(effective readings) would be too small in a short, strongly autocorrelated window.

    Parameters
    ----------
    stretch, column
        The hold, and which location.
    error
        How well its mean is known from its readings alone.
    """
    found = stretch.found.window
    if isinstance(found, Absent):
        return LocationBudgets(reading=found, mean=found)
    one = stretch.budget_of(column, slice(found.first, found.last + 1))
    if isinstance(one, Absent):
        return LocationBudgets(reading=one, mean=one)
    if isinstance(error, Absent):
        return LocationBudgets(reading=one, mean=error)
    scatter = Contribution(
        source=REPEATABILITY,
        evaluation="A",
        stated_c=error.half_width_c,
        divisor=student_quantile(error.degrees),
        degrees_of_freedom=error.degrees,
        origin="95 % half-width of the mean of an autocorrelated series ÷ Student's t",
    )
    return LocationBudgets(reading=one, mean=budget([*one.contributions, scatter]))


def chamber_budget(
    window: Window | Absent, of_reference: LocationBudgets | None, choice: UncertaintyChoice
) -> Budget | Absent:
    """Give the budget of an assigned chamber temperature: that of the reference location's mean.

    The reference reading's own sources, the repeatability of its mean, the spatial inhomogeneity
    max |mean T_i − mean T_r| and the temporal instability max |T_r(t) − mean T_r|, both as rectangular
    half-widths, and what the plan states of the chamber: its indication, radiation, loading (DKD-R 5-7; the
    like in IEC 60068-3-11). It is reported and never guards a uniformity limit: it would count
    non-uniformity twice.

    Parameters
    ----------
    window
        The readings that are judged.
    of_reference
        Budgets of the reference location; None where there is none.
    choice
        What the plan says of uncertainty.
    """
    if isinstance(window, Absent):
        return window
    if window.reference is None or of_reference is None:
        return NO_REFERENCE
    if isinstance(of_reference.mean, Absent):
        return of_reference.mean
    across = window.across
    if across is None:
        return Absent("no instant in the window at which every location has a reading")
    means_c = across.means_c
    apart_c = float(np.abs(means_c - means_c[window.reference]).max())
    swing_c = float(np.abs(across.values_c[:, window.reference] - means_c[window.reference]).max())
    rows = [
        *of_reference.mean.contributions,
        _half_width(INHOMOGENEITY, apart_c, "largest |mean of a location − mean of the reference|"),
        _half_width(INSTABILITY, swing_c, "largest |reading − mean| at the reference location"),
        *(
            Contribution(
                source=item.source,
                shape=item.shape.value,
                stated_c=item.stated_c,
                divisor=item.divisor,
                degrees_of_freedom=item.degrees_of_freedom,
                origin=item.because,
            )
            for item in choice.of_chamber
        ),
    ]
    return budget(rows)


def _half_width(source: str, half_width_c: float, origin: str) -> Contribution:
    return Contribution(
        source=source, shape="rectangular", stated_c=half_width_c, divisor=sqrt(3.0), origin=origin
    )


# ---- into the record ----


def uncertainty_record(
    stretch: Stretch, window: Window | Absent, budgets: tuple[LocationBudgets, ...]
) -> UncertaintyRecord | Absent:
    """Put the budgets of a hold into its record; absent where no location has one."""
    if isinstance(window, Absent):
        return window
    first = next((item.reading for item in budgets if isinstance(item.reading, Budget)), None)
    if first is None:
        return budgets[0].reading if isinstance(budgets[0].reading, Absent) else Absent("no budget")
    reference = window.reference
    whole = chamber_budget(window, None if reference is None else budgets[reference], stretch.uncertainty)
    given = {item.source for item in stretch.uncertainty.of_chamber}
    return UncertaintyRecord(
        locations=tuple(_location_record(stretch, column, item) for column, item in enumerate(budgets)),
        chamber=whole
        if isinstance(whole, Absent)
        else ChamberBudgetRecord(
            location=stretch.readings.locations[reference or 0],
            contributions=_rows(whole),
            combined=_combined(whole),
            left_out=tuple(item.value for item in OfChamber if item not in given),
        ),
        calibration_correlation=stretch.uncertainty.calibration_correlation,
    )


def _location_record(stretch: Stretch, column: int, budgets: LocationBudgets) -> LocationBudgetRecord:
    place, correction = stretch.assigned.places[column], stretch.readings.corrections[column]
    of_mean, one = budgets.mean, budgets.reading
    scatter = None
    if isinstance(of_mean, Budget):
        scatter = _rows(of_mean)[-1]
    return LocationBudgetRecord(
        location=place.name,
        contributions=() if isinstance(one, Absent) else _rows(one),
        reading=one if isinstance(one, Absent) else _combined(one),
        repeatability=scatter,
        mean=of_mean if isinstance(of_mean, Absent) else _combined(of_mean),
        left_out=left_out(stretch.uncertainty, place, correction),
        covered=covered(stretch.uncertainty, place),
    )


def _rows(found: Budget) -> tuple[ContributionRecord, ...]:
    return tuple(
        ContributionRecord(
            source=item.source,
            evaluation=item.evaluation,
            shape=item.shape,
            stated_c=item.stated_c,
            divisor=item.divisor,
            standard_c=item.standard_c,
            degrees_of_freedom=_finite(item.degrees_of_freedom),
            shared_with=item.shared_with,
            share=found.share(item),
            origin=item.origin,
        )
        for item in found.contributions
    )


def _combined(found: Budget) -> CombinedRecord:
    return CombinedRecord(
        standard_c=found.standard_c,
        effective_degrees=_finite(found.effective_degrees),
        coverage_factor=found.coverage_factor,
        expanded_c=found.expanded_c,
    )


def _finite(degrees: float) -> float | None:
    return None if degrees == inf else degrees
