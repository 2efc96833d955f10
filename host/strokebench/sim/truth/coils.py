"""Truths of coils that pull a plunger."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from strokebench.sim.plants.plunger import Plunger
from strokebench.sim.plants.plunger import inductance_h as first_h
from strokebench.sim.plants.plunger import inductance_slope as first_slope
from strokebench.sim.truth import sensor
from strokebench.sim.truth.common import Floats, Specimen, winding_ohm

PLACES = np.linspace(0.07, 0.97, 181)
STEP_S = 1e-4

MEANS = {
    "inductance": "flux linkage divided by current, at rest, at DC, for small signals",
    "inductance_pulled": "rise of flux linkage divided by rise of current, from drive 0.6 to 1.0,"
    " pulled in, at DC",
    "leak": "conductance that was put beside the coil; eddy currents do not count",
    "plunger_moves": "inductance pulled in divided by inductance at rest, both at DC",
    "pull_in_current": "current at which the pull equals preload plus static friction, at rest",
    "drop_out_current": "current at which the pull equals the spring's force minus static friction,"
    " pulled in",
    "drop_out_ratio": "drop-out current divided by pull-in current",
    "pull_in_time": "time from a step of 12 V at the terminals until the plunger is seated, at the part's "
    "temperature, simulated",
    "opening_current": "current at which the pull equals preload plus static friction, at the seat",
    "opening_voltage": "opening current times the resistance of winding and leads at 20 C",
    "half_open_current": "current half way of the slow opening, at the speed of that sweep",
    "friction": "half the difference of current squared between opening and closing, at the speed of the "
    "slow sweeps (dry friction is then that of breaking away), mean of 7 to 97 %",
    "preload_open": "current squared at the seat, of a parabola through the middle of opening and"
    " closing over 7 to 97 %",
    "spring_slope": "rise over the travel of a straight line through that middle",
    "hysteresis": "how much further open the valve is at equal current on the way back, mean of 10 to 90 %",
}


def truths(specimen: Specimen) -> dict[str, float]:
    """Return the truths of a coil by finding."""
    coil = Curves(specimen.plant)
    found = {
        "winding_resistance": winding_ohm(specimen, coil.ohm),
        "inductance": 1e3 * coil.henry(0.0),
        "leak": 1e3 / coil.beside_ohm,
    }
    return found | (_valve(coil, specimen) if specimen.profile.tracks else _switch(coil, specimen))


class Curves:
    """A coil of either family as curves over the share of its stroke."""

    def __init__(self, plant: Any) -> None:
        self.coil = coil = plant.coil
        self.first = isinstance(plant, Plunger)
        self.ohm, self.beside_ohm, self.stroke_m = coil.resistance_ohm, coil.parallel_ohm, coil.stroke_m
        self.dry_n, self.static_n = coil.coulomb_n, coil.coulomb_n * coil.stiction
        self.side = 0.0 if self.first else coil.side

    def henry(self, share: float) -> float:
        """Inductance at DC and small current."""
        u = np.array([share * self.stroke_m])
        return float(first_h(self.coil, u)[0] if self.first else self.coil.air_h + self.coil.iron_h(u)[0])

    def slope(self, share: Floats) -> Floats:
        """dL/du."""
        u = share * self.stroke_m
        return first_slope(self.coil, u) if self.first else self.coil.iron_slope(u)

    def spring_n(self, share: Floats) -> Floats:
        """Force of the spring."""
        return np.asarray(self.coil.preload_n + self.coil.rate_n_per_m * share * self.stroke_m)

    def square(self, share: Floats, dry_n: float, direction: int) -> Floats:
        """Current squared (of the gap) at which the pull balances spring and friction."""
        pull = (self.spring_n(share) + direction * dry_n) / (1 - direction * self.side)
        return np.asarray(2 * pull / self.slope(share))

    def current_a(self, share: float, dry_n: float, direction: int) -> float:
        """The same as a current, with what the iron needs of its own."""
        gap_a = math.sqrt(max(float(self.square(np.array([share]), dry_n, direction)[0]), 0.0))
        return gap_a + self.own_a(share, gap_a)

    def own_a(self, share: float, gap_a: float) -> float:
        """What the iron needs of its own when the gap needs ``gap_a``."""
        if self.first:
            return 0.0
        flux = (self.henry(share) - self.coil.air_h) * gap_a
        return float(self.coil.bend * flux**3)

    def flux_wb(self, share: float, amps: float) -> float:
        """Flux linkage at a current."""
        gap_a = amps
        for _ in range(60):
            gap_a = 0.5 * (gap_a + amps - self.own_a(share, gap_a))
        air_h = self.henry(share) if self.first else self.coil.air_h
        iron_h = 0.0 if self.first else self.henry(share) - air_h
        return float(air_h * amps + iron_h * gap_a)


def _switch(coil: Curves, specimen: Specimen) -> dict[str, float]:
    pull_a, drop_a = coil.current_a(0.0, coil.static_n, 1), coil.current_a(1.0, coil.static_n, -1)
    full_a = float(np.percentile(specimen.run.samples["current_a"], 99))
    pulled_h = (coil.flux_wb(1.0, full_a) - coil.flux_wb(1.0, 0.6 * full_a)) / (0.4 * full_a)
    found = {
        "inductance_pulled": 1e3 * pulled_h,
        "plunger_moves": pulled_h / coil.henry(0.0),
        "pull_in_current": pull_a,
        "drop_out_current": drop_a,
        "drop_out_ratio": 100 * drop_a / pull_a,
    }
    time_ms = _pull_in_ms(specimen.plant)
    return found | ({"pull_in_time": time_ms} if math.isfinite(time_ms) else {})


def _pull_in_ms(stroked: Any) -> float:
    """Time to the seat of a fresh plant with the stroked one's coil and warmth, at 12 V; NaN if never."""
    if stroked._stuck or not stroked.connected:
        return math.nan
    if isinstance(stroked, Plunger):
        plant: Any = Plunger(stroked.conditions, stroked.coil)
    else:
        from strokebench.sim.second.magnet import Magnet
        from strokebench.sim.second.supply import Charger

        plant = Magnet(stroked.conditions, stroked.coil, Charger())
    plant.winding_c = plant.part_c = stroked.part_c
    plant.source_v, plant.source_ohm, plant.bus_v, plant._pumped = 12.0, 0.0, 12.0, False
    plant._refresh()
    for n in range(600):
        plant.advance(1.0, True, 2, STEP_S)
        if plant.position > 0.999:
            return (n + 1) * STEP_S * 1e3
    return math.nan


def _valve(coil: Curves, specimen: Specimen) -> dict[str, float]:
    rise, fall = _sweep_rates(specimen)
    up, down = _loop(coil, 1, rise) ** 2, _loop(coil, -1, fall) ** 2
    slope = np.polyfit(PLACES, (up + down) / 2, 1)[0]
    preload = np.polyfit(PLACES, (up + down) / 2, 2)[2]
    opens_a = coil.current_a(0.0, coil.static_n, 1)
    back = np.interp(np.sqrt(up), np.sqrt(down), PLACES, right=np.nan) - PLACES
    inside = (PLACES > 0.10) & (PLACES < 0.90) & np.isfinite(back)
    return sensor.truths(specimen, specimen.plant.seat_m / coil.stroke_m) | {
        "opening_current": opens_a,
        "opening_voltage": opens_a * winding_ohm(specimen, coil.ohm),
        "half_open_current": float(np.interp(0.5, PLACES, np.sqrt(up))),
        "friction": float(np.mean(up - down) / 2),
        "preload_open": float(preload),
        "spring_slope": float(slope),
        "hysteresis": 100 * float(np.mean(back[inside])),
    }


def _loop(coil: Curves, direction: int, amps_per_s: float) -> Floats:
    """Current at PLACES in a sweep so slow that only friction counts: static, and viscous at the sweep's
    speed."""
    still = np.array([coil.current_a(place, coil.static_n, direction) for place in PLACES])
    speed = coil.stroke_m * amps_per_s / np.gradient(still, PLACES)
    dry_n = coil.static_n + coil.coil.viscous_ns * speed
    pairs = zip(PLACES, dry_n, strict=True)
    return np.array([coil.current_a(place, rub_n, direction) for place, rub_n in pairs])


def _sweep_rates(specimen: Specimen) -> tuple[float, float]:
    """Rates of the current in the slow sweeps up and down, A/s, both positive; 0 where there are none."""
    found = []
    for label in ("sweep_open", "sweep_return"):
        slow = [
            specimen.run.of(mark) for mark in specimen.run.labelled(label) if mark.end_s - mark.start_s > 1.0
        ]
        rates = [np.polyfit(rows["time_s"], rows["current_a"], 1)[0] for rows in slow]
        found.append(abs(float(np.mean(rates))) if rates else 0.0)
    return found[0], found[1]
