"""What the sheets of the stages share: the margin of a requirement as a formula, °F beside °C."""

from __future__ import annotations

from qualify.figures.absent import present
from qualify.pack.workbook.book import Sheet, column_letters
from qualify.pack.workbook.cells import from_celsius
from qualify.pack.workbook.words import DIFFERENCE, TEMPERATURE
from qualify.record import RequirementRecord
from qualify.units import TemperatureUnit, difference_from_c, temperature_from_c


def style_for(value: float) -> str:
    """A number's style, so that small ones keep digits: oxygen in thousandths of a percent among them."""
    size = abs(value)
    if size >= 1.0 or size == 0.0:
        return "seconds"
    return "fine" if size >= 0.1 else "finest" if size >= 1e-4 else "sum"


def write_margin(sheet: Sheet, item: RequirementRecord, column: int, value: int, low: int, high: int) -> None:
    """Write the distance to the nearer limit as a formula over the row's own cells; else what the record has.

    Parameters
    ----------
    sheet, item
        The sheet, at the requirement's row; the requirement.
    column
        Where the margin goes.
    value, low, high
        The columns of value and limits.
    """
    distances = []
    cell, lower, upper = (f"{column_letters(place)}{sheet.excel_row}" for place in (value, low, high))
    if item.limit_low is not None:
        distances.append(f"{cell}-{lower}")
    if item.limit_high is not None:
        distances.append(f"{upper}-{cell}")
    if not distances:
        sheet.text(column, "none", "word for number")
    elif present(item.value) and present(item.margin):
        sheet.formula(column, f"MIN({','.join(distances)})", item.margin, style_for(item.margin))
    else:
        sheet.text(column, "absent", "word for number")


def in_fahrenheit(sheet: Sheet, column: int, source: int, value: float | None, unit: str) -> None:
    """Write a value in °F, or °F of difference, as a formula over its cell in °C; nothing of other units."""
    if value is None or not unit.startswith(TEMPERATURE):
        return
    difference = unit != TEMPERATURE
    reference = f"{column_letters(source)}{sheet.excel_row}"
    formula = from_celsius(reference, TemperatureUnit.F, difference=difference)
    convert = difference_from_c if difference else temperature_from_c
    sheet.formula(column, formula, float(convert(value, TemperatureUnit.F)), "temperature")


def unit_of(item: RequirementRecord) -> str:
    """The unit of a test's requirement as printed: a dead band is a difference, a trip point isn't."""
    if item.unit == TEMPERATURE and item.figure == "dead band":
        return DIFFERENCE
    return "" if item.unit == "1" else item.unit
