"""Thermocouple reference functions against every point of the published ITS-90 tables.

Source: NIST ITS-90 Thermocouple Database (Standard Reference Database 60), tables for types B, E, J, K, N, R,
S and T, which reproduce NIST Monograph 175 (C: read whole; data/nist_its90). A value with a warm reference
junction is recomputed with a second library (R). The tables print three decimals of a millivolt, so half of
the last one is what any point may differ by.

Type C (IEC 60584-1:2013) is from memory (M): no table of it was found. Its checks are that both pieces meet
in value and slope as closely as eight printed digits can, that it rises all the way, goes back to its
temperatures, and ends at 37.070 mV (M). A slip in a leading digit of a coefficient would part the pieces; no
check says that the function is the standard's.
"""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from qualify.thermocouples import (
    UnknownTypeError,
    emf_mv,
    inverse_range_c,
    junction_error_c,
    range_c,
    sensitivity_mv_per_c,
    source,
    standing,
    temperature_c,
    types,
    voltage_error_c,
)

TABLES = Path(__file__).parent / "data" / "nist_its90"
LETTERS = "BEJKNRST"
POINTS = {"B": 1821, "E": 1271, "J": 1411, "K": 1643, "N": 1571, "R": 1819, "S": 1819, "T": 671}
"""How many temperatures each table gives, a row of a table ending where the next one begins."""


def table(letter: str) -> tuple[np.ndarray, np.ndarray]:
    """Temperatures [°C] and voltages [mV] of a published table, each temperature once."""
    found: dict[int, float] = {}
    text = (TABLES / f"type_{letter.lower()}.tab").read_text(encoding="latin-1")
    body = text.split("****", 1)[0]
    sign = 1
    for line in body.splitlines():
        if re.search(r"\bC\s+0\s+-1\b", line):
            sign = -1
        elif re.search(r"\bC\s+0\s+1\b", line):
            sign = 1
        cells = line.split()
        if len(cells) < 2 or not re.fullmatch(r"-?\d+", cells[0]):
            continue
        for step, cell in enumerate(cells[1:]):
            t = int(cells[0]) + sign * step
            value = float(cell)
            assert found.setdefault(t, value) == value, f"type {letter}, {t} °C stands twice"
    order = sorted(found)
    return np.array(order, dtype=float), np.array([found[t] for t in order])


@pytest.mark.parametrize("letter", LETTERS)
def test_every_point_of_the_published_table(letter: str) -> None:
    t, published = table(letter)
    assert len(t) == POINTS[letter]
    assert np.abs(emf_mv(letter, t) - published).max() <= 0.0005 + 1e-9


@pytest.mark.parametrize("letter", LETTERS)
def test_voltages_go_back_to_their_temperatures(letter: str) -> None:
    low, high = inverse_range_c(letter)
    t = np.linspace(low, high, 5003)
    np.testing.assert_allclose(temperature_c(letter, emf_mv(letter, t)), t, rtol=0, atol=1e-8)


@pytest.mark.parametrize("letter", LETTERS)
def test_tabulated_voltages_give_tabulated_temperatures(letter: str) -> None:
    """Half of the table's last digit, through the sensitivity, is what a temperature may differ by."""
    t, published = table(letter)
    low, high = inverse_range_c(letter)
    inside = (
        (t >= low) & (t <= high) & (published >= emf_mv(letter, low)) & (published <= emf_mv(letter, high))
    )
    back = temperature_c(letter, published[inside])
    slope = np.minimum(sensitivity_mv_per_c(letter, t[inside]), sensitivity_mv_per_c(letter, back))
    assert (np.abs(back - t[inside]) <= 0.00051 / slope * 1.05).all()


@pytest.mark.parametrize("letter", LETTERS)
def test_sensitivity_is_the_slope(letter: str) -> None:
    low, high = range_c(letter)
    t = np.linspace(low + 1, high - 1, 777)
    slope = (emf_mv(letter, t + 1e-3) - emf_mv(letter, t - 1e-3)) / 2e-3
    np.testing.assert_allclose(sensitivity_mv_per_c(letter, t), slope, rtol=0, atol=2e-7)


@pytest.mark.parametrize("letter", LETTERS)
def test_a_second_library_agrees(letter: str) -> None:
    other = pytest.importorskip("thermocouple_its90").get(letter)
    low, high = inverse_range_c(letter)
    for t in np.linspace(low, high, 211).tolist():
        assert abs(float(emf_mv(letter, t)) - other.emf(t)) <= 1e-9
    middle = low + 0.8 * (high - low)
    with_junction = other.emf(middle) - other.emf(25.0)
    assert abs(float(temperature_c(letter, with_junction, 25.0)) - middle) <= 1e-7


def test_a_warm_junction_as_published_elsewhere() -> None:
    """K 20.644 mV with the junction at 25 °C: 523.4507 °C (R, thermocouple-its90 1.0.2)."""
    assert abs(float(temperature_c("K", 20.644, 25.0)) - 523.4507) <= 0.00005


def test_outside_its_range_there_is_no_value() -> None:
    assert np.isnan(emf_mv("K", [-270.1, 1372.1])).all()
    assert np.isnan(temperature_c("K", [-6.4, 54.9]))[0] and np.isnan(temperature_c("K", 55.0))
    assert types() == (*LETTERS, "C")
    with pytest.raises(UnknownTypeError):
        emf_mv("Q", 20.0)


# ---- the published approximate inverses ----


def published_inverses(letter: str) -> list[dict[str, np.ndarray]]:
    """The inverse polynomials of a table: ends [°C] and [mV], coefficients, published errors [°C]."""
    text = (TABLES / f"type_{letter.lower()}.tab").read_text(encoding="latin-1")
    lines = text.split("Inverse coefficients for type", 1)[1].splitlines()[1:]
    found: dict[str, list[list[float]]] = {"numbers": []}
    word = "numbers"
    for line in lines:
        cells = line.replace("Range:", "").split()
        if cells and cells[0] in ("Temperature", "Voltage", "Error"):
            word, cells = cells[0], cells[1:]
        elif not cells:
            word = "numbers"
        if cells:
            found.setdefault(word, []).append([float(cell) for cell in cells])
    coefficients = np.array(found["numbers"])
    pieces = []
    for column in range(coefficients.shape[1]):
        ends = {key: np.array(found[key])[:, column] for key in ("Temperature", "Voltage", "Error")}
        pieces.append({**ends, "coefficients": coefficients[:, column]})
    return pieces


@pytest.mark.parametrize("letter", LETTERS)
def test_published_inverses_differ_by_no_more_than_they_say(letter: str) -> None:
    """Each approximate inverse against the exact one, at voltages of its range (C).

    The errors are printed to one digit (to two decimals mostly), so half of it is added on both sides.
    """
    pieces = published_inverses(letter)
    assert len(pieces) == {"B": 2, "E": 2, "J": 3, "K": 3, "N": 3, "R": 4, "S": 4, "T": 2}[letter]
    for piece in pieces:
        low, high = piece["Temperature"]
        t = np.linspace(low, high, 2001)
        apart = np.polynomial.polynomial.polyval(emf_mv(letter, t), piece["coefficients"]) - t
        # At 1664.5 °C the published pieces of types R and S part by 2e-9 mV, which is 1.3e-7 °C.
        np.testing.assert_allclose(temperature_c(letter, emf_mv(letter, t)), t, rtol=0, atol=2e-7)
        least, most = piece["Error"]
        digit = 0.5 * min(10.0 ** np.floor(np.log10(abs(value))) for value in (least, most))
        assert least - digit <= apart.min() and apart.max() <= most + digit, (letter, low)
        # And the exact inverse is the nearer one: the published one does differ.
        assert np.abs(apart).max() > 1e-5


# ---- type C, from memory ----


def test_type_c_says_that_it_is_from_memory() -> None:
    assert standing("C") == "M" and not source("C").confirmed
    assert source("C").citation.startswith("IEC 60584-1 (2013), type C")
    assert {standing(letter) for letter in LETTERS} == {"C"}


def test_type_c_is_one_smooth_rising_function() -> None:
    joint, step = 630.615, 1e-4
    assert range_c("C") == inverse_range_c("C") == (0.0, 2315.0)
    below, above = sensitivity_mv_per_c("C", [joint - step, joint + step])
    assert abs(below - above) <= 2e-9 + 2 * step * 3e-6  # curvature below the joint: 2.1e-6 mV/°C²
    jump = float(emf_mv("C", joint + step) - emf_mv("C", joint - step)) - 2 * step * float(below)
    assert abs(jump) <= 2e-7
    t = np.linspace(0.0, 2315.0, 4631)
    assert (np.diff(emf_mv("C", t)) > 0.0).all() and (sensitivity_mv_per_c("C", t) > 0.009).all()
    # 2e-7 mV of jump is 1e-5 °C at the joint, where one voltage has two temperatures.
    np.testing.assert_allclose(temperature_c("C", emf_mv("C", t)), t, rtol=0, atol=1e-5)
    assert float(emf_mv("C", 0.0)) == 0.0
    assert abs(float(emf_mv("C", 2315.0)) - 37.070) <= 0.0005


# ---- errors of reference junction, cable and input ----


@pytest.mark.parametrize("letter", [*LETTERS, "C"])
def test_a_junction_error_is_what_a_wrong_junction_makes(letter: str) -> None:
    """To first order in the error: exact inversion with a junction believed 0.001 °C too warm (D)."""
    low, high = inverse_range_c(letter)
    t = np.linspace(low + 1.0, high - 1.0, 97)
    junction, wrong = 40.0, 1e-3
    voltage = emf_mv(letter, t) - emf_mv(letter, junction)
    made = temperature_c(letter, voltage, junction + wrong) - t
    predicted = junction_error_c(letter, t, junction, wrong)
    np.testing.assert_allclose(predicted, made, rtol=2e-3, atol=3e-8)
    assert float(junction_error_c(letter, junction, junction, 1.0)) == 1.0


@pytest.mark.parametrize("letter", [*LETTERS, "C"])
def test_a_voltage_error_is_what_a_wrong_voltage_makes(letter: str) -> None:
    low, high = inverse_range_c(letter)
    t = np.linspace(low + 1.0, high - 1.0, 97)
    made = temperature_c(letter, emf_mv(letter, t) + 1e-5) - t
    np.testing.assert_allclose(voltage_error_c(letter, t, 0.01), made, rtol=2e-3, atol=3e-8)


def test_errors_by_hand() -> None:
    """Sensitivities as differences of the published table over 20 °C (D)."""
    at = dict(zip(*(values.tolist() for values in table("K")), strict=True))
    cold = (at[35.0] - at[15.0]) / 20.0
    hot = (at[910.0] - at[890.0]) / 20.0
    assert float(junction_error_c("K", 900.0, 25.0, 0.5)) == pytest.approx(0.5 * cold / hot, rel=2e-3)
    assert float(voltage_error_c("K", 900.0, -60.0)) == pytest.approx(-0.060 / hot, rel=2e-3)
    assert np.isnan(junction_error_c("K", [2000.0, 20.0], [20.0, 2000.0], 1.0)).all()
