"""One function over every column, side by side on the machine's cores."""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

Result = TypeVar("Result")


def each_column(function: Callable[[int], Result], count: int) -> list[Result]:
    """Call `function` with 0 … count − 1; results in that order.

    The work is numpy's, which lets threads run side by side; the results don't depend on them.
    """
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        return list(pool.map(function, range(count)))
