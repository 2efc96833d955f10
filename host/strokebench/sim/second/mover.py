"""A motor that moves something between two stops through a gear with play, second family.

Motor: v = R i + brush(i) + L di/dt + K w, brush(i) = drop tanh(i / knee): a contact conducts well only with
current (carbon brush characteristics of machine textbooks, from memory). A share of L is behind one ring of
eddy currents. Motor and load are two masses with the gear's play and stiffness between them. Both slide with
presliding (:mod:`strokebench.sim.second.rubbing`); the motor's friction grows with the torque through the
gear. Stops as in :mod:`strokebench.sim.second.magnet`. All is referred to the load's shaft.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from math import exp, sin, tanh

import numpy as np
from numpy.typing import NDArray

from strokebench.sim.plants.base import DIODE_V, PWM_HZ, Conditions
from strokebench.sim.plants.pieces.winding import Heat
from strokebench.sim.second.iron import Floats
from strokebench.sim.second.rubbing import bent
from strokebench.sim.second.sensing import Sensor
from strokebench.sim.second.supply import Charger
from strokebench.sim.second.wound import Wound

CELLS, STEPS = 1024, 16
MARGIN_RAD = 0.15


@dataclass(frozen=True)
class Spring:
    """Torque towards closed: preload and rate on either side of rest, and how much stiffer the rate becomes.

    It changes side over ``blend_rad``, as a hyperbolic tangent.
    """

    open_preload_nm: float
    open_rate_nm: float
    close_preload_nm: float
    close_rate_nm: float
    rest_rad: float
    blend_rad: float = 0.006
    stiffens: float = 0.0

    def torque_nm(self, angle_rad: Floats) -> Floats:
        """Return the torque towards closed at the angles."""
        away = angle_rad - self.rest_rad
        side = np.tanh(away / self.blend_rad) if self.blend_rad else np.sign(away)
        rate = np.where(away > 0, self.open_rate_nm, self.close_rate_nm) * (1 + self.stiffens * np.abs(away))
        preload = np.where(away > 0, self.open_preload_nm, self.close_preload_nm)
        return np.asarray(side * preload + rate * away)


@dataclass(frozen=True)
class Mover:
    """Parameters at the load's shaft, SI; resistance at 25 C and without brushes. ``inductance_h`` at DC.

    ``ring_share`` of it is behind eddy currents of ``ring_s``. ``drop_v`` of both brushes at much current,
    ``knee_a`` where it bends. ``coulomb_nm``: all dry friction on average, ``motor_share`` of it before the
    gear. ``loaded``: more friction per torque through the gear. ``detent_nm``: cogging.
    """

    resistance_ohm: float
    inductance_h: float
    k_si: float
    inertia_kgm2: float
    viscous_nms: float
    spring: Spring
    travel_rad: float
    coulomb_nm: float
    ring_share: float = 0.3
    ring_s: float = 40e-6
    drop_v: float = 0.3
    knee_a: float = 0.3
    motor_share: float = 0.6
    load_share: float = 0.12
    loaded: float = 0.03
    stiction: float = 1.15
    stribeck_rad_s: float = 0.05
    presliding_rad: float = 0.0015
    play_rad: float = 0.003
    gear_nm_per_rad: float = 400.0
    detent_nm: float = 0.008
    detents: float = 170.0
    detent_at: float = 0.0
    lowest_rad: float = 0.0
    stop_nm_per_rad: float = 300.0
    stop_loses: float = 0.3
    heat: Heat = field(default_factory=lambda: Heat(12.0, 4.0, 250.0, 3.0))


def grid(travel_rad: float) -> Floats:
    """Angles of the tables, from a margin below closed to a margin beyond open."""
    return np.linspace(-MARGIN_RAD, travel_rad + MARGIN_RAD, CELLS + 1)


class Geared(Wound):
    """``level``: how the load's Coulomb friction varies over :func:`grid`, 1 on average; ``more_nm`` adds."""

    def __init__(
        self,
        conditions: Conditions,
        mover: Mover,
        level: Floats,
        more_nm: Floats,
        sensors: Sequence[Sensor],
        charger: Charger,
    ) -> None:
        super().__init__(conditions, mover.resistance_ohm, mover.heat)
        self.mover, self.charger = mover, charger
        angle = grid(mover.travel_rad)
        self.level_nm = (1 - mover.motor_share) * mover.coulomb_nm * level + more_nm
        push = mover.spring.torque_nm(angle)
        self._cells = list(
            zip(
                push[:-1].tolist(), np.diff(push).tolist(), self.level_nm[:-1].tolist(),
                np.diff(self.level_nm).tolist(), strict=True,
            )
        )  # fmt: skip
        self._per_rad = CELLS / (mover.travel_rad + 2 * MARGIN_RAD)
        self._rotor, self._flap = _bodies(mover)
        self._ring_h = mover.ring_share * mover.inductance_h
        self._inductance_h = mover.inductance_h
        self._quick_h = abs(complex(self.inductance_at(PWM_HZ)))
        self.angle_rad = self._motor_rad = max(mover.spring.rest_rad, mover.lowest_rad)
        self.speed_rad_s = self._motor_rad_s = 0.0
        self._bend = self._motor_bend = self._ring_wb = self._time_s = 0.0
        self._sensors = sensors
        self._read_sensors(0.0)

    @property
    def position(self) -> float:
        """Share of travel, 0 closed .. 1 open."""
        return self.angle_rad / self.mover.travel_rad

    def inductance_at(self, hz: float | Floats) -> NDArray[np.complex128]:
        """Inductance (complex) of the winding at frequencies."""
        mover = self.mover
        ring = self._ring_h / (1 + 2j * math.pi * np.asarray(hz) * mover.ring_s)
        return np.asarray(mover.inductance_h - self._ring_h + ring)

    def advance(self, drive: float, gate: bool, rail: int, dt_s: float = 0.001) -> None:
        # one loop for winding, motor and load, because a call costs as much as the arithmetic in it
        mover, rotor, flap, cells = self.mover, self._rotor, self._flap, self._cells
        battery_v = self.source_v
        self.source_v = battery_v + self.charger.volts(self._time_s)
        self._time_s += dt_s
        source_v, source_ohm = self._source()
        live = gate and not self._broken
        volts = drive * source_v if live else 0.0
        back_v = self.bus_v + 2 * DIODE_V
        ohm = self._loop_ohm + drive * drive * source_ohm
        swing_a = abs(volts) * (1.0 - abs(drive)) / (self._quick_h * PWM_HZ)
        step_s = dt_s / STEPS
        k, knee, drop_v, play = mover.k_si, mover.knee_a, mover.drop_v, 0.5 * mover.play_rad
        stay, ring_h = exp(-step_s / mover.ring_s), self._ring_h
        follow = ring_h * (1.0 - (1.0 - stay) * mover.ring_s / step_s)
        inertia = mover.inductance_h - ring_h + 0.5 * step_s * ohm + follow
        x, w, z = self._motor_rad, self._motor_rad_s, self._motor_bend
        y, v, q = self.angle_rad, self.speed_rad_s, self._bend
        amps, flux, per_rad, top_a = self._amps, self._ring_wb, self._per_rad, self.trip_a - 0.5 * swing_a
        more = mover.stiction - 1.0
        nodes, total, cut = [amps], 0.0, 0
        for _ in range(STEPS):
            curve = tanh(amps / knee)
            against = volts
            if not live:
                against = -back_v if amps > 0.0 else back_v
            rises = (1.0 - stay) * (ring_h * amps - flux)
            push = step_s * (against - k * w - ohm * amps - drop_v * curve) - rises
            after = amps + push / (inertia + 0.5 * step_s * drop_v / knee * (1.0 - curve * curve))
            if not live and (amps == 0.0 or after * amps <= 0.0):
                after = 0.0
            if after > top_a or after < -top_a:
                after, cut = (top_a if after > 0.0 else -top_a), cut + 1
            flux += rises + follow * (after - amps)
            mean = 0.5 * (amps + after)
            total += mean
            amps = after
            nodes.append(amps)
            xh, yh = x + 0.5 * step_s * w, y + 0.5 * step_s * v
            gap, through = xh - yh, 0.0
            if gap > play:
                through = max(mover.gear_nm_per_rad * (gap - play) + flap.gear_nms * (w - v), 0.0)
            elif gap < -play:
                through = min(mover.gear_nm_per_rad * (gap + play) + flap.gear_nms * (w - v), 0.0)
            dry = rotor.coulomb_nm + mover.loaded * abs(through)
            fresh = bent(z, w, dry, more * dry, mover.stribeck_rad_s, rotor.bristle_nm, step_s)
            rub = 0.5 * rotor.bristle_nm * (z + fresh) + rotor.bristle_nms * (fresh - z) / step_s
            z = fresh
            turn = k * mean - through - rub + mover.detent_nm * sin(mover.detents * xh + mover.detent_at)
            w = (rotor.inertia * w + step_s * turn) / (rotor.inertia + step_s * rotor.viscous_nms)
            x = xh + 0.5 * step_s * w
            place = min(max((yh + MARGIN_RAD) * per_rad, 0.0), CELLS - 1e-9)
            cell = int(place)
            pushes, stiffer, dry, rougher = cells[cell]
            dry += (place - cell) * rougher
            fresh = bent(q, v, dry, more * dry, mover.stribeck_rad_s, flap.bristle_nm, step_s)
            rub = 0.5 * flap.bristle_nm * (q + fresh) + flap.bristle_nms * (fresh - q) / step_s
            q = fresh
            turn = through - rub - pushes - (place - cell) * stiffer
            if yh < mover.lowest_rad:
                turn += mover.stop_nm_per_rad * (mover.lowest_rad - yh) * max(1.0 - mover.stop_loses * v, 0.0)
            elif yh > mover.travel_rad:
                turn -= mover.stop_nm_per_rad * (yh - mover.travel_rad) * max(1.0 + mover.stop_loses * v, 0.0)
            v = (flap.inertia * v + step_s * turn) / (flap.inertia + step_s * flap.viscous_nms)
            y = yh + 0.5 * step_s * v
        self._motor_rad, self._motor_rad_s, self._motor_bend = x, w, z
        self.angle_rad, self.speed_rad_s, self._bend = y, v, q
        self._amps, self._ring_wb = amps, flux
        self._close_tick(
            drive, gate, rail, dt_s, nodes, total / STEPS, 0.5 * swing_a, min(cut * 20 // STEPS, 20), k * w
        )
        self.source_v = battery_v
        self._read_sensors(dt_s)

    def _read_sensors(self, dt_s: float) -> None:
        sensors = self._sensors
        if sensors:
            self.sensor_a_v = sensors[0].read_v(self.position, self.feed_v, dt_s)
            if len(sensors) > 1:
                self.sensor_b_v = sensors[1].read_v(self.position, self.feed_v, dt_s)


@dataclass(frozen=True)
class Body:
    """One of the two masses: what its friction and its bristles are; ``gear_nms`` damps between both."""

    inertia: float
    viscous_nms: float
    coulomb_nm: float
    bristle_nm: float
    bristle_nms: float
    gear_nms: float


def _bodies(mover: Mover) -> tuple[Body, Body]:
    """Return motor and load."""
    found = []
    for share, rubs, drags in (
        (1 - mover.load_share, mover.motor_share, 0.8),
        (mover.load_share, 1 - mover.motor_share, 0.2),
    ):
        inertia, coulomb_nm = share * mover.inertia_kgm2, rubs * mover.coulomb_nm
        bristle = coulomb_nm / mover.presliding_rad
        damps = 0.2 * math.sqrt(mover.gear_nm_per_rad * mover.load_share * mover.inertia_kgm2)
        found.append(
            Body(
                inertia,
                drags * mover.viscous_nms,
                coulomb_nm,
                bristle,
                0.5 * math.sqrt(bristle * inertia),
                damps,
            )
        )
    return found[0], found[1]
