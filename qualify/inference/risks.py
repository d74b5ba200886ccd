"""What a measured value and its uncertainty say of a limit: probability of conformance, risk, zone.

JCGM 106:2012 (role of measurement uncertainty in conformity assessment) and ILAC-G8:09/2019.
Values, limits and uncertainties are in one unit, whichever it is; the functions know no other.
"""

from __future__ import annotations

from enum import StrEnum
from math import inf, isfinite

from qualify.figures.absent import Absent, Maybe
from qualify.probability import normal_between, normal_quantile, student_quantile

SLACK = 1e-9
"""Equal to a limit meets it: differences this small are no difference."""


def conformance_probability(
    value: float,
    standard: float,
    *,
    limit_low: float | None = None,
    limit_high: float | None = None,
    degrees: float = inf,
) -> Maybe:
    """Probability that the true value lies inside its limits, nothing else being known of it.

    p_c = Φ((T_U − y)/u) − Φ((T_L − y)/u); a limit that is not there drops its term (JCGM 106:2012, 7.4;
    one-sided forms 7.2 and 7.3, clauses cited from memory). With degrees of freedom: Student's t instead
    of Φ. The specific risk is 1 − p_c.

    Parameters
    ----------
    value, standard
        Measured value y and its standard uncertainty u, from 0.
    limit_low, limit_high
        Tolerance limits T_L and T_U, or None.
    degrees
        Effective degrees of freedom of u, from 1.

    Raises
    ------
    ValueError
        If the value is not a finite number, u is negative or not a number, or the degrees of freedom are
        below 1.
    """
    check_uncertainty(standard)
    if not isfinite(value):
        raise ValueError(f"a value is a finite number, not {value}")
    if not degrees >= 1.0:
        raise ValueError(f"degrees of freedom are from 1, not {degrees}")
    if limit_low is None and limit_high is None:
        return Absent("there is no limit to conform to")
    low = -inf if limit_low is None else limit_low - value
    high = inf if limit_high is None else limit_high - value
    if standard == 0.0:
        return 1.0 if low <= SLACK and high >= -SLACK else 0.0
    return _between(low / standard, high / standard, degrees)


def _between(low: float, high: float, degrees: float) -> float:
    """Probability of a standard variable, normal or of Student's t, between two bounds."""
    if not isfinite(degrees):
        return normal_between(low, high)
    from scipy.special import stdtr

    if low >= high:
        return 0.0
    if low > 0.0:
        low, high = -high, -low
    return float(stdtr(degrees, high) - stdtr(degrees, low))


def guard_factor(risk: float, degrees: float = inf) -> float:
    """Standard uncertainties between a limit and the value at which the one-sided specific risk is `risk`.

    Φ⁻¹(1 − risk), or that of Student's t (JCGM 106:2012, 7.3 and 8.3.2; clauses cited from memory).

    Raises
    ------
    ValueError
        If the risk is not in (0, 0.5), or the degrees of freedom are below 1.
    """
    if not 0.0 < risk < 0.5:
        raise ValueError(f"a risk to guard against is between 0 and 0.5, not {risk}")
    return student_quantile(degrees, 1.0 - risk) if isfinite(degrees) else -normal_quantile(risk)


def joint_guard_factor(locations: int, confidence: float = 0.95) -> float:
    """Standard uncertainties of guard band at each location with which all together conform.

    Φ⁻¹(confidence^(1/m)), one-sided, for m independent errors (Z. Šidák, Journal of the American Statistical
    Association 62, 1967, 626–633; cited from memory). Where errors are shared it is more than is needed.

    Raises
    ------
    ValueError
        If there is no location, or the confidence is not in (0, 1).
    """
    if locations < 1 or not 0.0 < confidence < 1.0:
        raise ValueError(f"no joint guard band for {locations} locations at {confidence}")
    return normal_quantile(confidence ** (1.0 / locations))


def false_accept_at_limit(guard: float, standard: float) -> float:
    """Probability that the true value is beyond the limit, for a value right at the acceptance limit.

    Φ(−w/u), one-sided (JCGM 106:2012, 7.3; ILAC-G8:09/2019 tabulates it for w in parts of U at k = 2).

    Parameters
    ----------
    guard, standard
        Guard band w and standard uncertainty u, above 0.

    Raises
    ------
    ValueError
        If u is not above 0.
    """
    check_uncertainty(standard)
    if standard == 0.0:
        raise ValueError("a risk at the limit needs a standard uncertainty above 0")
    return normal_between(-inf, -guard / standard)


class Zone(StrEnum):
    """The four zones of ILAC-G8:09/2019, from best to worst."""

    PASS = "pass"
    CONDITIONAL_PASS = "conditional pass"
    CONDITIONAL_FAIL = "conditional fail"
    FAIL = "fail"


def zone(
    value: float, guard: float, *, limit_low: float | None = None, limit_high: float | None = None
) -> Zone | Absent:
    """Zone in which a value lies, with a guard band w on either side of each limit.

    Inside limit − w pass; to the limit conditional pass; to limit + w conditional fail; beyond fail; the
    worse of two limits (ILAC-G8:09/2019, non-binary statement with guard band). Where 2·w exceeds the
    tolerance no value passes. Equal to a bound is the better zone.

    Parameters
    ----------
    value, guard
        Measured value, and guard band w from 0 (U, or r·U).
    limit_low, limit_high
        Tolerance limits, or None.

    Raises
    ------
    ValueError
        If the guard band is negative or not a number, or the value is not a number.
    """
    check_uncertainty(guard)
    if not isfinite(value):
        raise ValueError(f"a value is a finite number, not {value}")
    margins = []
    if limit_high is not None:
        margins.append(limit_high - value)
    if limit_low is not None:
        margins.append(value - limit_low)
    if not margins:
        return Absent("there is no limit to conform to")
    margin = min(margins)
    if margin >= guard - SLACK:
        return Zone.PASS
    if margin >= -SLACK:
        return Zone.CONDITIONAL_PASS
    return Zone.CONDITIONAL_FAIL if margin >= -guard - SLACK else Zone.FAIL


def check_uncertainty(value: float) -> None:
    """Raise a ValueError unless this is a finite number from 0."""
    if not (isfinite(value) and value >= 0.0):
        raise ValueError(f"an uncertainty or guard band is a number from 0, not {value}")
