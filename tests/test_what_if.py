"""What would change the margin, and how an extreme grows with the number looked at."""

from __future__ import annotations

from math import pi, sqrt
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from qualify.inference.order_statistics import expected_largest
from tests.support.command import Ran
from tests.test_uncertainty import run_plan, source


def rows_of(ran: Ran) -> dict[str, dict[str, Any]]:
    return {row["change"]: row for row in ran.survey["statistics"]["what_if"]}


@pytest.mark.parametrize(
    ("count", "wanted"),
    [(1, 0.0), (2, 1 / sqrt(pi)), (3, 1.5 / sqrt(pi)), (9, 1.48501), (10, 1.53875)],
)
def test_expected_largest(count: int, wanted: float) -> None:
    """1/√π and 3/(2√π) by arithmetic; 1.48501 and 1.53875 as tables of normal scores print them (memory)."""
    assert expected_largest(count) == pytest.approx(wanted, abs=6e-6)


def test_expected_largest_against_a_simulation() -> None:
    drawn = np.random.default_rng(1).standard_normal((200_000, 27)).max(axis=1)
    assert expected_largest(27) == pytest.approx(drawn.mean(), abs=5 * drawn.std() / sqrt(drawn.size))


def test_expected_largest_of_nothing() -> None:
    with pytest.raises(ValueError, match="largest of"):
        expected_largest(0.5)


def test_one_thing_at_a_time(tmp_path: Path) -> None:
    ran = run_plan(
        tmp_path, source("logger", half_width=0.3), deviations=(0.0, 0.2, 2.7), wiggle=0.1, certificates=0.2
    )
    rows = rows_of(ran)
    u = {"calibration": 0.1, "logger": 0.3 / sqrt(3)}
    margin = 3.0 - ran.survey["chamber"]["deviation_max_c"]

    def guarded(calibration: float, logger: float) -> float:
        return margin - 2 * sqrt((calibration * u["calibration"]) ** 2 + (logger * u["logger"]) ** 2)

    measured = rows["as it was measured"]
    assert measured["location"] == "T3"
    assert measured["margin_c"] == pytest.approx(margin)
    assert measured["guarded_margin_c"] == pytest.approx(guarded(1, 1))
    assert rows["logger: half its uncertainty"]["guarded_margin_c"] == pytest.approx(guarded(1, 0.5))
    halved = rows["calibration of the sensor: half its uncertainty"]
    assert halved["guarded_margin_c"] == pytest.approx(guarded(0.5, 1))
    assert rows["decided by simple acceptance"]["guarded_margin_c"] == pytest.approx(margin)
    # The largest source comes first: it is what to improve first.
    halves = [change for change in rows if change.endswith("half its uncertainty")]
    assert halves[0].startswith("logger")
    assert measured["conformance_probability"] < rows[halves[0]]["conformance_probability"]


def test_more_sensors_and_time_widen_no_margin(tmp_path: Path) -> None:
    rows = rows_of(run_plan(tmp_path, deviations=(0.0, 0.5, 2.0), wiggle=0.1))
    measured = rows["as it was measured"]["margin_c"]
    for change in ("twice as many locations (6)", "a window twice as long"):
        assert rows[change]["margin_c"] <= measured
        assert rows[change]["remark"].startswith("estimate")
    means_sd = float(np.std([0.0, 0.5, 2.0], ddof=1))
    grows = (expected_largest(6) - expected_largest(3)) * means_sd
    assert rows["twice as many locations (6)"]["margin_c"] == pytest.approx(measured - grows)


def test_without_uncertainty_only_what_needs_none(tmp_path: Path) -> None:
    rows = rows_of(run_plan(tmp_path, certificates=None, head="", deviations=(0.0, 0.5, 2.0)))
    assert not any("half its uncertainty" in change for change in rows)
    assert rows["as it was measured"]["conformance_probability"] is None


def test_statistics_belong_to_a_plan(tmp_path: Path) -> None:
    from tests.support.command import survey_json
    from tests.support.surveys import plain_run, write_csv

    ran = survey_json(write_csv(tmp_path / "run.csv", *plain_run()), "--setpoint", 180, "--tolerance", 3)
    assert ran.survey["statistics"] is None
    assert "plan" in ran.survey["statistics_why"]
    assert ran.record["replicates"] == []
