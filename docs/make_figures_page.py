"""Write docs/figures.md from the package's own words: `python docs/make_figures_page.py`."""

from __future__ import annotations

from pathlib import Path

from qualify.pack.workbook.words import CHAMBER, LOCATION, REPLICATES, STATISTICS, Word
from qualify.standards import STANDINGS
from qualify.standards.classes import variant_rows

PAGE = Path(__file__).with_name("figures.md")

HEAD = """# Figures

Made by `python docs/make_figures_page.py` from the words that the workbook prints, so that a figure has one
name and one definition. Names are those of `record.json`; inside, everything is in °C and seconds.

S is the set point; T_i(t) the corrected reading of location i; r the reference location: the plan's, else the
one nearest the centre of the work zone if within a quarter of each dimension of it, else none. A *complete*
instant is one at which every location has a reading. A figure that can't be given is null, and
`<name>_why` says why.

## Phases

- **Starting level** of the first hold: median of the chamber mean over the first 5 minutes (at least three
  readings); of a later hold over the former hold's last 5. Absent where the record begins already moving.
  The chamber mean is the mean over the locations that have a reading.
- **Heat start**: declared; else the last reading before the recorded set point changes; else the last reading
  at which the chamber mean is within max(1 °C, 5 robust standard deviations) of the starting level, before it
  is half way to the set point. Known to one reading interval.
- **Hold end**: the last reading before the recorded or declared set point changes; else before the chamber
  mean leaves the set point for good (for longer than a soak) by more than max(10 °C, 10 % of the step),
  followed back to where that fall begins, with a doubt that says so; a run upwards is not followed back: it
  belongs to the hold that it happened in. Else the record's end.
- **Steady**: A_i(t) is the mean of the readings in (t − m, t], m = `steady_minutes`, or the least whole
  number of control cycles not shorter. Steady from the first t at the set point (from the first instant
  within max(10 °C, 10 % of the step), at most half the step, of it on) such that over [t, t + soak] every A_i
  moves by at most `steady_within`. Where less record is left, what is left is used (never less than m), and
  the short soak is a departure. Steadiness does not ask for being in tolerance.
- **Assessment window**: declared; else from stabilisation to the hold's end, at least `soak_minutes`.

"""


def table(title: str, words: dict[str, Word]) -> list[str]:
    """One table of figures."""
    lines = [f"## {title}", "", "| in the record | unit | definition |", "|---|---|---|"]
    lines += [
        f"| `{key}` | {word.unit} | {word.definition.replace('|', '&#124;')} |" for key, word in words.items()
    ]
    return [*lines, ""]


def page() -> str:
    """The whole page."""
    lines = [*table("A location, in the window", LOCATION), *table("The chamber", CHAMBER)]
    lines += [*table("Statistics of a window, under `statistics`", STATISTICS)]
    lines += [*table("Replicate runs, under `replicates`", REPLICATES)]
    lines += [
        "## The same words, different formulas",
        "",
        "Each under its document's name, in `variants`. The standing tells how sure the definition is.",
        "",
        "| document | name | formula | standing |",
        "|---|---|---|---|",
    ]
    for row in variant_rows():
        formula = row["formula"].replace("|", "&#124;")
        lines.append(f"| {row['document']} | {row['name']} | {formula} | {row['standing']} |")
    lines += ["", *(f"- **{mark}**: {meaning}" for mark, meaning in STANDINGS.items()), ""]
    return HEAD + "\n".join(lines)


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
