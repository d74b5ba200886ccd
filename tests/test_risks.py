"""Probabilities of conformance, guard bands, zones and global risks: what must hold for any numbers."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qualify.figures.absent import Absent, present
from qualify.inference.global_risks import (
    GlobalRisk,
    Prior,
    acceptance_for_consumer_risk,
    global_risk,
    normal_prior,
)
from qualify.inference.guard_bands import GuardRule, guard_band
from qualify.inference.risks import (
    Zone,
    conformance_probability,
    false_accept_at_limit,
    guard_factor,
    joint_guard_factor,
    zone,
)

values = st.floats(-50, 50)
widths = st.floats(0.01, 10)


# ---- conformance ----


def test_in_the_middle_of_two_limits():
    assert conformance_probability(0.0, 1.0, limit_low=-1.96, limit_high=1.96) == pytest.approx(
        0.95, abs=1e-4
    )
    assert conformance_probability(2.0, 1.0, limit_high=2.0) == pytest.approx(0.5)
    assert conformance_probability(2.0, 1.0, limit_high=2.0, degrees=4.0) == pytest.approx(0.5)


@given(value=values, standard=widths, low=values, width=widths, degrees=st.sampled_from([1.0, 5.0, math.inf]))
def test_two_limits_are_both_sides_together(
    value: float, standard: float, low: float, width: float, degrees: float
):
    both = conformance_probability(value, standard, limit_low=low, limit_high=low + width, degrees=degrees)
    above = conformance_probability(value, standard, limit_low=low, degrees=degrees)
    below = conformance_probability(value, standard, limit_high=low + width, degrees=degrees)
    assert present(both)
    assert 0.0 <= both <= 1.0
    assert both == pytest.approx(above + below - 1.0, abs=1e-9)


@given(value=values, standard=widths, limit=values, shift=values, scale=st.floats(0.1, 10))
def test_neither_offset_nor_unit_matters(
    value: float, standard: float, limit: float, shift: float, scale: float
):
    one = conformance_probability(value, standard, limit_high=limit)
    other = conformance_probability(scale * value + shift, scale * standard, limit_high=scale * limit + shift)
    assert other == pytest.approx(one, abs=1e-9)


def test_fewer_degrees_are_less_sure():
    few, many = (conformance_probability(1.0, 0.5, limit_high=2.0, degrees=d) for d in (3.0, math.inf))
    assert present(few)
    assert present(many)
    assert few < many
    assert conformance_probability(1.0, 0.5, limit_high=2.0, degrees=1e7) == pytest.approx(many, abs=1e-6)


def test_without_uncertainty_it_is_inside_or_not():
    assert conformance_probability(2.0, 0.0, limit_high=2.0) == 1.0
    assert conformance_probability(2.0 + 1e-6, 0.0, limit_high=2.0) == 0.0
    assert conformance_probability(1.0, 0.0, limit_low=1.5, limit_high=2.0) == 0.0


def test_far_tails_keep_their_digits():
    assert conformance_probability(10.0, 1.0, limit_high=0.0) == pytest.approx(7.619853e-24, rel=1e-6)
    # Student's t with 2 degrees in closed form: F(−t) = 1/(2 + t² + t·√(2 + t²)).
    expected = 1.0 / (2.0 + 1e6 + 1e3 * math.sqrt(2.0 + 1e6))
    found = conformance_probability(1e3, 1.0, limit_high=0.0, degrees=2.0)
    assert found == pytest.approx(expected, rel=1e-9)


def test_no_limit_to_conform_to():
    assert isinstance(conformance_probability(1.0, 1.0), Absent)
    assert isinstance(zone(1.0, 1.0), Absent)


@pytest.mark.parametrize(
    ("value", "standard", "degrees"), [(1, -1, 5), (1, math.nan, 5), (math.nan, 1, 5), (1, 1, 0.5)]
)
def test_wrong_numbers(value: float, standard: float, degrees: float):
    with pytest.raises(ValueError, match=r"number|degrees"):
        conformance_probability(value, standard, limit_high=2.0, degrees=degrees)


# ---- guard bands ----


@given(risk=st.floats(1e-6, 0.49), standard=widths, limit=values)
def test_a_guard_band_leaves_the_wanted_risk(risk: float, standard: float, limit: float):
    conforms = conformance_probability(limit - guard_factor(risk) * standard, standard, limit_high=limit)
    assert present(conforms)
    assert 1.0 - conforms == pytest.approx(risk, rel=1e-6)
    assert false_accept_at_limit(guard_factor(risk) * standard, standard) == pytest.approx(risk, rel=1e-6)


@given(locations=st.integers(1, 200), confidence=st.floats(0.6, 0.999))
def test_all_together_conform_with_the_confidence(locations: int, confidence: float):
    one = 1.0 - false_accept_at_limit(joint_guard_factor(locations, confidence), 1.0)
    assert one**locations == pytest.approx(confidence, abs=1e-9)


@pytest.mark.parametrize("risk", [0.0, 0.5, 1.0, -0.1])
def test_no_such_risk(risk: float):
    with pytest.raises(ValueError, match="risk"):
        guard_factor(risk)
    with pytest.raises(ValueError, match="joint"):
        joint_guard_factor(0)
    with pytest.raises(ValueError, match="above 0"):
        false_accept_at_limit(1.0, 0.0)


def test_widths_of_the_rules():
    both = {"limit_low": -5.0, "limit_high": 5.0, "standard": 0.5, "expanded": 1.0}
    simple = guard_band(GuardRule.SIMPLE, **both)
    assert (simple.width, simple.accept_low, simple.accept_high) == (0.0, -5.0, 5.0)
    assert simple.risk_at_limit == pytest.approx(0.5)
    assert guard_band(GuardRule.EXPANDED, part=0.83, **both).accept_high == pytest.approx(4.17)
    assert guard_band(GuardRule.ISO_14253, **both).width == pytest.approx(0.5 * 1.644854, abs=1e-6)
    assert guard_band(GuardRule.JOINT, locations=9, **both).width == pytest.approx(0.5 * 2.5312, abs=1e-4)
    single = guard_band(GuardRule.EXPANDED, limit_high=5.0, expanded=1.0)
    assert (single.accept_low, single.accept_high) == (None, 4.0)
    assert isinstance(single.risk_at_limit, Absent)
    assert single.has_acceptance_zone


@given(tolerance=st.floats(0.5, 12.0), confidence=st.floats(0.6, 0.99))
def test_the_two_sided_width_reaches_the_confidence_or_there_is_no_zone(tolerance: float, confidence: float):
    found = guard_band(
        GuardRule.ISO_14253, limit_low=0.0, limit_high=tolerance, standard=1.0, confidence=confidence
    )
    middle = conformance_probability(tolerance / 2, 1.0, limit_low=0.0, limit_high=tolerance)
    assert present(middle)
    if not found.has_acceptance_zone:
        assert middle < confidence
        assert isinstance(found.width, Absent)
        return
    assert middle >= confidence
    assert found.accept_high is not None
    assert found.accept_low is not None
    assert present(found.accept_high)
    assert present(found.accept_low)
    assert found.accept_low <= found.accept_high + 1e-9
    # One-sided from 6 u on: the far limit then takes at most Φ(−(6 − z)) more.
    assert found.risk_at_limit == pytest.approx(1.0 - confidence, abs=1e-4)


def test_guard_bands_that_swallow_the_tolerance():
    found = guard_band(GuardRule.EXPANDED, limit_low=-1.0, limit_high=1.0, expanded=1.2, standard=0.6)
    assert found.width == 1.2
    assert not found.has_acceptance_zone
    assert isinstance(found.accept_high, Absent)
    assert "no acceptance zone" in found.accept_high.reason
    assert isinstance(found.risk_at_limit, Absent)
    just = guard_band(GuardRule.EXPANDED, limit_low=-1.0, limit_high=1.0, expanded=1.0)
    assert (just.accept_low, just.accept_high) == (0.0, 0.0)


def test_no_uncertainty_no_guard_band():
    for rule in (GuardRule.EXPANDED, GuardRule.ISO_14253, GuardRule.JOINT):
        found = guard_band(rule, limit_high=1.0)
        assert isinstance(found.width, Absent)
        assert "uncertainty is known" in found.width.reason
        assert not found.has_acceptance_zone


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({}, "needs a limit"),
        ({"limit_low": 2.0, "limit_high": 1.0}, "above the upper"),
        ({"limit_high": 1.0, "standard": -1.0}, "from 0"),
        ({"limit_high": 1.0, "confidence": 0.4}, "confidence"),
        ({"limit_high": 1.0, "part": -0.5}, "part"),
    ],
)
def test_wrong_guard_bands(options: dict[str, float], words: str):
    with pytest.raises(ValueError, match=words):
        guard_band(GuardRule.EXPANDED, **options)  # type: ignore[arg-type]


# ---- zones ----


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        (0.0, Zone.PASS),
        (4.0, Zone.PASS),
        (4.0 + 1e-6, Zone.CONDITIONAL_PASS),
        (5.0, Zone.CONDITIONAL_PASS),
        (5.0 + 1e-6, Zone.CONDITIONAL_FAIL),
        (6.0, Zone.CONDITIONAL_FAIL),
        (6.0 + 1e-6, Zone.FAIL),
    ],
)
def test_zones_meet_at_their_bounds(value: float, expected: Zone):
    assert zone(value, 1.0, limit_high=5.0) is expected
    assert zone(-value, 1.0, limit_low=-5.0) is expected
    assert zone(value, 1.0, limit_low=-5.0, limit_high=5.0) is expected
    assert zone(-value, 1.0, limit_low=-5.0, limit_high=5.0) is expected


@given(value=st.floats(-3, 3))
def test_no_value_passes_where_guard_bands_swallow_the_tolerance(value: float):
    assert zone(value, 1.2, limit_low=-1.0, limit_high=1.0) is not Zone.PASS


def test_without_guard_band_there_are_two_zones():
    assert zone(5.0, 0.0, limit_high=5.0) is Zone.PASS
    assert zone(5.1, 0.0, limit_high=5.0) is Zone.FAIL
    with pytest.raises(ValueError, match="from 0"):
        zone(1.0, -1.0, limit_high=5.0)
    with pytest.raises(ValueError, match="finite"):
        zone(math.nan, 1.0, limit_high=5.0)


# ---- global risks ----


@given(
    mean=st.floats(-1, 1), scatter=st.floats(0.05, 3), standard=st.floats(0.01, 2), guard=st.floats(-0.5, 0.9)
)
@settings(max_examples=25, deadline=None)
def test_shares_add_up(mean: float, scatter: float, standard: float, guard: float):
    prior = normal_prior(mean, scatter)
    found = global_risk(
        prior, standard, limit_low=-1.0, limit_high=1.0, accept_low=guard - 1.0, accept_high=1.0 - guard
    )
    # Accepted: the measured value is normal with both variances.
    wide = math.hypot(scatter, standard)
    accepted = conformance_probability(mean, wide, limit_low=guard - 1.0, limit_high=1.0 - guard)
    conforming = conformance_probability(mean, scatter, limit_low=-1.0, limit_high=1.0)
    assert found.accepted == pytest.approx(accepted, abs=1e-9)
    assert found.conforming == pytest.approx(conforming, abs=1e-9)
    assert found.accepted - found.consumer_risk == pytest.approx(
        found.conforming - found.producer_risk, abs=1e-9
    )


@given(guards=st.tuples(st.floats(-1, 0.9), st.floats(-1, 0.9)))
@settings(max_examples=10, deadline=None)
def test_a_wider_guard_helps_the_consumer_and_costs_the_producer(guards: tuple[float, float]):
    near, far = (
        global_risk(normal_prior(0.2, 0.5), 0.2, limit_high=1.0, accept_high=1.0 - guard)
        for guard in sorted(guards)
    )
    assert far.consumer_risk <= near.consumer_risk + 1e-12
    assert far.producer_risk >= near.producer_risk - 1e-12


@pytest.mark.parametrize("wanted", [0.02, 1e-3, 1e-5])
@pytest.mark.parametrize(
    "limits", [{"limit_high": 1.0}, {"limit_low": -1.0}, {"limit_low": -1.0, "limit_high": 1.0}]
)
def test_acceptance_limits_for_a_wanted_risk(wanted: float, limits: dict[str, float]):
    found = acceptance_for_consumer_risk(normal_prior(0.0, 0.5), 0.1, wanted, **limits)
    assert isinstance(found, GlobalRisk)
    assert found.consumer_risk == pytest.approx(wanted, rel=1e-6)
    assert (found.accept_high is None) == ("limit_high" not in limits)


def test_where_no_acceptance_limit_is_needed():
    found = acceptance_for_consumer_risk(normal_prior(0.0, 0.5), 0.1, 0.2, limit_high=1.0)
    assert isinstance(found, Absent)
    assert "every item" in found.reason


def test_a_narrow_prior_and_a_bounded_one():
    narrow = global_risk(normal_prior(0.0, 1e-4), 0.3, limit_high=1.0, accept_high=1.0)
    assert narrow.consumer_risk == pytest.approx(0.0, abs=1e-12)
    assert narrow.producer_risk == pytest.approx(4.2906e-4, rel=1e-3)
    even = Prior(density=lambda value: 0.5, support=(0.0, 2.0), centre=1.0, scale=0.5)
    found = global_risk(even, 1e-3, limit_high=1.0, accept_high=1.0)
    # By hand: half conform; the risks are u/√(2π) times the density.
    assert found.conforming == pytest.approx(0.5)
    assert found.consumer_risk == pytest.approx(0.5e-3 / math.sqrt(2 * math.pi), rel=1e-6)
    assert found.producer_risk == pytest.approx(0.5e-3 / math.sqrt(2 * math.pi), rel=1e-6)


@pytest.mark.parametrize(
    ("standard", "limits", "words"),
    [
        (0.0, {"limit_high": 1.0, "accept_high": 1.0}, "above 0"),
        (1.0, {"limit_high": 1.0}, "acceptance limit"),
        (1.0, {"accept_high": 1.0}, "tolerance limit"),
        (1.0, {"limit_high": 1.0, "accept_low": 1.0, "accept_high": 0.0}, "above the upper"),
    ],
)
def test_wrong_global_risks(standard: float, limits: dict[str, float], words: str):
    with pytest.raises(ValueError, match=words):
        global_risk(normal_prior(0.0, 1.0), standard, **limits)
    with pytest.raises(ValueError, match="above 0"):
        normal_prior(0.0, 0.0)
    with pytest.raises(ValueError, match="between 0 and 1"):
        acceptance_for_consumer_risk(normal_prior(0.0, 1.0), 1.0, 1.0, limit_high=1.0)
