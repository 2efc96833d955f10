"""How far one bench as built is off beside its converters: fast current limit, brake chopper, watchdog.

Standard sizes by Monte Carlo over the netlist's tolerances (the project's hardware/twin/trip.py, whose tests
compare them with these). A calibration does not change them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from strokebench.sim.plants.stage import REFERENCE

TRIP_FACTOR, TRIP_GAIN = 0.99, 0.006
"""The filter's load takes 1 % of the level; shunt and amplifier spread the rest."""
TRIP_PLUS_A, TRIP_MINUS_A = 0.295, 0.398
"""Offsets of comparator and mirror for either sign of the current, on the reference bench."""
CHOPPER_SPREAD_V = 0.11
"""Of the middle between the brake chopper's on and off, which the stage has as its ``clamp_v``."""
WATCHDOG_MS, WATCHDOG_SPREAD_MS = 9.9, 1.03
NOMINAL_WATCHDOG_TICKS = 10
LATE_SHARE = 0.01
"""Limit of what a ready-made module is later on than off, of a PWM period: hardware/beginner/values.py."""


@dataclass(frozen=True)
class Built:
    """What one bench got: the limit that acts is ``factor`` times the one set, and off by so many amperes.

    ``chopper_v`` is 0 where there is no chopper, or where it is the simulation's own.
    """

    factor: float = 1.0
    plus_a: float = 0.0
    minus_a: float = 0.0
    chopper_v: float = 0.0
    watchdog_ticks: int = NOMINAL_WATCHDOG_TICKS
    late_share: float = 0.0


def late_share(seed: int) -> float:
    """What the modules of one bench are later on than off, of a PWM period."""
    return float(np.random.default_rng((seed, 14)).uniform(-LATE_SHARE, LATE_SHARE))


def built(seed: int, finer: int, chopper: bool) -> Built:
    """One bench as built; ``finer``: how much finer its current ranges are than the reference bench's."""
    draw = np.random.default_rng((seed, 13)).normal(0, 1, 5).clip(-2.5, 2.5)
    return Built(
        factor=float(TRIP_FACTOR + TRIP_GAIN * draw[0]),
        plus_a=float(TRIP_PLUS_A * draw[1] / finer),
        minus_a=float(TRIP_MINUS_A * draw[2] / finer),
        chopper_v=float(REFERENCE.clamp_v + CHOPPER_SPREAD_V * draw[3]) if chopper else 0.0,
        watchdog_ticks=int(WATCHDOG_MS + WATCHDOG_SPREAD_MS * draw[4]),
    )
