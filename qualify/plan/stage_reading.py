"""Reading what a plan says of the stages besides its surveys: challenges, record sheets, what is restored."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

from qualify.findings import RefusalKind
from qualify.plan.keys import Keys
from qualify.plan.read_options import logger_options, read_options
from qualify.plan.stage_tests import (
    CHALLENGE_KINDS,
    Answer,
    Challenge,
    Circumstances,
    Forbidden,
    Moved,
    Place,
    Recorded,
    RestoreChoice,
    Restores,
    StageChoice,
    SwitchedChannel,
)
from qualify.readings.states import STATES

BEYOND_RATED = RefusalKind(
    "plan-challenge-beyond-rated",
    what="challenge '{name}' would drive the process to {limit:g}, past its rated limit of {rated:g}",
    why="The process is never driven past a rated limit to make a protection act.",
    mend='lower the limit to the process (moved = "limit", and the lowered limit).',
)
RATED_MISSING = RefusalKind(
    "plan-challenge-rated-missing",
    what="challenge '{name}' moves the process, and the plan gives no rated limit",
    why="The process is never driven past a rated limit to make a protection act.",
    mend='add `rated`; or lower the limit to the process (moved = "limit").',
)
CHALLENGE_TWICE = RefusalKind(
    "plan-challenge-twice",
    what="{what} '{name}' stands twice",
    why="What was shown must be told apart by its name.",
    mend="give each its own name.",
)


def read_stage(top: Keys, key: str) -> StageChoice:
    """Read the table of one stage: its record sheets, and who accepted its open items.

    Raises
    ------
    Refusal
        If a value is not of its kind.
    """
    table = top.table(key)
    if table is None:
        return StageChoice()
    found = StageChoice(
        records=table.texts("records"),
        proceed=table.text("proceed_with_open_items"),
        accept_overdue=table.yes_or_no("accept_overdue"),
        observed=table.text("observed") if key == "operation" else "",
        left_out=_left_out(table) if key == "performance" else (),
    )
    table.done()
    return found


def _left_out(table: Keys) -> tuple[tuple[str, str], ...]:
    found = []
    for item in table.tables("left_out"):
        run = item.text("run", why="It must be clear which run is left out.")
        found.append((run, item.text("reason", why="A run is left out of the set for a stated reason only.")))
        item.done()
    return tuple(found)


def read_restore(top: Keys) -> RestoreChoice:
    """Read what is changed for tests and must be put back.

    Raises
    ------
    Refusal
        If the list is empty, or a line stands twice.
    """
    table = top.table("return_to_service")
    if table is None:
        return RestoreChoice()
    planned = table.texts("changed")
    if not planned:
        raise table.missing("changed", "What is changed for a test is listed before it starts.")
    seen: set[str] = set()
    for line in planned:
        if line in seen:
            raise CHALLENGE_TWICE(what="the change", name=line, **table.where("changed"))
        seen.add(line)
    found = RestoreChoice(planned=planned, file=table.text("file"))
    table.done()
    return found


def read_challenges(top: Keys) -> tuple[Challenge, ...]:
    """Read every challenge of the plan.

    Raises
    ------
    Refusal
        If a value is not of its kind, a name stands twice, nothing is to answer, or the process would be
        driven past its rated limit.
    """
    seen: set[str] = set()
    found = []
    for table in top.tables("challenges"):
        name = table.text("name", why="A challenge is told apart by its name.")
        _once(table, "challenge", name, seen)
        found.append(_challenge(table, name))
        table.done()
    return tuple(found)


def _once(table: Keys, what: str, name: str, seen: set[str]) -> None:
    if name in seen:
        raise CHALLENGE_TWICE(what=what, name=name, **table.where("name"))
    seen.add(name)


def circumstances(table: Keys) -> Circumstances:
    """Where and with what a test was done."""
    return Circumstances(
        place=Place(table.choice("place", [item.value for item in Place], "site") or "site"),
        simulated=table.yes_or_no("simulated"),
        repeat_on_site=table.yes_or_no("repeat_on_site"),
    )


def recorded(table: Keys, *, needed: str = "") -> Recorded | None:
    """The logger files of a test; None where there are none and none are needed."""
    files = table.texts("files")
    if not files:
        if needed:
            raise table.missing("files", needed)
        return None
    # An analyser or a pressure gauge may be logged alone.
    read = replace(read_options(table), without_temperature=True)
    loggers = {
        name: replace(told, without_temperature=True) for name, told in logger_options(table, files).items()
    }
    return Recorded(files=files, read=read, loggers=loggers)


def with_states(found: Recorded, channels: Iterable[SwitchedChannel]) -> Recorded:
    """Tell the readers which columns hold states: "open" throughout is no broken sensor there."""
    told = {item.channel: STATES for item in channels if item.on}
    read = replace(found.read, column_units={**told, **found.read.column_units})
    return replace(found, read=read)


def _challenge(table: Keys, name: str) -> Challenge:
    kind = table.choice("kind", list(CHALLENGE_KINDS))
    if kind is None:
        raise table.missing("kind", "It says which protection is made to act.")
    answers = _answers(table)
    if not answers:
        raise table.missing("answers", "A challenge that nothing must answer shows nothing.")
    forbidden = tuple(_forbidden(item) for item in table.tables("must_not"))
    by_channel = any(item.channel is not None for item in answers) or bool(forbidden)
    files = recorded(table, needed="The recorded answers stand in its logger files." if by_channel else "")
    if files is None:
        table.take("units")
    elif files.files:
        switched_channels = [item.channel for item in forbidden]
        switched_channels += [item.channel for item in answers if item.channel is not None]
        files = with_states(files, switched_channels)
    moved = Moved(table.choice("moved", [item.value for item in Moved], "limit") or "limit")
    restores = table.choice("restores", [item.value for item in Restores])
    found = Challenge(
        name=name,
        kind=kind,
        circumstances=circumstances(table),
        recorded=files,
        quantity=table.text("quantity", why="The trip point is that of a quantity." if by_channel else ""),
        rising=(table.choice("driven", ["upwards", "downwards"], "upwards") == "upwards"),
        limit=table.number("limit"),
        limit_channel=table.text("limit_channel"),
        rated=table.number("rated"),
        moved=moved,
        start=table.moment("start"),
        end=table.moment("end"),
        reading_u=table.number("reading_standard_uncertainty", default=0.0, least=0.0) or 0.0,
        trip_low=table.number("trip_low"),
        trip_high=table.number("trip_high"),
        restores=None if restores is None else Restores(restores),
        reset_low=table.number("reset_low"),
        reset_high=table.number("reset_high"),
        dead_band_low=table.number("dead_band_low", least=0.0),
        reset_by_hand=table.moment("reset_by_hand"),
        observe_s=table.number("observe_s", default=0.0, least=0.0) or 0.0,
        answers=answers,
        forbidden=forbidden,
    )
    _check(table, found)
    return found


def _check(table: Keys, found: Challenge) -> None:
    if found.limit is not None and found.limit_channel:
        raise table.wrong("limit_channel", "needed beside limit: give one of the two")
    timed = any(item.channel is not None and item.within_s is not None for item in found.answers)
    if timed and found.limit is None and not found.limit_channel:
        raise table.missing("limit", "A time to answer counts from the crossing of the limit.")
    if found.moved is Moved.PROCESS:
        if found.rated is None:
            raise RATED_MISSING(name=found.name, **table.where("moved"))
        if found.limit is not None and (
            found.limit > found.rated if found.rising else found.limit < found.rated
        ):
            raise BEYOND_RATED(name=found.name, limit=found.limit, rated=found.rated, **table.where("limit"))
    if found.restores is not Restores.BY_HAND and found.reset_by_hand is not None:
        raise table.wrong("reset_by_hand", 'needed: that belongs to restores = "by hand"')


def _answers(table: Keys) -> tuple[Answer, ...]:
    seen: set[str] = set()
    found = []
    for item in table.tables("answers"):
        name = item.text("name", why="Each answer is judged by its name.")
        _once(item, "the answer", name, seen)
        channel = None if item.yes_or_no("observed") else switched(item)
        becomes = item.choice("becomes", ["on", "off"])
        if channel is not None and becomes is None:
            raise item.missing("becomes", "It must be clear which change is the answer.")
        found.append(
            Answer(
                name=name,
                channel=channel,
                becomes_on=becomes == "on",
                within_s=item.number("within_s", least=0.0),
            )
        )
        item.done()
    return tuple(found)


def _forbidden(table: Keys) -> Forbidden:
    name = table.text("name", why="What must not happen is judged by its name.")
    stays = table.choice("stays", ["on", "off"])
    found = Forbidden(name=name, channel=switched(table), stays_on=None if stays is None else stays == "on")
    table.done()
    return found


def switched(table: Keys) -> SwitchedChannel:
    """A channel that is on or off, by its words or by a threshold."""
    channel = table.text("channel", why="An answer is seen in a channel, or by a person (observed = true).")
    on, off = _words(table, "on"), _words(table, "off")
    threshold = table.number("threshold")
    if threshold is None and not (on and off):
        raise table.missing("on" if not on else "off", "The words of a channel's states are declared.")
    if threshold is not None and (on or off):
        raise table.wrong("threshold", "needed beside on and off: give one of the two")
    return SwitchedChannel(
        channel=channel,
        on=on,
        off=off,
        threshold=threshold,
        on_above=table.choice("on_when", ["above", "below"], "above") == "above",
        settle_s=table.number("settle_s", default=0.0, least=0.0) or 0.0,
        lasts_s=table.number("lasts_s", default=0.0, least=0.0) or 0.0,
    )


def _words(table: Keys, key: str) -> tuple[str, ...]:
    """Words of a state; numbers and truth values stand for the words that a file shows."""
    value = table.take(key)
    items: Iterable[Any] = value if isinstance(value, list) else [] if value is None else [value]
    return tuple(str(item).lower() if isinstance(item, bool) else str(item) for item in items)
