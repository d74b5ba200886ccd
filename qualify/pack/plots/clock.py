"""The time axis: the logger's clock where the file has one, else time from the first reading."""

from __future__ import annotations

from datetime import timedelta
from math import ceil, floor
from typing import TYPE_CHECKING

from qualify.readings.model import Recording

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MINUTE, HOUR, DAY = 60.0, 3600.0, 86400.0
_CLOCK_STEPS = (
    *(1.0, 2.0, 5.0, 10.0, 15.0, 30.0),
    *(step * MINUTE for step in (1, 2, 5, 10, 15, 30)),
    *(step * HOUR for step in (1, 2, 3, 6, 12)),
    *(step * DAY for step in (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)),
)
MOST_TICKS = 9


def time_axis(axes: Axes, recording: Recording, first_s: float, last_s: float) -> None:
    """Set the limits, ticks and label of a horizontal axis whose coordinate is seconds."""
    axes.set_xlim(first_s, last_s)
    span = last_s - first_s
    if recording.start is not None and span >= MOST_TICKS * _CLOCK_STEPS[0]:
        ticks, words, label = _clock(recording, first_s, last_s)
    else:
        ticks, words, label = _elapsed(first_s, last_s)
    axes.set_xticks(ticks, words)
    axes.set_xlabel(label)


def _clock(recording: Recording, first_s: float, last_s: float) -> tuple[list[float], list[str], str]:
    assert recording.start is not None
    start = recording.start
    midnight = start.replace(hour=0, minute=0, second=0, microsecond=0)
    of_day = (start - midnight).total_seconds()
    span = last_s - first_s
    step = next((one for one in _CLOCK_STEPS if span / one <= MOST_TICKS), _CLOCK_STEPS[-1])
    first = ceil((first_s + of_day) / step - 1e-9)
    last = floor((last_s + of_day) / step + 1e-9)
    ticks = [number * step - of_day for number in range(first, last + 1)]
    words: list[str] = []
    day = ""
    for tick in ticks:
        instant = midnight + timedelta(seconds=tick + of_day)
        clock = f"{instant:%H:%M:%S}" if step < MINUTE else f"{instant:%H:%M}"
        date = instant.date().isoformat()
        words.append(clock if date == day else f"{clock}\n{date}")
        day = date
    zone = f", UTC{recording.utc_offset}" if recording.utc_offset else ""
    return ticks, words, f"time on the logger's clock [{'h:min:s' if step < MINUTE else 'h:min'}{zone}]"


def _elapsed(first_s: float, last_s: float) -> tuple[list[float], list[str], str]:
    span = last_s - first_s
    scale, unit = (1.0, "s") if span < 5 * MINUTE else (MINUTE, "min") if span < 10 * HOUR else (HOUR, "h")
    step = _round_step(span / scale / MOST_TICKS)
    first = ceil(first_s / scale / step - 1e-9)
    last = floor(last_s / scale / step + 1e-9)
    ticks = [number * step * scale for number in range(first, last + 1)]
    words = [f"{number * step:.10g}" for number in range(first, last + 1)]
    return ticks, words, f"time from the first reading [{unit}]"


def _round_step(least: float) -> float:
    power = 1e-6
    while True:
        for part in (1.0, 2.0, 5.0):
            if part * power >= least:
                return part * power
        power *= 10.0
