"""Numbers of the requirement profiles against a second transcription, with the standing of each.

Typed from the facts that the tables rest on, not from the tables: [C] seen in a copy, mostly secondary,
of the document; [D] arithmetic; [M] from memory, to be confirmed by the plan's author.
"""

from __future__ import annotations

from typing import Any

import pytest

from qualify.plan.model import Hold, Plan, Stage, Survey, WorkZone
from qualify.plan.profile import Ask, ProfileChoice, Use
from qualify.readings.model import ReadOptions
from qualify.standards.profiles import with_profiles
from qualify.units import Celsius

# document, edition, kind, number in °C of difference, seconds or counted, standing
PUBLISHED: list[tuple[str, str, str, float, str]] = [
    # a record form for revision D: 30 minutes after settling, a reading at least every 2 minutes
    ("AMS2750", "D", "soak", 30 * 60, "C"),
    ("AMS2750", "D", "interval", 2 * 60, "C"),
    # no sensor above the high limit at any time, heat-up included
    *(("AMS2750", edition, "figure", 0.0, "M") for edition in ("E", "F", "G", "H")),
    # eight corners and the centre
    *(("AMS2750", edition, "sensors", 9, "C") for edition in ("E", "F", "G", "H")),
    ("API 6A", "", "sensors", 3, "C"),
    ("IEC 60068-3-5", "", "sensors", 9, "C"),
    ("IEC 60068-3-5", "", "window", 30 * 60, "M"),
    ("IEC 60068-3-5", "", "interval", 60, "M"),
    ("DIN 12880", "2007", "sensors", 27, "C"),
    ("DKD-R 5-7", "", "sensors", 9, "C"),
    ("DKD-R 5-7", "", "window", 30 * 60, "C"),
    ("DKD-R 5-7", "", "readings", 30, "C"),
]
WITHOUT_A_NUMBER = {
    ("AMS2750", "D"): {"start": "C", "trend": "C"},
    ("AMS2750", "H"): {"corrections": "C"},
}
# figures that a document defines and for which no limit is known here
FIGURES = {
    ("AMS2750", "H"): {"ams2750-uniformity-high": "C", "ams2750-uniformity-low": "C"},
    ("IEC 60068-3-5", ""): {
        "iec60068-3-5-gradient": "C second-hand",
        "iec60068-3-5-variation-in-space": "C second-hand",
        "iec60068-3-5-fluctuation": "C second-hand",
    },
    ("DKD-R 5-7", ""): {"dkd-r-5-7-inhomogeneity": "C", "dkd-r-5-7-instability": "C"},
}
# set point, class, half-width: through the profile as a plan would take it
LIMITS = [
    *(
        ("AMS2750", "G", name, 500.0, width)
        for name, width in zip("123456", (3, 6, 8, 10, 14, 28), strict=True)
    ),
    ("API 6A", "", "general", 600.0, 14),
    ("API 6A", "", "tempering", 600.0, 8),
    ("ASTM E145", "", "IIA", 180.0, 1.58),  # 1 % of 180 − 22 [D]
    ("ASTM E145", "", "IIB", 180.0, 3.95),  # 2.5 % of 180 − 22 [D]
    ("DIN 12880", "2007", "", 70.0, 0.5),
    ("DIN 12880", "2007", "", 180.0, 1.5),
    ("DIN 12880", "2007", "", 300.0, 3.0),
]


def filled(document: str, edition: str, **more: Any) -> Hold:
    """A hold of 180 °C in a 120 L box, filled from the profile."""
    name, setpoint = more.pop("name", ""), more.pop("setpoint", 180.0)
    choice = ProfileChoice(document=document, edition=edition, name=name)
    hold = Hold(name="h", setpoint=Celsius(setpoint), ambient=Celsius(22.0), chosen_profile=choice)
    survey = Survey(name="s", stage=Stage.OPERATION, files=("f",), read=ReadOptions(), holds=(hold,))
    zone = WorkZone(shape="box", width_mm=600, depth_mm=500, height_mm=400)
    (found,) = with_profiles(Plan(surveys=(survey,), work_zone=zone, **more)).surveys[0].holds
    return found


def asks(document: str, edition: str) -> tuple[Ask, ...]:
    profile = filled(document, edition).profile
    assert profile is not None
    return profile.asks


@pytest.mark.parametrize(("document", "edition", "kind", "number", "standing"), PUBLISHED)
def test_number_and_standing(document: str, edition: str, kind: str, number: float, standing: str):
    found = [ask for ask in asks(document, edition) if ask.kind == kind and ask.value is not None]
    ask = next(ask for ask in found if ask.standing == standing)
    assert ask.value == number
    assert document in ask.citation
    unconfirmed = standing in ("M", "X")
    assert (ask.obstacle is not None) is unconfirmed
    assert (ask.use is Use.UNCONFIRMED) is unconfirmed


def test_no_profile_holds_a_number_beyond_these():
    documents = {(document, edition) for document, edition, *_ in PUBLISHED} | {("ASTM E145", "")}
    for document, edition in documents:
        typed = {(kind, number) for d, e, kind, number, _ in PUBLISHED if (d, e) == (document, edition)}
        if document == "DKD-R 5-7":
            typed.add(("interval", 60.0))  # 30 readings in 30 minutes [D], to plan by
        if document == "AMS2750" and edition != "D":
            typed.add(("sensors", 9.0))
        found = {
            (ask.kind.value, ask.value)
            for ask in asks(document, edition)
            if ask.value is not None and (ask.kind != "sensors" or ask.obstacle is None)
        }
        assert found == typed, document


@pytest.mark.parametrize(("document", "edition"), WITHOUT_A_NUMBER)
def test_rules_without_a_number(document: str, edition: str):
    typed = WITHOUT_A_NUMBER[(document, edition)]
    found = {ask.kind.value: ask.standing for ask in asks(document, edition) if ask.kind.value in typed}
    assert found == typed


@pytest.mark.parametrize(("document", "edition"), FIGURES)
def test_figures_without_a_limit_are_printed_only(document: str, edition: str):
    found = {ask.id: ask for ask in asks(document, edition) if ask.kind == "variant"}
    assert {name: ask.standing for name, ask in found.items()} == FIGURES[(document, edition)]
    assert all(ask.value is None and ask.use is Use.PRINTED for ask in found.values())


@pytest.mark.parametrize(("document", "edition", "name", "setpoint", "width"), LIMITS)
def test_limits_through_the_profile(document: str, edition: str, name: str, setpoint: float, width: float):
    from qualify.standards.classes import class_limits
    from qualify.units import TemperatureUnit

    hold = filled(document, edition, name=name, setpoint=setpoint)
    (choice,) = hold.classes
    found = class_limits(
        choice, setpoint_c=setpoint, ambient_c=hold.ambient, units=TemperatureUnit.C, confirmed=()
    )
    assert found.half_width_c == pytest.approx(width, abs=1e-12)
    assert (found.standing, found.obstacle) == ("C", None)
    assert found.judged == ("reference" if document == "DIN 12880" else "all")


def test_what_was_seen_of_one_revision_is_lent_to_no_other():
    """The record form is one for revision D: soak, interval, start and trend are asked under D alone."""
    seen = {"soak", "interval", "start", "trend"}
    assert seen <= {ask.kind.value for ask in asks("AMS2750", "D")}
    for edition in ("E", "F", "G", "H"):
        assert not seen & {ask.kind.value for ask in asks("AMS2750", edition)}
    assert filled("AMS2750", "D").classes == ()
