"""Lesson 5: one blocked motor, three ways to limit its current, all three the firmware's own, and none."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from strokebench.data.run import RunData
from strokebench.lessons.gear import coil, drive, procedure, wide
from strokebench.lessons.outcome import Number, Outcome
from strokebench.parts.limits import Limits
from strokebench.sim.plants.base import Conditions

if TYPE_CHECKING:
    from matplotlib.figure import Figure

MOTOR_OHM, MOTOR_H = 0.5, 0.5e-3
CONDITIONS = Conditions(supply_v=12.6, source_ohm=0.02, lead_ohm=0.05, ambient_c=25.0)
REST_S = 10.0
"""Rest before each run: what power-up leaves as spent of time and budget has cooled by then."""
PEAK_A, MEAN_A, STALL_A, STALL_S, BUDGET_A2S, REST_A = 12.0, 8.0, 6.0, 0.4, 200.0, 4.0
START_S, HOLD_S = 0.05, 1.0


@dataclass(frozen=True)
class Way:
    """A name, the limits of it, and the run under them; times in s from the start of the ramp."""

    name: str
    limits: Limits
    data: RunData

    @property
    def start_s(self) -> float:
        """When the ramp began."""
        return self.data.marks[0].start_s

    @property
    def off_s(self) -> float:
        """From the start until the current fell below 0.2 A for good, or the end of the recording."""
        rows = self.data.samples
        alive = rows["time_s"][rows["current_a"] > 0.2]
        return float(alive[-1]) - self.start_s

    def held_a(self) -> float:
        """Median while it flows."""
        amps = self.data.samples["current_a"]
        return float(np.median(amps[amps > 0.5]))

    @property
    def peak_a(self) -> float:
        """Highest mean of a tick."""
        return float(self.data.samples["current_a"].max())

    @property
    def heat_a2s(self) -> float:
        """I2t of the whole run."""
        return float((self.data.samples["current_a"] ** 2).sum() * 1e-3)

    @property
    def fault(self) -> int:
        """Code that ended it, 0 if none."""
        return int(self.data.info["fault"])


def way(name: str, **limits: float) -> Way:
    """Drive the blocked motor to full drive within these limits."""
    plan = procedure(
        {"kind": "ramp", "label": "start", "to": 1.0, "over_s": START_S},
        {"kind": "hold", "label": "hold", "for_s": HOLD_S},
    )
    within = wide(**limits)
    return Way(name, within, drive(coil(MOTOR_OHM, MOTOR_H, CONDITIONS), within, plan, rest_s=REST_S))


def ways() -> list[Way]:
    """Return the runs: no limit within reach, peak, mean, time, heat budget."""
    return [
        way("none"),
        way("peak", current_max_a=PEAK_A, current_mean_a=PEAK_A, stall_a=PEAK_A),
        way("mean", current_mean_a=MEAN_A),
        way("stall", stall_a=STALL_A, stall_s=STALL_S),
        way("budget", i2t_part_a2s=BUDGET_A2S, i2t_part_rest_a=REST_A),
    ]


def run() -> Outcome:
    """Run all and compare."""
    done = ways()
    names = {"none": "no limit", "peak": f"peak {PEAK_A:g} A", "mean": f"mean {MEAN_A:g} A",
             "stall": f"stall {STALL_S:g} s", "budget": f"budget {BUDGET_A2S:g} A2s"}  # fmt: skip
    numbers = []
    for way in done:
        name, said = way.name, names[way.name]
        numbers += [
            Number(f"{name}_held_a", f"{said}: current while it flows", way.held_a(), "A"),
            Number(f"{name}_top_a", f"{said}: highest mean of a millisecond", way.peak_a, "A"),
            Number(f"{name}_off_s", f"{said}: current flows for", way.off_s, "s"),
            Number(f"{name}_i2t_a2s", f"{said}: heat, I2t", way.heat_a2s, "A2s"),
            Number(f"{name}_fault", f"{said}: code that ended it (0: none)", float(way.fault), ""),
        ]

    def draw(figure: Figure) -> None:
        axes = figure.subplots()
        for way, style in zip(done, ("-", "--", "-.", ":", (0, (5, 1, 1, 1))), strict=True):
            rows = way.data.samples
            ended = f", ended by code {way.fault}" if way.fault else ""
            label = f"{names[way.name]}{ended}"
            axes.plot(rows["time_s"] - way.start_s, rows["current_a"], linestyle=style, label=label)
        axes.set_xlim(-0.02, START_S + HOLD_S + 0.1)
        axes.set_xlabel("time in s")
        axes.set_ylabel("current in A")
        axes.legend()

    return Outcome("A blocked motor of 0.5 ohm, driven to full under different limits", numbers, draw)
