"""A coverage-guided fuzzer on the readers: anything but a recording or a refusal is a find.

Not collected by pytest. Needs atheris (`pip install atheris`), which is no dependency of the package:

    python tests/fuzz_readings.py text --seconds 3600
    python tests/fuzz_readings.py containers --seconds 3600

`text` feeds damaged text files, `containers` workbooks, open documents, parquet, gzip and zip (as bytes, and
re-packed so that the check sums hold and the damage reaches the XML inside). The seeds are the corpus. A find
is written to `--out` (default: a temporary folder) with its traceback; the work goes on until the time is up,
so that one find doesn't hide the next. Exit status 1 if there were finds.
"""

from __future__ import annotations

import argparse
import contextlib
import hashlib
import io
import os
import sys
import tempfile
import time
import traceback
import zipfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

CONTAINERS = (".xlsx", ".xls", ".ods", ".parquet", ".gz", ".zip")
FOLDER = Path(__file__).parent / "corpus" / "files"

WORDS = (
    "°C", "°F", "(K)", "Time", "Date", ",", ";", "\t", "|", "2026-03-14T08:00:00", "14.03.2026", "08:00:00",
    "AM", " PM",
    "+01:00", "OL", "NaN", "9.91E37", "\r\n", "\ufeff", "1.234,5", "sep=;", "Channel", "Value",
    "Unit", "Minimum", "mV",
    "12/31/99", "Mar", "1e309", "-273.16", '"', "\n\n", "elapsed", "h:mm", "(min)",
)  # fmt: skip


def escaped(word: str) -> str:
    """A word as the fuzzer's dictionary wants it."""
    return "".join(f"\\x{byte:02x}" for byte in word.encode())


def repacked(data: bytes, choose: int, patch: bytes) -> bytes:
    """A zip archive with the bytes of one member overwritten and the check sums made right again."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        members = {name: archive.read(name) for name in archive.namelist()}
    names = sorted(members)
    name = names[choose % len(names)]
    content = members[name]
    at = int.from_bytes(patch[:3], "little") % (len(content) + 1)
    members[name] = content[:at] + patch[3:] + content[at + len(patch[3:]) :]
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        for member, content in members.items():
            archive.writestr(member, content)
    return buffer.getvalue()


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("what", choices=["text", "containers"])
    parser.add_argument("--seconds", type=int, default=60)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--out", type=Path, help="folder for the finds")
    told = parser.parse_args()
    out: Path = told.out or Path(tempfile.mkdtemp(prefix="fuzz_finds_"))
    out.mkdir(parents=True, exist_ok=True)

    import atheris

    from qualify.inputs import InputFile

    # Only the package's own readers are instrumented: what they call is either compiled or not ours.
    with atheris.instrument_imports(include=["qualify.readings", "qualify.units"]):
        from qualify.readings import ReadOptions, read_recording

        # Modules that are imported where they are used are loaded here, so that they are instrumented too.
        for path in sorted(FOLDER.iterdir()):
            with contextlib.suppress(Exception):
                read_recording([InputFile(path.name, path, path.read_bytes(), "", "readings")])
    import openpyxl  # noqa: F401  (loaded before the clock runs)
    import pandas as pd  # noqa: F401

    from qualify.findings import Refusal
    from qualify.units import TemperatureUnit

    choices = (
        ReadOptions(),
        ReadOptions(units=TemperatureUnit.C),
        ReadOptions(units=TemperatureUnit.F, dates="day-first"),
        ReadOptions(units=TemperatureUnit.C, dates="month-first", decimal_mark="comma"),
    )
    finds: dict[str, int] = {}
    runs = 0
    began = time.monotonic()

    def report() -> None:
        seconds = time.monotonic() - began
        print(f"{runs} inputs in {seconds:.0f} s, {len(finds)} kinds of find; in {out}")
        for kind, count in sorted(finds.items(), key=lambda item: -item[1]):
            print(f"  {count} × {kind}")
        sys.stdout.flush()

    def one_input(data: bytes) -> None:
        nonlocal runs
        runs += 1
        if time.monotonic() - began > told.seconds:
            # The fuzzer would end the process without a word.
            report()
            os._exit(1 if finds else 0)
        if len(data) < 2:
            return
        options, content, name = choices[data[0] % len(choices)], data[1:], "fuzz.csv"
        if told.what == "containers":
            name = "fuzz.bin"
            if content.startswith(b"PK") and data[0] & 0x80 and len(content) > 24:
                with contextlib.suppress(Exception):
                    content = repacked(content[:-16], content[-16], content[-15:])
        try:
            read_recording([InputFile(name, Path(name), content, "", "readings")], options)
        except Refusal:
            pass
        except Exception as error:
            place = traceback.extract_tb(error.__traceback__)[-1]
            own = [each for each in traceback.extract_tb(error.__traceback__) if "qualify" in each.filename][
                -1
            ]
            kind = f"{type(error).__name__} at {Path(own.filename).name}:{own.lineno}"
            if place != own:
                kind += f" (in {Path(place.filename).name})"
            finds[kind] = finds.get(kind, 0) + 1
            if finds[kind] == 1:
                label = hashlib.sha256(kind.encode()).hexdigest()[:12]
                (out / f"{label}.bin").write_bytes(content)
                (out / f"{label}.txt").write_text(
                    f"{kind}\noptions: {options}\n\n{traceback.format_exc()}", encoding="utf-8"
                )
                print(f"find: {kind} -> {out / label}.bin", flush=True)

    seeds = out / "seeds"
    grown = out / "grown"
    for folder in (seeds, grown):
        folder.mkdir(exist_ok=True)
    for path in sorted(FOLDER.iterdir()):
        is_container = path.name.endswith(CONTAINERS) or path.name == "sheet-called-csv.csv"
        if is_container == (told.what == "containers"):
            (seeds / path.name).write_bytes(b"\0" + path.read_bytes())
            if is_container:
                (seeds / f"{path.name}-repacked").write_bytes(b"\x81" + path.read_bytes() + bytes(16))
    words = out / "words.txt"
    words.write_text("".join(f'"{escaped(word)}"\n' for word in WORDS), encoding="ascii")
    arguments = [
        sys.argv[0], str(grown), str(seeds), f"-seed={told.seed}", "-timeout=60",
        "-max_len=20000", "-rss_limit_mb=4096", f"-dict={words}",
        "-print_final_stats=1", f"-artifact_prefix={out}/",
    ]  # fmt: skip

    atheris.Setup(arguments, one_input)
    atheris.Fuzz()
    return 1


if __name__ == "__main__":
    sys.exit(main())
