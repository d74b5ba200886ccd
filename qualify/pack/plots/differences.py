"""How far each location's mean lies from the chamber mean, with intervals that hold together."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from qualify.figures.absent import Absent
from qualify.pack.plots.look import INK, PALE, SMALL, WIDTH_MM, Page, colour_key, fit
from qualify.pack.plots.marks import hold_title
from qualify.pack.plots.view import HoldView, signed, signless
from qualify.units import difference_from_c

if TYPE_CHECKING:
    from matplotlib.axes import Axes

NAMES_MM, NUMBERS_MM, BOTTOM_MM, TOP_MM = 34.0, 34.0, 21.0, 8.5
ACROSS_MM = WIDTH_MM - NAMES_MM - NUMBERS_MM
TALLEST_MM, ROW_MM, LEAST_ROW_MM = 195.0, 5.2, 3.2
INTERVAL: dict[str, Any] = {"color": INK, "linewidth": 0.8, "marker": "|", "markersize": 7.0}
DIFFERS: dict[str, Any] = {
    "marker": "D",
    "markersize": 3.2,
    "markerfacecolor": INK,
    "markeredgecolor": INK,
    "linestyle": "none",
}
ALIKE: dict[str, Any] = {
    **DIFFERS,
    "marker": "o",
    "markersize": 4.0,
    "markerfacecolor": "white",
    "markeredgewidth": 0.9,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One location [unit]."""

    label: str
    difference: float
    half: float
    differs: bool


def is_worth_drawing(view: HoldView) -> bool:
    """Whether the locations were compared."""
    found = view.survey.statistics
    return not isinstance(found, Absent) and not isinstance(found.comparison, Absent)


def draw(view: HoldView) -> Page:
    """Draw a row a location, the hottest at the top."""
    rows, confidence = _rows(view)
    row_mm = max(LEAST_ROW_MM, min(ROW_MM, TALLEST_MM / len(rows)))
    tall = row_mm * (len(rows) + 0.4)
    page = Page(
        BOTTOM_MM + tall + TOP_MM,
        hold_title(view, "differences"),
        view.notes(
            f"Mean of each location less the chamber mean at the same instants. All intervals hold together "
            f"with a confidence of {100 * confidence:g} %.",
            "About what the sensors showed: their own errors are not in it. A clear difference can still be "
            "one between sensors.",
        ),
    )
    axes = page.axes(NAMES_MM, BOTTOM_MM, ACROSS_MM, tall)
    reach = max(abs(row.difference) + row.half for row in rows) * 1.06 or 1.0
    axes.set_xlim(-reach, reach)
    axes.set_ylim(len(rows) - 0.3, -0.7)
    axes.set_yticks([])
    axes.spines["left"].set_visible(False)
    axes.set_xlabel(f"difference from the chamber mean [{view.unit.difference}]")
    axes.axvline(0.0, color=INK, linewidth=0.7, zorder=1.0)
    for at, row in enumerate(rows):
        _draw_row(axes, at, row)
    page.legend(
        [
            colour_key("differs from the chamber mean", **DIFFERS),
            colour_key("no sign that it differs", **ALIKE),
            colour_key("interval of the difference", **INTERVAL),
        ],
        bottom=2.0,
        columns=3,
    )
    return page


def _rows(view: HoldView) -> tuple[list[Row], float]:
    found = view.survey.statistics
    assert not isinstance(found, Absent)
    comparison = found.comparison
    assert not isinstance(comparison, Absent)
    rows = [
        Row(
            label=view.labels.get(series.location, series.location),
            difference=difference_from_c(float(comparison.against_mean_c[at]), view.unit),
            half=difference_from_c(float(comparison.against_mean_half_c[at]), view.unit),
            differs=bool(comparison.against_mean_differs[at]),
        )
        for at, series in enumerate(found.series)
    ]
    return sorted(rows, key=lambda row: -row.difference), comparison.confidence


def _draw_row(axes: Axes, at: int, row: Row) -> None:
    beside: dict[str, Any] = {"transform": axes.get_yaxis_transform(), "fontsize": SMALL, "va": "center"}
    axes.axhline(at, color=PALE, linewidth=0.4, zorder=0.5)
    axes.plot([row.difference - row.half, row.difference + row.half], [at, at], zorder=2.0, **INTERVAL)
    axes.plot([row.difference], [at], zorder=3.0, **(DIFFERS if row.differs else ALIKE))
    axes.text(-0.015, at, fit(row.label, NAMES_MM - 5.0, SMALL), ha="right", **beside)
    digits = 3 if row.half < 0.1 else 2
    axes.text(
        1.02, at, f"{signed(row.difference, digits)} ± {signless(row.half, digits)}", ha="left", **beside
    )
