"""The sheet of locations and sensors, and of the certificate points that the corrections use."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import isnan

import numpy as np

from qualify.evidence import Evaluation
from qualify.pack.workbook.book import Book, Sheet
from qualify.pack.workbook.cells import RecordingView, cell, span
from qualify.readings.model import FloatArray
from qualify.sensors.certificate import Certificate
from qualify.sensors.corrections import Correction, Step
from qualify.sensors.curves import HIGHEST_DEGREE, Curve

NAME = "Sensors"
CERTIFICATES = "Certificates"
WIDTHS = (18, 20, 18, 12, 10, 10, 10, 48, 22, 24, 13, 13, 38, 26)
CERTIFICATE_WIDTHS = (16, 18, 14, 18, 13, 13, 15, 14, 13, 15, 15, 14, 20, 24, 13, 13, 12, 18)
CURVE_WIDTHS = (12, 12, *(16,) * (HIGHEST_DEGREE + 1), *(16,) * (2 * HIGHEST_DEGREE + 1))
POINTS_HEADER_ROW = 5

_INDICATION, _CORRECTION, _SLOPE, _EXPANDED, _FACTOR, _STANDARD, _LARGER, _ROW = range(4, 12)
_NUMBER, _LABORATORY, _CALIBRATED, _DUE, _TYPE, _PRIVATE = range(12, 18)
# Only where a correction is a fitted curve: all in the first row of its points.
_ORIGIN, _DEGREE = 18, 19
_COEFFICIENTS = 20
_VARIANCE = _COEFFICIENTS + HIGHEST_DEGREE + 1


@dataclass(frozen=True, slots=True, eq=False)
class Points:
    """The calibration points of one step, and the rows in which they stand on the sheet."""

    channel: str
    sensor: str
    locations: list[str]
    step: Step
    first: int
    last: int

    def correction(self, indication: str) -> str:
        """Formula of the correction at an indication: linear or a curve between points, held beyond them."""
        if self.step.curve is not None:
            return self._polynomial(indication, _COEFFICIENTS, self.step.curve.degree)
        points, place = self._place(indication)
        corrections, slopes = self._column(_CORRECTION), self._column(_SLOPE)
        between = (
            f"INDEX({corrections},{place})+({indication}-INDEX({points},{place}))*INDEX({slopes},{place})"
        )
        return self._held(indication, _CORRECTION, between)

    def standard_uncertainty(self, indication: str) -> str:
        """Formula of the standard uncertainty at an indication: the larger of its two neighbours'."""
        points, place = self._place(indication)
        own, larger = self._column(_STANDARD), self._column(_LARGER)
        between = f"IF(INDEX({points},{place})={indication},INDEX({own},{place}),INDEX({larger},{place}))"
        of_points = self._held(indication, _STANDARD, between)
        if self.step.curve is None:
            return of_points
        of_fit = self._polynomial(indication, _VARIANCE, 2 * self.step.curve.degree)
        return f"SQRT(({of_points})^2+MAX({of_fit},0))"

    def shared_uncertainty(self, indication: str) -> str:
        """Formula of what the certificate itself states: U/k of the larger neighbour, and the fit."""
        if self.step.private_uncertainty_c is None:
            return self.standard_uncertainty(indication)
        own = self._larger_neighbour(
            indication,
            lambda row: f"{cell(CERTIFICATES, row, _EXPANDED)}/{cell(CERTIFICATES, row, _FACTOR)}",
            lambda place: f"INDEX({self._column(_EXPANDED)},{place})/INDEX({self._column(_FACTOR)},{place})",
        )
        if self.step.curve is None:
            return own
        of_fit = self._polynomial(indication, _VARIANCE, 2 * self.step.curve.degree)
        return f"SQRT(({own})^2+MAX({of_fit},0))"

    def private_uncertainty(self, indication: str) -> str:
        """Formula of the part that no other sensor shares: the larger neighbour's."""
        return self._larger_neighbour(
            indication,
            lambda row: cell(CERTIFICATES, row, _PRIVATE),
            lambda place: f"INDEX({self._column(_PRIVATE)},{place})",
        )

    def _larger_neighbour(
        self, indication: str, at_row: Callable[[int], str], at_place: Callable[[str], str]
    ) -> str:
        """The larger of the two neighbouring points' values, the point's own where one is met."""
        if self.first == self.last:
            return at_row(self.first)
        low, high = (cell(CERTIFICATES, row, _INDICATION) for row in (self.first, self.last))
        points, place = self._place(indication)
        own, following = at_place(place), at_place(f"{place}+1")
        between = f"IF(INDEX({points},{place})={indication},{own},MAX({own},{following}))"
        return (
            f"IF({indication}<={low},{at_row(self.first)},"
            f"IF({indication}>={high},{at_row(self.last)},{between}))"
        )

    def beyond(self, indication: str) -> str:
        """Formula that says whether an indication lies beyond the end points."""
        low, high = (cell(CERTIFICATES, row, _INDICATION) for row in (self.first, self.last))
        return f"OR({indication}<{low},{indication}>{high})"

    def _polynomial(self, indication: str, column: int, degree: int) -> str:
        """A polynomial of (indication − origin), held beyond the end points; its coefficients are cells."""
        low, high = (cell(CERTIFICATES, row, _INDICATION) for row in (self.first, self.last))
        from_origin = f"(MAX({low},MIN({high},{indication}))-{cell(CERTIFICATES, self.first, _ORIGIN)})"
        formula = cell(CERTIFICATES, self.first, column + degree)
        for power in reversed(range(degree)):
            formula = f"({cell(CERTIFICATES, self.first, column + power)}+{from_origin}*{formula})"
        return formula

    def _column(self, column: int) -> str:
        return span(CERTIFICATES, column, self.first, self.last)

    def _place(self, indication: str) -> tuple[str, str]:
        points = self._column(_INDICATION)
        return points, f"MATCH({indication},{points},1)"

    def _held(self, indication: str, column: int, between: str) -> str:
        """The end points' values at and beyond them, and `between` between them."""
        first, last = (cell(CERTIFICATES, row, column) for row in (self.first, self.last))
        if self.first == self.last:
            return first
        low, high = (cell(CERTIFICATES, row, _INDICATION) for row in (self.first, self.last))
        return f"IF({indication}<={low},{first},IF({indication}>={high},{last},{between}))"


def reading_variance(correction: Correction, raw_c: FloatArray, factor: float) -> FloatArray:
    """Variance [°C²] of each corrected reading, from the certificates: (n,) indications [°C], k."""
    variance, indicated = np.zeros(raw_c.shape), raw_c
    for step in correction.steps:
        variance += step.standard_uncertainty_at(indicated) ** 2
        allowance = (correction.reach_uncertainty_c / factor) ** 2
        variance += np.where(step.beyond(indicated) > 0, allowance, 0.0)
        indicated = indicated + step.correction_at(indicated)
    return variance


def standard_uncertainty(correction: Correction, raw_c: FloatArray, factor: float) -> FloatArray:
    """Standard uncertainty [°C] of each corrected reading; NaN where there is none."""
    there = ~np.isnan(raw_c)
    result = np.full(raw_c.shape, np.nan)
    result[there] = np.sqrt(reading_variance(correction, raw_c[there], factor))
    return result


class SensorsLayout:
    """Where the points of each location's corrections stand."""

    def __init__(self, evaluation: Evaluation, recordings: tuple[RecordingView, ...]) -> None:
        record = evaluation.record
        self.locations = list(
            {
                location.location: location for survey in record.surveys for location in survey.locations
            }.values()
        )
        self._by_step: dict[tuple[object, ...], Points] = {}
        self._of: dict[tuple[int, int], list[Points]] = {}
        self.classes: dict[tuple[str, int], str] = {}
        """The class that a certificate shows, by the file and row of its first point."""
        sensors: dict[int, str] = {}
        for point in record.certificates:
            sensors.setdefault(point.row, point.sensor)
            self.classes[(point.file, point.row)] = point.class_shown
        row = POINTS_HEADER_ROW + 1
        for recording in recordings:
            readings = recording.evidence.readings
            for index, correction in enumerate(readings.corrections):
                channel = readings.recording.channels[readings.channel_index[index]].name
                steps = []
                for step in correction.steps if correction is not None else ():
                    file = step.certificates[0].file if step.certificates else ""
                    key = (channel, step.of, file, step.rows, *step.temperature_c, *step.correction_c)
                    if key not in self._by_step:
                        last = row + step.temperature_c.size - 1
                        sensor = (
                            step.certificates[0].sensor
                            if step.certificates
                            else sensors.get(step.rows[0], "")
                        )
                        self._by_step[key] = Points(channel, sensor, [], step, row, last)
                        row = last + 1
                    points = self._by_step[key]
                    if readings.locations[index] not in points.locations:
                        points.locations.append(readings.locations[index])
                    steps.append(points)
                self._of[(recording.number, index)] = steps

    @property
    def all_points(self) -> list[Points]:
        """Every step's points, in the order of the sheet."""
        return list(self._by_step.values())

    def steps(self, recording: int, location: int) -> list[Points]:
        """Give the steps of a location's correction, in the order in which they are added."""
        return self._of[(recording, location)]


def write_sensors(book: Book, layout: SensorsLayout) -> None:
    """Write the sheet of locations."""
    sheet = book.sheet(NAME, WIDTHS)
    sheet.title("Sensors: what sat at each location")
    sheet.note(
        "Positions count from the left front lower corner seen through the open door: x to the right, y "
        "to the back, z up."
    )
    sheet.next()
    sheet.header(
        [
            *("Location", "Channel", "Sensor", "Type", "x (mm)", "y (mm)", "z (mm)", "Corrected by"),
            *("Certificate number", "Laboratory", "Calibrated", "Due", "Class shown", "Heat history"),
        ],
        frozen_columns=1,
    )
    for location in layout.locations:
        sheet.text(0, location.location, "strong wrapped")
        for column, word in enumerate((location.channel, location.sensor, location.sensor_type), start=1):
            sheet.text(column, word or "not stated")
        for column in (4, 5, 6):
            if location.position_mm is None:
                sheet.text(column, "not stated", "word for number")
            else:
                sheet.number(column, location.position_mm[column - 4], "seconds")
        steps = [points.step for points in layout.all_points if location.location in points.locations]
        words = [f"{step.of} certificate" + (f" ({step.basis})" if step.basis else "") for step in steps]
        sheet.text(7, " then ".join(words) or "no certificate: not corrected", "text")
        certificates = [item for step in steps for item in step.certificates]
        _write_heads(sheet, 8, certificates)
        shown = [layout.classes.get((item.file, item.points[0].row), "") for item in certificates]
        sheet.text(12, _each(shown) or "not known", "text")
        sheet.text(13, _each([str(item.heat) for item in certificates]) or "not stated", "text")
        sheet.next()
    sheet.print_in_strips(70, 1, [1, 8])


def _each(words: list[str]) -> str:
    """Every different word once."""
    return "; ".join(dict.fromkeys(word for word in words if word))


def _write_heads(sheet: Sheet, column: int, certificates: Sequence[Certificate]) -> None:
    """Number, laboratory, day of calibration and day due of the certificates behind a correction."""
    days = [[item.calibrated, item.due] for item in certificates]
    parts = [
        [item.number for item in certificates],
        [item.laboratory for item in certificates],
        *([day.isoformat() if day is not None else "" for day in both] for both in zip(*days, strict=True)),
    ]
    for place in range(4):
        words = _each(parts[place]) if place < len(parts) else ""
        sheet.text(column + place, words or "not stated", "text")


def write_certificates(book: Book, layout: SensorsLayout) -> None:
    """Write the sheet of calibration points, which the formulas on the readings sheets use."""
    curves = any(points.step.curve is not None for points in layout.all_points)
    sheet = book.sheet(CERTIFICATES, CERTIFICATE_WIDTHS + (CURVE_WIDTHS if curves else ()))
    sheet.title("Certificates: the calibration points that correct the readings")
    if layout.all_points:
        sheet.note(
            "A correction (true − indicated) is added to the indication. Between points it runs in a "
            "straight line; beyond the end points the end's correction is held. A channel's correction "
            "comes before the sensor's."
            + (
                " A fitted curve (GUM H.3) takes the place of the straight lines; its coefficients and those "
                "of its variance stand in its first row."
                if curves
                else ""
            )
        )
    else:
        sheet.note("No certificates were given: corrected readings are the readings as recorded.")
    sheet.next(POINTS_HEADER_ROW - sheet.excel_row)
    sheet.header(
        [
            "Channel",
            "Location",
            "Certificate of",
            "Sensor",
            "Indication (°C)",
            "Correction (°C)",
            "Slope to next point (°C/°C)",
            "Expanded uncertainty U (°C)",
            "Coverage factor k (1)",
            "Standard uncertainty U/k (°C)",
            "Larger U/k of this and next point (°C)",
            "Row in the certificates file",
            *("Certificate number", "Laboratory", "Calibrated", "Due", "Type"),
            "Private part, standard uncertainty (°C)",
            *(_curve_headers() if curves else ()),
        ],
        frozen_columns=1,
    )
    for points in layout.all_points:
        step = points.step
        for index in range(step.temperature_c.size):
            row = sheet.excel_row
            assert row == points.first + index
            sheet.text(0, points.channel)
            sheet.text(1, ", ".join(points.locations))
            sheet.text(2, step.of)
            sheet.text(3, points.sensor or "not stated")
            sheet.number(_INDICATION, float(step.temperature_c[index]), "raw")
            sheet.number(_CORRECTION, float(step.correction_c[index]), "raw")
            if row < points.last:
                rise = float(step.correction_c[index + 1] - step.correction_c[index])
                run = float(step.temperature_c[index + 1] - step.temperature_c[index])
                sheet.formula(_SLOPE, f"(F{row + 1}-F{row})/(E{row + 1}-E{row})", rise / run, "finest")
            expanded, factor = float(step.expanded_uncertainty_c[index]), float(step.coverage_factor[index])
            if not isnan(expanded) and not isnan(factor):
                sheet.number(_EXPANDED, expanded, "raw")
                sheet.number(_FACTOR, factor, "raw")
                _write_standard(sheet, points, index)
            else:
                for column in (_EXPANDED, _FACTOR, _STANDARD):
                    sheet.text(column, "not stated", "word for number")
            sheet.number(_ROW, step.rows[index], "count")
            _write_heads(sheet, _NUMBER, step.certificates)
            sheet.text(_TYPE, _each([item.type for item in step.certificates]) or "not stated")
            if step.private_uncertainty_c is not None:
                sheet.number(_PRIVATE, float(step.private_uncertainty_c[index]), "fine")
            if step.curve is not None and index == 0:
                _write_curve(sheet, step.curve)
            sheet.next()
    sheet.print_in_strips(70, 2, [2, _EXPANDED, _NUMBER, *([_ORIGIN] if curves else [])])


def _write_standard(sheet: Sheet, points: Points, index: int) -> None:
    """U/k of a point, and the larger of it and the next; each part apart where a sensor has its own."""
    step, row = points.step, sheet.excel_row
    shared = step.expanded_uncertainty_c / step.coverage_factor
    private = step.private_uncertainty_c
    if private is None:
        sheet.formula(_STANDARD, f"H{row}/I{row}", float(shared[index]), "fine")
    else:
        own = float(np.hypot(shared[index], private[index]))
        sheet.formula(_STANDARD, f"SQRT((H{row}/I{row})^2+R{row}^2)", own, "fine")
    if row == points.last:
        return
    larger = float(max(shared[index], shared[index + 1]))
    if private is None:
        sheet.formula(_LARGER, f"MAX(J{row},J{row + 1})", larger, "fine")
        return
    formula = f"SQRT(MAX(H{row}/I{row},H{row + 1}/I{row + 1})^2+MAX(R{row},R{row + 1})^2)"
    both = float(np.hypot(larger, max(private[index], private[index + 1])))
    sheet.formula(_LARGER, formula, both, "fine")


def _curve_headers() -> list[str]:
    coefficients = [f"Curve: y{power} (°C/°C^{power})" for power in range(HIGHEST_DEGREE + 1)]
    variance = [f"Variance: v{power} (°C²/°C^{power})" for power in range(2 * HIGHEST_DEGREE + 1)]
    return ["Curve: origin (°C)", "Curve: degree (1)", *coefficients, *variance]


def _write_curve(sheet: Sheet, curve: Curve) -> None:
    sheet.number(_ORIGIN, curve.origin_c, "raw")
    sheet.number(_DEGREE, curve.degree, "count")
    for power, value in enumerate(curve.coefficients):
        sheet.number(_COEFFICIENTS + power, value, "sum")
    for power, value in enumerate(curve.variance_coefficients):
        sheet.number(_VARIANCE + power, value, "sum")
