"""The work zone seen from above, shelf by shelf: where it runs hot and where cold."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import cos, pi, sin
from typing import TYPE_CHECKING, Any

from qualify.figures.absent import present
from qualify.pack.plots.look import (
    BAND,
    COLD,
    GREY,
    HOT,
    INK,
    MARGIN_MM,
    SMALL,
    WIDTH_MM,
    Page,
    colour_key,
    fit,
    text_width_mm,
)
from qualify.pack.plots.marks import BOLD_WIDER, hold_title
from qualify.pack.plots.ranges import near_note
from qualify.pack.plots.view import HoldView, Standing, plain_number
from qualify.record import LocationRecord

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes

SAME_LEVEL = 0.05
"""Heights that differ by no more than this part of the zone's height are one level."""
MOST_COLUMNS, GUTTER_MM, HEAD_MM, FEET_MM = 4, 7.0, 6.0, 9.0
PLAN_WIDEST_MM, PLAN_TALLEST_MM, PLANS_TALLEST_MM = 130.0, 110.0, 205.0
ROOMY_WIDTH_MM, ROOMY_MM2 = 40.0, 230.0
"""A plan at least so wide, with so much paper a location, needs to be no larger."""
LEAST_ASPECT, MOST_ASPECT = 0.4, 2.5
KEY_MM, SIDE_MM = 12.0, 5.0
WALL_BOXES = 120
LINE_MM, MARK_MM = 2.9, 1.9
"""A line of a label, and half of the widest mark round a location."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Zone:
    """The outline that is drawn [mm in the oven]; `known` is False where only positions are known."""

    left: float
    front: float
    width: float
    depth: float
    height: float
    is_cylinder: bool
    known: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """The locations at one height, and the heights they span [mm]."""

    low: float
    high: float
    locations: tuple[LocationRecord, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """How the plans are set on the page: columns, rows, size of each plan [mm on paper]."""

    columns: int
    rows: int
    plan_width: float
    plan_depth: float

    @property
    def height(self) -> float:
        """Height of all rows [mm]."""
        return self.rows * (self.plan_depth + HEAD_MM + FEET_MM)


def draw(view: HoldView) -> Page:
    """Draw one plan a level, the highest first, the front with the door at the bottom of each."""
    zone = outline(view)
    levels = group_levels(view.survey.locations, zone.height)
    aspect = min(max(zone.depth / zone.width, LEAST_ASPECT), MOST_ASPECT)
    to_scale = abs(aspect - zone.depth / zone.width) < 1e-9
    grid = lay_out(len(levels), aspect, max(len(level.locations) for level in levels))
    missing = [view.labels[item.location] for item in view.survey.locations if item.position_mm is None]
    page = Page(
        KEY_MM + grid.height + 10.0,
        hold_title(view, "work zone"),
        view.notes(
            f"Numbers: mean deviation from the set point in the window [{view.unit}]. Seen from above; the "
            "front with the door is at the bottom of each plan.",
            "Rings: single readings beyond or near a limit, not the mean."
            if any(view.standing(item) is not Standing.INSIDE for item in view.survey.locations)
            else "",
            near_note(view),
            "" if to_scale else "Width and depth are not drawn to the same scale.",
            "" if zone.known else "The work zone's size is not known: the outline spans the locations.",
            f"Without a position, not shown: {', '.join(missing)}." if missing else "",
        ),
    )
    axes = page.paper()
    base = page.foot_mm + KEY_MM
    across = (WIDTH_MM - 2 * MARGIN_MM - SIDE_MM) / grid.columns
    for number, level in enumerate(levels):
        row, column = divmod(number, grid.columns)
        cell_left = MARGIN_MM + SIDE_MM + column * across
        left = cell_left + (across - GUTTER_MM - grid.plan_width) / 2
        front = base + (grid.rows - 1 - row) * (grid.plan_depth + HEAD_MM + FEET_MM) + FEET_MM
        plan = Plan(axes, zone, left, front, grid.plan_width, grid.plan_depth, cell_left, across - 1.0)
        plan.draw_outline(level_words(levels, number), with_depth=column == 0)
        plan.draw_locations(view, level.locations)
    page.legend(_key(view), bottom=2.0, columns=4)
    return page


def outline(view: HoldView) -> Zone:
    """Take the work zone of the plan, widened where locations lie outside it."""
    positions = [item.position_mm for item in view.survey.locations if item.position_mm is not None]
    if view.work_zone is not None:
        return Zone(
            left=0.0,
            front=0.0,
            width=float(view.work_zone["width_mm"]),
            depth=float(view.work_zone["depth_mm"]),
            height=float(view.work_zone["height_mm"]),
            is_cylinder=view.work_zone["shape"] == "cylinder",
            known=True,
        )
    spans = [(min(axis), max(axis)) for axis in zip(*positions, strict=True)]
    largest = max(high - low for low, high in spans) or 100.0
    # a row or a plane of locations still needs a plan with some width
    (left, right), (front, back) = (
        (low - pad, high + pad)
        for low, high in spans[:2]
        for pad in [max(0.08 * (high - low), 0.15 * largest if high - low < 0.3 * largest else 0.0)]
    )
    return Zone(
        left=left,
        front=front,
        width=right - left,
        depth=back - front,
        height=max(spans[2][1] - spans[2][0], 0.3 * largest),
        is_cylinder=False,
        known=False,
    )


def group_levels(locations: Sequence[LocationRecord], height_mm: float) -> list[Level]:
    """Put locations of like height together, the highest level first."""
    placed = [(item.position_mm[2], item) for item in locations if item.position_mm is not None]
    placed.sort(key=lambda pair: pair[0])
    groups: list[list[tuple[float, LocationRecord]]] = []
    for z, item in placed:
        if groups and z - groups[-1][0][0] <= SAME_LEVEL * height_mm + 1e-9:
            groups[-1].append((z, item))
        else:
            groups.append([(z, item)])
    return [
        Level(low=group[0][0], high=group[-1][0], locations=tuple(item for _, item in group))
        for group in reversed(groups)
    ]


def level_words(levels: Sequence[Level], number: int) -> str:
    """Word the heading of a plan."""
    level = levels[number]
    height = plain_number(round(level.low, 1))
    if level.high > level.low:
        height += f" to {plain_number(round(level.high, 1))}"
    ends = {0: "top: ", len(levels) - 1: "bottom: "} if len(levels) > 1 else {}
    return f"{ends.get(number, '')}height {height} mm"


def lay_out(levels: int, aspect: float, most: int) -> Grid:
    """Choose the columns: the lowest page on which the fullest plan has room, else the largest plans.

    `most` is the number of locations on the fullest level.
    """
    grids: list[Grid] = []
    for columns in range(1, min(MOST_COLUMNS, levels) + 1):
        rows = -(-levels // columns)
        width = (WIDTH_MM - 2 * MARGIN_MM - SIDE_MM) / columns - GUTTER_MM
        depth = PLANS_TALLEST_MM / rows - HEAD_MM - FEET_MM
        width = min(width, PLAN_WIDEST_MM, depth / aspect, PLAN_TALLEST_MM / aspect)
        grids.append(Grid(columns=columns, rows=rows, plan_width=width, plan_depth=width * aspect))
    roomy = [
        grid
        for grid in grids
        if grid.plan_width >= ROOMY_WIDTH_MM and grid.plan_width * grid.plan_depth >= ROOMY_MM2 * most
    ]
    if roomy:
        return min(roomy, key=lambda grid: grid.height)
    return max(grids, key=lambda grid: grid.plan_width)


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle on paper [mm]."""

    left: float
    bottom: float
    right: float
    top: float

    def overlap(self, other: Box) -> float:
        """Area shared with another [mm²]."""
        across = min(self.right, other.right) - max(self.left, other.left)
        up = min(self.top, other.top) - max(self.bottom, other.bottom)
        return across * up if across > 0 and up > 0 else 0.0

    @property
    def area(self) -> float:
        """Its area [mm²]."""
        return (self.right - self.left) * (self.top - self.bottom)


@dataclass(frozen=True, slots=True)
class Plan:
    """One level, drawn at a place on the page [mm]; its labels stay within its cell."""

    axes: Axes
    zone: Zone
    left: float
    front: float
    width: float
    depth: float
    cell_left: float
    cell_width: float

    def draw_outline(self, heading: str, *, with_depth: bool) -> None:
        """Draw the walls of the zone, the front, and what it measures."""
        from matplotlib.patches import Ellipse, Rectangle

        shape: Any
        if self.zone.is_cylinder:
            centre = (self.left + self.width / 2, self.front + self.depth / 2)
            shape = Ellipse(centre, self.width, self.depth)
        else:
            shape = Rectangle((self.left, self.front), self.width, self.depth)
        shape.set(facecolor="#f7f7f7", edgecolor=INK, linewidth=0.8, zorder=1.0)
        if not self.zone.known:
            shape.set_linestyle("--")
        self.axes.add_patch(shape)
        right = self.left + self.width
        self.axes.plot([self.left, right], [self.front - 1.6] * 2, color=INK, linewidth=2.2, zorder=1.0)
        middle = self.left + self.width / 2
        is_round = self.zone.is_cylinder and self.zone.width == self.zone.depth
        size = f"{plain_number(round(self.zone.width, 1))} mm {'across' if is_round else 'wide'}"
        front = f"front (door), {size}" if self.zone.known else "front (door)"
        self._write(middle, self.front - 2.8, fit(front, self.width + 6.0, SMALL), va="top")
        self._write(middle, self.front + self.depth + 1.6, heading, weight="bold", va="bottom")
        if with_depth and not is_round and self.zone.known:
            words = fit(f"{plain_number(round(self.zone.depth, 1))} mm deep", self.depth + 4.0, SMALL)
            self._write(
                self.left - 2.2, self.front + self.depth / 2, words, rotation=90, va="center", ha="right"
            )

    def _write(self, x: float, y: float, words: str, **style: Any) -> None:
        self.axes.text(x, y, words, **{"fontsize": SMALL, "ha": "center", **style})

    def walls(self) -> list[Box]:
        """Cover the outline with small boxes, which labels avoid."""
        turns = [2 * pi * number / WALL_BOXES for number in range(WALL_BOXES)]
        radii = self.width / 2, self.depth / 2
        if self.zone.is_cylinder:
            round_points = [(cos(turn), sin(turn)) for turn in turns]
        else:
            # from the circle out to the square, so that one set of turns serves both
            round_points = [
                (
                    cos(turn) / max(abs(cos(turn)), abs(sin(turn))),
                    sin(turn) / max(abs(cos(turn)), abs(sin(turn))),
                )
                for turn in turns
            ]
        middle = self.left + radii[0], self.front + radii[1]
        points = [(middle[0] + x * radii[0], middle[1] + y * radii[1]) for x, y in round_points]
        return [Box(x - 0.6, y - 0.6, x + 0.6, y + 0.6) for x, y in points]

    def place(self, position: tuple[float, float, float]) -> tuple[float, float]:
        """Put a position in the oven [mm] on the page [mm]; outside the zone it stays in the cell."""
        x = self.left + (position[0] - self.zone.left) / self.zone.width * self.width
        y = self.front + (position[1] - self.zone.front) / self.zone.depth * self.depth
        return (
            min(max(x, self.cell_left + MARK_MM), self.cell_left + self.cell_width - MARK_MM),
            min(max(y, self.front - MARK_MM), self.front + self.depth + MARK_MM),
        )

    def draw_locations(self, view: HoldView, locations: Sequence[LocationRecord]) -> None:
        """Mark each location, then write beside it where there is room."""
        spots = [self.place(item.position_mm) for item in locations if item.position_mm is not None]
        taken = [Box(x - MARK_MM, y - MARK_MM, x + MARK_MM, y + MARK_MM) for x, y in spots]
        marks = list(taken)
        taken += self.walls()
        for item, (x, y), own in zip(locations, spots, marks, strict=True):
            _mark(self.axes, view, item, x, y)
            lines = label(view, item)
            is_extreme = item is view.highest or item is view.lowest
            width = 0.6 + max(text_width_mm(line, SMALL) for line in lines) * (
                BOLD_WIDER if is_extreme else 1.0
            )
            box = self.free_place(x, y, width, LINE_MM * len(lines), [one for one in taken if one is not own])
            taken.append(box)
            self.axes.text(
                (box.left + box.right) / 2,
                (box.bottom + box.top) / 2,
                "\n".join(lines),
                ha="center",
                va="center",
                fontsize=SMALL,
                linespacing=1.05,
                weight="bold" if is_extreme else "normal",
                zorder=4.0,
            )

    def free_place(self, x: float, y: float, width: float, height: float, taken: list[Box]) -> Box:
        """Find the side of a mark where a label hides least."""
        cell = Box(
            self.cell_left, self.front - 0.5, self.cell_left + self.cell_width, self.front + self.depth + 1.0
        )
        far_x, far_y = MARK_MM + width / 2, MARK_MM + height / 2
        best: tuple[float, Box] | None = None
        sides = ((0, -1), (0, 1), (1, 0), (-1, 0), (1, 1), (-1, 1), (1, -1), (-1, -1))
        for rank, (right, up) in enumerate(sides):
            cx, cy = x + right * far_x, y + up * (far_y - (MARK_MM if right else 0.0))
            box = Box(cx - width / 2, cy - height / 2, cx + width / 2, cy + height / 2)
            hidden = sum(box.overlap(other) for other in taken)
            outside = box.area - box.overlap(cell)
            cost = 4.0 * hidden + 3.0 * outside + 0.05 * rank
            if best is None or cost < best[0]:
                best = cost, box
        assert best is not None
        return best[1]


def label(view: HoldView, item: LocationRecord) -> list[str]:
    """Word a location: its name, its mean deviation, and whether it is the extreme one."""
    is_reference = item.location == view.survey.reference_location
    lines = [fit(view.labels[item.location], 16.0, SMALL) + (" ref." if is_reference else "")]
    lines.append(view.deviation(item.mean_c))
    if item is view.highest:
        lines.append("highest")
    if item is view.lowest:
        lines.append("lowest")
    return lines


def _mark(axes: Axes, view: HoldView, item: LocationRecord, x: float, y: float) -> None:
    sign = view.deviation_sign(item.mean_c) if present(item.mean_c) else 0
    shape, colour = {1: ("^", HOT), -1: ("v", COLD), 0: ("o", "white")}[sign]
    if not present(item.mean_c):
        shape, colour = "x", INK
    axes.plot(
        [x],
        [y],
        marker=shape,
        markersize=6,
        color=colour,
        markeredgecolor=INK,
        markeredgewidth=0.6,
        zorder=3.0,
    )
    standing = view.standing(item)
    if standing is not Standing.INSIDE:
        axes.plot([x], [y], **RINGS[standing], zorder=2.5)
    if item.location == view.survey.reference_location:
        axes.plot([x], [y], **FRAME, zorder=2.4)


RINGS: dict[Standing, dict[str, Any]] = {
    Standing.BEYOND: {
        "marker": "o",
        "markersize": 11,
        "markerfacecolor": "none",
        "markeredgecolor": INK,
        "markeredgewidth": 1.7,
    },
    Standing.NEAR: {
        "marker": "o",
        "markersize": 11,
        "markerfacecolor": "none",
        "markeredgecolor": INK,
        "markeredgewidth": 0.5,
    },
}
FRAME: dict[str, Any] = {
    "marker": "s",
    "markersize": 11,
    "markerfacecolor": BAND,
    "markeredgecolor": GREY,
    "markeredgewidth": 0.8,
}


def _key(view: HoldView) -> list[Artist]:
    edge = {"linestyle": "none", "markeredgecolor": INK, "markeredgewidth": 0.6, "markersize": 6}
    standings = {view.standing(item) for item in view.survey.locations}
    signs = {view.deviation_sign(item.mean_c) for item in view.survey.locations if present(item.mean_c)}
    entries: list[Artist] = [
        colour_key(f"mean {where} the set point", marker=marker, markerfacecolor=face, **edge)
        for sign, where, marker, face in (
            (1, "above", "^", HOT),
            (-1, "below", "v", COLD),
            (0, "at", "o", "white"),
        )
        if sign in signs
    ]
    if Standing.BEYOND in standings:
        entries.append(colour_key("a reading beyond a limit", linestyle="none", **RINGS[Standing.BEYOND]))
    if Standing.NEAR in standings:
        entries.append(colour_key("near a limit", linestyle="none", **RINGS[Standing.NEAR]))
    if view.survey.reference_location is not None:
        entries.append(colour_key("reference location", linestyle="none", **FRAME))
    return entries
