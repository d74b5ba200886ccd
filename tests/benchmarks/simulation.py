"""Time of the Monte Carlo over a window: `python tests/benchmarks/simulation.py`.

A million trials at 40 locations, against drawing as many normal numbers alone; both in one process, in
turn, so that the ratio hardly depends on the machine. Nothing here is a timed test. Invented readings.
"""

from __future__ import annotations

import argparse
import statistics
import time

import numpy as np

from qualify.figures.absent import Absent
from qualify.inference.error_sources import ErrorSource
from qualify.inference.monte_carlo import simulate
from qualify.inference.window_extremes import WindowExtremes, window_extremes

LOCATIONS = 40
TRIALS = 1_000_000


def invented(scatter_c: float) -> WindowExtremes:
    """An hour at one reading in 10 s about 180 °C, the locations scattered so much."""
    random = np.random.default_rng(20260302)
    field_c = random.normal(180.0, scatter_c, LOCATIONS)
    return window_extremes(field_c + random.normal(0.0, 0.2, (360, LOCATIONS)))


def simulated(extremes: WindowExtremes, sources: list[ErrorSource]) -> float:
    """Processor seconds that a million trials take."""
    begun = time.process_time()
    result = simulate(
        extremes,
        sources,
        limit_low_c=177.0,
        limit_high_c=183.0,
        seed=1,
        numerical_tolerance_c=1e-9,
        numerical_tolerance=1e-9,
        most_trials=TRIALS,
    )
    taken = time.process_time() - begun
    assert not isinstance(result, Absent)
    assert result.trials == TRIALS
    return taken


def drawn() -> float:
    """Processor seconds that the normal numbers of a million trials take, block by block."""
    random = np.random.Generator(np.random.PCG64(1))
    block = np.empty((LOCATIONS, 10_000))
    begun = time.process_time()
    for _ in range(TRIALS // 10_000):
        random.standard_normal(out=block)
    return time.process_time() - begun


def main() -> None:
    """Print times and ratios."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=3)
    runs = parser.parse_args().runs
    each = np.full(LOCATIONS, 0.3)
    normal = [ErrorSource.private("calibration", each), ErrorSource.shared("logger", each)]
    mixed = [
        *normal,
        ErrorSource.private("drift", each, "rectangular"),
        ErrorSource.shared("standard", each, "student", 12.0),
    ]
    for name, scatter_c, sources in (
        ("scattered locations, normal errors", 1.0, normal),
        ("nearly equal locations (no pair can be left out), normal errors", 0.05, normal),
        ("scattered locations, four sources", 1.0, mixed),
    ):
        extremes = invented(scatter_c)
        pairs = [(simulated(extremes, sources), drawn()) for _ in range(runs)]
        ours, theirs = (statistics.median(pair[k] for pair in pairs) for k in (0, 1))
        ratio = statistics.median(pair[0] / pair[1] for pair in pairs)
        print(f"{name}: {TRIALS:,} trials, {LOCATIONS} locations")
        print(f"  time {ours:6.2f} s : {theirs:.2f} s for the normal numbers alone    ratio {ratio:.1f}")


if __name__ == "__main__":
    main()
