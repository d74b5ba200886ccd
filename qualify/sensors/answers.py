"""Answers to questions about sensors, as plain results and in words: what `qualify sensors` prints.

Results are in °C, mV and Ω whatever unit the words use; a number that can't be given is None beside its
reason.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from qualify import platinum, thermocouples
from qualify.sensors.certificate import Certificate
from qualify.sensors.class_shown import ClassShown, GradeShown, PointShown, Shown, class_shown
from qualify.sensors.tolerances import (
    CableTolerance,
    Tolerance,
    cable_tolerances,
    classes,
    documents,
    ranges,
    tolerance_at,
)
from qualify.standards import STANDINGS, UNCONFIRMED
from qualify.units import TemperatureUnit, difference_from_c, temperature_from_c

_NEW_WIRE = "A tolerance class is for new wire; heat history ages it."
RULES = ("simple", "guarded", "probability")


@dataclass(frozen=True, slots=True, kw_only=True)
class ToleranceOfClass:
    """One class at the temperature asked for; `tolerance` is None with its reason outside its ranges."""

    document: str
    name: str
    ranges_c: tuple[tuple[float, float], ...]
    citation: str
    standing: str
    tolerance: Tolerance | None
    tolerance_why: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class TolerancesAnswer:
    """Every class of a sensor type, or of an extension cable, at a temperature [°C]."""

    sensor_type: str
    temperature_c: float
    classes: tuple[ToleranceOfClass, ...]
    cables: tuple[CableTolerance, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ThermocoupleAnswer:
    """One thermocouple: voltage, temperature, sensitivity, and what small errors make.

    Attributes
    ----------
    letter, citation, standing
        Type, and where its reference function is written.
    temperature_c, junction_c
        Of the measuring and the reference junction [°C].
    voltage_mv
        Between the terminals [mV].
    sensitivity_uv_per_c, junction_sensitivity_uv_per_c
        At the measuring and the reference junction [µV/°C].
    per_junction_c
        Error of temperature for 1 °C of error of the reference junction [°C of difference]; None where the
        sensitivity is zero.
    per_10_uv_c
        Error of temperature for 10 µV of error of input or extension cable [°C of difference]; None where
        the sensitivity is zero.
    """

    letter: str
    citation: str
    standing: str
    temperature_c: float
    junction_c: float
    voltage_mv: float
    sensitivity_uv_per_c: float
    junction_sensitivity_uv_per_c: float
    per_junction_c: float | None
    per_10_uv_c: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PlatinumAnswer:
    """One platinum thermometer: temperature [°C], resistance [Ω], sensitivity [Ω/°C]."""

    r0_ohm: float
    temperature_c: float
    resistance_ohm: float
    sensitivity_ohm_per_c: float
    citation: str
    standing: str
    range_c: tuple[float, float]
    range_standing: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CertificateAnswer:
    """The class that one certificate shows; `shown` is None where that can't be asked, with the reason."""

    certificate: str
    sensor_type: str
    shown: ClassShown | None
    shown_why: str | None
    meets_wanted: bool | None


@dataclass(frozen=True, slots=True, kw_only=True)
class CertificatesAnswer:
    """The classes that the certificates of a file show, and the class that was asked for."""

    file: str
    document: str | None
    wanted: str | None
    rule: str
    certificates: tuple[CertificateAnswer, ...]

    @property
    def all_meet_wanted(self) -> bool:
        """Whether no class was asked for, or each certificate shows it or a better one."""
        return self.wanted is None or all(item.meets_wanted for item in self.certificates)


def tolerances_answer(
    sensor_type: str, temperature_c: float, document: str | None = None, name: str | None = None
) -> TolerancesAnswer:
    """Look up every class of a sensor type, or of an extension cable, at a temperature [°C]."""
    found = []
    for of in documents(sensor_type):
        for grade in classes(sensor_type, of):
            if document in (None, of) and name in (None, grade):
                tolerance = tolerance_at(sensor_type, temperature_c, of, grade)
                spans = ranges(sensor_type, of, grade)
                cited = tolerance if tolerance is not None else spans[0]
                found.append(
                    ToleranceOfClass(
                        document=of,
                        name=grade,
                        ranges_c=tuple((span.low_c, span.high_c) for span in spans),
                        citation=cited.citation,
                        standing=cited.standing,
                        tolerance=tolerance,
                        tolerance_why=None if tolerance is not None else str(Shown.NO_TOLERANCE),
                    )
                )
    cables = cable_tolerances(sensor_type, temperature_c, name)
    return TolerancesAnswer(
        sensor_type=sensor_type,
        temperature_c=temperature_c,
        classes=tuple(found),
        cables=tuple(item for item in cables if document in (None, item.document)),
    )


def thermocouple_answer(letter: str, temperature_c: float, junction_c: float) -> ThermocoupleAnswer:
    """Work out voltage and sensitivities of a thermocouple, both temperatures [°C] within its range.

    Raises
    ------
    UnknownTypeError
        If no reference function is known under this letter.
    """
    source = thermocouples.source(letter)
    voltage = thermocouples.emf_mv(letter, [temperature_c, junction_c])
    slope = thermocouples.sensitivity_mv_per_c(letter, [temperature_c, junction_c])
    per_junction = thermocouples.junction_error_c(letter, temperature_c, junction_c, 1.0)
    return ThermocoupleAnswer(
        letter=letter,
        citation=source.citation,
        standing=source.standing,
        temperature_c=temperature_c,
        junction_c=junction_c,
        voltage_mv=float(voltage[0] - voltage[1]),
        sensitivity_uv_per_c=1000.0 * float(slope[0]),
        junction_sensitivity_uv_per_c=1000.0 * float(slope[1]),
        per_junction_c=_finite(float(per_junction)),
        per_10_uv_c=_finite(float(thermocouples.voltage_error_c(letter, temperature_c, 10.0))),
    )


def platinum_answer(temperature_c: float, r0_ohm: float) -> PlatinumAnswer:
    """Work out resistance and sensitivity of a platinum thermometer at a temperature [°C] in its range."""
    function = platinum.function()
    return PlatinumAnswer(
        r0_ohm=r0_ohm,
        temperature_c=temperature_c,
        resistance_ohm=float(platinum.resistance_ohm(temperature_c, r0_ohm)),
        sensitivity_ohm_per_c=float(platinum.sensitivity_ohm_per_c(temperature_c, r0_ohm)),
        citation=function.citation,
        standing=function.standing,
        range_c=(function.low_c, function.high_c),
        range_standing=function.range_standing,
    )


def certificates_answer(
    file: str,
    certificates: Sequence[Certificate],
    *,
    sensor_type: str | None = None,
    document: str | None = None,
    wanted: str | None = None,
    rule: str = "guarded",
    required_probability: float = 0.95,
) -> CertificatesAnswer:
    """Find the class that each certificate shows.

    Parameters
    ----------
    file, certificates
        The file's name and its certificates.
    sensor_type
        Type of the sensors whose certificate names none.
    document
        The document whose classes are meant; None for the first that knows the type.
    wanted
        The class that the sensors were bought to; None where none is asked for.
    rule
        "simple", "guarded" or "probability": which decides whether it is met.
    required_probability
        What the probability that all points conform must reach.
    """
    found = []
    for item in certificates:
        kind = item.type or sensor_type or ""
        shown, why = _shown(item, kind, document, required_probability)
        found.append(
            CertificateAnswer(
                certificate=item.name,
                sensor_type=kind,
                shown=shown,
                shown_why=why,
                meets_wanted=None if wanted is None else shown is not None and _meets(shown, wanted, rule),
            )
        )
    return CertificatesAnswer(
        file=file, document=document, wanted=wanted, rule=rule, certificates=tuple(found)
    )


def _shown(
    item: Certificate, kind: str, document: str | None, required: float
) -> tuple[ClassShown | None, str | None]:
    if item.of != "sensor":
        return None, f"a {item.of} certificate holds more than the sensor, and classes are the sensor's"
    if not kind:
        return None, "the sensor's type is not known: write it in the column type, or give --type"
    known = documents(kind)
    if document is not None and document not in known:
        return None, f"{document} has no class for type {kind}"
    if not known:
        return None, f"no tolerance class is known for type {kind}"
    if not item.points:
        return None, "it has no calibration point"
    # The tolerance holds at the temperature itself: the indication and its correction.
    return class_shown(
        kind,
        document or known[0],
        temperature_c=[point.temperature_c + point.correction_c for point in item.points],
        error_c=[-point.correction_c for point in item.points],
        expanded_uncertainty_c=[_nan(point.expanded_uncertainty_c) for point in item.points],
        coverage_factor=[_nan(point.coverage_factor) for point in item.points],
        required_probability=required,
    ), None


def best(shown: ClassShown, rule: str) -> str | None:
    """The best class by a rule: "simple", "guarded" or "probability"."""
    found = {
        "simple": shown.best_simple,
        "guarded": shown.best_guarded,
        "probability": shown.best_by_probability,
    }
    return found[rule]


def _meets(shown: ClassShown, wanted: str, rule: str) -> bool:
    names = [grade.name for grade in shown.grades]
    found = best(shown, rule)
    return found is not None and wanted in names and names.index(found) <= names.index(wanted)


def to_json(answer: Any) -> str:
    """Write an answer as strict JSON: °C, no NaN, one trailing line feed."""
    return json.dumps(asdict(answer), ensure_ascii=False, allow_nan=False, indent=1) + "\n"


def tolerances_in_words(answer: TolerancesAnswer, unit: TemperatureUnit) -> str:
    """Word the classes of a type at a temperature."""
    return "\n".join(_tolerance_lines(answer, unit))


def _tolerance_lines(answer: TolerancesAnswer, unit: TemperatureUnit) -> Iterator[str]:
    yield f"type {answer.sensor_type} at {_temperature(answer.temperature_c, unit)}"
    standings = []
    for item in answer.classes:
        spans = " and ".join(
            f"{_bare(low, unit)} to {_temperature(high, unit)}" for low, high in item.ranges_c
        )
        if item.tolerance is None:
            said = f"no tolerance defined (range {spans})"
        else:
            said = f"±{_difference(item.tolerance.tolerance_c, unit)}, range {spans}"
        yield f"  {item.document} class {item.name}: {said}"
        yield f"      {item.citation} [{item.standing}]"
        standings.append(item.standing)
    for cable in answer.cables:
        yield (
            f"  {cable.document} class {cable.name}: ±{_difference(cable.tolerance_c, unit)} with the "
            f"measuring junction at {_temperature(cable.hot_junction_c, unit)}, cable at "
            f"{_bare(cable.low_c, unit)} to {_temperature(cable.high_c, unit)}"
        )
        here = _temperature(cable.temperature_c, unit)
        voltage = f"±{cable.voltage_uv:.1f} µV [D]"
        if cable.effect_c is None:
            yield f"      {voltage}; {cable.effect_why}"
        else:
            yield f"      {voltage}, which at {here} is ±{_difference(cable.effect_c, unit)}"
        yield f"      {cable.citation} [{cable.standing}]"
        standings.append(cable.standing)
    yield from _standing_lines(standings)
    yield _NEW_WIRE


def thermocouple_in_words(answer: ThermocoupleAnswer, unit: TemperatureUnit) -> str:
    """Word voltage, temperature, sensitivity, and what errors of junction and input make."""
    lines = [
        f"type {answer.letter}, reference junction at {_temperature(answer.junction_c, unit)}",
        f"  temperature  {_temperature(answer.temperature_c, unit)}",
        f"  voltage      {answer.voltage_mv:.4f} mV",
        f"  sensitivity  {_per(answer.sensitivity_uv_per_c, unit)} there, "
        f"{_per(answer.junction_sensitivity_uv_per_c, unit)} at the reference junction",
    ]
    if answer.per_junction_c is None or answer.per_10_uv_c is None:
        lines.append("  the sensitivity there is zero: a voltage tells no temperature")
    else:
        # A ratio of differences: the same in °C and °F.
        made = f"{answer.per_junction_c:.3f} {unit.value}"
        lines.append(f"  an error of 1 {unit.value} of the reference junction makes {made}")
        lines.append(
            f"  an error of 10 µV of input or cable makes {difference_from_c(answer.per_10_uv_c, unit):.3f} "
            f"{unit.value}"
        )
    lines.append(f"  {answer.citation} [{answer.standing}]")
    return "\n".join([*lines, *_standing_lines([answer.standing])])


def platinum_in_words(answer: PlatinumAnswer, unit: TemperatureUnit) -> str:
    """Word resistance, temperature and sensitivity of a platinum thermometer."""
    low, high = answer.range_c
    slope = difference_from_c(1.0, unit)
    span = f"{_bare(low, unit)} to {_temperature(high, unit)}"
    return "\n".join(
        [
            f"platinum thermometer, {answer.r0_ohm:g} Ω at {_temperature(0.0, unit)}",
            f"  temperature  {_temperature(answer.temperature_c, unit)}",
            f"  resistance   {answer.resistance_ohm:.4f} Ω",
            f"  sensitivity  {answer.sensitivity_ohm_per_c / slope:.5f} Ω/{unit.value}",
            f"  {answer.citation} [{answer.standing}]; range {span} [{answer.range_standing}]",
            *_standing_lines([answer.standing, answer.range_standing]),
        ]
    )


def certificates_in_words(answer: CertificatesAnswer, unit: TemperatureUnit) -> str:
    """Word the class that each certificate shows, and why not a better one."""
    lines = [f"{answer.file}: {len(answer.certificates)} certificate{'s' * (len(answer.certificates) != 1)}"]
    for item in answer.certificates:
        lines += _certificate_lines(item, answer, unit)
    return "\n".join(lines)


def _certificate_lines(
    item: CertificateAnswer, answer: CertificatesAnswer, unit: TemperatureUnit
) -> Iterator[str]:
    yield item.certificate
    shown = item.shown
    if shown is None:
        yield f"  class not shown: {item.shown_why}"
    else:
        yield (
            f"  type {shown.sensor_type} by {shown.document}: simply {_class(shown.best_simple)}, "
            f"guarded by U {_class(shown.best_guarded)}, "
            f"with a probability of {shown.required_probability:g} {_class(shown.best_by_probability)}"
        )
        for grade in shown.grades:
            yield f"  class {grade.name}: {_grade(grade, unit)}"
            for cited in grade.unconfirmed:
                yield f"      not confirmed, so it decides nothing: {cited}"
    if answer.wanted is not None:
        said = "shown" if item.meets_wanted else "NOT SHOWN"
        yield f"  class {answer.wanted} ({answer.rule}): {said}"


def _grade(grade: GradeShown, unit: TemperatureUnit) -> str:
    said = f"simply {_rule(grade, 'simple', unit)}; guarded {_rule(grade, 'guarded', unit)}"
    if grade.probability_independent is not None and grade.probability_shared is not None:
        said += (
            f"; all points conform with probability {grade.probability_independent:.4f} "
            f"(errors independent), {grade.probability_shared:.4f} (shared)"
        )
    return said


def _rule(grade: GradeShown, rule: str, unit: TemperatureUnit) -> str:
    """The class's outcome by a rule, and at which temperatures a point has it."""
    outcome: Shown = getattr(grade, rule)
    if outcome is Shown.MET:
        return str(outcome)

    def has(point: PointShown) -> bool:
        return getattr(point, rule) is outcome

    at = [_bare(round(point.temperature_c, 1), unit) for point in grade.points if has(point)]
    return f"{outcome} at {', '.join(at)} {unit.value}"


def _class(name: str | None) -> str:
    return "no class" if name is None else f"class {name}"


def _standing_lines(standings: Sequence[str]) -> Iterator[str]:
    for standing in dict.fromkeys(standings):
        more = "; confirm it against a licensed copy, it decides nothing until then"
        yield f"[{standing}] {STANDINGS[standing]}{more if standing in UNCONFIRMED else ''}"


def _bare(temperature_c: float, unit: TemperatureUnit) -> str:
    return _short(temperature_from_c(temperature_c, unit))


def _temperature(temperature_c: float, unit: TemperatureUnit) -> str:
    return f"{_bare(temperature_c, unit)} {unit.value}"


def _difference(difference_c: float, unit: TemperatureUnit) -> str:
    return f"{_short(difference_from_c(difference_c, unit))} {unit.value}"


def _per(uv_per_c: float, unit: TemperatureUnit) -> str:
    return f"{uv_per_c / difference_from_c(1.0, unit):.3f} µV/{unit.value}"


def _short(value: float) -> str:
    """At most three decimals, and none that are zero."""
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _nan(value: float | None) -> float:
    return math.nan if value is None else value
