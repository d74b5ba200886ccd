"""The whole record of one recording: every location, the holds, their phases and windows."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from qualify.figures.absent import Absent, present
from qualify.pack.plots.clock import time_axis
from qualify.pack.plots.look import (
    BAND,
    GREY,
    INK,
    SMALL,
    TITLE,
    WASH,
    WIDTH_MM,
    Page,
    colour_key,
    legible,
    patch_key,
    text_width_mm,
)
from qualify.pack.plots.marks import extremes_key, mark_extremes, title
from qualify.pack.plots.traces import draw_trace
from qualify.pack.plots.view import HoldView, RunView, plain_number
from qualify.units import difference_from_c

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes

LEFT_MM, RIGHT_MM = 17.0, 4.0
ACROSS_MM = WIDTH_MM - LEFT_MM - RIGHT_MM
LABEL_ACROSS = -12.0 / ACROSS_MM
DETAIL_BOTTOM_MM, DETAIL_MM, STRIP_MM, WHOLE_MM = 23.0, 42.0, 10.0, 58.0
DETAIL_REACH = 2.5
"""The lower part shows so many times the limits on either side of the set point."""
OVERSHOOT_REACH = 5.0
"""An overshoot is followed to so many times the limit; the upper part shows the rest."""
WITHOUT_LIMITS_C = 5.0
LONGEST_REST_MM = 115.0
"""What follows the name in the title may be so long."""


def draw(view: RunView) -> Page:
    """Draw temperatures over the whole record, phases below, deviations from the set points beneath."""
    height = DETAIL_BOTTOM_MM + DETAIL_MM + STRIP_MM + WHOLE_MM + 11.0
    page = Page(height, _title(view), _footnotes(view))
    strip_bottom = DETAIL_BOTTOM_MM + DETAIL_MM + 2.0
    whole = page.axes(LEFT_MM, strip_bottom + STRIP_MM, ACROSS_MM, WHOLE_MM)
    strip = page.axes(LEFT_MM, strip_bottom, ACROSS_MM, STRIP_MM - 2.0)
    detail = page.axes(LEFT_MM, DETAIL_BOTTOM_MM, ACROSS_MM, DETAIL_MM)
    seconds = view.seconds
    first, last = float(seconds[0]), float(seconds[-1])
    if last <= first:
        last = first + 1.0
    _draw_whole(whole, view, first, last)
    _draw_strip(strip, view, first, last)
    _draw_detail(detail, view, last - first)
    for axes in (whole, strip):
        axes.set_xlim(first, last)
        axes.tick_params(axis="x", bottom=False, labelbottom=False)
    time_axis(detail, view.recording.readings.recording, first, last)
    page.legend(_key(view), bottom=2.0, columns=4)
    return page


def _title(view: RunView) -> str:
    name = view.recording.name if legible(view.recording.name) else "recording"
    verdicts = [
        f"{plain_number(hold.setpoint)} {view.unit}: verdict {hold.survey.verdict}" for hold in view.holds
    ]
    rest = " · whole record"
    for end in (" · " + " · ".join(verdicts), f" · {len(verdicts)} holds, verdicts beside them"):
        if verdicts and text_width_mm(rest + end, TITLE) < LONGEST_REST_MM:
            rest += end
            break
    return title(name, rest)


def _footnotes(view: RunView) -> list[str]:
    readings = view.recording.readings
    notes = [
        f"Whole record: {view.seconds.size} instants × {len(readings.locations)} locations; corrected "
        "readings where a certificate applies. A line is broken where readings are absent."
    ]
    for hold in view.holds:
        if hold.window is None:
            why = hold.survey.window
            reason = why.reason if isinstance(why, Absent) else "no reading lies in it"
            notes.append(f"{plain_number(hold.setpoint)} {view.unit}: no assessment window: {reason}.")
    if view.holds:
        notes.append(
            "Phases: pale until steady, darker while steady. Lower part: deviations from the set point of "
            "the hold, near it; cut off beyond."
        )
    far = {hold.labels[name]: None for hold in view.holds for name in sorted(hold.off_scale_names)}
    if far:
        notes.append(f"Too far off for the lower part: {', '.join(far)}.")
    return notes


def _draw_whole(axes: Axes, view: RunView, first: float, last: float) -> None:
    readings = view.recording.readings
    shown = view.shown(readings.corrected_c)
    references = {hold.hold.reference for hold in view.holds if hold.hold.reference is not None}
    for column in range(shown.shape[1]):
        is_reference = column in references
        draw_trace(
            axes,
            view.seconds,
            shown[:, column],
            last - first,
            color=INK if is_reference else GREY,
            linewidth=0.9 if is_reference else 0.5,
            zorder=3.0 if is_reference else 2.5,
        )
    if view.recording.set_point_c is not None:
        draw_trace(
            axes,
            view.seconds,
            view.shown(view.recording.set_point_c),
            last - first,
            color=INK,
            linewidth=0.9,
            linestyle=(0, (1, 1.5)),
            drawstyle="steps-post",
            zorder=3.2,
        )
    finite = shown[np.isfinite(shown)]
    levels = [float(finite.min()), float(finite.max())] if finite.size else []
    for hold in view.holds:
        levels += [hold.setpoint, *[limit for limit in hold.limits if limit is not None]]
    low, high = (min(levels), max(levels)) if levels else (0.0, 1.0)
    pad = 0.06 * (high - low) or 1.0
    axes.set_ylim(low - pad, high + pad)
    per_mm = (high - low + 2 * pad) / WHOLE_MM
    for hold in view.holds:
        begin, end = hold_span(hold)
        lower, upper = hold.limits
        if lower is not None and upper is not None:
            axes.fill_between([begin, end], lower, upper, color=BAND, linewidth=0, zorder=1.2)
        for limit in (lower, upper):
            if limit is not None:
                axes.plot([begin, end], [limit, limit], color=INK, linewidth=0.5, linestyle="--", zorder=3.1)
        axes.plot([begin, end], [hold.setpoint] * 2, color=INK, linewidth=0.6, linestyle="-.", zorder=3.1)
        _window_wash(axes, hold)
        edges = [hold.setpoint, *[limit for limit in hold.limits if limit is not None]]
        below = hold.hold.entered_from_below
        words = f"{plain_number(hold.setpoint)} {view.unit}"
        verdict = str(hold.survey.verdict)
        room = (end - begin) / (last - first) * ACROSS_MM
        joint = " · " if text_width_mm(f"{words} · {verdict}", SMALL) < 0.6 * room else "\n"
        axes.text(
            end - 0.006 * (last - first),
            min(edges) - 2.0 * per_mm if below else max(edges) + 2.0 * per_mm,
            words + joint + verdict,
            ha="right",
            va="top" if below else "bottom",
            fontsize=SMALL,
            zorder=4.0,
        )
    axes.set_ylabel(f"temperature [{view.unit}]", va="center")
    axes.yaxis.set_label_coords(LABEL_ACROSS, 0.5)


def _draw_strip(axes: Axes, view: RunView, first: float, last: float) -> None:
    """Draw the phases as a strip, the windows as a bar beneath."""
    per_s = ACROSS_MM / (last - first)
    shades = {"before heat": "white", "heat-up": BAND, "cooling": BAND, "not steady": BAND}
    for begin, end, name in phases(view):
        width = (end - begin) * per_s
        axes.broken_barh(
            [(begin, end - begin)],
            (0.42, 0.58),
            facecolor=shades.get(name, "white" if name == "after" else "#d6d6d6"),
            edgecolor=INK,
            linewidth=0.4,
        )
        wordings = {"before heat": ("before heat", "before"), "after": ("after the hold", "after")}
        for words in wordings.get(name, (name,)):
            if text_width_mm(words, SMALL) < width - 1.0:
                axes.text((begin + end) / 2, 0.70, words, ha="center", va="center", fontsize=SMALL)
                break
    for hold in view.holds:
        if hold.window is not None:
            begin, end = hold.window.start_s, hold.window.end_s
            axes.broken_barh([(begin, end - begin)], (0.0, 0.36), facecolor="#4a4a4a", linewidth=0)
    axes.set_ylim(-0.02, 1.02)
    axes.axis("off")
    axes.text(-0.012, 0.70, "phase", transform=axes.transAxes, ha="right", va="center", fontsize=SMALL)
    if any(hold.window is not None for hold in view.holds):
        axes.text(-0.012, 0.17, "window", transform=axes.transAxes, ha="right", va="center", fontsize=SMALL)


def phases(view: RunView) -> list[tuple[float, float, str]]:
    """Give the phases of a recording: begin [s], end [s], name; in order of time, without overlap."""
    parts: list[tuple[float, float, str]] = []
    last = float(view.seconds[-1])
    reached = float(view.seconds[0])
    for hold in sorted(view.holds, key=lambda one: one.hold.hold):
        begin, end = hold_span(hold)
        if begin > reached:
            parts.append((reached, begin, "after" if parts else "before heat"))
        steady = hold.survey.steady_s
        entering = "heat-up" if hold.hold.entered_from_below else "cooling"
        if present(steady):
            at = min(max(steady, begin), end)
            parts += [(begin, at, entering), (at, end, "steady")]
        else:
            parts.append((begin, end, "not steady"))
        reached = end
    if reached < last:
        parts.append((reached, last, "after" if parts else "no hold"))
    return [part for part in parts if part[1] > part[0]]


def hold_span(hold: HoldView) -> tuple[float, float]:
    """Begin and end of a hold [s]."""
    seconds = hold.recording.readings.recording.seconds
    first, last = hold.hold.hold
    return float(seconds[first]), float(seconds[last])


def _window_wash(axes: Axes, hold: HoldView) -> None:
    if hold.window is not None:
        axes.axvspan(hold.window.start_s, hold.window.end_s, color=WASH, linewidth=0, zorder=0.5)
        for edge in (hold.window.start_s, hold.window.end_s):
            axes.axvline(edge, color=GREY, linewidth=0.5, zorder=1.0)


def _draw_detail(axes: Axes, view: RunView, span: float) -> None:
    """Draw each hold's deviations from its set point near the limits."""
    low = high = 0.0
    for hold in view.holds:
        below, above = _detail_scale_c(hold)
        low, high = min(low, below), max(high, above)
        first, last = hold.hold.hold
        seconds = view.seconds[first : last + 1]
        deviations = difference_from_c(
            view.recording.readings.corrected_c[first : last + 1] - hold.survey.setpoint_c, view.unit
        )
        for column in range(deviations.shape[1]):
            is_reference = column == hold.hold.reference
            draw_trace(
                axes,
                seconds,
                deviations[:, column],
                span,
                color=INK if is_reference else GREY,
                linewidth=0.9 if is_reference else 0.5,
                zorder=3.0 if is_reference else 2.5,
            )
        begin, end = hold_span(hold)
        edges = [
            None if limit is None else difference_from_c(limit - hold.survey.setpoint_c, view.unit)
            for limit in (hold.survey.limit_low_c, hold.survey.limit_high_c)
        ]
        if edges[0] is not None and edges[1] is not None:
            axes.fill_between([begin, end], edges[0], edges[1], color=BAND, linewidth=0, zorder=1.2)
        for edge in edges:
            if edge is not None:
                axes.plot([begin, end], [edge, edge], color=INK, linewidth=0.6, linestyle="--", zorder=3.1)
        axes.plot([begin, end], [0, 0], color=INK, linewidth=0.6, linestyle="-.", zorder=3.1)
        _window_wash(axes, hold)
        mark_extremes(axes, hold, as_deviation=True)
    if low == high:
        low, high = -WITHOUT_LIMITS_C, WITHOUT_LIMITS_C
    axes.set_ylim(difference_from_c(low, view.unit), difference_from_c(high, view.unit))
    axes.set_ylabel(f"deviation from\nset point [{view.unit}]", va="center")
    axes.yaxis.set_label_coords(LABEL_ACROSS, 0.5)


def _detail_scale_c(hold: HoldView) -> tuple[float, float]:
    """Give the range of deviations [°C] shown of a hold: the limits, the window, the overshoot."""
    setpoint = hold.survey.setpoint_c
    low_limit, high_limit = hold.survey.limit_low_c, hold.survey.limit_high_c
    low = DETAIL_REACH * (low_limit - setpoint) if low_limit is not None else 0.0
    high = DETAIL_REACH * (high_limit - setpoint) if high_limit is not None else 0.0
    if low == high:
        low, high = -WITHOUT_LIMITS_C, WITHOUT_LIMITS_C
    shown = [column for name, column in hold.index.items() if name not in hold.off_scale_names]
    corrected = hold.recording.readings.corrected_c
    first, last = hold.hold.hold
    # what is judged, or the end of the hold where nothing is, and all beyond the set point on the far side
    judged_first, judged_last = hold.hold.window if hold.hold.window is not None else (last, last)
    judged = corrected[judged_first : judged_last + 1, shown] - setpoint
    judged = judged[np.isfinite(judged)]
    whole = corrected[first : last + 1, shown] - setpoint
    whole = whole[np.isfinite(whole)]
    if judged.size:
        low, high = min(low, 1.1 * float(judged.min())), max(high, 1.1 * float(judged.max()))
    most = OVERSHOOT_REACH / DETAIL_REACH
    if whole.size and hold.hold.entered_from_below:
        high = max(high, min(1.1 * float(whole.max()), most * high))
    elif whole.size:
        low = min(low, max(1.1 * float(whole.min()), most * low))
    return low, high


def _key(view: RunView) -> list[Artist]:
    entries: list[Artist] = [colour_key("locations", color=GREY, linewidth=0.7)]
    if any(hold.hold.reference is not None for hold in view.holds):
        entries.append(colour_key("reference location", color=INK, linewidth=1.0))
    if view.recording.set_point_c is not None:
        entries.append(colour_key("recorded set point", color=INK, linewidth=0.9, linestyle=(0, (1, 1.5))))
    if view.holds:
        entries.append(colour_key("set point", color=INK, linewidth=0.7, linestyle="-."))
    if any(limit is not None for hold in view.holds for limit in hold.limits):
        entries.append(colour_key("limits of the hold", color=INK, linewidth=0.6, linestyle="--"))
    if any(hold.window is not None for hold in view.holds):
        entries.append(patch_key("assessment window", facecolor=WASH, edgecolor=GREY, linewidth=0.5))
        entries += extremes_key("highest reading in the window", "lowest reading in the window")
    return entries
