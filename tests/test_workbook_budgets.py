"""The sheets of uncertainty budgets, of how sure the figures are, and of other decision rules."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from openpyxl.worksheet.worksheet import Worksheet

from qualify.evidence import Evaluation
from qualify.figures.absent import Absent
from qualify.pack.chances import NEAR_ONE, probability_words
from qualify.pack.summary import summary
from qualify.pack.workbook.cells import coverage_factor, effective_degrees
from tests.support.evaluations import Case, evaluation_of
from tests.test_workbook import CALIBRATION, OF_CHAMBER, SOURCES, text_of, written


def rows_of(sheet: Worksheet, first_header: str = "Survey") -> list[dict[str, Any]]:
    """Every row under the header, by the header's words; of equal words the first counts."""
    rows = list(sheet.iter_rows(values_only=True))
    at = next(number for number, row in enumerate(rows) if row[0] == first_header)
    header = [str(word) for word in rows[at]]
    found = []
    for row in rows[at + 1 :]:
        cells: dict[str, Any] = {}
        for word, value in zip(header, row, strict=True):
            cells.setdefault(word, value)
        found.append(cells)
    return found


def near(value: float) -> Any:
    """The value as the file holds it: 16 digits."""
    return pytest.approx(value, rel=1e-14, abs=1e-14)


def sheet_of(evaluation: Evaluation, folder: Path, name: str) -> Worksheet:
    return openpyxl.load_workbook(written(evaluation, folder), data_only=True)[name]


# budgets


def test_every_source_of_every_location_stands_with_its_numbers(tmp_path: Path) -> None:
    evaluation = evaluation_of(Case(sources=SOURCES, of_chamber=OF_CHAMBER, locations=6, correlation=0.25))
    uncertainty = evaluation.record.surveys[0].uncertainty
    assert not isinstance(uncertainty, Absent)
    rows = rows_of(sheet_of(evaluation, tmp_path, "Budgets"))
    for location in uncertainty.locations:
        own = [row for row in rows if row["Location"] == location.location]
        shown = [row for row in own if row["Divisor (1)"] and row["Stated, live (°C)"] != 0.0]
        wanted = [item for item in location.contributions if item.stated_c > 0.0]
        assert location.repeatability is not None
        assert [row["Source"] for row in shown] == [item.source for item in (*wanted, location.repeatability)]
        for row, item in zip(shown, (*wanted, location.repeatability), strict=True):
            assert row["Standard uncertainty u, live (°C)"] == near(item.standard_c)
            assert row["Share of the variance, live (%)"] == near(item.share)
            assert row["Evaluated (A or B)"] == item.evaluation
            assert row["Where the number comes from"] == item.origin
            assert row["Shared with"] == (item.shared_with or "no other")
            degrees = item.degrees_of_freedom
            assert row["Degrees of freedom ν (1)"] == ("infinite" if degrees is None else near(degrees))
        for words, combined in (
            ("one corrected reading", location.reading),
            ("mean of the window", location.mean),
        ):
            assert not isinstance(combined, Absent)
            row = next(row for row in own if row["Source"] == words)
            assert row["U = k·u, live (°C)"] == near(combined.expanded_c)
            assert row["U, engine (°C)"] == near(combined.expanded_c)
            assert row["Coverage factor k (1)"] == near(combined.coverage_factor)
            assert row["Check"] == "agrees"
    assert any("common to the laboratory" in str(row["Source"]) for row in rows)


def test_the_chambers_budget_says_that_it_guards_nothing(tmp_path: Path) -> None:
    evaluation = evaluation_of(Case(sources=SOURCES, of_chamber=OF_CHAMBER, locations=5, absent=((140, 3),)))
    uncertainty = evaluation.record.surveys[0].uncertainty
    assert not isinstance(uncertainty, Absent) and not isinstance(uncertainty.chamber, Absent)
    sheet = sheet_of(evaluation, tmp_path, "Budgets")
    own = [row for row in rows_of(sheet) if row["Location"] == "chamber"]
    sources = [row["Source"] for row in own]
    assert {"inhomogeneity of the chamber", "instability of the chamber", "loading"} <= set(sources)
    total = next(row for row in own if row["Source"] == "assigned chamber temperature")
    assert total["U = k·u, live (°C)"] == near(uncertainty.chamber.combined.expanded_c)
    assert total["Check"] == "agrees"
    assert "never a guard band for uniformity" in total["Where the number comes from"]
    assert "would then count twice" in text_of(sheet)
    formulas = openpyxl.load_workbook(tmp_path / "pack.xlsx")["Budgets"]
    stated = [row[5].value for row in formulas.iter_rows() if str(row[2].value).endswith("of the chamber")]
    assert len(stated) == 2 and all(str(cell).startswith("=MAX(") for cell in stated), "live, also with gaps"


def test_sources_left_out_and_covered_stand_with_their_locations(tmp_path: Path) -> None:
    evaluation = evaluation_of(Case(sources=SOURCES, locations=6))
    book = openpyxl.load_workbook(written(evaluation, tmp_path), data_only=True)
    for title in ("Uncertainty", "Budgets"):
        page = text_of(book[title]).replace("\n", " ")
        assert "self-heating; conduction along the sensor" in page
        assert "reference junction (the loop's certificates)" in page
        assert "A1, B1" in page, "radiation is known at two locations only"
        assert "at all locations" in page


def test_a_location_without_a_budget_says_why_and_the_others_keep_theirs(tmp_path: Path) -> None:
    evaluation = evaluation_of(Case(corrections=False, sources=CALIBRATION, locations=4))
    rows = rows_of(sheet_of(evaluation, tmp_path, "Budgets"))
    assert [row["Source"] for row in rows if row["Location"] == "C1"] == ["no budget: no certificate"]
    one = next(row for row in rows if row["Location"] == "A1" and row["Source"] == "one corrected reading")
    assert one["Check"] == "agrees" and one["Coverage factor k (1)"] > 2.2
    lines = rows_of(sheet_of(evaluation, tmp_path, "Uncertainty"))
    assert [row["U of one reading, live (°C)"] for row in lines if row["Location"] == "C1"] == ["absent"]


def test_without_any_uncertainty_the_sheets_say_why(tmp_path: Path) -> None:
    evaluation = evaluation_of(Case(corrections=False, locations=3))
    book = openpyxl.load_workbook(written(evaluation, tmp_path), data_only=True)
    assert "no budget: no certificate" in text_of(book["Budgets"])
    assert "not known: the uncertainty of 3 of 3 locations is not known" in text_of(book["Sureness"])
    front = text_of(book["Sign-off"]).replace("\n", " ")
    assert "probability of conformance not known: the uncertainty of 3 of 3 locations" in front


def test_a_certificate_that_is_alone_keeps_its_own_k(tmp_path: Path) -> None:
    evaluation = evaluation_of(Case(factor=2.28, locations=4))
    rows = rows_of(sheet_of(evaluation, tmp_path, "Budgets"))
    of_one = {
        row["Location"]: row["Coverage factor k (1)"]
        for row in rows
        if row["Source"] == "one corrected reading"
    }
    assert of_one == {"A1": 2.0, "B1": 2.28, "C1": 2.28, "A2": 2.28}, (
        "a channel's and a sensor's combine with 2"
    )


def test_degrees_of_freedom_are_a_word_where_none_is_finite() -> None:
    assert effective_degrees("A1", []) is None
    formula = effective_degrees("A1", ["B1^4/C1"])
    assert formula is not None and '"infinite"' in formula
    assert "TINV(" in coverage_factor("A1")


# how sure


def test_the_simulation_stands_with_its_terms_and_never_as_certain(tmp_path: Path) -> None:
    case = Case(simulated=True, locations=5, tolerance_c=30.0)
    evaluation = evaluation_of(case)
    found = evaluation.record.surveys[0].simulation
    assert not isinstance(found, Absent)
    assert found.all_conform == 1.0, "so wide are the limits"
    sheet = sheet_of(evaluation, tmp_path, "Sureness")
    rows = rows_of(sheet)
    by_name = {row["Locations or figure"]: row for row in rows}
    probability = "Probability that it kept the limits (1)"
    everyone = by_name["all watched locations"]
    assert everyone[probability] == "more than 0.9999"
    assert f"{found.trials:,} trials, seed {found.seed}" in everyone["Remark"]
    assert "NOT converged" in everyone["Remark"]
    assert found.assumptions.split(".")[0] in text_of(sheet).replace("\n", " ")
    spread = by_name["Largest spread"]
    figure = next(item for item in found.figures if item.figure == "spread_max_c")
    assert spread["95 %: lower end (°C of difference)"] == near(figure.low_c)
    assert spread["95 %: upper end (°C of difference)"] == near(figure.high_c)
    assert spread["As shown (°C of difference)"] == near(figure.as_shown_c)
    shares = "Share of trials in which it decides (1)"
    for place in found.locations:
        row = by_name[place.location]
        assert row[probability] == "more than 0.9999"
        assert row[shares] == (near(place.decides) if place.decides > 1e-4 else "less than 0.0001")
    for row in rows:
        for column in (probability, shares):
            assert row[column] not in (0, 1)


def test_figures_requirements_front_and_screen_show_the_probability_in_words(tmp_path: Path) -> None:
    evaluation = evaluation_of(Case(simulated=True, locations=3, tolerance_c=30.0))
    path = written(evaluation, tmp_path)
    figures = openpyxl.load_workbook(path)["Figures 1"]
    cell = next(row[4] for row in figures.iter_rows() if row[0].value == "Probability of conformance")
    assert '"more than 0.9999"' in cell.number_format
    front = text_of(openpyxl.load_workbook(path)["Sign-off"]).replace("\n", " ")
    assert "probability that all watched locations conformed: more than 0.9999" in front
    assert "probability that all watched locations conformed: more than 0.9999" in summary(evaluation.record)


@given(st.floats(0.0, 1.0))
def test_a_probability_is_never_printed_as_certain(probability: float) -> None:
    words = probability_words(probability)
    number = float(words.split()[-1])
    assert 0.0 < number < 1.0
    assert abs(number - probability) < 6e-4
    if words.startswith("more"):
        assert probability > NEAR_ONE
    if words.startswith("less"):
        assert probability < 1.0 - NEAR_ONE


@pytest.mark.parametrize(
    ("probability", "words"),
    [
        (1.0, "more than 0.9999"),
        (0.99995, "more than 0.9999"),
        (0.9996, "0.9996"),
        (0.97312, "0.973"),
        (0.5, "0.500"),
        (0.0004, "0.0004"),
        (0.0, "less than 0.0001"),
    ],
)
def test_probability_words(probability: float, words: str) -> None:
    assert probability_words(probability) == words


# other rules


def test_other_rules_stand_beside_the_plans_own(tmp_path: Path) -> None:
    evaluation = evaluation_of(Case(locations=4))
    survey = evaluation.record.surveys[0]
    rows = [row for row in rows_of(sheet_of(evaluation, tmp_path, "Other rules")) if row["Requirement"]]
    wanted = [(item, rule) for item in survey.requirements for rule in item.other_rules]
    assert len(wanted) == 12
    for row, (item, rule) in zip(rows, wanted, strict=True):
        assert (row["Requirement"], row["Decision rule"]) == (item.id, rule.rule)
        assert row["It says"].casefold() == rule.says
        band = row["Guard band w (unit beside)"]
        assert band == ("none" if rule.guard_band is None else near(rule.guard_band))
        if rule.chosen:
            assert row["Beside the decision"] == "the plan's own rule"
        elif rule.says == "not shown":
            assert row["Beside the decision"] == f"differs from {item.decision}"


def test_without_known_uncertainty_no_rule_is_listed(tmp_path: Path) -> None:
    evaluation = evaluation_of(Case(locations=2))
    survey = evaluation.record.surveys[0]
    bare = tuple(replace(item, other_rules=()) for item in survey.requirements)
    record = replace(evaluation.record, surveys=(replace(survey, requirements=bare),))
    page = text_of(sheet_of(replace(evaluation, record=record), tmp_path, "Other rules"))
    assert "none: no requirement rests on evidence whose uncertainty is known" in page
