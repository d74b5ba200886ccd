"""The estimated field against scipy's trilinear interpolation and against plain formulas of kriging.

No certified fields are published. Standing of all numbers here: D, computed by independent code: scipy's
interpolator, and matrices written out below from the kriging system (Cressie, Statistics for Spatial Data,
1993, section 3.4; cited from memory), which the package solves in another form.
"""

from __future__ import annotations

from itertools import product
from typing import TYPE_CHECKING

import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator
from scipy.special import gamma, kv
from scipy.stats import chi2

from qualify.figures.absent import Absent
from qualify.inference.field import FieldEstimate, estimate_field
from qualify.inference.field_models import fit_trilinear, trilinear_design
from qualify.inference.field_places import FieldZone
from qualify.inference.gaussian_process import Process, fit_process, likely_processes, linear_trend, matern
from qualify.readings.model import FloatArray

if TYPE_CHECKING:
    from reference_checks.conftest import Published

SIZE = np.array([1000.0, 800.0, 1200.0])
ZONE = FieldZone(width_mm=1000.0, depth_mm=800.0, height_mm=1200.0)


def scattered(count: int, seed: int) -> FloatArray:
    """Invented places in parts of the sides."""
    return np.random.default_rng(seed).uniform(0.0, 1.0, (count, 3))


# the trilinear field


@pytest.mark.parametrize("seed", range(5))
def test_trilinear_field_against_scipy(seed: int) -> None:
    """A field that scipy interpolates from eight corners is found again from 24 other places."""
    random = np.random.default_rng(seed)
    corners = 180.0 + random.normal(0.0, 3.0, (2, 2, 2))
    interpolator = RegularGridInterpolator(([0.0, SIZE[0]], [0.0, SIZE[1]], [0.0, SIZE[2]]), corners)
    positions = scattered(24, seed) * SIZE
    found = estimate_field(positions, interpolator(positions), np.full(24, 0.1), ZONE, draws=100)
    assert isinstance(found, FieldEstimate)
    grid = np.array(list(product(found.grid.z_mm, found.grid.y_mm, found.grid.x_mm)))[:, ::-1]
    np.testing.assert_allclose(
        found.grid.temperature_c.ravel(), interpolator(grid), rtol=0, atol=1e-9, strict=True
    )


def test_lack_of_fit_against_normal_equations(published: Published) -> None:
    random = np.random.default_rng(8)
    places, standard = scattered(27, 8), random.uniform(0.05, 0.2, 27)
    values = random.normal(0.0, 0.15, 27)
    columns = np.array([[x**a * y**b * z**c for a, b, c in product((0, 1), repeat=3)] for x, y, z in places])
    weights = np.diag(standard**-2.0)
    solution = np.linalg.solve(columns.T @ weights @ columns, columns.T @ weights @ values)
    expected = float(np.sum(((values - columns @ solution) / standard) ** 2))
    _, found = fit_trilinear(places, values, standard)
    assert not isinstance(found, Absent)
    published.agree(found.chi_square, f"{expected:.9f}", "lack of fit of a trilinear field: chi-square")
    probability = float(chi2.sf(expected, 19))
    published.agree(found.probability, f"{probability:.9f}", "lack of fit of a trilinear field: probability")


# the Gaussian process


def process(seed: int = 3, count: int = 20) -> Process:
    random = np.random.default_rng(seed)
    places = scattered(count, seed)
    return Process(
        places=places,
        values=places @ np.array([2.0, -1.0, 0.5]) + random.normal(0.0, 1.0, count),
        standard=random.uniform(0.05, 0.3, count),
        trend=linear_trend,
        sd=0.9,
        lengths=np.array([0.4, 0.7, 0.5]),
    )


def correlation(one: FloatArray, other: FloatArray, lengths: FloatArray) -> float:
    """Matérn correlation of order 5/2 from its general definition with a Bessel function."""
    order = 2.5
    way = float(np.sqrt(2 * order * np.sum(((one - other) / lengths) ** 2)))
    return 1.0 if way == 0.0 else float(2 ** (1 - order) / gamma(order) * way**order * kv(order, way))


def between(first: FloatArray, second: FloatArray, of: Process) -> FloatArray:
    return of.sd**2 * np.array([[correlation(a, b, of.lengths) for b in second] for a in first])


def test_the_kernel_is_matern_of_order_five_halves() -> None:
    one, other, lengths = scattered(4, 1), scattered(5, 2), np.array([0.2, 0.7, 1.5])
    expected = [[correlation(a, b, lengths) for b in other] for a in one]
    np.testing.assert_allclose(matern(one, other, lengths), expected, rtol=1e-12)


def kriging(of: Process, wanted: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Mean and covariance from the kriging system [C H; Hᵀ 0]·[weights; multipliers] = [c; h]."""
    design = np.array([[1.0, *place] for place in of.places])
    new = np.array([[1.0, *place] for place in wanted])
    own = between(of.places, of.places, of) + np.diag(of.standard**2)
    across = between(of.places, wanted, of)
    system = np.block([[own, design], [design.T, np.zeros((4, 4))]])
    right = np.vstack([across, new.T])
    solution = np.linalg.solve(system, right)
    return solution[: of.values.size].T @ of.values, between(wanted, wanted, of) - right.T @ solution


def test_prediction_against_the_kriging_system() -> None:
    of, wanted = process(), scattered(6, 11)
    mean, covariance = kriging(of, wanted)
    found_mean, found_covariance = of.predict(wanted)
    np.testing.assert_allclose(found_mean, mean, rtol=0, atol=1e-8)
    np.testing.assert_allclose(found_covariance, covariance, rtol=0, atol=1e-8)


def test_leaving_one_out_against_fits_without_it() -> None:
    of = process()
    errors, variances = of.leave_one_out()
    for one in range(of.values.size):
        others = np.arange(of.values.size) != one
        without = Process(
            places=of.places[others],
            values=of.values[others],
            standard=of.standard[others],
            trend=of.trend,
            sd=of.sd,
            lengths=of.lengths,
        )
        mean, covariance = kriging(without, of.places[[one]])
        assert errors[one] == pytest.approx(of.values[one] - mean[0], abs=1e-8)
        assert variances[one] == pytest.approx(covariance[0, 0] + of.standard[one] ** 2, rel=1e-8)


def misfit(of: Process, sd: float, lengths: FloatArray) -> float:
    """Minus twice the log restricted likelihood, by determinants and generalised least squares."""
    design = np.array([[1.0, *place] for place in of.places])
    here = Process(
        places=of.places, values=of.values, standard=of.standard, trend=of.trend, sd=sd, lengths=lengths
    )
    own = between(of.places, of.places, here) + np.diag(of.standard**2)
    inverse = np.linalg.inv(own)
    information = design.T @ inverse @ design
    left = of.values - design @ np.linalg.solve(information, design.T @ inverse @ of.values)
    return float(np.linalg.slogdet(own)[1] + np.linalg.slogdet(information)[1] + left @ inverse @ left)


@pytest.mark.parametrize("one_length", [True, False])
def test_the_likeliest_process_is_the_likeliest(one_length: bool) -> None:
    """No neighbour of the parameters found, and none of a coarse grid, has a higher restricted likelihood."""
    places = scattered(30, 5)
    standard = np.full(30, 0.1)
    random = np.random.default_rng(5)
    values = 2.0 * np.sin(5.0 * places[:, 0]) + np.cos(4.0 * places[:, 1]) + random.normal(0.0, 0.1, 30)
    found = fit_process(places, values, standard, linear_trend, one_length=one_length)
    least = misfit(found, found.sd, found.lengths)
    for factor in (0.97, 1.03):
        assert misfit(found, factor * found.sd, found.lengths) >= least - 1e-6
        directions = [np.ones(3, dtype=bool)] if one_length else list(np.eye(3, dtype=bool))
        for direction in directions:
            lengths = np.clip(np.where(direction, factor * found.lengths, found.lengths), 0.1, 4.0)
            assert misfit(found, found.sd, lengths) >= least - 1e-6
    for sd, length in product((0.2, 0.7, 2.0), (0.15, 0.4, 1.0)):
        assert misfit(found, sd, np.full(3, length)) >= least - 1e-6


def test_likely_processes_follow_the_restricted_likelihood() -> None:
    """The processes taken have the mean log σ and log length of all tried, weighed by plain formulas."""
    places = scattered(18, 6)
    random = np.random.default_rng(6)
    values = 1.5 * np.sin(4.0 * places[:, 0]) + random.normal(0.0, 0.2, 18)
    values -= values.mean()
    standard = random.uniform(0.1, 0.3, 18)
    taken = likely_processes(places, values, standard, linear_trend, np.ones(3), 4000)
    scale = float(np.sqrt(np.mean(values**2)))
    frame = taken[0][0]
    tried, weights = [], []
    for length, size in product(np.geomspace(0.15, 0.5, 6), np.geomspace(0.02, 20.0, 31)):
        tried.append((np.log(length), np.log(size * scale)))
        prior = size / (1.0 + size**2)
        weights.append(-0.5 * misfit(frame, size * scale, np.full(3, length)) + np.log(prior))
    weight = np.exp(np.array(weights) - max(weights))
    expected = weight @ np.array(tried) / weight.sum()
    often = np.array([times for _, times in taken])
    assert often.sum() == 4000
    logs = np.array([(np.log(one.lengths[0]), np.log(one.sd)) for one, _ in taken])
    # 4000 even quantiles of the weights: each is off by at most one in 4000
    np.testing.assert_allclose(often @ logs / 4000, expected, rtol=0, atol=5e-3)


def test_extremes_of_a_known_process_against_direct_simulation() -> None:
    """With errors so small that the means fix the field at 64 places, the extreme is theirs."""
    axis = np.array([0.0, 1 / 3, 2 / 3, 1.0])
    places = np.array(list(product(axis, axis, axis)))
    values = 180.0 + trilinear_design(places) @ np.array([0.0, 2.0, 1.0, -3.0, 1.0, 0.5, -0.5, 2.0])
    found = estimate_field(places * SIZE, values, np.full(64, 1e-6), ZONE, draws=500)
    assert isinstance(found, FieldEstimate)
    corners = np.array(list(product((0.0, 1.0), repeat=3)))
    truth = 180.0 + trilinear_design(corners) @ np.array([0.0, 2.0, 1.0, -3.0, 1.0, 0.5, -0.5, 2.0])
    assert found.highest.expected_c == pytest.approx(truth.max(), abs=0.02)
    assert found.lowest.expected_c == pytest.approx(truth.min(), abs=0.02)
    np.testing.assert_allclose(found.highest.position_mm, corners[truth.argmax()] * SIZE, atol=1e-9)
    np.testing.assert_allclose(found.lowest.position_mm, corners[truth.argmin()] * SIZE, atol=1e-9)
