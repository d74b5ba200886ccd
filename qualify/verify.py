"""Verify a data pack: its manifest, then everything computed again from the packed inputs."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from qualify.evaluate import evaluate
from qualify.findings import RefusalKind
from qualify.inputs import InputFile, load
from qualify.plan.model import Plan
from qualify.plan.options import plan_from_options
from qualify.plan.reading import read_plan
from qualify.readings.told import from_plain
from qualify.record import SCHEMA, plain
from qualify.units import TemperatureUnit

NO_PACK = RefusalKind(
    "verify-no-pack",
    what="'{name}' is no data pack: {problem}",
    why="There is nothing to compare with.",
    mend="give the folder that holds record.json and manifest.sha256, as it was written.",
)

RELATIVE = 1e-9
ITERATED = 1e-4
"""Relative difference of what an optimiser found with another version of its library."""
RECOMPUTED = (
    "verdict",
    "units",
    "settings",
    "plan",
    "surveys",
    "replicates",
    "stages",
    "dispositions",
    "certificates",
    "deviations",
    "conditions",
    "steps",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Verification:
    """What was compared, and every difference in words."""

    files: int
    figures: int
    differences: tuple[str, ...]


def verify(pack: Path) -> Verification:
    """Check every file against the manifest and every figure against a new computation.

    Parameters
    ----------
    pack
        The pack's folder.

    Raises
    ------
    Refusal
        If the folder is no pack, or its inputs can't be used.
    """
    record = _read_record(pack)
    differences, files = _against_manifest(pack)
    again = plain(_evaluated_again(pack, record))
    compared = 0
    allowance = _Allowance(record, again)
    for part in RECOMPUTED:
        for path, old, new in _leaves(record.get(part), again.get(part), part):
            compared += 1
            if not _same(old, new, *allowance.at(path)):
                differences.append(f"{path}: the pack says {_shown(old)}, computed again {_shown(new)}")
    return Verification(files=files, figures=compared, differences=tuple(differences))


class _Allowance:
    """How far figures may differ: none but rounding, unless other versions of libraries computed them.

    A simulation draws other random numbers with another version of numpy, and is then held to its own
    numerical tolerance, to which both were computed; an optimiser ends elsewhere within its accuracy.
    """

    def __init__(self, old: Mapping[str, Any], new: Mapping[str, Any]) -> None:
        one, other = (record["software"]["libraries"] for record in (old, new))
        self.other_versions = any(one.get(name) != other.get(name) for name in ("numpy", "scipy"))
        found = [item.get("simulation") or {} for item in old.get("surveys", [])]
        self.drawn = 2.0 * max(
            (
                tolerance
                for item in found
                for tolerance in (item.get("numerical_tolerance", 0), item.get("numerical_tolerance_c", 0))
            ),
            default=0.0,
        )

    def at(self, path: str) -> tuple[float, float]:
        """Relative and absolute difference that is none at this place."""
        if not self.other_versions:
            return RELATIVE, 0.0
        if any(part in path for part in (".simulation.", "conformance_probability", ".what_if")):
            return RELATIVE, self.drawn
        if any(part in path for part in (".statistics.", "replicates")):
            return ITERATED, ITERATED
        return RELATIVE, 0.0


def _read_record(pack: Path) -> dict[str, Any]:
    try:
        record = json.loads((pack / "record.json").read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise NO_PACK(name=str(pack), problem="it holds no record.json") from None
    except (OSError, ValueError) as error:
        raise NO_PACK(name=str(pack), problem=f"its record.json can't be read ({error})") from None
    if not isinstance(record, dict) or record.get("schema") != SCHEMA:
        raise NO_PACK(name=str(pack), problem=f"its record is not of schema {SCHEMA}")
    return record


def _against_manifest(pack: Path) -> tuple[list[str], int]:
    try:
        lines = (pack / "manifest.sha256").read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError):
        raise NO_PACK(name=str(pack), problem="it holds no readable manifest.sha256") from None
    differences = []
    listed = set()
    for line in lines:
        digest, _, name = line.partition("  ")
        listed.add(name)
        path = pack / name
        if not path.is_file():
            differences.append(f"{name}: listed in the manifest, but missing")
        elif hashlib.sha256(path.read_bytes()).hexdigest() != digest:
            differences.append(f"{name}: changed since the manifest was written")
    there = {path.relative_to(pack).as_posix() for path in pack.rglob("*") if path.is_file()}
    differences += [
        f"{name}: not listed in the manifest" for name in sorted(there - listed - {"manifest.sha256"})
    ]
    return differences, len(listed)


def _evaluated_again(pack: Path, record: Mapping[str, Any]) -> Any:
    """Run the pipeline on the packed inputs, which the record lists in the order of their use."""
    packed = [(pack / "inputs" / item["path"], item["role"]) for item in record["inputs"]]
    waiting = iter(packed)

    def fetch(_: Path, role: str) -> InputFile:
        path, packed_role = next(waiting, (None, ""))
        if path is None or packed_role != role:
            raise NO_PACK(name=str(pack), problem=f"its inputs lack a file of {role}")
        return load(path, role)

    plan_file = None
    if record["plan"]["from_options"]:
        plan = _plan_from(record["settings"]["options"])
    else:
        plan_file = fetch(Path(), "plan")
        plan = read_plan(plan_file)
    return evaluate(
        plan,
        Path(),
        plan_file=plan_file,
        options=record["settings"]["options"],
        replaces=record["replaces"],
        fetch=fetch,
    ).record


def _plan_from(options: Mapping[str, Any]) -> Plan:
    units = TemperatureUnit[options["units"]] if options["units"] else None
    # Two files of one name are two files: their place in the list tells them apart.
    files = [f"{number}/{name}" for number, name in enumerate(options["files"])]
    return plan_from_options(
        files,
        setpoint=options["setpoint"],
        low=options["low"],
        high=options["high"],
        units=units,
        start=options["start"],
        minutes=options["minutes"],
        heat_start=options["heat_start"],
        certificates=options["certificates"],
        ignored=options["ignore"],
        read=from_plain(options["read"]),
        loggers={
            file: from_plain(told) for file, told in zip(files, options["loggers"], strict=True) if told
        },
    )


def _leaves(old: Any, new: Any, path: str) -> Iterator[tuple[str, Any, Any]]:
    """Every pair of values of two JSON trees, with where they stand."""
    if isinstance(old, dict) and isinstance(new, dict):
        for key in old.keys() | new.keys():
            yield from _leaves(old.get(key), new.get(key), f"{path}.{key}")
    elif isinstance(old, list) and isinstance(new, list) and len(old) == len(new):
        for number, (one, other) in enumerate(zip(old, new, strict=True)):
            name = one.get("id") or one.get("location") or one.get("name") if isinstance(one, dict) else None
            yield from _leaves(one, other, f"{path}[{name or number}]")
    else:
        yield path, old, new


def _same(old: Any, new: Any, relative: float, absolute: float) -> bool:
    numbers = isinstance(old, int | float) and isinstance(new, int | float)
    if numbers and not isinstance(old, bool) and not isinstance(new, bool):
        return bool(abs(old - new) <= relative * max(abs(old), abs(new), 1e-3) + absolute)
    return bool(old == new)


def _shown(value: Any) -> str:
    text = json.dumps(value, ensure_ascii=False)
    return text if len(text) <= 80 else text[:77] + "..."
