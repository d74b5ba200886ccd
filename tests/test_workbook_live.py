"""The workbook recalculated by another program: every live figure is what the engine found."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import numpy as np
import openpyxl
import pytest
from openpyxl.workbook import Workbook

from qualify.pack.workbook import write_workbook
from qualify.units import TemperatureUnit
from tests.support.evaluations import (
    Case,
    evaluation_of,
    readings_as_recorded,
    with_changed_readings,
)
from tests.test_workbook import CALIBRATION, CASES, GAPS, OF_CHAMBER, SOURCES, THREE_HOLDS

pytestmark = pytest.mark.skipif(shutil.which("soffice") is None, reason="LibreOffice is not installed")

HEADER_ROW = 8
CHANGED = {
    "three holds with gaps": Case(absent=GAPS, holds_c=THREE_HOLDS),
    "°F": Case(unit=TemperatureUnit.F, locations=5, seed=11),
    "uneven, with gaps": Case(uneven=True, absent=((140, 3),), seed=5),
    "no certificates": Case(corrections=False, seed=3),
    "sources of the plan": Case(sources=SOURCES, of_chamber=OF_CHAMBER, holds_c=(178.5,)),
    "sources, one laboratory, private parts": Case(
        sources=SOURCES, of_chamber=OF_CHAMBER, curves=True, correlation=0.36, holds_c=(118.5,), seed=4
    ),
    "calibration stated, no certificates": Case(corrections=False, sources=CALIBRATION, seed=6),
    "k of its own": Case(factor=2.28, holds_c=(178.5,), seed=8),
}

Recalculate = Callable[[list[tuple[Workbook, str]]], dict[str, Workbook]]


@pytest.fixture(scope="module")
def recalculate(tmp_path_factory: pytest.TempPathFactory) -> Recalculate:
    """Give workbooks, stripped of their cached results, to LibreOffice and read what it computes."""
    folder = tmp_path_factory.mktemp("recalculated")

    def run(books: list[tuple[Workbook, str]]) -> dict[str, Workbook]:
        paths = []
        for number, (book, _) in enumerate(books):
            path = folder / f"book{number}.xlsx"
            book.save(path)  # openpyxl keeps the formulas and drops their results
            paths.append(path)
        profile = (folder / "profile").as_uri()
        command = ["soffice", f"-env:UserInstallation={profile}", "--headless", "--convert-to", "xlsx"]
        done = folder / "done"
        subprocess.run(
            [*command, "--outdir", str(done), *map(str, paths)], check=True, capture_output=True, timeout=300
        )
        return {
            name: openpyxl.load_workbook(done / path.name, data_only=True)
            for (_, name), path in zip(books, paths, strict=True)
        }

    return run


def test_every_formula_gives_its_cached_result(recalculate: Recalculate, tmp_path: Path) -> None:
    books, cached = [], {}
    for number, (name, case) in enumerate(CASES.items()):
        path = tmp_path / f"{number}.xlsx"
        write_workbook(evaluation_of(case), path)
        books.append((openpyxl.load_workbook(path), name))
        cached[name] = openpyxl.load_workbook(path, data_only=True)
    found = recalculate(books)
    for book, name in books:
        compared = 0
        for sheet in book:
            size = {"max_row": sheet.max_row, "max_col": sheet.max_column}
            results = found[name][sheet.title].iter_rows(**size, values_only=True)
            expectations = cached[name][sheet.title].iter_rows(**size, values_only=True)
            for cells, values, wanted in zip(sheet.iter_rows(**size), results, expectations, strict=True):
                for cell, result, expected in zip(cells, values, wanted, strict=True):
                    if cell.data_type != "f":
                        continue
                    compared += 1
                    where = (name, sheet.title, cell.coordinate, cell.value)
                    if isinstance(expected, str):
                        assert result == expected, where
                    else:
                        assert abs(result - expected) <= 1e-9 * max(1.0, abs(expected)), where
        assert compared > 500


def changes_for(case: Case) -> dict[tuple[int, int], float]:
    """Twenty readings, in windows and out of them, moved by up to 4 degrees of the file's unit."""
    random = np.random.default_rng(case.seed)
    recorded = readings_as_recorded(case)
    there = np.argwhere(~np.isnan(recorded))
    late = there[there[:, 0] > case.instants * 0.55]
    chosen = np.vstack((random.permutation(there)[:8], random.permutation(late)[:12]))
    return {
        (int(row), int(column)): round(float(recorded[row, column] + random.uniform(-4, 4)), 3)
        for row, column in chosen
    }


def test_changed_readings_change_figures_as_the_engine_would(
    recalculate: Recalculate, tmp_path: Path
) -> None:
    books, engines, unchanged = [], {}, {}
    for number, (name, case) in enumerate(CHANGED.items()):
        path, other = tmp_path / f"{number}.xlsx", tmp_path / f"{number}-changed.xlsx"
        changes = changes_for(case)
        write_workbook(evaluation_of(case), path)
        write_workbook(with_changed_readings(case, changes), other)
        book = openpyxl.load_workbook(path)
        sheet = book["Readings 1"]
        header = [cell.value for cell in sheet[HEADER_ROW]]
        raw = [index for index, word in enumerate(header) if str(word).endswith(f"raw ({case.unit.value})")]
        assert len(raw) == case.locations
        for (instant, column), value in changes.items():
            cell = sheet.cell(HEADER_ROW + 1 + instant, raw[column] + 1)
            assert isinstance(cell.value, float | int) and cell.value != value
            cell.value = value
        books.append((book, name))
        unchanged[name] = openpyxl.load_workbook(path, data_only=True)
        engines[name] = openpyxl.load_workbook(other, data_only=True)
    found = recalculate(books)
    formulas = {name: book for book, name in books}
    with_budgets = [name for name, case in CHANGED.items() if case.corrections or case.sources]
    for name in CHANGED:
        compared = changed = 0
        for title in [title for title in found[name].sheetnames if title.startswith("Figures")]:
            before = {row[0].row: row for row in found[name][title].iter_rows(min_row=6)}
            for row in engines[name][title].iter_rows(min_row=6):
                if row[5].value != "agrees":
                    continue
                live = before[row[0].row]
                assert live[0].value == row[0].value
                where = (name, title, row[0].value, row[1].value)
                compared += 1
                changed += live[5].value == "differs"
                if isinstance(row[4].value, str):
                    assert live[3].value == row[4].value, where
                else:
                    assert live[3].value == pytest.approx(row[4].value, rel=1e-9, abs=1e-9), where
        assert compared > 80
        assert changed > 20, "the changed readings must show"
        if name in with_budgets:
            moved = budgets_follow(found[name], engines[name], formulas[name], unchanged[name])
            assert (moved > 0) == name.startswith("sources"), name
        front = text_of_front(found[name])
        assert front["differ"] > 20 and front["agree"] + front["differ"] > 80


def budgets_follow(live: Workbook, engine: Workbook, formulas: Workbook, before: Workbook) -> int:
    """Every formula of the budgets gives what the engine's own workbook of the changed readings holds.

    Degrees of freedom and coverage factors among them. Gives how many coverage factors of one reading moved
    by more than rounding does.
    """
    compared = moved = 0
    for title in ("Uncertainty", "Budgets"):
        for row in formulas[title].iter_rows(min_row=6):
            for cell in row:
                if cell.data_type != "f" or '"agrees"' in str(cell.value):
                    continue
                shown, wanted = live[title][cell.coordinate].value, engine[title][cell.coordinate].value
                where = (title, cell.coordinate, cell.value)
                compared += 1
                if isinstance(wanted, str):
                    assert shown == wanted, where
                    continue
                assert shown == pytest.approx(wanted, rel=1e-9, abs=1e-9), where
                if "TINV" in str(cell.value) and title == "Uncertainty" and cell.column_letter == "P":
                    moved += abs(shown - before[title][cell.coordinate].value) > 1e-3
    assert compared > 50
    return moved


def text_of_front(book: Workbook) -> dict[str, int]:
    """The two counts of the front page: live figures that agree and that differ."""
    counts = {}
    for row in book["Sign-off"].iter_rows(values_only=True):
        words = str(row[1])
        if "with the engine" in words:
            counts["agree"] = int(row[3])
        elif "from the engine" in words:
            counts["differ"] = int(row[3])
    return counts
