"""The sheet of statistics: each location as a series, and the locations against each other."""

from __future__ import annotations

from typing import Any

from qualify.evidence import Evaluation
from qualify.figures.absent import Absent
from qualify.pack.workbook.book import Book, Sheet
from qualify.pack.workbook.what_if import has_statistics, write_probability
from qualify.record import LocationRecord, SeriesRecord, StatisticsRecord, SurveyRecord

NAME = "Statistics"
WIDTHS = (24, 24, 16, 14, 15, 15, 14, 17, 20, 17, 17, 16, 13, 66)
HEADERS = (
    "Survey",
    "Location, or pair",
    "Autocorrelation of neighbouring readings (1)",
    "Effective readings (1)",
    "Standard error of the mean (°C of difference)",
    "Standard error of the drift (°C/h)",
    "Test: its statistic (1)",
    "Test: p (1)",
    "The test says",
    "Difference of the means (°C of difference)",
    "± half-width (°C of difference)",
    "Effective readings of the difference (1)",
    "Do they differ",
    "Drift, in words; remarks",
)
_RHO, _EFFECTIVE, _ERROR, _SLOPE_ERROR, _STATISTIC, _P, _SAYS = range(2, 9)
_DIFFERENCE, _HALF, _OF_DIFFERENCE, _DIFFERS, _REMARK = range(9, 14)
MOST_PAIRS = 40
NOTES = (
    "Over the assessment window; engine only, re-performed by `qualify verify`. A location's difference is "
    "taken from the chamber mean at the same instants; of a pair it is the first less the second. All the "
    "intervals of one kind hold together with the stated confidence: they differ where one excludes 0.",
    "Differences are about what the sensors showed, and whether they would show it again in such a window. "
    "What the sensors themselves are wrong by is not in them: it stands on the sheet Budgets. A clear "
    "difference can still be one between sensors.",
    "Test of a location: whether it rises, sinks, bends or steps by more than its noise does. Not to see a "
    "change is no proof of steadiness, and a significant change may be too small to matter: the words beside "
    "it say how large it is.",
)


def write_statistics(book: Book, evaluation: Evaluation) -> None:
    """Write the sheet, where there is a plan."""
    if not has_statistics(evaluation):
        return
    sheet = book.sheet(NAME, WIDTHS)
    sheet.title("Statistics: each location as a series, and against the others")
    for note in (*NOTES, *_said_once(evaluation)):
        sheet.note(note, 180, 1)
    sheet.next()
    sheet.header(HEADERS, frozen_columns=2)
    for survey in evaluation.record.surveys:
        sheet.section(survey.name)
        if isinstance(survey.statistics, Absent):
            _line(sheet, survey.name, f"not known: {survey.statistics.reason}")
            continue
        _Hold(sheet, survey, survey.statistics).write()
    sheet.fit()


def _said_once(evaluation: Evaluation) -> list[str]:
    """How the tests and comparisons were made, each different way once."""
    found: dict[str, None] = {}
    for survey in evaluation.record.surveys:
        if isinstance(survey.statistics, Absent):
            continue
        for series in survey.statistics.series:
            if not isinstance(series.steadiness, Absent):
                found[
                    f"Steadiness: {series.steadiness.method}. Changes where p is below "
                    f"{series.steadiness.level:g}, the share of steady windows that are called unsteady."
                ] = None
        comparison = survey.statistics.comparison
        if not isinstance(comparison, Absent):
            found[f"Comparison, {100 * comparison.confidence:g} %: {comparison.method}."] = None
    return list(found)


def _line(sheet: Sheet, survey: str, words: str) -> None:
    sheet.text(0, survey)
    sheet.text(1, words, "line")
    sheet.next()


class _Hold:
    """Writes the rows of one hold."""

    def __init__(self, sheet: Sheet, survey: SurveyRecord, found: StatisticsRecord) -> None:
        self.sheet, self.survey, self.found = sheet, survey, found
        self.names = [series.location for series in found.series]

    def write(self) -> None:
        """Locations, equal scatter, pairs."""
        by_name = {location.location: location for location in self.survey.locations}
        for number, series in enumerate(self.found.series):
            self._location(number, series, by_name[series.location])
        comparison = self.found.comparison
        if isinstance(comparison, Absent):
            _line(self.sheet, self.survey.name, f"locations not compared: {comparison.reason}")
            return
        self._scatter(comparison.variances, comparison.readings)
        self._pairs(comparison)

    def _location(self, number: int, series: SeriesRecord, location: LocationRecord) -> None:
        sheet = self.sheet
        remarks = [series.drift]
        sheet.text(0, self.survey.name)
        sheet.text(1, series.location)
        for column, value, style, what in (
            (_RHO, series.autocorrelation, "probability", "autocorrelation"),
            (_EFFECTIVE, location.effective_readings, "degrees", "effective readings"),
            (_ERROR, series.standard_error_c, "fine", "standard error"),
            (_SLOPE_ERROR, series.drift_standard_error_c_per_h, "fine", "standard error of the drift"),
        ):
            sheet.maybe(column, value, style)
            if isinstance(value, Absent):
                remarks.append(f"{what} absent: {value.reason}")
        test = series.steadiness
        if isinstance(test, Absent):
            sheet.text(_SAYS, "absent", "word")
            remarks.append(f"test absent: {test.reason}")
        else:
            sheet.number(_STATISTIC, test.statistic, "temperature")
            write_probability(sheet, _P, test.p_value)
            sheet.text(_SAYS, "no sign of change" if test.steady else "changes", "word")
        comparison = self.found.comparison
        if not isinstance(comparison, Absent):
            sheet.number(_DIFFERENCE, float(comparison.against_mean_c[number]), "temperature")
            sheet.number(_HALF, float(comparison.against_mean_half_c[number]), "temperature")
            sheet.number(_OF_DIFFERENCE, float(comparison.effective_readings[number]), "degrees")
            sheet.text(_DIFFERS, "yes" if comparison.against_mean_differs[number] else "no", "word")
        sheet.text(_REMARK, "; ".join(remarks))
        sheet.next()

    def _scatter(self, variances: Any, readings: int) -> None:
        sheet = self.sheet
        sheet.text(0, self.survey.name)
        sheet.text(1, "all: do they scatter alike", "strong wrapped")
        if isinstance(variances, Absent):
            sheet.text(_SAYS, "absent", "word")
            sheet.text(_REMARK, f"absent: {variances.reason}")
        else:
            sheet.number(_STATISTIC, variances.statistic, "temperature")
            write_probability(sheet, _P, variances.p_value)
            sheet.text(_SAYS, "scatter differs" if variances.differs else "no sign of a difference", "text")
            sheet.text(
                _REMARK,
                "Brown and Forsythe's test on the differences from the chamber mean, "
                f"{readings} instants; F with {variances.degrees_between:g} and "
                f"{variances.degrees_within:.5g} degrees of freedom, "
                f"{variances.correlation_time:.3g} readings counted as one",
            )
        sheet.next()

    def _pairs(self, comparison: Any) -> None:
        """The pairs that differ, the farthest apart first; the others counted."""
        sheet = self.sheet
        size = abs(comparison.pair_difference_c)
        differ = [int(pair) for pair in (-size).argsort(kind="stable") if comparison.pair_differs[pair]]
        count = size.size
        sheet.text(0, self.survey.name)
        sheet.text(1, "pairs that differ", "strong wrapped")
        sheet.text(_DIFFERS, f"{len(differ)} of {count}", "word")
        rest = len(differ) - MOST_PAIRS
        told = [f"the {MOST_PAIRS} farthest apart follow, {rest} more do not"] if rest > 0 else []
        if len(differ) < count:
            told.append("pairs whose interval holds 0 are not listed")
        sheet.text(_REMARK, "; ".join(told))
        sheet.next()
        for pair in differ[:MOST_PAIRS]:
            first, second = (self.names[int(column)] for column in comparison.pairs[pair])
            sheet.text(0, self.survey.name)
            sheet.text(1, f"{first} − {second}")
            sheet.number(_DIFFERENCE, float(comparison.pair_difference_c[pair]), "temperature")
            sheet.number(_HALF, float(comparison.pair_half_c[pair]), "temperature")
            sheet.text(_DIFFERS, "yes", "word")
            sheet.next()
