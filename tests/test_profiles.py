"""Requirement profiles: each loads and says its standing, takes effect, and gives way to the plan."""

from __future__ import annotations

import json
import runpy
from collections.abc import Callable
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from qualify.findings import Refusal
from qualify.inputs import InputFile
from qualify.plan.profile import Kind, ProfileChoice
from qualify.standards import OWN, STANDINGS, UncitedRowError, checked, profiles, rows
from qualify.standards.profile_rows import fault_of_ask, fault_of_profile
from qualify.standards.profiles import built_in, profile_of, read_profiles
from tests.support.command import Ran, qualify
from tests.support.surveys import plain_run, write_certificates, write_csv

DOCS = Path(__file__).parents[1] / "docs"
NINE = [0.0, 0.5, -0.5, 0.3, -0.3, 0.2, -0.2, 0.1, -0.1]
POINTS = [(0.0, 0.0), (250.0, 0.0)]
PLACES = [(300, 250, 200), *((x, y, z) for x in (50, 550) for y in (50, 450) for z in (50, 350))]
HEAD = """{top}
[plan]
title = "Invented plan"
accept_conditional = true
confirmed = [{confirmed}]

[work_zone]
shape = "box"
width_mm = 600
depth_mm = 500
height_mm = 400

[certificates]
file = "c.csv"
{profile}
[[surveys]]
name = "empty"
stage = "operation"
files = ["run.csv"]

[[surveys.holds]]
setpoint = 180
{hold}
{more}
"""
AMS = '[profile]\ndocument = "AMS2750"\nedition = "{edition}"\nclass = "2"'
OURS = """
[[profile]]
id = "ours"
document = "Our procedure 7"
edition = "3"
clause = "whole"
unit = "1"
standing = "own"
asks = ["ours-a", "ours-soak", "ours-gradient", "ours-interval", "ours-count", "ours-steady", "ours-over"]

[[ask]]
id = "ours-a"
document = "Our procedure 7"
edition = "3"
clause = "4.1"
kind = "limits"
class = "A"
half_width = 4.0
unit = "C"
standing = "own"

[[ask]]
id = "ours-soak"
document = "Our procedure 7"
edition = "3"
clause = "4.2"
kind = "soak"
least = 20
unit = "min"
standing = "own"

[[ask]]
id = "ours-gradient"
document = "Our procedure 7"
edition = "3"
clause = "4.3"
kind = "variant"
figure = "iec60068-3-5-gradient"
at_most = 2.0
unit = "C"
standing = "own"

[[ask]]
id = "ours-interval"
document = "Our procedure 7"
edition = "3"
clause = "4.4"
kind = "interval"
longest = 30
unit = "s"
standing = "own"

[[ask]]
id = "ours-count"
document = "Our procedure 7"
edition = "3"
clause = "4.5"
kind = "sensors"
count = 12
unit = "1"
standing = "own"

[[ask]]
id = "ours-steady"
document = "Our procedure 7"
edition = "3"
clause = "4.6"
kind = "steady"
within = 0.8
minutes = 10
unit = "C"
standing = "own"

[[ask]]
id = "ours-over"
document = "Our procedure 7"
edition = "3"
clause = "4.7"
kind = "figure"
figure = "overshoot"
at_most = 0.5
unit = "C"
standing = "M"
"""
OUR_PROFILE = '[profile]\ndocument = "Our procedure 7"\nclass = "A"'


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    write_csv(tmp_path / "run.csv", *plain_run(NINE))
    write_certificates(tmp_path / "c.csv", {f"T{n}": POINTS for n in range(1, 10)}, 0.2)
    return tmp_path


Runs = Callable[..., Ran]


@pytest.fixture
def run(folder: Path) -> Runs:
    count = 0

    def runs(
        profile: str = "",
        *,
        hold: str = "",
        more: str = "",
        confirmed: str = "",
        top: str = "",
        locations: int = 9,
    ) -> Ran:
        nonlocal count
        count += 1
        text = HEAD.format(profile=profile, hold=hold, more=more, confirmed=confirmed, top=top)
        for number, (x, y, z) in enumerate(PLACES[:locations], start=1):
            text += f'[[locations]]\nname = "L{number}"\nchannel = "T{number}"\nsensor = "S-T{number}"\n'
            text += f"x_mm = {x}\ny_mm = {y}\nz_mm = {z}\n"
        plan = folder / "plan.toml"
        plan.write_text(text, encoding="utf-8")
        return qualify("run", plan, "--json", "--out", folder / f"pack{count}")

    return runs


def departures(ran: Ran) -> list[str]:
    return [item["text"] for item in ran.record["deviations"] if item["kind"] == "departure"]


def asks(ran: Ran) -> dict[str, dict[str, str]]:
    (profile,) = ran.record["settings"]["profiles"].values()
    return {ask["id"]: ask for ask in profile["asks"]}


def without(monkeypatch: pytest.MonkeyPatch, gone: str) -> None:
    """Delete a row of the standards' tables, wherever it is asked for."""
    from qualify.standards import classes, counts

    def fewer(table: str, kind: str, also: tuple[str, ...] = ()) -> Any:
        return tuple(row for row in rows(table, kind, also) if row["id"] != gone)

    for module in (profiles, classes, counts):
        monkeypatch.setattr(module, "rows", fewer)


# ---- what is built in ----

DOCUMENTS = {
    "AMS2750": ["D", "E (2012)", "F (2020)", "G (2022)", "H (2024)"],
    "API 6A": ["edition not confirmed"],
    "ASTM E145": ["edition not confirmed"],
    "IEC 60068-3-5": ["edition not confirmed"],
    "DIN 12880": ["2007"],
    "DKD-R 5-7": ["edition not confirmed"],
    "custom": ["the plan"],
}


def test_editions_stand_side_by_side() -> None:
    """Frozen: a new edition is a new profile or a new name beside the old ones, never in their place."""
    found: dict[str, list[str]] = {}
    for profile in built_in():
        found.setdefault(profile.document, []).extend(profile.editions)
    assert found == DOCUMENTS


ASKS = {
    "ams2750-d": "ams2750-d-start ams2750-d-soak ams2750-interval ams2750-still-trending",
    "ams2750-e-to-h": "ams2750-uniformity-high ams2750-uniformity-low ams2750-corrections ams2750-high-limit",
    "api6a": "api6a-use-temperatures",
    "astm-e145": "astm-e145-scope",
    "iec60068-3-5": "iec60068-3-5-gradient iec60068-3-5-variation-in-space iec60068-3-5-fluctuation "
    "iec60068-3-5-window iec60068-3-5-interval",
    "din12880": "din12880-heat-up din12880-recovery",
    "dkd-r-5-7": "dkd-r-5-7-window dkd-r-5-7-readings dkd-r-5-7-interval dkd-r-5-7-settled "
    "dkd-r-5-7-inhomogeneity dkd-r-5-7-instability",
    "custom": "",
}


def test_each_profile_names_its_rows_and_each_row_its_standing() -> None:
    assert {item.head["id"]: " ".join(item.head["asks"]) for item in built_in()} == ASKS
    for profile in built_in():
        for name, kind, row in profile.rows_named():
            assert kind is not Kind.GONE, name
            assert row["standing"] in STANDINGS, name
            assert row["clause"] and row["unit"], name
    # "own" is what a user states: of the built-in heads only the one that asks nothing bears it.
    assert [item.document for item in built_in() if item.head["standing"] == OWN] == ["custom"]


@pytest.mark.parametrize("key", ["document", "edition", "clause", "unit", "standing"])
def test_a_built_in_row_without_its_citation_does_not_load(key: str) -> None:
    row = next(dict(row) for row in rows("profiles", "ask") if "edition" in row)
    assert checked([row], "profiles") == (row,)
    del row[key]
    with pytest.raises(UncitedRowError, match=key):
        checked([row], "profiles")


def test_the_edition_is_named_where_there_are_several() -> None:
    with pytest.raises(Refusal, match="names no edition of AMS2750"):
        profile_of(ProfileChoice(document="AMS2750"))
    with pytest.raises(Refusal, match="not known for edition 'J'"):
        profile_of(ProfileChoice(document="AMS2750", edition="J"))
    with pytest.raises(Refusal, match="did you mean 'AMS2750'"):
        profile_of(ProfileChoice(document="AMS 2750", edition="E"))
    assert profile_of(ProfileChoice(document="DIN 12880"))[1] == "2007"
    assert profile_of(ProfileChoice(document="AMS2750", edition="H"))[1] == "H (2024)"


# ---- from a profile to a verdict ----


@pytest.mark.parametrize("edition", ["E", "F", "G", "H"])
def test_ams2750_gives_limits_and_says_what_is_not_confirmed(run: Runs, edition: str) -> None:
    ran = run(AMS.format(edition=edition))
    assert ran.record["verdict"] == "pass", ran.survey["remarks"]
    assert [item["id"] for item in ran.survey["requirements"]] == ["ams2750-2-c-upper", "ams2750-2-c-lower"]
    assert ran.requirement("ams2750-2-c-upper")["limit_high"] == 6.0
    assert departures(ran) == []
    found = asks(ran)
    assert found["ams2750-high-limit"]["standing"] == "M"
    assert "decides nothing" in found["ams2750-high-limit"]["use"]
    assert found["ams2750-sensors"]["value"] == "9"
    assert f"AMS2750 {edition} (20" in found["ams2750-high-limit"]["citation"]
    assert any("[M]" in remark and "ams2750-high-limit" in remark for remark in ran.survey["remarks"])
    assert not set(found) & set(ASKS["ams2750-d"].split())


def test_an_unconfirmed_number_decides_nothing_and_a_confirmed_one_does(run: Runs, folder: Path) -> None:
    seconds, values = plain_run(NINE)
    values[45, 0] += 9.0
    write_csv(folder / "run.csv", seconds, values)
    hold = "start = 3600\nminutes = 30"
    ran = run(AMS.format(edition="H"), hold=hold)
    assert {item["decision"] for item in ran.survey["requirements"]} == {"pass"}
    ran = run(AMS.format(edition="H"), hold=hold, confirmed='"ams2750-high-limit"')
    found = ran.requirement("ams2750-high-limit")
    assert (found["decision"], found["standing"], found["limit_high"]) == ("fail", "M", 0.0)
    assert ran.record["verdict"] == "fail"


def test_revision_d_holds_its_record_form_only(run: Runs, folder: Path) -> None:
    ran = run(AMS.format(edition="D").replace('class = "2"', ""), hold="tolerance = 3")
    assert [item["id"] for item in ran.survey["requirements"]] == ["upper", "lower", "ams2750-still-trending"]
    assert ran.record["verdict"] == "pass"
    assert departures(ran) == []
    seconds, values = plain_run(NINE, step_s=150.0)
    write_csv(folder / "run.csv", seconds[30:], values[30:] + 0.0)
    ran = run(AMS.format(edition="D"), hold="tolerance = 60\nsoak_minutes = 20")
    told = "; ".join(departures(ran))
    assert "longest interval between readings 120 s: readings are up to 150 s apart" in told
    assert "at least this long 30 min: the plan's soak is 20 min" in told
    assert "is above it at its first reading" in told
    assert told.count("[C]") == 3


def test_the_plan_wins_over_the_profile(run: Runs) -> None:
    ran = run(AMS.format(edition="H"), hold="tolerance = 2")
    assert [item["id"] for item in ran.survey["requirements"]] == ["upper", "lower"]
    assert "the plan says it itself" in asks(ran)["ams2750-e-to-h-class"]["use"]
    ran = run(AMS.format(edition="H"), hold='class = { document = "API 6A", name = "general" }')
    assert ran.survey["requirements"][0]["id"] == "api6a-general-c-upper"


def test_a_hold_names_another_class_or_document(run: Runs) -> None:
    ran = run(AMS.format(edition="H"), hold='profile = { class = "5" }')
    assert ran.survey["requirements"][0]["id"] == "ams2750-5-c-upper"
    ran = run(AMS.format(edition="H"), hold='profile = { document = "API 6A", class = "tempering" }')
    assert ran.survey["requirements"][0]["id"] == "api6a-tempering-c-upper"
    # 120 L is below 0.3 m³: three locations would do.
    assert asks(ran)["api-6a-sensors"]["value"] == "3"


def test_no_class_named_is_not_shown(run: Runs) -> None:
    ran = run(AMS.format(edition="H").replace('class = "2"', ""))
    assert ran.record["verdict"] == "not shown"
    assert "no class of AMS2750 is named; there are 1, 2" in ran.survey["requirements"][0]["note"]


def test_fewer_locations_than_asked_are_a_departure(run: Runs) -> None:
    profile = '[profile]\ndocument = "DIN 12880"'
    ran = run(profile)
    assert ran.requirement("din12880-centre-to-180-upper")["location"] == "L1"
    (told,) = departures(ran)
    assert "27" in told and "9 locations were recorded" in told and "DIN 12880 2007" in told


def test_iec_prints_its_figures_and_judges_the_plans_limits(run: Runs) -> None:
    profile = '[profile]\ndocument = "IEC 60068-3-5"'
    ran = run(profile, hold="tolerance = 3")
    assert [item["id"] for item in ran.survey["requirements"]] == ["upper", "lower"]
    assert asks(ran)["iec60068-3-5-gradient"]["use"] == "printed only"
    assert asks(ran)["iec60068-3-5-gradient"]["standing"] == "C second-hand"
    assert "[M]" in " ".join(ran.survey["remarks"])
    limit = '[[requirements]]\nfigure = "variant:iec60068-3-5-gradient"\nat_most = {}'
    for at_most, decision in ((1.0, "pass"), (0.9, "fail")):
        ran = run(profile, hold="tolerance = 3", more=limit.format(at_most))
        found = ran.requirement("iec60068-3-5-gradient")
        assert found["decision"] == decision
        assert found["value"] == pytest.approx(1.0)
        assert found["standing"] == "C second-hand"
        value = next(item for item in ran.survey["variants"] if item["name"] == "temperature gradient")
        assert found["value"] == value["value_c"]


def test_variants_that_can_not_be_judged_are_not_shown(run: Runs) -> None:
    limit = '[[requirements]]\nfigure = "variant:{}"\nat_most = 5'
    for name, says in (
        ("iec60068-3-5-gradiant", "did you mean 'iec60068-3-5-gradient'"),
        ("jjf1101-fluctuation", 'add "jjf1101-fluctuation" to `confirmed`'),
        ("jjf1101-deviation-low", "a lower extreme is not limited from above"),
    ):
        ran = run(hold="tolerance = 3", more=limit.format(name))
        found = ran.requirement(name)
        assert found["decision"] == "not shown"
        assert says in found["note"]
    ran = run(
        hold="tolerance = 3", more=limit.format("jjf1101-fluctuation"), confirmed='"jjf1101-fluctuation"'
    )
    assert ran.requirement("jjf1101-fluctuation")["decision"] == "pass"


def test_a_variant_in_fahrenheit_is_held_in_the_plans_unit(run: Runs, folder: Path) -> None:
    """A gradient of 1 °C is 1.8 °F."""
    for at_most, decision in ((1.8, "pass"), (1.79, "fail")):
        limit = f'[[requirements]]\nfigure = "variant:iec60068-3-5-gradient"\nat_most = {at_most}'
        ran = run(hold="tolerance = 6\n", more=limit, top="")
        text = (folder / "plan.toml").read_text().replace("[plan]", '[plan]\nunits = "F"')
        (folder / "f.toml").write_text(text.replace("setpoint = 180", "setpoint = 356"))
        ran = qualify("run", folder / "f.toml", "--json", "--out", folder / f"f{at_most}")
        assert ran.requirement("iec60068-3-5-gradient")["decision"] == decision


def test_dkd_asks_for_thirty_readings_in_thirty_minutes(run: Runs, folder: Path) -> None:
    profile = '[profile]\ndocument = "DKD-R 5-7"'
    assert departures(run(profile, hold="tolerance = 3")) == []
    told = departures(run(profile, hold="tolerance = 3\nstart = 3600\nminutes = 20"))
    assert any("the window is 20 min long" in text for text in told)
    assert any("21 readings in the window" in text for text in told)
    write_csv(folder / "run.csv", *plain_run(NINE, step_s=90.0))
    # read every 90 s, but 30 readings and more: nothing is asked beyond that
    assert departures(run(profile, hold="tolerance = 3")) == []
    # a declared start takes the window's length from the profile
    ran = run(profile, hold="tolerance = 3\nstart = 5400")
    assert ran.survey["window"]["end_s"] - ran.survey["window"]["start_s"] == 1800.0
    assert asks(ran)["dkd-r-5-7-window"]["use"] == "taken from the profile"


def test_custom_asks_nothing_by_itself(run: Runs) -> None:
    ran = run('[profile]\ndocument = "custom"', hold="tolerance = 3")
    assert ran.record["verdict"] == "pass"
    assert run('[profile]\ndocument = "custom"').record["verdict"] == "not shown"


def test_no_certificates_is_a_departure_where_corrections_are_asked(run: Runs, folder: Path) -> None:
    run(AMS.format(edition="H"))
    text = (folder / "plan.toml").read_text().replace('[certificates]\nfile = "c.csv"', "")
    (folder / "bare.toml").write_text(text)
    ran = qualify("run", folder / "bare.toml", "--json", "--out", folder / "bare")
    assert any("the plan gives no certificates" in told for told in departures(ran))


# ---- a deleted row ----


@pytest.mark.parametrize(
    ("edition", "gone", "shown_as"),
    [
        ("H", "ams2750-2-c", "ams2750-h-(2024)-class-2"),
        ("H", "ams2750-high-limit", "ams2750-high-limit"),
        ("H", "ams2750-corrections", "ams2750-corrections"),
        ("D", "ams2750-d-soak", "ams2750-d-soak"),
        ("D", "ams2750-interval", "ams2750-interval"),
        ("D", "ams2750-still-trending", "ams2750-still-trending"),
    ],
)
def test_deleting_a_row_makes_its_requirement_not_shown(
    run: Runs, monkeypatch: pytest.MonkeyPatch, edition: str, gone: str, shown_as: str
) -> None:
    hold = "tolerance = 3" if edition == "D" else ""
    assert run(AMS.format(edition=edition), hold=hold).record["verdict"] == "pass"
    without(monkeypatch, gone)
    ran = run(AMS.format(edition=edition), hold=hold)
    assert ran.requirement(shown_as)["decision"] == "not shown"
    assert ran.record["verdict"] == "not shown"


def test_deleting_the_number_of_sensors_makes_it_not_shown(
    run: Runs, monkeypatch: pytest.MonkeyPatch
) -> None:
    without(monkeypatch, "dkd-r-5-7-count")
    ran = run('[profile]\ndocument = "DKD-R 5-7"', hold="tolerance = 3")
    assert ran.requirement("dkd-r-5-7-sensors")["decision"] == "not shown"


# ---- a user's own ----


def test_a_users_profile_works_end_to_end_and_is_packed(run: Runs, folder: Path) -> None:
    (folder / "our profile.toml").write_text(OURS, encoding="utf-8")
    ran = run(OUR_PROFILE, top='profiles = ["our profile.toml"]')
    assert ran.status == 0, ran.err
    upper = ran.requirement("ours-a-upper")
    assert (upper["limit_high"], upper["decision"], upper["standing"]) == (4.0, "pass", "own")
    assert upper["citation"] == "Our procedure 7 3, 4.1"
    gradient = ran.requirement("ours-gradient")
    assert (gradient["decision"], gradient["limit_high"], gradient["standing"]) == ("pass", 2.0, "own")
    told = "; ".join(departures(ran))
    assert "12: 9 locations were recorded" in told
    assert "30 s: readings are up to 60 s apart" in told
    (settings,) = ran.record["settings"]["holds"].values()
    assert (settings["soak_minutes"], settings["steady_minutes"], settings["steady_within_c"]) == (
        20,
        10,
        0.8,
    )
    # its number from memory waits for confirmation as any other
    assert "ours-over" not in {item["id"] for item in ran.survey["requirements"]}
    assert ("our profile.toml", "profile") in {(i["path"], i["role"]) for i in ran.record["inputs"]}
    pack = folder / "pack1"
    assert (pack / "inputs" / "our profile.toml").read_text(encoding="utf-8") == OURS
    assert qualify("verify", pack).status == 0
    book = openpyxl.load_workbook(pack / "pack1.xlsx", read_only=True)
    words = [[cell.value for cell in row] for row in book["Definitions"].iter_rows()]
    row = next(row for row in words if row[0] == "ours-soak")
    assert row[1] == "Our procedure 7 3, 4.2 [own]"
    assert row[2] == "20 min"
    confirmed = run(OUR_PROFILE, top='profiles = ["our profile.toml"]', confirmed='"ours-over"')
    assert confirmed.requirement("ours-over")["decision"] == "fail"


def changed(old: str, new: str) -> str:
    assert old in OURS
    return OURS.replace(old, new, 1)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (changed('clause = "4.1"\n', ""), ("our.toml", "'ours-a'", "clause")),
        (changed('edition = "3"\nclause = "4.2"', 'clause = "4.2"'), ("'ours-soak'", "edition")),
        (changed('unit = "min"\nstanding = "own"', 'unit = "min"'), ("'ours-soak'", "standing")),
        (changed('standing = "M"', 'standing = "sure"'), ("'ours-over'", "standing", "must be one of")),
        (changed('unit = "min"', 'unit = "hours"'), ("'ours-soak'", "unit", "s, min")),
        (changed("half_width", "half_widht"), ("half_widht", "did you mean 'half_width'")),
        (changed("half_width = 4.0", "half_width = -4.0"), ("half_width", "above zero")),
        (changed("half_width = 4.0\n", ""), ("half_width", "percent_of_rise")),
        (changed('kind = "soak"', 'kind = "soack"'), ("kind", "did you mean 'soak'")),
        (changed('figure = "overshoot"', 'figure = "overshot"'), ("did you mean 'overshoot'",)),
        (changed("least = 20", 'least = "20"'), ("least", "a number")),
        (changed('"ours-soak", ', '"ours-soack", '), ("'ours-soack'", "did you mean 'ours-soak'")),
        (changed('id = "ours-soak"', 'id = "ours-a"'), ("'ours-a'", "two rows")),
        (changed('id = "ours-soak"', 'id = "ams2750-interval"'), ("'ams2750-interval'", "two rows")),
        (changed("[[profile]]", "[[profiles]]"), ("did you mean 'profile'",)),
        (changed("count = 12", "count = 12.5"), ("count", "whole number")),
        ("x = [", ("our.toml", "can't be read")),
        (
            OURS.replace("Our procedure 7", "AMS2750").replace('edition = "3"', 'edition = "D"'),
            ("'AMS2750'", "'D'", "twice"),
        ),
    ],
)
def test_a_faulty_profile_is_refused_by_file_row_and_key(
    run: Runs, folder: Path, text: str, says: tuple[str, ...]
) -> None:
    (folder / "our.toml").write_text(text, encoding="utf-8")
    ran = run(OUR_PROFILE, top='profiles = ["our.toml"]')
    assert ran.status == 3, ran.out
    for word in says:
        assert word in ran.err, ran.err
    assert not (folder / "pack1").exists()


def test_refusals_of_the_plans_own_keys(run: Runs) -> None:
    for profile, top, says in (
        ('[profile]\nclass = "2"', "", "profile.document"),
        ('[profile]\ndocument = "AMS2750"\nname = "2"', "", "profile.name"),
        ('[profile]\ndocument = "AMS9999"', "", "there is no profile 'AMS9999'"),
        (AMS.format(edition="H"), 'profiles = ["gone.toml"]', "gone.toml"),
    ):
        ran = run(profile, top=top)
        assert ran.status == 3
        assert says in ran.err


def test_a_plan_without_a_profile_has_none_in_its_record(run: Runs) -> None:
    ran = run(hold="tolerance = 3")
    assert "profiles" not in ran.record["settings"]
    assert "profile" not in json.dumps(ran.record["surveys"])
    # the built-in defaults hold, as before profiles were; one that asks nothing changes nothing else
    (settings,) = ran.record["settings"]["holds"].values()
    assert (settings["soak_minutes"], settings["steady_minutes"], settings["steady_within_c"]) == (30, 5, 0.5)
    other = run('[profile]\ndocument = "custom"', hold="tolerance = 3")
    taken = other.record["settings"].pop("profiles")
    assert [item["asks"] for item in taken.values()] == [[]]
    for key in ("settings", "verdict", "surveys", "deviations", "steps", "plan"):
        expected = dict(ran.record)[key]
        found = other.record[key]
        if key == "settings":
            found = {name: value for name, value in found.items() if name != "profiles"}
        assert json.dumps(found).replace("pack2", "pack1") == json.dumps(expected), key


# ---- pages ----


def test_the_page_of_profiles_is_up_to_date() -> None:
    made: dict[str, Any] = runpy.run_path(str(DOCS / "make_profiles_page.py"))
    assert (DOCS / "profiles.md").read_text(encoding="utf-8") == made["page"]()


def test_the_pages_example_of_a_profile_reads() -> None:
    text = (DOCS / "profiles.md").read_text(encoding="utf-8")
    block = text.split("```toml\n")[1].split("```")[0]
    (profile,) = read_profiles(InputFile("our.toml", Path("our.toml"), block.encode(), "", "profile"))
    assert len(profile.rows_named()) >= 5
    assert all(fault_of_ask(row) is None for row in profile.own_rows.values())
    assert fault_of_profile(profile.head) is None
