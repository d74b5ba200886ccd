"""`qualify sensors`: what it prints, what it refuses, and that its page shows the same."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest

from tests.support.command import qualify

PAGE = Path(__file__).parents[1] / "docs" / "sensors.md"
CERTIFICATES = """\
sensor,temperature,correction,expanded_uncertainty,coverage_factor,unit
TC-01,100,-0.9,0.6,2,C
TC-01,200,-0.7,0.6,2,C
TC-02,100,-2.1,0.6,2,C
TC-02,200,-2.2,0.6,2,C
"""


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "certificates.csv"
    path.write_text(CERTIFICATES, encoding="utf-8")
    return path


# ---- tolerance ----


def test_tolerance_of_every_class() -> None:
    said = qualify("sensors", "tolerance", "K", "180")
    assert said.status == 0
    assert "IEC 60584-1 class 1: ±1.5 °C, range -40 to 1000 °C" in said.out
    assert "IEC 60584-1 class 2: ±2.5 °C" in said.out
    assert "IEC 60584-1 class 3: no tolerance defined (range -200 to 40 °C)" in said.out
    assert "ASTM E230/E230M class special: ±1.1 °C" in said.out
    assert "[C] seen in a public (mostly secondary) copy" in said.out


def test_tolerance_in_fahrenheit_is_a_difference() -> None:
    said = qualify("sensors", "tolerance", "K", "356", "--units", "F", "--document", "IEC 60584-1")
    assert "class 1: ±2.7 °F, range -40 to 1832 °F" in said.out and "ASTM" not in said.out


def test_tolerance_as_json_is_in_celsius() -> None:
    said = qualify("sensors", "tolerance", "K", "356", "--units", "F", "--class", "3", "--json").record
    assert said["temperature_c"] == pytest.approx(180.0)
    (only,) = said["classes"]
    assert only["tolerance"] is None and only["tolerance_why"] == "no tolerance defined"
    assert only["ranges_c"] == [[-200.0, 40.0]]


def test_a_temperature_below_zero_is_no_option() -> None:
    said = qualify("sensors", "tolerance", "K", "-100")
    assert said.status == 0 and "class standard: ±2.2 °C" in said.out
    assert "[X] sources disagree; confirm it against a licensed copy" in said.out


def test_tolerance_of_extension_cable() -> None:
    said = qualify("sensors", "tolerance", "KX", "180").out
    assert "class 1: ±1.5 °C with the measuring junction at 900 °C, cable at -25 to 200 °C" in said
    assert "±60.0 µV [D], which at 180 °C is ±1.503 °C" in said
    beyond = qualify("sensors", "tolerance", "KX", "1800", "--json").record["cables"][0]
    assert beyond["effect_c"] is None and beyond["effect_why"]


@pytest.mark.parametrize(
    ("words", "what"),
    [
        (("tolerance", "k", "180"), "did you mean 'K'?"),
        (("tolerance", "Pt100", "180"), "Pt wire-wound, Pt thin film"),
        (("tolerance", "K", "180", "--document", "ASTM E230"), "did you mean 'ASTM E230/E230M'?"),
        (("tolerance", "K", "180", "--class", "4"), "is not a class for type K"),
        (("tolerance", "K", "hot"), "'hot' is not a number"),
        (("tolerance", "K", "180", "--jsno"), "--jsno"),
        (("emf", "A", "180"), "is not a thermocouple with a reference function"),
        (("emf", "K", "1400"), "holds from -270 °C to 1372 °C; 1400 °C lies outside"),
        (("emf", "K", "180", "--junction", "-300"), "-300 °C lies outside"),
        (("temperature", "K", "7.1"), "--junction"),
        (("temperature", "B", "0.01", "--junction", "25"), "0.01 mV lies outside"),
        (("pt",), "give either a temperature or --resistance"),
        (("pt", "200", "--resistance", "175"), "give either a temperature or --resistance"),
        (("pt", "900"), "holds from -200 °C to 850 °C"),
        (("pt", "--resistance", "400"), "400 Ω lies outside"),
        (("pt", "200", "--r0", "0"), "must be above zero"),
        (("certificates", "none.csv", "--class", "9"), "is not a tolerance class"),
        (("certificates", "none.csv", "--probability", "1"), "lies between 0 and 1"),
    ],
)
def test_called_wrongly(words: tuple[str, ...], what: str) -> None:
    said = qualify("sensors", *words)
    assert said.status == 2 and said.out == ""
    assert what in " ".join(said.err.split())


# ---- reference functions ----


def test_emf_and_its_way_back() -> None:
    there = qualify("sensors", "emf", "K", "180", "--junction", "25", "--json").record
    assert there["voltage_mv"] == pytest.approx(7.340 - 1.000, abs=0.001)
    assert there["sensitivity_uv_per_c"] == pytest.approx(39.917, abs=0.001)
    voltage = there["voltage_mv"]
    back = qualify("sensors", "temperature", "K", repr(voltage), "--junction", "25", "--json").record
    assert back["temperature_c"] == pytest.approx(180.0, abs=1e-8)
    assert back["per_junction_c"] == pytest.approx(1.015, abs=0.001)


def test_temperature_says_what_errors_make() -> None:
    said = qualify("sensors", "temperature", "K", "7.1", "--junction", "77", "--units", "F").out
    assert "reference junction at 77 °F" in said
    assert "temperature  390.278 °F" in said
    assert "an error of 1 °F of the reference junction makes 1.014 °F" in said
    assert "an error of 10 µV of input or cable makes 0.450 °F" in said


def test_type_c_prints_its_standing() -> None:
    said = qualify("sensors", "emf", "C", "1000").out
    assert "reference function [M]" in said and "[M] from memory, not confirmed" in said
    assert "[M]" not in qualify("sensors", "emf", "K", "1000").out


def test_type_b_falls_near_zero() -> None:
    record = qualify("sensors", "emf", "B", "0", "--junction", "50", "--json").record
    assert record["sensitivity_uv_per_c"] == pytest.approx(-0.2465, abs=0.0001)
    assert record["per_10_uv_c"] == pytest.approx(10.0 / -0.2465, rel=1e-4)


def test_platinum_both_ways() -> None:
    assert "resistance   175.8560 Ω" in qualify("sensors", "pt", "200").out
    assert "temperature  200 °C" in qualify("sensors", "pt", "--resistance", "175.856").out
    assert qualify("sensors", "pt", "-100", "--r0", "1000", "--json").record["resistance_ohm"] == (
        pytest.approx(602.558, abs=0.001)
    )
    assert "sensitivity  0.20429 Ω/°F" in qualify("sensors", "pt", "392", "--units", "F").out


# ---- certificates ----


def test_class_by_certificate(file: Path) -> None:
    said = qualify("sensors", "certificates", file, "--type", "K")
    assert said.status == 0
    one, two = re.findall(r"type K by IEC 60584-1: (.*)", said.out)
    assert one == "simply class 1, guarded by U class 1, with a probability of 0.95 class 1"
    assert two == "simply class 2, guarded by U no class, with a probability of 0.95 no class"
    assert "no tolerance defined at 99.1, 199.3 °C" in said.out


def test_a_class_that_was_bought(file: Path) -> None:
    words = ("sensors", "certificates", file, "--type", "K", "--class", "2")
    guarded, simple = qualify(*words), qualify(*words, "--rule", "simple")
    assert (guarded.status, simple.status) == (1, 0)
    assert guarded.out.count("class 2 (guarded): shown") == 1
    assert guarded.out.count("class 2 (guarded): NOT SHOWN") == 1
    assert [item["meets_wanted"] for item in qualify(*words, "--json").record["certificates"]] == [
        True,
        False,
    ]


def test_a_type_that_nobody_told(file: Path) -> None:
    said = qualify("sensors", "certificates", file)
    assert said.status == 0
    assert said.out.count("class not shown: the sensor's type is not known") == 2
    assert qualify("sensors", "certificates", file, "--class", "2").status == 1


def test_another_document(file: Path) -> None:
    words = ("sensors", "certificates", file, "--type", "K", "--document", "ASTM E230/E230M")
    assert "simply class special" in qualify(*words).out


def test_a_file_that_is_none(tmp_path: Path) -> None:
    said = qualify("sensors", "certificates", tmp_path / "none.csv", "--type", "K")
    assert said.status == 3 and "mend:" in said.err


# ---- the page ----


def test_the_page_shows_what_is_printed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    text = PAGE.read_text(encoding="utf-8").split("\n## Certificates", 1)[0]
    monkeypatch.chdir(tmp_path)
    (tmp_path / "certificates.csv").write_text(CERTIFICATES, encoding="utf-8")
    assert CERTIFICATES in text
    blocks = re.findall(r"```console\n\$ qualify ([^\n]+)\n(.*?)```", text, re.DOTALL)
    assert len(blocks) == 6
    for words, shown in blocks:
        said = qualify(*shlex.split(words))
        assert said.status in (0, 1) and said.out == shown, words


@pytest.mark.parametrize("form", ["csv", "xlsx", "toml"])
def test_a_template_is_written_once_and_reads(form, tmp_path):
    from qualify.inputs import load
    from qualify.sensors.certificates import read_certificates

    path = tmp_path / f"certificates.{form}"
    said = qualify("sensors", "template", path)
    assert (said.status, "invented" in said.out) == (0, True)
    assert read_certificates(load(path, "certificates")).points
    assert qualify("sensors", "template", path).status == 3
    assert qualify("sensors", "template", tmp_path / "a.pdf").status == 2
