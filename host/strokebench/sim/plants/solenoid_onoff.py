"""On/off solenoid valve (purge, boost, idle cut-off): a plunger closing an air gap; small current.

"solenoid-reference" is the project's reference model with worked numbers: L = 20 mH + 4e-5 H m/(0.5 mm +
gap), stroke 1.5 mm, spring 0.6 N + 300 N/m, 20 ohm, 10 g; no friction.  "solenoid" draws good specimens
around it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from strokebench.bench.spec import SimSpec
from strokebench.sim.faults import FaultKind, parse_all
from strokebench.sim.plants import canonical
from strokebench.sim.plants.base import conditions_of
from strokebench.sim.plants.coil_faults import COIL_FAULTS, worn_coil
from strokebench.sim.plants.pieces.spread import ordinary
from strokebench.sim.plants.plunger import Coil, Plunger

FAULTS = (
    *COIL_FAULTS,
    FaultKind("stuck_open", "the plunger does not leave its rest", "no matter", 1, 1),
    FaultKind("stuck_closed", "the plunger stays pulled in", "no matter", 1, 1),
    FaultKind(
        "leaky_freewheel",
        "the diode or resistor across the coil leaks",
        "its conductance, 1: 1/100 ohm",
        0.6,
        2.0,
    ),
)

REFERENCE = Coil(
    resistance_ohm=20.0,
    base_h=20e-3,
    stroke_m=1.5e-3,
    preload_n=0.6,
    rate_n_per_m=300.0,
    mass_kg=0.010,
    a_hm=4e-5,
    gap_m=0.5e-3,
    viscous_ns=0.0,
)


def build(spec: SimSpec) -> Plunger:
    """Return the valve that ``spec`` asks for; UsageError for unknown faults."""
    faults = parse_all(spec.faults, spec.part, FAULTS)
    named = canonical(spec.part) == "solenoid-reference"
    coil = REFERENCE if named else _specimen(np.random.default_rng((spec.seed, 1)))
    stuck = None
    for fault in faults:
        coil = worn_coil(coil, fault)
        if fault.name in ("stuck_open", "stuck_closed"):
            stuck = 0.0 if fault.name == "stuck_open" else coil.stroke_m
    conditions = conditions_of(spec, faults, np.random.default_rng((spec.seed, 2)))
    plant = Plunger(conditions, coil, stuck_m=stuck)
    plant.connected = not any(fault.name == "open_winding" for fault in faults)
    return plant


def _specimen(rng: np.random.Generator) -> Coil:
    rubbing = replace(REFERENCE, coulomb_n=0.03, viscous_ns=0.05)
    return ordinary(
        rubbing, rng, resistance_ohm=0.06, base_h=0.1, a_hm=0.06, gap_m=0.1, stroke_m=0.05, preload_n=0.1,
        rate_n_per_m=0.1, coulomb_n=0.4, viscous_ns=0.3,
    )  # fmt: skip
