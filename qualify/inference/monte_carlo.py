"""Monte Carlo over an assessment window: what the errors of the sensors make of its figures.

Model: true T_i(t) = shown T_i(t) + e_i, with errors e_i that stay over the window (JCGM 101:2008,
Supplement 1 to the GUM). Nothing has to be simulated in time then: the largest reading of location i moves
by e_i, its mean too, and the largest difference of i and j over time by e_i − e_j.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from qualify.figures.absent import Absent, Maybe
from qualify.inference.error_sources import ErrorDraws, ErrorSource, error_covariance
from qualify.inference.moved_window import MovedWindow
from qualify.inference.simulated_figures import (
    MAXIMA_RISE,
    SELECTION_WARNING,
    SimulatedFigure,
    simulated_figures,
)
from qualify.inference.trials import COVERAGE, Moments, Quantities
from qualify.inference.window_extremes import WindowExtremes, window_extremes
from qualify.readings.model import FloatArray

__all__ = [
    "ASSUMPTIONS",
    "MAXIMA_RISE",
    "SELECTION_WARNING",
    "ErrorSource",
    "SimulatedFigure",
    "Simulation",
    "WindowExtremes",
    "simulate",
    "window_extremes",
]

ASSUMPTIONS = (
    "Each location's error stays the same over the window; it is the sum of the listed sources. A source is "
    "either private, so that every location has an error of its own, or shared by the locations of a group, "
    "whose errors then move together. Sources are independent of each other. Before the survey no "
    "temperature is held likelier than another. The temperatures between readings and of places without a "
    "sensor are not part of it: the probability is that of the watched locations at the instants read, and "
    "of nothing else."
)
PROBABILITY_WARNING = (
    "locations lie closer together than their errors can tell apart; over many such surveys the probability "
    "that all conformed is stated rather too low than too high"
)

BLOCK_TRIALS = 10_000
TIED_TRIALS = 2_500
"""Of each block, these serve for what could be tied; its ends move no faster than the tolerance allows."""
LEAST_BLOCKS = 10
LEAST_TRIALS = 1_000
TOLERANCE_SHARE = 0.02
NEARLY_SURE = 0.99
NO_LIMITS = Absent("there is no limit to conform to")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Simulation:
    """Result of a Monte Carlo over a window.

    Attributes
    ----------
    deviation_max, deviation_min
        Largest and least deviation from the set point.
    spread_max, spread_of_means
        Largest instantaneous difference of two locations, and difference of the largest and the least mean.
    location_standard_c : (m,) float64
        Standard deviation of the error of each location [°C].
    conforms : (m,) float64
        Probability that each location kept the limits there are, all over the window.
    all_conform_high, all_conform_low, all_conform
        Probability that all watched locations kept the upper limit, the lower limit, and whatever limits
        there are. A probability of 0 or 1 means: in no trial, in every trial.
    all_conform_if_independent
        Product of `conforms`: what `all_conform` would be if no error were shared.
    decides : (m,) float64
        Share of trials in which each location has the least margin; equal ones share the trial.
    probability_warning
        Why `all_conform` is rather too low than too high; empty where nothing says so.
    locations, sources
        Number of locations; names of the sources.
    setpoint_c, limit_low_c, limit_high_c, seed, generator
        As they were used.
    trials
        Number of trials.
    converged
        Whether the numerical tolerances were reached.
    numerical_tolerance_c, numerical_tolerance
        The tolerances asked for: temperatures [°C], probabilities [1].
    reached_c, reached
        The tolerances reached: twice the largest standard deviation of a mean over blocks of trials.
    coverage
        Of the intervals.
    """

    deviation_max: SimulatedFigure
    deviation_min: SimulatedFigure
    spread_max: SimulatedFigure | Absent
    spread_of_means: SimulatedFigure | Absent
    location_standard_c: FloatArray
    conforms: FloatArray | Absent
    all_conform_high: Maybe
    all_conform_low: Maybe
    all_conform: Maybe
    all_conform_if_independent: Maybe
    decides: FloatArray | Absent
    probability_warning: str
    locations: int
    sources: tuple[str, ...]
    setpoint_c: float
    limit_low_c: float | None
    limit_high_c: float | None
    seed: int
    generator: str
    trials: int
    converged: bool
    numerical_tolerance_c: float
    numerical_tolerance: float
    reached_c: Maybe
    reached: Maybe
    coverage: float = COVERAGE


def simulate(
    extremes: WindowExtremes,
    sources: Sequence[ErrorSource],
    *,
    setpoint_c: float = 0.0,
    limit_low_c: float | None,
    limit_high_c: float | None,
    seed: int,
    numerical_tolerance_c: float | None = None,
    numerical_tolerance: float = 0.002,
    most_trials: int = 10_000_000,
) -> Simulation | Absent:
    """Simulate the errors of the sensors over a window until the results are steady.

    Blocks of 10,000 trials, at least ten, until twice the standard deviation of the mean over the blocks is
    within its tolerance for every mean, standard uncertainty, interval end and probability (JCGM 101:2008,
    7.9.4, clause cited from memory; there two blocks may do). The same seed gives the same numbers with the
    same version of numpy. Equal to a limit meets it.

    Parameters
    ----------
    extremes
        What `window_extremes` takes from the window. Its temperatures, the set point and the limits are all
        on one scale [°C].
    sources
        The errors that are left in the corrected readings.
    setpoint_c
        Set point [°C]; the deviations are from it.
    limit_low_c, limit_high_c
        Limits of the temperature [°C], or None.
    seed
        Of the generator PCG64.
    numerical_tolerance_c
        For temperatures [°C]; without it a fiftieth of the largest standard deviation of an error.
    numerical_tolerance
        For probabilities and shares [1].
    most_trials
        No more than this many. Below 10,000, a single block of so many, never called converged.

    Raises
    ------
    ValueError
        If a tolerance is not above zero, fewer than 1,000 trials are allowed, the limits are turned round,
        or a source is for another number of locations.
    """
    locations = extremes.highest_c.size
    _check(locations, sources, limit_low_c, limit_high_c)
    for tolerance in (numerical_tolerance_c, numerical_tolerance):
        if tolerance is not None and not tolerance > 0:
            raise ValueError(f"a numerical tolerance is above zero, not {tolerance}")
    if most_trials < LEAST_TRIALS:
        raise ValueError(f"a 95 % interval needs at least {LEAST_TRIALS} trials, not {most_trials}")
    covariance_c2 = error_covariance(sources) if sources else np.zeros((locations, locations))
    standard_c = np.sqrt(np.diag(covariance_c2))
    if (reason := _obstacle(extremes, standard_c)) is not None:
        return Absent(reason)
    tolerance_c = (
        TOLERANCE_SHARE * float(standard_c.max()) if numerical_tolerance_c is None else numerical_tolerance_c
    )
    window = MovedWindow(
        extremes=extremes,
        setpoint_c=setpoint_c,
        covariance_c2=covariance_c2,
        limit_low_c=limit_low_c,
        limit_high_c=limit_high_c,
    )
    trials = min(BLOCK_TRIALS, most_trials)
    draws = ErrorDraws(sources, np.random.Generator(np.random.PCG64(seed)))
    errors = np.empty((locations, trials))
    figures, tied, shares = Quantities(), Quantities(), Moments()
    converged = False
    while not converged and figures.trials + trials <= most_trials:
        draws.fill(errors)
        moved = window.figures(errors)
        figures.add(moved)
        tied.add(window.tied_figures(errors[:, :TIED_TRIALS]))
        shares.add(window.judged(errors, moved))
        converged = (
            shares.count >= LEAST_BLOCKS
            and shares.twice_error() <= numerical_tolerance
            and max(figures.blocks.twice_error(), tied.blocks.twice_error()) <= tolerance_c
        )
    figures_found = simulated_figures(window, figures, tied)
    has_limits, mean = window.has_limits, shares.mean
    # A side on which all but surely all conform can't be stated too low by much.
    warned = has_limits and any(
        one.selection_warning and share < NEARLY_SURE
        for one, share in zip(figures_found[:2], mean[:2], strict=True)
    )
    conforms = mean[3 : 3 + locations]
    return Simulation(
        deviation_max=figures_found[0],
        deviation_min=figures_found[1],
        spread_max=figures_found[2] if window.has_spread else _no_spread(extremes),
        spread_of_means=figures_found[3] if window.has_spread else _no_spread(extremes),
        location_standard_c=standard_c,
        conforms=conforms if has_limits else NO_LIMITS,
        all_conform_high=float(mean[0]) if limit_high_c is not None else Absent("there is no upper limit"),
        all_conform_low=float(mean[1]) if limit_low_c is not None else Absent("there is no lower limit"),
        all_conform=float(mean[2]) if has_limits else NO_LIMITS,
        all_conform_if_independent=float(np.prod(conforms)) if has_limits else NO_LIMITS,
        decides=mean[3 + locations :] if has_limits else NO_LIMITS,
        probability_warning=PROBABILITY_WARNING if warned else "",
        locations=locations,
        sources=tuple(source.name for source in sources),
        setpoint_c=setpoint_c,
        limit_low_c=limit_low_c,
        limit_high_c=limit_high_c,
        seed=seed,
        generator="PCG64",
        trials=figures.trials,
        converged=converged,
        numerical_tolerance_c=tolerance_c,
        numerical_tolerance=numerical_tolerance,
        reached_c=_reached(max(figures.blocks.twice_error(), tied.blocks.twice_error()), shares.count),
        reached=_reached(shares.twice_error(), shares.count) if has_limits else NO_LIMITS,
    )


def _check(
    locations: int, sources: Sequence[ErrorSource], limit_low_c: float | None, limit_high_c: float | None
) -> None:
    if limit_low_c is not None and limit_high_c is not None and not limit_low_c <= limit_high_c:
        raise ValueError(f"the lower limit {limit_low_c} °C is above the upper one, {limit_high_c} °C")
    for source in sources:
        if source.standard_c.size != locations:
            raise ValueError(
                f"{source.name}: {source.standard_c.size} locations, but the window has {locations}"
            )


def _obstacle(extremes: WindowExtremes, standard_c: FloatArray) -> str | None:
    """Why nothing can be simulated."""
    locations = extremes.highest_c.size
    silent = int(np.count_nonzero(extremes.readings == 0))
    if silent:
        return f"{silent} of {locations} locations have no reading in the window"
    unknown = int(np.count_nonzero(np.isnan(standard_c)))
    if unknown:
        return f"no uncertainty is known for {unknown} of {locations} locations"
    if not standard_c.any():
        return "no uncertainty is known: there is nothing to simulate"
    if np.isinf(standard_c).any():
        return "an uncertainty with 2 degrees of freedom or fewer has no standard deviation to simulate with"
    return None


def _no_spread(extremes: WindowExtremes) -> Absent:
    if extremes.highest_c.size < 2:
        return Absent("one location has no spread")
    return Absent("no instant in the window at which every location has a reading")


def _reached(error: float, blocks: int) -> Maybe:
    return error if blocks > 1 else Absent("a single block of trials doesn't tell its own numerical error")
