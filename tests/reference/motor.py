"""Permanent-magnet DC motor: V = R i + L di/dt + K w, K i = J dw/dt + b w + torque."""

import math


def no_load_speed_rad_s(volts: float, resistance_ohm: float, k_si: float, friction_nm: float) -> float:
    """Speed without load when only a constant friction torque is overcome."""
    return (volts - resistance_ohm * friction_nm / k_si) / k_si


def max_shaft_power_w(volts: float, resistance_ohm: float) -> float:
    """V^2/(4R), reached at half the ideal speed."""
    return volts**2 / (4 * resistance_ohm)


def mechanical_tau_s(resistance_ohm: float, inertia_kgm2: float, k_si: float, viscous: float = 0.0) -> float:
    """Time constant of speed with the winding fed or shorted, inductance neglected."""
    return resistance_ohm * inertia_kgm2 / (k_si**2 + resistance_ohm * viscous)


def speed_gain(resistance_ohm: float, k_si: float, viscous: float) -> float:
    """Steady rad/s per volt."""
    return k_si / (k_si**2 + resistance_ohm * viscous)


def poles(
    resistance_ohm: float, inductance_h: float, inertia_kgm2: float, k_si: float, viscous: float
) -> tuple[complex, complex]:
    """Poles of volts to speed in 1/s, the slower first."""
    a = inductance_h * inertia_kgm2
    b = inductance_h * viscous + resistance_ohm * inertia_kgm2
    c = k_si**2 + resistance_ohm * viscous
    root = complex(b * b - 4 * a * c) ** 0.5
    far = -(b + root) / (2 * a)
    return c / (a * far), far


def volts_per_krpm(k_si: float) -> float:
    """K in V s/rad as volts per 1000 rpm."""
    return k_si * 1000 * 2 * math.pi / 60


def rpm_per_volt(k_si: float) -> float:
    """K in V s/rad as rpm per volt."""
    return 60 / (2 * math.pi * k_si)


def ripples_per_turn(segments: int, poles_count: int) -> int:
    """Commutation ripples in one turn, lcm(segments, poles).

    Published as 2p k/gcd(k, 2p): Vazquez-Sanchez et al., IEEE Trans. Ind. Electron. 59(3), 2012.
    """
    return math.lcm(segments, poles_count)


def rpm_from_ripple(frequency_hz: float, segments: int, poles_count: int) -> float:
    """Speed from the fundamental of the commutation ripple."""
    return 60 * frequency_hz / ripples_per_turn(segments, poles_count)
