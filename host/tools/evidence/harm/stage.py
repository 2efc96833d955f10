"""A bench with one part, compiled with a witness, that a search can let live through a minute in some 10 ms.

The firmware's service runs whenever the host says something, and the tick as always; the host reads nothing,
which stops nothing. A reset restarts the firmware for good: its whole state is that of one newly made.
"""

from __future__ import annotations

import random
from array import array
from dataclasses import dataclass, replace
from typing import Any

from strokebench.bench.spec import SimSpec
from strokebench.link.conversion import limits_values
from strokebench.parts import load_part
from strokebench.sim.board.board import SimBoard
from strokebench.sim.board.bridge import Bridge
from strokebench.sim.fast.flatten import Flattener
from strokebench.sim.fast.load import function
from strokebench.sim.fast.memory import TRAP, Memory
from strokebench.sim.plants import make_plant
from strokefw import state
from strokefw.app import App
from strokefw.link import service as link_service
from strokefw.link import wire
from strokefw.link.service import Service
from strokefw.link.watch import LinkWatch
from strokefw.tick import kernel as at

from tools.evidence.harm.witness import Witness

NOISE = 4093
HEARTBEAT_MS = 2000
BEAT_TICKS = 1500
REQUESTS_MAX, SLOW_TICKS_MAX = 300, 2000
"""A life ends with so many requests, or ticks in which the bench has a trouble of its own: they take long."""
CHECK_TICKS = 1200
"""Arming waits for the capacitors to charge, and for a bridge that was charged above the supply."""
BLOCK = """
def block(_i, _f, count, deferred):
    {take}
    done = 0
    while done < count:
        {go_on}(_i, _f)
        {tick}(_i, _f)
        {look}(_i, _f)
        done = done + 1
        if _i[{trap}] or _i[{pulse}]:
            break
        if deferred and _i[{words} + {answer}] != {pending} and _i[{words} + {ask}] == 0:
            break
        _i[{words} + {alive}] = {lively}
    {give}
    return done
"""
EFFORT = 2


@dataclass(frozen=True)
class Part:
    """A specimen: ``faults`` as injected; the winding's thermal mass, way out and resistance are scaled."""

    part: str
    seed: int
    faults: tuple[str, ...] = ()
    mass: float = 1.0
    way_out: float = 1.0
    ohms: float = 1.0
    heat_share: float = 1.0
    """Heat budget and rest current of the part, in those of its profile: a small part on the same limits."""

    @property
    def name(self) -> str:
        """The specimen in a few words."""
        shares = {
            "thermal mass": self.mass, "thermal resistance": self.way_out, "resistance": self.ohms,
            "heat budget": self.heat_share,
        }  # fmt: skip
        scaled = (f"{name} x{share:g}" for name, share in shares.items() if share != 1.0)
        return ", ".join((f"{self.part} {self.seed}", *self.faults, *scaled))


class NoisyBoard(SimBoard):
    """A board whose sensor tracks can be disturbed, and whose host reads nothing."""

    def __init__(self, spec: SimSpec, plant: Any) -> None:
        super().__init__(spec, plant)
        dice = random.Random(spec.seed)
        self._white = [dice.gauss(0.0, 1.0) for _ in range(NOISE)]
        self._noise_at = 0
        self.noise_v = self.swing_v = 0.0
        self.swing_ticks = 100

    def go_on(self) -> None:
        """A millisecond, with what the wires pick up."""
        super().go_on()
        at = self._noise_at = (self._noise_at + 1) % NOISE
        turn = self.tick % self.swing_ticks
        swing = self.swing_v if 2 * turn < self.swing_ticks else -self.swing_v
        self._sensor_a_v += self.noise_v * self._white[at] + swing

    def write(self, buf: Any, n: int) -> int:
        """Take nothing."""
        return 0


class Stage:
    """See the module. ``ticks`` counts all that were ever simulated."""

    def __init__(self, part: Part) -> None:
        self.part = part
        spec = SimSpec(part.part, part.seed, part.faults)
        plant: Any = make_plant(spec)
        heat = plant._heat
        plant._heat = replace(
            heat, winding_j_per_k=part.mass * heat.winding_j_per_k,
            winding_k_per_w=part.way_out * heat.winding_k_per_w,
        )  # fmt: skip
        plant._resistance_ohm *= part.ohms
        plant._refresh()
        self.board = NoisyBoard(spec, plant)
        self.app = App(self.board)
        self.witness = Witness(plant)
        self.limits = self._limits()
        self.ticks = self._left = self.requests_left = self.slow_ticks_left = 0
        self._seq = 0
        self._heard_at = 0
        self._compile()
        things = (self.board, self.board.bridge, plant, self.witness)
        self._first = [(thing, _numbers(thing)) for thing in things]

    def _limits(self) -> dict[str, int]:
        values = limits_values(load_part(self.part.part).limits)
        limits = dict(zip(wire.LIMIT_FIELDS, values, strict=True)) | {"heartbeat_ms": HEARTBEAT_MS}
        for name in ("i2t_part_a2s", "i2t_part_rest_ma"):
            limits[name] = round(self.part.heat_share * limits[name])
        return limits

    def _compile(self) -> None:
        app, board = self.app, self.board
        memory = self.memory = Memory()
        flat = Flattener(memory, (Bridge.advance_troubled,))
        places = {
            "tick": flat.add(app.tick), "go_on": flat.add(board.go_on), "look": flat.add(self.witness.look),
        }  # fmt: skip
        numbers = {
            "trap": TRAP, "words": memory.live(app.words).base, "answer": at.ANSWER, "ask": at.ASK,
            "pulse": memory.number(board.bridge, "_pulse_us")[1], "pending": state.ANSWER_PENDING,
            "alive": at.ALIVE, "lively": link_service.ALIVE,
        }  # fmt: skip
        copies = {
            way: "\n    ".join(memory.copying(giving)) for way, giving in (("take", False), ("give", True))
        }
        text = flat.module() + BLOCK.format(**places, **numbers, **copies)
        memory.ready()
        self._block = function(text, "block", "ii", EFFORT)
        self._at = memory.ints.ctypes.data, memory.floats.ctypes.data

    # -- time ------------------------------------------------------------------------------------------------

    def begin(self, ticks: int) -> None:
        """Everything cold and as new, power just switched on; ``ticks`` to live."""
        for thing, numbers in self._first:
            vars(thing).update({name: _copied(value) for name, value in numbers.items()})
        for name in list(self.board.bench.active):
            self.board.bench.end(name)
        self.board.slots.clear()
        self.board._look_at_bench()
        self._left = ticks
        self.requests_left, self.slow_ticks_left = REQUESTS_MAX, SLOW_TICKS_MAX
        self.restart(power_lost=True)
        self.witness.begin()

    @property
    def over(self) -> bool:
        """Whether the life is."""
        return self._left <= 0 or self.requests_left <= 0 or self.slow_ticks_left <= 0

    @property
    def state(self) -> int:
        """State of the bench."""
        return int(self.app.state)

    def restart(self, power_lost: bool) -> None:
        """Restart the firmware, by its watchdog or because the power was away for a moment."""
        board = self.board
        if power_lost:
            for place in range(len(board.scratch)) if hasattr(board, "scratch") else ():
                board.scratch[place] = 0
        board.cause = 0 if power_lost else 1
        board.drive(0, 0)
        board.rail(0)
        board.from_host.clear()
        transplant(App(board), self.app)
        self._heard_at = board.tick

    def run(self, ticks: int) -> None:
        """Let time pass, never beyond the end; heartbeats go out by themselves."""
        end = max(0, self._left - ticks)
        while self._left > end:
            if self.board.tick - self._heard_at >= BEAT_TICKS:
                self.say("heartbeat")
            beat = BEAT_TICKS - (self.board.tick - self._heard_at)
            self._pass(max(1, min(self._left - end, beat)))
            self.app.service()

    def _pass(self, most: int) -> None:
        board, bridge = self.board, self.board.bridge
        if board.bench.version != board._bench_seen or not bridge.sound or bridge._pulse_us:
            board.step()
            self.app.tick()
            self.witness.look()
            self.slow_ticks_left -= 1
            done = 1
        else:
            if board.from_host:
                most = 1
            memory = self.memory
            if not memory.same():
                self._compile()
                memory = self.memory
            memory.take()
            done = int(self._block(*self._at, most, int(bool(self.app.link.deferred))))
            memory.give()
            if memory.ints[TRAP]:
                raise ArithmeticError(f"trap {memory.ints[TRAP]}")
        self._left -= done
        self.ticks += done

    # -- the host --------------------------------------------------------------------------------------------

    def say(self, name: str, *values: int) -> None:
        """Send a request; it is read at the end of the next tick."""
        self.requests_left -= 1
        self._seq = self._seq % 255 + 1
        kind = wire.ID[name]
        self.board.hear(wire.frame(kind, self._seq, wire.pack(kind, *values)))
        self._heard_at = self.board.tick

    def heard(self) -> None:
        """Let everything that was said be read."""
        while self.board.from_host and not self.over:
            self.run(1)

    def ask(self, name: str, *values: int) -> None:
        """Send a request and let it be obeyed."""
        self.say(name, *values)
        self.run(2)

    def set_limits(self, limits: dict[str, int]) -> None:
        """Send limits; the witness goes by the widest that were ever sent."""
        witness = self.witness
        self.ask("limits", *limits.values())
        witness.stall_a = max(witness.stall_a, limits["stall_ma"] * 1e-3)
        witness.mean_a = max(witness.mean_a, limits["current_mean_ma"] * 1e-3)
        witness.peak_a = max(witness.peak_a, limits["current_max_ma"] * 1e-3)

    def first_limits(self, limits: dict[str, int]) -> None:
        """Wait for the check after power-up, greet, and send the first limits."""
        witness = self.witness
        witness.stall_a = witness.mean_a = witness.peak_a = 0.0
        self.wait_for(lambda now: now not in (state.OFF, state.CHECK))
        self.ask("hello", wire.PROTOCOL)
        self.set_limits(limits)

    def wait_for(self, there: Any, ticks: int = CHECK_TICKS) -> None:
        """Let time pass until the state is as wished, at most ``ticks``."""
        for _ in range(0, ticks, 20):
            if self.over or there(self.state):
                return
            self.run(20)

    def make_armed(self) -> bool:
        """Do what a host can to get the bench armed; return whether it is."""
        if self.state == state.LATCHED:
            self.ask("clear")
        if self.state == state.READY:
            self.ask("arm")
            end = max(0, self._left - CHECK_TICKS)
            while self._left > end and self.app.link.deferred:  # the check answers when it is over
                self._pass(self._left - end)
                self.app.service()
        return bool(self.state == state.ARMED)


def _numbers(thing: Any) -> dict[str, Any]:
    """Return the attributes of an object that change while it lives."""
    return {
        name: _copied(value)
        for name, value in vars(thing).items()
        if isinstance(value, (bool, int, float)) or name == "_nodes"
    }


def _copied(value: Any) -> Any:
    return list(value) if isinstance(value, (list, tuple)) else value


def transplant(new: Any, old: Any) -> None:
    """Give the firmware ``old`` the whole state of ``new``; its objects and arrays stay the same ones."""
    _copy_state(new, old, set())
    old.link = Service(old)
    old.link_watch = LinkWatch(new.reset_cause, old.words, at.LINK_CODE)


def _copy_state(new: Any, old: Any, done: set[int]) -> None:
    if id(old) in done:
        return
    done.add(id(old))
    for name, value in vars(new).items():
        before = getattr(old, name)
        if value is before or name in ("board", "_board", "link", "link_watch"):
            continue
        if (isinstance(value, array) and len(value) == len(before)) or isinstance(value, bytearray):
            before[:] = value
        elif isinstance(value, (bool, int, float, bytes, array)) or value is None:
            setattr(old, name, value)
        elif type(value).__module__.startswith("strokefw"):
            _copy_state(value, before, done)
