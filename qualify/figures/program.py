"""A course (recorded set point or chamber mean) held against the program it should have followed.

A program is a list of steps: go to a set point at a rate, stay there for a time. Each is looked for in the
course in its order. The course has reached a set point when it comes within the step's band of it, and has
left it at its last reading within the band before the next step's set point is reached. A step that is not
found is told, and the next is looked for from where the last one found ended.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from qualify.figures.absent import Absent, Maybe
from qualify.figures.instants import time_weights
from qualify.figures.response import mean_rate_c_per_min
from qualify.readings.model import FloatArray, IntArray

SLACK = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One step of a program.

    Attributes
    ----------
    setpoint_c
        Where it goes [°C].
    band_c
        How near counts as there, either way [°C].
    rate_c_per_min
        Programmed rate, without sign [°C/min]; None for as fast as it goes.
    rate_tolerance_c_per_min
        Allowed difference of the rate, either way [°C/min]; None where the rate is not judged.
    dwell_min
        Programmed time there [min]; None for no dwell.
    shorter_by_min, longer_by_min
        How much shorter and longer a dwell may be [min]; None where that side is not judged.
    """

    setpoint_c: float
    band_c: float
    rate_c_per_min: float | None = None
    rate_tolerance_c_per_min: float | None = None
    dwell_min: float | None = None
    shorter_by_min: float | None = 0.0
    longer_by_min: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class StepFound:
    """What the course did at one step.

    Attributes
    ----------
    step
        What was programmed.
    left_s
        Last reading at the former set point, the course's first reading for the first step [s].
    reached_s, ended_s
        First reading within the band, and the last of the dwell [s].
    rate_c_per_min
        Rate of the ramp between 10 % and 90 % of its way, without sign [°C/min].
    rate_off_c_per_min
        Measured less programmed rate [°C/min].
    largest_off_ramp_c
        Farthest that the course lay from the programmed ramp, drawn from where it began [°C], with its sign.
    dwell_min
        Time from `reached_s` to `ended_s` [min].
    dwell_resolution_min
        The dwell was longer than `dwell_min` by less than this: the intervals before and after it [min].
    deviation_max_c, deviation_min_c, mean_deviation_c
        Largest, smallest and time-weighted mean of course − set point during the dwell [°C].
    outside_readings
        Readings of the dwell beyond the band [1].
    readings
        Readings of the dwell [1].
    unfinished
        Whether the record ends during this dwell.
    not_kept : tuple of str
        What was not kept, in words; empty where all that is judged was kept.
    """

    step: Step
    left_s: float
    reached_s: float
    ended_s: float
    rate_c_per_min: Maybe
    rate_off_c_per_min: Maybe
    largest_off_ramp_c: Maybe
    dwell_min: float
    dwell_resolution_min: float
    deviation_max_c: float
    deviation_min_c: float
    mean_deviation_c: float
    outside_readings: int
    readings: int
    unfinished: bool
    not_kept: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ProgramFollowed:
    """A whole program against a course.

    Attributes
    ----------
    steps : tuple of StepFound or Absent
        One for each step; Absent where the step is missing.
    missing : tuple of int
        Numbers of the missing steps, counted from 1.
    absent_readings
        Instants without a reading [1].
    interval_s
        Median interval between readings [s].
    """

    steps: tuple[StepFound | Absent, ...]
    missing: tuple[int, ...]
    absent_readings: int
    interval_s: float


def follow_program(
    seconds: FloatArray, course_c: FloatArray, steps: Sequence[Step]
) -> ProgramFollowed | Absent:
    """Find each step of a program in a course, and how far the course kept to it.

    The definitions are the project's own.

    Parameters
    ----------
    seconds, course_c : (n,) float64
        Instants [s], rising, and the course [°C]: recorded set point or chamber mean, NaN for none.
    steps
        The program. Two steps in a row to the same set point are one dwell and must be given as one.

    Returns
    -------
    ProgramFollowed or Absent
    """
    there = np.isfinite(course_c)
    t, course = seconds[there], course_c[there]
    if not steps:
        return Absent("the program has no step")
    if t.size < 3:
        return Absent(f"{t.size} readings; a program can't be followed in fewer than three")
    for number, (one, other) in enumerate(pairwise(steps), start=1):
        if abs(one.setpoint_c - other.setpoint_c) <= one.band_c + other.band_c:
            return Absent(
                f"steps {number} and {number + 1} lie nearer to each other than their bands: the course "
                "can't tell where one ends"
            )
    if any(not step.band_c > 0 for step in steps):
        return Absent("a step's band must be above 0 °C")
    reached, searched_from, missing = _arrivals(course, steps)
    found: list[StepFound | Absent] = []
    left = 0
    for number, step in enumerate(steps):
        if reached[number] < 0:
            rest = course[searched_from[number] :] - step.setpoint_c
            nearest = float(rest[np.argmin(np.abs(rest))])
            found.append(
                Absent(
                    f"the course never came within {step.band_c:.6g} °C of {step.setpoint_c:.6g} °C; "
                    f"the nearest was {nearest + step.setpoint_c:.6g} °C"
                )
            )
            continue
        after = [index for index in reached[number + 1 :] if index >= 0]
        end = int(after[0]) if after else t.size
        inside = np.abs(course[:end] - step.setpoint_c) <= step.band_c + SLACK
        last = int(np.flatnonzero(inside)[-1])
        # Only the step that follows at once begins where this one ended.
        found.append(_step_found(t, course, step, left, int(reached[number]), last))
        left = last
    return ProgramFollowed(
        steps=tuple(found),
        missing=missing,
        absent_readings=int(np.count_nonzero(~there)),
        interval_s=float(np.median(np.diff(t))),
    )


def _arrivals(course: FloatArray, steps: Sequence[Step]) -> tuple[IntArray, IntArray, tuple[int, ...]]:
    """First reading within the band of each step (−1: missing), and where the last one found before it began.

    A course that jumps through a band between two readings has passed the set point without a dwell; such a
    step is missing too.
    """
    reached = np.full(len(steps), -1, dtype=np.int64)
    begun = np.zeros(len(steps), dtype=np.int64)
    at = last_found = 0
    for number, step in enumerate(steps):
        begun[number] = last_found
        inside = np.flatnonzero(np.abs(course[at:] - step.setpoint_c) <= step.band_c + SLACK)
        if inside.size:
            last_found = at + int(inside[0])
            reached[number] = last_found
            # Where the next step is missing, the one after it may go back to this set point.
            gone = np.flatnonzero(np.abs(course[last_found:] - step.setpoint_c) > step.band_c + SLACK)
            at = last_found + int(gone[0]) if gone.size else course.size
    return reached, begun, tuple(int(index) + 1 for index in np.flatnonzero(reached < 0))


def _step_found(
    t: FloatArray, course: FloatArray, step: Step, left: int, reached: int, last: int
) -> StepFound:
    """Figures of one step, from the indices at which the former was left, this one reached and left."""
    ramp = slice(left, reached + 1)
    start_c = float(course[left])
    way = step.setpoint_c - start_c
    rate: Maybe = Absent("the course began at this set point: there was no ramp")
    off_ramp: Maybe = Absent("no rate was programmed")
    ramped = reached > left and abs(way) > step.band_c
    if ramped:
        rate = mean_rate_c_per_min(t[ramp], course[ramp], start_c, step.setpoint_c)
    rate_off: Maybe = rate if isinstance(rate, Absent) else Absent("no rate was programmed")
    if step.rate_c_per_min is not None:
        rate_off = rate if isinstance(rate, Absent) else rate - step.rate_c_per_min
        off_ramp = Absent("there was no ramp")
        if ramped:
            gone = np.minimum((t[ramp] - t[left]) / 60.0 * step.rate_c_per_min, abs(way))
            off = course[ramp] - (start_c + np.sign(way) * gone)
            off_ramp = float(off[np.argmax(np.abs(off))])
    dwell = slice(reached, last + 1)
    deviation = course[dwell] - step.setpoint_c
    minutes = float(t[last] - t[reached]) / 60.0
    before = float(t[reached] - t[reached - 1]) if reached else 0.0
    after = float(t[last + 1] - t[last]) if last + 1 < t.size else 0.0
    unfinished = last + 1 == t.size
    outside = int(np.count_nonzero(np.abs(deviation) > step.band_c + SLACK))
    return StepFound(
        step=step,
        left_s=float(t[left]),
        reached_s=float(t[reached]),
        ended_s=float(t[last]),
        rate_c_per_min=rate,
        rate_off_c_per_min=rate_off,
        largest_off_ramp_c=off_ramp,
        dwell_min=minutes,
        dwell_resolution_min=(before + after) / 60.0,
        deviation_max_c=float(deviation.max()),
        deviation_min_c=float(deviation.min()),
        mean_deviation_c=float(np.dot(time_weights(t[dwell]), deviation)),
        outside_readings=outside,
        readings=int(deviation.size),
        unfinished=unfinished,
        not_kept=_not_kept(step, rate_off, minutes, unfinished, outside),
    )


def _not_kept(step: Step, rate_off: Maybe, minutes: float, unfinished: bool, outside: int) -> tuple[str, ...]:
    """What of a step's tolerances was not kept, in words."""
    said = []
    if step.rate_tolerance_c_per_min is not None and step.rate_c_per_min is not None:
        if isinstance(rate_off, Absent):
            said.append(f"the ramp's rate is not known: {rate_off.reason}")
        elif abs(rate_off) > step.rate_tolerance_c_per_min + SLACK:
            way = "faster" if rate_off > 0 else "slower"
            said.append(f"the ramp was {abs(rate_off):.4g} °C/min {way} than programmed")
    if step.dwell_min is not None:
        over = minutes - step.dwell_min
        if step.shorter_by_min is not None and -over > step.shorter_by_min + SLACK:
            ends = ", and the record ends during it" if unfinished else ""
            said.append(f"the dwell was {-over:.4g} min shorter than programmed{ends}")
        if step.longer_by_min is not None and over > step.longer_by_min + SLACK:
            said.append(f"the dwell was {over:.4g} min longer than programmed")
        if outside:
            said.append(f"{outside} readings of the dwell lie beyond the band")
    return tuple(said)
