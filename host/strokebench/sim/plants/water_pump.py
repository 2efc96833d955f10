"""Brushed electric coolant pump: square-law load, 7 segments, 2 poles (14 ripples a turn), about 5 A.

One consistent invention within the ranges of the trade, not one maker's pump.
"""

from __future__ import annotations

from dataclasses import replace

from strokebench.bench.spec import SimSpec
from strokebench.sim.faults import Fault, FaultKind
from strokebench.sim.plants.rotary import Rotary, Turner
from strokebench.sim.plants.turning import COMMON_FAULTS, build_turning

FAULTS = (
    *COMMON_FAULTS,
    FaultKind(
        "dry", "it runs without coolant", "share of the pumping torque missing", 0.6, 0.95, largest=1.0
    ),
    FaultKind("clogged", "foreign matter in the impeller", "load torque added, share", 0.35, 0.8),
)

# 12.6 V, 5 A: K = (12.6 - 0.6 - 5 x 0.6) / 470 rad/s (4490 rpm); torque 0.0191 x 5 = 0.096 N m
NOMINAL = Turner(
    resistance_ohm=0.5,
    inductance_h=0.4e-3,
    k_si=0.0191,
    inertia_kgm2=2.5e-5,
    dry_nm=0.012,
    viscous_nms=0.5e-5,
    flow_nms2=3.7e-7,
    segments=7,
    pole_pairs=1,
)
SPEED_RAD_S = 470.0


def build(spec: SimSpec) -> Rotary:
    """Return the pump that ``spec`` asks for; UsageError for unknown faults."""
    return build_turning(spec, FAULTS, NOMINAL, SPEED_RAD_S, _own)


def _own(turner: Turner, fault: Fault) -> Turner:
    if fault.name == "dry":
        return replace(turner, flow_nms2=(1 - fault.size) * turner.flow_nms2)
    if fault.name == "clogged":
        return replace(turner, flow_nms2=(1 + fault.size) * turner.flow_nms2)
    return turner
