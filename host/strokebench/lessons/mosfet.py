"""A generic 60 V, 1.6 milliohm MOSFET for the lessons: figures of its class, from memory of data sheets.

The hardware calculations use the same figures; a test compares the two. Die size: engineering judgement.
"""

from __future__ import annotations

import math

ON_OHM = 1.6e-3
RATING_V = 60.0
AVALANCHE_V = 64.0
DIODE_V = 0.8
GATE_C, MILLER_C, PLATEAU_V = 83e-9, 14e-9, 4.7
GATE_V, THRESHOLD_MIN_V, GATE_OHM = 12.0, 1.8, 16.5
JUNCTION_MAX_C = 175.0
JUNCTION_SINK_K_PER_W = 1.2
DIE_MM3 = 4.0 * 5.0 * 0.25
SILICON_J_PER_MM3_K = 2.33e-3 * 0.70
"""Density 2.33 g/cm3 times specific heat 0.70 J/(g K), silicon near room temperature."""
DIE_J_PER_K = DIE_MM3 * SILICON_J_PER_MM3_K


def die_rise_k(energy_j: float) -> float:
    """Rise of the die when a pulse is over before any heat leaves it: the worst case."""
    return energy_j / DIE_J_PER_K


def turn_off_s(gate_ohm: float = GATE_OHM) -> float:
    """From the command until the gate passes its lowest threshold: RC, plateau, RC."""
    tau_s = gate_ohm * (GATE_C - MILLER_C) / GATE_V
    return tau_s * math.log(GATE_V / THRESHOLD_MIN_V) + MILLER_C * gate_ohm / PLATEAU_V


def turn_on_s(gate_ohm: float = GATE_OHM) -> float:
    """From the command until the gate reaches the lowest threshold."""
    return -gate_ohm * (GATE_C - MILLER_C) / GATE_V * math.log1p(-THRESHOLD_MIN_V / GATE_V)
