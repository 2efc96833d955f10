"""The hand that puts the pin finder's two clips onto a simulated plug, whose pins are in random order."""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence

from strokebench.sim.board.board import SimBoard
from strokebench.sim.board.wires import LEADS, PINS, PROBE, WIRE

CASE = "case"


class Clips:
    """``names``: what the plug's pins are called; ``roles``: what is really on them, as in ``PINS``."""

    def __init__(self, board: SimBoard, roles: Sequence[str]) -> None:
        self._bench = board.bench
        self.names = [str(number) for number in range(1, len(roles) + 1)]
        mixed = list(roles)
        random.Random(f"plug {board.spec.seed}").shuffle(mixed)
        self.role_of = dict(zip(self.names, mixed, strict=True))
        for lead in LEADS:
            self._bench.set(f"{WIRE}{lead}", 0.0)
        self._bench.set(PROBE)

    def put(self, red: str, black: str) -> None:
        """Put the red clip on one pin and the black one on another, or on the case."""
        self._bench.set(f"{WIRE}sensor_a", self._pin(red))
        self._bench.set(f"{WIRE}ground", self._pin(black))

    def connect(self, pin_of: Mapping[str, str]) -> None:
        """Take the clips off and put the bench's leads on the pins named."""
        self._bench.end(PROBE)
        for lead in LEADS:
            self._bench.set(f"{WIRE}{lead}", self._pin(pin_of[lead]) if lead in pin_of else 0.0)

    def _pin(self, name: str) -> float:
        role = CASE if name == CASE else self.role_of[name]
        return float(PINS.index(role) + 1)
