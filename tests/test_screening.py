"""Screening: each kind of fault is found where it is, with its threshold, and honest readings are not."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from qualify.figures.screening import resolution
from qualify.plan.model import Hold, Plan, Screening, Stage, Survey
from qualify.readings.model import ReadOptions
from qualify.sensors.ranges import range_of
from qualify.stages.locations import assign
from qualify.stages.screening import screen_recording
from qualify.stages.survey import SurveyResult
from qualify.units import Celsius, TemperatureUnit, temperature_to_c
from tests.support.command import qualify, survey_json
from tests.support.screened import Array, recording_of, screening_doubts, survey_of
from tests.support.surveys import plain_run, write_certificates, write_csv


def oven(count: int = 6, *, step_c: float = 0.1, noise_c: float = 0.1, seed: int = 4) -> tuple[Array, Array]:
    """20 °C, heat-up to 180 °C, a long hold, a cool-down: a reading each 30 s at places that differ."""
    random = np.random.default_rng(seed)
    seconds = np.arange(360) * 30.0
    time = np.clip(seconds - 600.0, 0.0, None)
    air = 180.0 - 160.0 * np.exp(-time / 400.0)
    air[300:] = 20.0 + 160.0 * np.exp(-(seconds[300:] - seconds[299]) / 900.0)
    share = np.linspace(-0.5, 0.5, count) * (air[:, None] - 20.0) / 160.0
    values = air[:, None] + share + random.normal(0.0, noise_c, (seconds.size, count))
    return seconds, np.round(np.round(values / step_c) * step_c, 3)


def kinds(result: SurveyResult) -> list[str]:
    return [kind for kind, _ in screening_doubts(result)]


def test_honest_readings_raise_no_doubt() -> None:
    for step_c in (0.1, 1.0):
        seconds, values = oven(step_c=step_c)
        assert screening_doubts(survey_of(seconds, values, 180.0)) == []


@pytest.mark.parametrize(("first", "count"), [(200, 1), (200, 2), (25, 1), (0, 1), (359, 1)])
def test_a_spike_is_found_at_its_row(first: int, count: int) -> None:
    seconds, values = oven()
    values[first : first + count, 2] += 4.0
    result = survey_of(seconds, values, 180.0)
    (doubt,) = [doubt for doubt in result.records[0].doubts if doubt.kind == "spike"]
    assert (doubt.file, doubt.row, doubt.column, doubt.location) == ("run.csv", first + 2, "T3 (°C)", "T3")
    assert f"{count} reading" in doubt.text and "threshold" in doubt.text
    assert kinds(result) == ["spike"]


def test_what_many_locations_show_at_once_is_no_spike() -> None:
    seconds, values = oven()
    values[200, :4] -= 5.0
    assert "spike" not in kinds(survey_of(seconds, values, 180.0))


def test_a_longer_excursion_is_no_spike() -> None:
    seconds, values = oven()
    values[200:206, 2] += 5.0
    assert "spike" not in kinds(survey_of(seconds, values, 180.0))


def test_a_value_stuck_while_the_chamber_moves() -> None:
    seconds, values = oven()
    values[22:40, 3] = values[22, 3]
    result = survey_of(seconds, values, 180.0)
    (doubt,) = [doubt for doubt in result.records[0].doubts if doubt.kind == "stuck-value"]
    assert doubt.row == 24 and "rows 24 to 41" in doubt.text and "18 equal readings" in doubt.text
    assert kinds(result) == ["stuck-value"]


def test_a_value_stuck_in_a_quiet_hold() -> None:
    seconds, values = oven(noise_c=0.2)
    values[200:280, 3] = values[200, 3]
    assert kinds(survey_of(seconds, values, 180.0)) == ["stuck-value"]


def test_a_coarse_logger_that_repeats_as_its_neighbours_do_is_not_stuck() -> None:
    seconds, values = oven(step_c=1.0, noise_c=0.02)
    assert max(np.diff(np.flatnonzero(np.diff(values[:, 3])))) > 100
    assert kinds(survey_of(seconds, values, 180.0)) == []


def test_an_impossible_rate() -> None:
    seconds, values = oven()
    values[150:154, 1] += 120.0
    result = survey_of(seconds, values, 180.0)
    (doubt,) = [doubt for doubt in result.records[0].doubts if doubt.kind == "impossible-rate"]
    assert doubt.row == 152 and "rows 152 to 155" in doubt.text and "4 readings" in doubt.text


@pytest.mark.parametrize("ends_without", [False, True])
def test_an_open_circuit_that_drifts_to_a_rail(ends_without: bool) -> None:
    seconds, values = oven()
    values[200:260, 4] += np.linspace(0.0, 90.0, 60)
    values[260:, 4] = np.nan if ends_without else 275.0
    result = survey_of(seconds, values, 180.0)
    (doubt,) = [doubt for doubt in result.records[0].doubts if doubt.kind == "open-circuit-ramp"]
    assert doubt.location == "T5" and 202 <= (doubt.row or 0) <= 215
    assert ("without a reading" in doubt.text) is ends_without
    assert kinds(result) == ["open-circuit-ramp"]


def test_a_sensor_that_came_to_another_place() -> None:
    seconds, values = oven()
    values[190:, 1] += 3.0
    result = survey_of(seconds, values, 180.0, start_s=4500.0)
    (doubt,) = [doubt for doubt in result.records[0].doubts if doubt.kind == "sensor-moved"]
    assert doubt.location == "T2" and abs((doubt.row or 0) - 192) <= 2
    assert kinds(result) == ["sensor-moved"]


def test_a_drift_is_no_move() -> None:
    seconds, values = oven()
    values[120:300, 1] += np.linspace(0.0, 3.0, 180)
    assert "sensor-moved" not in kinds(survey_of(seconds, values, 180.0, start_s=4500.0))


def test_a_step_of_all_channels_of_a_logger() -> None:
    seconds, values = oven()
    values[200:] += 4.0
    result = survey_of(seconds, values, 180.0, start_s=4500.0)
    (doubt,) = [doubt for doubt in result.records[0].doubts if doubt.kind == "junction-step"]
    assert (doubt.file, doubt.row, doubt.column) == ("run.csv", 202, None)


def test_a_step_that_the_other_logger_shows_too_is_the_ovens() -> None:
    files = ["a.csv"] * 3 + ["b.csv"] * 3
    seconds, values = oven()
    values[200:, :3] += 4.0
    found = survey_of(seconds, values, 180.0, files=files, start_s=4500.0)
    assert "junction-step" in kinds(found)
    assert {d.file for d in found.records[0].doubts if d.kind == "junction-step"} == {"a.csv"}
    values[200:, 3:] += 4.0
    assert "junction-step" not in kinds(survey_of(seconds, values, 180.0, files=files, start_s=4500.0))


def test_disagreement_before_heat_start_says_what_it_cannot_say() -> None:
    seconds, values = oven()
    values[:, 5] += 3.5
    result = survey_of(seconds, values, 180.0)
    (doubt,) = [doubt for doubt in result.records[0].doubts if doubt.kind == "disagrees-at-ambient"]
    assert doubt.location == "T6"
    assert "For thermocouples agreement at ambient says nothing about their error when hot" in doubt.text


def test_swapped_channels(tmp_path: Path) -> None:
    seconds, values = oven()
    corrections = {"T1": 0.1, "T2": 3.0, "T3": -2.0, "T4": 0.0, "T5": 0.2, "T6": -0.1}
    indicated = values - np.array(list(corrections.values()))
    certificates = write_certificates(
        tmp_path / "c.csv", {name: [(0.0, c), (250.0, c)] for name, c in corrections.items()}, 0.3
    )
    words = ("--setpoint", 180, "--tolerance", 6, "--certificates", certificates)
    right = survey_json(write_csv(tmp_path / "right.csv", seconds, indicated), *words)
    assert "channels-swapped" not in {doubt["kind"] for doubt in right.survey["doubts"]}
    indicated[:, [1, 2]] = indicated[:, [2, 1]]
    swapped = survey_json(write_csv(tmp_path / "swapped.csv", seconds, indicated), *words)
    (doubt,) = [doubt for doubt in swapped.survey["doubts"] if doubt["kind"] == "channels-swapped"]
    assert "'T2' and 'T3'" in doubt["text"] and "before heat start" in doubt["text"]


@pytest.mark.parametrize(
    ("tolerance", "step_c", "coarse"), [(6.0, 1.0, False), (4.0, 1.0, True), (1.5, 0.1, False)]
)
def test_resolution_against_the_limits(tolerance: float, step_c: float, coarse: bool) -> None:
    seconds, values = oven(step_c=step_c)
    found = kinds(survey_of(seconds, values, 180.0, tolerance_c=tolerance))
    assert ("resolution-coarse" in found) is coarse


def test_resolution_is_told_in_the_files_own_unit() -> None:
    fahrenheit = np.round(np.random.default_rng(3).normal(356.0, 2.0, 500))
    found = resolution(np.asarray(temperature_to_c(fahrenheit, TemperatureUnit.F)), TemperatureUnit.F)
    assert found.shown and found.step_c == pytest.approx(5.0 / 9.0)
    sixteenths = np.round(np.round(np.random.default_rng(3).normal(180.0, 2.0, 2000) * 16) / 16, 2)
    assert resolution(sixteenths, TemperatureUnit.C).step_c == pytest.approx(0.0625, rel=0.02)


def test_an_even_ramp_does_not_show_the_recorders_step() -> None:
    _, values = plain_run(wiggle=0.0)
    found = resolution(values[:, 0], TemperatureUnit.C)
    assert not found.shown


PLAN = """
[plan]
title = "screened"

[[surveys]]
name = "run"
stage = "operation"
files = ["run.csv"]

[[surveys.holds]]
name = "hold"
setpoint = 180
class = { document = "AMS2750", edition = "H", name = "3" }
"""


@pytest.mark.parametrize(("every", "long"), [(4, False), (6, True)])
def test_interval_against_the_document_that_the_plan_names(tmp_path: Path, every: int, long: bool) -> None:
    seconds, values = oven()
    write_csv(tmp_path / "run.csv", seconds[::every], values[::every])
    (tmp_path / "plan.toml").write_text(PLAN, encoding="utf-8")
    ran = qualify("run", tmp_path / "plan.toml", "--json", "--out", tmp_path / "pack")
    texts = [d["text"] for d in ran.survey["doubts"] if d["kind"] == "interval-long"]
    assert any("AMS2750" in text for text in texts) is long


def test_a_number_beyond_the_sensors_range_is_never_a_reading() -> None:
    seconds, values = oven()
    values[200:203, 0] = 1500.0
    result = survey_of(seconds, values, 180.0, types=["K"] * 6)
    (doubt,) = [doubt for doubt in result.records[0].doubts if doubt.kind == "beyond-sensor-range"]
    assert doubt.row == 202 and "-270 to 1372 °C" in doubt.text and "rows 202 to 204" in doubt.text
    readings = result.evidence.readings
    assert np.isnan(readings.corrected_c[200:203, 0]).all()
    assert readings.recorded_c is not None and (readings.recorded_c[200:203, 0] == 1500.0).all()
    assert kinds(result) == ["beyond-sensor-range"]
    assert "beyond-sensor-range" not in kinds(survey_of(seconds, values, 180.0))


@pytest.mark.parametrize(
    ("word", "low_c", "high_c"),
    [("K", -270.0, 1372.0), ("type T", -270.0, 400.0), ("s", -50.0, 1768.1), ("Pt100", -200.0, 850.0)],
)
def test_the_range_of_a_sensor_type(word: str, low_c: float, high_c: float) -> None:
    found = range_of(word)
    assert found is not None and (found.low_c, found.high_c) == (low_c, high_c)


@pytest.mark.parametrize("word", ["", "thermistor", "type"])
def test_a_type_that_no_row_knows_has_no_range(word: str) -> None:
    assert range_of(word) is None


def test_what_was_interpolated_is_doubted_with_the_reading_that_it_came_from() -> None:
    seconds, values = oven()
    values[200, 1] += 8.0
    made = np.zeros(values.shape, dtype=np.bool_)
    made[1::2, :3] = True
    inner = np.arange(1, 359, 2)
    values[inner, :3] = (values[inner - 1, :3] + values[inner + 1, :3]) / 2
    recording = replace(recording_of(seconds, values, files=["a.csv"] * 3 + ["b.csv"] * 3), interpolated=made)
    hold = Hold(name="hold", setpoint=Celsius(180.0))
    survey = Survey(name="run", stage=Stage.OPERATION, files=("a.csv",), read=ReadOptions(), holds=(hold,))
    plan = Plan(surveys=(survey,), from_options=True)
    assigned = assign(plan, recording, None)
    (found,) = screen_recording(plan, assigned).found
    assert (found.kind, found.column, found.places.tolist()) == (Screening.SPIKE, 1, [199, 200, 201])
    assert "1 reading " in found.doubt.text and found.doubt.row == 202
