"""Simulated parts switched on at constant volts and off again, written the way an oscilloscope would."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from strokebench.bench.spec import SimSpec
from strokebench.sim.plants import make_plant

Floats = NDArray[np.float64]
REST_S, OFF_S = 0.1, 0.1
MAP = 'time="Time [s]",current_a="CH1 [V]*10-16.5"'
"""A clamp of 100 mV/A around 1.65 V."""


@dataclass(frozen=True)
class Shot:
    """Current on a time axis; what the plant knows besides: rpm at the end of being on, and when (in s after
    switching) the plunger arrived and left."""

    time_s: Floats
    current_a: Floats
    rpm: float
    arrived_s: float
    left_s: float


@dataclass(frozen=True)
class Scope:
    """What an instrument does to a recording: noise in A rms, step of its digitizer in A, uneven time as a
    share of its period, rows missing from .. to in s."""

    noise_a: float = 0.0
    step_a: float = 0.0
    uneven: float = 0.0
    missing: list[tuple[float, float]] = field(default_factory=list)


def shoot(
    part: str,
    rate_hz: float,
    on_s: float,
    faults: tuple[str, ...] = (),
    seed: int = 1,
    supply_v: float = 12.6,
    duty: float = 1.0,
) -> Shot:
    """Switch a simulated part on for ``on_s``; a coil has a freewheel diode, a motor none.

    ``duty`` < 1: fed through PWM too fast to be seen.
    """
    plant = make_plant(SimSpec(part=part, seed=seed, faults=faults, supply_v=supply_v))
    coil = part.startswith("solenoid")
    step_s = 2e-4 if coil else 1e-3
    plant.fine = not coil
    ticks = round((REST_S + on_s + OFF_S) / step_s)
    nodes, currents, speeds, places = [], [], [], []
    for tick in range(ticks):
        on = REST_S <= tick * step_s + 1e-9 < REST_S + on_s
        plant.advance(duty * on, on or coil, 2, step_s)
        points = len(plant._nodes) - 1
        nodes.append(tick * step_s + np.arange(1, points + 1) * step_s / points)
        currents.append(plant._nodes[1:])
        speeds.append(getattr(plant, "speed_rad_s", 0.0))
        places.append(getattr(plant, "position", 0.0))
    time_s = np.arange(round(ticks * step_s * rate_hz)) / rate_hz
    current_a = np.interp(time_s, np.concatenate(nodes), np.concatenate(currents))
    ends_s, place = step_s * np.arange(1, ticks + 1), np.array(places)
    late = (ends_s > REST_S + 0.6 * on_s) & (ends_s < REST_S + on_s)
    arrived_s = float(ends_s[np.argmax(place >= 0.999)]) - REST_S
    left_s = float(ends_s[np.argmax((place < 0.999) & (ends_s > REST_S + on_s))]) - REST_S - on_s
    return Shot(time_s, current_a, float(np.mean(np.array(speeds)[late])) * 30 / np.pi, arrived_s, left_s)


def write(path: Path, shot: Shot, scope: Scope | None = None) -> Path:
    """Write a shot as a file that :data:`MAP` reads."""
    scope, rng = scope or Scope(), np.random.default_rng(5)
    time_s, current_a = shot.time_s, shot.current_a
    if scope.uneven:
        period_s = float(time_s[1] - time_s[0])
        moved_s = time_s + rng.uniform(-scope.uneven, scope.uneven, len(time_s)) * period_s
        time_s, current_a = moved_s, np.interp(moved_s, time_s, current_a)
    current_a = current_a + rng.normal(0, scope.noise_a, len(current_a))
    if scope.step_a:
        current_a = np.round(current_a / scope.step_a) * scope.step_a
    keep = np.ones(len(time_s), bool)
    for start_s, end_s in scope.missing:
        keep &= (time_s < start_s) | (time_s >= end_s)
    table = np.column_stack((time_s, 1.65 + current_a / 10))[keep]
    np.savetxt(
        path, table, ("%.9f", "%.7f"), ",", header="some scope,2 channels\nTime [s],CH1 [V]\ns,V", comments=""
    )
    return path
