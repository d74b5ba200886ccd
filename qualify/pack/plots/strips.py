"""Channels that are on or off, as strips beneath a time axis: filled while on, empty while off."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from qualify.evidence import ChallengeEvidence, SwitchEvidence
from qualify.pack.plots.look import INK, PALE, SMALL, WIDTH_MM, fit, legible
from qualify.readings.model import BoolArray, FloatArray

if TYPE_CHECKING:
    from matplotlib.axes import Axes

STRIP_MM = 9.0
BAR_SHARE = 0.46
"""Part of a strip that its bar takes; the rest is the channel's name."""
FILLED = "#4a4a4a"
SHORTEST_BAR = 1.0 / 600.0
"""A state is drawn at least so wide [share of the axis], that a single reading can be seen."""
LONGEST_NAME_MM = WIDTH_MM - 61.0


def draw_strip(
    axes: Axes, evidence: ChallengeEvidence, switch: SwitchEvidence, shown: tuple[float, float]
) -> None:
    """Draw one channel: its name, its states over the time shown [s], the interval of the trip."""
    first, last = shown
    axes.set_ylim(0.0, 1.0)
    axes.axis("off")
    if evidence.trip_s is not None:
        after, by = evidence.trip_s
        axes.axvspan(after, by, facecolor=PALE, linewidth=0, zorder=0.5)
        axes.axvline(by, color=INK, linewidth=0.4, zorder=0.6)
    shortest = SHORTEST_BAR * (last - first)
    found = states(evidence.seconds, switch.on, switch.known, first, last)
    for state, face in ((True, FILLED), (False, "white")):
        axes.broken_barh(
            [(begin, max(end - begin, shortest)) for begin, end, on in found if on is state],
            (0.04, BAR_SHARE),
            facecolor=face,
            edgecolor=INK,
            linewidth=0.5,
            zorder=2.0,
        )
    name = switch.name if legible(switch.name) else "channel"
    wanted = ""
    if switch.answers_on is not None:
        wanted = f" · must become {'on' if switch.answers_on else 'off'}"
    axes.text(
        0.0,
        0.56,
        fit(name, LONGEST_NAME_MM, SMALL) + wanted,
        transform=axes.transAxes,
        ha="left",
        va="bottom",
        fontsize=SMALL,
        zorder=4.0,
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.4, "alpha": 0.85},
    )


def states(
    seconds: FloatArray, on: BoolArray, known: BoolArray, first_s: float, last_s: float
) -> list[tuple[float, float, bool]]:
    """Stretches in which a channel keeps a state: its first and last reading of it [s], and the state.

    Between two stretches the state is not known: the change lies there, or readings are absent.

    Parameters
    ----------
    seconds : (n,) float64
        Instants [s], rising.
    on, known : (n,) bool
        States, and where there are any.
    first_s, last_s
        What is shown [s].
    """
    inside = (seconds >= first_s) & (seconds <= last_s)
    times = seconds[inside]
    code = np.where(known[inside], np.where(on[inside], 1, 0), -1)
    if code.size == 0:
        return []
    begins = np.concatenate(([0], np.flatnonzero(np.diff(code)) + 1))
    ends = np.append(begins[1:], code.size) - 1
    return [
        (float(times[begin]), float(times[end]), bool(code[begin]))
        for begin, end in zip(begins.tolist(), ends.tolist(), strict=True)
        if code[begin] >= 0
    ]
