"""The sheet of what was asked: each requirement, the figure held against it, and the decision."""

from __future__ import annotations

from qualify.evidence import Evaluation
from qualify.figures.absent import Absent, present
from qualify.pack.workbook.book import Book, Sheet, column_letters
from qualify.pack.workbook.cells import from_celsius
from qualify.pack.workbook.figures import FiguresLayout
from qualify.pack.workbook.words import CHAMBER, DIFFERENCE
from qualify.record import RequirementRecord
from qualify.units import TemperatureUnit, difference_from_c, parse_unit

NAME = "Requirements"
HEADERS = (
    "Survey",
    "Requirement",
    "What is asked",
    "Value, live (unit beside)",
    "Value, engine (unit beside)",
    "Unit",
    "Lower limit (unit beside)",
    "Upper limit (unit beside)",
    "Margin, live (unit beside)",
    "Margin, engine (unit beside)",
    "Guard band (unit beside)",
    "Acceptance",
    "DECISION",
    "Figure",
    "Location",
    "When",
    "Decided by",
    "Note",
    "Source",
    "Standing",
)
WIDTHS = (22, 17, 34, 13, 13, 7, 13, 13, 13, 13, 13, 13, 15, 20, 12, 31, 12, 52, 34, 11)
_FAHRENHEIT = (
    "Value (°F of difference)",
    "Lower limit (°F of difference)",
    "Upper limit (°F of difference)",
    "Margin (°F of difference)",
)
_ASKED, _LIVE, _VALUE, _UNIT, _LOW, _HIGH, _MARGIN, _ENGINE_MARGIN, _GUARD = range(2, 11)
_ACCEPTANCE, _DECISION = 11, 12
_FIGURE, _LOCATION, _WHEN, _DECIDED_BY, _NOTE, _SOURCE, _STANDING = range(13, 20)
_NOTE_WIDTH = 130

# Figures that a requirement names otherwise than the record's chamber does.
_CHAMBER_KEYS = {
    "upper": "deviation_max_c",
    "lower": "deviation_min_c",
    "spread": "spread_max_c",
    **{key.removesuffix("_c").removesuffix("_s"): key for key in CHAMBER},
    **{key: key for key in CHAMBER},
}


def write_requirements(book: Book, evaluation: Evaluation, figures: list[FiguresLayout]) -> None:
    """Write the sheet."""
    record = evaluation.record
    fahrenheit = parse_unit(record.units) is TemperatureUnit.F
    sheet = book.sheet(NAME, (*WIDTHS, *((14,) * 4 if fahrenheit else ())))
    sheet.title("Requirements")
    sheet.note(
        "What was asked, and where each was met. Decisions, worst last: pass, conditional, not shown, "
        "fail. Values are compared unrounded; equal to the limit meets it. Margin: distance to the "
        "nearer limit, positive inside, before any guard band.",
        _NOTE_WIDTH,
        _ASKED,
    )
    sheet.next()
    sheet.header([*HEADERS, *(_FAHRENHEIT if fahrenheit else ())], frozen_columns=2)
    for index, survey in enumerate(record.surveys):
        for requirement in survey.requirements:
            _write_requirement(sheet, survey.name, requirement, figures[index], fahrenheit)
    sheet.print_in_strips(62, 2, [_ASKED, _FIGURE, *([len(WIDTHS)] if fahrenheit else [])])


def _live_value(requirement: RequirementRecord, figures: FiguresLayout) -> str | None:
    """Name the live cell whose figure this requirement holds against its limits, where one does."""
    key = _CHAMBER_KEYS.get(requirement.figure)
    if key is None or not present(requirement.value) or not figures.live_chamber(key):
        return None
    engine = getattr(figures.record.chamber, key)
    # another location may decide, or the value may be counted otherwise: then no cell stands for it
    if not present(engine) or abs(engine - requirement.value) > 1e-9 * max(1.0, abs(engine)):
        return None
    return figures.chamber(key)


def _write_requirement(
    sheet: Sheet, survey: str, requirement: RequirementRecord, figures: FiguresLayout, fahrenheit: bool
) -> None:
    row = sheet.excel_row
    number = "fine" if requirement.unit == "°C" else "seconds"
    live = _live_value(requirement, figures)
    sheet.text(0, survey)
    sheet.text(1, requirement.id, "strong wrapped")
    sheet.text(_ASKED, requirement.text)
    if live is not None and present(requirement.value):
        sheet.formula(_LIVE, live, requirement.value, number)
    else:
        sheet.text(_LIVE, "engine only" if present(requirement.value) else "absent", "word for number")
    if requirement.figure == "conformance_probability":
        sheet.probability(_VALUE, requirement.value)
    else:
        sheet.maybe(_VALUE, requirement.value, number)
    sheet.text(_UNIT, DIFFERENCE if requirement.unit == "°C" else requirement.unit)
    for column, limit in (
        (_LOW, requirement.limit_low),
        (_HIGH, requirement.limit_high),
        (_GUARD, requirement.guard_band),
    ):
        if limit is None:
            sheet.text(column, "none", "word for number")
        else:
            sheet.number(column, limit, number)
    value, low, high = (
        f"{column_letters(column)}{row}" for column in (_VALUE if live is None else _LIVE, _LOW, _HIGH)
    )
    distances = [f"{value}-{low}"] if requirement.limit_low is not None else []
    distances += [f"{high}-{value}"] if requirement.limit_high is not None else []
    if present(requirement.value) and present(requirement.margin) and distances:
        sheet.formula(_MARGIN, f"MIN({','.join(distances)})", requirement.margin, number)
    else:
        sheet.text(_MARGIN, "absent", "word for number")
    sheet.maybe(_ENGINE_MARGIN, requirement.margin, number)
    sheet.text(_ACCEPTANCE, requirement.acceptance)
    sheet.text(_DECISION, str(requirement.decision).upper(), "strong wrapped")
    sheet.text(_FIGURE, requirement.figure.removesuffix("_c").removesuffix("_s").replace("_", " "))
    sheet.text(_LOCATION, requirement.location or "")
    at = f"{requirement.time_s:g} s" if requirement.time_s is not None else ""
    sheet.text(_WHEN, ", ".join(part for part in (requirement.time or "", at) if part))
    sheet.text(_DECIDED_BY, requirement.decided_by or "")
    note = requirement.note
    if isinstance(requirement.value, Absent):
        note = " ".join(part for part in (note, f"Absent: {requirement.value.reason}.") if part)
    sheet.text(_NOTE, note)
    sheet.text(_SOURCE, requirement.citation)
    sheet.text(_STANDING, f"[{requirement.standing}]" if requirement.standing else "")
    if fahrenheit:
        _write_fahrenheit(sheet, requirement, _VALUE if live is None else _LIVE)
    sheet.next()


def _write_fahrenheit(sheet: Sheet, requirement: RequirementRecord, value_column: int) -> None:
    """Write value, limits and margin in °F of difference, as formulas over the cells in °C."""
    sources = (
        (value_column, requirement.value),
        (_LOW, requirement.limit_low),
        (_HIGH, requirement.limit_high),
        (_MARGIN, requirement.margin),
    )
    for column, (source, value_c) in enumerate(sources, start=len(WIDTHS)):
        if requirement.unit != "°C" or value_c is None or not present(value_c):
            sheet.text(column, "none", "word for number")
            continue
        reference = f"{column_letters(source)}{sheet.excel_row}"
        formula = from_celsius(reference, TemperatureUnit.F, difference=True)
        sheet.formula(column, formula, difference_from_c(value_c, TemperatureUnit.F), "fine")
