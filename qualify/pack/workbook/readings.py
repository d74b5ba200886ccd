"""A sheet of readings, a row for each instant: raw, correction and corrected side by side."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from math import isnan

import numpy as np

from qualify.pack.workbook.book import Book, Sheet, column_letters, width_for
from qualify.pack.workbook.cells import (
    SLACK,
    HoldView,
    RecordingView,
    Weighing,
    given,
    over_many,
    span,
    to_celsius,
)
from qualify.pack.workbook.sensors import Points, SensorsLayout, standard_uncertainty
from qualify.readings.model import BoolArray, FloatArray, Recording
from qualify.units import TemperatureUnit, temperature_from_c, temperature_to_c

HEADER_ROW = 8
FIRST_ROW = HEADER_ROW + 1

NOTES = (
    "A row is an instant of the recording. Raw readings stand as recorded; every other temperature is a "
    "formula over them and over the points on the sheet Certificates.",
    "Where there was no reading, its cells are empty, and so are the comparisons across locations at "
    "that instant (complete = 0). To take a reading out, clear its corrected cell too:",
    "a formula over an empty cell would take it for 0. Doubts about readings, and readings that stand here "
    "as recorded but are left out, are listed on the sheet Provenance.",
)
INTERPOLATED_NOTE = (
    "{count:,} of the {all:,} raw readings were not recorded: they were interpolated between two of their "
    "own logger's readings, because another logger read at that instant. They stand in italics with an i "
    "behind the number; the column Interpolated counts them. The formulas take them like the others."
)


@dataclass(frozen=True, slots=True, eq=False)
class LocationColumns:
    """The columns of one location."""

    name: str
    unit: TemperatureUnit
    raw: int
    celsius: int
    """The raw reading in °C: `raw` itself where the file is in °C."""
    corrections: tuple[int, ...]
    between: tuple[int, ...]
    """After each correction but the last."""
    corrected: int
    points: tuple[Points, ...]
    uncertainty: int | None
    """Standard uncertainty of the corrected reading from its certificates; None where they give none."""
    allowance: str
    """Variance that a reading beyond the end points adds, as a formula."""


@dataclass(eq=False)
class InstantLayout:
    """Which column holds what on the readings sheet of a recording."""

    view: RecordingView
    sensors: SensorsLayout
    allowance: Callable[[int, str], str | None]
    """Of a survey and a location: the variance that a reading beyond the end points adds."""
    headers: list[str] = field(default_factory=list)
    widths: list[float] = field(default_factory=list)
    groups: list[int] = field(default_factory=list)
    locations: list[LocationColumns] = field(default_factory=list)
    apart: dict[int, int] = field(default_factory=dict)
    """Column of the largest distance from each reference location."""
    reference: dict[int, int] = field(default_factory=dict)
    """Column of each reference location's readings at complete instants, where some are not complete."""
    inside_from: dict[int, int] = field(default_factory=dict)
    """Per hold: the column of the time from which the limits may be kept."""
    weights: dict[tuple[int, bytes], int] = field(default_factory=dict)
    """Per hold and set of instants: the column of time weights."""
    rows: tuple[int, ...] = ()
    seconds: int = 0
    clock: int | None = None
    phase: int = 0
    count: int = 0
    interpolated: int | None = None
    """Column of the count of interpolated readings; None where there are none."""
    whole: int = 0
    high: int = 0
    low: int = 0
    mean: int = 0
    spread: int = 0

    def __post_init__(self) -> None:
        recording = self.view.evidence.readings.recording
        self.rows = tuple(self._add(f"Row in {name}", width_for(name, 10)) for name in recording.rows)
        self.seconds = self._add("Time (s)", 9)
        if recording.start is not None:
            self.clock = self._add("Logger's clock", _clock_width(recording))
        self.phase = self._add("Phase", phase_width(self.view))
        for index in range(len(self.view.evidence.readings.locations)):
            self.locations.append(self._add_location(index))
        self.groups.append(len(self.headers))
        self.count = self._add("Readings (count)", 10)
        if interpolated_readings(self.view) is not None:
            self.interpolated = self._add("Interpolated (count)", 12)
        self.whole = self._add("Complete (1 = every location)", 11)
        self.high = self._add("Highest (°C)", 10)
        self.low = self._add("Lowest (°C)", 10)
        self.mean = self._add("Mean of complete (°C)", 11)
        self.spread = self._add("Spread of complete (°C)", 11)
        for hold in self.view.holds:
            self._add_hold(hold)

    @property
    def key_columns(self) -> int:
        """Columns that say which instant it is."""
        return self.phase + 1

    def _add(self, header: str, width: float) -> int:
        self.headers.append(header)
        self.widths.append(width)
        return len(self.headers) - 1

    def _add_location(self, index: int) -> LocationColumns:
        readings = self.view.evidence.readings
        name, unit = readings.locations[index], readings.recording.units[readings.channel_index[index]]
        points = tuple(self.sensors.steps(self.view.number, index))
        self.groups.append(len(self.headers))
        width = width_for(name, 11)
        raw = celsius = self._add(f"{name}\nraw ({unit.value})", width)
        if unit is not TemperatureUnit.C:
            celsius = self._add(f"{name}\nraw (°C)", width)
        corrections, between = [], []
        for place, step in enumerate(points):
            corrections.append(self._add(f"{name}\ncorrection, {step.step.of} (°C)", width))
            if place < len(points) - 1:
                between.append(self._add(f"{name}\nafter {step.step.of} (°C)", width))
        corrected = self._add(f"{name}\ncorrected (°C)", width)
        allowances = [self.allowance(hold.survey, name) for hold in self.view.holds]
        allowance = next((formula for formula in allowances if formula is not None), None)
        uncertainty = None
        if allowance is not None:
            uncertainty = self._add(f"{name}\nstandard uncertainty, certificates (°C)", width)
        return LocationColumns(
            name=name,
            unit=unit,
            raw=raw,
            celsius=celsius,
            corrections=tuple(corrections),
            between=tuple(between),
            corrected=corrected,
            points=points,
            uncertainty=uncertainty,
            allowance=allowance or "",
        )

    def _add_hold(self, hold: HoldView) -> None:
        name = hold.record.hold or hold.record.name
        reference = hold.evidence.reference
        if reference is not None and reference not in self.apart:
            self.groups.append(len(self.headers))
            self.apart[reference] = self._add(
                f"Largest distance from {self.locations[reference].name} (°C)", 12
            )
        gaps = hold.complete is not None and not hold.complete.there.all()
        if reference is not None and gaps and reference not in self.reference:
            self.groups.append(len(self.headers))
            self.reference[reference] = self._add(
                f"{self.locations[reference].name} at complete instants (°C)", 12
            )
        if hold.timed:
            self.groups.append(len(self.headers))
            self.inside_from[hold.survey] = self._add(f"{name}: inside the limits not before (s)", 15)
        weighings = [*hold.own, *([hold.complete] if hold.complete is not None else [])]
        names = [*self.view.evidence.readings.locations[: len(hold.own)], "complete instants"]
        users: dict[bytes, list[str]] = {}
        for user, item in zip(names, weighings, strict=False):
            if not item.even:
                users.setdefault(item.key, []).append(user)
        for key, who in users.items():
            shown = ", ".join(who[:3]) + (f" and {len(who) - 3} more" if len(who) > 3 else "")
            self.groups.append(len(self.headers))
            self.weights[(hold.survey, key)] = self._add(f"{name}: weight for {shown} (s)", 15)

    def excel_row(self, instant: int) -> int:
        """Row of an instant."""
        return FIRST_ROW + instant

    def cells(self, hold: HoldView) -> InstantCells:
        """Formulas of one hold over this sheet."""
        return InstantCells(self, hold)


@dataclass(frozen=True, slots=True, eq=False)
class InstantCells:
    """Formulas over a sheet that shows each instant; see `cells.Cells`."""

    layout: InstantLayout
    hold: HoldView

    def _over(self, column: int, stretch: tuple[int, int]) -> str:
        first, last = (self.layout.excel_row(instant) for instant in stretch)
        return span(self.layout.view.sheet, column, first, last)

    def _window(self, column: int) -> str:
        assert self.hold.evidence.window is not None
        return self._over(column, self.hold.evidence.window)

    def _corrected(self, location: int) -> str:
        return self._window(self.layout.locations[location].corrected)

    def _mean(self, cells: str, item: Weighing) -> str:
        column = self.layout.weights.get((self.hold.survey, item.key))
        if column is None:
            return f"AVERAGE({cells})"
        weights = self._window(column)
        return f"SUMPRODUCT({cells},{weights})/SUM({weights})"

    def first_row(self) -> int:
        """First row of the window on the readings sheet."""
        assert self.hold.evidence.window is not None
        return self.layout.excel_row(self.hold.evidence.window[0])

    def last_row(self) -> int:
        """Last row of the window on the readings sheet."""
        assert self.hold.evidence.window is not None
        return self.layout.excel_row(self.hold.evidence.window[1])

    def readings(self, location: int) -> str:
        """Count of readings in the window."""
        return f"COUNT({self._corrected(location)})"

    def mean(self, location: int) -> str:
        """Mean in the window."""
        return self._mean(self._corrected(location), self.hold.own[location])

    def low(self, location: int) -> str:
        """Least reading in the window."""
        return f"MIN({self._corrected(location)})"

    def high(self, location: int) -> str:
        """Largest reading in the window."""
        return f"MAX({self._corrected(location)})"

    def deviation(self, location: int) -> str:
        """Sample standard deviation in the window."""
        return f"STDEV({self._corrected(location)})"

    def slope(self, location: int) -> str:
        """Least-squares slope in the window [°C/h]."""
        return f"SLOPE({self._corrected(location)},{self._window(self.layout.seconds)})*3600"

    def mean_complete(self, location: int) -> str:
        """Mean over the complete instants of the window."""
        assert self.hold.complete is not None
        cells = self._corrected(location)
        if self.hold.complete.even and not self.hold.complete.there.all():
            whole = self._window(self.layout.whole)
            return f"SUMIF({whole},1,{cells})/COUNTIF({whole},1)"
        return self._mean(cells, self.hold.complete)

    def correction(self, location: int) -> str | None:
        """Mean correction in the window."""
        columns = self.layout.locations[location].corrections
        if not columns:
            return None
        return "+".join(f"AVERAGE({self._window(column)})" for column in columns)

    def uncertainty_high(self, location: int) -> str | None:
        """Largest standard uncertainty of a corrected reading in the window, from its certificates."""
        column = self.layout.locations[location].uncertainty
        return None if column is None else f"MAX({self._window(column)})"

    def widest_indication(self, location: int) -> str | None:
        """Indication [°C] of the first reading in the window with that uncertainty."""
        place = self.layout.locations[location]
        if place.uncertainty is None:
            return None
        cells = self._window(place.uncertainty)
        return f"INDEX({self._window(place.celsius)},MATCH(MAX({cells}),{cells},0))"

    def hold_high(self, location: int) -> str:
        """Largest reading of the hold."""
        return f"MAX({self._over(self.layout.locations[location].corrected, self.hold.evidence.hold)})"

    def hold_low(self, location: int) -> str:
        """Least reading of the hold."""
        return f"MIN({self._over(self.layout.locations[location].corrected, self.hold.evidence.hold)})"

    def ground_high(self, location: int) -> str:
        """Largest reading of the stretch over which the high excess counts."""
        return f"MAX({self._over(self.layout.locations[location].corrected, self.hold.evidence.ground)})"

    def complete(self) -> str:
        """Count of complete instants in the window."""
        return f"SUM({self._window(self.layout.whole)})"

    def _across(self, column: int) -> str:
        assert self.hold.complete is not None
        return self._mean(self._window(column), self.hold.complete)

    def chamber_mean(self) -> str:
        """Mean over the complete instants of the mean over locations."""
        return self._across(self.layout.mean)

    def spread_high(self) -> str:
        """Largest instantaneous spread."""
        return f"MAX({self._window(self.layout.spread)})"

    def spread_mean(self) -> str:
        """Mean instantaneous spread."""
        return self._across(self.layout.spread)

    def apart_high(self) -> str:
        """Largest distance of a location from the reference at one instant."""
        assert self.hold.evidence.reference is not None
        return f"MAX({self._window(self.layout.apart[self.hold.evidence.reference])})"

    def reference_range(self) -> tuple[str, str] | None:
        """Largest and least reading of the reference location over the complete instants of the window."""
        reference, complete = self.hold.evidence.reference, self.hold.complete
        if reference is None or complete is None or not complete.there.any():
            return None
        column = self.layout.locations[reference].corrected
        if not complete.there.all():
            column = self.layout.reference[reference]
        cells = self._window(column)
        return f"MAX({cells})", f"MIN({cells})"

    def inside_from(self) -> str:
        """Time from which every location stays inside the limits; beyond the window if never."""
        assert self.hold.evidence.window is not None
        stretch = (self.hold.evidence.hold[0], self.hold.evidence.window[1])
        return f"MAX({self._over(self.layout.inside_from[self.hold.survey], stretch)})"


@dataclass(frozen=True, slots=True, eq=False)
class _Column:
    """What one column holds: per instant a number (NaN: an empty cell), and its formula where it is one.

    In the formula `#` stands for the row. `special` holds the formulas of instants that need their own.
    """

    column: int
    values: FloatArray
    formula: str
    style: str
    special: Mapping[int, str] = field(default_factory=dict)
    interpolated: BoolArray | None = None
    """The instants whose number is marked as interpolated."""


def interpolated_readings(view: RecordingView) -> BoolArray | None:
    """Which readings (n, m) at the locations were interpolated; None where none was."""
    readings = view.evidence.readings
    if readings.recording.interpolated is None:
        return None
    chosen = readings.recording.interpolated[:, list(readings.channel_index)]
    return chosen if chosen.any() else None


def interpolated_note(view: RecordingView, words: str) -> tuple[str, ...]:
    """The line that says how many readings were interpolated, where there are any."""
    chosen = interpolated_readings(view)
    if chosen is None:
        return ()
    readings = view.evidence.readings
    recorded_c = readings.raw_c if readings.recorded_c is None else readings.recorded_c
    return (words.format(count=int(chosen.sum()), all=int(np.isfinite(recorded_c).sum())),)


def phase_width(view: RecordingView) -> float:
    """Width of the column that words the phase."""
    names = [hold.record.hold or hold.record.name for hold in view.holds]
    return min(max([18.0, *(len(name) + 13.0 for name in names)]), 40.0)


def _clock_width(recording: Recording) -> float:
    """Width of the clock's column: some files have fractions of seconds, some an offset."""
    some = recording.seconds[[0, recording.seconds.size // 2, -1]].tolist()
    return 2.0 + max(len(recording.iso(second) or "") for second in some)


def phases(view: RecordingView) -> list[str]:
    """Word the phase of each instant."""
    words = np.full(view.complete.size, "between holds", dtype=object)
    if not view.holds:
        return ["not in a hold"] * view.complete.size
    earliest = min(hold.evidence.hold[0] for hold in view.holds)
    latest = max(hold.evidence.hold[1] for hold in view.holds)
    words[:earliest] = "before heat start"
    words[latest + 1 :] = "after the last hold"
    for hold in view.holds:
        name = hold.record.hold or hold.record.name
        first, last = hold.evidence.hold
        approach = "heat-up" if hold.evidence.entered_from_below else "cool-down"
        window = hold.evidence.window
        if window is None:
            words[first : last + 1] = f"{name}: no window"
            continue
        words[first : window[0]] = f"{name}: {approach}"
        words[window[1] + 1 : last + 1] = f"{name}: after window"
    for hold in view.holds:
        if hold.evidence.window is not None:
            words[hold.evidence.window[0] : hold.evidence.window[1] + 1] = (
                f"{hold.record.hold or hold.record.name}: window"
            )
    return [str(word) for word in words]


def as_recorded(raw_c: FloatArray, unit: TemperatureUnit) -> FloatArray:
    """Give readings back in the unit of the file.

    The file's decimal number is what rounds to nine places and turns into exactly the same °C.
    """
    if unit is TemperatureUnit.C:
        return raw_c
    exact = temperature_from_c(raw_c, unit)
    decimal = np.round(exact, 9)
    same: FloatArray = np.where(temperature_to_c(decimal, unit) == raw_c, decimal, exact)
    return same


def write_readings(book: Book, layout: InstantLayout) -> None:
    """Write the sheet."""
    view = layout.view
    recording = view.evidence.readings.recording
    sheet = book.sheet(view.sheet, layout.widths)
    sheet.title(f"Readings {view.number}: {view.evidence.name}")
    for note in NOTES:
        sheet.note(note, 200, layout.key_columns)
    for note in interpolated_note(view, INTERPOLATED_NOTE):
        sheet.note(note, 165, layout.key_columns)
    sheet.next(HEADER_ROW - sheet.excel_row)
    sheet.header(layout.headers, frozen_columns=layout.key_columns)
    columns = _columns(layout)
    words = phases(view)
    sources = [recording.rows[name].tolist() for name in recording.rows]
    seconds = recording.seconds.tolist()
    listed = [item.values.tolist() for item in columns]
    for instant, second in enumerate(seconds):
        for column, rows in zip(layout.rows, sources, strict=True):
            if rows[instant] > 0:
                sheet.number(column, rows[instant], "count")
        sheet.number(layout.seconds, second, "seconds")
        if layout.clock is not None:
            sheet.text(layout.clock, recording.iso(second) or "", "line")
        sheet.text(layout.phase, words[instant], "line")
        for item, values in zip(columns, listed, strict=True):
            _write(sheet, item, values[instant], instant)
        sheet.next()
    sheet.print_in_strips(55, layout.key_columns, layout.groups)


def _write(sheet: Sheet, item: _Column, value: float, instant: int) -> None:
    if isnan(value):
        return  # no reading: an empty cell
    formula = item.special.get(instant, item.formula)
    if formula:
        sheet.formula(item.column, formula.replace("#", str(sheet.excel_row)), value, item.style)
    else:
        marked = item.interpolated is not None and item.interpolated[instant]
        sheet.number(item.column, value, f"{item.style}, interpolated" if marked else item.style)


def _columns(layout: InstantLayout) -> list[_Column]:
    """Every column of numbers besides time, in the sheet's order."""
    columns: list[_Column] = []
    for index, place in enumerate(layout.locations):
        columns.extend(_location_columns(layout, index, place))
    columns.extend(_instant_columns(layout))
    written: set[int] = set()
    for hold in layout.view.holds:
        columns.extend(_hold_columns(layout, hold, written))
    return columns


def _location_columns(layout: InstantLayout, index: int, place: LocationColumns) -> list[_Column]:
    readings = layout.view.evidence.readings
    raw_c = readings.raw_c[:, index]
    # A reading that is left out stands as recorded; every cell that is computed from it is empty.
    recorded_c = raw_c if readings.recorded_c is None else readings.recorded_c[:, index]
    chosen = interpolated_readings(layout.view)
    marked = None if chosen is None else chosen[:, index]
    columns = [_Column(place.raw, as_recorded(recorded_c, place.unit), "", "raw", interpolated=marked)]
    if place.celsius != place.raw:
        formula = to_celsius(f"{column_letters(place.raw)}#", place.unit)
        columns.append(_Column(place.celsius, recorded_c, formula, "temperature"))
    indication, at = raw_c, place.celsius
    for number, points in enumerate(place.points):
        letters = column_letters(at)
        correction = np.where(np.isnan(indication), np.nan, points.step.correction_at(indication))
        columns.append(
            _Column(place.corrections[number], correction, points.correction(f"{letters}#"), "temperature")
        )
        indication = indication + correction
        if number < len(place.between):
            formula = f"{letters}#+{column_letters(place.corrections[number])}#"
            columns.append(_Column(place.between[number], indication, formula, "temperature"))
            at = place.between[number]
    formula = f"{column_letters(at)}#"
    if place.corrections:
        formula += f"+{column_letters(place.corrections[-1])}#"
    columns.append(_Column(place.corrected, readings.corrected_c[:, index], formula, "temperature"))
    if place.uncertainty is not None:
        columns.append(_uncertainty_column(layout, index, place, place.uncertainty))
    return columns


def _uncertainty_column(layout: InstantLayout, index: int, place: LocationColumns, column: int) -> _Column:
    """Standard uncertainty of each corrected reading in a window, from its certificates."""
    correction = layout.view.evidence.readings.corrections[index]
    assert correction is not None and correction.coverage_factor is not None
    indications = (place.celsius, *place.between)
    parts = []
    for points, at in zip(place.points, indications, strict=True):
        letters = f"{column_letters(at)}#"
        parts.append(f"{points.standard_uncertainty(letters)}^2")
        if correction.reach_uncertainty_c > 0:
            parts.append(f"IF({points.beyond(letters)},{place.allowance},0)")
    values = np.full(layout.view.complete.size, np.nan)
    raw_c = layout.view.evidence.readings.raw_c[:, index]
    for hold in layout.view.holds:
        if hold.evidence.window is not None:
            rows = slice(hold.evidence.window[0], hold.evidence.window[1] + 1)
            values[rows] = standard_uncertainty(correction, raw_c[rows], correction.coverage_factor)
    return _Column(column, values, f"SQRT({'+'.join(parts)})", "fine")


def _instant_columns(layout: InstantLayout) -> list[_Column]:
    corrected = layout.view.evidence.readings.corrected_c
    whole = layout.view.complete
    there = [f"{column_letters(place.corrected)}#" for place in layout.locations]
    counts = (~np.isnan(corrected)).sum(axis=1)
    high = np.fmax.reduce(corrected, axis=1)
    low = np.fmin.reduce(corrected, axis=1)
    only_whole = np.where(whole, 0.0, np.nan)
    mean = only_whole + np.where(whole, corrected.sum(axis=1), 0.0) / max(len(there), 1)
    count_letters, high_letters, low_letters = (
        f"{column_letters(column)}#" for column in (layout.count, layout.high, layout.low)
    )
    chosen = interpolated_readings(layout.view)
    marked = []
    if layout.interpolated is not None and chosen is not None:
        marked = [_Column(layout.interpolated, chosen.sum(axis=1).astype(np.float64), "", "count")]
    return [
        *marked,
        _Column(layout.count, counts.astype(np.float64), over_many("COUNT", there), "count"),
        _Column(layout.whole, whole.astype(np.float64), f"IF({count_letters}={len(there)},1,0)", "count"),
        _Column(layout.high, high, over_many("MAX", there), "temperature"),
        _Column(layout.low, low, over_many("MIN", there), "temperature"),
        _Column(layout.mean, mean, f"{over_many('SUM', there)}/{count_letters}", "temperature"),
        _Column(layout.spread, only_whole + (high - low), f"{high_letters}-{low_letters}", "temperature"),
    ]


def _hold_columns(layout: InstantLayout, hold: HoldView, written: set[int]) -> list[_Column]:
    """Columns of one hold; `written` holds those that another hold has already given."""
    view = layout.view
    corrected = view.evidence.readings.corrected_c
    seconds = view.evidence.readings.recording.seconds
    high, low, time = (column_letters(column) for column in (layout.high, layout.low, layout.seconds))
    columns: list[_Column] = []
    reference = hold.evidence.reference
    if (
        reference is not None
        and next(other.survey for other in view.holds if other.evidence.reference == reference) == hold.survey
    ):
        letters = column_letters(layout.locations[reference].corrected)
        apart = np.where(view.complete, np.abs(corrected - corrected[:, [reference]]).max(axis=1), np.nan)
        formula = f"MAX({high}#-{letters}#,{letters}#-{low}#)"
        columns.append(_Column(layout.apart[reference], apart, formula, "temperature"))
    if reference is not None and reference in layout.reference and layout.reference[reference] not in written:
        values = np.where(view.complete, corrected[:, reference], np.nan)
        letters = column_letters(layout.locations[reference].corrected)
        columns.append(_Column(layout.reference[reference], values, f"{letters}#", "temperature"))
        written.add(layout.reference[reference])
    if hold.timed:
        not_before = inside_not_before(view, hold)
        first = layout.excel_row(hold.evidence.hold[0])
        outside = (
            f"OR({high}#>{given(hold.survey, 'limit_high')}+{SLACK},"
            f"{low}#<{given(hold.survey, 'limit_low')}-{SLACK})"
        )
        following = {
            instant: f"IF({outside},{time}{layout.excel_row(instant + 1)},{time}${first})"
            for instant in range(hold.evidence.hold[0], seconds.size - 1)
        }
        # after the recording's last instant there is no next one: any later time will do
        formula = f"IF({outside},{time}#+1,{time}${first})"
        columns.append(_Column(layout.inside_from[hold.survey], not_before, formula, "seconds", following))
    window = hold.evidence.window
    for (survey, key), column in layout.weights.items():
        if survey != hold.survey or window is None:
            continue
        item = next(item for item in (*hold.own, hold.complete) if item is not None and item.key == key)
        weights = np.full(seconds.size, np.nan)
        counted = window[0] + np.flatnonzero(item.there)
        weights[counted] = item.weights_s(seconds[window[0] : window[1] + 1])[item.there]
        rows = (counted + FIRST_ROW).tolist()
        before, after = [rows[0], *rows[:-1]], [*rows[1:], rows[-1]]
        formulas = {
            row - FIRST_ROW: f"({time}{later}-{time}{former})/2"
            for row, former, later in zip(rows, before, after, strict=True)
        }
        columns.append(_Column(column, weights, "", "seconds", formulas))
    return columns


def inside_not_before(view: RecordingView, hold: HoldView) -> FloatArray:
    """At each instant from heat start to the window's end: the time before which the band is not kept.

    The next instant's time where a location is outside the limits, else the time of heat start; NaN
    elsewhere and where there is no reading. After the last instant a second is added.
    """
    evidence = hold.evidence
    assert evidence.window is not None and evidence.limit_low_c is not None
    assert evidence.limit_high_c is not None
    corrected = view.evidence.readings.corrected_c
    seconds = view.evidence.readings.recording.seconds
    slack = float(SLACK)
    outside = ((corrected > evidence.limit_high_c + slack) | (corrected < evidence.limit_low_c - slack)).any(
        axis=1
    )
    following = np.append(seconds[1:], seconds[-1] + 1.0)
    result = np.full(seconds.size, np.nan)
    stretch = slice(evidence.hold[0], evidence.window[1] + 1)
    result[stretch] = np.where(outside, following, seconds[evidence.hold[0]])[stretch]
    result[np.isnan(corrected).all(axis=1)] = np.nan
    return result
