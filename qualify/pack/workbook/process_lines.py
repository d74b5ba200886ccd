"""The rows of purges, cool-downs, loop checks and programs."""

from __future__ import annotations

from collections.abc import Mapping
from math import isnan
from typing import Any

from qualify.figures.absent import Absent, present
from qualify.pack.workbook.figure_rows import Line, counts, number, ranged, whether, words
from qualify.pack.workbook.reading_rows import Quantity
from qualify.pack.workbook.test_readings import TestCells
from qualify.pack.workbook.words import DIFFERENCE, NUMBER, RATE_PER_MINUTE, TEMPERATURE

OXYGEN, OF_SPAN = "% oxygen", "% of span"
_OFF_FIT = "so large a departure happens by chance where the fit is right"


# ---- purge ----


def purge_lines(figures: Mapping[str, Any], cells: TestCells | None) -> list[Line]:
    """Rows of a purge: measured time, floor, model or why there is none, rise, limit kept."""
    lines: list[Line] = []
    oxygen = None
    if cells is not None:
        per_percent = figures["recorded_per_percent"]
        oxygen = Quantity(cells, figures["channel"], OXYGEN, per_unit=per_percent)
    found = figures.get("purge")
    if found is not None:
        lines += _purge(found, figures, oxygen)
    if "time_to_another_limit" in figures:
        lines.append(
            ranged(
                "time to the other limit, by the fit",
                figures["time_to_another_limit"],
                "s",
                "what the model expects; no evidence",
            )
        )
    if "rise" in figures:
        lines += _rise(figures["rise"])
    if "kept" in figures:
        lines += _kept(figures["kept"], figures, oxygen)
    return lines


def _purge(found: Any, figures: Mapping[str, Any], oxygen: Quantity | None) -> list[Line]:
    begun_s, ended_s = figures["from_s"], figures["to_s"]
    reached = []
    if oxygen is not None and present(found.measured_s):
        reached = oxygen.around("the limit was reached", begun_s + found.measured_s)
    lowest = None if oxygen is None else oxygen.extreme(begun_s, ended_s, highest=False)
    lines = [
        Line(
            what="time from the start of the purge to the limit",
            how="until the analyser first showed it; its delay and lag are not taken off",
            value=found.measured_s,
            low=found.measured_low_s,
            high=found.measured_high_s,
            unit="s",
        ),
        *reached,
        Line(
            what="lowest oxygen",
            value=found.lowest,
            unit=OXYGEN,
            formula=None if lowest is None else lambda _row: lowest,
        ),
        number("last oxygen", found.last, OXYGEN),
        number(
            "times above the limit again",
            float(len(found.above_again_s)),
            NUMBER,
            note=", ".join(f"at {time:.6g} s" for time in found.above_again_s[:5]),
        ),
        ranged("floor of the fit", found.floor, OXYGEN, "95 % interval"),
        whether("floor above the supply's oxygen: a leak", found.leak, "a no is no proof of tightness"),
    ]
    model = found.model
    if isinstance(model, Absent):
        lines.append(words("no model", f"{model.reason}; the measured time stands alone"))
    else:
        decay = model.decay
        lag = decay.lag
        if isinstance(lag, Absent):
            lines.append(number("lag of the analyser", decay.lag_s, "s", note=lag.reason))
        else:
            lines.append(ranged("lag of the analyser, fitted", lag, "s", "95 % interval"))
        lines += [
            ranged("time constant V/(k·Q) of the chamber", decay.time_constant_s, "s", "95 % interval"),
            ranged("oxygen at the start, by the fit", decay.start, OXYGEN, "95 % interval"),
            number("delay of the sample line", decay.delay_s, "s"),
            ranged("volume changes in the record", model.volume_changes, NUMBER, "k·Q·t/V, 95 % interval"),
            ranged("mixing factor k", model.mixing_factor, NUMBER, "95 % interval; 1: fully mixed"),
            ranged(
                "time until the chamber itself is at the limit, by the fit",
                model.time_to_limit_s,
                "s",
                "what the model says; the measured time decides",
            ),
        ]
    lines += _misfit(found.misfit)
    lines += [words("finding", finding) for finding in found.findings]
    return lines + counts(found)


def _misfit(found: Any) -> list[Line]:
    if isinstance(found, Absent):
        return [words("test of the fit", f"not done: {found.reason}")]
    level = f"{_OFF_FIT}; it is said not to fit below {found.level / 2:g}"
    return [
        Line(
            what="test of the fit: p of the largest slow departure",
            how=level,
            value=found.p_slow,
            chance=True,
        ),
        Line(what="test of the fit: p of the largest jump", how=level, value=found.p_jump, chance=True),
    ]


def _rise(found: Any) -> list[Line]:
    if isinstance(found, Absent):
        return [Line(what="rise of oxygen with the flow stopped", value=found, unit=f"{OXYGEN} per h")]
    return [
        Line(
            what="rise of oxygen with the flow stopped",
            how="least-squares slope; 95 % interval, autocorrelation allowed for",
            value=found.percent_per_h,
            low=found.low_percent_per_h,
            high=found.high_percent_per_h,
            unit=f"{OXYGEN} per h",
        ),
        number("air that leaks in", found.air_volumes_per_h, "chamber volumes per h", "slope/(20.9 − mean)"),
        number("rise over the test", found.rise_percent, OXYGEN, "last tenth's median less first tenth's"),
        number("length of the test", found.seconds, "s"),
        *counts(found),
    ]


def _kept(found: Any, figures: Mapping[str, Any], oxygen: Quantity | None) -> list[Line]:
    if isinstance(found, Absent):
        return [Line(what="largest oxygen while the limit must be kept", value=found, unit=OXYGEN)]
    largest = None
    if oxygen is not None:
        largest = oxygen.extreme(figures["kept_from_s"], figures["kept_to_s"], highest=True)
    return [
        Line(
            what="largest oxygen while the limit must be kept",
            value=found.largest,
            unit=OXYGEN,
            note=f"at {found.largest_at_s:.6g} s",
            formula=None if largest is None else lambda _row: largest,
        ),
        number("readings above the limit", float(found.readings_above), NUMBER),
        number("time above the limit", found.above_min, "min"),
        number("longest time without a reading", found.longest_without_s, "s"),
        *counts(found),
    ]


# ---- cool-down ----


def cooling_lines(figures: Mapping[str, Any], cells: TestCells | None) -> list[Line]:
    """Rows of a cool-down: measured time, rates, time constant or why none, the other coolant."""
    found = figures.get("cooling")
    lines: list[Line] = []
    if found is not None:
        reached = []
        if cells is not None and figures["channel"] and present(found.time_s):
            load = Quantity(cells, figures["channel"], TEMPERATURE)
            reached = load.around("the handling temperature was reached", figures["from_s"] + found.time_s)
        lines += [
            Line(
                what="time from the start of cooling to the handling temperature",
                how="measured; between these ends",
                value=found.time_s,
                low=found.time_low_s,
                high=found.time_high_s,
                unit="s",
            ),
            *reached,
            number("first reading", found.start_c, TEMPERATURE),
            number("last reading", found.last_c, TEMPERATURE),
            number("mean rate", found.mean_rate_c_per_min, RATE_PER_MINUTE),
            number("steepest fall over 5 minutes", found.steepest_c_per_min, RATE_PER_MINUTE),
        ]
        if isinstance(found.decay, Absent):
            lines.append(words("no time constant", found.decay.reason))
        else:
            lines += [
                ranged("time constant", found.decay.time_constant_s, "s", "95 % interval"),
                ranged("floor of the fit", found.decay.floor, TEMPERATURE, "95 % interval"),
                ranged("time to the handling temperature, by the fit", found.fitted_time_s, "s"),
            ]
        lines.append(number("temperature of the coolant", found.coolant_c, TEMPERATURE))
        lines.append(number("floor above the coolant", found.floor_above_coolant_c, DIFFERENCE))
        lines += [*_misfit(found.misfit), *counts(found)]
    if "time_with_other_coolant" in figures:
        lines.append(
            ranged(
                "time with the other coolant, by the fit",
                figures["time_with_other_coolant"],
                "s",
                "what the fit expects; no evidence",
            )
        )
    return lines


# ---- loop check ----


def loop_lines(figures: Mapping[str, Any], _cells: TestCells | None) -> list[Line]:
    """Rows of a loop check: errors at each point, the line through them, the trip point on the scale."""
    lines: list[Line] = []
    unit = str(figures.get("unit", ""))
    found = figures.get("loop")
    if found is not None:
        lines += [
            number(
                "largest error",
                found.largest_error_percent,
                OF_SPAN,
                "displayed − expected",
                f"at point {found.largest_error_at + 1}",
            ),
            number("error at half of the signal", found.half_error_percent, OF_SPAN),
            number("hysteresis", found.hysteresis_percent, OF_SPAN, "rising − falling at equal signals"),
            number("slope of the line through all points", found.slope, NUMBER, "1 is right"),
            number("error of the line at the low end", found.zero_error_percent, OF_SPAN),
            number("error of the line at the high end", found.full_scale_error_percent, OF_SPAN),
            number("non-linearity", found.nonlinearity_percent, OF_SPAN, "largest departure from the line"),
            number("part of the signal's range that was covered", 100.0 * found.covered, "% of range"),
            whether(
                "live zero",
                found.live_zero,
                "the lowest signal lies above zero: a dead line can be told from the low end",
            ),
        ]
        points = zip(figures["points"], found.expected.tolist(), found.errors_percent.tolist(), strict=True)
        for point, (told, expected, error) in enumerate(points, start=1):
            nothing = Absent("nothing was displayed")
            way = "rising" if told["rising"] else "falling"
            displayed = nothing if told["displayed"] is None else told["displayed"]
            lines.append(number(f"point {point}, {way}: signal", told["signal"], "unit of the signal"))
            lines.append(number(f"point {point}: value expected", expected, unit))
            lines.append(number(f"point {point}: value displayed", displayed, unit))
            lines.append(number(f"point {point}: error", nothing if isnan(error) else error, OF_SPAN))
    trip = figures.get("trip")
    if trip is not None:
        lines.append(number("trip point: part of the span below it", 100.0 * trip.share, OF_SPAN))
        lines.append(number("trip point: its signal", trip.signal, "unit of the signal", note=trip.note))
    return lines


# ---- program ----


def program_lines(figures: Mapping[str, Any], _cells: TestCells | None) -> list[Line]:
    """Rows of a program: each step's ramp and dwell against what was programmed."""
    found = figures.get("program")
    if found is None:
        return []
    lines = []
    for position, step in enumerate(found.steps, start=1):
        if isinstance(step, Absent):
            lines.append(words(f"step {position}", f"missing: {step.reason}"))
        else:
            lines += _step(f"step {position}", step)
    return lines + counts(found)


def _step(name: str, found: Any) -> list[Line]:
    asked = found.step
    rate, spare = asked.rate_c_per_min, asked.rate_tolerance_c_per_min
    judged = rate is not None and spare is not None
    said = [*found.not_kept, *(["the record ends in it"] if found.unfinished else [])] or ["kept"]
    dwell = asked.dwell_min
    shorter, longer = asked.shorter_by_min, asked.longer_by_min
    return [
        number(
            f"{name}: set point",
            asked.setpoint_c,
            TEMPERATURE,
            note="; ".join(said),
        ),
        Line(
            what=f"{name}: reached, and left",
            how="first reading within the band, last of the dwell; seconds from the first reading",
            low=found.reached_s,
            high=found.ended_s,
            unit="s",
        ),
        Line(
            what=f"{name}: rate",
            how="10 % to 90 % of the ramp; ends: what the program allows",
            value=found.rate_c_per_min,
            low=rate - spare if judged else None,
            high=rate + spare if judged else None,
            unit=RATE_PER_MINUTE,
        ),
        number(f"{name}: farthest from the programmed ramp", found.largest_off_ramp_c, DIFFERENCE),
        Line(
            what=f"{name}: dwell",
            how="ends: what the program allows",
            value=found.dwell_min,
            low=None if dwell is None or shorter is None else dwell - shorter,
            high=None if dwell is None or longer is None else dwell + longer,
            unit="min",
            note=f"longer by less than {found.dwell_resolution_min:.3g} min, which the recording leaves open",
        ),
        Line(
            what=f"{name}: deviation from set point in the dwell",
            how="time-weighted mean; ends: least and largest",
            value=found.mean_deviation_c,
            low=found.deviation_min_c,
            high=found.deviation_max_c,
            unit=DIFFERENCE,
        ),
        number(
            f"{name}: readings beyond the band",
            float(found.outside_readings),
            NUMBER,
            note=f"of {found.readings}",
        ),
    ]
