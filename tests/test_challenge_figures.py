"""Challenges of protections: states, changes, trip points, delays, restoration. All data are invented."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from qualify.figures.absent import Absent
from qualify.figures.approach import NotDriven
from qualify.figures.challenge import NeverTripped, Trip, trip
from qualify.figures.challenge_delay import AnsweredBefore, Delay, NeverAnswered, delay, shown_within
from qualify.figures.challenge_restoration import Restoration, restoration
from qualify.figures.digital import Switch, as_switch, by_threshold
from qualify.figures.digital_changes import (
    Answer,
    Changes,
    MustNot,
    NoAnswer,
    answer_of,
    changes,
    must_not,
)
from qualify.readings.model import FloatArray

NAN = float("nan")


def switch(marks: str) -> Switch:
    """States from marks: 1 on, 0 off, . no reading."""
    found = list(marks.replace(" ", ""))
    return Switch(
        on=np.array([mark == "1" for mark in found]), known=np.array([mark != "." for mark in found]), rule=""
    )


def times(n: int, step_s: float = 10.0) -> FloatArray:
    return step_s * np.arange(n)


def test_words_of_any_language_become_states():
    found = as_switch(np.array([0, 1, NAN, 2, 1]), ("ÉTEINT", "Allumé ", "allumé"), ("allumé",), ("éteint",))
    assert isinstance(found, Switch)
    assert found.on[found.known].tolist() == [False, True, True, True]
    assert found.known.tolist() == [True, True, False, True, True]


def test_numbers_become_states_however_they_are_written():
    found = as_switch(np.array([0.0, 1.0, NAN]), (), ("1",), ("0,0",))
    assert isinstance(found, Switch)
    assert found.on.tolist() == [False, True, False]


@pytest.mark.parametrize(
    ("codes", "words", "on", "off", "reason"),
    [
        ([0, 1, 2], ("on", "off", "fault"), ("on",), ("off",), "“fault”"),
        ([0, 1], ("on", "off"), ("on",), ("ON", "off"), "both"),
        ([NAN, NAN], ("on", "off"), ("on",), ("off",), "no reading"),
        ([0, 3], ("on", "off"), ("on",), ("off",), "code 3"),
        ([0, 2], (), ("1",), ("0",), "“2”"),
    ],
)
def test_states_that_can_not_be_told_say_why(codes, words, on, off, reason):
    found = as_switch(np.array(codes, dtype=float), words, on, off)
    assert isinstance(found, Absent)
    assert reason in found.reason


def test_threshold_has_two_sides_that_share_no_reading():
    current = np.array([5.0, 1.0, 0.9, NAN])
    above, below = (by_threshold(current, 1.0, on_above=side) for side in (True, False))
    assert isinstance(above, Switch)
    assert isinstance(below, Switch)
    assert above.on[above.known].tolist() == [True, True, False]
    assert below.on[below.known].tolist() == [False, False, True]


def test_first_change_counts_and_bounces_are_told():
    found = changes(times(9, 1.0), switch("0 0 1 0 1 1 1 1 0"), settle_s=3.0)
    assert isinstance(found, Changes)
    first, second = found.changes
    assert (first.after_s, first.by_s, first.settled_s, first.bounces) == (1.0, 2.0, 4.0, 2)
    assert (second.to, second.by_s, found.bounces, found.momentary) == (False, 8.0, 2, 0)
    assert isinstance(bare := changes(times(9, 1.0), switch("0 0 1 0 1 1 1 1 0")), Changes)
    assert len(bare.changes) == 4


def test_a_change_that_is_back_within_the_settling_time_is_momentary():
    found = changes(times(8, 1.0), switch("0 0 1 0 0 0 1 1"), settle_s=1.5)
    assert isinstance(found, Changes)
    assert [change.by_s for change in found.changes] == [6.0]
    assert found.momentary == 1
    still = answer_of(times(6, 1.0), switch("0 0 1 0 0 0"), to=True, settle_s=1.5)
    assert isinstance(still, NoAnswer)
    assert "once" in still.reason
    # In the answering state from the start: a blip away from it answers nothing.
    already = answer_of(times(6, 1.0), switch("1 1 0 1 1 1"), to=True, settle_s=1.5)
    assert isinstance(already, Absent)
    assert not isinstance(already, NoAnswer)


def test_no_change_and_too_few_readings_say_so():
    for marks, reason in (("1 1 1", "never changes"), ("1 . .", "1 reading;"), (". . .", "no reading")):
        found = changes(times(3), switch(marks))
        assert isinstance(found, Absent)
        assert reason in found.reason


def test_absent_readings_widen_the_interval_of_a_change():
    found = changes(times(6), switch("0 0 . . 1 1"))
    assert isinstance(found, Changes)
    assert (found.changes[0].after_s, found.changes[0].by_s) == (10.0, 40.0)


def test_a_heater_that_cycles_has_not_answered_until_it_stays_off():
    heater = switch("1 1 0 1 1 0 1 1 0 0 0 0 0 0")
    found = answer_of(times(14), heater, to=False, lasts_s=40.0)
    assert isinstance(found, Answer)
    assert (found.change.by_s, found.earlier, found.later) == (80.0, 2, 0)
    cut_short = answer_of(times(10), switch("1 1 0 1 1 0 1 1 0 0"), to=False, lasts_s=40.0)
    assert isinstance(cut_short, Absent)
    assert not isinstance(cut_short, NoAnswer)
    assert isinstance(answer_of(times(9), switch("1 1 0 1 1 0 1 1 1"), to=False, lasts_s=40.0), NoAnswer)


def ramp(n: int = 40) -> tuple[FloatArray, FloatArray]:
    """Read every 10 s: 200, 205, 210 …"""
    return times(n), 200.0 + 0.5 * times(n)


def answered(n: int, at: int) -> Switch:
    return switch("0" * at + "1" * (n - at))


def test_trip_lies_between_the_readings_around_it():
    seconds, quantity = ramp()
    found = trip(seconds, quantity, answered(40, 11), rising=True, start_s=0, end_s=390)
    assert isinstance(found, Trip)
    assert (found.value, found.least, found.most) == (252.5, 250.0, 255.0)
    assert (found.monotone, found.farthest_before, found.slope_per_s) == (True, 250.0, 0.5)
    assert found.note == ""


def test_trip_with_absent_readings_is_wider_and_says_so():
    seconds, quantity = ramp()
    quantity[11] = NAN
    wide = trip(seconds, quantity, answered(40, 11), rising=True, start_s=0, end_s=390)
    assert isinstance(wide, Trip)
    assert (wide.least, wide.most) == (250.0, 260.0)
    assert "absent" in wide.note
    quantity[11:] = NAN
    ended = trip(seconds, quantity, answered(40, 11), rising=True, start_s=0, end_s=390)
    assert isinstance(ended, Absent)
    assert "no reading after" in ended.reason


def test_trip_that_turns_the_quantity_between_two_readings_is_not_missed():
    # 0.5 a second; trips at 254 (108 s), and falls so fast that 110 s reads 248.
    seconds, quantity = ramp()
    quantity[11:] = 248.0 - 3.0 * np.arange(29)
    found = trip(seconds, quantity, answered(40, 11), rising=True, start_s=0, end_s=390)
    assert isinstance(found, Trip)
    assert found.value - found.expanded <= 254.0 <= found.value + found.expanded
    assert found.most == 255.0


def test_trip_after_a_quantity_that_turned_back_says_so():
    seconds, quantity = ramp()
    quantity[:5] = 251.0
    found = trip(seconds, quantity, answered(40, 11), rising=True, start_s=0, end_s=390)
    assert isinstance(found, Trip)
    assert not found.monotone
    assert found.farthest_before == 251.0
    assert "turned back by 26" in found.note


def test_few_readings_leave_scatter_out_and_say_so():
    found = trip(times(2), np.array([200.0, 210.0]), switch("0 1"), rising=True, start_s=0, end_s=10)
    assert isinstance(found, Trip)
    assert isinstance(found.u_scatter, Absent)
    assert "scatter" in found.note
    assert found.value == 205.0


def test_no_trip_tells_how_far_the_quantity_went():
    seconds, quantity = ramp()
    found = trip(seconds, -quantity, switch("0" * 40), rising=False, start_s=0, end_s=390)
    assert isinstance(found, NeverTripped)
    assert found.farthest == -395.0
    nothing = trip(seconds, np.full(40, NAN), switch("0" * 40), rising=True, start_s=0, end_s=390)
    assert isinstance(nothing, NeverTripped)
    assert nothing.farthest is None


@given(
    st.floats(-500, 500), st.floats(0.2, 5), st.floats(-1e5, 1e5), st.booleans(), st.integers(0, 2**32 - 1)
)
def test_units_shifts_and_direction_change_nothing_else(offset, scale, later_s, turned, seed):
    seconds, quantity = ramp()
    quantity = quantity + np.random.default_rng(seed).normal(0, 0.2, 40)
    told = {"start_s": 0, "end_s": 390, "settle_s": 15.0}
    moved = {"start_s": later_s, "end_s": 390 + later_s, "settle_s": 15.0}
    sign = -scale if turned else scale
    point = trip(seconds, quantity, answered(40, 20), rising=True, reading_u=0.1, **told)
    other = trip(
        seconds + later_s,
        sign * quantity + offset,
        answered(40, 20),
        rising=not turned,
        reading_u=0.1 * scale,
        **moved,
    )
    assert isinstance(point, Trip)
    assert isinstance(other, Trip)
    assert other.value == pytest.approx(sign * point.value + offset, abs=1e-6)
    assert other.u == pytest.approx(scale * point.u, rel=1e-6)
    one = delay(seconds, quantity, 252.0, answered(40, 20), rising=True, reading_u=0.1, **told)
    two = delay(
        seconds + later_s,
        sign * quantity + offset,
        sign * 252.0 + offset,
        answered(40, 20),
        rising=not turned,
        reading_u=0.1 * scale,
        **moved,
    )
    assert isinstance(one, Delay)
    assert isinstance(two, Delay)
    assert two.delay_s == pytest.approx(one.delay_s, abs=1e-4)
    assert (two.least_s, two.most_s) == pytest.approx((one.least_s, one.most_s), abs=1e-4)
    assert one.least_s <= one.delay_s <= one.most_s


def delayed(limit, state: Switch, quantity: FloatArray | None = None, **told):
    seconds, own = ramp()
    return delay(
        seconds,
        own if quantity is None else quantity,
        limit,
        state,
        rising=True,
        start_s=0,
        end_s=390,
        **told,
    )


def test_a_coarse_recording_could_not_show_a_short_delay():
    # Crossed at 104 s, answered in (100, 110] s.
    found = delayed(252.0, answered(40, 11))
    assert isinstance(found, Delay)
    assert (found.least_s, found.most_s) == pytest.approx((-4.0, 6.0))
    assert shown_within(found, 5.0) == "could not be shown"
    assert shown_within(found, 6.0) == "met"
    late = delayed(252.0, answered(40, 31))
    assert shown_within(late, 60.0) == "not met"


def test_absent_readings_around_the_answer_widen_the_delay():
    near, wide = delayed(252.0, answered(40, 12)), delayed(252.0, switch("0" * 10 + ".." + "1" * 28))
    assert isinstance(near, Delay)
    assert isinstance(wide, Delay)
    assert wide.least_s < near.least_s
    assert wide.most_s == near.most_s
    assert wide.u_s > near.u_s


def test_an_early_answer_is_told_and_meets_nothing_by_itself():
    found = delayed(252.0, answered(40, 5))
    assert isinstance(found, Delay)
    assert found.early
    assert found.delay_s < 0
    assert "before the limit" in found.note
    assert shown_within(found, 60.0) == "could not be shown"
    assert shown_within(found, 60.0, early_counts=True) == "met"


def test_no_crossing_and_no_answer_are_different_things():
    quiet, away = switch("0" * 40), delayed(500.0, switch("0" * 40))
    assert isinstance(away, NotDriven)
    assert "105 short" in away.reason
    before = delayed(500.0, answered(40, 11))
    assert isinstance(before, AnsweredBefore)
    assert before.answered_by_s == 110.0
    failed = delayed(252.0, quiet)
    assert isinstance(failed, NeverAnswered)
    assert failed.watched_s == pytest.approx(390.0 - 104.0)
    assert shown_within(failed, 60.0) == "not met"
    assert shown_within(failed, 300.0) == "could not be shown"
    assert {shown_within(away, 60.0), shown_within(before, 60.0, early_counts=True)} == {"could not be shown"}


def test_a_limit_passed_from_the_start_is_no_challenge():
    found = delayed(150.0, answered(40, 11))
    assert isinstance(found, Absent)
    assert "when the stretch begins" in found.reason


def test_the_first_of_two_crossings_counts_and_the_second_is_listed():
    seconds = times(60)
    quantity = 250.0 + 20.0 * np.sin(2 * np.pi * (seconds - 150.0) / 400.0)
    state = answered(60, 17)
    found = delay(seconds, quantity, 251.0, state, rising=True, start_s=0, end_s=590)
    assert isinstance(found, Delay)
    first = 150.0 + 400.0 / (2 * np.pi) * np.arcsin(0.05)
    assert found.crossing.at_s == pytest.approx(first, abs=0.1)
    assert found.crossing.later_s == pytest.approx((first + 400.0,), abs=0.1)
    assert "crossed again" in found.note


def test_scatter_about_the_limit_is_one_crossing():
    random = np.random.default_rng(3)
    seconds = times(600, 1.0)
    quantity = 247.0 + 0.01 * seconds + random.normal(0, 0.3, 600)
    found = delay(seconds, quantity, 250.0, answered(600, 330), rising=True, start_s=0, end_s=599)
    assert isinstance(found, Delay)
    assert found.crossing.later_s == ()
    assert found.delay_s == pytest.approx(29.5, abs=found.expanded_s)
    assert found.u_s < 15


def test_a_limit_lowered_onto_the_quantity_crosses_it():
    seconds = times(40)
    limits = np.where(seconds >= 200, 180.0, 300.0)
    found = delay(seconds, np.full(40, 250.0), limits, answered(40, 22), rising=True, start_s=0, end_s=390)
    assert isinstance(found, Delay)
    # Lowered in (190, 200], answered in (210, 220].
    assert (found.least_s, found.most_s) == (10.0, 30.0)


def test_past_the_limit_by_less_than_its_uncertainty_is_told():
    found = delayed(394.0, answered(40, 39), reading_u=2.0)
    assert isinstance(found, Delay)
    assert "only 1 past the limit" in found.note


def hill() -> tuple[FloatArray, FloatArray]:
    """200 up to 295 at 190 s and back to 200 at 380 s, read every 10 s."""
    seconds = times(60)
    return seconds, np.maximum(295.0 - 0.5 * np.abs(seconds - 190.0), 200.0)


def after(state: Switch, **told) -> Restoration | Absent:
    seconds, quantity = hill()
    first = trip(seconds, quantity, state, rising=True, start_s=0, end_s=590)
    assert isinstance(first, Trip)
    return restoration(seconds, quantity, state, first, rising=True, end_s=590, **told)


def test_restores_by_itself_with_a_dead_band():
    # Trips in (150, 160] at 277.5, restores in (260, 270] at 257.5.
    found = after(switch("0" * 16 + "1" * 11 + "0" * 33))
    assert isinstance(found, Restoration)
    assert found.restored_by_itself
    assert isinstance(found.at, Trip)
    assert found.at.value == pytest.approx(257.5)
    assert found.dead_band == pytest.approx(20.0)
    assert found.dead_band_expanded == pytest.approx(2 * np.sqrt(2 * 2.5**2 / 3), rel=1e-6)
    early = after(switch("0" * 16 + "1" * 2 + "0" * 42))
    assert isinstance(early, Restoration)
    assert "still past" in early.note


def test_stays_until_reset_by_hand():
    state = switch("0" * 16 + "1" * 34 + "0" * 10)
    found = after(state, reset_s=495.0, return_to=230.0, observe_s=60.0)
    assert isinstance(found, Restoration)
    assert (found.restored_by_itself, found.restored_after_reset) == (False, True)
    assert isinstance(found.at, Absent)
    # Back at 230 from 320 s; held at the reading at 490 s.
    assert found.returned_s == 170.0
    # The same change without that reset is one by itself; so is one surely before it.
    for told in ({}, {"reset_s": 560.0}):
        alone = after(state, **told)
        assert isinstance(alone, Restoration)
        assert alone.restored_by_itself
    noted_late = after(state, reset_s=510.0, reset_half_width_s=15.0)
    assert isinstance(noted_late, Restoration)
    assert not noted_late.restored_by_itself


def test_staying_is_not_shown_where_nothing_asked_it_to_restore():
    latched = switch("0" * 16 + "1" * 44)
    too_early = after(latched, reset_s=200.0)
    assert isinstance(too_early, Absent)
    assert "nothing asked" in too_early.reason
    too_short = after(latched, reset_s=330.0, return_to=230.0, observe_s=60.0)
    assert isinstance(too_short, Absent)
    assert "for 10 s" in too_short.reason
    stays = after(latched, return_to=230.0, observe_s=60.0)
    assert isinstance(stays, Restoration)
    assert (stays.restored_by_itself, stays.restored_after_reset) == (False, None)
    useless = after(latched, reset_s=450.0)
    assert isinstance(useless, Restoration)
    assert useless.restored_after_reset is False
    assert "did not restore after" in useless.note


def test_what_must_not_happen():
    kept = must_not(times(6), switch("0 0 . . 0 0"), start_s=0, end_s=70)
    assert isinstance(kept, MustNot)
    assert (kept.happened, kept.when_s, kept.longest_unwatched_s) == (False, None, 30.0)
    blip = must_not(times(6), switch("0 0 1 0 0 0"), start_s=0, end_s=50)
    assert isinstance(blip, MustNot)
    assert (blip.happened, blip.when_s, blip.changes) == (True, 20.0, 2)
    wrong = must_not(times(3), switch("1 1 1"), start_s=0, end_s=20, must_stay=False)
    assert isinstance(wrong, MustNot)
    assert (wrong.happened, wrong.changes) == (True, 0)
    assert isinstance(must_not(times(3), switch("1 . ."), start_s=0, end_s=20), Absent)
