"""Spread of ordinary good parts around a nominal value."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, TypeVar

import numpy as np

Nominal = TypeVar("Nominal", bound=Any)


def about(value: float, share: float, rng: np.random.Generator) -> float:
    """Return ``value`` with an ordinary tolerance: normal, standard 0.4 ``share``, never beyond ``share``."""
    return value * (1 + share * float(np.clip(rng.normal(0, 0.4), -1, 1)))


def ordinary(nominal: Nominal, rng: np.random.Generator, **shares: float) -> Nominal:
    """Return ``nominal`` (a dataclass) with each named field drawn within its share, in the order given."""
    drawn = {name: about(getattr(nominal, name), share, rng) for name, share in shares.items()}
    return replace(nominal, **drawn)
