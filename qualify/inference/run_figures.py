"""One figure a run, in the order in which the runs were made: what all statistics of runs begin with."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from qualify.figures.absent import Absent
from qualify.readings.model import FloatArray

Side = Literal["two-sided", "upper", "lower"]
ROUNDING = 1e-12
FEW_RUNS = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class RunFigures:
    """The figures there are.

    Attributes
    ----------
    values_c : (n,) float64
        Figures in order [°C], absent ones left out.
    mean_c, sd_c
        Their mean and standard deviation (n − 1) [°C].
    missing
        Runs without a figure.
    """

    values_c: FloatArray
    mean_c: float
    sd_c: float
    missing: int

    @property
    def n(self) -> int:
        """Runs with a figure."""
        return self.values_c.size

    def note(self) -> str:
        """Say what a statement from these runs rests on."""
        notes = []
        if self.n < FEW_RUNS:
            notes.append(f"rests on runs scattering normally, which {self.n} runs can't show")
        if self.missing:
            notes.append(f"{self.missing} run(s) without this figure are left out")
        return "; ".join(notes)


def run_figures(values_c: FloatArray, least: int = 2) -> RunFigures | Absent:
    """Take one figure a run; absent below `least` runs and where the runs don't differ at all.

    Parameters
    ----------
    values_c : (k,) float64
        One figure a run [°C]; NaN where a run has none.
    least
        Runs needed, 2 or more.

    Raises
    ------
    ValueError
        If the array is not one-dimensional.
    """
    if values_c.ndim != 1:
        raise ValueError("one figure a run needs one dimension")
    there = values_c[np.isfinite(values_c)].astype(np.float64)
    if there.size < max(least, 2):
        runs = "run" if there.size == 1 else "runs"
        return Absent(f"{there.size} {runs} with this figure; this needs at least {max(least, 2)}")
    if float(np.ptp(there)) <= ROUNDING * float(np.abs(there).max()):
        return Absent("the runs do not differ at all, which says more of the resolution than of the oven")
    return RunFigures(
        values_c=there,
        mean_c=float(there.mean()),
        sd_c=float(there.std(ddof=1)),
        missing=values_c.size - there.size,
    )
