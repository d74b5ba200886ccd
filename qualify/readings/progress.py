"""How far reading has come: what readers report, and to whom."""

from __future__ import annotations

from collections.abc import Callable

Progress = Callable[[str, float], None]
"""Is told what is being read, and the share of it that was (0 to 1)."""


def no_progress(what: str, share: float) -> None:
    """Tell nobody."""
