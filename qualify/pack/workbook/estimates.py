"""The sheet of estimates: who carries the risk of the decision rule, and what unwatched places may hold."""

from __future__ import annotations

from typing import Any

from qualify.evidence import Evaluation
from qualify.figures.absent import Absent, present
from qualify.pack.workbook.book import Book, Sheet
from qualify.pack.workbook.what_if import has_statistics, write_probability
from qualify.pack.workbook.words import DIFFERENCE, NUMBER, TEMPERATURE
from qualify.record import RiskRecord, SurveyRecord

NAME = "Estimates"
WIDTHS = (24, 58, 15, 15, 15, 18, 44, 60)
HEADERS = (
    "Survey",
    "What",
    "Value (unit beside)",
    "Lower end (unit beside)",
    "Upper end (unit beside)",
    "Unit",
    "Where",
    "Remark",
)
_VALUE, _LOW, _HIGH, _UNIT, _WHERE, _REMARK = range(2, 8)
NOTES = (
    "Estimates and risks, never a verdict: nothing here decides a requirement. Engine only; re-performed by "
    "`qualify verify`.",
    "Risks of the rule (JCGM 106:2012): shares of all such readings under the plan's prior, not of this one. "
    "Consumer's: it lies beyond the limits and is accepted; producer's: it lies within and is not.",
    "Unwatched places: what a model drawn through the means of the watched locations expects elsewhere. A "
    "jet of hot air between two locations stays unseen. A place that matters is settled by a sensor there.",
)


def write_estimates(book: Book, evaluation: Evaluation) -> None:
    """Write the sheet, where there is a plan."""
    if not has_statistics(evaluation):
        return
    sheet = book.sheet(NAME, WIDTHS)
    sheet.title("Estimates: risks of the rule, and places without a sensor")
    for note in NOTES:
        sheet.note(note, 165, 1)
    sheet.next()
    sheet.header(HEADERS, frozen_columns=2)
    for survey in evaluation.record.surveys:
        sheet.section(survey.name)
        found = survey.statistics
        if isinstance(found, Absent):
            _words(sheet, survey, f"not known: {found.reason}")
            continue
        if isinstance(found.risks, Absent):
            _words(sheet, survey, f"no risks of the rule: {found.risks.reason}")
        else:
            _risks(sheet, survey, found.risks)
        if isinstance(found.field, Absent):
            _words(sheet, survey, f"no estimate of unwatched places: {found.field.reason}")
        else:
            _field(sheet, survey, found.field)
    sheet.fit()


def _words(sheet: Sheet, survey: SurveyRecord, words: str) -> None:
    sheet.text(0, survey.name)
    sheet.text(1, words, "line")
    sheet.next()


def _row(
    sheet: Sheet,
    survey: SurveyRecord,
    what: str,
    value: float | None,
    unit: str,
    *,
    ends: tuple[float, float] | None = None,
    where: str = "",
    remark: str = "",
    strong: bool = False,
) -> None:
    sheet.text(0, survey.name)
    sheet.text(1, what, "strong wrapped" if strong else "text")
    if value is not None:
        sheet.number(_VALUE, value, "temperature")
    if ends is not None:
        sheet.number(_LOW, ends[0], "temperature")
        sheet.number(_HIGH, ends[1], "temperature")
    sheet.text(_UNIT, unit)
    sheet.text(_WHERE, where)
    sheet.text(_REMARK, remark)
    sheet.next()


def _risks(sheet: Sheet, survey: SurveyRecord, found: RiskRecord) -> None:
    for what, risk, remark in (
        (
            "Consumer's risk: beyond the limits, and accepted",
            found.consumer,
            f"Guard band {found.guard_band_c:.3f} °C, with the standard uncertainty "
            f"{found.standard_uncertainty_c:.3f} °C of the most uncertain location; conditional counts as "
            "not accepted.",
        ),
        (
            "Consumer's risk where a conditional reading is accepted too",
            found.consumer_if_conditional,
            "Over all ovens of the prior; this survey's own risk stands on the sheet Sureness.",
        ),
        ("Producer's risk: within the limits, and not accepted", found.producer, ""),
    ):
        sheet.text(0, survey.name)
        sheet.text(1, what, "strong wrapped")
        write_probability(sheet, _VALUE, risk)
        sheet.text(_UNIT, NUMBER)
        sheet.text(_REMARK, remark)
        sheet.next()
    remark = f"The plan's, because: {found.prior_because}"
    _row(sheet, survey, "Prior: mean deviation from set point", found.prior_mean_c, DIFFERENCE, remark=remark)
    _row(sheet, survey, "Prior: standard deviation", found.prior_standard_c, DIFFERENCE)


def _field(sheet: Sheet, survey: SurveyRecord, found: Any) -> None:
    for word, extreme in (("highest", found.highest), ("lowest", found.lowest)):
        x, y, z = extreme.position_mm
        _row(
            sheet,
            survey,
            f"Estimate: {word} mean temperature in the whole work zone",
            extreme.expected_c,
            TEMPERATURE,
            ends=(extreme.low_c, extreme.high_c),
            where=f"x {x:.0f}, y {y:.0f}, z {z:.0f} mm; {100 * extreme.share_there:.0f} % of the simulated "
            "fields have it near there",
            remark=f"An estimate, with its {100 * found.confidence:g} % interval.",
            strong=True,
        )
        _row(sheet, survey, f"Watched: {word} mean of a location", extreme.observed_c, TEMPERATURE)
    used = f"{found.locations} locations"
    if found.without_mean:
        used += f", {found.without_mean} without a mean left out"
    if found.outside:
        used += f", {found.outside} outside the work zone left out"
    told = f"{found.model}: {found.why.rstrip('.')}. {used}; "
    told += f"{found.draws} simulated fields, seed {found.seed}."
    _row(sheet, survey, "Model", None, "", remark=told)
    errors = found.left_out
    for model, error in (
        ("the mean of the others", errors.mean_c),
        ("a trilinear field", errors.trilinear_c),
        ("a Gaussian process", errors.process_c),
    ):
        what = f"Error of foretelling each location by {model}"
        if present(error):
            _row(sheet, survey, what, error, DIFFERENCE)
        else:
            _row(sheet, survey, what, None, DIFFERENCE, remark=f"absent: {error.reason}")
    fit = found.lack_of_fit
    sheet.text(0, survey.name)
    sheet.text(1, "Chance of such a misfit if the field were trilinear")
    if isinstance(fit, Absent):
        sheet.text(_REMARK, f"absent: {fit.reason}")
    else:
        write_probability(sheet, _VALUE, fit.probability)
        sheet.text(_REMARK, f"χ² = {fit.chi_square:.1f} with {fit.degrees} degrees of freedom")
    sheet.text(_UNIT, NUMBER)
    sheet.next()
    lengths = " × ".join(f"{length:.0f}" for length in found.lengths_mm)
    _row(
        sheet,
        survey,
        "Standard deviation of the field about its trend",
        found.deviation_sd_c,
        DIFFERENCE,
        where=f"correlated over {lengths} mm (x, y, z)",
        remark=f"Deviations widened {found.widening:.2f} times by the errors of foretelling.",
    )
    if found.caution:
        _row(sheet, survey, "Caution", None, "", remark=found.caution)
    _row(sheet, survey, "What such an estimate is", None, "", remark=found.statement)
