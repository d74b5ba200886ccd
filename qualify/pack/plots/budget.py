"""What each source of error gives: the budget of the location that decides, and the chamber's."""

from __future__ import annotations

from dataclasses import dataclass
from math import nan
from typing import TYPE_CHECKING, Any

from qualify.figures.absent import Absent, present
from qualify.pack.plots.look import (
    GREY,
    INK,
    PALE,
    SMALL,
    TEXT,
    WIDTH_MM,
    Page,
    colour_key,
    fit,
    patch_key,
)
from qualify.pack.plots.marks import hold_title
from qualify.pack.plots.view import HoldView, plain_number
from qualify.record import (
    ChamberBudgetRecord,
    CombinedRecord,
    ContributionRecord,
    Decision,
    LocationBudgetRecord,
    UncertaintyRecord,
)
from qualify.units import difference_from_c

if TYPE_CHECKING:
    from matplotlib.axes import Axes

NAMES_MM, NUMBERS_MM, BOTTOM_MM, HEAD_MM, BETWEEN_MM, TOP_MM = 58.0, 41.0, 19.0, 7.0, 4.5, 8.5
ACROSS_MM = WIDTH_MM - NAMES_MM - NUMBERS_MM
ROW_MM = 5.2
MOST_ROWS = 14
"""More sources than this in a budget are drawn as one bar, the least together."""
BAR: dict[str, Any] = {"color": GREY, "height": 0.62, "linewidth": 0.5, "edgecolor": INK}
HATCHED: dict[str, Any] = {**BAR, "color": PALE, "edgecolor": INK, "hatch": "////"}
"""Of a source whose error others share."""
RANGE: dict[str, Any] = {"color": INK, "linewidth": 0.7, "marker": "|", "markersize": 5.0}


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """One source: its share of the variance [1], its standard uncertainty [°C], the others' shares [1]."""

    source: str
    share: float
    standard_c: float
    shared: bool
    others: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Panel:
    """One budget: its heading, its bars with the largest first."""

    heading: str
    bars: tuple[Bar, ...]


def is_worth_drawing(view: HoldView) -> bool:
    """Whether a hold has a budget of more than one source."""
    return any(len(panel.bars) > 1 for panel in _panels(view))


def draw(view: HoldView) -> Page:
    """Draw a panel a budget, a bar a source."""
    panels = _panels(view)
    rows = sum(len(panel.bars) for panel in panels)
    tall = rows * ROW_MM + len(panels) * HEAD_MM + (len(panels) - 1) * BETWEEN_MM
    page = Page(BOTTOM_MM + tall + TOP_MM, hold_title(view, "uncertainty"), view.notes(*_notes(view)))
    top = BOTTOM_MM + tall
    for panel in panels:
        height = len(panel.bars) * ROW_MM
        top -= HEAD_MM
        _draw_panel(page, view, panel, top - height, height, lowest=panel is panels[-1])
        top -= height + BETWEEN_MM
    entries = [patch_key("share of the variance", facecolor=GREY, edgecolor=INK, linewidth=0.5)]
    if any(bar.shared for panel in panels for bar in panel.bars):
        entries.append(
            patch_key(
                "the same, of an error that others share",
                facecolor=PALE,
                edgecolor=INK,
                hatch="////",
                linewidth=0.5,
            )
        )
    if any(_differ(bar) for panel in panels for bar in panel.bars):
        entries.append(colour_key("least to greatest share at the locations", **RANGE))
    page.legend(entries, bottom=2.0, columns=3)
    return page


def deciding_location(view: HoldView) -> tuple[str | None, str]:
    """Name the location whose budget is drawn, and why it is this one.

    The one that decides the worst of the hold's requirements, and of these the one with the least margin
    after its guard band; without any, the location with the largest expanded uncertainty.
    """
    order = list(Decision)
    found = [
        (order.index(item.decision), -(item.margin - (item.guard_band or 0.0)), item)
        for item in view.survey.requirements
        if item.unit == "°C" and item.decided_by and present(item.margin)
    ]
    names = {item.location for item in view.survey.locations}
    found = [entry for entry in found if entry[2].decided_by in names]
    if found:
        item = max(found, key=lambda entry: entry[:2])[2]
        return item.decided_by, f"which decides '{item.id}'"
    known = [
        (item.expanded_uncertainty_c, item.location)
        for item in view.survey.locations
        if present(item.expanded_uncertainty_c)
    ]
    return (max(known, key=lambda pair: pair[0])[1] if known else None), "with the largest U"


def _panels(view: HoldView) -> list[Panel]:
    found = view.survey.uncertainty
    if isinstance(found, Absent):
        return []
    panels = []
    name, why = deciding_location(view)
    own = next((item for item in found.locations if item.location == name), None)
    if own is not None and not isinstance(own.reading, Absent):
        where = f"One corrected reading at {view.labels[own.location]}, {why}"
        panels.append(_panel(view, where, own.contributions, own.reading, _others(found, own)))
    if not isinstance(found.chamber, Absent):
        panels.append(_chamber(view, found.chamber))
    return panels


def _chamber(view: HoldView, chamber: ChamberBudgetRecord) -> Panel:
    where = (
        f"Chamber temperature assigned at {view.labels.get(chamber.location, chamber.location)} (DKD-R 5-7)"
    )
    return _panel(view, where, chamber.contributions, chamber.combined, {})


def _panel(
    view: HoldView,
    where: str,
    contributions: tuple[ContributionRecord, ...],
    combined: CombinedRecord,
    others: dict[str, tuple[float, float]],
) -> Panel:
    bars = sorted(
        (
            Bar(
                source=item.source,
                share=item.share,
                standard_c=item.standard_c,
                shared=bool(item.shared_with),
                others=others.get(item.source),
            )
            for item in contributions
        ),
        key=lambda bar: -bar.share,
    )
    if len(bars) > MOST_ROWS:
        least = bars[MOST_ROWS - 1 :]
        together = Bar(
            source=f"{len(least)} smaller sources together",
            share=sum(bar.share for bar in least),
            standard_c=sum(bar.standard_c**2 for bar in least) ** 0.5,
            shared=False,
        )
        bars = [*bars[: MOST_ROWS - 1], together]
    expanded = _difference(view, combined.expanded_c)
    heading = f"{where}: U = {expanded} (k = {plain_number(combined.coverage_factor)})"
    return Panel(heading=heading, bars=tuple(bars))


def _others(found: UncertaintyRecord, own: LocationBudgetRecord) -> dict[str, tuple[float, float]]:
    """Least and greatest share of each source over all locations that have a budget."""
    shares: dict[str, list[float]] = {item.source: [] for item in own.contributions}
    budgets = [item for item in found.locations if item.contributions]
    if len(budgets) < 2:
        return {}
    for item in budgets:
        of_source = dict.fromkeys(shares, 0.0)
        for row in item.contributions:
            if row.source in of_source:
                of_source[row.source] += row.share
        for source, share in of_source.items():
            shares[source].append(share)
    return {source: (min(all_), max(all_)) for source, all_ in shares.items()}


def _notes(view: HoldView) -> list[str]:
    notes = [
        "Bars: share of the variance that each source makes; beside them its standard uncertainty u and the "
        "share. The whole budgets stand on the workbook's sheet Budgets."
    ]
    found = view.survey.uncertainty
    if isinstance(found, Absent):
        return notes
    if not isinstance(found.chamber, Absent):
        notes.append(
            "The chamber's budget contains the non-uniformity. It is reported, and never a guard band for "
            "uniformity, which would then count twice."
        )
    name, _ = deciding_location(view)
    left = next((item.left_out for item in found.locations if item.location == name), ())
    if left:
        notes.append(f"Left out of the reading's budget, as nobody gave a number: {', '.join(left)}.")
    return notes


def _differ(bar: Bar) -> bool:
    """Whether the locations' shares of a source differ by what can be seen."""
    return bar.others is not None and bar.others[1] - bar.others[0] > 0.002


def _draw_panel(
    page: Page, view: HoldView, panel: Panel, bottom: float, height: float, *, lowest: bool
) -> None:
    axes = page.axes(NAMES_MM, bottom, ACROSS_MM, height)
    axes.set_xlim(0.0, 100.0)
    axes.set_ylim(len(panel.bars) - 0.5, -0.5)
    axes.set_yticks([])
    for tick in (25.0, 50.0, 75.0, 100.0):
        axes.axvline(tick, color=PALE, linewidth=0.5, zorder=0.5)
    page.text(
        3.0,
        page.foot_mm + bottom + height + 2.2,
        fit(panel.heading, WIDTH_MM - 6.0, TEXT),
        size=TEXT,
        va="bottom",
    )
    ranges: list[tuple[float, float]] = []
    for row, bar in enumerate(panel.bars):
        axes.barh([row], [100.0 * bar.share], zorder=2.0, **(HATCHED if bar.shared else BAR))
        _beside(axes, view, row, bar)
        if bar.others is not None and _differ(bar):
            ranges += [(100.0 * bar.others[0], row), (100.0 * bar.others[1], row), (nan, nan)]
    if ranges:
        axes.plot(*zip(*ranges, strict=True), **RANGE, zorder=3.0, clip_on=False)
    axes.set_xticks([0.0, 25.0, 50.0, 75.0, 100.0], None if lowest else [""] * 5)
    if lowest:
        axes.set_xlabel("share of the variance [%]")


def _beside(axes: Axes, view: HoldView, row: int, bar: Bar) -> None:
    beside: dict[str, Any] = {"transform": axes.get_yaxis_transform(), "fontsize": SMALL, "va": "center"}
    axes.text(-0.015, row, fit(bar.source, NAMES_MM - 5.0, SMALL), ha="right", **beside)
    small = 0.0 < difference_from_c(bar.standard_c, view.unit) < 0.0005
    shown = f"u < 0.001 {view.unit}" if small else f"u = {_difference(view, bar.standard_c)}"
    axes.text(1.02, row, shown, **beside)
    axes.text(1.0 + (NUMBERS_MM - 4.0) / ACROSS_MM, row, _percent(bar.share), ha="right", **beside)


def _percent(share: float) -> str:
    """Print a share; what would round to nothing says so."""
    return "< 0.1 %" if 0.0 < share < 0.0005 else f"{100.0 * share:.1f} %"


def _difference(view: HoldView, difference_c: float) -> str:
    """Print an uncertainty to three decimals in the plan's unit."""
    return f"{difference_from_c(difference_c, view.unit):.3f} {view.unit}"
