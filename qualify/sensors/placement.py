"""Where sensors go in a work zone: corners, centre, then spread; and what a set of places leaves unwatched.

Positions count from the left front lower corner as seen through the open door: x to the right, y to the
back, z up [mm].

The rule of `place_sensors`, which no document prescribes beyond corners and centre:

1. Corners are inset from the walls by a stated distance; without one by `DEFAULT_INSET_MM` or a tenth of
   the dimension, whichever is less (common practice, no published source). A cylinder has two rings of
   four instead (front, right, back, left; bottom and top), inset alike.
2. Fewer than nine: the centre, and those corners whose smallest distance from each other is largest; of
   like sets the one with the larger sum of distances, then the first in the order of coordinates.
3. More than nine: those nine, then each next sensor goes where it is farthest from all before it, on a
   grid between the insets; then each of these in turn moves to where it is farthest from all others, until
   none gains (maximin distance) or each had ten turns. Of places that are equally far, the first in the
   order of z, then y, then x. From 27 on in a box, three levels of nine are the start instead where that
   keeps the sensors farther apart.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from math import ceil, isfinite

import numpy as np

from qualify.findings import RefusalKind
from qualify.plan.model import WorkZone
from qualify.readings.model import BoolArray, FloatArray

DEFAULT_INSET_MM = 50.0
"""Common practice, no published source; in a small zone a tenth of the dimension."""
INSET_SHARE = 0.1
MOST_SENSORS = 100
"""Documents ask for at most 40; beyond this the spreading would take long."""
NEAR_SHARE = 0.25
"""A location stands for a corner, or the centre, within this share of each dimension of it: our own rule,
the one by which the reference location is found."""

_GRID_POINTS = 24_000
_SAME_SHARE = 1e-9
_MOST_ROUNDS = 10
_MOST_CELLS = 4000
_CORNERS_AND_CENTRE = 9
_THREE_LEVELS = 27

INSET_TOO_LARGE = RefusalKind(
    "placement-inset",
    what="an inset of {inset:g} mm leaves nothing between the walls of a zone {least:g} mm across",
    why="Opposite corners would meet or change places.",
    mend="give an inset under half of the smallest dimension.",
)
COUNT_OUT_OF_RANGE = RefusalKind(
    "placement-count",
    what="{count} sensors can't be placed",
    why="Sensors are placed from 1 to {most}; documents ask for at most 40.",
    mend="give another number, or place them by hand.",
)
SIZE_NOT_MEANT = RefusalKind(
    "placement-size",
    what="a work zone of {width:g} × {depth:g} × {height:g} mm can't be meant",
    why="Sensors are placed within its size.",
    mend="give sizes above zero, in mm.",
)


@dataclass(frozen=True, slots=True)
class Place:
    """A named place in the work zone [mm]."""

    name: str
    position_mm: tuple[float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Unwatched:
    """The point of the work zone farthest from every location.

    `radius_mm` is its distance from the nearest location, `nearest` that location's name. The sphere of
    that radius round `position_mm` holds no location; it may reach beyond the zone.
    """

    position_mm: tuple[float, float, float]
    radius_mm: float
    nearest: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacesFound:
    """What a plan's positions come to.

    Attributes
    ----------
    outside
        Names of locations outside the work zone.
    bare
        Corners (of a cylinder: places on its rings) and centre that no location stands for.
    together
        Pairs of names at one place.
    unwatched
        The point farthest from every location; None without locations.
    """

    outside: tuple[str, ...]
    bare: tuple[str, ...]
    together: tuple[tuple[str, str], ...]
    unwatched: Unwatched | None


def default_inset_mm(zone: WorkZone) -> tuple[float, float, float]:
    """How far corners stand from the walls where nothing is stated: across, deep, high [mm]."""
    width, depth, height = (min(DEFAULT_INSET_MM, INSET_SHARE * size) for size in _size(zone))
    return width, depth, height


def place_sensors(zone: WorkZone, count: int, inset_mm: float | None = None) -> tuple[Place, ...]:
    """Place a number of sensors by the rule above; same input, same places.

    Parameters
    ----------
    zone
        Box, or upright cylinder.
    count
        Number of sensors, 1 to `MOST_SENSORS`.
    inset_mm
        Distance of the corners from each wall [mm]; None: `default_inset_mm`.

    Returns
    -------
    tuple of Place
        Corners from the bottom up, the centre, then those spread between; names tell the place.

    Raises
    ------
    Refusal
        If the size, the inset or the count can't be meant.
    """
    size = _checked_size(zone)
    if not 1 <= count <= MOST_SENSORS:
        raise COUNT_OUT_OF_RANGE(count=count, most=MOST_SENSORS)
    inset = np.array(default_inset_mm(zone) if inset_mm is None else (inset_mm,) * 3)
    if not (np.isfinite(inset).all() and (inset >= 0).all() and (2 * inset < size).all()):
        raise INSET_TOO_LARGE(inset=float(inset.max()), least=float(size.min()))
    # The rule is worked out in parts of the largest dimension, so that scaling a zone scales its places.
    largest = float(size.max())
    corners = _corners(zone, size, inset) / largest
    centre = size / 2 / largest
    if count < _CORNERS_AND_CENTRE:
        chosen = np.vstack([corners[_widest(corners, count - 1)], centre])
    else:
        nine = np.vstack([corners, centre])
        chosen = _spread(zone, size / largest, inset / largest, nine, count)
        if zone.shape != "cylinder" and count >= _THREE_LEVELS:
            levels = _three_levels(nine)
            other = _spread(zone, size / largest, inset / largest, levels, count)
            if _smallest_distance(other) > _smallest_distance(chosen) + _SAME_SHARE:
                chosen = other
    positions = chosen * largest
    return _named(zone, positions)


def check_places(zone: WorkZone, places: Sequence[Place], *, corners_and_centre: bool) -> PlacesFound:
    """Hold a plan's own positions against the work zone.

    Parameters
    ----------
    zone
        Box, or upright cylinder.
    places
        Names and positions [mm].
    corners_and_centre
        Whether every corner and the centre must have a location within `NEAR_SHARE` of each dimension.
        The rings of a cylinder may stand turned by any angle.
    """
    size = _checked_size(zone)
    positions = np.array([place.position_mm for place in places], dtype=np.float64).reshape(-1, 3)
    slack = _SAME_SHARE * float(size.max())
    inside: BoolArray = np.all(np.abs(_into(zone, size, positions) - positions) <= slack, axis=1)
    together = tuple(
        (places[one].name, places[other].name)
        for one, other in combinations(range(len(places)), 2)
        if np.abs(positions[one] - positions[other]).max() <= slack
    )
    return PlacesFound(
        outside=tuple(place.name for place, within in zip(places, inside, strict=True) if not within),
        bare=_bare(zone, size, positions) if corners_and_centre else (),
        together=together,
        unwatched=farthest_point(zone, places),
    )


def farthest_point(zone: WorkZone, places: Sequence[Place]) -> Unwatched | None:
    """Find the point of the work zone farthest from every location: the largest empty sphere's centre.

    Cells of a grid are halved where the point may lie in them: the distance from the nearest location
    changes by no more than the way walked, so that a cell whose middle falls short of the best by more than
    its half diagonal can't hold it.

    Parameters
    ----------
    zone
        Box, or upright cylinder; the point may lie on its walls.
    places
        Names and positions [mm]; without any there is no such point.

    Returns
    -------
    Unwatched or None
        Distance right to a ten-thousandth of the largest dimension. Of points equally far one, and for
        the same places always the same.
    """
    if not places:
        return None
    size = _checked_size(zone)
    positions = np.array([place.position_mm for place in places], dtype=np.float64)
    largest = float(size.max())
    cells, half = _cells(size)
    best_point, best = size / 2, -1.0
    while True:
        points = _into(zone, size, cells)
        distance = _nearest(points, positions)
        point, found = _first_farthest(points, distance, _SAME_SHARE * largest)
        if found > best + _SAME_SHARE * largest:
            best_point, best = point, found
        reach = float(np.hypot.reduce(half))
        if reach <= 1e-4 * largest:
            break
        kept = np.flatnonzero(distance + reach >= best)
        if kept.size > _MOST_CELLS:
            kept = np.sort(kept[np.argsort(-distance[kept], kind="stable")[:_MOST_CELLS]])
        half = half / 2
        steps = np.array([(x, y, z) for z in (-1, 1) for y in (-1, 1) for x in (-1, 1)])
        cells = (cells[kept, None, :] + steps[None, :, :] * half).reshape(-1, 3)
    # What is left is walked uphill, so that a point on a wall or in a corner is told as such.
    around = np.array([(x, y, z) for z in (-1, 0, 1) for y in (-1, 0, 1) for x in (-1, 0, 1)])
    step = largest * 1e-4
    while step > 1e-8 * largest:
        points = _into(zone, size, best_point + around * step)
        distance = _nearest(points, positions)
        if distance.max() > best + 1e-3 * step:
            best_point, best = points[int(np.argmax(distance))], float(distance.max())
        else:
            step /= 2
    apart = np.hypot.reduce(positions - best_point, axis=1)
    x, y, z = (float(axis) for axis in best_point)
    return Unwatched(
        position_mm=(x, y, z), radius_mm=float(apart.min()), nearest=places[int(np.argmin(apart))].name
    )


# ---- shapes ----


def _size(zone: WorkZone) -> tuple[float, float, float]:
    return zone.width_mm, zone.depth_mm, zone.height_mm


def _checked_size(zone: WorkZone) -> FloatArray:
    width, depth, height = _size(zone)
    if not all(isfinite(size) and size > 0 for size in (width, depth, height)):
        raise SIZE_NOT_MEANT(width=width, depth=depth, height=height)
    return np.array([width, depth, height], dtype=np.float64)


def _into(zone: WorkZone, size: FloatArray, points: FloatArray) -> FloatArray:
    """The point of the zone nearest to each point."""
    if zone.shape != "cylinder":
        return np.clip(points, 0.0, size)
    middle = size[:2] / 2
    apart = points[:, :2] - middle
    away = np.hypot(apart[:, 0], apart[:, 1])
    shrink = middle[0] / np.maximum(away, middle[0])
    return np.column_stack([middle + apart * shrink[:, None], np.clip(points[:, 2], 0.0, size[2])])


def _corners(zone: WorkZone, size: FloatArray, inset: FloatArray) -> FloatArray:
    """Eight corners (of a cylinder: rings of four) in the order of z, y, x."""
    left, front, low = inset
    right, back, high = size - inset
    if zone.shape == "cylinder":
        x, y = size[:2] / 2
        ring = [(x, front), (left, y), (right, y), (x, back)]
    else:
        ring = [(left, front), (right, front), (left, back), (right, back)]
    return np.array([(*place, height) for height in (low, high) for place in ring])


# ---- the rule ----


def _widest(corners: FloatArray, count: int) -> list[int]:
    """Which corners to keep: those whose smallest mutual distance is largest."""
    apart = np.hypot.reduce(corners[:, None, :] - corners[None, :, :], axis=2)
    best: tuple[float, float] = (-1.0, -1.0)
    kept: list[int] = []
    for chosen in combinations(range(len(corners)), count):
        pairs = [float(apart[one, other]) for one, other in combinations(chosen, 2)]
        value = (min(pairs, default=0.0), sum(pairs))
        # Rounding must not break a tie: only what is clearly more counts as more.
        more = value[0] > best[0] + _SAME_SHARE
        alike = abs(value[0] - best[0]) <= _SAME_SHARE
        if more or (alike and value[1] > best[1] + _SAME_SHARE):
            best, kept = value, list(chosen)
    return kept


def _spread(zone: WorkZone, size: FloatArray, inset: FloatArray, fixed: FloatArray, count: int) -> FloatArray:
    """Add places to the fixed ones by maximin distance, then let each added one move while it gains."""
    added = count - len(fixed)
    if added == 0:
        return fixed
    grid = _grid(zone, size, inset)
    distances = [np.hypot.reduce(grid - place, axis=1) for place in fixed]
    nearest = np.minimum.reduce(distances)
    chosen = []
    for _ in range(added):
        at = _first_of_most(nearest)
        chosen.append(at)
        distances.append(np.hypot.reduce(grid - grid[at], axis=1))
        nearest = np.minimum(nearest, distances[-1])
    table = np.array(distances)
    for _ in range(_MOST_ROUNDS):
        moved = False
        for number in range(added):
            row = len(fixed) + number
            others = np.minimum(table[:row].min(axis=0), table[row + 1 :].min(axis=0, initial=float("inf")))
            at = _first_of_most(others)
            if others[at] > others[chosen[number]] + _SAME_SHARE:
                chosen[number] = at
                table[row] = np.hypot.reduce(grid - grid[at], axis=1)
                moved = True
        if not moved:
            break
    places = grid[chosen]
    order = np.lexsort((places[:, 0], places[:, 1], places[:, 2]))
    return np.vstack([fixed, places[order]])


def _three_levels(nine: FloatArray) -> FloatArray:
    """The nine, and the middles of edges and faces between them, in the order of z, y, x."""
    low, high = nine[0], nine[7]
    points = _mesh(*(np.array([a, (a + b) / 2, b]) for a, b in zip(low, high, strict=True)))
    between = np.array([point for point in points if np.abs(nine - point).max(axis=1).min() > _SAME_SHARE])
    return np.vstack([nine, between])


def _smallest_distance(positions: FloatArray) -> float:
    apart = np.hypot.reduce(positions[:, None, :] - positions[None, :, :], axis=2)
    return float(apart[~np.eye(len(positions), dtype=np.bool_)].min())


def _first_of_most(values: FloatArray) -> int:
    """Where the largest value first stands, as far as rounding lets one tell."""
    return int(np.flatnonzero(values >= values.max() - _SAME_SHARE)[0])


def _grid(zone: WorkZone, size: FloatArray, inset: FloatArray) -> FloatArray:
    """Points between the insets in the order of z, y, x; an odd number an axis, so that middles are there."""
    spans = size - 2 * inset
    step = float(np.prod(spans) / _GRID_POINTS) ** (1 / 3)
    x, y, z = (
        np.linspace(low, low + span, 2 * ceil(span / (2 * step) - _SAME_SHARE) + 1)
        for low, span in zip(inset, spans, strict=True)
    )
    points = _mesh(x, y, z)
    if zone.shape != "cylinder":
        return points
    radius = float(spans[0]) / 2
    away = np.hypot(points[:, 0] - size[0] / 2, points[:, 1] - size[1] / 2)
    inside: BoolArray = away <= radius + _SAME_SHARE
    # A square grid has few points at the wall, where places are farthest apart: rings of their own.
    turns = np.linspace(0.0, 2 * np.pi, 96, endpoint=False)
    rim = np.array(
        [
            (size[0] / 2 + radius * np.sin(turn), size[1] / 2 - radius * np.cos(turn), height)
            for height in z
            for turn in turns
        ]
    )
    points = np.vstack([points[inside], rim])
    # to a billionth, so that the rounding of sines leaves the order alone
    keys = np.round(points / _SAME_SHARE)
    return points[np.lexsort((keys[:, 0], keys[:, 1], keys[:, 2]))]


def _mesh(x: FloatArray, y: FloatArray, z: FloatArray) -> FloatArray:
    high, deep, across = np.meshgrid(z, y, x, indexing="ij")
    return np.column_stack([across.ravel(), deep.ravel(), high.ravel()])


# ---- the farthest point ----


def _cells(size: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Middles of like cells that fill the zone's box, in the order of z, y, x, and their half sizes."""
    step = float(np.prod(size) / 4096) ** (1 / 3)
    counts = [min(max(ceil(float(span) / step), 1), 512) for span in size]
    half = size / np.array(counts) / 2
    x, y, z = ((2 * np.arange(count) + 1) * width for count, width in zip(counts, half, strict=True))
    return _mesh(x, y, z), half


def _nearest(points: FloatArray, positions: FloatArray) -> FloatArray:
    """Distance of each point from the nearest position [mm]."""
    nearest = np.full(len(points), np.inf)
    for position in positions:
        np.minimum(nearest, np.hypot.reduce(points - position, axis=1), out=nearest)
    return nearest


def _first_farthest(points: FloatArray, distance: FloatArray, slack: float) -> tuple[FloatArray, float]:
    farthest = np.flatnonzero(distance >= distance.max() - slack)
    keys = np.round(points[farthest] / slack)
    first = farthest[np.lexsort((keys[:, 0], keys[:, 1], keys[:, 2]))[0]]
    return points[first], float(distance[first])


# ---- words and checks ----


def _named(zone: WorkZone, positions: FloatArray) -> tuple[Place, ...]:
    counts: dict[str, int] = {}
    places = []
    for x, y, z in positions.tolist():
        name = place_name(zone, (x, y, z))
        counts[name] = counts.get(name, 0) + 1
        places.append(Place(f"{name}-{counts[name]}" if counts[name] > 1 else name, (x, y, z)))
    return tuple(places)


def place_name(zone: WorkZone, position_mm: tuple[float, float, float]) -> str:
    """Name a place by thirds of the zone: "front-left-lower", "back", "centre".

    A direction in whose middle third the place lies is not named; `position_mm` in [mm].
    """
    size = _size(zone)
    words = []
    for axis, (low, high) in ((1, ("front", "back")), (0, ("left", "right")), (2, ("lower", "upper"))):
        share = position_mm[axis] / size[axis]
        if share < 1 / 3 - _SAME_SHARE:
            words.append(low)
        elif share > 2 / 3 + _SAME_SHARE:
            words.append(high)
    if words:
        return "-".join(words)
    is_centre = all(abs(position_mm[axis] - size[axis] / 2) <= 1e-6 * size[axis] for axis in range(3))
    return "centre" if is_centre else "middle"


def _bare(zone: WorkZone, size: FloatArray, positions: FloatArray) -> tuple[str, ...]:
    """Corners and centre that no location stands for; a cylinder's rings turned to where fewest are bare."""
    centre = size / 2
    best: tuple[str, ...] | None = None
    for turn in np.radians(np.arange(0, 90, 2 if zone.shape == "cylinder" else 90)):
        corners = _corners(zone, size, np.zeros(3))
        if zone.shape == "cylinder":
            x, y = (corners[:, :2] - centre[:2]).T
            corners = np.column_stack(
                [
                    centre[0] + x * np.cos(turn) - y * np.sin(turn),
                    centre[1] + x * np.sin(turn) + y * np.cos(turn),
                    corners[:, 2],
                ]
            )
        targets = np.vstack([corners, centre])
        apart = np.abs(targets[:, None, :] - positions[None, :, :]) / size
        held: BoolArray = np.any(np.max(apart, axis=2) <= NEAR_SHARE + _SAME_SHARE, axis=1)
        bare = tuple(place_name(zone, (x, y, z)) for x, y, z in targets[~held].tolist())
        if best is None or len(bare) < len(best):
            best = bare
    return best or ()
