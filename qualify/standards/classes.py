"""Uniformity classes chosen by name: the row, its limits for a hold, and what stands in the way."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from qualify.findings import nearest
from qualify.plan.model import ClassChoice
from qualify.standards import STANDINGS, UNCONFIRMED, Row, citation, rows
from qualify.units import TemperatureUnit, difference_from_c, difference_to_c, temperature_from_c


@dataclass(frozen=True, slots=True, kw_only=True)
class ClassLimits:
    """Limits that a document's class sets for one hold.

    `half_width_c` is None where the limits can't be given, and `obstacle` says why; `obstacle` may
    also stand beside limits that must not decide yet. `judged` is "all" or "reference".
    """

    id: str
    choice: ClassChoice
    half_width_c: float | None
    judged: str
    citation: str
    standing: str
    obstacle: str | None
    trend_is_nonconformity: bool


def class_limits(
    choice: ClassChoice,
    *,
    setpoint_c: float,
    ambient_c: float | None,
    units: TemperatureUnit,
    confirmed: tuple[str, ...],
) -> ClassLimits:
    """Find the limits of a class for a hold.

    Parameters
    ----------
    choice
        Document, edition and class as the plan names them.
    setpoint_c, ambient_c
        Set point and ambient temperature [°C].
    units
        The plan's unit: a document with a column for each unit is judged in that one throughout.
    confirmed
        Ids of rows that the plan's author confirmed in a licensed copy: unconfirmed limits, and rules
        seen in another edition only.
    """
    named = [row for row in rows("uniformity_classes", "class") if row["document"] == choice.document]
    edition_rows = [row for row in named if _edition(row, choice.edition)]
    if choice.rows:
        # A user's own class has one column only as a rule: it holds whatever unit the plan is in.
        named = edition_rows = list(choice.rows)
        if len({row["unit"] for row in named}) == 1:
            units = TemperatureUnit[named[0]["unit"]]
    fitting = [row for row in edition_rows if row["name"].casefold() == choice.name.casefold()]
    fitting = [row for row in fitting if _covers(row, setpoint_c, units, {r["unit"] for r in fitting})]
    if not fitting:
        return _unknown(choice, named, edition_rows, setpoint_c)
    row = fitting[0]
    half_width_c, obstacle = _half_width_c(row, setpoint_c, ambient_c)
    if row["standing"] in UNCONFIRMED and row["id"] not in confirmed:
        obstacle = (
            f"the limit is {STANDINGS[row['standing']]}; confirm it in a licensed copy and add "
            f'"{row["id"]}" to `confirmed` in the plan'
        )
    edition = next((e for e in row["editions"] if _same_edition(e, choice.edition)), "")
    return ClassLimits(
        id=row["id"],
        choice=choice,
        half_width_c=half_width_c,
        judged=row["judged"],
        citation=citation(row, edition),
        standing=row["standing"],
        obstacle=obstacle,
        trend_is_nonconformity=any(
            rule["document"] == choice.document
            and (rule["id"] in confirmed or any(_same_edition(e, choice.edition) for e in rule["editions"]))
            for rule in rows("uniformity_classes", "rule")
        ),
    )


def _same_edition(edition: str, wanted: str) -> bool:
    return bool(wanted) and (edition == wanted or edition.partition(" ")[0] == wanted)


def _edition(row: Row, wanted: str) -> bool:
    """Whether the row holds for the edition; without one wanted, the latest that the table knows."""
    return not wanted or any(_same_edition(edition, wanted) for edition in row["editions"])


def _covers(row: Row, setpoint_c: float, units: TemperatureUnit, columns: set[str]) -> bool:
    wanted = units.name if units.name in columns else "C"
    setpoint = temperature_from_c(setpoint_c, TemperatureUnit[row["unit"]])
    return bool(
        row["unit"] == wanted
        and setpoint <= row.get("setpoint_to", float("inf")) + 1e-9
        and setpoint >= row.get("setpoint_from", float("-inf")) - 1e-9
        and setpoint > row.get("setpoint_above", float("-inf")) + 1e-9
    )


def _half_width_c(row: Row, setpoint_c: float, ambient_c: float | None) -> tuple[float | None, str | None]:
    unit = TemperatureUnit[row["unit"]]
    if "half_width" in row:
        return difference_to_c(float(row["half_width"]), unit), None
    if ambient_c is None:
        return None, "the class is a share of (set point − ambient), and the plan gives no `ambient`"
    rise = difference_from_c(setpoint_c - ambient_c, unit)
    if rise < row.get("rise_from", float("-inf")) - 1e-9:
        return None, f"the class holds from {row['rise_from']:g} {unit.value} above ambient"
    return difference_to_c(row["percent_of_rise"] / 100.0 * rise, unit), None


def _unknown(
    choice: ClassChoice, named: list[Row], edition_rows: list[Row], setpoint_c: float
) -> ClassLimits:
    everything = rows("uniformity_classes", "class")
    if not named:
        documents = sorted({row["document"] for row in everything})
        reason = f"no table for '{choice.document}'{nearest(choice.document, documents)}"
        reason += f"; there are {', '.join(documents)}"
    elif not edition_rows:
        editions = sorted({edition for row in named for edition in row["editions"]})
        reason = f"no rows for edition '{choice.edition}' of {choice.document}"
        reason += f"; there are {', '.join(editions)}"
    else:
        names = sorted({row["name"] for row in edition_rows})
        if any(name.casefold() == choice.name.casefold() for name in names):
            reason = f"{choice} gives no limit at a set point of {setpoint_c:g} °C"
        else:
            reason = f"no class '{choice.name}' in {choice.document}; there are {', '.join(names)}"
            if not choice.name:
                reason = f"no class of {choice.document} is named; there are {', '.join(names)}"
    return ClassLimits(
        id="-".join(str(choice).casefold().split()),
        choice=choice,
        half_width_c=None,
        judged="all",
        citation=str(choice),
        standing="",
        obstacle=reason,
        trend_is_nonconformity=False,
    )


def confirmable_ids() -> list[str]:
    """Ids of the rows that a plan may confirm: unconfirmed limits, and rules seen in one edition only."""
    unconfirmed = [row["id"] for row in rows("uniformity_classes", "class") if row["standing"] in UNCONFIRMED]
    return unconfirmed + [row["id"] for row in rows("uniformity_classes", "rule")]


def variant_rows() -> tuple[dict[str, Any], ...]:
    """Rows of the figures that documents define in their own words."""
    return tuple(dict(row) for row in rows("variants", "variant"))
