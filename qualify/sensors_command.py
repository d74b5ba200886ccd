"""`qualify sensors`: reference functions, tolerance classes, and certificates against classes."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from qualify.command_options import Json, choice, finite, number_option

if TYPE_CHECKING:
    from qualify.units import TemperatureUnit

# A number below zero is an argument, not an option.
NUMBERS = {"ignore_unknown_options": True}

app = typer.Typer(
    name="sensors",
    help="Reference functions, tolerance classes, certificates against classes.",
    add_completion=False,
    no_args_is_help=True,
    rich_markup_mode=None,
)


def _number(metavar: str, help_text: str) -> Any:
    return typer.Argument(metavar=metavar, parser=finite, help=help_text)


Units = Annotated[
    str,
    typer.Option(
        metavar="C|F",
        parser=choice("C", "F"),
        help="Unit of the temperatures given and printed.",
        show_default=True,
    ),
]
Type = Annotated[
    str,
    typer.Argument(
        metavar="TYPE",
        help="Letter of the thermocouple; for tolerances also Pt wire-wound, Pt thin film, KX and the like.",
    ),
]
Letter = Annotated[str, typer.Argument(metavar="TYPE", help="Letter of the thermocouple.")]
Document = Annotated[str | None, typer.Option(metavar="NAME", help="One document only, such as IEC 60584-1.")]
Temperature = Annotated[float, _number("TEMPERATURE", "Temperature.")]
JUNCTION = "Temperature of the reference junction."


@app.command(context_settings=NUMBERS)
def tolerance(
    sensor_type: Type,
    temperature: Temperature,
    document: Document = None,
    name: Annotated[str | None, typer.Option("--class", metavar="CLASS", help="One class only.")] = None,
    units: Units = "C",
    as_json: Json = False,
) -> None:
    """Tell what each tolerance class allows at a temperature, its range and where that is written."""
    from qualify.sensors.answers import to_json, tolerances_answer, tolerances_in_words
    from qualify.sensors.tolerances import cable_types, sensor_types

    unit = _unit(units)
    _known(sensor_type, [*sensor_types(), *cable_types()], "TYPE", "a sensor type with a tolerance")
    _document(document, sensor_type)
    answer = tolerances_answer(sensor_type, _to_c(temperature, unit), document, name)
    if not answer.classes and not answer.cables:
        every = tolerances_answer(sensor_type, answer.temperature_c, document)
        names = [item.name for item in every.classes] + [item.name for item in every.cables]
        _known(name or "", list(dict.fromkeys(names)), "--class", f"a class for type {sensor_type}")
    _print(to_json(answer) if as_json else tolerances_in_words(answer, unit) + "\n")


@app.command(context_settings=NUMBERS)
def emf(
    letter: Letter,
    temperature: Temperature,
    junction: Annotated[float | None, number_option(f"{JUNCTION} Without it 0 °C.")] = None,
    units: Units = "C",
    as_json: Json = False,
) -> None:
    """Tell a thermocouple's voltage at a temperature, and its sensitivity."""
    from qualify.sensors.answers import thermocouple_answer, thermocouple_in_words, to_json

    unit = _unit(units)
    junction_c = 0.0 if junction is None else _to_c(junction, unit)
    _thermocouple(letter)
    _in_range(letter, junction_c, unit, "--junction")
    temperature_c = _to_c(temperature, unit)
    _in_range(letter, temperature_c, unit, "TEMPERATURE")
    answer = thermocouple_answer(letter, temperature_c, junction_c)
    _print(to_json(answer) if as_json else thermocouple_in_words(answer, unit) + "\n")


@app.command("temperature", context_settings=NUMBERS)
def temperature_command(
    letter: Letter,
    voltage: Annotated[float, _number("MILLIVOLTS", "Voltage between the terminals.")],
    junction: Annotated[float, number_option(JUNCTION)],
    units: Units = "C",
    as_json: Json = False,
) -> None:
    """Tell the temperature of a thermocouple from its voltage, and what an error of the junction makes."""
    import math

    from qualify.sensors.answers import thermocouple_answer, thermocouple_in_words, to_json
    from qualify.thermocouples import emf_mv, inverse_range_c, temperature_c

    unit = _unit(units)
    junction_c = _to_c(junction, unit)
    _thermocouple(letter)
    _in_range(letter, junction_c, unit, "--junction")
    found = float(temperature_c(letter, voltage, junction_c))
    if math.isnan(found):
        low, high = inverse_range_c(letter)
        least, most = emf_mv(letter, [low, high]) - emf_mv(letter, junction_c)
        raise typer.BadParameter(
            f"with the junction at {_worded(junction_c, unit)}, type {letter} gives {least:.3f} mV at "
            f"{_worded(low, unit)} to {most:.3f} mV at {_worded(high, unit)}; {voltage:g} mV lies outside",
            param_hint="MILLIVOLTS",
        )
    answer = thermocouple_answer(letter, found, junction_c)
    _print(to_json(answer) if as_json else thermocouple_in_words(answer, unit) + "\n")


@app.command("pt", context_settings=NUMBERS)
def platinum_command(
    temperature: Annotated[
        float | None, _number("[TEMPERATURE]", "Temperature; or give --resistance.")
    ] = None,
    resistance: Annotated[
        float | None, number_option("Resistance in ohms, to be turned into a temperature.")
    ] = None,
    r0: Annotated[float, number_option("Resistance at 0 °C in ohms.")] = 100.0,
    units: Units = "C",
    as_json: Json = False,
) -> None:
    """Tell a platinum thermometer's resistance at a temperature, or the temperature of a resistance."""
    import math

    from qualify.platinum import range_c, resistance_ohm, temperature_c
    from qualify.sensors.answers import platinum_answer, platinum_in_words, to_json

    unit = _unit(units)
    if (temperature is None) == (resistance is None):
        raise typer.BadParameter("give either a temperature or --resistance", param_hint="TEMPERATURE")
    if r0 <= 0.0:
        raise typer.BadParameter("the resistance at 0 °C must be above zero", param_hint="--r0")
    low, high = range_c()
    span = f"{_worded(low, unit)} to {_worded(high, unit)}"
    if temperature is not None:
        at_c = _to_c(temperature, unit)
        if not low <= at_c <= high:
            raise typer.BadParameter(
                f"the resistance function holds from {span}; {temperature:g} {unit.value} lies outside",
                param_hint="TEMPERATURE",
            )
    else:
        at_c = float(temperature_c(resistance if resistance is not None else math.nan, r0))
        if math.isnan(at_c):
            least, most = resistance_ohm([low, high], r0)
            raise typer.BadParameter(
                f"from {span} the resistance is {least:.3f} to {most:.3f} Ω; {resistance:g} Ω lies outside",
                param_hint="--resistance",
            )
    answer = platinum_answer(at_c, r0)
    _print(to_json(answer) if as_json else platinum_in_words(answer, unit) + "\n")


@app.command()
def certificates(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="Certificates (CSV, .xlsx or TOML).")],
    sensor_type: Annotated[
        str | None,
        typer.Option("--type", metavar="TYPE", help="Type of the sensors whose certificate names none."),
    ] = None,
    document: Document = None,
    wanted: Annotated[
        str | None,
        typer.Option("--class", metavar="CLASS", help="The class that each must show (else exit status 1)."),
    ] = None,
    rule: Annotated[
        str,
        typer.Option(
            metavar="RULE",
            parser=choice("simple", "guarded", "probability"),
            help="What decides whether it does: simple, guarded, probability.",
        ),
    ] = "guarded",
    probability: Annotated[
        float, number_option("What the probability that all points conform must reach.")
    ] = 0.95,
    units: Units = "C",
    as_json: Json = False,
) -> None:
    """Tell the best tolerance class that each certificate shows."""
    from qualify.inputs import load
    from qualify.sensors.answers import certificates_answer, certificates_in_words, to_json
    from qualify.sensors.certificates import read_certificates
    from qualify.sensors.tolerances import sensor_types

    if not 0.0 < probability < 1.0:
        raise typer.BadParameter("a probability lies between 0 and 1", param_hint="--probability")
    if sensor_type is not None:
        _known(sensor_type, list(sensor_types()), "--type", "a sensor type with a tolerance class")
    _document(document, sensor_type)
    if wanted is not None:
        _wanted(wanted, document, sensor_type)
    read = read_certificates(load(file, "certificates"))
    answer = certificates_answer(
        read.file,
        read.certificates,
        sensor_type=sensor_type,
        document=document,
        wanted=wanted,
        rule=rule,
        required_probability=probability,
    )
    _print(to_json(answer) if as_json else certificates_in_words(answer, _unit(units)) + "\n")
    raise typer.Exit(0 if answer.all_meet_wanted else 1)


def _print(text: str) -> None:
    sys.stdout.write(text)


def _unit(word: str) -> TemperatureUnit:
    from qualify.units import TemperatureUnit

    return TemperatureUnit[word]


def _to_c(value: float, unit: TemperatureUnit) -> float:
    from qualify.units import temperature_to_c

    return temperature_to_c(value, unit)


def _worded(value_c: float, unit: TemperatureUnit) -> str:
    from qualify.units import temperature_from_c

    return f"{temperature_from_c(value_c, unit):g} {unit.value}"


def _known(word: str, known: list[str], hint: str, what: str) -> None:
    """Stop at a word that isn't known, with the nearest that is."""
    from qualify.findings import nearest

    if word not in known:
        raise typer.BadParameter(
            f"'{word}' is not {what}{nearest(word, known)} (known: {', '.join(known)})", param_hint=hint
        )


def _thermocouple(letter: str) -> None:
    from qualify.thermocouples import types

    _known(letter, list(types()), "TYPE", "a thermocouple with a reference function")


def _document(document: str | None, sensor_type: str | None) -> None:
    from qualify.sensors.tolerances import cable_tolerances, documents, sensor_types

    if document is None:
        return
    kinds = list(sensor_types()) if sensor_type is None else [sensor_type]
    known = [name for kind in kinds for name in documents(kind)]
    known += [item.document for kind in kinds for item in cable_tolerances(kind)]
    of = "any type" if sensor_type is None else f"type {sensor_type}"
    _known(document, list(dict.fromkeys(known)), "--document", f"a document with classes for {of}")


def _wanted(wanted: str, document: str | None, sensor_type: str | None) -> None:
    from qualify.sensors.tolerances import classes, documents, sensor_types

    kinds = list(sensor_types()) if sensor_type is None else [sensor_type]
    known = [
        name
        for kind in kinds
        for of in documents(kind)
        if document in (None, of)
        for name in classes(kind, of)
    ]
    _known(wanted, list(dict.fromkeys(known)), "--class", "a tolerance class")


def _in_range(letter: str, temperature_c: float, unit: TemperatureUnit, hint: str) -> None:
    from qualify.thermocouples import range_c

    low, high = range_c(letter)
    if not low <= temperature_c <= high:
        raise typer.BadParameter(
            f"the reference function of type {letter} holds from {_worded(low, unit)} to "
            f"{_worded(high, unit)}; {_worded(temperature_c, unit)} lies outside",
            param_hint=hint,
        )


@app.command()
def template(
    out: Annotated[Path, typer.Argument(metavar="FILE", help="The new file: .csv, .xlsx or .toml.")],
) -> None:
    """Write a certificates file to be filled in, with invented certificates that show the form."""
    form = out.suffix.casefold().removeprefix(".")
    if form not in ("csv", "xlsx", "toml"):
        raise typer.BadParameter("the name must end in .csv, .xlsx or .toml", param_hint="FILE")

    from qualify.sensors.certificates_template import write_template

    write_template(out, form)
    print(f"{out}: its certificates are invented; replace them with your own")
