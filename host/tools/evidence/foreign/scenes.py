"""What somebody with a supply, an oscilloscope and a clamp does to a part, and what that records.

Parts of the second family of simulated parts, driven by hand: no procedure of the bench is followed, nothing of the
bench measures. The instruments have errors of their own.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from strokebench.bench.spec import SimSpec
from strokebench.sim.plants import make_plant

Floats = NDArray[np.float64]
OFF = None
"""In place of a drive: switched off, the part coasts."""
Way = tuple[tuple[float, float | None], ...]
"""Corners of a drive over time: seconds since the last corner, and the drive there (straight between)."""

MOVES: Mapping[str, Way] = {
    "slow both ways": (
        (0.4, OFF), (0.4, -0.45), (6.0, 0.65), (0.3, 0.65), (6.0, -0.45), (0.3, -0.45), (0.0, OFF), (0.9, OFF),
    ),
    "quick both ways": (
        (0.4, OFF), (0.3, -0.45), (1.0, 0.65), (0.3, 0.65), (1.0, -0.45), (0.3, -0.45), (0.0, OFF), (0.9, OFF),
    ),
    "one way": ((0.4, OFF), (0.0, 0.0), (4.0, 0.65), (0.3, 0.65), (0.0, OFF), (0.9, OFF)),
    "switched by hand": (
        (0.4, OFF), (0.0, 0.65), (0.6, 0.65), (0.0, OFF), (0.9, OFF), (0.0, -0.55), (0.6, -0.55), (0.0, OFF),
        (0.9, OFF),
    ),
}  # fmt: skip
"""How a motor-driven part is moved, by the name of it. Positive opens."""
VALVE_MOVES: Mapping[str, Way] = {
    name: tuple((over_s, None if drive is None else max(drive, -0.2)) for over_s, drive in way)
    for name, way in MOVES.items()
}
"""The same for a valve that is not to be rammed into its seat."""


@dataclass(frozen=True)
class Instruments:
    """What oscilloscope and clamp are off by: the clamp's gain and zero, noise of a row, gain of the volts."""

    clamp_gain: float
    clamp_zero_a: float
    noise_a: float
    noise_v: float
    volts_gain: Floats

    @classmethod
    def drawn(cls, rng: np.random.Generator) -> Instruments:
        """Ordinary ones (common practice: clamps 1 to 2 %, oscilloscopes 1 to 2 % of reading)."""
        gain, volts = rng.normal(1, 0.01), rng.normal(1, 0.005, 4)
        return cls(gain, rng.normal(0, 0.02), rng.uniform(0.003, 0.015), rng.uniform(0.002, 0.005), volts)

    def seen(self, table: dict[str, Floats], rng: np.random.Generator) -> dict[str, Floats]:
        """Return a table as they show it, with the digits that an export has."""
        out = {"time_s": table["time_s"]}
        gains = dict(zip(("supply_v", "output_a_v", "sensor_a_v", "sensor_b_v"), self.volts_gain, strict=True))
        for name, values in table.items():
            if name == "current_a":
                noisy = self.clamp_gain * values + self.clamp_zero_a + rng.normal(0, self.noise_a, len(values))
                out[name] = np.round(noisy, 4)
            elif name != "time_s":
                out[name] = np.round(gains[name] * values + rng.normal(0, self.noise_v, len(values)), 4)
        return out


def moved(spec: SimSpec, way: Way, channels: tuple[str, ...], rng: np.random.Generator) -> dict[str, Floats]:
    """Return what is recorded of a part that is driven along ``way``: time_s and ``channels``, a row each ms."""
    plant = make_plant(spec)
    drives, off = outline(way, rng)
    rows: dict[str, list[float]] = {name: [] for name in ("current_a", "output_a_v", "supply_v", "sensor_a_v", "sensor_b_v")}
    for drive, resting in zip(drives.tolist(), off.tolist(), strict=True):
        plant.advance(drive, not resting, 2)
        rows["current_a"].append(plant.current_a)
        rows["output_a_v"].append(plant.leg_a_v - plant.leg_b_v)
        rows["supply_v"].append(plant.vin_v)
        rows["sensor_a_v"].append(plant.sensor_a_v)
        rows["sensor_b_v"].append(plant.sensor_b_v)
    table = {"time_s": np.arange(len(drives)) / 1000} | {name: np.array(rows[name]) for name in channels}
    return Instruments.drawn(rng).seen(table, rng)


def outline(way: Way, rng: np.random.Generator) -> tuple[Floats, NDArray[np.bool_]]:
    """Return drive and whether it is off in each millisecond; a hand is never quite at the same place."""
    pieces, off, now = [], [], 0.0
    scale = rng.uniform(0.95, 1.1)
    for over_s, drive in way:
        count = round(1000 * over_s * rng.uniform(0.9, 1.1))
        target = 0.0 if drive is None else scale * drive
        pieces.append(np.linspace(now if drive is not None else 0.0, target, count + 1)[1:])
        off += [drive is None] * count
        now = target
    return np.concatenate(pieces), np.array(off, bool)
