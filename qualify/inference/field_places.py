"""Where the field of a work zone is watched, where it is estimated, and which sets of places can't tell.

Coordinates inside are parts of the zone's sides, 0 to 1 from the left front lower corner as seen through
the open door: x to the right, y to the back, z up.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product
from math import isfinite, pi

import numpy as np

from qualify.figures.absent import Absent
from qualify.readings.model import BoolArray, FloatArray

LEAST_LOCATIONS = 15
"""A trilinear field has eight coefficients; seven readings more are the fewest that judge it."""
LEAST_ELSEWHERE = 6
"""So many locations must stand neither at a corner nor at the centre: fifteen less those nine."""
NEAR_SHARE = 0.25
"""A location stands for a corner, or the centre, within this share of each side: our own rule, the one by
which a plan's places are judged."""
FLAT_SHARE = 0.02
"""Locations whose root mean square distance from some plane is less, in parts of the zone, lie in it."""
OUTSIDE_SHARE = 1e-6
GRID_POINTS = (7, 7, 5)
"""Of the grid to print, and in a box of the places where the extremes are sought."""
CYLINDER_RINGS = ((0.0, 1), (1 / 3, 8), (2 / 3, 16), (1.0, 24))
"""Share of the radius, and how many places on that ring."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldZone:
    """Box, or upright cylinder in its box [mm]."""

    width_mm: float
    depth_mm: float
    height_mm: float
    is_cylinder: bool = False

    @property
    def size(self) -> FloatArray:
        """Its three sides [mm]."""
        return np.array([self.width_mm, self.depth_mm, self.height_mm], dtype=np.float64)

    def inside(self, parts: FloatArray) -> BoolArray:
        """Whether places (n, 3), in parts of the sides, lie in the zone."""
        held = ((parts >= -OUTSIDE_SHARE) & (parts <= 1.0 + OUTSIDE_SHARE)).all(axis=1)
        if self.is_cylinder:
            x, y = (parts[:, :2] - 0.5).T
            held &= np.hypot(x, y) <= 0.5 + OUTSIDE_SHARE
        return np.asarray(held)


def search_places(zone: FieldZone) -> FloatArray:
    """Places (k, 3) in parts of the sides among which the extremes are sought; walls and corners included."""
    levels = np.linspace(0.0, 1.0, GRID_POINTS[2])
    if not zone.is_cylinder:
        axes = [np.linspace(0.0, 1.0, points) for points in GRID_POINTS]
        return np.array(list(product(*axes)))
    rounds = [
        (0.5 + 0.5 * radius * np.cos(turn), 0.5 + 0.5 * radius * np.sin(turn))
        for radius, count in CYLINDER_RINGS
        for turn in 2 * pi * np.arange(count) / count
    ]
    return np.array([(x, y, z) for z in levels for x, y in rounds])


def shown_axes() -> tuple[FloatArray, FloatArray, FloatArray]:
    """Axes of the grid to print, in parts of the sides."""
    x, y, z = (np.linspace(0.0, 1.0, points) for points in GRID_POINTS)
    return x, y, z


def marked_places(zone: FieldZone) -> FloatArray:
    """Corners (of a cylinder: four places on its rim below and above) and centre, (9, 3) in parts."""
    low_high = (0.0, 1.0)
    if zone.is_cylinder:
        rim = ((0.5, 0.0), (1.0, 0.5), (0.5, 1.0), (0.0, 0.5))
        corners = [(x, y, z) for z in low_high for x, y in rim]
    else:
        corners = [(x, y, z) for z in low_high for y in low_high for x in low_high]
    return np.array([*corners, (0.5, 0.5, 0.5)])


def why_not(parts: FloatArray, zone: FieldZone) -> Absent | None:
    """Say why watched places (n, 3), in parts of the sides, can't carry an estimate of the whole zone.

    Returns
    -------
    Absent or None
        None where they can.
    """
    n = parts.shape[0]
    if n < LEAST_LOCATIONS:
        return Absent(
            f"{n} locations with a mean inside the work zone; below {LEAST_LOCATIONS} a field through them "
            "can't be judged"
        )
    apart = np.unique(np.round(parts, 6), axis=0).shape[0]
    if apart < LEAST_LOCATIONS:
        return Absent(f"the locations stand at only {apart} different places; {LEAST_LOCATIONS} are needed")
    middle = parts - parts.mean(axis=0)
    if np.linalg.svd(middle, compute_uv=False)[-1] / np.sqrt(n) < FLAT_SHARE:
        return Absent("all locations lie in one plane: nothing is known of the field across it")
    distance = np.abs(parts[:, None, :] - marked_places(zone)[None, :, :])
    marked = (distance.max(axis=2) <= NEAR_SHARE).any(axis=1)
    if (~marked).sum() < LEAST_ELSEWHERE:
        return Absent(
            "the locations stand at the corners and the centre only: a field through them has its extremes "
            "at the corners, whatever the oven does between"
        )
    return None


def bad_zone(zone: FieldZone) -> Absent | None:
    """Say why the zone's size can't be meant; None where it can."""
    if all(isfinite(side) and side > 0.0 for side in zone.size):
        return None
    return Absent("the work zone's size is not known")
