"""A measuring loop checked by an injected signal: what it displays for it, and what a broken signal shows."""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite
from typing import Literal

import numpy as np

from qualify.figures.absent import Absent, Maybe
from qualify.readings.model import BoolArray, FloatArray

Break = Literal["open", "shorted", "unpowered", "frozen"]
Side = Literal["harmful", "harmless", "fault shown"]

TRIP_TOO_HIGH = 0.90
"""From this share of the span on, too little of the scale is left to come to a trip point from beyond it."""
SAME_SIGNAL = 0.001
HALF_WITHIN = 0.02
"""Signals nearer than these shares of the range count as the same signal, and as half the range."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SignalRange:
    """A linear signal and the scale it stands for: 0–5 V, 0–10 V, 4–20 mA or any other.

    Attributes
    ----------
    signal_low, signal_high
        Signal at the two ends of the scale, in the signal's own unit (V, mA); the first may be the larger.
    scale_low, scale_high
        Values displayed there, in the quantity's unit.
    """

    signal_low: float
    signal_high: float
    scale_low: float
    scale_high: float

    @property
    def live_zero(self) -> bool:
        """Whether the lowest signal lies above zero, so that a dead line can be told from the low end."""
        return min(self.signal_low, self.signal_high) > 0.0

    @property
    def span(self) -> float:
        """Length of the scale, in the quantity's unit."""
        return self.scale_high - self.scale_low

    def share(self, signal: FloatArray) -> FloatArray:
        """Part of the range that a signal is [1], 0 at its low end: (n,) → (n,)."""
        return (signal - self.signal_low) / (self.signal_high - self.signal_low)

    def expected(self, signal: FloatArray) -> FloatArray:
        """Value that should be displayed: span·(signal − low)/(high − low), from the scale's low end.

        Parameters
        ----------
        signal : (n,) float64
            Signals in their own unit.

        Returns
        -------
        (n,) float64
            Values in the quantity's unit.
        """
        return self.scale_low + self.span * self.share(signal)

    def fault(self) -> Absent | None:
        """Why the range can't be used, or None."""
        ends = (self.signal_low, self.signal_high, self.scale_low, self.scale_high)
        if not all(isfinite(end) for end in ends):
            return Absent("an end of the signal's range or of the scale is no number")
        if self.signal_low == self.signal_high:
            return Absent("both ends of the signal's range are the same")
        if self.scale_high <= self.scale_low:
            return Absent("the high end of the scale does not lie above its low end")
        return None


@dataclass(frozen=True, slots=True, kw_only=True)
class LoopCheck:
    """Values displayed for injected signals. Errors: displayed − expected, in % of the span.

    Attributes
    ----------
    expected : (n,) float64
        Value expected at each point, in the quantity's unit.
    errors_percent : (n,) float64
        Error at each point [% of span]; NaN where nothing was displayed.
    largest_error_percent
        The one farthest from zero, with its sign [% of span].
    largest_error_at
        Its point, counted from 0.
    slope
        Displayed against expected, least-squares line [1]; 1 is right.
    zero_error_percent, full_scale_error_percent
        The line's error at the low and the high end of the scale [% of span].
    nonlinearity_percent
        Largest departure of a point from the line, without sign [% of span].
    hysteresis_percent
        Rising − falling at equal signals, the one farthest from zero [% of span].
    half_error_percent
        Error at half of the signal's range [% of span].
    covered
        Part of the signal's range between the lowest and highest point [1].
    live_zero
        See `SignalRange.live_zero`.
    points
        Points with a displayed value [1].
    """

    expected: FloatArray
    errors_percent: FloatArray
    largest_error_percent: float
    largest_error_at: int
    slope: Maybe
    zero_error_percent: Maybe
    full_scale_error_percent: Maybe
    nonlinearity_percent: Maybe
    hysteresis_percent: Maybe
    half_error_percent: Maybe
    covered: float
    live_zero: bool
    points: int


def loop_check(
    signal_range: SignalRange, injected: FloatArray, displayed: FloatArray, rising: BoolArray
) -> LoopCheck | Absent:
    """Compare what a loop displays with what an injected signal stands for.

    Errors in % of span, least-squares line and the largest difference between rising and falling points are
    arithmetic; the words are used as in IEC 61298-2 (cited from memory).

    Parameters
    ----------
    signal_range
        The signal and its scale.
    injected : (n,) float64
        Signals injected, in their own unit.
    displayed : (n,) float64
        Values displayed, in the quantity's unit; NaN for none.
    rising : (n,) bool
        Whether the point was come to from below.

    Returns
    -------
    LoopCheck or Absent
    """
    fault = signal_range.fault()
    if fault is not None:
        return fault
    there = np.isfinite(injected) & np.isfinite(displayed)
    if not there.any():
        return Absent("no point has both an injected signal and a displayed value")
    span = signal_range.span
    expected = signal_range.expected(injected)
    errors = np.where(there, 100.0 * (displayed - expected) / span, np.nan)
    at = int(np.nanargmax(np.abs(errors)))
    share = signal_range.share(injected)
    slope, zero, full, nonlinearity = _line(share[there], errors[there])
    half = there & (np.abs(share - 0.5) <= HALF_WITHIN)
    half_error: Maybe = Absent("no point lies at half of the signal's range")
    if half.any():
        half_error = float(errors[half][np.argmax(np.abs(errors[half]))])
    return LoopCheck(
        expected=expected,
        errors_percent=errors,
        largest_error_percent=float(errors[at]),
        largest_error_at=at,
        slope=slope,
        zero_error_percent=zero,
        full_scale_error_percent=full,
        nonlinearity_percent=nonlinearity,
        hysteresis_percent=_hysteresis(share[there], errors[there], rising[there]),
        half_error_percent=half_error,
        covered=float(np.ptp(share[there])),
        live_zero=signal_range.live_zero,
        points=int(there.sum()),
    )


def _line(share: FloatArray, errors: FloatArray) -> tuple[Maybe, Maybe, Maybe, Maybe]:
    """Slope, error at both ends and non-linearity of the least-squares line through the points."""
    different = np.unique(np.round(share / SAME_SIGNAL)).size
    if different < 2:
        absent = Absent("all points have the same signal; a line needs two")
        return absent, absent, absent, absent
    centred = share - share.mean()
    steepness = float(np.sum(centred * errors) / np.sum(centred**2))
    zero = float(errors.mean() - steepness * share.mean())
    rest = errors - zero - steepness * share
    nonlinearity: Maybe = float(np.max(np.abs(rest)))
    if different < 3:
        nonlinearity = Absent("a line goes through two signals; non-linearity needs three")
    # Expected runs from 0 to 100 % of span as the share runs from 0 to 1.
    return 1.0 + steepness / 100.0, zero, zero + steepness, nonlinearity


def _hysteresis(share: FloatArray, errors: FloatArray, rising: BoolArray) -> Maybe:
    """Mean rising − mean falling error at each signal that has both; the difference farthest from zero."""
    order = np.argsort(share, kind="stable")
    # A new signal begins where the step from the point before is more than what counts as the same.
    group = np.concatenate(([0], np.cumsum(np.diff(share[order]) > SAME_SIGNAL)))
    up = rising[order]
    count_up, count_down = (np.bincount(group, weights=side) for side in (up, ~up))
    both = (count_up > 0) & (count_down > 0)
    if not both.any():
        return Absent("no signal was come to both from below and from above")
    sum_up, sum_down = (np.bincount(group, weights=side * errors[order]) for side in (up, ~up))
    differences = sum_up[both] / count_up[both] - sum_down[both] / count_down[both]
    return float(differences[np.argmax(np.abs(differences))])


@dataclass(frozen=True, slots=True, kw_only=True)
class TripOnScale:
    """Where a trip point lies on the scale.

    Attributes
    ----------
    share
        Part of the span below it [1].
    signal
        Signal that stands for it, in the signal's own unit.
    can_be_shown
        Whether enough scale lies beyond it to come to it from there as well.
    note
        In words; may be empty.
    """

    share: float
    signal: float
    can_be_shown: bool
    note: str


def trip_on_scale(signal_range: SignalRange, trip: float, *, harmful_above: bool) -> TripOnScale | Absent:
    """Place a trip point on the scale.

    At or beyond 90 % of the span (10 % where the harmful side is below) it can be met but not shown from
    beyond: the project's own bound.

    Parameters
    ----------
    signal_range
        The signal and its scale.
    trip
        The trip point, in the quantity's unit.
    harmful_above
        Whether the harmful side lies above the trip point.
    """
    fault = signal_range.fault()
    if fault is not None:
        return fault
    if not isfinite(trip):
        return Absent("the trip point is no number")
    share = (trip - signal_range.scale_low) / signal_range.span
    signal = signal_range.signal_low + share * (signal_range.signal_high - signal_range.signal_low)
    used = share if harmful_above else 1.0 - share
    note = ""
    if not 0.0 <= share <= 1.0:
        note = f"the trip point lies outside the scale, at {100 * share:.6g} % of the span"
    elif used >= TRIP_TOO_HIGH - 1e-12:
        side = "above" if harmful_above else "below"
        note = f"the trip point lies at {100 * share:.6g} % of the span and could not be shown from {side}"
    return TripOnScale(share=share, signal=signal, can_be_shown=not note, note=note)


@dataclass(frozen=True, slots=True, kw_only=True)
class BrokenSignal:
    """What the display shows with the signal broken.

    Attributes
    ----------
    how
        How the signal was broken.
    displayed
        What was displayed, in the quantity's unit, or why there is no number.
    side
        The side of the trip point on which it reads, or that a fault is shown.
    finding
        What a person must see to, in words; empty where the break makes itself known.
    """

    how: Break
    displayed: Maybe
    side: Side
    finding: str


def broken_signal(
    how: Break,
    displayed: Maybe,
    trip: float,
    *,
    harmful_above: bool,
    fault_shown: bool = False,
) -> BrokenSignal | Absent:
    """Judge on which side of its trip point a loop reads while its signal is broken.

    A break that reads as the harmless side, and shows no fault, hides the harmful side for as long as it
    lasts: a finding. A frozen signal reads what it last read; without a fault shown that is a finding on
    either side.

    Parameters
    ----------
    how
        How the signal was broken.
    displayed
        Value displayed meanwhile, in the quantity's unit; Absent where the display was blank.
    trip
        The trip point in the same unit; at it counts as harmful.
    harmful_above
        Whether the harmful side lies above the trip point.
    fault_shown
        Whether display or relay showed a fault.
    """
    if not isfinite(trip):
        return Absent("the trip point is no number")
    if fault_shown:
        return BrokenSignal(how=how, displayed=displayed, side="fault shown", finding="")
    if isinstance(displayed, Absent) or not isfinite(displayed):
        return Absent(f"signal {how}: nothing was displayed and no fault was noted; the side can't be told")
    harmful = displayed >= trip if harmful_above else displayed <= trip
    finding = ""
    if how == "frozen":
        finding = f"a frozen signal goes on reading {displayed:.6g} and no fault is shown"
    elif not harmful:
        finding = f"with the signal {how} the display reads {displayed:.6g}, as the harmless side does"
    return BrokenSignal(
        how=how, displayed=displayed, side="harmful" if harmful else "harmless", finding=finding
    )
