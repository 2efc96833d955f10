"""A vehicle's wires as plants have them: the resistance of one side, and the defect of each side."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from strokebench.physics.wire import awg_area_mm2, resistance_ohm
from strokebench.sim.faults import FaultKind
from strokebench.sim.plants.pieces.spread import about
from strokebench.sim.plants.pieces.winding import Winding

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


# gauge, length (m), contacts (ohm)
SUPPLY_SIDE = (14, 4.0, 0.010)
GROUND_SIDE = (16, 1.5, 0.006)


class Harnessed(Winding):
    """A part behind a vehicle's wires whose connector is watched: to be put in front of a family's part.

    ``supply_ohm`` and ``ground_ohm`` lie between the part's connector and the bench's terminals.
    """

    supply_ohm = ground_ohm = 0.0

    def wire(self, seed: int, extra: Mapping[str, float]) -> None:
        """Put a good harness in, drawn from ``seed``; ``extra``: sizes of the part's defects by name."""
        rng = np.random.default_rng((seed, 4))
        supply_ohm, ground_ohm = (side_ohm(*side, 0.5, rng) for side in (SUPPLY_SIDE, GROUND_SIDE))
        supply_ohm += extra.get("supply_resistance", 0.0)
        ground_ohm += extra.get("ground_resistance", 0.0)
        bench_ohm = self.conditions.lead_ohm - extra.get("lead_resistance", 0.0)  # its own leads, both ways
        self._lead_ohm += supply_ohm + ground_ohm
        self.supply_ohm = supply_ohm + 0.5 * bench_ohm
        self.ground_ohm = ground_ohm + 0.5 * bench_ohm
        self._refresh()

    def advance(self, drive: float, gate: bool, rail: int, dt_s: float = 0.001) -> None:
        super().advance(drive, gate, rail, dt_s)
        self.sensor_a_v = self.leg_a_v - self.current_a * self.supply_ohm
        self.sensor_b_v = self.leg_b_v + self.current_a * self.ground_ohm
