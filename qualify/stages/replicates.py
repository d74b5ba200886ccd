"""Replicate runs of a plan: holds of one set point in several recordings of one stage, run by run."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from qualify.figures.absent import Absent, Maybe, present
from qualify.plan.model import Stage
from qualify.plan.statistics import StatisticsChoice
from qualify.readings.model import FloatArray
from qualify.record import ReplicateRecord, SurveyRecord

if TYPE_CHECKING:
    from qualify.inference.replicates import Replicates

ONE_RUN = Absent(
    "one run: the sample of a statement about runs to come is the run, never readings or locations"
)

_Key = tuple[str, float, float | None, float | None]


def replicates(
    records: Sequence[SurveyRecord],
    choice: StatisticsChoice | None,
    left_out: Sequence[tuple[str, str]] = (),
) -> tuple[ReplicateRecord, ...]:
    """Find the replicate runs among the holds, and say what they allow to say of runs to come.

    Runs are replicates where stage, set point and limits are the same. A set point with one run is listed
    for the performance stage only, where runs are what is asked for.

    Parameters
    ----------
    records
        Every hold of the plan, in its order.
    choice
        Share of future runs and confidence; None: nothing is computed.
    left_out
        Names of runs that are no replicates, each with the reason.
    """
    if choice is None:
        return ()
    groups: dict[_Key, list[SurveyRecord]] = {}
    reasons = dict(left_out)
    for record in records:
        if record.recording in reasons:
            continue
        groups.setdefault(
            (record.stage, record.setpoint_c, record.limit_low_c, record.limit_high_c), []
        ).append(record)
    return tuple(
        replace(_group(runs, choice), left_out=tuple(f"{run}: {reason}" for run, reason in left_out))
        for runs in groups.values()
        if len(runs) > 1 or runs[0].stage == Stage.PERFORMANCE.value
    )


def _group(runs: Sequence[SurveyRecord], choice: StatisticsChoice) -> ReplicateRecord:
    first = runs[0]
    names = tuple(dict.fromkeys(item.location for run in runs for item in run.locations))
    if len(runs) < 2:
        return _record(runs, names, ONE_RUN)
    # Components and tolerance intervals need scipy, which the quick path never loads.
    from qualify.inference.replicates import replicate_statistics

    def limit(value_c: float | None) -> float | None:
        return None if value_c is None else value_c - first.setpoint_c

    return _record(
        runs,
        names,
        replicate_statistics(
            [run.name for run in runs],
            _numbers([run.chamber.deviation_max_c for run in runs]),
            _numbers([run.chamber.deviation_min_c for run in runs]),
            _table(runs, names),
            limit(first.limit_low_c),
            limit(first.limit_high_c),
            choice.content,
            choice.confidence,
        ),
    )


def _record(
    runs: Sequence[SurveyRecord], names: tuple[str, ...], found: Replicates | Absent
) -> ReplicateRecord:
    first = runs[0]
    table_c = _table(runs, names)
    return ReplicateRecord(
        stage=first.stage,
        setpoint_c=first.setpoint_c,
        limit_low_c=first.limit_low_c,
        limit_high_c=first.limit_high_c,
        runs=tuple(run.name for run in runs),
        locations=names,
        mean_deviations_c=tuple(
            tuple(None if np.isnan(value) else float(value) for value in row) for row in table_c
        ),
        statistics=found,
    )


def _table(runs: Sequence[SurveyRecord], names: Sequence[str]) -> FloatArray:
    """Mean deviation from the set point of each location (row) in each run (column) [°C]; NaN: none."""
    table = np.full((len(names), len(runs)), np.nan)
    for column, run in enumerate(runs):
        for item in run.locations:
            if present(item.mean_c):
                table[names.index(item.location), column] = item.mean_c - run.setpoint_c
    return table


def _numbers(figures: Sequence[Maybe]) -> FloatArray:
    return np.array([figure if present(figure) else np.nan for figure in figures])
