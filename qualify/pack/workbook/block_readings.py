"""A sheet of readings in blocks, for a recording too long to show each instant."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from math import isnan

import numpy as np

from qualify.figures.blocks import block_high, block_low, block_starts, block_sums, location_blocks
from qualify.pack.workbook.book import Book, width_for
from qualify.pack.workbook.cells import HoldView, RecordingView, Weighing, given, span
from qualify.pack.workbook.readings import (
    inside_not_before,
    interpolated_note,
    interpolated_readings,
    phase_width,
    phases,
)
from qualify.pack.workbook.sensors import standard_uncertainty
from qualify.readings.model import FloatArray, IntArray

MOST_BLOCKS = 360
HEADER_ROW = 10
FIRST_ROW = HEADER_ROW + 1

NOTES = (
    "This recording has {instants} instants, more than {most}: the sheet holds sums over blocks of "
    "corrected readings, and the figures are formulas over these sums. A block never crosses the edge of "
    "a hold or of a window.",
    "RAW READINGS AND CORRECTIONS ARE NOT ON THIS SHEET: they are re-performed by `qualify verify`, from "
    "the packed inputs. The rows of the files that a block covers stand beside it.",
    "T: corrected reading; S: the hold's set point; t: time; t₀: the window's first instant; complete: "
    "an instant at which every location has a reading; w: time weights, where the instants are unevenly "
    "spaced.",
)
INTERPOLATED_NOTE = (
    "{count:,} of the {all:,} raw readings were not recorded: they were interpolated between two of their "
    "own logger's readings, because another logger read at that instant. The sums take them like the others."
)


@dataclass(frozen=True, slots=True, eq=False)
class BlockLocation:
    """The columns of one location."""

    count: int
    interpolated: int | None
    low: int
    high: int
    total: int
    squares: int
    products: int
    time: int | None
    time_squares: int | None
    weight: int | None
    weighted: int | None
    whole: int | None
    corrections: int | None
    uncertainty: int | None


@dataclass(eq=False)
class BlockLayout:
    """Which row and column hold what on the blocks sheet of a recording."""

    view: RecordingView
    headers: list[str] = field(default_factory=list)
    widths: list[float] = field(default_factory=list)
    groups: list[int] = field(default_factory=list)
    locations: list[BlockLocation] = field(default_factory=list)
    starts: dict[int, IntArray] = field(default_factory=dict)
    """Per hold: the first instant of each of its blocks, and one past the last."""
    rows: dict[int, int] = field(default_factory=dict)
    """Per hold: the sheet's row of its first block."""
    first_rows: tuple[int, ...] = ()
    last_rows: tuple[int, ...] = ()
    apart: int | None = None
    apart_sum: int | None = None
    reference_high: int | None = None
    reference_low: int | None = None
    """Extremes of the reference location at complete instants, where some are not complete."""
    whole_weight: int | None = None
    whole_spread: int | None = None
    whole_mean: int | None = None

    def __post_init__(self) -> None:
        holds = self.view.holds
        gaps = any(not item.there.all() for hold in holds for item in hold.own)
        own_uneven = any(not item.even for hold in holds for item in hold.own)
        wholes = [hold.complete for hold in holds if hold.complete is not None]
        whole_uneven = any(not item.even for item in wholes)
        self.phase = self._add("Phase", phase_width(self.view))
        files = list(self.view.evidence.readings.recording.rows)
        self.first_rows = tuple(self._add(f"First row in {name}", width_for(name, 11)) for name in files)
        self.last_rows = tuple(self._add(f"Last row in {name}", width_for(name, 11)) for name in files)
        self.begin = self._add("First instant (s)", 11)
        self.end = self._add("Last instant (s)", 11)
        self.instants = self._add("n: instants (count)", 10)
        self.setpoint = self._add("S (°C)", 10)
        self.origin = self._add("t₀ (s)", 10)
        self.time = self._add("Σ(t−t₀) (s)", 14)
        self.time_squares = self._add("Σ(t−t₀)² (s²)", 16)
        self.whole = self._add("Complete (count)", 10)
        self.mean = self._add("Σ(mean of T − S), complete (°C)", 13)
        self.spread = self._add("Largest spread (°C)", 11)
        self.spread_sum = self._add("Σ spread (°C)", 12)
        if any(hold.evidence.reference is not None for hold in holds):
            self.apart = self._add("Largest distance from reference (°C)", 13)
            self.apart_sum = self._add("Σ of each instant's largest distance (°C)", 14)
            if gaps:
                self.reference_high = self._add("Reference at complete instants, max (°C)", 13)
                self.reference_low = self._add("Reference at complete instants, min (°C)", 13)
        self.inside_from = self._add("Inside the limits not before (s)", 13)
        if whole_uneven:
            self.whole_weight = self._add("Σw, complete (s)", 12)
            self.whole_mean = self._add("Σw(mean of T − S), complete (°C·s)", 14)
            self.whole_spread = self._add("Σw·spread (°C·s)", 14)
        self.groups.extend(range(self.instants, len(self.headers)))
        for index, name in enumerate(self.view.evidence.readings.locations):
            self._add_location(index, name, gaps, own_uneven, gaps or whole_uneven)
        row = FIRST_ROW
        share = max(1, MOST_BLOCKS // max(1, len(holds)))
        for hold in holds:
            evidence = hold.evidence
            stretches = [evidence.hold, evidence.ground, *([evidence.window] if evidence.window else [])]
            edges = [edge for first, last in stretches for edge in (first, last + 1)]
            first, last = min(first for first, _ in stretches), max(last for _, last in stretches)
            self.starts[hold.survey] = np.append(block_starts(first, last, edges, share), last + 1)
            self.rows[hold.survey] = row
            row += self.starts[hold.survey].size - 1

    def _add(self, header: str, width: float) -> int:
        self.headers.append(header)
        self.widths.append(width)
        return len(self.headers) - 1

    def _add_location(self, index: int, name: str, gaps: bool, uneven: bool, whole: bool) -> None:
        correction = self.view.evidence.readings.corrections[index]
        corrected = correction is not None
        uncertain = correction is not None and correction.coverage_factor is not None

        def optional(wanted: bool, header: str) -> int | None:
            return self._add(f"{name}\n{header}", 13) if wanted else None

        chosen = interpolated_readings(self.view)
        made = chosen is not None and bool(chosen[:, index].any())
        self.groups.append(len(self.headers))
        self.locations.append(
            BlockLocation(
                count=self._add(f"{name}\nn (count)", 9),
                interpolated=optional(made, "of them interpolated (count)"),
                low=self._add(f"{name}\nmin (°C)", 10),
                high=self._add(f"{name}\nmax (°C)", 10),
                total=self._add(f"{name}\nΣ(T−S) (°C)", 13),
                squares=self._add(f"{name}\nΣ(T−S)² (°C²)", 14),
                products=self._add(f"{name}\nΣ(t−t₀)(T−S) (°C·s)", 17),
                time=optional(gaps, "Σ(t−t₀) at its readings (s)"),
                time_squares=self._add(f"{name}\nΣ(t−t₀)² at its readings (s²)", 16) if gaps else None,
                weight=optional(uneven, "Σw (s)"),
                weighted=optional(uneven, "Σw(T−S) (°C·s)"),
                whole=optional(whole, "Σ of complete, w where uneven (°C or °C·s)"),
                corrections=optional(corrected, "Σ correction (°C)"),
                uncertainty=optional(uncertain, "largest standard uncertainty, certificates (°C)"),
            )
        )

    @property
    def key_columns(self) -> int:
        """Columns that say which block it is."""
        return self.end + 1

    def cells(self, hold: HoldView) -> BlockCells:
        """Formulas of one hold over this sheet."""
        return BlockCells(self, hold)


@dataclass(frozen=True, slots=True, eq=False)
class BlockCells:
    """Formulas over a sheet of blocks; see `cells.Cells`."""

    layout: BlockLayout
    hold: HoldView

    def _rows(self, stretch: tuple[int, int]) -> tuple[int, int]:
        """Rows of the blocks that make up a stretch; blocks never cross its edges."""
        starts = self.layout.starts[self.hold.survey]
        first = int(np.searchsorted(starts, stretch[0]))
        last = int(np.searchsorted(starts, stretch[1] + 1)) - 1
        assert starts[first] == stretch[0] and starts[last + 1] == stretch[1] + 1
        row = self.layout.rows[self.hold.survey]
        return row + first, row + last

    def _over(self, column: int | None, stretch: tuple[int, int]) -> str:
        assert column is not None
        first, last = self._rows(stretch)
        return span(self.layout.view.sheet, column, first, last)

    def _window(self, column: int | None) -> str:
        assert self.hold.evidence.window is not None
        return self._over(column, self.hold.evidence.window)

    def _sum(self, column: int | None) -> str:
        return f"SUM({self._window(column)})"

    @property
    def _setpoint(self) -> str:
        return given(self.hold.survey, "setpoint")

    def first_row(self) -> int:
        """First row of the window on the readings sheet."""
        assert self.hold.evidence.window is not None
        return self._rows(self.hold.evidence.window)[0]

    def last_row(self) -> int:
        """Last row of the window on the readings sheet."""
        assert self.hold.evidence.window is not None
        return self._rows(self.hold.evidence.window)[1]

    def readings(self, location: int) -> str:
        """Count of readings in the window."""
        return self._sum(self.layout.locations[location].count)

    def mean(self, location: int) -> str:
        """Mean in the window."""
        columns = self.layout.locations[location]
        if self.hold.own[location].even:
            return f"{self._setpoint}+{self._sum(columns.total)}/{self._sum(columns.count)}"
        return f"{self._setpoint}+{self._sum(columns.weighted)}/{self._sum(columns.weight)}"

    def low(self, location: int) -> str:
        """Least reading in the window."""
        return f"MIN({self._window(self.layout.locations[location].low)})"

    def high(self, location: int) -> str:
        """Largest reading in the window."""
        return f"MAX({self._window(self.layout.locations[location].high)})"

    def deviation(self, location: int) -> str:
        """Sample standard deviation in the window."""
        columns = self.layout.locations[location]
        n, total, squares = (self._sum(column) for column in (columns.count, columns.total, columns.squares))
        return f"SQRT(MAX(0,({squares}-{total}^2/{n})/({n}-1)))"

    def slope(self, location: int) -> str:
        """Least-squares slope in the window [°C/h]."""
        columns = self.layout.locations[location]
        time = self._sum(self.layout.time if columns.time is None else columns.time)
        squares = self._sum(
            self.layout.time_squares if columns.time_squares is None else columns.time_squares
        )
        n, total, products = (
            self._sum(column) for column in (columns.count, columns.total, columns.products)
        )
        return f"3600*({products}-{time}*{total}/{n})/({squares}-{time}^2/{n})"

    def mean_complete(self, location: int) -> str:
        """Mean over the complete instants of the window."""
        assert self.hold.complete is not None
        columns = self.layout.locations[location]
        if columns.whole is None:
            return self.mean(location)
        weight = self.layout.whole if self.hold.complete.even else self.layout.whole_weight
        return f"{self._setpoint}+{self._sum(columns.whole)}/{self._sum(weight)}"

    def correction(self, location: int) -> str | None:
        """Mean correction in the window."""
        columns = self.layout.locations[location]
        if columns.corrections is None:
            return None
        return f"{self._sum(columns.corrections)}/{self._sum(columns.count)}"

    def uncertainty_high(self, location: int) -> str | None:
        """Largest standard uncertainty of a corrected reading in the window, from its certificates."""
        column = self.layout.locations[location].uncertainty
        return None if column is None else f"MAX({self._window(column)})"

    def widest_indication(self, location: int) -> str | None:
        """Blocks don't hold the indication."""
        return None

    def hold_high(self, location: int) -> str:
        """Largest reading of the hold."""
        return f"MAX({self._over(self.layout.locations[location].high, self.hold.evidence.hold)})"

    def hold_low(self, location: int) -> str:
        """Least reading of the hold."""
        return f"MIN({self._over(self.layout.locations[location].low, self.hold.evidence.hold)})"

    def ground_high(self, location: int) -> str:
        """Largest reading of the stretch over which the high excess counts."""
        return f"MAX({self._over(self.layout.locations[location].high, self.hold.evidence.ground)})"

    def complete(self) -> str:
        """Count of complete instants in the window."""
        return self._sum(self.layout.whole)

    def chamber_mean(self) -> str:
        """Mean over the complete instants of the mean over locations."""
        assert self.hold.complete is not None
        if self.hold.complete.even:
            return f"{self._setpoint}+{self._sum(self.layout.mean)}/{self._sum(self.layout.whole)}"
        return f"{self._setpoint}+{self._sum(self.layout.whole_mean)}/{self._sum(self.layout.whole_weight)}"

    def spread_high(self) -> str:
        """Largest instantaneous spread."""
        return f"MAX({self._window(self.layout.spread)})"

    def spread_mean(self) -> str:
        """Mean instantaneous spread."""
        assert self.hold.complete is not None
        if self.hold.complete.even:
            return f"{self._sum(self.layout.spread_sum)}/{self._sum(self.layout.whole)}"
        return f"{self._sum(self.layout.whole_spread)}/{self._sum(self.layout.whole_weight)}"

    def apart_high(self) -> str:
        """Largest distance of a location from the reference at one instant."""
        return f"MAX({self._window(self.layout.apart)})"

    def reference_range(self) -> tuple[str, str] | None:
        """Largest and least reading of the reference location over the complete instants of the window."""
        reference, complete = self.hold.evidence.reference, self.hold.complete
        if reference is None or complete is None or not complete.there.any():
            return None
        if complete.there.all():
            return self.high(reference), self.low(reference)
        return (
            f"MAX({self._window(self.layout.reference_high)})",
            f"MIN({self._window(self.layout.reference_low)})",
        )

    def inside_from(self) -> str:
        """Time from which every location stays inside the limits; beyond the window if never."""
        assert self.hold.evidence.window is not None
        stretch = (self.hold.evidence.hold[0], self.hold.evidence.window[1])
        return f"MAX({self._over(self.layout.inside_from, stretch)})"


def write_blocks(book: Book, layout: BlockLayout) -> None:
    """Write the sheet."""
    view = layout.view
    recording = view.evidence.readings.recording
    sheet = book.sheet(view.sheet, layout.widths)
    sheet.title(f"Readings {view.number}: {view.evidence.name}")
    for note in NOTES:
        sheet.note(note.format(instants=f"{recording.seconds.size:,}", most="5,000"), 140, layout.key_columns)
    for note in interpolated_note(view, INTERPOLATED_NOTE):
        sheet.note(note, 140, layout.key_columns)
    sheet.next(HEADER_ROW - sheet.excel_row)
    sheet.header(layout.headers, frozen_columns=layout.key_columns)
    words = phases(view)
    files = list(recording.rows.values())
    for hold in view.holds:
        bounds = layout.starts[hold.survey]
        columns = _hold_columns(layout, hold)
        assert sheet.excel_row == layout.rows[hold.survey]
        for block in range(bounds.size - 1):
            first, last = int(bounds[block]), int(bounds[block + 1]) - 1
            sheet.text(layout.phase, words[first], "line")
            for places, instant in ((layout.first_rows, first), (layout.last_rows, last)):
                for column, rows in zip(places, files, strict=True):
                    sheet.number(column, int(rows[instant]), "count")
            for column, values, style in columns:
                if not isnan(values[block]):
                    sheet.number(column, values[block], style)
            sheet.next()
    sheet.print_in_strips(55, layout.key_columns, layout.groups)


def _hold_columns(layout: BlockLayout, hold: HoldView) -> list[tuple[int, list[float], str]]:
    """Every column of numbers for the blocks of one hold."""
    view, evidence = layout.view, hold.evidence
    readings = view.evidence.readings
    bounds = layout.starts[hold.survey]
    first, stop = int(bounds[0]), int(bounds[-1])
    starts = bounds[:-1] - first
    stretch = slice(first, stop)
    seconds = readings.recording.seconds[stretch]
    corrected = readings.corrected_c[stretch]
    whole = view.complete[stretch]
    origin_s = float(readings.recording.seconds[evidence.window[0] if evidence.window else evidence.hold[0]])
    setpoint_c = evidence.setpoint_c
    listed: list[tuple[int, list[float], str]] = []

    def put(column: int | None, values: FloatArray, style: str) -> None:
        if column is not None:
            listed.append((column, values.tolist(), style))

    def sums(column: int | None, values: Callable[[], FloatArray], style: str = "sum") -> None:
        if column is not None:
            put(column, block_sums(values(), starts), style)

    def spread_over(item: Weighing | None) -> FloatArray:
        """Weights over the whole stretch: 1 where a mean is plain, NaN outside the window."""
        weights = np.full(seconds.size, np.nan)
        if item is not None and evidence.window is not None:
            begin, end = evidence.window[0] - first, evidence.window[1] + 1 - first
            weights[begin:end] = np.where(
                item.there, 1.0 if item.even else item.weights_s(seconds[begin:end]), np.nan
            )
        return weights

    chosen = interpolated_readings(view)
    ones = np.ones(starts.size)
    elapsed = seconds - origin_s
    put(layout.begin, seconds[starts], "seconds")
    put(layout.end, seconds[bounds[1:] - first - 1], "seconds")
    put(layout.instants, np.diff(bounds).astype(np.float64), "count")
    put(layout.setpoint, ones * setpoint_c, "raw")
    put(layout.origin, ones * origin_s, "seconds")
    sums(layout.time, lambda: elapsed)
    sums(layout.time_squares, lambda: elapsed * elapsed)
    spread = np.where(whole, np.fmax.reduce(corrected, axis=1) - np.fmin.reduce(corrected, axis=1), np.nan)
    mean_apart = np.where(whole, corrected.mean(axis=1) - setpoint_c, np.nan)
    whole_weights = spread_over(hold.complete)
    sums(layout.whole, lambda: whole.astype(np.float64), "count")
    sums(layout.mean, lambda: mean_apart)
    put(layout.spread, block_high(spread, starts), "temperature")
    sums(layout.spread_sum, lambda: spread)
    if evidence.reference is not None:
        apart = np.abs(corrected - corrected[:, [evidence.reference]]).max(axis=1)
        put(layout.apart, block_high(np.where(whole, apart, np.nan), starts), "temperature")
        sums(layout.apart_sum, lambda: np.where(whole, apart, np.nan))
        own_c = np.where(whole, corrected[:, evidence.reference], np.nan)
        put(layout.reference_high, block_high(own_c, starts), "temperature")
        put(layout.reference_low, block_low(own_c, starts), "temperature")
    if hold.timed:
        put(layout.inside_from, block_high(inside_not_before(view, hold)[stretch], starts), "seconds")
    sums(layout.whole_weight, lambda: whole_weights)
    sums(layout.whole_mean, lambda: whole_weights * mean_apart)
    sums(layout.whole_spread, lambda: whole_weights * spread)
    for index, place in enumerate(layout.locations):
        values = corrected[:, index]
        blocks = location_blocks(seconds, values, setpoint_c, origin_s, starts)
        own = spread_over(hold.own[index] if hold.own else None)
        correction = values - readings.raw_c[stretch, index]
        put(place.count, blocks.count, "count")
        if chosen is not None:
            made = chosen[stretch, index] & ~np.isnan(values)
            put(place.interpolated, block_sums(made.astype(np.float64), starts), "count")
        put(place.low, blocks.low_c, "temperature")
        put(place.high, blocks.high_c, "temperature")
        put(place.total, blocks.total_c, "sum")
        put(place.squares, blocks.squares_c2, "sum")
        put(place.products, blocks.products_c_s, "sum")
        put(place.time, blocks.time_s, "sum")
        put(place.time_squares, blocks.time_squares_s2, "sum")
        if place.weight is not None and place.weighted is not None:
            put(place.weight, block_sums(own, starts), "sum")
            put(place.weighted, block_sums(own * (values - setpoint_c), starts), "sum")
        if place.whole is not None:
            put(place.whole, block_sums(whole_weights * (values - setpoint_c), starts), "sum")
        if place.corrections is not None:
            put(place.corrections, block_sums(correction, starts), "sum")
        applied = readings.corrections[index]
        if place.uncertainty is not None and applied is not None and applied.coverage_factor is not None:
            standard_c = standard_uncertainty(
                applied, readings.raw_c[stretch, index], applied.coverage_factor
            )
            put(place.uncertainty, block_high(standard_c, starts), "fine")
    return listed
