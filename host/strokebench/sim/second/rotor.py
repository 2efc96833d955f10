"""A brushed motor that turns a load without end, second family: pump, fan.

V = R(angle) i + brush(i) + L di/dt + E(angle); brush(i) = drop tanh(i / knee) and eddy currents as in
:mod:`strokebench.sim.second.mover`. The EMF is that of coils whose field is flat under the poles, each a
little different; brushes short one coil after the other, so R has a ripple of its own. Contact noise has a
memory. The load follows a power of the speed that is the specimen's own, and pulses by the count of its
blades or cells.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from math import exp, log, pi, tanh

import numpy as np
from numpy.typing import NDArray

from strokebench.sim.plants.base import DIODE_V, PWM_HZ, Conditions
from strokebench.sim.plants.pieces.winding import Heat
from strokebench.sim.second.iron import Floats
from strokebench.sim.second.rubbing import bent
from strokebench.sim.second.supply import Charger, coloured
from strokebench.sim.second.wound import Wound

CELLS = 1024
STEPS, FINE_STEPS = 8, 40
NOISE_STEPS = 8
"""Values of the contact noise a tick."""
RANDOM_BLOCK = 65_521  # prime and long: its repetition must not show as a tone
TURN = 2 * pi


@dataclass(frozen=True)
class Turner:
    """Parameters in SI; resistance at 25 C and without brushes, ``inductance_h`` at DC.

    ``dry_nm``: what stays towards zero speed; ``missing`` is the share of it that comes only with speed
    (``low_rad_s``). ``flow_nm`` at ``rated_rad_s``, as speed to the ``power``; ``viscous_nms`` holds iron
    loss. ``pulses`` a turn of size ``pulse``.
    """

    resistance_ohm: float
    inductance_h: float
    k_si: float
    inertia_kgm2: float
    dry_nm: float
    viscous_nms: float
    flow_nm: float
    rated_rad_s: float
    segments: int
    pole_pairs: int
    power: float = 2.0
    missing: float = 0.0
    low_rad_s: float = 300.0
    drop_v: float = 0.6
    knee_a: float = 0.5
    ring_share: float = 0.2
    ring_s: float = 40e-6
    stiction: float = 1.3
    presliding_rad: float = 0.01
    once_a_turn: float = 0.01
    pulses: int = 5
    pulse: float = 0.03
    bounce: float = 0.01
    segment: float = 0.0
    shorting: float = 0.03
    unlike: float = 0.004
    flat: float = 2.0
    heat: Heat = field(default_factory=lambda: Heat(40.0, 1.5, 400.0, 1.2))

    def load_nm(self, speed_rad_s: float) -> float:
        """Torque of the load at a steady speed above 0, mean over the turn."""
        low = speed_rad_s / self.low_rad_s
        dry = self.dry_nm * (1 - self.missing * exp(-low * low))
        flow = self.flow_nm * exp(self.power * log(max(speed_rad_s, 1e-9) / self.rated_rad_s))
        return dry + self.viscous_nms * speed_rad_s + flow


def tables(turner: Turner, rng: np.random.Generator) -> list[tuple[float, ...]]:
    """Over the turn: shape of the EMF (mean 1), resistance and load as shares of their own."""
    angle = (np.arange(CELLS) + 0.5) * TURN / CELLS
    coils = np.arange(turner.segments) * TURN / turner.segments
    own = 1 + rng.normal(0, turner.unlike, turner.segments)
    wave = np.abs(np.tanh(turner.flat * np.sin(turner.pole_pairs * (angle[:, None] + coils)))) @ own
    ripples = math.lcm(turner.segments, 2 * turner.pole_pairs)
    brush = TURN / (2 * turner.pole_pairs)
    away = np.abs((angle + brush / 2) % brush - brush / 2) / (TURN / turner.segments)
    bar = np.where(away < 0.75, np.cos(pi / 1.5 * np.minimum(away, 0.75)) ** 2, 0.0)
    ohm = 1 + turner.segment * bar + turner.shorting * np.sin(ripples * angle + 1.0)
    load = 1 + turner.once_a_turn * np.sin(angle) + turner.pulse * np.sin(turner.pulses * angle + 0.5)
    return list(zip((wave / wave.mean()).tolist(), ohm.tolist(), load.tolist(), strict=True))


class Spun(Wound):
    """See the module.  ``jammed``: the rotor cannot turn."""

    def __init__(
        self, conditions: Conditions, turner: Turner, charger: Charger, rng: np.random.Generator
    ) -> None:
        super().__init__(conditions, turner.resistance_ohm, turner.heat)
        self.turner, self.charger = turner, charger
        self._cells = tables(turner, rng)
        noise = coloured(RANDOM_BLOCK, (0.002, 0.02, 0.2), rng)
        self._bounce: list[float] = (turner.bounce * np.abs(noise)).tolist()
        self._bounced = 0
        self._ring_h = turner.ring_share * turner.inductance_h
        self._inductance_h = turner.inductance_h
        self._quick_h = abs(complex(self.inductance_at(PWM_HZ)))
        self.angle_rad = float(rng.uniform(0, TURN))
        self.speed_rad_s = self._ring_wb = self._bend = self._time_s = 0.0
        self._bristle = turner.dry_nm / turner.presliding_rad
        self._bristle_nms = 0.7 * math.sqrt(self._bristle * turner.inertia_kgm2)
        self.jammed = False

    def inductance_at(self, hz: float | Floats) -> NDArray[np.complex128]:
        """Inductance (complex) of the winding at frequencies."""
        turner = self.turner
        ring = self._ring_h / (1 + 2j * pi * np.asarray(hz) * turner.ring_s)
        return np.asarray(turner.inductance_h - self._ring_h + ring)

    def advance(self, drive: float, gate: bool, rail: int, dt_s: float = 0.001) -> None:
        # one loop for winding and load, because a call costs as much as the arithmetic in it
        turner, cells, bounce = self.turner, self._cells, self._bounce
        battery_v = self.source_v
        self.source_v = battery_v + self.charger.volts(self._time_s)
        self._time_s += dt_s
        steps = FINE_STEPS if self.fine else STEPS
        step_s = dt_s / steps
        source_v, source_ohm = self._source()
        live = gate and not self._broken
        volts = drive * source_v if live else 0.0
        back_v = self.bus_v + 2 * DIODE_V
        fixed_ohm, winding = self._lead_ohm + drive * drive * source_ohm, self._winding_ohm
        k, knee, drop_v, dry_nm = turner.k_si, turner.knee_a, turner.drop_v, turner.dry_nm
        inertia, viscous, extra = turner.inertia_kgm2, turner.viscous_nms, turner.stiction - 1.0
        stay, ring_h = exp(-step_s / turner.ring_s), self._ring_h
        follow = ring_h * (1.0 - (1.0 - stay) * turner.ring_s / step_s)
        swing_a = abs(volts) * (1.0 - abs(drive)) / (self._quick_h * PWM_HZ)
        top_a = self.trip_a - 0.5 * swing_a
        amps, flux, w, angle, z = self._amps, self._ring_wb, self.speed_rad_s, self.angle_rad, self._bend
        nodes, total, cut = [amps], 0.0, 0
        for n in range(steps):
            shape, bar, uneven = cells[int(angle * (CELLS / TURN)) % CELLS]
            ohm = (
                winding * (bar + bounce[(self._bounced + n * NOISE_STEPS // steps) % RANDOM_BLOCK])
                + fixed_ohm
            )
            curve = tanh(amps / knee)
            against = volts
            if not live:
                against = -back_v if amps > 0.0 else back_v
            rises = (1.0 - stay) * (ring_h * amps - flux)
            push = step_s * (against - k * shape * w - ohm * amps - drop_v * curve) - rises
            steep = ohm + drop_v / knee * (1.0 - curve * curve)
            after = amps + push / (turner.inductance_h - ring_h + 0.5 * step_s * steep + follow)
            if not live and (amps == 0.0 or after * amps <= 0.0):
                after = 0.0
            if after > top_a or after < -top_a:
                after, cut = (top_a if after > 0.0 else -top_a), cut + 1
            flux += rises + follow * (after - amps)
            mean = 0.5 * (amps + after)
            total += mean
            amps = after
            nodes.append(amps)
            if not self.jammed:
                before, low = w, w / turner.low_rad_s
                dry = dry_nm * uneven * (1.0 - turner.missing * exp(-low * low))
                flows = 0.0
                if w != 0.0:
                    flows = turner.flow_nm * uneven * exp(turner.power * log(abs(w) / turner.rated_rad_s))
                fresh = bent(z, w, dry, extra * dry, 1.0, self._bristle, step_s)
                rub = 0.5 * self._bristle * (z + fresh)
                if abs(w) < 20.0:
                    rub += self._bristle_nms * (fresh - z) / step_s
                z = fresh
                turn = k * shape * mean - rub - (flows if w > 0.0 else -flows)
                w = (inertia * w + step_s * turn) / (inertia + step_s * viscous)
                angle = (angle + 0.5 * step_s * (before + w)) % TURN
        self._bounced = (self._bounced + NOISE_STEPS) % RANDOM_BLOCK
        emf_v = k * 0.5 * (self.speed_rad_s + w)  # mean of the tick, as the converters see it
        self._amps, self._ring_wb, self.speed_rad_s, self.angle_rad, self._bend = amps, flux, w, angle, z
        cut = min(cut * 20 // steps, 20)
        self._close_tick(drive, gate, rail, dt_s, nodes, total / steps, 0.5 * swing_a, cut, emf_v)
        self.source_v = battery_v
