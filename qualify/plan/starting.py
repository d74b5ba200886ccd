"""A commented starting plan: what is known filled in, what isn't left to be filled in."""

from __future__ import annotations

import json
import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from qualify.cautions import SURVEY_CAUTIONS
from qualify.plan.model import ClassChoice, WorkZone
from qualify.units import TemperatureUnit

WIDTH = 104
CONDITIONS = (
    ("load", "what stands in the oven, or none"),
    ("door", "closed from when to when"),
    ("ports", "which one takes the leads, which are sealed, with what"),
    ("damper", ""),
    ("fan", "speed, direction"),
    ("purge_flow", ""),
    ("water_flow", ""),
    ("controller", "and where its sensor sits"),
    ("program", "set points, ramps, soaks"),
    ("tuning", ""),
    ("offset_before", "of the controller; changed between holds: say so"),
    ("offset_after", ""),
    ("ambient", ""),
    ("mains", ""),
    ("junctions", "kind, depth of immersion, distance to the nearest wall"),
    ("lead_route", ""),
)
"""Conditions that a survey is repeated under, and what to write."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Start:
    """What is known when a plan is begun.

    `setpoints`, `low`, `high` and `ambient` are in `units`; `low` and `high` differences from the set
    points, None where a class gives the limits. `locations` are names and positions [mm]. `notes` say
    where the number of sensors, their places and the class's limits come from; `to_confirm` are ids of
    unconfirmed rows of standards that the plan rests on. `interval_s` is the interval of recording [s].
    """

    title: str
    units: TemperatureUnit
    zone: WorkZone
    setpoints: tuple[float, ...]
    low: float | None
    high: float | None
    choice: ClassChoice | None
    ambient: float | None
    locations: tuple[tuple[str, tuple[float, float, float]], ...]
    file: str
    interval_s: float
    notes: tuple[str, ...] = ()
    to_confirm: tuple[str, ...] = ()


def starting_plan(start: Start) -> str:
    """Write a plan (TOML) that reads back, with comments where something is to be filled in."""
    parts = [
        _cautions(),
        _head(start),
        _zone(start),
        _CERTIFICATES,
        _conditions(),
        _LOGGER,
        location_lines(
            start.locations, smallest_mm=min(start.zone.width_mm, start.zone.depth_mm, start.zone.height_mm)
        ),
        _CHANNELS,
        _survey(start),
        _STAGES,
    ]
    return "\n".join(parts)


_STAGES = """\
# Stages besides the survey, where they are part of the job; every key stands in docs/stages.md.
# Blank record sheets: qualify sheets installation, observed, restored.
#
# [installation]
# records = ["installation.csv"]
#
# [return_to_service]        # limits moved, signals simulated, wires and bypasses added: listed beforehand
# changed = []
# file = "restored.csv"
#
#  CAUTION  The process is never driven past a rated limit: the limit is lowered to the process.
#  CAUTION  A person attends. Never leave a defeated interlock. Isolate live parts before wiring.
#  Local code, the maker's instructions and licensed practice govern.
# [[challenges]]
# name = "Excess temperature"
# kind = "over-temperature"
# files = ["challenge.csv"]
# quantity = ""
# limit = 0
# restores = "by hand"       # an excess-temperature limit that restores by itself is not one
#
# [[challenges.answers]]
# name = "heat off"
# channel = ""
# on = ["on"]
# off = ["off"]
# becomes = "off"
# within_s = 5
#
#  CAUTION  Nitrogen at the vent and at the door: room oxygen monitor on, exhaust outside.
# [[purges]]
# name = "Purge"
# files = ["purge.csv"]
# oxygen = ""
# start = 0
# limit = 1.0
#
#  CAUTION  Steam and scalding water burst from a cooling drain when cooling starts: stand clear.
# [[cool_downs]]
# name = "Cool-down"
# files = ["cool.csv"]
# handling = 60
"""


def location_lines(locations: Iterable[tuple[str, tuple[float, float, float]]], *, smallest_mm: float) -> str:
    """Write the plan's location lines for places [mm]; channels are numbered, sensors left open.

    `smallest_mm` is the smallest size of the zone [mm]: positions are rounded to whole mm, below 100 mm to
    a tenth.
    """
    digits = 0 if smallest_mm >= 100.0 else 1
    lines = [
        *_comment(
            "x counts to the right, y to the back, z up, in mm, from the left front lower corner as seen "
            "through the open door. Write the channel as the logger calls it, and the sensor as its "
            "certificate does. Measure where the sensors really sit, and correct the numbers."
        )
    ]
    for number, (name, position) in enumerate(locations, start=1):
        x, y, z = (_number(round(axis, digits)) for axis in position)
        lines += [
            "[[locations]]",
            f"name = {_text(name)}",
            f'channel = "CH{number:02d}"',
            'sensor = ""',
            'type = ""',
            f"x_mm = {x}",
            f"y_mm = {y}",
            f"z_mm = {z}",
            "",
        ]
    return "\n".join(lines)


def _cautions() -> str:
    lines = [
        *_comment("A starting plan. Fill in what is empty, take out what does not apply, have it approved."),
        "#",
        *_comment("Before anyone goes to the oven:"),
    ]
    for caution in SURVEY_CAUTIONS:
        lines += _comment(caution, first="#  - ", rest="#    ")
    return "\n".join([*lines, ""])


def _head(start: Start) -> str:
    confirmed = _comment(
        "ids of standards' rows that you confirmed in a licensed copy; not confirmed yet here: "
        + (", ".join(start.to_confirm) or "none")
    )
    return "\n".join(
        [
            "[plan]",
            f"title = {_text(start.title)}",
            'number = ""',
            'revision = "A"',
            'scope = ""',
            f'units = "{start.units.name}"'
            + " " * 30
            + "# of every temperature below and of what is printed",
            *_comment("Names and days; approved before the first reading, else it is a departure."),
            '# author   = { name = "…", date = 2026-01-31 }',
            '# reviewer = { name = "…", date = 2026-01-31 }',
            '# approver = { name = "…", date = 2026-01-31 }',
            '# surveyor = { name = "…", date = 2026-01-31 }   # the day of the survey',
            *_comment(
                "acceptance: guarded takes the uncertainty off the limits, simple does not. Left out: "
                "guarded where there are certificates, a document's class by simple acceptance."
            ),
            '# acceptance = "guarded"',
            *confirmed,
            "confirmed = []",
            "",
            "[oven]",
            'name = ""',
            'owner = ""',
            'place = ""',
            'kind = ""                                  # heating, convection, atmosphere',
            'highest = ""                               # rated temperature: never driven past',
            "",
        ]
    )


def _zone(start: Start) -> str:
    zone = start.zone
    size = (
        [f"diameter_mm = {_number(zone.width_mm)}"]
        if zone.shape == "cylinder"
        else [f"width_mm = {_number(zone.width_mm)}", f"depth_mm = {_number(zone.depth_mm)}"]
    )
    notes = [line for note in start.notes for line in _comment(note)]
    return "\n".join(
        [
            *notes,
            "[work_zone]",
            f'shape = "{zone.shape}"',
            *size,
            f"height_mm = {_number(zone.height_mm)}",
            "",
        ]
    )


_CERTIFICATES = """\
# Calibration points of the sensors; without them the verdict is "uncorrected, uncertainty not known".
# [certificates]
# file = "certificates.csv"
# reach = 0.0                              # how far beyond the end points a held correction is accepted
# reach_uncertainty = 0.0                  # and the expanded uncertainty that it adds there
"""

_LOGGER = """\
[[instruments]]
name = "logger"
certificate = ""
# calibrated = 2026-01-31
# due = 2027-01-31
"""

_CHANNELS = """\
# Channels that are no location: set point, controller, recorder, ambient, or ignored with its reason.
# [[channels]]
# channel = "PV"
# role = "controller"
# beside = "centre"                        # its indication error is taken against this location
"""


def _conditions() -> str:
    lines = ["# Written down at the oven, before the first reading.", "[conditions]"]
    for name, hint in CONDITIONS:
        line = f'{name} = ""'
        lines.append(f"{line:<42} # {hint}" if hint else line)
    return "\n".join([*lines, ""])


def _survey(start: Start) -> str:
    lines = [
        "[[surveys]]",
        'name = "survey"',
        'stage = "operation"                        # installation, operation, performance',
        f"files = [{_text(start.file)}]",
        *_comment("The line above names the logger's files; they need not exist before the survey."),
        f"interval_s = {_number(start.interval_s):<29} # the logger records this often",
        "",
    ]
    for setpoint in start.setpoints:
        lines += [
            "[[surveys.holds]]",
            f"name = {_text(f'{_number(setpoint)} {start.units.value}')}",
            f"setpoint = {_number(setpoint)}",
            *_limits(start),
        ]
        if start.ambient is not None:
            lines.append(f"ambient = {_number(start.ambient)}")
        lines += ["soak_minutes = 30", ""]
    return "\n".join(lines)


def _limits(start: Start) -> list[str]:
    lines = []
    if start.low is not None and start.high is not None:
        if start.low == -start.high:
            lines.append(f"tolerance = {_number(start.high)}")
        else:
            lines += [f"low = {_number(start.low)}", f"high = {_number(start.high)}"]
    if start.choice is not None:
        choice = start.choice
        edition = f"edition = {_text(choice.edition)}, " if choice.edition else ""
        lines.append(
            f"class = {{ document = {_text(choice.document)}, {edition}name = {_text(choice.name)} }}"
        )
    return lines


def _comment(words: str, *, first: str = "# ", rest: str = "# ") -> Sequence[str]:
    plain = "".join(letter if letter.isprintable() else " " for letter in words)
    return textwrap.wrap(
        " ".join(plain.split()),
        WIDTH,
        initial_indent=first,
        subsequent_indent=rest,
        break_long_words=False,
        break_on_hyphens=False,
    )


def _text(words: str) -> str:
    """A TOML basic string."""
    return json.dumps(words, ensure_ascii=False).replace("\x7f", "\\u007f")


def _number(value: float) -> str:
    """A number as TOML takes it, without needless zeros."""
    return f"{value:.10g}"
