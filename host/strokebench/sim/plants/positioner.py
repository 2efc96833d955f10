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

from strokebench.physics.copper import resistance_ratio
from strokebench.sim.plants.base import (
    BRIDGE_OHM,
    DIODE_V,
    PWM_HZ,
    SUBSTEPS,
    Conditions,
    Plant,
)
from strokebench.sim.plants.friction import slide
from strokebench.sim.plants.spring import Spring, stops_nm, torque_nm
from strokebench.sim.plants.tracks import Track

CELLS = 2048
MARGIN_RAD = 0.12
SLOW_TICKS = 16


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
    winding_j_per_k: float = 12.0
    winding_k_per_w: float = 4.0
    case_j_per_k: float = 250.0
    case_k_per_w: float = 3.0


def grid(travel_rad: float) -> NDArray[np.float64]:
    """Angles of the tables: ``CELLS`` + 1 of them, from a margin below closed to a margin beyond open."""
    return np.linspace(-MARGIN_RAD, travel_rad + MARGIN_RAD, CELLS + 1)


class Positioner(Plant):
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
        super().__init__(conditions)
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
        self._amps = 0.0
        self._broken = False
        self._refresh()
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
        if self._pumped:
            source_v, source_ohm = self.bus_v, 0.0
        else:
            source_v, source_ohm = self.source_v, self.source_ohm
        self._bridge_v = source_v
        ohm = self._loop_ohm + drive * drive * source_ohm
        load = step_s * ohm / mover.inductance_h
        decay = exp(-load)
        share = (1.0 - decay) / load
        volts = drive * source_v
        ripple_a = abs(volts) * (1.0 - abs(drive)) / (mover.inductance_h * PWM_HZ)
        top_a = self.trip_a - 0.5 * ripple_a
        broken = self._broken = self.leads_off or not self.connected
        nodes, total, cut = [amps], 0.0, 0
        for _ in range(SUBSTEPS):
            emf = k * (1.5 * w - 0.5 * w_before)
            if gate and not broken:
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
        mean = total / SUBSTEPS
        self._close_tick(drive, gate, rail, dt_s, mean, nodes, ripple_a, cut)

    def _freewheel(self, amps: float, emf: float, decay: float, share: float) -> tuple[float, float]:
        """One sub-step with all FETs off: the current runs into the bus through two diodes until it ends."""
        against = self.bus_v + 2 * DIODE_V
        final = -((against if amps > 0 else -against) + emf) / self._loop_ohm
        after = final + (amps - final) * decay
        if after * amps > 0:
            return final + (amps - final) * share, after
        # ends inside the sub-step: a triangle, its share of the sub-step found on the chord
        return 0.5 * amps * amps / (amps - after), 0.0

    def _close_tick(
        self, drive: float, gate: bool, rail: int, dt_s: float, mean: float, nodes: list[float],
        ripple_a: float, cut: int,
    ) -> None:  # fmt: skip
        self.current_a = mean
        half = 0.5 * ripple_a if gate and not self._broken else 0.0
        self.current_max_a = max(nodes) + half
        self.current_min_a = min(nodes) - half
        self._nodes = nodes
        self._drive = drive if gate and not self._broken else 0.0
        self.cycles_cut = cut
        self._square_sum += mean * mean
        if gate:
            self._settle_bus(drive * mean, rail, dt_s)
            if cut:
                drive = (mean * self._loop_ohm + self.mover.k_si * self.speed_rad_s) / max(self.bus_v, 0.1)
            self._drive_legs(drive, mean)
        else:
            self._settle_bus(-abs(mean), rail, dt_s)
            self._float_legs(0.0 if self._broken else self.mover.k_si * self.speed_rad_s)
        self._read_tracks()
        self._slow_ticks += 1
        if self._slow_ticks == SLOW_TICKS:
            self._refresh(dt_s * SLOW_TICKS)

    def _read_tracks(self) -> None:
        tracks = self._tracks
        if tracks:
            place = (self.angle_rad + MARGIN_RAD) * self._per_rad
            if not 0.0 <= place < CELLS - 1.0:
                place = 0.0 if place < 0.0 else CELLS - 1.0
            self.sensor_a_v = tracks[0].read_v(place, self.feed_v)
            if len(tracks) > 1:
                self.sensor_b_v = tracks[1].read_v(place, self.feed_v)

    def _refresh(self, dt_s: float = 0.0) -> None:
        """Slow things: winding and case temperature, and what they change."""
        mover = self.mover
        if dt_s:
            square = self._square_sum / SLOW_TICKS
            watts = square * mover.resistance_ohm * resistance_ratio(25.0, self.winding_c)
            across = (self.winding_c - self.part_c) / mover.winding_k_per_w
            out = (self.part_c - self.conditions.ambient_c) / mover.case_k_per_w
            self.winding_c += dt_s / mover.winding_j_per_k * (watts - across)
            self.part_c += dt_s / mover.case_j_per_k * (across - out)
            self._warm_sink(dt_s)
        self._square_sum, self._slow_ticks = 0.0, 0
        winding = mover.resistance_ohm * resistance_ratio(25.0, self.winding_c)
        self._loop_ohm = winding + BRIDGE_OHM + self.conditions.lead_ohm
