"""A logger's readings at another logger's instants: on the straight line between its own two neighbours.

This is the only place between file and readings where a number is made that no logger recorded. It is done
only where a person told how far apart the two neighbours may be, and every such reading is marked.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from qualify.readings.model import BoolArray, FloatArray, IntArray
from qualify.readings.strands import NANOSECONDS, SAME_INSTANT


@dataclass(frozen=True, slots=True)
class Interpolated:
    """Readings at instants that are not the logger's own.

    Attributes
    ----------
    values_c : (q, m) float64
        Readings [°C]; NaN where the line could not be drawn.
    longest_s
        The longest gap bridged [s]; 0 where none was.
    """

    values_c: FloatArray
    longest_s: float


def interpolate(own: IntArray, raw_c: FloatArray, wanted: IntArray, up_to_s: float) -> Interpolated:
    """Readings on the line between a channel's last reading before and first reading after an instant.

    Nothing is carried beyond a channel's first and last reading, and no line is drawn between two readings
    further apart than `up_to_s`. A line may pass a row in which the channel has no reading, if the readings
    about it are near enough; that row itself is not among the wanted instants and stays without.

    Parameters
    ----------
    own : (n,) int64
        The logger's own instants [ns], rising.
    raw_c : (n, m) float64
        Its readings [°C]; NaN where there is none.
    wanted : (q,) int64
        Instants [ns] at which readings are wanted, none of them its own.
    up_to_s
        How far apart [s] the two readings may be.
    """
    values = np.full((len(wanted), raw_c.shape[1]), np.nan)
    limit = up_to_s * NANOSECONDS + SAME_INSTANT
    longest = 0
    for column in range(raw_c.shape[1]):
        there = np.flatnonzero(np.isfinite(raw_c[:, column]))
        if len(there) < 2:
            continue
        at, known = own[there], raw_c[there, column]
        after = np.searchsorted(at, wanted)
        inside = np.flatnonzero((after > 0) & (after < len(at)))
        after = after[inside]
        gap = at[after] - at[after - 1]
        near = gap <= limit
        inside, after, gap = inside[near], after[near], gap[near]
        if not len(inside):
            continue
        first, last = known[after - 1], known[after]
        line = first + (last - first) * ((wanted[inside] - at[after - 1]) / gap)
        # Rounding must not lift a reading of a flat stretch above what was recorded.
        values[inside, column] = np.clip(line, np.minimum(first, last), np.maximum(first, last))
        longest = max(longest, int(gap.max()))
    return Interpolated(values, longest / NANOSECONDS)


def resting_on(doubted: BoolArray, raw_c: FloatArray, interpolated: BoolArray) -> BoolArray:
    """Which interpolated readings have a doubted reading at one of their two ends.

    Parameters
    ----------
    doubted : (n, m) bool
        Recorded readings that are doubted or left out.
    raw_c : (n, m) float64
        All readings [°C], as recorded and interpolated; NaN where there is none.
    interpolated : (n, m) bool
        Which of them were interpolated.
    """
    found = np.zeros(raw_c.shape, dtype=bool)
    for column in np.flatnonzero((doubted & ~interpolated).any(axis=0)).tolist():
        own = np.flatnonzero(np.isfinite(raw_c[:, column]) & ~interpolated[:, column])
        made = np.flatnonzero(interpolated[:, column])
        after = np.searchsorted(own, made)
        ends = doubted[own, column]
        found[made, column] = ends[after - 1] | ends[after]
    return found
