"""Default uncertainty of what a bench measures, for findings made without a calibration.

The numbers are the reference bench's component limits combined after JCGM 100; hardware/calc/budget.py
derives them and the tests compare. The small bench differs by its shunt: what a current's range adds in
amperes is a tenth, what its parts' tolerances do to the gain is the same. The beginner's bench has its shunt,
few signals and ordinary resistors (hardware/beginner/budget.py). What a calibration replaces is in
:mod:`strokebench.bench.accuracy`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

from strokefw.sensing.sense import FADE_START_MA

from strokebench.bench.kinds import few_of, finer_of


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


_REFERENCE: dict[str, Channel] = {
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

_FEW: dict[str, Channel] = {
    "current_coarse_a": Channel(offset=0.094, gain=0.0071, linearity=0.18, noise=0.0047),
    "supply_v": Channel(offset=0.014, gain=0.0082, linearity=0.028, noise=0.00068),
    "output_a_v": Channel(offset=0.098, gain=0.0082, linearity=0.028, noise=0.00068),
    "sensor_a_v": Channel(offset=0.0028, gain=0.0052, linearity=0.0056, noise=0.00014),
}
"""The beginner's bench, with current as if its shunt were the reference bench's. `output_a_v` are the volts
across the part as they are worked out there: nothing measures them."""
_NO_FINE_A = -1.0


@dataclass(frozen=True)
class Budget:
    """One kind of bench: ``channels`` by name; ``fine_limit_a``: above this magnitude the coarse range takes
    part in the current reading.
    """

    channels: dict[str, Channel]
    fine_limit_a: float

    def channel_of(self, column: str, value: float) -> Channel:
        """The channel behind a sample column at a value: `current_a` is the fine or the coarse range."""
        if column == "current_a":
            column = "current_fine_a" if abs(value) <= self.fine_limit_a else "current_coarse_a"
        if column not in self.channels:
            known = ", ".join(self.channels)
            raise KeyError(f"{column!r} is not a measured column; known: {known} and current_a")
        return self.channels[column]


@cache
def budget(finer: int = 1, few: bool = False) -> Budget:
    """The uncalibrated bench whose current ranges are ``finer`` than the reference bench's; ``few``: it
    measures few signals (:func:`strokebench.bench.kinds.few_of`).
    """
    table = {
        name: replace(c, offset=c.offset / finer, linearity=c.linearity / finer, noise=c.noise / finer)
        if name.startswith("current")
        else c
        for name, c in default_budget(few).items()
    }
    return Budget(table, _NO_FINE_A if few else FADE_START_MA / 1000 / finer)


def budget_of(info: Mapping[str, Any]) -> Budget:
    """The bench that a recording's ``info`` names; the reference bench where it names none."""
    board = str((info.get("identity") or {}).get("board", ""))
    return budget(finer_of(board), few_of(board))


def default_budget(few: bool = False) -> dict[str, Channel]:
    """A fresh table of an uncalibrated bench by channel name; ``few``: with few signals."""
    return dict(_FEW if few else _REFERENCE)
