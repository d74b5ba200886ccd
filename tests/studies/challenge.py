"""Coverage of what challenges claim: invented ones of known trip point and delay, from a seeded generator.

A quantity is driven over a limit along a ramp or a first-order approach; the protection acts a delay after
the true crossing; then the quantity turns. It is read every so often, at a random phase, with a calibration
error common to all readings and scatter of its own. All numbers are invented. `studies` gives the table.

Where the recording interval is most of the uncertainty, k = 2 on a rectangle holds all of it (2/√3 > 1): such
rows stand above 95 %. Scatter that remembers is the one kind in which the stated share isn't quite held; the
figures say so in their note.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, log

import numpy as np

from qualify.figures.absent import Absent
from qualify.figures.challenge import trip
from qualify.figures.challenge_delay import Delay, delay, shown_within
from qualify.figures.digital import Switch
from qualify.readings.model import BoolArray, FloatArray
from tests.studies.study import Row

LIMIT = 250.0
INTERVALS_S = (0.5, 1.0, 2.0, 5.0, 10.0, 30.0, 60.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """A kind of challenge: how the quantity comes, how it is read."""

    course: str = "ramp"
    interval_s: float = 1.0
    scatter: float = 0.0
    memory: float = 0.0
    reading_u: float = 0.3
    clock_s: float = 0.0
    lost: float = 0.0
    turns: float = 0.5
    slow: bool = False

    @property
    def title(self) -> str:
        words = [f"{self.course}, read every {self.interval_s:g} s, scatter {self.scatter:g}"]
        if self.memory:
            words.append(f"that remembers (lag-one correlation {self.memory:g})")
        if self.slow:
            words.append("slow")
        if self.clock_s:
            words.append(f"clocks within {self.clock_s:g} s")
        if self.lost:
            words.append(f"{self.lost:.0%} of the readings lost")
        if self.turns > 1:
            words.append("turning sharply at the trip")
        return ", ".join(words)


@dataclass(frozen=True, slots=True, kw_only=True)
class Challenge:
    """One invented challenge: what was recorded, and the truth."""

    seconds: FloatArray
    quantity: FloatArray
    state: Switch
    trip_value: float
    delay_s: float


def invent(kind: Kind, random: np.random.Generator) -> Challenge:
    """Invent one challenge of a kind."""
    interval = kind.interval_s
    rate = float(
        np.exp(random.uniform(log(0.005), log(0.02)) if kind.slow else random.uniform(log(0.03), 0.0))
    )
    rate *= max(1.0, kind.scatter / interval) if not kind.slow else 1.0
    delay_s = float(random.uniform(0.0, 40.0))
    lead_s = max(25.0 * interval, 20.0 * kind.scatter / rate)
    if kind.course == "ramp":

        def course(since_s: FloatArray) -> FloatArray:
            return LIMIT + rate * since_s

    else:
        # `rate` at the limit, towards a level that lies beyond it.
        constant_s = float(random.uniform(1.5, 6.0)) * max(lead_s / 6.0, 60.0)

        def course(since_s: FloatArray) -> FloatArray:
            return LIMIT + rate * constant_s * (1.0 - np.exp(-since_s / constant_s))

    seconds = np.arange(-lead_s, delay_s + 10.0 * interval + 30.0, interval) + random.uniform(0.0, interval)
    turned = course(np.array([delay_s]))[0] - kind.turns * rate * (seconds - delay_s)
    true = np.where(seconds <= delay_s, course(seconds), turned)
    noise = random.normal(0.0, kind.scatter, seconds.size)
    if kind.memory:
        for at in range(1, noise.size):
            noise[at] = kind.memory * noise[at - 1] + (1 - kind.memory**2) ** 0.5 * noise[at]
    quantity = true + noise + random.normal(0.0, kind.reading_u)
    clock = random.uniform(-kind.clock_s, kind.clock_s)
    on: BoolArray = seconds + clock >= delay_s
    known: BoolArray = random.random(seconds.size) >= kind.lost
    quantity[random.random(seconds.size) < kind.lost] = np.nan
    return Challenge(
        seconds=seconds - seconds[0],
        quantity=quantity,
        state=Switch(on=on, known=known, rule="on"),
        trip_value=float(course(np.array([delay_s]))[0]),
        delay_s=delay_s,
    )


def rows_of(kind: Kind, cases: int, random: np.random.Generator) -> list[Row]:
    """Four rows of one kind of challenge."""
    covered, given = np.zeros(4, dtype=int), np.zeros(4, dtype=int)
    remembered = 0
    for _ in range(cases):
        case = invent(kind, random)
        told = {
            "rising": True,
            "start_s": 0.0,
            "end_s": float(case.seconds[-1]),
            "reading_u": kind.reading_u,
            "clock_half_width_s": kind.clock_s,
        }
        point = trip(case.seconds, case.quantity, case.state, **told)
        if not isinstance(point, Absent):
            given[0] += 1
            covered[0] += abs(point.value - case.trip_value) <= point.expanded
        found = delay(case.seconds, case.quantity, LIMIT, case.state, **told)
        if isinstance(found, Delay):
            given[1:3] += 1
            remembered += found.crossing.remembers
            covered[1] += abs(found.delay_s - case.delay_s) <= found.expanded_s
            covered[2] += found.least_s <= case.delay_s <= found.most_s
        # Times that are asked for lie about the true delay, where deciding is hard.
        asked_s = case.delay_s * exp(random.normal(0.0, 0.3))
        decided = shown_within(found, asked_s, early_counts=True)
        given[3] += 1
        covered[3] += decided != ("not met" if case.delay_s <= asked_s else "met")
    intervals = (
        "trip value ± U",
        "delay_s ± U",
        "delay least_s .. most_s",
        "shown_within is not wrong",
    )
    return [
        Row(
            study=kind.title,
            interval=interval,
            cases=int(given[at]),
            covered=int(covered[at]),
            absent=cases - int(given[at]),
            warned=at in (1, 2) and 2 * remembered > cases,
        )
        for at, interval in enumerate(intervals)
    ]


def kinds() -> list[Kind]:
    """Kinds of challenges that are studied."""
    found = [
        Kind(course=course, interval_s=interval, scatter=scatter)
        for course in ("ramp", "first-order approach")
        for interval in INTERVALS_S
        for scatter in (0.0, 0.3)
    ]
    return [
        *found,
        Kind(interval_s=1.0, scatter=0.3, slow=True),
        Kind(interval_s=10.0, scatter=0.3, slow=True),
        Kind(course="first-order approach", interval_s=2.0, scatter=1.0, reading_u=0.0),
        Kind(interval_s=5.0, scatter=0.1, clock_s=5.0),
        Kind(interval_s=5.0, scatter=0.1, lost=0.3),
        Kind(course="first-order approach", interval_s=10.0, scatter=0.0, lost=0.3, reading_u=0.0),
        Kind(interval_s=30.0, scatter=0.1, turns=5.0),
        Kind(course="first-order approach", interval_s=10.0, scatter=0.1, turns=5.0, reading_u=0.05),
        Kind(interval_s=1.0, scatter=0.3, memory=0.6, slow=True, reading_u=0.1),
    ]


def studies(cases: int = 2000, seed: int = 20260) -> list[Row]:
    """Rows of the coverage table.

    Parameters
    ----------
    cases
        Invented challenges a kind [1].
    seed
        Of the generator.
    """
    random = np.random.default_rng(seed)
    return [row for kind in kinds() for row in rows_of(kind, cases, random)]
