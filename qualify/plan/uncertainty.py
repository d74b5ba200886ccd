"""What the plan says of uncertainty: sources beside the certificates, and how they are simulated."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from qualify.findings import RefusalKind, nearest
from qualify.plan.keys import Keys
from qualify.units import CelsiusDifference, TemperatureUnit, difference_to_c

SOURCE_TWICE = RefusalKind(
    "plan-source-twice",
    what="the source '{source}' is given twice for location '{name}'",
    why="It would count twice in the budget.",
    mend="keep one of the two, or give each its own locations or types.",
)
SOURCE_UNKNOWN_NAME = RefusalKind(
    "plan-source-unknown-name",
    what="'{name}' is no location of this plan{near}",
    why="What the source belongs to can't be found.",
    mend="correct the name; known: {known}.",
)


class Source(StrEnum):
    """Sources of error that a budget lists, whether or not somebody gave them."""

    CALIBRATION = "calibration"
    INTERPOLATION = "interpolation"
    DRIFT = "drift since calibration"
    LOGGER = "logger"
    RESOLUTION = "resolution"
    JUNCTION = "reference junction"
    WIRE = "inhomogeneity of the wire"
    SELF_HEATING = "self-heating"
    RADIATION = "radiation"
    CONDUCTION = "conduction along the sensor"
    LOADING = "loading"
    OTHER = "other"


OF_READING = (
    Source.CALIBRATION,
    Source.INTERPOLATION,
    Source.DRIFT,
    Source.LOGGER,
    Source.RESOLUTION,
    Source.JUNCTION,
    Source.WIRE,
    Source.SELF_HEATING,
    Source.RADIATION,
    Source.CONDUCTION,
    Source.OTHER,
)
"""Sources of one corrected reading; how the load changes the chamber is none of them."""

SHARED = frozenset({Source.LOGGER, Source.JUNCTION})
"""Sources that all locations share unless the plan says otherwise: one logger, one terminal block."""


class OfChamber(StrEnum):
    """Sources of an assigned chamber temperature besides those of the reference reading."""

    INDICATION = "chamber's indication"
    INDICATION_RESOLUTION = "resolution of the chamber's indication"
    RADIATION = "radiation in the chamber"
    LOADING = "loading"


class Shape(StrEnum):
    """How the values that a source's error may have are spread."""

    NORMAL = "normal"
    RECTANGULAR = "rectangular"
    TRIANGULAR = "triangular"


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedSource:
    """One source as the plan states it.

    Attributes
    ----------
    source
        Its name among `Source` or `OfChamber`.
    stated_c, divisor
        What is stated [°C of difference], and what it is divided by for a standard uncertainty.
    shape
        How its values are spread.
    degrees_of_freedom
        Of the standard uncertainty; infinite where the plan is silent.
    shared
        Whether all its locations share one error.
    locations, types
        To which locations or sensor types it belongs; empty: to all.
    because
        Where the number comes from.
    covered
        Whether the certificates cover it, so that it is no row of its own; `because` says which.
    """

    source: str
    stated_c: CelsiusDifference = CelsiusDifference(0.0)
    divisor: float = 1.0
    shape: Shape = Shape.NORMAL
    degrees_of_freedom: float = float("inf")
    shared: bool = False
    locations: tuple[str, ...] = ()
    types: tuple[str, ...] = ()
    because: str = ""
    covered: bool = False

    @property
    def standard_c(self) -> float:
        """Standard uncertainty [°C of difference]."""
        return self.stated_c / self.divisor

    def belongs_to(self, location: str, sensor_type: str) -> bool:
        """Whether a location, with a sensor of this type, has this source."""
        named = not self.locations and not self.types
        return named or location in self.locations or (bool(sensor_type) and sensor_type in self.types)


@dataclass(frozen=True, slots=True, kw_only=True)
class UncertaintyChoice:
    """What the plan says of uncertainty.

    Attributes
    ----------
    sources
        Sources of one corrected reading, besides the certificates.
    of_chamber
        Sources of an assigned chamber temperature, besides those of the reference reading.
    calibration_correlation
        Correlation between the errors of any two certificates, 0 to 1: one laboratory, one standard.
    """

    sources: tuple[StatedSource, ...] = ()
    of_chamber: tuple[StatedSource, ...] = ()
    calibration_correlation: float = 0.0

    def of_location(self, location: str, sensor_type: str) -> tuple[StatedSource, ...]:
        """Sources that a location has."""
        return tuple(item for item in self.sources if item.belongs_to(location, sensor_type))


def read_uncertainty(
    top: Keys, units: TemperatureUnit, locations: Iterable[tuple[str, str]]
) -> UncertaintyChoice:
    """Read the plan's table `uncertainty`.

    Parameters
    ----------
    top
        The whole plan.
    units
        Unit of its differences.
    locations
        Name and sensor type of every location of the plan.

    Raises
    ------
    Refusal
        If a source is unknown, has no value or more than one, names no location of the plan, or stands
        twice for one location.
    """
    table = top.table("uncertainty")
    if table is None:
        return UncertaintyChoice()
    places = list(locations)
    correlation = table.number("calibration_correlation", default=0.0, least=0.0) or 0.0
    if correlation > 1:
        raise table.wrong("calibration_correlation", "a number from 0 to 1")
    sources = tuple(_source(item, units, [name for name, _ in places]) for item in table.tables("sources"))
    chamber = tuple(_of_chamber(item, units) for item in table.tables("chamber"))
    for name, sensor_type in places or [("", "")]:
        seen: set[str] = set()
        for item in sources:
            if item.belongs_to(name, sensor_type) and item.source != Source.OTHER:
                if item.source in seen:
                    raise SOURCE_TWICE(source=item.source, name=name, **table.where("sources"))
                seen.add(item.source)
    table.done()
    return UncertaintyChoice(sources=sources, of_chamber=chamber, calibration_correlation=correlation)


def _source(table: Keys, units: TemperatureUnit, names: list[str]) -> StatedSource:
    word = table.choice("source", [item.value for item in OF_READING])
    if word is None:
        raise table.missing("source", "A budget's row is told apart by its source.")
    of = table.texts("locations")
    for name in of:
        if name not in names:
            raise SOURCE_UNKNOWN_NAME(
                name=name, near=nearest(name, names), known=", ".join(names), **table.where("locations")
            )
    because = table.text("because", why="An auditor asks where the number comes from.")
    types = table.texts("types")
    shared = table.yes_or_no("shared") if "shared" in table else word in SHARED
    if table.yes_or_no("covered"):
        found = StatedSource(source=word, locations=of, types=types, because=because, covered=True)
        table.take("shared")
    else:
        stated_c, divisor, shape = _value(table, units)
        found = StatedSource(
            source=word,
            stated_c=stated_c,
            divisor=divisor,
            shape=shape,
            degrees_of_freedom=_degrees(table, shape),
            shared=shared,
            locations=of,
            types=types,
            because=because,
        )
    table.done()
    return found


def _of_chamber(table: Keys, units: TemperatureUnit) -> StatedSource:
    word = table.choice("source", [item.value for item in OfChamber])
    if word is None:
        raise table.missing("source", "A budget's row is told apart by its source.")
    if word == OfChamber.LOADING and "loaded_difference" in table:
        # A fifth of the empty-versus-loaded difference is the half-width (DKD-R 5-7).
        difference = table.number("loaded_difference") or 0.0
        stated_c, divisor, shape = _rectangular(0.2 * abs(difference), units)
    else:
        stated_c, divisor, shape = _value(table, units)
    found = StatedSource(
        source=word,
        stated_c=stated_c,
        divisor=divisor,
        shape=shape,
        degrees_of_freedom=_degrees(table, shape),
        because=table.text("because", why="An auditor asks where the number comes from."),
    )
    table.done()
    return found


_WAYS = ("half_width", "triangular_half_width", "digit", "standard", "expanded")


def _value(table: Keys, units: TemperatureUnit) -> tuple[CelsiusDifference, float, Shape]:
    """The value, its divisor and its shape (JCGM 100:2008, 4.3.4 to 4.3.9; clauses from memory)."""
    given = [way for way in _WAYS if way in table]
    if len(given) != 1:
        if not given:
            raise table.missing(
                "half_width", f"A source needs a value: one of {', '.join(_WAYS)}; or covered = true."
            )
        raise table.wrong(given[1], f"needed beside {given[0]}: give one of the two")
    way = given[0]
    value = table.number(way, least=0.0) or 0.0
    if way == "expanded":
        factor = table.number("coverage_factor")
        if factor is None:
            raise table.missing("coverage_factor", "An expanded uncertainty is nothing without its k.")
        if factor < 1.0:
            raise table.wrong("coverage_factor", "a number of at least 1")
        return CelsiusDifference(difference_to_c(value, units)), factor, Shape.NORMAL
    if way == "standard":
        return CelsiusDifference(difference_to_c(value, units)), 1.0, Shape.NORMAL
    if way == "triangular_half_width":
        return CelsiusDifference(difference_to_c(value, units)), 6.0**0.5, Shape.TRIANGULAR
    return _rectangular(value / 2 if way == "digit" else value, units)


def _rectangular(half_width: float, units: TemperatureUnit) -> tuple[CelsiusDifference, float, Shape]:
    return CelsiusDifference(difference_to_c(half_width, units)), 3.0**0.5, Shape.RECTANGULAR


def _degrees(table: Keys, shape: Shape) -> float:
    degrees = table.number("degrees_of_freedom")
    if degrees is None:
        return float("inf")
    if degrees < 1 or shape is not Shape.NORMAL:
        raise table.wrong(
            "degrees_of_freedom", "a number of at least 1, of a standard or expanded uncertainty"
        )
    return degrees
