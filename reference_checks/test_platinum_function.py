"""Platinum resistance function of IEC 60751 against published values and its own definition.

Published values: 18.520 Ω at −200 °C and 60.256 Ω at −100 °C, read in a public table (C); the others are the
arithmetic of the coefficients in exact decimals (D). The coefficients were typed a second time here.
"""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import pytest

from qualify.platinum import function, range_c, resistance_ohm, sensitivity_ohm_per_c, temperature_c

A, B, C = Decimal("3.9083e-3"), Decimal("-5.775e-7"), Decimal("-4.183e-12")


def exact(t: Decimal, r0: Decimal = Decimal(100)) -> Decimal:
    lower = C * (t - 100) * t**3 if t < 0 else Decimal(0)
    return r0 * (1 + A * t + B * t**2 + lower)


@pytest.mark.parametrize(("t", "published"), [(-200, "18.520"), (-100, "60.256"), (0, "100.000")])
def test_published_resistances(t: int, published: str) -> None:
    assert abs(Decimal(float(resistance_ohm(t))) - Decimal(published)) <= Decimal("0.0005")


@pytest.mark.parametrize(
    ("t", "digits"),
    [(-200, "18.5201"), (-100, "60.2558"), (100, "138.5055"), (200, "175.8560"), (300, "212.0515")],
)
def test_resistances_by_arithmetic(t: int, digits: str) -> None:
    assert abs(Decimal(float(resistance_ohm(t))) - Decimal(digits)) <= Decimal("0.00005")


@pytest.mark.parametrize("r0", ["25", "100", "500", "1000"])
def test_against_exact_decimals(r0: str) -> None:
    t = [Decimal(value) for value in range(-200, 851, 25)]
    found = resistance_ohm([float(value) for value in t], float(r0))
    expected = [float(exact(value, Decimal(r0))) for value in t]
    np.testing.assert_allclose(found, expected, rtol=1e-14)


@pytest.mark.parametrize("r0", [25.0, 100.0, 1000.0])
def test_resistances_go_back_to_their_temperatures(r0: float) -> None:
    t = np.linspace(-200.0, 850.0, 10501)
    np.testing.assert_allclose(temperature_c(resistance_ohm(t, r0), r0), t, rtol=0, atol=2e-11)
    tiny = np.array([-1e-6, 0.0, 1e-6])
    np.testing.assert_allclose(temperature_c(resistance_ohm(tiny, r0), r0), tiny, rtol=0, atol=1e-12)


def test_sensitivity_is_the_slope() -> None:
    t = np.linspace(-199.0, 849.0, 2097)
    slope = (resistance_ohm(t + 1e-3) - resistance_ohm(t - 1e-3)) / 2e-3
    np.testing.assert_allclose(sensitivity_ohm_per_c(t), slope, rtol=0, atol=1e-9)
    assert float(sensitivity_ohm_per_c(0.0)) == pytest.approx(0.39083, abs=1e-15)


def test_outside_its_range_there_is_no_value() -> None:
    assert range_c() == (-200.0, 850.0)
    assert np.isnan(resistance_ohm([-200.001, 850.001])).all()
    assert np.isnan(temperature_c([18.0, 390.6, np.nan])).all()
    assert np.isfinite(temperature_c(resistance_ohm([-200.0, 850.0]))).all()
    assert (function().standing, function().range_standing) == ("C", "M")
