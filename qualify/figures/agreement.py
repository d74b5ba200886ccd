"""Sensors and displays against each other: agreement at ambient, indication error."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from qualify.figures.absent import Absent, Maybe
from qualify.readings.model import FloatArray

LEAST_READINGS = 3


def agreement_at_ambient_c(values_c: FloatArray) -> tuple[Maybe, ...]:
    """Offset of each location's mean from the median location before heat start.

    For resistance thermometers this checks the sensor. For thermocouples it checks only channel,
    reference junction and gross faults: with both junctions at one temperature they make almost no
    voltage, so it says nothing about their error when hot.

    Parameters
    ----------
    values_c : (n, m) float64
        Corrected readings before heat start [°C].

    Returns
    -------
    m figures
        Offsets [°C].
    """
    counts = (~np.isnan(values_c)).sum(axis=0)
    enough = counts >= LEAST_READINGS
    if not enough.any():
        return (Absent(f"fewer than {LEAST_READINGS} readings before heat start"),) * values_c.shape[1]
    means = np.full(values_c.shape[1], np.nan)
    means[enough] = np.nanmean(values_c[:, enough], axis=0)
    offsets = means - np.nanmedian(means)
    return tuple(
        float(offset) if there else Absent(f"fewer than {LEAST_READINGS} readings before heat start")
        for offset, there in zip(offsets, enough, strict=True)
    )


@dataclass(frozen=True, slots=True)
class IndicationError:
    """Display − corrected reference at its sensor, in the window [°C]."""

    mean_c: Maybe
    max_c: Maybe
    min_c: Maybe


def indication_error(display_c: FloatArray, reference_c: FloatArray) -> IndicationError:
    """Error of a controller's or recorder's display: (n,) display and (n,) corrected readings [°C]."""
    difference = display_c - reference_c
    difference = difference[~np.isnan(difference)]
    if difference.size == 0:
        absent = Absent("no instant with both the display and the reference reading")
        return IndicationError(absent, absent, absent)
    return IndicationError(float(difference.mean()), float(difference.max()), float(difference.min()))
