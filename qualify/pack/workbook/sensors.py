"""The sheet of locations and sensors, and of the certificate points that the corrections use."""

from __future__ import annotations

from dataclasses import dataclass
from math import isnan

import numpy as np

from qualify.evidence import Evaluation
from qualify.pack.workbook.book import Book
from qualify.pack.workbook.cells import RecordingView, cell, span
from qualify.readings.model import FloatArray
from qualify.sensors.corrections import Correction, Step

NAME = "Sensors"
CERTIFICATES = "Certificates"
WIDTHS = (18, 20, 18, 12, 10, 10, 10, 48)
CERTIFICATE_WIDTHS = (16, 18, 14, 18, 13, 13, 15, 14, 13, 15, 15, 14)
POINTS_HEADER_ROW = 5

_INDICATION, _CORRECTION, _SLOPE, _EXPANDED, _FACTOR, _STANDARD, _LARGER, _ROW = range(4, 12)


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
        """Formula of the correction at an indication: linear between points, held beyond them."""
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
        return self._held(indication, _STANDARD, between)

    def beyond(self, indication: str) -> str:
        """Formula that says whether an indication lies beyond the end points."""
        low, high = (cell(CERTIFICATES, row, _INDICATION) for row in (self.first, self.last))
        return f"OR({indication}<{low},{indication}>{high})"

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
        sensors = {point.row: point.sensor for point in record.certificates}
        row = POINTS_HEADER_ROW + 1
        for recording in recordings:
            readings = recording.evidence.readings
            for index, correction in enumerate(readings.corrections):
                channel = readings.recording.channels[readings.channel_index[index]].name
                steps = []
                for step in correction.steps if correction is not None else ():
                    key = (channel, step.of, step.rows, *step.temperature_c, *step.correction_c)
                    if key not in self._by_step:
                        last = row + step.temperature_c.size - 1
                        self._by_step[key] = Points(
                            channel, sensors.get(step.rows[0], ""), [], step, row, last
                        )
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
        ["Location", "Channel", "Sensor", "Type", "x (mm)", "y (mm)", "z (mm)", "Corrected by"],
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
        steps = [points.step.of for points in layout.all_points if location.location in points.locations]
        sheet.text(7, " then ".join(f"{of} certificate" for of in steps) or "no certificate: not corrected")
        sheet.next()
    sheet.fit()


def write_certificates(book: Book, layout: SensorsLayout) -> None:
    """Write the sheet of calibration points, which the formulas on the readings sheets use."""
    sheet = book.sheet(CERTIFICATES, CERTIFICATE_WIDTHS)
    sheet.title("Certificates: the calibration points that correct the readings")
    if layout.all_points:
        sheet.note(
            "A correction (true − indicated) is added to the indication. Between points it runs in a "
            "straight line; beyond the end points the end's correction is held. A channel's correction "
            "comes before the sensor's."
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
                sheet.formula(_STANDARD, f"H{row}/I{row}", expanded / factor, "fine")
                if row < points.last:
                    at = step.expanded_uncertainty_c / step.coverage_factor
                    larger = float(max(at[index], at[index + 1]))
                    sheet.formula(_LARGER, f"MAX(J{row},J{row + 1})", larger, "fine")
            else:
                for column in (_EXPANDED, _FACTOR, _STANDARD):
                    sheet.text(column, "not stated", "word for number")
            sheet.number(_ROW, step.rows[index], "count")
            sheet.next()
    sheet.fit()
