"""The thermometer calibration of the GUM, example H.3: corrections, their sign, their straight line.

Source: JCGM 100:2008, H.3, Table H.6 (eleven readings t and corrections b; y1, y2 and s(y2) of the fitted
line, t0 = 20 °C), quoted in the published tests and documents of two open metrology libraries and recomputed
(standing C). The predicted corrections of the table's last columns are recomputed, not certified (R).
In H.3.1 the correction is b = t_R − t, reference temperature less thermometer reading: the sign of this
project's corrections (from memory of the clause; the published line and predictions don't depend on it).
"""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

from qualify.figures.absent import Absent, present
from qualify.figures.series import drift, least_squares_slope
from qualify.inputs import load
from qualify.readings.model import Channel
from qualify.sensors.certificates import Judged, corrections_for, read_certificates
from qualify.sensors.corrections import Correction

if TYPE_CHECKING:
    from reference_checks.conftest import Published

# Table H.6: thermometer reading [°C], observed correction [°C].
TABLE_H6 = [
    ("21.521", "-0.171"),
    ("22.012", "-0.169"),
    ("22.512", "-0.166"),
    ("23.003", "-0.159"),
    ("23.507", "-0.164"),
    ("23.999", "-0.165"),
    ("24.513", "-0.156"),
    ("25.002", "-0.157"),
    ("25.503", "-0.159"),
    ("26.010", "-0.161"),
    ("26.511", "-0.160"),
]
# Predicted correction and observed − predicted, recomputed (R).
PREDICTED_TEXT = "-.1679 -.1668 -.1657 -.1646 -.1635 -.1625 -.1614 -.1603 -.1592 -.1581 -.1570"
DIFFERENCE_TEXT = "-.0031 -.0022 -.0003 .0056 -.0005 -.0025 .0054 .0033 .0002 -.0029 -.0030"

READING = np.array([float(t) for t, _ in TABLE_H6])
OBSERVED = np.array([float(b) for _, b in TABLE_H6])
CHANNEL = Channel(name="H3", header="H3", file="h3.csv", unit="C")


def correction_from(path: Path, rows: list[str]) -> Correction:
    """Read a certificates file and return the correction of its one channel."""
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    (correction,) = corrections_for(
        read_certificates(load(path, "certificates")),
        [Judged(CHANNEL, "")],
        [CHANNEL],
        reach_c=0.0,
        reach_uncertainty_c=0.0,
    )
    assert correction is not None
    return correction


def by_correction(folder: Path) -> Correction:
    rows = ["channel,temperature,correction,unit", *(f"H3,{t},{b},C" for t, b in TABLE_H6)]
    return correction_from(folder / "by-correction.csv", rows)


def by_error(folder: Path) -> Correction:
    rows = ["channel,temperature,error,unit", *(f"H3,{t},{-float(b)},C" for t, b in TABLE_H6)]
    return correction_from(folder / "by-error.csv", rows)


def by_reference(folder: Path) -> Correction:
    """Name the reference temperatures t_R = t + b instead of the readings t."""
    rows = ["channel,reference_temperature,correction,unit"]
    rows += [f"H3,{float(t + b):.3f},{float(b):.3f},C" for t, b in _exact()]
    return correction_from(folder / "by-reference.csv", rows)


def by_fahrenheit(folder: Path) -> Correction:
    """Write the same certificate in °F: temperatures shift and scale, corrections only scale."""
    rows = ["channel,temperature,correction,unit"]
    rows += [f"H3,{float(t) * 1.8 + 32!r},{float(b) * 1.8!r},F" for t, b in TABLE_H6]
    return correction_from(folder / "by-fahrenheit.csv", rows)


def _exact() -> list[tuple[Fraction, Fraction]]:
    return [(Fraction(t), Fraction(b)) for t, b in TABLE_H6]


Way = Callable[[Path], Correction]
WAYS: list[Way] = [by_correction, by_error, by_reference, by_fahrenheit]


@pytest.mark.parametrize("way", WAYS)
def test_at_the_published_points_the_correction_is_added(way: Way, tmp_path: Path):
    """The thermometer reads high (b below zero): the corrected reading t + b lies below the reading."""
    correction = way(tmp_path)
    corrected, calibrated = correction.apply(READING)
    expected = [float(t + b) for t, b in _exact()]
    assert corrected == pytest.approx(expected, abs=1e-12)
    assert np.all(corrected < READING)
    assert calibrated.all()


@pytest.mark.parametrize("way", WAYS)
def test_between_the_published_points_the_correction_is_linear(way: Way, tmp_path: Path):
    """At tenths of every interval, against exact fractions."""
    correction = way(tmp_path)
    points = _exact()
    readings, expected = [], []
    for (t0, b0), (t1, b1) in pairwise(points):
        for tenth in range(1, 10):
            share = Fraction(tenth, 10)
            readings.append(float(t0 + share * (t1 - t0)))
            expected.append(float(t0 + share * (t1 - t0) + b0 + share * (b1 - b0)))
    corrected, calibrated = correction.apply(np.array(readings))
    assert corrected == pytest.approx(expected, abs=1e-12)
    assert calibrated.all()


def test_beyond_the_published_points_the_end_is_held_and_marked(tmp_path: Path):
    corrected, calibrated = by_correction(tmp_path).apply(
        np.array([20.0, 21.520, 21.521, 26.511, 26.512, 30.0])
    )
    expected = [19.829, 21.349, 21.350, 26.351, 26.352, 29.840]
    assert corrected == pytest.approx(expected, abs=1e-12)
    assert calibrated.tolist() == [False, False, True, True, False, False]


def test_slope_of_the_fitted_line(published: Published):
    slope = least_squares_slope(READING, OBSERVED)
    published.agree(slope, "0.00218", "GUM H.3, slope y2 [1]")
    published.agree(slope, "0.00218270", "GUM H.3, slope y2 in full, recomputed [1]")
    # In hours of a made-up recording the same slope is a drift per hour.
    moved = drift(READING * 3600.0, OBSERVED, Absent("no cycle was looked for"))
    assert present(moved.slope_c_per_h)
    published.agree(moved.slope_c_per_h, "0.00218270", "GUM H.3, slope as a drift, recomputed")


def test_line_through_the_mean_point(published: Published):
    """Intercept at t0 = 20 °C, prediction at 30 °C and residuals follow from the slope alone."""
    slope = least_squares_slope(READING, OBSERVED)
    mean_t, mean_b = float(READING.mean()), float(OBSERVED.mean())
    published.agree(mean_b + slope * (20.0 - mean_t), "-0.1712", "GUM H.3, intercept y1 at 20 °C [°C]")
    published.agree(mean_b + slope * (30.0 - mean_t), "-0.1494", "GUM H.3, correction at 30 °C [°C]")
    predicted = mean_b + slope * (READING - mean_t)
    for found, text in zip(predicted.tolist(), PREDICTED_TEXT.split(), strict=True):
        published.agree(found, text, "GUM Table H.6, predicted correction, recomputed [°C]")
    for found, text in zip((OBSERVED - predicted).tolist(), DIFFERENCE_TEXT.split(), strict=True):
        published.agree(found, text, "GUM Table H.6, observed − predicted, recomputed [°C]")
    residual_sd = float(np.sqrt(((OBSERVED - predicted) ** 2).sum() / 9))
    published.agree(residual_sd, "0.0035", "GUM H.3, residual standard deviation s [°C]")
