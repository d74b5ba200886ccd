"""From a plan file (TOML) to the frozen plan."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable
from typing import Any

from qualify.findings import RefusalKind, nearest
from qualify.inputs import InputFile
from qualify.plan.figures import REQUIRABLE, VARIANT, requirable
from qualify.plan.heat import read_heat
from qualify.plan.keys import Keys
from qualify.plan.model import (
    Acceptance,
    CertificateChoice,
    ChannelRole,
    ClassChoice,
    Exclusion,
    Hold,
    Location,
    Person,
    Plan,
    Requirement,
    Role,
    Screening,
    Stage,
    Survey,
    WorkZone,
)
from qualify.plan.operation_reading import no_name_twice, read_operation_tests
from qualify.plan.profile import ProfileChoice
from qualify.plan.read_options import logger_options, read_options
from qualify.plan.stage_reading import read_challenges, read_restore, read_stage
from qualify.plan.statistics import read_statistics
from qualify.plan.uncertainty import read_uncertainty
from qualify.units import (
    Celsius,
    CelsiusDifference,
    TemperatureUnit,
    difference_to_c,
    temperature_to_c,
)

NOT_TOML = RefusalKind(
    "plan-not-toml",
    what="the plan can't be read: {problem}",
    why="Nothing of it can be trusted from there on.",
    mend="mend that line; text stands in quotation marks, numbers with a decimal point.",
)
NAMED_TWICE = RefusalKind(
    "plan-named-twice",
    what="{what} '{name}' stands twice",
    why="A reading must belong to one place, and a name must mean one thing.",
    mend="give each its own.",
)
UNKNOWN_NAME = RefusalKind(
    "plan-unknown-name",
    what="'{name}' is no {what} of this plan{near}",
    why="What is meant can't be found.",
    mend="correct the name; known: {known}.",
)
LOCATION_IGNORED = RefusalKind(
    "plan-location-ignored",
    what="channel '{name}' is a location and also {role}",
    why="What the plan calls a location can't be ignored or be something else.",
    mend="keep one of the two.",
)
EXCLUDES_ALL = RefusalKind(
    "plan-location-excluded",
    what="the exclusion leaves out every reading of {whose}",
    why="What the plan calls a location can't be left out as a whole: that would be ignoring it.",
    mend="give it a kind, or from and to; a channel that is no location gets the role ignored.",
)

STAGE_TABLES = (
    *("installation", "operation", "performance", "return_to_service"),
    *("challenges", "purges", "cool_downs", "loop_checks", "programs"),
)
"""With one of these a plan has something to evaluate without a survey."""

STATED = ("tolerance", "low", "class", "minutes", "soak_minutes", "steady_minutes", "steady_within")
"""Keys of a hold that win over a profile where they stand."""

MINUTES_OR_SECONDS = {"s": 1.0, "min": 60.0}


def read_plan(file: InputFile) -> Plan:
    """Read a plan file.

    Raises
    ------
    Refusal
        If it is not TOML, has an unknown key (the nearest right spelling is offered), a value of the
        wrong type, a location without a channel, or a channel or name used twice.
    """
    try:
        text = file.data.decode("utf-8-sig")
        document = tomllib.loads(text)
    except UnicodeDecodeError:
        raise NOT_TOML(file=file.name, problem="it is not UTF-8 text; save it as UTF-8") from None
    except RecursionError:
        raise NOT_TOML(file=file.name, problem="its brackets are nested too deep") from None
    except ValueError as error:
        raise NOT_TOML(file=file.name, problem=str(error)) from None
    top = Keys(file.name, text, "", document)
    head = top.table("plan") or Keys(file.name, text, "plan", {})
    units = TemperatureUnit[head.choice("units", ["C", "F"], "C") or "C"]
    locations = _locations(top)
    channels = _channels(top, locations)
    zone = top.table("work_zone")
    profile = _profile(top, None)
    surveys = _surveys(top, units, profile)
    if not surveys and not any(key in top for key in STAGE_TABLES):
        raise top.missing("surveys", "There is nothing to evaluate.")
    hold_names = [hold.name for survey in surveys for hold in survey.holds]
    plan = Plan(
        title=head.text("title"),
        number=head.text("number"),
        revision=head.text("revision"),
        scope=head.text("scope"),
        units=units,
        author=_person(head, "author"),
        reviewer=_person(head, "reviewer"),
        approver=_person(head, "approver"),
        surveyor=_person(head, "surveyor"),
        accept_conditional=head.yes_or_no("accept_conditional"),
        **_acceptance(head),
        uncertainty_share=head.number("uncertainty_share", default=1 / 3, least=0.0) or 0.0,
        confirmed=head.texts("confirmed"),
        oven=top.words("oven"),
        conditions=top.words("conditions"),
        instruments=tuple(item.everything_as_words() for item in top.tables("instruments")),
        work_zone=_work_zone(zone) if zone else None,
        reference_location=_reference(zone, locations) if zone else None,
        locations=locations,
        channels=channels,
        certificates=_certificates(top, units, locations),
        uncertainty=read_uncertainty(top, units, [(item.name, item.sensor_type) for item in locations]),
        statistics=read_statistics(top, units),
        surveys=surveys,
        requirements=_requirements(top, units, hold_names),
        installation=read_stage(top, "installation"),
        operation=read_stage(top, "operation"),
        performance=read_stage(top, "performance"),
        challenges=read_challenges(top),
        heat=read_heat(top, units),
        operation_tests=read_operation_tests(top, units),
        restore=read_restore(top),
        dispositions=head.text("dispositions"),
        exclusions=_exclusions(top, locations, [survey.name for survey in surveys]),
        profiles=_profile_files(top),
    )
    no_name_twice(top, [item.name for item in (*plan.challenges, *plan.operation_tests)])
    if zone:
        zone.done()
    head.done()
    top.done()
    return plan


def _person(head: Keys, key: str) -> Person | None:
    table = head.table(key)
    if table is None:
        return None
    person = Person(table.text("name", why="A role without a name can't be held to it."), table.day("date"))
    table.done()
    return person


def _acceptance(head: Keys) -> dict[str, Any]:
    """The decision rule and its number, as fields of the plan."""
    words = [rule.value for rule in Acceptance]
    if not isinstance(head.take("acceptance"), dict):
        word = head.choice("acceptance", words)
        return {"acceptance": None if word is None else Acceptance(word)}
    table = head.table("acceptance")
    assert table is not None
    word = table.choice("rule", words)
    if word is None:
        raise table.missing("rule", "It says how a figure is held against its limit.")
    rule = Acceptance(word)
    found: dict[str, Any] = {"acceptance": rule}
    if rule is Acceptance.GUARDED:
        factor = table.number("factor", default=1.0, least=0.0)
        found["guard_factor"] = factor
    if rule is Acceptance.PROBABILITY:
        least = table.number("at_least", default=0.95)
        if least is None or not 0.5 <= least < 1.0:
            raise table.wrong("at_least", "a probability from 0.5 to below 1")
        found["least_probability"] = least
    table.done()
    return found


def _size(table: Keys, key: str) -> float:
    size = table.number(key)
    if size is None:
        raise table.missing(key, "The work zone's shape needs it.")
    if size <= 0:
        raise table.wrong(key, "a size above zero")
    return size


def _work_zone(table: Keys) -> WorkZone:
    shape = table.choice("shape", ["box", "cylinder"], "box") or "box"
    if shape == "cylinder":
        diameter = _size(table, "diameter_mm")
        return WorkZone(
            shape=shape, width_mm=diameter, depth_mm=diameter, height_mm=_size(table, "height_mm")
        )
    return WorkZone(
        shape=shape,
        width_mm=_size(table, "width_mm"),
        depth_mm=_size(table, "depth_mm"),
        height_mm=_size(table, "height_mm"),
    )


def _reference(table: Keys, locations: tuple[Location, ...]) -> str | None:
    name = table.text("reference_location")
    if name:
        _known(table, "reference_location", name, "location", [location.name for location in locations])
    return name or None


def _known(table: Keys, key: str, name: str, what: str, known: Iterable[str]) -> None:
    names = list(known)
    if name not in names:
        raise UNKNOWN_NAME(
            name=name, what=what, near=nearest(name, names), known=", ".join(names), **table.where(key)
        )


def _once(table: Keys, key: str, what: str, name: str, seen: set[str]) -> None:
    if name in seen:
        raise NAMED_TWICE(what=what, name=name, **table.where(key))
    seen.add(name)


def _locations(top: Keys) -> tuple[Location, ...]:
    names: set[str] = set()
    channels: set[str] = set()
    sensors: set[str] = set()
    found = []
    for table in top.tables("locations"):
        name = table.text("name", why="A location is told apart by its name.")
        channel = table.text("channel", why=f"Location '{name}' has no readings without a channel.")
        sensor = table.text("sensor")
        spool, sample = table.text("spool"), table.text("sample")
        if sample and not spool:
            raise table.missing("spool", "A sample is told apart by the spool that it was cut from.")
        _once(table, "name", "the location", name, names)
        _once(table, "channel", "the channel", channel, channels)
        if sensor:
            _once(table, "sensor", "the sensor", sensor, sensors)
        axes = [table.number(key) for key in ("x_mm", "y_mm", "z_mm")]
        given = [axis for axis in axes if axis is not None]
        if given and len(given) < 3:
            missing = next(k for k, v in zip(("x_mm", "y_mm", "z_mm"), axes, strict=True) if v is None)
            raise table.missing(missing, "A position needs all three of x_mm, y_mm and z_mm.")
        found.append(
            Location(
                name=name,
                channel=channel,
                sensor=sensor,
                sensor_type=table.text("type"),
                spool=spool,
                sample=sample,
                position_mm=(given[0], given[1], given[2]) if given else None,
            )
        )
        table.done()
    return tuple(found)


def _channels(top: Keys, locations: tuple[Location, ...]) -> tuple[ChannelRole, ...]:
    by_channel = {location.channel for location in locations}
    seen: set[str] = set()
    set_points: set[str] = set()
    found = []
    for table in top.tables("channels"):
        channel = table.text("channel", why="A role belongs to a channel.")
        role = Role(table.choice("role", [role.value for role in Role]) or Role.IGNORED)
        if channel in by_channel:
            raise LOCATION_IGNORED(name=channel, role=role.value, **table.where("channel"))
        _once(table, "channel", "the channel", channel, seen)
        beside = table.text("beside")
        if beside:
            _known(table, "beside", beside, "location", [location.name for location in locations])
        reason = table.text(
            "reason", why="A channel is left out for a stated reason only." if role is Role.IGNORED else ""
        )
        if role is Role.SET_POINT:
            _once(table, "role", "the role", role.value, set_points)
        found.append(ChannelRole(channel=channel, role=role, beside=beside, reason=reason))
        table.done()
    return tuple(found)


INTERPOLATIONS = {"linear": 0, "line": 1, "polynomial-1": 1, "polynomial-2": 2, "polynomial-3": 3}


def _certificates(
    top: Keys, units: TemperatureUnit, locations: tuple[Location, ...]
) -> CertificateChoice | None:
    table = top.table("certificates")
    if table is None:
        return None
    more = table.texts("files")
    file = table.text("file", why="" if more else "Corrections come from a certificates file.")
    files = [name for name in (file, *more) if name]
    for name in files:
        if files.count(name) > 1:
            raise NAMED_TWICE(what="the certificates file", name=name, **table.where("files"))
    spool_range = table.number("spool_range", least=0.0)
    correlation = table.number("laboratory_correlation", default=0.0, least=0.0) or 0.0
    if correlation > 1:
        raise table.wrong("laboratory_correlation", "a number from 0 to 1")
    co_located = table.texts("co_located")
    for name in co_located:
        _known(table, "co_located", name, "location", [location.name for location in locations])
    if len(set(co_located)) == 1 or len(set(co_located)) < len(co_located):
        raise table.wrong("co_located", "a list of at least two locations, each once")
    choice = CertificateChoice(
        file=files[0],
        more=tuple(files[1:]),
        degree=INTERPOLATIONS[table.choice("interpolation", list(INTERPOLATIONS), "linear") or "linear"],
        spool_range=None if spool_range is None else _difference(spool_range, units),
        use=table.choice("use", ["before", "after", "mean"], "mean") or "mean",
        laboratory_correlation=correlation,
        more_sensors=table.yes_or_no("more_sensors"),
        co_located=co_located,
        reach=_difference(table.number("reach", default=0.0, least=0.0), units),
        reach_uncertainty=_difference(table.number("reach_uncertainty", default=0.0, least=0.0), units),
    )
    table.done()
    return choice


def _difference(value: float | None, units: TemperatureUnit) -> CelsiusDifference:
    return CelsiusDifference(difference_to_c(0.0 if value is None else value, units))


def _profile_files(top: Keys) -> tuple[str, ...]:
    files = top.texts("profiles")
    for name in files:
        if files.count(name) > 1:
            raise NAMED_TWICE(what="the profile file", name=name, **top.where("profiles"))
    return files


def _profile(table: Keys, general: ProfileChoice | None) -> ProfileChoice | None:
    """The profile that the plan or the hold names; a hold may name another class of the plan's."""
    named = table.table("profile")
    if named is None:
        return general
    own = "document" in named or general is None
    choice = ProfileChoice(
        document=named.text("document", why="A profile is that of a document." if own else "")
        or (general.document if general is not None else ""),
        edition=named.text("edition") or (general.edition if general is not None and not own else ""),
        name=named.text("class") or (general.name if general is not None and not own else ""),
    )
    named.done()
    return choice


def _surveys(top: Keys, units: TemperatureUnit, profile: ProfileChoice | None) -> tuple[Survey, ...]:
    names: set[str] = set()
    hold_names: set[str] = set()
    found = []
    for table in top.tables("surveys"):
        name = table.text("name", why="A survey is told apart by its name.")
        _once(table, "name", "the survey", name, names)
        stage = table.choice("stage", [stage.value for stage in Stage])
        if stage is None:
            raise table.missing("stage", "The stage says what the survey is to show.")
        files = table.texts("files")
        if not files:
            raise table.missing("files", "A survey needs the logger files it was recorded in.")
        read = read_options(table)
        loggers = logger_options(table, files)
        holds = tuple(_hold(hold, units, hold_names, profile) for hold in table.tables("holds"))
        if not holds:
            raise table.missing("holds", "A survey needs at least one hold with its set point.")
        found.append(
            Survey(
                name=name,
                stage=Stage(stage),
                files=files,
                read=read,
                loggers=loggers,
                holds=holds,
                interval_s=_above_zero(table, "interval_s"),
            )
        )
        table.done()
    return tuple(found)


def _hold(table: Keys, units: TemperatureUnit, seen: set[str], profile: ProfileChoice | None) -> Hold:
    setpoint = table.number("setpoint")
    if setpoint is None:
        raise table.missing("setpoint", "Deviations are counted from it.")
    name = table.text("name") or f"{setpoint:g} {units.value}"
    _once(table, "name", "the hold", name, seen)
    low, high = _limits(table, units)
    ambient = table.number("ambient")
    within = table.number("steady_within", least=0.0)
    hold = Hold(
        name=name,
        setpoint=Celsius(temperature_to_c(setpoint, units)),
        low=low,
        high=high,
        classes=tuple(_class(item) for item in table.tables("class")),
        ambient=None if ambient is None else Celsius(temperature_to_c(ambient, units)),
        start=table.moment("start"),
        minutes=_above_zero(table, "minutes"),
        heat_start=table.moment("heat_start"),
        door_closed=table.moment("door_closed"),
        soak_minutes=_above_zero(table, "soak_minutes") or 30.0,
        steady_minutes=_above_zero(table, "steady_minutes") or 5.0,
        steady_within=CelsiusDifference(0.5) if within is None else _difference(within, units),
        chosen_profile=_profile(table, profile),
        stated=frozenset(key for key in STATED if key in table),
    )
    table.done()
    return hold


def _above_zero(table: Keys, key: str) -> float | None:
    value = table.number(key)
    if value is not None and value <= 0:
        raise table.wrong(key, "a number above zero")
    return value


def _limits(table: Keys, units: TemperatureUnit) -> tuple[CelsiusDifference | None, CelsiusDifference | None]:
    tolerance = table.number("tolerance", least=0.0)
    low, high = table.number("low"), table.number("high")
    if tolerance is not None:
        if low is not None or high is not None:
            raise table.wrong("tolerance", "to stand beside low and high: give one or the other")
        return _difference(-tolerance, units), _difference(tolerance, units)
    if (low is None) != (high is None):
        raise table.missing("high" if high is None else "low", "Limits need both low and high.")
    if low is None or high is None:
        return None, None
    if low > high:
        raise table.wrong("low", "at or below high (both count from the set point)")
    return _difference(low, units), _difference(high, units)


def _class(table: Keys) -> ClassChoice:
    choice = ClassChoice(
        document=table.text("document", why="A class belongs to a document."),
        edition=table.text("edition"),
        name=table.text("name", why="A class is chosen by its name."),
    )
    table.done()
    return choice


def _requirements(top: Keys, units: TemperatureUnit, hold_names: list[str]) -> tuple[Requirement, ...]:
    found = []
    counts: dict[str, int] = {}
    for table in top.tables("requirements"):
        figure = table.text("figure", why="A requirement is about a figure.")
        if not figure.startswith(VARIANT) or figure == VARIANT:
            table.choice("figure", list(REQUIRABLE))
        at_least = None
        if requirable(figure).is_probability:
            at_least = table.number("at_least")
            if at_least is None:
                raise table.missing("at_least", "A requirement needs its limit.")
            if not 0.0 < at_least < 1.0:
                raise table.wrong("at_least", "a probability between 0 and 1")
            at_most = None
        else:
            at_most = table.number("at_most")
            if at_most is None:
                raise table.missing("at_most", "A requirement needs its limit.")
        unit = table.text("unit")
        if at_most is None:
            if unit:
                raise table.wrong("unit", "needed here: a probability has none")
        elif requirable(figure).is_time:
            if unit not in MINUTES_OR_SECONDS:
                raise table.wrong("unit", 'a unit of time: "s" or "min"')
            at_most *= MINUTES_OR_SECONDS[unit]
        else:
            if unit:
                raise table.wrong("unit", "needed here: the plan's own unit holds")
            at_most = difference_to_c(at_most, units)
        holds = table.texts("holds")
        for hold in holds:
            _known(table, "holds", hold, "hold", hold_names)
        counts[figure] = counts.get(figure, 0) + 1
        number = f"-{counts[figure]}" if counts[figure] > 1 else ""
        found.append(
            Requirement(
                id=figure.removeprefix(VARIANT).replace("_", "-") + number,
                figure=figure,
                at_most=at_most,
                at_least=at_least,
                text=table.text("text"),
                holds=holds,
            )
        )
        table.done()
    return tuple(found)


def _exclusions(top: Keys, locations: tuple[Location, ...], survey_names: list[str]) -> tuple[Exclusion, ...]:
    found = []
    for table in top.tables("exclusions"):
        word = table.choice("kind", [kind.value for kind in Screening])
        location, channel, survey = (table.text(key) for key in ("location", "channel", "survey"))
        if location:
            _known(table, "location", location, "location", [item.name for item in locations])
            if channel:
                raise table.wrong("channel", "needed beside location: give one of the two")
        if survey:
            _known(table, "survey", survey, "survey", survey_names)
        exclusion = Exclusion(
            kind=None if word is None else Screening(word),
            location=location,
            channel=channel,
            survey=survey,
            start=table.moment("from"),
            end=table.moment("to"),
            reason=table.text("reason", why="A reading is left out for a stated reason only."),
        )
        if exclusion.kind is None and not location and not channel:
            raise table.missing("location", "It must be clear which readings are left out.")
        if exclusion.kind is None and exclusion.start is None and exclusion.end is None:
            raise EXCLUDES_ALL(whose=f"'{location or channel}'", **table.where("location"))
        table.done()
        found.append(exclusion)
    return tuple(found)
