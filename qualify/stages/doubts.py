"""Doubts about the readings of one hold: what a person should know before signing."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from qualify.figures.absent import Absent, present
from qualify.figures.instants import evenly_spaced
from qualify.figures.phases import Level, near_band_c
from qualify.figures.response import beyond_limits
from qualify.findings import Doubt, DoubtKind
from qualify.plan.model import Plan
from qualify.readings.model import Recording
from qualify.stages.hold_figures import HoldFigures
from qualify.stages.stretch import Stretch
from qualify.units import difference_from_c

OUTSIDE_WINDOW = DoubtKind(
    "beyond-limit-outside-window",
    "after stabilisation but outside the declared window, location '{name}' is at {deviation:+.2f} {unit} "
    "from the set point at {when}, beyond the limit: with these readings the verdict would be fail",
)
FAR_FROM_SETPOINT = DoubtKind(
    "far-from-setpoint",
    "every reading in the window is more than {near:.3g} °C from the set point; if this is no place in the "
    'work zone, add --ignore "{name}=reason" (in a plan: a [[channels]] entry)',
)
UNCALIBRATED = DoubtKind(
    "uncalibrated",
    "{count} readings of this hold lie beyond the points of the certificate; there the end point's "
    "correction is held ({inside} of them in the window{consequence})",
)
UNEVEN_INTERVALS = DoubtKind(
    "uneven-intervals",
    "the intervals between readings in the window differ by over 10 % (from {least:g} to {most:g} s); "
    "means are time-weighted",
)
STEADINESS_LOST = DoubtKind(
    "steadiness-lost",
    "hold '{hold}': the chamber was steady at {since} but not over the soak that begins at {when}",
)
STILL_TRENDING = DoubtKind(
    "still-trending",
    "hold '{hold}': the drift of location '{name}' is significant and would carry it to a limit within the "
    "next {soak:g} min",
)
LEFT_UNEXPLAINED = DoubtKind(
    "left-set-point",
    "hold '{hold}': from {since} on the chamber falls away from the set point and does not come back; this "
    "is taken for the cool-down, and the hold ends there. If the oven was not switched off then, declare the "
    "window (--start, --minutes)",
)
INCOMPLETE_INSTANTS = DoubtKind(
    "incomplete-instants",
    "hold '{hold}': at {count} of {total} instants of the window a location has no reading; figures across "
    "locations leave these instants out",
)


def doubts_of(
    plan: Plan,
    stretch: Stretch,
    figures: HoldFigures,
    trending: Sequence[str],
    screened: Sequence[Doubt] = (),
) -> tuple[Doubt, ...]:
    """List every doubt of a hold: what lies outside a declared window first, then all others.

    `trending` names the locations that still trend towards a limit, where no requirement judges that;
    `screened` is what screening found.
    """
    found, recording = stretch.found, stretch.readings.recording
    doubts = [*_outside_window(plan, stretch), *stretch.assigned.doubts, *recording.doubts]
    doubts += screened
    doubts += _far(stretch, figures)
    if found.left_unexplained is not None:
        since = _when(recording, float(recording.seconds[found.end]))
        doubts.append(LEFT_UNEXPLAINED(hold=found.hold.name, since=since))
    doubts += _beyond_certificates(stretch)
    if found.steadiness.lost_at is not None and not isinstance(found.steadiness.first, Absent):
        seconds = recording.seconds
        doubts.append(
            STEADINESS_LOST(
                hold=found.hold.name,
                since=_when(recording, float(seconds[found.steadiness.first])),
                when=_when(recording, float(seconds[found.steadiness.lost_at])),
            )
        )
    doubts += [
        STILL_TRENDING(hold=found.hold.name, name=name, soak=found.hold.soak_minutes, location=name)
        for name in trending
    ]
    if not isinstance(figures.window, Absent) and not isinstance(found.window, Absent):
        seconds = recording.seconds[found.window.first : found.window.last + 1]
        if not evenly_spaced(seconds):
            steps = np.diff(seconds)
            doubts.append(UNEVEN_INTERVALS(least=float(steps.min()), most=float(steps.max())))
        missing = figures.window.readings - figures.window.complete_instants
        if missing:
            doubts.append(
                INCOMPLETE_INSTANTS(hold=found.hold.name, count=missing, total=figures.window.readings)
            )
    return tuple(doubts)


def _when(recording: Recording, seconds: float) -> str:
    return recording.iso(seconds) or f"{seconds:g} s"


def _outside_window(plan: Plan, stretch: Stretch) -> list[Doubt]:
    """Readings after stabilisation, outside a declared window, that lie beyond a limit."""
    found, limits = stretch.found, stretch.limits
    window = found.window
    first = found.steadiness.first
    if isinstance(window, Absent) or not window.declared or isinstance(first, Absent):
        return []
    if limits.low_c is None or limits.high_c is None:
        return []
    rows = np.r_[first : min(window.first, found.end + 1), max(window.last + 1, first) : found.end + 1]
    values_c = stretch.readings.corrected_c[rows.astype(np.int64)]
    beyond = beyond_limits(values_c, limits.low_c, limits.high_c)
    doubts = []
    for column in np.flatnonzero(beyond.any(axis=0)):
        deviations = np.where(beyond[:, column], values_c[:, column] - found.hold.setpoint, 0.0)
        worst = int(np.argmax(np.abs(deviations)))
        name = stretch.readings.locations[column]
        doubts.append(
            OUTSIDE_WINDOW(
                location=name,
                name=name,
                deviation=difference_from_c(float(deviations[worst]), plan.units),
                unit=plan.units.value,
                when=_when(stretch.readings.recording, float(stretch.trace.seconds[int(rows[worst])])),
            )
        )
    return doubts


def _far(stretch: Stretch, figures: HoldFigures) -> list[Doubt]:
    hold = stretch.found.hold
    level = stretch.found.level
    step_c = hold.setpoint - level.median_c if isinstance(level, Level) else 0.0
    near_c = near_band_c(step_c)
    doubts = []
    for column, item in enumerate(figures.locations):
        if not (present(item.deviation_min_c) and present(item.deviation_max_c)):
            continue
        if item.deviation_min_c <= near_c and item.deviation_max_c >= -near_c:
            continue
        channel = stretch.readings.recording.channels[stretch.readings.channel_index[column]]
        doubts.append(
            FAR_FROM_SETPOINT(
                file=channel.file,
                column=channel.header,
                location=stretch.readings.locations[column],
                near=near_c,
                name=channel.name,
            )
        )
    return doubts


def _beyond_certificates(stretch: Stretch) -> list[Doubt]:
    readings, found = stretch.readings, stretch.found
    if not any(correction is not None for correction in readings.corrections):
        return []
    first, last = found.ground
    outside = ~readings.calibrated & ~np.isnan(readings.raw_c)
    doubts = []
    for column in np.flatnonzero(outside[first : last + 1].any(axis=0)):
        inside = 0
        if not isinstance(found.window, Absent):
            inside = int(outside[found.window.first : found.window.last + 1, column].sum())
        channel = readings.recording.channels[readings.channel_index[column]]
        instant = first + int(np.argmax(outside[first : last + 1, column]))
        doubts.append(
            UNCALIBRATED(
                file=channel.file,
                row=int(readings.recording.rows[channel.file][instant]) or None,
                column=channel.header,
                location=readings.locations[column],
                count=int(outside[first : last + 1, column].sum()),
                inside=inside,
                consequence=": the location's requirements are not shown" if inside else "",
            )
        )
    return doubts
