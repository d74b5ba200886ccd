"""The estimated temperature field in level slices, with the watched locations and the expected extremes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from qualify.pack.plots.look import (
    INK,
    MARGIN_MM,
    SMALL,
    WIDTH_MM,
    Page,
    colour_key,
    legible,
    text_width_mm,
)
from qualify.pack.plots.marks import HIGHEST, LOWEST, title
from qualify.pack.plots.placement import name_lines
from qualify.pack.plots.view import plain_number
from qualify.pack.plots.zone import (
    FEET_MM,
    GUTTER_MM,
    HEAD_MM,
    LEAST_ASPECT,
    LINE_MM,
    MARK_MM,
    MOST_ASPECT,
    SIDE_MM,
    Box,
    Plan,
    Zone,
    lay_out,
)
from qualify.readings.model import BoolArray, FloatArray

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.colors import ListedColormap

BANDS = 7
"""About so many bands of temperature; more can't be told apart in grey."""
PALEST, DARKEST = (0.99, 0.98, 0.96), (0.77, 0.56, 0.43)
"""Colours of the coldest and the hottest band: in grey they fall evenly, and letters stay legible on all."""
BAR_MM, BAR_TALL_MM, KEY_MM = 110.0, 3.2, 22.0
KEY_SIZE = 6.5
FINER = 6
"""The grid is drawn so many times finer, by cubic interpolation; a drawing aid."""
LOCATION: dict[str, Any] = {
    "marker": "o",
    "markersize": 4.5,
    "markerfacecolor": "white",
    "markeredgecolor": INK,
    "markeredgewidth": 0.9,
    "linestyle": "none",
}
LIMIT: dict[str, Any] = {"color": INK, "linewidth": 1.3, "linestyle": "--"}
BORDER: dict[str, Any] = {"colors": "#8a7466", "linewidths": 0.4}

Point = tuple[float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """Where an extreme is expected [mm], and what the key says of it."""

    position_mm: Point
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldPicture:
    """What is drawn.

    Attributes
    ----------
    name, about
        The title's parts: the name, which may be shortened, and what must stand.
    unit
        Unit of the temperatures.
    x_mm, y_mm, z_mm : (nx,), (ny,), (nz,) float64
        Axes of the grid, from wall to wall [mm].
    temperature : (nz, ny, nx) float64
        The estimate [unit], everywhere a number.
    inside : (ny, nx) bool
        Where the zone is; a cylinder's box has corners that are not in it.
    is_cylinder
        Whether the zone is an upright cylinder.
    places
        The watched locations: names and positions [mm].
    highest, lowest
        The expected extremes.
    limits
        Lower and upper limit [unit]; None where there is none.
    notes
        Lines for the foot; what an estimate is belongs there.
    """

    name: str
    about: str
    unit: str
    x_mm: FloatArray
    y_mm: FloatArray
    z_mm: FloatArray
    temperature: FloatArray
    inside: BoolArray
    is_cylinder: bool
    places: tuple[tuple[str, Point], ...]
    highest: Spot
    lowest: Spot
    limits: tuple[float | None, float | None] = (None, None)
    notes: tuple[str, ...] = ()


def draw(picture: FieldPicture) -> Page:
    """Draw one plan for each height of the grid, the highest first, the front with the door at the bottom."""
    width, depth, height = (float(axis[-1]) for axis in (picture.x_mm, picture.y_mm, picture.z_mm))
    zone = Zone(
        left=0.0,
        front=0.0,
        width=width,
        depth=depth,
        height=height,
        is_cylinder=picture.is_cylinder,
        known=True,
    )
    slices = [(level, _members(picture, level)) for level in reversed(range(picture.z_mm.size))]
    aspect = min(max(depth / width, LEAST_ASPECT), MOST_ASPECT)
    to_scale = abs(aspect - depth / width) < 1e-9
    grid = lay_out(len(slices), aspect, max(1, *(len(members) for _, members in slices)))
    levels = band_edges(picture)
    page = Page(
        KEY_MM + grid.height + 10.0,
        title(picture.name if legible(picture.name) else "", f" · {picture.about}"),
        [
            *picture.notes,
            "Seen from above; the front with the door is at the bottom of each plan. Locations and expected "
            "extremes are drawn on the plan of the nearest height.",
            *([] if to_scale else ["Width and depth are not drawn to the same scale."]),
        ],
    )
    axes = page.paper()
    base = page.foot_mm + KEY_MM
    across = (WIDTH_MM - 2 * MARGIN_MM - SIDE_MM) / grid.columns
    for number, (level, members) in enumerate(slices):
        row, column = divmod(number, grid.columns)
        cell_left = MARGIN_MM + SIDE_MM + column * across
        left = cell_left + (across - GUTTER_MM - grid.plan_width) / 2
        front = base + (grid.rows - 1 - row) * (grid.plan_depth + HEAD_MM + FEET_MM) + FEET_MM
        plan = Plan(axes, zone, left, front, grid.plan_width, grid.plan_depth, cell_left, across - 1.0)
        plan.draw_outline(_heading(picture, level), with_depth=column == 0)
        _draw_slice(plan, picture, level, levels)
        _draw_marks(plan, picture, level, members)
    _draw_bar(axes, picture, levels, page.foot_mm + 13.5)
    page.legend(_key(picture), bottom=1.5, columns=2)
    return page


def band_edges(picture: FieldPicture) -> FloatArray:
    """Choose the temperatures that part the bands: round ones, from the coldest to the hottest or beyond."""
    from matplotlib.ticker import MaxNLocator

    held = picture.temperature[:, picture.inside]
    low, high = float(held.min()), float(held.max())
    if high - low < 1e-6 * max(1.0, abs(high)):
        low, high = low - 0.5, high + 0.5
    return np.asarray(MaxNLocator(nbins=BANDS, steps=[1, 2, 2.5, 5, 10]).tick_values(low, high))


def _colours(count: int) -> ListedColormap:
    from matplotlib.colors import ListedColormap

    steps = np.linspace(0.0, 1.0, count)[:, None]
    return ListedColormap(np.array(PALEST) * (1.0 - steps) + np.array(DARKEST) * steps)


def nearest_level(heights: FloatArray, z: float) -> int:
    """Number of the height of the grid that is nearest."""
    return int(np.abs(heights - z).argmin())


def _members(picture: FieldPicture, level: int) -> list[int]:
    return [
        number
        for number, (_, position) in enumerate(picture.places)
        if nearest_level(picture.z_mm, position[2]) == level
    ]


def _heading(picture: FieldPicture, level: int) -> str:
    ends = {0: "bottom: ", picture.z_mm.size - 1: "top: "}
    return f"{ends.get(level, '')}height {plain_number(round(float(picture.z_mm[level])))} mm"


def finer(values: FloatArray, axis: int) -> FloatArray:
    """Put points between those of an even grid, on the cubic through the four nearest (at the ends three).

    The cubic convolution of Keys, IEEE Trans. ASSP 29, 1981 (cited from memory), with ends continued so that
    a quadratic stays one.
    """
    grid = np.moveaxis(values, axis, 0)
    if grid.shape[0] < 3:
        return values
    before = 3.0 * grid[0] - 3.0 * grid[1] + grid[2]
    after = 3.0 * grid[-1] - 3.0 * grid[-2] + grid[-3]
    padded = np.concatenate([before[None], grid, after[None]])
    a, b, c, d = padded[:-3], padded[1:-2], padded[2:-1], padded[3:]
    shape = (-1, *[1] * (grid.ndim))
    t = (np.arange(FINER) / FINER).reshape(shape)
    between = b + t / 2 * (c - a + t * (2 * a - 5 * b + 4 * c - d + t * (3 * (b - c) + d - a)))
    joined = np.moveaxis(between, 0, 1).reshape(-1, *grid.shape[1:])
    return np.moveaxis(np.concatenate([joined, grid[-1:]]), 0, axis)


def _draw_slice(plan: Plan, picture: FieldPicture, level: int, levels: FloatArray) -> None:
    from matplotlib.patches import Ellipse, Rectangle

    field = finer(finer(picture.temperature[level], 0), 1)
    x = np.linspace(plan.left, plan.left + plan.width, field.shape[1])
    y = np.linspace(plan.front, plan.front + plan.depth, field.shape[0])
    shape: Any
    if picture.is_cylinder:
        centre = (plan.left + plan.width / 2, plan.front + plan.depth / 2)
        shape = Ellipse(centre, plan.width, plan.depth)
    else:
        shape = Rectangle((plan.left, plan.front), plan.width, plan.depth)
    shape.set(facecolor="none", edgecolor=INK, linewidth=0.8, zorder=2.2)
    plan.axes.add_patch(shape)
    drawn = [
        plan.axes.contourf(
            x, y, field, levels=levels, cmap=_colours(levels.size - 1), extend="both", zorder=1.5
        )
    ]
    inner = [edge for edge in levels[1:-1] if field.min() < edge < field.max()]
    if inner:
        drawn.append(plan.axes.contour(x, y, field, levels=inner, zorder=1.6, **BORDER))
    for limit in picture.limits:
        if limit is not None and field.min() < limit < field.max():
            style = {"colors": LIMIT["color"], "linewidths": LIMIT["linewidth"], "linestyles": "--"}
            drawn.append(plan.axes.contour(x, y, field, levels=[limit], zorder=2.0, **style))
    for contours in drawn:
        contours.set_clip_path(shape)


def _draw_marks(plan: Plan, picture: FieldPicture, level: int, members: Sequence[int]) -> None:
    """Mark the extremes and the locations of a slice, and name the latter where there is room."""
    from matplotlib.patheffects import withStroke

    marks: list[Point] = []
    for spot, style in ((picture.highest, _hottest()), (picture.lowest, _coldest())):
        if nearest_level(picture.z_mm, spot.position_mm[2]) == level:
            marks.append(spot.position_mm)
            x, y = plan.place(spot.position_mm)
            plan.axes.plot([x], [y], zorder=3.5, **style)
    spots = [plan.place(picture.places[number][1]) for number in members]
    own = [Box(x - MARK_MM, y - MARK_MM, x + MARK_MM, y + MARK_MM) for x, y in spots]
    extremes = [
        Box(x - MARK_MM, y - MARK_MM, x + MARK_MM, y + MARK_MM)
        for x, y in (plan.place(mark) for mark in marks)
    ]
    taken = [*own, *extremes, *plan.walls()]
    for number, (x, y), box in zip(members, spots, own, strict=True):
        plan.axes.plot([x], [y], zorder=3.0, **LOCATION)
        name = picture.places[number][0]
        lines = name_lines(name if legible(name) else f"#{number + 1}")
        width = 0.6 + max(text_width_mm(line, SMALL) for line in lines)
        others = [other for other in taken if other is not box]
        beside = plan.free_place(x, y, width, LINE_MM * len(lines), others)
        taken.append(beside)
        written = plan.axes.text(
            (beside.left + beside.right) / 2,
            (beside.bottom + beside.top) / 2,
            "\n".join(lines),
            ha="center",
            va="center",
            fontsize=SMALL,
            linespacing=1.05,
            zorder=4.0,
        )
        # a rim, so that a border between bands doesn't strike a name through
        written.set_path_effects([withStroke(linewidth=1.6, foreground="white", alpha=0.7)])


def _hottest() -> dict[str, Any]:
    return {**HIGHEST, "marker": "^", "markersize": 8.5}


def _coldest() -> dict[str, Any]:
    return {**LOWEST, "marker": "v", "markersize": 8.5}


def _draw_bar(axes: Axes, picture: FieldPicture, levels: FloatArray, bottom: float) -> None:
    """Draw the bands as a bar with their edges' temperatures."""
    from matplotlib.patches import Rectangle

    words = f"estimate [{picture.unit}]"
    axes.text(MARGIN_MM, bottom + BAR_TALL_MM / 2, words, fontsize=SMALL, va="center")
    left = MARGIN_MM + text_width_mm(words, SMALL) + 4.0
    step = BAR_MM / (levels.size - 1)
    colours = _colours(levels.size - 1)
    for band in range(levels.size - 1):
        box = Rectangle((left + band * step, bottom), step, BAR_TALL_MM)
        box.set(facecolor=colours(band), edgecolor=BORDER["colors"], linewidth=0.5)
        axes.add_patch(box)
    for number, edge in enumerate(levels):
        label = plain_number(round(float(edge), 6))
        axes.text(left + number * step, bottom - 0.6, label, fontsize=SMALL, ha="center", va="top")


def _key(picture: FieldPicture) -> list[Artist]:
    entries: list[Artist] = [
        colour_key(picture.highest.words, **{**_hottest(), "markersize": KEY_SIZE}),
        colour_key(picture.lowest.words, **{**_coldest(), "markersize": KEY_SIZE}),
        colour_key("location", **LOCATION),
    ]
    held = picture.temperature[:, picture.inside]
    crossed = [
        plain_number(limit)
        for limit in picture.limits
        if limit is not None and held.min() < limit < held.max()
    ]
    if crossed:
        entries.append(colour_key(f"limit {' and '.join(crossed)} {picture.unit}", **LIMIT))
    return entries
