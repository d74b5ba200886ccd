"""One location as a time series: autocorrelation, effective readings, drift, control cycle."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from math import ceil, pi, sqrt

import numpy as np
from numpy.typing import NDArray

from qualify.figures.absent import Absent, Maybe
from qualify.figures.instants import evenly_spaced, time_weights
from qualify.figures.noise import (
    TOO_SHORT,
    WindowNoise,
    cycle_waves,
    fits_among_cosines,
    half_widths,
    readable_period,
    window_noise,
)
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
    return common_correlation_time(values[:, None])


def common_correlation_time(values: FloatArray) -> float:
    """Correlation time of series whose autocorrelation is one and the same, from the mean of theirs.

    Parameters
    ----------
    values : (n, p) float64
        One series a column, none of them constant.
    """
    n = values.shape[0]
    # The sequence mostly ends early; only where it does not are more lags needed, or all.
    for lags in (min(FEW_LAGS - 1, n - 1), n // 8, n - 1):
        r = np.mean([autocorrelation(column, lags) for column in values.T], axis=0)
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
    waves = cycle_waves(time, cycle.period_s, readable_period(time)).T
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


def noise_of(seconds: FloatArray, values: FloatArray, cycle: Cycle | Absent) -> WindowNoise | Absent:
    """Fit trend, cycle and noise to series that share their instants and a cycle.

    A cycle too fast for the slow cosines is taken out of the readings first.

    Parameters
    ----------
    seconds : (n,) float64
        Times [s].
    values : (n, p) float64
        Readings [°C] without gaps.
    cycle
        The result of `find_cycle`.
    """
    if isinstance(cycle, Absent):
        return window_noise(seconds, values, None)
    if fits_among_cosines(seconds, cycle.period_s):
        return window_noise(seconds, values, cycle.period_s)
    rest = np.stack([without_cycle(seconds, column, cycle) for column in values.T], axis=1)
    return window_noise(seconds, rest, None, (values - rest).mean(axis=0))


def drift(seconds: FloatArray, values: FloatArray, cycle: Cycle | Absent) -> Drift:
    """Least-squares slope per hour with an interval that allows for autocorrelation.

    The interval lies evenly about the slope. Trend, cycle and noise are fitted together (module `noise`:
    autoregressive and white noise of every likely shape); the half-width is the one that leaves 5 % of
    the true slopes outside, so that it also holds what an unfinished cycle adds to the slope. It is
    absent where the window is very likely worth fewer than 3 independent readings.

    Parameters
    ----------
    seconds, values : (n,) float64
        Times [s] and readings [°C] without gaps.
    cycle
        The result of `find_cycle`.
    """
    if values.size < 2:
        absent = Absent(f"{values.size} readings; a slope needs at least 2")
        return Drift(absent, absent, absent)
    hours = (seconds - seconds[0]) / 3600.0
    value = least_squares_slope(hours, values)
    if values.size > 2:
        residual = values - values.mean() - value * (hours - hours.mean())
        if float(np.ptp(residual)) <= 1e-9:
            absent = Absent("the readings do not scatter about their line, so its error can't be told")
            return Drift(value, absent, absent)
    noise = noise_of(seconds, values[:, None], cycle)
    if isinstance(noise, Absent):
        return Drift(value, noise, noise)
    if noise.fit.too_short()[0]:
        return Drift(value, TOO_SHORT, TOO_SHORT)
    half = float(half_widths(noise.fit, *noise.slope_error(np.array([value])))[0])
    return Drift(value, value - half, value + half)


@dataclass(frozen=True, slots=True, kw_only=True)
class MeanError:
    """How well the mean of a window is known from its readings alone (type A).

    Attributes
    ----------
    standard_error_c
        Standard error of the mean that noise makes, a trend and the cycle taken out [°C].
    degrees
        Degrees of freedom at which Student's t times `standard_error_c` gives the half-width that noise alone
        would have: what the shape of the noise leaves open is counted in [1].
    cycle_shift_c
        What an unfinished cycle adds to the mean [°C]; 0 without a cycle. Not taken off the mean.
    half_width_c
        Half-width of the 95 % interval about the mean, noise and unfinished cycle together [°C].
    """

    standard_error_c: float
    degrees: float
    cycle_shift_c: float
    half_width_c: float


def standard_error_of_mean(
    seconds: FloatArray, values: FloatArray, cycle: Cycle | Absent
) -> MeanError | Absent:
    """Standard error of a window mean (type A), with its degrees of freedom, under autocorrelation.

    The same fit as for `drift`. The mean is the plain one where the instants are even, else the one
    weighted by time, as `mean_over_time` takes it. The true level is that of trend and noise at the mean
    instant: a trend is no error of the mean. A cycle over whole periods adds nothing; what an unfinished
    one adds is given apart.

    Standard error and degrees of freedom are those of the Student's t that has the half-widths at 68.27 %
    and at 95 % that all likely shapes of noise give together.

    Parameters
    ----------
    seconds, values : (n,) float64
        Times [s] and readings [°C] without gaps.
    cycle
        The result of `find_cycle`.
    """
    if values.size < 2 or float(np.ptp(values)) <= 1e-9:
        return Absent("the readings do not vary, so the error of their mean can't be told")
    noise = noise_of(seconds, values[:, None], cycle)
    if isinstance(noise, Absent):
        return noise
    if noise.fit.too_short()[0]:
        return TOO_SHORT
    offset, variance = noise.mean_error(None if evenly_spaced(seconds) else time_weights(seconds))
    centred = np.zeros_like(offset)
    at_one, at_two = (float(half_widths(noise.fit, centred, variance, out)[0]) for out in (0.3173, 0.05))
    degrees = _degrees_of(at_two / at_one)
    half = at_two if isinstance(cycle, Absent) else float(half_widths(noise.fit, offset, variance)[0])
    return MeanError(
        standard_error_c=at_two / student_quantile(degrees),
        degrees=degrees,
        cycle_shift_c=-float(np.sum(noise.fit.weights * offset)),
        half_width_c=half,
    )


def _degrees_of(ratio: float) -> float:
    """Degrees of freedom at which the 95 % and 68.27 % points of Student's t have a ratio; 1 … 1000."""
    powers, ratios = _ratios_of_points()
    return float(10.0 ** np.interp(-ratio, -ratios, powers))


@cache
def _ratios_of_points() -> tuple[FloatArray, FloatArray]:
    """Powers of ten of degrees of freedom, and the ratio of the 95 % and 68.27 % points at each."""
    powers = np.linspace(0.0, 3.0, 121)
    degrees = (10.0**powers).tolist()
    ratios = [student_quantile(item) / student_quantile(item, 1 - 0.3173 / 2) for item in degrees]
    return powers, np.array(ratios)
