"""A purge: oxygen over time on a logarithmic axis, its limit, the measured time, the fit if there is one."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from qualify.evidence import PurgeEvidence
from qualify.figures.absent import Absent, present
from qualify.pack.plots.elapsed import elapsed_axis
from qualify.pack.plots.look import (
    GREY,
    INK,
    PALE,
    SMALL,
    WASH,
    WIDTH_MM,
    Page,
    colour_key,
    legible,
    patch_key,
)
from qualify.pack.plots.marks import title
from qualify.pack.plots.traces import draw_trace
from qualify.record import StageTestRecord

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes

LEFT_MM, RIGHT_MM, BOTTOM_MM, HEIGHT_MM = 17.0, 4.0, 20.0, 84.0
ACROSS_MM = WIDTH_MM - LEFT_MM - RIGHT_MM
FIT: dict[str, Any] = {"color": INK, "linewidth": 0.8, "linestyle": (0, (1, 1.5))}
LIMIT: dict[str, Any] = {"color": INK, "linewidth": 0.7, "linestyle": "--"}
_MARK: dict[str, Any] = {
    "marker": "D",
    "linestyle": "none",
    "markersize": 4.0,
    "markerfacecolor": "white",
    "markeredgecolor": INK,
}


def draw(course: PurgeEvidence, test: StageTestRecord | None) -> Page:
    """Draw a purge.

    Parameters
    ----------
    course
        Its oxygen over time.
    test
        Its record; None leaves out verdict, measured time and findings.
    """
    return _Picture(course, test).page()


class _Picture:
    """One purge."""

    def __init__(self, course: PurgeEvidence, test: StageTestRecord | None) -> None:
        self.course, self.test = course, test
        self.found: Any = None if test is None else test.figures.get("purge")
        self.first, self.last = float(course.seconds[0]), float(course.seconds[-1])
        if self.last <= self.first:
            self.last = self.first + 1.0
        self.hidden = int(np.count_nonzero(course.oxygen <= 0.0))

    def page(self) -> Page:
        """Lay out and draw."""
        page = Page(BOTTOM_MM + HEIGHT_MM + 11.0, self._title(), self._footnotes())
        axes = page.axes(LEFT_MM, BOTTOM_MM, ACROSS_MM, HEIGHT_MM)
        self._draw(axes)
        elapsed_axis(axes, self.first, self.last)
        axes.set_ylabel("oxygen [% by volume, logarithmic]", va="center")
        axes.yaxis.set_label_coords(-12.0 / ACROSS_MM, 0.5)
        page.legend(self._key(), bottom=2.0, columns=4)
        return page

    def _title(self) -> str:
        name = self.course.name if legible(self.course.name) else "purge"
        return title(name, " · purge" + ("" if self.test is None else f" · verdict: {self.test.verdict}"))

    def _measured(self) -> tuple[float, float, float] | None:
        """Time from the start until the analyser showed the limit, least and most [s]."""
        if self.found is None:
            return None
        times = (self.found.measured_s, self.found.measured_low_s, self.found.measured_high_s)
        if any(isinstance(time, Absent) for time in times):
            return None
        return float(times[0]), float(times[1]), float(times[2])

    def _footnotes(self) -> list[str]:
        measured = self._measured()
        notes = []
        if measured is not None:
            notes.append(
                f"At the limit of {self.course.limit:g} % after {measured[0]:.4g} s, between "
                f"{measured[1]:.4g} and {measured[2]:.4g} s from the start of the purge, as the analyser "
                "showed it."
            )
        elif self.found is not None and not present(self.found.measured_s):
            notes.append(f"No time to the limit: {self.found.measured_s.reason}.")
        if self.course.fitted is not None:
            notes.append("The fit says what to expect elsewhere; what the analyser showed is the evidence.")
        if self.test is not None:
            notes += _once(self.test.notes)
        if self.hidden:
            plural = "s" * (self.hidden != 1)
            notes.append(f"{self.hidden} reading{plural} at or below 0 can't be shown on a logarithmic axis.")
        return notes

    def _draw(self, axes: Axes) -> None:
        course, span = self.course, self.last - self.first
        axes.set_yscale("log")
        shown = np.where(course.oxygen > 0.0, course.oxygen, np.nan)
        draw_trace(axes, course.seconds, shown, span, color=INK, linewidth=0.9, zorder=3.0)
        heights = [shown[np.isfinite(shown)], np.array([course.limit] if course.limit > 0 else [])]
        if course.fitted is not None:
            fitted = np.where(course.fitted > 0.0, course.fitted, np.nan)
            draw_trace(axes, course.seconds, fitted, span, zorder=3.2, **FIT)
        axes.plot([course.start_s, self.last], [course.limit] * 2, zorder=3.1, **LIMIT)
        every = np.concatenate(heights)
        if every.size:
            axes.set_ylim(float(every.min()) / 1.5, float(every.max()) * 1.5)
        axes.yaxis.set_major_formatter(lambda value, _: f"{value:g}")
        for when in (course.start_s, course.flow_stopped_s):
            if when is not None:
                axes.axvline(when, color=GREY, linewidth=0.7, zorder=1.2)
        self._say(axes, course.start_s, "purge starts")
        if course.flow_stopped_s is not None:
            self._say(axes, course.flow_stopped_s, "flow stopped")
        if course.kept_s is not None:
            axes.axvspan(*course.kept_s, color=WASH, linewidth=0, zorder=0.4)
        measured = self._measured()
        if measured is not None:
            at, low, high = (course.start_s + time for time in measured)
            axes.axvspan(low, high, facecolor=PALE, edgecolor=INK, linewidth=0.4, zorder=1.5)
            axes.plot([at], [course.limit], zorder=5.0, scalex=False, scaley=False, **_MARK)

    def _say(self, axes: Axes, when: float, words: str) -> None:
        """Name a vertical line at its top."""
        late = when > self.first + 0.8 * (self.last - self.first)
        axes.annotate(
            words,
            (when, 1.0),
            xycoords=("data", "axes fraction"),
            xytext=(-3 if late else 3, -2),
            textcoords="offset points",
            ha="right" if late else "left",
            va="top",
            fontsize=SMALL,
            zorder=4.0,
        )

    def _key(self) -> list[Artist]:
        entries: list[Artist] = [
            colour_key("oxygen", color=INK, linewidth=1.0),
            colour_key("limit", **LIMIT),
        ]
        if self.course.fitted is not None:
            entries.append(colour_key("by the fit", **FIT))
        if self._measured() is not None:
            entries.append(colour_key("limit reached, as measured", **_MARK))
            entries.append(
                patch_key("it was reached in this time", facecolor=PALE, edgecolor=INK, linewidth=0.4)
            )
        if self.course.kept_s is not None:
            entries.append(patch_key("the limit must be kept", facecolor=WASH, edgecolor=GREY, linewidth=0.4))
        return entries


def _once(notes: Sequence[str]) -> list[str]:
    """Notes as sentences, without those that another one holds."""
    said = [note for note in notes if not any(note != other and note in other for other in notes)]
    return [f"{note[:1].upper()}{note[1:].rstrip('.')}." for note in said]
