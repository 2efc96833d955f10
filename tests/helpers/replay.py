"""Runs of the protection search written down tick by tick, to be played again on another engine."""

from __future__ import annotations

import random
from array import array
from dataclasses import dataclass, field
from typing import Any

from strokebench.data.samples import TICK_S
from strokebench.link.port import Port
from strokebench.sim.board.board import SimBoard
from tools.evidence.faults.causes import TamperedBoard

from tests.closed_loop.test_protection_stateful import TROUBLES, VALUED, Bench

Outputs = tuple[int, int, int]


@dataclass
class Life:
    """One life of a bench, from power-up to the next reset.

    ``heard``, ``set`` and ``ended`` by tick: bytes from the host, troubles that begin (with their value) or
    end. ``said`` is what the bench wrote, ``outputs`` its drive, gate and main switch after each tick.
    """

    cause: int
    slots: dict[int, bytes]
    scratch: tuple[int, ...]
    heard: list[tuple[int, bytes]] = field(default_factory=list)
    troubles: list[tuple[int, str, float | None]] = field(default_factory=list)
    said: bytearray = field(default_factory=bytearray)
    outputs: list[Outputs] = field(default_factory=list)
    states: list[int] = field(default_factory=list)


class Recorded(Bench):
    """The search's own machine, every promise checked in each tick, with a pen."""

    def __init__(self) -> None:
        super().__init__()
        self.lives: list[Life] = []
        self._start(0)

    def _start(self, cause: int) -> None:
        self._close_life()
        super()._start(cause)
        board = self.rig.board
        life = Life(cause, dict(board.slots), self.scratch_at_start)
        self.lives.append(life)
        _note_down(board, life)

    def _close_life(self) -> None:
        if self.lives:
            self.lives[-1].outputs = [(step.drive, step.gate, step.rail) for step in self.rig.steps]
            self.lives[-1].states = [step.state for step in self.rig.steps]

    def finish(self) -> list[Life]:
        """Return what was written down."""
        self._close_life()
        return self.lives


def _note_down(board: SimBoard, life: Life) -> None:
    """Let ``board`` copy what it hears, says and suffers into ``life``."""
    hear, write, begin, end = board.hear, board.write, board.bench.set, board.bench.end

    def hearing(data: bytes) -> None:
        life.heard.append((board.tick, bytes(data)))
        hear(data)

    def writing(buf: Any, n: int) -> int:
        life.said += bytes(buf[:n])
        return write(buf, n)

    def beginning(name: str, value: float = 1.0) -> None:
        life.troubles.append((board.tick, name, value))
        begin(name, value)

    def ending(name: str) -> None:
        life.troubles.append((board.tick, name, None))
        end(name)

    board.hear, board.write = hearing, writing  # type: ignore[method-assign]
    board.bench.set, board.bench.end = beginning, ending  # type: ignore[method-assign]


def perform(seed: int, acts: int) -> list[Life]:
    """Let the machine live through ``acts`` random acts; an act that breaks a promise raises."""
    dice = random.Random(seed)
    machine = Recorded()
    machine._go(400)
    for _ in range(acts):
        dice.choice(ACTS)(machine, dice)
    return machine.finish()


def _changes(dice: random.Random) -> dict[str, int]:
    choices = {
        "current_mean_ma": (800, 3000),
        "slew_per_ms": (5, 100),
        "stall_ms": (100, 2000),
        "flags": (4, 7),
    }
    return {name: dice.choice(values) for name, values in choices.items() if dice.random() < 0.3}


def _parts(dice: random.Random) -> list[tuple[int, ...]]:
    """Return one to three segments; most watch nothing."""
    return [
        (dice.randrange(5), dice.randint(-10000, 10000), dice.randint(1, 400), dice.randint(1, 60),
         dice.randint(1, 60), dice.randint(1, 5), 0, dice.choice((0, 0, 0, 1, 2)), dice.randrange(2),
         dice.randint(0, 9000), 0, dice.randrange(20))
        for _ in range(dice.randint(1, 3))
    ]  # fmt: skip


def _trouble(machine: Bench, dice: random.Random) -> None:
    machine.trouble(dice.choice(TROUBLES), dice.random() < 0.7)


ACTS: tuple[Any, ...] = (
    lambda machine, dice: machine.whole_run(_changes(dice), _parts(dice)),
    lambda machine, dice: machine.whole_run(_changes(dice), _parts(dice)),
    lambda machine, dice: machine.whole_run({}, _parts(dice)),
    lambda machine, dice: machine.simple(dice.choice(("hello", "arm", "disarm", "run", "clear", "selftest"))),
    lambda machine, dice: machine.jog(dice.randint(-12000, 12000)),
    lambda machine, dice: machine.stop(dice.randrange(2)),
    lambda machine, dice: machine.time_passes(dice.choice((5, 30, 300))),
    lambda machine, dice: machine.host(dice.random() < 0.5),
    lambda machine, dice: machine.noise(dice.randrange(2**32), dice.randint(1, 200)),
    lambda machine, dice: machine.damaged_request(dice.randrange(2**32), dice.choice(("run", "jog", "arm"))),
    _trouble,
    lambda machine, dice: machine.passing_trouble(dice.choice(VALUED), dice.choice((5, 50, 400))),
    lambda machine, dice: machine.all_well(),
    lambda machine, dice: machine.reset(dice.randrange(4)),
)


def board_for(life: Life, spec: Any) -> TamperedBoard:
    """Return a board as it was when this life began."""
    board = TamperedBoard(spec)
    board.cause = life.cause
    board.slots = dict(life.slots)
    board.scratch = array("H", life.scratch)
    return board


def play(life: Life, port: Port, board: SimBoard) -> tuple[bytes, list[Outputs]]:
    """Play a life on ``port``, whose board is ``board``; return what the bench said and its outputs."""
    heard, troubles = list(life.heard), list(life.troubles)
    said, outputs = bytearray(), []
    for _ in life.outputs:
        while troubles and troubles[0][0] <= board.tick:
            _tick, name, value = troubles.pop(0)
            if value is None:
                board.bench.end(name)
            else:
                board.bench.set(name, value)
        while heard and heard[0][0] <= board.tick:
            port.write(heard.pop(0)[1])
        said += port.read(TICK_S)
        bridge = board.bridge
        outputs.append((bridge.drive, bridge.gate, bridge.rail))
    return bytes(said), outputs
