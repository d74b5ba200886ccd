"""Replicate runs of one set point at the same locations: all that can be said of the runs to come.

The sample is the run: n in every result is a number of runs.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from qualify.figures.absent import Absent
from qualify.inference.capability import Capability, capability
from qualify.inference.components import Components, run_components
from qualify.inference.control_limits import ControlLimits, control_limits
from qualify.inference.likelihood_components import LikelihoodComponents, likelihood_components
from qualify.inference.location_tolerance import LocationTolerance, location_tolerance
from qualify.inference.next_run import (
    NextRun,
    PassingRuns,
    RunsNeeded,
    next_run,
    passing_runs,
    runs_needed,
)
from qualify.inference.outlying import Outlying, SeveralOutlying, outlying_run, outlying_runs
from qualify.inference.run_figures import Side
from qualify.inference.run_stability import RunTrend, run_trend
from qualify.inference.tolerance import ToleranceInterval, tolerance_interval
from qualify.readings.model import BoolArray, FloatArray

SLACK = 1e-9
"""A figure equal to its limit keeps it; this much [°C] is the rounding of binary numbers."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FigureOverRuns:
    """One figure a run, such as the largest deviation of the chamber.

    Attributes
    ----------
    values_c : (k,) float64
        The figure of each run in order [°C]; NaN where a run has none.
    n
        Runs with the figure.
    limit_low_c, limit_high_c
        Limits [°C]; None where there is none on that side.
    side
        Which limits count: both, or one.
    tolerance, next_run, passing, runs_needed
        Limits for a share of future runs; the next run; what passing alone shows; runs wanted.
    outlying, several_outlying, trend, control, capability
        Whether the runs are alike, and how they fit the limits.
    """

    values_c: FloatArray
    n: int
    limit_low_c: float | None
    limit_high_c: float | None
    side: Side
    tolerance: ToleranceInterval | Absent
    next_run: NextRun | Absent
    passing: PassingRuns | Absent
    runs_needed: RunsNeeded
    outlying: Outlying | Absent
    several_outlying: SeveralOutlying | Absent
    trend: RunTrend | Absent
    control: ControlLimits | Absent
    capability: Capability | Absent


@dataclass(frozen=True, slots=True, kw_only=True)
class Replicates:
    """Statistics of replicate runs.

    Attributes
    ----------
    runs : tuple of str
        Names of the runs in their order.
    n
        How many there are.
    highest, lowest
        The chamber's largest and least deviation over the runs, the first against the upper limit, the
        second against the lower one.
    components, likelihood
        Scatter of the locations' figures by analysis of variance, and by restricted likelihood.
    locations
        Where each location will lie over future runs.
    passing
        Runs in which both deviations kept their limits.
    content, confidence
        Share of future runs, and confidence [1], in all parts.
    """

    runs: tuple[str, ...]
    n: int
    highest: FigureOverRuns
    lowest: FigureOverRuns
    components: Components | Absent
    likelihood: LikelihoodComponents | Absent
    locations: LocationTolerance | Absent
    passing: PassingRuns | Absent
    content: float
    confidence: float


def figure_over_runs(
    values_c: FloatArray,
    limit_low_c: float | None,
    limit_high_c: float | None,
    content: float = 0.95,
    confidence: float = 0.95,
) -> FigureOverRuns:
    """Say all that one figure a run allows.

    Parameters
    ----------
    values_c : (k,) float64
        The figure of each run in order [°C]; NaN where a run has none.
    limit_low_c, limit_high_c
        Limits [°C]; None where there is none on that side.
    content, confidence
        Share of future runs and confidence [1].
    """
    side: Side = "two-sided"
    if limit_low_c is None and limit_high_c is not None:
        side = "upper"
    elif limit_high_c is None and limit_low_c is not None:
        side = "lower"
    there = values_c[np.isfinite(values_c)]
    passing: PassingRuns | Absent = Absent("no limit is given for this figure")
    if limit_low_c is not None or limit_high_c is not None:
        passed = int(_keeps(there, limit_low_c, limit_high_c).sum())
        passing = passing_runs(passed, there.size, confidence)
    return FigureOverRuns(
        values_c=values_c,
        n=there.size,
        limit_low_c=limit_low_c,
        limit_high_c=limit_high_c,
        side=side,
        tolerance=tolerance_interval(values_c, content, confidence, side),
        next_run=next_run(values_c, limit_low_c, limit_high_c, confidence),
        passing=passing,
        runs_needed=runs_needed(values_c, limit_low_c, limit_high_c, content, confidence),
        outlying=outlying_run(values_c),
        several_outlying=outlying_runs(values_c),
        trend=run_trend(values_c, confidence=confidence),
        control=control_limits(values_c),
        capability=capability(values_c, limit_low_c, limit_high_c, confidence),
    )


def replicate_statistics(
    runs: Sequence[str],
    highest_c: FloatArray,
    lowest_c: FloatArray,
    table_c: FloatArray,
    limit_low_c: float | None,
    limit_high_c: float | None,
    content: float = 0.95,
    confidence: float = 0.95,
) -> Replicates:
    """Say all that replicate runs of one set point allow.

    Parameters
    ----------
    runs
        Names of the k runs in their order.
    highest_c, lowest_c : (k,) float64
        Largest and least deviation of the chamber in each run [°C]; NaN where a run has none.
    table_c : (m, k) float64
        One figure of each location (row) in each run (column), such as its mean deviation [°C]; NaN where
        there is none.
    limit_low_c, limit_high_c
        Limits of a deviation [°C]; None where there is none on that side.
    content, confidence
        Share of future runs and confidence [1].

    Raises
    ------
    ValueError
        If names and figures don't fit together, or two runs bear one name.
    """
    k = len(runs)
    if highest_c.shape != (k,) or lowest_c.shape != (k,) or table_c.ndim != 2 or table_c.shape[1] != k:
        raise ValueError(
            f"{k} runs are named; figures are {highest_c.shape}, {lowest_c.shape} and {table_c.shape}"
        )
    if len(set(runs)) != k:
        raise ValueError("two runs bear one name")
    judged = np.isfinite(highest_c) & np.isfinite(lowest_c)
    passing: PassingRuns | Absent = Absent("no limit is given")
    if limit_low_c is not None or limit_high_c is not None:
        kept = _keeps(highest_c[judged], None, limit_high_c) & _keeps(lowest_c[judged], limit_low_c, None)
        passing = passing_runs(int(kept.sum()), kept.size, confidence)
    return Replicates(
        runs=tuple(runs),
        n=k,
        highest=figure_over_runs(highest_c, None, limit_high_c, content, confidence),
        lowest=figure_over_runs(lowest_c, limit_low_c, None, content, confidence),
        components=run_components(table_c, confidence),
        likelihood=likelihood_components(table_c, confidence),
        locations=location_tolerance(table_c, content, confidence),
        passing=passing,
        content=content,
        confidence=confidence,
    )


def _keeps(values: FloatArray, low: float | None, high: float | None) -> BoolArray:
    kept = np.ones(values.size, dtype=np.bool_)
    if low is not None:
        kept &= values >= low - SLACK
    if high is not None:
        kept &= values <= high + SLACK
    return kept
