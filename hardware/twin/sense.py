"""How true boards of ordinary tolerances measure, by Monte Carlo on the netlist's resistors.

The error budget (hardware/calc/budget.py) combines the same limits by formula, and what a simulated bench as
built is off by comes from the budget. Here the networks themselves are drawn: each divider's two resistors,
the amplifier's middle, the reference. Converters are those of the budget.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from hardware.calc import budget, design
from hardware.calc.budget import EXTERNAL, PICO, Converter
from hardware.twin.trip import GAIN, REFERENCE_DIVIDER, SHUNT, SHUNT_OFFSET_V, Array, Boards

REFS = {
    "reference": {
        "supply_v": ("R421", "R422"),
        "output_a_v": ("R415", "R416"),
        "output_b_v": ("R417", "R418"),
    },
    "small": {"supply_v": ("R420", "R421"), "output_a_v": ("R414", "R415"), "output_b_v": ("R416", "R417")},
}
"""Upper and lower resistor of each voltage's divider."""
SHUNT_OHM = {"reference": 1e-3, "small": 10e-3}
FEED, SENSOR = ("R505", "R506"), ("R501", "R502")


@dataclass(frozen=True)
class Spread:
    """Standard deviations over boards: of the reading at nought (in the channel's unit), and of its slope."""

    offset: float
    gain: float


def _converted(
    boards: Boards, converter: Converter, zero_v: Array, slope: Array, alone: bool = True
) -> Spread:
    """Reading of ``zero_v`` + ``slope`` x value by a converter that hangs on the drawn reference."""
    step = 3.3 / design.ADC_CODES
    zero_v = zero_v + boards.around(0, converter.zero * step)
    slope = slope * boards.around(1, converter.gain / design.ADC_CODES)
    slope = slope / boards.around(1, budget.REFERENCE_TOLERANCE)
    middle = float(np.mean(slope))
    return Spread(float(np.std(zero_v)) / middle, float(np.std(slope)) / middle)


def currents(bench: str = "reference", **drawn: int) -> dict[str, Spread]:
    """Both ranges of the current. The amplifier's middle is a divider of the converters' own reference."""
    boards = Boards(bench, **drawn)
    found = {}
    ranges = (("coarse", design.COARSE_GAIN, PICO), ("fine", design.FINE_GAIN, EXTERNAL))
    for name, gain, converter in ranges:
        slope = SHUNT_OHM[bench] * gain * boards.around(1, SHUNT) * boards.around(1, GAIN)
        zero_v = boards.around(0, 1.65 * REFERENCE_DIVIDER) + gain * boards.around(0, SHUNT_OFFSET_V)
        found[f"current_{name}_a"] = _converted(boards, converter, zero_v, slope)
    return found


def _ratio(boards: Boards, refs: tuple[str, str]) -> Array:
    top, bottom = (boards.ohm(ref) for ref in refs)
    return bottom / (top + bottom)


def voltages(bench: str = "reference", **drawn: int) -> dict[str, Spread]:
    """Bridge supply and outputs."""
    boards = Boards(bench, **drawn)
    none = np.zeros(boards.count)
    return {
        name: _converted(boards, PICO if name == "supply_v" else EXTERNAL, none, _ratio(boards, refs))
        for name, refs in REFS[bench].items()
    }


def sensor(bench: str = "reference", **drawn: int) -> Spread:
    """A sensor's track as a share of the measured feed, times 5 V: the reference cancels."""
    boards = Boards(bench, **drawn)
    nominal = float(np.mean(_ratio(boards, SENSOR)))
    track, feed = (
        _ratio(boards, refs) * boards.around(1, EXTERNAL.gain / design.ADC_CODES) for refs in (SENSOR, FEED)
    )
    step = 3.3 / design.ADC_CODES / nominal
    both = boards.around(0, EXTERNAL.zero * step) + boards.around(0, EXTERNAL.zero * step)
    return Spread(float(np.std(both)), float(np.std(track / feed)))


def channels(bench: str = "reference", **drawn: int) -> dict[str, Spread]:
    """All of them, by the budget's names."""
    return {**currents(bench, **drawn), **voltages(bench, **drawn), "sensor_a_v": sensor(bench, **drawn)}
