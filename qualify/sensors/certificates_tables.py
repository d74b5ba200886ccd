"""Certificates files as rows of named cells, whatever their form: CSV, .xlsx or TOML."""

from __future__ import annotations

import csv
import io
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from qualify.findings import RefusalKind, nearest
from qualify.inputs import InputFile

COLUMNS = (
    "channel",
    "sensor",
    "temperature",
    "reference_temperature",
    "correction",
    "error",
    "expanded_uncertainty",
    "coverage_factor",
    "unit",
    "of",
    "correction_unit",
    "uncertainty_unit",
    "certificate",
    "laboratory",
    "calibrated",
    "due",
    "type",
    "junction",
    "spool",
    "sample",
    "immersion_mm",
    "highest_temperature",
    "uses",
    "hours",
)
POINT_KEYS = (
    *("temperature", "reference_temperature", "correction", "error", "expanded_uncertainty"),
    "coverage_factor",
)
"""What a point of a TOML certificate may hold; the last two may stand once for the whole certificate."""

NOT_A_CERTIFICATES_FILE = RefusalKind(
    "certificates-header",
    what="the header row is not that of a certificates file: {problem}",
    why="A correction with a wrong sign or place doubles the error that it should take away.",
    mend="write the header channel,sensor,temperature,correction,expanded_uncertainty,coverage_factor,unit "
    "(or reference_temperature for temperature, error for correction); all columns: docs/sensors.md.",
)
DEVIATION_COLUMN = RefusalKind(
    "certificates-deviation",
    what="a column is called '{name}', which leaves its sign open",
    why="Laboratories print true − indicated and indicated − true under that word.",
    mend="rename the column: `correction` for true − indicated, `error` for indicated − true.",
)
NOT_TOML = RefusalKind(
    "certificates-not-toml",
    what="the certificates can't be read: {problem}",
    why="Nothing of them can be trusted from there on.",
    mend="mend it; each [[certificate]] table needs points = [{{ temperature = 50, correction = 0.1 }}].",
)


@dataclass(frozen=True, slots=True)
class Row:
    """One calibration point as written: its cells by column, and its place in the file.

    `number` is the line, the sheet's row, or in TOML the point's number; `key` the place in TOML.
    """

    file: str
    number: int
    cells: Mapping[str, str]
    key: str = ""

    def where(self, column: str) -> dict[str, Any]:
        """Place of a cell for a finding."""
        if self.key:
            return {"file": self.file, "key": f"{self.key}.{column}"}
        return {"file": self.file, "row": self.number, "column": column}


@dataclass(frozen=True, slots=True)
class Table:
    """The rows of a file; decimal commas are read where the form leaves room for them."""

    rows: tuple[Row, ...]
    decimal_comma: bool = False


def read_table(file: InputFile) -> Table:
    """Read the rows of a certificates file.

    Raises
    ------
    Refusal
        If the header leaves a sign open, lacks a column or has an unknown one, or nothing stands below it.
    """
    if file.content.startswith(b"PK\x03\x04"):
        from qualify.sensors.certificates_xlsx import sheets

        return _from_sheets(file.name, sheets(file))
    text = _decode(file)
    if file.path.suffix.casefold() == ".toml":
        return _from_toml(file.name, text)
    return _from_csv(file.name, text)


def _decode(file: InputFile) -> str:
    for encoding in ("utf-8-sig", "cp1252"):
        try:
            return file.data.decode(encoding)
        except UnicodeDecodeError:
            continue
    raise NOT_A_CERTIFICATES_FILE(file=file.name, problem="the file is not text")


def _names(cells: Sequence[str]) -> list[str]:
    return [name.strip().casefold().replace(" ", "_") for name in cells]


def is_remark(cells: Sequence[str]) -> bool:
    """Whether a row is blank or a remark: its first filled cell begins with #."""
    return next((cell.strip() for cell in cells if cell.strip()), "#").startswith("#")


# ---- CSV ----


def _from_csv(file: str, text: str) -> Table:
    lines = (line for line in text.splitlines() if line.strip() and not line.lstrip(' "').startswith("#"))
    separator = max(",;\t", key=next(lines, "").count)
    reader = csv.reader(io.StringIO(text), delimiter=separator)
    written = [(reader.line_num, cells) for cells in reader]
    rows = _below_header(file, written)
    return Table(tuple(rows), decimal_comma=separator != ",")


def _below_header(file: str, written: Sequence[tuple[int, list[str]]]) -> Iterator[Row]:
    filled = [(number, cells) for number, cells in written if not is_remark(cells)]
    if not filled:
        raise NOT_A_CERTIFICATES_FILE(file=file, problem="the file is empty")
    line, cells = filled[0]
    header = _names(cells)
    while header and not header[-1]:
        header.pop()
    _check_header(file, line, header)
    if len(filled) == 1:
        raise NOT_A_CERTIFICATES_FILE(file=file, row=line, problem="no calibration point stands below it")
    for number, values in filled[1:]:
        if any(value.strip() for value in values[len(header) :]):
            problem = (
                f"row {number} has more cells than the header; put quotation marks round a comma in text"
            )
            raise NOT_A_CERTIFICATES_FILE(file=file, row=number, problem=problem)
        padded = [value.strip() for value in values[: len(header)]] + [""] * (len(header) - len(values))
        yield Row(file, number, dict(zip(header, padded, strict=True)))


def _check_header(file: str, line: int, header: list[str]) -> None:
    def wrong(problem: str) -> Exception:
        return NOT_A_CERTIFICATES_FILE(file=file, row=line, problem=problem)

    for name in header:
        _check_name(file, name, list(COLUMNS), row=line, column=name)
    if len(set(header)) < len(header):
        raise wrong("a column stands twice")
    for one, other in (("temperature", "reference_temperature"), ("correction", "error")):
        if (one in header) == (other in header):
            raise wrong(f"it needs one of `{one}` and `{other}`, not both, not none")
    if not {"channel", "sensor", "spool"} & set(header):
        raise wrong("it names neither `channel` nor `sensor`")
    if "unit" not in header:
        raise wrong("it lacks `unit`")


def _check_name(file: str, name: str, known: list[str], **where: Any) -> None:
    if name in ("deviation", "difference"):
        raise DEVIATION_COLUMN(file=file, name=name, **where)
    if name not in known:
        where.pop("column", None)
        problem = f"unknown column '{name}'{nearest(name, known)}"
        raise NOT_A_CERTIFICATES_FILE(file=file, problem=problem, **where)


# ---- .xlsx ----


def _from_sheets(file: str, found: Sequence[Sequence[tuple[int, list[str]]]]) -> Table:
    """The first sheet with a header row; where none has one, the first sheet's is refused."""
    for written in found:
        header = next((_names(cells) for _, cells in written if not is_remark(cells)), [])
        if {"temperature", "reference_temperature"} & set(header):
            return Table(tuple(_below_header(file, written)))
    return Table(tuple(_below_header(file, found[0] if found else [])))


# ---- TOML ----


def _from_toml(file: str, text: str) -> Table:
    try:
        document = tomllib.loads(text)
    except RecursionError:
        raise NOT_TOML(file=file, problem="its brackets are nested too deep") from None
    except ValueError as error:
        raise NOT_TOML(file=file, problem=str(error)) from None
    for key in document:
        if key != "certificate":
            raise NOT_TOML(file=file, key=key, problem=f"unknown key{nearest(key, ['certificate'])}")
    tables = document.get("certificate", [])
    if not isinstance(tables, list) or not tables or not all(isinstance(item, dict) for item in tables):
        raise NOT_TOML(file=file, problem="it holds no [[certificate]] table")
    rows: list[Row] = []
    for index, table in enumerate(tables, start=1):
        rows += _of_certificate(file, f"certificate[{index}]", table, len(rows))
    return Table(tuple(rows))


def _of_certificate(file: str, place: str, table: Mapping[str, Any], before: int) -> Iterator[Row]:
    head_keys = ["number", "points", *(c for c in COLUMNS if c != "certificate" and c not in POINT_KEYS[:4])]
    for key in table:
        _check_name(file, key, head_keys, key=f"{place}.{key}")
    head = {
        "certificate" if key == "number" else key: value for key, value in table.items() if key != "points"
    }
    points = table.get("points")
    if not isinstance(points, list) or not points or not all(isinstance(item, dict) for item in points):
        raise NOT_TOML(file=file, key=f"{place}.points", problem="the certificate has no list of points")
    for number, point in enumerate(points, start=1):
        where = f"{place}.points[{number}]"
        for key in point:
            _check_name(file, key, list(POINT_KEYS), key=f"{where}.{key}")
        for one, other in (("temperature", "reference_temperature"), ("correction", "error")):
            if (one in point) == (other in point):
                problem = f"a point needs one of `{one}` and `{other}`, not both, not none"
                raise NOT_TOML(file=file, key=where, problem=problem)
        cells = {key: as_text(value) for key, value in (head | point).items()}
        yield Row(file, before + number, cells, where)


def as_text(value: Any) -> str:
    """A value of a sheet or of TOML as a CSV would hold it; numbers keep every digit."""
    if value is None:
        return ""
    if isinstance(value, datetime) and not (value.hour or value.minute or value.second):
        return value.date().isoformat()
    if isinstance(value, (datetime, date)):
        return value.isoformat()
    if isinstance(value, float) and value.is_integer():
        # A sheet knows no whole numbers: sensor 101 is stored as 101.0.
        return str(int(value))
    return str(value).strip()
