"""Which of the record's cautions stand beside which kind of test."""

from __future__ import annotations

from collections.abc import Sequence

_EVERY = ""
"""Fits every kind of test."""
_HOT = ("over-temperature", "door", "airflow", "power loss", "cool-down", "program")
_GAS = ("low gas pressure", "high oxygen", "door", "power loss", "purge")
_FITS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("Hot surfaces", _HOT),
    ("Nitrogen", _GAS),
    ("Steam", ("cool-down", "power loss")),
    ("Live parts", (_EVERY,)),
    ("Leads through a door seal", ("purge", "high oxygen", "low gas pressure")),
    ("No flammable", (*_HOT, "high oxygen")),
    ("Never leave a defeated interlock", (_EVERY,)),
    ("The process is never driven", ("challenge",)),
    ("Local code", (_EVERY,)),
)
"""How a caution begins, and words of the kinds beside which it stands."""
UNKNOWN_PROTECTION = "challenge: other"


def cautions_beside(kind: str, cautions: Sequence[str]) -> tuple[str, ...]:
    """Choose the cautions that fit a kind of test, in the order of the record.

    One that begins in no known way is shown beside every test, and beside a protection of no named kind all
    are: rather one too many.

    Parameters
    ----------
    kind
        The kind as the record has it: "challenge: door", "purge".
    cautions
        The record's cautions.
    """
    return tuple(caution for caution in cautions if _fits(kind, caution))


def _fits(kind: str, caution: str) -> bool:
    if kind == UNKNOWN_PROTECTION:
        return True
    words = next((words for begins, words in _FITS if caution.startswith(begins)), (_EVERY,))
    return any(word in kind for word in words)
