"""Tolerance intervals: limits that hold a stated share of all future runs, with a stated confidence.

The sample is the run. Readings and locations are no sample of runs.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import inf, log, sqrt

import numpy as np

from qualify.figures.absent import Absent, Maybe
from qualify.inference.normal_bounds import NODES, REACH, gauss_legendre, half_width
from qualify.inference.run_figures import Side, run_figures
from qualify.inference.variance_intervals import checked_share
from qualify.readings.model import FloatArray

TWO_SIDED = "exact two-sided factor for a normal distribution (ISO 16269-6:2014, annex F)"
ONE_SIDED = "exact one-sided factor for a normal distribution, noncentral t (ISO 16269-6:2014)"


@dataclass(frozen=True, slots=True, kw_only=True)
class ToleranceInterval:
    """Limits for a share of all future runs.

    Attributes
    ----------
    n
        Runs it rests on.
    mean_c, sd_c
        Their mean and standard deviation [°C].
    factor
        The limits lie this many standard deviations from the mean [1].
    low_c, high_c
        The limits [°C]; a one-sided interval lacks one.
    content, confidence
        The share of future runs [1] that the limits hold with this confidence [1].
    side, method, note
        Which limits, how they were made, and what to know of them.
    """

    n: int
    mean_c: float
    sd_c: float
    factor: float
    low_c: Maybe
    high_c: Maybe
    content: float
    confidence: float
    side: Side
    method: str
    note: str


def tolerance_interval(
    values_c: FloatArray, content: float = 0.95, confidence: float = 0.95, side: Side = "two-sided"
) -> ToleranceInterval | Absent:
    """Give limits that hold at least `content` of all future runs, with this confidence.

    Parameters
    ----------
    values_c : (k,) float64
        One figure a run [°C]; NaN where a run has none.
    content, confidence
        Shares [1]; the content of a two-sided interval from 0.5 upwards.
    side
        Both limits, the upper or the lower one alone.
    """
    runs = run_figures(values_c)
    if isinstance(runs, Absent):
        return runs
    if side == "two-sided":
        factor = two_sided_factor(runs.n, content, confidence)
    else:
        factor = one_sided_factor(runs.n, content, confidence)
    half = factor * runs.sd_c
    return ToleranceInterval(
        n=runs.n,
        mean_c=runs.mean_c,
        sd_c=runs.sd_c,
        factor=factor,
        low_c=Absent("an upper limit alone was asked for") if side == "upper" else runs.mean_c - half,
        high_c=Absent("a lower limit alone was asked for") if side == "lower" else runs.mean_c + half,
        content=content,
        confidence=confidence,
        side=side,
        method=TWO_SIDED if side == "two-sided" else ONE_SIDED,
        note=runs.note(),
    )


@lru_cache(maxsize=4096)
def two_sided_factor(n: float, content: float, confidence: float, degrees: float | None = None) -> float:
    """Give the exact two-sided tolerance factor k [1] of a normal distribution.

    With mean z standard deviations off, ±k·s holds the content if k·s reaches r(z), where
    Φ(z + r) − Φ(z − r) = content. k is solved from ∫ P(χ²_ν ≥ ν·r(z)²/k²) dN(z; 0, 1/n) = confidence
    (ISO 16269-6:2014, annex F, and W. Q. Meeker, G. J. Hahn, L. A. Escobar, Statistical Intervals, 2nd ed.
    2017, table J.5; formula cited from memory, tables held in the reference checks).

    Parameters
    ----------
    n
        Readings behind the mean [1].
    content, confidence
        Share held, from 0.5 upwards, and confidence [1].
    degrees
        Degrees of freedom of s [1]; n − 1 if not given. Several samples of n with one pooled standard
        deviation have m·(n − 1).

    Raises
    ------
    ValueError
        If n or the degrees are not positive, the content is below 0.5, or a share is outside 0 … 1.
    """
    from scipy.optimize import brentq
    from scipy.special import chdtr, chdtrc, chdtri

    nu = n - 1.0 if degrees is None else degrees
    if not n > 0 or not nu > 0:
        raise ValueError(f"no tolerance factor for {n} readings and {nu} degrees of freedom")
    if checked_share(content, "content") < 0.5:
        raise ValueError(f"content {content} is below a half")
    checked_share(confidence, "confidence")
    nodes, weights = gauss_legendre(NODES)
    in_errors = REACH / 2 * (nodes + 1.0)
    reach = half_width(in_errors / sqrt(n), 1.0 - content)
    mass = REACH * weights * np.exp(-(in_errors**2) / 2) / sqrt(2 * np.pi)

    def short(log_factor: float) -> float:
        squared = nu * reach**2 * np.exp(-2.0 * log_factor)
        # The smaller of both tails keeps its digits.
        if confidence > 0.5:
            return float(1.0 - confidence - mass @ chdtr(nu, squared))
        return float(mass @ chdtrc(nu, squared) - confidence)

    # Howe's factor is near enough to bracket from.
    middle = log(float(reach[0]) * sqrt((1 + 1 / n) * nu / float(chdtri(nu, confidence))))
    return float(np.exp(brentq(short, middle - 3.0, middle + 3.0, xtol=1e-14, rtol=1e-14)))


@lru_cache(maxsize=4096)
def one_sided_factor(n: float, content: float, confidence: float, degrees: float | None = None) -> float:
    """Give the exact one-sided tolerance factor [1]: quantile of noncentral t, over √n.

    t of ν degrees of freedom and noncentrality √n·Φ⁻¹(content) (NIST/SEMATECH e-Handbook of Statistical
    Methods, 7.2.6.3).

    Parameters
    ----------
    n, content, confidence, degrees
        As for the two-sided factor; any content between 0 and 1.

    Raises
    ------
    ValueError
        If n or the degrees are not positive, or a share is outside 0 … 1.
    """
    from scipy.special import ndtri
    from scipy.stats import nct

    nu = n - 1.0 if degrees is None else degrees
    if not n > 0 or not nu > 0:
        raise ValueError(f"no tolerance factor for {n} readings and {nu} degrees of freedom")
    shift = sqrt(n) * float(ndtri(checked_share(content, "content")))
    return float(nct.ppf(checked_share(confidence, "confidence"), nu, shift)) / sqrt(n)


def howe_factor(n: float, content: float, confidence: float, degrees: float | None = None) -> float:
    """Give Howe's approximate two-sided factor [1], a cross-check of the exact one.

    z_(1+content)/2 · √((1 + 1/n)·ν/χ²) (NIST/SEMATECH e-Handbook, 7.2.6.3).
    """
    from scipy.special import chdtri, ndtri

    nu = n - 1.0 if degrees is None else degrees
    wide = float(ndtri((1.0 + content) / 2))
    return wide * sqrt((1.0 + 1.0 / n) * nu / float(chdtri(nu, confidence)))


def confidence_of_extremes(n: int, content: float) -> float:
    """Confidence [1] that the least and the greatest of n runs hold this share of runs, however distributed.

    1 − n·p^(n−1) + (n − 1)·p^n (S. S. Wilks, Annals of Mathematical Statistics 12, 1941, 91–96; cited from
    memory).
    """
    return 1.0 - n * content ** (n - 1) + (n - 1) * content**n if n > 1 else 0.0


def least_factor(content: float, side: Side) -> float:
    """Give the factor [1] that no number of runs goes below."""
    from scipy.special import ndtri

    return float(ndtri((1.0 + content) / 2 if side == "two-sided" else content)) if content < 1 else inf
