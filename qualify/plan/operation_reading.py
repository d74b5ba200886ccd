"""Reading the plan's tests of operation besides challenges: purges, cool-downs, loop checks, programs."""

from __future__ import annotations

from qualify.plan.keys import Keys
from qualify.plan.stage_reading import CHALLENGE_TWICE, circumstances, recorded
from qualify.plan.stage_tests import (
    CoolDown,
    LoopTest,
    OperationTest,
    ProgramStep,
    ProgramTest,
    PurgeTest,
    Recorded,
)
from qualify.units import TemperatureUnit, difference_to_c, temperature_to_c

BREAKS = ("open", "shorted", "unpowered", "frozen")


def read_operation_tests(top: Keys, units: TemperatureUnit) -> tuple[OperationTest, ...]:
    """Read every purge, cool-down, loop check and program of the plan.

    Raises
    ------
    Refusal
        If a value is missing or not of its kind, or a name stands twice.
    """
    found: list[OperationTest] = [
        *(_purge(table) for table in top.tables("purges")),
        *(_cool_down(table, units) for table in top.tables("cool_downs")),
        *(_loop(table) for table in top.tables("loop_checks")),
        *(_program(table, units) for table in top.tables("programs")),
    ]
    return tuple(found)


def no_name_twice(top: Keys, names: list[str]) -> None:
    """Refuse a name that two tests bear, of whatever kind they are."""
    for name in names:
        if names.count(name) > 1:
            raise CHALLENGE_TWICE(what="the test", name=name, **top.where("name"))


def _name(table: Keys) -> str:
    return table.text("name", why="A test is told apart by its name.")


def _files(table: Keys) -> Recorded:
    found = recorded(table, needed="What the test shows stands in its logger files.")
    assert found is not None
    return found


def _needed(table: Keys, key: str, why: str) -> float:
    value = table.number(key)
    if value is None:
        raise table.missing(key, why)
    return value


def _time(table: Keys, key: str) -> float | None:
    """A length of time [s], in minutes or seconds by the key's own ending."""
    minutes, seconds = table.number(f"{key}_min", least=0.0), table.number(f"{key}_s", least=0.0)
    if minutes is not None and seconds is not None:
        raise table.wrong(f"{key}_s", f"needed beside {key}_min: give one of the two")
    return 60.0 * minutes if minutes is not None else seconds


def _purge(table: Keys) -> PurgeTest:
    lag = table.number("analyser_lag_s", least=0.0)
    found = PurgeTest(
        name=_name(table),
        circumstances=circumstances(table),
        recorded=_files(table),
        channel=table.text("oxygen", why="A purge is judged by the oxygen that was recorded."),
        start=table.moment("start"),
        end=table.moment("end"),
        limit=_needed(table, "limit", "A purge is to reach a limit of oxygen."),
        within_s=_time(table, "within"),
        another_limit=table.number("another_limit", least=0.0),
        reading_u=table.number("reading_standard_uncertainty", default=0.0, least=0.0) or 0.0,
        resolution=table.number("resolution", default=0.0, least=0.0) or 0.0,
        lag_s=lag,
        delay_s=table.number("sample_delay_s", default=0.0, least=0.0) or 0.0,
        volume_m3=table.number("free_volume_m3", least=0.0),
        flow_m3_per_h=table.number("flow_m3_per_h", least=0.0),
        supply=table.number("supply_oxygen", least=0.0),
        flow_stopped=table.moment("flow_stopped"),
        rise_at_most=table.number("rise_at_most_per_h", least=0.0),
        kept_from=table.moment("kept_from"),
        kept_to=table.moment("kept_to"),
    )
    if found.rise_at_most is not None and found.flow_stopped is None:
        raise table.missing("flow_stopped", "The rise of a closed chamber counts from there.")
    table.done()
    return found


def _cool_down(table: Keys, units: TemperatureUnit) -> CoolDown:
    def temperature(key: str) -> float | None:
        value = table.number(key)
        return None if value is None else float(temperature_to_c(value, units))

    handling = temperature("handling")
    if handling is None:
        raise table.missing("handling", "A cool-down is to reach the temperature at which one may handle.")
    u = table.number("reading_standard_uncertainty", default=0.0, least=0.0) or 0.0
    found = CoolDown(
        name=_name(table),
        circumstances=circumstances(table),
        recorded=_files(table),
        channel=table.text("channel"),
        start=table.moment("start"),
        end=table.moment("end"),
        handling_c=handling,
        within_s=_time(table, "within"),
        coolant_c=temperature("coolant"),
        other_coolant_c=temperature("other_coolant"),
        reading_u_c=float(difference_to_c(u, units)),
    )
    table.done()
    return found


def _loop(table: Keys) -> LoopTest:
    points = []
    for key, rising in (("rising", True), ("falling", False)):
        for item in table.tables(key):
            displayed = item.number("displayed")
            points.append((_needed(item, "signal", "A point is a signal injected."), displayed, rising))
            item.done()
    if not points:
        raise table.missing("rising", "A loop check needs the signals injected and what was displayed.")
    broken = []
    for item in table.tables("broken"):
        how = item.choice("how", list(BREAKS))
        if how is None:
            raise item.missing("how", "It says how the signal was broken.")
        broken.append((how, item.number("displayed"), item.yes_or_no("fault_shown")))
        item.done()
    signal, scale = table.numbers("signal_range"), table.numbers("scale")
    for key, ends in (("signal_range", signal), ("scale", scale)):
        if len(ends) != 2:
            raise table.wrong(key, "two numbers: the low and the high end")
    trip = table.number("trip")
    found = LoopTest(
        name=_name(table),
        circumstances=circumstances(table),
        unit=table.text("unit", why="The scale's numbers are in a unit."),
        signal_low=signal[0],
        signal_high=signal[1],
        scale_low=scale[0],
        scale_high=scale[1],
        points=tuple(points),
        error_at_most=_needed(table, "error_at_most", "The error in % of the span needs its limit."),
        hysteresis_at_most=table.number("hysteresis_at_most", least=0.0),
        trip=trip,
        harmful_above=table.choice("harmful", ["above", "below"], "above") == "above",
        broken=tuple(broken),
    )
    if broken and trip is None:
        raise table.missing("trip", "Which side a broken signal reads is told against the trip point.")
    table.done()
    return found


def _program(table: Keys, units: TemperatureUnit) -> ProgramTest:
    steps = []
    for item in table.tables("steps"):
        rate, tolerance = item.number("rate_per_min"), item.number("rate_tolerance_per_min", least=0.0)
        steps.append(
            ProgramStep(
                setpoint_c=float(
                    temperature_to_c(_needed(item, "setpoint", "A step goes somewhere."), units)
                ),
                band_c=float(difference_to_c(_needed(item, "band", "How near counts as there."), units)),
                rate_c_per_min=None if rate is None else float(difference_to_c(abs(rate), units)),
                rate_tolerance_c_per_min=(
                    None if tolerance is None else float(difference_to_c(tolerance, units))
                ),
                dwell_min=item.number("dwell_min", least=0.0),
                shorter_by_min=item.number("shorter_by_min", default=0.0, least=0.0),
                longer_by_min=item.number("longer_by_min", least=0.0),
            )
        )
        item.done()
    if not steps:
        raise table.missing("steps", "A program is a list of steps.")
    found = ProgramTest(
        name=_name(table),
        circumstances=circumstances(table),
        recorded=_files(table),
        channel=table.text("channel"),
        steps=tuple(steps),
    )
    table.done()
    return found
