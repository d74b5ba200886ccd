"""What a file is that isn't a table of readings, told by its first bytes, so that the refusal can name it."""

from __future__ import annotations

import io
import re
import struct
import zipfile
import zlib
from dataclasses import dataclass

from qualify.findings import RefusalKind
from qualify.inputs import InputFile

FORMAT_FOREIGN = RefusalKind(
    "format-foreign",
    what="it is {what}",
    why="Its readings can't be had without guessing.",
    mend="{mend}.",
)


ZIP = b"PK\x03\x04"
OLE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
"""How archives, workbooks and old workbooks begin."""

DAMAGED_ZIP = (
    *(zipfile.BadZipFile, zlib.error, struct.error, ValueError, OSError, EOFError, RuntimeError),
    *(NotImplementedError, IndexError, KeyError, OverflowError),
)
"""What the library raises over a damaged zip archive."""


@dataclass(frozen=True, slots=True)
class Foreign:
    """A format that isn't read: what it is, and what to do."""

    what: str
    mend: str


_EXPORT = "export the readings from the logger's own program as text (.csv) or as a workbook (.xlsx)"
_SAVE_AS = "open it in a spreadsheet program and save it as .xlsx"
_UNPACK = "unpack it and give the files in it, or pack them as .zip or .gz"

_BY_FIRST_BYTES: tuple[tuple[bytes, Foreign], ...] = (
    (b"%PDF-", Foreign("a PDF", _EXPORT)),
    (b"\x89PNG\r\n\x1a\n", Foreign("a picture (PNG)", _EXPORT)),
    (b"\xff\xd8\xff", Foreign("a picture (JPEG)", _EXPORT)),
    (b"GIF8", Foreign("a picture (GIF)", _EXPORT)),
    (b"II*\0", Foreign("a picture (TIFF)", _EXPORT)),
    (b"MM\0*", Foreign("a picture (TIFF)", _EXPORT)),
    (b"{\\rtf", Foreign("a formatted text (RTF)", "save its table as text (.csv) or as a workbook (.xlsx)")),
    (b"7z\xbc\xaf\x27\x1c", Foreign("a 7z archive", _UNPACK)),
    (b"Rar!\x1a\x07", Foreign("a rar archive", _UNPACK)),
    (b"BZh", Foreign("a bzip2 archive", _UNPACK)),
    (b"\xfd7zXZ\0", Foreign("an xz archive", _UNPACK)),
    (b"\x28\xb5\x2f\xfd", Foreign("a zstd archive", _UNPACK)),
    (b"SQLite format 3\0", Foreign("a database (SQLite)", _EXPORT)),
    (b"\x89HDF\r\n\x1a\n", Foreign("a data file (HDF5)", _EXPORT)),
    (b"CDF\x01", Foreign("a data file (netCDF)", _EXPORT)),
    (b"CDF\x02", Foreign("a data file (netCDF)", _EXPORT)),
    (b"ARROW1\0\0", Foreign("a data file (Arrow)", "save it as .parquet or .csv")),
    (b"PARE", Foreign("a locked .parquet file", "save it without encryption")),
    (b"MIME-Version:", Foreign("a web page saved with its pictures", _SAVE_AS)),
    (b"\x09\x08\x06\0\0\0", Foreign("a workbook of a very old kind (.xls)", _SAVE_AS)),
    (b"\x09\x04\x06\0\0\0", Foreign("a workbook of a very old kind (.xls)", _SAVE_AS)),
    (b"\x09\x02\x06\0\0\0", Foreign("a workbook of a very old kind (.xls)", _SAVE_AS)),
    (b"\x7fELF", Foreign("a program", _EXPORT)),
)
_MARKS = (b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff")
_PAGE = re.compile(rb"<(?:!doctype\s+html|html|head|body|table|meta|style)\b", re.IGNORECASE)
_JSON = re.compile(rb"\s*(?:\{\s*(?:\"[^\"\n]*\"\s*:|\})|\[\s*(?:\{\s*\"|\[\s*[\"\d\-\[]|\]\s*$))")
_HEAD = 4096


def foreign_format(file: InputFile) -> Foreign | None:
    """Tell what a file is if it is known and not read; None where it may be a table.

    Text that begins as a logger's own text could, such as "[Header]", is left to the reader of text.
    """
    data = file.data
    for start, foreign in _BY_FIRST_BYTES:
        if data.startswith(start):
            return foreign
    if data[257:262] == b"ustar":
        return Foreign("a tar archive", _UNPACK)
    if data.startswith(OLE):
        from qualify.readings.biff import stream_names

        return _in_container(stream_names(data))
    if data.startswith(ZIP):
        return _in_zip(data)
    return _markup(file)


def _in_container(names: set[str]) -> Foreign | None:
    if "EncryptedPackage" in names:
        return Foreign(
            "a workbook locked with a password",
            "open it in a spreadsheet program, take the password off and save it as .xlsx",
        )
    if "WordDocument" in names:
        return Foreign("a text document (.doc)", "save its table as text (.csv) or as a workbook (.xlsx)")
    return None


def _in_zip(data: bytes) -> Foreign | None:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            names = set(archive.namelist())
    except DAMAGED_ZIP:
        return None
    if "xl/workbook.bin" in names:
        return Foreign("a binary workbook (.xlsb)", _SAVE_AS)
    if "word/document.xml" in names:
        return Foreign("a text document (.docx)", "save its table as text (.csv) or as a workbook (.xlsx)")
    if "ppt/presentation.xml" in names:
        return Foreign("a presentation (.pptx)", _EXPORT)
    return None


def _markup(file: InputFile) -> Foreign | None:
    """Web pages, XML and JSON, also where their name is that of a workbook."""
    head = file.content[:_HEAD]
    for mark in _MARKS:
        head = head.removeprefix(mark)
    head = head.replace(b"\0", b"").lstrip()
    if head.startswith(b"<"):
        if b"urn:schemas-microsoft-com:office:spreadsheet" in head:
            return Foreign("an XML spreadsheet of an older kind", _SAVE_AS)
        if b"urn:oasis:names:tc:opendocument" in head:
            return Foreign("an open document in one XML file (.fods)", _SAVE_AS)
        if _PAGE.search(head):
            suffix = file.path.suffix.lower()
            saved = f" saved as {suffix}" if suffix not in ("", ".html", ".htm") else ""
            return Foreign(f"a web page{saved}", _SAVE_AS)
        if head.startswith((b"<?xml", b"<!--")) or re.match(rb"<[A-Za-z_][\w.:-]*[\s>/]", head):
            return Foreign("an XML file", _EXPORT)
    if _JSON.match(head):
        return Foreign("a JSON file", _EXPORT)
    return None
