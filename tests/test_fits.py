"""Least-squares fits: what they give, what they refuse, and what must not change them."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qualify.figures.absent import Absent, present
from qualify.inference.curve_fits import NonlinearFit, nonlinear_fit
from qualify.inference.fits import LinearFit, linear_fit
from qualify.readings.model import FloatArray

seeds = st.integers(0, 2**32 - 1)


def straight(x: FloatArray) -> FloatArray:
    return np.column_stack([np.ones(x.size), x])


def fit(design: FloatArray, y: FloatArray, known: FloatArray | None = None) -> LinearFit:
    found = linear_fit(design, y, known)
    assert isinstance(found, LinearFit)
    return found


def reason(found: object) -> str:
    assert isinstance(found, Absent)
    return found.reason


# linear


def test_a_line_by_hand() -> None:
    # x 0 1 2 3, y 1 3 2 6: slope 7/5, intercept 9/10, residuals 0.1 0.7 -1.7 0.9, sum of squares 4.2
    found = fit(straight(np.arange(4.0)), np.array([1.0, 3.0, 2.0, 6.0]))
    np.testing.assert_allclose(found.coefficients, [0.9, 1.4], rtol=1e-15)
    np.testing.assert_allclose(found.residuals, [0.1, 0.7, -1.7, 0.9], rtol=1e-13)
    assert found.degrees == 2
    assert found.residual_sd == pytest.approx(2.1**0.5, rel=1e-14)
    assert not isinstance(found.standard_errors, Absent)
    # s²(1/4 + 1.5²/5) and s²/5
    np.testing.assert_allclose(found.standard_errors, [(2.1 * 0.7) ** 0.5, (2.1 / 5) ** 0.5], rtol=1e-14)
    np.testing.assert_allclose(found.leverage, [0.7, 0.3, 0.3, 0.7], rtol=1e-14)
    assert isinstance(found.chi_square, Absent)


def test_known_uncertainties_weigh_and_give_the_errors() -> None:
    # two readings of one thing, 0 ± 1 and 10 ± 2: mean 2, error sqrt(0.8), chi-square 4 + 16
    found = fit(np.ones((2, 1)), np.array([0.0, 10.0]), np.array([1.0, 2.0]))
    assert found.coefficients[0] == pytest.approx(2.0, rel=1e-15)
    assert not isinstance(found.standard_errors, Absent)
    assert found.standard_errors[0] == pytest.approx(0.8**0.5, rel=1e-14)
    assert found.chi_square == pytest.approx(20.0, rel=1e-14)
    np.testing.assert_allclose(found.residuals, [-2.0, 8.0], rtol=1e-14)


@given(seeds)
@settings(max_examples=30)
def test_leaving_one_out_is_what_a_fit_without_it_gives(seed: int) -> None:
    random = np.random.default_rng(seed)
    design, y = random.normal(size=(9, 3)), random.normal(size=9)
    known = random.uniform(0.5, 2.0, 9)
    for some in (None, known):
        found = fit(design, y, some)
        for one in range(9):
            others = np.arange(9) != one
            without = fit(design[others], y[others], None if some is None else some[others])
            expected = y[one] - design[one] @ without.coefficients
            assert found.left_out_residuals[one] == pytest.approx(expected, rel=1e-8, abs=1e-9)


@given(seeds, st.integers(-12, 12), st.floats(-1e3, 1e3))
@settings(max_examples=40)
def test_units_offset_and_order_don_t_matter(seed: int, power: int, offset: float) -> None:
    random = np.random.default_rng(seed)
    x, y = random.uniform(0.0, 10.0, 12), random.normal(size=12)
    plain = fit(straight(x), y)
    order = random.permutation(12)
    scale = 10.0**power
    other = fit(straight(x[order] * scale), 1.8 * y[order] + offset)
    assert not isinstance(plain.standard_errors, Absent)
    assert not isinstance(other.standard_errors, Absent)
    in_the_unit_of_before = other.coefficients * np.array([1.0, scale])
    np.testing.assert_allclose(
        in_the_unit_of_before, 1.8 * plain.coefficients + np.array([offset, 0.0]), rtol=1e-9, atol=1e-9
    )
    np.testing.assert_allclose(
        other.standard_errors, 1.8 * plain.standard_errors / np.array([1.0, scale]), rtol=1e-9
    )
    np.testing.assert_allclose(other.leverage, plain.leverage[order], rtol=1e-9)


def test_an_absent_reading_is_left_out() -> None:
    x = np.arange(6.0)
    y = np.array([1.0, 3.0, np.nan, 2.0, 6.0, 5.0])
    there = ~np.isnan(y)
    found, expected = fit(straight(x), y), fit(straight(x[there]), y[there])
    assert found.count == 5
    np.testing.assert_array_equal(found.coefficients, expected.coefficients)


def test_a_constant_series_has_a_flat_line_without_error() -> None:
    found = fit(straight(np.arange(5.0)), np.full(5, 180.0))
    np.testing.assert_allclose(found.coefficients, [180.0, 0.0], atol=1e-13)
    assert present(found.residual_sd)
    assert found.residual_sd < 1e-12


def test_as_many_readings_as_coefficients_leave_nothing_to_judge_by() -> None:
    found = fit(straight(np.array([0.0, 1.0])), np.array([1.0, 3.0]))
    np.testing.assert_allclose(found.coefficients, [1.0, 2.0], rtol=1e-15)
    assert isinstance(found.standard_errors, Absent)
    assert isinstance(found.residual_sd, Absent)
    assert np.isinf(found.left_out_residuals).all()


@pytest.mark.parametrize(
    ("design", "words"),
    [
        (np.ones((1, 2)), "1 readings can't give 2 coefficients"),
        (np.ones((5, 2)), "don't tell the coefficients apart"),
        (np.column_stack([np.ones(5), np.zeros(5)]), "don't tell the coefficients apart"),
        (np.full((5, 2), np.nan), "0 readings"),
        (np.ones((5, 0)), "nothing to fit"),
    ],
)
def test_what_a_line_can_t_be_fitted_to(design: FloatArray, words: str) -> None:
    assert words in reason(linear_fit(design, np.arange(float(design.shape[0]))))


@pytest.mark.parametrize("uncertainty", [0.0, -1.0])
def test_a_reading_without_uncertainty_is_refused(uncertainty: float) -> None:
    known = np.array([0.1, 0.1, uncertainty, 0.1])
    assert "without uncertainty" in reason(linear_fit(straight(np.arange(4.0)), np.arange(4.0), known))


# curves


def cooling(seconds: FloatArray, b: FloatArray) -> FloatArray:
    return b[0] + b[1] * np.exp(-seconds / b[2])


def curve(start: FloatArray, x: FloatArray, y: FloatArray) -> NonlinearFit:
    found = nonlinear_fit(cooling, start, x, y)
    assert isinstance(found, NonlinearFit)
    return found


def test_a_cooling_curve_is_found_again() -> None:
    seconds = np.arange(0.0, 3600.0, 30.0)
    true = np.array([22.0, 158.0, 740.0])
    found = curve(np.array([0.0, 100.0, 100.0]), seconds, cooling(seconds, true))
    assert found.converged
    np.testing.assert_allclose(found.coefficients, true, rtol=1e-10)
    assert present(found.residual_sd)
    assert found.residual_sd < 1e-11


@pytest.mark.parametrize("ends_at", [0.0, 1e-9])
def test_a_coefficient_near_zero_is_no_trouble(ends_at: float) -> None:
    seconds = np.arange(0.0, 3600.0, 30.0)
    true = np.array([ends_at, 158.0, 740.0])
    noise = np.random.default_rng(1).normal(0.0, 0.1, 120)
    found = curve(np.array([5.0, 100.0, 500.0]), seconds, cooling(seconds, true) + noise)
    lifted = curve(np.array([105.0, 100.0, 500.0]), seconds, 100.0 + cooling(seconds, true) + noise)
    assert found.converged
    np.testing.assert_allclose(
        found.coefficients + np.array([100.0, 0.0, 0.0]), lifted.coefficients, rtol=1e-9
    )
    assert not isinstance(found.standard_errors, Absent)
    assert not isinstance(lifted.standard_errors, Absent)
    np.testing.assert_allclose(found.standard_errors, lifted.standard_errors, rtol=1e-6)


def test_the_errors_of_a_curve_are_those_of_its_scatter() -> None:
    random = np.random.default_rng(5)
    seconds = np.arange(0.0, 3600.0, 30.0)
    true = np.array([22.0, 158.0, 740.0])
    standardised = []
    for _ in range(80):
        found = curve(
            np.array([20.0, 150.0, 700.0]), seconds, cooling(seconds, true) + random.normal(size=120)
        )
        assert not isinstance(found.standard_errors, Absent)
        standardised.append((found.coefficients - true) / found.standard_errors)
    # the standard deviation of 80 standard normal values is 1 ± 0.08
    np.testing.assert_allclose(np.std(standardised, axis=0), 1.0, atol=0.32)


def test_a_curve_linear_in_its_coefficients_agrees_with_the_linear_fit() -> None:
    random = np.random.default_rng(2)
    x = random.uniform(0.0, 10.0, 20)
    y = 3.0 + 0.5 * x + random.normal(size=20)
    found = nonlinear_fit(lambda x, b: b[0] + b[1] * x, np.zeros(2), x, y)
    expected = fit(straight(x), y)
    assert isinstance(found, NonlinearFit)
    assert not isinstance(found.covariance, Absent)
    assert not isinstance(expected.covariance, Absent)
    np.testing.assert_allclose(found.coefficients, expected.coefficients, rtol=1e-10)
    np.testing.assert_allclose(found.covariance, expected.covariance, rtol=1e-8)
    assert found.residual_sd == pytest.approx(expected.residual_sd, rel=1e-12)


@pytest.mark.parametrize(
    ("start", "x", "y", "words"),
    [
        ([20.0, 100.0, 100.0], [0.0, 1.0], [3.0, 2.0], "2 readings can't give 3 coefficients"),
        ([20.0, 100.0, 100.0], [0.0, 1.0, 2.0, np.nan], [3.0, np.nan, 1.0, 1.0], "2 readings"),
        ([np.nan, 100.0, 100.0], list(range(9)), list(range(9)), "no value at the starting values"),
        # all readings at one instant
        ([20.0, 100.0, 100.0], [5.0] * 9, list(range(9)), "don't determine"),
    ],
)
def test_what_a_curve_can_t_be_fitted_to(
    start: list[float], x: list[float], y: list[float], words: str
) -> None:
    found = nonlinear_fit(cooling, np.array(start), np.array(x, dtype=float), np.array(y, dtype=float))
    assert words in reason(found)


def test_a_constant_series_gives_no_cooling_curve() -> None:
    seconds = np.arange(0.0, 600.0, 30.0)
    found = nonlinear_fit(cooling, np.array([20.0, 100.0, 100.0]), seconds, np.full(20, 180.0))
    assert "don't determine" in reason(found)


def test_without_convergence_there_are_no_errors() -> None:
    # the sum of squares has its least value at a kink, b = 1, where either slope leads away
    found = nonlinear_fit(
        lambda x, b: np.abs(b[0] - 1.0) * (x - 20.0) + b[0],
        np.array([3.0]),
        np.arange(10.0),
        np.full(10, 5.0),
    )
    assert isinstance(found, NonlinearFit)
    assert not found.converged
    assert found.coefficients[0] == pytest.approx(1.0, abs=1e-3)
    assert "did not converge" in reason(found.standard_errors)
    assert isinstance(found.covariance, Absent)
