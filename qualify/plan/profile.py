"""What a plan takes from a document's requirement profile: the choice, and each thing it asks."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Kind(StrEnum):
    """What a row of a profile is about."""

    LIMITS = "limits"
    SENSORS = "sensors"
    INTERVAL = "interval"
    SOAK = "soak"
    WINDOW = "window"
    READINGS = "readings"
    STEADY = "steady"
    VARIANT = "variant"
    FIGURE = "figure"
    TREND = "trend"
    START = "start"
    CORRECTIONS = "corrections"
    NOTE = "note"
    GONE = "gone"


class Use(StrEnum):
    """What became of a row of a profile in a hold."""

    TAKEN = "taken from the profile"
    CHECKED = "checked; a departure where it is not kept"
    JUDGED = "judged as a requirement"
    PLAN_WINS = "not taken: the plan says it itself"
    PRINTED = "printed only"
    UNCONFIRMED = "not confirmed: printed, decides nothing"
    GONE = "the row is missing: not shown"


@dataclass(frozen=True, slots=True, kw_only=True)
class ProfileChoice:
    """A requirement profile chosen by name: which document, which edition, which of its classes."""

    document: str
    edition: str = ""
    name: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ask:
    """One thing that a profile asks of a hold, and what became of it.

    Attributes
    ----------
    id, kind, text
        Id of the row, what it is about, and what it asks in words.
    value
        Its number in °C of difference, seconds, or counted; None where it has none.
    shown
        The number as the row states it, with its unit; "" where it has none.
    figure
        The plan's word of the figure, where the row is about one.
    citation, standing
        Where it comes from, and how far that was seen.
    use
        What became of it.
    obstacle
        Why it must not decide, or None.
    """

    id: str
    kind: Kind
    text: str
    citation: str
    standing: str
    use: Use
    value: float | None = None
    shown: str = ""
    figure: str = ""
    obstacle: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldProfile:
    """A profile as it bears on one hold: the choice, its edition in full, and everything that it asks."""

    choice: ProfileChoice
    asks: tuple[Ask, ...] = ()

    def of(self, *kinds: Kind) -> tuple[Ask, ...]:
        """The asks of some kinds."""
        return tuple(ask for ask in self.asks if ask.kind in kinds)
