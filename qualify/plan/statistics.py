"""What the plan says of the statistics: confidence, simulation, what is known of such ovens."""

from __future__ import annotations

from dataclasses import dataclass

from qualify.plan.keys import Keys
from qualify.units import CelsiusDifference, TemperatureUnit, difference_to_c

SEED = 20260302
"""Seed of the simulation where the plan states none: any number, but always the same."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Prior:
    """What is known of the deviations from set point of such ovens before the survey; normal.

    `mean_c`, `standard_c` [°C of difference]; `because` says where they come from.
    """

    mean_c: CelsiusDifference
    standard_c: CelsiusDifference
    because: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StatisticsChoice:
    """How the statistics are computed.

    Attributes
    ----------
    seed
        Of the simulations.
    numerical_tolerance, numerical_tolerance_c
        To which simulated probabilities [1] and temperatures [°C of difference] are to be known.
    content, confidence
        Of tolerance intervals over replicate runs.
    prior
        For the global risks; None: they are absent.
    """

    seed: int = SEED
    numerical_tolerance: float = 0.002
    numerical_tolerance_c: CelsiusDifference = CelsiusDifference(0.005)
    content: float = 0.95
    confidence: float = 0.95
    prior: Prior | None = None


def read_statistics(top: Keys, units: TemperatureUnit) -> StatisticsChoice:
    """Read the plan's table `statistics`.

    Raises
    ------
    Refusal
        If a value is not of its kind.
    """
    table = top.table("statistics")
    if table is None:
        return StatisticsChoice()
    seed = table.whole("seed", least=0)
    tolerance = table.number("numerical_tolerance", default=0.002)
    if tolerance is None or not 1e-4 <= tolerance <= 0.05:
        raise table.wrong("numerical_tolerance", "a number from 0.0001 to 0.05")
    degrees = table.number("temperature_tolerance")
    if degrees is not None and not 1e-4 <= degrees <= 1.0:
        raise table.wrong("temperature_tolerance", "a number from 0.0001 to 1")
    shares = {}
    for key in ("content", "confidence"):
        share = table.number(key, default=0.95)
        if share is None or not 0.5 <= share < 1.0:
            raise table.wrong(key, "a share from 0.5 to below 1")
        shares[key] = share
    prior = _prior(table, units)
    table.done()
    return StatisticsChoice(
        seed=SEED if seed is None else seed,
        numerical_tolerance=tolerance,
        numerical_tolerance_c=CelsiusDifference(
            0.005 if degrees is None else difference_to_c(degrees, units)
        ),
        prior=prior,
        **shares,
    )


def _prior(table: Keys, units: TemperatureUnit) -> Prior | None:
    found = table.table("prior")
    if found is None:
        return None
    standard = found.number("standard_deviation")
    if standard is None:
        raise found.missing("standard_deviation", "A prior without a width knows everything.")
    if standard <= 0:
        raise found.wrong("standard_deviation", "a number above zero")
    prior = Prior(
        mean_c=CelsiusDifference(difference_to_c(found.number("mean", default=0.0) or 0.0, units)),
        standard_c=CelsiusDifference(difference_to_c(standard, units)),
        because=found.text("because", why="A risk rests on where the prior comes from."),
    )
    found.done()
    return prior
