"""The pages of docs/ and the README say what the package does."""

from __future__ import annotations

import re
import runpy
import tomllib
from dataclasses import fields
from pathlib import Path
from typing import Any

import pytest

from qualify.inputs import InputFile
from qualify.plan.reading import read_plan
from qualify.record import ChamberRecord, LocationRecord
from tests.support.command import qualify

TOP = Path(__file__).parents[1]
DOCS = TOP / "docs"


@pytest.mark.parametrize("page", ["findings", "figures"])
def test_made_pages_are_up_to_date(page: str) -> None:
    made: dict[str, Any] = runpy.run_path(str(DOCS / f"make_{page}_page.py"))
    assert (DOCS / f"{page}.md").read_text(encoding="utf-8") == made["page"]()


def test_every_figure_of_the_record_is_defined() -> None:
    text = (DOCS / "figures.md").read_text(encoding="utf-8")
    names = [field.name for kind in (ChamberRecord, LocationRecord) for field in fields(kind)]
    described = {"location", "channel", "sensor", "sensor_type", "position_mm"}
    assert [name for name in names if f"`{name}`" not in text and name not in described] == []


def test_the_plan_page_shows_a_plan_that_reads() -> None:
    text = (DOCS / "plan.md").read_text(encoding="utf-8")
    block = re.search(r"```toml\n(.*?)```", text, re.DOTALL)
    assert block is not None
    plan = read_plan(InputFile("plan.toml", Path("plan.toml"), block[1].encode(), "", "plan"))
    assert [location.name for location in plan.locations] == ["C", "FLL"]
    assert len(plan.requirements) == 4
    # The lines that stand as comments are keys too.
    shown = re.sub(r"^# (\w+ = )", r"\1", block[1], flags=re.MULTILINE)
    assert tomllib.loads(shown)["surveys"][0]["holds"][0]["door_closed"] == 7200
    read_plan(InputFile("plan.toml", Path("plan.toml"), shown.encode(), "", "plan"))


def test_the_readme_commands_do_what_it_says(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    text = (TOP / "README.md").read_text(encoding="utf-8").replace("\\\n", " ")
    commands = re.findall(r"\.venv/bin/qualify ([^\n;&]+)(; test \$\? -eq (\d))?", text)
    assert len(commands) == 6
    monkeypatch.chdir(tmp_path)
    (tmp_path / "demo_surveys").symlink_to(TOP / "demo_surveys")
    for words, _, status in commands:
        parts = [part.strip('"') for part in re.findall(r'"[^"]*"|\S+', words)]
        assert qualify(*parts).status == int(status or 0), words
    assert (tmp_path / "ov3-requalification-pack" / "ov3-requalification-pack.xlsx").is_file()


def test_ci_calls_exactly_the_readme_s_test_command() -> None:
    readme = (TOP / "README.md").read_text(encoding="utf-8")
    command = next(line for line in readme.splitlines() if line.endswith("-m pytest -n 2"))
    assert (TOP / ".ci" / "run").read_text(encoding="utf-8").splitlines()[-1] == command


def test_links_lead_somewhere() -> None:
    for page in (
        TOP / "README.md",
        TOP / "DEVELOPERS.md",
        *DOCS.glob("*.md"),
        TOP / "demo_surveys/README.md",
    ):
        for target in re.findall(r"\]\(([^)#]+)\)", page.read_text(encoding="utf-8")):
            assert (page.parent / target).exists(), (page.name, target)


def test_every_module_and_public_function_says_what_it_is() -> None:
    import ast

    import qualify as package

    for path in Path(package.__file__).parent.rglob("*.py"):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        assert ast.get_docstring(tree), path
        for node in ast.walk(tree):
            public = isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_")
            if public and node in tree.body:
                assert ast.get_docstring(node), f"{path.name}: {node.name}"


def test_figures_name_their_arguments_and_units() -> None:
    """Each public figure's docstring names every argument; those in °C or s say so in brackets."""
    import ast

    import qualify.figures as room

    for path in Path(room.__file__).parent.glob("*.py"):
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if not isinstance(node, ast.FunctionDef) or node.name.startswith("_"):
                continue
            text = ast.get_docstring(node) or ""
            arguments = [argument.arg for argument in (*node.args.args, *node.args.kwonlyargs)]
            if "Parameters\n" in text:
                for argument in arguments:
                    assert re.search(rf"\b{argument}\b", text), f"{path.name}: {node.name}({argument})"
            if any(argument.endswith(("_c", "_s")) for argument in arguments):
                assert re.search(r"\[(°C|s|°C/min|°C of difference)\]", text), (
                    f"{path.name}: {node.name} names no unit"
                )


def test_the_stages_page_shows_plans_that_read() -> None:
    text = (DOCS / "stages.md").read_text(encoding="utf-8")
    blocks = re.findall(r"```toml\n(.*?)```", text, re.DOTALL)
    assert len(blocks) == 4
    survey = '\n[[surveys]]\nname = "Run 2"\nstage = "performance"\nfiles = ["a.csv"]\n'
    survey += "[[surveys.holds]]\nsetpoint = 180\n"
    for block in blocks:
        # The lines that stand as comments are keys too.
        shown = re.sub(r"^# (\w+ = )", r"\1", block, flags=re.MULTILINE) + survey
        plan = read_plan(InputFile("plan.toml", Path("plan.toml"), shown.encode(), "", "plan"))
        assert plan.challenges or plan.operation_tests or plan.heat or plan.installation.records
