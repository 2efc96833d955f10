"""Waiting for a condition, never for a time."""

from __future__ import annotations

import time
from collections.abc import Callable

POLL_S = 0.02
"""Between two looks at what is waited for."""


def comes_true(condition: Callable[[], bool], limit_s: float = 10.0) -> bool:
    """Return True as soon as ``condition()``, False when that takes longer than ``limit_s``."""
    deadline_s = time.monotonic() + limit_s
    while not condition():
        if time.monotonic() > deadline_s:
            return False
        time.sleep(POLL_S)
    return True


def wait_until(
    condition: Callable[[], bool], what: str = "it did not come to that", limit_s: float = 30.0
) -> None:
    """Return when ``condition()``; AssertionError with ``what`` when that takes longer than ``limit_s``."""
    assert comes_true(condition, limit_s), what
