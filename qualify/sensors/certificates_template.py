"""A certificates file to start from: CSV, .xlsx or TOML, with an invented laboratory."""

from __future__ import annotations

import csv
import io
from pathlib import Path

from qualify.findings import RefusalKind

FORMS = ("csv", "xlsx", "toml")
CAN_NOT_WRITE = RefusalKind(
    "certificates-template",
    what="the template '{path}' can't be written: {reason}",
    why="What stands there must not be lost, and half a template is none.",
    mend="choose a new name in a folder that you may write to.",
)

REMARKS = (
    "INVENTED: the laboratory, numbers and values below do not exist; put your certificates in their place.",
    "One row a calibration point. temperature is the indication (or reference_temperature, the true one);",
    "correction is true - indicated (or error, indicated - true); unit is C or F.",
    "of is sensor, channel or loop. A spool needs the samples of both of its ends.",
)
HEADER = (
    *("certificate", "laboratory", "calibrated", "due", "of", "channel", "sensor", "type", "junction"),
    *("spool", "sample", "immersion_mm", "temperature", "correction", "expanded_uncertainty"),
    *("coverage_factor", "unit", "highest_temperature", "uses", "hours"),
)
_LABORATORY = "Fernhollow Calibration (invented)"
_DATES = ("2026-01-15", "2027-01-15")
_SENSOR = ("INV-1001", _LABORATORY, *_DATES, "sensor", "", "S-01", "K", "0 C", "", "", 300)
_SAMPLES = [
    ("INV-1002", _LABORATORY, *_DATES, "sensor", "", "", "K", "0 C", "SP-7", sample, 300)
    for sample in ("first end", "last end")
]
_ROWS: tuple[tuple[object, ...], ...] = (
    (*_SENSOR, 50, 0.2, 0.6, 2, "C", 210, 14, 60),
    (*_SENSOR, 200, -0.5, 0.6, 2, "C", 210, 14, 60),
    (*_SAMPLES[0], 50, 0.1, 0.6, 2, "C", "", "", ""),
    (*_SAMPLES[0], 200, -0.3, 0.6, 2, "C", "", "", ""),
    (*_SAMPLES[1], 50, 0.3, 0.6, 2, "C", "", "", ""),
    (*_SAMPLES[1], 200, -0.1, 0.6, 2, "C", "", "", ""),
)
_POINT = ("temperature", "correction", "expanded_uncertainty", "coverage_factor")


def write_template(path: Path, form: str) -> None:
    """Write a certificates file to be filled in; it can be read as it stands.

    Parameters
    ----------
    path
        Where; nothing may stand there.
    form
        "csv", "xlsx" or "toml".

    Raises
    ------
    Refusal
        If something stands there already, or it can't be written.
    """
    if form not in FORMS:
        raise ValueError(form)
    content = _xlsx() if form == "xlsx" else (_csv() if form == "csv" else _toml()).encode()
    try:
        with path.open("xb") as file:
            file.write(content)
    except OSError as error:
        reason = "something stands there already" if isinstance(error, FileExistsError) else error.strerror
        raise CAN_NOT_WRITE(path=path.name, reason=reason) from None


def _table() -> list[list[object]]:
    remarks: list[list[object]] = [[f"# {remark}"] for remark in REMARKS]
    return [*remarks, list(HEADER), *(list(row) for row in _ROWS)]


def _csv() -> str:
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(_table())
    return text.getvalue()


def _xlsx() -> bytes:
    from qualify.sensors.certificates_xlsx import workbook_of

    return workbook_of(_table())


def _toml() -> str:
    lines = [f"# {remark}" for remark in REMARKS]
    seen: list[tuple[object, ...]] = []
    for row in _ROWS:
        head = row[: HEADER.index("temperature")] + row[HEADER.index("unit") :]
        if head in seen:
            continue
        seen.append(head)
        names = HEADER[: HEADER.index("temperature")] + HEADER[HEADER.index("unit") :]
        lines += ["", "[[certificate]]"]
        for name, value in zip(names, head, strict=True):
            if value != "":
                bare = isinstance(value, (int, float)) or name in ("calibrated", "due")
                shown = value if bare else f'"{value}"'
                lines.append(f"{'number' if name == 'certificate' else name} = {shown}")
        lines.append("points = [")
        for point in _ROWS:
            if point[: HEADER.index("temperature")] == row[: HEADER.index("temperature")]:
                cells = ", ".join(f"{name} = {point[HEADER.index(name)]}" for name in _POINT)
                lines.append(f"    {{ {cells} }},")
        lines.append("]")
    return "\n".join(lines) + "\n"
