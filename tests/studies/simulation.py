"""Coverage of the Monte Carlo over a window: invented ovens of known truth, sensors with known errors.

What moves over the window (noise, cycles, drift) is the oven's own temperature and belongs to the truth; the
sensors' errors stay. The truth of a figure is the figure of the true temperatures at the same instants.
`python -m tests.studies.simulation [CASES]` prints the table.
"""

from __future__ import annotations

import sys
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from qualify.figures.absent import Absent
from qualify.inference.error_sources import ErrorSource
from qualify.inference.monte_carlo import Simulation, simulate
from qualify.inference.window_extremes import window_extremes
from qualify.readings.model import FloatArray
from tests.studies.study import Row

READINGS = 60
PRIVATE_C, DRIFT_C, SHARED_C = 0.25, 0.10, 0.15
OWN_C = float(np.hypot(PRIVATE_C, DRIFT_C))
SETPOINT_C = 180.0
KINDS = ("white", "AR(1) 0.8", "cycling", "drifting")
FIELDS = ("scattered 3.7 u", "scattered 1 u", "equal to 0.1 u", "one hot place")
"""Standard deviation of the field in parts of the error that each sensor has for itself."""
USUAL_EXTREME_C = {
    ("scattered 3.7 u", 9): 2.0,
    ("scattered 3.7 u", 40): 2.6,
    ("scattered 1 u", 9): 0.7,
    ("scattered 1 u", 40): 0.9,
    ("equal to 0.1 u", 9): 0.35,
    ("equal to 0.1 u", 40): 0.4,
    ("one hot place", 9): 1.8,
    ("one hot place", 40): 1.8,
}
BINS = (0.0, 0.1, 0.3, 0.7, 0.9, 1.0)
TRIALS = 2_000
"""Enough for one case: the ends scatter by 0.06 u, which moves the coverage by less than 0.1 %."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """An invented survey: what the simulation says of it, and the true figures."""

    simulation: Simulation
    deviation_max_c: float
    deviation_min_c: float
    spread_max_c: float
    spread_of_means_c: float
    conformed: bool


def noise(kind: str, locations: int, random: np.random.Generator) -> FloatArray:
    """How the oven's temperature moves over the window (60, locations) [°C]."""
    own = random.normal(0.0, 0.1, (READINGS, locations))
    time = np.arange(READINGS) * 30.0
    if kind == "white":
        return own
    if kind == "AR(1) 0.8":
        for t in range(1, READINGS):
            own[t] = 0.8 * own[t - 1] + 0.6 * own[t]
        return own
    if kind == "cycling":
        phase, reach = random.uniform(0, 2 * np.pi), random.uniform(0.7, 1.3, locations)
        return own / 2 + 0.6 * reach * np.sin(2 * np.pi * time / 400.0 + phase)[:, None]
    return own + random.normal(0.0, 0.5, locations) * (time / 3600.0)[:, None]


def field_of(name: str, locations: int, random: np.random.Generator) -> FloatArray:
    """True deviations of the locations (m,) [°C]."""
    scatter_c = {"scattered 3.7 u": 1.0, "scattered 1 u": OWN_C}.get(name, OWN_C / 10)
    field_c = random.normal(0.0, scatter_c, locations)
    if name == "one hot place":
        field_c[random.integers(locations)] += 1.5
    return field_c


def invented(kind: str, locations: int, field: str, count: int, seed: int) -> Iterator[Case]:
    """Invented surveys of one sort."""
    random = np.random.default_rng(seed)
    sources = [
        ErrorSource.private("calibration", np.full(locations, PRIVATE_C)),
        ErrorSource.private("drift", np.full(locations, DRIFT_C), "rectangular"),
        ErrorSource.shared("logger", np.full(locations, SHARED_C)),
    ]
    for number in range(count):
        true_c = SETPOINT_C + field_of(field, locations, random) + noise(kind, locations, random)
        error_c = random.normal(0.0, PRIVATE_C, locations) + random.normal(0.0, SHARED_C)
        error_c += random.uniform(-1, 1, locations) * np.sqrt(3.0) * DRIFT_C
        # Somewhere about where such an oven ends; drawn without a look at this one.
        limit_c = random.uniform(0.6, 1.4) * USUAL_EXTREME_C[field, locations]
        limits = SETPOINT_C - limit_c, SETPOINT_C + limit_c
        simulation = simulate(
            window_extremes(true_c - error_c),
            sources,
            setpoint_c=SETPOINT_C,
            limit_low_c=limits[0],
            limit_high_c=limits[1],
            seed=number,
            most_trials=TRIALS,
        )
        assert not isinstance(simulation, Absent)
        truth = window_extremes(true_c)
        yield Case(
            simulation=simulation,
            deviation_max_c=float(truth.highest_c.max()) - SETPOINT_C,
            deviation_min_c=float(truth.lowest_c.min()) - SETPOINT_C,
            spread_max_c=float(truth.apart_c.max()),
            spread_of_means_c=float(np.ptp(truth.mean_c)),
            conformed=bool(truth.highest_c.max() <= limits[1] and truth.lowest_c.min() >= limits[0]),
        )


FIGURES = ("deviation_max", "spread_max", "deviation_min", "spread_of_means")


def interval_rows(name: str, found: list[Case], figures: tuple[str, ...]) -> list[Row]:
    """The stated and the propagated interval of each figure; warned where most of the surveys were."""
    rows = []
    for figure in figures:
        simulated = [getattr(case.simulation, figure) for case in found]
        pairs = [(one, getattr(case, f"{figure}_c")) for one, case in zip(simulated, found, strict=True)]
        held = {
            "stated": [one.low_c <= truth <= one.high_c for one, truth in pairs],
            "propagated": [one.propagated_low_c <= truth <= one.propagated_high_c for one, truth in pairs],
        }
        warned = sum(bool(one.selection_warning) for one in simulated) > len(found) / 2
        rows += [
            Row(
                study=name,
                interval=f"true {figure}, {interval} 95 %",
                cases=len(inside),
                covered=sum(inside),
                warned=warned,
            )
            for interval, inside in held.items()
        ]
    return rows


def probability_rows(name: str, found: list[Case]) -> list[Row]:
    """Share of surveys that truly conformed, by the probability stated; warned where most of them were."""
    grouped: dict[int, list[tuple[float, bool, bool]]] = defaultdict(list)
    for case in found:
        stated = case.simulation.all_conform
        assert not isinstance(stated, Absent)
        at = min(int(np.searchsorted(BINS, stated, side="right")) - 1, len(BINS) - 2)
        grouped[at].append((stated, case.conformed, bool(case.simulation.probability_warning)))
    return [
        Row(
            study=name,
            interval=f"all conformed, stated {BINS[at]:g} to {BINS[at + 1]:g}",
            cases=len(group),
            covered=sum(conformed for _, conformed, _ in group),
            stated=float(np.mean([stated for stated, _, _ in group])),
            warned=sum(warned for _, _, warned in group) > len(group) / 2,
        )
        for at, group in sorted(grouped.items())
    ]


SORTS = [(kind, FIELDS[0]) for kind in KINDS] + [("white", field) for field in FIELDS[1:]]


def study(kind: str, locations: int, field: str, cases: int, seed: int) -> list[Row]:
    """Rows of one sort of survey."""
    name = f"{locations} locations, {kind}, {field}"
    found = list(invented(kind, locations, field, cases, seed))
    if kind != "white":
        return interval_rows(name, found, FIGURES[:2])
    return interval_rows(name, found, FIGURES) + probability_rows(name, found)


def studies(cases: int = 2000, seed: int = 20260302) -> list[Row]:
    """All rows; at 2,000 cases each about four minutes."""
    sorts = [(kind, locations, field) for locations in (9, 40) for kind, field in SORTS]
    return [row for at, sort in enumerate(sorts) for row in study(*sort, cases, seed + at)]


def main() -> None:
    """Print the table."""
    for row in studies(int(sys.argv[1]) if len(sys.argv) > 1 else 2000):
        print(
            f"{row.study:<48} {row.interval:<52} {row.covered:>5}/{row.cases:<5} {row.coverage:6.3f} "
            f"stated {row.stated:.3f} ± {2 * row.sampling_error:.3f} {'warned' if row.warned else ''}"
        )


if __name__ == "__main__":
    main()
