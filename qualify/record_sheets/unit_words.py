"""The units that a record sheet may name: kind of quantity, definition, spellings.

A closed list: a library that reads any text takes "cfm" for centifermi. A *kind* is more than a dimension:
gauge and absolute pressure, a volume and a normal volume, a temperature and a difference of temperatures
have one dimension each and must still never be compared. Definitions are expressions of pint; those of
temperatures stay empty, because `qualify.units` converts them.
"""

from __future__ import annotations

TEMPERATURE = "temperature"
TEMPERATURE_DIFFERENCE = "temperature difference"
NUMBER = "number without unit"

OWN_DEFINITIONS = (
    # Densities of water behind the inch of water: NIST SP 811 (2008), appendix B, lists 249.0889 Pa
    # (conventional), 249.082 Pa (4 °C) and 248.84 Pa (60 °F); cited from memory [M].
    "conventional_water_column = 1000 * kilogram / meter**3 * standard_gravity",
    "water_column_at_4_c = 999.972 * kilogram / meter**3 * standard_gravity",
    "water_column_at_60_f = 999.001 * kilogram / meter**3 * standard_gravity",
)
"""Units that pint lacks or has named differently from release to release."""

_PRESSURE = (
    ("Pa", "pascal", ("Pa",)),
    ("hPa", "hectopascal", ("hPa",)),
    ("kPa", "kilopascal", ("kPa",)),
    ("MPa", "megapascal", ("MPa",)),
    ("mbar", "millibar", ("mbar",)),
    ("bar", "bar", ("bar",)),
    ("psi", "psi", ("psi", "lbf/in2")),
)
_COLUMNS_OF_LIQUID = (
    ("inH2O", "inch * conventional_water_column", ("inH2O", "inWC", "inWG", '"H2O', '"WC', '"WG')),
    ("inH2O (4 °C)", "inch * water_column_at_4_c", ("inH2O(4°C)", "inH2O@4°C", "inH2O(39.2°F)", "inH2O4C")),
    ("inH2O (60 °F)", "inch * water_column_at_60_f", ("inH2O(60°F)", "inH2O@60°F", "inH2O60F")),
    ("mmH2O", "millimeter * conventional_water_column", ("mmH2O", "mmWC", "mmWG", "mmWS")),
    ("cmH2O", "centimeter * conventional_water_column", ("cmH2O",)),
    ("mmHg", "mmHg", ("mmHg",)),
    ("inHg", "inHg", ("inHg", '"Hg')),
    ("torr", "torr", ("torr",)),
)

Entry = tuple[str, str, tuple[str, ...]]
"""A unit: how it is printed, its definition, its spellings."""


def _told_pressures(word: str, letter: str) -> tuple[Entry, ...]:
    """Pressure units with their zero said: "bar g", "psia"."""
    return tuple(
        (
            f"{name} {letter}",
            definition,
            tuple(f"{spelling}{end}" for spelling in spellings for end in (letter, f"({letter})", word)),
        )
        for name, definition, spellings in _PRESSURE
    )


UNITS: dict[str, tuple[Entry, ...]] = {
    TEMPERATURE: (("°C", "", ()), ("°F", "", ())),
    TEMPERATURE_DIFFERENCE: (("K", "", ()), ("°C of difference", "", ()), ("°F of difference", "", ())),
    "pressure, its zero not said": (*_PRESSURE, *_COLUMNS_OF_LIQUID),
    "gauge pressure": _told_pressures("gauge", "g"),
    "absolute pressure": (*_told_pressures("absolute", "a"), *_told_pressures("abs", "a")),
    "volume flow": (
        ("m³/h", "meter**3 / hour", ("m3/h", "cbm/h", "m3/hr")),
        ("m³/min", "meter**3 / minute", ("m3/min",)),
        ("m³/s", "meter**3 / second", ("m3/s",)),
        ("L/s", "liter / second", ("L/s",)),
        ("L/min", "liter / minute", ("L/min", "LPM")),
        ("L/h", "liter / hour", ("L/h", "L/hr", "LPH")),
        ("mL/min", "milliliter / minute", ("mL/min", "ml/min")),
        ("gpm (US)", "US_liquid_gallon / minute", ("gpm", "gpm(US)", "USgpm", "gal/min", "gal(US)/min")),
        ("gpm (imperial)", "imperial_gallon / minute", ("gpm(imperial)", "gpm(UK)", "impgpm", "gal(UK)/min")),
        ("ft³/min", "foot**3 / minute", ("ft3/min", "cfm", "acfm")),
        ("ft³/h", "foot**3 / hour", ("ft3/h", "cfh")),
    ),
    "flow of normal volume": (
        ("Nm³/h", "meter**3 / hour", ("Nm3/h", "Nm3/hr", "m3(N)/h", "m3/h(N)")),
        ("Nm³/min", "meter**3 / minute", ("Nm3/min",)),
        ("NL/min", "liter / minute", ("NL/min", "Nl/min", "NLPM", "L(N)/min")),
        ("NL/h", "liter / hour", ("NL/h", "Nl/h")),
    ),
    # What "standard" means differs from maker to maker, and so these two are never compared.
    "flow of standard cubic feet": (
        ("scfm", "foot**3 / minute", ("scfm", "SCFM")),
        ("scfh", "foot**3 / hour", ("scfh", "SCFH")),
    ),
    "flow of standard litres": (("slpm", "liter / minute", ("slpm", "slm", "SLPM", "SLM")),),
    "volume": (
        ("m³", "meter**3", ("m3",)),
        ("L", "liter", ("L", "l", "litre", "liter", "litres", "liters")),
        ("mL", "milliliter", ("mL", "ml")),
        ("gal (US)", "US_liquid_gallon", ("gal", "gal(US)", "USgal")),
        ("gal (imperial)", "imperial_gallon", ("gal(imperial)", "gal(UK)", "impgal")),
        ("ft³", "foot**3", ("ft3",)),
    ),
    "normal volume": (("Nm³", "meter**3", ("Nm3", "m3(N)")), ("NL", "liter", ("NL", "Nl"))),
    "voltage": (("V", "volt", ("V",)), ("mV", "millivolt", ("mV",)), ("kV", "kilovolt", ("kV",))),
    "current": (
        ("A", "ampere", ("A", "amp", "amps")),
        ("mA", "milliampere", ("mA",)),
        ("µA", "microampere", ("uA", "μA")),
        ("kA", "kiloampere", ("kA",)),
    ),
    "resistance": (
        ("Ω", "ohm", ("Ω", "ohm", "ohms")),
        ("mΩ", "milliohm", ("mΩ", "mohm", "milliohm")),
        ("kΩ", "kiloohm", ("kΩ", "kohm", "kiloohm")),
        ("MΩ", "megaohm", ("MΩ", "Mohm", "megaohm", "megohm")),
        ("GΩ", "gigaohm", ("GΩ", "Gohm", "gigaohm")),
    ),
    "frequency": (("Hz", "hertz", ("Hz",)), ("kHz", "kilohertz", ("kHz",))),
    "speed of rotation": (
        ("1/min", "1 / minute", ("1/min", "rpm", "min-1")),
        ("1/s", "1 / second", ("1/s",)),
    ),
    "power": (
        ("W", "watt", ("W",)),
        ("kW", "kilowatt", ("kW",)),
        ("MW", "megawatt", ("MW",)),
    ),
    "apparent power": (("VA", "volt * ampere", ("VA",)), ("kVA", "kilovolt * ampere", ("kVA",))),
    "energy": (("kWh", "kilowatt * hour", ("kWh",)), ("J", "joule", ("J",)), ("kJ", "kilojoule", ("kJ",))),
    "speed": (
        ("m/s", "meter / second", ("m/s",)),
        ("m/min", "meter / minute", ("m/min",)),
        ("ft/min", "foot / minute", ("ft/min", "fpm", "FPM")),
        ("ft/s", "foot / second", ("ft/s",)),
    ),
    "fraction": (
        ("%", "percent", ("%", "percent", "%vol", "vol%", "vol.%", "%v/v", "%(V/V)")),
        ("ppm", "ppm", ("ppm", "ppmv", "ppm(v)", "vppm", "ppm(V/V)")),
    ),
    "relative humidity": (("%RH", "percent", ("%RH", "%rh", "%r.h.")),),
    "count concentration": (
        ("counts/m³", "1 / meter**3", ("counts/m3", "count/m3", "particles/m3", "1/m3", "m-3")),
        ("counts/L", "1 / liter", ("counts/L", "particles/L", "1/L")),
        ("counts/ft³", "1 / foot**3", ("counts/ft3", "particles/ft3", "1/ft3")),
    ),
    "changes of air": (("1/h", "1 / hour", ("1/h", "ACH", "airchanges/h")),),
    "length": (
        ("mm", "millimeter", ("mm",)),
        ("cm", "centimeter", ("cm",)),
        ("m", "meter", ("m",)),
        ("µm", "micrometer", ("um", "μm")),
        ("in", "inch", ("in", "inch", "inches")),
        ("ft", "foot", ("ft", "feet")),
    ),
    "mass": (
        ("kg", "kilogram", ("kg",)),
        ("g", "gram", ("g",)),
        ("lb", "pound", ("lb", "lbs")),
        ("t", "metric_ton", ("t",)),
    ),
    "time": (
        ("s", "second", ("s", "sec", "seconds")),
        ("ms", "millisecond", ("ms",)),
        ("min", "minute", ("min", "minutes")),
        ("h", "hour", ("h", "hr", "hours")),
        ("d", "day", ("d", "days")),
    ),
    "rate of temperature": (
        ("K/min", "kelvin / minute", ("K/min", "°C/min")),
        ("K/h", "kelvin / hour", ("K/h", "°C/h")),
    ),
    "torque": (
        ("N·m", "newton * meter", ("Nm",)),
        ("lbf·ft", "pound_force * foot", ("lbfft", "ftlbf", "ftlb")),
    ),
    "force": (("N", "newton", ("N",)), ("lbf", "pound_force", ("lbf",))),
    "leak rate": (
        ("Pa·m³/s", "pascal * meter**3 / second", ("Pam3/s",)),
        ("mbar·L/s", "millibar * liter / second", ("mbarL/s", "mbarl/s")),
    ),
    "conductivity": (
        ("µS/cm", "microsiemens / centimeter", ("uS/cm", "μS/cm")),
        ("mS/cm", "millisiemens / centimeter", ("mS/cm",)),
    ),
    "sound level, A-weighted": (("dB(A)", "", ("dB(A)", "dBA")),),
    "illuminance": (("lx", "", ("lx", "lux")),),
    "pH": (("pH", "", ("pH",)),),
}
"""Every kind of quantity with its units."""
