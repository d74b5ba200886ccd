"""The Monte Carlo against closed forms and integrals that are written out here, independent of the package.

Standing: D arithmetic that anyone can redo; M from memory. Seeds are fixed; each comparison allows four
standard errors of the simulated number: of a mean u/√n, of an end of the 95 % interval of a normal variable
2.7·u/√n, of a probability √(p(1 − p)/n).
"""

from __future__ import annotations

import math
from statistics import NormalDist
from typing import TYPE_CHECKING

import numpy as np
import pytest

from qualify.figures.absent import Absent
from qualify.inference.error_sources import Distribution, ErrorSource
from qualify.inference.monte_carlo import Simulation, simulate
from qualify.inference.window_extremes import window_extremes

if TYPE_CHECKING:
    from reference_checks.conftest import Published

NORMAL = NormalDist()


def simulation(
    shown: list[float], sources: list[ErrorSource], low: float | None = None, high: float | None = None
) -> Simulation:
    """Two readings of each location, both as shown."""
    found = simulate(
        window_extremes(np.array([shown, shown])),
        sources,
        limit_low_c=low,
        limit_high_c=high,
        seed=20260302,
        numerical_tolerance=0.001,
    )
    assert not isinstance(found, Absent)
    assert found.converged
    return found


def within(found: Simulation, scale: float) -> float:
    """Four standard errors of a number whose single trial scatters by `scale`."""
    return 4.0 * scale / math.sqrt(found.trials)


def each(locations: int, standard_c: float) -> np.ndarray:
    return np.full(locations, standard_c)


def test_one_location_is_the_normal_distribution(published: Published):
    """Φ in closed form: y 1.2, u 0.5, limits ±2 (D)."""
    found = simulation([1.2], [ErrorSource.private("calibration", each(1, 0.5))], -2.0, 2.0)
    probability = NORMAL.cdf(1.6) - NORMAL.cdf(-6.4)
    published.agree(
        found.all_conform, f"{probability:.6f}", "one location: p_c (D)", within=within(found, 0.5)
    )
    for name, value, expected in (
        ("mean", found.deviation_max.mean_c, 1.2),
        ("u", found.deviation_max.standard_uncertainty_c, 0.5),
        ("low", found.deviation_max.propagated_low_c, 1.2 - 0.5 * 1.959964),
        ("high", found.deviation_max.propagated_high_c, 1.2 + 0.5 * 1.959964),
    ):
        published.agree(
            value, f"{expected:.6f}", f"one location: {name} [°C] (D)", within=within(found, 1.35)
        )


@pytest.mark.parametrize(("locations", "joint"), [(9, "0.813"), (27, "0.537")])
def test_independent_locations_each_at_w_equal_to_u(locations: int, joint: str, published: Published):
    """Every location at limit − U, U = 2u: Φ(2)^m (D)."""
    sources = [ErrorSource.private("calibration", each(locations, 0.5))]
    found = simulation([1.0] * locations, sources, None, 2.0)
    allowed = 0.0005 + within(found, 0.5)  # half the printed digit besides
    published.agree(found.all_conform, joint, f"{locations} independent at w = U (D)", within=allowed)
    published.agree(found.all_conform_if_independent, joint, "product of each (D)", within=allowed)


def test_wholly_shared_errors_are_one_error(published: Published):
    """27 locations that share all their error conform together as one does: Φ(2) (D)."""
    found = simulation([1.0] * 27, [ErrorSource.shared("logger", each(27, 0.5))], None, 2.0)
    published.agree(
        found.all_conform, "0.97725", "27 sharing one error at w = U (D)", within=within(found, 0.15)
    )
    # The 27 shares are one and the same here, so that their product carries 27 times its relative error.
    allowed = 0.0005 + within(found, 27 * 0.537 * 0.15)
    published.agree(found.all_conform_if_independent, "0.537", "if they were independent (D)", within=allowed)


def test_largest_of_nine_normals(published: Published):
    """Expectation of the largest of nine standard normal variables, and of their range (D, tabulated)."""
    found = simulation([0.0] * 9, [ErrorSource.private("calibration", each(9, 1.0))])
    published.agree(found.deviation_max.mean_c, "1.48501", "E(max of 9) (D)", within=within(found, 0.6))
    published.agree(found.deviation_min.mean_c, "-1.48501", "E(min of 9) (D)", within=within(found, 0.6))
    spread = found.spread_max
    assert not isinstance(spread, Absent)
    published.agree(
        spread.mean_c,
        "2.97003",
        "E(range of 9), the factor d2 of control charts (D)",
        within=within(found, 0.81),
    )
    upper = NORMAL.inv_cdf(0.975 ** (1 / 9))
    lower = NORMAL.inv_cdf(0.025 ** (1 / 9))
    published.agree(
        found.deviation_max.propagated_high_c, f"{upper:.5f}", "97.5 % of max of 9", within=within(found, 2.0)
    )
    published.agree(
        found.deviation_max.propagated_low_c, f"{lower:.5f}", "2.5 % of max of 9", within=within(found, 2.0)
    )


@pytest.mark.parametrize("shared_c", [0.2, 0.5])
def test_shared_and_private_errors_together(shared_c: float, published: Published):
    """One-dimensional integral over the shared error: ∫ φ(z) Π Φ((T − M_i − s·z)/u_i) dz (D)."""
    shown = [0.3, 0.8, 1.1, 1.4, 1.5]
    private = np.array([0.2, 0.3, 0.3, 0.25, 0.1])
    sources = [ErrorSource.private("calibration", private), ErrorSource.shared("logger", each(5, shared_c))]
    found = simulation(shown, sources, None, 1.9)
    z = np.linspace(-9, 9, 20_001)
    product = np.ones(z.size)
    for value, u in zip(shown, private, strict=True):
        product *= np.array([NORMAL.cdf((1.9 - value - shared_c * one) / u) for one in z])
    expected = float(np.trapezoid(product * np.exp(-0.5 * z**2) / math.sqrt(2 * math.pi), z))
    published.agree(found.all_conform, f"{expected:.7f}", f"shared {shared_c} (D)", within=within(found, 0.5))


def test_partly_shared_with_different_scales(published: Published):
    """Two locations of one spool, one of another; the shared part scaled 1 to 2: by two integrals (D)."""
    sources = [
        ErrorSource(
            name="spool",
            standard_c=np.array([0.2, 0.4, 0.3]),
            distribution="normal",
            group=np.array([0, 0, 1]),
        ),
        ErrorSource.private("calibration", each(3, 0.15)),
    ]
    found = simulation([1.0, 0.9, 1.1], sources, None, 1.5)
    z = np.linspace(-9, 9, 20_001)
    density = np.exp(-0.5 * z**2) / math.sqrt(2 * math.pi)
    first = np.array(
        [NORMAL.cdf((0.5 - 0.2 * one) / 0.15) * NORMAL.cdf((0.6 - 0.4 * one) / 0.15) for one in z]
    )
    expected = float(np.trapezoid(first * density, z)) * NORMAL.cdf(0.4 / math.hypot(0.3, 0.15))
    published.agree(found.all_conform, f"{expected:.7f}", "two spools (D)", within=within(found, 0.5))


def test_sum_of_four_rectangulars(published: Published):
    """JCGM 101:2008, 9.2.3: four rectangular errors of unit standard deviation, 95 % interval ±3.88 (M)."""
    sources = [ErrorSource.private(f"input {n}", each(1, 1.0), "rectangular") for n in range(4)]
    found = simulation([0.0], sources, None, 0.0)
    figure, allowed = found.deviation_max, 0.005 + within(found, 4.0)
    published.agree(figure.propagated_high_c, "3.88", "four rectangulars: upper end (M)", within=allowed)
    published.agree(figure.propagated_low_c, "-3.88", "four rectangulars: lower end (M)", within=allowed)
    published.agree(
        figure.standard_uncertainty_c, "2.00", "four rectangulars: u (D)", within=within(found, 1.4)
    )


@pytest.mark.parametrize(
    ("distribution", "degrees", "end", "end_scatter", "deviation", "scatter"),
    [
        ("rectangular", math.inf, 0.95 * math.sqrt(3), 0.54, 1.0, 0.45),
        ("triangular", math.inf, (1 - math.sqrt(0.05)) * math.sqrt(6), 1.72, 1.0, 0.6),
        ("student", 5.0, 2.570582, 5.15, math.sqrt(5 / 3), 1.9),
    ],
)
def test_distributions_in_closed_form(
    distribution: Distribution,
    degrees: float,
    end: float,
    end_scatter: float,
    deviation: float,
    scatter: float,
    published: Published,
):
    """97.5 % points 0.95·√3; (1 − √0.05)·√6; 2.570582 of Student's t with 5 degrees (D).

    Scatter of a single trial: of an end √(0.025·0.975)/density there; of a standard deviation
    √((kurtosis − 1)/4) times it.
    """
    found = simulation([0.0], [ErrorSource.private("x", each(1, 1.0), distribution, degrees)], None, 0.0)
    figure = found.deviation_max
    published.agree(
        figure.propagated_high_c,
        f"{end:.6f}",
        f"{distribution}: 97.5 % (D)",
        within=within(found, end_scatter),
    )
    published.agree(
        figure.standard_uncertainty_c,
        f"{deviation:.6f}",
        f"{distribution}: sd (D)",
        within=within(found, scatter),
    )
