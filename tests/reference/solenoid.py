"""Plunger solenoid with L(x) = L0 + a/(gap + x) against a preloaded spring.

Force = i^2/2 |dL/dx| (Fitzgerald, Kingsley, Umans, "Electric Machinery", chapter 3, from memory).
x runs from 0 (seated) to the stroke.
"""

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class Solenoid:
    """L0 in H, a in H m, gap and stroke in m, spring force when unseated in N, spring rate in N/m."""

    base_h: float
    a_hm: float
    gap_m: float
    stroke_m: float
    preload_n: float
    spring_n_per_m: float


def inductance_h(solenoid: Solenoid, position_m: float) -> float:
    """Inductance at a position."""
    return solenoid.base_h + solenoid.a_hm / (solenoid.gap_m + position_m)


def force_n(solenoid: Solenoid, current_a: float, position_m: float) -> float:
    """Pull towards the seat."""
    return current_a**2 / 2 * solenoid.a_hm / (solenoid.gap_m + position_m) ** 2


def pull_in_a(solenoid: Solenoid) -> float:
    """Static current that starts the plunger from the open end."""
    reach = solenoid.gap_m + solenoid.stroke_m
    return reach * math.sqrt(2 * solenoid.preload_n / solenoid.a_hm)


def drop_out_a(solenoid: Solenoid) -> float:
    """Static current at which the seated plunger lets go."""
    spring_n = solenoid.preload_n + solenoid.spring_n_per_m * solenoid.stroke_m
    return solenoid.gap_m * math.sqrt(2 * spring_n / solenoid.a_hm)
