"""Which defects are put into simulated parts for the table of effects, and which pairs for its test."""

from __future__ import annotations

from itertools import combinations
from typing import Any

import numpy as np
from strokebench.bench.spec import SimSpec
from strokebench.sim.plants import available
from strokebench.sim.trials import Trial, conditions
from strokebench.verdict.hypotheses import HOLDS, OPPOSITE

ENDS_ALL = (*HOLDS, "open_winding", "open_wire", "track_dead", "track_shorted")
"""Defects behind which no second can be seen: nothing flows, nothing moves, or nothing tells where it is."""
OF_BENCH = ("weak_battery",)
"""What is wrong with the bench's supply, not with the part: it makes a run inconclusive."""


def pairs(part: str) -> list[tuple[str, str]]:
    """Return the names of all pairs of defects of a part that can be there and seen together."""
    names = [kind.name for kind in available(part) if kind.name not in (*ENDS_ALL, *OF_BENCH)]
    return [pair for pair in combinations(names, 2) if set(pair) not in OPPOSITE]


def injected(part: str, names: tuple[str, ...], grade: str, seed: int, like: SimSpec | None = None) -> Trial:
    """Return the trial of a specimen with these defects of that grade, at places drawn from the seed."""
    rng = np.random.default_rng((seed, 97))
    kinds = {kind.name: kind for kind in available(part)}
    texts = [f"{name}={getattr(kinds[name], grade):.4g}{_place(kinds[name], rng)}" for name in names]
    return Trial("+".join(names), grade, conditions(part, seed, tuple(texts), like))


def _place(kind: Any, rng: np.random.Generator) -> str:
    if kind.places:
        return f"@{rng.choice(kind.places)}"
    return f"@{rng.uniform(0.2, 0.9):.3f}" if kind.place_means else ""
