"""The result in plain text, for the screen."""

from __future__ import annotations

from qualify.figures.absent import Absent, Maybe, present
from qualify.pack.chances import probability_words
from qualify.pack.run_words import group_title, words_of_runs
from qualify.pack.stage_words import DO_NOT_USE, left_in_place, words_of_stage
from qualify.record import Decision, Record, RequirementRecord, StageRecord, SurveyRecord
from qualify.units import TemperatureUnit, difference_from_c, temperature_from_c


def summary(record: Record, *, pack: str = "") -> str:
    """Word the record for a screen: verdict first, then requirements, figures, locations, doubts.

    Parameters
    ----------
    record
        The result.
    pack
        Where the data pack was written, or "".
    """
    lines = []
    if left := left_in_place(record):
        lines += [f"{DO_NOT_USE}:", *(f"  ! {line}" for line in left), ""]
    for survey in record.surveys:
        lines += [*_survey(survey, TemperatureUnit(record.units)), ""]
    for stage in record.stages:
        lines += [*_stage(stage), ""]
    if record.replicates:
        unit = TemperatureUnit(record.units)
        lines.append("Replicate runs:")
        lines += [
            f"  {group_title(group, unit)}: {words_of_runs(group, unit)}" for group in record.replicates
        ]
        lines.append("")
    if record.deviations:
        lines.append("For a person's disposition:")
        lines += [f"  {item.id} {item.kind}, {item.survey}: {item.text}" for item in record.deviations]
        lines.append("")
    accepted = record.verdict is Decision.CONDITIONAL and record.plan.accept_conditional
    lines.append(f"Verdict: {record.verdict.upper()}{' (which the plan accepts)' if accepted else ''}")
    if pack:
        lines.append(f"Data pack: {pack}")
    return "\n".join(lines)


def _stage(stage: StageRecord) -> list[str]:
    """A line for the stage, one for each of its tests, and what is still owed."""
    lines = [f"Stage {stage.stage}: {stage.verdict.upper()} · {words_of_stage(stage)}"]
    lines += [f"  {test.verdict:<11} {test.name} ({test.kind})" for test in stage.tests]
    lines += [f"  still owed: {line}" for line in stage.owed[:MOST_OWED]]
    if len(stage.owed) > MOST_OWED:
        lines.append(f"  ... and {len(stage.owed) - MOST_OWED} more in the record")
    return lines


def _survey(survey: SurveyRecord, unit: TemperatureUnit) -> list[str]:
    setpoint = temperature_from_c(survey.setpoint_c, unit)
    lines = [f"{survey.name} ({survey.stage}): {survey.verdict.upper()}"]
    lines += [f"  ! {remark}" for remark in survey.remarks]
    lines.append(f"  set point {setpoint:.5g} {unit.value}; {_window(survey)}")
    lines += [_requirement(item, unit) for item in survey.requirements]
    chamber = survey.chamber
    lines.append(f"  {_sure(chamber.conformance_probability)}")
    temperatures = {"mean": chamber.mean_c}
    differences = {
        "deviation max": chamber.deviation_max_c,
        "deviation min": chamber.deviation_min_c,
        "spread max": chamber.spread_max_c,
        "spread mean": chamber.spread_mean_c,
        "stability ±": chamber.stability_c,
        "overshoot": chamber.overshoot_c,
    }
    times = {"time to band": chamber.time_to_band_s, "time to stabilize": chamber.time_to_stabilize_s}
    shown = [f"{name} {_temperature(value, unit)}" for name, value in temperatures.items()]
    shown += [f"{name} {_difference(value, unit)}" for name, value in differences.items()]
    shown += [f"{name} {_minutes(value)}" for name, value in times.items()]
    lines.append(f"  figures ({unit.value}): " + ", ".join(shown))
    width = max(len(item.location) for item in survey.locations)
    lines.append(f"  {'location':<{max(width, 8)}}     mean  dev min  dev max    ± stab       U")
    for item in survey.locations:
        cells = [_temperature(item.mean_c, unit)]
        cells += [
            _difference(value, unit)
            for value in (
                item.deviation_min_c,
                item.deviation_max_c,
                item.stability_c,
                item.expanded_uncertainty_c,
            )
        ]
        lines.append(f"  {item.location:<{max(width, 8)}} " + " ".join(f"{cell:>8}" for cell in cells))
    if survey.doubts:
        lines.append(f"  doubts ({len(survey.doubts)}):")
        lines += [f"    - {doubt}" for doubt in survey.doubts[:MOST_DOUBTS]]
        if len(survey.doubts) > MOST_DOUBTS:
            lines.append(f"    ... and {len(survey.doubts) - MOST_DOUBTS} more in the record")
    return lines


MOST_DOUBTS = 20
MOST_OWED = 3


def _sure(probability: Maybe) -> str:
    if isinstance(probability, Absent):
        return f"probability that all watched locations conformed: not known ({probability.reason})"
    return f"probability that all watched locations conformed: {probability_words(probability)}"


def _window(survey: SurveyRecord) -> str:
    window = survey.window
    if isinstance(window, Absent):
        return window.reason
    start = window.start or f"{window.start_s:g} s"
    end = window.end or f"{window.end_s:g} s"
    return f"window {start} to {end}, {window.readings} readings a location"


def _requirement(item: RequirementRecord, unit: TemperatureUnit) -> str:
    value = "-" if isinstance(item.value, Absent) else _quantity(item.value, item.unit, unit)
    if item.unit == "1" and present(item.value):
        value = probability_words(item.value)
    margin = "" if isinstance(item.margin, Absent) else f", margin {_quantity(item.margin, item.unit, unit)}"
    where = f" at {item.location}" if item.location else ""
    by = f"; decided by {item.decided_by}" if item.decided_by and item.decided_by != item.location else ""
    note = f" ({item.note}{by})" if item.note else ""
    return f"  {item.decision:<11} {item.id}: {item.text}: {value}{where}{margin}{note}"


def _quantity(value: float, unit_word: str, unit: TemperatureUnit) -> str:
    if unit_word == "s":
        return _minutes(value) if abs(value) >= 120 else f"{value:g} s"
    if unit_word == "1":
        return f"{value:.3g}"
    if unit_word != TemperatureUnit.C.value:
        return f"{value:.4g} {unit_word}"
    return f"{_difference(value, unit)} {unit.value}"


def _temperature(value: Maybe, unit: TemperatureUnit) -> str:
    return f"{temperature_from_c(value, unit):.2f}" if present(value) else "-"


def _difference(value: Maybe, unit: TemperatureUnit) -> str:
    return f"{difference_from_c(value, unit):.2f}" if present(value) else "-"


def _minutes(value: Maybe) -> str:
    return f"{value / 60:.1f} min" if present(value) else "-"
