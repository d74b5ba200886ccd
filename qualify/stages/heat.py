"""What heat did over a run, at air and at load sensors; how the load follows the air."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from qualify.figures.absent import Absent, Maybe, present
from qualify.figures.heat_effect import Summed, cure_equivalent, heat_effect, time_above
from qualify.plan.heat import HeatAsked, HeatKind
from qualify.plan.model import Plan
from qualify.readings.model import FloatArray
from qualify.record import Decision, HeatRecord, LoadRecord, RequirementRecord
from qualify.stages.recorded_tests import as_id, requirement
from qualify.stages.stretch import Stretch

_UNCERTAIN = "the uncertainty of {sensors} is not known: their readings count as they are"


def heat_records(plan: Plan, stretch: Stretch) -> tuple[HeatRecord, ...]:
    """Add up what the plan asks, over the whole recording of a hold, at every sensor.

    Parameters
    ----------
    plan, stretch
        The plan, and the hold in its recording.
    """
    hold = stretch.found.hold
    asked = [item for item in plan.heat if not item.holds or hold.name in item.holds]
    if not asked:
        return ()
    names, values_c, u_c, is_load = _sensors(stretch)
    return tuple(_record(item, stretch.trace.seconds, names, values_c, u_c, is_load) for item in asked)


def heat_requirements(records: Sequence[HeatRecord]) -> list[RequirementRecord]:
    """Hold every sum against its limits: where it is least, and where it is most."""
    found = []
    for record in records:
        for side, limit in (("least", record.least_limit_min), ("most", record.most_limit_min)):
            if limit is not None:
                found.append(_requirement(record, side, limit))
    return found


def _sensors(stretch: Stretch) -> tuple[list[str], FloatArray, FloatArray, list[bool]]:
    """Names, readings (n, m), U (m,) with NaN where not known, and which are loads."""
    readings, assigned = stretch.readings, stretch.assigned
    names = [*readings.locations, *(role.channel for role in assigned.loads)]
    values = [readings.corrected_c]
    u: list[float] = []
    whole = slice(0, readings.raw_c.shape[0])
    for column in range(len(readings.locations)):
        budget = stretch.budget_of(column, whole)
        u.append(np.nan if isinstance(budget, Absent) else budget.expanded_c)
    if assigned.loads:
        values.append(assigned.loads_c)
        for number, correction in enumerate(assigned.load_corrections):
            known = (
                None if correction is None else correction.expanded_uncertainty_c(assigned.loads_c[:, number])
            )
            u.append(np.nan if known is None else known)
    is_load = [False] * len(readings.locations) + [True] * len(assigned.loads)
    return names, np.hstack(values), np.array(u), is_load


def _record(
    asked: HeatAsked,
    seconds: FloatArray,
    names: Sequence[str],
    values_c: FloatArray,
    u_c: FloatArray,
    is_load: Sequence[bool],
) -> HeatRecord:
    taken_u = np.nan_to_num(u_c)
    as_read = _sum(asked, seconds, values_c)
    less = _sum(asked, seconds, values_c - taken_u)
    more = _sum(asked, seconds, values_c + taken_u)
    judged = [n for n, load in enumerate(is_load) if load] or list(range(len(names)))
    least, least_at = _extreme(less, judged, least=True)
    most, most_at = _extreme(more, judged, least=False)
    return HeatRecord(
        name=asked.name,
        kind=asked.kind.value,
        reference_c=asked.reference_c,
        z_c=asked.z_c,
        activation_energy_kj_per_mol=asked.activation_energy_kj_per_mol,
        above_c=asked.above_c,
        because=asked.because,
        sensors=tuple(names),
        loads=tuple(is_load),
        minutes=_minutes(as_read, len(names)),
        minutes_less_uncertainty=_minutes(less, len(names)),
        least_min=least,
        least_at=None if least_at is None else names[least_at],
        most_min=most,
        most_at=None if most_at is None else names[most_at],
        least_limit_min=asked.least_minutes,
        most_limit_min=asked.most_minutes,
        note=_unknown([names[column] for column in judged if np.isnan(u_c[column])]),
    )


def _unknown(sensors: Sequence[str]) -> str:
    more = f" and {len(sensors) - 3} more" if len(sensors) > 3 else ""
    return _UNCERTAIN.format(sensors=", ".join(sensors[:3]) + more) if sensors else ""


def _sum(asked: HeatAsked, seconds: FloatArray, values_c: FloatArray) -> Summed | Absent:
    if asked.kind is HeatKind.ABOVE:
        return time_above(seconds, values_c, asked.reference_c)
    if asked.kind is HeatKind.CURE:
        assert asked.activation_energy_kj_per_mol is not None
        return cure_equivalent(
            seconds,
            values_c,
            reference_c=asked.reference_c,
            activation_energy_kj_per_mol=asked.activation_energy_kj_per_mol,
            above_c=asked.above_c,
        )
    assert asked.z_c is not None
    found = heat_effect(
        seconds, values_c, reference_c=asked.reference_c, z_c=asked.z_c, above_c=asked.above_c
    )
    return found if isinstance(found, Absent) else found.as_read


def _minutes(found: Summed | Absent, count: int) -> tuple[Maybe, ...]:
    return (found,) * count if isinstance(found, Absent) else found.minutes


def _extreme(found: Summed | Absent, judged: Sequence[int], *, least: bool) -> tuple[Maybe, int | None]:
    if isinstance(found, Absent):
        return found, None
    numbers: list[tuple[float, int]] = []
    for column in judged:
        value = found.minutes[column]
        if isinstance(value, Absent):
            # What is not known at one sensor may be the least, and the most.
            return value, column
        numbers.append((value, column))
    value, column = min(numbers) if least else max(numbers)
    return value, column


def _requirement(record: HeatRecord, side: str, limit: float) -> RequirementRecord:
    least = side == "least"
    value = record.least_min if least else record.most_min
    sign = "less" if least else "plus"
    what = f"{record.kind}, {record.name}: {side} of all judged sensors, readings {sign} U"
    text = f"{what}, {'at least' if least else 'at most'} {limit:g} min"
    decision = Decision.NOT_SHOWN
    note = value.reason if isinstance(value, Absent) else record.note
    if present(value):
        kept = value >= limit - 1e-9 if least else value <= limit + 1e-9
        decision = Decision.PASS if kept else Decision.FAIL
        if kept and record.note:
            # U was asked to be taken off (or added); where it isn't known, nothing was.
            decision = Decision.CONDITIONAL
    found = requirement(
        record.name,
        side,
        text,
        value,
        "min",
        decision,
        note,
        low=limit if least else None,
        high=None if least else limit,
    )
    return _at(found, record.least_at if least else record.most_at, record.name)


def _at(found: RequirementRecord, location: str | None, name: str) -> RequirementRecord:
    from dataclasses import replace

    return replace(found, location=location, decided_by=location, id=f"heat-{as_id(name)}-{found.figure}")


# ---- the load behind the air ----


def load_records(stretch: Stretch) -> tuple[LoadRecord, ...]:
    """How each load sensor follows the air: its lag, and its figures in the window."""
    assigned, found = stretch.assigned, stretch.found
    if not assigned.loads:
        return ()
    seconds = stretch.trace.seconds
    low_c, high_c = stretch.limits.low_c, stretch.limits.high_c
    rows = slice(found.begin, found.end + 1)
    air_s = _first_inside(seconds[rows], stretch.trace.mean_c[rows], low_c, high_c)
    records = []
    for number, role in enumerate(assigned.loads):
        course = assigned.loads_c[:, number]
        load_s = _first_inside(seconds[rows], course[rows], low_c, high_c)
        lag: Maybe = load_s if isinstance(load_s, Absent) else air_s
        if present(load_s) and present(air_s):
            lag = load_s - air_s
        window = found.window
        inside = np.empty(0) if isinstance(window, Absent) else course[window.first : window.last + 1]
        inside = inside[~np.isnan(inside)]
        nothing = Absent("no reading in the window")
        records.append(
            LoadRecord(
                channel=role.channel,
                lag_s=lag,
                mean_c=float(inside.mean()) if inside.size else nothing,
                min_c=float(inside.min()) if inside.size else nothing,
                max_c=float(inside.max()) if inside.size else nothing,
            )
        )
    return tuple(records)


def _first_inside(
    seconds: FloatArray, values_c: FloatArray, low_c: float | None, high_c: float | None
) -> Maybe:
    if low_c is None or high_c is None:
        return Absent("no limits are set")
    inside = np.flatnonzero((values_c >= low_c) & (values_c <= high_c))
    return float(seconds[inside[0]]) if inside.size else Absent("it never came inside the limits")
