"""Points of the list that tells whether a survey can begin: what, how it stands, why, what to do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from qualify.plan.model import Hold, Plan
from qualify.standards.classes import ClassLimits, class_limits

LONGEST_LIST = 6
"""So many names are listed; beyond that the rest is counted."""


class State(StrEnum):
    """How a point of the list stands; only what is missing keeps a survey from being ready."""

    READY = "ready"
    NOTE = "note"
    MISSING = "missing"


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """One point of the list: what it is about, how it stands, why it matters, what to do."""

    about: str
    state: State
    text: str
    why: str = ""
    todo: str = ""


def ready(about: str, text: str) -> Point:
    """Make a point that is in order."""
    return Point(about=about, state=State.READY, text=text)


def missing(about: str, text: str, why: str, todo: str) -> Point:
    """Make a point that keeps the survey from being ready."""
    return Point(about=about, state=State.MISSING, text=text, why=why, todo=todo)


def note(about: str, text: str, why: str = "", todo: str = "") -> Point:
    """Make a point that a person should know."""
    return Point(about=about, state=State.NOTE, text=text, why=why, todo=todo)


def listed(names: Sequence[str]) -> str:
    """Name the first few, and count the others."""
    shown = ", ".join(names[:LONGEST_LIST])
    return shown if len(names) <= LONGEST_LIST else f"{shown} and {len(names) - LONGEST_LIST} more"


def classes_of(plan: Plan, hold: Hold) -> tuple[ClassLimits, ...]:
    """Limits of the classes that a hold names."""
    return tuple(
        class_limits(
            choice,
            setpoint_c=hold.setpoint,
            ambient_c=hold.ambient,
            units=plan.units,
            confirmed=plan.confirmed,
        )
        for choice in hold.classes
    )


def band_c(hold: Hold, classes: tuple[ClassLimits, ...]) -> tuple[float, float] | None:
    """The narrowest limits of a hold, as differences from its set point [°C]; None where it has none."""
    widths = [limits.half_width_c for limits in classes if limits.half_width_c is not None]
    lows = [-width for width in widths] + ([] if hold.low is None else [float(hold.low)])
    highs = [*widths] + ([] if hold.high is None else [float(hold.high)])
    return (max(lows), min(highs)) if lows and highs else None
