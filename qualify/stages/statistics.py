"""Statistics of one hold beyond its figures: series, locations, unwatched places, risks, what would help."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from qualify.decisions import Claim, Limit
from qualify.figures.absent import Absent, Maybe
from qualify.figures.budget import Budget
from qualify.figures.columns import each_column
from qualify.figures.series import (
    autocorrelation,
    bartlett_lags,
    find_cycle,
    hac_slope_error,
    least_squares_slope,
    standard_error_of_mean,
)
from qualify.figures.uniformity import Window
from qualify.plan.model import Acceptance, Plan
from qualify.plan.statistics import StatisticsChoice
from qualify.probability import student_quantile
from qualify.record import LocationRecord, RiskRecord, SeriesRecord, StatisticsRecord
from qualify.stages.hold_figures import HoldFigures
from qualify.stages.requirements import rule_of
from qualify.stages.stretch import Stretch
from qualify.stages.unwatched import unwatched_places
from qualify.stages.what_if import what_if

if TYPE_CHECKING:
    from qualify.inference.locations import LocationComparison


def hold_statistics(
    plan: Plan, stretch: Stretch, figures: HoldFigures, choice: StatisticsChoice
) -> StatisticsRecord | Absent:
    """Compute the statistics of a hold.

    Parameters
    ----------
    plan, stretch, figures
        The plan, the hold in its recording, and its figures.
    choice
        Confidence, seed, prior.
    """
    window = stretch.window
    if isinstance(window, Absent):
        return window
    return StatisticsRecord(
        series=_series(stretch, window, figures),
        comparison=_comparison(window, choice),
        field=unwatched_places(plan, stretch, window, figures),
        risks=_risks(plan, stretch, figures, choice),
        what_if=what_if(plan, stretch, figures, choice),
    )


# ---- each location as a series ----


def _series(stretch: Stretch, window: Window, figures: HoldFigures) -> tuple[SeriesRecord, ...]:
    from qualify.inference.steadiness import steadiness_test

    def one(column: int) -> SeriesRecord:
        record = figures.locations[column]
        there = ~np.isnan(window.corrected_c[:, column])
        seconds, values = window.seconds[there], window.corrected_c[there, column]
        return SeriesRecord(
            location=record.location,
            autocorrelation=_autocorrelation(values),
            standard_error_c=_standard_error(seconds, values),
            drift_standard_error_c_per_h=_hac_error(seconds, values),
            drift=drift_in_words(record, stretch.found.hold.steady_within, _hours(window)),
            steadiness=steadiness_test(seconds, values),
        )

    return tuple(each_column(one, len(figures.locations)))


def _hours(window: Window) -> float:
    return float(window.seconds[-1] - window.seconds[0]) / 3600.0


def _autocorrelation(values: np.ndarray) -> Maybe:
    if values.size < 3:
        return Absent(f"{values.size} readings; neighbours can be compared from 3 on")
    found = float(autocorrelation(values, 1)[1])
    return Absent("the readings do not vary") if np.isnan(found) else found


def _hac_error(seconds: np.ndarray, values: np.ndarray) -> Maybe:
    """Newey–West's error of the slope, its lags from the residuals' correlation."""
    if values.size < 3 or float(np.ptp(values)) <= 1e-9:
        return Absent("too few readings, or none that vary")
    hours = (seconds - seconds[0]) / 3600.0
    slope = least_squares_slope(hours, values)
    residual = values - values.mean() - slope * (hours - hours.mean())
    return hac_slope_error(hours, values, bartlett_lags(residual))


def _standard_error(seconds: np.ndarray, values: np.ndarray) -> Maybe:
    found = standard_error_of_mean(seconds, values, find_cycle(seconds, values))
    # As in the budget of the mean: the half-width, an unfinished cycle included, over Student's t.
    return found if isinstance(found, Absent) else found.half_width_c / student_quantile(found.degrees)


def drift_in_words(record: LocationRecord, within_c: float, hours: float) -> str:
    """Say in plain words what a location does over the window.

    Parameters
    ----------
    record
        The location's figures.
    within_c
        By how much the plan lets it move while it is called steady [°C of difference].
    hours
        Length of the window [h].

    Returns
    -------
    str
        For instance "rising 0.40 ± 0.10 °C/h, 0.40 °C in the window, so the window is not steady"; where
        there is no interval, why.
    """
    slope, low, high = record.drift_c_per_h, record.drift_low_c_per_h, record.drift_high_c_per_h
    if isinstance(slope, Absent):
        return f"no drift can be given: {slope.reason}"
    if isinstance(low, Absent) or isinstance(high, Absent):
        reason = low.reason if isinstance(low, Absent) else "no interval"
        return f"{slope:+.2f} °C/h, its uncertainty not known: {reason}"
    half = (high - low) / 2.0
    digits = _decimals(half)
    if low <= 0.0 <= high:
        return (
            f"neither rising nor falling as far as can be told: {slope:+.{digits}f} ± {half:.{digits}f} °C/h"
        )
    told = f"{abs(slope):.{digits}f} ± {half:.{digits}f} °C/h"
    word = "rising" if slope > 0 else "falling"
    moved = abs(slope) * hours
    if moved > within_c:
        return f"{word} {told}, {moved:.2f} °C in the window, so the window is not steady"
    return f"{word} {told}, but only {moved:.2f} °C in the window, within the plan's {within_c:.2g} °C"


def _decimals(half: float) -> int:
    """Decimals that show two digits of a half width."""
    return int(min(max(1 - np.floor(np.log10(half)), 1), 6)) if half > 0 else 2


# ---- locations against each other ----


def _comparison(window: Window, choice: StatisticsChoice) -> LocationComparison | Absent:
    from qualify.inference.locations import compare_locations

    across = window.across
    if across is None:
        return Absent("no instant in the window at which every location has a reading")
    return compare_locations(across.values_c, across.seconds, choice.confidence)


# ---- who carries the risk ----


def _risks(
    plan: Plan, stretch: Stretch, figures: HoldFigures, choice: StatisticsChoice
) -> RiskRecord | Absent:
    """Global risks of the plan's rule under its prior, for the most uncertain location."""
    from qualify.inference.global_risks import GlobalRisk, global_risk, normal_prior

    prior = choice.prior
    if prior is None:
        return Absent("the plan states no prior (statistics.prior): global risks rest on one")
    low_c, high_c = stretch.limits.low_c, stretch.limits.high_c
    if low_c is None or high_c is None:
        return Absent("no limits are set")
    known = [item.reading for item in figures.budgets if isinstance(item.reading, Budget)]
    if len(known) < len(figures.budgets):
        return Absent("the uncertainty of some locations is not known")
    worst = max(known, key=lambda item: item.standard_c)
    rule = rule_of(plan, plan.acceptance or Acceptance.GUARDED)
    setpoint_c = stretch.found.hold.setpoint
    guard_c = rule.guard_band(
        Claim(value=0.0, expanded_uncertainty=worst.expanded_c, standard_uncertainty=worst.standard_c),
        Limit(low=low_c - setpoint_c, high=high_c - setpoint_c),
    )
    if high_c - low_c <= 2.0 * guard_c:
        return Absent("no acceptance zone: the guard bands swallow the tolerance")
    if worst.standard_c == 0.0:
        return Absent("an uncertainty of zero carries no risk")

    def risk(inside_c: float) -> GlobalRisk:
        """Risks of accepting what lies at least so far inside the limits."""
        return global_risk(
            normal_prior(prior.mean_c, prior.standard_c),
            worst.standard_c,
            limit_low=low_c - setpoint_c,
            limit_high=high_c - setpoint_c,
            accept_low=low_c - setpoint_c + inside_c,
            accept_high=high_c - setpoint_c - inside_c,
        )

    found = risk(guard_c)
    return RiskRecord(
        prior_mean_c=prior.mean_c,
        prior_standard_c=prior.standard_c,
        prior_because=prior.because,
        standard_uncertainty_c=worst.standard_c,
        guard_band_c=guard_c,
        consumer=found.consumer_risk,
        producer=found.producer_risk,
        consumer_if_conditional=risk(0.0).consumer_risk,
    )
