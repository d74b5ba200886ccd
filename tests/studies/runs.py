"""Coverage of what replicate runs claim: invented runs of known truth, from a seeded generator.

Run, location and rest are normal; a case is one set of replicate runs. `studies` gives the table.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from math import sqrt

import numpy as np

from qualify.figures.absent import Absent
from qualify.inference.capability import capability
from qualify.inference.components import run_components
from qualify.inference.likelihood_components import likelihood_components
from qualify.inference.location_tolerance import location_tolerance
from qualify.inference.next_run import next_run, passing_runs
from qualify.inference.outlying import outlying_run, outlying_runs
from qualify.inference.run_stability import run_stability, run_trend, runs_following
from qualify.inference.tolerance import tolerance_interval
from qualify.inference.variance_intervals import Component
from qualify.readings.model import FloatArray
from tests.studies.study import Row

RUN_SD, LOCATION_SD, REST_SD = 0.5, 1.0, 0.3
SMALL_RUN_SD = 0.1
MEAN = 0.7
LIKELIHOOD_SHARE = 10
"""One in so many cases goes to the likelihood's intervals, each of which takes a fifth of a second."""

Covered = bool | None
"""Whether the interval held the truth; None where there was none."""


def table(
    random: np.random.Generator, locations: int, runs: int, run_sd: float = RUN_SD, missing: float = 0.0
) -> tuple[FloatArray, FloatArray]:
    """Invent one table (locations, runs) and the locations' own places."""
    places = MEAN + random.normal(0.0, LOCATION_SD, locations)
    values = places[:, None] + random.normal(0.0, run_sd, runs) + random.normal(0, REST_SD, (locations, runs))
    values[random.random(values.shape) < missing] = np.nan
    return values, places


def counted(study: str, intervals: dict[str, bool], results: Iterator[tuple[Covered, ...]]) -> list[Row]:
    """Rows of one study; `intervals` maps each to whether the result carries a note of warning."""
    found = list(results)
    rows = []
    for at, (interval, warned) in enumerate(intervals.items()):
        given = [result[at] for result in found if result[at] is not None]
        rows.append(
            Row(
                study=study,
                interval=interval,
                cases=len(given),
                covered=sum(bool(one) for one in given),
                absent=len(found) - len(given),
                warned=warned,
            )
        )
    return rows


def within(component: Component | Absent, truth: float) -> Covered:
    return None if isinstance(component, Absent) else component.low_c2 <= truth <= component.high_c2


def content_of(low: float, high: float, mean: float, sd: float) -> float:
    from scipy.special import ndtr

    return float(ndtr((high - mean) / sd) - ndtr((low - mean) / sd))


def component_rows(
    cases: int, random: np.random.Generator, locations: int, runs: int, run_sd: float, missing: float
) -> list[Row]:
    def results() -> Iterator[tuple[Covered, ...]]:
        for _ in range(cases):
            values, places = table(random, locations, runs, run_sd, missing)
            found = run_components(values)
            if isinstance(found, Absent):
                yield (None,) * 5
                continue
            limits = location_tolerance(values)
            held: Covered = None
            both = sqrt(run_sd**2 + REST_SD**2)
            if not isinstance(limits, Absent) and np.isfinite(limits.low_c[0]):
                ends = float(limits.low_c[0]), float(limits.high_c[0])
                held = content_of(*ends, float(places[0]), both) >= limits.content
            yield (
                within(found.run, run_sd**2),
                within(found.location, LOCATION_SD**2),
                within(found.residual, REST_SD**2),
                within(found.run_to_run, both**2),
                held,
            )

    intervals = {
        "run component": False,
        "location component": False,
        "residual component": False,
        "run and residual together": False,
        # Its note says so where few runs don't tell the runs' own part from nothing.
        "location at the next runs, tolerance 0.95/0.95": runs < 6 and run_sd == SMALL_RUN_SD,
    }
    return counted(_title(locations, runs, run_sd, missing), intervals, results())


def likelihood_rows(
    cases: int, random: np.random.Generator, locations: int, runs: int, missing: float
) -> list[Row]:
    def results() -> Iterator[tuple[Covered, ...]]:
        for _ in range(cases):
            found = likelihood_components(table(random, locations, runs, RUN_SD, missing)[0])
            if isinstance(found, Absent):
                yield (None,) * 3
                continue
            truths = (RUN_SD, found.run), (LOCATION_SD, found.location), (REST_SD, found.residual)
            yield tuple(within(component, sd**2) for sd, component in truths)

    names = "run", "location", "residual"
    intervals = {f"{name} component, likelihood": False for name in names}
    return counted(_title(locations, runs, RUN_SD, missing), intervals, results())


def figure_rows(cases: int, random: np.random.Generator, runs: int) -> list[Row]:
    """Statements from one figure a run: mean 1.2, standard deviation 0.5, limits −2.5 and 2.5."""
    mean, sd, limit = 1.2, 0.5, 2.5
    one_sided, two_sided = content_of(-np.inf, limit, mean, sd), content_of(-limit, limit, mean, sd)
    both_near = content_of(-limit, limit, 0.0, 1.0)

    def results() -> Iterator[tuple[Covered, ...]]:
        for _ in range(cases):
            values, coming = random.normal(mean, sd, runs), random.normal(mean, sd)
            tolerance, upper = tolerance_interval(values), tolerance_interval(values, side="upper")
            ahead, ahead_both = next_run(values, None, limit), next_run(values, -limit, limit)
            centred = next_run(random.normal(0.0, 1.0, runs), -limit, limit)
            trend = run_trend(values)
            assert not isinstance(tolerance, Absent)
            assert not isinstance(upper, Absent)
            assert not isinstance(ahead, Absent)
            assert not isinstance(ahead_both, Absent)
            assert not isinstance(centred, Absent)
            assert not isinstance(trend, Absent)
            yield (
                content_of(tolerance.low_c, tolerance.high_c, mean, sd) >= 0.95,  # type: ignore[arg-type]
                content_of(-np.inf, upper.high_c, mean, sd) >= 0.95,  # type: ignore[arg-type]
                ahead.low_c <= coming <= ahead.high_c,
                ahead.share_low <= one_sided <= ahead.share_high,  # type: ignore[operator]
                ahead.share_at_least <= one_sided,  # type: ignore[operator]
                ahead_both.share_low <= two_sided <= ahead_both.share_high,  # type: ignore[operator]
                centred.share_low <= both_near <= centred.share_high,  # type: ignore[operator]
                centred.share_at_least <= both_near,  # type: ignore[operator]
                trend.low_c_per_run <= 0.0 <= trend.high_c_per_run,
            )

    intervals = [
        "tolerance interval 0.95/0.95, two-sided",
        "tolerance limit 0.95/0.95, upper",
        "prediction interval of the next run",
        "share of runs inside one limit",
        "share of runs inside one limit, lower bound",
        "share of runs inside two limits, one near",
        "share of runs inside two limits, both near",
        "share of runs inside two limits, both near, lower bound",
        "trend across runs",
    ]
    # The method of two limits says that it holds the truth at least as often as stated.
    warned = {name: "two limits" in name for name in intervals}
    return counted(f"one figure a run, {runs} runs", warned, results())


def capability_rows(cases: int, random: np.random.Generator, runs: int, mean: float) -> list[Row]:
    """Indices of limits −3 and 3 and standard deviation 0.8."""
    sd, limit = 0.8, 3.0
    spread, nearer = limit / (3 * sd), (limit - mean) / (3 * sd)

    def results() -> Iterator[tuple[Covered, ...]]:
        for _ in range(cases):
            values = random.normal(mean, sd, runs)
            found, one = capability(values, -limit, limit), capability(values, None, limit)
            if isinstance(found, Absent) or isinstance(one, Absent):
                yield (None,) * 5
                continue
            assert not isinstance(found.pp, Absent)
            assert not isinstance(found.cp, Absent)
            pairs = [(found.pp, spread), (found.ppk, nearer), (one.ppk, nearer)]
            pairs += [(found.cp, spread), (found.cpk, nearer)]
            yield tuple(index.low <= truth <= index.high for index, truth in pairs)

    names = ["Pp", "Ppk, two limits", "Ppk, one limit", "Cp", "Cpk, two limits"]
    warned = {name: "two limits" in name for name in names}  # as for shares inside two limits
    return counted(f"capability, {runs} runs, mean at {mean:g}", warned, results())


def alarm_rows(cases: int, random: np.random.Generator, runs: int) -> list[Row]:
    """No false alarm of runs that are alike."""

    def quiet(test: Callable[[FloatArray], object], alarm: str) -> Callable[[FloatArray], Covered]:
        def answer(values: FloatArray) -> Covered:
            found = test(values)
            return None if isinstance(found, Absent) else not getattr(found, alarm)

        return answer

    tests = {
        "no outlying run (Grubbs)": quiet(outlying_run, "outlying"),
        "no outlying runs (several)": quiet(outlying_runs, "runs"),
        "no run follows the one before": quiet(runs_following, "significant"),
        "runs are stable": quiet(run_stability, "reasons"),
    }

    def results() -> Iterator[tuple[Covered, ...]]:
        for _ in range(cases):
            values = random.normal(0.0, 1.0, runs)
            yield tuple(test(values) for test in tests.values())

    # Its note warns below 15 runs.
    warned = {name: "several" in name and runs < 15 for name in tests}
    return counted(f"alike runs, {runs} of them", warned, results())


def passing_rows(cases: int, random: np.random.Generator, runs: int) -> list[Row]:
    """Clopper–Pearson holds its truth at least as often as stated: with few runs nearly always."""

    def results() -> Iterator[tuple[Covered, ...]]:
        for passed in random.binomial(runs, 0.9, cases):
            found = passing_runs(int(passed), runs)
            assert not isinstance(found, Absent)
            yield (found.low <= 0.9 <= found.high, found.at_least <= 0.9)

    names = ["share passing, Clopper–Pearson", "share passing, lower bound"]
    return counted(f"passing alone, {runs} runs", dict.fromkeys(names, True), results())


def _title(locations: int, runs: int, run_sd: float, missing: float) -> str:
    gaps = f", {missing:.0%} of figures missing" if missing else ""
    return f"{locations} locations, {runs} runs, run sd {run_sd:g}{gaps}"


def studies(cases: int = 2000, seed: int = 20260411) -> list[Row]:
    """Give the whole table.

    Parameters
    ----------
    cases
        Invented sets of runs in each row; a tenth of them for the likelihood's intervals.
    seed
        Of the generator.
    """
    random = np.random.default_rng(seed)
    rows: list[Row] = []
    for runs in (3, 10):
        for locations in (9, 40):
            rows += component_rows(cases, random, locations, runs, RUN_SD, 0.0)
        rows += component_rows(cases, random, 9, runs, SMALL_RUN_SD, 0.0)
        rows += component_rows(cases, random, 9, runs, RUN_SD, 0.1)
        rows += likelihood_rows(max(cases // LIKELIHOOD_SHARE, 1), random, 9, runs, 0.1)
        rows += figure_rows(cases, random, runs)
        rows += passing_rows(cases, random, runs)
    for mean in (0.0, 0.3, 1.0):
        rows += capability_rows(cases, random, 10, mean)
    for runs in (5, 10, 20):
        rows += alarm_rows(cases, random, runs)
    return rows
