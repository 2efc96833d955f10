"""Where the beginner's bench's uncertainties come from: ordinary resistors of 1 %, a regulator as reference,
the Pico's own converter.

As hardware/calc/budget.py, with its converter and rules; sources beside the limits.
"""

from __future__ import annotations

from hardware.beginner import values
from hardware.calc import budget as common
from hardware.calc import design, sense
from hardware.calc.budget import PICO, Parts

REFERENCE = 0.005
"""3.3 V regulator of 0.5 % in TO-92 (LP2950A class, data-sheet limit at 25 C, from memory)."""
RESISTOR = 0.01
FEED_SHARE = 0.005
"""What the feed's fuse of 5 Ohm (from memory) takes from a track of 1 kOhm."""


def _converter(parts: Parts, step: float, reference: bool = True) -> Parts:
    common._converter(parts, PICO, step, with_reference=False)
    if reference:
        parts.gain.append(REFERENCE)
    return parts


def _current() -> Parts:
    parts = Parts(
        zero=[common.AMPLIFIER_OFFSET_V / values.SHUNT_OHM],
        gain=[common.SHUNT_TOLERANCE, common.AMPLIFIER_GAIN],
        noise=[common.AMPLIFIER_NOISE_V / values.SHUNT_OHM],
    )
    return _converter(parts, sense.step_a(values.SHUNT_OHM, values.GAIN))


def _supply() -> Parts:
    top, bottom = values.DIVIDER_OHM
    share = RESISTOR * top / (top + bottom)
    step = sense.divided_full_scale_v(top, bottom) / design.ADC_CODES
    return _converter(Parts(gain=[share, share]), step)


def _output() -> Parts:
    """Volts across the part, worked out from drive and supply: nothing measures them."""
    parts = _supply()
    parts.zero += [
        values.DUTY_S / values.PERIOD_S * values.SUPPLY_MAX_V,
        values.MEAN_A * values.MODULE_OHM / 2,
    ]
    return parts


def _sensor() -> Parts:
    """A track between feed and ground, as a share of the feed, in volts at 5 V."""
    gain = [FEED_SHARE, values.track_share()]
    return _converter(Parts(gain=gain), 5.0 / design.ADC_CODES, reference=False)


def channels() -> dict[str, Parts]:
    """Every quantity by the key strokebench.bench.budget uses."""
    return {
        "current_coarse_a": _current(),
        "supply_v": _supply(),
        "output_a_v": _output(),
        "sensor_a_v": _sensor(),
    }
