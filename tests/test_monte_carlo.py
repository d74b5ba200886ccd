"""The Monte Carlo over a window: what must hold whatever the readings and errors are. Invented readings."""

from __future__ import annotations

import tracemalloc
from dataclasses import fields

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qualify.figures.absent import Absent, present
from qualify.figures.uniformity import Window, chamber_uniformity
from qualify.inference.error_sources import ErrorDraws, ErrorSource, error_covariance
from qualify.inference.monte_carlo import SimulatedFigure, Simulation, simulate
from qualify.inference.window_extremes import window_extremes
from qualify.probability import normal_between
from qualify.readings.model import FloatArray

FIGURES = ("deviation_max", "deviation_min", "spread_max", "spread_of_means")


def survey(locations: int = 9, instants: int = 60, scatter_c: float = 1.0, seed: int = 7) -> FloatArray:
    random = np.random.default_rng(seed)
    return 180 + random.normal(0, scatter_c, locations) + random.normal(0, 0.2, (instants, locations))


def usual(locations: int, private_c: float = 0.3, shared_c: float = 0.2) -> list[ErrorSource]:
    return [
        ErrorSource.private("calibration", np.full(locations, private_c)),
        ErrorSource.shared("logger", np.full(locations, shared_c)),
    ]


def simulated(values_c: FloatArray, sources: list[ErrorSource], **options: object) -> Simulation:
    asked: dict[str, object] = {
        "setpoint_c": 180.0,
        "limit_low_c": 177.0,
        "limit_high_c": 183.0,
        "seed": 1,
        "numerical_tolerance": 0.01,
        **options,
    }
    found = simulate(window_extremes(values_c), sources, **asked)  # type: ignore[arg-type]
    assert isinstance(found, Simulation), found
    return found


def figure(found: Simulation, name: str) -> SimulatedFigure:
    value = getattr(found, name)
    assert isinstance(value, SimulatedFigure), value
    return value


# ---- extremes ----


def test_extremes_by_hand():
    nan = np.nan
    found = window_extremes(np.array([[1.0, 5.0, 2.0], [4.0, nan, 9.0], [2.0, 3.0, 1.0]]))
    assert found.highest_c.tolist() == [4.0, 5.0, 9.0]
    assert found.lowest_c.tolist() == [1.0, 3.0, 1.0]
    assert found.mean_c.tolist() == [1.5, 4.0, 1.5]
    assert found.apart_c.tolist() == [[0.0, -1.0, 1.0], [4.0, 0.0, 3.0], [1.0, -2.0, 0.0]]
    assert (found.readings.tolist(), found.complete_instants) == ([3, 2, 3], 2)


def test_extremes_of_a_long_window_are_those_of_its_parts():
    values = survey(5, 10_000)
    values[17, 2] = np.nan
    found = window_extremes(values)
    whole = np.delete(values, 17, axis=0)
    assert np.array_equal(found.apart_c, (whole[:, :, None] - whole[:, None, :]).max(axis=0))


def test_means_follow_time_where_instants_are_uneven():
    values = np.array([[0.0, 1.0], [0.0, 1.0], [4.0, 1.0]])
    assert window_extremes(values, np.array([0.0, 10.0, 40.0])).mean_c.tolist() == [1.5, 1.0]
    assert window_extremes(values, np.array([0.0, 10.0, 20.0])).mean_c[0] == pytest.approx(4 / 3)


@pytest.mark.parametrize("values", [np.empty((3, 0)), np.zeros(4)])
def test_readings_that_are_no_table(values: FloatArray):
    with pytest.raises(ValueError, match="table"):
        window_extremes(values)


# ---- figures as shown, and what the errors make of them ----


@given(seed=st.integers(0, 10**6), locations=st.integers(2, 12), instants=st.integers(2, 30))
@settings(max_examples=20, deadline=None)
def test_as_shown_is_what_the_figures_say(seed: int, locations: int, instants: int):
    values = survey(locations, instants, seed=seed)
    values[0, 0] = np.nan
    seconds = np.arange(instants) * 30.0
    chamber = chamber_uniformity(Window(seconds, values, 180.0))
    found = simulated(values, usual(locations), most_trials=1000)
    for name in FIGURES:
        assert figure(found, name).as_shown_c == pytest.approx(getattr(chamber, f"{name}_c"), abs=1e-9), name


@given(
    seed=st.integers(0, 10**6), scatter_c=st.sampled_from([0.0, 0.05, 0.4, 3.0]), locations=st.integers(2, 9)
)
@settings(max_examples=25, deadline=None)
def test_trials_are_the_figures_of_moved_readings(seed: int, scatter_c: float, locations: int):
    """Against moving every reading of the window and taking the figures anew, trial by trial."""
    from qualify.inference.moved_window import MovedWindow

    random = np.random.default_rng(seed)
    values = survey(locations, 12, scatter_c, seed)
    sources = usual(locations, float(random.uniform(0.01, 2)), float(random.uniform(0, 2)))
    window = MovedWindow(
        extremes=window_extremes(values),
        setpoint_c=180.0,
        covariance_c2=error_covariance(sources),
        limit_low_c=179.0,
        limit_high_c=181.5,
    )
    errors = np.empty((locations, 50))
    ErrorDraws(sources, random).fill(errors)
    figures = window.figures(errors)
    kept = np.empty((50, locations, 2), dtype=bool)
    seconds = np.arange(12) * 30.0
    for trial, error in enumerate(errors.T):
        moved = values + error
        chamber = chamber_uniformity(Window(seconds, moved, 180.0))
        expected = [getattr(chamber, f"{name}_c") for name in FIGURES]
        assert figures[:, trial] == pytest.approx(expected, abs=1e-9)
        kept[trial, :, 0], kept[trial, :, 1] = moved.max(axis=0) <= 181.5, moved.min(axis=0) >= 179.0
    judged = window.judged(errors, figures)
    both = kept.all(axis=2)
    assert judged[:3] == pytest.approx([*kept.all(axis=1).mean(axis=0), both.all(axis=1).mean()])
    assert judged[3 : 3 + locations] == pytest.approx(both.mean(axis=0))
    assert judged[3 + locations :].sum() == pytest.approx(1.0)


def test_each_location_against_its_closed_form():
    values = survey()
    found = simulated(values, usual(9), limit_low_c=178.5, limit_high_c=181.5, numerical_tolerance=0.002)
    assert found.converged
    u = np.hypot(0.3, 0.2)
    assert found.location_standard_c == pytest.approx(u)
    for column, share in zip(values.T, found.conforms, strict=True):
        # One error moves highest and lowest alike: both limits bound it.
        expected = normal_between((178.5 - column.min()) / u, (181.5 - column.max()) / u)
        assert share == pytest.approx(expected, abs=0.004)


def test_maxima_rise():
    found = simulated(survey(scatter_c=0.1), usual(9))
    assert found.deviation_max.mean_c > found.deviation_max.as_shown_c + 0.1
    assert found.deviation_min.mean_c < found.deviation_min.as_shown_c - 0.1
    assert figure(found, "spread_max").mean_c > figure(found, "spread_max").as_shown_c + 0.2


def test_wholly_shared_errors_leave_the_spread_alone():
    found = simulated(survey(), [ErrorSource.shared("logger", np.full(9, 0.5))])
    for name in ("spread_max", "spread_of_means"):
        spread = figure(found, name)
        assert spread.standard_uncertainty_c == pytest.approx(0.0, abs=1e-12)
        assert spread.low_c == pytest.approx(spread.as_shown_c) == spread.high_c
        assert spread.selection_warning == ""
    assert found.all_conform == pytest.approx(min(found.conforms), abs=0.01)
    assert found.all_conform >= found.all_conform_if_independent


def test_equal_locations_share_what_decides():
    values = np.repeat(np.array([[180.0], [180.5]]), 4, axis=1)
    found = simulated(values, [ErrorSource.shared("logger", np.full(4, 0.5))])
    assert found.decides == pytest.approx(0.25)


def test_the_worst_location_decides_and_shares_sum_to_one():
    values = survey()
    values[:, 4] = 182.0
    found = simulated(values, usual(9))
    assert np.argmax(found.decides) == 4
    assert found.decides.sum() == pytest.approx(1.0)
    assert found.conforms[4] == min(found.conforms)


def test_a_tolerance_narrower_than_the_uncertainty():
    found = simulated(survey(scatter_c=0.01), usual(9, 2.0, 0.5), limit_low_c=179.5, limit_high_c=180.5)
    assert found.all_conform < 0.001
    assert all(share < 0.1 for share in found.conforms)
    assert found.probability_warning


# ---- invariants ----


def same(one: Simulation, other: Simulation) -> bool:
    return all(
        np.array_equal(getattr(one, item.name), getattr(other, item.name)) for item in fields(Simulation)
    )


def test_the_same_seed_gives_the_same_bytes():
    one, other = (simulated(survey(), usual(9)) for _ in range(2))
    assert same(one, other)
    assert not same(one, simulated(survey(), usual(9), seed=2))


@given(seed=st.integers(0, 10**6), shift_c=st.floats(-150, 150))
@settings(max_examples=10, deadline=None)
def test_an_offset_moves_nothing_but_temperatures(seed: int, shift_c: float):
    values = survey(seed=seed)
    one = simulated(values, usual(9), most_trials=5000)
    other = simulated(
        values + shift_c,
        usual(9),
        setpoint_c=180.0 + shift_c,
        limit_low_c=177.0 + shift_c,
        limit_high_c=183.0 + shift_c,
        most_trials=5000,
    )
    for name in FIGURES:
        a, b = figure(one, name), figure(other, name)
        for item in fields(SimulatedFigure):
            if item.name != "selection_warning":
                assert getattr(a, item.name) == pytest.approx(getattr(b, item.name), abs=1e-8), item.name
    assert one.all_conform == pytest.approx(other.all_conform, abs=2e-4)


def test_a_larger_degree_scales_everything():
    """As for a display in °F: differences times 1.8, probabilities alike."""
    values = survey() - 180.0
    one = simulated(values, usual(9), setpoint_c=0.0, limit_low_c=-2.0, limit_high_c=2.0, most_trials=5000)
    other = simulated(
        values * 1.8,
        usual(9, 0.3 * 1.8, 0.2 * 1.8),
        setpoint_c=0.0,
        limit_low_c=-3.6,
        limit_high_c=3.6,
        most_trials=5000,
    )
    for name in FIGURES:
        assert figure(other, name).high_c == pytest.approx(1.8 * figure(one, name).high_c)
        assert figure(other, name).low_c == pytest.approx(1.8 * figure(one, name).low_c)
    assert one.all_conform == pytest.approx(other.all_conform, abs=2e-4)
    assert one.conforms == pytest.approx(other.conforms, abs=2e-4)


@given(seed=st.integers(0, 10**6))
@settings(max_examples=6, deadline=None)
def test_the_order_of_locations_matters_no_more_than_chance(seed: int):
    values = survey(seed=seed)
    private_c = np.random.default_rng(seed).uniform(0.1, 0.5, 9)
    order = np.random.default_rng(seed + 1).permutation(9)
    shared = ErrorSource.shared("logger", np.full(9, 0.2))
    one = simulated(
        values, [ErrorSource.private("calibration", private_c), shared], numerical_tolerance_c=0.02
    )
    sources = [ErrorSource.private("calibration", private_c[order]), shared]
    other = simulated(values[:, order], sources, numerical_tolerance_c=0.02)
    assert one.converged
    assert other.converged
    # Each result is within its tolerance with 95 %; five times the scatter of a difference is never reached.
    chance = 2.5 * np.sqrt(2.0)
    assert other.all_conform == pytest.approx(one.all_conform, abs=chance * 0.01)
    assert other.decides == pytest.approx(one.decides[order], abs=chance * 0.01)
    for name in FIGURES:
        a, b = figure(one, name), figure(other, name)
        assert b.as_shown_c == pytest.approx(a.as_shown_c, abs=1e-9)  # a mean's last bits depend on order
        assert b.mean_c == pytest.approx(a.mean_c, abs=chance * one.numerical_tolerance_c)
        assert b.high_c == pytest.approx(a.high_c, abs=chance * one.numerical_tolerance_c)
        assert b.low_c == pytest.approx(a.low_c, abs=chance * one.numerical_tolerance_c)


def test_turned_upside_down():
    """Highest and lowest change places when every temperature is turned round the set point."""
    values = survey()
    one, other = simulated(values, usual(9)), simulated(360.0 - values, usual(9))
    assert other.deviation_min.as_shown_c == pytest.approx(-one.deviation_max.as_shown_c)
    near = 4 * one.numerical_tolerance_c
    assert other.deviation_min.mean_c == pytest.approx(-one.deviation_max.mean_c, abs=near)
    assert other.deviation_min.high_c == pytest.approx(-one.deviation_max.low_c, abs=near)
    assert other.deviation_min.low_c == pytest.approx(-one.deviation_max.high_c, abs=near)


# ---- how many trials ----


def test_a_finer_tolerance_takes_more_trials_and_is_reached():
    coarse, fine = (
        simulated(survey(), usual(9), numerical_tolerance=tolerance, numerical_tolerance_c=0.05)
        for tolerance in (0.01, 0.002)
    )
    assert coarse.converged
    assert fine.converged
    assert fine.trials > coarse.trials == 100_000
    assert fine.reached <= 0.002
    assert coarse.reached_c <= 0.05
    warm = simulated(survey(), usual(9), numerical_tolerance=0.05)
    assert warm.numerical_tolerance_c == pytest.approx(0.02 * np.hypot(0.3, 0.2))
    assert warm.reached_c <= warm.numerical_tolerance_c


def test_the_most_trials_are_kept_and_the_rest_is_said():
    found = simulated(survey(), usual(9), numerical_tolerance=1e-6, most_trials=135_000)
    assert (found.trials, found.converged) == (130_000, False)
    assert found.reached > 1e-6
    single = simulated(survey(), usual(9), most_trials=3000)
    assert (single.trials, single.converged) == (3000, False)
    assert isinstance(single.reached, Absent)
    assert isinstance(single.reached_c, Absent)


def test_memory_is_bounded():
    values = survey(40)
    simulated(values, usual(40), most_trials=10_000)
    tracemalloc.start()
    simulated(values, usual(40), numerical_tolerance=1e-6, most_trials=150_000)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < 30e6  # all the errors would take 48 MB


# ---- selection ----


def test_a_location_that_stands_clear_keeps_the_propagated_interval():
    values = survey(scatter_c=0.1)
    values[:, 3] += 6.0
    found = simulated(values, usual(9))
    top = found.deviation_max
    assert top.selection_warning == ""
    assert top.low_c == pytest.approx(top.propagated_low_c, abs=2 * found.numerical_tolerance_c)
    assert top.high_c == top.propagated_high_c
    assert top.high_c - top.low_c == pytest.approx(2 * 1.96 * np.hypot(0.3, 0.2), abs=0.03)
    assert found.deviation_min.selection_warning


def test_locations_that_could_be_equal_draw_the_lesser_end_back():
    found = simulated(survey(scatter_c=0.05), usual(9), limit_low_c=179.0, limit_high_c=181.0)
    for name in FIGURES:
        one = figure(found, name)
        assert one.selection_warning
        if name == "deviation_min":
            assert one.high_c > one.propagated_high_c
            assert one.low_c == one.propagated_low_c
        else:
            assert one.low_c < one.propagated_low_c
            assert one.high_c == one.propagated_high_c
    assert figure(found, "spread_max").low_c >= 0.0
    assert found.probability_warning


def test_a_hot_place_that_decides_leaves_the_probability_as_it_is():
    values = survey(scatter_c=0.02)
    values[:, 3] += 2.5
    found = simulated(values, usual(9), limit_low_c=175.0, limit_high_c=183.0)
    assert found.deviation_min.selection_warning
    assert found.probability_warning == ""
    assert found.decides[3] > 0.99
    assert found.all_conform == pytest.approx(found.conforms[3], abs=0.01)


# ---- what can't be had ----


def absent(values_c: FloatArray, sources: list[ErrorSource]) -> str:
    found = simulate(window_extremes(values_c), sources, limit_low_c=None, limit_high_c=183.0, seed=1)
    assert isinstance(found, Absent)
    return found.reason


def test_no_uncertainty_is_known():
    assert "no uncertainty is known" in absent(survey(), [])
    assert "no uncertainty is known" in absent(survey(), usual(9, 0.0, 0.0))
    private = np.full(9, 0.3)
    private[[2, 5]] = np.nan
    assert "2 of 9 locations" in absent(survey(), [ErrorSource.private("calibration", private)])


def test_a_location_without_readings():
    values = survey()
    values[:, 4] = np.nan
    assert absent(values, usual(9)) == "1 of 9 locations have no reading in the window"
    assert "9 of 9" in absent(np.full((5, 9), np.nan), usual(9))


def test_no_standard_deviation_with_few_degrees():
    source = ErrorSource.private("curve", np.full(9, 0.3), "student", 2.0)
    assert "degrees of freedom" in absent(survey(), [source])


def test_one_location():
    found = simulated(survey(1), usual(1))
    assert found.spread_max == found.spread_of_means == Absent("one location has no spread")
    assert found.decides.tolist() == [1.0]
    assert found.all_conform == found.all_conform_if_independent == found.conforms[0]


def test_no_complete_instant():
    values = np.array([[180.0, np.nan], [np.nan, 181.0]])
    found = simulated(values, usual(2))
    assert isinstance(found.spread_max, Absent)
    assert "no instant" in found.spread_max.reason
    assert found.deviation_max.as_shown_c == 1.0
    assert present(found.all_conform)


def test_without_limits_there_are_figures_but_no_probabilities():
    found = simulated(survey(), usual(9), limit_low_c=None, limit_high_c=None)
    assert found.converged
    for name in ("conforms", "all_conform", "all_conform_high", "all_conform_low", "decides", "reached"):
        assert isinstance(getattr(found, name), Absent), name
    assert isinstance(found.all_conform_if_independent, Absent)


def test_a_single_limit():
    found = simulated(survey(), usual(9), limit_low_c=None, limit_high_c=181.5)
    assert isinstance(found.all_conform_low, Absent)
    assert found.all_conform == found.all_conform_high
    assert np.argmax(found.decides) == np.argmax(survey().max(axis=0))


def test_two_readings_and_constant_ones():
    found = simulated(np.full((2, 3), 180.0), usual(3))
    assert found.deviation_max.as_shown_c == found.deviation_min.as_shown_c == 0.0
    assert figure(found, "spread_max").as_shown_c == 0.0
    assert figure(found, "spread_max").low_c == 0.0
    assert found.all_conform == pytest.approx(1.0, abs=1e-3)


def test_a_location_without_error_at_its_limit_conforms():
    source = ErrorSource.private("calibration", np.array([0.0, 0.1]))
    found = simulated(np.array([[183.0, 180.0], [182.0, 180.0]]), [source])
    assert found.conforms.tolist() == [1.0, 1.0]


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"numerical_tolerance": 0.0}, "above zero"),
        ({"numerical_tolerance_c": -1.0}, "above zero"),
        ({"most_trials": 999}, "at least 1000"),
        ({"limit_low_c": 184.0}, "above the upper"),
    ],
)
def test_wrong_calls(options: dict[str, float], words: str):
    with pytest.raises(ValueError, match=words):
        simulated(survey(), usual(9), **options)


def test_a_source_for_other_locations():
    with pytest.raises(ValueError, match="8 locations"):
        simulated(survey(), usual(8))


@pytest.mark.parametrize(
    ("standard", "group", "distribution", "degrees", "words"),
    [
        ([0.1, -0.1], [0, 1], "normal", np.inf, "from 0"),
        ([0.1, np.inf], [0, 1], "normal", np.inf, "from 0"),
        ([0.1], [0, 1], "normal", np.inf, "for each location"),
        ([0.1], [0], "cauchy", np.inf, "none of"),
        ([0.1], [0], "rectangular", 5.0, "student"),
        ([0.1], [0], "student", 0.5, "from 1"),
    ],
)
def test_wrong_sources(
    standard: list[float], group: list[int], distribution: str, degrees: float, words: str
):
    with pytest.raises(ValueError, match=words):
        ErrorSource(
            name="x",
            standard_c=np.array(standard),
            group=np.array(group),
            distribution=distribution,  # type: ignore[arg-type]
            degrees_of_freedom=degrees,
        )


# ---- draws ----


def test_drawn_errors_have_the_covariance_of_their_sources():
    sources = [
        ErrorSource(
            name="spool",
            standard_c=np.array([0.2, 0.4, 0.3, 0.0]),
            distribution="triangular",
            group=np.array([0, 0, 1, 1]),
        ),
        ErrorSource.private("drift", np.full(4, 0.3), "rectangular"),
        ErrorSource.private("calibration", np.array([0.1, 0.2, 0.3, 0.4])),
        ErrorSource.shared("standard", np.full(4, 0.2), "student", 12.0),
    ]
    errors = np.empty((4, 400_000))
    ErrorDraws(sources, np.random.default_rng(3)).fill(errors)
    assert np.abs(errors.mean(axis=1)).max() < 0.005
    assert np.cov(errors) == pytest.approx(error_covariance(sources), abs=0.005)


def test_coverage_study_holds_in_a_smaller_run():
    """The stated interval holds at least as often as it says, less what chance does at 150 cases."""
    from tests.studies.simulation import SORTS, study

    for kind, field in SORTS[2:]:
        rows = study(kind, 9, field, 150, 11)
        stated = [row for row in rows if ", stated 95 %" in row.interval]
        assert len(stated) >= 2
        for row in stated:
            assert row.cases == 150
            assert row.coverage >= 0.93 - 3 * row.sampling_error, row
        for row in rows:
            if row.interval.startswith("all conformed"):
                assert row.coverage >= row.stated - 0.05 - 3 * row.sampling_error, row
