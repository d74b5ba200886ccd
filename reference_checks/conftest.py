"""What the reference checks share: comparison with published digits, and the command line."""

from __future__ import annotations

import json
import math
import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

DATA = Path(__file__).parent / "data"


def half_last_digit(published: str) -> float:
    """Half a unit of the last digit that a published number shows."""
    exponent = Decimal(published).as_tuple().exponent
    assert isinstance(exponent, int), f"{published} is not a number"
    return 0.5 * 10.0**exponent


def digits_agreed(found: float, published: str, *, exact: bool = False) -> float:
    """Give −log10 of the relative difference, at most the number of digits published (16 of an exact one)."""
    number = Decimal(published)
    most = 16.0 if exact else float(len(number.as_tuple().digits))
    if Decimal(found) == number:
        return most
    apart = abs(Decimal(found) - number)
    return min(most, -math.log10(apart / abs(number) if number else apart))


@dataclass
class Published:
    """Compares what the package finds with digits as they were published, and notes each comparison."""

    notes: list[tuple[str, str, str, str]] = field(default_factory=list)

    def agree(
        self, found: object, published: str, what: str, *, within: float | None = None, exact: bool = False
    ) -> None:
        """Hold a number against published digits.

        Parameters
        ----------
        found
            What the package found; anything but a number fails.
        published
            The number with the publication's own digits.
        what
            What it is, for the list of digits agreed.
        within
            Allowed difference; without it half the last published digit. Whoever gives it says why.
        exact
            Whether the published number is exact, so that digits beyond those printed count.
        """
        assert isinstance(found, float), f"{what}: {found!r} is not a number"
        tolerance = half_last_digit(published) if within is None else within
        self.notes.append(
            (what, f"{found:.15g}", published, f"{digits_agreed(found, published, exact=exact):.1f}")
        )
        # Half a digit, and what a binary number adds to it.
        slack = 4e-16 * abs(float(published))
        assert abs(Decimal(found) - Decimal(published)) <= Decimal(tolerance + slack), (
            f"{what}: found {found:.17g}, published {published}, allowed ±{tolerance:g}"
        )


@pytest.fixture
def published(record_property: Callable[[str, object], None]) -> Iterator[Published]:
    """Give a comparison with published digits; its notes go into the report of the test."""
    comparison = Published()
    yield comparison
    record_property("digits", comparison.notes)


@pytest.fixture(scope="session")
def qualify_json(tmp_path_factory: pytest.TempPathFactory) -> Callable[..., dict[str, Any]]:
    """Give a function that runs the command line with --json and returns the record."""

    def call(*arguments: object, accepted: tuple[int, ...] = (0, 1)) -> dict[str, Any]:
        folder = tmp_path_factory.mktemp("run")
        words = [str(argument) for argument in arguments]
        if words[0] == "run":
            words += ["--out", str(folder / "pack")]
        command = "import sys; from qualify.cli import main; sys.exit(main())"
        done = subprocess.run(
            [sys.executable, "-c", command, *words, "--json"],
            capture_output=True,
            text=True,
            encoding="utf-8",
            cwd=folder,
            env={**os.environ, "MPLBACKEND": "agg", "PYTHONUTF8": "1"},
            check=False,
        )
        assert done.returncode in accepted, f"exit status {done.returncode}: {done.stderr[-2000:]}"
        record: dict[str, Any] = json.loads(done.stdout)
        return record

    return call


def read_nist(name: str) -> list[list[float]]:
    """Read the data of a certified set: the numbers of each line from line 61 on."""
    lines = (DATA / "nist" / f"{name}.dat").read_text(encoding="ascii").splitlines()[60:]
    return [[float(word) for word in line.split()] for line in lines if line.strip()]


@pytest.fixture(scope="session")
def nist() -> Callable[[str], list[list[float]]]:
    """Give a function that reads a certified set of NIST by its name."""
    return read_nist


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add --digits: list what was found, what is published, and how many digits agree."""
    parser.addoption("--digits", action="store_true", help="list found and published numbers, digits agreed")


def pytest_terminal_summary(terminalreporter: Any, config: pytest.Config) -> None:
    """Print the list that --digits asks for."""
    if not config.getoption("--digits"):
        return
    terminalreporter.section("found, published, digits agreed")
    for reports in terminalreporter.stats.values():
        for report in reports:
            if getattr(report, "when", "") != "teardown":
                continue
            for name, notes in getattr(report, "user_properties", ()):
                if name == "digits":
                    for what, found, number, digits in notes:
                        terminalreporter.write_line(f"{what:<62} {found:>22} {number:>22} {digits:>5}")
