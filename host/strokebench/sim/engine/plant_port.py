"""The classroom's way: a real Pico runs the firmware, its readings come from the plant on this computer.

Lock-step as in :mod:`strokebench.sim.engine.micropython`, in the frames of the bench's own link: per
simulated millisecond ``readings`` go out and ``outputs`` come back; see firmware/strokefw/plant_board.py.
Time is virtual, so a slow computer or cable makes it slow, not different.  The Pico's own outputs are held
off from the first request until its next reset.
"""

from __future__ import annotations

import contextlib
import struct
from array import array
from collections.abc import Callable

from strokefw import faults
from strokefw.link import wire

from strokebench.bench.spec import SimSpec
from strokebench.errors import LinkError, LinkLost, Refused, UsageError
from strokebench.link.link import Link
from strokebench.link.port import Port
from strokebench.link.serial import SerialPort
from strokebench.sim.board.board import SimBoard
from strokebench.sim.engine.lock_step import LockStepPort

HANGS_S = 10.0
"""A tick with its frames takes some ms; beginning anew, which loads a module from flash, about a second."""
CHECK_S = 3.0
OURS = frozenset(wire.ID[name] for name in ("outputs", "plant_burst", "plant_want"))


class PlantPort(LockStepPort):
    """A port (see :mod:`strokebench.link.port`) to the firmware on a Pico; ``board`` holds the plant.

    Raises :class:`LinkError` when no bench answers or it cannot do this, :class:`Refused` while it is armed.
    """

    closed_text = "The Pico's port is closed."

    def __init__(self, spec: SimSpec, pipe: Port | None = None, board: SimBoard | None = None) -> None:
        if spec.memory:
            raise UsageError("--memory does not go with --plant.", "Leave it out: nothing is kept.")
        if pipe is None and spec.port is None:
            raise UsageError("The engine 'plant' needs a Pico.", "Name its port.")
        self.name = spec.port or "the Pico"
        super().__init__(spec, board)
        self._pipe = SerialPort(self.name) if pipe is None else pipe
        self._decoder = wire.Decoder()
        self._rest = b""
        self._told = -1
        try:
            self._take_over()
        except BaseException:
            self._pipe.close()
            raise

    def _take_over(self) -> None:
        link = Link(self._pipe, self.name)
        link.hello()  # an armed bench goes back to ready
        deadline_s = self._pipe.now() + CHECK_S
        while not self._asked(link, last=self._pipe.now() > deadline_s):
            link.poll(0.1)
        self._answer(b"")  # to no question: it tells its outputs when it is ready
        self._await_outputs()
        self.board.to_host.clear()  # what the bench said before

    def _asked(self, link: Link, last: bool) -> bool:
        try:
            link.request("plant", self.board.kind())
        except Refused as error:
            if error.code == faults.NOT_NOW and not last:  # the check after power-up is still going on
                return False
            if error.code != faults.UNKNOWN_MESSAGE:
                raise
            raise LinkError(
                f"The bench at {self.name} cannot take readings from a plant.",
                "Only a real Pico can (`strokebench flash`); a simulated bench has a plant of its own.",
            ) from None
        return True

    # -- one millisecond -------------------------------------------------------------------------------------

    def _exchange(self) -> None:
        board = self.board
        self._await_outputs()  # of a turn that Ctrl-C cut short; else they are there
        said = self._go_on()
        kind = wire.ID["readings"]
        body = wire.pack(
            kind, board.estop(), board.burst_ready(), board.tripped(), board.trips(),
            tail=_little(self._scan),
        )  # fmt: skip
        self._pipe.write(said + wire.frame(kind, board.tick & 0xFF, body))
        self._await_outputs()

    def _await_outputs(self) -> None:
        """Take what the Pico says until its turn is over; what is the bench's own goes to ``to_host``."""
        deadline_s = self._pipe.now() + HANGS_S
        while self._told != self.board.tick & 0xFF:
            data = self._pipe.read(0.5)
            if data:
                self._sort(data)
            elif self._pipe.now() > deadline_s:
                self._closed = True  # who then wants to stop it need not wait again
                raise LinkLost(
                    f"The Pico at {self.name} did not end a tick within {HANGS_S:g} s.",
                    "Unplug it and plug it in again.",
                )

    def _sort(self, data: bytes) -> None:
        pieces = (self._rest + data).split(b"\0")
        self._rest = pieces.pop()
        for piece in pieces:
            if len(piece) > 1 and piece[1] in OURS:  # the type stands behind COBS's first code
                for kind, seq, body in self._decoder.feed(piece + b"\0"):
                    _DO[kind](self, seq, *wire.unpack(kind, body))
            else:
                self.board.to_host += piece + b"\0"

    def _outputs(
        self, tick: int, drive: int, gate: int, rail: int, led: int, fed: int, trigger: int, trip_ma: int,
        pulses: bytes,
    ) -> None:  # fmt: skip
        board = self.board
        self._set(drive, gate, rail, led, fed, trip_ma)
        if trigger:
            board.burst_trigger()
        for leg, side, us in struct.iter_unpack(wire.TAIL[wire.ID["outputs"]], pulses):
            board.pulse(leg, side, us)
        self._told = tick

    def _burst(self, _seq: int, channel: int, rate_hz: int, count: int, pre: int) -> None:
        self._answer(struct.pack("<I", self.board.burst_start(channel, rate_hz, count, pre)))

    def _want(self, _seq: int, offset: int, length: int) -> None:
        piece = bytearray(length)
        self._answer(bytes(piece[: self.board.burst_copy(offset, piece)]))

    def _answer(self, data: bytes) -> None:
        self._pipe.write(wire.frame(wire.ID["plant_data"], 0, data))

    # -- port ------------------------------------------------------------------------------------------------

    def write(self, data: bytes) -> None:
        """Hand ``data`` to the bench; it goes out with the next millisecond's readings."""
        self._check_open()
        self.board.hear(data)

    def close(self) -> None:
        """Let go of the Pico, which keeps its outputs off until it is reset; may be called twice."""
        self._closed = True
        with contextlib.suppress(LinkError):
            self._pipe.close()


_DO: dict[int, Callable[..., None]] = {
    wire.ID["outputs"]: PlantPort._outputs,
    wire.ID["plant_burst"]: PlantPort._burst,
    wire.ID["plant_want"]: PlantPort._want,
}


def _little(counts: array[int]) -> bytes:
    return struct.pack(f"<{len(counts)}H", *counts)
