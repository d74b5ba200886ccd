"""A channel that is on or off: which readings say which. Its changes are in `digital_changes`."""

from __future__ import annotations

from dataclasses import dataclass
from unicodedata import normalize

import numpy as np

from qualify.figures.absent import Absent
from qualify.readings.model import BoolArray, FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Switch:
    """States of a channel.

    Attributes
    ----------
    on : (n,) bool
        Whether the channel is on; without meaning where it is not known.
    known : (n,) bool
        Whether there is a reading.
    rule
        What counts as on, in words.
    """

    on: BoolArray
    known: BoolArray
    rule: str


def _same(word: str) -> str:
    """A word without what makes no difference: case, spaces around it, ways to write one letter."""
    return normalize("NFKC", word).strip().casefold()


def as_switch(
    codes: FloatArray, words: tuple[str, ...], on: tuple[str, ...], off: tuple[str, ...]
) -> Switch | Absent:
    """States of a channel of words, or of plain numbers such as 0 and 1.

    Parameters
    ----------
    codes : (n,) float64
        Places in `words`, NaN for no reading. Without words: the numbers themselves, which `on` and `off`
        then name ("1", "0").
    words
        The words of the channel.
    on, off
        The words that mean on and off; case and spaces around them make no difference.

    Returns
    -------
    Switch or Absent
        Absent where a word has been given no meaning or two, or the channel has no reading.
    """
    meaning = {_same(word): False for word in off} | {_same(word): True for word in on}
    both = [word for word in on if _same(word) in {_same(other) for other in off}]
    if both:
        return Absent(f"{_listed(both)} is declared both as on and as off")
    known = np.isfinite(codes)
    if not known.any():
        return Absent("the channel has no reading")
    rule = f"on: {', '.join(on)}; off: {', '.join(off)}"
    values, places = np.unique(codes[known], return_inverse=True)
    found: list[str] = []
    is_on = np.zeros(values.size, dtype=np.bool_)
    for at, value in enumerate(values.tolist()):
        if words and not (value == int(value) and 0 <= value < len(words)):
            return Absent(f"the code {value:g} stands for none of the channel's {len(words)} words")
        state = _meaning_of(words[int(value)], meaning) if words else _meaning_of_number(value, meaning)
        if state is None:
            found.append(words[int(value)] if words else f"{value:g}")
        else:
            is_on[at] = state
    if found:
        return Absent(f"not said whether {_listed(found)} means on or off")
    states = np.zeros(codes.size, dtype=np.bool_)
    states[known] = is_on[places]
    return Switch(on=states, known=known, rule=rule)


def _meaning_of(word: str, meaning: dict[str, bool]) -> bool | None:
    return meaning.get(_same(word))


def _meaning_of_number(value: float, meaning: dict[str, bool]) -> bool | None:
    """Meaning of a number, however it is written: 1, 1.0, 1,0."""
    for word, state in meaning.items():
        try:
            if float(word.replace(",", ".")) == value:
                return state
        except ValueError:
            continue
    return None


def _listed(words: list[str]) -> str:
    """Words for a sentence, the first six of them."""
    shown = ", ".join(f"“{word}”" for word in words[:6])
    return shown if len(words) <= 6 else f"{shown} and {len(words) - 6} more"


def by_threshold(values: FloatArray, threshold: float, *, on_above: bool) -> Switch | Absent:
    """States of an analogue channel, such as heater current off under 1 A.

    Parameters
    ----------
    values : (n,) float64
        Readings in the channel's own unit, NaN for none.
    threshold
        Threshold in the same unit. A reading equal to it is on where `on_above`, else off.
    on_above
        Whether on lies at and above the threshold; else on lies below it.

    Returns
    -------
    Switch or Absent
        Absent where the channel has no reading.
    """
    known = np.isfinite(values)
    if not known.any():
        return Absent("the channel has no reading")
    above = known & (np.where(known, values, 0.0) >= threshold)
    side = f"at or above {threshold:g}" if on_above else f"below {threshold:g}"
    return Switch(on=above if on_above else known & ~above, known=known, rule=f"on: {side}")
