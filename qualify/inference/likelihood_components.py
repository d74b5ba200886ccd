"""Components of location, run and rest by restricted maximum likelihood, with profile intervals.

The second opinion beside the analysis of variance: it needs no balance and can't give a negative variance.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import log

import numpy as np

from qualify.figures.absent import Absent
from qualify.inference.components import mean_squares, used_part
from qualify.inference.variance_intervals import Component, MaybeComponent, checked_share
from qualify.readings.model import FloatArray

METHOD = "restricted maximum likelihood"
MOST_APART = 300.0
"""From here on (sd of a component over that of the rest) too many digits are lost in the likelihood."""
OUT_OF_REACH = 1e12
INTERVAL = "profile likelihood, threshold scaled to the degrees of freedom"


@dataclass(frozen=True, slots=True, kw_only=True)
class LikelihoodComponents:
    """Components by restricted maximum likelihood.

    Attributes
    ----------
    n, locations, runs
        Figures, and locations and runs with at least one.
    mean_c
        Generalised least-squares mean [°C].
    run, location, residual
        The components.
    log_likelihood
        The restricted log likelihood reached, as statsmodels and others count it [1].
    method, confidence
        Of estimates in words, and of intervals [1].
    """

    n: int
    locations: int
    runs: int
    mean_c: float
    run: MaybeComponent
    location: MaybeComponent
    residual: MaybeComponent
    log_likelihood: float
    method: str
    confidence: float


def likelihood_components(table_c: FloatArray, confidence: float = 0.95) -> LikelihoodComponents | Absent:
    """Estimate the components of one figure over locations and runs by restricted maximum likelihood.

    H. D. Patterson, R. Thompson, Recovery of inter-block information when block sizes are unequal,
    Biometrika 58, 1971, 545–554; cited from memory. An interval holds the values whose profile likelihood
    ratio −2·ln stays under the quantile of chi-square with one degree of freedom, times the expectation of
    that ratio for one mean square, ν·(ln(ν/2) − ψ(ν/2)): a correction after Bartlett (Proceedings of the
    Royal Society A 160, 1937, 268–282; cited from memory) without which two or three runs give intervals
    that are too short.

    Parameters
    ----------
    table_c : (m, k) float64
        One figure [°C] of each location (row) in each run (column); NaN where there is none.
    confidence
        Of each interval [1].
    """
    checked_share(confidence, "confidence")
    table = used_part(table_c)
    if table.shape[0] < 2:
        return Absent("fewer than two locations with a figure; runs and the rest can't be told apart")
    lines = mean_squares(table)
    if isinstance(lines, Absent):
        return lines
    if lines.residual.sum_c2 == 0.0:
        return Absent(
            "the figures do not scatter beyond runs and locations; there is no likelihood to compare"
        )
    unit = lines.residual.value_c2
    likelihood = _Restricted((table - np.nanmedian(table)) / np.sqrt(unit))
    start = [
        max((line.value_c2 / unit - 1.0) / times, 0.02) ** 0.5
        for line, times in ((lines.run, lines.run_times), (lines.location, lines.location_times))
    ]
    if max(start) > MOST_APART:
        return Absent(
            f"runs or locations lie {max(start):.0f} times further apart than the rest scatters; the "
            "likelihood can't be computed to enough digits, the analysis of variance stands"
        )
    # Standard deviations of run, location and rest in units of the residual one; the likelihood is even
    # in each, so that a search needs no bounds and 0 is an ordinary point.
    best = np.abs(_least(likelihood, np.array([*start, 1.0]), fine=True))
    # A component that belongs at 0 is put there: the search only comes near.
    for which in (0, 1):
        at_zero = best.copy()
        at_zero[which] = 0.0
        if likelihood(at_zero) <= likelihood(best) + 1e-9:
            best = at_zero
    degrees = (lines.run.degrees, lines.location.degrees, lines.residual.degrees)
    parts = [_component(likelihood, best, which, degrees[which], unit, confidence) for which in range(3)]
    n = int(np.isfinite(table).sum())
    return LikelihoodComponents(
        n=n,
        locations=table.shape[0],
        runs=table.shape[1],
        mean_c=float(np.nanmedian(table) + np.sqrt(unit) * likelihood.mean(best)),
        run=parts[0],
        location=parts[1],
        residual=parts[2],
        log_likelihood=-0.5 * (likelihood(best) + (n - 1) * log(2 * np.pi * unit)),
        method=METHOD,
        confidence=confidence,
    )


class _Restricted:
    """−2·ln of the restricted likelihood, less its constant, of standard deviations (run, location, rest)."""

    def __init__(self, table: FloatArray) -> None:
        there = np.isfinite(table)
        y = np.where(there, table, 0.0)
        self.cells = there.astype(np.float64)
        self.per_location = self.cells.sum(axis=1)
        self.per_run = self.cells.sum(axis=0)
        self.n = float(self.cells.sum())
        # Ones and figures, summed over each location, over each run, and multiplied with each other.
        self.over_location = np.column_stack((self.per_location, y.sum(axis=1)))
        self.over_run = np.column_stack((self.per_run, y.sum(axis=0)))
        total = float(y.sum())
        self.products = np.array([[self.n, total], [total, float((y * y).sum())]])

    def _reduced(self, run: float, location: float) -> tuple[float, FloatArray]:
        """ln|V| and [1 y]'V⁻¹[1 y] with V in units of the rest's variance.

        V = I + ZZ'; (I + ZZ')⁻¹ = I − Z(I + Z'Z)⁻¹Z'. Locations make Z'Z's diagonal block and are taken
        out first, so that a matrix of the number of runs is left.
        """
        diagonal = 1.0 + location**2 * self.per_location
        cross = (location * run) * self.cells
        square = np.diag(1.0 + run**2 * self.per_run) - (cross.T / diagonal) @ cross
        above = location * self.over_location
        below = run * self.over_run - (cross.T / diagonal) @ above
        root = np.linalg.cholesky(square)
        solved = np.linalg.solve(root, below)
        reduced = self.products - (above.T / diagonal) @ above - solved.T @ solved
        return float(np.log(diagonal).sum() + 2 * np.log(np.diag(root)).sum()), reduced

    def __call__(self, sd: FloatArray) -> float:
        rest = max(abs(float(sd[2])), 1e-8)
        log_size, reduced = self._reduced(float(sd[0]) / rest, float(sd[1]) / rest)
        ones = float(reduced[0, 0])
        left = float(reduced[1, 1]) - float(reduced[0, 1]) ** 2 / ones if ones > 0 else 0.0
        if not left > 0:
            return OUT_OF_REACH  # a search that wandered to where no digit is left
        return 2 * (self.n - 1) * log(rest) + log_size + log(ones) + left / rest**2

    def mean(self, sd: FloatArray) -> float:
        """Generalised least-squares mean at these standard deviations."""
        _, reduced = self._reduced(float(sd[0] / sd[2]), float(sd[1] / sd[2]))
        return float(reduced[0, 1] / reduced[0, 0])


def _least(function: Callable[[FloatArray], float], start: FloatArray, *, fine: bool = False) -> FloatArray:
    """Give where a smooth function is least, searched downhill from `start`.

    The slope left over leaves the least value in error by its square only; `fine` is for where the place
    itself is wanted.
    """
    from scipy.optimize import minimize

    if fine:
        found = minimize(function, start, method="BFGS", jac="3-point", options={"gtol": 1e-6})
    else:
        found = minimize(function, start, method="BFGS", jac="2-point", options={"gtol": 1e-4})
    return np.asarray(found.x, dtype=np.float64)


def _component(
    likelihood: _Restricted, best: FloatArray, which: int, degrees: float, unit: float, confidence: float
) -> Component:
    """Give one component with its profile interval; variances in units of `unit` [°C²] turned back."""
    from scipy.optimize import brentq
    from scipy.special import chdtri, digamma

    scaled = degrees * (log(degrees / 2) - float(digamma(degrees / 2)))
    threshold = float(chdtri(1.0, 1.0 - confidence)) * scaled
    others = [index for index in range(3) if index != which]
    lowest = likelihood(best)
    nearby = {float(best[which]): best[others]}

    def beyond(sd: float) -> float:
        """How far the profile lies above the threshold, its search begun at the nearest solution so far."""

        def profile(rest: FloatArray) -> float:
            whole = np.empty(3)
            whole[which], whole[others] = sd, rest
            return likelihood(whole)

        start = nearby[min(nearby, key=lambda known: abs(known - sd))]
        # Not from 0 itself, where the slope is nought whatever lies beside it.
        found = _least(profile, np.maximum(np.abs(start), 0.05))
        nearby[sd] = found
        return profile(found) - lowest - threshold

    estimate = float(best[which])
    floor = 0.0 if which < 2 else 1e-3 * estimate
    low = 0.0 if beyond(floor) <= 0.0 else float(brentq(beyond, floor, estimate, xtol=1e-6, rtol=1e-5))
    top = 2.0 * max(estimate, 0.5)
    while beyond(top) < 0.0 and top < 1e9:
        top *= 2.0
    high = float(brentq(beyond, estimate, top, xtol=1e-6, rtol=1e-5))
    return Component(
        variance_c2=estimate**2 * unit,
        low_c2=low**2 * unit,
        high_c2=high**2 * unit,
        unheld_c2=estimate**2 * unit,
        degrees=degrees,
        confidence=confidence,
        method=INTERVAL,
        note="" if estimate > 0 else "the likelihood is greatest at 0: the rest alone explains the scatter",
    )
