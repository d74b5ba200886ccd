"""What each figure is called, its unit, and its definition in words; said once, shown on two sheets."""

from __future__ import annotations

from dataclasses import dataclass

TEMPERATURE, DIFFERENCE, RATE, SECONDS, NUMBER, RATE_PER_MINUTE = (
    "°C",
    "°C of difference",
    "°C/h",
    "s",
    "1",
    "°C/min",
)


@dataclass(frozen=True, slots=True)
class Word:
    """A figure's name, its unit as printed, and its definition."""

    name: str
    unit: str
    definition: str


LOCATION: dict[str, Word] = {
    "readings": Word(
        "Readings", NUMBER, "Count of readings in the window; an absent reading is never filled."
    ),
    "mean_c": Word(
        "Mean",
        TEMPERATURE,
        "Mean of the corrected readings in the window. Where intervals differ by over 10 % it is "
        "weighted by time: a reading counts for half the way to each of its neighbours.",
    ),
    "min_c": Word("Least reading", TEMPERATURE, "Least corrected reading in the window."),
    "max_c": Word("Largest reading", TEMPERATURE, "Largest corrected reading in the window."),
    "sd_c": Word(
        "Standard deviation",
        DIFFERENCE,
        "Sample standard deviation (n − 1) of the corrected readings in the window.",
    ),
    "deviation_max_c": Word(
        "Largest deviation from set point",
        DIFFERENCE,
        "Largest corrected reading in the window less the set point.",
    ),
    "deviation_min_c": Word(
        "Least deviation from set point",
        DIFFERENCE,
        "Least corrected reading in the window less the set point.",
    ),
    "stability_c": Word(
        "Stability", DIFFERENCE, "Half of (largest − least reading) in the window: ± half range."
    ),
    "overshoot_c": Word(
        "Overshoot",
        DIFFERENCE,
        "Largest corrected reading less the set point, not below 0, from heat start (else the first "
        "reading) to the hold's end; for a hold entered from below.",
    ),
    "undershoot_c": Word(
        "Undershoot",
        DIFFERENCE,
        "Overshoot mirrored: set point less the least corrected reading, not below 0; for a hold entered "
        "from above.",
    ),
    "over_final_c": Word(
        "Overshoot over own final mean",
        DIFFERENCE,
        "The same as overshoot, against the location's own mean in the window instead of the set point.",
    ),
    "drift_c_per_h": Word(
        "Drift", RATE, "Least-squares slope of the corrected readings in the window over time."
    ),
    "drift_low_c_per_h": Word(
        "Drift, lower end of its interval", RATE, "The interval allows for autocorrelation of the readings."
    ),
    "drift_high_c_per_h": Word(
        "Drift, upper end of its interval", RATE, "The interval allows for autocorrelation of the readings."
    ),
    "cycle_period_s": Word("Cycle period", SECONDS, "Period of a significant control cycle."),
    "cycle_amplitude_c": Word("Cycle amplitude", DIFFERENCE, "Half of crest to trough of the cycle's sine."),
    "effective_readings": Word(
        "Effective readings",
        NUMBER,
        "n / (1 + 2·Σ (1 − k/n)·ρ_k) over the lags k up to the end of the initial positive sequence, "
        "held to 1 … n: how many independent readings the series is worth.",
    ),
    "mean_correction_c": Word(
        "Mean correction", DIFFERENCE, "Mean in the window of (corrected − raw reading)."
    ),
    "expanded_uncertainty_c": Word(
        "Expanded uncertainty of one corrected reading",
        DIFFERENCE,
        "Largest in the window, at the coverage factor below; its parts stand on the sheet Uncertainty.",
    ),
    "mean_expanded_uncertainty_c": Word(
        "Expanded uncertainty of the mean",
        DIFFERENCE,
        "k·√((U/k)² + s²/effective readings), s the standard deviation in the window; re-performed on the "
        "sheet Uncertainty from the engine's effective readings.",
    ),
    "coverage_factor": Word("Coverage factor k", NUMBER, "The certificate's own where one applies; else 2."),
    "agreement_at_ambient_c": Word(
        "Agreement at ambient",
        DIFFERENCE,
        "Offset of the location's mean from the median location before heat start. For thermocouples "
        "this checks only channel, reference junction and gross faults: with both junctions at one "
        "temperature they make almost no voltage, so it says nothing about their error when hot.",
    ),
}

CHAMBER: dict[str, Word] = {
    "mean_c": Word(
        "Mean of all",
        TEMPERATURE,
        "Mean over the complete instants of the window of the mean over locations.",
    ),
    "deviation_max_c": Word(
        "Largest deviation from set point", DIFFERENCE, "Over all locations and readings of the window."
    ),
    "deviation_min_c": Word(
        "Least deviation from set point", DIFFERENCE, "Over all locations and readings of the window."
    ),
    "spread_max_c": Word(
        "Largest spread",
        DIFFERENCE,
        "Largest over the complete instants of the window of (hottest − coldest location at that instant).",
    ),
    "spread_mean_c": Word(
        "Mean spread",
        DIFFERENCE,
        "Mean over the complete instants of the window of (hottest − coldest location at that instant).",
    ),
    "spread_of_means_c": Word(
        "Spread of means",
        DIFFERENCE,
        "Largest less least location mean, each taken over the complete instants of the window.",
    ),
    "stability_c": Word("Stability", DIFFERENCE, "The largest location stability (± half range)."),
    "overshoot_c": Word("Overshoot", DIFFERENCE, "The largest location overshoot."),
    "undershoot_c": Word("Undershoot", DIFFERENCE, "The largest location undershoot."),
    "over_final_c": Word("Overshoot over own final mean", DIFFERENCE, "The largest among the locations."),
    "high_excess_c": Word(
        "High excess",
        DIFFERENCE,
        "Largest reading of survey, control and recording sensors in the stretch that this hold answers "
        "for, less its upper limit. Entered from above, a sensor counts once it was first inside the "
        "limits.",
    ),
    "time_to_band_s": Word(
        "Time to band",
        SECONDS,
        "From heat start to the first reading from which every location stays inside the limits to the "
        "window's end.",
    ),
    "time_to_stabilize_s": Word(
        "Time to stabilise",
        SECONDS,
        "From heat start until every location's running mean stays within the plan's figure for the soak "
        "time.",
    ),
    "band_lag_s": Word(
        "Lag to band", SECONDS, "Between the first and the last location's first reading inside the limits."
    ),
    "recovery_s": Word(
        "Recovery", SECONDS, "From the closing of the door until every location stays inside the limits."
    ),
    "heat_up_rate_c_per_min": Word(
        "Heat-up rate", RATE_PER_MINUTE, "Of the chamber mean, 10 % to 90 % of the step."
    ),
    "heat_up_steepest_c_per_min": Word(
        "Heat-up, steepest", RATE_PER_MINUTE, "Of the chamber mean over 5 minutes."
    ),
    "cool_down_rate_c_per_min": Word(
        "Cool-down rate", RATE_PER_MINUTE, "Of the chamber mean, 10 % to 90 % of the step."
    ),
    "cool_down_steepest_c_per_min": Word(
        "Cool-down, steepest", RATE_PER_MINUTE, "Of the chamber mean over 5 minutes."
    ),
    "cycle_period_s": Word(
        "Cycle period", SECONDS, "Period of a significant control cycle of the chamber mean."
    ),
    "cycle_amplitude_c": Word("Cycle amplitude", DIFFERENCE, "Half of crest to trough of the cycle's sine."),
    "recording_interval_s": Word(
        "Recording interval", SECONDS, "Longest interval between readings, heat start to the window's end."
    ),
    "conformance_probability": Word(
        "Probability of conformance",
        NUMBER,
        "That all watched locations kept the limits in the window, by Monte Carlo (JCGM 101). It says "
        "nothing of places without a sensor.",
    ),
}

ENGINE_ONLY = "engine only; re-performed by recomputation from the packed inputs (`qualify verify`)"

BY_VERIFY = "re-performed by `qualify verify`"

TRADE = (
    ("set point", "The temperature that the controller is told to hold."),
    ("work zone", "The part of the oven that is qualified."),
    ("location", "A named place in the work zone."),
    ("sensor", "What sits at a location and feels its temperature."),
    ("channel", "Where the logger records a sensor."),
    ("reading", "One value of one channel at one instant."),
    ("correction", "True − indicated; added to the indication."),
    ("error", "Indicated − true; the correction with its sign turned."),
    ("hold", "One set point of a run."),
    ("heat-up, soak, recovery, cool-down", "The phases of a run."),
    (
        "assessment window",
        "The readings that are judged: as declared; else from stabilisation to the hold's end, at least the "
        "soak. Limits apply in it; what passed them elsewhere stands as overshoot and high excess.",
    ),
    (
        "stabilisation, steady",
        "The first reading at the set point from which, over the soak, no location's running mean (of the "
        "readings in the last steady_minutes, or whole control cycles not shorter) moves by more than "
        "steady_within.",
    ),
    (
        "hold's end",
        "The last reading before the recorded or declared set point changes; else before the chamber mean "
        "leaves the set point for good; else the record's end.",
    ),
    ("uniformity, spread, stability, overshoot, drift, cycle", "Figures; their definitions stand below."),
    (
        "requirement, limit, margin, decision",
        "What is asked; the value it is held against; the distance to the nearer limit, positive inside; "
        "what follows.",
    ),
    ("stage", "Installation, operation or performance."),
    ("challenge", "A protection made to act on purpose."),
    ("deviation from set point", "A figure: reading − set point. It is not a nonconformity."),
    ("nonconformity", "A requirement not met."),
    ("departure", "The plan was not followed."),
    ("doubt", "Something about a reading that a person should know."),
    ("data pack", "This workbook with the files beside it."),
    (
        "°C and °C of difference",
        "A temperature difference is not a temperature: 100 °C is 212 °F, but 100 °C of difference is "
        "180 °F of difference.",
    ),
)

DECISIONS = (
    ("pass", "The figure keeps the limit less the guard band. Equal to the limit meets it."),
    (
        "conditional",
        "The figure keeps the limit, but lies within the guard band of it; or a remark makes it so.",
    ),
    (
        "not shown",
        "It can't be evaluated: evidence is missing, readings lie beyond a certificate's reach, or the "
        "uncertainty takes more of the tolerance than the plan allows. It is never a pass.",
    ),
    ("fail", "The figure lies beyond the limit."),
    (
        "precedence",
        "Worst last: pass, conditional, not shown, fail. A verdict is the worst of its requirements.",
    ),
    ("simple acceptance", "Guard band 0: the figure is held against the limit itself."),
    (
        "guarded acceptance",
        "Guard band w = the expanded uncertainty U of one corrected reading at the deciding location, "
        "unless the plan or a document's own rule says otherwise. U guards deviations, overshoot, high "
        "excess and time to band; stability and spreads are differences of readings and are decided simply.",
    ),
    (
        "decided by",
        "The location whose value, limit and own U decide: it need not be the one with the extreme value, "
        "which value, margin and location name.",
    ),
    (
        "share of the tolerance",
        "Under simple acceptance a U above the plan's share (uncertainty_share, default 1/3) of half the "
        "width of the limits shows nothing.",
    ),
    (
        "margin",
        "Distance to the nearer limit, positive inside, before any guard band; values are compared "
        "unrounded.",
    ),
)

MARKS = (
    ("[C]", "Seen in a public, mostly secondary, copy of the document named."),
    ("[C second-hand]", "Seen quoted, not in a copy of the document."),
    ("[D]", "Arithmetic that anyone can redo."),
    (
        "[M]",
        "From memory, not confirmed: never decides a verdict until a person confirms it in a licensed copy.",
    ),
    ("[X]", "Sources disagree: never decides a verdict until a person confirms it in a licensed copy."),
)

LEFT_OUT = (
    "drift of sensors and logger since their calibration",
    "logger resolution and noise, where its channel has no certificate",
    "reference junction, where no channel or loop certificate covers it",
    "inhomogeneity of the thermocouple wire along the temperature gradient",
    "radiation between the sensor and the walls, conduction along its leads",
    "the straight line between calibration points (interpolation)",
)
