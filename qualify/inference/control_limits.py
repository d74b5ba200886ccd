"""Control limits of single runs: individuals and moving range."""

from __future__ import annotations

from dataclasses import dataclass
from math import pi, sqrt

import numpy as np

from qualify.figures.absent import Absent
from qualify.inference.run_figures import run_figures
from qualify.readings.model import FloatArray

LEAST_RUNS = 8
MEAN_OF_RANGE = 2.0 / sqrt(pi)
"""d2 of two: expectation of |x₁ − x₂| in standard deviations, 1.128."""
SD_OF_RANGE = sqrt(2.0 - 4.0 / pi)
"""d3 of two: its standard deviation, 0.853."""
METHOD = "individuals and moving range of two, three standard deviations"


@dataclass(frozen=True, slots=True, kw_only=True)
class ControlLimits:
    """Limits within which single runs scatter as long as nothing changes.

    Attributes
    ----------
    n
        Runs with a figure.
    mean_c, low_c, high_c
        Centre line and limits of a run's figure [°C].
    range_mean_c, range_high_c
        Mean of the differences of neighbouring runs, and their upper limit [°C]; the lower one is 0.
    short_term_sd_c
        Standard deviation from those differences [°C].
    beyond : tuple of int
        Runs outside the limits, as indices into the figures handed in.
    ranges_beyond : tuple of int
        Runs whose step from the run before is beyond its limit.
    method, note
        How, and what to know of it.
    """

    n: int
    mean_c: float
    low_c: float
    high_c: float
    range_mean_c: float
    range_high_c: float
    short_term_sd_c: float
    beyond: tuple[int, ...]
    ranges_beyond: tuple[int, ...]
    method: str
    note: str


def control_limits(values_c: FloatArray) -> ControlLimits | Absent:
    """Give limits of single runs: mean ± 3·R̄/d₂, and (1 + 3·d₃/d₂)·R̄ for the moving range.

    NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2; cited from memory. d₂ and d₃ of two are
    2/√π and √(2 − 4/π).

    Parameters
    ----------
    values_c : (k,) float64
        One figure a run in their order [°C]; NaN where a run has none, which is passed over.
    """
    runs = run_figures(values_c, LEAST_RUNS)
    if isinstance(runs, Absent):
        return runs
    index = np.flatnonzero(np.isfinite(values_c))
    steps = np.abs(np.diff(runs.values_c))
    step = float(steps.mean())
    short = step / MEAN_OF_RANGE
    low, high = runs.mean_c - 3 * short, runs.mean_c + 3 * short
    top = (1.0 + 3.0 * SD_OF_RANGE / MEAN_OF_RANGE) * step
    outside = (runs.values_c < low) | (runs.values_c > high)
    return ControlLimits(
        n=runs.n,
        mean_c=runs.mean_c,
        low_c=low,
        high_c=high,
        range_mean_c=step,
        range_high_c=top,
        short_term_sd_c=short,
        beyond=tuple(int(run) for run in index[outside]),
        ranges_beyond=tuple(int(run) for run in index[1:][steps > top]),
        method=METHOD,
        note="" if runs.n >= 20 else f"limits from {runs.n} runs are provisional",
    )


def short_term_degrees(n: int) -> float:
    """Degrees of freedom [1] of the standard deviation from n − 1 moving ranges.

    1/(2·c²) with c the coefficient of variation of R̄: differences of neighbours share a run, so that they
    are correlated by (4/π)·(√3/2 + π/12) − 4/π in units of the variance of a run.
    """
    variance, shared = 2.0 - 4.0 / pi, 4.0 / pi * (sqrt(3.0) / 2 + pi / 12) - 4.0 / pi
    of_mean = ((n - 1) * variance + 2 * (n - 2) * shared) / (n - 1) ** 2
    return MEAN_OF_RANGE**2 / (2.0 * of_mean)
