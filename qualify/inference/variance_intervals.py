"""Intervals of a variance: of a mean square, of a difference of two, of a sum; and what a component is.

A mean square S² with ν degrees of freedom has ν·S²/E(S²) distributed as chi-square. One alone has an exact
interval; differences and sums have modified large-sample intervals, exact where one mean square decides.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf, sqrt

from qualify.figures.absent import Absent


@dataclass(frozen=True, slots=True, kw_only=True)
class MeanSquare:
    """One line of an analysis of variance: sum of squares [°C²], degrees of freedom [1]."""

    sum_c2: float
    degrees: float

    @property
    def value_c2(self) -> float:
        """Mean square [°C²]."""
        return self.sum_c2 / self.degrees


@dataclass(frozen=True, slots=True, kw_only=True)
class Component:
    """One source of scatter.

    Attributes
    ----------
    variance_c2
        Variance [°C²], never below 0.
    low_c2, high_c2
        Its interval [°C²].
    unheld_c2
        The estimate before it was held at 0 [°C²].
    degrees
        Degrees of freedom behind it [1].
    confidence
        Of the interval [1].
    method
        How the interval was made, in words.
    note
        What a person should know of it; empty where there is nothing.
    """

    variance_c2: float
    low_c2: float
    high_c2: float
    unheld_c2: float
    degrees: float
    confidence: float
    method: str
    note: str = ""

    @property
    def sd_c(self) -> float:
        """Standard deviation [°C]."""
        return sqrt(self.variance_c2)

    @property
    def sd_low_c(self) -> float:
        """Lower end of the interval of the standard deviation [°C]."""
        return sqrt(self.low_c2)

    @property
    def sd_high_c(self) -> float:
        """Upper end of the interval of the standard deviation [°C]."""
        return sqrt(self.high_c2)


MaybeComponent = Component | Absent

CHI_SQUARE = "chi-square, exact for a normal distribution"
DIFFERENCE = "modified large sample for a difference of mean squares (Ting et al. 1990)"
SUM = "modified large sample for a sum of mean squares (Graybill & Wang 1980)"


def checked_share(value: float, name: str) -> float:
    """Give a confidence or content back if it lies between 0 and 1.

    Raises
    ------
    ValueError
        If it doesn't.
    """
    if not 0.0 < value < 1.0:
        raise ValueError(f"{name} {value} does not lie between 0 and 1")
    return value


def variance_bounds(mean: MeanSquare, confidence: float) -> tuple[float, float]:
    """Two-sided interval [°C²] of the expectation of one mean square: ν·S²/χ²."""
    from scipy.special import chdtri

    tail = (1.0 - checked_share(confidence, "confidence")) / 2
    return (
        float(mean.sum_c2 / chdtri(mean.degrees, tail)),
        float(mean.sum_c2 / chdtri(mean.degrees, 1.0 - tail)),
    )


def component_of_mean_square(mean: MeanSquare, confidence: float) -> Component:
    """Give a component that one mean square estimates directly, with its exact interval."""
    low, high = variance_bounds(mean, confidence)
    note = "" if mean.sum_c2 > 0 else "no scatter at all: the readings are the same to the last digit"
    return Component(
        variance_c2=mean.value_c2,
        low_c2=low,
        high_c2=high,
        unheld_c2=mean.value_c2,
        degrees=mean.degrees,
        confidence=confidence,
        method=CHI_SQUARE,
        note=note,
    )


def component_of_difference(
    upper: MeanSquare, lower: MeanSquare, times: float, confidence: float
) -> Component:
    """Give the component (S₁² − S₂²)/h with its interval.

    N. Ting, R. K. Burdick, F. A. Graybill, S. Jeyaratnam, T.-F. C. Lu, Confidence intervals on linear
    combinations of variance components that are unrestricted in sign, Journal of Statistical Computation
    and Simulation 35, 1990, 135–143; cited from memory. With S₂² = 0 the interval is the exact one of S₁².

    Parameters
    ----------
    upper, lower
        Mean squares; the first holds the component h times, the second only the rest.
    times
        h [1], readings that share one value of the component.
    confidence
        Of the two-sided interval [1].
    """
    from scipy.special import chdtri, fdtri

    tail = (1.0 - checked_share(confidence, "confidence")) / 2
    one, two, n1, n2 = upper.value_c2, lower.value_c2, upper.degrees, lower.degrees
    g1 = 1.0 - n1 / chdtri(n1, tail)
    g2 = 1.0 - n2 / chdtri(n2, tail)
    h1 = n1 / chdtri(n1, 1.0 - tail) - 1.0
    h2 = n2 / chdtri(n2, 1.0 - tail) - 1.0
    above, below = fdtri(n1, n2, 1.0 - tail), fdtri(n1, n2, tail)
    g12 = ((above - 1.0) ** 2 - (g1 * above) ** 2 - h2**2) / above
    h12 = ((1.0 - below) ** 2 - (h1 * below) ** 2 - g2**2) / below
    down = (g1 * one) ** 2 + (h2 * two) ** 2 + g12 * one * two
    up = (h1 * one) ** 2 + (g2 * two) ** 2 + h12 * one * two
    raw = (one - two) / times
    low = raw - sqrt(max(down, 0.0)) / times
    high = raw + sqrt(max(up, 0.0)) / times
    note = ""
    if one == two == 0.0:
        note = "no scatter at all: the readings are the same to the last digit"
    elif high <= 0.0:
        note = (
            f"the estimate ({raw:.3g} °C²) and its whole interval lie below 0 and are shown as 0: the "
            "scatter is less than the rest alone would make it, which chance seldom does"
        )
    elif raw < 0.0:
        note = f"the estimate is negative ({raw:.3g} °C²) and shown as 0: the rest alone explains the scatter"
    return Component(
        variance_c2=max(raw, 0.0),
        low_c2=max(low, 0.0),
        high_c2=max(high, 0.0),
        unheld_c2=raw,
        degrees=n1,
        confidence=confidence,
        method=DIFFERENCE,
        note=note,
    )


def component_of_sum(weighted: Sequence[tuple[float, MeanSquare]], confidence: float) -> Component:
    """Give Σ c·S² of independent mean squares, weights c not negative, with its interval.

    F. A. Graybill, C.-M. Wang, Confidence intervals on nonnegative linear combinations of variances,
    Journal of the American Statistical Association 75, 1980, 869–873; cited from memory. The degrees of
    freedom are Satterthwaite's, as in JCGM 100:2008, equation G.2b.

    Parameters
    ----------
    weighted
        Weight [1] and mean square of each part.
    confidence
        Of the two-sided interval [1].
    """
    from scipy.special import chdtri

    tail = (1.0 - checked_share(confidence, "confidence")) / 2
    parts = [(c * mean.value_c2, mean.degrees) for c, mean in weighted if c > 0.0]
    total = sum(part for part, _ in parts)
    down = sum((part * (1.0 - nu / chdtri(nu, tail))) ** 2 for part, nu in parts)
    up = sum((part * (nu / chdtri(nu, 1.0 - tail) - 1.0)) ** 2 for part, nu in parts)
    return Component(
        variance_c2=total,
        low_c2=max(total - sqrt(down), 0.0),
        high_c2=total + sqrt(up),
        unheld_c2=total,
        degrees=satterthwaite(weighted),
        confidence=confidence,
        method=SUM if len(parts) > 1 else CHI_SQUARE,
        note="" if total > 0 else "no scatter at all: the readings are the same to the last digit",
    )


def satterthwaite(weighted: Sequence[tuple[float, MeanSquare]]) -> float:
    """Degrees of freedom [1] of Σ c·S² (JCGM 100:2008, equation G.2b); infinite where the sum is 0."""
    total = sum(c * mean.value_c2 for c, mean in weighted)
    fourth = sum((c * mean.value_c2) ** 2 / mean.degrees for c, mean in weighted)
    return total**2 / fourth if fourth > 0.0 else inf
