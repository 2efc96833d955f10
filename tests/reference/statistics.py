"""Uncertainty propagated through any model (JCGM 100:2008, 5.1.2 and 5.2.2), and trials without a miss."""

import math
from collections.abc import Callable, Sequence

from strokebench.physics.gum import combined

Model = Callable[..., float]


def sensitivities(model: Model, values: Sequence[float], scales: Sequence[float]) -> list[float]:
    """Partial derivatives by central differences; `scales` are the steps."""
    found = []
    for index, step in enumerate(scales):
        if step == 0:
            found.append(0.0)
            continue
        high, low = list(values), list(values)
        high[index] += step
        low[index] -= step
        found.append((model(*high) - model(*low)) / (2 * step))
    return found


def propagate(
    model: Model,
    values: Sequence[float],
    uncertainties: Sequence[float],
    correlations: Sequence[Sequence[float]] | None = None,
) -> tuple[float, float]:
    """Value and combined standard uncertainty of model(*values), first order."""
    steps = [u * 1e-3 for u in uncertainties]
    slopes = sensitivities(model, values, steps)
    return model(*values), combined([c * u for c, u in zip(slopes, uncertainties, strict=True)], correlations)


def clean_trials_bound(trials: int, confidence: float = 0.95) -> float:
    """One-sided lower bound of reliability after `trials` without a miss (exact binomial)."""
    if trials <= 0:
        raise ValueError("need at least one trial")
    return math.pow(1 - confidence, 1 / trials)
