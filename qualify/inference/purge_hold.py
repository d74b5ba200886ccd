"""How well a purged chamber keeps its oxygen: the rise after the flow stops, a limit kept through a run."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from qualify.figures.absent import Absent, Maybe
from qualify.figures.heat_effect import time_above
from qualify.figures.series import drift, find_cycle
from qualify.figures.well_mixed import AIR_OXYGEN_PERCENT
from qualify.readings.model import FloatArray

LEAST_READINGS = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class RiseRate:
    """How fast oxygen rises in a closed chamber.

    Attributes
    ----------
    percent_per_h
        Least-squares slope [% oxygen/h].
    low_percent_per_h, high_percent_per_h
        Its 95 % interval, autocorrelation allowed for [% oxygen/h].
    air_volumes_per_h
        Chamber volumes of air that leak in [1/h]: slope/(20.9 − mean oxygen).
    rise_percent
        Last tenth's median less first tenth's [% oxygen].
    mean_percent
        Mean oxygen [%].
    seconds
        Time between first and last reading [s].
    readings, absent_readings
        Readings used, instants without one [1].
    """

    percent_per_h: Maybe
    low_percent_per_h: Maybe
    high_percent_per_h: Maybe
    air_volumes_per_h: Maybe
    rise_percent: float
    mean_percent: float
    seconds: float
    readings: int
    absent_readings: int


def rise_rate(
    seconds: FloatArray, oxygen: FloatArray, *, stopped_s: float, end_s: float = np.inf
) -> RiseRate | Absent:
    """Slope of oxygen after the purge flow has stopped, with an interval that allows for autocorrelation.

    The interval is that of `figures.series.drift`. Air enters a well-mixed chamber as
    dC/dt = (q/V)·(20.9 − C).

    Parameters
    ----------
    seconds, oxygen : (n,) float64
        Instants [s], rising, and analyser readings [% oxygen], NaN for none.
    stopped_s, end_s
        When the flow stopped and the test ended [s].
    """
    inside = (seconds >= stopped_s) & (seconds <= end_s)
    there = inside & np.isfinite(oxygen)
    t, values = seconds[there], oxygen[there]
    if values.size < LEAST_READINGS:
        return Absent(
            f"{values.size} oxygen readings after the flow stopped; at least {LEAST_READINGS} needed"
        )
    if float(np.ptp(values)) <= 1e-9:
        return Absent(
            f"the oxygen reads {values[0]:.6g} % throughout: any rise is hidden by the analyser's resolution"
        )
    slope = drift(t, values, find_cycle(t, values))
    mean, few = float(values.mean()), max(1, values.size // 10)
    volumes: Maybe = slope.slope_c_per_h
    if not isinstance(volumes, Absent):
        left = AIR_OXYGEN_PERCENT - mean
        volumes = volumes / left if left > 0 else Absent("the oxygen is at or above that of air")
    return RiseRate(
        percent_per_h=slope.slope_c_per_h,
        low_percent_per_h=slope.low_c_per_h,
        high_percent_per_h=slope.high_c_per_h,
        air_volumes_per_h=volumes,
        rise_percent=float(np.median(values[-few:]) - np.median(values[:few])),
        mean_percent=mean,
        seconds=float(t[-1] - t[0]),
        readings=int(values.size),
        absent_readings=int(np.count_nonzero(inside)) - int(values.size),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class OxygenKept:
    """Oxygen through a run, against a limit.

    Attributes
    ----------
    largest
        Largest reading [% oxygen]; at `largest_at_s` [s].
    largest_at_s
        Its instant [s].
    above_min
        Time above the limit, crossings interpolated [min]; absent where readings are.
    above_at_least_min
        What the intervals with readings at both ends give [min].
    readings_above
        Readings above the limit [1].
    first_above_s
        The first of them [s]; None without any.
    margin
        Limit − largest reading [% oxygen].
    readings, absent_readings
        Readings used, instants without one [1].
    longest_without_s
        Longest time without a reading [s].
    """

    largest: float
    largest_at_s: float
    above_min: Maybe
    above_at_least_min: float
    readings_above: int
    first_above_s: float | None
    margin: float
    readings: int
    absent_readings: int
    longest_without_s: float


def ability_to_hold(
    seconds: FloatArray, oxygen: FloatArray, limit: float, *, start_s: float = -np.inf, end_s: float = np.inf
) -> OxygenKept | Absent:
    """Largest oxygen and time above a limit through a run. A reading at the limit is not above it.

    Parameters
    ----------
    seconds, oxygen : (n,) float64
        Instants [s], rising, and analyser readings [% oxygen], NaN for none.
    limit
        The limit [% oxygen].
    start_s, end_s
        The run [s].
    """
    inside = (seconds >= start_s) & (seconds <= end_s)
    t, values = seconds[inside], oxygen[inside]
    there = np.isfinite(values)
    if np.count_nonzero(there) < 2:
        return Absent(f"{np.count_nonzero(there)} oxygen readings in the run; at least 2 are needed")
    largest = int(np.nanargmax(values))
    over = np.flatnonzero(there & (values > limit))
    # The next number above the limit: at the limit counts as kept.
    above = time_above(t, values[:, None], float(np.nextafter(limit, np.inf)))
    if isinstance(above, Absent):
        return above
    return OxygenKept(
        largest=float(values[largest]),
        largest_at_s=float(t[largest]),
        above_min=above.minutes[0],
        above_at_least_min=above.at_least_minutes[0],
        readings_above=int(over.size),
        first_above_s=float(t[over[0]]) if over.size else None,
        margin=limit - float(values[largest]),
        readings=int(np.count_nonzero(there)),
        absent_readings=int(np.count_nonzero(~there)),
        longest_without_s=float(np.diff(np.concatenate((t[:1], t[there], t[-1:]))).max()),
    )
