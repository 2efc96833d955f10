"""What the ports share whose firmware runs elsewhere, in lock-step with a plant in this process."""

from __future__ import annotations

from strokebench.errors import LinkLost
from strokebench.link.conversion import TICK_S
from strokebench.sim.board.board import SimBoard


class LockStepPort:
    """The reading side of a port (:mod:`strokebench.link.port`); one exchange is one simulated millisecond.

    ``board`` is the host's half: the plant, and what the firmware's outputs do to it.
    """

    board: SimBoard
    closed_text = "The simulated bench is closed."
    _closed = False

    def _exchange(self) -> None:
        """Let the firmware do one tick."""
        raise NotImplementedError

    def read(self, timeout_s: float) -> bytes:
        """Return what the bench has sent; let up to ``timeout_s`` of its time pass if there is nothing."""
        self._check_open()
        board = self.board
        left = round(timeout_s / TICK_S)
        while left > 0 and not board.to_host:
            self._exchange()
            left -= 1
        data = bytes(board.to_host)
        board.to_host.clear()
        return data

    def _check_open(self) -> None:
        if self._closed:
            raise LinkLost(self.closed_text, "Open it again.")

    def now(self) -> float:
        """Return simulated seconds since power-up."""
        return self.board.tick * TICK_S
