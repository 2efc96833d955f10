"""The second family's fuel pump through its fuse socket: the vehicle's harness between bench and pump.

Wires and contacts, and what sensor inputs A and B sit on, are those of the first family: copper is copper.
"""

from __future__ import annotations

from dataclasses import replace

from strokebench.bench.spec import SimSpec
from strokebench.sim.faults import parse_all
from strokebench.sim.plants.fuel_pump_fuse import FAULTS as FAULTS
from strokebench.sim.plants.pieces.harness import Harnessed
from strokebench.sim.second import fuel_pump
from strokebench.sim.second.rotor import Spun

HARNESSED = replace(fuel_pump.PUMP, faults=FAULTS)


class HarnessedPump(Harnessed, Spun):
    """A pump whose connector can be watched."""


def build(spec: SimSpec) -> HarnessedPump:
    """Return the pump that ``spec`` asks for; UsageError for unknown faults."""
    extra = {fault.name: fault.size for fault in parse_all(spec.faults, spec.part, FAULTS)}
    plant = HARNESSED.build_as(HarnessedPump, spec)
    plant.wire(spec.seed, extra)
    return plant
