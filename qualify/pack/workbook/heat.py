"""The sheet of loaded runs: what heat did at every sensor, and how the load follows the air."""

from __future__ import annotations

from qualify.evidence import Evaluation
from qualify.figures.absent import Absent, present
from qualify.pack.workbook.asked import in_fahrenheit
from qualify.pack.workbook.book import Book, Sheet, column_letters
from qualify.pack.workbook.words import TEMPERATURE
from qualify.record import HeatRecord, LoadRecord, RequirementRecord, SurveyRecord
from qualify.units import TemperatureUnit, parse_unit

NAME = "Heat and load"
HEADERS = (
    "Survey",
    "Sum of heat, or load",
    "Sensor",
    "In the load",
    "Minutes as read (min)",
    "Minutes, readings less U (min)",
    "Minutes, readings plus U (min)",
    "Asked: at least (min)",
    "Asked: at most (min)",
    "DECISION",
    "Lag behind the air (s)",
    "Mean in the window (°C)",
    "Least in the window (°C)",
    "Largest in the window (°C)",
    "Note",
)
WIDTHS = (24, 26, 18, 9, 13, 15, 15, 13, 13, 14, 13, 13, 13, 13, 60)
_FAHRENHEIT = ("Mean in the window (°F)", "Least in the window (°F)", "Largest in the window (°F)")
(
    _SURVEY,
    _SUM,
    _SENSOR,
    _LOAD,
    _READ,
    _LESS,
    _MORE,
    _LEAST,
    _MOST,
    _DECISION,
    _LAG,
    _MEAN,
    _MIN,
    _MAX,
    _NOTE,
) = range(15)
NOTES = (
    "Heat is summed over the whole recording of the run, in minutes at the reference temperature, or above "
    "it. Where the least is asked, each sensor's U is taken off its readings first, where the most is asked "
    "it is added. Sensors in the load decide where there are any. The least is live over the sensors' cells; "
    "the sums are the engine's, re-performed by `qualify verify`.",
    "A sensor in the load is no location: no limit of uniformity applies to it. Lag: first reading inside "
    "the limits less that of the mean of the air.",
)


def write_heat(book: Book, evaluation: Evaluation) -> None:
    """Write the sheet, where a survey has sums of heat or sensors in the load."""
    record = evaluation.record
    surveys = [survey for survey in record.surveys if survey.heat or survey.loads]
    if not surveys:
        return
    fahrenheit = parse_unit(record.units) is TemperatureUnit.F
    sheet = book.sheet(NAME, (*WIDTHS, *((13,) * 3 if fahrenheit else ())))
    sheet.title("Heat, and the load behind the air")
    for note in NOTES:
        sheet.note(note, 170)
    sheet.next()
    sheet.header([*HEADERS, *(_FAHRENHEIT if fahrenheit else ())], frozen_columns=3)
    for survey in surveys:
        for heat in survey.heat:
            _write_heat(sheet, survey, heat)
        if survey.loads:
            sheet.section(f"{survey.name}: the load behind the air")
        for load in survey.loads:
            _write_load(sheet, survey, load, fahrenheit=fahrenheit)
    sheet.fit()


# ---- heat ----


def _terms(heat: HeatRecord) -> str:
    """What the sum is made with, in words."""
    parts = [f"reference {heat.reference_c:g} °C"]
    if heat.z_c is not None:
        parts.append(f"z {heat.z_c:g} °C of difference")
    if heat.activation_energy_kj_per_mol is not None:
        parts.append(f"activation energy {heat.activation_energy_kj_per_mol:g} kJ/mol")
    if heat.above_c is not None:
        parts.append(f"counted from {heat.above_c:g} °C")
    return f"{heat.kind}; {', '.join(parts)}; because: {heat.because or 'not stated'}"


def _write_heat(sheet: Sheet, survey: SurveyRecord, heat: HeatRecord) -> None:
    sheet.section(f"{survey.name}: {heat.name}")
    sheet.text(_SURVEY, survey.name)
    sheet.text(_SUM, _terms(heat), "line")
    sheet.next()
    in_load = any(heat.loads)
    cells: list[str] = []
    for number, sensor in enumerate(heat.sensors):
        judged = heat.loads[number] or not in_load
        as_read, less = heat.minutes[number], heat.minutes_less_uncertainty[number]
        if judged and present(less):
            cells.append(f"{column_letters(_LESS)}{sheet.excel_row}")
        sheet.text(_SURVEY, survey.name)
        sheet.text(_SUM, heat.name)
        sheet.text(_SENSOR, sensor)
        sheet.text(_LOAD, "yes" if heat.loads[number] else "no")
        sheet.maybe(_READ, as_read, "temperature")
        sheet.maybe(_LESS, less, "temperature")
        notes = [] if judged else ["not judged: sensors in the load decide"]
        notes += [f"absent: {as_read.reason}"] if isinstance(as_read, Absent) else []
        sheet.text(_NOTE, "; ".join(notes))
        sheet.next()
    _write_extreme(sheet, survey, heat, "least", cells)
    _write_extreme(sheet, survey, heat, "most", [])


def _write_extreme(sheet: Sheet, survey: SurveyRecord, heat: HeatRecord, side: str, cells: list[str]) -> None:
    """The place where the sum is least, or most, with its limit and the decision."""
    least = side == "least"
    value, place = (heat.least_min, heat.least_at) if least else (heat.most_min, heat.most_at)
    limit = heat.least_limit_min if least else heat.most_limit_min
    found = _requirement(survey, heat, side)
    sheet.text(_SURVEY, survey.name)
    sheet.text(_SUM, f"{heat.name}: {'least' if least else 'most'} of the judged", "strong wrapped")
    sheet.text(_SENSOR, place or "", "strong wrapped")
    column = _LESS if least else _MORE
    if cells and present(value):
        sheet.formula(column, f"MIN({','.join(cells)})", value, "temperature")
    else:
        sheet.maybe(column, value, "temperature")
    if limit is not None:
        sheet.number(_LEAST if least else _MOST, limit, "temperature")
    sheet.text(_DECISION, "not asked" if found is None else str(found.decision).upper(), "strong wrapped")
    notes = [found.note if found is not None and found.note else heat.note]
    if isinstance(value, Absent) and value.reason not in notes[0]:
        notes.append(f"absent: {value.reason}")
    sheet.text(_NOTE, "; ".join(note for note in notes if note))
    sheet.next()


def _requirement(survey: SurveyRecord, heat: HeatRecord, side: str) -> RequirementRecord | None:
    """The requirement that holds this sum against its limit; None where nothing was asked."""
    begins = f"{heat.kind}, {heat.name}: {side} of "
    for item in survey.requirements:
        if item.id.startswith("heat-") and item.figure == side and item.text.startswith(begins):
            return item
    return None


# ---- loads ----


def _write_load(sheet: Sheet, survey: SurveyRecord, load: LoadRecord, *, fahrenheit: bool) -> None:
    sheet.text(_SURVEY, survey.name)
    sheet.text(_SUM, "load behind the air")
    sheet.text(_SENSOR, load.channel)
    sheet.text(_LOAD, "yes")
    sheet.maybe(_LAG, load.lag_s, "seconds")
    values = ((_MEAN, load.mean_c), (_MIN, load.min_c), (_MAX, load.max_c))
    for column, value in values:
        sheet.maybe(column, value, "temperature")
    reasons = [item.reason for item in (load.lag_s, load.mean_c) if isinstance(item, Absent)]
    sheet.text(_NOTE, "; ".join(f"absent: {reason}" for reason in dict.fromkeys(reasons)))
    if fahrenheit:
        for index, (column, value) in enumerate(values):
            known = value if present(value) else None
            in_fahrenheit(sheet, len(WIDTHS) + index, column, known, TEMPERATURE)
    sheet.next()
