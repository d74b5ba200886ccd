"""How often the interval of an estimated extreme holds the extreme of an invented smooth field.

Each field is a random plane with one to four hot or cold bumps, all of one length, in a box of
1000 × 800 × 1200 mm; the truth is its extreme on a grid of 25 places a side. Means have independent normal
errors of a stated standard uncertainty. Lengths are drawn anew for each field: broad 0.4 to 0.7, middling
0.25 to 0.4, narrow 0.12 to 0.25 of the sides (standard deviation of a bump shaped as a normal curve).
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from functools import cache

import numpy as np

from qualify.figures.absent import Absent
from qualify.inference.field import FieldExtreme, estimate_field
from qualify.inference.field_places import FieldZone
from qualify.plan.model import WorkZone
from qualify.readings.model import FloatArray
from qualify.sensors.placement import place_sensors
from tests.studies.study import Row

SIZE_MM = (1000.0, 800.0, 1200.0)
KINDS = {"broad": (0.4, 0.7), "middling": (0.25, 0.4), "narrow": (0.12, 0.25)}
DRAWS = 1000


@cache
def locations(count: int) -> FloatArray:
    """Places of `count` sensors by our own rule [mm]."""
    width, depth, height = SIZE_MM
    zone = WorkZone(shape="box", width_mm=width, depth_mm=depth, height_mm=height)
    return np.array([place.position_mm for place in place_sensors(zone, count)])


@cache
def fine_grid() -> FloatArray:
    """Where the truth is looked for (k, 3), in parts of the sides."""
    axis = np.linspace(0.0, 1.0, 25)
    return np.stack(np.meshgrid(axis, axis, axis, indexing="ij"), axis=-1).reshape(-1, 3)


@dataclass(frozen=True)
class InventedField:
    """A plane with bumps; coordinates in parts of the sides, temperatures [°C]."""

    slopes: FloatArray
    centres: FloatArray
    heights: FloatArray
    length: float

    def at(self, parts: FloatArray) -> FloatArray:
        """Temperature (k,) at places (k, 3)."""
        field = 180.0 + parts @ self.slopes
        for centre, height in zip(self.centres, self.heights, strict=True):
            squared = sum((parts[:, axis] - centre[axis]) ** 2 for axis in range(3))
            field = field + height * np.exp(-0.5 * squared / self.length**2)
        return field


def invent(random: np.random.Generator, kind: str) -> InventedField:
    """Make a field of a kind."""
    bumps = int(random.integers(1, 5))
    return InventedField(
        slopes=random.normal(0.0, 1.0, 3),
        centres=random.uniform(0.0, 1.0, (bumps, 3)),
        heights=random.normal(0.0, 2.0, bumps),
        length=float(random.uniform(*KINDS[kind])),
    )


def holds(extreme: FieldExtreme, truth: float) -> bool:
    """Whether the interval holds the truth."""
    return extreme.low_c <= truth <= extreme.high_c


def one_size(count: int, cases: int, seed: int, standard: float = 0.15) -> list[Row]:
    """Rows for a number of locations: each kind of field, both extremes together, and those with a caution.

    Narrow bumps count as warned of: what is printed with every estimate says that they don't show.
    """
    random = np.random.default_rng([seed, count])
    positions = locations(count)
    size = np.array(SIZE_MM)
    tally: Counter[tuple[str, str]] = Counter()
    for case in range(cases):
        kind = tuple(KINDS)[case % len(KINDS)]
        field = invent(random, kind)
        everywhere = field.at(fine_grid())
        means = field.at(positions / size) + random.normal(0.0, standard, count)
        found = estimate_field(
            positions,
            means,
            np.full(count, standard),
            FieldZone(width_mm=SIZE_MM[0], depth_mm=SIZE_MM[1], height_mm=SIZE_MM[2]),
            draws=DRAWS,
            seed=case,
        )
        if isinstance(found, Absent):
            tally[kind, "absent"] += 2
            continue
        tally[kind, found.model] += 1
        tally[kind, "given"] += 2
        held = holds(found.highest, float(everywhere.max())) + holds(found.lowest, float(everywhere.min()))
        tally[kind, "held"] += held
        if found.caution:
            tally["caution", "given"] += 2
            tally["caution", "held"] += held
    rows = [
        Row(
            study=f"extremes of a zone with {kind} bumps, {count} locations, u {standard} °C",
            interval="highest and lowest: low_c .. high_c, 95 %",
            cases=tally[kind, "given"],
            covered=tally[kind, "held"],
            absent=tally[kind, "absent"],
            warned=kind == "narrow",
        )
        for kind in KINDS
    ]
    cautioned = Row(
        study=f"those of all kinds whose estimate carries a caution, {count} locations, u {standard} °C",
        interval="highest and lowest: low_c .. high_c, 95 %",
        cases=tally["caution", "given"],
        covered=tally["caution", "held"],
        warned=True,
    )
    return [*rows, cautioned]


def structureless(count: int, cases: int, seed: int) -> Row:
    """How often locations without any field between them are rightly refused (means of errors alone)."""
    random = np.random.default_rng([seed, count, 1])
    positions = locations(count)
    zone = FieldZone(width_mm=SIZE_MM[0], depth_mm=SIZE_MM[1], height_mm=SIZE_MM[2])
    refused = sum(
        isinstance(
            estimate_field(positions, random.normal(180.0, 0.5, count), np.full(count, 0.5), zone, draws=100),
            Absent,
        )
        for _ in range(cases)
    )
    return Row(
        study=f"means without a field, {count} locations",
        interval="refused as no better than the mean",
        cases=cases,
        covered=refused,
    )


def studies(cases: int = 2000, seed: int = 4) -> list[Row]:
    """Rows of the study: `cases` fields for each number of locations, a third of each kind."""
    rows = [row for count in (15, 27, 40) for row in one_size(count, cases, seed)]
    return rows + [structureless(count, max(cases // 4, 10), seed) for count in (15, 27, 40)]


if __name__ == "__main__":
    for row in studies():
        print(
            f"{row.study:<76} {row.coverage:.3f} ± {row.sampling_error:.3f}  "
            f"given {row.cases}, absent {row.absent}"
        )
