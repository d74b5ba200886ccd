"""What heat did over a run: effect at a reference temperature, cure equivalent, time above a temperature.

All take readings (n, m), one location a column, and add up over time. An absent reading is not filled: the
figure of its location is absent, and beside it stands what the intervals with readings at both ends give,
which the whole can't be less than.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import isfinite, log10

import numpy as np

from qualify.figures.absent import Absent, Maybe, present
from qualify.readings.model import BoolArray, FloatArray

GAS_CONSTANT_J_PER_MOL_K = 8.31446261815324
"""N_A·k, exact in the SI of 2019 (CODATA 2018)."""
KELVIN_AT_0_C = 273.15
MOST_POWER = 300.0
"""Rates of more than this power of ten are no measurement."""

Rate = Callable[[FloatArray], FloatArray]


@dataclass(frozen=True, slots=True, kw_only=True)
class Summed:
    """Minutes at each location, added up over the run.

    Attributes
    ----------
    minutes : tuple of float or Absent
        The figure of each location [min].
    at_least_minutes : tuple of float
        What the intervals with a reading at both ends give [min]; the same where no reading is absent.
    least
        The smallest of `minutes` [min]; absent where one of them is.
    least_location
        Its location, counted from 0; None where `least` is absent.
    longest_interval_s
        Longest interval between two instants [s].
    """

    minutes: tuple[Maybe, ...]
    at_least_minutes: tuple[float, ...]
    least: Maybe
    least_location: int | None
    longest_interval_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatEffect:
    """Heat effect at each location, as minutes at the reference temperature.

    Attributes
    ----------
    as_read
        From the readings as they are.
    less_uncertainty
        From the readings less their expanded uncertainty.
    straight_minutes : tuple of float or Absent
        The same as `as_read`, with the temperature itself on a straight line between readings [min]. The
        trapezoid of the rates lies above it; the difference shows how coarse the recording is.
    reference_c, z_c
        Temperature whose minute counts as a minute [°C]; difference that changes the rate tenfold [°C].
    above_c
        Temperature below which nothing counts [°C]; None for no such bound.
    """

    as_read: Summed
    less_uncertainty: Summed
    straight_minutes: tuple[Maybe, ...]
    reference_c: float
    z_c: float
    above_c: float | None


def heat_effect(
    seconds: FloatArray,
    values_c: FloatArray,
    *,
    reference_c: float,
    z_c: float,
    above_c: float | None = None,
    expanded_uncertainty_c: float | FloatArray = 0.0,
    longest_gap_s: float | None = None,
) -> HeatEffect | Absent:
    """Heat effect F = Σ Δt·10^((T − T_ref)/z) at each location, by the trapezoid rule.

    The physical F value of dry-heat sterilisation (T_ref 170 °C, z 20 °C: USP <1229.8>) and depyrogenation
    (T_ref 250 °C, z 46.4 °C: USP <1228.1>, chapter cited from memory). Reference and z are the caller's.
    Where an interval crosses `above_c`, the part above it counts, from the crossing on the straight line.

    Parameters
    ----------
    seconds : (n,) float64
        Instants [s], rising.
    values_c : (n, m) float64
        Readings [°C], one location a column, NaN for none.
    reference_c, z_c
        T_ref [°C] and z [°C].
    above_c
        Count only at or above this temperature [°C].
    expanded_uncertainty_c
        U of a reading [°C], for all locations or (m,).
    longest_gap_s
        Intervals longer than this [s] count as absent readings do; None counts all.

    Returns
    -------
    HeatEffect or Absent
        Absent with fewer than two instants or a z that is not above 0.
    """
    if not (isfinite(z_c) and z_c > 0):
        return Absent(f"z is {z_c:g} °C; it must be above 0")

    def rate(temperatures_c: FloatArray) -> FloatArray:
        return np.power(10.0, np.clip((temperatures_c - reference_c) / z_c, -MOST_POWER, MOST_POWER))

    def line_mean(first_c: FloatArray, second_c: FloatArray) -> FloatArray:
        return _exponential_mean((first_c - reference_c) / z_c, (second_c - reference_c) / z_c)

    as_read = _summed(seconds, values_c, rate, above_c, longest_gap_s)
    less = _summed(seconds, values_c - expanded_uncertainty_c, rate, above_c, longest_gap_s)
    straight = _summed(seconds, values_c, rate, above_c, longest_gap_s, line_mean)
    if isinstance(as_read, Absent) or isinstance(less, Absent) or isinstance(straight, Absent):
        return as_read if isinstance(as_read, Absent) else Absent("the readings can't be summed")
    return HeatEffect(
        as_read=as_read,
        less_uncertainty=less,
        straight_minutes=straight.minutes,
        reference_c=reference_c,
        z_c=z_c,
        above_c=above_c,
    )


def _exponential_mean(first: FloatArray, second: FloatArray) -> FloatArray:
    """Mean of 10^x over a straight line of x from one value to another."""
    first, second = (np.clip(power, -MOST_POWER, MOST_POWER) for power in (first, second))
    apart = (second - first) * np.log(10.0)
    near = np.abs(apart) < 1e-6
    ratio = np.where(near, 1.0 + apart / 2, np.expm1(apart) / np.where(near, 1.0, apart))
    return np.power(10.0, first) * ratio


def cure_equivalent(
    seconds: FloatArray,
    values_c: FloatArray,
    *,
    reference_c: float,
    activation_energy_kj_per_mol: float,
    above_c: float | None = None,
    longest_gap_s: float | None = None,
) -> Summed | Absent:
    """Time at a reference temperature that would have cured as far: ∫ exp(−E/R·(1/T − 1/T_ref)) dt.

    Arrhenius' law with one activation energy, temperatures in kelvin, by the trapezoid rule.

    Parameters
    ----------
    seconds, values_c, above_c, longest_gap_s
        As for `heat_effect`.
    reference_c
        T_ref [°C].
    activation_energy_kj_per_mol
        E [kJ/mol].

    Returns
    -------
    Summed or Absent
        Absent with fewer than two instants, an energy that is not above 0, or a reading at or below 0 K.
    """
    if not (isfinite(activation_energy_kj_per_mol) and activation_energy_kj_per_mol > 0):
        return Absent(f"the activation energy is {activation_energy_kj_per_mol:g} kJ/mol; it must be above 0")
    if reference_c <= -KELVIN_AT_0_C or bool(np.any(values_c <= -KELVIN_AT_0_C)):
        return Absent("a temperature at or below 0 K is no reading")
    per_kelvin = activation_energy_kj_per_mol * 1000.0 / GAS_CONSTANT_J_PER_MOL_K
    reference_k = reference_c + KELVIN_AT_0_C

    def rate(temperatures_c: FloatArray) -> FloatArray:
        power = -per_kelvin * (1.0 / (temperatures_c + KELVIN_AT_0_C) - 1.0 / reference_k)
        return np.exp(np.clip(power, -MOST_POWER, MOST_POWER))

    return _summed(seconds, values_c, rate, above_c, longest_gap_s)


def time_above(
    seconds: FloatArray, values_c: FloatArray, level_c: float, *, longest_gap_s: float | None = None
) -> Summed | Absent:
    """Time at or above a temperature at each location, crossings on the straight line between readings.

    Parameters
    ----------
    seconds, values_c, longest_gap_s
        As for `heat_effect`.
    level_c
        The temperature [°C].
    """
    return _summed(seconds, values_c, np.ones_like, level_c, longest_gap_s)


def least_effect_min(d_value_min: float, before: float, after: float) -> Maybe:
    """Least heat effect that brings a count down: F ≥ D·(log N0 − log N) [min].

    Parameters
    ----------
    d_value_min
        Minutes at the reference temperature for one power of ten [min].
    before, after
        Count before, and the count (or the chance of one) after [1].
    """
    if not (d_value_min > 0 and before > 0 and after > 0 and isfinite(d_value_min * before * after)):
        return Absent("the D-value and both counts must be above 0")
    return max(0.0, d_value_min * (log10(before) - log10(after)))


def _summed(
    seconds: FloatArray,
    values_c: FloatArray,
    rate: Rate,
    above_c: float | None,
    longest_gap_s: float | None,
    mean_rate: Callable[[FloatArray, FloatArray], FloatArray] | None = None,
) -> Summed | Absent:
    """Add up Δt·rate over time, in minutes; `mean_rate` takes the place of the mean of the two ends."""
    if seconds.size < 2 or values_c.shape[1] == 0:
        return Absent(f"{seconds.size} readings at {values_c.shape[1]} locations; a sum over time needs two")
    steps = np.diff(seconds)
    first, second = values_c[:-1], values_c[1:]
    used: BoolArray = np.isfinite(first) & np.isfinite(second)
    if longest_gap_s is not None:
        used &= (steps <= longest_gap_s)[:, None]
    low, high = np.where(used, first, 0.0), np.where(used, second, 0.0)
    share = np.ones(low.shape)
    if above_c is not None:
        share = _share_above(low, high, above_c)
        low, high = np.maximum(low, above_c), np.maximum(high, above_c)
    middle = (rate(low) + rate(high)) / 2 if mean_rate is None else mean_rate(low, high)
    sums = np.where(used, steps[:, None] * share * middle, 0.0).sum(axis=0) / 60.0
    missing = np.count_nonzero(~used, axis=0)
    minutes: tuple[Maybe, ...] = tuple(
        float(total)
        if not lost
        else Absent(f"{lost} of {steps.size} intervals have no reading at an end, or are too long")
        for total, lost in zip(sums, missing, strict=True)
    )
    given = [value for value in minutes if present(value)]
    whole = len(given) == len(minutes)
    return Summed(
        minutes=minutes,
        at_least_minutes=tuple(float(total) for total in sums),
        least=min(given) if whole else Absent("readings are absent at a location, which may be the least"),
        least_location=int(np.argmin(sums)) if whole else None,
        longest_interval_s=float(steps.max()),
    )


def _share_above(first: FloatArray, second: FloatArray, level: float) -> FloatArray:
    """Share of each interval that a straight line between two readings spends at or above a level."""
    low, high = np.minimum(first, second), np.maximum(first, second)
    apart = high - low
    crossing = (low < level) & (high >= level)
    part = np.divide(high - level, apart, out=np.zeros(apart.shape), where=crossing & (apart > 0))
    return np.where(low >= level, 1.0, part)
