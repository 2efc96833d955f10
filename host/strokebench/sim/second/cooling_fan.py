"""Brushed radiator fan of the second family: 4 poles, 10 segments, blades that pulsate, about 12 A."""

from __future__ import annotations

from dataclasses import replace

from strokebench.bench.spec import SimSpec
from strokebench.sim.plants.cooling_fan import FAULTS as FAULTS
from strokebench.sim.plants.pieces.winding import Heat
from strokebench.sim.second.rotor import Spun, Turner
from strokebench.sim.second.turning import Design

NOMINAL = Turner(
    resistance_ohm=0.118,
    inductance_h=0.12e-3,
    k_si=0.037,
    inertia_kgm2=1.5e-3,
    dry_nm=0.03,
    viscous_nms=4e-5,
    flow_nm=0.41,
    rated_rad_s=260.0,
    segments=10,
    pole_pairs=2,
    heat=Heat(150.0, 1.5, 900.0, 1.2),
)


def _broken_blade(turner: Turner, varying: float) -> Turner:
    return replace(turner, once_a_turn=varying, flow_nm=turner.flow_nm * 6 / 7)


def _obstructed(turner: Turner, share: float) -> Turner:
    return replace(turner, flow_nm=(1 + share) * turner.flow_nm)


FAN = Design(
    NOMINAL,
    FAULTS,
    {"broken_blade": _broken_blade, "obstructed": _obstructed},
    pulses=(5, 6, 7, 9),
    pulse=0.01,
)


def build(spec: SimSpec) -> Spun:
    """Return the fan that ``spec`` asks for; UsageError for unknown faults."""
    return FAN.build_as(Spun, spec)
