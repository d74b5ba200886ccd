"""Guard bands of the decision rules in use, and the acceptance limits that follow from them.

ILAC-G8:09/2019, ISO 14253-1 and JCGM 106:2012. Values are in one unit, whichever it is.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from math import inf

from qualify.figures.absent import Absent, Maybe
from qualify.inference.risks import SLACK, check_uncertainty, conformance_probability, joint_guard_factor
from qualify.probability import normal_between, normal_quantile

NO_ACCEPTANCE_ZONE = "no acceptance zone: the guard bands swallow the tolerance"
ONE_SIDED_FACTOR = 6.0
"""Where the tolerance is at least so many standard uncertainties wide, the far limit doesn't count for a
value at the near one's guard band."""


class GuardRule(StrEnum):
    """How a guard band is chosen."""

    SIMPLE = "simple"
    EXPANDED = "expanded"
    ISO_14253 = "iso-14253"
    JOINT = "joint"


@dataclass(frozen=True, slots=True, kw_only=True)
class GuardBand:
    """A guard band w and what follows from it.

    Attributes
    ----------
    rule
        How it was chosen.
    width
        w: tolerance limit less acceptance limit, positive inwards; or why there is none.
    risk_at_limit
        Specific risk of a value right at an acceptance limit; absent where u is not known.
    accept_low, accept_high
        Acceptance limits; None where there is no such tolerance limit, absent without an acceptance zone.
    source
        The document behind the rule.
    """

    rule: GuardRule
    width: Maybe
    risk_at_limit: Maybe
    accept_low: Maybe | None
    accept_high: Maybe | None
    source: str

    @property
    def has_acceptance_zone(self) -> bool:
        """Whether any value is accepted."""
        return not isinstance(self.accept_low, Absent) and not isinstance(self.accept_high, Absent)


SOURCES = {
    GuardRule.SIMPLE: "ILAC-G8:09/2019, simple acceptance",
    GuardRule.EXPANDED: "ILAC-G8:09/2019, guard band r·U",
    GuardRule.ISO_14253: "ISO 14253-1, 95 % by default (clause cited from memory)",
    GuardRule.JOINT: "guard band for all locations together, independent errors (Šidák 1967)",
}


def guard_band(
    rule: GuardRule,
    *,
    limit_low: float | None = None,
    limit_high: float | None = None,
    standard: float | None = None,
    expanded: float | None = None,
    part: float = 1.0,
    confidence: float = 0.95,
    locations: int = 1,
) -> GuardBand:
    """Guard band of a rule, and its acceptance limits.

    Simple: 0. Expanded: r·U. ISO 14253-1: z·u with z = Φ⁻¹(confidence), 1.645 at 95 %; where both limits
    stand closer than 6 u, the width at which the two-sided probability of conformance (JCGM 106:2012, 7.4)
    of a value at the acceptance limit reaches the confidence. Joint: Šidák's factor times u.

    Parameters
    ----------
    rule
        Which.
    limit_low, limit_high
        Tolerance limits, or None; at least one.
    standard, expanded
        Standard uncertainty u and expanded uncertainty U, where they are known.
    part
        r of r·U, from 0.
    confidence
        Of ISO 14253-1 and the joint rule, in (0.5, 1).
    locations
        Of the joint rule.

    Raises
    ------
    ValueError
        If there is no limit, the limits are turned round, an uncertainty or part is negative, or the
        confidence is not in (0.5, 1).
    """
    if limit_low is None and limit_high is None:
        raise ValueError("a guard band needs a limit")
    if limit_low is not None and limit_high is not None and not limit_low <= limit_high:
        raise ValueError(f"the lower limit {limit_low} is above the upper one, {limit_high}")
    if not 0.5 < confidence < 1.0 or not part >= 0.0:
        raise ValueError(f"no guard band with confidence {confidence} and part {part}")
    for uncertainty in (standard, expanded):
        if uncertainty is not None:
            check_uncertainty(uncertainty)
    width = _width(
        rule,
        tolerance=inf if limit_low is None or limit_high is None else limit_high - limit_low,
        standard=standard,
        expanded=expanded,
        part=part,
        confidence=confidence,
        locations=locations,
    )
    if isinstance(width, Absent):
        low: Maybe | None = None if limit_low is None else width
        high: Maybe | None = None if limit_high is None else width
    elif limit_low is not None and limit_high is not None and 2.0 * width > limit_high - limit_low + SLACK:
        low = high = Absent(NO_ACCEPTANCE_ZONE)
    else:
        low = None if limit_low is None else limit_low + width
        high = None if limit_high is None else limit_high - width
    return GuardBand(
        rule=rule,
        width=width,
        risk_at_limit=_risk_at(high if high is not None else low, standard, limit_low, limit_high),
        accept_low=low,
        accept_high=high,
        source=SOURCES[rule],
    )


def _risk_at(
    accept: Maybe | None, standard: float | None, limit_low: float | None, limit_high: float | None
) -> Maybe:
    if accept is None or isinstance(accept, Absent):
        return accept or Absent(NO_ACCEPTANCE_ZONE)
    if standard is None:
        return Absent("no standard uncertainty is known")
    conforms = conformance_probability(accept, standard, limit_low=limit_low, limit_high=limit_high)
    return conforms if isinstance(conforms, Absent) else 1.0 - conforms


def _width(
    rule: GuardRule,
    *,
    tolerance: float,
    standard: float | None,
    expanded: float | None,
    part: float,
    confidence: float,
    locations: int,
) -> Maybe:
    if rule is GuardRule.SIMPLE:
        return 0.0
    if rule is GuardRule.EXPANDED:
        return Absent("no expanded uncertainty is known") if expanded is None else part * expanded
    if standard is None:
        return Absent("no standard uncertainty is known")
    if rule is GuardRule.JOINT:
        return joint_guard_factor(locations, confidence) * standard
    if tolerance >= ONE_SIDED_FACTOR * standard:
        return normal_quantile(confidence) * standard
    return _two_sided_width(tolerance, standard, confidence)


def _two_sided_width(tolerance: float, standard: float, confidence: float) -> Maybe:
    """Width at which a value that far inside one limit conforms to both with the wanted probability."""

    def conforms(width: float) -> float:
        return normal_between((width - tolerance) / standard, width / standard)

    low, high = 0.0, tolerance / 2
    if conforms(high) < confidence:
        return Absent(f"{NO_ACCEPTANCE_ZONE}: not even its middle conforms with probability {confidence:g}")
    # The probability rises up to the middle; halving finds where it reaches the confidence.
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (low, middle) if conforms(middle) >= confidence else (middle, high)
    return high
