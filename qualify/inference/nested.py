"""Groups inside groups: how much scatter lies between runs, between zones of a run, and inside a zone."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from qualify.figures.absent import Absent, Maybe
from qualify.inference.variance_intervals import (
    Component,
    MeanSquare,
    component_of_difference,
    component_of_mean_square,
    satterthwaite,
)
from qualify.readings.model import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Nested:
    """Readings inside subgroups inside groups, analysed.

    Attributes
    ----------
    n, groups, subgroups
        Readings; groups and subgroups (over all groups) that have one.
    balanced
        Whether every group has as many subgroups, and every subgroup as many readings.
    mean_c
        Mean of all readings [°C].
    between_groups, between_subgroups, within_subgroups
        The three lines of the table.
    group_f, group_p_value, subgroup_f, subgroup_p_value
        Ratio of each line to the next [1] and the chance of one as large [1]; for groups only where
        balanced, else the denominator is composed of both.
    group, subgroup, within
        The components.
    confidence
        Of the intervals [1].
    """

    n: int
    groups: int
    subgroups: int
    balanced: bool
    mean_c: float
    between_groups: MeanSquare
    between_subgroups: MeanSquare
    within_subgroups: MeanSquare
    group_f: Maybe
    group_p_value: Maybe
    subgroup_f: Maybe
    subgroup_p_value: Maybe
    group: Component
    subgroup: Component
    within: Component
    confidence: float


def nested_components(values_c: FloatArray, confidence: float = 0.95) -> Nested | Absent:
    """Split scatter into that of groups, of subgroups inside them, and of readings inside those.

    y = μ + group + subgroup(group) + rest; components from expected mean squares, type I (S. R. Searle,
    Linear Models, 1971, chapter 11; cited from memory). Balanced data give the textbook's; for unbalanced
    ones the denominator of the groups' line is composed of the two lines below it (Satterthwaite), and
    the intervals are approximate.

    Parameters
    ----------
    values_c : (groups, subgroups, repeats) float64
        Readings [°C]; NaN where there is none.
    confidence
        Of the components' intervals [1].

    Raises
    ------
    ValueError
        If the array is not three-dimensional.
    """
    if values_c.ndim != 3:
        raise ValueError("groups, subgroups and repeats need three dimensions")
    there = np.isfinite(values_c)
    counts = there.sum(axis=2).astype(np.float64)
    cells, per_group = counts > 0, counts.sum(axis=1)
    a, b, n = int((per_group > 0).sum()), int(cells.sum()), int(counts.sum())
    if a < 2:
        return Absent("fewer than two groups with a reading; scatter between groups needs two")
    if b == a:
        return Absent("one subgroup a group; the two can't be told apart")
    if n == b:
        return Absent("one reading a subgroup; scatter inside a subgroup can't be told from that between")
    origin = float(np.median(values_c[there]))
    y = np.where(there, values_c - origin, 0.0)
    cell_mean = y.sum(axis=2) / np.maximum(counts, 1)
    group_mean = (counts * cell_mean).sum(axis=1) / np.maximum(per_group, 1)
    grand = float(per_group @ group_mean) / n
    within = _line(np.where(there, y - cell_mean[:, :, None], 0.0) ** 2, n - b)
    between_cells = _line(counts * (cell_mean - group_mean[:, None]) ** 2, b - a)
    between = _line(per_group * (group_mean - grand) ** 2, a - 1)
    inside = float(((counts**2).sum(axis=1) / np.maximum(per_group, 1)).sum())
    cell_times = (n - inside) / (b - a)
    cell_times_in_group = (inside - float((counts**2).sum()) / n) / (a - 1)
    group_times = (n - float(per_group @ per_group) / n) / (a - 1)
    share = cell_times_in_group / cell_times
    balanced = bool(np.ptp(counts[cells]) == 0 and np.ptp(cells.sum(axis=1)[per_group > 0]) == 0)
    lower = between_cells
    if not balanced:
        parts = [(share, between_cells), (1.0 - share, within)]
        value = max(sum(c * line.value_c2 for c, line in parts), 0.0)
        degrees = min(satterthwaite(parts), within.degrees + between_cells.degrees)
        lower = MeanSquare(sum_c2=value * degrees, degrees=degrees)
    f, p = _ratio(between, between_cells)
    if not balanced:
        f = p = Absent("subgroups or readings are missing: no exact ratio for groups")
    cell_f, cell_p = _ratio(between_cells, within)
    return Nested(
        n=n,
        groups=a,
        subgroups=b,
        balanced=balanced,
        mean_c=origin + grand,
        between_groups=between,
        between_subgroups=between_cells,
        within_subgroups=within,
        group_f=f,
        group_p_value=p,
        subgroup_f=cell_f,
        subgroup_p_value=cell_p,
        group=component_of_difference(between, lower, group_times, confidence),
        subgroup=component_of_difference(between_cells, within, cell_times, confidence),
        within=component_of_mean_square(within, confidence),
        confidence=confidence,
    )


def _line(squares: FloatArray, degrees: int) -> MeanSquare:
    return MeanSquare(sum_c2=float(squares.sum()), degrees=float(degrees))


def _ratio(upper: MeanSquare, lower: MeanSquare) -> tuple[Maybe, Maybe]:
    if not lower.sum_c2 > 0:
        absent = Absent("the line below has no scatter to compare with")
        return absent, absent
    from scipy.special import fdtrc

    f = upper.value_c2 / lower.value_c2
    return f, float(fdtrc(upper.degrees, lower.degrees, f))
