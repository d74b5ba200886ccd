"""How a quantity comes to its limit: scatter of its readings, and the moment at which it crosses.

Scatter here is what readings do independently of each other. Slower movement is taken for movement of the
quantity itself, which a protection sees too.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np

from qualify.figures.absent import Absent
from qualify.probability import student_quantile
from qualify.readings.model import BoolArray, FloatArray, IntArray

COVERAGE_FACTOR = 2.0
COVERED = 0.954499736103642
"""What a normal variable's ± 2 standard deviations hold."""
SCATTER_READINGS = 31
LEAST_SCATTER_READINGS = 8
RESOLVED = 10.0
"""A rise of this many standard deviations of scatter gives a slope by its two ends."""
PAST = 4.0
"""Past the limit by so many standard deviations of scatter, a reading is no chance touch."""
BACK = 6.0
"""Back by so many, the quantity has left its limit again."""
MOST_AROUND = 600
LEAST_AVERAGED = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class Scatter:
    """How readings scatter about a smooth course.

    Attributes
    ----------
    sd
        Standard deviation of one reading, in the quantity's unit.
    u
        Standard uncertainty to take with k = 2, in the quantity's unit: `sd` made larger for its few degrees
        of freedom.
    readings
        Readings used [1].
    """

    sd: float
    u: float
    readings: int


def scatter_before(seconds: FloatArray, values: FloatArray, last: int) -> Scatter | Absent:
    """Scatter of the readings up to one of them, from their third differences.

    A third divided difference is blind to a level, a slope and a curve; divided by the root of the sum of its
    squared weights it has the variance of one reading. The few that a step or a kink of the course makes
    larger than 12 × the root mean square of the smaller half are left out (of a normal sample that is 4.5
    standard deviations). Overlapping differences count 1/2.31 each (1 + 2·Σρ² with ρ = −3/4, 3/10, −1/20).
    Where the last readings lie within 10 of these standard deviations, that about a parabola through them is
    taken if it is larger. The project's own; its coverage is counted in reference_checks.

    Parameters
    ----------
    seconds, values : (n,) float64
        Instants [s] and readings, without gaps.
    last
        The last reading to use; 30 before it are used where there are.
    """
    t, x = (array[max(0, last + 1 - SCATTER_READINGS) : last + 1] for array in (seconds, values))
    if t.size < LEAST_SCATTER_READINGS:
        return Absent(f"{t.size} readings up to there; their scatter needs {LEAST_SCATTER_READINGS}")
    times = [t[k : t.size - 3 + k] for k in range(4)]
    scale = times[3] - times[0]
    weights = [
        np.prod([scale / (times[k] - times[other]) for other in range(4) if other != k], axis=0)
        for k in range(4)
    ]
    total = sum(weight * x[k : t.size - 3 + k] for k, weight in enumerate(weights))
    difference = np.sort(np.abs(total / np.sqrt(np.sum(np.square(weights), axis=0))))
    # A course of exact numbers leaves only what binary fractions do.
    difference[difference < 1e-12 * float(np.max(np.abs(x)))] = 0.0
    smaller = difference[: (difference.size + 1) // 2]
    kept = difference[difference <= 12.0 * sqrt(float(np.mean(smaller**2)))]
    sd = sqrt(float(np.mean(kept**2)))
    degrees = max(kept.size / 2.31, 1.0)
    slow = x[_apart(x, x.size - 1, sd) :]
    if slow.size >= LEAST_AVERAGED:
        # Scatter hides the course here, and a parabola can't; it also sees scatter with a memory.
        rest = slow - np.polynomial.Polynomial.fit(t[-slow.size :], slow, 2)(t[-slow.size :])
        about_course = sqrt(float(np.sum(rest**2)) / (slow.size - 3))
        if about_course > sd:
            sd, degrees = about_course, slow.size - 3.0
    return Scatter(sd=sd, u=sd * _few(degrees), readings=int(t.size))


def _few(degrees: float) -> float:
    """Factor on a standard deviation of few degrees of freedom, so that k = 2 still holds 95.45 %."""
    return student_quantile(degrees, 0.5 + COVERED / 2) / COVERAGE_FACTOR


def _apart(values: FloatArray, last: int, sd: float) -> int:
    """Last reading before another that lies 10 `sd` from it, 30 readings back at most."""
    left = max(last - 1, 0)
    while abs(values[last] - values[left]) < RESOLVED * sd and left > max(last - SCATTER_READINGS + 1, 0):
        left -= 1
    return left


def slope_before(seconds: FloatArray, values: FloatArray, last: int, sd: float) -> float:
    """Slope with which a quantity came to one of its readings [unit/s]; 0 for the first reading.

    Parameters
    ----------
    seconds, values : (n,) float64
        Instants [s] and readings, without gaps.
    last
        The reading; as few before it are used as lie apart by 10 `sd`, 30 at most.
    sd
        Scatter of one reading.
    """
    left = _apart(values, last, sd)
    return float((values[last] - values[left]) / (seconds[last] - seconds[left])) if left < last else 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Crossing:
    """The moment at which a quantity first crossed a limit.

    Attributes
    ----------
    at_s
        Best estimate [s].
    least_s, most_s
        Between these it lies [s]: the interval left open between readings, and 2 × what scatter and the
        uncertainty of the reading make of it.
    u_between_s
        Standard uncertainty from the course between readings, a rectangle [s].
    u_scatter_s
        Standard uncertainty from the scatter of the readings [s], or why it isn't counted.
    u_reading_s
        Standard uncertainty from the uncertainty of the reading itself: over the slope [s].
    slope_per_s
        Slope with which the quantity came to the limit, positive towards it [unit/s].
    readings
        Readings used for the crossing [1].
    remembers
        Whether readings in a row scatter alike, which leaves `u_scatter_s` less sure.
    past_by
        How far past the limit the readings went, in the quantity's unit.
    later_s : tuple of float
        Further crossings, after the quantity had been back [s].
    """

    at_s: float
    least_s: float
    most_s: float
    u_between_s: float
    u_scatter_s: float | Absent
    u_reading_s: float
    slope_per_s: float
    readings: int
    remembers: bool
    past_by: float
    later_s: tuple[float, ...]

    @property
    def u_s(self) -> float:
        """Standard uncertainty [s]."""
        scatter = 0.0 if isinstance(self.u_scatter_s, Absent) else self.u_scatter_s
        return sqrt(self.u_between_s**2 + scatter**2 + self.u_reading_s**2)


class NotDriven(Absent):
    """The quantity never came past the limit, so that nothing was challenged."""

    __slots__ = ()


def crossing(
    seconds: FloatArray,
    quantity: FloatArray,
    limit: float | FloatArray,
    *,
    rising: bool,
    reading_u: float = 0.0,
    turned_s: float | None = None,
) -> Crossing | NotDriven | Absent:
    """Find when a quantity first crosses a limit, or a limit that is lowered first crosses the quantity.

    Where the readings scatter little against one step, the crossing is put on the straight line between the
    last reading short of the limit and the first at or past it. How far the true course may leave that line
    is taken from the neighbouring steps: a step whose neighbours have its own slope leaves nothing open, one
    with a neighbour that stands still (a jump) leaves the whole interval open. Where they scatter more, a
    least-squares line is laid through as many readings around as rise by 10 standard deviations; the error
    of its crossing is that of inverse prediction, s/|b|·√(1/n + (t − t̄)²/S_tt) (Draper & Smith, Applied
    Regression Analysis, 3rd ed., section 3.2; cited from memory), larger for autocorrelated residuals, and a
    parabola through the same readings says what the straight line misses.

    Parameters
    ----------
    seconds : (n,) float64
        Instants [s] of the stretch, rising.
    quantity : (n,) float64
        Readings in the channel's own unit, NaN for none.
    limit
        The limit in the same unit, or the limit in force at each instant (n,), NaN where not known.
    rising
        Whether past the limit means above it.
    reading_u
        Standard uncertainty of a reading that all of them share (calibration), in the same unit.
    turned_s
        When something acted on the quantity [s]: later readings say nothing of how it came.

    Returns
    -------
    Crossing, NotDriven or Absent
        Absent where the quantity is past the limit from the start, or moves too little against its scatter.
    """
    beyond = (quantity - limit) * (1.0 if rising else -1.0)
    there = np.isfinite(beyond)
    t, y = seconds[there], beyond[there]
    if y.size < 2:
        return Absent(f"the quantity has {y.size} readings in the stretch; a crossing needs two")
    if y[0] >= 0:
        return Absent(f"the quantity is past the limit by {y[0]:.6g} when the stretch begins")
    past = y >= 0
    if not past.any():
        return NotDriven(
            f"the quantity was never driven past the limit: it stayed {-y.max():.6g} short of it"
        )
    scatter = scatter_before(t, y, int(np.argmax(past)))
    sd = 0.0 if isinstance(scatter, Absent) else scatter.sd
    surely = int(np.argmax(y >= (PAST * sd if y.max() >= PAST * sd else 0.0)))
    back = np.flatnonzero(y[:surely] < -BACK * sd)
    touched = int(back[-1]) + 1 if back.size else 0
    touched += int(np.argmax(past[touched:]))
    # Between a first touch and the last, the crossing is where as many readings are short of it as past.
    at = touched + int(np.count_nonzero(~past[touched:surely]))
    starts, end = _excursions(y, surely, -BACK * sd)
    peak = surely + int(np.argmax(y[surely:end]))
    past_by = float(y[peak])
    if turned_s is not None:
        peak = max(at, min(peak, int(np.searchsorted(t, turned_s, side="right")) - 1))
    left, right = _around(y, at, peak, RESOLVED * sd)
    if right - left == 1:
        found = _between_two(t, y, at, peak)
        u_scatter, remembers = 0.0 if isinstance(scatter, Absent) else scatter.u / found[2], False
    else:
        fitted = _on_line(t[left : right + 1], y[left : right + 1], scatter)
        if isinstance(fitted, Absent):
            return fitted
        found, u_scatter, remembers = fitted[:3], fitted[3], fitted[4]
    middle, half, slope = found
    random = COVERAGE_FACTOR * sqrt(u_scatter**2 + (reading_u / slope) ** 2)
    return Crossing(
        at_s=middle,
        least_s=middle - half - random,
        most_s=middle + half + random,
        u_between_s=half / sqrt(3.0),
        u_scatter_s=scatter if isinstance(scatter, Absent) else u_scatter,
        u_reading_s=reading_u / slope,
        slope_per_s=slope,
        readings=right - left + 1,
        remembers=remembers,
        past_by=past_by,
        later_s=tuple(_straight(t, y, int(start)) for start in starts),
    )


def _excursions(y: FloatArray, surely: int, back: float) -> tuple[IntArray, int]:
    """Beginnings of later excursions past 0, each after a return below `back`; the end of the first one."""
    mark = np.where(y >= 0, 1, np.where(y < back, -1, 0))
    mark[:surely] = -1
    carried = mark[np.maximum.accumulate(np.where(mark != 0, np.arange(y.size), 0))]
    out: BoolArray = carried > 0
    starts = np.flatnonzero(out[1:] & ~out[:-1]) + 1
    ends = np.flatnonzero(~out[1:] & out[:-1]) + 1
    return starts[1:], int(ends[0]) if ends.size else y.size


def _straight(t: FloatArray, y: FloatArray, at: int) -> float:
    """When the straight line from the reading before `at` to it crosses 0 [s]."""
    return float(t[at - 1] - y[at - 1] * (t[at] - t[at - 1]) / (y[at] - y[at - 1]))


def _around(y: FloatArray, first: int, peak: int, rise: float) -> tuple[int, int]:
    """Readings around a crossing, as few as rise by `rise`, none of them after the peak."""
    left, right = first - 1, first
    while y[right] - y[left] < rise and right - left < MOST_AROUND and (left > 0 or right < peak):
        left, right = max(left - 1, 0), min(right + 1, peak)
    return left, right


def _between_two(t: FloatArray, y: FloatArray, at: int, peak: int) -> tuple[float, float, float]:
    """Middle and half-width of where the crossing lies between two readings [s], and the slope [unit/s]."""
    step_s = float(t[at] - t[at - 1])
    slope = float(y[at] - y[at - 1]) / step_s
    # Without a step before there is nothing that shows how the quantity came.
    apart = 1.0
    if at >= 2:
        apart = abs(float((y[at - 1] - y[at - 2]) / (t[at - 1] - t[at - 2])) / slope - 1.0)
        if at < peak:
            apart = max(apart, abs(float((y[at + 1] - y[at]) / (t[at + 1] - t[at])) / slope - 1.0))
    if apart >= 1.0:
        return float(t[at - 1]) + step_s / 2, step_s / 2, slope
    line = _straight(t, y, at)
    low = max(line - apart * step_s / 2, float(t[at - 1]))
    high = min(line + apart * step_s / 2, float(t[at]))
    return (low + high) / 2, (high - low) / 2, slope


def _on_line(
    t: FloatArray, y: FloatArray, scatter: Scatter | Absent
) -> tuple[float, float, float, float, bool] | Absent:
    """Crossing on a least-squares line: middle and half-width [s], slope, u from scatter [s], memory."""
    n = t.size
    time, mean = t - t.mean(), float(y.mean())
    spread = float(np.sum(time**2))
    slope = float(np.sum(time * (y - mean))) / spread
    rest = y - mean - slope * time
    sd = sqrt(float(np.sum(rest**2)) / max(n - 2, 1))
    if slope <= 4.0 * sd / sqrt(spread):
        return Absent("the quantity passes the limit too slowly against the scatter of its readings")
    at = -mean / slope
    remembers = False
    if n >= LEAST_AVERAGED:
        lag_one = float(np.sum(rest[1:] * rest[:-1]) / max(float(np.sum(rest**2)), 1e-300))
        # Residuals of a line are negatively correlated by about (1 + 4ρ)/n.
        lag_one = min(max(lag_one + (1.0 + 4.0 * max(lag_one, 0.0)) / n, 0.0), 0.95)
        remembers = lag_one > 2.0 / sqrt(n)
        inverse = sqrt((1.0 + lag_one) / (1.0 - lag_one) * (1.0 / n + at**2 / spread))
        u = _few(n - 2.0) * sd * inverse / slope
    else:
        # Too few to average: the scatter of one reading counts in full.
        u = (sd if isinstance(scatter, Absent) else max(sd, scatter.u)) / slope
    bend = np.polynomial.Polynomial.fit(time, y, 2)(at)
    return float(t.mean()) + at, abs(float(bend)) / slope, slope, u, remembers
