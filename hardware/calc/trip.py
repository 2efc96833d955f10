"""Overcurrent trip: where it really trips, how late, and what the current has become by then."""

from __future__ import annotations

import math

from strokebench.physics import gum

from hardware.calc import design, sense
from hardware.calc.rows import Row

SLEW_V_PER_S = 2e6
COMPARATOR_S, PIO_S, DRIVER_S = 80e-9, 32e-9, 60e-9
FILTER_S = 470 * 100e-12
LEAD_SHORT_H = 2e-6
SHUNT_TOLERANCE, AMPLIFIER_GAIN_TOLERANCE, RESISTOR_TOLERANCE = 0.01, 0.002, 0.01
AMPLIFIER_OFFSET_V, COMPARATOR_OFFSET_V = 25e-6, 10e-3


def threshold_v(amps: float) -> float:
    """Comparator input voltage at a current on the coarse amplifier."""
    return design.AMPLIFIER_ZERO_V + amps * design.SHUNT_OHM * design.COARSE_GAIN


def ladder_trip_a(ladder_ohm: tuple[float, float, float]) -> tuple[float, float]:
    """Currents at which a 3.3 V resistor ladder's two taps trip, positive first."""
    total = sum(ladder_ohm)
    taps = (1 - ladder_ohm[0] / total, ladder_ohm[2] / total)
    per_amp = design.SHUNT_OHM * design.COARSE_GAIN
    high, low = ((design.ADC_REFERENCE_V * tap - design.AMPLIFIER_ZERO_V) / per_amp for tap in taps)
    return high, low


def tolerance_parts_a(amps: float) -> dict[str, float]:
    """Half-widths in amperes of each cause at a threshold of `amps`."""
    per_amp = design.SHUNT_OHM * design.COARSE_GAIN
    return {
        "shunt": amps * SHUNT_TOLERANCE,
        "amplifier gain": amps * AMPLIFIER_GAIN_TOLERANCE,
        "amplifier offset": AMPLIFIER_OFFSET_V / design.SHUNT_OHM,
        "comparator offset": COMPARATOR_OFFSET_V / per_amp,
        # both dividers hang on the same 3.3 V, so only their ratio's tolerance is left
        "threshold divider": RESISTOR_TOLERANCE * amps,
    }


def standard_uncertainty_a(amps: float) -> float:
    """GUM 4.3.7: rectangular half-widths combined."""
    return gum.combined([gum.rectangular(part) for part in tolerance_parts_a(amps).values()])


def worst_case_a(amps: float) -> float:
    """All causes at their limits and the same way."""
    return sum(tolerance_parts_a(amps).values())


def delay_s(step_a: float) -> float:
    """From the current's step to gates falling: amplifier rise and slew, filter, comparator, PIO, driver."""
    rise = 0.35 / sense.INA_BANDWIDTH_HZ
    slew = step_a * design.SHUNT_OHM * design.COARSE_GAIN / SLEW_V_PER_S
    return rise + slew + FILTER_S + COMPARATOR_S + PIO_S + DRIVER_S


def overshoot_a(volts: float, inductance_h: float, late_s: float) -> float:
    """Extra current while the trip is on its way, V t/L (resistance neglected: the worst case)."""
    return volts / inductance_h * late_s


def time_to_trip_s(amps: float, volts: float, resistance_ohm: float, inductance_h: float) -> float:
    """Time a stalled load takes to reach the threshold."""
    return -inductance_h / resistance_ohm * math.log1p(-amps * resistance_ohm / volts)


def rows() -> list[Row]:
    """Soft and hard trip."""
    late = delay_s(design.HARD_TRIP_A)
    over = overshoot_a(design.SUPPLY_V, LEAD_SHORT_H, late)
    hard = design.HARD_TRIP_A
    return [
        Row("soft threshold", threshold_v(design.SOFT_TRIP_A), "V", "1.65 + I R G", "Ohm"),
        Row("hard threshold", threshold_v(hard), "V", "1.65 + I R G", "Ohm"),
        Row(
            "hard, from its ladder",
            ladder_trip_a(design.HARD_LADDER_OHM)[0],
            "A",
            "1k8/9k53/1k8 on 3.3 V",
            "Ohm",
        ),
        Row(
            "hard, standard uncertainty",
            standard_uncertainty_a(hard),
            "A",
            "half-widths/sqrt 3, combined",
            "JCGM 100 4.3.7",
        ),
        Row("hard, worst case", worst_case_a(hard), "A", "sum of half-widths", "arithmetic"),
        Row(
            "delay",
            late * 1e6,
            "us",
            "0.35/B + slew + filter + comparator + PIO + driver",
            "data sheets; PIO measured on emulator",
        ),
        Row("overshoot, 1 m shorted leads", over, "A", "V t/L, 2 uH", "L di/dt"),
        Row("peak after a short", hard + over, "A", "threshold + overshoot", "this page"),
        Row(
            "12 V, 0.1 Ohm, 30 uH to 60 A",
            1e3 * time_to_trip_s(60, 12, 0.1, 30e-6),
            "ms",
            "-(L/R) ln(1 - I R/V)",
            "R-L step",
        ),
    ]
