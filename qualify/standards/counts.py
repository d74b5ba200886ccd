"""How many sensors a document asks for in a work zone of a given volume, and what stands in the way."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil

from qualify.findings import nearest
from qualify.standards import STANDINGS, UNCONFIRMED, Row, citation, rows

LITRES = {"L": 1.0, "m3": 1000.0, "ft3": 28.316846592}
"""Litres in a unit of volume; the foot is 304.8 mm exactly."""

SAME_VOLUME = 1e-9
"""Volumes this close, as a share, are one volume: what multiplication leaves behind."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RequiredCount:
    """How many sensors a document asks for.

    Attributes
    ----------
    id
        Id of the row that `count` comes from; "" where there is none.
    count
        The number that the document states, as far as it is known; None where no row says.
    citation, standing
        Where it comes from, and how far that was seen.
    obstacle
        Why `count` must not decide, or why there is none; None where it may decide.
    decides
        The number that a plan may be held to now: `count`, or where that may not decide yet what the
        rows seen in a copy say; None where nothing may decide.
    decides_citation
        Where `decides` comes from.
    corners_and_centre
        Whether the row behind `decides` asks for the corners and the centre among them.
    """

    id: str
    count: int | None
    citation: str
    standing: str
    obstacle: str | None
    decides: int | None
    decides_citation: str
    corners_and_centre: bool

    @property
    def to_be_settled(self) -> bool:
        """Whether something is open that could change the number which may decide now."""
        return self.obstacle is not None and (self.count is None or self.count != self.decides)

    @property
    def placed(self) -> int | None:
        """How many sensors meet all that is known, confirmed or not."""
        known = [number for number in (self.count, self.decides) if number is not None]
        return max(known, default=None)


def required_count(
    document: str, edition: str, class_name: str, volume_l: float, confirmed: tuple[str, ...] = ()
) -> RequiredCount:
    """Find how many sensors a document asks for.

    Parameters
    ----------
    document, edition, class_name
        As the plan names them; "" leaves edition or class open.
    volume_l
        Volume of the work zone [L].
    confirmed
        Ids of rows that the plan's author confirmed in a licensed copy.
    """
    everything = rows("sensor_counts", "count")
    named = [row for row in everything if row["document"] == document]
    edited = [row for row in named if not edition or _has_edition(row, edition)]
    if not edited:
        return _none(_unknown(everything, named, document, edition), document)
    general = next((row for row in edited if row.get("general")), None)
    sized = [row for row in edited if not row.get("general") and _holds(row, volume_l)]
    fitting = [
        row
        for row in sized
        if "classes" not in row or class_name.casefold() in [name.casefold() for name in row["classes"]]
    ]
    if not fitting and sized:
        names = ", ".join(sorted(name for row in sized for name in row["classes"]))
        missing = f"at this volume the number depends on the class, which must be one of {names}"
    elif not fitting:
        missing = f"no number of sensors is known here for this volume ({volume_l:.5g} L)"
    else:
        missing = None
    row = fitting[0] if fitting else general
    if row is None:
        return _none(missing or "", document)
    by_volume = any(not other.get("general") for other in edited)
    fell_back = row is general and by_volume
    obstacle = missing if fell_back else _unconfirmed(row, confirmed)
    decider = row if obstacle is None else general
    if decider is not None and _unconfirmed(decider, confirmed) is not None:
        decider = None
    return RequiredCount(
        id="" if fell_back else row["id"],
        count=None if fell_back else _count(row, volume_l),
        citation=citation(row, _edition_words(row, edition)),
        standing="" if fell_back else row["standing"],
        obstacle=obstacle,
        decides=None if decider is None else _count(decider, volume_l),
        decides_citation="" if decider is None else citation(decider, _edition_words(decider, edition)),
        corners_and_centre=decider is not None and bool(decider.get("corners_and_centre")),
    )


def confirmable_counts() -> list[str]:
    """Ids of the rows of sensor counts that a plan may confirm."""
    return [row["id"] for row in rows("sensor_counts", "count") if row["standing"] in UNCONFIRMED]


def documents_with_counts() -> list[str]:
    """Names of the documents whose number of sensors is known here."""
    return sorted({row["document"] for row in rows("sensor_counts", "count")})


def _count(row: Row, volume_l: float) -> int:
    count = int(row["count"])
    if "per" in row:
        share = volume_l / LITRES[row["unit"]] / row["per"]
        count = max(count, ceil(share * (1.0 - SAME_VOLUME)))
    return min(count, int(row.get("most", count)))


def _holds(row: Row, volume_l: float) -> bool:
    volume = volume_l / LITRES[row["unit"]]
    slack = SAME_VOLUME * volume
    inf = float("inf")
    return bool(
        volume > row.get("over", -inf) + slack
        and volume <= row.get("to", inf) + slack
        and volume >= row.get("from", -inf) - slack
        and volume < row.get("under", inf) - slack
    )


def _has_edition(row: Row, wanted: str) -> bool:
    known = row.get("editions") or [row["edition"]]
    return any(wanted in (edition, edition.partition(" ")[0]) for edition in known)


def _edition_words(row: Row, wanted: str) -> str:
    known = row.get("editions") or [row["edition"]]
    return next((e for e in known if wanted and wanted in (e, e.partition(" ")[0])), "")


def _unconfirmed(row: Row, confirmed: tuple[str, ...]) -> str | None:
    if row["standing"] not in UNCONFIRMED or row["id"] in confirmed:
        return None
    return (
        f"the number is {STANDINGS[row['standing']]}; confirm it in a licensed copy and add "
        f'"{row["id"]}" to `confirmed` in the plan'
    )


def _unknown(everything: tuple[Row, ...], named: list[Row], document: str, edition: str) -> str:
    if named:
        editions = sorted({e for row in named for e in row["editions"]})
        return f"no number of sensors for edition '{edition}' of {document}; there are {', '.join(editions)}"
    documents = sorted({row["document"] for row in everything})
    near = nearest(document, documents)
    return f"no number of sensors is known here for '{document}'{near}; there are {', '.join(documents)}"


def _none(obstacle: str, document: str) -> RequiredCount:
    return RequiredCount(
        id="",
        count=None,
        citation=document,
        standing="",
        obstacle=obstacle,
        decides=None,
        decides_citation="",
        corners_and_centre=False,
    )
