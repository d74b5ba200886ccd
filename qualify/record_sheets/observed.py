"""Answers that a person observed during a challenge: a lamp, a horn, a valve that no channel records."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from qualify.findings import RefusalKind, nearest
from qualify.inputs import InputFile
from qualify.record_sheets.cells import CELL, same_words, time_text, yes_no
from qualify.record_sheets.tables import AS_WRITTEN, SheetColumns, SheetOptions, SheetRow, read_table

OBSERVED_COLUMNS = SheetColumns(
    sheet="sheet of observed answers",
    required=("challenge", "answer", "seen", "observer", "witness", "time", "remark"),
    optional=("id",),
    marks=frozenset({"challenge", "answer", "seen"}),
)
UNKNOWN_CHALLENGE = RefusalKind(
    "observed-unknown",
    what="the plan has no {kind} '{name}'{near}",
    why="An answer under a wrong name would be missing where it belongs.",
    mend="copy the name from the plan; it has {known}.",
)
SAME_ANSWER = RefusalKind(
    "observed-twice",
    what="challenge '{challenge}', answer '{answer}' stands in row {first} already",
    why="Two rows may contradict each other, and which of them holds can't be told.",
    mend="keep one row; a repeated test is a challenge of its own.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class ObservedAnswer:
    """One answer to a challenge as a person saw it; `seen` is None while the row is open.

    `time` is as written, with or without a day; it is checked but not compared with a recording.
    """

    file: str
    row: int
    challenge: str
    answer: str
    seen: bool | None
    observer: str
    witness: str
    time: str
    remark: str = ""

    @property
    def why_open(self) -> str:
        """What the row still lacks; "" if nothing. An answer that was not seen needs no witness."""
        needed = [("whether it was seen", self.seen is not None), ("who observed it", bool(self.observer))]
        if self.seen is not False:
            needed += [("who witnessed it", bool(self.witness))]
        needed += [("at what time", bool(self.time))]
        blank = [words for words, there in needed if not there]
        if blank:
            return f"the row doesn't say {', '.join(blank)}"
        if self.seen and same_words(self.observer, self.witness):
            return f"{self.observer} can't witness what {self.observer} observed"
        return ""


def read_observed(
    file: InputFile,
    planned: Mapping[str, Sequence[str]] | None = None,
    options: SheetOptions = AS_WRITTEN,
) -> Mapping[str, tuple[ObservedAnswer, ...]]:
    """Read observed answers by challenge.

    Parameters
    ----------
    file
        CSV or .xlsx.
    planned
        The answers that each challenge of the plan expects to be observed; None accepts any name. Names are
        compared without regard to case and given back as the plan writes them.
    options
        What was told about dates.

    Raises
    ------
    Refusal
        If a challenge or answer is not in the plan, or one answer stands twice.
    """
    found: dict[str, dict[str, ObservedAnswer]] = {}
    for row in read_table(file, OBSERVED_COLUMNS, options).rows:
        challenge = _known(row, "challenge", None if planned is None else list(planned))
        answer = _known(row, "answer", None if planned is None else planned[challenge])
        answers = found.setdefault(challenge, {})
        key = answer.casefold()
        if key in answers:
            first = answers[key].row
            raise SAME_ANSWER(challenge=challenge, answer=answer, first=first, **row.where("answer"))
        answers[key] = ObservedAnswer(
            file=file.name,
            row=row.number,
            challenge=challenge,
            answer=answer,
            seen=yes_no(row, "seen"),
            observer=row["observer"],
            witness=row["witness"],
            time=time_text(row, "time", options),
            remark=row["remark"],
        )
    return {challenge: tuple(answers.values()) for challenge, answers in found.items()}


def _known(row: SheetRow, column: str, names: Sequence[str] | None) -> str:
    text = row[column]
    if not text:
        raise CELL(text="", expected=f"the name of the {column}", **row.where(column))
    if names is None:
        return text
    for name in names:
        if same_words(name, text):
            return name
    known = ", ".join(names) or "none"
    raise UNKNOWN_CHALLENGE(
        kind=column, name=text, near=nearest(text, list(names)), known=known, **row.where(column)
    )
