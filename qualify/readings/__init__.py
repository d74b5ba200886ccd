"""From logger files to a recording: bytes, layout, table, clock, joined files.

`read_recording` is the only way in. It stands here as a thin door, so that importing this package
loads neither pandas nor openpyxl.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from qualify.inputs import InputFile
from qualify.readings.model import ReadOptions, Recording
from qualify.readings.progress import Progress, no_progress

_AS_DETECTED = ReadOptions()


def read_recording(
    files: Sequence[InputFile],
    options: ReadOptions = _AS_DETECTED,
    per_file: Mapping[str, ReadOptions] | None = None,
    progress: Progress = no_progress,
) -> Recording:
    """Read one or several logger files into one recording.

    Parameters
    ----------
    files
        The loaded files, in the order in which their channels shall stand.
    options
        What the user said about every file.
    per_file : file name -> options
        What the plan said about one file; a field that is not None goes before `options`.

    progress
        Is told the file that is being read, and the share of its rows that was.

    Returns
    -------
    Recording
        Readings [°C] by instant [s from the first reading] and channel, with every doubt.

    Raises
    ------
    Refusal
        If a file can't be read, or can only be read by a guess: file, place, reason, mend.
    """
    from qualify.readings.reading import read_files

    return read_files(files, options, per_file or {}, progress)


__all__ = ["ReadOptions", "Recording", "read_recording"]
