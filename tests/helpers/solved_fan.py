"""A fan's recording made by scipy's ODE and root solvers: an outside check of the estimators.

V = R i + drop tanh(i / knee) + K w, and J dw/dt = K i - torque(w) with torque = dry + viscous w + flow
(w / rated)^power. Levels are settled, the run-down is solved. Ripple: one sine a commutation.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp
from scipy.optimize import brentq
from strokebench.data.run import Burst, Mark, RunData
from strokebench.data.samples import empty

Floats = NDArray[np.float64]
SUPPLY_V, MIDDLE = 12.6, 0.41
RIPPLES, BURST_HZ = 20, 50_000.0
STILL = (0.046, 0.049, 0.052, 0.055, 0.058, 0.064, 0.070)
LEVELS = (0.4, 0.6, 0.8, 1.0)


@dataclass(frozen=True)
class Fan:
    """SI; ``coarse_a``: zero of the coarse range, which all bursts and, by ``blend``, the rows of a level are
    in; ``faint``: drives at which no ripple is seen; ``ripple_v``: of the supply, at the turn of the highest
    level; ``zero_a``: what all rows' current reads without any."""

    ohm: float = 0.20
    drop_v: float = 0.5
    knee_a: float = 0.4
    k_si: float = 0.037
    inertia: float = 1.5e-3
    dry: float = 0.03
    viscous: float = 3e-5
    flow: float = 0.40
    rated: float = 260.0
    power: float = 2.0
    coarse_a: float = 0.0
    blend: tuple[float, ...] = (0.0, 0.0, 1.0, 1.0)
    faint: tuple[float, ...] = ()
    ripple_v: float = 0.0
    ripple_a: float = 0.3
    zero_a: float = 0.0

    def torque(self, w: float) -> float:
        """Return the load at a speed, N m."""
        return float(self.dry + self.viscous * w + self.flow * (max(w, 0.0) / self.rated) ** self.power)

    def settled(self, volts: float) -> tuple[float, float]:
        """Return current and speed at constant volts."""

        def left(w: float) -> float:
            amps = self.torque(w) / self.k_si
            return volts - self.ohm * amps - self.drop_v * math.tanh(amps / self.knee_a) - self.k_si * w

        w = float(brentq(left, 1.0, volts / self.k_si))
        return self.torque(w) / self.k_si, w

    def stands(self, volts: float) -> float:
        """Return the current of a rotor that does not turn."""

        def left(amps: float) -> float:
            return volts - self.ohm * amps - self.drop_v * math.tanh(amps / self.knee_a)

        return float(brentq(left, 0.0, volts / self.ohm))


class _Tape:
    def __init__(self, fan: Fan, seed: int) -> None:
        self.fan, self.rng = fan, np.random.default_rng(seed)
        self.rows: list[NDArray[np.void]] = []
        self.marks: list[Mark] = []
        self.bursts: list[Burst] = []
        self.now_s = 0.0

    def add(
        self, label: str, kind: str, drive: float, amps: Floats | float, emf_v: Floats | float, for_s: float
    ) -> None:
        rows = empty(round(1e3 * for_s))
        rows["time_s"] = self.now_s + 1e-3 * np.arange(len(rows))
        ripple_v = self.fan.ripple_v * np.sin(2 * np.pi * self._ripple_hz() * rows["time_s"])
        rows["supply_v"] = SUPPLY_V + ripple_v
        rows["drive"], rows["current_a"] = drive, amps + self.fan.zero_a
        middle = MIDDLE * SUPPLY_V
        rows["output_a_v"] = drive * SUPPLY_V if drive else middle + np.asarray(emf_v) / 2
        rows["output_b_v"] = 0.0 if drive else middle - np.asarray(emf_v) / 2
        rows["part_c"] = rows["heatsink_c"] = 20.0
        for name, u in (
            ("current_a", 0.004),
            ("output_a_v", 0.002),
            ("output_b_v", 0.002),
            ("supply_v", 0.002),
        ):
            rows[name] += self.rng.normal(0, u, len(rows))
        self.marks.append(Mark(label, self.now_s, self.now_s + for_s, len(self.marks), kind))
        self.rows.append(rows)
        self.now_s += for_s

    def _ripple_hz(self) -> float:
        return self.fan.settled(SUPPLY_V)[1] / (2 * np.pi)

    def burst(self, drive: float, amps: float, w: float, for_s: float) -> None:
        fan, time_s = self.fan, np.arange(round(for_s * BURST_HZ)) / BURST_HZ
        values = amps + fan.coarse_a + self.rng.normal(0, 0.05, len(time_s))
        if drive not in fan.faint:
            values += fan.ripple_a * np.sin(RIPPLES * w * time_s)
        hz = self._ripple_hz()
        values += drive * fan.ripple_v / fan.ohm * np.sin(2 * np.pi * hz * (self.now_s + time_s))
        self.bursts.append(Burst("current_coarse", "A", BURST_HZ, self.now_s, values, "burst_level"))


def record(fan: Fan, seed: int = 1) -> RunData:
    """Return a recording of the built-in procedure's shape."""
    tape = _Tape(fan, seed)
    tape.add("rest", "pause", 0.0, 0.0, 0.0, 0.5)
    for drive in STILL:
        tape.add("still", "hold", drive, fan.stands(drive * SUPPLY_V), 0.0, 0.12)
        tape.add("still_release", "pause", 0.0, 0.0, 0.0, 0.06)
    w = 0.0
    for drive, share in zip(LEVELS, fan.blend, strict=True):
        amps, w = fan.settled(drive * SUPPLY_V)
        tape.add("level", "hold", drive, amps + share * fan.coarse_a, 0.0, 0.6)
        tape.burst(drive, amps, w, 0.4)
        tape.add("burst_level", "burst", drive, amps + share * fan.coarse_a, 0.0, 0.4)
    time_s = 1e-3 * np.arange(1600)
    solved = solve_ivp(
        lambda _t, y: [-fan.torque(y[0]) / fan.inertia], (0, 1.6), [w], t_eval=time_s - time_s[0], rtol=1e-9
    )
    # a row is the mean of the millisecond before it
    emf_v = fan.k_si * np.interp(time_s - 0.5e-3, time_s, solved.y[0], left=w)
    tape.add("release", "pause", 0.0, 0.0, emf_v[:100], 0.1)
    tape.add("coast", "pause", 0.0, 0.0, emf_v[100:], 1.5)
    return RunData(np.concatenate(tape.rows), tape.marks, bursts=tape.bursts, info={"ambient_c": 20.0})
