"""Whether the tests of the stages can begin: challenges, what they change, who sees what they answer."""

from __future__ import annotations

from collections.abc import Iterator

from qualify.plan.model import Plan
from qualify.plan.stage_tests import Challenge, Moved, Restores
from qualify.stages.readiness_points import Point, listed, missing, note, ready


def stage_tests(plan: Plan) -> Iterator[Point]:
    """Points about challenges and other tests; none where the plan has none.

    Parameters
    ----------
    plan
        The plan, before its tests.
    """
    for challenge in plan.challenges:
        yield from _challenge(challenge)
    yield from _changed(plan)
    seen = [
        f"{item.name}: {answer.name}"
        for item in plan.challenges
        for answer in item.answers
        if answer.channel is None
    ]
    if seen and not plan.operation.observed:
        yield missing(
            "answers to be seen",
            f"the plan names no sheet for {listed(seen)}",
            "An answer that nobody wrote down is not shown.",
            "write it by `qualify sheets observed PLAN --out FILE`, and name it below [operation] observed.",
        )
    owed = [
        f"{item.name}: {words}"
        for item in (*plan.challenges, *plan.operation_tests)
        for words in item.circumstances.owed
    ]
    if owed:
        yield note("owed afterwards", listed(owed))


def _challenge(challenge: Challenge) -> Iterator[Point]:
    about = f"challenge '{challenge.name}'"
    driven = "upwards" if challenge.rising else "downwards"
    moved = "the limit is moved to the process" if challenge.moved is Moved.LIMIT else "the process is moved"
    found = ready(about, f"{len(challenge.answers)} to answer; {moved}, {driven}")
    if challenge.kind == "over-temperature" and challenge.restores is not Restores.BY_HAND:
        found = note(
            about,
            "the plan doesn't ask that it stays off until it is reset by hand",
            "An excess-temperature limit that restores by itself is not one.",
            'add restores = "by hand", unless this is another kind of device.',
        )
    yield found


def _changed(plan: Plan) -> Iterator[Point]:
    about = "return to service"
    if plan.restore.planned:
        count = len(plan.restore.planned)
        yield ready(about, f"{count} change{'s' * (count != 1)} listed, to be recorded as restored")
        return
    moved = [item.name for item in plan.challenges if item.moved is Moved.LIMIT]
    simulated = [
        item.name for item in (*plan.challenges, *plan.operation_tests) if item.circumstances.simulated
    ]
    changing = list(dict.fromkeys([*moved, *simulated]))
    if changing:
        yield missing(
            about,
            f"the plan lists nothing that must be put back after {listed(changing)}",
            "A limit left lowered, a wire or a bypass left in place defeats a protection.",
            "list every change below [return_to_service] changed before the tests start.",
        )
