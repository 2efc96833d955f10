"""Brushed in-tank fuel pump against its pressure regulator: constant torque, 8 segments, 2 poles, about 6 A.

Order of size from the current and resistance ranges of service literature (3..10 A, 0.2..0.7 ohm); the set is
one consistent invention within them, not one maker's pump.
"""

from __future__ import annotations

from dataclasses import replace

from strokebench.sim.faults import FaultKind
from strokebench.sim.plants.rotary import Turner
from strokebench.sim.plants.turning import Design

# 12.6 V, 6 A: K = (12.6 - 0.6 - 6 x 0.55) / 630 rad/s (6000 rpm); torque 0.0138 x 6 = 0.083 N m
NOMINAL = Turner(
    resistance_ohm=0.45,
    inductance_h=0.25e-3,
    k_si=0.0138,
    inertia_kgm2=1.2e-5,
    dry_nm=0.065,
    viscous_nms=0.6e-5,
    flow_nms2=3.5e-8,
    segments=8,
    pole_pairs=1,
)
SPEED_RAD_S = 630.0
DRY_SHARE = 0.15
"""Of the dry torque, what is left of bearing and brush friction when nothing is pumped."""

DRY = FaultKind("dry", "it runs without fuel", "share of the pumping torque missing", 0.6, 0.9, largest=1.0)
WORN = FaultKind(
    "worn",
    "worn vanes: it leaks inside and builds no pressure at low speed",
    "share of the pumping torque missing towards standstill",
    0.4,
    0.8,
    largest=1.0,
)
CLOGGED = FaultKind(
    "clogged",
    "outlet or filter clogged",
    "pumping torque added at rated speed, share, as its square",
    0.3,
    0.7,
)


def _dry(turner: Turner, share: float) -> Turner:
    left = 1 - (1 - DRY_SHARE) * share
    return replace(turner, dry_nm=left * turner.dry_nm, flow_nms2=left * turner.flow_nms2)


def _worn(turner: Turner, share: float) -> Turner:
    # the gaps' leakage is a large share of a small flow: pressure comes only with speed, at rated speed it is
    # the regulator's
    lost_nm = share * _pumping_nm(turner)
    return replace(
        turner, dry_nm=turner.dry_nm - lost_nm, viscous_nms=turner.viscous_nms + lost_nm / SPEED_RAD_S
    )


def _clogged(turner: Turner, share: float) -> Turner:
    # a restriction's pressure grows with the square of the flow, and the flow with speed
    return replace(turner, flow_nms2=turner.flow_nms2 + share * _pumping_nm(turner) / SPEED_RAD_S**2)


def _pumping_nm(turner: Turner) -> float:
    return (1 - DRY_SHARE) * turner.dry_nm


PUMP = Design(NOMINAL, SPEED_RAD_S, own={DRY: _dry, WORN: _worn, CLOGGED: _clogged})
FAULTS, build = PUMP.faults, PUMP.build
