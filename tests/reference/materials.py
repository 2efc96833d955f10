"""Copper and thermistors the other way round: what heats, melts, or lies between two points of a table."""

import math

from strokebench.physics.copper import COPPER_K_C
from strokebench.physics.ntc import ZERO_C_K

COPPER_MELTS_C = 1083.0
MM2_PER_CIRCULAR_MIL = math.pi / 4 * 0.0254**2


def fusing_current_a(area_mm2: float, time_s: float, ambient_c: float = 25.0) -> float:
    """Current that melts a wire in free space after `time_s` (Onderdonk; good below about 10 s)."""
    circular_mil = area_mm2 / MM2_PER_CIRCULAR_MIL
    rise = math.log10((COPPER_MELTS_C - ambient_c) / (234.0 + ambient_c) + 1)
    return circular_mil * math.sqrt(rise / (33 * time_s))


def temperature_from_resistance(
    resistance_ohm: float, known_ohm: float, known_c: float, k_c: float = COPPER_K_C
) -> float:
    """Mean winding temperature in C when `known_ohm` was measured at `known_c` (IEC 60034-1)."""
    if resistance_ohm <= 0 or known_ohm <= 0:
        raise ValueError("resistances must be positive")
    return (k_c + known_c) * resistance_ohm / known_ohm - k_c


def beta_between(cold_c: float, cold_ohm: float, hot_c: float, hot_ohm: float) -> float:
    """B in kelvin from two points of a table."""
    return math.log(cold_ohm / hot_ohm) / (1 / (cold_c + ZERO_C_K) - 1 / (hot_c + ZERO_C_K))
