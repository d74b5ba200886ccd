"""The plots of the data pack: which are drawn, that their bytes repeat, and that nothing is lost."""

from __future__ import annotations

import gc
import subprocess
import sys
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from qualify.evidence import Evaluation
from qualify.figures.absent import Absent
from qualify.pack.plots import budget, slug, write_plots
from qualify.pack.plots.clock import time_axis
from qualify.pack.plots.look import Page, fit, our_look, spread_out, text_width_mm
from qualify.pack.plots.run import phases
from qualify.pack.plots.traces import break_line, thin
from qualify.pack.plots.view import HoldView, RunView, Standing, signed
from qualify.pack.plots.window import named
from qualify.pack.plots.zone import group_levels, lay_out
from qualify.record import Decision, RequirementRecord
from qualify.units import TemperatureUnit
from tests.support.plot_evaluations import make_evaluation

PNG = b"\x89PNG\r\n\x1a\n"


def view_of(evaluation: Evaluation, hold: int = 0) -> HoldView:
    recording = evaluation.recordings[0]
    return HoldView(
        survey=evaluation.record.surveys[hold],
        hold=recording.holds[hold],
        recording=recording,
        unit=TemperatureUnit(evaluation.record.units),
        work_zone=evaluation.record.plan.work_zone,
    )


def kinds(names: tuple[str, ...]) -> list[str]:
    return [name.removesuffix(".png").rsplit("-", 1)[1] for name in names]


# which plots are drawn


def test_one_run_plot_and_three_plots_a_hold(tmp_path: Path) -> None:
    names = write_plots(make_evaluation(setpoints=(120.0, 180.0)), tmp_path)
    assert kinds(names) == ["run", *["window", "ranges", "zone"] * 2]
    assert [name[:3] for name in names] == [f"{number:02d}-" for number in range(1, 8)]
    assert sorted(path.name for path in tmp_path.iterdir()) == list(names)
    assert all((tmp_path / name).read_bytes().startswith(PNG) for name in names)


def test_without_positions_no_zone(tmp_path: Path) -> None:
    assert kinds(write_plots(make_evaluation(placed=False), tmp_path)) == ["run", "window", "ranges"]


def test_one_position_is_enough_for_a_zone(tmp_path: Path) -> None:
    evaluation = make_evaluation(locations=3, placed=False, zone=None)
    survey = evaluation.record.surveys[0]
    placed = replace(survey.locations[1], position_mm=(10.0, 20.0, 30.0))
    survey = replace(survey, locations=(survey.locations[0], placed, survey.locations[2]))
    evaluation = replace(evaluation, record=replace(evaluation.record, surveys=(survey,)))
    assert kinds(write_plots(evaluation, tmp_path)) == ["run", "window", "ranges", "zone"]


def test_without_a_window_the_run_alone(tmp_path: Path) -> None:
    assert kinds(write_plots(make_evaluation(with_window=False), tmp_path)) == ["run"]


def test_no_hold_no_plot_but_the_run(tmp_path: Path) -> None:
    evaluation = make_evaluation()
    bare = replace(evaluation.recordings[0], holds=())
    assert kinds(write_plots(replace(evaluation, recordings=(bare,)), tmp_path)) == ["run"]


def test_two_recordings_are_numbered_through(tmp_path: Path) -> None:
    evaluation = make_evaluation(with_window=False)
    other = replace(evaluation.recordings[0], name="Second survey")
    names = write_plots(replace(evaluation, recordings=(*evaluation.recordings, other)), tmp_path)
    assert names == ("01-first-survey-run.png", "02-second-survey-run.png")


@pytest.mark.parametrize(
    "case",
    [
        {"units": "°F", "on_clock": False},
        {"locations": 40, "levels": 5, "zone": "cylinder"},
        {"locations": 40, "levels": 1, "far_location_c": 24.0},
        {"locations": 1, "levels": 1, "zone": None},
        {"tolerance_c": None, "uncertainty_c": None},
        {"setpoints": (180.0, 120.0), "recording_set_point": True},
        {"step_seconds": 10.0, "hold_s": 900.0, "window_s": 20.0},
    ],
)
def test_every_kind_of_survey_is_drawn_without_a_warning(
    tmp_path: Path, case: dict[str, object], recwarn: pytest.WarningsRecorder
) -> None:
    names = write_plots(make_evaluation(**case), tmp_path)  # type: ignore[arg-type]
    assert kinds(names)[:4] == ["run", "window", "ranges", "zone"]
    assert list(recwarn) == []


def test_one_sided_limits_and_absent_figures_are_drawn(tmp_path: Path) -> None:
    evaluation = make_evaluation(locations=4)
    survey = evaluation.record.surveys[0]
    why = Absent("no readings")
    silent = replace(survey.locations[0], mean_c=why, min_c=why, max_c=why, expanded_uncertainty_c=why)
    survey = replace(survey, limit_low_c=None, locations=(silent, *survey.locations[1:]))
    corrected = evaluation.recordings[0].readings.corrected_c.copy()
    corrected[:, 0] = np.nan
    recording = evaluation.recordings[0]
    recording = replace(recording, readings=replace(recording.readings, corrected_c=corrected))
    evaluation = replace(
        evaluation, record=replace(evaluation.record, surveys=(survey,)), recordings=(recording,)
    )
    assert kinds(write_plots(evaluation, tmp_path)) == ["run", "window", "ranges", "zone"]


def test_names_are_never_formulas_and_strange_letters_do_not_warn(
    tmp_path: Path, recwarn: pytest.WarningsRecorder
) -> None:
    strange = ("$x^$", r"$\frac{$", "上左", "a" * 90)
    evaluation = make_evaluation(locations=4, names=strange, name="$\\oven 上", levels=1)
    assert len(write_plots(evaluation, tmp_path)) == 4
    assert list(recwarn) == []
    assert dict(view_of(evaluation).labels) == {name: name for name in strange} | {"上左": "#3"}


# bytes


def test_same_evaluation_same_bytes_whatever_the_machine_likes(tmp_path: Path) -> None:
    import matplotlib as mpl

    evaluation = make_evaluation(setpoints=(120.0, 180.0))
    names = write_plots(evaluation, tmp_path / "one")
    with mpl.rc_context({"axes.facecolor": "red", "font.size": 20.0, "lines.linewidth": 5.0}):
        before = dict(mpl.rcParams)
        assert write_plots(evaluation, tmp_path / "two") == names
        assert dict(mpl.rcParams) == before, "the machine's own settings were changed"
    for name in names:
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes()


def test_nothing_in_a_file_tells_where_or_by_what_it_was_made(tmp_path: Path) -> None:
    from PIL import Image

    for name in write_plots(make_evaluation(), tmp_path):
        with Image.open(tmp_path / name) as picture:
            assert set(picture.info) == {"dpi"}
            assert round(picture.width / picture.info["dpi"][0] * 25.4) == 180


def test_a_change_of_one_reading_changes_the_picture(tmp_path: Path) -> None:
    evaluation = make_evaluation()
    recording = evaluation.recordings[0]
    changed = recording.readings.corrected_c.copy()
    changed[recording.holds[0].hold[1] - 10, 0] += 2.0
    other = replace(recording, readings=replace(recording.readings, corrected_c=changed))
    (run, window, ranges, _) = write_plots(evaluation, tmp_path / "one")
    write_plots(replace(evaluation, recordings=(other,)), tmp_path / "two")
    assert [
        (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes()
        for name in (run, window, ranges)
    ] == [False, False, True], "figures come from the record, lines from the readings"


def test_drawing_leaves_no_figure_and_no_pyplot(tmp_path: Path) -> None:
    from matplotlib.figure import Figure

    write_plots(make_evaluation(), tmp_path)
    gc.collect()
    assert not [one for one in gc.get_objects() if isinstance(one, Figure)]
    probe = (
        "import sys; sys.path.insert(0, '.'); from pathlib import Path; import qualify.pack.plots as p;"
        "assert 'matplotlib' not in sys.modules;"
        "from tests.support.plot_evaluations import make_evaluation;"
        f"p.write_plots(make_evaluation(with_window=False), Path({str(tmp_path)!r}));"
        "assert 'matplotlib.pyplot' not in sys.modules"
    )
    root = Path(__file__).parents[1]
    done = subprocess.run(
        [sys.executable, "-c", probe], cwd=root, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr


# thinning and gaps


@given(
    values=st.lists(st.floats(-100, 1000), min_size=60, max_size=400),
    columns=st.integers(1, 12),
)
def test_thinning_keeps_every_columns_extremes(values: list[float], columns: int) -> None:
    seconds = np.arange(len(values), dtype=float)
    readings = np.array(values)
    times, heights = thin(seconds, readings, columns)
    assert times.size == len(values) or times.size <= 2 * columns
    assert np.all(np.diff(times) >= 0)
    assert set(heights) <= set(values)
    assert heights.min() == readings.min()
    assert heights.max() == readings.max()
    if len(values) > 4 * columns:
        edges = np.linspace(seconds[0], seconds[-1], columns + 1)[1:-1]
        for piece in np.split(readings, np.searchsorted(seconds, edges)):
            assert piece.min() in heights
            assert piece.max() in heights


def test_a_single_spike_in_a_day_of_readings_survives() -> None:
    seconds = np.arange(86_400.0)
    readings = np.full(seconds.size, 180.0)
    readings[43_217] = 191.5
    readings[61_001] = 170.25
    times, heights, _, _ = break_line(seconds, readings, 0.0)
    assert times.size < 3_000
    assert np.nanmax(heights) == 191.5
    assert np.nanmin(heights) == 170.25
    assert abs(times[int(np.nanargmax(heights))] - 43_217) < 86_400 / 1_000


def test_a_line_breaks_where_readings_are_absent() -> None:
    seconds = np.arange(0.0, 100.0)
    readings = np.sin(seconds)
    readings[40:50] = np.nan
    times, heights, lone, _ = break_line(seconds, readings, 2.0)
    (gap,) = np.flatnonzero(np.isnan(heights[:-1]))
    assert (times[gap - 1], times[gap + 1]) == (39.0, 50.0)
    assert lone.size == 0


def test_a_slow_channel_beside_a_fast_one_is_one_line() -> None:
    seconds = np.arange(0.0, 100.0)
    readings = np.where(seconds % 5 == 0, 20.0, np.nan)
    _, heights, _, _ = break_line(seconds, readings, 0.5)
    assert np.count_nonzero(np.isnan(heights[:-1])) == 0


def test_a_reading_without_neighbours_is_not_lost() -> None:
    readings = np.array([1.0, 2.0, 3.0, np.nan, np.nan, 9.0, np.nan, np.nan, 4.0, 5.0])
    _, _, lone, values = break_line(np.arange(10.0), readings, 0.5)
    assert (list(lone), list(values)) == ([5.0], [9.0])
    _, _, lone, values = break_line(np.arange(3.0), np.array([np.nan, 7.0, np.nan]), 0.5)
    assert (list(lone), list(values)) == ([1.0], [7.0])
    times, _, lone, _ = break_line(np.arange(3.0), np.full(3, np.nan), 0.5)
    assert (times.size, lone.size) == (0, 0)


# what is told apart


def test_hottest_coldest_reference_and_extremes_are_named_at_forty_locations() -> None:
    view = view_of(make_evaluation(locations=40))
    styles = named(view)
    order = [item.location for item in view.by_mean]
    wanted = {*order[:3], *order[-3:], view.survey.reference_location}
    assert view.highest is not None
    assert view.lowest is not None
    assert set(styles) == wanted | {view.highest.location, view.lowest.location}
    lines = [(style["color"], str(style["linestyle"])) for style in styles.values()]
    assert len(set(lines)) == len(lines), "two named locations look alike"


def test_standing_to_the_limits() -> None:
    view = view_of(make_evaluation(locations=3, tolerance_c=3.0, uncertainty_c=0.5))
    item = view.survey.locations[0]

    def standing(low: float, high: float, u: float | None = 0.5) -> Standing:
        known = Absent("no certificate") if u is None else u
        return view.standing(replace(item, min_c=low, max_c=high, expanded_uncertainty_c=known))

    assert standing(178.0, 182.0) is Standing.INSIDE
    assert standing(178.0, 182.6) is Standing.NEAR
    assert standing(177.2, 182.0) is Standing.NEAR
    assert standing(178.0, 183.0) is Standing.NEAR, "equal to the limit meets it"
    assert standing(178.0, 183.001) is Standing.BEYOND
    assert standing(176.9, 182.9) is Standing.BEYOND
    assert standing(178.0, 182.65, u=None) is Standing.INSIDE
    assert standing(178.0, 182.75, u=None) is Standing.NEAR


def test_a_location_far_off_does_not_hide_the_others() -> None:
    view = view_of(make_evaluation(far_location_c=24.0))
    assert view.off_scale_names == {"T12"}
    low, high = view.scale(with_uncertainty=False)
    assert 170.0 < low < 177.0
    assert 183.0 < high < 190.0


def test_if_all_are_far_off_none_is_left_out() -> None:
    view = view_of(make_evaluation(setpoints=(180.0,), hold_s=300.0, window_s=120.0))
    assert view.off_scale_names == frozenset()
    assert view.lowest is not None
    assert isinstance(view.lowest.min_c, float)
    assert view.scale(with_uncertainty=False)[0] < view.lowest.min_c


def test_fahrenheit_scale_and_deviation() -> None:
    view = view_of(make_evaluation(units="°F"))
    assert view.setpoint == pytest.approx(356.0)
    assert view.limits == (pytest.approx(350.6), pytest.approx(361.4))
    assert view.deviation(181.0) == "+1.8"
    assert view.deviation(Absent("none")) == "–"


@pytest.mark.parametrize(("value", "shown"), [(0.04, "0.0"), (-0.04, "0.0"), (1.25, "+1.2"), (-1.26, "−1.3")])
def test_signed_numbers(value: float, shown: str) -> None:
    assert signed(value, 1) == shown


def test_phases_cover_the_record_in_order() -> None:
    evaluation = make_evaluation(setpoints=(120.0, 180.0, 150.0))
    holds = tuple(view_of(evaluation, number) for number in range(3))
    parts = phases(RunView(recording=evaluation.recordings[0], holds=holds, unit=TemperatureUnit.C))
    assert [name for _, _, name in parts if name != "after"] == [
        *("before heat", "heat-up", "steady", "heat-up", "steady", "cooling", "steady")
    ]
    assert parts[-1][2] == "after"
    assert all(before[1] == after[0] for before, after in pairwise(parts))
    assert (parts[0][0], parts[-1][1]) == (
        0.0,
        float(evaluation.recordings[0].readings.recording.seconds[-1]),
    )


# the zone


def test_levels_are_grouped_within_a_twentieth_of_the_height() -> None:
    locations = make_evaluation(locations=4, levels=1).record.surveys[0].locations
    heights = (0.0, 40.0, 51.0, 100.0)
    moved = [replace(item, position_mm=(1.0, 1.0, z)) for item, z in zip(locations, heights, strict=True)]
    levels = group_levels(moved, 1000.0)
    assert [(level.low, level.high) for level in levels] == [(51.0, 100.0), (0.0, 40.0)]
    assert group_levels([replace(moved[0], position_mm=None)], 1000.0) == []


@given(levels=st.integers(1, 12), aspect=st.floats(0.4, 2.5), most=st.integers(1, 40))
def test_plans_fit_the_page(levels: int, aspect: float, most: int) -> None:
    grid = lay_out(levels, aspect, most)
    assert grid.columns * grid.rows >= levels
    assert grid.plan_width > 5.0
    assert grid.columns * grid.plan_width <= 174.0
    assert grid.height <= 205.0 + 1e-6


# budgets


def test_a_budget_of_several_sources_is_drawn_and_a_single_one_is_not(tmp_path: Path) -> None:
    drawn = {
        (sources, chamber): kinds(
            write_plots(
                make_evaluation(locations=3, sources=sources, chamber_budget=chamber),
                tmp_path / f"{sources}{chamber}",
            )
        )
        for sources, chamber in ((1, False), (1, True), (2, False))
    }
    before = ["run", "window", "ranges", "zone"]
    assert drawn == {(1, False): before, (1, True): [*before, "budget"], (2, False): [*before, "budget"]}


@pytest.mark.parametrize(
    "case",
    [
        {"locations": 40, "sources": 30, "chamber_budget": True},
        {"locations": 1, "levels": 1, "sources": 3, "units": "°F"},
        {"locations": 2, "sources": 2, "names": ("上", "$x$"), "chamber_budget": True},
    ],
)
def test_budgets_are_drawn_without_a_warning(
    tmp_path: Path, case: dict[str, object], recwarn: pytest.WarningsRecorder
) -> None:
    names = write_plots(make_evaluation(**case), tmp_path)  # type: ignore[arg-type]
    assert kinds(names)[-1] == "budget"
    assert list(recwarn) == []


def test_the_budget_drawn_is_that_of_the_location_that_decides() -> None:
    evaluation = make_evaluation(locations=4, sources=3)
    survey = evaluation.record.surveys[0]

    def requirement(
        name: str, decision: Decision, margin: float, by: str, unit: str = "°C"
    ) -> RequirementRecord:
        return RequirementRecord(
            id=name,
            text=name,
            figure="deviation_max",
            value=1.0,
            unit=unit,
            limit_low=None,
            limit_high=2.0,
            margin=margin,
            acceptance="guarded",
            guard_band=0.5,
            decision=decision,
            location=by,
            time=None,
            time_s=None,
            decided_by=by,
            note="",
            citation="",
            standing="",
        )

    asked = (
        requirement("wide", Decision.CONDITIONAL, 0.4, "T01"),
        requirement("close", Decision.CONDITIONAL, 0.1, "T02"),
        requirement("kept", Decision.PASS, -9.0, "T03"),
        requirement("late", Decision.FAIL, -5.0, "T04", unit="s"),
    )
    view = view_of(evaluation)
    assert budget.deciding_location(replace(view, survey=replace(survey, requirements=asked))) == (
        "T02",
        "which decides 'close'",
    )
    largest = replace(survey.locations[2], expanded_uncertainty_c=5.0)
    survey = replace(survey, locations=(*survey.locations[:2], largest, survey.locations[3]))
    assert budget.deciding_location(replace(view, survey=survey)) == ("T03", "with the largest U")


# letters and names


@pytest.mark.parametrize(
    ("name", "made"),
    [
        ("First survey, 180 °C", "first-survey-180-c-run"),
        ("Étuve nº 3", "etuve-no-3-run"),
        ("../..\\x:*?", "x-run"),
        ("上左", "run"),
        ("", "run"),
    ],
)
def test_slugs_are_plain_ascii(name: str, made: str) -> None:
    assert slug(name, "run") == made


@given(st.text(max_size=300))
def test_any_survey_name_makes_a_safe_file_name(name: str) -> None:
    made = slug(name, "zone")
    assert made.isascii()
    assert set(made) <= set("abcdefghijklmnopqrstuvwxyz0123456789-")
    assert len(made) < 64


def test_fitted_text_keeps_its_ends_and_its_width() -> None:
    with our_look():
        short = fit("Upper left rear corner, shelf 12", 25.0, 7.0)
        assert text_width_mm(short, 7.0) <= 25.0
        assert short.startswith("Up")
        assert short.endswith("12")
        assert fit("T1", 25.0, 7.0) == "T1"


def test_measured_width_is_what_is_drawn() -> None:
    with our_look():
        page = Page(50.0, "", [])
        words = "Upper left rear 3  181.25 °C"
        drawn = page.figure.text(0, 0, words, fontsize=7.0).get_window_extent(page.canvas.get_renderer())
        assert text_width_mm(words, 7.0) == pytest.approx(drawn.width / 160 * 25.4, rel=0.04)


@given(st.lists(st.floats(0, 100), max_size=12))
def test_spread_labels_keep_apart_in_order_and_inside(wanted: list[float]) -> None:
    placed = spread_out(wanted, 5.0, 0.0, 100.0)
    ordered = sorted(placed)
    assert all(after - before >= 5.0 - 1e-6 for before, after in pairwise(ordered))
    assert all(-1e-6 <= each <= 100.0 + 1e-6 for each in placed)
    by_wish = [place for _, place in sorted(zip(wanted, placed, strict=True))]
    assert by_wish == sorted(by_wish)


# the time axis


@pytest.mark.parametrize(
    ("first", "last", "on_clock", "label", "words"),
    [
        (0.0, 7200.0, True, "time on the logger's clock [h:min]", ["07:15\n2026-01-20", "07:30"]),
        (0.0, 60.0, True, "time on the logger's clock [h:min:s]", ["07:12:30\n2026-01-20", "07:12:40"]),
        (0.0, 7200.0, False, "time from the first reading [min]", ["0", "20"]),
        (0.0, 100.0, False, "time from the first reading [s]", ["0", "20"]),
        (36000.0, 86400.0, False, "time from the first reading [h]", ["10", "12"]),
    ],
)
def test_time_axis(first: float, last: float, on_clock: bool, label: str, words: list[str]) -> None:
    recording = make_evaluation(on_clock=on_clock, locations=1).recordings[0].readings.recording
    with our_look():
        axes = Page(50.0, "", []).axes(10, 10, 100, 30)
        time_axis(axes, recording, first, last)
        assert axes.get_xlabel() == label
        shown = [tick.get_text() for tick in axes.get_xticklabels()]
        assert shown[: len(words)] == words
        assert len(shown) <= 10
        assert axes.get_xlim() == (first, last)
        assert all(first <= tick <= last for tick in axes.get_xticks())
