"""The record: one plain, complete result, and its JSON (schema 1). No logic.

Temperatures and differences are in °C and times in seconds whatever the display unit is. A figure
that can't be given is an `Absent` with its reason; in JSON it becomes null beside `<name>_why`.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, fields, is_dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Any

from qualify.figures.absent import Absent, Maybe
from qualify.findings import Doubt

if TYPE_CHECKING:
    from qualify.inference.field import FieldEstimate
    from qualify.inference.locations import LocationComparison
    from qualify.inference.replicates import Replicates
    from qualify.inference.steadiness import SteadinessTest

SCHEMA = 1


class Decision(StrEnum):
    """The closed set of decisions; `worst` gives their one precedence."""

    PASS = "pass"
    CONDITIONAL = "conditional"
    NOT_SHOWN = "not shown"
    FAIL = "fail"

    @classmethod
    def worst(cls, decisions: list[Decision]) -> Decision:
        """Give the worst of the decisions; of none, "not shown"."""
        order = list(cls)
        return max(decisions, key=order.index, default=cls.NOT_SHOWN)


@dataclass(frozen=True, slots=True, kw_only=True)
class InputRecord:
    """A file that was read, by its name in the pack's inputs folder."""

    path: str
    sha256: str
    bytes: int
    role: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WindowRecord:
    """The assessment window as found or declared, and the readings in it."""

    start: str | None
    end: str | None
    start_s: float
    end_s: float
    readings: int
    first_s: float
    last_s: float
    declared: bool
    filled: bool
    evenly_spaced: bool
    interval_s: Maybe
    complete_instants: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ChamberRecord:
    """Figures of the chamber: all locations together."""

    mean_c: Maybe
    deviation_max_c: Maybe
    deviation_min_c: Maybe
    spread_max_c: Maybe
    spread_mean_c: Maybe
    spread_of_means_c: Maybe
    stability_c: Maybe
    overshoot_c: Maybe
    undershoot_c: Maybe
    over_final_c: Maybe
    high_excess_c: Maybe
    time_to_band_s: Maybe
    time_to_stabilize_s: Maybe
    band_lag_s: Maybe
    recovery_s: Maybe
    heat_up_rate_c_per_min: Maybe
    heat_up_steepest_c_per_min: Maybe
    cool_down_rate_c_per_min: Maybe
    cool_down_steepest_c_per_min: Maybe
    cycle_period_s: Maybe
    cycle_amplitude_c: Maybe
    recording_interval_s: Maybe
    conformance_probability: Maybe


@dataclass(frozen=True, slots=True, kw_only=True)
class VariantRecord:
    """A figure under a document's own name and definition."""

    document: str
    name: str
    formula: str
    value_c: Maybe
    location: str | None
    standing: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LocationRecord:
    """Figures of one location in the window (overshoot: in the hold)."""

    location: str
    channel: str
    sensor: str
    sensor_type: str
    position_mm: tuple[float, float, float] | None
    readings: int
    mean_c: Maybe
    min_c: Maybe
    max_c: Maybe
    sd_c: Maybe
    deviation_max_c: Maybe
    deviation_min_c: Maybe
    stability_c: Maybe
    overshoot_c: Maybe
    undershoot_c: Maybe
    over_final_c: Maybe
    drift_c_per_h: Maybe
    drift_low_c_per_h: Maybe
    drift_high_c_per_h: Maybe
    cycle_period_s: Maybe
    cycle_amplitude_c: Maybe
    effective_readings: Maybe
    mean_correction_c: Maybe
    standard_uncertainty_c: Maybe
    expanded_uncertainty_c: Maybe
    mean_expanded_uncertainty_c: Maybe
    coverage_factor: Maybe
    mean_coverage_factor: Maybe
    agreement_at_ambient_c: Maybe


@dataclass(frozen=True, slots=True, kw_only=True)
class IndicationRecord:
    """A display held against the corrected reading beside its sensor, in the window."""

    channel: str
    role: str
    beside: str
    error_mean_c: Maybe
    error_max_c: Maybe
    error_min_c: Maybe


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadRecord:
    """A sensor in the load: how long after the air it came inside the limits, and its window [°C]."""

    channel: str
    lag_s: Maybe
    mean_c: Maybe
    min_c: Maybe
    max_c: Maybe


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatRecord:
    """A sum over a run at every sensor [min], as read and with readings less their U; where it is least.

    `least_min` is of the readings less U, `most_min` of the readings plus U, over the judged sensors: those
    in the load where there are any.
    """

    name: str
    kind: str
    reference_c: float
    z_c: float | None
    activation_energy_kj_per_mol: float | None
    above_c: float | None
    because: str
    sensors: tuple[str, ...]
    loads: tuple[bool, ...]
    minutes: tuple[Maybe, ...]
    minutes_less_uncertainty: tuple[Maybe, ...]
    least_min: Maybe
    least_at: str | None
    most_min: Maybe
    most_at: str | None
    least_limit_min: float | None
    most_limit_min: float | None
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class OtherRule:
    """What a decision rule says of a requirement's evidence; `chosen` marks the plan's own.

    `guard_band` is in the requirement's unit; `location` names the location that decides under it.
    """

    rule: str
    says: str
    guard_band: float | None
    location: str | None
    chosen: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class RequirementRecord:
    """One requirement, the figure held against it, and the decision.

    `value`, the limits, `margin` and `guard_band` are in `unit`, which is "°C" (of difference) or
    "s". `location` and `time` say where and when the value stood; `decided_by` names the location
    that decides, where its own uncertainty makes another than the extreme one decide.
    """

    id: str
    text: str
    figure: str
    value: Maybe
    unit: str
    limit_low: float | None
    limit_high: float | None
    margin: Maybe
    acceptance: str
    guard_band: float | None
    decision: Decision
    location: str | None
    time: str | None
    time_s: float | None
    decided_by: str | None
    note: str
    citation: str
    standing: str
    other_rules: tuple[OtherRule, ...] = ()
    """What other decision rules would have said; empty where no uncertainty is known."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ExclusionRecord:
    """Readings of one location that a rule of the plan leaves out of every figure.

    The rows are those of the file; seconds count from the recording's first reading. `kind` is the
    screening kind of the rule, None where the plan names the readings itself.
    """

    location: str
    channel: str
    kind: str | None
    reason: str
    readings: int
    file: str
    first_row: int | None
    last_row: int | None
    first_s: float
    last_s: float
    first: str | None
    last: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ContributionRecord:
    """One row of a budget [°C of difference]; `share` is its part of the variance.

    Of a reading's rows the share is that in the budget of one reading. `degrees_of_freedom` is None where
    the uncertainty is taken as known; `shared_with` says who shares the very same error, "" nobody.
    """

    source: str
    evaluation: str
    shape: str
    stated_c: float
    divisor: float
    standard_c: float
    degrees_of_freedom: float | None
    shared_with: str
    share: float
    origin: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CombinedRecord:
    """What a budget comes to: u_c, ν_eff (None: infinite), k, U."""

    standard_c: float
    effective_degrees: float | None
    coverage_factor: float
    expanded_c: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LocationBudgetRecord:
    """Budgets of a location: of one corrected reading, and of its mean with one row more."""

    location: str
    contributions: tuple[ContributionRecord, ...]
    reading: CombinedRecord | Absent
    repeatability: ContributionRecord | None
    mean: CombinedRecord | Absent
    left_out: tuple[str, ...]
    covered: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ChamberBudgetRecord:
    """Budget of the chamber temperature assigned at the reference location; guards no uniformity limit."""

    location: str
    contributions: tuple[ContributionRecord, ...]
    combined: CombinedRecord
    left_out: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class UncertaintyRecord:
    """All budgets of a hold."""

    locations: tuple[LocationBudgetRecord, ...]
    chamber: ChamberBudgetRecord | Absent
    calibration_correlation: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SimulatedFigureRecord:
    """A figure of the window, and what the sensors' errors leave open about it [°C].

    The propagated interval is that of the trials; the other one, to state, is drawn back where `warning` says
    so. Both 95 %.
    """

    figure: str
    as_shown_c: float
    mean_c: float
    standard_uncertainty_c: float
    propagated_low_c: float
    propagated_high_c: float
    low_c: float
    high_c: float
    warning: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SimulatedLocationRecord:
    """A location in the simulation: its error's standard deviation [°C], two shares of the trials.

    `conforms`: in which it kept the limits; `decides`: in which it has the least margin of all.
    """

    location: str
    error_standard_c: float
    conforms: Maybe
    decides: Maybe


@dataclass(frozen=True, slots=True, kw_only=True)
class SimulationRecord:
    """The Monte Carlo over a window (JCGM 101): how it was run, and what came out."""

    trials: int
    converged: bool
    seed: int
    generator: str
    numerical_tolerance: float
    numerical_tolerance_c: float
    coverage: float
    sources: tuple[str, ...]
    figures: tuple[SimulatedFigureRecord, ...]
    locations: tuple[SimulatedLocationRecord, ...]
    all_conform: Maybe
    all_conform_high: Maybe
    all_conform_low: Maybe
    all_conform_if_independent: Maybe
    warning: str
    assumptions: str
    remark: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WhatIfRecord:
    """The hold with one thing changed: the location that then decides, its margin before and after the guard.

    Differences in °C. `decision` is that of the hold's limits, both sides.
    """

    change: str
    location: str
    margin_c: float
    guard_band_c: float
    guarded_margin_c: float
    decision: Decision
    conformance_probability: Maybe
    remark: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RiskRecord:
    """Global risks of the decision rule for one location's reading, under the plan's prior (JCGM 106).

    `consumer`: that a reading out of the limits is accepted; `producer`: that one within them is not.
    `standard_uncertainty_c` is the largest of the locations', `guard_band_c` the rule's with it.
    """

    prior_mean_c: float
    prior_standard_c: float
    prior_because: str
    standard_uncertainty_c: float
    guard_band_c: float
    consumer: float
    producer: float
    consumer_if_conditional: float
    """The consumer's risk where readings between guard band and limit are accepted too."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SeriesRecord:
    """One location of a window as a time series."""

    location: str
    autocorrelation: Maybe
    """Between neighbouring readings, the cycle left in [1]."""
    standard_error_c: Maybe
    """Of the mean, for an autocorrelated series [°C of difference]."""
    drift_standard_error_c_per_h: Maybe
    """Of the slope, consistent under autocorrelation (Newey–West), to compare with the drift's interval."""
    drift: str
    """The drift in plain words, with the half width of its interval."""
    steadiness: SteadinessTest | Absent


@dataclass(frozen=True, slots=True, kw_only=True)
class StatisticsRecord:
    """What was computed of a hold beyond its figures; locations in the order of the hold's."""

    series: tuple[SeriesRecord, ...]
    comparison: LocationComparison | Absent
    field: FieldEstimate | Absent
    risks: RiskRecord | Absent
    what_if: tuple[WhatIfRecord, ...] | Absent


@dataclass(frozen=True, slots=True, kw_only=True)
class ReplicateRecord:
    """Runs of one set point and what they say of runs to come; a row a location, a column a run [°C]."""

    stage: str
    setpoint_c: float
    limit_low_c: float | None
    limit_high_c: float | None
    runs: tuple[str, ...]
    locations: tuple[str, ...]
    mean_deviations_c: tuple[tuple[float | None, ...], ...]
    statistics: Replicates | Absent
    left_out: tuple[str, ...] = ()
    """Runs that the plan leaves out of the set, each with its reason."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SurveyRecord:
    """One hold of one recording: window, figures, requirements, doubts, verdict."""

    name: str
    recording: str
    hold: str
    stage: str
    verdict: Decision
    remarks: tuple[str, ...]
    """What stands beside the verdict: what it hangs on, what was left out and what it would be."""
    setpoint_c: float
    tolerance_c: float | None
    limit_low_c: float | None
    limit_high_c: float | None
    window: WindowRecord | Absent
    heat_start: str | None
    heat_start_s: Maybe
    heat_start_how: str
    hold_end_s: float
    hold_end: str | None
    hold_end_how: str
    starting_level_c: Maybe
    steady_s: Maybe
    entered_from: str
    reference_location: str | None
    chamber: ChamberRecord
    variants: tuple[VariantRecord, ...]
    locations: tuple[LocationRecord, ...]
    indications: tuple[IndicationRecord, ...]
    requirements: tuple[RequirementRecord, ...]
    doubts: tuple[Doubt, ...]
    uncertainty: UncertaintyRecord | Absent
    simulation: SimulationRecord | Absent
    statistics: StatisticsRecord | Absent
    loads: tuple[LoadRecord, ...] = ()
    heat: tuple[HeatRecord, ...] = ()
    exclusions: tuple[ExclusionRecord, ...] = ()
    """Every exclusion in the hold's recording, whether or not it lies in the hold."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StageTestRecord:
    """One test of a stage besides its surveys: what it asked, what was found, where and how it was done.

    `figures` are its numbers by name; `owed` says what must still be repeated.
    """

    name: str
    kind: str
    stage: str
    place: str
    simulated: bool
    owed: tuple[str, ...]
    verdict: Decision
    requirements: tuple[RequirementRecord, ...]
    figures: Mapping[str, Any]
    notes: tuple[str, ...] = ()
    doubts: tuple[Doubt, ...] = ()
    """Doubts about its recording."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StageRecord:
    """One stage: its surveys and tests, what is open and owed, and who accepted that the next one starts.

    `not_restored` are things changed for a test that nobody recorded as put back.
    """

    stage: str
    verdict: Decision
    surveys: tuple[str, ...]
    tests: tuple[StageTestRecord, ...]
    open_items: tuple[str, ...]
    owed: tuple[str, ...]
    not_restored: tuple[str, ...]
    proceeds_by: str
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class DeviationRecord:
    """Something for a person's disposition: a requirement not met, or the plan not followed."""

    id: str
    survey: str
    requirement: str | None
    kind: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DispositionRecord:
    """What a person wrote about a deviation, by its id."""

    id: str
    cause: str
    action: str
    by: str
    date: str | None
    closed: bool
    remark: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanRecord:
    """The plan's own words, as far as the pack prints them."""

    title: str
    number: str
    revision: str
    scope: str
    people: Mapping[str, Mapping[str, str]]
    oven: Mapping[str, str]
    instruments: tuple[Mapping[str, str], ...]
    work_zone: Mapping[str, Any] | None
    accept_conditional: bool
    from_options: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class CertificatePointRecord:
    """One calibration point as applied (°C), with its place in the certificates file."""

    channel: str
    sensor: str
    applies_to: str
    row: int
    temperature_c: float
    correction_c: float
    expanded_uncertainty_c: float | None
    coverage_factor: float | None
    file: str = ""
    number: str = ""
    laboratory: str = ""
    calibrated: str | None = None
    due: str | None = None
    of: str = ""
    type: str = ""
    junction: str = ""
    spool: str = ""
    sample: str = ""
    immersion_mm: float | None = None
    highest_temperature_c: float | None = None
    uses: int | None = None
    hours: float | None = None
    class_shown: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """The whole result of one run."""

    schema: int
    software: Mapping[str, Any]
    made_at: str
    units: str
    settings: Mapping[str, Any]
    replaces: str | None
    inputs: tuple[InputRecord, ...]
    plan: PlanRecord
    verdict: Decision
    surveys: tuple[SurveyRecord, ...]
    replicates: tuple[ReplicateRecord, ...]
    """Set points that several recordings of one stage hold."""
    stages: tuple[StageRecord, ...] = ()
    """Stages that hold more than surveys; empty where a plan holds surveys only."""
    certificates: tuple[CertificatePointRecord, ...]
    deviations: tuple[DeviationRecord, ...]
    dispositions: tuple[DispositionRecord, ...] = ()
    conditions: Mapping[str, str]
    steps: tuple[str, ...]
    cautions: tuple[str, ...]


def plain(value: Any) -> Any:
    """Turn a record, or a part of it, into what JSON can hold; absent figures get their `_why`."""
    if isinstance(value, Absent):
        return None
    if is_dataclass(value) and not isinstance(value, type):
        result: dict[str, Any] = {}
        for item in fields(value):
            content = getattr(value, item.name)
            result[item.name] = plain(content)
            if isinstance(content, Absent):
                result[f"{item.name}_why"] = content.reason
        return result
    if isinstance(value, Mapping):
        return {str(key): plain(content) for key, content in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(content) for content in value]
    if isinstance(value, StrEnum):
        return value.value
    if hasattr(value, "tolist"):
        return _numbers(value.tolist())
    return value


def _numbers(values: Any) -> Any:
    """An array's values; where an array holds NaN there is no number."""
    if isinstance(values, list):
        return [_numbers(value) for value in values]
    return None if isinstance(values, float) and math.isnan(values) else values


def to_json(record: Record) -> str:
    """Write the record as strict JSON: no NaN, keys in schema order, one trailing line feed."""
    return json.dumps(plain(record), ensure_ascii=False, allow_nan=False, indent=1) + "\n"
