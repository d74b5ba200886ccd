"""Tests of the stages besides surveys, as a plan states them: challenges, record sheets, what is restored."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from qualify.readings.model import ReadOptions


class Place(StrEnum):
    """Where a test was done."""

    FACTORY = "factory"
    SITE = "site"


class Moved(StrEnum):
    """What is moved to make a protection act."""

    LIMIT = "limit"
    PROCESS = "process"


class Restores(StrEnum):
    """How a protection must come back."""

    ITSELF = "by itself"
    BY_HAND = "by hand"


CHALLENGE_KINDS = (
    "over-temperature",
    "low gas pressure",
    "high oxygen",
    "door",
    "airflow",
    "power loss and return",
    "other",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Circumstances:
    """Where and with what a test was done.

    Attributes
    ----------
    place
        Before dispatch, or where the oven stands.
    simulated
        Shown with a simulated signal because the real sensor was absent.
    repeat_on_site
        Whether the plan wants it repeated on site.
    """

    place: Place = Place.SITE
    simulated: bool = False
    repeat_on_site: bool = False

    @property
    def owed(self) -> tuple[str, ...]:
        """What is still owed after the test was done as it was."""
        found = []
        if self.simulated:
            found.append("to be repeated with the real sensor in place: it was shown with a simulated signal")
        if self.place is Place.FACTORY and self.repeat_on_site:
            found.append("to be repeated on site: it was shown before dispatch")
        return tuple(found)


@dataclass(frozen=True, slots=True, kw_only=True)
class Recorded:
    """The logger files of one test, and how they are read; as of a survey."""

    files: tuple[str, ...]
    read: ReadOptions
    loggers: Mapping[str, ReadOptions] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class SwitchedChannel:
    """A channel that is on or off: by its words, or by a threshold in its own unit.

    `settle_s`: how long its contact may bounce; `lasts_s`: how long a change must last to be one.
    """

    channel: str
    on: tuple[str, ...] = ()
    off: tuple[str, ...] = ()
    threshold: float | None = None
    on_above: bool = True
    settle_s: float = 0.0
    lasts_s: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What must answer a challenge: a recorded channel that becomes on or off, or something a person sees.

    `within_s` is counted from the limit's crossing; None asks for no time.
    """

    name: str
    channel: SwitchedChannel | None = None
    becomes_on: bool = False
    within_s: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Forbidden:
    """What must not happen meanwhile: a channel that must stay as it is, or on, or off."""

    name: str
    channel: SwitchedChannel
    stays_on: bool | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Challenge:
    """A protection made to act on purpose.

    Attributes
    ----------
    name, kind
        Its own name, and which protection it is about.
    circumstances, recorded
        Where it was done, and the files; None where everything is seen by a person.
    quantity
        Channel of what is driven past the limit; its unit is the file's.
    is_temperature
        Whether it is a temperature channel: then limits are in °C here.
    rising
        Whether the quantity is driven upwards.
    limit, limit_channel
        The limit in the quantity's unit, or the channel that records it where it is lowered meanwhile.
    rated
        The oven's rated limit of the quantity.
    moved
        What is moved; the limit, unless the plan says otherwise.
    start, end
        The stretch, TIME as the plan states it; None: the whole recording.
    reading_u
        Standard uncertainty of a reading of the quantity.
    trip_low, trip_high
        Between which the trip point must lie, in the quantity's unit; None asks for nothing.
    restores
        How it must come back.
    reset_low, reset_high
        Between which it must restore by itself.
    dead_band_low
        The least dead band.
    reset_by_hand
        When somebody reset it, TIME.
    observe_s
        For how long it must stay off after the quantity is back [s].
    answers, forbidden
        What must answer and what must not happen; the first recorded answer carries the trip point.
    """

    name: str
    kind: str
    circumstances: Circumstances
    recorded: Recorded | None = None
    quantity: str = ""
    rising: bool = True
    limit: float | None = None
    limit_channel: str = ""
    rated: float | None = None
    moved: Moved = Moved.LIMIT
    start: str | None = None
    end: str | None = None
    reading_u: float = 0.0
    trip_low: float | None = None
    trip_high: float | None = None
    restores: Restores | None = None
    reset_low: float | None = None
    reset_high: float | None = None
    dead_band_low: float | None = None
    reset_by_hand: str | None = None
    observe_s: float = 0.0
    answers: tuple[Answer, ...] = ()
    forbidden: tuple[Forbidden, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class RestoreChoice:
    """What is changed for tests and must be put back, listed before they start; the file that records it."""

    planned: tuple[str, ...] = ()
    file: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class StageChoice:
    """What a stage holds besides its surveys.

    Attributes
    ----------
    records
        Record sheets whose items belong to the stage.
    proceed
        Who accepted that the next stage starts though this one has open items; "" nobody.
    accept_overdue
        Whether an instrument past its date leaves its item conditional instead of not shown.
    left_out
        Runs that are no replicates of the others, each with its reason.
    observed
        File of the answers to challenges that people saw or heard; "" where there is none.
    """

    records: tuple[str, ...] = ()
    observed: str = ""
    proceed: str = ""
    accept_overdue: bool = False
    left_out: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class PurgeTest:
    """A recorded purge: oxygen against the well-mixed model, its limit, what follows the purge.

    Oxygen is in % by volume here. `start` is when the purge flow began, `flow_stopped` when it was cut (for
    the rise of a closed chamber), `kept_from` to `kept_to` the stretch in which the limit must be kept; TIME
    as the plan states it. `within_s`: the longest time to the limit. `rise_at_most` [% per hour].
    """

    name: str
    circumstances: Circumstances
    recorded: Recorded
    channel: str
    start: str | None
    end: str | None
    limit: float
    within_s: float | None = None
    another_limit: float | None = None
    reading_u: float = 0.0
    resolution: float = 0.0
    lag_s: float | None = None
    delay_s: float = 0.0
    volume_m3: float | None = None
    flow_m3_per_h: float | None = None
    supply: float | None = None
    flow_stopped: str | None = None
    rise_at_most: float | None = None
    kept_from: str | None = None
    kept_to: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class CoolDown:
    """A recorded cool-down to a handling temperature [°C]; `channel` "" means the mean of all locations."""

    name: str
    circumstances: Circumstances
    recorded: Recorded
    channel: str
    start: str | None
    end: str | None
    handling_c: float
    within_s: float | None = None
    coolant_c: float | None = None
    other_coolant_c: float | None = None
    reading_u_c: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LoopTest:
    """A loop check: signals injected against values displayed, and what broken signals read.

    `points`: injected signal, displayed value, whether it rose to it. `broken`: how ("open", "shorted",
    "unpowered", "frozen"), what was displayed (None: nothing), whether a fault was shown.
    """

    name: str
    circumstances: Circumstances
    unit: str
    signal_low: float
    signal_high: float
    scale_low: float
    scale_high: float
    points: tuple[tuple[float, float | None, bool], ...]
    error_at_most: float
    hysteresis_at_most: float | None = None
    trip: float | None = None
    harmful_above: bool = True
    broken: tuple[tuple[str, float | None, bool], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class ProgramStep:
    """One step of a programmed profile [°C, °C/min, min]; None where it isn't judged."""

    setpoint_c: float
    band_c: float
    rate_c_per_min: float | None = None
    rate_tolerance_c_per_min: float | None = None
    dwell_min: float | None = None
    shorter_by_min: float | None = 0.0
    longer_by_min: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ProgramTest:
    """A recorded program against its steps; `channel` "" means the mean of all locations."""

    name: str
    circumstances: Circumstances
    recorded: Recorded
    channel: str
    steps: tuple[ProgramStep, ...]


OperationTest = PurgeTest | CoolDown | LoopTest | ProgramTest
