"""One table in every format reads the same; each format's own faults are refused or listed by their place."""

from __future__ import annotations

import gzip
import hashlib
import io
import re
import struct
import subprocess
import sys
import zipfile
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from qualify.findings import Refusal
from qualify.inputs import InputFile
from qualify.readings import ReadOptions, Recording, read_recording
from qualify.readings.encodings import guess_encoding, is_western
from qualify.readings.unwrap import unwrap
from qualify.units import TemperatureUnit

START = datetime(2026, 3, 2, 23, 59, 58)
HEADER = ["Time", "T1 (°C)", "T2 (°C)", "O2 (%)"]
ROWS = [
    [START + timedelta(milliseconds=500 * k), 20.5 + 0.25 * k, 21 + k, round(20.9 - 0.1 * k, 1)]
    for k in range(12)
]
Table = list[list[Any]]


def logger_file(content: bytes, name: str) -> InputFile:
    return InputFile(name, Path(name), content, hashlib.sha256(content).hexdigest(), "readings")


def read(content: bytes, name: str, **told: Any) -> Recording:
    return read_recording([logger_file(content, name)], ReadOptions(**told))


def refused(content: bytes, name: str, **told: Any) -> Refusal:
    with pytest.raises(Refusal) as caught:
        read(content, name, **told)
    assert caught.value.where
    assert caught.value.mend
    return caught.value


def kinds(recording: Recording) -> list[str]:
    return [doubt.kind for doubt in recording.doubts]


# --- writers -----------------------------------------------------------------------------------------


def as_csv(rows: Table, header: list[str] = HEADER) -> bytes:
    def word(cell: object) -> str:
        if isinstance(cell, datetime):
            return cell.isoformat(sep=" ", timespec="milliseconds")
        return "" if cell is None else str(cell)

    return "".join(",".join(map(word, row)) + "\n" for row in [header, *rows]).encode()


def as_xlsx(rows: Table, header: list[str] = HEADER, change: Callable[[Any], None] | None = None) -> bytes:
    from openpyxl import Workbook

    book = Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.title = "Data"
    for row in [header, *rows]:
        sheet.append(row)
    if change is not None:
        change(sheet)
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


def as_xls(rows: Table, header: list[str] = HEADER, change: Callable[[Any], None] | None = None) -> bytes:
    import xlwt

    book = xlwt.Workbook(encoding="utf-8")
    sheet = book.add_sheet("Data", cell_overwrite_ok=True)
    stamp = xlwt.easyxf(num_format_str="yyyy-mm-dd hh:mm:ss.000")
    for at, row in enumerate([header, *rows]):
        for column, cell in enumerate(row):
            if isinstance(cell, datetime):
                # The writer would drop the fraction of the second.
                sheet.write(at, column, (cell - datetime(1899, 12, 30)) / timedelta(days=1), stamp)
            elif cell is not None:
                sheet.write(at, column, cell)
    if change is not None:
        change(sheet)
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


def as_ods(rows: Table, header: list[str] = HEADER, change: Callable[[str], str] | None = None) -> bytes:
    """A minimal open document, its XML written here."""

    def cell(value: object) -> str:
        if value is None:
            return "<table:table-cell/>"
        if isinstance(value, bool):
            word = str(value).lower()
            kind = f'office:value-type="boolean" office:boolean-value="{word}"'
        elif isinstance(value, int | float):
            kind = f'office:value-type="float" office:value="{value!r}"'
        elif isinstance(value, datetime):
            kind = f'office:value-type="date" office:date-value="{value.isoformat()}"'
        elif isinstance(value, timedelta):
            seconds = value // timedelta(seconds=1)
            worded = f"PT{seconds // 3600:02d}H{seconds // 60 % 60:02d}M{seconds % 60:02d}S"
            kind = f'office:value-type="time" office:time-value="{worded}"'
        else:
            kind = 'office:value-type="string"'
        return f"<table:table-cell {kind}><text:p>{value}</text:p></table:table-cell>"

    lines = "".join(
        "<table:table-row>" + "".join(map(cell, row)) + "</table:table-row>" for row in [header, *rows]
    )
    names = {
        "office": "urn:oasis:names:tc:opendocument:xmlns:office:1.0",
        "table": "urn:oasis:names:tc:opendocument:xmlns:table:1.0",
        "text": "urn:oasis:names:tc:opendocument:xmlns:text:1.0",
        "calcext": "urn:org:documentfoundation:names:experimental:calc:xmlns:calcext:1.0",
    }
    spaces = " ".join(f'xmlns:{prefix}="{name}"' for prefix, name in names.items())
    columns = "".join(f'<table:table-column table:style-name="c{k}"/>' for k in range(len(header)))
    xml = (
        f'<?xml version="1.0" encoding="UTF-8"?><office:document-content {spaces} office:version="1.3">'
        f'<office:body><office:spreadsheet><table:table table:name="Data">{columns}{lines}</table:table>'
        "</office:spreadsheet></office:body></office:document-content>"
    )
    if change is not None:
        changed = change(xml)
        assert changed != xml
        xml = changed
    kind = "application/vnd.oasis.opendocument.spreadsheet"
    manifest = (
        '<?xml version="1.0"?><manifest:manifest xmlns:manifest='
        '"urn:oasis:names:tc:opendocument:xmlns:manifest:1.0"/>'
    )
    return zipped({"mimetype": kind, "content.xml": xml, "META-INF/manifest.xml": manifest})


def as_parquet(rows: Table, header: list[str] = HEADER) -> bytes:
    import pandas as pd

    buffer = io.BytesIO()
    pd.DataFrame(rows, columns=header).to_parquet(buffer, index=False)
    return buffer.getvalue()


def parquet_of(columns: dict[str, Any]) -> bytes:
    import pyarrow as pa
    import pyarrow.parquet as pq

    buffer = io.BytesIO()
    pq.write_table(pa.table(columns), buffer)
    return buffer.getvalue()


def zipped(members: dict[str, str | bytes]) -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    return buffer.getvalue()


SHEETS: dict[str, Callable[..., bytes]] = {"xlsx": as_xlsx, "xls": as_xls, "ods": as_ods}


# --- one table in every format -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "write"),
    [
        ("oven.csv", as_csv),
        ("oven.xlsx", as_xlsx),
        ("oven.xls", as_xls),
        ("oven.ods", as_ods),
        ("oven.parquet", as_parquet),
        ("oven.csv.gz", lambda rows: gzip.compress(as_csv(rows))),
        ("oven.xlsx.gz", lambda rows: gzip.compress(as_xlsx(rows))),
        ("oven.zip", lambda rows: zipped({"logger/oven.csv": as_csv(rows)})),
        ("ovens.zip", lambda rows: zipped({"oven.ods": as_ods(rows)})),
    ],
)
def test_a_table_reads_the_same_from_every_format(name: str, write: Callable[[Table], bytes]):
    recording = read(write(ROWS), name)
    assert [channel.name for channel in recording.channels] == ["T1", "T2"]
    assert recording.units == (TemperatureUnit.C,) * 2
    assert [(other.name, other.unit) for other in recording.others] == [("O2", "%")]
    np.testing.assert_array_equal(recording.raw_c, [[row[1], row[2]] for row in ROWS])
    np.testing.assert_array_equal(recording.other_values[:, 0], [row[3] for row in ROWS])
    np.testing.assert_array_equal(recording.seconds, 0.5 * np.arange(12))
    assert recording.start == START
    assert recording.doubts == ()


def test_every_sheet_format_gives_the_same_instants_down_to_the_millisecond():
    moments = [datetime(2026, 3, 2) + timedelta(milliseconds=37 * k + k * k) for k in range(1, 400)]
    rows: Table = [[moment, k] for k, moment in enumerate(moments)]
    found = {form: read(write(rows, ["Time", "T1 (°C)"]), f"a.{form}") for form, write in SHEETS.items()}
    expected = [(moment - moments[0]).total_seconds() for moment in moments]
    for form, recording in found.items():
        assert recording.seconds.tolist() == expected, form
        assert recording.start == moments[0]
        assert "millisecond" in recording.layouts[f"a.{form}"]["times in cells"]


def test_noise_of_a_spreadsheets_fractions_of_a_day_is_no_time():
    # 3 microseconds beside the millisecond, as fractions of a day leave them.
    rows: Table = [[START + timedelta(milliseconds=100 * k, microseconds=3), k] for k in range(4)]
    for form, write in SHEETS.items():
        recording = read(write(rows, ["Time", "T1 (°C)"]), f"a.{form}")
        assert recording.seconds.tolist() == [0.0, 0.1, 0.2, 0.3], form
        assert recording.start == START


@pytest.mark.parametrize("form", SHEETS)
def test_a_stamp_at_midnight_stays_a_stamp(form: str):
    rows: Table = [[datetime(2026, 3, 2, 23, 59, 59) + timedelta(seconds=k), k] for k in range(3)]
    recording = read(SHEETS[form](rows, ["Time", "T1 (°C)"]), f"a.{form}")
    assert recording.seconds.tolist() == [0.0, 1.0, 2.0]


@pytest.mark.parametrize("form", SHEETS)
def test_channels_called_by_numbers(form: str):
    rows: Table = [[START + timedelta(seconds=k), 20, 21] for k in range(3)]
    recording = read(SHEETS[form](rows, ["Time", 1, 2]), f"a.{form}", units=TemperatureUnit.C)
    assert [channel.name for channel in recording.channels] == ["1", "2"]


def test_dates_in_days_since_1904():
    from openpyxl import Workbook

    book = Workbook()
    book.epoch = datetime(1904, 1, 1)
    sheet = book.active
    assert sheet is not None
    for row in [["Time", "T1 (°C)"], *[[START + timedelta(seconds=k), k] for k in range(3)]]:
        sheet.append(row)
    buffer = io.BytesIO()
    book.save(buffer)
    assert read(buffer.getvalue(), "a.xlsx").start == START
    import xlwt

    old = xlwt.Workbook()
    old.dates_1904 = True
    sheet_old = old.add_sheet("Data")
    stamp = xlwt.easyxf(num_format_str="yyyy-mm-dd hh:mm:ss")
    for column, word in enumerate(["Time", "T1 (C)"]):
        sheet_old.write(0, column, word)
    for k in range(3):
        sheet_old.write(k + 1, 0, START + timedelta(seconds=k), stamp)
        sheet_old.write(k + 1, 1, 20 + k)
    buffer = io.BytesIO()
    old.save(buffer)
    assert read(buffer.getvalue(), "a.xls").start == START


def test_durations_beyond_a_day_in_an_open_document():
    rows: Table = [[timedelta(hours=30, seconds=k), 20 + k] for k in range(3)]
    recording = read(as_ods(rows, ["Elapsed", "T1 (°C)"]), "a.ods")
    assert recording.seconds.tolist() == [0.0, 1.0, 2.0]


def test_a_cell_in_per_cent_is_the_number_that_the_sheet_keeps():
    rows: Table = [[START + timedelta(seconds=k), 20, 0.5] for k in range(3)]

    def per_cent(sheet: Any) -> None:
        for row in range(2, 5):
            sheet.cell(row=row, column=3).number_format = "0%"

    recording = read(as_xlsx(rows, ["Time", "T1 (°C)", "Valve (1)"], per_cent), "a.xlsx")
    assert recording.other_values[:, 0].tolist() == [0.5] * 3


# --- what a sheet keeps beside its values ------------------------------------------------------------


def merge_xls(top: int, bottom: int, left: int, right: int) -> Callable[[Any], None]:
    return lambda sheet: sheet.merge(top, bottom, left, right)


def span(text: str, attributes: str) -> Callable[[str], str]:
    """Give the cell that holds a text more attributes, in the XML of an open document."""
    pattern = re.compile(rf"<table:table-cell ([^>]*)>(<text:p>{re.escape(text)}</text:p>)")
    return lambda xml: pattern.sub(rf"<table:table-cell {attributes} \1>\2", xml, count=1)


MERGED_BODY = {
    "xlsx": lambda: as_xlsx(ROWS, change=lambda sheet: sheet.merge_cells("B5:C5")),
    "xls": lambda: as_xls(ROWS, change=merge_xls(4, 4, 1, 2)),
    "ods": lambda: as_ods(ROWS, change=span("21.25", 'table:number-columns-spanned="2"')),
}


@pytest.mark.parametrize("form", MERGED_BODY)
def test_merged_readings_are_refused_by_their_place(form: str):
    refusal = refused(MERGED_BODY[form](), f"a.{form}")
    assert refusal.code == "cells-merged"
    assert "row 5" in refusal.where
    assert "B5:C5" in refusal.what
    assert "T1" in refusal.where


def test_a_name_merged_over_two_columns_is_refused():
    content = as_xlsx(ROWS, change=lambda sheet: sheet.merge_cells("B1:C1"))
    refusal = refused(content, "a.xlsx")
    assert refusal.code == "cells-merged"
    assert "row 1" in refusal.where
    assert "B1:C1" in refusal.what


def test_names_below_a_merged_title_decide():
    def title(sheet: Any) -> None:
        sheet.insert_rows(1)
        sheet["B1"] = "Zone 1"
        sheet["A1"] = "Time"
        sheet["A2"] = None
        sheet.merge_cells("B1:C1")
        sheet.merge_cells("A1:A2")

    recording = read(as_xlsx(ROWS, change=title), "a.xlsx", header_row=2)
    assert [channel.name for channel in recording.channels] == ["T1", "T2"]
    assert recording.layouts["a.xlsx"]["time columns"] == "'Time'"


def hide_xlsx(sheet: Any) -> None:
    sheet.row_dimensions[4].hidden = True
    sheet.row_dimensions[5].hidden = True
    sheet.row_dimensions[9].hidden = True
    sheet.column_dimensions["C"].hidden = True
    sheet.auto_filter.ref = "A1:C9"


def hide_xls(sheet: Any) -> None:
    for row in (3, 4, 8):
        sheet.row(row).hidden = True
    sheet.col(2).hidden = True


def hide_ods(xml: str) -> str:
    rows = xml.split("<table:table-row>")
    for index in (4, 5, 9):
        rows[index] = 'table:visibility="filter">' + rows[index]
    joined = "<table:table-row>".join(rows).replace("<table:table-row>table:v", "<table:table-row table:v")
    return joined.replace(
        '<table:table-column table:style-name="c2"/>', '<table:table-column table:visibility="collapse"/>'
    )


@pytest.mark.parametrize(
    ("form", "content"),
    [
        ("xlsx", lambda: as_xlsx(ROWS, change=hide_xlsx)),
        ("xls", lambda: as_xls(ROWS, change=hide_xls)),
        ("ods", lambda: as_ods(ROWS, change=hide_ods)),
    ],
)
def test_hidden_rows_and_columns_are_read_and_named(form: str, content: Callable[[], bytes]):
    recording = read(content(), f"a.{form}")
    assert recording.raw_c.shape == (12, 2)
    (doubt,) = recording.doubts
    assert doubt.kind == "hidden-cells-read"
    assert doubt.row == 4
    assert "rows 4 to 5, 9 and column 'T2 (°C)'" in doubt.text
    assert ("a filter is set" in doubt.text) == (form != "xls")


def calculated(content: bytes) -> bytes:
    """Give the formulas of a workbook the values that a spreadsheet program would have stored."""
    parts = {}
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        for name in archive.namelist():
            parts[name] = archive.read(name)
    sheet = parts["xl/worksheets/sheet1.xml"].decode()
    parts["xl/worksheets/sheet1.xml"] = re.sub(
        r"(<f>[^<]*</f>)<v ?/>|(<f>[^<]*</f>)<v></v>", lambda m: f"{m[1] or m[2]}<v>33.5</v>", sheet
    ).encode()
    parts["xl/workbook.xml"] = parts["xl/workbook.xml"].replace(b' fullCalcOnLoad="1"', b"")
    return zipped(parts)


def formula_xlsx(sheet: Any) -> None:
    sheet["C4"] = "=B4+13"
    sheet["C6"] = "=B6+12"


def test_formulas_that_were_never_calculated_are_refused():
    refusal = refused(as_xlsx(ROWS, change=formula_xlsx), "a.xlsx")
    assert refusal.code == "formula-not-calculated"
    assert "C4" in refusal.what
    assert "row 4" in refusal.where
    assert "let it calculate" in refusal.mend


def test_a_sheet_of_uncalculated_formulas_is_refused_for_them():
    rows: Table = [[f"=A{k + 1}+1", f"=B{k + 1}*2"] for k in range(1, 4)]
    assert refused(as_xlsx(rows, ["Time (s)", "T1 (°C)"]), "a.xlsx").code == "formula-not-calculated"


def test_values_that_a_library_made_up_for_formulas_are_refused():
    import xlsxwriter

    buffer = io.BytesIO()
    book = xlsxwriter.Workbook(buffer, {"in_memory": True})
    sheet = book.add_worksheet("Data")
    sheet.write_row(0, 0, ["Time (s)", "T1 (°C)"])
    for k in range(4):
        sheet.write_number(k + 1, 0, k)
        sheet.write_formula(k + 1, 1, f"=A{k + 2}+20")  # stored with the value 0
    book.close()
    assert refused(buffer.getvalue(), "a.xlsx").code == "formula-not-calculated"


def test_calculated_formulas_are_read_and_counted():
    recording = read(calculated(as_xlsx(ROWS, change=formula_xlsx)), "a.xlsx")
    assert recording.raw_c[2, 1] == 33.5
    (doubt,) = recording.doubts
    assert doubt.kind == "formulas-read"
    assert (doubt.row, doubt.column) == (4, "T2 (°C)")
    assert "2 of the table's cells are formulas" in doubt.text


def test_formulas_outside_the_table_don_t_matter():
    content = as_xlsx([["Started", "=NOW()"], [], HEADER, *ROWS], ["Survey", "of an oven"])
    assert refused(as_xlsx(ROWS, change=lambda sheet: sheet.__setitem__("D3", "=1")), "a.xlsx")
    assert kinds(read(content, "a.xlsx")) == []


def test_formulas_in_an_old_workbook():
    import xlwt

    def formula(sheet: Any) -> None:
        sheet.write(3, 2, xlwt.Formula("B4+13"))

    assert refused(as_xls(ROWS, change=formula), "a.xls").code == "formula-not-calculated"
    # The same record with a stored number, as a spreadsheet program leaves it.
    content = as_xls(ROWS, change=formula)
    stored = struct.pack("<BBBBBBH", 3, 0, 0, 0, 0, 0, 0xFFFF)
    assert content.count(stored) == 1
    recording = read(content.replace(stored, struct.pack("<d", 33.5)), "a.xls")
    assert recording.raw_c[2, 1] == 33.5
    assert kinds(recording) == ["formulas-read"]


def test_formulas_in_an_open_document():
    with_value = as_ods(ROWS, change=span("23", 'table:formula="of:=[.B4]+1"'))
    recording = read(with_value, "a.ods")
    assert [(doubt.kind, doubt.row) for doubt in recording.doubts] == [("formulas-read", 4)]

    def without_value(xml: str) -> str:
        return re.sub(
            r"<table:table-cell [^>]*><text:p>23</text:p></table:table-cell>",
            '<table:table-cell table:formula="of:=[.B4]+1"/>',
            xml,
            count=1,
        )

    assert refused(as_ods(ROWS, change=without_value), "a.ods").code == "formula-not-calculated"


def test_errors_are_listed_as_the_sheet_shows_them():
    rows = [list(row) for row in ROWS]
    rows[3][2] = "#DIV/0!"
    found = {"xlsx": read(as_xlsx(rows), "a.xlsx")}

    def error_xls(sheet: Any) -> None:
        sheet.row(4).set_cell_error(2, "#DIV/0!")

    found["xls"] = read(as_xls(ROWS, change=error_xls), "a.xls")
    shown = span("#DIV/0!", 'calcext:value-type="error"')
    found["ods"] = read(
        as_ods(
            rows,
            change=lambda xml: shown(xml).replace(
                'office:value-type="string"><text:p>#',
                'office:value-type="string" office:string-value=""><text:p>#',
            ),
        ),
        "a.ods",
    )
    for form, recording in found.items():
        (doubt,) = recording.doubts
        assert (doubt.kind, doubt.row, doubt.cells) == ("no-reading", 5, 1), form
        assert "'#DIV/0!'" in doubt.text, form


@pytest.mark.parametrize("form", SHEETS)
def test_the_end_of_the_table(form: str):
    tail: Table = [["Average", 21.9, 26.5, 20.4]]
    recording = read(SHEETS[form]([*ROWS, *tail]), f"a.{form}")
    assert recording.raw_c.shape == (12, 2)
    assert [(doubt.kind, doubt.row) for doubt in recording.doubts] == [("rows-below", 14)]
    told = read(SHEETS[form](ROWS), f"a.{form}", last_row=6)
    assert len(told.seconds) == 5
    assert refused(SHEETS[form](ROWS), f"a.{form}", last_row=90).code == "last-row-not-there"


@pytest.mark.parametrize("form", SHEETS)
def test_a_header_again_on_a_sheet(form: str):
    recording = read(SHEETS[form]([*ROWS[:6], HEADER, *ROWS[6:]]), f"a.{form}")
    assert recording.raw_c.shape == (12, 2)
    assert recording.rows[f"a.{form}"].tolist() == [*range(2, 8), *range(9, 15)]
    assert [(doubt.kind, doubt.row) for doubt in recording.doubts] == [("header-again", 8)]


def test_sheets_of_old_workbooks_are_chosen_by_name():
    import xlwt

    book = xlwt.Workbook()
    for title in ("First", "Sécond"):
        sheet = book.add_sheet(title)
        for at, row in enumerate([["Time (s)", f"{title} (C)"], [0, 20], [1, 21]]):
            for column, cell in enumerate(row):
                sheet.write(at, column, cell)
    buffer = io.BytesIO()
    book.save(buffer)
    assert refused(buffer.getvalue(), "a.xls").code == "several-sheets"
    recording = read(buffer.getvalue(), "a.xls", sheet="Sécond")
    assert [channel.name for channel in recording.channels] == ["Sécond"]
    assert recording.pins["a.xls"].sheet == "Sécond"


def test_damaged_workbooks_are_refused():
    old, opened = as_xls(ROWS), as_ods(ROWS)
    assert refused(old[: len(old) // 3], "a.xls").code in ("workbook-damaged", "format-unknown")
    for at in range(600, len(old) - 64, 97):
        broken = old[:at] + bytes(byte ^ 0x5A for byte in old[at : at + 64]) + old[at + 64 :]
        try:
            read(broken, "a.xls")
        except Refusal as refusal:
            assert refusal.mend
    assert refused(opened[: len(opened) // 2], "a.ods").code == "format-unknown"
    assert refused(as_ods(ROWS, change=lambda xml: xml[:-40]), "a.ods").code == "workbook-damaged"


def test_counts_that_would_take_all_memory_are_refused():
    content = bytearray(as_xls(ROWS))
    at = content.index(b"\xfc\0", 512)
    assert struct.unpack_from("<I", content, at + 8)[0] < 20
    struct.pack_into("<I", content, at + 8, 0x7FFFFFFF)
    assert refused(bytes(content), "a.xls").code == "workbook-damaged"
    cell = '<table:table-cell table:number-columns-repeated="900000000" '
    swollen = as_ods(ROWS, change=lambda xml: xml.replace("<table:table-cell ", cell, 1))
    assert refused(swollen, "a.ods").code == "workbook-damaged"
    buffer = io.BytesIO(as_xlsx(ROWS))
    with zipfile.ZipFile(buffer, "a", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/zeros.xml", bytes(80_000_000))
    assert refused(buffer.getvalue(), "a.xlsx").code == "workbook-damaged"


@pytest.mark.parametrize(
    ("stream", "what"), [("EncryptedPackage", "locked with a password"), ("WordDocument", "a text document")]
)
def test_what_else_is_kept_in_the_container_of_old_workbooks(stream: str, what: str):
    content = bytearray(as_xls(ROWS))
    at = content.index("Workbook\0".encode("utf-16-le"), 512)
    content[at : at + 64] = stream.encode("utf-16-le").ljust(64, b"\0")
    struct.pack_into("<H", content, at + 64, 2 * len(stream) + 2)
    refusal = refused(bytes(content), "a.xls")
    assert refusal.code == "format-foreign"
    assert what in refusal.what


# --- parquet -----------------------------------------------------------------------------------------


def test_parquet_counts_rows_of_data_and_lists_what_is_not_there():
    import pyarrow as pa

    content = parquet_of(
        {
            "Time": pa.array([1, 2, 3], pa.timestamp("s")),
            "T1 (°C)": pa.array([20.5, None, 21.5]),
            "T2 (°C)": pa.array([20.5, float("nan"), 1e-7], pa.float64()),
            "Count (1)": pa.array([1, None, 3], pa.int32()),
        }
    )
    recording = read(content, "a.parquet")
    assert recording.rows["a.parquet"].tolist() == [1, 2, 3]
    assert "from 1" in recording.layouts["a.parquet"]["rows"]
    np.testing.assert_array_equal(recording.raw_c, [[20.5, 20.5], [np.nan] * 2, [21.5, 1e-7]])
    listed = {doubt.column: (doubt.row, doubt.text) for doubt in recording.doubts}
    assert {column: row for column, (row, _) in listed.items()} == {
        "T1 (°C)": 2,
        "T2 (°C)": 2,
        "Count (1)": 2,
    }
    assert "blank" in listed["T1 (°C)"][1]
    assert "'NaN'" in listed["T2 (°C)"][1]


@pytest.mark.parametrize("unit", ["s", "ms", "us", "ns"])
def test_parquet_times_stay_whole_numbers(unit: str):
    import pyarrow as pa

    per_second = {"s": 1, "ms": 10**3, "us": 10**6, "ns": 10**9}[unit]
    first = 1_772_495_998 * per_second
    steps = [0, 1, 2, 3 * per_second]
    content = parquet_of(
        {
            "Time": pa.array([first + step for step in steps], pa.timestamp(unit)),
            "T1 (°C)": [20.0, 21.0, 22.0, 23.0],
        }
    )
    recording = read(content, "a.parquet")
    assert recording.seconds.tolist() == [step / per_second for step in steps]
    assert recording.utc_offset is None


def test_parquet_times_with_a_zone_carry_their_offset():
    import pyarrow as pa

    # Across the change from +02:00 to +01:00 on 25 October 2026, 01:00 UTC.
    stamps = [datetime(2026, 10, 25, 0, 30) + timedelta(minutes=20 * k) for k in range(4)]
    content = parquet_of(
        {
            "Time": pa.array(stamps, pa.timestamp("us", tz="Europe/Berlin")),
            "T1 (°C)": [20.0, 21.0, 22.0, 23.0],
        }
    )
    recording = read(content, "a.parquet")
    assert recording.seconds.tolist() == [0.0, 1200.0, 2400.0, 3600.0]
    assert recording.start == datetime(2026, 10, 25, 2, 30)
    assert recording.utc_offset == "+02:00"


def test_parquet_durations_categories_and_other_numbers():
    from decimal import Decimal

    import pyarrow as pa

    content = parquet_of(
        {
            "Elapsed": pa.array([0, 90_000_250, 180_000_500], pa.duration("ms")),
            "T1 (°C)": pa.array([Decimal("20.1"), Decimal("20.2"), Decimal("20.3")]),
            "T2 (°C)": pa.array([20.5, 21.25, 22], pa.float32()),
            "Door": pa.array(["shut", "open", "shut"]).dictionary_encode(),
        }
    )
    recording = read(content, "a.parquet")
    assert recording.seconds.tolist() == [0.0, 90_000.25, 180_000.5]
    assert recording.raw_c.tolist() == [[20.1, 20.5], [20.2, 21.25], [20.3, 22.0]]


def test_parquet_with_a_frames_index_as_its_time():
    import pandas as pd

    frame = pd.DataFrame(
        {"T1 (°C)": [20.0, 21.0, 22.0]}, index=pd.date_range("2026-03-02 08:00", periods=3, freq="10s")
    )
    buffer = io.BytesIO()
    frame.to_parquet(buffer)
    recording = read(buffer.getvalue(), "a.parquet")
    assert recording.seconds.tolist() == [0.0, 10.0, 20.0]
    assert "__index_level_0__" in recording.layouts["a.parquet"]["time columns"]


def test_parquet_refusals(monkeypatch: pytest.MonkeyPatch):
    import pyarrow as pa

    good = as_parquet(ROWS)
    nested = parquet_of({"Time (s)": [0, 1], "T1 (°C)": pa.array([[20.0, 21.0], [22.0, 23.0]])})
    refusal = refused(nested, "a.parquet")
    assert refusal.code == "parquet-column"
    assert "T1" in refusal.where
    huge = parquet_of({"Time (s)": [0, 1], "Count (1)": [2**60, 2**60 + 1], "T1 (°C)": [20.0, 21.0]})
    assert refused(huge, "a.parquet").code == "parquet-column"
    assert refused(parquet_of({"Time (s)": [0, 1]}), "a.parquet").code == "parquet-empty"
    cut = refused(good[: len(good) // 2], "a.parquet")
    assert cut.code == "format-unknown"
    broken = good[:-60] + bytes(50) + good[-10:]
    assert refused(broken, "a.parquet").code == "parquet-damaged"
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    missing = refused(good, "a.parquet")
    assert missing.code == "parquet-not-installed"
    assert "pip install 'qualify[parquet]'" in missing.mend


# --- archives ----------------------------------------------------------------------------------------

CH1 = as_csv([[k, 20 + k] for k in range(3)], ["Time (s)", "T1 (°C)"])
CH2 = as_csv([[k, 30 + k] for k in range(3)], ["Time (s)", "T2 (°C)"])


def test_every_file_of_a_zip_is_read_as_a_file_of_its_own():
    bundle = zipped(
        {
            "run/": b"",
            "run/ch1.csv": CH1,
            "run/ch2.csv": CH2,
            "__MACOSX/run/._ch1.csv": b"\0\5\x16\7",
            "run/.DS_Store": b"\0\0",
            "run/Thumbs.db": b"x",
            "desktop.ini": b"[x]",
        }
    )
    recording = read(bundle, "bundle.zip")
    assert list(recording.layouts) == ["bundle.zip/run/ch1.csv", "bundle.zip/run/ch2.csv"]
    assert [channel.name for channel in recording.channels] == ["T1", "T2"]
    words = recording.layouts["bundle.zip/run/ch1.csv"]
    assert words["unpacked from"] == "bundle.zip"
    for side_file in ("__MACOSX/run/._ch1.csv", "run/.DS_Store", "run/Thumbs.db", "desktop.ini"):
        assert side_file in words["left aside in the archive"]


def test_one_member_is_read_where_it_is_told():
    bundle = zipped({"run/ch1.csv": CH1, "run/ch2.csv": CH2})
    for member in ("ch2.csv", "run/ch2.csv"):
        recording = read(bundle, "bundle.zip", member=member)
        assert [channel.name for channel in recording.channels] == ["T2"]
    refusal = refused(bundle, "bundle.zip", member="run/ch3.csv")
    assert refusal.code == "archive-member-no-such"
    assert "did you mean 'run/ch" in refusal.what


def test_options_told_of_a_file_in_an_archive_hold_for_it():
    without_unit = CH2.replace(" (°C)".encode(), b"")
    bundle = logger_file(zipped({"ch1.csv": CH1, "ch2.csv": without_unit}), "bundle.zip")
    for name in ("ch2.csv", "bundle.zip/ch2.csv"):
        recording = read_recording([bundle], ReadOptions(), {name: ReadOptions(units=TemperatureUnit.K)})
        assert recording.units == (TemperatureUnit.C, TemperatureUnit.K)
    packed = logger_file(gzip.compress(without_unit), "ch2.csv.gz")
    for name in ("ch2.csv", "ch2.csv.gz"):
        told = {name: ReadOptions(units=TemperatureUnit.K)}
        assert read_recording([packed], ReadOptions(), told).units == (TemperatureUnit.K,)


def test_a_gzip_is_called_by_the_file_inside():
    (inner,) = unwrap(logger_file(gzip.compress(CH1), "oven.csv.gz"), None)
    assert (inner.name, inner.stem, inner.data) == ("oven.csv", "oven", CH1)
    plain = logger_file(CH1, "oven.csv")
    assert unwrap(plain, None) == [plain]
    book = logger_file(as_xlsx(ROWS), "oven.xlsx")
    assert unwrap(book, None) == [book]


def test_labels_stay_apart():
    files = [logger_file(CH1, "oven.csv"), logger_file(gzip.compress(CH2), "oven.csv.gz")]
    assert list(read_recording(files).layouts) == ["oven.csv", "oven.csv.gz"]


def locked_zip() -> bytes:
    content = bytearray(zipped({"ch1.csv": CH1}))
    for at in (content.index(b"PK\x03\x04") + 6, content.index(b"PK\x01\x02") + 8):
        content[at] |= 1
    return bytes(content)


def bad_sum() -> bytes:
    content = bytearray(zipped({"ch1.csv": CH1}))
    for at in (content.index(b"PK\x03\x04") + 14, content.index(b"PK\x01\x02") + 16):
        content[at] ^= 0xFF
    return bytes(content)


def bad_gzip_sum() -> bytes:
    content = bytearray(gzip.compress(CH1))
    content[-8] ^= 0xFF
    return bytes(content)


@pytest.mark.parametrize(
    ("name", "content", "code"),
    [
        ("a.zip", locked_zip, "archive-locked"),
        ("a.zip", bad_sum, "archive-damaged"),
        ("a.zip", lambda: zipped({"ch1.csv": CH1})[:-30], "format-unknown"),
        ("a.csv.gz", lambda: gzip.compress(CH1)[:-12], "archive-damaged"),
        ("a.csv.gz", bad_gzip_sum, "archive-damaged"),
        ("a.csv.gz", lambda: gzip.compress(CH1) + b"tail", "archive-damaged"),
        ("a.zip", lambda: zipped({"b.zip": zipped({"ch1.csv": CH1})}), "archive-in-archive"),
        ("a.zip", lambda: zipped({"b.csv.gz": gzip.compress(CH1)}), "archive-in-archive"),
        ("a.gz", lambda: gzip.compress(zipped({"ch1.csv": CH1})), "archive-in-archive"),
        ("a.zip", lambda: zipped({".hidden": CH1}), "archive-empty"),
        ("a.zip", lambda: zipped({}), "archive-empty"),
        ("a.zip", lambda: zipped({"zero.csv": bytes(80_000_000)}), "archive-too-large"),
        ("a.gz", lambda: gzip.compress(bytes(80_000_000)), "archive-too-large"),
        ("a.zip", lambda: zipped({"ch1.csv": CH1, "photo.png": b"\x89PNG\r\n\x1a\n...."}), "format-foreign"),
    ],
)
def test_archives_that_are_refused(name: str, content: Callable[[], bytes], code: str):
    assert refused(content(), name).code == code


# --- text --------------------------------------------------------------------------------------------

JAPANESE = "時刻,炉内上部 (℃),扉前 (℃)\n2026/03/02 08:00:00,20.5,21\n2026/03/02 08:00:10,20.6,21\n"
CHINESE = "时间,上层左侧(℃),炉门(℃)\n2026/03/02 08:00:00,20.5,21\n2026/03/02 08:00:10,20.6,21\n"
RUSSIAN = "Время,Верх слева (°C),Дверь (°C)\n2026/03/02 08:00:00,20.5,21\n2026/03/02 08:00:10,20.6,21\n"
CZECH = "Čas,Dveře vlevo (°C),Nahoře (°C)\n2026/03/02 08:00:00,20.5,21\n2026/03/02 08:00:10,20.6,21\n"
GERMAN = "Zeit,Tür oben (°C),Fühler (°C)\n2026/03/02 08:00:00,20.5,21\n2026/03/02 08:00:10,20.6,21\n"
FRENCH = "Temps,Porte d’étuve (°C)\n2026/03/02 08:00:00,20.5\n2026/03/02 08:00:10,20.6\n"


@pytest.mark.parametrize(
    ("text", "encoding"),
    [
        (JAPANESE, "shift_jis"),
        (JAPANESE, "euc_jp"),
        (CHINESE, "gb18030"),
        (RUSSIAN, "cp1251"),
        (CZECH, "cp1250"),
        (GERMAN, "cp437"),
        (GERMAN, "cp850"),
        (GERMAN, "mac_roman"),
        (FRENCH, "cp1252"),
        (RUSSIAN, "utf-16-le"),
        (JAPANESE, "utf-16-be"),
    ],
)
def test_a_guessed_encoding_is_a_doubt_that_shows_what_it_made_of_the_header(text: str, encoding: str):
    recording = read(text.encode(encoding), "a.csv")
    names = [cell.split(" (")[0].split("(")[0] for cell in text.split("\n", 1)[0].split(",")[1:]]
    assert [channel.name for channel in recording.channels] == names
    doubt = recording.doubts[0]
    assert doubt.kind == "encoding-guessed"
    assert "--encoding" in doubt.text
    header = text.split("\n", 1)[0]
    shown = re.search(r"which makes '([^']+)'", doubt.text)
    assert shown is not None
    assert shown[1] in header
    # What is told settles it: the pin reads the same without a doubt.
    pinned = read(text.encode(encoding), "a.csv", encoding=recording.pins["a.csv"].encoding)
    assert pinned.doubts == ()
    assert [channel.name for channel in pinned.channels] == names


def test_western_signs_need_no_guess():
    text = "Zeit (s);Größe m² · s³ ± ½ × (µV);Tür (°C)\n0;1;20\n1;2;21\n"
    recording = read(text.encode("cp1252"), "a.csv")
    assert recording.layouts["a.csv"]["encoding"] == "Windows-1252"
    assert kinds(recording) == []
    assert recording.pins["a.csv"].encoding == "cp1252"


def two_byte_characters(leads: list[int]) -> list[str]:
    pairs = [bytes([lead, trail]) for lead in leads for trail in (*range(0x40, 0x7F), *range(0x80, 0xFD))]
    texts = [pair.decode("shift_jis", "ignore") for pair in pairs]
    return [text for text, pair in zip(texts, pairs, strict=True) if text.encode("shift_jis") == pair]


FIRST_LEVEL = two_byte_characters([*range(0x81, 0x98)])
ANY_TWO_BYTE = FIRST_LEVEL + two_byte_characters([*range(0x98, 0xA0), *range(0xE0, 0xEB)])


@given(
    everyday=st.lists(st.sampled_from(FIRST_LEVEL), min_size=1, max_size=6),
    others=st.lists(st.sampled_from(ANY_TWO_BYTE), min_size=1, max_size=6),
    ascii_text=st.lists(st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=4), max_size=8),
    order=st.randoms(use_true_random=False),
)
@example(everyday=["度"], others=["温"], ascii_text=["T1 (", "C),1"], order=__import__("random").Random(1))
def test_japanese_text_is_never_taken_for_western(
    everyday: list[str], others: list[str], ascii_text: list[str], order: Any
):
    parts = [*everyday, *others, *ascii_text]
    order.shuffle(parts)
    assert not is_western("".join(parts).encode("shift_jis"))


@given(
    st.lists(st.sampled_from([chr(code) for code in range(0xFF66, 0xFF9E)]), min_size=3, max_size=8),
    st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=6),
)
def test_three_half_width_kana_together_are_never_taken_for_western(kana: list[str], rest: str):
    assert not is_western((rest + "".join(kana) + rest).encode("shift_jis"))


def test_what_remains_possible_is_as_it_is_written_down():
    # Two rare kanji of the second level: each a Western letter and an ASCII letter by their bytes.
    possible = [
        text
        for text in ANY_TWO_BYTE
        if text not in FIRST_LEVEL and is_western((text * 2).encode("shift_jis"))
    ]
    assert len(FIRST_LEVEL) > 3000
    assert possible
    assert all(0xE0 <= text.encode("shift_jis")[0] <= 0xEA for text in possible)
    assert not is_western((possible[0] + "温").encode("shift_jis"))


def test_a_guess_is_the_same_every_time():
    data = CHINESE.encode("gb18030")
    assert {guess_encoding(data).encoding for _ in range(5)} == {"gb18030"}


def test_text_that_fits_no_encoding_is_refused():
    refusal = refused(b"Time (s),\xff\xfe\x81 (C)\n0,20\n1,21\n", "a.csv")
    assert refusal.code == "encoding-unknown"
    assert "--encoding" in refusal.mend


def test_a_stray_nul_makes_no_wide_text():
    refusal = refused("Time (s),T1 (°C)\n0,20\n1,2\x001\n".encode("utf-16-le"), "a.csv")
    assert refusal.code == "format-unknown"


# --- what is no table --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "content", "what"),
    [
        ("a.pdf", b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n", "a PDF"),
        ("a.csv", b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", "a picture (PNG)"),
        ("a.jpg", b"\xff\xd8\xff\xe0\0\x10JFIF", "a picture (JPEG)"),
        ("a.xls", b"<html><table><tr><td>Time</td></tr></table></html>", "a web page saved as .xls"),
        ("a.xls", "<!DOCTYPE html>\n<html></html>".encode("utf-16"), "a web page saved as .xls"),
        (
            "a.xls",
            b'<?xml version="1.0"?><Workbook xmlns="urn:schemas-microsoft-com:office:spreadsheet"/>',
            "an XML spreadsheet of an older kind",
        ),
        ("a.xml", b"<?xml version='1.0'?><readings><r/></readings>", "an XML file"),
        ("a.json", b'[\n {"time": 0, "T1": 20}\n]', "a JSON file"),
        ("a.json", b'{"rows": [1, 2]}', "a JSON file"),
        ("a.7z", b"7z\xbc\xaf\x27\x1c\0\4", "a 7z archive"),
        ("a.tar", b"ch1.csv".ljust(257, b"\0") + b"ustar\x0000", "a tar archive"),
        ("a.db", b"SQLite format 3\0" + bytes(80), "a database (SQLite)"),
        (
            "a.xlsb",
            zipped({"xl/workbook.bin": b"x", "[Content_Types].xml": b"x"}),
            "a binary workbook (.xlsb)",
        ),
        (
            "a.docx",
            zipped({"word/document.xml": b"x", "[Content_Types].xml": b"x"}),
            "a text document (.docx)",
        ),
    ],
)
def test_what_is_no_table_is_refused_by_what_it_is(name: str, content: bytes, what: str):
    refusal = refused(content, name)
    assert refusal.code == "format-foreign"
    assert refusal.what == f"it is {what}"
    # Naming an encoding makes no table of it.
    assert refused(content, name, encoding="cp1252").code == "format-foreign"


def test_text_that_only_begins_like_another_format_is_read():
    for start in ("[Header]\n", "{Survey}\n", "PAR1;x\n", "BM\n"):
        recording = read(f"{start}Time (s);T1 (°C)\n0;20\n1;21\n".encode(), "a.csv")
        assert recording.raw_c.tolist() == [[20.0], [21.0]]


def test_formats_that_are_not_met_load_no_library():
    code = (
        "import sys, hashlib; from pathlib import Path; from qualify.inputs import InputFile\n"
        "from qualify.readings import read_recording\n"
        f"data = {CH1!r}\n"
        "read_recording([InputFile('a.csv', Path('a.csv'), data, '', 'readings')])\n"
        "print({'openpyxl', 'pyarrow', 'python_calamine', 'charset_normalizer'} & set(sys.modules))"
    )
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    # pandas itself loads pyarrow where it is installed.
    assert found.stdout.strip() in ("set()", "{'pyarrow'}")


def test_a_workbook_over_which_the_library_ends_its_process_is_refused(monkeypatch):
    from qualify.readings import apart

    whole = apart.subprocess.run
    monkeypatch.setattr(
        apart.subprocess,
        "run",
        lambda command, **told: whole([sys.executable, "-c", "import os; os.abort()"], **told),
    )
    with pytest.raises(apart.WorkbookUnreadableError, match="broke off"):
        apart.sheets_of(b"")
    monkeypatch.setattr(
        apart.subprocess,
        "run",
        lambda command, **told: whole(
            [sys.executable, "-c", "import time; time.sleep(9)"], **{**told, "timeout": 1}
        ),
    )
    with pytest.raises(apart.WorkbookUnreadableError, match="too long"):
        apart.sheets_of(b"")
