"""A vehicle's wires as plants have them: the resistance of one side, and the defect of each side."""

from __future__ import annotations

import numpy as np

from strokebench.physics.wire import awg_area_mm2, resistance_ohm
from strokebench.sim.faults import FaultKind
from strokebench.sim.plants.pieces.spread import about

STRANDED = 1.03
"""A stranded wire is longer than its run by the lay of its strands."""


def side_faults(moderate_ohm: float, severe_ohm: float) -> tuple[FaultKind, ...]:
    """Return the defects "a bad wire or joint" of the supply side and of the ground side."""
    return tuple(
        FaultKind(
            f"{side}_resistance",
            f"the {side} wire or a joint in it is bad",
            "extra ohms",
            moderate_ohm,
            severe_ohm,
        )
        for side in ("supply", "ground")
    )


def side_ohm(
    gauge: int, length_m: float, contacts_ohm: float, contacts_share: float, rng: np.random.Generator
) -> float:
    """Return one good side at 25 C: wire by gauge and length, and contacts that spread by their share."""
    wire_ohm = STRANDED * resistance_ohm(awg_area_mm2(gauge), length_m, 25.0)
    return about(wire_ohm, 0.04, rng) + about(contacts_ohm, contacts_share, rng)
