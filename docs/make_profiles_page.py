"""Write docs/profiles.md from the tables that the package ships: `python docs/make_profiles_page.py`."""

from __future__ import annotations

from pathlib import Path

from qualify.plan.profile import Kind
from qualify.standards import STANDINGS, Row, citation, rows
from qualify.standards.profile_rows import FORMS, editions_of
from qualify.standards.profiles import Profile, built_in

PAGE = Path(__file__).with_name("profiles.md")
HEAD = """# Requirement profiles

Made by `python docs/make_profiles_page.py` from `qualify/standards/`.

A profile is what one edition of a document asks of a survey. The plan names it, for all holds or for one:

```
[profile]
document = "AMS2750"
edition = "H"            # needed where there are profiles of several editions
class = "2"              # where the document has classes

[[surveys.holds]]
setpoint = 550
profile = { class = "5" }
```

- What the plan says itself always wins: limits, classes, `minutes`, `soak_minutes`, the steadiness rule, a
  requirement on the same figure. record.json (`settings`, `profiles`) and the sheet Definitions list all
  that the profile asks, with its source, its standing and what became of it.
- Limits and limited figures become requirements. Number of locations, interval, soak, window, readings: a
  departure where they are not kept, for a person to disposition.
- A number of standing M or X is printed beside the verdict and decides nothing. Whoever has checked it in a
  licensed copy adds its id to `confirmed` in the plan. Limits of that standing are "not shown" until then.
- A row that a profile names and the tables lack makes its requirement "not shown".
- A document's own figure without a limit here is printed, and is judged where the plan gives a limit:
  `figure = "variant:iec60068-3-5-gradient"` with `at_most`, below `[[requirements]]`.

"""
OWN = """## A profile of your own

A TOML file of this form, named in the plan by `profiles = ["our-profile.toml"]` above its first table; the
path is relative to the plan, and the file is packed among the inputs. Standing "own" is for your own
document; what you copy from somebody else's has the standing of how you know it.
`asks` may name built-in ids too, and `classes` and `sensors` a built-in document. This example is checked by
the tests.

```toml
[[profile]]
id = "our-procedure"
document = "Our procedure"
edition = "3"
clause = "whole"
unit = "1"
standing = "own"
sensors = "DKD-R 5-7"          # its number of locations by volume; or an ask of kind sensors
asks = ["our-limits", "our-soak", "our-interval", "our-gradient", "our-overshoot", "dkd-r-5-7-readings"]

[[ask]]
id = "our-limits"
document = "Our procedure"
edition = "3"
clause = "4.1"
kind = "limits"
class = "A"                    # named in the plan; with one class only it may be left out there
half_width = 4.0
unit = "C"
standing = "own"

[[ask]]
id = "our-soak"
document = "Our procedure"
edition = "3"
clause = "4.2"
kind = "soak"
least = 45
unit = "min"
standing = "own"

[[ask]]
id = "our-interval"
document = "Our procedure"
edition = "3"
clause = "4.2"
kind = "interval"
longest = 60
unit = "s"
standing = "own"

[[ask]]
id = "our-gradient"
document = "Our procedure"
edition = "3"
clause = "4.3"
kind = "variant"
figure = "iec60068-3-5-gradient"
at_most = 2.5
unit = "C"
standing = "own"

[[ask]]
id = "our-overshoot"
document = "Our procedure"
edition = "3"
clause = "4.4"
kind = "figure"
figure = "overshoot"           # a word of the plan's requirements
at_most = 5
unit = "C"
standing = "own"
```

"""
WORDS = {
    Kind.LIMITS: "limits of a class; judged is all or reference; for set points from, above, to; "
    "percent_of_rise is a share of (set point − ambient)",
    Kind.SENSORS: "number of locations",
    Kind.INTERVAL: "longest interval between two readings, from heat start to the window's end",
    Kind.SOAK: "soak after stabilisation; sets `soak_minutes`",
    Kind.WINDOW: "length of the assessment window; sets `minutes` where the plan declares a start alone",
    Kind.READINGS: "instants in the window",
    Kind.STEADY: "the steadiness rule; sets `steady_within` and `steady_minutes`",
    Kind.VARIANT: "limit of a document's own figure, by its id",
    Kind.FIGURE: "limit of a figure, by the plan's word",
    Kind.TREND: "no location still trends towards a limit that the next soak would reach: a requirement",
    Kind.START: "the record begins before the first sensor is inside the limits",
    Kind.CORRECTIONS: "corrections are added before judging: certificates are given",
    Kind.NOTE: "printed only",
}


UNITS = {"C": "°C", "F": "°F", "ft3": "ft³", "m3": "m³", "L": "L"}


def number_of(row: Row) -> str:
    """The row's number with its unit, or nothing."""
    unit = {"C": " °C", "F": " °F", "1": ""}.get(row["unit"], f" {row['unit']}")
    if "percent_of_rise" in row:
        return f"±{row['percent_of_rise']:g} % of (set point − ambient)"
    for key, sign in (
        ("half_width", "±"),
        ("longest", "≤ "),
        ("least", "≥ "),
        ("at_most", "≤ "),
    ):
        if key in row:
            return f"{sign}{row[key]:g}{unit}"
    return ""


def holds_for(row: Row) -> str:
    """The set points or volumes for which a row holds, in words."""
    words = [
        f"{word} {row[key]:g}"
        for key, word in (
            ("setpoint_from", "from"),
            ("setpoint_above", "above"),
            ("setpoint_to", "to"),
            ("from", "from"),
            ("over", "over"),
            ("to", "to"),
            ("under", "under"),
            ("rise_from", "set point − ambient from"),
        )
        if key in row
    ]
    return f"{', '.join(words).replace(', to', ' to')} {UNITS.get(row['unit'], '')}" if words else ""


def lines_of(profile: Profile) -> list[str]:
    """One profile: a row of the table for each thing it asks."""
    edition = profile.editions[-1]
    found = [f"## {profile.document}: {', '.join(profile.editions)}", ""]
    table = []
    for row in rows("uniformity_classes", "class"):
        if row["document"] == profile.head.get("classes") and edition in editions_of(row):
            what = " ".join(part for part in (f"limits, class {row['name']}", holds_for(row)) if part)
            table.append((row["id"], what, number_of(row), row))
    for row in rows("sensor_counts", "count"):
        if row["document"] == profile.head.get("sensors") and edition in editions_of(row):
            names = f"classes {', '.join(row['classes'])}" if "classes" in row else ""
            what = " ".join(part for part in ("locations", holds_for(row), names) if part)
            per = (
                f", one for every {row['per']:g} {UNITS[row['unit']]}, to {row['most']}"
                if "per" in row
                else ""
            )
            table.append((row["id"], what, f"≥ {row['count']}{per}", row))
    for name, kind, row in profile.rows_named():
        what = f"{row['name']}: {row['formula']}" if "formula" in row else str(row.get("text", kind.value))
        if kind is Kind.TREND:
            what = "no location still trends towards a limit"
        if kind is Kind.INTERVAL:
            what = "interval between readings" + (", for planning only" if row.get("for_planning") else "")
        table.append((name, what, number_of(row), row))
    if not table:
        return [*found, "Asks nothing by itself: every limit and rule is the plan's own.", ""]
    found += ["| id | what | value | source | standing |", "|---|---|---|---|---|"]
    for name, what, number, row in table:
        cells = (f"`{name}`", what, number, citation(row), row["standing"])
        found.append("| " + " | ".join(cell.replace("|", "&#124;") for cell in cells) + " |")
    return [*found, ""]


def page() -> str:
    """The whole page."""
    lines = ["## Standing", "", *(f"- **{mark}**: {meaning}" for mark, meaning in STANDINGS.items())]
    lines += ["- **own**: what a user states in a profile of their own", ""]
    for profile in built_in():
        lines += lines_of(profile)
    lines += OWN.splitlines()
    lines += ["Kinds of `[[ask]]`:", "", "| kind | keys | units | what |", "|---|---|---|---|"]
    for kind, form in FORMS.items():
        needs = [f"`{key}`" for key in (form.number, *form.needs) if key]
        may = [f"`{key}`" for key in form.may]
        keys = ", ".join(needs) + (f"; may: {', '.join(may)}" if may else "")
        lines.append(f"| {kind.value} | {keys} | {', '.join(form.units)} | {WORDS[kind]} |")
    return HEAD + "\n".join(lines) + "\n"


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
