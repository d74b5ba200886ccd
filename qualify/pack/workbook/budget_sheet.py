"""The sheet of budgets: every source of every location, what they come to, and the chamber's budget."""

from __future__ import annotations

from dataclasses import replace

from qualify.evidence import Evaluation
from qualify.figures.absent import Absent
from qualify.pack.workbook.book import Book, Sheet
from qualify.pack.workbook.budgets import (
    CHECK,
    DEGREES,
    DIVISOR,
    ENGINE,
    FACTOR,
    HEADER_ROW,
    NAME,
    ONE,
    SHARE,
    STANDARD,
    STATED,
    Block,
    BudgetsLayout,
    ChamberBlock,
)
from qualify.pack.workbook.cells import INFINITE, agrees, span
from qualify.pack.workbook.combined import write_degrees, write_factor
from qualify.pack.workbook.contributions import CertificateRow, LocationBudget, same
from qualify.pack.workbook.figures import FiguresLayout
from qualify.pack.workbook.source_lists import source_lists
from qualify.pack.workbook.uncertainty import UncertaintyLayout
from qualify.pack.workbook.words import BY_VERIFY
from qualify.record import CombinedRecord, ContributionRecord

WIDTHS = (24, 13, 32, 10, 12, 11, 9, 14, 13, 13, 12, 13, 13, 9, 15, 52)
HEADERS = (
    "Survey",
    "Location",
    "Source",
    "Evaluated (A or B)",
    "Distribution",
    "Stated, live (°C)",
    "Divisor (1)",
    "Standard uncertainty u, live (°C)",
    "Degrees of freedom ν (1)",
    "Share of the variance, live (%)",
    "Coverage factor k (1)",
    "U = k·u, live (°C)",
    "U, engine (°C)",
    "Check",
    "Shared with",
    "Where the number comes from",
)
_SHARED, _ORIGIN = 14, 15
NOTES = (
    "What each source gives to one corrected reading, taken where the certificates are worth least in the "
    "window, and to the mean of the window, with one row more. u = stated ÷ divisor; A: from the scatter of "
    "readings, B: otherwise (JCGM 100:2008). u together = √Σu²; ν = u⁴ ÷ Σ(u_i⁴/ν_i), infinite where all "
    "are taken as known. Shared with: whose error is the very same; a source that the plan doesn't call "
    "shared is each location's own. Where one rectangular source makes nearly all of the variance, as "
    "inhomogeneity mostly does of the chamber's, k = 2 covers more than 95.45 %.",
    "The chamber's budget (DKD-R 5-7) is that of an assigned chamber temperature. It is reported, and never "
    "a guard band for uniformity: it contains the non-uniformity, which would then count twice. The folder "
    "plots has a picture of each hold in which the budget of the deciding location or of the chamber has "
    "more than one source.",
)
SUM = "strong fine"
CHAMBER = "chamber"
INHOMOGENEITY, INSTABILITY = "inhomogeneity of the chamber", "instability of the chamber"
"""Sources of a chamber's budget that formulas follow, named as in the record."""


def write_budgets(
    book: Book,
    evaluation: Evaluation,
    layout: BudgetsLayout,
    uncertainty: UncertaintyLayout,
    figures: list[FiguresLayout],
) -> None:
    """Write the sheet."""
    sheet = book.sheet(NAME, WIDTHS)
    sheet.title("Budgets: what each source of error gives")
    for note in NOTES:
        sheet.note(note, 170, 2)
    sheet.next(HEADER_ROW - sheet.excel_row)
    sheet.header(HEADERS, frozen_columns=2)
    for survey, record in enumerate(evaluation.record.surveys):
        sheet.section(record.name)
        if isinstance(record.uncertainty, Absent):
            _line(sheet, record.name, "", f"no budget: {record.uncertainty.reason}")
            continue
        for number in range(len(record.locations)):
            item = layout.of(survey, number)
            assert sheet.excel_row == layout.block(item).first
            _Writer(sheet, record.name, layout, uncertainty, figures[survey]).location(item)
        chamber = record.uncertainty.chamber
        at = "" if isinstance(chamber, Absent) else f" at {chamber.location}"
        sheet.section(f"Chamber{at}, {record.name}")
        if isinstance(chamber, Absent):
            _line(sheet, record.name, CHAMBER, f"no budget: {chamber.reason}")
        else:
            block = layout.chambers[survey]
            assert sheet.excel_row == block.first
            _Writer(sheet, record.name, layout, uncertainty, figures[survey]).chamber(block)
    assert sheet.row == layout.last_row
    sheet.next()
    sheet.section("Sources that stand in no budget of a reading, and at which locations")
    lists = source_lists(evaluation.record)
    for found in lists:
        sheet.text(0, found.kind)
        sheet.text(2, found.where)
        sheet.text(_ORIGIN, "; ".join(found.sources))
        sheet.next()
    if not lists:
        sheet.text(0, "none", "line")
        sheet.next()
    sheet.fit()


def _line(sheet: Sheet, survey: str, location: str, words: str) -> None:
    sheet.text(0, survey)
    sheet.text(1, location)
    sheet.text(2, words, "line")
    sheet.next()


class _Writer:
    """Writes the budgets of one survey."""

    def __init__(
        self,
        sheet: Sheet,
        survey: str,
        layout: BudgetsLayout,
        uncertainty: UncertaintyLayout,
        figures: FiguresLayout,
    ) -> None:
        self.sheet, self.survey = sheet, survey
        self.layout, self.uncertainty, self.figures = layout, uncertainty, figures

    # --- one location

    def location(self, item: LocationBudget) -> None:
        """Write a location's rows, then what they come to."""
        name, block, record = item.location.location, self.layout.block(item), item.record
        if record is None:
            _line(self.sheet, self.survey, name, "no budget: the location stands in no recording")
            return
        if isinstance(record.reading, Absent):
            _line(self.sheet, self.survey, name, f"no budget: {record.reading.reason}")
            return
        total = f"H{block.one}"
        for row in item.rows:
            stated = self._of_certificate(item, row) if item.one_live else None
            self._row(name, row.record, total, stated)
        for other in item.others:
            self._row(name, other, total, None)
        losses = self.layout.losses(item)
        cells = span(NAME, STANDARD, block.first, block.one - 1)
        own = self.uncertainty.factor(item) if item.alone and item.factor is not None else None
        self._sum(
            name,
            "one corrected reading",
            f"SQRT(SUMPRODUCT({cells},{cells}))",
            losses,
            own,
            record.reading,
            live=item.one_live,
        )
        if block.repeatability is not None:
            self._mean(item, block, losses)

    def _of_certificate(self, item: LocationBudget, row: CertificateRow) -> str:
        """Formula of what a certificate's row states, at the reading that is worth least."""
        points = item.parts[row.step].points
        indication = self.uncertainty.indication(item, row.step)
        if row.kind == "reach":
            return f"IF({points.beyond(indication)},{self.uncertainty.reach(item)},0)*G#"
        of_kind = points.shared_uncertainty if row.kind == "shared" else points.private_uncertainty
        part = of_kind(indication)
        return f"G#*{part}" if row.multiplier == 1.0 else f"G#*{row.multiplier!r}*{part}"

    def _mean(self, item: LocationBudget, block: Block, losses: list[str]) -> None:
        record = item.record
        assert record is not None and record.repeatability is not None
        assert not isinstance(record.mean, Absent)
        name, row = item.location.location, self.sheet.excel_row
        scatter = record.repeatability
        self._row(name, scatter, f"H{block.mean}", None)
        self._sum(
            name,
            "mean of the window",
            f"SQRT(H{block.one}^2+H{row}^2)",
            [*losses, f"H{row}^4/I{row}"],
            None,
            record.mean,
            live=item.mean_live,
        )

    # --- the chamber

    def chamber(self, block: ChamberBlock) -> None:
        """Write the chamber's rows: the reference location's, then its own."""
        total = f"H{block.total}"
        reference, budget = block.reference, block.budget
        name = CHAMBER
        rows = list(budget.contributions)
        losses: list[str] = []
        if reference is not None:
            assert reference.record is not None
            of_reference = self.layout.block(reference)
            assert of_reference.repeatability is not None
            sources = [row.record for row in reference.rows] + list(reference.others)
            taken = len(reference.record.contributions) + 1
            sources.append(budget.contributions[taken - 1])
            places = [*range(of_reference.first, of_reference.one), of_reference.repeatability]
            shares = _shares(sources, budget.contributions[:taken])
            for source, place, share in zip(sources, places, shares, strict=True):
                self._linked(name, source, place, total, share)
                if source.degrees_of_freedom is not None:
                    losses.append(f"H{self.sheet.excel_row - 1}^4/I{self.sheet.excel_row - 1}")
            rows = rows[taken:]
        own = dict(zip((INHOMOGENEITY, INSTABILITY), self.figures.half_widths(), strict=True))
        for source in rows:
            formula, value = own.get(source.source) or (None, 0.0)
            live = formula is not None and same(value, source.stated_c)
            if source.degrees_of_freedom is not None:
                losses.append(f"H{self.sheet.excel_row}^4/I{self.sheet.excel_row}")
            if source.source in (INHOMOGENEITY, INSTABILITY) and not live:
                marked = replace(source, origin=f"{source.origin} [engine only; {BY_VERIFY}]")
                self._row(name, marked, total, None)
            else:
                self._row(name, source, total, formula if live else None)
        assert self.sheet.excel_row == block.total
        cells = span(NAME, STANDARD, block.first, block.total - 1)
        self._sum(
            name,
            "assigned chamber temperature",
            f"SQRT(SUMPRODUCT({cells},{cells}))",
            losses,
            None,
            budget.combined,
            live=True,
            remark="reported; never a guard band for uniformity, which it contains",
        )
        self.sheet.text(0, self.survey)
        self.sheet.text(1, name)
        self.sheet.text(2, "left out: no number given", "text")
        self.sheet.text(_ORIGIN, "; ".join(budget.left_out) or "nothing")
        self.sheet.next()

    def _linked(self, name: str, source: ContributionRecord, place: int, total: str, share: float) -> None:
        """Write a row that stands in the reference location's budget already."""
        self._words(name, source)
        self.sheet.formula(STATED, f"F{place}", source.stated_c, "fine")
        self.sheet.formula(DIVISOR, f"G{place}", source.divisor, "fine")
        self.sheet.formula(STANDARD, f"H{place}", source.standard_c, "fine")
        if source.degrees_of_freedom is not None:
            self.sheet.formula(DEGREES, f"I{place}", source.degrees_of_freedom, "degrees")
        self._share(total, share)
        self.sheet.next()

    # --- rows

    def _words(self, name: str, source: ContributionRecord) -> None:
        sheet = self.sheet
        for column, word in enumerate((self.survey, name, source.source, source.evaluation, source.shape)):
            sheet.text(column, word)
        if source.degrees_of_freedom is None:
            sheet.text(DEGREES, INFINITE, "word for number")
        sheet.text(_SHARED, source.shared_with or "no other")
        sheet.text(_ORIGIN, source.origin or "not stated")

    def _row(self, name: str, source: ContributionRecord, total: str, stated: str | None) -> None:
        """Write a source; `stated` is a formula, # standing for the row, or None for a number."""
        sheet, row = self.sheet, self.sheet.excel_row
        self._words(name, source)
        if stated is None:
            sheet.number(STATED, source.stated_c, "fine")
        else:
            sheet.formula(STATED, stated.replace("#", str(row)), source.stated_c, "fine")
        sheet.number(DIVISOR, source.divisor, "fine")
        sheet.formula(STANDARD, f"F{row}/G{row}", source.standard_c, "fine")
        if source.degrees_of_freedom is not None:
            sheet.number(DEGREES, source.degrees_of_freedom, "degrees")
        self._share(total, source.share)
        sheet.next()

    def _share(self, total: str, share: float) -> None:
        row = self.sheet.excel_row
        self.sheet.formula(SHARE, f"IF({total}>0,H{row}^2/{total}^2,0)", share, "share")

    def _sum(
        self,
        name: str,
        what: str,
        formula: str,
        losses: list[str],
        own: str | None,
        found: CombinedRecord,
        *,
        live: bool,
        remark: str = "",
    ) -> None:
        """Write what the rows above come to."""
        sheet, row = self.sheet, self.sheet.excel_row
        sheet.text(0, self.survey)
        sheet.text(1, name, "strong wrapped")
        sheet.text(2, what, "strong wrapped")
        if live:
            sheet.formula(STANDARD, formula, found.standard_c, SUM)
            write_degrees(sheet, DEGREES, f"H{row}", losses, found)
            write_factor(sheet, FACTOR, f"I{row}", own, losses, found)
            sheet.formula(ONE, f"H{row}*K{row}", found.expanded_c, SUM)
            sheet.formula(CHECK, agrees(f"L{row}", f"M{row}"), "agrees", "word, set in")
        else:
            sheet.number(STANDARD, found.standard_c, SUM)
            sheet.text(ONE, "engine only", "word for number")
        sheet.number(ENGINE, found.expanded_c, SUM)
        if remark:
            sheet.text(_ORIGIN, remark)
        sheet.next()


def _shares(sources: list[ContributionRecord], of_chamber: tuple[ContributionRecord, ...]) -> list[float]:
    """Shares in the chamber's budget of the reference location's rows; 0 of a reach that no reading needs."""
    left = list(of_chamber)
    shares = []
    for source in sources:
        if left and left[0].source == source.source and left[0].standard_c == source.standard_c:
            shares.append(left.pop(0).share)
        else:
            shares.append(0.0)
    return shares
