"""`qualify plan`: begin a plan, place sensors, check a plan before the survey."""

from __future__ import annotations

import json
import sys
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from qualify.command_options import Units, calendar_day, choice, limits_told, number_option
from qualify.findings import RefusalKind

if TYPE_CHECKING:
    from qualify.plan.model import Plan, WorkZone
    from qualify.sensors.certificates import Certificates
    from qualify.sensors.placement import Place, Unwatched
    from qualify.stages.readiness import Readiness
    from qualify.standards.counts import RequiredCount

PLAN_EXISTS = RefusalKind(
    "plan-exists",
    what="there is a file of this name already",
    why="A plan is never written over: it may be approved already.",
    mend="choose another name with --out.",
)
FILE_NOT_WRITABLE = RefusalKind(
    "file-not-writable",
    what="the file can't be written: {reason}",
    why="Nothing was left behind.",
    mend="choose another name or folder, or make room and check the rights of the folder.",
)

app = typer.Typer(
    name="plan",
    help="Begin a plan, place its sensors, check it before the survey.",
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)

Shape = Annotated[
    str,
    typer.Option(
        metavar="SHAPE",
        parser=choice("box", "cylinder"),
        help="Of the work zone: box, or cylinder (upright).",
    ),
]
Width = Annotated[float | None, number_option("Width of a box.")]
Depth = Annotated[float | None, number_option("Depth of a box.")]
Height = Annotated[float | None, number_option("Height.")]
Diameter = Annotated[float | None, number_option("Diameter of a cylinder.")]
Document = Annotated[
    str | None,
    typer.Option(metavar="NAME", help="Document that asks for the number of sensors, such as AMS2750."),
]
Edition = Annotated[str, typer.Option(metavar="NAME", help="Its edition or revision.")]
Class = Annotated[str, typer.Option("--class", metavar="NAME", help="Uniformity class of the document.")]
Count = Annotated[int | None, typer.Option(metavar="N", min=1, help="Number of sensors.")]
Inset = Annotated[
    float | None,
    number_option("Distance of corner sensors from each wall (default: 50, or a tenth if that is less)."),
]
Confirmed = Annotated[
    list[str] | None,
    typer.Option(metavar="ID", help="Row of a standard that you confirmed in a licensed copy."),
]
Picture = Annotated[Path | None, typer.Option(metavar="FILE", help="Draw the places (PNG).")]


@app.callback()
def plan() -> None:
    """Begin a plan, place its sensors, check it before the survey."""


@app.command()
def place(
    shape: Shape = "box",
    width_mm: Width = None,
    depth_mm: Depth = None,
    height_mm: Height = None,
    diameter_mm: Diameter = None,
    document: Document = None,
    edition: Edition = "",
    class_name: Class = "",
    count: Count = None,
    inset_mm: Inset = None,
    confirmed: Confirmed = None,
    lines: Annotated[bool, typer.Option("--lines", help="Print the plan's location lines alone.")] = False,
    picture: Picture = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON and nothing else.")] = False,
) -> None:
    """Tell how many sensors a work zone needs, and where."""
    zone = _zone(shape, width_mm, depth_mm, height_mm, diameter_mm)

    from qualify.plan.starting import location_lines
    from qualify.sensors.placement import default_inset_mm, farthest_point, place_sensors

    found = _required(document, edition, class_name, zone, tuple(confirmed or ()))
    number = _number(count, found)
    places = place_sensors(zone, number, inset_mm)
    farthest = farthest_point(zone, places)
    inset = default_inset_mm(zone) if inset_mm is None else (inset_mm,) * 3
    if picture is not None:
        _draw(picture, zone, places, farthest, _heading(number, found), inset)
    if lines:
        smallest = min(zone.width_mm, zone.depth_mm, zone.height_mm)
        print(location_lines([(item.name, item.position_mm) for item in places], smallest_mm=smallest))
    elif as_json:
        _print_json(_as_plain(zone, places, farthest, found, inset))
    else:
        print(_as_words(zone, places, farthest, found, inset))


@app.command()
def new(
    setpoint: Annotated[list[float], number_option("Set point; give it once for each hold.")],
    shape: Shape = "box",
    width_mm: Width = None,
    depth_mm: Depth = None,
    height_mm: Height = None,
    diameter_mm: Diameter = None,
    document: Document = None,
    edition: Edition = "",
    class_name: Class = "",
    tolerance: Annotated[float | None, number_option("Limits are set point ± this.")] = None,
    low: Annotated[float | None, number_option("Lower limit as a difference from the set point.")] = None,
    high: Annotated[float | None, number_option("Upper limit as a difference from the set point.")] = None,
    ambient: Annotated[float | None, number_option("Room temperature, for classes that need it.")] = None,
    units: Units = None,
    count: Count = None,
    inset_mm: Inset = None,
    title: Annotated[str, typer.Option(metavar="TEXT", help="The plan's title.")] = "",
    file: Annotated[str, typer.Option(metavar="NAME", help="The logger's file to be.")] = "survey.csv",
    picture: Picture = None,
    out: Annotated[Path | None, typer.Option(metavar="FILE", help="Write the plan to this new file.")] = None,
) -> None:
    """Print a commented starting plan, with its sensors placed."""
    zone = _zone(shape, width_mm, depth_mm, height_mm, diameter_mm)
    if document is None and (class_name or edition):
        raise typer.BadParameter("a class or edition belongs to a document", param_hint="--document")
    has_limits = tolerance is not None or low is not None or high is not None
    if not has_limits and not (document and class_name):
        raise typer.BadParameter(
            "give --tolerance, or --low and --high, or --document and --class", param_hint="--tolerance"
        )
    limit_low, limit_high = limits_told(tolerance, low, high) if has_limits else (None, None)
    if out is not None and out.exists():
        raise PLAN_EXISTS(file=str(out))

    from qualify.plan.model import ClassChoice
    from qualify.plan.starting import Start, starting_plan
    from qualify.sensors.placement import default_inset_mm, farthest_point, place_sensors
    from qualify.units import TemperatureUnit

    unit = TemperatureUnit[units] if units else TemperatureUnit.C
    found = _required(document, edition, class_name, zone, ())
    number = _number(count, found)
    places = place_sensors(zone, number, inset_mm)
    farthest = farthest_point(zone, places)
    inset = default_inset_mm(zone) if inset_mm is None else (inset_mm,) * 3
    class_choice = (
        ClassChoice(document=document, edition=edition, name=class_name) if document and class_name else None
    )
    setpoints = tuple(dict.fromkeys(setpoint))
    class_notes, to_confirm = _class_notes(class_choice, setpoints[0], ambient, unit)
    if found is not None and found.id and found.to_be_settled:
        to_confirm = (*to_confirm, found.id)
    text = starting_plan(
        Start(
            title=title or f"Temperature survey, {len(places)} locations",
            units=unit,
            zone=zone,
            setpoints=setpoints,
            low=limit_low,
            high=limit_high,
            choice=class_choice,
            ambient=ambient,
            locations=tuple((item.name, item.position_mm) for item in places),
            file=file,
            interval_s=_interval_s(document),
            notes=(*class_notes, *_count_words(zone, found), *_place_words(places, farthest, inset)),
            to_confirm=to_confirm,
        )
    )
    if picture is not None:
        _draw(picture, zone, places, farthest, _heading(number, found), inset)
    if out is None:
        sys.stdout.write(text)
        return
    try:
        with out.open("x", encoding="utf-8", newline="\n") as target:
            target.write(text)
    except FileExistsError:
        raise PLAN_EXISTS(file=str(out)) from None
    except OSError as error:
        raise FILE_NOT_WRITABLE(file=str(out), reason=error.strerror or str(error)) from None
    print(f"{out}: a starting plan with {len(places)} locations. Fill it in, then: qualify plan check {out}")


@app.command()
def check(
    plan_path: Annotated[Path, typer.Argument(metavar="PLAN.toml", help="The plan.")],
    on: Annotated[
        date | None,
        typer.Option(
            metavar="DATE",
            parser=calendar_day,
            help="Day of the survey (default: the surveyor's, else today).",
        ),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON and nothing else.")] = False,
) -> None:
    """Check a plan before the survey: a list to take to the oven."""
    from qualify.inputs import load
    from qualify.plan.reading import read_plan
    from qualify.stages.readiness import readiness
    from qualify.standards.profiles import read_profiles, with_profiles

    read = read_plan(load(plan_path, "plan"))
    files = [load(plan_path.parent / name, "profile") for name in read.profiles]
    read = with_profiles(read, [profile for file in files for profile in read_profiles(file)])
    day = on or (read.surveyor.date if read.surveyor is not None else None) or date.today()
    certificates, unreadable = _certificates(read, plan_path.parent)
    found = readiness(read, day, certificates, unreadable)
    if as_json:
        _print_json(
            {
                "plan": plan_path.name,
                "on": day.isoformat(),
                "ready": found.ready,
                "points": [
                    {
                        "about": point.about,
                        "state": point.state.value,
                        "text": point.text,
                        "why": point.why,
                        "do": point.todo,
                    }
                    for point in found.points
                ],
            }
        )
    else:
        print(_list(plan_path.name, found))
    raise typer.Exit(0 if found.ready else 1)


# ---- options ----


def _zone(
    shape: str, width: float | None, depth: float | None, height: float | None, diameter: float | None
) -> WorkZone:
    needed = {"--height-mm": height}
    if shape == "cylinder":
        needed["--diameter-mm"] = diameter
        other = {"--width-mm": width, "--depth-mm": depth}
    else:
        needed |= {"--width-mm": width, "--depth-mm": depth}
        other = {"--diameter-mm": diameter}
    for option, value in needed.items():
        if value is None:
            raise typer.BadParameter(f"a {shape} needs it", param_hint=option)
        if value <= 0:
            raise typer.BadParameter("a size above zero, in mm", param_hint=option)
    for option, value in other.items():
        if value is not None:
            raise typer.BadParameter(f"a {shape} has none", param_hint=option)

    from qualify.plan.model import WorkZone

    across = diameter if shape == "cylinder" else width
    deep = diameter if shape == "cylinder" else depth
    assert across is not None and deep is not None and height is not None
    return WorkZone(shape=shape, width_mm=across, depth_mm=deep, height_mm=height)


def _required(
    document: str | None, edition: str, class_name: str, zone: WorkZone, confirmed: tuple[str, ...]
) -> RequiredCount | None:
    if document is None:
        return None
    from qualify.standards.counts import confirmable_counts, required_count

    for name in confirmed:
        if name not in confirmable_counts():
            known = ", ".join(confirmable_counts())
            raise typer.BadParameter(f"'{name}' is not one of {known}", param_hint="--confirmed")
    return required_count(document, edition, class_name, zone.volume_l, confirmed)


def _number(count: int | None, found: RequiredCount | None) -> int:
    if count is not None:
        return count
    if found is None:
        raise typer.BadParameter("give --count, or --document", param_hint="--count")
    if found.placed is None:
        raise typer.BadParameter(f"{found.obstacle}; give --count", param_hint="--document")
    return found.placed


def _interval_s(document: str | None) -> float:
    """A minute, or less where the document's longest interval is shorter."""
    from qualify.standards import rows

    longest = [row["longest"] for row in rows("reading_intervals", "interval") if row["document"] == document]
    return min([60.0, *longest])


def _class_notes(
    found: Any, setpoint: float, ambient: float | None, unit: Any
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """What is to be said of the class's limits, and the id of its row where it is to be confirmed."""
    if found is None:
        return (), ()
    from qualify.standards import UNCONFIRMED
    from qualify.standards.classes import class_limits
    from qualify.units import temperature_to_c

    limits = class_limits(
        found,
        setpoint_c=temperature_to_c(setpoint, unit),
        ambient_c=None if ambient is None else temperature_to_c(ambient, unit),
        units=unit,
        confirmed=(),
    )
    notes = () if limits.obstacle is None else (f"{found}: {limits.obstacle}.",)
    return notes, (limits.id,) if limits.standing in UNCONFIRMED else ()


def _certificates(read: Plan, folder: Path) -> tuple[Certificates | None, Any]:
    """The plan's certificates; where they can't be used, the refusal, for the list."""
    if read.certificates is None:
        return None, None
    from qualify.findings import Refusal
    from qualify.inputs import load
    from qualify.sensors.certificates import merged, read_certificates

    try:
        files = [read_certificates(load(folder / name, "certificates")) for name in read.certificates.files]
    except Refusal as refusal:
        return None, refusal
    return merged(files), None


# ---- words ----


def _print_json(content: Any) -> None:
    sys.stdout.write(json.dumps(content, ensure_ascii=False, indent=2, allow_nan=False) + "\n")


def _size_words(zone: WorkZone) -> str:
    if zone.shape == "cylinder":
        size = f"cylinder, {zone.width_mm:g} mm across, {zone.height_mm:g} mm high"
    else:
        size = f"box, {zone.width_mm:g} × {zone.depth_mm:g} × {zone.height_mm:g} mm (width, depth, height)"
    return f"{size}, {zone.volume_l:.4g} L"


def _count_words(zone: WorkZone, found: RequiredCount | None) -> tuple[str, ...]:
    """Say where the number of sensors comes from, and what stands in its way."""
    size = f"Work zone: {_size_words(zone)}."
    if found is None:
        return (size,)
    words = [size]
    if found.decides is not None:
        words.append(f"Sensors asked for: {found.decides} ({found.decides_citation}).")
    if found.to_be_settled:
        stated = "" if found.count is None else f"{found.count} stated, but "
        words.append(f"{stated}{found.obstacle} ({found.citation}). It decides nothing until then.")
    return tuple(words)


def _place_words(
    places: tuple[Place, ...], farthest: Unwatched | None, inset: tuple[float, ...]
) -> tuple[str, ...]:
    """Say by what rule the sensors are placed, and what is left unwatched."""
    across, deep, high = (f"{distance:g}" for distance in inset)
    distances = across if across == deep == high else f"{across} (sides), {deep} (front, back), {high}"
    words = [
        f"Corner sensors stand {distances} mm from the walls (common practice, no published source), the "
        "others where they are farthest from each other."
    ]
    if farthest is not None:
        x, y, z = (f"{axis:.0f}" for axis in farthest.position_mm)
        words.append(
            f"Farthest from every sensor: x {x}, y {y}, z {z} mm, {farthest.radius_mm:.0f} mm from the "
            f"nearest, {farthest.nearest}. Nothing is known of the temperature there."
        )
    return tuple(words)


def _as_words(
    zone: WorkZone,
    places: tuple[Place, ...],
    farthest: Unwatched | None,
    found: RequiredCount | None,
    inset: tuple[float, ...],
) -> str:
    digits = 0 if min(zone.width_mm, zone.depth_mm, zone.height_mm) >= 100.0 else 1
    width = max(len("location"), *(len(item.name) for item in places))
    table = [
        f"{'location':<{width}}  x (mm)  y (mm)  z (mm)",
        *(
            f"{item.name:<{width}}" + "".join(f"{axis:8.{digits}f}" for axis in item.position_mm)
            for item in places
        ),
    ]
    origin = (
        "x to the right, y to the back, z up, from the left front lower corner seen through the open door."
    )
    parts = [*_count_words(zone, found), "", *table, "", origin, *_place_words(places, farthest, inset)]
    return "\n".join(parts)


def _as_plain(
    zone: WorkZone,
    places: tuple[Place, ...],
    farthest: Unwatched | None,
    found: RequiredCount | None,
    inset: tuple[float, ...],
) -> dict[str, Any]:
    return {
        "work_zone": {
            "shape": zone.shape,
            "width_mm": zone.width_mm,
            "depth_mm": zone.depth_mm,
            "height_mm": zone.height_mm,
            "volume_l": zone.volume_l,
        },
        "required": None
        if found is None
        else {
            "id": found.id,
            "count": found.count,
            "citation": found.citation,
            "standing": found.standing,
            "obstacle": found.obstacle,
            "decides": found.decides,
            "decides_citation": found.decides_citation,
        },
        "inset_mm": list(inset),
        "places": [
            {"name": item.name, **dict(zip(("x_mm", "y_mm", "z_mm"), item.position_mm, strict=True))}
            for item in places
        ],
        "farthest": None
        if farthest is None
        else {
            **dict(zip(("x_mm", "y_mm", "z_mm"), farthest.position_mm, strict=True)),
            "distance_mm": farthest.radius_mm,
            "nearest": farthest.nearest,
        },
    }


def _heading(number: int, found: RequiredCount | None) -> str:
    words = f"{number} sensor{'' if number == 1 else 's'}"
    return words if found is None else f"{words}, {found.citation.partition(',')[0]}"


def _draw(
    picture: Path,
    zone: WorkZone,
    places: tuple[Place, ...],
    farthest: Unwatched | None,
    heading: str,
    inset: tuple[float, ...],
) -> None:
    from qualify.pack.plots.placement import PlacementPicture, write_placement

    drawn = PlacementPicture(
        heading=heading,
        is_cylinder=zone.shape == "cylinder",
        size_mm=(zone.width_mm, zone.depth_mm, zone.height_mm),
        places=tuple((item.name, item.position_mm) for item in places),
        farthest_mm=None if farthest is None else farthest.position_mm,
        farthest_from_mm=None if farthest is None else farthest.radius_mm,
        notes=_place_words(places, farthest, inset),
    )
    try:
        write_placement(drawn, picture)
    except OSError as error:
        raise FILE_NOT_WRITABLE(file=str(picture), reason=error.strerror or str(error)) from None


MARKS = {"missing": "[ ]", "note": " - ", "ready": "[x]"}


def _list(name: str, found: Readiness) -> str:
    """The list: what is missing first, then what should be known, then what is ready."""
    lines = [f"{name}, for a survey on {found.on.isoformat()}", ""]
    counts = {}
    for state, mark in MARKS.items():
        points = [point for point in found.points if point.state.value == state]
        counts[state] = len(points)
        for point in points:
            lines.append(f"{mark} {point.about}: {point.text}")
            if point.why:
                lines.append(f"      why: {point.why}")
            if point.todo:
                lines.append(f"      do:  {point.todo}")
    verdict = "nothing is missing" if found.ready else f"{counts['missing']} missing"
    lines += [
        "",
        f"{verdict}; {counts['note']} to be known, {counts['ready']} in order. The cautions of the plan and "
        "of the place hold; a person decides whether to begin.",
    ]
    return "\n".join(lines)
