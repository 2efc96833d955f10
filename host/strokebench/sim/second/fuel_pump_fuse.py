"""The second family's fuel pump through its fuse socket: the vehicle's harness between bench and pump.

Wires and contacts, and what sensor inputs A and B sit on, are those of the first family: copper is copper.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from strokebench.bench.spec import SimSpec
from strokebench.sim.faults import parse_all
from strokebench.sim.plants.fuel_pump_fuse import FAULTS as FAULTS
from strokebench.sim.plants.fuel_pump_fuse import GROUND_SIDE, SUPPLY_SIDE
from strokebench.sim.plants.pieces.harness import side_ohm
from strokebench.sim.second import fuel_pump
from strokebench.sim.second.rotor import Spun

HARNESSED = replace(fuel_pump.PUMP, faults=FAULTS)


class HarnessedPump(Spun):
    """``supply_ohm`` and ``ground_ohm`` lie between the pump's connector and the bench's terminals."""

    supply_ohm = ground_ohm = 0.0

    def wire(self, supply_ohm: float, ground_ohm: float, bench_ohm: float) -> None:
        """Put the harness in; ``bench_ohm`` are the bench's own leads, there and back, before it."""
        self._lead_ohm += supply_ohm + ground_ohm
        self.supply_ohm = supply_ohm + 0.5 * bench_ohm
        self.ground_ohm = ground_ohm + 0.5 * bench_ohm
        self._refresh()

    def advance(self, drive: float, gate: bool, rail: int, dt_s: float = 0.001) -> None:
        super().advance(drive, gate, rail, dt_s)
        self.sensor_a_v = self.leg_a_v - self.current_a * self.supply_ohm
        self.sensor_b_v = self.leg_b_v + self.current_a * self.ground_ohm


def build(spec: SimSpec) -> HarnessedPump:
    """Return the pump that ``spec`` asks for; UsageError for unknown faults."""
    extra = {fault.name: fault.size for fault in parse_all(spec.faults, spec.part, FAULTS)}
    plant = HARNESSED.build_as(HarnessedPump, spec)
    rng = np.random.default_rng((spec.seed, 4))
    supply_ohm, ground_ohm = (side_ohm(*side, 0.5, rng) for side in (SUPPLY_SIDE, GROUND_SIDE))
    plant.wire(
        supply_ohm + extra.get("supply_resistance", 0.0),
        ground_ohm + extra.get("ground_resistance", 0.0),
        bench_ohm=plant.conditions.lead_ohm - extra.get("lead_resistance", 0.0),
    )
    return plant
