"""Bulk capacitors, regeneration, brake chopper, precharge."""

from __future__ import annotations

import math

from hardware.calc import design
from hardware.calc.rows import Row

ROTOR_KGM2, ROTOR_RAD_S = 2e-5, 600.0
CAN_RIPPLE_A = 2.2
CABLE_H, INPUT_F = 2e-6, 20e-6


def ripple_rms_a(amps: float, duty: float) -> float:
    """RMS current of the bus capacitor under a chopped constant load current, I sqrt(D(1-D))."""
    return amps * math.sqrt(duty * (1 - duty))


def ripple_v(amps: float, duty: float, farads: float, frequency_hz: float) -> float:
    """Capacitive part of the bus ripple, peak to peak, when the supply gives the mean current."""
    return amps * duty * (1 - duty) / (farads * frequency_hz)


def stored_j(farads: float, from_v: float, to_v: float) -> float:
    """Energy a capacitor takes between two voltages."""
    return farads / 2 * (to_v**2 - from_v**2)


def rotor_j(inertia_kgm2: float, speed_rad_s: float) -> float:
    """Kinetic energy of the part."""
    return inertia_kgm2 / 2 * speed_rad_s**2


def pumped_to_v(farads: float, from_v: float, energy_j: float) -> float:
    """Bus voltage if all that energy went into the capacitor and nowhere else."""
    return math.sqrt(from_v**2 + 2 * energy_j / farads)


def boost_v(emf_v: float, duty: float) -> float:
    """Where an unloaded bus settles when a spinning motor sees duty D: the chopper is a boost converter."""
    return emf_v / duty


def cable_j(inductance_h: float, amps: float) -> float:
    """Energy in the supply cable's inductance when the main switch opens."""
    return inductance_h / 2 * amps**2


def opened_peak_v(supply_v: float, amps: float, inductance_h: float, farads: float) -> float:
    """Peak of the terminals after that, if a capacitor takes it all: V + I sqrt(L/C)."""
    return supply_v + amps * math.sqrt(inductance_h / farads)


def brake_thresholds_v() -> tuple[float, float]:
    """Bus voltages at which the brake chopper switches on and off, its feedback resistor included."""
    top, middle, bottom = design.BRAKE_LADDER_OHM
    reference_v = design.ADC_REFERENCE_V * (middle + bottom) / (top + middle + bottom)
    upper, lower = design.BUS_SIXTH_OHM
    conductances = 1 / upper + 1 / lower + 1 / design.BUS_SIXTH_FEEDBACK_OHM
    needed = reference_v * conductances * upper
    return needed, needed - design.ADC_REFERENCE_V * upper / design.BUS_SIXTH_FEEDBACK_OHM


def overvoltage_latch_v() -> float:
    """Bus voltage that clears the hard latch (a twelfth of the bus against the ladder's lower tap)."""
    top, middle, bottom = design.BRAKE_LADDER_OHM
    reference_v = design.ADC_REFERENCE_V * bottom / (top + middle + bottom)
    upper, lower = design.BUS_SIXTH_OHM
    return reference_v * 2 * (1 + upper / lower)


def charge_time_s(ohm: float, farads: float, share: float) -> float:
    """Time of an RC charge to a share of the source."""
    return -ohm * farads * math.log1p(-share)


def rows() -> list[Row]:
    """Bulk bank of ten cans, brake, precharge."""
    c, amps, hz = design.BULK_F, design.CURRENT_A, design.PWM_HZ
    rotor, volts = rotor_j(ROTOR_KGM2, ROTOR_RAD_S), design.SUPPLY_V
    ripple = ripple_rms_a(amps, 0.5)
    on_v, off_v = brake_thresholds_v()
    brake_a = on_v / design.BRAKE_OHM
    return [
        Row("capacitor current at D 0.5", ripple, "A rms", "I sqrt(D(1-D))", "Erickson/Maksimovic ch. 3"),
        Row(
            "cans of 2.2 A rms",
            math.ceil(ripple / CAN_RIPPLE_A),
            "pieces",
            "ripple/2.2",
            "1000 uF low-ESR can, from memory; ten fitted",
        ),
        Row("bus ripple", 1e3 * ripple_v(amps, 0.5, c, hz), "mV pp", "I D(1-D)/(C f)", "charge balance"),
        Row("ESR step", 1e3 * amps * design.BULK_ESR_OHM, "mV", "I ESR", "Ohm"),
        Row("stored from 12 to 16 V", stored_j(c, volts, 16), "J", "C/2 (V2^2 - V1^2)", "energy"),
        Row("rotor 2e-5 kg m2 at 600 rad/s", rotor, "J", "J w^2/2", "energy"),
        Row("bus without brake", pumped_to_v(c, volts, rotor), "V", "sqrt(V^2 + 2E/C)", "energy"),
        Row("brake on", on_v, "V", "ladder, sixth of the bus, feedback", "Ohm"),
        Row("brake off", off_v, "V", "ladder, sixth of the bus, feedback", "Ohm"),
        Row("over-voltage latch", overvoltage_latch_v(), "V", "ladder, twelfth of the bus", "Ohm"),
        Row("brake current", brake_a, "A", "Von/1 Ohm", "Ohm"),
        Row("brake pulse power", brake_a * on_v, "W", "V^2/R", "Joule"),
        Row("brake time for that rotor", 1e3 * rotor / (brake_a * on_v), "ms", "E/P", "energy"),
        Row("supply cable at 40 A", 1e3 * cable_j(CABLE_H, amps), "mJ", "L I^2/2, 2 uH", "energy"),
        Row(
            "terminals after opening",
            opened_peak_v(14, amps, CABLE_H, INPUT_F),
            "V",
            "V + I sqrt(L/C), 20 uF",
            "LC",
        ),
        Row("precharge to 90 %", charge_time_s(design.PRECHARGE_OHM, c, 0.9), "s", "-R C ln 0.1", "RC"),
        Row("precharge energy", stored_j(c, 0, volts), "J", "C V^2/2 in the resistor", "energy"),
        Row("shorted bridge through precharge", volts / design.PRECHARGE_OHM, "A", "V/R", "Ohm"),
    ]
