"""What an installation is asked for: rows of the templates, in our own words.

Limits stand here only where the words of the row fix them; all others are the user's, from the maker's
instructions, the order, or local code. Cautions stand above the rows whose work can hurt someone.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Asked:
    """One row of a template: id, item, requirement, expected text, unit of the limits to be filled in."""

    id: str
    item: str
    requirement: str
    expected: str = ""
    unit: str = ""


@dataclass(frozen=True, slots=True)
class Group:
    """Rows that belong together, and what can hurt whoever fills them in."""

    heading: str
    rows: tuple[Asked, ...]
    cautions: tuple[str, ...] = ()


WHO_GOVERNS = (
    "Local code, the maker's instructions and licensed practice govern. Whoever is not qualified for a row's "
    "work leaves it to someone who is."
)
LIVE = (
    "Live parts: only a qualified electrician opens the cabinet and measures; isolate, lock and prove dead "
    "before a cover is taken off or a wire is touched."
)
HOT = "Hot surfaces and hot air: let the chamber cool, or wear protection, before reaching in."
STEAM = (
    "Steam and scalding water burst from the drain when cooling starts: stand clear. The drain stays open "
    "and is never put under pressure."
)
NITROGEN = (
    "Nitrogen displaces the room's air unnoticed, at the vent and when the door opens: the room's oxygen "
    "monitor is on, the exhaust leads outside, nobody works alone or puts the head into the chamber."
)
PRESSURE = (
    "Gas under pressure: never open a fitting that is not isolated and vented; never go above the "
    "never-exceed pressure to see what happens."
)
INTERLOCK = (
    "Never leave a protection bridged or its limit moved: write each change on the sheet of things "
    "restored. A person attends as long as one is."
)

_YES = "yes"

IDENTITY = Group(
    "Identity and documents",
    (
        Asked(
            "identity-serial",
            "Serial number on the nameplate",
            "is the one that was ordered; write it under expected",
        ),
        Asked(
            "identity-model", "Model on the nameplate", "is the one that was ordered; write it under expected"
        ),
        Asked(
            "identity-rating",
            "Highest rated temperature on the nameplate",
            "at least what the process needs",
            unit="°C",
        ),
        Asked(
            "documents-manual",
            "Instructions for operation and upkeep",
            "at hand, for this serial number",
            _YES,
        ),
        Asked("documents-drawings", "Wiring and piping drawings", "at hand; agree with what is built", _YES),
        Asked("documents-parts", "List of spare parts", "at hand", _YES),
        Asked(
            "documents-damage",
            "Damage in transport or in setting up",
            "none was found, or it is mended and described",
            "none",
        ),
        Asked("place-level", "Chamber out of level", "within the maker's limit", unit="mm"),
        Asked(
            "place-clearance",
            "Least distance to walls and to other equipment",
            "at least the maker's",
            unit="mm",
        ),
        Asked("place-ambient", "Temperature of the room", "within the maker's limits", unit="°C"),
        Asked("place-door", "Door and seal", "closes all round, latches, seal without damage", _YES),
    ),
)
ELECTRICAL = Group(
    "Electrical service",
    (
        Asked(
            "electrical-voltage",
            "Voltage between phases, heaters on",
            "within the nameplate's limits, lowest of all pairs",
            unit="V",
        ),
        Asked("electrical-phases", "Number of phases", "as on the nameplate; write it under expected"),
        Asked(
            "electrical-rotation",
            "Order of the phases",
            "as the maker asks; each fan turns along its arrow",
            _YES,
        ),
        Asked("electrical-frequency", "Frequency", "as on the nameplate", unit="Hz"),
        Asked(
            "electrical-earth",
            "Resistance of the protective earth, cabinet to supply",
            "at most what local code allows",
            unit="Ω",
        ),
        Asked(
            "electrical-insulation",
            "Resistance of insulation, heaters to earth",
            "at least what local code asks",
            unit="MΩ",
        ),
        Asked(
            "electrical-current",
            "Current of each phase, all heaters on",
            "within the nameplate's, largest of all phases",
            unit="A",
        ),
        Asked(
            "electrical-fuse",
            "Protection upstream: kind and rating",
            "as the maker asks; write it under expected",
        ),
        Asked(
            "electrical-isolator", "Main isolator", "within reach, can be locked, takes all phases off", _YES
        ),
    ),
    (LIVE,),
)
EXHAUST = Group(
    "Exhaust",
    (
        Asked(
            "exhaust-path",
            "Exhaust duct",
            "leads outside or to the extraction it was built for; nothing blocks it",
            _YES,
        ),
        Asked("exhaust-flow", "Flow of the exhaust", "within the maker's limits", unit="m³/h"),
        Asked("exhaust-damper", "Dampers", "move over their whole travel; their place is written down", _YES),
    ),
    (HOT,),
)
PROTECTIONS = Group(
    "Protections",
    (
        Asked(
            "protection-excess",
            "Excess-temperature protection",
            "a device of its own with its own sensor, cuts the heat, stays off until reset by hand",
            _YES,
        ),
        Asked(
            "protection-excess-setting",
            "Its setting",
            "at most the rated temperature; as the plan says",
            unit="°C",
        ),
        Asked("protection-fan", "Proof of air flow", "there and set; without it no heat", _YES),
        Asked("protection-door", "Door switch", "there; does what the maker says", _YES),
        Asked("protection-stop", "Emergency stop", "there, within reach, unlatched only by hand", _YES),
        Asked(
            "protection-alarm", "Alarm heard and seen where people work", "while the oven runs as usual", _YES
        ),
        Asked("protection-bridges", "Bridges or moved limits left from setting up", "none", "none"),
    ),
    (INTERLOCK, HOT),
)
CONTROL = Group(
    "Controller and programs",
    (
        Asked(
            "control-controller",
            "Version of the controller's software",
            "the one that is approved; write it under expected",
        ),
        Asked(
            "control-panel",
            "Version of the panel's or computer's software",
            "the one that is approved; write it under expected",
        ),
        Asked(
            "control-program",
            "Name and version of the program",
            "the one that is approved; write it under expected",
        ),
        Asked(
            "control-tuning",
            "Tuning, offsets and input filter",
            "as in the approved list; a copy is named under evidence",
            _YES,
        ),
        Asked(
            "control-access", "Settings that change the process", "can't be changed without authority", _YES
        ),
        Asked(
            "control-power",
            "After a loss of power",
            "does what the plan says: stays off, or goes on where it was",
            _YES,
        ),
    ),
)
INSTRUMENTS = Group(
    "Instruments",
    (
        Asked(
            "instruments-controller",
            "Sensor and input of the controller",
            "calibrated as a loop, in force; certificate named under evidence",
            _YES,
        ),
        Asked(
            "instruments-recorder",
            "Recorder and its sensors",
            "calibrated, in force; certificate named under evidence",
            _YES,
        ),
        Asked(
            "instruments-excess",
            "Sensor of the excess-temperature protection",
            "calibrated or checked, in force",
            _YES,
        ),
        Asked(
            "instruments-clock",
            "Clock of the recorder apart from the reference clock",
            "at most what the plan allows",
            unit="s",
        ),
    ),
    (LIVE,),
)
WATER = Group(
    "Cooling water and drain",
    (
        Asked(
            "water-pressure",
            "Pressure of the cooling water",
            "between the maker's lowest and highest",
            unit="bar g",
        ),
        Asked("water-flow", "Flow of the cooling water", "at least the maker's", unit="L/min"),
        Asked(
            "water-temperature",
            "Temperature of the cooling water at the inlet",
            "at most what the cooling time was promised for",
            unit="°C",
        ),
        Asked(
            "water-quality",
            "Quality of the water",
            "within the maker's limits; analysis named under evidence",
            _YES,
        ),
        Asked("water-leaks", "Leaks of coil and fittings at working pressure", "none", "none"),
        Asked("water-valve", "Shut-off by hand", "within reach; closes tight", _YES),
        Asked("water-proof", "Proof of flow, or alarm of its loss", "there and set", _YES),
        Asked("drain-open", "Drain", "open to the air, never under pressure, falls all the way", _YES),
        Asked(
            "drain-hot",
            "Drain pipe and what it leads to",
            "withstand steam and hot water; nobody stands in their way",
            _YES,
        ),
    ),
    (STEAM, HOT),
)
GAS = Group(
    "Inert gas",
    (
        Asked("gas-kind", "Gas connected", "the one that the oven was built for; write it under expected"),
        Asked("gas-quality", "Oxygen in the supply", "at most what the process allows", unit="ppm"),
        Asked(
            "gas-pressure",
            "Pressure of the supply, gas flowing",
            "between the lowest that purges and the never-exceed pressure",
            unit="bar g",
        ),
        Asked("gas-flow", "Flow while purging", "within the maker's limits", unit="Nm³/h"),
        Asked(
            "gas-relief",
            "Relief of the supply",
            "set at or below the never-exceed pressure; leads outside",
            _YES,
        ),
        Asked(
            "gas-shut-off",
            "Shut-off by hand",
            "within reach from outside the room's risk area; closes tight",
            _YES,
        ),
        Asked("gas-vent", "Vent of the chamber", "leads outside, free, away from inlets of air", _YES),
        Asked("gas-leaks", "Leaks of pipe and fittings at working pressure", "none", "none"),
        Asked(
            "gas-analyser",
            "Oxygen analyser of the chamber",
            "calibrated, in force; certificate named under evidence",
            _YES,
        ),
        Asked(
            "gas-monitor",
            "Oxygen monitor of the room",
            "there, in force, alarm heard and seen at the oven and at the door of the room",
            _YES,
        ),
        Asked("gas-monitor-setting", "Its alarm setting", "at least what local code asks", unit="%"),
        Asked(
            "gas-door",
            "Door while the chamber holds inert gas",
            "stays locked until the oxygen is back, or as the maker says",
            _YES,
        ),
    ),
    (NITROGEN, PRESSURE),
)
CLEAN = Group(
    "Clean chamber",
    (
        Asked(
            "clean-filter",
            "Integrity of each filter and its seal",
            "largest local leak at most what the plan allows",
            unit="%",
        ),
        Asked(
            "clean-filter-rating",
            "Highest temperature of filter and seal",
            "at least the oven's highest",
            unit="°C",
        ),
        Asked(
            "clean-cold",
            "Particles, cold, fan on",
            "at most the class asked for; size of the particles under requirement",
            unit="counts/m³",
        ),
        Asked("clean-hot", "Particles, at temperature", "at most what the plan allows", unit="counts/m³"),
        Asked("clean-heating", "Particles, during heat-up", "at most what the plan allows", unit="counts/m³"),
        Asked(
            "clean-air-speed",
            "Speed of the air at the filter's face",
            "within the limits, at each point of the grid",
            unit="m/s",
        ),
        Asked(
            "clean-pressure-filter",
            "Pressure difference across the filter",
            "below the maker's for a new filter",
            unit="Pa",
        ),
        Asked(
            "clean-pressure-room",
            "Pressure difference, chamber to room",
            "at least what the plan asks",
            unit="Pa",
        ),
        Asked("clean-burn-in", "First heating of a new filter", "as its maker asks, before any count", _YES),
    ),
    (
        "A counter's inlet takes no hot air: cool the sample as the counter's maker says.",
        HOT,
        "The aerosol that challenges a filter must suit the filter, the process and whoever breathes it.",
    ),
)

GROUPS: dict[str, tuple[Group, ...]] = {
    "any": (IDENTITY, ELECTRICAL, EXHAUST, PROTECTIONS, CONTROL, INSTRUMENTS),
    "water-cooled": (WATER,),
    "inert-gas": (GAS,),
    "clean": (CLEAN,),
}
"""The groups of each kind of oven; those of "any" belong to every one."""
