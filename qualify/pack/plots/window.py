"""The assessment window of one hold enlarged: every location, the outermost ones by name."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from qualify.pack.plots.clock import time_axis
from qualify.pack.plots.look import (
    COLD,
    GREY,
    HOT,
    INK,
    SMALL,
    Page,
    colour_key,
    fit,
    patch_key,
    spread_out,
    text_width_mm,
)
from qualify.pack.plots.marks import BOLD_WIDER, extremes_key, hold_title, mark_extremes
from qualify.pack.plots.traces import draw_trace
from qualify.pack.plots.view import HoldView
from qualify.units import temperature_from_c

if TYPE_CHECKING:
    from matplotlib.artist import Artist

LEFT_MM, LABELS_MM, BOTTOM_MM, ACROSS_MM, UP_MM = 17.0, 42.0, 22.0, 119.0, 82.0
LABEL_LINE_MM = 3.3
NAMED_EACH_END = 3
ASIDE = 0.05
"""So much of the window's length is shown before it and after it."""
_DASHES: tuple[Any, ...] = ("-", (0, (5, 1.5)), (0, (1.5, 1.2)))


def draw(view: HoldView) -> Page:
    """Draw every location through the window, with the set point, the limits and a little beside it."""
    found = view.window
    assert found is not None
    off = view.off_scale_names
    page = Page(
        BOTTOM_MM + UP_MM + 12.0,
        hold_title(view, "assessment window"),
        view.notes(
            "Named: the three hottest and coldest by mean, the reference, and those with the highest and "
            "lowest reading; the rest is grey."
            if len(view.by_mean) > 2 * NAMED_EACH_END
            else "",
            "Off scale here (↑, ↓), but judged like the others: "
            + ", ".join(sorted(view.labels[name] for name in off))
            + "."
            if off
            else "",
        ),
    )
    axes = page.axes(LEFT_MM, BOTTOM_MM, ACROSS_MM, UP_MM)
    recording = view.recording.readings.recording
    length = max(found.end_s - found.start_s, 1e-3)
    begin, end = found.start_s - ASIDE * length, found.end_s + ASIDE * length
    first, last = np.searchsorted(recording.seconds, [begin, end])
    first, last = max(int(first) - 1, 0), int(last) + 1
    seconds = recording.seconds[first:last]
    shown = temperature_from_c(view.recording.readings.corrected_c[first:last], view.unit)
    styles = named(view)
    for name, column in view.index.items():
        style = styles.get(name, {"color": GREY, "linewidth": 0.5, "zorder": 2.2})
        draw_trace(axes, seconds, shown[:, column], end - begin, **style)
    low, high = view.scale(with_uncertainty=False)
    axes.set_ylim(low, high)
    for aside in ((begin, found.start_s), (found.end_s, end)):
        axes.axvspan(*aside, facecolor="#dedede", linewidth=0, zorder=0.5)
    axes.axhline(view.setpoint, color=INK, linewidth=0.8, linestyle="-.", zorder=2.4)
    for limit in view.limits:
        if limit is not None:
            axes.axhline(limit, color=INK, linewidth=1.0, linestyle="--", zorder=2.4)
    mark_extremes(axes, view, as_deviation=False)
    time_axis(axes, recording, begin, end)
    axes.set_ylabel(f"temperature [{view.unit}]")
    _name_lines(page, view, styles, low, high)
    page.legend(_key(view, styles), bottom=2.0, columns=4)
    return page


def named(view: HoldView) -> dict[str, dict[str, Any]]:
    """Choose the locations that are told apart, and how each is drawn."""
    order = [item.location for item in view.by_mean]
    each = NAMED_EACH_END if len(order) >= 2 * NAMED_EACH_END else len(order) // 2
    styles: dict[str, dict[str, Any]] = {}
    for names, colour in ((order[:each], HOT), (order[::-1][:each], COLD)):
        for name, dashes in zip(names, _DASHES, strict=False):
            styles[name] = {"color": colour, "linewidth": 1.1, "linestyle": dashes, "zorder": 3.0}
    for extreme, colour in ((view.highest, HOT), (view.lowest, COLD)):
        if extreme is not None:
            fallback = {"color": colour, "linewidth": 1.0, "linestyle": (0, (6, 1.2, 1, 1.2)), "zorder": 3.0}
            styles.setdefault(extreme.location, fallback)
    reference = view.survey.reference_location
    if reference is not None:
        styles[reference] = {"color": INK, "linewidth": 1.3, "linestyle": "-", "zorder": 3.2}
    if len(order) <= 2 * NAMED_EACH_END:
        for name in order:
            styles.setdefault(name, {"color": GREY, "linewidth": 0.9, "zorder": 2.6})
    return styles


def _name_lines(
    page: Page, view: HoldView, styles: dict[str, dict[str, Any]], low: float, high: float
) -> None:
    """Write the names at the right, each led to the last reading of its line."""
    left, bottom = LEFT_MM + ACROSS_MM, page.foot_mm + BOTTOM_MM
    assert view.hold.window is not None
    first, last = view.hold.window
    by_name = {item.location: item for item in view.survey.locations}
    names: list[str] = []
    ends: list[float] = []
    for item in view.by_mean:
        if item.location not in styles or item.location not in view.index:
            continue
        column = view.recording.readings.corrected_c[first : last + 1, view.index[item.location]]
        finite = column[np.isfinite(column)]
        if not finite.size:
            continue
        end = temperature_from_c(float(finite[-1]), view.unit)
        names.append(item.location)
        ends.append(float(np.clip((end - low) / (high - low), 0.0, 1.0)) * UP_MM)
    # ranked by mean, so that the column of means falls from top to bottom
    heights = sorted(spread_out(ends, LABEL_LINE_MM, 1.5, UP_MM - 5.0), reverse=True)
    page.text(left + 7.0, bottom + UP_MM - 0.5, f"location, mean [{view.unit}]", fontsize=SMALL, va="center")
    for name, end, height in zip(names, ends, heights, strict=True):
        across = [left + 0.4, left + 2.0, left + 6.2]
        page.line(
            across, [bottom + end, bottom + height, bottom + height], **{**styles[name], "linewidth": 0.8}
        )
        mean = view.temperature(by_name[name].mean_c)
        far = (" ↓" if end <= 0 else " ↑") if name in view.off_scale_names else ""
        is_reference = name == view.survey.reference_location
        wider = BOLD_WIDER if is_reference else 1.0
        rest = f"{' (ref.)' if is_reference else ''}  {mean}{far}"
        label = fit(view.labels[name], (LABELS_MM - 8.0) / wider - text_width_mm(rest, SMALL), SMALL)
        page.text(
            left + 7.0,
            bottom + height,
            label + rest,
            fontsize=SMALL,
            va="center",
            weight="bold" if is_reference else "normal",
        )


def _key(view: HoldView, styles: dict[str, dict[str, Any]]) -> list[Artist]:
    entries: list[Artist] = [colour_key("set point", color=INK, linewidth=0.8, linestyle="-.")]
    if any(limit is not None for limit in view.limits):
        entries.append(colour_key("limits", color=INK, linewidth=1.0, linestyle="--"))
    if view.survey.reference_location is not None:
        entries.append(colour_key("reference location", color=INK, linewidth=1.3))
    if len(styles) < len(view.index):
        entries.append(colour_key("other locations", color=GREY, linewidth=0.7))
    entries.append(patch_key("outside the window", facecolor="#dedede"))
    if view.highest is not None and view.lowest is not None:
        entries += extremes_key(
            f"highest reading {view.temperature(view.highest.max_c, finer=True)} {view.unit}, "
            + fit(view.labels[view.highest.location], 22.0, SMALL),
            f"lowest reading {view.temperature(view.lowest.min_c, finer=True)} {view.unit}, "
            + fit(view.labels[view.lowest.location], 22.0, SMALL),
        )
    return entries
