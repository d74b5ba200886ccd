"""Evaluations to draw, made without the pipeline: figures by numpy, everything else made up."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import numpy as np

from qualify.evidence import Evaluation, HoldEvidence, Readings, RecordingEvidence
from qualify.figures.absent import Absent, Maybe
from qualify.readings.model import Channel, FloatArray, Recording
from qualify.record import (
    ChamberBudgetRecord,
    ChamberRecord,
    CombinedRecord,
    ContributionRecord,
    Decision,
    LocationBudgetRecord,
    LocationRecord,
    PlanRecord,
    Record,
    SurveyRecord,
    UncertaintyRecord,
    WindowRecord,
)
from qualify.units import TemperatureUnit

NOT_MADE = Absent("not made here")


def positions(count: int, levels: int, size: tuple[float, float, float]) -> list[tuple[float, float, float]]:
    """Spread locations over shelves; heights on a shelf differ a little."""
    per_level = -(-count // levels)
    columns = max(1, round(np.sqrt(per_level)))
    places = []
    for number in range(count):
        level, spot = divmod(number, per_level)
        row, column = divmod(spot, columns)
        rows = -(-per_level // columns)
        x = size[0] * (0.08 + 0.84 * (column / (columns - 1) if columns > 1 else 0.5))
        y = size[1] * (0.08 + 0.84 * (row / (rows - 1) if rows > 1 else 0.5))
        z = size[2] * (0.05 + 0.9 * (level / (levels - 1) if levels > 1 else 0.5)) + 4.0 * (spot % 3)
        places.append((x, y, z))
    return places


def make_evaluation(
    *,
    locations: int = 12,
    setpoints: tuple[float, ...] = (180.0,),
    units: str = "°C",
    on_clock: bool = True,
    step_seconds: float = 30.0,
    before_s: float = 1200.0,
    hold_s: float = 7200.0,
    window_s: float = 1800.0,
    after_s: float = 3600.0,
    tolerance_c: float | None = 3.0,
    spread_c: float = 1.2,
    levels: int = 3,
    zone: str | None = "box",
    placed: bool = True,
    uncertainty_c: float | None = 0.8,
    sources: int = 0,
    chamber_budget: bool = False,
    with_window: bool = True,
    names: tuple[str, ...] | None = None,
    recording_set_point: bool = False,
    far_location_c: float | None = None,
    name: str = "First survey",
    verdict: Decision = Decision.CONDITIONAL,
    seed: int = 1,
) -> Evaluation:
    """Make one recording that heats to each set point in turn, then cools."""
    rng = np.random.default_rng(seed)
    total = before_s + hold_s * len(setpoints) + after_s
    seconds = np.arange(0.0, total + step_seconds / 2, step_seconds)
    n = seconds.size
    offsets = rng.normal(0.0, spread_c, locations)
    lags = rng.uniform(500.0, 800.0, locations)
    chamber = np.full((n, locations), 22.0) + rng.normal(0, 0.05, (1, locations))
    set_point = np.full(n, 20.0)
    begins = [before_s + number * hold_s for number in range(len(setpoints))]
    for begin, target in zip(begins, setpoints, strict=True):
        after = seconds >= begin
        since = (seconds[after] - begin)[:, None]
        start = chamber[after][0]
        near = 1.0 - np.exp(-since / lags) * np.cos(since / 900.0)
        chamber[after] = start + (target + offsets - start) * near
        chamber[after] += 0.4 * np.sin(2 * np.pi * since / 420.0 + offsets)
        set_point[after] = target
    end = before_s + hold_s * len(setpoints)
    cooling = seconds >= end
    chamber[cooling] = 22.0 + (chamber[cooling][0] - 22.0) * np.exp(
        -(seconds[cooling] - end)[:, None] / 2500.0
    )
    set_point[cooling] = 20.0
    raw: FloatArray = chamber + rng.normal(0.0, 0.08, chamber.shape)
    if far_location_c is not None:
        raw[:, -1] = far_location_c + rng.normal(0.0, 0.2, n)
    called = names or tuple(f"T{number:02d}" for number in range(1, locations + 1))
    start = datetime(2026, 1, 20, 7, 12, 30) if on_clock else None
    recording = Recording(
        seconds=seconds,
        start=start,
        utc_offset=None,
        channels=tuple(Channel(each, each, "survey.csv", "°C") for each in called),
        units=(TemperatureUnit.C,) * locations,
        raw_c=raw,
        rows={"survey.csv": np.arange(2, n + 2)},
        layouts={},
    )
    readings = Readings(
        recording=recording,
        locations=called,
        channel_index=tuple(range(locations)),
        raw_c=raw,
        corrected_c=raw,
        calibrated=np.ones(raw.shape, dtype=np.bool_),
        corrections=(None,) * locations,
    )
    size = (600.0, 500.0, 750.0) if zone != "cylinder" else (600.0, 600.0, 900.0)
    places = positions(locations, levels, size)
    if zone == "cylinder":  # the inscribed square
        places = [(300.0 + 0.75 * (x - 300.0), 300.0 + 0.75 * (y - 300.0), z) for x, y, z in places]
    surveys: list[SurveyRecord] = []
    holds: list[HoldEvidence] = []
    for number, (begin, target) in enumerate(zip(begins, setpoints, strict=True)):
        hold = (int(np.searchsorted(seconds, begin)), int(np.searchsorted(seconds, begin + hold_s)) - 1)
        close = float(seconds[hold[1]])
        open_s = close - window_s
        window = (int(np.searchsorted(seconds, open_s - 1e-3)), hold[1]) if with_window else None
        low = None if tolerance_c is None else target - tolerance_c
        high = None if tolerance_c is None else target + tolerance_c
        records = tuple(
            location_record(
                each,
                raw[window[0] : window[1] + 1, column] if window else np.empty(0),
                places[column] if placed else None,
                target,
                uncertainty_c,
            )
            for column, each in enumerate(called)
        )
        surveys.append(
            SurveyRecord(
                name=f"{name}, {target:g} °C" if len(setpoints) > 1 else name,
                recording=name,
                hold=f"{target:g}",
                stage="operation",
                verdict=verdict,
                remarks=(),
                setpoint_c=target,
                tolerance_c=tolerance_c,
                limit_low_c=low,
                limit_high_c=high,
                window=window_record(recording, open_s, close, window) if window else NOT_MADE,
                heat_start=recording.iso(begin),
                heat_start_s=begin,
                heat_start_how="",
                hold_end_s=close,
                hold_end=recording.iso(close),
                hold_end_how="",
                starting_level_c=22.0,
                steady_s=open_s - 600.0 if with_window else NOT_MADE,
                entered_from="below",
                reference_location=called[locations // 2],
                chamber=ChamberRecord(**dict.fromkeys(ChamberRecord.__dataclass_fields__, NOT_MADE)),
                variants=(),
                locations=records,
                indications=(),
                requirements=(),
                doubts=(),
                uncertainty=budgets(called, sources, chamber_budget) if sources else NOT_MADE,
                simulation=NOT_MADE,
                statistics=NOT_MADE,
            )
        )
        holds.append(
            HoldEvidence(
                survey=number,
                setpoint_c=target,
                limit_low_c=low,
                limit_high_c=high,
                hold=hold,
                ground=hold,
                window=window,
                reference=locations // 2,
                entered_from_below=number == 0 or target > setpoints[number - 1],
            )
        )
    work_zone: dict[str, Any] | None = None
    if zone is not None:
        work_zone = {"shape": zone, "width_mm": size[0], "depth_mm": size[1], "height_mm": size[2]}
    record = Record(
        schema=1,
        software={"name": "qualify"},
        made_at="2026-01-21T00:00:00Z",
        units=units,
        settings={},
        replaces=None,
        inputs=(),
        plan=PlanRecord(
            title="",
            number="",
            revision="",
            scope="",
            people={},
            oven={},
            instruments=(),
            work_zone=work_zone,
            accept_conditional=False,
            from_options=False,
        ),
        verdict=verdict,
        surveys=tuple(surveys),
        replicates=(),
        certificates=(),
        deviations=(),
        conditions={},
        steps=(),
        cautions=(),
    )
    evidence = RecordingEvidence(
        name=name,
        readings=readings,
        holds=tuple(holds),
        set_point_c=set_point if recording_set_point else None,
    )
    return Evaluation(record=record, recordings=(evidence,), inputs=())


def budgets(names: tuple[str, ...], sources: int, with_chamber: bool) -> UncertaintyRecord:
    """Make budgets of so many sources a location: each half the one before, every third shared."""

    def rows(first_c: float, count: int) -> tuple[ContributionRecord, ...]:
        parts = [first_c * 0.5**number for number in range(count)]
        variance = sum(part**2 for part in parts)
        return tuple(
            ContributionRecord(
                source="calibration of the sensor" if number == 0 else f"invented source {number}",
                evaluation="B",
                shape="normal",
                stated_c=2.0 * part,
                divisor=2.0,
                standard_c=part,
                degrees_of_freedom=None,
                shared_with="all locations" if number % 3 == 2 else "",
                share=part**2 / variance,
                origin="invented",
            )
            for number, part in enumerate(parts)
        )

    def combined(contributions: tuple[ContributionRecord, ...]) -> CombinedRecord:
        standard_c = sum(item.standard_c**2 for item in contributions) ** 0.5
        return CombinedRecord(
            standard_c=standard_c, effective_degrees=None, coverage_factor=2.0, expanded_c=2.0 * standard_c
        )

    def of_location(number: int, name: str) -> LocationBudgetRecord:
        own = rows(0.2 + 0.05 * (number % 3), max(1, sources - number % 2))
        return LocationBudgetRecord(
            location=name,
            contributions=own,
            reading=combined(own),
            repeatability=None,
            mean=NOT_MADE,
            left_out=("radiation", "self-heating"),
            covered=(),
        )

    of_chamber = rows(0.6, sources + 2)
    chamber = ChamberBudgetRecord(
        location=names[0], contributions=of_chamber, combined=combined(of_chamber), left_out=()
    )
    return UncertaintyRecord(
        locations=tuple(of_location(number, name) for number, name in enumerate(names)),
        chamber=chamber if with_chamber else NOT_MADE,
        calibration_correlation=0.0,
    )


def window_record(
    recording: Recording, start_s: float, end_s: float, window: tuple[int, int]
) -> WindowRecord:
    """Make the window's part of the record."""
    first, last = window
    return WindowRecord(
        start=recording.iso(start_s),
        end=recording.iso(end_s),
        start_s=start_s,
        end_s=end_s,
        readings=last - first + 1,
        first_s=float(recording.seconds[first]),
        last_s=float(recording.seconds[last]),
        declared=False,
        filled=True,
        evenly_spaced=True,
        interval_s=float(recording.seconds[1] - recording.seconds[0]),
        complete_instants=last - first + 1,
    )


def location_record(
    name: str,
    values: FloatArray,
    position: tuple[float, float, float] | None,
    setpoint_c: float,
    uncertainty_c: float | None,
) -> LocationRecord:
    """Make a location's part of the record from its readings in the window."""
    known: dict[str, Maybe] = dict.fromkeys(LocationRecord.__dataclass_fields__, NOT_MADE)
    finite = values[np.isfinite(values)]
    if finite.size:
        known |= {
            "mean_c": float(finite.mean()),
            "min_c": float(finite.min()),
            "max_c": float(finite.max()),
            "deviation_max_c": float(finite.max()) - setpoint_c,
            "deviation_min_c": float(finite.min()) - setpoint_c,
        }
    if uncertainty_c is not None:
        known |= {"expanded_uncertainty_c": uncertainty_c, "coverage_factor": 2.0}
    rest: dict[str, Any] = known | {
        "location": name,
        "channel": name,
        "sensor": "",
        "sensor_type": "",
        "position_mm": position,
        "readings": finite.size,
    }
    return LocationRecord(**rest)
