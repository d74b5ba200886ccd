"""A challenge on one time axis: the quantity with its limit and where it tripped, the channels beneath."""

from __future__ import annotations

from math import floor, log10
from typing import TYPE_CHECKING, Any

import numpy as np

from qualify.evidence import ChallengeEvidence, Evaluation
from qualify.pack.plots.elapsed import elapsed_axis
from qualify.pack.plots.look import (
    BAND,
    GREY,
    INK,
    PALE,
    SMALL,
    WASH,
    WIDTH_MM,
    Page,
    colour_key,
    fit,
    legible,
    patch_key,
)
from qualify.pack.plots.marks import title
from qualify.pack.plots.strips import FILLED, STRIP_MM, draw_strip
from qualify.pack.plots.traces import draw_trace
from qualify.readings.model import FloatArray
from qualify.record import RequirementRecord, StageTestRecord
from qualify.units import TemperatureUnit, difference_from_c, temperature_from_c

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes

LEFT_MM, RIGHT_MM = 17.0, 4.0
ACROSS_MM = WIDTH_MM - LEFT_MM - RIGHT_MM
BOTTOM_MM, QUANTITY_MM = 20.0, 66.0
AROUND = 0.06
"""So much of the stretch is shown before and after it, where there is a record."""
MOST_STRIPS = 12


def record_of(evaluation: Evaluation, name: str) -> StageTestRecord | None:
    """The record of a challenge, by its name."""
    tests = (test for stage in evaluation.record.stages for test in stage.tests)
    return next((test for test in tests if test.name == name), None)


def draw(evidence: ChallengeEvidence, test: StageTestRecord | None, unit: TemperatureUnit) -> Page:
    """Draw a challenge.

    Parameters
    ----------
    evidence
        Its quantity, limit and channels over time.
    test
        Its record; None leaves out verdict, U and the limits of the trip point.
    unit
        Of temperatures.
    """
    return _Picture(evidence, test, unit).page()


class _Picture:
    """One challenge in the unit that is printed."""

    def __init__(
        self, evidence: ChallengeEvidence, test: StageTestRecord | None, unit: TemperatureUnit
    ) -> None:
        self.evidence, self.test, self.unit = evidence, test, unit
        self.is_temperature = evidence.unit == TemperatureUnit.C.value
        self.seconds = evidence.seconds
        self.switches = evidence.switches[:MOST_STRIPS]
        length = max(evidence.end_s - evidence.start_s, 1e-3)
        self.first = max(evidence.start_s - AROUND * length, float(self.seconds[0]))
        self.last = min(evidence.end_s + AROUND * length, float(self.seconds[-1]))
        if self.last <= self.first:
            self.last = self.first + 1.0
        self.shown = (self.seconds >= self.first) & (self.seconds <= self.last)
        found = None if test is None else test.figures.get("trip")
        self.expanded: float | None = None if found is None else float(found.expanded)

    @property
    def unit_word(self) -> str:
        """Unit of the quantity as printed."""
        return self.unit.value if self.is_temperature else self.evidence.unit or "no unit"

    def values(self, values: FloatArray) -> FloatArray:
        """Values of the quantity in the unit printed."""
        return temperature_from_c(values, self.unit) if self.is_temperature else values

    def value(self, value: float) -> float:
        """One value of the quantity in the unit printed."""
        return float(temperature_from_c(value, self.unit)) if self.is_temperature else value

    def width(self, value: float) -> float:
        """A difference of the quantity in the unit printed."""
        return float(difference_from_c(value, self.unit)) if self.is_temperature else value

    # ---- the page ----

    def page(self) -> Page:
        """Lay out and draw."""
        strips = len(self.switches) * STRIP_MM
        page = Page(BOTTOM_MM + strips + QUANTITY_MM + 11.0, self._title(), self._footnotes())
        quantity = page.axes(LEFT_MM, BOTTOM_MM + strips, ACROSS_MM, QUANTITY_MM)
        lowest = quantity
        self._quantity(quantity)
        for number, switch in enumerate(self.switches):
            bottom = BOTTOM_MM + strips - (number + 1) * STRIP_MM
            lowest = page.axes(LEFT_MM, bottom, ACROSS_MM, STRIP_MM)
            draw_strip(lowest, self.evidence, switch, (self.first, self.last))
            self._outside(lowest)
            lowest.set_xlim(self.first, self.last)
            lowest.tick_params(axis="x", bottom=False, labelbottom=False)
        quantity.set_xlim(self.first, self.last)
        if lowest is not quantity:
            quantity.tick_params(axis="x", bottom=False, labelbottom=False)
            quantity.spines["bottom"].set_visible(False)
        self._time(lowest)
        page.legend(self._key(), bottom=2.0, columns=4)
        return page

    def _title(self) -> str:
        name = self.evidence.name if legible(self.evidence.name) else "challenge"
        kind = "challenge" if self.test is None else self.test.kind
        verdict = "" if self.test is None else f" · verdict: {self.test.verdict}"
        return title(name, f" · {kind}{verdict}")

    def _footnotes(self) -> list[str]:
        evidence = self.evidence
        notes = [
            f"Stretch: {evidence.start_s:.6g} to {evidence.end_s:.6g} s from the first reading; "
            f"{int(self.shown.sum())} readings are shown."
        ]
        if evidence.trip_s is not None and evidence.trip_value is not None:
            after, by = evidence.trip_s
            k = "" if self.expanded is None else " (k = 2)"
            notes.append(
                f"Tripped after {after:.6g} s and by {by:.6g} s, at {self._in_words(evidence.trip_value)}{k}."
            )
        elif evidence.trip_s is not None:
            after, by = evidence.trip_s
            notes.append(
                f"Tripped after {after:.6g} s and by {by:.6g} s. The limit was moved: how far the quantity "
                "was past it then stands on the sheet Operation tests."
            )
        else:
            notes.append("No recorded channel answered: there is no trip point.")
        if self.switches:
            notes.append(
                "Strips: filled while on, empty while off; blank where the state is not known, as between "
                "the two readings of a change."
            )
        if len(evidence.switches) > MOST_STRIPS:
            notes.append(f"{len(evidence.switches) - MOST_STRIPS} more channels are not drawn.")
        if self.test is not None and self.test.simulated:
            notes.append("Shown with a simulated signal: it proves the loop, never the sensor.")
        return notes

    # ---- the quantity ----

    def _asked(self) -> tuple[float | None, float | None]:
        """Between which the trip point must lie; nothing that can be drawn where the limit was moved."""
        if self.evidence.trip_s is not None and self.evidence.trip_value is None:
            return None, None
        if self.test is None:
            return None, None
        found: RequirementRecord | None = next(
            (item for item in self.test.requirements if item.figure == "trip point"), None
        )
        if found is None:
            return None, None
        low, high = found.limit_low, found.limit_high
        return None if low is None else self.value(low), None if high is None else self.value(high)

    def _quantity(self, axes: Axes) -> None:
        evidence = self.evidence
        span = self.last - self.first
        seconds, values = self.seconds[self.shown], self.values(evidence.quantity[self.shown])
        draw_trace(axes, seconds, values, span, color=INK, linewidth=0.9, zorder=3.0)
        heights = [values[np.isfinite(values)]]
        if evidence.limit is not None:
            limit = self.values(evidence.limit[self.shown])
            draw_trace(axes, seconds, limit, span, color=INK, linewidth=0.7, linestyle="--", zorder=3.1)
            heights.append(limit[np.isfinite(limit)])
        low, high = self._asked()
        heights.append(np.array([edge for edge in (low, high) if edge is not None]))
        if evidence.trip_value is not None:
            reach = self.width(self.expanded or 0.0)
            at = self.value(evidence.trip_value)
            heights.append(np.array([at - reach, at + reach]))
        every = np.concatenate(heights)
        bottom, top = (float(every.min()), float(every.max())) if every.size else (0.0, 1.0)
        pad = 0.06 * (top - bottom) or 1.0
        axes.set_ylim(bottom - pad, top + pad)
        if low is not None or high is not None:
            edges = (bottom - pad if low is None else low, top + pad if high is None else high)
            axes.axhspan(*edges, color=BAND, linewidth=0, zorder=1.0)
        self._outside(axes)
        if evidence.trip_s is not None and evidence.trip_value is not None:
            self._trip(axes, evidence.trip_s, evidence.trip_value)
        axes.set_ylabel(f"{self._name()} [{self.unit_word}]", va="center")
        axes.yaxis.set_label_coords(-12.0 / ACROSS_MM, 0.5)

    def _name(self) -> str:
        name = self.evidence.quantity_name
        return fit(name, QUANTITY_MM - 14.0, SMALL + 1.0) if legible(name) else "quantity"

    def _in_words(self, value: float) -> str:
        """Word the trip point: U to two digits, the value to match; without U to five digits."""
        unit = f" {self.unit_word}" if self.unit_word != "no unit" else ""
        reach = 0.0 if self.expanded is None else self.width(self.expanded)
        if reach <= 0.0:
            return f"{self.value(value):.5g}{unit}"
        decimals = max(0, 1 - floor(log10(reach)))
        return f"{self.value(value):.{decimals}f} ± {reach:.{decimals}f}{unit}"

    def _outside(self, axes: Axes) -> None:
        """Wash what lies outside the stretch, and draw its edges."""
        for edge, far in ((self.evidence.start_s, self.first), (self.evidence.end_s, self.last)):
            if edge != far:
                axes.axvspan(min(edge, far), max(edge, far), color=WASH, linewidth=0, zorder=0.4)
                axes.axvline(edge, color=GREY, linewidth=0.6, zorder=1.2)

    def _trip(self, axes: Axes, between: tuple[float, float], value: float) -> None:
        """Mark the interval in which it tripped, and the value with its U."""
        after, by = between
        axes.axvspan(after, by, facecolor=PALE, edgecolor=INK, linewidth=0.4, zorder=1.5)
        at, height = (after + by) / 2, self.value(value)
        reach = None if self.expanded is None else self.width(self.expanded)
        axes.errorbar(
            [at],
            [height],
            yerr=None if reach is None else [reach],
            marker="D",
            markersize=4.0,
            markerfacecolor="white",
            markeredgecolor=INK,
            ecolor=INK,
            elinewidth=1.0,
            capsize=3.0,
            zorder=5.0,
        )
        late = at > self.first + 0.7 * (self.last - self.first)
        axes.annotate(
            f"tripped at {self._in_words(value)}",
            (at, height),
            xytext=(-8 if late else 8, -10),
            textcoords="offset points",
            ha="right" if late else "left",
            va="top",
            fontsize=SMALL,
            zorder=5.0,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8, "alpha": 0.85},
        )

    # ---- time and key ----

    def _time(self, axes: Axes) -> None:
        axes.axis("on")
        for side in ("left", "right", "top"):
            axes.spines[side].set_visible(side == "left" and not self.switches)
        if self.switches:
            axes.tick_params(axis="y", left=False, labelleft=False)
        axes.tick_params(axis="x", bottom=True, labelbottom=True)
        elapsed_axis(axes, self.first, self.last)

    def _key(self) -> list[Artist]:
        entries: list[Artist] = [colour_key(self._name(), color=INK, linewidth=1.0)]
        if self.evidence.limit is not None:
            entries.append(colour_key("limit", color=INK, linewidth=0.8, linestyle="--"))
        if any(edge is not None for edge in self._asked()):
            entries.append(patch_key("asked of the trip point", facecolor=BAND, linewidth=0))
        if self.evidence.trip_s is not None:
            style: dict[str, Any] = {
                "marker": "D",
                "linestyle": "none",
                "markersize": 4.0,
                "markerfacecolor": "white",
                "markeredgecolor": INK,
            }
            if self.evidence.trip_value is not None:
                words = "trip point" + (" ± U" if self.expanded is not None else "")
                entries.append(colour_key(words, **style))
            entries.append(patch_key("it tripped in this time", facecolor=PALE, edgecolor=INK, linewidth=0.4))
        if self.switches:
            entries.append(patch_key("on", facecolor=FILLED, edgecolor=INK, linewidth=0.5))
            entries.append(patch_key("off", facecolor="white", edgecolor=INK, linewidth=0.5))
        if self.evidence.start_s > self.first or self.evidence.end_s < self.last:
            entries.append(patch_key("outside the stretch", facecolor=WASH, edgecolor=GREY, linewidth=0.4))
        return entries
