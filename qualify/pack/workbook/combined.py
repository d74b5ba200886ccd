"""Cells of what a budget comes to: degrees of freedom and coverage factor, alike on every sheet."""

from __future__ import annotations

from collections.abc import Sequence

from qualify.pack.workbook.book import Sheet
from qualify.pack.workbook.cells import INFINITE, coverage_factor, effective_degrees
from qualify.record import CombinedRecord


def write_degrees(
    sheet: Sheet, column: int, standard: str, losses: Sequence[str], found: CombinedRecord
) -> None:
    """Write the effective degrees of freedom of a combined standard uncertainty.

    Parameters
    ----------
    sheet, column
        Where.
    standard
        Cell of the combined standard uncertainty.
    losses
        u_i⁴/ν_i of every source whose ν_i is finite.
    found
        What the engine has.
    """
    formula = effective_degrees(standard, list(losses))
    if formula is None:
        sheet.text(column, INFINITE, "word for number")
        return
    value = INFINITE if found.effective_degrees is None else found.effective_degrees
    sheet.formula(column, formula, value, "word for number" if value == INFINITE else "degrees")


def write_factor(
    sheet: Sheet, column: int, degrees: str, own: str | None, losses: Sequence[str], found: CombinedRecord
) -> None:
    """Write the coverage factor: the certificate's own cell, or Student's for the cell of degrees."""
    if own is not None:
        sheet.formula(column, own, found.coverage_factor, "fine")
    elif losses:
        sheet.formula(column, coverage_factor(degrees), found.coverage_factor, "fine")
    else:
        sheet.number(column, found.coverage_factor, "fine")
