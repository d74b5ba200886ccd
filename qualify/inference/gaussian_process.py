"""A smooth field through uncertain means: a trend, Matérn 5/2 deviations from it, known errors of the means.

Values are trend + deviation + error: the trend a few terms with unknown coefficients, the deviation a
stationary random field of covariance σ²·k(distance), the error known by its standard uncertainty.
Coordinates are parts of the zone's sides, so that one correlation length serves three sides of unlike size.

Formulas after Rasmussen & Williams, Gaussian Processes for Machine Learning, 2006: prediction with a trend
of unknown coefficients (2.41, 2.42), its likelihood (2.45; for a vague prior the restricted likelihood), the
Matérn kernel (4.17), leaving one out in closed form (5.12; with the trend fitted again each time after
Dubrule, Cross validation of kriging in a unique neighborhood, Mathematical Geology 15, 1983). All cited from
memory.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import log

import numpy as np

from qualify.readings.model import FloatArray

Trend = Callable[[FloatArray], FloatArray]
"""The columns (n, p) of a trend at places (n, 3)."""

SHORTEST_LENGTH, LONGEST_LENGTH = 0.1, 4.0
"""Correlation lengths searched for the likeliest, in parts of the zone."""
_STARTS = (0.3, 1.0)
LENGTHS_TRIED = np.geomspace(0.15, 0.5, 6)
"""Correlation lengths of the fields that are simulated, in parts of the zone, each as likely beforehand: from
what neighbouring locations can just tell to half of the zone. A longer one would claim to know the field
between locations better than invented fields with a few bumps bear out (tests/studies/field.py)."""
SIZES_TRIED = np.geomspace(0.02, 20.0, 31)
"""Sizes σ of the simulated deviations, in parts of the means' root mean square."""
MOST_UNLIKE = 2.0
"""The three lengths of the simulated fields lie within this factor of their geometric mean."""
_JITTER = 1e-10
"""Part of σ² added on the diagonal against rounding; far below any uncertainty of a mean."""


def linear_trend(places: FloatArray) -> FloatArray:
    """Give the columns 1, x, y, z (n, 4) of places (n, 3)."""
    return np.column_stack([np.ones(places.shape[0]), places])


def matern(one: FloatArray, other: FloatArray, lengths: FloatArray) -> FloatArray:
    """Matérn 5/2 correlation (n, k) [1] of places (n, 3) and (k, 3) with lengths (3,) in the same unit."""
    squared = np.zeros((one.shape[0], other.shape[0]))
    for axis, length in enumerate(lengths):
        squared += ((one[:, axis, None] - other[None, :, axis]) / length) ** 2
    way = np.sqrt(5.0 * squared)
    return (1.0 + way + 5.0 / 3.0 * squared) * np.exp(-way)


@dataclass(frozen=True, slots=True, kw_only=True)
class Process:
    """A field fitted to means.

    Attributes
    ----------
    places : (n, 3) float64
        Coordinates in parts of the zone [1].
    values, standard : (n,) float64
        Means and their standard uncertainties [°C].
    trend
        The columns of the trend.
    sd
        Standard deviation σ of the deviations from the trend [°C].
    lengths : (3,) float64
        Correlation lengths in parts of the zone [1].
    """

    places: FloatArray
    values: FloatArray
    standard: FloatArray
    trend: Trend
    sd: float
    lengths: FloatArray

    def predict(self, places: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Give the field at places (k, 3): (k,) mean [°C] and (k, k) covariance [°C²], errors left out.

        The covariance holds the field's deviations and what the trend is uncertain by.
        """
        from scipy.linalg import cho_solve, cholesky, solve_triangular

        trend, wanted = self.trend(self.places), self.trend(places)
        lower = cholesky(self.covariance(), lower=True)
        across = self.sd**2 * matern(self.places, places, self.lengths)
        half = solve_triangular(lower, np.column_stack([across, trend, self.values]), lower=True)
        k = places.shape[0]
        half_across, half_trend, half_values = half[:, :k], half[:, k:-1], half[:, -1]
        information = cholesky(half_trend.T @ half_trend, lower=True)
        coefficients = cho_solve((information, True), half_trend.T @ half_values)
        open_trend = wanted - half_across.T @ half_trend
        mean = wanted @ coefficients + half_across.T @ (half_values - half_trend @ coefficients)
        spread = solve_triangular(information, open_trend.T, lower=True)
        covariance = self.sd**2 * matern(places, places, self.lengths)
        covariance += spread.T @ spread - half_across.T @ half_across
        return mean, covariance

    def leave_one_out(self) -> tuple[FloatArray, FloatArray]:
        """Error (n,) [°C] and variance (n,) [°C²] of each mean against the field of all others.

        The trend is fitted again without it; σ and the lengths stay. The variance holds the mean's own error.
        """
        trend = self.trend(self.places)
        inverse = np.linalg.inv(self.covariance())
        part = inverse @ trend
        precision = inverse - part @ np.linalg.solve(trend.T @ part, part.T)
        own = np.diag(precision)
        return precision @ self.values / own, 1.0 / own

    def covariance(self) -> FloatArray:
        """Covariance (n, n) [°C²] of the means about the trend."""
        errors = np.diag(self.standard**2 + _JITTER * self.sd**2)
        return self.sd**2 * matern(self.places, self.places, self.lengths) + errors


def fit_process(
    places: FloatArray, values: FloatArray, standard: FloatArray, trend: Trend, *, one_length: bool = True
) -> Process:
    """Choose σ and the correlation lengths by restricted maximum likelihood.

    Parameters
    ----------
    places : (n, 3) float64
        Coordinates in parts of the zone [1], which tell the trend's terms apart.
    values, standard : (n,) float64
        Means and their standard uncertainties [°C], the latter above zero.
    trend
        The columns of the trend.
    one_length
        One correlation length for all three directions, or one each.

    Returns
    -------
    Process
        The likeliest of two searches, from a short and a long start.
    """
    from scipy.optimize import minimize

    contrasts = _contrasts(trend(places))
    data = contrasts.T @ values
    errors = (contrasts.T * standard**2) @ contrasts
    size = max(float(np.sqrt(np.mean(data**2))), float(standard.min()))
    squares = (places[:, None, :] - places[None, :, :]) ** 2
    directions = 1 if one_length else 3

    def misfit(parameters: FloatArray) -> tuple[float, FloatArray]:
        """Minus twice the log restricted likelihood, less a constant, and its slopes."""
        variance, lengths = np.exp(parameters[0]), np.exp(parameters[1:])
        parts = squares / lengths**2
        way = np.sqrt(5.0 * parts.sum(axis=2))
        fall = np.exp(-way)
        kernel = (1.0 + way + way**2 / 3.0) * fall + _JITTER * np.eye(values.size)
        # d k / d log length of one direction
        bend = 5.0 / 3.0 * (1.0 + way[:, :, None]) * fall[:, :, None] * parts
        if directions == 1:
            bend = bend.sum(axis=2, keepdims=True)
        turns = [kernel, *np.moveaxis(bend, 2, 0)]
        turned = [variance * (contrasts.T @ turn @ contrasts) for turn in turns]
        covariance = turned[0] + errors
        inverse = np.linalg.inv(covariance)
        weighed = inverse @ data
        slopes = [float(np.sum(inverse * turn) - weighed @ turn @ weighed) for turn in turned]
        return float(np.linalg.slogdet(covariance)[1] + data @ weighed), np.array(slopes)

    bounds = [(2 * log(1e-3 * size), 2 * log(1e2 * size))]
    bounds += [(log(SHORTEST_LENGTH), log(LONGEST_LENGTH))] * directions
    searches = [
        minimize(
            misfit,
            np.array([2 * log(size), *[log(start)] * directions]),
            jac=True,
            method="L-BFGS-B",
            bounds=bounds,
        )
        for start in _STARTS
    ]
    best = min(searches, key=lambda search: float(search.fun)).x
    return Process(
        places=places,
        values=values,
        standard=standard,
        trend=trend,
        sd=float(np.exp(best[0] / 2)),
        lengths=np.broadcast_to(np.exp(best[1:]), (3,)).copy(),
    )


def likely_processes(
    places: FloatArray,
    values: FloatArray,
    standard: FloatArray,
    trend: Trend,
    lengths: FloatArray,
    count: int,
) -> list[tuple[Process, int]]:
    """Give processes that the means leave likely, as few locations don't tell σ and the length well.

    A grid of `LENGTHS_TRIED` and `SIZES_TRIED`, weighed by the restricted likelihood; beforehand each length
    counts the same and σ follows a half-Cauchy distribution of the means' scale (Gelman, Prior distributions
    for variance parameters in hierarchical models, Bayesian Analysis 1, 2006; cited from memory). Of the
    weights' distribution `count` evenly spaced quantiles are taken.

    Parameters
    ----------
    places, values, standard, trend
        As for `fit_process`.
    lengths : (3,) float64
        Only how the three directions compare is taken from these, within `MOST_UNLIKE`.
    count
        How many to take [1].

    Returns
    -------
    list of (Process, int)
        Different processes and how often each is taken; the numbers add up to `count`.
    """
    contrasts = _contrasts(trend(places))
    lower = np.linalg.cholesky((contrasts.T * standard**2) @ contrasts)
    data = np.linalg.solve(lower, contrasts.T @ values)
    scale = float(np.sqrt(np.mean(values**2)))
    sizes = SIZES_TRIED * scale
    ratios = np.clip(lengths / np.exp(np.log(lengths).mean()), 1.0 / MOST_UNLIKE, MOST_UNLIKE)
    likelihood = np.empty((LENGTHS_TRIED.size, sizes.size))
    for row, length in enumerate(LENGTHS_TRIED):
        kernel = contrasts.T @ matern(places, places, length * ratios) @ contrasts
        whitened = np.linalg.solve(lower, np.linalg.solve(lower, kernel).T)
        roots, turn = np.linalg.eigh((whitened + whitened.T) / 2.0)
        spread = 1.0 + sizes[:, None] ** 2 * np.maximum(roots, 0.0)
        likelihood[row] = -0.5 * (np.log(spread) + (turn.T @ data) ** 2 / spread).sum(axis=1)
    # The grid of sizes is even in log σ, hence the further factor σ.
    weights = np.exp(likelihood - likelihood.max()) * sizes / (1.0 + (sizes / scale) ** 2)
    steps = np.cumsum(weights.ravel()) / weights.sum()
    wanted = np.searchsorted(steps, (np.arange(count) + 0.5) / count)
    taken, times = np.unique(np.minimum(wanted, weights.size - 1), return_counts=True)
    return [
        (
            Process(
                places=places,
                values=values,
                standard=standard,
                trend=trend,
                sd=float(sizes[one % sizes.size]),
                lengths=LENGTHS_TRIED[one // sizes.size] * ratios,
            ),
            int(often),
        )
        for one, often in zip(taken, times, strict=True)
    ]


def _contrasts(design: FloatArray) -> FloatArray:
    """Give combinations (n, n − p) of the values that no trend touches, orthonormal."""
    return np.linalg.svd(design)[0][:, design.shape[1] :]
