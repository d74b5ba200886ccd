"""Rows that show single readings of a test's recording, live over the sheet of its readings."""

from __future__ import annotations

from dataclasses import dataclass

from qualify.pack.workbook.figure_rows import Line
from qualify.pack.workbook.test_readings import TestCells


@dataclass(frozen=True, slots=True)
class Quantity:
    """What a test watches, and how its recorded readings become it.

    `less` names a channel that is taken off (a recorded limit), `per_unit` divides (ppm to %).
    """

    cells: TestCells
    channel: str
    unit: str
    less: str = ""
    per_unit: float = 1.0

    def line(self, what: str, at_s: float) -> Line:
        """The row of one reading."""
        value = self.cells.value(self.channel, at_s)
        formula = self.cells.reading(self.channel, at_s)
        if self.less:
            value -= self.cells.value(self.less, at_s)
            formula = f"{formula}-{self.cells.reading(self.less, at_s)}"
        if self.per_unit != 1.0:
            value, formula = value / self.per_unit, f"{formula}/{self.per_unit:g}"
        return Line(
            what=what,
            how=f"at {at_s:.6g} s: {self.cells.row(at_s)}",
            value=value,
            unit=self.unit,
            formula=lambda _row: formula,
        )

    def beside(self, first_s: float, last_s: float) -> list[Line]:
        """The rows of the readings between which a channel changed [s]."""
        return [
            self.line("reading before the change", first_s),
            self.line("reading after the change", last_s),
        ]

    def around(self, moment: str, at_s: float) -> list[Line]:
        """The rows of the readings before and after a moment [s]; none where one of them is missing."""
        instants = self.cells.around(self.channel, at_s)
        if instants is None or (self.less and self.cells.around(self.less, at_s) is None):
            return []
        return [
            self.line(f"reading before {moment}", instants[0]),
            self.line(f"reading after {moment}", instants[1]),
        ]

    def extreme(self, from_s: float, to_s: float, *, highest: bool) -> str | None:
        """Formula of the highest or lowest reading in a stretch [s]; None where an empty cell forbids it."""
        if self.less:
            return self.cells.extreme_difference(self.channel, self.less, from_s, to_s, highest=highest)
        formula = self.cells.extreme(self.channel, from_s, to_s, highest=highest)
        return formula if self.per_unit == 1.0 else f"{formula}/{self.per_unit:g}"
