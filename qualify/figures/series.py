"""One location as a time series: autocorrelation, effective readings, drift, control cycle."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, pi, sqrt

import numpy as np
from numpy.typing import NDArray

from qualify.figures.absent import Absent, Maybe
from qualify.figures.instants import evenly_spaced
from qualify.probability import student_quantile
from qualify.readings.model import BoolArray, FloatArray

ComplexArray = NDArray[np.complex128]

LEAST_READINGS = 20
LEAST_CORRELATION_TIMES = 5.0
LEAST_CYCLES = 3
CYCLE_PRESENCE = 0.05
CYCLE_SIGNIFICANCE = 0.0001
MOST_FREQUENCIES = 1000
FEW_LAGS = 16
MOST_GROUPS = 200


def inner(one: FloatArray, other: FloatArray) -> float:
    """Sum of products; without the threads of a BLAS, which cost more than they save at these lengths."""
    return float(np.einsum("i,i->", one, other))


def lag_sums(deviations: FloatArray, lags: int) -> FloatArray:
    """Give Σ d_t·d_{t+k} for k = 0 … lags: directly for few lags, by Fourier transform for many.

    Parameters
    ----------
    deviations : (n,) float64
    lags
        Largest lag, below n.

    Returns
    -------
    (lags + 1,) float64
    """
    n = deviations.size
    if lags <= FEW_LAGS:
        return np.array([inner(deviations[lag:], deviations[: n - lag]) for lag in range(lags + 1)])
    length = _quick_length(n + lags)
    spectrum = np.fft.rfft(deviations, length)
    return np.fft.irfft(spectrum.real**2 + spectrum.imag**2, length)[: lags + 1]


def _quick_length(least: int) -> int:
    """Smallest of 8, 9, 10, 12 and 15 times a power of two that is not below `least`."""
    power = 1 << max((least - 1).bit_length() - 4, 0)
    return next(factor * power for factor in (8, 9, 10, 12, 15, 16) if factor * power >= least)


def autocorrelation(values: FloatArray, lags: int | None = None) -> FloatArray:
    """Autocorrelation of a series about its mean, at lags 0 … `lags` (all n − 1 without).

    r_k = Σ d_t d_{t+k} / Σ d_t², the estimator of NIST's StRD univariate sets (there for k = 1).

    Parameters
    ----------
    values : (n,) float64
    lags
        Largest lag.

    Returns
    -------
    (lags + 1,) float64
        All NaN where the series is constant.
    """
    deviations = values - values.mean()
    sums = lag_sums(deviations, values.size - 1 if lags is None else lags)
    return sums / sums[0] if sums[0] > 0 else np.full(sums.shape, np.nan)


def correlation_time(values: FloatArray) -> float:
    """Give 1 + 2·Σ (1 − k/n)·r_k, the number of readings that count as one independent reading.

    The sum ends by the initial positive sequence: the last lag before a pair r_2j + r_2j+1 is not
    positive (Geyer, Practical Markov Chain Monte Carlo, Statistical Science 7, 1992, section 3.3;
    cited from memory).
    """
    n = values.size
    # The sequence mostly ends early; only where it does not are more lags needed, or all.
    for lags in (min(FEW_LAGS - 1, n - 1), n // 8, n - 1):
        r = autocorrelation(values, lags)
        pairs = r[: r.size - r.size % 2].reshape(-1, 2).sum(axis=1)
        ended = np.flatnonzero(~(pairs > 0))
        if ended.size:
            break
    last = 2 * int(ended[0]) if ended.size else r.size - r.size % 2
    k = np.arange(1, last)
    return float(1.0 + 2.0 * np.sum((1.0 - k / n) * r[k]))


@dataclass(frozen=True, slots=True)
class Cycle:
    """A control cycle in a series: period [s], amplitude (half of crest to trough of its sine) [°C]."""

    period_s: float
    amplitude_c: float


def find_cycle(seconds: FloatArray, values: FloatArray) -> Cycle | Absent:
    """Find a significant control cycle.

    The straight line is removed and power taken at the natural frequencies. Over a background of
    first-order autoregressive and white noise the power of noise is exponential, so that the largest
    of m ratios has the chance p = 1 − (1 − exp(−ratio))^m, from three cycles in the series upwards.
    The largest must stand out of the background fitted to all frequencies (p ≤ 0.05) and of the one
    fitted without the candidate and its overtones (p ≤ 0.0001): the first alone misses strong cycles
    that the fit takes for noise, the second alone takes bumps of autocorrelated noise for cycles. The
    fit maximises Whittle's likelihood (P. Whittle, Arkiv för Matematik 2, 1953, 423–434; cited from
    memory); the test as a whole is the project's own, its false alarms are counted in
    reference_checks.

    Parameters
    ----------
    seconds, values : (n,) float64
        Times [s] and readings [°C] without gaps.
    """
    n = values.size
    if n < LEAST_READINGS:
        return Absent(f"{n} readings; a cycle needs at least {LEAST_READINGS}")
    time = seconds - seconds[0]
    rest = values - values.mean() - least_squares_slope(time, values) * (time - time.mean())
    if not np.any(np.abs(rest) > 1e-9):
        return Absent("the readings do not vary")
    duration = float(time[-1]) * n / (n - 1)
    sums = _fourier_sums(time, rest, duration)
    power = (sums.real**2 + sums.imag**2)[1:-1]
    cycles = np.arange(1, power.size + 1)
    tested = cycles >= LEAST_CYCLES
    angular = 2 * pi * cycles / n
    if tested.sum() < 8:
        return Absent("too few readings to tell a cycle from its surroundings")
    ratio = power / _noise_background(angular, power, np.ones(cycles.size, dtype=np.bool_))
    peak = int(cycles[tested][np.argmax(ratio[tested])])
    chance = _chance(float(ratio[peak - 1]), int(tested.sum()))
    if chance > CYCLE_PRESENCE:
        return Absent(f"no significant cycle (p = {chance:.2g})")
    apart = np.min([np.abs(cycles - overtone * peak) for overtone in (1, 2, 3)], axis=0)
    if (apart > 2).sum() >= 8:
        ratio = power / _noise_background(angular, power, apart > 2)
    chance = _chance(float(ratio[peak - 1]), int(tested.sum()))
    if chance > CYCLE_SIGNIFICANCE:
        return Absent(f"no significant cycle (p = {chance:.2g})")
    period_s = duration / (peak + _between_bins(sums[peak - 1 : peak + 2]))
    return Cycle(period_s, _amplitude(time, rest, 2 * pi / period_s))


def _chance(ratio: float, count: int) -> float:
    """Chance that the largest of `count` exponential variables of mean 1 reaches `ratio`."""
    return float(-np.expm1(count * np.log1p(-np.exp(-min(max(ratio, 1e-12), 700.0)))))


def _noise_background(angular: FloatArray, power: FloatArray, used: BoolArray) -> FloatArray:
    """Most likely background of autoregressive and white noise under a periodogram.

    Parameters
    ----------
    angular : (k,) float64
        Frequencies [rad/reading], rising.
    power : (k,) float64
        Power at them.
    used : (k,) bool
        Which of them to fit.

    Returns
    -------
    (k,) float64
        Background power.
    """
    phi = np.concatenate(([-0.9, -0.8, -0.6, -0.4, -0.2], 1.0 - np.geomspace(1.0, 0.005, 24)))
    white = np.array([0.0, 0.003, 0.01, 0.03, 0.1, 0.3])

    def shapes(at: FloatArray) -> FloatArray:
        red = (1 - phi[:, None]) ** 2 / (1 + phi[:, None] ** 2 - 2 * phi[:, None] * np.cos(at))
        return (red[:, None, :] + white[None, :, None]).reshape(phi.size * white.size, at.size)

    at, observed, count = _grouped(angular[used], power[used])
    shape = shapes(at)
    scale = (count * observed / shape).sum(axis=1) / count.sum()
    unlikeliness = count.sum() * np.log(scale) + (count * np.log(shape)).sum(axis=1)
    best = int(np.argmin(unlikeliness))
    red = (1 - phi[best // white.size]) ** 2
    ratio = phi[best // white.size]
    background = red / (1 + ratio**2 - 2 * ratio * np.cos(angular)) + white[best % white.size]
    return scale[best] * background


def _grouped(angular: FloatArray, power: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Mean frequency, mean power and number of ordinates, a long periodogram in at most 200 groups."""
    if angular.size <= MOST_GROUPS:
        return angular, power, np.ones(angular.size)
    edges = np.unique(np.geomspace(1, angular.size + 1, MOST_GROUPS + 1).astype(np.int64)) - 1
    count = np.diff(edges).astype(np.float64)
    starts = edges[:-1]
    return np.add.reduceat(angular, starts) / count, np.add.reduceat(power, starts) / count, count


def _fourier_sums(time: FloatArray, rest: FloatArray, duration: float) -> ComplexArray:
    """Fourier sums at 0, 1, 2 … cycles in `duration`; for uneven instants by the sums themselves."""
    if evenly_spaced(time):
        return np.fft.rfft(rest)
    count = min(time.size // 2 + 1, MOST_FREQUENCIES)
    sums = np.empty(count, dtype=np.complex128)
    for first in range(0, count, 64):
        cycles = np.arange(first, min(first + 64, count))
        sums[cycles] = np.exp(np.outer(cycles, time * (-2j * pi / duration))) @ rest
    return sums


def _between_bins(sums: ComplexArray) -> float:
    """How far the true frequency lies from the middle one of three neighbouring Fourier sums [bins].

    Re[(X₋ − X₊) / (2X₀ − X₋ − X₊)] (Jacobsen & Kootsookos, IEEE Signal Processing Magazine 24, 2007,
    123–125; cited from memory).
    """
    before, middle, after = sums
    shift = (before - after) / (2 * middle - before - after)
    return float(np.clip(shift.real, -0.5, 0.5))


def _amplitude(time: FloatArray, rest: FloatArray, angular: float) -> float:
    """Amplitude of the least-squares sine of one angular frequency [rad/s]."""
    cosine, sine = np.cos(angular * time), np.sin(angular * time)
    mixed = inner(cosine, sine)
    products = np.array([[inner(cosine, cosine), mixed], [mixed, inner(sine, sine)]])
    along = np.array([inner(cosine, rest), inner(sine, rest)])
    return float(np.hypot(*np.linalg.solve(products, along)))


def without_cycle(seconds: FloatArray, values: FloatArray, cycle: Cycle) -> FloatArray:
    """Take a cycle and its first two overtones out of a series, fitted over its last whole cycles."""
    time = seconds - seconds[-1]
    whole = int(-time[0] // cycle.period_s)
    first = int(np.searchsorted(time, -whole * cycle.period_s, side="right"))
    phase = 2 * pi / cycle.period_s * time
    c, s = np.cos(phase), np.sin(phase)
    # cos and sin of the doubled and trebled angle from those of the single one
    waves = np.vstack((c, s, 2 * c * c - 1, 2 * s * c, (4 * c * c - 3) * c, (3 - 4 * s * s) * s))
    design = np.vstack((np.ones(time.size), time / time[0], waves))[:, first:]
    along = np.array([inner(row, values[first:]) for row in design])
    fit = np.linalg.solve(design @ design.T, along)
    return values - fit[2:] @ waves


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
    return inner(centred, y - y.mean()) / inner(centred, centred)


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
    n = residual.size
    lags = min(lags, n - 1)
    sums = lag_sums(centred * residual, lags)
    sums[1:] *= 2.0 * (1.0 - np.arange(1, lags + 1) / (lags + 1.0))
    variance = max(float(sums.sum()), 0.0) / inner(centred, centred) ** 2
    return sqrt(variance * (n / (n - 2.0) if small_sample else 1.0))


def bartlett_lags(residual: FloatArray) -> int:
    """Number of lags for Bartlett weights, from the lag-1 autocorrelation of the residuals.

    1.1447·(a·n)^(1/3) with a = 4ρ²/((1 − ρ)²(1 + ρ)²) (Andrews, Econometrica 59, 1991, 817–858,
    AR(1) plug-in; cited from memory).
    """
    n = residual.size
    rho = float(np.nan_to_num(autocorrelation(residual, 1)[1]))
    rho = min(max(rho, -0.97), 0.97)
    plug_in = 4 * rho**2 / ((1 - rho) ** 2 * (1 + rho) ** 2)
    return min(ceil(1.1447 * (plug_in * n) ** (1 / 3)), n // 2)


def drift(seconds: FloatArray, values: FloatArray, cycle: Cycle | Absent) -> Drift:
    """Least-squares slope per hour with an interval that allows for autocorrelation.

    The interval uses Student's t with n·(1 − ρ)/(1 + ρ) − 2 degrees of freedom, ρ the lag-1
    autocorrelation of the residuals without the cycle (the effective number of an AR(1) series; cited
    from memory), so that a window too short for its correlation has no interval rather than a narrow
    one.

    Parameters
    ----------
    seconds, values : (n,) float64
        Times [s] and readings [°C] without gaps.
    cycle
        The result of `find_cycle`.
    """
    if values.size < 3:
        absent = Absent(f"{values.size} readings; a slope with an interval needs at least 3")
        slope: Maybe = (
            least_squares_slope(seconds / 3600.0, values) if values.size == 2 else Absent(absent.reason)
        )
        return Drift(slope, absent, absent)
    hours = (seconds - seconds[0]) / 3600.0
    value = least_squares_slope(hours, values)
    residual = values - values.mean() - value * (hours - hours.mean())
    rest = residual if isinstance(cycle, Absent) else without_cycle(seconds, residual, cycle)
    if float(np.ptp(rest)) <= 1e-9:
        absent = Absent("the readings do not scatter about their line, so its error can't be told")
        return Drift(value, absent, absent)
    rho = float(autocorrelation(rest, 1)[1])
    effective = rest.size * (1 - rho) / (1 + rho)
    if effective < LEAST_CORRELATION_TIMES:
        absent = Absent("the window is shorter than 5 correlation times of the residuals")
        return Drift(value, absent, absent)
    error = hac_slope_error(hours, values, bartlett_lags(residual))
    half = student_quantile(max(min(effective, rest.size) - 2.0, 1.0)) * error
    return Drift(value, value - half, value + half)
