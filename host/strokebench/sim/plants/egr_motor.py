"""Motor-type EGR valve: DC motor, gear, one-sided return spring onto the seat, one track 0.9 V shut to 4.1 V
open.

The motor is in the class of the throttle's (0.5..2 A moving, 3..8 A stalled, from memory); angles are those
of the drive shaft, whose full travel lifts the pintle.  The set is one consistent invention, not one maker's
valve.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from strokebench.bench.spec import SimSpec
from strokebench.sim.faults import FaultKind, parse_all
from strokebench.sim.plants.moving import MOVER_FAULTS, WEAK_SPRING, assemble
from strokebench.sim.plants.pieces.spread import about, ordinary
from strokebench.sim.plants.pieces.spring import Spring
from strokebench.sim.plants.pieces.track_faults import track_faults
from strokebench.sim.plants.pieces.tracks import TrackShape
from strokebench.sim.plants.positioner import Mover, Positioner

FAULTS = (
    *MOVER_FAULTS,
    WEAK_SPRING,
    *track_faults("a"),
    FaultKind(
        "sticky_seat",
        "the pintle sticks in its seat",
        "friction added there, in the specimen's own",
        1.0,
        2.5,
    ),
    FaultKind(
        "carbon_seat",
        "carbon keeps it from shutting",
        "share of travel it stays open",
        0.06,
        0.15,
        largest=0.9,
    ),
)

NOMINAL = Mover(
    resistance_ohm=2.2,
    inductance_h=1.8e-3,
    k_si=0.42,
    inertia_kgm2=0.0016,
    viscous_nms=0.010,
    spring=Spring(0.32, 0.22, 0.0, 0.0, rest_rad=0.0),
    travel_rad=1.2,
)
COULOMB_NM = 0.14
TRACKS = (TrackShape(0.18, 0.82),)


def build(spec: SimSpec) -> Positioner:
    """Return the valve that ``spec`` asks for; UsageError for unknown faults."""
    faults = parse_all(spec.faults, spec.part, FAULTS)
    rng = np.random.default_rng((spec.seed, 1))
    mover = ordinary(NOMINAL, rng, resistance_ohm=0.07, inductance_h=0.12, k_si=0.06)
    spring = ordinary(NOMINAL.spring, rng, open_preload_nm=0.1, open_rate_nm=0.1)
    mover = replace(ordinary(mover, rng, travel_rad=0.015), spring=spring, stiction=rng.uniform(1.05, 1.2))
    coulomb_nm = about(COULOMB_NM, 0.2, rng)
    for fault in faults:
        if fault.name == "carbon_seat":
            mover = replace(mover, lowest_rad=fault.size * mover.travel_rad)
    return assemble(spec, mover, coulomb_nm, faults, TRACKS, rng, cogging_nm=0.004)
