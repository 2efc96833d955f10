"""A port that looks up while it waits, so that a STOP gets through whatever the bench is being asked."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from strokebench.link.port import Port

LOOK_S = 0.01


class StopNow(Exception):
    """Leave whatever is going on and de-energise the part; says why."""


class WatchedPort:
    """A :class:`strokebench.link.port.Port` around another; waiting calls ``look`` at least every 20 ms.

    ``look`` may raise :class:`StopNow`, which then comes out of any request or run that was waiting.
    """

    def __init__(self, inner: Port, look: Callable[[], None]) -> None:
        self._inner = inner
        self._look = look

    def read(self, timeout_s: float) -> bytes:
        """Return what has arrived, waiting up to ``timeout_s``, looking up meanwhile."""
        deadline_s = self._inner.now() + timeout_s
        while True:
            self._look()
            left_s = deadline_s - self._inner.now()
            data = self._inner.read(max(0.0, min(LOOK_S, left_s)))
            if data or left_s <= LOOK_S:
                return data

    def write(self, data: bytes) -> None:
        """Send all of ``data``."""
        self._inner.write(data)

    def close(self) -> None:
        """Close the inner port."""
        self._inner.close()

    @property
    def board(self) -> Any:
        """The simulated board behind the port, None on a real bench: a hand moves its wires."""
        return getattr(self._inner, "board", None)

    def now(self) -> float:
        """Return the inner port's clock."""
        return self._inner.now()
