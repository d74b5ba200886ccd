"""Units of record sheets: spellings, kinds that never mix, conversions there and back."""

from __future__ import annotations

import subprocess
import sys

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qualify.record_sheets.quantities import NO_UNIT, SheetUnit, convert, find_unit, unit_names
from qualify.record_sheets.unit_words import TEMPERATURE, TEMPERATURE_DIFFERENCE, UNITS


def unit(text: str) -> SheetUnit:
    found = find_unit(text)
    assert found is not None, text
    return found


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("psi", "psi"),
        ("PSI", "psi"),
        ("psig", "psi g"),
        ("PSIA", "psi a"),
        ("psi(g)", "psi g"),
        ("barg", "bar g"),
        ("bar gauge", "bar g"),
        ("bar abs", "bar a"),
        ("kPa", "kPa"),
        ("MPa", "MPa"),
        ("inH₂O", "inH2O"),
        ("in. w.c.", "inH2O"),
        ('"WC', "inH2O"),
        ("gpm", "gpm (US)"),
        ("gal/min", "gpm (US)"),
        ("l/min", "L/min"),
        ("m3/h", "m³/h"),
        ("m^3/h", "m³/h"),
        ("Nm³/h", "Nm³/h"),
        ("C", "°C"),
        ("deg F", "°F"),
        ("K", "K"),
        ("°C difference", "°C of difference"),
        ("Δ°F", "°F of difference"),
        ("\u03bcA", "µA"),
        ("\u00b5A", "µA"),
        ("\u2126", "Ω"),
        ("Mohm", "MΩ"),
        ("mohm", "mΩ"),
        ("particles/m³", "counts/m³"),
        ("ppmv", "ppm"),
        ("vol.%", "%"),
        ("cfm", "ft³/min"),
        ("", ""),
    ],
)
def test_units_as_people_write_them(text: str, name: str) -> None:
    assert unit(text).name == name


@pytest.mark.parametrize(
    "text", ["mpa", "MA", "MBAR", "S", "H", "wibble", "bars of chocolate", "12 bar", "°R"]
)
def test_what_could_mean_another_unit_is_not_read(text: str) -> None:
    assert find_unit(text) is None


@pytest.mark.parametrize("name", unit_names())
def test_each_unit_reads_as_itself(name: str) -> None:
    assert unit(name).name == name


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("psig", "psia"),
        ("psi", "psig"),
        ("bar a", "psi"),
        ("m³/h", "Nm³/h"),
        ("cfm", "scfm"),
        ("scfm", "slpm"),
        ("Nm³/h", "scfm"),
        ("L", "NL"),
        ("°C", "K"),
        ("°F", "°F difference"),
        ("%", "%RH"),
        ("counts/m³", "m³"),
        ("bar", "m³/h"),
        ("Hz", "1/min"),
        ("kW", "kVA"),
        ("", "%"),
    ],
)
def test_different_kinds_never_mix(one: str, other: str) -> None:
    for first, second in ((one, other), (other, one)):
        with pytest.raises(ValueError, match="is not"):
            convert(1.0, unit(first), unit(second))


PAIRS = [
    (one, other)
    for entries in UNITS.values()
    for one, _, _ in entries
    for other, _, _ in entries
    if one != other
]


@settings(deadline=None)  # the first case loads the library of units
@given(pair=st.sampled_from(PAIRS), value=st.floats(-1e6, 1e6))
def test_there_and_back(pair: tuple[str, str], value: float) -> None:
    one, other = map(unit, pair)
    there = convert(value, one, other)
    assert convert(there, other, one) == pytest.approx(value, rel=1e-12, abs=1e-9)


@settings(deadline=None)  # the first case loads the library of units
@given(pair=st.sampled_from(PAIRS), low=st.floats(-1e3, 1e3), more=st.floats(1e-3, 1e3))
def test_order_survives_conversion(pair: tuple[str, str], low: float, more: float) -> None:
    one, other = map(unit, pair)
    assert convert(low, one, other) < convert(low + more, one, other)


@given(st.floats(-200, 2000), st.floats(0, 500))
def test_a_difference_of_temperatures_is_the_difference_of_two(start_c: float, step_c: float) -> None:
    first, second = (convert(value, unit("°C"), unit("°F")) for value in (start_c, start_c + step_c))
    step_f = convert(step_c, unit("K"), unit("°F difference"))
    assert second - first == pytest.approx(step_f, abs=1e-9)


def test_zero_of_a_temperature_moves_but_zero_of_a_difference_stays() -> None:
    assert unit("°C").kind == TEMPERATURE
    assert unit("K").kind == TEMPERATURE_DIFFERENCE
    assert convert(0.0, unit("°C"), unit("°F")) == 32.0
    assert convert(0.0, unit("K"), unit("°F difference")) == 0.0


def test_the_same_unit_leaves_every_bit() -> None:
    for text in ("psi", "°F", "", "K", "dB(A)"):
        assert convert(0.1, unit(text), unit(text)) == 0.1
    assert unit("") is NO_UNIT


def test_the_library_of_units_is_loaded_only_where_units_differ() -> None:
    code = (
        "import sys; from qualify.record_sheets.quantities import convert, find_unit as u\n"
        "import qualify.record_sheets.judging, qualify.record_sheets.templates\n"
        "convert(1.0, u('bar g'), u('barg')); convert(1.0, u('F'), u('C'))\n"
        "assert not {'pint', 'openpyxl'} & set(sys.modules)\n"
        "convert(1.0, u('bar'), u('psi')); assert 'pint' in sys.modules"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
