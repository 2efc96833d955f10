"""Values of the beginner's bench and what follows from them, each with its formula and source."""

from __future__ import annotations

import math

from hardware.calc import board, design, leads
from hardware.calc.rows import Row

SUPPLY_V, SUPPLY_MAX_V = 12.0, 16.0
MEAN_A, PEAK_A = 3.0, 5.0
SHUNT_OHM = 0.010
GAIN = design.COARSE_GAIN
REFERENCE_V, MIDDLE_V = 3.3, 1.65
DIVIDER_OHM = (18e3, 2.7e3)
STOP_OHM = 33e3, 15e3
PULL_DOWN_OHM = 60e3
"""Of the Pico's pin, which the firmware switches on: RP2040 data sheet, 50 to 80 kOhm, from memory."""
GATE_HIGH = 0.5
"""Typical threshold of an HC input, of its supply; 0.7 is the data sheet's limit."""
SENSOR_OHM, SENSOR_F, LIFTED_OHM = 10e3, 10e-9, 220e3
TRACK_MOST_OHM = 5e3
"""Of a sensor's track, end to end."""
BULK_F, PRECHARGE_OHM, BLEED_OHM = 2e-3, 68.0, 4.7e3
SCHOTTKY_V = 0.25
"""Of each of the two diodes before the precharge resistor, at some milliampere: data sheet, from memory."""
MODULE_REST_A = 1e-3
"""Allowed of a module while it is shut down."""
FUSE_A, FUSE_I2T = 5.0, 60.0
"""Melting integral of a 5 A blade fuse, A2s: from memory, check the part."""
MODULE_OHM = 0.032
"""Allowed of a module: both of its switches together, warm."""
DUTY_S, PERIOD_S = 0.5e-6, 50e-6
"""Allowed of a module: what its output is later, or earlier, off than on; the drive's period."""
MODULE_OFF_S = 6e-6
"""Allowed of a module: from its shutdown input to no current."""
COMPARATOR_S = 1.5e-6
"""LM393 class with 5 mV of overdrive: 1.3 us (data sheet), and an edge through the pull-up."""
AMPLIFIER_S = 0.35 / 400e3
LOGIC_S = 0.1e-6
FILTER_OHM, MIRROR_OHM = 1e3, 100e3
LEVEL_TOP_V = REFERENCE_V
WATCHDOG_S = 0.45 * 100e3 * 220e-9
LEAD_H = 2e-6
RELAY_COIL_OHM = 80.0
LAMP_V = 1.8
"""A red lamp's own volts, from memory."""


def level_v(amps: float) -> float:
    """The fast limit's level for a current: 1.65 V + 200 mV/A."""
    return MIDDLE_V + amps * SHUNT_OHM * GAIN


def top_a() -> float:
    """What the comparators cut at most, with the level stuck high; the mirror loads the filter."""
    loaded = LEVEL_TOP_V - (LEVEL_TOP_V - MIDDLE_V) * FILTER_OHM / (FILTER_OHM + MIRROR_OHM)
    return (loaded - MIDDLE_V) / (SHUNT_OHM * GAIN)


def late_s() -> float:
    """From the current's step to no drive: amplifier, comparator, gates, module."""
    return AMPLIFIER_S + COMPARATOR_S + LOGIC_S + MODULE_OFF_S


def short_a(limit_a: float = PEAK_A, volts: float = SUPPLY_MAX_V) -> float:
    """Peak after leads touch at the part."""
    return limit_a + volts / LEAD_H * late_s()


def rest_share(volts: float) -> float:
    """Bridge supply over terminals before the relay closes."""
    siemens = 1 / BLEED_OHM + 1 / sum(DIVIDER_OHM)
    amps_at_0 = 2 * MODULE_REST_A - LAMP_V / BLEED_OHM
    bus_v = (volts - 2 * SCHOTTKY_V - PRECHARGE_OHM * amps_at_0) / (1 + PRECHARGE_OHM * siemens)
    return bus_v / volts


def stop_v(volts: float) -> float:
    """What gates and Pico see of the stop button while it is out."""
    top, bottom = STOP_OHM
    down = 1 / (1 / bottom + 1 / PULL_DOWN_OHM)
    return (volts - SCHOTTKY_V) * down / (top + down)


def stop_least_v() -> float:
    """Supply below which a gate may take the stop button for pressed: the safe side."""
    return SCHOTTKY_V + GATE_HIGH * REFERENCE_V / (stop_v(1 + SCHOTTKY_V))


def track_share() -> float:
    """What the resistor that pulls a lifted wiper down takes from a track, in its middle."""
    return TRACK_MOST_OHM / 4 / (TRACK_MOST_OHM / 4 + LIFTED_OHM)


def rows() -> list[Row]:
    """The table on docs/beginners-bench.md."""
    ripple = MEAN_A * 0.5
    return [
        Row("current range", (MIDDLE_V - 0.2) / (GAIN * SHUNT_OHM), "+-A", "(1.65 - 0.2)/(G R)", "Ohm"),
        Row("shunt heat at 3 A", MEAN_A**2 * SHUNT_OHM, "W", "I^2 R", "Joule"),
        Row(
            "modules' heat at 3 A",
            MEAN_A**2 * MODULE_OHM,
            "W",
            "I^2 R, one switch of each",
            "Joule; the modules' allowed resistance",
        ),
        Row("fast limit's level at 5 A", level_v(PEAK_A), "V", "1.65 + I R G", "Ohm"),
        Row("cut at most, level stuck high", top_a(), "A", "(3.3 - 1.65)/(R G), filter loaded", "Ohm"),
        Row(
            "delay of the fast limit",
            late_s() * 1e6,
            "us",
            "0.35/B + comparator + gates + module",
            "data sheets, from memory; the module's allowed",
        ),
        Row(
            "peak after a short, 1 m leads, 12 V",
            short_a(volts=SUPPLY_V),
            "A",
            "limit + V t/L",
            "L di/dt, 2 uH",
        ),
        Row("the same at 16 V", short_a(), "A", "limit + V t/L", "L di/dt, 2 uH"),
        Row("precharge to 90 %", -PRECHARGE_OHM * BULK_F * math.log(0.1), "s", "-R C ln 0.1", "RC"),
        Row("shorted module through the precharge", SUPPLY_V / PRECHARGE_OHM, "A", "V/R", "Ohm"),
        Row("the same, heat of the resistor at 16 V", SUPPLY_MAX_V**2 / PRECHARGE_OHM, "W", "V^2/R", "Joule"),
        Row(
            "bridge supply to the lamp's 1.8 V after a stop",
            BLEED_OHM * BULK_F * math.log((SUPPLY_V - LAMP_V) / 0.5),
            "s",
            "R C ln, to 0.5 V above the lamp's",
            "RC; the rest goes through the dividers",
        ),
        Row(
            "bridge supply at rest, at 9 V",
            100 * rest_share(9.0),
            "% of the terminals",
            "two Schottky diodes, lamp, divider, modules",
            "Ohm",
        ),
        Row("capacitor current", ripple, "A rms", "I sqrt(D(1-D)) at 0.5", "Erickson/Maksimovic ch. 3"),
        Row(
            "stop button's current",
            SUPPLY_V / RELAY_COIL_OHM + SUPPLY_V / PRECHARGE_OHM,
            "A",
            "coil + precharge",
            "Ohm",
        ),
        Row(
            "stop button seen at 9 V",
            stop_v(9.0),
            "V",
            "15k, pull-down over 33k",
            "Ohm; HC input: 1.65 V typical",
        ),
        Row(
            "the same at 16 V",
            stop_v(16.0),
            "V",
            "15k, pull-down over 33k",
            "Ohm; the inputs' diodes take over 0.1 mA",
        ),
        Row(
            "supply that gates take for a stop", stop_least_v(), "V", "half of 3.3 V over the divider", "Ohm"
        ),
        Row("wiper lifted: falls to 37 % in", 1e3 * LIFTED_OHM * SENSOR_F, "ms", "R C", "RC"),
        Row("what that takes from a track", 100 * track_share(), "%", "R/4 over 220k, in the middle", "Ohm"),
        Row("sensor's filter", 1e3 * SENSOR_OHM * SENSOR_F, "ms", "R C", "RC"),
        Row("12 V on the sensor's wire", 1e3 * (12.0 - 3.6) / SENSOR_OHM, "mA", "(12 - 3.6)/R", "Ohm"),
        Row("watchdog", 1e3 * WATCHDOG_S, "ms", "0.45 R C", "one-shot's data sheet at 5 V; longer at 3.3 V"),
        Row(
            "strip for 3 A, 20 K, 1 oz",
            board.track_width_mm(MEAN_A, 20, 1),
            "mm",
            "(I/(0.048 dT^0.44))^(1/0.725)/t",
            "IPC-2221 curve fit",
        ),
        Row("fuse load", 100 * MEAN_A / FUSE_A, "% of 5 A", "I/Ifuse", "75 to 80 % rule, common practice"),
        Row(
            "drop of 2 x 2 m of 18 AWG at 3 A",
            leads.lead_drop_v(18, 4.0, MEAN_A),
            "V",
            "rho l I/A at 60 C",
            "ASTM B258",
        ),
    ]
