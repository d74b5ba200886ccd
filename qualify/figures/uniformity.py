"""Uniformity in the assessment window: each location, the chamber, and each document's own variant."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from qualify.figures.absent import Absent, Maybe
from qualify.figures.instants import complete_instants, evenly_spaced, mean_over_time
from qualify.readings.model import BoolArray, FloatArray

NO_READING = Absent("no reading in the window")
NO_COMPLETE = Absent("no instant in the window at which every location has a reading")
NO_REFERENCE = Absent("no reference location: none is named and none lies near the centre of the work zone")


@dataclass(frozen=True)
class Window:
    """The readings that are judged, and what several figures share of them.

    Attributes
    ----------
    seconds : (n,) float64
        Instants [s].
    corrected_c : (n, m) float64
        Corrected readings [°C]; NaN where absent.
    setpoint_c
        Set point [°C].
    reference
        Index of the reference location, or None.
    """

    seconds: FloatArray
    corrected_c: FloatArray
    setpoint_c: float
    reference: int | None = None

    @cached_property
    def even(self) -> bool:
        """Whether the instants are evenly spaced; means are time-weighted where they aren't."""
        return evenly_spaced(self.seconds)

    @cached_property
    def highest_c(self) -> FloatArray:
        """Largest reading of each location (m,) [°C]; −inf where it has none."""
        return np.fmax.reduce(self.corrected_c, initial=-np.inf)

    @cached_property
    def lowest_c(self) -> FloatArray:
        """Least reading of each location (m,) [°C]; inf where it has none."""
        return np.fmin.reduce(self.corrected_c, initial=np.inf)

    @cached_property
    def across(self) -> Across | None:
        """What comparisons across locations rest on; None where no instant is complete."""
        complete: BoolArray = complete_instants(self.corrected_c)
        if not complete.any():
            return None
        whole = bool(complete.all())
        return Across(
            self.seconds if whole else self.seconds[complete],
            self.corrected_c if whole else self.corrected_c[complete],
            self.even,
        )


@dataclass(frozen=True)
class Across:
    """The complete instants of a window: times (k,) [s], readings (k, m) [°C], evenly spaced or not."""

    seconds: FloatArray
    values_c: FloatArray
    even: bool

    @cached_property
    def means_c(self) -> FloatArray:
        """Mean of each location (m,) [°C]."""
        if self.even:
            return self.values_c.mean(axis=0)
        return np.array([self.over_time(column) for column in self.values_c.T])

    @cached_property
    def spread_c(self) -> FloatArray:
        """Hottest less coldest location at each instant (k,) [°C]."""
        return self.values_c.max(axis=1) - self.values_c.min(axis=1)

    def over_time(self, series: FloatArray) -> float:
        """Mean over time of a series at these instants."""
        return mean_over_time(self.seconds, series, self.even)


@dataclass(frozen=True, slots=True)
class LocationUniformity:
    """One location in the window; temperatures and differences in °C."""

    readings: int
    mean_c: Maybe
    min_c: Maybe
    max_c: Maybe
    sd_c: Maybe
    deviation_max_c: Maybe
    deviation_min_c: Maybe
    stability_c: Maybe


def location_uniformity(seconds: FloatArray, values_c: FloatArray, setpoint_c: float) -> LocationUniformity:
    """Figures of one location: (n,) seconds and (n,) corrected readings [°C], NaN where absent.

    Mean (time-weighted where the intervals between instants differ by over 10 %), least, largest,
    sample standard deviation, largest and least deviation from the set point, and stability = half the range.
    """
    there = ~np.isnan(values_c)
    time, values = seconds[there], values_c[there]
    if values.size == 0:
        return LocationUniformity(0, *[NO_READING] * 7)
    low, high = float(values.min()), float(values.max())
    return LocationUniformity(
        readings=int(values.size),
        mean_c=mean_over_time(time, values, evenly_spaced(seconds)),
        min_c=low,
        max_c=high,
        sd_c=float(values.std(ddof=1)) if values.size > 1 else Absent("one reading has no deviation"),
        deviation_max_c=high - setpoint_c,
        deviation_min_c=low - setpoint_c,
        stability_c=(high - low) / 2,
    )


@dataclass(frozen=True, slots=True)
class ChamberUniformity:
    """All locations together in the window; temperatures and differences in °C."""

    complete_instants: int
    mean_c: Maybe
    deviation_max_c: Maybe
    deviation_min_c: Maybe
    spread_max_c: Maybe
    spread_mean_c: Maybe
    spread_of_means_c: Maybe
    stability_c: Maybe


def chamber_uniformity(window: Window) -> ChamberUniformity:
    """Figures over all locations.

    Deviations and stability use every reading; mean and spreads use the instants at which every
    location has one. spread_max is the largest, spread_mean the mean over time, of the instantaneous
    difference between the hottest and the coldest location; spread_of_means the difference between
    the largest and the least location mean. The window holds at least one reading.
    """
    highest, lowest = window.highest_c, window.lowest_c
    deviation_max_c = float(highest.max()) - window.setpoint_c
    deviation_min_c = float(lowest.min()) - window.setpoint_c
    stability_c = float((highest - lowest).max()) / 2
    across = window.across
    if across is None:
        return ChamberUniformity(
            0,
            NO_COMPLETE,
            deviation_max_c,
            deviation_min_c,
            NO_COMPLETE,
            NO_COMPLETE,
            NO_COMPLETE,
            stability_c,
        )
    return ChamberUniformity(
        complete_instants=across.seconds.size,
        mean_c=across.over_time(across.values_c.mean(axis=1)),
        deviation_max_c=deviation_max_c,
        deviation_min_c=deviation_min_c,
        spread_max_c=float(across.spread_c.max()),
        spread_mean_c=across.over_time(across.spread_c),
        spread_of_means_c=float(np.ptp(across.means_c)),
        stability_c=stability_c,
    )


@dataclass(frozen=True, slots=True)
class VariantFigure:
    """A figure by a document's definition: value [°C], the location that gives it, where one does."""

    value_c: Maybe
    location: int | None = None


def variants(window: Window) -> dict[str, VariantFigure]:
    """Every document's own figure, keyed by the id of its row in standards/variants.toml.

    The definitions stand in that table, with their documents. The window holds at least one reading.
    """
    highest, lowest, setpoint_c = window.highest_c, window.lowest_c, window.setpoint_c
    hottest, coldest, widest = (
        int(np.argmax(highest)),
        int(np.argmin(lowest)),
        int(np.argmax(highest - lowest)),
    )
    above = VariantFigure(float(highest[hottest]) - setpoint_c, hottest)
    below = VariantFigure(float(lowest[coldest]) - setpoint_c, coldest)
    fluctuation_c = float(highest[widest] - lowest[widest])
    half_fluctuation = VariantFigure(fluctuation_c / 2, widest)
    gradient, mean_spread = _between_locations(window)
    inhomogeneity, at_once, instability = _against_reference(window)
    return {
        "ams2750-uniformity-high": above,
        "ams2750-uniformity-low": below,
        "iec60068-3-5-gradient": gradient,
        "iec60068-3-5-variation-in-space": inhomogeneity,
        "iec60068-3-5-fluctuation": VariantFigure(fluctuation_c, widest),
        "dkd-r-5-7-inhomogeneity": inhomogeneity,
        "dkd-r-5-7-instability": instability,
        "tlas-g20-uniformity": at_once,
        "tlas-g20-stability": half_fluctuation,
        "tlas-g20-overall-variation": VariantFigure(float(highest[hottest] - lowest[coldest])),
        "jjf1101-uniformity": mean_spread,
        "jjf1101-deviation-high": above,
        "jjf1101-deviation-low": below,
        "jjf1101-fluctuation": half_fluctuation,
    }


def _between_locations(window: Window) -> tuple[VariantFigure, VariantFigure]:
    """Largest difference of two location means, and the mean over time of the spread."""
    across = window.across
    if across is None:
        return VariantFigure(NO_COMPLETE), VariantFigure(NO_COMPLETE)
    return VariantFigure(float(np.ptp(across.means_c))), VariantFigure(across.over_time(across.spread_c))


def _against_reference(window: Window) -> tuple[VariantFigure, VariantFigure, VariantFigure]:
    """Means against the reference's mean, readings against it at the same instant, its own instability."""
    r = window.reference
    if r is None:
        return (VariantFigure(NO_REFERENCE),) * 3
    there = ~np.isnan(window.corrected_c[:, r])
    if not there.any():
        return (VariantFigure(Absent("the reference location has no reading in the window")),) * 3
    time, series = window.seconds[there], window.corrected_c[there, r]
    middle = mean_over_time(time, series, window.even)
    instability = VariantFigure(float(np.abs(series - middle).max()), r)
    across = window.across
    if across is None:
        return VariantFigure(NO_COMPLETE), VariantFigure(NO_COMPLETE), instability
    apart = np.abs(across.means_c - across.means_c[r])
    at_once = np.abs(across.values_c - across.values_c[:, [r]]).max(axis=0)
    return (
        VariantFigure(float(apart.max()), int(np.argmax(apart))),
        VariantFigure(float(at_once.max()), int(np.argmax(at_once))),
        instability,
    )
