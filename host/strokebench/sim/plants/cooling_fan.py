"""Brushed radiator fan of the 150 W class: square-law load, 4 poles, 10 segments (20 ripples a turn).

It takes about 12 A.

150 W at 12 A is a published figure of the trade; the set around it is one consistent invention.
"""

from __future__ import annotations

from dataclasses import replace

from strokebench.sim.faults import FaultKind
from strokebench.sim.plants.pieces.winding import Heat
from strokebench.sim.plants.rotary import Turner
from strokebench.sim.plants.turning import Design, more_flow

# 12.6 V, 12 A: K = (12.6 - 0.6 - 12 x 0.2) / 260 rad/s (2480 rpm); torque 0.037 x 12 = 0.44 N m
NOMINAL = Turner(
    resistance_ohm=0.12,
    inductance_h=0.12e-3,
    k_si=0.037,
    inertia_kgm2=1.5e-3,
    dry_nm=0.03,
    viscous_nms=1e-5,
    flow_nms2=6.1e-6,
    segments=10,
    pole_pairs=2,
    heat=Heat(150.0, 1.5, 900.0, 1.2),
)


def _broken_blade(turner: Turner, varying: float) -> Turner:
    # one of seven blades moves no air, and the hub runs out of balance
    return replace(turner, once_a_turn=varying, flow_nms2=turner.flow_nms2 * 6 / 7)


FAN = Design(
    NOMINAL,
    speed_rad_s=260.0,
    own={
        FaultKind("broken_blade", "a blade is missing", "torque that varies with the turn, share", 0.3, 0.7):
            _broken_blade,
        FaultKind("obstructed", "air flow blocked or a blade touches", "load torque added, share", 0.35, 0.8):
            more_flow,
    },
)  # fmt: skip
FAULTS, build = FAN.faults, FAN.build
