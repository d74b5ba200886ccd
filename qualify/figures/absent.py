"""A figure that can't be given says why, instead of a number."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeGuard


@dataclass(frozen=True, slots=True)
class Absent:
    """A figure that is not there, and the reason."""

    reason: str


Maybe = float | Absent


def present(value: Maybe) -> TypeGuard[float]:
    """Whether the figure is a number."""
    return not isinstance(value, Absent)
