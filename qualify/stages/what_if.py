"""What would change the margin: better certificates, another rule, more sensors, a longer window.

Every row is the hold as it was measured, with one thing changed. The rows about more sensors and longer
windows are estimates, which the measurement of them may contradict; they say so.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from qualify.decisions import Claim, Limit, Rule, decide
from qualify.figures.absent import Absent, Maybe, present
from qualify.figures.budget import Budget, budget
from qualify.figures.uniformity import Window
from qualify.inference.monte_carlo import simulate, window_extremes
from qualify.inference.order_statistics import expected_largest
from qualify.plan.model import Acceptance, Plan
from qualify.plan.statistics import StatisticsChoice
from qualify.plan.uncertainty import Source
from qualify.record import Decision, WhatIfRecord
from qualify.stages.hold_figures import HoldFigures
from qualify.stages.requirements import rule_of
from qualify.stages.simulation import error_sources
from qualify.stages.stretch import Stretch

AS_MEASURED = "as it was measured"
MORE_PLACES = "twice as many locations"
COARSE = 0.005
"""Numerical tolerance of the rows' probabilities: enough to see what is worth improving first."""
MOST_TRIALS = 200_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """A hold with one thing changed: what each location offers, and the rule that decides."""

    budgets: tuple[Budget | Absent, ...]
    highest_c: tuple[float, ...]
    lowest_c: tuple[float, ...]
    rule: Rule


def what_if(
    plan: Plan, stretch: Stretch, figures: HoldFigures, choice: StatisticsChoice
) -> tuple[WhatIfRecord, ...] | Absent:
    """Change one thing at a time, and say what the margin would be.

    Parameters
    ----------
    plan, stretch, figures
        The plan, the hold in its recording, and its figures.
    choice
        Seed of the simulation.
    """
    window = stretch.window
    if isinstance(window, Absent):
        return window
    low_c, high_c = stretch.limits.low_c, stretch.limits.high_c
    if low_c is None or high_c is None:
        return Absent("no limits are set")
    locations = figures.locations
    if any(isinstance(item.deviation_max_c, Absent) for item in locations):
        return Absent("a location has no reading in the window")
    known = [item.reading for item in figures.budgets]
    guarded = plan.acceptance or (
        Acceptance.GUARDED if any(isinstance(item, Budget) for item in known) else Acceptance.SIMPLE
    )
    as_measured = Case(
        budgets=tuple(known),
        highest_c=tuple(item.deviation_max_c for item in locations if present(item.deviation_max_c)),
        lowest_c=tuple(item.deviation_min_c for item in locations if present(item.deviation_min_c)),
        rule=rule_of(plan, guarded),
    )
    limits = (low_c - window.setpoint_c, high_c - window.setpoint_c)
    share = plan.uncertainty_share

    def row(change: str, case: Case, *, simulated: bool = True, remark: str = "") -> WhatIfRecord:
        probability: Maybe = Absent("not simulated for this row")
        if simulated:
            probability = _probability(window, case, (low_c, high_c), choice)
        return _row(change, case, limits, share, stretch.readings.locations, probability, remark)

    rows = [row(AS_MEASURED, as_measured)]
    if all(isinstance(item, Budget) for item in known):
        sources = _sources(known)
        rows += [row(f"{source}: half its uncertainty", _halved(as_measured, [source])) for source in sources]
        certificates = [source for source in sources if source.startswith(Source.CALIBRATION)]
        if len(certificates) > 1:
            rows.append(row("all certificates twice as good", _halved(as_measured, certificates)))
    rows += [
        row(f"decided by {words}", replace(as_measured, rule=rule), simulated=False)
        for words, rule in _rules(as_measured.rule)
    ]
    estimates = (*_more_sensors(as_measured, figures), *_longer_window(as_measured, figures))
    rows += [row(change, case, simulated=False, remark=remark) for change, case, remark in estimates]
    return tuple(rows)


def _sources(budgets: Sequence[Budget | Absent]) -> list[str]:
    """Sources of all budgets, the largest first."""
    largest: dict[str, float] = {}
    for item in budgets:
        if isinstance(item, Budget):
            for contribution in item.contributions:
                found = largest.get(contribution.source, 0.0)
                largest[contribution.source] = max(found, contribution.standard_c)
    return sorted(largest, key=lambda source: -largest[source])


def _halved(case: Case, sources: Sequence[str]) -> Case:
    """The case with half the uncertainty of some sources."""

    def changed(found: Budget | Absent) -> Budget | Absent:
        if isinstance(found, Absent):
            return found
        rows = [
            replace(item, stated_c=item.stated_c / 2) if item.source in sources else item
            for item in found.contributions
        ]
        fixed = found.coverage_factor if np.isinf(found.effective_degrees) else None
        return budget(rows, coverage_factor=fixed)

    return replace(case, budgets=tuple(changed(item) for item in case.budgets))


def _rules(own: Rule) -> list[tuple[str, Rule]]:
    named = [
        ("simple acceptance", Rule(acceptance=Acceptance.SIMPLE)),
        ("guard band w = U", Rule(acceptance=Acceptance.GUARDED)),
        ("ISO 14253-1, 95 %", Rule(acceptance=Acceptance.ISO_14253)),
    ]
    return [(words, rule) for words, rule in named if rule != own]


def _more_sensors(case: Case, figures: HoldFigures) -> list[tuple[str, Case, str]]:
    """Twice as many locations: the extremes grow as those of a larger sample of the same scatter."""
    count = len(case.highest_c)
    means = [item.mean_c for item in figures.locations if present(item.mean_c)]
    if count < 3 or len(means) < count:
        return []
    grows = (expected_largest(2 * count) - expected_largest(count)) * float(np.std(means, ddof=1))
    remark = (
        "estimate: the new places scatter like the watched ones, normally; where the hot spot is known, a "
        "sensor there says more"
    )
    return [(f"{MORE_PLACES} ({2 * count})", _grown(case, grows), remark)]


def _longer_window(case: Case, figures: HoldFigures) -> list[tuple[str, Case, str]]:
    """A window twice as long: the extremes of each location's scatter grow with the readings."""
    grows = []
    for item in figures.locations:
        if not (present(item.sd_c) and present(item.effective_readings)):
            return []
        effective = item.effective_readings
        grows.append(item.sd_c * (expected_largest(2 * effective) - expected_largest(effective)))
    remark = (
        "estimate: the scatter stays as it is; extremes grow with time, so that a longer window is no way to "
        "a wider margin, but the uncertainty of the means falls"
    )
    return [("a window twice as long", _grown(case, *grows), remark)]


def _grown(case: Case, *grows: float) -> Case:
    each = grows if len(grows) > 1 else grows * len(case.highest_c)
    return replace(
        case,
        highest_c=tuple(value + more for value, more in zip(case.highest_c, each, strict=True)),
        lowest_c=tuple(value - more for value, more in zip(case.lowest_c, each, strict=True)),
    )


def _row(
    change: str,
    case: Case,
    limits: tuple[float, float],
    share: float,
    names: Sequence[str],
    probability: Maybe,
    remark: str,
) -> WhatIfRecord:
    low, high = limits
    decisions: list[Decision] = []
    judged: list[tuple[float, float, Claim]] = []
    for values, limit in (
        (case.highest_c, Limit(high=high, other_side=low)),
        (case.lowest_c, Limit(low=low, other_side=high)),
    ):
        claims = [
            Claim(
                value=value,
                expanded_uncertainty=None if isinstance(found, Absent) else found.expanded_c,
                standard_uncertainty=None if isinstance(found, Absent) else found.standard_c,
                location=name,
            )
            for value, found, name in zip(values, case.budgets, names, strict=True)
        ]
        decided = decide(claims, limit, case.rule, uncertainty_share=share, tolerance=(high - low) / 2)
        decisions.append(decided.decision)
        margins = [limit.margin(value) for value in values]
        judged += [
            (margin - case.rule.guard_band(claim, limit), margin, claim)
            for margin, claim in zip(margins, claims, strict=True)
        ]
    guarded, margin, claim = min(judged, key=lambda item: item[0])
    # The extreme of more places than were watched belongs to none of them.
    place = "a place without a sensor" if change.startswith(MORE_PLACES) else claim.location
    return WhatIfRecord(
        change=change,
        location=place or "",
        margin_c=margin,
        guard_band_c=margin - guarded,
        guarded_margin_c=guarded,
        decision=Decision.worst(decisions),
        conformance_probability=probability,
        remark=remark,
    )


def _probability(window: Window, case: Case, limits: tuple[float, float], choice: StatisticsChoice) -> Maybe:
    sources = error_sources(case.budgets)
    if isinstance(sources, Absent):
        return sources
    found = simulate(
        window_extremes(window.corrected_c, window.seconds),
        sources,
        setpoint_c=window.setpoint_c,
        limit_low_c=limits[0],
        limit_high_c=limits[1],
        seed=choice.seed,
        numerical_tolerance=COARSE,
        numerical_tolerance_c=1.0,
        most_trials=MOST_TRIALS,
    )
    return found if isinstance(found, Absent) else found.all_conform
