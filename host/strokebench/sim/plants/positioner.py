"""A motor that moves something between two stops against springs and friction: throttle, flap, motor-type
valve.

DC motor V = R i + L di/dt + K w, J dw/dt = K i - spring - friction, all referred to the shaft (K includes the
gear). Current by its exact exponential, mechanics by leapfrog, 4 sub-steps per tick.  Position-dependent
things (spring, stops, friction, cogging, sensor tracks) are tables over the angle, made once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp

import numpy as np
from numpy.typing import NDArray

from strokebench.sim.plants.base import DIODE_V, PWM_HZ, SUBSTEPS, Conditions
from strokebench.sim.plants.pieces.friction import slide
from strokebench.sim.plants.pieces.spring import Spring, stops_nm, torque_nm
from strokebench.sim.plants.pieces.tracks import Track
from strokebench.sim.plants.pieces.winding import Heat, Winding

CELLS = 2048
MARGIN_RAD = 0.12


ORDINARY_HEAT = Heat(12.0, 4.0, 250.0, 3.0)


@dataclass(frozen=True)
class Mover:
    """Electrical and mechanical parameters at the shaft, SI; resistance at 25 C."""

    resistance_ohm: float
    inductance_h: float
    k_si: float
    inertia_kgm2: float
    viscous_nms: float
    spring: Spring
    travel_rad: float
    stiction: float = 1.15  # static over Coulomb
    stribeck_rad_s: float = 0.03
    lowest_rad: float = 0.0  # where the lower stop is: above 0 when something lies on the seat
    stop_nm_per_rad: float = 400.0
    stop_nms: float = 0.8
    heat: Heat = ORDINARY_HEAT


def grid(travel_rad: float) -> NDArray[np.float64]:
    """Angles of the tables: ``CELLS`` + 1 of them, from a margin below closed to a margin beyond open."""
    return np.linspace(-MARGIN_RAD, travel_rad + MARGIN_RAD, CELLS + 1)


class Positioner(Winding):
    """``coulomb_nm`` and ``cogging_nm`` are tables on :func:`grid`; ``tracks`` at most two."""

    def __init__(
        self,
        conditions: Conditions,
        mover: Mover,
        coulomb_nm: NDArray[np.float64],
        cogging_nm: NDArray[np.float64],
        tracks: Sequence[Track],
        seed: int = 0,
    ) -> None:
        super().__init__(conditions, mover.resistance_ohm, mover.heat)
        self.mover = mover
        angle = grid(mover.travel_rad)
        push = (
            torque_nm(mover.spring, angle)
            + stops_nm(angle, mover.lowest_rad, mover.travel_rad, mover.stop_nm_per_rad)
            + cogging_nm
        )
        self._cells = list(
            zip(push[:-1].tolist(), np.diff(push).tolist(), coulomb_nm[:-1].tolist(), strict=True)
        )
        self._per_rad = CELLS / (mover.travel_rad + 2 * MARGIN_RAD)
        self._tracks = tracks
        self._inductance_h = mover.inductance_h
        self.angle_rad = max(mover.spring.rest_rad, mover.lowest_rad)
        self.speed_rad_s = 0.0
        self._speed_before = 0.0
        self._read_tracks()

    @property
    def position(self) -> float:
        """Share of travel, 0 closed .. 1 open."""
        return self.angle_rad / self.mover.travel_rad

    def advance(self, drive: float, gate: bool, rail: int, dt_s: float = 0.001) -> None:
        mover = self.mover
        step_s = dt_s / SUBSTEPS
        k, inertia, viscous, travel = mover.k_si, mover.inertia_kgm2, mover.viscous_nms, mover.travel_rad
        lowest, stiction, stribeck = mover.lowest_rad, mover.stiction - 1.0, mover.stribeck_rad_s
        cells, per_rad = self._cells, self._per_rad
        x, w, w_before, amps = self.angle_rad, self.speed_rad_s, self._speed_before, self._amps
        source_v, source_ohm = self._source()
        ohm = self._loop_ohm + drive * drive * source_ohm
        load = step_s * ohm / mover.inductance_h
        decay = exp(-load)
        share = (1.0 - decay) / load
        volts = drive * source_v
        ripple_a = abs(volts) * (1.0 - abs(drive)) / (mover.inductance_h * PWM_HZ)
        top_a = self.trip_a - 0.5 * ripple_a
        live = gate and not self._broken
        nodes, total, cut = [amps], 0.0, 0
        for _ in range(SUBSTEPS):
            emf = k * (1.5 * w - 0.5 * w_before)
            if live:
                final = (volts - emf) / ohm
                mean = final + (amps - final) * share
                amps = final + (amps - final) * decay
                if amps > top_a or amps < -top_a:
                    amps = top_a if amps > 0.0 else -top_a
                    mean = amps if mean * amps > 0.0 and abs(mean) > top_a else mean
                    cut += 20 // SUBSTEPS
            elif amps != 0.0:
                mean, amps = self._freewheel(amps, emf, decay, share)
            else:
                mean = 0.0
            nodes.append(amps)
            total += mean
            w_before = w
            half = x + 0.5 * step_s * w
            place = (half + MARGIN_RAD) * per_rad
            cell = int(place)
            if not 0 <= cell < CELLS:
                cell = 0 if place < 0 else CELLS - 1
            push, slope, coulomb = cells[cell]
            w = slide(
                w, k * mean - push - slope * (place - cell), coulomb, coulomb * stiction, stribeck,
                viscous if lowest <= half <= travel else viscous + mover.stop_nms, inertia, step_s,
            )  # fmt: skip
            x = half + 0.5 * step_s * w
        self.angle_rad, self.speed_rad_s, self._speed_before, self._amps = x, w, w_before, amps
        self._close_tick(drive, gate, rail, dt_s, nodes, total / SUBSTEPS, 0.5 * ripple_a, cut, k * w)
        self._read_tracks()

    def _freewheel(self, amps: float, emf: float, decay: float, share: float) -> tuple[float, float]:
        """One sub-step with all FETs off: the current runs into the bus through two diodes until it ends."""
        against = self.bus_v + 2 * DIODE_V
        final = -((against if amps > 0 else -against) + emf) / self._loop_ohm
        after = final + (amps - final) * decay
        if after * amps > 0:
            return final + (amps - final) * share, after
        # ends inside the sub-step: a triangle, its share of the sub-step found on the chord
        return 0.5 * amps * amps / (amps - after), 0.0

    def _read_tracks(self) -> None:
        tracks = self._tracks
        if tracks:
            place = (self.angle_rad + MARGIN_RAD) * self._per_rad
            if not 0.0 <= place < CELLS - 1.0:
                place = 0.0 if place < 0.0 else CELLS - 1.0
            self.sensor_a_v = tracks[0].read_v(place, self.feed_v)
            if len(tracks) > 1:
                self.sensor_b_v = tracks[1].read_v(place, self.feed_v)
