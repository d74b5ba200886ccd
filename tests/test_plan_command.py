"""`qualify plan`: sensors placed, a plan begun, a plan checked before there are readings."""

from __future__ import annotations

import json
import re
import shlex
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from qualify.cautions import SURVEY_CAUTIONS
from qualify.inputs import load
from qualify.plan.model import ClassChoice, Plan
from qualify.plan.reading import read_plan
from tests.support.command import Ran, qualify

TOP = Path(__file__).parents[1]
BOX = ("--width-mm", 600, "--depth-mm", 500, "--height-mm", 400)
AMS = ("--document", "AMS2750", "--edition", "H", "--class", "2")


def read(path: Path) -> Plan:
    return read_plan(load(path, "plan"))


def new(path: Path, *words: object) -> Plan:
    done = qualify("plan", "new", *words, "--out", path)
    assert done.status == 0, done.err
    return read(path)


# ---- place ----


def test_place_prints_number_places_and_what_is_left_unwatched() -> None:
    done = qualify("plan", "place", *BOX, *AMS)
    assert done.status == 0
    assert "Sensors asked for: 9 (AMS2750 H (2024)" in done.out
    assert re.search(r"^back-right-upper +550 +450 +360$", done.out, re.MULTILINE)
    assert "Farthest from every sensor: x 300, y 0, z 112 mm, 265 mm from the nearest" in done.out
    assert "no published source" in done.out


def test_place_as_json_agrees_with_the_words() -> None:
    found = json.loads(qualify("plan", "place", *BOX, *AMS, "--json").out)
    assert found["required"]["decides"] == 9
    assert found["inset_mm"] == [50, 50, 40]
    assert [place["name"] for place in found["places"]][:2] == ["front-left-lower", "front-right-lower"]
    assert found["farthest"]["distance_mm"] == pytest.approx(264.97, abs=0.01)
    assert found["work_zone"]["volume_l"] == pytest.approx(120)


def test_a_number_from_memory_is_placed_and_said_but_needs_confirming() -> None:
    big = ("--width-mm", 3000, "--depth-mm", 2000, "--height-mm", 1500, *AMS)
    unsure = qualify("plan", "place", *big)
    assert "Sensors asked for: 9 (" in unsure.out
    assert "16 stated, but the number is from memory, not confirmed" in unsure.out
    assert '"ams2750-count-to-400-classes-1-2"' in unsure.out
    sure = qualify("plan", "place", *big, "--confirmed", "ams2750-count-to-400-classes-1-2", "--json").record
    assert sure["required"]["decides"] == 16
    assert sure["required"]["obstacle"] is None
    assert len(sure["places"]) == 16


def test_place_as_lines_is_toml() -> None:
    import tomllib

    done = qualify("plan", "place", "--shape", "cylinder", "--diameter-mm", 500, "--height-mm", 800,
                   "--count", 5, "--lines")  # fmt: skip
    found = tomllib.loads(done.out)["locations"]
    assert [item["channel"] for item in found] == ["CH01", "CH02", "CH03", "CH04", "CH05"]
    assert found[-1]["name"] == "centre"
    assert (found[-1]["x_mm"], found[-1]["z_mm"]) == (250, 400)


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ((*BOX,), "--count"),
        (("--width-mm", 600, "--depth-mm", 500, "--count", 9), "--height-mm"),
        ((*BOX, "--diameter-mm", 3, "--count", 9), "--diameter-mm"),
        (("--shape", "cylinder", "--height-mm", 500, "--count", 9), "--diameter-mm"),
        (("--shape", "ball", *BOX, "--count", 9), "ball"),
        ((*BOX[:-1], 0, "--count", 9), "--height-mm"),
        ((*BOX[:-1], "nan", "--count", 9), "nan"),
        ((*BOX, "--document", "AMS275"), "did you mean 'AMS2750'"),
        ((*BOX, *AMS, "--confirmed", "ams"), "ams2750-count-to-225"),
        ((*BOX, "--count", 0), "--count"),
    ],
)
def test_place_called_wrongly(words: tuple[object, ...], says: str) -> None:
    done = qualify("plan", "place", *words)
    assert (done.status, done.out) == (2, "")
    assert says in re.sub(r"\s+", " ", done.err)


def test_an_inset_that_meets_itself_is_refused() -> None:
    done = qualify("plan", "place", *BOX, "--count", 9, "--inset-mm", 200)
    assert done.status == 3
    assert "mend: give an inset under half of the smallest dimension" in done.err


def test_a_picture_is_written_or_the_refusal_says_why(tmp_path: Path) -> None:
    picture = tmp_path / "placement.png"
    assert qualify("plan", "place", *BOX, "--count", 9, "--picture", picture).status == 0
    assert picture.read_bytes().startswith(b"\x89PNG")
    done = qualify("plan", "place", *BOX, "--count", 9, "--picture", tmp_path / "no" / "placement.png")
    assert done.status == 3
    assert "can't be written" in done.err


# ---- new ----


def test_a_starting_plan_reads_back(tmp_path: Path) -> None:
    plan = new(tmp_path / "plan.toml", "--setpoint", 120, "--setpoint", 180, "--tolerance", 3, *BOX, *AMS)
    assert [float(hold.setpoint) for hold in plan.surveys[0].holds] == [120.0, 180.0]
    hold = plan.surveys[0].holds[1]
    assert (hold.low, hold.high) == (-3.0, 3.0)
    assert hold.classes == (ClassChoice(document="AMS2750", edition="H", name="2"),)
    assert plan.work_zone is not None
    assert plan.work_zone.volume_l == pytest.approx(120)
    assert len(plan.locations) == 9
    assert plan.locations[0].channel == "CH01"
    assert plan.locations[0].position_mm == (50, 50, 40)
    assert plan.surveys[0].files == ("survey.csv",)
    assert plan.surveys[0].interval_s == 60
    assert plan.conditions["damper"] == ""


def test_a_starting_plan_in_fahrenheit_for_a_cylinder(tmp_path: Path) -> None:
    plan = new(
        tmp_path / "plan.toml",
        *("--setpoint", 356, "--low", -5, "--high", 3.5, "--units", "F", "--count", 11, "--inset-mm", 30),
        *("--shape", "cylinder", "--diameter-mm", 700.5, "--height-mm", 900, "--file", 'a "b".csv'),
        *("--title", "Ofen „Süd“ \\ 1"),
    )
    hold = plan.surveys[0].holds[0]
    assert float(hold.setpoint) == pytest.approx(180)
    assert (hold.low, hold.high) == pytest.approx((-5 / 1.8, 3.5 / 1.8))
    assert plan.work_zone is not None
    assert (plan.work_zone.shape, plan.work_zone.width_mm) == ("cylinder", 700.5)
    assert len(plan.locations) == 11
    assert plan.title == "Ofen „Süd“ \\ 1"
    assert plan.surveys[0].files == ('a "b".csv',)


def test_a_starting_plan_carries_every_caution_and_never_promises(tmp_path: Path) -> None:
    text = qualify("plan", "new", "--setpoint", 180, "--tolerance", 3, *BOX, "--count", 9).out
    words = " ".join(text.replace("#", " ").split())
    for caution in SURVEY_CAUTIONS:
        assert " ".join(caution.split()) in words
    assert not re.search(r"\bsafe", text, re.IGNORECASE)


def test_what_is_to_be_confirmed_stands_in_the_plan(tmp_path: Path) -> None:
    text = qualify(
        "plan", "new", "--setpoint", 350, "--units", "F", *BOX[:-1], 40000, "--document", "AMS2750",
        "--edition", "H", "--class", "3",
    ).out  # fmt: skip
    line = next(line for line in text.splitlines() if "not confirmed yet here" in line)
    assert "ams2750-3-f" in line
    assert "ams2750-count-to-600-classes-3-6" in text


def test_a_plan_is_never_written_over(tmp_path: Path) -> None:
    path = tmp_path / "plan.toml"
    path.write_text("approved", encoding="utf-8")
    done = qualify("plan", "new", "--setpoint", 180, "--tolerance", 3, *BOX, "--count", 9, "--out", path)
    assert done.status == 3
    assert path.read_text(encoding="utf-8") == "approved"
    lost = qualify("plan", "new", "--setpoint", 180, "--tolerance", 3, *BOX, "--count", 9, "--out",
                   tmp_path / "no" / "plan.toml")  # fmt: skip
    assert lost.status == 3
    assert "can't be written" in lost.err


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ((*BOX, "--count", 9), "--tolerance"),
        ((*BOX, "--count", 9, "--tolerance", -1), "negative"),
        ((*BOX, "--count", 9, "--tolerance", 1, "--low", -1), "--tolerance"),
        ((*BOX, "--count", 9, "--low", -1), "--low"),
        ((*BOX, "--count", 9, "--low", 2, "--high", 1), "--low"),
        ((*BOX, "--count", 9, "--tolerance", 3, "--class", "2"), "--document"),
    ],
)
def test_new_called_wrongly(words: tuple[object, ...], says: str) -> None:
    done = qualify("plan", "new", "--setpoint", 180, *words)
    assert (done.status, done.out) == (2, "")
    assert says in done.err


# ---- check ----

PEOPLE = """\
author = { name = "A. Example", date = 2026-02-01 }
reviewer = { name = "B. Example", date = 2026-02-02 }
approver = { name = "C. Example", date = 2026-02-03 }
surveyor = { name = "D. Example", date = 2026-03-02 }
"""
HEADER = "sensor,temperature,correction,expanded_uncertainty,coverage_factor,unit,calibrated,due,certificate"


def certificates(
    *,
    count: int = 9,
    temperatures: tuple[float, ...] = (20, 100, 200),
    uncertainty: float = 0.4,
    calibrated: str = "2026-01-10",
    due: str = "2027-01-10",
) -> str:
    lines = [
        f"S-{number:02d},{temperature},-0.2,{uncertainty},2,C,{calibrated},{due},INV-{number}"
        for number in range(1, count + 1)
        for temperature in temperatures
    ]
    return "\n".join([HEADER, *lines, ""])


class Filled:
    """A starting plan with everything filled in, and its certificates; what a test changes is its own."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / "plan.toml"
        new(self.path, "--setpoint", 180, *BOX, *AMS)
        text = self.path.read_text(encoding="utf-8")
        text = re.sub(r"^# (author|reviewer|approver|surveyor) .*\n", "", text, flags=re.MULTILINE)
        text = text.replace("confirmed = []\n", f"confirmed = []\n{PEOPLE}")
        for number in range(1, 10):
            text = text.replace('sensor = ""', f'sensor = "S-{number:02d}"', 1)
        text = text.replace('type = ""', 'type = "K"')
        text = text.replace("# [certificates]", '[certificates]\nfile = "certificates.csv"\n#')
        text = text.replace('certificate = ""\n', 'certificate = "INV-L"\ndue = 2026-12-01\n')
        head, _, rest = text.partition("[conditions]\n")
        conditions, blank, tail = rest.partition("\n\n")
        self.text = head + "[conditions]\n" + conditions.replace('""', '"noted"') + blank + tail
        self.certificates = certificates()

    def change(self, old: str, fresh: str) -> None:
        assert old in self.text, old
        self.text = self.text.replace(old, fresh, 1)

    def check(self, *words: object) -> Ran:
        self.path.write_text(self.text, encoding="utf-8")
        (self.path.parent / "certificates.csv").write_text(self.certificates, encoding="utf-8")
        return qualify("plan", "check", self.path, "--json", *words)

    def missing(self, *words: object) -> list[dict[str, Any]]:
        done = self.check(*words)
        found = [point for point in done.record["points"] if point["state"] == "missing"]
        assert done.status == (1 if found else 0)
        assert done.record["ready"] == (not found)
        assert all(point["why"] and point["do"] for point in found)
        return found


@pytest.fixture
def filled(tmp_path: Path) -> Filled:
    return Filled(tmp_path)


def test_a_filled_plan_is_ready_before_there_are_readings(filled: Filled) -> None:
    assert filled.missing() == []
    record = filled.check().record
    assert record["on"] == "2026-03-02", "the surveyor's day"
    abouts = [point["about"] for point in record["points"] if point["state"] == "ready"]
    assert abouts == [
        "people",
        "limits of 180 °C",
        "locations",
        "number of sensors",
        "places of sensors",
        "certificates' dates",
        "certificates at 180 °C",
        "uncertainty at 180 °C",
        "reading interval",
        "instruments",
        "conditions",
    ]
    listed = qualify("plan", "check", filled.path)
    assert listed.status == 0
    assert "nothing is missing" in listed.out
    assert "[ ]" not in listed.out
    assert not re.search(r"\bsafe", listed.out, re.IGNORECASE)


def test_an_empty_starting_plan_says_what_it_lacks(tmp_path: Path) -> None:
    new(tmp_path / "plan.toml", "--setpoint", 180, *BOX, *AMS)
    done = qualify("plan", "check", tmp_path / "plan.toml", "--on", "2026-03-02")
    assert done.status == 1
    lines = done.out.splitlines()
    assert lines[0] == "plan.toml, for a survey on 2026-03-02"
    assert [line.split(":")[0] for line in lines if line.startswith("[ ]")] == [
        "[ ] people",
        "[ ] locations",
        "[ ] certificates",
        "[ ] instruments",
    ]


@pytest.mark.parametrize(
    ("old", "fresh", "about", "says"),
    [
        ("approver =", "# approver =", "people", "no approver"),
        ("date = 2026-02-03 }", "date = 2026-03-03 }", "people", "dated after the survey"),
        ('"B. Example", date = 2026-02-02', '"B. Example"', "people", "without a day: reviewer"),
        ("confirmed = []", 'confirmed = ["ams2750-count"]', "confirmed rows", "no row of a standard"),
        ('edition = "H", name = "2"', 'edition = "H", name = "7"', "limits of 180 °C", "no class '7'"),
        ("class = {", "# class = {", "limits of 180 °C", "neither a tolerance nor a class"),
        ('sensor = "S-04"', 'sensor = ""', "locations", "without a sensor: back-right-lower"),
        ("x_mm = 550\ny_mm = 450\nz_mm = 360", "x_mm = 650\ny_mm = 450\nz_mm = 360", "places of sensors",
         "outside the work zone: back-right-upper"),
        ("x_mm = 550\ny_mm = 450\nz_mm = 360", "x_mm = 390\ny_mm = 450\nz_mm = 360", "places of sensors",
         "back-right-upper"),
        ("x_mm = 300\ny_mm = 250\nz_mm = 200", "x_mm = 50\ny_mm = 50\nz_mm = 40", "places of sensors",
         "stand at one place"),
        ("width_mm = 600", "width_mm = 6e5", "places of sensors", "no location within"),
        ("interval_s = 60", "interval_s = 121", "reading interval", "at most 120 s asked for (AMS2750 D"),
        ("due = 2026-12-01", "due = 2026-03-01", "instruments", "expired on 2026-03-01"),
        ('certificate = "INV-L"', 'certificate = ""', "instruments", "names no certificate"),
        ('file = "certificates.csv"', 'file = "other.csv"', "certificates", "no file"),
    ],
)  # fmt: skip
def test_each_thing_missing_is_named(filled: Filled, old: str, fresh: str, about: str, says: str) -> None:
    filled.change(old, fresh)
    found = filled.missing()
    assert any(point["about"] == about and says in point["text"] for point in found), found


def test_eight_sensors_are_too_few_for_the_document(filled: Filled) -> None:
    head, _, tail = filled.text.partition('[[locations]]\nname = "centre"')
    filled.text = head + tail[tail.index("\n# Channels") :]
    filled.certificates = certificates(count=8)
    found = {point["about"]: point for point in filled.missing()}
    assert "8 locations; 9 asked for at 120 L (AMS2750" in found["number of sensors"]["text"]
    assert found["number of sensors"]["do"].startswith("add 1;")


def test_a_number_from_memory_is_only_to_be_known_until_confirmed(filled: Filled) -> None:
    filled.change("height_mm = 400", "height_mm = 40000")
    record = filled.check().record
    states = {(p["about"], p["state"]) for p in record["points"]}
    assert ("number of sensors", "ready") in states
    assert ("number of sensors", "note") in states
    filled.change("confirmed = []", 'confirmed = ["ams2750-count-to-600-classes-1-2"]')
    found = [point["text"] for point in filled.missing() if point["about"] == "number of sensors"]
    assert len(found) == 1
    assert "19 asked for" in found[0]


@pytest.mark.parametrize(
    ("day", "missing"),
    [("2027-01-10", False), ("2027-01-11", True), ("2026-01-10", False), ("2026-01-09", True)],
)
def test_certificates_are_in_force_from_calibration_to_due_day(
    filled: Filled, day: str, missing: bool
) -> None:
    abouts = [point["about"] for point in filled.missing("--on", day)]
    assert ("certificates' dates" in abouts) == missing


@pytest.mark.parametrize(
    ("temperatures", "says"),
    [
        ((20, 170), "don't cover 180 °C"),
        ((20, 180.2), "not the whole band round it"),
        ((20, 186.1), "not the whole band round it"),
        ((20, 186.2), None),
        ((174.2, 200), None),
        ((174.3, 200), "not the whole band round it"),
    ],
)
def test_certificates_must_reach_over_the_set_point_and_its_band(
    filled: Filled, temperatures: tuple[float, ...], says: str | None
) -> None:
    # Corrections are −0.2 °C: at 186 °C, the upper limit, a sensor indicates 186.2 °C.
    filled.certificates = certificates(temperatures=temperatures)
    found = [point["text"] for point in filled.missing() if point["about"] == "certificates at 180 °C"]
    assert [says in text for text in found if says] == ([True] if says else [])
    assert (not found) == (says is None)


def test_the_plan_s_reach_counts(filled: Filled) -> None:
    filled.certificates = certificates(temperatures=(20, 170))
    filled.change(
        'file = "certificates.csv"', 'file = "certificates.csv"\nreach = 20\nreach_uncertainty = 0.5'
    )
    assert filled.missing() == []


@pytest.mark.parametrize(
    ("acceptance", "uncertainty", "says"),
    [
        (None, 2.0, None),
        (None, 2.01, "at most 0.33 (uncertainty_share)"),
        ("guarded", 2.01, None),
        ("guarded", 6.0, "no reading could pass"),
        ("simple", 2.01, "at most 0.33 (uncertainty_share)"),
    ],
)
def test_the_uncertainty_is_held_against_the_ratio_that_the_plan_asks_for(
    filled: Filled, acceptance: str | None, uncertainty: float, says: str | None
) -> None:
    if acceptance is not None:
        filled.change("confirmed = []", f'confirmed = []\nacceptance = "{acceptance}"')
    filled.certificates = certificates(uncertainty=uncertainty)
    found = [point["text"] for point in filled.missing()]
    assert len(found) == (says is not None)
    assert all(says in text for text in found if says)


def test_certificates_that_meet_nothing_or_are_missing_are_named(filled: Filled) -> None:
    filled.certificates = certificates(count=10)
    assert "S-10" in filled.missing()[0]["text"]
    filled.certificates = certificates(count=8)
    assert "no certificate for the sensor or channel at: centre" in filled.missing()[0]["text"]
    filled.certificates = certificates().replace("correction", "deviation", 1)
    found = filled.missing()
    assert [point["about"] for point in found] == ["certificates"]
    assert "deviation" in found[0]["text"]


def test_a_profile_asks_for_sensors_and_interval_as_a_class_does(filled: Filled) -> None:
    filled.change(
        'class = { document = "AMS2750", edition = "H", name = "2" }',
        'profile = { document = "DIN 12880" }\ntolerance = 3',
    )
    found = {point["about"]: point["text"] for point in filled.missing()}
    assert list(found) == ["number of sensors"]
    assert "9 locations; 27 asked for at 120 L (DIN 12880 2007" in found["number of sensors"]
    filled.change('document = "DIN 12880"', 'document = "DKD-R 5-7"')
    filled.change("interval_s = 60", "interval_s = 61")
    assert [point["about"] for point in filled.missing()] == ["reading interval"]


def test_a_plan_that_cannot_be_read_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "plan.toml"
    path.write_text("[plan\n", encoding="utf-8")
    assert qualify("plan", "check", path).status == 3
    assert qualify("plan", "check", tmp_path / "none.toml").status == 3
    assert qualify("plan", "check", path, "--on", "2026-02-30").status == 2


def test_the_demo_plans_lack_nothing() -> None:
    for path in sorted((TOP / "demo_surveys").glob("*.toml")):
        done = qualify("plan", "check", path)
        assert done.status == 0, done.out


# ---- the page ----


def test_the_planning_page_s_commands_do_what_it_says(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    text = (TOP / "docs" / "planning.md").read_text(encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    commands = [
        line for block in re.findall(r"```sh\n(.*?)```", text, re.DOTALL) for line in block.splitlines()
    ]
    assert len(commands) == 8
    outputs = []
    for line in commands:
        words, _, remark = line.partition("#")
        status = int(remark.removeprefix(" exit status ")) if remark else 0
        done = qualify(*shlex.split(words)[1:])
        assert done.status == status, (line, done.err)
        outputs.append(done.out)
    shown = re.search(r"```text\n(.*?)```", text, re.DOTALL)
    assert shown is not None
    assert outputs[0].startswith(shown[1])
    assert (tmp_path / "placement.png").is_file()
    assert read(tmp_path / "classed.toml").surveys[0].holds[0].classes
    assert date(2026, 3, 2).isoformat() in outputs[-1]


def test_the_stages_of_a_starting_plan_are_keys_that_read(tmp_path: Path) -> None:
    """The lines that stand as comments read as a plan once their marks are taken away."""
    import re

    from qualify.inputs import InputFile
    from qualify.plan.reading import read_plan

    text = qualify("plan", "new", "--setpoint", 180, "--tolerance", 3, *BOX, "--count", 9).out
    assert text.count("CAUTION") == 4
    stages = text[text.index("# [installation]") :]
    shown = re.sub(r"^# ([\[\w].*)$", r"\1", stages, flags=re.MULTILINE)
    shown = shown.replace("changed = []", 'changed = ["limit"]').replace('= ""', '= "X"')
    plan = read_plan(InputFile("plan.toml", Path("plan.toml"), shown.encode(), "", "plan"))
    assert len(plan.challenges) == 1
    assert len(plan.operation_tests) == 2
