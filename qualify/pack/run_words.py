"""Replicate runs in a line: what they share, how many kept their limits, where the tolerance limits lie."""

from __future__ import annotations

from qualify.figures.absent import Absent
from qualify.record import Record, ReplicateRecord
from qualify.units import TemperatureUnit, difference_from_c, temperature_from_c


def surveys_of(record: Record, group: ReplicateRecord) -> list[int | None]:
    """Find the survey of each run in the record."""
    shared = (group.stage, group.setpoint_c, group.limit_low_c, group.limit_high_c)
    found: dict[str, int] = {}
    for number, survey in enumerate(record.surveys):
        if (survey.stage, survey.setpoint_c, survey.limit_low_c, survey.limit_high_c) == shared:
            found.setdefault(survey.name, number)
    return [found.get(name) for name in group.runs]


def group_title(group: ReplicateRecord, unit: TemperatureUnit = TemperatureUnit.C) -> str:
    """Name a group of replicate runs by what its runs share."""
    setpoint = temperature_from_c(group.setpoint_c, unit)
    limits = [
        _signed(difference_from_c(limit - group.setpoint_c, unit), 6)
        for limit in (group.limit_low_c, group.limit_high_c)
        if limit is not None
    ]
    words = f"limits {' and '.join(limits)} {unit.value}" if limits else "no limits"
    return f"{group.stage}, set point {setpoint:.6g} {unit.value}, {words}"


def counted(group: ReplicateRecord) -> str:
    """Say how many runs there are."""
    count = len(group.runs)
    return f"{count} run{'s' * (count != 1)}"


def words_of_runs(group: ReplicateRecord, unit: TemperatureUnit) -> str:
    """Say in one line how many runs kept the limits, and where the tolerance limits lie to them.

    Parameters
    ----------
    group
        The runs.
    unit
        Of the temperatures printed.
    """
    found = group.statistics
    if isinstance(found, Absent):
        # A reason may begin with the count itself.
        return found.reason if found.reason.startswith("one run") else f"{counted(group)}: {found.reason}"
    parts = [counted(group)]
    if not isinstance(found.passing, Absent):
        parts = [f"{found.passing.passed} of {found.passing.n} runs kept the limits"]
    told, missing = [], ""
    for word, own, upper in (("highest", found.highest, True), ("lowest", found.lowest, False)):
        tolerance = own.tolerance
        if isinstance(tolerance, Absent):
            missing = missing or tolerance.reason
            continue
        value = tolerance.high_c if upper else tolerance.low_c
        limit = own.limit_high_c if upper else own.limit_low_c
        if isinstance(value, Absent):
            continue
        held = ""
        if limit is not None:
            beyond = value > limit if upper else value < limit
            shown = _signed(difference_from_c(limit, unit), 6)
            held = f" (BEYOND the limit {shown})" if beyond else f" (limit {shown})"
        told.append(f"{word} {_signed(difference_from_c(value, unit), 3)}{held}")
    if told:
        shares = f"{100 * found.content:g} % of future runs, confidence {100 * found.confidence:g} %"
        parts.append(f"tolerance limits for {shares}: {', '.join(told)} {unit.value}")
    if missing:
        parts.append(f"{'a tolerance limit is missing' if told else 'no tolerance limits'}: {missing}")
    return "; ".join(parts)


def _signed(value: float, digits: int) -> str:
    return f"{value:+.{digits}g}".replace("-", "−")
