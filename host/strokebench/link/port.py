"""The byte pipe that every way of reaching a bench offers: serial line, simulation, test fake."""

from __future__ import annotations

from typing import Protocol


class Port(Protocol):
    """Bytes both ways and a clock, which is virtual where the bench runs in lock-step with the host."""

    def read(self, timeout_s: float) -> bytes:
        """Return what has arrived, waiting up to ``timeout_s`` for the first byte; empty when nothing came.

        Raises :class:`strokebench.errors.LinkLost` when the other end is gone.
        """

    def write(self, data: bytes) -> None:
        """Send all of ``data``; raises :class:`strokebench.errors.LinkLost` when it cannot be delivered."""

    def close(self) -> None:
        """Let go of the bench; may be called twice."""

    def now(self) -> float:
        """Return seconds on the bench's clock or one that keeps up with it, monotonic."""
