"""Replicate runs found among the recordings of a plan, and what the record says of runs to come."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.support.command import Ran, qualify
from tests.support.surveys import plain_run, write_csv

RUN = """
[[surveys]]
name = "Run {number}"
stage = "{stage}"
files = ["run{number}.csv"]

[[surveys.holds]]
name = "180 in run {number}"
setpoint = 180
tolerance = {tolerance}
"""


def run_plan(
    folder: Path,
    runs: list[list[float]],
    *,
    stage: str = "performance",
    tolerances: list[float] | None = None,
) -> Ran:
    """Run an invented plan of several recordings: deviations of each location, a list a run."""
    text = '[plan]\ntitle = "invented"\n'
    for number, deviations in enumerate(runs, start=1):
        names = [f"T{place}" for place, value in enumerate(deviations, start=1) if not np.isnan(value)]
        seconds, values = plain_run([value for value in deviations if not np.isnan(value)], wiggle=0.0)
        write_csv(folder / f"run{number}.csv", seconds, values, names=names)
        tolerance = 3.0 if tolerances is None else tolerances[number - 1]
        text += RUN.format(number=number, stage=stage, tolerance=tolerance)
    (folder / "plan.toml").write_text(text, encoding="utf-8")
    return qualify("run", folder / "plan.toml", "--out", folder / "pack", "--json")


def only(ran: Ran) -> dict[str, Any]:
    found: list[dict[str, Any]] = ran.record["replicates"]
    assert len(found) == 1
    return found[0]


RUNS = [[0.0, 0.5, 1.0], [0.2, 0.8, 1.1], [-0.1, 0.3, 0.9], [0.1, 0.6, 1.3]]


def test_runs_of_one_set_point_are_replicates(tmp_path: Path) -> None:
    found = only(run_plan(tmp_path, RUNS))
    assert found["runs"] == [f"Run {number}" for number in range(1, 5)]
    assert found["locations"] == ["T1", "T2", "T3"]
    table = np.array(found["mean_deviations_c"])
    np.testing.assert_allclose(table, np.array(RUNS).T, atol=1e-9)
    statistics = found["statistics"]
    largest = [max(run) for run in RUNS]
    assert statistics["highest"]["values_c"] == pytest.approx(largest)
    assert statistics["highest"]["n"] == 4
    tolerance = statistics["highest"]["tolerance"]
    assert tolerance["mean_c"] == pytest.approx(np.mean(largest))
    assert tolerance["high_c"] == pytest.approx(
        np.mean(largest) + tolerance["factor"] * np.std(largest, ddof=1), rel=1e-9
    )


def test_components_follow_from_the_table(tmp_path: Path) -> None:
    """Mean squares of a two-way table, written out."""
    components = only(run_plan(tmp_path, RUNS))["statistics"]["components"]
    table = np.array(RUNS).T
    m, k = table.shape
    rows, columns, all_ = table.mean(axis=1), table.mean(axis=0), table.mean()
    rest = table - rows[:, None] - columns[None, :] + all_
    residual = (rest**2).sum() / ((m - 1) * (k - 1))
    runs = m * ((columns - all_) ** 2).sum() / (k - 1)
    assert components["residual"]["variance_c2"] == pytest.approx(residual)
    assert components["run"]["variance_c2"] == pytest.approx((runs - residual) / m)


def test_few_runs_show_little_and_say_so(tmp_path: Path) -> None:
    statistics = only(run_plan(tmp_path, RUNS[:3]))["statistics"]
    assert statistics["highest"]["capability"] is None
    assert "5" in statistics["highest"]["capability_why"]
    assert statistics["highest"]["control"] is None
    assert "8" in statistics["highest"]["control_why"]
    assert statistics["passing"]["at_least"] == pytest.approx(0.05 ** (1 / 3))


def test_a_location_that_a_run_lacks(tmp_path: Path) -> None:
    found = only(run_plan(tmp_path, [*RUNS[:3], [0.1, 0.6, float("nan")]]))
    assert found["mean_deviations_c"][2][3] is None
    assert found["statistics"]["n"] == 4


def test_one_run_of_the_performance_stage_says_why_nothing_follows(tmp_path: Path) -> None:
    found = only(run_plan(tmp_path, RUNS[:1]))
    assert found["statistics"] is None
    assert "one run" in found["statistics_why"]


def test_one_run_of_another_stage_is_no_replicate(tmp_path: Path) -> None:
    assert run_plan(tmp_path, RUNS[:1], stage="operation").record["replicates"] == []


def test_other_limits_are_another_group(tmp_path: Path) -> None:
    ran = run_plan(tmp_path, RUNS, tolerances=[3.0, 3.0, 2.0, 2.0])
    assert [item["runs"] for item in ran.record["replicates"]] == [["Run 1", "Run 2"], ["Run 3", "Run 4"]]


def test_a_pack_with_replicates_verifies(tmp_path: Path) -> None:
    run_plan(tmp_path, RUNS)
    assert qualify("verify", tmp_path / "pack").status == 0
