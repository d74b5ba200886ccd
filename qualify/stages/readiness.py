"""Whether a survey can begin: what the plan says, held against its certificates and documents, on a day."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date

from qualify.findings import Refusal, nearest
from qualify.plan.model import Plan
from qualify.plan.profile import Kind
from qualify.sensors.certificates import Certificates
from qualify.stages.readiness_certificates import certificates_of
from qualify.stages.readiness_points import Point, State, band_c, classes_of, listed, missing, note, ready
from qualify.stages.readiness_stages import stage_tests
from qualify.stages.readiness_zone import counts, locations, places
from qualify.standards import UNCONFIRMED, citation, rows
from qualify.standards.classes import confirmable_ids
from qualify.standards.counts import confirmable_counts
from qualify.standards.profiles import confirmable_rows
from qualify.units import difference_from_c


@dataclass(frozen=True, slots=True, kw_only=True)
class Readiness:
    """The list to take to the oven, and the day for which it holds."""

    on: date
    points: tuple[Point, ...]

    @property
    def ready(self) -> bool:
        """Whether nothing is missing."""
        return all(point.state is not State.MISSING for point in self.points)


def readiness(
    plan: Plan, on: date, certificates: Certificates | None, unreadable: Refusal | None = None
) -> Readiness:
    """Hold a plan against its certificates and documents, before there are readings.

    Parameters
    ----------
    plan
        The plan; its logger files need not exist.
    on
        The day of the survey.
    certificates
        What the plan's certificates files say; None without.
    unreadable
        Why they could not be read.
    """
    of_surveys: tuple[Callable[[], Iterator[Point]], ...] = (
        lambda: _limits(plan),
        lambda: locations(plan),
        lambda: counts(plan),
        lambda: places(plan),
        lambda: certificates_of(plan, on, certificates, unreadable),
        lambda: _intervals(plan),
    )
    checks: tuple[Callable[[], Iterator[Point]], ...] = (
        lambda: _people(plan, on),
        lambda: _confirmed(plan),
        *(of_surveys if plan.surveys else ()),
        lambda: stage_tests(plan),
        lambda: _instruments(plan, on),
        lambda: _conditions(plan),
    )
    return Readiness(on=on, points=tuple(point for check in checks for point in check()))


# ---- people and dates ----


def _people(plan: Plan, on: date) -> Iterator[Point]:
    about = "people"
    roles = {
        "author": plan.author,
        "reviewer": plan.reviewer,
        "approver": plan.approver,
        "surveyor": plan.surveyor,
    }
    absent = [role for role, person in roles.items() if person is None]
    if absent:
        yield missing(
            about,
            f"the plan names no {', no '.join(absent)}",
            "The record can't say who answers for it.",
            "name them below [plan], with the day.",
        )
    undated = [r for r, p in roles.items() if p is not None and p.date is None and r != "surveyor"]
    if undated:
        yield missing(
            about,
            f"without a day: {', '.join(undated)}",
            "That the plan was there before the readings can't be shown.",
            "add `date` beside the name.",
        )
    late = [r for r, p in roles.items() if p and p.date and p.date > on and r != "surveyor"]
    if late:
        yield missing(
            about,
            f"dated after the survey on {on.isoformat()}: {', '.join(late)}",
            "A plan approved after the first reading is a departure.",
            "have it approved before, or correct the date.",
        )
    if plan.surveyor is not None and plan.surveyor.date is not None and plan.surveyor.date != on:
        yield note(about, f"the surveyor's day in the plan is {plan.surveyor.date.isoformat()}")
    if not (absent or undated or late):
        yield ready(about, "author, reviewer, approver and surveyor are named and dated in time")


# ---- limits ----


def _confirmed(plan: Plan) -> Iterator[Point]:
    known = [*confirmable_ids(), *confirmable_counts(), *confirmable_rows(), *plan.own_confirmable]
    for name in plan.confirmed:
        if name not in known:
            yield missing(
                "confirmed rows",
                f"'{name}' is no row of a standard that needs to be confirmed{nearest(name, known)}",
                "What is meant stays unconfirmed.",
                "correct or take out the id below [plan] confirmed.",
            )


def _limits(plan: Plan) -> Iterator[Point]:
    for survey in plan.surveys:
        for hold in survey.holds:
            about = f"limits of {hold.name}"
            classes = classes_of(plan, hold)
            if hold.low is None and not classes and not hold.requirements:
                yield missing(
                    about,
                    "the hold has neither a tolerance nor a class",
                    "Without a limit its verdict is not shown.",
                    "give tolerance, or low and high, or a class.",
                )
            for limits in classes:
                if limits.obstacle is not None:
                    yield missing(
                        about,
                        f"{limits.choice}: {limits.obstacle}",
                        "Until that is settled its requirements are not shown.",
                        "settle it, or give the limits by number.",
                    )
            band = band_c(hold, classes)
            if band is not None and all(limits.obstacle is None for limits in classes):
                low, high = (f"{difference_from_c(side, plan.units):+.4g}" for side in band)
                own = [] if hold.low is None else ["the plan"]
                source = "; ".join([*own, *(limits.citation for limits in classes)])
                yield ready(about, f"{low} to {high} {plan.units.value} ({source})")


# ---- interval, instruments, conditions ----


def _intervals(plan: Plan) -> Iterator[Point]:
    about = "reading interval"
    for survey in plan.surveys:
        longest: list[tuple[float, str, bool]] = [
            (requirement.at_most, "the plan", True)
            for requirement in plan.requirements
            if requirement.figure == "recording_interval" and requirement.at_most is not None
        ]
        names = {item.document for hold in survey.holds for item in hold.classes}
        for row in rows("reading_intervals", "interval"):
            if row["document"] in names:
                decides = row["standing"] not in UNCONFIRMED or row["id"] in plan.confirmed
                longest.append((float(row["longest"]), citation(row), decides))
        cited = {source for _, source, _ in longest}
        for ask in (
            ask for hold in survey.holds if hold.profile is not None for ask in hold.profile.of(Kind.INTERVAL)
        ):
            if ask.value is not None and ask.citation not in cited:
                cited.add(ask.citation)
                longest.append((ask.value, ask.citation, ask.obstacle is None))
        asked = "; ".join(f"at most {limit:g} s asked for ({source})" for limit, source, _ in longest)
        if survey.interval_s is None:
            yield note(
                about,
                f"survey '{survey.name}' states none" + (f"; {asked}" if asked else ""),
                "Too long an interval can't be mended after the survey.",
                "set the logger, and write interval_s below [[surveys]].",
            )
            continue
        stated = f"{survey.interval_s:g} s in survey '{survey.name}'"
        too_long = [item for item in longest if survey.interval_s > item[0] + 1e-9]
        for limit, source, decides in too_long:
            text = f"{stated}; at most {limit:g} s asked for ({source})"
            why = "What rises and falls between two readings is not seen."
            todo = "set the logger to a shorter interval."
            if decides:
                yield missing(about, text, why, todo)
            else:
                yield note(about, f"{text}, from memory and not confirmed", why, todo)
        if not too_long:
            yield ready(about, f"{stated}; {asked}" if asked else stated)


def _instruments(plan: Plan, on: date) -> Iterator[Point]:
    about = "instruments"
    if not plan.instruments:
        yield note(
            about, "the plan names no instrument", "The logger's own certificate belongs to the record."
        )
    for instrument in plan.instruments:
        name = instrument.get("name", "an instrument")
        due = instrument.get("due", "")
        if not instrument.get("certificate", "").strip():
            yield missing(
                about,
                f"{name}: names no certificate",
                "A verdict that rests on it is at most conditional.",
                'write its number, or certificate = "none: reason".',
            )
        try:
            day = date.fromisoformat(due) if due else None
        except ValueError:
            day = None
            yield note(about, f"{name}: its due date '{due}' is no date such as 2026-03-02")
        if day is not None and day < on:
            yield missing(
                about,
                f"{name}: its certificate expired on {day.isoformat()}",
                "What it measures on the day is not covered.",
                "have it calibrated, or use another.",
            )
        elif day is not None:
            yield ready(about, f"{name}: due {day.isoformat()}")
        elif not due:
            yield note(about, f"{name}: no due date", todo="add `due`, or look at its certificate.")


def _conditions(plan: Plan) -> Iterator[Point]:
    about = "conditions"
    empty = [name for name, words in plan.conditions.items() if not words.strip()]
    if not plan.conditions:
        yield note(
            about,
            "the plan has no [conditions]",
            "What the survey was done under can't be repeated.",
            "write down load, door, damper, fan, ports, controller before the first reading.",
        )
    elif empty:
        yield note(
            about,
            f"to be written down at the oven: {listed(empty)}",
            "What the survey was done under can't be repeated without them.",
        )
    else:
        yield ready(about, "all conditions of the plan are written down")
