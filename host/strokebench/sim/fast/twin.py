"""The compiled twin of a bench in process: board, plant and the firmware's tick, many ticks a call.

The objects stay what they are. Before a call their numbers are copied into the twin's memory, afterwards
back, so whoever looks at them between two calls sees what the plain code would have left there.
"""

from __future__ import annotations

from typing import Any

from strokefw import state
from strokefw.drive import kernel as ramp_kernel
from strokefw.drive import ramp
from strokefw.link import service as link_service
from strokefw.link import watch, wire
from strokefw.tick import kernel as at

from strokebench.sim.board.board import SimBoard
from strokebench.sim.board.bridge import Bridge
from strokebench.sim.fast.flatten import Flattener
from strokebench.sim.fast.load import function
from strokebench.sim.fast.memory import TRAP, Memory

BLOCK = """
def block(_i, _f, count, tell_tail, row_tail, deferred):
    {take}
    done = 0
    while done < count:
        {go_on}(_i, _f)
        {tick}(_i, _f)
        done = done + 1
        if _i[{trap}] or _i[{pulse}] or _i[{words} + {tell_head}] != tell_tail:
            break
        if _i[{ramp} + {capture}] == {asked} or _i[{ramp} + {capture}] == {running}:
            break
        if deferred and _i[{words} + {answer}] != {pending} and _i[{words} + {ask}] == 0:
            break
        rows = (_i[{words} + {ring_head}] - row_tail) & {mask}
        if rows >= {rows_max}:
            break
        if rows and (_i[{words} + {run}] | _i[{words} + {tail}] | _i[{words} + {always}]) == 0:
            break
        _i[{words} + {alive}] = {lively}
    {give}
    return done
"""
"""Ticks until the firmware's main loop has something to do that it must not do a tick later."""


class Twin:
    """The twin of ``app`` on ``board``. Raises NotFlat when something of them cannot be compiled."""

    def __init__(self, board: SimBoard, app: Any) -> None:
        self.board, self.app = board, app
        self._make()

    def _make(self) -> None:
        board, app = self.board, self.app
        memory = self._memory = Memory()
        flat = Flattener(memory, (Bridge.advance_troubled,))
        places = {"tick": flat.add(app.tick), "go_on": flat.add(board.go_on)}
        numbers = {
            "trap": TRAP, "words": memory.live(app.words).base, "ramp": memory.live(app.ramp.words).base,
            "pulse": memory.number(board.bridge, "_pulse_us")[1], "tell_head": at.TELL_HEAD,
            "capture": ramp_kernel.CAPTURE, "asked": ramp.CAPTURE_ASKED, "running": ramp.CAPTURE_RUNNING,
            "answer": at.ANSWER, "pending": state.ANSWER_PENDING, "ask": at.ASK, "ring_head": at.RING_HEAD,
            "mask": state.TICK_MASK, "rows_max": wire.ROWS_MAX, "run": at.RUNNING, "tail": at.TAIL,
            "always": at.ALWAYS, "alive": at.ALIVE, "lively": link_service.ALIVE,
        }  # fmt: skip
        copies = {
            way: "\n    ".join(memory.copying(giving)) for way, giving in (("take", False), ("give", True))
        }
        self.text = flat.module() + BLOCK.format(**places, **numbers, **copies)
        memory.ready()
        self._block = function(self.text, "block", "iiii")
        self._at = memory.ints.ctypes.data, memory.floats.ctypes.data
        self._tick = app.tick

    def run(self, most: int) -> int:
        """Let up to ``most`` ms pass, until the service has something to do; return how many did.

        0 when the next one is for the plain code: a capture, a trouble of the bench that begins or ends.
        """
        app = self.app
        most = min(most, self._before_troubles())
        if most <= 0 or app.ramp.capture in (ramp.CAPTURE_ASKED, ramp.CAPTURE_RUNNING):
            return 0
        service = app.link
        if self._busy(service):
            most = 1
        since = (app.ticks - app.link_watch._at) & state.TICK_MASK
        most = max(1, min(most, watch.LOOK_TICKS - since))
        memory = self._memory
        if app.tick is not self._tick or not memory.same():
            self._make()
            memory = self._memory
        memory.take()
        try:
            done = self._block(*self._at, most, service.tell_tail, service.row_tail, bool(service.deferred))
        finally:  # a Ctrl-C comes to light when the compiled code is back
            memory.give()
        if memory.ints[TRAP]:
            raise ArithmeticError(f"compiled code: trap {memory.ints[TRAP]}")
        return int(done)

    def _busy(self, service: Any) -> bool:
        """True while the firmware's main loop has something to do in each millisecond."""
        return bool(
            self.board.from_host or service._replies or service._out_end or service.burst.pending
            or service.tell_tail != self.app.tell_head
        )  # fmt: skip

    def _before_troubles(self) -> int:
        """Return how many ms the bench certainly stays as it is."""
        board = self.board
        bench, bridge = board.bench, board.bridge
        if bench.version != board._bench_seen or board._ripple_v or not bridge.sound or bridge._pulse_us:
            return 0
        if board.raw is not None or (board.capture is not None and not board.capture.ready):
            return 0
        return int(min((bench.next_s - board.tick * 1e-3) * 1e3 - 1.5, 1e6))
