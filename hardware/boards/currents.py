"""What is known of a board's currents: along which pads they flow, and what warms it."""

from __future__ import annotations

from dataclasses import dataclass

PREPREG_M = 0.2e-3
"""Front to ground plane, and layer 2 to back, in a common stack of four layers; from memory."""
BOARD_M = 1.6e-3


@dataclass(frozen=True)
class Path:
    """A stretch of the lasting current's way, from pad to pad (REF.NUMBER)."""

    name: str
    start: str
    end: str


@dataclass(frozen=True)
class Leg:
    """A piece of a fast loop. On the front over the ground plane, or back in that plane."""

    name: str
    """What the decks of `hardware.twin` ask for, such as "ceramic to drain"."""
    start: str
    end: str
    front: bool = True


@dataclass(frozen=True)
class Currents:
    """What `hardware.boards.figures` computes for a board."""

    amps: float
    paths: tuple[Path, ...]
    loops: dict[str, tuple[Leg, ...]]
    parts_w: dict[str, float]
    """Heat of parts at that current, all of it into the board."""
    warm: tuple[str, ...]
    """Parts whose places are listed."""
    cell: int
    """Pixels (1/20 mm) of the solver's cell."""
