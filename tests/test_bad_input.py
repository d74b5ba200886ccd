"""Bad input: exit 3 (2 for a wrong call), one clear message, nothing left half-written."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest

from tests.support.command import qualify
from tests.support.surveys import plain_run, write_certificates, write_csv

HOLD = ("--setpoint", 180, "--tolerance", 3)


@pytest.fixture
def good(tmp_path: Path) -> Path:
    return write_csv(tmp_path / "run.csv", *plain_run())


def refused(*words: object, says: tuple[str, ...]) -> str:
    ran = qualify(*words)
    assert ran.status == 3, ran.err + ran.out
    assert ran.out == ""
    assert "Traceback" not in ran.err
    assert "why:" in ran.err and "mend:" in ran.err
    for word in says:
        assert word in ran.err, ran.err
    return ran.err


def test_missing_file(tmp_path: Path) -> None:
    refused("survey", tmp_path / "no such file é.csv", *HOLD, says=("no such file é.csv",))


def test_a_folder_is_no_file(tmp_path: Path) -> None:
    refused("survey", tmp_path, *HOLD, says=("can't be opened",))


def test_empty_file(tmp_path: Path) -> None:
    file = tmp_path / "empty.csv"
    file.write_bytes(b"")
    refused("survey", file, *HOLD, says=("empty.csv", "empty"))


@pytest.mark.parametrize("head", [b"", b"PK\x03\x04", b"\xff\xfe", b"\xef\xbb\xbf"])
def test_binary_rubbish(tmp_path: Path, head: bytes) -> None:
    file = tmp_path / "rubbish.csv"
    file.write_bytes(head + np.random.default_rng(3).integers(0, 256, 4000, dtype=np.uint8).tobytes())
    refused("survey", file, *HOLD, says=("rubbish.csv",))


def test_no_time_column(tmp_path: Path) -> None:
    file = tmp_path / "notime.csv"
    file.write_text("T1 (°C),T2 (°C)\n20.1,20.2\n20.0,20.4\n20.2,20.1\n", encoding="utf-8")
    refused("survey", file, *HOLD, says=("notime.csv", "time"))


def test_no_temperature_column(tmp_path: Path) -> None:
    file = tmp_path / "pressure.csv"
    file.write_text("Time,P1 (bar)\n2026-03-02T08:00:00,1.0\n2026-03-02T08:01:00,1.1\n", encoding="utf-8")
    refused("survey", file, *HOLD, says=("pressure.csv", "temperature"))


def test_one_location(tmp_path: Path) -> None:
    file = write_csv(tmp_path / "one.csv", *plain_run([0.0]))
    refused("survey", file, *HOLD, says=("at least two",))


def test_unit_unknown_names_the_option(tmp_path: Path) -> None:
    file = write_csv(tmp_path / "bare.csv", *plain_run(), unit="")
    refused("survey", file, *HOLD, says=("--units",))
    assert qualify("survey", file, *HOLD, "--units", "C").status == 0


def test_window_outside_the_record(good: Path) -> None:
    refused("survey", good, *HOLD, "--start", 99999, "--minutes", 30, says=("outside the record",))
    refused("survey", good, *HOLD, "--start", "2026-03-03T08:00:00", says=("outside the record",))


def test_a_time_with_an_offset_on_a_file_without(good: Path) -> None:
    refused("survey", good, *HOLD, "--start", "2026-03-02T09:00:00+01:00", says=("offset",))


def test_set_point_never_approached(good: Path) -> None:
    refused("survey", good, "--setpoint", 350, "--tolerance", 3, says=("350", "180", "--units"))


def test_unknown_certificate_channel(tmp_path: Path, good: Path) -> None:
    points = [(0.0, 0.0), (250.0, 0.0)]
    file = write_certificates(tmp_path / "c.csv", {"T1": points, "T2": points, "T33": points})
    refused(
        "survey", good, *HOLD, "--certificates", file, says=("c.csv", "row 6", "T33", "did you mean 'T3'")
    )


def test_a_judged_channel_without_certificate(tmp_path: Path, good: Path) -> None:
    file = write_certificates(tmp_path / "c.csv", {"T1": [(0.0, 0.0), (250.0, 0.0)]})
    refused("survey", good, *HOLD, "--certificates", file, says=("'T2', 'T3'",))


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "empty"),
        ("channel,sensor\n", "correction"),
        ("channel,temperature,deviation,unit\nT1,20,0.1,C\n", "deviation"),
        ("channel,temperature,correction,unit\nT1,20,0.1,Q\n", "'Q'"),
        ("channel,temperature,correction\nT1,20,0.1\n", "unit"),
        ("channel,temperature,correction,unit\nT1,x,0.1,C\n", "row 2"),
        ("channel,temperatur,correction,unit\nT1,20,0.1,C\n", "did you mean 'temperature'"),
        ("channel,temperature,correction,expanded_uncertainty,unit\nT1,20,0.1,0.2,C\n", "coverage_factor"),
        ("channel,temperature,correction,unit\nT1,20,0.1,C\nT1,20,0.2,C\n", "two calibration points"),
    ],
)
def test_certificates_that_can_not_be_used(tmp_path: Path, good: Path, text: str, says: str) -> None:
    file = tmp_path / "c.csv"
    file.write_text(text, encoding="utf-8")
    refused("survey", good, *HOLD, "--certificates", file, says=(says,))


def test_unknown_ignored_column(good: Path) -> None:
    refused("survey", good, *HOLD, "--ignore", "T9=spare", says=("'T9'", "T1, T2, T3"))


@pytest.mark.parametrize(
    "words",
    [
        (),
        ("--setpoint", 180),
        ("--setpoint", "warm", "--tolerance", 3),
        ("--setpoint", "nan", "--tolerance", 3),
        ("--setpoint", 180, "--tolerance", -3),
        ("--setpoint", 180, "--tolerance", 3, "--low", -1),
        ("--setpoint", 180, "--low", -1),
        ("--setpoint", 180, "--low", 2, "--high", 1),
        ("--setpoint", 180, "--tolerance", 3, "--start", "noon"),
        ("--setpoint", 180, "--tolerance", 3, "--minutes", 0),
        ("--setpoint", 180, "--tolerance", 3, "--units", "K"),
        ("--setpoint", 180, "--tolerance", 3, "--ignore", "T1"),
        ("--setpoint", 180, "--tolerance", 3, "--colour", "red"),
    ],
)
def test_wrong_calls(good: Path, words: tuple[object, ...]) -> None:
    ran = qualify("survey", good, *words)
    assert ran.status == 2, ran.err
    assert "Traceback" not in ran.err
    assert ran.out == ""


def test_output_folder_that_exists(tmp_path: Path, good: Path) -> None:
    pack = tmp_path / "pack"
    pack.mkdir()
    (pack / "signed.pdf").write_text("signed", encoding="utf-8")
    refused("survey", good, *HOLD, "--out", pack, says=("not empty", "pack-r2"))
    (tmp_path / "pack-r2").mkdir()
    refused("survey", good, *HOLD, "--out", pack, says=("pack-r3",))
    assert [path.name for path in pack.iterdir()] == ["signed.pdf"]


def test_output_folder_that_can_not_be_written(tmp_path: Path, good: Path) -> None:
    blocked = tmp_path / "a file, not a folder"
    blocked.write_text("", encoding="utf-8")
    refused("survey", good, *HOLD, "--out", blocked / "pack", says=("can't be written",))
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a file, not a folder", "run.csv"]


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="root may write anywhere")
def test_read_only_output_folder(tmp_path: Path, good: Path) -> None:
    locked = tmp_path / "locked"
    locked.mkdir(mode=0o555)
    refused("survey", good, *HOLD, "--out", locked / "pack", says=("can't be written",))


def test_a_disk_that_fills_leaves_nothing(
    tmp_path: Path, good: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("qualify.pack.workbook.write_workbook", full)
    refused("survey", good, *HOLD, "--out", tmp_path / "pack", says=("No space left",))
    assert [path.name for path in tmp_path.iterdir()] == ["run.csv"]


def test_a_defect_of_ours_is_one_line(good: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object, **__: object) -> None:
        raise RuntimeError("a bug")

    monkeypatch.setattr("qualify.evaluate.read_recording", broken)
    ran = qualify("survey", good, *HOLD)
    assert ran.status == 4
    assert len(ran.err.strip().splitlines()) == 1
    details = Path(ran.err.rsplit("details: ", 1)[1].strip())
    assert "a bug" in details.read_text(encoding="utf-8")
    details.unlink()
