"""Default uncertainty of what the bench measures, for findings made without a calibration.

The numbers are the reference bench's component limits combined after JCGM 100; hardware/calc/budget.py
derives them and the tests compare. What a calibration replaces is in :mod:`strokebench.bench.accuracy`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from strokefw.sensing.sense import FADE_START_MA

FINE_LIMIT_A = FADE_START_MA / 1000
"""Above this magnitude the coarse range takes part in the current reading."""


@dataclass(frozen=True)
class Channel:
    """Standard uncertainties (k = 1) of one measured quantity.

    `offset`, `linearity` and `noise` are in the channel's unit, `gain` is relative to the reading. `noise`
    is that of one sample (one control tick) and shrinks with averaging; the others do not.
    """

    offset: float
    gain: float
    linearity: float
    noise: float

    def u(self, value: float, samples: int = 1) -> float:
        """Standard uncertainty of the mean of `samples` samples around `value`."""
        if samples < 1:
            raise ValueError("at least one sample is needed")
        return math.hypot(self.offset, self.gain * value, self.linearity, self.noise / math.sqrt(samples))


_DEFAULT: dict[str, Channel] = {
    "current_coarse_a": Channel(offset=0.094, gain=0.0066, linearity=0.18, noise=0.0047),
    "current_fine_a": Channel(offset=0.016, gain=0.006, linearity=0.0023, noise=0.0019),
    "supply_v": Channel(offset=0.014, gain=0.0031, linearity=0.028, noise=0.00068),
    "output_a_v": Channel(offset=0.011, gain=0.0015, linearity=0.0036, noise=0.0017),
    "output_b_v": Channel(offset=0.011, gain=0.0015, linearity=0.0036, noise=0.0017),
    "sensor_a_v": Channel(offset=0.0031, gain=0.0011, linearity=0.001, noise=0.00048),
    "sensor_b_v": Channel(offset=0.0031, gain=0.0011, linearity=0.001, noise=0.00048),
    "heatsink_c": Channel(offset=1.3, gain=0.0, linearity=0.03, noise=0.014),
    "part_c": Channel(offset=0.84, gain=0.0, linearity=0.03, noise=0.014),
}


def default_budget() -> dict[str, Channel]:
    """A fresh table of the uncalibrated reference bench, by channel name."""
    return dict(_DEFAULT)


def channel_of(column: str, value: float, budget: dict[str, Channel] | None = None) -> Channel:
    """The channel behind a sample column at a value: `current_a` is the fine or the coarse range."""
    if column == "current_a":
        column = "current_fine_a" if abs(value) <= FINE_LIMIT_A else "current_coarse_a"
    table = _DEFAULT if budget is None else budget
    if column not in table:
        raise KeyError(f"{column!r} is not a measured column; known: {', '.join(table)} and current_a")
    return table[column]
