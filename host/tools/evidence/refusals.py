"""What the bench answers to each request in each state, found by asking it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from strokebench.bench.spec import SimSpec
from strokefw import state
from strokefw.drive import ramp
from strokefw.link import wire

from tools.evidence.faults.causes import HOLD, LIMITS
from tools.evidence.rig import Rig

_SEGMENT = (0, ramp.HOLD, 0, 100, 0, 0, 0, 0, 0, 0, 0, 0, 0)
_VALUES = tuple(LIMITS.values())
_LOOSER = tuple({**LIMITS, "current_mean_ma": LIMITS["current_mean_ma"] + 500}.values())
_TOO_MUCH = tuple({**LIMITS, "current_max_ma": 99000}.values())

REQUESTS: dict[str, tuple[str, tuple[Any, ...]]] = {
    "hello": ("hello", (wire.PROTOCOL,)),
    "status": ("status", ()),
    "heartbeat": ("heartbeat", ()),
    "limits, the same": ("limits", _VALUES),
    "limits, looser": ("limits", _LOOSER),
    "limits, beyond the bench": ("limits", _TOO_MUCH),
    "arm": ("arm", ()),
    "disarm": ("disarm", ()),
    "procedure_begin": ("procedure_begin", (1,)),
    "segment": ("segment", _SEGMENT),
    "run": ("run", ()),
    "stop": ("stop", (0,)),
    "clear": ("clear", ()),
    "jog": ("jog", (1000,)),
    "selftest": ("selftest", ()),
    "events": ("events", ()),
}


def _brought(where: int) -> Rig:
    rig = Rig(SimSpec(seed=7))
    if where == state.CHECK:
        rig.tick(20)
        return rig
    rig.ready((*_VALUES[:4], 3, *_VALUES[5:]) if where == state.STOPPING else _VALUES)
    if where == state.LATCHED:
        rig.board.bench.set("estop")
        rig.tick(5)
        rig.board.bench.end("estop")
        rig.tick(20)
    if where >= state.ARMED and where != state.LATCHED:
        assert rig.result("arm") == 0
        rig.load((ramp.RAMP, HOLD, 100, *_SEGMENT[4:]), (ramp.HOLD, HOLD, 9000, *_SEGMENT[4:]))
    if where in (state.DRIVING, state.STOPPING):
        assert rig.result("run") == 0
        rig.tick(900)
    if where == state.STOPPING:
        assert rig.result("stop", 0) == 0
        rig.tick(2)
    assert rig.app.state == where, (where, rig.app.state)
    return rig


def refusals(bring: Callable[[int], Rig] = _brought) -> dict[str, dict[int, int]]:
    """Return the result code of every request in every state; 0 also stands for an answer with contents."""
    return {
        title: {where: bring(where).result(name, *values) for where in range(state.CHECK, state.LATCHED + 1)}
        for title, (name, values) in REQUESTS.items()
    }
