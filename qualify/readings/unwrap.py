"""Files inside archives: gzip holds one, zip may hold several; each is read as a file of its own.

What is hashed and packed stays the archive as it was given.
"""

from __future__ import annotations

import gzip
import hashlib
import io
import zipfile
import zlib
from collections.abc import Sequence
from dataclasses import replace
from pathlib import PurePosixPath

from qualify.findings import RefusalKind, nearest
from qualify.inputs import InputFile
from qualify.readings.foreign import DAMAGED_ZIP

ARCHIVE_DAMAGED = RefusalKind(
    "archive-damaged",
    what="the archive can't be unpacked ({reason})",
    why="A part of it is lost or changed, and with it readings.",
    mend="copy the file again from where it was made, or unpack it there and give the files in it.",
)
ARCHIVE_LOCKED = RefusalKind(
    "archive-locked",
    what="'{member}' in the archive is locked with a password",
    why="Its readings can't be seen without it.",
    mend="unpack it with the password and give the files in it.",
)
ARCHIVE_IN_ARCHIVE = RefusalKind(
    "archive-in-archive",
    what="the archive holds another archive, '{member}'",
    why="Which files are meant can't be told from outside.",
    mend="unpack the outer archive and give the files in it.",
)
ARCHIVE_TOO_LARGE = RefusalKind(
    "archive-too-large",
    what="the archive unpacks to more than {limit}",
    why="Such an archive is damaged or made to fill a computer's memory; nothing of it was read.",
    mend="if it is what it says, unpack it and give the files in it.",
)
ARCHIVE_EMPTY = RefusalKind(
    "archive-empty",
    what="the archive holds no file to read{aside}",
    why="There is nothing to judge.",
    mend="pack the logger's files again.",
)
MEMBER_NO_SUCH = RefusalKind(
    "archive-member-no-such",
    what="there is no '{told}' in the archive (files: {members}){hint}",
    why="The readings can't be taken from it.",
    mend="add --member with one of these names.",
)

MOST_BYTES = 1_500_000_000
"""An archive that unpacks to more is refused."""
MOST_TIMES = 400
"""So many times its own size an archive may unpack to, once that is more than `FREE_BYTES`."""
FREE_BYTES = 64_000_000

_GZIP = b"\x1f\x8b"
_ZIP = (b"PK\x03\x04", b"PK\x05\x06")
_ARCHIVES = (_GZIP, b"7z\xbc\xaf\x27\x1c", b"Rar!\x1a\x07", b"BZh", b"\xfd7zXZ\0", b"\x28\xb5\x2f\xfd")
_SIDE_FILES = frozenset(("desktop.ini", "thumbs.db", "__macosx"))
_BLOCK = 1 << 20
_MOST_NAMES = 8
_DOCUMENT_PARTS = ("[Content_Types].xml", "mimetype", "xl/workbook.xml", "xl/workbook.bin")


def unwrap(file: InputFile, member: str | None) -> list[InputFile]:
    """Take the files out of an archive.

    Parameters
    ----------
    file
        The loaded file.
    member
        The name of the only file to take from a zip archive, or None for all.

    Returns
    -------
    list
        The file itself if it is no archive (a workbook isn't one); the file inside a gzip; every file of a
        zip but the side files of operating systems, called "bundle.zip/ch1.csv".

    Raises
    ------
    Refusal
        If the archive is damaged, locked, empty, too large, or holds another archive.
    """
    return unwrap_with_side_files(file, member)[0]


def unwrap_with_side_files(file: InputFile, member: str | None) -> tuple[list[InputFile], tuple[str, ...]]:
    """Do as `unwrap` does, and name the side files that were left aside too."""
    if file.content.startswith(_GZIP):
        return [_from_gzip(file)], ()
    if file.content.startswith(_ZIP):
        return _from_zip(file, member)
    return [file], ()


def _inner(file: InputFile, shown: str, name: str, data: bytes) -> InputFile:
    return replace(
        file,
        name=shown,
        path=file.path.with_name(PurePosixPath(name).name),
        content=data,
        sha256=hashlib.sha256(data).hexdigest(),
    )


def _most_bytes(packed: int) -> tuple[int, str]:
    """How many bytes an archive may unpack to, and that limit in words."""
    by_ratio = max(FREE_BYTES, packed * MOST_TIMES)
    if by_ratio < MOST_BYTES:
        return by_ratio, f"{MOST_TIMES} times its size ({by_ratio / 1e6:.0f} MB)"
    return MOST_BYTES, f"{MOST_BYTES / 1e9:.1f} GB"


def _from_gzip(file: InputFile) -> InputFile:
    most, limit = _most_bytes(len(file.data))
    parts: list[bytes] = []
    size = 0
    try:
        with gzip.GzipFile(fileobj=io.BytesIO(file.data)) as packed:
            while block := packed.read(_BLOCK):
                parts.append(block)
                size += len(block)
                if size > most:
                    raise ARCHIVE_TOO_LARGE(file=file.name, limit=limit)
    except EOFError:
        raise ARCHIVE_DAMAGED(file=file.name, reason="it is cut") from None
    except (gzip.BadGzipFile, zlib.error, OSError) as error:
        raise ARCHIVE_DAMAGED(file=file.name, reason=_worded(error)) from None
    data = b"".join(parts)
    shown, name = (_without_suffix(each) for each in (file.name, file.path.name))
    _no_archive(file, name, data)
    return _inner(file, shown, name, data)


def _without_suffix(name: str) -> str:
    return name[:-3] if name.lower().endswith(".gz") and len(name) > 3 else name


def _from_zip(file: InputFile, member: str | None) -> tuple[list[InputFile], tuple[str, ...]]:
    try:
        archive = zipfile.ZipFile(io.BytesIO(file.data))
    except DAMAGED_ZIP:
        # Whether it was a workbook can't be told: the readers say what they see.
        return [file], ()
    with archive:
        listed = archive.infolist()
        if {info.filename for info in listed} & set(_DOCUMENT_PARTS):
            return [file], ()
        if not all(PurePosixPath(info.filename).name for info in listed):
            raise ARCHIVE_DAMAGED(file=file.name, reason="a file in it has no name")
        files = [info for info in listed if not info.filename.endswith("/")]
        aside = tuple(info.filename for info in files if _is_side_file(info.filename))
        files = [info for info in files if not _is_side_file(info.filename)]
        if not files:
            left = f" (left aside: {', '.join(aside[:_MOST_NAMES])})" if aside else ""
            raise ARCHIVE_EMPTY(file=file.name, aside=left)
        if member is not None:
            files, aside = [_member(file, files, member)], ()
        most, limit = _most_bytes(len(file.data))
        if sum(info.file_size for info in files) > most:
            raise ARCHIVE_TOO_LARGE(file=file.name, limit=limit)
        found = []
        for info in files:
            data = _unpacked(file, archive, info)
            _no_archive(file, info.filename, data)
            found.append(_inner(file, f"{file.name}/{info.filename}", info.filename, data))
    return found, aside


def _is_side_file(name: str) -> bool:
    """Whether an operating system, not a person, put the file there."""
    parts = PurePosixPath(name).parts
    return any(part.casefold() in _SIDE_FILES or part.startswith(".") for part in parts)


def _member(file: InputFile, files: Sequence[zipfile.ZipInfo], told: str) -> zipfile.ZipInfo:
    """The told file, by its whole name or, where only one has it, its name without folders."""
    for matches in (
        [info for info in files if info.filename == told],
        [info for info in files if PurePosixPath(info.filename).name == told],
    ):
        if len(matches) == 1:
            return matches[0]
    names = [info.filename for info in files]
    more = f" and {len(names) - _MOST_NAMES} more" if len(names) > _MOST_NAMES else ""
    raise MEMBER_NO_SUCH(
        file=file.name, told=told, members=", ".join(names[:_MOST_NAMES]) + more, hint=nearest(told, names)
    )


def _unpacked(file: InputFile, archive: zipfile.ZipFile, info: zipfile.ZipInfo) -> bytes:
    if info.flag_bits & 0x1:
        raise ARCHIVE_LOCKED(file=file.name, member=info.filename)
    try:
        # The library stops at the size that the archive states and checks the sum of the bytes.
        return archive.read(info)
    except NotImplementedError:
        raise ARCHIVE_DAMAGED(
            file=file.name, reason=f"'{info.filename}' is packed in a way that isn't known here"
        ) from None
    except DAMAGED_ZIP as error:
        raise ARCHIVE_DAMAGED(file=file.name, reason=f"'{info.filename}': {_worded(error)}") from None


def _worded(error: BaseException) -> str:
    return str(error) or type(error).__name__


def _no_archive(file: InputFile, name: str, data: bytes) -> None:
    """Refuse an archive in the archive; a workbook isn't one."""
    is_archive = data.startswith(_ARCHIVES) or data[257:262] == b"ustar"
    if data.startswith(_ZIP):
        try:
            with zipfile.ZipFile(io.BytesIO(data)) as archive:
                is_archive = not set(archive.namelist()) & set(_DOCUMENT_PARTS)
        except DAMAGED_ZIP:
            is_archive = False
    if is_archive:
        raise ARCHIVE_IN_ARCHIVE(file=file.name, member=name)
