"""Certificates of sensors, logger channels, loops and spools, from CSV, .xlsx or TOML.

Whatever the form, a row is a calibration point; rows that name the same thing and the same certificate are
one certificate.
"""

from __future__ import annotations

import math
from datetime import date

from qualify.findings import Refusal, RefusalKind, nearest
from qualify.inputs import InputFile
from qualify.sensors.certificate import (
    APPLIES_TO,
    Certificate,
    Certificates,
    HeatHistory,
    Point,
    merged,
    normal_type,
)
from qualify.sensors.certificates_tables import Row, Table, read_table
from qualify.sensors.matching import Judged, Rules, corrections_for
from qualify.thermocouples import sensitivity_mv_per_c, types
from qualify.units import TemperatureUnit, difference_to_c, parse_unit, temperature_to_c

__all__ = [
    "Certificate",
    "Certificates",
    "Judged",
    "Point",
    "Rules",
    "corrections_for",
    "merged",
    "read_certificates",
]

BAD_CELL = RefusalKind(
    "certificates-cell",
    what="'{text}' is not {expected}",
    why="Each calibration point decides the corrections on both its sides.",
    mend="correct the cell after the certificate.",
)
NO_UNIT = RefusalKind(
    "certificates-unit-missing",
    what="the unit is missing",
    why="A correction in °F taken for °C is wrong by a factor of 1.8, and units are never guessed.",
    mend="write C, F or K after the certificate.",
)
NO_FACTOR = RefusalKind(
    "certificates-factor-missing",
    what="the expanded uncertainty stands without its coverage factor k (column coverage_factor)",
    why="The same number means twice the uncertainty with k = 1 as with k = 2.",
    mend="copy k from the certificate; it stands where the uncertainty is explained.",
)
MILLIVOLTS_WITHOUT_TYPE = RefusalKind(
    "certificates-millivolts",
    what="a deviation in mV can't be turned into °C: {problem}",
    why="What a millivolt is in degrees depends on the thermocouple's type and on the temperature.",
    mend="name the thermocouple's letter in the column type, and a temperature within its range; or copy the "
    "deviation in degrees from the certificate.",
)
DUE_BEFORE_CALIBRATED = RefusalKind(
    "certificates-due-before-calibrated",
    what="the certificate is due on {due}, before its calibration on {calibrated}",
    why="One of the two dates is wrong, and with it whether the certificate was in force.",
    mend="correct the dates after the certificate.",
)
HEAD_DIFFERS = RefusalKind(
    "certificates-head-differs",
    what="{name} has '{one}' in one row and '{other}' in another",
    why="All rows of one certificate must say the same about it.",
    mend="correct the row, or give the other calibration its own certificate number.",
)

_LEAST_SENSITIVITY_MV_PER_C = 1e-3
_HEAD = ("laboratory", "calibrated", "due", "type", "junction", "immersion_mm")
_HEAT = ("highest_temperature", "uses", "hours")


def read_certificates(file: InputFile) -> Certificates:
    """Read a certificates file.

    Parameters
    ----------
    file
        CSV with a header row, separated by comma, semicolon or tab (decimal commas where the separator is
        not the comma); an .xlsx workbook with the same header row on a sheet; or TOML with [[certificate]]
        tables. Rows that begin with # are remarks.

    Returns
    -------
    Certificates
        In °C. Corrections are true − indicated; a point given by its reference temperature holds at
        reference − correction; a deviation in mV is divided by the slope of the reference function.

    Raises
    ------
    Refusal
        If the header leaves a sign open or lacks a column, a cell can't be read, rows of one certificate
        contradict each other, or a certificate is due before it was calibrated.
    """
    table = read_table(file)
    groups: dict[tuple[str, ...], list[Row]] = {}
    for row in table.rows:
        cell = row.cells.get
        named = tuple(cell(key) or "" for key in ("of", "channel", "sensor", "spool", "sample"))
        dated = cell("certificate") or cell("calibrated") or ""
        groups.setdefault((*named, dated), []).append(row)
    certificates = tuple(_certificate(rows, table) for rows in groups.values())
    return Certificates(file=file.name, certificates=certificates)


def _wrong(row: Row, column: str, expected: str) -> Refusal:
    return BAD_CELL(text=row.cells.get(column, ""), expected=expected, **row.where(column))


def _number(row: Row, column: str, table: Table) -> float:
    text = row.cells.get(column, "")
    try:
        result = float(text.replace(",", ".") if table.decimal_comma else text)
    except ValueError:
        result = math.nan
    if not math.isfinite(result):
        raise _wrong(row, column, "a number")
    return result


def _unit(row: Row, column: str = "unit") -> TemperatureUnit:
    text = row.cells.get(column, "")
    if not text:
        raise NO_UNIT(**row.where(column))
    unit = parse_unit(text)
    if unit is None:
        raise _wrong(row, column, "a temperature unit (C, F or K)")
    return unit


def _day(text: str, row: Row, column: str) -> date | None:
    if not text:
        return None
    try:
        if len(text) != len("2026-03-02"):
            raise ValueError(text)
        return date.fromisoformat(text)
    except ValueError:
        raise _wrong(row, column, "a day that exists, written such as 2026-03-02") from None


def _certificate(rows: list[Row], table: Table) -> Certificate:
    first = rows[0]
    of = first.cells.get("of") or "sensor"
    if of not in APPLIES_TO:
        raise _wrong(first, "of", "sensor, channel or loop" + nearest(of, list(APPLIES_TO)))
    if not any(first.cells.get(column) for column in ("channel", "sensor", "spool")):
        raise _wrong(first, "channel", "the name of a channel, and no sensor is named either")
    if first.cells.get("sample") and not first.cells.get("spool"):
        raise _wrong(first, "spool", "the name of the spool that the sample was cut from")
    head, places = _head(rows)
    made = Certificate(
        file=first.file,
        number=first.cells.get("certificate", ""),
        laboratory=head["laboratory"],
        calibrated=_day(head["calibrated"], places["calibrated"], "calibrated"),
        due=_day(head["due"], places["due"], "due"),
        of=of,
        channel=first.cells.get("channel", ""),
        sensor=first.cells.get("sensor", ""),
        type=normal_type(head["type"]),
        junction=head["junction"],
        spool=first.cells.get("spool", ""),
        sample=first.cells.get("sample", ""),
        immersion_mm=_least_zero(places["immersion_mm"], "immersion_mm", table),
        heat=_heat(places, table),
        points=tuple(_point(row, of, normal_type(head["type"]), table) for row in rows),
    )
    if made.due is not None and made.calibrated is not None and made.due < made.calibrated:
        where = places["due"].where("due")
        raise DUE_BEFORE_CALIBRATED(due=made.due.isoformat(), calibrated=made.calibrated.isoformat(), **where)
    return made


def _head(rows: list[Row]) -> tuple[dict[str, str], dict[str, Row]]:
    """What the rows say about the certificate as a whole, and where; blank cells say nothing."""
    head, places = {}, {}
    for column in (*_HEAD, *_HEAT):
        said = [row for row in rows if row.cells.get(column)]
        place = said[0] if said else rows[0]
        head[column], places[column] = place.cells.get(column, ""), place
        for row in said:
            if row.cells[column] != head[column]:
                number = row.cells.get("certificate")
                raise HEAD_DIFFERS(
                    name=f"certificate {number}" if number else "the certificate",
                    one=head[column],
                    other=row.cells[column],
                    **row.where(column),
                )
    return head, places


def _least_zero(row: Row, column: str, table: Table) -> float | None:
    if not row.cells.get(column):
        return None
    value = _number(row, column, table)
    if value < 0:
        raise _wrong(row, column, "a number from 0")
    return value


def _heat(places: dict[str, Row], table: Table) -> HeatHistory:
    row = places["highest_temperature"]
    highest = None
    if row.cells.get("highest_temperature"):
        highest = temperature_to_c(_number(row, "highest_temperature", table), _unit(row))
    uses = _least_zero(places["uses"], "uses", table)
    if uses is not None and uses != int(uses):
        raise _wrong(places["uses"], "uses", "a whole number of uses")
    return HeatHistory(
        highest_c=highest,
        uses=None if uses is None else int(uses),
        hours=_least_zero(places["hours"], "hours", table),
    )


def _point(row: Row, of: str, sensor_type: str, table: Table) -> Point:
    cells = row.cells
    unit = _unit(row)
    column = "temperature" if "temperature" in cells else "reference_temperature"
    given_c = temperature_to_c(_number(row, column, table), unit)
    is_error = "correction" not in cells
    deviation = _number(row, "error" if is_error else "correction", table)
    correction_unit = cells.get("correction_unit") or cells["unit"]
    correction_c = _difference_c(row, "correction_unit", correction_unit, deviation, given_c, sensor_type)
    if is_error:
        correction_c = -correction_c
    expanded_c = factor = None
    if cells.get("expanded_uncertainty"):
        expanded = _number(row, "expanded_uncertainty", table)
        if expanded < 0:
            raise _wrong(row, "expanded_uncertainty", "an uncertainty (it can't be negative)")
        uncertainty_unit = cells.get("uncertainty_unit") or correction_unit
        expanded_c = _difference_c(row, "uncertainty_unit", uncertainty_unit, expanded, given_c, sensor_type)
        if not cells.get("coverage_factor"):
            raise NO_FACTOR(**row.where("coverage_factor"))
        factor = _number(row, "coverage_factor", table)
        if factor <= 0:
            raise _wrong(row, "coverage_factor", "a coverage factor above zero")
    return Point(
        row=row.number,
        channel=cells.get("channel", ""),
        sensor=cells.get("sensor", ""),
        of=of,
        temperature_c=given_c - correction_c if column == "reference_temperature" else given_c,
        correction_c=correction_c,
        expanded_uncertainty_c=expanded_c,
        coverage_factor=factor,
    )


def _difference_c(row: Row, column: str, unit: str, value: float, at_c: float, sensor_type: str) -> float:
    """A difference in °C; one in mV through the slope of the type's reference function there."""
    if unit.strip().casefold() != "mv":
        known = parse_unit(unit)
        if known is None:
            expected = "a unit of a difference (C, F, K, or mV where the type is named)"
            raise BAD_CELL(text=unit, expected=expected, **row.where(column))
        return difference_to_c(value, known)
    if sensor_type not in types():
        problem = f"'{sensor_type}' is no thermocouple type" if sensor_type else "no type is named"
        raise MILLIVOLTS_WITHOUT_TYPE(problem=problem, **row.where(column))
    slope = float(sensitivity_mv_per_c(sensor_type, at_c))
    if not slope >= _LEAST_SENSITIVITY_MV_PER_C:
        problem = f"type {sensor_type} has no usable slope at {at_c:g} °C"
        raise MILLIVOLTS_WITHOUT_TYPE(problem=problem, **row.where(column))
    return value / slope
