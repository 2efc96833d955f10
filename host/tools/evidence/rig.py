"""A simulated bench held by the neck: firmware and board stepped tick by tick, every tick's outputs kept.

For proofs, not for users: where :class:`strokebench.bench.bench.Bench` hides the ticks, this shows them.
"""

from __future__ import annotations

from typing import Any, NamedTuple

from strokebench.bench.spec import SimSpec
from strokebench.link.conversion import limits_values
from strokebench.parts.limits import Limits
from strokebench.sim.board.board import SimBoard
from strokebench.sim.plants.base import Plant
from strokefw import state
from strokefw.app import App
from strokefw.link import wire

HEARTBEAT_TICKS = 100


class Step(NamedTuple):
    """What one tick left behind: state, drive (1/10000), gates, main switch, code shown, current in mA."""

    state: int
    drive: int
    gate: int
    rail: int
    shown: int
    current_ma: int


class Rig:
    """Firmware on a simulated board.

    ``steps`` holds every tick since power-up, ``rows`` and ``events`` what the bench sent. ``alive`` lets the
    host's heartbeats go out by themselves.
    """

    def __init__(self, spec: SimSpec, plant: Plant | None = None, board: SimBoard | None = None) -> None:
        self.board = SimBoard(spec, plant) if board is None else board
        self.app = App(self.board)
        self.alive = True
        self.steps: list[Step] = []
        self.rows: list[tuple[int, ...]] = []
        self.events: list[tuple[int, ...]] = []
        self.answers: dict[int, tuple[str, tuple[Any, ...]]] = {}
        self._decoder = wire.Decoder()
        self._seq = 0

    def tick(self, count: int = 1) -> None:
        """Let ``count`` milliseconds pass."""
        board, app = self.board, self.app
        for _ in range(count):
            if self.alive and board.tick % HEARTBEAT_TICKS == 0:
                self.send("heartbeat")
            board.step()
            app.tick()
            bridge = board.bridge
            self.steps.append(
                Step(app.state, bridge.drive, bridge.gate, bridge.rail, app.shown, app.sense.current_ma)
            )
            app.service()
            self._take()

    def _take(self) -> None:
        data = bytes(self.board.to_host)
        self.board.to_host.clear()
        for kind, seq, body in self._decoder.feed(data):
            values = wire.unpack(kind, body)
            name = wire.NAME[kind]
            if name == "samples":
                raw = values[-1]
                self.rows += wire.struct.iter_unpack(wire.SAMPLE_FORMAT, raw)
            elif name == "event":
                self.events.append(values)
            elif kind not in wire.UNSOLICITED:
                self.answers[seq] = (name, values)

    def send(self, name: str, *values: Any, tail: bytes = b"") -> int:
        """Write a request and return its number."""
        self._seq = self._seq % 255 + 1
        kind = wire.ID[name]
        self.board.hear(wire.frame(kind, self._seq, wire.pack(kind, *values, tail=tail)))
        self.answers.pop(self._seq, None)
        return self._seq

    def ask(self, name: str, *values: Any, ticks: int = 4000) -> tuple[str, tuple[Any, ...]]:
        """Write a request, let time pass until its answer, and return the answer's name and values."""
        seq = self.send(name, *values)
        for _ in range(ticks):
            self.tick()
            if seq in self.answers:
                return self.answers[seq]
        raise TimeoutError(f"no answer to {name} within {ticks} ms")

    def result(self, name: str, *values: Any) -> int:
        """Ask, and return the result code of the answer (0 for an answer that is a message of its own)."""
        kind, fields = self.ask(name, *values)
        return int(fields[0]) if kind in ("reply", "selftest_report") else 0

    def ready(self, limits: Limits | tuple[int, ...]) -> None:
        """Wait for the power-up check, greet, and put limits in force; they must be accepted."""
        self.tick()
        if self.app.state == state.OFF:  # restarted by its watchdog, it waits to be asked
            self.ask("selftest")
        while self.app.state == state.CHECK:
            self.tick()
        self.ask("hello", wire.PROTOCOL)
        values = limits_values(limits) if isinstance(limits, Limits) else limits
        assert self.ask("limits", *values)[0] == "limits_in_force"

    def arm(self, limits: Limits | tuple[int, ...]) -> None:
        """Go to armed; the check must pass."""
        self.ready(limits)
        code = self.result("arm")
        assert code == 0, code

    def load(self, *segments: tuple[int, ...]) -> None:
        """Send a procedure of segment messages without their index; all must be accepted."""
        assert self.result("procedure_begin", len(segments)) == 0
        for index, values in enumerate(segments):
            assert self.result("segment", index, *values) == 0, values
