"""Sheets to be filled in: an installation's rows by kind of oven, and sheets for a plan's own lines."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from qualify.findings import RefusalKind
from qualify.record_sheets.dispositions import DISPOSITION_COLUMNS
from qualify.record_sheets.items import ITEM_COLUMNS
from qualify.record_sheets.observed import OBSERVED_COLUMNS
from qualify.record_sheets.restored import RESTORED_COLUMNS
from qualify.record_sheets.tables import SheetColumns
from qualify.record_sheets.template_rows import GROUPS, INTERLOCK, WHO_GOVERNS

Rows = tuple[tuple[str, ...], ...]
"""A sheet: remarks (one cell each, beginning with #), the header, and the rows below it."""

KINDS = tuple(GROUPS)
FORMS = ("csv", "xlsx")

CAN_NOT_WRITE = RefusalKind(
    "record-sheet-template",
    what="the sheet '{path}' can't be written: {reason}",
    why="What stands there must not be lost, and half a sheet is none.",
    mend="choose a new name in a folder that you may write to.",
)

_ITEM_REMARKS = (
    "One row a requirement. Write low, high or both, or a text under expected; then what was found.",
    "found holds the number or text alone; a number in another unit names it under unit_found.",
    "Days are written such as 2026-03-02.",
    "A row without found, by or when is open and never passes. Rows that don't apply: delete them.",
    "evidence names files beside this sheet, several set apart by ;",
)


def template(*kinds: str) -> Rows:
    """The rows of an installation's record sheet.

    Parameters
    ----------
    kinds
        Any of "any", "water-cooled", "inert-gas", "clean"; what belongs to every oven is always there.

    Returns
    -------
    Rows
        Cautions stand as remarks above the rows whose work can hurt someone; the sheet reads as it is, every
        row open.

    Raises
    ------
    ValueError
        If a kind is not one of these.
    """
    for kind in kinds:
        if kind not in GROUPS:
            raise ValueError(kind)
    columns = ("id", "stage", "place", *ITEM_COLUMNS.required, "simulated")
    rows: list[tuple[str, ...]] = [(f"# {remark}",) for remark in (*_ITEM_REMARKS, WHO_GOVERNS)]
    rows.append(columns)
    for kind in dict.fromkeys(("any", *kinds)):
        for group in GROUPS[kind]:
            rows.append((f"# {group.heading}",))
            rows += [(f"# CAUTION {caution}",) for caution in group.cautions]
            for asked in group.rows:
                cells = {
                    "id": asked.id,
                    "stage": "installation",
                    "place": "site",
                    "item": asked.item,
                    "requirement": asked.requirement,
                    "expected": asked.expected,
                    "unit": asked.unit,
                }
                rows.append(_row(columns, cells))
    return tuple(rows)


def restored_sheet(planned: Iterable[str]) -> Rows:
    """A sheet of things restored, with a row for each thing that the plan changes for a test."""
    remarks = (
        "# One row a thing that was changed for a test: how it was found, tested and left.",
        f"# CAUTION {INTERLOCK}",
    )
    return _sheet(RESTORED_COLUMNS, remarks, [{"changed": line} for line in planned])


def observed_sheet(planned: Mapping[str, Sequence[str]]) -> Rows:
    """A sheet of observed answers, with a row for each answer of each challenge."""
    remarks = ("# One row an answer that a person watches for; seen is yes or no.", f"# CAUTION {INTERLOCK}")
    cells = [{"challenge": name, "answer": answer} for name, answers in planned.items() for answer in answers]
    return _sheet(OBSERVED_COLUMNS, remarks, cells)


def disposition_sheet(deviations: Iterable[str]) -> Rows:
    """A sheet of dispositions, with a row for each deviation."""
    remarks = ("# One row a deviation; closed is yes or no, and yes needs cause, action, name and day.",)
    return _sheet(DISPOSITION_COLUMNS, remarks, [{"id": name} for name in deviations])


def _sheet(columns: SheetColumns, remarks: Sequence[str], cells: Sequence[Mapping[str, str]]) -> Rows:
    header = columns.required
    return (*((remark,) for remark in remarks), header, *(_row(header, row) for row in cells))


def _row(columns: Sequence[str], cells: Mapping[str, str]) -> tuple[str, ...]:
    return tuple(cells.get(column, "") for column in columns)


def sheet_bytes(rows: Rows, form: str) -> bytes:
    """A sheet as the bytes of a file.

    Parameters
    ----------
    rows
        From one of the functions above.
    form
        "csv" (UTF-8, commas, line feeds) or "xlsx".
    """
    if form not in FORMS:
        raise ValueError(form)
    if form == "xlsx":
        from qualify.record_sheets.workbook import workbook_of

        header = next(number for number, row in enumerate(rows) if not row[0].startswith("#"))
        return workbook_of(rows, "Record", header=header)
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(rows)
    return text.getvalue().encode("utf-8")


def write_sheet(path: Path, rows: Rows, form: str) -> None:
    """Write a sheet to be filled in.

    Raises
    ------
    Refusal
        If something stands there already, or it can't be written.
    """
    content = sheet_bytes(rows, form)
    try:
        with path.open("xb") as file:
            file.write(content)
    except OSError as error:
        reason = "something stands there already" if isinstance(error, FileExistsError) else error.strerror
        raise CAN_NOT_WRITE(path=path.name, reason=reason) from None
