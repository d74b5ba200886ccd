"""The next run: where its figure will lie, whether it keeps a limit, and how many runs show how much."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, log, sqrt

import numpy as np

from qualify.figures.absent import Absent, Maybe
from qualify.inference.normal_bounds import share_bound
from qualify.inference.run_figures import RunFigures, run_figures
from qualify.inference.tolerance import least_factor, one_sided_factor, two_sided_factor
from qualify.inference.variance_intervals import checked_share
from qualify.readings.model import FloatArray

PREDICTION = "Student's t, mean ± t·s·√(1 + 1/n)"
EXACT_SHARE = "noncentral t, exact for a normal distribution; estimate median-unbiased"
TWO_LIMITS_SHARE = (
    "noncentral t for all that lies outside, widened to the bound of a mean midway between the limits; holds "
    "the truth at least as often as stated"
)
MOST_RUNS = 1000


@dataclass(frozen=True, slots=True, kw_only=True)
class NextRun:
    """What the runs so far say of the next one.

    Attributes
    ----------
    n, mean_c, sd_c
        Runs, their mean and standard deviation [°C].
    low_c, high_c
        The next run's figure lies here [°C] with this confidence.
    limit_low_c, limit_high_c
        The limits [°C]; None where there is none on that side.
    chance
        Predictive probability [1] that the next run keeps the limits: the confidence of the prediction
        interval that just reaches them.
    share, share_low, share_high
        Share of all future runs that keep the limits [1]: estimate and two-sided interval.
    share_at_least
        One-sided lower bound [1] of that share, of this confidence.
    confidence
        Of the intervals and of the bound [1].
    method, share_method, note
        How, and what to know of it.
    """

    n: int
    mean_c: float
    sd_c: float
    low_c: float
    high_c: float
    limit_low_c: float | None
    limit_high_c: float | None
    chance: Maybe
    share: Maybe
    share_low: Maybe
    share_high: Maybe
    share_at_least: Maybe
    confidence: float
    method: str
    share_method: str
    note: str


def next_run(
    values_c: FloatArray,
    limit_low_c: float | None,
    limit_high_c: float | None,
    confidence: float = 0.95,
) -> NextRun | Absent:
    """Predict the next run's figure and whether it keeps its limits.

    One limit: the share inside is Φ((limit − μ)/σ), with the exact interval of noncentral t (D. B. Owen,
    Technometrics 10, 1968, 445–478; cited from memory). Two limits: `normal_bounds`.

    Parameters
    ----------
    values_c : (k,) float64
        One figure a run [°C]; NaN where a run has none.
    limit_low_c, limit_high_c
        Limits [°C]; None where there is none.
    confidence
        Of intervals and bound [1].

    Raises
    ------
    ValueError
        If the limits are turned round, or the confidence is not between 0 and 1.
    """
    from scipy.special import stdtr, stdtrit

    checked_share(confidence, "confidence")
    if limit_low_c is not None and limit_high_c is not None and limit_low_c >= limit_high_c:
        raise ValueError(f"the lower limit {limit_low_c} is not below the upper limit {limit_high_c}")
    runs = run_figures(values_c)
    if isinstance(runs, Absent):
        return runs
    nu = runs.n - 1
    spread = runs.sd_c * sqrt(1.0 + 1.0 / runs.n)
    half = float(stdtrit(nu, (1.0 + confidence) / 2)) * spread
    chance: Maybe
    found: list[Maybe]
    if limit_low_c is None and limit_high_c is None:
        chance = Absent("no limit is given for this figure")
        found, method = [chance] * 4, ""
    else:
        outside = 0.0
        if limit_high_c is not None:
            outside += float(stdtr(nu, (runs.mean_c - limit_high_c) / spread))
        if limit_low_c is not None:
            outside += float(stdtr(nu, (limit_low_c - runs.mean_c) / spread))
        chance = 1.0 - outside
        found, method = _share(runs, limit_low_c, limit_high_c, confidence)
    return NextRun(
        n=runs.n,
        mean_c=runs.mean_c,
        sd_c=runs.sd_c,
        low_c=runs.mean_c - half,
        high_c=runs.mean_c + half,
        limit_low_c=limit_low_c,
        limit_high_c=limit_high_c,
        chance=chance,
        share=found[0],
        share_low=found[1],
        share_high=found[2],
        share_at_least=found[3],
        confidence=confidence,
        method=PREDICTION,
        share_method=method,
        note=runs.note(),
    )


def _share(
    runs: RunFigures, low: float | None, high: float | None, confidence: float
) -> tuple[list[Maybe], str]:
    """Share inside the limits: estimate, two-sided interval, lower bound; and the method."""
    tail = (1.0 - confidence) / 2
    above = None if high is None else (high - runs.mean_c) / runs.sd_c
    below = None if low is None else (runs.mean_c - low) / runs.sd_c
    wanted = (0.5, tail, 1.0 - tail, 1.0 - confidence)
    found: list[Maybe] = [share_bound(above, below, runs.n, runs.n - 1.0, chance) for chance in wanted]
    return found, EXACT_SHARE if above is None or below is None else TWO_LIMITS_SHARE


@dataclass(frozen=True, slots=True, kw_only=True)
class PassingRuns:
    """What passed and failed runs alone show of the share that would pass.

    Attributes
    ----------
    passed, n
        Runs that passed, of all.
    share, low, high
        Share passed [1] and its two-sided interval.
    at_least
        One-sided lower bound [1].
    confidence, method, note
        Of interval and bound [1], how, and what to know of it.
    """

    passed: int
    n: int
    share: float
    low: float
    high: float
    at_least: float
    confidence: float
    method: str = "Clopper–Pearson, exact for a constant chance"
    note: str = "holds the truth at least as often as stated; with few runs far more often"


def passing_runs(passed: int, n: int, confidence: float = 0.95) -> PassingRuns | Absent:
    """Say what share of like runs would pass, from passes and fails alone.

    C. J. Clopper, E. S. Pearson, Biometrika 26, 1934, 404–413; cited from memory. Three of three: at least
    0.05^(1/3) = 0.368 with a confidence of 95 %.

    Parameters
    ----------
    passed, n
        Runs that passed, of how many.
    confidence
        Of the interval and of the bound [1].

    Raises
    ------
    ValueError
        If more passed than there were, or the confidence is not between 0 and 1.
    """
    from scipy.special import betaincinv

    checked_share(confidence, "confidence")
    if not 0 <= passed <= n:
        raise ValueError(f"{passed} of {n} runs passed")
    if n == 0:
        return Absent("no run was judged")

    def lower(tail: float) -> float:
        return float(betaincinv(passed, n - passed + 1, tail)) if passed else 0.0

    tail = (1.0 - confidence) / 2
    return PassingRuns(
        passed=passed,
        n=n,
        share=passed / n,
        low=lower(tail),
        high=float(betaincinv(passed + 1, n - passed, 1.0 - tail)) if passed < n else 1.0,
        at_least=lower(1.0 - confidence),
        confidence=confidence,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class RunsNeeded:
    """How many runs would show that a share of all runs keeps the limits.

    Attributes
    ----------
    content, confidence
        The share [1], and the confidence [1].
    passing_alone
        Runs that must all pass where nothing but pass and fail is used.
    by_scatter
        Least number of runs whose tolerance interval would fit the limits if mean and standard deviation
        stayed what they are; absent where no number up to `most_runs` would do.
    n, mean_c, sd_c
        Runs so far, their mean and standard deviation [°C]; absent without scatter.
    most_runs
        Where the search ends.
    """

    content: float
    confidence: float
    passing_alone: int
    by_scatter: int | Absent
    n: int
    mean_c: Maybe
    sd_c: Maybe
    most_runs: int


def runs_needed(
    values_c: FloatArray,
    limit_low_c: float | None,
    limit_high_c: float | None,
    content: float = 0.95,
    confidence: float = 0.95,
    most_runs: int = MOST_RUNS,
) -> RunsNeeded:
    """Give the number of runs for a wanted assurance.

    By passes alone, p^n ≤ 1 − confidence: 59 runs for 95 %/95 %. By scatter, the least n with
    mean ± k(n)·s inside the limits.

    Parameters
    ----------
    values_c : (k,) float64
        One figure a run [°C].
    limit_low_c, limit_high_c
        Limits [°C]; None where there is none.
    content, confidence
        Share of future runs and confidence [1].
    most_runs
        Where the search ends.
    """
    alone = ceil(log(1.0 - checked_share(confidence, "confidence")) / log(checked_share(content, "content")))
    runs = run_figures(values_c)
    return RunsNeeded(
        content=content,
        confidence=confidence,
        passing_alone=alone,
        by_scatter=runs
        if isinstance(runs, Absent)
        else _by_scatter(runs, limit_low_c, limit_high_c, content, confidence, most_runs),
        n=int(np.isfinite(values_c).sum()),
        mean_c=runs if isinstance(runs, Absent) else runs.mean_c,
        sd_c=runs if isinstance(runs, Absent) else runs.sd_c,
        most_runs=most_runs,
    )


def _by_scatter(
    runs: RunFigures,
    low: float | None,
    high: float | None,
    content: float,
    confidence: float,
    most_runs: int,
) -> int | Absent:
    distances = [] if high is None else [(high - runs.mean_c) / runs.sd_c]
    distances += [] if low is None else [(runs.mean_c - low) / runs.sd_c]
    if not distances:
        return Absent("no limit is given for this figure")
    two = len(distances) == 2
    room = min(distances)
    if room <= least_factor(content, "two-sided" if two else "upper"):
        return Absent(
            f"never at this mean and scatter: the nearer limit is {room:.2f} standard deviations away, and "
            f"{content:.0%} of runs alone reach further"
        )

    def fits(n: int) -> bool:
        factor = two_sided_factor if two else one_sided_factor
        return factor(n, content, confidence) <= room

    if not fits(most_runs):
        return Absent(f"more than {most_runs} runs at this mean and scatter")
    # The factor falls with n: halve the interval between a number that does not fit and one that does.
    short, enough = 1, most_runs
    while enough - short > 1:
        middle = (short + enough) // 2
        short, enough = (short, middle) if fits(middle) else (middle, enough)
    return enough
