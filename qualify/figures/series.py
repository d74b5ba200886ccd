"""One location as a time series: autocorrelation, effective readings, drift, control cycle."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, log, pi, sqrt

import numpy as np

from qualify.figures.absent import Absent, Maybe
from qualify.figures.instants import evenly_spaced
from qualify.readings.model import FloatArray

LEAST_READINGS = 20
LEAST_CORRELATION_TIMES = 5.0
LEAST_CYCLES = 3
CYCLE_SIGNIFICANCE = 0.001
MOST_FREQUENCIES = 1000


def autocorrelation(values: FloatArray) -> FloatArray:
    """Autocorrelation of a series about its mean, at lags 0 … n − 1.

    r_k = Σ d_t d_{t+k} / Σ d_t², the estimator of NIST's StRD univariate sets (there for k = 1).

    Parameters
    ----------
    values : (n,) float64

    Returns
    -------
    (n,) float64
        All NaN where the series is constant.
    """
    deviations = values - values.mean()
    n = deviations.size
    spectrum = np.fft.rfft(deviations, 2 * n)
    products = np.fft.irfft(spectrum * spectrum.conj(), 2 * n)[:n]
    total = float(np.dot(deviations, deviations))
    result: FloatArray = products / total if total > 0 else np.full(n, np.nan)
    return result


def correlation_time(values: FloatArray) -> float:
    """Give 1 + 2·Σ (1 − k/n)·r_k, the number of readings that count as one independent reading.

    The sum ends by the initial positive sequence: the last lag before a pair r_2j + r_2j+1 is not
    positive (Geyer, Practical Markov Chain Monte Carlo, Statistical Science 7, 1992, section 3.3;
    cited from memory).
    """
    r = autocorrelation(values)
    n = r.size
    pairs = r[: n - n % 2].reshape(-1, 2).sum(axis=1)
    stop = np.flatnonzero(~(pairs > 0))
    lags = np.arange(1, 2 * int(stop[0]) if stop.size else n - n % 2)
    return float(1.0 + 2.0 * np.sum((1.0 - lags / n) * r[lags]))


@dataclass(frozen=True, slots=True)
class Cycle:
    """A control cycle in a series: period [s], amplitude (half of crest to trough of its sine) [°C]."""

    period_s: float
    amplitude_c: float


def find_cycle(seconds: FloatArray, values: FloatArray) -> Cycle | Absent:
    """Find a significant control cycle.

    The straight line is removed; power is taken at the natural frequencies from three cycles in the
    series upwards; the strongest is held against the level of its surroundings (their median ÷ ln 2,
    within a factor of two in frequency and two bins aside), which a drifting or autocorrelated series
    raises with it. Under no cycle the ratio is exponential, so that p = 1 − (1 − exp(−ratio))^(number
    of frequencies), judged at 0.001. The test is the project's own; no published source.

    Parameters
    ----------
    seconds, values : (n,) float64
        Times [s] and readings [°C] without gaps.
    """
    n = values.size
    if n < LEAST_READINGS:
        return Absent(f"{n} readings; a cycle needs at least {LEAST_READINGS}")
    rest = values - np.polynomial.Polynomial.fit(seconds, values, 1)(seconds)
    if not np.any(np.abs(rest) > 1e-9):
        return Absent("the readings do not vary")
    duration = (seconds[-1] - seconds[0]) * n / (n - 1)
    numbers = np.arange(1, n // 2)
    if evenly_spaced(seconds):
        power = np.abs(np.fft.rfft(rest)[1 : n // 2]) ** 2
    else:
        numbers = numbers[:MOST_FREQUENCIES]
        power = _power_at(2 * pi * numbers / duration, seconds, rest)
    tested = numbers >= LEAST_CYCLES
    if tested.sum() < 8:
        return Absent("too few readings for a cycle's surroundings")
    peak = int(np.argmax(np.where(tested, power, -1.0)))
    around = (numbers >= numbers[peak] / 2) & (numbers <= numbers[peak] * 2)
    around &= np.abs(numbers - numbers[peak]) > 2
    if around.sum() < 4:
        around = np.abs(numbers - numbers[peak]) > 2
    background = float(np.median(power[around])) / log(2)
    ratio = float(power[peak]) / background if background > 0 else float("inf")
    chance = -np.expm1(int(tested.sum()) * np.log1p(-np.exp(-ratio))) if ratio < 700 else 0.0
    if chance > CYCLE_SIGNIFICANCE:
        return Absent(f"no significant cycle (p = {chance:.2g})")
    period_s, amplitude_c = _refine(seconds, rest, float(numbers[peak]), duration)
    return Cycle(period_s, amplitude_c)


def _power_at(angular: FloatArray, seconds: FloatArray, values: FloatArray) -> FloatArray:
    """Power at each angular frequency [rad/s] for any spacing: the squared Fourier sum."""
    power = np.empty(angular.size)
    for first in range(0, angular.size, 64):
        phase = np.outer(angular[first : first + 64], seconds - seconds[0])
        power[first : first + 64] = (np.cos(phase) @ values) ** 2 + (np.sin(phase) @ values) ** 2
    return power


def _refine(seconds: FloatArray, rest: FloatArray, number: float, duration: float) -> tuple[float, float]:
    """Best period [s] and amplitude of a sine within one bin of cycle number `number` (least squares)."""
    time = seconds - seconds[0]
    best = (0.0, number)
    for span in (1.0, 0.1, 0.01):
        for candidate in best[1] + span * np.linspace(-1, 1, 21):
            amplitude = _sine(time, rest, 2 * pi * float(candidate) / duration)
            best = max(best, (amplitude, float(candidate)))
    return duration / best[1], best[0]


def _sine(time: FloatArray, rest: FloatArray, angular: float) -> float:
    """Amplitude of the least-squares sine of one angular frequency."""
    design = np.column_stack((np.cos(angular * time), np.sin(angular * time)))
    coefficients = np.linalg.solve(design.T @ design, design.T @ rest)
    return float(np.hypot(*coefficients))


def without_cycle(seconds: FloatArray, values: FloatArray, cycle: Cycle) -> FloatArray:
    """Take a cycle and its first two overtones out of a series, fitted over its last whole cycles."""
    time = seconds - seconds[-1]
    whole = int(-time[0] // cycle.period_s)
    inside = time > -whole * cycle.period_s
    angular = 2 * pi / cycle.period_s * np.arange(1, 4)
    waves = np.hstack((np.cos(np.outer(time, angular)), np.sin(np.outer(time, angular))))
    design = np.column_stack((np.ones(time.size), time / (-time[0]), waves))
    fit, *_ = np.linalg.lstsq(design[inside], values[inside], rcond=None)
    return values - waves @ fit[2:]


def effective_readings(seconds: FloatArray, values: FloatArray, cycle: Cycle | Absent) -> Maybe:
    """Give the number of independent readings that would give the mean the same standard error.

    n / (1 + 2·Σ (1 − k/n)·r_k), held to 1 … n, a significant cycle first removed over whole cycles.

    Parameters
    ----------
    seconds, values : (n,) float64
        Times [s] and readings [°C] without gaps.
    cycle
        The result of `find_cycle`.
    """
    n = values.size
    if n < LEAST_READINGS:
        return Absent(f"{n} readings; at least {LEAST_READINGS} are needed")
    rest = values if isinstance(cycle, Absent) else without_cycle(seconds, values, cycle)
    if float(np.ptp(rest)) <= 1e-9:
        return Absent("the readings do not vary, so their correlation can't be told")
    count = n / max(correlation_time(rest), 1e-12)
    if count < LEAST_CORRELATION_TIMES:
        return Absent("the window is shorter than 5 correlation times of the readings")
    return float(min(max(count, 1.0), float(n)))


@dataclass(frozen=True, slots=True)
class Drift:
    """Least-squares slope [°C/h] and its 95 % interval, which allows for autocorrelation."""

    slope_c_per_h: Maybe
    low_c_per_h: Maybe
    high_c_per_h: Maybe


def least_squares_slope(x: FloatArray, y: FloatArray) -> float:
    """Slope of the least-squares line through (x, y), computed about the means."""
    centred = x - x.mean()
    return float(np.dot(centred, y - y.mean()) / np.dot(centred, centred))


def hac_slope_error(x: FloatArray, y: FloatArray, lags: int, *, small_sample: bool = True) -> float:
    """Standard error of the least-squares slope that allows for autocorrelated residuals.

    Bartlett weights over `lags` lags (Newey & West, Econometrica 55, 1987, 703–708; cited from
    memory, held against an independent library in reference_checks).

    Parameters
    ----------
    x, y : (n,) float64
        Abscissa and series.
    lags
        Number of lags L; weights 1 − k/(L + 1).
    small_sample
        Multiply the variance by n/(n − 2).
    """
    centred = x - x.mean()
    residual = (y - y.mean()) - least_squares_slope(x, y) * centred
    score = centred * residual
    n = score.size
    total = float(np.dot(score, score))
    for lag in range(1, min(lags, n - 1) + 1):
        total += 2.0 * (1.0 - lag / (lags + 1.0)) * float(np.dot(score[lag:], score[:-lag]))
    variance = max(total, 0.0) / float(np.dot(centred, centred)) ** 2
    return sqrt(variance * (n / (n - 2.0) if small_sample else 1.0))


def bartlett_lags(residual: FloatArray) -> int:
    """Number of lags for Bartlett weights, from the lag-1 autocorrelation of the residuals.

    1.1447·(a·n)^(1/3) with a = 4ρ²/((1 − ρ)²(1 + ρ)²) (Andrews, Econometrica 59, 1991, 817–858,
    AR(1) plug-in; cited from memory).
    """
    n = residual.size
    rho = float(np.nan_to_num(autocorrelation(residual)[1]))
    rho = min(max(rho, -0.97), 0.97)
    plug_in = 4 * rho**2 / ((1 - rho) ** 2 * (1 + rho) ** 2)
    return min(ceil(1.1447 * (plug_in * n) ** (1 / 3)), n // 2)


def drift(seconds: FloatArray, values: FloatArray, effective: Maybe) -> Drift:
    """Least-squares slope per hour with an interval that allows for autocorrelation.

    The interval uses Student's t with effective readings − 2 degrees of freedom, so that a window too
    short for its correlation has no interval rather than a narrow one.

    Parameters
    ----------
    seconds, values : (n,) float64
        Times [s] and readings [°C] without gaps.
    effective
        The result of `effective_readings`.
    """
    if values.size < 3:
        absent = Absent(f"{values.size} readings; a slope with an interval needs at least 3")
        slope: Maybe = (
            least_squares_slope(seconds / 3600.0, values) if values.size == 2 else Absent(absent.reason)
        )
        return Drift(slope, absent, absent)
    hours = (seconds - seconds[0]) / 3600.0
    value = least_squares_slope(hours, values)
    if isinstance(effective, Absent):
        return Drift(value, effective, effective)
    from scipy.special import stdtrit

    residual = values - values.mean() - value * (hours - hours.mean())
    error = hac_slope_error(hours, values, bartlett_lags(residual))
    half = float(stdtrit(max(effective - 2.0, 1.0), 0.975)) * error
    return Drift(value, value - half, value + half)
