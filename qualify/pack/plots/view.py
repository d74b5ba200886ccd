"""What the plots of one hold, or one recording, are drawn from, in the unit that is printed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property
from typing import Any

import numpy as np

from qualify.evidence import HoldEvidence, RecordingEvidence
from qualify.figures.absent import Absent, Maybe, present
from qualify.pack.plots.look import legible
from qualify.readings.model import FloatArray
from qualify.record import LocationRecord, SurveyRecord, WindowRecord
from qualify.units import TemperatureUnit, difference_from_c, temperature_from_c

SLACK_C = 1e-9
"""Equal to the limit meets it; the slack of every comparison with a limit."""
FAR = 8.0
"""A location farther from the set point than so many times the limits is drawn off scale."""
LAST_PART = 0.1
"""Without a known U, a location is marked near a limit in this last part of the way to it."""


class Standing(StrEnum):
    """How a location's own extremes lie to the limits; a drawing aid, not a decision."""

    INSIDE = "inside"
    NEAR = "near"
    BEYOND = "beyond"


@dataclass(frozen=True, kw_only=True)
class HoldView:
    """One hold: its part of the record, its readings, the unit, the work zone."""

    survey: SurveyRecord
    hold: HoldEvidence
    recording: RecordingEvidence
    unit: TemperatureUnit
    work_zone: Mapping[str, Any] | None

    @property
    def window(self) -> WindowRecord | None:
        """The assessment window, None where there is none."""
        return None if isinstance(self.survey.window, Absent) else self.survey.window

    @property
    def setpoint(self) -> float:
        """Set point [unit]."""
        return temperature_from_c(self.survey.setpoint_c, self.unit)

    @property
    def limits(self) -> tuple[float | None, float | None]:
        """Lower and upper limit [unit], None where there is none."""
        low, high = self.survey.limit_low_c, self.survey.limit_high_c
        return (
            None if low is None else temperature_from_c(low, self.unit),
            None if high is None else temperature_from_c(high, self.unit),
        )

    @cached_property
    def half_width_c(self) -> float | None:
        """Distance of the farther limit from the set point [°C], None without limits."""
        distances = [
            abs(limit - self.survey.setpoint_c)
            for limit in (self.survey.limit_low_c, self.survey.limit_high_c)
            if limit is not None
        ]
        return max(distances) if distances else None

    @cached_property
    def decimals(self) -> int:
        """Decimals printed: two where the limits, or the readings, lie within 1 °C."""
        return 2 if self.half_width_c is not None and self.half_width_c <= 1.0 else 1

    @cached_property
    def index(self) -> Mapping[str, int]:
        """The column of each location in the readings."""
        return {name: column for column, name in enumerate(self.recording.readings.locations)}

    @cached_property
    def labels(self) -> Mapping[str, str]:
        """What each location is called in a plot: its name, or its number where letters are missing."""
        return {
            location.location: location.location if legible(location.location) else f"#{number}"
            for number, location in enumerate(self.survey.locations, start=1)
        }

    @property
    def numbered(self) -> bool:
        """Whether a location is called by its number."""
        return any(name != label for name, label in self.labels.items())

    @cached_property
    def by_mean(self) -> tuple[LocationRecord, ...]:
        """The locations with a mean, hottest first."""
        known = [(item.mean_c, item) for item in self.survey.locations if present(item.mean_c)]
        return tuple(item for _, item in sorted(known, key=lambda pair: -pair[0]))

    @cached_property
    def highest(self) -> LocationRecord | None:
        """The location with the highest reading of the window."""
        known = [(item.max_c, item) for item in self.survey.locations if present(item.max_c)]
        return max(known, key=lambda pair: pair[0])[1] if known else None

    @cached_property
    def lowest(self) -> LocationRecord | None:
        """The location with the lowest reading of the window."""
        known = [(item.min_c, item) for item in self.survey.locations if present(item.min_c)]
        return min(known, key=lambda pair: pair[0])[1] if known else None

    def standing(self, location: LocationRecord) -> Standing:
        """Tell how a location's extremes in the window lie to the limits."""
        worst = Standing.INSIDE
        u = location.expanded_uncertainty_c
        sides = (
            (location.max_c, self.survey.limit_high_c, 1.0),
            (location.min_c, self.survey.limit_low_c, -1.0),
        )
        for value, limit, sign in sides:
            if limit is None or not present(value):
                continue
            room = sign * (limit - value)
            near = u if present(u) else LAST_PART * abs(limit - self.survey.setpoint_c)
            if room < -SLACK_C:
                return Standing.BEYOND
            if room < near - SLACK_C:
                worst = Standing.NEAR
        return worst

    def off_scale(self, location: LocationRecord) -> bool:
        """Whether a location lies so far off that drawing it to scale would hide all others."""
        if self.half_width_c is None or not (present(location.min_c) and present(location.max_c)):
            return False
        reach = FAR * self.half_width_c
        return (
            location.max_c > self.survey.setpoint_c + reach or location.min_c < self.survey.setpoint_c - reach
        )

    @cached_property
    def off_scale_names(self) -> frozenset[str]:
        """Locations drawn off scale; none if all would be."""
        far = frozenset(item.location for item in self.survey.locations if self.off_scale(item))
        return far if len(far) < len(self.by_mean) else frozenset()

    def scale(self, *, with_uncertainty: bool) -> tuple[float, float]:
        """Give the range of temperatures [unit] that holds the set point, limits and locations."""
        values_c = [self.survey.setpoint_c]
        values_c += [x for x in (self.survey.limit_low_c, self.survey.limit_high_c) if x is not None]
        for item in self.survey.locations:
            if item.location in self.off_scale_names:
                continue
            u = item.expanded_uncertainty_c
            reach = u if with_uncertainty and present(u) else 0.0
            if present(item.max_c):
                values_c.append(item.max_c + reach)
            if present(item.min_c):
                values_c.append(item.min_c - reach)
        low, high = min(values_c), max(values_c)
        pad = 0.06 * (high - low) or 1.0
        return temperature_from_c(low - pad, self.unit), temperature_from_c(high + pad, self.unit)

    def temperature(self, value: Maybe, *, finer: bool = False) -> str:
        """Print a temperature without its unit; `finer` adds a decimal, where it is held against a limit."""
        if not present(value):
            return "–"
        return signless(temperature_from_c(value, self.unit), self.decimals + finer)

    def deviation(self, value: Maybe) -> str:
        """Print how far a temperature lies from the set point, with its sign, without its unit."""
        if not present(value):
            return "–"
        return signed(difference_from_c(value - self.survey.setpoint_c, self.unit), self.decimals)

    def deviation_sign(self, value_c: float) -> int:
        """+1 hot, -1 cold, 0 where the printed deviation is zero."""
        shown = round(difference_from_c(value_c - self.survey.setpoint_c, self.unit), self.decimals)
        return int(np.sign(shown))

    def heading(self, kind: str) -> tuple[str, str]:
        """Give the title's two parts: the name, which may be shortened, and what must stand."""
        name = self.survey.name if legible(self.survey.name) else f"survey {self.hold.survey + 1}"
        setpoint = f"set point {plain_number(self.setpoint)} {self.unit}"
        return name, f" · {kind} · {setpoint} · verdict: {self.survey.verdict}"

    def window_note(self) -> str:
        """Say what was assessed: locations, readings, times."""
        found = self.window
        if found is None:
            return ""
        minutes = plain_number((found.end_s - found.start_s) / 60.0)
        if found.start is not None and found.end is not None:
            day, _, from_clock = found.start.partition("T")
            last_day, _, to_clock = found.end.partition("T")
            until = to_clock if last_day == day else f"{last_day} {to_clock}"
            times = f"{day} {from_clock} to {until}, logger's clock"
        else:
            times = (
                f"{plain_number(found.start_s / 60.0)} to {plain_number(found.end_s / 60.0)} min "
                "from the first reading"
            )
        how = "declared" if found.declared else "found from steadiness"
        first, last = self.hold.window if self.hold.window is not None else (0, -1)
        readings = f"{last - first + 1} instants × {len(self.survey.locations)} locations"
        filled = "" if found.filled else "; the record ends before the window does"
        return f"Assessment window ({how}): {times}, {minutes} min; {readings}{filled}."

    def notes(self, *more: str) -> list[str]:
        """Give the footnotes: the window, what else a plot says, and numbered names."""
        numbered = "# stands for the number in the list of locations, where a name has letters unknown here."
        return [self.window_note(), *[note for note in more if note], *([numbered] if self.numbered else [])]


@dataclass(frozen=True, kw_only=True)
class RunView:
    """One recording and its holds, in order of time."""

    recording: RecordingEvidence
    holds: tuple[HoldView, ...]
    unit: TemperatureUnit

    @property
    def seconds(self) -> FloatArray:
        """Times of the instants [s]."""
        return self.recording.readings.recording.seconds

    def shown(self, values_c: FloatArray) -> FloatArray:
        """Temperatures [unit]."""
        return temperature_from_c(values_c, self.unit)


def signless(value: float, decimals: int) -> str:
    """Print a number with a true minus where it is negative."""
    return f"{value:.{decimals}f}".replace("-", "−")


def signed(value: float, decimals: int) -> str:
    """Print a number with its sign; zero has none."""
    shown = f"{value:+.{decimals}f}"
    return f"{0:.{decimals}f}" if float(shown) == 0 else shown.replace("-", "−")


def plain_number(value: float) -> str:
    """Print a number to at most two decimals, without needless zeros."""
    shown = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if shown == "-0" else shown.replace("-", "−")
