"""Whether a window is steady: a test beside the plan's own rule."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from qualify.figures.absent import Absent
from qualify.figures.noise import TOO_SHORT, fit_noise, fits_among_cosines, window_cosines
from qualify.figures.series import find_cycle, without_cycle
from qualify.readings.model import FloatArray

SLOWEST = 3
LEAST_READINGS = 40
"""With 30 readings a slow control cycle is not recognised: every sixth steady window raised an alarm."""
METHOD = (
    "ratio of two variances: of the three slowest cosines of the window, and of what the other cosines "
    "foretell for them, autocorrelation allowed for, a control cycle taken out"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class SteadinessTest:
    """Outcome of the test of one location.

    Attributes
    ----------
    statistic
        Ratio of the two variances, under the likeliest shape of noise [1]; about 1 in a steady window.
    p_value
        Chance that a steady window shows so large a ratio, all shapes of noise considered [1].
    steady
        Whether `p_value` is at least `level`: no sign that the window is not steady.
    level
        Share of steady windows that are called unsteady [1].
    readings
        Readings in the window.
    method
        In words.
    """

    statistic: float
    p_value: float
    steady: bool
    level: float
    readings: int
    method: str = METHOD


def steadiness_test(seconds: FloatArray, values: FloatArray, level: float = 0.05) -> SteadinessTest | Absent:
    """Test whether a series rises, sinks, bends or steps over its window by more than its noise does.

    Two estimates of one variance are compared, as in the tests of steady state of Crow, Davis & Maxfield
    (Statistics Manual, 1955) and of S. Cao & R. R. Rhinehart (Journal of Process Control 5, 1995,
    363–374; both cited from memory). Theirs hold for independent readings: one estimate comes from
    successive differences or a filter, the other from the deviations. Here they come from the slow and
    the other cosines of the window, which stay nearly independent where the readings don't. This form is
    the project's own; how often it raises a false alarm is counted in tests/studies.

    Not to see a change is no proof of steadiness: short or slowly wandering windows hide one.

    Parameters
    ----------
    seconds, values : (n,) float64
        Times [s] and readings [°C] without gaps.
    level
        Share of steady windows that may be called unsteady [1].
    """
    from scipy.stats import f as f_distribution

    n = values.size
    if n < LEAST_READINGS:
        return Absent(f"{n} readings; a test of steadiness needs at least {LEAST_READINGS}")
    if float(np.ptp(values)) <= 1e-9:
        return Absent("the readings do not vary, so that there is no noise to hold a change against")
    cycle = find_cycle(seconds, values)
    period_s = None
    if not isinstance(cycle, Absent):
        if fits_among_cosines(seconds, cycle.period_s):
            period_s = cycle.period_s
        else:
            values = without_cycle(seconds, values, cycle)
    window = window_cosines(seconds, values[:, None], period_s)
    if isinstance(window, Absent):
        return window
    slowest = np.eye(window.data.shape[0])[:, 1 : SLOWEST + 1]
    fit = fit_noise(np.hstack((slowest, window.waves))[1:], window.data[1:], window.readings)
    if isinstance(fit, Absent):
        return fit
    if fit.too_short()[0]:
        return TOO_SHORT
    slow = fit.coefficients[:, :SLOWEST, 0]
    share = np.linalg.solve(fit.covariance[:, :SLOWEST, :SLOWEST], slow[:, :, None])[:, :, 0]
    ratio = np.einsum("gs,gs->g", slow, share) / (SLOWEST * fit.scale[:, 0])
    weights = fit.weights[:, 0]
    p_value = float(weights @ f_distribution.sf(ratio, SLOWEST, fit.degrees))
    return SteadinessTest(
        statistic=float(ratio[int(np.argmax(weights))]),
        p_value=p_value,
        steady=p_value >= level,
        level=level,
        readings=n,
    )
