"""Lesson 4: inrush of a pump started at once and softly; fold-back limits are set out of the way."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from strokebench.lessons.gear import drive, procedure, wide
from strokebench.lessons.outcome import Number, Outcome
from strokebench.physics.motor import stall_current_a
from strokebench.sim.plants.base import BRIDGE_OHM, Conditions
from strokebench.sim.plants.fuel_pump import NOMINAL
from strokebench.sim.plants.rotary import Commutator, Rotary

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from strokebench.data.run import RunData
    from strokebench.data.samples import Samples

CONDITIONS = Conditions(supply_v=12.6, source_ohm=0.05, lead_ohm=0.05, ambient_c=25.0)
RAMPS_S = (0.01, 0.1, 0.3, 1.0)
LAST_S = 1.5


def pump() -> Rotary:
    """Return a pump without scatter or brush noise."""
    return Rotary(CONDITIONS, NOMINAL, Commutator(bounce=0.0), np.random.default_rng(1))


def start(ramp_s: float) -> RunData:
    """Start it with a ramp from nothing to full drive."""
    plan = procedure(
        {"kind": "ramp", "label": "start", "to": 1.0, "over_s": ramp_s},
        {"kind": "hold", "label": "run", "for_s": LAST_S - ramp_s},
    )
    return drive(pump(), wide(), plan)


def driven(data: RunData) -> Samples:
    """Return the samples from the start of the ramp to the end of the hold, without the braking after it."""
    return data.between(data.marks[0].start_s, next(data.labelled("run")).end_s)


def loop_ohm() -> float:
    """Winding, leads, bridge and battery."""
    return NOMINAL.resistance_ohm + CONDITIONS.lead_ohm + BRIDGE_OHM + CONDITIONS.source_ohm


def run() -> Outcome:
    """Start with four ramps and compare."""
    runs = {ramp_s: start(ramp_s) for ramp_s in RAMPS_S}
    numbers = [
        Number(
            "blocked_a", "if it stood still: (V - brush voltage)/R",
            stall_current_a(CONDITIONS.supply_v - NOMINAL.brush_v, loop_ohm()), "A",
        )
    ]  # fmt: skip
    for ramp_s, data in runs.items():
        rows, ms = driven(data), round(ramp_s * 1000)
        numbers += [
            Number(f"peak_{ms}_a", f"highest current, ramp of {ms} ms", float(rows["current_a"].max()), "A"),
            Number(f"sag_{ms}_v", f"lowest supply, ramp of {ms} ms", float(rows["supply_v"].min()), "V"),
            Number(f"i2t_{ms}_a2s", f"heating in {LAST_S:g} s (I2t), ramp of {ms} ms",
                   float((rows["current_a"] ** 2).sum() * 1e-3), "A2s"),
        ]  # fmt: skip
    last = driven(runs[RAMPS_S[0]])
    numbers.append(Number("running_a", "current once it runs", float(last["current_a"][-300:].mean()), "A"))

    def draw(figure: Figure) -> None:
        above, below = figure.subplots(2, 1, sharex=True)
        for ramp_s, data in runs.items():
            rows = data.samples
            time_s = rows["time_s"] - data.marks[0].start_s
            above.plot(time_s, rows["current_a"], label=f"ramp {ramp_s * 1000:g} ms")
            below.plot(time_s, rows["supply_v"])
        above.set_ylabel("current in A")
        above.legend()
        below.set_xlim(-0.05, LAST_S)
        below.set_ylim(11.4, 12.8)
        below.set_ylabel("supply at the bridge in V")
        below.set_xlabel("time in s")

    return Outcome("The same pump started within 10 ms to 1 s", numbers, draw)
