"""The plan as the engine sees it: frozen, in °C and seconds, every name resolved."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum
from typing import Any

from qualify.plan.heat import HeatAsked
from qualify.plan.profile import HoldProfile, ProfileChoice
from qualify.plan.stage_tests import Challenge, OperationTest, RestoreChoice, StageChoice
from qualify.plan.statistics import StatisticsChoice
from qualify.plan.uncertainty import UncertaintyChoice
from qualify.readings.model import ReadOptions
from qualify.units import Celsius, CelsiusDifference, TemperatureUnit


class Stage(StrEnum):
    """The three stages of qualification."""

    INSTALLATION = "installation"
    OPERATION = "operation"
    PERFORMANCE = "performance"


class Role(StrEnum):
    """What a logged channel is, where it is not a location of the work zone."""

    SET_POINT = "set point"
    CONTROLLER = "controller"
    RECORDER = "recorder"
    AMBIENT = "ambient"
    LOAD = "load"
    IGNORED = "ignored"


class Screening(StrEnum):
    """What screening finds of single readings; a plan's exclusion names one of these as its `kind`."""

    SPIKE = "spike"
    STUCK = "stuck-value"
    RATE = "impossible-rate"
    OPEN_CIRCUIT = "open-circuit-ramp"
    MOVED = "sensor-moved"
    JUNCTION = "junction-step"


class Acceptance(StrEnum):
    """How a figure is held against its limit."""

    SIMPLE = "simple"
    GUARDED = "guarded"
    PROBABILITY = "probability"
    ISO_14253 = "iso-14253-1"


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody who wrote, reviewed, approved or surveyed, and when."""

    name: str
    date: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkZone:
    """The part of the oven that is qualified.

    Positions count from the left front lower corner as seen through the open door: x to the right,
    y to the back, z up [mm]. `shape` is "box" (width, depth, height) or "cylinder" (upright; the
    diameter is its width and its depth).
    """

    shape: str
    width_mm: float
    depth_mm: float
    height_mm: float

    @property
    def volume_l(self) -> float:
        """Volume [L]."""
        volume_mm3 = self.width_mm * self.depth_mm * self.height_mm
        return volume_mm3 / 1e6 * (0.7853981633974483 if self.shape == "cylinder" else 1.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Location:
    """A named place in the work zone, the sensor there and the channel that records it.

    `spool` is the spool of wire that the sensor was cut from; `sample` its serial on the spool, where the
    sensor is a calibrated sample itself.
    """

    name: str
    channel: str
    sensor: str = ""
    sensor_type: str = ""
    spool: str = ""
    sample: str = ""
    position_mm: tuple[float, float, float] | None = None
    planned: bool = True
    """False where the plan is silent and the channel itself became the location."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ChannelRole:
    """A channel that is no location: what it is, where its sensor sits, why it is left out."""

    channel: str
    role: Role
    beside: str = ""
    reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ClassChoice:
    """A uniformity class chosen by name: which document, which edition, which class.

    `rows` are the classes of the user's own profile, where the class is one of its; else the built-in
    table holds.
    """

    document: str
    edition: str = ""
    name: str
    rows: tuple[Mapping[str, Any], ...] = field(default=(), repr=False, compare=False)

    def __str__(self) -> str:
        return " ".join(part for part in (self.document, self.edition, "class", self.name) if part)


@dataclass(frozen=True, slots=True, kw_only=True)
class Requirement:
    """A figure that must keep a limit, besides the uniformity limits of the hold itself.

    `at_most` is in °C of difference, in seconds for figures of time; None where `at_least` limits the
    figure from below, as it does a probability. `figure` is a word of
    plan/figures.py, or "variant:" and the id of a document's own figure in standards/variants.toml.
    """

    id: str
    figure: str
    at_most: float | None
    at_least: float | None = None
    text: str = ""
    holds: tuple[str, ...] = ()
    citation: str = ""
    standing: str = ""
    """Where the limit comes from, and how far that was seen; "" where it is the plan's own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Hold:
    """One set point of a run, its limits, its assessment window.

    `low` and `high` are differences from the set point. Times are as the plan states them: ISO 8601
    text or seconds from the first reading; None leaves them to the rules.
    """

    name: str
    setpoint: Celsius
    low: CelsiusDifference | None = None
    high: CelsiusDifference | None = None
    classes: tuple[ClassChoice, ...] = ()
    ambient: Celsius | None = None
    start: str | None = None
    minutes: float | None = None
    heat_start: str | None = None
    door_closed: str | None = None
    soak_minutes: float = 30.0
    steady_minutes: float = 5.0
    steady_within: CelsiusDifference = CelsiusDifference(0.5)
    chosen_profile: ProfileChoice | None = None
    stated: frozenset[str] = frozenset()
    """Keys that the plan states itself: they win over a profile."""
    profile: HoldProfile | None = None
    """What the chosen profile comes to in this hold; None until the profiles are read."""
    requirements: tuple[Requirement, ...] = ()
    """Figures that the profile limits, besides those of the plan."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Survey:
    """One recording, from one or more files, and the holds that are to be found in it.

    `interval_s` is the interval [s] at which the logger is to record; None where the plan is silent.
    """

    name: str
    stage: Stage
    files: tuple[str, ...]
    read: ReadOptions
    loggers: Mapping[str, ReadOptions] = field(default_factory=dict)
    """What is told about single files, by name; it goes before `read`."""
    holds: tuple[Hold, ...]
    interval_s: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Exclusion:
    """A rule that leaves readings out of every figure, and the reason for it.

    `kind` leaves out what screening doubts as that kind; without it every reading of the location or
    channel from `start` to `end` (TIME as the plan states it, both included) is left out. Empty words
    and None mean any. `survey` is the name of the one survey that is meant, or "".
    """

    kind: Screening | None = None
    location: str = ""
    channel: str = ""
    survey: str = ""
    start: str | None = None
    end: str | None = None
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CertificateChoice:
    """The certificates files, and how what they say is used.

    `reach` is how far beyond a certificate's end points a reading may lie. `degree` is that of a fitted
    correction curve, 0 for linear interpolation. `use` says which of two calibrations corrects, before the
    survey or after it, or their mean. `co_located` are locations whose sensors sat side by side.
    """

    file: str
    more: tuple[str, ...] = ()
    reach: CelsiusDifference = CelsiusDifference(0.0)
    reach_uncertainty: CelsiusDifference = CelsiusDifference(0.0)
    degree: int = 0
    spool_range: CelsiusDifference | None = None
    use: str = "mean"
    laboratory_correlation: float = 0.0
    more_sensors: bool = False
    co_located: tuple[str, ...] = ()

    @property
    def files(self) -> tuple[str, ...]:
        """Every certificates file."""
        return (self.file, *self.more)


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """All that is known before the readings are opened."""

    title: str = ""
    number: str = ""
    revision: str = ""
    scope: str = ""
    units: TemperatureUnit = TemperatureUnit.C
    author: Person | None = None
    reviewer: Person | None = None
    approver: Person | None = None
    surveyor: Person | None = None
    accept_conditional: bool = False
    acceptance: Acceptance | None = None
    """None: guarded where certificates give an uncertainty; a document's class by its own rule."""
    guard_factor: float = 1.0
    """r of the guard band r·U under guarded acceptance."""
    least_probability: float = 0.95
    """What the probability of conformance must reach where it decides."""
    uncertainty_share: float = 1.0 / 3.0
    confirmed: tuple[str, ...] = ()
    """Rows of standards from memory or in conflict that the author confirmed in a licensed copy."""
    oven: Mapping[str, str] = field(default_factory=dict)
    """Name, owner, place and whatever else describes the oven, as printed."""
    conditions: Mapping[str, str] = field(default_factory=dict)
    instruments: tuple[Mapping[str, str], ...] = ()
    work_zone: WorkZone | None = None
    reference_location: str | None = None
    locations: tuple[Location, ...] = ()
    channels: tuple[ChannelRole, ...] = ()
    certificates: CertificateChoice | None = None
    uncertainty: UncertaintyChoice = field(default_factory=UncertaintyChoice)
    statistics: StatisticsChoice | None = None
    """What is computed beyond the figures; None: nothing (a survey without a plan)."""
    surveys: tuple[Survey, ...] = ()
    requirements: tuple[Requirement, ...] = ()
    installation: StageChoice = field(default_factory=StageChoice)
    operation: StageChoice = field(default_factory=StageChoice)
    performance: StageChoice = field(default_factory=StageChoice)
    challenges: tuple[Challenge, ...] = ()
    heat: tuple[HeatAsked, ...] = ()
    """What is added up over a run."""
    operation_tests: tuple[OperationTest, ...] = ()
    """Purges, cool-downs, loop checks and programs."""
    restore: RestoreChoice = field(default_factory=RestoreChoice)
    dispositions: str = ""
    """File in which a person disposed of deviations; "" where there is none."""
    exclusions: tuple[Exclusion, ...] = ()
    profiles: tuple[str, ...] = ()
    """Files with requirement profiles of the user's own."""
    own_confirmable: tuple[str, ...] = ()
    """Ids of unconfirmed rows in them."""
    from_options: bool = False
    """True where the command's options made this plan; there is no plan file then."""
