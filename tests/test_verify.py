"""`qualify verify`: a pack as written agrees; any later change is told, where and what."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from tests.support.command import qualify
from tests.support.surveys import plain_run, write_certificates, write_csv

HOLD = ("--setpoint", 180, "--tolerance", 3)
DEMO = Path(__file__).parents[1] / "demo_surveys"


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A pack from two files of one name, with certificates, options of every kind."""
    folder = tmp_path_factory.mktemp("verify")
    seconds, values = plain_run([0.0, 0.5, 1.0, 2.0])
    for part, rows in (("a", slice(None, 50)), ("b", slice(50, None))):
        (folder / part).mkdir()
        write_csv(folder / part / "run.csv", seconds[rows], values[rows], unit="")
    points = [(0.0, 0.1), (250.0, -0.1)]
    write_certificates(folder / "c.csv", {f"T{n}": points for n in range(1, 5)})
    words = ("--certificates", folder / "c.csv", "--units", "C", "--ignore", "T4=spare", "--start", 3000)
    files = (folder / "a" / "run.csv", folder / "b" / "run.csv")
    ran = qualify("survey", *files, *HOLD, *words, "--out", folder / "pack")
    assert ran.status == 0, ran.err
    return folder / "pack"


@pytest.fixture
def pack(written: Path, tmp_path: Path) -> Path:
    return shutil.copytree(written, tmp_path / "pack")


def test_a_pack_as_written_agrees(pack: Path) -> None:
    ran = qualify("verify", pack)
    assert (ran.status, ran.err) == (0, "")
    assert "no differences" in ran.out
    assert int(ran.out.split(" values")[0].split()[-1]) > 200


def test_a_changed_reading_is_told_by_file_and_figure(pack: Path) -> None:
    file = pack / "inputs" / "run-2.csv"
    lines = file.read_text(encoding="utf-8").splitlines()
    cells = lines[20].split(",")
    cells[2] = f"{float(cells[2]) + 1.5:.2f}"
    lines[20] = ",".join(cells)
    file.write_text("\n".join(lines) + "\n", encoding="utf-8")
    ran = qualify("verify", pack)
    assert ran.status == 1
    assert "inputs/run-2.csv: changed since the manifest was written" in ran.out
    assert "locations[T2].max_c" in ran.out


def test_a_changed_figure_is_told(pack: Path) -> None:
    text = (pack / "record.json").read_text(encoding="utf-8")
    record = json.loads(text)
    record["surveys"][0]["chamber"]["spread_max_c"] += 1e-6
    record["surveys"][0]["requirements"][0]["decision"] = "fail"
    (pack / "record.json").write_text(json.dumps(record), encoding="utf-8")
    ran = qualify("verify", pack)
    assert ran.status == 1
    assert "chamber.spread_max_c" in ran.out
    assert 'requirements[upper].decision: the pack says "fail", computed again "pass"' in ran.out


def test_missing_and_extra_files_are_told(pack: Path) -> None:
    next((pack / "plots").iterdir()).unlink()
    (pack / "note.txt").write_text("x", encoding="utf-8")
    ran = qualify("verify", pack)
    assert ran.status == 1
    assert "listed in the manifest, but missing" in ran.out
    assert "note.txt: not listed in the manifest" in ran.out


def test_a_folder_that_is_no_pack(tmp_path: Path, pack: Path) -> None:
    assert qualify("verify", tmp_path / "nothing").status == 3
    (pack / "record.json").write_text("{", encoding="utf-8")
    assert qualify("verify", pack).status == 3
    (pack / "record.json").write_text('{"schema": 99}', encoding="utf-8")
    ran = qualify("verify", pack)
    assert ran.status == 3
    assert "schema" in ran.err


@pytest.mark.parametrize("name", ["ov3-requalification", "ov3-after-duct-refit"])
def test_the_demo_packs_agree(tmp_path: Path, name: str) -> None:
    qualify("run", DEMO / f"{name}.toml", "--out", tmp_path / "pack")
    ran = qualify("verify", tmp_path / "pack")
    assert (ran.status, ran.err) == (0, "")
