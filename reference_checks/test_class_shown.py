"""The class that calibration points show: rules by hand, probabilities against closed forms.

Sources: JCGM 106:2012, 7.4 (C for the inputs of its example, D for the value); the rest is arithmetic (D),
with the normal distribution of the standard library or of scipy as a second opinion.
"""

from __future__ import annotations

from statistics import NormalDist

import numpy as np
import pytest

from qualify.sensors.class_shown import Shown, class_shown, conformity_probability, joint_probabilities
from qualify.sensors.tolerances import UnknownClassError

IEC, ASTM, PT = "IEC 60584-1", "ASTM E230/E230M", "IEC 60751"
PHI = NormalDist().cdf


def array(*values: float) -> np.ndarray:
    return np.array(values, dtype=np.float64)


def test_the_example_of_the_guide() -> None:
    """Limits 12.5 and 16.3, value 13.6, u 1.8: 0.66, unrounded 0.66263."""
    middle, half = (12.5 + 16.3) / 2, (16.3 - 12.5) / 2
    found = float(conformity_probability(array(13.6 - middle), array(half), array(1.8))[0])
    assert abs(found - 0.66263) <= 0.000005


@pytest.mark.parametrize("error", [-3.0, -1.5, -0.2, 0.0, 0.7, 1.5, 4.0])
@pytest.mark.parametrize("u", [0.05, 0.3, 2.0])
def test_one_point_is_the_closed_form(error: float, u: float) -> None:
    found = float(conformity_probability(array(error), array(1.5), array(u))[0])
    assert found == pytest.approx(PHI((1.5 - error) / u) - PHI((-1.5 - error) / u), abs=1e-15)


def test_far_tails_keep_their_digits() -> None:
    """Ten standard uncertainties beyond the limit, where 1 − Φ would be zero."""
    stats = pytest.importorskip("scipy.stats")
    both = conformity_probability(array(2.5, -2.5), array(1.5, 1.5), array(0.1, 0.1))
    assert both.tolist() == pytest.approx([stats.norm.sf(10.0)] * 2, rel=1e-12)


def test_without_uncertainty_it_is_certain() -> None:
    found = conformity_probability(array(1.5, 1.6, -1.5), array(1.5, 1.5, 1.5), array(0.0, 0.0, 0.0))
    assert found.tolist() == [1.0, 0.0, 1.0]


@pytest.mark.parametrize(("points", "together"), [(9, 0.813), (27, 0.537)])
def test_many_points_at_their_guard_band(points: int, together: float) -> None:
    """Independent, each at T − 2u: 0.97725 to the power of n (D); shared: as one."""
    ones = np.ones(points)
    independent, shared = joint_probabilities(8.0 * ones, 10.0 * ones, ones)
    assert abs(independent - together) <= 0.0005
    assert shared == pytest.approx(PHI(2.0) - PHI(-18.0), abs=1e-15)


def test_shared_and_independent_against_simulation() -> None:
    rng = np.random.default_rng(60584)
    error, tolerance, u = array(0.9, -1.0, 1.6), array(1.5, 1.5, 2.0), array(0.4, 0.5, 0.3)
    drawn = rng.standard_normal((400_000, 3))
    independent, shared = joint_probabilities(error, tolerance, u)
    for found, z in ((independent, drawn), (shared, drawn[:, :1])):
        simulated = float((np.abs(error + u * z) <= tolerance).all(axis=1).mean())
        assert abs(found - simulated) <= 4.0 * 0.5 / np.sqrt(400_000)


def test_a_shared_error_can_be_the_worse_assumption() -> None:
    """Points at both limits: a shared error that mends one spoils the other (D)."""
    independent, shared = joint_probabilities(array(1.5, -1.5), array(1.5, 1.5), array(0.1, 0.1))
    assert independent == pytest.approx(0.25, abs=1e-12)
    assert shared == pytest.approx(0.0, abs=1e-12)


def test_class_by_each_rule() -> None:
    """K by IEC at 100 and 200 °C: tolerances 1.5 and 2.5; |e| 1.1, U 0.6 passes class 1 only simply."""
    found = class_shown(
        "K", IEC, temperature_c=[100, 200], error_c=[0.9, 1.1], expanded_uncertainty_c=0.6, coverage_factor=2
    )
    assert (found.best_simple, found.best_guarded, found.best_by_probability) == ("1", "2", "2")
    first = found.grades[0]
    assert [point.guarded for point in first.points] == [Shown.MET, Shown.NOT_MET]
    each = [PHI(0.6 / 0.3) - PHI(-2.4 / 0.3), PHI(0.4 / 0.3) - PHI(-2.6 / 0.3)]
    assert [point.probability for point in first.points] == pytest.approx(each, abs=1e-15)
    assert first.probability_independent == pytest.approx(each[0] * each[1], abs=1e-15)
    assert first.probability_shared == pytest.approx(PHI(0.4 / 0.3) - PHI(-2.4 / 0.3), abs=1e-15)
    assert (found.sensor_type, found.document, found.required_probability) == ("K", IEC, 0.95)
    assert [point.temperature_c for point in first.points] == [100.0, 200.0]


@pytest.mark.parametrize(
    ("t", "error", "expected"),
    [
        (375.0, 1.5, "1"),
        (376.0, 1.504, "1"),
        (376.0, 1.5041, "2"),
        (1000.0, 4.0, "1"),
        (1000.001, 4.0, "2"),
        (1200.0, 9.0, "2"),
        (1200.001, 0.0, None),
        (-40.0, 1.5, "1"),
        (-40.001, 0.0, "3"),
        (-200.0, -3.0, "3"),
        (-200.001, 0.0, None),
    ],
)
def test_ends_and_crossovers(t: float, error: float, expected: str | None) -> None:
    assert class_shown("K", IEC, temperature_c=t, error_c=error).best_simple == expected


def test_outside_a_range_no_tolerance_is_defined() -> None:
    found = class_shown("T", IEC, temperature_c=[100.0, 400.0], error_c=[0.1, 0.1])
    assert found.best_simple is None
    first = found.grades[0]
    assert [point.simple for point in first.points] == [Shown.MET, Shown.NO_TOLERANCE]
    assert first.simple is Shown.NO_TOLERANCE and first.points[1].tolerance is None
    worse = class_shown("T", IEC, temperature_c=[100.0, 400.0], error_c=[9.0, 0.1]).grades[0]
    assert worse.simple is Shown.NOT_MET


def test_unconfirmed_numbers_never_decide() -> None:
    cold = class_shown("K", ASTM, temperature_c=[-100.0, 100.0], error_c=[0.1, 0.1])
    standard = cold.grades[1]
    assert (standard.name, standard.simple, cold.best_simple) == ("standard", Shown.MET, None)
    assert len(standard.unconfirmed) == 1 and standard.unconfirmed[0].endswith("[X]")
    row = standard.points[0].tolerance
    assert row is not None
    told = class_shown("K", ASTM, temperature_c=[-100.0, 100.0], error_c=[0.1, 0.1], confirmed=[row.row])
    assert told.best_simple == "standard" and told.grades[1].unconfirmed == ()
    warm = class_shown("K", ASTM, temperature_c=[0.0, 100.0], error_c=[2.0, 2.0])
    assert warm.best_simple == "standard"
    assert class_shown("C", IEC, temperature_c=1000.0, error_c=0.0).best_simple is None
    assert class_shown("Pt thin film", PT, temperature_c=100.0, error_c=1.0).best_simple is None


def test_without_uncertainty_only_the_simple_rule_decides() -> None:
    found = class_shown("K", IEC, temperature_c=[100.0, 200.0], error_c=[0.1, 2.0])
    assert (found.best_simple, found.best_guarded, found.best_by_probability) == ("2", None, None)
    assert [grade.guarded for grade in found.grades] == [
        Shown.NOT_MET,
        Shown.NO_UNCERTAINTY,
        Shown.NO_TOLERANCE,
    ]
    without_k = class_shown("K", IEC, temperature_c=100.0, error_c=0.1, expanded_uncertainty_c=0.2)
    assert (without_k.best_guarded, without_k.best_by_probability) == ("1", None)


def test_equal_to_the_tolerance_meets_it() -> None:
    found = class_shown("K", IEC, temperature_c=180.0, error_c=-1.2, expanded_uncertainty_c=0.3)
    assert found.best_guarded == "1"


@pytest.mark.parametrize(
    "wrong",
    [
        {"temperature_c": [], "error_c": []},
        {"temperature_c": [1.0, 2.0], "error_c": [0.1]},
        {"temperature_c": [np.nan], "error_c": [0.1]},
        {"temperature_c": [1.0], "error_c": [0.1], "expanded_uncertainty_c": -0.1},
        {"temperature_c": [1.0], "error_c": [0.1], "expanded_uncertainty_c": 0.1, "coverage_factor": 0.0},
        {"temperature_c": [1.0], "error_c": [0.1], "required_probability": 1.0},
    ],
)
def test_numbers_that_cannot_be(wrong: dict[str, object]) -> None:
    with pytest.raises(ValueError):
        class_shown("K", IEC, **wrong)  # type: ignore[arg-type]


def test_no_such_class() -> None:
    with pytest.raises(UnknownClassError):
        class_shown("k", IEC, temperature_c=1.0, error_c=0.0)
