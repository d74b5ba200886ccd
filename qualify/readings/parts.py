"""The readings of one file, before files are joined."""

from __future__ import annotations

from dataclasses import dataclass

from qualify.findings import Doubt
from qualify.readings.model import Channel, FloatArray, IntArray, ReadOptions
from qualify.readings.times import Instants
from qualify.units import TemperatureUnit


@dataclass(frozen=True, slots=True)
class FileReadings:
    """The readings of one file.

    Attributes
    ----------
    file
        The file's name.
    stem
        Its name without suffix.
    instants
        The instants of its rows.
    rows : (n,) int64
        Row numbers.
    channels, units, raw_c : (n, m) float64
        Temperature channels, their recorded units, readings [°C].
    others, other_values : (n, k) float64
        Columns of other units.
    layout
        What was understood, in words.
    pins
        What would have to be told so that nothing is left to detection.
    doubts
        Everything listed about the file.
    """

    file: str
    stem: str
    instants: Instants
    rows: IntArray
    channels: tuple[Channel, ...]
    units: tuple[TemperatureUnit, ...]
    raw_c: FloatArray
    others: tuple[Channel, ...]
    other_values: FloatArray
    layout: dict[str, str]
    pins: ReadOptions
    doubts: tuple[Doubt, ...]
