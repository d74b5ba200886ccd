"""Replicate runs: each location's mean deviation in each run, and the runs' extremes beneath."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from qualify.figures.absent import Absent, present
from qualify.pack.plots.look import (
    INK,
    MARGIN_MM,
    PALE,
    SMALL,
    WIDTH_MM,
    Page,
    colour_key,
    fit,
    legible,
    spread_out,
    text_width_mm,
)
from qualify.pack.plots.marks import HIGHEST, LOWEST, title
from qualify.pack.plots.view import plain_number, signed
from qualify.pack.run_words import surveys_of
from qualify.readings.model import FloatArray
from qualify.record import Record, ReplicateRecord
from qualify.units import TemperatureUnit, difference_from_c, temperature_from_c

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.colors import LinearSegmentedColormap

PALEST, DARKEST = (0.99, 0.99, 0.98), (0.60, 0.47, 0.40)
"""Colours of the coldest and the hottest cell: in grey they fall evenly, and letters stay legible on all."""
NAMES_MM, RIGHT_MM, KEY_MM, HEAD_MM = 26.0, 30.0, 17.5, 14.0
ACROSS_MM = WIDTH_MM - NAMES_MM - RIGHT_MM
EXTREMES_MM, BETWEEN_MM, AXIS_MM = 48.0, 5.0, 3.0
ROW_MM, LEAST_ROW_MM, TALLEST_MM = 5.0, 2.2, 180.0
MOST_RUNS = 60
"""More runs than this are not told apart on paper: the last ones are drawn."""
BAR_MM, BAR_TALL_MM = 46.0, 3.0
SMALLER = 6.0
"""Size of the cells' numbers [pt] where many runs leave no room for larger ones."""
LIMIT: dict[str, Any] = {"color": INK, "linewidth": 1.2}
TOLERANCE: dict[str, Any] = {"color": INK, "linewidth": 0.9, "linestyle": (0, (4, 2))}
BEYOND: dict[str, Any] = {"facecolor": "none", "edgecolor": INK, "linewidth": 1.5}


@dataclass(frozen=True, slots=True, kw_only=True)
class RunsView:
    """A group of runs in the unit that is printed; deviations and limits from the set point [unit].

    Attributes
    ----------
    table : (m, k) float64
        Mean deviation of each location in each run; NaN where there is none.
    highest, lowest : (k,) float64
        Extremes of each run; NaN where there is none.
    """

    group: ReplicateRecord
    unit: TemperatureUnit
    runs: tuple[str, ...]
    locations: tuple[str, ...]
    table: FloatArray
    highest: FloatArray
    lowest: FloatArray
    limits: tuple[float | None, float | None]
    tolerances: tuple[float | None, float | None]
    left_out: int


def views(record: Record) -> list[RunsView]:
    """Every group of two or more runs."""
    return [_view(record, group) for group in record.replicates if len(group.runs) > 1]


def _view(record: Record, group: ReplicateRecord) -> RunsView:
    unit = TemperatureUnit(record.units)
    found = [None if survey is None else record.surveys[survey] for survey in surveys_of(record, group)]
    left_out = max(len(group.runs) - MOST_RUNS, 0)

    def numbers(values: list[Any]) -> FloatArray:
        return np.array(
            [difference_from_c(value, unit) if isinstance(value, float) else np.nan for value in values]
        )

    def extreme(name: str) -> FloatArray:
        return numbers([None if item is None else getattr(item.chamber, name) for item in found])[left_out:]

    def from_set_point(limit_c: float | None) -> float | None:
        return None if limit_c is None else difference_from_c(limit_c - group.setpoint_c, unit)

    return RunsView(
        group=group,
        unit=unit,
        runs=group.runs[left_out:],
        locations=group.locations,
        table=np.array([numbers(list(row)) for row in group.mean_deviations_c])[:, left_out:],
        highest=extreme("deviation_max_c"),
        lowest=extreme("deviation_min_c"),
        limits=(from_set_point(group.limit_low_c), from_set_point(group.limit_high_c)),
        tolerances=_tolerances(group, unit),
        left_out=left_out,
    )


def _tolerances(group: ReplicateRecord, unit: TemperatureUnit) -> tuple[float | None, float | None]:
    """Lower tolerance limit of the least deviation, upper one of the largest."""
    found = group.statistics
    if isinstance(found, Absent):
        return None, None
    low, high = found.lowest.tolerance, found.highest.tolerance
    return (
        None
        if isinstance(low, Absent) or not present(low.low_c)
        else difference_from_c(float(low.low_c), unit),
        None
        if isinstance(high, Absent) or not present(high.high_c)
        else difference_from_c(float(high.high_c), unit),
    )


def draw(view: RunsView) -> Page:
    """Draw the locations' means as cells, a column a run, with the extremes of each run beneath."""
    rows, runs = len(view.locations), len(view.runs)
    row_mm = max(LEAST_ROW_MM, min(ROW_MM, TALLEST_MM / rows))
    tall, across = row_mm * rows, ACROSS_MM / max(runs, 6)
    cells_mm = across * runs
    base = KEY_MM + EXTREMES_MM + BETWEEN_MM
    page = Page(base + tall + HEAD_MM, _title(view), _notes(view))
    paper = page.paper()
    bottom = page.foot_mm + base
    decimals = _decimals(view)
    _draw_cells(paper, view, bottom, row_mm, across, decimals)
    _draw_heads(paper, view, bottom + tall, across)
    axes = page.axes(NAMES_MM, KEY_MM + AXIS_MM, cells_mm, EXTREMES_MM - AXIS_MM)
    _draw_extremes(axes, view)
    bar = page.foot_mm + 10.5
    _draw_bar(paper, view, bar, decimals)
    page.legend(_key(view), bottom=1.5, columns=3)
    return page


def _title(view: RunsView) -> str:
    setpoint = plain_number(temperature_from_c(view.group.setpoint_c, view.unit))
    return title("", f"Replicate runs · {view.group.stage} · set point {setpoint} {view.unit}")


def _notes(view: RunsView) -> list[str]:
    notes = [
        f"Cells: mean of the location in the window less the set point [{view.unit.difference}]; – where "
        "there is none. A thick frame marks a mean beyond the limits.",
        "Beneath: largest and least reading of each run's window, over all locations, less the set point.",
    ]
    found = view.group.statistics
    if isinstance(found, Absent):
        notes.append(f"No tolerance limits: {found.reason}.")
    elif view.tolerances == (None, None):
        both = (found.highest.tolerance, found.lowest.tolerance)
        reasons = [item.reason for item in both if isinstance(item, Absent)]
        notes.append(f"No tolerance limits: {reasons[0] if reasons else 'none is given'}.")
    else:
        notes.append(
            f"Tolerance limits hold {100 * found.content:g} % of all future runs with a confidence of "
            f"{100 * found.confidence:g} %, where runs scatter normally. The sample is the run: n = "
            f"{found.n}."
        )
    if view.left_out:
        notes.append(f"The first {view.left_out} runs are not drawn; the limits rest on all.")
    if not all(legible(name) for name in (*view.runs, *view.locations)):
        notes.append("# stands for the number in the list of runs or locations.")
    return notes


def _decimals(view: RunsView) -> int:
    """Decimals in the cells: two, one where the deviations are many degrees."""
    largest = float(np.nanmax(np.abs(view.table))) if np.isfinite(view.table).any() else 0.0
    return 1 if largest >= 20.0 else 2


def _colours() -> LinearSegmentedColormap:
    from matplotlib.colors import LinearSegmentedColormap

    return LinearSegmentedColormap.from_list("runs", [PALEST, DARKEST])


def _span(view: RunsView) -> tuple[float, float]:
    """Deviations at the ends of the scale."""
    known = view.table[np.isfinite(view.table)]
    if known.size == 0:
        return -1.0, 1.0
    low, high = float(known.min()), float(known.max())
    return (low, high) if high - low > 1e-6 else (low - 0.5, high + 0.5)


def _draw_cells(
    paper: Axes, view: RunsView, bottom: float, row_mm: float, across: float, decimals: int
) -> None:
    from matplotlib.patches import Rectangle

    low, high = _span(view)
    colours = _colours()
    shades = colours((view.table - low) / (high - low))
    shades[~np.isfinite(view.table)] = (1.0, 1.0, 1.0, 1.0)
    rows, runs = view.table.shape
    extent = (NAMES_MM, NAMES_MM + across * runs, bottom, bottom + row_mm * rows)
    paper.imshow(shades, extent=extent, aspect="auto", interpolation="nearest", zorder=1.0)
    paper.set_xlim(0, WIDTH_MM)
    paper.set_ylim(0, paper.figure.get_figheight() * 25.4)  # type: ignore[union-attr]
    size = _number_size(across, row_mm, decimals)
    names_every = 1 if row_mm >= 2.8 else 2
    for row in range(rows):
        middle = bottom + row_mm * (rows - row - 0.5)
        if row % names_every == 0:
            label = fit(_label(view.locations[row], row), NAMES_MM - MARGIN_MM - 2.0, SMALL)
            paper.text(NAMES_MM - 1.5, middle, label, fontsize=SMALL, ha="right", va="center")
        for run in range(runs):
            value = float(view.table[row, run])
            left = NAMES_MM + across * run
            if size is not None or not np.isfinite(value):
                words = signed(value, decimals) if np.isfinite(value) else "–"
                written: dict[str, Any] = {"fontsize": size or SMALL, "ha": "center", "va": "center"}
                paper.text(left + across / 2, middle, words, **written)
            if _is_beyond(view, value):
                frame = Rectangle((left + 0.4, middle - row_mm / 2 + 0.4), across - 0.8, row_mm - 0.8)
                frame.set(**BEYOND, zorder=2.0)
                paper.add_patch(frame)


def _number_size(across: float, row_mm: float, decimals: int) -> float | None:
    """Size of the letters [pt] in which numbers fit their cells; None where none does."""
    widest = signed(-88.0 if decimals == 1 else -8.0, decimals)
    for size in (SMALL, SMALLER):
        if across >= text_width_mm(widest, size) + 0.8 and row_mm >= 3.2:
            return size
    return None


def _is_beyond(view: RunsView, value: float) -> bool:
    low, high = view.limits
    slack = 1e-9
    return (low is not None and value < low - slack) or (high is not None and value > high + slack)


def _label(name: str, number: int) -> str:
    return name if legible(name) else f"#{number + 1}"


def _run_labels(view: RunsView, across: float) -> list[str]:
    """Names of the runs, shortened to their column; numbers where too little of them would be left."""
    labels = [_label(name, view.left_out + at) for at, name in enumerate(view.runs)]
    fitted = [fit(label, across - 1.0, SMALL) for label in labels]
    if any("…" in short for short in fitted):
        return [f"{view.left_out + at + 1}" for at in range(len(labels))]
    return fitted


def _draw_heads(paper: Axes, view: RunsView, top: float, across: float) -> None:
    labels = _run_labels(view, across)
    numbered = labels[0] == f"{view.left_out + 1}" and labels[0] != view.runs[0]
    words = "run, by number" if numbered else "run"
    paper.text(NAMES_MM - 1.5, top + 2.4, words, fontsize=SMALL, ha="right", va="center")
    widest = max(text_width_mm(label, SMALL) for label in labels)
    every = max(1, int(np.ceil((widest + 0.8) / across)))
    for run, label in enumerate(labels):
        if run % every == 0:
            middle = NAMES_MM + across * (run + 0.5)
            paper.text(middle, top + 2.4, label, fontsize=SMALL, ha="center", va="center")


def _draw_extremes(axes: Axes, view: RunsView) -> None:
    """Draw the runs' extremes, the limits, and the tolerance limits."""
    runs = len(view.runs)
    places = np.arange(runs) + 0.5
    axes.set_xlim(0, runs)
    known = [*view.highest[np.isfinite(view.highest)], *view.lowest[np.isfinite(view.lowest)], 0.0]
    known += [value for value in (*view.limits, *view.tolerances) if value is not None]
    low, high = min(known), max(known)
    pad = 0.08 * (high - low) or 1.0
    axes.set_ylim(low - pad, high + pad)
    axes.set_xticks([])
    axes.axhline(0.0, color=PALE, linewidth=0.7, zorder=0.5)
    for place, least, largest in zip(places, view.lowest, view.highest, strict=True):
        axes.plot([place, place], [least, largest], color=PALE, linewidth=1.6, zorder=1.0)
    axes.plot(places, view.highest, marker="^", zorder=3.0, **{**HIGHEST, "markersize": 5.5})
    axes.plot(places, view.lowest, marker="v", zorder=3.0, **{**LOWEST, "markersize": 5.5})
    labels: list[tuple[float, str]] = []
    for value in view.limits:
        if value is not None:
            axes.axhline(value, zorder=2.0, **LIMIT)
            labels.append((value, f"limit {_signed(value)}"))
    for value in view.tolerances:
        if value is not None:
            axes.axhline(value, zorder=2.0, **TOLERANCE)
            labels.append((value, f"tolerance limit {signed(value, 2)}"))
    axes.set_ylabel(f"from set point [{view.unit.difference}]", fontsize=SMALL)
    _draw_labels(axes, labels)


def _signed(value: float) -> str:
    shown = plain_number(value)
    return f"+{shown}" if value > 0 else shown


def _draw_labels(axes: Axes, labels: list[tuple[float, str]]) -> None:
    """Write what a line is to the right of it, apart from its neighbours."""
    if not labels:
        return
    low, high = axes.get_ylim()
    apart = (high - low) * 3.4 / (EXTREMES_MM - AXIS_MM)
    heights = spread_out([value for value, _ in labels], apart, low + apart / 2, high - apart / 2)
    for height, (_, words) in zip(heights, labels, strict=True):
        axes.text(
            1.015,
            height,
            words,
            transform=axes.get_yaxis_transform(),
            fontsize=SMALL,
            va="center",
            ha="left",
        )


def _draw_bar(paper: Axes, view: RunsView, bottom: float, decimals: int) -> None:
    """Draw the scale of the cells."""
    low, high = _span(view)
    words = f"mean deviation [{view.unit.difference}]"
    paper.text(MARGIN_MM, bottom + BAR_TALL_MM / 2, words, fontsize=SMALL, va="center")
    left = MARGIN_MM + text_width_mm(words, SMALL) + 14.0
    steps = np.linspace(0.0, 1.0, 64)[None, :]
    x_limits, y_limits = paper.get_xlim(), paper.get_ylim()
    paper.imshow(
        _colours()(steps),
        extent=(left, left + BAR_MM, bottom, bottom + BAR_TALL_MM),
        aspect="auto",
        zorder=1.0,
    )
    paper.set_xlim(*x_limits)
    paper.set_ylim(*y_limits)
    middle = bottom + BAR_TALL_MM / 2
    paper.text(left - 1.2, middle, signed(low, decimals), fontsize=SMALL, va="center", ha="right")
    paper.text(left + BAR_MM + 1.2, middle, signed(high, decimals), fontsize=SMALL, va="center")


def _key(view: RunsView) -> list[Artist]:
    entries: list[Artist] = [
        colour_key("largest deviation of a run", marker="^", **{**HIGHEST, "markersize": 5.5}),
        colour_key("least deviation of a run", marker="v", **{**LOWEST, "markersize": 5.5}),
    ]
    if any(value is not None for value in view.limits):
        entries.append(colour_key("limit", **LIMIT))
    if any(value is not None for value in view.tolerances):
        entries.append(colour_key("tolerance limit", **TOLERANCE))
    return entries
