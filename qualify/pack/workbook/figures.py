"""A sheet of figures for a survey: live formulas beside the engine's values."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from qualify.evidence import Evaluation
from qualify.figures.absent import Absent, Maybe, present
from qualify.pack.workbook.book import Book, Sheet
from qualify.pack.workbook.cells import (
    FIGURES_HEADER_ROW,
    LIVE_COLUMN,
    Cells,
    HoldView,
    RecordingView,
    agrees,
    cell,
    figures_sheet,
    from_celsius,
    given,
    known,
    over_many,
    span,
)
from qualify.pack.workbook.words import (
    BY_VERIFY,
    CHAMBER,
    DIFFERENCE,
    ENGINE_ONLY,
    LOCATION,
    NUMBER,
    RATE,
    RATE_PER_MINUTE,
    SECONDS,
    TEMPERATURE,
    Word,
)
from qualify.record import SurveyRecord, VariantRecord
from qualify.units import TemperatureUnit, difference_from_c, parse_unit, temperature_from_c

ENGINE_COLUMN, CHECK_COLUMN = LIVE_COLUMN + 1, LIVE_COLUMN + 2
NEVER = "never"
LONGEST_FORMULA = 8_000
"""A formula holds 8,192 characters."""

GIVEN_ROWS = 14
"""Rows of given values under the header, the section's own line first."""


@dataclass(frozen=True, slots=True, eq=False)
class Line:
    """One figure: its name, the engine's value, and the live formula where there is one."""

    name: str
    location: str
    unit: str
    engine: Maybe | None
    formula: str | None
    value: float | str
    """The formula's cached result."""
    remark: str

    @property
    def live(self) -> bool:
        """Whether the sheet says that it agrees or differs."""
        return self.formula is not None and self.engine is not None


@dataclass(frozen=True, slots=True, eq=False)
class Section:
    """Lines under a heading."""

    heading: str
    definition: str
    lines: list[Line]


class FiguresLayout:
    """The lines of one survey's sheet and the rows in which they stand."""

    def __init__(
        self,
        evaluation: Evaluation,
        survey: int,
        found: tuple[RecordingView, HoldView, Cells] | None,
        uncertainty: Callable[[str, int, int], str | None],
    ) -> None:
        self.survey = survey
        self.record: SurveyRecord = evaluation.record.surveys[survey]
        view, hold, cells = found or (None, None, None)
        self.view: RecordingView | None = view
        self.hold: HoldView | None = hold
        self.cells: Cells | None = cells
        self.sheet = figures_sheet(survey)
        self.units = parse_unit(evaluation.record.units) or TemperatureUnit.C
        self._uncertainty = uncertainty
        self._index = {
            name: index for index, name in enumerate(view.evidence.readings.locations if view else ())
        }
        self.display_high_c = _display_high(self.record, view, hold)
        count = len(self.record.locations)
        row = FIGURES_HEADER_ROW + 1 + GIVEN_ROWS
        self._chamber_row = row + 1
        row = self._chamber_row + len(CHAMBER)
        self._variant_row = row + 1
        row = self._variant_row + len(self.record.variants)
        self._location_rows: dict[str, int] = {}
        for key in LOCATION:
            self._location_rows[key] = row + 1
            row = row + 1 + count
        if self.record.indications:
            row += 1 + 3 * len(self.record.indications)
        self._location_rows["mean_complete"] = row + 1
        self.sections = self._sections()

    # --- where things stand

    def chamber(self, key: str) -> str:
        """Live cell of a chamber figure."""
        return cell(self.sheet, self._chamber_row + list(CHAMBER).index(key), LIVE_COLUMN)

    def location(self, key: str, number: int) -> str:
        """Live cell of a location's figure; `number` counts the record's locations from 0."""
        return cell(self.sheet, self._location_rows[key] + number, LIVE_COLUMN)

    def _all(self, key: str) -> str:
        first = self._location_rows[key]
        return span(self.sheet, LIVE_COLUMN, first, first + len(self.record.locations) - 1)

    @property
    def last_row(self) -> int:
        """Last row of the sheet."""
        return self._location_rows["mean_complete"] + len(self.record.locations) - 1

    @property
    def checks(self) -> str:
        """The cells that say "agrees" or "differs"."""
        return span(self.sheet, CHECK_COLUMN, FIGURES_HEADER_ROW + 1, self.last_row)

    @property
    def live_lines(self) -> int:
        """How many figures are re-performed on this sheet."""
        return sum(line.live for section in self.sections for line in section.lines)

    def uncertainty_high(self, location: str) -> str | None:
        """Formula of a location's largest standard uncertainty in the window, from its certificates."""
        cells = self._cells_of(location)
        return None if cells is None else cells.uncertainty_high(self._index[location])

    def widest_indication(self, location: str) -> str | None:
        """Formula of the indication [°C] at which a location has that uncertainty."""
        cells = self._cells_of(location)
        return None if cells is None else cells.widest_indication(self._index[location])

    def _cells_of(self, location: str) -> Cells | None:
        """Formulas over the readings, where the location has a window on a sheet."""
        if self.hold is None or location not in self._index or self.hold.evidence.window is None:
            return None
        return self.cells

    def half_widths(self) -> tuple[tuple[str, float] | None, tuple[str, float] | None]:
        """Inhomogeneity and instability as a chamber's budget takes them: formula and value [°C].

        Over the complete instants.
        """
        reference = self._reference_number()
        means = self.sections[-1].lines
        if reference is None or self.hold is None or any(line.formula is None for line in means):
            return None, None
        values = [float(line.value) for line in means]
        own, cells = self.location("mean_complete", reference), self._all("mean_complete")
        apart = (
            f"MAX(MAX({cells})-{own},{own}-MIN({cells}))",
            max(max(values) - values[reference], values[reference] - min(values)),
        )
        extremes = None if self.cells is None else self.cells.reference_range()
        highest_c, lowest_c = self._reference_extremes()
        if extremes is None or highest_c is None or lowest_c is None:
            return apart, None
        swing = (
            f"MAX({extremes[0]}-{own},{own}-{extremes[1]})",
            max(highest_c - values[reference], values[reference] - lowest_c),
        )
        return apart, swing

    def _reference_extremes(self) -> tuple[float | None, float | None]:
        """Largest and least reading [°C] of the reference location over the complete instants."""
        hold, view = self.hold, self.view
        if hold is None or view is None or hold.evidence.reference is None or hold.complete is None:
            return None, None
        if hold.evidence.window is None or not hold.complete.there.any():
            return None, None
        window = slice(hold.evidence.window[0], hold.evidence.window[1] + 1)
        values = view.evidence.readings.corrected_c[window, hold.evidence.reference][hold.complete.there]
        return float(values.max()), float(values.min())

    def live_chamber(self, key: str) -> bool:
        """Whether a chamber figure is live."""
        return self.sections[0].lines[list(CHAMBER).index(key)].live

    # --- formulas

    def _sections(self) -> list[Section]:
        sections = [
            Section("Chamber: all locations together", "", [self._chamber_line(key) for key in CHAMBER]),
            Section(
                "By each document's formula, on this window; no conformity with it is claimed",
                "i, j: locations; r: the reference location; t: time; S: set point",
                [self._variant_line(variant) for variant in self.record.variants],
            ),
        ]
        for key, word in LOCATION.items():
            lines = [self._location_line(key, word, number) for number in range(len(self.record.locations))]
            sections.append(Section(f"{word.name} ({word.unit})", word.definition, lines))
        if self.record.indications:
            sections.append(
                Section("Displays", "Display − corrected reading beside it, in the window.", self._displays())
            )
        means = [self._mean_complete_line(number) for number in range(len(self.record.locations))]
        sections.append(
            Section(
                f"Mean over the complete instants ({TEMPERATURE})",
                "From these the locations are compared with each other.",
                means,
            )
        )
        return sections

    def _line(
        self, name: str, location: str, unit: str, engine: Maybe, formula: str | None, remark: str
    ) -> Line:
        if isinstance(engine, Absent):
            reason = f"Absent: {engine.reason}."
            return Line(
                name, location, unit, engine, None, 0.0, " ".join(part for part in (remark, reason) if part)
            )
        if formula is None:
            remark = f"{remark} [{ENGINE_ONLY}]" if remark else BY_VERIFY
        return Line(name, location, unit, engine, formula, engine, remark)

    def _location_line(self, key: str, word: Word, number: int) -> Line:
        location = self.record.locations[number]
        engine: Maybe = getattr(location, key)
        index = self._index.get(location.location)
        formula = None
        if present(engine) and index is not None:
            formula = self._location_formula(key, number, index)
        return self._line(word.name, location.location, word.unit, engine, formula, "")

    def _location_formula(self, key: str, number: int, index: int) -> str | None:
        if key in ("standard_uncertainty_c", "expanded_uncertainty_c", "coverage_factor"):
            return self._uncertainty(key, self.survey, number)
        if self.cells is None or self.hold is None:
            return None
        below = self.hold.evidence.entered_from_below
        setpoint = given(self.survey, "setpoint")
        if key == "overshoot_c" and below:
            return f"MAX(0,{self.cells.hold_high(index)}-{setpoint})"
        if key == "undershoot_c" and not below:
            return f"MAX(0,{setpoint}-{self.cells.hold_low(index)})"
        if self.hold.evidence.window is None:
            return None
        if key == "over_final_c" and below:
            return f"MAX(0,{self.cells.hold_high(index)}-{self.location('mean_c', number)})"
        simple: dict[str, Callable[[int], str | None]] = {
            "readings": self.cells.readings,
            "mean_c": self.cells.mean,
            "min_c": self.cells.low,
            "max_c": self.cells.high,
            "sd_c": self.cells.deviation,
            "drift_c_per_h": self.cells.slope,
            "mean_correction_c": self.cells.correction,
        }
        if key in simple:
            return simple[key](index)
        least, most = self.location("min_c", number), self.location("max_c", number)
        return {
            "deviation_max_c": f"{most}-{setpoint}",
            "deviation_min_c": f"{least}-{setpoint}",
            "stability_c": f"({most}-{least})/2",
        }.get(key)

    def _displays(self) -> list[Line]:
        lines = []
        for display in self.record.indications:
            for what, error in (
                ("mean error", display.error_mean_c),
                ("largest error", display.error_max_c),
                ("least error", display.error_min_c),
            ):
                name = f"{display.role} {display.channel}: {what}"
                lines.append(self._line(name, display.beside, DIFFERENCE, error, None, ""))
        return lines

    def _mean_complete_line(self, number: int) -> Line:
        location = self.record.locations[number]
        index = self._index.get(location.location)
        if (
            self.cells is None
            or self.hold is None
            or self.view is None
            or index is None
            or self.hold.complete is None
            or self.hold.evidence.window is None
            or not self.hold.complete.there.any()
        ):
            return Line("Mean over complete instants", location.location, TEMPERATURE, None, None, 0.0, "")
        first, last = self.hold.evidence.window
        readings = self.view.evidence.readings
        there = self.hold.complete.there
        values = readings.corrected_c[first : last + 1, index][there]
        weights = self.hold.complete.weights_s(readings.recording.seconds[first : last + 1])[there]
        mean = float(values.mean() if self.hold.complete.even else np.average(values, weights=weights))
        return Line(
            "Mean over complete instants",
            location.location,
            TEMPERATURE,
            None,
            self.cells.mean_complete(index),
            mean,
            "enters the comparisons above",
        )

    def _chamber_line(self, key: str) -> Line:
        word = CHAMBER[key]
        engine: Maybe = getattr(self.record.chamber, key)
        if key == "time_to_band_s" and self._never(engine):
            assert isinstance(engine, Absent)
            return Line(
                word.name,
                "",
                word.unit,
                engine,
                self._time_to_band(),
                NEVER,
                f"{word.definition} The engine: {engine.reason}.",
            )
        formula = self._chamber_formula(key) if present(engine) else None
        return self._line(word.name, "", word.unit, engine, formula, word.definition)

    def _never(self, engine: Maybe) -> bool:
        """Whether the time to band is absent because the limits are never kept for good."""
        if present(engine) or self.hold is None or self.view is None or not self.hold.timed:
            return False
        from qualify.pack.workbook.readings import inside_not_before

        assert self.hold.evidence.window is not None
        last = self.view.evidence.readings.recording.seconds[self.hold.evidence.window[1]]
        not_before = inside_not_before(self.view, self.hold)
        return bool(np.any(not_before > last))

    def _time_to_band(self) -> str:
        assert self.cells is not None
        inside = self.cells.inside_from()
        start = given(self.survey, "heat_start")
        return f'IF({inside}>{given(self.survey, "window_last")},"{NEVER}",{inside}-{start})'

    def _chamber_formula(self, key: str) -> str | None:
        if self.cells is None or self.hold is None or not self._covers_all():
            return None
        evidence = self.hold.evidence
        setpoint = given(self.survey, "setpoint")
        everywhere = range(len(self._index))
        if key == "overshoot_c" and evidence.entered_from_below:
            return f"MAX({self._all('overshoot_c')})"
        if key == "undershoot_c" and not evidence.entered_from_below:
            return f"MAX({self._all('undershoot_c')})"
        if key == "high_excess_c" and evidence.entered_from_below and self._excess_is_largest():
            highs = [self.cells.ground_high(index) for index in everywhere]
            if self.display_high_c is not None:
                highs.append(given(self.survey, "display_high"))
            excess = f"{over_many('MAX', highs)}-{given(self.survey, 'limit_high')}"
            return excess if len(excess) < LONGEST_FORMULA else None
        if evidence.window is None:
            return None
        if key == "time_to_band_s":
            return self._time_to_band() if self.hold.timed else None
        least, most = self._all("min_c"), self._all("max_c")
        formulas: dict[str, Callable[[], str]] = {
            "mean_c": self.cells.chamber_mean,
            "deviation_max_c": lambda: f"MAX({most})-{setpoint}",
            "deviation_min_c": lambda: f"MIN({least})-{setpoint}",
            "spread_max_c": self.cells.spread_high,
            "spread_mean_c": self.cells.spread_mean,
            "spread_of_means_c": lambda: (
                f"MAX({self._all('mean_complete')})-MIN({self._all('mean_complete')})"
            ),
            "stability_c": lambda: f"MAX({self._all('stability_c')})",
            "over_final_c": lambda: f"MAX({self._all('over_final_c')})",
        }
        return formulas[key]() if key in formulas else None

    def _covers_all(self) -> bool:
        """Whether the readings sheet's locations are the record's, so that "all" means the same."""
        return set(self._index) == {location.location for location in self.record.locations}

    def _excess_is_largest(self) -> bool:
        """Whether the engine's high excess is the largest reading seen here, less the upper limit."""
        assert self.hold is not None and self.view is not None
        first, last = self.hold.evidence.ground
        values = self.view.evidence.readings.corrected_c[first : last + 1]
        engine, limit = self.record.chamber.high_excess_c, self.hold.evidence.limit_high_c
        if not present(engine) or limit is None or np.isnan(values).all():
            return False
        own = float(np.nanmax(values))
        if self.display_high_c is not None:
            own = max(own, self.display_high_c)
        return abs(own - limit - engine) <= 1e-9 * max(1.0, abs(engine))

    def _variant_line(self, variant: VariantRecord) -> Line:
        formula = self._variant_formula(variant) if present(variant.value_c) else None
        standing = f" [{variant.standing}]" if variant.standing else ""
        name = f"{variant.document}: {variant.name}"
        return self._line(
            name, variant.location or "", DIFFERENCE, variant.value_c, formula, f"{variant.formula}{standing}"
        )

    def _variant_formula(self, variant: VariantRecord) -> str | None:
        if (
            self.cells is None
            or self.hold is None
            or self.hold.evidence.window is None
            or not self._covers_all()
        ):
            return None
        setpoint = given(self.survey, "setpoint")
        least, most, means = self._all("min_c"), self._all("max_c"), self._all("mean_complete")
        widest = f"MAX({self._all('stability_c')})"
        reference = self._reference_number()
        formulas = {
            ("AMS2750", "uniformity high"): f"MAX({most})-{setpoint}",
            ("AMS2750", "uniformity low"): f"MIN({least})-{setpoint}",
            ("IEC 60068-3-5", "temperature gradient"): f"MAX({means})-MIN({means})",
            ("IEC 60068-3-5", "temperature fluctuation"): f"2*{widest}",
            ("TLAS G-20", "stability"): widest,
            ("TLAS G-20", "overall variation"): f"MAX({most})-MIN({least})",
            ("JJF 1101", "uniformity"): self.cells.spread_mean(),
            ("JJF 1101", "deviation high"): f"MAX({most})-{setpoint}",
            ("JJF 1101", "deviation low"): f"MIN({least})-{setpoint}",
            ("JJF 1101", "fluctuation"): widest,
        }
        if reference is not None:
            mean = self.location("mean_complete", reference)
            apart = f"MAX(MAX({means})-{mean},{mean}-MIN({means}))"
            own = self.location("mean_c", reference)
            highest, lowest = self.location("max_c", reference), self.location("min_c", reference)
            formulas |= {
                ("IEC 60068-3-5", "temperature variation in space"): apart,
                ("DKD-R 5-7", "spatial inhomogeneity"): apart,
                ("DKD-R 5-7", "temporal instability"): (f"MAX({highest}-{own},{own}-{lowest})"),
                ("TLAS G-20", "uniformity"): self.cells.apart_high(),
            }
        return next(
            (
                formula
                for (document, name), formula in formulas.items()
                if variant.document.startswith(document) and variant.name == name
            ),
            None,
        )

    def _reference_number(self) -> int | None:
        """The reference location's place among the record's locations."""
        if self.hold is None or self.view is None or self.hold.evidence.reference is None:
            return None
        name = self.view.evidence.readings.locations[self.hold.evidence.reference]
        return next(
            (number for number, place in enumerate(self.record.locations) if place.location == name), None
        )


def _display_high(record: SurveyRecord, view: RecordingView | None, hold: HoldView | None) -> float | None:
    """Largest reading [°C] of the control and recording sensors over the hold's ground."""
    if view is None or hold is None:
        return None
    recording = view.evidence.readings.recording
    names = {indication.channel for indication in record.indications}
    columns = [i for i, channel in enumerate(recording.channels) if any(map(channel.is_called, names))]
    first, last = hold.evidence.ground
    values = recording.raw_c[first : last + 1, columns]
    return None if np.isnan(values).all() else float(np.nanmax(values))


# --- writing ----------------------------------------------------------------------------------------

_STYLES = {
    TEMPERATURE: "fine",
    DIFFERENCE: "fine",
    RATE: "fine",
    RATE_PER_MINUTE: "fine",
    SECONDS: "seconds",
    NUMBER: "seconds",
}
_IN_FAHRENHEIT = {
    TEMPERATURE: "°F",
    DIFFERENCE: "°F of difference",
    RATE: "°F/h",
    RATE_PER_MINUTE: "°F/min",
}


def write_figures(book: Book, layout: FiguresLayout) -> None:
    """Write the sheet."""
    fahrenheit = layout.units is TemperatureUnit.F
    widths = [38, 13, 17, 15, 15, 10, *([15, 17] if fahrenheit else []), 70]
    sheet = book.sheet(layout.sheet, widths)
    sheet.title(f"Figures {layout.survey + 1}: {layout.record.name}")
    readings = f"the sheet {layout.view.sheet}" if layout.view else "the readings"
    sheet.note(
        f"Each live figure is a formula over {readings}; beside it stands what the engine computed, and "
        f"whether the two "
        "agree: to 1e-9 of the value, and to 1e-9 absolutely below 1.",
        170,
    )
    checks = layout.checks
    sheet.text(0, "Live figures that agree", "strong")
    sheet.formula(LIVE_COLUMN, f'COUNTIF({checks},"agrees")', layout.live_lines, "count")
    sheet.text(LIVE_COLUMN + 1, "that differ:", "line")
    sheet.formula(CHECK_COLUMN, f'COUNTIF({checks},"differs")', 0, "count")
    sheet.next()
    sheet.next(FIGURES_HEADER_ROW - sheet.excel_row)
    header = [
        "Figure",
        "Location",
        "Unit",
        "Live formula (unit beside)",
        "Engine's value (unit beside)",
        "Check",
    ]
    if fahrenheit:
        header += ["Live in °F (unit beside)", "Unit"]
    sheet.header([*header, "Definition, remark"], frozen_columns=2)
    _write_given(sheet, layout, len(widths))
    for section in layout.sections:
        sheet.section(section.heading, section.definition)
        for line in section.lines:
            _write_line(sheet, line, fahrenheit, len(widths) - 1)
    assert sheet.row == layout.last_row
    sheet.fit()


def _write_given(sheet: Sheet, layout: FiguresLayout, columns: int) -> None:
    record, hold, view = layout.record, layout.hold, layout.view
    begin = sheet.row
    sheet.section("Given: what the formulas below refer to")
    seconds = view.evidence.readings.recording.seconds if view else None
    window = hold.evidence.window if hold else None
    edges = (
        (float(seconds[window[0]]), float(seconds[window[1]]))
        if seconds is not None and window is not None
        else (None, None)
    )
    heat_start = record.heat_start_s
    how = heat_start.reason if isinstance(heat_start, Absent) else record.heat_start_how
    limits = (record.limit_low_c, record.limit_high_c)
    rows: list[tuple[str, str, float | None, str]] = [
        ("Set point", TEMPERATURE, record.setpoint_c, ""),
        ("Lower limit", TEMPERATURE, limits[0], "" if limits[0] is not None else "no lower limit"),
        ("Upper limit", TEMPERATURE, limits[1], "" if limits[1] is not None else "no upper limit"),
        ("Heat start", SECONDS, known(heat_start), how),
        ("Window, first instant", SECONDS, edges[0], "seconds from the first reading"),
        ("Window, last instant", SECONDS, edges[1], "seconds from the first reading"),
        (
            "Largest control or recording sensor",
            TEMPERATURE,
            layout.display_high_c,
            "over the stretch of the high excess; as displayed",
        ),
    ]
    for name, unit, value, remark in rows:
        sheet.text(0, name, "line")
        sheet.text(2, unit, "line")
        if value is None:
            sheet.text(LIVE_COLUMN, "absent", "word for number")
        else:
            sheet.number(LIVE_COLUMN, value, _STYLES[unit])
        sheet.text(columns - 1, remark)
        sheet.next()
    words = [
        ("Reference location", record.reference_location or "none"),
        ("Entered from", record.entered_from),
    ]
    if window is not None and layout.cells is not None and view is not None:
        kind = "blocks" if view.in_blocks else "instants"
        words.append(
            (
                f"Window on {view.sheet}",
                f"rows {layout.cells.first_row()} to {layout.cells.last_row()} ({kind})",
            )
        )
    else:
        words.append(
            ("Window", record.window.reason if isinstance(record.window, Absent) else "not on a sheet")
        )
    words.append(("Hold's end", record.hold_end_how))
    for name, word in words:
        sheet.text(0, name, "line")
        sheet.text(LIVE_COLUMN, word or "not stated", "line")
        sheet.next()
    if hold is not None and window is not None and layout.cells is not None:
        for name, formula, value in (
            ("Instants of the window that are complete", layout.cells.complete(), _complete(hold)),
        ):
            sheet.text(0, name, "line")
            sheet.text(2, NUMBER, "line")
            sheet.formula(LIVE_COLUMN, formula, value, "count")
            sheet.text(columns - 1, "a reading at every location")
            sheet.next()
    sheet.next(begin + GIVEN_ROWS - sheet.row)


def _complete(hold: HoldView) -> float:
    return float(hold.complete.there.sum()) if hold.complete is not None else 0.0


def _write_line(sheet: Sheet, line: Line, fahrenheit: bool, remark_column: int) -> None:
    row = sheet.excel_row
    style = _STYLES[line.unit]
    live, engine = f"$D{row}", f"$E{row}"
    sheet.text(0, line.name)
    sheet.text(1, line.location)
    sheet.text(2, line.unit)
    if line.formula is not None:
        shown = "word for number" if isinstance(line.value, str) else style
        sheet.formula(LIVE_COLUMN, line.formula, line.value, shown)
    elif line.engine is not None and present(line.engine):
        sheet.text(LIVE_COLUMN, "engine only", "word for number")
    else:
        sheet.text(LIVE_COLUMN, "absent", "word for number")
    if line.value == NEVER:
        sheet.text(ENGINE_COLUMN, NEVER, "word for number")
        sheet.formula(CHECK_COLUMN, f'IF(ISNUMBER({live}),"differs","agrees")', "agrees", "word, set in")
    else:
        if line.name == CHAMBER["conformance_probability"].name:
            sheet.probability(ENGINE_COLUMN, line.engine)
        else:
            sheet.maybe(ENGINE_COLUMN, line.engine, style)
        if line.live:
            sheet.formula(CHECK_COLUMN, agrees(live, engine), "agrees", "word, set in")
    if fahrenheit and line.unit in _IN_FAHRENHEIT:
        _write_fahrenheit(sheet, line, style)
    if line.remark:
        sheet.text(remark_column, line.remark)
    sheet.next()


def _write_fahrenheit(sheet: Sheet, line: Line, style: str) -> None:
    difference = line.unit != TEMPERATURE
    convert = difference_from_c if difference else temperature_from_c
    if line.formula is not None and isinstance(line.value, float | int):
        value = convert(float(line.value), TemperatureUnit.F)
        formula = from_celsius(f"$D{sheet.excel_row}", TemperatureUnit.F, difference=difference)
        sheet.formula(6, formula, value, style)
    elif line.engine is not None and present(line.engine):
        formula = from_celsius(f"$E{sheet.excel_row}", TemperatureUnit.F, difference=difference)
        sheet.formula(6, formula, convert(line.engine, TemperatureUnit.F), style)
    else:
        sheet.text(6, "absent", "word for number")
    sheet.text(7, _IN_FAHRENHEIT[line.unit])
