"""Tolerance classes of thermocouples and platinum thermometers at every crossover and boundary.

Sources: IEC 60584-1:2013, ASTM E230/E230M, IEC 60751, IEC 60584-3, each seen in public, mostly secondary
copies (standing C), but for what is marked M (from memory) or X (sources disagree) below; crossovers and spot
values are arithmetic (D). The transcription below was typed for these checks and shares nothing with the
tables of the package. Exact decimals, so that a wrong term can't hide in a tolerance.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise

import numpy as np
import pytest

from qualify.sensors.tolerances import (
    cable_tolerances,
    classes,
    documents,
    ranges,
    tolerance_at,
    tolerances_at,
    tolerances_c,
)
from qualify.standards import rows
from qualify.thermocouples import emf_mv

IEC, ASTM, PT = "IEC 60584-1", "ASTM E230/E230M", "IEC 60751"


@dataclass(frozen=True)
class Entry:
    """One class of one or more types: larger of two terms, or base + share·|t|, between two ends [°C]."""

    document: str
    types: str
    name: str
    low: str
    high: str
    constant: str = "0"
    share: str = "0"
    base: str = "0"
    standing: str = "C"

    @property
    def each_type(self) -> list[str]:
        return self.types.split("+")

    def at(self, temperature: Decimal) -> Decimal:
        return max(Decimal(self.constant), Decimal(self.base) + Decimal(self.share) * abs(temperature))


ENTRIES = [
    # IEC 60584-1:2013. Class 1 and 2: from -40; class 3: from -200 to 40.
    Entry(IEC, "K+N", "1", "-40", "1000", "1.5", "0.004"),
    Entry(IEC, "K+N", "2", "-40", "1200", "2.5", "0.0075"),
    Entry(IEC, "K+N", "3", "-200", "40", "2.5", "0.015"),
    Entry(IEC, "E", "1", "-40", "800", "1.5", "0.004"),
    Entry(IEC, "E", "2", "-40", "900", "2.5", "0.0075"),
    Entry(IEC, "E", "3", "-200", "40", "2.5", "0.015"),
    Entry(IEC, "J", "1", "-40", "750", "1.5", "0.004"),
    Entry(IEC, "J", "2", "-40", "750", "2.5", "0.0075"),
    Entry(IEC, "T", "1", "-40", "350", "0.5", "0.004"),
    Entry(IEC, "T", "2", "-40", "350", "1.0", "0.0075"),
    Entry(IEC, "T", "3", "-200", "40", "1.0", "0.015"),
    Entry(IEC, "R+S", "1", "0", "1600", "1.0", "0.003", base="-2.3"),  # 1 + 0.003·(t − 1100)
    Entry(IEC, "R+S", "2", "0", "1600", "1.5", "0.0025"),
    Entry(IEC, "B", "2", "600", "1700", share="0.0025"),
    Entry(IEC, "B", "3", "600", "1700", "4.0", "0.005"),
    Entry(IEC, "C", "2", "426", "2315", share="0.01", standing="M"),
    Entry(IEC, "A", "2", "1000", "2500", share="0.01", standing="M"),
    # ASTM E230/E230M, initial values; below zero for the standard class only.
    Entry(ASTM, "K+N", "standard", "0", "1260", "2.2", "0.0075"),
    Entry(ASTM, "K+N", "special", "0", "1260", "1.1", "0.004"),
    Entry(ASTM, "J", "standard", "0", "760", "2.2", "0.0075"),
    Entry(ASTM, "J", "special", "0", "760", "1.1", "0.004"),
    Entry(ASTM, "E", "standard", "0", "870", "1.7", "0.005"),
    Entry(ASTM, "E", "special", "0", "870", "1.0", "0.004"),
    Entry(ASTM, "T", "standard", "0", "370", "1.0", "0.0075"),
    Entry(ASTM, "T", "special", "0", "370", "0.5", "0.004"),
    Entry(ASTM, "R+S", "standard", "0", "1480", "1.5", "0.0025"),
    Entry(ASTM, "R+S", "special", "0", "1480", "0.6", "0.001"),
    Entry(ASTM, "B", "standard", "870", "1700", share="0.005"),
    Entry(ASTM, "B", "special", "870", "1700", share="0.0025"),
    Entry(ASTM, "T", "standard", "-200", "0", "1.0", "0.015"),
    Entry(ASTM, "E", "standard", "-200", "0", "1.7", "0.010"),
    Entry(ASTM, "K", "standard", "-200", "0", "2.2", "0.020", standing="X"),
    # IEC 60751: wire-wound, then thin film.
    Entry(PT, "Pt wire-wound", "AA", "-50", "250", share="0.0017", base="0.1"),
    Entry(PT, "Pt wire-wound", "A", "-100", "450", share="0.002", base="0.15"),
    Entry(PT, "Pt wire-wound", "B", "-196", "600", share="0.005", base="0.3"),
    Entry(PT, "Pt wire-wound", "C", "-196", "600", share="0.01", base="0.6"),
    Entry(PT, "Pt thin film", "AA", "0", "150", share="0.0017", base="0.1"),
    Entry(PT, "Pt thin film", "A", "-30", "300", share="0.002", base="0.15"),
    Entry(PT, "Pt thin film", "B", "-50", "500", share="0.005", base="0.3"),
    Entry(PT, "Pt thin film", "C", "-50", "600", share="0.01", base="0.6", standing="M"),
]
ONE_TYPE_EACH = [(entry, kind) for entry in ENTRIES for kind in entry.each_type]

# The tables hold at most four digits; what differs is binary rounding.
ROUNDING = 1e-12


def label(case: tuple[Entry, str]) -> str:
    entry, kind = case
    return f"{entry.document} {kind} {entry.name} from {entry.low}"


def found_at(document: str, kind: str, name: str, temperature: Decimal | float) -> float | None:
    tolerance = tolerance_at(kind, float(temperature), document, name)
    return None if tolerance is None else tolerance.tolerance_c


def other_entries(entry: Entry, kind: str) -> list[Entry]:
    """The other ranges of the same class (below and above zero of ASTM)."""
    return [
        other
        for other in ENTRIES
        if other is not entry
        and (other.document, other.name) == (entry.document, entry.name)
        and kind in other.each_type
    ]


@pytest.mark.parametrize("case", ONE_TYPE_EACH, ids=label)
def test_at_each_end_of_its_range(case: tuple[Entry, str]):
    """At the end there is a tolerance, just inside too, just outside none (but another range's)."""
    entry, kind = case
    for end, outwards in ((Decimal(entry.low), Decimal("-0.001")), (Decimal(entry.high), Decimal("0.001"))):
        for temperature in (end, end - outwards):
            found = found_at(entry.document, kind, entry.name, temperature)
            assert found == pytest.approx(float(entry.at(temperature)), abs=ROUNDING)
        outside = end + outwards
        neighbours = [
            other
            for other in other_entries(entry, kind)
            if Decimal(other.low) <= outside <= Decimal(other.high)
        ]
        found = found_at(entry.document, kind, entry.name, outside)
        if neighbours:
            assert found == pytest.approx(float(neighbours[0].at(outside)), abs=ROUNDING)
        else:
            assert found is None
    result = tolerance_at(
        kind, float((Decimal(entry.low) + Decimal(entry.high)) / 2), entry.document, entry.name
    )
    assert result is not None
    assert result.standing == entry.standing
    assert result.citation.startswith(entry.document)


@pytest.mark.parametrize("case", ONE_TYPE_EACH, ids=label)
def test_on_a_grid_over_its_range(case: tuple[Entry, str]):
    entry, kind = case
    for step in range(101):
        temperature = Decimal(entry.low) + (Decimal(entry.high) - Decimal(entry.low)) * step / 100
        if temperature == 0 and other_entries(entry, kind):
            continue  # both ranges of ASTM meet here; the next test looks at it
        found = found_at(entry.document, kind, entry.name, temperature)
        assert found == pytest.approx(float(entry.at(temperature)), abs=ROUNDING)


@pytest.mark.parametrize(("kind", "value"), [("T", 1.0), ("E", 1.7), ("K", 2.2)])
def test_where_the_ranges_of_one_class_meet(kind: str, value: float):
    assert found_at(ASTM, kind, "standard", 0.0) == pytest.approx(value, abs=ROUNDING)


# Where the second term takes over (D), each at a quarter of a degree before and behind.
CROSSOVERS = [
    (IEC, "KNEJ", "1", "375"),
    (IEC, "KNEJ", "2", "333.333333333333333333"),
    (IEC, "T", "1", "125"),
    (IEC, "T", "2", "133.333333333333333333"),
    (IEC, "KNE", "3", "-166.666666666666666667"),
    (IEC, "T", "3", "-66.666666666666666667"),
    (IEC, "RS", "2", "600"),
    (IEC, "B", "3", "800"),
    (IEC, "RS", "1", "1100"),
    (ASTM, "KNJ", "standard", "293.333333333333333333"),
    (ASTM, "KNJ", "special", "275"),
    (ASTM, "E", "standard", "340"),
    (ASTM, "E", "special", "250"),
    (ASTM, "T", "standard", "133.333333333333333333"),
    (ASTM, "T", "special", "125"),
    (ASTM, "RS", "standard", "600"),
    (ASTM, "RS", "special", "600"),
    (ASTM, "T", "standard", "-66.666666666666666667"),
    (ASTM, "E", "standard", "-170"),
    (ASTM, "K", "standard", "-110"),
]


@pytest.mark.parametrize(("document", "kinds", "name", "crossover"), CROSSOVERS)
def test_both_sides_of_each_crossover(document: str, kinds: str, name: str, crossover: str):
    middle = Decimal(crossover)
    outwards = Decimal("0.25") if middle > 0 else Decimal("-0.25")
    for kind in kinds:
        (entry,) = [
            entry
            for entry, of in ONE_TYPE_EACH
            if (entry.document, of, entry.name) == (document, kind, name)
            and Decimal(entry.low) <= middle <= Decimal(entry.high)
        ]
        constant, slope = float(entry.constant), float(entry.share)
        # Before it the constant, at it both, behind it a quarter of a degree times the share more.
        assert found_at(document, kind, name, middle - outwards) == pytest.approx(constant, abs=ROUNDING)
        assert found_at(document, kind, name, middle) == pytest.approx(constant, abs=ROUNDING)
        assert found_at(document, kind, name, middle + outwards) == pytest.approx(
            constant + 0.25 * slope, abs=ROUNDING
        )


SPOT_VALUES = [
    (IEC, "K", 180, {"1": 1.5, "2": 2.5}),
    (IEC, "K", 400, {"1": 1.6, "2": 3.0}),
    (IEC, "K", 500, {"1": 2.0, "2": 3.75}),
    (IEC, "K", 1000, {"1": 4.0, "2": 7.5}),
    (IEC, "S", 1200, {"1": 1.3}),
    (IEC, "S", 1500, {"1": 2.2}),
    (IEC, "S", 1600, {"1": 2.5}),
    (PT, "Pt wire-wound", 100, {"AA": 0.27, "A": 0.35, "B": 0.80, "C": 1.60}),
    (PT, "Pt wire-wound", 200, {"AA": 0.44, "A": 0.55, "B": 1.30, "C": 2.60}),
    (PT, "Pt thin film", 100, {"AA": 0.27, "A": 0.35, "B": 0.80, "C": 1.60}),
]


@pytest.mark.parametrize(("document", "kind", "temperature", "values"), SPOT_VALUES)
def test_spot_values(document: str, kind: str, temperature: int, values: dict[str, float]):
    """Arithmetic done by hand (D)."""
    for name, value in values.items():
        assert found_at(document, kind, name, temperature) == pytest.approx(value, abs=ROUNDING)


def test_no_class_where_the_document_has_none():
    for kind, name in (("J", "3"), ("R", "3"), ("S", "3"), ("B", "1"), ("C", "1"), ("K", "4"), ("X", "1")):
        for temperature in (-100.0, 0.0, 20.0, 700.0, 1200.0):
            assert tolerance_at(kind, temperature, IEC, name) is None
    for kind in ("N", "J", "R", "S", "B"):  # no tolerance below zero was found, or sources disagree
        assert tolerance_at(kind, -0.001, ASTM, "standard") is None
    for kind in ("K", "N", "J", "E", "T", "R", "S", "B"):
        assert tolerance_at(kind, -0.001, ASTM, "special") is None
    assert tolerance_at("K", 180.0, "IEC 60584-2", "1") is None


def test_the_package_has_these_rows_and_no_others():
    """Both transcriptions hold the same classes, types and ranges."""
    ours = {
        (entry.document, kind, entry.name, float(entry.low), float(entry.high), entry.standing)
        for entry, kind in ONE_TYPE_EACH
    }
    theirs = [
        (row["document"], kind, row["class"], row["from"], row["to"], row["standing"])
        for row in rows("sensor_tolerances", "tolerance")
        for kind in row["types"]
    ]
    assert len(theirs) == len(set(theirs))
    assert set(theirs) == ours


# ---- invariants ----

ORDER = {IEC: ("1", "2", "3"), ASTM: ("special", "standard"), PT: ("AA", "A", "B", "C")}
TYPES = sorted({(entry.document, kind) for entry, kind in ONE_TYPE_EACH})
GRID = [-250.0 + 2.5 * step for step in range(1121)]


@pytest.mark.parametrize(("document", "kind"), TYPES)
def test_a_better_class_is_never_wider(document: str, kind: str):
    """Class 1 ≤ class 2 ≤ class 3, special ≤ standard, AA ≤ A ≤ B ≤ C, wherever both exist."""
    compared = 0
    for better, worse in pairwise(ORDER[document]):
        for temperature in GRID:
            narrow = found_at(document, kind, better, temperature)
            wide = found_at(document, kind, worse, temperature)
            if narrow is not None and wide is not None:
                compared += 1
                assert narrow <= wide
    # Types A and C have one class only.
    assert compared > 0 or (document, kind) in ((IEC, "A"), (IEC, "C"))


@pytest.mark.parametrize(("document", "kind"), TYPES)
def test_a_tolerance_never_shrinks_with_distance_from_zero(document: str, kind: str):
    for name in ORDER[document]:
        for side in (1, -1):
            found = [
                found_at(document, kind, name, side * temperature) for temperature in GRID if temperature >= 0
            ]
            there = [value for value in found if value is not None]
            assert all(one <= next_one for one, next_one in pairwise(there))
            assert all(0.05 < value <= 25.0 for value in there)


# ---- extension cable, IEC 60584-3 (C) ----

CABLES = {
    # type: class 1, class 2 [°C]; cable from, to [°C]; hot junction [°C]
    "KX": (1.5, 2.5, -25, 200, 900),
    "JX": (1.5, 2.5, -25, 200, 500),
    "EX": (1.5, 2.5, -25, 200, 500),
    "NX": (1.5, 2.5, -25, 200, 900),
    "TX": (0.5, 1.0, -25, 100, 300),
}


def test_extension_cable():
    found: dict[str, dict[str, tuple[float, ...]]] = {}
    for row in rows("sensor_tolerances", "cable"):
        assert (row["document"], row["standing"]) == ("IEC 60584-3", "C")
        for kind in row["types"]:
            ends = (row["constant"], row["from"], row["to"], row["hot_junction"])
            found.setdefault(kind, {})[row["class"]] = ends
    assert found == {
        kind: {"1": (one, low, high, hot), "2": (two, low, high, hot)}
        for kind, (one, two, low, high, hot) in CABLES.items()
    }


@pytest.mark.parametrize("kind", CABLES)
def test_cable_tolerance_as_voltage_and_elsewhere(kind: str):
    """The stated tolerance over a symmetrical step of the reference function (D), here and elsewhere."""
    one, two, _, _, hot = CABLES[kind]
    letter = kind[0]
    for item, stated in zip(cable_tolerances(kind, 180.0), (one, two), strict=True):
        step_uv = 1000.0 * float(emf_mv(letter, hot + stated) - emf_mv(letter, hot - stated)) / 2.0
        assert item.voltage_uv == pytest.approx(step_uv, rel=1e-4)
        assert item.effect_c is not None
        there_uv = (
            float(emf_mv(letter, 180.0 + item.effect_c) - emf_mv(letter, 180.0 - item.effect_c)) * 500.0
        )
        assert there_uv == pytest.approx(item.voltage_uv, rel=1e-4)
    for item, stated in zip(cable_tolerances(kind), (one, two), strict=True):
        assert item.effect_c == pytest.approx(stated, rel=1e-12)


def test_cable_outside_the_reference_function():
    assert [item.effect_c for item in cable_tolerances("TX", 500.0)] == [None, None]
    assert cable_tolerances("QX") == ()
    assert [item.name for item in cable_tolerances("KX", name="2")] == ["2"]


# ---- queries ----


@pytest.mark.parametrize(("document", "kind"), TYPES)
def test_queries_give_what_single_look_ups_give(document: str, kind: str):
    names = classes(kind, document)
    assert list(names) == [name for name in ORDER[document] if name in names]
    assert set(names) == {
        entry.name for entry, of in ONE_TYPE_EACH if (entry.document, of) == (document, kind)
    }
    assert document in documents(kind)
    for name in names:
        singles = [found_at(document, kind, name, t) for t in GRID]
        many = tolerances_c(kind, GRID, document, name)
        np.testing.assert_array_equal(many, [np.nan if value is None else value for value in singles])
        spans = {(span.low_c, span.high_c) for span in ranges(kind, document, name)}
        assert spans == {
            (float(entry.low), float(entry.high))
            for entry, of in ONE_TYPE_EACH
            if (entry.document, of, entry.name) == (document, kind, name)
        }
    for t in (-100.0, 20.0, 700.0):
        expected = [name for name in names if found_at(document, kind, name, t) is not None]
        assert [item.name for item in tolerances_at(kind, t, document)] == expected


def test_a_confirmed_row_goes_first_where_two_meet():
    at_zero = tolerance_at("K", 0.0, ASTM, "standard")
    assert at_zero is not None and at_zero.standing == "C" and at_zero.confirmed
    below = tolerance_at("K", -0.001, ASTM, "standard")
    assert below is not None and not below.confirmed
