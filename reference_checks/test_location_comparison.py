"""Differences between locations: the studentized range, and intervals of pairs in the simplest case.

Sources: NIST/SEMATECH e-Handbook 7.4.7.1 (standing C: its numbers stand in a public library's tests, which
cite the page); the library's own studentized range; printed tables of it (M: from memory).
"""

from __future__ import annotations

from math import sqrt
from typing import TYPE_CHECKING

import numpy as np
import pytest

from qualify.figures.absent import Absent
from qualify.inference.locations import compare_locations
from qualify.inference.ranges import studentized_range_probability, studentized_range_quantile

if TYPE_CHECKING:
    from reference_checks.conftest import Published

GROUPS = [
    [6.9, 5.4, 5.8, 4.6, 4.0],
    [8.3, 6.8, 7.8, 9.2, 6.5],
    [8.0, 10.5, 8.1, 6.9, 9.3],
    [5.8, 3.8, 6.1, 5.6, 6.2],
]


def pooled() -> tuple[list[float], float]:
    """Means, and mean square within, by the literal sums."""
    means = [sum(group) / 5 for group in GROUPS]
    within = sum((x - mean) ** 2 for group, mean in zip(GROUPS, means, strict=True) for x in group)
    return means, within / 16


def test_critical_value_of_the_handbook(published: Published):
    q = studentized_range_quantile(0.95, 4, 16.0)
    published.agree(q, "4.0461", "studentized range, 95 %, 4 means, 16 degrees")
    published.agree(q * sqrt(pooled()[1] / 5), "2.0874", "honestly significant difference of 7.4.7.1")


# Pair (first − second), lower and upper end as published.
INTERVALS = [
    (1, 0, ".29", "4.47"),
    (2, 0, "1.13", "5.31"),
    (0, 3, "-2.25", "1.93"),
    (1, 2, "-2.93", "1.25"),
    (1, 3, ".13", "4.31"),
    (2, 3, ".97", "5.15"),
]


@pytest.mark.parametrize(("first", "second", "low", "high"), INTERVALS)
def test_intervals_of_the_handbook(first: int, second: int, low: str, high: str, published: Published):
    means, within = pooled()
    half = studentized_range_quantile(0.95, 4, 16.0) * sqrt(within / 5)
    name = f"7.4.7.1, group {first + 1} less {second + 1}"
    published.agree(means[first] - means[second] - half, low, f"{name}: low")
    published.agree(means[first] - means[second] + half, high, f"{name}: high")


# Chance of so large a difference, recomputed (R).
CHANCES = [
    (0, 1, ".02279"),
    (0, 2, ".00221"),
    (0, 3, ".99612"),
    (1, 2, ".66446"),
    (1, 3, ".03515"),
    (2, 3, ".00345"),
]


@pytest.mark.parametrize(("first", "second", "chance"), CHANCES)
def test_chances_of_the_handbook(first: int, second: int, chance: str, published: Published):
    means, within = pooled()
    q = abs(means[first] - means[second]) / sqrt(within / 5)
    found = 1.0 - studentized_range_probability(q, 4, 16.0)
    published.agree(found, chance, f"7.4.7.1, group {first + 1} and {second + 1}: p")


# Means, degrees, 95 % point, as printed tables have it (M).
PRINTED = [
    (2, 10.0, "3.15"),
    (3, 10.0, "3.88"),
    (3, 20.0, "3.58"),
    (5, 20.0, "4.23"),
    (10, 30.0, "4.82"),
    (3, float("inf"), "3.31"),
    (10, float("inf"), "4.47"),
]


@pytest.mark.parametrize(("means", "degrees", "expected"), PRINTED)
def test_printed_tables(means: int, degrees: float, expected: str, published: Published):
    found = studentized_range_quantile(0.95, means, degrees)
    published.agree(found, expected, f"studentized range, 95 %, {means} means, {degrees:g} degrees")


@pytest.mark.parametrize("probability", [0.9, 0.99])
@pytest.mark.parametrize(("means", "degrees"), [(2, 2.0), (3, 4.5), (9, 27.0), (9, 300.0), (40, 57.0)])
def test_studentized_range_against_the_library(means: int, degrees: float, probability: float):
    stats = pytest.importorskip("scipy.stats")
    q = studentized_range_quantile(probability, means, degrees)
    assert float(stats.studentized_range.cdf(q, means, degrees)) == pytest.approx(probability, abs=1e-7)


def test_two_means_are_students_t():
    """The range of two means is √2·|t|, whatever the degrees of freedom."""
    stats = pytest.importorskip("scipy.stats")
    for degrees in (2.0, 5.0, 28.0, 400.0):
        expected = sqrt(2.0) * float(stats.t.ppf(0.975, degrees))
        assert studentized_range_quantile(0.95, 2, degrees) == pytest.approx(expected, rel=1e-8)


def test_independent_readings_come_near_the_textbook():
    """White noise of equal variance: half-widths of pairs about q·s/√n of Tukey's procedure.

    The package knows neither that the readings are independent nor that they are equally scattered. Over 20
    invented windows of 400 readings at 6 locations the median of its half-widths is 0.97 to 1.15 of the
    textbook's; now and then a window looks slowly wandering and has intervals twice as wide.
    """
    n, m = 400, 6
    ratios = []
    for seed in range(20):
        values = np.random.default_rng(seed).standard_normal((n, m))
        found = compare_locations(180.0 + values, np.arange(n) * 60.0)
        assert not isinstance(found, Absent)
        within = float(values.var(axis=0, ddof=1).mean())
        textbook = studentized_range_quantile(0.95, m, float(m * (n - 1))) * sqrt(within / n)
        ratios.append(float(found.pair_half_c.mean()) / textbook)
    assert 0.97 <= float(np.median(ratios)) <= 1.15
