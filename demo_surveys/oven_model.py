"""The physical model of the demo's oven: heat, control, locations, sensors, oxygen.

Oven, sensors and readings are invented. README.md in this folder gives the equations. Only numpy and
the standard library are used, and nothing of qualify.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

STEP_S = 1  # step of the simulation

# --- The oven -----------------------------------------------------------------------------------

BANKS = 4  # heater banks; whole banks are switched on, one more is time-proportioned
BANK_W = 1200.0
CYCLE_S = 180  # time-proportioning cycle of that one bank
HEATER_J_PER_K = 9_000.0
AIR_J_PER_K = 4_000.0  # nitrogen, fan and air ducts
LINER_J_PER_K = 30_000.0  # inner walls and racks
INSULATION_J_PER_K = 20_000.0
HEATER_TO_AIR_W_PER_K = 60.0
AIR_TO_LINER_W_PER_K = 160.0
LINER_TO_INSULATION_W_PER_K = 9.0
INSULATION_TO_ROOM_W_PER_K = 9.0
PURGE_W_PER_K = 1.2  # warm nitrogen leaves through the vent
DAMPER_W_PER_K = 45.0  # the same with the damper open, while the oven cools
CONTROL_DELAY_S = 12  # the air's way from the heater to the control sensor
CONTROL_LAG_S = 20.0
CONTROL_ERROR_C = 0.2  # the controller shows this much too much
PROPORTIONAL_BAND_C = 14.0
INTEGRAL_TIME_S = 200.0
MAINS_SHARE, MAINS_LAG_S = 0.015, 300.0  # the heating power wanders with the mains
EDDY_SHARE, EDDY_LAG_S = 0.0005, 30.0  # eddies, as a share of (air − room) at each place

VOLUME_L = 420.0
OXYGEN_OF_AIR = 20.9
OXYGEN_SUPPLY = 0.02
PURGE_L_PER_MIN = 60.0
MIXING = 0.9


@dataclass(frozen=True)
class Place:
    """A location: its channel and sensor, and how the air there differs from the mixed air.

    `offset` is the share of (air − room) by which the place is warmer; `lag_s` the local lag and
    `delay_s` the air's way to it.
    """

    channel: str
    sensor: str
    offset: float
    lag_s: float
    delay_s: int


# F front, R rear; L lower, U upper; L left, R right. C centre, WL and WR the middles of the side
# walls, RET in front of the return-air grille. plan files give the positions.
PLACES = {
    "FLL": Place("CH01", "K-01", -0.0150, 70.0, 14),
    "FLR": Place("CH02", "T-01", -0.0078, 60.0, 13),
    "FUL": Place("CH03", "T-02", -0.0036, 45.0, 10),
    "FUR": Place("CH04", "K-02", -0.0018, 42.0, 10),
    "RLL": Place("CH05", "T-03", -0.0040, 38.0, 9),
    "RLR": Place("CH06", "T-04", 0.0012, 35.0, 8),
    "RUL": Place("CH07", "K-03", 0.0062, 22.0, 5),
    "RUR": Place("CH08", "T-05", 0.0080, 20.0, 5),
    "C": Place("CH09", "T-06", 0.0006, 40.0, 8),
    "WL": Place("CH10", "K-04", -0.0030, 36.0, 8),
    "WR": Place("CH11", "T-07", 0.0026, 32.0, 7),
    "RET": Place("CH12", "K-05", -0.0022, 48.0, 12),
}

# --- The sensors --------------------------------------------------------------------------------

SENSOR_LAG_S = {"T": 6.0, "K": 9.0}
READING_NOISE_C = {"T": 0.03, "K": 0.05}
CALIBRATION_POINTS_C = (15.0, 60.0, 120.0, 150.0, 180.0, 220.0)
EXPANDED_UNCERTAINTY_C = {
    "T": (0.30, 0.30, 0.30, 0.35, 0.35, 0.40),
    "K": (0.50, 0.50, 0.50, 0.55, 0.60, 0.60),
}
# The true error (indicated − true) of each sensor: a + b·t + c·t², t in 100 °C.
ERRORS = {
    "K-01": (0.10, 0.62, -0.05),
    "K-02": (-0.15, -0.48, -0.04),
    "K-03": (0.20, 0.45, 0.02),
    "K-04": (0.05, 0.78, -0.02),
    "K-05": (-0.10, -0.30, -0.10),
    "T-01": (0.05, 0.10, 0.04),
    "T-02": (-0.05, 0.16, 0.02),
    "T-03": (0.10, -0.14, -0.02),
    "T-04": (0.00, 0.22, 0.01),
    "T-05": (-0.08, -0.11, -0.03),
    "T-06": (0.03, 0.12, 0.05),
    "T-07": (0.06, -0.20, 0.02),
}


def true_error(sensor: str, true_c: FloatArray) -> FloatArray:
    """Error of a sensor (indicated − true) [°C] at true temperatures [°C]."""
    constant, slope, curve = ERRORS[sensor]
    hundreds = true_c / 100.0
    return constant + slope * hundreds + curve * hundreds * hundreds


# --- What is run --------------------------------------------------------------------------------


@dataclass(frozen=True)
class Stretch:
    """A set point [°C], how long it is kept [min], and whether the damper is open."""

    setpoint_c: float
    minutes: float
    damper_open: bool = False
    heating: bool = True


@dataclass(frozen=True)
class Run:
    """What was recorded: when it began, the reading interval, the room and the program."""

    start: datetime
    interval_s: int
    room_c: float
    stretches: tuple[Stretch, ...]
    offsets: dict[str, float]
    load_j_per_k: float = 0.0


@dataclass(frozen=True)
class Recorded:
    """Readings of a run, (n,) or (n, 12); the files round them to the logger's 0.1 °C and 0.01 %."""

    seconds: NDArray[np.int64]
    locations_c: FloatArray
    setpoint_c: FloatArray
    display_c: FloatArray
    oxygen_percent: FloatArray


def wandering(noise: np.random.RandomState, seconds: int, size: int, lag_s: float) -> FloatArray:
    """First-order random series of unit standard deviation, (seconds, size)."""
    kept = 1.0 - STEP_S / lag_s
    pushes = (1.0 - kept * kept) ** 0.5 * noise.standard_normal((seconds, size))
    series = np.empty((seconds, size))
    state = np.zeros(size)
    for second in range(seconds):
        state = kept * state + pushes[second]
        series[second] = state
    return series


@dataclass
class Oven:
    """The oven and its controller; `second` runs them for one second, from the room's temperature on."""

    room_c: float
    load_j_per_k: float = 0.0
    heater_c: float = field(init=False)
    liner_c: float = field(init=False)
    insulation_c: float = field(init=False)
    sensed_c: float = field(init=False)
    integral: float = 0.0  # share of full power
    air_c: list[float] = field(default_factory=list)
    banks_on: float = 0.0

    def __post_init__(self) -> None:
        """Let everything be at the room's temperature."""
        self.heater_c = self.liner_c = self.insulation_c = self.sensed_c = self.room_c

    def second(
        self,
        setpoint_c: float,
        *,
        heating: bool,
        damper_open: bool,
        mains: float = 1.0,
        heat_allowed: bool = True,
    ) -> float:
        """Run one second; give the controller's display [°C]. `heat_allowed`: no protection cuts the heat."""
        room = self.room_c
        heater, liner, insulation = self.heater_c, self.liner_c, self.insulation_c
        second = len(self.air_c)
        air = self.air_c[-1] if second else room
        arriving = self.air_c[second - CONTROL_DELAY_S] if second >= CONTROL_DELAY_S else room
        self.sensed_c += STEP_S / CONTROL_LAG_S * (arriving - self.sensed_c)
        display = self.sensed_c + CONTROL_ERROR_C
        if heating:
            gap = setpoint_c - display
            wanted = gap / PROPORTIONAL_BAND_C + self.integral
            if 0.0 < wanted < 1.0:  # the integral rests while the output is at its stop
                self.integral += STEP_S / INTEGRAL_TIME_S * gap / PROPORTIONAL_BAND_C
        else:
            wanted = 0.0
        duty = min(max(wanted, 0.0), 1.0)
        whole, part = divmod(duty * BANKS, 1.0)
        on = whole + (1.0 if second % CYCLE_S < part * CYCLE_S else 0.0)
        self.banks_on = on if heat_allowed else 0.0
        power = BANK_W * self.banks_on * mains
        to_air = HEATER_TO_AIR_W_PER_K * (heater - air)
        to_liner = AIR_TO_LINER_W_PER_K * (air - liner)
        to_insulation = LINER_TO_INSULATION_W_PER_K * (liner - insulation)
        vent = DAMPER_W_PER_K if damper_open else PURGE_W_PER_K
        heater += STEP_S * (power - to_air) / HEATER_J_PER_K
        air += STEP_S * (to_air - to_liner - vent * (air - room)) / AIR_J_PER_K
        liner += STEP_S * (to_liner - to_insulation) / (LINER_J_PER_K + self.load_j_per_k)
        to_room = INSULATION_TO_ROOM_W_PER_K * (insulation - room)
        insulation += STEP_S * (to_insulation - to_room) / INSULATION_J_PER_K
        self.heater_c, self.liner_c, self.insulation_c = heater, liner, insulation
        self.air_c.append(air)
        return display


def simulate_air(run: Run, noise: np.random.RandomState) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Run the oven and its controller second by second.

    Returns
    -------
    air_c, setpoint_c, display_c : (seconds,) float64
        Mixed air, set point and the controller's display [°C].
    """
    length = round(sum(stretch.minutes for stretch in run.stretches) * 60 / STEP_S)
    mains = (1.0 + MAINS_SHARE * wandering(noise, length, 1, MAINS_LAG_S)[:, 0]).tolist()
    oven = Oven(run.room_c, run.load_j_per_k)
    setpoint_c: list[float] = []
    display_c: list[float] = []
    for stretch in run.stretches:
        for _ in range(round(stretch.minutes * 60 / STEP_S)):
            display = oven.second(
                stretch.setpoint_c,
                heating=stretch.heating,
                damper_open=stretch.damper_open,
                mains=mains[len(oven.air_c)],
            )
            setpoint_c.append(stretch.setpoint_c)
            display_c.append(display)
    return np.array(oven.air_c), np.array(setpoint_c), np.array(display_c)


def true_at_sensors(run: Run, air_c: FloatArray, noise: np.random.RandomState) -> FloatArray:
    """Temperature of each sensor's junction, second by second: delay, local lag, sensor lag [°C]."""
    offset = np.array([run.offsets.get(name, place.offset) for name, place in PLACES.items()])
    lag = np.array([place.lag_s for place in PLACES.values()])
    sensor_lag = np.array([SENSOR_LAG_S[place.sensor[0]] for place in PLACES.values()])
    delay = np.array([place.delay_s for place in PLACES.values()])
    eddies = EDDY_SHARE * wandering(noise, air_c.size, len(PLACES), EDDY_LAG_S)
    local = np.full(len(PLACES), run.room_c)
    junction = local.copy()
    junctions = np.empty((air_c.size, len(PLACES)))
    for second in range(air_c.size):
        arriving = air_c[np.maximum(second - delay, 0)]
        local += STEP_S / lag * (arriving + (offset + eddies[second]) * (arriving - run.room_c) - local)
        junction += STEP_S / sensor_lag * (local - junction)
        junctions[second] = junction
    return junctions


def oxygen(seconds: NDArray[np.int64]) -> FloatArray:
    """Oxygen of a well-mixed chamber under purge [% by volume], the purge on from the first second.

    The decay is multiplied up second by second: products are the same on every machine, which
    library exponentials need not be.
    """
    per_second = 1.0 - MIXING * PURGE_L_PER_MIN / 60.0 / VOLUME_L
    level = np.cumprod(np.full(int(seconds[-1]) + 1, per_second))
    return OXYGEN_SUPPLY + (OXYGEN_OF_AIR - OXYGEN_SUPPLY) * level[seconds]


def record(run: Run, noise: np.random.RandomState) -> Recorded:
    """Read the run as the logger would: sensor error and noise; rounding is left to the files."""
    air_c, setpoint_c, display_c = simulate_air(run, noise)
    seconds = np.arange(0, air_c.size, run.interval_s)
    junctions = true_at_sensors(run, air_c, noise)[seconds]
    readings = np.empty(junctions.shape)
    for column, place in enumerate(PLACES.values()):
        spread = READING_NOISE_C[place.sensor[0]]
        readings[:, column] = (
            junctions[:, column]
            + true_error(place.sensor, junctions[:, column])
            + spread * noise.standard_normal(seconds.size)
        )
    display = display_c[seconds] + 0.02 * noise.standard_normal(seconds.size)
    shown = np.maximum(oxygen(seconds) + 0.004 * noise.standard_normal(seconds.size), 0.0)
    return Recorded(seconds, readings, setpoint_c[seconds], display, shown)
