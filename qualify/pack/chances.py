"""How a probability is printed: never as certain, because it came out of a limited number of trials."""

from __future__ import annotations

NEAR_ONE = 0.9999
"""A simulation of 100,000 trials in which nothing failed shows about so much."""

PROBABILITY_FORMAT = (
    f'[>{NEAR_ONE}]"more than {NEAR_ONE}";[<{1.0 - NEAR_ONE:.4f}]"less than {1.0 - NEAR_ONE:.4f}";0.0000'
)
"""The same in a spreadsheet's cell."""


def probability_words(probability: float) -> str:
    """Print a probability: three decimals, four near an end, and words where those would say 0 or 1.

    Parameters
    ----------
    probability
        From 0 to 1.
    """
    least = 1.0 - NEAR_ONE
    if probability > NEAR_ONE:
        return f"more than {NEAR_ONE}"
    if probability < least:
        return f"less than {least:.4f}"
    return f"{probability:.4f}" if is_near_an_end(probability) else f"{probability:.3f}"


def is_near_an_end(probability: float) -> bool:
    """Whether three decimals could round it to 0 or 1."""
    return not 0.001 <= probability <= 0.999
