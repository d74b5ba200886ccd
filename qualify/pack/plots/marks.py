"""What several plots draw alike: the title of a hold's plot, and the two extreme readings."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from qualify.pack.plots.look import COLD, HOT, INK, MARGIN_MM, TITLE, WIDTH_MM, colour_key, fit, text_width_mm
from qualify.pack.plots.view import HoldView
from qualify.units import difference_from_c, temperature_from_c

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes

POINTS_DOWN, POINTS_UP, POINTS_LEFT, POINTS_RIGHT = 7, 6, 4, 5
"""Carets of matplotlib whose point stands on the reading."""
AS_IN_THE_KEY = {POINTS_DOWN: "v", POINTS_UP: "^", POINTS_LEFT: "<", POINTS_RIGHT: ">"}
"""Triangles that point the same way, but stand in the middle of their line of the key."""
HIGHEST: dict[str, Any] = {
    "linestyle": "none",
    "markersize": 6.5,
    "markerfacecolor": HOT,
    "markeredgecolor": INK,
    "markeredgewidth": 0.6,
}
LOWEST: dict[str, Any] = {**HIGHEST, "markerfacecolor": COLD}
BOLD_WIDER = 1.15
"""Bold letters are so much wider than those that `text_width_mm` measures."""


def title(name: str, rest: str) -> str:
    """Fit a title to the page; only the name may be shortened."""
    room = (WIDTH_MM - 2 * MARGIN_MM) / BOLD_WIDER
    return fit(name, room - text_width_mm(rest, TITLE), TITLE) + rest


def hold_title(view: HoldView, kind: str) -> str:
    """Title a hold's plot: survey, what is shown, set point, verdict."""
    return title(*view.heading(kind))


def mark_extremes(axes: Axes, view: HoldView, *, as_deviation: bool) -> None:
    """Point at the highest reading of the window from above, and at the lowest from below."""
    if view.hold.window is None:
        return
    first, last = view.hold.window
    seconds = view.recording.readings.recording.seconds
    for location, pick, marker, style in (
        (view.highest, np.nanargmax, POINTS_DOWN, HIGHEST),
        (view.lowest, np.nanargmin, POINTS_UP, LOWEST),
    ):
        if location is None or location.location not in view.index:
            continue
        readings = view.recording.readings.corrected_c[first : last + 1, view.index[location.location]]
        if np.isnan(readings).all():
            continue
        at = int(pick(readings))
        value = float(readings[at])
        height = (
            difference_from_c(value - view.survey.setpoint_c, view.unit)
            if as_deviation
            else temperature_from_c(value, view.unit)
        )
        axes.plot(
            [seconds[first + at]], [height], marker=marker, zorder=5.0, scalex=False, scaley=False, **style
        )


def extremes_key(
    highest: str, lowest: str, markers: tuple[int, int] = (POINTS_DOWN, POINTS_UP)
) -> list[Artist]:
    """Make the key's entries for the two extreme readings."""
    return [
        colour_key(highest, marker=AS_IN_THE_KEY[markers[0]], **HIGHEST),
        colour_key(lowest, marker=AS_IN_THE_KEY[markers[1]], **LOWEST),
    ]
