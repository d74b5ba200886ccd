"""The house keeps its order: imports run one way, heavy libraries stay out of the quick path."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import qualify
from tests.support.surveys import plain_run, write_csv

HOUSE = Path(qualify.__file__).parent

NEVER = {
    # room: rooms it must not see
    "figures": (
        "plan",
        "standards",
        "sensors",
        "stages",
        "pack",
        "record",
        "evaluate",
        "decisions",
        "findings",
        "inference",
    ),
    "inference": (
        "plan",
        "standards",
        "sensors",
        "stages",
        "pack",
        "record",
        "evaluate",
        "decisions",
        "findings",
        "evidence",
        "readings.reading",
    ),
    "probability": ("plan", "figures", "inference", "stages", "pack", "record", "readings.reading"),
    "units": ("plan", "readings", "figures", "stages", "pack", "record"),
    "readings": ("plan", "figures", "sensors", "stages", "pack", "record", "standards"),
    "plan": ("figures.phases", "stages", "pack", "record", "sensors", "standards"),
    "standards": ("figures", "stages", "pack", "sensors", "evaluate"),
    "sensors": ("figures", "stages", "pack", "evaluate", "record"),
    "decisions": ("stages", "pack", "readings.reading", "sensors"),
    "record": ("plan", "readings", "sensors", "stages", "pack", "standards"),
    "stages": ("pack", "evaluate", "cli"),
    "record_sheets": ("plan", "stages", "pack", "evaluate", "cli", "inference", "standards"),
    "evidence": ("stages", "pack", "plan", "standards", "evaluate"),
    "pack": (
        "inference",
        "stages",
        "plan",
        "evaluate",
        "standards",
        "decisions",
        "cli",
        "sensors.certificates",
    ),
    "evaluate": ("pack", "cli"),
    "evaluate_stages": ("pack", "cli", "evaluate"),
}
# The pack sees readings only as they are in evidence: types, never readers.
READERS = (
    "readings.reading",
    "readings.registry",
    "readings.unwrap",
    "readings.delimited",
    "readings.sheets",
    "readings.xlsx",
    "readings.oldsheets",
    "readings.parquet",
    "readings.text",
    "readings.encodings",
    "readings.times",
)
KEPT_APART = {
    "matplotlib": ("pack",),
    "xlsxwriter": ("pack",),
    "openpyxl": ("readings.xlsx", "sensors.certificates_xlsx", "record_sheets.workbook"),
    "python_calamine": ("readings.apart", "sensors.certificates_xlsx"),
    "pyarrow": ("readings.parquet",),
    "charset_normalizer": ("readings.encodings",),
    "typer": ("cli", "command_options", "plan_command", "sensors_command", "sheets_command"),
    "pandas": ("readings",),
    "pint": ("record_sheets.quantities",),
    "scipy": ("inference",),
    "statsmodels": (),
}


def imports() -> list[tuple[str, str]]:
    """Every import of the package: (module, imported module), the former without "qualify."."""
    found = []
    for path in HOUSE.rglob("*.py"):
        module = ".".join(path.relative_to(HOUSE).with_suffix("").parts).removesuffix(".__init__")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                found += [(module, alias.name) for alias in node.names]
            elif isinstance(node, ast.ImportFrom) and node.module:
                found.append((module, node.module))
    assert len(found) > 150
    return found


def inside(name: str, room: str) -> bool:
    return name == room or name.startswith(f"{room}.")


@pytest.mark.parametrize("room", NEVER)
def test_imports_run_one_way(room: str) -> None:
    for module, imported in imports():
        if inside(module, room):
            for forbidden in NEVER[room]:
                assert not inside(imported, f"qualify.{forbidden}"), f"{module} sees {imported}"


def test_the_pack_sees_no_reader() -> None:
    for module, imported in imports():
        if inside(module, "pack"):
            assert not any(inside(imported, f"qualify.{reader}") for reader in READERS), module


@pytest.mark.parametrize("library", KEPT_APART)
def test_heavy_libraries_stay_in_their_rooms(library: str) -> None:
    for module, imported in imports():
        if inside(imported, library):
            assert any(inside(module, room) for room in KEPT_APART[library]), f"{module} imports {library}"


def test_one_place_catches_everything() -> None:
    broad = [
        path.name
        for path in HOUSE.rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.ExceptHandler)
        and isinstance(node.type, ast.Name)
        and node.type.id == "Exception"
    ]
    assert broad == ["cli.py"]


def loaded_by(code: str, *words: str) -> set[str]:
    """Modules that a fresh Python has loaded after running some code."""
    tell = "import sys; print('LOADED', *sorted(sys.modules), file=sys.stderr)"
    done = subprocess.run(
        [sys.executable, "-c", f"import atexit\natexit.register(lambda: exec({tell!r}))\n{code}", *words],
        capture_output=True,
        text=True,
        check=False,
    )
    line = next(line for line in done.stderr.splitlines() if line.startswith("LOADED"))
    return set(line.split()[1:])


def test_help_loads_nothing_heavy() -> None:
    loaded = loaded_by("from qualify.cli import main; main()", "--help")
    assert "qualify.cli" in loaded
    assert not loaded & {"numpy", "pandas", "scipy", "matplotlib", "openpyxl", "xlsxwriter", "pint", "rich"}


def test_a_survey_without_pack_loads_no_more_than_it_needs(tmp_path: Path) -> None:
    file = write_csv(tmp_path / "run.csv", *plain_run())
    words = ("survey", str(file), "--setpoint", "180", "--tolerance", "3")
    loaded = loaded_by("from qualify.cli import main; main()", *words)
    assert "pandas" in loaded
    heavy = {"matplotlib", "openpyxl", "xlsxwriter", "statsmodels", "scipy", "pint", "rich"}
    assert not loaded & heavy
