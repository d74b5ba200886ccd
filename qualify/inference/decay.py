"""First-order decay towards a floor, as an instrument with a lag of its own shows it: purging, cooling."""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, log, sqrt

import numpy as np

from qualify.figures.absent import Absent, Maybe
from qualify.inference.course_fit import CourseFit, fit_course
from qualify.inference.curve_fits import Curve
from qualify.readings.model import FloatArray

_SECOND_SHARE = 0.002


def shown_share(after_s: FloatArray, time_constant_s: float, lag_s: float = 0.0) -> FloatArray:
    """Share of the drop that an instrument still shows, some time after the decay began.

    Two first-order lags in a row: (τ·e^(−t/τ) − λ·e^(−t/λ))/(τ − λ), and (1 + t/τ)·e^(−t/τ) where both are
    alike; solution of λ·dy/dt = x − y for x = e^(−t/τ), y(0) = 1. Before the beginning it is 1.

    Parameters
    ----------
    after_s : (n,) float64
        Time since the decay began where the instrument looks [s].
    time_constant_s, lag_s
        τ and λ [s].

    Returns
    -------
    (n,) float64
    """
    t = np.maximum(after_s, 0.0)
    longer, shorter = max(time_constant_s, lag_s), min(time_constant_s, lag_s)
    decay: FloatArray = np.exp(-t / longer)
    if shorter <= 1e-9 * longer:
        return decay
    difference = t * (1.0 / shorter - 1.0 / longer)
    near = difference < 1e-8
    mean = np.where(near, 1.0 - difference / 2, -np.expm1(-difference) / np.where(near, 1.0, difference))
    return decay * (1.0 + t / longer * mean)


@dataclass(frozen=True, slots=True, kw_only=True)
class Range:
    """A figure and its 95 % interval; an end that is open says why."""

    value: float
    low: Maybe
    high: Maybe


@dataclass(frozen=True, slots=True, kw_only=True)
class Decay:
    """One decay fitted to a record: y(t) = floor + (start − floor)·e^(−t/τ).

    Attributes
    ----------
    start, floor
        Level at the start and the floor, in the readings' unit.
    time_constant_s
        τ [s].
    lag_s
        First-order lag of the instrument [s], given or fitted; `lag_fitted` says which.
    lag
        The fitted lag with its interval [s], or why it isn't fitted.
    delay_s
        Time from the place to the instrument [s].
    fit
        The fit itself: coefficients start, floor, ln τ and, where fitted, ln λ.
    seconds
        Time from the start to the last reading used [s].
    """

    start: Range
    floor: Range
    time_constant_s: Range
    lag_s: float
    lag: Range | Absent
    delay_s: float
    fit: CourseFit
    seconds: float

    def standard_error_at(self, after_s: float) -> float:
        """Standard error of the curve at the place itself, so long after the start, in the readings' unit."""
        share = exp(-after_s / self.time_constant_s.value)
        slopes = np.zeros(self.fit.coefficients.size)
        drop = self.start.value - self.floor.value
        slopes[:3] = share, 1.0 - share, drop * share * after_s / self.time_constant_s.value
        return sqrt(float(slopes @ self.fit.covariance @ slopes))


def fit_decay(
    after_s: FloatArray,
    values: FloatArray,
    *,
    lag_s: float | None = 0.0,
    delay_s: float = 0.0,
    sd: FloatArray | None = None,
    resolution: float = 0.0,
) -> Decay | Absent:
    """Fit a first-order decay, and test whether one decay describes the record.

    Parameters
    ----------
    after_s, values : (n,) float64
        Time since the start [s], rising, and falling readings, without gaps.
    lag_s
        First-order lag of the instrument [s]. None: fitted, and kept only where its interval excludes zero;
        the decay is then the slower of the two, as a record can't tell which is which.
    delay_s
        Time from the place to the instrument [s].
    sd, resolution
        As for `fit_course`.
    """
    guesses = _starts(after_s - delay_s, values)
    if isinstance(guesses, Absent):
        return guesses
    lag: Range | Absent = Absent("the lag was given")
    fitted: CourseFit | Absent
    if lag_s is None:
        with_lag = _best(after_s - delay_s, values, guesses, None, sd, resolution)
        lag = _lag_of(with_lag)
        if not isinstance(lag, Absent) and not isinstance(with_lag, Absent):
            return _decay(with_lag, lag.value, lag, delay_s, float(after_s[-1]))
        lag_s = 0.0
    fitted = _best(after_s - delay_s, values, guesses, lag_s, sd, resolution)
    if isinstance(fitted, Absent):
        return fitted
    return _decay(fitted, lag_s, lag, delay_s, float(after_s[-1]))


def _starts(t: FloatArray, values: FloatArray) -> list[FloatArray] | Absent:
    """Starting values of start, floor and ln τ."""
    if values.size < 2:
        return Absent(f"{values.size} readings; a decay can't be told from them")
    few = max(1, values.size // 20)
    first, last = float(np.median(values[:few])), float(np.median(values[-few:]))
    drop = first - last
    if not drop > 0:
        return Absent("the readings do not fall")
    length = float(t[-1] - max(float(t[0]), 0.0))
    reached = np.flatnonzero((values <= last + drop * exp(-1.0)) & (t > 0))
    part = float(t[reached[0]]) if reached.size else length
    tau = min(max(part, length * 1e-3), length)
    return [np.array([first, last - drop * below, log(tau * longer)]) for below, longer in ((0, 1), (1, 2.5))]


def _curve_of(lag_s: float | None) -> Curve:
    """Curve of start, floor, ln τ and, without a lag given, ln λ."""

    def curve(t: FloatArray, coefficients: FloatArray) -> FloatArray:
        start, floor = coefficients[:2]
        tau = exp(min(max(float(coefficients[2]), -50.0), 50.0))
        lag = exp(min(max(float(coefficients[3]), -50.0), 50.0)) if lag_s is None else lag_s
        return floor + (start - floor) * shown_share(t, tau, lag)

    return curve


def _best(
    t: FloatArray,
    values: FloatArray,
    guesses: list[FloatArray],
    lag_s: float | None,
    sd: FloatArray | None,
    resolution: float,
) -> CourseFit | Absent:
    """Fit from each starting point until one converges; the last failure otherwise."""
    curve = _curve_of(lag_s)
    found: CourseFit | Absent = Absent("nothing to start from")
    for guess in guesses:
        start = guess if lag_s is not None else np.append(guess, guess[2] - log(10.0))
        found = fit_course(
            curve,
            start,
            t,
            values,
            sd=sd,
            resolution=resolution,
        )
        if not isinstance(found, Absent):
            break
    return found


def _lag_of(fitted: CourseFit | Absent) -> Range | Absent:
    """The fitted lag with its interval [s], or why the record doesn't tell it."""
    untold = "the record doesn't tell the instrument's lag from the decay; none was allowed for"
    if isinstance(fitted, Absent):
        return Absent(f"{untold} ({fitted.reason})")
    tau, lag = float(np.exp(fitted.coefficients[2])), float(np.exp(fitted.coefficients[3]))
    half = fitted.quantile * lag * sqrt(float(fitted.covariance[3, 3]))
    if lag - half <= 0 or lag + half >= tau:
        return Absent(untold)
    return Range(value=lag, low=lag - half, high=lag + half)


def _decay(fit: CourseFit, lag_s: float, lag: Range | Absent, delay_s: float, seconds: float) -> Decay:
    errors = np.sqrt(np.diag(fit.covariance)) * fit.quantile
    start, floor, log_tau = (float(value) for value in fit.coefficients[:3])
    return Decay(
        start=Range(value=start, low=start - float(errors[0]), high=start + float(errors[0])),
        floor=Range(value=floor, low=floor - float(errors[1]), high=floor + float(errors[1])),
        time_constant_s=Range(
            value=exp(log_tau), low=exp(log_tau - float(errors[2])), high=exp(log_tau + float(errors[2]))
        ),
        lag_s=lag_s,
        lag=lag,
        delay_s=delay_s,
        fit=fit,
        seconds=seconds,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class SecondDecay:
    """A second, slower decay beside the first.

    Attributes
    ----------
    time_constant_s
        Its time constant [s].
    share
        Its share of the whole drop [1].
    """

    time_constant_s: float
    share: float


def second_decay(
    after_s: FloatArray,
    values: FloatArray,
    decay: Decay,
    *,
    sd: FloatArray | None = None,
    resolution: float = 0.0,
) -> SecondDecay | Absent:
    """Look for a second, slower decay where one alone doesn't describe the record.

    The pair of time constants is looked for on a grid, levels by linear least squares; then all but the slow
    one are fitted and tested as the single decay was. The slow time constant is known to its grid (20 %).

    Parameters
    ----------
    after_s, values : (n,) float64
        As for `fit_decay`.
    decay
        The single decay that doesn't describe them.
    sd, resolution
        As for `fit_course`.

    Returns
    -------
    SecondDecay or Absent
        Absent where two decays don't describe the record either.
    """
    t = after_s - decay.delay_s
    tau = decay.time_constant_s.value
    # Slower than the record is long, a second decay can't be told from a drift.
    longest = max(float(t[-1]), 2.0 * tau)
    pairs = [
        (float(quick), float(slow))
        for quick in tau * np.linspace(0.4, 1.1, 29)
        for slow in np.geomspace(1.3 * tau, longest, 16)
    ]
    weight = np.ones(t.size) if sd is None else 1.0 / sd
    misses = [_two_missed(t, values, weight, quick, slow, decay.lag_s) for quick, slow in pairs]
    best = int(np.argmin(misses))
    if not np.isfinite(misses[best]):
        return Absent("a second decay doesn't describe the record either")
    first_s, slow_s = pairs[best]

    def curve(time: FloatArray, coefficients: FloatArray) -> FloatArray:
        start, floor, log_quick, share = (float(value) for value in coefficients)
        quick = shown_share(time, exp(min(max(log_quick, -50.0), 50.0)), decay.lag_s)
        slow = shown_share(time, slow_s, decay.lag_s)
        return floor + (start - floor) * ((1.0 - share) * quick + share * slow)

    start = np.array([decay.start.value, decay.floor.value, log(first_s), 0.1])
    found = fit_course(curve, start, t, values, sd=sd, resolution=resolution)
    if isinstance(found, Absent) or not found.misfit.fits:
        return Absent("a second decay doesn't describe the record either")
    share = float(found.coefficients[3])
    if not _SECOND_SHARE < share < 1.0 - _SECOND_SHARE:
        return Absent("a second decay doesn't describe the record either")
    return SecondDecay(time_constant_s=slow_s, share=share)


def _two_missed(
    t: FloatArray, values: FloatArray, weight: FloatArray, quick_s: float, slow_s: float, lag_s: float
) -> float:
    """Sum of squares that two decays of given time constants leave; infinite where one of them rises."""
    columns = (np.ones(t.size), shown_share(t, quick_s, lag_s), shown_share(t, slow_s, lag_s))
    design = np.column_stack(columns) * weight[:, None]
    amplitudes = np.linalg.lstsq(design, weight * values, rcond=None)[0]
    if min(amplitudes[1:]) <= 0:
        return float("inf")
    return float(np.sum((weight * values - design @ amplitudes) ** 2))
