"""Numbers of survey sensors by document and volume, on both sides of every boundary.

Sources: AMS2750, nine for an ordinary box seen in public copies (C), the numbers by volume from memory (M);
API 6A, DIN 12880, DKD-R 5-7 in public, mostly secondary copies (C); IEC 60068-3-5, nine with corners and
centre (C), the volume from which fifteen are asked for from memory (M). Typed for these checks, apart from
the table of the package. The cubic foot is 28.316846592 L (D).
"""

from __future__ import annotations

from itertools import pairwise

import pytest

from qualify.standards import UNCONFIRMED, rows
from qualify.standards.counts import RequiredCount, confirmable_counts, documents_with_counts, required_count

FT3 = 28.316846592
EDITIONS = ("", "E", "F", "G", "H", "H (2024)")

# Largest volume [ft³] for which the number holds, classes 1 and 2, classes 3 to 6. From memory.
AMS2750 = (
    (225.0, 9, 9),
    (300.0, 14, 12),
    (400.0, 16, 13),
    (600.0, 19, 14),
    (800.0, 21, 15),
    (1000.0, 23, 16),
    (2000.0, 30, 20),
    (3000.0, 35, 23),
    (4000.0, 40, 25),
)
ALL = tuple(confirmable_counts())


def ams(volume_ft3: float, name: str = "2", confirmed: tuple[str, ...] = ALL) -> RequiredCount:
    return required_count("AMS2750", "H", name, volume_ft3 * FT3, confirmed)


@pytest.mark.parametrize(("name", "column"), [("1", 1), ("2", 1), ("3", 2), ("4", 2), ("5", 2), ("6", 2)])
def test_ams2750_on_both_sides_of_every_volume(name: str, column: int) -> None:
    for lower, upper in pairwise(AMS2750):
        at, number, above = lower[0], lower[column], upper[column]
        assert ams(at * 0.999999, name).decides == number, at
        assert ams(at, name).decides == number, at
        assert ams(at * 1.000001, name).decides == above, at
    assert ams(3.0 * 0.999999, name).decides == 5
    assert ams(3.0, name).decides == 9
    assert ams(3.0 * 1.000001, name).decides == 9
    assert ams(4000.0, name).decides == AMS2750[-1][column]


def test_ams2750_metric_volumes_agree_with_the_feet() -> None:
    # 0.085 m³ is 3 ft³ and 6.4 m³ is 225 ft³, as far as they are printed.
    assert round(3.0 * FT3 / 1000, 3) == 0.085
    assert round(225.0 * FT3 / 1000, 1) == 6.4
    assert ams(0.0849 * 1000 / FT3).decides == 5
    assert ams(0.0850 * 1000 / FT3).decides == 9
    assert ams(6.37 * 1000 / FT3).decides == 9
    assert ams(6.40 * 1000 / FT3).decides == 14, "226 ft³"


@pytest.mark.parametrize("edition", EDITIONS)
def test_ams2750_from_memory_decides_nothing_before_it_is_confirmed(edition: str) -> None:
    for volume_ft3, stated in ((1.0, 5), (100.0, 9), (350.0, 16), (4000.0, 40)):
        found = required_count("AMS2750", edition, "1", volume_ft3 * FT3)
        assert (found.count, found.standing) == (stated, "M")
        assert found.obstacle is not None
        assert found.id in found.obstacle
        assert "memory" in found.obstacle
        assert found.decides == 9, "nine are seen in a copy"
        assert found.corners_and_centre
        assert found.placed == max(stated, 9)
        sure = required_count("AMS2750", edition, "1", volume_ft3 * FT3, (found.id,))
        assert (sure.obstacle, sure.decides) == (None, stated)


def test_ams2750_beyond_its_table_and_without_a_class() -> None:
    beyond = ams(4000.0 * 1.000001)
    assert beyond.count is None
    assert beyond.decides == 9
    assert beyond.obstacle is not None
    unclassed = ams(250.0, "")
    assert unclassed.count is None
    assert unclassed.obstacle is not None
    assert "class" in unclassed.obstacle
    assert ams(200.0, "").decides == 9


@pytest.mark.parametrize(
    ("volume_m3", "count"),
    [
        (0.299999, 3),
        (0.3, 9),  # open in the source: the larger number
        (0.300001, 9),
        (31.5, 9),
        (31.500001, 10),
        (35.0, 10),
        (35.00001, 11),
        (136.5, 39),
        (136.50001, 40),
        (140.0, 40),
        (140.00001, 40),
        (1000.0, 40),
    ],
)
def test_api_6a(volume_m3: float, count: int) -> None:
    found = required_count("API 6A", "", "", volume_m3 * 1000.0)
    assert (found.decides, found.standing, found.obstacle) == (count, "C", None)


@pytest.mark.parametrize(("volume_l", "count"), [(49.9999, 9), (50.0, 9), (50.0001, 27), (5000.0, 27)])
def test_din_12880(volume_l: float, count: int) -> None:
    found = required_count("DIN 12880", "2007", "", volume_l)
    assert (found.decides, found.standing, found.obstacle) == (count, "C", None)


@pytest.mark.parametrize(("volume_l", "count"), [(1999.99, 9), (2000.0, 9), (2000.01, 15)])
def test_iec_60068_3_5_splits_at_a_volume_from_memory(volume_l: float, count: int) -> None:
    found = required_count("IEC 60068-3-5", "", "", volume_l)
    assert (found.count, found.standing, found.decides) == (count, "M", 9)
    assert found.to_be_settled == (count != 9)
    assert required_count("IEC 60068-3-5", "", "", volume_l, ALL).decides == count


@pytest.mark.parametrize("volume_l", [1.0, 1e6])
def test_dkd_r_5_7(volume_l: float) -> None:
    found = required_count("DKD-R 5-7", "", "", volume_l)
    assert (found.decides, found.standing, found.obstacle) == (9, "C", None)


def test_an_unknown_document_or_edition_is_said() -> None:
    found = required_count("AMS275", "", "", 100.0)
    assert (found.count, found.decides) == (None, None)
    assert found.obstacle is not None
    assert "'AMS2750'" in found.obstacle
    other = required_count("AMS2750", "Z", "2", 100.0)
    assert other.decides is None
    assert other.obstacle is not None
    assert "'Z'" in other.obstacle


def test_more_volume_never_asks_for_fewer_sensors() -> None:
    for document in documents_with_counts():
        numbers = [
            required_count(document, "", "2", 10.0**power, ALL).decides or 0
            for power in [1 + step / 20 for step in range(80)]
            if 10.0**power <= 4000 * FT3
        ]
        assert numbers == sorted(numbers), document
        assert numbers[0] > 0


def test_only_rows_seen_in_a_copy_decide() -> None:
    table = rows("sensor_counts", "count")
    assert {row["standing"] for row in table} == {"C", "M"}
    assert set(confirmable_counts()) == {row["id"] for row in table if row["standing"] in UNCONFIRMED}
    assert sum(row["standing"] == "C" for row in table) == 7
