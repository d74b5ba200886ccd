"""Certificates: every form says the same, spools, drift, curves, dates, and what is refused or doubted."""

from __future__ import annotations

from datetime import date
from math import sqrt
from pathlib import Path
from typing import Any

import numpy as np
import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from qualify.findings import Refusal
from qualify.inputs import InputFile, load
from qualify.readings.model import Channel
from qualify.sensors.certificate import Certificates
from qualify.sensors.certificates import Judged, Rules, corrections_for, merged, read_certificates
from qualify.sensors.certificates_template import write_template
from qualify.sensors.corrections import Correction
from qualify.thermocouples import sensitivity_mv_per_c
from tests.support.command import Ran, qualify
from tests.support.surveys import plain_run, write_csv

CHANNELS = [Channel(f"T{number}", f"T{number} (°C)", "run.csv", "°C") for number in (1, 2, 3)]
AT = np.array([20.0, 75.0, 150.0, 180.0, 199.0])


def written(text: str, name: str = "c.csv") -> Certificates:
    return read_certificates(InputFile(name, Path(name), text.encode(), "", "certificates"))


def corrected(
    certificates: Certificates, *items: Judged, rules: Rules | None = None
) -> tuple[Correction | None, ...]:
    return corrections_for(
        certificates,
        items or [Judged(CHANNELS[0], "S-01")],
        CHANNELS,
        reach_c=0.0,
        reach_uncertainty_c=0.0,
        rules=rules,
    )


def one(certificates: Certificates, item: Judged | None = None, rules: Rules | None = None) -> Correction:
    (found,) = corrected(certificates, *([item] if item else []), rules=rules)
    assert found is not None
    return found


def refused(text: str, *, code: str, name: str = "c.csv", rules: Rules | None = None, **item: str) -> Refusal:
    with pytest.raises(Refusal) as caught:
        one(written(text, name), Judged(CHANNELS[0], item.pop("sensor", "S-01"), **item), rules)
    assert caught.value.code == code, caught.value
    return caught.value


# ---- forms ----


def test_the_templates_of_all_forms_say_the_same(tmp_path: Path) -> None:
    read = []
    for form in ("csv", "xlsx", "toml"):
        path = tmp_path / f"certificates.{form}"
        write_template(path, form)
        found = read_certificates(load(path, "certificates"))
        read.append(
            [(item.number, item.heat, item.due, item.sensor, item.sample) for item in found.certificates]
        )
        spooled, own = Judged(CHANNELS[0], "", spool="SP-7"), Judged(CHANNELS[1], "S-01")
        for correction, expected in zip(
            corrected(found, spooled, own), ([0.2, -0.2], [0.2, -0.5]), strict=True
        ):
            assert correction is not None
            assert correction.steps[0].correction_c == pytest.approx(expected)
            assert correction.steps[0].expanded_uncertainty_c.tolist() == [0.6, 0.6]
    assert read[0] == read[1] == read[2]
    assert read[0][0][0] == "INV-1001" and read[0][0][2] == date(2027, 1, 15) and read[0][0][1].uses == 14
    assert "invented" in (tmp_path / "certificates.csv").read_text(encoding="utf-8").casefold()
    with pytest.raises(Refusal, match="already"):
        write_template(tmp_path / "certificates.csv", "csv")


def test_the_old_header_still_reads() -> None:
    text = (
        "channel,sensor,temperature,correction,expanded_uncertainty,coverage_factor,unit\n"
        "T1,S-01,200,0.4,0.5,2,C\nT1,S-01,100,0.2,0.5,2,C\n"
    )
    correction = one(written(text))
    assert correction.apply(np.array([150.0]))[0][0] == pytest.approx(150.3)
    assert correction.expanded_uncertainty_c(np.array([150.0])) == pytest.approx(0.5)
    assert correction.steps[0].rows == (3, 2)


def sheet_of(path: Path, rows: list[list[Any]]) -> Certificates:
    book = openpyxl.Workbook()
    assert book.active is not None
    book.active.append(["Written by nobody"])
    sheet = book.create_sheet("points")
    for row in rows:
        sheet.append(row)
    book.save(path)
    return read_certificates(load(path, "certificates"))


def test_a_sheet_with_numbers_for_names_dates_and_a_foreword(tmp_path: Path) -> None:
    header = ["sensor", "temperature", "error", "unit", "calibrated", "due"]
    rows: list[list[Any]] = [header, [101, 100, 0.25, "F", date(2026, 1, 2), date(2027, 1, 2)]]
    read = sheet_of(tmp_path / "c.xlsx", rows)
    (certificate,) = read.certificates
    assert (certificate.sensor, certificate.due) == ("101", date(2027, 1, 2))
    assert certificate.points[0].correction_c == pytest.approx(-0.25 / 1.8)
    assert certificate.points[0].row == 2


@pytest.mark.parametrize("cell", ["=0.1+0.1", "#DIV/0!"])
def test_a_formula_without_value_or_an_error_is_refused(tmp_path: Path, cell: str) -> None:
    header = ["sensor", "temperature", "correction", "expanded_uncertainty", "coverage_factor", "unit"]
    with pytest.raises(Refusal) as caught:
        sheet_of(tmp_path / "c.xlsx", [header, ["S-01", 100, 0.25, cell, 2, "C"]])
    assert caught.value.code in ("certificates-formula", "certificates-cell")
    assert "row 2" in caught.value.where


def test_a_damaged_workbook_is_refused(tmp_path: Path) -> None:
    write_template(tmp_path / "c.xlsx", "xlsx")
    data = (tmp_path / "c.xlsx").read_bytes()
    (tmp_path / "c.xlsx").write_bytes(data[: len(data) // 2])
    with pytest.raises(Refusal) as caught:
        read_certificates(load(tmp_path / "c.xlsx", "certificates"))
    assert caught.value.code == "certificates-workbook"


NUMBERS = st.floats(-2.0, 2.0).map(lambda value: round(value, 3))
POINTS = st.lists(NUMBERS, min_size=2, max_size=8)


def csv_of(rows: list[tuple[float, float]], *, unit: str, by: str, sign: str) -> str:
    """Points (indication, correction) in °C, written in another unit, by the reference, as errors."""
    factor, offset = (1.8, 32.0) if unit == "F" else (1.0, 0.0)
    lines = [f"sensor,{by},{sign},expanded_uncertainty,coverage_factor,unit"]
    for temperature, correction in rows:
        at = temperature if by == "temperature" else temperature + correction
        deviation = correction if sign == "correction" else -correction
        lines.append(f"S-01,{at * factor + offset!r},{deviation * factor!r},{0.3 * factor!r},2,{unit}")
    return "\n".join(lines)


@given(POINTS, st.sampled_from(["C", "F"]), st.booleans(), st.booleans(), st.randoms())
def test_unit_sign_reference_and_order_change_no_corrected_reading(
    corrections: list[float], unit: str, by_reference: bool, as_error: bool, random: Any
) -> None:
    rows = [(20.0 + 25.0 * index, value) for index, value in enumerate(corrections)]
    plain = one(written(csv_of(rows, unit="C", by="temperature", sign="correction")))
    random.shuffle(rows)
    text = csv_of(
        rows,
        unit=unit,
        by="reference_temperature" if by_reference else "temperature",
        sign="error" if as_error else "correction",
    )
    other = one(written(text))
    readings = np.linspace(20.0, 20.0 + 25.0 * (len(rows) - 1), 31)[1:-1]
    assert other.apply(readings)[0] == pytest.approx(plain.apply(readings)[0], abs=1e-9)
    assert other.expanded_uncertainty_c(readings) == pytest.approx(plain.expanded_uncertainty_c(readings))


def test_millivolts_become_degrees_by_the_slope_at_the_point() -> None:
    text = (
        "sensor,type,temperature,error,correction_unit,expanded_uncertainty,coverage_factor,unit\n"
        "S-01,k,200,0.010,mV,0.008,2,C\n"
    )
    (certificate,) = written(text).certificates
    slope = float(sensitivity_mv_per_c("K", 200.0))
    assert certificate.type == "K"
    assert certificate.points[0].correction_c == pytest.approx(-0.010 / slope)
    assert certificate.points[0].expanded_uncertainty_c == pytest.approx(0.008 / slope)
    fahrenheit = text.replace(",200,", ",392,").replace(",C\n", ",F\n")
    assert written(fahrenheit).points[0].correction_c == pytest.approx(-0.010 / slope)


# ---- what is refused ----

HEAD = (
    "sensor,certificate,calibrated,due,type,temperature,correction,expanded_uncertainty,coverage_factor,unit"
)


@pytest.mark.parametrize(
    ("row", "code", "says"),
    [
        ("S-01,A,2026-02-30,,K,100,0.1,0.3,2,C", "certificates-cell", "2026-02-30"),
        ("S-01,A,02.03.2026,,K,100,0.1,0.3,2,C", "certificates-cell", "calibrated"),
        (
            "S-01,A,2026-03-02,2026-03-01,K,100,0.1,0.3,2,C",
            "certificates-due-before-calibrated",
            "2026-03-01",
        ),
        ("S-01,A,2026-03-02,,K,100,0.1,0.3,,C", "certificates-factor-missing", "coverage_factor"),
        ("S-01,A,2026-03-02,,K,100,0.1,0.3,2,", "certificates-unit-missing", "unit"),
        ("S-01,A,2026-03-02,,K,100,0.1,0.3,2", "certificates-unit-missing", "unit"),
        ("S-01,A,2026-03-02,,K,100,0.1,0.3,2,mV", "certificates-cell", "mV"),
        ("S-01,A,,,K,100,0.1,0.3,2,C\nS-01,A,,,K,100,0.2,0.3,2,C", "certificates-same-point", "row 3"),
        ("S-01,A,,,K,100,0.1,0.3,2,C\nS-01,A,,,J,120,0.2,0.3,2,C", "certificates-head-differs", "'J'"),
        ("S-01,A,,,K,100,0.1,0.3,2,C,7", "certificates-header", "more cells"),
        ("S-01,A,,,K,100,0.1,0.3,2,C\nS-01,B,,,K,120,0.2,0.3,2,C", "certificates-undated", "date"),
    ],
)
def test_what_is_refused_names_its_place(row: str, code: str, says: str) -> None:
    assert says in str(refused(f"{HEAD}\n{row}\n", code=code))


def test_type_letters_in_lower_case_and_unsorted_points_are_taken() -> None:
    correction = one(written(f"{HEAD}\nS-01,A,,,type k,200,0.4,,,C\nS-01,A,,,type k,100,0.2,,,C\n"))
    assert correction.steps[0].certificates[0].type == "K"
    assert correction.steps[0].temperature_c.tolist() == [100.0, 200.0]


@pytest.mark.parametrize(
    ("text", "code", "says"),
    [
        ("x = 1", "certificates-not-toml", "unknown key"),
        ("[[certificate]\n", "certificates-not-toml", "line 1"),
        ('[[certificate]]\nsensor = "S-01"\nunit = "C"\n', "certificates-not-toml", "points"),
        (
            '[[certificate]]\nsensor = "S-01"\nunit = "C"\npoints = [{ temperature = 1, deviation = 2 }]',
            "certificates-deviation",
            "certificate[1].points[1].deviation",
        ),
        (
            '[[certificate]]\nsensor = "S-01"\nunti = "C"\npoints = [{ temperature = 1, correction = 2 }]',
            "certificates-header",
            "did you mean 'unit'",
        ),
    ],
)
def test_toml_that_can_not_be_used(text: str, code: str, says: str) -> None:
    assert says in str(refused(text, code=code, name="c.toml"))


@pytest.mark.parametrize("kind", ["", "B"])
def test_millivolts_without_a_usable_slope_are_refused(kind: str) -> None:
    text = f"sensor,type,temperature,error,correction_unit,unit\nS-01,{kind},21,0.010,mV,C\n"
    refused(text, code="certificates-millivolts")


# ---- spools ----

SPOOL = "certificate,spool,sample,temperature,correction,expanded_uncertainty,coverage_factor,unit"
ENDS = "N,W,a,100,0.1,0.4,2,C\nN,W,a,200,0.2,0.4,2,C\nN,W,b,100,0.3,0.4,2,C\nN,W,b,200,0.8,0.6,2,C"


def test_a_spool_s_mean_its_range_and_what_its_sensors_share() -> None:
    certificates = written(f"{SPOOL}\n{ENDS}\n")
    items = [Judged(CHANNELS[0], "", spool="W"), Judged(CHANNELS[1], "", spool="W")]
    steps = [found.steps[0] for found in corrected(certificates, *items) if found is not None]
    assert steps[0].shared_key == steps[1].shared_key != ""
    step = steps[0]
    assert step.correction_c == pytest.approx([0.2, 0.5])
    assert step.private_uncertainty_c == pytest.approx([0.1 / sqrt(3), 0.3 / sqrt(3)])
    at = np.array([100.0, 150.0, 200.0])
    assert step.shared_uncertainty_at(at) == pytest.approx([0.2, 0.3, 0.3])
    assert step.private_uncertainty_at(at) == pytest.approx(np.array([0.1, 0.3, 0.3]) / sqrt(3))
    combined = sqrt(0.3**2 + 0.3**2 / 3)
    assert step.standard_uncertainty_at(at)[1:] == pytest.approx([combined, combined])
    correction = one(certificates, items[0])
    assert correction.expanded_uncertainty_c(at) == pytest.approx(2 * combined)


def test_a_sample_itself_keeps_its_own_points() -> None:
    step = one(written(f"{SPOOL}\n{ENDS}\n"), Judged(CHANNELS[0], "", spool="W", sample="b")).steps[0]
    assert step.correction_c.tolist() == [0.3, 0.8]
    assert step.private_uncertainty_c is None and step.shared_key == ""


@pytest.mark.parametrize(
    ("rows", "limit", "code"),
    [
        ("N,W,a,100,0.1,0.4,2,C", None, "spool-too-few-samples"),
        ("N,W,a,100,0.1,0.4,2,C\nN,W,b,120,0.1,0.4,2,C", None, "spool-points-differ"),
        ("N,W,a,100,0.1,,,C\nN,W,a,200,0.1,,,C\nN,W,b,100,0.1,,,C", None, "spool-points-differ"),
        (ENDS, 0.5, "spool-range"),
    ],
)
def test_a_spool_that_is_no_one_certificate(rows: str, limit: float | None, code: str) -> None:
    refusal = refused(f"{SPOOL}\n{rows}\n", code=code, sensor="", spool="W", rules=Rules(spool_range_c=limit))
    assert "spool 'W'" in refusal.what


def test_a_range_at_the_limit_is_accepted() -> None:
    one(written(f"{SPOOL}\n{ENDS}\n"), Judged(CHANNELS[0], "", spool="W"), Rules(spool_range_c=0.6))


# ---- before and after ----

PAIR = (
    f"{HEAD},immersion_mm\n"
    "S-01,A,2026-01-10,,N,100,0.2,0.3,2,C,{0}\nS-01,A,2026-01-10,,N,200,0.4,0.3,2,C,{0}\n"
    "S-01,B,2026-04-10,,N,100,0.3,0.4,2,C,{1}\nS-01,B,2026-04-10,,N,200,1.4,0.4,2,C,{1}\n"
)
DAY = date(2026, 3, 2)


@pytest.mark.parametrize(
    ("use", "correction", "half_width"),
    [
        ("mean", [0.25, 0.9], [0.05, 0.5]),
        ("before", [0.2, 0.4], [0.1, 1.0]),
        ("after", [0.3, 1.4], [0.1, 1.0]),
    ],
)
def test_two_calibrations_of_one_sensor(use: str, correction: list[float], half_width: list[float]) -> None:
    step = one(written(PAIR.format(300, 300)), rules=Rules(use=use, day=DAY)).steps[0]
    assert step.drift is not None
    assert step.drift.drift_c == pytest.approx([0.1, 1.0])
    assert step.drift.standard_uncertainty_c == pytest.approx([0.25, 0.25])
    assert step.drift.significant.tolist() == [False, True]
    assert step.correction_c == pytest.approx(correction)
    assert step.private_uncertainty_c == pytest.approx(np.array(half_width) / sqrt(3))
    own = {"mean": 0.2, "before": 0.15, "after": 0.2}[use]
    assert step.shared_uncertainty_at(np.array([150.0])) == pytest.approx([own])
    assert ("mean of both" in step.basis) == (use == "mean")


def test_a_laboratory_s_errors_count_as_shared_only_where_told() -> None:
    step = one(written(PAIR.format(300, 300)), rules=Rules(correlation=1.0, day=DAY)).steps[0]
    assert step.drift is not None
    assert step.drift.standard_uncertainty_c == pytest.approx([0.05, 0.05])
    assert step.drift.significant.tolist() == [True, True]


def test_the_day_chooses_which_calibration_holds() -> None:
    read = written(PAIR.format(300, 300))
    for day, expected in ((date(2026, 5, 1), 1.4), (date(2026, 1, 1), 0.4)):
        step = one(read, rules=Rules(day=day)).steps[0]
        assert step.drift is None
        assert step.correction_c[1] == expected


def test_several_files_are_one_list() -> None:
    lines = PAIR.format(300, 300).splitlines()
    parts = ["\n".join([lines[0], *lines[1:3]]), "\n".join([lines[0], *lines[3:]])]
    read = merged([written(parts[0], "a.csv"), written(parts[1], "b.csv")])
    assert one(read, rules=Rules(day=DAY)).steps[0].correction_c == pytest.approx([0.25, 0.9])


# ---- curves ----


@given(st.lists(NUMBERS, min_size=5, max_size=9), st.sampled_from([1, 2]), st.randoms())
def test_a_curve_is_the_least_squares_polynomial(values: list[float], degree: int, random: Any) -> None:
    rows = [(20.0 + 22.0 * index, value) for index, value in enumerate(values)]
    shuffled = rows.copy()
    random.shuffle(shuffled)
    text = csv_of(shuffled, unit="C", by="temperature", sign="correction")
    step = one(written(text), rules=Rules(degree=degree)).steps[0]
    assert step.curve is not None
    t, b = np.array(rows).T
    at = np.linspace(t[0], t[-1], 12)
    expected, covariance = np.polyfit(t - 100.0, b, degree, cov="unscaled")
    assert step.correction_at(at) == pytest.approx(np.polyval(expected, at - 100.0), abs=1e-9)
    residual = b - np.polyval(expected, t - 100.0)
    variance = (residual**2).sum() / (t.size - degree - 1)
    powers = np.vander(at - 100.0, degree + 1)
    of_fit = np.einsum("ij,jk,ik->i", powers, covariance * variance, powers)
    assert step.standard_uncertainty_at(at) == pytest.approx(np.sqrt(of_fit + 0.15**2), abs=1e-7)
    low, high = step.correction_at(np.array([t[0], t[-1]]))
    assert step.correction_at(np.array([t[0] - 50.0, t[-1] + 50.0])) == pytest.approx([low, high])


def test_a_curve_through_too_few_points_is_refused() -> None:
    text = csv_of([(20.0, 0.1), (100.0, 0.2), (200.0, 0.1)], unit="C", by="temperature", sign="correction")
    assert "needs 4" in str(refused(text, code="certificates-too-few-for-curve", rules=Rules(degree=1)))


def test_a_correction_from_one_certificate_keeps_its_own_k() -> None:
    text = csv_of([(20.0 + 40 * n, 0.1 * n * n) for n in range(5)], unit="C", by="temperature", sign="error")
    text = text.replace(",2,C", ",2.1,C")
    assert one(written(text)).coverage_factor == 2.1
    assert one(written(text), rules=Rules(degree=1)).coverage_factor == 2.0


# ---- in a survey ----

PLAN = """
[plan]
units = "C"
accept_conditional = true

[certificates]
file = "c.csv"
{choice}

[[locations]]
name = "A"
channel = "T1"
sensor = "S-01"
type = "{type}"

[[locations]]
name = "B"
channel = "T2"
spool = "W"

[[locations]]
name = "D"
channel = "T3"
spool = "W"
{instruments}
[[surveys]]
name = "empty"
stage = "operation"
files = ["run.csv"]

[[surveys.holds]]
setpoint = 180
tolerance = 3
"""
HEADS = (
    "certificate,laboratory,calibrated,due,type,sensor,spool,sample,"
    "temperature,correction,expanded_uncertainty,coverage_factor,unit\n"
)


def rows_of(
    number: str, kind: str, whose: str, correction: float, dates: str = "2026-01-10,2027-01-10"
) -> str:
    lines = [
        f"{number},Invented,{dates},{kind},{whose},{t},{correction if t else 0},0.3,2,C"
        for t in (0, 100, 150, 250)
    ]
    return "\n".join(lines) + "\n"


GOOD = (
    HEADS
    + rows_of("N-1", "K", "S-01,,", 0.3)
    + rows_of("N-2", "K", ",W,a", 0.1)
    + rows_of("N-2", "K", ",W,b", 0.3)
)


def run(folder: Path, certificates: str = GOOD, *, start: bool = True, **fields: str) -> Ran:
    settings = {"choice": "", "type": "K", "instruments": ""} | fields
    made = {"start": None} if not start else {}
    write_csv(folder / "run.csv", *plain_run([0.0, 0.4, -0.4]), **made)
    (folder / "c.csv").write_text(certificates, encoding="utf-8")
    (folder / "plan.toml").write_text(PLAN.format(**settings), encoding="utf-8")
    return qualify("run", folder / "plan.toml", "--json", "--out", folder / "pack")


def kinds(ran: Ran) -> set[str]:
    return {item["kind"] for item in ran.survey["doubts"] if "certificate" in item["kind"]}


def test_a_survey_with_a_spool_says_where_its_corrections_come_from(tmp_path: Path) -> None:
    ran = run(tmp_path)
    assert (ran.status, ran.record["verdict"]) == (0, "pass"), ran.err
    assert kinds(ran) == set()
    first = ran.record["certificates"][0]
    assert {key: first[key] for key in ("number", "laboratory", "calibrated", "due", "type", "of")} == {
        "number": "N-1",
        "laboratory": "Invented",
        "calibrated": "2026-01-10",
        "due": "2027-01-10",
        "type": "K",
        "of": "sensor",
    }
    assert "IEC 60584-1" in first["class_shown"]
    by_name = {item["location"]: item for item in ran.survey["locations"]}
    assert by_name["B"]["mean_correction_c"] == pytest.approx(0.2, abs=1e-9)
    assert by_name["B"]["expanded_uncertainty_c"] == pytest.approx(2 * sqrt(0.15**2 + 0.1**2 / 3))
    assert any("mean of 2 samples of spool 'W'" in step for step in ran.record["steps"])
    sheet = openpyxl.load_workbook(tmp_path / "pack" / "pack.xlsx", data_only=True)["Sensors"]
    shown = {row[0]: row for row in sheet.iter_rows(values_only=True)}
    assert shown["A"][8:12] == ("N-1", "Invented", "2026-01-10", "2027-01-10")
    assert "IEC 60584-1" in str(shown["A"][12])


@pytest.mark.parametrize(
    ("certificates", "fields", "kind"),
    [
        (GOOD.replace("2027-01-10", "2026-03-01"), {}, "certificate-expired"),
        (GOOD.replace("2026-01-10,", "2026-03-03,"), {}, "certificate-calibrated-later"),
        (GOOD, {"type": "J"}, "certificate-wrong-type"),
        (GOOD, {"instruments": '[[instruments]]\nname = "logger"\n'}, "instrument-without-certificate"),
        (
            GOOD,
            {"instruments": '[[instruments]]\nname = "logger"\ncertificate = "L"\ndue = 2026-03-01\n'},
            "certificate-expired",
        ),
    ],
)
def test_a_certificate_not_in_force_makes_the_verdict_at_most_conditional(
    tmp_path: Path, certificates: str, fields: dict[str, str], kind: str
) -> None:
    ran = run(tmp_path, certificates, **fields)
    assert ran.record["verdict"] == "conditional", ran.err
    assert kinds(ran) == {kind}
    assert any("at most conditional" in remark for remark in ran.survey["remarks"])


def test_a_certificate_due_on_the_day_is_in_force(tmp_path: Path) -> None:
    ran = run(tmp_path, GOOD.replace("2027-01-10", "2026-03-02"))
    assert (ran.record["verdict"], kinds(ran)) == ("pass", set())


def test_elapsed_times_take_the_surveyor_s_date_or_judge_nothing(tmp_path: Path) -> None:
    expired = GOOD.replace("2027-01-10", "2026-03-01")
    ran = run(tmp_path, expired, start=False)
    assert (ran.record["verdict"], kinds(ran)) == ("pass", {"certificate-day-unknown"})
    (tmp_path / "dated").mkdir()
    dated = run(
        tmp_path / "dated",
        expired,
        start=False,
        choice='[plan.surveyor]\nname = "D. Example"\ndate = 2026-03-02\n',
    )
    assert (dated.record["verdict"], kinds(dated)) == ("conditional", {"certificate-expired"})


def test_drift_is_judged_and_said(tmp_path: Path) -> None:
    after = rows_of("N-9", "K", "S-01,,", 1.1, "2026-04-01,2027-04-01")
    ran = run(tmp_path, GOOD + after)
    assert kinds(ran) == {"certificate-drift", "certificate-drift-immersion"}
    location = next(item for item in ran.survey["locations"] if item["location"] == "A")
    assert location["mean_correction_c"] == pytest.approx(0.7)
    assert location["expanded_uncertainty_c"] == pytest.approx(2 * sqrt(0.15**2 + 0.4**2 / 3))
    assert any("mean of both used" in step for step in ran.record["steps"])
    (tmp_path / "two").mkdir()
    ran = run(tmp_path / "two", GOOD + after, choice='use = "before"')
    location = next(item for item in ran.survey["locations"] if item["location"] == "A")
    assert location["mean_correction_c"] == pytest.approx(0.3)


def test_a_correction_beyond_twice_its_class_is_doubted(tmp_path: Path) -> None:
    ran = run(tmp_path, GOOD.replace(",0.3,0.3,2,C", ",-6.1,0.3,2,C", 3))
    (doubt,) = [item for item in ran.survey["doubts"] if item["kind"] == "certificate-above-tolerance"]
    assert doubt["location"] == "A" and "class 2" in doubt["text"]
    (tmp_path / "less").mkdir()
    within = run(tmp_path / "less", GOOD.replace(",0.3,0.3,2,C", ",-4.9,0.3,2,C", 3))
    assert "certificate-above-tolerance" not in kinds(within)


def test_a_turned_sign_widens_the_spread_of_co_located_sensors(tmp_path: Path) -> None:
    """Raw, A lies at 180.0 and B at 180.4 °C; −0.3 at A and +0.8 at B carry them 1.5 °C apart."""
    choice = 'co_located = ["A", "B"]'
    apart = HEADS + rows_of("N-1", "K", "S-01,,", -0.3)
    apart += rows_of("N-2", "K", ",W,a", 0.7) + rows_of("N-2", "K", ",W,b", 0.9)
    ran = run(tmp_path, apart, choice=choice)
    (doubt,) = [item for item in ran.survey["doubts"] if item["kind"] == "certificate-sign"]
    assert "in the window" in doubt["text"] and "from 0.40 to 1.50" in doubt["text"]
    assert "the other sign at 'B'" in doubt["text"]
    (tmp_path / "right").mkdir()
    assert "certificate-sign" not in kinds(run(tmp_path / "right", choice=choice))


def test_a_list_with_more_sensors_than_the_survey_uses(tmp_path: Path) -> None:
    more = GOOD + rows_of("N-5", "K", "S-77,,", 0.1)
    ran = run(tmp_path, more)
    assert ran.status == 3 and "S-77" in ran.err and "more_sensors" in ran.err
    ran = run(tmp_path, more, choice="more_sensors = true")
    assert ran.status == 0
    assert any("certificate N-5 of sensor 'S-77'" in step for step in ran.record["steps"])


@pytest.mark.parametrize("word", ["line", "polynomial-1", "linear"])
def test_the_plan_chooses_the_interpolation(tmp_path: Path, word: str) -> None:
    ran = run(tmp_path, choice=f'interpolation = "{word}"')
    assert ran.status == 0, ran.err
    assert any("straight line" in step for step in ran.record["steps"]) == (word != "linear")
    for item in ("verify", tmp_path / "pack"), ("verify", "--help"):
        assert qualify(*item).status == 0


@pytest.mark.parametrize(
    ("choice", "says"),
    [
        ('interpolation = "spline"', "one of linear"),
        ('use = "later"', "before, after, mean"),
        ("laboratory_correlation = 1.5", "0 to 1"),
        ('co_located = ["A", "X"]', "'X'"),
        ('co_located = ["A"]', "at least two"),
        ('files = ["c.csv"]', "stands twice"),
        ("spool_range = 0.1", "0.2 °C apart"),
        ('interpolation = "polynomial-2"', "needs 5"),
    ],
)
def test_plan_keys_that_can_not_be_meant(tmp_path: Path, choice: str, says: str) -> None:
    ran = run(tmp_path, choice=choice)
    assert ran.status == 3 and says in ran.err, ran.err


def test_several_files_in_a_plan_are_packed_and_verified(tmp_path: Path) -> None:
    own, spool = (
        HEADS + rows_of("N-1", "K", "S-01,,", 0.3),
        GOOD.replace(rows_of("N-1", "K", "S-01,,", 0.3), ""),
    )
    (tmp_path / "more").mkdir()
    (tmp_path / "more" / "c.csv").write_text(spool, encoding="utf-8")
    ran = run(tmp_path, own, choice='files = ["more/c.csv"]')
    assert (ran.status, ran.record["verdict"]) == (0, "pass"), ran.err
    assert [item["path"] for item in ran.record["inputs"] if item["role"] == "certificates"] == [
        "c.csv",
        "c-2.csv",
    ]
    assert {item["file"] for item in ran.record["certificates"]} == {"c.csv", "c-2.csv"}
    assert qualify("verify", tmp_path / "pack").status == 0


def test_before_heat_start_a_turned_sign_shows_too(tmp_path: Path) -> None:
    """All read 20.0 °C before heat start; corrections of 1 °C to either side pull them apart."""
    lines = []
    for number, sensor, value in (("N-1", "S-01,,", 1.0), ("N-2", ",W,a", -1.0), ("N-2", ",W,b", -1.0)):
        lines.append(rows_of(number, "K", sensor, value).replace(",0,0,0.3", f",0,{value},0.3"))
    ran = run(tmp_path, HEADS + "".join(lines))
    (doubt,) = [item for item in ran.survey["doubts"] if item["kind"] == "certificate-sign"]
    assert "before heat start" in doubt["text"] and "from 0.00 to 2.00" in doubt["text"]
    assert "says nothing of their error when hot" in doubt["text"]
