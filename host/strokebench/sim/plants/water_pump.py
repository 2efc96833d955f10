"""Brushed electric coolant pump: square-law load, 7 segments, 2 poles (14 ripples a turn), about 5 A.

One consistent invention within the ranges of the trade, not one maker's pump.
"""

from __future__ import annotations

from strokebench.sim.faults import FaultKind
from strokebench.sim.plants.rotary import Turner
from strokebench.sim.plants.turning import Design, more_flow

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
DRY = FaultKind(
    "dry", "it runs without coolant", "share of the pumping torque missing", 0.6, 0.95, largest=1.0
)
CLOGGED = FaultKind("clogged", "foreign matter in the impeller", "load torque added, share", 0.35, 0.8)

PUMP = Design(
    NOMINAL,
    speed_rad_s=470.0,
    own={DRY: lambda turner, share: more_flow(turner, -share), CLOGGED: more_flow},
)
FAULTS, build = PUMP.faults, PUMP.build
