"""Screening of the readings: what the detectors find becomes doubts, each with its place.

A doubt leaves nothing out by itself. Only what lies beyond the range of a sensor's type is never a
reading, whoever asks.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from qualify.figures import screening as single
from qualify.figures import screening_across as across
from qualify.figures.absent import Absent, present
from qualify.figures.instants import recording_interval
from qualify.findings import Doubt, DoubtKind
from qualify.plan.model import Plan, Role, Screening
from qualify.readings.model import BoolArray, FloatArray, IntArray, Recording
from qualify.sensors.ranges import range_of
from qualify.stages.hold_figures import HoldFigures
from qualify.stages.locations import Assigned, leave_out
from qualify.stages.stretch import Stretch
from qualify.standards import STANDINGS, citation, rows

COUNT = "they count in every figure unless the plan excludes them"

BEYOND_RANGE = DoubtKind(
    "beyond-sensor-range",
    "{count} beyond the range of a sensor of type {type} ({low:g} to {high:g} °C; {source}, {standing}), the "
    "furthest {value:.6g} °C{rows}: never a reading; the figures do without",
)
SPIKE = DoubtKind(
    Screening.SPIKE.value,
    "{count} far from the neighbours in time: {deviation:+.3g} °C from the running median at the furthest, "
    f"where the threshold is {{threshold:.3g}} °C{{rows}}; {COUNT}",
)
STUCK = DoubtKind(
    Screening.STUCK.value,
    "{readings} equal readings of {value:.6g} °C one after the other{rows}, while {meanwhile} (threshold: "
    f"{{threshold}}): the value may be stuck; {COUNT}",
)
RATE = DoubtKind(
    Screening.RATE.value,
    "{jumps} faster than a sensor in this oven can follow: {change:+.4g} °C at {rate:.3g} °C/s at the "
    f"fastest, where the threshold is {{threshold:.3g}} °C/s; {{count}} on the far side{{rows}}; {COUNT}",
)
OPEN_CIRCUIT = DoubtKind(
    Screening.OPEN_CIRCUIT.value,
    "the location leaves all others one way and ends {end} at {value:.6g} °C, {beyond:.3g} °C beyond the "
    "extreme of every other location (threshold {threshold:.3g} °C), as an opening circuit does: {count}"
    f"{{rows}}; {COUNT}",
)
MOVED = DoubtKind(
    Screening.MOVED.value,
    "hold '{hold}': from {when} on the location lies {step:+.3g} °C from where it lay against the median of "
    "all (threshold {threshold:.3g} °C), and no other location does: the sensor may have come to another "
    f"place; {{count}}{{rows}}; {COUNT}",
)
JUNCTION = DoubtKind(
    Screening.JUNCTION.value,
    "all channels of the file step together by {step:+.3g} °C within one interval (threshold "
    "{threshold:.3g} °C; equal within {unequal:.2g} °C), as when the reference junction or the recorder "
    "shifts; the readings from there on{rows} count in every figure unless the plan excludes them",
)
SWAPPED = DoubtKind(
    "channels-swapped",
    "locations '{one}' and '{other}' lie up to {apart:.2f} °C from the median of the others {where}, and "
    "with their corrections exchanged {exchanged:.2f} °C (the corrections differ by {differ:.2f} °C, "
    "threshold {threshold:.2f} °C): the two channels may be swapped; they are judged as the plan has them",
)
RESOLUTION = DoubtKind(
    "resolution-coarse",
    "hold '{hold}': {count} recorded in steps of {step:.3g} °C; half a step is over a tenth of the smaller "
    "limit of {limit:.3g} °C (common practice, no published source): figures are no finer than that",
)
INTERVAL = DoubtKind(
    "interval-long",
    "hold '{hold}': {what}: what happens between readings is not seen",
)
DISAGREES = DoubtKind(
    "disagrees-at-ambient",
    "before heat start the location lies {offset:+.2f} °C from the median location (threshold "
    "{threshold:.2f} °C): check channel, sensor and reference junction. For thermocouples agreement "
    "at ambient says nothing about their error when hot; the location is judged as it is",
)

LEAST_A_CYCLE = 4.0
LEAST_A_WINDOW = 20
RESOLUTION_SHARE = 0.1
_MOST_ROWS = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class Screened:
    """Readings of one location that screening doubts: their instants, and the doubt."""

    kind: Screening
    column: int
    places: IntArray
    doubt: Doubt


@dataclass(frozen=True, slots=True, kw_only=True)
class ScreenedRecording:
    """What screening finds in a recording as a whole.

    `steps_c` is the resolution of each location [°C], 0 where none can be told; `steps_shown` whether the
    readings show that the recorder has no finer one.
    """

    steps_c: FloatArray
    steps_shown: BoolArray
    found: tuple[Screened, ...]


def mask_of(found: Sequence[Screened], shape: tuple[int, int]) -> BoolArray | None:
    """All readings that are doubted, (n, m) bool; None where none is."""
    if not any(item.places.size for item in found):
        return None
    mask = np.zeros(shape, dtype=np.bool_)
    for item in found:
        mask[item.places, item.column] = True
    return mask


# ---- the recording as a whole ----


def without_impossible(assigned: Assigned) -> Assigned:
    """Take out what lies beyond the range of a sensor's type, with a doubt for each location."""
    readings = assigned.readings
    mask: BoolArray | None = None
    doubts: list[Doubt] = []
    for column, place in enumerate(assigned.places):
        span = range_of(place.sensor_type)
        if span is None:
            continue
        values = readings.raw_c[:, column]
        beyond = (values < span.low_c - 1e-9) | (values > span.high_c + 1e-9)
        if not beyond.any():
            continue
        mask = np.zeros(readings.raw_c.shape, dtype=np.bool_) if mask is None else mask
        mask[:, column] = beyond
        places = np.flatnonzero(beyond)
        furthest = places[np.argmax(np.abs(values[places] - (span.low_c + span.high_c) / 2))]
        doubts.append(
            BEYOND_RANGE(
                **_place(assigned, column, int(places[0])),
                cells=int(places.size),
                count=_readings(places.size),
                type=place.sensor_type,
                low=span.low_c,
                high=span.high_c,
                source=span.citation,
                standing=STANDINGS[span.standing],
                value=float(values[furthest]),
                rows=_rows(assigned, column, places),
            )
        )
    if mask is None:
        return assigned
    return replace(leave_out(assigned, mask), doubts=(*assigned.doubts, *doubts))


def screen_recording(plan: Plan, assigned: Assigned) -> ScreenedRecording:
    """Look for spikes, stuck values, impossible rates, open circuits and steps of the reference junction.

    The raw readings are looked at: a fault is the sensor's or the recorder's, whatever its correction. What
    was interpolated to another logger's instants was recorded by none: it is passed over, and doubted where
    it lies between a doubted reading and the next.
    """
    readings = assigned.readings
    seconds = readings.recording.seconds
    made = _interpolated(assigned)
    raw_c = readings.raw_c if made is None else np.where(made, np.nan, readings.raw_c)
    units = readings.recording.units
    resolutions = [
        single.resolution(raw_c[:, column], units[channel])
        for column, channel in enumerate(readings.channel_index)
    ]
    steps_c = np.array([item.step_c for item in resolutions])
    middle_c = single.chamber_middle(readings.raw_c)
    spikes = single.spikes(raw_c, steps_c, middle_c)
    found = [*_spikes(assigned, spikes, made)]
    pinned = across.pinned(raw_c, steps_c, middle_c)
    found += _pinned(assigned, pinned)
    told: list[list[tuple[int, int]]] = [
        [(place, place + 1) for place in spike.places.tolist()] for spike in spikes
    ]
    for column, rail in enumerate(pinned):
        told[column] += [(rail.first, rail.last + 1)] if rail is not None else []
    for column, runs in enumerate(single.stuck_runs(seconds, raw_c, steps_c, middle_c)):
        rail = pinned[column]
        for run in runs:
            if rail is None or not rail.first <= run.first <= run.last <= rail.last:
                found.append(_stuck(assigned, column, run, float(steps_c[column])))
                told[column] += [(run.first, run.first), (run.last + 1, run.last + 1)]
    found += _rates(assigned, single.impossible_rates(seconds, raw_c, middle_c), told)
    found += _junctions(plan, assigned, steps_c)
    shown = np.array([item.shown for item in resolutions])
    return ScreenedRecording(steps_c=steps_c, steps_shown=shown, found=tuple(found))


def _interpolated(assigned: Assigned) -> BoolArray | None:
    """Which readings (n, m) were interpolated; None where none was."""
    readings = assigned.readings
    if readings.recording.interpolated is None:
        return None
    made = readings.recording.interpolated[:, list(readings.channel_index)]
    return made if made.any() else None


def _with_interpolated(places: IntArray, made: BoolArray | None) -> IntArray:
    """Instants of doubted readings, and of what was interpolated (n,) from them."""
    if made is None:
        return places
    reached = set(places.tolist())
    for place in places.tolist():
        for way in (-1, 1):
            beside = place + way
            while 0 <= beside < made.size and made[beside]:
                reached.add(beside)
                beside += way
    return np.array(sorted(reached), dtype=np.int64)


def _spikes(assigned: Assigned, every: Sequence[single.Spikes], made: BoolArray | None) -> Iterator[Screened]:
    for column, spikes in enumerate(every):
        if spikes.places.size == 0:
            continue
        furthest = int(np.argmax(np.abs(spikes.deviations_c)))
        yield Screened(
            kind=Screening.SPIKE,
            column=column,
            places=_with_interpolated(spikes.places, None if made is None else made[:, column]),
            doubt=SPIKE(
                **_place(assigned, column, int(spikes.places[0])),
                count=_readings(spikes.places.size),
                deviation=float(spikes.deviations_c[furthest]),
                threshold=float(spikes.thresholds_c[furthest]),
                rows=_rows(assigned, column, spikes.places),
            ),
        )


def _stuck(assigned: Assigned, column: int, run: single.StuckRun, step_c: float) -> Screened:
    places = _with_reading(assigned, column, run.first, run.last)
    if run.while_moving:
        meanwhile = f"the median location moves by {run.others_moved_c:.3g} °C"
        fast = max(single.STUCK_FAST_MOVE_C, single.STUCK_FAST_MOVE_STEPS * step_c)
        slow = max(single.STUCK_MOVE_C, single.STUCK_MOVE_STEPS * step_c)
        threshold = f"{fast:g} °C, or {slow:g} °C in {single.STUCK_READINGS} readings and 10 min"
    else:
        meanwhile = f"no other run there or of this location is longer than {run.longest_else}"
        threshold = (
            f"{single.STUCK_TIMES_LONGER:g} times as long, {single.STUCK_READINGS} readings and 10 min"
        )
    return Screened(
        kind=Screening.STUCK,
        column=column,
        places=places,
        doubt=STUCK(
            **_place(assigned, column, run.first),
            readings=run.readings,
            value=run.value_c,
            rows=_rows(assigned, column, places),
            meanwhile=meanwhile,
            threshold=threshold,
        ),
    )


def _pinned(assigned: Assigned, every: Sequence[across.Pinned | None]) -> Iterator[Screened]:
    for column, rail in enumerate(every):
        if rail is None:
            continue
        places = _with_reading(assigned, column, rail.first, rail.last)
        yield Screened(
            kind=Screening.OPEN_CIRCUIT,
            column=column,
            places=places,
            doubt=OPEN_CIRCUIT(
                **_place(assigned, column, int(places[0])),
                end="pinned" if rail.pinned else "without a reading",
                value=rail.end_c,
                beyond=rail.beyond_c,
                threshold=rail.threshold_c,
                count=_readings(places.size),
                rows=_rows(assigned, column, places),
            ),
        )


def _rates(
    assigned: Assigned, rates: single.Rates, told: Sequence[Sequence[tuple[int, int]]]
) -> Iterator[Screened]:
    """Impossible rates; what is already listed as spike, stuck value or open circuit is passed over."""
    for column, every in enumerate(rates.jumps):
        jumps = [jump for jump in every if not any(first <= jump.at <= last for first, last in told[column])]
        if not jumps:
            continue
        far = [_with_reading(assigned, column, jump.first, jump.last) for jump in jumps]
        places = np.unique(np.concatenate(far))
        fastest = max(jumps, key=lambda jump: jump.rate_c_per_s)
        yield Screened(
            kind=Screening.RATE,
            column=column,
            places=places,
            doubt=RATE(
                **_place(assigned, column, jumps[0].at),
                jumps="a change" if len(jumps) == 1 else f"{len(jumps)} changes",
                change=fastest.change_c,
                rate=fastest.rate_c_per_s,
                threshold=rates.thresholds_c_per_s[column],
                count=_readings(places.size),
                rows=_rows(assigned, column, places),
            ),
        )


def _junctions(plan: Plan, assigned: Assigned, steps_c: FloatArray) -> Iterator[Screened]:
    readings = assigned.readings
    channels = readings.recording.channels
    files = [channels[index].file for index in readings.channel_index]
    ambient_of = _ambient(plan, readings.recording)
    made = _interpolated(assigned)
    for file in dict.fromkeys(files):
        own = np.array([column for column, other in enumerate(files) if other == file])
        others = np.array([column for column, other in enumerate(files) if other != file], dtype=np.int64)
        ambient = [index for index in ambient_of if channels[index].file == file]
        instants: IntArray | None = None
        if made is not None and made[:, own].any():
            instants = np.flatnonzero(~made[:, own].all(axis=1))
        values_c = _chosen(readings.raw_c, own, instants)
        steps = steps_c[own]
        if ambient:
            recorded = _chosen(readings.recording.raw_c, np.array(ambient), instants)
            values_c, steps = np.column_stack((values_c, recorded)), np.append(steps, np.zeros(len(ambient)))
        elsewhere = _chosen(readings.raw_c, others, instants) if others.size else None
        for step in across.junction_steps(values_c, steps, elsewhere):
            at, last = (step.at, step.last) if instants is None else instants[[step.at, step.last]].tolist()
            doubt = JUNCTION(
                file=file,
                row=int(readings.recording.rows[file][at]) or None,
                step=step.step_c,
                threshold=step.threshold_c,
                unequal=step.unequal_c,
                rows=_rows(assigned, int(own[0]), np.arange(at, last + 1)),
            )
            for column in own.tolist():
                places = _with_reading(assigned, column, at, last)
                yield Screened(kind=Screening.JUNCTION, column=column, places=places, doubt=doubt)


def _chosen(values_c: FloatArray, columns: IntArray, instants: IntArray | None) -> FloatArray:
    """Some columns at some instants (None: all), without a copy where that is everything."""
    if instants is not None:
        return values_c[np.ix_(instants, columns)]
    return values_c if columns.size == values_c.shape[1] else values_c[:, columns]


def _ambient(plan: Plan, recording: Recording) -> list[int]:
    """Temperature channels that the plan calls ambient."""
    words = [role.channel for role in plan.channels if role.role is Role.AMBIENT]
    return [
        index
        for index, channel in enumerate(recording.channels)
        if any(channel.is_called(word) for word in words)
    ]


# ---- one hold ----


def screen_moved(stretch: Stretch, screening: ScreenedRecording) -> tuple[Screened, ...]:
    """Look for sensors that came to another place while the hold lasted.

    The stretch is that in which the median location has settled: steadiness of every location would begin
    only after the move. A location whose readings are doubted there already is passed over.
    """
    steps_c = screening.steps_c
    found, assigned = stretch.found, stretch.assigned
    values_c = stretch.readings.corrected_c
    settled = across.settled(values_c[found.approach : found.end + 1])
    if settled is None:
        return ()
    begin, stop = found.approach + settled.start, found.approach + settled.stop
    rows = slice(begin, stop)
    period_s = None if isinstance(found.cycle, Absent) else found.cycle.period_s
    results = across.moved(stretch.trace.seconds[rows], values_c[rows], steps_c, period_s)
    screened = []
    for column, item in enumerate(results):
        if item is None:
            continue
        at = begin + item.at
        places = _with_reading(assigned, column, at, found.end)
        known = [other.places for other in screening.found if other.column == column]
        doubted = np.isin(places, np.concatenate(known)).sum() if known else 0
        if 2 * doubted >= places.size:
            continue
        seconds = float(stretch.trace.seconds[at])
        doubt = MOVED(
            **_place(assigned, column, at),
            hold=found.hold.name,
            when=stretch.readings.recording.iso(seconds) or f"{seconds:g} s",
            step=item.step_c,
            threshold=item.threshold_c,
            count=_readings(places.size),
            rows=_rows(assigned, column, places),
        )
        screened.append(Screened(kind=Screening.MOVED, column=column, places=places, doubt=doubt))
    return tuple(screened)


def doubts_of_hold(stretch: Stretch, figures: HoldFigures, screening: ScreenedRecording) -> tuple[Doubt, ...]:
    """Doubts about a hold that point at no single reading."""
    return (
        *_swapped(stretch),
        *_disagreements(stretch, figures),
        *_coarse(stretch, np.where(screening.steps_shown, screening.steps_c, 0.0)),
        *_intervals(stretch),
    )


def _ambient_rows(stretch: Stretch) -> slice | None:
    found = stretch.found
    if found.ground[0] != 0 or found.heat_start is None or found.heat_start < 2:
        return None
    return slice(0, found.heat_start + 1)


def _swapped(stretch: Stretch) -> Iterator[Doubt]:
    readings, window = stretch.readings, stretch.found.window
    if sum(correction is not None for correction in readings.corrections) < 2:
        return
    parts: list[tuple[str, slice]] = []
    ambient = _ambient_rows(stretch)
    if ambient is not None:
        parts.append(("before heat start", ambient))
    if not isinstance(window, Absent):
        parts.append(("in the window", slice(window.first, window.last + 1)))
    told: set[tuple[int, int]] = set()
    for where, rows_ in parts:
        means = _means(readings.raw_c[rows_])
        corrections, uncertainty = np.full(means.size, np.nan), np.full(means.size, np.inf)
        for column, correction in enumerate(readings.corrections):
            if correction is None or np.isnan(means[column]):
                continue
            at = means[column : column + 1]
            corrections[column] = correction.apply(at)[0][0] - at[0]
            u = correction.expanded_uncertainty_c(at)
            uncertainty[column] = np.inf if u is None else u
        for pair in across.swapped(means, corrections, uncertainty):
            if (pair.one, pair.other) in told:
                continue
            told.add((pair.one, pair.other))
            yield SWAPPED(
                **_column(stretch.assigned, pair.one),
                one=readings.locations[pair.one],
                other=readings.locations[pair.other],
                where=where,
                apart=pair.apart_c,
                exchanged=pair.exchanged_c,
                differ=pair.differ_c,
                threshold=pair.threshold_c,
            )


def _means(values_c: FloatArray) -> FloatArray:
    """Mean of each location [°C]; NaN where it has no reading."""
    means = np.full(values_c.shape[1], np.nan)
    for column in range(means.size):
        there = values_c[:, column][~np.isnan(values_c[:, column])]
        if there.size:
            means[column] = there.mean()
    return means


def _disagreements(stretch: Stretch, figures: HoldFigures) -> Iterator[Doubt]:
    rows_ = _ambient_rows(stretch)
    if rows_ is None:
        return
    offsets = np.array(
        [
            item.agreement_at_ambient_c if present(item.agreement_at_ambient_c) else np.nan
            for item in figures.locations
        ]
    )
    uncertainty = np.full(offsets.size, np.nan)
    for column, correction in enumerate(stretch.readings.corrections):
        u = (
            None
            if correction is None
            else correction.expanded_uncertainty_c(_means(stretch.readings.raw_c[rows_, column : column + 1]))
        )
        uncertainty[column] = np.nan if u is None else u
    for item in across.disagreements(offsets, uncertainty):
        yield DISAGREES(
            **_place(stretch.assigned, item.column, rows_.start),
            offset=item.offset_c,
            threshold=item.threshold_c,
        )


def _coarse(stretch: Stretch, steps_c: FloatArray) -> Iterator[Doubt]:
    limits, setpoint = stretch.limits, stretch.found.hold.setpoint
    if limits.low_c is None or limits.high_c is None:
        return
    smaller = min(abs(limits.low_c - setpoint), abs(limits.high_c - setpoint))
    coarse = steps_c / 2 > RESOLUTION_SHARE * smaller + 1e-9
    for step in np.unique(np.round(steps_c[coarse], 9)).tolist():
        columns = np.flatnonzero(coarse & (np.abs(steps_c - step) <= 1e-8))
        count = "1 location is" if columns.size == 1 else f"{columns.size} locations are"
        yield RESOLUTION(
            **_column(stretch.assigned, int(columns[0])),
            hold=stretch.found.hold.name,
            count=count,
            step=step,
            limit=smaller,
        )


def _intervals(stretch: Stretch) -> Iterator[Doubt]:
    found, seconds = stretch.found, stretch.trace.seconds
    file = next(iter(stretch.readings.recording.rows))
    if isinstance(found.window, Absent) or seconds.size < 2:
        return
    inside = seconds[found.window.first : found.window.last + 1]
    words = []
    longest = float(np.diff(inside).max()) if inside.size > 1 else recording_interval(seconds)
    documents = [choice.document for choice in found.hold.classes]
    words += [
        f"intervals of up to {longest:g} s; at most {row['longest']:g} s by {citation(row)} "
        f"({STANDINGS[row['standing']]})"
        for row in rows("reading_intervals", "interval")
        if row["document"] in documents and longest > row["longest"] * (1 + 1e-6)
    ]
    if not isinstance(found.cycle, Absent):
        each = found.cycle.period_s / recording_interval(seconds)
        if each < LEAST_A_CYCLE:
            words.append(
                f"{each:.2g} readings in a control cycle of {found.cycle.period_s:.3g} s; fewer than "
                f"{LEAST_A_CYCLE:g} do not show its height (common practice, no published source)"
            )
    if inside.size < LEAST_A_WINDOW:
        words.append(
            f"{inside.size} readings in the window; fewer than {LEAST_A_WINDOW} say little about what lies "
            "between (common practice, no published source)"
        )
    for what in words:
        yield INTERVAL(file=file, hold=found.hold.name, what=what)


# ---- places ----


def _with_reading(assigned: Assigned, column: int, first: int, last: int) -> IntArray:
    """Instants first … last at which the location has a reading."""
    values = assigned.readings.raw_c[first : last + 1, column]
    return first + np.flatnonzero(~np.isnan(values))


def _column(assigned: Assigned, column: int) -> dict[str, Any]:
    readings = assigned.readings
    channel = readings.recording.channels[readings.channel_index[column]]
    return {"file": channel.file, "column": channel.header, "location": readings.locations[column]}


def row_at(assigned: Assigned, column: int, instant: int) -> int | None:
    """Row of the location's file at an instant; None where the file has none."""
    readings = assigned.readings
    channel = readings.recording.channels[readings.channel_index[column]]
    return int(readings.recording.rows[channel.file][instant]) or None


def _place(assigned: Assigned, column: int, instant: int) -> dict[str, Any]:
    return {**_column(assigned, column), "row": row_at(assigned, column, instant)}


def _readings(count: int) -> str:
    return "1 reading" if count == 1 else f"{count:,} readings"


def _rows(assigned: Assigned, column: int, places: IntArray) -> str:
    """Word the rows of some readings of a location: " in rows 12 to 40"."""
    if places.size < 2:
        return ""
    first, last = (row_at(assigned, column, int(places[end])) for end in (0, -1))
    if first is None or last is None:
        return ""
    if places.size == int(places[-1] - places[0]) + 1:
        return f" in rows {first} to {last}"
    if places.size <= _MOST_ROWS:
        named = [str(row_at(assigned, column, place)) for place in places.tolist()]
        return f" in rows {', '.join(named[:-1])} and {named[-1]}"
    return f" in {places.size:,} rows between {first} and {last}"
