"""Recordings that nobody here made, through the command line, against figures worked out another way.

Sources: data/*/README.md (origin and licence of each file). Expected figures: expected.json, made by
make_expected.py with Python's csv, exact fractions and statistics, without the package. Set points,
tolerances and windows are made up; none of these recordings is a survey.

Tolerance 1e-9 relative to the larger of the figure and 1 °C: exact arithmetic against binary floating point.
"""

from __future__ import annotations

import csv
import json
import statistics
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

HERE = Path(__file__).parent
EXPECTED = json.loads((HERE / "expected.json").read_text(encoding="utf-8"))
CASES: dict[str, dict[str, Any]] = EXPECTED["cases"]


def close(value: float) -> Any:
    return pytest.approx(value, rel=1e-9, abs=1e-9)


@pytest.fixture(scope="module", params=CASES)
def surveyed(
    request: pytest.FixtureRequest, qualify_json: Callable[..., dict[str, Any]]
) -> tuple[str, dict[str, Any]]:
    """Survey one recording with its made-up set point."""
    case = CASES[request.param]
    record = qualify_json(
        "survey",
        HERE / case["file"],
        "--setpoint",
        case["setpoint"],
        "--tolerance",
        case["tolerance"],
        "--start",
        case["start"],
        "--minutes",
        case["minutes"],
        *case["options"],
    )
    (result,) = record["surveys"]
    return request.param, result


def test_the_expected_figures_are_up_to_date():
    done = subprocess.run(
        [sys.executable, str(HERE / "make_expected.py"), "--check"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr


def test_the_expected_figures_do_not_come_from_the_package():
    lines = (HERE / "make_expected.py").read_text(encoding="utf-8").splitlines()
    imported = {line.split()[1].split(".")[0] for line in lines if line.startswith(("import ", "from "))}
    assert imported <= sys.stdlib_module_names


def test_every_location(surveyed: tuple[str, dict[str, Any]]):
    name, survey = surveyed
    expected = EXPECTED["recordings"][name]["locations"]
    assert [item["location"] for item in survey["locations"]] == list(expected)
    for item in survey["locations"]:
        for figure, value in expected[item["location"]].items():
            assert item[figure] == close(value), (item["location"], figure)


def test_the_chamber(surveyed: tuple[str, dict[str, Any]]):
    name, survey = surveyed
    for figure, value in EXPECTED["recordings"][name]["chamber"].items():
        assert survey["chamber"][figure] == close(value), figure


def test_every_documents_own_figure(surveyed: tuple[str, dict[str, Any]]):
    name, survey = surveyed
    expected = dict(EXPECTED["recordings"][name]["variants"])
    without_reference = []
    for item in survey["variants"]:
        key = f"{item['document']} {item['name']}"
        if key in expected:
            assert item["value_c"] == close(expected.pop(key)), key
        else:
            assert item["value_c"] is None
            assert "reference location" in item["value_c_why"]
            without_reference.append(key)
    assert not expected
    assert len(without_reference) == 4


def test_the_decisions(surveyed: tuple[str, dict[str, Any]]):
    """Which side is beyond its limit, by how much, and where."""
    name, survey = surveyed
    expected = EXPECTED["recordings"][name]
    tolerance = float(CASES[name]["tolerance"])
    requirements = {item["id"]: item for item in survey["requirements"]}
    assert set(requirements) == {"upper", "lower"}
    for side, worst, where in (
        ("upper", "deviation_max_c", "hottest"),
        ("lower", "deviation_min_c", "coldest"),
    ):
        found = requirements[side]
        value = expected["chamber"][worst]
        assert found["value"] == close(value)
        outwards = value if side == "upper" else -value
        assert found["margin"] == close(tolerance - outwards)
        assert found["location"] in expected[where]
        assert (found["decision"] == "fail") is (expected[side] == "fail")
    assert survey["verdict"] == "fail"


def test_columns_of_other_units_are_kept_apart(qualify_json: Callable[..., dict[str, Any]]):
    """Oxygen and the other gases of the fire are no locations; their NaN cells are listed, row by row."""
    case = CASES["olive"]
    record = qualify_json(
        "survey", HERE / case["file"], "--setpoint", 500, "--tolerance", 50, "--start", 600, "--minutes", 10
    )
    (survey,) = record["surveys"]
    names = [item["location"] for item in survey["locations"]]
    assert names == [f"TC-{number}" for number in range(1, 10)]
    lines = (HERE / case["file"]).read_text(encoding="utf-8").splitlines()
    rows = [number for number, line in enumerate(lines, start=1) if "NaN" in line]
    doubted = {doubt["column"]: doubt for doubt in survey["doubts"] if doubt["column"] in ("O2", "CO2", "CO")}
    assert set(doubted) == {"O2", "CO2", "CO"}
    assert all(doubt["row"] == rows[0] for doubt in doubted.values())


@pytest.mark.parametrize("setpoint", [60, 65])
def test_a_channel_that_never_reads(setpoint: int, qualify_json: Callable[..., dict[str, Any]]):
    """T4 reads -OL throughout: it shows nothing, and the other three are figured as ever."""
    file = HERE / "data/ghe_solar_pasteurizer/05_22-23.csv"
    options = ["--setpoint", setpoint, "--tolerance", 10, "--start", 7200, "--minutes", 360]
    record = qualify_json("survey", file, *options, accepted=(1,))
    (survey,) = record["surveys"]
    with file.open(encoding="utf-8", newline="") as opened:
        rows = list(csv.reader(opened))[1:]
    assert {row[5] for row in rows} == {"-OL"}
    # 600 s a reading: rows 12 to 48 after the first are 7200 s to 28 800 s.
    for column, item in enumerate(survey["locations"][:3], start=2):
        values = [float(row[column]) for row in rows[12:49]]
        assert item["readings"] == 37
        assert (item["min_c"], item["max_c"]) == (min(values), max(values))
        assert item["mean_c"] == close(statistics.fmean(values))
    (last,) = [item for item in survey["locations"] if item["location"] == "T4"]
    assert (last["readings"], last["mean_c"]) == (0, None)
    assert last["mean_c_why"]
    assert survey["chamber"]["spread_max_c"] is None
    decisions = {item["id"]: item["decision"] for item in survey["requirements"]}
    assert decisions["lower"] == "fail"  # T3, the raw inflow, is 40 °C too cold
    if setpoint == 65:
        assert decisions["upper"] == "not shown"  # T4 might be anything


def test_a_file_that_names_no_unit_is_refused(tmp_path: Path):
    """The penlight file names no unit: without --units it is refused, and the option is named."""
    file = HERE / CASES["penlight"]["file"]
    command = "import sys; from qualify.cli import main; sys.exit(main())"
    done = subprocess.run(
        [sys.executable, "-c", command, "survey", str(file), "--setpoint", "470", "--tolerance", "30"],
        capture_output=True,
        text=True,
        cwd=tmp_path,
        check=False,
    )
    assert done.returncode == 3
    assert "--units" in done.stderr
    assert not done.stdout
