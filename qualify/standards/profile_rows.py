"""What a row of a requirement profile may hold: the check that built-in and users' files share."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from qualify.findings import nearest
from qualify.plan.figures import REQUIRABLE
from qualify.plan.profile import Kind
from qualify.standards import CITATION, OWN, STANDINGS, Row

TEMPERATURE, TIME, COUNT = ("C", "F"), ("s", "min"), ("1",)


@dataclass(frozen=True, slots=True)
class Form:
    """Keys of a kind of row: its number, its units, keys that must and that may stand beside it."""

    number: str
    units: tuple[str, ...]
    needs: tuple[str, ...] = ()
    may: tuple[str, ...] = ()


FORMS = {
    Kind.LIMITS: Form(
        "",
        TEMPERATURE,
        ("class",),
        (
            *("half_width", "percent_of_rise", "judged"),
            *("setpoint_from", "setpoint_above", "setpoint_to", "rise_from"),
        ),
    ),
    Kind.SENSORS: Form("count", COUNT),
    Kind.INTERVAL: Form("longest", TIME),
    Kind.SOAK: Form("least", TIME),
    Kind.WINDOW: Form("least", TIME),
    Kind.READINGS: Form("least", COUNT),
    Kind.STEADY: Form("within", TEMPERATURE, ("minutes",)),
    Kind.VARIANT: Form("at_most", TEMPERATURE, ("figure",)),
    Kind.FIGURE: Form("at_most", (*TEMPERATURE, *TIME), ("figure",)),
    Kind.TREND: Form("", COUNT),
    Kind.START: Form("", COUNT),
    Kind.CORRECTIONS: Form("", COUNT),
    Kind.NOTE: Form("", COUNT, ("text",)),
}
NUMBERS = (
    *("half_width", "percent_of_rise", "setpoint_from", "setpoint_above", "setpoint_to", "rise_from"),
    *("count", "longest", "least", "within", "minutes", "at_most"),
)
_ABOVE_ZERO = ("count", "longest", "least", "within", "minutes", "half_width", "percent_of_rise")
_CITED = (*CITATION, "edition", "editions", "text")
_PROFILE = (*_CITED, "classes", "sensors", "asks")


@dataclass(frozen=True, slots=True)
class Fault:
    """What is wrong with a row: the key, and what about it."""

    key: str
    problem: str


def fault_of_profile(row: Row) -> Fault | None:
    """What is wrong with a `[[profile]]` row, if anything."""
    asks = row.get("asks")
    if not _texts(asks):
        return Fault("asks", "must be a list of ids of rows, [] for none")
    for key in ("classes", "sensors"):
        if key in row and not _text(row[key]):
            return Fault(key, "must be the name of a document")
    return _cited(row) or _unknown(row, _PROFILE)


def fault_of_ask(row: Row) -> Fault | None:
    """What is wrong with an `[[ask]]` row, if anything."""
    kinds = [kind.value for kind in FORMS]
    kind = row.get("kind")
    if kind not in kinds:
        near = nearest(kind, kinds) if isinstance(kind, str) else ""
        return Fault("kind", f"must be one of {', '.join(kinds)}{near}")
    form = FORMS[Kind(kind)]
    known = tuple(key for key in (*_CITED, "kind", form.number, *form.needs, *form.may) if key)
    fault = _cited(row) or _unknown(row, known)
    if fault is not None:
        return fault
    for key in (form.number, *form.needs):
        if key and key not in row:
            return Fault(key, f"is missing; a row about {kind} needs it")
    if row["unit"] not in form.units:
        return Fault("unit", f"must be one of {', '.join(form.units)} for {kind}")
    for key in ("class", "figure", "text"):
        if key in row and not _text(row[key]):
            return Fault(key, "must be a text that says something")
    return _numbers(row) or _of_kind(Kind(kind), row)


def _numbers(row: Row) -> Fault | None:
    for key in NUMBERS:
        value = row.get(key)
        if value is None:
            continue
        if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < math.inf:
            return Fault(key, "must be a number")
        if key in _ABOVE_ZERO and value <= 0:
            return Fault(key, "must be above zero")
        if value < 0 and key == "at_most":
            return Fault(key, "must not be below zero")
    return None


def _of_kind(kind: Kind, row: Row) -> Fault | None:
    if kind is Kind.LIMITS:
        if ("half_width" in row) == ("percent_of_rise" in row):
            return Fault("half_width", "or percent_of_rise is needed, one of the two")
        if row.get("judged", "all") not in ("all", "reference"):
            return Fault("judged", 'must be "all" or "reference"')
    if kind is Kind.FIGURE:
        words = list(REQUIRABLE)
        if row["figure"] not in words:
            return Fault("figure", f"must be one of {', '.join(words)}{nearest(row['figure'], words)}")
        if (row["unit"] in TIME) != REQUIRABLE[row["figure"]].is_time:
            return Fault("unit", "must be one of time for figures of time, C or F for differences")
    if kind in (Kind.SENSORS, Kind.READINGS):
        key = FORMS[kind].number
        if not isinstance(row[key], int):
            return Fault(key, "must be a whole number")
    return None


def _cited(row: Row) -> Fault | None:
    for key in CITATION:
        if not _text(row.get(key)):
            return Fault(key, "is missing or no text: a number is used with its source only")
    if ("edition" in row) == ("editions" in row):
        return Fault("edition", "or editions is needed, one of the two")
    if "edition" in row and not _text(row["edition"]):
        return Fault("edition", "must be a text that says something")
    if "editions" in row and not (_texts(row["editions"]) and row["editions"]):
        return Fault("editions", "must be a list of texts")
    if row["standing"] not in (*STANDINGS, OWN):
        return Fault("standing", f"must be one of {', '.join((*STANDINGS, OWN))}")
    return None


def _unknown(row: Row, known: tuple[str, ...]) -> Fault | None:
    for key in row:
        if key not in known:
            near = nearest(key, list(known))
            return Fault(key, f"is no key of such a row{near}; known here: {', '.join(known)}")
    return None


def _text(value: object) -> bool:
    return isinstance(value, str) and bool(value.strip())


def _texts(value: object) -> bool:
    return isinstance(value, list) and all(_text(item) for item in value)


def editions_of(row: Mapping[str, object]) -> list[str]:
    """Every edition that a row holds for."""
    editions = row.get("editions")
    return [str(item) for item in editions] if isinstance(editions, list) else [str(row["edition"])]
