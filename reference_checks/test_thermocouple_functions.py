"""Thermocouple reference functions against every point of the published ITS-90 tables.

Source: NIST ITS-90 Thermocouple Database (Standard Reference Database 60), tables for types B, E, J, K, N, R,
S and T, which reproduce NIST Monograph 175 (C: read whole; data/nist_its90). A value with a warm reference
junction is recomputed with a second library (R). The tables print three decimals of a millivolt, so half of
the last one is what any point may differ by.
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
    range_c,
    sensitivity_mv_per_c,
    temperature_c,
    types,
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
    assert types() == tuple(LETTERS)
    with pytest.raises(UnknownTypeError):
        emf_mv("Q", 20.0)
