"""On/off solenoid valve of the second family: solid iron with eddy currents, fringing gap, saturation.

Air share, time and growth of the rings are spread around what `tests/external/test_coil_data.py` finds in a
measured coil (one ring of 0.27 ms, 6.6 % beside the iron, time as inductance to the power 0.84). Saturation,
side pull and all other spreads are engineering judgement. DC inductances and pull-in current are those of the
same kind of valve as the first family's.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from strokebench.bench.spec import SimSpec
from strokebench.sim.faults import Fault, parse_all
from strokebench.sim.plants.base import conditions_of
from strokebench.sim.plants.coil_faults import dirty_or_weak
from strokebench.sim.plants.pieces.spread import about
from strokebench.sim.plants.solenoid_onoff import FAULTS as FAULTS
from strokebench.sim.second.iron import Iron, blend
from strokebench.sim.second.magnet import Coil, Magnet
from strokebench.sim.second.supply import any_charger

REST_H, PULLED_H = 40e-3, 100e-3
PULL_IN_A = 0.352
RATE_N_PER_M = 300.0
SATURATED_WB = 0.06
"""Flux linkage at 12 V pulled in, at which the iron's own share of the current is drawn."""


def any_iron(rng: np.random.Generator) -> Iron:
    """Return iron with a diffusion time of 0.1 to 1.5 ms; every second one is a plunger in one piece."""
    tau_s = float(np.exp(rng.uniform(np.log(0.1e-3), np.log(1.5e-3))))
    single = 1.0 if rng.random() < 0.5 else float(rng.uniform(0, 1))
    return blend(tau_s, single, float(rng.uniform(0.7, 1.0)))


def build(spec: SimSpec) -> Magnet:
    """Return the valve that ``spec`` asks for; UsageError for unknown faults."""
    faults = parse_all(spec.faults, spec.part, FAULTS)
    rng = np.random.default_rng((spec.seed, 11))
    coil, charger = specimen(rng), any_charger(np.random.default_rng((spec.seed, 12)))
    stuck = None
    for fault in faults:
        coil = worn_coil(coil, fault)
        if fault.name in ("stuck_open", "stuck_closed"):
            stuck = 0.0 if fault.name == "stuck_open" else coil.stroke_m
    conditions = conditions_of(spec, faults, np.random.default_rng((spec.seed, 2)))
    plant = Magnet(conditions, coil, charger, stuck_m=stuck)
    plant.connected = not any(fault.name == "open_winding" for fault in faults)
    return plant


def specimen(rng: np.random.Generator) -> Coil:
    """Return an ordinary good coil."""
    rest_h, pulled_h = about(REST_H, 0.10, rng), about(PULLED_H, 0.10, rng)
    air_h = float(rng.uniform(0.05, 0.20)) * rest_h
    stroke_m = about(1.5e-3, 0.05, rng)
    fringe = float(rng.uniform(50, 250))
    rest_h, pulled_h = rest_h - air_h, pulled_h - air_h
    reach_m = stroke_m / (1 + fringe * stroke_m)
    gap_m = reach_m * rest_h / (pulled_h - rest_h)
    own_share = float(rng.uniform(0.02, 0.15))
    coil = Coil(
        resistance_ohm=about(20.0, 0.06, rng),
        air_h=air_h,
        stroke_m=stroke_m,
        preload_n=0.0,
        rate_n_per_m=about(RATE_N_PER_M, 0.1, rng),
        mass_kg=about(0.010, 0.2, rng),
        iron=any_iron(rng),
        strength_hm=pulled_h * gap_m,
        gap_m=gap_m,
        fringe_per_m=fringe,
        bend=own_share / pulled_h / SATURATED_WB**2,
        coulomb_n=about(0.03, 0.4, rng),
        stiction=float(rng.uniform(1.05, 1.3)),
        viscous_ns=about(0.05, 0.5, rng),
        presliding_m=float(rng.uniform(4e-6, 15e-6)),
        side=float(rng.uniform(0.0, 0.03)),
    )
    pull_in_a = about(PULL_IN_A, 0.08, rng)
    pull_n = 0.5 * pull_in_a**2 * float(coil.iron_slope(np.zeros(1))[0])
    return replace(coil, preload_n=pull_n * (1 - coil.side) - coil.stiction * coil.coulomb_n)


def worn_coil(coil: Coil, fault: Fault) -> Coil:
    """Return ``coil`` with one of the defects that on/off and proportional solenoids share."""
    return _shorted(coil, 1 - fault.size) if fault.name == "shorted_turns" else dirty_or_weak(coil, fault)


def _shorted(coil: Coil, left: float) -> Coil:
    """The shorted turns are one more ring around the iron, of their own resistance and inductance.

    Coupled as fully as the iron's flux, with time L/R of the whole winding: turns and copper go alike.
    """
    square, short = left * left, 1 - left
    whole_s = coil.rest_h / coil.resistance_ohm
    iron = coil.iron
    times_s = tuple(
        time_s + short * whole_s * weight for time_s, weight in zip(iron.times_s, iron.weights, strict=True)
    )
    return replace(
        coil,
        resistance_ohm=left * coil.resistance_ohm,
        air_h=square * coil.air_h,
        strength_hm=square * coil.strength_hm,
        base_h=square * coil.base_h,
        slope_h_per_m=square * coil.slope_h_per_m,
        curve_h_per_m2=square * coil.curve_h_per_m2,
        bend=coil.bend / square**2,
        iron=Iron(iron.weights, times_s, iron.grows),
    )
