"""Idle or swirl-flap actuator of the second family: no spring, no sensor; see
:mod:`strokebench.sim.second.moving`."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from strokebench.bench.spec import SimSpec
from strokebench.sim.faults import parse_all
from strokebench.sim.plants.idle_actuator import FAULTS as FAULTS
from strokebench.sim.plants.pieces.winding import Heat
from strokebench.sim.second.mover import Geared, Mover, Spring
from strokebench.sim.second.moving import assemble, ordinary

NOMINAL = Mover(
    resistance_ohm=11.6,
    inductance_h=9.2e-3,
    k_si=0.75,
    inertia_kgm2=4e-4,
    viscous_nms=0.002,
    spring=Spring(0.0, 0.0, 0.0, 0.0, rest_rad=0.75),
    travel_rad=1.57,
    coulomb_nm=0.085,
    drop_v=0.25,
    knee_a=0.06,
    detent_nm=0.004,
    gear_nm_per_rad=100.0,
    stop_nm_per_rad=200.0,
    heat=Heat(6.0, 8.0, 60.0, 8.0),
)


def build(spec: SimSpec) -> Geared:
    """Return the actuator that ``spec`` asks for; UsageError for unknown faults."""
    faults = parse_all(spec.faults, spec.part, FAULTS)
    rng = np.random.default_rng((spec.seed, 11))
    mover = replace(ordinary(NOMINAL, rng), loaded=0.0)
    rest_rad = float(rng.uniform(0.1, 0.9)) * mover.travel_rad
    for fault in faults:
        if fault.name == "short_travel":
            mover = replace(mover, travel_rad=(1 - fault.size) * mover.travel_rad)
            rest_rad = min(rest_rad, 0.9 * mover.travel_rad)
    mover = replace(mover, spring=Spring(0.0, 0.0, 0.0, 0.0, rest_rad))
    return assemble(spec, mover, faults, (), rng)
