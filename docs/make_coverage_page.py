"""Make docs/coverage.md: how often stated intervals hold in invented surveys of known truth.

Run as `python docs/make_coverage_page.py`; it takes about half an hour on one core. With `--cases 200` it is
quick and rough, and only prints.
"""

from __future__ import annotations

import argparse
import sys
from concurrent.futures import ProcessPoolExecutor
from importlib import import_module
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from tests.studies.study import Row

PAGE = Path(__file__).with_name("coverage.md")
OPENING = "<!-- coverage table: made by docs/make_coverage_page.py -->"
CLOSING = "<!-- end of coverage table -->"
STUDIES = {
    "series": "One window: drift, mean, steadiness, locations against each other",
    "simulation": "The simulation: figures of a window under the sensors' errors",
    "runs": "Replicate runs",
    "field": "Unwatched places",
}


def rows_of(name: str, cases: int) -> list[Row]:
    """All rows of one study."""
    found: list[Row] = import_module(f"tests.studies.{name}").studies(cases)
    return found


def table(rows: list[Row]) -> list[str]:
    """The rows as a table."""
    lines = [
        "| surveys | interval | stated | held | of | none given | the tool warns |",
        "|---|---|---|---|---|---|---|",
    ]
    for row in rows:
        held = f"{100 * row.coverage:.1f} % ± {200 * row.sampling_error:.1f}" if row.cases else "none given"
        lines.append(
            f"| {row.study} | {row.interval} | {100 * row.stated:.3g} % | {held} | {row.cases:,} | "
            f"{row.absent:,} | {'yes' if row.warned else ''} |"
        )
    return [line.replace("T_", "T\\_") for line in lines]


def main() -> None:
    """Run every study, print the tables, and put them into the page."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--cases", type=int, default=2000)
    parser.add_argument("--workers", type=int, default=1)
    told = parser.parse_args()
    with ProcessPoolExecutor(told.workers) as pool:
        found = dict(zip(STUDIES, pool.map(rows_of, STUDIES, [told.cases] * len(STUDIES)), strict=True))
    lines = [OPENING, ""]
    for name, title in STUDIES.items():
        lines += [f"### {title}", "", *table(found[name]), ""]
    block = "\n".join([*lines, CLOSING])
    if told.cases < 2000:
        print(block)
        return
    text = PAGE.read_text(encoding="utf-8")
    before, after = text.split(OPENING)[0], text.split(CLOSING)[1]
    PAGE.write_text(before + block + after, encoding="utf-8")


if __name__ == "__main__":
    main()
