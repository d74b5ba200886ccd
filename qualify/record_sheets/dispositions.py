"""Dispositions read back: what was decided about each deviation. They never change a figure or decision."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

from qualify.findings import RefusalKind, nearest
from qualify.inputs import InputFile
from qualify.record_sheets.cells import Moment, moment, yes_no
from qualify.record_sheets.items import SAME_ID
from qualify.record_sheets.tables import AS_WRITTEN, SheetColumns, SheetOptions, read_table

DISPOSITION_COLUMNS = SheetColumns(
    sheet="sheet of dispositions",
    required=("id", "cause", "action", "by", "date", "closed"),
    optional=("remark",),
    marks=frozenset({"id", "cause", "action", "closed"}),
)
UNKNOWN_DEVIATION = RefusalKind(
    "disposition-unknown",
    what="there is no deviation '{id}'{near}",
    why="A disposition under a wrong id would leave its deviation open, or close another one.",
    mend="copy the id from the list of deviations; it has {known}.",
)
CLOSED_WITHOUT = RefusalKind(
    "disposition-closed-without",
    what="deviation '{id}' is closed without {missing}",
    why="Whoever closes a deviation says why it came about, what was done, and signs with the day.",
    mend="fill in the row, or write no under closed.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Disposition:
    """What a person decided about one deviation; `closed` is False where the row doesn't say."""

    id: str
    row: int
    cause: str
    action: str
    by: str
    date: Moment | None
    closed: bool
    remark: str = ""


def read_dispositions(
    file: InputFile, deviations: Collection[str], options: SheetOptions = AS_WRITTEN
) -> Mapping[str, Disposition]:
    """Read dispositions by the deviation's id.

    Parameters
    ----------
    file
        CSV or .xlsx.
    deviations
        The ids that exist; one without a row stays open.
    options
        What was told about dates.

    Raises
    ------
    Refusal
        If an id is unknown or stands twice, or a deviation is closed without cause, action, name or day.
    """
    found: dict[str, Disposition] = {}
    for row in read_table(file, DISPOSITION_COLUMNS, options).rows:
        name = row["id"]
        if name not in deviations:
            known = ", ".join(deviations) or "no entry"
            near = nearest(name, list(deviations))
            raise UNKNOWN_DEVIATION(id=name, near=near, known=known, **row.where("id"))
        if name in found:
            raise SAME_ID(id=name, first=found[name].row, **row.where("id"))
        made = Disposition(
            id=name,
            row=row.number,
            cause=row["cause"],
            action=row["action"],
            by=row["by"],
            date=moment(row, "date", options),
            closed=bool(yes_no(row, "closed")),
            remark=row["remark"],
        )
        missing = [word for word in ("cause", "action", "by", "date") if not row[word]]
        if made.closed and missing:
            raise CLOSED_WITHOUT(id=name, missing=", ".join(missing), **row.where(missing[0]))
        found[name] = made
    return found
