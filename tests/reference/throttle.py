"""Static balance of a motor-driven flap with a preloaded return spring and dry friction.

Torques at the flap's shaft, K with the gear in it, angles from the rest position. The form and the example
parameters: Loh, Thanom, Pyko, Lee, "Electronic Throttle Control System", Engineering 5, 2013, 587-600.
"""

from dataclasses import dataclass


@dataclass(frozen=True)
class Flap:
    """Shaft-referred parameters: ohm, N m/A, N m/rad, N m, N m."""

    resistance_ohm: float
    k_si: float
    spring_nm_per_rad: float
    preload_nm: float
    coulomb_nm: float


def spring_torque_nm(flap: Flap, angle_rad: float) -> float:
    """Torque of the spring on the opening side of the rest position."""
    return flap.preload_nm + flap.spring_nm_per_rad * angle_rad


def hold_current_a(flap: Flap, angle_rad: float, direction: int = 0) -> float:
    """Current at an angle: direction +1 just moves open, -1 just lets it return, 0 the middle of the band."""
    return (spring_torque_nm(flap, angle_rad) + direction * flap.coulomb_nm) / flap.k_si


def hold_drive(flap: Flap, angle_rad: float, supply_v: float, direction: int = 0) -> float:
    """The same as a drive (0..1) at standstill."""
    return hold_current_a(flap, angle_rad, direction) * flap.resistance_ohm / supply_v


def loop_width_a(flap: Flap) -> float:
    """Current between opening and returning at one angle: 2 x Coulomb / K."""
    return 2 * flap.coulomb_nm / flap.k_si
