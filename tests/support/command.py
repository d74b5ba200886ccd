"""Run the command line in this process, as a user would see it."""

from __future__ import annotations

import contextlib
import io
import json
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from unittest.mock import patch

from qualify import cli


@dataclass(frozen=True)
class Ran:
    """What a command left behind."""

    status: int
    out: str
    err: str

    @property
    def record(self) -> dict[str, Any]:
        result: dict[str, Any] = json.loads(self.out)
        return result

    @property
    def survey(self) -> dict[str, Any]:
        first: dict[str, Any] = self.record["surveys"][0]
        return first

    def requirement(self, name: str) -> dict[str, Any]:
        found: dict[str, Any] = next(r for r in self.survey["requirements"] if r["id"] == name)
        return found


def qualify(*words: object) -> Ran:
    """Run `qualify` with these words; its exit status, standard output and standard error."""
    out, err = io.StringIO(), io.StringIO()
    with (
        patch.object(sys, "argv", ["qualify", *(str(word) for word in words)]),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
    ):
        try:
            cli.main()
            status = 0
        except SystemExit as end:
            status = int(end.code or 0)
    return Ran(status, out.getvalue(), err.getvalue())


def survey_json(file: Path, *words: object) -> Ran:
    """Run `qualify survey FILE --json …`."""
    return qualify("survey", file, "--json", *words)
