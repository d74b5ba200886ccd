"""Corrections from calibration points: linear between them, held and marked beyond them."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np

from qualify.readings.model import BoolArray, FloatArray

SAME_TEMPERATURE_C = 1e-9
"""Temperatures this close are one temperature: what unit conversion leaves behind."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """The calibration points of one thing: a sensor, a logger channel, or the loop of both.

    Attributes
    ----------
    of
        "sensor", "channel" or "loop".
    temperature_c : (k,) float64
        Indications at which the points hold [°C], strictly rising.
    correction_c : (k,) float64
        True − indicated [°C], to be added to the indication.
    expanded_uncertainty_c : (k,) float64
        Expanded uncertainty at each point [°C]; NaN where the certificate gives none.
    coverage_factor : (k,) float64
        Its coverage factor k; NaN where there is none.
    rows
        The row of each point in the certificates file.
    """

    of: str
    temperature_c: FloatArray
    correction_c: FloatArray
    expanded_uncertainty_c: FloatArray
    coverage_factor: FloatArray
    rows: tuple[int, ...]

    def correction_at(self, indicated_c: FloatArray) -> FloatArray:
        """Give the correction [°C] at each indication: linear between points, the end's beyond them."""
        correction: FloatArray = np.interp(indicated_c, self.temperature_c, self.correction_c)
        return correction

    def beyond(self, indicated_c: FloatArray) -> FloatArray:
        """How far each indication lies beyond the end points [°C]; 0 between them."""
        low, high = self.temperature_c[0], self.temperature_c[-1]
        beyond = np.maximum(low - indicated_c, indicated_c - high)
        return np.where(beyond <= SAME_TEMPERATURE_C, 0.0, beyond)

    def standard_uncertainty_at(self, indicated_c: FloatArray) -> FloatArray:
        """Standard uncertainty [°C] at each indication: the larger of the two neighbouring points'."""
        at_points = self.expanded_uncertainty_c / self.coverage_factor
        upper = np.clip(np.searchsorted(self.temperature_c, indicated_c, side="left"), 0, at_points.size - 1)
        lower = np.clip(
            np.searchsorted(self.temperature_c, indicated_c, side="right") - 1, 0, at_points.size - 1
        )
        return np.maximum(at_points[lower], at_points[upper])


@dataclass(frozen=True, slots=True, kw_only=True)
class Correction:
    """All corrections of one location, in the order in which they are added: channel, then sensor.

    `reach_c` is how far beyond the end points the plan accepts a held correction [°C], and
    `reach_uncertainty_c` the expanded uncertainty [°C] that it adds there.
    """

    steps: tuple[Step, ...]
    reach_c: float = 0.0
    reach_uncertainty_c: float = 0.0

    def apply(self, raw_c: FloatArray) -> tuple[FloatArray, BoolArray]:
        """Correct readings.

        Parameters
        ----------
        raw_c : (n,) float64
            Indications [°C]; NaN stays NaN.

        Returns
        -------
        corrected_c : (n,) float64
            Corrected readings [°C].
        calibrated : (n,) bool
            Whether every step's points, and the plan's reach beyond them, cover the indication.
        """
        corrected = raw_c
        calibrated = np.ones(raw_c.shape, dtype=np.bool_)
        for step in self.steps:
            calibrated &= ~(step.beyond(corrected) > self.reach_c + SAME_TEMPERATURE_C)
            corrected = corrected + step.correction_at(corrected)
        return corrected, calibrated

    @property
    def coverage_factor(self) -> float | None:
        """The certificate's own k where one certificate with one k applies; else 2; None without U."""
        factors = np.unique(np.concatenate([step.coverage_factor for step in self.steps]))
        if np.isnan(factors).any():
            return None
        return float(factors[0]) if factors.size == 1 and len(self.steps) == 1 else 2.0

    def expanded_uncertainty_c(self, raw_c: FloatArray) -> float | None:
        """Give the largest expanded uncertainty of one corrected reading among these readings.

        Parameters
        ----------
        raw_c : (n,) float64
            Indications [°C]; NaN are passed over.

        Returns
        -------
        float or None
            Expanded uncertainty [°C] at `coverage_factor`; None where a certificate gives none or
            there is no reading. Steps combine as independent (JCGM 100:2008, 5.1.2).
        """
        factor = self.coverage_factor
        indicated = raw_c[~np.isnan(raw_c)]
        if factor is None or indicated.size == 0:
            return None
        variance = np.zeros(indicated.shape)
        for step in self.steps:
            variance += step.standard_uncertainty_at(indicated) ** 2
            outside = step.beyond(indicated) > 0
            variance[outside] += (self.reach_uncertainty_c / factor) ** 2
            indicated = indicated + step.correction_at(indicated)
        return factor * sqrt(float(variance.max()))
