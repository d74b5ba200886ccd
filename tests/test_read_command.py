"""`qualify read`: what was understood, and that its plan lines pin it; options on the command line."""

from __future__ import annotations

import json
import re
import tomllib
from pathlib import Path

import numpy as np
import pytest

from qualify.inputs import InputFile, load
from qualify.plan.reading import read_plan
from qualify.readings import ReadOptions, read_recording
from qualify.readings.told import as_plain, from_plain
from tests.support.command import qualify
from tests.support.surveys import plain_run, write_csv

TOP = Path(__file__).parents[1]
GERMAN = (
    "Messung;Ofen 3\nBeginn;02.03.2026 08:00:00\n\nDatum;Zeit;T1;T2;O2\n;;°C;°C;%\n"
    "02.03.2026;08:00:00;20,5;21,25;20,9\n02.03.2026;08:00:30;20,75;OL;20,8\n02.03.2026;08:01:00;21;21,5;20,7\n"
    "Mittel;;20,75;21,4;20,8\n"
)


def printed_plan(text: str) -> dict[str, object]:
    """The plan lines that the command printed."""
    return tomllib.loads(text[text.index("[[surveys.loggers]]") :])


def test_it_prints_what_was_understood(tmp_path: Path) -> None:
    path = tmp_path / "ofen.csv"
    path.write_bytes(GERMAN.encode("cp1252"))
    said = qualify("read", path)
    assert said.status == 0
    assert "Windows-1252" in said.out
    assert re.search(r"decimal mark +comma", said.out)
    assert "ofen.csv, row 7, column 'T2': no reading: 'OL'" in said.out
    assert "what stands below the table was not read" in said.out
    told = printed_plan(said.out)["surveys"]["loggers"][0]
    assert told == {
        "files": ["ofen.csv"],
        "encoding": "cp1252",
        "delimiter": "semicolon",
        "decimal_mark": "comma",
        "thousands_mark": "none",
        "header_row": 4,
        "units_row": 5,
        "description_row": 0,
        "first_row": 6,
        "last_row": 8,
        "table": "wide",
        "time_columns": ["Datum", "Zeit"],
        "dates": "day-first",
    }


def test_its_plan_lines_read_the_file_the_same(tmp_path: Path) -> None:
    path = tmp_path / "ofen.csv"
    path.write_bytes(GERMAN.encode("cp1252"))
    lines = qualify("read", path).out
    lines = lines[lines.index("[[surveys.loggers]]") :]
    head = '[[surveys]]\nname = "a"\nstage = "operation"\nfiles = ["ofen.csv"]\n\n'
    text = head + lines + "\n[[surveys.holds]]\nsetpoint = 20\ntolerance = 5\n"
    plan = read_plan(InputFile("plan.toml", Path("plan.toml"), text.encode(), "", "plan"))
    file = load(path, "readings")
    again = read_recording([file], plan.surveys[0].read, plan.surveys[0].loggers)
    first = read_recording([file])
    np.testing.assert_array_equal(again.raw_c, first.raw_c)
    np.testing.assert_array_equal(again.seconds, first.seconds)
    assert again.start == first.start
    assert again.pins == first.pins
    assert [channel.name for channel in again.others] == ["O2"]


def test_json_lists_every_doubt(tmp_path: Path) -> None:
    path = tmp_path / "ofen.csv"
    path.write_bytes(GERMAN.encode("cp1252"))
    document = json.loads(qualify("read", path, "--json").out)
    assert document["instants"] == 3
    assert document["pins"]["ofen.csv"]["decimal_mark"] == "comma"
    assert {doubt["kind"] for doubt in document["doubts"]} >= {"no-reading", "rows-below"}


def test_it_changes_nothing(tmp_path: Path) -> None:
    path = write_csv(tmp_path / "a.csv", *plain_run())
    before = sorted(tmp_path.rglob("*")), path.read_bytes()
    assert qualify("read", path).status == 0
    assert (sorted(tmp_path.rglob("*")), path.read_bytes()) == before


def test_told_words_go_to_plain_ones_and_back() -> None:
    text = (
        '[[surveys]]\nname = "a"\nstage = "operation"\nfiles = ["a.csv", "b/b.csv"]\nunits = "F"\n'
        'date = 2026-03-02\n[[surveys.loggers]]\nfiles = ["b.csv"]\nthermocouple = "k"\n'
        'reference_junction_channel = "CJ"\nshared_sensor = ["X", "a:Y"]\ncolumn_units = { "O 2" = "%" }\n'
        'units_row = 0\ntime_columns = ["Datum", "Zeit"]\nnot_readings = [32767, -9999.5]\nlogger = "rear"\n'
        "[[surveys.holds]]\nsetpoint = 20\ntolerance = 5\n"
    )
    survey = read_plan(InputFile("plan.toml", Path("plan.toml"), text.encode(), "", "plan")).surveys[0]
    for options in (survey.read, survey.loggers["b/b.csv"], ReadOptions()):
        assert from_plain(json.loads(json.dumps(as_plain(options)))) == options
    assert as_plain(survey.loggers["b/b.csv"])["shared_sensor"] == ["X", "a:Y"]


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        ('files = ["c.csv"]', "is no file of this survey"),
        ('files = ["a.csv"]\ndelimiter = "commma"', "did you mean 'comma'?"),
        ('files = ["a.csv"]\nthermocouple = "K"', "Millivolts need the reference junction"),
        ('files = ["a.csv"]\nreference_junction_c = 20', "belongs to a thermocouple"),
        ('files = ["a.csv"]\nclock_offset_s = 3\nshared_step = true', "another way to the clock"),
        ('files = ["a.csv"]\nheader_rows = 3', "did you mean 'header_row'?"),
        ('files = ["a.csv"]\nunits_row = -1', "a whole number from 0"),
    ],
)
def test_a_wrong_key_is_refused_with_what_would_do(lines: str, words: str, tmp_path: Path) -> None:
    write_csv(tmp_path / "a.csv", *plain_run())
    head = '[[surveys]]\nname = "a"\nstage = "operation"\nfiles = ["a.csv"]\n[[surveys.loggers]]\n'
    (tmp_path / "plan.toml").write_text(
        head + lines + "\n[[surveys.holds]]\nsetpoint = 180\ntolerance = 5\n", encoding="utf-8"
    )
    said = qualify("run", tmp_path / "plan.toml", "--out", tmp_path / "pack")
    assert said.status == 3
    assert words in said.err
    assert not (tmp_path / "pack").exists()


def test_a_survey_with_told_layout_is_verified_from_its_pack(tmp_path: Path) -> None:
    seconds, values = plain_run()
    body = "\n".join(
        ";".join([f"{second / 60:.4f}".replace(".", ","), *(f"{v:.2f}".replace(".", ",") for v in row)])
        for second, row in zip(seconds, values, strict=True)
    )
    path = tmp_path / "bare.txt"
    path.write_text("t;A;B;C\n" + body + "\n", encoding="utf-8")
    told = ("--time-column", "t", "--time-unit", "min", "--unit-of", "A=°C", "--unit-of", "B=°C")
    said = qualify(
        "survey",
        path,
        "--setpoint",
        180,
        "--tolerance",
        3,
        *told,
        "--unit-of",
        "C=°C",
        "--out",
        tmp_path / "p",
    )
    assert said.status in (0, 1), said.err
    record = json.loads((tmp_path / "p" / "record.json").read_text(encoding="utf-8"))
    assert record["settings"]["options"]["read"]["time_unit"] == "min"
    assert record["settings"]["read"]["survey"]["all files"]["time_unit"] == "min"
    checked = qualify("verify", tmp_path / "p")
    assert (checked.status, "no differences" in checked.out) == (0, True), checked.out


def test_an_option_for_a_file_that_is_not_there(tmp_path: Path) -> None:
    path = write_csv(tmp_path / "a.csv", *plain_run())
    assert qualify("read", path, "--clock", "b.csv=3").status == 2
    assert qualify("read", path, "--clock", "a.csv=soon").status == 2
    assert qualify("read", path, "--thermocouple", "K").status == 2
    assert qualify("read", path, "--date", "yesterday").status == 2
    assert qualify("read", path, "--delimiter", "dash").status == 2


def test_the_page_names_every_option_and_key() -> None:
    page = (TOP / "docs" / "reading.md").read_text(encoding="utf-8")
    for command in ("read", "survey"):
        shown = set(re.findall(r"^  (--[a-z-]+)", qualify(command, "--help").out, re.MULTILINE))
        if command == "read":
            missing = [option for option in shown - {"--json", "--help"} if f"`{option}" not in page]
            assert missing == []
        assert {option for option in re.findall(r"`(--[a-z-]+)", page) if option not in shown} == set()
    block = re.search(r"```toml\n(.*?)```", page, re.DOTALL)
    assert block is not None
    read_plan(InputFile("plan.toml", Path("plan.toml"), block[1].encode(), "", "plan"))
