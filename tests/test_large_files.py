"""Files that would crowd out the memory are read where they lie, to the same readings."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from qualify import inputs
from qualify.inputs import LARGE, MappedBytes, load, view_of
from qualify.readings import read_recording, room, stamps
from tests.support.command import qualify
from tests.support.surveys import plain_run, write_csv


@pytest.fixture
def small_memory(monkeypatch: pytest.MonkeyPatch) -> None:
    """Make every file and table a large one."""
    monkeypatch.setattr(inputs, "LARGE", 100)
    monkeypatch.setattr(inputs, "_BLOCK", 64)
    monkeypatch.setattr(room, "IN_MEMORY_BYTES", 0)
    monkeypatch.setattr(stamps, "_BLOCK_CELLS", 7)


def test_a_mapped_file_gives_the_same_recording(tmp_path: Path, request: pytest.FixtureRequest) -> None:
    path = write_csv(tmp_path / "a.csv", *plain_run(), names=["Fühler", "B", "C"])
    before = read_recording([load(path, "readings")])
    request.getfixturevalue("small_memory")
    file = load(path, "readings")
    assert isinstance(file.content, MappedBytes)
    after = read_recording([file])
    assert isinstance(after.raw_c, np.memmap)
    np.testing.assert_array_equal(after.raw_c, before.raw_c)
    np.testing.assert_array_equal(after.seconds, before.seconds)
    assert (after.start, after.doubts, after.layouts) == (before.start, before.doubts, before.layouts)
    assert file.sha256 == inputs.hashlib.sha256(path.read_bytes()).hexdigest()


def test_a_survey_of_a_mapped_file_is_the_same(tmp_path: Path, request: pytest.FixtureRequest) -> None:
    path = write_csv(tmp_path / "a.csv", *plain_run())
    told = ("survey", path, "--setpoint", 180, "--tolerance", 3, "--json")
    before = qualify(*told)
    request.getfixturevalue("small_memory")
    after = qualify(*told, "--out", tmp_path / "pack")
    assert after.record["surveys"] == json.loads(before.out)["surveys"]
    assert (tmp_path / "pack" / "inputs" / "a.csv").read_bytes() == path.read_bytes()


@pytest.mark.usefixtures("small_memory")
@pytest.mark.parametrize("encoding", ["utf-8", "utf-16", "cp1252"])
@pytest.mark.parametrize("line_end", ["\n", "\r\n", "\r"])
def test_every_encoding_and_line_end(tmp_path: Path, encoding: str, line_end: str) -> None:
    rows = [f"2026-03-02 08:{minute:02d};2{minute % 7},5;21" for minute in range(40)]
    path = tmp_path / "a.csv"
    path.write_bytes(line_end.join(["Zeit;Fühler (°C);T2 (°C)", *rows, ""]).encode(encoding))
    recording = read_recording([load(path, "readings")])
    assert [channel.name for channel in recording.channels] == ["Fühler", "T2"]
    assert recording.raw_c[:8, 0].tolist() == [20.5, 21.5, 22.5, 23.5, 24.5, 25.5, 26.5, 20.5]
    assert len(recording.seconds) == 40


@pytest.mark.usefixtures("small_memory")
def test_the_map_answers_as_bytes_do(tmp_path: Path) -> None:
    data = b"ab\r\ncd\r\n" * 50 + b"end"
    (tmp_path / "a.txt").write_bytes(data)
    mapped = load(tmp_path / "a.txt", "readings").content
    assert isinstance(mapped, MappedBytes)
    assert (len(mapped), mapped[:], bytes(view_of(mapped))) == (len(data), data, data)
    for part in (b"\r\n", b"cd", b"end", b"x"):
        assert mapped.count(part) == data.count(part)
        assert mapped.find(part, 5) == data.find(part, 5)
        assert mapped.rfind(part) == data.rfind(part)
        assert (part in mapped) == (part in data)
    assert mapped.count(b"\r\n", 3, 391) == data.count(b"\r\n", 3, 391)
    assert mapped.startswith(b"ab") and mapped.startswith((b"x", b"ab")) and not mapped.startswith(b"b")
    assert mapped.endswith(b"end") and mapped.isascii() and not mapped.isspace()
    with pytest.raises(ValueError, match="not found"):
        mapped.index(b"x")


@pytest.mark.usefixtures("small_memory")
def test_containers_are_read_whole(tmp_path: Path) -> None:
    import gzip

    path = write_csv(tmp_path / "a.csv", *plain_run())
    (tmp_path / "a.csv.gz").write_bytes(gzip.compress(path.read_bytes()))
    file = load(tmp_path / "a.csv.gz", "readings")
    assert isinstance(file.content, bytes) and len(file.content) > 100
    assert len(read_recording([file]).channels) == 3


def test_the_bar_is_drawn_on_a_terminal_only(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from qualify import cli

    moments = iter([0.0, 0.5, 2.0, 3.0, 3.1])
    monkeypatch.setattr(cli.time, "monotonic", lambda: next(moments))
    monkeypatch.setattr(cli.sys.stderr, "isatty", lambda: True, raising=False)
    bar = cli.ReadingBar()
    for share in (0.1, 0.5, 0.75, 1.0):
        bar("a.csv", share)
    drawn = capsys.readouterr().err
    assert "10%" not in drawn
    assert "50%" in drawn and "75%" in drawn
    assert drawn.endswith("100%\n")
    assert LARGE == 1 << 28
