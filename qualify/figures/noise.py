"""Noise of a series as its slow cosines show it: how well a mean and a slope are known.

A series is taken apart into cosines (the discrete cosine transform of its n readings). The coefficients of
stationary noise are nearly independent, each with the noise's power at its frequency, so that a trend and a
control cycle are a weighted regression with few unknowns. What the noise is like is not decided but averaged
over: every shape of a grid counts by its likelihood. A window too short to tell slow noise from a trend so
gets the wide interval that it deserves, where one best shape would give a narrow one.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache
from math import erfc, pi, sqrt

import numpy as np

from qualify.figures.absent import Absent
from qualify.readings.model import BoolArray, FloatArray

LEAST_READINGS = 10
MOST_COSINES = 240
LEAST_DEGREES = 5
LEAST_INDEPENDENT = 3.0
MOST_CHANCE_OF_FEWER = 0.9
SLOPE = 0
"""Row of the trend among a fit's coefficients."""


def cosines(values: FloatArray, count: int) -> FloatArray:
    """Coefficients 0 … count of the orthonormal discrete cosine transform (type II).

    By one real Fourier transform of the readings in the order 0, 2, 4 … 5, 3, 1 (J. Makhoul, IEEE
    Transactions on Acoustics, Speech, and Signal Processing 28, 1980, 27–34; cited from memory).

    Parameters
    ----------
    values : (n, p) float64
        One series a column.
    count
        Last coefficient, below n.

    Returns
    -------
    (count + 1, p) float64
    """
    n = values.shape[0]
    reordered = np.concatenate((values[::2], values[1::2][::-1])).T
    last = min(count, n // 2)
    spectrum = np.fft.rfft(np.ascontiguousarray(reordered))
    spectrum = spectrum[:, : (last if count <= n // 2 else n // 2) + 1]
    turned = np.exp(-0.5j * pi / n * np.arange(spectrum.shape[1])) * spectrum
    result = np.empty((count + 1, values.shape[1]))
    result[: last + 1] = turned.real.T[: last + 1]
    rest = np.arange(last + 1, count + 1)
    result[rest] = -turned.imag.T[n - rest]
    result *= sqrt(2.0 / n)
    result[0] *= sqrt(0.5)
    return result


@dataclass(frozen=True, slots=True, kw_only=True)
class Shapes:
    """Shapes of noise on the slow cosines of n readings, one a row.

    Attributes
    ----------
    power : (g, k) float64
        Power at the cosines 1 … k, in units of the power of the autoregressive part at frequency 0.
    inverse : (g, k) float64
        1 / power.
    log_prior : (g,) float64
        Logarithm of the weight before the readings are seen, and −½·Σ log power.
    of_mean : (g,) float64
        n × variance of the plain mean, in the same units.
    independent : (g,) float64
        Number of independent readings that n readings of such noise are worth to a mean.
    correlated, ratio : (g,) float64
        Share of the variance that is autoregressive, and its φ: autocorrelation correlated·φ^k.
    prior : (g,) float64
        Weight before the readings are seen; sums to 1.
    """

    power: FloatArray
    inverse: FloatArray
    log_prior: FloatArray
    of_mean: FloatArray
    independent: FloatArray
    correlated: FloatArray
    ratio: FloatArray
    prior: FloatArray


@lru_cache(maxsize=4)
def shapes(n: int, count: int) -> Shapes:
    """First-order autoregressive noise plus white noise, of every φ and share of white noise.

    Before the readings are seen φ is evenly distributed from −0.5 to 0.99; no white noise besides counts
    1, each of six shares of it 0.1. These weights are the project's own, chosen so that intervals of 95 %
    hold the truth as often as that in invented windows of 30 to 400 readings (tests/studies).

    Parameters
    ----------
    n, count
        Readings, and cosines used.
    """
    distance = np.geomspace(1.5, 0.01, 28)
    phi = 1.0 - distance
    white = np.array([0.0, 0.03, 0.1, 0.3, 1.0, 3.0, 10.0])
    weight = np.outer(distance, np.where(white > 0, 0.1, 1.0)).ravel()
    angular = pi / n * np.arange(1, count + 1)
    red = (1 - phi[:, None]) ** 2 / (1 + phi[:, None] ** 2 - 2 * phi[:, None] * np.cos(angular))
    power = (red[:, None, :] + white[None, :, None]).reshape(weight.size, count)
    variance = (1 - phi) / (1 + phi)
    # 1 + 2·Σ (1 − k/n)·φ^k in closed form
    inflation = (1 + phi) / (1 - phi) - 2 * phi * (1 - phi**n) / (n * (1 - phi) ** 2)
    of_mean = ((variance * inflation)[:, None] + white).ravel()
    independent = np.minimum(n * ((variance[:, None] + white) / (1 + white)).ravel(), n)
    return Shapes(
        power=power,
        inverse=1.0 / power,
        log_prior=np.log(weight) - 0.5 * np.log(power).sum(axis=1),
        of_mean=of_mean,
        independent=independent,
        correlated=(variance[:, None] / (variance[:, None] + white)).ravel(),
        ratio=np.repeat(phi, white.size),
        prior=weight / weight.sum(),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class NoiseFit:
    """Trend and cycle of p series that share their instants, under every shape of noise.

    Attributes
    ----------
    shapes
        The g shapes.
    weights : (g, p) float64
        What each shape counts after the readings were seen; sums to 1 over the shapes.
    coefficients : (g, q, p) float64
        Of the q columns of the design.
    covariance : (g, q, q) float64
        Of the coefficients, over `scale`.
    scale : (g, p) float64
        Power of the noise that a shape's power is a multiple of [°C²].
    degrees
        Degrees of freedom of `scale`.
    """

    shapes: Shapes
    weights: FloatArray
    coefficients: FloatArray
    covariance: FloatArray
    scale: FloatArray
    degrees: int

    def reweighted(self, factors: FloatArray) -> NoiseFit:
        """Return the same fit with each shape's weight multiplied by a factor: (g,) float64."""
        weights = self.weights * factors[:, None]
        return replace(self, weights=weights / weights.sum(axis=0))

    def independent(self) -> FloatArray:
        """Number of independent readings that each series is likely worth to its mean: (p,) float64."""
        worth: FloatArray = 1.0 / (self.weights / self.shapes.independent[:, None]).sum(axis=0)
        return worth

    def too_short(self) -> BoolArray:
        """Whether each series is very likely worth fewer than 3 independent readings: (p,) bool."""
        few = self.shapes.independent < LEAST_INDEPENDENT
        short: BoolArray = self.weights[few].sum(axis=0) > MOST_CHANCE_OF_FEWER
        return short


TOO_SHORT = Absent("the readings change so slowly that the window is worth fewer than 3 independent ones")


def fit_noise(design: FloatArray, data: FloatArray, n: int) -> NoiseFit | Absent:
    """Fit the columns of a design to cosines 1 … k of series, under every shape of noise.

    Weighted least squares; the likelihood is that of what the columns leave (restricted maximum
    likelihood: Patterson & Thompson, Biometrika 58, 1971, 545–554; cited from memory), the scale of the
    noise integrated out.

    Parameters
    ----------
    design : (k, q) float64
        Cosines of the columns.
    data : (k, p) float64
        Cosines of the series.
    n
        Readings of a series.
    """
    count, columns = design.shape
    degrees = count - columns
    if degrees < LEAST_DEGREES:
        return Absent(f"{n} readings are too few to tell {columns} unknowns from noise")
    kinds = shapes(n, count)
    size = np.sqrt(np.einsum("kq,kq->q", design, design))
    unit = design / size
    products = kinds.inverse @ (unit[:, :, None] * unit[:, None, :]).reshape(count, -1)
    information = products.reshape(-1, columns, columns)
    along = np.stack([kinds.inverse @ (column[:, None] * data) for column in unit.T], axis=1)
    covariance = np.linalg.inv(information)
    coefficients = covariance @ along
    rest = kinds.inverse @ (data * data) - np.einsum("gqp,gqp->gp", coefficients, along)
    rest = np.maximum(rest, 1e-300)
    of_shape = kinds.log_prior - 0.5 * np.linalg.slogdet(information)[1]
    likely = of_shape[:, None] - 0.5 * degrees * np.log(rest)
    weights = np.exp(likely - likely.max(axis=0))
    return NoiseFit(
        shapes=kinds,
        weights=weights / weights.sum(axis=0),
        coefficients=coefficients / size[:, None],
        covariance=covariance / (size[:, None] * size),
        scale=rest / degrees,
        degrees=degrees,
    )


def cycle_waves(seconds: FloatArray, period_s: float, fastest_s: float) -> FloatArray:
    """Cosine and sine of a cycle and of its first two overtones, as far as they are slow enough.

    Parameters
    ----------
    seconds : (n,) float64
        Times [s].
    period_s
        Period of the cycle [s]; its own waves are always among the result.
    fastest_s
        Shortest period of an overtone [s].

    Returns
    -------
    (n, 2 … 6) float64
    """
    phase = 2 * pi / period_s * seconds
    c, s = np.cos(phase), np.sin(phase)
    waves = [c, s]
    # cosine and sine of the doubled and trebled angle from those of the single one
    if period_s >= 2 * fastest_s:
        waves += [2 * c * c - 1, 2 * s * c]
    if period_s >= 3 * fastest_s:
        waves += [(4 * c * c - 3) * c, (3 - 4 * s * s) * s]
    return np.stack(waves, axis=1)


def readable_period(seconds: FloatArray) -> float:
    """Shortest period of an overtone that readings can tell [s]: 2.2 median intervals.

    A shorter one would look like a slower wave, like the cycle itself or like a constant.
    """
    return 2.2 * float(np.median(np.diff(seconds)))


def _normal_tail(z: FloatArray) -> FloatArray:
    """Chance that a standard normal variable exceeds z."""
    flat = [0.5 * erfc(value) for value in (z / sqrt(2.0)).ravel().tolist()]
    return np.array(flat).reshape(z.shape)


def half_widths(
    fit: NoiseFit,
    offset: FloatArray,
    variance: FloatArray,
    outside: float | FloatArray = 0.05,
    tail: Callable[[FloatArray], FloatArray] = _normal_tail,
) -> FloatArray:
    """Half-widths of intervals that miss the truth with a given chance, all shapes of noise considered.

    Under each shape the truth lies about `offset` (seen from the middle of the interval) as Student's t
    times the root of `variance`. Student's t is turned into a normal variable by D. L. Wallace's formula
    (Annals of Mathematical Statistics 30, 1959, 1124–1130; cited from memory).

    Parameters
    ----------
    fit
        Weights and degrees of freedom.
    offset : (g, p) float64
        Truth less the middle of the interval, under each shape [°C].
    variance : (g, p) float64
        Its variance [°C²].
    outside
        Chance of missing.
    tail
        Upper tail of the normal distribution, element by element; a library's where there is one.

    Returns
    -------
    (p,) float64
    """
    used = fit.weights.max(axis=1) > 1e-6 * np.min(outside)
    weights, offset, error = fit.weights[used], offset[used], np.sqrt(variance[used])
    degrees = fit.degrees

    def normal(t: FloatArray) -> FloatArray:
        scores = np.sqrt(degrees * np.log1p(t * t / degrees)) * ((8 * degrees + 1) / (8 * degrees + 3))
        return np.copysign(scores, t)

    def missed(half: FloatArray) -> FloatArray:
        beyond = tail(normal((half - offset) / error)) + tail(normal((half + offset) / error))
        chance: FloatArray = (weights * beyond).sum(axis=0)
        return chance

    spread = np.sqrt((weights * (error**2 + offset**2)).sum(axis=0))
    low, high = np.zeros_like(spread), 2.0 * spread
    target = np.broadcast_to(np.log(outside), spread.shape)
    at_low, at_high = -target, np.log(missed(high)) - target
    while (at_high > 0).any():
        low, at_low = np.where(at_high > 0, high, low), np.where(at_high > 0, at_high, at_low)
        high = np.where(at_high > 0, 2.0 * high, high)
        at_high = np.log(np.maximum(missed(high), 1e-300)) - target
    # The logarithm of the tail is nearly a straight line: regula falsi, the stale end halved (Illinois).
    middle, side = high, np.zeros(spread.shape)
    for _ in range(60):
        before = middle
        middle = high - at_high * (high - low) / (at_high - at_low)
        if (np.abs(middle - before) <= 1e-10 * high).all():
            break
        found = np.log(np.maximum(missed(middle), 1e-300)) - target
        above = found > 0
        at_high = np.where(above, np.where(side > 0, 0.5 * at_high, at_high), found)
        at_low = np.where(above, found, np.where(side < 0, 0.5 * at_low, at_low))
        low, high = np.where(above, middle, low), np.where(above, high, middle)
        side = np.where(above, 1.0, -1.0)
    return middle


@dataclass(frozen=True, slots=True, kw_only=True)
class WindowCosines:
    """Series of one window, their trend and their cycle as slow cosines 0 … k.

    Attributes
    ----------
    data : (k + 1, p) float64
        Of the readings, each series about its mean [°C].
    trend : (k + 1, 1) float64
        Of the time about its mean [h].
    waves : (k + 1, w) float64
        Of the cycle's waves; w may be 0.
    readings, together
        Number of readings, or of blocks of `together` readings that were averaged first.
    """

    data: FloatArray
    trend: FloatArray
    waves: FloatArray
    readings: int
    together: int


def window_cosines(seconds: FloatArray, values: FloatArray, period_s: float | None) -> WindowCosines | Absent:
    """Take series that share their instants apart into slow cosines.

    Parameters
    ----------
    seconds : (n,) float64
        Times [s].
    values : (n, p) float64
        Readings [°C], none absent.
    period_s
        Period of a cycle that the series may follow [s]; it must be one that `fits_among_cosines`.
    """
    n = values.shape[0]
    if n < LEAST_READINGS:
        return Absent(f"{n} readings; an interval that allows for autocorrelation needs {LEAST_READINGS}")
    together = max(n // (8 * MOST_COSINES), 1)
    hours = in_blocks(((seconds - seconds.mean()) / 3600.0)[:, None], together)
    averaged = in_blocks(values - values.mean(axis=0), together)
    blocks = averaged.shape[0]
    count = min(blocks - 1, MOST_COSINES)
    waves = np.empty((blocks, 0))
    if period_s is not None:
        fastest_s = max(readable_period(seconds), 2.0 * _duration(seconds) / (count - 4.0))
        waves = cycle_waves((hours[:, 0] - hours[0, 0]) * 3600.0, period_s, fastest_s)
    return WindowCosines(
        data=cosines(averaged, count),
        trend=cosines(hours, count),
        waves=cosines(waves, count) if waves.size else np.empty((count + 1, 0)),
        readings=blocks,
        together=together,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class WindowNoise:
    """Trend, cycle and noise of p series over one window.

    Attributes
    ----------
    fit
        Coefficients in the order: trend [°C/h], then the cycle's waves [°C].
    of
        What was fitted.
    taken_out_c : (p,) float64
        Mean of a cycle that was taken out of the readings before [°C].
    """

    fit: NoiseFit
    of: WindowCosines
    taken_out_c: FloatArray

    def slope_error(self, slope_c_per_h: FloatArray) -> tuple[FloatArray, FloatArray]:
        """True slope less a slope, and its variance, under each shape: (g, p) [°C/h], [(°C/h)²]."""
        offset = self.fit.coefficients[:, SLOPE, :] - slope_c_per_h
        return offset, self.fit.covariance[:, SLOPE, SLOPE, None] * self.fit.scale

    def mean_error(self, weights: FloatArray | None = None) -> tuple[FloatArray, FloatArray]:
        """True level less a window mean, and its variance, under each shape: (g, p) [°C], [°C²].

        The level is that of trend and noise without the cycle at the (weighted) mean instant. An
        unfinished cycle shifts the mean, which is the offset.

        Parameters
        ----------
        weights : (n,) float64, optional
            Weights of the readings, summing to 1; plain mean without.
        """
        count = self.of.trend.shape[0] - 1
        of_noise = self.fit.shapes.of_mean / self.of.readings
        taken = np.zeros(count + 1)
        taken[0] = 1.0 / sqrt(self.of.readings)
        if weights is not None:
            blocks = in_blocks(weights[:, None], self.of.together)
            blocks = blocks / blocks.sum()
            taken = cosines(blocks, count)[:, 0]
            beyond = max(float(np.sum(blocks**2) - taken @ taken), 0.0)
            power = self.fit.shapes.power
            of_noise = of_noise + power @ taken[1:] ** 2 + beyond * power[:, -1]
        shift = taken @ self.of.waves
        offset = -np.einsum("w,gwp->gp", shift, self.fit.coefficients[:, 1:, :]) - self.taken_out_c
        of_cycle = np.einsum("v,gvw,w->g", shift, self.fit.covariance[:, 1:, 1:], shift)
        return offset, (of_noise + of_cycle)[:, None] * self.fit.scale


def window_noise(
    seconds: FloatArray, values: FloatArray, period_s: float | None, taken_out_c: FloatArray | None = None
) -> WindowNoise | Absent:
    """Fit trend, cycle and noise to series that share their instants.

    Parameters
    ----------
    seconds, values, period_s
        As of `window_cosines`.
    taken_out_c : (p,) float64, optional
        Mean of a cycle that was taken out of the readings before [°C].
    """
    window = window_cosines(seconds, values, period_s)
    if isinstance(window, Absent):
        return window
    fit = fit_noise(np.hstack((window.trend, window.waves))[1:], window.data[1:], window.readings)
    if isinstance(fit, Absent):
        return fit
    taken_out_c = np.zeros(values.shape[1]) if taken_out_c is None else taken_out_c
    return WindowNoise(fit=fit, of=window, taken_out_c=taken_out_c)


def in_blocks(columns: FloatArray, together: int) -> FloatArray:
    """Means of so many neighbouring rows each; rows that fill no block are left out at the end."""
    if together == 1:
        return columns
    blocks = columns.shape[0] // together
    means: FloatArray = columns[: blocks * together].reshape(blocks, together, -1).mean(axis=1)
    return means


def fits_among_cosines(seconds: FloatArray, period_s: float) -> bool:
    """Whether a cycle [s] is slow enough for its waves to be among the cosines of a window at `seconds`."""
    return 2.0 * _duration(seconds) / period_s + 4.0 <= min(seconds.size - 1, MOST_COSINES)


def _duration(seconds: FloatArray) -> float:
    """Time from the first reading to one mean interval after the last [s]."""
    return float(seconds[-1] - seconds[0]) * seconds.size / (seconds.size - 1)
