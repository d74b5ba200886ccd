"""The worked budget of a climatic chamber at 250 °C in the German guideline DKD-R 5-7.

Source: DKD-R 5-7, calibration of climatic chambers, worked example; standard uncertainties, u_c and U seen in
a public copy and recomputed (standing C); the half-widths behind the last rows are arithmetic (standing D).
The guideline's budget belongs to an assigned chamber temperature; it never guards a uniformity limit.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import pytest

from qualify.figures.absent import present
from qualify.figures.agreement import indication_error
from qualify.figures.budget import combined_standard_uncertainty, expanded, half_width_standard_uncertainty

if TYPE_CHECKING:
    from reference_checks.conftest import Published

# Standard uncertainties [mK] in the order of the budget.
CONTRIBUTIONS_MK = (24, 25, 29, 3, 29, 130, 462, 346, 577, 92, 29)

# Contribution: rectangular half-width [K], standard uncertainty as published [mK].
HALF_WIDTHS = {
    "inhomogeneity": (0.8, "462"),
    "instability": (0.6, "346"),
    "radiation": (1.0, "577"),
    "loading": (0.16, "92"),
    "resolution": (0.05, "29"),
}


@pytest.mark.parametrize("name", HALF_WIDTHS)
def test_half_widths_are_rectangular(name: str, published: Published):
    half_width_k, value_mk = HALF_WIDTHS[name]
    found = half_width_standard_uncertainty(half_width_k) * 1000
    published.agree(found, value_mk, f"DKD-R 5-7, {name}, u [mK]")


def test_combined_and_expanded(published: Published):
    combined = combined_standard_uncertainty(value / 1000 for value in CONTRIBUTIONS_MK)
    published.agree(combined * 1000, "834", "DKD-R 5-7, u_c [mK]")
    published.agree(combined * 1000, "833.8", "DKD-R 5-7, u_c recomputed from the rounded rows [mK]")
    published.agree(expanded(combined), "1.7", "DKD-R 5-7, U for k = 2 [K]")


def test_unrounded_half_widths_give_the_same_budget(published: Published):
    assert CONTRIBUTIONS_MK[6:] == tuple(int(value) for _, value in HALF_WIDTHS.values())
    parts = [value / 1000 for value in CONTRIBUTIONS_MK[:6]]
    parts += [half_width_standard_uncertainty(half_width_k) for half_width_k, _ in HALF_WIDTHS.values()]
    published.agree(
        combined_standard_uncertainty(parts) * 1000, "834", "DKD-R 5-7, u_c from half-widths [mK]"
    )


def test_correction_of_the_example(published: Published):
    """Correction = reference − indication = −error: 252.22 − 250.4 K, printed as 1.8 K."""
    error = indication_error(np.full(30, 250.4), np.full(30, 252.22))
    assert present(error.mean_c)
    published.agree(-error.mean_c, "1.8", "DKD-R 5-7, correction [K]")


@pytest.mark.parametrize("value", [-0.1, math.nan, math.inf])
def test_a_budget_refuses_what_is_no_uncertainty(value: float):
    with pytest.raises(ValueError, match="number from 0"):
        half_width_standard_uncertainty(value)
    with pytest.raises(ValueError, match="number from 0"):
        combined_standard_uncertainty([0.1, value])
    with pytest.raises(ValueError, match="number from 0"):
        expanded(value)


def test_a_budget_refuses_emptiness_and_a_factor_of_zero():
    with pytest.raises(ValueError, match="without a contribution"):
        combined_standard_uncertainty([])
    with pytest.raises(ValueError, match="coverage factor"):
        expanded(0.1, 0.0)
