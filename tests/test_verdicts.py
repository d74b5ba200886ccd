"""The four decisions and their edges, each reached through the command line."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tests.support.command import qualify, survey_json
from tests.support.surveys import plain_run, write_certificates, write_csv

POINTS = [(0.0, 0.0), (250.0, 0.0)]


def steady_file(folder: Path, deviations: list[float], *, setpoint: float = 180.0) -> Path:
    """Readings that stand still in the hold, at these deviations from the set point."""
    seconds, values = plain_run(deviations, setpoint=setpoint, wiggle=0.0)
    return write_csv(folder / "run.csv", seconds, values)


@pytest.mark.parametrize(
    ("hottest", "decision", "status"),
    [
        (2.99, "pass", 0),
        (3.0, "pass", 0),
        (3.01, "fail", 1),
    ],
)
def test_simple_acceptance_at_the_limit(tmp_path: Path, hottest: float, decision: str, status: int) -> None:
    ran = survey_json(steady_file(tmp_path, [0.0, hottest]), "--setpoint", 180, "--tolerance", 3)
    assert ran.requirement("upper")["decision"] == decision
    assert ran.status == status
    assert ran.requirement("upper")["margin"] == pytest.approx(3 - hottest, abs=1e-9)
    assert ran.requirement("upper")["location"] == "T2"
    assert "uncorrected, uncertainty not known" in ran.survey["remarks"]


@pytest.mark.parametrize(
    ("hottest", "uncertainty", "decision"),
    [
        (2.79, 0.2, "pass"),
        (2.8, 0.2, "pass"),
        (2.81, 0.2, "conditional"),
        (3.0, 0.2, "conditional"),
        (3.01, 0.2, "fail"),
        (2.81, 0.1, "pass"),
    ],
)
def test_guarded_acceptance(tmp_path: Path, hottest: float, uncertainty: float, decision: str) -> None:
    file = steady_file(tmp_path, [0.0, hottest])
    certificates = write_certificates(tmp_path / "c.csv", {"T1": POINTS, "T2": POINTS}, uncertainty)
    ran = survey_json(file, "--setpoint", 180, "--tolerance", 3, "--certificates", certificates)
    assert ran.requirement("upper")["decision"] == decision
    assert ran.requirement("upper")["guard_band"] == pytest.approx(uncertainty)
    assert ran.record["verdict"] == decision
    assert ran.status == (0 if decision == "pass" else 1)


def test_the_location_with_the_larger_uncertainty_decides(tmp_path: Path) -> None:
    file = steady_file(tmp_path, [2.7, 2.8])
    certificates = write_certificates(
        tmp_path / "c.csv", {"T1": POINTS, "T2": POINTS}, {"T1": 0.5, "T2": 0.1}
    )
    upper = survey_json(
        file, "--setpoint", 180, "--tolerance", 3, "--certificates", certificates
    ).requirement("upper")
    assert (upper["decision"], upper["location"], upper["decided_by"]) == ("conditional", "T2", "T1")
    assert upper["value"] == pytest.approx(2.8)


def test_a_failure_within_its_uncertainty_says_so(tmp_path: Path) -> None:
    file = steady_file(tmp_path, [0.0, 3.1])
    certificates = write_certificates(tmp_path / "c.csv", {"T1": POINTS, "T2": POINTS}, 0.2)
    upper = survey_json(
        file, "--setpoint", 180, "--tolerance", 3, "--certificates", certificates
    ).requirement("upper")
    assert upper["decision"] == "fail"
    assert "less than its expanded uncertainty" in upper["note"]


def test_corrections_move_the_verdict(tmp_path: Path) -> None:
    file = steady_file(tmp_path, [0.0, 2.0])
    shifted = {"T1": POINTS, "T2": [(0.0, 0.0), (182.0, 1.5), (250.0, 1.5)]}
    certificates = write_certificates(tmp_path / "c.csv", shifted, 0.1)
    ran = survey_json(file, "--setpoint", 180, "--tolerance", 3, "--certificates", certificates)
    assert ran.requirement("upper")["value"] == pytest.approx(3.5)
    assert ran.requirement("upper")["decision"] == "fail"
    assert ran.survey["locations"][1]["mean_correction_c"] == pytest.approx(1.5)


def test_a_reading_beyond_its_certificate_shows_nothing(tmp_path: Path) -> None:
    file = steady_file(tmp_path, [0.0, 1.0])
    certificates = write_certificates(tmp_path / "c.csv", {"T1": POINTS, "T2": [(0, 0), (150.0, 0.0)]}, 0.1)
    ran = survey_json(file, "--setpoint", 180, "--tolerance", 3, "--certificates", certificates)
    assert ran.record["verdict"] == "not shown"
    assert "beyond the points of its certificate" in ran.requirement("upper")["note"]
    assert [d["kind"] for d in ran.survey["doubts"]] == ["uncalibrated"]
    assert ran.status == 1


def test_beyond_the_limit_fails_even_where_another_location_shows_nothing(tmp_path: Path) -> None:
    file = steady_file(tmp_path, [3.5, 1.0])
    certificates = write_certificates(tmp_path / "c.csv", {"T1": POINTS, "T2": [(0, 0), (150.0, 0.0)]}, 0.1)
    ran = survey_json(file, "--setpoint", 180, "--tolerance", 3, "--certificates", certificates)
    assert ran.requirement("upper")["decision"] == "fail"
    assert ran.requirement("lower")["decision"] == "not shown"


def test_a_location_without_enough_readings_shows_nothing(tmp_path: Path) -> None:
    seconds, values = plain_run([0.0, 1.0], wiggle=0.0)
    values[60:66, 1] = np.nan
    file = write_csv(tmp_path / "run.csv", seconds, values)
    ran = survey_json(file, "--setpoint", 180, "--tolerance", 3)
    assert ran.record["verdict"] == "not shown"
    assert "of its readings in the window" in ran.requirement("upper")["note"]


def test_a_window_that_the_record_does_not_fill_shows_nothing(tmp_path: Path) -> None:
    file = steady_file(tmp_path, [0.0, 1.0])
    ran = survey_json(file, "--setpoint", 180, "--tolerance", 3, "--start", 3000, "--minutes", 90)
    assert ran.record["verdict"] == "not shown"
    assert not ran.survey["window"]["filled"]
    assert [d["kind"] for d in ran.record["deviations"]].count("departure") == 1
    hot = steady_file(tmp_path, [0.0, 4.0])
    failed = survey_json(hot, "--setpoint", 180, "--tolerance", 3, "--start", 3000, "--minutes", 90)
    assert failed.record["verdict"] == "fail"


def test_a_declared_window_does_not_hide_a_later_reading(tmp_path: Path) -> None:
    seconds, values = plain_run([0.0, 1.0], wiggle=0.0)
    values[95, 1] = 184.0
    file = write_csv(tmp_path / "run.csv", seconds, values)
    ran = survey_json(file, "--setpoint", 180, "--tolerance", 3, "--start", 3000, "--minutes", 30)
    assert ran.record["verdict"] == "conditional"
    assert ran.survey["doubts"][0]["kind"] == "beyond-limit-outside-window"
    assert "+4.00 °C" in ran.survey["doubts"][0]["text"]


def test_an_oven_that_never_settles_is_not_shown(tmp_path: Path) -> None:
    seconds, values = plain_run([0.0, 1.0], ramp=90, hold=0, wiggle=0.0)
    file = write_csv(tmp_path / "run.csv", seconds, values)
    ran = survey_json(file, "--setpoint", 180, "--tolerance", 3)
    assert ran.record["verdict"] == "not shown"
    assert ran.survey["window"] is None
    assert "never steady" in ran.survey["window_why"]
    assert ran.survey["chamber"]["deviation_max_c"] is None


def test_an_oven_that_settles_too_hot_is_steady_and_fails(tmp_path: Path) -> None:
    seconds, values = plain_run([4.0, 4.5], wiggle=0.0)
    file = write_csv(tmp_path / "run.csv", seconds, values)
    ran = survey_json(file, "--setpoint", 180, "--tolerance", 3)
    assert ran.survey["steady_s"] is not None
    assert ran.record["verdict"] == "fail"


def test_an_ignored_column_that_would_fail_makes_a_pass_conditional(tmp_path: Path) -> None:
    file = steady_file(tmp_path, [0.0, 1.0, 5.0])
    ran = survey_json(file, "--setpoint", 180, "--tolerance", 3, "--ignore", "T3=sensor pulled")
    assert ran.record["verdict"] == "conditional"
    assert any("'T3' (sensor pulled)" in r and "verdict is fail" in r for r in ran.survey["remarks"])
    harmless = survey_json(
        steady_file(tmp_path, [0.0, 1.0, 2.0]), "--setpoint", 180, "--tolerance", 3, "--ignore", "T3=spare"
    )
    assert harmless.record["verdict"] == "pass"
    assert any("'T3' (spare)" in remark for remark in harmless.survey["remarks"])


def test_a_verdict_that_hangs_on_a_doubted_column_says_so(tmp_path: Path) -> None:
    seconds, values = plain_run([0.0, 1.0], wiggle=0.0)
    values = np.column_stack((values, np.full(values.shape[0], 22.0)))
    file = write_csv(tmp_path / "run.csv", seconds, values, names=["T1", "T2", "Ambient"])
    ran = survey_json(file, "--setpoint", 180, "--tolerance", 3)
    assert ran.record["verdict"] == "fail"
    kinds = {doubt["kind"] for doubt in ran.survey["doubts"]}
    assert {"name-suggests-other", "far-from-setpoint"} <= kinds
    assert any("without 'Ambient' it would be pass" in remark for remark in ran.survey["remarks"])
    assert any('--ignore "Ambient=reason"' in doubt["text"] for doubt in ran.survey["doubts"])


def test_asymmetric_limits(tmp_path: Path) -> None:
    file = steady_file(tmp_path, [-0.5, 1.5])
    ran = survey_json(file, "--setpoint", 180, "--low", -1, "--high", 2)
    assert ran.record["verdict"] == "pass"
    assert ran.survey["tolerance_c"] is None
    assert (ran.survey["limit_low_c"], ran.survey["limit_high_c"]) == (179.0, 182.0)


def test_fahrenheit_limits_are_compared_in_fahrenheit(tmp_path: Path) -> None:
    seconds, values = plain_run([0.0, 5.4], setpoint=356.0, ambient=68.0, wiggle=0.0)
    file = write_csv(tmp_path / "run.csv", seconds, values, unit=" [°F]")
    ran = survey_json(file, "--setpoint", 356, "--tolerance", 5.4, "--units", "F")
    assert ran.requirement("upper")["decision"] == "pass"
    assert ran.requirement("upper")["value"] == pytest.approx(3.0, abs=1e-12)
    assert ran.survey["setpoint_c"] == pytest.approx(180.0)
    assert "°F" in qualify("survey", file, "--setpoint", 356, "--tolerance", 5.4, "--units", "F").out


def leaving(folder: Path, degrees: float) -> Path:
    """A good hold that moves away in a straight line over its last 15 minutes."""
    seconds, values = plain_run([0.0, 0.5], hold=90, wiggle=0.02)
    values[-15:] += np.linspace(0, degrees, 16)[1:, None]
    return write_csv(folder / "run.csv", seconds, np.round(values, 2))


@pytest.mark.parametrize("degrees", [9.0, 12.0, 75.0])
def test_a_runaway_at_the_end_fails(tmp_path: Path, degrees: float) -> None:
    ran = survey_json(leaving(tmp_path, degrees), "--setpoint", 180, "--tolerance", 5)
    assert ran.record["verdict"] == "fail"


def test_a_fall_at_the_end_is_taken_for_the_cool_down_and_says_so(tmp_path: Path) -> None:
    ran = survey_json(leaving(tmp_path, -40.0), "--setpoint", 180, "--tolerance", 5)
    assert ran.record["verdict"] == "pass"
    assert "left-set-point" in {doubt["kind"] for doubt in ran.survey["doubts"]}


def test_a_gap_at_the_window_edge_counts(tmp_path: Path) -> None:
    seconds, values = plain_run([0.0, 0.5], hold=120)
    keep = (seconds < 5400) | (seconds > 6600)
    file = write_csv(tmp_path / "run.csv", seconds[keep], values[keep])
    ran = survey_json(file, "--setpoint", 180, "--tolerance", 3, "--start", 4800, "--minutes", 25)
    assert ran.record["verdict"] == "not shown"
    assert "of its readings in the window" in ran.requirement("upper")["note"]


def test_a_short_soak_before_a_cool_down_shows_nothing(tmp_path: Path) -> None:
    file = write_csv(tmp_path / "run.csv", *plain_run([0.0, 0.5], hold=22, after=60))
    ran = survey_json(file, "--setpoint", 180, "--tolerance", 3)
    assert ran.record["verdict"] == "not shown"


def test_steadiness_is_looked_for_at_the_set_point(tmp_path: Path) -> None:
    """An hour at ambient before the heat-up is steady too, but not at the set point."""
    file = write_csv(tmp_path / "run.csv", *plain_run([0.0, 0.5], before=60))
    ran = survey_json(file, "--setpoint", 180, "--tolerance", 3, "--heat-start", 0)
    assert ran.record["verdict"] == "pass"
    assert ran.survey["steady_s"] > 5000


def test_a_record_with_other_holds_is_not_taken_for_one_hold(tmp_path: Path) -> None:
    """60 → 120 → 180 → cool-down, judged at 120: the way up to 180 and the way back don't count."""
    steps = [np.full(10, 20.0)]
    for low, high in ((20.0, 60.0), (60.0, 120.0), (120.0, 180.0)):
        steps += [np.linspace(low, high, 13)[1:], np.full(50, high)]
    base = np.concatenate([*steps, np.linspace(180.0, 40.0, 41)[1:]])
    sign = np.where(np.arange(base.size) % 2 == 0, 0.02, -0.02)
    values = base[:, None] + np.array([0.0, 0.5]) + sign[:, None]
    file = write_csv(tmp_path / "run.csv", np.arange(base.size) * 60.0, np.round(values, 2))
    ran = survey_json(file, "--setpoint", 120, "--tolerance", 15)
    assert ran.survey["hold_end_s"] < 8500
    assert ran.survey["steady_s"] > 4300


def test_lopsided_tolerances_use_half_their_width(tmp_path: Path) -> None:
    file = steady_file(tmp_path, [2.0, 6.0])
    ran = survey_json(file, "--setpoint", 180, "--low", 0, "--high", 8)
    assert ran.record["verdict"] == "pass"


def test_extremes_of_time_are_no_crash(tmp_path: Path) -> None:
    one = write_csv(tmp_path / "one.csv", np.array([0.0]), np.array([[180.0, 180.5]]))
    ran = survey_json(one, "--setpoint", 180, "--tolerance", 3, "--start", 0, "--minutes", 30)
    assert ran.status in (1, 3), ran.err
    file = steady_file(tmp_path, [0.0, 1.0])
    ran = survey_json(file, "--setpoint", 180, "--tolerance", 3, "--minutes", "9e11")
    assert (ran.status, ran.record["verdict"]) == (1, "not shown")
