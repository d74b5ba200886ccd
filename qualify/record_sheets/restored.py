"""Return to service: whatever was changed for a test is put back, and two people say so."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from qualify.findings import nearest
from qualify.inputs import InputFile
from qualify.readings.numbers import POINT, is_number, value_of
from qualify.record_sheets.cells import CELL, Moment, moment, same_words
from qualify.record_sheets.tables import AS_WRITTEN, SheetColumns, SheetOptions, read_table

RESTORED_COLUMNS = SheetColumns(
    sheet="sheet of things restored",
    required=("changed", "as_found", "as_tested", "as_left", "by", "witness", "when"),
    optional=("challenge", "remark", "id"),
    marks=frozenset({"changed", "as_found", "as_left"}),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class RestoredLine:
    """One thing that was changed for a test: how it was found, tested and left, as written.

    `changed` says what: a limit that was moved, a signal simulated, a wire or bypass added.
    """

    file: str
    row: int
    changed: str
    as_found: str
    as_tested: str
    as_left: str
    by: str
    witness: str
    when: Moment | None
    challenge: str = ""
    remark: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenLine:
    """Something that is not shown to be restored, and why; `row` is None where no row speaks of it."""

    changed: str
    reason: str
    row: int | None = None


def read_restored(file: InputFile, options: SheetOptions = AS_WRITTEN) -> tuple[RestoredLine, ...]:
    """Read a sheet of things restored.

    Raises
    ------
    Refusal
        If its header is another, a row doesn't say what was changed, or a day can't be read.
    """
    lines = []
    for row in read_table(file, RESTORED_COLUMNS, options).rows:
        if not row["changed"]:
            raise CELL(text="", expected="what was changed for the test", **row.where("changed"))
        lines.append(
            RestoredLine(
                file=file.name,
                row=row.number,
                changed=row["changed"],
                as_found=row["as_found"],
                as_tested=row["as_tested"],
                as_left=row["as_left"],
                by=row["by"],
                witness=row["witness"],
                when=moment(row, "when", options),
                challenge=row["challenge"],
                remark=row["remark"],
            )
        )
    return tuple(lines)


def open_lines(planned: Sequence[str], rows: Sequence[RestoredLine]) -> tuple[OpenLine, ...]:
    """List what is not shown to be restored.

    Parameters
    ----------
    planned
        What the plan says will be changed for tests, in words; compared without regard to case.
    rows
        The lines as recorded. One that nobody planned must be restored too, and each of several lines
        about one thing.

    Returns
    -------
    tuple of OpenLine
        Empty only if every line was left as it was found, with name, witness and day.
    """
    left = []
    for line in dict.fromkeys(planned):
        if not any(same_words(line, row.changed) for row in rows):
            near = nearest(line, [row.changed for row in rows])
            left.append(OpenLine(changed=line, reason=f"no row says that it was restored{near}"))
    for row in rows:
        reason = _why_open(row)
        if reason:
            left.append(OpenLine(changed=row.changed, reason=reason, row=row.row))
    return tuple(left)


def _why_open(row: RestoredLine) -> str:
    blank = [
        words
        for words, value in (
            ("how it was found", row.as_found),
            ("how it was left", row.as_left),
            ("who restored it", row.by),
            ("who witnessed it", row.witness),
            ("when", row.when),
        )
        if not value
    ]
    reasons = [f"the row doesn't say {', '.join(blank)}"] if blank else []
    if row.as_found and row.as_left and not _as_before(row.as_found, row.as_left):
        reasons.append(f"it was found as '{row.as_found}' and left as '{row.as_left}'")
    if row.by and row.witness and same_words(row.by, row.witness):
        reasons.append(f"{row.by} can't witness what {row.by} did")
    return "; ".join(reasons)


def _as_before(found: str, left: str) -> bool:
    """Whether both say the same, in words or as numbers: 185 is 185.0."""
    if is_number(found, POINT) and is_number(left, POINT):
        return value_of(found, POINT) == value_of(left, POINT)
    return same_words(found, left)
