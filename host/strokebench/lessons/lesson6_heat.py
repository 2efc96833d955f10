"""Lesson 6: heatsink and junction under load with the firmware's derating, its cut-out, and neither.

The sink is thumb-sized, so that it warms within a minute instead of ten. The protection is taken away by a
board of this lesson whose thermistor has come loose and hangs in the air.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from strokebench.bench.spec import SimSpec
from strokebench.data.run import RunData
from strokebench.lessons import mosfet
from strokebench.lessons.gear import coil, drive, procedure, wide
from strokebench.lessons.outcome import Number, Outcome
from strokebench.sim.board.board import SimBoard, ntc_counts
from strokebench.sim.plants.base import BRIDGE_OHM, FET_OHM, Conditions
from strokebench.sim.plants.pieces.winding import SLOW_TICKS
from strokebench.sim.plants.rotary import Rotary

if TYPE_CHECKING:
    from matplotlib.figure import Figure

LOAD_OHM, LOAD_H = 0.25, 0.5e-3
SINK_K_PER_W, SINK_J_PER_K, QUIET_W = 20.0, 0.8, 0.15
COOL_C, HOT_C = 25.0, 80.0
HOLD_S = 40.0
SPEC = SimSpec("fuel-pump")


class ThumbSink(Rotary):
    """The part on a bench whose bridge has a small heatsink; keeps the sink's true temperature."""

    def __init__(self, *args: object, **more: object) -> None:
        self.true_c: list[float] = []
        super().__init__(*args, **more)  # type: ignore[arg-type]

    def _warm_sink(self, dt_s: float) -> None:
        watts = QUIET_W + BRIDGE_OHM * self.current_a * self.current_a
        lost_w = (self.heatsink_c - self.conditions.ambient_c) / SINK_K_PER_W
        self.heatsink_c += dt_s / SINK_J_PER_K * (watts - lost_w)
        self.true_c.append(self.heatsink_c)


class LooseThermistor(SimBoard):
    """Only in this lesson: the heatsink's thermistor hangs in the air of the room."""

    def _ntc(self, which: str, celsius: float) -> float:
        return ntc_counts(COOL_C) if which == "heatsink" else super()._ntc(which, celsius)


@dataclass(frozen=True)
class Load:
    """What the bench recorded, and the sink's true temperature in C every ``SLOW_TICKS`` ms."""

    data: RunData
    true_c: list[float]

    @property
    def sink_c(self) -> float:
        """The sink at its hottest, as it was and not as it was read."""
        return max(self.true_c)

    @property
    def time_s(self) -> np.ndarray:
        """From the start."""
        return np.asarray(self.data.samples["time_s"] - self.data.marks[0].start_s)

    @property
    def driven_s(self) -> float:
        """From the start until the drive was taken away."""
        return float(self.time_s[self.data.samples["drive"] > 0.01][-1])

    @property
    def amps(self) -> float:
        """Mean current of the last second that was driven."""
        amps = self.data.samples["current_a"]
        return float(amps[amps > 0.5][-1000:].mean())

    @property
    def junction_c(self) -> float:
        """Junction at the end: the sink, and its own loss through pad and case."""
        return self.sink_c + mosfet.JUNCTION_SINK_K_PER_W * FET_OHM * self.amps**2


def load(ambient_c: float, loose: bool = False) -> Load:
    """Hold full drive for 40 s, or until the bench ends it."""
    conditions = Conditions(supply_v=12.6, source_ohm=0.02, lead_ohm=0.05, ambient_c=ambient_c)
    plant = coil(LOAD_OHM, LOAD_H, conditions, ThumbSink)
    board = (LooseThermistor if loose else SimBoard)(SPEC, plant)
    plan = procedure(
        {"kind": "ramp", "label": "start", "to": 1.0, "over_s": 0.1},
        {"kind": "hold", "label": "hold", "for_s": HOLD_S},
    )
    data = drive(plant, wide(i2t_part_rest_a=44.0), plan, board)
    return Load(data, plant.true_c)


def run() -> Outcome:
    """Load the bench in a cool room, in hot air, and with the thermistor loose."""
    cool, hot, loose = load(COOL_C), load(HOT_C), load(COOL_C, loose=True)
    first_a = float(np.median(cool.data.samples["current_a"][500:1000]))
    numbers = [
        Number("start_a", "current before anything is warm", first_a, "A"),
        Number("cool_a", "cool room: current after 40 s", cool.amps, "A"),
        Number("cool_sink_c", "cool room: heatsink then", cool.sink_c, "C"),
        Number("cool_fault", "cool room: code that ended it (0: none)", float(cool.data.info["fault"]), ""),
        Number("hot_s", "air of 80 C: driven for", hot.driven_s, "s"),
        Number("hot_sink_c", "air of 80 C: highest heatsink", hot.sink_c, "C"),
        Number("hot_fault", "air of 80 C: code that ended it", float(hot.data.info["fault"]), ""),
        Number("loose_a", "thermistor loose: current after 40 s", loose.amps, "A"),
        Number("loose_read_c", "thermistor loose: what it reads",
               float(loose.data.samples["heatsink_c"][-1]), "C"),
        Number("loose_sink_c", "thermistor loose: heatsink", loose.sink_c, "C"),
        Number("loose_junction_c", "thermistor loose: junction (limit 175 C)", loose.junction_c, "C"),
    ]  # fmt: skip

    def draw(figure: Figure) -> None:
        above, below = figure.subplots(2, 1, sharex=True)
        for heated, name, style in ((cool, "25 C", "-"), (hot, "80 C", ":"), (loose, "25 C, loose", "--")):
            rows = heated.data.samples
            above.plot(heated.time_s, rows["current_a"], style, label=name)
            below.plot(heated.time_s, rows["heatsink_c"], style, label=f"reading, {name}")
        # the sink is hottest when the load ends, which both clocks know
        from_hottest = np.arange(len(loose.true_c)) - int(np.argmax(loose.true_c))
        at_s = loose.driven_s + from_hottest * SLOW_TICKS * 1e-3
        begun = at_s >= 0
        true_c = np.array(loose.true_c)[begun]
        below.plot(at_s[begun], true_c, color="C3", label="true sink, thermistor loose")
        below.axhline(mosfet.JUNCTION_MAX_C, color="grey", linewidth=0.8, label="junction limit")
        above.set_ylabel("current in A")
        below.set_ylabel("heatsink in C")
        below.set_xlabel("time in s")
        for axes in (above, below):
            axes.legend(fontsize="small")

    return Outcome("38 A through a bridge on a thumb-sized heatsink", numbers, draw)
