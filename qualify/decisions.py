"""Decisions: a figure against its limits, with a guard band, as one of four words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf, isinf

from qualify.figures.absent import Absent, Maybe, present
from qualify.inference.guard_bands import ONE_SIDED_FACTOR, GuardRule, guard_band
from qualify.inference.risks import SLACK, Zone, conformance_probability, zone
from qualify.plan.model import Acceptance
from qualify.record import Decision, OtherRule


@dataclass(frozen=True, slots=True, kw_only=True)
class Claim:
    """What one location (or the chamber) offers as evidence for a requirement.

    Attributes
    ----------
    value
        The figure, in the plan's unit or in seconds; or why there is none.
    expanded_uncertainty, standard_uncertainty
        Of the figure's readings, in the same unit; None where it is not known.
    location
        Name of the location, or None for the chamber.
    time_s
        When the value stood [s], or None.
    obstacle
        Why this evidence can't be judged at all, whatever its value; None if it can.
    shortfall
        Why this evidence is too little to show the requirement, though a value beyond the limit
        still fails it; None if it is enough.
    """

    value: Maybe
    expanded_uncertainty: float | None = None
    standard_uncertainty: float | None = None
    location: str | None = None
    time_s: float | None = None
    obstacle: str | None = None
    shortfall: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """An upper and/or a lower limit in the unit of the claims.

    `other_side` is the limit on the other side of the same band, where a requirement holds one side of it:
    a probability of conformance counts both.
    """

    low: float | None = None
    high: float | None = None
    other_side: float | None = None

    def margin(self, value: float) -> float:
        """Distance to the nearer limit, positive inside, before any guard."""
        distances = []
        if self.high is not None:
            distances.append(self.high - value)
        if self.low is not None:
            distances.append(value - self.low)
        return min(distances)

    @property
    def band(self) -> tuple[float | None, float | None]:
        """Both limits of the band that this requirement holds, or holds one side of."""
        low = self.low if self.high is None or self.low is not None else self.other_side
        high = self.high if self.low is None or self.high is not None else self.other_side
        return low, high

    def probability(self, value: float, standard_uncertainty: float) -> float:
        """Probability that the true value keeps the limits.

        Both limits of the band count where they stand closer than 6 u; else only those of this requirement:
        a value far from its own limit must not answer for the other one, which is judged by itself.
        """
        low, high = self.band
        if low is not None and high is not None and high - low >= ONE_SIDED_FACTOR * standard_uncertainty:
            low, high = self.low, self.high
        found = conformance_probability(value, standard_uncertainty, limit_low=low, limit_high=high)
        assert present(found)
        return found


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """A decision rule: its kind, and its number.

    Attributes
    ----------
    acceptance
        Simple: the limit itself. Guarded: the limit less r·U. By probability: the probability of
        conformance reaches a stated one. ISO 14253-1: the same with 95 %.
    guard_factor
        r of the guard band r·U.
    least_probability
        What the probability of conformance must reach.
    """

    acceptance: Acceptance
    guard_factor: float = 1.0
    least_probability: float = 0.95

    @property
    def by_probability(self) -> bool:
        """Whether the probability of conformance decides."""
        return self.acceptance in (Acceptance.PROBABILITY, Acceptance.ISO_14253)

    @property
    def required_probability(self) -> float:
        """Probability that must be reached; ISO 14253-1 states 95 % where nothing else is agreed."""
        return 0.95 if self.acceptance is Acceptance.ISO_14253 else self.least_probability

    def guard_band(self, claim: Claim, limit: Limit) -> float:
        """Width of the guard band for a claim: 0 under simple acceptance or without uncertainty.

        w = tolerance limit − acceptance limit (ILAC-G8:09/2019); see `qualify.inference.guard_bands`. Where
        the guard bands swallow the tolerance, w reaches to its middle.
        """
        if claim.expanded_uncertainty is None or self.acceptance is Acceptance.SIMPLE:
            return 0.0
        if isinf(claim.expanded_uncertainty):
            # A time that would never end once its limits are drawn in by U: no guard band is wide enough.
            return inf
        by_probability = self.by_probability and claim.standard_uncertainty is not None
        low, high = limit.band
        found = guard_band(
            GuardRule.ISO_14253 if by_probability else GuardRule.EXPANDED,
            limit_low=low,
            limit_high=high,
            standard=claim.standard_uncertainty,
            expanded=claim.expanded_uncertainty,
            part=self.guard_factor if self.acceptance is Acceptance.GUARDED else 1.0,
            confidence=self.required_probability if by_probability else 0.95,
        ).width
        if present(found):
            return found
        return 0.0 if low is None or high is None else (high - low) / 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Decided:
    """The decision over all claims, and which claim carried it."""

    decision: Decision
    value: Maybe
    margin: Maybe
    location: str | None
    time_s: float | None
    decided_by: str | None
    guard_band: float | None
    note: str


def decide(
    claims: Sequence[Claim],
    limit: Limit,
    rule: Rule,
    *,
    uncertainty_share: float,
    tolerance: float | None,
) -> Decided:
    """Decide a requirement from the evidence of every location: the worst location decides.

    Inside limit − w pass; between that and the limit conditional; beyond the limit fail. The guard
    band w is the rule's (see `Rule`), from the claim's own uncertainty. By probability: pass where the
    probability of conformance reaches the stated one, which with one limit near is the guard band z·u.
    Under simple acceptance an uncertainty above `uncertainty_share` of the tolerance shows nothing.

    Parameters
    ----------
    claims
        One for each location, or a single one for a figure of the chamber; at least one.
    limit
        The limits.
    rule
        The decision rule.
    uncertainty_share
        Largest allowed U ÷ tolerance under simple acceptance.
    tolerance
        What U is held against; None where the requirement has no tolerance to compare.
    """
    judged = [
        (_judge(claim, limit, rule, uncertainty_share=uncertainty_share, tolerance=tolerance), claim)
        for claim in claims
    ]
    order = list(Decision)
    (decision, note, guard), binding = max(
        judged, key=lambda item: (order.index(item[0][0]), -_guarded_margin(item[1], limit, item[0][2]))
    )
    extreme = min(claims, key=lambda claim: _guarded_margin(claim, limit, None))
    margin: Maybe = extreme.value if isinstance(extreme.value, Absent) else limit.margin(extreme.value)
    return Decided(
        decision=decision,
        value=extreme.value,
        margin=margin,
        location=extreme.location,
        time_s=extreme.time_s,
        decided_by=binding.location,
        guard_band=guard,
        note=note,
    )


def _guarded_margin(claim: Claim, limit: Limit, guard: float | None) -> float:
    if isinstance(claim.value, Absent):
        return float("inf")
    return limit.margin(claim.value) - (guard or 0.0)


def _judge(
    claim: Claim,
    limit: Limit,
    rule: Rule,
    *,
    uncertainty_share: float,
    tolerance: float | None,
) -> tuple[Decision, str, float | None]:
    """Decision, note and guard band of one claim."""
    if isinstance(claim.value, Absent):
        return Decision.NOT_SHOWN, claim.value.reason, None
    if claim.obstacle is not None:
        return Decision.NOT_SHOWN, claim.obstacle, None
    margin = limit.margin(claim.value)
    uncertainty = claim.expanded_uncertainty
    guard = rule.guard_band(claim, limit)
    if margin < -SLACK:
        within = uncertainty is not None and -margin <= uncertainty
        note = "beyond the limit, by less than its expanded uncertainty" if within else "beyond the limit"
        return Decision.FAIL, note, guard
    if claim.shortfall is not None:
        return Decision.NOT_SHOWN, claim.shortfall, guard
    simple = rule.acceptance is Acceptance.SIMPLE
    if (
        simple
        and uncertainty is not None
        and tolerance is not None
        and uncertainty > uncertainty_share * tolerance + SLACK
    ):
        note = (
            f"the expanded uncertainty {uncertainty:.3g} is more than {uncertainty_share:.3g} "
            f"of the tolerance {tolerance:.3g}"
        )
        return Decision.NOT_SHOWN, note, guard
    standard = claim.standard_uncertainty
    if rule.by_probability and standard is not None:
        probability = limit.probability(claim.value, standard)
        if probability < rule.required_probability - SLACK:
            note = (
                f"inside the limit, but it conforms with a probability of {_percent(probability)} only, "
                f"not {_percent(rule.required_probability)}"
            )
            return Decision.CONDITIONAL, note, guard
        return Decision.PASS, "", guard
    if margin < guard - SLACK:
        part = "" if rule.guard_factor == 1.0 else f"{rule.guard_factor:g} times "
        return Decision.CONDITIONAL, f"inside the limit by less than {part}its expanded uncertainty", guard
    return Decision.PASS, "", guard


def _percent(probability: float) -> str:
    """A probability as a percentage that never rounds up to certainty."""
    percent = 100.0 * probability
    return f"{percent:.1f} %" if percent <= 99.9 else f"{min(percent, 99.9999):.4f} %"


# ---- what another rule would have said ----


def other_rules(
    claims: Sequence[Claim], limit: Limit, rule: Rule, *, uncertainty_share: float, tolerance: float | None
) -> tuple[OtherRule, ...]:
    """What other rules would have said of the same evidence; nothing where no uncertainty is known.

    The plan's own rule stands among them and is marked. The rules: simple acceptance; guard band U; the
    four zones with w = U (ILAC-G8:09/2019); ISO 14253-1 at 95 %; a guard band with which all locations
    together conform with 95 % if their errors were independent (Šidák).

    Parameters
    ----------
    claims, limit, uncertainty_share, tolerance
        As for `decide`.
    rule
        The plan's rule.
    """
    if not any(claim.expanded_uncertainty for claim in claims):
        return ()
    found = [
        OtherRule(
            rule=words,
            says=decided.decision.value,
            guard_band=decided.guard_band,
            location=decided.decided_by,
            chosen=other == rule,
        )
        for words, other in _named_rules(rule)
        for decided in [
            decide(claims, limit, other, uncertainty_share=uncertainty_share, tolerance=tolerance)
        ]
    ]
    zone, binding = max(
        ((_zone(claim, limit), claim) for claim in claims),
        key=lambda item: (
            ZONES.index(item[0]),
            -_guarded_margin(item[1], limit, item[1].expanded_uncertainty),
        ),
    )
    found.append(
        OtherRule(
            rule="four zones, w = U (ILAC-G8)",
            says=zone,
            guard_band=binding.expanded_uncertainty,
            location=binding.location,
        )
    )
    known = [claim for claim in claims if claim.standard_uncertainty and not isinstance(claim.value, Absent)]
    if len(known) > 1:
        together = Rule(acceptance=Acceptance.PROBABILITY, least_probability=0.95 ** (1.0 / len(known)))
        decided = decide(claims, limit, together, uncertainty_share=uncertainty_share, tolerance=tolerance)
        found.append(
            OtherRule(
                rule=f"all {len(known)} together at 95 %, errors independent (Šidák)",
                says=decided.decision.value,
                guard_band=decided.guard_band,
                location=decided.decided_by,
            )
        )
    return tuple(found)


ZONES = (Zone.PASS, Zone.CONDITIONAL_PASS, "not shown", Zone.CONDITIONAL_FAIL, Zone.FAIL)
"""The four zones of ILAC-G8 from best to worst, and what can't be placed among them."""


_WIDEST = 1e12
"""A guard band that no limit survives, where U is infinite."""


def _zone(claim: Claim, limit: Limit) -> str:
    uncertainty = claim.expanded_uncertainty
    if isinstance(claim.value, Absent) or claim.obstacle is not None or uncertainty is None:
        return "not shown"
    found = zone(claim.value, min(uncertainty, _WIDEST), limit_low=limit.low, limit_high=limit.high)
    inside = found in (Zone.PASS, Zone.CONDITIONAL_PASS)
    if isinstance(found, Absent) or (inside and claim.shortfall is not None):
        return "not shown"
    return found.value


def _named_rules(rule: Rule) -> list[tuple[str, Rule]]:
    """Rules to compare, the plan's own among them, each once."""
    named = {
        Rule(acceptance=Acceptance.SIMPLE): "simple acceptance",
        Rule(acceptance=Acceptance.GUARDED): "guard band w = U",
        Rule(acceptance=Acceptance.ISO_14253): "ISO 14253-1, 95 %",
    }
    if rule.acceptance is Acceptance.GUARDED:
        named.setdefault(rule, f"guard band w = {rule.guard_factor:g}·U")
    if rule.acceptance is Acceptance.PROBABILITY:
        named.setdefault(rule, f"probability of conformance at least {_percent(rule.least_probability)}")
    return [(words, other) for other, words in named.items()]
