"""Certificates file: calibration points of sensors, logger channels and loops (CSV)."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from qualify.findings import Refusal, RefusalKind, nearest
from qualify.inputs import InputFile
from qualify.readings.model import Channel
from qualify.sensors.corrections import Correction, Step
from qualify.units import difference_to_c, parse_unit, temperature_to_c

COLUMNS = (
    "channel",
    "sensor",
    "temperature",
    "reference_temperature",
    "correction",
    "error",
    "expanded_uncertainty",
    "coverage_factor",
    "unit",
    "of",
)
APPLIES_TO = ("sensor", "channel", "loop")

NOT_A_CERTIFICATES_FILE = RefusalKind(
    "certificates-header",
    what="the header row is not that of a certificates file: {problem}",
    why="A correction with a wrong sign or place doubles the error that it should take away.",
    mend="write the header channel,sensor,temperature,correction,expanded_uncertainty,coverage_factor,unit "
    "(or reference_temperature for temperature, error for correction).",
)
DEVIATION_COLUMN = RefusalKind(
    "certificates-deviation",
    what="a column is called '{name}', which leaves its sign open",
    why="Laboratories print true − indicated and indicated − true under that word.",
    mend="rename the column: `correction` for true − indicated, `error` for indicated − true.",
)
BAD_CELL = RefusalKind(
    "certificates-cell",
    what="'{text}' is not {expected}",
    why="Each calibration point decides the corrections on both its sides.",
    mend="correct the cell after the certificate.",
)
SAME_POINT_TWICE = RefusalKind(
    "certificates-same-point",
    what="{what} has two calibration points at {temperature:g} °C",
    why="Only one correction can hold at a temperature.",
    mend="keep the point of the certificate in force and take the other out.",
)
UNKNOWN_CHANNEL = RefusalKind(
    "certificates-channel",
    what="a certificate names the {kind} '{name}', which {where} has{near}",
    why="A certificate that meets no channel would leave a reading uncorrected without a word.",
    mend="correct the name, or take the rows out.",
)
WRONG_SENSOR = RefusalKind(
    "certificates-wrong-sensor",
    what="the certificate for channel '{channel}' is of sensor '{found}', the plan has '{planned}' there",
    why="The correction of another sensor is worse than none.",
    mend="correct the sensor in the plan or in the certificates file.",
)
NO_CERTIFICATE = RefusalKind(
    "certificates-missing",
    what="no certificate for {channels}",
    why="Corrected and uncorrected readings must not be judged side by side.",
    mend="add the certificate's points, or ignore the channel with its reason.",
)
LOOP_AND_MORE = RefusalKind(
    "certificates-loop-and-more",
    what="channel '{channel}' has a loop certificate and a {other} certificate",
    why="A loop certificate already holds the sensor and the logger channel; both would be added twice.",
    mend="keep either the loop, or the sensor and the channel.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """One row of the certificates file, in °C."""

    row: int
    channel: str
    sensor: str
    of: str
    temperature_c: float
    correction_c: float
    expanded_uncertainty_c: float | None
    coverage_factor: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Certificates:
    """All calibration points of one file."""

    file: str
    points: tuple[Point, ...]


def read_certificates(file: InputFile) -> Certificates:
    """Read a certificates file.

    Parameters
    ----------
    file
        CSV with a header row, separated by comma, semicolon or tab; decimal commas where the
        separator is not the comma.

    Raises
    ------
    Refusal
        If the header leaves a sign open or lacks a column, or a cell can't be read.
    """
    text = _decode(file)
    lines = text.splitlines()
    header_line = lines[0] if lines else ""
    separator = max(",;\t", key=header_line.count)
    table = list(csv.reader(io.StringIO(text), delimiter=separator))
    if not table:
        raise NOT_A_CERTIFICATES_FILE(file=file.name, problem="the file is empty")
    header = [name.strip().casefold().replace(" ", "_") for name in table[0]]
    _check_header(file.name, header)
    points = []
    for number, cells in enumerate(table[1:], start=2):
        if any(cell.strip() for cell in cells):
            row = dict(zip(header, (cell.strip() for cell in cells), strict=False))
            points.append(_point(file.name, number, row, decimal_comma=separator != ","))
    if not points:
        raise NOT_A_CERTIFICATES_FILE(file=file.name, row=1, problem="no calibration point stands below it")
    return Certificates(file=file.name, points=tuple(points))


def _decode(file: InputFile) -> str:
    for encoding in ("utf-8-sig", "cp1252"):
        try:
            return file.data.decode(encoding)
        except UnicodeDecodeError:
            continue
    raise NOT_A_CERTIFICATES_FILE(file=file.name, problem="the file is not text")


def _check_header(file: str, header: list[str]) -> None:
    for name in header:
        if name in ("deviation", "difference"):
            raise DEVIATION_COLUMN(file=file, row=1, column=name, name=name)
        if name not in COLUMNS:
            near = nearest(name, list(COLUMNS))
            raise NOT_A_CERTIFICATES_FILE(file=file, row=1, problem=f"unknown column '{name}'{near}")
    if len(set(header)) < len(header):
        raise NOT_A_CERTIFICATES_FILE(file=file, row=1, problem="a column stands twice")
    for one, other in (("temperature", "reference_temperature"), ("correction", "error")):
        if (one in header) == (other in header):
            problem = f"it needs one of `{one}` and `{other}`, not both, not none"
            raise NOT_A_CERTIFICATES_FILE(file=file, row=1, problem=problem)
    if "channel" not in header and "sensor" not in header:
        raise NOT_A_CERTIFICATES_FILE(file=file, row=1, problem="it names neither `channel` nor `sensor`")
    if "unit" not in header:
        raise NOT_A_CERTIFICATES_FILE(file=file, row=1, problem="it lacks `unit`")


def _point(file: str, number: int, row: dict[str, str], *, decimal_comma: bool) -> Point:
    def value(column: str) -> float:
        text = row.get(column, "")
        try:
            result = float(text.replace(",", ".") if decimal_comma else text)
        except ValueError:
            result = math.nan
        if not math.isfinite(result):
            raise BAD_CELL(file=file, row=number, column=column, text=text, expected="a number")
        return result

    def word(column: str, expected: str) -> Refusal:
        return BAD_CELL(file=file, row=number, column=column, text=row.get(column, ""), expected=expected)

    unit = parse_unit(row.get("unit", ""))
    if unit is None:
        raise word("unit", "a temperature unit (C, F or K)")
    of = row.get("of") or "sensor"
    if of not in APPLIES_TO:
        raise word("of", "sensor, channel or loop")
    if not row.get("channel") and not row.get("sensor"):
        raise word("channel", "the name of a channel, and no sensor is named either")
    correction = value("correction") if "correction" in row else -value("error")
    indicated = value("temperature") if "temperature" in row else value("reference_temperature") - correction
    uncertainty = factor = None
    if row.get("expanded_uncertainty"):
        uncertainty = difference_to_c(value("expanded_uncertainty"), unit)
        if uncertainty < 0:
            raise word("expanded_uncertainty", "an uncertainty (it can't be negative)")
        factor = value("coverage_factor")
        if factor <= 0:
            raise word("coverage_factor", "a coverage factor above zero")
    return Point(
        row=number,
        channel=row.get("channel", ""),
        sensor=row.get("sensor", ""),
        of=of,
        temperature_c=temperature_to_c(indicated, unit),
        correction_c=difference_to_c(correction, unit),
        expanded_uncertainty_c=uncertainty,
        coverage_factor=factor,
    )


@dataclass(frozen=True, slots=True)
class Judged:
    """A judged channel: as recorded, and the sensor that the plan has there ("" where it is silent)."""

    channel: Channel
    sensor: str
    needed: bool = True


def corrections_for(
    certificates: Certificates,
    judged: Sequence[Judged],
    channels: Sequence[Channel],
    *,
    reach_c: float,
    reach_uncertainty_c: float,
) -> tuple[Correction | None, ...]:
    """Match certificates to channels by channel name or raw header, else by the plan's sensor.

    Parameters
    ----------
    certificates
        All points.
    judged
        The channels to correct; a `needed` one without certificate is refused.
    channels
        All temperature channels of the recording: a certificate may also name one that is not judged.
    reach_c, reach_uncertainty_c
        The plan's allowed reach beyond the end points and the expanded uncertainty it adds [°C].

    Raises
    ------
    Refusal
        If a certificate meets no channel, is of another sensor than the plan's, stands twice at one
        temperature, mixes a loop with more, or a judged channel has none.
    """
    sensors = {item.sensor for item in judged if item.sensor}
    for point in certificates.points:
        if point.channel and not any(channel.is_called(point.channel) for channel in channels):
            known = [channel.name for channel in channels]
            raise UNKNOWN_CHANNEL(
                file=certificates.file,
                row=point.row,
                column="channel",
                kind="channel",
                name=point.channel,
                where="no logger file",
                near=nearest(point.channel, known),
            )
        if not point.channel and point.sensor not in sensors:
            raise UNKNOWN_CHANNEL(
                file=certificates.file,
                row=point.row,
                column="sensor",
                kind="sensor",
                name=point.sensor,
                where="no location of the plan",
                near=nearest(point.sensor, sorted(sensors)),
            )
    found: list[Correction | None] = []
    missing = []
    for item in judged:
        points = [point for point in certificates.points if _meets(certificates.file, point, item)]
        if not points:
            found.append(None)
            if item.needed:
                missing.append(f"'{item.channel.name}'")
            continue
        found.append(
            Correction(
                steps=_steps(certificates.file, item.channel.name, points),
                reach_c=reach_c,
                reach_uncertainty_c=reach_uncertainty_c,
            )
        )
    if missing:
        raise NO_CERTIFICATE(file=certificates.file, channels=", ".join(missing))
    return tuple(found)


def _meets(file: str, point: Point, item: Judged) -> bool:
    if not point.channel:
        return point.sensor == item.sensor
    if not item.channel.is_called(point.channel):
        return False
    if point.of != "channel" and point.sensor and item.sensor and point.sensor != item.sensor:
        raise WRONG_SENSOR(
            file=file,
            row=point.row,
            column="sensor",
            channel=item.channel.name,
            found=point.sensor,
            planned=item.sensor,
        )
    return True


def _steps(file: str, channel: str, points: list[Point]) -> tuple[Step, ...]:
    """Calibration points of one channel as steps, in the order in which they are added."""
    present = {point.of for point in points}
    if "loop" in present and len(present) > 1:
        other = next(of for of in ("sensor", "channel") if of in present)
        raise LOOP_AND_MORE(file=file, channel=channel, other=other)
    steps = []
    for of in ("loop", "channel", "sensor"):
        chosen = sorted((point for point in points if point.of == of), key=lambda point: point.temperature_c)
        if not chosen:
            continue
        for one, next_one in pairwise(chosen):
            if next_one.temperature_c - one.temperature_c <= 1e-9:
                raise SAME_POINT_TWICE(
                    file=file,
                    row=max(one.row, next_one.row),
                    what=f"the {of} certificate of channel '{channel}'",
                    temperature=one.temperature_c,
                )
        steps.append(
            Step(
                of=of,
                temperature_c=np.array([point.temperature_c for point in chosen]),
                correction_c=np.array([point.correction_c for point in chosen]),
                expanded_uncertainty_c=_numbers([point.expanded_uncertainty_c for point in chosen]),
                coverage_factor=_numbers([point.coverage_factor for point in chosen]),
                rows=tuple(point.row for point in chosen),
            )
        )
    return tuple(steps)


def _numbers(values: list[float | None]) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    return np.array([math.nan if value is None else value for value in values], dtype=np.float64)
