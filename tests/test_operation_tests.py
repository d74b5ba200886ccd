"""Purges, cool-downs, loop checks and programs of a plan, from invented records to decisions."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.support.command import Ran, qualify


def run(folder: Path, text: str) -> Ran:
    (folder / "plan.toml").write_text('[plan]\ntitle = "invented"\n' + text, encoding="utf-8")
    pack = folder / f"pack-{len(list(folder.iterdir()))}"
    return qualify("run", folder / "plan.toml", "--out", pack, "--json")


def only(ran: Ran) -> dict[str, Any]:
    assert ran.status in (0, 1), ran.err
    (stage,) = ran.record["stages"]
    (test,) = stage["tests"]
    found: dict[str, Any] = test
    return found


def decisions(test: dict[str, Any]) -> dict[str, str]:
    prefix = "-".join(test["name"].casefold().split()) + "-"
    return {item["id"].removeprefix(prefix): item["decision"] for item in test["requirements"]}


# ---- purge ----

PURGE = """
[[purges]]
name = "Nitrogen"
files = ["purge.csv"]
oxygen = "O2"
start = 60
limit = {limit}
{more}
"""


def purge_file(
    folder: Path, *, tau_s: float = 300.0, dead_leg: float = 0.0, unit: str = "%", noise: float = 0.01
) -> None:
    """Air until 60 s, then a decay to 0.05 %; a dead leg gives a part of it ten times slower."""
    seconds = np.arange(0.0, 3600.0, 10.0)
    after = np.maximum(seconds - 60.0, 0.0)
    fast, slow = np.exp(-after / tau_s), np.exp(-after / (10 * tau_s))
    oxygen = 0.05 + 20.85 * ((1 - dead_leg) * fast + dead_leg * slow)
    oxygen += np.random.default_rng(4).normal(0.0, noise, seconds.size)
    scale = 1e4 if unit == "ppm" else 1.0
    lines = [f"Elapsed (s),AIR (°C),O2 ({unit})"]
    lines += [f"{t:g},25.0,{value * scale:.5g}" for t, value in zip(seconds, oxygen, strict=True)]
    (folder / "purge.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")


@pytest.mark.parametrize("unit", ["%", "ppm"])
def test_a_purge_that_reaches_its_limit_in_time(tmp_path: Path, unit: str) -> None:
    purge_file(tmp_path, unit=unit)
    more = "within_min = 25\nanalyser_lag_s = 0\nfree_volume_m3 = 0.4\nflow_m3_per_h = 6\nanother_limit = 0.5"
    test = only(run(tmp_path, PURGE.format(limit=1.0, more=more)))
    assert decisions(test) == {"time-to-limit": "pass"}
    # 20.85·e^(−t/300) + 0.05 = 1 → t = 300·ln(20.85/0.95)
    wanted = 300 * np.log(20.85 / 0.95)
    assert test["figures"]["purge"]["measured_s"] == pytest.approx(wanted, abs=12)
    model = test["figures"]["purge"]["model"]
    # Without a mixing fault V/(k·Q) = 300 s; V/Q = 240 s, so that k = 0.8.
    assert model["mixing_factor"]["low"] <= 0.8 <= model["mixing_factor"]["high"]
    # From 20.9 % in air without a mixing fault, the supply taken as free of oxygen.
    assert test["figures"]["predicted_s"] == pytest.approx(240 * np.log(20.9 / 1.0), rel=1e-3)
    another = test["figures"]["time_to_another_limit"]
    assert another["low"] <= 300 * np.log(20.85 / 0.45) <= another["high"]


def test_a_dead_leg_breaks_the_model_and_leaves_the_measured_time(tmp_path: Path) -> None:
    purge_file(tmp_path, dead_leg=0.15)
    test = only(run(tmp_path, PURGE.format(limit=2.0, more="within_min = 70\nanalyser_lag_s = 0")))
    assert test["figures"]["purge"]["model"] is None
    assert any("no model" in note for note in test["notes"])
    assert decisions(test) == {"time-to-limit": "pass"}


def test_a_limit_that_is_not_reached(tmp_path: Path) -> None:
    purge_file(tmp_path)
    test = only(run(tmp_path, PURGE.format(limit=0.01, more="analyser_lag_s = 0")))
    assert decisions(test) == {"limit": "fail"}


def test_a_limit_that_must_be_kept(tmp_path: Path) -> None:
    purge_file(tmp_path)
    kept = "analyser_lag_s = 0\nkept_from = 2500\nkept_to = 3500"
    assert decisions(only(run(tmp_path, PURGE.format(limit=1.0, more=kept))))["kept"] == "pass"
    early = kept.replace("2500", "800")
    assert decisions(only(run(tmp_path, PURGE.format(limit=1.0, more=early))))["kept"] == "fail"


def test_oxygen_without_a_unit_is_refused(tmp_path: Path) -> None:
    purge_file(tmp_path, unit="V")
    ran = run(tmp_path, PURGE.format(limit=1.0, more=""))
    assert ran.status == 3
    assert "column_units" in ran.err


# ---- cool-down ----

COOLING = """
[[cool_downs]]
name = "Cool down"
files = ["cool.csv"]
channel = "LOAD"
start = 0
handling = 60
coolant = 15
other_coolant = 25
{more}
"""


def cooling_file(folder: Path) -> None:
    seconds = np.arange(0.0, 3000.0, 10.0)
    load = 15 + 165 * np.exp(-seconds / 900) + np.random.default_rng(5).normal(0, 0.05, seconds.size)
    lines = ["Elapsed (s),LOAD (°C),WATER (L/min)"]
    lines += [f"{t:g},{value:.2f},20" for t, value in zip(seconds, load, strict=True)]
    (folder / "cool.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")


def test_a_cool_down_to_the_handling_temperature(tmp_path: Path) -> None:
    cooling_file(tmp_path)
    test = only(run(tmp_path, COOLING.format(more="within_min = 20")))
    wanted = 900 * np.log(165 / 45)
    assert decisions(test) == {"time-to-handling-temperature": "pass"}
    assert test["figures"]["cooling"]["time_s"] == pytest.approx(wanted, abs=10)
    other = test["figures"]["time_with_other_coolant"]
    assert other["low"] <= 900 * np.log(155 / 35) <= other["high"]
    late = only(run(tmp_path, COOLING.format(more="within_min = 18")))
    assert decisions(late) == {"time-to-handling-temperature": "fail"}


def test_a_handling_temperature_in_fahrenheit(tmp_path: Path) -> None:
    cooling_file(tmp_path)
    text = COOLING.format(more="within_min = 20")
    for key, celsius in (("handling", 60), ("coolant", 15), ("other_coolant", 25)):
        text = text.replace(f"\n{key} = {celsius}\n", f"\n{key} = {celsius * 1.8 + 32:g}\n")
    (tmp_path / "plan.toml").write_text('[plan]\nunits = "F"\n' + text, encoding="utf-8")
    test = only(qualify("run", tmp_path / "plan.toml", "--out", tmp_path / "pack", "--json"))
    assert decisions(test) == {"time-to-handling-temperature": "pass"}


# ---- loop check ----

LOOP = """
[[loop_checks]]
name = "Oxygen loop"
simulated = true
unit = "%"
signal_range = [{low}, {high}]
scale = [0, 25]
error_at_most = 1.0
hysteresis_at_most = 0.5
trip = {trip}
rising = [{rising}]
falling = [{falling}]
{broken}
"""


def points(values: list[tuple[float, float]]) -> str:
    return ", ".join(f"{{ signal = {signal}, displayed = {shown} }}" for signal, shown in values)


def loop(
    folder: Path, *, low: float = 4, high: float = 20, trip: float = 5, off: float = 0.0, broken: str = ""
) -> dict[str, Any]:
    span = [(low + share * (high - low), 25 * share + off) for share in (0.0, 0.25, 0.5, 0.75, 1.0)]
    text = LOOP.format(
        low=low, high=high, trip=trip, rising=points(span), falling=points(span[::-1]), broken=broken
    )
    return only(run(folder, text))


def test_a_loop_that_reads_right(tmp_path: Path) -> None:
    test = loop(tmp_path)
    assert decisions(test) == {"error": "pass", "hysteresis": "pass", "trip": "pass"}
    assert test["figures"]["loop"]["half_error_percent"] == pytest.approx(0.0, abs=1e-9)
    assert any("never the sensor" in note for note in test["notes"])
    assert any("simulated" in owed for owed in test["owed"])


def test_a_loop_that_reads_wrong(tmp_path: Path) -> None:
    assert decisions(loop(tmp_path, off=0.5))["error"] == "fail"


def test_a_trip_point_near_the_end_of_the_scale_could_not_be_shown(tmp_path: Path) -> None:
    assert decisions(loop(tmp_path, trip=23))["trip"] == "not shown"


def test_a_break_that_reads_as_the_harmless_side_is_a_finding(tmp_path: Path) -> None:
    broken = '[[loop_checks.broken]]\nhow = "open"\ndisplayed = 0\n'
    test = loop(tmp_path, low=0, high=10, broken=broken)
    assert decisions(test)["signal-open"] == "fail"
    shown = '[[loop_checks.broken]]\nhow = "open"\nfault_shown = true\n'
    assert decisions(loop(tmp_path, broken=shown))["signal-open"] == "pass"


# ---- program ----

PROGRAM = """
[[programs]]
name = "Cure"
files = ["program.csv"]

[[programs.steps]]
setpoint = 120
band = 2
rate_per_min = 2
rate_tolerance_per_min = 0.2
dwell_min = {first}

[[programs.steps]]
setpoint = 180
band = 2
rate_per_min = 1
rate_tolerance_per_min = 0.2
dwell_min = 60
"""


def test_a_program_is_followed_step_by_step(tmp_path: Path) -> None:
    minutes = np.arange(0.0, 251.0)
    course = np.interp(minutes, [0, 10, 60, 90, 150, 215, 250], [20, 20, 120, 120, 180, 180, 145])
    lines = ["Elapsed (s),A (°C),B (°C)"]
    lines += [f"{60 * m:g},{c:.2f},{c:.2f}" for m, c in zip(minutes, course, strict=True)]
    (tmp_path / "program.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    assert decisions(only(run(tmp_path, PROGRAM.format(first=30)))) == {"step-1": "pass", "step-2": "pass"}
    assert decisions(only(run(tmp_path, PROGRAM.format(first=40))))["step-1"] == "fail"


def test_two_tests_of_one_name_are_refused(tmp_path: Path) -> None:
    cooling_file(tmp_path)
    assert run(tmp_path, COOLING.format(more="") * 2).status == 3
