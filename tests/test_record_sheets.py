"""Record sheets: how they are read and judged, what is refused, templates, and the sheets beside them."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from datetime import date, datetime
from pathlib import Path

import openpyxl
import pytest
import xlsxwriter
from hypothesis import given
from hypothesis import strategies as st

from qualify.figures.absent import present
from qualify.findings import Refusal
from qualify.inputs import InputFile, load
from qualify.record import Decision
from qualify.record_sheets.dispositions import Disposition, read_dispositions
from qualify.record_sheets.items import ITEM_COLUMNS, RecordItem, RecordSheet, read_items
from qualify.record_sheets.judging import ItemJudged, judge_item, judge_items
from qualify.record_sheets.observed import ObservedAnswer, read_observed
from qualify.record_sheets.restored import RestoredLine, open_lines, read_restored
from qualify.record_sheets.tables import AS_WRITTEN, SheetOptions
from qualify.record_sheets.templates import (
    KINDS,
    Rows,
    disposition_sheet,
    observed_sheet,
    restored_sheet,
    sheet_bytes,
    template,
    write_sheet,
)
from qualify.record_sheets.unit_words import UNITS

TODAY = date(2026, 4, 1)
HEADER = (*ITEM_COLUMNS.required, *ITEM_COLUMNS.optional)
COMPLETE = {
    "item": "Flow",
    "low": "20",
    "high": "30",
    "unit": "L/min",
    "found": "25",
    "instrument": "F-2",
    "due": "2027-01-31",
    "by": "A. Voss",
    "when": "2026-03-02",
}
PAGE = Path(__file__).parents[1] / "docs" / "record_sheets.md"


def given_file(content: bytes | str, name: str = "sheet.csv", folder: Path = Path()) -> InputFile:
    data = content.encode() if isinstance(content, str) else content
    return InputFile(name, folder / name, data, "", "record sheet")


def as_csv(rows: Sequence[Sequence[object]], separator: str = ",") -> str:
    text = io.StringIO()
    csv.writer(text, delimiter=separator, lineterminator="\n").writerows(rows)
    return text.getvalue()


def rows_of(*cells: dict[str, str]) -> list[list[object]]:
    return [list(HEADER), *([row.get(name, "") for name in HEADER] for row in cells)]


def sheet_of(
    *changes: dict[str, str], options: SheetOptions = AS_WRITTEN, folder: Path = Path()
) -> RecordSheet:
    return read_items(
        given_file(as_csv(rows_of(*(COMPLETE | row for row in changes))), folder=folder), options
    )


def item(options: SheetOptions = AS_WRITTEN, **changes: str) -> RecordItem:
    (found,) = sheet_of(changes, options=options).items
    return found


def judged(*, accept_overdue: bool = False, **changes: str) -> ItemJudged:
    return judge_item(item(**changes), TODAY, accept_overdue=accept_overdue)


def refused(code: str, *changes: dict[str, str], options: SheetOptions = AS_WRITTEN) -> Refusal:
    with pytest.raises(Refusal) as caught:
        sheet_of(*changes, options=options)
    assert caught.value.code == code, caught.value
    return caught.value


def refused_text(code: str, content: bytes | str, name: str = "sheet.csv") -> Refusal:
    with pytest.raises(Refusal) as caught:
        read_items(given_file(content, name))
    assert caught.value.code == code, caught.value
    return caught.value


# ---- the page ----


def test_the_page_s_sheet_is_judged_as_it_says() -> None:
    text = PAGE.read_text(encoding="utf-8")
    block = re.search(r"```csv\n(.*?)```", text, re.DOTALL)
    assert block is not None
    sheet = read_items(given_file(block[1]))
    found = judge_items(sheet.items, TODAY)
    shown = [f"| {one.item.id} | {one.decision} | {one.note} |" for one in found]
    assert len(shown) == 8
    assert [line for line in shown if line not in text] == []


def test_the_page_lists_every_column_and_unit() -> None:
    text = PAGE.read_text(encoding="utf-8")
    for kind, entries in UNITS.items():
        names = ", ".join(dict.fromkeys(name for name, _, _ in entries))
        assert f"| {kind} | {names} |" in text
    assert [name for name in HEADER if f"`{name}`" not in text] == []
    for one in ("changed,as_found,as_tested,as_left,by,witness,when", "id,cause,action,by,date,closed"):
        assert f"`{one}`" in text


# ---- judging ----


def test_a_complete_row_inside_its_limits_passes() -> None:
    found = judged()
    assert found.decision is Decision.PASS
    assert not found.open
    assert found.margin == 5.0
    assert found.item.requirement == ""


@pytest.mark.parametrize(
    ("changes", "decision", "is_open"),
    [
        ({"found": "20"}, Decision.PASS, False),
        ({"found": "30"}, Decision.PASS, False),
        ({"found": "19.999"}, Decision.FAIL, False),
        ({"found": "30.001"}, Decision.FAIL, False),
        ({"low": "", "found": "-5"}, Decision.PASS, False),
        ({"high": "", "found": "1e6"}, Decision.PASS, False),
        ({"low": "0", "high": "0", "found": "0"}, Decision.PASS, False),
        ({"low": "", "high": "0", "found": "0.001"}, Decision.FAIL, False),
        ({"found": ""}, Decision.NOT_SHOWN, True),
        ({"found": "", "by": "", "when": ""}, Decision.NOT_SHOWN, True),
        ({"by": ""}, Decision.NOT_SHOWN, True),
        ({"when": ""}, Decision.NOT_SHOWN, True),
        ({"when": "2026-04-01"}, Decision.PASS, False),
        ({"when": "2026-04-02"}, Decision.NOT_SHOWN, True),
        ({"low": "", "high": ""}, Decision.NOT_SHOWN, True),
        ({"found": "99", "by": ""}, Decision.FAIL, True),
        ({"due": "2026-03-02"}, Decision.PASS, False),
        ({"due": "2026-03-01"}, Decision.NOT_SHOWN, False),
        ({"due": "2026-03-01", "found": "99"}, Decision.FAIL, False),
    ],
)
def test_decisions(changes: dict[str, str], decision: Decision, is_open: bool) -> None:
    found = judged(**changes)
    assert (found.decision, found.open) == (decision, is_open), found.note


def test_an_overdue_instrument_is_a_departure_and_at_most_conditional() -> None:
    overdue = judged(due="2026-03-01")
    assert overdue.departure == "F-2 was past its due date (2026-03-01) on 2026-03-02"
    assert judged(due="2026-03-01", accept_overdue=True).decision is Decision.CONDITIONAL
    assert judged(accept_overdue=True).decision is Decision.PASS
    # Overdue today, but in force when it was used.
    assert judged(due="2026-03-15").departure == ""


@pytest.mark.parametrize(
    ("expected", "found", "decision"),
    [
        ("Yes", "  yES ", Decision.PASS),
        ("PRÜF 3", "prüf 3", Decision.PASS),
        ("pru\u0308f", "PRÜF", Decision.PASS),
        ("rev 3", "rev  3", Decision.FAIL),
        ("1.10", "1.1", Decision.FAIL),
        ("yes", "no", Decision.FAIL),
        ("yes", "", Decision.NOT_SHOWN),
    ],
)
def test_expected_words(expected: str, found: str, decision: Decision) -> None:
    one = judged(low="", high="", unit="", expected=expected, found=found)
    assert one.decision is decision
    assert not present(one.margin)


@pytest.mark.parametrize(
    ("changes", "decision"),
    [
        ({"unit": "bar g", "low": "3", "high": "6", "found": "87.0226", "unit_found": "psig"}, Decision.PASS),
        ({"unit": "bar g", "low": "3", "high": "6", "found": "87.03", "unit_found": "psig"}, Decision.FAIL),
        ({"unit": "°C", "low": "", "high": "180", "found": "356", "unit_found": "°F"}, Decision.PASS),
        ({"unit": "°C", "low": "", "high": "180", "found": "356.1", "unit_found": "F"}, Decision.FAIL),
        ({"unit": "K", "low": "", "high": "1", "found": "1.8", "unit_found": "Δ°F"}, Decision.PASS),
        ({"unit": "MΩ", "low": "1", "high": "", "found": "999", "unit_found": "kΩ"}, Decision.FAIL),
        ({"unit": "%", "low": "", "high": "0.01", "found": "100", "unit_found": "ppm"}, Decision.PASS),
        ({"unit": "Pa", "low": "", "high": "249.08891", "found": "1", "unit_found": "inH2O"}, Decision.PASS),
        (
            {"unit": "counts/m³", "low": "", "high": "3520000", "found": "3520", "unit_found": "counts/L"},
            Decision.PASS,
        ),
        ({"unit": "", "low": "3", "high": "3", "found": "3"}, Decision.PASS),
    ],
)
def test_limits_are_compared_in_the_requirement_s_unit(changes: dict[str, str], decision: Decision) -> None:
    assert judged(**changes).decision is decision


@given(st.floats(-1e3, 1e3), st.floats(0, 1e3), st.floats(-1e3, 1e3))
def test_a_row_passes_exactly_where_its_margin_is_not_negative(
    low: float, width: float, found: float
) -> None:
    high = low + width
    one = judged(low=repr(low), high=repr(high), found=repr(found), unit="V")
    assert present(one.margin)
    assert one.margin == min(found - low, high - found)
    if abs(one.margin) > 1e-5:
        assert one.decision is (Decision.PASS if one.margin > 0 else Decision.FAIL)


@given(st.permutations(list(HEADER)), st.sampled_from([",", ";", "\t"]))
def test_order_of_columns_case_and_separator_change_nothing(order: list[str], separator: str) -> None:
    row = COMPLETE | {"remark": "a, b; c", "unit_found": "L/min"}
    header = [name.upper().replace("_", " ") for name in order]
    text = as_csv([header, [row.get(name, "") for name in order]], separator)
    (one,) = read_items(given_file(text)).items
    assert one == item(remark="a, b; c", unit_found="L/min")


def test_circumstances_are_said_and_change_no_decision() -> None:
    found = judged(simulated="yes", place="Factory", stage="Operation")
    assert found.decision is Decision.PASS
    assert "simulated signal" in found.note
    assert "factory" in found.note
    assert (found.item.stage, found.item.place, found.item.simulated) == ("operation", "factory", True)
    assert item().simulated is None


def test_a_number_without_instrument_or_due_date_is_a_doubt() -> None:
    sheet = sheet_of({"instrument": "", "due": ""}, {"due": ""}, {}, {"found": "", "due": ""})
    assert [(doubt.kind, doubt.row) for doubt in sheet.doubts] == [
        ("record-sheet-no-instrument", 2),
        ("record-sheet-no-due-date", 3),
    ]


def test_of_no_rows_nothing_is_shown() -> None:
    assert Decision.worst([one.decision for one in judge_items((), TODAY)]) is Decision.NOT_SHOWN


# ---- evidence and ids ----


def test_evidence_is_hashed_once_and_kept(tmp_path: Path) -> None:
    (tmp_path / "photos").mkdir()
    for name in ("photos/plate ä.txt", "chart.txt"):
        (tmp_path / name).write_text(name, encoding="utf-8")
    sheet = sheet_of(
        {"evidence": "photos/plate ä.txt; chart.txt"}, {"evidence": "photos\\plate ä.txt"}, folder=tmp_path
    )
    assert [one.name for one in sheet.evidence] == ["plate ä.txt", "chart.txt"]
    assert {one.role for one in sheet.evidence} == {"evidence"}
    first, second = sheet.items
    assert first.evidence[0].sha256 == second.evidence[0].sha256 == load(sheet.evidence[0].path, "x").sha256


@pytest.mark.parametrize("name", ["none.pdf", "chart.txt;none.pdf", ".", "a\0b", "x" * 5000])
def test_evidence_that_is_missing_is_refused_by_name(tmp_path: Path, name: str) -> None:
    (tmp_path / "chart.txt").write_text("x", encoding="utf-8")
    with pytest.raises(Refusal) as caught:
        sheet_of({"evidence": name}, folder=tmp_path)
    assert caught.value.code in ("record-sheet-evidence", "control-characters")
    if caught.value.code == "record-sheet-evidence":
        assert name.rpartition(";")[2] in caught.value.what
        assert "row 2, column 'evidence'" in caught.value.where


def test_ids_are_the_row_s_own_or_made_and_never_twice() -> None:
    first, second = sheet_of({"id": "W-1"}, {}).items
    assert (first.id, second.id) == ("W-1", "sheet-3")
    assert "row 2" in refused("record-sheet-same-id", {"id": "W-1"}, {"id": "w-1"}).what
    refused("record-sheet-same-id", {"id": "sheet-3"}, {})


# ---- what is refused ----


@pytest.mark.parametrize(
    ("header", "problem"),
    [
        (
            "item,requirement,low,hi,expected,unit,found,unit_found,instrument,due,by,when,remark,evidence",
            "high",
        ),
        (
            "item,requirement,low,high,expected,unit,result,unit_found,instrument,due,by,when,remark,evidence",
            "result",
        ),
        (
            "item,requirement,low,high,expected,unit,found,unit_found,instrument,by,when,remark,evidence",
            "lacks due",
        ),
        (f"{ITEM_COLUMNS.header},item", "twice"),
        (f"{ITEM_COLUMNS.header},,place", "no name"),
        ("1,2,3", "unknown column '1'"),
    ],
)
def test_a_wrong_header_is_refused(header: str, problem: str) -> None:
    found = refused_text("record-sheet-header", f"{header}\n1,2\n")
    assert problem in found.what
    assert "row 1" in found.where


@pytest.mark.parametrize(
    "content",
    ["", "\n\n", "# only a remark\n", "\ufeff", ITEM_COLUMNS.header, f"{ITEM_COLUMNS.header}\n,,,\n"],
)
def test_an_empty_sheet_is_refused(content: str) -> None:
    refused_text("record-sheet-empty", content)


def test_rubbish_is_refused() -> None:
    for content in (b"\x00\x01\x02\x03" * 50, b"PK\x03\x04" + b"rubbish" * 20):
        with pytest.raises(Refusal):
            read_items(given_file(content))
    refused_text("record-sheet-damaged", f'{ITEM_COLUMNS.header}\nFlow,"never closed,1,2\nnext,row\n')
    refused_text("record-sheet-cells", f"{ITEM_COLUMNS.header}\n{','.join('x' * 15)}\n")


@pytest.mark.parametrize(
    ("code", "changes", "column"),
    [
        ("record-sheet-number-with-unit", {"found": "12 bar"}, "found"),
        ("record-sheet-number-with-unit", {"low": "3V"}, "low"),
        ("record-sheet-cell", {"found": "<5"}, "found"),
        ("record-sheet-cell", {"found": "nan"}, "found"),
        ("record-sheet-cell", {"found": "inf"}, "found"),
        ("record-sheet-cell", {"found": "1e999"}, "found"),
        ("record-sheet-cell", {"found": "25 ± 1"}, "found"),
        ("record-sheet-cell", {"found": "ok"}, "found"),
        ("record-sheet-cell", {"item": ""}, "item"),
        ("record-sheet-cell", {"simulated": "perhaps"}, "simulated"),
        ("record-sheet-cell", {"stage": "instalation"}, "stage"),
        ("record-sheet-cell", {"place": "field"}, "place"),
        ("record-sheet-cell", {"when": "2026-02-30"}, "when"),
        ("record-sheet-cell", {"when": "2026-03-02 25:00"}, "when"),
        ("record-sheet-cell", {"due": "spring"}, "due"),
        ("record-sheet-day-order", {"when": "04.03.2026"}, "when"),
        ("record-sheet-day-order", {"due": "31/12/2026"}, "due"),
        ("record-sheet-limits", {"low": "31"}, "low"),
        ("record-sheet-limits", {"expected": "yes"}, "expected"),
        ("record-sheet-unit-unknown", {"unit": "barr"}, "unit"),
        ("record-sheet-unit-unknown", {"unit_found": "L/mn"}, "unit_found"),
        ("record-sheet-unit-differs", {"unit_found": "bar"}, "unit_found"),
        ("record-sheet-unit-differs", {"unit_found": "NL/min"}, "unit_found"),
        ("record-sheet-unit-differs", {"unit": "", "unit_found": "bar"}, "unit_found"),
        ("record-sheet-unit-differs", {"unit": "psia", "unit_found": "psig"}, "unit_found"),
        ("record-sheet-unit-differs", {"unit": "°C", "unit_found": "K"}, "unit_found"),
        (
            "record-sheet-unit-differs",
            {"low": "", "high": "", "expected": "400", "unit": "V", "unit_found": "kV"},
            "unit_found",
        ),
    ],
)
def test_cells_that_are_refused(code: str, changes: dict[str, str], column: str) -> None:
    found = refused(code, {}, changes)
    assert found.where == f"sheet.csv, row 3, column '{column}'"


def test_refusals_say_how_to_mend() -> None:
    assert (
        "write 12 here and 'bar' in the column unit_found"
        in refused("record-sheet-number-with-unit", {"found": "12 bar"}).mend
    )
    assert "did you mean 'bar'" in refused("record-sheet-unit-unknown", {"unit": "barr"}).what
    differs = refused("record-sheet-unit-differs", {"unit": "psia", "unit_found": "psig"}).what
    assert "psi g (gauge pressure)" in differs
    assert "psi a (absolute pressure)" in differs
    assert "did you mean 'installation'" in refused("record-sheet-cell", {"stage": "instalation"}).what


# ---- marks and days ----


@pytest.mark.parametrize(
    ("text", "value"), [("25,5", 25.5), ("0,125", 0.125), ("1234,5", 1234.5), ("−3,25", -3.25)]
)
def test_a_comma_that_can_only_be_decimal_is_read(text: str, value: float) -> None:
    assert item(found=text, low="", high="9999").value == value


def test_marks_that_stay_open_are_refused_until_told() -> None:
    refused("record-sheet-decimal-mark", {"found": "1,234"})
    refused("record-sheet-decimal-mark", {"found": "25,5"}, {"found": "25.5"})
    # A point beside decimal commas may set off thousands.
    refused("record-sheet-decimal-mark", {"found": "25,5"}, {"high": "1.234"})
    comma, point = SheetOptions(decimal_mark="comma"), SheetOptions(decimal_mark="point")
    assert item(comma, found="1,234", low="").value == 1.234
    assert item(found="1.234", low="").value == 1.234
    refused("record-sheet-cell", {"found": "1,234"}, options=point)
    refused("record-sheet-cell", {"found": "25.5"}, options=comma)
    refused("record-sheet-cell", {"found": "1,234.5"})
    # Another row's comma settles what this one's means.
    assert [one.value for one in sheet_of({"found": "25,5"}, {"found": "1,234"}).items] == [25.5, 1.234]


def test_a_text_with_a_comma_says_nothing_about_marks() -> None:
    text = {"low": "", "high": "", "unit": "", "expected": "1,5", "found": "1,5"}
    assert [one.value for one in sheet_of(text, {"found": "25.5"}).items] == [None, 25.5]


@pytest.mark.parametrize(
    ("text", "dates", "day"),
    [
        ("2026-03-04", None, date(2026, 3, 4)),
        ("2026-03-04 14:05", None, date(2026, 3, 4)),
        ("2026-03-04T14:05:30+01:00", "day-first", date(2026, 3, 4)),
        ("04.03.2026", "day-first", date(2026, 3, 4)),
        ("4/3/2026", "day-first", date(2026, 3, 4)),
        ("3/4/2026", "month-first", date(2026, 3, 4)),
        ("2026/3/4", "year-first", date(2026, 3, 4)),
    ],
)
def test_days(text: str, dates: str | None, day: date) -> None:
    when = item(SheetOptions(dates=dates), when=text).when
    assert when is not None
    assert (when.day, when.text) == (day, text)


@pytest.mark.parametrize(
    ("text", "dates"), [("31/12/2026", "month-first"), ("4.3.26", "day-first"), ("2026/3/4", "day-first")]
)
def test_days_that_contradict_what_was_told_are_refused(text: str, dates: str) -> None:
    refused("record-sheet-cell", {"when": text}, options=SheetOptions(dates=dates))


# ---- workbooks ----


def workbook(rows: Sequence[Sequence[object]], title: str = "Record") -> tuple[openpyxl.Workbook, bytes]:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.title = title
    for row in rows:
        sheet.append([value if value != "" else None for value in row])
    return book, saved(book)


def saved(book: openpyxl.Workbook) -> bytes:
    content = io.BytesIO()
    book.save(content)
    return content.getvalue()


def typed_rows() -> list[list[object]]:
    """The complete row as a spreadsheet program stores it: numbers and days, not texts."""
    values: dict[str, object] = {**COMPLETE, "low": 20, "high": 30.0, "found": 25.5}
    values |= {"due": datetime(2027, 1, 31), "when": datetime(2026, 3, 2, 14, 5)}
    return [list(HEADER), [values.get(name, "") for name in HEADER]]


def test_a_workbook_says_the_same_as_csv() -> None:
    _, content = workbook([["# a remark, with a comma"], *typed_rows()])
    (one,) = read_items(given_file(content, "sheet.xlsx")).items
    assert (one.low, one.high, one.value, one.due, one.row) == (20.0, 30.0, 25.5, date(2027, 1, 31), 3)
    assert one.when is not None
    assert (one.when.day, one.when.text) == (date(2026, 3, 2), "2026-03-02T14:05:00")
    assert judge_item(one, TODAY).decision is Decision.PASS


def test_stored_numbers_have_no_mark_of_their_own() -> None:
    rows = typed_rows()
    rows.append([*rows[1]])
    rows[2][HEADER.index("found")] = "25,5"
    _, content = workbook(rows)
    assert [one.value for one in read_items(given_file(content, "s.xlsx")).items] == [25.5, 25.5]


def cell_of(book: openpyxl.Workbook, column: str, row: int = 2) -> openpyxl.cell.Cell:
    found = book.worksheets[0].cell(row, HEADER.index(column) + 1)
    assert isinstance(found, openpyxl.cell.Cell)
    return found


def test_formulas_without_values_merged_cells_errors_and_percentages_are_refused() -> None:
    book, _ = workbook(typed_rows())
    cell_of(book, "found").value = "=20+5"
    found = refused_text("record-sheet-no-value", saved(book), "s.xlsx")
    assert found.where == "s.xlsx, row 2, column 'found'"
    book, _ = workbook(typed_rows())
    cell_of(book, "found").value = "#N/A"
    assert "#N/A" in refused_text("record-sheet-no-value", saved(book), "s.xlsx").what
    book, _ = workbook(typed_rows())
    cell_of(book, "found").value = 0.05
    cell_of(book, "found").number_format = "0.0 %"
    assert "5 %" in refused_text("record-sheet-no-value", saved(book), "s.xlsx").what
    book, _ = workbook([*typed_rows(), typed_rows()[1]])
    book.worksheets[0].merge_cells("A2:A3")
    assert "A2:A3" in refused_text("record-sheet-merged", saved(book), "s.xlsx").what
    book, _ = workbook([["# a title over the sheet"], *typed_rows()])
    book.worksheets[0].merge_cells("A1:F1")
    assert len(read_items(given_file(saved(book), "s.xlsx")).items) == 1


def test_blank_rows_above_the_table_are_counted_and_a_stray_cell_far_below_is_refused() -> None:
    book, _ = workbook(typed_rows())
    book.worksheets[0].insert_rows(1, 3)
    (one,) = read_items(given_file(saved(book), "s.xlsx")).items
    assert one.row == 5
    book.worksheets[0]["R1000000"] = "stray"
    assert "row 1000000" in refused_text("record-sheet-workbook", saved(book), "s.xlsx").what


def test_values_that_a_library_made_up_beside_its_formulas_are_refused() -> None:
    content = io.BytesIO()
    book = xlsxwriter.Workbook(content, {"in_memory": True})
    sheet = book.add_worksheet()
    for number, row in enumerate(typed_rows()):
        sheet.write_row(number, 0, [str(value) for value in row])
    sheet.write_formula(1, HEADER.index("found"), "=20+5")
    book.close()
    assert refused_text("record-sheet-no-value", content.getvalue(), "s.xlsx").where.endswith("'found'")


def test_the_sheet_is_found_by_its_header() -> None:
    book, _ = workbook([["notes"], ["of no interest"]], "Notes")
    for row in typed_rows():
        book.create_sheet("Results") if "Results" not in book.sheetnames else None
        book["Results"].append([value if value != "" else None for value in row])
    assert len(read_items(given_file(saved(book), "s.xlsx")).items) == 1
    book.copy_worksheet(book["Results"]).title = "Old"
    assert "'Old'" in refused_text("record-sheet-several", saved(book), "s.xlsx").what
    _, content = workbook([["notes"], ["x"]])
    refused_text("record-sheet-header", content, "s.xlsx")
    _, content = workbook([])
    refused_text("record-sheet-empty", content, "s.xlsx")


# ---- remarks and rows ----


def test_only_remarks_are_passed_over() -> None:
    rows = rows_of(COMPLETE, COMPLETE | {"item": "#2 fan"})
    text = "# Made up, with a comma\n" + as_csv([*rows[:2], ["# heading"], [], rows[2]])
    found = read_items(given_file(text)).items
    assert [(one.item, one.row) for one in found] == [("Flow", 3), ("#2 fan", 6)]


def test_rows_are_counted_as_an_editor_counts_lines() -> None:
    rows = rows_of(COMPLETE | {"remark": "two\nlines"}, COMPLETE | {"found": "x"})
    with pytest.raises(Refusal) as caught:
        read_items(given_file(as_csv(rows)))
    assert "row 4" in caught.value.where


def test_older_encodings_are_read_where_sure_or_told() -> None:
    text = as_csv(rows_of(COMPLETE | {"unit": "°C", "remark": "größer"}))
    (one,) = read_items(given_file(text.encode("cp1252"))).items
    assert (one.unit.name, one.remark) == ("°C", "größer")
    japanese = as_csv(rows_of(COMPLETE | {"remark": "温度 測定 炉内"})).encode("cp932")
    refused_text("record-sheet-encoding", japanese)
    (one,) = read_items(given_file(japanese), SheetOptions(encoding="cp932")).items
    assert one.remark == "温度 測定 炉内"


# ---- templates ----


def items_of(rows: Rows) -> list[dict[str, str]]:
    below = [row for row in rows if not row[0].startswith("#")]
    return [dict(zip(below[0], row, strict=True)) for row in below[1:]]


@pytest.mark.parametrize("kinds", [(), *((kind,) for kind in KINDS), KINDS])
@pytest.mark.parametrize("form", ["csv", "xlsx"])
def test_templates_read_as_they_are_with_every_row_open(
    tmp_path: Path, kinds: tuple[str, ...], form: str
) -> None:
    path = tmp_path / f"installation.{form}"
    write_sheet(path, template(*kinds), form)
    sheet = read_items(load(path, "record sheet"))
    assert len(sheet.items) == len(items_of(template(*kinds))) > 30
    for one in judge_items(sheet.items, TODAY):
        assert (one.decision, one.open) == (Decision.NOT_SHOWN, True)
    assert {one.id for one in sheet.items} == {row["id"] for row in items_of(template(*kinds))}
    with pytest.raises(Refusal, match="stands there already"):
        write_sheet(path, template(*kinds), form)


def test_a_template_filled_in_passes(tmp_path: Path) -> None:
    """Each row can be met: limits where it names a unit, the expected words where it doesn't."""
    rows = []
    for cells in items_of(template(*KINDS)):
        filled = dict(cells)
        if not cells["expected"] and not cells["unit"]:
            filled["expected"] = "1"
        if cells["unit"]:
            filled |= {"low": "1", "high": "2"}
        filled["found"] = filled["expected"] or "1.5"
        filled |= {"by": "A. Voss", "when": "2026-03-02", "instrument": "I", "due": "2027-01-01"}
        rows.append(filled)
    text = as_csv([list(rows[0]), *(list(row.values()) for row in rows)])
    found = judge_items(read_items(given_file(text)).items, TODAY)
    assert {one.decision for one in found} == {Decision.PASS}


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        (
            "any",
            (
                "Serial number",
                "Voltage",
                "phases",
                "protective earth",
                "Current",
                "Exhaust",
                "Excess",
                "calibrated",
            ),
        ),
        (
            "water-cooled",
            ("Flow of the cooling water", "Temperature of the cooling water", "open to the air"),
        ),
        ("inert-gas", ("never-exceed", "Oxygen", "Vent")),
        (
            "clean",
            ("Integrity", "cold", "at temperature", "heat-up", "Speed of the air", "Pressure difference"),
        ),
    ],
)
def test_templates_ask_for_what_each_kind_needs(kind: str, words: tuple[str, ...]) -> None:
    text = sheet_bytes(template(kind), "csv").decode()
    assert [word for word in words if word not in text] == []


def test_cautions_stand_where_the_work_can_hurt() -> None:
    def cautions(*kinds: str) -> str:
        return " ".join(row[0] for row in template(*kinds) if row[0].startswith("# CAUTION"))

    assert "Live parts" in cautions("any")
    assert "Hot surfaces" in cautions("any")
    assert "Nitrogen" not in cautions("any")
    assert "Nitrogen displaces" in cautions("inert-gas")
    assert "Steam" in cautions("water-cooled")
    whole = sheet_bytes(template(*KINDS), "csv").decode()
    assert "Local code, the maker's instructions and licensed practice govern" in whole
    assert not re.search(r"\bsafe\b", whole, re.IGNORECASE)
    assert "\r" not in whole
    with pytest.raises(ValueError, match="moon"):
        template("moon")


def test_words_of_a_plan_never_become_a_formula(tmp_path: Path) -> None:
    path = tmp_path / "restored.xlsx"
    write_sheet(path, restored_sheet(['=HYPERLINK("x")', "limit moved"]), "xlsx")
    sheet = openpyxl.load_workbook(path).worksheets[0]
    assert all(cell.data_type != "f" for row in sheet.iter_rows() for cell in row)
    assert [line.changed for line in read_restored(load(path, "restored"))] == [
        '=HYPERLINK("x")',
        "limit moved",
    ]


# ---- return to service ----

RESTORED_HEADER = "changed,as_found,as_tested,as_left,by,witness,when"
LINE = "Excess limit,210 °C,150 °C,210 °C,A. Voss,B. Lind,2026-03-02"


def restored(*lines: str, header: str = RESTORED_HEADER) -> tuple[RestoredLine, ...]:
    return read_restored(given_file("\n".join([header, *lines]) + "\n"))


def test_a_line_put_back_before_a_witness_is_closed() -> None:
    assert open_lines(["excess LIMIT"], restored(LINE)) == ()


@pytest.mark.parametrize(
    ("old", "new", "reason"),
    [
        (",210 °C,A", ",150 °C,A", "left as '150 °C'"),
        (",210 °C,A", ",,A", "how it was left"),
        ("limit,210 °C", "limit,", "how it was found"),
        ("A. Voss", "", "who restored it"),
        ("B. Lind", "", "who witnessed it"),
        ("2026-03-02", "", "when"),
        ("B. Lind", "a. voss", "can't witness"),
    ],
)
def test_what_keeps_a_line_open(old: str, new: str, reason: str) -> None:
    assert old in LINE
    (found,) = open_lines(["Excess limit"], restored(LINE.replace(old, new)))
    assert reason in found.reason
    assert found.row == 2


def test_planned_lines_without_a_row_and_rows_without_a_plan() -> None:
    (missing,) = open_lines(["Excess limits"], restored(LINE))
    assert "did you mean 'Excess limit'" in missing.reason
    assert missing.row is None
    unplanned = LINE.replace("Excess limit,210 °C", "Wire on terminal 4,none").replace(",210 °C,A", ",wire,A")
    assert [one.changed for one in open_lines(["Excess limit"], restored(LINE, unplanned))] == [
        "Wire on terminal 4"
    ]
    # Each of several lines about one thing must be closed.
    second = LINE.replace(",210 °C,A", ",180 °C,A")
    assert [one.row for one in open_lines(["Excess limit"], restored(LINE, second))] == [3]
    assert open_lines([], restored("Gain,185,150,185.0,A,B,2026-03-02")) == ()
    assert len(open_lines(["a", "a", "b"], ())) == 2


def test_a_row_that_names_nothing_is_refused() -> None:
    with pytest.raises(Refusal) as caught:
        restored(LINE.replace("Excess limit", ""))
    assert caught.value.code == "record-sheet-cell"
    with pytest.raises(Refusal, match="as_left"):
        restored(LINE, header=RESTORED_HEADER.replace("as_left", "as_lft"))


# ---- dispositions ----

IDS = ("upper@180", "upper@120", "challenge-door")


def dispositions(*lines: str, ids: Sequence[str] = IDS) -> dict[str, Disposition]:
    return dict(
        read_dispositions(given_file("\n".join(["id,cause,action,by,date,closed", *lines]) + "\n"), ids)
    )


def test_dispositions_are_read_by_id() -> None:
    found = dispositions("upper@180,draught,seal changed,B. Lind,2026-03-05,yes", "challenge-door,,,,,")
    assert list(found) == ["upper@180", "challenge-door"]
    assert found["upper@180"].closed
    assert found["upper@180"].action == "seal changed"
    assert not found["challenge-door"].closed


@pytest.mark.parametrize(
    ("lines", "code", "words"),
    [
        (["uper@180,,,,,"], "disposition-unknown", "did you mean 'upper@180'"),
        ([",x,,,,"], "disposition-unknown", "''"),
        (["upper@180,,,,,", "upper@180,,,,,"], "record-sheet-same-id", "row 2"),
        (["upper@180,draught,,B. Lind,,yes"], "disposition-closed-without", "action, date"),
        (["upper@180,,,,,done"], "record-sheet-cell", "yes or no"),
    ],
)
def test_dispositions_that_are_refused(lines: list[str], code: str, words: str) -> None:
    with pytest.raises(Refusal) as caught:
        dispositions(*lines)
    assert caught.value.code == code
    assert words in caught.value.what


def test_a_disposition_sheet_reads_as_it_is() -> None:
    for form in ("csv", "xlsx"):
        content = sheet_bytes(disposition_sheet(IDS), form)
        found = read_dispositions(given_file(content, f"d.{form}"), IDS)
        assert [one.closed for one in found.values()] == [False, False, False]


# ---- observed answers ----

PLANNED = {"Excess temperature": ("Horn", "Red lamp"), "Door": ("Fan stops",)}


def observed(*lines: str) -> dict[str, tuple[ObservedAnswer, ...]]:
    text = "\n".join(["challenge,answer,seen,observer,witness,time,remark", *lines]) + "\n"
    return dict(read_observed(given_file(text), PLANNED))


def test_observed_answers_by_challenge() -> None:
    found = observed(
        "excess temperature,horn,yes,A. Voss,B. Lind,14:05:10,loud",
        "Excess temperature,Red lamp,no,A. Voss,,2026-03-02 14:05,",
        "Door,Fan stops,,,,,",
    )
    assert list(found) == ["Excess temperature", "Door"]
    horn, lamp = found["Excess temperature"]
    assert (horn.answer, horn.seen, horn.time, horn.why_open) == ("Horn", True, "14:05:10", "")
    assert (lamp.seen, lamp.why_open) == (False, "")
    assert "whether it was seen" in found["Door"][0].why_open


def test_an_answer_seen_needs_an_observer_and_another_witness() -> None:
    (one,) = observed("Door,Fan stops,yes,A. Voss,A. VOSS,14:05,")["Door"]
    assert "can't witness" in one.why_open
    (one,) = observed("Door,Fan stops,yes,A. Voss,,,")["Door"]
    assert "who witnessed it, at what time" in one.why_open


@pytest.mark.parametrize(
    ("lines", "code", "words"),
    [
        (["Dor,Fan stops,,,,,"], "observed-unknown", "did you mean 'Door'"),
        (["Door,Fan stop,,,,,"], "observed-unknown", "did you mean 'Fan stops'"),
        (["Door,,,,,,"], "record-sheet-cell", "answer"),
        (["Door,Fan stops,,,,,", "door,fan STOPS,,,,,"], "observed-twice", "row 2"),
        (["Door,Fan stops,,,,25:00,"], "record-sheet-cell", "time"),
        (["Door,Fan stops,,,,noon,"], "record-sheet-cell", "day"),
    ],
)
def test_observed_answers_that_are_refused(lines: list[str], code: str, words: str) -> None:
    with pytest.raises(Refusal) as caught:
        observed(*lines)
    assert caught.value.code == code
    assert words in caught.value.what


def test_an_observed_sheet_reads_as_it_is() -> None:
    for form in ("csv", "xlsx"):
        found = read_observed(given_file(sheet_bytes(observed_sheet(PLANNED), form), f"o.{form}"), PLANNED)
        assert {name: tuple(one.answer for one in answers) for name, answers in found.items()} == PLANNED
    text = sheet_bytes(observed_sheet({"Any": ("name",)}), "csv")
    assert list(read_observed(given_file(text))) == ["Any"]
