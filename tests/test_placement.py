"""Sensors are placed by the rule that is stated, and what they leave unwatched is found."""

from __future__ import annotations

from itertools import combinations, pairwise
from math import dist, hypot, sqrt
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qualify.findings import Refusal
from qualify.pack.plots.placement import PlacementPicture, group, name_lines, write_placement
from qualify.plan.model import WorkZone
from qualify.sensors.placement import (
    MOST_SENSORS,
    Place,
    check_places,
    default_inset_mm,
    farthest_point,
    place_name,
    place_sensors,
)


def box(width: float, depth: float, height: float) -> WorkZone:
    return WorkZone(shape="box", width_mm=width, depth_mm=depth, height_mm=height)


def cylinder(diameter: float, height: float) -> WorkZone:
    return WorkZone(shape="cylinder", width_mm=diameter, depth_mm=diameter, height_mm=height)


SIZES = st.integers(min_value=80, max_value=4000)
ZONES = st.one_of(st.builds(box, SIZES, SIZES, SIZES), st.builds(cylinder, SIZES, SIZES))
COUNTS = st.integers(min_value=1, max_value=20)
FEW = settings(max_examples=30, deadline=None)


def positions(zone: WorkZone, count: int, inset_mm: float | None = None) -> np.ndarray:
    return np.array([place.position_mm for place in place_sensors(zone, count, inset_mm)])


def inside(zone: WorkZone, points: np.ndarray, slack: float = 1e-6) -> np.ndarray:
    size = np.array([zone.width_mm, zone.depth_mm, zone.height_mm])
    within = ((points >= -slack) & (points <= size + slack)).all(axis=1)
    if zone.shape == "cylinder":
        away = np.hypot(points[:, 0] - size[0] / 2, points[:, 1] - size[1] / 2)
        within &= away <= size[0] / 2 + slack
    return within


def smallest_distance(points: np.ndarray) -> float:
    return min(dist(one, other) for one, other in combinations(points.tolist(), 2))


@FEW
@given(zone=ZONES, count=COUNTS)
def test_every_sensor_has_a_place_of_its_own_in_the_zone(zone: WorkZone, count: int) -> None:
    places = place_sensors(zone, count)
    found = np.array([place.position_mm for place in places])
    assert len(places) == count
    assert len({place.name for place in places}) == count
    assert inside(zone, found).all()
    if count > 1:
        assert smallest_distance(found) > 1.0
    assert places == place_sensors(zone, count), "the same zone gives the same places"


@FEW
@given(zone=ZONES, count=COUNTS, factor=st.floats(min_value=0.3, max_value=7.0))
def test_a_zone_of_other_scale_has_its_places_scaled(zone: WorkZone, count: int, factor: float) -> None:
    scaled = WorkZone(
        shape=zone.shape,
        width_mm=zone.width_mm * factor,
        depth_mm=zone.depth_mm * factor,
        height_mm=zone.height_mm * factor,
    )
    inset = 0.1 * min(zone.width_mm, zone.depth_mm, zone.height_mm)
    found = positions(scaled, count, inset * factor)
    np.testing.assert_allclose(found, positions(zone, count, inset) * factor, rtol=1e-7, atol=1e-5)


@FEW
@given(zone=ZONES, axis=st.integers(min_value=0, max_value=2))
def test_the_nine_of_a_mirrored_zone_are_the_nine_mirrored(zone: WorkZone, axis: int) -> None:
    found = positions(zone, 9)
    mirrored = found.copy()
    mirrored[:, axis] = (zone.width_mm, zone.depth_mm, zone.height_mm)[axis] - mirrored[:, axis]
    for point in mirrored:
        assert np.abs(found - point).max(axis=1).min() < 1e-6


@FEW
@given(width=SIZES, depth=SIZES, height=SIZES)
def test_a_box_turned_by_a_quarter_keeps_its_corners(width: int, depth: int, height: int) -> None:
    turned = positions(box(depth, width, height), 9)
    for x, y, z in positions(box(width, depth, height), 9):
        assert np.abs(turned - np.array([y, x, z])).max(axis=1).min() < 1e-6


@pytest.mark.parametrize("count", [9, 14, 27, 40])
def test_from_nine_on_corners_and_centre_are_among_them(count: int) -> None:
    zone = box(1000, 800, 600)
    found = {place.name: place.position_mm for place in place_sensors(zone, count)}
    assert found["front-left-lower"] == (50, 50, 50)
    assert found["back-right-upper"] == (950, 750, 550)
    assert found["centre"] == (500, 400, 300)
    corners = [name for name in found if name.count("-") == 2 and not name[-1].isdigit()]
    assert len(corners) == 8


def test_corners_stand_a_tenth_from_the_walls_where_that_is_less_than_50_mm() -> None:
    assert default_inset_mm(box(1000, 500, 200)) == (50.0, 50.0, 20.0)
    assert place_sensors(box(1000, 500, 200), 9)[0].position_mm == (50, 50, 20)
    assert place_sensors(box(1000, 500, 200), 9, 30)[0].position_mm == (30, 30, 30)
    assert place_sensors(box(1000, 500, 200), 9, 0)[0].position_mm == (0, 0, 0)


def test_fewer_than_nine_keep_the_centre_and_the_corners_farthest_apart() -> None:
    zone = box(1000, 1000, 1000)
    kept = {count: [place.name for place in place_sensors(zone, count)] for count in range(1, 9)}
    assert kept[1] == ["centre"]
    assert kept[2] == ["front-left-lower", "centre"]
    assert kept[3] == ["front-left-lower", "back-right-upper", "centre"]
    assert kept[5] == [
        "front-left-lower",
        "back-right-lower",
        "front-right-upper",
        "back-left-upper",
        "centre",
    ], "four corners of which no two share an edge"
    assert all(len(names) == count and "centre" in names for count, names in kept.items())


def test_a_cylinder_has_two_rings_of_four() -> None:
    found = {place.name: place.position_mm for place in place_sensors(cylinder(1000, 2000), 9)}
    assert found == {
        "front-lower": (500, 50, 50),
        "left-lower": (50, 500, 50),
        "right-lower": (950, 500, 50),
        "back-lower": (500, 950, 50),
        "front-upper": (500, 50, 1950),
        "left-upper": (50, 500, 1950),
        "right-upper": (950, 500, 1950),
        "back-upper": (500, 950, 1950),
        "centre": (500, 500, 1000),
    }


def test_sensors_beyond_nine_spread_wider_than_chance() -> None:
    zone = box(900, 600, 500)
    found = positions(zone, 20)
    generator = np.random.default_rng(20)
    random = np.array([50, 50, 50]) + generator.random((200, 11, 3)) * np.array([800, 500, 400])
    best = max(smallest_distance(np.vstack([found[:9], more])) for more in random)
    assert smallest_distance(found) > 1.4 * best


def test_the_tenth_sensor_goes_where_it_is_farthest_from_the_nine() -> None:
    # In a long box the widest gaps lie half-way along, off the middle of the long faces.
    found = positions(box(3000, 300, 300), 10, 0.0)
    others = farthest_point(
        box(3000, 300, 300), [Place(str(number), tuple(p)) for number, p in enumerate(found[:9].tolist())]
    )
    assert others is not None
    nearest = min(dist(found[9], other) for other in found[:9])
    assert nearest == pytest.approx(others.radius_mm, rel=0.02)
    assert nearest <= others.radius_mm + 1e-6


def test_27_in_a_cube_are_three_levels_of_nine() -> None:
    found = positions(box(1000, 1000, 1000), 27)
    for axis in range(3):
        assert sorted(set(found[:, axis].round(6))) == [50, 500, 950]


@pytest.mark.parametrize(
    ("zone", "count", "inset", "code"),
    [
        (box(1000, 500, 100), 9, 50.0, "placement-inset"),
        (box(1000, 500, 100), 9, -1.0, "placement-inset"),
        (box(1000, 500, 100), 9, float("nan"), "placement-inset"),
        (box(1000, 500, 100), 0, None, "placement-count"),
        (box(1000, 500, 100), MOST_SENSORS + 1, None, "placement-count"),
        (box(1000, 0, 100), 9, None, "placement-size"),
        (box(1000, float("inf"), 100), 9, None, "placement-size"),
    ],
)
def test_what_cannot_be_meant_is_refused(zone: WorkZone, count: int, inset: float | None, code: str) -> None:
    with pytest.raises(Refusal) as caught:
        place_sensors(zone, count, inset)
    assert caught.value.code == code


# ---- the farthest point ----


def test_the_farthest_point_by_hand() -> None:
    cube = box(1000, 1000, 1000)
    centre = farthest_point(cube, [Place("C", (500, 500, 500))])
    assert centre is not None
    assert centre.radius_mm == pytest.approx(500 * sqrt(3), abs=1e-3)
    assert all(min(abs(axis), abs(axis - 1000)) < 1e-3 for axis in centre.position_mm), "a corner"
    corner = farthest_point(cube, [Place("A", (0, 0, 0)), Place("B", (0, 0, 1000))])
    assert corner is not None
    # On the far edge, half-way up: as far from both.
    assert corner.position_mm == pytest.approx((1000, 1000, 500), abs=0.1)
    assert corner.radius_mm == pytest.approx(1500.0, abs=0.01)
    # Eight corners and the centre: half-way between two corners, a quarter into a face.
    nine = farthest_point(cube, place_sensors(cube, 9, 0.0))
    assert nine is not None
    assert nine.radius_mm == pytest.approx(hypot(500, 250), abs=0.01)
    assert farthest_point(cube, []) is None


def test_the_farthest_point_of_a_cylinder_lies_on_its_rim() -> None:
    found = farthest_point(cylinder(1000, 2000), [Place("C", (500, 500, 1000))])
    assert found is not None
    assert found.radius_mm == pytest.approx(hypot(500, 1000), abs=0.01)
    assert hypot(found.position_mm[0] - 500, found.position_mm[1] - 500) == pytest.approx(500, abs=0.01)


@FEW
@given(
    zone=ZONES,
    shares=st.lists(st.tuples(*[st.floats(min_value=0.0, max_value=1.0)] * 3), min_size=1, max_size=12),
    seed=st.integers(min_value=0, max_value=99),
)
def test_no_point_of_the_zone_is_farther(
    zone: WorkZone, shares: list[tuple[float, float, float]], seed: int
) -> None:
    size = np.array([zone.width_mm, zone.depth_mm, zone.height_mm])
    places = [
        Place(str(number), tuple((np.array(share) * size).tolist())) for number, share in enumerate(shares)
    ]
    found = farthest_point(zone, places)
    assert found is not None
    assert inside(zone, np.array([found.position_mm])).all()
    own = min(dist(found.position_mm, place.position_mm) for place in places)
    assert found.radius_mm == pytest.approx(own, rel=1e-9, abs=1e-9)
    points = np.random.default_rng(seed).random((2000, 3)) * size
    points = points[inside(zone, points, 0.0)]
    spots = np.array([place.position_mm for place in places])
    nearest = np.hypot.reduce(points[:, None, :] - spots[None, :, :], axis=2).min(axis=1)
    assert nearest.max() <= found.radius_mm + 2e-4 * size.max()


# ---- a plan's own positions ----


def test_the_tool_s_own_places_pass_its_check() -> None:
    for zone in (box(600, 500, 400), cylinder(800, 1200)):
        found = check_places(zone, place_sensors(zone, 9), corners_and_centre=True)
        assert (found.outside, found.bare, found.together) == ((), (), ())


def test_a_corner_counts_as_watched_within_a_quarter_of_each_dimension() -> None:
    zone = box(1000, 800, 400)
    places = list(place_sensors(zone, 9))

    def bare(position: tuple[float, float, float]) -> tuple[str, ...]:
        moved = [Place(places[0].name, position), *places[1:]]
        return check_places(zone, moved, corners_and_centre=True).bare

    assert bare((250.0, 200.0, 100.0)) == ()
    assert bare((250.1, 200.0, 100.0)) == ("front-left-lower",)
    assert bare((250.0, 200.1, 100.0)) == ("front-left-lower",)
    assert bare((250.0, 200.0, 100.1)) == ("front-left-lower",)
    assert check_places(zone, places[:-1], corners_and_centre=True).bare == ("centre",)


def test_the_rings_of_a_cylinder_may_stand_turned() -> None:
    zone = cylinder(1000, 1000)
    turned = [Place("centre", (500.0, 500.0, 500.0))]
    for height in (50.0, 950.0):
        for x, y in ((1, 1), (1, -1), (-1, 1), (-1, -1)):
            turned.append(Place(f"{x}{y}{height}", (500 + 318.0 * x, 500 + 318.0 * y, height)))
    assert check_places(zone, turned, corners_and_centre=True).bare == ()
    assert len(check_places(zone, turned[:-1], corners_and_centre=True).bare) == 1


def test_places_outside_and_twice_are_named() -> None:
    zone = cylinder(1000, 1000)
    places = [
        Place("in", (500.0, 500.0, 500.0)),
        Place("again", (500.0, 500.0, 500.0)),
        Place("rim", (0.0, 500.0, 0.0)),
        Place("beyond the curve", (10.0, 10.0, 500.0)),
        Place("above", (500.0, 500.0, 1000.1)),
    ]
    found = check_places(zone, places, corners_and_centre=False)
    assert found.outside == ("beyond the curve", "above")
    assert found.together == (("in", "again"),)
    assert found.bare == ()


def test_places_are_named_by_thirds() -> None:
    zone = box(900, 900, 900)
    assert place_name(zone, (299, 300, 601)) == "left-upper"
    assert place_name(zone, (450, 450, 450)) == "centre"
    assert place_name(zone, (450, 450, 451)) == "middle"
    assert place_name(zone, (450, 10, 450)) == "front"


# ---- the picture ----


def picture(zone: WorkZone, count: int) -> PlacementPicture:
    places = place_sensors(zone, count)
    farthest = farthest_point(zone, places)
    assert farthest is not None
    return PlacementPicture(
        heading=f"{count} sensors",
        is_cylinder=zone.shape == "cylinder",
        size_mm=(zone.width_mm, zone.depth_mm, zone.height_mm),
        places=tuple((place.name, place.position_mm) for place in places),
        farthest_mm=farthest.position_mm,
        farthest_from_mm=farthest.radius_mm,
    )


@pytest.mark.parametrize(("zone", "count"), [(box(600, 500, 400), 9), (cylinder(900, 1500), 14)])
def test_the_picture_is_drawn_and_repeats(tmp_path: Path, zone: WorkZone, count: int) -> None:
    one, other = tmp_path / "one.png", tmp_path / "other.png"
    for path in (one, other):
        write_placement(picture(zone, count), path)
    assert one.read_bytes().startswith(b"\x89PNG")
    assert one.read_bytes() == other.read_bytes()
    write_placement(picture(zone, count + 1), other)
    assert one.read_bytes() != other.read_bytes()


@FEW
@given(zone=ZONES, count=COUNTS)
def test_every_place_is_on_one_shelf(zone: WorkZone, count: int) -> None:
    drawn = picture(zone, count)
    shelves = group(drawn)
    assert sorted(index for shelf in shelves for index in shelf.places) == list(range(count))
    assert len(shelves) <= 6
    assert all(high.low > low.high for high, low in pairwise(shelves))


def test_long_names_are_broken_at_their_last_hyphen() -> None:
    assert name_lines("centre") == ["centre"]
    assert name_lines("front-left-lower") == ["front-left-", "lower"]
    assert name_lines("front-left-lower-2") == ["front-left-", "lower-2"]
