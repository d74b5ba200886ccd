"""Least, mean and greatest reading of each location in the window, against the limits."""

from __future__ import annotations

from math import nan
from typing import TYPE_CHECKING, Any

from qualify.figures.absent import present
from qualify.pack.plots.look import (
    BAND,
    GREY,
    INK,
    SMALL,
    WIDTH_MM,
    Page,
    colour_key,
    fit,
    patch_key,
)
from qualify.pack.plots.marks import HIGHEST, LOWEST, POINTS_LEFT, POINTS_RIGHT, extremes_key, hold_title
from qualify.pack.plots.view import HoldView, Standing
from qualify.record import LocationRecord
from qualify.units import difference_from_c, temperature_from_c

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes

NAMES_MM, NUMBERS_MM, BOTTOM_MM = 34.0, 40.0, 21.0
ACROSS_MM = WIDTH_MM - NAMES_MM - NUMBERS_MM
TALLEST_MM, ROW_MM, LEAST_ROW_MM = 195.0, 5.6, 3.4
STANDING_WORDS = {Standing.NEAR: "near limit", Standing.BEYOND: "beyond limit"}
BAR: dict[str, Any] = {"color": GREY, "linewidth": 3.2, "solid_capstyle": "butt"}
DOT: dict[str, Any] = {"color": INK, "marker": "o", "markersize": 3.2, "linestyle": "none"}
WHISKER: dict[str, Any] = {"color": INK, "linewidth": 0.6, "marker": "|", "markersize": 4}


def draw(view: HoldView) -> Page:
    """Draw a row a location, the hottest mean at the top."""
    absent = [item for item in view.survey.locations if not present(item.mean_c)]
    rows = [*view.by_mean, *absent]
    row_mm = max(LEAST_ROW_MM, min(ROW_MM, TALLEST_MM / len(rows)))
    tall = row_mm * (len(rows) + 0.6)
    guarded = any(present(item.expanded_uncertainty_c) for item in rows)
    page = Page(
        BOTTOM_MM + tall + 18.0,
        hold_title(view, "ranges"),
        view.notes(
            "Sorted by mean. Whiskers: expanded uncertainty U of one corrected reading, beyond the greatest "
            "and the least."
            if guarded
            else "Sorted by mean. Expanded uncertainty of the readings not known.",
            near_note(view),
        ),
    )
    axes = page.axes(NAMES_MM, BOTTOM_MM, ACROSS_MM, tall)
    low, high = view.scale(with_uncertainty=True)
    axes.set_xlim(low, high)
    axes.set_ylim(-0.8, len(rows) - 0.2)
    axes.invert_yaxis()
    _draw_limits(axes, view, low, high)
    _draw_rows(axes, view, rows)
    axes.set_yticks([])
    axes.spines["left"].set_visible(False)
    axes.set_xlabel(f"temperature [{view.unit}]")
    above = axes.twiny()
    above.set_xlim(low - view.setpoint, high - view.setpoint)
    above.set_xlabel(f"deviation from set point [{view.unit}]")
    above.spines["top"].set_visible(True)
    above.set_yticks([])
    above.spines["left"].set_visible(False)
    page.legend(_key(view, guarded), bottom=2.0, columns=4)
    return page


def near_note(view: HoldView) -> str:
    """Say what "near a limit" means in this picture."""
    if all(limit is None for limit in view.limits):
        return "No limits are set."
    if all(view.standing(item) is not Standing.NEAR for item in view.survey.locations):
        return ""
    known = [present(item.expanded_uncertainty_c) for item in view.survey.locations]
    if all(known):
        return (
            "Near a limit: the greatest or least reading lies within U of it. A drawing aid, not a decision."
        )
    tenth = "in the last tenth of the way from the set point to it"
    rule = f"within U of it, or {tenth} where U is not known" if any(known) else tenth
    return f"Near a limit: the greatest or least reading lies {rule}. A drawing aid, not a decision."


def _draw_limits(axes: Axes, view: HoldView, low: float, high: float) -> None:
    lower, upper = view.limits
    if lower is not None or upper is not None:
        axes.axvspan(
            low if lower is None else lower,
            high if upper is None else upper,
            facecolor=BAND,
            linewidth=0,
            zorder=0.5,
        )
    axes.axvline(view.setpoint, color=INK, linewidth=0.8, linestyle="-.", zorder=1.5)
    for limit in view.limits:
        if limit is not None:
            axes.axvline(limit, color=INK, linewidth=1.0, linestyle="--", zorder=1.5)


def _draw_rows(axes: Axes, view: HoldView, rows: list[LocationRecord]) -> None:
    right = axes.get_yaxis_transform()
    low, high = axes.get_xlim()
    beside: dict[str, Any] = {"transform": right, "fontsize": SMALL, "va": "center"}
    axes.text(1.02, -1.0, f"mean [{view.unit}]", **beside)
    means: list[tuple[float, int]] = []
    # bars and whiskers are drawn as one line each, broken by NaN: one artist, not one a row
    bars: list[tuple[float, float]] = []
    whiskers: list[tuple[float, float]] = []
    for row, item in enumerate(rows):
        is_reference = item.location == view.survey.reference_location
        name = fit(view.labels[item.location] + (" (ref.)" if is_reference else ""), NAMES_MM - 5.0, SMALL)
        axes.text(-0.012, row, name, ha="right", **beside)
        if not (present(item.mean_c) and present(item.min_c) and present(item.max_c)):
            axes.text(1.02, row, "no figures", **beside)
            continue
        is_far = item.location in view.off_scale_names
        remarks = ["off scale"] if is_far else []
        remarks += [
            STANDING_WORDS[standing] for standing in [view.standing(item)] if standing in STANDING_WORDS
        ]
        axes.text(1.02, row, "  ".join([view.temperature(item.mean_c), ", ".join(remarks)]), **beside)
        if is_far:
            is_above = item.mean_c > view.survey.setpoint_c
            inward = 0.012 * (high - low)
            side, marker = (high - inward, ">") if is_above else (low + inward, "<")
            axes.plot([side], [row], marker=marker, color=INK, markersize=5, zorder=4.0)
            continue
        least, mean, most = (temperature_from_c(x, view.unit) for x in (item.min_c, item.mean_c, item.max_c))
        means.append((mean, row))
        bars += [(least, row), (most, row), (nan, nan)]
        u = item.expanded_uncertainty_c
        if present(u):
            reach = difference_from_c(u, view.unit)
            whiskers += [(least - reach, row), (most + reach, row), (nan, nan)]
        if item is view.highest:
            axes.plot([most], [row], marker=POINTS_LEFT, **HIGHEST, zorder=3.5)
        if item is view.lowest:
            axes.plot([least], [row], marker=POINTS_RIGHT, **LOWEST, zorder=3.5)
    for points, style, order in ((whiskers, WHISKER, 2.0), (bars, BAR, 2.5), (means, DOT, 3.0)):
        if points:
            axes.plot(*zip(*points, strict=True), **style, zorder=order)


def _key(view: HoldView, guarded: bool) -> list[Artist]:
    entries: list[Artist] = [
        colour_key("least to greatest reading", **BAR),
        colour_key("mean", **DOT),
    ]
    if guarded:
        entries.append(colour_key("U of one reading", **WHISKER))
    entries.append(colour_key("set point", color=INK, linewidth=0.8, linestyle="-."))
    if any(limit is not None for limit in view.limits):
        edge = {"edgecolor": INK, "linewidth": 0.8, "linestyle": "--"}
        entries.append(patch_key("inside the limits", facecolor=BAND, **edge))
    return entries + extremes_key("highest reading", "lowest reading", (POINTS_LEFT, POINTS_RIGHT))
