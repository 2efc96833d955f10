"""A burst on a simulated bench: a ring before the trigger, then the rest, tick by tick; and a stream."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from strokefw.channels import RAW_HZ

from strokebench.sim.board.converter import BURST, LEFT, Converter
from strokebench.sim.micropython_side.burst_rate import RawKept, raw_every
from strokebench.sim.plants.base import Plant


class BurstCapture:
    """One capture: ``feed`` it after each tick; ``ready`` when all ``count`` counts are in ``data``."""

    def __init__(self, channel: int, rate_hz: int, count: int, pre: int) -> None:
        self.channel, self.rate_hz, self.count = channel, rate_hz, count
        self.pre = min(pre, count)
        self.triggered = self.pre == 0  # nothing to wait for: it begins at once
        self.ready = False
        self.data = b""
        self._next_s = 0.0
        self._have: NDArray[np.uint16] = np.zeros(0, np.uint16)

    def trigger(self) -> None:
        """From now on everything is kept; of what came before, the last ``pre`` samples."""
        self.triggered = True

    def feed(self, plant: Plant, converter: Converter, tick_s: float = 1e-3) -> None:
        """Take what the channel did in the tick that ``plant`` has just gone through."""
        if self.ready:
            return
        fit = max(0, int(np.ceil((tick_s - self._next_s) * self.rate_hz - 1e-9)))
        if not self.triggered and not self.pre:
            self._next_s += fit / self.rate_hz - tick_s
            return
        values = plant.waveform(BURST[self.channel], self.rate_hz, fit, self._next_s)
        self._next_s += fit / self.rate_hz - tick_s
        self._have = np.concatenate((self._have, converter.burst_counts(self.channel, values)))
        if not self.triggered:
            self._have = self._have[-self.pre :]
        elif len(self._have) >= self.count:
            self.data = self._have[: self.count].astype("<u2").tobytes()
            self.ready = True


class RawCapture(RawKept):
    """An endless stream: ``feed`` it after each tick; ``fresh`` is what the last one brought (codes)."""

    def __init__(self, channel: int, rate_hz: int) -> None:
        super().__init__()  # type: ignore[no-untyped-call]
        self.channel = channel
        self._every = raw_every(rate_hz)  # type: ignore[no-untyped-call]
        self._left = 0  # readings of the converter to leave out before the next
        self.fresh: NDArray[np.uint16] = np.zeros(0, np.uint16)

    def feed(self, plant: Plant, converter: Converter, tick_s: float = 1e-3) -> None:
        """Take what the channel did in the tick that ``plant`` has just gone through."""
        there = round(tick_s * RAW_HZ)
        count = max(0, -(-(there - self._left) // self._every))
        values = plant.waveform(BURST[self.channel], RAW_HZ / self._every, count, self._left / RAW_HZ)
        self._left += count * self._every - there
        self.fresh = (converter.burst_counts(self.channel, values) // LEFT).astype("<u2")
        self.add(self.fresh.tolist())  # type: ignore[no-untyped-call]
