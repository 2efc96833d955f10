"""Where the default uncertainties of strokebench.bench.budget come from: component limits, after JCGM 100.

Limits are taken as rectangular (GUM 4.3.7). Linearity of the Pico's converter is the published 7.9 steps; the
external converter's figures are its data sheet's limits.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from strokebench.physics import gum, ntc

from hardware.calc import design, sense

REFERENCE_TOLERANCE = 0.002  # REF3033 class, data-sheet limit
SHUNT_TOLERANCE, AMPLIFIER_GAIN, AMPLIFIER_OFFSET_V = 0.01, 0.002, 25e-6
DIVIDER_TOLERANCE, PULL_UP_TOLERANCE = 0.001, 0.01
AMPLIFIER_NOISE_V = 1.6e-6  # 40 nV/sqrt(Hz) over the 1 kHz of a tick
NTC_TOLERANCE, BETA_TOLERANCE, HOT_C = 0.01, 0.01, 85.0
SINK_CONTACT_K, PROBE_CONTACT_K = 2.0, 1.0  # how far the bead lags what it touches: engineering judgement
ONE_BETA_K = 0.6


@dataclass(frozen=True)
class Converter:
    """Limits in steps of 12 bit: zero, gain, linearity; rms noise; samples averaged into one tick."""

    zero: float
    gain: float
    linearity: float
    noise: float
    samples: int


PICO = Converter(zero=4.0, gain=20.0, linearity=7.9, noise=1.4, samples=160)
EXTERNAL = Converter(zero=3.0, gain=5.0, linearity=1.0, noise=0.6, samples=5)


@dataclass
class Parts:
    """Half-widths (limits) by kind, in the channel's unit (gain: relative), and rms noise terms."""

    zero: list[float] = field(default_factory=list)
    gain: list[float] = field(default_factory=list)
    linearity: list[float] = field(default_factory=list)
    noise: list[float] = field(default_factory=list)

    def standard(self) -> tuple[float, float, float, float]:
        """Offset, gain, linearity and noise as standard uncertainties."""
        flat = [
            gum.combined([gum.rectangular(p) for p in kind])
            for kind in (self.zero, self.gain, self.linearity)
        ]
        return flat[0], flat[1], flat[2], gum.combined(self.noise)


def _converter(parts: Parts, converter: Converter, step: float, with_reference: bool = True) -> Parts:
    parts.zero.append(converter.zero * step)
    parts.linearity.append(converter.linearity * step)
    parts.noise.append(converter.noise * step / converter.samples**0.5)
    parts.gain.append(converter.gain / design.ADC_CODES)
    if with_reference:
        parts.gain.append(REFERENCE_TOLERANCE)
    return parts


def current(gain: float, converter: Converter, shunt: float = design.SHUNT_OHM) -> Parts:
    """One range of the current measurement, in amperes."""
    parts = Parts(
        zero=[AMPLIFIER_OFFSET_V / shunt],
        gain=[SHUNT_TOLERANCE, AMPLIFIER_GAIN],
        noise=[AMPLIFIER_NOISE_V / shunt],
    )
    return _converter(parts, converter, sense.step_a(shunt, gain))


def divider_gain(top_ohm: float, bottom_ohm: float) -> list[float]:
    """Relative half-widths of a divider's ratio from its two resistors."""
    share = DIVIDER_TOLERANCE * top_ohm / (top_ohm + bottom_ohm)
    return [share, share]


def voltage(converter: Converter) -> Parts:
    """A 180k/27k divider, in volts."""
    top, bottom = design.BUS_TOP_OHM, design.BUS_BOTTOM_OHM
    step = sense.divided_full_scale_v(top, bottom) / design.ADC_CODES
    return _converter(Parts(gain=divider_gain(top, bottom)), converter, step)


def sensor() -> Parts:
    """A sensor input referred to the measured 5 V feed: the reference cancels, two dividers stay."""
    top, bottom = design.SENSOR_TOP_OHM, design.SENSOR_BOTTOM_OHM
    step = sense.divided_full_scale_v(top, bottom) / design.ADC_CODES
    parts = Parts(gain=divider_gain(top, bottom) * 2)
    for _ in ("sensor", "feed"):
        _converter(parts, EXTERNAL, step, with_reference=False)
    return parts


def temperature(converter: Converter, contact_k: float) -> Parts:
    """A thermistor at 85 C, in kelvin; the divider hangs on the converter's own reference."""
    ohm = ntc.resistance_ohm(HOT_C, design.NTC_BETA_K, design.NTC_R25_OHM)
    slope = abs(ntc.slope_per_k(HOT_C, design.NTC_BETA_K))
    share = ntc.divider_ratio(ohm, design.NTC_PULL_UP_OHM)
    step = 1 / design.ADC_CODES / (share * (1 - share)) / slope
    stretched = ntc.resistance_ohm(HOT_C, design.NTC_BETA_K * (1 + BETA_TOLERANCE), design.NTC_R25_OHM)
    beta_k = abs(stretched / ohm - 1) / slope
    limits = [NTC_TOLERANCE / slope, PULL_UP_TOLERANCE / slope, beta_k, ONE_BETA_K, contact_k]
    parts = _converter(Parts(zero=limits), converter, step, with_reference=False)
    parts.gain.clear()
    return parts


def channels(shunt_ohm: float = design.SHUNT_OHM) -> dict[str, Parts]:
    """Every measured quantity of a bench by the key strokebench.bench.budget uses."""
    return {
        "current_coarse_a": current(design.COARSE_GAIN, PICO, shunt_ohm),
        "current_fine_a": current(design.FINE_GAIN, EXTERNAL, shunt_ohm),
        "supply_v": voltage(PICO),
        "output_a_v": voltage(EXTERNAL),
        "output_b_v": voltage(EXTERNAL),
        "sensor_a_v": sensor(),
        "sensor_b_v": sensor(),
        "heatsink_c": temperature(EXTERNAL, SINK_CONTACT_K),
        "part_c": temperature(EXTERNAL, PROBE_CONTACT_K),
    }


def markdown() -> str:
    """The error budget as a table of standard uncertainties."""
    head = "## Error budget (standard uncertainties, k = 1, uncalibrated)\n\n"
    head += "| channel | offset | gain, % | linearity | noise per tick |\n| --- | --- | --- | --- | --- |\n"
    lines = []
    for name, parts in channels().items():
        offset, gain, linearity, noise = parts.standard()
        lines.append(f"| {name} | {offset:.2g} | {100 * gain:.2g} | {linearity:.2g} | {noise:.2g} |\n")
    return head + "".join(lines)
