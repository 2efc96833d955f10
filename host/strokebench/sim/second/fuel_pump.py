"""Brushed in-tank fuel pump of the second family: cells that pulsate, brushes, a load that builds up.

Order of size as the first family's (service literature's ranges); 8 segments and 2 poles by the profile.
"""

from __future__ import annotations

from dataclasses import replace

from strokebench.bench.spec import SimSpec
from strokebench.sim.plants.fuel_pump import FAULTS as FAULTS
from strokebench.sim.second.rotor import Spun, Turner
from strokebench.sim.second.turning import Design

NOMINAL = Turner(
    resistance_ohm=0.44,
    inductance_h=0.25e-3,
    k_si=0.0138,
    inertia_kgm2=1.2e-5,
    dry_nm=0.062,
    viscous_nms=0.8e-5,
    flow_nm=0.014,
    rated_rad_s=630.0,
    segments=8,
    pole_pairs=1,
    low_rad_s=330.0,
)
FRICTION_SHARE = 0.15
"""Of the dry torque, what is left of bearing and brush friction when nothing is pumped."""


def _dry(turner: Turner, share: float) -> Turner:
    left = 1 - (1 - FRICTION_SHARE) * share
    return replace(
        turner, dry_nm=left * turner.dry_nm, flow_nm=left * turner.flow_nm, pulse=0.2 * turner.pulse
    )


def _worn(turner: Turner, share: float) -> Turner:
    return replace(turner, missing=(1 - FRICTION_SHARE) * share)


def _clogged(turner: Turner, share: float) -> Turner:
    return replace(turner, flow_nm=turner.flow_nm + share * (1 - FRICTION_SHARE) * turner.dry_nm)


PUMP = Design(
    NOMINAL,
    FAULTS,
    {"dry": _dry, "worn": _worn, "clogged": _clogged},
    pulses=(5, 6, 7, 9, 10, 11),
    pulse=0.03,
)


def build(spec: SimSpec) -> Spun:
    """Return the pump that ``spec`` asks for; UsageError for unknown faults."""
    return PUMP.build_as(Spun, spec)
