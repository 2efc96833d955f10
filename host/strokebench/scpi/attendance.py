"""Who drives, and whether that client is still there: a client that is gone lets the part go."""

from __future__ import annotations

import time
from collections.abc import Callable

from strokebench.panel.deadman import Deadman

PATIENCE_S = 5.0


class Attendance(Deadman):
    """One client drives at most. Used from the network's loop and from the bench's thread.

    By hand, the client that drives must send something within ``patience_s``, or be waiting for an answer.
    A procedure keeps to its own limits and ends by itself: it only needs the client's connection, which the
    system probes.
    """

    def __init__(self, patience_s: float = PATIENCE_S, clock: Callable[[], float] = time.monotonic) -> None:
        super().__init__(clock)
        self.patience_s = patience_s
        self._now = clock
        self._owner: str | None = None
        self._heard_s = float("-inf")
        self._waiting = 0

    @property
    def owner(self) -> str | None:
        """The client that drives."""
        return self._owner

    def lock(self, client: str) -> bool:
        """Let ``client`` drive if nobody else does; return whether it does now."""
        if self._owner is None:
            self._owner, self._heard_s = client, self._now()
        return self._owner == client

    def unlock(self, client: str) -> bool:
        """Let go; True if ``client`` drove."""
        if self._owner != client:
            return False
        self._owner = None
        return True

    def heard(self, client: str) -> None:
        """Note that ``client`` has sent something."""
        if client == self._owner:
            self._heard_s = self._now()

    def waits(self, client: str, change: int) -> None:
        """Note that ``client`` begins (1) or ends (-1) to wait for an answer of ours."""
        if client == self._owner:
            self._waiting = max(0, self._waiting + change)
            self._heard_s = self._now()

    def silent_s(self) -> float:
        """Return the seconds since the client that drives said something; infinite when nobody does."""
        if self._owner is None:
            return float("inf")
        return 0.0 if self._waiting else self._now() - self._heard_s

    def limit_s(self, procedure: bool) -> float:
        """Return how long it may say nothing."""
        return float("inf") if procedure else self.patience_s

    def silent(self, procedure: bool = False) -> bool:
        """Tell that nobody who is there drives: nothing may move."""
        return self._owner is None or self.silent_s() > self.limit_s(procedure)
