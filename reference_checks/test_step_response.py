"""Step responses of systems of first and second order: overshoot, peak, settling, rise.

Sources: the closed formulas of linear control (any textbook; recomputed, so R by this project's marks, but
anyone can redo them): overshoot exp(−πζ/√(1 − ζ²)), peak time π/(ω√(1 − ζ²)), first-order rise from 10 to 90
% τ·ln 9 and settling to 2 % τ·ln 50. The 2 % settling times of the second-order systems are times of the last
crossing, found by a root search that shares nothing with the package (make_expected.py). The control library
(python-control, BSD-3) says the same from its own simulation and its own step_info.

Times are held to one sample.
"""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

from qualify.figures.absent import present
from qualify.figures.response import (
    high_excess_c,
    mean_rate_c_per_min,
    overshoot_c,
    time_to_band_s,
    undershoot_c,
)

if TYPE_CHECKING:
    from reference_checks.conftest import Published

EXPECTED = json.loads((Path(__file__).parent / "expected.json").read_text(encoding="utf-8"))

# ζ, ω [rad/s], overshoot [%], peak time [s], 2 % settling time [s] as tabulated.
SECOND_ORDER = [
    (0.5, 1.0, "16.303353", "3.627599", "8.0764"),
    (0.3, 2.0, "37.232610", "1.646642", "5.6151"),
    (0.7, 1.0, "4.598791", "4.399110", "5.9788"),
    (0.2, 1.0, "52.662060", "3.206375", "19.6020"),
]
STEP = 2e-4
"""Sampling interval [s]: the largest sample then misses the peak by under (ω·step)²/8 of the step, 2e-8: less
than the last published digit of a percentage."""

FROM_C, TO_C = 20.0, 180.0


def second_order(zeta: float, omega: float) -> tuple[np.ndarray, np.ndarray]:
    """Unit step response on a dense grid, from its closed form."""
    seconds = np.arange(0.0, 40.0 / omega, STEP)
    damped = omega * math.sqrt(1 - zeta**2)
    wave = np.cos(damped * seconds) + zeta * omega / damped * np.sin(damped * seconds)
    return seconds, 1 - np.exp(-zeta * omega * seconds) * wave


@pytest.mark.parametrize(("zeta", "omega", "overshoot", "peak", "settling"), SECOND_ORDER)
def test_second_order_against_the_formulas(
    zeta: float, omega: float, overshoot: str, peak: str, settling: str, published: Published
):
    seconds, shares = second_order(zeta, omega)
    name = f"second order, ζ {zeta}, ω {omega}"
    values_c = (FROM_C + (TO_C - FROM_C) * shares)[:, None]

    percent = float(overshoot_c(values_c, TO_C)[0]) / (TO_C - FROM_C) * 100
    published.agree(percent, overshoot, f"{name}: overshoot [%]")

    found = high_excess_c(values_c, TO_C)
    assert found is not None
    assert found[0] == pytest.approx(percent / 100 * (TO_C - FROM_C), abs=1e-9)
    published.agree(float(seconds[found[1]]), peak, f"{name}: peak time [s]", within=STEP)

    band_c = 0.02 * (TO_C - FROM_C)
    time = time_to_band_s(seconds, values_c, 0.0, TO_C - band_c, TO_C + band_c)
    assert present(time)
    published.agree(time, settling, f"{name}: 2 % settling [s]", within=STEP)
    # The first sample at or after the last crossing.
    crossing = EXPECTED["settling"][f"{zeta} {omega}"]
    assert -1e-8 <= time - crossing <= STEP + 1e-8


@pytest.mark.parametrize(("zeta", "omega", "overshoot", "peak", "settling"), SECOND_ORDER)
def test_stepping_down_mirrors_it(
    zeta: float, omega: float, overshoot: str, peak: str, settling: str, published: Published
):
    _, shares = second_order(zeta, omega)
    values_c = (TO_C + (FROM_C - TO_C) * shares)[:, None]
    percent = float(undershoot_c(values_c, FROM_C)[0]) / (TO_C - FROM_C) * 100
    published.agree(percent, overshoot, f"second order down, ζ {zeta}: undershoot [%]")


@pytest.mark.parametrize(("zeta", "omega", "overshoot", "peak", "settling"), SECOND_ORDER)
def test_second_order_against_the_control_library(
    zeta: float, omega: float, overshoot: str, peak: str, settling: str
):
    """The library simulates the transfer function itself; its step_info reads the same series."""
    control = pytest.importorskip("control")
    interval = 1e-3
    system = control.tf([omega**2], [1, 2 * zeta * omega, omega**2])
    seconds, shares = control.step_response(system, T=np.arange(0.0, 40.0 / omega, interval))
    says = control.step_info(shares, T=seconds, yfinal=1.0)
    values = np.asarray(shares)[:, None]

    found = high_excess_c(values, 1.0)
    assert found is not None
    assert float(overshoot_c(values, 1.0)[0]) * 100 == pytest.approx(says["Overshoot"], abs=1e-9)
    assert float(seconds[found[1]]) == pytest.approx(says["PeakTime"], abs=1e-9)
    time = time_to_band_s(seconds, values, 0.0, 0.98, 1.02)
    assert present(time)
    assert time == pytest.approx(says["SettlingTime"], abs=interval)
    rate = mean_rate_c_per_min(seconds, np.asarray(shares), 0.0, 1.0)
    assert present(rate)
    assert 0.8 / (rate / 60) == pytest.approx(says["RiseTime"], abs=2 * interval)


@pytest.mark.parametrize("tau_s", [60.0, 600.0])
def test_first_order_rise_and_settling(tau_s: float, published: Published):
    """Rise = ln 9·τ; the crossings lie between samples, on a straight line: 1e-6 of τ at τ/1000 a sample."""
    interval_s = tau_s / 1000
    seconds = np.arange(0.0, 8 * tau_s, interval_s)
    mean_c = FROM_C + (TO_C - FROM_C) * (1 - np.exp(-seconds / tau_s))
    rate = mean_rate_c_per_min(seconds, mean_c, FROM_C, TO_C)
    assert present(rate)
    rise_s = 0.8 * (TO_C - FROM_C) / (rate / 60)
    published.agree(rise_s / tau_s, "2.197225", f"first order, τ {tau_s:g} s: rise 10–90 % [τ]", within=1e-6)
    band_c = 0.02 * (TO_C - FROM_C)
    time = time_to_band_s(seconds, mean_c[:, None], 0.0, TO_C - band_c, TO_C + band_c)
    assert present(time)
    published.agree(
        time / tau_s, "3.912023", f"first order, τ {tau_s:g} s: 2 % settling [τ]", within=interval_s / tau_s
    )


def test_first_order_cooling_has_the_same_rate():
    seconds = np.arange(0.0, 4800.0, 1.0)
    rise = 1 - np.exp(-seconds / 600.0)
    up = mean_rate_c_per_min(seconds, FROM_C + (TO_C - FROM_C) * rise, FROM_C, TO_C)
    down = mean_rate_c_per_min(seconds, TO_C + (FROM_C - TO_C) * rise, TO_C, FROM_C)
    assert present(up)
    assert present(down)
    assert up == pytest.approx(down, rel=1e-12)
    assert up == pytest.approx(0.8 * 160.0 / (math.log(9) * 10.0), rel=1e-6)
