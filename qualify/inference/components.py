"""What scatters from run to run: location, run and what is left, from one figure a location and run.

y_ij = μ + location_i + run_j + rest_ij. A run's part moves every location alike (the controller, the
mains, the room); the rest moves one location in one run. Locations are places that stay; their component
only says how far apart they lie. Estimates here come from expected mean squares; `likelihood_components`
holds the second opinion.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from qualify.figures.absent import Absent, Maybe
from qualify.inference.variance_intervals import (
    MaybeComponent,
    MeanSquare,
    component_of_difference,
    component_of_mean_square,
    component_of_sum,
)
from qualify.readings.model import BoolArray, FloatArray

BALANCED = "analysis of variance, expected mean squares"
UNBALANCED = "analysis of variance of unbalanced data, Henderson's method III"
ROUNDING = 1e-12
"""Scatter below this share of the largest figure is the rounding of binary numbers."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Lines:
    """The table behind the components.

    Attributes
    ----------
    run, location
        Each with the other one's effect taken out first.
    residual
        What is left.
    run_times, location_times
        How often each line's mean square holds its component [1]; numbers of locations and runs if balanced.
    """

    run: MeanSquare
    location: MeanSquare
    residual: MeanSquare
    run_times: float
    location_times: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Components:
    """Components of one figure over replicate runs.

    Attributes
    ----------
    n
        Figures, one a location and run.
    locations, runs
        Those with at least one figure.
    missing
        Figures missing among them; where there are any, intervals are approximate.
    mean_c
        Mean of all figures [°C].
    run, location, residual
        The components.
    run_to_run
        Run and residual together: how one location scatters from run to run.
    run_p_value, location_p_value
        Chance [1] of an F ratio as large where the component is 0.
    lines
        The table of mean squares, or why there is none.
    method, confidence
        Of estimates in words, and of intervals [1].
    """

    n: int
    locations: int
    runs: int
    missing: int
    mean_c: float
    run: MaybeComponent
    location: MaybeComponent
    residual: MaybeComponent
    run_to_run: MaybeComponent
    run_p_value: Maybe
    location_p_value: Maybe
    lines: Lines | Absent
    method: str
    confidence: float


def used_part(table_c: FloatArray) -> FloatArray:
    """Leave out locations and runs without any figure.

    Raises
    ------
    ValueError
        If the table is not two-dimensional.
    """
    if table_c.ndim != 2:
        raise ValueError("locations and runs need a table of two dimensions")
    there: BoolArray = np.isfinite(table_c)
    return np.where(there, table_c, np.nan)[np.ix_(there.any(axis=1), there.any(axis=0))]


def run_components(table_c: FloatArray, confidence: float = 0.95) -> Components | Absent:
    """Split the scatter of one figure over locations and runs.

    Balanced: σ_run² = (S_run² − S_rest²)/m, σ_location² = (S_location² − S_rest²)/k with m locations and k
    runs. With figures missing: each sum of squares after the other factor, and the trace of its quadratic
    form in place of m or k (C. R. Henderson, Estimation of variance and covariance components, Biometrics
    9, 1953, 226–252, method III; cited from memory). Intervals: `variance_intervals`; with figures missing
    approximate, as R. K. Burdick, F. A. Graybill, Confidence Intervals on Variance Components, 1992, use
    them; cited from memory.

    Parameters
    ----------
    table_c : (m, k) float64
        One figure [°C] of each location (row) in each run (column); NaN where there is none.
    confidence
        Of each interval [1].
    """
    table = used_part(table_c)
    there = np.isfinite(table)
    n, (m, k) = int(there.sum()), table.shape
    if n == 0:
        return Absent("no figure of any location in any run")
    lines = _one_location(table) if m == 1 and k > 1 else mean_squares(table)
    run: MaybeComponent
    location: MaybeComponent
    residual: MaybeComponent
    both: MaybeComponent
    run_p: Maybe
    location_p: Maybe
    if isinstance(lines, Absent):
        run = location = residual = both = run_p = location_p = lines
    elif isinstance(lines, MeanSquare):
        run = residual = run_p = Absent(
            "one location: what moves a run can't be told from what moves the location"
        )
        location = location_p = Absent("one location: there are no others to lie apart from")
        both = component_of_sum([(1.0, lines)], confidence)
        lines = run
    else:
        run = component_of_difference(lines.run, lines.residual, lines.run_times, confidence)
        location = component_of_difference(lines.location, lines.residual, lines.location_times, confidence)
        residual = component_of_mean_square(lines.residual, confidence)
        both = component_of_sum(run_to_run_parts(lines), confidence)
        run_p, location_p = _chance(lines.run, lines.residual), _chance(lines.location, lines.residual)
    return Components(
        n=n,
        locations=m,
        runs=k,
        missing=m * k - n,
        mean_c=float(np.nanmean(table)),
        run=run,
        location=location,
        residual=residual,
        run_to_run=both,
        run_p_value=run_p,
        location_p_value=location_p,
        lines=lines,
        method=BALANCED if n == m * k else UNBALANCED,
        confidence=confidence,
    )


def run_to_run_parts(lines: Lines) -> list[tuple[float, MeanSquare]]:
    """Weights and mean squares of σ_run² + σ_rest² = S_run²/h + (1 − 1/h)·S_rest²."""
    share = 1.0 / lines.run_times
    return [(share, lines.run), (1.0 - share, lines.residual)]


def mean_squares(table: FloatArray) -> Lines | Absent:
    """Sums of squares of runs and of locations, each after the other, and of what is left."""
    there = np.isfinite(table)
    n, (m, k) = int(there.sum()), table.shape
    if k < 2:
        return Absent("one run: nothing says how the next one would differ")
    if n - m - k + 1 < 1:
        return Absent("too few figures to tell runs, locations and the rest apart")
    y = np.where(there, table - np.nanmedian(table), 0.0)
    scale = ROUNDING * float(np.nanmax(np.abs(table)))
    run_sum, run_trace, run_effect = _after_the_other(y, there)
    location_sum, location_trace, _ = _after_the_other(y.T, there.T)
    if run_effect is None:
        return Absent("some runs share no location with the others; they can't be compared")
    rest = np.where(there, y - run_effect, 0.0)
    rest = np.where(there, rest - (rest.sum(axis=1) / there.sum(axis=1))[:, None], 0.0)
    residual = float((rest**2).sum())
    held = n * scale**2
    return Lines(
        run=_line(run_sum, k - 1, held),
        location=_line(location_sum, m - 1, held),
        residual=_line(residual, n - m - k + 1, held),
        run_times=run_trace / (k - 1),
        location_times=location_trace / (m - 1),
    )


def _after_the_other(y: FloatArray, there: BoolArray) -> tuple[float, float, FloatArray | None]:
    """Sum of squares of columns after rows, trace of its form, effects (None where not all hang together)."""
    counts = there.astype(np.float64)
    per_row = counts.sum(axis=1)
    form = np.diag(counts.sum(axis=0)) - (counts.T / per_row) @ counts
    right = y.sum(axis=0) - (counts.T / per_row) @ y.sum(axis=1)
    effect, _, rank, _ = np.linalg.lstsq(form, right, rcond=1e-10)
    return float(right @ effect), float(np.trace(form)), effect if rank == form.shape[0] - 1 else None


def _one_location(table: FloatArray) -> MeanSquare:
    values = table[0] - np.median(table[0])
    scale = ROUNDING * float(np.abs(table).max())
    return _line(float(((values - values.mean()) ** 2).sum()), values.size - 1, values.size * scale**2)


def _line(sum_c2: float, degrees: int, held: float) -> MeanSquare:
    return MeanSquare(sum_c2=sum_c2 if sum_c2 > held else 0.0, degrees=float(degrees))


def _chance(upper: MeanSquare, lower: MeanSquare) -> Maybe:
    from scipy.special import fdtrc

    if lower.sum_c2 > 0:
        return float(fdtrc(upper.degrees, lower.degrees, upper.value_c2 / lower.value_c2))
    return Absent("nothing is left to compare with: the figures do not scatter beyond runs and locations")
