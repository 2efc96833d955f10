"""The fuel pump through its fuse socket: harness and ground return of the vehicle between bench and pump.

Sensor inputs A and B sit on the pump connector's plus and minus, both against the bench's ground; the
inputs end at 5 V, so they can be read only at low drive. Wire by gauge and length; one consistent invention.
"""

from __future__ import annotations

from dataclasses import replace

from strokebench.bench.spec import SimSpec
from strokebench.sim.faults import parse_all
from strokebench.sim.plants import fuel_pump
from strokebench.sim.plants.pieces.harness import Harnessed, side_faults
from strokebench.sim.plants.rotary import Rotary

HARNESSED = replace(fuel_pump.PUMP, around=side_faults(0.1, 0.3))
FAULTS = HARNESSED.faults


class HarnessedPump(Harnessed, Rotary):
    """A pump whose connector can be watched."""


def build(spec: SimSpec) -> HarnessedPump:
    """Return the pump that ``spec`` asks for; UsageError for unknown faults."""
    extra = {fault.name: fault.size for fault in parse_all(spec.faults, spec.part, FAULTS)}
    plant = HARNESSED.build_as(HarnessedPump, spec)
    plant.wire(spec.seed, extra)
    return plant
