"""Room for large tables: in memory, or in an unnamed file on disk where they would crowd it out."""

from __future__ import annotations

import tempfile

import numpy as np

from qualify.readings.model import FloatArray

IN_MEMORY_BYTES = 1 << 29
"""Tables up to this size (512 MiB, 67 million readings) are held in memory."""


def room_for(rows: int, columns: int) -> FloatArray:
    """Make an array (rows, columns) whose values are not set yet.

    A large one is a map of a temporary file, which the system pages in and out and which vanishes with
    the array.
    """
    shape = (rows, columns)
    if rows * columns * 8 <= IN_MEMORY_BYTES:
        return np.empty(shape)
    with tempfile.TemporaryFile(prefix="qualify-") as file:
        return np.memmap(file, dtype=np.float64, mode="w+", shape=shape)
