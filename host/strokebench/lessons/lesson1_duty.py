"""Lesson 1: duty, mean voltage and current in a coil, with the firmware in the loop."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from strokebench.lessons.gear import coil, drive, procedure, wide
from strokebench.lessons.outcome import Number, Outcome
from strokebench.physics.chopper import inductance_from_ripple
from strokebench.sim.plants.base import PWM_HZ, Conditions

if TYPE_CHECKING:
    from matplotlib.figure import Figure

COIL_OHM, COIL_H = 4.0, 2e-3
CONDITIONS = Conditions(supply_v=12.0, source_ohm=0.02, lead_ohm=0.05, ambient_c=25.0)
DUTIES = (0.1, 0.25, 0.5, 0.75, 1.0)
BURST_HZ = 500_000


def run() -> Outcome:
    """Hold the coil at five duties and look at one with the fast capture."""
    steps = [
        segment
        for duty in DUTIES
        for segment in (
            {"kind": "ramp", "to": duty, "over_s": 0.05},
            {"kind": "hold", "label": f"duty_{duty}", "for_s": 0.15},
        )
    ]
    fast = [
        {"kind": "ramp", "to": 0.5, "over_s": 0.05},
        {"kind": "hold", "for_s": 0.1},
        {"kind": "burst", "channel": "current_fine", "rate_hz": BURST_HZ, "count": 1000},
    ]
    data = drive(coil(COIL_OHM, COIL_H, CONDITIONS), wide(), procedure(*steps, *fast))
    held = []
    for duty in DUTIES:
        mark = next(data.labelled(f"duty_{duty}"))
        held.append(data.between(mark.start_s + 0.03, mark.end_s))
    amps = np.array([rows["current_a"].mean() for rows in held])
    volts = np.array([(rows["output_a_v"] - rows["output_b_v"]).mean() for rows in held])
    wave = data.bursts[0].values
    periods = wave[: len(wave) // 25 * 25].reshape(-1, 25).mean(axis=0)  # 25 samples in a period of 50 us
    ripple_a = float(np.ptp(periods))
    supply_v = float(held[2]["supply_v"].mean())
    numbers = [Number(f"current_{round(d * 100)}_a", f"current at {d:.0%} duty", a, "A")
               for d, a in zip(DUTIES, amps.tolist(), strict=True)]  # fmt: skip
    numbers += [Number(f"volts_{round(d * 100)}_v", f"mean voltage at {d:.0%} duty", v, "V")
                for d, v in zip(DUTIES, volts.tolist(), strict=True)]  # fmt: skip
    numbers += [
        Number("slope_ohm", "mean voltage over current", float(np.polyfit(amps, volts, 1)[0]), "ohm"),
        Number("ripple_ma", "ripple at 50 % duty, peak to peak", ripple_a * 1e3, "mA"),
        Number(
            "inductance_mh", "inductance from it",
            inductance_from_ripple(supply_v, 0.5, ripple_a, PWM_HZ) * 1e3, "mH",
        ),
    ]  # fmt: skip

    def draw(figure: Figure) -> None:
        left, right = figure.subplots(1, 2)
        left.plot(np.array(DUTIES) * 100, amps, "o-", label="current in A")
        left.plot(np.array(DUTIES) * 100, volts, "s--", label="mean voltage in V")
        left.set_xlabel("duty in %")
        left.legend()
        right.plot(np.arange(100) / BURST_HZ * 1e6, wave[:100], ".", markersize=4, label="captured")
        right.plot(np.arange(100) / BURST_HZ * 1e6, np.tile(periods, 4), label="mean of 40 periods")
        right.set_xlabel("time in us")
        right.set_ylabel("current in A")
        right.legend()

    return Outcome("A coil of 4 ohm and 2 mH under pulse-width modulation", numbers, draw)
