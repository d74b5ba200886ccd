"""The plots of the data pack, drawn from the record and the readings alone."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from pathlib import Path

from qualify.evidence import Evaluation
from qualify.pack.plots import budget, challenge, differences, field, purge, ranges, run, runs, window, zone
from qualify.pack.plots.look import Page, our_look
from qualify.pack.plots.unwatched import field_picture
from qualify.pack.plots.view import HoldView, RunView
from qualify.units import TemperatureUnit, temperature_from_c

LONGEST_SLUG = 48


def write_plots(evaluation: Evaluation, folder: Path) -> tuple[str, ...]:
    """Draw every plot of an evaluation as PNG; same evaluation and versions, same bytes.

    One run plot a recording; for each of its holds with readings in its assessment window one
    window plot, one of ranges, one of the work zone where positions are known, one of the
    uncertainty budgets where a budget has more than one source, and one of the locations'
    differences where they were compared, and one of the field where it is estimated. At the end one
    for each set point with replicate runs, and one for each recorded challenge and purge.

    Parameters
    ----------
    evaluation
        The record, and the readings behind it.
    folder
        Where to write; made if it is missing.

    Returns
    -------
    tuple of str
        The names of the files written, in order.

    Raises
    ------
    OSError
        If the folder can't be written.
    """
    folder.mkdir(parents=True, exist_ok=True)
    written: list[str] = []
    with our_look():
        for number, (name, page) in enumerate(_pages(evaluation), start=1):
            file_name = f"{number:02d}-{name}.png"
            page.write(folder / file_name)
            written.append(file_name)
    return tuple(written)


def slug(name: str, kind: str) -> str:
    """Make a file name's stem of ASCII letters, digits and hyphens from a survey's name and a plot's kind."""
    ascii_name = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode("ascii")
    words = re.sub(r"[^a-z0-9]+", "-", ascii_name.lower()).strip("-")[:LONGEST_SLUG].strip("-")
    return f"{words}-{kind}" if words else kind


def _pages(evaluation: Evaluation) -> Iterator[tuple[str, Page]]:
    """Draw one page after the other, so that one figure at a time is held in memory."""
    record = evaluation.record
    unit = TemperatureUnit(record.units)
    for recording in evaluation.recordings:
        holds = tuple(
            HoldView(
                survey=record.surveys[hold.survey],
                hold=hold,
                recording=recording,
                unit=unit,
                work_zone=record.plan.work_zone,
            )
            for hold in recording.holds
        )
        yield slug(recording.name, "run"), run.draw(RunView(recording=recording, holds=holds, unit=unit))
        for view in holds:
            if view.window is None or view.hold.window is None:
                continue
            name = view.survey.name
            yield slug(name, "window"), window.draw(view)
            yield slug(name, "ranges"), ranges.draw(view)
            if any(location.position_mm is not None for location in view.survey.locations):
                yield slug(name, "zone"), zone.draw(view)
            if budget.is_worth_drawing(view):
                yield slug(name, "budget"), budget.draw(view)
            if differences.is_worth_drawing(view):
                yield slug(name, "differences"), differences.draw(view)
            estimated = field_picture(view)
            if estimated is not None:
                yield slug(name, "field"), field.draw(estimated)
    for group in runs.views(record):
        setpoint = f"{temperature_from_c(group.group.setpoint_c, unit):.4g}"
        yield slug(f"{group.group.stage} {setpoint}", "runs"), runs.draw(group)
    for evidence in evaluation.challenges:
        test = challenge.record_of(evaluation, evidence.name)
        yield slug(evidence.name, "challenge"), challenge.draw(evidence, test, unit)
    for course in evaluation.purges:
        yield slug(course.name, "purge"), purge.draw(course, challenge.record_of(evaluation, course.name))
