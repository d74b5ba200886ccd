"""Global risks: what share of many like items is accepted or rejected wrongly, given how they scatter.

JCGM 106:2012, 9: the true value Y of an item has a known density; a measurement adds a normal error; the
item is accepted if the measured value lies inside the acceptance limits. Values are in one unit.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from math import exp, inf, isfinite, pi, sqrt

from qualify.figures.absent import Absent
from qualify.probability import normal_between


@dataclass(frozen=True, slots=True, kw_only=True)
class Prior:
    """How the true values of like items scatter.

    Attributes
    ----------
    density
        Density at a true value [1/unit]; its integral over the support is 1.
    support
        Least and largest possible value; infinite ones count.
    centre, scale
        Where the density is large and how wide it is; they steer the integration only.
    """

    density: Callable[[float], float]
    support: tuple[float, float]
    centre: float
    scale: float


def normal_prior(mean: float, standard_deviation: float) -> Prior:
    """Normal density.

    Raises
    ------
    ValueError
        If the standard deviation is not above 0.
    """
    if not (isfinite(standard_deviation) and standard_deviation > 0.0):
        raise ValueError(f"a prior has a standard deviation above 0, not {standard_deviation}")
    height = 1.0 / (standard_deviation * sqrt(2.0 * pi))
    return Prior(
        density=lambda value: height * exp(-0.5 * ((value - mean) / standard_deviation) ** 2),
        support=(-inf, inf),
        centre=mean,
        scale=standard_deviation,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class GlobalRisk:
    """Shares of all items; each from 0 to 1.

    Attributes
    ----------
    conforming, accepted
        Share that truly lies inside the tolerance limits; share that is accepted.
    consumer_risk, producer_risk
        Share that is accepted though it doesn't conform; share that is rejected though it does
        (JCGM 106:2012, 9.5.2, equations 17 to 20; numbers cited from memory).
    accept_low, accept_high
        The acceptance limits; None where there is none.
    """

    conforming: float
    accepted: float
    consumer_risk: float
    producer_risk: float
    accept_low: float | None
    accept_high: float | None


def global_risk(
    prior: Prior,
    standard: float,
    *,
    limit_low: float | None = None,
    limit_high: float | None = None,
    accept_low: float | None = None,
    accept_high: float | None = None,
) -> GlobalRisk:
    """Consumer's and producer's risk (JCGM 106:2012, 9.5.2), by integrating over the true value.

    Parameters
    ----------
    prior
        How the true values scatter.
    standard
        Standard uncertainty of a measurement, above 0.
    limit_low, limit_high
        Tolerance limits, or None; at least one.
    accept_low, accept_high
        Acceptance limits; at least one. They may lie inside or outside the tolerance limits.

    Raises
    ------
    ValueError
        If u is not above 0, or there is no tolerance limit or no acceptance limit, or a pair is turned
        round.
    """
    tolerance, acceptance = _interval(limit_low, limit_high), _interval(accept_low, accept_high)
    _check_standard(standard)

    def accepts(value: float) -> float:
        return normal_between((acceptance[0] - value) / standard, (acceptance[1] - value) / standard)

    def accepted(value: float) -> float:
        return prior.density(value) * accepts(value)

    def rejected(value: float) -> float:
        # The two tails, not 1 − accepts: a small risk keeps its digits.
        below = normal_between(-inf, (acceptance[0] - value) / standard)
        above = normal_between((acceptance[1] - value) / standard, inf)
        return prior.density(value) * (below + above)

    integrals = _Integrals(prior, standard, (*tolerance, *acceptance))
    least, largest = prior.support
    inside = max(least, tolerance[0]), min(largest, tolerance[1])
    consumer = integrals.over(accepted, least, min(largest, tolerance[0]))
    consumer += integrals.over(accepted, max(least, tolerance[1]), largest)
    return GlobalRisk(
        conforming=integrals.over(prior.density, *inside),
        accepted=consumer + integrals.over(accepted, *inside),
        consumer_risk=consumer,
        producer_risk=integrals.over(rejected, *inside),
        accept_low=accept_low,
        accept_high=accept_high,
    )


def acceptance_for_consumer_risk(
    prior: Prior,
    standard: float,
    wanted: float,
    *,
    limit_low: float | None = None,
    limit_high: float | None = None,
) -> GlobalRisk | Absent:
    """Acceptance limits with which the consumer's risk is the wanted one, and all risks with them.

    Every acceptance limit lies the same distance inside its tolerance limit (outside, where a larger risk
    than that of simple acceptance is wanted).

    Parameters
    ----------
    prior, standard, limit_low, limit_high
        As for `global_risk`.
    wanted
        Consumer's risk, in (0, 1).

    Raises
    ------
    ValueError
        As for `global_risk`, or if the wanted risk is not in (0, 1).
    """
    from scipy.optimize import brentq

    if not 0.0 < wanted < 1.0:
        raise ValueError(f"a consumer's risk is between 0 and 1, not {wanted}")
    low, high = _interval(limit_low, limit_high)
    _check_standard(standard)

    def risk(guard: float) -> GlobalRisk:
        return global_risk(
            prior,
            standard,
            limit_low=limit_low,
            limit_high=limit_high,
            accept_low=None if limit_low is None else limit_low + guard,
            accept_high=None if limit_high is None else limit_high - guard,
        )

    reach = 10.0 * (standard + prior.scale) + sum(
        abs(limit - prior.centre) for limit in (low, high) if isfinite(limit)
    )
    widest, narrowest = -reach, min(reach, (high - low) / 2)
    if risk(widest).consumer_risk <= wanted:
        return Absent("even if every item were accepted the consumer's risk would be no larger")
    if risk(narrowest).consumer_risk > wanted:
        return Absent("no acceptance limit within reach keeps the consumer's risk so small")
    guard = brentq(
        lambda width: risk(width).consumer_risk - wanted, widest, narrowest, xtol=1e-13 * reach, rtol=1e-14
    )
    return risk(float(guard))


def _interval(low: float | None, high: float | None) -> tuple[float, float]:
    if low is None and high is None:
        raise ValueError("risks need a tolerance limit and an acceptance limit")
    pair = (-inf if low is None else low, inf if high is None else high)
    if not pair[0] <= pair[1]:
        raise ValueError(f"the lower limit {low} is above the upper one, {high}")
    return pair


class _Integrals:
    """Integrals over the true value, in pieces between the places where an integrand changes its scale."""

    def __init__(self, prior: Prior, standard: float, limits: tuple[float, ...]) -> None:
        self.short = 1e-9 * min(prior.scale, standard)
        places = {prior.centre + steps * prior.scale for steps in (-40, -12, -6, -3, -1, 0, 1, 3, 6, 12, 40)}
        for limit in limits:
            if isfinite(limit):
                places.update(limit + steps * standard for steps in (-40, -8, -4, -2, 0, 2, 4, 8, 40))
        self.places = sorted(places)

    def over(self, function: Callable[[float], float], low: float, high: float) -> float:
        """Integral from low to high; 0 where they are turned round."""
        from scipy.integrate import quad

        if low >= high:
            return 0.0
        total = 0.0
        for one, other in pairwise([low, *(place for place in self.places if low < place < high), high]):
            if other - one <= self.short:  # too short for the library's rule, and as good as straight
                total += (other - one) * function((one + other) / 2)
            else:
                total += float(quad(function, one, other, epsabs=1e-13, epsrel=1e-10)[0])
        return total


def _check_standard(standard: float) -> None:
    if not (isfinite(standard) and standard > 0.0):
        raise ValueError(f"a standard uncertainty is above 0, not {standard}")
