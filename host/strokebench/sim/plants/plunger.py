"""A coil that pulls a plunger against a spring: on/off valve or proportional (linear) solenoid.

v = R i + L(u) di/dt + i (dL/du) du/dt, force = i^2/2 dL/du (Fitzgerald, Kingsley, Umans, "Electric
Machinery", chapter 3, from memory).  ``u`` runs from 0 (at rest) to the stroke (pulled in).  4 sub-steps per
tick while it is held firmly at an end, more while it may move.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import copysign, exp, inf

import numpy as np
from numpy.typing import NDArray

from strokebench.sim.plants.base import DIODE_V, PWM_HZ, Conditions
from strokebench.sim.plants.pieces.friction import slide
from strokebench.sim.plants.pieces.ripple import edges_v
from strokebench.sim.plants.pieces.tracks import Track
from strokebench.sim.plants.pieces.winding import Heat, Winding

CELLS = 1024
STEPS_HELD = 4


ORDINARY_HEAT = Heat(30.0, 6.0, 60.0, 6.0)


@dataclass(frozen=True)
class Coil:
    """Parameters in SI, resistance at 25 C.

    With ``a_hm`` > 0: L = base + a / (gap + stroke - u), a plunger closing an air gap.  With
    ``slope_h_per_m`` > 0: L = base + slope u, a proportional solenoid whose force does not depend on the
    position.
    """

    resistance_ohm: float
    base_h: float
    stroke_m: float
    preload_n: float
    rate_n_per_m: float
    mass_kg: float
    a_hm: float = 0.0
    gap_m: float = 1.0
    slope_h_per_m: float = 0.0
    coulomb_n: float = 0.0
    stiction: float = 1.2
    viscous_ns: float = 0.05
    parallel_ohm: float = inf
    steps: int = 20  # per tick while it may move
    heat: Heat = ORDINARY_HEAT


def inductance_h(coil: Coil, u_m: NDArray[np.float64]) -> NDArray[np.float64]:
    """Inductance at the positions given."""
    value: NDArray[np.float64] = (
        coil.base_h + coil.slope_h_per_m * u_m + coil.a_hm / (coil.gap_m + coil.stroke_m - u_m)
    )
    return value


def inductance_slope(coil: Coil, u_m: NDArray[np.float64]) -> NDArray[np.float64]:
    """dL/du in H/m."""
    value: NDArray[np.float64] = coil.slope_h_per_m + coil.a_hm / (coil.gap_m + coil.stroke_m - u_m) ** 2
    return value


class Plunger(Winding):
    """``seat_m``: carbon or dirt keeps it at least there; ``stuck_m``: it cannot leave there."""

    def __init__(
        self,
        conditions: Conditions,
        coil: Coil,
        tracks: Sequence[Track] = (),
        seat_m: float = 0.0,
        stuck_m: float | None = None,
    ) -> None:
        super().__init__(conditions, coil.resistance_ohm, coil.heat)
        self.coil = coil
        u = np.linspace(0, coil.stroke_m, CELLS + 1)
        henry, slope = inductance_h(coil, u), inductance_slope(coil, u)
        self._cells = list(
            zip(henry.tolist(), np.append(np.diff(henry), 0.0).tolist(), slope.tolist(), strict=True)
        )
        self._tracks = tracks
        self._stuck = stuck_m is not None
        self.seat_m = seat_m
        self.position_m = seat_m if stuck_m is None else stuck_m
        self.speed_m_s = 0.0
        self._read_tracks()

    @property
    def position(self) -> float:
        """Share of the stroke, 0 at rest .. 1 pulled in."""
        return self.position_m / self.coil.stroke_m

    def advance(self, drive: float, gate: bool, rail: int, dt_s: float = 0.001) -> None:
        coil, cells = self.coil, self._cells
        stroke, per_m, extra = coil.stroke_m, CELLS / coil.stroke_m, coil.coulomb_n * (coil.stiction - 1)
        u, speed, amps = self.position_m, self.speed_m_s, self._amps
        source_v, source_ohm = self._source()
        fixed_ohm = self._loop_ohm + drive * drive * source_ohm
        live = gate and not self._broken
        volts = drive * source_v
        top_a, cut = self.trip_a, 0
        steps = STEPS_HELD if self._held_firmly(volts if live else 0.0, dt_s) else coil.steps
        step_s = dt_s / steps
        nodes, total = [amps], 0.0
        for _ in range(steps):
            half = u + 0.5 * step_s * speed
            place = min(max(half * per_m, 0.0), CELLS - 1e-9)
            cell = int(place)
            henry, step_h, slope = cells[cell]
            henry += (place - cell) * step_h
            if live or amps != 0.0:
                ohm = fixed_ohm + slope * speed
                against = volts if live else -(self.bus_v + 2 * DIODE_V) * (1 if amps > 0 else -1)
                load = step_s * ohm / henry
                decay = exp(-load)
                grown = (1 - decay) / load if abs(load) > 1e-9 else 1.0
                after = amps * decay + against * step_s / henry * grown
                if not live and after * amps <= 0:
                    after = 0.0
                if after > top_a or after < -top_a:
                    after, cut = (top_a if after > 0 else -top_a), cut + 20 // steps
                mean, amps = 0.5 * (amps + after), after
            else:
                mean = 0.0
            nodes.append(amps)
            total += mean
            if not self._stuck:
                force = 0.5 * mean * mean * slope - coil.preload_n - coil.rate_n_per_m * half
                held = (u <= self.seat_m and force < 0) or (u >= stroke and force > 0)
                speed = 0.0 if held else slide(
                    speed, force, coil.coulomb_n, extra, 0.01, coil.viscous_ns, coil.mass_kg, step_s
                )  # fmt: skip
                u = half + 0.5 * step_s * speed
                if u < self.seat_m:
                    u, speed = self.seat_m, 0.0
                elif u > stroke:
                    u, speed = stroke, 0.0
        self.position_m, self.speed_m_s, self._amps = u, speed, amps
        self._inductance_h = henry
        half_a = 0.5 * abs(volts) * (1 - abs(drive)) / (henry * PWM_HZ)
        beside_a = volts / coil.parallel_ohm if live else 0.0
        self._close_tick(drive, gate, rail, dt_s, nodes, total / steps, half_a, cut, beside_a=beside_a)
        self._read_tracks()

    def waveform(self, channel: str, rate_hz: float, count: int, start_s: float = 0.0) -> NDArray[np.float64]:
        wave = super().waveform(channel, rate_hz, count, start_s)
        if channel != "current" or self.coil.parallel_ohm == inf:
            return wave
        time_s = start_s + np.arange(count) / rate_hz
        beside_v = edges_v(time_s, self._bridge_v, abs(self._drive), PWM_HZ)
        return wave + copysign(1.0, self._drive) * beside_v / self.coil.parallel_ohm

    def _held_firmly(self, volts: float, dt_s: float) -> bool:
        """True when the force, now and by the end of the tick, keeps the plunger at the end where it is."""
        coil, u, amps = self.coil, self.position_m, self._amps
        if self._stuck:
            return True
        if self.speed_m_s != 0.0 or self.seat_m < u < coil.stroke_m:
            return False
        henry, _, slope = self._cells[min(int(self.position * CELLS), CELLS - 1)]
        later = amps + (volts - amps * self._loop_ohm) / henry * dt_s
        spring = coil.preload_n + coil.rate_n_per_m * u
        pull_now, pull_then = 0.5 * amps * amps * slope, 0.5 * later * later * slope
        if u <= self.seat_m:
            return bool(max(pull_now, pull_then) < 0.8 * spring)
        return bool(min(pull_now, pull_then) > 1.2 * spring)

    def _read_tracks(self) -> None:
        if self._tracks:
            place = min(self.position * (CELLS - 1), CELLS - 1.001)
            self.sensor_a_v = self._tracks[0].read_v(place, self.feed_v)
