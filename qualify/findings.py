"""Refusals and doubts: the two ways in which the tool says that something is wrong.

A *refusal* stops the work: an input can't be used. A *doubt* is something about a reading that a
person should know; the work goes on and the doubt is listed. Each has a kind with a stable code and
one template, declared beside the code that raises it and registered here, so that the page of all
findings in docs/ is made from the same words that the user sees.
"""

from __future__ import annotations

from dataclasses import dataclass

REFUSALS: dict[str, RefusalKind] = {}
DOUBTS: dict[str, DoubtKind] = {}


class Refusal(Exception):
    """An input can't be used: where, what is wrong, why it matters and what to do."""

    def __init__(self, code: str, where: str, what: str, why: str, mend: str) -> None:
        super().__init__(code, where, what, why, mend)
        self.code = code
        self.where = where
        self.what = what
        self.why = why
        self.mend = mend

    def __str__(self) -> str:
        place = f"{self.where}: " if self.where else ""
        return f"{place}{self.what}\n  why:  {self.why}\n  mend: {self.mend}"


@dataclass(frozen=True, slots=True)
class RefusalKind:
    """One kind of refusal; `what` and `mend` are templates for `str.format`."""

    code: str
    what: str
    why: str
    mend: str

    def __post_init__(self) -> None:
        assert self.code not in REFUSALS, f"two refusals are called {self.code}"
        REFUSALS[self.code] = self

    def __call__(
        self,
        *,
        file: str = "",
        row: int | None = None,
        column: str = "",
        key: str = "",
        **fields: object,
    ) -> Refusal:
        """Make the exception to raise; the place is told by file, row, column or plan key."""
        return Refusal(
            self.code,
            place(file=file, row=row, column=column, key=key),
            self.what.format(**fields),
            self.why.format(**fields),
            self.mend.format(**fields),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """Something about readings that a person should know.

    `row` is the line that a text editor shows (first = 1) or the sheet's row; `column` the raw
    header; `cells` the number of cells that hold no reading because of it (0 where it only warns).
    """

    kind: str
    text: str
    file: str | None = None
    row: int | None = None
    column: str | None = None
    location: str | None = None
    cells: int = 0

    def __str__(self) -> str:
        where = place(file=self.file or "", row=self.row, column=self.column or "")
        return f"{where}: {self.text}" if where else self.text


@dataclass(frozen=True, slots=True)
class DoubtKind:
    """One kind of doubt; `text` is a template for `str.format` and ends with the consequence."""

    code: str
    text: str

    def __post_init__(self) -> None:
        assert self.code not in DOUBTS, f"two doubts are called {self.code}"
        DOUBTS[self.code] = self

    def __call__(
        self,
        *,
        file: str | None = None,
        row: int | None = None,
        column: str | None = None,
        location: str | None = None,
        cells: int = 0,
        **fields: object,
    ) -> Doubt:
        """Make the doubt, with its place and the fields that its text names."""
        return Doubt(
            kind=self.code,
            text=self.text.format(**fields),
            file=file,
            row=row,
            column=column,
            location=location,
            cells=cells,
        )


def place(*, file: str = "", row: int | None = None, column: str = "", key: str = "") -> str:
    """Word a place: "survey.csv, row 12, column 'T1 (°C)'"."""
    parts = [
        file,
        f"row {row}" if row is not None else "",
        f"column '{column}'" if column else "",
        f"key '{key}'" if key else "",
    ]
    return ", ".join(part for part in parts if part)


def nearest(word: str, known: list[str]) -> str:
    """Offer the nearest right spelling: "; did you mean 'uniformity'?", or nothing."""
    from difflib import get_close_matches

    folded = {name.casefold(): name for name in reversed(known)}
    found = get_close_matches(word.casefold(), list(folded), n=1, cutoff=0.6)
    return f"; did you mean '{folded[found[0]]}'?" if found else ""
