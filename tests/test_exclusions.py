"""Exclusions: only the plan leaves readings out; the verdict says what it hangs on."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import openpyxl
import pytest

from tests.support.command import Ran, qualify
from tests.support.surveys import write_certificates, write_csv
from tests.test_screening import oven

PLAN = """
[plan]
title = "Screened"
accept_conditional = true

[certificates]
file = "c.csv"

[[locations]]
name = "A"
channel = "T1"

[[locations]]
name = "B"
channel = "T2"

[[locations]]
name = "C"
channel = "T3"

[[surveys]]
name = "run"
stage = "operation"
files = ["run.csv"]

[[surveys.holds]]
name = "180 °C"
setpoint = 180
tolerance = 3
start = 4500
minutes = 60
"""
SPIKES = """
[[exclusions]]
kind = "spike"
reason = "contactor interference"
"""
AT_ROW = 202


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Three locations of which the second has one spike, beyond the limit, in the window."""
    seconds, values = oven(3)
    values[AT_ROW - 2, 1] += 5.0
    write_csv(tmp_path / "run.csv", seconds, values)
    points = [(0.0, 0.1), (250.0, 0.3)]
    write_certificates(tmp_path / "c.csv", {f"T{number}": points for number in (1, 2, 3)}, 0.2)
    return tmp_path


def run(folder: Path, text: str = PLAN, pack: str = "pack") -> Ran:
    (folder / "plan.toml").write_text(text, encoding="utf-8")
    return qualify("run", folder / "plan.toml", "--json", "--out", folder / pack)


def test_a_doubt_excludes_nothing_and_the_verdict_says_that_it_hangs_on_it(folder: Path) -> None:
    ran = run(folder)
    assert ran.survey["verdict"] == "fail"
    assert ran.survey["exclusions"] == []
    first = ran.survey["doubts"][0]
    assert first["kind"] == "verdict-hangs-on-doubted"
    assert (first["file"], first["row"], first["column"]) == ("run.csv", AT_ROW, "T2 (°C)")
    assert "fail as judged, pass without 1 doubted reading (spike;" in first["text"]
    assert first["text"] == ran.survey["remarks"][0]


def test_it_stands_in_the_summary_and_on_the_front_page(folder: Path) -> None:
    run(folder)
    shown = qualify("run", folder / "plan.toml", "--out", folder / "again").out
    assert "  ! hold '180 °C': the verdict hangs on doubted readings" in shown
    front = openpyxl.load_workbook(folder / "pack" / "pack.xlsx")["Sign-off"]
    words = " ".join(str(row[1]) for row in front.iter_rows(values_only=True))
    assert "the verdict hangs on doubted readings" in words


def test_a_doubted_reading_that_decides_nothing_is_not_said_to(folder: Path) -> None:
    ran = run(folder, PLAN.replace("tolerance = 3", "tolerance = 20"))
    kinds = [doubt["kind"] for doubt in ran.survey["doubts"]]
    assert "spike" in kinds and "verdict-hangs-on-doubted" not in kinds
    assert not any("hangs" in remark for remark in ran.survey["remarks"])


def test_an_exclusion_by_kind(folder: Path) -> None:
    ran = run(folder, PLAN + SPIKES)
    assert ran.survey["verdict"] == "pass"
    (item,) = ran.survey["exclusions"]
    assert item == {
        "location": "B",
        "channel": "T2",
        "kind": "spike",
        "reason": "contactor interference",
        "readings": 1,
        "file": "run.csv",
        "first_row": AT_ROW,
        "last_row": AT_ROW,
        "first_s": 6000.0,
        "last_s": 6000.0,
        "first": "2026-03-02T09:40:00",
        "last": "2026-03-02T09:40:00",
    }
    assert "with them the verdict is fail" in ran.survey["remarks"][0]
    assert [d["kind"] for d in ran.survey["doubts"]][:2] == ["verdict-hangs-on-excluded", "spike"]
    assert any("1 reading of location 'B' left out" in step for step in ran.record["steps"])
    location = next(item for item in ran.survey["locations"] if item["location"] == "B")
    assert location["readings"] == ran.survey["window"]["readings"] - 1


def test_readings_named_by_the_plan_leave_a_fail_at_most_conditional(folder: Path) -> None:
    rule = '[[exclusions]]\nlocation = "B"\nfrom = 2026-03-02T09:40:00\nto = 6030\nreason = "plug pulled"\n'
    ran = run(folder, PLAN + rule)
    assert ran.survey["verdict"] == "conditional"
    (item,) = ran.survey["exclusions"]
    assert (item["kind"], item["readings"], item["first_row"], item["last_row"]) == (None, 2, 202, 203)


def test_too_few_readings_left_are_not_shown(folder: Path) -> None:
    rule = '[[exclusions]]\nchannel = "T2"\nfrom = 4500\nto = 5000\nreason = "plug pulled"\n'
    ran = run(folder, PLAN + SPIKES + rule)
    assert ran.survey["verdict"] == "not shown"


@pytest.mark.parametrize(
    "rule",
    [
        'kind = "stuck-value"\nreason = "none there"',
        'location = "A"\nfrom = 99000\nreason = "after the end"',
        'channel = "T9"\nfrom = 0\nreason = "no such channel"',
    ],
)
def test_an_exclusion_that_meets_nothing_is_doubted(folder: Path, rule: str) -> None:
    ran = run(folder, f"{PLAN}\n[[exclusions]]\n{rule}\n")
    assert "exclusion-meets-nothing" in {doubt["kind"] for doubt in ran.survey["doubts"]}
    assert ran.survey["exclusions"] == []


@pytest.mark.parametrize(
    ("rule", "says"),
    [
        ('location = "B"\nreason = "ugly"', "every reading of 'B'"),
        ('location = "B"\nfrom = 0\nreason = "ugly"', "every reading of location 'B'"),
        ('location = "B"\nfrom = 10', "reason"),
        ('location = "X"\nfrom = 10\nreason = "ugly"', "'X' is no location"),
        ('kind = "spikes"\nreason = "ugly"', "did you mean 'spike'"),
        ('reason = "ugly"', "which readings"),
        ('location = "B"\nchannel = "T2"\nfrom = 1\nreason = "ugly"', "one of the two"),
        ('kind = "spike"\nsurvey = "runs"\nreason = "ugly"', "did you mean 'run'"),
    ],
)
def test_what_an_exclusion_must_not_be(folder: Path, rule: str, says: str) -> None:
    ran = run(folder, f"{PLAN}\n[[exclusions]]\n{rule}\n")
    assert ran.status == 3
    assert says in ran.err
    assert not (folder / "pack").exists()


def test_the_workbook_lists_it_and_shows_the_raw_reading(folder: Path) -> None:
    run(folder, PLAN + SPIKES)
    book = openpyxl.load_workbook(folder / "pack" / "pack.xlsx", data_only=True)
    lines = [row for row in book["Provenance"].iter_rows(values_only=True) if row[1] == "spike"]
    assert any("1 reading" in str(row[5]) and "contactor interference" in str(row[5]) for row in lines)
    sheet = book["Readings 1"]
    header = [str(cell.value) for cell in sheet[8]]
    row = [cell.value for cell in sheet[9 + AT_ROW - 2]]
    assert row[header.index("B\nraw (°C)")] > 184.0
    assert row[header.index("B\ncorrected (°C)")] is None
    assert row[header.index("A\ncorrected (°C)")] > 178.0


def test_a_pack_with_exclusions_verifies(folder: Path) -> None:
    run(folder, PLAN + SPIKES)
    assert qualify("verify", folder / "pack").status == 0


@pytest.mark.skipif(shutil.which("soffice") is None, reason="LibreOffice is not installed")
def test_live_formulas_do_without_the_excluded_reading(folder: Path) -> None:
    run(folder, PLAN + SPIKES)
    path = folder / "pack" / "pack.xlsx"
    book, cached = openpyxl.load_workbook(path), openpyxl.load_workbook(path, data_only=True)
    book.save(folder / "stripped.xlsx")  # openpyxl keeps the formulas and drops their results
    profile = (folder / "profile").as_uri()
    command = ["soffice", f"-env:UserInstallation={profile}", "--headless", "--convert-to", "xlsx"]
    words = [*command, "--outdir", str(folder / "done"), str(folder / "stripped.xlsx")]
    subprocess.run(words, check=True, capture_output=True, timeout=300)
    found = openpyxl.load_workbook(folder / "done" / "stripped.xlsx", data_only=True)
    compared = 0
    for sheet in book:
        for cells in sheet.iter_rows():
            for cell in cells:
                if cell.data_type != "f":
                    continue
                compared += 1
                expected = cached[sheet.title][cell.coordinate].value
                result = found[sheet.title][cell.coordinate].value
                where = (sheet.title, cell.coordinate, cell.value)
                if isinstance(expected, str):
                    assert result == expected, where
                else:
                    assert result == pytest.approx(expected, rel=1e-9, abs=1e-9), where
    assert compared > 2000
