"""Current shunt, amplifier ranges and what one converter step is worth."""

from __future__ import annotations

import math

from hardware.calc import design
from hardware.calc.rows import Row

RP2040_ENOB = 8.7
INA_BANDWIDTH_HZ = 400e3


def full_scale_a(shunt_ohm: float, gain: float) -> float:
    """Current either way until the amplifier comes within its headroom of a rail."""
    return (design.AMPLIFIER_ZERO_V - design.AMPLIFIER_HEADROOM_V) / (gain * shunt_ohm)


def step_a(shunt_ohm: float, gain: float) -> float:
    """One converter step as current."""
    return design.ADC_REFERENCE_V / design.ADC_CODES / (gain * shunt_ohm)


def shunt_w(amps: float, shunt_ohm: float) -> float:
    """Heat in the shunt."""
    return amps**2 * shunt_ohm


def offset_a(offset_v: float, shunt_ohm: float) -> float:
    """Input offset of the amplifier as current."""
    return offset_v / shunt_ohm


def noise_steps(enob: float, bits: int = 12) -> float:
    """RMS noise in converter steps that an ideal converter of `enob` bits would show (IEEE 1241)."""
    return 2 ** (bits - enob) / math.sqrt(12)


def divided_full_scale_v(top_ohm: float, bottom_ohm: float) -> float:
    """Input of a divider that fills the converter."""
    return design.ADC_REFERENCE_V * (top_ohm + bottom_ohm) / bottom_ohm


def loading_error(source_ohm: float, load_ohm: float) -> float:
    """Largest share lost when a potentiometer of `source_ohm` (worst in the middle) feeds `load_ohm`."""
    return (source_ohm / 4) / (source_ohm / 4 + load_ohm)


def filter_hz(source_ohm: float, farads: float) -> float:
    """Corner of a first-order low-pass."""
    return 1 / (2 * math.pi * source_ohm * farads)


def rows() -> list[Row]:
    """Ranges, steps, and the two dividers."""
    shunt, step = design.SHUNT_OHM, "3.3 V/4096/(G R)"
    sensor = design.SENSOR_TOP_OHM, design.SENSOR_BOTTOM_OHM
    thevenin = sensor[0] * sensor[1] / sum(sensor)
    return [
        Row("shunt heat at 40 A", shunt_w(design.CURRENT_A, shunt), "W", "I^2 R", "Joule"),
        Row("coarse range", full_scale_a(shunt, design.COARSE_GAIN), "+-A", "(1.65 - 0.2)/(G R)", "Ohm"),
        Row("fine range", full_scale_a(shunt, design.FINE_GAIN), "+-A", "(1.65 - 0.2)/(G R)", "Ohm"),
        Row("coarse step", 1e3 * step_a(shunt, design.COARSE_GAIN), "mA", step, "Ohm"),
        Row("fine step", 1e3 * step_a(shunt, design.FINE_GAIN), "mA", step, "Ohm"),
        Row("25 uV offset", 1e3 * offset_a(25e-6, shunt), "mA", "Vos/R", "INA240 data sheet, limit"),
        Row(
            "Pico converter noise",
            noise_steps(RP2040_ENOB),
            "steps rms",
            "2^(12-ENOB)/sqrt 12",
            "RP2040 data sheet ENOB 8.7",
        ),
        Row("voltage full scale", divided_full_scale_v(180e3, 27e3), "V", "3.3 (180k + 27k)/27k", "Ohm"),
        Row("sensor full scale", divided_full_scale_v(*sensor), "V", "3.3 (100k + 180k)/180k", "Ohm"),
        Row(
            "loading of a 5k sensor", 100 * loading_error(5e3, sum(sensor)), "%", "(R/4)/(R/4 + 280k)", "Ohm"
        ),
        Row(
            "sensor filter corner",
            filter_hz(thevenin, design.SENSOR_FILTER_F),
            "Hz",
            "1/(2 pi 64k 10n)",
            "first order",
        ),
    ]
