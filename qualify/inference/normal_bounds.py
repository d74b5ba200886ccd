"""Exact and near-exact bounds of what mean and standard deviation of a normal sample say of its limits.

With μ and σ the truth, a sample's (limit − mean)/s is (δ + z)/q with δ = (limit − μ)/σ, z ~ N(0, 1/n) and
q = √(χ²_ν/ν). A bound of δ, or of the share inside limits, is the value at which what was found lies just in
the tail. One limit: noncentral t, exact. Two limits: the answer depends on where between them μ lies; bounds
take the least favourable place, so that an interval holds the truth at least as often as stated.
"""

from __future__ import annotations

from functools import lru_cache
from math import sqrt

import numpy as np

from qualify.readings.model import FloatArray

POINTS = 16384
NODES = 200
REACH = 8.3
"""Standard normal variables beyond this have a chance of 1e-16."""
FAR = 12.0
GOLDEN = (sqrt(5.0) - 1.0) / 2.0


def distance_bound(distance: float, n: int, degrees: float, probability: float) -> float:
    """Give the exact bound of (limit − μ)/σ [1] from (limit − mean)/s.

    P(T ≤ √n·distance) = 1 − probability for noncentral t with noncentrality √n·bound; the same as the
    quantile of distance·q + z.

    Parameters
    ----------
    distance
        (limit − mean)/s [1].
    n, degrees
        Readings behind the mean, degrees of freedom behind s [1].
    probability
        Of the quantile [1]: small for a lower bound, large for an upper one.
    """
    from scipy.optimize import brentq

    if distance < 0.0:
        return -distance_bound(-distance, n, degrees, 1.0 - probability)
    t = distance * sqrt(n)
    top = t * _largest_q(degrees) + REACH
    found = brentq(lambda x: _below(x, t, degrees) - probability, -REACH, top, xtol=1e-11, rtol=1e-13)
    return float(found) / sqrt(n)


def nearer_distance_bounds(
    above: float, below: float, n: int, degrees: float, tail: float
) -> tuple[float, float]:
    """Bounds [1] of the distance of μ to the nearer of two limits, in σ.

    The sample's nearer distance tends to be largest where the other limit is far (z counts one way: the
    exact bound of one limit), and least where μ lies midway (|z| counts).

    Parameters
    ----------
    above, below
        (upper limit − mean)/s and (mean − lower limit)/s [1].
    n, degrees
        Readings behind the mean, degrees of freedom behind s [1].
    tail
        Chance [1] beyond each bound, at most.
    """
    nearer = min(above, below)
    z, q = _points(n, degrees)
    high = float(np.quantile(nearer * q + np.abs(z), 1.0 - tail))
    return distance_bound(nearer, n, degrees, tail), high


def share_bound(
    above: float | None, below: float | None, n: int, degrees: float, probability: float
) -> float:
    """Bound [1] of the share inside the limits, Φ((upper − μ)/σ) − Φ((lower − μ)/σ).

    One limit: exact. Two limits: what is outside altogether is laid beyond one limit (exact again), and
    laid evenly beyond both; the less favourable of the two bounds counts.

    Parameters
    ----------
    above, below
        (upper limit − mean)/s and (mean − lower limit)/s [1]; None where there is no limit.
    n, degrees
        Readings behind the mean, degrees of freedom behind s [1].
    probability
        Of the quantile [1]: below a half for a lower bound, above for an upper one; a half gives an
        estimate.

    Raises
    ------
    ValueError
        If there is no limit.
    """
    from scipy.special import log_ndtr, ndtr, ndtri_exp

    given = [distance for distance in (above, below) if distance is not None]
    if not given:
        raise ValueError("no limit, no share inside")
    # Logarithms, because a share outside may be too small for a binary number.
    outside = float(np.logaddexp.reduce([log_ndtr(-distance) for distance in given]))
    one_sided = -float(ndtri_exp(min(outside, -1e-300)))
    one = float(ndtr(distance_bound(one_sided, n, degrees, probability)))
    if len(given) == 1 or probability == 0.5:
        return one
    even = 1.0 - 2.0 * float(ndtr(-_midway_bound(outside, n, degrees, probability)))
    return min(one, even) if probability < 0.5 else max(one, even)


def _midway_bound(outside: float, n: int, degrees: float, probability: float) -> float:
    """Distance of both limits from μ midway, in σ, at which what was found outside lies just in the tail.

    At z and q the sample finds exp(`outside`) outside where the distance is q·r(|z|/q).
    """
    if outside > -1e-12:
        return 0.0
    z, q = _points(n, degrees)
    offset = np.abs(z) / q
    nodes = np.linspace(0.0, FAR, 500)
    beyond = half_width(nodes, float(np.exp(max(outside, -700.0)))) - nodes
    # Far off, only the nearer limit has anything outside, and r − offset no longer changes.
    return float(np.quantile(q * (offset + np.interp(offset, nodes, beyond)), probability))


def half_width(offset: FloatArray, outside: float) -> FloatArray:
    """Give r such that a standard normal variable lies outside `offset` ± r with this chance.

    Newton's method from offset − Φ⁻¹(outside), where the farther end alone holds that much.

    Parameters
    ----------
    offset : (k,) float64
        Not negative [1].
    outside
        Chance [1], between 0 and 1.

    Returns
    -------
    (k,) float64
        Half widths [1].
    """
    from scipy.special import ndtr, ndtri

    r = np.maximum(offset - float(ndtri(outside)), 0.1)
    for _ in range(100):
        slope = (np.exp(-((offset + r) ** 2) / 2) + np.exp(-((offset - r) ** 2) / 2)) / sqrt(2 * np.pi)
        step = (ndtr(offset - r) + ndtr(-offset - r) - outside) / slope
        r = r + step
        if float(np.max(np.abs(step / r))) < 1e-15:
            break
    return np.asarray(r, dtype=np.float64)


@lru_cache(maxsize=16)
def _points(n: int, degrees: float) -> tuple[FloatArray, FloatArray]:
    """Equally likely pairs z, q on a lattice of the golden ratio: the same every time, no random numbers.

    A quantile over them is right to about 0.0006 in probability.
    """
    from scipy.special import chdtri, ndtri

    index = np.arange(POINTS)
    z = ndtri((index + 0.5) / POINTS) / sqrt(n)
    q = np.sqrt(chdtri(degrees, (0.5 + index * GOLDEN) % 1.0) / degrees)
    z.flags.writeable = q.flags.writeable = False
    return z, q


def _largest_q(degrees: float) -> float:
    from scipy.special import chdtri

    return sqrt(float(chdtri(degrees, 1e-12)) / degrees)


def _below(x: float, t: float, degrees: float) -> float:
    """P(t·q + Z ≤ x) for a standard normal Z and t ≥ 0, by Gauss–Legendre over the wider of the two.

    The library's noncentral t gives no number for part of what is asked here.
    """
    from scipy.special import chdtr, chdtri, ndtr

    nodes, weights = gauss_legendre(NODES)
    if t > 1.5 * sqrt(degrees):
        top = min(x, REACH)
        if top <= -REACH:
            return 0.0
        z = (top - REACH + (top + REACH) * nodes) / 2
        density = (top + REACH) / 2 * weights * np.exp(-(z**2) / 2) / sqrt(2 * np.pi)
        return float(density @ chdtr(degrees, degrees * ((x - z) / t) ** 2))
    low = sqrt(float(chdtri(degrees, 1.0 - 1e-15)) / degrees) if degrees > 20 else 0.0
    high = sqrt(float(chdtri(degrees, 1e-16)) / degrees)
    q = (low + high + (high - low) * nodes) / 2
    log_density = (degrees - 1) * np.log(q) - degrees * q**2 / 2
    density = weights * np.exp(log_density - log_density.max())
    return float(density @ ndtr(x - t * q) / density.sum())


@lru_cache(maxsize=4)
def gauss_legendre(count: int) -> tuple[FloatArray, FloatArray]:
    """Nodes and weights [1] of the Gauss–Legendre rule between −1 and 1, kept because they take long."""
    nodes, weights = np.polynomial.legendre.leggauss(count)
    nodes.flags.writeable = weights.flags.writeable = False
    return nodes, weights
