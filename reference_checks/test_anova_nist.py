"""One-way analysis of variance against certified and published tables.

Sources: NIST Statistical Reference Datasets (StRD), analysis of variance, files unchanged under data/nist,
certified values typed from their headers (C); NIST/SEMATECH e-Handbook 7.4.3 (C); JCGM 100:2008, example H.5
(C for data, means and the rounded results; full digits R).

The made sets SmLs01 to SmLs09 have readings of one decimal after 1, 7 and 13 equal leading digits. The files
of 2001 readings a treatment (SmLs03, SmLs06, SmLs09) are half a megabyte each and follow the pattern of the
smaller ones, which is made again here and compared with those files.
"""

from __future__ import annotations

from collections.abc import Callable
from math import sqrt
from typing import TYPE_CHECKING

import numpy as np
import pytest

from qualify.figures.absent import Absent
from qualify.inference.one_way import OneWay, one_way

if TYPE_CHECKING:
    from reference_checks.conftest import Published

Reader = Callable[[str], list[list[float]]]


def analysed(groups: list[np.ndarray]) -> OneWay:
    found = one_way(groups)
    assert not isinstance(found, Absent)
    return found


def split(rows: list[list[float]]) -> list[np.ndarray]:
    table = np.array(rows)
    return [table[table[:, 0] == group, 1] for group in np.unique(table[:, 0])]


def agree(
    found: OneWay, certified: dict[str, str], name: str, published: Published, relative: float | None
) -> None:
    """Hold a table against certified digits: to half the last one, or to a relative difference."""
    values = {
        "sum of squares between": found.between_groups.sum_c2,
        "sum of squares within": found.within_groups.sum_c2,
        "mean square between": found.between_groups.value_c2,
        "mean square within": found.within_groups.value_c2,
        "F": found.f,
        "R squared": found.r_squared,
        "residual standard deviation": found.residual_sd_c,
    }
    for what, digits in certified.items():
        within = None if relative is None else relative * abs(float(digits))
        published.agree(values[what], digits, f"NIST {name}: {what}", within=within)


INSTRUMENTS = {
    "SiRstv": (
        (4, 20),
        {
            "sum of squares between": "5.11462616000000E-02",
            "mean square between": "1.27865654000000E-02",
            "F": "1.18046237440255E+00",
            "sum of squares within": "2.16636560000000E-01",
            "mean square within": "1.08318280000000E-02",
            "R squared": "1.90999039051129E-01",
            "residual standard deviation": "1.04076068334656E-01",
        },
        # Readings of about 196 have a binary spacing of 3e-14 and spread by 0.1: 13 digits of a deviation.
        2e-13,
    ),
    "AtmWtAg": (
        (1, 46),
        {
            "sum of squares between": "3.63834187500000E-09",
            "mean square between": "3.63834187500000E-09",
            "F": "1.59467335677930E+01",
            "sum of squares within": "1.04951729166667E-08",
            "mean square within": "2.28155932971014E-10",
            "R squared": "2.57426544538321E-01",
            "residual standard deviation": "1.51048314446410E-05",
        },
        # Readings of about 108 have a binary spacing of 1.4e-14 and spread by 1.5e-5: 9 digits.
        1e-9,
    ),
}


@pytest.mark.parametrize("name", INSTRUMENTS)
def test_instruments(name: str, nist: Reader, published: Published):
    degrees, certified, relative = INSTRUMENTS[name]
    found = analysed(split(nist(name)))
    assert (found.between_groups.degrees, found.within_groups.degrees) == degrees
    agree(found, certified, name, published, relative)


SHARED_DIGITS = {1: 1, 2: 1, 3: 1, 4: 10**6, 5: 10**6, 6: 10**6, 7: 10**12, 8: 10**12, 9: 10**12}
REPLICATES = {1: 21, 2: 201, 3: 2001}
MADE = {
    21: (
        "1.68000000000000E+00",
        "2.10000000000000E-01",
        "2.10000000000000E+01",
        "4.82758620689655E-01",
        "1.8",
    ),
    201: (
        "1.60800000000000E+01",
        "2.01000000000000E+00",
        "2.01000000000000E+02",
        "4.71830985915493E-01",
        "18",
    ),
    2001: (
        "1.60080000000000E+02",
        "2.00100000000000E+01",
        "2.00100000000000E+03",
        "4.70712773465067E-01",
        "180",
    ),
}


def tenths(replicates: int) -> list[list[int]]:
    """Readings of the nine treatments as whole tenths above the shared leading number."""
    first = [4, 3, 5, 3, 5, 3, 5, 3, 5]
    return [[base] + [base - 1, base + 1] * ((replicates - 1) // 2) for base in first]


def decimals(number: int) -> list[list[float]]:
    """Readings of SmLs0`number` as the nearest binary numbers of their decimals."""
    shared = SHARED_DIGITS[number]
    return [[float(f"{shared}.{tenth}") for tenth in group] for group in tenths(replicates_of(number))]


def replicates_of(number: int) -> int:
    return REPLICATES[(number - 1) % 3 + 1]


@pytest.mark.parametrize("number", [1, 2, 4, 5, 7, 8])
def test_made_sets_follow_their_pattern(number: int, nist: Reader):
    groups = split(nist(f"SmLs0{number}"))
    assert [group.tolist() for group in groups] == decimals(number)


def made_certificate(number: int) -> dict[str, str]:
    between, mean_between, ratio, r_squared, within = MADE[replicates_of(number)]
    return {
        "sum of squares between": between,
        "mean square between": mean_between,
        "F": ratio,
        "sum of squares within": f"{float(within):.14E}",
        "mean square within": "1.00000000000000E-02",
        "R squared": r_squared,
        "residual standard deviation": "1.00000000000000E-01",
    }


# What the decimals lose as binary numbers: spacing 2e-16, 1.2e-10 and 1.2e-4 against deviations of 0.1.
LOST = {1: 2e-14, 10**6: 1e-9, 10**12: 1e-3}


@pytest.mark.parametrize("number", range(1, 10))
def test_made_sets(number: int, published: Published):
    found = analysed([np.array(group) for group in decimals(number)])
    assert found.between_groups.degrees == 8
    assert found.within_groups.degrees == 9 * (replicates_of(number) - 1)
    agree(found, made_certificate(number), f"SmLs0{number}", published, LOST[SHARED_DIGITS[number]])


@pytest.mark.parametrize("number", [7, 8, 9])
def test_hardest_sets_as_far_as_a_binary_number_allows(number: int, published: Published):
    """Counted in tenths the readings are whole numbers, which lose nothing: only the arithmetic is judged."""
    groups = [np.array(group, dtype=np.float64) + 1e13 for group in tenths(replicates_of(number))]
    found = analysed(groups)
    certified = made_certificate(number)
    published.agree(found.f, certified["F"], f"NIST SmLs0{number} in tenths: F", within=1e-13 * found.f)
    published.agree(found.r_squared, certified["R squared"], f"NIST SmLs0{number} in tenths: R squared")
    sd = found.residual_sd_c / 10
    published.agree(
        sd, certified["residual standard deviation"], f"NIST SmLs0{number} in tenths: residual sd"
    )


def test_handbook_one_way(published: Published):
    """E-Handbook 7.4.3: three levels of five readings (C)."""
    found = analysed(
        [
            np.array([6.9, 5.4, 5.8, 4.6, 4.0]),
            np.array([8.3, 6.8, 7.8, 9.2, 6.5]),
            np.array([8.0, 10.5, 8.1, 6.9, 9.3]),
        ]
    )
    published.agree(found.between_groups.sum_c2, "27.897", "e-Handbook 7.4.3: sum of squares, treatments")
    published.agree(found.within_groups.sum_c2, "17.452", "e-Handbook 7.4.3: sum of squares, error")
    total = found.between_groups.sum_c2 + found.within_groups.sum_c2
    published.agree(total, "45.349", "e-Handbook 7.4.3: sum of squares, total")
    published.agree(found.f, "9.59", "e-Handbook 7.4.3: F")
    published.agree(found.f, "9.591107", "e-Handbook 7.4.3: F, recomputed")
    published.agree(found.p_value, "0.003248223", "e-Handbook 7.4.3: p")
    assert (found.between_groups.degrees, found.within_groups.degrees) == (2, 12)


DAY_MEANS_UV = [172, 116, 13, 144, 106, 31, 60, 125, 163, 41]
DAY_SD_UV = [60, 77, 111, 101, 67, 93, 80, 73, 88, 86]


def test_days_of_a_voltage_standard(published: Published):
    """JCGM 100:2008, H.5: ten days of five observations, above 10 V, in µV.

    Published are each day's mean and standard deviation; five observations with exactly these are made here.
    The published F of 2.25 comes from standard deviations rounded to 128 and 85; unrounded it is 2.2615 (R).
    """
    shape = np.array([-2.0, -1.0, 0.0, 1.0, 2.0]) / sqrt(2.5)
    days = [mean + sd * shape for mean, sd in zip(DAY_MEANS_UV, DAY_SD_UV, strict=True)]
    found = analysed(days)
    published.agree(found.mean_c, "97", "JCGM 100 H.5: mean above 10 V [µV]")
    published.agree(float(found.group_means_c.std(ddof=1)), "57", "JCGM 100 H.5: sd of day means [µV]")
    published.agree(float(found.group_means_c.std(ddof=1)), "57.09", "JCGM 100 H.5: the same, recomputed")
    published.agree(found.residual_sd_c, "85", "JCGM 100 H.5: sd within days [µV]")
    published.agree(found.residual_sd_c, "84.89", "JCGM 100 H.5: the same, recomputed")
    published.agree(sqrt(found.between_groups.value_c2), "128", "JCGM 100 H.5: sd from day means [µV]")
    published.agree(found.f, "2.2615", "JCGM 100 H.5: F, recomputed from unrounded")
    published.agree(found.f, "2.25", "JCGM 100 H.5: F", within=0.02)  # of rounded numbers, see above
    published.agree(found.between.sd_c, "43", "JCGM 100 H.5: sd between days [µV]")
    published.agree(sqrt(found.between_groups.value_c2 / found.n), "18", "JCGM 100 H.5: u(mean) [µV]")
    pooled = found.between_groups.sum_c2 + found.within_groups.sum_c2
    published.agree(sqrt(pooled / 49 / 50), "13", "JCGM 100 H.5: u(mean) without a day effect, recomputed")
    # 5 % of ratios lie above 2.124, 2.5 % above 2.452 (R): between them lies the day effect of H.5.
    assert 0.025 < found.p_value < 0.05
