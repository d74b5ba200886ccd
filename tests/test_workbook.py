"""The workbook of the data pack: what stands in it, and what must not."""

from __future__ import annotations

import re
import zipfile
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import openpyxl
import pytest
from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from qualify.evidence import Evaluation
from qualify.figures.absent import Absent
from qualify.figures.blocks import block_starts, location_blocks
from qualify.pack.workbook import write_workbook
from qualify.plan.uncertainty import Shape, StatedSource
from qualify.record import DeviationRecord
from qualify.units import CelsiusDifference, TemperatureUnit
from tests.support.evaluations import Case, evaluation_of

SHARED_FUNCTIONS = {
    "ABS",
    "AVERAGE",
    "COUNT",
    "COUNTIF",
    "IF",
    "INDEX",
    "ISNUMBER",
    "MATCH",
    "MAX",
    "MIN",
    "OR",
    "SLOPE",
    "SQRT",
    "STDEV",
    "SUM",
    "SUMIF",
    "SUMPRODUCT",
    "TINV",
    "INT",
}
GAPS = ((130, 3), (131, 3), (150, 7), (10, 2), (199, 5), (120, 0))
THREE_HOLDS = (100.0, 180.0, 120.0)


def stated(
    source: str, value: float, divisor: float = 1.0, shape: Shape = Shape.NORMAL, **more: Any
) -> StatedSource:
    """One source as a plan states it."""
    difference = CelsiusDifference(value)
    return StatedSource(
        source=source, stated_c=difference, divisor=divisor, shape=shape, because=f"invented {source}", **more
    )


SOURCES = (
    stated("logger", 0.24, 2.0, shared=True),
    stated("drift since calibration", 0.15, 3.0**0.5, Shape.RECTANGULAR),
    stated("radiation", 0.2, 6.0**0.5, Shape.TRIANGULAR, locations=("A1", "B1")),
    stated("other", 0.31, degrees_of_freedom=4.6, locations=("A1", "C1", "A2", "B2")),
    stated("other", 0.17, degrees_of_freedom=2.0, locations=("A1", "B2")),
    stated("resolution", 0.0, 3.0**0.5, Shape.RECTANGULAR),
    StatedSource(source="reference junction", because="the loop's certificates", covered=True),
)
CALIBRATION = (
    stated("calibration", 0.3, 1.0, degrees_of_freedom=7.3, locations=("A1", "B1", "A2")),
    stated("logger", 0.1, 2.0, degrees_of_freedom=50.0, shared=True),
)
OF_CHAMBER = (
    stated("chamber's indication", 0.2, 2.0, degrees_of_freedom=12.0),
    stated("loading", 0.35, 3.0**0.5, Shape.RECTANGULAR),
)


def written(evaluation: Evaluation, folder: Path) -> Path:
    path = folder / "pack.xlsx"
    write_workbook(evaluation, path)
    return path


def text_of(sheet: Worksheet) -> str:
    return "\n".join(str(cell.value) for row in sheet.iter_rows() for cell in row if cell.value is not None)


CASES = {
    "three holds with gaps": Case(absent=GAPS, holds_c=THREE_HOLDS),
    "°F": Case(unit=TemperatureUnit.F, locations=5),
    "K": Case(unit=TemperatureUnit.K, locations=4, clock=False),
    "uneven": Case(uneven=True, absent=((140, 3),)),
    "curves and private parts": Case(curves=True, locations=5, absent=((140, 3),)),
    "no certificates, no reference": Case(corrections=False, reference=None),
    "sources of the plan": Case(
        sources=SOURCES, of_chamber=OF_CHAMBER, holds_c=(178.5,), simulated=True, locations=7
    ),
    "sources, curves, one laboratory": Case(
        sources=SOURCES, curves=True, correlation=0.36, locations=6, absent=((140, 3),), effective=1.5
    ),
    "calibration stated, no certificates": Case(
        corrections=False, sources=CALIBRATION, of_chamber=OF_CHAMBER, locations=6
    ),
    "k of its own": Case(factor=2.28, locations=8, holds_c=(178.5,)),
    "sources, in blocks": Case(
        instants=6000, interval_s=5.0, locations=6, sources=SOURCES, of_chamber=OF_CHAMBER
    ),
    "in blocks": Case(instants=6000, interval_s=5.0, locations=6, holds_c=THREE_HOLDS),
    "in blocks, uneven, with gaps": Case(
        instants=6000,
        interval_s=5.0,
        locations=6,
        holds_c=THREE_HOLDS,
        uneven=True,
        absent=((4000, 1), (3500, 2), (5500, 2)),
    ),
}


@dataclass(frozen=True)
class Loaded:
    """A workbook as written: its formulas, and their cached results."""

    formulas: Workbook
    results: Workbook


@pytest.fixture(scope="module", params=CASES.values(), ids=CASES.keys())
def loaded(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Loaded:
    path = written(evaluation_of(request.param), tmp_path_factory.mktemp("written"))
    return Loaded(openpyxl.load_workbook(path), openpyxl.load_workbook(path, data_only=True))


def test_every_formula_is_plain_and_has_its_result(loaded: Loaded) -> None:
    used: set[str] = set()
    count = 0
    for sheet in loaded.formulas:
        for row in sheet.iter_rows():
            for cell in row:
                if cell.data_type != "f":
                    continue
                count += 1
                result = loaded.results[sheet.title][cell.coordinate].value
                assert isinstance(result, float | int | str), (sheet.title, cell.coordinate, cell.value)
                assert not isinstance(result, bool)
                assert result != "" and not str(result).startswith("#")
                formula = re.sub(r'"[^"]*"', "", str(cell.value))
                assert "[" not in formula and "{" not in formula
                assert len(formula) < 8192
                used |= set(re.findall(r"([A-Z][A-Z0-9.]*)\(", re.sub(r"'[^']*'", "", formula)))
    assert count > 500
    assert used <= SHARED_FUNCTIONS


def test_sheets_are_frozen_titled_and_not_merged(loaded: Loaded) -> None:
    for sheet in loaded.formulas:
        assert not sheet.merged_cells.ranges, sheet.title
        if sheet.title == "Sign-off":
            continue
        assert sheet.freeze_panes is not None, sheet.title
        assert sheet.print_title_rows, sheet.title
        assert sheet.page_setup.orientation == "landscape", sheet.title
        assert int(sheet.page_setup.paperSize) == 9


def test_no_live_figure_differs_from_the_engine(loaded: Loaded) -> None:
    agree = 0
    for sheet in loaded.results:
        if sheet.title.startswith("Figures"):
            for row in sheet.iter_rows(min_row=6):
                if row[5].value == "agrees":
                    agree += 1
                    assert row[3].value == pytest.approx(row[4].value, rel=1e-9, abs=1e-9)
                assert row[5].value in ("agrees", None)
    assert agree > 70


def test_every_header_of_readings_names_its_unit(loaded: Loaded) -> None:
    rows = loaded.results["Readings 1"].iter_rows(values_only=True, max_row=12)
    header = next(row for row in rows if str(row[0]).startswith("Row in") or row[0] == "Phase")
    words = ("Row in", "First row", "Last row", "Phase", "Logger's clock")
    for word in header:
        assert word is not None
        assert str(word).endswith(")") or str(word).startswith(words), word


def test_raw_readings_stand_as_recorded(tmp_path: Path) -> None:
    case = Case(unit=TemperatureUnit.F, locations=3)
    book = openpyxl.load_workbook(written(evaluation_of(case), tmp_path), data_only=True)
    from tests.support.evaluations import readings_as_recorded

    recorded = readings_as_recorded(case)
    sheet = book["Readings 1"]
    header = [cell.value for cell in sheet[8]]
    for column, name in enumerate(("A1", "B1", "C1")):
        place = header.index(f"{name}\nraw (°F)")
        shown = [row[place] for row in sheet.iter_rows(min_row=9, max_row=208, values_only=True)]
        assert shown == recorded[:, column].tolist()


def test_an_absent_reading_leaves_its_cells_empty(tmp_path: Path) -> None:
    case = Case(absent=((130, 3),))
    sheet = openpyxl.load_workbook(written(evaluation_of(case), tmp_path))["Readings 1"]
    header = [cell.value for cell in sheet[8]]
    row = sheet[9 + 130]
    empty = {header[index] for index, cell in enumerate(row) if cell.value is None}
    own = {word for word in header if str(word).startswith("A2\n")}
    assert own and own <= empty
    assert {"Mean of complete (°C)", "Spread of complete (°C)", "Largest distance from A1 (°C)"} <= empty
    assert "B1\ncorrected (°C)" not in empty


def test_same_evaluation_gives_the_same_bytes(tmp_path: Path) -> None:
    evaluation = evaluation_of(Case(absent=GAPS))
    first, second = tmp_path / "a.xlsx", tmp_path / "b.xlsx"
    write_workbook(evaluation, first)
    write_workbook(evaluation, second)
    assert first.read_bytes() == second.read_bytes()


def test_made_at_stands_on_the_front_page_alone(tmp_path: Path) -> None:
    evaluation = evaluation_of(Case())
    path = written(evaluation, tmp_path)
    book = openpyxl.load_workbook(path)
    holders = [sheet.title for sheet in book if evaluation.record.made_at in text_of(sheet)]
    assert holders == ["Sign-off"]
    other = replace(evaluation, record=replace(evaluation.record, made_at="2027-07-07T07:07:07Z"))
    write_workbook(other, tmp_path / "other.xlsx")
    with zipfile.ZipFile(path) as one, zipfile.ZipFile(tmp_path / "other.xlsx") as two:
        differing = [name for name in one.namelist() if one.read(name) != two.read(name)]
    assert differing == ["xl/worksheets/sheet1.xml"]


EVIL = (
    "=1+1",
    "+A1",
    "@SUM(A1)",
    "-2+3",
    "{=A1}",
    "=cmd|' /C calc'!A0",
    "http://example.invalid/",
    "\x01\x0b?",
)


def test_text_of_inputs_never_becomes_a_formula(tmp_path: Path) -> None:
    evaluation = evaluation_of(Case(names=EVIL, locations=len(EVIL), words="=HYPERLINK(0)"))
    survey = replace(evaluation.record.surveys[0], remarks=("=2+2",))
    plan = replace(evaluation.record.plan, title="=3+3", scope="=4+4", oven={"name": "=5+5", "=6": "=7+7"})
    deviation = DeviationRecord(id="N1", survey="=x", requirement=None, kind="departure", text="=8+8")
    record = replace(
        evaluation.record,
        surveys=(survey,),
        plan=plan,
        deviations=(deviation,),
        conditions={"=damper": "=9+9"},
        settings={"=key": "=value"},
        cautions=("=10",),
    )
    path = written(replace(evaluation, record=record), tmp_path)
    book = openpyxl.load_workbook(path)
    shown: set[str] = set()
    for sheet in book:
        for row in sheet.iter_rows():
            for cell in row:
                if cell.data_type == "f":
                    for word in (*EVIL[:6], "HYPERLINK", "=key"):
                        assert word not in str(cell.value).removeprefix("="), cell.value
                elif isinstance(cell.value, str):
                    shown.add(cell.value)
    assert {"=1+1", "+A1", "@SUM(A1)", "=2+2", "=8+8", "=9+9", "=value", "=7+7"} <= shown
    with zipfile.ZipFile(path) as archive:
        assert not any("externalLink" in name for name in archive.namelist())
        assert not any(b"<hyperlink" in archive.read(name) for name in archive.namelist())


def test_front_page_is_one_page_with_what_is_signed(tmp_path: Path) -> None:
    evaluation = evaluation_of(Case())
    deviations = tuple(
        DeviationRecord(id=f"N{n}", survey="s", requirement="r", kind="nonconformity", text=f"item {n} " * 30)
        for n in range(1, 41)
    )
    survey = evaluation.record.surveys[0]
    surveys = tuple(
        replace(survey, name=f"survey number {n}", remarks=tuple(f"remark {k} " * 25 for k in range(5)))
        for n in range(30)
    )
    record = replace(evaluation.record, deviations=deviations, surveys=surveys, cautions=("Hot surfaces.",))
    book = openpyxl.load_workbook(written(replace(evaluation, record=record), tmp_path))
    sheet = book["Sign-off"]
    assert sheet.page_setup.fitToHeight in (None, 1) and sheet.page_setup.fitToWidth in (None, 1)
    assert sheet.sheet_properties.pageSetUpPr.fitToPage
    assert sheet.max_row <= 110
    page = text_of(sheet)
    for word in ("Author", "Reviewer", "Approver", "Surveyor", "A. Invented", "Signature", "Part 11"):
        assert word in page
    assert "A person signs, not the tool" in page
    assert "Hot surfaces." in page
    assert "and 35 more: sheet Dispositions" in page
    assert "and 18 more" in page
    verdicts = text_of(book["Verdicts"])
    assert all(f"survey number {n}" in verdicts for n in range(30))
    assert verdicts.count("remark 4 ") >= 30
    dispositions = text_of(book["Dispositions"])
    assert all(f"item {n} " in dispositions for n in range(1, 41))


def test_the_tool_never_prints_the_word_safe(tmp_path: Path) -> None:
    book = openpyxl.load_workbook(written(evaluation_of(Case()), tmp_path))
    assert not [sheet.title for sheet in book if re.search(r"\bsafe\b", text_of(sheet), re.IGNORECASE)]


def test_provenance_lists_every_doubt_with_its_place(tmp_path: Path) -> None:
    evaluation = evaluation_of(Case(absent=GAPS))
    sheet = openpyxl.load_workbook(written(evaluation, tmp_path))["Provenance"]
    rows = {(row[2], row[3]) for row in sheet.iter_rows(values_only=True) if row[1] == "no-reading"}
    doubts = evaluation.recordings[0].readings.recording.doubts
    assert rows == {(doubt.row, doubt.column) for doubt in doubts}
    assert "ab" * 32 in text_of(sheet)


def test_decisions_and_margins_stand_with_the_requirements(tmp_path: Path) -> None:
    evaluation = evaluation_of(Case())
    path = written(evaluation, tmp_path)
    values = openpyxl.load_workbook(path, data_only=True)["Requirements"]
    formulas = openpyxl.load_workbook(path)["Requirements"]
    header = [cell.value for cell in values[5]]
    by_id = {row[1].value: row for row in values.iter_rows(min_row=6)}
    for requirement in evaluation.record.surveys[0].requirements:
        row = by_id[requirement.id]
        shown = dict(zip(header, [cell.value for cell in row], strict=True))
        assert shown["DECISION"] == str(requirement.decision).upper()
        assert shown["Margin, live (unit beside)"] == pytest.approx(requirement.margin)
        live = formulas[row[3].coordinate].value
        assert str(live).startswith("='Figures 1'!")


def no_window(evaluation: Evaluation) -> Evaluation:
    """The same evaluation as it is where the chamber was never steady."""
    why = Absent("never steady")
    survey = evaluation.record.surveys[0]

    def emptied(item: Any, keep: tuple[str, ...]) -> Any:
        names = [name for name in item.__dataclass_fields__ if isinstance(getattr(item, name), float)]
        return replace(item, **{name: why for name in names if name not in keep})

    survey = replace(
        survey,
        window=why,
        chamber=emptied(survey.chamber, ("overshoot_c", "high_excess_c")),
        locations=tuple(replace(emptied(place, ("overshoot_c",)), readings=0) for place in survey.locations),
        variants=tuple(replace(variant, value_c=why, location=None) for variant in survey.variants),
        requirements=tuple(replace(item, value=why, margin=why) for item in survey.requirements),
    )
    recording = evaluation.recordings[0]
    recording = replace(recording, holds=(replace(recording.holds[0], window=None),))
    return replace(evaluation, record=replace(evaluation.record, surveys=(survey,)), recordings=(recording,))


@pytest.mark.parametrize("instants", [200, 6000])
def test_a_hold_without_a_window_says_why(instants: int, tmp_path: Path) -> None:
    path = written(no_window(evaluation_of(Case(instants=instants))), tmp_path)
    sheet = openpyxl.load_workbook(path, data_only=True)["Figures 1"]
    rows = {row[0].value: row for row in sheet.iter_rows(min_row=20, max_row=45)}
    assert rows["Mean of all"][3].value == "absent"
    assert "never steady" in rows["Mean of all"][6].value
    assert rows["Overshoot"][5].value == "agrees"


def test_limits_never_kept_agree_in_a_word(tmp_path: Path) -> None:
    path = written(evaluation_of(Case(tolerance_c=0.01)), tmp_path)
    sheet = openpyxl.load_workbook(path, data_only=True)["Figures 1"]
    row = next(row for row in sheet.iter_rows() if row[0].value == "Time to band")
    assert [cell.value for cell in row[3:6]] == ["never", "never", "agrees"]


def test_a_folder_that_cannot_be_written_raises_an_os_error(tmp_path: Path) -> None:
    with pytest.raises(OSError, match="nowhere"):
        write_workbook(evaluation_of(Case(locations=2)), tmp_path / "nowhere" / "pack.xlsx")


def test_a_recording_of_5000_instants_is_shown_whole_and_one_more_in_blocks(tmp_path: Path) -> None:
    for instants, in_blocks in ((5000, False), (5001, True)):
        case = Case(instants=instants, locations=2, corrections=False)
        sheet = openpyxl.load_workbook(written(evaluation_of(case), tmp_path))["Readings 1"]
        assert (sheet.max_row < 500) is in_blocks
        assert ("re-performed by `qualify verify`" in text_of(sheet)) is in_blocks


def test_blocks_never_cross_an_edge_and_cover_the_stretch() -> None:
    starts = block_starts(10, 999, [0, 10, 137, 500, 501, 999, 2000], 40)
    assert starts[0] == 10
    assert {10, 137, 500, 501, 999} <= set(starts.tolist())
    assert np.all(np.diff(starts) > 0) and starts[-1] <= 999
    assert starts.size <= 46


def test_block_sums_are_those_of_their_readings() -> None:
    random = np.random.default_rng(3)
    seconds, values = np.arange(100.0) * 7, random.normal(180, 1, 100)
    values[[5, 40, 41, 42]] = np.nan
    starts = np.array([0, 40, 43, 90])
    blocks = location_blocks(seconds, values, 180.0, 70.0, starts)
    for index, (first, last) in enumerate(((0, 40), (40, 43), (43, 90), (90, 100))):
        there = ~np.isnan(values[first:last])
        part, time = values[first:last][there], seconds[first:last][there] - 70.0
        assert blocks.count[index] == part.size
        assert blocks.total_c[index] == pytest.approx((part - 180).sum())
        assert blocks.squares_c2[index] == pytest.approx(((part - 180) ** 2).sum())
        assert blocks.products_c_s[index] == pytest.approx((time * (part - 180)).sum())
        assert blocks.time_s[index] == pytest.approx(time.sum())
        assert blocks.time_squares_s2[index] == pytest.approx((time**2).sum())
        if part.size:
            assert blocks.low_c[index] == part.min() and blocks.high_c[index] == part.max()
        else:
            assert np.isnan(blocks.low_c[index]) and np.isnan(blocks.high_c[index])
