"""Blank record sheets: written by the command, read back by a plan as open, never passed."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.support.command import qualify
from tests.test_stage_tests import BY_HAND, CHALLENGE, challenge_file


@pytest.mark.parametrize("form", ["csv", "xlsx"])
def test_a_blank_installation_sheet_is_open_and_never_passed(tmp_path: Path, form: str) -> None:
    words = ("--kind", "water-cooled", "--kind", "inert-gas", "--kind", "clean")
    ran = qualify("sheets", "installation", *words, "--out", tmp_path / f"i.{form}")
    assert ran.status == 0, ran.err
    plan = tmp_path / "plan.toml"
    plan.write_text(f'[plan]\ntitle = "x"\n[installation]\nrecords = ["i.{form}"]\n', encoding="utf-8")
    done = qualify("run", plan, "--out", tmp_path / "pack", "--json")
    (stage,) = done.record["stages"]
    decisions = {item["decision"] for item in stage["tests"][0]["requirements"]}
    assert decisions == {"not shown"}
    assert len(stage["tests"][0]["requirements"]) > 50
    assert done.status == 1


def test_sheets_of_a_plan(tmp_path: Path) -> None:
    challenge_file(tmp_path)
    seen = '\n[[challenges.answers]]\nname = "horn"\nobserved = true\n'
    text = '[plan]\ntitle = "x"\n' + CHALLENGE.format(more=BY_HAND, within=5, answers=seen)
    text += '[return_to_service]\nchanged = ["limit of the excess protection"]\n'
    plan = tmp_path / "plan.toml"
    plan.write_text(text, encoding="utf-8")
    assert qualify("sheets", "observed", plan, "--out", tmp_path / "seen.csv").status == 0
    assert qualify("sheets", "restored", plan, "--out", tmp_path / "restored.csv").status == 0
    assert "Excess temperature,horn" in (tmp_path / "seen.csv").read_text(encoding="utf-8")
    assert "limit of the excess protection" in (tmp_path / "restored.csv").read_text(encoding="utf-8")
    with_sheets = text.replace(
        "[return_to_service]",
        '[operation]\nobserved = "seen.csv"\n[return_to_service]\nfile = "restored.csv"',
    )
    plan.write_text(with_sheets, encoding="utf-8")
    done = qualify("run", plan, "--out", tmp_path / "pack", "--json")
    (stage,) = done.record["stages"]
    assert stage["verdict"] == "fail"
    assert len(stage["not_restored"]) == 1
    assert qualify("sheets", "dispositions", tmp_path / "pack", "--out", tmp_path / "d.csv").status == 0
    assert "N1" in (tmp_path / "d.csv").read_text(encoding="utf-8")


def test_a_sheet_is_never_written_over(tmp_path: Path) -> None:
    (tmp_path / "i.csv").write_text("mine", encoding="utf-8")
    ran = qualify("sheets", "installation", "--out", tmp_path / "i.csv")
    assert ran.status == 3
    assert (tmp_path / "i.csv").read_text(encoding="utf-8") == "mine"


def test_what_is_called_wrongly(tmp_path: Path) -> None:
    assert qualify("sheets", "installation", "--out", tmp_path / "i.pdf").status == 2
    assert qualify("sheets", "installation", "--kind", "gas", "--out", tmp_path / "i.csv").status == 2
    assert qualify("sheets", "dispositions", tmp_path, "--out", tmp_path / "d.csv").status == 3
