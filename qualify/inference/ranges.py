"""The studentized range: by how much the largest of several means exceeds the least by chance."""

from __future__ import annotations

from functools import lru_cache
from math import lgamma, log

import numpy as np

from qualify.readings.model import FloatArray


def studentized_range_probability(q: float, means: int, degrees: float) -> float:
    """Chance that the range of `means` independent means stays within q standard errors.

    k·∫ φ(z)·(Φ(z) − Φ(z − q·s))^(k−1) dz, averaged over s = χ/√ν (H. L. Harter, Annals of Mathematical
    Statistics 31, 1960, 1122–1147; cited from memory), by Gauss's and Legendre's quadrature; the library's
    own function takes seconds for many means.

    Parameters
    ----------
    q
        Range over the standard error of one mean [1].
    means
        Number of means k, at least 2.
    degrees
        Degrees of freedom ν of the standard error [1]; infinite ones count.
    """
    from scipy.special import ndtr

    nodes, weights = _gauss_legendre()
    z, at_z = 8.5 * nodes, 8.5 * weights * np.exp(-0.5 * (8.5 * nodes) ** 2) / np.sqrt(2 * np.pi)
    if not np.isfinite(degrees):
        ratios, at_ratio = np.ones(1), np.ones(1)
    else:
        # log of s: its density is smooth and falls off on both sides for any degrees of freedom.
        low = -9.0 / np.sqrt(2.0 * degrees) - 20.0 / degrees
        high = 0.5 * log(1.0 + 100.0 / degrees + 26.0 / np.sqrt(degrees))
        logs = low + (high - low) * (nodes + 1) / 2
        ratios = np.exp(logs)
        density = degrees * logs - 0.5 * degrees * ratios**2
        density += 0.5 * degrees * log(degrees / 2) - lgamma(degrees / 2) + log(2.0)
        at_ratio = np.exp(density) * weights * (high - low) / 2
    within = ndtr(z) - ndtr(z - q * ratios[:, None])
    return float(at_ratio @ (means * (within ** (means - 1)) @ at_z))


@lru_cache(maxsize=1)
def _gauss_legendre() -> tuple[FloatArray, FloatArray]:
    return np.polynomial.legendre.leggauss(160)


@lru_cache(maxsize=256)
def studentized_range_quantile(probability: float, means: int, degrees: float) -> float:
    """Value that the studentized range stays below with this probability.

    Parameters
    ----------
    probability
        Between 0 and 1.
    means, degrees
        As of `studentized_range_probability`.

    Raises
    ------
    ValueError
        If there are fewer than two means or two degrees of freedom, or the probability is not in (0, 1).
    """
    from scipy.optimize import brentq

    if means < 2 or not degrees >= 2.0 or not 0.0 < probability < 1.0:
        raise ValueError(f"no quantile {probability} of the range of {means} means, {degrees} degrees")

    def apart(q: float) -> float:
        return studentized_range_probability(q, means, degrees) - probability

    return float(brentq(apart, 1e-6, 200.0, xtol=1e-10))
