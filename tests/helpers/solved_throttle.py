"""A throttle's recording made by scipy's ODE solver: an outside check of the estimators, not our own plant.

Equations and parameters: Loh, Thanom, Pyko, Lee, "Electronic Throttle Control System", Engineering 5, 2013,
587-600 (numbers by a third-party transcription). Friction is smoothed (tanh) so that LSODA can solve it.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp
from strokebench.data.run import Burst, Mark, RunData
from strokebench.data.samples import empty

Floats = NDArray[np.float64]
SUPPLY_V, SOURCE_OHM, PWM_HZ = 12.6, 0.02, 20_000.0
REST_RAD, TRAVEL_RAD = 0.14, 1.5


@dataclass(frozen=True)
class Truth:
    """Ohm, henry, V s/rad, kg m2, N m s/rad, N m/rad, N m, N m; ``drop_v`` of the brushes, which comes up
    over 0.3 A; ``extra_nm(angle)`` more dry friction there."""

    ohm: float = 1.5
    henry: float = 1.5e-3
    k_si: float = 0.383
    inertia: float = 0.0021
    viscous: float = 0.0088
    spring: float = 0.087
    preload: float = 0.396
    coulomb: float = 0.18
    drop_v: float = 0.0
    extra_nm: Callable[[float], float] = field(default=lambda angle: 0.0)


@dataclass(frozen=True)
class Piece:
    """A segment: label, kind, drive at its end, seconds; None as drive: coasting."""

    label: str
    kind: str
    drive: float | None
    seconds: float


def sweep_pieces(count: int = 3) -> list[Piece]:
    """Slow sweeps over the whole travel, there and back."""
    pieces = [
        Piece("sweep_open", "ramp", -0.10, 0.3), Piece("sweep_open", "ramp", 0.36, 4.0),
        Piece("sweep_open", "ramp", 0.50, 0.2), Piece("sweep_open", "hold", 0.50, 0.2),
        Piece("sweep_return", "ramp", 0.20, 0.3), Piece("sweep_return", "ramp", -0.34, 4.6),
        Piece("sweep_return", "ramp", -0.45, 0.2), Piece("sweep_return", "hold", -0.45, 0.2),
    ]  # fmt: skip
    return [Piece("approach", "ramp", -0.45, 0.4), *(pieces * count)]


def stall_pieces() -> list[Piece]:
    """Three levels against either stop."""
    pieces = []
    for label, sign in (("stall_close", -1), ("stall_open", 1)):
        pieces.append(Piece("approach", "ramp", 0.4 * sign, 0.6))
        pieces.append(Piece("approach", "hold", 0.4 * sign, 0.3))
        pieces += [Piece(label, "hold", level * sign, 0.3) for level in (0.4, 0.55, 0.7)]
    return pieces


def step_pieces() -> list[Piece]:
    """Three quick moves each way, released to coast."""
    pieces = [
        Piece("step_open", "step", 0.6, 0.4), Piece("release_open", "pause", None, 0.8),
        Piece("step_close", "step", -0.6, 0.4), Piece("release_close", "pause", None, 0.8),
    ]  # fmt: skip
    return pieces * 3


def record(pieces: list[Piece], truth: Truth, noise: float = 1.0, seed: int = 1) -> RunData:
    """Solve the pieces one after the other and return a recording at 1 kHz with the bench's noise."""
    state, start_s, drive = np.array([REST_RAD, 0.0, 0.0]), 0.0, 0.0
    rows, marks = [], []
    for piece in [Piece("rest", "pause", None, 0.6), *pieces]:
        end = 0.0 if piece.drive is None else piece.drive
        begin = drive if piece.kind == "ramp" else end
        marks.append(Mark(piece.label, start_s, start_s + piece.seconds, len(marks), piece.kind))
        rows.append(_solve(piece, truth, state, begin, end, start_s))
        state, drive, start_s = rows[-1][-1, 1:4], end, start_s + piece.seconds
    table = np.concatenate([part[:-1] for part in rows])
    return RunData(
        _samples(table, truth, np.random.default_rng(seed), noise), marks, info={"ambient_c": 20.0}
    )


def _solve(piece: Piece, truth: Truth, state: Floats, begin: float, end: float, start_s: float) -> Floats:
    """Columns time, angle, speed, current, drive, gate, volts at the part; one row per ms and the last
    point."""
    count = round(piece.seconds * 1000)
    rate = (end - begin) / piece.seconds

    def slopes(t: float, y: Floats) -> tuple[float, float, float]:
        return _slopes(y, truth, None if piece.drive is None else begin + rate * t)

    times = np.arange(count + 1) / 1000
    solved = solve_ivp(
        slopes, (0, times[-1]), state, "LSODA", t_eval=times, rtol=1e-6, atol=1e-7, max_step=0.02
    )
    drive = begin + rate * times
    gate = np.full(count + 1, 0.0 if piece.drive is None else 1.0)
    return np.column_stack((start_s + times, solved.y.T, drive, gate))


def _slopes(y: Floats, truth: Truth, drive: float | None) -> tuple[float, float, float]:
    angle, speed, current = y
    from_rest = angle - REST_RAD
    side = min(max(from_rest / 0.004, -1.0), 1.0)
    push = truth.preload * side + truth.spring * from_rest
    beyond = max(angle - TRAVEL_RAD, 0.0) + min(angle, 0.0)
    push += 400.0 * beyond + (0.8 * speed if beyond else 0.0)
    dry = (truth.coulomb + truth.extra_nm(angle)) * math.tanh(speed / 0.004)
    moving = (truth.k_si * current - push - dry - truth.viscous * speed) / truth.inertia
    if drive is None:  # the current dies at once; a coasting motor takes none
        return speed, moving, -current / 1e-4
    volts = drive * _supply_v(drive, current)
    drop_v = truth.drop_v * math.tanh(current / 0.3)
    return speed, moving, (volts - drop_v - truth.ohm * current - truth.k_si * speed) / truth.henry


def _supply_v(drive: float, current: float) -> float:
    return SUPPLY_V - SOURCE_OHM * drive * current


def _samples(table: Floats, truth: Truth, rng: np.random.Generator, noise: float) -> NDArray[np.void]:
    rows = empty(len(table))
    time_s, angle, speed, current, drive, gate = table.T
    supply_v = SUPPLY_V - SOURCE_OHM * drive * current * gate
    across = np.where(gate > 0, drive * supply_v, truth.k_si * speed)
    share = angle / TRAVEL_RAD
    columns = {
        "time_s": time_s, "drive": drive * gate, "current_a": current, "supply_v": supply_v,
        "output_a_v": np.maximum(across, 0), "output_b_v": np.maximum(-across, 0),
        "sensor_a_v": 0.5 + 4 * share, "sensor_b_v": 4.5 - 4 * share, "heatsink_c": 20.0, "part_c": 20.0,
    }  # fmt: skip
    spread = {"current_a": 0.002, "supply_v": 0.001, "output_a_v": 0.0015, "output_b_v": 0.0015,
              "sensor_a_v": 0.001, "sensor_b_v": 0.001}  # fmt: skip
    for name, values in columns.items():
        rows[name] = values + noise * rng.normal(0, 1, len(rows)) * spread.get(name, 0.0)
    return rows


def ripple_burst(
    truth: Truth, duty: float, at_s: float, rate_hz: float = 500_000, count: int = 4000
) -> Burst:
    """Steady PWM ripple of R and L, stepped exactly from edge to edge (standstill), 10 mA of noise on it."""
    time_s = np.arange(count) / rate_hz
    period, tau = 1 / PWM_HZ, truth.henry / truth.ohm
    full_a = SUPPLY_V / truth.ohm
    on, off = math.exp(-duty * period / tau), math.exp(-(1 - duty) * period / tau)
    low_a = full_a * (1 - on) * off / (1 - on * off)
    high_a = full_a + (low_a - full_a) * on
    phase = time_s % period
    rising = full_a + (low_a - full_a) * np.exp(-phase / tau)
    falling = high_a * np.exp(-(phase - duty * period) / tau)
    values = np.where(phase < duty * period, rising, falling) + np.random.default_rng(3).normal(
        0, 0.01, count
    )
    return Burst("current_fine", "A", rate_hz, at_s, values, "burst_ripple")
