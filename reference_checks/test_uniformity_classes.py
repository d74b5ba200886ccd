"""Uniformity classes of AMS2750, API 6A, ASTM E145 and DIN 12880.

Sources: the documents named, seen in public, mostly secondary copies (standing C) but for three rows of the
°F column of AMS2750, which are from memory (M). The two examples for ASTM E145 are arithmetic (D). Typed for
these checks, apart from the tables of the package.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from qualify.evaluate import evaluate
from qualify.inputs import load
from qualify.plan.model import ClassChoice
from qualify.plan.reading import read_plan
from qualify.record import RequirementRecord
from qualify.standards import UNCONFIRMED, rows
from qualify.standards.classes import ClassLimits, class_limits
from qualify.units import TemperatureUnit

C, F = TemperatureUnit.C, TemperatureUnit.F

# Half-widths in °C and in °F. The columns are two tables: neither is the other converted.
AMS2750 = {
    "1": (3.0, 5.0),
    "2": (6.0, 10.0),
    "3": (8.0, 15.0),
    "4": (10.0, 20.0),
    "5": (14.0, 25.0),
    "6": (28.0, 50.0),
}
FROM_MEMORY_IN_F = ("3", "4", "5")
EDITIONS = ("E", "F", "G", "H")


def limits_of(
    document: str,
    name: str,
    *,
    setpoint_c: float = 180.0,
    ambient_c: float | None = None,
    units: TemperatureUnit = C,
    edition: str = "",
    confirmed: tuple[str, ...] = (),
) -> ClassLimits:
    choice = ClassChoice(document=document, edition=edition, name=name)
    return class_limits(choice, setpoint_c=setpoint_c, ambient_c=ambient_c, units=units, confirmed=confirmed)


@pytest.mark.parametrize("edition", ["", *EDITIONS])
@pytest.mark.parametrize("name", AMS2750)
def test_ams2750_in_degrees_celsius(name: str, edition: str):
    found = limits_of("AMS2750", name, edition=edition)
    assert found.half_width_c == AMS2750[name][0]
    assert (found.standing, found.obstacle, found.judged) == ("C", None, "all")
    assert "AMS2750" in found.citation


@pytest.mark.parametrize("name", AMS2750)
def test_ams2750_in_degrees_fahrenheit(name: str):
    found = limits_of("AMS2750", name, units=F)
    assert found.half_width_c == pytest.approx(AMS2750[name][1] / 1.8, rel=1e-15)
    if name in FROM_MEMORY_IN_F:
        assert found.standing == "M"
        assert found.obstacle is not None
        assert found.id in found.obstacle
    else:
        assert (found.standing, found.obstacle) == ("C", None)


@pytest.mark.parametrize("name", FROM_MEMORY_IN_F)
def test_a_confirmed_row_stands_in_the_way_no_more(name: str):
    found = limits_of("AMS2750", name, units=F)
    again = limits_of("AMS2750", name, units=F, confirmed=(found.id,))
    assert again.obstacle is None
    assert again.standing == "M"  # it stays what it is, and is printed so
    other = limits_of("AMS2750", name, units=F, confirmed=("another-row",))
    assert other.obstacle is not None


def test_every_unconfirmed_row_stands_in_the_way():
    """Whatever rows from memory or in conflict the table may hold: none decides by itself."""
    unconfirmed = [row for row in rows("uniformity_classes", "class") if row["standing"] in UNCONFIRMED]
    assert len(unconfirmed) == len(FROM_MEMORY_IN_F)
    for row in unconfirmed:
        found = limits_of(row["document"], row["name"], ambient_c=22.0, units=TemperatureUnit[row["unit"]])
        assert found.id == row["id"]
        assert found.obstacle is not None


def test_ams2750_columns_are_not_conversions_of_each_other():
    for name, (celsius, fahrenheit) in AMS2750.items():
        in_c = limits_of("AMS2750", name, units=C).half_width_c
        in_f = limits_of("AMS2750", name, units=F).half_width_c
        assert in_c is not None
        assert in_f is not None
        assert in_c != pytest.approx(in_f, abs=0.05), (celsius, fahrenheit)


def test_classes_widen_with_their_number():
    for units in (C, F):
        widths = [limits_of("AMS2750", name, units=units).half_width_c for name in AMS2750]
        assert None not in widths
        assert widths == sorted(widths, key=lambda width: width or 0.0)
        assert len(set(widths)) == len(widths)


def test_no_limit_for_what_the_table_lacks():
    for document, name, edition in (("AMS2750", "7", ""), ("AMS2750", "2", "Z"), ("AMS9999", "2", "")):
        found = limits_of(document, name, edition=edition)
        assert found.half_width_c is None
        assert found.obstacle


@pytest.mark.parametrize("edition", ["", *EDITIONS])
def test_still_trending_is_asked_only_by_the_revision_that_was_read(edition: str):
    """The rule was seen on a record form for revision D only: no other revision may lend it its name."""
    assert not limits_of("AMS2750", "2", edition=edition).trend_is_nonconformity


# ---- API Spec 6A, annex on heat-treating equipment (informative) (C) ----


def test_api_6a():
    assert limits_of("API 6A", "general").half_width_c == 14.0
    assert limits_of("API 6A", "tempering").half_width_c == 8.0
    assert limits_of("API 6A", "general").obstacle is None


# ---- ASTM E145: percent of (oven − ambient) (C) ----

E145_PERCENT = {"IA": 2.0, "IB": 5.0, "IIA": 1.0, "IIB": 2.5}


def test_astm_e145_examples():
    """180 °C in a room of 22 °C: 1 % and 2.5 % of 158 (D)."""
    assert limits_of("ASTM E145", "IIA", ambient_c=22.0).half_width_c == pytest.approx(1.58, abs=1e-12)
    assert limits_of("ASTM E145", "IIB", ambient_c=22.0).half_width_c == pytest.approx(3.95, abs=1e-12)


@pytest.mark.parametrize("name", E145_PERCENT)
def test_astm_e145_is_a_share_of_the_rise(name: str):
    for setpoint_c, ambient_c in ((60.0, 20.0), (120.0, 25.0), (200.0, 18.5)):
        found = limits_of("ASTM E145", name, setpoint_c=setpoint_c, ambient_c=ambient_c)
        expected = E145_PERCENT[name] / 100 * (setpoint_c - ambient_c)
        assert found.half_width_c == pytest.approx(expected, rel=1e-14)
        assert found.obstacle is None
        # The rise is a difference: it is the same for a plan in °F.
        in_f = limits_of("ASTM E145", name, setpoint_c=setpoint_c, ambient_c=ambient_c, units=F)
        assert in_f.half_width_c == pytest.approx(expected, rel=1e-14)


def test_astm_e145_without_ambient_has_no_limit():
    found = limits_of("ASTM E145", "IIA")
    assert found.half_width_c is None
    assert found.obstacle is not None
    assert "ambient" in found.obstacle


@pytest.mark.parametrize(
    ("name", "setpoint_c", "there"),
    [
        ("IA", 200.0, True),
        ("IA", 200.1, False),
        ("IB", 200.0, True),
        ("IB", 200.1, False),
        ("IIA", 500.0, True),
        ("IIA", 500.1, False),
        ("IIB", 500.0, True),
        ("IIB", 500.1, False),
    ],
)
def test_astm_e145_ends_where_its_ovens_end(name: str, setpoint_c: float, there: bool):
    """Gravity ovens to 200 °C, forced ventilation to 500 °C (C): beyond, there is no limit."""
    found = limits_of("ASTM E145", name, setpoint_c=setpoint_c, ambient_c=20.0)
    assert (found.half_width_c is not None) is there


# ---- DIN 12880:2007, temperature at the centre (C) ----

DIN_12880 = [
    (-10.1, None),
    (-10.0, 0.5),
    (-9.9, 0.5),
    (0.0, 0.5),
    (69.9, 0.5),
    (70.0, 0.5),
    (70.001, 1.5),
    (179.9, 1.5),
    (180.0, 1.5),
    (180.001, 3.0),
    (299.9, 3.0),
    (300.0, 3.0),
    (300.1, None),
]


@pytest.mark.parametrize(("setpoint_c", "half_width_c"), DIN_12880)
def test_din_12880_at_its_edges(setpoint_c: float, half_width_c: float | None):
    for units in (C, F):
        found = limits_of("DIN 12880", "centre", setpoint_c=setpoint_c, units=units)
        assert found.half_width_c == half_width_c
        if half_width_c is None:
            assert found.obstacle
        else:
            assert found.obstacle is None
            assert found.judged == "reference"


# ---- from a plan ----

PLAN = """
[plan]
title = "Classes"
units = "{unit}"
accept_conditional = true
confirmed = [{confirmed}]

[[surveys]]
name = "classes"
stage = "operation"
files = ["classes.csv"]

[[surveys.holds]]
setpoint = {setpoint}
start = 0
minutes = 30

[[surveys.holds.class]]
document = "AMS2750"
edition = "F"
name = "{name}"
"""


Decided = Callable[..., dict[str, RequirementRecord]]


def write_survey(folder: Path, name: str, unit: str, high: float, confirmed: str) -> Path:
    """Write a made-up recording, B above the set point by `high`, and a plan that judges it by a class."""
    lines = [f"Time,A (°{unit}),B (°{unit})"]
    lines += [f"2026-03-02T10:{minute:02d}:00,350.0,{350 + high}" for minute in range(31)]
    (folder / "classes.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    plan = folder / "classes.toml"
    plan.write_text(PLAN.format(unit=unit, setpoint=350.0, name=name, confirmed=confirmed), encoding="utf-8")
    return plan


@pytest.fixture
def decided(tmp_path: Path) -> Decided:
    """Give a function that evaluates such a plan and returns its requirements."""

    def survey(name: str, unit: str, high: float, *, confirmed: str = "") -> dict[str, RequirementRecord]:
        file = load(write_survey(tmp_path, name, unit, high, confirmed), "plan")
        (result,) = evaluate(read_plan(file), tmp_path, plan_file=file).record.surveys
        return {item.id: item for item in result.requirements}

    return survey


def test_a_row_from_memory_never_decides(decided: Decided):
    """Class 3 in °F is from memory: 12 °F above would pass ±15 °F, 16 °F would fail; neither is said."""
    for high in (12.0, 16.0):
        found = decided("3", "F", high)
        assert {item.decision for item in found.values()} == {"not shown"}
        assert {item.standing for item in found.values()} == {"M"}


def test_a_row_from_memory_never_decides_through_the_command_line(
    tmp_path: Path, qualify_json: Callable[..., dict[str, Any]]
):
    record = qualify_json("run", write_survey(tmp_path, "3", "F", 16.0, ""), accepted=(1,))
    (result,) = record["surveys"]
    assert {item["decision"] for item in result["requirements"]} == {"not shown"}
    assert {item["standing"] for item in result["requirements"]} == {"M"}
    assert record["verdict"] == "not shown"


def test_a_confirmed_row_decides(decided: Decided):
    found = decided("3", "F", 16.0, confirmed='"ams2750-3-f"')
    assert found["ams2750-3-f-upper"].decision == "fail"
    assert found["ams2750-3-f-lower"].decision in ("pass", "conditional")


def test_a_survey_is_judged_in_its_own_unit(decided: Decided):
    """Class 2: ±10 °F is not met by 10.5 °F, though 5.83 °C is within ±6 °C of the other column."""
    assert decided("2", "F", 10.0)["ams2750-2-f-upper"].decision in ("pass", "conditional")
    assert decided("2", "F", 10.5)["ams2750-2-f-upper"].decision == "fail"
    assert decided("2", "C", 5.83)["ams2750-2-c-upper"].decision in ("pass", "conditional")
