"""Risks and guard bands against worked examples of JCGM 106:2012, the table of ILAC-G8 and plain arithmetic.

Standing: C seen in a public copy; D arithmetic that anyone can redo; M inputs from memory; R recomputed only.
The densities and integrals of the second opinions here are independent of the package.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import pytest

from qualify.inference.global_risks import Prior, acceptance_for_consumer_risk, global_risk, normal_prior
from qualify.inference.guard_bands import GuardRule, guard_band
from qualify.inference.risks import (
    conformance_probability,
    false_accept_at_limit,
    guard_factor,
    joint_guard_factor,
)

if TYPE_CHECKING:
    from reference_checks.conftest import Published


def test_clause_7_examples(published: Published):
    """JCGM 106:2012, clause 7: two limits (inputs C, value D), one upper and one lower limit (inputs M)."""
    found = conformance_probability(13.6, 1.8, limit_low=12.5, limit_high=16.3)
    published.agree(found, "0.66263", "JCGM 106 7.4, p_c with two limits (D)")
    published.agree(found, "0.66", "JCGM 106 7.4, as printed (C)")
    found = conformance_probability(-5.47, 0.05, limit_high=-5.40)
    published.agree(found, "0.91924", "upper limit, p_c (inputs M, value R)")
    published.agree(found, "0.92", "upper limit, as printed (M)")
    found = conformance_probability(509.7, 8.6, limit_low=490.0)
    published.agree(found, "0.98901", "lower limit, p_c (inputs M, value R)")
    published.agree(found, "0.99", "lower limit, as printed (M)")


def test_speed_guard(published: Published):
    """u is 2 % of the speed, the limit 100, the wanted probability 99.9 % (inputs M, value D)."""
    speed = 100.0 / (1.0 - 0.02 * guard_factor(0.001))
    published.agree(speed, "106.59", "speed from which the limit is exceeded with 99.9 % (M)")
    found = conformance_probability(speed, 0.02 * speed, limit_low=100.0)
    published.agree(found, "0.999", "and its probability (D)", within=1e-12)


@pytest.mark.parametrize(
    ("guard", "consumer", "producer"),
    [(0.0, "1.894", "3.721"), (0.04, "0.433", "11.47"), (0.08, "0.0469", "24.77")],
)
def test_global_risk_table(guard: float, consumer: str, producer: str, published: Published):
    """Nominal 1500 ± 0.2, prior sd 0.12, u 0.04 (inputs M, values D)."""
    found = global_risk(
        normal_prior(1500.0, 0.12),
        0.04,
        limit_low=1499.8,
        limit_high=1500.2,
        accept_low=1499.8 + guard,
        accept_high=1500.2 - guard,
    )
    published.agree(found.conforming, "0.9044", "share that conforms (M inputs)")
    published.agree(100 * found.consumer_risk, consumer, f"guard {guard}: consumer's risk [%] (M inputs)")
    published.agree(100 * found.producer_risk, producer, f"guard {guard}: producer's risk [%] (M inputs)")


@pytest.mark.parametrize("guard", [-0.05, 0.0, 0.03, 0.08, 0.15])
def test_normal_risks_are_those_of_the_bivariate_normal(guard: float, published: Published):
    """Second opinion: Y and the measured value are jointly normal; rectangles of their distribution (D)."""
    from scipy.stats import multivariate_normal

    y0, u0, u, low, high = 20.0, 0.2, 0.07, 19.7, 20.25
    accept = low + guard, high - guard
    joint = multivariate_normal([y0, y0], [[u0**2, u0**2], [u0**2, u0**2 + u**2]], abseps=1e-12, releps=1e-12)
    far = 5.0

    def rectangle(one: tuple[float, float], other: tuple[float, float]) -> float:
        return float(joint.cdf([one[1], other[1]], lower_limit=[one[0], other[0]]))

    found = global_risk(
        normal_prior(y0, u0), u, limit_low=low, limit_high=high, accept_low=accept[0], accept_high=accept[1]
    )
    below, above = (y0 - far, low), (high, y0 + far)
    consumer = rectangle(below, accept) + rectangle(above, accept)
    producer = rectangle((low, high), (y0 - far, accept[0])) + rectangle((low, high), (accept[1], y0 + far))
    published.agree(found.consumer_risk, f"{consumer:.15f}", f"guard {guard}: consumer (D)", within=1e-9)
    published.agree(found.producer_risk, f"{producer:.15f}", f"guard {guard}: producer (D)", within=1e-9)


def gamma_prior() -> Prior:
    """Gamma density of shape 4 and rate 4: 4⁴·y³·exp(−4y)/Γ(4)."""

    def density(y: float) -> float:
        return 4.0**4 * y**3 * math.exp(-4.0 * y) / 6.0

    return Prior(density=density, support=(0.0, math.inf), centre=1.0, scale=0.5)


def test_ball_bearings(published: Published):
    """JCGM 106:2012, 9.5.4: gamma prior, limit 2 µm, u 0.25 µm (C; further digits R)."""
    simple = global_risk(gamma_prior(), 0.25, limit_high=2.0, accept_high=2.0)
    published.agree(1.0 - simple.conforming, ".04238011", "P(Y > 2) (C)")
    published.agree(simple.consumer_risk, ".008019", "consumer's risk, A = 2 (C to .00802)")
    published.agree(simple.producer_risk, ".017445", "producer's risk, A = 2 (R)")
    strict = acceptance_for_consumer_risk(gamma_prior(), 0.25, 0.001, limit_high=2.0)
    published.agree(strict.accept_high, "1.671829", "A for a consumer's risk of 0.1 % (C to 1.6718)")
    published.agree(strict.producer_risk, ".075494", "producer's risk with it (R)")


@pytest.mark.parametrize(
    ("part", "percent"), [(3.0, "9.9E-8"), (1.5, "0.135"), (1.0, "2.275"), (0.83, "4.85")]
)
def test_false_accept_of_guard_bands(part: float, percent: str, published: Published):
    """ILAC-G8:09/2019, guard bands in parts of U at k = 2 (D; the first is printed there as under 1e-9)."""
    found = false_accept_at_limit(part * 2.0, 1.0)
    published.agree(100 * found, percent, f"w = {part} U: false accept at the limit [%] (D)")


def test_factors(published: Published):
    published.agree(joint_guard_factor(9), "2.531", "Šidák factor, 9 locations, 95 % (D)")
    published.agree(joint_guard_factor(27), "2.895", "Šidák factor, 27 locations, 95 % (D)")
    published.agree(guard_factor(0.05), "1.645", "ISO 14253-1, one-sided 95 % (C weak)")
    published.agree(joint_guard_factor(1), "1.645", "one location, 95 % (D)")
    published.agree(guard_factor(0.05, 9.0), "1.833", "Student's t, 9 degrees, 95 % (D)")


@pytest.mark.parametrize("tolerance", [4.0, 5.0, 5.9])
def test_two_sided_width_solves_its_equation(tolerance: float, published: Published):
    """Second opinion: the acceptance limit by a root finder on the library's normal distribution (D)."""
    from scipy.optimize import brentq
    from scipy.stats import norm

    width = brentq(
        lambda w: norm.cdf(w) - norm.cdf(w - tolerance) - 0.95, 0.0, tolerance / 2, xtol=1e-15, rtol=1e-14
    )
    found = guard_band(GuardRule.ISO_14253, limit_low=0.0, limit_high=tolerance, standard=1.0)
    published.agree(found.width, f"{width:.12f}", f"two-sided width at {tolerance} u (D)", within=1e-10)
    published.agree(found.risk_at_limit, "0.05", "risk at its acceptance limits (D)", within=1e-10)


@pytest.mark.parametrize("degrees", [1.0, 3.0, 12.5, 200.0])
def test_probability_with_few_degrees(degrees: float, published: Published):
    """Second opinion: numerical integration of Student's density, written out (D)."""
    height = math.gamma((degrees + 1) / 2) / math.gamma(degrees / 2) / math.sqrt(degrees * math.pi)
    nodes, weights = np.polynomial.legendre.leggauss(200)
    low, high = -0.6, 1.5
    at = (high - low) / 2 * nodes + (high + low) / 2
    area = (high - low) / 2 * float(weights @ (height * (1 + at**2 / degrees) ** (-(degrees + 1) / 2)))
    found = conformance_probability(10.0, 2.0, limit_low=8.8, limit_high=13.0, degrees=degrees)
    published.agree(found, f"{area:.14f}", f"p_c with {degrees} degrees (D)", within=1e-12)
