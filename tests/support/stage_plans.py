"""Plans with all three stages, of an invented oven, and their evaluations: for what shows them."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from qualify.evaluate import evaluate
from qualify.evidence import Evaluation
from qualify.inputs import load
from qualify.plan.reading import read_plan
from tests.test_operation_tests import COOLING, LOOP, PROGRAM, PURGE, cooling_file, points, purge_file
from tests.test_performance import HEAT, loaded
from tests.test_stage_tests import BY_HAND, CHALLENGE, HEAD, challenge_file
from tests.test_stage_tests import PURGE as MUST_NOT

HEADING = '[plan]\ntitle = "Oven of an invented works"\nunits = "{units}"\n{more}\n'
INSTALLATION = '[installation]\nrecords = ["installation.csv"]\n'
ITEMS = (
    "Supply voltage,nameplate,380,420,,V,402,,M-4,2027-01-31,A. Example,2026-03-02,,,,,E-1\n"
    "Water flow,maker's,20,,,L/min,6.2,gpm,F-2,2027-01-31,A. Example,2026-03-02,,,site,,W-1\n"
    "Drain,open,,,yes,,,,,,,,,,site,,D-1\n"
    "Door seal,whole,,,yes,,yes,,,,A. Example,2026-03-02,,,site,,S-1\n"
    "Gas,never exceed,3,6,,bar g,5,,G-9,2025-01-31,A. Example,2026-03-02,,,factory,yes,G-1\n"
)
RESTORED = (
    "changed,as_found,as_tested,as_left,by,witness,when,challenge,remark\n"
    "limit of the excess protection,230,190,230,A. Example,B. Example,2026-03-02 11:00,,\n"
    "bridge on door switch,none,bridged,,A. Example,,,,\n"
)
RETURN = (
    '[return_to_service]\nchanged = ["limit of the excess protection", "bridge on door switch"]\n'
    'file = "restored.csv"\n'
)
HORN = '\n[[challenges.answers]]\nname = "horn"\nobserved = true\n'


def evaluated(folder: Path, text: str, *, units: str = "C", more: str = "") -> Evaluation:
    """Write a plan without surveys beside its files, and evaluate it."""
    path = folder / "plan.toml"
    path.write_text(HEADING.format(units=units, more=more) + text, encoding="utf-8")
    return evaluated_at(path)


def evaluated_at(path: Path) -> Evaluation:
    """Evaluate a plan's file."""
    file = load(path, "plan")
    return evaluate(read_plan(file), path.parent, plan_file=file)


def loop_text(name: str = "Oxygen loop") -> str:
    """A loop check of nine points, one of them without a displayed value, and a broken signal."""
    shares = (0.0, 0.25, 0.5, 0.75, 1.0)
    span = [(4 + 16 * share, 25 * share + 0.05) for share in shares]
    broken = '[[loop_checks.broken]]\nhow = "open"\nfault_shown = true\n'
    text = LOOP.format(low=4, high=20, trip=5, rising=points(span), falling=points(span[::-1]), broken=broken)
    return text.replace("Oxygen loop", name)


def program_file(folder: Path) -> None:
    """A course of two steps, recorded each minute."""
    minutes = np.arange(0.0, 251.0)
    course = np.interp(minutes, [0, 10, 60, 90, 150, 215, 250], [20, 20, 120, 120, 180, 180, 145])
    lines = ["Elapsed (s),A (°C),B (°C)"]
    lines += [f"{60 * m:g},{c:.2f},{c:.2f}" for m, c in zip(minutes, course, strict=True)]
    (folder / "program.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")


def two_stages(
    folder: Path,
    *,
    restored: bool = True,
    delay_s: float = 2.0,
    dead_leg: float = 0.0,
    units: str = "C",
    more: str = "",
    stretch: str = "",
) -> Evaluation:
    """Installation and operation, no survey: record sheet, challenge, purge, cool-down, loop, program."""
    challenge_file(folder, delay_s=delay_s)
    purge_file(folder, dead_leg=dead_leg)
    cooling_file(folder)
    program_file(folder)
    (folder / "installation.csv").write_text(HEAD + ITEMS, encoding="utf-8")
    (folder / "restored.csv").write_text(RESTORED, encoding="utf-8")
    challenge = CHALLENGE.format(
        more=f"{BY_HAND}\n{stretch}\nreading_standard_uncertainty = 0.25", within=5, answers=MUST_NOT + HORN
    )
    purged = (
        "within_min = 25\nanalyser_lag_s = 0\nfree_volume_m3 = 0.4\nflow_m3_per_h = 6\nanother_limit = 0.5\n"
        "supply_oxygen = 0.001\nflow_stopped = 2600\nrise_at_most_per_h = 2.0\n"
        "kept_from = 2000\nkept_to = 3500"
    )
    if dead_leg:
        purged = "within_min = 70\nanalyser_lag_s = 0"
    cooling = COOLING.format(more="within_min = 20")
    if units == "F":
        for number in (187, 190, 193):
            challenge = challenge.replace(f"= {number}", f"= {number * 1.8 + 32:g}")
        for key, celsius in (("handling", 60), ("coolant", 15), ("other_coolant", 25)):
            cooling = cooling.replace(f"\n{key} = {celsius}\n", f"\n{key} = {celsius * 1.8 + 32:g}\n")
    tests = [challenge, PURGE.format(limit=2.0 if dead_leg else 1.0, more=purged), cooling, loop_text()]
    if units == "C":
        tests.append(PROGRAM.format(first=30))
    text = INSTALLATION + ("" if restored else RETURN) + "\n".join(tests)
    return evaluated(folder, text, units=units, more=more)


def loaded_run(folder: Path, *, certificates: bool = True, limits: str = "least_min = 200") -> Evaluation:
    """One loaded run of the performance stage, with sums of heat and a sensor in the load."""
    ran = loaded(folder, HEAT.format(limits=limits), certificates=certificates)
    assert ran.status in (0, 1), ran.err
    return evaluated_at(folder / "plan.toml")


def all_stages(folder: Path) -> Evaluation:
    """A loaded run besides installation and a challenge whose limit was not put back."""
    loaded_run(folder)
    challenge_file(folder)
    (folder / "installation.csv").write_text(HEAD + ITEMS, encoding="utf-8")
    (folder / "restored.csv").write_text(RESTORED, encoding="utf-8")
    path = folder / "plan.toml"
    text = path.read_text(encoding="utf-8") + INSTALLATION + RETURN
    path.write_text(text + CHALLENGE.format(more=BY_HAND, within=5, answers=""), encoding="utf-8")
    return evaluated_at(path)
