"""Whatever arrives in whatever order, the bench keeps its promises: messages, nonsense, troubles, resets.

Every tick is looked at. STROKEBENCH_STATEFUL_EXAMPLES sets how many runs, STROKEBENCH_SHRINK lets
a run that breaks a promise be shrunk to the shortest one that does.
"""

from __future__ import annotations

import os
import random
from collections import Counter

import hypothesis.strategies as st
import pytest
from hypothesis import HealthCheck, Phase, settings
from hypothesis.stateful import RuleBasedStateMachine, initialize, rule
from strokebench.bench.spec import SimSpec
from strokebench.sim.board.troubles import KNOWN, NEEDS_VALUE
from strokefw import faults, state
from strokefw.drive import ramp
from strokefw.guard import budget, current, stall
from strokefw.guard import limits as guard_limits
from strokefw.link import wire
from strokefw.tick import check
from tools.evidence.faults.causes import LIMITS, TamperedBoard
from tools.evidence.rig import Rig, Step

EXAMPLES = int(os.environ.get("STROKEBENCH_STATEFUL_EXAMPLES", "60"))
SHRINK = (Phase.shrink,) if "STROKEBENCH_SHRINK" in os.environ else ()
DRIVEN = (state.DRIVING, state.STOPPING)
SPEC = SimSpec(seed=11)
TROUBLES = tuple(sorted(set(KNOWN) - set(NEEDS_VALUE)))
VALUED = (
    ("supply", 8.0), ("supply", 17.5), ("supply", 0.0), ("source", 1.5), ("feed", 4.0), ("heatsink", 95.0),
    ("part", 150.0), ("fine_zero", 3.0),
)  # fmt: skip
GRAIN = 240_000
"""What 8 ticks of the largest current add to a budget, in its units: so much may be lost in a reset."""
SEEN: Counter[int] = Counter()
"""Ticks looked at, by state."""
numbers = st.integers(0, 2**32 - 1)

segments = st.tuples(
    st.sampled_from((ramp.RAMP, ramp.HOLD, ramp.STEP, ramp.PULSE, ramp.PAUSE)),
    st.integers(-10000, 10000),
    st.integers(1, 400),
    st.integers(1, 60),
    st.integers(1, 60),
    st.integers(1, 5),
    st.integers(-3000, 3000),
    st.integers(0, 6),
    st.integers(0, 1),
    st.integers(0, 9000),
    st.integers(0, 200),
    st.integers(0, 20),
)
limit_changes = st.fixed_dictionaries(
    {},
    optional={
        "current_max_ma": st.sampled_from((3000, 14000, 60000)),
        "current_mean_ma": st.sampled_from((800, 3000, 11000)),
        "slew_per_ms": st.sampled_from((5, 50, 100, 500)),
        "stall_ms": st.sampled_from((100, 2000, 30000)),
        "stall_ma": st.sampled_from((500, 3000)),
        "heartbeat_ms": st.sampled_from((100, 500, 2000)),
        "i2t_part_a2s": st.sampled_from((1, 600)),
        "drive_max": st.sampled_from((0, 4000, 10000)),
        "flags": st.integers(0, 7),
    },
)


class Bench(RuleBasedStateMachine):
    """Random hosts and random mishaps against one simulated bench."""

    @initialize()
    def power_up(self) -> None:
        self._start(0)

    def _start(self, cause: int) -> None:
        board = TamperedBoard(SPEC)
        board.cause = cause
        if hasattr(self, "rig"):
            board.slots = self.rig.board.slots
            if cause:  # the chip kept its power
                board.scratch = self.rig.board.scratch
        self.scratch_at_start = tuple(board.scratch)
        self.rig = Rig(SPEC, board=board)
        self._look_at_memory(in_a_new_life=any(board.scratch))
        move = self.rig.app._move

        def moved(new: int) -> None:  # a tick may pass through several states: look at each step
            old = self.rig.app.state
            assert old == new or state.ALLOWED[old] >> new & 1, (old, new)
            move(new)

        self.rig.app._move = moved
        self.before = Step(0, 0, 0, 0, 0, 0)
        self.slew = self.was_slew = 1000

    # -- what a host may do ------------------------------------------------------------------------------

    @rule(changes=limit_changes)
    def limits(self, changes: dict[str, int]) -> None:
        self.rig.send("limits", *({**LIMITS, **changes}[name] for name in LIMITS))
        self._go(2)

    @rule(name=st.sampled_from(("hello", "arm", "arm", "disarm", "run", "run", "clear", "clear", "selftest")))
    def simple(self, name: str) -> None:
        self.rig.send(name, *((wire.PROTOCOL,) if name == "hello" else ()))
        self._go(2)

    @rule(parts=st.lists(segments, min_size=1, max_size=4))
    def procedure(self, parts: list[tuple[int, ...]]) -> None:
        self.rig.send("procedure_begin", len(parts))
        self._go(1)
        for index, values in enumerate(parts):
            self.rig.send("segment", index, *values)
            self._go(1)

    @rule(drive=st.integers(-12000, 12000))
    def jog(self, drive: int) -> None:
        self.rig.send("jog", drive)
        self._go(2)

    @rule(now=st.integers(0, 1))
    def stop(self, now: int) -> None:
        self.rig.send("stop", now)
        self._go(2)

    @rule(changes=limit_changes, parts=st.lists(segments, min_size=1, max_size=3))
    def whole_run(self, changes: dict[str, int], parts: list[tuple[int, ...]]) -> None:
        """What a well-behaved host does, so that deep states are reached often."""
        self.rig.alive = True
        self.limits(changes)
        self.simple("clear")
        self.simple("arm")
        self._go(700)
        self.procedure(parts)
        self.simple("run")
        self._go(150)

    @rule(changes=limit_changes, parts=st.lists(segments, min_size=1, max_size=3))
    def run_and_ramp_down(self, changes: dict[str, int], parts: list[tuple[int, ...]]) -> None:
        """The same, and the host ends it before its time."""
        self.whole_run(changes, parts)
        self.stop(0)
        self._go(60)

    # -- what may happen ---------------------------------------------------------------------------------

    @rule(ticks=st.sampled_from((1, 5, 30, 300, 900)))
    def time_passes(self, ticks: int) -> None:
        self._go(ticks)

    @rule(alive=st.booleans())
    def host(self, alive: bool) -> None:
        """The host falls silent, or comes back."""
        self.rig.alive = alive
        self._go(20)

    @rule(seed=numbers, count=st.integers(1, 200))
    def noise(self, seed: int, count: int) -> None:
        self.rig.board.hear(random.Random(seed).randbytes(count))
        self._go(1)

    @rule(seed=numbers, name=st.sampled_from(("run", "arm", "clear", "jog", "limits", "hello")))
    def damaged_request(self, seed: int, name: str) -> None:
        """A frame with flipped bits never does what the frame would have done."""
        dice = random.Random(seed)
        values = {"jog": (5000,), "limits": tuple(LIMITS.values()), "hello": (wire.PROTOCOL,)}.get(name, ())
        kind = wire.ID[name]
        data = bytearray(wire.frame(kind, 200, wire.pack(kind, *values)))
        data[dice.randrange(len(data) - 1)] ^= 1 << dice.randrange(8)
        bad = self.rig.app.link.decoder.bad_frames
        was = self.rig.app.state
        self.rig.alive = False
        self.rig.board.hear(b"\0" + bytes(data) + b"\0")
        self._go(1)
        assert self.rig.app.link.decoder.bad_frames > bad or "link_silent" in self.rig.board.bench.active
        assert self.rig.app.state == was or self.rig.app.state not in DRIVEN or was in DRIVEN

    @rule(name=st.sampled_from(TROUBLES), on=st.booleans())
    def trouble(self, name: str, on: bool) -> None:
        if on:
            self.rig.board.bench.set(name)
        else:
            self.rig.board.bench.end(name)
        self._go(10)

    @rule(which=st.sampled_from(VALUED), ticks=st.sampled_from((5, 50, 400)))
    def passing_trouble(self, which: tuple[str, float], ticks: int) -> None:
        self.rig.board.bench.set(*which)
        self._go(ticks)
        self.rig.board.bench.end(which[0])

    @rule()
    def all_well(self) -> None:
        for name in tuple(self.rig.board.bench.active):
            self.rig.board.bench.end(name)
        self.rig.alive = True
        self._go(300)

    @rule(us=st.sampled_from((500, 1500, 20000)))
    def late_tick(self, us: int) -> None:
        assert isinstance(self.rig.board, TamperedBoard)
        self.rig.board.late_us += us
        self._go(1)

    @rule(cause=st.integers(0, 3))
    def reset(self, cause: int) -> None:
        self._go(8)  # of what the last 8 ms brought a reset may lose all (docs/safety.md)
        self._start(cause)
        self._go(5)

    # -- the promises ------------------------------------------------------------------------------------

    def _go(self, ticks: int) -> None:
        app = self.rig.app
        for _ in range(ticks):
            self.was_slew = self.slew
            self.slew = app.ramp.slew
            armed = app.state
            self.rig.tick()
            self._tick(armed, self.rig.steps[-1])

    def _look_at_memory(self, in_a_new_life: bool = False) -> None:
        """Heat and held time are taken back no faster than they cool; a reset takes nothing back."""
        guard = self.rig.app.guard
        words, places = guard.budgets.words, tuple(guard.current_words[current.WAS_A : current.WAS_B + 1])
        spent = [words[budget.WORDS * i + budget.SPENT] for i in range(3)]
        if in_a_new_life or self.rig.steps:
            for i, before in enumerate(self.spent):
                cooled = GRAIN if in_a_new_life else (self.tight[i] ** 2 >> 9) + 1
                assert spent[i] >= before - cooled, (i, before, spent[i])
            moved = places != self.places and not in_a_new_life
            assert moved or words[stall.HELD] >= self.held - (1024 if in_a_new_life else 256)
        self.spent, self.held, self.places = spent, words[stall.HELD], places
        self.tight = [words[budget.WORDS * i + budget.TIGHT] for i in range(3)]

    def _tick(self, was: int, now: Step) -> None:
        app = self.rig.app
        self._look_at_memory()
        if now.gate and now.state != state.CHECK:  # driven only in the two states for it, supply closed
            assert now.state in DRIVEN and now.rail == 2, now
        before = self.before
        if now.state == state.CHECK and abs(now.drive) > check.LOOP_DRIVE:  # a tick that tries the fast limit
            assert abs(now.drive) <= check.PUSH_MAX and app.check_then == state.ARMED, now
            assert before.drive == 0 and now.rail == 1, (before, now)
        if now.gate and now.state in DRIVEN:
            slew = max(self.slew, self.was_slew, app.ramp.slew)
            old = before.drive if before.gate and before.state in DRIVEN else 0
            assert abs(now.drive - old) <= slew, (before, now, slew)
            assert now.drive * old >= 0, (before, now)
            assert abs(now.drive) <= 10000
        if now.state == state.LATCHED:  # off within the tick, and stays so until cleared
            assert not now.gate and now.drive == 0 and now.rail == 0, now
            assert app.fault and faults.LATCHED[app.fault]
        if was == state.LATCHED and now.state != state.LATCHED:
            assert now.state == state.READY and not app.guard.block
            words = app.guard.budgets.words
            assert not any(words[budget.WORDS * i + budget.OWED] for i in range(3)), "cleared, not cooled"
        if now.state in DRIVEN:
            assert guard_limits.check(app.limits, None, False, guard_limits.ABSOLUTE[app.kind]) == 0
            silence = app.limits.heartbeat_ms + 20
            assert now.state == state.STOPPING or app.guard.silent_ms <= silence, "driven without a word"
        SEEN[now.state] += 1
        self.before = now


Bench.TestCase.settings = settings(
    max_examples=EXAMPLES,
    stateful_step_count=30,
    deadline=None,
    suppress_health_check=list(HealthCheck),
    phases=(Phase.explicit, Phase.reuse, Phase.generate, *SHRINK),
    derandomize="STROKEBENCH_STATEFUL_EXAMPLES" not in os.environ,
)


@pytest.mark.slow
class TestPromises(Bench.TestCase):  # type: ignore[name-defined,misc]
    """The search, and that it went where it matters."""

    def runTest(self) -> None:
        super().runTest()
        seldom = {state.NAMES[where]: SEEN[where] for where in range(1, 7) if SEEN[where] < 100}
        assert not seldom, (seldom, SEEN)
