"""Make expected.json: figures worked out another way, with Python's own csv, fractions and statistics.

Run from the project's folder: python reference_checks/make_expected.py (writes), or with --check (compares).
It imports nothing of the package and no numerical library. Readings are exact decimal fractions; means,
deviations and slopes are exact until the last step, square roots excepted.

Set points, tolerances and windows are made up: none of the recordings had any.
"""

from __future__ import annotations

import csv
import json
import math
import statistics
import sys
from datetime import datetime
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent

# file, columns of the temperatures, rows above the data, how the time is written; made-up set point,
# tolerance, window: start [s from the first reading], length [min].
CASES: dict[str, dict[str, Any]] = {
    "penlight": {
        "file": "data/nist_carolfire_penlight/CAROLFIRE_PT_13.csv",
        "columns": list(range(1, 8)),
        "skip": 1,
        "time": "seconds",
        "setpoint": "470",
        "tolerance": "30",
        "start": "700",
        "minutes": "10",
        "options": ["--units", "C"],
    },
    "olive": {
        "file": "data/nist_bef_olive/Test_19_gas_temp.csv",
        "columns": list(range(1, 10)),
        "skip": 2,
        "time": "seconds",
        "setpoint": "500",
        "tolerance": "50",
        "start": "600",
        "minutes": "10",
        "options": [],
    },
    "pasteurizer": {
        "file": "data/ghe_solar_pasteurizer/06_06-10.csv",
        "columns": [2, 3, 4, 5],
        "skip": 1,
        "time": "date and time",
        "setpoint": "45",
        "tolerance": "5",
        "start": "100800",  # 28 h after the first reading
        "minutes": "360",
        "options": [],
    },
}

SETTLING = [(0.5, 1.0), (0.3, 2.0), (0.7, 1.0), (0.2, 1.0)]


def read(case: dict[str, Any], root: Path = HERE) -> tuple[list[str], list[Fraction], list[list[Fraction]]]:
    """Read names, seconds from the first reading and one list of readings a column, exactly."""
    with (root / case["file"]).open(encoding="utf-8-sig", newline="") as file:
        table = [row for row in csv.reader(file) if any(cell.strip() for cell in row)]
    names = [table[0][column].strip() for column in case["columns"]]
    body = table[case["skip"] :]
    if case["time"] == "seconds":
        times = [Fraction(row[0]) for row in body]
    else:
        stamps = [datetime.strptime(f"{row[0]} {row[1]}", "%Y/%m/%d %H:%M:%S") for row in body]
        times = [Fraction(int((stamp - stamps[0]).total_seconds())) for stamp in stamps]
    seconds = [time - times[0] for time in times]
    values = [[Fraction(row[column]) for row in body] for column in case["columns"]]
    return names, seconds, values


def over_time(seconds: list[Fraction], values: list[Fraction]) -> Fraction:
    """Mean: plain if no interval differs from the median by over 10 %, else by trapezoids."""
    steps = [later - earlier for earlier, later in pairwise(seconds)]
    middle = statistics.median(steps)
    if all(abs(step - middle) <= middle / 10 for step in steps):
        return sum(values, Fraction(0)) / len(values)
    area = Fraction(0)
    for step, (one, two) in zip(steps, pairwise(values), strict=True):
        area += step * (one + two) / 2
    return area / (seconds[-1] - seconds[0])


def slope_per_hour(seconds: list[Fraction], values: list[Fraction]) -> Fraction:
    """Least-squares slope by the sums of the normal equations, exactly."""
    n = len(values)
    st, sv = sum(seconds, Fraction(0)), sum(values, Fraction(0))
    stt = sum((time * time for time in seconds), Fraction(0))
    stv = sum((time * value for time, value in zip(seconds, values, strict=True)), Fraction(0))
    return (n * stv - st * sv) / (n * stt - st * st) * 3600


def figures(case: dict[str, Any], root: Path = HERE) -> dict[str, Any]:
    """Work out every figure of one case."""
    names, seconds, values = read(case, root)
    setpoint, tolerance = Fraction(case["setpoint"]), Fraction(case["tolerance"])
    start = Fraction(case["start"])
    end = start + 60 * Fraction(case["minutes"])
    inside = [index for index, time in enumerate(seconds) if start <= time <= end]
    time = [seconds[index] for index in inside]
    columns = [[column[index] for index in inside] for column in values]
    locations: dict[str, dict[str, float]] = {}
    for name, column in zip(names, columns, strict=True):
        locations[name] = {
            "readings": len(column),
            "mean_c": float(over_time(time, column)),
            "min_c": float(min(column)),
            "max_c": float(max(column)),
            "sd_c": math.sqrt(statistics.variance(column)),
            "deviation_max_c": float(max(column) - setpoint),
            "deviation_min_c": float(min(column) - setpoint),
            "stability_c": float((max(column) - min(column)) / 2),
            "drift_c_per_h": float(slope_per_hour(time, column)),
        }
    spread = [max(instant) - min(instant) for instant in zip(*columns, strict=True)]
    means = [over_time(time, column) for column in columns]
    everything = [value for column in columns for value in column]
    highest, lowest = max(everything), min(everything)
    chamber = {
        "mean_c": float(sum(means, Fraction(0)) / len(means)),
        "deviation_max_c": float(highest - setpoint),
        "deviation_min_c": float(lowest - setpoint),
        "spread_max_c": float(max(spread)),
        "spread_mean_c": float(over_time(time, spread)),
        "spread_of_means_c": float(max(means) - min(means)),
        "stability_c": float(max(max(column) - min(column) for column in columns) / 2),
        "high_excess_c": float(max(max(column) for column in values) - setpoint - tolerance),
    }
    # The same under each document's name; there is no reference location.
    variants = {
        "AMS2750 uniformity high": chamber["deviation_max_c"],
        "AMS2750 uniformity low": chamber["deviation_min_c"],
        "IEC 60068-3-5 temperature gradient": chamber["spread_of_means_c"],
        "IEC 60068-3-5 temperature fluctuation": 2 * chamber["stability_c"],
        "TLAS G-20 stability": chamber["stability_c"],
        "TLAS G-20 overall variation": float(highest - lowest),
        "JJF 1101 style uniformity": chamber["spread_mean_c"],
        "JJF 1101 style deviation high": chamber["deviation_max_c"],
        "JJF 1101 style deviation low": chamber["deviation_min_c"],
        "JJF 1101 style fluctuation": chamber["stability_c"],
    }
    hottest = [n for n, column in zip(names, columns, strict=True) if max(column) == highest]
    coldest = [n for n, column in zip(names, columns, strict=True) if min(column) == lowest]
    return {
        "instants": len(seconds),
        "locations": locations,
        "chamber": chamber,
        "variants": variants,
        "hottest": hottest,
        "coldest": coldest,
        "upper": "fail" if highest - setpoint > tolerance else "conditional or pass",
        "lower": "fail" if setpoint - lowest > tolerance else "conditional or pass",
    }


def settling(zeta: float, omega: float) -> float:
    """Time of the last crossing of the ±2 % band by a second-order unit step response, by bisection."""
    damped = omega * math.sqrt(1 - zeta**2)

    def apart(t: float) -> float:
        wave = math.cos(damped * t) + zeta * omega / damped * math.sin(damped * t)
        return abs(math.exp(-zeta * omega * t) * wave) - 0.02

    step = 0.001 / omega
    last = max(k for k in range(int(40 / omega / step)) if apart(k * step) > 0)
    low, high = last * step, (last + 1) * step
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if apart(middle) > 0 else (low, middle)
    return high


def expected() -> dict[str, Any]:
    """Everything that expected.json holds."""
    return {
        "about": "made by make_expected.py; set points, tolerances and windows are made up",
        "cases": CASES,
        "recordings": {name: figures(case) for name, case in CASES.items()},
        "settling": {f"{zeta} {omega}": round(settling(zeta, omega), 9) for zeta, omega in SETTLING},
    }


def main(arguments: list[str]) -> int:
    """Write expected.json, or with --check say whether it is up to date."""
    path = HERE / "expected.json"
    text = json.dumps(expected(), indent=1, ensure_ascii=False) + "\n"
    if arguments == ["--check"]:
        same = path.read_text(encoding="utf-8") == text
        print("expected.json is up to date" if same else "expected.json differs from what this script makes")
        return 0 if same else 1
    path.write_text(text, encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
