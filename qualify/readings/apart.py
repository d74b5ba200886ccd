"""The values of a workbook, read in a process of its own; run as a script, it is that process.

The library that reads .xls and .ods ends its whole process over some damages. What ends here is only the
child; whoever asked gets an ordinary error.
"""

from __future__ import annotations

import io
import pickle
import subprocess
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

Rows = Sequence[Sequence[Any]]
_MOST_SECONDS = 600


class WorkbookLockedError(ValueError):
    """The workbook can't be read without its password."""


class WorkbookUnreadableError(ValueError):
    """The library gave up over the workbook, or its process ended."""


def sheets_of(data: bytes) -> Mapping[str, Rows]:
    """Read the values of every worksheet, by its name, in the workbook's order.

    Raises
    ------
    WorkbookLockedError
        If it needs a password.
    WorkbookUnreadableError
        If it can't be read.
    """
    command = [sys.executable, "-P", str(Path(__file__))]
    try:
        child = subprocess.run(command, input=data, capture_output=True, check=False, timeout=_MOST_SECONDS)
    except subprocess.TimeoutExpired:
        raise WorkbookUnreadableError("it takes too long") from None
    if child.returncode:
        raise WorkbookUnreadableError("reading it broke off")
    answer = pickle.loads(child.stdout)
    if answer == "locked":
        raise WorkbookLockedError
    if isinstance(answer, str):
        raise WorkbookUnreadableError(answer)
    return dict(answer)


def _main() -> None:
    from python_calamine import CalamineWorkbook, PasswordError, SheetTypeEnum

    answer: Any
    try:
        book = CalamineWorkbook.from_filelike(io.BytesIO(sys.stdin.buffer.read()))
        answer = [
            (sheet.name, book.get_sheet_by_name(sheet.name).to_python(skip_empty_area=False))
            for sheet in book.sheets_metadata
            if sheet.typ == SheetTypeEnum.WorkSheet
        ]
    except PasswordError:
        answer = "locked"
    except BaseException as error:
        # The library's own panics are no kind of Exception.
        answer = type(error).__name__
    sys.stdout.buffer.write(pickle.dumps(answer))


if __name__ == "__main__":
    _main()
