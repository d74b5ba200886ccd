"""Figures of a window with what the errors of the sensors leave open about them, from the trials."""

from __future__ import annotations

from dataclasses import dataclass

from qualify.inference.moved_window import MovedWindow
from qualify.inference.trials import Quantities

MAXIMA_RISE = (
    "The mean of the simulated figure lies beyond the figure as shown: the largest of several uncertain "
    "numbers is on average larger than the largest of their best estimates. It is no better estimate of the "
    "true figure."
)
SELECTION_WARNING = (
    "locations lie closer together than their errors can tell apart, so that the one that shows most does so "
    "partly by its error; the figure as shown is then likelier beyond the true one than short of it, and the "
    "propagated interval holds less often than it says; the stated one allows for it"
)

NO_DIFFERENCE_C = 1e-9
SELECTION_SHARE = 0.2
"""The tool warns where the stated interval reaches further than the propagated one by more than this share of
the standard uncertainty. An end that is off by so much leaves 3.9 % beyond it instead of 2.5 %: up to there
the propagated interval of a normal figure holds in 93.6 % of cases at least."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SimulatedFigure:
    """A figure of the window and what the errors of the sensors leave open about it; all in °C.

    Attributes
    ----------
    as_shown_c
        The figure of the corrected readings.
    mean_c, standard_uncertainty_c
        Mean and standard deviation over the trials; see `MAXIMA_RISE`.
    propagated_low_c, propagated_high_c
        The probabilistically symmetric 95 % interval (JCGM 101:2008, 7.7; clause cited from
        memory).
    low_c, high_c
        The interval to state, which held in 94 to 99 % of the surveys of every sort in the coverage study:
        the propagated one, its lesser end (the upper one of deviation_min) drawn back as far as the figure
        as shown may lie beyond the true one because it is the extreme of several that could be equal; see
        `MovedWindow`. Where one location stands clear of the others nothing is drawn back.
    selection_warning
        What the drawing back means; empty where it is a small part of the standard uncertainty.
    """

    as_shown_c: float
    mean_c: float
    standard_uncertainty_c: float
    propagated_low_c: float
    propagated_high_c: float
    low_c: float
    high_c: float
    selection_warning: str


def simulated_figures(window: MovedWindow, figures: Quantities, tied: Quantities) -> list[SimulatedFigure]:
    """The simulated figures: deviation_max, deviation_min and, where there are, the two spreads.

    The greater end holds whatever the true temperatures are: the 97.5 % quantile of an extreme is not below
    that of any single location, that of the truly extreme one included. The lesser end: with what could be
    tied raised to the shown extreme S, the simulated extreme stays below its 97.5 % quantile Q; the shown one
    lies no further beyond the true one, which is therefore at least S − (Q − S).
    """
    means, deviations, (lows, highs) = figures.mean(), figures.standard_deviation(), figures.ends()
    tied_lows, tied_highs = tied.ends()
    found = []
    for at, as_shown in enumerate(window.as_shown().tolist()):
        low, high = float(lows[at]), float(highs[at])
        if at == 1:
            stated_low, stated_high = low, max(high, 2 * as_shown - float(tied_lows[at]))
        else:
            stated_low, stated_high = min(low, 2 * as_shown - float(tied_highs[at])), high
        if at > 1:
            stated_low = max(stated_low, 0.0)
        drawn_back = max(low - stated_low, stated_high - high)
        warned = drawn_back > SELECTION_SHARE * float(deviations[at]) + NO_DIFFERENCE_C
        found.append(
            SimulatedFigure(
                as_shown_c=as_shown,
                mean_c=float(means[at]),
                standard_uncertainty_c=float(deviations[at]),
                propagated_low_c=low,
                propagated_high_c=high,
                low_c=stated_low,
                high_c=stated_high,
                selection_warning=SELECTION_WARNING if warned else "",
            )
        )
    return found
