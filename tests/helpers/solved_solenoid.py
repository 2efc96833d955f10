"""A plunger solenoid's recording made by scipy's ODE solver: an outside check, not our own plant.

Model of the project's reference sheet (v = R i + L di/dt + i dL/dt, force i^2/2 dL/dx; Fitzgerald, Kingsley,
Umans, "Electric Machinery", chapter 3, from memory): 20 mH + 4e-5 H m/(0.5 mm + gap), 1.5 mm stroke,
0.6 N + 300 N/m, 20 ohm, 10 g.
Ends of the way are stiff springs with a damper, so that LSODA can solve them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp
from strokebench.data.run import Mark, RunData
from strokebench.data.samples import empty

Floats = NDArray[np.float64]
BASE_H, A_HM, GAP_M, STROKE_M = 20e-3, 4e-5, 0.5e-3, 1.5e-3
PRELOAD_N, RATE_N_PER_M, MASS_KG, OHM = 0.6, 300.0, 0.010, 20.0
STOP_N_PER_M, STOP_NS = 2e5, 20.0


@dataclass(frozen=True)
class Piece:
    """A segment: label, volts at its end (a jump unless ``ramp``), seconds."""

    label: str
    volts: float
    seconds: float
    ramp: bool = False


def record(pieces: list[Piece], stuck_m: float | None = None, seed: int = 1) -> RunData:
    """Solve the pieces one after the other; ``stuck_m``: the plunger stays there (0 = at rest)."""
    state = np.array([0.0, 0.0 if stuck_m is None else stuck_m, 0.0, 0.0])
    rng = np.random.default_rng(seed)
    now_s, volts, rows, marks = 0.0, 0.0, [], []
    for piece in [Piece("rest", 0.0, 0.5), *pieces]:
        begin = volts if piece.ramp else piece.volts
        marks.append(
            Mark(piece.label, now_s, now_s + piece.seconds, len(marks), "ramp" if piece.ramp else "step")
        )
        state, part = _solve(piece, begin, state, stuck_m is not None)
        part["time_s"] += now_s
        rows.append(part)
        now_s, volts = now_s + piece.seconds, piece.volts
    samples = np.concatenate(rows)
    samples["current_a"] += rng.normal(0, 0.0006, len(samples))
    samples["output_a_v"] += rng.normal(0, 0.0017, len(samples))
    return RunData(samples, marks, info={"ambient_c": 20.0})


def _solve(piece: Piece, begin_v: float, state: Floats, stuck: bool) -> tuple[Floats, NDArray[np.void]]:
    count = round(piece.seconds * 1000)
    rate = (piece.volts - begin_v) / piece.seconds if piece.ramp else 0.0

    def slopes(t: float, y: Floats) -> tuple[float, float, float, float]:
        return _slopes(y, begin_v + rate * t, stuck)

    times = np.arange(count + 1) / 1000
    solved = solve_ivp(
        slopes, (0, times[-1]), state, "LSODA", t_eval=times, rtol=1e-6, atol=1e-8, max_step=0.02
    )
    part = empty(count)
    part["time_s"] = np.arange(count) / 1000
    part["current_a"] = (
        np.diff(solved.y[3]) * 1000
    )  # the charge is solved for, so these are means over a tick
    part["output_a_v"] = begin_v + rate * (part["time_s"] + 0.0005)
    part["output_b_v"] = 0.0
    part["drive"], part["supply_v"], part["part_c"] = part["output_a_v"] / 12, 12.0, 20.0
    return solved.y[:, -1], part


def _slopes(y: Floats, volts: float, stuck: bool) -> tuple[float, float, float, float]:
    """Of current, place from rest (m), speed and charge."""
    amps, place, speed, _ = y
    beyond = min(place, 0.0) + max(place - STROKE_M, 0.0)  # into a stop: the air gap does not change there
    open_m = GAP_M + STROKE_M - min(max(place, 0.0), STROKE_M)
    henry, slope = BASE_H + A_HM / open_m, A_HM / open_m**2
    moving = 0.0 if stuck else speed
    di = (volts - OHM * amps - (0.0 if beyond else amps * slope * moving)) / henry
    force = 0.5 * amps**2 * slope - PRELOAD_N - RATE_N_PER_M * place - STOP_N_PER_M * beyond
    if beyond:
        force -= STOP_NS * speed
    return di, moving, 0.0 if stuck else force / MASS_KG, amps
