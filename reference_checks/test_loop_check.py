"""Loop checks: values that linear signals stand for, arithmetic that anyone can redo (D).

The linear reading, span·(signal − low)/(high − low), half scale at half signal, is common practice without a
source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from qualify.figures.loop_check import LoopCheck, SignalRange, TripOnScale, loop_check, trip_on_scale

if TYPE_CHECKING:
    from reference_checks.conftest import Published


@pytest.mark.parametrize(
    ("low", "high", "signal", "expected"),
    [
        (4.0, 20.0, 12.0, "12.5"),
        (0.0, 5.0, 2.5, "12.5"),
        (0.0, 10.0, 5.0, "12.5"),
        (4.0, 20.0, 4.0, "0"),
        (4.0, 20.0, 20.0, "25"),
        (4.0, 20.0, 5.6, "2.5"),
        (0.0, 10.0, 0.4, "1"),
    ],
)
def test_oxygen_of_0_to_25_percent(
    low: float, high: float, signal: float, expected: str, published: Published
) -> None:
    scale = SignalRange(signal_low=low, signal_high=high, scale_low=0.0, scale_high=25.0)
    found = float(scale.expected(np.array([signal]))[0])
    published.agree(found, expected, f"{signal:g} of {low:g}…{high:g}", within=1e-12)


def test_a_line_against_numpy(published: Published) -> None:
    # second opinion: numpy.polyfit of displayed against expected
    injected = np.array([4.0, 8, 12, 16, 20, 16, 12, 8, 4])
    displayed = np.array([0.4, 100.9, 201.6, 301.2, 400.7, 301.9, 202.4, 101.3, 0.6])
    rising = np.array([True] * 5 + [False] * 4)
    scale = SignalRange(signal_low=4.0, signal_high=20.0, scale_low=0.0, scale_high=400.0)
    found = loop_check(scale, injected, displayed, rising)
    assert isinstance(found, LoopCheck)
    expected = 25.0 * (injected - 4.0)
    slope, zero = np.polyfit(expected, displayed, 1)
    published.agree(found.slope, f"{slope:.12f}", "slope", within=1e-11)
    published.agree(found.zero_error_percent, f"{zero / 4:.12f}", "error at zero", within=1e-10)
    largest = np.max(np.abs(displayed - zero - slope * expected)) / 4
    published.agree(found.nonlinearity_percent, f"{largest:.12f}", "non-linearity", within=1e-10)
    # D: 201.6 − 202.4 = −0.8 of 400
    published.agree(found.hysteresis_percent, "-0.2", "hysteresis", within=1e-10)
    published.agree(found.largest_error_percent, "0.6", "largest error, 202.4 for 200", within=1e-10)


def test_a_trip_point_on_the_scale(published: Published) -> None:
    scale = SignalRange(signal_low=4.0, signal_high=20.0, scale_low=0.0, scale_high=25.0)
    found = trip_on_scale(scale, 23.5, harmful_above=True)
    assert isinstance(found, TripOnScale)
    published.agree(found.share, "0.94", "23.5 of 25", within=1e-12)
    published.agree(found.signal, "19.04", "4 + 16·0.94", within=1e-12)
    assert not found.can_be_shown
