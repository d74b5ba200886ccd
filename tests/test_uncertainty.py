"""Budgets, the simulation and the decision rules, reached through a plan and the command line."""

from __future__ import annotations

from math import erf, inf, sqrt
from pathlib import Path
from typing import Any

import pytest

from qualify.figures.absent import Absent
from qualify.figures.budget import Contribution, budget, coverage_factor_for, effective_degrees_of_freedom
from qualify.figures.series import find_cycle, standard_error_of_mean
from qualify.probability import student_quantile
from tests.support.command import Ran, qualify
from tests.support.surveys import plain_run, write_certificates, write_csv

POINTS = [(0.0, 0.0), (250.0, 0.0)]

HEAD = """
[plan]
title = "invented"
{head}

[[surveys]]
name = "Run"
stage = "operation"
files = ["run.csv"]

[[surveys.holds]]
name = "180"
setpoint = 180
tolerance = {tolerance}
"""


def run_plan(
    folder: Path,
    more: str = "",
    *,
    head: str = 'acceptance = "guarded"',
    deviations: tuple[float, ...] = (0.0, 2.0),
    wiggle: float = 0.0,
    certificates: float | None = 0.2,
    tolerance: float = 3.0,
) -> Ran:
    """Run an invented plan of one hold at 180 °C; its record."""
    seconds, values = plain_run(deviations, wiggle=wiggle)
    names = [f"T{number}" for number in range(1, len(deviations) + 1)]
    write_csv(folder / "run.csv", seconds, values)
    text = HEAD.format(head=head, tolerance=tolerance) + more
    if certificates is not None:
        write_certificates(folder / "c.csv", dict.fromkeys(names, POINTS), certificates)
        text += '\n[certificates]\nfile = "c.csv"\n'
    plan = folder / "plan.toml"
    plan.write_text(text, encoding="utf-8")
    return qualify("run", plan, "--out", folder / "pack", "--json")


def source(name: str, **keys: Any) -> str:
    """One source of a plan."""
    lines = [f'source = "{name}"', 'because = "invented"']
    for key, value in keys.items():
        shown = {True: "true", False: "false"}[value] if isinstance(value, bool) else value
        lines.append(f"{key} = {shown}")
    return "\n[[uncertainty.sources]]\n" + "\n".join(lines) + "\n"


def rows_of(ran: Ran, location: str = "T1") -> dict[str, dict[str, Any]]:
    budgets = ran.survey["uncertainty"]["locations"]
    found = next(item for item in budgets if item["location"] == location)
    return {row["source"]: row for row in found["contributions"]}


# ---- the arithmetic ----


def test_effective_degrees_of_freedom_by_hand() -> None:
    # u_c⁴/(u1⁴/ν1 + u2⁴/ν2) = 25²/(81/4 + 256/9)
    found = effective_degrees_of_freedom([(3.0, 4.0), (4.0, 9.0)])
    assert found == pytest.approx(25.0**2 / (81.0 / 4 + 256.0 / 9), rel=1e-14)
    assert effective_degrees_of_freedom([(3.0, inf), (4.0, inf)]) == inf
    assert effective_degrees_of_freedom([(0.0, 3.0)]) == inf
    small = effective_degrees_of_freedom([(3e-90, 4.0), (4e-90, 9.0)])
    assert small == pytest.approx(found, rel=1e-12)


def test_coverage_factors() -> None:
    # Student's t at 95.45 %, as JCGM 100:2008, table G.2 prints it (cited from memory).
    for degrees, printed in ((1, 13.97), (2, 4.53), (5, 2.65), (10, 2.28), (20, 2.13), (50, 2.05)):
        assert round(coverage_factor_for(degrees), 2) == printed
    assert coverage_factor_for(inf) == 2.0
    assert coverage_factor_for(5.9) == coverage_factor_for(5)
    assert coverage_factor_for(1e8) == pytest.approx(2.0, abs=1e-7)


def test_a_budget_of_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="without a contribution"):
        budget([])


def test_shares_add_up_to_one() -> None:
    found = budget(
        [Contribution(source="a", stated_c=0.3), Contribution(source="b", stated_c=0.4, divisor=2.0)]
    )
    assert sum(found.share(item) for item in found.contributions) == pytest.approx(1.0)
    assert (
        budget([Contribution(source="a", stated_c=0.0)]).share(Contribution(source="a", stated_c=0.0)) == 0.0
    )


# ---- of one reading ----


def test_certificates_alone_keep_their_own_uncertainty(tmp_path: Path) -> None:
    ran = run_plan(tmp_path, certificates=0.3)
    location = ran.survey["locations"][0]
    assert location["expanded_uncertainty_c"] == pytest.approx(0.3, rel=1e-12)
    assert location["standard_uncertainty_c"] == pytest.approx(0.15, rel=1e-12)
    assert location["coverage_factor"] == 2.0
    left_out = ran.survey["uncertainty"]["locations"][0]["left_out"]
    assert "calibration" not in left_out
    assert {"logger", "drift since calibration", "reference junction", "radiation"} <= set(left_out)


def test_sources_of_the_plan_join_the_certificates(tmp_path: Path) -> None:
    sources = (
        source("logger", half_width=0.3)
        + source("resolution", digit=0.1)
        + source("drift since calibration", expanded=0.2, coverage_factor=2)
        + source("reference junction", triangular_half_width=0.25)
        + source("radiation", covered=True)
    )
    ran = run_plan(tmp_path, sources)
    rows = rows_of(ran)
    assert rows["logger"]["standard_c"] == pytest.approx(0.3 / sqrt(3))
    assert rows["resolution"]["standard_c"] == pytest.approx(0.1 / sqrt(12))
    assert rows["drift since calibration"]["standard_c"] == pytest.approx(0.1)
    assert rows["reference junction"]["standard_c"] == pytest.approx(0.25 / sqrt(6))
    assert (rows["logger"]["shared_with"], rows["resolution"]["shared_with"]) == ("all locations", "")
    u_c = sqrt(0.1**2 + 0.3**2 / 3 + 0.1**2 / 12 + 0.1**2 + 0.25**2 / 6)
    location = ran.survey["locations"][0]
    assert location["standard_uncertainty_c"] == pytest.approx(u_c, rel=1e-12)
    assert location["expanded_uncertainty_c"] == pytest.approx(2 * u_c, rel=1e-12)
    assert sum(row["share"] for row in rows.values()) == pytest.approx(1.0)
    of_location = ran.survey["uncertainty"]["locations"][0]
    assert of_location["covered"] == ["radiation (invented)"]
    assert not {"logger", "radiation", "resolution"} & set(of_location["left_out"])
    assert ran.requirement("upper")["guard_band"] == pytest.approx(2 * u_c)


def test_few_degrees_of_freedom_widen_the_coverage_factor(tmp_path: Path) -> None:
    ran = run_plan(tmp_path, source("logger", standard=0.2, degrees_of_freedom=4))
    u_c = sqrt(0.1**2 + 0.2**2)
    degrees = u_c**4 / (0.2**4 / 4)
    of_reading = ran.survey["uncertainty"]["locations"][0]["reading"]
    assert of_reading["effective_degrees"] == pytest.approx(degrees)
    assert of_reading["coverage_factor"] == pytest.approx(coverage_factor_for(6), rel=1e-12)
    assert int(degrees) == 6
    assert of_reading["expanded_c"] == pytest.approx(u_c * coverage_factor_for(6))


def test_a_source_for_some_locations_only(tmp_path: Path) -> None:
    ran = run_plan(
        tmp_path,
        source("radiation", half_width=0.5, locations=["T2"])
        + '\n[[locations]]\nname = "T1"\nchannel = "T1"\n[[locations]]\nname = "T2"\nchannel = "T2"\n',
    )
    assert "radiation" not in rows_of(ran, "T1")
    assert rows_of(ran, "T2")["radiation"]["stated_c"] == 0.5


def test_without_certificates_the_plan_may_say_what_the_calibration_is_worth(tmp_path: Path) -> None:
    ran = run_plan(tmp_path, source("calibration", half_width=1.5), certificates=None, deviations=(0.0, 1.0))
    location = ran.survey["locations"][0]
    assert location["expanded_uncertainty_c"] == pytest.approx(2 * 1.5 / sqrt(3))
    assert location["mean_correction_c"] is None
    assert any("uncorrected" in remark for remark in ran.survey["remarks"])
    assert ran.requirement("upper")["acceptance"] == "guarded"


def test_without_any_uncertainty_nothing_is_made_up(tmp_path: Path) -> None:
    ran = run_plan(tmp_path, source("logger", half_width=0.1), certificates=None)
    assert ran.survey["uncertainty"] is None
    assert ran.survey["uncertainty_why"] == "no certificate"
    assert ran.survey["simulation"] is None
    assert "not known" in ran.survey["simulation_why"]
    assert ran.survey["chamber"]["conformance_probability"] is None
    assert ran.requirement("upper")["other_rules"] == []


def test_uncertainties_of_a_fahrenheit_plan_are_differences(tmp_path: Path) -> None:
    seconds, values = plain_run((0.0, 1.0), setpoint=180.0, wiggle=0.0)
    write_csv(tmp_path / "run.csv", seconds, values)
    write_certificates(tmp_path / "c.csv", dict.fromkeys(("T1", "T2"), POINTS), 0.2)
    text = HEAD.format(head='units = "F"\nacceptance = "guarded"', tolerance=5.4).replace(
        "setpoint = 180", "setpoint = 356"
    )
    text += source("logger", half_width=0.54) + '\n[certificates]\nfile = "c.csv"\n'
    (tmp_path / "plan.toml").write_text(text, encoding="utf-8")
    ran = qualify("run", tmp_path / "plan.toml", "--out", tmp_path / "pack", "--json")
    assert rows_of(ran)["logger"]["stated_c"] == pytest.approx(0.3)


# ---- of the mean and of the chamber ----


def test_the_mean_adds_the_scatter_of_its_readings(tmp_path: Path) -> None:
    ran = run_plan(tmp_path, wiggle=0.3)
    location = ran.survey["locations"][0]
    of_location = ran.survey["uncertainty"]["locations"][0]
    seconds, values = plain_run((0.0,), wiggle=0.3)
    window = ran.survey["window"]
    inside = (seconds >= window["start_s"]) & (seconds <= window["end_s"])
    time, readings = seconds[inside], values[inside, 0]
    error = standard_error_of_mean(time, readings, find_cycle(time, readings))
    assert not isinstance(error, Absent)
    scatter = error.half_width_c / student_quantile(error.degrees)
    assert of_location["repeatability"]["standard_c"] == pytest.approx(scatter, rel=1e-9)
    u_c = sqrt(0.1**2 + scatter**2)
    degrees = u_c**4 / (scatter**4 / error.degrees)
    assert of_location["mean"]["effective_degrees"] == pytest.approx(degrees)
    wanted = coverage_factor_for(degrees) * u_c
    assert location["mean_expanded_uncertainty_c"] == pytest.approx(wanted, rel=1e-12)


def test_an_assigned_chamber_temperature_counts_the_chamber_and_guards_nothing(tmp_path: Path) -> None:
    places = "".join(
        f'\n[[locations]]\nname = "T{n}"\nchannel = "T{n}"\nx_mm = {x}\ny_mm = 100\nz_mm = 100\n'
        for n, x in ((1, 100), (2, 190))
    )
    zone = '\n[work_zone]\nshape = "box"\nwidth_mm = 200\ndepth_mm = 200\nheight_mm = 200\n'
    chamber = (
        '\n[[uncertainty.chamber]]\nsource = "loading"\nloaded_difference = 0.8\nbecause = "invented"\n'
        '\n[[uncertainty.chamber]]\nsource = "radiation in the chamber"\nhalf_width = 1.0\n'
        'because = "invented"\n'
    )
    ran = run_plan(tmp_path, places + zone + chamber, wiggle=0.2)
    assert ran.survey["reference_location"] == "T1"
    found = ran.survey["uncertainty"]["chamber"]
    rows = {row["source"]: row for row in found["contributions"]}
    assert rows["inhomogeneity of the chamber"]["stated_c"] == pytest.approx(2.0)
    reference = ran.survey["locations"][0]
    swing = max(reference["max_c"] - reference["mean_c"], reference["mean_c"] - reference["min_c"])
    assert rows["instability of the chamber"]["stated_c"] == pytest.approx(swing)
    assert rows["loading"]["stated_c"] == pytest.approx(0.16)
    parts = [row["standard_c"] ** 2 for row in found["contributions"]]
    assert found["combined"]["standard_c"] == pytest.approx(sqrt(sum(parts)))
    assert found["left_out"] == ["chamber's indication", "resolution of the chamber's indication"]
    assert ran.requirement("upper")["guard_band"] == pytest.approx(0.2)


# ---- the simulation ----


def test_one_deciding_location_conforms_with_its_closed_probability(tmp_path: Path) -> None:
    ran = run_plan(tmp_path, deviations=(0.0, 2.9), certificates=0.2)
    simulated = ran.survey["simulation"]
    wanted = 0.5 * (1 + erf(0.1 / 0.1 / sqrt(2)))
    assert simulated["converged"]
    assert simulated["all_conform"] == pytest.approx(wanted, abs=3 * simulated["numerical_tolerance"])
    assert ran.survey["chamber"]["conformance_probability"] == simulated["all_conform"]
    decides = {item["location"]: item["decides"] for item in simulated["locations"]}
    assert decides["T2"] == pytest.approx(1.0, abs=1e-6)


def test_shared_errors_move_all_locations_together(tmp_path: Path) -> None:
    def joint(folder: Path, more: str) -> dict[str, Any]:
        folder.mkdir()
        ran = run_plan(folder, more, deviations=(2.9,) * 9, certificates=0.2)
        found: dict[str, Any] = ran.survey["simulation"]
        return found

    one = 0.5 * (1 + erf(1 / sqrt(2)))
    apart = joint(tmp_path / "apart", "")
    together = joint(tmp_path / "together", "\n[uncertainty]\ncalibration_correlation = 1.0\n")
    assert apart["all_conform"] == pytest.approx(one**9, abs=0.006)
    assert together["all_conform"] == pytest.approx(one, abs=0.006)
    assert together["all_conform_if_independent"] == pytest.approx(one**9, abs=0.02)


def test_the_same_seed_gives_the_same_numbers_and_another_one_close_ones(tmp_path: Path) -> None:
    found = []
    for number, seed in enumerate((1, 1, 2)):
        folder = tmp_path / str(number)
        folder.mkdir()
        ran = run_plan(folder, f"\n[statistics]\nseed = {seed}\n", deviations=(0.0, 2.9))
        found.append(ran.survey["simulation"])
    assert found[0] == found[1]
    assert found[0]["figures"] != found[2]["figures"]
    assert found[0]["all_conform"] == pytest.approx(found[2]["all_conform"], abs=0.006)


def test_a_joint_decision_can_be_asked_for(tmp_path: Path) -> None:
    asked = '\n[[requirements]]\nfigure = "conformance_probability"\nat_least = {}\n'
    for number, (least, decision) in enumerate(((0.8, "pass"), (0.9, "fail"))):
        folder = tmp_path / str(number)
        folder.mkdir()
        ran = run_plan(folder, asked.format(least), deviations=(0.0, 2.9))
        found = ran.requirement("conformance-probability")
        assert (found["decision"], found["limit_low"], found["unit"]) == (decision, least, "1")


def test_a_joint_decision_without_uncertainty_is_not_shown(tmp_path: Path) -> None:
    asked = '\n[[requirements]]\nfigure = "conformance_probability"\nat_least = 0.9\n'
    ran = run_plan(tmp_path, asked, certificates=None, head="")
    assert ran.requirement("conformance-probability")["decision"] == "not shown"


# ---- decision rules ----


@pytest.mark.parametrize(
    ("rule", "hottest", "decision", "guard"),
    [
        ('acceptance = "simple"', 2.95, "pass", 0.0),
        ('acceptance = { rule = "guarded", factor = 0.5 }', 2.9, "pass", 0.1),
        ('acceptance = { rule = "guarded", factor = 0.5 }', 2.91, "conditional", 0.1),
        ('acceptance = { rule = "guarded", factor = 1.5 }', 2.71, "conditional", 0.3),
        ('acceptance = "iso-14253-1"', 2.83, "pass", 0.1644853626951),
        ('acceptance = "iso-14253-1"', 2.84, "conditional", 0.1644853626951),
        ('acceptance = { rule = "probability", at_least = 0.99 }', 2.77, "conditional", 0.2326347874041),
        ('acceptance = { rule = "probability", at_least = 0.99 }', 2.76, "pass", 0.2326347874041),
    ],
)
def test_the_plan_chooses_the_rule(
    tmp_path: Path, rule: str, hottest: float, decision: str, guard: float
) -> None:
    upper = run_plan(tmp_path, head=rule, deviations=(0.0, hottest)).requirement("upper")
    assert upper["decision"] == decision
    assert upper["guard_band"] == pytest.approx(guard, rel=1e-9)


def test_a_narrow_tolerance_counts_both_its_sides(tmp_path: Path) -> None:
    """In the middle of ± 0.15 with u 0.1: one side alone conforms with 93.3 %, both with 86.6 %."""
    ran = run_plan(
        tmp_path,
        head='acceptance = { rule = "probability", at_least = 0.9 }',
        deviations=(0.0, 0.0),
        tolerance=0.15,
    )
    upper = ran.requirement("upper")
    assert upper["decision"] == "conditional"
    assert "86.6 %" in upper["note"]


def test_the_record_says_what_another_rule_would_have_said(tmp_path: Path) -> None:
    ran = run_plan(tmp_path, deviations=(0.0, 2.83), certificates=0.2)
    others = {item["rule"]: item for item in ran.requirement("upper")["other_rules"]}
    assert {rule: item["says"] for rule, item in others.items()} == {
        "simple acceptance": "pass",
        "guard band w = U": "conditional",
        "ISO 14253-1, 95 %": "pass",
        "four zones, w = U (ILAC-G8)": "conditional pass",
        "all 2 together at 95 %, errors independent (Šidák)": "conditional",
    }
    assert [rule for rule, item in others.items() if item["chosen"]] == ["guard band w = U"]


def test_the_zones_beyond_the_limit(tmp_path: Path) -> None:
    for number, (hottest, zone) in enumerate(((3.1, "conditional fail"), (3.3, "fail"))):
        folder = tmp_path / str(number)
        folder.mkdir()
        upper = run_plan(folder, deviations=(0.0, hottest)).requirement("upper")
        assert upper["decision"] == "fail"
        zones = {item["rule"]: item["says"] for item in upper["other_rules"]}
        assert zones["four zones, w = U (ILAC-G8)"] == zone


def test_a_rule_of_probability_keeps_to_what_it_can_see(tmp_path: Path) -> None:
    """Without a known uncertainty no probability is made up: the limit itself decides, and it is said."""
    ran = run_plan(tmp_path, head='acceptance = "iso-14253-1"', certificates=None)
    assert ran.requirement("upper")["decision"] == "pass"
    assert ran.record["verdict"] == "conditional"


# ---- what is refused ----


@pytest.mark.parametrize(
    ("more", "key"),
    [
        (source("loger", half_width=1), "source"),
        (source("logger"), "half_width"),
        (source("logger", half_width=1, digit=1), "digit"),
        (source("logger", expanded=1), "coverage_factor"),
        (source("logger", half_width=-1), "half_width"),
        (source("logger", half_width=1, degrees_of_freedom=3), "degrees_of_freedom"),
        (source("logger", half_width=1, locations=["T9"]), "locations"),
        (source("logger", half_width=1) + source("logger", digit=1), "sources"),
        ("\n[uncertainty]\ncalibration_correlation = 1.5\n", "calibration_correlation"),
        ("\n[statistics]\nseed = -1\n", "seed"),
        ("\n[statistics]\nconfidence = 1.0\n", "confidence"),
        ("\n[statistics]\nprior = { mean = 0 }\n", "standard_deviation"),
        ("\n[statistics]\nnumerical_tolerance = 0.0\n", "numerical_tolerance"),
        (
            '\n[[requirements]]\nfigure = "conformance_probability"\nat_least = 95\n',
            "at_least",
        ),
        (
            '\n[[requirements]]\nfigure = "conformance_probability"\nat_most = 0.9\n',
            "at_least",
        ),
    ],
)
def test_what_a_plan_gets_wrong_is_refused(tmp_path: Path, more: str, key: str) -> None:
    ran = run_plan(tmp_path, more)
    assert ran.status == 3
    assert key in ran.err


@pytest.mark.parametrize(
    "head",
    [
        'acceptance = "generous"',
        'acceptance = { rule = "guarded", at_least = 0.9 }',
        'acceptance = { rule = "probability", at_least = 1.0 }',
        "acceptance = { factor = 1.0 }",
    ],
)
def test_a_rule_that_is_none_is_refused(tmp_path: Path, head: str) -> None:
    assert run_plan(tmp_path, head=head).status == 3
