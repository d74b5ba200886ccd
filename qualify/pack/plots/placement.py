"""Where the sensors go: the work zone seen from above, shelf by shelf, and its point farthest from any."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from qualify.pack.plots.look import INK, MARGIN_MM, SMALL, WIDTH_MM, Page, colour_key, fit, legible, our_look
from qualify.pack.plots.look import text_width_mm as width_of
from qualify.pack.plots.marks import title
from qualify.pack.plots.view import plain_number
from qualify.pack.plots.zone import (
    FEET_MM,
    GUTTER_MM,
    HEAD_MM,
    KEY_MM,
    LEAST_ASPECT,
    LINE_MM,
    MARK_MM,
    MOST_ASPECT,
    SAME_LEVEL,
    SIDE_MM,
    Box,
    Plan,
    Zone,
    lay_out,
)

if TYPE_CHECKING:
    from matplotlib.artist import Artist

MOST_LEVELS = 6
NAME_MM, ONE_LINE_MM = 24.0, 13.0
"""Room for a name; wider than the latter, it is broken at its last hyphen."""
EDGE: dict[str, Any] = {"markeredgecolor": INK, "linestyle": "none"}
SENSOR: dict[str, Any] = {**EDGE, "marker": "o", "markersize": 5.5, "markerfacecolor": INK}
FARTHEST: dict[str, Any] = {**EDGE, "marker": "X", "markersize": 9, "markerfacecolor": "white"}

Point = tuple[float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacementPicture:
    """What is drawn: the zone's shape and size [mm], places by name, the farthest point.

    `farthest_mm` is that point and `farthest_from_mm` its distance from the nearest place; None where there
    is none. `notes` go to the foot.
    """

    heading: str
    is_cylinder: bool
    size_mm: Point
    places: tuple[tuple[str, Point], ...]
    farthest_mm: Point | None = None
    farthest_from_mm: float | None = None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Shelf:
    """Places at about one height [mm]: indices into the picture's places."""

    low: float
    high: float
    places: tuple[int, ...]

    def words(self) -> str:
        """Word its heading."""
        low, high = (plain_number(round(height)) for height in (self.low, self.high))
        return f"height {low} mm" if low == high else f"height {low} to {high} mm"


def write_placement(picture: PlacementPicture, path: Path) -> None:
    """Draw the places as PNG; same picture and versions, same bytes.

    Raises
    ------
    OSError
        If the file can't be written.
    """
    with our_look():
        draw(picture).write(path)


def draw(picture: PlacementPicture) -> Page:
    """Draw one plan a shelf, the highest first, the front with the door at the bottom of each."""
    width, depth, height = picture.size_mm
    zone = Zone(
        left=0.0,
        front=0.0,
        width=width,
        depth=depth,
        height=height,
        is_cylinder=picture.is_cylinder,
        known=True,
    )
    shelves = group(picture)
    aspect = min(max(depth / width, LEAST_ASPECT), MOST_ASPECT)
    to_scale = abs(aspect - depth / width) < 1e-9
    grid = lay_out(len(shelves), aspect, max(len(shelf.places) for shelf in shelves))
    page = Page(
        KEY_MM + grid.height + 10.0,
        title(picture.heading if legible(picture.heading) else "", " · where the sensors go"),
        [
            f"The work zone is {plain_number(round(height, 1))} mm high. Seen from above; the front with the "
            "door is at the bottom of each plan. z counts from the zone's floor.",
            *([] if to_scale else ["Width and depth are not drawn to the same scale."]),
            *picture.notes,
        ],
    )
    axes = page.paper()
    base = page.foot_mm + KEY_MM
    across = (WIDTH_MM - 2 * MARGIN_MM - SIDE_MM) / grid.columns
    at = _shelf_of_farthest(picture, shelves)
    for number, shelf in enumerate(shelves):
        row, column = divmod(number, grid.columns)
        cell_left = MARGIN_MM + SIDE_MM + column * across
        left = cell_left + (across - GUTTER_MM - grid.plan_width) / 2
        front = base + (grid.rows - 1 - row) * (grid.plan_depth + HEAD_MM + FEET_MM) + FEET_MM
        plan = Plan(axes, zone, left, front, grid.plan_width, grid.plan_depth, cell_left, across - 1.0)
        plan.draw_outline(shelf.words(), with_depth=column == 0)
        _draw_places(plan, picture, shelf, with_farthest=number == at)
    page.legend(_key(picture), bottom=2.0, columns=2)
    return page


def group(picture: PlacementPicture) -> list[Shelf]:
    """Put places of like height together, the highest shelf first; at most `MOST_LEVELS` shelves."""
    heights = [position[2] for _, position in picture.places]
    order = sorted(range(len(heights)), key=lambda index: heights[index])
    share = SAME_LEVEL
    while True:
        groups: list[list[int]] = []
        for index in order:
            if groups and heights[index] - heights[groups[-1][0]] <= share * picture.size_mm[2] + 1e-9:
                groups[-1].append(index)
            else:
                groups.append([index])
        if len(groups) <= MOST_LEVELS:
            break
        share *= 1.25
    return [
        Shelf(heights[members[0]], heights[members[-1]], tuple(sorted(members)))
        for members in reversed(groups)
    ]


def _shelf_of_farthest(picture: PlacementPicture, shelves: Sequence[Shelf]) -> int | None:
    if picture.farthest_mm is None:
        return None
    z = picture.farthest_mm[2]
    apart = [max(shelf.low - z, z - shelf.high, 0.0) for shelf in shelves]
    return apart.index(min(apart))


def _draw_places(plan: Plan, picture: PlacementPicture, shelf: Shelf, *, with_farthest: bool) -> None:
    """Mark each place, then write beside it where there is room."""
    marked: list[tuple[Point, list[str], dict[str, Any]]] = []
    for index in shelf.places:
        name, position = picture.places[index]
        lines = name_lines(name if legible(name) else f"#{index + 1}")
        if shelf.high - shelf.low > 0.05:
            lines.append(f"z {plain_number(round(position[2]))}")
        marked.append((position, lines, SENSOR))
    if with_farthest and picture.farthest_mm is not None:
        marked.append((picture.farthest_mm, [f"z {plain_number(round(picture.farthest_mm[2]))}"], FARTHEST))
    spots = [plan.place(position) for position, _, _ in marked]
    own = [Box(x - MARK_MM, y - MARK_MM, x + MARK_MM, y + MARK_MM) for x, y in spots]
    taken = [*own, *plan.walls()]
    for (_, lines, style), (x, y), box in zip(marked, spots, own, strict=True):
        plan.axes.plot([x], [y], zorder=3.0, **style)
        width = 0.6 + max(width_of(line, SMALL) for line in lines)
        others = [other for other in taken if other is not box]
        beside = plan.free_place(x, y, width, LINE_MM * len(lines), others)
        taken.append(beside)
        plan.axes.text(
            (beside.left + beside.right) / 2,
            (beside.bottom + beside.top) / 2,
            "\n".join(lines),
            ha="center",
            va="center",
            fontsize=SMALL,
            linespacing=1.05,
            zorder=4.0,
        )


def name_lines(name: str) -> list[str]:
    """Break a long name in two, so that it stands beside its mark."""
    first, hyphen, last = name.rpartition("-")
    if not hyphen or width_of(name, SMALL) <= ONE_LINE_MM:
        return [fit(name, NAME_MM, SMALL)]
    if last.isdigit() and "-" in first:
        first, _, word = first.rpartition("-")
        last = f"{word}-{last}"
    return [fit(f"{first}-", NAME_MM, SMALL), fit(last, NAME_MM, SMALL)]


def _key(picture: PlacementPicture) -> list[Artist]:
    entries: list[Artist] = [colour_key("sensor", **SENSOR)]
    if picture.farthest_from_mm is not None:
        words = (
            f"farthest from every sensor: {plain_number(round(picture.farthest_from_mm))} mm to the nearest"
        )
        entries.append(colour_key(words, **FARTHEST))
    return entries
