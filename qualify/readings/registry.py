"""The formats that can be read: pairs of a sniff and an open.

To add a format, write a module with `sniff` and `open_source` and add it here. A format that always begins
with the same bytes says them here, and its module is imported only for files that do. Archives are no
format: `unwrap` takes the files out of them before.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from importlib import import_module
from typing import Any

from qualify.findings import RefusalKind
from qualify.inputs import InputFile
from qualify.readings import delimited
from qualify.readings.foreign import FORMAT_FOREIGN, OLE, ZIP, foreign_format
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


_NEVER_TEXT = (ZIP, OLE)


@dataclass(frozen=True, slots=True)
class Reader:
    """One format: `sniff` tells why it declines, or None; `open_source` finds the table."""

    name: str
    sniff: Callable[[InputFile], str | None]
    open_source: Callable[[InputFile, ReadOptions], TableSource]


def _beginning_with(
    mark: bytes,
    otherwise: str,
    name: str,
    module: str,
    sniff: str = "sniff",
    open_source: str = "open_source",
) -> Reader:
    """A format whose files begin with `mark`; of others it says `otherwise`."""

    def declines(file: InputFile) -> str | None:
        return _function(module, sniff)(file) if file.content.startswith(mark) else otherwise

    def opens(file: InputFile, options: ReadOptions) -> TableSource:
        return _function(module, open_source)(file, options)

    return Reader(name, declines, opens)


def _function(module: str, name: str) -> Callable[..., Any]:
    return getattr(import_module(f"qualify.readings.{module}"), name)


READERS: tuple[Reader, ...] = (
    Reader("delimited text", delimited.sniff, delimited.open_source),
    _beginning_with(ZIP, "it is no zip archive, as every .xlsx is", "workbook (.xlsx)", "xlsx"),
    _beginning_with(
        OLE, "it does not begin as an .xls does", "workbook (.xls)", "oldsheets", "sniff_xls", "open_xls"
    ),
    _beginning_with(
        ZIP, "it is no zip archive, as every .ods is", "workbook (.ods)", "oldsheets", "sniff_ods", "open_ods"
    ),
    _beginning_with(b"PAR1", "it does not begin as a .parquet does", "parquet", "parquet"),
)


def open_file(file: InputFile, options: ReadOptions, readers: Sequence[Reader] = READERS) -> TableSource:
    """Open a file with the one reader that claims it.

    Raises
    ------
    Refusal
        If the file is empty, of a known format that isn't read, or no reader claims it.
    RuntimeError
        If two readers claim it: a defect of the sniffers.
    """
    if not len(file.content) or file.content.isspace():
        raise FILE_EMPTY(file=file.name)
    foreign = foreign_format(file)
    if foreign is not None:
        raise FORMAT_FOREIGN(file=file.name, what=foreign.what, mend=foreign.mend)
    declined = {reader.name: reader.sniff(file) for reader in readers}
    claimants = [reader for reader in readers if declined[reader.name] is None]
    if not claimants and options.encoding is not None and not file.content.startswith(_NEVER_TEXT):
        # A named encoding says that it is text, also where its bytes alone look binary.
        claimants = [reader for reader in readers if reader.name == "delimited text"]
    if len(claimants) > 1:
        names = " and ".join(reader.name for reader in claimants)
        raise RuntimeError(f"{file.name}: claimed by {names}")
    if not claimants:
        tried = "; ".join(f"{name}: {reason}" for name, reason in declined.items())
        raise FORMAT_UNKNOWN(file=file.name, tried=tried)
    return claimants[0].open_source(file, options)
