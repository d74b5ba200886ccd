"""The unwatched places of a hold: an estimate of the whole work zone from its watched locations."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from qualify.figures.absent import Absent, present
from qualify.figures.budget import combined_standard_uncertainty
from qualify.figures.uniformity import Window
from qualify.plan.model import Plan
from qualify.stages.hold_figures import HoldFigures
from qualify.stages.stretch import Stretch

if TYPE_CHECKING:
    from qualify.inference.field import FieldEstimate, FieldExtreme


def unwatched_places(
    plan: Plan, stretch: Stretch, window: Window, figures: HoldFigures
) -> FieldEstimate | Absent:
    """Estimate the highest and the lowest mean temperature in the whole work zone.

    The model is fitted with what each location's mean has of its own: private sources and repeatability.
    What all share moves the whole field and widens the interval of its extremes.

    Parameters
    ----------
    plan, stretch, window, figures
        The plan, the hold in its recording, the readings that are judged, and the hold's figures.
    """
    zone = plan.work_zone
    if zone is None:
        return Absent("the plan has no work zone")
    nowhere = (np.nan, np.nan, np.nan)
    places = [place.position_mm or nowhere for place in stretch.assigned.places]
    means = [item.mean_c for item in figures.locations]
    own, shared = [], []
    for item in figures.budgets:
        found = item.mean
        if isinstance(found, Absent):
            return Absent(f"the uncertainty of a location's mean is not known: {found.reason}")
        rows = found.contributions
        own.append(_combined([row.standard_c for row in rows if not row.shared_with]))
        shared.append(_combined([row.standard_c for row in rows if row.shared_with]))
    from qualify.inference.field import estimate_field
    from qualify.inference.field_places import FieldZone

    found_field = estimate_field(
        np.array(places, dtype=np.float64),
        np.array([mean if present(mean) else np.nan for mean in means]),
        np.array(own),
        FieldZone(
            width_mm=zone.width_mm,
            depth_mm=zone.depth_mm,
            height_mm=zone.height_mm,
            is_cylinder=zone.shape == "cylinder",
        ),
    )
    if isinstance(found_field, Absent):
        return found_field
    common_c = 2.0 * max(shared)
    return replace(
        found_field,
        highest=_widened(found_field.highest, common_c),
        lowest=_widened(found_field.lowest, common_c),
    )


def _combined(standard_c: list[float]) -> float:
    return combined_standard_uncertainty(standard_c) if standard_c else 0.0


def _widened(extreme: FieldExtreme, half_width_c: float) -> FieldExtreme:
    """The extreme with a half width that all locations share added to its interval, as independent."""
    return replace(
        extreme,
        low_c=extreme.expected_c - float(np.hypot(extreme.expected_c - extreme.low_c, half_width_c)),
        high_c=extreme.expected_c + float(np.hypot(extreme.high_c - extreme.expected_c, half_width_c)),
    )
