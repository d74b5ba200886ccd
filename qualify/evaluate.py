"""The one pipeline: a plan and the folder its paths start from → the evaluation."""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from importlib.metadata import distribution
from pathlib import Path
from typing import Any

from qualify import __version__
from qualify.cautions import SURVEY_CAUTIONS
from qualify.evidence import Evaluation, RecordingEvidence, StagesEvaluated
from qualify.findings import DoubtKind, RefusalKind, nearest
from qualify.inputs import InputFile, load
from qualify.plan.model import Person, Plan, Role, Survey
from qualify.readings import read_recording
from qualify.readings.model import Recording
from qualify.readings.progress import Progress, no_progress
from qualify.readings.told import as_plain, labelled
from qualify.record import (
    SCHEMA,
    CertificatePointRecord,
    Decision,
    DeviationRecord,
    DispositionRecord,
    InputRecord,
    PlanRecord,
    Record,
    SurveyRecord,
)
from qualify.sensors.certificate import normal_type
from qualify.sensors.certificate_class import class_in_words
from qualify.sensors.certificates import Certificates, merged, read_certificates
from qualify.stages.replicates import replicates
from qualify.stages.survey import run_survey
from qualify.standards.profiles import in_words as profiles_in_words
from qualify.standards.profiles import read_profiles, with_profiles

LIBRARIES = (
    *("numpy", "scipy", "pandas", "matplotlib", "openpyxl", "python-calamine"),
    *("charset-normalizer", "tzdata", "pint", "XlsxWriter", "typer"),
)

_MOST_NAMED = 10

Fetch = Callable[[Path, str], InputFile]

BAD_EPOCH = RefusalKind(
    "source-date-epoch",
    what="the environment's SOURCE_DATE_EPOCH is '{text}', which is no moment",
    why="It is to stand in the record as the moment at which it was made.",
    mend="set it to whole seconds since 1970, or unset it.",
)
NO_LOAD = RefusalKind(
    "load-nowhere",
    what="no recording of the plan has the load sensor '{name}'{near}",
    why="Its heat and its lag would be judged nowhere.",
    mend="correct the name; temperature channels are {known}.",
)
APPROVED_LATE = DoubtKind(
    "approved-late",
    "the plan was approved on {approved}, after the first reading on {first}",
)


def evaluate(
    plan: Plan,
    folder: Path,
    *,
    plan_file: InputFile | None = None,
    options: Mapping[str, Any] | None = None,
    replaces: str | None = None,
    fetch: Fetch = load,
    progress: Progress = no_progress,
) -> Evaluation:
    """Evaluate a plan.

    Parameters
    ----------
    plan
        The plan, from a file or from options.
    folder
        Where the plan's relative paths start.
    plan_file
        The plan as it was read; None for a plan from options.
    options
        The command's options as given, for the record.
    replaces
        Name of the data pack that this one replaces.
    fetch
        Loads a file by its path and role, once each, in the order in which the record lists the inputs.
    progress
        Is told the file that is being read, and the share of its rows that was.

    Raises
    ------
    Refusal
        If an input can't be used.
    """
    loaded: dict[Path, InputFile] = {}

    def once(name: str, role: str) -> InputFile:
        path = Path(os.path.normpath(folder / name))
        if path not in loaded:
            loaded[path] = with_own_name(fetch(path, role), loaded.values())
        return loaded[path]

    if plan_file is not None:
        loaded[plan_file.path] = plan_file
    certificates: Certificates | None = None
    if plan.certificates is not None:
        certificates = merged(
            [read_certificates(once(name, "certificates")) for name in plan.certificates.files]
        )
    own = [profile for name in plan.profiles for profile in read_profiles(once(name, "profile"))]
    plan = with_profiles(plan, own)
    records: list[SurveyRecord] = []
    deviations: list[DeviationRecord] = []
    recordings: list[RecordingEvidence] = []
    for survey in plan.surveys:
        files = {name: once(name, "readings") for name in survey.files}
        told = labelled(survey.loggers, files)
        recording = read_recording(list(files.values()), survey.read, told, progress)
        result = run_survey(plan, survey, recording, certificates, len(records))
        records += result.records
        deviations += _departures(plan, survey, recording)
        deviations += result.deviations
        recordings.append(result.evidence)
    _loads_are_somewhere(plan, recordings)
    moment = made_at()
    found = _stages(plan, folder, once, moment, progress, records)
    deviations += found.deviations
    numbered = tuple(
        replace(item, id=f"{'N' if item.kind == 'nonconformity' else 'D'}{number}")
        for number, item in enumerate(deviations, start=1)
    )
    disposed: tuple[DispositionRecord, ...] = ()
    if plan.dispositions:
        from qualify.evaluate_stages import read_back

        disposed = read_back(once(plan.dispositions, "dispositions"), numbered)
    inputs = tuple(loaded.values())
    every = [item.readings.recording for item in recordings]
    every += [item.recording for item in found.test_recordings]
    record = Record(
        schema=SCHEMA,
        software=_software(),
        made_at=moment,
        units=plan.units.value,
        settings=_settings(plan, every, options or {}),
        replaces=replaces,
        inputs=tuple(
            InputRecord(path=i.name, sha256=i.sha256, bytes=len(i.content), role=i.role) for i in inputs
        ),
        plan=_plan_record(plan),
        verdict=Decision.worst(
            [*(item.verdict for item in records), *(item.verdict for item in found.stages)]
        ),
        stages=found.stages,
        surveys=tuple(records),
        replicates=replicates(records, plan.statistics, plan.performance.left_out),
        certificates=_points(certificates, plan, recordings),
        deviations=numbered,
        dispositions=disposed,
        conditions=plan.conditions,
        steps=(
            *dict.fromkeys(
                (
                    *(step for item in recordings for step in _steps(item)),
                    *(step for item in found.test_recordings for step in item.recording.steps),
                )
            ),
            *_unused(certificates, recordings),
        ),
        cautions=SURVEY_CAUTIONS,
    )
    return Evaluation(
        record=record,
        recordings=tuple(recordings),
        inputs=inputs,
        challenges=found.challenges,
        purges=found.purges,
        test_recordings=found.test_recordings,
    )


def _stages(
    plan: Plan,
    folder: Path,
    once: Callable[[str, str], InputFile],
    moment: str,
    progress: Progress,
    surveys: list[SurveyRecord],
) -> StagesEvaluated:
    """What the stages hold besides surveys; nothing of it is loaded for a plan of surveys alone."""
    stages = (plan.installation, plan.operation, plan.performance)
    if not (
        plan.challenges
        or plan.operation_tests
        or plan.restore.planned
        or any(item.records for item in stages)
    ):
        return StagesEvaluated()
    from qualify.evaluate_stages import evaluate_stages

    return evaluate_stages(plan, folder, once, moment, progress, surveys)


def _loads_are_somewhere(plan: Plan, recordings: list[RecordingEvidence]) -> None:
    """Refuse a load sensor that no recording has: most likely its name is misspelt."""
    known = [channel for item in recordings for channel in item.readings.recording.channels]
    for role in plan.channels:
        if role.role is Role.LOAD and not any(channel.is_called(role.channel) for channel in known):
            names = list(dict.fromkeys(channel.name for channel in known))
            raise NO_LOAD(name=role.channel, near=nearest(role.channel, names), known=", ".join(names))


def made_at() -> str:
    """The moment that the record carries: SOURCE_DATE_EPOCH where set, else now; UTC, whole seconds."""
    epoch = os.environ.get("SOURCE_DATE_EPOCH")
    try:
        moment = datetime.fromtimestamp(int(epoch), UTC) if epoch else datetime.now(UTC)
    except (ValueError, OverflowError, OSError):
        raise BAD_EPOCH(text=epoch) from None
    return moment.replace(microsecond=0).isoformat().replace("+00:00", "Z")


def with_own_name(file: InputFile, others: Iterable[InputFile]) -> InputFile:
    """Give a file a name of its own among the inputs: a second survey.csv becomes survey-2.csv."""
    taken = {other.name for other in others}
    name, number = file.path.name, 1
    while name in taken:
        number += 1
        name = f"{file.path.stem}-{number}{file.path.suffix}"
    return replace(file, name=name)


def _software() -> dict[str, Any]:
    return {
        "name": "qualify",
        "version": __version__,
        "python": ".".join(str(part) for part in sys.version_info[:3]),
        "libraries": {name: _version(name) for name in LIBRARIES},
    }


def _version(library: str) -> str:
    """An installed library's version; `importlib.metadata.version` imports a parser of mail for it."""
    metadata = distribution(library).read_text("METADATA") or ""
    found = re.search(r"^Version: (.+)$", metadata, re.MULTILINE)
    return found[1].strip() if found is not None else distribution(library).version


def _settings(plan: Plan, recordings: Sequence[Recording], options: Mapping[str, Any]) -> dict[str, Any]:
    layouts: dict[str, Any] = {}
    for recording in recordings:
        layouts |= {name: dict(words) for name, words in recording.layouts.items()}
    return {
        "options": dict(options),
        "acceptance": "guarded where certificates give an uncertainty"
        if plan.acceptance is None
        else plan.acceptance.value,
        "uncertainty_share": plan.uncertainty_share,
        "confirmed": list(plan.confirmed),
        "holds": {
            hold.name: {
                "soak_minutes": hold.soak_minutes,
                "steady_minutes": hold.steady_minutes,
                "steady_within_c": hold.steady_within,
                "start": hold.start,
                "minutes": hold.minutes,
                "heat_start": hold.heat_start,
                "door_closed": hold.door_closed,
            }
            for survey in plan.surveys
            for hold in survey.holds
        },
        **({"profiles": taken} if (taken := profiles_in_words(plan)) else {}),
        "channels": [
            {"channel": role.channel, "role": role.role.value, "beside": role.beside, "reason": role.reason}
            for role in plan.channels
        ],
        "layouts": layouts,
        "read": {
            survey.name: {
                "all files": as_plain(survey.read),
                **{name: as_plain(told) for name, told in survey.loggers.items()},
            }
            for survey in plan.surveys
        },
    }


def _plan_record(plan: Plan) -> PlanRecord:
    people: dict[str, Person | None] = {
        "author": plan.author,
        "reviewer": plan.reviewer,
        "approver": plan.approver,
        "surveyor": plan.surveyor,
    }
    zone = plan.work_zone
    return PlanRecord(
        title=plan.title,
        number=plan.number,
        revision=plan.revision,
        scope=plan.scope,
        people={
            role: {"name": person.name, "date": person.date.isoformat() if person.date else ""}
            for role, person in people.items()
            if person is not None
        },
        oven=plan.oven,
        instruments=plan.instruments,
        work_zone=None
        if zone is None
        else {
            "shape": zone.shape,
            "width_mm": zone.width_mm,
            "depth_mm": zone.depth_mm,
            "height_mm": zone.height_mm,
            "volume_l": zone.volume_l,
        },
        accept_conditional=plan.accept_conditional,
        from_options=plan.from_options,
    )


def _points(
    certificates: Certificates | None, plan: Plan, recordings: list[RecordingEvidence]
) -> tuple[CertificatePointRecord, ...]:
    """Every calibration point, with the class that the points of one that corrects a location show."""
    types = {location.name: normal_type(location.sensor_type) for location in plan.locations}
    classes: dict[int, str] = {}
    for recording in recordings:
        readings = recording.readings
        for name, correction in zip(readings.locations, readings.corrections, strict=True):
            for step in correction.steps if correction is not None else ():
                for item in step.certificates:
                    if id(item) not in classes:
                        classes[id(item)] = class_in_words(item, item.type or types.get(name, ""))
    return tuple(
        CertificatePointRecord(
            channel=point.channel,
            sensor=point.sensor,
            applies_to=point.of,
            row=point.row,
            temperature_c=point.temperature_c,
            correction_c=point.correction_c,
            expanded_uncertainty_c=point.expanded_uncertainty_c,
            coverage_factor=point.coverage_factor,
            file=item.file,
            number=item.number,
            laboratory=item.laboratory,
            calibrated=None if item.calibrated is None else item.calibrated.isoformat(),
            due=None if item.due is None else item.due.isoformat(),
            of=item.of,
            type=item.type,
            junction=item.junction,
            spool=item.spool,
            sample=item.sample,
            immersion_mm=item.immersion_mm,
            highest_temperature_c=item.heat.highest_c,
            uses=item.heat.uses,
            hours=item.heat.hours,
            class_shown=classes.get(id(item), ""),
        )
        for item in (certificates.certificates if certificates else ())
        for point in item.points
    )


def _departures(plan: Plan, survey: Survey, recording: Recording) -> list[DeviationRecord]:
    approved = plan.approver.date if plan.approver is not None else None
    if approved is None or recording.start is None or approved <= recording.start.date():
        return []
    text = APPROVED_LATE(approved=approved.isoformat(), first=recording.start.date().isoformat()).text
    return [DeviationRecord(id="", survey=survey.name, requirement=None, kind="departure", text=text)]


def _steps(item: RecordingEvidence) -> list[str]:
    readings = item.readings
    steps = [f"{item.name}: {step}" for step in readings.recording.steps]
    corrected = [
        f"{name} ({' then '.join(step.of for step in correction.steps)})"
        for name, correction in zip(readings.locations, readings.corrections, strict=True)
        if correction is not None
    ]
    if corrected:
        steps.append(f"{item.name}: corrections added at the raw reading: {', '.join(corrected)}")
    for name, correction in zip(readings.locations, readings.corrections, strict=True):
        for step in correction.steps if correction is not None else ():
            if step.basis:
                steps.append(f"{item.name}: correction of location '{name}', {step.of}: {step.basis}")
    return steps


def _unused(certificates: Certificates | None, recordings: list[RecordingEvidence]) -> list[str]:
    """Name the certificates that correct no location: superseded ones, other sensors, ignored channels."""
    if certificates is None:
        return []
    corrections = [found for item in recordings for found in item.readings.corrections if found is not None]
    used = {id(item) for found in corrections for step in found.steps for item in step.certificates}
    unused = list(dict.fromkeys(item.name for item in certificates.certificates if id(item) not in used))
    if not unused:
        return []
    shown = ", ".join(unused[:_MOST_NAMED]) + (" and so on" if len(unused) > _MOST_NAMED else "")
    return [f"certificates that correct no location: {len(unused)} ({shown})"]
