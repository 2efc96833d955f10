"""Wilson score interval of a proportion (E. B. Wilson, J. Am. Stat. Assoc. 22, 1927)."""

import math
from statistics import NormalDist


def wilson_interval(hits: int, trials: int, confidence: float = 0.95) -> tuple[float, float]:
    """Lower and upper end of the two-sided interval for hits out of trials, both in 0..1."""
    if trials <= 0 or not 0 <= hits <= trials:
        raise ValueError("need 0 <= hits <= trials and at least one trial")
    z = NormalDist().inv_cdf((1 + confidence) / 2)
    share = hits / trials
    centre = share + z * z / (2 * trials)
    half = z * math.sqrt(share * (1 - share) / trials + z * z / (4 * trials * trials))
    scale = 1 + z * z / trials
    return max(0.0, (centre - half) / scale), min(1.0, (centre + half) / scale)
