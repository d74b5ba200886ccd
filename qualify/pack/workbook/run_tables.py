"""The sheets of replicate runs: one figure a location and run, and what follows from it by formula."""

from __future__ import annotations

from math import isfinite
from typing import Any

from qualify.figures.absent import Absent, Maybe, present
from qualify.pack.run_words import group_title, surveys_of
from qualify.pack.workbook.book import Book, Sheet, width_for
from qualify.pack.workbook.cells import agrees, cell, given, span
from qualify.pack.workbook.figures import FiguresLayout
from qualify.pack.workbook.words import LOCATION
from qualify.record import Record, SurveyRecord

HEADER_ROW = 8
BEHIND = (
    ("Runs with a figure, live (1)", 12.0),
    ("Mean, live (°C of difference)", 15.0),
    ("Standard deviation s, live (°C of difference)", 17.0),
    ("Factor k (1)", 11.0),
    ("s of the limits, live or engine (°C of difference)", 18.0),
    ("Tolerance limit below, live (°C of difference)", 17.0),
    ("Tolerance limit above, live (°C of difference)", 17.0),
    ("Below, engine (°C of difference)", 13.0),
    ("Above, engine (°C of difference)", 13.0),
    ("Check", 9.0),
    ("Lower limit (°C of difference)", 13.0),
    ("Upper limit (°C of difference)", 13.0),
)
_COUNT, _MEAN, _SD, _FACTOR, _USED, _LOW, _HIGH, _LOW_ENGINE, _HIGH_ENGINE, _CHECK, _LEAST, _MOST = range(12)
EXTREMES = (
    ("highest", "Largest deviation of the chamber", "deviation_max_c"),
    ("lowest", "Least deviation of the chamber", "deviation_min_c"),
)
MOST_RUNS_A_PAGE = 8
"""With more runs the sheet is printed in strips."""
KEPT, NOT_KEPT = "kept", "not kept"
NOTES = (
    "The sample is the run: a row's mean, standard deviation and limits are over runs, never over readings "
    "or locations. Tolerance limits = mean ± k·s hold the stated share of all future runs with the stated "
    "confidence. Of one location s is that of all locations together (run and rest), on the sheet Runs.",
)


class RunTable:
    """Where the figures of one group of runs stand, and what is live among what follows from them."""

    def __init__(self, record: Record, number: int, figures: list[FiguresLayout]) -> None:
        self.group = record.replicates[number]
        self.name = f"Run table {number + 1}"
        self.surveys = surveys_of(record, self.group)
        self._records: list[SurveyRecord | None] = [
            None if survey is None else record.surveys[survey] for survey in self.surveys
        ]
        self._figures = [None if survey is None else figures[survey] for survey in self.surveys]
        self._live_means = [set() if item is None else _live_means(item) for item in self._figures]
        runs, locations = len(self.group.runs), len(self.group.locations)
        self.first, self.last = HEADER_ROW + 2, HEADER_ROW + 1 + locations
        self.mean_row = self.last + 1
        self.order_row = self.mean_row + 2
        self.extreme_rows = {key: self.order_row + 1 + at for at, (key, _, _) in enumerate(EXTREMES)}
        self.kept_row = self.order_row + 3
        self.behind = 1 + runs

    # --- cells that other sheets name

    def row_of_runs(self, row: int) -> str:
        """The cells of one row, a run each."""
        ends = (cell(self.name, row, 1), cell(self.name, row, self.behind - 1))
        return f"{ends[0]}:{ends[1].rsplit('!', 1)[1]}"

    def of(self, key: str, column: int) -> str:
        """A cell behind the runs in the row of an extreme."""
        return cell(self.name, self.extreme_rows[key], self.behind + column)

    def count(self, key: str) -> str:
        """Runs with the extreme."""
        return self.of(key, _COUNT)

    def mean(self, key: str) -> str:
        """Mean of the extreme over the runs."""
        return self.of(key, _MEAN)

    def sd(self, key: str) -> str:
        """Standard deviation of the extreme over the runs."""
        return self.of(key, _SD)

    def limit(self, key: str, *, upper: bool) -> str:
        """Tolerance limit of the extreme."""
        return self.of(key, _HIGH if upper else _LOW)

    def means_of_locations(self) -> str:
        """Mean of each location over the runs."""
        return span(self.name, self.behind + _MEAN, self.first, self.last)

    def deviations_of_locations(self) -> str:
        """Standard deviation of each location over the runs."""
        return span(self.name, self.behind + _SD, self.first, self.last)

    @property
    def complete(self) -> bool:
        """Whether every location has a figure in every run, of two or more each."""
        rows = self.group.mean_deviations_c
        return (
            len(rows) > 1
            and len(self.group.runs) > 1
            and all(value is not None for row in rows for value in row)
        )

    def values(self, key: str) -> list[float | None]:
        """The extreme of each run [°C of difference]."""
        name = next(figure for own, _, figure in EXTREMES if own == key)
        values = [None if record is None else getattr(record.chamber, name) for record in self._records]
        return [value if isinstance(value, float) else None for value in values]

    @property
    def tolerances(self) -> list[tuple[int, Any]]:
        """Row of each tolerance interval that is there."""
        found = self.group.statistics
        if isinstance(found, Absent):
            return []
        rows: list[tuple[int, Any]] = []
        if not isinstance(found.locations, Absent):
            rows += [
                (self.first + at, None)
                for at in range(len(self.group.locations))
                if isfinite(float(found.locations.factor[at]))
            ]
        for key, _, _ in EXTREMES:
            tolerance = getattr(found, key).tolerance
            if not isinstance(tolerance, Absent):
                rows.append((self.extreme_rows[key], tolerance))
        return rows

    @property
    def live(self) -> int:
        """How many rows say that they agree or differ."""
        return len(self.tolerances)

    @property
    def checks(self) -> str:
        """The cells that say so."""
        return span(self.name, self.behind + _CHECK, self.first, self.kept_row)

    # --- what stands in the runs' cells

    def mean_formula(self, location: int, run: int) -> str | None:
        """Formula of a location's mean deviation in a run, where its mean is live."""
        layout, record = self._figures[run], self._records[run]
        name = self.group.locations[location]
        if layout is None or record is None or name not in self._live_means[run]:
            return None
        number = next(at for at, item in enumerate(record.locations) if item.location == name)
        return f"{layout.location('mean_c', number)}-{given(layout.survey, 'setpoint')}"

    def extreme_formula(self, figure: str, run: int) -> str | None:
        """Cell of a chamber's extreme in a run, where it is live."""
        layout = self._figures[run]
        return layout.chamber(figure) if layout is not None and layout.live_chamber(figure) else None


def _live_means(layout: FiguresLayout) -> set[str]:
    word = LOCATION["mean_c"].name
    lines = (line for section in layout.sections for line in section.lines)
    return {line.location for line in lines if line.name == word and line.live}


def write_run_table(book: Book, table: RunTable) -> None:
    """Write the sheet of one group."""
    group, runs = table.group, len(table.group.runs)
    widths = [34.0, *(width_for(name, 14.0) for name in group.runs), *(width for _, width in BEHIND)]
    sheet = book.sheet(table.name, widths)
    sheet.title(table.name)
    sheet.note(f"{group_title(group)}.", 140, 1)
    for note in NOTES:
        sheet.note(note, 140, 1)
    found = group.statistics
    if isinstance(found, Absent):
        sheet.note(f"No statistics over runs: {found.reason}.", 140, 1)
    else:
        words = f"Here: {100 * found.content:g} % of future runs, confidence {100 * found.confidence:g} %."
        sheet.note(words, 140, 1)
    sheet.next(HEADER_ROW - sheet.excel_row)
    names = [f"{name} (°C of difference)" for name in group.runs]
    sheet.header(["Location", *names, *(word for word, _ in BEHIND)], frozen_columns=1)
    _Table(sheet, table).write()
    if runs <= MOST_RUNS_A_PAGE:
        sheet.fit()
    else:
        sheet.print_in_strips(60, 1, [*range(1, runs + 1), 1 + runs, 1 + runs + _LOW, 1 + runs + _LEAST])


class _Table:
    """Writes the rows of one group."""

    def __init__(self, sheet: Sheet, table: RunTable) -> None:
        self.sheet, self.table, self.group = sheet, table, table.group

    def write(self) -> None:
        """Locations, the runs' own rows, extremes."""
        sheet, table = self.sheet, self.table
        sheet.section("Locations: mean less set point")
        for at, name in enumerate(self.group.locations):
            assert sheet.excel_row == table.first + at
            sheet.text(0, name)
            self._cells(
                list(self.group.mean_deviations_c[at]), lambda run, at=at: table.mean_formula(at, run)
            )
            self._over_runs(list(self.group.mean_deviations_c[at]))
            self._location_limits(at)
            sheet.next()
        sheet.text(0, "Mean of the run", "strong wrapped")
        for run in range(len(self.group.runs)):
            there = [value for row in self.group.mean_deviations_c if (value := row[run]) is not None]
            if there:
                cells = span(table.name, 1 + run, table.first, table.last)
                sheet.formula(1 + run, f"AVERAGE({cells})", _mean(there), "temperature")
        sheet.next()
        sheet.section("Chamber: extremes less set point")
        sheet.text(0, "Place in the order of runs (1)")
        for run in range(len(self.group.runs)):
            sheet.number(1 + run, run + 1, "count")
        sheet.next()
        for key, words, figure in EXTREMES:
            assert sheet.excel_row == table.extreme_rows[key]
            sheet.text(0, words, "strong wrapped")
            values = table.values(key)
            self._cells(values, lambda run, figure=figure: table.extreme_formula(figure, run))
            self._over_runs(values)
            self._extreme_limits(key)
            sheet.next()
        self._kept()

    def _cells(self, values: list[float | None], formula: Any) -> None:
        for run, value in enumerate(values):
            if value is None:
                self.sheet.text(1 + run, "absent", "word for number")
                continue
            live = formula(run)
            if live is None:
                self.sheet.number(1 + run, value, "temperature")
            else:
                self.sheet.formula(1 + run, live, value, "temperature")

    def _over_runs(self, values: list[float | None]) -> None:
        sheet, row = self.sheet, self.sheet.excel_row
        cells, there = self.table.row_of_runs(row), [value for value in values if value is not None]
        behind = self.table.behind
        sheet.formula(behind + _COUNT, f"COUNT({cells})", len(there), "count")
        if there:
            sheet.formula(behind + _MEAN, f"AVERAGE({cells})", _mean(there), "temperature")
        if len(there) > 1:
            sheet.formula(behind + _SD, f"STDEV({cells})", _deviation(there), "fine")

    def _location_limits(self, at: int) -> None:
        found = self.group.statistics
        limits = found if isinstance(found, Absent) else found.locations
        if isinstance(limits, Absent):
            return
        factor = float(limits.factor[at])
        if not isfinite(factor):
            self.sheet.text(self.table.behind + _FACTOR, "absent", "word for number")
            return
        self.sheet.number(self.table.behind + _FACTOR, factor, "fine")
        table = self.table
        if table.complete:
            cells = table.deviations_of_locations()
            pooled = f"SQRT(SUMPRODUCT({cells},{cells})/{len(self.group.locations)})"
            self.sheet.formula(table.behind + _USED, pooled, limits.sd_c, "fine")
        else:
            self.sheet.number(table.behind + _USED, limits.sd_c, "fine")
        self._limits(float(limits.low_c[at]), float(limits.high_c[at]))

    def _extreme_limits(self, key: str) -> None:
        found = self.group.statistics
        if isinstance(found, Absent):
            return
        own = getattr(found, key)
        for column, limit in ((_LEAST, own.limit_low_c), (_MOST, own.limit_high_c)):
            if limit is not None:
                self.sheet.number(self.table.behind + column, limit, "temperature")
        tolerance = own.tolerance
        if isinstance(tolerance, Absent):
            self.sheet.text(self.table.behind + _FACTOR, "absent", "word for number")
            return
        row = self.sheet.excel_row
        self.sheet.number(self.table.behind + _FACTOR, tolerance.factor, "fine")
        own_sd = cell(self.table.name, row, self.table.behind + _SD)
        self.sheet.formula(self.table.behind + _USED, own_sd, tolerance.sd_c, "fine")
        self._limits(tolerance.low_c, tolerance.high_c)

    def _limits(self, low: Maybe, high: Maybe) -> None:
        """Limits by formula beside the engine's."""
        sheet, behind, row = self.sheet, self.table.behind, self.sheet.excel_row
        mean, factor, used = (
            cell(self.table.name, row, behind + column) for column in (_MEAN, _FACTOR, _USED)
        )
        checks = []
        for live, engine, value, sign in (
            (_LOW, _LOW_ENGINE, low, "-"),
            (_HIGH, _HIGH_ENGINE, high, "+"),
        ):
            if not present(value):
                sheet.text(behind + live, "none", "word for number")
                continue
            sheet.formula(behind + live, f"{mean}{sign}{factor}*{used}", value, "temperature")
            sheet.number(behind + engine, value, "temperature")
            checks.append(
                agrees(cell(self.table.name, row, behind + live), cell(self.table.name, row, behind + engine))
            )
        if checks:
            both = checks[0] if len(checks) == 1 else f'IF({checks[0]}="agrees",{checks[1]},"differs")'
            sheet.formula(behind + _CHECK, both, "agrees", "word, set in")

    def _kept(self) -> None:
        """Say of each run whether it kept the limits."""
        sheet, table = self.sheet, self.table
        assert sheet.excel_row == table.kept_row
        low = None if self.group.limit_low_c is None else self.group.limit_low_c - self.group.setpoint_c
        high = None if self.group.limit_high_c is None else self.group.limit_high_c - self.group.setpoint_c
        if low is None and high is None:
            return
        sheet.text(0, "Limits in this run", "strong wrapped")
        both = zip(table.values("highest"), table.values("lowest"), strict=True)
        for run, (largest, least) in enumerate(both):
            if largest is None or least is None:
                sheet.text(1 + run, "not judged", "word for number")
                continue
            parts, kept = [], True
            if high is not None:
                parts.append(f"{cell(table.name, table.extreme_rows['highest'], 1 + run)}>{high!r}+1E-9")
                kept = kept and largest <= high + 1e-9
            if low is not None:
                parts.append(f"{cell(table.name, table.extreme_rows['lowest'], 1 + run)}<{low!r}-1E-9")
                kept = kept and least >= low - 1e-9
            formula = f'IF(OR({",".join(parts)}),"{NOT_KEPT}","{KEPT}")'
            sheet.formula(1 + run, formula, KEPT if kept else NOT_KEPT, "word for number")
        sheet.next()


def _mean(values: list[float]) -> float:
    return sum(values) / len(values)


def _deviation(values: list[float]) -> float:
    """What the sheet's STDEV gives, for the cell's cached result."""
    centre = _mean(values)
    return float((sum((value - centre) ** 2 for value in values) / (len(values) - 1)) ** 0.5)
