"""One-way analysis of variance: do groups of readings differ by more than they scatter inside."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np

from qualify.figures.absent import Absent, Maybe
from qualify.inference.variance_intervals import (
    Component,
    MeanSquare,
    component_of_difference,
    component_of_mean_square,
)
from qualify.readings.model import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class OneWay:
    """Groups of readings analysed.

    Attributes
    ----------
    n, groups
        Readings, and groups they fall into.
    mean_c
        Mean of all readings [°C].
    group_means_c : (groups,) float64
        Mean of each group [°C].
    between_groups, within_groups
        The two lines of the table.
    f, p_value
        Ratio of the mean squares [1], and the chance [1] of one as large where groups don't differ; absent
        where nothing scatters inside the groups.
    r_squared
        Share of the sum of squares between the groups [1]; absent where all readings are the same.
    between, within
        Variance of the groups' true means, and of readings inside a group.
    confidence
        Of the intervals [1].
    """

    n: int
    groups: int
    mean_c: float
    group_means_c: FloatArray
    between_groups: MeanSquare
    within_groups: MeanSquare
    f: Maybe
    p_value: Maybe
    r_squared: Maybe
    between: Component
    within: Component
    confidence: float

    @property
    def residual_sd_c(self) -> float:
        """Standard deviation inside the groups [°C]."""
        return sqrt(self.within_groups.value_c2)


def one_way(groups: Sequence[FloatArray], confidence: float = 0.95) -> OneWay | Absent:
    """Analyse groups of readings by one factor.

    All readings are first taken from their common median and every sum of squares from deviations, so that
    leading digits that all readings share cost nothing. Between groups of unequal size the component is
    (S_b² − S_w²)/n₀ with n₀ = (N − Σn²/N)/(a − 1) (S. R. Searle, Linear Models, 1971, chapter 10; cited
    from memory); its interval is then approximate. JCGM 100:2008, H.5, treats days this way.

    Parameters
    ----------
    groups
        Readings of each group [°C]; NaN stands for an absent reading.
    confidence
        Of the components' intervals [1].
    """
    kept = [np.asarray(group, dtype=np.float64) for group in groups]
    kept = [group[np.isfinite(group)] for group in kept]
    kept = [group for group in kept if group.size]
    sizes = np.array([group.size for group in kept], dtype=np.float64)
    if sizes.size < 2:
        return Absent("fewer than two groups with a reading; there is nothing to compare")
    n = int(sizes.sum())
    if n == sizes.size:
        return Absent("one reading a group; scatter inside a group can't be told from that between groups")
    origin = float(np.median(np.concatenate(kept)))
    shifted = [group - origin for group in kept]
    means = np.array([group.mean() for group in shifted])
    grand = float(sizes @ means) / n
    within = MeanSquare(
        sum_c2=float(sum(_squares(group) for group in shifted)), degrees=float(n - sizes.size)
    )
    between = MeanSquare(sum_c2=float(sizes @ (means - grand) ** 2), degrees=float(sizes.size - 1))
    shared = float(n - sizes @ sizes / n) / between.degrees
    total = between.sum_c2 + within.sum_c2
    ratio: Maybe = Absent("the readings do not scatter inside the groups")
    chance: Maybe = ratio
    if within.sum_c2 > 0:
        from scipy.special import fdtrc

        ratio = between.value_c2 / within.value_c2
        chance = float(fdtrc(between.degrees, within.degrees, ratio))
    return OneWay(
        n=n,
        groups=sizes.size,
        mean_c=origin + grand,
        group_means_c=origin + means,
        between_groups=between,
        within_groups=within,
        f=ratio,
        p_value=chance,
        r_squared=between.sum_c2 / total if total > 0 else Absent("all readings are the same"),
        between=component_of_difference(between, within, shared, confidence),
        within=component_of_mean_square(within, confidence),
        confidence=confidence,
    )


def _squares(values: FloatArray) -> float:
    """Σ (x − mean)², the rounding of the mean taken out again."""
    deviations = values - values.mean()
    return float(np.sum(deviations**2) - np.sum(deviations) ** 2 / deviations.size)
