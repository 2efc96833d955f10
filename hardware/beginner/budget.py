"""Where the beginner's bench's uncertainties come from: ordinary resistors of 1 %, a regulator as reference.

As hardware/calc/budget.py, with its converters and rules; sources beside the limits.
"""

from __future__ import annotations

from hardware.beginner import values
from hardware.calc import budget as common
from hardware.calc import design, sense
from hardware.calc.budget import EXTERNAL, PICO, Converter, Parts

REFERENCE = 0.005
"""3.3 V regulator of 0.5 % in TO-92 (LP2950A class, data-sheet limit at 25 C, from memory)."""
RESISTOR = 0.01
OPAMP_OFFSET_V = 0.0045
"""MCP6002 class, data-sheet limit."""
LOADED = Converter(EXTERNAL.zero, EXTERNAL.gain, 2.0, EXTERNAL.noise, EXTERNAL.samples)
"""The external converter behind a divider without buffer: 20 pF charged 8000 times a second take 0.5 uA
at most, 1.2 mV behind 2.35 kOhm (data sheet's sample capacitor): 1.5 steps.
"""


def _converter(parts: Parts, converter: Converter, step: float, with_reference: bool = True) -> Parts:
    common._converter(parts, converter, step, with_reference=False)
    if with_reference:
        parts.gain.append(REFERENCE)
    return parts


def _divider(top_ohm: float, bottom_ohm: float) -> list[float]:
    share = RESISTOR * top_ohm / (top_ohm + bottom_ohm)
    return [share, share]


def _current(gain: float, converter: Converter) -> Parts:
    parts = Parts(
        zero=[common.AMPLIFIER_OFFSET_V / values.SHUNT_OHM],
        gain=[common.SHUNT_TOLERANCE, common.AMPLIFIER_GAIN],
        noise=[common.AMPLIFIER_NOISE_V / values.SHUNT_OHM],
    )
    return _converter(parts, converter, sense.step_a(values.SHUNT_OHM, gain))


def _voltage(converter: Converter) -> Parts:
    top, bottom = values.DIVIDER_OHM
    step = sense.divided_full_scale_v(top, bottom) / design.ADC_CODES
    return _converter(Parts(gain=_divider(top, bottom)), converter, step)


def _sensor() -> Parts:
    top, bottom = values.SENSOR_OHM
    step = sense.divided_full_scale_v(top, bottom) / design.ADC_CODES
    parts = Parts(zero=[OPAMP_OFFSET_V * (top + bottom) / bottom], gain=_divider(top, bottom) * 2)
    _converter(parts, EXTERNAL, step, with_reference=False)
    return _converter(parts, LOADED, step, with_reference=False)


def channels() -> dict[str, Parts]:
    """Every measured quantity by the key strokebench.bench.budget uses."""
    return {
        "current_coarse_a": _current(design.COARSE_GAIN, PICO),
        "current_fine_a": _current(design.FINE_GAIN, EXTERNAL),
        "supply_v": _voltage(PICO),
        "output_a_v": _voltage(LOADED),
        "output_b_v": _voltage(LOADED),
        "sensor_a_v": _sensor(),
        "sensor_b_v": _sensor(),
        "heatsink_c": common.temperature(EXTERNAL, common.SINK_CONTACT_K),
        "part_c": common.temperature(EXTERNAL, common.PROBE_CONTACT_K),
    }
