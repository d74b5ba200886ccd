"""The plan's exclusions: which readings each rule leaves out, and the list of them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from qualify.figures.phases import SAME_INSTANT_S
from qualify.findings import Doubt, DoubtKind, RefusalKind
from qualify.plan.model import Exclusion, Survey
from qualify.readings.model import BoolArray
from qualify.record import ExclusionRecord
from qualify.stages.locations import Assigned
from qualify.stages.screening import Screened, mask_of, row_at

MEETS_NOTHING = DoubtKind(
    "exclusion-meets-nothing",
    "the plan's exclusion of {what} ({reason}) meets no reading of this recording; nothing is left out by it",
)
WHOLE_LOCATION = RefusalKind(
    "exclusion-whole-location",
    what="the plan's exclusions leave out every reading of location '{name}'",
    why="What the plan calls a location can't be left out as a whole: that would be ignoring it.",
    mend="narrow the exclusions by kind, from and to; or take the location out of the plan and give its "
    "channel the role ignored, with the reason.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Excluded:
    """What the plan's exclusions leave out of a recording.

    `mask` is (n, m) bool, None where nothing is left out; `named` the part of it that rules without a
    kind leave out, whatever screening says.
    """

    mask: BoolArray | None
    named: BoolArray | None
    records: tuple[ExclusionRecord, ...]
    doubts: tuple[Doubt, ...]


def exclude(
    rules: Sequence[Exclusion],
    survey: Survey,
    assigned: Assigned,
    screened: Sequence[Screened],
    tell_time: Callable[[str], float],
) -> Excluded:
    """Find the readings that the plan's rules leave out of one recording.

    Parameters
    ----------
    rules
        The plan's exclusions.
    survey
        The survey that the recording belongs to; rules that name another are passed over.
    assigned
        Locations with all their readings.
    screened
        What screening doubts.
    tell_time
        Turns a TIME of the plan into seconds from the first reading.

    Raises
    ------
    Refusal
        If no reading of a location is left, or a TIME can't be told.
    """
    readings = assigned.readings
    shape = (readings.raw_c.shape[0], readings.raw_c.shape[1])
    mask: BoolArray | None = None
    named: BoolArray | None = None
    records: list[ExclusionRecord] = []
    doubts: list[Doubt] = []
    for rule in rules:
        if rule.survey not in ("", survey.name):
            continue
        met = _met(rule, assigned, screened, shape, tell_time)
        if met is None:
            doubts.append(MEETS_NOTHING(what=_worded(rule), reason=rule.reason))
            continue
        mask = met if mask is None else mask | met
        if rule.kind is None:
            named = met if named is None else named | met
        records += [
            _record(rule, assigned, met, column) for column in np.flatnonzero(met.any(axis=0)).tolist()
        ]
    if mask is not None:
        there = ~np.isnan(readings.raw_c)
        for column in np.flatnonzero(mask.any(axis=0)):
            if not (there[:, column] & ~mask[:, column]).any():
                raise WHOLE_LOCATION(name=readings.locations[column])
    return Excluded(mask=mask, named=named, records=tuple(records), doubts=tuple(doubts))


def _met(
    rule: Exclusion,
    assigned: Assigned,
    screened: Sequence[Screened],
    shape: tuple[int, int],
    tell_time: Callable[[str], float],
) -> BoolArray | None:
    """Readings that one rule leaves out; None where it meets none."""
    readings = assigned.readings
    columns = [column for column in range(shape[1]) if _is_meant(rule, assigned, column)]
    first, stop = 0, shape[0]
    seconds = readings.recording.seconds
    if rule.start is not None:
        first = int(np.searchsorted(seconds, tell_time(rule.start) - SAME_INSTANT_S, side="left"))
    if rule.end is not None:
        stop = int(np.searchsorted(seconds, tell_time(rule.end) + SAME_INSTANT_S, side="right"))
    met = np.zeros(shape, dtype=np.bool_)
    met[first:stop, columns] = True
    if rule.kind is not None:
        found = mask_of([item for item in screened if item.kind is rule.kind], shape)
        if found is None:
            return None
        met &= found
    met &= ~np.isnan(readings.raw_c)
    return met if met.any() else None


def _is_meant(rule: Exclusion, assigned: Assigned, column: int) -> bool:
    readings = assigned.readings
    if rule.location:
        return readings.locations[column] == rule.location
    channel = readings.recording.channels[readings.channel_index[column]]
    return not rule.channel or channel.is_called(rule.channel)


def _worded(rule: Exclusion) -> str:
    parts = [
        f"kind '{rule.kind.value}'" if rule.kind is not None else "",
        f"location '{rule.location}'" if rule.location else "",
        f"channel '{rule.channel}'" if rule.channel else "",
        f"from {rule.start}" if rule.start is not None else "",
        f"to {rule.end}" if rule.end is not None else "",
    ]
    return ", ".join(part for part in parts if part)


def _record(rule: Exclusion, assigned: Assigned, met: BoolArray, column: int) -> ExclusionRecord:
    readings = assigned.readings
    channel = readings.recording.channels[readings.channel_index[column]]
    places = np.flatnonzero(met[:, column])
    first, last = int(places[0]), int(places[-1])
    first_s, last_s = float(readings.recording.seconds[first]), float(readings.recording.seconds[last])
    return ExclusionRecord(
        location=readings.locations[column],
        channel=channel.name,
        kind=None if rule.kind is None else rule.kind.value,
        reason=rule.reason,
        readings=int(places.size),
        file=channel.file,
        first_row=row_at(assigned, column, first),
        last_row=row_at(assigned, column, last),
        first_s=first_s,
        last_s=last_s,
        first=readings.recording.iso(first_s),
        last=readings.recording.iso(last_s),
    )
