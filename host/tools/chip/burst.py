"""Bursts on the emulated chip, numbered so that a reading that is missing or out of place shows."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from strokebench.bench.bench import Bench
from strokebench.data.run import Burst
from strokebench.parts import load_part
from strokebench.parts.procedure import Procedure
from strokebench.sim.chip.world import ROUND_ROBIN_SHIFT, ChipWorld

RATE_HZ = 500_000
SHORT, LONGEST = 5_000, 50_000
MIDDLE = 2048
"""Code of no current."""


class Numbered:
    """Makes readings of the coarse current numbered ones, modulo a prime, in bursts from the second on."""

    PRIME = 61  # no piece of the chip's memory is a multiple of it

    def __init__(self, world: ChipWorld) -> None:
        self._adc: Any = world.machine.mcu.adc
        self._usual = world.inputs._code
        self._alone = False
        self._bursts = self._number = 0
        world.inputs._code = self._code

    def _code(self, channel: int) -> int:
        alone = not self._adc.cs >> ROUND_ROBIN_SHIFT & 31
        self._bursts += alone and not self._alone
        self._alone = alone
        if not alone or self._bursts < 2:
            return self._usual(channel)
        self._number += 1
        return MIDDLE + self._number % self.PRIME  # up to 2.4 A


@dataclass(frozen=True)
class Bursts:
    """A short burst of what the plant does, one of numbers, and what the run lost meanwhile."""

    rippling: Burst
    numbered: Burst
    lost_rows: int
    overruns: int
    tick_max_us: int

    @property
    def strongest_hz(self) -> float:
        """Frequency of the strongest part of the short one."""
        values = self.rippling.values
        spectrum = np.abs(np.fft.rfft(values - values.mean()))
        return float(np.argmax(spectrum) * self.rippling.rate_hz / len(values))

    @property
    def misplaced(self) -> int:
        """Readings of the numbered one that are not followed by the next number."""
        levels, numbers = np.unique(self.numbered.values, return_inverse=True)
        if len(levels) != Numbered.PRIME:
            return len(numbers)
        return int(np.count_nonzero(np.diff(numbers) % Numbered.PRIME != 1))


def capture(bench: Bench, world: ChipWorld) -> Bursts:
    """Drive a throttle a little, and capture both at the highest rate."""
    Numbered(world)
    burst = {"kind": "burst", "channel": "current_coarse", "rate_hz": RATE_HZ}
    segments = [
        {"kind": "ramp", "to": 0.3, "over_s": 0.2},
        {**burst, "count": SHORT, "pre": SHORT // 5},
        {"kind": "hold", "for_s": 0.05},  # its first tick is the trigger
        {**burst, "count": LONGEST},
        {"kind": "ramp", "to": 0.0, "over_s": 0.1},
    ]
    plan = Procedure.model_validate({"title": "bursts", "segments": segments}).plan()
    bench.set_limits(load_part("throttle-body").limits)
    bench.arm()
    bench.status()  # its maxima begin anew with each
    run = bench.run(plan)
    bursts = run.data(np.concatenate(list(run))).bursts
    assert len(bursts) == 2, f"{len(bursts)} of two bursts came"
    rippling, numbered = bursts
    counted = bench.status().counters
    return Bursts(rippling, numbered, run.lost_rows, counted["overruns"], counted["tick_max_us"])


def rows(bench: Bench) -> Iterator[tuple[str, str]]:
    """Rows of the chip's report, on a bench at rest."""
    port: Any = bench.link.port
    found = capture(bench, port.world)
    what = f"burst of {len(found.numbered.values)} readings at {found.numbered.rate_hz / 1000:g} kS/s"
    yield f"{what}: readings missing or out of place", str(found.misplaced)
    yield f"{what}: rows lost, ticks missed", f"{found.lost_rows}, {found.overruns}"
    what = "longest tick in that run, with two bursts, one with a pre-trigger"
    yield what, f"{found.tick_max_us} us"
    yield "strongest frequency in a shorter burst while driving", f"{found.strongest_hz / 1000:g} kHz"
