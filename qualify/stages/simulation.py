"""The Monte Carlo of one hold: the budgets' errors, shared where they are shared, over its window."""

from __future__ import annotations

from collections.abc import Sequence
from math import isfinite

import numpy as np

from qualify.figures.absent import Absent, Maybe
from qualify.figures.budget import Budget, Contribution
from qualify.figures.uniformity import Window
from qualify.inference.error_sources import Distribution, ErrorSource
from qualify.inference.monte_carlo import (
    ASSUMPTIONS,
    MAXIMA_RISE,
    SimulatedFigure,
    Simulation,
    simulate,
    window_extremes,
)
from qualify.plan.statistics import StatisticsChoice
from qualify.readings.model import FloatArray, IntArray
from qualify.record import SimulatedFigureRecord, SimulatedLocationRecord, SimulationRecord
from qualify.stages.budgets import LocationBudgets
from qualify.stages.stretch import Stretch


def simulate_hold(
    stretch: Stretch,
    window: Window | Absent,
    budgets: Sequence[LocationBudgets],
    choice: StatisticsChoice,
) -> Simulation | Absent:
    """Simulate the errors of all locations over the window.

    Parameters
    ----------
    stretch, window
        The hold, and the readings that are judged.
    budgets
        Of every location.
    choice
        Seed and numerical tolerance.
    """
    if isinstance(window, Absent):
        return window
    sources = error_sources([item.reading for item in budgets])
    if isinstance(sources, Absent):
        return sources
    return simulate(
        window_extremes(window.corrected_c, window.seconds),
        sources,
        setpoint_c=window.setpoint_c,
        limit_low_c=stretch.limits.low_c,
        limit_high_c=stretch.limits.high_c,
        seed=choice.seed,
        numerical_tolerance=choice.numerical_tolerance,
        numerical_tolerance_c=choice.numerical_tolerance_c,
    )


def error_sources(budgets: Sequence[Budget | Absent]) -> list[ErrorSource] | Absent:
    """Turn the rows of all budgets into sources of error: a source for each kind of row.

    Rows of one source, shape and degrees of freedom are one source of error; locations whose rows are
    shared with the same key share its draw.

    Parameters
    ----------
    budgets
        Of one reading at each location.
    """
    unknown = [item for item in budgets if isinstance(item, Absent)]
    if unknown:
        return Absent(
            f"the uncertainty of {len(unknown)} of {len(budgets)} locations is not known: {unknown[0].reason}"
        )
    rows: dict[tuple[str, str, float], dict[int, list[Contribution]]] = {}
    for column, item in enumerate(budgets):
        assert isinstance(item, Budget)
        for row in item.contributions:
            key = (row.source, row.shape, row.degrees_of_freedom)
            rows.setdefault(key, {}).setdefault(column, []).append(row)
    sources: list[ErrorSource] = []
    for (source, shape, degrees), of_column in rows.items():
        # A plan may name "other" sources more than once for one location: they are sources of their own.
        for number in range(max(len(found) for found in of_column.values())):
            standard_c = np.zeros(len(budgets))
            group: IntArray = np.arange(len(budgets), dtype=np.int64)
            numbers: dict[str, int] = {}
            for column, found in of_column.items():
                if number < len(found):
                    standard_c[column] = found[number].standard_c
                    if found[number].shared_with:
                        group[column] = numbers.setdefault(
                            found[number].shared_with, len(budgets) + len(numbers)
                        )
            sources.append(_source(source, standard_c, shape, degrees, group))
    return sources


def _source(name: str, standard_c: FloatArray, shape: str, degrees: float, group: IntArray) -> ErrorSource:
    distribution: Distribution = "rectangular" if shape == "rectangular" else "normal"
    if shape == "triangular":
        distribution = "triangular"
    elif distribution == "normal" and isfinite(degrees):
        distribution = "student"
    return ErrorSource(
        name=name,
        standard_c=standard_c,
        distribution=distribution,
        degrees_of_freedom=degrees if distribution == "student" else float("inf"),
        group=group,
    )


# ---- into the record ----


def simulation_record(stretch: Stretch, found: Simulation | Absent) -> SimulationRecord | Absent:
    """Put a simulation into the record."""
    if isinstance(found, Absent):
        return found
    names = stretch.readings.locations
    return SimulationRecord(
        trials=found.trials,
        converged=found.converged,
        seed=found.seed,
        generator=found.generator,
        numerical_tolerance=found.numerical_tolerance,
        numerical_tolerance_c=found.numerical_tolerance_c,
        coverage=found.coverage,
        sources=found.sources,
        figures=tuple(
            _figure(name, item)
            for name, item in (
                ("deviation_max_c", found.deviation_max),
                ("deviation_min_c", found.deviation_min),
                ("spread_max_c", found.spread_max),
                ("spread_of_means_c", found.spread_of_means),
            )
            if isinstance(item, SimulatedFigure)
        ),
        locations=tuple(
            SimulatedLocationRecord(
                location=name,
                error_standard_c=float(found.location_standard_c[column]),
                conforms=_of_column(found.conforms, column),
                decides=_of_column(found.decides, column),
            )
            for column, name in enumerate(names)
        ),
        all_conform=found.all_conform,
        all_conform_high=found.all_conform_high,
        all_conform_low=found.all_conform_low,
        all_conform_if_independent=found.all_conform_if_independent,
        warning=found.probability_warning,
        assumptions=ASSUMPTIONS,
        remark=MAXIMA_RISE,
    )


def _of_column(figures: FloatArray | Absent, column: int) -> Maybe:
    return figures if isinstance(figures, Absent) else float(figures[column])


def _figure(name: str, found: SimulatedFigure) -> SimulatedFigureRecord:
    return SimulatedFigureRecord(
        figure=name,
        as_shown_c=found.as_shown_c,
        mean_c=found.mean_c,
        standard_uncertainty_c=found.standard_uncertainty_c,
        propagated_low_c=found.propagated_low_c,
        propagated_high_c=found.propagated_high_c,
        low_c=found.low_c,
        high_c=found.high_c,
        warning=found.selection_warning,
    )
