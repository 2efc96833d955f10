"""Law of propagation of uncertainty, JCGM 100:2008 (GUM), clauses 5.1.2, 5.2.2 and G.4.1."""

import math
from collections.abc import Sequence


def combined(contributions: Sequence[float], correlations: Sequence[Sequence[float]] | None = None) -> float:
    """Combined standard uncertainty of signed contributions c_i u_i; `correlations` is the full matrix."""
    if correlations is None:
        return math.hypot(*contributions)
    square = sum(
        a * b * correlations[i][j] for i, a in enumerate(contributions) for j, b in enumerate(contributions)
    )
    return math.sqrt(max(square, 0.0))


def effective_freedom(contributions: Sequence[float], freedoms: Sequence[float]) -> float:
    """Welch-Satterthwaite effective degrees of freedom; math.inf is a legal freedom."""
    total = sum(u**4 / v for u, v in zip(contributions, freedoms, strict=True))
    return math.inf if total == 0 else combined(contributions) ** 4 / total


def rectangular(half_width: float) -> float:
    """Standard uncertainty of a quantity known only to lie within +-half_width (GUM 4.3.7)."""
    return half_width / math.sqrt(3)
