"""Evaluations made by hand, to test what shows them: readings of an invented oven and their record."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from types import SimpleNamespace
from typing import Any

import numpy as np

from qualify.evidence import Evaluation, HoldEvidence, Readings, RecordingEvidence
from qualify.figures.absent import Absent, Maybe
from qualify.figures.budget import Budget
from qualify.figures.instants import evenly_spaced
from qualify.figures.response import overshoot_c, time_to_band_s, undershoot_c
from qualify.figures.series import MeanError
from qualify.figures.uniformity import Window, chamber_uniformity, location_uniformity, variants
from qualify.findings import Doubt
from qualify.inference.field import FieldEstimate, estimate_field
from qualify.inference.field_places import FieldZone
from qualify.inference.locations import compare_locations
from qualify.inference.monte_carlo import simulate, window_extremes
from qualify.inference.steadiness import steadiness_test
from qualify.plan.model import Location
from qualify.plan.statistics import StatisticsChoice
from qualify.plan.uncertainty import StatedSource, UncertaintyChoice
from qualify.readings.model import Channel, FloatArray, Recording
from qualify.record import (
    CertificatePointRecord,
    ChamberRecord,
    Decision,
    DeviationRecord,
    InputRecord,
    LocationRecord,
    OtherRule,
    PlanRecord,
    Record,
    RequirementRecord,
    RiskRecord,
    SeriesRecord,
    SimulationRecord,
    StatisticsRecord,
    SurveyRecord,
    UncertaintyRecord,
    VariantRecord,
    WhatIfRecord,
    WindowRecord,
)
from qualify.sensors.corrections import Correction, Step
from qualify.sensors.curves import fit_curve
from qualify.stages.budgets import LocationBudgets, location_budgets, uncertainty_record
from qualify.stages.reading_budget import reading_budget
from qualify.stages.replicates import replicates
from qualify.stages.simulation import error_sources, simulation_record
from qualify.units import TemperatureUnit, temperature_from_c, temperature_to_c

ABSENT = Absent("not computed here")

_VARIANT_NAMES = {
    "ams2750-uniformity-high": ("AMS2750", "uniformity high"),
    "ams2750-uniformity-low": ("AMS2750", "uniformity low"),
    "iec60068-3-5-gradient": ("IEC 60068-3-5", "temperature gradient"),
    "iec60068-3-5-variation-in-space": ("IEC 60068-3-5", "temperature variation in space"),
    "iec60068-3-5-fluctuation": ("IEC 60068-3-5", "temperature fluctuation"),
    "dkd-r-5-7-inhomogeneity": ("DKD-R 5-7", "spatial inhomogeneity"),
    "dkd-r-5-7-instability": ("DKD-R 5-7", "temporal instability"),
    "tlas-g20-uniformity": ("TLAS G-20", "uniformity"),
    "tlas-g20-stability": ("TLAS G-20", "stability"),
    "tlas-g20-overall-variation": ("TLAS G-20", "overall variation"),
    "jjf1101-uniformity": ("JJF 1101 style", "uniformity"),
    "jjf1101-deviation-high": ("JJF 1101 style", "deviation high"),
    "jjf1101-deviation-low": ("JJF 1101 style", "deviation low"),
    "jjf1101-fluctuation": ("JJF 1101 style", "fluctuation"),
}


@dataclass(frozen=True)
class Case:
    """What an invented recording is like."""

    locations: int = 12
    instants: int = 200
    interval_s: float = 30.0
    unit: TemperatureUnit = TemperatureUnit.C
    holds_c: tuple[float, ...] = (180.0,)
    corrections: bool = True
    curves: bool = False
    absent: tuple[tuple[int, int], ...] = ()
    uneven: bool = False
    clock: bool = True
    names: tuple[str, ...] = ()
    reference: int | None = 0
    tolerance_c: float = 3.0
    words: str = "invented"
    seed: int = 7
    sources: tuple[StatedSource, ...] = ()
    """What the plan states beside the certificates."""
    of_chamber: tuple[StatedSource, ...] = ()
    correlation: float = 0.0
    factor: float = 2.0
    """Coverage factor of the sensors' certificates."""
    effective: float = 25.0
    """Effective readings of the first location; one more at each that follows."""
    simulated: bool = False
    statistics: bool = False
    """Whether the locations are compared and tested; what-if rows and risks are then made up."""
    stage: str = "operation"


def readings_as_recorded(case: Case) -> FloatArray:
    """Make (n, m) readings in the unit of the file, with the decimals that a logger writes."""
    random = np.random.default_rng(case.seed)
    n, m = case.instants, case.locations
    per_hold = n // len(case.holds_c)
    level = 22.0
    parts = []
    for index, setpoint in enumerate(case.holds_c):
        count = per_hold if index < len(case.holds_c) - 1 else n - per_hold * index
        step = np.arange(count)
        part = setpoint + (level - setpoint) * np.exp(-np.maximum(step - count / 20, 0) / (count / 25))
        if setpoint > level:
            part += 2.5 * np.exp(-(((step - count * 0.35) / (count * 0.06)) ** 2))
        parts.append(part)
        level = setpoint
    mean = np.concatenate(parts)
    offsets = random.normal(0.0, 0.6, m)
    share = (mean - 22.0) / 160.0
    values = mean[:, None] + share[:, None] * offsets + random.normal(0.0, 0.08, (n, m))
    values = np.round(temperature_from_c(values, case.unit), 1 if case.unit is TemperatureUnit.F else 2)
    for row, column in case.absent:
        values[row, column] = np.nan
    return values


def seconds_of(case: Case) -> FloatArray:
    """Make the instants [s]."""
    seconds = np.arange(case.instants) * case.interval_s
    if case.uneven:
        random = np.random.default_rng(case.seed + 1)
        seconds = np.round(seconds + random.uniform(-0.35, 0.35, case.instants) * case.interval_s, 1)
    return seconds - seconds[0]


def corrections_of(case: Case) -> tuple[Correction | None, ...]:
    """Make certificates: none, one point, several points, channel then sensor, by turns."""
    if not case.corrections:
        return (None,) * case.locations
    made = []
    row = 2
    for index in range(case.locations):
        low = 0.1 + 0.02 * index
        sensor = Step(
            of="sensor",
            temperature_c=np.array([50.0, 120.0, 180.5, 250.0]),
            correction_c=np.array([low, low - 0.23, 0.31 - low, 0.4]),
            expanded_uncertainty_c=np.array([0.3, 0.35, 0.4, 0.6]),
            coverage_factor=np.full(4, case.factor),
            rows=tuple(range(row, row + 4)),
        )
        row += 4
        channel = Step(
            of="channel",
            temperature_c=np.array([0.0, 300.0]),
            correction_c=np.array([-0.05, 0.11]),
            expanded_uncertainty_c=np.array([0.1, 0.12]),
            coverage_factor=np.array([2.0, 2.0]),
            rows=(row, row + 1),
        )
        row += 2
        single = replace(
            sensor,
            temperature_c=np.array([180.0]),
            correction_c=np.array([-0.17]),
            expanded_uncertainty_c=np.array([0.3]),
            coverage_factor=np.array([case.factor]),
            rows=(row,),
        )
        row += 1
        steps = ((channel, sensor), (sensor,), (single,), (replace(sensor, of="loop"),))[index % 4]
        if case.curves:
            steps = _curved(steps[-1] if index % 4 != 2 else sensor, channel, index)
        made.append(Correction(steps=steps, reach_c=200.0, reach_uncertainty_c=0.25))
    return tuple(made)


def _curved(sensor: Step, channel: Step, index: int) -> tuple[Step, ...]:
    """Make a line, a parabola or a cubic, or points with a private part alone, by turns."""
    six = np.array([40.0, 90.0, 120.0, 170.5, 190.0, 260.0])
    longer = replace(
        sensor,
        temperature_c=six,
        correction_c=np.interp(six, sensor.temperature_c, sensor.correction_c),
        expanded_uncertainty_c=np.array([0.3, 0.35, 0.4, 0.6, 0.5, 0.3]),
        coverage_factor=np.full(6, 2.0),
        rows=tuple(sensor.rows[0] for _ in six),
        private_uncertainty_c=np.array([0.1, 0.05, 0.2, 0.15, 0.12, 0.3]),
    )
    degree = index % 4
    if degree == 0:
        return channel, longer
    curve = fit_curve(longer.temperature_c, longer.correction_c, degree)
    return (replace(longer, curve=curve),)


def _slope(seconds: FloatArray, values: FloatArray) -> Maybe:
    there = ~np.isnan(values)
    if there.sum() < 2:
        return ABSENT
    time = (seconds[there] - seconds[there].mean()) / 3600
    return float(np.dot(time, values[there]) / np.dot(time, time))


def _stretch(case: Case, readings: Readings, hold: HoldEvidence) -> Any:
    """What the stages of the budgets take from a hold, and nothing else."""
    places = tuple(
        Location(name=name, channel=readings.recording.channels[index].name, sensor_type="K")
        for name, index in zip(readings.locations, readings.channel_index, strict=True)
    )
    choice = UncertaintyChoice(
        sources=case.sources, of_chamber=case.of_chamber, calibration_correlation=case.correlation
    )
    first, last = hold.window or (0, -1)

    def budget_of(column: int, rows: slice) -> Budget | Absent:
        return reading_budget(
            choice, places[column], readings.corrections[column], readings.raw_c[rows, column]
        )

    return SimpleNamespace(
        uncertainty=choice,
        assigned=SimpleNamespace(places=places),
        readings=readings,
        found=SimpleNamespace(window=SimpleNamespace(first=first, last=last)),
        budget_of=budget_of,
    )


def _simulation(
    case: Case, readings: Readings, hold: HoldEvidence, budgets: Any
) -> SimulationRecord | Absent:
    """A simulation of few trials: what it shows is not what it is tested for."""
    sources = error_sources([item.reading for item in budgets])
    if not case.simulated or isinstance(sources, Absent):
        return sources if isinstance(sources, Absent) else ABSENT
    assert hold.window is not None
    window = slice(hold.window[0], hold.window[1] + 1)
    found = simulate(
        window_extremes(readings.corrected_c[window], readings.recording.seconds[window]),
        sources,
        setpoint_c=hold.setpoint_c,
        limit_low_c=hold.limit_low_c,
        limit_high_c=hold.limit_high_c,
        seed=1,
        most_trials=2_000,
    )
    return simulation_record(_stretch(case, readings, hold), found)


def _location(
    case: Case, readings: Readings, index: int, hold: HoldEvidence, window: slice
) -> tuple[LocationRecord, LocationBudgets]:
    seconds = readings.recording.seconds[window]
    values, raw_c = readings.corrected_c[window, index], readings.raw_c[window, index]
    own = location_uniformity(seconds, values, hold.setpoint_c)
    whole = readings.corrected_c[hold.hold[0] : hold.hold[1] + 1, [index]]
    there = ~np.isnan(values)
    correction = readings.corrections[index]
    mean_correction: Maybe = ABSENT
    if correction is not None and there.any():
        mean_correction = float((values - raw_c)[there].mean())
    effective = case.effective + index
    # Invented, and the same whatever the readings are: the workbook takes it from the engine.
    error = MeanError(
        standard_error_c=0.04 + 0.01 * index,
        degrees=max(effective - 1.0, 1.0),
        cycle_shift_c=0.0,
        half_width_c=0.09 + 0.02 * index,
    )
    budgets = location_budgets(_stretch(case, readings, hold), index, error)
    one, of_mean = budgets.reading, budgets.mean
    over_final: Maybe = ABSENT
    if isinstance(own.mean_c, float) and hold.entered_from_below:
        over_final = float(overshoot_c(whole, own.mean_c)[0])
    below = hold.entered_from_below
    record = LocationRecord(
        location=readings.locations[index],
        channel=readings.recording.channels[readings.channel_index[index]].name,
        sensor=f"T-{index + 1:02d}",
        sensor_type="K",
        position_mm=(100.0 * index, 250.0, 40.0) if index % 2 == 0 else None,
        readings=own.readings,
        mean_c=own.mean_c,
        min_c=own.min_c,
        max_c=own.max_c,
        sd_c=own.sd_c,
        deviation_max_c=own.deviation_max_c,
        deviation_min_c=own.deviation_min_c,
        stability_c=own.stability_c,
        overshoot_c=float(overshoot_c(whole, hold.setpoint_c)[0]) if below else Absent("entered from above"),
        undershoot_c=Absent("entered from below")
        if below
        else float(undershoot_c(whole, hold.setpoint_c)[0]),
        over_final_c=over_final,
        drift_c_per_h=_slope(seconds, values),
        drift_low_c_per_h=-0.2,
        drift_high_c_per_h=0.3,
        cycle_period_s=Absent("no significant cycle"),
        cycle_amplitude_c=Absent("no significant cycle"),
        effective_readings=effective,
        mean_correction_c=mean_correction,
        standard_uncertainty_c=one if isinstance(one, Absent) else one.standard_c,
        expanded_uncertainty_c=one if isinstance(one, Absent) else one.expanded_c,
        mean_expanded_uncertainty_c=of_mean if isinstance(of_mean, Absent) else of_mean.expanded_c,
        coverage_factor=one if isinstance(one, Absent) else one.coverage_factor,
        mean_coverage_factor=of_mean if isinstance(of_mean, Absent) else of_mean.coverage_factor,
        agreement_at_ambient_c=0.05 * index,
    )
    return record, budgets


def _chamber(
    readings: Readings,
    hold: HoldEvidence,
    window: slice,
    locations: list[LocationRecord],
    probability: Maybe,
) -> ChamberRecord:
    recording = readings.recording
    uniform = chamber_uniformity(
        Window(recording.seconds[window], readings.corrected_c[window], hold.setpoint_c, hold.reference)
    )
    whole = readings.corrected_c[hold.hold[0] : hold.hold[1] + 1]
    overs = [place.overshoot_c for place in locations if isinstance(place.overshoot_c, float)]
    finals = [place.over_final_c for place in locations if isinstance(place.over_final_c, float)]
    excess: Maybe = ABSENT
    to_band: Maybe = ABSENT
    if hold.limit_high_c is not None and hold.limit_low_c is not None:
        ground = readings.corrected_c[hold.ground[0] : hold.ground[1] + 1]
        excess = float(np.nanmax(ground)) - hold.limit_high_c
        stretch = slice(hold.hold[0], window.stop)
        to_band = time_to_band_s(
            recording.seconds[stretch],
            readings.corrected_c[stretch],
            float(recording.seconds[hold.hold[0]]),
            hold.limit_low_c,
            hold.limit_high_c,
        )
    from_above = float(np.nanmax(undershoot_c(whole, hold.setpoint_c)))
    return ChamberRecord(
        mean_c=uniform.mean_c,
        deviation_max_c=uniform.deviation_max_c,
        deviation_min_c=uniform.deviation_min_c,
        spread_max_c=uniform.spread_max_c,
        spread_mean_c=uniform.spread_mean_c,
        spread_of_means_c=uniform.spread_of_means_c,
        stability_c=uniform.stability_c,
        overshoot_c=max(overs) if overs else Absent("entered from above"),
        undershoot_c=Absent("entered from below") if hold.entered_from_below else from_above,
        over_final_c=max(finals) if finals else ABSENT,
        high_excess_c=excess,
        time_to_band_s=to_band,
        time_to_stabilize_s=1230.0,
        band_lag_s=90.0,
        recovery_s=Absent("no door opening"),
        heat_up_rate_c_per_min=4.25,
        heat_up_steepest_c_per_min=6.5,
        cool_down_rate_c_per_min=ABSENT,
        cool_down_steepest_c_per_min=ABSENT,
        cycle_period_s=ABSENT,
        cycle_amplitude_c=ABSENT,
        recording_interval_s=30.0,
        conformance_probability=probability,
    )


def _requirements(
    chamber: ChamberRecord, hold: HoldEvidence, tolerance_c: float
) -> tuple[RequirementRecord, ...]:
    made = []
    wanted: tuple[tuple[str, str, str, float | None, float | None, str], ...] = (
        ("upper", "deviation_max", "no reading above the upper limit", None, tolerance_c, "°C"),
        ("lower", "deviation_min", "no reading below the lower limit", -tolerance_c, None, "°C"),
        ("stability-1", "stability", "stable", None, 0.4, "°C"),
        ("band-1", "time_to_band", "in the band soon", None, 3000.0, "s"),
    )
    for name, figure, text, low, high, unit in wanted:
        value = getattr(chamber, figure + ("_s" if unit == "s" else "_c"))
        margin: Maybe = ABSENT
        decision = Decision.NOT_SHOWN
        if isinstance(value, float):
            margin = min(
                distance
                for distance in (
                    value - low if low is not None else None,
                    high - value if high is not None else None,
                )
                if distance is not None
            )
            decision = Decision.PASS if margin >= 0 else Decision.FAIL
        made.append(
            RequirementRecord(
                id=name,
                text=text,
                figure=figure,
                value=value,
                unit=unit,
                limit_low=low,
                limit_high=high,
                margin=margin,
                acceptance="guarded",
                guard_band=0.4 if unit == "°C" else None,
                decision=decision,
                location="A1",
                time="2026-02-20T09:00:00",
                time_s=3600.0,
                decided_by=None,
                note="within U of the limit",
                citation="invented, clause 1",
                standing="C",
                other_rules=_rules(decision) if unit == "°C" else (),
            )
        )
    return tuple(made)


def _rules(decision: Decision) -> tuple[OtherRule, ...]:
    """What other rules say, made up: one as the plan's own, one differing, one zone."""
    return (
        OtherRule(rule="simple acceptance", says="pass", guard_band=0.0, location="A1"),
        OtherRule(rule="guard band w = U", says=str(decision), guard_band=0.4, location="B1", chosen=True),
        OtherRule(rule="four zones, w = U (ILAC-G8)", says="conditional pass", guard_band=0.4, location="B1"),
        OtherRule(rule="ISO 14253-1, 95 %", says="not shown", guard_band=None, location=None),
    )


def _recording(case: Case) -> Recording:
    recorded = readings_as_recorded(case)
    names = case.names or tuple(f"CH{index + 1:02d}" for index in range(case.locations))
    unit = case.unit.value
    cell_doubts = tuple(
        Doubt(
            kind="no-reading",
            text="'OL' is no reading; nothing is put in its place.",
            file="survey.csv",
            row=row + 2,
            column=f"{names[column]} ({unit})",
            location=None,
            cells=1,
        )
        for row, column in case.absent
    )
    return Recording(
        seconds=seconds_of(case),
        start=datetime(2026, 2, 20, 8, 0, 0) if case.clock else None,
        utc_offset=None,
        channels=tuple(Channel(name, f"{name} ({unit})", "survey.csv", unit) for name in names),
        units=(case.unit,) * case.locations,
        raw_c=temperature_to_c(recorded, case.unit),
        others=(Channel("Oxygen", "Oxygen (%)", "survey.csv", "%"),),
        other_values=np.full((case.instants, 1), 0.5),
        rows={"survey.csv": np.arange(2, case.instants + 2)},
        layouts={"survey.csv": {"encoding": "utf-8", "separator": "comma", "units": unit}},
        doubts=cell_doubts,
        steps=("read survey.csv", "corrected by certificates.csv"),
    )


def evaluation_of(case: Case, recorded: Recording | None = None) -> Evaluation:
    """Evaluate an invented recording, or the same with other readings."""
    recording = recorded if recorded is not None else _recording(case)
    corrections = corrections_of(case)
    raw_c = recording.raw_c
    columns = [
        correction.apply(raw_c[:, index])[0] if correction is not None else raw_c[:, index]
        for index, correction in enumerate(corrections)
    ]
    corrected_c = np.column_stack(columns)
    names = tuple(
        f"{case.names[index]}" if case.names else f"{'ABC'[index % 3]}{index // 3 + 1}"
        for index in range(case.locations)
    )
    readings = Readings(
        recording=recording,
        locations=names,
        channel_index=tuple(range(case.locations)),
        raw_c=raw_c,
        corrected_c=corrected_c,
        calibrated=np.ones(raw_c.shape, dtype=np.bool_),
        corrections=corrections,
    )
    n, per_hold = case.instants, case.instants // len(case.holds_c)
    holds, surveys = [], []
    level = 22.0
    for number, setpoint_c in enumerate(case.holds_c):
        begin = number * per_hold
        end = begin + per_hold - 1 if number < len(case.holds_c) - 1 else n - 1
        first = begin + (end - begin) // 20
        start = begin + int((end - begin) * 0.6)
        stop = end - (end - begin) // 20
        hold = HoldEvidence(
            survey=number,
            setpoint_c=setpoint_c,
            limit_low_c=setpoint_c - case.tolerance_c,
            limit_high_c=setpoint_c + case.tolerance_c,
            hold=(first, end),
            ground=(begin, end),
            window=(start, stop),
            reference=case.reference,
            entered_from_below=setpoint_c > level,
        )
        level = setpoint_c
        holds.append(hold)
        surveys.append(_survey(case, readings, hold))
    evidence = RecordingEvidence(name=case.words, readings=readings, holds=tuple(holds), set_point_c=None)
    return Evaluation(record=_record(case, surveys, corrections), recordings=(evidence,), inputs=())


def _survey(case: Case, readings: Readings, hold: HoldEvidence) -> SurveyRecord:
    assert hold.window is not None
    recording = readings.recording
    window = slice(hold.window[0], hold.window[1] + 1)
    seconds = recording.seconds
    both = [_location(case, readings, index, hold, window) for index in range(case.locations)]
    locations = [record for record, _ in both]
    budgets = tuple(budgets for _, budgets in both)
    judged = Window(seconds[window], readings.corrected_c[window], hold.setpoint_c, hold.reference)
    uncertainty: UncertaintyRecord | Absent = uncertainty_record(
        _stretch(case, readings, hold), judged, budgets
    )
    simulation = _simulation(case, readings, hold, budgets)
    chamber = _chamber(
        readings,
        hold,
        window,
        locations,
        simulation if isinstance(simulation, Absent) else simulation.all_conform,
    )
    named = variants(judged)
    requirements = _requirements(chamber, hold, case.tolerance_c)
    start_s, end_s = float(seconds[hold.window[0]]), float(seconds[hold.window[1]])
    name = f"{case.words}, {hold.setpoint_c:g} °C"
    return SurveyRecord(
        name=name,
        recording=case.words,
        hold=f"{hold.setpoint_c:g} °C",
        stage=case.stage,
        verdict=Decision.worst([requirement.decision for requirement in requirements]),
        remarks=("The column 'Ambient' was left out; with it the verdict would be fail.",),
        setpoint_c=hold.setpoint_c,
        tolerance_c=case.tolerance_c,
        limit_low_c=hold.limit_low_c,
        limit_high_c=hold.limit_high_c,
        window=WindowRecord(
            start=recording.iso(start_s),
            end=recording.iso(end_s),
            start_s=start_s,
            end_s=end_s,
            readings=hold.window[1] - hold.window[0] + 1,
            first_s=start_s,
            last_s=end_s,
            declared=False,
            filled=True,
            evenly_spaced=evenly_spaced(seconds[window]),
            interval_s=case.interval_s,
            complete_instants=int((~np.isnan(readings.corrected_c[window]).any(axis=1)).sum()),
        ),
        heat_start=recording.iso(float(seconds[hold.hold[0]])),
        heat_start_s=float(seconds[hold.hold[0]]),
        heat_start_how="last reading at the starting level",
        hold_end_s=float(seconds[hold.hold[1]]),
        hold_end=recording.iso(float(seconds[hold.hold[1]])),
        hold_end_how="the record's end",
        starting_level_c=22.0,
        steady_s=start_s,
        entered_from="below" if hold.entered_from_below else "above",
        reference_location=None if hold.reference is None else readings.locations[hold.reference],
        chamber=chamber,
        variants=tuple(
            VariantRecord(
                document=_VARIANT_NAMES[key][0],
                name=_VARIANT_NAMES[key][1],
                formula=f"formula of {key}",
                value_c=figure.value_c,
                location=None if figure.location is None else readings.locations[figure.location],
                standing="C",
            )
            for key, figure in named.items()
        ),
        locations=tuple(locations),
        indications=(),
        requirements=requirements,
        doubts=recording.doubts,
        uncertainty=uncertainty,
        simulation=simulation,
        statistics=_statistics(judged, locations) if case.statistics else ABSENT,
    )


def _statistics(judged: Window, locations: list[LocationRecord]) -> StatisticsRecord:
    """Comparison and tests by the engine; everything else made up."""
    across = judged.across
    assert across is not None

    def series(column: int) -> SeriesRecord:
        values = judged.corrected_c[:, column]
        there = ~np.isnan(values)
        return SeriesRecord(
            location=locations[column].location,
            autocorrelation=0.25,
            standard_error_c=0.0123 if column else Absent("too few readings"),
            drift_standard_error_c_per_h=0.045,
            drift="neither rising nor falling as far as can be told: +0.01 ± 0.20 °C/h",
            steadiness=steadiness_test(judged.seconds[there], values[there]),
        )

    measured = WhatIfRecord(
        change="as it was measured",
        location=locations[0].location,
        margin_c=1.25,
        guard_band_c=0.4,
        guarded_margin_c=0.85,
        decision=Decision.PASS,
        conformance_probability=1.0,
        remark="",
    )
    halved = replace(measured, change="logger: half its uncertainty", guard_band_c=0.3, guarded_margin_c=0.95)
    wider = replace(
        measured,
        change="a window twice as long",
        margin_c=1.0,
        guarded_margin_c=0.6,
        decision=Decision.CONDITIONAL,
        conformance_probability=Absent("not simulated for this row"),
        remark="estimate: invented",
    )
    return StatisticsRecord(
        series=tuple(series(column) for column in range(len(locations))),
        comparison=compare_locations(across.values_c, across.seconds),
        field=Absent("too few places"),
        risks=RiskRecord(
            prior_mean_c=0.1,
            prior_standard_c=0.9,
            prior_because="invented holds",
            standard_uncertainty_c=0.2,
            guard_band_c=0.4,
            consumer=0.000021,
            producer=0.0123,
            consumer_if_conditional=0.0027,
        ),
        what_if=(measured, halved, wider),
    )


def invented_field(*, is_cylinder: bool = False) -> FieldEstimate:
    """Estimate the field of an invented zone of 600 × 600 × 900 mm from 27 places in a smooth field."""
    x, y, z = (
        axis.ravel()
        for axis in np.meshgrid((120.0, 300.0, 480.0), (120.0, 300.0, 480.0), (90.0, 450.0, 810.0))
    )
    means = 180.0 + 0.002 * x - 0.001 * y + 0.0015 * z + np.random.default_rng(3).normal(0.0, 0.03, x.size)
    zone = FieldZone(width_mm=600.0, depth_mm=600.0, height_mm=900.0, is_cylinder=is_cylinder)
    found = estimate_field(np.column_stack((x, y, z)), means, np.full(x.size, 0.05), zone)
    assert not isinstance(found, Absent)
    return found


def runs_of(
    case: Case, count: int, changes: Mapping[int, dict[tuple[int, int], float]] | None = None
) -> Evaluation:
    """Evaluate replicate runs: recordings of the same case with other readings.

    `changes` gives other readings in some cells of some runs, counted from 0, in the file's unit.
    """
    recordings: list[RecordingEvidence] = []
    surveys: list[SurveyRecord] = []
    record: Record | None = None
    for run in range(count):
        own = replace(case, words=f"Run {run + 1}", seed=case.seed + run, stage="performance")
        evaluation = with_changed_readings(own, (changes or {}).get(run, {}))
        record = record or evaluation.record
        evidence = evaluation.recordings[0]
        holds = tuple(replace(hold, survey=hold.survey + len(surveys)) for hold in evidence.holds)
        recordings.append(replace(evidence, holds=holds))
        surveys += evaluation.record.surveys
    assert record is not None
    found = replicates(surveys, StatisticsChoice())
    record = replace(record, surveys=tuple(surveys), replicates=found)
    return Evaluation(record=record, recordings=tuple(recordings), inputs=())


def _record(case: Case, surveys: list[SurveyRecord], corrections: tuple[Correction | None, ...]) -> Record:
    points = tuple(
        CertificatePointRecord(
            channel=f"CH{index + 1:02d}",
            sensor=f"T-{index + 1:02d}",
            applies_to=step.of,
            row=step.rows[point],
            temperature_c=float(step.temperature_c[point]),
            correction_c=float(step.correction_c[point]),
            expanded_uncertainty_c=float(step.expanded_uncertainty_c[point]),
            coverage_factor=float(step.coverage_factor[point]),
        )
        for index, correction in enumerate(corrections)
        if correction is not None
        for step in correction.steps
        for point in range(step.temperature_c.size)
    )
    return Record(
        schema=1,
        software={"name": "qualify", "version": "0.0.0", "python": "3.11", "libraries": {"numpy": "2.0"}},
        made_at="2026-02-21T10:00:00Z",
        units=case.unit.value,
        settings={
            "setpoint": 180.0,
            "ignore": ["Ambient=in the lab"],
            "layout": {"survey.csv": {"sep": ","}},
        },
        replaces=None,
        inputs=(InputRecord(path="survey.csv", sha256="ab" * 32, bytes=12345, role="readings"),),
        plan=PlanRecord(
            title="Qualification of an invented oven",
            number="QP-001",
            revision="B",
            scope="Empty work zone, two set points, after replacement of the heaters.",
            people={
                "author": {"name": "A. Invented", "date": "2026-02-01"},
                "approver": {"name": "B. Invented", "date": "2026-02-02"},
            },
            oven={"name": "Oven 3", "owner": "an invented firm", "place": "hall 2", "volume_l": "420"},
            instruments=({"name": "logger", "certificate": "K-1", "due": "2027-01-01"},),
            work_zone=None,
            accept_conditional=True,
            from_options=False,
        ),
        verdict=Decision.worst([survey.verdict for survey in surveys]),
        surveys=tuple(surveys),
        replicates=(),
        certificates=points,
        deviations=(
            DeviationRecord(
                id="N1",
                survey=surveys[0].name,
                requirement="stability-1",
                kind="nonconformity",
                text="Stability of 0.55 °C is beyond the limit of 0.4 °C at A1.",
            ),
            DeviationRecord(
                id="D1",
                survey=surveys[0].name,
                requirement=None,
                kind="departure",
                text="The plan was approved after the first reading.",
            ),
        ),
        conditions={"damper": "closed", "fan": "on"},
        steps=("figures computed in the assessment window",),
        cautions=(
            "Hot surfaces: let the oven cool or wear gloves made for it.",
            "Nitrogen displaces room air at the vent and at door opening.",
        ),
    )


def with_changed_readings(case: Case, changes: dict[tuple[int, int], float]) -> Evaluation:
    """Evaluate the same recording with other readings in some cells, given in the file's unit."""
    recording = _recording(case)
    raw_c = recording.raw_c.copy()
    for (row, column), value in changes.items():
        raw_c[row, column] = temperature_to_c(value, case.unit)
    return evaluation_of(case, replace(recording, raw_c=raw_c))
