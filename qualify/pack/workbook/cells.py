"""Where things stand in the workbook, so that a formula on one sheet can name cells on another."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from qualify.evidence import Evaluation, HoldEvidence, RecordingEvidence
from qualify.figures.absent import Absent, Maybe, present
from qualify.figures.budget import COVERAGE
from qualify.figures.instants import complete_instants
from qualify.pack.workbook.book import column_letters
from qualify.readings.model import BoolArray, FloatArray
from qualify.record import LocationRecord, SurveyRecord
from qualify.units import TemperatureUnit, difference_from_c, temperature_from_c

MOST_INSTANTS = 5_000
"""A recording of more instants than this is shown in blocks."""

INFINITE = "infinite"
"""What stands for degrees of freedom where an uncertainty is taken as known."""

SLACK = "1E-9"
"""A reading this little beyond a limit [°C] still keeps it, as in figures/response.py."""


def cell(sheet: str, row: int, column: int) -> str:
    """Name one cell, absolutely; `row` as the sheet counts, `column` from 0."""
    return f"'{sheet}'!${column_letters(column)}${row}"


def span(sheet: str, column: int, first: int, last: int) -> str:
    """Name the cells of one column from row `first` to row `last`."""
    letters = column_letters(column)
    return f"'{sheet}'!${letters}${first}:${letters}${last}"


def agrees(live: str, engine: str) -> str:
    """Say in a word whether two cells agree: 1e-9 relative, and absolute below 1."""
    near = f"ABS({live}-{engine})<=1E-9*MAX(1,ABS({engine}))"
    return f'IF(ISNUMBER({live}),IF({near},"agrees","differs"),"differs")'


def to_celsius(reference: str, unit: TemperatureUnit) -> str:
    """Formula that turns a temperature in `unit` into °C; the constants come from units.py."""
    factor, offset = difference_from_c(1.0, unit), temperature_from_c(0.0, unit)
    shifted = f"({reference}-{offset!r})"
    return shifted if factor == 1.0 else f"{shifted}/{factor!r}"


def from_celsius(reference: str, unit: TemperatureUnit, *, difference: bool) -> str:
    """Formula that turns °C, of temperature or of difference, into `unit`."""
    factor, offset = difference_from_c(1.0, unit), temperature_from_c(0.0, unit)
    scaled = f"{reference}*{factor!r}"
    return scaled if difference else f"{scaled}+{offset!r}"


MANY_DEGREES = "1E6"
"""From here on Student's t is written as its first two terms: spreadsheets' own function stops at 1E10."""


def effective_degrees(standard: str, losses: list[str]) -> str | None:
    """Formula of the effective degrees of freedom u⁴/Σ(u_i⁴/ν_i); the word where all are infinite.

    Welch and Satterthwaite (JCGM 100:2008, G.4.1, equation G.2b). None where no ν_i is finite.
    """
    if not losses:
        return None
    loss = "+".join(losses)
    return f'IF({loss}>0,{standard}^4/({loss}),"{INFINITE}")'


def coverage_factor(degrees: str) -> str:
    """Formula of the coverage factor for effective degrees of freedom, cut to a whole number.

    Student's t at the coverage that k = 2 has for a normal distribution (JCGM 100:2008, G.4.1 and G.6.4;
    clauses cited from memory); for many degrees of freedom ν it is 2 + 2.5/ν to 3 parts in 10¹².
    """
    student = f"TINV({1.0 - COVERAGE!r},MAX(1,INT({degrees}*(1+1E-12))))"
    return f"IF(ISNUMBER({degrees}),IF({degrees}>{MANY_DEGREES},2+2.5/{degrees},{student}),2)"


# Rows of a figures sheet that other sheets name: the given values, right under its header.
FIGURES_HEADER_ROW = 5
LIVE_COLUMN = 3
GIVEN = ("setpoint", "limit_low", "limit_high", "heat_start", "window_first", "window_last", "display_high")


def figures_sheet(survey: int) -> str:
    """Name the figures sheet of a survey, counted from 0."""
    return f"Figures {survey + 1}"


def given(survey: int, what: str) -> str:
    """Name the cell that holds the set point, a limit [°C] or a time [s] of a survey."""
    return cell(figures_sheet(survey), FIGURES_HEADER_ROW + 2 + GIVEN.index(what), LIVE_COLUMN)


@dataclass(frozen=True, slots=True, eq=False)
class Weighing:
    """The instants that one mean runs over, and whether it is weighted by time."""

    there: BoolArray
    """(window,) whether the instant counts."""
    even: bool

    @property
    def key(self) -> bytes:
        """Tells weighings apart."""
        return self.there.tobytes()

    def weights_s(self, seconds: FloatArray) -> FloatArray:
        """Trapezoid weights [s] over the window, 0 where the instant doesn't count."""
        weights = np.zeros(self.there.size)
        steps = np.diff(seconds[self.there])
        counted = np.zeros(int(self.there.sum()))
        counted[:-1] += steps / 2
        counted[1:] += steps / 2
        weights[self.there] = counted
        return weights


@dataclass(frozen=True, slots=True, eq=False)
class HoldView:
    """One hold with what the sheets need of it."""

    evidence: HoldEvidence
    record: SurveyRecord
    locations: tuple[LocationRecord | None, ...]
    """The record of each location of the recording, in the readings' order."""
    own: tuple[Weighing, ...]
    """Per location: its readings in the window; empty without a window."""
    complete: Weighing | None
    """The instants of the window at which every location has a reading."""

    @property
    def survey(self) -> int:
        """Index of the survey in the record."""
        return self.evidence.survey

    @property
    def timed(self) -> bool:
        """Whether a time to band can be re-performed: a window, limits and a heat start are there."""
        return (
            self.evidence.window is not None
            and self.evidence.hold[0] <= self.evidence.window[1]
            and self.evidence.limit_low_c is not None
            and self.evidence.limit_high_c is not None
            and present(self.record.heat_start_s)
        )


@dataclass(frozen=True, slots=True, eq=False)
class RecordingView:
    """One recording: its evidence, its holds, what is the same at every instant."""

    number: int
    evidence: RecordingEvidence
    holds: tuple[HoldView, ...]
    complete: BoolArray
    """(n,) whether every location has a reading."""

    @property
    def sheet(self) -> str:
        """Name of the readings sheet."""
        return f"Readings {self.number}"

    @property
    def in_blocks(self) -> bool:
        """Whether the recording is too long to be shown instant by instant."""
        return self.evidence.readings.recording.seconds.size > MOST_INSTANTS


def view_recordings(evaluation: Evaluation) -> tuple[RecordingView, ...]:
    """Gather what the readings sheets and figures sheets share."""
    views = []
    for number, evidence in enumerate(evaluation.recordings, start=1):
        corrected = evidence.readings.corrected_c
        complete = complete_instants(corrected)
        holds = tuple(_view_hold(evaluation, evidence, hold, complete) for hold in evidence.holds)
        views.append(RecordingView(number, evidence, holds, complete))
    return tuple(views)


def _view_hold(
    evaluation: Evaluation, evidence: RecordingEvidence, hold: HoldEvidence, complete: BoolArray
) -> HoldView:
    record = evaluation.record.surveys[hold.survey]
    by_name = {location.location: location for location in record.locations}
    own: tuple[Weighing, ...] = ()
    across = None
    if hold.window is not None:
        window = slice(hold.window[0], hold.window[1] + 1)
        there: BoolArray = ~np.isnan(evidence.readings.corrected_c[window])
        even = isinstance(record.window, Absent) or record.window.evenly_spaced
        own = tuple(Weighing(there[:, index], even) for index in range(there.shape[1]))
        across = Weighing(complete[window], even)
    locations = tuple(by_name.get(name) for name in evidence.readings.locations)
    return HoldView(hold, record, locations, own, across)


class Cells(Protocol):
    """Formulas over the readings sheet for one hold; locations by their index, results in °C and s.

    None is given where the sheet can't carry the formula.
    """

    def first_row(self) -> int:
        """First row of the window on the readings sheet."""

    def last_row(self) -> int:
        """Last row of the window on the readings sheet."""

    def readings(self, location: int) -> str:
        """Count of readings in the window."""

    def mean(self, location: int) -> str:
        """Mean in the window."""

    def low(self, location: int) -> str:
        """Least reading in the window."""

    def high(self, location: int) -> str:
        """Largest reading in the window."""

    def deviation(self, location: int) -> str:
        """Sample standard deviation in the window."""

    def slope(self, location: int) -> str:
        """Least-squares slope in the window [°C/h]."""

    def mean_complete(self, location: int) -> str:
        """Mean over the complete instants of the window."""

    def correction(self, location: int) -> str | None:
        """Mean correction in the window."""

    def uncertainty_high(self, location: int) -> str | None:
        """Largest standard uncertainty of a corrected reading in the window, from its certificates."""

    def widest_indication(self, location: int) -> str | None:
        """Indication [°C] of the first reading in the window with that uncertainty."""

    def hold_high(self, location: int) -> str:
        """Largest reading of the hold."""

    def hold_low(self, location: int) -> str:
        """Least reading of the hold."""

    def ground_high(self, location: int) -> str:
        """Largest reading of the stretch over which the high excess counts."""

    def complete(self) -> str:
        """Count of complete instants in the window."""

    def chamber_mean(self) -> str:
        """Mean over the complete instants of the mean over locations."""

    def spread_high(self) -> str:
        """Largest instantaneous spread."""

    def spread_mean(self) -> str:
        """Mean instantaneous spread."""

    def apart_high(self) -> str:
        """Largest distance of a location from the reference at one instant."""

    def reference_range(self) -> tuple[str, str] | None:
        """Largest and least reading of the reference location over the complete instants of the window."""

    def inside_from(self) -> str:
        """Time from which every location stays inside the limits; beyond the window if never."""


def over_many(function: str, cells: list[str]) -> str:
    """Apply MAX, MIN, SUM or COUNT to many cells; in groups, as a function takes at most 255 arguments."""
    if len(cells) <= 200:
        return f"{function}({','.join(cells)})"
    groups = [f"{function}({','.join(cells[first : first + 200])})" for first in range(0, len(cells), 200)]
    return over_many("SUM" if function == "COUNT" else function, groups)


def known(value: Maybe) -> float | None:
    """Give the number, or None for an absent figure."""
    return value if present(value) else None
