"""What a certificate says: whose it is, who issued it and when, and its calibration points."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

APPLIES_TO = ("sensor", "channel", "loop")
BASE_METAL = ("E", "J", "K", "N", "T")
"""Thermocouples whose wire changes where it was hot, so that a check holds at one immersion only."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """One calibration point, in °C, with its place in its file.

    `temperature_c` is the indication; `row` the line or the sheet's row (in TOML the point's number,
    counted through the file).
    """

    row: int
    channel: str
    sensor: str
    of: str
    temperature_c: float
    correction_c: float
    expanded_uncertainty_c: float | None
    coverage_factor: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatHistory:
    """What a sensor has been through: highest temperature [°C], number of uses, hours hot."""

    highest_c: float | None = None
    uses: int | None = None
    hours: float | None = None

    def __str__(self) -> str:
        parts = [
            "" if self.highest_c is None else f"up to {self.highest_c:g} °C",
            "" if self.uses is None else f"{self.uses} uses",
            "" if self.hours is None else f"{self.hours:g} h hot",
        ]
        return ", ".join(part for part in parts if part)


@dataclass(frozen=True, slots=True, kw_only=True)
class Certificate:
    """One calibration of one thing: a sensor, a logger channel, the loop of both, or a spool's sample.

    Attributes
    ----------
    file
        The file it was read from.
    number, laboratory, calibrated, due
        As the laboratory gave them; "" and None where the file doesn't say.
    of
        "sensor", "channel" or "loop".
    channel, sensor
        The logger channel (name or raw header) and the sensor that it is of; "" where not named.
    type
        Letter of the thermocouple in capitals, or another type as written.
    junction
        The reference junction in the calibration, in words.
    spool, sample
        Spool of wire, and serial of the sample cut from it.
    immersion_mm
        Depth of immersion in the calibration [mm].
    heat
        What the sensor has been through.
    points
        In the order of the file.
    """

    file: str = ""
    number: str = ""
    laboratory: str = ""
    calibrated: date | None = None
    due: date | None = None
    of: str = "sensor"
    channel: str = ""
    sensor: str = ""
    type: str = ""
    junction: str = ""
    spool: str = ""
    sample: str = ""
    immersion_mm: float | None = None
    heat: HeatHistory = field(default_factory=HeatHistory)
    points: tuple[Point, ...] = ()

    @property
    def name(self) -> str:
        """How messages call it."""
        whose = [
            f"spool '{self.spool}'" if self.spool else "",
            f"sample '{self.sample}'" if self.sample else "",
            f"sensor '{self.sensor}'" if self.sensor else "",
            f"channel '{self.channel}'" if self.channel and not self.sensor else "",
        ]
        number = f"certificate {self.number}" if self.number else f"the {self.of} certificate"
        return f"{number} of {', '.join(part for part in whose if part)}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Certificates:
    """All certificates of one file, or of several."""

    file: str
    certificates: tuple[Certificate, ...]

    @property
    def points(self) -> tuple[Point, ...]:
        """Every calibration point, certificate by certificate."""
        return tuple(point for item in self.certificates for point in item.points)


def merged(files: list[Certificates]) -> Certificates:
    """Several certificates files as one."""
    return Certificates(
        file=", ".join(item.file for item in files),
        certificates=tuple(certificate for item in files for certificate in item.certificates),
    )


def normal_type(word: str) -> str:
    """A sensor type as it is compared: "type k" is "K"; words of several letters stay as written."""
    text = word.strip()
    bare = text.casefold().removeprefix("type").removesuffix("-type").strip(" -")
    return bare.upper() if len(bare) == 1 else text
