"""Corrections from calibration points: linear between them or a curve, held and marked beyond them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from math import sqrt

import numpy as np

from qualify.readings.model import BoolArray, FloatArray
from qualify.sensors.certificate import Certificate
from qualify.sensors.curves import Curve

SAME_TEMPERATURE_C = 1e-9
"""Temperatures this close are one temperature: what unit conversion leaves behind."""
NORMAL_95 = 1.959963984540054
"""Two-sided 95 % quantile of the normal distribution."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Drift:
    """How a sensor's correction changed between two calibrations.

    Attributes
    ----------
    before, after
        The two certificates.
    used
        "before", "after" or "mean": the correction that is added.
    temperature_c, drift_c, standard_uncertainty_c : (k,) float64
        After − before at the temperatures that both cover, and its standard uncertainty there [°C]; NaN
        where a certificate gives none.
    """

    before: Certificate
    after: Certificate
    used: str
    temperature_c: FloatArray
    drift_c: FloatArray
    standard_uncertainty_c: FloatArray

    @property
    def largest(self) -> int:
        """Index of the largest drift."""
        return int(np.argmax(np.abs(self.drift_c)))

    @property
    def significant(self) -> BoolArray:
        """Where |drift| exceeds 1.96·u: at 95 %, normal (JCGM 100:2008, G.1.3); False where u is unknown."""
        exceeds: BoolArray = np.abs(self.drift_c) > NORMAL_95 * self.standard_uncertainty_c
        return exceeds


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
        The row of each point in the certificates file (of several rows, the first).
    private_uncertainty_c : (k,) float64 or None
        Standard uncertainty [°C] at each point that this sensor shares with no other: half the range of a
        spool's samples and a drift between two calibrations, as rectangular half-widths over √3.
    shared_key
        The same for all sensors that share this certificate's own uncertainty; "" where none does.
    curve
        The fitted correction curve; None where corrections run linearly between points.
    certificates
        The certificates that the points come from.
    drift
        Where two calibrations of one sensor were found.
    """

    of: str
    temperature_c: FloatArray
    correction_c: FloatArray
    expanded_uncertainty_c: FloatArray
    coverage_factor: FloatArray
    rows: tuple[int, ...]
    private_uncertainty_c: FloatArray | None = None
    shared_key: str = ""
    curve: Curve | None = None
    certificates: tuple[Certificate, ...] = ()
    drift: Drift | None = None

    @property
    def basis(self) -> str:
        """In words: what the correction is, where it is more than one certificate's points."""
        words = []
        if self.certificates and self.certificates[0].spool and self.shared_key:
            words.append(f"mean of {len(self.certificates)} samples of spool '{self.certificates[0].spool}'")
        if self.drift is not None:
            used = {"mean": "mean of both", "before": "the earlier one", "after": "the later one"}
            dates = " and ".join(_day(item.calibrated) for item in (self.drift.before, self.drift.after))
            words.append(f"calibrated {dates}, {used[self.drift.used]} used")
        if self.curve is not None:
            form = "straight line" if self.curve.degree == 1 else f"polynomial of degree {self.curve.degree}"
            words.append(f"fitted {form} (s {self.curve.residual_sd_c:.3g} °C)")
        return "; ".join(words)

    def correction_at(self, indicated_c: FloatArray) -> FloatArray:
        """Give the correction [°C] at each indication: between the points, the end's beyond them."""
        if self.curve is not None:
            return self.curve.at(indicated_c)
        correction: FloatArray = np.interp(indicated_c, self.temperature_c, self.correction_c)
        return correction

    def beyond(self, indicated_c: FloatArray) -> FloatArray:
        """How far each indication lies beyond the end points [°C]; 0 between them."""
        low, high = self.temperature_c[0], self.temperature_c[-1]
        beyond = np.maximum(low - indicated_c, indicated_c - high)
        return np.where(beyond <= SAME_TEMPERATURE_C, 0.0, beyond)

    def standard_uncertainty_at(self, indicated_c: FloatArray) -> FloatArray:
        """Standard uncertainty [°C] at each indication: the shared and the private part, combined."""
        shared = self.shared_uncertainty_at(indicated_c)
        if self.private_uncertainty_c is None:
            return shared
        return np.sqrt(shared**2 + self.private_uncertainty_at(indicated_c) ** 2)

    def shared_uncertainty_at(self, indicated_c: FloatArray) -> FloatArray:
        """Standard uncertainty [°C] from the certificate itself, which sensors of one `shared_key` share.

        The larger of the two neighbouring points' U/k; with a curve, that of the fit combined with it.
        """
        own = self._larger(self.expanded_uncertainty_c / self.coverage_factor, indicated_c)
        if self.curve is None:
            return own
        return np.sqrt(own**2 + self.curve.standard_uncertainty_at(indicated_c) ** 2)

    def private_uncertainty_at(self, indicated_c: FloatArray) -> FloatArray:
        """Standard uncertainty [°C] that is independent from sensor to sensor; the larger neighbour's."""
        if self.private_uncertainty_c is None:
            return np.zeros(indicated_c.shape)
        return self._larger(self.private_uncertainty_c, indicated_c)

    def _larger(self, at_points: FloatArray, indicated_c: FloatArray) -> FloatArray:
        """The larger of the two neighbouring points' values, the point's own where one is met."""
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
        """The certificate's own k where it alone, with one k, gives U; else 2; None without U."""
        factors = np.unique(np.concatenate([step.coverage_factor for step in self.steps]))
        if np.isnan(factors).any():
            return None
        alone = len(self.steps) == 1 and (
            self.steps[0].private_uncertainty_c is None and self.steps[0].curve is None
        )
        return float(factors[0]) if factors.size == 1 and alone else 2.0

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


def _day(day: date | None) -> str:
    return "on an unknown day" if day is None else day.isoformat()
