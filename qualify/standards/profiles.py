"""Requirement profiles: those built in, those of users' own files, and what each comes to in a hold.

A profile names the rows that hold its numbers. What the plan says itself always wins. A row from
memory or in conflict is printed and decides nothing until the plan confirms it by its id; a row that
is named and missing makes its requirement "not shown".
"""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from qualify.findings import RefusalKind, nearest
from qualify.inputs import InputFile
from qualify.plan.figures import VARIANT
from qualify.plan.model import ClassChoice, Hold, Plan, Requirement, Survey
from qualify.plan.profile import Ask, HoldProfile, Kind, ProfileChoice, Use
from qualify.standards import OWN, STANDINGS, UNCONFIRMED, Row, UncitedRowError, citation, rows
from qualify.standards.counts import documents_with_counts, required_count
from qualify.standards.profile_rows import (
    FORMS,
    Fault,
    editions_of,
    fault_of_ask,
    fault_of_profile,
)
from qualify.units import CelsiusDifference, TemperatureUnit, difference_to_c

NOT_TOML = RefusalKind(
    "profile-not-toml",
    what="the profile can't be read: {problem}",
    why="Nothing of it can be trusted from there on.",
    mend="mend that line; text stands in quotation marks, numbers with a decimal point.",
)
BAD_ROW = RefusalKind(
    "profile-bad-row",
    what="row '{id}': {name} {problem}",
    why="A limit counts only with its number, unit, source and standing; anything less would be guessed.",
    mend="mend the row; docs/profiles.md shows each kind.",
)
ID_TWICE = RefusalKind(
    "profile-id-twice",
    what="two rows have the id '{id}'",
    why="A row is named, confirmed and printed by its id.",
    mend="give each row an id of its own; the built-in tables' ids are taken.",
)
TWICE = RefusalKind(
    "profile-twice",
    what="the profile '{document}', edition '{edition}', stands twice",
    why="It must be clear which rows hold.",
    mend="give one of them another document or edition.",
)
UNKNOWN_PROFILE = RefusalKind(
    "profile-unknown",
    what="there is no profile '{document}'{near}",
    why="What it asks can't be known, and nothing would be judged.",
    mend="correct the document, or name your own file in `profiles`; there are {known}.",
)
UNKNOWN_EDITION = RefusalKind(
    "profile-unknown-edition",
    what="the profile of {document} is not known for edition '{edition}'{near}",
    why="Editions differ; the rows of one do not hold for another.",
    mend="there are: {known}. Name one of them{or_none}.",
)
EDITION_OPEN = RefusalKind(
    "profile-edition-open",
    what="the plan names no edition of {document}, and there are several profiles",
    why="Editions differ, and the report must name the one that was judged by.",
    mend='add edition = "..." to the profile; there are: {known}.',
)

BUILT_IN = "profiles"
_SECONDS = {"s": 1.0, "min": 60.0}
_UNIT_WORDS = {"C": "°C", "F": "°F", "1": ""}


@dataclass(frozen=True, slots=True, kw_only=True)
class Profile:
    """One profile: its head row, the rows of its own file by id, and where it came from."""

    head: Row
    own_rows: dict[str, Row]
    file: str
    """Name of the user's file; "" for a built-in profile."""

    @property
    def document(self) -> str:
        """The document."""
        return str(self.head["document"])

    @property
    def editions(self) -> list[str]:
        """The editions for which it holds."""
        return editions_of(self.head)

    def rows_named(self) -> list[tuple[str, Kind, Row]]:
        """Every row that the profile names, with its kind; a missing one is an empty row."""
        return [(name, *_found(name, self.own_rows)) for name in self.head["asks"]]


def built_in() -> tuple[Profile, ...]:
    """Every built-in profile.

    Raises
    ------
    UncitedRowError
        If a row lacks document, edition, clause, unit or standing, or is not of its kind's form.
    """
    asks = {row["id"]: row for row in rows(BUILT_IN, "ask")}
    heads = rows(BUILT_IN, "profile", (OWN,))
    for row, fault in [
        *((row, fault_of_ask(row)) for row in asks.values()),
        *((row, fault_of_profile(row)) for row in heads),
    ]:
        if fault is not None:
            raise UncitedRowError(f"{BUILT_IN}, {row['id']}: {fault.key} {fault.problem}")
    return tuple(Profile(head=head, own_rows=asks, file="") for head in heads)


def read_profiles(file: InputFile) -> tuple[Profile, ...]:
    """Read a user's own profiles: a file of the form of the built-in profiles.toml.

    Raises
    ------
    Refusal
        If it is not TOML, or a row lacks its citation, has an unknown key or a value of the wrong kind.
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
    for key in document:
        if key not in ("profile", "ask"):
            near = nearest(key, ["profile", "ask"])
            raise NOT_TOML(
                file=file.name, problem=f"it has the unknown table '{key}'{near}; write [[profile]]"
            )
    heads, asks = _tables(document, "profile", file), _tables(document, "ask", file)
    if not heads:
        raise NOT_TOML(file=file.name, problem="it holds no [[profile]]")
    own: dict[str, Row] = {}
    taken = {row["id"] for table, kind in _TABLES for row in rows(table, kind)}
    for row, fault in [
        *((row, fault_of_profile(row)) for row in heads),
        *((row, fault_of_ask(row)) for row in asks),
    ]:
        if fault is not None:
            raise _bad_row(file, text, row, fault)
        if row["id"] in own or row["id"] in taken:
            raise ID_TWICE(file=file.name, row=_line(text, row), id=row["id"], key="id")
        own[row["id"]] = row
    found = tuple(
        Profile(head=head, own_rows={row["id"]: row for row in asks}, file=file.name) for head in heads
    )
    for profile in found:
        for name, kind, _ in profile.rows_named():
            if kind is Kind.GONE:
                near = nearest(name, [*own, *taken])
                fault = Fault("asks", f"names '{name}', which is no row{near}")
                raise _bad_row(file, text, profile.head, fault)
    return found


def _tables(document: dict[str, Any], kind: str, file: InputFile) -> list[Row]:
    found = document.get(kind, [])
    if not isinstance(found, list) or not all(isinstance(row, dict) for row in found):
        raise NOT_TOML(file=file.name, problem=f"'{kind}' is no list of tables; write [[{kind}]]")
    return found


def _bad_row(file: InputFile, text: str, row: Row, fault: Fault) -> Exception:
    name = row.get("id", "no id")
    return BAD_ROW(
        file=file.name,
        row=_line(text, row),
        key=fault.key,
        id=name,
        name=fault.key,
        problem=fault.problem,
    )


def _line(text: str, row: Row) -> int | None:
    """Line on which a row's id stands, where it stands once."""
    lines = [
        number
        for number, line in enumerate(text.splitlines(), start=1)
        if line.strip().startswith("id") and f'"{row.get("id")}"' in line
    ]
    return lines[0] if len(lines) == 1 else None


# ---- finding ----

_TABLES = (
    (BUILT_IN, "ask"),
    ("reading_intervals", "interval"),
    ("uniformity_classes", "rule"),
    ("variants", "variant"),
)


def _found(name: str, own_rows: dict[str, Row]) -> tuple[Kind, Row]:
    """A row by its id: of the profile's own file, else of the built-in tables."""
    if name in own_rows:
        return Kind(own_rows[name]["kind"]), own_rows[name]
    for table, kind in _TABLES:
        for row in rows(table, kind):
            if row["id"] != name:
                continue
            if table == BUILT_IN:
                return Kind(row["kind"]), row
            return {"interval": Kind.INTERVAL, "rule": Kind.TREND, "variant": Kind.VARIANT}[kind], row
    return Kind.GONE, {}


def profile_of(choice: ProfileChoice, own: Sequence[Profile] = ()) -> tuple[Profile, str]:
    """Find the profile that a plan names, and its edition in full.

    Raises
    ------
    Refusal
        If there is none of that document or edition, or the edition is left open where there are several.
    """
    everything = [*own, *built_in()]
    named = [profile for profile in everything if profile.document == choice.document]
    if not named:
        documents = list(dict.fromkeys(profile.document for profile in everything))
        raise UNKNOWN_PROFILE(
            document=choice.document,
            near=nearest(choice.document, documents),
            known=", ".join(documents),
            key="profile.document",
        )
    editions = [(profile, edition) for profile in named for edition in profile.editions]
    known = ", ".join(edition for _, edition in editions)
    if not choice.edition:
        if len(editions) > 1:
            raise EDITION_OPEN(document=choice.document, known=known, key="profile.edition")
        return editions[0]
    for profile, edition in editions:
        if choice.edition in (edition, edition.partition(" ")[0]):
            return profile, edition
    raise UNKNOWN_EDITION(
        document=choice.document,
        edition=choice.edition,
        near=nearest(choice.edition, [edition for _, edition in editions]),
        known=known,
        or_none=", or leave the edition out" if len(editions) == 1 else "",
        key="profile.edition",
    )


def confirmable_rows(own: Sequence[Profile] = ()) -> list[str]:
    """Ids of rows of profiles, intervals and variants that a plan may confirm."""
    tables = [row for table, kind in _TABLES if kind != "rule" for row in rows(table, kind)]
    mine = [row for profile in own for row in profile.own_rows.values()]
    return list(dict.fromkeys(row["id"] for row in (*tables, *mine) if row["standing"] in UNCONFIRMED))


# ---- from a profile to a hold ----


def with_profiles(plan: Plan, own: Sequence[Profile] = ()) -> Plan:
    """Fill the plan's holds from the profiles that they name; what the plan says itself wins.

    Parameters
    ----------
    plan
        The plan as it was read.
    own
        Profiles of the user's own files.

    Returns
    -------
    Plan
        The same plan where no hold names a profile.

    Raises
    ------
    Refusal
        If a profile is not known, or two of the user's have the same document and edition.
    """
    seen: set[tuple[str, str]] = set()
    for profile in (*built_in(), *own):
        for edition in profile.editions:
            if (profile.document, edition) in seen:
                raise TWICE(file=profile.file, document=profile.document, edition=edition)
            seen.add((profile.document, edition))
    ids: set[str] = set()
    for name in (key for item in {p.file: p for p in own}.values() for key in item.own_rows):
        if name in ids:
            raise ID_TWICE(id=name)
        ids.add(name)
    if not own and all(hold.chosen_profile is None for survey in plan.surveys for hold in survey.holds):
        return plan
    surveys = []
    for survey in plan.surveys:
        holds = tuple(_filled(plan, hold, own) for hold in survey.holds)
        surveys.append(replace(survey, holds=holds, interval_s=_interval_s(survey, holds)))
    extra = tuple(name for name in confirmable_rows(own) if name not in confirmable_rows())
    return replace(plan, surveys=tuple(surveys), own_confirmable=extra)


def _interval_s(survey: Survey, holds: Sequence[Hold]) -> float | None:
    """The plan's recording interval; where it is silent, the shortest that a profile asks for."""
    if survey.interval_s is not None:
        return survey.interval_s
    asked = [
        ask.value
        for hold in holds
        if hold.profile is not None
        for ask in hold.profile.of(Kind.INTERVAL)
        if ask.value is not None and ask.obstacle is None
    ]
    return min(asked, default=None)


def _filled(plan: Plan, hold: Hold, own: Sequence[Profile]) -> Hold:
    if hold.chosen_profile is None:
        return hold
    profile, edition = profile_of(hold.chosen_profile, own)
    choice = replace(hold.chosen_profile, edition=edition)
    asks: list[Ask] = []
    hold = _with_limits(hold, profile, choice, asks)
    for name, kind, row in profile.rows_named():
        if kind is Kind.LIMITS:
            continue
        ask = _ask(name, kind, row, edition, plan.confirmed)
        hold, ask = _take(plan, hold, ask, row)
        asks.append(ask)
    if "sensors" in profile.head:
        asks += _sensors(plan, str(profile.head["sensors"]), choice)
    return replace(hold, profile=HoldProfile(choice=choice, asks=tuple(asks)))


def _sensors(plan: Plan, document: str, choice: ProfileChoice) -> list[Ask]:
    """The number of locations that the document asks for at the volume of the work zone."""
    name = f"{'-'.join(document.casefold().split())}-sensors"
    if document not in documents_with_counts():
        return [_ask(name, Kind.GONE, {}, choice.edition, plan.confirmed)]
    zone = plan.work_zone
    volume_l = float("nan") if zone is None else zone.volume_l
    needed = required_count(document, choice.edition, choice.name, volume_l, plan.confirmed)
    ask = Ask(
        id=name,
        kind=Kind.SENSORS,
        text=_WORDS[Kind.SENSORS],
        citation=needed.decides_citation or needed.citation,
        standing=needed.standing,
        use=Use.CHECKED,
    )
    found = []
    if needed.decides is not None:
        general = [
            row["standing"]
            for row in rows("sensor_counts", "count")
            if row["document"] == document and row.get("general")
        ]
        found.append(
            replace(
                ask,
                text=ask.text + (", corners and centre among them" if needed.corners_and_centre else ""),
                value=float(needed.decides),
                shown=f"{needed.decides}",
                standing=needed.standing if needed.obstacle is None else next(iter(general), ""),
            )
        )
    if needed.count is not None and needed.obstacle is not None:
        found.append(
            replace(
                ask,
                id=needed.id,
                value=float(needed.count),
                shown=f"{needed.count}",
                citation=needed.citation,
                use=Use.UNCONFIRMED,
                obstacle=needed.obstacle,
            )
        )
    if not found:
        reason = "the plan gives no work zone, so its volume is not known" if zone is None else None
        found.append(replace(ask, obstacle=reason or needed.obstacle))
    return found


def in_words(plan: Plan) -> dict[str, Any]:
    """What each hold has from its profile, as the record's settings list it; empty without profiles."""
    found: dict[str, Any] = {}
    for survey in plan.surveys:
        for hold in survey.holds:
            if hold.profile is None:
                continue
            choice = hold.profile.choice
            found[f"{survey.name}, {hold.name}"] = {
                "document": choice.document,
                "edition": choice.edition,
                "class": choice.name,
                "asks": [
                    {
                        "id": ask.id,
                        "what": ask.text,
                        "value": ask.shown,
                        "use": ask.use.value,
                        "citation": ask.citation,
                        "standing": ask.standing,
                    }
                    for ask in hold.profile.asks
                ],
            }
    return found


def _with_limits(hold: Hold, profile: Profile, choice: ProfileChoice, asks: list[Ask]) -> Hold:
    """Take the class that the plan chose of the profile, unless the hold has limits of its own."""
    limits: list[Row] = [
        {"judged": "all", **row, "name": row["class"], "editions": editions_of(row)}
        for _, kind, row in profile.rows_named()
        if kind is Kind.LIMITS
    ]
    document = str(profile.head.get("classes", ""))
    if not limits and not document:
        return hold
    known = limits or [
        row
        for row in rows("uniformity_classes", "class")
        if row["document"] == document and choice.edition in editions_of(row)
    ]
    names = list(dict.fromkeys(str(row["name"]) for row in known))
    name = choice.name or (names[0] if len(names) == 1 else "")
    chosen = ClassChoice(
        document=choice.document if limits else document,
        edition=choice.edition,
        name=name,
        rows=tuple(limits),
    )
    stated = hold.low is not None or bool(hold.classes)
    asks.append(
        Ask(
            id=f"{profile.head['id']}-class",
            kind=Kind.LIMITS,
            text=f"uniformity limits of class '{name}'" if name else "uniformity limits of a class",
            shown=", ".join(names),
            citation=citation(profile.head, choice.edition),
            standing=profile.head["standing"],
            use=Use.PLAN_WINS if stated else Use.JUDGED,
        )
    )
    return hold if stated else replace(hold, classes=(chosen,))


def _ask(name: str, kind: Kind, row: Row, edition: str, confirmed: tuple[str, ...]) -> Ask:
    """A profile's row as an ask of a hold, before it is known what becomes of it."""
    if kind is Kind.GONE:
        return Ask(
            id=name,
            kind=kind,
            text=f"what the profile's row '{name}' asks",
            citation="",
            standing="",
            use=Use.GONE,
            obstacle=f"the profile names the row '{name}', which is missing from the tables",
        )
    if kind is Kind.INTERVAL and row.get("for_planning"):
        use = Use.TAKEN
    elif kind in (Kind.NOTE,):
        use = Use.PRINTED
    else:
        use = Use.CHECKED
    obstacle = None
    if row["standing"] in UNCONFIRMED and name not in confirmed:
        obstacle = (
            f"the number is {STANDINGS[row['standing']]}; confirm it in a licensed copy and add "
            f'"{name}" to `confirmed` in the plan'
        )
        use = Use.UNCONFIRMED
    key = FORMS[kind].number
    number = row.get(key) if key else None
    return Ask(
        id=name,
        kind=kind,
        text=_words(kind, row),
        citation=citation(row, edition if edition in editions_of(row) else editions_of(row)[-1]),
        standing=row["standing"],
        use=use,
        value=None if number is None else _inside(float(number), row["unit"]),
        shown="" if number is None else f"{number:g} {_UNIT_WORDS.get(row['unit'], row['unit'])}".strip(),
        figure=_figure(name, kind, row),
        obstacle=obstacle,
    )


def _figure(name: str, kind: Kind, row: Row) -> str:
    if kind is Kind.VARIANT:
        return VARIANT + str(row.get("figure", name))
    return str(row["figure"]) if kind is Kind.FIGURE else ""


def _inside(number: float, unit: str) -> float:
    if unit in _SECONDS:
        return number * _SECONDS[unit]
    return difference_to_c(number, TemperatureUnit[unit]) if unit in ("C", "F") else number


_WORDS = {
    Kind.SENSORS: "number of locations, at least",
    Kind.INTERVAL: "longest interval between readings",
    Kind.SOAK: "soak after stabilisation, at least",
    Kind.WINDOW: "assessment window, at least",
    Kind.READINGS: "readings in the window, at least",
    Kind.STEADY: "steady: averages within",
    Kind.TREND: "no location still trends towards a limit that the next soak would reach",
    Kind.START: "the record begins before the first sensor is inside the limits",
    Kind.CORRECTIONS: "sensor and instrument corrections are added before judging",
}


def _words(kind: Kind, row: Row) -> str:
    if "formula" in row:
        return f"{row['name']}: {row['formula']}"
    return str(row.get("text") or _WORDS.get(kind) or f"{row['figure']}, at most")


def _take(plan: Plan, hold: Hold, ask: Ask, row: Row) -> tuple[Hold, Ask]:
    """Put an ask into the hold, where the plan is silent and the ask may decide."""
    if ask.kind in (Kind.GONE, Kind.NOTE):
        return hold, ask
    if ask.kind in (Kind.VARIANT, Kind.FIGURE):
        return _take_figure(plan, hold, ask)
    if ask.kind is Kind.TREND and ask.obstacle is None:
        return hold, replace(ask, use=Use.JUDGED)
    if ask.obstacle is not None or ask.value is None:
        return hold, ask
    if ask.kind is Kind.SOAK:
        if "soak_minutes" in hold.stated:
            return hold, replace(ask, use=Use.PLAN_WINS)
        return replace(hold, soak_minutes=ask.value / 60.0), replace(ask, use=Use.TAKEN)
    if ask.kind is Kind.WINDOW:
        if "minutes" in hold.stated:
            return hold, replace(ask, use=Use.PLAN_WINS)
        if hold.start is None:
            return hold, ask
        return replace(hold, minutes=ask.value / 60.0), replace(ask, use=Use.TAKEN)
    if ask.kind is Kind.STEADY:
        if hold.stated & {"steady_minutes", "steady_within"}:
            return hold, replace(ask, use=Use.PLAN_WINS)
        steady = replace(
            hold, steady_within=CelsiusDifference(ask.value), steady_minutes=float(row["minutes"])
        )
        return steady, replace(ask, use=Use.TAKEN, shown=f"{ask.shown} over {row['minutes']:g} min")
    return hold, ask


def _take_figure(plan: Plan, hold: Hold, ask: Ask) -> tuple[Hold, Ask]:
    asked = [
        item
        for item in plan.requirements
        if item.figure == ask.figure and (not item.holds or hold.name in item.holds)
    ]
    if asked:
        return hold, replace(ask, use=Use.PLAN_WINS)
    if ask.value is None:
        # A definition without a limit: judged only against a limit of the plan's own.
        return hold, replace(ask, use=Use.PRINTED)
    if ask.obstacle is not None:
        return hold, ask
    requirement = Requirement(
        id=ask.id,
        figure=ask.figure,
        at_most=ask.value,
        text=ask.text,
        holds=(hold.name,),
        citation=ask.citation,
        standing=ask.standing,
    )
    return replace(hold, requirements=(*hold.requirements, requirement)), replace(ask, use=Use.JUDGED)
