"""The sheet of uncertainty budgets: a row for each survey and location, combined by formulas."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np

from qualify.evidence import Evaluation
from qualify.figures.absent import Maybe, present
from qualify.pack.workbook.book import Book, Sheet
from qualify.pack.workbook.cells import HoldView, RecordingView, agrees, cell, span
from qualify.pack.workbook.figures import FiguresLayout
from qualify.pack.workbook.sensors import Points, SensorsLayout, reading_variance
from qualify.pack.workbook.words import LEFT_OUT
from qualify.record import LocationRecord

NAME = "Uncertainty"
WIDTHS = (22, 13, 12, 12, 13, 12, 12, 13, 13, 13, 16, 10, 12, 12, 10, 12, 12, 13, 13, 10)
HEADERS = (
    "Survey",
    "Location",
    "First certificate of",
    "Its indication (°C)",
    "Its standard uncertainty (°C)",
    "Second certificate of",
    "Its indication (°C)",
    "Its standard uncertainty (°C)",
    "Allowance beyond end points, U (°C)",
    "Combined standard uncertainty (°C)",
    "Largest of the window on the readings sheet (°C)",
    "Coverage factor k (1)",
    "U of one reading, live (°C)",
    "U of one reading, engine (°C)",
    "Check",
    "Standard deviation s, live (°C)",
    "Effective readings, engine (1)",
    "U of the mean, live (°C)",
    "U of the mean, engine (°C)",
    "Check",
)
HEADER_ROW = 13
_ALLOWANCE, _COMBINED, _LARGEST, _FACTOR, _ONE = 8, 9, 10, 11, 12
_ONE_CHECK, _SD, _EFFECTIVE, _MEAN, _MEAN_CHECK = 14, 15, 16, 17, 19


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """One certificate's part at the reading with the largest uncertainty in the window."""

    points: Points
    indication_c: float
    standard_c: float
    beyond: bool


@dataclass(frozen=True, slots=True, eq=False)
class Budget:
    """The budget of one survey and location."""

    row: int
    survey: int
    number: int
    location: LocationRecord
    parts: tuple[Part, ...]
    reach_uncertainty_c: float
    factor: float | None
    standard_c: float | None

    @property
    def one_live(self) -> bool:
        """Whether U of one reading can be combined here, and gives what the engine has."""
        engine = self.location.expanded_uncertainty_c
        return (
            present(engine)
            and self.factor is not None
            and self.standard_c is not None
            and abs(self.factor * self.standard_c - engine) <= 1e-9 * max(1.0, abs(engine))
        )

    @property
    def mean_live(self) -> bool:
        """Whether U of the mean can be combined here."""
        return (
            self.one_live
            and present(self.location.mean_expanded_uncertainty_c)
            and present(self.location.effective_readings)
            and present(self.location.sd_c)
        )


class UncertaintyLayout:
    """Which row holds which budget."""

    def __init__(
        self, evaluation: Evaluation, recordings: tuple[RecordingView, ...], sensors: SensorsLayout
    ) -> None:
        of_survey = {hold.survey: (view, hold) for view in recordings for hold in view.holds}
        self.budgets: dict[tuple[int, int], Budget] = {}
        row = HEADER_ROW
        for survey, record in enumerate(evaluation.record.surveys):
            for number, location in enumerate(record.locations):
                row += 1
                found = of_survey.get(survey)
                self.budgets[(survey, number)] = _budget(row, survey, number, location, found, sensors)
        self.last_row = row
        self.surveys = [record.name for record in evaluation.record.surveys]

    def formula(self, survey: int, number: int) -> str | None:
        """Name the cell that holds a location's expanded uncertainty, where it is live."""
        budget = self.budgets[(survey, number)]
        return cell(NAME, budget.row, _ONE) if budget.one_live else None

    def allowance(self, survey: int, location: str) -> str | None:
        """Formula of the variance that a reading beyond the end points adds; None where U isn't live."""
        for budget in self.budgets.values():
            if budget.survey == survey and budget.location.location == location and budget.one_live:
                return f"({cell(NAME, budget.row, _ALLOWANCE)}/{cell(NAME, budget.row, _FACTOR)})^2"
        return None

    @property
    def live(self) -> int:
        """How many values are re-performed on the sheet."""
        return sum(budget.one_live + budget.mean_live for budget in self.budgets.values())

    @property
    def checks(self) -> tuple[str, ...]:
        """The cells that say "agrees" or "differs"."""
        return tuple(
            span(NAME, column, HEADER_ROW + 1, max(self.last_row, HEADER_ROW + 1))
            for column in (_ONE_CHECK, _MEAN_CHECK)
        )


def _budget(
    row: int,
    survey: int,
    number: int,
    location: LocationRecord,
    found: tuple[RecordingView, HoldView] | None,
    sensors: SensorsLayout,
) -> Budget:
    nothing = Budget(row, survey, number, location, (), 0.0, None, None)
    if found is None or found[1].evidence.window is None:
        return nothing
    view, hold = found
    readings = view.evidence.readings
    if location.location not in readings.locations:
        return nothing
    index = readings.locations.index(location.location)
    correction = readings.corrections[index]
    first, last = hold.evidence.window or (0, -1)
    raw_c = readings.raw_c[first : last + 1, index]
    raw_c = raw_c[~np.isnan(raw_c)]
    if correction is None or correction.coverage_factor is None or raw_c.size == 0:
        return nothing
    factor = correction.coverage_factor
    widest = int(np.argmax(reading_variance(correction, raw_c, factor)))
    parts = []
    indicated = raw_c[widest : widest + 1]
    variance = 0.0
    for points in sensors.steps(view.number, index):
        step = points.step
        standard_c = float(step.standard_uncertainty_at(indicated)[0])
        beyond = bool(step.beyond(indicated)[0] > 0)
        parts.append(Part(points, float(indicated[0]), standard_c, beyond))
        variance += standard_c**2
        variance += (correction.reach_uncertainty_c / factor) ** 2 if beyond else 0.0
        indicated = indicated + step.correction_at(indicated)
    return Budget(
        row, survey, number, location, tuple(parts), correction.reach_uncertainty_c, factor, sqrt(variance)
    )


def write_uncertainty(book: Book, layout: UncertaintyLayout, figures: list[FiguresLayout]) -> None:
    """Write the sheet."""
    sheet = book.sheet(NAME, WIDTHS)
    sheet.title("Uncertainty")
    sheet.note(
        "U of one corrected reading is taken where it is largest in the window; the certificates' parts "
        "are shown at that reading. Between calibration points the larger of both points' U/k holds; "
        "certificates combine as independent. It holds neither stability nor uniformity, which the "
        "figures contain.",
        95,
        2,
    )
    sheet.note(
        "The mean adds the scatter of an autocorrelated series: U_mean = k·√((U/k)² + s²/effective "
        "readings).",
        95,
        2,
    )
    sheet.note("Sources left out, unless a certificate covers them: " + "; ".join(LEFT_OUT) + ".", 95, 2)
    sheet.next(HEADER_ROW - sheet.excel_row)
    sheet.header(HEADERS, frozen_columns=2)
    for budget in layout.budgets.values():
        assert sheet.excel_row == budget.row
        sheet.text(0, layout.surveys[budget.survey])
        sheet.text(1, budget.location.location)
        figure = figures[budget.survey]
        _write_one(sheet, budget, figure.uncertainty_high(budget.location.location))
        _write_mean(sheet, budget, figure)
        sheet.next()
    sheet.print_in_strips(70, 2, [2, _COMBINED, _SD])


def _write_one(sheet: Sheet, budget: Budget, largest: str | None) -> None:
    row = budget.row
    if not budget.parts:
        sheet.text(2, "none" if budget.factor is None else "", "word")
    variances = []
    for part, column in zip(budget.parts, (2, 5), strict=False):
        sheet.text(column, part.points.step.of, "word")
        sheet.number(column + 1, part.indication_c, "temperature")
        formula = part.points.standard_uncertainty(f"{'D' if column == 2 else 'G'}{row}")
        sheet.formula(column + 2, formula, part.standard_c, "fine")
        variances.append(f"{'E' if column == 2 else 'H'}{row}^2")
        if part.beyond:
            variances.append(f"(I{row}/L{row})^2")
    engine = budget.location.expanded_uncertainty_c
    if budget.one_live and budget.factor is not None and budget.standard_c is not None:
        sheet.number(_ALLOWANCE, budget.reach_uncertainty_c, "fine")
        sheet.formula(_COMBINED, f"SQRT({'+'.join(variances)})", budget.standard_c, "fine")
        sheet.number(_FACTOR, budget.factor, "raw")
        if largest is not None:
            sheet.formula(_LARGEST, largest, budget.standard_c, "fine")
        assert present(engine)
        sheet.formula(_ONE, f"{'J' if largest is None else 'K'}{row}*L{row}", engine, "fine")
        sheet.formula(_ONE_CHECK, agrees(f"M{row}", f"N{row}"), "agrees", "word, set in")
    else:
        _not_live(sheet, _ONE, engine)
    sheet.maybe(_ONE + 1, engine, "fine")


def _write_mean(sheet: Sheet, budget: Budget, figures: FiguresLayout) -> None:
    row = budget.row
    engine = budget.location.mean_expanded_uncertainty_c
    sd, effective = budget.location.sd_c, budget.location.effective_readings
    if present(sd):
        sheet.formula(_SD, figures.location("sd_c", budget.number), sd, "fine")
    else:
        sheet.text(_SD, "absent", "word for number")
    sheet.maybe(_EFFECTIVE, effective, "temperature")
    if budget.mean_live and present(engine):
        sheet.formula(_MEAN, f"L{row}*SQRT((M{row}/L{row})^2+P{row}^2/Q{row})", engine, "fine")
        sheet.formula(_MEAN_CHECK, agrees(f"R{row}", f"S{row}"), "agrees", "word, set in")
    else:
        _not_live(sheet, _MEAN, engine)
    sheet.maybe(_MEAN + 1, engine, "fine")


def _not_live(sheet: Sheet, column: int, engine: Maybe) -> None:
    sheet.text(column, "engine only" if present(engine) else "absent", "word for number")
