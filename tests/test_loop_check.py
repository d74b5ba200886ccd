"""Loop checks: errors, line, hysteresis, trip points and broken signals, worked out by hand."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from qualify.figures.absent import Absent
from qualify.figures.loop_check import (
    BrokenSignal,
    LoopCheck,
    SignalRange,
    TripOnScale,
    broken_signal,
    loop_check,
    trip_on_scale,
)

CURRENT = SignalRange(signal_low=4.0, signal_high=20.0, scale_low=0.0, scale_high=400.0)
VOLTS = SignalRange(signal_low=0.0, signal_high=10.0, scale_low=-50.0, scale_high=150.0)
NAN = float("nan")


def check(
    injected: list[float],
    displayed: list[float],
    rising: list[bool] | None = None,
    over: SignalRange = CURRENT,
) -> LoopCheck:
    found = loop_check(
        over,
        np.array(injected),
        np.array(displayed),
        np.array(rising if rising is not None else [True] * len(injected)),
    )
    assert isinstance(found, LoopCheck)
    return found


def test_expected_values_and_live_zero() -> None:
    np.testing.assert_allclose(CURRENT.expected(np.array([4.0, 8.0, 12.0, 20.0])), [0, 100, 200, 400])
    np.testing.assert_allclose(VOLTS.expected(np.array([0.0, 2.5, 5.0])), [-50, 0, 50])
    assert CURRENT.live_zero
    assert not VOLTS.live_zero
    turned = SignalRange(signal_low=20.0, signal_high=4.0, scale_low=0.0, scale_high=400.0)
    np.testing.assert_allclose(turned.expected(np.array([20.0, 12.0, 4.0])), [0, 200, 400])
    assert turned.live_zero


def test_errors_line_hysteresis_and_half() -> None:
    # rising errors 1, 2, 3 and falling 2, 4 °C of a span of 400
    found = check([4, 12, 20, 12, 4], [1, 202, 403, 204, 2], [True, True, True, False, False])
    np.testing.assert_allclose(found.errors_percent, [0.25, 0.5, 0.75, 1.0, 0.5])
    assert found.largest_error_percent == pytest.approx(1.0)
    assert found.largest_error_at == 3
    assert found.hysteresis_percent == pytest.approx(-0.5)
    assert found.half_error_percent == pytest.approx(1.0)
    assert found.covered == pytest.approx(1.0)
    # Σ(x − 0.4)(e) / Σ(x − 0.4)²: x 0 .5 1 .5 0; (−.1 + .05 + .45 + .1 − .2)/(.7) = 3/7
    assert found.slope == pytest.approx(1 + 3 / 700)
    assert found.zero_error_percent == pytest.approx(0.6 - 0.4 * 3 / 7)
    assert found.full_scale_error_percent == pytest.approx(0.6 + 0.6 * 3 / 7)
    # at half: line 0.6 + 0.1·3/7, reading 1.0
    assert found.nonlinearity_percent == pytest.approx(0.4 - 0.3 / 7)


@given(st.floats(-5, 5), st.floats(0.9, 1.1), st.lists(st.floats(4, 20), min_size=3, max_size=9, unique=True))
def test_a_straight_loop_has_no_nonlinearity_and_unit_changes_nothing(
    zero: float, slope: float, signals: list[float]
) -> None:
    injected = np.array(signals)
    if np.unique(np.round((injected - 4) / 16 / 0.001)).size < 3:
        return
    displayed = zero + slope * CURRENT.expected(injected)
    found = check(list(injected), list(displayed))
    assert found.nonlinearity_percent == pytest.approx(0.0, abs=1e-8)
    assert found.slope == pytest.approx(slope, abs=1e-6)
    fahrenheit = SignalRange(signal_low=0.004, signal_high=0.02, scale_low=32.0, scale_high=752.0)
    other = check(list(injected / 1000), list(displayed * 1.8 + 32), over=fahrenheit)
    np.testing.assert_allclose(other.errors_percent, found.errors_percent, atol=1e-9)


def test_absent_points_and_too_few_of_them() -> None:
    found = check([4, 12, 20], [NAN, 202, NAN])
    assert found.points == 1
    assert np.isnan(found.errors_percent[0])
    assert found.largest_error_at == 1
    for figure in (
        found.slope,
        found.zero_error_percent,
        found.nonlinearity_percent,
        found.hysteresis_percent,
    ):
        assert isinstance(figure, Absent)
    two = check([4, 20], [1, 401])
    assert isinstance(two.nonlinearity_percent, Absent)
    assert isinstance(two.half_error_percent, Absent)
    assert two.zero_error_percent == pytest.approx(0.25)
    assert isinstance(loop_check(CURRENT, np.array([4.0]), np.array([NAN]), np.array([True])), Absent)


def test_a_range_that_is_none() -> None:
    for ends in ((4, 4, 0, 400), (4, 20, 400, 400), (4, 20, 400, 0), (NAN, 20, 0, 400)):
        over = SignalRange(signal_low=ends[0], signal_high=ends[1], scale_low=ends[2], scale_high=ends[3])
        assert isinstance(loop_check(over, np.ones(2), np.ones(2), np.ones(2, dtype=bool)), Absent)
        assert isinstance(trip_on_scale(over, 1.0, harmful_above=True), Absent)


@pytest.mark.parametrize(
    ("trip", "above", "shown"),
    [(359.9, True, True), (360, True, False), (399, True, False), (401, True, False), (399, False, True),
     (40, False, False), (40.1, False, True), (-1, False, False)],
)  # fmt: skip
def test_trip_points_near_the_end_of_the_scale(trip: float, above: bool, shown: bool) -> None:
    found = trip_on_scale(CURRENT, trip, harmful_above=above)
    assert isinstance(found, TripOnScale)
    assert found.can_be_shown is shown
    assert bool(found.note) is not shown
    assert found.signal == pytest.approx(4 + 16 * trip / 400)
    if trip == 360:
        assert "could not be shown from above" in found.note


def test_a_break_that_reads_as_the_harmless_side_is_a_finding() -> None:
    # oxygen that must stay low: a dead line reads 0 %
    found = broken_signal("open", 0.0, 2.0, harmful_above=True)
    assert isinstance(found, BrokenSignal)
    assert found.side == "harmless"
    assert "harmless side" in found.finding
    # gas pressure that must stay high: the same reading makes itself known
    found = broken_signal("open", 0.0, 2.0, harmful_above=False)
    assert isinstance(found, BrokenSignal)
    assert (found.side, found.finding) == ("harmful", "")
    at = broken_signal("shorted", 2.0, 2.0, harmful_above=True)
    assert isinstance(at, BrokenSignal)
    assert at.side == "harmful"


def test_frozen_signals_faults_and_blank_displays() -> None:
    for displayed in (1.0, 3.0):
        frozen = broken_signal("frozen", displayed, 2.0, harmful_above=True)
        assert isinstance(frozen, BrokenSignal)
        assert frozen.finding
    told = broken_signal("unpowered", Absent("blank"), 2.0, harmful_above=True, fault_shown=True)
    assert isinstance(told, BrokenSignal)
    assert (told.side, told.finding) == ("fault shown", "")
    assert isinstance(broken_signal("unpowered", Absent("blank"), 2.0, harmful_above=True), Absent)
    assert isinstance(broken_signal("open", NAN, 2.0, harmful_above=True), Absent)
    assert isinstance(broken_signal("open", 1.0, NAN, harmful_above=True), Absent)
