"""One hold within its recording: what its figures and requirements are taken from."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from qualify.evidence import Readings
from qualify.figures.absent import Absent
from qualify.figures.budget import Budget
from qualify.figures.uniformity import Window
from qualify.plan.uncertainty import UncertaintyChoice
from qualify.stages.holds import FoundHold, Trace
from qualify.stages.locations import Assigned
from qualify.stages.reading_budget import reading_budget


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """Upper and lower limit of the hold [°C], as temperatures; None where the plan sets none."""

    low_c: float | None
    high_c: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """One hold within its recording: what the figures are computed from."""

    found: FoundHold
    trace: Trace
    assigned: Assigned
    limits: Limits
    following_end: int | None
    """Last instant of the next hold; None where there is none."""
    uncertainty: UncertaintyChoice = field(default_factory=UncertaintyChoice)
    """What the plan says of uncertainty, besides the certificates."""

    def budget_of(self, column: int, rows: slice) -> Budget | Absent:
        """Budget of one corrected reading of a location, of the most uncertain among some instants."""
        return reading_budget(
            self.uncertainty,
            self.assigned.places[column],
            self.readings.corrections[column],
            self.readings.raw_c[rows, column],
        )

    @property
    def readings(self) -> Readings:
        """The corrected readings."""
        return self.assigned.readings

    @property
    def window(self) -> Window | Absent:
        """The assessed readings, where there are any."""
        found = self.found.window
        if isinstance(found, Absent):
            return found
        rows = slice(found.first, found.last + 1)
        values_c = self.readings.corrected_c[rows]
        if np.isnan(values_c).all():
            return Absent("no location has a reading in the window")
        return Window(self.trace.seconds[rows], values_c, self.found.hold.setpoint, self.assigned.reference)
