"""Heat and the load behind the air in a line each, for the front page: the run and the sensor that decide."""

from __future__ import annotations

from qualify.figures.absent import Absent, present
from qualify.record import HeatRecord, Record


def words_of_heat(record: Record) -> tuple[tuple[str, str], ...]:
    """Say of each sum of heat that has a limit what it came to in the run where it is worst: name, words."""
    names = dict.fromkeys(heat.name for survey in record.surveys for heat in survey.heat)
    found = []
    for name in names:
        runs = [(survey.name, heat) for survey in record.surveys for heat in survey.heat if heat.name == name]
        for word, sign, least in (("least", "less", True), ("most", "plus", False)):
            asked = [(run, heat) for run, heat in runs if _limit(heat, least=least) is not None]
            if not asked:
                continue
            run, heat = min(asked, key=lambda item: _room(item[1], least=least))
            value, limit = _value(heat, least=least), _limit(heat, least=least)
            asks = f"at {word} {limit:g} min asked"
            if isinstance(value, Absent):
                found.append((f"Heat: {name}", f"not known in {run}: {value.reason}; {asks}"))
                continue
            at = heat.least_at if least else heat.most_at
            words = (
                f"{heat.kind}, {word} of all runs {value:.4g} min (readings {sign} U) at {at}, {run}; {asks}"
            )
            found.append((f"Heat: {name}", words))
    return tuple(found)


def _value(heat: HeatRecord, *, least: bool) -> float | Absent:
    return heat.least_min if least else heat.most_min


def _limit(heat: HeatRecord, *, least: bool) -> float | None:
    return heat.least_limit_min if least else heat.most_limit_min


def _room(heat: HeatRecord, *, least: bool) -> float:
    """How far a sum is inside its limit [min]; what is not known comes first."""
    value, limit = _value(heat, least=least), _limit(heat, least=least)
    assert limit is not None
    if isinstance(value, Absent):
        return float("-inf")
    return value - limit if least else limit - value


def words_of_lag(record: Record) -> str:
    """Say which sensor in the load followed the air last, and in which run; "" without such sensors."""
    lags = [
        (load.lag_s, load.channel, survey.name)
        for survey in record.surveys
        for load in survey.loads
        if present(load.lag_s)
    ]
    never = [
        f"{load.channel} in {survey.name}"
        for survey in record.surveys
        for load in survey.loads
        if isinstance(load.lag_s, Absent)
    ]
    parts = []
    if lags:
        lag_s, channel, run = max(lags)
        parts.append(
            f"inside the limits at most {lag_s / 60:.3g} min after the mean of the air: {channel}, {run}"
        )
    if never:
        more = f" and {len(never) - 3} more" if len(never) > 3 else ""
        parts.append(f"lag not known: {', '.join(never[:3])}{more}")
    return "; ".join(parts)
