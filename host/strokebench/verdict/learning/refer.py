"""How findings go with supply and temperature: what a reading would have been at 12.6 V and 20 C.

Most findings are referred by their own diagnosis (resistance to 20 C, torque to rated speed, pull-in time
to 12 V). Those that are left go by the part's physics: what a winding takes by Ohm's law and copper, what a
motor takes while it runs by the model of its own fitted figures
(:mod:`strokebench.verdict.learning.motor`), times by a power of the supply and of the winding's resistance.
A motion that its speed limits goes with 1 / V, one that its acceleration limits with the root of R / V; the
powers in between are of simulated parts of both families on seeds for tuning.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from strokebench.physics.copper import resistance_ratio
from strokebench.verdict.learning.motor import Motor
from strokebench.verdict.learning.surroundings import Surroundings

SUPPLY_V, PART_C = 12.6, 20.0
"""What readings and learnt limits are referred to."""
UNKNOWN_V, UNKNOWN_C = 0.8, 10.0
"""Standard uncertainty of supply and temperature that nobody recorded (judgement: a battery in a
workshop)."""
LAW_U = 0.15
"""Relative to the change that a law makes, in the logarithm (judgement)."""
LAWS: dict[str, tuple[float, float]] = {
    "stall_current": (1.0, -1.0),
    "wire_current": (1.0, -0.2),
    "inrush_peak": (1.0, -0.75),
    "open_time": (-1.0, 0.5),
    "close_time": (-0.5, 0.5),
    "travel_time": (-1.0, 0.25),
    "pull_in_time": (0.0, 0.8),
    "start_time": (0.0, 0.4),
}
"""Finding -> powers of the supply's volts and of the winding's resistance, warm over at 20 C."""
LAWS_OF_KIND: dict[tuple[str, str], tuple[float, float]] = {
    ("cooling_fan", "inrush_peak"): (1.2, 0.0),  # of a soft start
    ("egr_motor", "open_time"): (-1.25, 0.65),  # the spring leaves it little to spare
    ("egr_solenoid", "open_time"): (-0.7, 0.7),  # the current has to come up first
}
"""The same of kinds in which another thing limits it."""
RUNNING = ("current_flows", "turning")
"""Findings of a motor at the highest drive: its current, and its back-EMF as a share of the voltage."""
REFERRED = (*LAWS, *RUNNING)


@dataclass(frozen=True)
class Ratio:
    """What a reading at its surroundings is over one at 12.6 V and 20 C, and its relative u."""

    ratio: float = 1.0
    u: float = 0.0


def ratio_of(kind: str, key: str, at: Surroundings, motor: Motor | None) -> Ratio:
    """Return how the surroundings changed finding ``key`` of a part of ``kind``; 1 where they do not.

    ``motor``: the model of a part that turns, None for others.
    """
    if key not in REFERRED:
        return Ratio()
    supply_v = at.supply_v if math.isfinite(at.supply_v) else SUPPLY_V
    part_c = at.part_c if math.isfinite(at.part_c) else PART_C

    def change(more_v: float = 0.0, more_c: float = 0.0) -> float:
        if key in LAWS:
            return _by_law(LAWS_OF_KIND.get((kind, key), LAWS[key]), supply_v + more_v, part_c + more_c)
        return 0.0 if motor is None else _by_model(key, motor, supply_v + more_v, part_c + more_c)

    here = change()
    unknown_v = 0.0 if math.isfinite(at.supply_v) else change(more_v=UNKNOWN_V) - here
    unknown_c = 0.0 if math.isfinite(at.part_c) else change(more_c=UNKNOWN_C) - here
    return Ratio(math.exp(here), math.hypot(LAW_U * here, unknown_v, unknown_c))


def _by_law(powers: tuple[float, float], supply_v: float, part_c: float) -> float:
    volts, ohm = powers
    return volts * math.log(supply_v / SUPPLY_V) - ohm * math.log(resistance_ratio(part_c, PART_C))


def _by_model(key: str, motor: Motor, supply_v: float, part_c: float) -> float:
    here, there = motor.runs(supply_v, part_c), motor.runs(SUPPLY_V, PART_C)
    if min(*here, *there) <= 0:
        return 0.0
    if key == "turning":
        return math.log(here[1] / supply_v * SUPPLY_V / there[1])
    return math.log(here[0] / there[0])
