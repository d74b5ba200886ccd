"""Loaded runs: heat that they brought, loads behind the air, runs left out, displays against sensors."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.support.command import Ran, qualify
from tests.support.surveys import write_certificates, write_csv
from tests.test_replicates_of_a_plan import RUNS, run_plan

PLAN = """
[plan]
title = "invented"
{head}

[[locations]]
name = "A"
channel = "A"

[[locations]]
name = "B"
channel = "B"

[[channels]]
channel = "LOAD"
role = "load"

[[channels]]
channel = "PV"
role = "controller"
beside = "A"

[[surveys]]
name = "Run"
stage = "performance"
files = ["run.csv"]

[[surveys.holds]]
name = "180"
setpoint = 180
tolerance = 3
{more}
"""


def loaded(folder: Path, more: str = "", *, head: str = "", certificates: bool = False) -> Ran:
    """Ten minutes at 20 °C, an hour up, an hour at 180 °C; the load comes 20 minutes behind the air."""
    minutes = np.arange(0.0, 181.0)
    air = np.interp(minutes, [0, 10, 70, 180], [20, 20, 180, 180])
    load = np.interp(minutes, [0, 10, 90, 180], [20, 20, 179, 179])
    values = np.stack((air, air - 1, load, air + 0.4), axis=1)
    write_csv(folder / "run.csv", minutes * 60, np.round(values, 3), names=["A", "B", "LOAD", "PV"])
    text = PLAN.format(head=head, more=more)
    if certificates:
        points = [(0.0, 0.0), (250.0, 0.0)]
        write_certificates(folder / "c.csv", dict.fromkeys(("A", "B", "LOAD"), points), 0.5)
        text += '\n[certificates]\nfile = "c.csv"\nmore_sensors = true\n'
    (folder / "plan.toml").write_text(text, encoding="utf-8")
    return qualify("run", folder / "plan.toml", "--out", folder / "pack", "--json")


HEAT = """
[[heat]]
name = "sterilisation"
kind = "dry-heat effect"
reference = 170
z = 20
{limits}
because = "invented"

[[heat]]
name = "hot enough"
kind = "time above"
reference = 170
least_min = 80
most_min = 120
because = "invented"

[[heat]]
name = "cure"
kind = "cure equivalent"
reference = 180
activation_energy_kj_per_mol = 80
least_min = 60
because = "invented"
"""


def heat_of(ran: Ran, name: str) -> dict[str, Any]:
    found: dict[str, Any] = next(item for item in ran.survey["heat"] if item["name"] == name)
    return found


def trapezoid(minutes: np.ndarray, rate: np.ndarray) -> float:
    return float(np.sum((rate[1:] + rate[:-1]) / 2 * np.diff(minutes)))


def test_the_heat_of_a_run_is_judged_in_the_load(tmp_path: Path) -> None:
    ran = loaded(tmp_path, HEAT.format(limits="least_min = 200"))
    minutes = np.arange(0.0, 181.0)
    load = np.round(np.interp(minutes, [0, 10, 90, 180], [20, 20, 179, 179]), 3)
    wanted = trapezoid(minutes, 10 ** ((load - 170) / 20))
    found = heat_of(ran, "sterilisation")
    assert found["sensors"] == ["A", "B", "LOAD"]
    assert found["least_at"] == "LOAD"
    assert found["least_min"] == pytest.approx(wanted, rel=1e-9)
    # Readings less U were asked, and no U is known.
    decided = {item["id"]: (item["decision"], item["note"]) for item in ran.survey["requirements"]}
    for name in ("sterilisation", "hot-enough", "cure"):
        decision, note = decided[f"heat-{name}-least"]
        assert decision == "conditional"
        assert "the uncertainty of LOAD is not known" in note


def test_heat_less_a_known_uncertainty_passes(tmp_path: Path) -> None:
    ran = loaded(tmp_path, HEAT.format(limits="least_min = 200"), certificates=True)
    decided = {item["id"]: item["decision"] for item in ran.survey["requirements"]}
    for name in ("sterilisation", "hot-enough", "cure"):
        assert decided[f"heat-{name}-least"] == "pass"


def test_uncertainty_is_taken_off_the_temperature_first(tmp_path: Path) -> None:
    ran = loaded(tmp_path, HEAT.format(limits=""), certificates=True)
    found = heat_of(ran, "sterilisation")
    assert found["least_min"] == pytest.approx(found["minutes"][2] * 10 ** (-0.5 / 20), rel=1e-9)
    assert found["note"] == ""


def test_too_little_heat_fails(tmp_path: Path) -> None:
    ran = loaded(tmp_path, HEAT.format(limits="least_min = 400"))
    decided = {item["id"]: item["decision"] for item in ran.survey["requirements"]}
    assert decided["heat-sterilisation-least"] == "fail"
    assert ran.survey["verdict"] == "fail"


def test_a_load_sensor_is_no_location_and_lags(tmp_path: Path) -> None:
    ran = loaded(tmp_path)
    assert [item["location"] for item in ran.survey["locations"]] == ["A", "B"]
    (load,) = ran.survey["loads"]
    assert load["channel"] == "LOAD"
    assert load["lag_s"] == pytest.approx(20 * 60, abs=120)
    assert load["max_c"] == pytest.approx(179.0)


def test_the_error_of_a_display_can_be_limited(tmp_path: Path) -> None:
    asked = '\n[[requirements]]\nfigure = "indication_error"\nat_most = {}\n'
    for number, (limit, decision) in enumerate(((0.5, "pass"), (0.3, "fail"))):
        folder = tmp_path / str(number)
        folder.mkdir()
        found = loaded(folder, asked.format(limit)).requirement("indication-error")
        assert (found["decision"], found["location"]) == (decision, "PV")
        assert found["value"] == pytest.approx(0.4, abs=1e-9)


def test_a_run_left_out_of_the_set_is_listed_with_its_reason(tmp_path: Path) -> None:
    def with_left_out(folder: Path) -> Ran:
        run_plan(folder, RUNS)
        plan = folder / "plan.toml"
        text = plan.read_text(encoding="utf-8")
        text += '\n[performance]\nleft_out = [{ run = "Run 2", reason = "door opened by mistake" }]\n'
        plan.write_text(text, encoding="utf-8")
        return qualify("run", plan, "--out", folder / "pack2", "--json")

    (found,) = with_left_out(tmp_path).record["replicates"]
    assert found["runs"] == ["Run 1", "Run 3", "Run 4"]
    assert found["left_out"] == ["Run 2: door opened by mistake"]


@pytest.mark.parametrize(
    ("old", "said"),
    [
        ("z = 20", "z"),
        ("activation_energy_kj_per_mol = 80", "activation"),
        ('because = "invented"', "because"),
    ],
)
def test_no_number_of_the_heat_is_built_in(tmp_path: Path, old: str, said: str) -> None:
    text = HEAT.format(limits="").replace(old, "", 1)
    ran = loaded(tmp_path, text)
    assert ran.status == 3
    assert said in ran.err
