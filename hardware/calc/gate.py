"""Gate drive: dead time against gate charge, driver current, bleed against the charge pump."""

from __future__ import annotations

import math

from hardware.calc import design
from hardware.calc.design import BRIDGE_FET, Fet
from hardware.calc.rows import Row

DRIVER_SPREAD_S = 90e-9
DRIVER_OHM = 4.0
THRESHOLD_MIN_V = 1.8
DRIVER_SUPPLY_LIMIT_A, PUMP_LIMIT_A = 10e-3, 400e-6
DRIVER_INTERNAL_BLEED_OHM = 250e3


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
    """Turn-off less turn-on delay plus the driver's spread of propagation delay (60 to 150 ns)."""
    return turn_off_s(fet, gate_ohm) - turn_on_s(fet, gate_ohm) + spread_s


def average_gate_a(fet: Fet, switching_fets: int) -> float:
    """Mean current out of the gate supply, n Qg f."""
    return switching_fets * fet.gate_c * design.PWM_HZ


def bleed_a(bus_v: float, bleed_ohm: float = design.GATE_BLEED_OHM) -> float:
    """Load of a held-on high-side gate on the charge pump: external bleed plus the driver's own."""
    return design.GATE_DRIVE_V / bleed_ohm + bus_v / DRIVER_INTERNAL_BLEED_OHM


def rows() -> list[Row]:
    """Dead time for three gate resistors, and the two current budgets."""
    name = "Qg, Qgd of the FET, driver 4 Ohm"
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
    return [
        *needed,
        Row("dead time set", 1e9 * design.DEAD_TIME_S, "ns", "driver's resistor", "design"),
        Row(
            "gate supply, two FETs switching",
            1e3 * average_gate_a(BRIDGE_FET, 2),
            "mA of 10",
            "2 Qg f",
            "driver data sheet",
        ),
        Row(
            "gate supply, four FETs switching",
            1e3 * average_gate_a(BRIDGE_FET, 4),
            "mA of 10",
            "4 Qg f",
            "driver data sheet",
        ),
        Row(
            "charge pump load at 100 %",
            1e6 * bleed_a(design.SUPPLY_V),
            "uA of 400",
            "Vg/100k + Vbus/250k",
            "driver data sheet",
        ),
        Row(
            "same with a 10k bleed",
            1e6 * bleed_a(design.SUPPLY_V, 10e3),
            "uA of 400",
            "too much: keep 100k",
            "driver data sheet",
        ),
    ]
