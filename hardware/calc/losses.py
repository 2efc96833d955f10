"""Losses of the bridge and the junction temperature they make.

Formulas: Erickson, Maksimovic, "Fundamentals of Power Electronics", ch. 4 (conduction, overlap), and the
usual application-note terms for gate, output charge, recovery and dead time. Overlap is the linear-edge
estimate; simulation (hardware/spice) and practice differ by tens of per cent, harmless at 20 kHz.
"""

from __future__ import annotations

from collections.abc import Iterable

from strokefw.guard import limits as guard_limits

from hardware.calc import design
from hardware.calc.design import BRIDGE_FET, Fet
from hardware.calc.rows import Row

APP_NOTE = "application-note standard term"


def conduction_w(current_rms_a: float, on_ohm: float, share: float = 1.0) -> float:
    """I^2 R times the share of the period the switch carries the current."""
    return current_rms_a**2 * on_ohm * share


def transition_s(miller_c: float, gate_ohm: float, overdrive_v: float) -> float:
    """Time of a drain-voltage edge: Qgd R_gate / (volts left across the gate resistor)."""
    return miller_c * gate_ohm / overdrive_v


def edge_w(volts: float, amps: float, edge_s: float, frequency_hz: float) -> float:
    """Overlap of voltage and current during one edge per period, V I t f / 2."""
    return volts * amps * edge_s * frequency_hz / 2


def dead_time_w(diode_v: float, amps: float, dead_s: float, frequency_hz: float) -> float:
    """Body-diode loss, two dead times per period."""
    return 2 * diode_v * amps * dead_s * frequency_hz


def charge_w(charge_c: float, volts: float, frequency_hz: float) -> float:
    """Loss of moving a charge through a voltage once per period (gate, recovery)."""
    return charge_c * volts * frequency_hz


def capacitor_w(farads: float, volts: float, frequency_hz: float) -> float:
    """Half C V^2 f, output capacitance."""
    return farads * volts**2 * frequency_hz / 2


def hottest_fet_w(fet: Fet, amps: float = design.CURRENT_A, gate_ohm: float = design.GATE_OHM) -> float:
    """Worst FET: carries all the current and does all the switching (duty just below 1)."""
    turn_on = transition_s(fet.miller_c, gate_ohm, design.GATE_DRIVE_V - fet.plateau_v)
    turn_off = transition_s(fet.miller_c, gate_ohm, fet.plateau_v)
    edges = edge_w(design.SUPPLY_V, amps, turn_on + turn_off, design.PWM_HZ)
    return (
        conduction_w(amps, fet.on_ohm * fet.hot_ratio)
        + edges
        + capacitor_w(fet.output_f, design.SUPPLY_V, design.PWM_HZ)
        + charge_w(fet.recovery_c, design.SUPPLY_V, design.PWM_HZ)
    )


def bridge_w(fet: Fet, amps: float = design.CURRENT_A) -> float:
    """Whole bridge: the switching FET, the FET that stays on, and the dead-time diode."""
    dead = dead_time_w(fet.diode_v, amps, design.DEAD_TIME_S, design.PWM_HZ)
    return hottest_fet_w(fet, amps) + conduction_w(amps, fet.on_ohm * fet.hot_ratio) + dead


def sink_w(fet: Fet, amps: float = design.CURRENT_A) -> float:
    """All that the heatsink carries away: the bridge, and ideal diode and main switch in series with it."""
    return bridge_w(fet, amps) + 2 * conduction_w(amps, fet.on_ohm * fet.hot_ratio)


def sink_c(fet: Fet, amps: float, k_per_w: float, ambient_c: float = design.AMBIENT_C) -> float:
    """Temperature of the heatsink where it has come to rest."""
    return ambient_c + k_per_w * sink_w(fet, amps)


def current_for(fet: Fet, limit_c: float, k_per_w: float) -> float:
    """Largest lasting current that keeps the heatsink below ``limit_c``, A."""
    low, high = 0.0, 100.0
    for _ in range(40):
        middle = (low + high) / 2
        low, high = (middle, high) if sink_c(fet, middle, k_per_w) < limit_c else (low, middle)
    return low


def junction_c(ambient_c: float, steps: Iterable[tuple[float, float]]) -> float:
    """Ambient plus the rise of each (watts, K/W) step on the way out."""
    return ambient_c + sum(watts * k_per_w for watts, k_per_w in steps)


def sink_needed_k_per_w(
    limit_c: float, ambient_c: float, total_w: float, one_w: float, inner_k_per_w: float
) -> float:
    """Largest heatsink when `total_w` go through it and `one_w` through the hottest part's own path."""
    return (limit_c - ambient_c - one_w * inner_k_per_w) / total_w


def _heatsink(fet: Fet) -> list[Row]:
    """The heatsink under all MOSFETs that the current goes through, against the firmware's limits."""
    starts_c, cuts_c = guard_limits.HEATSINK_DERATE_DC / 10, guard_limits.HEATSINK_MAX_DC / 10
    sink, first = design.SINK_K_PER_W, design.FIRST_SINK_K_PER_W
    law, own = "Ta + P Rsink", "this page"
    return [
        Row("on the heatsink", sink_w(fet), "W", "bridge + ideal diode + main switch", own),
        Row(f"heatsink of {sink:g} K/W", sink_c(fet, design.CURRENT_A, sink), "C", law, own),
        Row(f"heatsink of {first:g} K/W", sink_c(fet, design.CURRENT_A, first), "C", law, own),
        Row("firmware begins to derate", starts_c, "C", "HEATSINK_DERATE_DC", "strokefw.guard.limits"),
        Row("firmware cuts out", cuts_c, "C", "HEATSINK_MAX_DC", "strokefw.guard.limits"),
        Row(
            f"lasting current at {first:g} K/W",
            current_for(fet, starts_c, first),
            "A",
            "sink below derating",
            own,
        ),
    ]


def rows() -> list[Row]:
    """Table for 40 A continuous."""
    fet, amps, hz = BRIDGE_FET, design.CURRENT_A, design.PWM_HZ
    inner = fet.junction_case_k_per_w + design.PAD_K_PER_W
    fet_w, total = hottest_fet_w(fet), sink_w(fet)
    on_s = transition_s(fet.miller_c, design.GATE_OHM, design.GATE_DRIVE_V - fet.plateau_v)
    off_s = transition_s(fet.miller_c, design.GATE_OHM, fet.plateau_v)
    steps = [(total, design.SINK_K_PER_W), (fet_w, inner)]
    return [
        Row(
            "conduction, one FET, hot",
            conduction_w(amps, fet.on_ohm * fet.hot_ratio),
            "W",
            "I^2 R 1.5",
            APP_NOTE,
        ),
        Row("turn-on edge", on_s * 1e9, "ns", "Qgd Rg/(Vdrive - Vplateau)", APP_NOTE),
        Row("turn-off edge", off_s * 1e9, "ns", "Qgd Rg/Vplateau", APP_NOTE),
        Row(
            "overlap", edge_w(design.SUPPLY_V, amps, on_s + off_s, hz), "W", "V I (ton + toff) f/2", APP_NOTE
        ),
        Row(
            "dead time", dead_time_w(fet.diode_v, amps, design.DEAD_TIME_S, hz), "W", "2 Vf I td f", APP_NOTE
        ),
        Row("recovery", charge_w(fet.recovery_c, design.SUPPLY_V, hz), "W", "Qrr V f", APP_NOTE),
        Row("output charge", capacitor_w(fet.output_f, design.SUPPLY_V, hz), "W", "Coss V^2 f/2", APP_NOTE),
        Row("gate, one FET", charge_w(fet.gate_c, design.GATE_DRIVE_V, hz), "W", "Qg Vg f", APP_NOTE),
        Row(
            "snubber of the switching leg",
            2 * capacitor_w(design.SNUBBER_F, design.SUPPLY_V, hz),
            "W",
            "C V^2 f",
            "RC charge and discharge",
        ),
        Row("hottest FET", fet_w, "W", "sum of its terms", "this page"),
        Row("bridge", bridge_w(fet), "W", "hottest + second FET + dead time", "this page"),
        *_heatsink(fet),
        Row(
            "junction",
            junction_c(design.AMBIENT_C, steps),
            "C",
            "Ta + P Rsink + Pfet (Rjc + Rpad)",
            "thermal Ohm's law",
        ),
        Row(
            "heatsink for 100 C junction",
            sink_needed_k_per_w(100, design.AMBIENT_C, total, fet_w, inner),
            "K/W max",
            "(Tj - Ta - Pfet Rinner)/P",
            "thermal Ohm's law",
        ),
    ]
