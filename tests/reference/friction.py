"""Friction: the Stribeck curve and the LuGre model.

Canudas de Wit, Olsson, Astrom, Lischinsky, "A new model for control of systems with friction", IEEE Trans.
Automatic Control 40(3), 1995. Units are those of the caller (N and m/s, or N m and rad/s).
"""

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class Friction:
    """Coulomb level, breakaway level, Stribeck speed, viscous factor, bristle stiffness and damping."""

    coulomb: float
    static: float
    stribeck_speed: float
    viscous: float = 0.0
    stiffness: float = 1e5
    damping: float = 316.23


def stribeck_level(friction: Friction, speed: float) -> float:
    """Dry part of the friction at a steady speed, always positive; falls from static to Coulomb."""
    extra = friction.static - friction.coulomb
    return friction.coulomb + extra * math.exp(-((speed / friction.stribeck_speed) ** 2))


def steady_force(friction: Friction, speed: float) -> float:
    """Force at a constant speed, signed against the motion's positive direction."""
    if speed == 0:
        return 0.0
    return math.copysign(stribeck_level(friction, speed), speed) + friction.viscous * speed


def lugre_rate(friction: Friction, bristle: float, speed: float) -> float:
    """dz/dt of the bristle deflection z."""
    return speed - friction.stiffness * abs(speed) / stribeck_level(friction, speed) * bristle


def lugre_force(friction: Friction, bristle: float, speed: float) -> float:
    """Friction force for a deflection and a speed, presliding included."""
    rate = lugre_rate(friction, bristle, speed)
    return friction.stiffness * bristle + friction.damping * rate + friction.viscous * speed


def presliding_reach(friction: Friction) -> float:
    """Elastic travel before breakaway, static / stiffness."""
    return friction.static / friction.stiffness
