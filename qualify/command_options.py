"""The command line's options: their types, their words, and what they tell about logger files."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import date as day
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from qualify.readings.model import Millivolts, ReadOptions

LARGEST = 1e12


def finite(text: str) -> float:
    """Parse a finite number."""
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not abs(value) < LARGEST:
        raise ValueError(f"'{text}' is not a number that can be meant here")
    return value


def any_number(text: str) -> float:
    """Parse a number of any size."""
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise ValueError(f"'{text}' is not a number")
    return value


def moment(text: str) -> str:
    """Check a TIME: seconds from the first reading, or ISO 8601."""
    try:
        finite(text)
    except ValueError:
        try:
            datetime.fromisoformat(text)
        except ValueError:
            raise ValueError(
                f"'{text}' is neither seconds from the first reading nor a time such as 2026-03-02T14:30:00"
            ) from None
    return text


def calendar_day(text: str) -> day:
    """Parse a day, ISO 8601."""
    try:
        return day.fromisoformat(text)
    except ValueError:
        raise ValueError(f"'{text}' is not a day such as 2026-03-02") from None


def choice(*words: str) -> Any:
    """Make a parser for one of some words."""

    def parse(text: str) -> str:
        if text not in words:
            raise ValueError(f"'{text}' is not one of {', '.join(words)}")
        return text

    return parse


def number_option(help_text: str) -> Any:
    """Make an option for a finite number."""
    return typer.Option(metavar="NUMBER", parser=finite, help=help_text)


def time_option(help_text: str) -> Any:
    """Make an option for a TIME."""
    return typer.Option(metavar="TIME", parser=moment, help=help_text)


def pairs(option: str, form: str, items: Sequence[str] | None) -> dict[str, str]:
    """Split the items of an option given several times, each NAME=VALUE; the last = parts them."""
    found = {}
    for item in items or ():
        name, equals, value = item.partition("=") if option == "--ignore" else item.rpartition("=")
        if not equals or not name.strip() or not value.strip():
            raise typer.BadParameter(f"'{item}' is not {form}", param_hint=option)
        found[name.strip()] = value.strip()
    return found


def limits_told(tolerance: float | None, low: float | None, high: float | None) -> tuple[float, float]:
    """Limits as differences from the set point: ± a tolerance, or low and high, one or the other."""
    if tolerance is not None:
        if low is not None or high is not None:
            raise typer.BadParameter("give either --tolerance or --low and --high", param_hint="--tolerance")
        if tolerance < 0:
            raise typer.BadParameter("a tolerance can't be negative", param_hint="--tolerance")
        return -tolerance, tolerance
    if low is None or high is None:
        raise typer.BadParameter("give --tolerance, or both --low and --high", param_hint="--tolerance")
    if low > high:
        raise typer.BadParameter("--low must not lie above --high", param_hint="--low")
    return low, high


def _text(metavar: str, help_text: str) -> Any:
    return typer.Option(metavar=metavar, help=help_text)


def _row(help_text: str, least: int = 1) -> Any:
    return typer.Option(metavar="ROW", min=least, help=help_text)


def _one_of(metavar: str, help_text: str, *words: str) -> Any:
    return typer.Option(metavar=metavar, parser=choice(*words), help=f"{help_text}: {', '.join(words)}.")


Files = Annotated[list[Path], typer.Argument(metavar="FILE...", help="Logger files of one recording.")]
Out = Annotated[Path | None, typer.Option(metavar="DIR", help="Write the data pack to this new folder.")]
Json = Annotated[bool, typer.Option("--json", help="Print the record (JSON) and nothing else.")]
Replaces = Annotated[
    Path | None, typer.Option(metavar="OLD", help="The data pack that the new one replaces.")
]
Units = Annotated[
    str | None,
    typer.Option(
        metavar="C|F",
        parser=choice("C", "F"),
        help="Unit of the numbers above, of the output, and of columns that name none.",
    ),
]
Dates = Annotated[
    str | None,
    _one_of("ORDER", "Order in dates that leave it open", "day-first", "month-first", "year-first"),
]
Encoding = Annotated[str | None, _text("NAME", "Text encoding of the files.")]
Member = Annotated[str | None, _text("NAME", "The file inside an archive.")]
Delimiter = Annotated[
    str | None,
    _one_of("WORD", "What stands between cells", "comma", "semicolon", "tab", "bar", "spaces", "space"),
]
DecimalMark = Annotated[str | None, _one_of("WORD", "Decimal mark", "point", "comma")]
ThousandsMark = Annotated[
    str | None, _one_of("WORD", "Thousands mark", "none", "point", "comma", "space", "apostrophe")
]
Sheet = Annotated[str | None, _text("NAME", "Sheet of a workbook.")]
HeaderRow = Annotated[int | None, _row("Row with the column names (first = 1).")]
UnitsRow = Annotated[int | None, _row("Row with the units; 0 where there is none.", 0)]
DescriptionRow = Annotated[int | None, _row("Row with descriptions; 0 where there is none.", 0)]
FirstRow = Annotated[int | None, _row("First row of readings.")]
LastRow = Annotated[int | None, _row("Last row of readings.")]
Table = Annotated[str | None, _one_of("FORM", "A column a channel, or a row a reading", "wide", "long")]
ChannelColumn = Annotated[str | None, _text("COLUMN", "Column of the channels in a long table.")]
ValueColumn = Annotated[str | None, _text("COLUMN", "Column of the values in a long table.")]
UnitColumn = Annotated[str | None, _text("COLUMN", "Column of the units in a long table.")]
TimeColumn = Annotated[
    list[str] | None, _text("COLUMN", "Column of the time; twice for date and time of day.")
]
TimeUnit = Annotated[
    str | None,
    _one_of(
        "UNIT",
        "Unit or form of times that are numbers or durations",
        *("s", "min", "h", "ms", "h:mm:ss", "h:mm", "mm:ss", "unix-s", "unix-ms", "serial-days"),
    ),
]
Date = Annotated[
    str | None,
    typer.Option(metavar="DAY", help="Day of the first reading, where the times have none (2026-03-02)."),
]
Zone = Annotated[
    str | None, _text("NAME", "Time zone whose clock changes the logger followed, such as Europe/Berlin.")
]
UnitOf = Annotated[list[str] | None, _text("COLUMN=UNIT", "Unit of one column, before what the file says.")]
NotReading = Annotated[
    list[float] | None,
    typer.Option(metavar="NUMBER", parser=any_number, help="A number that the logger writes for no reading."),
]
Thermocouple = Annotated[
    str | None, _text("TYPE", "Type of the thermocouples whose millivolts the file holds.")
]
ReferenceJunction = Annotated[
    str | None, _text("C|COLUMN", "Reference junction of those: its temperature in °C, or its column.")
]
Clock = Annotated[
    list[str] | None, _text("FILE=SECONDS", "Seconds to add to the times of one file (its logger's clock).")
]
SideBySide = Annotated[
    bool, typer.Option("--side-by-side", help="The files come from different loggers, whatever their names.")
]
InterpolateUpTo = Annotated[
    float | None,
    typer.Option(
        metavar="SECONDS",
        parser=finite,
        help="Longest gap across which one logger's readings may be interpolated to another's instants.",
    ),
]


def told_on_the_command_line(
    files: Sequence[Path], given: Mapping[str, Any]
) -> tuple[ReadOptions, list[ReadOptions | None]]:
    """Put together what the options tell about all files, and about each of them.

    Parameters
    ----------
    files
        The files as they were given.
    given
        The command's options by their names; others are passed over.
    """
    from qualify.readings.model import LoggerClock, ReadOptions
    from qualify.readings.told import CHOICES, ROWS, ROWS_OR_NONE, TEXTS
    from qualify.units import TemperatureUnit

    if len(given["time_column"] or ()) > 2:
        raise typer.BadParameter("a time has one column, or two: date and time", param_hint="--time-column")
    names = [*CHOICES, *(name for name in TEXTS if name != "logger"), *ROWS, *ROWS_OR_NONE]
    try:
        date = calendar_day(given["date"]) if given["date"] is not None else None
    except ValueError as error:
        raise typer.BadParameter(str(error), param_hint="--date") from None
    read = ReadOptions(
        units=TemperatureUnit[given["units"]] if given["units"] is not None else None,
        column_units=pairs("--unit-of", "COLUMN=UNIT", given["unit_of"]),
        millivolts=_millivolts(given["thermocouple"], given["reference_junction"]),
        time_columns=tuple(given["time_column"] or ()),
        not_readings=tuple(given["not_reading"] or ()),
        interpolate_up_to_s=given["interpolate_up_to"],
        date=date,
        **{name: given[name] for name in names},
    )
    clocks = pairs("--clock", "FILE=SECONDS", given["clock"])
    own: list[ReadOptions | None] = []
    for place, path in enumerate(files):
        seconds = clocks.pop(str(path), None) or clocks.pop(path.name, None)
        logger = f"{place + 1}" if given["side_by_side"] else None
        if seconds is None and logger is None:
            own.append(None)
            continue
        try:
            clock = None if seconds is None else LoggerClock(offset_s=finite(seconds))
        except ValueError as error:
            raise typer.BadParameter(str(error), param_hint="--clock") from None
        own.append(ReadOptions(logger=logger, clock=clock))
    if clocks:
        raise typer.BadParameter(f"'{next(iter(clocks))}' is none of the files", param_hint="--clock")
    return read, own


def _millivolts(letter: str | None, junction: str | None) -> Millivolts | None:
    from qualify.readings.model import Millivolts

    if (letter is None) != (junction is None):
        raise typer.BadParameter(
            "millivolts need both the thermocouple's type and the reference junction",
            param_hint="--thermocouple" if letter is None else "--reference-junction",
        )
    if letter is None or junction is None:
        return None
    try:
        return Millivolts(letter.upper(), junction_c=finite(junction))
    except ValueError:
        return Millivolts(letter.upper(), junction_channel=junction)
