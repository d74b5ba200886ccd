"""Invented recordings for screening, honest ones and ones with a planted fault, evaluated in memory."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from qualify.plan.model import CertificateChoice, Exclusion, Hold, Location, Plan, Stage, Survey
from qualify.readings.model import Channel, ReadOptions, Recording
from qualify.sensors.certificates import Certificates
from qualify.stages.survey import SurveyResult, run_survey
from qualify.units import Celsius, CelsiusDifference, TemperatureUnit

Array = NDArray[np.float64]

SCREENING_KINDS = frozenset(
    {
        "spike",
        "stuck-value",
        "impossible-rate",
        "open-circuit-ramp",
        "sensor-moved",
        "junction-step",
        "channels-swapped",
        "resolution-coarse",
        "interval-long",
        "disagrees-at-ambient",
        "beyond-sensor-range",
    }
)


@dataclass(frozen=True)
class Invented:
    """A recording of one hold: instants [s], readings [°C], the step it is rounded to, its set point."""

    seconds: Array
    values_c: Array
    step_c: float
    noise_c: float
    setpoint_c: float
    heat_start: int
    steady: int
    cool_down: int

    def rounded(self, values_c: Array) -> Array:
        """Readings as this logger writes them."""
        return np.round(np.round(values_c / self.step_c) * self.step_c, 3)


def lagged(values: Array, lag_s: float, step_s: float) -> Array:
    """First-order lag of a series that begins settled."""
    share = 1.0 - np.exp(-step_s / lag_s)
    result = np.empty_like(values)
    now = values[0]
    for index, value in enumerate(values.tolist()):
        now += share * (value - now)
        result[index] = now
    return result


def honest(random: np.random.Generator) -> Invented:
    """An oven that behaves: ambient, heat-up with overshoot, soak with a control cycle, cool-down."""
    step_s = float(random.choice([5.0, 10.0, 30.0, 60.0]))
    count = int(random.integers(4, 17))
    setpoint = float(random.uniform(60.0, 300.0))
    ambient = float(random.uniform(18.0, 26.0))
    before, heating, soaking, cooling = 600.0, 3600.0, float(random.uniform(5400.0, 7200.0)), 2400.0
    seconds = np.arange(0.0, before + heating + soaking + cooling, step_s)
    time = np.clip(seconds - before, 0.0, None)
    constant = float(random.uniform(300.0, 700.0))
    air = setpoint - (setpoint - ambient) * np.exp(-time / constant)
    air += random.uniform(0.0, 3.0) * np.exp(-(((time - 4 * constant) / (0.7 * constant)) ** 2))
    end = before + heating + soaking
    cold = seconds >= end
    air[cold] = ambient + (air[~cold][-1] - ambient) * np.exp(-(seconds[cold] - end) / 900.0)
    warmth = (air - ambient) / (setpoint - ambient)
    kind = random.choice(["white", "autoregressive", "cycle"])
    noise_c = float(random.uniform(0.03, 0.3))
    if kind == "cycle":
        period = float(random.uniform(max(120.0, 5 * step_s), 900.0))
        air += random.uniform(0.2, 1.5) * np.sin(2 * np.pi * seconds / period) * np.clip(warmth, 0, 1)
    values = np.empty((seconds.size, count))
    for column in range(count):
        place = lagged(air, float(random.uniform(8.0, 90.0)), step_s)
        share = float(random.normal(0.0, 0.005))
        scatter = random.normal(0.0, noise_c, seconds.size)
        if kind == "autoregressive":
            for index in range(1, scatter.size):
                scatter[index] = 0.8 * scatter[index - 1] + 0.6 * scatter[index]
        offset = random.normal(0.0, 0.25)
        values[:, column] = place + share * (place - ambient) + offset + scatter
    step_c = float(random.choice([0.1, 1.0]))
    made = Invented(
        seconds,
        values,
        step_c,
        noise_c,
        setpoint,
        int(before / step_s),
        int((before + 5 * constant + 900.0) / step_s),
        int(end / step_s),
    )
    return replace(made, values_c=made.rounded(values))


def recording_of(seconds: Array, values_c: Array, *, files: Sequence[str] = ()) -> Recording:
    """A recording as the readers would give it; `files` names the file of each channel."""
    files = files or ["run.csv"] * values_c.shape[1]
    channels = tuple(
        Channel(f"T{number}", f"T{number} (°C)", file, "°C") for number, file in enumerate(files, start=1)
    )
    return Recording(
        seconds=seconds,
        start=datetime(2026, 3, 2, 8),
        utc_offset=None,
        channels=channels,
        units=(TemperatureUnit.C,) * len(channels),
        raw_c=values_c,
        rows={file: np.arange(seconds.size) + 2 for file in dict.fromkeys(files)},
        layouts={file: {} for file in dict.fromkeys(files)},
    )


def survey_of(
    seconds: Array,
    values_c: Array,
    setpoint_c: float,
    *,
    tolerance_c: float = 6.0,
    files: Sequence[str] = (),
    types: Sequence[str] = (),
    start_s: float | None = None,
    exclusions: Sequence[Exclusion] = (),
    certificates: Certificates | None = None,
) -> SurveyResult:
    """Evaluate one hold; `types` are the sensors' types where the plan names them."""
    hold = Hold(
        name="hold",
        setpoint=Celsius(setpoint_c),
        low=CelsiusDifference(-tolerance_c),
        high=CelsiusDifference(tolerance_c),
        start=None if start_s is None else f"{start_s:g}",
        minutes=None if start_s is None else 30.0,
    )
    survey = Survey(name="run", stage=Stage.OPERATION, files=("run.csv",), read=ReadOptions(), holds=(hold,))
    locations = tuple(
        Location(name=f"T{number}", channel=f"T{number}", sensor_type=kind)
        for number, kind in enumerate(types, start=1)
    )
    plan = Plan(
        surveys=(survey,),
        locations=locations,
        exclusions=tuple(exclusions),
        certificates=None if certificates is None else CertificateChoice(file="certificates.csv"),
        from_options=True,
    )
    return run_survey(plan, survey, recording_of(seconds, values_c, files=files), certificates, 0)


def screening_doubts(result: SurveyResult) -> list[tuple[str, str]]:
    """Kind and text of every doubt that screening gave."""
    return [
        (doubt.kind, doubt.text)
        for record in result.records
        for doubt in record.doubts
        if doubt.kind in SCREENING_KINDS
    ]
