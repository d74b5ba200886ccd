"""Pictures of challenges and purges: which are drawn, what they say, the states of switched channels."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from qualify.evidence import ChallengeEvidence, Evaluation, PurgeEvidence, SwitchEvidence
from qualify.figures.absent import Absent
from qualify.pack.plots import challenge, purge, write_plots
from qualify.pack.plots.look import Page, our_look
from qualify.pack.plots.strips import states
from qualify.units import TemperatureUnit
from tests.support.stage_plans import all_stages, two_stages

PNG = b"\x89PNG\r\n\x1a\n"


@pytest.fixture(scope="module")
def stages_only(tmp_path_factory: pytest.TempPathFactory) -> Evaluation:
    return two_stages(tmp_path_factory.mktemp("plan"), stretch="start = 20\nend = 280")


def drawn(
    evaluation: Evaluation, evidence: ChallengeEvidence | None = None, unit: str = "C", *, record: bool = True
) -> Page:
    found = evidence or evaluation.challenges[0]
    test = challenge.record_of(evaluation, found.name) if record else None
    with our_look():
        page = challenge.draw(found, test, TemperatureUnit(f"°{unit}") if unit != "K" else TemperatureUnit.K)
        page.canvas.draw()
    return page


def words(page: Page) -> str:
    from matplotlib.text import Text

    return "\n".join(item.get_text() for item in page.figure.findobj(Text))


def test_a_plan_without_a_survey_is_drawn(stages_only: Evaluation, tmp_path: Path) -> None:
    names = write_plots(stages_only, tmp_path)
    assert names == ("01-excess-temperature-challenge.png", "02-nitrogen-purge.png")
    first = (tmp_path / names[0]).read_bytes()
    assert first.startswith(PNG)
    again = tmp_path / "again"
    write_plots(stages_only, again)
    assert (again / names[0]).read_bytes() == first


def test_challenges_follow_the_surveys(tmp_path: Path) -> None:
    names = write_plots(all_stages(tmp_path), tmp_path / "plots")
    assert names[0] == "01-run-run.png"
    assert names[-1].endswith("excess-temperature-challenge.png")


def test_it_says_where_it_tripped_with_u_and_what_each_channel_must_do(stages_only: Evaluation) -> None:
    said = words(drawn(stages_only))
    assert "Excess temperature · challenge: over-temperature · verdict: not shown" in said
    assert "tripped at 190.30 ± 0.51 °C" in said
    assert "heat off · must become off" in said
    assert "purge stops (must not)" in said
    assert "AIR [°C]" in said
    assert "Stretch: 20 to 280 s" in said and "outside the stretch" in said


def test_in_fahrenheit(stages_only: Evaluation) -> None:
    said = words(drawn(stages_only, unit="F"))
    assert "AIR [°F]" in said
    assert "tripped at 374.54 ± 0.92 °F" in said


def test_a_quantity_that_is_no_temperature_keeps_its_unit(stages_only: Evaluation) -> None:
    evidence = replace(stages_only.challenges[0], unit="bar", quantity_name="GAS")
    said = words(drawn(stages_only, evidence, "F"))
    assert "GAS [bar]" in said and "tripped at 190.30 ± 0.51 bar" in said


def test_without_a_trip_limit_or_record(stages_only: Evaluation) -> None:
    found = stages_only.challenges[0]
    evidence = replace(found, trip_s=None, trip_value=None, limit=None, switches=())
    said = words(drawn(stages_only, evidence, record=False))
    assert "there is no trip point" in said
    assert "tripped" not in said and "limit" not in said
    assert "time from the first reading" in said


def test_a_moving_limit_is_drawn_as_it_moved(stages_only: Evaluation) -> None:
    found = stages_only.challenges[0]
    limit = np.where(found.seconds < 60, 230.0, 180.0)
    page = drawn(stages_only, replace(found, limit=limit))
    axes = page.figure.axes[0]
    heights = np.concatenate([np.asarray(line.get_ydata(), dtype=float) for line in axes.lines])
    assert {180.0, 230.0} <= set(heights[np.isfinite(heights)].tolist())
    assert axes.get_ylim()[1] > 230.0


@pytest.mark.parametrize(
    "change",
    [
        {"quantity": np.nan},
        {"name": "氧气 報警"},
        {"quantity_name": "$x$ " * 40},
        {"many": 20},
        {"short": True},
    ],
)
def test_odd_challenges_are_drawn_without_a_warning(
    stages_only: Evaluation, change: dict[str, Any], recwarn: pytest.WarningsRecorder
) -> None:
    found = stages_only.challenges[0]
    if "quantity" in change:
        found = replace(found, quantity=np.full(found.seconds.shape, np.nan), limit=None, trip_value=None)
    elif "many" in change:
        found = replace(found, switches=found.switches * 10)
    elif "short" in change:
        found = replace(found, start_s=100.0, end_s=100.0, trip_s=None, trip_value=None)
    else:
        found = replace(found, **change)
    page = drawn(stages_only, found, record=False)
    assert page.height_mm < 290.0
    assert list(recwarn) == []
    if "many" in change:
        assert "8 more channels are not drawn" in words(page)


def test_a_strip_shows_on_and_off_apart_in_grey(stages_only: Evaluation) -> None:
    from matplotlib.collections import PolyCollection

    page = drawn(stages_only)
    strip = page.figure.axes[1]
    bars = strip.findobj(PolyCollection)
    faces = np.vstack([np.asarray(one.get_facecolor(), dtype=float) for one in bars])
    shades = sorted(faces[:, :3].mean(axis=1).tolist())
    assert shades[0] < 0.35 and shades[-1] > 0.95


def test_states_end_where_readings_do() -> None:
    seconds = np.arange(6.0)
    on = np.array([True, True, False, False, True, True])
    known = np.array([True, True, True, False, True, True])
    assert states(seconds, on, known, 0.0, 9.0) == [(0.0, 1.0, True), (2.0, 2.0, False), (4.0, 5.0, True)]
    assert states(seconds, on, known, 1.0, 2.0) == [(1.0, 1.0, True), (2.0, 2.0, False)]
    assert states(seconds, on, np.zeros(6, dtype=bool), 0.0, 9.0) == []
    assert states(seconds, on, known, 7.0, 9.0) == []


@given(st.lists(st.tuples(st.booleans(), st.booleans()), max_size=60))
def test_every_known_reading_lies_in_one_stretch_of_its_state(readings: list[tuple[bool, bool]]) -> None:
    seconds = np.arange(float(len(readings)))
    on = np.array([one for one, _ in readings], dtype=bool)
    known = np.array([one for _, one in readings], dtype=bool)
    found = states(seconds, on, known, 0.0, 1e9)
    for second, (state, is_known) in zip(seconds.tolist(), readings, strict=True):
        holding = [kept for begin, end, kept in found if begin <= second <= end]
        assert holding == ([state] if is_known else [])


def test_a_switch_that_is_never_known_leaves_its_strip_blank(stages_only: Evaluation) -> None:
    found = stages_only.challenges[0]
    none = np.zeros(found.seconds.shape, dtype=bool)
    silent = SwitchEvidence(name="silent", on=none, known=none, answers_on=True)
    assert "silent · must become on" in words(drawn(stages_only, replace(found, switches=(silent,))))


# ---- purges ----


def course_of(evaluation: Evaluation, **change: Any) -> tuple[PurgeEvidence, Any]:
    """The invented purge of the plan: air until 60 s, then a decay, at each 10 s."""
    test = next(item for item in evaluation.record.stages[1].tests if item.kind == "purge")
    seconds = np.arange(0.0, 3600.0, 10.0)
    oxygen = 0.05 + 20.85 * np.exp(-np.maximum(seconds - 60.0, 0.0) / 300.0)
    told: dict[str, Any] = {
        "name": test.name,
        "seconds": seconds,
        "oxygen": oxygen,
        "fitted": oxygen * 1.01,
        "start_s": 60.0,
        "end_s": 3590.0,
        "limit": 1.0,
        "flow_stopped_s": 2600.0,
        "kept_s": (2000.0, 3500.0),
    }
    return PurgeEvidence(**(told | change)), test


def purge_words(course: PurgeEvidence, test: Any) -> str:
    with our_look():
        page = purge.draw(course, test)
        page.canvas.draw()
    return words(page)


def test_a_purge_shows_its_limit_measured_time_and_fit(stages_only: Evaluation) -> None:
    said = purge_words(*course_of(stages_only))
    for word in (
        "Nitrogen · purge · verdict: pass",
        "At the limit of 1 % after 927.8 s",
        "by the fit",
        "flow stopped",
        "the limit must be kept",
        "oxygen [% by volume, logarithmic]",
    ):
        assert word in said, word


def test_a_purge_without_a_model_shows_no_fit_and_says_why(stages_only: Evaluation) -> None:
    course, test = course_of(stages_only, fitted=None, flow_stopped_s=None, kept_s=None)
    said = purge_words(course, test)
    assert "by the fit" not in said and "flow stopped" not in said
    found = replace(test.figures["purge"], measured_s=Absent("the limit was never reached"))
    test = replace(test, figures={"purge": found}, notes=("a leg", "no model: a leg; that is all"))
    said = purge_words(course, test)
    assert "No time to the limit: the limit was never reached." in said
    assert said.count("leg") == 1
    assert "limit reached" not in said


def test_oxygen_that_a_logarithm_can_t_show_is_counted(
    stages_only: Evaluation, recwarn: pytest.WarningsRecorder
) -> None:
    course, _ = course_of(stages_only)
    oxygen = course.oxygen.copy()
    oxygen[[300, 310]] = 0.0, -0.01
    oxygen[320] = np.nan
    said = purge_words(replace(course, oxygen=oxygen), None)
    assert "2 readings at or below 0" in said
    nothing = replace(course, oxygen=np.full(course.oxygen.shape, np.nan), fitted=None)
    purge_words(nothing, None)
    assert list(recwarn) == []
