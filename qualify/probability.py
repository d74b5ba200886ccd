"""The normal distribution and Student's t, as far as the quick path needs them.

Ten lines each instead of the library's, whose import costs the quick path more than all else; the
reference checks hold them against the library.
"""

from __future__ import annotations

from functools import cache
from math import atan, cos, erfc, exp, isfinite, lgamma, pi, sqrt, tan
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from qualify.readings.model import FloatArray

_MANY_DEGREES = 1e3
"""From here on the series in 1/ν is more exact than the difference of two large logarithms."""


def normal_between(low: float, high: float) -> float:
    """Probability of a standard normal variable between two bounds, exact in either tail.

    Parameters
    ----------
    low, high
        Bounds [1]; infinite ones count.

    Returns
    -------
    float
        Φ(high) − Φ(low); 0 where the bounds are turned round.
    """
    if low >= high:
        return 0.0
    if low > 0.0:
        low, high = -high, -low
    root = sqrt(2.0)
    return 0.5 * (erfc(-high / root) - erfc(-low / root))


def normal_quantile(probability: float) -> float:
    """Value that a standard normal variable stays below with this probability."""
    from statistics import NormalDist  # brings exact fractions with it, which a survey hardly ever needs

    return NormalDist().inv_cdf(probability)


def student_quantile(degrees: float, probability: float = 0.975) -> float:
    """Value that Student's t stays below with this probability, for any degrees of freedom from 1.

    With t = √ν·tan θ the density of θ is proportional to cos^(ν−1) θ; its integral from 0 is solved
    for the probability less a half by Newton's method, which closes in from below as the density falls.
    For many degrees of freedom: the series in 1/ν about the normal quantile (Abramowitz & Stegun,
    Handbook of Mathematical Functions, 26.7.5; cited from memory).

    Parameters
    ----------
    degrees
        Degrees of freedom ν [1]; infinite ones give the normal distribution.
    probability
        Between 0.5 and 1.

    Raises
    ------
    ValueError
        If the degrees of freedom are below 1, or the probability is not in (0.5, 1).
    """
    if not degrees >= 1.0 or not 0.5 < probability < 1.0:
        raise ValueError(f"no quantile {probability} of Student's t with {degrees} degrees of freedom")
    z = normal_quantile(probability)
    if not isfinite(degrees) or degrees > _MANY_DEGREES:
        return (
            z
            + (z**3 + z) / (4 * degrees)
            + (5 * z**5 + 16 * z**3 + 3 * z) / (96 * degrees**2)
            + (3 * z**7 + 19 * z**5 + 17 * z**3 - 15 * z) / (384 * degrees**3)
            + (79 * z**9 + 776 * z**7 + 1482 * z**5 - 1920 * z**3 - 945 * z) / (92160 * degrees**4)
        )
    nodes, weights = _gauss_legendre()
    scale = exp(lgamma((degrees + 1) / 2) - lgamma(degrees / 2)) / sqrt(pi)
    angle = atan(z / sqrt(degrees))
    for _ in range(100):
        density = np.cos(angle * (nodes + 1) / 2) ** (degrees - 1)
        step = (probability - 0.5) / scale - angle / 2 * float(weights @ density)
        step /= cos(angle) ** (degrees - 1)
        angle += step
        if abs(step) <= 1e-15 * angle:
            break
    return sqrt(degrees) * tan(angle)


@cache
def _gauss_legendre() -> tuple[FloatArray, FloatArray]:
    return np.polynomial.legendre.leggauss(96)
