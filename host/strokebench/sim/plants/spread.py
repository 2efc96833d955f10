"""Spread of ordinary good parts around a nominal value."""

from __future__ import annotations

import numpy as np


def about(value: float, share: float, rng: np.random.Generator) -> float:
    """Return ``value`` with an ordinary tolerance: normal, standard 0.4 ``share``, never beyond ``share``."""
    return value * (1 + share * float(np.clip(rng.normal(0, 0.4), -1, 1)))
