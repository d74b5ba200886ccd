"""Record sheets of an installation: one row a requirement and what was found → frozen items."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from qualify.findings import Doubt, DoubtKind, Refusal, RefusalKind, nearest
from qualify.inputs import InputFile, load
from qualify.readings.numbers import Marks
from qualify.record_sheets.cells import (
    CELL,
    Moment,
    find_decimal_mark,
    moment,
    number,
    one_of,
    yes_no,
)
from qualify.record_sheets.quantities import NO_UNIT, SheetUnit, convert, find_unit, unit_names
from qualify.record_sheets.tables import AS_WRITTEN, SheetColumns, SheetOptions, SheetRow, read_table

ITEM_COLUMNS = SheetColumns(
    sheet="record sheet",
    required=(
        *("item", "requirement", "low", "high", "expected", "unit", "found", "unit_found"),
        *("instrument", "due", "by", "when", "remark", "evidence"),
    ),
    optional=("stage", "place", "simulated", "id"),
    marks=frozenset({"item", "found"}),
)
STAGES = ("installation", "operation", "performance")
PLACES = ("factory", "site")

UNIT_UNKNOWN = RefusalKind(
    "record-sheet-unit-unknown",
    what="'{text}' is not a unit that is known here{near}",
    why="A number in an unknown unit can't be held against a limit, and units are never guessed.",
    mend="write the unit as docs/record_sheets.md lists it; capitals matter in mΩ and MΩ, mA, MPa.",
)
UNIT_DIFFERS = RefusalKind(
    "record-sheet-unit-differs",
    what="found in {found} ({found_kind}), but required in {required} ({required_kind})",
    why="The two measure different things, and no factor turns one into the other.",
    mend="correct the unit; for a pressure say in both columns whether it is gauge (bar g, psig) or absolute "
    "(bar a, psia), for a gas whether its flow is normal (Nm³/h).",
)
LIMITS = RefusalKind(
    "record-sheet-limits",
    what="{problem}",
    why="What the row asks for can't be told.",
    mend="correct the row; write a text to be met and limits of a number in two rows.",
)
SAME_ID = RefusalKind(
    "record-sheet-same-id",
    what="'{id}' stands in row {first} already",
    why="Deviations and signatures refer to a row by its id.",
    mend="give each row an id of its own.",
)
EVIDENCE_MISSING = RefusalKind(
    "record-sheet-evidence",
    what="there is no file '{name}' beside the sheet",
    why="The row rests on it, and the pack must hold it.",
    mend="put the file there (its path counts from the sheet's folder; several are set apart by ;), or "
    "take its name out of the row.",
)

NO_INSTRUMENT = DoubtKind(
    "record-sheet-no-instrument",
    "'{item}' was measured, but with which instrument isn't said; the value stands on the word of {by}",
)
NO_DUE_DATE = DoubtKind(
    "record-sheet-no-due-date",
    "'{item}' was measured with {instrument}, whose calibration has no due date here; whether it was in "
    "force can't be told",
)


@dataclass(frozen=True, slots=True)
class Evidence:
    """A file that a row names, as it was read: its path from the sheet's folder, and its hash."""

    name: str
    sha256: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordItem:
    """One row of a record sheet.

    Attributes
    ----------
    file, row
        Where it stands.
    id
        The row's own, or the file's stem and the row.
    item, requirement
        What is looked at, and what is asked of it, in words.
    low, high
        Limits [`unit`]; None where there is none on that side.
    expected
        A text that `found` must say; "" where limits are asked or nothing is.
    unit, unit_found
        Of the limits, and of what was found.
    found
        As it was written; "" while the row is open.
    value
        The number found [`unit_found`]; None without limits or while the row is open.
    value_in_unit
        The same [`unit`].
    instrument, due
        What it was measured with, and the last day on which its calibration is in force.
    by, when
        Who recorded it, and on which day.
    simulated
        Whether it was shown with a simulated signal; None where the sheet doesn't say.
    stage, place
        "installation", "operation" or "performance"; "factory" or "site"; "" where the sheet doesn't say.
    evidence
        Files that the row names.
    """

    file: str
    row: int
    id: str
    item: str
    requirement: str
    low: float | None
    high: float | None
    expected: str
    unit: SheetUnit
    found: str
    unit_found: SheetUnit
    value: float | None
    value_in_unit: float | None
    instrument: str
    due: date | None
    by: str
    when: Moment | None
    remark: str
    evidence: tuple[Evidence, ...] = ()
    stage: str = ""
    place: str = ""
    simulated: bool | None = None

    @property
    def measured(self) -> bool:
        """Whether a number with a unit was found."""
        return self.value is not None and self.unit != NO_UNIT


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordSheet:
    """A sheet's items in their order, the files that they rest on, and doubts."""

    file: InputFile
    items: tuple[RecordItem, ...]
    evidence: tuple[InputFile, ...]
    doubts: tuple[Doubt, ...]


def load_evidence(path: Path) -> InputFile:
    """Load a file that a row names."""
    return load(path, "evidence")


def read_items(
    file: InputFile,
    options: SheetOptions = AS_WRITTEN,
    fetch: Callable[[Path], InputFile] = load_evidence,
) -> RecordSheet:
    """Read a record sheet.

    Parameters
    ----------
    file
        CSV or .xlsx; columns as in docs/record_sheets.md.
    options
        What was told about marks and dates.
    fetch
        Loads a file that a row names, or refuses.

    Returns
    -------
    RecordSheet
        Every row below the header but remarks, judged by `judge_item`.

    Raises
    ------
    Refusal
        If anything in it can be read in two ways or not at all, two ids are the same, units are of
        different kinds, or a file that a row names isn't there.
    """
    table = read_table(file, ITEM_COLUMNS, options)
    rows = table.rows
    cells = [(row, column) for row in rows for column in ("low", "high")]
    cells += [(row, "found") for row in rows if row["low"] or row["high"]]
    marks = find_decimal_mark(cells, options)
    files: dict[str, InputFile] = {}
    items = tuple(_item(file, row, marks, options, files, fetch) for row in rows)
    _refuse_same_ids(rows, items)
    evidence = tuple({str(found.path): found for found in files.values()}.values())
    return RecordSheet(file=file, items=items, evidence=evidence, doubts=tuple(_doubts(items)))


def _item(
    file: InputFile,
    row: SheetRow,
    marks: Marks,
    options: SheetOptions,
    files: dict[str, InputFile],
    fetch: Callable[[Path], InputFile],
) -> RecordItem:
    if not row["item"]:
        raise CELL(text="", expected="the name of what is looked at", **row.where("item"))
    low = number(row, "low", marks, unit_column="unit") if row["low"] else None
    high = number(row, "high", marks, unit_column="unit") if row["high"] else None
    limited = low is not None or high is not None
    if limited and row["expected"]:
        raise LIMITS(problem="the row asks for limits and for a text", **row.where("expected"))
    if low is not None and high is not None and low > high:
        raise LIMITS(
            problem=f"the low limit {row['low']} is above the high limit {row['high']}", **row.where("low")
        )
    unit = _unit(row, "unit")
    unit_found = _unit(row, "unit_found") if row["unit_found"] else unit
    if unit.kind != unit_found.kind or (not limited and unit != unit_found):
        raise UNIT_DIFFERS(
            found=unit_found.name or "no unit",
            found_kind=unit_found.kind,
            required=unit.name or "no unit",
            required_kind=unit.kind if limited or unit.kind != unit_found.kind else "compared as text",
            **row.where("unit_found"),
        )
    value = number(row, "found", marks, unit_column="unit_found") if limited and row["found"] else None
    due = moment(row, "due", options)
    return RecordItem(
        file=file.name,
        row=row.number,
        id=row["id"] or f"{file.stem}-{row.number}",
        item=row["item"],
        requirement=row["requirement"],
        low=low,
        high=high,
        expected=row["expected"],
        unit=unit,
        found=row["found"],
        unit_found=unit_found,
        value=value,
        value_in_unit=None if value is None else convert(value, unit_found, unit),
        instrument=row["instrument"],
        due=None if due is None else due.day,
        by=row["by"],
        when=moment(row, "when", options),
        remark=row["remark"],
        evidence=_evidence(file, row, files, fetch),
        stage=one_of(row, "stage", STAGES),
        place=one_of(row, "place", PLACES),
        simulated=yes_no(row, "simulated"),
    )


def _unit(row: SheetRow, column: str) -> SheetUnit:
    unit = find_unit(row[column])
    if unit is None:
        raise UNIT_UNKNOWN(text=row[column], near=nearest(row[column], unit_names()), **row.where(column))
    return unit


def _evidence(
    file: InputFile, row: SheetRow, files: dict[str, InputFile], fetch: Callable[[Path], InputFile]
) -> tuple[Evidence, ...]:
    found = []
    for name in (part.strip() for part in row["evidence"].split(";")):
        if not name:
            continue
        if name not in files:
            files[name] = _fetched(file, row, name, fetch)
        found.append(Evidence(name, files[name].sha256))
    return tuple(found)


def _fetched(file: InputFile, row: SheetRow, name: str, fetch: Callable[[Path], InputFile]) -> InputFile:
    # A sheet that was filled in on Windows may be judged elsewhere.
    for spelling in dict.fromkeys((name, name.replace("\\", "/"))):
        try:
            return fetch(file.path.parent / spelling)
        except (Refusal, ValueError):
            continue
    raise EVIDENCE_MISSING(name=name, **row.where("evidence"))


def _refuse_same_ids(rows: Sequence[SheetRow], items: Sequence[RecordItem]) -> None:
    first: dict[str, int] = {}
    for row, item in zip(rows, items, strict=True):
        key = item.id.casefold()
        if key in first:
            raise SAME_ID(id=item.id, first=first[key], **row.where("id"))
        first[key] = row.number


def _doubts(items: Sequence[RecordItem]) -> list[Doubt]:
    doubts = []
    for item in items:
        if not item.measured:
            continue
        if not item.instrument:
            doubts.append(
                NO_INSTRUMENT(
                    file=item.file, row=item.row, column="instrument", item=item.item, by=item.by or "nobody"
                )
            )
        elif item.due is None:
            doubts.append(
                NO_DUE_DATE(
                    file=item.file, row=item.row, column="due", item=item.item, instrument=item.instrument
                )
            )
    return doubts
