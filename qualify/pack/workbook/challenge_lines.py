"""The rows of a challenge: its trip point with the parts of its uncertainty, and the delay of each answer."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from qualify.figures.absent import Absent, present
from qualify.pack.workbook.book import column_letters
from qualify.pack.workbook.figure_rows import (
    HIGH,
    LOW,
    VALUE,
    Line,
    difference_unit,
    number,
    root_of_squares,
)
from qualify.pack.workbook.reading_rows import Quantity
from qualify.pack.workbook.test_readings import TestCells
from qualify.pack.workbook.words import NUMBER

_VALUE, _LOW, _HIGH = (column_letters(column) for column in (VALUE, LOW, HIGH))


def challenge_lines(figures: Mapping[str, Any], cells: TestCells | None) -> list[Line]:
    """Rows of what a challenge's recording shows; none where a person saw everything."""
    lines: list[Line] = []
    unit = str(figures.get("unit", ""))
    quantity = None
    if cells is not None:
        quantity = Quantity(cells, figures["quantity"], unit, less=figures.get("limit_channel", ""))
    if "limit" in figures:
        lines.append(number("limit", figures["limit"], unit, "as the plan states it"))
    if "interval_s" in figures:
        lines.append(number("median interval between readings", float(figures["interval_s"]), "s"))
    if "trip" in figures:
        lines += _trip(figures, unit, quantity)
    for item in figures.get("delays", ()):
        lines += _delay(str(item["answer"]), item["delay"], unit, quantity)
    return lines


def _trip(figures: Mapping[str, Any], unit: str, quantity: Quantity | None) -> list[Line]:
    """The trip point: live over its two ends, these over the readings, its u over the parts that follow."""
    trip = figures["trip"]
    parts = [
        (
            trip.u_recording,
            "from the recording interval",
            "(most − least)/2/√3: between two readings",
        ),
        (trip.u_scatter, "from the scatter of the readings", "of the way to the trip"),
        (trip.u_clock, "from the clocks", "slope × half-width/√3"),
        (trip.u_reading, "from the reading itself", "as the plan states it; shared by all readings"),
    ]
    counting = [index for index, (value, _, _) in enumerate(parts) if present(value)]
    last = len(parts)

    def of_parts(row: int) -> str:
        """The standard uncertainty, which stands below its parts."""
        return root_of_squares([f"{_VALUE}{row - last + index}" for index in counting])

    width = difference_unit(unit)
    # rows below: the parts, their root, then the readings around the change and where it went on
    first_s, last_s = trip.read_s
    around = [] if quantity is None else quantity.beside(first_s, last_s)
    least = None if quantity is None else quantity.extreme(first_s, last_s, highest=False)
    most = None if quantity is None else quantity.extreme(first_s, last_s, highest=True)
    on = last + 2 + len(around)
    before = None
    if quantity is not None:
        before = quantity.extreme(figures["from_s"], first_s, highest=figures["rising"])
    lines = [
        Line(
            what="trip point of the first recorded answer",
            how="middle of the values that the quantity can have had at the change; ± U, k = 2; ends: least "
            "and most of these values, the errors of the readings aside",
            value=trip.value,
            half=trip.expanded,
            low=trip.least,
            high=trip.most,
            unit=unit,
            formula=lambda row: f"({_LOW}{row}+{_HIGH}{row})/2",
            half_formula=lambda row: f"2*{_VALUE}{row + last + 1}",
            low_formula=None if least is None else lambda row: f"MIN({least},{_VALUE}{row + on})",
            high_formula=None if most is None else lambda row: f"MAX({most},{_VALUE}{row + on})",
            note=trip.note,
        )
    ]
    for index, (value, name, how) in enumerate(parts):
        first = index == 0
        lines.append(
            Line(
                what=f"part of its u {name}",
                how=how,
                value=value,
                unit=width,
                formula=(lambda row: f"({_HIGH}{row - 1}-{_LOW}{row - 1})/2/SQRT(3)") if first else None,
            )
        )
    lines.append(
        Line(
            what="its standard uncertainty u",
            how="root of the sum of the squares of these parts (JCGM 100:2008, 5.1.2)",
            value=trip.u,
            unit=width,
            formula=of_parts,
        )
    )
    change = trip.change
    word = "on" if change.to else "off"
    lines += around
    lines += [
        number(
            "where the quantity would have been at the second reading",
            trip.went_on,
            unit,
            "with the slope it came with, as the trip may turn it before that reading",
        ),
        Line(
            what=f"the channel became {word}",
            how="after the one reading and by the other, seconds from the first reading",
            low=change.after_s,
            high=change.by_s,
            unit="s",
        ),
        number("slope of the quantity over the change", trip.slope_per_s, f"{width} per s"),
        Line(
            what="farthest reading before the change",
            how="so far it went while nothing had answered",
            value=trip.farthest_before,
            unit=unit,
            formula=None if before is None else lambda _row: before,
        ),
        number(
            "largest reversal on the way",
            trip.largest_reversal,
            width,
            note="" if trip.monotone else "more than its scatter explains",
        ),
        number("bounces of the contact", float(change.bounces), NUMBER),
        number("further changes of the channel in the stretch", float(trip.later), NUMBER),
    ]
    return lines


def _delay(answer: str, found: Any, unit: str, quantity: Quantity | None) -> list[Line]:
    if isinstance(found, Absent):
        return [Line(what=f"delay of '{answer}'", value=found, unit="s")]
    crossed = found.crossing
    return [
        Line(
            what=f"delay of '{answer}'",
            how="from the crossing of the limit to the middle of the interval in which the answer came; ± U, "
            "k = 2; ends: least and most that the recording leaves open",
            value=found.delay_s,
            formula=lambda row: f"({_LOW}{row + 2}+{_HIGH}{row + 2})/2-{_VALUE}{row + 1}",
            low_formula=lambda row: f"{_LOW}{row + 2}-{_HIGH}{row + 1}",
            high_formula=lambda row: f"{_HIGH}{row + 2}-{_LOW}{row + 1}",
            half=found.expanded_s,
            low=found.least_s,
            high=found.most_s,
            unit="s",
            note=found.note,
        ),
        Line(
            what="the limit was crossed",
            how="seconds from the first reading; ± U, k = 2",
            value=crossed.at_s,
            half=2.0 * crossed.u_s,
            low=crossed.least_s,
            high=crossed.most_s,
            unit="s",
        ),
        Line(
            what=f"'{answer}' came",
            how="after the one reading and by the other, seconds from the first reading",
            low=found.answered_after_s,
            high=found.answered_by_s,
            unit="s",
        ),
        *([] if quantity is None else quantity.around("the limit was crossed", crossed.at_s)),
        number("how far the quantity went past the limit", crossed.past_by, difference_unit(unit)),
    ]
