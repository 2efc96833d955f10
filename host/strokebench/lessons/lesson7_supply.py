"""Lesson 7: a fan on good and weak supplies, and a fan that gives energy back.

The last experiment has neither firmware nor brake chopper: a plant of this lesson is driven directly.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from strokebench.data.run import RunData
from strokebench.lessons.gear import drive, procedure, wide
from strokebench.lessons.outcome import Number, Outcome
from strokebench.sim.plants.base import BLEED_OHM, BUS_F, Conditions
from strokebench.sim.plants.cooling_fan import NOMINAL
from strokebench.sim.plants.rotary import Commutator, Rotary

if TYPE_CHECKING:
    from matplotlib.figure import Figure

SUPPLY_V = 12.6
SOURCES_OHM = (0.02, 0.12, 0.30)
MIN_V = 10.0
CAPACITOR_V = 25.0
"""Rating of the bus capacitors."""
DUTY_AFTER = 0.3
START_S, RUN_S, DOWN_S = 2.0, 1.0, 0.1


class Unclamped(Rotary):
    """Only in this lesson: no brake chopper, and an input diode that lets nothing back to the battery."""

    def _settle_bus(self, input_a: float, rail: int, dt_s: float) -> None:
        bus_v = self.bus_v - (input_a + self.bus_v / BLEED_OHM) * dt_s / BUS_F
        self._pumped = bus_v > self.source_v
        self.bus_v = bus_v if self._pumped else self.source_v - self.source_ohm * max(input_a, 0.0)
        self.vin_v = self.source_v


def fan(source_ohm: float, make: type[Rotary] = Rotary) -> Rotary:
    """Return the fan without scatter on a battery of that resistance."""
    conditions = Conditions(SUPPLY_V, source_ohm, 0.05, 25.0)
    return make(conditions, NOMINAL, Commutator(bounce=0.0), np.random.default_rng(1))


def pull(source_ohm: float) -> RunData:
    """Bring the fan to full drive and down again, quickly."""
    plan = procedure(
        {"kind": "ramp", "label": "start", "to": 1.0, "over_s": START_S},
        {"kind": "hold", "label": "run", "for_s": RUN_S},
        {"kind": "ramp", "label": "down", "to": DUTY_AFTER, "over_s": DOWN_S},
        {"kind": "hold", "label": "after", "for_s": 1.2},
    )
    return drive(fan(source_ohm), wide(supply_min_v=MIN_V), plan)


def unguarded() -> tuple[np.ndarray, np.ndarray, float]:
    """Let a running fan see the duty fall at once; return time in s, bus in V, speed before in rad/s."""
    plant = fan(SOURCES_OHM[0], Unclamped)
    plant.bus_v = SUPPLY_V
    for tick in range(4000):
        plant.advance(min(1.0, tick / 2000), True, 2)
    speed, volts = plant.speed_rad_s, []
    for _ in range(1000):
        plant.advance(DUTY_AFTER, True, 2)
        volts.append(plant.bus_v)
    return np.arange(1000) * 1e-3, np.array(volts), speed


def _at_lowest(data: RunData) -> list[Number]:
    """Duty at the lowest supply, the mean current that the bridge then draws from it, and the volts lost."""
    row = data.samples[np.argmin(data.samples["supply_v"])]
    input_a = float(row["drive"] * row["current_a"])
    return [
        Number("duty_300_pct", "300 mohm: duty at the lowest supply", 100 * float(row["drive"]), "%"),
        Number("input_300_a", "300 mohm: current from the supply at that duty", input_a, "A"),
        Number("lost_300_v", "300 mohm: voltage lost in battery and leads", input_a * SOURCES_OHM[-1], "V"),
    ]


def run() -> Outcome:
    """Three supplies with everything in force, then none of it."""
    runs = {ohm: pull(ohm) for ohm in SOURCES_OHM}
    time_s, bare_v, speed = unguarded()
    joule = NOMINAL.inertia_kgm2 / 2 * speed**2
    numbers = []
    for ohm, data in runs.items():
        rows, mohm = data.samples, round(ohm * 1000)
        running = rows[rows["drive"] > 0.99][-400:] if (rows["drive"] > 0.99).any() else rows[-1:]
        numbers += [
            Number(f"low_{mohm}_v", f"{mohm} mohm: lowest supply", float(rows["supply_v"].min()), "V"),
            Number(f"amps_{mohm}_a", f"{mohm} mohm: highest current", float(rows["current_a"].max()), "A"),
            Number(f"fault_{mohm}", f"{mohm} mohm: fault code that ended the run (0: none)",
                   float(data.info["fault"]), ""),
        ]  # fmt: skip
        if not data.info["fault"]:
            numbers += [
                Number(f"run_{mohm}_v", f"{mohm} mohm: supply while it runs",
                       float(running["supply_v"].mean()), "V"),
                Number(f"run_{mohm}_a", f"{mohm} mohm: current while it runs",
                       float(running["current_a"].mean()), "A"),
            ]  # fmt: skip
    numbers += _at_lowest(runs[SOURCES_OHM[-1]])
    marks = runs[SOURCES_OHM[0]].marks
    down_s, end_s = marks[2].start_s, marks[-1].end_s
    good = runs[SOURCES_OHM[0]].samples
    good = good[good["time_s"] < end_s]  # without the bench's own way to zero after the procedure
    arrived = (good["time_s"] > down_s) & (good["drive"] < DUTY_AFTER + 0.005)
    numbers += [
        Number("guarded_v", "duty falls, 20 mohm, with firmware: highest supply",
               float(good["supply_v"].max()), "V"),
        Number("guarded_back_a", "duty falls, 20 mohm, with firmware: highest current back",
               -float(good["current_a"].min()), "A"),
        Number("guarded_s", "duty falls, 20 mohm, with firmware: time until 30 %",
               float(good["time_s"][arrived][0] - down_s), "s"),
        Number("speed_rad_s", "speed before the duty falls, without firmware", speed, "rad/s"),
        Number("rotor_j", "energy in blades and rotor", joule, "J"),
        Number("all_v", "supply, if all of that energy went into the capacitors",
               float(np.sqrt(SUPPLY_V**2 + 2 * joule / BUS_F)), "V"),
        Number("bare_v", "without firmware: highest supply (limit 25 V)", float(bare_v.max()), "V"),
        Number("bare_ms", "without firmware: time from the duty's fall to 25 V",
               float(np.argmax(bare_v > CAPACITOR_V)), "ms"),
    ]  # fmt: skip

    def draw(figure: Figure) -> None:
        left, right = figure.subplots(1, 2)
        for ohm, data in runs.items():
            rows = data.samples
            code = f", code {data.info['fault']}" if data.info["fault"] else ""
            time_on_s = rows["time_s"] - data.marks[0].start_s
            left.plot(time_on_s, rows["supply_v"], label=f"{ohm * 1000:.0f} mohm{code}")
        left.axhline(MIN_V, color="grey", linewidth=0.8)
        left.set_xlabel("time in s")
        left.set_ylabel("supply at the bridge in V")
        left.legend(fontsize="small", loc="upper left")
        right.plot(good["time_s"] - down_s, good["supply_v"], label="with firmware and chopper")
        right.plot(time_s, bare_v, "--", label="without both")
        right.axhline(CAPACITOR_V, color="C3", linestyle=":", label="capacitors' rating")
        right.set_xlim(-0.1, 1.0)
        right.set_xlabel("time after the duty begins to fall, in s")
        right.set_ylabel("supply at the bridge in V")
        right.legend(fontsize="small")

    return Outcome("A cooling fan pulls the supply down, then pushes it up", numbers, draw)
