"""Units of record sheets: how people write them, and a number from one into another of the same kind.

Temperatures and their differences are converted by `qualify.units`, everything else by the library pint,
which is imported only where two units differ (its import takes about a second).
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

from qualify.record_sheets.unit_words import (
    NUMBER,
    OWN_DEFINITIONS,
    TEMPERATURE,
    TEMPERATURE_DIFFERENCE,
    UNITS,
)
from qualify.units import (
    TemperatureUnit,
    difference_from_c,
    difference_to_c,
    parse_unit,
    temperature_from_c,
    temperature_to_c,
)

if TYPE_CHECKING:
    import pint


@dataclass(frozen=True, slots=True)
class SheetUnit:
    """A unit: how it is printed, and the kind of quantity; only units of one kind are ever compared."""

    name: str
    kind: str
    definition: str = ""
    temperature: TemperatureUnit | None = None

    def __str__(self) -> str:
        return self.name


NO_UNIT = SheetUnit("", NUMBER)

_TEMPERATURES = {unit: SheetUnit(unit.value, TEMPERATURE, "", unit) for unit in TemperatureUnit}
_DIFFERENCES = {
    unit: SheetUnit("K" if unit is TemperatureUnit.K else unit.difference, TEMPERATURE_DIFFERENCE, "", unit)
    for unit in TemperatureUnit
}
_DIFFERENCE = re.compile(
    r"(?:Δ|∆|delta)\s*(?:T\s*)?(?P<front>.+)|(?P<back>.+?)\s*\(?(?:of )?diff(?:erence|\.)?\)?", re.I
)
_PASSED_OVER = str.maketrans("", "", " ^·⋅*\u200b")


def _key(text: str) -> str:
    """A spelling without what carries no meaning: blanks, raised digits, signs of multiplication."""
    # º (the ordinal sign) would become the letter o.
    text = text.replace("º", "°").replace("“", '"').replace("”", '"').replace("''", '"')
    plain = unicodedata.normalize("NFKC", text).translate(_PASSED_OVER).replace("−", "-")
    return re.sub(r"\.(?!\d)", "", plain)


@lru_cache(maxsize=1)
def _spellings() -> tuple[dict[str, SheetUnit], dict[str, list[tuple[str, SheetUnit]]]]:
    """Units by their spellings, exact, and by the same without regard to capitals."""
    exact: dict[str, SheetUnit] = {}
    folded: dict[str, list[tuple[str, SheetUnit]]] = {}
    for kind, entries in UNITS.items():
        for name, definition, spellings in entries:
            unit = SheetUnit(name, kind, definition)
            for spelling in (*spellings, *((name,) if spellings else ())):
                key = _key(spelling)
                if exact.setdefault(key, unit) != unit:
                    raise AssertionError(f"two units are spelled {spelling}")
                if (key, unit) not in folded.setdefault(key.casefold(), []):
                    folded[key.casefold()].append((key, unit))
    return exact, folded


def find_unit(text: str) -> SheetUnit | None:
    """Read a unit as people write it.

    Capitals are free where they change no meaning: "PSI" is psi, but "MA" is not mA, "mpa" is not MPa and
    "S" is not s. "K" is a difference of temperatures; so is a temperature unit with the word difference.

    Parameters
    ----------
    text
        The cell; blank means a number without unit.

    Returns
    -------
    SheetUnit or None
        None for a word that is not on the list.
    """
    text = text.strip()
    if not text:
        return NO_UNIT
    temperature = parse_unit(text)
    if temperature is TemperatureUnit.K:
        return _DIFFERENCES[temperature]
    if temperature is not None:
        return _TEMPERATURES[temperature]
    difference = _DIFFERENCE.fullmatch(text)
    if difference is not None:
        of = parse_unit(difference["front"] or difference["back"])
        return None if of is None else _DIFFERENCES[of]
    exact, folded = _spellings()
    key = _key(text)
    if key in exact:
        return exact[key]
    found = {unit for spelling, unit in folded.get(key.casefold(), []) if _capitals_free(key, spelling)}
    return found.pop() if len(found) == 1 else None


def _capitals_free(written: str, spelling: str) -> bool:
    """Whether writing a unit with other capitals leaves its meaning: not for m (milli) and M (mega)."""
    if len(spelling) == 1 and spelling.islower():
        return False
    return written[0] == spelling[0] or written[0] not in "mM"


def unit_names() -> list[str]:
    """Every unit that `find_unit` knows, as it is printed."""
    return list(dict.fromkeys(name for entries in UNITS.values() for name, _, _ in entries))


def convert(value: float, unit: SheetUnit, into: SheetUnit) -> float:
    """Convert a number into another unit of the same kind.

    Parameters
    ----------
    value
        The number [`unit`].
    unit, into
        Its unit, and the one that is wanted.

    Returns
    -------
    float
        The number [`into`]; unchanged where both are the same.

    Raises
    ------
    ValueError
        If the kinds differ, such as gauge and absolute pressure.
    """
    if unit.kind != into.kind:
        raise ValueError(f"{unit.kind} is not {into.kind}")
    if unit == into:
        return value
    if unit.temperature is not None and into.temperature is not None:
        if unit.kind == TEMPERATURE:
            return temperature_from_c(temperature_to_c(value, unit.temperature), into.temperature)
        return difference_from_c(difference_to_c(value, unit.temperature), into.temperature)
    if unit.definition == into.definition:
        return value
    return value * _factor(unit.definition, into.definition)


@lru_cache(maxsize=256)
def _factor(definition: str, into: str) -> float:
    registry = _registry()
    return float(registry.Quantity(1.0, definition).to(into).magnitude)


@lru_cache(maxsize=1)
def _registry() -> pint.UnitRegistry[float]:
    import pint

    registry: pint.UnitRegistry[float] = pint.UnitRegistry()
    for definition in OWN_DEFINITIONS:
        registry.define(definition)
    return registry
