"""The sheet of how sure the figures are: what the sensors' errors leave open, by simulation."""

from __future__ import annotations

from qualify.evidence import Evaluation
from qualify.figures.absent import Absent, Maybe
from qualify.pack.chances import probability_words
from qualify.pack.workbook.book import Book, Sheet
from qualify.pack.workbook.words import CHAMBER
from qualify.record import SimulationRecord

NAME = "Sureness"
WIDTHS = (24, 34, 15, 16, 16, 16, 16, 18, 17, 62)
HEADERS = (
    "Survey",
    "Locations or figure",
    "As shown (°C of difference)",
    "Mean of the simulation (°C of difference)",
    "Standard uncertainty (°C of difference)",
    "95 %: lower end (°C of difference)",
    "95 %: upper end (°C of difference)",
    "Probability that it kept the limits (1)",
    "Share of trials in which it decides (1)",
    "Remark",
)
_SHOWN, _MEAN, _STANDARD, _LOW, _HIGH, _PROBABILITY, _DECIDES, _REMARK = range(2, 10)
NOTES = (
    "Monte Carlo over the assessment window (JCGM 101): in each trial every source of the sheet Budgets "
    "draws an error, shared where it is shared, and the window is judged anew. Engine only: the same seed "
    "gives the same numbers; re-performed by `qualify verify`.",
    "A probability counts the watched locations at the instants read, and nothing else. Out of a limited "
    "number of trials none is certain: 1 is printed as more than 0.9999, 0 as less than 0.0001.",
)
ALL = (
    ("all watched locations", "all_conform", "both limits, or the one there is"),
    ("all, upper limit alone", "all_conform_high", ""),
    ("all, lower limit alone", "all_conform_low", ""),
    (
        "all, if no error were shared",
        "all_conform_if_independent",
        "product of the locations' own probabilities, to compare",
    ),
)


def write_sureness(book: Book, evaluation: Evaluation) -> None:
    """Write the sheet."""
    sheet = book.sheet(NAME, WIDTHS)
    sheet.title("Sureness: what the sensors' errors leave open")
    for note in NOTES:
        sheet.note(note, 170, 1)
    for words in _said_once(evaluation):
        sheet.note(words, 170, 1)
    warnings = _warnings(evaluation)
    for number, warning in enumerate(warnings, start=1):
        sheet.note(f"Warning {number}: {warning}.", 170, 1)
    sheet.next()
    sheet.header(HEADERS, frozen_columns=2)
    for survey in evaluation.record.surveys:
        found = survey.simulation
        sheet.section(survey.name)
        if isinstance(found, Absent):
            sheet.text(0, survey.name)
            sheet.text(1, f"not known: {found.reason}", "line")
            sheet.next()
            continue
        _write_all(sheet, survey.name, found, warnings)
        _write_figures(sheet, survey.name, found, warnings)
        for place in found.locations:
            sheet.text(0, survey.name)
            sheet.text(1, place.location)
            sheet.number(_STANDARD, place.error_standard_c, "fine")
            _probability(sheet, _PROBABILITY, place.conforms)
            _probability(sheet, _DECIDES, place.decides)
            sheet.next()
    sheet.fit()


def _said_once(evaluation: Evaluation) -> list[str]:
    """Assumptions and remarks of the simulations, each different one once."""
    found = [item.simulation for item in evaluation.record.surveys]
    known = [item for item in found if not isinstance(item, Absent)]
    assumed = dict.fromkeys(f"Assumed: {item.assumptions}" for item in known if item.assumptions)
    remarked = dict.fromkeys(item.remark for item in known if item.remark)
    return [*assumed, *remarked]


def _warnings(evaluation: Evaluation) -> list[str]:
    """Every different warning of the simulations, in the order in which they are met."""
    found: dict[str, None] = {}
    for survey in evaluation.record.surveys:
        if not isinstance(survey.simulation, Absent):
            found |= dict.fromkeys(
                (survey.simulation.warning, *(x.warning for x in survey.simulation.figures))
            )
    return [words for words in found if words]


def _warned(words: str, warnings: list[str]) -> str:
    return f"see warning {warnings.index(words) + 1} above" if words else ""


def _write_all(sheet: Sheet, survey: str, found: SimulationRecord, warnings: list[str]) -> None:
    """The probabilities of all watched locations together, and how the simulation was run."""
    how = (
        f"{found.trials:,} trials, seed {found.seed}, generator {found.generator}; "
        + ("converged" if found.converged else "NOT converged")
        + f" to {found.numerical_tolerance:g} (probabilities) and {found.numerical_tolerance_c:g} °C"
        + "; sources: "
        + "; ".join(found.sources)
    )
    for number, (words, key, remark) in enumerate(ALL):
        value: Maybe = getattr(found, key)
        sheet.text(0, survey, "strong wrapped" if number == 0 else "text")
        sheet.text(1, words, "strong wrapped" if number == 0 else "text")
        _probability(sheet, _PROBABILITY, value)
        remarks = [remark, _warned(found.warning, warnings), how] if number == 0 else [remark]
        if isinstance(value, Absent):
            remarks.append(f"absent: {value.reason}")
        sheet.text(_REMARK, "; ".join(part for part in remarks if part))
        sheet.next()


def _write_figures(sheet: Sheet, survey: str, found: SimulationRecord, warnings: list[str]) -> None:
    for item in found.figures:
        word = CHAMBER.get(item.figure)
        sheet.text(0, survey)
        sheet.text(1, word.name if word is not None else item.figure)
        for column, value in (
            (_SHOWN, item.as_shown_c),
            (_MEAN, item.mean_c),
            (_STANDARD, item.standard_uncertainty_c),
            (_LOW, item.low_c),
            (_HIGH, item.high_c),
        ):
            sheet.number(column, value, "temperature")
        own = f"of the trials alone: {item.propagated_low_c:.3f} to {item.propagated_high_c:.3f} °C"
        sheet.text(_REMARK, f"{_warned(item.warning, warnings)}; {own}" if item.warning else "")
        sheet.next()


def _probability(sheet: Sheet, column: int, value: Maybe) -> None:
    """Write a probability as words near its ends, so that no cell says 0 or 1."""
    if isinstance(value, Absent):
        sheet.text(column, "absent", "word for number")
        return
    words = probability_words(value)
    if words[0].isdigit():
        sheet.probability(column, value)
    else:
        sheet.text(column, words, "word for number")
