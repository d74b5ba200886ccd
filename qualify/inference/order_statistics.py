"""The expected largest of several normal values: how an extreme grows with the number looked at."""

from __future__ import annotations

from functools import cache
from math import sqrt

import numpy as np

from qualify.probability import normal_between
from qualify.readings.model import FloatArray


def expected_largest(count: float) -> float:
    """Expected largest of `count` independent standard normal values, in standard deviations.

    n ∫ x φ(x) Φ(x)^(n−1) dx, by Gauss–Legendre quadrature. A count that is no whole number, such as a
    number of effective readings, lies between its neighbours.

    Parameters
    ----------
    count
        How many values; at least 1.

    Returns
    -------
    float
        0 for one value, 0.5642 for two, 1.4850 for nine.

    Raises
    ------
    ValueError
        If the count is below 1.

    References
    ----------
    H. A. David and H. N. Nagaraja, Order Statistics, 3rd ed., 2003, section 3.1; cited from memory.
    """
    if not count >= 1.0:
        raise ValueError(f"the largest of {count} values")
    x, below, weighted_density = _normal_curve()
    return float(count * np.sum(x * weighted_density * below ** (count - 1.0)))


@cache
def _normal_curve() -> tuple[FloatArray, FloatArray, FloatArray]:
    """Places, the normal distribution at them, and its density times the weights of the quadrature."""
    nodes, weights = np.polynomial.legendre.leggauss(400)
    x = 10.0 * nodes
    below = np.array([normal_between(float("-inf"), float(value)) for value in x])
    return x, below, 10.0 * weights * np.exp(-(x**2) / 2) / sqrt(2 * np.pi)
