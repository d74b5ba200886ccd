"""Sources that stand in no budget: left out, or covered by a certificate; one list of many locations once."""

from __future__ import annotations

from dataclasses import dataclass

from qualify.figures.absent import Absent
from qualify.record import Record


@dataclass(frozen=True, slots=True, kw_only=True)
class SourceList:
    """One list of sources, and at which locations of which surveys it holds."""

    kind: str
    where: str
    sources: tuple[str, ...]

    @property
    def words(self) -> str:
        """The list in a sentence."""
        return f"{self.kind} ({self.where}). {'; '.join(self.sources)}"


LEFT_OUT = "Left out: nobody gave a number"
COVERED = "Covered by certificates, as the plan says"


def source_lists(record: Record, *, most: int | None = None) -> list[SourceList]:
    """Gather the lists of sources left out and covered, over all surveys.

    Parameters
    ----------
    record
        The result.
    most
        No more lists than this; the last then says that there are more.
    """
    places: dict[tuple[str, tuple[str, ...]], list[tuple[int, str]]] = {}
    everywhere: dict[int, int] = {}
    for survey, item in enumerate(record.surveys):
        if isinstance(item.uncertainty, Absent):
            continue
        everywhere[survey] = len(item.uncertainty.locations)
        for location in item.uncertainty.locations:
            for kind, sources in ((LEFT_OUT, location.left_out), (COVERED, location.covered)):
                if sources:
                    places.setdefault((kind, sources), []).append((survey, location.location))
    lists = [
        SourceList(kind=kind, where=_where(found, everywhere, record), sources=sources)
        for (kind, sources), found in places.items()
    ]
    if most is None or len(lists) <= most:
        return lists
    rest = SourceList(
        kind="Other lists",
        where=f"{len(lists) - most + 1} more",
        sources=("they stand on the sheet Budgets",),
    )
    return [*lists[: most - 1], rest]


def _where(found: list[tuple[int, str]], everywhere: dict[int, int], record: Record) -> str:
    """Word the places: all locations, or their names; survey by survey where they differ."""
    by_survey: dict[int, list[str]] = {}
    for survey, location in found:
        by_survey.setdefault(survey, []).append(location)
    words = {
        survey: "all locations" if len(names) == everywhere[survey] else ", ".join(names)
        for survey, names in by_survey.items()
    }
    if len(set(words.values())) == 1 and len(words) == len(everywhere):
        return f"at {next(iter(words.values()))}"
    return "; ".join(f"{record.surveys[survey].name}: {text}" for survey, text in words.items())
