"""A coil with solid iron that pulls a plunger: on/off valve or proportional solenoid, second family.

v = R i + air di/dt + sum of d(flux)/dt over the rings of the iron (:mod:`strokebench.sim.second.iron`). The
pull is the sum of (flux / L)^2 / 2 dL/du, the change of the gap's energy at constant flux (Fitzgerald,
Kingsley, Umans, "Electric Machinery", chapter 3, from memory). Friction is LuGre's; the stops are springs
with the damping of Hunt and Crossley (Trans. ASME J. Applied Mechanics 42, 1975): force = k p (1 + a dp/dt).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from strokebench.sim.plants.base import DIODE_V, PWM_HZ, Conditions
from strokebench.sim.plants.pieces.ripple import edges_v
from strokebench.sim.plants.pieces.winding import Heat
from strokebench.sim.second.iron import Floats, Iron, inductance_at, ring_step
from strokebench.sim.second.rubbing import bent
from strokebench.sim.second.sensing import Sensor
from strokebench.sim.second.supply import Charger
from strokebench.sim.second.wound import Wound

CELLS = 512
STEPS = 20
GIVES, LOSES = 5e5, 2.5
"""Stiffness of a stop in N/m and the factor a in s/m (judgement: 26 N press it in by 50 um)."""


@dataclass(frozen=True)
class Coil:
    """Parameters in SI, resistance at 25 C. ``air_h`` passes beside the iron and does not move.

    With ``gap_m`` > 0 the plunger closes an air gap: iron = strength / (gap + y / (1 + fringe y)), y the way
    left to go. Else it is proportional: iron = base + slope u + curve u^2. ``bend`` in A/Wb^3: the iron's own
    current. ``side``: friction per pull, because the plunger is drawn to one side.
    """

    resistance_ohm: float
    air_h: float
    stroke_m: float
    preload_n: float
    rate_n_per_m: float
    mass_kg: float
    iron: Iron
    strength_hm: float = 0.0
    gap_m: float = 0.0
    fringe_per_m: float = 0.0
    base_h: float = 0.0
    slope_h_per_m: float = 0.0
    curve_h_per_m2: float = 0.0
    bend: float = 0.0
    coulomb_n: float = 0.03
    stiction: float = 1.2
    stribeck_m_s: float = 0.01
    viscous_ns: float = 0.05
    presliding_m: float = 8e-6
    side: float = 0.0
    parallel_ohm: float = math.inf
    heat: Heat = field(default_factory=lambda: Heat(30.0, 6.0, 60.0, 6.0))

    def iron_h(self, u_m: Floats) -> Floats:
        """Inductance of the iron's path at the places given, at rest (DC)."""
        if self.gap_m > 0:
            y = self.stroke_m - u_m
            return np.asarray(self.strength_hm / (self.gap_m + y / (1 + self.fringe_per_m * y)))
        return np.asarray(self.base_h + self.slope_h_per_m * u_m + self.curve_h_per_m2 * u_m * u_m)

    def iron_slope(self, u_m: Floats) -> Floats:
        """Its change with the place, H/m."""
        if self.gap_m > 0:
            y = self.stroke_m - u_m
            widens = 1 + self.fringe_per_m * y
            return np.asarray(self.strength_hm / (self.gap_m * widens + y) ** 2)
        return np.asarray(self.slope_h_per_m + 2 * self.curve_h_per_m2 * u_m)

    @property
    def rest_h(self) -> float:
        """Inductance at rest and DC, air and iron."""
        return self.air_h + float(self.iron_h(np.zeros(1))[0])


class Magnet(Wound):
    """``seat_m``: carbon keeps it at least there; ``stuck_m``: it cannot leave there."""

    def __init__(
        self,
        conditions: Conditions,
        coil: Coil,
        charger: Charger,
        sensors: Sequence[Sensor] = (),
        seat_m: float = 0.0,
        stuck_m: float | None = None,
    ) -> None:
        super().__init__(conditions, coil.resistance_ohm, coil.heat)
        self.coil, self.charger, self.seat_m = coil, charger, seat_m
        self._sensors = sensors
        self._stuck = stuck_m is not None
        self._cells = self._tables()
        self._weight_a, self._weight_b, self._weight_c = coil.iron.weights
        rest_h = coil.rest_h - coil.air_h
        self._ring_a, self._ring_b, self._ring_c = (
            weight * rest_h / time_s
            for weight, time_s in zip(coil.iron.weights, coil.iron.times_s, strict=True)
        )
        self._flux_a = self._flux_b = self._flux_c = 0.0
        self._bristle = coil.coulomb_n / coil.presliding_m
        self._bristle_ns = 0.6 * math.sqrt(self._bristle * coil.mass_kg)
        self.position_m = seat_m - coil.preload_n / GIVES if stuck_m is None else stuck_m
        self.speed_m_s = self._bend_m = self._time_s = 0.0
        self._read_sensors(0.0)

    def _tables(self) -> list[tuple[float, ...]]:
        """Over the stroke: iron's inductance, its rise to the next cell, its slope, the factor of the rings'
        resistance, and the inductance that the PWM sees."""
        coil = self.coil
        u = np.linspace(0, coil.stroke_m, CELLS + 1)
        henry, slope = coil.iron_h(u), coil.iron_slope(u)
        slower = (henry / henry[0]) ** (1 - coil.iron.grows)
        quick = [
            abs(complex(inductance_at(coil.iron, coil.air_h, h, henry[0], np.array(PWM_HZ)))) for h in henry
        ]
        rise = np.append(np.diff(henry), 0.0)
        return list(zip(henry.tolist(), rise.tolist(), slope.tolist(), slower.tolist(), quick, strict=True))

    @property
    def position(self) -> float:
        """Share of the stroke, 0 at rest .. 1 pulled in."""
        return self.position_m / self.coil.stroke_m

    def advance(self, drive: float, gate: bool, rail: int, dt_s: float = 0.001) -> None:
        # one loop for field and plunger, because a call costs as much as the arithmetic in it
        coil, cells = self.coil, self._cells
        battery_v = self.source_v
        self.source_v = battery_v + self.charger.volts(self._time_s)
        self._time_s += dt_s
        source_v, source_ohm = self._source()
        live = gate and not self._broken
        volts = drive * source_v if live else 0.0
        back_v = self.bus_v + 2 * DIODE_V
        ohm = self._loop_ohm + drive * drive * source_ohm
        stroke, per_m, side, bend = coil.stroke_m, CELLS / coil.stroke_m, coil.side, coil.bend
        more = coil.stiction - 1.0
        u, speed, z, amps = self.position_m, self.speed_m_s, self._bend_m, self._amps
        one_wb, two_wb, last_wb = self._flux_a, self._flux_b, self._flux_c
        step_s = dt_s / STEPS
        top_a, cut, emf_v, total, quick = self.trip_a, 0, 0.0, 0.0, 1.0
        nodes = [amps]
        for _ in range(STEPS):
            half = u + 0.5 * step_s * speed
            place = min(max(half * per_m, 0.0), CELLS - 1e-9)
            cell = int(place)
            henry, rise, slope, slower, quick = cells[cell]
            henry += (place - cell) * rise
            a_wb, a_more = ring_step(one_wb, self._weight_a, henry, bend, self._ring_a * slower, step_s, amps)
            b_wb, b_more = ring_step(two_wb, self._weight_b, henry, bend, self._ring_b * slower, step_s, amps)
            c_wb, c_more = ring_step(
                last_wb, self._weight_c, henry, bend, self._ring_c * slower, step_s, amps
            )
            against = volts
            if not live:
                forward = amps > 0.0 or (amps == 0.0 and one_wb + two_wb + last_wb > 0.0)
                against = -back_v if forward else back_v
            push = step_s * (against - ohm * amps) - a_wb - b_wb - c_wb
            after = amps + push / (coil.air_h + 0.5 * step_s * ohm + a_more + b_more + c_more)
            if not live and after * against >= 0.0:
                after = 0.0
            if after > top_a or after < -top_a:
                after, cut = (top_a if after > 0.0 else -top_a), cut + 20 // STEPS
            grown = after - amps
            a_wb, b_wb, c_wb = a_wb + a_more * grown, b_wb + b_more * grown, c_wb + c_more * grown
            emf_v = (a_wb + b_wb + c_wb) / step_s
            one_a = (one_wb + 0.5 * a_wb) / self._weight_a
            two_a = (two_wb + 0.5 * b_wb) / self._weight_b
            last_a = (last_wb + 0.5 * c_wb) / self._weight_c
            pull = (
                self._weight_a * one_a * one_a
                + self._weight_b * two_a * two_a
                + self._weight_c * last_a * last_a
            )
            pull *= 0.5 * slope / (henry * henry)
            one_wb, two_wb, last_wb = one_wb + a_wb, two_wb + b_wb, last_wb + c_wb
            total += 0.5 * (amps + after)
            amps = after
            nodes.append(amps)
            if not self._stuck:
                force = pull - coil.preload_n - coil.rate_n_per_m * half
                if half < self.seat_m:
                    force += GIVES * (self.seat_m - half) * max(1.0 - LOSES * speed, 0.0)
                elif half > stroke:
                    force -= GIVES * (half - stroke) * max(1.0 + LOSES * speed, 0.0)
                dry = coil.coulomb_n + side * pull
                fresh = bent(z, speed, dry, more * dry, coil.stribeck_m_s, self._bristle, step_s)
                rub = 0.5 * self._bristle * (z + fresh) + self._bristle_ns * (fresh - z) / step_s
                z = fresh
                speed = (coil.mass_kg * speed + step_s * (force - rub)) / (
                    coil.mass_kg + step_s * coil.viscous_ns
                )
                u = half + 0.5 * step_s * speed
        self.position_m, self.speed_m_s, self._bend_m, self._amps = u, speed, z, amps
        self._flux_a, self._flux_b, self._flux_c = one_wb, two_wb, last_wb
        half_a = 0.5 * abs(volts) * (1.0 - abs(drive)) / (quick * PWM_HZ)
        beside_a = volts / coil.parallel_ohm
        open_v = emf_v if amps == 0.0 else 0.0
        self._close_tick(
            drive, gate, rail, dt_s, nodes, total / STEPS, half_a, cut, emf_v=open_v, beside_a=beside_a
        )
        self.source_v = battery_v
        self._read_sensors(dt_s)

    def inductance_at(self, hz: float | Floats) -> NDArray[np.complex128]:
        """Inductance (complex) where the plunger is now, as far as the iron is not saturated."""
        coil = self.coil
        at = np.array([min(max(self.position_m, 0.0), coil.stroke_m), 0.0])
        iron_h, rest_h = (float(h) for h in coil.iron_h(at))
        return inductance_at(coil.iron, coil.air_h, iron_h, rest_h, np.asarray(hz))

    def _ripple_a(self, time_s: Floats) -> Floats:
        beside_v = edges_v(time_s, self._bridge_v, abs(self._drive), PWM_HZ)
        return super()._ripple_a(time_s) + beside_v / self.coil.parallel_ohm

    def _read_sensors(self, dt_s: float) -> None:
        sensors = self._sensors
        if sensors:
            self.sensor_a_v = sensors[0].read_v(self.position, self.feed_v, dt_s)
