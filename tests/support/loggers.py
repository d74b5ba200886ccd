"""An invented oven that several loggers record, each with its own clock, interval, corrections and noise."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from qualify.inputs import InputFile

START = datetime(2026, 3, 2, 8, 0)
Numbers = NDArray[np.float64]


@dataclass(frozen=True)
class Oven:
    """A chamber that starts to heat at `heats_s`, with a lag, and cycles about its set point."""

    heats_s: float = 900.0
    lag_s: float = 500.0
    ambient_c: float = 21.0
    setpoint_c: float = 180.0
    cycle_c: float = 0.3
    cycle_s: float = 310.0
    again_s: float | None = None
    """A second heating, after the door was open, of 60 °C."""

    def at(self, seconds: Numbers) -> Numbers:
        """Temperature [°C] at true times [s]."""
        warmth = 1 - np.exp(-np.clip(seconds - self.heats_s, 0, None) / self.lag_s)
        cycle = self.cycle_c * np.sin(2 * np.pi * seconds / self.cycle_s)
        value = self.ambient_c + warmth * (self.setpoint_c - self.ambient_c + cycle)
        if self.again_s is not None:
            since = seconds - self.again_s
            value = value - np.where(since >= 0, 60 * np.exp(-since / self.lag_s), 0.0)
        return value


@dataclass(frozen=True)
class Logger:
    """What a logger does to the truth: when it reads, how wrong its clock and its channels are."""

    interval_s: float = 10.0
    first_s: float = 0.0
    minutes: float = 120.0
    slow_s: float = 0.0
    """Its clock shows true time less this."""
    drift: float = 0.0
    """Its clock runs slow by this share."""
    noise_c: float = 0.03
    decimals: int = 2
    gain: float = 0.0
    level_c: float = 0.0
    seed: int = 1

    def times(self) -> Numbers:
        """True times of its readings [s]."""
        return np.arange(self.first_s, self.minutes * 60, self.interval_s)

    def clock(self) -> Numbers:
        """What its clock shows at its readings [s]."""
        return np.round(self.times() * (1 - self.drift) - self.slow_s, 3)

    def reads(self, oven: Oven, channels: int = 1) -> Numbers:
        """Its readings (n, channels), each channel with a level of its own."""
        random = np.random.default_rng(self.seed)
        true = oven.at(self.times())[:, None]
        values = true * (1 + self.gain) + self.level_c + np.arange(channels) * 0.2
        return np.round(values + random.normal(0, self.noise_c, values.shape), self.decimals)


def csv_file(
    name: str, seconds: Numbers, values: Numbers, names: Sequence[str], *, elapsed: bool = False
) -> InputFile:
    """Write a logger file in memory, readings as they are, NaN as an empty cell."""
    head = "Elapsed (s)" if elapsed else "Time"
    lines = [",".join([head, *(f"{each} (°C)" if "(" not in each else each for each in names)])]
    for second, row in zip(seconds.tolist(), values.tolist(), strict=True):
        stamp = (
            f"{second:.10g}"
            if elapsed
            else (START + timedelta(seconds=second)).isoformat(timespec="milliseconds")
        )
        lines.append(",".join([stamp, *("" if np.isnan(value) else repr(value) for value in row)]))
    content = ("\n".join(lines) + "\n").encode()
    return InputFile(Path(name).name, Path(name), content, hashlib.sha256(content).hexdigest(), "readings")


def file_of(
    name: str, logger: Logger, oven: Oven, names: Sequence[str], *, elapsed: bool = False
) -> InputFile:
    """The file that a logger leaves behind."""
    return csv_file(name, logger.clock(), logger.reads(oven, len(names)), names, elapsed=elapsed)


def two_loggers(seed: int) -> tuple[Oven, Logger, Logger]:
    """Draw an oven and two loggers that differ in everything."""
    random = np.random.default_rng(seed)
    oven = Oven(
        heats_s=float(random.uniform(600, 1500)),
        lag_s=float(random.uniform(200, 900)),
        setpoint_c=float(random.uniform(80, 300)),
        cycle_c=float(random.uniform(0, 0.4)),
        cycle_s=float(random.uniform(150, 600)),
    )

    def logger(number: int) -> Logger:
        interval = float(random.choice([1, 2, 5, 10, 15, 20, 30]))
        return Logger(
            interval_s=interval,
            first_s=float(random.uniform(0, interval)),
            noise_c=float(random.choice([0.01, 0.03, 0.1])),
            decimals=int(random.choice([1, 2])),
            gain=float(random.normal(0, 0.004)),
            level_c=float(random.normal(0, 0.5)),
            seed=2 * seed + number,
        )

    first, second = logger(0), logger(1)
    return oven, first, replace(second, slow_s=float(round(random.uniform(-3000, 3000), 2)))
