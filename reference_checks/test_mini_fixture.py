"""One small recording, every document's own figure, by hand.

Set point 180 °C, three locations, four readings; A is the reference location. The recording is made up; the
expected figures are arithmetic on it by the definitions of the documents named (standing D: anyone can redo
it). The definitions themselves were seen in public copies (AMS2750, DKD-R 5-7, TLAS G-20, JJF 1101 style) or
quoted (IEC 60068-3-5); the fluctuation of the JJF 1101 style is from memory.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from qualify.figures.uniformity import Window, chamber_uniformity, location_uniformity, variants

READINGS = {
    "A": ["180.0", "180.4", "179.8", "180.2"],
    "B": ["181.0", "181.2", "180.8", "181.4"],
    "C": ["178.5", "178.9", "178.3", "178.7"],
}
SETPOINT_C = 180.0

# id of the figure: (document, name there, value, location or None). A location is given where the value
# belongs to one place and only one place gives it.
VARIANTS: dict[str, tuple[str, str, str, str | None]] = {
    "ams2750-uniformity-high": ("AMS2750", "uniformity high", "1.4", "B"),
    "ams2750-uniformity-low": ("AMS2750", "uniformity low", "-1.7", "C"),
    "iec60068-3-5-gradient": ("IEC 60068-3-5", "temperature gradient", "2.5", None),
    "iec60068-3-5-variation-in-space": ("IEC 60068-3-5", "temperature variation in space", "1.5", "C"),
    "iec60068-3-5-fluctuation": ("IEC 60068-3-5", "temperature fluctuation", "0.6", "any"),
    "dkd-r-5-7-inhomogeneity": ("DKD-R 5-7", "spatial inhomogeneity", "1.5", "C"),
    "dkd-r-5-7-instability": ("DKD-R 5-7", "temporal instability", "0.3", "A"),
    "tlas-g20-uniformity": ("TLAS G-20", "uniformity", "1.5", "C"),
    "tlas-g20-stability": ("TLAS G-20", "stability", "0.3", "any"),
    "tlas-g20-overall-variation": ("TLAS G-20", "overall variation", "3.1", None),
    "jjf1101-uniformity": ("JJF 1101 style", "uniformity", "2.5", None),
    "jjf1101-deviation-high": ("JJF 1101 style", "deviation high", "1.4", "B"),
    "jjf1101-deviation-low": ("JJF 1101 style", "deviation low", "-1.7", "C"),
    "jjf1101-fluctuation": ("JJF 1101 style", "fluctuation", "0.3", "any"),
}

# mean, min, max, sample sd (√(Σd²/3)), deviation max and min, half range
LOCATIONS: dict[str, tuple[float, ...]] = {
    "A": (180.1, 179.8, 180.4, (0.20 / 3) ** 0.5, 0.4, -0.2, 0.3),
    "B": (181.1, 180.8, 181.4, (0.20 / 3) ** 0.5, 1.4, 0.8, 0.3),
    "C": (178.6, 178.3, 178.9, (0.20 / 3) ** 0.5, -1.1, -1.7, 0.3),
}
LOCATION_FIGURES = ("mean_c", "min_c", "max_c", "sd_c", "deviation_max_c", "deviation_min_c", "stability_c")

# The spread at the four instants is 2.5, 2.3, 2.5, 2.7; the mean of the three means is 539.8/3.
CHAMBER = {
    "mean_c": 539.8 / 3,
    "deviation_max_c": 1.4,
    "deviation_min_c": -1.7,
    "spread_max_c": 2.7,
    "spread_mean_c": 2.5,
    "spread_of_means_c": 2.5,
    "stability_c": 0.3,
}

# The readings have one decimal, so that every figure but sd is exact: what differs is binary rounding.
ROUNDING = 1e-12 * SETPOINT_C


def make_window(interval_s: float = 60.0) -> Window:
    values = np.array([[float(text) for text in column] for column in READINGS.values()]).T
    return Window(np.arange(4) * interval_s, values, SETPOINT_C, reference=0)


def test_each_location():
    window = make_window()
    for column, expected in enumerate(LOCATIONS.values()):
        found = location_uniformity(window.seconds, window.corrected_c[:, column], SETPOINT_C)
        assert found.readings == 4
        assert [getattr(found, name) for name in LOCATION_FIGURES] == pytest.approx(expected, abs=ROUNDING)


def test_the_chamber():
    found = chamber_uniformity(make_window())
    assert found.complete_instants == 4
    assert {name: getattr(found, name) for name in CHAMBER} == pytest.approx(CHAMBER, abs=ROUNDING)


def test_every_documents_own_figure():
    found = variants(make_window())
    assert found.keys() == VARIANTS.keys()
    for name, (_, _, value, location) in VARIANTS.items():
        assert found[name].value_c == pytest.approx(float(value), abs=ROUNDING), name
        where = found[name].location
        if location is None:
            assert where is None, name
        elif location != "any":
            assert where == list(READINGS).index(location), name


def test_another_reference_location_moves_only_what_needs_it():
    window = make_window()
    moved = Window(window.seconds, window.corrected_c, SETPOINT_C, reference=1)
    before, after = variants(window), variants(moved)
    # With B as reference: |178.6 − 181.1| = 2.5; at one instant 181.4 − 178.7 = 2.7; |181.4 − 181.1| = 0.3.
    expected = {
        "iec60068-3-5-variation-in-space": 2.5,
        "dkd-r-5-7-inhomogeneity": 2.5,
        "tlas-g20-uniformity": 2.7,
        "dkd-r-5-7-instability": 0.3,
    }
    for name, figure in after.items():
        value = expected.get(name, before[name].value_c)
        assert figure.value_c == pytest.approx(value, abs=ROUNDING), name


PLAN = """
[plan]
title = "Mini-fixture"
accept_conditional = true

[work_zone]
shape = "box"
width_mm = 400
depth_mm = 400
height_mm = 400
reference_location = "A"

[[locations]]
name = "A"
channel = "A"

[[locations]]
name = "B"
channel = "B"

[[locations]]
name = "C"
channel = "C"

[[surveys]]
name = "mini"
stage = "operation"
files = ["mini.csv"]

[[surveys.holds]]
setpoint = 180.0
tolerance = 3.0
start = 0
minutes = 3
"""


@pytest.fixture(scope="module")
def survey(
    tmp_path_factory: pytest.TempPathFactory, qualify_json: Callable[..., dict[str, Any]]
) -> dict[str, Any]:
    """Run the mini-fixture through the command line with a plan that names A as the reference."""
    folder: Path = tmp_path_factory.mktemp("mini")
    lines = ["Time,A (°C),B (°C),C (°C)"]
    for minute, values in enumerate(zip(*READINGS.values(), strict=True)):
        lines.append(f"2026-03-02T10:0{minute}:00,{','.join(values)}")
    (folder / "mini.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    (folder / "mini.toml").write_text(PLAN, encoding="utf-8")
    record = qualify_json("run", folder / "mini.toml")
    (result,) = record["surveys"]
    return dict(result)


def test_through_the_command_line(survey: dict[str, Any]):
    assert survey["reference_location"] == "A"
    assert survey["window"]["readings"] == 4
    assert {name: survey["chamber"][name] for name in CHAMBER} == pytest.approx(CHAMBER, abs=ROUNDING)
    for item in survey["locations"]:
        expected = LOCATIONS[item["location"]]
        assert [item[name] for name in LOCATION_FIGURES] == pytest.approx(expected, abs=ROUNDING)


def test_every_documents_own_figure_through_the_command_line(survey: dict[str, Any]):
    found = {(item["document"], item["name"]): item for item in survey["variants"]}
    assert len(found) == len(survey["variants"]) == len(VARIANTS)
    for document, name, value, location in VARIANTS.values():
        item = found[document, name]
        assert item["value_c"] == pytest.approx(float(value), abs=ROUNDING), (document, name)
        if location is None:
            assert item["location"] is None
        elif location != "any":
            assert item["location"] == location
    standings = {(item["document"], item["name"]): item["standing"] for item in survey["variants"]}
    assert standings["JJF 1101 style", "fluctuation"] == "M"
    assert {standing for key, standing in standings.items() if key[0] == "IEC 60068-3-5"} == {"C second-hand"}
