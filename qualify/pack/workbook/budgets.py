"""Where each budget stands on the sheet of budgets, so that other sheets can name its cells."""

from __future__ import annotations

from dataclasses import dataclass

from qualify.evidence import Evaluation
from qualify.figures.absent import Absent
from qualify.pack.workbook.cells import cell, span
from qualify.pack.workbook.contributions import LocationBudget
from qualify.record import ChamberBudgetRecord, SurveyRecord

NAME = "Budgets"
HEADER_ROW = 9
STATED, DIVISOR, STANDARD, DEGREES, SHARE, FACTOR, ONE, ENGINE, CHECK = range(5, 14)


@dataclass(frozen=True, slots=True, eq=False)
class Block:
    """The rows of one location's budget on the sheet; rows as the sheet counts."""

    first: int
    certificates: int
    others: int
    one: int
    """Row of what one corrected reading comes to."""
    repeatability: int | None
    mean: int | None

    @property
    def last(self) -> int:
        """Its last row."""
        return self.mean or self.one


@dataclass(frozen=True, slots=True, eq=False)
class ChamberBlock:
    """The rows of a chamber budget: linked to the reference location's, then its own."""

    budget: ChamberBudgetRecord
    reference: LocationBudget | None
    first: int
    total: int


class BudgetsLayout:
    """Which row holds which source."""

    def __init__(self, evaluation: Evaluation, locations: list[LocationBudget]) -> None:
        self.locations = locations
        self._of = {(item.survey, item.number): item for item in locations}
        self._blocks: dict[tuple[int, int], Block] = {}
        self.chambers: dict[int, ChamberBlock] = {}
        row = HEADER_ROW
        for survey, record in enumerate(evaluation.record.surveys):
            row += 1  # its heading
            if isinstance(record.uncertainty, Absent):
                row += 1
                continue
            for number in range(len(record.locations)):
                block = _block(self._of[(survey, number)], row + 1)
                self._blocks[(survey, number)] = block
                row = block.last
            row = self._place_chamber(survey, record, row)
        self.last_row = row

    def _place_chamber(self, survey: int, record: SurveyRecord, row: int) -> int:
        """Place the chamber's budget, or the line that says why there is none; give its last row."""
        assert not isinstance(record.uncertainty, Absent)
        chamber = record.uncertainty.chamber
        row += 1  # its heading
        if isinstance(chamber, Absent):
            return row + 1
        names = [item.location for item in record.locations]
        reference = None
        if chamber.location in names:
            item = self._of[(survey, names.index(chamber.location))]
            reference = item if item.mean_live else None
        unused = 0 if reference is None else _unused(reference)
        total = row + 1 + len(chamber.contributions) + unused
        self.chambers[survey] = ChamberBlock(chamber, reference, row + 1, total)
        return total + 1  # and the line of what is left out

    def of(self, survey: int, number: int) -> LocationBudget:
        """Give a location's budget."""
        return self._of[(survey, number)]

    def block(self, item: LocationBudget) -> Block:
        """Rows of a location's budget."""
        return self._blocks[(item.survey, item.number)]

    def others(self, item: LocationBudget) -> str:
        """Cells of the standard uncertainties that the plan's sources give a location."""
        block = self.block(item)
        first = block.first + block.certificates
        return span(NAME, STANDARD, first, first + block.others - 1)

    def losses(self, item: LocationBudget) -> list[str]:
        """u⁴/ν of each source of a reading whose degrees of freedom are finite."""
        block = self.block(item)
        rows = [block.first + block.certificates + number for number in item.finite]
        return [f"{cell(NAME, row, STANDARD)}^4/{cell(NAME, row, DEGREES)}" for row in rows]

    @property
    def live(self) -> int:
        """How many expanded uncertainties are re-performed on the sheet."""
        return sum(item.one_live + item.mean_live for item in self.locations) + len(self.chambers)

    @property
    def checks(self) -> str:
        """The cells that say "agrees" or "differs"."""
        return span(NAME, CHECK, HEADER_ROW + 1, max(self.last_row, HEADER_ROW + 1))


def _unused(item: LocationBudget) -> int:
    """How many of a location's rows the record lacks: reaches that no reading needs."""
    assert item.record is not None
    return len(item.rows) + len(item.others) - len(item.record.contributions)


def _block(item: LocationBudget, first: int) -> Block:
    if item.record is None or isinstance(item.record.reading, Absent):
        return Block(first, 0, 0, first, None, None)
    one = first + len(item.rows) + len(item.others)
    has_mean = item.record.repeatability is not None and not isinstance(item.record.mean, Absent)
    return Block(
        first=first,
        certificates=len(item.rows),
        others=len(item.others),
        one=one,
        repeatability=one + 1 if has_mean else None,
        mean=one + 2 if has_mean else None,
    )
