"""The formats that can be read: pairs of a sniff and an open.

To add a format, write a module with `sniff` and `open_source` and add it here.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from qualify.findings import RefusalKind
from qualify.inputs import InputFile
from qualify.readings import delimited, sheets
from qualify.readings.model import ReadOptions
from qualify.readings.table import TableSource

FILE_EMPTY = RefusalKind(
    "file-empty",
    what="the file is empty",
    why="There is nothing to judge.",
    mend="copy the file from the logger again and check its size.",
)
FORMAT_UNKNOWN = RefusalKind(
    "format-unknown",
    what="no reader knows this file ({tried})",
    why="Its readings can't be had without guessing.",
    mend="export the readings as text (.csv) or as a workbook (.xlsx); if it is UTF-16 text, add "
    "--encoding utf-16-le.",
)


@dataclass(frozen=True, slots=True)
class Reader:
    """One format: `sniff` tells why it declines, or None; `open_source` finds the table."""

    name: str
    sniff: Callable[[InputFile], str | None]
    open_source: Callable[[InputFile, ReadOptions], TableSource]


READERS: tuple[Reader, ...] = (
    Reader("delimited text", delimited.sniff, delimited.open_source),
    Reader("workbook (.xlsx)", sheets.sniff, sheets.open_source),
)


def open_file(file: InputFile, options: ReadOptions, readers: Sequence[Reader] = READERS) -> TableSource:
    """Open a file with the one reader that claims it.

    Raises
    ------
    Refusal
        If the file is empty, or no reader claims it.
    RuntimeError
        If two readers claim it: a defect of the sniffers.
    """
    if not file.data or file.data.isspace():
        raise FILE_EMPTY(file=file.name)
    declined = {reader.name: reader.sniff(file) for reader in readers}
    if options.encoding is not None and declined.get("delimited text") is not None:
        # A named encoding says that it is text, also where its bytes alone look binary.
        declined["delimited text"] = (
            None if not file.data.startswith(b"PK\x03\x04") else declined["delimited text"]
        )
    claimants = [reader for reader in readers if declined[reader.name] is None]
    if len(claimants) > 1:
        names = " and ".join(reader.name for reader in claimants)
        raise RuntimeError(f"{file.name}: claimed by {names}")
    if not claimants:
        tried = "; ".join(f"{name}: {reason}" for name, reason in declined.items())
        raise FORMAT_UNKNOWN(file=file.name, tried=tried)
    return claimants[0].open_source(file, options)
