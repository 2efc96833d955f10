"""Brushed electric coolant pump of the second family: 7 segments, 2 poles, an impeller that pulsates, 5 A."""

from __future__ import annotations

from dataclasses import replace

from strokebench.bench.spec import SimSpec
from strokebench.sim.plants.water_pump import FAULTS as FAULTS
from strokebench.sim.second.rotor import Spun, Turner
from strokebench.sim.second.turning import Design

NOMINAL = Turner(
    resistance_ohm=0.49,
    inductance_h=0.4e-3,
    k_si=0.0191,
    inertia_kgm2=2.5e-5,
    dry_nm=0.012,
    viscous_nms=0.6e-5,
    flow_nm=0.0815,
    rated_rad_s=470.0,
    segments=7,
    pole_pairs=1,
)


def _more(turner: Turner, share: float) -> Turner:
    return replace(turner, flow_nm=(1 + share) * turner.flow_nm)


PUMP = Design(
    NOMINAL,
    FAULTS,
    {"dry": lambda turner, share: _more(turner, -share), "clogged": _more},
    pulses=(5, 6, 8),
    pulse=0.02,
)


def build(spec: SimSpec) -> Spun:
    """Return the pump that ``spec`` asks for; UsageError for unknown faults."""
    return PUMP.build_as(Spun, spec)
