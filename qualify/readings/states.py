"""Digital states: columns of a few words, such as ON and OFF, kept as numbers of those words."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from qualify.readings.cells import is_absent_word
from qualify.readings.model import FloatArray
from qualify.readings.values import Words

MOST_STATES = 12
"""A column of more different words holds remarks, not states."""


_ALSO_STATES = frozenset(
    ("open", "over", "under", "fault", "fail", "error", "err", "void", "invalid", "missing", "overload")
)
"""Words for "no reading" that are states where they stand beside other states, as a door's open and shut."""


STATES = "states"
"""The unit that is told of a column of states, where its words alone would not show that it is one."""


def states_of(words: Iterable[str], *, told: bool = False) -> tuple[str, ...]:
    """Tell the different states among the words of a column; none where all of them say "no reading".

    Where the column was told to hold states, every word is one: a door that never shuts is "open" throughout.
    """
    different = tuple(dict.fromkeys(word.strip() for word in words if word.strip()))
    if told:
        return different
    if all(is_absent_word(word) for word in different):
        return ()
    return tuple(word for word in different if word.casefold() in _ALSO_STATES or not is_absent_word(word))


def as_states(values: FloatArray, words: Words, states: tuple[str, ...]) -> Words:
    """Put the number of its state in each cell.

    Parameters
    ----------
    values : (n,) float64
        The column, filled in place.
    words
        The cells of the column, none of which is a number.
    states
        The words of the column, in the order in which they were met.

    Returns
    -------
    Words
        The cells that hold none of them.
    """
    places, found = words.joined()
    number = {state: float(index) for index, state in enumerate(states)}
    codes = np.array([number.get(word.strip(), np.nan) for word in found.tolist()])
    values[places] = codes
    left = np.isnan(codes)
    return Words([places[left]], [found[left]]) if left.any() else Words()
