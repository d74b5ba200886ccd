"""Requirements of a hold: the evidence of each location, held against its limit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from qualify.decisions import Claim, Limit, Rule, decide, other_rules
from qualify.figures.absent import Absent, Maybe, present
from qualify.figures.instants import mean_interval, recording_interval
from qualify.findings import nearest
from qualify.plan.figures import REQUIRABLE, VARIANT, requirable
from qualify.plan.model import Acceptance, Location, Plan, Requirement
from qualify.plan.profile import Ask, Kind
from qualify.readings.model import FloatArray
from qualify.record import Decision, LocationRecord, RequirementRecord
from qualify.sensors.corrections import Correction
from qualify.stages.hold_figures import HoldFigures
from qualify.stages.hold_response import time_to_band
from qualify.stages.reading_budget import reading_budget
from qualify.stages.stretch import Stretch
from qualify.standards import STANDINGS, UNCONFIRMED, citation
from qualify.standards.classes import ClassLimits, variant_rows
from qualify.units import difference_from_c, difference_to_c

GUARDED_BY_U = ("overshoot", "undershoot", "high_excess", "time_to_band")
"""The plan's figures that U of one reading guards; differences of readings share its larger part."""

LEAST_SHARE = 0.95
"""A location with a smaller share of its readings shows nothing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """A requirement as asked: who asks it, what it is about, how it is to be decided."""

    acceptance: Acceptance
    id: str = ""
    text: str = ""
    figure: str = ""
    low: float | None = None
    high: float | None = None
    tolerance: float | None = None
    other_side: float | None = None
    """The limit on the other side of the band, where this requirement is about one side of it."""
    is_time: bool = False
    """Whether the figure is a time or a bare number: then nothing is turned into °C."""
    citation: str = ""
    standing: str = ""
    obstacle: str | None = None
    """Why the requirement can't be decided at all, such as an unconfirmed limit."""


class Court:
    """Decides the requirements of one hold.

    Parameters
    ----------
    plan, stretch, figures
        The plan, the hold in its recording, and the hold's figures.
    left_out
        Locations whose evidence is left out, to see what the verdict would be without them.
    """

    def __init__(
        self, plan: Plan, stretch: Stretch, figures: HoldFigures, left_out: frozenset[str] = frozenset()
    ) -> None:
        self.plan = plan
        self.stretch = stretch
        self.figures = figures
        self.columns = [
            column for column, location in enumerate(figures.locations) if location.location not in left_out
        ]
        window = stretch.found.window
        self.expected = 0
        if not isinstance(window, Absent):
            self.expected = expected_readings(
                stretch.trace.seconds,
                window.start_s,
                window.end_s,
                window.last + 1 - window.first,
                united=stretch.readings.recording.interpolated is not None,
            )
        self.evidence = [self._evidence(column) for column in self.columns]

    def without(self, left_out: frozenset[str]) -> Court:
        """The same court without the evidence of some locations."""
        return Court(self.plan, self.stretch, self.figures, left_out)

    def decide_all(self, classes: Sequence[ClassLimits]) -> tuple[RequirementRecord, ...]:
        """Decide every requirement of the hold: its limits, its classes, the plan's own."""
        hold = self.stretch.found.hold
        records: list[RequirementRecord] = []
        if hold.low is not None and hold.high is not None:
            rule = self.plan.acceptance or self._guarded_where_known()
            records += self._band("", hold.low, hold.high, Asked(acceptance=rule))
        for limits in classes:
            records += self._class(limits)
        for requirement in (*self.plan.requirements, *hold.requirements):
            if not requirement.holds or hold.name in requirement.holds:
                records.append(self._planned(requirement))
        if hold.profile is not None:
            records += [self._gone(ask) for ask in hold.profile.of(Kind.GONE)]
            records += [self._trend(ask) for ask in hold.profile.of(Kind.TREND) if ask.obstacle is None]
        return tuple(records)

    # ---- what a profile asks besides figures ----

    def _gone(self, ask: Ask) -> RequirementRecord:
        """A row that the profile names and the tables lack: nothing is shown of it."""
        asked = Asked(acceptance=Acceptance.SIMPLE, id=ask.id, text=ask.text, figure="missing row")
        return self._record(asked, [Claim(value=Absent(ask.obstacle or "the row is missing"))])

    def _trend(self, ask: Ask) -> RequirementRecord:
        limits = self.stretch.limits
        asked = Asked(acceptance=Acceptance.SIMPLE, id=ask.id, citation=ask.citation, standing=ask.standing)
        if limits.low_c is None or limits.high_c is None:
            reason = Absent("no limits are set that a location could trend towards")
            return self._record(
                replace(asked, text=ask.text, figure="locations_trending"), [Claim(value=reason)]
            )
        return self._no_trend(asked, limits.low_c, limits.high_c)

    def _guarded_where_known(self) -> Acceptance:
        known = any(present(item.expanded_uncertainty_c) for item in self.figures.locations)
        return Acceptance.GUARDED if known or self.plan.certificates is not None else Acceptance.SIMPLE

    # ---- the uniformity limits ----

    def _band(
        self, prefix: str, low: float, high: float, asked: Asked, judged: str = "all"
    ) -> list[RequirementRecord]:
        columns = self.columns
        if judged == "reference":
            reference = self.stretch.assigned.reference
            columns = [column for column in self.columns if column == reference]
        whose = "the reference location's" if judged == "reference" else "every"
        unit = self.plan.units.value
        records = []
        for side, figure, bound in (("upper", "deviation_max_c", high), ("lower", "deviation_min_c", low)):
            shown = difference_from_c(bound, self.plan.units)
            word = "above" if side == "upper" else "below"
            records.append(
                self._record(
                    replace(
                        asked,
                        id=f"{prefix}{side}",
                        text=f"{whose} corrected reading in the window not {word} "
                        f"set point {shown:+.5g} {unit}",
                        figure=figure,
                        high=shown if side == "upper" else None,
                        low=shown if side == "lower" else None,
                        tolerance=difference_from_c(high - low, self.plan.units) / 2,
                        other_side=difference_from_c(low if side == "upper" else high, self.plan.units),
                    ),
                    self._deviations(columns, figure)
                    or [Claim(value=Absent("there is no reference location"))],
                )
            )
        return records

    def _class(self, limits: ClassLimits) -> list[RequirementRecord]:
        asked = Asked(
            acceptance=self.plan.acceptance or Acceptance.SIMPLE,
            citation=limits.citation,
            standing=limits.standing,
            obstacle=limits.obstacle,
        )
        if limits.half_width_c is None:
            reason = Absent(limits.obstacle or "the class gives no limit")
            empty = replace(asked, id=limits.id, text=f"uniformity {limits.choice}", figure="deviation_max_c")
            return [self._record(empty, [Claim(value=reason)])]
        records = self._band(f"{limits.id}-", -limits.half_width_c, limits.half_width_c, asked, limits.judged)
        if limits.trend_is_nonconformity:
            setpoint = self.stretch.found.hold.setpoint
            width = limits.half_width_c
            trend = replace(asked, id=f"{limits.id}-trend")
            records.append(self._no_trend(trend, setpoint - width, setpoint + width))
        return records

    def _no_trend(self, asked: Asked, low_c: float, high_c: float) -> RequirementRecord:
        trending = self.trending(low_c, high_c)
        names = ", ".join(trending)
        return self._record(
            replace(
                asked,
                text="no location still trends towards a limit that the next soak would reach",
                figure="locations_trending",
                high=0.0,
                is_time=True,
            ),
            [Claim(value=float(len(trending)), location=trending[0] if trending else None)],
            unit="1",
            note=f"still trending: {names}" if names else "",
        )

    def trending(self, low_c: float | None, high_c: float | None) -> list[str]:
        """Locations whose drift is significant and would reach a limit [°C] within the next soak."""
        hold, window = self.stretch.found.hold, self.figures.window
        if isinstance(window, Absent) or low_c is None or high_c is None:
            return []
        names = []
        for column in self.columns:
            item = self.figures.locations[column]
            slope, low, high = item.drift_c_per_h, item.drift_low_c_per_h, item.drift_high_c_per_h
            if not (present(slope) and present(low) and present(high) and present(item.mean_c)):
                continue
            if low <= 0.0 <= high:
                continue
            half_h = (window.last_s - window.first_s) / 7200.0
            ends_at = item.mean_c + slope * half_h
            goes_to = ends_at + slope * hold.soak_minutes / 60.0
            if (slope > 0 and ends_at <= high_c < goes_to) or (slope < 0 and ends_at >= low_c > goes_to):
                names.append(item.location)
        return names

    # ---- the plan's own requirements ----

    def _planned(self, requirement: Requirement) -> RequirementRecord:
        figure = requirement.figure
        mirrored = {"overshoot": "undershoot", "undershoot": "overshoot"}
        passed_over = "overshoot" if self.stretch.found.entered_from_below else "undershoot"
        if figure in mirrored and figure != passed_over:
            # A hold entered from the other side passes the set point on the other side.
            figure = mirrored[figure]
        about = requirable(figure)
        if about.is_probability:
            return self._probability(requirement, about.text)
        limit = requirement.at_most
        assert limit is not None
        rule = self.plan.acceptance or self._guarded_where_known()
        asked = Asked(
            id=requirement.id,
            text=requirement.text or about.text,
            figure=about.field,
            acceptance=rule if figure in GUARDED_BY_U else Acceptance.SIMPLE,
            high=limit if about.is_time else difference_from_c(limit, self.plan.units),
            is_time=about.is_time,
            citation=requirement.citation,
            standing=requirement.standing,
        )
        if requirement.citation and self.plan.acceptance is None:
            # A document's limit is held by simple acceptance; no guard is added to it unasked.
            asked = replace(asked, acceptance=Acceptance.SIMPLE)
        if figure.startswith(VARIANT):
            return self._variant(requirement, asked)
        return self._record(asked, self._claims(figure, about.field))

    def _probability(self, requirement: Requirement, text: str) -> RequirementRecord:
        """Judge the joint decision: the simulated probability that all watched locations conformed."""
        asked = Asked(
            acceptance=Acceptance.SIMPLE,
            id=requirement.id,
            text=requirement.text or text,
            figure="conformance_probability",
            low=requirement.at_least,
            is_time=True,
        )
        claim = Claim(
            value=self.figures.chamber.conformance_probability,
            obstacle=self._any_obstacle(),
            shortfall=self._any_shortfall(),
        )
        return self._record(asked, [claim], unit="1")

    def _variant(self, requirement: Requirement, asked: Asked) -> RequirementRecord:
        """Judge a figure by a document's own definition."""
        wanted = requirement.figure.removeprefix(VARIANT)
        known = variant_rows()
        row = next((row for row in known if row["id"] == wanted), None)
        if row is None:
            near = nearest(wanted, [row["id"] for row in known])
            reason = f"there is no figure '{wanted}' in the table of documents' own figures{near}"
            return self._record(asked, [Claim(value=Absent(reason))])
        text = f"{row['document']} {row['name']}: {row['formula']}"
        asked = replace(
            asked,
            text=requirement.text if requirement.text and not requirement.citation else text,
            citation=requirement.citation or f"limit: the plan; definition: {citation(row)}",
            standing=requirement.standing or row["standing"],
        )
        if row["standing"] in UNCONFIRMED and wanted not in self.plan.confirmed:
            obstacle = (
                f"the definition is {STANDINGS[row['standing']]}; confirm it in a licensed copy and add "
                f'"{wanted}" to `confirmed` in the plan'
            )
            asked = replace(asked, obstacle=obstacle, standing=row["standing"])
        elif row.get("lowest"):
            asked = replace(asked, obstacle="a lower extreme is not limited from above: set the hold's low")
        found = next(
            item
            for item in self.figures.variants
            if (item.document, item.name) == (row["document"], row["name"])
        )
        claim = Claim(
            value=self._shown(found.value_c),
            location=found.location,
            obstacle=self._any_obstacle(),
            shortfall=self._any_shortfall(),
        )
        return self._record(asked, [claim])

    def _claims(self, figure: str, field: str) -> list[Claim]:
        if figure in ("overshoot", "undershoot"):
            return [self._peak(column, figure) for column in self.columns]
        if figure == "stability":
            return [
                Claim(
                    value=self._shown(item.stability_c),
                    location=item.location,
                    obstacle=evidence.obstacle,
                    shortfall=evidence.shortfall,
                )
                for item, evidence in zip(self._records(), self.evidence, strict=True)
            ]
        value: Maybe = getattr(self.figures.chamber, field, Absent("no figure of the chamber"))
        if figure == "indication_error":
            return self._indications()
        if figure == "high_excess":
            return [self._excess(value)]
        if figure == "time_to_band":
            return [self._time_to_band(value)]
        if REQUIRABLE[figure].is_time:
            return [Claim(value=value)]
        return [
            Claim(value=self._shown(value), obstacle=self._any_obstacle(), shortfall=self._any_shortfall())
        ]

    def _indications(self) -> list[Claim]:
        """Mean error of every display, without sign, against the corrected reading beside its sensor."""
        claims = [
            Claim(
                value=self._shown(
                    item.error_mean_c if isinstance(item.error_mean_c, Absent) else abs(item.error_mean_c)
                ),
                location=item.channel,
                obstacle=self._any_obstacle(),
                shortfall=self._any_shortfall(),
            )
            for item in self.figures.indications
        ]
        return claims or [Claim(value=Absent("the plan names no display (role controller or recorder)"))]

    def _peak(self, column: int, figure: str) -> Claim:
        """Overshoot or undershoot of a location, with the uncertainty of the reading it rests on."""
        item = self.figures.locations[column]
        value = item.overshoot_c if figure == "overshoot" else item.undershoot_c
        if isinstance(value, Absent):
            return Claim(value=value, location=item.location)
        found = self.stretch.found
        values_c = self.stretch.readings.corrected_c[found.begin : found.end + 1, column]
        peak = np.nanargmax(values_c) if figure == "overshoot" else np.nanargmin(values_c)
        instant = found.begin + int(peak)
        return Claim(
            value=self._shown(value),
            expanded_uncertainty=self._uncertainty_at(column, instant),
            standard_uncertainty=self._uncertainty_at(column, instant, expanded=False),
            location=item.location,
            time_s=float(self.stretch.trace.seconds[instant]),
            obstacle=self._uncalibrated_at(column, instant) if value > 0 else None,
            shortfall=self._hold_shortfall(column),
        )

    def _hold_shortfall(self, column: int) -> str | None:
        """Why a location's readings from heat start to the hold's end are too few, or None."""
        found, seconds = self.stretch.found, self.stretch.trace.seconds
        rows = slice(found.begin, found.end + 1)
        there = int((~np.isnan(self.stretch.readings.corrected_c[rows, column])).sum())
        share = there / expected_readings(
            seconds,
            float(seconds[found.begin]),
            float(seconds[found.end]),
            found.end + 1 - found.begin,
            united=self.stretch.readings.recording.interpolated is not None,
        )
        if share >= LEAST_SHARE:
            return None
        return f"the location has only {share:.1%} of its readings in the hold"

    def _any_hold_shortfall(self) -> str | None:
        found = (self._hold_shortfall(column) for column in self.columns)
        return next((reason for reason in found if reason is not None), None)

    def _excess(self, value: Maybe) -> Claim:
        if isinstance(value, Absent) or self.figures.excess_at is None:
            return Claim(value=value)
        instant, sensor = self.figures.excess_at
        names = self.stretch.readings.locations
        is_location = sensor < len(names)
        displays = self.stretch.assigned.displays
        return Claim(
            value=self._shown(value),
            expanded_uncertainty=self._uncertainty_at(sensor, instant) if is_location else None,
            standard_uncertainty=(
                self._uncertainty_at(sensor, instant, expanded=False) if is_location else None
            ),
            location=names[sensor] if is_location else displays[sensor - len(names)].channel,
            time_s=float(self.stretch.trace.seconds[instant]),
            obstacle=self._uncalibrated_at(sensor, instant) if is_location else None,
            shortfall=self._any_hold_shortfall(),
        )

    def _time_to_band(self, value: Maybe) -> Claim:
        """Time to band; its uncertainty is what it grows by when the limits are drawn in by U."""
        guard_c = np.array(
            [
                item.expanded_uncertainty_c if present(item.expanded_uncertainty_c) else 0.0
                for item in self.figures.locations
            ]
        )
        if isinstance(value, Absent) or not guard_c.any():
            return Claim(value=value, obstacle=self._any_obstacle(), shortfall=self._any_hold_shortfall())
        guarded = time_to_band(self.stretch, guard_c)
        grows = guarded - value if present(guarded) else float("inf")
        return Claim(
            value=value,
            expanded_uncertainty=grows,
            obstacle=self._any_obstacle(),
            shortfall=self._any_hold_shortfall(),
        )

    # ---- evidence ----

    def _records(self) -> list[LocationRecord]:
        return [self.figures.locations[column] for column in self.columns]

    def _evidence(self, column: int) -> Claim:
        """What speaks against a location's readings in the window, before any figure."""
        window = self.stretch.found.window
        item = self.figures.locations[column]
        if isinstance(window, Absent) or isinstance(self.figures.window, Absent):
            return Claim(value=Absent("no assessment window"), location=item.location)
        rows = slice(window.first, window.last + 1)
        readings = self.stretch.readings
        obstacle = shortfall = None
        uncalibrated = ~readings.calibrated[rows, column]
        if np.any(uncalibrated & ~np.isnan(readings.raw_c[rows, column])):
            obstacle = "a reading in the window lies beyond the points of its certificate"
        share = item.readings / self.expected
        if share < LEAST_SHARE:
            shortfall = f"the location has only {share:.1%} of its readings in the window"
        elif not window.filled:
            shortfall = "the record does not fill the window"
        return Claim(value=0.0, location=item.location, obstacle=obstacle, shortfall=shortfall)

    def _any_obstacle(self) -> str | None:
        return next((item.obstacle for item in self.evidence if item.obstacle is not None), None)

    def _any_shortfall(self) -> str | None:
        return next((item.shortfall for item in self.evidence if item.shortfall is not None), None)

    def _deviations(self, columns: list[int], figure: str) -> list[Claim]:
        window = self.stretch.found.window
        values = [getattr(self.figures.locations[column], figure) for column in columns]
        numbers = [value for value in values if present(value)]
        best = (max if figure == "deviation_max_c" else min)(numbers, default=None)
        claims = []
        for column, evidence in zip(self.columns, self.evidence, strict=True):
            if column not in columns:
                continue
            item = self.figures.locations[column]
            value: Maybe = getattr(item, figure)
            time_s = None
            if present(value) and value == best and not isinstance(window, Absent):
                values_c = self.stretch.readings.corrected_c[window.first : window.last + 1, column]
                extreme = item.max_c if figure == "deviation_max_c" else item.min_c
                time_s = float(self.stretch.trace.seconds[window.first + int(np.argmax(values_c == extreme))])
            claims.append(
                Claim(
                    value=self._shown(value),
                    expanded_uncertainty=self._shown_number(item.expanded_uncertainty_c),
                    standard_uncertainty=self._shown_number(item.standard_uncertainty_c),
                    location=item.location,
                    time_s=time_s,
                    obstacle=evidence.obstacle,
                    shortfall=evidence.shortfall,
                )
            )
        return claims

    def _shown(self, value: Maybe) -> Maybe:
        """A difference in the plan's unit, in which it is compared."""
        return difference_from_c(value, self.plan.units) if present(value) else value

    def _shown_number(self, value: Maybe) -> float | None:
        return difference_from_c(value, self.plan.units) if present(value) else None

    def _uncertainty_at(self, column: int, instant: int, *, expanded: bool = True) -> float | None:
        found = self.stretch.budget_of(column, slice(instant, instant + 1))
        if isinstance(found, Absent):
            return None
        return difference_from_c(found.expanded_c if expanded else found.standard_c, self.plan.units)

    def _uncalibrated_at(self, column: int, instant: int) -> str | None:
        if self.stretch.readings.calibrated[instant, column]:
            return None
        return "the reading that decides lies beyond the points of its certificate"

    # ---- the record ----

    def _record(
        self, asked: Asked, claims: list[Claim], *, unit: str = "", note: str = ""
    ) -> RequirementRecord:
        if asked.obstacle is not None:
            claims = [replace(claim, obstacle=asked.obstacle) for claim in claims]
        limit = Limit(low=asked.low, high=asked.high, other_side=asked.other_side)
        if asked.low is None and asked.high is None:
            limit = Limit(high=0.0)  # never compared: the claims hold no value
        rule = rule_of(self.plan, asked.acceptance)
        share, tolerance = self.plan.uncertainty_share, asked.tolerance
        decided = decide(claims, limit, rule, uncertainty_share=share, tolerance=tolerance)
        others = other_rules(claims, limit, rule, uncertainty_share=share, tolerance=tolerance)
        back = (lambda value: value) if asked.is_time else self._back_to_c
        recording = self.stretch.readings.recording
        guard = decided.guard_band
        return RequirementRecord(
            id=asked.id,
            text=asked.text,
            figure=asked.figure,
            value=back(decided.value) if present(decided.value) else decided.value,
            unit=unit or ("s" if asked.is_time else "°C"),
            limit_low=None if asked.low is None else back(asked.low),
            limit_high=None if asked.high is None else back(asked.high),
            margin=back(decided.margin) if present(decided.margin) else decided.margin,
            acceptance=asked.acceptance.value,
            guard_band=None if guard is None or np.isinf(guard) else back(guard),
            decision=decided.decision,
            location=decided.location,
            time=None if decided.time_s is None else recording.iso(decided.time_s),
            time_s=decided.time_s,
            decided_by=decided.decided_by,
            note=note or decided.note,
            citation=asked.citation,
            standing=asked.standing,
            other_rules=tuple(
                item
                if item.guard_band is None
                else replace(item, guard_band=back(item.guard_band) if np.isfinite(item.guard_band) else None)
                for item in others
            ),
        )

    def _back_to_c(self, value: float) -> float:
        return difference_to_c(value, self.plan.units)


def expected_readings(
    seconds: FloatArray, start_s: float, end_s: float, there: int, *, united: bool = False
) -> int:
    """How many instants a stretch of the record should hold: at its usual interval, or those it holds.

    The usual interval is the median of the record; for instants of several loggers together, whose intervals
    alternate, the mean of those in the stretch that are no gap.

    Parameters
    ----------
    seconds : (n,) float64
        Instants of the record [s].
    start_s, end_s
        Edges of the stretch [s]; what lies outside the record is not counted.
    there
        Instants that it does hold.
    united
        Whether these are the instants of several loggers, with readings interpolated to them.
    """
    if seconds.size < 2:
        return there
    span_s = min(end_s, float(seconds[-1])) - max(start_s, float(seconds[0]))
    usual_s = recording_interval(seconds)
    if united:
        inside = seconds[(seconds >= start_s) & (seconds <= end_s)]
        usual_s = mean_interval(inside if inside.size > 2 else seconds)
    return max(there, int(span_s / usual_s + 1e-6))


def rule_of(plan: Plan, acceptance: Acceptance) -> Rule:
    """Give the decision rule of a kind, with the plan's own numbers."""
    return Rule(
        acceptance=acceptance,
        guard_factor=plan.guard_factor if acceptance is Acceptance.GUARDED else 1.0,
        least_probability=plan.least_probability if acceptance is Acceptance.PROBABILITY else 0.95,
    )


def column_verdict(
    stretch: Stretch, values_c: FloatArray, correction: Correction | None, plan: Plan
) -> Decision | None:
    """Decide the hold's limits on one ignored column, as if it were a location.

    Parameters
    ----------
    stretch
        The hold.
    values_c : (n,) float64
        Corrected readings of the column [°C]; its uncertainty is looked up at these.
    correction
        Its correction, where it has a certificate.
    plan
        The plan.

    Returns
    -------
    Decision or None
        None where there is no window or no limit.
    """
    window, setpoint = stretch.found.window, stretch.found.hold.setpoint
    low_c, high_c = stretch.limits.low_c, stretch.limits.high_c
    if isinstance(window, Absent) or low_c is None or high_c is None:
        return None
    values_c = values_c[window.first : window.last + 1]
    if np.isnan(values_c).all():
        return Decision.NOT_SHOWN
    found = reading_budget(plan.uncertainty, Location(name="", channel=""), correction, values_c)
    known = None if isinstance(found, Absent) else found
    acceptance = plan.acceptance or (Acceptance.GUARDED if known else Acceptance.SIMPLE)
    rule = rule_of(plan, acceptance)
    decisions = [
        decide(
            [
                Claim(
                    value=float(value) - setpoint,
                    expanded_uncertainty=None if known is None else known.expanded_c,
                    standard_uncertainty=None if known is None else known.standard_c,
                )
            ],
            limit,
            rule,
            uncertainty_share=plan.uncertainty_share,
            tolerance=(high_c - low_c) / 2,
        ).decision
        for value, limit in (
            (np.nanmax(values_c), Limit(high=high_c - setpoint, other_side=low_c - setpoint)),
            (np.nanmin(values_c), Limit(low=low_c - setpoint, other_side=high_c - setpoint)),
        )
    ]
    return Decision.worst(decisions)
