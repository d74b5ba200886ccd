"""What the pack shows beside the record: the readings behind the figures, and where the holds lie."""

from __future__ import annotations

from dataclasses import dataclass

from qualify.inputs import InputFile
from qualify.readings.model import BoolArray, FloatArray, Recording
from qualify.record import DeviationRecord, Record, StageRecord
from qualify.sensors.corrections import Correction


@dataclass(frozen=True, slots=True, kw_only=True)
class Readings:
    """Corrected readings by location, beside the raw ones.

    Attributes
    ----------
    recording
        Times, files, doubts.
    locations : m names, channel_index : m indices into `recording.channels`
        The judged locations, and the channel that records each.
    raw_c, corrected_c : (n, m) float64
        Readings [°C] that count; NaN where there is none, or where it is left out.
    calibrated : (n, m) bool
        False where a reading lies beyond the points of its certificate and the plan's reach.
    corrections
        The correction applied at each location; None where there is no certificate.
    recorded_c : (n, m) float64 or None
        Readings as recorded [°C], where some of them are left out of `raw_c`; None where none is.
    """

    recording: Recording
    locations: tuple[str, ...]
    channel_index: tuple[int, ...]
    raw_c: FloatArray
    corrected_c: FloatArray
    calibrated: BoolArray
    corrections: tuple[Correction | None, ...]
    recorded_c: FloatArray | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldEvidence:
    """Where one hold stands in its recording, as index ranges [first, last] of instants, inclusive.

    `hold` runs from heat start (else the first reading) to the hold's end; `ground` is the stretch
    over which the high excess is counted; `window` the assessed readings, None where there are none.
    `survey` is the index into `record.surveys`. `reference` is the index of the reference location.
    `setpoint_c` [°C]; `limit_low_c`, `limit_high_c` [°C] or None.
    """

    survey: int
    setpoint_c: float
    limit_low_c: float | None
    limit_high_c: float | None
    hold: tuple[int, int]
    ground: tuple[int, int]
    window: tuple[int, int] | None
    reference: int | None
    entered_from_below: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordingEvidence:
    """One recording and the holds found in it."""

    name: str
    readings: Readings
    holds: tuple[HoldEvidence, ...]
    set_point_c: FloatArray | None
    """The recorded set point (n,) [°C], where the plan names its channel."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SwitchEvidence:
    """A channel that is on or off: states (n,), where they are known (n,), which of them answers."""

    name: str
    on: BoolArray
    known: BoolArray
    answers_on: bool | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ChallengeEvidence:
    """A challenge on its time axis.

    `seconds`, `quantity`, `limit` (n,); the stretch from `start_s` to `end_s`; between which readings [s] the
    first answer changed, and the value of the quantity then.
    """

    name: str
    seconds: FloatArray
    quantity: FloatArray
    quantity_name: str
    unit: str
    limit: FloatArray | None
    switches: tuple[SwitchEvidence, ...]
    start_s: float
    end_s: float
    trip_s: tuple[float, float] | None
    trip_value: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PurgeEvidence:
    """A purge on its time axis.

    Attributes
    ----------
    name
        The test's.
    seconds, oxygen : (n,) float64
        Instants [s] and readings [% oxygen], NaN for none.
    fitted : (n,) float64 or None
        What the analyser would show by the fit [% oxygen], NaN where the fit says nothing; None without one.
    start_s, end_s
        Start of the purge, end of the stretch [s].
    limit
        The limit [% oxygen].
    flow_stopped_s
        When the flow was cut [s]; None where it wasn't.
    kept_s
        From when to when the limit must be kept [s]; None where nothing is asked.
    """

    name: str
    seconds: FloatArray
    oxygen: FloatArray
    fitted: FloatArray | None
    start_s: float
    end_s: float
    limit: float
    flow_stopped_s: float | None = None
    kept_s: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class TestRecording:
    """A recording that tests of a stage rest on.

    Attributes
    ----------
    tests
        Names of the tests.
    recording
        What was recorded.
    channels
        Names of the channels that the tests use, in the recording's own order.
    """

    tests: tuple[str, ...]
    recording: Recording
    channels: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class StagesEvaluated:
    """What the stages hold besides surveys: records, deviations without ids, and what pictures need."""

    stages: tuple[StageRecord, ...] = ()
    deviations: tuple[DeviationRecord, ...] = ()
    challenges: tuple[ChallengeEvidence, ...] = ()
    purges: tuple[PurgeEvidence, ...] = ()
    test_recordings: tuple[TestRecording, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Evaluation:
    """The record, the readings it rests on, and the files that were read."""

    record: Record
    recordings: tuple[RecordingEvidence, ...]
    inputs: tuple[InputFile, ...]
    challenges: tuple[ChallengeEvidence, ...] = ()
    purges: tuple[PurgeEvidence, ...] = ()
    test_recordings: tuple[TestRecording, ...] = ()
