"""Lesson 3: dead time of a half bridge. A small solver; nothing here reaches a bench."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from strokebench.lessons import mosfet
from strokebench.lessons.outcome import Number, Outcome
from strokebench.physics.chopper import step_current_a

if TYPE_CHECKING:
    from matplotlib.figure import Figure

SUPPLY_V, LOAD_A, PWM_HZ = 12.0, 40.0, 20_000.0
LOOP_H = 20e-9
"""Of the loop from the bus capacitor through both MOSFETs and back: a good layout (common practice)."""
LOOP_OHM = 2 * mosfet.ON_OHM + 2e-3
SINK_C = 60.0
SET_S = 510e-9
"""Dead time of the reference bench."""
SLOW_OHM = 100.0
"""Gate resistor of somebody who wanted quieter edges and left the dead time as it was."""
REVERSALS = 2
"""Both edges of a period hand the current over from one MOSFET to the other."""


def late_s(gate_ohm: float = mosfet.GATE_OHM) -> float:
    """How much later one MOSFET is off than the other begins, if both are told at the same moment."""
    return mosfet.turn_off_s(gate_ohm) - mosfet.turn_on_s(gate_ohm)


def shoot_through(both_s: float) -> tuple[float, float]:
    """Return peak current in A and energy in J of a hand-over in which both conduct for ``both_s``.

    L di/dt = V - R i with both fully on, which is the worst case. The energy is what the supply put into the
    loop, all of it heat in the end.
    """
    from scipy.integrate import quad

    charge, _ = quad(lambda time_s: step_current_a(time_s, SUPPLY_V, LOOP_OHM, LOOP_H), 0.0, both_s)
    return step_current_a(both_s, SUPPLY_V, LOOP_OHM, LOOP_H), SUPPLY_V * charge


def loss_w(dead_s: float, gate_ohm: float = mosfet.GATE_OHM) -> tuple[float, float]:
    """Return W by shoot-through and W in the body diode, which carries the load while neither conducts."""
    gap_s = dead_s - late_s(gate_ohm)
    through_w = REVERSALS * PWM_HZ * shoot_through(max(0.0, -gap_s))[1]
    return through_w, REVERSALS * PWM_HZ * mosfet.DIODE_V * LOAD_A * max(0.0, gap_s)


def junction_c(dead_s: float, gate_ohm: float = mosfet.GATE_OHM) -> float:
    """Junction on a sink held at 60 C: half of the leg's loss above, and its own conduction at half duty."""
    conduction_w = LOAD_A**2 * mosfet.ON_OHM * 1.5 / 2
    return SINK_C + mosfet.JUNCTION_SINK_K_PER_W * (conduction_w + sum(loss_w(dead_s, gate_ohm)) / 2)


def run() -> Outcome:
    """Sweep the dead time from none to 2 us, for a quick gate and a slow one."""
    dead = np.linspace(0.0, 2e-6, 201)
    total = np.array([sum(loss_w(float(dead_s))) for dead_s in dead])
    none_a, none_j = shoot_through(late_s())
    slow_a, _ = shoot_through(late_s(SLOW_OHM) - SET_S)
    numbers = [
        Number("off_ns", "time that a MOSFET needs to switch off", mosfet.turn_off_s() * 1e9, "ns"),
        Number("on_ns", "time until the other one conducts", mosfet.turn_on_s() * 1e9, "ns"),
        Number("none_ns", "time in which both conduct, without dead time", late_s() * 1e9, "ns"),
        Number("none_a", "current at the end of the overlap", none_a, "A"),
        Number("none_uj", "energy of each overlap", none_j * 1e6, "uJ"),
        Number(
            "none_w",
            "heat of the overlaps without dead time (two in each period, 40 000 a second)",
            loss_w(0.0)[0],
            "W",
        ),
        Number("best_ns", "dead time with the least loss", float(dead[np.argmin(total)]) * 1e9, "ns"),
        Number("set_w", "diode loss at 510 ns, 40 A", loss_w(SET_S)[1], "W"),
        Number("set_c", "junction at 510 ns", junction_c(SET_S), "C"),
        Number("lost_pct", "share of the period that is dead time, 510 ns", 200 * SET_S * PWM_HZ, "%"),
        Number(
            "slow_ns", "overlap left at 510 ns, slow gate (100 ohm)", (late_s(SLOW_OHM) - SET_S) * 1e9, "ns"
        ),
        Number("slow_a", "current at the end of the overlap, slow gate", slow_a, "A"),
        Number("slow_w", "heat of the overlaps at 510 ns, slow gate", loss_w(SET_S, SLOW_OHM)[0], "W"),
        Number("slow_c", "junction at 510 ns, slow gate (limit 175 C)", junction_c(SET_S, SLOW_OHM), "C"),
        Number("slow_none_c", "junction, slow gate, no dead time", junction_c(0.0, SLOW_OHM), "C"),
    ]

    def draw(figure: Figure) -> None:
        above, below = figure.subplots(2, 1, sharex=True)
        for gate_ohm, name, style in (
            (mosfet.GATE_OHM, "gate 16.5 ohm", "-"),
            (SLOW_OHM, "gate 100 ohm", "--"),
        ):
            losses = np.array([loss_w(float(dead_s), gate_ohm) for dead_s in dead])
            above.plot(dead * 1e9, losses[:, 0], style, color="C3", label=f"shoot-through, {name}")
            above.plot(dead * 1e9, losses[:, 1], style, color="C0", label=f"body diode, {name}")
            hot = [junction_c(float(dead_s), gate_ohm) for dead_s in dead]
            below.plot(dead * 1e9, hot, style, color="black", label=name)
        above.set_yscale("symlog", linthresh=0.1)
        above.set_ylabel("loss in W")
        below.axhline(mosfet.JUNCTION_MAX_C, color="C3", linestyle=":", label="junction limit")
        below.axvline(SET_S * 1e9, color="grey", linewidth=0.8, label="reference bench")
        below.set_ylabel("junction in C")
        below.set_xlabel("dead time in ns")
        for axes in (above, below):
            axes.legend(fontsize="small", loc="upper right")

    return Outcome("Half bridge at 12 V, 40 A, 20 kHz: dead time and shoot-through", numbers, draw)
