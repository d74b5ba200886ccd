"""Challenges: hand-computed trip points and delays, and how often the stated intervals hold the truth.

The numbers of the first part are arithmetic that anyone can redo (D): readings along a straight line, a
change between two of them, a rectangle over √3, and root sums of squares, worked out beside each. The second
part counts invented challenges (tests/studies/challenge.py); a row fails where a share of 95 % would give so
few with a chance below 1 in 100 000. Where the recording interval is most of the uncertainty, k = 2 on a
rectangle holds all of it, so that coarse recordings stand above 95 %; scatter with a memory stands a little
below (the study counts it, no row here does), and the delay's note tells it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from qualify.figures.absent import Absent
from qualify.figures.challenge import Trip, trip
from qualify.figures.challenge_delay import Delay, delay, shown_within
from qualify.figures.digital import Switch
from tests.studies.challenge import Kind, rows_of

if TYPE_CHECKING:
    from reference_checks.conftest import Published

CASES = 300


def recorded(step_s: float, rate: float, trip_s: float, n: int = 40) -> tuple[np.ndarray, np.ndarray, Switch]:
    """A ramp from 200 upwards, and a channel that is on from `trip_s` on."""
    seconds = step_s * np.arange(n)
    state = Switch(on=seconds >= trip_s, known=np.ones(n, dtype=bool), rule="on")
    return seconds, 200.0 + rate * seconds, state


def test_trip_point_by_hand(published: Published):
    # Read every 10 s, 0.5 a second: on at the reading at 110 s (255), off at 100 s (250).
    seconds, quantity, state = recorded(10.0, 0.5, 103.0)
    found = trip(
        seconds, quantity, state, rising=True, start_s=0, end_s=390, reading_u=1.0, clock_half_width_s=3.0
    )
    assert isinstance(found, Trip)
    published.agree(found.value, "252.5", "trip value, (250 + 255)/2", exact=True)
    published.agree(found.u_recording, "1.443376", "2.5/√3")
    published.agree(found.u_clock, "0.866025", "0.5 a second × 3 s/√3")
    # √(2.083333 + 0.75 + 1) = 1.957890
    published.agree(found.u, "1.957890", "combined")
    published.agree(found.expanded, "3.915780", "k = 2")


def test_delay_by_hand(published: Published):
    # The ramp reaches 252 at 104 s; on at the reading at 130 s, off at 120 s.
    seconds, quantity, state = recorded(10.0, 0.5, 123.0)
    found = delay(seconds, quantity, 252.0, state, rising=True, start_s=0, end_s=390, reading_u=1.0)
    assert isinstance(found, Delay)
    published.agree(found.crossing.at_s, "104.0", "crossing", exact=True)
    published.agree(found.delay_s, "21.0", "125 − 104", exact=True)
    published.agree(found.u_answer_s, "2.886751", "5/√3")
    published.agree(found.u_crossing_s, "2.0", "1/(0.5 a second)", exact=True)
    published.agree(found.u_s, "3.511885", "√(8.333333 + 4)")
    published.agree(found.least_s, "12.0", "120 − 104 − 2·2", exact=True)
    published.agree(found.most_s, "30.0", "130 − 104 + 2·2", exact=True)
    assert [shown_within(found, s) for s in (11.9, 12.0, 29.9, 30.0)] == [
        "not met",
        "could not be shown",
        "could not be shown",
        "met",
    ]


def test_a_jump_leaves_the_whole_interval_open(published: Published):
    # A simulated signal jumps from 20 to 300 between 40 s and 50 s; the channel is on at 60 s, off at 50 s.
    seconds = 10.0 * np.arange(20)
    state = Switch(on=seconds >= 60, known=np.ones(20, dtype=bool), rule="on")
    quantity = np.where(seconds >= 50, 300.0, 20.0)
    found = delay(seconds, quantity, 250.0, state, rising=True, start_s=0, end_s=190)
    assert isinstance(found, Delay)
    published.agree(found.delay_s, "10.0", "55 − 45", exact=True)
    published.agree(found.least_s, "0.0", "50 − 50", exact=True)
    published.agree(found.most_s, "20.0", "60 − 40", exact=True)
    published.agree(found.u_s, "4.082483", "√(25/3 + 25/3)")


STUDIED = [
    Kind(interval_s=1.0, scatter=0.3),
    Kind(interval_s=60.0),
    Kind(course="first-order approach", interval_s=0.5, scatter=0.3),
    Kind(course="first-order approach", interval_s=5.0),
    Kind(course="first-order approach", interval_s=10.0, scatter=0.3),
    Kind(course="first-order approach", interval_s=30.0, scatter=0.3),
    Kind(course="first-order approach", interval_s=2.0, scatter=1.0, reading_u=0.0),
    Kind(interval_s=10.0, scatter=0.3, slow=True),
    Kind(interval_s=5.0, scatter=0.1, clock_s=5.0),
    Kind(course="first-order approach", interval_s=10.0, lost=0.3, reading_u=0.0),
    Kind(course="first-order approach", interval_s=10.0, scatter=0.1, turns=5.0, reading_u=0.05),
]


@pytest.mark.parametrize("kind", STUDIED, ids=lambda kind: kind.title)
def test_stated_intervals_hold_the_truth(kind: Kind):
    from scipy.stats import binom

    for row in rows_of(kind, CASES, np.random.default_rng(11)):
        assert row.cases > CASES // 2, row
        assert row.covered >= binom.ppf(1e-5, row.cases, 0.95), row


def test_the_bound_catches_an_interval_that_is_too_narrow():
    # The same trips with the recording interval left out of the uncertainty hold the truth far too rarely.
    from scipy.stats import binom

    from tests.studies.challenge import invent

    random = np.random.default_rng(11)
    held = 0
    for _ in range(CASES):
        case = invent(Kind(interval_s=30.0), random)
        end_s = float(case.seconds[-1])
        found = trip(
            case.seconds, case.quantity, case.state, rising=True, start_s=0, end_s=end_s, reading_u=0.3
        )
        assert not isinstance(found, Absent)
        held += abs(found.value - case.trip_value) <= 2 * found.u_reading
    assert held < binom.ppf(1e-5, CASES, 0.95)
