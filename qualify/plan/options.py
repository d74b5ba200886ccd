"""From the options of `qualify survey` to a plan: the same path as a plan file from here on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from qualify.plan.model import CertificateChoice, ChannelRole, Hold, Plan, Role, Stage, Survey
from qualify.readings.model import ReadOptions
from qualify.units import Celsius, CelsiusDifference, TemperatureUnit, difference_to_c, temperature_to_c


def plan_from_options(
    files: Sequence[str],
    *,
    setpoint: float,
    low: float,
    high: float,
    units: TemperatureUnit | None,
    start: str | None = None,
    minutes: float | None = None,
    heat_start: str | None = None,
    certificates: str | None = None,
    ignored: Mapping[str, str] | None = None,
    read: ReadOptions | None = None,
    loggers: Mapping[str, ReadOptions] | None = None,
) -> Plan:
    """Build the plan that the options describe.

    Parameters
    ----------
    files
        Logger files of one recording.
    setpoint, low, high
        Set point, and limits as differences from it, in `units` (°C without).
    units
        Unit of those numbers, of what is printed, and of columns that name none.
    start, minutes, heat_start
        Declared window and heat start, or None.
    certificates
        Certificates file, or None.
    ignored
        Channel → reason.
    read, loggers
        What the options say about the layout of all files, and of single ones by name.
    """
    unit = units or TemperatureUnit.C
    name = f"{setpoint:g} {unit.value}"
    hold = Hold(
        name=name,
        setpoint=Celsius(temperature_to_c(setpoint, unit)),
        low=CelsiusDifference(difference_to_c(low, unit)),
        high=CelsiusDifference(difference_to_c(high, unit)),
        start=start,
        minutes=minutes,
        heat_start=heat_start,
    )
    return Plan(
        title=f"Survey at {name}",
        units=unit,
        channels=tuple(
            ChannelRole(channel=channel, role=Role.IGNORED, reason=reason)
            for channel, reason in (ignored or {}).items()
        ),
        certificates=CertificateChoice(file=certificates) if certificates else None,
        surveys=(
            Survey(
                name="survey",
                stage=Stage.OPERATION,
                files=tuple(files),
                read=read or ReadOptions(units=units),
                loggers=loggers or {},
                holds=(hold,),
            ),
        ),
        from_options=True,
    )
