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
from qualify.sensors.certificates import Judged, Rules, corrections_for, read_certificates
from qualify.sensors.corrections import Correction
from qualify.sensors.curves import Curve, fit_curve

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


def correction_from(path: Path, rows: list[str], degree: int = 0) -> Correction:
    """Read a certificates file and return the correction of its one channel; a curve where a degree is."""
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    (correction,) = corrections_for(
        read_certificates(load(path, "certificates")),
        [Judged(CHANNEL, "")],
        [CHANNEL],
        reach_c=0.0,
        reach_uncertainty_c=0.0,
        rules=Rules(degree=degree),
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


# ---- the fitted curve of the certificates room ----


def about_20() -> Curve:
    """The line about t0 = 20 °C, as the GUM writes it."""
    return fit_curve(READING, OBSERVED, 1, origin_c=20.0)


def test_fitted_line_of_the_gum(published: Published):
    """Table H.6's line: intercept, slope, their standard uncertainties, their correlation, s and ν."""
    curve = about_20()
    intercept, slope = curve.coefficients
    (variance, between), (_, slope_variance) = curve.covariance
    u_intercept, u_slope = variance**0.5, slope_variance**0.5
    published.agree(intercept, "-0.1712", "GUM H.3.3, intercept y1 [°C]")
    published.agree(intercept, "-0.171204", "GUM H.3.3, intercept y1 in full [°C]")
    published.agree(u_intercept, "0.0029", "GUM H.3.3, s(y1) [°C]")
    published.agree(u_intercept, "0.002878", "GUM H.3.3, s(y1) in full [°C]")
    published.agree(slope, "0.00218", "GUM H.3.3, slope y2 [1]")
    published.agree(slope, "0.00218270", "GUM H.3.3, slope y2 in full [1]")
    published.agree(u_slope, "0.00067", "GUM H.3.3, s(y2) [1]")
    published.agree(u_slope, "0.00066794", "GUM H.3.3, s(y2) in full [1]")
    published.agree(between / (u_intercept * u_slope), "-0.930", "GUM H.3.3, r(y1, y2)")
    published.agree(between / (u_intercept * u_slope), "-0.930430", "GUM H.3.3, r(y1, y2) in full")
    published.agree(curve.residual_sd_c, "0.0035", "GUM H.3.3, s [°C]")
    published.agree(curve.residual_sd_c, "0.003498", "GUM H.3.3, s in full [°C]")
    residual_squares = curve.residual_sd_c**2 * curve.degrees_of_freedom
    published.agree(residual_squares, "0.000110096583", "GUM H.3, sum of squared residuals [°C²]")
    assert curve.degrees_of_freedom == 9


@pytest.mark.parametrize("origin_c", [20.0, 24.0085, 0.0])
def test_predicted_correction_of_the_gum(published: Published, origin_c: float):
    """b(30 °C) and its u with the covariance in it, wherever t counts from; held points moved out to 30."""
    line = fit_curve(READING, OBSERVED, 1, origin_c=origin_c)
    reaching = Curve(
        origin_c=line.origin_c,
        coefficients=line.coefficients,
        covariance=line.covariance,
        residual_sd_c=line.residual_sd_c,
        degrees_of_freedom=line.degrees_of_freedom,
        low_c=line.low_c,
        high_c=30.0,
    )
    at = np.array([30.0])
    predicted, uncertainty = float(reaching.at(at)[0]), float(reaching.standard_uncertainty_at(at)[0])
    published.agree(predicted, "-0.1494", f"GUM H.3.4, b(30 °C) about {origin_c:g} °C [°C]")
    published.agree(predicted, "-0.149377", f"GUM H.3.4, b(30 °C) about {origin_c:g} °C in full [°C]")
    published.agree(uncertainty, "0.0041", f"GUM H.3.4, u(b(30 °C)) about {origin_c:g} °C [°C]")
    published.agree(uncertainty, "0.004139", f"GUM H.3.4, u(b(30 °C)) about {origin_c:g} °C in full [°C]")


@pytest.mark.parametrize("unit", ["C", "F"])
def test_a_certificate_s_line_gives_table_h6(published: Published, tmp_path: Path, unit: str):
    """The whole way: file, matching, curve. Without U in the file only the fit's uncertainty is known."""
    factor, offset = (1.8, 32.0) if unit == "F" else (1.0, 0.0)
    rows = ["channel,temperature,correction,expanded_uncertainty,coverage_factor,unit"]
    rows += [f"H3,{float(t) * factor + offset!r},{float(b) * factor!r},0,2,{unit}" for t, b in TABLE_H6]
    correction = correction_from(tmp_path / "line.csv", rows, degree=1)
    (step,) = correction.steps
    assert step.curve is not None
    predicted = step.correction_at(READING)
    for found, text in zip(predicted.tolist(), PREDICTED_TEXT.split(), strict=True):
        published.agree(found, text, f"GUM Table H.6, predicted correction, certificate in °{unit} [°C]")
    for found, text in zip((OBSERVED - predicted).tolist(), DIFFERENCE_TEXT.split(), strict=True):
        published.agree(found, text, f"GUM Table H.6, observed − predicted, certificate in °{unit} [°C]")
    # At the mean of the readings u is s/√n; there the certificate's own U (0 here) is combined with it.
    at_mean = float(step.standard_uncertainty_at(np.array([READING.mean()]))[0])
    assert at_mean == pytest.approx((0.000110096583 / 9 / 11) ** 0.5, rel=1e-8)
    corrected, calibrated = correction.apply(np.array([25.0, 30.0]))
    assert corrected[0] == pytest.approx(25.0 - 0.171204 + 5 * 0.00218270, abs=1e-6)
    assert calibrated.tolist() == [True, False]
