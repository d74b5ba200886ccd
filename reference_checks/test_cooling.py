"""Cooling down: the closed form of a first order (D), and how often the stated intervals hold the truth."""

from __future__ import annotations

from math import log
from typing import TYPE_CHECKING

import numpy as np
from scipy.stats import binom

from qualify.figures.absent import Absent
from qualify.inference.cooling import Cooling, cooling, time_with_coolant
from qualify.inference.decay import Decay

if TYPE_CHECKING:
    from reference_checks.conftest import Published

CASES = 300


def test_closed_form(published: Published) -> None:
    # D: 200 °C towards 20 °C, τ 480 s, handled at 60 °C: 480·ln(180/40) = 480·1.504077 = 721.957 s; a coolant
    # 10 °C warmer: 480·ln(170/30) = 480·1.734601 = 832.609 s. Noise of ±1 mK, in turn, is there
    # as a fit without scatter gives no interval.
    seconds = np.arange(0.0, 2400.0, 5.0)
    wobble = 0.001 * np.where(np.arange(seconds.size) % 2 == 0, 1.0, -1.0)
    found = cooling(
        seconds, 20 + 180 * np.exp(-seconds / 480) + wobble, start_s=0.0, handling_c=60.0, coolant_c=20.0
    )
    assert isinstance(found, Cooling)
    assert isinstance(found.decay, Decay)
    published.agree(found.decay.time_constant_s.value, "480.0", "time constant, s")
    published.agree(found.decay.floor.value, "20.00", "floor, °C")
    assert not isinstance(found.fitted_time_s, Absent)
    published.agree(found.fitted_time_s.value, "721.957", "fitted time, s", within=0.02)
    published.agree(found.time_s, "721.957", "measured time, s", within=0.2)
    published.agree(found.mean_rate_c_per_min, "11.635", "140 °C over it, °C/min", within=0.004)
    warmer = time_with_coolant(found, 30.0, 60.0)
    assert not isinstance(warmer, Absent)
    published.agree(warmer.value, "832.609", "with the coolant at 30 °C, s", within=0.05)


def test_intervals_hold_the_truth() -> None:
    rng = np.random.default_rng(30)
    seconds = np.arange(0.0, 2400.0, 20.0)
    truth = {
        "measured": 480 * log(4.5),
        "fitted": 480 * log(4.5),
        "coolant": 480 * log(170 / 30),
        "tau": 480.0,
    }
    held, alarms = dict.fromkeys(truth, 0), 0
    for _ in range(CASES):
        values = 20 + 180 * np.exp(-seconds / 480) + 0.3 * rng.normal(size=seconds.size)
        found = cooling(seconds, values, start_s=0.0, handling_c=60.0, coolant_c=20.0)
        assert isinstance(found, Cooling)
        assert isinstance(found.time_low_s, float)
        assert isinstance(found.time_high_s, float)
        held["measured"] += found.time_low_s <= truth["measured"] <= found.time_high_s
        if not isinstance(found.decay, Decay):
            alarms += 1
            continue
        ranges = {
            "fitted": found.fitted_time_s,
            "coolant": time_with_coolant(found, 30.0, 60.0),
            "tau": found.decay.time_constant_s,
        }
        for name, interval in ranges.items():
            assert not isinstance(interval, Absent)
            assert isinstance(interval.low, float)
            assert isinstance(interval.high, float)
            held[name] += interval.low <= truth[name] <= interval.high
    assert binom.sf(alarms - 1, CASES, 0.01) > 1e-5
    for name in ("fitted", "coolant", "tau"):
        assert binom.cdf(held[name], CASES - alarms, 0.93) > 1e-5, held
        assert binom.sf(held[name] - 1, CASES - alarms, 0.97) > 1e-5, held
    # The measured time takes rectangles in full and is conservative.
    assert binom.cdf(held["measured"], CASES, 0.95) > 1e-5, held
