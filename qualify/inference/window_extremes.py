"""What a window's readings leave to an error that stays over it: extremes, means, largest differences."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from qualify.figures.instants import complete_instants, evenly_spaced, mean_over_time
from qualify.readings.model import FloatArray, IntArray

INSTANTS_AT_ONCE = 4096
"""Readings of this many instants are compared at once; with 40 locations they stay in a processor's cache."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WindowExtremes:
    """What is needed of a window to move every location by an error of its own, exactly.

    Attributes
    ----------
    highest_c, lowest_c : (m,) float64
        Largest and least reading of each location [°C]; NaN where it has none.
    mean_c : (m,) float64
        Mean of each location over the complete instants [°C]; NaN where no instant is complete.
    apart_c : (m, m) float64
        [i, j]: largest value over the complete instants of T_i − T_j [°C of difference]; NaN where no
        instant is complete. The largest of all is spread_max.
    readings : (m,) int64
        Readings of each location.
    complete_instants
        Instants at which every location has a reading.
    """

    highest_c: FloatArray
    lowest_c: FloatArray
    mean_c: FloatArray
    apart_c: FloatArray
    readings: IntArray
    complete_instants: int


def window_extremes(values_c: FloatArray, seconds: FloatArray | None = None) -> WindowExtremes:
    """Take from a window what a simulation of errors that stay over it needs.

    Extremes are over all readings that are there; means and differences over the instants at which every
    location has a reading, as for the figures across locations.

    Parameters
    ----------
    values_c : (n, m) float64
        Corrected readings of the window [°C], NaN where absent.
    seconds : (n,) float64, optional
        Instants [s]; means are weighted with time where they are uneven. Without them means are plain.

    Raises
    ------
    ValueError
        If the readings are not a table of instants and locations with at least one location.
    """
    if values_c.ndim != 2 or values_c.shape[1] == 0:
        raise ValueError(f"readings are a table (instants, locations), not of shape {values_c.shape}")
    locations = values_c.shape[1]
    readings = np.count_nonzero(~np.isnan(values_c), axis=0)
    whole = complete_instants(values_c)
    count = int(np.count_nonzero(whole))
    if count == 0:
        mean_c = np.full(locations, np.nan)
        apart_c = np.full((locations, locations), np.nan)
    else:
        complete_c = values_c if count == whole.size else values_c[whole]
        apart_c = _largest_differences(complete_c)
        if seconds is None or evenly_spaced(seconds):
            mean_c = complete_c.mean(axis=0)
        else:
            mean_c = np.array([mean_over_time(seconds[whole], column, False) for column in complete_c.T])
    return WindowExtremes(
        highest_c=np.where(readings > 0, np.fmax.reduce(values_c, initial=-np.inf), np.nan),
        lowest_c=np.where(readings > 0, np.fmin.reduce(values_c, initial=np.inf), np.nan),
        mean_c=mean_c,
        apart_c=apart_c,
        readings=readings,
        complete_instants=count,
    )


def _largest_differences(values_c: FloatArray) -> FloatArray:
    """Largest T_i − T_j over all instants, (n, m) readings without gaps → (m, m), in pieces of instants."""
    locations = values_c.shape[1]
    apart = np.full((locations, locations), -np.inf)
    for first in range(0, values_c.shape[0], INSTANTS_AT_ONCE):
        piece = np.ascontiguousarray(values_c[first : first + INSTANTS_AT_ONCE].T)
        for other in range(locations):
            np.maximum(apart[:, other], (piece - piece[other]).max(axis=1), out=apart[:, other])
    return apart
