"""Electronic throttle body: DC motor, gear, two-sided spring with limp-home rest, two complementary tracks.

The named plant "throttle-loh2013" is the identified one of Loh, Thanom, Pyko, Lee, "Electronic Throttle
Control System", Engineering 5, 2013, 587-600, with no spread and an ideal sensor (numbers by a third-party
transcription). "throttle-body" draws ordinary good specimens around the same set; its Coulomb friction,
closing-side spring, travel, rest and all spreads are engineering judgement, chosen so that every good
specimen returns to rest by itself.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from strokebench.bench.spec import SimSpec
from strokebench.sim.faults import parse_all
from strokebench.sim.plants import canonical
from strokebench.sim.plants.moving import MOVER_FAULTS, WEAK_SPRING, assemble
from strokebench.sim.plants.pieces.spread import about, ordinary
from strokebench.sim.plants.pieces.spring import Spring
from strokebench.sim.plants.pieces.track_faults import track_faults
from strokebench.sim.plants.pieces.tracks import TrackShape
from strokebench.sim.plants.positioner import Mover, Positioner

FAULTS = (*MOVER_FAULTS, WEAK_SPRING, *track_faults("a", "b"))

LOH = Mover(
    resistance_ohm=1.5, inductance_h=1.5e-3, k_si=0.383, inertia_kgm2=0.0021, viscous_nms=0.0088,
    spring=Spring(0.396, 0.087, 0.396, 0.087, rest_rad=0.14), travel_rad=1.5, stiction=1.0,
)  # fmt: skip
LOH_COULOMB_NM = 0.284
COULOMB_NM = 0.18
NOMINAL = replace(LOH, spring=Spring(0.396, 0.087, 0.30, 0.30, rest_rad=0.14))
IDEAL = (TrackShape(0.1, 0.9, 0.0, 0.0, 0.0), TrackShape(0.9, 0.1, 0.0, 0.0, 0.0))
TRACKS = (TrackShape(0.1, 0.9), TrackShape(0.9, 0.1))


def specimen(rng: np.random.Generator) -> tuple[Mover, float]:
    """Return one ordinary good part: its parameters and its Coulomb friction in N m."""
    spring = ordinary(
        NOMINAL.spring, rng, open_preload_nm=0.10, open_rate_nm=0.12, close_preload_nm=0.12,
        close_rate_nm=0.12, rest_rad=0.10,
    )  # fmt: skip
    mover = ordinary(
        NOMINAL, rng, resistance_ohm=0.07, inductance_h=0.12, k_si=0.06, inertia_kgm2=0.1, viscous_nms=0.3,
        travel_rad=0.02,
    )  # fmt: skip
    mover = replace(mover, spring=spring, stiction=rng.uniform(1.05, 1.2))
    return mover, about(COULOMB_NM, 0.2, rng)


def build(spec: SimSpec) -> Positioner:
    """Return the throttle that ``spec`` asks for; UsageError for unknown faults."""
    faults = parse_all(spec.faults, spec.part, FAULTS)
    rng = np.random.default_rng((spec.seed, 1))
    if canonical(spec.part) == "throttle-loh2013":
        return assemble(spec, LOH, LOH_COULOMB_NM, faults, IDEAL, rng, uneven=0.0)
    mover, coulomb_nm = specimen(rng)
    return assemble(spec, mover, coulomb_nm, faults, TRACKS, rng, cogging_nm=0.004)
