"""The command line: parses, calls, prints."""

from __future__ import annotations

import gc
import math
import sys
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

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


def choice(*words: str) -> Any:
    """Make a parser for one of some words."""

    def parse(text: str) -> str:
        if text not in words:
            raise ValueError(f"'{text}' is not one of {', '.join(words)}")
        return text

    return parse


Files = Annotated[list[Path], typer.Argument(metavar="FILE...", help="Logger files of one recording.")]
Out = Annotated[Path | None, typer.Option(metavar="DIR", help="Write the data pack to this new folder.")]
Json = Annotated[bool, typer.Option("--json", help="Print the record (JSON) and nothing else.")]
Replaces = Annotated[
    Path | None, typer.Option(metavar="OLD", help="The data pack that the new one replaces.")
]


def _number(help_text: str) -> Any:
    return typer.Option(metavar="NUMBER", parser=finite, help=help_text)


def _time(help_text: str) -> Any:
    return typer.Option(metavar="TIME", parser=moment, help=help_text)


@app.callback()
def qualify() -> None:
    """Qualify industrial ovens from multi-thermocouple survey files."""


@app.command()
def survey(
    files: Files,
    setpoint: Annotated[float, _number("Set point.")],
    tolerance: Annotated[float | None, _number("Limits are set point ± this.")] = None,
    low: Annotated[float | None, _number("Lower limit as a difference from the set point.")] = None,
    high: Annotated[float | None, _number("Upper limit as a difference from the set point.")] = None,
    start: Annotated[str | None, _time("Start of the assessment window (ISO 8601 or seconds).")] = None,
    minutes: Annotated[float | None, _number("Length of the assessment window.")] = None,
    heat_start: Annotated[str | None, _time("When heating started (ISO 8601 or seconds).")] = None,
    certificates: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Calibration points (CSV).")
    ] = None,
    ignore: Annotated[
        list[str] | None, typer.Option(metavar="COLUMN=REASON", help="Leave a temperature column out.")
    ] = None,
    units: Annotated[
        str | None,
        typer.Option(
            metavar="C|F",
            parser=choice("C", "F"),
            help="Unit of the numbers above, of the output, and of columns that name none.",
        ),
    ] = None,
    dates: Annotated[
        str | None,
        typer.Option(
            metavar="ORDER",
            parser=choice("day-first", "month-first", "year-first"),
            help="Order in dates that leave it open: day-first, month-first or year-first.",
        ),
    ] = None,
    encoding: Annotated[str | None, typer.Option(metavar="NAME", help="Text encoding of the files.")] = None,
    sheet: Annotated[str | None, typer.Option(metavar="NAME", help="Sheet of a workbook.")] = None,
    header_row: Annotated[
        int | None, typer.Option(metavar="ROW", min=1, help="Row with the column names (first = 1).")
    ] = None,
    out: Out = None,
    replaces: Replaces = None,
    as_json: Json = False,
) -> None:
    """Judge one hold in logger files; no plan needed."""
    limit_low, limit_high = _limits(tolerance, low, high)
    if minutes is not None and minutes <= 0:
        raise typer.BadParameter("the window needs a length above zero", param_hint="--minutes")
    ignored = _ignored(ignore or [])

    from qualify.evaluate import evaluate
    from qualify.plan.options import plan_from_options
    from qualify.readings.model import ReadOptions

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
        read=ReadOptions(units=unit, dates=dates, encoding=encoding, sheet=sheet, header_row=header_row),
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
        "dates": dates,
        "encoding": encoding,
        "sheet": sheet,
        "header_row": header_row,
    }
    _check_out(out)
    replaced = _identity(replaces)
    evaluation = evaluate(plan, Path(), options=given, replaces=replaced)
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
    )
    _finish(evaluation, folder, as_json=as_json, accept_conditional=read.accept_conditional)


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


def _limits(tolerance: float | None, low: float | None, high: float | None) -> tuple[float, float]:
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


def _ignored(items: list[str]) -> dict[str, str]:
    ignored = {}
    for item in items:
        column, equals, reason = item.partition("=")
        if not equals or not column.strip() or not reason.strip():
            raise typer.BadParameter(f"'{item}' is not COLUMN=REASON", param_hint="--ignore")
        ignored[column.strip()] = reason.strip()
    return ignored


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
