"""Rules of the chosen profile that a hold does not keep: departures, and doubts where one is not confirmed.

A rule that the document was seen to ask is a departure where it is not kept. One from memory or in
conflict is a doubt only, with its mark, and so is one that can't be checked.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from qualify.figures.absent import Absent, present
from qualify.findings import Doubt, DoubtKind
from qualify.plan.model import Plan
from qualify.plan.profile import Ask, Kind, Use
from qualify.stages.hold_figures import HoldFigures
from qualify.stages.stretch import Stretch

NOT_CONFIRMED = DoubtKind(
    "profile-not-confirmed",
    "hold '{hold}': not judged, as it is not confirmed: [{standing}] {text} ({citation}){found}. Confirm it "
    'in a licensed copy and add "{id}" to `confirmed` in the plan, or disregard it',
)
NOT_CHECKED = DoubtKind(
    "profile-not-checked",
    "hold '{hold}': a rule of the profile can't be checked: {text} ({citation}): {reason}",
)

_SLACK = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Broken:
    """A rule and how it stands: what was found, and whether that keeps it."""

    ask: Ask
    found: str
    kept: bool
    reason: str = ""
    """Why it can't be checked; "" where it can."""


def trend_is_asked(stretch: Stretch) -> bool:
    """Whether the profile makes a trend towards a limit a requirement."""
    profile = stretch.found.hold.profile
    return profile is not None and any(ask.obstacle is None for ask in profile.of(Kind.TREND))


def rules_not_kept(plan: Plan, stretch: Stretch, figures: HoldFigures) -> list[str]:
    """Departures from the profile, in words."""
    return [
        f"{item.ask.text} {item.ask.shown}".rstrip() + f": {item.found} "
        f"({item.ask.citation} [{item.ask.standing}])"
        for item in _rules(plan, stretch, figures)
        if not item.kept and not item.reason and item.ask.obstacle is None
    ]


def doubts_about_profile(plan: Plan, stretch: Stretch, figures: HoldFigures) -> list[Doubt]:
    """What the profile asks and is not confirmed, with what was found; and what can't be checked."""
    hold = stretch.found.hold
    if hold.profile is None:
        return []
    rules = {item.ask.id: item for item in _rules(plan, stretch, figures)}
    doubts = []
    for ask in hold.profile.asks:
        item = rules.get(ask.id)
        if ask.kind is Kind.SENSORS and item is not None and item.kept and not item.reason:
            continue
        words = f"{ask.text} {ask.shown}".rstrip()
        if ask.use is Use.UNCONFIRMED:
            found = _found_words(ask, figures) if item is None else item.found or item.reason
            doubts.append(
                NOT_CONFIRMED(
                    hold=hold.name,
                    standing=ask.standing,
                    text=words,
                    citation=ask.citation,
                    found=f"; here: {found}" if found else "",
                    id=ask.id,
                )
            )
        elif item is not None and item.reason:
            doubts.append(NOT_CHECKED(hold=hold.name, text=words, citation=ask.citation, reason=item.reason))
    return doubts


def _found_words(ask: Ask, figures: HoldFigures) -> str:
    """What the record shows of a figure that is not judged."""
    if ask.figure != "high_excess":
        return ""
    value = figures.chamber.high_excess_c
    return f"{value:.2f} °C" if present(value) else ""


def _rules(plan: Plan, stretch: Stretch, figures: HoldFigures) -> Iterator[Broken]:
    profile = stretch.found.hold.profile
    if profile is None:
        return
    for ask in profile.asks:
        item = _rule(plan, stretch, figures, ask)
        if item is not None:
            yield item


def _rule(plan: Plan, stretch: Stretch, figures: HoldFigures, ask: Ask) -> Broken | None:
    hold, window = stretch.found.hold, figures.window
    if ask.kind is Kind.CORRECTIONS:
        return Broken(ask=ask, found="the plan gives no certificates", kept=plan.certificates is not None)
    if ask.kind is Kind.START:
        return _start(stretch, ask)
    if ask.kind is Kind.SENSORS:
        if ask.value is None:
            return Broken(ask=ask, found="", kept=True, reason=ask.obstacle or "it is not known")
        count = len(stretch.readings.locations)
        return Broken(ask=ask, found=f"{count} locations were recorded", kept=count >= ask.value)
    if ask.value is None:
        return None
    if ask.kind is Kind.SOAK:
        found = f"the plan's soak is {hold.soak_minutes:g} min"
        return Broken(ask=ask, found=found, kept=hold.soak_minutes * 60.0 >= ask.value - _SLACK)
    if ask.kind not in (Kind.INTERVAL, Kind.WINDOW, Kind.READINGS):
        return None
    if isinstance(window, Absent):
        return Broken(ask=ask, found="", kept=True, reason=window.reason)
    if ask.kind is Kind.INTERVAL:
        if ask.use is Use.TAKEN:
            return None
        longest = figures.chamber.recording_interval_s
        if isinstance(longest, Absent):
            return Broken(ask=ask, found="", kept=True, reason=longest.reason)
        found = f"readings are up to {longest:g} s apart"
        return Broken(ask=ask, found=found, kept=longest <= ask.value * (1 + _SLACK))
    if ask.kind is Kind.WINDOW:
        length = window.end_s - window.start_s
        found = f"the window is {length / 60.0:.4g} min long"
        return Broken(ask=ask, found=found, kept=length >= ask.value - 0.5)
    found = f"{window.readings} readings in the window"
    return Broken(ask=ask, found=found, kept=window.readings >= ask.value)


def _start(stretch: Stretch, ask: Ask) -> Broken | None:
    """Whether the record begins before any location is inside the limits, from below."""
    found, limits = stretch.found, stretch.limits
    if limits.low_c is None:
        return Broken(ask=ask, found="", kept=True, reason="the hold has no lower limit")
    if not found.entered_from_below:
        return None
    values_c = stretch.readings.corrected_c[found.ground[0] : found.end + 1]
    for column, name in enumerate(stretch.readings.locations):
        there = values_c[~np.isnan(values_c[:, column]), column]
        if there.size and there[0] >= limits.low_c:
            return Broken(ask=ask, found=f"location '{name}' is above it at its first reading", kept=False)
    return Broken(ask=ask, found="", kept=True)
