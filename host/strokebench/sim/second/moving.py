"""What the geared movers of the second family share: spreads of good specimens, defects, putting together.

Spreads are engineering judgement around what each cited model needs: brushes drop 0.12 to 0.48 V with a knee
of 0.12 to 0.48 A, play 0.1 to 0.4 degrees at the shaft, presliding 0.04 to 0.2 degrees, detents 0.004 to
0.015 N m. Of a motor's inductance, 5 to 30 % is behind eddy currents of 8 to 80 us; at DC it is so much
above the first family's that the PWM sees about the same.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from strokebench.bench.spec import SimSpec
from strokebench.sim.faults import Fault
from strokebench.sim.plants.base import conditions_of
from strokebench.sim.plants.moving import dirty_or_weak, friction_added
from strokebench.sim.plants.pieces.spread import about
from strokebench.sim.second.mover import Geared, Mover, grid
from strokebench.sim.second.rubbing import uneven
from strokebench.sim.second.sensing import Span, outputs
from strokebench.sim.second.supply import any_charger


def ordinary(nominal: Mover, rng: np.random.Generator) -> Mover:
    """Return a good specimen around ``nominal``: motor, gear, friction and stops."""
    spring = nominal.spring
    spring = replace(
        spring,
        open_preload_nm=about(spring.open_preload_nm, 0.10, rng),
        open_rate_nm=about(spring.open_rate_nm, 0.12, rng),
        close_preload_nm=about(spring.close_preload_nm, 0.12, rng),
        close_rate_nm=about(spring.close_rate_nm, 0.12, rng),
        rest_rad=about(spring.rest_rad, 0.10, rng),
        blend_rad=float(rng.uniform(0.003, 0.01)) if spring.close_preload_nm else 0.0,
        stiffens=float(rng.uniform(-0.08, 0.15)),
    )
    return replace(
        nominal,
        spring=spring,
        resistance_ohm=about(nominal.resistance_ohm, 0.06, rng),
        inductance_h=about(nominal.inductance_h, 0.12, rng),
        k_si=about(nominal.k_si, 0.06, rng),
        inertia_kgm2=about(nominal.inertia_kgm2, 0.1, rng),
        viscous_nms=about(nominal.viscous_nms, 0.4, rng),
        travel_rad=about(nominal.travel_rad, 0.02, rng),
        coulomb_nm=about(nominal.coulomb_nm, 0.2, rng),
        ring_share=float(rng.uniform(0.05, 0.3)),
        ring_s=float(np.exp(rng.uniform(np.log(8e-6), np.log(80e-6)))),
        drop_v=about(nominal.drop_v, 0.6, rng),
        knee_a=about(nominal.knee_a, 0.6, rng),
        motor_share=float(rng.uniform(0.5, 0.8)),
        load_share=float(rng.uniform(0.08, 0.2)),
        loaded=float(rng.uniform(0.0, 0.05)),
        stiction=float(rng.uniform(1.03, 1.25)),
        stribeck_rad_s=float(rng.uniform(0.02, 0.1)),
        presliding_rad=float(rng.uniform(0.0007, 0.0035)),
        play_rad=float(rng.uniform(0.0015, 0.007)),
        gear_nm_per_rad=float(rng.uniform(250, 600)),
        detent_nm=nominal.detent_nm * float(rng.uniform(0.5, 1.9)),
        detents=nominal.detents * float(rng.choice([0.7, 0.9, 1.2])),
        detent_at=float(rng.uniform(0, 6)),
        stop_nm_per_rad=nominal.stop_nm_per_rad * float(rng.uniform(0.5, 2.0)),
        stop_loses=float(rng.uniform(0.1, 0.6)),
    )


def worn(mover: Mover, fault: Fault) -> Mover:
    """Return ``mover`` with the defect, unchanged by those that concern something else."""
    if fault.name != "shorted_turns":
        return dirty_or_weak(mover, fault)
    left = 1 - fault.size
    return replace(
        mover,
        resistance_ohm=left * mover.resistance_ohm,
        k_si=left * mover.k_si,
        inductance_h=left * left * mover.inductance_h,
        ring_s=mover.ring_s + 0.2 * fault.size * mover.inductance_h / mover.resistance_ohm,
        viscous_nms=mover.viscous_nms * (1 + fault.size),
    )


def assemble(
    spec: SimSpec, mover: Mover, faults: Sequence[Fault], spans: tuple[Span, ...], rng: np.random.Generator
) -> Geared:
    """Return the specimen with its defects."""
    own_nm = mover.coulomb_nm
    for fault in faults:
        mover = worn(mover, fault)
    share = grid(mover.travel_rad) / mover.travel_rad
    level = uneven(share, float(rng.uniform(0.03, 0.12)), float(rng.uniform(0.05, 0.3)), rng)
    level /= level[(share > 0) & (share < 1)].mean()
    more_nm = np.zeros(len(share))
    for added in friction_added(faults, share, own_nm):
        more_nm += added
    if any(fault.name == "jammed" for fault in faults):
        more_nm += 100.0
    conditions = conditions_of(spec, faults, np.random.default_rng((spec.seed, 2)))
    charger = any_charger(np.random.default_rng((spec.seed, 12)))
    plant = Geared(conditions, mover, level, more_nm, outputs(spans, faults, spec.seed), charger)
    plant.connected = not any(fault.name == "open_winding" for fault in faults)
    return plant
