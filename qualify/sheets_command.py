"""`qualify sheets`: blank record sheets to be filled in at the oven, and read back by a plan."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer

from qualify.command_options import choice
from qualify.findings import RefusalKind

NO_RECORD = RefusalKind(
    "sheets-no-record",
    what="the pack's record.json can't be read: {problem}",
    why="The deviations to be disposed of stand in it.",
    mend="give the folder of a data pack as it was written.",
)

app = typer.Typer(
    name="sheets",
    help="Write blank record sheets: an installation, answers to be seen, what is restored, dispositions.",
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)

Out = Annotated[
    Path, typer.Option("--out", metavar="FILE", help="The new sheet, .csv or .xlsx; never written over.")
]
PlanFile = Annotated[Path, typer.Argument(metavar="PLAN", help="The plan (TOML).")]


@app.callback()
def sheets() -> None:
    """Write blank record sheets."""


@app.command()
def installation(
    out: Out,
    kind: Annotated[
        list[str] | None,
        typer.Option(
            metavar="KIND",
            parser=choice("any", "water-cooled", "inert-gas", "clean"),
            help="What the oven has: water-cooled, inert-gas, clean; give it once for each.",
        ),
    ] = None,
) -> None:
    """Write the record sheet of an installation; limits that depend on the oven are left blank."""
    from qualify.record_sheets.templates import template, write_sheet

    rows = template(*(kind or ["any"]))
    write_sheet(out, rows, _form(out))
    print(f"{out}: {sum(not row[0].startswith('#') for row in rows) - 1} rows. Name it in the plan:")
    print(f'[installation]\nrecords = ["{out.name}"]')


@app.command()
def observed(plan: PlanFile, out: Out) -> None:
    """Write the sheet of the answers that the plan's challenges expect a person to see or hear."""
    from qualify.inputs import load
    from qualify.plan.reading import read_plan
    from qualify.record_sheets.templates import observed_sheet, write_sheet

    read = read_plan(load(plan, "plan"))
    expected = {
        item.name: [answer.name for answer in item.answers if answer.channel is None]
        for item in read.challenges
    }
    write_sheet(out, observed_sheet(expected), _form(out))
    print(f"{out}: {sum(map(len, expected.values()))} rows. Name it in the plan:")
    print(f'[operation]\nobserved = "{out.name}"')


@app.command()
def restored(plan: PlanFile, out: Out) -> None:
    """Write the sheet of what the plan changes for its tests and must be put back."""
    from qualify.inputs import load
    from qualify.plan.reading import read_plan
    from qualify.record_sheets.templates import restored_sheet, write_sheet

    planned = read_plan(load(plan, "plan")).restore.planned
    write_sheet(out, restored_sheet(planned), _form(out))
    print(f'{out}: {len(planned)} rows. Name it in the plan: [return_to_service] file = "{out.name}"')


@app.command()
def dispositions(
    pack: Annotated[Path, typer.Argument(metavar="PACK", help="The folder of a data pack.")], out: Out
) -> None:
    """Write the sheet in which a person disposes of a pack's deviations."""
    from qualify.record_sheets.templates import disposition_sheet, write_sheet

    try:
        record = json.loads((pack / "record.json").read_text(encoding="utf-8"))
        ids = [item["id"] for item in record["deviations"]]
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise NO_RECORD(file=str(pack), problem=str(error)) from None
    write_sheet(out, disposition_sheet(ids), _form(out))
    print(f'{out}: {len(ids)} rows. Name it in the plan: [plan] dispositions = "{out.name}"')


def _form(path: Path) -> str:
    form = path.suffix.casefold().removeprefix(".")
    if form not in ("csv", "xlsx"):
        raise typer.BadParameter("a name that ends with .csv or .xlsx", param_hint="--out")
    return form
