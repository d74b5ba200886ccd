"""The corpus: its files, what is told of each, and what must be understood."""

from __future__ import annotations

import hashlib
import tomllib
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

import qualify.readings.reading  # noqa: F401  (registers every refusal)
from qualify.findings import REFUSALS, Doubt, Refusal
from qualify.inputs import InputFile
from qualify.readings import Recording, read_recording
from qualify.readings.model import LoggerClock, Millivolts, ReadOptions
from qualify.units import parse_unit

FOLDER = Path(__file__).parents[1] / "corpus"
FILES = FOLDER / "files"
EXPECTED: dict[str, Any] = tomllib.loads((FOLDER / "expected.toml").read_text(encoding="utf-8"))
CASES: list[dict[str, Any]] = EXPECTED["case"]
HEAT_UP: list[list[float]] = EXPECTED["heat_up"]


def names_of(case: dict[str, Any]) -> list[str]:
    return case.get("files") or [case["file"]]


def load(name: str) -> InputFile:
    data = (FILES / name).read_bytes()
    return InputFile(name, Path(name), data, hashlib.sha256(data).hexdigest(), "readings")


def logger_file(data: bytes, name: str) -> InputFile:
    return InputFile(name, Path(name), data, hashlib.sha256(data).hexdigest(), "readings")


def options(told: dict[str, Any]) -> ReadOptions:
    """What a case tells, as the command line would hand it over."""
    fields = dict(told)
    if "units" in fields:
        fields["units"] = parse_unit(fields["units"])
        assert fields["units"] is not None
    if "millivolts" in fields:
        fields["millivolts"] = Millivolts(**fields["millivolts"])
    if "clock" in fields:
        fields["clock"] = LoggerClock(**fields["clock"])
    if "not_readings" in fields:
        fields["not_readings"] = tuple(fields["not_readings"])
    if "time_columns" in fields:
        fields["time_columns"] = tuple(fields["time_columns"])
    return ReadOptions(**fields)


def told(case: dict[str, Any]) -> ReadOptions:
    return options(case.get("told", {}))


def told_for(case: dict[str, Any]) -> dict[str, ReadOptions]:
    return {name: options(fields) for name, fields in case.get("told_for", {}).items()}


def name(case: dict[str, Any]) -> str:
    return names_of(case)[0]


def read(case: dict[str, Any]) -> Recording:
    return read_recording([load(each) for each in names_of(case)], told(case), told_for(case))


def expected_rows(case: dict[str, Any]) -> list[int] | None:
    if "heat_up_from" in case:
        return [case["heat_up_from"] + k for k in range(10)]
    return case.get("rows")


def is_meant(doubt: Doubt, meant: dict[str, Any]) -> bool:
    return (
        meant.get("kind", doubt.kind) == doubt.kind
        and meant.get("row", doubt.row) == doubt.row
        and meant.get("column", doubt.column) == doubt.column
        and meant.get("words", "") in doubt.text + (doubt.column or "")
    )


def check_understood(case: dict[str, Any], recording: Recording) -> None:
    """Hold what was read against what must be understood; AssertionError says what differs."""
    rows = next(
        rows
        for label, rows in recording.rows.items()
        if label.startswith(name(case)) or name(case).startswith(label)
    )
    channels = case.get("channels", ["T1", "T2", "T3"])
    assert [channel.name for channel in recording.channels] == channels
    assert [str(unit) for unit in recording.units] == case.get("units", ["°C"] * len(channels))
    assert [channel.name for channel in recording.others] == case.get("others", [])
    if "descriptions" in case:
        assert [channel.description for channel in recording.channels] == case["descriptions"]
    within_c, within_s = case.get("within_c", 1e-9), case.get("within_s", 1e-6)
    if "readings" in case:
        for row, *values in case["readings"]:
            at = np.flatnonzero(rows == row)
            assert len(at) == 1, f"row {row}"
            np.testing.assert_allclose(recording.raw_c[at[0]], values, rtol=0, atol=within_c)
    else:
        meant = np.array(HEAT_UP)
        if expected_rows(case) is not None:
            assert rows.tolist() == expected_rows(case)
        for place, channel, value in case.get("changes", []):
            at = place
            if isinstance(place, str):
                assert recording.start is not None
                seconds = (datetime.fromisoformat(place) - recording.start).total_seconds()
                index = int(np.flatnonzero(np.abs(recording.seconds - seconds) < 1e-6)[0])
            else:
                index = expected_rows(case).index(at)
            meant[index, channels.index(channel)] = value
        np.testing.assert_allclose(recording.raw_c, meant, rtol=0, atol=within_c)
        np.testing.assert_allclose(
            recording.seconds, case.get("step_s", 30.0) * np.arange(10), rtol=0, atol=within_s
        )
    if "seconds" in case:
        np.testing.assert_allclose(recording.seconds, case["seconds"], rtol=0, atol=within_s)
    if case.get("elapsed"):
        assert recording.start is None
    else:
        slack = timedelta(seconds=within_s)
        assert recording.start is not None
        first = datetime.fromisoformat(case.get("first", "2026-03-14T08:00:00"))
        assert abs(recording.start - first) <= slack
        if "last" in case or "first" not in case:
            last = datetime.fromisoformat(case.get("last", "2026-03-14T08:04:30"))
            assert abs(recording.start + timedelta(seconds=float(recording.seconds[-1])) - last) <= slack
    assert recording.utc_offset == case.get("utc_offset")
    listed, wanted = recording.doubts, case.get("doubts", [])
    strange = [str(doubt) for doubt in listed if not any(is_meant(doubt, meant) for meant in wanted)]
    assert strange == []
    missing = [meant for meant in wanted if not any(is_meant(doubt, meant) for doubt in listed)]
    assert missing == []


def check_refused(case: dict[str, Any], refusal: Refusal) -> None:
    """Hold a refusal against the one that must come."""
    assert refusal.code in REFUSALS
    if "refusal" in case:
        codes = [case["refusal"]] if isinstance(case["refusal"], str) else case["refusal"]
        assert refusal.code in codes, str(refusal)
    assert case.get("where", "") in refusal.where, str(refusal)
    assert case.get("words", "") in str(refusal)
    assert refusal.where.startswith(name(case))
    assert refusal.why
    assert refusal.mend
