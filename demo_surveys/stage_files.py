"""The logger files of the plan of three stages: challenges, purge, cool-down, three loaded runs.

Everything here is invented: oven OV-3, its protections, its load and every reading. make_surveys.py
writes the files; the model is in oven_model.py, its equations in README.md.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from oven_model import (
    BANK_W,
    CALIBRATION_POINTS_C,
    EXPANDED_UNCERTAINTY_C,
    MIXING,
    OXYGEN_OF_AIR,
    OXYGEN_SUPPLY,
    PLACES,
    PURGE_L_PER_MIN,
    READING_NOISE_C,
    STEP_S,
    VOLUME_L,
    FloatArray,
    Oven,
    Recorded,
    Run,
    Stretch,
    oxygen,
    simulate_air,
    true_at_sensors,
    true_error,
)

SEED = 421  # a stream of its own, so that the files of the surveys stay as they are
ROOM_C = 21.8
MAINS_V = 230.0

# --- The protections ----------------------------------------------------------------------------

LIMITER_SHARE, LIMITER_LAG_S = 0.008, 12.0  # its sensor sits in the supply duct
LIMITER_DELAY_S = 2  # from its sensor's crossing to the relay's contact
LIMITER_BAND_C = 5.0  # it restores by itself this far below: the fault, it should stay off
LIMIT_IN_SERVICE_C = 235.0
GAS_TRIP_BAR, GAS_RESTORE_BAR, GAS_DELAY_S = 3.0, 3.3, 1
OXYGEN_TRIP, OXYGEN_DELAY_S, OXYGEN_RESET_S = 1.0, 2, 235

# --- The purge ----------------------------------------------------------------------------------

DEAD_LEG_L = 40.0  # housing of the old drying lamps, open to the chamber through a slot
SLOT_L_PER_MIN = 1.5
LEAK_L_PER_H = 24.0  # air that comes in once the purge is stopped
ANALYSER_LAG_S, ANALYSER_DELAY_S = 8.0, 4
PURGE_STEPS = 10  # a second

# --- The loaded runs ----------------------------------------------------------------------------

LOAD_J_PER_K = 14_000.0  # twelve lenses in their fixtures
LENSES = {"LENS 1": ("T-08", "C", 480.0), "LENS 2": ("T-09", "FLL", 660.0)}  # sensor, air at, lag [s]
EMPTY_LENS_LAG_S = 60.0  # of a sensor on a shelf, without its lens
LENS_ERRORS = {"T-08": (0.02, 0.15, 0.02), "T-09": (-0.04, -0.12, 0.03)}
RUN_SHARE = 0.0005  # loading differs a little from run to run, as a share of (air − room)
# In run 3 the upper shelf went in turned round: its closed rim leads the supply air onto one corner.
SHELF_TURNED = {"RUR": 0.0080 + 0.0076}


def lines_of(header: str, start: datetime, seconds: Sequence[int], columns: Sequence[Sequence[str]]) -> bytes:
    """ISO times, commas, decimal points; a first line that says what the file is."""
    lines = ["INVENTED DATA of an invented oven: made by demo_surveys/make_surveys.py, no oven was measured"]
    lines.append(header)
    for row, second in enumerate(seconds):
        when = start + timedelta(seconds=int(second))
        lines.append(f"{when.isoformat()}," + ",".join(column[row] for column in columns))
    return ("\n".join(lines) + "\n").encode("utf-8")


def shown(values: FloatArray, digits: int) -> list[str]:
    """Readings as the logger rounds them."""
    return [f"{value:.{digits}f}" for value in values + 0.0]


def words(on: Sequence[bool], yes: str, no: str) -> list[str]:
    """States as the logger writes them."""
    return [yes if value else no for value in on]


# --- Excess temperature -------------------------------------------------------------------------


@dataclass
class Limiter:
    """Excess-temperature protection with a sensor of its own, which wrongly restores by itself."""

    sensed_c: float
    closed: bool = True
    due_s: int = 0

    def second(self, air_c: float, limit_c: float) -> bool:
        """Run one second; give whether its contact lets the heaters have power."""
        target = air_c + LIMITER_SHARE * (air_c - ROOM_C)
        self.sensed_c += STEP_S / LIMITER_LAG_S * (target - self.sensed_c)
        wanted = self.sensed_c < limit_c if self.closed else self.sensed_c < limit_c - LIMITER_BAND_C
        if wanted == self.closed:
            self.due_s = 0
        else:
            self.due_s += 1
            if self.due_s > LIMITER_DELAY_S:
                self.closed, self.due_s = wanted, 0
        return self.closed


def excess_temperature(noise: np.random.RandomState) -> bytes:
    """At 180 °C the limit is lowered through the air; then the damper cools the air below it."""
    begin, length = 5_340, 340
    oven, limiter = Oven(ROOM_C), Limiter(ROOM_C)
    restored_s: int | None = None
    air, limits, contacts, amperes = [], [], [], []
    for second in range(begin + length):
        at = second - begin
        limit = min(LIMIT_IN_SERVICE_C, max(LIMIT_IN_SERVICE_C - max(at - 60, 0), 165.0))
        heating = restored_s is None or at < restored_s + 25  # the attendant ends it at the controller
        contact = limiter.second(oven.air_c[-1] if oven.air_c else ROOM_C, limit)
        if at > 150 and contact and restored_s is None:
            restored_s = at
        oven.second(180.0, heating=heating, damper_open=at >= 150, heat_allowed=contact)
        air.append(limiter.sensed_c)
        limits.append(limit)
        contacts.append(contact)
        amperes.append(BANK_W * oven.banks_on / MAINS_V)
    part = slice(begin, None)
    read = np.array(air[part]) + READING_NOISE_C["T"] * noise.standard_normal(length)
    current = np.maximum(np.array(amperes[part]) + 0.03 * noise.standard_normal(length), 0.0)
    return lines_of(
        "Time,AIR (°C),LIMIT (°C),LIMITER,CURRENT (A)",
        datetime(2026, 3, 11, 10, 15, 0),
        range(length),
        [
            shown(read, 1),
            shown(np.array(limits[part]), 1),
            words(contacts[part], "closed", "open"),
            shown(current, 1),
        ],
    )


def trip_point(noise: np.random.RandomState) -> bytes:
    """The oven is heated through the limit, which was lowered to 150 °C before."""
    oven, limiter = Oven(ROOM_C), Limiter(ROOM_C)
    air: list[float] = []
    contacts: list[bool] = []
    opened_s: int | None = None
    while opened_s is None or len(air) < opened_s + 50:
        contact = limiter.second(oven.air_c[-1] if oven.air_c else ROOM_C, 150.0)
        if not contact and opened_s is None:
            opened_s = len(air)
        # The attendant switches the controller off when the horn sounds.
        oven.second(180.0, heating=contact, damper_open=False, heat_allowed=contact)
        air.append(limiter.sensed_c)
        contacts.append(contact)
    kept = slice(-200, None)
    read = np.array(air[kept]) + READING_NOISE_C["T"] * noise.standard_normal(200)
    return lines_of(
        "Time,AIR (°C),LIMITER",
        datetime(2026, 3, 11, 9, 40, 0),
        range(200),
        [shown(read, 1), words(contacts[kept], "closed", "open")],
    )


# --- Low gas pressure, high oxygen --------------------------------------------------------------


def delayed(wanted: Sequence[bool], seconds: int) -> list[bool]:
    """A state as its contact shows it, some seconds later."""
    return [wanted[max(second - seconds, 0)] for second in range(len(wanted))]


def resting_air(length: int, noise: np.random.RandomState) -> FloatArray:
    """Air of an oven that is kept at 60 °C, as the limiter's sensor reads it [°C]."""
    return 60.0 + READING_NOISE_C["T"] * noise.standard_normal(length)


def low_gas_pressure(noise: np.random.RandomState) -> bytes:
    """The supply is throttled from 4.0 to 2.6 bar and opened again; the purge valve stays open."""
    length = 220
    seconds = np.arange(length)
    true_bar = np.interp(seconds, [0, 40, 110, 135, 205, length], [4.0, 4.0, 2.6, 2.6, 4.0, 4.0])
    on, state = [], True
    for pressure in true_bar:
        state = bool(pressure >= (GAS_TRIP_BAR if state else GAS_RESTORE_BAR))
        on.append(state)
    heat = delayed(on, GAS_DELAY_S)
    return lines_of(
        "Time,AIR (°C),GAS (bar),HEAT,PURGE VALVE",
        datetime(2026, 3, 11, 13, 30, 0),
        range(length),
        [
            shown(resting_air(length, noise), 1),
            shown(true_bar + 0.003 * noise.standard_normal(length), 2),
            words(heat, "on", "off"),
            words([True] * length, "open", "shut"),
        ],
    )


def high_oxygen(noise: np.random.RandomState) -> bytes:
    """A source of signals stands in for the analyser: 0.1 to 1.5 % and back; later reset by hand."""
    length = 260
    seconds = np.arange(length)
    level = np.interp(seconds, [0, 30, 100, 120, 190, length], [0.1, 0.1, 1.5, 1.5, 0.1, 0.1])
    allowed, state = [], True
    for second in range(length):
        state = (state and bool(level[second] < OXYGEN_TRIP)) or second >= OXYGEN_RESET_S
        allowed.append(state)
    heat = delayed(allowed, OXYGEN_DELAY_S)
    return lines_of(
        "Time,AIR (°C),O2 (%),HEAT",
        datetime(2026, 3, 11, 14, 10, 0),
        range(length),
        [
            shown(resting_air(length, noise), 1),
            shown(level + 0.003 * noise.standard_normal(length), 2),
            words(heat, "on", "off"),
        ],
    )


# --- Purge and cool-down ------------------------------------------------------------------------


def purge_with_dead_leg(noise: np.random.RandomState) -> bytes:
    """A minute of air, an hour of purge, half an hour with the flow stopped; read every 15 s."""
    start, stop, length, interval = 60, 3_660, 5_460, 15
    # The oxygen falls by 0.05 % a second at first: steps of 1 s would be seen beside the noise.
    step_s = 1.0 / PURGE_STEPS
    chamber = leg = analyser = OXYGEN_OF_AIR
    course, shows = [], []
    for step in range(length * PURGE_STEPS + 1):
        course.append(chamber)
        arriving = course[max(step - ANALYSER_DELAY_S * PURGE_STEPS, 0)]
        shows.append(analyser)
        analyser += step_s / ANALYSER_LAG_S * (arriving - analyser)
        purging = start * PURGE_STEPS <= step < stop * PURGE_STEPS
        flow = MIXING * PURGE_L_PER_MIN / 60.0 if purging else 0.0
        leak = LEAK_L_PER_H / 3600.0 if step >= stop * PURGE_STEPS else 0.0
        slot = SLOT_L_PER_MIN / 60.0 * (leg - chamber)
        into = flow * (OXYGEN_SUPPLY - chamber) + leak * (OXYGEN_OF_AIR - chamber) + slot
        chamber += step_s * into / VOLUME_L
        leg -= step_s * slot / DEAD_LEG_L
    seconds = np.arange(0, length + 1, interval)
    read = np.maximum(
        np.array(shows)[seconds * PURGE_STEPS] + 0.004 * noise.standard_normal(seconds.size), 0.0
    )
    flow_read = np.where((seconds >= start) & (seconds < stop), PURGE_L_PER_MIN, 0.0)
    flow_read = flow_read + np.where(flow_read > 0, 0.2 * noise.standard_normal(seconds.size), 0.0)
    return lines_of(
        "Time,C (°C),O2 (%),FLOW (L/min)",
        datetime(2026, 3, 12, 8, 0, 0),
        seconds.tolist(),
        [
            shown(ROOM_C + 0.03 * noise.standard_normal(seconds.size), 1),
            shown(read, 2),
            shown(flow_read, 1),
        ],
    )


def cool_down(noise: np.random.RandomState) -> bytes:
    """From a soak at 180 °C with the damper open; read every 15 s at the centre and above the return."""
    before, length, interval = 5_400, 3_000, 15
    run = Run(
        datetime(2026, 3, 12, 13, 0, 0),
        interval,
        ROOM_C,
        (Stretch(180.0, before / 60), Stretch(40.0, length / 60, damper_open=True, heating=False)),
        {},
    )
    air_c, setpoint_c, _ = simulate_air(run, noise)
    names = list(PLACES)
    seconds = np.arange(before - 120, air_c.size, interval)
    junctions = true_at_sensors(run, air_c, noise)[seconds]
    columns = []
    for name in ("C", "RET"):
        place = PLACES[name]
        true_c = junctions[:, names.index(name)]
        spread = READING_NOISE_C[place.sensor[0]] * noise.standard_normal(seconds.size)
        columns.append(shown(true_c + true_error(place.sensor, true_c) + spread, 1))
    return lines_of(
        "Time,CH09 (°C),CH12 (°C),SP (°C)",
        run.start,
        (seconds - seconds[0]).tolist(),
        [*columns, shown(setpoint_c[seconds], 1)],
    )


# --- Loaded runs --------------------------------------------------------------------------------


def lens_error(sensor: str, true_c: FloatArray) -> FloatArray:
    """Error of a lens sensor (indicated − true) [°C] at true temperatures [°C]."""
    constant, slope, curve = LENS_ERRORS[sensor]
    hundreds = true_c / 100.0
    return constant + slope * hundreds + curve * hundreds * hundreds


def loaded_run(number: int, start: datetime, room_c: float, noise: np.random.RandomState) -> bytes:
    """Five minutes cold, heat-up and soak at 180 °C with twelve lenses in; read every minute."""
    shifts = RUN_SHARE * noise.standard_normal(len(PLACES))
    offsets = {
        name: place.offset + float(shift) for (name, place), shift in zip(PLACES.items(), shifts, strict=True)
    }
    if number == 3:
        offsets |= SHELF_TURNED
    stretches = (Stretch(20.0, 5.0, heating=False), Stretch(180.0, 125.0))
    run = Run(start, 60, room_c, stretches, offsets, load_j_per_k=LOAD_J_PER_K)
    air_c, setpoint_c, display_c = simulate_air(run, noise)
    seconds = np.arange(0, air_c.size, run.interval_s)
    junctions = true_at_sensors(run, air_c, noise)
    names = list(PLACES)
    columns = [shown(setpoint_c[seconds], 1)]
    columns.append(shown(display_c[seconds] + 0.02 * noise.standard_normal(seconds.size), 1))
    for column, place in enumerate(PLACES.values()):
        true_c = junctions[seconds, column]
        spread = READING_NOISE_C[place.sensor[0]] * noise.standard_normal(seconds.size)
        columns.append(shown(true_c + true_error(place.sensor, true_c) + spread, 1))
    for sensor, at, lag_s in LENSES.values():
        glass = np.empty(air_c.size)
        state = room_c
        for second, around in enumerate(junctions[:, names.index(at)]):
            state += STEP_S / lag_s * (float(around) - state)
            glass[second] = state
        true_c = glass[seconds]
        spread = READING_NOISE_C["T"] * noise.standard_normal(seconds.size)
        columns.append(shown(true_c + lens_error(sensor, true_c) + spread, 1))
    level = oxygen(seconds) + 0.004 * noise.standard_normal(seconds.size)
    columns.append(shown(np.maximum(level, 0.0), 2))
    channels = ",".join(f"{place.channel} (°C)" for place in PLACES.values())
    lenses = ",".join(f"{name} (°C)" for name in LENSES)
    header = f"Time,SP (°C),PV (°C),{channels},{lenses},O2 (%)"
    return lines_of(header, start, seconds.tolist(), columns)


def lens_certificates(noise: np.random.RandomState) -> bytes:
    """The certificates of the two sensors in the load, as those of the locations."""
    lines = ["channel,sensor,temperature,correction,expanded_uncertainty,coverage_factor,unit"]
    for name, (sensor, _, _) in LENSES.items():
        for true_c, uncertainty in zip(CALIBRATION_POINTS_C, EXPANDED_UNCERTAINTY_C["T"], strict=True):
            error = float(lens_error(sensor, np.array([true_c]))[0])
            found = error + 0.15 * uncertainty * float(noise.standard_normal())
            correction = -round(found, 2) + 0.0
            point = f"{true_c - correction:.2f},{correction:.2f},{uncertainty:.2f},2,C"
            lines.append(f"{name},{sensor},{point}")
    return ("\n".join(lines) + "\n").encode("ascii")


def lens_sensors_in_empty_oven(start: datetime, empty: Recorded, noise: np.random.RandomState) -> bytes:
    """The second logger beside the survey of the empty oven: the load's sensors lie on the middle shelf."""
    column = list(PLACES).index("C")
    around = empty.locations_c[:, column] - true_error(PLACES["C"].sensor, empty.locations_c[:, column])
    share = float(empty.seconds[1] - empty.seconds[0]) / (EMPTY_LENS_LAG_S + 30.0)
    columns = []
    for sensor, _, _ in LENSES.values():
        glass = np.empty(around.size)
        state = float(around[0])
        for row, air in enumerate(around):
            state += share * (float(air) - state)
            glass[row] = state
        spread = READING_NOISE_C["T"] * noise.standard_normal(glass.size)
        columns.append(shown(glass + lens_error(sensor, glass) + spread, 1))
    header = "Time," + ",".join(f"{name} (°C)" for name in LENSES)
    return lines_of(header, start, empty.seconds.tolist(), columns)


def stage_files(start: datetime, empty: Recorded) -> dict[str, bytes]:
    """Contents of every file by its name; `empty` is the survey of the empty oven."""

    def noise(number: int) -> np.random.RandomState:
        """A stream for each file, so that a change to one leaves the others as they are."""
        return np.random.RandomState(SEED + number)

    return {
        "certificates-lens-invented.csv": lens_certificates(noise(0)),
        "ov3-empty-lens-sensors-invented.csv": lens_sensors_in_empty_oven(start, empty, noise(1)),
        "ov3-trip-point-invented.csv": trip_point(noise(2)),
        "ov3-excess-temperature-invented.csv": excess_temperature(noise(3)),
        "ov3-low-gas-pressure-invented.csv": low_gas_pressure(noise(4)),
        "ov3-high-oxygen-invented.csv": high_oxygen(noise(5)),
        "ov3-purge-invented.csv": purge_with_dead_leg(noise(6)),
        "ov3-cool-down-invented.csv": cool_down(noise(7)),
        "ov3-loaded-run-1-invented.csv": loaded_run(1, datetime(2026, 3, 13, 7, 30), 21.4, noise(8)),
        "ov3-loaded-run-2-invented.csv": loaded_run(2, datetime(2026, 3, 16, 7, 40), 22.2, noise(9)),
        "ov3-loaded-run-3-invented.csv": loaded_run(3, datetime(2026, 3, 17, 7, 35), 21.7, noise(10)),
    }
