"""What a plan asks of a run's heat: dry-heat effect, cure equivalent, time above a temperature."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from qualify.plan.keys import Keys
from qualify.units import TemperatureUnit, difference_to_c, temperature_to_c


class HeatKind(StrEnum):
    """What is added up over a run."""

    EFFECT = "dry-heat effect"
    CURE = "cure equivalent"
    ABOVE = "time above"


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatAsked:
    """One sum over a run, in minutes, judged where it is least: at load sensors where there are any.

    Attributes
    ----------
    name, kind
        Its own name, and what is added up.
    reference_c
        T_ref; for the time above a temperature, that temperature [°C].
    z_c
        z of a dry-heat effect [°C].
    activation_energy_kj_per_mol
        Of a cure equivalent.
    above_c
        Below this temperature nothing counts [°C]; None: everything does.
    least_minutes, most_minutes
        Limits [min]; None where there is none on that side.
    because
        Where reference, z or energy come from.
    holds
        In the recordings of which holds; empty: in all.
    """

    name: str
    kind: HeatKind
    reference_c: float
    z_c: float | None = None
    activation_energy_kj_per_mol: float | None = None
    above_c: float | None = None
    least_minutes: float | None = None
    most_minutes: float | None = None
    because: str = ""
    holds: tuple[str, ...] = ()


def read_heat(top: Keys, units: TemperatureUnit) -> tuple[HeatAsked, ...]:
    """Read the plan's `heat` tables.

    Raises
    ------
    Refusal
        If a value is missing or not of its kind.
    """
    found = []
    for table in top.tables("heat"):
        kind = table.choice("kind", [item.value for item in HeatKind])
        if kind is None:
            raise table.missing("kind", "It says what is added up over the run.")
        reference = table.number("reference")
        if reference is None:
            raise table.missing("reference", "Minutes count at a temperature, or above one.")
        above = table.number("count_above")
        z = table.number("z")
        if kind == HeatKind.EFFECT and z is None:
            raise table.missing("z", "A dry-heat effect rests on it, and no value is built in.")
        if z is not None and z <= 0:
            raise table.wrong("z", "a difference above zero")
        energy = table.number("activation_energy_kj_per_mol")
        if kind == HeatKind.CURE and energy is None:
            raise table.missing("activation_energy_kj_per_mol", "A cure equivalent rests on it.")
        found.append(
            HeatAsked(
                name=table.text("name", why="What is added up is told apart by its name."),
                kind=HeatKind(kind),
                reference_c=float(temperature_to_c(reference, units)),
                z_c=None if z is None else float(difference_to_c(z, units)),
                activation_energy_kj_per_mol=energy,
                above_c=None if above is None else float(temperature_to_c(above, units)),
                least_minutes=table.number("least_min", least=0.0),
                most_minutes=table.number("most_min", least=0.0),
                because=table.text("because", why="These numbers are yours: say where they come from."),
                holds=table.texts("holds"),
            )
        )
        table.done()
    return tuple(found)
