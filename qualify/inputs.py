"""Files as they were read: one load, one hash, the bytes kept for the data pack."""

from __future__ import annotations

import hashlib
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


@dataclass(frozen=True, slots=True)
class InputFile:
    """One file that the work rests on, with its bytes and their SHA-256."""

    name: str
    path: Path
    data: bytes
    sha256: str
    role: str

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
        data = path.read_bytes()
    except FileNotFoundError:
        raise FILE_MISSING(path=path.name, file=str(path)) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise FILE_UNREADABLE(file=path.name, reason=reason) from None
    return InputFile(path.name, path, data, hashlib.sha256(data).hexdigest(), role)
