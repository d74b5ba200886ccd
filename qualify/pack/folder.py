"""The data pack as a folder: written beside its place, then renamed once; its manifest."""

from __future__ import annotations

import hashlib
import os
import shutil
from collections.abc import Callable
from pathlib import Path

from qualify.evidence import Evaluation
from qualify.findings import RefusalKind
from qualify.inputs import view_of
from qualify.record import to_json

FOLDER_TAKEN = RefusalKind(
    "pack-folder-taken",
    what="the output folder '{name}' is not empty",
    why="A data pack is never written over: it may be signed already.",
    mend="write to '{free}' instead (add --replaces {name} if it replaces that pack).",
)
FOLDER_NOT_WRITABLE = RefusalKind(
    "pack-not-writable",
    what="the output folder '{name}' can't be written: {reason}",
    why="Nothing was left behind.",
    mend="choose another folder with --out, or make room and check the rights of the folder above it.",
)
NO_PACK = RefusalKind(
    "pack-not-found",
    what="'{name}' is no data pack: it holds no manifest.sha256",
    why="The record is to say which pack this one replaces.",
    mend="give the folder of the pack to be replaced.",
)

Progress = Callable[[str], None]


def check_folder(folder: Path) -> None:
    """Refuse an output folder that is taken, before any work is done.

    Raises
    ------
    Refusal
        If it exists and is not an empty folder; the first free name is offered.
    """
    folder = folder.resolve()
    if not folder.exists() or (folder.is_dir() and not any(folder.iterdir())):
        return
    if not folder.is_dir():
        raise FOLDER_NOT_WRITABLE(name=folder.name, reason="a file of that name is in its place")
    number = 2
    while (free := folder.with_name(f"{folder.name}-r{number}")).exists():
        number += 1
    raise FOLDER_TAKEN(name=folder.name, free=free.name)


def pack_identity(folder: Path) -> str:
    """Name a pack by its folder and the SHA-256 of its manifest.

    Raises
    ------
    Refusal
        If the folder holds no manifest.
    """
    manifest = folder / "manifest.sha256"
    if not manifest.is_file():
        raise NO_PACK(name=str(folder))
    return f"{folder.name} (manifest {hashlib.sha256(manifest.read_bytes()).hexdigest()})"


def write_pack(evaluation: Evaluation, folder: Path, progress: Progress = lambda _: None) -> None:
    """Write the data pack: all of it, or nothing.

    Parameters
    ----------
    evaluation
        What to write.
    folder
        The pack's folder; absent or empty.
    progress
        Called with what is being written.

    Raises
    ------
    Refusal
        If the folder is taken or can't be written.
    """
    check_folder(folder)
    target = folder.resolve()
    draft = target.with_name(f".{target.name}.{os.getpid()}.part")
    try:
        draft.mkdir(parents=True)
        _fill(evaluation, draft, target.name, progress)
        if target.exists():
            target.rmdir()
        draft.rename(target)
    except OSError as error:
        shutil.rmtree(draft, ignore_errors=True)
        if target.exists() and target.is_dir() and any(target.iterdir()):
            check_folder(folder)
        raise FOLDER_NOT_WRITABLE(name=folder.name, reason=error.strerror or str(error)) from error
    except BaseException:
        shutil.rmtree(draft, ignore_errors=True)
        raise


def _fill(evaluation: Evaluation, draft: Path, name: str, progress: Progress) -> None:
    from qualify.pack.plots import write_plots
    from qualify.pack.workbook import write_workbook

    (draft / "inputs").mkdir()
    for file in evaluation.inputs:
        (draft / "inputs" / file.name).write_bytes(view_of(file.content))
    (draft / "record.json").write_text(to_json(evaluation.record), encoding="utf-8")
    progress("plots")
    (draft / "plots").mkdir()
    write_plots(evaluation, draft / "plots")
    progress("workbook")
    write_workbook(evaluation, draft / f"{name}.xlsx")
    progress("manifest")
    _write_manifest(draft)


def _write_manifest(draft: Path) -> None:
    """One line a file as `sha256sum -c` reads it, in the order of their names."""
    files = sorted(path for path in draft.rglob("*") if path.is_file())
    lines = [
        f"{hashlib.sha256(path.read_bytes()).hexdigest()}  {path.relative_to(draft).as_posix()}\n"
        for path in files
    ]
    (draft / "manifest.sha256").write_text("".join(lines), encoding="utf-8")
