"""What the ports share whose firmware runs elsewhere, in lock-step with a plant in this process."""

from __future__ import annotations

from array import array

from strokefw import channels
from strokefw.plant_board import NO_LEVEL

from strokebench.bench.spec import SimSpec
from strokebench.data.samples import TICK_S
from strokebench.errors import LinkLost
from strokebench.sim.board.board import SimBoard


class LockStepPort:
    """The reading side of a port (:mod:`strokebench.link.port`); one exchange is one simulated millisecond.

    ``board`` is the host's half: the plant, and what the firmware's outputs do to it.
    """

    closed_text = "The simulated bench is closed."
    _closed = False

    def __init__(self, spec: SimSpec, board: SimBoard | None = None) -> None:
        self.board = SimBoard(spec) if board is None else board
        self._scan = array("H", [0] * channels.N_CHANNELS)

    def _exchange(self) -> None:
        """Let the firmware do one tick."""
        raise NotImplementedError

    def _go_on(self) -> bytes:
        """Let the plant go on by a millisecond, its readings to ``_scan``; return what the host has said."""
        board = self.board
        board.step()
        board.scan(self._scan)
        said = bytes(board.from_host)
        board.from_host.clear()
        return said

    def _set(self, drive: int, gate: int, rail: int, led: int, fed: int, trip_ma: int) -> None:
        """Hand the firmware's outputs of this millisecond to the board."""
        board = self.board
        board.drive(drive, gate)
        board.rail(rail)
        board.led(led)
        if fed:
            board.watchdog()
        if trip_ma > NO_LEVEL:
            board.trip_level(trip_ma)

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
