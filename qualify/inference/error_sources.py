"""Errors of the sensors as they are drawn: each source with its distribution, private or shared."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import inf, isfinite, sqrt
from typing import Literal

import numpy as np

from qualify.readings.model import FloatArray, IntArray

Distribution = Literal["normal", "rectangular", "triangular", "student"]
DISTRIBUTIONS: tuple[Distribution, ...] = ("normal", "rectangular", "triangular", "student")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ErrorSource:
    """One source of error of the corrected readings.

    Attributes
    ----------
    name
        What it is, in words.
    standard_c : (m,) float64
        Standard uncertainty at each location [°C of difference]; 0 where the source does not act, NaN
        where it is not known.
    distribution
        "normal"; "rectangular" (half-width √3 times the standard uncertainty); "triangular" (√6 times);
        "student" (the standard uncertainty scales Student's t; JCGM 101:2008, 6.4.9, clause cited from
        memory), whose standard deviation is wider than its scale by √(ν/(ν − 2)).
    degrees_of_freedom
        ν of "student" [1]; infinite for the others.
    group : (m,) int64
        Locations with the same number share one draw, each scaled by its own standard uncertainty;
        locations with different numbers are independent.

    Raises
    ------
    ValueError
        If the shapes differ, a standard uncertainty is negative or infinite, the distribution is unknown,
        or degrees of freedom stand beside a distribution that has none or are below 1.
    """

    name: str
    standard_c: FloatArray
    distribution: Distribution
    degrees_of_freedom: float = inf
    group: IntArray

    def __post_init__(self) -> None:
        if self.standard_c.ndim != 1 or self.standard_c.shape != self.group.shape:
            raise ValueError(f"{self.name}: a standard uncertainty and a group for each location are needed")
        if np.any(self.standard_c < 0) or np.any(np.isinf(self.standard_c)):
            raise ValueError(f"{self.name}: a standard uncertainty is a number from 0")
        if self.distribution not in DISTRIBUTIONS:
            raise ValueError(f"{self.name}: {self.distribution!r} is none of {', '.join(DISTRIBUTIONS)}")
        if self.distribution != "student" and isfinite(self.degrees_of_freedom):
            raise ValueError(f"{self.name}: degrees of freedom belong to the distribution 'student'")
        if not self.degrees_of_freedom >= 1.0:
            raise ValueError(f"{self.name}: degrees of freedom are from 1, not {self.degrees_of_freedom}")

    @classmethod
    def private(
        cls,
        name: str,
        standard_c: FloatArray,
        distribution: Distribution = "normal",
        degrees_of_freedom: float = inf,
    ) -> ErrorSource:
        """A source whose error every location has for itself; (m,) standard uncertainties [°C]."""
        return cls(
            name=name,
            standard_c=standard_c,
            distribution=distribution,
            degrees_of_freedom=degrees_of_freedom,
            group=np.arange(standard_c.size),
        )

    @classmethod
    def shared(
        cls,
        name: str,
        standard_c: FloatArray,
        distribution: Distribution = "normal",
        degrees_of_freedom: float = inf,
    ) -> ErrorSource:
        """A source whose error all locations have in common; (m,) standard uncertainties [°C]."""
        return cls(
            name=name,
            standard_c=standard_c,
            distribution=distribution,
            degrees_of_freedom=degrees_of_freedom,
            group=np.zeros(standard_c.size, dtype=np.int64),
        )

    @property
    def standard_deviation_c(self) -> FloatArray:
        """Standard deviation of the error at each location (m,) [°C]; infinite for ν of 2 and below."""
        if self.distribution != "student" or not isfinite(self.degrees_of_freedom):
            return self.standard_c
        if self.degrees_of_freedom <= 2.0:
            return np.where(self.standard_c > 0, inf, self.standard_c)
        return self.standard_c * sqrt(self.degrees_of_freedom / (self.degrees_of_freedom - 2.0))


def error_covariance(sources: Sequence[ErrorSource]) -> FloatArray:
    """Covariance of the errors of all locations (m, m) [°C²]; at least one source.

    Its diagonal is NaN where a standard uncertainty is not known, infinite where a source of Student's t has
    2 degrees of freedom or fewer.
    """
    total = np.zeros((sources[0].group.size,) * 2)
    for source in sources:
        deviation_c = source.standard_deviation_c
        for number in np.unique(source.group):
            members = np.flatnonzero((source.group == number) & (deviation_c != 0))
            total[np.ix_(members, members)] += np.outer(deviation_c[members], deviation_c[members])
    return total


@dataclass(slots=True)
class ErrorDraws:
    """Draws the errors of all locations, block by block.

    Normal errors that a location has for itself are drawn as one: a sum of independent normal variables
    is normal, with the root of the sum of squares. Nothing else is merged.

    Attributes
    ----------
    sources
        The sources; every standard uncertainty known.
    random
        Where random numbers come from.
    """

    sources: Sequence[ErrorSource]
    random: np.random.Generator
    _normal_c: FloatArray = field(init=False)
    _parts: list[tuple[ErrorSource, IntArray]] = field(init=False)

    def __post_init__(self) -> None:
        variance = np.zeros(self.sources[0].standard_c.size)
        self._parts = []
        for source in self.sources:
            acting = np.flatnonzero(source.standard_c > 0)
            for number in np.unique(source.group[acting]):
                members = acting[source.group[acting] == number]
                if members.size == 1 and _is_normal(source):
                    variance[members] += source.standard_c[members] ** 2
                else:
                    self._parts.append((source, members))
        self._normal_c = np.sqrt(variance)

    def fill(self, errors: FloatArray) -> None:
        """Fill a table (m, trials) with errors [°C of difference], a row a location."""
        trials = errors.shape[1]
        if self._normal_c.any():
            self.random.standard_normal(out=errors)
            for location, scale in enumerate(self._normal_c):
                errors[location] *= scale
        else:
            errors.fill(0.0)
        scaled = np.empty(trials)
        for source, members in self._parts:
            drawn = _unit_draws(source, trials, self.random)
            for location in members:
                errors[location] += np.multiply(drawn, source.standard_c[location], out=scaled)


def _is_normal(source: ErrorSource) -> bool:
    return source.distribution == "normal" or (
        source.distribution == "student" and not isfinite(source.degrees_of_freedom)
    )


def _unit_draws(source: ErrorSource, trials: int, random: np.random.Generator) -> FloatArray:
    """Draw an error of standard uncertainty 1 (JCGM 101:2008, 6.4.2, 6.4.5, 6.4.7, 6.4.9; from memory)."""
    if _is_normal(source):
        return random.standard_normal(trials)
    if source.distribution == "student":
        return random.standard_t(source.degrees_of_freedom, trials)
    drawn = random.random(trials)
    if source.distribution == "triangular":
        drawn += random.random(trials)
        return np.multiply(drawn - 1.0, sqrt(6.0))
    return np.multiply(2.0 * drawn - 1.0, sqrt(3.0))
