"""The tolerance classes that a certificate's points show, in words."""

from __future__ import annotations

import math

from qualify.sensors.certificate import Certificate
from qualify.sensors.class_shown import class_shown
from qualify.sensors.tolerances import documents


def table_type(sensor_type: str) -> str:
    """A sensor type as the table of tolerances calls it: a platinum thermometer counts as wire-wound."""
    folded = sensor_type.casefold().replace(" ", "")
    return "Pt wire-wound" if folded.startswith(("pt", "rtd", "prt")) else sensor_type


def class_in_words(certificate: Certificate, sensor_type: str) -> str:
    """Say which class of each document the points show, decided simply and guarded by their U.

    Parameters
    ----------
    certificate
        Of a sensor or a loop; a logger channel has no class.
    sensor_type
        Letter of the thermocouple, or a platinum thermometer; "" where not known.

    Returns
    -------
    str
        "" where there is no class to show: a channel, no type, or a type without classes.
    """
    kind = table_type(sensor_type)
    if certificate.of == "channel" or not kind:
        return ""
    uncertainties = [_or_nan(point.expanded_uncertainty_c) for point in certificate.points]
    factors = [_or_nan(point.coverage_factor) for point in certificate.points]
    words = []
    for document in documents(kind):
        shown = class_shown(
            kind,
            document,
            temperature_c=[point.temperature_c + point.correction_c for point in certificate.points],
            error_c=[-point.correction_c for point in certificate.points],
            expanded_uncertainty_c=uncertainties,
            coverage_factor=factors,
        )
        simple, guarded = shown.best_simple or "none", shown.best_guarded or "none"
        words.append(f"{document}: {simple}" + ("" if simple == guarded else f" (guarded by U: {guarded})"))
    return "; ".join(words)


def _or_nan(value: float | None) -> float:
    return math.nan if value is None else value
