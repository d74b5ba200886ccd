"""What the coverage studies share: a row of the table, and its sampling error."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """How often a stated interval held the truth.

    Attributes
    ----------
    study
        What was simulated, in words: "drift of one location, white noise, 60 readings".
    interval
        Which interval was asked for: "drift_low_c_per_h .. drift_high_c_per_h, 95 %".
    cases, covered
        Invented surveys for which the interval was given, and those of them in which it held the truth.
    absent
        Invented surveys for which the tool gave no interval.
    warned
        Whether the tool warns in cases of this kind (a doubt, a note, an Absent).
    """

    study: str
    interval: str
    cases: int
    covered: int
    absent: int = 0
    stated: float = 0.95
    warned: bool = False

    @property
    def coverage(self) -> float:
        """Share of cases in which the interval held the truth; NaN without cases."""
        return self.covered / self.cases if self.cases else float("nan")

    @property
    def sampling_error(self) -> float:
        """Standard error of `coverage` if the stated share were true."""
        return sqrt(self.stated * (1 - self.stated) / self.cases) if self.cases else float("nan")
