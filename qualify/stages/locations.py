"""Which channel is what: judged locations, other roles, ignored columns, corrected readings."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from qualify.evidence import Readings
from qualify.findings import Doubt, DoubtKind, RefusalKind, nearest
from qualify.plan.model import ChannelRole, Location, Plan, Role, WorkZone
from qualify.readings.model import BoolArray, FloatArray, Recording
from qualify.readings.room import room_for
from qualify.sensors.certificates import Certificates, Judged, Rules, corrections_for
from qualify.sensors.corrections import Correction

UNKNOWN_CHANNEL = RefusalKind(
    "unknown-channel",
    what="there is no temperature channel '{name}' in {files}{near}{other}",
    why="{why}",
    mend="correct the name; the temperature channels are {known}.",
)
CHANNEL_TWICE = RefusalKind(
    "channel-twice",
    what="'{one}' and '{other}' are one channel, '{name}'",
    why="A channel belongs to one place or has one role.",
    mend="keep one of the two.",
)
NAME_TWICE = RefusalKind(
    "location-name-twice",
    what="a location of the plan and a channel that the plan is silent about are both called '{name}'",
    why="A name must mean one place.",
    mend="name the channel in the plan, or rename the location.",
)
TOO_FEW_LOCATIONS = RefusalKind(
    "too-few-locations",
    what="{count} temperature channel is left to judge",
    why="Uniformity compares places: it needs at least two.",
    mend="give the files of all sensors, or ignore fewer channels.",
)
NAME_SUGGESTS = DoubtKind(
    "name-suggests-other",
    "the name suggests that this is {what} and not a place in the work zone; it is judged as a location. "
    'If it is none, add --ignore "{name}=reason" (in a plan: a [[channels]] entry)',
)
NOT_IN_PLAN = DoubtKind(
    "not-in-plan",
    "the plan names neither a location nor a role for this temperature channel; it is judged as a location",
)

_BLOCK_ROWS = 8192

SUGGESTIONS = {
    "a set point": ("set point", "setpoint", "set-point", "sp", "sv", "target"),
    "the ambient temperature": ("ambient", "room", "outside", "environment"),
    "a reference junction": ("junction", "cjc", "cold end"),
    "a controller's or recorder's reading": ("controller", "control", "pv", "process value"),
    "an average": ("average", "avg", "mean"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Assigned:
    """Channels by what they are.

    `loads_c` are the sensors in the load and `ignored_c` the ignored temperature columns, both corrected
    where they have a certificate; `displays_c` what controller and recorder display; `set_point_c` the
    recorded set point (n,).
    """

    readings: Readings
    places: tuple[Location, ...]
    ignored: tuple[ChannelRole, ...]
    ignored_c: FloatArray
    ignored_corrections: tuple[Correction | None, ...]
    displays: tuple[ChannelRole, ...]
    displays_c: FloatArray
    loads: tuple[ChannelRole, ...]
    loads_c: FloatArray
    load_corrections: tuple[Correction | None, ...]
    set_point_c: FloatArray | None
    reference: int | None
    doubts: tuple[Doubt, ...]


def assign(plan: Plan, recording: Recording, certificates: Certificates | None) -> Assigned:
    """Give every temperature channel its place or role, and correct the readings.

    Raises
    ------
    Refusal
        If the plan or an option names a channel that the files lack, fewer than two locations are
        left, or a certificate does not fit.
    """
    taken: dict[int, Location | ChannelRole] = {}

    def take(index: int, item: Location | ChannelRole) -> None:
        if index in taken:
            raise CHANNEL_TWICE(
                name=recording.channels[index].name, one=taken[index].channel, other=item.channel
            )
        taken[index] = item

    for location in plan.locations:
        take(_find(recording, location.channel, f"Location '{location.name}' has no readings."), location)
    for role in plan.channels:
        if any(other.is_called(role.channel) for other in recording.others):
            continue
        if role.role is Role.LOAD and not any(item.is_called(role.channel) for item in recording.channels):
            # An empty run has no load; that some run has it is checked over the whole plan.
            continue
        why = f"The plan gives it the role '{role.role.value}'."
        if plan.from_options:
            why = "An --ignore that meets no column would leave a column judged that should not be."
        take(_find(recording, role.channel, why), role)
    judged: list[tuple[int, Location]] = []
    doubts: list[Doubt] = []
    for index, channel in enumerate(recording.channels):
        item = taken.get(index)
        if item is None:
            judged.append((index, Location(name=channel.name, channel=channel.name, planned=False)))
            doubts += _doubts_about_name(plan, recording, index)
        elif isinstance(item, Location):
            judged.append((index, replace(item, channel=channel.name)))
    if len(judged) < 2:
        raise TOO_FEW_LOCATIONS(file=", ".join(recording.layouts), count=len(judged))
    names = [location.name for _, location in judged]
    for name in names:
        if names.count(name) > 1:
            raise NAME_TWICE(name=name)
    by_name = {location.name: position for position, location in enumerate(plan.locations)}
    judged.sort(key=lambda pair: by_name.get(pair[1].name, len(by_name)))
    roles = [(index, item) for index, item in taken.items() if isinstance(item, ChannelRole)]
    ignored = [(index, role) for index, role in roles if role.role is Role.IGNORED]
    displays = [(i, role) for i, role in roles if role.role in (Role.CONTROLLER, Role.RECORDER)]
    set_points = [index for index, role in roles if role.role is Role.SET_POINT]
    loads = [(index, role) for index, role in roles if role.role is Role.LOAD]
    corrections = _corrections(plan, recording, certificates, judged, [*ignored, *loads])
    readings = _corrected(recording, judged, corrections[: len(judged)])
    ignored_corrections = corrections[len(judged) : len(judged) + len(ignored)]
    load_corrections = corrections[len(judged) + len(ignored) :]
    places = tuple(location for _, location in judged)
    return Assigned(
        readings=readings,
        places=places,
        ignored=tuple(role for _, role in ignored),
        ignored_c=_columns(recording, [index for index, _ in ignored], ignored_corrections),
        ignored_corrections=ignored_corrections,
        loads=tuple(role for _, role in loads),
        loads_c=_columns(recording, [index for index, _ in loads], load_corrections),
        load_corrections=load_corrections,
        displays=tuple(role for _, role in displays),
        displays_c=_columns(recording, [index for index, _ in displays], (None,) * len(displays)),
        set_point_c=recording.raw_c[:, set_points[0]] if set_points else None,
        reference=_reference(plan, places),
        doubts=tuple(doubts),
    )


def _find(recording: Recording, name: str, why: str) -> int:
    for index, channel in enumerate(recording.channels):
        if channel.is_called(name):
            return index
    known = [channel.name for channel in recording.channels]
    other = ""
    for column in recording.others:
        if column.is_called(name):
            other = f" (that column holds {column.unit or 'no temperature unit'})"
    raise UNKNOWN_CHANNEL(
        name=name,
        files=", ".join(recording.layouts),
        near=nearest(name, known),
        other=other,
        why=why,
        known=", ".join(known),
    )


def _doubts_about_name(plan: Plan, recording: Recording, index: int) -> list[Doubt]:
    channel = recording.channels[index]
    doubts = []
    if not plan.from_options:
        doubts.append(NOT_IN_PLAN(file=channel.file, column=channel.header, location=channel.name))
    words = f" {channel.name.casefold().replace('_', ' ').replace('.', ' ')} "
    for what, tokens in SUGGESTIONS.items():
        if any(f" {token} " in words for token in tokens):
            doubts.append(
                NAME_SUGGESTS(
                    file=channel.file,
                    column=channel.header,
                    location=channel.name,
                    what=what,
                    name=channel.name,
                )
            )
            break
    return doubts


def _corrections(
    plan: Plan,
    recording: Recording,
    certificates: Certificates | None,
    judged: list[tuple[int, Location]],
    ignored: list[tuple[int, ChannelRole]],
) -> tuple[Correction | None, ...]:
    if certificates is None or plan.certificates is None:
        return (None,) * (len(judged) + len(ignored))
    choice = plan.certificates
    wanted = [
        Judged(recording.channels[index], place.sensor, spool=place.spool, sample=place.sample)
        for index, place in judged
    ]
    wanted += [Judged(recording.channels[index], "", needed=False) for index, _ in ignored]
    return corrections_for(
        certificates,
        wanted,
        recording.channels,
        reach_c=choice.reach,
        reach_uncertainty_c=choice.reach_uncertainty,
        rules=Rules(
            degree=choice.degree,
            spool_range_c=choice.spool_range,
            use=choice.use,
            correlation=choice.laboratory_correlation,
            more_sensors=choice.more_sensors,
            day=survey_day(plan, recording),
        ),
    )


def survey_day(plan: Plan, recording: Recording) -> date | None:
    """The day on which the certificates must be in force: the recording's, else the surveyor's."""
    if recording.start is not None:
        return recording.start.date()
    return None if plan.surveyor is None else plan.surveyor.date


def _corrected(
    recording: Recording,
    judged: list[tuple[int, Location]],
    corrections: tuple[Correction | None, ...],
) -> Readings:
    index = [position for position, _ in judged]
    whole = index == list(range(recording.raw_c.shape[1]))
    raw_c = recording.raw_c if whole else recording.raw_c[:, index]
    corrected_c, calibrated = raw_c, np.ones((1, 1), dtype=np.bool_)
    if any(correction is not None for correction in corrections):
        corrected_c = room_for(*raw_c.shape)
        corrected_c[:] = raw_c
        calibrated = np.ones(raw_c.shape, dtype=np.bool_)
        for column, correction in enumerate(corrections):
            if correction is not None:
                corrected_c[:, column], calibrated[:, column] = correction.apply(raw_c[:, column])
    return Readings(
        recording=recording,
        locations=tuple(location.name for _, location in judged),
        channel_index=tuple(index),
        raw_c=raw_c,
        corrected_c=corrected_c,
        calibrated=np.broadcast_to(calibrated, raw_c.shape),
        corrections=corrections,
    )


def leave_out(assigned: Assigned, places: BoolArray | None) -> Assigned:
    """Leave readings out of all figures; as recorded they stay beside.

    Parameters
    ----------
    assigned
        Locations and their readings.
    places : (n, m) bool or None
        True where a reading is left out.
    """
    if places is None or not places.any():
        return assigned
    readings = assigned.readings
    left = replace(
        readings,
        raw_c=_blanked(readings.raw_c, places),
        corrected_c=_blanked(readings.corrected_c, places),
        recorded_c=readings.raw_c if readings.recorded_c is None else readings.recorded_c,
    )
    return replace(assigned, readings=left)


def _blanked(values_c: FloatArray, places: BoolArray) -> FloatArray:
    """A copy of the readings, NaN at these places; made in pieces, for a table may be larger than memory."""
    result = room_for(*values_c.shape)
    for start in range(0, len(values_c), _BLOCK_ROWS):
        rows = slice(start, start + _BLOCK_ROWS)
        result[rows] = np.where(places[rows], np.nan, values_c[rows])
    return result


def _columns(
    recording: Recording, index: list[int], corrections: tuple[Correction | None, ...]
) -> FloatArray:
    columns = recording.raw_c[:, index]
    for column, correction in enumerate(corrections):
        if correction is not None:
            columns[:, column], _ = correction.apply(columns[:, column])
    return columns


def _reference(plan: Plan, places: tuple[Location, ...]) -> int | None:
    """The plan's reference location; else the one nearest the centre, if near enough to it."""
    names = [place.name for place in places]
    if plan.reference_location is not None:
        return names.index(plan.reference_location)
    if plan.work_zone is None:
        return None
    return nearest_to_centre(plan.work_zone, places)


def nearest_to_centre(zone: WorkZone, places: tuple[Location, ...]) -> int | None:
    """Index of the place nearest the work zone's centre, if within a quarter of each dimension of it."""
    size = np.array([zone.width_mm, zone.depth_mm, zone.height_mm])
    best: tuple[float, int] | None = None
    for index, place in enumerate(places):
        if place.position_mm is None:
            continue
        apart = np.array(place.position_mm) - size / 2
        if np.all(np.abs(apart) <= size / 4 + 1e-9):
            distance = float(np.hypot.reduce(apart))
            if best is None or distance < best[0]:
                best = (distance, index)
    return None if best is None else best[1]
