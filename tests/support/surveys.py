"""Small invented surveys, exact in every reading, to be written as logger files."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

START = datetime(2026, 3, 2, 8, 0)


def plain_run(
    offsets: Sequence[float] = (0.0, 0.5, -0.5),
    *,
    setpoint: float = 180.0,
    ambient: float = 20.0,
    step_s: float = 60.0,
    before: int = 10,
    ramp: int = 32,
    hold: int = 60,
    after: int = 0,
    wiggle: float = 0.1,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Ambient, a straight ramp, a hold with a small two-step wiggle, and a straight cool-down.

    Returns seconds (n,) and readings (n, m), rounded to 0.01.
    """
    base = np.concatenate(
        (
            np.full(before, ambient),
            np.linspace(ambient, setpoint, ramp + 1)[1:],
            np.full(hold, setpoint),
            np.linspace(setpoint, ambient, after + 1)[1:] if after else np.empty(0),
        )
    )
    sign = np.where(np.arange(base.size) % 2 == 0, 1.0, -1.0)
    warmth = (base - ambient) / (setpoint - ambient)
    values = base[:, None] + warmth[:, None] * np.asarray(offsets) + wiggle * sign[:, None]
    return np.arange(base.size) * step_s, np.round(values, 2)


def write_csv(
    path: Path,
    seconds: NDArray[np.float64],
    values: NDArray[np.float64],
    *,
    names: Sequence[str] | None = None,
    unit: str = " (°C)",
    start: datetime | None = START,
) -> Path:
    """Write ISO times (or elapsed seconds without a start) and one column a location."""
    names = names or [f"T{number}" for number in range(1, values.shape[1] + 1)]
    times = [
        f"{second:g}" if start is None else (start + timedelta(seconds=float(second))).isoformat()
        for second in seconds
    ]
    head = "Elapsed (s)" if start is None else "Time"
    lines = [",".join([head, *(f"{name}{unit}" for name in names)])]
    for time, row in zip(times, values, strict=True):
        lines.append(",".join([time, *("" if np.isnan(v) else f"{v:.10g}" for v in row)]))
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def write_certificates(
    path: Path,
    corrections: Mapping[str, Sequence[tuple[float, float]]],
    uncertainty: float | Mapping[str, float] = 0.2,
) -> Path:
    """Write calibration points: channel → (temperature, correction) pairs."""
    lines = ["channel,sensor,temperature,correction,expanded_uncertainty,coverage_factor,unit"]
    for channel, points in corrections.items():
        u = uncertainty if isinstance(uncertainty, float) else uncertainty[channel]
        lines += [f"{channel},S-{channel},{t},{c},{u},2,C" for t, c in points]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path
