"""The table of docs/reading.md says what plain tools and this package make of the corpus today."""

from __future__ import annotations

import re
import runpy
from pathlib import Path
from typing import Any

DOCS = Path(__file__).parents[1] / "docs"


def test_the_table_of_the_corpus_is_up_to_date():
    made: dict[str, Any] = runpy.run_path(str(DOCS / "make_reading_page.py"))
    text = (DOCS / "reading.md").read_text(encoding="utf-8")
    assert made["OPENING"] in text
    assert made["CLOSING"] in text
    assert text == made["page"]()


def test_this_package_reads_or_refuses_every_file_rightly():
    made: dict[str, Any] = runpy.run_path(str(DOCS / "make_reading_page.py"))
    text = (
        (DOCS / "reading.md").read_text(encoding="utf-8").split(made["OPENING"])[1].split(made["CLOSING"])[0]
    )
    cells = [
        line.split(" | ")[-1].removesuffix(" |")
        for line in text.splitlines()
        if re.match(r"\| [\w-]+\.\w", line)
    ]
    results = [cell for cell in cells if "read" in cell or "refused" in cell]
    assert len(results) >= 150
    assert [cell for cell in results if "wrong" in cell or "another reason" in cell] == []
