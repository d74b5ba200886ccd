"""The arithmetic of an uncertainty budget: half-widths, root sum of squares, coverage factor.

A budget of independent contributions, each already in the unit of the result (sensitivity 1). Which
contributions belong to it is the caller's to say: a chamber budget (assigned temperature of the chamber)
contains uniformity and stability, the budget of one corrected reading never does.
"""

from __future__ import annotations

from collections.abc import Iterable
from math import fsum, isfinite, sqrt


def half_width_standard_uncertainty(half_width_c: float) -> float:
    """Standard uncertainty of a quantity that lies anywhere within ± a half-width, all equally likely.

    u = a/√3, the rectangular distribution (JCGM 100:2008, 4.3.7; clause cited from memory).

    Parameters
    ----------
    half_width_c
        Half-width a [°C of difference].

    Returns
    -------
    float
        Standard uncertainty [°C of difference].

    Raises
    ------
    ValueError
        If the half-width is negative or not finite.
    """
    return _checked(half_width_c, "a half-width") / sqrt(3.0)


def combined_standard_uncertainty(standard_uncertainties_c: Iterable[float]) -> float:
    """Combined standard uncertainty of independent contributions: root of the sum of squares.

    u_c = √(Σ u_i²), sensitivities 1 (JCGM 100:2008, 5.1.2, equation 10; clause cited from memory).

    Parameters
    ----------
    standard_uncertainties_c
        Standard uncertainty of each contribution [°C of difference]; at least one.

    Returns
    -------
    float
        Combined standard uncertainty [°C of difference].

    Raises
    ------
    ValueError
        If there is none, or one is negative or not finite.
    """
    squares = [_checked(part, "a standard uncertainty") ** 2 for part in standard_uncertainties_c]
    if not squares:
        raise ValueError("a budget without a contribution has no uncertainty")
    return sqrt(fsum(squares))


def expanded(combined_c: float, coverage_factor: float = 2.0) -> float:
    """Expanded uncertainty U = k·u_c (JCGM 100:2008, 6.2.1; clause cited from memory).

    Parameters
    ----------
    combined_c
        Combined standard uncertainty u_c [°C of difference].
    coverage_factor
        Coverage factor k [1]; 2 for about 95 % where the degrees of freedom are many.

    Returns
    -------
    float
        Expanded uncertainty [°C of difference].

    Raises
    ------
    ValueError
        If u_c is negative or not finite, or k is not above zero.
    """
    if not (isfinite(coverage_factor) and coverage_factor > 0):
        raise ValueError(f"a coverage factor is above zero, not {coverage_factor}")
    return coverage_factor * _checked(combined_c, "a standard uncertainty")


def _checked(value: float, what: str) -> float:
    if not (isfinite(value) and value >= 0):
        raise ValueError(f"{what} is a number from 0, not {value}")
    return value
