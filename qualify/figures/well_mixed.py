"""A well-mixed chamber in closed form: volume changes, oxygen after them, flow at chamber conditions."""

from __future__ import annotations

from math import exp, isfinite, log

from qualify.figures.absent import Absent, Maybe

KELVIN_AT_0_C = 273.15
NORMAL_PRESSURE_KPA = 101.325
AIR_OXYGEN_PERCENT = 20.9
DEFICIENT_PERCENT = 19.5
ENRICHED_PERCENT = 23.5
"""Room oxygen below the one is deficient, above the other enriched: 29 CFR 1910.146(b); seen in secondary
copies."""


def volumes_needed(start: float, limit: float, supply: float = 0.0) -> Maybe:
    """Volume changes that bring well-mixed oxygen to a limit: N = ln((C_0 − C_s)/(C − C_s)) [1].

    Parameters
    ----------
    start, limit, supply
        Oxygen at the start, to be reached, and of the purge gas [%].
    """
    if not all(isfinite(value) for value in (start, limit, supply)):
        return Absent("an oxygen value is no number")
    if limit <= supply:
        return Absent(f"{limit:.6g} % lies at or below the oxygen of the supply ({supply:.6g} %)")
    return max(0.0, log((start - supply) / (limit - supply))) if start > supply else 0.0


def oxygen_after(volumes: float, start: float, supply: float = 0.0) -> float:
    """Well-mixed oxygen after a number of volume changes: C_s + (C_0 − C_s)·e^(−N) [%]."""
    return supply + (start - supply) * exp(-volumes)


def flow_at_chamber(
    metered_flow: float,
    chamber_c: float,
    chamber_kpa: float = NORMAL_PRESSURE_KPA,
    *,
    metered_c: float = 0.0,
    metered_kpa: float = NORMAL_PRESSURE_KPA,
) -> Maybe:
    """Flow at the chamber's temperature and pressure from a metered (normal) flow; ideal gas.

    Parameters
    ----------
    metered_flow
        Flow in any unit, at the reference state of the meter; the result has the same unit.
    chamber_c, metered_c
        Gas temperature in the chamber, reference temperature of the meter [°C].
    chamber_kpa, metered_kpa
        Absolute pressures [kPa].
    """
    if min(chamber_c, metered_c) <= -KELVIN_AT_0_C or min(chamber_kpa, metered_kpa) <= 0:
        return Absent("temperatures must lie above 0 K and absolute pressures above 0")
    warmer = (chamber_c + KELVIN_AT_0_C) / (metered_c + KELVIN_AT_0_C)
    return metered_flow * warmer * metered_kpa / chamber_kpa


def predicted_purge_s(
    start: float,
    limit: float,
    *,
    volume_m3: float,
    flow_m3_per_s: float,
    supply: float = 0.0,
    mixing_factor: float = 1.0,
) -> Maybe:
    """Time that a well-mixed chamber would need to reach a limit: N·V/(k·Q) [s].

    Parameters
    ----------
    start, limit, supply
        As for `volumes_needed` [%].
    volume_m3, flow_m3_per_s
        V [m³] and Q at chamber conditions [m³/s].
    mixing_factor
        k [1]: below 1 for imperfect mixing, above 1 where the gas displaces.
    """
    if not (volume_m3 > 0 and flow_m3_per_s > 0 and mixing_factor > 0):
        return Absent("volume, flow and mixing factor must be above 0")
    volumes = volumes_needed(start, limit, supply)
    return volumes if isinstance(volumes, Absent) else volumes * volume_m3 / (mixing_factor * flow_m3_per_s)
