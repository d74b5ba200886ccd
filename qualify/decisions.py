"""Decisions: a figure against its limits, with a guard band, as one of four words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from qualify.figures.absent import Absent, Maybe
from qualify.plan.model import Acceptance
from qualify.record import Decision

SLACK = 1e-9
"""Equal to the limit meets it: differences this small in the plan's unit are no difference."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Claim:
    """What one location (or the chamber) offers as evidence for a requirement.

    Attributes
    ----------
    value
        The figure, in the plan's unit or in seconds; or why there is none.
    expanded_uncertainty
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
    location: str | None = None
    time_s: float | None = None
    obstacle: str | None = None
    shortfall: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """An upper and/or a lower limit in the unit of the claims, and the tolerance U is held against."""

    low: float | None = None
    high: float | None = None

    def margin(self, value: float) -> float:
        """Distance to the nearer limit, positive inside, before any guard."""
        distances = []
        if self.high is not None:
            distances.append(self.high - value)
        if self.low is not None:
            distances.append(value - self.low)
        return min(distances)


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
    acceptance: Acceptance,
    *,
    uncertainty_share: float,
    tolerance: float | None,
) -> Decided:
    """Decide a requirement from the evidence of every location: the worst location decides.

    Inside limit − w pass; between that and the limit conditional; beyond the limit fail. The guard
    band w is the claim's own expanded uncertainty under guarded acceptance and 0 under simple
    acceptance (ILAC-G8:09/2019: w = tolerance limit − acceptance limit). Under simple acceptance an
    uncertainty above `uncertainty_share` of the tolerance shows nothing.

    Parameters
    ----------
    claims
        One for each location, or a single one for a figure of the chamber; at least one.
    limit
        The limits.
    acceptance
        Simple or guarded.
    uncertainty_share
        Largest allowed U ÷ tolerance under simple acceptance.
    tolerance
        What U is held against; None where the requirement has no tolerance to compare.
    """
    judged = [
        (_judge(claim, limit, acceptance, uncertainty_share=uncertainty_share, tolerance=tolerance), claim)
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
    acceptance: Acceptance,
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
    guarded = acceptance is Acceptance.GUARDED and uncertainty is not None
    guard = uncertainty if guarded and uncertainty is not None else 0.0
    if margin < -SLACK:
        within = uncertainty is not None and -margin <= uncertainty
        note = "beyond the limit, by less than its expanded uncertainty" if within else "beyond the limit"
        return Decision.FAIL, note, guard
    if claim.shortfall is not None:
        return Decision.NOT_SHOWN, claim.shortfall, guard
    too_uncertain = (
        not guarded
        and uncertainty is not None
        and tolerance is not None
        and uncertainty > uncertainty_share * tolerance + SLACK
    )
    if too_uncertain and uncertainty is not None and tolerance is not None:
        note = (
            f"the expanded uncertainty {uncertainty:.3g} is more than {uncertainty_share:.3g} "
            f"of the tolerance {tolerance:.3g}"
        )
        return Decision.NOT_SHOWN, note, guard
    if margin < guard - SLACK:
        return Decision.CONDITIONAL, "inside the limit by less than its expanded uncertainty", guard
    return Decision.PASS, "", guard
