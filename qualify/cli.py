"""The command line: parses, calls, prints."""

from __future__ import annotations

import gc
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from qualify import plan_command, sensors_command, sheets_command
from qualify.command_options import (
    ChannelColumn,
    Clock,
    Date,
    Dates,
    DecimalMark,
    Delimiter,
    DescriptionRow,
    Encoding,
    Files,
    FirstRow,
    HeaderRow,
    InterpolateUpTo,
    Json,
    LastRow,
    Member,
    NotReading,
    Out,
    ReferenceJunction,
    Replaces,
    Sheet,
    SideBySide,
    Table,
    Thermocouple,
    ThousandsMark,
    TimeColumn,
    TimeUnit,
    UnitColumn,
    UnitOf,
    Units,
    UnitsRow,
    ValueColumn,
    Zone,
    limits_told,
    number_option,
    pairs,
    time_option,
    told_on_the_command_line,
)

if TYPE_CHECKING:
    from qualify.evidence import Evaluation
    from qualify.units import TemperatureUnit

app = typer.Typer(
    name="qualify",
    help="Qualify industrial ovens from multi-thermocouple survey files.",
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)
app.add_typer(plan_command.app)
app.add_typer(sensors_command.app)
app.add_typer(sheets_command.app)


@app.callback()
def qualify() -> None:
    """Qualify industrial ovens from multi-thermocouple survey files."""


@app.command()
def survey(
    context: typer.Context,
    files: Files,
    setpoint: Annotated[float, number_option("Set point.")],
    tolerance: Annotated[float | None, number_option("Limits are set point ± this.")] = None,
    low: Annotated[float | None, number_option("Lower limit as a difference from the set point.")] = None,
    high: Annotated[float | None, number_option("Upper limit as a difference from the set point.")] = None,
    start: Annotated[str | None, time_option("Start of the assessment window (ISO 8601 or seconds).")] = None,
    minutes: Annotated[float | None, number_option("Length of the assessment window.")] = None,
    heat_start: Annotated[str | None, time_option("When heating started (ISO 8601 or seconds).")] = None,
    certificates: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Calibration points (CSV).")
    ] = None,
    ignore: Annotated[
        list[str] | None, typer.Option(metavar="COLUMN=REASON", help="Leave a temperature column out.")
    ] = None,
    units: Units = None,
    dates: Dates = None,
    encoding: Encoding = None,
    member: Member = None,
    delimiter: Delimiter = None,
    decimal_mark: DecimalMark = None,
    thousands_mark: ThousandsMark = None,
    sheet: Sheet = None,
    header_row: HeaderRow = None,
    units_row: UnitsRow = None,
    description_row: DescriptionRow = None,
    first_row: FirstRow = None,
    last_row: LastRow = None,
    table: Table = None,
    channel_column: ChannelColumn = None,
    value_column: ValueColumn = None,
    unit_column: UnitColumn = None,
    time_column: TimeColumn = None,
    time_unit: TimeUnit = None,
    date: Date = None,
    zone: Zone = None,
    unit_of: UnitOf = None,
    not_reading: NotReading = None,
    thermocouple: Thermocouple = None,
    reference_junction: ReferenceJunction = None,
    clock: Clock = None,
    side_by_side: SideBySide = False,
    interpolate_up_to: InterpolateUpTo = None,
    out: Out = None,
    replaces: Replaces = None,
    as_json: Json = False,
) -> None:
    """Judge one hold in logger files; no plan needed."""
    limit_low, limit_high = limits_told(tolerance, low, high)
    if minutes is not None and minutes <= 0:
        raise typer.BadParameter("the window needs a length above zero", param_hint="--minutes")
    ignored = pairs("--ignore", "COLUMN=REASON", ignore)

    read, loggers = told_on_the_command_line(files, context.params)

    from qualify.evaluate import evaluate
    from qualify.plan.options import plan_from_options
    from qualify.readings.told import as_plain

    unit = _unit(units)
    plan = plan_from_options(
        [str(path) for path in files],
        setpoint=setpoint,
        low=limit_low,
        high=limit_high,
        units=unit,
        start=start,
        minutes=minutes,
        heat_start=heat_start,
        certificates=str(certificates) if certificates else None,
        ignored=ignored,
        read=read,
        loggers={str(path): told for path, told in zip(files, loggers, strict=True) if told is not None},
    )
    given = {
        "command": "survey",
        "files": [path.name for path in files],
        "setpoint": setpoint,
        "low": limit_low,
        "high": limit_high,
        "start": start,
        "minutes": minutes,
        "heat_start": heat_start,
        "certificates": certificates.name if certificates else None,
        "ignore": ignored,
        "units": units,
        "read": as_plain(read),
        "loggers": [as_plain(told) if told is not None else {} for told in loggers],
    }
    _check_out(out)
    replaced = _identity(replaces)
    evaluation = evaluate(plan, Path(), options=given, replaces=replaced, progress=ReadingBar())
    _finish(evaluation, out, as_json=as_json, accept_conditional=False)


@app.command()
def run(
    plan: Annotated[Path, typer.Argument(metavar="PLAN.toml", help="The plan.")],
    out: Out = None,
    replaces: Replaces = None,
    as_json: Json = False,
) -> None:
    """Evaluate every survey that a plan names and write its data pack."""
    from qualify.evaluate import evaluate
    from qualify.inputs import load
    from qualify.plan.reading import read_plan

    file = load(plan, "plan")
    read = read_plan(file)
    folder = out if out is not None else Path(f"{plan.stem}-pack")
    _check_out(folder)
    replaced = _identity(replaces)
    evaluation = evaluate(
        read,
        plan.parent,
        plan_file=file,
        options={"command": "run", "plan": plan.name},
        replaces=replaced,
        progress=ReadingBar(),
    )
    _finish(evaluation, folder, as_json=as_json, accept_conditional=read.accept_conditional)


@app.command("read")
def read_command(
    context: typer.Context,
    files: Files,
    units: Units = None,
    dates: Dates = None,
    encoding: Encoding = None,
    member: Member = None,
    delimiter: Delimiter = None,
    decimal_mark: DecimalMark = None,
    thousands_mark: ThousandsMark = None,
    sheet: Sheet = None,
    header_row: HeaderRow = None,
    units_row: UnitsRow = None,
    description_row: DescriptionRow = None,
    first_row: FirstRow = None,
    last_row: LastRow = None,
    table: Table = None,
    channel_column: ChannelColumn = None,
    value_column: ValueColumn = None,
    unit_column: UnitColumn = None,
    time_column: TimeColumn = None,
    time_unit: TimeUnit = None,
    date: Date = None,
    zone: Zone = None,
    unit_of: UnitOf = None,
    not_reading: NotReading = None,
    thermocouple: Thermocouple = None,
    reference_junction: ReferenceJunction = None,
    clock: Clock = None,
    side_by_side: SideBySide = False,
    interpolate_up_to: InterpolateUpTo = None,
    as_json: Json = False,
) -> None:
    """Tell how logger files are understood, and the plan lines that pin it; change nothing."""
    read, loggers = told_on_the_command_line(files, context.params)

    from qualify.inputs import load
    from qualify.readings import read_recording
    from qualify.readings.reading import labels
    from qualify.readings.report import as_words, to_json

    loaded = [load(path, "readings") for path in files]
    names = labels(loaded)
    told = {name: options for name, options in zip(names, loggers, strict=True) if options is not None}
    recording = read_recording(loaded, read, told, ReadingBar())
    if as_json:
        sys.stdout.write(to_json(recording))
    else:
        print(as_words(recording))


@app.command()
def verify(pack: Annotated[Path, typer.Argument(metavar="PACK", help="The data pack's folder.")]) -> None:
    """Check a data pack's manifest and compute its figures again from the packed inputs."""
    from qualify.verify import verify as verify_pack

    found = verify_pack(pack)
    for difference in found.differences:
        print(difference)
    print(
        f"{found.files} files against the manifest, {found.figures} values computed again: "
        f"{len(found.differences) or 'no'} difference{'' if len(found.differences) == 1 else 's'}"
    )
    raise typer.Exit(1 if found.differences else 0)


def _unit(word: str | None) -> TemperatureUnit | None:
    from qualify.units import TemperatureUnit

    return None if word is None else TemperatureUnit[word]


def _check_out(folder: Path | None) -> None:
    if folder is not None:
        from qualify.pack.folder import check_folder

        check_folder(folder)


def _identity(pack: Path | None) -> str | None:
    if pack is None:
        return None
    from qualify.pack.folder import pack_identity

    return pack_identity(pack)


def _finish(evaluation: Evaluation, folder: Path | None, *, as_json: bool, accept_conditional: bool) -> None:
    from qualify.pack.summary import summary
    from qualify.record import Decision, to_json

    if folder is not None:
        from qualify.pack.folder import write_pack

        write_pack(evaluation, folder, _progress)
    record = evaluation.record
    if as_json:
        sys.stdout.write(to_json(record))
    else:
        print(summary(record, pack=str(folder) if folder is not None else ""))
    accepted = [Decision.PASS, Decision.CONDITIONAL] if accept_conditional else [Decision.PASS]
    raise typer.Exit(0 if record.verdict in accepted else 1)


class ReadingBar:
    """A bar on the terminal for files that take longer than a second to read."""

    def __init__(self) -> None:
        self._began = time.monotonic()
        self._drawn = -1

    def __call__(self, what: str, share: float) -> None:
        """Draw the bar anew where it has grown."""
        step = int(share * 40)
        if not sys.stderr.isatty() or time.monotonic() - self._began < 1.0:
            return
        if step != self._drawn:
            self._drawn = step
            end = "\n" if share >= 1.0 else ""
            bar = "#" * step + "." * (40 - step)
            print(f"\rreading {what} [{bar}] {share:4.0%}", end=end, file=sys.stderr, flush=True)


def _progress(what: str) -> None:
    if sys.stderr.isatty():
        print(f"writing {what} ...", file=sys.stderr)


def main() -> None:
    """Run the command line; the one place that turns failures into exit statuses."""
    from qualify.findings import Refusal

    # A process of seconds: looking for cycles of garbage costs it more than it frees.
    gc.disable()
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace")
    try:
        app()
    except Refusal as refusal:
        print(f"qualify: {refusal}", file=sys.stderr)
        sys.exit(3)
    except Exception as error:
        print(f"qualify: a defect of ours ({type(error).__name__}); details: {_details()}", file=sys.stderr)
        sys.exit(4)


def _details() -> str:
    """Write the traceback where the user can send it from, and say where."""
    import tempfile
    import traceback

    with tempfile.NamedTemporaryFile(
        "w", prefix="qualify-defect-", suffix=".txt", delete=False, encoding="utf-8"
    ) as file:
        traceback.print_exc(file=file)
    return file.name


if __name__ == "__main__":
    main()
