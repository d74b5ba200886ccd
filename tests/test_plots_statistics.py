"""The pictures of replicate runs, of the locations' differences, and of the estimated field of a hold."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from matplotlib.axes import Axes

from qualify.evidence import Evaluation
from qualify.figures.absent import Absent
from qualify.pack.plots import differences, runs, write_plots
from qualify.pack.plots.look import Page, our_look
from qualify.pack.plots.unwatched import field_picture
from qualify.record import Record, StatisticsRecord
from tests.support.evaluations import Case, evaluation_of, invented_field, runs_of
from tests.test_plots import kinds, view_of


def texts(page: Page) -> list[str]:
    legend = [text.get_text() for key in page.figure.legends for text in key.get_texts()]
    on_axes = [text.get_text() for axes in page.figure.axes for text in axes.texts]
    return [*legend, *on_axes, *(text.get_text() for text in page.figure.texts)]


def drawn(record: Record) -> Page:
    with our_look():
        page = runs.draw(runs.views(record)[0])
        page.canvas.draw()
    return page


def heat_of(page: Page) -> Axes:
    return next(axes for axes in page.figure.axes if len(axes.images) == 2)


@pytest.fixture(scope="module")
def six() -> Evaluation:
    return runs_of(Case(locations=5, instants=100), 6)


def enlarged(record: Record, locations: int, count: int) -> Record:
    """The same group with more locations and runs, drawn alone."""
    group = record.replicates[0]
    rng = np.random.default_rng(1)
    means = rng.normal(0.0, 0.8, (locations, count)).tolist()
    means[0][-1] = None
    larger = replace(
        group,
        runs=tuple(f"Run {number + 1}" for number in range(count)),
        locations=tuple(f"L{number + 1}" for number in range(locations)),
        mean_deviations_c=tuple(map(tuple, means)),
    )
    return replace(record, replicates=(larger,))


def test_every_mean_stands_in_its_cell(six: Evaluation) -> None:
    group = six.record.replicates[0]
    found = texts(drawn(six.record))
    for row in group.mean_deviations_c:
        for value in row:
            assert value is not None
            shown = f"{value:+.2f}".replace("-", "−")
            assert shown in found or float(f"{value:.2f}") == 0.0
    for name in (*group.locations, *group.runs):
        assert name in found
    assert any(words.startswith("tolerance limit +") for words in found)
    assert {"limit +3", "limit −3"} <= set(found)


@pytest.mark.parametrize(("locations", "count", "numbers"), [(40, 15, True), (60, 30, False), (3, 80, False)])
def test_up_to_fifteen_runs_of_forty_locations_have_numbers(
    six: Evaluation, locations: int, count: int, numbers: bool
) -> None:
    page = drawn(enlarged(six.record, locations, count))
    signs = [words for words in texts(page) if words[:1] in "+−" and "." in words]
    assert (len(signs) > 0.9 * locations * count) == numbers
    assert "–" in texts(page), "one figure is absent"
    if count == 80:
        assert any("first 20 runs are not drawn" in words for words in texts(page))


def test_the_cells_grey_rises_with_the_mean(six: Evaluation) -> None:
    """In grey print a hotter cell is darker, and letters stay legible on all."""
    view = runs.views(six.record)[0]
    with our_look():
        shades = np.asarray(heat_of(runs.draw(view)).images[0].get_array())[..., :3]
    grey = shades @ np.array([0.2126, 0.7152, 0.0722])
    order = np.argsort(view.table, axis=None)
    assert (np.diff(grey.ravel()[order]) <= 1e-9).all()
    assert grey.min() > 0.4 and np.ptp(grey) > 0.3


def test_a_mean_beyond_the_limits_is_framed(six: Evaluation) -> None:
    group = six.record.replicates[0]
    rows = [list(row) for row in group.mean_deviations_c]
    rows[2][1], rows[3][4] = 3.4, -3.2
    record = replace(six.record, replicates=(replace(group, mean_deviations_c=tuple(map(tuple, rows))),))
    assert len(heat_of(drawn(record)).patches) == 2
    assert len(heat_of(drawn(six.record)).patches) == 0


def test_runs_without_statistics_figures_or_letters(six: Evaluation) -> None:
    group = six.record.replicates[0]
    record = six.record
    bare = replace(
        group,
        statistics=Absent("nothing follows"),
        limit_low_c=None,
        limit_high_c=None,
        locations=("温度", *group.locations[1:]),
        mean_deviations_c=tuple((None,) * len(group.runs) for _ in group.locations),
    )
    found = texts(drawn(replace(record, replicates=(bare,))))
    assert "#1" in found
    assert "No tolerance limits: nothing follows." in found
    assert not any(words.startswith("limit ") for words in found)


def test_which_pictures_are_drawn(six: Evaluation, tmp_path: Path) -> None:
    names = write_plots(six, tmp_path / "six")
    assert kinds(names)[-1] == "runs" and kinds(names).count("runs") == 1
    assert names[-1].endswith("performance-180-runs.png")
    again = write_plots(six, tmp_path / "again")
    assert (tmp_path / "six" / names[-1]).read_bytes() == (tmp_path / "again" / again[-1]).read_bytes()
    assert "runs" not in kinds(write_plots(runs_of(Case(locations=2, instants=100), 1), tmp_path / "one"))


# the locations of a hold


@pytest.fixture(scope="module")
def compared() -> Evaluation:
    return evaluation_of(Case(statistics=True, locations=12))


def statistics_of(evaluation: Evaluation) -> StatisticsRecord:
    found = evaluation.record.surveys[0].statistics
    assert not isinstance(found, Absent)
    return found


def test_differences_are_sorted_and_told_apart_by_shape(compared: Evaluation) -> None:
    found = statistics_of(compared).comparison
    assert not isinstance(found, Absent)
    with our_look():
        page = differences.draw(view_of(compared))
        page.canvas.draw()
    axes = page.figure.axes[0]
    marks: dict[object, int] = {}
    for line in axes.lines:
        marks[line.get_marker()] = marks.get(line.get_marker(), 0) + 1
    differ = int(found.against_mean_differs.sum())
    assert marks.get("D", 0) == differ and marks.get("o", 0) == 12 - differ
    centres = [float(line.get_xdata()[0]) for line in axes.lines if line.get_marker() in ("D", "o")]  # type: ignore[index, arg-type]
    assert centres == sorted(centres, reverse=True)
    assert any("can still be one between sensors" in words for words in texts(page))


def test_a_hold_that_was_not_compared_has_no_such_picture(tmp_path: Path) -> None:
    assert "differences" not in kinds(write_plots(evaluation_of(Case(locations=3)), tmp_path))


@pytest.mark.parametrize("is_cylinder", [False, True])
def test_an_estimated_field_is_drawn_and_says_what_it_is(
    compared: Evaluation, tmp_path: Path, is_cylinder: bool
) -> None:
    field = invented_field(is_cylinder=is_cylinder)
    survey = replace(
        compared.record.surveys[0],
        statistics=replace(statistics_of(compared), field=field),
        locations=tuple(
            replace(location, position_mm=(50.0 * number, 300.0, 450.0))
            for number, location in enumerate(compared.record.surveys[0].locations)
        ),
    )
    shape = "cylinder" if is_cylinder else "box"
    zone = {"shape": shape, "width_mm": 600.0, "depth_mm": 600.0, "height_mm": 900.0}
    record = replace(compared.record, surveys=(survey,), plan=replace(compared.record.plan, work_zone=zone))
    evaluation = replace(compared, record=record)
    picture = field_picture(view_of(evaluation))
    assert picture is not None
    assert field.statement in picture.notes
    assert picture.is_cylinder == is_cylinder
    assert len(picture.places) == 12
    assert "verdict" in picture.about and "pass" not in picture.about
    assert f"{field.highest.expected_c:.1f}"[:4] in picture.highest.words
    names = write_plots(evaluation, tmp_path)
    assert kinds(names)[-1] == "field"


def test_without_an_estimate_no_field(compared: Evaluation) -> None:
    assert field_picture(view_of(compared)) is None
