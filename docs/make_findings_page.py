"""Write docs/findings.md from the findings that the package declares: `python docs/make_findings_page.py`."""

from __future__ import annotations

import importlib
import pkgutil
from pathlib import Path

import qualify
from qualify.findings import DOUBTS, REFUSALS

PAGE = Path(__file__).with_name("findings.md")


def page() -> str:
    """The page: every refusal and every doubt, in the words that the user sees."""
    for module in pkgutil.walk_packages(qualify.__path__, "qualify."):
        if not module.name.endswith("__main__"):
            importlib.import_module(module.name)
    lines = [
        "# Findings",
        "",
        "Made by `python docs/make_findings_page.py` from the package itself; words in braces stand for what "
        "was found. A refusal ends the work with exit status 3. A doubt is listed in the record, in the "
        "workbook and on the screen, and the work goes on.",
        "",
        "## Refusals",
        "",
    ]
    for code, refusal in sorted(REFUSALS.items()):
        lines += [f"### `{code}`", "", f"{_shown(refusal.what)}", ""]
        lines += [f"- why: {_shown(refusal.why)}", f"- mend: {_shown(refusal.mend)}", ""]
    lines += ["## Doubts", ""]
    for code, doubt in sorted(DOUBTS.items()):
        lines += [f"### `{code}`", "", f"{_shown(doubt.text)}", ""]
    return "\n".join(lines)


def _shown(template: str) -> str:
    """The template's words as Markdown shows them."""
    return template.replace("[[", "\\[\\[").replace("<", "&lt;")


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
