"""All figures of one hold, from its corrected readings: window, locations, chamber, variants."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from qualify.figures.absent import Absent, Maybe, present
from qualify.figures.agreement import IndicationError, agreement_at_ambient_c, indication_error
from qualify.figures.columns import each_column
from qualify.figures.instants import evenly_spaced, recording_interval
from qualify.figures.response import overshoot_c, undershoot_c
from qualify.figures.series import (
    Cycle,
    MeanError,
    drift,
    effective_readings,
    find_cycle,
    standard_error_of_mean,
)
from qualify.figures.uniformity import (
    VariantFigure,
    Window,
    chamber_uniformity,
    location_uniformity,
    variants,
)
from qualify.plan.statistics import StatisticsChoice
from qualify.readings.model import FloatArray
from qualify.record import (
    ChamberRecord,
    IndicationRecord,
    LocationRecord,
    VariantRecord,
    WindowRecord,
)
from qualify.stages.budgets import LocationBudgets, location_budgets
from qualify.stages.hold_response import (
    band_lag,
    cool_down,
    heat_up,
    high_excess,
    longest_interval,
    recovery,
    time_to_band,
    time_to_stabilize,
)
from qualify.stages.holds import FoundHold
from qualify.stages.reading_budget import NO_CERTIFICATE, NO_READING
from qualify.stages.stretch import Limits, Stretch
from qualify.standards.classes import variant_rows

if TYPE_CHECKING:
    from qualify.inference.monte_carlo import Simulation

NOT_SIMULATED = Absent("not simulated")


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldFigures:
    """Figures of one hold, and the hold they belong to."""

    found: FoundHold
    limits: Limits
    window: WindowRecord | Absent
    chamber: ChamberRecord
    variants: tuple[VariantRecord, ...]
    locations: tuple[LocationRecord, ...]
    indications: tuple[IndicationRecord, ...]
    budgets: tuple[LocationBudgets, ...]
    simulation: Simulation | Absent
    excess_at: tuple[int, int] | None
    """Instant and sensor of the high excess; sensors count locations first, then displays."""


def hold_figures(stretch: Stretch, statistics: StatisticsChoice | None) -> HoldFigures:
    """Compute every figure of a hold (design: each is a pure function of arrays).

    Parameters
    ----------
    stretch
        The hold in its recording.
    statistics
        Seed and numerical tolerance of the simulation; None: nothing is simulated.
    """
    window = stretch.window
    excess, excess_at = high_excess(stretch)
    both = _locations(stretch, window)
    locations = tuple(record for record, _ in both)
    budgets = tuple(budgets for _, budgets in both)
    simulation: Simulation | Absent = NOT_SIMULATED
    if statistics is not None:
        simulation = _simulated(stretch, window, budgets, statistics)
    return HoldFigures(
        found=stretch.found,
        limits=stretch.limits,
        window=_window_record(stretch, window),
        chamber=_chamber(
            stretch,
            window,
            locations,
            excess,
            simulation if isinstance(simulation, Absent) else simulation.all_conform,
        ),
        variants=_variants(stretch, window),
        locations=locations,
        indications=_indications(stretch, window),
        budgets=budgets,
        simulation=simulation,
        excess_at=excess_at,
    )


def _simulated(
    stretch: Stretch,
    window: Window | Absent,
    budgets: tuple[LocationBudgets, ...],
    statistics: StatisticsChoice,
) -> Simulation | Absent:
    """The errors of the sensors simulated; nothing of it is loaded where an uncertainty is not known."""
    if isinstance(window, Absent):
        return window
    unknown = [item.reading for item in budgets if isinstance(item.reading, Absent)]
    if unknown:
        return Absent(
            f"the uncertainty of {len(unknown)} of {len(budgets)} locations is not known: {unknown[0].reason}"
        )
    from qualify.stages.simulation import simulate_hold

    return simulate_hold(stretch, window, budgets, statistics)


def _window_record(stretch: Stretch, window: Window | Absent) -> WindowRecord | Absent:
    found = stretch.found.window
    if isinstance(found, Absent):
        return found
    if isinstance(window, Absent):
        return window
    recording = stretch.readings.recording
    return WindowRecord(
        start=recording.iso(found.start_s),
        end=recording.iso(found.end_s),
        start_s=found.start_s,
        end_s=found.end_s,
        readings=window.seconds.size,
        first_s=float(window.seconds[0]),
        last_s=float(window.seconds[-1]),
        declared=found.declared,
        filled=found.filled,
        evenly_spaced=evenly_spaced(window.seconds),
        interval_s=(
            recording_interval(stretch.trace.seconds)
            if stretch.trace.seconds.size > 1
            else Absent("one instant has no interval")
        ),
        complete_instants=int((~np.isnan(window.corrected_c).any(axis=1)).sum()),
    )


def _locations(
    stretch: Stretch, window: Window | Absent
) -> tuple[tuple[LocationRecord, LocationBudgets], ...]:
    over, under = _overshoots(stretch)
    agreement = _agreement(stretch)

    def location(column: int) -> tuple[LocationRecord, LocationBudgets]:
        return _location(stretch, window, column, over[column], under[column], agreement[column])

    return tuple(each_column(location, len(stretch.readings.locations)))


def _overshoots(stretch: Stretch) -> tuple[tuple[Maybe, ...], tuple[Maybe, ...]]:
    """Overshoot and undershoot of each location; one of the two is absent."""
    found = stretch.found
    values_c = stretch.readings.corrected_c[found.begin : found.end + 1]
    function = overshoot_c if found.entered_from_below else undershoot_c
    figures: tuple[Maybe, ...] = tuple(
        Absent("no reading in the hold") if np.isnan(value) else float(value)
        for value in function(values_c, found.hold.setpoint)
    )
    side = "below" if found.entered_from_below else "above"
    other: tuple[Maybe, ...] = (Absent(f"the hold is entered from {side}"),) * len(figures)
    return (figures, other) if found.entered_from_below else (other, figures)


def _agreement(stretch: Stretch) -> tuple[Maybe, ...]:
    found, count = stretch.found, len(stretch.readings.locations)
    if found.ground[0] != 0:
        return (Absent("the hold begins hot"),) * count
    if found.heat_start is None:
        return (Absent("there is no heat start in the record"),) * count
    return agreement_at_ambient_c(stretch.readings.corrected_c[: found.heat_start + 1])


def _location(
    stretch: Stretch,
    window: Window | Absent,
    column: int,
    over: Maybe,
    under: Maybe,
    agreement: Maybe,
) -> tuple[LocationRecord, LocationBudgets]:
    readings, place = stretch.readings, stretch.assigned.places[column]
    channel = readings.recording.channels[readings.channel_index[column]].name
    if isinstance(window, Absent):
        nowhere = LocationRecord(
            location=place.name,
            channel=channel,
            sensor=place.sensor,
            sensor_type=place.sensor_type,
            position_mm=place.position_mm,
            readings=0,
            **dict.fromkeys(_WINDOW_FIGURES, window),
            overshoot_c=over,
            undershoot_c=under,
            agreement_at_ambient_c=agreement,
        )
        return nowhere, LocationBudgets(reading=window, mean=window)
    series_c = np.ascontiguousarray(window.corrected_c[:, column])
    figures = location_uniformity(window.seconds, series_c, window.setpoint_c)
    there = ~np.isnan(series_c)
    time, values = window.seconds[there], series_c[there]
    nothing = Absent("no reading in the window")
    cycle: Cycle | Absent = nothing
    effective: Maybe = nothing
    slope = low = high = effective
    if values.size:
        cycle = find_cycle(time, values)
        effective = effective_readings(time, values, cycle)
        moving = drift(time, values, cycle)
        slope, low, high = moving.slope_c_per_h, moving.low_c_per_h, moving.high_c_per_h
    correction = _mean_correction(stretch, column)
    budgets = location_budgets(stretch, column, _mean_error(stretch, column, time, values, cycle))
    one = budgets.reading
    of_mean = budgets.mean
    over_final: Maybe = over
    if present(over) and present(figures.mean_c):
        rows = slice(stretch.found.begin, stretch.found.end + 1)
        over_final = float(overshoot_c(readings.corrected_c[rows, [column]], figures.mean_c)[0])
    record = LocationRecord(
        location=place.name,
        channel=channel,
        sensor=place.sensor,
        sensor_type=place.sensor_type,
        position_mm=place.position_mm,
        readings=figures.readings,
        mean_c=figures.mean_c,
        min_c=figures.min_c,
        max_c=figures.max_c,
        sd_c=figures.sd_c,
        deviation_max_c=figures.deviation_max_c,
        deviation_min_c=figures.deviation_min_c,
        stability_c=figures.stability_c,
        overshoot_c=over,
        undershoot_c=under,
        over_final_c=over_final,
        drift_c_per_h=slope,
        drift_low_c_per_h=low,
        drift_high_c_per_h=high,
        cycle_period_s=cycle if isinstance(cycle, Absent) else cycle.period_s,
        cycle_amplitude_c=cycle if isinstance(cycle, Absent) else cycle.amplitude_c,
        effective_readings=effective,
        mean_correction_c=correction,
        standard_uncertainty_c=one if isinstance(one, Absent) else one.standard_c,
        expanded_uncertainty_c=one if isinstance(one, Absent) else one.expanded_c,
        mean_expanded_uncertainty_c=of_mean if isinstance(of_mean, Absent) else of_mean.expanded_c,
        coverage_factor=one if isinstance(one, Absent) else one.coverage_factor,
        mean_coverage_factor=of_mean if isinstance(of_mean, Absent) else of_mean.coverage_factor,
        agreement_at_ambient_c=agreement,
    )
    return record, budgets


_WINDOW_FIGURES = (
    "mean_c",
    "min_c",
    "max_c",
    "sd_c",
    "deviation_max_c",
    "deviation_min_c",
    "stability_c",
    "over_final_c",
    "drift_c_per_h",
    "drift_low_c_per_h",
    "drift_high_c_per_h",
    "cycle_period_s",
    "cycle_amplitude_c",
    "effective_readings",
    "mean_correction_c",
    "standard_uncertainty_c",
    "expanded_uncertainty_c",
    "mean_expanded_uncertainty_c",
    "coverage_factor",
    "mean_coverage_factor",
)


def _mean_error(
    stretch: Stretch, column: int, seconds: FloatArray, values_c: FloatArray, cycle: Cycle | Absent
) -> MeanError | Absent:
    """How well a location's mean is known; not asked where its sensor's error isn't known."""
    known = stretch.readings.corrections[column] is not None or stretch.uncertainty.sources
    return standard_error_of_mean(seconds, values_c, cycle) if known else NO_CERTIFICATE


def _mean_correction(stretch: Stretch, column: int) -> Maybe:
    """Mean of (corrected − raw reading) of a location in the window."""
    correction, found = stretch.readings.corrections[column], stretch.found.window
    if correction is None or isinstance(found, Absent):
        return NO_CERTIFICATE
    rows = slice(found.first, found.last + 1)
    raw_c = stretch.readings.raw_c[rows, column]
    raw_c = raw_c[~np.isnan(raw_c)]
    if raw_c.size == 0:
        return NO_READING
    applied, _ = correction.apply(raw_c)
    return float((applied - raw_c).mean())


def _chamber(
    stretch: Stretch,
    window: Window | Absent,
    locations: tuple[LocationRecord, ...],
    excess: Maybe,
    conformance: Maybe,
) -> ChamberRecord:
    found = stretch.found
    period: Maybe = found.cycle if isinstance(found.cycle, Absent) else found.cycle.period_s
    amplitude: Maybe = found.cycle if isinstance(found.cycle, Absent) else found.cycle.amplitude_c
    in_window = dict.fromkeys(
        (
            "mean_c",
            "deviation_max_c",
            "deviation_min_c",
            "spread_max_c",
            "spread_mean_c",
            "spread_of_means_c",
            "stability_c",
        ),
        window if isinstance(window, Absent) else Absent(""),
    )
    figures: dict[str, Maybe] = dict(in_window)
    if isinstance(window, Window):
        uniformity = chamber_uniformity(window)
        figures = {name: getattr(uniformity, name) for name in in_window}
    heat_up_rate, heat_up_steepest = heat_up(stretch)
    cool_down_rate, cool_down_steepest = cool_down(stretch)
    last = found.end if isinstance(found.window, Absent) else max(found.window.last, found.begin)
    return ChamberRecord(
        **figures,
        overshoot_c=_largest([item.overshoot_c for item in locations]),
        undershoot_c=_largest([item.undershoot_c for item in locations]),
        over_final_c=_largest([item.over_final_c for item in locations]),
        high_excess_c=excess,
        time_to_band_s=time_to_band(stretch, np.zeros(len(locations))),
        time_to_stabilize_s=time_to_stabilize(stretch),
        band_lag_s=band_lag(stretch),
        recovery_s=recovery(stretch),
        heat_up_rate_c_per_min=heat_up_rate,
        heat_up_steepest_c_per_min=heat_up_steepest,
        cool_down_rate_c_per_min=cool_down_rate,
        cool_down_steepest_c_per_min=cool_down_steepest,
        cycle_period_s=period,
        cycle_amplitude_c=amplitude,
        recording_interval_s=longest_interval(stretch, found.begin, last),
        conformance_probability=conformance,
    )


def _largest(figures: list[Maybe]) -> Maybe:
    numbers = [figure for figure in figures if present(figure)]
    return max(numbers) if numbers else figures[0]


def _variants(stretch: Stretch, window: Window | Absent) -> tuple[VariantRecord, ...]:
    figures = {} if isinstance(window, Absent) else variants(window)
    missing = VariantFigure(
        window if isinstance(window, Absent) else Absent("no such figure in this version")
    )
    names = stretch.readings.locations
    records = []
    for row in variant_rows():
        figure = figures.get(row["id"], missing)
        records.append(
            VariantRecord(
                document=row["document"],
                name=row["name"],
                formula=row["formula"],
                value_c=figure.value_c,
                location=None if figure.location is None else names[figure.location],
                standing=row["standing"],
            )
        )
    return tuple(records)


def _indications(stretch: Stretch, window: Window | Absent) -> tuple[IndicationRecord, ...]:
    names = stretch.readings.locations
    records = []
    for column, role in enumerate(stretch.assigned.displays):
        absent: Absent | None = None
        if not role.beside:
            absent = Absent("the plan names no location beside its sensor (`beside`)")
        elif isinstance(window, Absent):
            absent = window
        if absent is not None or isinstance(stretch.found.window, Absent):
            nothing = absent or Absent("no window")
            error = IndicationError(nothing, nothing, nothing)
        else:
            rows = slice(stretch.found.window.first, stretch.found.window.last + 1)
            error = indication_error(
                stretch.assigned.displays_c[rows, column],
                stretch.readings.corrected_c[rows, names.index(role.beside)],
            )
        records.append(
            IndicationRecord(
                channel=role.channel,
                role=role.role.value,
                beside=role.beside,
                error_mean_c=error.mean_c,
                error_max_c=error.max_c,
                error_min_c=error.min_c,
            )
        )
    return tuple(records)
