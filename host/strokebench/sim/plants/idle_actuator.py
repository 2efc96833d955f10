"""Idle or swirl-flap actuator: small motor, no spring, no sensor; it stays where it was left.

One consistent invention: 12 ohm, 8 mH, stalls at about 1 A, crosses its travel in about 0.3 s at 6 V.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from strokebench.bench.spec import SimSpec
from strokebench.sim.faults import FaultKind, parse_all
from strokebench.sim.plants.moving import MOVER_FAULTS, assemble
from strokebench.sim.plants.pieces.spread import about, ordinary
from strokebench.sim.plants.pieces.spring import Spring
from strokebench.sim.plants.pieces.winding import Heat
from strokebench.sim.plants.positioner import Mover, Positioner

FAULTS = (
    *(
        kind if kind.name != "lead_resistance" else replace(kind, moderate=3.0, severe=8.0)
        for kind in MOVER_FAULTS
    ),
    FaultKind("jammed", "it cannot move", "no matter", 1, 1),
    FaultKind("short_travel", "something blocks the way", "share of travel missing", 0.2, 0.5, largest=0.95),
)

NOMINAL = Mover(
    resistance_ohm=12.0,
    inductance_h=8e-3,
    k_si=0.75,
    inertia_kgm2=4e-4,
    viscous_nms=0.002,
    spring=Spring(0.0, 0.0, 0.0, 0.0, rest_rad=0.75),
    travel_rad=1.57,
    stop_nm_per_rad=200.0,
    stop_nms=0.3,
    heat=Heat(6.0, 8.0, 60.0, 8.0),
)
COULOMB_NM = 0.09


def build(spec: SimSpec) -> Positioner:
    """Return the actuator that ``spec`` asks for; UsageError for unknown faults."""
    faults = parse_all(spec.faults, spec.part, FAULTS)
    rng = np.random.default_rng((spec.seed, 1))
    mover = ordinary(NOMINAL, rng, resistance_ohm=0.07, inductance_h=0.12, k_si=0.06, travel_rad=0.03)
    mover = replace(mover, stiction=rng.uniform(1.05, 1.25))
    coulomb_nm = about(COULOMB_NM, 0.2, rng)
    rest_rad = float(rng.uniform(0.1, 0.9)) * mover.travel_rad
    for fault in faults:
        if fault.name == "short_travel":
            mover = replace(mover, travel_rad=(1 - fault.size) * mover.travel_rad)
            rest_rad = min(rest_rad, 0.9 * mover.travel_rad)
        elif fault.name == "jammed":
            coulomb_nm = 100.0
    mover = replace(mover, spring=replace(mover.spring, rest_rad=rest_rad))
    return assemble(spec, mover, coulomb_nm, faults, (), rng, cogging_nm=0.002)
