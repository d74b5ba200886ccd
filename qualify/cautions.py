"""Cautions: what can hurt someone during a survey, and who decides."""

SURVEY_CAUTIONS = (
    "Hot surfaces and hot air: let the chamber cool or wear protection before reaching in.",
    "Nitrogen displaces the room's air at the vent and when the door is opened: a room oxygen monitor "
    "stands on, the exhaust leads outside, nobody works alone.",
    "Steam and scalding water burst from a cooling drain when cooling starts: stand clear; the drain is "
    "open and never under pressure.",
    "Live parts may lie near survey leads: isolate before wiring, and secure against switching on.",
    "Leads through a door seal change leak and purge results: say so, and repeat those tests without them.",
    "No flammable vapour, solvent or gas in an oven that is not built for it.",
    "Never leave a defeated interlock. A person attends while any protection is moved or bridged.",
    "The process is never driven past the oven's rated temperature, pressure or oxygen limit to make a "
    "protection act: the limit is lowered to the process.",
    "Local code, the maker's instructions and licensed practice govern. This record informs a person who "
    "decides and signs; it declares nothing free of danger.",
)
"""Shown in the plan template, on the front page and beside each challenge."""
