"""A window whose locations are moved by drawn errors: its figures and what its limits say, trial by trial."""

from __future__ import annotations

from dataclasses import dataclass, field
from math import sqrt

import numpy as np

from qualify.inference.window_extremes import WindowExtremes
from qualify.readings.model import BoolArray, FloatArray, IntArray

SLACK_C = 1e-9
"""Equal to the limit meets it: differences this small are no difference."""
TIED_WITHIN = 2.0
"""Locations count as equal to the extreme one within so many standard uncertainties of the error that they
do not share. Chosen so that the stated interval holds in at least 93 % of cases for every field of the
coverage study (tests/studies/simulation.py), from locations clearly apart to all equal; half of it would not
do for the spread of equal locations."""


@dataclass(frozen=True, slots=True)
class _Differences:
    """Offsets D_ij [°C] of all ordered pairs (−inf on the diagonal), and the pairs that are largest."""

    offset_c: FloatArray
    first: tuple[IntArray, IntArray]

    @classmethod
    def of(cls, apart_c: FloatArray) -> _Differences:
        """Take the m pairs that lie furthest apart as those that give a first bound."""
        locations = len(apart_c)
        offset_c = np.where(np.eye(locations, dtype=np.bool_), -np.inf, apart_c)
        furthest = np.argsort(-offset_c.ravel(), kind="stable")[: min(locations, locations * (locations - 1))]
        return cls(offset_c, (furthest // locations, furthest % locations))

    def largest(self, errors: FloatArray, best: FloatArray) -> None:
        """Largest of D_ij + e_i − e_j over all pairs, exactly: (m, trials) errors [°C] into (trials,).

        A pair whose largest possible value in this block is below the least that the first pairs reach in
        any trial can't win, and is left out.
        """
        best.fill(-np.inf)
        moved, reached = np.empty(best.size), np.empty(best.size)
        for i, j in zip(*self.first, strict=True):
            np.subtract(errors[i], errors[j], out=moved)
            moved += self.offset_c[i, j]
            np.maximum(best, moved, out=best)
        reach = self.offset_c + errors.max(axis=1)[:, None] - errors.min(axis=1)
        reach[self.first] = -np.inf
        candidates = reach > best.min()
        for j in np.flatnonzero(candidates.any(axis=0)):
            reached.fill(-np.inf)
            for i in np.flatnonzero(candidates[:, j]):
                np.maximum(reached, np.add(errors[i], self.offset_c[i, j], out=moved), out=reached)
            reached -= errors[j]
            np.maximum(best, reached, out=best)


@dataclass(slots=True, kw_only=True)
class MovedWindow:
    """Figures of a window under errors that stay over it.

    Every figure is simulated twice: as shown, and with what could be tied to the extreme raised to it. The
    second tells how far the shown extreme may lie beyond the true one, since the largest of equal
    temperatures shows too much whichever it is: locations (for spreads, pairs) within `TIED_WITHIN` standard
    uncertainties are held to be equal to it, the others are brought nearer by as much (generalised moment
    selection: D. W. K. Andrews & G. Soares, Econometrica 78, 2010, 119–157, cited from memory; the distance
    is the project's own).

    Attributes
    ----------
    extremes
        The window as shown; every location has a reading.
    setpoint_c
        Set point [°C].
    covariance_c2 : (m, m) float64
        Covariance of the errors [°C²].
    limit_low_c, limit_high_c
        Limits [°C], or None.
    """

    extremes: WindowExtremes
    setpoint_c: float
    covariance_c2: FloatArray
    limit_low_c: float | None
    limit_high_c: float | None
    _highest: tuple[FloatArray, FloatArray] = field(init=False)
    _lowest: tuple[FloatArray, FloatArray] = field(init=False)
    _spreads: tuple[_Differences, ...] = field(init=False, default=())

    def __post_init__(self) -> None:
        variance = np.diag(self.covariance_c2)
        between = np.maximum(variance[:, None] + variance - 2 * self.covariance_c2, 0.0)
        reach_c = TIED_WITHIN * np.sqrt(between)
        highest, lowest = self.extremes.highest_c - self.setpoint_c, self.extremes.lowest_c - self.setpoint_c
        top, bottom = int(np.argmax(highest)), int(np.argmin(lowest))
        # Half of the variance of a difference is what one location has for itself.
        self._highest = highest, np.minimum(highest + reach_c[top] / sqrt(2.0), highest[top])
        self._lowest = lowest, np.maximum(lowest - reach_c[bottom] / sqrt(2.0), lowest[bottom])
        if self.has_spread:
            means = self.extremes.mean_c
            apart, between_means = self.extremes.apart_c, means[:, None] - means
            self._spreads = (
                _Differences.of(apart),
                _Differences.of(np.minimum(apart + reach_c, apart.max())),
                _Differences.of(np.minimum(between_means + reach_c, np.ptp(means))),
            )

    @property
    def has_spread(self) -> bool:
        """Whether locations can be compared: two of them, and an instant at which all have a reading."""
        return self.extremes.highest_c.size > 1 and self.extremes.complete_instants > 0

    @property
    def has_limits(self) -> bool:
        """Whether there is any limit."""
        return self.limit_low_c is not None or self.limit_high_c is not None

    def as_shown(self) -> FloatArray:
        """Figures as shown [°C]: deviation_max, deviation_min and, where there are, the two spreads."""
        shown = [self._highest[0].max(), self._lowest[0].min()]
        if self.has_spread:
            shown += [self.extremes.apart_c.max(), np.ptp(self.extremes.mean_c)]
        return np.array(shown)

    def figures(self, errors: FloatArray) -> FloatArray:
        """Figures of every trial: (m, trials) errors [°C] → (2 or 4, trials) [°C], as in `as_shown`."""
        result = np.empty((4 if self.has_spread else 2, errors.shape[1]))
        _extreme(np.maximum, errors, self._highest[0], result[0])
        _extreme(np.minimum, errors, self._lowest[0], result[1])
        if self.has_spread:
            # What all have in common moves no difference; without it fewer pairs can win.
            apart = errors - errors.mean(axis=0)
            self._spreads[0].largest(apart, result[2])
            means = self.extremes.mean_c
            _extreme(np.maximum, apart, means, result[3])
            result[3] -= _extreme(np.minimum, apart, means, np.empty(errors.shape[1]))
        return result

    def tied_figures(self, errors: FloatArray) -> FloatArray:
        """The same with what could be tied to the shown extreme raised to it."""
        result = np.empty((4 if self.has_spread else 2, errors.shape[1]))
        _extreme(np.maximum, errors, self._highest[1], result[0])
        _extreme(np.minimum, errors, self._lowest[1], result[1])
        if self.has_spread:
            apart = errors - errors.mean(axis=0)
            self._spreads[1].largest(apart, result[2])
            self._spreads[2].largest(apart, result[3])
        return result

    def judged(self, errors: FloatArray, figures: FloatArray) -> FloatArray:
        """Shares of trials: (m, trials) errors [°C] and their figures → (3 + 2m,), empty without limits.

        In turn: all keep the upper limit; all keep the lower; all keep both; each location keeps the
        limits; each location has the least margin (where several have it, each its part of the trial).
        """
        if not self.has_limits:
            return np.empty(0)
        locations, trials = errors.shape
        margins = np.full((locations, trials), np.inf)
        least, moved = np.full(trials, np.inf), np.empty(trials)
        keeps_high = keeps_low = np.ones(trials, dtype=np.bool_)
        if self.limit_high_c is not None:
            keeps_high = figures[0] <= self.limit_high_c - self.setpoint_c + SLACK_C
        if self.limit_low_c is not None:
            keeps_low = figures[1] >= self.limit_low_c - self.setpoint_c - SLACK_C
        conforms = np.empty(locations)
        for i, (margin, error) in enumerate(zip(margins, errors, strict=True)):
            if self.limit_high_c is not None:
                np.subtract(self.limit_high_c - self.extremes.highest_c[i], error, out=margin)
            if self.limit_low_c is not None:
                np.add(self.extremes.lowest_c[i] - self.limit_low_c, error, out=moved)
                np.minimum(margin, moved, out=margin)
            conforms[i] = np.count_nonzero(margin >= -SLACK_C)
            np.minimum(least, margin, out=least)
        together = [np.count_nonzero(keeps) for keeps in (keeps_high, keeps_low, keeps_high & keeps_low)]
        return np.concatenate((together, conforms, _deciding(margins, least))) / trials


def _deciding(margins: FloatArray, least: FloatArray) -> FloatArray:
    """In how many trials each location has the least margin; equal ones share the trial."""
    holders = np.zeros(least.size)
    holds: BoolArray = np.equal(margins, least)
    for row in holds:
        holders += row
    if holders.max() == 1.0:
        return np.count_nonzero(holds, axis=1).astype(np.float64)
    return np.array([(row / holders).sum() for row in holds])


def _extreme(pick: np.ufunc, errors: FloatArray, offsets: FloatArray, best: FloatArray) -> FloatArray:
    """Largest or least of offset + error over the locations, trial by trial, into `best`."""
    moved = np.empty(best.size)
    np.add(errors[0], offsets[0], out=best)
    for row, offset in zip(errors[1:], offsets[1:], strict=True):
        pick(best, np.add(row, offset, out=moved), out=best)
    return best
