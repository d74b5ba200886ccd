"""The stages in a few words, for the front page and the screen; what is not restored comes first."""

from __future__ import annotations

from collections.abc import Iterable

from qualify.record import Record, StageRecord

DO_NOT_USE = "DO NOT USE: changed for a test, and not recorded as put back"


def left_in_place(record: Record) -> tuple[str, ...]:
    """What was changed for a test and is not recorded as put back, with the reason of each."""
    return tuple(line for stage in record.stages for line in stage.not_restored)


def still_owed(record: Record) -> tuple[str, ...]:
    """What must still be repeated, of all stages."""
    return tuple(line for stage in record.stages for line in stage.owed)


def counted(number: int, word: str) -> str:
    """Count things: 1 test, 2 tests."""
    return f"{number} {word}{'s' * (number != 1)}"


def tally(decisions: Iterable[str]) -> str:
    """Count decisions: "2 pass, 1 fail"; "none" of none."""
    found = [str(decision) for decision in decisions]
    return ", ".join(f"{found.count(word)} {word}" for word in dict.fromkeys(found)) or "none"


def words_of_stage(stage: StageRecord) -> str:
    """Say in a line what a stage holds, what is open and owed, and what it hangs on.

    What is not restored is left out: it is said before everything else.
    """
    held = [counted(len(stage.surveys), "survey")] if stage.surveys else []
    if stage.tests:
        held.append(
            f"{counted(len(stage.tests), 'test')} ({tally(str(test.verdict) for test in stage.tests)})"
        )
    parts = [", ".join(held)] if held else []
    if stage.open_items:
        parts.append(f"{len(stage.open_items)} open")
    if stage.owed:
        parts.append(f"{len(stage.owed)} still owed")
    parts += [remark for remark in stage.remarks if not remark.startswith("do not use")]
    return " · ".join(parts)
