"""Write a table in a random layout and read it back: the same numbers, times and units."""

from __future__ import annotations

import hashlib
import io
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from qualify.inputs import InputFile
from qualify.readings import ReadOptions, Recording, read_recording
from qualify.units import TemperatureUnit, temperature_to_c

C, F, K = TemperatureUnit.C, TemperatureUnit.F, TemperatureUnit.K
ROUTES = ("header", "row", "row above names", "preamble", "told", "column")
CLOCKS = ("iso", "dots", "slashes", "half days", "elapsed")


@dataclass(frozen=True)
class Layout:
    delimiter: str
    mark: str
    encoding: str
    line_end: str
    clock: str
    two_columns: bool
    unit: TemperatureUnit
    route: str
    preamble: int
    quoted: bool
    decimals: int


@st.composite
def layouts(draw: st.DrawFn) -> Layout:
    delimiter = draw(st.sampled_from([",", ";", "\t", "|"]))
    clock = draw(st.sampled_from(CLOCKS))
    return Layout(
        delimiter=delimiter,
        mark="." if delimiter == "," else draw(st.sampled_from([".", ","])),
        encoding=draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"])),
        line_end=draw(st.sampled_from(["\n", "\r\n", "\r"])),
        clock=clock,
        two_columns=clock != "elapsed" and draw(st.booleans()),
        unit=draw(st.sampled_from([C, F, K])),
        route=draw(st.sampled_from(ROUTES)),
        preamble=draw(st.integers(0, 8)),
        quoted=draw(st.booleans()),
        decimals=draw(st.integers(1, 4)),
    )


tables = st.integers(1, 5).flatmap(
    lambda channels: st.lists(
        st.lists(st.floats(0.001, 1500), min_size=channels, max_size=channels), min_size=2, max_size=25
    )
)


def stamp_cells(layout: Layout, instant: datetime, seconds: float) -> list[str]:
    if layout.clock == "elapsed":
        return [f"{seconds:.1f}".replace(".", layout.mark)]
    fraction = f".{instant.microsecond // 100_000}"
    day = {"iso": "%Y-%m-%d", "dots": "%d.%m.%Y", "slashes": "%d/%m/%Y", "half days": "%m/%d/%Y"}[
        layout.clock
    ]
    clock = instant.strftime("%I:%M:%S") + fraction + instant.strftime(" %p")
    if layout.clock != "half days":
        clock = instant.strftime("%H:%M:%S") + fraction
    if layout.two_columns:
        return [instant.strftime(day), clock]
    return [instant.strftime(day) + ("T" if layout.clock == "iso" else " ") + clock]


def write(layout: Layout, start: datetime, step: float, table: list[list[float]]) -> list[list[str]]:
    channels = len(table[0])
    times = ["Date", "Time"] if layout.two_columns else ["Time (s)" if layout.clock == "elapsed" else "Time"]
    spelled = {C: "°C", F: "°F", K: "K"}[layout.unit]
    names = [
        f"Fühler {k + 1}" + (f" ({spelled})" if layout.route == "header" else "") for k in range(channels)
    ]
    extra = ["Unit"] if layout.route == "column" else []
    rows = [[f"Note {k}", f"{k}.5"] for k in range(layout.preamble)]
    if layout.route == "preamble":
        rows.append(["Units", spelled])
    header = [[*times, *names, *extra]]
    if layout.route.startswith("row"):
        units = [*([""] * (len(times) - 1)), "s" if layout.clock == "elapsed" else "", *[spelled] * channels]
        header = [units, *header] if layout.route == "row above names" else [*header, units]
    rows += header
    for index, values in enumerate(table):
        seconds = index * step
        cells = stamp_cells(layout, start + timedelta(seconds=seconds), seconds)
        cells += [f"{value:.{layout.decimals}f}".replace(".", layout.mark) for value in values]
        rows.append([*cells, *([spelled] if extra else [])])
    return rows


def as_text(layout: Layout, rows: list[list[str]]) -> bytes:
    quote = '"' if layout.quoted else ""
    lines = [layout.delimiter.join(f"{quote}{cell}{quote}" for cell in row) for row in rows]
    return (layout.line_end.join(lines) + layout.line_end).encode(layout.encoding)


def logger_file(data: bytes, name: str) -> InputFile:
    return InputFile(name, Path(name), data, hashlib.sha256(data).hexdigest(), "readings")


def options(layout: Layout) -> ReadOptions:
    return ReadOptions(
        units=layout.unit if layout.route == "told" else None,
        dates={"slashes": "day-first", "half days": "month-first"}.get(layout.clock),
    )


def check(recording: Recording, layout: Layout, start: datetime, step: float, table: list[list[float]]):
    written = np.array([[float(f"{value:.{layout.decimals}f}") for value in row] for row in table])
    np.testing.assert_array_equal(recording.raw_c, temperature_to_c(written, layout.unit))
    np.testing.assert_allclose(recording.seconds, step * np.arange(len(table)), atol=1e-9)
    assert recording.start == (None if layout.clock == "elapsed" else start)
    assert recording.units == (layout.unit,) * len(table[0])
    assert [channel.name for channel in recording.channels] == [
        f"Fühler {k + 1}" for k in range(len(table[0]))
    ]
    # Three decimals behind every comma may set off thousands: read, and said.
    assert {doubt.kind for doubt in recording.doubts} <= {"three-digits-behind-every-comma"}


starts = st.datetimes(datetime(2001, 1, 1), datetime(2037, 12, 31)).map(lambda at: at.replace(microsecond=0))
steps = st.sampled_from([0.1, 0.5, 1.0, 10.0, 3599.9])


@settings(max_examples=250, deadline=None)
@given(layout=layouts(), start=starts, step=steps, table=tables)
def test_text_reads_back_as_it_was_written(
    layout: Layout, start: datetime, step: float, table: list[list[float]]
):
    data = as_text(layout, write(layout, start, step, table))
    check(read_recording([logger_file(data, "a.csv")], options(layout)), layout, start, step, table)


@settings(max_examples=100, deadline=None)
@given(layout=layouts(), start=starts, step=steps, table=tables, data=st.data())
def test_a_file_split_in_two_is_the_file(
    layout: Layout, start: datetime, step: float, table: list[list[float]], data: st.DataObject
):
    rows = write(layout, start, step, table)
    above = len(rows) - len(table)
    cut = data.draw(st.integers(1, len(table) - 1))
    first = logger_file(as_text(layout, rows[: above + cut]), "a.csv")
    second = logger_file(as_text(layout, rows[:above] + rows[above + cut :]), "b.csv")
    turned = data.draw(st.booleans())
    recording = read_recording([second, first] if turned else [first, second], options(layout))
    check(recording, layout, start, step, table)
    lines = list(range(above + 1, above + 1 + len(table)))
    assert recording.rows["a.csv"].tolist() == [*lines[:cut], *[0] * (len(table) - cut)]
    assert recording.rows["b.csv"].tolist() == [*[0] * cut, *lines[: len(table) - cut]]


@settings(max_examples=25, deadline=None)
@given(
    start=starts,
    step=st.sampled_from([0.5, 1.0, 10.0]),
    table=tables,
    unit=st.sampled_from([C, F]),
    real_times=st.booleans(),
    title=st.booleans(),
)
def test_a_sheet_reads_back_as_it_was_written(
    start: datetime,
    step: float,
    table: list[list[float]],
    unit: TemperatureUnit,
    real_times: bool,
    title: bool,
):
    from openpyxl import Workbook

    book = Workbook()
    sheet = book.worksheets[0]
    if title:
        sheet.append(["Survey of an oven"])
        sheet.append([])
    sheet.append(["Time", *[f"T{k + 1} [{unit}]" for k in range(len(table[0]))]])
    for index, values in enumerate(table):
        instant = start + timedelta(seconds=index * step)
        # The writer keeps sixteen digits, so the numbers are rounded before they are written.
        values[:] = [round(value, 6) for value in values]
        sheet.append([instant if real_times else instant.isoformat(), *values])
    buffer = io.BytesIO()
    book.save(buffer)
    recording = read_recording([logger_file(buffer.getvalue(), "a.xlsx")])
    np.testing.assert_array_equal(recording.raw_c, temperature_to_c(np.array(table), unit))
    np.testing.assert_allclose(recording.seconds, step * np.arange(len(table)), atol=1e-9)
    assert recording.start == start
    # Three decimals behind every comma may set off thousands: read, and said.
    assert {doubt.kind for doubt in recording.doubts} <= {"three-digits-behind-every-comma"}
