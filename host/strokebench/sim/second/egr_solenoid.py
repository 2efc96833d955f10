"""Proportional EGR solenoid of the second family: solid iron, a force that is not quite flat, side pull.

DC inductance, dead band and travel are those of the same kind of valve as the first family's; the rest as in
:mod:`strokebench.sim.second.solenoid_onoff`.
"""

from __future__ import annotations

import numpy as np

from strokebench.bench.spec import SimSpec
from strokebench.sim.faults import parse_all
from strokebench.sim.plants.base import conditions_of
from strokebench.sim.plants.egr_solenoid import FAULTS as FAULTS
from strokebench.sim.plants.pieces.spread import about
from strokebench.sim.plants.pieces.winding import Heat
from strokebench.sim.second.magnet import Coil, Magnet
from strokebench.sim.second.sensing import Span, outputs
from strokebench.sim.second.solenoid_onoff import any_iron, worn_coil
from strokebench.sim.second.supply import any_charger

SPANS = (Span(0.18, 0.82),)
SATURATED_WB = 0.025


def build(spec: SimSpec) -> Magnet:
    """Return the valve that ``spec`` asks for; UsageError for unknown faults."""
    faults = parse_all(spec.faults, spec.part, FAULTS)
    coil = specimen(np.random.default_rng((spec.seed, 11)))
    for fault in faults:
        coil = worn_coil(coil, fault)
    names = {fault.name: fault.size for fault in faults}
    stuck = 0.0 if "stuck_shut" in names else 0.5 * coil.stroke_m if "stuck_open" in names else None
    plant = Magnet(
        conditions_of(spec, faults, np.random.default_rng((spec.seed, 2))),
        coil,
        any_charger(np.random.default_rng((spec.seed, 12))),
        outputs(SPANS, faults, spec.seed),
        names.get("carbon_seat", 0.0) * coil.stroke_m,
        stuck,
    )
    plant.connected = "open_winding" not in names
    return plant


def specimen(rng: np.random.Generator) -> Coil:
    """Return an ordinary good coil."""
    stroke_m = about(4e-3, 0.01, rng)
    rest_h = about(12e-3, 0.1, rng)
    air_h = float(rng.uniform(0.05, 0.25)) * rest_h
    slope, bow = about(2.6, 0.06, rng), float(rng.uniform(-0.08, 0.08))
    own_share = float(rng.uniform(0.01, 0.06))
    iron_open_h = rest_h - air_h + slope * stroke_m
    return Coil(
        resistance_ohm=about(8.0, 0.06, rng),
        air_h=air_h,
        stroke_m=stroke_m,
        preload_n=about(0.35, 0.1, rng),
        rate_n_per_m=about(370.0, 0.08, rng),
        mass_kg=about(0.02, 0.15, rng),
        iron=any_iron(rng),
        base_h=rest_h - air_h,
        slope_h_per_m=slope * (1 - bow),
        curve_h_per_m2=slope * bow / stroke_m,
        bend=own_share / iron_open_h / SATURATED_WB**2,
        coulomb_n=about(0.045, 0.3, rng),
        stiction=float(rng.uniform(1.05, 1.3)),
        viscous_ns=about(2.5, 0.3, rng),
        presliding_m=float(rng.uniform(5e-6, 20e-6)),
        side=float(rng.uniform(0.0, 0.012)),
        heat=Heat(60.0, 6.0, 60.0, 6.0),
    )
