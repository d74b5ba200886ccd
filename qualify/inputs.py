"""Files as they were read: one load, one hash, the bytes kept for the data pack.

A large text stays where it lies on disk and is looked at through a map, so that it need not fit into memory.
"""

from __future__ import annotations

import hashlib
import mmap
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from qualify.findings import RefusalKind

FILE_MISSING = RefusalKind(
    "file-missing",
    what="there is no file '{path}'",
    why="The work can't start without it.",
    mend="check the name and the folder, also for capital letters and blanks.",
)
FILE_UNREADABLE = RefusalKind(
    "file-unreadable",
    what="the file can't be opened: {reason}",
    why="The work can't start without it.",
    mend="close it in other programs, check that it is a file and that you may read it.",
)


LARGE = 1 << 28
"""From this many bytes on (256 MiB) a text is mapped instead of read."""

_BLOCK = 1 << 24
_CONTAINERS = (b"PK\x03\x04", b"\x1f\x8b", b"\xd0\xcf\x11\xe0", b"PAR1")
"""How archives, workbooks and columnar files begin; their readers want them whole."""


class MappedBytes:
    """A large file's bytes where they lie on disk, with what of `bytes` the text reader needs."""

    __slots__ = ("_map",)

    def __init__(self, mapped: mmap.mmap) -> None:
        self._map = mapped

    def __len__(self) -> int:
        return len(self._map)

    def __getitem__(self, part: slice) -> bytes:
        return self._map[part]

    def __contains__(self, part: bytes) -> bool:
        return self._map.find(part) >= 0

    def view(self) -> memoryview:
        """The bytes without a copy."""
        return memoryview(self._map)

    def startswith(self, marks: bytes | tuple[bytes, ...]) -> bool:
        """Whether the file begins with the mark, or one of them."""
        return self[: max(map(len, marks)) if isinstance(marks, tuple) else len(marks)].startswith(marks)

    def endswith(self, mark: bytes) -> bool:
        """Whether the file ends with the mark."""
        return self[max(len(self) - len(mark), 0) :] == mark

    def find(self, part: bytes, start: int = 0, stop: int | None = None) -> int:
        """Where the part first stands between two places; -1 where it doesn't."""
        return self._map.find(part, start, len(self) if stop is None else stop)

    def rfind(self, part: bytes, start: int = 0, stop: int | None = None) -> int:
        """Where the part last stands between two places; -1 where it doesn't."""
        return self._map.rfind(part, start, len(self) if stop is None else stop)

    def index(self, part: bytes, start: int = 0) -> int:
        """Where the part first stands; it must be there."""
        at = self.find(part, start)
        if at < 0:
            raise ValueError("part not found")
        return at

    def count(self, part: bytes, start: int = 0, stop: int | None = None) -> int:
        """How often the part stands between two places."""
        end = len(self) if stop is None else stop
        total = 0
        for at in range(start, end, _BLOCK):
            # A block reaches over its end by what a part that begins in it may need.
            total += self._map[at : min(at + _BLOCK + len(part) - 1, end)].count(part)
        return total

    def isascii(self) -> bool:
        """Whether no byte is above 127."""
        return all(block.isascii() for block in self._blocks())

    def isspace(self) -> bool:
        """Whether the file holds nothing but blanks and line ends."""
        return all(block.isspace() for block in self._blocks())

    def _blocks(self) -> Iterator[bytes]:
        return (self._map[at : at + _BLOCK] for at in range(0, len(self), _BLOCK))


Bytes = bytes | MappedBytes


def view_of(data: Bytes) -> memoryview:
    """The bytes without a copy."""
    return memoryview(data) if isinstance(data, bytes) else data.view()


@dataclass(frozen=True, slots=True)
class InputFile:
    """One file that the work rests on, with its bytes and their SHA-256."""

    name: str
    path: Path
    content: Bytes
    sha256: str
    role: str

    @property
    def data(self) -> bytes:
        """All bytes, in memory."""
        return self.content if isinstance(self.content, bytes) else self.content[:]

    @property
    def stem(self) -> str:
        """The file's name without its last suffix."""
        return self.path.stem


def load(path: Path, role: str) -> InputFile:
    """Read a file once.

    Parameters
    ----------
    path
        Where it is.
    role
        What it is to the work: "plan", "readings" or "certificates".

    Raises
    ------
    Refusal
        If it is missing or can't be read.
    """
    try:
        content = _content(path)
    except FileNotFoundError:
        raise FILE_MISSING(path=path.name, file=str(path)) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise FILE_UNREADABLE(file=path.name, reason=reason) from None
    return InputFile(path.name, path, content, hashlib.sha256(view_of(content)).hexdigest(), role)


def _content(path: Path) -> Bytes:
    with path.open("rb") as file:
        if file.seek(0, 2) < LARGE:
            file.seek(0)
            return file.read()
        file.seek(0)
        if file.read(4).startswith(_CONTAINERS):
            file.seek(0)
            return file.read()
        return MappedBytes(mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ))
