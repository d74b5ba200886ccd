"""Runs that lie outside the others: one by Grubbs' test, several by the generalized extreme test.

A run found here is looked into, never left out by the arithmetic.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt
from typing import Literal

import numpy as np

from qualify.figures.absent import Absent
from qualify.inference.run_figures import run_figures
from qualify.inference.variance_intervals import checked_share
from qualify.readings.model import FloatArray

Which = Literal["either", "highest", "lowest"]
GRUBBS = "Grubbs' test for one outlying run, critical value from Student's t"
EXTREME = "generalized extreme Studentized deviate (Rosner 1983)"
FEW_FOR_EXTREME = 15


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlying:
    """Whether the run farthest from the mean lies outside the others.

    Attributes
    ----------
    n
        Runs with a figure.
    run
        Which run is farthest, as an index into the figures handed in.
    value_c
        Its figure [°C].
    statistic, critical
        Distance from the mean in standard deviations, and the value it must pass [1].
    p_value
        Chance [1] of one as far among runs that are all alike (at most; exact where it is small).
    outlying
        Whether it does.
    level, method, note
        Chance of a false alarm [1], how, and what to know of it.
    """

    n: int
    run: int
    value_c: float
    statistic: float
    critical: float
    p_value: float
    outlying: bool
    level: float
    method: str
    note: str


def grubbs_critical(n: int, level: float = 0.05, which: Which = "either") -> float:
    """Critical value [1] of Grubbs' test: (n − 1)/√n·√(t²/(n − 2 + t²)).

    t is Student's with n − 2 degrees of freedom, exceeded with probability level/(2n), level/n for one side
    (F. E. Grubbs, Technometrics 11, 1969, 1–21; cited from memory; NIST/SEMATECH e-Handbook 1.3.5.17.1).

    Raises
    ------
    ValueError
        Below 3 runs.
    """
    from scipy.special import stdtrit

    if n < 3:
        raise ValueError(f"no critical value for {n} runs")
    tail = checked_share(level, "level") / (2 * n if which == "either" else n)
    t = -float(stdtrit(n - 2, tail))
    return (n - 1) / sqrt(n) * sqrt(t * t / (n - 2 + t * t))


def outlying_run(values_c: FloatArray, level: float = 0.05, which: Which = "either") -> Outlying | Absent:
    """Test whether one run lies outside the others.

    Parameters
    ----------
    values_c : (k,) float64
        One figure a run [°C]; NaN where a run has none.
    level
        Chance of a false alarm [1].
    which
        Whether a run may lie out on either side, or only the highest or lowest is asked about.

    Returns
    -------
    Outlying or Absent
        Absent with fewer than three runs, or fewer than three different values.
    """
    from scipy.special import stdtr

    runs = run_figures(values_c, 3)
    if isinstance(runs, Absent):
        return runs
    n = runs.n
    if np.unique(runs.values_c).size < 3:
        # Two values of one coarse figure: whichever run stands alone would be the largest outlier there is.
        return Absent("fewer than three different values: the figures are too coarse for the test")
    away = (runs.values_c - runs.mean_c) / runs.sd_c
    away = np.abs(away) if which == "either" else away if which == "highest" else -away
    at = int(np.argmax(away))
    statistic, critical = float(away[at]), grubbs_critical(n, level, which)
    left = (n - 1) ** 2 - n * statistic**2
    times = 2 * n if which == "either" else n
    chance = 0.0
    if left > 0:
        chance = times * float(stdtr(n - 2, -statistic * sqrt(n * (n - 2) / left)))
    few = "" if n > 6 else f"with {n} runs only a very distant one can be told"
    return Outlying(
        n=n,
        run=int(np.flatnonzero(np.isfinite(values_c))[at]),
        value_c=float(runs.values_c[at]),
        statistic=statistic,
        critical=critical,
        p_value=min(chance, 1.0),
        outlying=statistic > critical,
        level=level,
        method=GRUBBS,
        note=few,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class SeveralOutlying:
    """Whether several runs lie outside the others.

    Attributes
    ----------
    n
        Runs with a figure.
    runs : tuple of int
        Outlying runs as indices into the figures handed in, the farthest first.
    candidates : tuple of int
        Runs taken away one after the other, as indices.
    statistics, critical : (most,) float64
        Distance of each from the mean of those left, in their standard deviations, and its critical value.
    most
        How many were looked for.
    level, method, note
        Chance of a false alarm [1], how, and what to know of it.
    """

    n: int
    runs: tuple[int, ...]
    candidates: tuple[int, ...]
    statistics: FloatArray
    critical: FloatArray
    most: int
    level: float
    method: str
    note: str


def outlying_runs(
    values_c: FloatArray, most: int | None = None, level: float = 0.05
) -> SeveralOutlying | Absent:
    """Test for up to `most` outlying runs.

    The run farthest from the mean is taken away, again and again; the last one that passes its critical
    value and all before it are outlying (B. Rosner, Technometrics 25, 1983, 165–172; cited from memory;
    NIST/SEMATECH e-Handbook 1.3.5.17.3). Unlike Grubbs' test it isn't fooled by two that hide each other.

    Parameters
    ----------
    values_c : (k,) float64
        One figure a run [°C]; NaN where a run has none.
    most
        How many at most [1]; a fifth of the runs, at least 1, where not said.
    level
        Chance of a false alarm [1].
    """
    runs = run_figures(values_c, 4)
    if isinstance(runs, Absent):
        return runs
    n = runs.n
    most = max(n // 5, 1) if most is None else max(min(most, n - 3), 1)
    left = np.flatnonzero(np.isfinite(values_c))
    figures = runs.values_c - runs.mean_c
    candidates, statistics = [], []
    for _ in range(most):
        sd = float(figures.std(ddof=1))
        away = np.abs(figures - figures.mean())
        at = int(np.argmax(away))
        candidates.append(int(left[at]))
        statistics.append(float(away[at]) / sd if sd > 0 else 0.0)
        figures, left = np.delete(figures, at), np.delete(left, at)
    critical = np.array([grubbs_critical(n - taken, level) for taken in range(most)])
    over = np.flatnonzero(np.array(statistics) > critical)
    found = int(over[-1]) + 1 if over.size else 0
    return SeveralOutlying(
        n=n,
        runs=tuple(candidates[:found]),
        candidates=tuple(candidates),
        statistics=np.array(statistics),
        critical=critical,
        most=most,
        level=level,
        method=EXTREME,
        note=""
        if n >= FEW_FOR_EXTREME
        else f"{n} runs; its critical values are good from about {FEW_FOR_EXTREME}",
    )
