"""Trials of a simulation as they come, block by block: moments, interval ends, and when there are enough."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from qualify.readings.model import FloatArray

COVERAGE = 0.95
KEPT_TAIL = 0.05
"""Values beyond this share of the first block, on either side, are kept: twice what an end needs."""


def end_rank(trials: int) -> int:
    """Rank r of the lower end of the 95 % interval among so many trials (first = 1).

    The probabilistically symmetric interval of JCGM 101:2008, 7.7 (cited from memory), with the upper end
    at the same rank counted from the top.
    """
    return max(1, round((1.0 - COVERAGE) / 2 * trials))


@dataclass(slots=True)
class Moments:
    """Mean and scatter of numbers that come one after the other (B. P. Welford, Technometrics 4, 1962).

    Attributes
    ----------
    mean : (k,) float64
        Mean of what has come.
    squares : (k,) float64
        Sum of squared deviations from it.
    count
        How many have come.
    """

    mean: FloatArray = field(default_factory=lambda: np.zeros(1))
    squares: FloatArray = field(default_factory=lambda: np.zeros(1))
    count: int = 0

    def add(self, values: FloatArray) -> None:
        """Add one of each number: (k,) float64."""
        self.count += 1
        step = values - self.mean
        self.mean = self.mean + step / self.count
        self.squares = self.squares + step * (values - self.mean)

    def twice_error(self) -> float:
        """Twice the largest standard deviation of any mean (JCGM 101:2008, 7.9.4; cited from memory)."""
        if self.count < 2:
            return float("inf")
        return 2.0 * float(np.sqrt(self.squares.max(initial=0.0) / (self.count - 1) / self.count))


@dataclass(slots=True)
class Quantities:
    """Simulated quantities: exact interval ends over all trials, in bounded memory.

    Only the outer twentieth of either side is kept, with the count of all: the ends lie in it.

    Attributes
    ----------
    blocks
        Over the blocks: mean, standard deviation, lower and upper end of each quantity, one after the
        other (4k).
    trials
        How many trials were added.
    """

    blocks: Moments = field(default_factory=Moments)
    trials: int = 0
    _sums: FloatArray = field(init=False)
    _squares: FloatArray = field(init=False)
    _centre: FloatArray = field(init=False)
    _inner: FloatArray = field(init=False)
    _tails: list[tuple[list[FloatArray], list[FloatArray]]] = field(init=False)

    def add(self, values: FloatArray) -> None:
        """Add a block of trials: (k, trials) float64, a row a quantity."""
        count = values.shape[1]
        rank = end_rank(count)
        ordered = np.partition(values, (rank - 1, count - rank), axis=1)
        if self.trials == 0:
            self._begin(values)
        apart = values - self._centre[:, None]
        means, squares = apart.mean(axis=1), np.einsum("ij,ij->i", apart, apart)
        self._sums += apart.sum(axis=1)
        self._squares += squares
        deviation = np.sqrt(np.maximum(squares / count - means**2, 0.0) * count / max(count - 1, 1))
        self.blocks.add(
            np.concatenate((self._centre + means, deviation, ordered[:, rank - 1], ordered[:, count - rank]))
        )
        for row, (low, high), (least, largest) in zip(values, self._inner.T, self._tails, strict=True):
            least.append(row[row < low])
            largest.append(row[row > high])
        self.trials += count

    def _begin(self, values: FloatArray) -> None:
        size = values.shape[0]
        self._centre = values.mean(axis=1)
        self._inner = np.quantile(values, (KEPT_TAIL, 1.0 - KEPT_TAIL), axis=1)
        self._tails = [([], []) for _ in range(size)]
        self._sums, self._squares = np.zeros(size), np.zeros(size)

    def mean(self) -> FloatArray:
        """Mean of each quantity over all trials (k,)."""
        return self._centre + self._sums / self.trials

    def standard_deviation(self) -> FloatArray:
        """Standard deviation of each quantity over all trials (k,)."""
        variance = (self._squares - self._sums**2 / self.trials) / max(self.trials - 1, 1)
        return np.sqrt(np.maximum(variance, 0.0))

    def ends(self) -> tuple[FloatArray, FloatArray]:
        """Lower and upper end of each quantity's 95 % interval over all trials: two of (k,)."""
        rank = end_rank(self.trials)
        low, high = self._inner.copy()
        for at, (least, largest) in enumerate(self._tails):
            below, above = np.concatenate(least), np.concatenate(largest)
            # Fewer beyond than the rank: many trials are equal, and the end is their value.
            if below.size >= rank:
                low[at] = np.partition(below, rank - 1)[rank - 1]
            if above.size >= rank:
                high[at] = np.partition(above, above.size - rank)[above.size - rank]
        return low, high
