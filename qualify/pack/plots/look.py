"""The look that all plots share: paper, letters, greys, two muted hues, and how text is fitted.

Nothing depends on colour alone: what is hot points up and what is cold points down, the two have
their own line styles, and both hues keep apart from the greys and from each other in grey print.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.font_manager import FontProperties
    from matplotlib.lines import Line2D

WIDTH_MM = 180.0
"""A4 less its margins."""
DOTS_PER_INCH = 160
MM_PER_INCH = 25.4
POINTS_PER_MM = 72.0 / MM_PER_INCH
MARGIN_MM = 3.0

INK = "#1f1f1f"
GREY = "#a0a0a0"
PALE = "#c9c9c9"
BAND = "#e9e9e9"
WASH = "#f4f4f4"
HOT = "#bf6029"
COLD = "#27557d"

FONT = "DejaVu Sans"
"""Comes with matplotlib, so that letters are the same on every machine."""
TITLE, TEXT, SMALL = 9.5, 8.0, 7.0
"""Sizes [pt] at print size."""

TITLE_MM, FOOT_LINE_MM = 8.0, 3.4

_LOOK: Any = {
    "font.family": [FONT],
    "font.size": TEXT,
    "text.color": INK,
    "text.parse_math": False,  # a name with $ in it is a name, not a formula
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "axes.labelsize": TEXT,
    "axes.linewidth": 0.6,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.formatter.useoffset": False,
    "axes.xmargin": 0.0,
    "xtick.color": INK,
    "ytick.color": INK,
    "xtick.labelsize": SMALL,
    "ytick.labelsize": SMALL,
    "xtick.major.width": 0.6,
    "ytick.major.width": 0.6,
    "xtick.major.size": 2.5,
    "ytick.major.size": 2.5,
    "hatch.linewidth": 0.5,
    "hatch.color": GREY,
    "lines.solid_joinstyle": "bevel",
}


@contextmanager
def our_look() -> Iterator[None]:
    """Draw with our settings whatever the machine's own are, and leave those as they were."""
    import matplotlib as mpl

    with mpl.rc_context(), warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing from")
        mpl.rcdefaults()
        mpl.rcParams.update(_LOOK)
        yield


class Page:
    """One picture of A4 width, laid out in mm from its lower left corner.

    Parameters
    ----------
    height_mm
        Height [mm].
    title
        The line at the top.
    footnotes
        The lines at the bottom; long ones are folded.
    """

    def __init__(self, height_mm: float, title: str, footnotes: Sequence[str]) -> None:
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure

        self.lines = fold(footnotes)
        self.foot_mm = MARGIN_MM + FOOT_LINE_MM * len(self.lines)
        self.height_mm = height_mm + self.foot_mm
        self.figure = Figure(
            figsize=(WIDTH_MM / MM_PER_INCH, self.height_mm / MM_PER_INCH),
            dpi=DOTS_PER_INCH,
            facecolor="white",
        )
        self.canvas: Any = FigureCanvasAgg(self.figure)
        self.text(MARGIN_MM, self.height_mm - 4.5, title, size=TITLE, weight="bold", va="center")
        for number, line in enumerate(reversed(self.lines)):
            self.text(MARGIN_MM, MARGIN_MM + FOOT_LINE_MM * number, line, size=SMALL, va="bottom")

    def text(self, x_mm: float, y_mm: float, words: str, **style: Any) -> None:
        """Write on the page itself."""
        self.figure.text(x_mm / WIDTH_MM, y_mm / self.height_mm, words, **style)

    def line(self, x_mm: Sequence[float], y_mm: Sequence[float], **style: Any) -> None:
        """Draw a line on the page itself."""
        from matplotlib.lines import Line2D

        across = [x / WIDTH_MM for x in x_mm]
        up = [y / self.height_mm for y in y_mm]
        self.figure.add_artist(Line2D(across, up, transform=self.figure.transFigure, **style))

    def axes(self, left: float, bottom: float, width: float, height: float) -> Axes:
        """Place axes [mm]; `bottom` counts from above the footnotes."""
        bottom += self.foot_mm
        return self.figure.add_axes(
            (left / WIDTH_MM, bottom / self.height_mm, width / WIDTH_MM, height / self.height_mm)
        )

    def paper(self) -> Axes:
        """Cover the page with axes whose coordinates are mm, to draw plans on."""
        axes = self.figure.add_axes((0, 0, 1, 1))
        axes.set_xlim(0, WIDTH_MM)
        axes.set_ylim(0, self.height_mm)
        axes.axis("off")
        return axes

    def legend(self, handles: Sequence[Artist], bottom: float, columns: int, left: float = MARGIN_MM) -> None:
        """Put the key in rows at the foot of the page, its lower edge at `bottom` [mm]."""
        self.figure.legend(
            handles=list(handles),
            loc="lower left",
            bbox_to_anchor=(left / WIDTH_MM, (self.foot_mm + bottom) / self.height_mm),
            ncols=columns,
            frameon=False,
            fontsize=SMALL,
            borderpad=0.0,
            borderaxespad=0.0,
            handlelength=2.4,
            columnspacing=1.6,
            labelspacing=0.35,
        )

    def write(self, path: Path) -> None:
        """Write the picture; nothing in the file tells when, where or by what it was made."""
        self.canvas.print_png(str(path), metadata={"Software": None}, pil_kwargs={"compress_level": 3})


def fold(lines: Sequence[str]) -> list[str]:
    """Fold footnotes to the page's width."""
    folded: list[str] = []
    for line in lines:
        words = line.split()
        room = WIDTH_MM - 2 * MARGIN_MM
        begun = ""
        for word in words:
            longer = f"{begun} {word}" if begun else fit(word, room, SMALL)
            if begun and text_width_mm(longer, SMALL) > room:
                folded.append(begun)
                longer = fit(word, room, SMALL)
            begun = longer
        folded.append(begun)
    return folded


def colour_key(label: str, **style: Any) -> Line2D:
    """Make an entry of the key."""
    from matplotlib.lines import Line2D

    return Line2D([], [], label=label, **style)


def patch_key(label: str, **style: Any) -> Artist:
    """Make an entry of the key for an area."""
    from matplotlib.patches import Patch

    return Patch(label=label, **style)


@cache
def _letters(size: float) -> tuple[FontProperties, Any]:
    from matplotlib.backends.backend_agg import RendererAgg
    from matplotlib.font_manager import FontProperties

    renderer: Any = RendererAgg  # matplotlib leaves it without types
    return FontProperties(family=[FONT], size=size), renderer(1, 1, DOTS_PER_INCH)


@cache
def _advance(character: str, size: float) -> float:
    """How far a letter moves the pen [dots]; between two others, as its ink alone may be narrower."""
    letters, renderer = _letters(size)
    between, without = (
        renderer.get_text_width_height_descent(words, letters, False)[0] for words in (f"n{character}n", "nn")
    )
    return float(between - without)


def text_width_mm(words: str, size: float) -> float:
    """How wide a line of text is on paper [mm]."""
    return sum(_advance(character, size) for character in words) / DOTS_PER_INCH * MM_PER_INCH


def fit(words: str, width_mm: float, size: float) -> str:
    """Shorten text to a width, from its middle: names often differ only at their ends."""
    words = words.strip()
    if text_width_mm(words, size) <= width_mm:
        return words
    for keep in range(len(words) - 1, 1, -1):
        tail = (keep + 1) // 2
        shorter = f"{words[: keep - tail].rstrip()}…{words[len(words) - tail :].lstrip()}"
        if text_width_mm(shorter, size) <= width_mm:
            return shorter
    return "…"


@cache
def _known_characters() -> frozenset[int]:
    from matplotlib.font_manager import findfont, get_font

    letters, _ = _letters(SMALL)
    return frozenset(get_font(findfont(letters)).get_charmap())


def legible(words: str) -> bool:
    """Whether our letters can write all of it."""
    return all(ord(character) in _known_characters() for character in words)


def spread_out(wanted: Sequence[float], apart: float, low: float, high: float) -> list[float]:
    """Move labels along a line, as little as is simple, until neighbours are `apart`; order is kept."""
    order = sorted(range(len(wanted)), key=lambda index: wanted[index])
    placed = list(wanted)
    floor = low
    for index in order:
        placed[index] = max(wanted[index], floor)
        floor = placed[index] + apart
    ceiling = high
    for index in reversed(order):
        placed[index] = min(placed[index], ceiling)
        ceiling = placed[index] - apart
    return placed
