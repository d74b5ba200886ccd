"""Summaries of blocks of instants, from which the figures of a long recording can be re-performed."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from qualify.readings.model import BoolArray, FloatArray, IntArray


def block_starts(first: int, last: int, edges: list[int], at_most: int) -> IntArray:
    """Cut a stretch of instants into blocks of nearly equal length that don't straddle an edge.

    Parameters
    ----------
    first, last
        The stretch, inclusive.
    edges
        Instants at which a block has to begin; those outside the stretch are passed over.
    at_most
        About how many blocks there may be; edges can add one each.

    Returns
    -------
    (k,) int64
        The first instant of each block.
    """
    corners = sorted({first, last + 1, *(edge for edge in edges if first < edge <= last)})
    length = max(1, -(-(last - first + 1) // at_most))
    starts = [
        begin + np.arange(pieces) * (end - begin) // pieces
        for begin, end in pairwise(corners)
        for pieces in (-(-(end - begin) // length),)
    ]
    return np.concatenate(starts).astype(np.int64)


def block_sums(values: FloatArray, starts: IntArray) -> FloatArray:
    """Sum of each block; NaN are passed over.

    Parameters
    ----------
    values : (n,) float64
        The stretch's values; `starts` counts from its first.
    starts : (k,) int64
    """
    sums: FloatArray = np.add.reduceat(np.where(np.isnan(values), 0.0, values), starts)
    return sums


def block_high(values: FloatArray, starts: IntArray) -> FloatArray:
    """Largest value of each block; NaN where a block has none."""
    high: FloatArray = np.fmax.reduceat(values, starts)
    return high


def block_low(values: FloatArray, starts: IntArray) -> FloatArray:
    """Least value of each block; NaN where a block has none."""
    low: FloatArray = np.fmin.reduceat(values, starts)
    return low


@dataclass(frozen=True, slots=True, eq=False)
class LocationBlocks:
    """One location in each of k blocks; T is a reading [°C], S the set point, t − t₀ a time [s].

    Attributes
    ----------
    count
        Readings.
    low_c, high_c
        Least and largest reading [°C]; NaN where there is none.
    total_c, squares_c2, products_c_s
        Σ(T − S) [°C], Σ(T − S)² [°C²], Σ(t − t₀)(T − S) [°C·s].
    time_s, time_squares_s2
        Σ(t − t₀) [s] and Σ(t − t₀)² [s²] at the location's readings.
    """

    count: FloatArray
    low_c: FloatArray
    high_c: FloatArray
    total_c: FloatArray
    squares_c2: FloatArray
    products_c_s: FloatArray
    time_s: FloatArray
    time_squares_s2: FloatArray


def location_blocks(
    seconds: FloatArray, values_c: FloatArray, setpoint_c: float, origin_s: float, starts: IntArray
) -> LocationBlocks:
    """Summarise one location.

    Parameters
    ----------
    seconds, values_c : (n,) float64
        Instants [s] and corrected readings [°C], NaN where absent.
    setpoint_c, origin_s
        S [°C] and t₀ [s]: the sums are taken about them, so that they keep their digits.
    starts : (k,) int64
        First instant of each block.
    """
    there: BoolArray = ~np.isnan(values_c)
    apart = values_c - setpoint_c
    time = np.where(there, seconds - origin_s, np.nan)
    return LocationBlocks(
        count=block_sums(there.astype(np.float64), starts),
        low_c=block_low(values_c, starts),
        high_c=block_high(values_c, starts),
        total_c=block_sums(apart, starts),
        squares_c2=block_sums(apart * apart, starts),
        products_c_s=block_sums(time * apart, starts),
        time_s=block_sums(time, starts),
        time_squares_s2=block_sums(time * time, starts),
    )
