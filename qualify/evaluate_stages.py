"""The stages of the one pipeline: record sheets and tests besides surveys → their records and evidence."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path

from qualify.evidence import ChallengeEvidence, PurgeEvidence, StagesEvaluated, TestRecording
from qualify.inputs import InputFile
from qualify.plan.model import Plan, Stage
from qualify.plan.stage_tests import Challenge, LoopTest, OperationTest, Recorded
from qualify.readings import read_recording
from qualify.readings.model import Recording
from qualify.readings.progress import Progress
from qualify.readings.told import labelled
from qualify.record import DeviationRecord, DispositionRecord, StageTestRecord, SurveyRecord
from qualify.record_sheets.dispositions import read_dispositions
from qualify.record_sheets.items import read_items
from qualify.record_sheets.observed import ObservedAnswer, read_observed
from qualify.record_sheets.restored import OpenLine, open_lines, read_restored
from qualify.stages.challenges import run_challenge
from qualify.stages.operation_tests import run_operation_test
from qualify.stages.recorded_tests import channels_used
from qualify.stages.sheets import judge_sheet
from qualify.stages.stage import choice_of, stage_deviations, stage_records


def evaluate_stages(
    plan: Plan,
    folder: Path,
    once: Callable[[str, str], InputFile],
    moment: str,
    progress: Progress,
    surveys: Sequence[SurveyRecord],
) -> StagesEvaluated:
    """Evaluate what the stages hold besides surveys: record sheets, challenges, what is restored.

    Parameters
    ----------
    plan, folder
        The plan, and where its relative paths start.
    once
        Loads a file by its path and role, once each.
    moment
        When the pack is made; record sheets are judged on that day.
    progress
        Is told the file that is being read.
    surveys
        Every hold, already judged.

    Raises
    ------
    Refusal
        If an input can't be used.
    """

    def recorded(files_of: Recorded) -> Recording:
        files = {name: once(name, "readings") for name in files_of.files}
        told = labelled(files_of.loggers, files)
        return read_recording(list(files.values()), files_of.read, told, progress)

    read = _Recordings(recorded)
    tests: list[StageTestRecord] = []
    evidence: list[ChallengeEvidence] = []
    purges: list[PurgeEvidence] = []
    day = date.fromisoformat(moment[:10])
    for stage in Stage:
        choice = choice_of(plan, stage)
        for name in choice.records:
            sheet = read_items(
                once(name, "record sheet"), fetch=lambda path: once(os.path.relpath(path, folder), "evidence")
            )
            tests.append(judge_sheet(sheet, stage.value, day, accept_overdue=choice.accept_overdue))
    planned = {
        item.name: [answer.name for answer in item.answers if answer.channel is None]
        for item in plan.challenges
    }
    seen: Mapping[str, tuple[ObservedAnswer, ...]] = {}
    if plan.operation.observed:
        seen = read_observed(once(plan.operation.observed, "observed answers"), planned)
    for challenge in plan.challenges:
        recording = None if challenge.recorded is None else read.of(challenge, challenge.recorded)
        record, found = run_challenge(plan, challenge, recording, seen.get(challenge.name, ()))
        tests.append(with_doubts(record, recording))
        if found is not None:
            evidence.append(found)
    for test in plan.operation_tests:
        recording = None if isinstance(test, LoopTest) else read.of(test, test.recorded)
        record, course = run_operation_test(test, recording)
        tests.append(with_doubts(record, recording))
        if course is not None:
            purges.append(course)
    not_restored: tuple[OpenLine, ...] = ()
    if plan.restore.planned:
        lines = read_restored(once(plan.restore.file, "restored")) if plan.restore.file else ()
        not_restored = open_lines(plan.restore.planned, lines)
    stages = stage_records(plan, surveys, tests, not_restored)
    return StagesEvaluated(
        stages=stages,
        deviations=tuple(stage_deviations(stages)),
        challenges=tuple(evidence),
        purges=tuple(purges),
        test_recordings=read.evidence(),
    )


class _Recordings:
    """Reads each test's files, once where several tests name the same ones."""

    def __init__(self, read: Callable[[Recorded], Recording]) -> None:
        self._read = read
        self._found: list[tuple[Recorded, Recording, list[Challenge | OperationTest]]] = []

    def of(self, test: Challenge | OperationTest, recorded: Recorded) -> Recording:
        """The recording of a test."""
        for known, recording, tests in self._found:
            if known == recorded:
                tests.append(test)
                return recording
        recording = self._read(recorded)
        self._found.append((recorded, recording, [test]))
        return recording

    def evidence(self) -> tuple[TestRecording, ...]:
        """Every recording, with the tests that rest on it and the channels that they use."""
        return tuple(
            TestRecording(
                tests=tuple(test.name for test in tests),
                recording=recording,
                channels=channels_used(recording, tests),
            )
            for _, recording, tests in self._found
        )


def with_doubts(record: StageTestRecord, recording: Recording | None) -> StageTestRecord:
    """Put the doubts about a test's recording into its record, and say so among its notes."""
    if recording is None or not recording.doubts:
        return record
    kinds = ", ".join(dict.fromkeys(doubt.kind for doubt in recording.doubts))
    count = len(recording.doubts)
    note = f"{count} doubt{'s' * (count != 1)} about its recording ({kinds}); see the sheet Provenance"
    return replace(record, doubts=recording.doubts, notes=(*record.notes, note))


def read_back(file: InputFile, deviations: Sequence[DeviationRecord]) -> tuple[DispositionRecord, ...]:
    """What a person wrote about deviations; it changes no figure and no decision.

    Raises
    ------
    Refusal
        If the sheet can't be read, or names a deviation that there is not.
    """
    found = read_dispositions(file, [item.id for item in deviations])
    return tuple(
        DispositionRecord(
            id=item.id,
            cause=item.cause,
            action=item.action,
            by=item.by,
            date=None if item.date is None else item.date.text,
            closed=item.closed,
            remark=item.remark,
        )
        for item in found.values()
    )
