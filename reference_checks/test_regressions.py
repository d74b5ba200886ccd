"""Certified regressions of NIST: linear ones from easy to nearly singular, curves from far and near starts.

Source: NIST Statistical Reference Datasets (StRD), files unchanged under data/nist (standing C). Starting
and certified values are read from each file's own header. Digits agreed: `--digits`.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np
import pytest

from qualify.figures.absent import Absent
from qualify.inference.curve_fits import Curve, nonlinear_fit
from qualify.inference.fits import LinearFit, linear_fit
from qualify.readings.model import FloatArray
from reference_checks.conftest import DATA

if TYPE_CHECKING:
    from reference_checks.conftest import Published


def read(name: str) -> tuple[list[str], FloatArray]:
    """Header of a file (60 lines) and its data."""
    lines = (DATA / "nist" / f"{name}.dat").read_text(encoding="ascii").splitlines()
    return lines[:60], np.array(
        [[float(word) for word in line.split()] for line in lines[60:] if line.split()]
    )


# linear


def powers(count: int) -> Callable[[FloatArray], FloatArray]:
    def design(x: FloatArray) -> FloatArray:
        return np.vander(x[:, 0], count, increasing=True)

    return design


def with_constant(x: FloatArray) -> FloatArray:
    return np.column_stack([np.ones(x.shape[0]), x])


def as_it_is(x: FloatArray) -> FloatArray:
    return x


# Name, design, and the allowed difference relative to the certified number. A double holds a reading to
# 1.1e-16 of itself. What that does to a result no method could undo that is given these doubles:
# - Norris: readings of up to 1000 known to 1e-13, the intercept is 0.26: 1e-13.
# - Pontius: readings and powers to 1e-16, residuals of 1e-4 of the readings: 1e-13.
# - NoInt1, Longley: whole and short numbers; only the result is rounded, and the certified numbers have 15
#   digits themselves.
# - Filip: tenth powers rounded to 1e-16 move the coefficients in their eighth digit; that nothing but this
#   rounding is left shows the exact solution below.
# - Wampler1: whole numbers below 2^53, an exact fit.
LINEAR: dict[str, tuple[Callable[[FloatArray], FloatArray], float]] = {
    "Norris": (powers(2), 1e-13),
    "Pontius": (powers(3), 1e-13),
    "NoInt1": (as_it_is, 5e-15),
    "Filip": (powers(11), 2e-8),
    "Longley": (with_constant, 5e-15),
    "Wampler1": (powers(6), 1e-15),
}
NOTHING = 1e-100
"""Allowed where zero is certified: Wampler1 fits exactly."""


def fitted(name: str) -> LinearFit:
    _, data = read(name)
    fit = linear_fit(LINEAR[name][0](data[:, 1:]), data[:, 0])
    assert isinstance(fit, LinearFit)
    return fit


@pytest.mark.parametrize("name", LINEAR)
def test_linear(name: str, published: Published) -> None:
    header, data = read(name)
    rows = [line.split() for line in header[30:] if re.match(r"\s+B\d+\s", line)]
    deviations = [words for line in header if (words := line.split())[:2] == ["Standard", "Deviation"]]
    residual = next(words[2] for words in deviations if len(words) == 3)
    fit = fitted(name)
    assert not isinstance(fit.standard_errors, Absent)
    assert fit.count == len(data)
    assert fit.coefficients.size == len(rows)
    relative = LINEAR[name][1]

    def check(found: float, number: str, what: str) -> None:
        within = relative * abs(float(number)) or NOTHING
        published.agree(found, number, f"NIST {name}: {what}", within=within)

    for (term, value, error), coefficient, standard in zip(
        rows, fit.coefficients, fit.standard_errors, strict=True
    ):
        check(float(coefficient), value, term)
        check(float(standard), error, f"standard error of {term}")
    assert isinstance(fit.residual_sd, float)
    check(fit.residual_sd, residual, "residual standard deviation")


def exact_solution(design: FloatArray, y: FloatArray) -> list[Fraction]:
    """Least squares of these very doubles in rational arithmetic: normal equations, elimination."""
    rows = [[Fraction(float(value)) for value in row] for row in design]
    readings = [Fraction(float(value)) for value in y]
    p = design.shape[1]
    system = [
        [sum((row[i] * row[j] for row in rows), Fraction(0)) for j in range(p)]
        + [sum((row[i] * reading for row, reading in zip(rows, readings, strict=True)), Fraction(0))]
        for i in range(p)
    ]
    for i in range(p):
        for j in range(p):
            if j != i:
                factor = system[j][i] / system[i][i]
                system[j] = [a - factor * b for a, b in zip(system[j], system[i], strict=True)]
    return [system[i][p] / system[i][i] for i in range(p)]


@pytest.mark.parametrize("name", ["Filip", "Longley", "Pontius"])
def test_nearly_singular_sets_are_solved_exactly(name: str) -> None:
    """The fit equals the exact solution for the doubles it was given, to two units of the last digit (D)."""
    _, data = read(name)
    design = LINEAR[name][0](data[:, 1:])
    exact = np.array([float(value) for value in exact_solution(design, data[:, 0])])
    np.testing.assert_allclose(fitted(name).coefficients, exact, rtol=4.5e-16)


# curves


def rise(x: FloatArray, b: FloatArray) -> FloatArray:
    return b[0] * (1.0 - np.exp(-b[1] * x))


def rise_of_second_order(x: FloatArray, b: FloatArray) -> FloatArray:
    return b[0] * (1.0 - (1.0 + b[1] * x / 2.0) ** -2)


def two_decays(x: FloatArray, b: FloatArray) -> FloatArray:
    return b[0] + b[1] * np.exp(-x * b[3]) + b[2] * np.exp(-x * b[4])


def three_decays(x: FloatArray, b: FloatArray) -> FloatArray:
    return b[0] * np.exp(-b[1] * x) + b[2] * np.exp(-b[3] * x) + b[4] * np.exp(-b[5] * x)


def decay_over_line(x: FloatArray, b: FloatArray) -> FloatArray:
    return np.exp(-b[0] * x) / (b[1] + b[2] * x)


def power(x: FloatArray, b: FloatArray) -> FloatArray:
    return b[0] * x ** b[1]


def logistic(x: FloatArray, b: FloatArray) -> FloatArray:
    return b[0] / (1.0 + np.exp(b[1] - b[2] * x))


def two_bells(x: FloatArray, b: FloatArray) -> FloatArray:
    return (
        b[0] * np.exp(-b[1] * x)
        + b[2] * np.exp(-((x - b[3]) ** 2) / b[4] ** 2)
        + b[5] * np.exp(-((x - b[6]) ** 2) / b[7] ** 2)
    )


# Name, curve, and the allowed differences of coefficients and of standard errors, relative. Eleven digits are
# certified: 1e-10 asks for all of them but the last. Derivatives by differences are known to 1e-11 or so, and
# that error grows as the curve's derivatives by its coefficients are alike:
# - Lanczos3 is three decays that nearly cancel (coefficients known to 20 % from residuals of 1e-5): 1e-8.
# - MGH17, two decays of like length; Rat42, Gauss1, whose standard errors rest on steep derivatives: 1e-9.
CURVES: dict[str, tuple[Curve, float, float]] = {
    "Misra1a": (rise, 1e-10, 1e-10),
    "BoxBOD": (rise, 1e-10, 1e-10),
    "Misra1b": (rise_of_second_order, 1e-10, 1e-10),
    "MGH17": (two_decays, 1e-10, 1e-9),
    "Lanczos3": (three_decays, 1e-8, 1e-8),
    "Chwirut1": (decay_over_line, 1e-10, 1e-10),
    "Chwirut2": (decay_over_line, 1e-10, 1e-10),
    "DanWood": (power, 1e-10, 1e-10),
    "Rat42": (logistic, 1e-10, 1e-9),
    "Gauss1": (two_bells, 1e-10, 1e-9),
}


@pytest.mark.parametrize("start", [1, 2])
@pytest.mark.parametrize("name", CURVES)
def test_curve(name: str, start: int, published: Published) -> None:
    header, data = read(name)
    rows = [line.split("=")[1].split() for line in header[38:] if re.match(r"\s*b\d+\s*=", line)]
    curve, within, within_errors = CURVES[name]
    fit = nonlinear_fit(curve, np.array([float(row[start - 1]) for row in rows]), data[:, 1], data[:, 0])
    assert not isinstance(fit, Absent)
    assert fit.converged
    assert not isinstance(fit.standard_errors, Absent)
    degrees = next(int(line.split()[-1]) for line in header if line.startswith("Degrees of Freedom"))
    assert fit.degrees == degrees
    for number, (row, value, error) in enumerate(
        zip(rows, fit.coefficients, fit.standard_errors, strict=True), start=1
    ):
        what = f"NIST {name}, start {start}: b{number}"
        published.agree(float(value), row[2], what, within=within * abs(float(row[2])))
        published.agree(float(error), row[3], f"{what}, error", within=within_errors * abs(float(row[3])))
    residual = next(line.split()[-1] for line in header if line.startswith("Residual Standard Deviation"))
    assert isinstance(fit.residual_sd, float)
    what = f"NIST {name}, start {start}: residual standard deviation"
    # Lanczos3 leaves residuals of 1e-5 of readings held to 1e-16: 1e-11.
    published.agree(fit.residual_sd, residual, what, within=1e-10 * float(residual))
