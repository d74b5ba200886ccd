"""The arithmetic of an uncertainty budget: half-widths, root sum of squares, coverage factor.

A budget of independent contributions, each already in the unit of the result (sensitivity 1). Which
contributions belong to it is the caller's to say: a chamber budget (assigned temperature of the chamber)
contains uniformity and stability, the budget of one corrected reading never does.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import erf, floor, fsum, inf, isfinite, sqrt

from qualify.probability import student_quantile

COVERAGE = erf(sqrt(2.0))
"""Coverage probability of k = 2 for a normal distribution: 95.45 %, as calibration laboratories state it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Contribution:
    """One row of a budget.

    Attributes
    ----------
    source
        What may be wrong.
    evaluation
        "A" from the scatter of readings, "B" otherwise (JCGM 100:2008, 4.2 and 4.3).
    shape
        "normal", "rectangular" or "triangular".
    stated_c, divisor
        What is stated [°C of difference], and what it is divided by.
    degrees_of_freedom
        Of the standard uncertainty; infinite where it is taken as known.
    shared_with
        Key of those that share this very error; "" where it is the location's alone.
    origin
        Where the number comes from.
    """

    source: str
    evaluation: str = "B"
    shape: str = "normal"
    stated_c: float
    divisor: float = 1.0
    degrees_of_freedom: float = inf
    shared_with: str = ""
    origin: str = ""

    @property
    def standard_c(self) -> float:
        """Standard uncertainty [°C of difference]."""
        return self.stated_c / self.divisor


@dataclass(frozen=True, slots=True, kw_only=True)
class Budget:
    """Contributions and what they come to.

    `standard_c` u_c and `expanded_c` U [°C of difference]; `effective_degrees` ν_eff, infinite where all
    contributions are taken as known; `coverage_factor` k.
    """

    contributions: tuple[Contribution, ...]
    standard_c: float
    effective_degrees: float
    coverage_factor: float
    expanded_c: float

    def share(self, contribution: Contribution) -> float:
        """Part of the variance that a contribution makes [1]."""
        return contribution.standard_c**2 / self.standard_c**2 if self.standard_c > 0 else 0.0


def budget(contributions: Sequence[Contribution], *, coverage_factor: float | None = None) -> Budget:
    """Combine contributions.

    u_c by the root of the sum of squares; ν_eff by Welch and Satterthwaite; k from Student's t for ν_eff,
    cut to a whole number, at the coverage of k = 2 (JCGM 100:2008, 5.1.2, G.4.1, G.6.4; clauses cited from
    memory).

    Parameters
    ----------
    contributions
        At least one.
    coverage_factor
        k where it is given: that of a certificate which makes up the whole budget.

    Raises
    ------
    ValueError
        If there is no contribution, or one is negative or not finite.
    """
    standard = combined_standard_uncertainty(item.standard_c for item in contributions)
    degrees = effective_degrees_of_freedom(
        [(item.standard_c, item.degrees_of_freedom) for item in contributions]
    )
    factor = coverage_factor_for(degrees) if coverage_factor is None else coverage_factor
    return Budget(
        contributions=tuple(contributions),
        standard_c=standard,
        effective_degrees=degrees,
        coverage_factor=factor,
        expanded_c=expanded(standard, factor),
    )


def effective_degrees_of_freedom(parts: Iterable[tuple[float, float]]) -> float:
    """Effective degrees of freedom of a sum: u_c⁴ / Σ (u_i⁴/ν_i), infinite where every ν_i is.

    The formula of Welch and Satterthwaite (JCGM 100:2008, G.4.1, equation G.2b).

    Parameters
    ----------
    parts
        Standard uncertainty [°C of difference] and degrees of freedom [1] of each contribution.
    """
    known = list(parts)
    largest = max((u for u, _ in known), default=0.0)
    if largest <= 0.0:
        return inf
    # in units of the largest, so that fourth powers of small uncertainties don't vanish
    loss = fsum((u / largest) ** 4 / degrees for u, degrees in known)
    return fsum((u / largest) ** 2 for u, _ in known) ** 2 / loss if loss > 0 else inf


def coverage_factor_for(degrees: float) -> float:
    """Coverage factor k of the coverage that k = 2 has for a normal distribution.

    Student's t for the degrees of freedom cut to a whole number (JCGM 100:2008, G.4.1, note 1, lets both
    cutting and interpolating; a spreadsheet cuts), never below one.

    Parameters
    ----------
    degrees
        Effective degrees of freedom [1]; infinite ones give 2.
    """
    if not isfinite(degrees):
        return 2.0
    return student_quantile(max(floor(degrees * (1 + 1e-12)), 1), (1.0 + COVERAGE) / 2.0)


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
