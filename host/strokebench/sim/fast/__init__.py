"""The compiled twin of a simulated bench (extra ``fast``): the same bytes out, several times faster.

Nothing is written twice. ``flatten`` follows the living objects of a bench (app, board, plant) through the
source of their own methods and makes one flat module of functions on numbers: an attribute that is a number
becomes a place in memory, everything else is settled. ``machine`` turns that into machine code. What cannot
be flattened runs as it is, in plain Python; so does everything when the extra is not installed.
"""

from __future__ import annotations

import importlib.util
import os
from typing import TYPE_CHECKING, Any

from strokebench.sim.fast.values import NotFlat

if TYPE_CHECKING:
    from strokebench.sim.board.board import SimBoard
    from strokebench.sim.fast.twin import Twin

SWITCH = "STROKEBENCH_FAST"
"""Environment variable: 0 keeps everything in plain Python."""


def wanted() -> bool:
    """Return whether benches are to be compiled: the extra is there, and nobody has switched it off."""
    return os.environ.get(SWITCH) != "0" and importlib.util.find_spec("llvmlite") is not None


def twin_of(board: SimBoard, app: Any) -> Twin | None:
    """Return the compiled twin of a bench; None when it has to run in plain Python."""
    from strokebench.sim.fast.twin import Twin

    try:
        return Twin(board, app)
    except NotFlat:
        return None
