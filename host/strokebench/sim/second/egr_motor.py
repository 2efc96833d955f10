"""Motor-type EGR valve of the second family; see :mod:`strokebench.sim.second.moving`."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from strokebench.bench.spec import SimSpec
from strokebench.sim.faults import parse_all
from strokebench.sim.plants.egr_motor import FAULTS as FAULTS
from strokebench.sim.second.mover import Geared, Mover, Spring
from strokebench.sim.second.moving import assemble, ordinary
from strokebench.sim.second.sensing import Span

NOMINAL = Mover(
    resistance_ohm=2.15,
    inductance_h=2.05e-3,
    k_si=0.42,
    inertia_kgm2=0.0016,
    viscous_nms=0.010,
    spring=Spring(0.32, 0.22, 0.0, 0.0, rest_rad=0.0),
    travel_rad=1.2,
    coulomb_nm=0.13,
)
SPANS = (Span(0.18, 0.82),)


def build(spec: SimSpec) -> Geared:
    """Return the valve that ``spec`` asks for; UsageError for unknown faults."""
    faults = parse_all(spec.faults, spec.part, FAULTS)
    rng = np.random.default_rng((spec.seed, 11))
    mover = ordinary(NOMINAL, rng)
    for fault in faults:
        if fault.name == "carbon_seat":
            mover = replace(mover, lowest_rad=fault.size * mover.travel_rad)
    return assemble(spec, mover, faults, SPANS, rng)
