"""Factors of the units on record sheets, as NIST SP 811 (2008 edition, appendix B.8) prints them.

Standing M: the digits below were typed from memory, no copy of SP 811 was at hand. Those marked D follow by
arithmetic from exact definitions (inch 0.0254 m, pound 0.45359237 kg, US gallon 231 in³, standard gravity
9.80665 m/s², 1 °F = 1/1.8 K) and are computed here in decimals that share nothing with the package or its
library.
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from qualify.record_sheets.quantities import convert, find_unit
from reference_checks.conftest import Published

INCH, POUND, GRAVITY = Decimal("0.0254"), Decimal("0.45359237"), Decimal("9.80665")


def found(value: float, unit: str, into: str) -> float:
    one, other = find_unit(unit), find_unit(into)
    assert one is not None, unit
    assert other is not None, into
    return convert(value, one, other)


PRINTED = [
    # unit, into, the factor as printed, standing
    ("psi", "kPa", "6.894757", "M"),
    ("gpm", "L/min", "3.785412", "M"),
    ("inH2O", "Pa", "249.0889", "M"),  # inch of water, conventional
    ("inH2O (4 °C)", "Pa", "249.082", "M"),  # inch of water, 39.2 °F
    ("inH2O (60 °F)", "Pa", "248.84", "M"),  # inch of water, 60 °F
    ("mmHg", "Pa", "133.3224", "M"),  # millimetre of mercury, conventional
    ("inHg", "kPa", "3.386389", "M"),  # inch of mercury, conventional
    ("torr", "Pa", "133.3224", "M"),
    ("ft/min", "m/s", "0.00508", "M"),
    ("cfm", "m³/s", "0.0004719474", "M"),
    ("gal", "L", "3.785412", "M"),
    ("gal (UK)", "L", "4.54609", "M"),
    ("ft³", "m³", "0.02831685", "M"),
    ("lb", "kg", "0.45359237", "M"),
    ("lbf·ft", "N·m", "1.355818", "M"),
]


@pytest.mark.parametrize(("unit", "into", "printed", "standing"), PRINTED)
def test_printed_factors(published: Published, unit: str, into: str, printed: str, standing: str) -> None:
    published.agree(found(1.0, unit, into), printed, f"{unit} in {into} [{standing}]")


DERIVED = [
    ("psi", "Pa", POUND * GRAVITY / INCH**2),
    ("psig", "bar g", POUND * GRAVITY / INCH**2 / 100000),
    ("psia", "kPa abs", POUND * GRAVITY / INCH**2 / 1000),
    ("bar", "kPa", Decimal(100)),
    ("mbar", "Pa", Decimal(100)),
    ("inH2O", "Pa", INCH * 1000 * GRAVITY),
    ("inH2O (4 °C)", "Pa", INCH * Decimal("999.972") * GRAVITY),
    ("mmH2O", "Pa", GRAVITY),
    ("gpm", "L/min", 231 * INCH**3 * 1000),
    ("m³/h", "L/min", Decimal(1000) / 60),
    ("Nm³/h", "NL/min", Decimal(1000) / 60),
    ("ft/min", "m/s", 12 * INCH / 60),
    ("counts/ft³", "counts/m³", 1 / (12 * INCH) ** 3),
    ("counts/L", "counts/m³", Decimal(1000)),
    ("%", "ppm", Decimal(10000)),
    ("mA", "A", Decimal("0.001")),
    ("MΩ", "Ω", Decimal(1000000)),
    ("mΩ", "Ω", Decimal("0.001")),
    ("K/min", "K/h", Decimal(60)),
    ("mbar·L/s", "Pa·m³/s", Decimal("0.1")),
    ("Δ°F", "K", 1 / Decimal("1.8")),
]


@pytest.mark.parametrize(("unit", "into", "exact"), DERIVED)
def test_derived_factors(published: Published, unit: str, into: str, exact: Decimal) -> None:
    published.agree(
        found(1.0, unit, into), str(exact), f"{unit} in {into} [D]", within=2e-15 * float(exact), exact=True
    )


@pytest.mark.parametrize(
    ("fahrenheit", "celsius"), [("32", "0"), ("212", "100"), ("-40", "-40"), ("356", "180"), ("98.6", "37")]
)
def test_temperatures(published: Published, fahrenheit: str, celsius: str) -> None:
    """°C = (°F − 32)/1.8, exact by definition [D]."""
    value = found(float(fahrenheit), "°F", "°C")
    published.agree(value, celsius, f"{fahrenheit} °F in °C [D]", within=1e-13, exact=True)


def test_the_library_s_own_names_for_water_are_not_relied_on() -> None:
    """The inch of water is defined here by its density: the library's names for it changed with releases."""
    import pint

    registry: pint.UnitRegistry[float] = pint.UnitRegistry()
    conventional = registry.Quantity(1.0, "inch_H2O").to("pascal").magnitude
    assert conventional == pytest.approx(found(1.0, "inH2O", "Pa"), rel=1e-4)
