"""Phases found in made-up records whose answers can be worked out by hand."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from qualify.figures.instants import sliding_range, stretches, time_weights
from qualify.figures.phases import starting_level, steadiness, steady_minutes_used, window_of
from tests.support.command import qualify, survey_json
from tests.support.surveys import plain_run, write_csv

HOLD = ("--setpoint", 180, "--tolerance", 3)
Array = NDArray[np.float64]


def survey(folder: Path, seconds: Array, values: Array, *words: object) -> dict[str, object]:
    ran = survey_json(write_csv(folder / "run.csv", seconds, values), *HOLD, *words)
    assert ran.err == ""
    found: dict[str, object] = ran.survey
    return found


def test_heat_start_is_the_last_reading_at_the_starting_level(tmp_path: Path) -> None:
    """Ten minutes at 20 °C, then 5 °C a minute: the reading at 540 s is the last within 1 °C."""
    found = survey(tmp_path, *plain_run(wiggle=0.0))
    assert found["heat_start_s"] == 540.0
    assert found["starting_level_c"] == pytest.approx(20.0)
    assert found["heat_start"] == "2026-03-02T08:09:00"


def test_a_declared_heat_start_wins(tmp_path: Path) -> None:
    found = survey(tmp_path, *plain_run(wiggle=0.0), "--heat-start", "2026-03-02T08:09:30")
    assert found["heat_start_s"] == 570.0
    assert found["heat_start_how"] == "declared"


def test_stabilisation_by_hand(tmp_path: Path) -> None:
    """A 5-minute mean stands still once its stretch (t − 5 min, t], five readings, has left the ramp."""
    seconds, values = plain_run([0.0, 0.0], wiggle=0.0)
    found = survey(tmp_path, seconds, values)
    first_at_setpoint = float(seconds[np.argmax(values[:, 0] >= 180.0)])
    # The ramp's last reading but one is 175 °C, a mean with it 179: too far. So four minutes later.
    assert found["steady_s"] == first_at_setpoint + 240.0
    assert found["chamber"]["time_to_stabilize_s"] == first_at_setpoint + 240.0 - 540.0  # type: ignore[index]


def test_the_window_runs_from_stabilisation_to_the_hold_end(tmp_path: Path) -> None:
    seconds, values = plain_run([0.0, 0.5], hold=60, after=40, wiggle=0.0)
    found = survey(tmp_path, seconds, values)
    window = found["window"]
    assert isinstance(window, dict)
    last_at_setpoint = float(seconds[np.flatnonzero(values[:, 0] >= 180.0)[-1]])
    assert window["start_s"] == found["steady_s"]
    assert window["end_s"] == found["hold_end_s"] == last_at_setpoint
    assert found["chamber"]["deviation_min_c"] == pytest.approx(0.0, abs=1e-9)  # type: ignore[index]


def test_a_declared_window_takes_both_its_ends(tmp_path: Path) -> None:
    found = survey(tmp_path, *plain_run(wiggle=0.0), "--start", "2026-03-02T08:50:00", "--minutes", 30)
    window = found["window"]
    assert isinstance(window, dict)
    assert (window["start_s"], window["end_s"], window["readings"]) == (3000.0, 4800.0, 31)
    assert window["start"] == "2026-03-02T08:50:00"


def test_a_record_that_begins_heating_has_no_heat_start(tmp_path: Path) -> None:
    found = survey(tmp_path, *plain_run(before=0, wiggle=0.0))
    assert found["heat_start_s"] is None
    assert "already moving" in str(found["heat_start_s_why"])
    chamber = found["chamber"]
    assert isinstance(chamber, dict)
    assert chamber["time_to_stabilize_s"] is None
    assert chamber["time_to_band_s"] is None
    assert chamber["overshoot_c"] is not None


def test_a_short_soak_is_a_departure_and_shows_nothing(tmp_path: Path) -> None:
    file = write_csv(tmp_path / "run.csv", *plain_run(hold=25, wiggle=0.0))
    ran = survey_json(file, *HOLD)
    assert ran.record["verdict"] == "not shown"
    assert any("short soak" in item["text"] for item in ran.record["deviations"])


def test_overshoot_counts_from_heat_start_to_hold_end(tmp_path: Path) -> None:
    seconds, values = plain_run([0.0, 0.5], wiggle=0.0)
    values[43, 1] = 184.2
    found = survey(tmp_path, seconds, values)
    chamber = found["chamber"]
    assert isinstance(chamber, dict)
    assert chamber["overshoot_c"] == pytest.approx(4.2)
    assert chamber["high_excess_c"] == pytest.approx(1.2)
    assert chamber["deviation_max_c"] == pytest.approx(0.5)


def test_a_hold_entered_from_above_has_an_undershoot(tmp_path: Path) -> None:
    seconds, values = plain_run([0.0, 0.5], wiggle=0.0)
    mirrored = 360.0 - values  # from 340 down to 180
    mirrored[43, 0] = 178.5
    found = survey(tmp_path, seconds, mirrored)
    chamber = found["chamber"]
    assert isinstance(chamber, dict)
    assert found["entered_from"] == "above"
    assert chamber["undershoot_c"] == pytest.approx(1.5)
    assert chamber["overshoot_c"] is None
    # After a step down a sensor counts once it is first inside the band: nothing is above it then.
    assert chamber["high_excess_c"] == pytest.approx(-3.0)


def test_steadiness_lost_later_is_a_doubt(tmp_path: Path) -> None:
    seconds, values = plain_run([0.0, 0.5], hold=120, wiggle=0.0)
    values[120:130] += 1.5
    found = survey(tmp_path, seconds, values)
    assert "steadiness-lost" in {item["kind"] for item in found["doubts"]}  # type: ignore[index, attr-defined]


def test_uneven_intervals_weight_the_means(tmp_path: Path) -> None:
    """Readings at 0, 60, 60 … but two of the window come 10 min apart: trapezoid weights."""
    seconds, values = plain_run([0.0, 0.4], hold=90, wiggle=0.0)
    values[60:, :] += 0.01 * np.arange(values.shape[0] - 60)[:, None] / 60
    keep = np.ones(seconds.size, dtype=bool)
    keep[81:84] = False
    found = survey(tmp_path, seconds[keep], values[keep], "--start", 3600, "--minutes", 60)
    inside = keep & (seconds >= 3600) & (seconds <= 7200)
    t, v = seconds[inside], values[inside, 1]
    expected = float(np.sum((v[1:] + v[:-1]) / 2 * np.diff(t)) / (t[-1] - t[0]))
    assert found["locations"][1]["mean_c"] == pytest.approx(expected, abs=1e-9)  # type: ignore[index]
    assert "uneven-intervals" in {item["kind"] for item in found["doubts"]}  # type: ignore[index, attr-defined]


def test_three_holds_in_one_record_by_their_set_points(tmp_path: Path) -> None:
    """60 → 120 → 180 → cool-down, no recorded set point: each hold ends before its departure."""
    steps = [np.full(10, 20.0)]
    for low, high in ((20.0, 60.0), (60.0, 120.0), (120.0, 180.0)):
        steps += [np.linspace(low, high, 13)[1:], np.full(50, high)]
    steps.append(np.linspace(180.0, 40.0, 41)[1:])
    base = np.concatenate(steps)
    values = np.round(base[:, None] + np.array([0.0, 0.5]), 2)
    seconds = np.arange(base.size) * 60.0
    write_csv(tmp_path / "run.csv", seconds, values)
    holds = "\n".join(f"[[surveys.holds]]\nsetpoint = {s}\ntolerance = 3" for s in (60, 120, 180))
    plan = tmp_path / "plan.toml"
    plan.write_text(
        f'[plan]\n[[surveys]]\nname = "x"\nstage = "operation"\nfiles = ["run.csv"]\n{holds}\n',
        encoding="utf-8",
    )
    ran = qualify("run", plan, "--json", "--out", tmp_path / "pack")
    ends = [item["hold_end_s"] for item in ran.record["surveys"]]
    starts = [item["heat_start_s"] for item in ran.record["surveys"]]
    at = [float(seconds[np.flatnonzero(base == setpoint)[-1]]) for setpoint in (60.0, 120.0, 180.0)]
    assert ends == at
    assert starts == [540.0, at[0], at[1]]
    assert [item["verdict"] for item in ran.record["surveys"]] == ["conditional"] * 3
    for item in ran.record["surveys"]:
        assert item["chamber"]["overshoot_c"] == pytest.approx(0.5)
    assert ran.record["surveys"][2]["chamber"]["cool_down_rate_c_per_min"] == pytest.approx(3.5, abs=1e-3)
    assert ran.record["surveys"][0]["chamber"]["heat_up_rate_c_per_min"] == pytest.approx(40 / 12, abs=1e-3)


def test_starting_level_needs_a_level() -> None:
    seconds = np.arange(20) * 60.0
    level = starting_level(seconds, np.full(20, 21.5))
    assert getattr(level, "median_c", None) == 21.5
    moving = starting_level(seconds, 21.5 + 2.0 * np.arange(20))
    assert "already moving" in getattr(moving, "reason", "")


def test_sliding_range_against_plain_loops() -> None:
    rng = np.random.default_rng(5)
    values = rng.normal(size=200)
    values[rng.integers(0, 200, 15)] = np.nan
    last = np.minimum(np.arange(180) + rng.integers(0, 20, 180), 199).astype(np.int64)
    expected = [
        np.nanmax(values[i : j + 1]) - np.nanmin(values[i : j + 1])
        if np.isfinite(values[i : j + 1]).any()
        else np.nan
        for i, j in enumerate(last)
    ]
    np.testing.assert_array_equal(sliding_range(values, stretches(last)), expected)


def test_steadiness_against_plain_loops() -> None:
    """The literal definition, instant by instant, on uneven instants with gaps."""
    rng = np.random.default_rng(11)
    seconds = np.cumsum(rng.uniform(20, 40, 300))
    values = 180 + 3 * np.exp(-seconds[:, None] / 1200) * np.array([1.0, -0.7]) + rng.normal(0, 0.1, (300, 2))
    values[40:44, 1] = np.nan
    found = steadiness(seconds, values, first=0, last=280, average_s=300.0, soak_s=1800.0, within_c=0.5)

    def mean_until(i: int, column: int) -> float:
        inside = (seconds > seconds[i] - 300.0) & (seconds <= seconds[i])
        return float(np.nanmean(values[inside, column]))

    means = np.array([[mean_until(i, column) for column in range(2)] for i in range(281)])
    steady = []
    for i in range(281):
        if seconds[i] > seconds[280] - 300.0:
            break
        later = means[(seconds[:281] >= seconds[i]) & (seconds[:281] <= seconds[i] + 1800.0)]
        steady.append(bool(np.all(later.max(axis=0) - later.min(axis=0) <= 0.5)))
    assert found.first == steady.index(True)
    expected_lost = next((i for i, ok in enumerate(steady) if i > steady.index(True) and not ok), None)
    assert found.lost_at == expected_lost


@pytest.mark.parametrize(
    ("period_s", "minutes"), [(180.0, 6.0), (150.0, 5.0), (299.0, 299.0 * 2 / 60), (400.0, 400 / 60)]
)
def test_averaging_takes_whole_cycles(period_s: float, minutes: float) -> None:
    assert steady_minutes_used(5.0, period_s) == pytest.approx(minutes)


def test_a_window_is_filled_to_half_an_interval() -> None:
    seconds = np.arange(61) * 60.0
    filled = window_of(seconds, 0.0, 3630.0, declared=True, required_end_s=3630.0, available_end_s=3600.0)
    short = window_of(seconds, 0.0, 3631.0, declared=True, required_end_s=3631.0, available_end_s=3600.0)
    assert getattr(filled, "filled", None) is True
    assert getattr(short, "filled", None) is False


def test_time_weights_are_the_trapezoid_rule() -> None:
    seconds = np.array([0.0, 10.0, 40.0, 50.0])
    values = np.array([1.0, 2.0, 4.0, 8.0])
    assert float(time_weights(seconds) @ values) == pytest.approx(np.trapezoid(values, seconds) / 50.0)
