"""Numbers of standards: cited rows in TOML files beside this module, and their one loader.

A row without document, edition, clause, unit or standing does not load. Rows are read at run time;
there is no second copy of a standard's number in code, so that deleting a row makes whatever rests
on it "not shown".
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Any

CITATION = ("id", "document", "clause", "unit", "standing")
STANDINGS = {
    "C": "seen in a public (mostly secondary) copy of the document",
    "C second-hand": "seen quoted, not in a copy of the document",
    "D": "arithmetic that anyone can redo",
    "M": "from memory, not confirmed",
    "X": "sources disagree",
}
UNCONFIRMED = ("M", "X")
OWN = "own"
"""Standing of what a user states in a profile of their own: nothing to confirm, nothing that was seen."""

Row = Mapping[str, Any]


class UncitedRowError(ValueError):
    """A row of a standards table lacks its citation or bears an unknown standing."""


@cache
def rows(table: str, kind: str, also: tuple[str, ...] = ()) -> tuple[Row, ...]:
    """Load the rows of one kind.

    Parameters
    ----------
    table
        File name without ".toml": "uniformity_classes", "variants" or "sensor_tolerances".
    kind
        Name of the array of tables in it, such as "class".
    also
        Standings that may stand there besides the usual ones.

    Raises
    ------
    UncitedRowError
        If a row lacks document, edition, clause, unit or standing, or two rows share an id.
    """
    text = (files(__name__) / f"{table}.toml").read_text(encoding="utf-8")
    return checked(tomllib.loads(text).get(kind, []), table, also)


def checked(found: list[Row], table: str, also: tuple[str, ...] = ()) -> tuple[Row, ...]:
    """Let rows through that carry their citation; refuse the table otherwise."""
    seen: set[str] = set()
    for number, row in enumerate(found, start=1):
        name = f"{table}, row {number} ({row.get('id', 'no id')})"
        missing = [key for key in CITATION if not row.get(key)]
        if not (row.get("edition") or row.get("editions")):
            missing.append("edition")
        if missing:
            raise UncitedRowError(f"{name} lacks {', '.join(missing)}")
        if row["standing"] not in (*STANDINGS, *also):
            raise UncitedRowError(f"{name} has the unknown standing {row['standing']!r}")
        if row["id"] in seen:
            raise UncitedRowError(f"{name}: two rows have this id")
        seen.add(row["id"])
    return tuple(found)


def citation(row: Row, edition: str = "") -> str:
    """Word a row's source: document, edition, clause."""
    return f"{row['document']} {edition or row.get('edition') or row['editions'][-1]}, {row['clause']}"
