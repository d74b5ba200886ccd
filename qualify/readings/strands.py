"""A strand: what one logger recorded, of one file or of several end to end; and how instants are matched."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from qualify.findings import Doubt
from qualify.readings.model import BoolArray, Channel, FloatArray, IntArray, ReadOptions
from qualify.readings.parts import FileReadings
from qualify.units import TemperatureUnit

NANOSECONDS = 1_000_000_000
SAME_INSTANT = 500_000
"""Half a millisecond, in nanoseconds: instants closer than this are one."""


@dataclass(frozen=True, slots=True)
class Strand:
    """Readings on one time axis.

    Attributes
    ----------
    files
        The files, in the order in which they were joined.
    nanoseconds : (n,) int64
        Instants [ns], strictly rising, on the clock that all strands share.
    channels, units, raw_c : (n, m) float64
        Temperature channels, their recorded units, readings [°C].
    others, other_values : (n, k) float64
        Columns of other units.
    rows : file name -> (n,) int64
        Row of each file at each instant; 0 where it has none.
    doubts
        What was found while joining.
    interpolated : (n, m) bool
        True where a reading was interpolated; None where none was.
    """

    files: tuple[FileReadings, ...]
    nanoseconds: IntArray
    channels: tuple[Channel, ...]
    units: tuple[TemperatureUnit, ...]
    raw_c: FloatArray
    others: tuple[Channel, ...]
    other_values: FloatArray
    rows: dict[str, IntArray]
    doubts: tuple[Doubt, ...]
    interpolated: BoolArray | None = None

    @property
    def name(self) -> str:
        """The first file's name, by which messages mean the strand."""
        return self.files[0].file

    def file_at(self, index: int) -> tuple[str, int]:
        """Name a file that has a row at an instant, and the row."""
        for name, rows in self.rows.items():
            if rows[index]:
                return name, int(rows[index])
        raise RuntimeError("an instant without a row in any file")


def strand_of(file: FileReadings) -> Strand:
    """Make a strand of one file."""
    return Strand(
        files=(file,),
        nanoseconds=file.instants.nanoseconds,
        channels=file.channels,
        units=file.units,
        raw_c=file.raw_c,
        others=file.others,
        other_values=file.other_values,
        rows={file.file: file.rows},
        doubts=(),
    )


LoggerKey = tuple[frozenset[str], frozenset[str], str | None]


def logger_key(file: FileReadings, told: ReadOptions) -> LoggerKey:
    """What files of one logger have in common: the names of all channels, and the logger's name if told."""
    return (
        frozenset(channel.name for channel in file.channels),
        frozenset(channel.name for channel in file.others),
        told.logger,
    )


def same_instants(here: IntArray, there: IntArray) -> tuple[IntArray, IntArray]:
    """Indices of the instants that both have, within 0.5 ms.

    Parameters
    ----------
    here, there : (n,), (k,) int64
        Rising instants [ns].
    """
    right = np.searchsorted(here, there)
    left = np.maximum(right - 1, 0)
    right = np.minimum(right, len(here) - 1)
    near = np.where(np.abs(here[left] - there) <= np.abs(here[right] - there), left, right)
    same = np.flatnonzero(np.abs(here[near] - there) <= SAME_INSTANT)
    # Of two instants of one file within half a millisecond of one of the other, only the first is the same.
    near_same, first = np.unique(near[same], return_index=True)
    return near_same, same[first]


def union(axes: Sequence[IntArray]) -> IntArray:
    """All instants of several axes, rising; those within 0.5 ms of one of an earlier axis once."""
    axis = axes[0]
    for each in axes[1:]:
        fresh = np.ones(len(each), dtype=bool)
        fresh[same_instants(axis, each)[1]] = False
        axis = np.sort(np.concatenate((axis, each[fresh])))
    return axis


def usual_interval_s(nanoseconds: IntArray) -> float | None:
    """Median interval [s] between instants; None for fewer than two."""
    if len(nanoseconds) < 2:
        return None
    return float(np.median(np.diff(nanoseconds))) / NANOSECONDS
