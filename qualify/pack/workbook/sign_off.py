"""The front page: one sheet of paper to sign."""

from __future__ import annotations

from qualify.evidence import Evaluation
from qualify.figures.absent import Absent
from qualify.pack.chances import probability_words
from qualify.pack.load_words import words_of_heat, words_of_lag
from qualify.pack.run_words import group_title, words_of_runs
from qualify.pack.stage_words import DO_NOT_USE, counted, left_in_place, still_owed, words_of_stage
from qualify.pack.workbook.book import Book, Sheet, lines_of
from qualify.pack.workbook.figures import FiguresLayout
from qualify.pack.workbook.runs import RunsLayout
from qualify.pack.workbook.uncertainty import UncertaintyLayout
from qualify.record import Decision, Record, SurveyRecord
from qualify.units import TemperatureUnit, difference_from_c, parse_unit, temperature_from_c

NAME = "Sign-off"
WIDTHS = (28, 22, 13, 21, 26)
LINE = 122
"""Characters that run across the page."""
BESIDE = 94
"""Characters that run across the page beside the first column."""

NAME_WIDTH = 28
MOST_SURVEYS, MOST_REMARKS, MOST_ITEMS, MOST_GROUPS = 12, 2, 5, 3
MOST_LEFT, MOST_OWED, MOST_HEAT = 4, 2, 2
PART_11 = (
    "This workbook can carry the fields of a signed record, but is not by itself a 21 CFR Part 11 system.",
    "A person signs, not the tool: the signatures below say what the persons who give them have found.",
)
MEANINGS = {
    "author": "wrote the plan",
    "surveyor": "took the readings",
    "reviewer": "reviewed the result",
    "approver": "approves the result",
}
ACCEPTS = "accepts what is conditional"


def write_sign_off(
    book: Book,
    evaluation: Evaluation,
    figures: list[FiguresLayout],
    uncertainty: UncertaintyLayout,
    runs: RunsLayout,
) -> None:
    """Write the sheet."""
    record = evaluation.record
    sheet = book.sheet(NAME, WIDTHS)
    _do_not_use(sheet, record)
    title = record.plan.title or "Oven qualification"
    for line in lines_of(title, 72)[:3]:
        sheet.title(line)
    number = " · ".join(
        part
        for part in (
            f"plan {record.plan.number}" if record.plan.number else "",
            f"revision {record.plan.revision}" if record.plan.revision else "",
            "plan made from the command's options" if record.plan.from_options else "",
            f"pack made {record.made_at}",
            f"replaces {record.replaces}" if record.replaces else "",
        )
        if part
    )
    _paragraph(sheet, number, "note")
    sheet.next()
    _heading(sheet, "Oven and scope")
    oven = {str(key): str(value) for key, value in record.plan.oven.items()}
    shown = dict(list(oven.items())[:6])
    for key, value in shown.items():
        _pair(sheet, _worded(key), value, most=2)
    if len(oven) > len(shown):
        _pair(sheet, "", f"and {len(oven) - len(shown)} more: record.json", most=1)
    if not oven:
        _pair(sheet, "Oven", "not stated", most=1)
    _pair(sheet, "Scope", record.plan.scope or "not stated", most=4)
    sheet.next()
    _verdicts(sheet, evaluation)
    _runs(sheet, evaluation)
    _load(sheet, record)
    _live(sheet, figures, uncertainty, runs)
    sheet.next()
    _items(sheet, evaluation)
    if record.cautions:
        sheet.next()
        _heading(sheet, "Cautions in force")
        for caution in record.cautions:
            _paragraph(sheet, f"• {caution}", "line")
    sheet.next()
    _signatures(sheet, evaluation)
    sheet.fit(landscape=False, pages_tall=1)


def _do_not_use(sheet: Sheet, record: Record) -> None:
    """Say before all else what was changed for a test and not put back."""
    left = left_in_place(record)
    if not left:
        return
    sheet.title(DO_NOT_USE)
    for line in left[:MOST_LEFT]:
        _pair(sheet, "LEFT IN PLACE", line, most=2, style="strong")
    if len(left) > MOST_LEFT:
        _pair(sheet, "", f"and {len(left) - MOST_LEFT} more: sheet Stages", most=1, style="strong")
    sheet.next()


def _worded(key: str) -> str:
    """Word a key of the plan: volume_l → Volume (L)."""
    for ending, unit in (("_l", "L"), ("_mm", "mm"), ("_c", "°C"), ("_kw", "kW")):
        if key.endswith(ending):
            key = f"{key.removesuffix(ending)} ({unit})"
    return key[:1].upper() + key[1:].replace("_", " ")


def _heading(sheet: Sheet, text: str) -> None:
    sheet.text(0, text, "subtitle")
    for column in range(1, len(WIDTHS)):
        sheet.text(column, "", "subtitle")
    sheet.next()


def _paragraph(sheet: Sheet, text: str, style: str) -> None:
    for line in lines_of(text, LINE):
        sheet.text(0, line, style)
        sheet.next()


def _pair(sheet: Sheet, name: str, text: str, *, most: int, style: str = "line") -> None:
    """Write a name, and beside it text over at most so many rows."""
    lines = lines_of(text, BESIDE)
    if len(lines) > most:
        lines = [*lines[:most][:-1], lines[most - 1][: BESIDE - 2] + " …"]
    for index, line in enumerate(lines):
        if index == 0:
            sheet.text(0, name, "strong")
        sheet.text(1, line, style)
        sheet.next()


def _verdicts(sheet: Sheet, evaluation: Evaluation) -> None:
    record = evaluation.record
    unit = parse_unit(record.units) or TemperatureUnit.C
    _heading(sheet, "Verdict")
    _pair(sheet, "OVERALL", str(record.verdict).upper(), most=1, style="verdict")
    if str(record.verdict) == "conditional" and record.plan.accept_conditional:
        _pair(sheet, "", "The plan accepts a conditional verdict.", most=1)
    for stage in record.stages:
        words = words_of_stage(stage)
        _pair(
            sheet,
            f"Stage {stage.stage}",
            " · ".join(part for part in (str(stage.verdict).upper(), words) if part),
            most=2,
        )
    precedence = list(Decision)
    order = sorted(record.surveys, key=lambda survey: -precedence.index(survey.verdict))
    # lines of stages take the room of surveys: the page stays one
    most = MOST_SURVEYS - 2 * len(record.stages)
    chosen = {id(survey) for survey in order[:most]}
    remarks_each = MOST_REMARKS if len(record.surveys) <= 5 else 1
    for survey in record.surveys:
        if id(survey) not in chosen:
            continue
        name = survey.name
        if len(name) > NAME_WIDTH:
            sheet.text(0, lines_of(name, LINE)[0], "strong")
            sheet.next()
            name = ""
        _pair(
            sheet,
            name,
            f"{str(survey.verdict).upper()} · {survey.stage} · {_asked(survey, unit)} · {_sure(survey)}",
            most=2,
        )
        for remark in survey.remarks[:remarks_each]:
            _pair(sheet, "", f"– {remark}", most=2)
        if len(survey.remarks) > remarks_each:
            more = len(survey.remarks) - remarks_each
            _pair(sheet, "", f"– and {more} more remark{'s' * (more > 1)}: sheet Verdicts", most=1)
    if len(record.surveys) > most:
        rest = [survey for survey in record.surveys if id(survey) not in chosen]
        counts = {
            word: sum(str(survey.verdict) == word for survey in rest)
            for word in dict.fromkeys(str(survey.verdict) for survey in rest)
        }
        told = ", ".join(f"{count} {word}" for word, count in counts.items())
        _pair(sheet, f"and {len(rest)} more", f"{told}: sheet Verdicts; the worst stand above", most=2)


def _short(text: str, width: int) -> str:
    return text if len(text) <= width else text[: width - 1] + "…"


def _asked(survey: SurveyRecord, unit: TemperatureUnit) -> str:
    """Word the set point and limits in the plan's unit."""
    setpoint = temperature_from_c(survey.setpoint_c, unit)
    limits = []
    for limit_c in (survey.limit_low_c, survey.limit_high_c):
        if limit_c is not None:
            limits.append(f"{difference_from_c(limit_c - survey.setpoint_c, unit):+.6g}".replace("-", "−"))
    words = f"set point {setpoint:.6g} {unit.value}"
    if limits:
        words += f", limits {' and '.join(limits)} {unit.difference}"
    return words


def _sure(survey: SurveyRecord) -> str:
    """Word the probability that all watched locations conformed, or why it isn't known."""
    found = survey.chamber.conformance_probability
    if isinstance(found, Absent):
        return f"probability of conformance not known: {found.reason}"
    return f"probability that all watched locations conformed: {probability_words(found)}"


def _runs(sheet: Sheet, evaluation: Evaluation) -> None:
    """Say of each group of replicate runs what it shows of runs to come."""
    groups = evaluation.record.replicates
    unit = parse_unit(evaluation.record.units) or TemperatureUnit.C
    for group in groups[:MOST_GROUPS]:
        _pair(sheet, "Replicate runs", f"{group_title(group, unit)}: {words_of_runs(group, unit)}", most=3)
    if len(groups) > MOST_GROUPS:
        _pair(sheet, "", f"and {len(groups) - MOST_GROUPS} more set points with runs: sheet Runs", most=1)


def _load(sheet: Sheet, record: Record) -> None:
    """Say what heat did where it is worst, and how far the load is behind the air."""
    heat = words_of_heat(record)
    for name, words in heat[:MOST_HEAT]:
        _pair(sheet, _short(name, NAME_WIDTH), words, most=2)
    if len(heat) > MOST_HEAT:
        _pair(sheet, "", f"and {len(heat) - MOST_HEAT} more sums of heat: sheet Heat and load", most=1)
    lag = words_of_lag(record)
    if lag:
        _pair(sheet, "The load", lag, most=2)


def _live(
    sheet: Sheet, figures: list[FiguresLayout], uncertainty: UncertaintyLayout, runs: RunsLayout
) -> None:
    """Say how many of the workbook's live figures agree with the engine's."""
    checks = [layout.checks for layout in figures]
    if uncertainty.budgets.locations:
        checks.extend((*uncertainty.checks, uncertainty.budgets.checks))
    checks.extend(runs.checks)
    if not checks:
        return
    total = sum(layout.live_lines for layout in figures) + uncertainty.live + uncertainty.budgets.live
    total += runs.live
    for name, word, count in (("Live figures", "agrees", total), ("", "differs", 0)):
        sheet.text(0, name, "strong")
        which = "agree with" if word == "agrees" else "differ from"
        sheet.text(1, f"in this workbook, that {which} the engine", "line")
        sheet.formula(3, "+".join(f'COUNTIF({span},"{word}")' for span in checks), count, "count beside")
        sheet.next()


def _items(sheet: Sheet, evaluation: Evaluation) -> None:
    record = evaluation.record
    closed = {item.id for item in record.dispositions if item.closed}
    items = [item for item in record.deviations if item.id not in closed]
    told = f"Open items: {len(items) or 'none'}"
    if closed:
        told += f"; {len(closed)} closed by a person, sheet Dispositions"
    _heading(sheet, told)
    for item in items[:MOST_ITEMS]:
        _pair(sheet, _short(f"{item.id} {item.kind}", 28), item.text, most=2)
    if len(items) > MOST_ITEMS:
        _pair(sheet, "", f"and {len(items) - MOST_ITEMS} more: sheet Dispositions", most=1)
    owed = still_owed(record)
    for number, line in enumerate(owed[:MOST_OWED]):
        _pair(sheet, f"Still owed: {counted(len(owed), 'item')}" if number == 0 else "", line, most=2)
    if len(owed) > MOST_OWED:
        _pair(sheet, "", f"and {len(owed) - MOST_OWED} more: sheet Stages", most=1)


def _signatures(sheet: Sheet, evaluation: Evaluation) -> None:
    _heading(sheet, "Signatures")
    for line in PART_11:
        sheet.text(0, line, "note")
        sheet.next()
    people = evaluation.record.plan.people
    dated = [f"{role} {person['date']}" for role, person in people.items() if person.get("date")]
    if dated:
        words = f"Dates in the plan: {', '.join(dated)}. The dates below are those of signing."
        _paragraph(sheet, words, "note")
    sheet.next()
    for column, word in enumerate(("", "Name", "Date", "Signature", "Meaning of the signature")):
        sheet.text(column, word, "strong")
    sheet.next()
    signing = [
        (role.capitalize(), str(people.get(role, {}).get("name") or ""), meaning)
        for role, meaning in MEANINGS.items()
    ]
    if evaluation.record.verdict is Decision.CONDITIONAL:
        signing.append(("Who takes the risk", "", ACCEPTS))
    for role, name, meaning in signing:
        sheet.next()
        sheet.text(0, role, "strong")
        sheet.text(1, _short(name, 26), "field")
        sheet.text(2, "", "field")
        sheet.text(3, "", "field")
        sheet.text(4, meaning, "field")
        sheet.next()
