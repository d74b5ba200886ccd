"""How the oven moves: overshoot, excess, time to band, rates, recovery, lag."""

from __future__ import annotations

import numpy as np

from qualify.figures.absent import Absent, Maybe
from qualify.readings.model import BoolArray, FloatArray

STEEPEST_SECONDS = 300.0
LIMIT_SLACK_C = 1e-9
"""A reading this little beyond a limit still keeps it [°C]: what unit conversion leaves behind."""


def beyond_limits(values_c: FloatArray, low_c: FloatArray | float, high_c: FloatArray | float) -> BoolArray:
    """Where a reading [°C] lies beyond the limits [°C]; an absent reading doesn't."""
    return (values_c < low_c - LIMIT_SLACK_C) | (values_c > high_c + LIMIT_SLACK_C)


def inside_limits(values_c: FloatArray, low_c: float, high_c: float) -> BoolArray:
    """Where a reading [°C] lies inside the limits [°C] or on one; an absent reading doesn't."""
    return (values_c >= low_c - LIMIT_SLACK_C) & (values_c <= high_c + LIMIT_SLACK_C)


def overshoot_c(values_c: FloatArray, setpoint_c: float) -> FloatArray:
    """Largest excess of each location over the set point, not below 0.

    Parameters
    ----------
    values_c : (n, m) float64
        Corrected readings [°C] from heat start (else the first reading) to the hold's end.
    setpoint_c
        Set point, or each location's own final mean (m,) [°C].

    Returns
    -------
    (m,) float64
        Overshoot [°C]; NaN for a location without readings.
    """
    return np.maximum(np.fmax.reduce(values_c) - setpoint_c, 0.0)


def undershoot_c(values_c: FloatArray, setpoint_c: float) -> FloatArray:
    """Largest shortfall [°C] of each location below the set point, not below 0: overshoot mirrored."""
    return np.maximum(setpoint_c - np.fmin.reduce(values_c), 0.0)


def counted_from_first_inside(values_c: FloatArray, low_c: float, high_c: float) -> FloatArray:
    """After a step down: readings [°C] of each sensor before it is first inside the band become NaN."""
    counted: BoolArray = np.maximum.accumulate(inside_limits(values_c, low_c, high_c), axis=0)
    return np.where(counted, values_c, np.nan)


def high_excess_c(values_c: FloatArray, limit_high_c: float) -> tuple[float, int, int] | None:
    """Largest reading less the upper limit of the hold then running.

    Parameters
    ----------
    values_c : (n, m) float64
        Readings [°C] of survey, control and recording sensors; NaN where absent or not counted.
    limit_high_c
        Upper limit [°C].

    Returns
    -------
    excess [°C], instant, sensor
        None where there is no reading.
    """
    highest = np.fmax.reduce(values_c, initial=-np.inf)
    sensor = int(np.argmax(highest))
    if highest[sensor] == -np.inf:
        return None
    instant = int(np.argmax(values_c[:, sensor] == highest[sensor]))
    return float(highest[sensor]) - limit_high_c, instant, sensor


def time_to_band_s(
    seconds: FloatArray,
    values_c: FloatArray,
    start_s: float,
    low_c: FloatArray | float,
    high_c: FloatArray | float,
) -> Maybe:
    """Time from heat start to the first instant from which every location stays inside the limits.

    Parameters
    ----------
    seconds : (n,) float64
        Instants [s] from heat start to the window's end.
    values_c : (n, m) float64
        Corrected readings [°C]; an absent reading counts as outside only before the location's first.
    start_s
        Heat start [s].
    low_c, high_c
        Limits [°C], one for all locations or one each (m,).
    """
    outside = beyond_limits(values_c, low_c, high_c).any(axis=1)
    absent = np.isnan(values_c)
    if absent.any():
        # Before its first reading a location can't be said to be inside.
        outside |= np.logical_and.accumulate(absent, axis=0).any(axis=1)
    if not outside.any():
        return float(seconds[0]) - start_s
    last = int(np.flatnonzero(outside)[-1])
    if last == outside.size - 1:
        return Absent("a location is outside the limits at the window's end")
    return float(seconds[last + 1]) - start_s


def recovery_s(
    seconds: FloatArray, values_c: FloatArray, closed_s: float, low_c: float, high_c: float
) -> Maybe:
    """Time from the closing of the door until every location stays inside the limits.

    Parameters
    ----------
    seconds : (n,) float64
        Instants [s] up to the hold's end.
    values_c : (n, m) float64
        Corrected readings [°C].
    closed_s
        When the door was closed [s].
    low_c, high_c
        Limits [°C].
    """
    after = seconds >= closed_s
    if not after.any():
        return Absent("the door was closed after the hold's end")
    outside = beyond_limits(values_c, low_c, high_c).any(axis=1) & after
    if not outside.any():
        return 0.0
    last = int(np.flatnonzero(outside)[-1])
    if last == outside.size - 1:
        return Absent("a location is still outside the limits at the hold's end")
    return float(seconds[last + 1]) - closed_s


def band_lag_s(seconds: FloatArray, values_c: FloatArray, low_c: float, high_c: float) -> Maybe:
    """Time between the first and the last location's first reading inside the band [s]."""
    inside = inside_limits(values_c, low_c, high_c)
    if not inside.any(axis=0).all():
        return Absent("a location never comes inside the limits")
    arrivals = seconds[np.argmax(inside, axis=0)]
    return float(arrivals.max() - arrivals.min())


def mean_rate_c_per_min(seconds: FloatArray, mean_c: FloatArray, from_c: float, to_c: float) -> Maybe:
    """Rate between 10 % and 90 % of a step of the chamber mean, crossings interpolated [°C/min].

    Parameters
    ----------
    seconds, mean_c : (n,) float64
        Instants [s] and chamber mean [°C] over the step.
    from_c, to_c
        Levels before and after the step [°C]; the rate is positive either way.
    """
    share = (mean_c - from_c) / (to_c - from_c)
    crossings = [_first_crossing(seconds, share, part) for part in (0.1, 0.9)]
    if crossings[0] is None or crossings[1] is None or crossings[1] <= crossings[0]:
        return Absent("the chamber mean does not pass from 10 % to 90 % of the step")
    return 0.8 * abs(to_c - from_c) / (crossings[1] - crossings[0]) * 60.0


def _first_crossing(seconds: FloatArray, share: FloatArray, part: float) -> float | None:
    """When `share` first reaches `part`, between readings by straight line; None if never or at once."""
    reached = np.flatnonzero(share >= part)
    if reached.size == 0 or reached[0] == 0:
        return None
    i = int(reached[0])
    back = (share[i] - part) / (share[i] - share[i - 1])
    return float(seconds[i] - back * (seconds[i] - seconds[i - 1]))


def steepest_c_per_min(seconds: FloatArray, mean_c: FloatArray, *, rising: bool) -> Maybe:
    """Steepest change of the chamber mean over 5 minutes or the next longer time [°C/min].

    Parameters
    ----------
    seconds, mean_c : (n,) float64
        Instants [s] and chamber mean [°C].
    rising
        Whether the heat-up is looked for (else the cool-down; its rate is positive too).
    """
    later = np.searchsorted(seconds, seconds + STEEPEST_SECONDS - 0.0005, side="left")
    there = np.flatnonzero(later < seconds.size)
    if there.size == 0:
        return Absent("the stretch is shorter than 5 minutes")
    change = mean_c[later[there]] - mean_c[there]
    rates = change / (seconds[later[there]] - seconds[there]) * 60.0
    if np.isnan(rates).all():
        return Absent("no readings")
    best = float(np.nanmax(rates if rising else -rates))
    return best if best > 0 else Absent("the chamber does not move that way")
