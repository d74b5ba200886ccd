"""Lines through readings: thinned without losing an extreme, broken where readings are absent."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from qualify.readings.model import FloatArray

if TYPE_CHECKING:
    from matplotlib.axes import Axes

COLUMNS = 1100
"""Columns of dots that a plot has at most."""
THICK = 4
"""Readings a column of dots from which a line is thinned."""
LONGER = 1.5
"""A step of more than so many usual steps breaks the line."""
VISIBLE = 1.0 / 200.0
"""A step shorter than this part of the plot's width does not break it: nobody would see the gap."""


def thin(seconds: FloatArray, values: FloatArray, columns: int = COLUMNS) -> tuple[FloatArray, FloatArray]:
    """Reduce a line to the least and greatest reading of each column of dots.

    Parameters
    ----------
    seconds : (n,) float64
        Rising times [s].
    values : (n,) float64
        Readings, none of them NaN.
    columns
        Columns of dots.

    Returns
    -------
    seconds, values : (k,) float64
        As given where there are few; else two points a column that has readings. Every column's
        extremes are kept, so the line covers the same dots as before.
    """
    if seconds.size <= THICK * columns:
        return seconds, values
    edges = np.linspace(seconds[0], seconds[-1], columns + 1)[1:-1]
    firsts = np.unique(np.concatenate([[0], np.searchsorted(seconds, edges)]))
    lasts = np.append(firsts[1:], seconds.size) - 1
    low = np.minimum.reduceat(values, firsts)
    high = np.maximum.reduceat(values, firsts)
    pairs = np.stack([low, high], axis=1)
    pairs[1::2] = pairs[1::2, ::-1]  # up, then down: neighbouring columns join at like ends
    times = np.stack([seconds[firsts], seconds[lasts]], axis=1)
    return times.ravel(), pairs.ravel()


def break_line(
    seconds: FloatArray, values: FloatArray, shortest_s: float
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Break a location's line where readings are absent for longer than usual.

    Parameters
    ----------
    seconds, values : (n,) float64
        Times [s] and readings of one location; NaN where there is none.
    shortest_s
        The shortest step [s] that could be seen as a gap.

    Returns
    -------
    seconds, values : (k,) float64
        The line, with NaN at each break; thinned between breaks where it is long.
    lone_seconds, lone_values : (j,) float64
        Readings without a neighbour, which no line would show.
    """
    there = ~np.isnan(values)
    times, heights = seconds[there], values[there]
    if times.size < 2:
        return times, heights, times, heights
    steps = np.diff(times)
    gap = steps > max(LONGER * float(np.median(steps)), shortest_s)
    edge = np.concatenate([[True], gap, [True]])
    lone = edge[:-1] & edge[1:]
    pieces = zip(
        np.split(times, np.flatnonzero(gap) + 1), np.split(heights, np.flatnonzero(gap) + 1), strict=True
    )
    share = max(1, int(np.count_nonzero(gap)) + 1)
    line_times: list[FloatArray] = []
    line_values: list[FloatArray] = []
    span = times[-1] - times[0]
    for piece_times, piece_values in pieces:
        part = (piece_times[-1] - piece_times[0]) / span if share > 1 else 1.0
        thinned_times, thinned_values = thin(piece_times, piece_values, max(1, round(COLUMNS * part)))
        line_times += [thinned_times, thinned_times[-1:]]
        line_values += [thinned_values, np.array([np.nan])]
    return np.concatenate(line_times), np.concatenate(line_values), times[lone], heights[lone]


def draw_trace(axes: Axes, seconds: FloatArray, values: FloatArray, span_s: float, **style: Any) -> None:
    """Draw one location's readings over a plot that spans `span_s` [s]."""
    times, heights, lone_times, lone_values = break_line(seconds, values, span_s * VISIBLE)
    axes.plot(times, heights, scalex=False, scaley=False, **style)
    if lone_times.size:
        axes.plot(
            lone_times,
            lone_values,
            linestyle="none",
            marker=".",
            markersize=2.5,
            color=style.get("color"),
            zorder=style.get("zorder", 2.0),
            scalex=False,
            scaley=False,
        )
