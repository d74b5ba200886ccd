"""Make the block of docs/reading.md that compares this package with plain tools on the corpus.

Run as `python docs/make_reading_page.py`. Only the block between the two marker comments is written.

How a plain tool's result is judged, against tests/corpus/expected.toml:

- refused: it raises.
- rightly read: every channel is a column of floats whose name holds the channel's name, with the expected
  readings (in the unit in which they were recorded), absent where there is none, and no rows beside them.
  Units aren't asked for, since a plain tool knows none. A long table counts when the numbers of each channel
  are right.
- times left as text is counted apart.
- wrongly read: anything else, without a word of warning. So is a file that must be refused, if it is read;
  but not one that this package refuses although it can be read, which expected.toml marks by saying what it
  holds.
"""

from __future__ import annotations

import csv
import sys
import warnings
from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[1]))

from qualify.findings import Refusal
from qualify.units import parse_unit, temperature_from_c
from tests.support.corpus import CASES, FILES, HEAT_UP, check_refused, check_understood, read

PAGE = Path(__file__).with_name("reading.md")
OPENING = "<!-- corpus table: made by docs/make_reading_page.py -->"
CLOSING = "<!-- end of corpus table -->"
RULE = """\
*pandas*: `read_csv`, `read_excel` or `read_parquet` with default arguments. *csv.Sniffer and pandas*:
`read_csv` with the delimiter and quotation mark that the sniffer found (text files only). A file is refused
by a plain tool when it raises. It is rightly read when every channel is a column of floats whose name holds
the channel's name, with the expected readings and no rows beside them; a long table when the numbers of
each channel are right. Units aren't asked for, since a plain tool knows none; times left as text are
counted apart. All else is wrongly read, and so is a file that must be refused, if it is read. Files that
must be read together are left out. Plain tools got no options; this package was told what the file leaves
open where the table says so."""
SHEETS = (".xlsx", ".xls", ".ods")
RIGHT, TEXT_TIMES, REFUSED, WRONG = (
    "rightly read",
    "rightly read, times left as text",
    "refused",
    "wrongly read",
)


def must_be_refused(case: dict[str, Any]) -> bool:
    """Whether the file can only be read by a guess, or not at all."""
    return "refusal" in case or "refused" in case


def expected_columns(case: dict[str, Any]) -> tuple[dict[str, np.ndarray], bool]:
    """The readings of each channel in its recorded unit, and whether these are all rows."""
    names = case.get("channels", ["T1", "T2", "T3"])
    units = [parse_unit(word) for word in case.get("units", ["°C"] * len(names))]
    whole = "readings" not in case
    if whole:
        table = np.array(HEAT_UP)
        rows = case.get("rows") or [case.get("heat_up_from", 0) + k for k in range(10)]
        for place, name, value in case.get("changes", []):
            index = rows.index(place) if isinstance(place, int) else 4
            table[index, names.index(name)] = value
    else:
        table = np.array([values for _, *values in case["readings"]], dtype=float)
    columns = {}
    for k, (name, unit) in enumerate(zip(names, units, strict=True)):
        assert unit is not None
        columns[name] = temperature_from_c(table[:, k], unit)
    return columns, whole


def is_in_order(wanted: np.ndarray, found: np.ndarray) -> bool:
    """Whether the wanted numbers stand among the found ones, in their order."""
    at = 0
    for number in found:
        if at < len(wanted) and abs(number - wanted[at]) < 1e-6:
            at += 1
    return at == len(wanted)


def judged(case: dict[str, Any], frame: pd.DataFrame) -> str:
    """Hold a plain tool's table against what must be understood."""
    if must_be_refused(case) and "heat_up_from" not in case:
        return f"{WRONG}: read without a word"
    if "millivolts" in case.get("told", {}):
        return f"{WRONG}: millivolts left as they are"
    wanted, whole = expected_columns(case)
    found: dict[str, pd.Series] = {}
    for name in wanted:
        columns = [column for column in frame.columns if name in str(column)]
        if columns:
            found[name] = frame[columns[0]]
            continue
        # A long table: the rows of this channel, and the first column of numbers.
        for column in frame.columns:
            rows = frame[frame[column].astype(str) == name]
            numbers = [each for each in frame.columns if pd.api.types.is_float_dtype(frame[each])]
            if len(rows) and numbers:
                found[name] = rows[numbers[0]]
                break
        else:
            return f"{WRONG}: no column '{name}'"
    for name, values in wanted.items():
        series = found[name]
        if not pd.api.types.is_numeric_dtype(series):
            return f"{WRONG}: numbers left as text"
        numbers = series.to_numpy(dtype=float)
        if whole and len(numbers) != len(values):
            return f"{WRONG}: other rows"
        if whole:
            right = np.allclose(numbers, values, rtol=0, atol=1e-6, equal_nan=True)
        else:
            right = is_in_order(values, numbers)
        if not right:
            return f"{WRONG}: other numbers"
    if case.get("elapsed") and not case.get("told"):
        return RIGHT
    times = [column for column in frame.columns if pd.api.types.is_datetime64_any_dtype(frame[column])]
    return RIGHT if times else TEXT_TIMES


def by_pandas(case: dict[str, Any], path: Path) -> str:
    """What pandas makes of the file with default arguments."""
    try:
        if path.suffix in SHEETS:
            # The default engines of .xls and .ods are further libraries; this one reads all three.
            engine = None if path.suffix == ".xlsx" else "calamine"
            frame = pd.read_excel(path, engine=engine)
        elif path.suffix == ".parquet":
            frame = pd.read_parquet(path)
        else:
            frame = pd.read_csv(path)
    except Exception:
        return REFUSED
    return judged(case, frame)


def by_sniffer(case: dict[str, Any], path: Path) -> str:
    """What `csv.Sniffer` and `pandas.read_csv` with its delimiter make of a text file."""
    if path.suffix not in (".csv", ".txt", ".tsv"):
        return "–"
    try:
        dialect = csv.Sniffer().sniff(path.read_text(encoding="utf-8")[:4096])
        frame = pd.read_csv(path, sep=dialect.delimiter, quotechar=dialect.quotechar or '"')
    except Exception:
        return REFUSED
    return judged(case, frame)


def by_this_package(case: dict[str, Any]) -> str:
    """What this package makes of the file, by the tests' own judge."""
    try:
        recording = read(case)
    except Refusal as refusal:
        if not must_be_refused(case):
            return f"{REFUSED}, wrongly"
        try:
            check_refused(case, refusal)
        except AssertionError:
            return f"{REFUSED}, for another reason"
        return REFUSED
    try:
        assert not must_be_refused(case)
        check_understood(case, recording)
    except AssertionError:
        return WRONG
    doubts = len(recording.doubts)
    return f"{RIGHT}, {doubts} doubt{'s' if doubts > 1 else ''}" if doubts else RIGHT


def coarse(result: str) -> str:
    """The class of a result, without its details."""
    if result == TEXT_TIMES:
        return TEXT_TIMES
    return next((kind for kind in (RIGHT, REFUSED, WRONG) if result.startswith(kind)), result)


def block() -> str:
    """The counts and the table, with the marker comments round them."""
    rows = []
    counts: dict[tuple[str, bool], Counter[str]] = {}
    tools = ("pandas", "csv.Sniffer and pandas", "this package")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for case in CASES:
            if "file" not in case:
                continue
            path = FILES / case["file"]
            results = (by_pandas(case, path), by_sniffer(case, path), by_this_package(case))
            for tool, result in zip(tools, results, strict=True):
                counts.setdefault((tool, must_be_refused(case)), Counter())[coarse(result)] += 1
            due = "refuse" if must_be_refused(case) else "read, with options" if "told" in case else "read"
            rows.append(f"| {case['file']} | {due} | {' | '.join(results)} |")
    kinds = (RIGHT, TEXT_TIMES, REFUSED, WRONG)
    lines = [OPENING, "", f"Of {len(rows)} files:", ""]
    lines += ["| tool | must be | " + " | ".join(kinds) + " |", "|---" * (len(kinds) + 2) + "|"]
    for tool in tools:
        for refuse in (False, True):
            count = counts[tool, refuse]
            if sum(count[kind] for kind in kinds):
                cells = " | ".join(str(count[kind]) for kind in kinds)
                lines.append(f"| {tool} | {'refused' if refuse else 'read'} | {cells} |")
    lines += [
        "",
        RULE,
        "",
        "| file | must be | pandas | csv.Sniffer and pandas | this package |",
        "|---|---|---|---|---|",
        *rows,
        "",
        CLOSING,
    ]
    return "\n".join(lines)


def page() -> str:
    """The whole page as it should stand: what is there, with the block made anew."""
    if not PAGE.exists():
        return f"# Reading\n\n## What plain tools make of the corpus\n\n{block()}\n"
    text = PAGE.read_text(encoding="utf-8")
    if OPENING not in text:
        return f"{text.rstrip()}\n\n## What plain tools make of the corpus\n\n{block()}\n"
    before, rest = text.split(OPENING, 1)
    return before + block() + rest.split(CLOSING, 1)[1]


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
