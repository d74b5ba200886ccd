"""Two calibrations of one thing, before and after: which correction is used, and its drift."""

from __future__ import annotations

from math import sqrt

import numpy as np

from qualify.findings import RefusalKind
from qualify.readings.model import FloatArray
from qualify.sensors.corrections import SAME_TEMPERATURE_C, Drift, Step

NOTHING_COMMON = RefusalKind(
    "certificates-no-common-range",
    what="{one} and {other} have no temperature in common",
    why="Before and after can be compared only where both were calibrated.",
    mend="keep the certificate in force and take the other out, or calibrate again at the same points.",
)
USES = ("before", "after", "mean")


def paired_step(before: Step, after: Step, *, use: str, correlation: float) -> Step:
    """Make one step of two calibrations.

    The drift is after − before at every point of one that the other covers (linear between its points). The
    truth lay between the two, at a place not known: the drift is carried as a rectangular half-width, half
    of it round the mean of both, the whole of it beside either one (JCGM 100:2008, 4.3.7).

    Parameters
    ----------
    before, after
        The earlier and the later calibration; each with its one certificate first in `certificates`.
    use
        "before", "after" or "mean": the correction that is added. The mean stands where both cover; its own
        uncertainty is the larger of both, as if the laboratory's errors were the same each time.
    correlation
        Of the two calibrations' uncertainties, from 0 (independent) to 1; it lowers the drift's
        uncertainty: u² = u1² + u2² − 2·r·u1·u2 (JCGM 100:2008, 5.2.2).

    Raises
    ------
    Refusal
        If the two have no temperature in common.
    """
    common_c = _common(before, after)
    one, other = before.certificates[0], after.certificates[0]
    if common_c.size == 0:
        raise NOTHING_COMMON(one=one.name, other=other.name, file=other.file, row=other.points[0].row)
    u_before, u_after = (step.shared_uncertainty_at(common_c) for step in (before, after))
    variance = u_before**2 + u_after**2 - 2 * correlation * u_before * u_after
    drift = Drift(
        before=one,
        after=other,
        used=use,
        temperature_c=common_c,
        drift_c=after.correction_at(common_c) - before.correction_at(common_c),
        standard_uncertainty_c=np.sqrt(np.maximum(variance, 0.0)),
    )
    chosen = {"before": before, "after": after}.get(use)
    grid_c = common_c if chosen is None else chosen.temperature_c
    half_width_c = np.abs(np.interp(grid_c, common_c, drift.drift_c)) * (0.5 if chosen is None else 1.0)
    private = np.sqrt(
        np.maximum(before.private_uncertainty_at(grid_c), after.private_uncertainty_at(grid_c)) ** 2
        + (half_width_c / sqrt(3.0)) ** 2
    )
    if chosen is None:
        expanded, factor = _larger(before, after, grid_c)
        correction = (before.correction_at(grid_c) + after.correction_at(grid_c)) / 2
        rows = tuple(before.rows[_nearest(before, t)] for t in grid_c)
    else:
        expanded, factor = chosen.expanded_uncertainty_c, chosen.coverage_factor
        correction, rows = chosen.correction_c, chosen.rows
    return Step(
        of=before.of,
        temperature_c=grid_c,
        correction_c=correction,
        expanded_uncertainty_c=expanded,
        coverage_factor=factor,
        rows=rows,
        private_uncertainty_c=private,
        shared_key=(before if chosen is None else chosen).shared_key,
        certificates=(*before.certificates, *after.certificates),
        drift=drift,
    )


def _common(before: Step, after: Step) -> FloatArray:
    """The points [°C] of either that the other covers, each once."""
    inside = [
        points.temperature_c[cover.beyond(points.temperature_c) <= 0]
        for points, cover in ((before, after), (after, before))
    ]
    merged = np.unique(np.concatenate(inside))
    return merged[np.concatenate(([True], np.diff(merged) > SAME_TEMPERATURE_C))] if merged.size else merged


def _larger(before: Step, after: Step, grid_c: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The larger expanded uncertainty of both [°C] with its factor, by U/k; NaN where one has none."""
    standard = np.stack([step.shared_uncertainty_at(grid_c) for step in (before, after)])
    factors = np.unique(np.concatenate([before.coverage_factor, after.coverage_factor]))
    factor = float(factors[0]) if factors.size == 1 else 2.0
    largest = standard.max(axis=0)
    return largest * factor, np.where(np.isnan(largest), np.nan, factor)


def _nearest(step: Step, temperature_c: float) -> int:
    return int(np.abs(step.temperature_c - temperature_c).argmin())
