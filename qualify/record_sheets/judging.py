"""Rows of a record sheet against what they ask: one decision a row, from the closed set.

A row passes only if somebody recorded, on a day, what meets the limits or says the expected words, with an
instrument whose calibration was in force on that day. What lies beyond a limit fails, whatever else the row
lacks; anything less is not shown.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from qualify.figures.absent import Absent, Maybe
from qualify.record import Decision
from qualify.record_sheets.cells import same_words
from qualify.record_sheets.items import RecordItem

RELATIVE_SLACK = 1e-9
"""Equal to the limit meets it; a part in 10⁹ is what converting between units may add."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ItemJudged:
    """A row, and what it shows.

    Attributes
    ----------
    item
        The row.
    decision
        Pass, conditional, not shown or fail.
    open
        Whether something is still to be filled in.
    margin
        Distance to the nearer limit [the requirement's unit], positive inside; or why there is none.
    note
        Why it was decided so, in words.
    departure
        What about the instrument was not as it must be; "" if nothing was.
    """

    item: RecordItem
    decision: Decision
    open: bool
    margin: Maybe
    note: str
    departure: str = ""


def judge_item(item: RecordItem, on: date, *, accept_overdue: bool = False) -> ItemJudged:
    """Judge one row.

    Parameters
    ----------
    item
        The row.
    on
        The day of judging; a row that is dated after it is not shown.
    accept_overdue
        Whether the plan accepts an instrument past its due date: what it found inside the limits is then
        conditional instead of not shown.

    Returns
    -------
    ItemJudged
        An instrument is in force through its due date. An item beyond its limits fails although its
        instrument was overdue or nobody signed: less evidence never makes a finding better.
    """
    if not item.found:
        return _open(item, "nothing found is recorded")
    if item.low is None and item.high is None and not item.expected:
        return _open(item, "the row states no limit and no expected text, so nothing can be compared")
    met, margin, compared = _compared(item)
    lacking = _lacking(item, on)
    departure = _overdue(item)
    said = [compared, *lacking, *([departure] if departure else []), *_circumstances(item)]
    if not met:
        decision = Decision.FAIL
    elif lacking or (departure and not accept_overdue):
        decision = Decision.NOT_SHOWN
    else:
        decision = Decision.CONDITIONAL if departure else Decision.PASS
    return ItemJudged(
        item=item,
        decision=decision,
        open=bool(lacking),
        margin=margin,
        note="; ".join(said),
        departure=departure,
    )


def judge_items(
    items: Iterable[RecordItem], on: date, *, accept_overdue: bool = False
) -> tuple[ItemJudged, ...]:
    """Judge every row; `Decision.worst` of their decisions is the sheet's, "not shown" of none."""
    return tuple(judge_item(item, on, accept_overdue=accept_overdue) for item in items)


def _open(item: RecordItem, note: str) -> ItemJudged:
    return ItemJudged(item=item, decision=Decision.NOT_SHOWN, open=True, margin=Absent(note), note=note)


def _compared(item: RecordItem) -> tuple[bool, Maybe, str]:
    """Whether what was found is what was asked, the margin, and both in words."""
    if item.value_in_unit is None:
        met = same_words(item.found, item.expected)
        words = f"found '{item.found}', expected '{item.expected}'"
        return met, Absent("a text has no margin"), words
    value, unit = item.value_in_unit, f" {item.unit}" if item.unit.name else ""
    distances = [value - item.low] if item.low is not None else []
    distances += [item.high - value] if item.high is not None else []
    margin = min(distances)
    limits = [limit for limit in (item.low, item.high) if limit is not None]
    slack = RELATIVE_SLACK * max(abs(value), *map(abs, limits))
    asked = [f"at least {item.low:.10g}"] if item.low is not None else []
    asked += [f"at most {item.high:.10g}"] if item.high is not None else []
    converted = f" ({item.value:.10g} {item.unit_found})" if item.unit_found != item.unit else ""
    words = f"found {value:.10g}{unit}{converted}, asked {' and '.join(asked)}{unit}"
    return margin >= -slack, margin, words


def _lacking(item: RecordItem, on: date) -> list[str]:
    lacking = []
    if not item.by:
        lacking.append("who recorded it is missing")
    if item.when is None:
        lacking.append("when it was recorded is missing")
    elif item.when.day > on:
        lacking.append(
            f"it is dated {item.when.day.isoformat()}, after the day of judging ({on.isoformat()})"
        )
    return lacking


def _overdue(item: RecordItem) -> str:
    if item.due is None or item.when is None or item.when.day <= item.due:
        return ""
    instrument = item.instrument or "the instrument"
    return f"{instrument} was past its due date ({item.due.isoformat()}) on {item.when.day.isoformat()}"


def _circumstances(item: RecordItem) -> list[str]:
    said = []
    if item.simulated:
        said.append("shown with a simulated signal")
    if item.place == "factory":
        said.append("shown at the factory, not where the oven stands")
    return said
