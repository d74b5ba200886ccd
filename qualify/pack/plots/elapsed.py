"""A time axis of a test: from the recording's first reading, as the evidence of tests knows no clock."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MINUTE, HOUR = 60.0, 3600.0


def elapsed_axis(axes: Axes, first_s: float, last_s: float) -> None:
    """Set the limits, ticks and label of a horizontal axis whose coordinate is seconds.

    Parameters
    ----------
    axes
        Where.
    first_s, last_s
        What is shown [s].
    """
    from matplotlib.ticker import MaxNLocator

    span = last_s - first_s
    scale, word = (1.0, "s") if span < 10 * MINUTE else (MINUTE, "min") if span < 10 * HOUR else (HOUR, "h")
    found = MaxNLocator(nbins=9, steps=[1, 2, 5, 10]).tick_values(first_s / scale, last_s / scale)
    ticks = [float(tick) for tick in found if first_s - 1e-9 <= tick * scale <= last_s + 1e-9]
    axes.set_xlim(first_s, last_s)
    axes.set_xticks([tick * scale for tick in ticks], [f"{tick:.10g}" for tick in ticks])
    axes.set_xlabel(f"time from the first reading [{word}]")
