"""Coverage of what one assessment window shows: drift, mean, steadiness, differences between locations.

Every series is invented: independent ("white") noise, first-order autoregressive noise of φ 0.8, a control
cycle of 5 times the noise with a period of 3 to 15 minutes, a drift of 0.5 °C/h. Noise has a standard
deviation of 0.1 °C; readings come every 30 to 60 s.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qualify.figures.absent import Absent, present
from qualify.figures.instants import evenly_spaced, mean_over_time
from qualify.figures.series import drift, find_cycle, standard_error_of_mean
from qualify.inference import steadiness
from qualify.inference.locations import compare_locations
from tests.studies.study import Row

Series = NDArray[np.float64]

NOISE_C = 0.1
KINDS = ("white noise", "autocorrelated noise, φ 0.8", "control cycle", "drift of 0.5 °C/h")
LEVEL_C = 180.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """Invented readings and their truth."""

    seconds: Series
    values_c: Series
    slope_c_per_h: float


def autoregressive(random: np.random.Generator, n: int, series: int, ratio: float) -> Series:
    """x_t = φ·x_t−1 + e_t of variance 1, stationary from the first reading on: (n, series)."""
    noise = random.standard_normal((n, series))
    values = np.empty_like(noise)
    values[0] = noise[0]
    for index in range(1, n):
        values[index] = ratio * values[index - 1] + np.sqrt(1 - ratio**2) * noise[index]
    return values


def window(
    random: np.random.Generator,
    kind: str,
    n: int,
    locations: int = 1,
    *,
    even: bool = True,
    equal: bool = False,
) -> Window:
    """One invented window of a kind; the locations share a cycle, each with its own amplitude."""
    step_s = random.uniform(30.0, 60.0)
    seconds = np.arange(n) * step_s
    if not even:
        seconds = np.cumsum(random.uniform(0.5 * step_s, 1.5 * step_s, n))
    hours = (seconds - seconds.mean()) / 3600
    alike = equal or locations == 1
    scatter_c = NOISE_C * (np.ones(locations) if alike else random.uniform(0.5, 2.0, locations))
    ratio = 0.8 if "0.8" in kind else 0.0
    values = LEVEL_C + autoregressive(random, n, locations, ratio) * scatter_c
    if kind == "control cycle":
        period_s, phase = random.uniform(180.0, 900.0), random.uniform(0, 2 * np.pi)
        amplitude_c = 5 * NOISE_C * random.uniform(0.8, 1.2, locations)
        values += np.sin(2 * np.pi * seconds / period_s + phase)[:, None] * amplitude_c
    slope = 0.5 if kind.startswith("drift") else 0.0
    return Window(seconds=seconds, values_c=values + slope * hours[:, None], slope_c_per_h=slope)


def counted(
    study: str, interval: str, cases: int, held: Callable[[], bool | None], *, warned: bool = False
) -> Row:
    """Count in how many cases an interval held the truth; None: there was no interval."""
    outcomes = [held() for _ in range(cases)]
    given = [outcome for outcome in outcomes if outcome is not None]
    return Row(
        study=study,
        interval=interval,
        cases=len(given),
        covered=sum(given),
        absent=cases - len(given),
        warned=warned,
    )


def drift_held(invented: Window) -> bool | None:
    """Whether the interval of the drift held the true slope."""
    values = invented.values_c[:, 0]
    found = drift(invented.seconds, values, find_cycle(invented.seconds, values))
    if not (present(found.low_c_per_h) and present(found.high_c_per_h)):
        return None
    return found.low_c_per_h <= invented.slope_c_per_h <= found.high_c_per_h


def mean_held(invented: Window) -> bool | None:
    """Whether mean ± half-width held the true level (at the mean instant)."""
    seconds, values = invented.seconds, invented.values_c[:, 0]
    found = standard_error_of_mean(seconds, values, find_cycle(seconds, values))
    if isinstance(found, Absent):
        return None
    even = evenly_spaced(seconds)
    true_c = LEVEL_C + invented.slope_c_per_h / 3600 * (
        mean_over_time(seconds, seconds, even) - float(seconds.mean())
    )
    return abs(mean_over_time(seconds, values, even) - true_c) <= found.half_width_c


def stayed_quiet(invented: Window) -> bool | None:
    """Whether the test of steadiness raised no alarm."""
    found = steadiness.steadiness_test(invented.seconds, invented.values_c[:, 0])
    return None if isinstance(found, Absent) else found.steady


def series_rows(cases: int, random: np.random.Generator) -> Iterator[Row]:
    """Drift, mean and steadiness of one location."""
    for kind in KINDS:
        for n in (30, 60, 120):
            name = f"{kind}, {n} readings"
            yield counted(
                f"drift of one location, {name}",
                "drift_low_c_per_h … drift_high_c_per_h, 95 %",
                cases,
                lambda kind=kind, n=n: drift_held(window(random, kind, n)),
            )
            yield counted(
                f"mean of one location, {name}",
                "mean ± half_width_c (type A), 95 %",
                cases,
                lambda kind=kind, n=n: mean_held(window(random, kind, n)),
            )
            if kind.startswith("drift") or n < steadiness.LEAST_READINGS:
                continue
            yield counted(
                f"steadiness of one location, {name}",
                "no alarm, level 5 %",
                cases,
                lambda kind=kind, n=n: stayed_quiet(window(random, kind, n)),
            )
    yield counted(
        "drift of one location, white noise, 60 readings at uneven instants",
        "drift_low_c_per_h … drift_high_c_per_h, 95 %",
        cases,
        lambda: drift_held(window(random, KINDS[0], 60, even=False)),
    )
    yield counted(
        "mean of one location, white noise, 60 readings at uneven instants",
        "mean ± half_width_c (type A), 95 %",
        cases,
        lambda: mean_held(window(random, KINDS[0], 60, even=False)),
    )


def location_rows(
    cases: int, random: np.random.Generator, kind: str, n: int, locations: int
) -> tuple[Row, Row, Row]:
    """Families of locations that don't differ; half of them scatter alike, the rest by up to 4 times."""
    against_mean, pairs, alike, told, absent = 0, 0, 0, 0, 0
    for case in range(cases):
        equal = case % 2 == 1
        invented = window(random, kind, n, locations, equal=equal)
        found = compare_locations(invented.values_c, invented.seconds)
        if isinstance(found, Absent):
            absent += 1
            continue
        against_mean += not found.against_mean_differs.any()
        pairs += not found.pair_differs.any()
        if equal and not isinstance(found.variances, Absent):
            told += 1
            alike += not found.variances.differs
    name = f"{locations} locations, {kind}, {n} readings"
    return (
        Row(
            study=f"locations against the chamber mean, {name}",
            interval="all intervals together, 95 %",
            cases=cases - absent,
            covered=against_mean,
            absent=absent,
        ),
        Row(
            study=f"pairs of locations, {name}",
            interval="all intervals together, 95 %",
            cases=cases - absent,
            covered=pairs,
            absent=absent,
        ),
        Row(
            study=f"equal variances, {name}",
            interval="no alarm, level 5 %",
            cases=told,
            covered=alike,
            absent=cases // 2 - told,
        ),
    )


def studies(cases: int = 2000, seed: int = 20261126) -> list[Row]:
    """All rows: single locations, and families of 9 and of 40.

    The seed is another one than those with which the methods were chosen.
    """
    random = np.random.default_rng(seed)
    rows = list(series_rows(cases, random))
    for kind in KINDS[:3]:
        for n in (30, 60, 120):
            rows += location_rows(cases, random, kind, n, 9)
    for kind in KINDS[:3]:
        rows += location_rows(cases, random, kind, 60, 40)
    return [row for row in rows if row.cases or row.absent]
