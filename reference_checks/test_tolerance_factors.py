"""Tolerance factors, passing runs and prediction against published tables and worked examples.

Sources: ISO 16269-6:2014 annex F and Meeker, Hahn, Escobar 2017 table J.5, a spread of entries under
data/tolerance (C); NIST/SEMATECH e-Handbook 7.2.6.3 (C; further digits R); one-sided factors of noncentral t
(R; n = 50 C); arithmetic (D).
"""

from __future__ import annotations

import csv
from decimal import ROUND_CEILING, Decimal
from math import comb, erf, inf, sqrt
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

from qualify.figures.absent import Absent
from qualify.inference.next_run import NextRun, PassingRuns, next_run, passing_runs, runs_needed
from qualify.inference.tolerance import (
    ToleranceInterval,
    confidence_of_extremes,
    howe_factor,
    least_factor,
    one_sided_factor,
    tolerance_interval,
    two_sided_factor,
)

if TYPE_CHECKING:
    from reference_checks.conftest import Published

with (Path(__file__).parent / "data" / "tolerance" / "factors.csv").open(
    encoding="ascii", newline=""
) as file:
    ENTRIES = list(csv.DictReader(file))


@pytest.mark.parametrize("row", ENTRIES, ids=lambda row: " ".join(list(row.values())[1:]))
def test_published_two_sided_factors(row: dict[str, str], published: Published):
    content, confidence = float(row["content"]), float(row["confidence"])
    what = f"{row['source']}: {row['samples']} × {row['n']}, {row['content']}/{row['confidence']}"
    if float(row["n"]) == inf:
        found = least_factor(content, "two-sided")
    else:
        n, samples = int(row["n"]), int(row["samples"])
        found = two_sided_factor(n, content, confidence, samples * (n - 1.0))
    if row["source"].startswith("ISO"):
        # The standard rounds up, to be on the sure side.
        rounded = float(Decimal(found).quantize(Decimal("0.0001"), rounding=ROUND_CEILING))
        published.agree(rounded, row["factor"], what + ", rounded up", within=1e-9)
    else:
        published.agree(found, row["factor"], what)


# Exact and Howe's, content 0.95, confidence 0.95 (R).
RECOMPUTED = {
    5: ("5.07687", "5.09353"),
    9: ("3.54589", "3.53493"),
    10: ("3.39343", "3.38191"),
    20: ("2.76035", "2.75228"),
    30: ("2.55489", "2.54964"),
    50: ("2.38156", "2.37877"),
    100: ("2.23388", "2.23280"),
}


@pytest.mark.parametrize("n", RECOMPUTED)
def test_exact_beside_howe(n: int, published: Published):
    exact, howe = RECOMPUTED[n]
    published.agree(two_sided_factor(n, 0.95, 0.95), exact, f"two-sided 0.95/0.95, n {n}, recomputed")
    published.agree(howe_factor(n, 0.95, 0.95), howe, f"Howe 0.95/0.95, n {n}, recomputed")


OTHERS = [(9, 0.99, 0.95, "4.63284"), (10, 0.99, 0.95, "4.43691"), (30, 0.99, 0.95, "3.35458")]
OTHERS += [(10, 0.95, 0.99, "4.29417"), (30, 0.95, 0.99, "2.85093")]


@pytest.mark.parametrize(("n", "content", "confidence", "digits"), OTHERS)
def test_other_contents(n: int, content: float, confidence: float, digits: str, published: Published):
    found = two_sided_factor(n, content, confidence)
    published.agree(found, digits, f"two-sided {content}/{confidence}, n {n}, recomputed")


def test_three_runs(published: Published):
    """The exact factor of three runs. Older tables, made by an approximation, give 9.92 (M)."""
    published.agree(two_sided_factor(3, 0.95, 0.95), "9.789", "two-sided 0.95/0.95, n 3 (table J.5)")


# n = 50 published (C), the others recomputed (R).
ONE_SIDED = {
    5: "4.20268",
    9: "3.03124",
    10: "2.91096",
    20: "2.39600",
    30: "2.21984",
    50: "2.065",
    100: "1.92654",
}


@pytest.mark.parametrize("n", ONE_SIDED)
def test_one_sided(n: int, published: Published):
    published.agree(one_sided_factor(n, 0.95, 0.95), ONE_SIDED[n], f"one-sided 0.95/0.95, n {n}")


def test_handbook_example(published: Published):
    """E-Handbook 7.2.6.3: 43 wafers, content 0.90, confidence 0.99."""
    name = "e-Handbook 7.2.6.3: "
    published.agree(howe_factor(43, 0.90, 0.99), "2.217", name + "two-sided factor by Howe")
    published.agree(howe_factor(43, 0.90, 0.99), "2.217316", name + "the same, recomputed")
    published.agree(two_sided_factor(43, 0.90, 0.99), "2.222825", name + "exact two-sided factor, recomputed")
    published.agree(one_sided_factor(43, 0.90, 0.99), "1.8740", name + "one-sided factor")
    published.agree(one_sided_factor(43, 0.90, 0.99) * sqrt(43), "12.28834", name + "noncentral t")
    published.agree(one_sided_factor(6, 0.90, 0.99), "4.4111", name + "one-sided factor, n 6")


@pytest.mark.parametrize("n", [2, 3, 7, 25])
def test_interval_of_runs_uses_the_factor(n: int):
    values = np.linspace(-1.0, 2.0, n)
    found = tolerance_interval(values)
    assert isinstance(found, ToleranceInterval)
    assert isinstance(found.high_c, float)
    assert (found.high_c - values.mean()) / values.std(ddof=1) == pytest.approx(found.factor, rel=1e-12)
    assert found.factor == two_sided_factor(n, 0.95, 0.95)


def test_one_sided_factor_by_an_integral():
    """P(Z + √n·z_p ≤ k·√n·√(χ²/ν)) as a plain sum over χ (D)."""
    n, nu = 8, 7
    k = one_sided_factor(n, 0.95, 0.9)
    q = (np.arange(400000) + 0.5) * 5e-6 * 2  # to 4 standard deviations and beyond
    density = q ** (nu - 1) * np.exp(-nu * q**2 / 2)
    argument = k * sqrt(n) * q - sqrt(n) * 1.6448536269514722
    normal = 0.5 * (1 + np.array([erf(value / sqrt(2)) for value in argument[::40]]))
    share = float((density[::40] * normal).sum() / density[::40].sum())
    assert share == pytest.approx(0.9, abs=2e-6)


def passing(passed: int, n: int) -> PassingRuns:
    found = passing_runs(passed, n)
    assert isinstance(found, PassingRuns)
    return found


def test_three_of_three(published: Published):
    published.agree(passing(3, 3).at_least, "0.3684031", "three passing runs: 0.05^(1/3)")
    published.agree(passing(3, 3).low, "0.2924018", "three passing runs, two-sided: 0.025^(1/3)")


@pytest.mark.parametrize(("passed", "n"), [(1, 5), (7, 10), (19, 20), (0, 4)])
def test_passing_runs_by_binomial_sums(passed: int, n: int):
    """At each bound the tail of the binomial distribution is what was asked for (D)."""
    found = passing(passed, n)

    def at_least(p: float) -> float:
        return sum(comb(n, k) * p**k * (1 - p) ** (n - k) for k in range(passed, n + 1))

    def at_most(p: float) -> float:
        return sum(comb(n, k) * p**k * (1 - p) ** (n - k) for k in range(passed + 1))

    assert at_most(found.high) == pytest.approx(0.025, abs=1e-10)
    if passed:
        assert at_least(found.low) == pytest.approx(0.025, abs=1e-10)
        assert at_least(found.at_least) == pytest.approx(0.05, abs=1e-10)
    else:
        assert found.low == found.at_least == 0.0


def test_runs_that_must_all_pass():
    """The sample sizes that everyone quotes: 59, 29, 22, 299 (D)."""
    nothing = np.array([])
    wanted = {(0.95, 0.95): 59, (0.90, 0.95): 29, (0.90, 0.90): 22, (0.99, 0.95): 299}
    for (content, confidence), runs in wanted.items():
        assert runs_needed(nothing, None, None, content, confidence).passing_alone == runs


def test_extremes_of_93_runs():
    """93 readings hold 95 % between their extremes with 95 % confidence, 92 don't (Wilks 1941; D)."""
    assert confidence_of_extremes(93, 0.95) >= 0.95 > confidence_of_extremes(92, 0.95)


def test_share_bound_is_the_tolerance_factor_turned_round():
    """With the limit at mean + k·s, the lower bound of the share inside is the content (D)."""
    values = np.array([1.0, 1.4, 0.8, 1.1, 1.3, 0.9])
    k = one_sided_factor(6, 0.9, 0.95)
    limit = float(values.mean() + k * values.std(ddof=1))
    found = next_run(values, None, limit)
    assert isinstance(found, NextRun)
    assert found.share_at_least == pytest.approx(0.9, abs=1e-9)
    below = next_run(-values, -limit, None)
    assert isinstance(below, NextRun)
    assert below.share_at_least == pytest.approx(0.9, abs=1e-9)


def test_chance_is_the_prediction_interval_turned_round():
    """With limits at the ends of the 95 % prediction interval the next run's chance is 95 % (D)."""
    values = np.array([1.0, 1.4, 0.8, 1.1])
    found = next_run(values, None, None)
    assert isinstance(found, NextRun)
    # t of 3 degrees, 0.975: 3.182446
    half = 3.182446 * float(values.std(ddof=1)) * sqrt(1.25)
    assert found.high_c == pytest.approx(values.mean() + half, rel=1e-6)
    again = next_run(values, found.low_c, found.high_c)
    assert isinstance(again, NextRun)
    assert again.chance == pytest.approx(0.95, abs=1e-12)


def test_no_number_for_a_single_run():
    assert isinstance(tolerance_interval(np.array([1.0])), Absent)
