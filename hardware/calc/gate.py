"""Gate drive: dead time against gate charge, and the load of the isolated gate supplies.

The driver class is UCC21520: dead time 10 ps per ohm of its resistor, outputs about 1.5 Ohm up and 0.6 Ohm
down, two channels matched to a few ns (data-sheet figures from memory). True 100 % duty comes from one small
isolated converter per floating gate, so no charge pump limits the bleed resistor.
"""

from __future__ import annotations

import math

from hardware.calc import design
from hardware.calc.design import BRIDGE_FET, Fet
from hardware.calc.rows import Row

DRIVER_SPREAD_S = 20e-9
DRIVER_OHM = 1.5
THRESHOLD_MIN_V = 1.8
ISOLATED_SUPPLY_A, ISOLATED_SUPPLY_MIN_A = 83e-3, 8e-3
DRIVER_QUIESCENT_A = 2.5e-3
PRELOAD_OHM = 1500.0
DEAD_TIME_S_PER_OHM = 10e-12


def input_capacitance_f(fet: Fet) -> float:
    """Equivalent gate capacitance outside the plateau."""
    return (fet.gate_c - fet.miller_c) / design.GATE_DRIVE_V


def turn_off_s(fet: Fet, gate_ohm: float) -> float:
    """From the command until the FET surely no longer conducts.

    RC fall to the plateau, plateau at constant current, RC fall to the lowest threshold.
    """
    total = gate_ohm + DRIVER_OHM
    tau = total * input_capacitance_f(fet)
    plateau = fet.miller_c * total / fet.plateau_v
    return tau * math.log(design.GATE_DRIVE_V / THRESHOLD_MIN_V) + plateau


def turn_on_s(fet: Fet, gate_ohm: float) -> float:
    """From the command until the gate reaches the lowest threshold: this delay helps."""
    tau = (gate_ohm + DRIVER_OHM) * input_capacitance_f(fet)
    return -tau * math.log1p(-THRESHOLD_MIN_V / design.GATE_DRIVE_V)


def dead_time_needed_s(fet: Fet, gate_ohm: float, spread_s: float = DRIVER_SPREAD_S) -> float:
    """Turn-off less turn-on delay plus the driver's spread of propagation delay."""
    return turn_off_s(fet, gate_ohm) - turn_on_s(fet, gate_ohm) + spread_s


def average_gate_a(fet: Fet, switching_fets: int) -> float:
    """Mean current out of the gate supply, n Qg f."""
    return switching_fets * fet.gate_c * design.PWM_HZ


def supply_load_a(fet: Fet, preload_ohm: float = PRELOAD_OHM) -> float:
    """Load of one isolated 12 V gate supply: gate charge, driver, bleed and the preload resistor."""
    static = design.GATE_DRIVE_V * (1 / preload_ohm + 1 / design.GATE_BLEED_OHM)
    return average_gate_a(fet, 1) + DRIVER_QUIESCENT_A + static


def set_dead_time_s(resistor_ohm: float) -> float:
    """Dead time the driver makes of its resistor."""
    return DEAD_TIME_S_PER_OHM * resistor_ohm


def rows() -> list[Row]:
    """Dead time for three gate resistors, and the load of a gate supply."""
    name = "Qg, Qgd of the FET, driver 1.5 Ohm"
    needed = [
        Row(
            f"dead time needed, {ohm:g} Ohm",
            1e9 * dead_time_needed_s(BRIDGE_FET, ohm),
            "ns",
            "toff - ton + spread",
            name,
        )
        for ohm in (10.0, 15.0, 22.0)
    ]
    load = supply_load_a(BRIDGE_FET)
    return [
        *needed,
        Row(
            "dead time set",
            1e9 * set_dead_time_s(design.DEAD_TIME_OHM),
            "ns",
            "10 ps/Ohm x 51k",
            "driver data sheet",
        ),
        Row("gate charge, one FET", 1e3 * average_gate_a(BRIDGE_FET, 1), "mA", "Qg f", "charge"),
        Row(
            "load of one gate supply",
            1e3 * load,
            "mA of 83",
            "Qg f + driver + 12 V/1.5k + bleed",
            "converter 1 W",
        ),
    ]
