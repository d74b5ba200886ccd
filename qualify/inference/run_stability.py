"""Whether runs in their order are alike: no trend, no outlying run, no run that follows the one before."""

from __future__ import annotations

from dataclasses import dataclass
from math import pi, sqrt

import numpy as np

from qualify.figures.absent import Absent
from qualify.inference.normal_bounds import gauss_legendre
from qualify.inference.outlying import Outlying, outlying_run
from qualify.inference.run_figures import RunFigures, run_figures
from qualify.inference.variance_intervals import checked_share
from qualify.readings.model import FloatArray

TREND = "least-squares line over the order of runs, Student's t"
FOLLOWING = "von Neumann's ratio, exact for a normal distribution (Imhof's integral)"
LEAST_RUNS = 5
NODES = 400


@dataclass(frozen=True, slots=True, kw_only=True)
class RunTrend:
    """A line through the figures of the runs in their order.

    Attributes
    ----------
    n
        Runs with a figure.
    slope_c_per_run, low_c_per_run, high_c_per_run
        Slope and its two-sided interval [°C per run].
    p_value, significant
        Chance [1] of a slope as steep without a trend, and whether it is below `level`.
    level, confidence, method
        The chance of a false alarm [1], of the interval [1], and how.
    """

    n: int
    slope_c_per_run: float
    low_c_per_run: float
    high_c_per_run: float
    p_value: float
    significant: bool
    level: float
    confidence: float
    method: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RunsFollowing:
    """Whether a run resembles the one before it (or its contrary).

    Attributes
    ----------
    n
        Runs with a figure.
    statistic
        1 − Σ(difference of neighbours)²/(2·Σ deviation²) [1]: near 0 where runs are independent, positive
        where a run follows the one before.
    p_value, significant, level, method
        Chance [1] of one as far from 0, whether it is below `level` [1], and how.
    """

    n: int
    statistic: float
    p_value: float
    significant: bool
    level: float
    method: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RunStability:
    """Whether the runs are alike.

    Attributes
    ----------
    n
        Runs with a figure.
    stable
        Whether none of the three tests found anything.
    reasons : tuple of str
        What was found.
    trend, following, outlying
        The three tests.
    level
        Chance of a false alarm of all three together, at most [1].
    note
        What to know of it.
    """

    n: int
    stable: bool
    reasons: tuple[str, ...]
    trend: RunTrend
    following: RunsFollowing
    outlying: Outlying
    level: float
    note: str


def run_trend(values_c: FloatArray, level: float = 0.05, confidence: float = 0.95) -> RunTrend | Absent:
    """Fit a line over the order of the runs.

    Exact for runs that scatter normally about it.

    Parameters
    ----------
    values_c : (k,) float64
        One figure a run in their order [°C]; NaN where a run has none.
    level
        Chance of a false alarm [1].
    confidence
        Of the slope's interval [1].
    """
    from scipy.special import stdtr, stdtrit

    checked_share(level, "level")
    checked_share(confidence, "confidence")
    runs = run_figures(values_c, 3)
    if isinstance(runs, Absent):
        return runs
    order = np.flatnonzero(np.isfinite(values_c)).astype(np.float64)
    order -= order.mean()
    away = runs.values_c - runs.mean_c
    spread = float(order @ order)
    slope = float(order @ away) / spread
    rest = away - slope * order
    error = sqrt(float(rest @ rest) / (runs.n - 2) / spread)
    chance = 2.0 * float(stdtr(runs.n - 2, -abs(slope) / error)) if error > 0 else 0.0
    half = float(stdtrit(runs.n - 2, (1.0 + confidence) / 2)) * error
    return RunTrend(
        n=runs.n,
        slope_c_per_run=slope,
        low_c_per_run=slope - half,
        high_c_per_run=slope + half,
        p_value=chance,
        significant=chance < level,
        level=level,
        confidence=confidence,
        method=TREND,
    )


def runs_following(values_c: FloatArray, level: float = 0.05) -> RunsFollowing | Absent:
    """Test whether runs are independent of the run before.

    The statistic (J. von Neumann, Annals of Mathematical Statistics 12, 1941, 367–395; cited from memory)
    is Σ λ_j·x_j²/Σ x_j² with λ_j = cos(jπ/n), j = 1 … n − 1, and independent normal x_j; its distribution
    is symmetric about 0, its chance by Imhof's integral (J. P. Imhof, Biometrika 48, 1961, 419–426; cited
    from memory).
    Runs without a figure are passed over.

    Parameters
    ----------
    values_c : (k,) float64
        One figure a run in their order [°C]; NaN where a run has none.
    level
        Chance of a false alarm [1].
    """
    checked_share(level, "level")
    runs = run_figures(values_c, 4)
    return runs if isinstance(runs, Absent) else _following(runs, level)


def _following(runs: RunFigures, level: float) -> RunsFollowing:
    n = runs.n
    away = runs.values_c - runs.mean_c
    statistic = 1.0 - float(np.sum(np.diff(away) ** 2)) / (2.0 * float(away @ away))
    chance = min(2.0 * _positive(np.cos(np.arange(1, n) * pi / n) - abs(statistic)), 1.0)
    return RunsFollowing(
        n=n,
        statistic=statistic,
        p_value=chance,
        significant=chance < level,
        level=level,
        method=FOLLOWING,
    )


def _positive(weights: FloatArray) -> float:
    """P(Σ w·x² > 0) for independent standard normal x.

    1/2 + 1/π·∫ sin(Σ atan(w·u)/2) / (u·Π(1 + w²u²)^¼) du over u > 0.
    """
    if not weights.max() > 0.0:
        return 0.0
    nodes, node_weights = gauss_legendre(NODES)
    # u from 0 to ∞ by u = ((1 + t)/(1 − t))³ over the largest weight: dense at both ends.
    ratio = (1.0 + nodes) / (1.0 - nodes)
    wu = weights[:, None] / np.abs(weights).max() * ratio**3
    damping = np.exp(-0.25 * np.log1p(wu**2).sum(axis=0))
    # du/u = 3·d ratio/ratio = 6·dt/(1 − t²)
    integrand = np.sin(0.5 * np.arctan(wu).sum(axis=0)) * damping * 6.0 / (1.0 - nodes**2)
    return min(max(0.5 + float(node_weights @ integrand) / pi, 0.0), 1.0)


def run_stability(values_c: FloatArray, level: float = 0.05) -> RunStability | Absent:
    """Test whether runs are alike: trend, outlying run, and runs that follow each other.

    Each test is made at a third of `level`, so that all three together raise a false alarm at most so often.

    Parameters
    ----------
    values_c : (k,) float64
        One figure a run in their order [°C]; NaN where a run has none.
    level
        Chance of a false alarm of the three together [1].
    """
    each = checked_share(level, "level") / 3
    runs = run_figures(values_c, LEAST_RUNS)
    if isinstance(runs, Absent):
        return runs
    trend = run_trend(values_c, each)
    following = runs_following(values_c, each)
    outlying = outlying_run(values_c, each)
    # The same runs stood up to the checks above.
    assert not isinstance(trend, Absent)
    assert not isinstance(following, Absent)
    assert not isinstance(outlying, Absent)
    reasons = []
    if trend.significant:
        reasons.append(f"a trend of {trend.slope_c_per_run:+.3g} °C per run (p = {trend.p_value:.2g})")
    if outlying.outlying:
        reasons.append(
            f"an outlying run at {outlying.value_c:.4g} °C (run {outlying.run + 1} of {values_c.size}, "
            f"p = {outlying.p_value:.2g})"
        )
    if following.significant:
        word = "resemble" if following.statistic > 0 else "alternate with"
        reasons.append(f"runs {word} the run before (p = {following.p_value:.2g})")
    return RunStability(
        n=runs.n,
        stable=not reasons,
        reasons=tuple(reasons),
        trend=trend,
        following=following,
        outlying=outlying,
        level=level,
        note=f"{runs.n} runs show only a gross lack of stability" if runs.n < 20 else "",
    )
