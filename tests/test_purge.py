"""Purges: what is measured, what is fitted, what is refused, and what the words say."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qualify.figures.absent import Absent
from qualify.figures.well_mixed import flow_at_chamber, oxygen_after, predicted_purge_s, volumes_needed
from qualify.inference.decay import shown_share
from qualify.inference.purge import Analyser, Gas, Purge, PurgeModel, purge, time_to_another_limit
from qualify.inference.purge_hold import OxygenKept, RiseRate, ability_to_hold, rise_rate
from qualify.readings.model import FloatArray

NAN = float("nan")
GAS = Gas(volume_m3=1.2, flow_m3_per_s=0.01, relative_u_volume=0.01, relative_u_flow=0.02)
ANALYSER = Analyser(lag_s=12.0, delay_s=8.0, u=0.01)


def record(
    *, floor: float = 0.01, share: float = 0.0, slow_s: float = 500.0, sd: float = 0.02, seed: int = 1
) -> tuple[FloatArray, FloatArray]:
    """An invented purge from 100 s on, time constant 120 s, seen by an analyser of 12 s lag and 8 s delay."""
    seconds = np.arange(0.0, 1000.0, 10.0)
    t = seconds - 100.0 - 8.0
    left = (1 - share) * shown_share(t, 120.0, 12.0) + share * shown_share(t, slow_s, 12.0)
    return seconds, floor + (20.9 - floor) * left + sd * np.random.default_rng(seed).normal(size=t.size)


def evaluated(seconds: FloatArray, oxygen: FloatArray, **given_: object) -> Purge:
    known: dict[str, object] = {
        "start_s": 100.0,
        "limit": 1.0,
        "analyser": ANALYSER,
        "gas": GAS,
        "supply": 0.001,
    }
    found = purge(seconds, oxygen, **{**known, **given_})  # type: ignore[arg-type]
    assert isinstance(found, Purge), found
    return found


def model_of(found: Purge) -> PurgeModel:
    assert isinstance(found.model, PurgeModel), found.model
    return found.model


def reason(found: object) -> str:
    assert isinstance(found, Absent), found
    return found.reason


def test_an_ordinary_purge() -> None:
    found = evaluated(*record())
    model = model_of(found)
    assert found.leak is False
    assert found.findings == ()
    assert model.decay.time_constant_s.value == pytest.approx(120.0, rel=0.01)
    # k = V/(Q·τ) = 1.2/(0.01·120); its interval carries √(1² + 2²) % of volume and flow, k = 2
    assert not isinstance(model.mixing_factor, Absent)
    assert model.mixing_factor.value == pytest.approx(1.0, rel=0.01)
    assert np.log(model.mixing_factor.high / model.mixing_factor.value) == pytest.approx(0.0447, abs=0.002)  # type: ignore[operator]
    # 890 s since the start, less the sample's delay, in time constants
    assert model.volume_changes.value == pytest.approx(882 / 120, rel=0.01)
    assert not isinstance(model.time_to_limit_s, Absent)
    true_s = 120 * np.log((20.9 - 0.01) / (1 - 0.01))
    assert model.time_to_limit_s.low < true_s < model.time_to_limit_s.high
    # The display follows by the delay and about the lag.
    assert found.measured_s == pytest.approx(true_s + 8 + 12, abs=5)
    assert found.measured_low_s < found.measured_s < found.measured_high_s  # type: ignore[operator]


@settings(max_examples=15, deadline=None)
@given(st.floats(-1e5, 1e5), st.integers(0, 99))
def test_a_shift_of_time_changes_no_figure(later_s: float, seed: int) -> None:
    seconds, oxygen = record(seed=seed)
    plain = evaluated(seconds, oxygen)
    moved = evaluated(seconds + round(later_s), oxygen, start_s=100.0 + round(later_s))
    assert moved.measured_s == pytest.approx(plain.measured_s, abs=1e-5)
    if isinstance(plain.model, PurgeModel):
        time = model_of(moved).decay.time_constant_s
        assert time.value == pytest.approx(plain.model.decay.time_constant_s.value, rel=1e-6)


@settings(max_examples=15, deadline=None)
@given(st.sampled_from([0.01, 1e4]), st.integers(0, 99))
def test_fractions_and_ppm_give_the_same_times(factor: float, seed: int) -> None:
    seconds, oxygen = record(seed=seed)
    plain = evaluated(seconds, oxygen)
    scaled = evaluated(
        seconds,
        oxygen * factor,
        limit=factor,
        supply=0.001 * factor,
        analyser=Analyser(lag_s=12.0, delay_s=8.0, u=0.01 * factor),
    )
    assert scaled.measured_s == pytest.approx(plain.measured_s, rel=1e-9)
    assert isinstance(scaled.model, PurgeModel) == isinstance(plain.model, PurgeModel)
    if isinstance(plain.model, PurgeModel):
        time = model_of(scaled).decay.time_constant_s
        assert time.value == pytest.approx(plain.model.decay.time_constant_s.value, rel=1e-6)


def test_a_dead_leg_is_told_and_the_measured_time_stands_alone() -> None:
    found = evaluated(*record(share=0.1))
    assert "second, slower exponential" in reason(found.model)
    assert "dead leg" in found.findings[0]
    assert isinstance(found.floor, Absent)
    assert isinstance(found.leak, Absent)
    assert isinstance(found.measured_s, float)
    assert isinstance(time_to_another_limit(found, 0.1), Absent)


def test_a_leak_is_told() -> None:
    found = evaluated(*record(floor=0.3))
    assert found.leak is True
    assert "stands above the supply's 0.001 %" in reason(found.model)
    assert not isinstance(found.floor, Absent)
    assert found.floor.value == pytest.approx(0.3, abs=0.02)
    # Without the supply's oxygen a floor is a floor.
    unknown = evaluated(*record(floor=0.3), supply=None)
    assert isinstance(unknown.leak, Absent)
    assert isinstance(unknown.model, PurgeModel)
    # An analyser that uncertain can't show it.
    vague = evaluated(*record(floor=0.3), analyser=Analyser(lag_s=12.0, delay_s=8.0, u=0.2))
    assert vague.leak is False


def test_a_door_opened_is_told_whether_it_closes_or_not() -> None:
    for end in (100, 75):
        seconds, oxygen = record()
        oxygen[65:end] += 0.6
        found = evaluated(seconds, oxygen, limit=0.8)
        assert "jumps by" in reason(found.model)
        # Opened at 650 s and, the second time, closed at 750 s: either is the jump.
        assert "at 650 s" in reason(found.model) or (end == 75 and "at 750 s" in reason(found.model))


def test_a_rise_above_the_limit_after_it_was_met_is_told() -> None:
    seconds, oxygen = record()
    oxygen[80:] += 2.0
    found = evaluated(seconds, oxygen)
    assert found.above_again_s == (800.0,)
    assert any("rose above 1 % again" in said for said in found.findings)
    assert evaluated(*record()).above_again_s == ()


def test_another_limit_and_the_floor() -> None:
    found = evaluated(*record())
    one, other = time_to_another_limit(found, 0.5), time_to_another_limit(found, 0.1)
    assert not isinstance(one, Absent)
    assert not isinstance(other, Absent)
    assert one.value < other.value
    assert other.value - one.value == pytest.approx(120 * np.log(0.49 / 0.09), rel=0.05)
    assert "at or below the floor" in reason(time_to_another_limit(found, -0.1))
    assert "from the start" in reason(time_to_another_limit(found, 25.0))
    near = time_to_another_limit(found, model_of(found).decay.floor.value + 0.001)
    assert not isinstance(near, Absent)
    assert "not surely above the floor" in reason(near.high)


def test_a_lag_is_fitted_only_where_the_record_tells_it() -> None:
    seconds = np.arange(0.0, 900.0, 5.0)
    noise = 0.01 * np.random.default_rng(2).normal(size=seconds.size)
    for lag_s, told in ((20.0, True), (0.0, False)):
        oxygen = 0.01 + 20.89 * shown_share(seconds, 120.0, lag_s) + noise
        found = model_of(evaluated(seconds, oxygen, start_s=0.0, analyser=Analyser(lag_s=None), supply=None))
        assert isinstance(found.decay.lag, Absent) is not told
        if not isinstance(found.decay.lag, Absent):
            assert found.decay.lag.low < 20 < found.decay.lag.high
        assert found.decay.time_constant_s.value == pytest.approx(120.0, rel=0.01)


def test_noise_that_goes_with_the_reading_down_to_ppm() -> None:
    seconds = np.arange(0.0, 1500.0, 10.0)
    rng = np.random.default_rng(4)
    oxygen = (0.0005 + 20.9 * shown_share(seconds, 120.0)) * (1 + 0.01 * rng.normal(size=150))
    oxygen += 0.00005 * rng.normal(size=150)
    analyser = Analyser(relative_noise=0.01, least_noise=0.00005)
    found = evaluated(seconds, oxygen, start_s=0.0, limit=0.01, analyser=analyser, supply=0.0005)
    floor = model_of(found).decay.floor
    # Whether the interval holds the truth as often as it says is counted in reference_checks.
    assert floor.value == pytest.approx(0.0005, abs=0.00005)
    assert floor.high - floor.low < 0.0001  # type: ignore[operator]


def test_a_limit_never_reached_or_met_at_the_start() -> None:
    seconds, oxygen = record()
    never = evaluated(seconds, oxygen, end_s=300.0)
    assert "never reached; the lowest was" in reason(never.measured_s)
    assert isinstance(never.model, PurgeModel)
    assert "already met" in reason(evaluated(seconds, oxygen, limit=21.5).measured_s)
    assert isinstance(evaluated(seconds, oxygen, limit=None).measured_s, Absent)


def test_what_gives_no_purge() -> None:
    seconds, oxygen = record()
    assert "2 oxygen readings" in reason(purge(seconds[:2], oxygen[:2], start_s=0.0))
    assert "throughout" in reason(purge(seconds, np.full(seconds.size, 20.9), start_s=100.0))
    assert "does not fall" in reason(purge(seconds, oxygen[::-1].copy(), start_s=100.0))
    assert "0 oxygen readings" in reason(purge(seconds, np.full(seconds.size, NAN), start_s=100.0))
    assert "0 oxygen readings" in reason(purge(seconds, oxygen, start_s=1e6))


def test_few_readings_give_the_measured_time_and_no_model() -> None:
    seconds, oxygen = record()
    found = evaluated(seconds[10::12], oxygen[10::12])
    assert "at least 12" in reason(found.model)
    assert isinstance(found.measured_s, float)


def test_absent_readings_and_gaps() -> None:
    seconds, oxygen = record()
    oxygen[[20, 21, 50]] = NAN
    found = evaluated(seconds, oxygen)
    assert found.absent_readings == 3
    assert model_of(found).decay.time_constant_s.value == pytest.approx(120.0, rel=0.01)
    # A gap over the crossing widens what the measured time lies between.
    oxygen[42:54] = NAN
    wide = evaluated(seconds, oxygen)
    assert isinstance(wide.measured_high_s, float)
    assert isinstance(found.measured_high_s, float)
    assert wide.measured_high_s - wide.measured_low_s > found.measured_high_s - found.measured_low_s  # type: ignore[operator]


def test_readings_without_scatter_give_no_interval() -> None:
    seconds, oxygen = record(sd=0.0)
    assert "do not scatter" in reason(evaluated(seconds, oxygen).model)


def test_readings_shown_in_steps_are_no_misfit() -> None:
    seconds, oxygen = record(sd=0.005)
    shown = np.round(oxygen, 1)
    assert isinstance(evaluated(seconds, shown).model, PurgeModel)


def test_flow_and_closed_forms() -> None:
    # 273.15 K apart doubles, half the pressure doubles again
    assert flow_at_chamber(10.0, 273.15, 50.6625) == pytest.approx(40.0)
    assert flow_at_chamber(10.0, 20.0, 101.325, metered_c=20.0) == pytest.approx(10.0)
    assert isinstance(flow_at_chamber(10.0, -300.0), Absent)
    assert isinstance(flow_at_chamber(10.0, 20.0, 0.0), Absent)
    assert volumes_needed(20.9, oxygen_after(2.5, 20.9, 0.1), 0.1) == pytest.approx(2.5)
    assert volumes_needed(0.5, 1.0) == 0.0
    assert "at or below" in reason(volumes_needed(20.9, 0.1, 0.1))
    assert isinstance(volumes_needed(NAN, 1.0), Absent)
    predicted = predicted_purge_s(20.9, 1.0, volume_m3=2.0, flow_m3_per_s=0.01, mixing_factor=0.5)
    assert predicted == pytest.approx(400 * np.log(20.9))
    assert isinstance(predicted_purge_s(20.9, 1.0, volume_m3=2.0, flow_m3_per_s=0.0), Absent)


def test_rise_after_the_flow_stops() -> None:
    seconds = np.arange(0.0, 3600.0, 10.0)
    oxygen = 0.1 + 0.5 * seconds / 3600 + 0.01 * np.random.default_rng(5).normal(size=seconds.size)
    oxygen[7] = NAN
    found = rise_rate(seconds, oxygen, stopped_s=0.0)
    assert isinstance(found, RiseRate)
    assert found.low_percent_per_h < 0.5 < found.high_percent_per_h  # type: ignore[operator]
    assert found.air_volumes_per_h == pytest.approx(0.5 / 20.55, rel=0.05)
    assert found.absent_readings == 1
    assert isinstance(rise_rate(seconds[:2], oxygen[:2], stopped_s=0.0), Absent)
    assert "resolution" in reason(rise_rate(seconds, np.full(seconds.size, 0.1), stopped_s=0.0))
    straight = rise_rate(seconds, 0.1 + seconds / 36000, stopped_s=0.0)
    assert isinstance(straight, RiseRate)
    assert isinstance(straight.low_percent_per_h, Absent)


def test_a_limit_kept_through_a_run() -> None:
    seconds = np.arange(0.0, 600.0, 60.0)
    oxygen = np.full(10, 0.5)
    oxygen[4] = 1.5  # crosses 1 half way up and half way down: 60 s in all
    found = ability_to_hold(seconds, oxygen, 1.0)
    assert isinstance(found, OxygenKept)
    assert (found.largest, found.largest_at_s, found.readings_above) == (1.5, 240.0, 1)
    assert found.above_min == pytest.approx(1.0)
    assert found.margin == pytest.approx(-0.5)
    at = ability_to_hold(seconds, np.full(10, 1.0), 1.0)
    assert isinstance(at, OxygenKept)
    assert (at.above_min, at.readings_above, at.first_above_s) == (0.0, 0, None)
    oxygen[[5, 6]] = NAN
    holed = ability_to_hold(seconds, oxygen, 1.0)
    assert isinstance(holed, OxygenKept)
    assert isinstance(holed.above_min, Absent)
    assert holed.above_at_least_min == pytest.approx(0.5)
    assert holed.longest_without_s == 180.0
    assert isinstance(ability_to_hold(seconds, np.full(10, NAN), 1.0), Absent)


def test_importing_these_loads_no_scipy() -> None:
    modules = ("purge", "purge_hold", "cooling", "decay", "decay_times", "course_fit")
    code = "import sys\n" + "\n".join(f"import qualify.inference.{name}" for name in modules)
    done = subprocess.run(
        [sys.executable, "-c", code + "\nsys.exit(any(m.startswith('scipy') for m in sys.modules))"],
        check=False,
    )
    assert done.returncode == 0
