"""The sheet of uncertainties: a row for each survey and location, combined by formulas."""

from __future__ import annotations

from qualify.evidence import Evaluation
from qualify.figures.absent import Absent, Maybe, present
from qualify.pack.workbook.book import Book, Sheet, lines_of
from qualify.pack.workbook.budgets import NAME as BUDGETS
from qualify.pack.workbook.budgets import BudgetsLayout
from qualify.pack.workbook.cells import agrees, cell, span
from qualify.pack.workbook.combined import write_degrees, write_factor
from qualify.pack.workbook.contributions import LocationBudget
from qualify.pack.workbook.figures import FiguresLayout
from qualify.pack.workbook.source_lists import source_lists

NAME = "Uncertainty"
WIDTHS = (
    *(22, 13, 12, 12, 13, 12, 12, 13, 13, 13, 13, 16),
    *(12, 14, 13, 11, 12, 12, 10),
    *(12, 12, 14, 13, 11, 13, 13, 10),
)
HEADERS = (
    "Survey",
    "Location",
    "First certificate of",
    "Its indication (°C)",
    "Its standard uncertainty (°C)",
    "Second certificate of",
    "Its indication (°C)",
    "Its standard uncertainty (°C)",
    "Coverage factor of the certificates (1)",
    "Allowance beyond end points, U (°C)",
    "Certificates together, u (°C)",
    "Certificates, largest of the window on the readings sheet, u (°C)",
    "Other sources together, u (°C)",
    "One reading, standard uncertainty u (°C)",
    "Degrees of freedom ν (1)",
    "Coverage factor k (1)",
    "U of one reading, live (°C)",
    "U of one reading, engine (°C)",
    "Check",
    "Mean, standard error of its scatter, engine (°C)",
    "Its degrees of freedom, engine (1)",
    "Mean, standard uncertainty u (°C)",
    "Degrees of freedom ν (1)",
    "Coverage factor k (1)",
    "U of the mean, live (°C)",
    "U of the mean, engine (°C)",
    "Check",
)
NOTE_COLUMN, NOTE_WIDTH = 2, 150
NOTES = (
    "U of one corrected reading is taken where its certificates are worth least in the window: their parts "
    "are shown at that reading. Between calibration points the larger of both points' U/k holds; sources "
    f"combine as independent. What each source gives stands on the sheet {BUDGETS}. U holds neither "
    "stability nor uniformity, which the figures contain.",
    "k: a certificate's own where it makes up the whole budget; else Student's t for ν, cut to a whole "
    "number, at the coverage of k = 2 (95.45 %): 2 where all is taken as known. The mean adds the scatter of "
    "an autocorrelated series: the half-width of its 95 % interval over Student's t, both the engine's.",
)
_FIRST, _SECOND = 2, 5
_FACTOR, _ALLOWANCE, _TOGETHER, _LARGEST, _OTHERS, _STANDARD, _DEGREES, _K, _ONE = range(8, 17)
_ONE_CHECK, _SCATTER, _SCATTER_DEGREES, _MEAN_STANDARD, _MEAN_DEGREES, _MEAN_K, _MEAN = range(18, 25)
_MEAN_CHECK = 26


class UncertaintyLayout:
    """Which row holds the uncertainty of which location."""

    def __init__(self, evaluation: Evaluation, budgets: BudgetsLayout) -> None:
        self.budgets = budgets
        self.surveys = [record.name for record in evaluation.record.surveys]
        lists = [f"{item.words}." for item in source_lists(evaluation.record, most=4)]
        self.notes = [line for note in (*NOTES, *lists) for line in lines_of(note, NOTE_WIDTH)]
        self.header_row = 1 + len(self.notes) + 2
        self._rows = {
            (item.survey, item.number): row
            for row, item in enumerate(budgets.locations, start=self.header_row + 1)
        }

    @property
    def last_row(self) -> int:
        """Last row of the sheet."""
        return self.header_row + len(self._rows)

    def row(self, item: LocationBudget) -> int:
        """Row of a location."""
        return self._rows[(item.survey, item.number)]

    def indication(self, item: LocationBudget, step: int) -> str:
        """Cell of the indication at which a certificate's part is taken."""
        return cell(NAME, self.row(item), (_FIRST, _SECOND)[step] + 1)

    def factor(self, item: LocationBudget) -> str:
        """Cell of the certificates' coverage factor."""
        return cell(NAME, self.row(item), _FACTOR)

    def reach(self, item: LocationBudget) -> str:
        """Formula of the standard uncertainty that a reading beyond the end points adds."""
        return f"{cell(NAME, self.row(item), _ALLOWANCE)}/{self.factor(item)}"

    def formula(self, key: str, survey: int, number: int) -> str | None:
        """Name the cell that holds a figure of a location, where it is live."""
        column = {
            "standard_uncertainty_c": _STANDARD,
            "expanded_uncertainty_c": _ONE,
            "coverage_factor": _K,
        }.get(key)
        item = self.budgets.of(survey, number)
        return cell(NAME, self.row(item), column) if item.one_live and column is not None else None

    def allowance(self, survey: int, location: str) -> str | None:
        """Formula of the variance that a reading beyond the end points adds; None where U isn't live."""
        for item in self.budgets.locations:
            if item.survey == survey and item.location.location == location:
                return f"({self.reach(item)})^2" if item.one_live and item.factor is not None else None
        return None

    @property
    def live(self) -> int:
        """How many values are re-performed on the sheet."""
        return sum(item.one_live + item.mean_live for item in self.budgets.locations)

    @property
    def checks(self) -> tuple[str, ...]:
        """The cells that say "agrees" or "differs"."""
        last = max(self.last_row, self.header_row + 1)
        return tuple(span(NAME, column, self.header_row + 1, last) for column in (_ONE_CHECK, _MEAN_CHECK))


def write_uncertainty(book: Book, layout: UncertaintyLayout, figures: list[FiguresLayout]) -> None:
    """Write the sheet."""
    sheet = book.sheet(NAME, WIDTHS)
    sheet.title("Uncertainty")
    for line in layout.notes:
        sheet.text(NOTE_COLUMN, line, "note")
        sheet.next()
    sheet.next(layout.header_row - sheet.excel_row)
    sheet.header(HEADERS, frozen_columns=2)
    for item in layout.budgets.locations:
        assert sheet.excel_row == layout.row(item)
        sheet.text(0, layout.surveys[item.survey])
        sheet.text(1, item.location.location)
        figure = figures[item.survey]
        _write_certificates(sheet, layout, item, figure)
        _write_one(sheet, layout, item)
        _write_mean(sheet, layout, item)
        sheet.next()
    sheet.print_in_strips(60, 2, [2, _LARGEST, _SCATTER])


def _write_certificates(
    sheet: Sheet, layout: UncertaintyLayout, item: LocationBudget, figures: FiguresLayout
) -> None:
    """Each certificate at the reading that is worth least, and all of them together."""
    row = sheet.excel_row
    if item.factor is None or not item.parts:
        sheet.text(_FIRST, "none", "word")
        return
    variances = []
    indication = figures.widest_indication(item.location.location)
    for part, column in zip(item.parts, (_FIRST, _SECOND), strict=False):
        sheet.text(column, part.points.step.of, "word")
        if indication is not None and item.one_live:
            sheet.formula(column + 1, indication, part.indication_c, "temperature")
        else:
            sheet.number(column + 1, part.indication_c, "temperature")
        here = f"{'D' if column == _FIRST else 'G'}{row}"
        sheet.formula(column + 2, part.points.standard_uncertainty(here), part.standard_c, "fine")
        variances.append(f"{'E' if column == _FIRST else 'H'}{row}^2")
        if item.reach_uncertainty_c > 0:
            variances.append(f"IF({part.points.beyond(here)},(J{row}/I{row})^2,0)")
        indication = f"{here}+{part.points.correction(here)}"
    sheet.number(_FACTOR, item.factor, "raw")
    sheet.number(_ALLOWANCE, item.reach_uncertainty_c, "fine")
    sheet.formula(_TOGETHER, f"SQRT({'+'.join(variances)})", item.certificates_c, "fine")
    largest = figures.uncertainty_high(item.location.location) if item.one_live else None
    sheet.formula(_LARGEST, f"K{row}" if largest is None else largest, item.certificates_c, "fine")


def _write_one(sheet: Sheet, layout: UncertaintyLayout, item: LocationBudget) -> None:
    row = sheet.excel_row
    engine = item.location.expanded_uncertainty_c
    if not item.one_live or item.record is None or isinstance(item.record.reading, Absent):
        _not_live(sheet, _ONE, engine)
        sheet.maybe(_ONE + 1, engine, "fine")
        return
    budgets, found = layout.budgets, item.record.reading
    parts = []
    if item.factor is not None and item.parts:
        parts.append(f"L{row}^2")
    if item.others:
        cells = budgets.others(item)
        sheet.formula(_OTHERS, f"SQRT(SUMPRODUCT({cells},{cells}))", item.others_c, "fine")
        parts.append(f"M{row}^2")
    else:
        sheet.text(_OTHERS, "none", "word for number")
    sheet.formula(_STANDARD, f"SQRT({'+'.join(parts)})", found.standard_c, "fine")
    losses = budgets.losses(item)
    write_degrees(sheet, _DEGREES, f"N{row}", losses, found)
    write_factor(sheet, _K, f"O{row}", f"I{row}" if item.alone else None, losses, found)
    sheet.formula(_ONE, f"N{row}*P{row}", found.expanded_c, "fine")
    sheet.formula(_ONE_CHECK, agrees(f"Q{row}", f"R{row}"), "agrees", "word, set in")
    sheet.maybe(_ONE + 1, engine, "fine")


def _write_mean(sheet: Sheet, layout: UncertaintyLayout, item: LocationBudget) -> None:
    row = sheet.excel_row
    engine = item.location.mean_expanded_uncertainty_c
    sheet.maybe(_MEAN + 1, engine, "fine")
    record = item.record
    scatter = None if record is None else record.repeatability
    if scatter is None or scatter.degrees_of_freedom is None:
        sheet.text(_SCATTER, "absent", "word for number")
    else:
        sheet.number(_SCATTER, scatter.standard_c, "fine")
        sheet.number(_SCATTER_DEGREES, scatter.degrees_of_freedom, "degrees")
    if not item.mean_live or record is None or isinstance(record.mean, Absent):
        _not_live(sheet, _MEAN, engine)
        return
    found = record.mean
    sheet.formula(_MEAN_STANDARD, f"SQRT(N{row}^2+T{row}^2)", found.standard_c, "fine")
    losses = [*layout.budgets.losses(item), f"T{row}^4/U{row}"]
    write_degrees(sheet, _MEAN_DEGREES, f"V{row}", losses, found)
    write_factor(sheet, _MEAN_K, f"W{row}", None, losses, found)
    sheet.formula(_MEAN, f"V{row}*X{row}", found.expanded_c, "fine")
    sheet.formula(_MEAN_CHECK, agrees(f"Y{row}", f"Z{row}"), "agrees", "word, set in")


def _not_live(sheet: Sheet, column: int, engine: Maybe) -> None:
    sheet.text(column, "engine only" if present(engine) else "absent", "word for number")
