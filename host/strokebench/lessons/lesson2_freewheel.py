"""Lesson 2: a coil's current after its switch opens, with and without a way round. Solved here, no bench."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from strokebench.lessons import mosfet
from strokebench.lessons.outcome import Number, Outcome
from strokebench.physics.chopper import step_current_a

if TYPE_CHECKING:
    from matplotlib.figure import Figure

SUPPLY_V, COIL_OHM, COIL_H = 12.0, 4.0, 0.1
ON_S = 0.1
CLICKS_HZ = 10.0


@dataclass(frozen=True)
class Decay:
    """Time in s from the opening, current in A, voltage across the open switch in V, what it took in J."""

    time_s: NDArray[np.float64]
    current_a: NDArray[np.float64]
    switch_v: float
    energy_j: float

    @property
    def ends_s(self) -> float:
        """When the current has stopped."""
        return float(self.time_s[-1])


def after_opening(start_a: float, switch_v: float) -> Decay:
    """Solve L di/dt = V - v_switch - R i down to zero, and the energy that the switch turns into heat."""
    from scipy.integrate import solve_ivp

    def rates(time_s: float, state: NDArray[np.float64]) -> list[float]:
        amps = float(state[0])
        return [(SUPPLY_V - switch_v - COIL_OHM * amps) / COIL_H, switch_v * amps]

    def stopped(time_s: float, state: NDArray[np.float64]) -> float:
        return float(state[0])

    stopped.terminal = True  # type: ignore[attr-defined]
    found = solve_ivp(rates, (0.0, 1.0), [start_a, 0.0], events=stopped, rtol=1e-9, atol=1e-9, max_step=5e-4)
    return Decay(found.t, found.y[0], switch_v, float(found.y[1, -1]))


def run() -> Outcome:
    """Let the current rise for 0.1 s, open the switch, and compare the two ways."""
    start_a = step_current_a(ON_S, SUPPLY_V, COIL_OHM, COIL_H)
    diode = after_opening(start_a, SUPPLY_V + mosfet.DIODE_V)
    bare = after_opening(start_a, mosfet.AVALANCHE_V)
    rise_k = mosfet.die_rise_k(bare.energy_j)
    mean_w = bare.energy_j * CLICKS_HZ
    numbers = [
        Number("start_a", "current when the switch opens", start_a, "A"),
        Number("stored_mj", "energy in the coil then", COIL_H / 2 * start_a**2 * 1e3, "mJ"),
        Number("diode_ms", "time to zero through the diode", diode.ends_s * 1e3, "ms"),
        Number("diode_switch_v", "voltage across the switch, with diode", diode.switch_v, "V"),
        Number("bare_ms", "time to zero without diode", bare.ends_s * 1e3, "ms"),
        Number("bare_switch_v", "voltage across the switch, without", bare.switch_v, "V"),
        Number("bare_mj", "energy the MOSFET takes each time", bare.energy_j * 1e3, "mJ"),
        Number("bare_peak_w", "its power at the first moment", mosfet.AVALANCHE_V * start_a, "W"),
        Number("die_rise_k", "rise of its die, no heat leaving it", rise_k, "K"),
        Number("from_100_c", "junction after one opening, starting at 100 C", 100.0 + rise_k, "C"),
        Number("mean_w", f"mean power at {CLICKS_HZ:g} openings a second", mean_w, "W"),
        Number("free_air_c", "junction then in free air (62 K/W, 25 C)", 25.0 + 62.0 * mean_w, "C"),
    ]

    def draw(figure: Figure) -> None:
        above, below = figure.subplots(2, 1, sharex=True)
        rising_s = np.linspace(-ON_S, 0, 200)
        rising_a = [step_current_a(float(t) + ON_S, SUPPLY_V, COIL_OHM, COIL_H) for t in rising_s]
        above.plot(rising_s * 1e3, rising_a, color="black")
        for way, name, style in ((diode, "with diode", "-"), (bare, "without", "--")):
            above.plot(way.time_s * 1e3, way.current_a, style, label=name)
            low, high = (-ON_S * 1e3, 0.0), (0.0, way.ends_s * 1e3)
            after = (way.ends_s * 1e3, diode.ends_s * 1e3 + 1)
            below.plot(
                [*low, *high, *after],
                [0, 0, way.switch_v, way.switch_v, SUPPLY_V, SUPPLY_V],
                style,
                label=name,
            )
        above.set_ylabel("current in A")
        above.legend()
        below.axhline(mosfet.RATING_V, color="grey", linewidth=0.8, label="rating of the MOSFET")
        below.set_ylabel("across the switch in V")
        below.set_xlabel("time after opening in ms")
        below.legend(loc="center left")

    return Outcome("Opening the switch of a coil of 4 ohm and 0.1 H", numbers, draw)
