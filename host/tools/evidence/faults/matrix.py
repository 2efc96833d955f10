"""Every fault in every state; :mod:`tools.evidence.faults.page` writes docs/fault-matrix.md from it.

A cell is one run of the firmware on the simulated bench: bring it to the state, begin the cause, watch
tick by tick what it does, end the cause, and try what gets it going again.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

from strokefw import faults, state
from strokefw.drive import ramp

from tools.evidence.faults.causes import CAUSES, LIMITS, Cause, TamperedBoard
from tools.evidence.rig import Rig, Step

STATES = (state.CHECK, state.READY, state.ARMED, state.DRIVING, state.STOPPING)
STOPPING_SLEW = 3  # slow enough to be caught on the way
WAIT_MS = 200
CHECK_MS = 6000
TRIES = 60


@dataclass(frozen=True)
class Cell:
    """What one run showed. Times in ticks from the cause; None: the bridge was off already, or stayed on.

    ``code`` is the first code shown, or the answer to arming in ``check``; ``row_code`` and ``end_code``
    stand in the recording's last row and in its end.
    """

    code: int
    in_state: int
    off_after: int | None
    told_after: int | None
    ends_in: int
    row_code: int
    end_code: int
    recovery: str
    worst_step: int


def limits_of(cause: Cause, in_state: int) -> tuple[int, ...]:
    """Return the limits message's values for one run."""
    values = {**LIMITS, **cause.limits}
    if in_state == state.STOPPING:
        values["slew_per_ms"] = STOPPING_SLEW
    return tuple(values.values())


def bring(cause: Cause, in_state: int) -> Rig:
    """Return a bench in the state in which the cause is to begin (ready, for a check)."""
    board = TamperedBoard(cause.spec)
    cause.prepare(board)
    rig = Rig(cause.spec, board=board)
    rig.ready(limits_of(cause, in_state))
    if in_state in (state.CHECK, state.READY):
        rig.tick(50)
        return rig
    assert rig.result("arm") == 0
    rig.tick(50)
    if in_state == state.ARMED:
        return rig
    hold = (
        (ramp.RAMP, cause.hold, 100, 0, 0, 0, 0, 0, 0, 0, 0, 0),
        (ramp.HOLD, cause.hold, 60000, 0, 0, 0, 0, 0, 0, 0, 0, 0),
    )
    rig.load(*(cause.segments or hold))
    assert rig.result("run") == 0
    if in_state == state.STOPPING:
        rig.tick(3300 if cause.segments else cause.hold // STOPPING_SLEW + 300)
        assert rig.result("stop", 0) == 0
        rig.tick(3)
    else:
        rig.tick(cause.at_ms)
    assert rig.app.state == in_state, (cause.how, rig.app.state, rig.app.shown)
    return rig


def run(cause: Cause, in_state: int) -> Cell:
    """Run one cell."""
    rig = bring(cause, in_state)
    began = len(rig.steps)
    was_on = rig.steps[-1].gate == 1
    cause.begin(rig)
    shown = _watch(rig, cause, in_state)
    seen = rig.steps[began:]
    off = next((n + 1 for n, step in enumerate(seen) if not step.gate), None) if was_on else None
    told_after = next((n + 1 for n, step in enumerate(seen) if step.shown == shown), None) if shown else None
    ends_in = rig.app.state
    if in_state != state.CHECK:
        rig.tick(WAIT_MS)
        ends_in = rig.app.state
    ended = [event for event in rig.events if event[1] == state.EVENT_RUN_END]
    recorded = rig.rows if in_state >= state.DRIVING else []
    assert not any(step.gate for step in rig.steps if step.state == state.LATCHED), cause.how
    return Cell(
        code=shown,
        in_state=in_state,
        off_after=off,
        told_after=told_after,
        ends_in=ends_in,
        row_code=max((row[-1] for row in recorded), key=lambda code: int(faults.SEVERITY[code]), default=0),
        end_code=ended[-1][4] if ended else 0,
        recovery=_recover(rig, cause),
        worst_step=_worst_step(seen),
    )


def _watch(rig: Rig, cause: Cause, in_state: int) -> int:
    """Let the cause act; return the code it came to (the answer to ``arm`` in a check), 0 if none."""
    if in_state == state.CHECK:
        return _check(rig, cause)
    wanted = min(faults.SEVERITY[cause.code], faults.STOP)
    for _ in range(cause.patience):
        cause.each(rig)
        rig.tick()
        code = int(rig.app.shown)
        if code and faults.SEVERITY[code] >= wanted:
            while faults.SEVERITY[code] >= faults.STOP and rig.app.state in (state.DRIVING, state.STOPPING):
                rig.tick()
            return code
        if rig.app.state != in_state:
            return 0
    return 0


def _check(rig: Rig, cause: Cause) -> int:
    for _ in range(cause.lead_ms):
        cause.each(rig)
        rig.tick()
    seq = rig.send("arm")
    for _ in range(CHECK_MS):
        cause.each(rig)
        rig.tick()
        if seq in rig.answers:
            return int(rig.answers[seq][1][0]) or rig.app.shown
    return int(rig.app.shown)


def _worst_step(steps: list[Step]) -> int:
    """Return the largest change of drive between two ticks with the gates on."""
    changes = (abs(b.drive - a.drive) for a, b in itertools.pairwise(steps) if a.gate and b.gate)
    return max(changes, default=0)


def _recover(rig: Rig, cause: Cause) -> str:
    """End the cause and do what a person would; return what it took."""
    if isinstance(rig.board, TamperedBoard):
        rig.board.deaf = False
        rig.tick(5)
    if rig.app.state in (state.DRIVING, state.STOPPING):
        rig.result("stop", 1)
        return "goes on"
    cause.end(rig)
    rig.tick(50)
    steps: list[str] = []
    for tries in range(TRIES):
        if rig.app.state == state.LATCHED:
            code = rig.result("clear")
            if code == 0:
                steps.append("clear" + (f" after {tries} s" if tries else ""))
        if rig.app.state == state.ARMED or (rig.app.state == state.READY and _armed_again(rig, steps, tries)):
            return ", ".join(steps) or "stays armed"
        for _ in range(10):
            rig.tick(100)
    return f"not within {TRIES} s (code {rig.app.shown or rig.app.guard.block})"


def _armed_again(rig: Rig, steps: list[str], tries: int) -> bool:
    if rig.result("arm"):
        return False
    steps.append("arm" + (f" after {tries} s" if tries and not steps else ""))
    return True


def matrix() -> dict[Cause, dict[int, Cell]]:
    """Run everything."""
    return {cause: {where: run(cause, where) for where in STATES} for cause in CAUSES}
