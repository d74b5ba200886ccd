"""What the picture of an estimated field is drawn from: one hold's record, in the unit that is printed."""

from __future__ import annotations

from typing import Any

from qualify.figures.absent import Absent
from qualify.pack.plots.field import FieldPicture, Spot
from qualify.pack.plots.view import HoldView, plain_number
from qualify.units import difference_from_c, temperature_from_c


def field_picture(view: HoldView) -> FieldPicture | None:
    """Gather the picture of a hold's estimated field; None where none is given."""
    statistics, zone = view.survey.statistics, view.work_zone
    if isinstance(statistics, Absent) or isinstance(statistics.field, Absent) or zone is None:
        return None
    found = statistics.field
    grid = found.grid
    name, _ = view.heading("")
    sides = (grid.x_mm, grid.y_mm, grid.z_mm)
    places = tuple(
        (view.labels[location.location], location.position_mm)
        for location in view.survey.locations
        if location.position_mm is not None
        and all(0.0 <= at <= axis[-1] for at, axis in zip(location.position_mm, sides, strict=True))
    )
    notes = [found.statement, f"{found.model}: {found.why.rstrip('.')}."]
    if found.caution:
        notes.append(found.caution)
    return FieldPicture(
        name=name,
        about=f"estimated field, not a verdict · set point {plain_number(view.setpoint)} {view.unit.value}",
        unit=view.unit.value,
        x_mm=grid.x_mm,
        y_mm=grid.y_mm,
        z_mm=grid.z_mm,
        temperature=temperature_from_c(grid.temperature_c, view.unit),
        inside=grid.inside,
        is_cylinder=zone.get("shape") == "cylinder",
        places=places,
        highest=_spot(view, "highest", found.highest),
        lowest=_spot(view, "lowest", found.lowest),
        limits=view.limits,
        notes=tuple(view.notes(*notes)),
    )


def _spot(view: HoldView, word: str, extreme: Any) -> Spot:
    """Where an extreme is expected, and what the key says of it."""
    expected = temperature_from_c(extreme.expected_c, view.unit)
    ends = [temperature_from_c(end, view.unit) for end in (extreme.low_c, extreme.high_c)]
    decimals = 2 if difference_from_c(extreme.high_c - extreme.low_c, view.unit) < 1.0 else 1
    words = (
        f"{word} expected: {expected:.{decimals}f} {view.unit.value} "
        f"({ends[0]:.{decimals}f} to {ends[1]:.{decimals}f})"
    )
    return Spot(position_mm=extreme.position_mm, words=words)
