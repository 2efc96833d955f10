"""Proportional (linear) EGR solenoid with position sensor: normally shut, opens with the current.

One consistent invention within the ranges of the trade (coil 5..10 ohm): 8 ohm, 12 mH rising by 2.6 H/m over
4 mm, spring 0.35 N + 370 N/m; one track 0.9 V shut to 4.1 V open.
"""

from __future__ import annotations

import numpy as np

from strokebench.bench.spec import SimSpec
from strokebench.sim.faults import FaultKind, parse_all
from strokebench.sim.plants.base import conditions_of
from strokebench.sim.plants.coil_faults import COIL_FAULTS, worn_coil
from strokebench.sim.plants.pieces.spread import ordinary
from strokebench.sim.plants.pieces.track_faults import track_faults, worn_tracks
from strokebench.sim.plants.pieces.tracks import TrackShape
from strokebench.sim.plants.pieces.winding import Heat
from strokebench.sim.plants.plunger import CELLS, Coil, Plunger

FAULTS = (
    *COIL_FAULTS,
    *track_faults("a"),
    FaultKind("stuck_shut", "the valve does not leave its seat", "no matter", 1, 1),
    FaultKind("stuck_open", "the valve stays half open", "no matter", 1, 1),
    FaultKind(
        "carbon_seat",
        "carbon keeps it from shutting",
        "share of the stroke it stays open",
        0.08,
        0.2,
        largest=0.9,
    ),
)

NOMINAL = Coil(
    resistance_ohm=8.0,
    base_h=12e-3,
    stroke_m=4e-3,
    preload_n=0.35,
    rate_n_per_m=370.0,
    mass_kg=0.02,
    slope_h_per_m=2.6,
    coulomb_n=0.05,
    viscous_ns=2.5,
    heat=Heat(60.0, 6.0, 60.0, 6.0),
    steps=8,
)
TRACKS = (TrackShape(0.18, 0.82),)


def build(spec: SimSpec) -> Plunger:
    """Return the valve that ``spec`` asks for; UsageError for unknown faults."""
    faults = parse_all(spec.faults, spec.part, FAULTS)
    rng = np.random.default_rng((spec.seed, 1))
    coil = ordinary(
        NOMINAL, rng, resistance_ohm=0.06, base_h=0.1, slope_h_per_m=0.06, preload_n=0.1, rate_n_per_m=0.08,
        coulomb_n=0.3,
    )  # fmt: skip
    names = {fault.name: fault.size for fault in faults}
    for fault in faults:
        coil = worn_coil(coil, fault)
    stuck = 0.0 if "stuck_shut" in names else 0.5 * coil.stroke_m if "stuck_open" in names else None
    share = np.arange(CELLS + 1) / (CELLS - 1)
    plant = Plunger(
        conditions_of(spec, faults, np.random.default_rng((spec.seed, 2))),
        coil,
        worn_tracks(TRACKS, share, spec.seed, faults),
        names.get("carbon_seat", 0.0) * coil.stroke_m,
        stuck,
    )
    plant.connected = "open_winding" not in names
    return plant
