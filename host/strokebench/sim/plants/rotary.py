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

from strokebench.sim.plants.base import DIODE_V, PWM_HZ, SUBSTEPS, Conditions
from strokebench.sim.plants.pieces.friction import slide
from strokebench.sim.plants.pieces.winding import Heat, Winding

CELLS = 1024
FINE_SUBSTEPS = 40
RANDOM_BLOCK = 65_521  # prime and long: its repetition must not show as a tone
TURN = 2 * pi


ORDINARY_HEAT = Heat(40.0, 1.5, 400.0, 1.2)


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
    heat: Heat = ORDINARY_HEAT


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


class Rotary(Winding):
    """See the module.  ``jammed``: the rotor cannot turn."""

    def __init__(
        self, conditions: Conditions, turner: Turner, commutator: Commutator, rng: np.random.Generator
    ) -> None:
        super().__init__(conditions, turner.resistance_ohm, turner.heat)
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

    def advance(self, drive: float, gate: bool, rail: int, dt_s: float = 0.001) -> None:
        turner, cells, bounce = self.turner, self._cells, self._bounce
        steps = FINE_SUBSTEPS if self.fine else SUBSTEPS
        step_s = dt_s / steps
        source_v, source_ohm = self._source()
        volts, fixed_ohm = drive * source_v, self._lead_ohm + drive * drive * source_ohm
        winding, inductance, k = self._winding_ohm, turner.inductance_h, turner.k_si
        inertia, viscous, flow, dry = turner.inertia_kgm2, turner.viscous_nms, turner.flow_nms2, turner.dry_nm
        extra = dry * (turner.stiction - 1.0)
        live = gate and not self._broken
        ripple_a = abs(volts) * (1.0 - abs(drive)) / (inductance * PWM_HZ)
        top_a = self.trip_a - 0.5 * ripple_a
        amps, w, angle, turn_at = self._amps, self.speed_rad_s, self.angle_rad, self._bounced
        nodes, total, cut = [amps], 0.0, 0
        for _ in range(steps):
            emf_shape, bar, turn = cells[int(angle * (CELLS / TURN)) % CELLS]
            turn_at = (turn_at + 1) % RANDOM_BLOCK
            ohm = winding * (bar + bounce[turn_at]) + fixed_ohm
            emf = k * emf_shape * w
            if live:
                against = emf + (
                    turner.brush_v if amps > 0.0 or (amps == 0.0 and volts > emf) else -turner.brush_v
                )
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
        emf = k * 0.5 * (self.speed_rad_s + w)  # mean of the tick, as the converters see it
        self._amps, self.speed_rad_s, self.angle_rad, self._bounced = amps, w, angle, turn_at
        self._close_tick(drive, gate, rail, dt_s, nodes, total / steps, 0.5 * ripple_a, min(cut, 20), emf)

    def _freewheel(self, amps: float, emf: float, ohm: float, step_s: float) -> tuple[float, float]:
        against = self.bus_v + 2 * DIODE_V + self.turner.brush_v
        final = -((against if amps > 0 else -against) + emf) / ohm
        after = final + (amps - final) * exp(-step_s * ohm / self._inductance_h)
        if after * amps > 0:
            return 0.5 * (amps + after), after
        return 0.5 * amps * amps / (amps - after), 0.0
