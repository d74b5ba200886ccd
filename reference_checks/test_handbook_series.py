"""Autocorrelation, correlation time and equal variances on the series of NIST's handbook.

Sources: NIST/SEMATECH e-Handbook of Statistical Methods; the data files are NIST's own (public domain). C:
the published number was seen in a public copy and recomputed. R: recomputed by independent code only.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest
from numpy.typing import NDArray

from qualify.figures.absent import Absent
from qualify.figures.series import autocorrelation, find_cycle, standard_error_of_mean
from qualify.inference.variances import compare_variances, one_way_f
from qualify.probability import student_quantile

if TYPE_CHECKING:
    from reference_checks.conftest import Published

Series = NDArray[np.float64]
FOLDER = Path(__file__).parent / "data" / "nist"
HEADER_LINES = 25


def column(name: str) -> Series:
    """First column of a data file of the handbook."""
    lines = (FOLDER / f"handbook_{name}.dat").read_text(encoding="ascii").splitlines()[HEADER_LINES:]
    return np.array([float(line.split()[0]) for line in lines if line.strip()])


# Set, lag, number, standing: C the certified r1 of the StRD set (seen with more digits), R otherwise.
AUTOCORRELATIONS = [
    ("LEW", 1, "-.307305"),  # C
    ("LEW", 2, "-.740350"),  # R, its first two digits C
    ("LEW", 3, ".774689"),  # R
    ("LEW", 4, ".205155"),  # R
    ("LEW", 5, "-.898156"),  # R
    ("ZARR13", 1, ".280578"),  # R (handbook 1.4.2.8)
    ("FLICKER", 1, ".754390"),  # R
    ("FLICKER", 2, ".717002"),  # R
]


@pytest.mark.parametrize(("name", "lag", "expected"), AUTOCORRELATIONS)
def test_autocorrelation(name: str, lag: int, expected: str, published: Published):
    found = float(autocorrelation(column(name), lag)[lag])
    published.agree(found, expected, f"NIST handbook, {name}: r{lag}")


def test_mean_and_scatter_of_the_calibration_factor(published: Published):
    """Handbook 1.4.2.8, standing R."""
    values = column("ZARR13")
    assert values.size == 195
    published.agree(float(values.mean()), "9.261461", "ZARR13: mean")
    published.agree(float(values.std(ddof=1)), ".022789", "ZARR13: standard deviation")


# Errors of the mean that ignore correlation, and those by Bartlett's weights (4 and 6 lags); R both.
# The package's own error is another estimate of the same thing: no digits to agree in, but it must lie
# between the first, which is too small for positively correlated readings, and twice the second, which
# is known to be too small where correlation is slow to die (FLICKER is flicker noise).
MEAN_ERRORS = [("ZARR13", 0.0016319397, 0.0021085995), ("FLICKER", 0.0001890962, 0.0004294291)]


@pytest.mark.parametrize(("name", "naive", "bartlett"), MEAN_ERRORS)
def test_error_of_a_mean_beside_bartlett_weights(name: str, naive: float, bartlett: float):
    values = column(name)
    seconds = np.arange(values.size) * 60.0
    found = standard_error_of_mean(seconds, values, find_cycle(seconds, values))
    assert not isinstance(found, Absent)
    assert naive < 0.9 * found.standard_error_c
    assert 0.9 * bartlett < found.standard_error_c < 2.0 * bartlett
    # Of the half-width only the part of Student's t is owed to the degrees of freedom.
    assert found.half_width_c == pytest.approx(
        found.standard_error_c * student_quantile(found.degrees), rel=1e-6
    )


def gears() -> Series:
    """Diameters of 10 gears from each of 10 batches: (10, 10), a batch a column."""
    return column("GEAR").reshape(10, 10).T


def test_equal_variances_of_gears(published: Published):
    """Handbook 1.3.5.10 and its critical value at 5 %, F(9, 90) = 1.9855; W 1.705910, standing C.

    The publication's last digits are its own rounding: other programs find 1.7059177, hence 1e-5.
    """
    found = compare_variances(gears(), correlation_time=1.0)
    assert not isinstance(found, Absent)
    published.agree(found.statistic, "1.705910", "GEAR: Levene's test about medians", within=1e-5)
    published.agree(found.statistic, "1.7059177", "GEAR: the same, another program")
    published.agree(found.p_value, ".0991", "GEAR: p")
    assert (found.degrees_between, found.degrees_within) == (9.0, 90.0)
    assert not found.differs


def test_equal_variances_against_the_library():
    stats = pytest.importorskip("scipy.stats")
    values = np.random.default_rng(3).standard_normal((30, 5)) * np.array([1, 1, 1, 2, 2])
    expected = stats.levene(*values.T, center="median")
    found = compare_variances(values, correlation_time=1.0)
    assert not isinstance(found, Absent)
    assert found.statistic == pytest.approx(float(expected.statistic), rel=1e-12)
    assert found.p_value == pytest.approx(float(expected.pvalue), rel=1e-10)


RESISTORS = np.array([[6.9, 5.4, 5.8, 4.6, 4.0], [8.3, 6.8, 7.8, 9.2, 6.5], [8.0, 10.5, 8.1, 6.9, 9.3]]).T


def test_one_way_analysis_of_variance(published: Published):
    """Handbook 7.4.3: F 9.59, standing C; all digits R."""
    published.agree(one_way_f(RESISTORS), "9.59", "one-way analysis of variance, F")
    published.agree(one_way_f(RESISTORS), "9.591107", "the same, recomputed")
