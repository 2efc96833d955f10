"""Thermal networks: Foster step response and the Foster form of a two-stage Cauer ladder.

Only a Cauer ladder may be cut or extended; a Foster chain is a curve fit of the whole path.
"""

import math
from collections.abc import Iterable


def foster_k_per_w(stages: Iterable[tuple[float, float]], time_s: float) -> float:
    """Thermal impedance after `time_s` for (resistance K/W, time constant s) stages."""
    return sum(r * -math.expm1(-time_s / tau) for r, tau in stages)


def cauer2_to_foster(r1: float, c1: float, r2: float, c2: float) -> list[tuple[float, float]]:
    """Foster (R, tau) pairs, the fast one first, of heat into C1, R1 to C2, R2 to ambient."""
    # Z(s) = (s r1 r2 c2 + r1 + r2) / (s^2 r1 r2 c1 c2 + s (r1 c1 + r2 c1 + r2 c2) + 1)
    a, b = r1 * r2 * c1 * c2, r1 * c1 + r2 * c1 + r2 * c2
    root = math.sqrt(b * b - 4 * a)
    fast = -(b + root) / (2 * a)
    slow = 1 / (a * fast)

    def residue(pole: float, other: float) -> float:
        return (pole * r1 * r2 * c2 + r1 + r2) / (a * (pole - other))

    return [(residue(fast, slow) / -fast, -1 / fast), (residue(slow, fast) / -slow, -1 / slow)]
