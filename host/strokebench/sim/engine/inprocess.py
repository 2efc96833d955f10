"""The firmware's own modules on a simulated board, in this process, in lock-step with the host.

Time is virtual: it moves one millisecond at a time, and only while the host waits in
``InProcessPort.read``. The same seed and the same requests therefore give the same bytes on any machine
at any load.
"""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

from strokefw.app import App

from strokebench.bench.spec import SimSpec
from strokebench.data.samples import TICK_S
from strokebench.errors import LinkLost
from strokebench.sim import fast
from strokebench.sim.board.board import SimBoard

if TYPE_CHECKING:
    from strokebench.sim.fast.twin import Twin

PATIENCE_TICKS = 300
"""A bench that is not used for longer is not worth compiling."""


class InProcessPort:
    """A port (see :mod:`strokebench.link.port`) to a simulated bench; ``board`` is for tests to look at."""

    def __init__(self, spec: SimSpec, board: SimBoard | None = None) -> None:
        self.board = SimBoard(spec) if board is None else board
        self.app = App(self.board)
        self._closed = False
        self._twin: Twin | None = None
        self._plain_ticks = PATIENCE_TICKS if fast.wanted() else sys.maxsize

    def read(self, timeout_s: float) -> bytes:
        """Return what the bench has sent; let up to ``timeout_s`` of its time pass if there is nothing."""
        if self._closed:
            raise LinkLost("The simulated bench is closed.", "Open it again.")
        board, service = self.board, self.app.service
        left = round(timeout_s / TICK_S)
        while left > 0 and not board.to_host:
            left -= self._pass(left)
            service()
        data = bytes(board.to_host)
        board.to_host.clear()
        return data

    def _pass(self, most: int) -> int:
        """Let up to ``most`` milliseconds pass, one of them at least; return how many."""
        if self._twin is not None:
            done = self._twin.run(most)
            if done:
                return done
        elif self._plain_ticks > 0:
            self._plain_ticks -= 1
        else:
            self._twin, self._plain_ticks = fast.twin_of(self.board, self.app), sys.maxsize
        self.board.step()
        self.app.tick()
        return 1

    def write(self, data: bytes) -> None:
        """Hand ``data`` to the bench; it reads it in its next millisecond."""
        if self._closed:
            raise LinkLost("The simulated bench is closed.", "Open it again.")
        self.board.hear(data)

    def close(self) -> None:
        """Unplug."""
        self._closed = True

    def now(self) -> float:
        """Return simulated seconds since power-up."""
        return self.board.tick * TICK_S
