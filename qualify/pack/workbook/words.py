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
        "held to 1 … n, ρ_k of the readings without a significant control cycle, which is fitted over its "
        "last whole periods and taken out: how many independent readings that series is worth.",
    ),
    "mean_correction_c": Word(
        "Mean correction", DIFFERENCE, "Mean in the window of (corrected − raw reading)."
    ),
    "standard_uncertainty_c": Word(
        "Standard uncertainty of one corrected reading",
        DIFFERENCE,
        "Largest in the window: √Σu² over the certificates and the sources that the plan gives; each stands "
        "on the sheet Budgets.",
    ),
    "expanded_uncertainty_c": Word(
        "Expanded uncertainty of one corrected reading",
        DIFFERENCE,
        "U = k·u, of that standard uncertainty.",
    ),
    "mean_expanded_uncertainty_c": Word(
        "Expanded uncertainty of the mean",
        DIFFERENCE,
        "k·√(u² + u_A²), u_A the standard error of the mean of an autocorrelated series and k the mean's "
        "own; re-performed on the sheet Uncertainty from the engine's u_A.",
    ),
    "coverage_factor": Word(
        "Coverage factor k",
        NUMBER,
        "Of one corrected reading. The certificate's own where it makes up the whole budget; else Student's "
        "t for the effective degrees of freedom, cut to a whole number, at a coverage of 95.45 %: 2 where "
        "all sources are taken as known.",
    ),
    "mean_coverage_factor": Word(
        "Coverage factor k of the mean",
        NUMBER,
        "Student's t as above, for the budget of the mean: its scatter has degrees of freedom of its own.",
    ),
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
        "That all watched locations kept the limits in the window, by Monte Carlo over their budgets (JCGM "
        "101); its terms stand on the sheet Sureness. It says nothing of places without a sensor, and is "
        "never printed as certain.",
    ),
}

STATISTICS: dict[str, Word] = {
    "autocorrelation": Word(
        "Autocorrelation",
        NUMBER,
        "Correlation of each reading in the window with the one before it, a control cycle left in.",
    ),
    "standard_error_c": Word(
        "Standard error of the mean",
        DIFFERENCE,
        "Standard deviation of the window's mean, for readings that are not independent of each other.",
    ),
    "drift_standard_error_c_per_h": Word(
        "Standard error of the drift",
        RATE,
        "Of the least-squares slope, consistent under autocorrelation (Newey–West); to compare with the "
        "drift's interval, which is made in another way.",
    ),
    "steadiness": Word(
        "Test of steadiness",
        NUMBER,
        "Ratio of what the three slowest waves of the window hold to what its faster ones foretell for them: "
        "about 1 in a steady window. p: how often a steady window shows as much.",
    ),
    "comparison": Word(
        "Difference from the chamber mean, of a pair",
        DIFFERENCE,
        "Mean in the window of T_i − mean_j T_j, or T_i − T_j, at the same instants, with a half-width that "
        "allows for autocorrelation and holds for all of them together. About what the sensors showed: their "
        "errors stand in the budgets.",
    ),
    "field": Word(
        "Estimate of unwatched places",
        TEMPERATURE,
        "Highest and lowest mean temperature that a smooth model through the watched locations expects in "
        "the whole work zone. Never a verdict.",
    ),
    "risks": Word(
        "Consumer's and producer's risk",
        NUMBER,
        "Under the plan's prior: chance that a reading beyond the limits is accepted, and that one within "
        "them is not (JCGM 106:2012).",
    ),
    "what_if": Word(
        "What would change the margin",
        DIFFERENCE,
        "Margin less guard band of the hold as measured, with one thing changed: a source of uncertainty "
        "halved, another decision rule; as estimates twice the locations, a window twice as long.",
    ),
}

REPLICATES: dict[str, Word] = {
    "mean_deviations_c": Word(
        "Mean deviation in a run",
        DIFFERENCE,
        "Mean of a location in the window of one run, less the set point.",
    ),
    "tolerance": Word(
        "Tolerance limit",
        DIFFERENCE,
        "Mean ± k·s over the runs: holds the stated share of all future runs with the stated confidence, if "
        "runs scatter normally. The sample is the run.",
    ),
    "next_run": Word(
        "Next run",
        DIFFERENCE,
        "Where the next run's figure will lie: mean ± t·s·√(1 + 1/n), with the stated confidence.",
    ),
    "passing": Word(
        "Passing runs",
        NUMBER,
        "What passes and fails alone show of the share of runs that keep the limits (Clopper–Pearson).",
    ),
    "runs_needed": Word(
        "Runs needed",
        NUMBER,
        "Runs that would have to pass to show the stated share, and runs whose tolerance limit would lie "
        "within the limit if mean and s stayed as they are.",
    ),
    "components": Word(
        "Components of variance",
        "°C² of difference",
        "What moves all locations of a run alike, what parts the locations, and the rest; by analysis of "
        "variance, and by restricted likelihood as a second opinion.",
    ),
    "locations": Word(
        "Tolerance limits of a location",
        DIFFERENCE,
        "Mean of the location over the runs ± k·s, s from all locations together (run and rest).",
    ),
    "outlying": Word(
        "Outlying run",
        NUMBER,
        "Distance of the farthest run from the mean in standard deviations (Grubbs).",
    ),
    "trend": Word("Trend over runs", "°C of difference per run", "Least-squares slope in the order of runs."),
    "control": Word(
        "Control limits",
        DIFFERENCE,
        "Within which single runs scatter as long as nothing changes, from the steps between neighbours.",
    ),
    "capability": Word(
        "Capability",
        NUMBER,
        "Ppk: distance of the mean from the nearer limit over 3·s; Cpk: with s from the steps between "
        "neighbouring runs. Of a stable sequence only.",
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
        "Guard band w = the expanded uncertainty U of one corrected reading at the deciding location, or r·U "
        "where the plan states a guard factor r, unless a document's own rule says otherwise. U guards "
        "deviations, overshoot, high excess and time to band; stability and spreads are differences of "
        "readings and are decided simply.",
    ),
    (
        "acceptance by probability",
        "The probability that the true value lies inside the limits, from the reading's standard uncertainty "
        "u and a normal distribution, must reach the plan's at_least; less is conditional (JCGM 106:2012). "
        "Where one limit is near, it is a guard band z·u.",
    ),
    (
        "iso-14253-1",
        "The same with 95 %, unless another probability was agreed.",
    ),
    (
        "other rules",
        "What other decision rules would have said of the same evidence: sheet Other rules. They never "
        "change a decision.",
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
