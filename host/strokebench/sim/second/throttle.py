"""Throttle body of the second family: brushes, play, presliding, detents, soft stops, Hall or tracks.

Motor, inertia and spring around the identified set of Loh, Thanom, Pyko, Lee (Engineering 5, 2013, 587-600),
as in the first family; its dry friction less, because friction also grows with the torque through the gear.
"""

from __future__ import annotations

import numpy as np

from strokebench.bench.spec import SimSpec
from strokebench.sim.faults import parse_all
from strokebench.sim.plants.throttle import FAULTS as FAULTS
from strokebench.sim.second.mover import Geared, Mover, Spring
from strokebench.sim.second.moving import assemble, ordinary
from strokebench.sim.second.sensing import Span

NOMINAL = Mover(
    resistance_ohm=1.45,
    inductance_h=1.7e-3,
    k_si=0.383,
    inertia_kgm2=0.0021,
    viscous_nms=0.0088,
    spring=Spring(0.396, 0.087, 0.30, 0.30, rest_rad=0.14),
    travel_rad=1.5,
    coulomb_nm=0.165,
)
SPANS = (Span(0.1, 0.9), Span(0.9, 0.1))


def build(spec: SimSpec) -> Geared:
    """Return the throttle that ``spec`` asks for; UsageError for unknown faults."""
    faults = parse_all(spec.faults, spec.part, FAULTS)
    rng = np.random.default_rng((spec.seed, 11))
    return assemble(spec, ordinary(NOMINAL, rng), faults, SPANS, rng)
