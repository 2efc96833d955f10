"""A brushed motor that turns a load without end: pump, fan.

V = R(angle) i + L di/dt + brush drop + E(angle), E = K w shape(angle); J dw/dt = K i shape - load.
``shape`` is the sum of the coils' rectified EMFs, which gives the commutation ripple; a bad segment raises R
while a brush is on it. While a burst is taken, ``fine`` makes the steps short enough for the ripple's
harmonics.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, pi

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

CELLS = 1024
FINE_SUBSTEPS = 40
SLOW_TICKS = 16
RANDOM_BLOCK = 65_521  # prime and long: its repetition must not show as a tone
TURN = 2 * pi


@dataclass(frozen=True)
class Turner:
    """Parameters in SI; resistance at 25 C.  ``dry_nm`` Coulomb, ``flow_nms2`` torque per (rad/s)^2."""

    resistance_ohm: float
    inductance_h: float
    k_si: float
    inertia_kgm2: float
    dry_nm: float
    viscous_nms: float
    flow_nms2: float
    segments: int
    pole_pairs: int
    brush_v: float = 0.6
    stiction: float = 1.3
    once_a_turn: float = 0.01  # share of the load's torque that varies with the turn
    winding_j_per_k: float = 40.0
    winding_k_per_w: float = 1.5
    case_j_per_k: float = 400.0
    case_k_per_w: float = 1.2


@dataclass(frozen=True)
class Commutator:
    """What is wrong with brushes and segments, as shares of the winding's resistance.

    ``segment``: added while a brush is on the one bad segment; ``bounce``: standard size of random contact
    noise.
    """

    segment: float = 0.0
    bounce: float = 0.02


def shape(angle_rad: NDArray[np.float64], segments: int, pole_pairs: int) -> NDArray[np.float64]:
    """Sum of the rectified EMFs of ``segments`` coils over the turn, mean 1."""
    coils = np.arange(segments) * TURN / segments
    wave = np.abs(np.sin(pole_pairs * (angle_rad[:, None] + coils))).sum(axis=1)
    normal: NDArray[np.float64] = wave / wave.mean()
    return normal


def segment_windows(angle_rad: NDArray[np.float64], segments: int, pole_pairs: int) -> NDArray[np.float64]:
    """1 where one of the 2p brushes is on segment 0, else 0, with soft edges."""
    brush = TURN / (2 * pole_pairs)
    away = np.abs((angle_rad + brush / 2) % brush - brush / 2)
    edge: NDArray[np.float64] = np.clip(1.5 - away / (TURN / segments / 2), 0.0, 1.0)
    return edge


class Rotary(Plant):
    """See the module.  ``jammed``: the rotor cannot turn."""

    def __init__(
        self, conditions: Conditions, turner: Turner, commutator: Commutator, rng: np.random.Generator
    ) -> None:
        super().__init__(conditions)
        self.turner = turner
        angle = (np.arange(CELLS) + 0.5) * TURN / CELLS
        emf = shape(angle, turner.segments, turner.pole_pairs)
        bars = 1 + commutator.segment * segment_windows(angle, turner.segments, turner.pole_pairs)
        turn = 1 + turner.once_a_turn * np.sin(angle)
        self._cells = list(zip(emf.tolist(), bars.tolist(), turn.tolist(), strict=True))
        self._bounce = (commutator.bounce * np.abs(rng.normal(0, 1, RANDOM_BLOCK))).tolist()
        self._bounced = 0
        self._inductance_h = turner.inductance_h
        self.angle_rad = float(rng.uniform(0, TURN))
        self.speed_rad_s = 0.0
        self.jammed = False
        self._winding_ohm = turner.resistance_ohm
        self._amps = 0.0
        self._broken = False
        self._refresh()

    def advance(self, drive: float, gate: bool, rail: int, dt_s: float = 0.001) -> None:
        turner, cells, bounce = self.turner, self._cells, self._bounce
        steps = FINE_SUBSTEPS if self.fine else SUBSTEPS
        step_s = dt_s / steps
        if self._pumped:
            source_v, source_ohm = self.bus_v, 0.0
        else:
            source_v, source_ohm = self.source_v, self.source_ohm
        self._bridge_v = source_v
        volts, fixed_ohm = drive * source_v, self._lead_ohm + drive * drive * source_ohm
        winding, inductance, k = self._winding_ohm, turner.inductance_h, turner.k_si
        inertia, viscous, flow, dry = turner.inertia_kgm2, turner.viscous_nms, turner.flow_nms2, turner.dry_nm
        extra = dry * (turner.stiction - 1.0)
        broken = self._broken = self.leads_off or not self.connected
        ripple_a = abs(volts) * (1.0 - abs(drive)) / (inductance * PWM_HZ)
        top_a = self.trip_a - 0.5 * ripple_a
        amps, w, angle, turn_at = self._amps, self.speed_rad_s, self.angle_rad, self._bounced
        nodes, total, cut = [amps], 0.0, 0
        for _ in range(steps):
            emf_shape, bar, turn = cells[int(angle * (CELLS / TURN)) % CELLS]
            turn_at = (turn_at + 1) % RANDOM_BLOCK
            ohm = winding * (bar + bounce[turn_at]) + fixed_ohm
            emf = k * emf_shape * w
            if gate and not broken:
                against = emf + (turner.brush_v if amps > 0.0 or volts > emf else -turner.brush_v)
                if amps == 0.0 and abs(volts - emf) <= turner.brush_v:
                    against = volts
                decay = exp(-step_s * ohm / inductance)
                final = (volts - against) / ohm
                after = final + (amps - final) * decay
                mean = final + (amps - after) * inductance / (step_s * ohm)
                amps = after
                if amps > top_a or amps < -top_a:
                    amps = mean = top_a if amps > 0.0 else -top_a
                    cut += 20 // steps or 1
            elif amps != 0.0:
                mean, amps = self._freewheel(amps, emf, ohm, step_s)
            else:
                mean = 0.0
            nodes.append(amps)
            total += mean
            if not self.jammed:
                before = w
                load = flow * w * abs(w) * turn
                w = slide(w, k * emf_shape * mean - load, dry * turn, extra, 1.0, viscous, inertia, step_s)
                angle = (angle + 0.5 * step_s * (before + w)) % TURN
        self._amps, self.speed_rad_s, self.angle_rad, self._bounced = amps, w, angle, turn_at
        self._close_tick(drive, gate, rail, dt_s, total / steps, nodes, ripple_a, cut)

    def _freewheel(self, amps: float, emf: float, ohm: float, step_s: float) -> tuple[float, float]:
        against = self.bus_v + 2 * DIODE_V + self.turner.brush_v
        final = -((against if amps > 0 else -against) + emf) / ohm
        after = final + (amps - final) * exp(-step_s * ohm / self._inductance_h)
        if after * amps > 0:
            return 0.5 * (amps + after), after
        return 0.5 * amps * amps / (amps - after), 0.0

    def _close_tick(
        self, drive: float, gate: bool, rail: int, dt_s: float, mean: float, nodes: list[float],
        ripple_a: float, cut: int,
    ) -> None:  # fmt: skip
        self.current_a, self._nodes, self.cycles_cut = mean, nodes, min(cut, 20)
        live = gate and not self._broken
        half = 0.5 * ripple_a if live else 0.0
        self.current_max_a, self.current_min_a = max(nodes) + half, min(nodes) - half
        self._drive = drive if live else 0.0
        self._square_sum += mean * mean
        emf = self.turner.k_si * self.speed_rad_s
        if gate:
            self._settle_bus(drive * mean, rail, dt_s)
            if cut:
                drive = (mean * self._loop_ohm + emf) / max(self.bus_v, 0.1)
            self._drive_legs(drive, mean)
        else:
            self._settle_bus(-abs(mean), rail, dt_s)
            self._float_legs(0.0 if self._broken else emf)
        self._slow_ticks += 1
        if self._slow_ticks == SLOW_TICKS:
            self._refresh(dt_s * SLOW_TICKS)

    def _refresh(self, dt_s: float = 0.0) -> None:
        turner = self.turner
        if dt_s:
            watts = self._square_sum / SLOW_TICKS * self._winding_ohm
            across = (self.winding_c - self.part_c) / turner.winding_k_per_w
            out = (self.part_c - self.conditions.ambient_c) / turner.case_k_per_w
            self.winding_c += dt_s / turner.winding_j_per_k * (watts - across)
            self.part_c += dt_s / turner.case_j_per_k * (across - out)
            self._warm_sink(dt_s)
        self._square_sum, self._slow_ticks = 0.0, 0
        self._winding_ohm = turner.resistance_ohm * resistance_ratio(25.0, self.winding_c)
        self._lead_ohm = BRIDGE_OHM + self.conditions.lead_ohm
        self._loop_ohm = self._winding_ohm + self._lead_ohm
