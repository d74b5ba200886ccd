"""The sheets of statistics: what would help, locations, estimates, replicate runs."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import openpyxl
import pytest
from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from qualify.evidence import Evaluation
from qualify.figures.absent import Absent
from qualify.pack.summary import summary
from qualify.pack.workbook import write_workbook
from qualify.pack.workbook.run_tables import HEADER_ROW
from qualify.pack.workbook.statistics import MOST_PAIRS
from qualify.plan.statistics import StatisticsChoice
from qualify.record import StatisticsRecord
from qualify.stages.replicates import replicates
from qualify.units import TemperatureUnit
from tests.support.evaluations import Case, evaluation_of, invented_field, readings_as_recorded, runs_of
from tests.test_workbook import text_of, written
from tests.test_workbook_budgets import near, rows_of, sheet_of
from tests.test_workbook_live import HEADER_ROW as READINGS_HEADER_ROW
from tests.test_workbook_live import Recalculate, recalculate

__all__ = ["recalculate"]

DEGREES = "°C of difference"
recalculated = pytest.mark.skipif(shutil.which("soffice") is None, reason="LibreOffice is not installed")


def statistics_of(evaluation: Evaluation) -> StatisticsRecord:
    found = evaluation.record.surveys[0].statistics
    assert not isinstance(found, Absent)
    return found


def with_statistics(evaluation: Evaluation, **changes: Any) -> Evaluation:
    """The same evaluation with other parts of the first hold's statistics."""
    survey = evaluation.record.surveys[0]
    survey = replace(survey, statistics=replace(statistics_of(evaluation), **changes))
    record = replace(evaluation.record, surveys=(survey, *evaluation.record.surveys[1:]))
    return replace(evaluation, record=record)


def page_of(evaluation: Evaluation, folder: Path, name: str) -> str:
    return text_of(sheet_of(evaluation, folder, name)).replace("\n", " ")


# what would help


def test_what_if_tells_what_each_change_would_gain(tmp_path: Path) -> None:
    evaluation = evaluation_of(Case(statistics=True, locations=3))
    rows = rows_of(sheet_of(evaluation, tmp_path, "What if"))[1:]
    changes = [row["What is changed, all else as measured"] for row in rows]
    assert changes == ["as it was measured", "logger: half its uncertainty", "a window twice as long"]
    gained = [row[f"Gained over as measured, live ({DEGREES})"] for row in rows]
    assert gained == [None, pytest.approx(0.1), pytest.approx(-0.25)]
    probability = "Probability that all watched locations conform (1)"
    assert [row[probability] for row in rows] == ["more than 0.9999", "more than 0.9999", "not simulated"]
    assert rows[2]["It would be"] == "conditional" and rows[2]["Remark"] == "estimate: invented"
    formulas = openpyxl.load_workbook(tmp_path / "pack.xlsx")["What if"]
    assert sum(cell.data_type == "f" for row in formulas.iter_rows() for cell in row) == 5


# locations


def test_every_location_stands_as_a_series_and_against_the_mean(tmp_path: Path) -> None:
    evaluation = evaluation_of(Case(statistics=True, locations=12))
    found = statistics_of(evaluation)
    comparison = found.comparison
    assert not isinstance(comparison, Absent)
    rows = {row["Location, or pair"]: row for row in rows_of(sheet_of(evaluation, tmp_path, "Statistics"))}
    for number, series in enumerate(found.series):
        row = rows[series.location]
        assert row[f"Difference of the means ({DEGREES})"] == near(float(comparison.against_mean_c[number]))
        assert row[f"± half-width ({DEGREES})"] == near(float(comparison.against_mean_half_c[number]))
        assert row["Do they differ"] == ("yes" if comparison.against_mean_differs[number] else "no")
        assert row["Standard error of the drift (°C/h)"] == 0.045
        test = series.steadiness
        assert not isinstance(test, Absent)
        assert row["Test: its statistic (1)"] == near(test.statistic)
        assert row["The test says"] == ("no sign of change" if test.steady else "changes")
        assert series.drift in row["Drift, in words; remarks"]
    first = rows[found.series[0].location]
    assert first[f"Standard error of the mean ({DEGREES})"] == "absent"
    assert "standard error absent: too few readings" in first["Drift, in words; remarks"]
    assert {series.steadiness.steady for series in found.series if not isinstance(series.steadiness, Absent)}


def test_pairs_that_differ_are_sorted_and_the_others_counted(tmp_path: Path) -> None:
    evaluation = evaluation_of(Case(statistics=True, locations=12))
    comparison = statistics_of(evaluation).comparison
    assert not isinstance(comparison, Absent)
    differ = int(comparison.pair_differs.sum())
    assert differ > MOST_PAIRS, "more than the sheet lists"
    rows = rows_of(sheet_of(evaluation, tmp_path, "Statistics"))
    names = [str(row["Location, or pair"]) for row in rows]
    pairs = [row for row in rows if " − " in str(row["Location, or pair"])]
    sizes = [abs(row[f"Difference of the means ({DEGREES})"]) for row in pairs]
    assert len(sizes) == MOST_PAIRS and sizes == sorted(sizes, reverse=True)
    assert sizes[0] == near(float(np.abs(comparison.pair_difference_c).max()))
    counted = rows[names.index("pairs that differ")]
    assert counted["Do they differ"] == f"{differ} of 66"
    assert f"{differ - MOST_PAIRS} more do not" in counted["Drift, in words; remarks"]
    assert "all: do they scatter alike" in names


def test_what_the_comparison_is_about_is_said(tmp_path: Path) -> None:
    page = page_of(evaluation_of(Case(statistics=True, locations=3)), tmp_path, "Statistics")
    assert "about what the sensors showed" in page
    assert "can still be one between sensors" in page


# estimates


def test_risks_and_unwatched_places_are_estimates(tmp_path: Path) -> None:
    field = invented_field()
    evaluation = with_statistics(evaluation_of(Case(statistics=True, locations=3)), field=field)
    sheet = sheet_of(evaluation, tmp_path, "Estimates")
    rows = {row["What"]: row for row in rows_of(sheet)}
    value = "Value (unit beside)"
    assert rows["Consumer's risk: beyond the limits, and accepted"][value] == "less than 0.0001"
    assert rows["Producer's risk: within the limits, and not accepted"][value] == 0.0123
    highest = rows["Estimate: highest mean temperature in the whole work zone"]
    assert highest[value] == near(field.highest.expected_c) and highest["Unit"] == "°C"
    assert highest["Lower end (unit beside)"] == near(field.highest.low_c)
    assert highest["Upper end (unit beside)"] == near(field.highest.high_c)
    assert "x 600, y 0, z 900 mm" in highest["Where"]
    page = text_of(sheet).replace("\n", " ")
    assert field.statement in page
    assert "never a verdict: nothing here decides a requirement" in page
    for word in ("pass", "fail"):
        assert word not in page.split()


# absent parts


def test_every_absent_part_stands_with_its_reason(tmp_path: Path) -> None:
    evaluation = with_statistics(
        evaluation_of(Case(statistics=True, locations=3)),
        comparison=Absent("reason of the comparison"),
        risks=Absent("reason of the risks"),
        what_if=Absent("reason of the what-if"),
    )
    book = openpyxl.load_workbook(written(evaluation, tmp_path), data_only=True)
    assert "locations not compared: reason of the comparison" in text_of(book["Statistics"])
    assert "not known: reason of the what-if" in text_of(book["What if"])
    assert "no risks of the rule: reason of the risks" in text_of(book["Estimates"])
    assert "no estimate of unwatched places: too few places" in text_of(book["Estimates"])


def test_no_statistics_at_all(tmp_path: Path) -> None:
    book = openpyxl.load_workbook(written(evaluation_of(Case(locations=3)), tmp_path), data_only=True)
    for name in ("What if", "Statistics", "Estimates"):
        assert "not known: not computed here" in text_of(book[name])
    assert not any(name.startswith("Run") for name in book.sheetnames)


def test_without_a_plan_there_are_no_such_sheets(tmp_path: Path) -> None:
    evaluation = evaluation_of(Case(locations=3))
    plan = replace(evaluation.record.plan, from_options=True)
    evaluation = replace(evaluation, record=replace(evaluation.record, plan=plan))
    names = openpyxl.load_workbook(written(evaluation, tmp_path)).sheetnames
    assert not {"What if", "Statistics", "Estimates"} & set(names)


# replicate runs


def lines_of(book: Workbook) -> dict[str, list[dict[str, Any]]]:
    """Rows of the sheet Runs by their words; a statement may stand for both extremes."""
    found: dict[str, list[dict[str, Any]]] = {}
    for row in rows_of(book["Runs"], "What"):
        found.setdefault(str(row["What"]), []).append(row)
    return found


def table_of(sheet: Worksheet) -> dict[str, dict[str, Any]]:
    """Rows of a run table by the location's name."""
    rows = list(sheet.iter_rows(min_row=HEADER_ROW, values_only=True))
    return {str(row[0]): dict(zip(map(str, rows[0]), row, strict=True)) for row in rows[1:]}


def test_the_table_of_runs_holds_every_mean_and_what_follows(tmp_path: Path) -> None:
    evaluation = runs_of(Case(locations=4), 6)
    group = evaluation.record.replicates[0]
    found = group.statistics
    assert not isinstance(found, Absent) and not isinstance(found.locations, Absent)
    table = table_of(sheet_of(evaluation, tmp_path, "Run table 1"))
    for at, name in enumerate(group.locations):
        row, wanted = table[name], group.mean_deviations_c[at]
        assert [row[f"{run} ({DEGREES})"] for run in group.runs] == [near(value) for value in wanted if value]
        assert row[f"Mean, live ({DEGREES})"] == near(float(np.mean([value for value in wanted if value])))
        assert row[f"Tolerance limit below, live ({DEGREES})"] == near(float(found.locations.low_c[at]))
        assert row[f"Above, engine ({DEGREES})"] == near(float(found.locations.high_c[at]))
        assert row["Check"] == "agrees"
    tolerance = found.highest.tolerance
    assert not isinstance(tolerance, Absent)
    row = table["Largest deviation of the chamber"]
    assert row["Factor k (1)"] == near(tolerance.factor)
    assert row[f"Tolerance limit above, live ({DEGREES})"] == near(float(tolerance.high_c))  # type: ignore[arg-type]
    assert row[f"Tolerance limit below, live ({DEGREES})"] == "none"
    assert table["Limits in this run"][f"{group.runs[0]} ({DEGREES})"] in ("kept", "not kept")


def test_the_sheet_of_runs_says_what_follows_from_runs(tmp_path: Path) -> None:
    evaluation = runs_of(Case(locations=4), 6)
    found = evaluation.record.replicates[0].statistics
    assert not isinstance(found, Absent)
    book = openpyxl.load_workbook(written(evaluation, tmp_path), data_only=True)
    assert "The sample is the run." in text_of(book["Runs"])
    lines = lines_of(book)
    engine = "Engine's value (unit beside)"
    passing, tolerance = found.passing, found.highest.tolerance
    assert not isinstance(passing, Absent) and not isinstance(tolerance, Absent)
    assert lines["Runs that kept the limits, of 6"][0][engine] == passing.passed
    at_least = lines["Share of runs that keep them: at least, confidence 95 %"][0]
    assert at_least[engine] == near(passing.at_least)
    limit = lines["Tolerance limit above: 95 % of future runs, confidence 95 %"][0]
    assert limit[engine] == near(float(tolerance.high_c))  # type: ignore[arg-type]
    assert limit["It says"] in ("within the limit", "beyond the limit")
    assert not isinstance(found.components, Absent) and not isinstance(found.components.run, Absent)
    run = lines["Run: moves all locations alike"][0]
    assert run[engine] == near(found.components.run.variance_c2)
    assert run["Lower end (unit beside)"] == near(found.components.run.low_c2)
    assert run["Live formula (unit beside)"] != "engine only", "no figure is missing"
    assert not isinstance(found.likelihood, Absent) and not isinstance(found.likelihood.run, Absent)
    second = lines["Run: moves all locations alike, by likelihood"][0]
    assert second[engine] == near(found.likelihood.run.variance_c2)
    for name in ("Several outlying runs, at most 1", "Trend over the runs, 95 % interval"):
        assert len(lines[name]) == 2
    assert "this needs at least 8" in lines["Control limits of single runs"][0]["How, and what to know of it"]
    assert all(row["Check"] in ("agrees", None) for rows in lines.values() for row in rows)


def test_ten_runs_have_control_limits_and_three_have_no_capability(tmp_path: Path) -> None:
    ten = runs_of(Case(locations=3, instants=100), 10)
    few = runs_of(Case(locations=3, instants=100), 3)
    (tmp_path / "few").mkdir()
    lines = lines_of(openpyxl.load_workbook(written(ten, tmp_path), data_only=True))
    assert lines["Control limits of single runs: centre, and limits"][0]["It says"]
    assert any(name.startswith("Capability Ppk") for name in lines)
    lines = lines_of(openpyxl.load_workbook(written(few, tmp_path / "few"), data_only=True))
    remark = "How, and what to know of it"
    assert "5" in lines["Capability"][0][remark] and lines["Capability"][0][remark].startswith("absent")


def test_one_run_says_why_nothing_follows(tmp_path: Path) -> None:
    evaluation = runs_of(Case(locations=3), 1)
    book = openpyxl.load_workbook(written(evaluation, tmp_path), data_only=True)
    assert "nothing can be said: one run: the sample of a statement" in text_of(book["Runs"])
    front = text_of(book["Sign-off"]).replace("\n", " ")
    assert "never readings or locations" in front
    assert "one run: the sample" in summary(evaluation.record)


def test_a_location_that_a_run_lacks_is_absent_there(tmp_path: Path) -> None:
    evaluation = runs_of(Case(locations=3), 5)
    record = evaluation.record
    surveys = list(record.surveys)
    gone = replace(surveys[1].locations[2], mean_c=Absent("no readings"))
    surveys[1] = replace(surveys[1], locations=(*surveys[1].locations[:2], gone))
    record = replace(record, surveys=tuple(surveys), replicates=replicates(surveys, StatisticsChoice()))
    evaluation = replace(evaluation, record=record)
    book = openpyxl.load_workbook(written(evaluation, tmp_path), data_only=True)
    row = table_of(book["Run table 1"])["C1"]
    assert (
        row[f"{record.replicates[0].runs[1]} ({DEGREES})"] == "absent"
        and row["Runs with a figure, live (1)"] == 4
    )
    live = lines_of(book)["Run: moves all locations alike"][0]["Live formula (unit beside)"]
    assert live == "engine only", "the formulas hold for complete tables only"


def test_without_limits_what_rests_on_them_is_absent_with_its_reason(tmp_path: Path) -> None:
    evaluation = runs_of(Case(locations=3, instants=100), 4)
    surveys = [replace(survey, limit_low_c=None, limit_high_c=None) for survey in evaluation.record.surveys]
    found = replicates(surveys, StatisticsChoice())
    record = replace(evaluation.record, surveys=tuple(surveys), replicates=found)
    book = openpyxl.load_workbook(written(replace(evaluation, record=record), tmp_path), data_only=True)
    lines = lines_of(book)
    for words in ("Runs that kept their limits", "Chance that the next run keeps the limit", "Capability"):
        assert lines[words][0]["How, and what to know of it"].startswith("absent: ")
    table = table_of(book["Run table 1"])["Largest deviation of the chamber"]
    low, high = (table[f"Tolerance limit {side}, live ({DEGREES})"] for side in ("below", "above"))
    assert low < high, "two-sided, as no limit says which side counts"
    assert "no limits" in text_of(book["Sign-off"])


def test_front_page_and_screen_have_a_line_for_each_group(tmp_path: Path) -> None:
    evaluation = runs_of(Case(locations=3), 4)
    front = page_of(evaluation, tmp_path, "Sign-off")
    screen = summary(evaluation.record)
    for page in (front, screen):
        assert "of 4 runs kept the limits" in page
        assert "tolerance limits for 95 % of future runs, confidence 95 %: highest " in page
        assert "(limit +3)" in page and "(limit −3)" in page
    sheet = openpyxl.load_workbook(tmp_path / "pack.xlsx")["Sign-off"]
    properties = sheet.sheet_properties.pageSetUpPr
    assert properties is not None and properties.fitToPage
    assert sheet.page_setup.fitToHeight in (None, 1)
    fahrenheit = summary(replace(evaluation.record, units=TemperatureUnit.F.value))
    assert "(limit +5.4)" in fahrenheit and "set point 356 °F" in fahrenheit


def test_many_groups_leave_the_front_page_one_page(tmp_path: Path) -> None:
    evaluation = runs_of(Case(locations=2, instants=100), 2)
    groups = evaluation.record.replicates * 5
    evaluation = replace(evaluation, record=replace(evaluation.record, replicates=groups))
    front = page_of(evaluation, tmp_path, "Sign-off")
    assert front.count("Replicate runs") == 3
    assert "and 2 more set points with runs: sheet Runs" in front
    assert "Run table 5" in openpyxl.load_workbook(tmp_path / "pack.xlsx").sheetnames


# live


def checked_cells(book: Workbook) -> int:
    """Count the checks of the sheets of runs; all must agree."""
    found = [
        cell.value
        for name in book.sheetnames
        if name.startswith("Run")
        for row in book[name].iter_rows()
        for cell in row
        if cell.value in ("agrees", "differs")
    ]
    assert set(found) == {"agrees"}
    return len(found)


@recalculated
@pytest.mark.parametrize("unit", [TemperatureUnit.C, TemperatureUnit.F])
def test_runs_recalculated_and_changed_follow_the_engine(
    recalculate: Recalculate, tmp_path: Path, unit: TemperatureUnit
) -> None:
    """Two readings changed in two of five runs: every live value is what the engine then finds."""
    case = Case(locations=3, instants=120, unit=unit)
    changed: dict[int, dict[tuple[int, int], float]] = {}
    for run, column, by in ((1, 0, 4.0), (3, 2, -5.0)):
        values = readings_as_recorded(replace(case, seed=case.seed + run))
        changed[run] = {(90, column): round(float(values[90, column]) + by, 2)}
    before, after = tmp_path / "before.xlsx", tmp_path / "after.xlsx"
    write_workbook(runs_of(case, 5), before)
    write_workbook(runs_of(case, 5, changed), after)
    same, other = openpyxl.load_workbook(before), openpyxl.load_workbook(before)
    for run, cells in changed.items():
        sheet = other[f"Readings {run + 1}"]
        header = [cell.value for cell in sheet[READINGS_HEADER_ROW]]
        raw = [at for at, word in enumerate(header) if str(word).endswith(f"raw ({unit.value})")]
        for (instant, column), value in cells.items():
            sheet.cell(READINGS_HEADER_ROW + 1 + instant, raw[column] + 1).value = value
    found = recalculate([(same, "same"), (other, "other")])
    assert checked_cells(found["same"]) > 25
    wanted = openpyxl.load_workbook(after, data_only=True)
    live = "Live formula (unit beside)"
    compared = moved = 0
    then, now = lines_of(wanted), lines_of(found["other"])
    for words, rows in then.items():
        for at, row in enumerate(rows):
            if row["Check"] is None or words not in now:  # the farthest run may be another, with another name
                continue
            compared += 1
            moved += now[words][at]["Check"] == "differs"
            assert now[words][at][live] == pytest.approx(row[live], rel=1e-9, abs=1e-9), words
            if words.startswith("Tolerance limit"):
                assert now[words][at]["It says"] == row["It says"]
    assert compared > 15 and moved > 10
    columns = [f"Tolerance limit above, live ({DEGREES})", f"Standard deviation s, live ({DEGREES})"]
    new, old = table_of(wanted["Run table 1"]), table_of(found["other"]["Run table 1"])
    for name in ("A1", "C1", "Largest deviation of the chamber"):
        for word in columns:
            limit, factor = new[name][word], new[name]["Factor k (1)"]
            if word.startswith("Tolerance") and factor != pytest.approx(old[name]["Factor k (1)"], rel=1e-9):
                continue  # a location's factor depends on the scatter; it is the engine's
            assert old[name][word] == pytest.approx(limit, rel=1e-9, abs=1e-9), (name, word)
