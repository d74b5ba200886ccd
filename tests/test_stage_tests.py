"""The stages beside their surveys: challenges, record sheets, what is restored, in one record."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.support.command import Ran, qualify

SECONDS = np.arange(0.0, 301.0)


def challenge_file(
    folder: Path,
    *,
    trip: float = 190.0,
    delay_s: float = 2.0,
    restores_at: float | None = None,
    reset_s: float | None = 250.0,
    every: int = 1,
    answers: bool = True,
    purge_stops: bool = False,
) -> Path:
    """Air rises by 0.2 °C/s from 170 to 200 °C and falls again; a relay cuts the heat at the trip point."""
    air = np.where(SECONDS <= 150, 170 + 0.2 * SECONDS, 200 - 0.2 * (SECONDS - 150))
    tripped_s = (trip - 170) / 0.2 + delay_s
    on = tripped_s > SECONDS if answers else np.ones(SECONDS.size, dtype=bool)
    if restores_at is not None:
        on |= 150 + (200 - restores_at) / 0.2 <= SECONDS
    if reset_s is not None:
        on |= reset_s <= SECONDS
    purge = np.ones(SECONDS.size, dtype=bool)
    if purge_stops:
        purge[180:] = False
    lines = ["Elapsed (s),AIR (°C),HEAT,PURGE"]
    for at in range(0, SECONDS.size, every):
        lines.append(
            f"{SECONDS[at]:g},{air[at]:.2f},{'ein' if on[at] else 'aus'},{'open' if purge[at] else 'shut'}"
        )
    path = folder / "challenge.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


CHALLENGE = """
[[challenges]]
name = "Excess temperature"
kind = "over-temperature"
files = ["challenge.csv"]
quantity = "AIR"
limit = 190
trip_low = 187
trip_high = 193
{more}

[[challenges.answers]]
name = "heat off"
channel = "HEAT"
on = ["ein"]
off = ["aus"]
becomes = "off"
within_s = {within}
{answers}
"""

BY_HAND = 'restores = "by hand"\nreset_by_hand = 250\nobserve_s = 20'
PURGE = """
[[challenges.must_not]]
name = "purge stops"
channel = "PURGE"
on = ["open"]
off = ["shut"]
stays = "on"
"""


def run(folder: Path, text: str) -> Ran:
    (folder / "plan.toml").write_text('[plan]\ntitle = "invented"\n' + text, encoding="utf-8")
    return qualify("run", folder / "plan.toml", "--out", folder / "pack", "--json")


def challenged(folder: Path, *, more: str = BY_HAND, within: float = 5, answers: str = "") -> dict[str, Any]:
    ran = run(folder, CHALLENGE.format(more=more, within=within, answers=answers))
    assert ran.status in (0, 1), ran.err
    tests: list[dict[str, Any]] = ran.record["stages"][0]["tests"]
    return tests[0]


def decisions(test: dict[str, Any]) -> dict[str, str]:
    return {item["id"].removeprefix("excess-temperature-"): item["decision"] for item in test["requirements"]}


def test_a_protection_that_acts_as_it_must(tmp_path: Path) -> None:
    challenge_file(tmp_path)
    test = challenged(tmp_path, answers=PURGE)
    assert decisions(test) == {
        "heat-off": "pass",
        "trip-point": "pass",
        "restores": "pass",
        "purge-stops": "pass",
    }
    assert test["verdict"] == "pass"
    trip = test["figures"]["trip"]
    # It answered 2 s late while the air rose by 0.2 °C/s.
    assert trip["value"] == pytest.approx(190.4, abs=0.2)
    assert trip["least"] <= 190.4 <= trip["most"] + 1e-9
    late = test["figures"]["delays"][0]["delay"]
    assert late["least_s"] <= 2.0 <= late["most_s"]


@pytest.mark.parametrize(
    ("oven", "wrong", "decision"),
    [
        ({"trip": 196.0, "delay_s": 0.0}, "trip-point", "fail"),
        ({"delay_s": 9.0}, "heat-off", "fail"),
        ({"restores_at": 185.0, "reset_s": None}, "restores", "fail"),
        ({"answers": False, "reset_s": None}, "heat-off", "fail"),
        ({"purge_stops": True}, "purge-stops", "fail"),
        ({"every": 10}, "heat-off", "not shown"),
    ],
)
def test_what_goes_wrong_is_found(tmp_path: Path, oven: dict[str, Any], wrong: str, decision: str) -> None:
    challenge_file(tmp_path, **oven)
    test = challenged(tmp_path, answers=PURGE)
    assert decisions(test)[wrong] == decision
    assert test["verdict"] == ("fail" if decision == "fail" else "not shown")


def test_a_protection_that_restores_by_itself_is_no_excess_temperature_limit(tmp_path: Path) -> None:
    challenge_file(tmp_path, restores_at=185.0, reset_s=None)
    test = challenged(tmp_path)
    note = next(item["note"] for item in test["requirements"] if item["id"].endswith("restores"))
    assert "restores by itself is not one" in note


def test_a_thermostat_that_must_restore_by_itself(tmp_path: Path) -> None:
    challenge_file(tmp_path, restores_at=185.0, reset_s=None)
    more = 'restores = "by itself"\nreset_low = 183\nreset_high = 187\ndead_band_low = 3'
    test = challenged(tmp_path, more=more)
    assert decisions(test)["restores"] == "pass"
    assert decisions(test)["reset-value"] == "pass"
    assert decisions(test)["dead-band"] == "pass"


def test_answers_that_a_person_saw(tmp_path: Path) -> None:
    challenge_file(tmp_path)
    (tmp_path / "seen.csv").write_text(
        "challenge,answer,seen,observer,witness,time,remark\n"
        "Excess temperature,horn,yes,A. Example,B. Example,10:05,\n"
        "Excess temperature,lamp,,A. Example,B. Example,10:05,\n"
        "Excess temperature,message,no,A. Example,,10:05,\n",
        encoding="utf-8",
    )
    seen = "".join(
        f'\n[[challenges.answers]]\nname = "{name}"\nobserved = true\n'
        for name in ("horn", "lamp", "message", "latch")
    )
    text = CHALLENGE.format(more=BY_HAND, within=5, answers=seen)
    ran = run(tmp_path, '[operation]\nobserved = "seen.csv"\n' + text)
    found = decisions(ran.record["stages"][0]["tests"][0])
    assert (found["horn"], found["lamp"], found["message"], found["latch"]) == (
        "pass",
        "not shown",
        "fail",
        "not shown",
    )


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ('moved = "process"\nrated = 185', "past its rated limit"),
        ('moved = "process"', "no rated limit"),
        ('restores = "by itself"\nreset_by_hand = 250', "reset_by_hand"),
        ('quantity_ = "AIR"', "quantity_"),
    ],
)
def test_what_a_plan_must_not_ask(tmp_path: Path, more: str, said: str) -> None:
    challenge_file(tmp_path)
    ran = run(tmp_path, CHALLENGE.format(more=more, within=5, answers=""))
    assert ran.status == 3
    assert said in ran.err


def test_a_channel_that_is_not_there(tmp_path: Path) -> None:
    challenge_file(tmp_path)
    ran = run(tmp_path, CHALLENGE.format(more="", within=5, answers=PURGE.replace('"PURGE"', '"PURG"')))
    assert ran.status == 3
    assert "PURG" in ran.err and "PURGE" in ran.err


def test_fahrenheit_limits_of_a_challenge(tmp_path: Path) -> None:
    challenge_file(tmp_path)
    text = CHALLENGE.format(more=BY_HAND, within=5, answers="")
    for number in (187, 190, 193):
        text = text.replace(f"= {number}", f"= {number * 1.8 + 32:g}")
    (tmp_path / "plan.toml").write_text('[plan]\ntitle = "invented"\nunits = "F"\n' + text, encoding="utf-8")
    ran = qualify("run", tmp_path / "plan.toml", "--out", tmp_path / "pack", "--json")
    assert decisions(ran.record["stages"][0]["tests"][0])["trip-point"] == "pass"


HEAD = (
    "item,requirement,low,high,expected,unit,found,unit_found,instrument,due,by,when,remark,evidence,place,"
    "simulated,id\n"
)


def test_an_installation_record(tmp_path: Path) -> None:
    (tmp_path / "photo.txt").write_text("invented", encoding="utf-8")
    (tmp_path / "installation.csv").write_text(
        HEAD
        + "Supply voltage,nameplate,380,420,,V,402,,M-4,2027-01-31,A. Example,2026-03-02,,photo.txt,,,E-1\n"
        "Water flow,maker's,20,,,L/min,6.2,gpm,F-2,2027-01-31,A. Example,2026-03-02,,,site,,W-1\n"
        "Drain,open,,,yes,,,,,,,,,,site,,D-1\n"
        "Gas,never exceed,3,6,,bar g,5,,G-9,2025-01-31,A. Example,2026-03-02,,,factory,yes,G-1\n",
        encoding="utf-8",
    )
    ran = run(tmp_path, '[installation]\nrecords = ["installation.csv"]\n')
    stage = ran.record["stages"][0]
    assert stage["stage"] == "installation"
    found = {item["id"]: item["decision"] for item in stage["tests"][0]["requirements"]}
    assert found == {"E-1": "pass", "W-1": "pass", "D-1": "not shown", "G-1": "not shown"}
    assert stage["verdict"] == "not shown"
    assert len(stage["owed"]) == 2
    assert {item["path"] for item in ran.record["inputs"]} == {"plan.toml", "installation.csv", "photo.txt"}
    assert any("due" in item["text"] for item in ran.record["deviations"] if item["kind"] == "departure")
    assert qualify("verify", tmp_path / "pack").status == 0


def test_evidence_is_found_from_wherever_the_command_is_called(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "oven").mkdir()
    (tmp_path / "oven" / "photo.txt").write_text("invented", encoding="utf-8")
    row = "Drain,open,,,yes,,yes,,,,A. Example,2026-03-02,,photo.txt,site,,D-1\n"
    (tmp_path / "oven" / "i.csv").write_text(HEAD + row, encoding="utf-8")
    plan = '[plan]\ntitle = "x"\n[installation]\nrecords = ["i.csv"]\n'
    (tmp_path / "oven" / "plan.toml").write_text(plan, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    ran = qualify("run", "oven/plan.toml", "--out", "pack", "--json")
    assert ran.status == 0, ran.err
    assert qualify("verify", "pack").status == 0


def test_one_line_that_is_not_restored_fails_the_stage(tmp_path: Path) -> None:
    challenge_file(tmp_path)
    (tmp_path / "restored.csv").write_text(
        "changed,as_found,as_tested,as_left,by,witness,when,challenge,remark\n"
        "limit of the excess protection,230,190,230,A. Example,B. Example,2026-03-02 11:00,,\n"
        "bridge on door switch,none,bridged,,A. Example,,,,\n",
        encoding="utf-8",
    )
    text = CHALLENGE.format(more=BY_HAND, within=5, answers="") + (
        '[return_to_service]\nchanged = ["limit of the excess protection", "bridge on door switch"]\n'
        'file = "restored.csv"\n'
    )
    ran = run(tmp_path, text)
    stage = ran.record["stages"][0]
    assert stage["verdict"] == "fail"
    assert len(stage["not_restored"]) == 1 and "door switch" in stage["not_restored"][0]
    assert stage["remarks"][0].startswith("do not use")


def test_stages_keep_their_order_and_say_who_accepted_open_items(tmp_path: Path) -> None:
    challenge_file(tmp_path)
    (tmp_path / "installation.csv").write_text(
        HEAD + "Drain,open,,,yes,,,,,,,,,,site,,D-1\n", encoding="utf-8"
    )
    challenge = CHALLENGE.format(more=BY_HAND, within=5, answers="")
    for accepted, verdict, words in (
        ("", "conditional", "names nobody"),
        ('proceed_with_open_items = "C. Example, 2026-03-01"\n', "pass", "accepted by C. Example"),
    ):
        folder = tmp_path / verdict
        folder.mkdir()
        for name in ("challenge.csv", "installation.csv"):
            (folder / name).write_bytes((tmp_path / name).read_bytes())
        ran = run(folder, f'[installation]\nrecords = ["installation.csv"]\n{accepted}' + challenge)
        first, second = ran.record["stages"]
        assert (first["stage"], second["stage"]) == ("installation", "operation")
        assert first["open_items"]
        assert second["verdict"] == verdict
        assert words in second["remarks"][0]


def test_a_disposition_is_read_back_and_changes_nothing(tmp_path: Path) -> None:
    challenge_file(tmp_path, delay_s=9.0)
    challenge = CHALLENGE.format(more=BY_HAND, within=5, answers="")
    before = run(tmp_path, challenge).record
    (tmp_path / "disposed.csv").write_text(
        "id,cause,action,by,date,closed\nN1,relay worn,renewed,C. Example,2026-03-05,yes\n", encoding="utf-8"
    )
    (tmp_path / "plan.toml").write_text(
        '[plan]\ntitle = "invented"\ndispositions = "disposed.csv"\n' + challenge, encoding="utf-8"
    )
    after = qualify("run", tmp_path / "plan.toml", "--out", tmp_path / "pack2", "--json").record
    assert after["dispositions"][0]["cause"] == "relay worn"
    assert after["stages"] == before["stages"]
    assert after["deviations"] == before["deviations"]
    assert after["verdict"] == before["verdict"] == "fail"


def test_a_gauge_that_is_logged_alone(tmp_path: Path) -> None:
    """Gas pressure falls; the valve closes at 2.5 bar and opens again at 3 bar. No temperature at all."""
    seconds = np.arange(0.0, 121.0)
    pressure = np.where(seconds <= 60, 4 - seconds / 30, 2 + (seconds - 60) / 30)
    closed = (pressure < 2.5) | ((seconds > 45) & (pressure < 3.0))
    lines = ["Elapsed (s),PRESSURE (bar),VALVE"]
    lines += [
        f"{t:g},{p:.3f},{'zu' if c else 'auf'}" for t, p, c in zip(seconds, pressure, closed, strict=True)
    ]
    (tmp_path / "gas.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    text = """
[[challenges]]
name = "Low gas pressure"
kind = "low gas pressure"
files = ["gas.csv"]
quantity = "PRESSURE"
driven = "downwards"
limit = 2.5
trip_low = 2.3
trip_high = 2.6
restores = "by itself"
reset_low = 2.8
reset_high = 3.2
rated = 1.5

[[challenges.answers]]
name = "valve closes"
channel = "VALVE"
on = ["auf"]
off = ["zu"]
becomes = "off"
within_s = 3
"""
    ran = run(tmp_path, text)
    assert ran.status == 0, ran.err
    (test,) = ran.record["stages"][0]["tests"]
    assert {item["id"]: item["decision"] for item in test["requirements"]} == {
        "low-gas-pressure-valve-closes": "pass",
        "low-gas-pressure-trip-point": "pass",
        "low-gas-pressure-restores": "pass",
        "low-gas-pressure-reset-value": "pass",
        "low-gas-pressure-rated-limit": "pass",
    }
    ran = qualify("verify", tmp_path / "pack")
    assert ran.status == 0


def test_a_limit_that_is_lowered_meanwhile_counts_from_itself(tmp_path: Path) -> None:
    """Air stays at 180 °C; the limit is lowered by 0.5 °C/s from 200 °C. The relay cuts 1 °C past it."""
    seconds = np.arange(0.0, 61.0)
    limit = 200 - 0.5 * seconds
    lines = ["Elapsed (s),AIR (°C),LIMIT (°C),HEAT"]
    lines += [
        f"{t:g},180.0,{x:.2f},{'aus' if x <= 179 else 'ein'}" for t, x in zip(seconds, limit, strict=True)
    ]
    (tmp_path / "challenge.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    text = CHALLENGE.format(more='limit_channel = "LIMIT"', within=5, answers="")
    text = (
        text.replace("limit = 190\n", "")
        .replace("trip_low = 187", "trip_low = -3")
        .replace("trip_high = 193", "trip_high = 3")
    )
    ran = run(tmp_path, text)
    assert ran.status == 0, ran.err
    (test,) = ran.record["stages"][0]["tests"]
    assert test["figures"]["trip"]["value"] == pytest.approx(0.75, abs=0.3)
    assert decisions(test) == {"heat-off": "pass", "trip-point": "pass"}


def test_a_process_that_was_driven_past_its_rating(tmp_path: Path) -> None:
    challenge_file(tmp_path)
    assert decisions(challenged(tmp_path, more=f"rated = 195\n{BY_HAND}"))["rated-limit"] == "fail"


def test_a_plan_is_checked_before_its_tests_begin(tmp_path: Path) -> None:
    seen = '\n[[challenges.answers]]\nname = "horn"\nobserved = true\n'
    text = '[plan]\ntitle = "x"\n' + CHALLENGE.format(more="simulated = true", within=5, answers=seen)
    plan = tmp_path / "plan.toml"
    plan.write_text(text, encoding="utf-8")
    ran = qualify("plan", "check", plan)
    assert ran.status == 1
    assert "nothing that must be put back after Excess temperature" in ran.out
    assert "no sheet for Excess temperature: horn" in ran.out
    assert "restores by itself is not one" in ran.out
    assert "to be repeated with the real sensor" in ran.out
    assert "no location" not in ran.out
    more = '[operation]\nobserved = "seen.csv"\n[return_to_service]\nchanged = ["limit"]\n'
    text = CHALLENGE.format(more='restores = "by hand"', within=5, answers=seen)
    plan.write_text('[plan]\ntitle = "x"\n' + more + text, encoding="utf-8")
    ran = qualify("plan", "check", plan)
    assert "1 change listed" in ran.out
    assert "2 to answer; the limit is moved to the process, upwards" in ran.out
