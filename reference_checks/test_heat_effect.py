"""Heat effect of dry heat: worked values, each arithmetic that anyone can redo (D).

Reference temperatures and z: 170 °C and 20 °C (USP <1229.8>, C); 250 °C and 46.4 °C (C; chapter from memory).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from qualify.figures.heat_effect import HeatEffect, Summed, cure_equivalent, heat_effect, least_effect_min

if TYPE_CHECKING:
    from reference_checks.conftest import Published


def f_minutes(minutes: list[float], temperatures: list[float], reference_c: float, z_c: float) -> float:
    found = heat_effect(
        60.0 * np.array(minutes), np.array(temperatures)[:, None], reference_c=reference_c, z_c=z_c
    )
    assert isinstance(found, HeatEffect)
    value = found.as_read.minutes[0]
    assert isinstance(value, float)
    return value


@pytest.mark.parametrize(
    ("minutes", "temperature", "reference_c", "z_c", "expected"),
    [
        (10.0, 180.0, 170.0, 20.0, "31.62"),  # D: 10·10^0.5
        (120.0, 160.0, 170.0, 20.0, "37.95"),  # D: 120·10^−0.5
        (60.0, 200.0, 250.0, 46.4, "5.02"),  # D
        (3.0, 300.0, 250.0, 46.4, "35.87"),  # D
    ],
)
def test_constant_temperatures(
    minutes: float, temperature: float, reference_c: float, z_c: float, expected: str, published: Published
) -> None:
    found = f_minutes([0.0, minutes], [temperature] * 2, reference_c, z_c)
    published.agree(
        found, expected, f"{minutes:g} min at {temperature:g} °C, as minutes at {reference_c:g} °C"
    )


def test_a_trace(published: Published) -> None:
    # D: trapezoid of the rates, t = 0 … 60 min in steps of 5
    trace = [25.0, 90, 140, 165, 175, 178, 180, 180, 180, 180, 170, 120, 60]
    found = f_minutes([5.0 * step for step in range(13)], trace, 170.0, 20.0)
    published.agree(found, "92.6825", "trace, minutes at 170 °C")


def test_least_effect_from_a_d_value(published: Published) -> None:
    # C: 1.3 min, 2.1e6 to 1e-6; the digits D: 1.3·(6.3222 + 6) = 16.019
    found = least_effect_min(1.3, 2.1e6, 1e-6)
    published.agree(found, "16", "least minutes at 170 °C")
    published.agree(found, "16.019", "the same, more digits")


def test_cure_equivalent(published: Published) -> None:
    # D: 20 min at 190 °C, E 80 kJ/mol, as minutes at 180 °C: 20·exp(80000/8.314463·(1/453.15 − 1/463.15))
    # = 20·exp(9621.8·4.76472e-5) = 20·exp(0.458452)
    found = cure_equivalent(
        np.array([0.0, 1200.0]), np.full((2, 1), 190.0), reference_c=180.0, activation_energy_kj_per_mol=80.0
    )
    assert isinstance(found, Summed)
    published.agree(found.minutes[0], "31.63", "cure equivalent", within=0.01)
