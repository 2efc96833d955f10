"""The fuel pump through its fuse socket: harness and ground return of the vehicle between bench and pump.

Sensor inputs A and B sit on the pump connector's plus and minus, both against the bench's ground; the
inputs end at 5 V, so they can be read only at low drive. Wire by gauge and length; one consistent invention.
"""

from __future__ import annotations

import numpy as np

from strokebench.bench.spec import SimSpec
from strokebench.physics.wire import awg_area_mm2, resistance_ohm
from strokebench.sim.faults import FaultKind, parse_all
from strokebench.sim.plants import fuel_pump
from strokebench.sim.plants.rotary import Rotary
from strokebench.sim.plants.spread import about
from strokebench.sim.plants.turning import build_turning

SUPPLY_GAUGE, SUPPLY_LENGTH_M, SUPPLY_CONTACTS_OHM = 14, 4.0, 0.010
GROUND_GAUGE, GROUND_LENGTH_M, GROUND_CONTACTS_OHM = 16, 1.5, 0.006

FAULTS = (
    *fuel_pump.FAULTS,
    FaultKind("supply_resistance", "the supply wire or a joint in it is bad", "extra ohms", 0.1, 0.3),
    FaultKind("ground_resistance", "the ground wire or a joint in it is bad", "extra ohms", 0.1, 0.3),
)


class HarnessedPump(Rotary):
    """A pump whose connector can be watched; ``supply_ohm`` and ``ground_ohm`` lie between it and the
    bench."""

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
    faults = parse_all(spec.faults, spec.part, FAULTS)
    extra = {fault.name: fault.size for fault in faults}
    plant = build_turning(
        spec, FAULTS, fuel_pump.NOMINAL, fuel_pump.SPEED_RAD_S, fuel_pump.own, HarnessedPump
    )
    rng = np.random.default_rng((spec.seed, 4))
    sides = [
        about(1.03 * resistance_ohm(awg_area_mm2(gauge), length_m, 25.0), 0.04, rng)
        + about(contacts_ohm, 0.5, rng)
        for gauge, length_m, contacts_ohm in (
            (SUPPLY_GAUGE, SUPPLY_LENGTH_M, SUPPLY_CONTACTS_OHM),
            (GROUND_GAUGE, GROUND_LENGTH_M, GROUND_CONTACTS_OHM),
        )
    ]
    bench_ohm = plant.conditions.lead_ohm - extra.get("lead_resistance", 0.0)
    plant.wire(
        sides[0] + extra.get("supply_resistance", 0.0),
        sides[1] + extra.get("ground_resistance", 0.0),
        bench_ohm,
    )
    return plant
