"""The picture of an estimated field: what it shows, that its bytes repeat, and hard cases."""

from __future__ import annotations

from dataclasses import replace
from io import BytesIO
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from qualify.pack.plots.field import FieldPicture, Spot, band_edges, draw, finer, nearest_level
from qualify.pack.plots.look import Page, our_look
from qualify.readings.model import FloatArray

PLACES = tuple(
    (f"L{number + 1}", (60.0 + 220.0 * (number % 5), 40.0 + 180.0 * (number % 4), 37.0 * number % 1200.0))
    for number in range(27)
)


def invented(shape: tuple[int, int, int] = (5, 7, 7)) -> FloatArray:
    z, y, x = np.indices(shape) / np.array(shape)[:, None, None, None]
    return 180.0 + 2.0 * x - y + 3.0 * z * x


def picture() -> FieldPicture:
    """An invented field in a box of 1000 × 600 × 1200 mm."""
    return FieldPicture(
        name="made-up survey",
        about="estimated field",
        unit="°C",
        x_mm=np.linspace(0.0, 1000.0, 7),
        y_mm=np.linspace(0.0, 600.0, 7),
        z_mm=np.linspace(0.0, 1200.0, 5),
        temperature=invented(),
        inside=np.ones((7, 7), dtype=bool),
        is_cylinder=False,
        places=PLACES,
        highest=Spot(position_mm=(1000.0, 0.0, 1200.0), words="highest expected 184 °C"),
        lowest=Spot(position_mm=(0.0, 600.0, 0.0), words="lowest expected 179 °C"),
        limits=(170.0, 182.0),
        notes=("An invented estimate.",),
    )


def drawn(what: FieldPicture) -> Page:
    with our_look():
        page = draw(what)
        page.canvas.draw()
    return page


def texts(page: Page) -> list[str]:
    legend = [text.get_text() for key in page.figure.legends for text in key.get_texts()]
    on_axes = [text.get_text() for axes in page.figure.axes for text in axes.texts]
    return [*legend, *on_axes, *(text.get_text() for text in page.figure.texts)]


def png(what: FieldPicture) -> bytes:
    with our_look():
        stream = BytesIO()
        draw(what).canvas.print_png(stream, metadata={"Software": None})
    return stream.getvalue()


def test_it_shows_every_location_height_and_extreme() -> None:
    found = texts(drawn(picture()))
    for name, _ in PLACES:
        assert found.count(name) == 1
    for words in ("top: height 1200 mm", "height 900 mm", "height 300 mm", "bottom: height 0 mm"):
        assert words in found
    assert "highest expected 184 °C" in found
    assert "lowest expected 179 °C" in found
    assert "An invented estimate." in found
    assert "estimate [°C]" in found


def test_only_limits_that_the_field_crosses_are_in_the_key() -> None:
    assert "limit 182 °C" in texts(drawn(picture()))
    both = replace(picture(), limits=(180.0, 182.0))
    assert "limit 180 and 182 °C" in texts(drawn(both))
    for limits in ((170.0, 190.0), (None, None)):
        assert not any(words.startswith("limit") for words in texts(drawn(replace(picture(), limits=limits))))


def test_the_marks_of_the_extremes_stand_on_their_own_slice() -> None:
    page = drawn(picture())
    paper = page.figure.axes[0]
    marks = {line.get_marker(): line for line in paper.lines if line.get_marker() in ("^", "v")}
    heads = {text.get_text(): text.get_position() for text in paper.texts}
    for marker, heading, x_side in (("^", "top: height 1200 mm", 1), ("v", "bottom: height 0 mm", -1)):
        head_x, head_y = heads[heading]
        x, y = (float(np.ravel(data)[0]) for data in marks[marker].get_data())
        # the plan is under its heading; right of its middle or left of it
        assert 0.0 < head_y - y < 60.0
        assert np.sign(x - head_x) == x_side
        assert abs(x - head_x) < 40.0


def test_the_same_picture_gives_the_same_bytes() -> None:
    assert png(picture()) == png(picture())


def test_writing_makes_a_file(tmp_path: Path) -> None:
    with our_look():
        draw(picture()).write(tmp_path / "field.png")
    assert (tmp_path / "field.png").read_bytes().startswith(b"\x89PNG\r\n\x1a\n")


def test_a_cylinder_is_drawn_round() -> None:
    x, y = np.meshgrid(np.linspace(-1, 1, 7), np.linspace(-1, 1, 7))
    round_one = replace(
        picture(),
        is_cylinder=True,
        inside=np.hypot(x, y) <= 1.0 + 1e-9,
        y_mm=np.linspace(0.0, 1000.0, 7),
        # what lies outside must not set the scale
        temperature=invented() + 50.0 * (np.hypot(x, y) > 1.2),
    )
    edges = band_edges(round_one)
    assert edges[-1] < 190.0
    assert "front (door), 1000 mm across" in texts(drawn(round_one))


@pytest.mark.parametrize("spread", [0.0, 1e-9, 1e-3, 500.0])
def test_flat_and_steep_fields_are_drawn(spread: float) -> None:
    what = replace(picture(), temperature=180.0 + spread * (invented() - 180.0))
    edges = band_edges(what)
    assert 2 <= edges.size <= 12
    assert edges[0] <= what.temperature.min()
    assert edges[-1] >= what.temperature.max()
    drawn(what)


def test_no_locations_and_names_without_letters_are_drawn() -> None:
    drawn(replace(picture(), places=()))
    found = texts(drawn(replace(picture(), places=(("\U0001f525", (10.0, 10.0, 10.0)),))))
    assert "#1" in found


def test_a_dollar_sign_is_a_name() -> None:
    assert "$x$" in texts(drawn(replace(picture(), places=(("$x$", (10.0, 10.0, 10.0)),))))


def test_a_far_location_stays_on_the_page() -> None:
    page = drawn(replace(picture(), places=(("far", (5000.0, -3000.0, 9000.0)),)))
    paper = page.figure.axes[0]
    for line in paper.lines:
        x, y = (np.ravel(data) for data in line.get_data())
        assert (x >= 0.0).all()
        assert (x <= 180.0).all()
        assert (y >= 0.0).all()
        assert (y <= page.height_mm).all()


@given(st.lists(st.floats(-5.0, 5.0), min_size=3, max_size=3))
def test_the_finer_grid_keeps_quadratics_and_the_grid(factors: list[float]) -> None:
    x = np.linspace(0.0, 1.0, 7)
    through = np.polyval(factors, x)
    fine = finer(through, 0)
    assert fine.size == 37
    np.testing.assert_allclose(fine[::6], through, rtol=0, atol=1e-12)
    np.testing.assert_allclose(fine, np.polyval(factors, np.linspace(0.0, 1.0, 37)), rtol=0, atol=1e-10)


def test_the_finer_grid_along_either_axis() -> None:
    field = invented()[2]
    np.testing.assert_allclose(finer(field, 0), finer(field.T, 1).T, rtol=0, atol=1e-12)
    assert finer(finer(field, 0), 1).shape == (37, 37)
    np.testing.assert_array_equal(finer(field[:2], 0), field[:2])


def test_nearest_height() -> None:
    heights = np.linspace(0.0, 1200.0, 5)
    assert [nearest_level(heights, z) for z in (-10.0, 140.0, 160.0, 599.0, 5000.0)] == [0, 0, 1, 2, 4]
