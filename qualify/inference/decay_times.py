"""Times of a fitted decay: until it comes to a level, and measured ones counted from its start."""

from __future__ import annotations

from math import exp, log, sqrt

import numpy as np

from qualify.figures.absent import Absent, Maybe
from qualify.figures.approach import COVERAGE_FACTOR, Crossing
from qualify.inference.decay import Decay, Range

_LONGEST = 60.0
"""After so many time constants nothing is left of a decay in 64-bit numbers."""


def time_to(
    decay: Decay,
    level: float,
    *,
    shared_u: float = 0.0,
    floor_moved_by: float = 0.0,
    floor_moved_u: float = 0.0,
) -> Range | Absent:
    """Time from the start until the place itself comes to a level, with a 95 % interval [s].

    Closed form τ·ln((start − floor)/(level − floor)); the interval lies where the band about the curve
    crosses the level (inverse prediction: Draper & Smith, Applied Regression Analysis, 3rd ed., section 3.2;
    cited from memory). Its high end is absent where the band never comes down to the level.

    Parameters
    ----------
    decay
        The fitted decay.
    level
        The level, in the readings' unit.
    shared_u
        Standard uncertainty that all readings share (calibration), in their unit; taken with k = 2.
    floor_moved_by, floor_moved_u
        How much higher the floor would be than the recorded one, and its standard uncertainty, in the
        readings' unit.
    """
    from scipy.optimize import brentq

    start, tau = decay.start.value, decay.time_constant_s.value
    floor = decay.floor.value + floor_moved_by
    if level >= start:
        return Absent(f"{level:.6g} is met from the start ({start:.6g})")
    if level <= floor:
        return Absent(f"{level:.6g} lies at or below the floor of {floor:.6g}: it would never be reached")
    value = tau * log((start - floor) / (level - floor))

    def above(after_s: float, side: float) -> float:
        share = exp(-after_s / tau)
        moved = (1.0 - share) * floor_moved_u
        random = decay.fit.quantile * decay.standard_error_at(after_s)
        half = sqrt(random**2 + COVERAGE_FACTOR**2 * (shared_u**2 + moved**2))
        return floor + (start - floor) * share + side * half - level

    low: Maybe = 0.0
    if above(0.0, -1.0) > 0:
        low = float(brentq(above, 0.0, value, args=(-1.0,)))
    high: Maybe = Absent(f"{level:.6g} is not surely above the floor, so that no time is long enough")
    # The band widens where the record ends: the first crossing after the best estimate is looked for.
    later = value + tau * np.concatenate((np.linspace(0.0, 4.0, 81)[1:], np.linspace(4.0, _LONGEST, 57)[1:]))
    below = np.flatnonzero(np.array([above(float(moment), 1.0) for moment in later]) <= 0)
    if below.size:
        before = value if below[0] == 0 else float(later[below[0] - 1])
        high = float(brentq(above, before, float(later[below[0]]), args=(1.0,)))
    return Range(value=value, low=low, high=high)


def since(crossed: Crossing | Absent, start_s: float) -> tuple[Maybe, Maybe, Maybe]:
    """Time of a crossing from a start, and what it lies between [s]: (value, low, high)."""
    if isinstance(crossed, Absent):
        return crossed, crossed, crossed
    return (
        crossed.at_s - start_s,
        max(0.0, crossed.least_s - start_s),
        crossed.most_s - start_s,
    )
