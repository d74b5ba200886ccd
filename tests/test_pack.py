"""The data pack: complete, the same bytes twice, nothing of this machine in it, never written over."""

from __future__ import annotations

import hashlib
import json
import zipfile
from pathlib import Path

import pytest

from qualify.cautions import SURVEY_CAUTIONS
from tests.support.command import qualify
from tests.support.surveys import plain_run, write_csv

HOLD = ("--setpoint", 180, "--tolerance", 3)


@pytest.fixture
def pack(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1772000000")
    file = write_csv(tmp_path / "run é.csv", *plain_run())
    assert qualify("survey", file, *HOLD, "--out", tmp_path / "pack one").status == 0
    return tmp_path / "pack one"


def names(pack: Path) -> list[str]:
    return sorted(path.relative_to(pack).as_posix() for path in pack.rglob("*") if path.is_file())


def test_a_pack_is_complete(pack: Path) -> None:
    found = names(pack)
    assert {"pack one.xlsx", "record.json", "manifest.sha256", "inputs/run é.csv"} <= set(found)
    assert sum(name.startswith("plots/") for name in found) >= 3
    assert (pack / "inputs" / "run é.csv").read_bytes() == (pack.parent / "run é.csv").read_bytes()
    assert sorted(path.name for path in pack.parent.iterdir()) == ["pack one", "run é.csv"]


def test_the_manifest_covers_every_other_file(pack: Path) -> None:
    lines = (pack / "manifest.sha256").read_text(encoding="utf-8").splitlines()
    listed = dict(reversed(line.split("  ", 1)) for line in lines)
    assert sorted([*listed, "manifest.sha256"]) == names(pack)
    for name, digest in listed.items():
        assert hashlib.sha256((pack / name).read_bytes()).hexdigest() == digest


def test_the_same_inputs_give_the_same_bytes(pack: Path) -> None:
    other = pack.parent / "elsewhere" / "pack one"
    assert qualify("survey", pack.parent / "run é.csv", *HOLD, "--out", other).status == 0
    assert names(other) == names(pack)
    for name in names(pack):
        assert (other / name).read_bytes() == (pack / name).read_bytes(), name


def test_only_the_moment_differs_at_another_time(pack: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1772009999")
    other = pack.parent / "later" / "pack one"
    qualify("survey", pack.parent / "run é.csv", *HOLD, "--out", other)
    differing = [name for name in names(pack) if (other / name).read_bytes() != (pack / name).read_bytes()]
    assert differing == ["manifest.sha256", "pack one.xlsx", "record.json"]
    sheets = []
    with zipfile.ZipFile(pack / "pack one.xlsx") as one, zipfile.ZipFile(other / "pack one.xlsx") as two:
        for name in one.namelist():
            if one.read(name) != two.read(name):
                sheets.append(name)
    # The moment stands on the front page only, be its text in the sheet or among the shared strings.
    assert sheets in (["xl/sharedStrings.xml"], ["xl/worksheets/sheet1.xml"])


def test_nothing_of_this_machine_is_in_it(pack: Path) -> None:
    import getpass
    import socket

    for path in pack.rglob("*"):
        if not path.is_file():
            continue
        blobs = [path.read_bytes()]
        if path.suffix == ".xlsx":
            with zipfile.ZipFile(path) as archive:
                blobs = [archive.read(name) for name in archive.namelist()]
        for blob in blobs:
            words = [str(pack.parent)]
            # A short name would be found in compressed pictures by chance.
            words += [name for name in (socket.gethostname(), getpass.getuser()) if len(name) > 4]
            for word in words:
                assert word.encode() not in blob, (path.name, word)


def test_the_record_is_strict_json_and_keeps_its_promises(pack: Path) -> None:
    def forbid(word: str) -> None:
        raise AssertionError(word)

    record = json.loads((pack / "record.json").read_text(encoding="utf-8"), parse_constant=forbid)
    assert record["schema"] == 1
    assert record["made_at"] == "2026-02-25T06:13:20Z"
    assert record["software"].keys() >= {"name", "version", "python", "libraries"}
    assert record["inputs"][0].keys() == {"path", "sha256", "bytes", "role"}
    survey = record["surveys"][0]
    assert survey.keys() >= {
        "name", "stage", "setpoint_c", "tolerance_c", "limit_low_c", "limit_high_c", "window", "heat_start",
        "heat_start_s", "chamber", "variants", "locations", "requirements", "doubts",
    }  # fmt: skip
    assert survey["window"].keys() >= {"start", "end", "start_s", "end_s", "readings"}
    assert survey["chamber"].keys() >= {
        "mean_c", "deviation_max_c", "deviation_min_c", "spread_max_c", "spread_mean_c", "spread_of_means_c",
        "stability_c", "overshoot_c", "high_excess_c", "time_to_band_s", "time_to_stabilize_s",
        "conformance_probability",
    }  # fmt: skip
    assert survey["locations"][0].keys() >= {
        "location", "channel", "mean_c", "min_c", "max_c", "sd_c", "deviation_max_c", "deviation_min_c",
        "stability_c", "overshoot_c", "drift_c_per_h", "effective_readings", "mean_correction_c",
        "expanded_uncertainty_c", "mean_expanded_uncertainty_c", "coverage_factor",
    }  # fmt: skip
    assert survey["requirements"][0].keys() >= {
        "id", "text", "figure", "value", "limit_low", "limit_high", "margin", "decision", "location", "time",
    }  # fmt: skip
    assert survey["variants"][0].keys() >= {"document", "name", "formula", "value_c", "location"}

    def every_null_says_why(value: object, path: str = "") -> None:
        if isinstance(value, list):
            for number, item in enumerate(value):
                every_null_says_why(item, f"{path}[{number}]")
        elif isinstance(value, dict):
            for name, item in value.items():
                figure = name.endswith(("_c", "_s", "_c_per_h", "_probability")) and name not in (
                    "tolerance_c", "time_s",
                )  # fmt: skip
                if item is None and figure:
                    assert value.get(f"{name}_why"), f"{path}.{name}"
                every_null_says_why(item, f"{path}.{name}")

    every_null_says_why(record)


def test_a_pack_replaces_another_by_name(pack: Path) -> None:
    file = pack.parent / "run é.csv"
    ran = qualify("survey", file, *HOLD, "--out", pack.parent / "pack-r2", "--replaces", pack, "--json")
    digest = hashlib.sha256((pack / "manifest.sha256").read_bytes()).hexdigest()
    assert ran.record["replaces"] == f"pack one (manifest {digest})"
    ran = qualify("survey", file, *HOLD, "--out", pack.parent / "r3", "--replaces", pack.parent)
    assert ran.status == 3


def test_an_empty_folder_may_be_filled(tmp_path: Path) -> None:
    file = write_csv(tmp_path / "run.csv", *plain_run())
    (tmp_path / "pack").mkdir()
    assert qualify("survey", file, *HOLD, "--out", tmp_path / "pack").status == 0


def test_two_files_of_one_name_get_names_of_their_own(tmp_path: Path) -> None:
    seconds, values = plain_run()
    for folder, part in (("a", slice(None, 50)), ("b", slice(50, None))):
        (tmp_path / folder).mkdir()
        write_csv(tmp_path / folder / "run.csv", seconds[part], values[part])
    out = tmp_path / "pack"
    ran = qualify(
        "survey", tmp_path / "a" / "run.csv", tmp_path / "b" / "run.csv", *HOLD, "--out", out, "--json"
    )
    assert ran.status == 0, ran.err
    assert [item["path"] for item in ran.record["inputs"]] == ["run.csv", "run-2.csv"]
    assert (out / "inputs" / "run-2.csv").read_bytes() == (tmp_path / "b" / "run.csv").read_bytes()


def test_nothing_calls_anything_safe(pack: Path) -> None:
    assert all("safe" not in caution.casefold().split() for caution in SURVEY_CAUTIONS)
    with zipfile.ZipFile(pack / "pack one.xlsx") as archive:
        text = "".join(
            archive.read(name).decode().casefold() for name in archive.namelist() if name.endswith(".xml")
        )
    assert " safe " not in text
    assert "nitrogen" in text
