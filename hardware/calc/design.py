"""Nominal values of the reference bench; the rest of hardware/calc and hardware/spice computes from these."""

from __future__ import annotations

from dataclasses import dataclass

SUPPLY_V = 12.0
SUPPLY_MAX_V = 16.0
CURRENT_A = 40.0
PWM_HZ = 20_000.0
AMBIENT_C = 40.0
ADC_REFERENCE_V = 3.3
ADC_CODES = 4096

SHUNT_OHM = 1e-3
COARSE_GAIN = 20.0
FINE_GAIN = 200.0
AMPLIFIER_ZERO_V = 1.65
AMPLIFIER_HEADROOM_V = 0.2

BUS_TOP_OHM, BUS_BOTTOM_OHM = 180e3, 27e3
SENSOR_TOP_OHM, SENSOR_BOTTOM_OHM = 100e3, 180e3
SENSOR_FILTER_F = 10e-9
NTC_PULL_UP_OHM, NTC_R25_OHM, NTC_BETA_K = 4.7e3, 10e3, 3950.0

BULK_CANS = 10
BULK_F, BULK_ESR_OHM = BULK_CANS * 1e-3, 2e-3
PRECHARGE_OHM = 33.0
BRAKE_OHM = 1.0
BRAKE_LADDER_OHM = (1800.0, 3900.0, 6040.0)
"""3.3 V to brake threshold, to over-voltage threshold, to ground."""
BUS_SIXTH_OHM, BUS_SIXTH_FEEDBACK_OHM = (100e3, 20e3), 470e3
HARD_LADDER_OHM = (1800.0, 9530.0, 1800.0)
"""3.3 V to the positive hard threshold, to the negative one, to ground."""
SOFT_TRIP_A, HARD_TRIP_A = 50.0, 60.0
DEAD_TIME_OHM = 51e3
GATE_OHM = 15.0
GATE_DRIVE_V = 12.0
SNUBBER_F, SNUBBER_OHM = 10e-9, 2.2
GATE_BLEED_OHM = 100e3
DEAD_TIME_S = 510e-9
SINK_K_PER_W, PAD_K_PER_W = 1.8, 0.8
FIRST_SINK_K_PER_W = 3.0
"""What was planned before ideal diode and main switch were counted; it carries about 30 A."""
FUSE_A = 50.0


@dataclass(frozen=True)
class Fet:
    """Figures of a MOSFET: ohm at 25 C and 10 V gate, hot/cold ratio, coulombs, farads, volts, K/W."""

    rating_v: float
    on_ohm: float
    hot_ratio: float
    gate_c: float
    miller_c: float
    plateau_v: float
    output_f: float
    recovery_c: float
    diode_v: float
    junction_case_k_per_w: float
    junction_max_c: float


BRIDGE_FET = Fet(
    rating_v=60.0,
    on_ohm=1.6e-3,
    hot_ratio=1.5,
    gate_c=83e-9,
    miller_c=14e-9,
    plateau_v=4.7,
    output_f=1.4e-9,
    recovery_c=200e-9,
    diode_v=0.8,
    junction_case_k_per_w=0.4,
    junction_max_c=175.0,
)
"""A 60 V, 1.6 mOhm TO-220 part of the CSD18536 class; figures from memory, check against the data sheet."""
