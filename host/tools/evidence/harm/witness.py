"""What really happens to part and bridge, watched in each tick; the firmware knows only readings of it."""

from __future__ import annotations

import math
from typing import Any

from strokebench.data.samples import TICK_S
from strokebench.sim.plants.base import FET_OHM

LEAD_TAU_S = 60.0
"""A lead of some square millimetres in free air warms within a minute or so (order of size, no source)."""
WINDOW_S = 30.0
"""Times above a limit are forgotten within this: more than one visit in it adds up."""
MOVED_SHARE = 0.25
"""A part this share of its travel away from where it was held has moved, and is held no more.

Where it was held is the mean place of the time counted against it. The place where it had last moved that
far would be stricter than physics: it may lie midway on the way to a stop, and a part that swings from the
stop to a half and back leaves it by less than a quarter to either side.
"""
TURNS_RAD_S = 3.0
"""What turns without end moves from this speed on."""
HOT_FET = 1.5
"""On-resistance of a hot MOSFET over that of a warm one."""

MEASURES = {
    "winding": "how much warmer the winding gets than the room, in K (degrees)",
    "junction": "how much warmer the hottest junction of a MOSFET gets than the heatsink, in K (degrees)",
    "leads": "heating of the leads: the squared current, averaged over about a minute, in A²",
    "held": "seconds in which the current is above the stall current (a limit of the profile)"
    " since the part last moved, a time that fades",
    "mean": "seconds in which the mean current is above (1.25 x its limit) + 0.3 A, a time that fades",
    "peak": "seconds in which the peak current is above (1.1 x its limit) + 0.8 A, a time that fades",
}
"""Measure of harm -> what it is."""
UNITS = {"winding": "K", "junction": "K", "leads": "A²", "held": "s", "mean": "s", "peak": "s"}


def decay(tau_s: float) -> float:
    """Return the share that is forgotten in a tick."""
    return 1.0 - math.exp(-TICK_S / tau_s)


class Witness:
    """``look`` after each tick; the ``most_*`` attributes are the largest values since ``begin``.

    ``position`` reads share of travel where a part has one; else its speed tells whether it moves.
    """

    def __init__(self, plant: Any) -> None:
        self.plant = plant
        self.stall_a = self.mean_a = self.peak_a = 1e3
        self.mover = plant if hasattr(plant, "position") else None
        self._lead_share, self._window_share = decay(LEAD_TAU_S), decay(WINDOW_S)
        # inside, pad and foot on the heatsink: the numbers of guard/heat.py
        self._inside_share, self._pad_share, self._foot_share = decay(0.002), decay(0.03), decay(1.5)
        self.begin()

    def begin(self) -> None:
        """Forget everything."""
        self.lead = self.held = self.mean = self.peak = 0.0
        self.inside = self.pad = self.foot = 0.0
        self.home = self.place()
        self.most_winding = self.most_junction = self.most_leads = 0.0
        self.most_held = self.most_mean = self.most_peak = 0.0

    def place(self) -> float:
        """Return the share of travel, 0 for a part that turns without end."""
        return 0.0 if self.mover is None else float(self.mover.position)

    def look(self) -> None:
        """Take one tick."""
        plant = self.plant
        half_a = 0.5 * (plant.current_max_a - plant.current_min_a)
        square = plant.current_a * plant.current_a + half_a * half_a * (1.0 / 3.0)
        self.lead += (square - self.lead) * self._lead_share
        self.most_leads = max(self.most_leads, self.lead)
        self.most_winding = max(self.most_winding, plant.winding_c - plant.conditions.ambient_c)

        watts = square * FET_OHM * HOT_FET
        self.inside += (watts * 0.1 - self.inside) * self._inside_share
        self.pad += (watts * 0.3 - self.pad) * self._pad_share
        self.foot += (watts * 0.8 - self.foot) * self._foot_share
        self.most_junction = max(self.most_junction, self.inside + self.pad + self.foot)

        mover = self.mover
        if mover is None:
            moved = abs(plant.speed_rad_s) > TURNS_RAD_S
        else:
            moved = abs(mover.position - self.home) > MOVED_SHARE
        if moved:
            self.held = 0.0
        above = 1.0 if square > self.stall_a * self.stall_a else 0.0
        self.held += above * TICK_S - self.held * self._window_share
        if mover is not None and above > 0.0:
            self.home += (mover.position - self.home) * TICK_S / self.held
        self.most_held = max(self.most_held, self.held)
        above = 1.0 if abs(plant.current_a) > 1.25 * self.mean_a + 0.3 else 0.0
        self.mean += above * TICK_S - self.mean * self._window_share
        self.most_mean = max(self.most_mean, self.mean)
        above = 1.0 if max(plant.current_max_a, -plant.current_min_a) > 1.1 * self.peak_a + 0.8 else 0.0
        self.peak += above * TICK_S - self.peak * self._window_share
        self.most_peak = max(self.most_peak, self.peak)

    def harm(self) -> dict[str, float]:
        """Return the largest value of each measure."""
        return {name: float(getattr(self, f"most_{name}")) for name in MEASURES}
