"""The demo's workbooks against the engine itself: recalculated from scratch, then with changed readings."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import openpyxl
import pytest

from tests.support.command import qualify
from tests.test_workbook_live import HEADER_ROW, Recalculate, recalculate

__all__ = ["recalculate"]

pytestmark = pytest.mark.skipif(shutil.which("soffice") is None, reason="LibreOffice is not installed")

DEMO = Path(__file__).parents[1] / "demo_surveys"
PLANS = {"ov3-requalification": ("cp1252", ";"), "ov3-after-duct-refit": ("utf-8", ",")}


def pinned(plan: str, record: dict[str, Any]) -> str:
    """The plan with every hold's heat start and window declared as they were found."""
    parts = plan.split("[[surveys.holds]]\n")
    assert len(parts) == len(record["surveys"]) + 1
    for number, survey in enumerate(record["surveys"], start=1):
        window = survey["window"]
        minutes = (window["end_s"] - window["start_s"]) / 60
        pins = f"heat_start = {survey['heat_start_s']}\nstart = {window['start_s']}\nminutes = {minutes!r}\n"
        parts[number] = pins + parts[number]
    return "[[surveys.holds]]\n".join(parts)


def change_file(
    path: Path, encoding: str, separator: str, record: dict[str, Any], seed: int
) -> dict[tuple[int, str], float]:
    """Change 20 random readings of a logger file in place: (row, location) → new reading."""
    lines = path.read_text(encoding=encoding).splitlines(keepends=True)
    header = next(n for n, line in enumerate(lines) if "CH01" in line)
    names = [name.split()[0] for name in lines[header].split(separator)]
    random = np.random.default_rng(seed)
    locations = record["surveys"][0]["locations"]
    changes: dict[tuple[int, str], float] = {}
    while len(changes) < 20:
        row = int(random.integers(header + 2, len(lines)))
        item = locations[int(random.integers(len(locations)))]
        cells = lines[row - 1].rstrip("\r\n").split(separator)
        column = names.index(item["channel"])
        old = float(cells[column].replace(",", "."))
        new = round(old + float(random.uniform(-1.5, 1.5)), 3)
        cells[column] = f"{new:.3f}".replace(".", "," if separator == ";" else ".")
        end = lines[row - 1][len(lines[row - 1].rstrip("\r\n")) :]
        lines[row - 1] = separator.join(cells) + end
        changes[row, item["location"]] = new
    path.write_bytes("".join(lines).encode(encoding))
    return changes


def test_demo_workbooks_follow_the_engine(recalculate: Recalculate, tmp_path: Path) -> None:
    books, engines, expected_changes = [], {}, {}
    for seed, (name, (encoding, separator)) in enumerate(PLANS.items()):
        qualify("run", DEMO / f"{name}.toml", "--out", tmp_path / name)
        record = json.loads((tmp_path / name / "record.json").read_text(encoding="utf-8"))
        book = openpyxl.load_workbook(tmp_path / name / f"{name}.xlsx")
        books.append((book, f"{name} as it is"))
        engines[f"{name} as it is"] = tmp_path / name / f"{name}.xlsx"

        work = tmp_path / f"{name}-changed"
        shutil.copytree(tmp_path / name / "inputs", work)
        (work / f"{name}.toml").write_text(
            pinned((work / f"{name}.toml").read_text(encoding="utf-8"), record), encoding="utf-8"
        )
        changes = change_file(work / f"{name}-invented.csv", encoding, separator, record, seed)
        ran = qualify("run", work / f"{name}.toml", "--out", work / "pack")
        assert ran.err == ""

        book = openpyxl.load_workbook(tmp_path / name / f"{name}.xlsx")
        sheet = book["Readings 1"]
        header = [str(cell.value) for cell in sheet[HEADER_ROW]]
        rows = {sheet.cell(row, 1).value: row for row in range(HEADER_ROW + 1, sheet.max_row + 1)}
        for (row, location), value in changes.items():
            column = next(n for n, word in enumerate(header) if word.split() == [location, "raw", "(°C)"])
            sheet.cell(rows[row], column + 1).value = value
        books.append((book, f"{name} changed"))
        engines[f"{name} changed"] = work / "pack" / "pack.xlsx"
        expected_changes[f"{name} changed"] = 20
    found = recalculate(books)
    for name, path in engines.items():
        engine = openpyxl.load_workbook(path, data_only=True)
        compared = moved = 0
        for title in [title for title in engine.sheetnames if title.startswith("Figures")]:
            live = {row[0].row: row for row in found[name][title].iter_rows(min_row=6)}
            for row in engine[title].iter_rows(min_row=6):
                if row[5].value != "agrees":
                    continue
                where = (name, title, row[0].value, row[1].value)
                assert live[row[0].row][0].value == row[0].value, where
                shown, wanted = live[row[0].row][3].value, row[4].value
                if isinstance(wanted, str):
                    assert shown == wanted, where
                else:
                    assert shown == pytest.approx(wanted, rel=1e-9, abs=1e-9), where
                compared += 1
                moved += live[row[0].row][5].value == "differs"
        assert compared > 150
        assert (moved > 0) == (name in expected_changes), name
