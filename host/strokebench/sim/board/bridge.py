"""Between board and plant: bridge outputs, supply switch, single-MOSFET pulses, and what broken MOSFETs do to
them.
"""

from __future__ import annotations

import math

from strokebench.sim.board.as_built import Built
from strokebench.sim.board.shorted import advance_shorted
from strokebench.sim.board.wires import Wires, concerns
from strokebench.sim.plants.base import FLOAT_SHARE, Plant

FETS = {"ah": (0, 1), "al": (0, 0), "bh": (1, 1), "bl": (1, 0)}


class Bridge:
    """Outputs as the firmware set them (``drive`` 1/10000, ``gate``, ``rail``), applied once per tick."""

    def __init__(self, plant: Plant, seed: int = 0, built: Built | None = None) -> None:
        self.plant = plant
        self.wires: Wires | None = None
        self._seed = seed
        self.drive = 0
        self.gate = 0
        self.rail = 0
        self._built = Built() if built is None else built
        self._trip_a = math.inf
        self._trip_off_a = 0.0
        self._trip_plus_a = self._trip_minus_a = math.inf
        self._plus_late_a = self._minus_late_a = 0.0
        self._late = self._built.late_share
        self._pulse_leg = self._pulse_side = self._pulse_us = 0  # a pulse of 0 us is none
        self._shorted: tuple[tuple[int, int], ...] = ()
        self._dead: tuple[tuple[int, int], ...] = ()
        self.sound = True
        self._active: dict[str, float] = {}

    def look(self, active: dict[str, float]) -> None:
        """Take over which MOSFETs are broken and what else is wrong with the bench."""
        self._active = active
        self._shorted = tuple(fet for name, fet in FETS.items() if f"mosfet_short_{name}" in active)
        self._dead = tuple(fet for name, fet in FETS.items() if f"mosfet_open_{name}" in active)
        special = ("estop", "precharge_open", "main_open", "leads_shorted", "leads_swapped")
        self.sound = not self._shorted and not self._dead and not any(name in active for name in special)
        miswired = any(concerns(name) for name in active)
        self.wires = Wires(active, self._seed) if miswired else None
        self.sound = self.sound and not miswired
        self.plant.leads_off = "leads_off" in active or (self.wires is not None and self.wires.turned == 0)
        self._trip_off_a = active.get("comparator_off", 0.0)
        dead = "comparator_dead" in active
        self._plus_late_a = math.inf if dead or "comparator_plus_dead" in active else self._built.plus_a
        self._minus_late_a = math.inf if dead or "comparator_minus_dead" in active else self._built.minus_a
        self.set_trip(self._trip_a)

    def set_trip(self, amps: float) -> None:
        """Set the comparator's level, unless it is dead; it may be off, for either sign of the current."""
        self._trip_a = amps
        acts_a = self._built.factor * amps + self._trip_off_a
        self._trip_plus_a = max(acts_a + self._plus_late_a, 0.0)
        self._trip_minus_a = max(acts_a + self._minus_late_a, 0.0)
        self.plant.trip_a = self._trip_plus_a

    def tripped(self, level_a: float) -> bool:
        """Tell whether a comparator trips at the plant's present current and at a level of ``level_a``."""
        plant = self.plant
        acts_a = self._built.factor * level_a + self._trip_off_a
        plus = plant.current_max_a > acts_a + self._plus_late_a
        return plus or -plant.current_min_a > acts_a + self._minus_late_a

    def pulse(self, leg: int, side: int, us: int) -> None:
        """One MOSFET alone on for ``us`` of the next tick."""
        self._pulse_leg, self._pulse_side, self._pulse_us = leg, side, us

    def advance(self) -> None:
        """Let the plant go on by one tick."""
        plant = self.plant
        if self.drive < 0:
            plant.trip_a = self._trip_minus_a
        else:
            plant.trip_a = self._trip_plus_a
        if self.sound and self._pulse_us == 0:
            plant.advance(self._share(), self.gate == 1, self.rail)
        else:
            self.advance_troubled()

    def _share(self) -> float:
        """Signed duty at the outputs: what was set, less what the modules are later on than off."""
        share = self.drive * 1e-4
        if self._late == 0.0 or share == 0.0:
            return share
        return max(share - self._late, 0.0) if share > 0.0 else min(share + self._late, 0.0)

    def advance_troubled(self) -> None:
        """The same with a broken MOSFET, another trouble of the bridge, or a pulse."""
        plant = self.plant
        drive, gate, rail = self._real_outputs()
        if self.wires is not None:
            plant.feed_v = self._active.get("feed", plant.good_feed_v)  # the tracks are read as shares of it
        if "leads_shorted" in self._active:
            advance_shorted(plant, drive, gate, rail)
        elif "leads_swapped" in self._active or (self.wires is not None and self.wires.turned < 0):
            _swap(plant)
            plant.advance(-drive, gate, rail)
            _swap(plant)
        else:
            plant.advance(drive, gate, rail)
        if not gate:
            self._set_legs()
        elif self._shorted:
            # a shorted MOSFET against its switching partner: the supply collapses into the leg
            plant.bus_v = 0.1 * plant.bus_v
            plant.leg_a_v, plant.leg_b_v = 0.5 * plant.bus_v, 0.5 * plant.bus_v
        if self.wires is not None:
            self.wires.settle(plant, self._held_legs(drive, gate), rail)
        self._pulse_us = 0

    def _held_legs(self, drive: float, gate: bool) -> tuple[float | None, float | None]:
        """Volts that the bridge puts on each leg, None on one that floats."""
        bus_v = self.plant.bus_v
        if gate:
            return max(drive, 0.0) * bus_v, max(-drive, 0.0) * bus_v
        held: list[float | None] = [None, None]
        if self._pulse_us:
            held[self._pulse_leg] = self._pulse_side * bus_v
        return held[0], held[1]

    def _real_outputs(self) -> tuple[float, bool, int]:
        active, rail = self._active, self.rail
        if (rail == 2 and "main_open" in active) or (rail == 1 and "precharge_open" in active):
            rail = 0
        if "estop" in active and self.plant.conditions.stage.charged:
            rail = 0  # the stop button carries the relay's coil
        gate = self.gate == 1 and "estop" not in active and self._pulse_us == 0
        drive = self._share()
        high, low = ((0, 1), (1, 0)) if drive > 0 else ((1, 1), (0, 0))
        if high in self._dead:
            drive = 0.0
        return drive, gate and low not in self._dead, rail

    def _set_legs(self) -> None:
        """Leg voltages with the bridge off: pulled by shorted MOSFETs and the one pulsed, else floating."""
        plant, share, on = self.plant, 0.0, list(self._shorted)
        if self._pulse_us:
            leg, side = self._pulse_leg, self._pulse_side
            share = min(self._pulse_us * 1e-3, 1.0)
            if (leg, side) not in self._dead:
                on.append((leg, side))
            elif not self._shorted:
                share = 0.0
        if not on:
            return
        joined = plant.connected and not plant.leads_off
        lows, highs = ({leg for leg, side in on if side == which} for which in (0, 1))
        if lows & highs or (joined and lows and highs):
            plant.bus_v = 0.02 * plant.bus_v  # only the precharge resistor stands against it
        with_pulse = self._levels(on)
        without = self._levels(list(self._shorted))
        levels = [share * a + (1 - share) * b for a, b in zip(with_pulse, without, strict=True)]
        plant.leg_a_v, plant.leg_b_v = levels

    def _levels(self, on: list[tuple[int, int]]) -> list[float]:
        plant = self.plant
        joined = plant.connected and not plant.leads_off
        levels = []
        for leg in (0, 1):
            own = [side for where, side in on if where == leg]
            other = [side for where, side in on if where != leg] if joined else []
            pulled = own or other
            levels.append(plant.bus_v * (pulled[0] if pulled else FLOAT_SHARE))
        return levels


def _swap(plant: Plant) -> None:
    """Turn a part round between its two leads: what is seen from the one side is as from the other."""
    plant.current_a = -plant.current_a
    plant.current_max_a, plant.current_min_a = -plant.current_min_a, -plant.current_max_a
    plant.leg_a_v, plant.leg_b_v = plant.leg_b_v, plant.leg_a_v
