"""Cooling down by water or air: rate, time to the handling temperature, and what other coolant would give."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

import numpy as np

from qualify.figures.absent import Absent, Maybe
from qualify.figures.approach import Crossing, NotDriven, crossing
from qualify.figures.response import steepest_c_per_min
from qualify.inference.course_fit import Misfit
from qualify.inference.decay import Decay, Range, fit_decay
from qualify.inference.decay_times import since, time_to
from qualify.readings.model import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Cooling:
    """What a record of a cool-down shows.

    Attributes
    ----------
    start_c, last_c
        First and last reading used [°C].
    reached
        When the handling temperature was reached, on the record's clock [s].
    time_s
        Time from the start of cooling until then [s].
    time_low_s, time_high_s
        It lies between these [s].
    mean_rate_c_per_min
        (first reading − handling temperature) over `time_s` [°C/min].
    steepest_c_per_min
        Steepest fall over 5 minutes [°C/min].
    decay
        The fit T = T_c + (T_0 − T_c)·e^(−t/τ): start T_0, floor T_c [°C], time constant τ [s]; or in words
        why a first order doesn't describe the record.
    misfit
        The test of the fit; absent where there was no fit to test.
    fitted_time_s
        Fitted time to the handling temperature, with its interval [s].
    coolant_c
        Temperature of the coolant [°C]; None where not known.
    floor_above_coolant_c
        T_c less the coolant's temperature [°C].
    readings, absent_readings
        Readings used, instants without one [1].
    interval_s
        Median interval between readings [s].
    """

    start_c: float
    last_c: float
    reached: Crossing | Absent
    time_s: Maybe
    time_low_s: Maybe
    time_high_s: Maybe
    mean_rate_c_per_min: Maybe
    steepest_c_per_min: Maybe
    decay: Decay | Absent
    misfit: Misfit | Absent
    fitted_time_s: Range | Absent
    coolant_c: float | None
    floor_above_coolant_c: Maybe
    readings: int
    absent_readings: int
    interval_s: float


def cooling(
    seconds: FloatArray,
    values_c: FloatArray,
    *,
    start_s: float,
    handling_c: float,
    end_s: float = inf,
    coolant_c: float | None = None,
    reading_u_c: float = 0.0,
    resolution_c: float = 0.0,
) -> Cooling | Absent:
    """Evaluate a recorded cool-down of one location (or of the chamber mean).

    Newton's law of cooling, dT/dt = (T_c − T)/τ. Where it doesn't describe the record (`course_fit`: 1 %
    false alarms; a thick load, boiling water, a flow that changes) the measured time stands alone.

    Parameters
    ----------
    seconds, values_c : (n,) float64
        Instants [s], rising, and readings [°C], NaN for none.
    start_s, end_s
        Start of cooling; last instant to use [s].
    handling_c
        Temperature at which the load may be handled [°C].
    coolant_c
        Temperature of the coolant during the record [°C].
    reading_u_c
        Standard uncertainty of a reading that all share (calibration) [°C].
    resolution_c
        Step in which readings are shown [°C].
    """
    inside = (seconds >= start_s) & (seconds <= end_s)
    there = inside & np.isfinite(values_c)
    t, values = seconds[there], values_c[there]
    if values.size < 3:
        return Absent(f"{values.size} readings after the start of cooling; at least 3 are needed")
    if float(np.ptp(values)) <= 1e-9:
        return Absent(f"the temperature reads {values[0]:.6g} °C throughout: nothing cooled")
    few = max(1, values.size // 10)
    if float(np.median(values[-few:])) >= float(np.median(values[:few])):
        return Absent("the temperature does not fall from the start to the end of the record")
    reached = _reached(t, values, handling_c, reading_u_c)
    decay = fit_decay(t - start_s, values, resolution=resolution_c)
    misfit: Misfit | Absent
    if isinstance(decay, Absent):
        misfit = decay
    else:
        misfit = decay.fit.misfit
        if not misfit.fits:
            how = (
                f"the temperature jumps by {misfit.jump:.3g} °C at {start_s + misfit.jump_s:.6g} s"
                if misfit.jumped
                else f"the readings depart from it by up to {misfit.largest:.3g} °C"
            )
            decay = Absent(f"a first order does not describe the record: {how}")
    time_s, time_low_s, time_high_s = since(reached, start_s)
    rate: Maybe = time_s
    if not isinstance(time_s, Absent) and time_s > 0:
        rate = (float(values[0]) - handling_c) / time_s * 60.0
    over: Maybe = Absent("the coolant's temperature is not known")
    if coolant_c is not None:
        over = decay if isinstance(decay, Absent) else decay.floor.value - coolant_c
    return Cooling(
        start_c=float(values[0]),
        last_c=float(values[-1]),
        reached=reached,
        time_s=time_s,
        time_low_s=time_low_s,
        time_high_s=time_high_s,
        mean_rate_c_per_min=rate,
        steepest_c_per_min=steepest_c_per_min(t, values, rising=False),
        decay=decay,
        misfit=misfit,
        fitted_time_s=decay
        if isinstance(decay, Absent)
        else time_to(decay, handling_c, shared_u=reading_u_c),
        coolant_c=coolant_c,
        floor_above_coolant_c=over,
        readings=int(values.size),
        absent_readings=int(np.count_nonzero(inside)) - int(values.size),
        interval_s=float(np.median(np.diff(t))),
    )


def _reached(t: FloatArray, values: FloatArray, handling_c: float, u: float) -> Crossing | Absent:
    """When the handling temperature was first reached."""
    if values[0] <= handling_c:
        return Absent(f"the readings begin at {values[0]:.6g} °C: the handling temperature was already met")
    found = crossing(t, values, handling_c, rising=False, reading_u=u)
    if isinstance(found, NotDriven):
        return Absent(f"{handling_c:.6g} °C was never reached; the lowest was {values.min():.6g} °C")
    return found


def time_with_coolant(
    found: Cooling,
    other_coolant_c: float,
    handling_c: float,
    *,
    reading_u_c: float = 0.0,
    coolant_u_c: float = 0.0,
) -> Range | Absent:
    """Time to the handling temperature that a coolant of another temperature would be expected to give [s].

    The floor T_c moves with the coolant and τ stays: the same flow, the same load, no boiling. With its 95 %
    interval; refused where the handling temperature lies at or below the moved floor.

    Parameters
    ----------
    found
        The evaluated cool-down, with its coolant's temperature.
    other_coolant_c, handling_c
        The other coolant's temperature, and the handling temperature [°C].
    reading_u_c, coolant_u_c
        Standard uncertainty of a reading that all share, and of the difference between the coolants [°C].
    """
    if isinstance(found.decay, Absent):
        return found.decay
    if found.coolant_c is None:
        return Absent("the temperature of the coolant during the record is not known")
    return time_to(
        found.decay,
        handling_c,
        shared_u=reading_u_c,
        floor_moved_by=other_coolant_c - found.coolant_c,
        floor_moved_u=coolant_u_c,
    )
