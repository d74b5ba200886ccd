"""Purging a chamber of oxygen: measured and fitted times, mixing, and whether one well-mixed volume fits.

Oxygen is a volume fraction in % throughout, flow that of the purge gas at the chamber's temperature and
pressure (`qualify.figures.well_mixed` brings a metered flow to it, and holds the closed forms). Only what the
analyser showed is evidence; the model says what to expect elsewhere. How well a chamber keeps its oxygen
afterwards: `purge_hold`.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, inf, sqrt

import numpy as np

from qualify.figures.absent import Absent, Maybe
from qualify.figures.approach import COVERAGE_FACTOR, Crossing, NotDriven, crossing, scatter_before
from qualify.inference.course_fit import Misfit
from qualify.inference.decay import Decay, Range, fit_decay, second_decay
from qualify.inference.decay_times import since, time_to
from qualify.probability import student_quantile
from qualify.readings.model import FloatArray

LEAK_LEVEL = 0.01
"""Share of tight chambers that are said to leak."""
BACK = 6.0
"""Above the limit by so many standard deviations of scatter, oxygen has risen above it again."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Analyser:
    """An oxygen analyser and its sample line.

    Attributes
    ----------
    lag_s
        Time constant of its own first-order answer [s]; None: fitted where the record tells it.
    delay_s
        Time of the sample from the chamber to the analyser [s].
    u
        Standard uncertainty of a reading that all share (calibration) [% oxygen].
    resolution
        Step in which readings are shown [% oxygen].
    relative_noise, least_noise
        Noise of a reading goes as √(least² + (relative·oxygen)²), [1] and [% oxygen]; only their ratio
        counts. Both 0: noise is alike at all readings.
    """

    lag_s: float | None = 0.0
    delay_s: float = 0.0
    u: float = 0.0
    resolution: float = 0.0
    relative_noise: float = 0.0
    least_noise: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Gas:
    """The chamber's volume and the gas that purges it.

    Attributes
    ----------
    volume_m3, flow_m3_per_s
        Free volume V [m³]; flow Q at chamber conditions [m³/s].
    relative_u_volume, relative_u_flow
        Their relative standard uncertainties [1].
    """

    volume_m3: float
    flow_m3_per_s: float
    relative_u_volume: float = 0.0
    relative_u_flow: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PurgeModel:
    """The chamber as one well-mixed volume: C(t) = C_s + (C_0 − C_s)·e^(−k·Q·t/V).

    Attributes
    ----------
    decay
        The fit: C_0 and C_s [% oxygen], V/(k·Q) [s], the analyser's lag [s].
    volume_changes
        Effective volume changes k·Q·t/V between the start and the last reading used [1].
    mixing_factor
        k with its interval, or why it can't be told [1].
    time_to_limit_s
        Fitted time from the start until the chamber itself is at the limit, with its interval [s].
    """

    decay: Decay
    volume_changes: Range
    mixing_factor: Range | Absent
    time_to_limit_s: Range | Absent


@dataclass(frozen=True, slots=True, kw_only=True)
class Purge:
    """What a record of a purge shows.

    Attributes
    ----------
    measured
        When the analyser first showed the limit, on the record's clock [s]; delay and lag are not taken off.
    measured_s
        Time from the start of the purge until then [s].
    measured_low_s, measured_high_s
        It lies between these [s].
    above_again_s : tuple of float
        When later readings rose above the limit again, noise aside [s].
    model
        The model, or in words why one well-mixed volume doesn't describe the record.
    misfit
        The test of the model; absent where there was no fit to test.
    floor
        Fitted floor with its interval [% oxygen].
    leak
        Whether the floor stands above the supply's oxygen by more than its uncertainty (a False is no proof
        of tightness); absent where that can't be told.
    findings : tuple of str
        What a person must see to, in words.
    lowest, last
        Lowest and last reading [% oxygen].
    readings, absent_readings
        Readings used, instants without one [1].
    interval_s
        Median interval between readings [s].
    """

    measured: Crossing | Absent
    measured_s: Maybe
    measured_low_s: Maybe
    measured_high_s: Maybe
    above_again_s: tuple[float, ...]
    model: PurgeModel | Absent
    misfit: Misfit | Absent
    floor: Range | Absent
    leak: bool | Absent
    findings: tuple[str, ...]
    lowest: float
    last: float
    readings: int
    absent_readings: int
    interval_s: float


def purge(
    seconds: FloatArray,
    oxygen: FloatArray,
    *,
    start_s: float,
    end_s: float = inf,
    limit: float | None = None,
    analyser: Analyser | None = None,
    gas: Gas | None = None,
    supply: float | None = None,
    supply_u: float = 0.0,
) -> Purge | Absent:
    """Evaluate a recorded purge.

    The well-mixed model is the balance of one stirred volume (dC/dt = (Q/V)·(C_s − C)), seen through the
    analyser's lag and delay. Where it doesn't describe the record (`course_fit`: 1 % false alarms), or its
    floor stands above the supply (1 % false alarms), `model` says so and the measured time stands alone.

    Parameters
    ----------
    seconds, oxygen : (n,) float64
        Instants [s], rising, and analyser readings [% oxygen], NaN for none.
    start_s, end_s
        Declared start of the purge; last instant to use, before flow or load changes [s].
    limit
        Oxygen to be reached [%]; None for none.
    analyser
        Lag, delay, uncertainty and noise; without, an ideal one.
    gas
        Volume and flow, for the mixing factor.
    supply, supply_u
        Oxygen of the purge gas [%] and its standard uncertainty; None: not known.

    Returns
    -------
    Purge or Absent
        Absent with fewer than three readings, or oxygen that doesn't vary or doesn't fall.
    """
    analyser = analyser or Analyser()
    inside = (seconds >= start_s) & (seconds <= end_s)
    there = inside & np.isfinite(oxygen)
    t, values = seconds[there], oxygen[there]
    if values.size < 3:
        return Absent(f"{values.size} oxygen readings after the start of the purge; at least 3 are needed")
    if float(np.ptp(values)) <= 1e-12:
        return Absent(f"the oxygen reads {values[0]:.6g} % throughout: the analyser shows no purge")
    few = max(1, values.size // 10)
    if float(np.median(values[-few:])) >= float(np.median(values[:few])):
        return Absent("the oxygen does not fall from the start to the end of the record")
    findings: list[str] = []
    met: Crossing | Absent = Absent("no limit was given")
    again: tuple[float, ...] = ()
    if limit is not None:
        met = _met(t, values, limit, analyser.u)
        again = () if isinstance(met, Absent) else _above_again(t, values, limit, met)
    if again:
        findings.append(f"the oxygen rose above {limit:.6g} % again by {again[0]:.6g} s")
    decay = _fitted(t - start_s, values, analyser)
    model: PurgeModel | Absent
    misfit: Misfit | Absent
    floor: Range | Absent
    leak: bool | Absent
    if isinstance(decay, Absent):
        model = misfit = floor = leak = decay
    elif not decay.fit.misfit.fits:
        misfit = decay.fit.misfit
        why = _not_one_volume(t, start_s, values, decay, analyser)
        findings.append(why)
        model = Absent(f"one well-mixed volume does not describe the record: {why}")
        floor = leak = Absent("the curve does not describe the record, so that it gives no floor")
    else:
        misfit, floor = decay.fit.misfit, decay.floor
        leak = _leaks(decay, supply, supply_u, analyser.u)
        model = _model(decay, limit, analyser.u, gas)
        if leak is True:
            why = (
                f"the floor of {floor.value:.4g} % stands above the supply's {supply:.4g} %: air leaks in, a "
                "dead leg still empties, or the supply is not what it is said to be"
            )
            findings.append(why)
            model = Absent(f"the purge gas alone does not describe the record: {why}")
        if not isinstance(floor.high, Absent) and floor.high < 0:
            findings.append(f"the floor of {floor.value:.4g} % lies below zero: see to the analyser's zero")
    measured_s, measured_low_s, measured_high_s = since(met, start_s)
    return Purge(
        measured=met,
        measured_s=measured_s,
        measured_low_s=measured_low_s,
        measured_high_s=measured_high_s,
        above_again_s=again,
        model=model,
        misfit=misfit,
        floor=floor,
        leak=leak,
        findings=tuple(findings),
        lowest=float(values.min()),
        last=float(values[-1]),
        readings=int(values.size),
        absent_readings=int(np.count_nonzero(inside)) - int(values.size),
        interval_s=float(np.median(np.diff(t))),
    )


def _met(t: FloatArray, values: FloatArray, limit: float, u: float) -> Crossing | Absent:
    """When the analyser first showed the limit."""
    if values[0] <= limit:
        return Absent(f"the oxygen was at {values[0]:.6g} % at the start: the limit was already met")
    met = crossing(t, values, limit, rising=False, reading_u=u)
    if isinstance(met, NotDriven):
        return Absent(f"the limit of {limit:.6g} % was never reached; the lowest was {values.min():.6g} %")
    return met


def _above_again(t: FloatArray, values: FloatArray, limit: float, met: Crossing) -> tuple[float, ...]:
    """First readings of each later rise above the limit, scatter aside [s]."""
    scatter = scatter_before(t, values, int(np.searchsorted(t, met.at_s)))
    over = values > limit + (0.0 if isinstance(scatter, Absent) else BACK * scatter.sd)
    over &= t > met.most_s
    starts = np.flatnonzero(over & ~np.concatenate(([False], over[:-1])))
    return tuple(float(time) for time in t[starts])


def _noise_of(values: FloatArray, analyser: Analyser) -> FloatArray | None:
    """How the noise of each reading compares with the others'; None for all alike."""
    if not analyser.relative_noise > 0:
        return None
    least = max(analyser.least_noise, analyser.resolution / sqrt(12.0), 1e-9 * float(np.max(np.abs(values))))
    return np.sqrt(least**2 + (analyser.relative_noise * values) ** 2)


def _fitted(after_s: FloatArray, values: FloatArray, analyser: Analyser) -> Decay | Absent:
    """Fit the decay; where noise goes with the reading, a second time with the curve's own noise."""

    def fit(sd: FloatArray | None) -> Decay | Absent:
        return fit_decay(
            after_s,
            values,
            lag_s=analyser.lag_s,
            delay_s=analyser.delay_s,
            sd=sd,
            resolution=analyser.resolution,
        )

    decay = fit(_noise_of(values, analyser))
    if analyser.relative_noise > 0 and not isinstance(decay, Absent):
        # Weights taken from the readings would favour those that noise made low.
        return fit(_noise_of(values - decay.fit.residuals, analyser))
    return decay


def _not_one_volume(
    t: FloatArray, start_s: float, values: FloatArray, decay: Decay, analyser: Analyser
) -> str:
    """Say in words how the record departs from one decay."""
    misfit = decay.fit.misfit
    largest = f"the readings depart from one exponential by up to {misfit.largest:.3g} %"
    if misfit.slow:
        noise = _noise_of(values - decay.fit.residuals, analyser)
        second = second_decay(t - start_s, values, decay, sd=noise, resolution=analyser.resolution)
        if not isinstance(second, Absent):
            return (
                f"{largest}; a second, slower exponential is there ({100 * second.share:.3g} % of the drop, "
                f"time constant {second.time_constant_s:.4g} s), as a dead leg makes it"
            )
    if misfit.jumped:
        at_s = misfit.jump_s + decay.delay_s + start_s
        return (
            f"at {at_s:.6g} s the oxygen jumps by {misfit.jump:.3g} %, which no purge does by itself: flow, "
            "load, door or analyser changed, or the purge did not start when declared"
        )
    return f"{largest}, and two exponentials don't describe them either: flow, load or door changed"


def _leaks(decay: Decay, supply: float | None, supply_u: float, u: float) -> bool | Absent:
    """Whether the floor stands above the supply's oxygen by more than its uncertainty."""
    if supply is None:
        return Absent("the oxygen of the supply is not known")
    error = sqrt(float(decay.fit.covariance[1, 1]) + supply_u**2 + u**2)
    return decay.floor.value - supply > student_quantile(decay.fit.degrees, 1.0 - LEAK_LEVEL) * error


def _model(decay: Decay, limit: float | None, u: float, gas: Gas | None) -> PurgeModel:
    """What the fitted decay says of the chamber."""
    tau = decay.time_constant_s
    purged_s = max(0.0, decay.seconds - decay.delay_s)
    ends = [inf if isinstance(end, Absent) else end for end in (tau.low, tau.high)]
    mixing: Range | Absent = Absent("volume and flow are not known")
    if gas is not None and gas.volume_m3 > 0 and gas.flow_m3_per_s > 0:
        factor = gas.volume_m3 / (gas.flow_m3_per_s * tau.value)
        random = decay.fit.quantile**2 * float(decay.fit.covariance[2, 2])
        shared = COVERAGE_FACTOR**2 * (gas.relative_u_volume**2 + gas.relative_u_flow**2)
        half = sqrt(random + shared)
        mixing = Range(value=factor, low=factor * exp(-half), high=factor * exp(half))
    elif gas is not None:
        mixing = Absent("volume and flow must be above 0")
    return PurgeModel(
        decay=decay,
        volume_changes=Range(
            value=purged_s / tau.value, low=purged_s / ends[1], high=purged_s / max(ends[0], 1e-300)
        ),
        mixing_factor=mixing,
        time_to_limit_s=Absent("no limit was given") if limit is None else time_to(decay, limit, shared_u=u),
    )


def time_to_another_limit(found: Purge, limit: float, *, u: float = 0.0) -> Range | Absent:
    """Time from the start of the purge until the chamber would be at another limit [s].

    An extrapolation where the record didn't come so far; refused at or below the floor, and where the model
    doesn't describe the record.

    Parameters
    ----------
    found
        The evaluated purge.
    limit
        The other limit [% oxygen].
    u
        Standard uncertainty of a reading that all share [% oxygen].
    """
    return found.model if isinstance(found.model, Absent) else time_to(found.model.decay, limit, shared_u=u)
