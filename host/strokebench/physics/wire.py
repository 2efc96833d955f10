"""Wire by gauge: size, resistance, drop, and what it takes to melt or overheat it.

Gauge: ASTM B258. Resistivity: IEC 60028 annealed copper, 1/58 ohm mm2/m at 20 C. Fusing: Onderdonk.
Adiabatic heating: the k factor of IEC 60364-5-54 for copper. Solid wire; stranded is 2 to 4 % higher.
"""

import math

from .copper import COPPER_K_C, resistance_ratio

RESISTIVITY_OHM_MM2_PER_M = 1 / 58


def awg_diameter_mm(gauge: float) -> float:
    """Diameter of a solid wire in mm; 0 is 1/0, -1 is 2/0."""
    return 0.127 * math.pow(92, (36 - gauge) / 39)


def awg_area_mm2(gauge: float) -> float:
    """Copper cross-section in mm2."""
    return math.pi / 4 * awg_diameter_mm(gauge) ** 2


def resistance_ohm(area_mm2: float, length_m: float, temperature_c: float = 20.0) -> float:
    """Resistance of `length_m` of copper, total length there and back if that is meant."""
    if area_mm2 <= 0:
        raise ValueError("the cross-section must be positive")
    return RESISTIVITY_OHM_MM2_PER_M * length_m / area_mm2 * resistance_ratio(20.0, temperature_c)


def drop_v(area_mm2: float, length_m: float, current_a: float, temperature_c: float = 20.0) -> float:
    """Voltage lost over `length_m` of copper."""
    return current_a * resistance_ohm(area_mm2, length_m, temperature_c)


def adiabatic_k(start_c: float, end_c: float) -> float:
    """k in A sqrt(s)/mm2 such that (k area)^2 = I2t heats copper from start to end without cooling."""
    return 226 * math.sqrt(math.log(1 + (end_c - start_c) / (COPPER_K_C + start_c)))


def withstand_i2t(area_mm2: float, start_c: float, end_c: float) -> float:
    """I2t in A2s that heats a copper conductor from `start_c` to `end_c` without cooling."""
    return (adiabatic_k(start_c, end_c) * area_mm2) ** 2
