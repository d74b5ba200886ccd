"""The estimated field between locations: what it claims, what it refuses, and what must not change it."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qualify.figures.absent import Absent, present
from qualify.inference.field import ESTIMATE_ONLY, ROUGH, FieldEstimate, estimate_field
from qualify.inference.field_models import PROCESS, TRILINEAR, fit_trilinear
from qualify.inference.field_places import FieldZone
from qualify.readings.model import FloatArray
from tests.studies.field import SIZE_MM, invent, locations, one_size, structureless

ZONE = FieldZone(width_mm=SIZE_MM[0], depth_mm=SIZE_MM[1], height_mm=SIZE_MM[2])
SIZE = np.array(SIZE_MM)
seeds = st.integers(0, 2**32 - 1)
SPOT = np.array([0.4, 0.7, 0.6])
FEW = 400


def trilinear(positions_mm: FloatArray) -> FloatArray:
    x, y, z = (positions_mm / SIZE).T
    return 180.0 + 2.0 * x - y + 3.0 * z + 0.5 * x * y - 1.5 * x * z + 2.5 * y * z - 2.0 * x * y * z


def bump(positions_mm: FloatArray) -> FloatArray:
    parts = positions_mm / SIZE
    return 180.0 + 4.0 * np.exp(-0.5 * ((parts - SPOT) ** 2).sum(axis=1) / 0.35**2)


def estimate(
    positions: FloatArray, means: FloatArray, standard: float = 0.1, zone: FieldZone = ZONE, draws: int = FEW
) -> FieldEstimate:
    found = estimate_field(positions, means, np.full(means.size, standard), zone, draws=draws)
    assert isinstance(found, FieldEstimate), found
    return found


def reason(found: object) -> str:
    assert isinstance(found, Absent)
    return found.reason


def grid_places(found: FieldEstimate) -> FloatArray:
    z, y, x = np.meshgrid(found.grid.z_mm, found.grid.y_mm, found.grid.x_mm, indexing="ij")
    return np.column_stack([x.ravel(), y.ravel(), z.ravel()])


# what it claims


@pytest.mark.parametrize("count", [15, 27, 40])
def test_a_trilinear_field_is_found_again(count: int) -> None:
    positions = locations(count)
    found = estimate(positions, trilinear(positions))
    assert found.model == TRILINEAR
    np.testing.assert_allclose(
        found.grid.temperature_c.ravel(), trilinear(grid_places(found)), rtol=0, atol=1e-9
    )
    assert present(found.left_out.trilinear_c)
    assert found.left_out.trilinear_c < 1e-9
    assert not isinstance(found.lack_of_fit, Absent)
    assert found.lack_of_fit.degrees == count - 8
    assert found.lack_of_fit.probability == pytest.approx(1.0)


def test_the_lack_of_fit_test_finds_a_bump() -> None:
    positions = locations(27)
    found = estimate(positions, bump(positions))
    assert not isinstance(found.lack_of_fit, Absent)
    assert found.lack_of_fit.probability < 1e-6
    assert found.model == PROCESS
    assert present(found.left_out.trilinear_c)
    assert found.left_out.process_c < found.left_out.trilinear_c


def test_the_lack_of_fit_test_rejects_a_true_model_as_often_as_it_says() -> None:
    random = np.random.default_rng(3)
    positions = locations(27)
    probabilities = []
    for _ in range(200):
        means = trilinear(positions) + random.normal(0.0, 0.1, 27)
        _, found = fit_trilinear(positions / SIZE, means, np.full(27, 0.1))
        assert not isinstance(found, Absent)
        probabilities.append(found.probability)
    # uniform: 200 values have a mean of 0.5 ± 0.02, and 10 ± 3 lie below 0.05
    assert np.mean(probabilities) == pytest.approx(0.5, abs=0.06)
    assert 1 <= (np.array(probabilities) < 0.05).sum() <= 20


def test_a_hot_spot_between_locations_is_expected_hotter_than_any_of_them() -> None:
    positions = locations(40)
    found = estimate(positions, bump(positions), standard=0.02)
    assert found.highest.expected_c > bump(positions).max()
    assert found.highest.low_c <= 184.0 <= found.highest.high_c
    off = np.abs(np.array(found.highest.position_mm) / SIZE - SPOT)
    assert (off < 0.2).all()
    assert found.highest.share_there > 0.9


@given(seeds, st.sampled_from([15, 20, 27, 40]))
@settings(max_examples=12, deadline=None)
def test_nothing_is_narrower_than_what_was_observed(seed: int, count: int) -> None:
    random = np.random.default_rng(seed)
    positions = locations(count)
    field = invent(random, str(random.choice(["broad", "middling", "narrow"])))
    means = field.at(positions / SIZE) + random.normal(0.0, 0.3, count)
    found = estimate_field(positions, means, np.full(count, 0.3), ZONE, draws=200)
    if isinstance(found, Absent):
        assert "don't show a smooth field" in found.reason
        return
    high, low = found.highest, found.lowest
    assert high.observed_c == pytest.approx(means.max(), abs=1e-10)
    assert low.observed_c == pytest.approx(means.min(), abs=1e-10)
    assert high.low_c <= high.expected_c <= high.high_c
    assert low.low_c <= low.expected_c <= low.high_c
    assert high.expected_c >= means.max() - 1e-10
    assert low.expected_c <= means.min() + 1e-10
    assert found.widening >= 1.0
    assert 0.0 < high.share_there <= 1.0


def test_larger_uncertainty_gives_wider_intervals() -> None:
    positions = locations(27)
    widths = [
        found.highest.high_c - found.highest.low_c
        for standard in (0.05, 0.3, 0.8)
        for found in [estimate(positions, trilinear(positions), standard)]
    ]
    assert widths == sorted(widths)
    assert widths[2] > 2 * widths[0]


def test_a_field_that_changes_between_neighbours_carries_a_caution() -> None:
    positions = locations(40)
    # a slope, and jumps from one location to the next far beyond the means' uncertainty
    rough = 180.0 + 2.5 * positions[:, 0] / SIZE[0] + np.random.default_rng(4).normal(0.0, 0.6, 40)
    found = estimate_field(positions, rough, np.full(40, 0.1), ZONE, draws=FEW)
    assert isinstance(found, FieldEstimate), found
    assert found.caution == ROUGH
    assert estimate(positions, bump(positions)).caution == ""


def test_it_says_what_it_is_and_why() -> None:
    positions = locations(27)
    found = estimate(positions, bump(positions))
    assert found.statement == ESTIMATE_ONLY
    assert "never grounds for fewer sensors" in ESTIMATE_ONLY
    assert "no verdict" in ESTIMATE_ONLY
    assert "a trilinear field by" in found.why
    assert "plain mean" in found.why
    assert (found.locations, found.without_mean, found.outside) == (27, 0, 0)
    assert found.confidence == 0.95
    assert found.draws == FEW


def test_the_grid_can_be_put_in_a_record() -> None:
    grid = estimate(locations(27), bump(locations(27))).grid
    shape = (grid.z_mm.size, grid.y_mm.size, grid.x_mm.size)
    assert shape == (5, 7, 7)
    assert grid.temperature_c.shape == grid.standard_c.shape == shape
    assert np.isfinite(grid.temperature_c).all()
    assert (grid.standard_c > 0.0).all()
    assert grid.inside.all()
    assert (grid.x_mm[-1], grid.y_mm[-1], grid.z_mm[-1]) == SIZE_MM


# a cylinder


def cylinder_places(count: int) -> FloatArray:
    turn = np.arange(count) * 2.4
    radius = 0.46 * np.sqrt((np.arange(count) + 0.5) / count)
    heights = (np.arange(count) * 0.618) % 1.0
    return np.column_stack([0.5 + radius * np.cos(turn), 0.5 + radius * np.sin(turn), heights]) * 800.0


def test_in_a_cylinder_nothing_lies_outside_it() -> None:
    zone = FieldZone(width_mm=800.0, depth_mm=800.0, height_mm=800.0, is_cylinder=True)
    positions = cylinder_places(27)
    means = 180.0 + positions @ np.array([0.004, 0.003, 0.0])
    found = estimate(positions, means, zone=zone)
    for extreme in (found.highest, found.lowest):
        x, y, _ = extreme.position_mm
        assert np.hypot(x - 400.0, y - 400.0) <= 400.0 + 1e-6
    # the steepest slope is 0.005 °C/mm: the rim stands 2 °C from the middle, the box's corner 2.8 °C
    assert found.highest.expected_c == pytest.approx(182.8 + 2.0, abs=0.4)
    assert not found.grid.inside[0, 0]
    assert found.grid.inside[3, 3]


# what must not change it


@given(seeds)
@settings(max_examples=3, deadline=None)
def test_order_doesn_t_matter(seed: int) -> None:
    order = np.random.default_rng(seed).permutation(27)
    positions, means = locations(27), bump(locations(27))
    one, other = estimate(positions, means), estimate(positions[order], means[order])
    assert replace(one, grid=other.grid) == other
    np.testing.assert_array_equal(one.grid.temperature_c, other.grid.temperature_c)


@given(st.floats(-300.0, 1500.0), st.sampled_from([0.1, 1.8, 7.0]), st.sampled_from([0.001, 1 / 25.4, 10.0]))
@settings(max_examples=4, deadline=None)
def test_offset_and_units_don_t_matter(offset: float, scale: float, length: float) -> None:
    positions, means = locations(27), bump(locations(27))
    one = estimate(positions, means)
    zone = FieldZone(width_mm=length * SIZE[0], depth_mm=length * SIZE[1], height_mm=length * SIZE[2])
    other = estimate(length * positions, scale * means + offset, scale * 0.1, zone)
    assert other.model == one.model
    for name in ("highest", "lowest"):
        before, after = getattr(one, name), getattr(other, name)
        for figure in ("expected_c", "low_c", "high_c", "observed_c"):
            expected = scale * getattr(before, figure) + offset
            assert getattr(after, figure) == pytest.approx(expected, abs=1e-3 * scale)
        np.testing.assert_allclose(after.position_mm, length * np.array(before.position_mm), rtol=1e-9)
    np.testing.assert_allclose(
        other.grid.temperature_c, scale * one.grid.temperature_c + offset, rtol=0, atol=1e-3 * scale
    )


@pytest.mark.parametrize("axis", [0, 1, 2])
def test_mirrored_coordinates_mirror_the_field(axis: int) -> None:
    positions = locations(40)
    means = bump(positions) + 1e-3 * positions[:, 0]
    mirrored = positions.copy()
    mirrored[:, axis] = SIZE[axis] - mirrored[:, axis]
    one, other = (estimate(places, means, draws=4000) for places in (positions, mirrored))
    flipped = np.flip(other.grid.temperature_c, axis=2 - axis)
    np.testing.assert_allclose(flipped, one.grid.temperature_c, rtol=0, atol=1e-3)
    for name in ("highest", "lowest"):
        before, after = getattr(one, name), getattr(other, name)
        # other random numbers: ends of 4000 draws are known to a fifteenth of their distance
        room = 0.15 * (before.high_c - before.low_c)
        for figure in ("expected_c", "low_c", "high_c"):
            assert getattr(after, figure) == pytest.approx(getattr(before, figure), abs=room)


def test_the_same_seed_gives_the_same_numbers() -> None:
    positions, means = locations(27), bump(locations(27))
    one, again = estimate(positions, means), estimate(positions, means)
    assert replace(one, grid=again.grid) == again
    other = estimate_field(positions, means, np.full(27, 0.1), ZONE, draws=FEW, seed=7)
    assert isinstance(other, FieldEstimate)
    assert other.highest != one.highest
    assert other.highest.expected_c == pytest.approx(one.highest.expected_c, abs=0.1)


def test_a_location_without_a_mean_is_left_out_and_counted() -> None:
    positions, means = locations(27), bump(locations(27))
    gone = means.copy()
    gone[[3, 11]] = np.nan
    unplaced = positions.copy()
    unplaced[3] = np.nan
    found = estimate(unplaced, gone)
    assert (found.locations, found.without_mean) == (25, 2)
    there = ~np.isnan(gone)
    assert found.highest == estimate(positions[there], means[there]).highest


def test_a_location_outside_counts_for_what_was_observed_only() -> None:
    positions = np.vstack([locations(27), [SIZE[0] + 50.0, 100.0, 100.0]])
    means = np.append(bump(locations(27)), 195.0)
    found = estimate(positions, means)
    assert (found.locations, found.outside) == (27, 1)
    assert found.highest.observed_c == 195.0
    assert found.highest.expected_c >= 195.0
    assert found.grid.temperature_c.max() < 186.0


def test_zero_uncertainty_is_taken_as_it_is_told() -> None:
    positions, means = locations(27), bump(locations(27))
    found = estimate(positions, means, standard=0.0)
    assert np.isfinite([found.highest.low_c, found.highest.high_c]).all()
    assert found.highest.low_c >= means.max() - 1e-3


def test_two_sensors_at_one_place_are_no_trouble() -> None:
    positions = np.vstack([locations(27), locations(27)[:2]])
    found = estimate(positions, bump(positions), standard=0.0)
    assert found.locations == 29


# what it refuses


@pytest.mark.parametrize("count", [0, 1, 2, 9, 14])
def test_few_locations_are_refused(count: int) -> None:
    positions = locations(27)[:count]
    found = estimate_field(positions, bump(positions), np.full(count, 0.1), ZONE)
    assert f"{count} locations" in reason(found)
    assert "15" in reason(found)


def test_corners_and_centre_alone_are_refused() -> None:
    positions = np.vstack([locations(9), locations(9) + np.array([10.0, -10.0, 5.0])])
    positions = np.clip(positions, 0.0, SIZE)
    found = estimate_field(positions, trilinear(positions), np.full(18, 0.1), ZONE)
    assert "corners and the centre only" in reason(found)


def test_one_place_many_times_is_refused() -> None:
    positions = np.vstack([locations(9)] * 2)
    found = estimate_field(positions, trilinear(positions), np.full(18, 0.1), ZONE)
    assert "9 different places" in reason(found)


@pytest.mark.parametrize("tilt", [0.0, 0.3])
def test_locations_in_a_plane_are_refused(tilt: float) -> None:
    x, y = np.meshgrid(np.linspace(50.0, 950.0, 5), np.linspace(50.0, 750.0, 4))
    positions = np.column_stack([x.ravel(), y.ravel(), 600.0 + tilt * x.ravel()])
    found = estimate_field(positions, bump(positions), np.full(20, 0.1), ZONE)
    assert "one plane" in reason(found)


def test_missing_positions_are_refused() -> None:
    positions = locations(27).copy()
    positions[[2, 5], 1] = np.nan
    found = estimate_field(positions, bump(locations(27)), np.full(27, 0.1), ZONE)
    assert "2 of 27 locations have no position" in reason(found)


@pytest.mark.parametrize("uncertainty", [np.nan, -0.1, np.inf])
def test_unknown_uncertainty_is_refused(uncertainty: float) -> None:
    standard = np.full(27, 0.1)
    standard[4] = uncertainty
    found = estimate_field(locations(27), bump(locations(27)), standard, ZONE)
    assert "uncertainty of the mean is not known for 1 of 27" in reason(found)


def test_equal_means_are_refused() -> None:
    found = estimate_field(locations(27), np.full(27, 180.0), np.full(27, 0.1), ZONE)
    assert "same mean" in reason(found)


def test_nothing_left_is_refused() -> None:
    found = estimate_field(locations(27), np.full(27, np.nan), np.full(27, 0.1), ZONE)
    assert "0 locations" in reason(found)


def test_a_zone_without_size_is_refused() -> None:
    zone = replace(ZONE, depth_mm=np.nan)
    found = estimate_field(locations(27), bump(locations(27)), np.full(27, 0.1), zone)
    assert "size is not known" in reason(found)


def test_a_field_that_no_model_predicts_is_refused() -> None:
    # every other location hot, as a checkerboard: neighbours tell the opposite
    axis = np.array([0.05, 0.35, 0.65, 0.95])
    x, y, z = (side.ravel() for side in np.meshgrid(axis, axis, axis))
    which = np.indices((4, 4, 4)).sum(axis=0).ravel() % 2
    positions = np.column_stack([x, y, z]) * SIZE
    found = estimate_field(positions, 180.0 + 2.0 * which, np.full(64, 0.1), ZONE)
    assert "don't show a smooth field" in reason(found)
    assert "plain mean" in reason(found)


def test_too_few_draws_are_an_error() -> None:
    with pytest.raises(ValueError, match="99 simulated fields"):
        estimate_field(locations(27), bump(locations(27)), np.full(27, 0.1), ZONE, draws=99)


# how often it is right: few cases here, the whole table by `python -m tests.studies.field`


def test_intervals_hold_the_true_extremes() -> None:
    rows = one_size(27, cases=36, seed=1)
    # 24 intervals a row (two of a field go together, so 12 fields count): 95 % less three standard errors
    for row in rows:
        if "narrow" in row.study or "caution" in row.study:
            assert row.warned
        else:
            assert row.cases > 15
            assert row.coverage >= 0.95 - 3.0 * (0.95 * 0.05 / 12) ** 0.5


def test_means_without_a_field_are_mostly_refused() -> None:
    row = structureless(27, cases=40, seed=1)
    assert row.covered >= 33


def test_heavy_libraries_are_loaded_only_when_used() -> None:
    code = "import qualify.inference.field, qualify.inference.curve_fits, sys; print(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = set(done.stdout.split())
    assert "qualify.inference.gaussian_process" in loaded
    assert not loaded & {"scipy", "statsmodels", "pandas", "matplotlib"}
