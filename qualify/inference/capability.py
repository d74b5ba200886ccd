"""Capability: the room between limits in units of the scatter of runs."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np

from qualify.figures.absent import Absent, Maybe
from qualify.inference.control_limits import MEAN_OF_RANGE, short_term_degrees
from qualify.inference.normal_bounds import distance_bound, nearer_distance_bounds
from qualify.inference.run_figures import run_figures
from qualify.inference.run_stability import LEAST_RUNS, run_stability
from qualify.inference.variance_intervals import checked_share
from qualify.readings.model import FloatArray

SPREAD_METHOD = "chi-square, exact for a normal distribution"
ONE_LIMIT = "noncentral t, exact for a normal distribution"
TWO_LIMITS = (
    "noncentral t below, the bound of a mean midway between the limits above; holds the truth at least as "
    "often as stated"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Index:
    """One index and its two-sided interval [1]."""

    value: float
    low: float
    high: float
    method: str


MaybeIndex = Index | Absent


@dataclass(frozen=True, slots=True, kw_only=True)
class Capability:
    """Capability of a stable sequence of runs.

    Attributes
    ----------
    n, mean_c, sd_c, short_term_sd_c
        Runs, mean, standard deviation of all runs, and the one from neighbouring runs [°C].
    limit_low_c, limit_high_c
        The limits [°C]; None where there is none.
    pp, ppk
        (high − low)/(6·s) and the distance of the mean to the nearer limit/(3·s), with the standard
        deviation of all runs; the first needs both limits. In a stable sequence many call them Cp and Cpk.
    cp, cpk
        The same with the short-term standard deviation; their intervals are approximate.
    confidence
        Of each interval [1].
    note
        What to know of it.
    """

    n: int
    mean_c: float
    sd_c: float
    short_term_sd_c: float
    limit_low_c: float | None
    limit_high_c: float | None
    pp: MaybeIndex
    ppk: Index
    cp: MaybeIndex
    cpk: Index
    confidence: float
    note: str


def spread_index(limit_low_c: float, limit_high_c: float, sd_c: float) -> float:
    """Width between limits over six standard deviations [1] (NIST/SEMATECH e-Handbook 6.1.6)."""
    return (limit_high_c - limit_low_c) / (6.0 * sd_c)


def nearer_limit_index(
    limit_low_c: float | None, limit_high_c: float | None, mean_c: float, sd_c: float
) -> Maybe:
    """Distance [1] of the mean to the nearer limit over three standard deviations (e-Handbook 6.1.6)."""
    room = [] if limit_high_c is None else [limit_high_c - mean_c]
    room += [] if limit_low_c is None else [mean_c - limit_low_c]
    return min(room) / (3.0 * sd_c) if room else Absent("no limit is given for this figure")


def capability(
    values_c: FloatArray,
    limit_low_c: float | None,
    limit_high_c: float | None,
    confidence: float = 0.95,
    level: float = 0.05,
) -> Capability | Absent:
    """Give capability indices with intervals; absent below 5 runs and where the runs aren't stable.

    Parameters
    ----------
    values_c : (k,) float64
        One figure a run in their order [°C]; NaN where a run has none.
    limit_low_c, limit_high_c
        Limits [°C]; None where there is none.
    confidence
        Of each interval [1].
    level
        Chance of a false alarm of the tests of stability together [1].

    Raises
    ------
    ValueError
        If the limits are turned round, or a share is not between 0 and 1.
    """
    checked_share(confidence, "confidence")
    if limit_low_c is not None and limit_high_c is not None and limit_low_c >= limit_high_c:
        raise ValueError(f"the lower limit {limit_low_c} is not below the upper limit {limit_high_c}")
    runs = run_figures(values_c, LEAST_RUNS)
    if isinstance(runs, Absent):
        return runs
    if limit_low_c is None and limit_high_c is None:
        return Absent("no limit is given for this figure")
    stability = run_stability(values_c, level)
    if isinstance(stability, Absent):
        return stability
    if not stability.stable:
        return Absent(f"the runs are not stable: {'; '.join(stability.reasons)}")
    short = float(np.abs(np.diff(runs.values_c)).mean()) / MEAN_OF_RANGE
    indices: list[tuple[MaybeIndex, Index]] = []
    for sd, degrees, about in (
        (runs.sd_c, runs.n - 1.0, ""),
        (short, short_term_degrees(runs.n), ", approximate"),
    ):
        spread: MaybeIndex = Absent("needs both limits")
        if limit_low_c is not None and limit_high_c is not None:
            spread = _spread(spread_index(limit_low_c, limit_high_c, sd), degrees, confidence, about)
        above = None if limit_high_c is None else (limit_high_c - runs.mean_c) / sd
        below = None if limit_low_c is None else (runs.mean_c - limit_low_c) / sd
        indices.append((spread, _nearer(above, below, runs.n, degrees, confidence, about)))
    (pp, ppk), (cp, cpk) = indices
    return Capability(
        n=runs.n,
        mean_c=runs.mean_c,
        sd_c=runs.sd_c,
        short_term_sd_c=short,
        limit_low_c=limit_low_c,
        limit_high_c=limit_high_c,
        pp=pp,
        ppk=ppk,
        cp=cp,
        cpk=cpk,
        confidence=confidence,
        note="; ".join(note for note in (runs.note(), stability.note) if note),
    )


def _spread(value: float, degrees: float, confidence: float, about: str) -> Index:
    from scipy.special import chdtri

    tail = (1.0 - confidence) / 2
    return Index(
        value=value,
        low=value * sqrt(float(chdtri(degrees, 1.0 - tail)) / degrees),
        high=value * sqrt(float(chdtri(degrees, tail)) / degrees),
        method=SPREAD_METHOD + about,
    )


def _nearer(
    above: float | None, below: float | None, n: int, degrees: float, confidence: float, about: str
) -> Index:
    """Index of the nearer limit from the distances to both, in standard deviations."""
    tail = (1.0 - confidence) / 2
    if above is None or below is None:
        distance = above if above is not None else below
        assert distance is not None
        low, high = (distance_bound(distance, n, degrees, chance) for chance in (tail, 1.0 - tail))
        return Index(value=distance / 3, low=low / 3, high=high / 3, method=ONE_LIMIT + about)

    low, high = nearer_distance_bounds(above, below, n, degrees, tail)
    return Index(value=min(above, below) / 3, low=low / 3, high=high / 3, method=TWO_LIMITS + about)
