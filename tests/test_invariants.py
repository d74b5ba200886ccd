"""What must not change a figure: order of locations, shift of time, unit, splitting a file in two."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from tests.support.command import survey_json
from tests.support.surveys import START, write_csv

HOLD = ("--setpoint", 150, "--tolerance", 3)

QUICK = settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


@st.composite
def surveys(draw: st.DrawFn) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """An invented oven: exponential approach, a control cycle, offsets, noise, two decimals."""
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    count = draw(st.integers(2, 6))
    step_s = draw(st.sampled_from([20.0, 30.0, 60.0]))
    seconds = np.arange(0, 7200.0, step_s)
    heating = np.clip(seconds - 600.0, 0.0, None)
    base = 22.0 + 128.0 * (1 - np.exp(-heating / draw(st.floats(300.0, 700.0))))
    offsets = rng.normal(0.0, draw(st.floats(0.1, 1.5)), count)
    cycle = draw(st.floats(0.0, 0.4)) * np.sin(2 * np.pi * seconds / draw(st.floats(150.0, 600.0)))
    warmth = (base - 22.0) / 128.0
    values = base[:, None] + warmth[:, None] * (offsets + cycle[:, None])
    return seconds, np.round(values + rng.normal(0.0, 0.05, values.shape), 2)


def figures(survey: dict[str, Any]) -> dict[str, Any]:
    """Every number of a survey record that is a figure, by its path."""
    found: dict[str, Any] = {"verdict": survey["verdict"], "time_to": survey["steady_s"]}
    for name, value in survey["chamber"].items():
        found[f"chamber.{name}"] = value
    for item in survey["variants"]:
        found[f"{item['document']}.{item['name']}"] = item["value_c"]
    for item in survey["locations"]:
        found |= {f"{item['location']}.{name}": v for name, v in item.items() if isinstance(v, float)}
    for item in survey["requirements"]:
        found |= {f"{item['id']}.{name}": item[name] for name in ("value", "margin", "decision")}
    return {name: value for name, value in found.items() if not name.endswith("_why")}


def assert_same(one: dict[str, Any], other: dict[str, Any], tolerance: float = 1e-9) -> None:
    first, second = figures(one), figures(other)
    assert first.keys() == second.keys()
    for name, value in first.items():
        if isinstance(value, float):
            assert second[name] == pytest.approx(value, rel=tolerance, abs=tolerance), name
        else:
            assert second[name] == value, name


@QUICK
@given(data=surveys(), order=st.randoms(use_true_random=False))
def test_order_of_locations(tmp_path: Path, data: tuple[Any, Any], order: Any) -> None:
    seconds, values = data
    names = [f"T{number}" for number in range(values.shape[1])]
    shuffled = list(range(values.shape[1]))
    order.shuffle(shuffled)
    one = survey_json(write_csv(tmp_path / "a.csv", seconds, values, names=names), *HOLD)
    other = survey_json(
        write_csv(tmp_path / "b.csv", seconds, values[:, shuffled], names=[names[i] for i in shuffled]), *HOLD
    )
    assert_same(one.survey, other.survey)


@QUICK
@given(data=surveys(), days=st.integers(-4000, 4000), extra=st.integers(0, 86399))
def test_shift_of_time(tmp_path: Path, data: tuple[Any, Any], days: int, extra: int) -> None:
    seconds, values = data
    one = survey_json(write_csv(tmp_path / "a.csv", seconds, values), *HOLD)
    later = START + timedelta(days=days, seconds=extra)
    other = survey_json(write_csv(tmp_path / "b.csv", seconds, values, start=later), *HOLD)
    assert_same(one.survey, other.survey)


@QUICK
@given(data=surveys(), offset=st.sampled_from([0.0, 17.0, 12345.5]))
def test_elapsed_time_instead_of_a_clock(tmp_path: Path, data: tuple[Any, Any], offset: float) -> None:
    seconds, values = data
    one = survey_json(write_csv(tmp_path / "a.csv", seconds, values), *HOLD)
    other = survey_json(write_csv(tmp_path / "b.csv", seconds + offset, values, start=None), *HOLD)
    assert_same(one.survey, other.survey)


@QUICK
@given(data=surveys())
def test_unit(tmp_path: Path, data: tuple[Any, Any]) -> None:
    seconds, values = data
    one = survey_json(write_csv(tmp_path / "a.csv", seconds, values), *HOLD)
    fahrenheit = write_csv(tmp_path / "b.csv", seconds, values * 1.8 + 32, unit=" (°F)")
    hold = ("--setpoint", 302, "--tolerance", 5.4, "--units", "F")
    assert_same(one.survey, survey_json(fahrenheit, *hold).survey, tolerance=2e-7)


@QUICK
@given(data=surveys(), part=st.floats(0.05, 0.95))
def test_splitting_a_file_in_two(tmp_path: Path, data: tuple[Any, Any], part: float) -> None:
    seconds, values = data
    cut = int(part * seconds.size)
    one = survey_json(write_csv(tmp_path / "a.csv", seconds, values), *HOLD)
    first = write_csv(tmp_path / "first.csv", seconds[:cut], values[:cut])
    second = write_csv(tmp_path / "second.csv", seconds[cut:], values[cut:])
    assert_same(one.survey, survey_json(second, first, *HOLD).survey)


@QUICK
@given(data=surveys())
def test_channels_in_two_files(tmp_path: Path, data: tuple[Any, Any]) -> None:
    seconds, values = data
    names = [f"T{number}" for number in range(values.shape[1])]
    one = survey_json(write_csv(tmp_path / "a.csv", seconds, values, names=names), *HOLD)
    left = write_csv(tmp_path / "left.csv", seconds, values[:, :1], names=names[:1])
    right = write_csv(tmp_path / "right.csv", seconds, values[:, 1:], names=names[1:])
    assert_same(one.survey, survey_json(left, right, *HOLD).survey)


@QUICK
@given(data=surveys(), shift=st.sampled_from([-2.0, 0.25, 3.5]))
def test_a_constant_offset_moves_what_it_must(tmp_path: Path, data: tuple[Any, Any], shift: float) -> None:
    """Corrections by a constant move temperatures by it and leave differences alone."""
    seconds, values = data
    window = ("--start", 5400, "--minutes", 25)
    one = survey_json(write_csv(tmp_path / "a.csv", seconds, values), *HOLD, *window).survey
    other = survey_json(write_csv(tmp_path / "b.csv", seconds, values + shift), *HOLD, *window).survey
    for name in ("spread_max_c", "spread_mean_c", "spread_of_means_c", "stability_c"):
        assert other["chamber"][name] == pytest.approx(one["chamber"][name], abs=1e-9)
    for name in ("mean_c", "deviation_max_c", "deviation_min_c"):
        assert other["chamber"][name] == pytest.approx(one["chamber"][name] + shift, abs=1e-9)
