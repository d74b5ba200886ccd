"""Whether the sensors of a plan are enough, rightly placed and known."""

from __future__ import annotations

from collections.abc import Iterator

from qualify.plan.model import Plan
from qualify.plan.profile import Ask, Kind
from qualify.sensors.placement import NEAR_SHARE, Place, check_places
from qualify.stages.readiness_points import Point, listed, missing, note, ready
from qualify.standards.counts import documents_with_counts, required_count


def locations(plan: Plan) -> Iterator[Point]:
    """Tell whether each location has what it needs."""
    about = "locations"
    if not plan.locations:
        yield missing(
            about,
            "the plan names no location",
            "Every temperature channel would be judged, without a place.",
            "add [[locations]]; `qualify plan place --lines` writes them.",
        )
        return
    gaps = (
        (
            "sensor",
            [item.name for item in plan.locations if not item.sensor],
            "Its certificate can't be told, nor its history.",
            "write the sensor's number, as its certificate has it.",
        ),
        (
            "position",
            [item.name for item in plan.locations if item.position_mm is None],
            "Whether the work zone is covered can't be shown.",
            "measure it and write x_mm, y_mm and z_mm.",
        ),
    )
    for what, names, why, todo in gaps:
        if names:
            yield missing(about, f"without a {what}: {listed(names)}", why, todo)
    if not any(names for _, names, _, _ in gaps):
        count = len(plan.locations)
        yield ready(about, f"each of the {count} locations has its channel, sensor and position")


def _documents(plan: Plan) -> list[tuple[str, str, str]]:
    """Document, edition and class of every class and profile that a hold names, each once.

    Those of a user's own profile are left out: what they ask stands in the profile.
    """
    holds = [hold for survey in plan.surveys for hold in survey.holds]
    found = [
        (item.document, item.edition, item.name) for hold in holds for item in hold.classes if not item.rows
    ]
    profiles = [hold.profile.choice for hold in holds if hold.profile is not None]
    known = documents_with_counts()
    found += [
        (item.document, item.edition, item.name)
        for item in profiles
        if item.document in known and all(item.document != document for document, _, _ in found)
    ]
    return list(dict.fromkeys(found))


def _own_counts(plan: Plan) -> list[Ask]:
    """What profiles ask of the number of sensors by rows of their own."""
    known = documents_with_counts()
    return [
        ask
        for survey in plan.surveys
        for hold in survey.holds
        if hold.profile is not None and hold.profile.choice.document not in known
        for ask in hold.profile.of(Kind.SENSORS)
    ]


def counts(plan: Plan) -> Iterator[Point]:
    """Tell whether the locations are as many as the documents of the holds ask for."""
    about = "number of sensors"
    if plan.work_zone is None:
        yield missing(
            about,
            "the plan has no [work_zone]",
            "Neither the number of sensors nor their places can be checked without its size.",
            "measure it and write shape and size.",
        )
        return
    count, volume_l = len(plan.locations), plan.work_zone.volume_l
    documents = _documents(plan)
    own = {ask.id: ask for ask in _own_counts(plan)}
    for ask in own.values():
        text = f"{count} locations; {ask.shown or 'a number'} asked for ({ask.citation})"
        if ask.obstacle is not None or ask.value is None:
            yield note(about, text, ask.obstacle or "", "look it up in the document.")
        elif count < ask.value:
            todo = f"add {ask.value - count:g}; `qualify plan place` says where."
            yield missing(about, text, "The profile would not be kept.", todo)
        else:
            yield ready(about, text)
    if not documents and not own:
        yield note(about, f"{count} locations; no hold names a document that could ask for a number")
    for document, edition, name in documents:
        found = required_count(document, edition, name, volume_l, plan.confirmed)
        asked = f"{found.decides} asked for at {volume_l:.4g} L ({found.decides_citation})"
        if found.decides is not None and count < found.decides:
            yield missing(
                about,
                f"{count} locations; {asked}",
                "The survey would not be one to that document.",
                f"add {found.decides - count}; `qualify plan place` says where.",
            )
        elif found.decides is not None:
            yield ready(about, f"{count} locations; {asked}")
        if found.to_be_settled:
            stated = "" if found.count is None else f"{found.count} stated, but "
            yield note(
                about,
                f"{stated}{found.obstacle} ({found.citation})",
                "It decides nothing here until that is settled.",
                "look it up in the document.",
            )


def places(plan: Plan) -> Iterator[Point]:
    """Tell whether the positions are in the work zone, corners and centre among them."""
    about = "places of sensors"
    zone = plan.work_zone
    known = [Place(item.name, item.position_mm) for item in plan.locations if item.position_mm is not None]
    if zone is None or not known:
        return
    needed = [
        found
        for document, edition, name in _documents(plan)
        for found in [required_count(document, edition, name, zone.volume_l, plan.confirmed)]
        if found.corners_and_centre
    ]
    found = check_places(zone, known, corners_and_centre=len(known) >= 9)
    if found.outside:
        yield missing(
            about,
            f"outside the work zone: {listed(list(found.outside))}",
            "What is measured there says nothing of the zone.",
            "correct the position, or the zone's size.",
        )
    for one, other in found.together:
        yield missing(
            about,
            f"{one} and {other} stand at one place",
            "Two sensors at one place watch no more than one.",
            "correct one of the positions.",
        )
    if found.bare:
        text = f"no location within {NEAR_SHARE:g} of each dimension of: {listed(list(found.bare))}"
        why = "Corners are where a zone runs hottest or coldest most often."
        todo = "move a sensor there, or say in the scope why not."
        if needed:
            cited = needed[0].decides_citation
            yield missing(about, text, f"Corners and centre are asked for ({cited}). {why}", todo)
        else:
            yield note(about, text, why, todo)
    if not (found.outside or found.together or found.bare):
        corners = ", in every corner and the centre" if len(known) >= 9 else ""
        yield ready(about, f"{len(known)} positions in the work zone{corners}")
    if found.unwatched is not None:
        x, y, z = (f"{axis:.0f}" for axis in found.unwatched.position_mm)
        yield note(
            about,
            f"the point farthest from every location is x {x}, y {y}, z {z} mm: "
            f"{found.unwatched.radius_mm:.0f} mm from the nearest, {found.unwatched.nearest}",
            "Nothing is known of the temperature there.",
        )
