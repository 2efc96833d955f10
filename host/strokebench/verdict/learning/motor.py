"""A turning part's steady running, from what its diagnosis fitted: what it takes and gives at another supply.

Volts: V = R(T) I + brushes + K w, torque: K I = drag + (load - drag) (w / rated)^p. Resistance, constant,
brushes, drag, torque at rated speed and the torque gained from half of it are findings of the run; p follows
from the last. Textbook direct-current motor; the winding is copper (IEC 60228's practice).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from strokebench.physics.copper import resistance_ratio

BRUSHES_V = 0.6
"""What brushes take of a running motor (common practice)."""
RAD_TO_RPM = 30 / math.pi
NEEDED = ("loop_resistance", "motor_constant", "drag", "load_torque", "load_rise")
"""Findings of which the model is made."""


@dataclass(frozen=True)
class Motor:
    """Ohm at 20 C with the leads' share of it, V s/rad, N m, rad/s."""

    ohm: float
    lead_ohm: float
    k: float
    drag_nm: float
    load_nm: float
    power: float
    rated_rad_s: float

    def torque_nm(self, speed_rad_s: float) -> float:
        """Torque that the load takes at a speed."""
        share = max(speed_rad_s, 0.0) / self.rated_rad_s
        return self.drag_nm + (self.load_nm - self.drag_nm) * math.pow(share, self.power)

    def runs(self, volts: float, part_c: float) -> tuple[float, float]:
        """Return current in A and back-EMF in V of steady running on ``volts`` at the terminals."""
        ohm = self.lead_ohm + (self.ohm - self.lead_ohm) / resistance_ratio(part_c, 20.0)
        low, high = 0.0, max(volts, 0.1) / self.k
        for _ in range(60):
            speed = (low + high) / 2
            left_v = volts - BRUSHES_V - self.k * speed - ohm * self.torque_nm(speed) / self.k
            low, high = (speed, high) if left_v > 0 else (low, speed)
        return self.torque_nm(low) / self.k, self.k * low


def motor_of(found: Mapping[str, float], nominal: Mapping[str, float]) -> Motor | None:
    """Return the motor of a run's findings; None where one of them is not known or not possible."""
    values = [found.get(key, math.nan) for key in NEEDED]
    rated = nominal.get("rated_rpm", math.nan) / RAD_TO_RPM
    if not all(math.isfinite(value) for value in (*values, rated)):
        return None
    ohm, k, drag, load, rise = values
    gained = rise / (load - drag) if load > drag else math.nan
    if not (ohm > 0 and k > 0 and 0.05 < gained < 0.98):
        return None
    lead_ohm = min(nominal.get("lead_ohm", 0.0), ohm)
    return Motor(ohm, lead_ohm, k, drag / 1e3, load / 1e3, -math.log2(1 - gained), rated)
