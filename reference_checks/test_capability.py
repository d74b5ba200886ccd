"""Capability indices and control limits against the e-Handbook and plain independent code.

Sources: NIST/SEMATECH e-Handbook 6.1.6 (R, arithmetic) and 3.5.1 (limits of the furnace from memory: R);
6.3.2.2, constants of the moving range (D).
"""

from __future__ import annotations

from math import sqrt
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

from qualify.figures.absent import Absent
from qualify.inference.capability import Capability, Index, capability, nearer_limit_index, spread_index
from qualify.inference.control_limits import (
    MEAN_OF_RANGE,
    SD_OF_RANGE,
    ControlLimits,
    control_limits,
    short_term_degrees,
)

if TYPE_CHECKING:
    from reference_checks.conftest import Published

FURNACE = Path(__file__).parent / "data" / "nist" / "FURNACE.DAT"


def test_handbook_indices(published: Published):
    published.agree(spread_index(8.0, 20.0, 2.0), "1.0", "e-Handbook 6.1.6: Cp")
    for low, high, digits, what in (
        (8.0, 20.0, ".6667", "Cpk"),
        (None, 20.0, ".6667", "Cpu"),
        (8.0, None, "1.3333", "Cpl"),
    ):
        published.agree(nearer_limit_index(low, high, 16.0, 2.0), digits, f"e-Handbook 6.1.6: {what}")


def test_furnace_indices(published: Published):
    lines = FURNACE.read_text(encoding="ascii").splitlines()[25:]
    values = np.array([float(line.split()[3]) for line in lines if line.strip()])
    mean, sd = float(values.mean()), float(values.std(ddof=1))
    name = "e-Handbook 3.5.1 furnace: "
    published.agree(spread_index(460.0, 660.0, sd), "1.313128", name + "Cp, limits from memory")
    published.agree(nearer_limit_index(460.0, 660.0, mean, sd), "1.273265", name + "Cpk, the same")
    published.agree(nearer_limit_index(460.0, None, mean, sd), "1.352991", name + "Cpl, the same")


def test_furnace_wafers_are_no_stable_sequence():
    """Wafers of one run share it, so that the 168 in their order are no sample of a stable process."""
    lines = FURNACE.read_text(encoding="ascii").splitlines()[25:]
    values = np.array([float(line.split()[3]) for line in lines if line.strip()])
    found = capability(values, 460.0, 660.0)
    assert isinstance(found, Absent)
    assert "not stable" in found.reason


STEADY = np.array([0.3, -0.5, 0.1, 0.8, -0.2, -0.9, 0.4, 0.6, -0.3, -0.1])
"""Invented figures of ten runs [°C]."""


def steady(low: float | None, high: float | None) -> Capability:
    found = capability(STEADY, low, high)
    assert isinstance(found, Capability)
    return found


def test_interval_of_pp():
    """χ² of 9 degrees: 2.7003895 and 19.0227678 (tables)."""
    pp = steady(-3.0, 3.0).pp
    assert isinstance(pp, Index)
    assert pp.low == pytest.approx(pp.value * sqrt(2.7003895 / 9), rel=1e-7)
    assert pp.high == pytest.approx(pp.value * sqrt(19.0227678 / 9), rel=1e-7)


def test_interval_of_ppk_by_simulation_of_the_truth():
    """One limit: at each end of the interval the sample's index has 2.5 % beyond it (D, simulated)."""
    random = np.random.default_rng(5)
    found = steady(None, 3.0).ppk
    n = STEADY.size
    z = random.standard_normal(400_000) / sqrt(n)
    q = np.sqrt(random.chisquare(n - 1, 400_000) / (n - 1))
    for truth, side in ((found.low, 1), (found.high, -1)):
        sampled = (truth - z / 3) / q
        share = float(np.mean(side * (sampled - found.value) >= 0))
        assert share == pytest.approx(0.025, abs=0.0012)  # five standard errors


def test_second_limit_far_away():
    """The lower bound stays the exact one; the upper one allows for a mean midway, where |z| counts (D)."""
    one, two = steady(None, 2.0).ppk, steady(-1000.0, 2.0).ppk
    assert two.value == pytest.approx(one.value)
    assert two.low == pytest.approx(one.low)
    random = np.random.default_rng(6)
    z = random.standard_normal(400_000) / sqrt(10)
    q = np.sqrt(random.chisquare(9, 400_000) / 9)
    # Five standard errors of a simulated share.
    for truth, offset in ((one.high, z), (two.high, -np.abs(z))):
        assert float(np.mean((truth + offset / 3) / q <= one.value)) == pytest.approx(0.025, abs=0.0018)


def test_constants_of_the_moving_range(published: Published):
    published.agree(MEAN_OF_RANGE, "1.128", "moving range of two: d2")
    published.agree(SD_OF_RANGE, "0.853", "moving range of two: d3")
    published.agree(1 + 3 * SD_OF_RANGE / MEAN_OF_RANGE, "3.267", "moving range of two: D4")
    # Tables give 2.660 = 3/1.128.
    published.agree(3 / round(MEAN_OF_RANGE, 3), "2.660", "individuals: E2")


# E-Handbook 6.3.2.2, flow rates; data and limits from memory (M), recomputed.
FLOWS = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]


def test_individuals_of_the_handbook(published: Published):
    found = control_limits(np.array(FLOWS))
    assert isinstance(found, ControlLimits)
    name = "e-Handbook 6.3.2.2 (from memory): "
    published.agree(found.mean_c, "50.81", name + "centre")
    published.agree(found.range_mean_c, "1.8778", name + "mean moving range")
    published.agree(found.high_c, "55.8041", name + "upper limit", within=2e-3)  # made with d2 = 1.128
    published.agree(found.low_c, "45.8159", name + "lower limit", within=2e-3)
    assert found.beyond == ()


def test_degrees_behind_the_moving_range():
    """Standard deviation of the mean moving range, simulated (D)."""
    random = np.random.default_rng(8)
    n = 10
    runs = random.standard_normal((200_000, n))
    short = np.abs(np.diff(runs, axis=1)).mean(axis=1) / MEAN_OF_RANGE
    variation = float(short.std() / short.mean())
    assert short_term_degrees(n) == pytest.approx(1 / (2 * variation**2), rel=0.02)
    assert float(short.mean()) == pytest.approx(1.0, abs=0.005)
