"""Speed and size as ratios in one run: `python tests/benchmarks/speed.py`.

Every pair is run in turn, A B A B …, as whole processes; the medians of the ratios are printed with
their bounds. Nothing here is a timed test: machines differ, ratios hardly.
"""

from __future__ import annotations

import argparse
import os
import shlex
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve()
PROJECT = HERE.parents[2]
QUALIFY = [sys.executable, "-m", "qualify"]


def write_day(path: Path, instants: int = 86_400, channels: int = 40) -> None:
    """One invented day, one reading a second on 40 channels, in the first of the layouts."""
    rng = np.random.default_rng(20260302)
    t = np.arange(instants)
    base = np.where(t < 3600, 25.0, 25.0 + 155.0 * (1 - np.exp(-(t - 3600) / 2400)))
    values = base[:, None] + rng.normal(0, 0.3, (instants, channels)) + rng.normal(0, 0.5, channels)
    start = np.datetime64("2026-03-02T08:00:00")
    stamps = np.datetime_as_string(start + t.astype("timedelta64[s]"), unit="s")
    with path.open("w", encoding="utf-8") as file:
        file.write("Time," + ",".join(f"CH{n:02d} (°C)" for n in range(1, channels + 1)) + "\n")
        for stamp, row in zip(stamps, values, strict=True):
            file.write(stamp + "," + ",".join(f"{value:.1f}" for value in row) + "\n")


def run(command: list[str]) -> tuple[float, float]:
    """Wall time [s] and peak memory [MiB] of one whole process."""
    begun = time.perf_counter()
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, cwd=PROJECT)
    _, _, usage = os.wait4(process.pid, 0)
    return time.perf_counter() - begun, usage.ru_maxrss / 1024


def compare(name: str, ours: list[str], theirs: list[str], runs: int, wanted: str) -> None:
    """Print both medians and the ratios, pair by pair."""
    run(ours), run(theirs)
    pairs = [(run(ours), run(theirs)) for _ in range(runs)]
    time_ratio = statistics.median(a[0] / b[0] for a, b in pairs)
    memory_ratio = statistics.median(a[1] / b[1] for a, b in pairs)
    ours_s, theirs_s = (statistics.median(pair[k][0] for pair in pairs) for k in (0, 1))
    ours_mib, theirs_mib = (statistics.median(pair[k][1] for pair in pairs) for k in (0, 1))
    print(f"{name} ({wanted})")
    print(f"  time    {ours_s:7.3f} s  : {theirs_s:7.3f} s    ratio {time_ratio:.2f}")
    print(f"  memory  {ours_mib:7.1f} MiB: {theirs_mib:7.1f} MiB  ratio {memory_ratio:.2f}")


def main() -> None:
    """Make the day's file in a temporary folder and run every comparison."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=5)
    runs = parser.parse_args().runs
    with tempfile.TemporaryDirectory() as folder:
        day = Path(folder) / "invented-day.csv"
        write_day(day)
        compare(
            "survey of 86,400 × 40 against reading the file",
            [*QUALIFY, "survey", str(day), "--setpoint", "180", "--tolerance", "5"],
            [sys.executable, "-c", f"import pandas; pandas.read_csv({str(day)!r}, parse_dates=['Time'])"],
            runs,
            "time and memory: at most 3",
        )
        compare(
            "help against importing typer",
            [*QUALIFY, "--help"],
            [sys.executable, "-c", "import typer"],
            runs,
            "time: at most 2",
        )
        packs = [run(demo(Path(folder) / f"pack-{number}"))[0] for number in range(runs)]
        print("full pack of the demo (at most 10 s on 2 cores)")
        print(f"  time    {statistics.median(packs):7.3f} s  ({shlex.join(demo(Path('DIR'))[1:])})")


def demo(out: Path) -> list[str]:
    """The command that makes the demo's pack."""
    return [*QUALIFY, "run", "demo_surveys/ov3-requalification.toml", "--out", str(out)]


if __name__ == "__main__":
    main()
