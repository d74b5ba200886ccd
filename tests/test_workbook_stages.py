"""The stages in the workbook, on the front page and on the screen: what stands there, what comes first."""

from __future__ import annotations

import re
import subprocess
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from shutil import which
from typing import Any

import openpyxl
import pytest
from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from qualify.cautions import SURVEY_CAUTIONS
from qualify.evidence import Evaluation
from qualify.figures.absent import Absent
from qualify.pack.cautions_beside import _FITS, cautions_beside
from qualify.pack.summary import summary
from qualify.pack.workbook import write_workbook
from qualify.record import Decision, DispositionRecord, StageRecord
from tests.support.evaluations import Case, evaluation_of
from tests.support.stage_plans import all_stages, evaluated, loaded_run, loop_text, two_stages

ONLY_OF_SURVEYS = {"Requirements", "Sensors", "Certificates", "Uncertainty", "Budgets", "Statistics"}


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Evaluation]:
    """Evaluations, each made once."""
    makers: dict[str, Callable[[Path], Evaluation]] = {
        "two stages": two_stages,
        "not restored": lambda folder: two_stages(folder, restored=False, delay_s=9.0),
        "dead leg": lambda folder: two_stages(folder, dead_leg=0.15),
        "°F": lambda folder: two_stages(folder, units="F"),
        "loaded": loaded_run,
        "all": all_stages,
    }
    found: dict[str, Evaluation] = {}

    def make(name: str) -> Evaluation:
        if name not in found:
            found[name] = makers[name](tmp_path_factory.mktemp("plan"))
        return found[name]

    return make


def book_of(evaluation: Evaluation, folder: Path, *, results: bool = True) -> Workbook:
    path = folder / "pack.xlsx"
    write_workbook(evaluation, path)
    return openpyxl.load_workbook(path, data_only=results)


def text_of(sheet: Worksheet) -> str:
    rows = sheet.iter_rows(values_only=True)
    return "\n".join(" | ".join(str(value) for value in row if value is not None) for row in rows)


def row_of(sheet: Worksheet, name: str, column: int = 0) -> tuple[Any, ...]:
    return next(row for row in sheet.iter_rows(values_only=True) if row[column] == name)


def without_breaks(text: str) -> str:
    return " ".join(text.replace("|", " ").split())


# ---- the sheets ----


def test_a_plan_without_a_survey_has_no_empty_sheets(made: Any, tmp_path: Path) -> None:
    book = book_of(made("two stages"), tmp_path)
    assert book.sheetnames[:2] == ["Sign-off", "Stages"]
    assert {"Installation", "Operation tests", "Dispositions", "Provenance"} <= set(book.sheetnames)
    assert not ONLY_OF_SURVEYS & set(book.sheetnames)


def test_a_plan_of_surveys_has_no_sheet_and_no_word_of_stages(tmp_path: Path) -> None:
    evaluation = evaluation_of(Case(locations=4))
    book = book_of(evaluation, tmp_path)
    assert not {"Stages", "Installation", "Operation tests", "Heat and load"} & set(book.sheetnames)
    front = text_of(book["Sign-off"])
    assert "Stage" not in front and "owed" not in front and "DO NOT USE" not in front
    assert [cell.value for cell in book["Dispositions"][4]][3:5] == ["Survey", "Requirement"]
    assert "Stage " not in summary(evaluation.record)


def test_stages_in_order_with_tests_open_owed_and_who_accepted(made: Any, tmp_path: Path) -> None:
    evaluation = made("two stages")
    sheet = book_of(evaluation, tmp_path)["Stages"]
    words = without_breaks(text_of(sheet))
    assert words.index("Stage installation") < words.index("Stage operation")
    assert row_of(sheet, "the whole stage", 1)[3] == "NOT SHOWN"
    assert row_of(sheet, "Excess temperature", 1)[2:5] == ("challenge: over-temperature", "NOT SHOWN", "site")
    assert row_of(sheet, "Oxygen loop", 1)[5] == "yes"
    assert row_of(sheet, "record sheet installation.csv", 1)[4] == "factory, site"
    for stage in evaluation.record.stages:
        for line in (*stage.open_items, *stage.owed):
            assert line in words
    assert "nobody is named in the plan" in words
    first, *rest = evaluation.record.stages
    accepted = replace(first, proceeds_by="C. Example, 2026-03-01")
    record = replace(evaluation.record, stages=(accepted, *rest))
    assert "accepted by C. Example, 2026-03-01" in without_breaks(
        text_of(book_of(replace(evaluation, record=record), tmp_path)["Stages"])
    )


def test_what_is_not_restored_stands_first_everywhere(made: Any, tmp_path: Path) -> None:
    evaluation = made("not restored")
    book = book_of(evaluation, tmp_path)
    for name in ("Sign-off", "Stages"):
        first, second = list(book[name].iter_rows(values_only=True))[:2]
        assert str(first[0]).startswith("DO NOT USE"), name
        assert "bridge on door switch" in " ".join(str(value) for value in second), name
    screen = summary(evaluation.record)
    assert screen.startswith("DO NOT USE")
    assert "bridge on door switch" in screen.splitlines()[1]
    assert screen.endswith("Verdict: FAIL")


def test_every_item_of_a_record_sheet_stands_in_a_row(made: Any, tmp_path: Path) -> None:
    sheet = book_of(made("two stages"), tmp_path)["Installation"]
    voltage = row_of(sheet, "E-1")
    assert voltage[1] == "Supply voltage: nameplate"
    assert voltage[2:6] == (380, 420, 402, "V")
    assert voltage[6:8] == (18, "PASS")
    assert voltage[9:] == ("A. Example", "2026-03-02", "installation.csv, row 2")
    water = row_of(sheet, "W-1")
    assert water[4] == pytest.approx(23.4696, abs=1e-4) and water[5] == "L/min"
    assert row_of(sheet, "D-1")[4] == "nothing" and row_of(sheet, "D-1")[7] == "NOT SHOWN"
    assert row_of(sheet, "S-1")[4] == "yes" and row_of(sheet, "S-1")[7] == "PASS"
    assert "G-9 was past its due date" in row_of(sheet, "Departure")[1]


def test_a_challenge_s_figures_stand_as_rows(made: Any, tmp_path: Path) -> None:
    evaluation = made("two stages")
    sheet = book_of(evaluation, tmp_path)["Operation tests"]
    trip = next(test for test in evaluation.record.stages[1].tests).figures["trip"]
    row = row_of(sheet, "trip point of the first recorded answer")
    assert row[2:6] == pytest.approx((trip.value, trip.expanded, trip.least, trip.most), abs=1e-12)
    assert row[7] == "°C"
    asked = row_of(sheet, "excess-temperature-trip-point")
    assert asked[4:6] == (187, 193) and asked[8] == "PASS"
    assert asked[3] == pytest.approx(trip.expanded)
    assert row_of(sheet, "its standard uncertainty u")[2] == pytest.approx(trip.u, rel=1e-12)
    late = row_of(sheet, "delay of 'heat off'")
    assert late[4] <= 2.0 <= late[5] and late[7] == "s"
    # A person's answer has no number, and none is made up.
    assert row_of(sheet, "excess-temperature-horn")[2:7] == (None,) * 5
    assert row_of(sheet, "excess-temperature-horn")[8] == "NOT SHOWN"


def test_the_readings_around_a_trip_are_followed_to_their_row_in_the_file(tmp_path: Path) -> None:
    evaluation = two_stages(tmp_path)
    sheet = book_of(evaluation, tmp_path, results=False)["Operation tests"]
    trip = next(test for test in evaluation.record.stages[1].tests).figures["trip"]
    cells = book_of(evaluation, tmp_path)["Test readings"]
    logged = (tmp_path / "challenge.csv").read_text(encoding="utf-8").splitlines()
    for what, at_s in zip(
        ("reading before the change", "reading after the change"), trip.read_s, strict=True
    ):
        row = row_of(sheet, what)
        place = re.fullmatch(r"='Test readings'!\$([A-Z])\$(\d+)", row[2])
        assert place is not None
        shown = cells[f"{place[1]}{place[2]}"].value
        line = cells[f"A{place[2]}"].value
        assert f"at {at_s:.6g} s: row {line} of challenge.csv" in row[1]
        assert shown == float(logged[line - 1].split(",")[1])
    ends = row_of(sheet, "trip point of the first recorded answer")[4:6]
    assert all("'Test readings'!" in end for end in ends)


def test_test_readings_hold_each_reading_once_and_only_channels_that_are_used(
    made: Any, tmp_path: Path
) -> None:
    evaluation = made("two stages")
    rows = list(book_of(evaluation, tmp_path)["Test readings"].iter_rows(values_only=True))
    for item in evaluation.test_recordings:
        begin = next(at for at, row in enumerate(rows) if row[0] == " · ".join(item.tests))
        header = [word for word in rows[begin + 1] if word]
        assert len(header) == len(item.recording.rows) + 1 + len(item.channels)  # no clock: elapsed times
        written = rows[begin + 2 : begin + 2 + item.recording.seconds.size]
        files = len(item.recording.rows)
        assert [row[files] for row in written] == item.recording.seconds.tolist()
        for index, channel in enumerate(item.recording.channels):
            if channel.name in item.channels:
                place = next(at for at, word in enumerate(header) if word.startswith(f"{channel.name} ("))
                assert [row[place] for row in written] == item.recording.raw_c[:, index].tolist()


def test_layouts_and_doubts_of_test_recordings_are_on_provenance(made: Any, tmp_path: Path) -> None:
    evaluation = made("two stages")
    words = text_of(book_of(evaluation, tmp_path)["Provenance"])
    for item in evaluation.test_recordings:
        for file in item.recording.layouts:
            assert f"{file} | " in words
            assert file in evaluation.record.settings["layouts"]
        for doubt in item.recording.doubts:
            assert doubt.text in words


def test_purge_cooling_loop_and_program_stand_in_their_blocks(made: Any, tmp_path: Path) -> None:
    words = text_of(book_of(made("two stages"), tmp_path)["Operation tests"])
    for word in (
        "Nitrogen · purge",
        "time from the start of the purge to the limit",
        "rise of oxygen with the flow stopped",
        "largest oxygen while the limit must be kept",
        "Cool down · cool-down",
        "time constant",
        "time with the other coolant, by the fit",
        "Oxygen loop · loop check",
        "error at half of the signal",
        "hysteresis",
        "a simulated signal proves the loop, never the sensor",
        "Cure · program",
        "step 2: dwell",
    ):
        assert word in words, word


def test_a_purge_without_a_model_says_why_once(made: Any, tmp_path: Path) -> None:
    evaluation = made("dead leg")
    words = without_breaks(text_of(book_of(evaluation, tmp_path)["Operation tests"]))
    purge = next(test for test in evaluation.record.stages[1].tests if test.kind == "purge")
    why = purge.figures["purge"].model
    assert isinstance(why, Absent)
    assert words.count(f"{why.reason}; the measured time stands alone") == 1
    assert "mixing factor" not in words


def test_a_point_without_a_displayed_value_is_absent_and_says_so(tmp_path: Path) -> None:
    text = loop_text().replace("{ signal = 8.0, displayed = 6.3 }", "{ signal = 8.0 }")
    assert text != loop_text()
    evaluation = evaluated(tmp_path, text)
    sheet = book_of(evaluation, tmp_path)["Operation tests"]
    row = row_of(sheet, "point 2: error")
    assert row[2] == "absent" and "nothing was displayed" in row[10]


def test_temperatures_stand_in_fahrenheit_too_where_the_plan_uses_it(made: Any, tmp_path: Path) -> None:
    sheet = book_of(made("°F"), tmp_path)["Operation tests"]
    asked = row_of(sheet, "excess-temperature-trip-point")
    assert asked[13:15] == pytest.approx((368.6, 379.4), abs=1e-6)
    assert asked[11] == pytest.approx(asked[2] * 1.8 + 32)
    assert asked[12] == pytest.approx(asked[3] * 1.8)
    assert row_of(sheet, "nitrogen-time-to-limit")[11:15] == (None,) * 4


def test_cautions_stand_beside_the_tests_they_belong_to(made: Any, tmp_path: Path) -> None:
    sheet = book_of(made("two stages"), tmp_path)["Operation tests"]
    blocks: dict[str, list[str]] = {}
    for row in sheet.iter_rows(values_only=True):
        if isinstance(row[0], str) and " · " in row[0]:
            blocks[row[0].split(" · ")[1]] = []
        elif row[0] == "CAUTION":
            blocks[list(blocks)[-1]].append(str(row[1]))
    assert any(caution.startswith("Nitrogen displaces") for caution in blocks["purge"])
    assert any(caution.startswith("Steam") for caution in blocks["cool-down"])
    assert any("never driven past" in caution for caution in blocks["challenge: over-temperature"])
    assert not any(caution.startswith("Steam") for caution in blocks["loop check"])
    assert all(any("defeated interlock" in one for one in own) for own in blocks.values())
    assert all(caution in SURVEY_CAUTIONS for own in blocks.values() for caution in own)


def test_no_caution_is_lost_between_the_kinds() -> None:
    for caution in SURVEY_CAUTIONS:
        assert sum(caution.startswith(begins) for begins, _ in _FITS) == 1, caution
    assert cautions_beside("challenge: other", SURVEY_CAUTIONS) == SURVEY_CAUTIONS
    assert cautions_beside("loop check", ("One that nobody knows.",)) == ("One that nobody knows.",)


# ---- heat ----


def test_heat_of_each_sensor_and_the_load_behind_the_air(made: Any, tmp_path: Path) -> None:
    evaluation = made("loaded")
    survey = evaluation.record.surveys[0]
    heat = survey.heat[0]
    sheet = book_of(evaluation, tmp_path)["Heat and load"]
    rows = [row for row in sheet.iter_rows(values_only=True) if row[1] == "sterilisation"]
    assert [row[2] for row in rows] == ["A", "B", "LOAD"]
    assert [row[3] for row in rows] == ["no", "no", "yes"]
    assert [row[4] for row in rows] == pytest.approx(list(heat.minutes))
    assert [row[5] for row in rows] == pytest.approx(list(heat.minutes_less_uncertainty))
    least = row_of(sheet, "sterilisation: least of the judged", 1)
    assert least[2] == "LOAD" and least[5] == pytest.approx(heat.least_min)
    assert least[7] == 200 and least[9] == "PASS"
    assert row_of(sheet, "sterilisation: most of the judged", 1)[9] == "not asked"
    assert row_of(sheet, "hot enough: most of the judged", 1)[8:10] == (120, "PASS")
    load = row_of(sheet, "load behind the air", 1)
    assert load[10] == survey.loads[0].lag_s and load[13] == pytest.approx(179.0)
    assert "heat-sterilisation-least" in summary(evaluation.record)
    assert re.search(r"at least 200 min: [\d.]+ min at LOAD", summary(evaluation.record))


def test_heat_that_is_absent_says_why(made: Any, tmp_path: Path) -> None:
    evaluation = made("loaded")
    survey = evaluation.record.surveys[0]
    why = Absent("no reading between 10 and 20 min")
    heat = replace(
        survey.heat[0],
        minutes=(why, *survey.heat[0].minutes[1:]),
        minutes_less_uncertainty=(why,) * 3,
        least_min=why,
    )
    loads = (replace(survey.loads[0], lag_s=Absent("it never came inside the limits")),)
    survey = replace(survey, heat=(heat,), loads=loads)
    changed = replace(evaluation, record=replace(evaluation.record, surveys=(survey,)))
    sheet = book_of(changed, tmp_path)["Heat and load"]
    row = row_of(sheet, "sterilisation", 1)
    assert row[4:6] == ("absent", "absent") and why.reason in row[14]
    assert row_of(sheet, "sterilisation: least of the judged", 1)[5] == "absent"
    assert "never came inside" in row_of(sheet, "load behind the air", 1)[14]


# ---- dispositions ----


def test_what_a_person_wrote_stands_beside_its_deviation(made: Any, tmp_path: Path) -> None:
    evaluation = made("not restored")
    written = DispositionRecord(
        id="N1", cause="=relay worn", action="renewed", by="C. E.", date="2026-03-05", closed=True, remark=""
    )
    record = replace(evaluation.record, dispositions=(written,))
    book = book_of(replace(evaluation, record=record), tmp_path)
    sheet = book["Dispositions"]
    assert row_of(sheet, "N1", 1)[6:] == ("=relay worn", "renewed", "C. E.", "2026-03-05", "yes")
    assert row_of(sheet, "N2", 1)[6:] == (None,) * 5
    front = text_of(book["Sign-off"])
    assert f"Open items: {len(record.deviations) - 1}; 1 closed by a person" in front
    assert "N1 nonconformity" not in front
    remarked = replace(record, dispositions=(replace(written, remark="seen again"),))
    sheet = book_of(replace(evaluation, record=remarked), tmp_path)["Dispositions"]
    assert row_of(sheet, "N1", 1)[-1] == "seen again"


# ---- the front page ----


def test_the_front_page_is_one_page_with_many_stages_and_surveys(made: Any, tmp_path: Path) -> None:
    plain, record = evaluation_of(Case()), made("all").record
    survey = plain.record.surveys[0]
    many = tuple(
        replace(stage, not_restored=tuple(f"bridge {n}: {'long ' * 40}" for n in range(9)) * (number == 1))
        for number, stage in enumerate(
            replace(stage, owed=tuple(f"test {n}: {'owed ' * 30}" for n in range(20)))
            for stage in record.stages
        )
    )
    surveys = tuple(
        replace(survey, name=f"survey number {n}", remarks=tuple(f"remark {k} " * 25 for k in range(5)))
        for n in range(30)
    )
    deviation = record.deviations[0]
    deviations = tuple(replace(deviation, id=f"N{n}", text="item " * 60) for n in range(1, 41))
    changed = replace(
        plain.record, stages=many, surveys=surveys, deviations=deviations, cautions=record.cautions
    )
    sheet = book_of(replace(plain, record=changed), tmp_path)["Sign-off"]
    properties = sheet.sheet_properties.pageSetUpPr
    assert properties is not None and properties.fitToPage
    assert sheet.page_setup.fitToHeight in (None, 1)
    assert sheet.max_row <= 110
    front = without_breaks(text_of(sheet))
    assert "and 5 more: sheet Stages" in front
    assert "Still owed: 60 items" in front and "and 58 more: sheet Stages" in front
    assert "and 35 more: sheet Dispositions" in front


def test_the_front_page_names_each_stage_and_what_is_owed(made: Any, tmp_path: Path) -> None:
    front = without_breaks(text_of(book_of(made("two stages"), tmp_path)["Sign-off"]))
    assert "Stage installation NOT SHOWN · 1 test (1 not shown) · 2 open · 2 still owed" in front
    assert "Stage operation NOT SHOWN · 5 tests (1 not shown, 4 pass)" in front
    assert "Still owed: 3 items" in front
    assert "DO NOT USE" not in front


def test_screen_lists_each_test_with_its_verdict(made: Any) -> None:
    screen = summary(made("two stages").record)
    assert "  pass        Nitrogen (purge)" in screen
    assert "Stage installation: NOT SHOWN" in screen
    assert len(screen.splitlines()) < 30


# ---- text and formulas ----

EVIL = "=1+1"
EVERY = {EVIL, *(f"={n}+{n}" for n in range(2, 10)), "=A", "=12", "-2+3", "+A1"}


def evil(evaluation: Evaluation) -> Evaluation:
    def of(stage: StageRecord) -> StageRecord:
        return replace(
            stage,
            tests=tuple(
                replace(
                    test,
                    name=EVIL,
                    place="@SUM(A1)",
                    notes=("+A1", *test.notes),
                    owed=("-2+3",),
                    requirements=tuple(
                        replace(item, id=EVIL, text="=2+2", note="=3+3", decided_by="=4+4", time="=5+5")
                        for item in test.requirements
                    ),
                )
                for test in stage.tests
            ),
            open_items=("=6+6",),
            not_restored=("=7+7",),
            proceeds_by="=8+8",
            remarks=("=9+9",),
        )

    survey = evaluation.record.surveys[0]
    heat = replace(survey.heat[0], name="=10", because="=11", sensors=("=A", "=B", "=C"))
    survey = replace(survey, heat=(heat,), loads=(replace(survey.loads[0], channel="=12"),))
    record = replace(
        evaluation.record, stages=tuple(of(stage) for stage in evaluation.record.stages), surveys=(survey,)
    )
    return replace(evaluation, record=record)


def test_text_of_stages_never_becomes_a_formula(made: Any, tmp_path: Path) -> None:
    book = book_of(evil(made("all")), tmp_path, results=False)
    shown = set()
    for name in ("Sign-off", "Stages", "Installation", "Operation tests", "Heat and load", "Verdicts"):
        for row in book[name].iter_rows():
            for cell in row:
                if cell.data_type == "f":
                    assert cell.value not in EVERY
                elif isinstance(cell.value, str):
                    shown.add(cell.value)
    assert shown >= EVERY


def test_nothing_is_merged_and_numbers_are_numbers(made: Any, tmp_path: Path) -> None:
    book = book_of(made("all"), tmp_path)
    for name in ("Stages", "Installation", "Operation tests", "Heat and load"):
        sheet = book[name]
        assert not sheet.merged_cells.ranges
        assert sheet.freeze_panes is not None and sheet.print_title_rows
        assert sheet.page_setup.orientation == "landscape"
        for row in sheet.iter_rows(values_only=True):
            for value in row:
                assert not (isinstance(value, str) and re.fullmatch(r"-?\d+\.\d+|-?\d\d+", value)), (
                    name,
                    row,
                )


@pytest.mark.skipif(which("soffice") is None, reason="no LibreOffice")
def test_formulas_of_the_stages_give_their_cached_results(made: Any, tmp_path: Path) -> None:
    books = {}
    for number, name in enumerate(("two stages", "°F", "loaded")):
        path = tmp_path / f"{number}.xlsx"
        write_workbook(made(name), path)
        books[name] = path
    done = tmp_path / "done"
    subprocess.run(
        [
            "soffice",
            f"-env:UserInstallation={(tmp_path / 'profile').as_uri()}",
            "--headless",
            "--convert-to",
            "xlsx:Calc MS Excel 2007 XML",
            "--outdir",
            str(done),
            *map(str, books.values()),
        ],
        check=True,
        capture_output=True,
        timeout=200,
    )
    compared = 0
    for path in books.values():
        formulas, cached = openpyxl.load_workbook(path), openpyxl.load_workbook(path, data_only=True)
        found = openpyxl.load_workbook(done / path.name, data_only=True)
        for sheet in ("Installation", "Operation tests", "Heat and load"):
            if sheet not in formulas.sheetnames:
                continue
            for row in formulas[sheet].iter_rows():
                for cell in row:
                    if cell.data_type == "f":
                        compared += 1
                        wanted = cached[sheet][cell.coordinate].value
                        shown = found[sheet][cell.coordinate].value
                        where = (path, sheet, cell.coordinate, cell.value)
                        assert shown == pytest.approx(wanted, rel=1e-9, abs=1e-9), where
    assert compared > 50


def test_a_stage_that_holds_nothing_but_what_was_left_in_place_is_shown(tmp_path: Path) -> None:
    evaluation = evaluation_of(Case(locations=4))
    stage = StageRecord(
        stage="operation",
        verdict=Decision.FAIL,
        surveys=(evaluation.record.surveys[0].name,),
        tests=(),
        open_items=(),
        owed=(),
        not_restored=("limit: no row says that it was restored",),
        proceeds_by="",
    )
    record = replace(evaluation.record, stages=(stage,), verdict=Decision.FAIL)
    book = book_of(replace(evaluation, record=record), tmp_path)
    assert "Operation tests" not in book.sheetnames
    assert str(book["Sign-off"]["A1"].value).startswith("DO NOT USE")
    assert "Stage operation FAIL · 1 survey" in without_breaks(text_of(book["Sign-off"]))
