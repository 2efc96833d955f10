"""Copper resistance against temperature.

R2/R1 = (k + T2)/(k + T1). k = 234.5 is the practice of IEC 60228 and IEEE (annealed copper, 100 % IACS);
IEC 60034-1 uses 235. The two differ by less than 0.05 % between -40 and 150 C.
"""

COPPER_K_C = 234.5
REFERENCE_C = 25.0


def resistance_ratio(from_c: float, to_c: float, k_c: float = COPPER_K_C) -> float:
    """Resistance at `to_c` over resistance at `from_c`, dimensionless."""
    if min(from_c, to_c) <= -k_c:
        raise ValueError(f"the linear copper law ends at {-k_c} C")
    return (k_c + to_c) / (k_c + from_c)


def resistance_at(
    resistance_ohm: float, from_c: float, to_c: float = REFERENCE_C, k_c: float = COPPER_K_C
) -> float:
    """A resistance measured at `from_c`, referred to `to_c` (25 C unless told otherwise), in ohms."""
    return resistance_ohm * resistance_ratio(from_c, to_c, k_c)
