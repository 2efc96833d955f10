"""Dry friction with stiction for one sliding or turning body, and its variation along the travel.

The law is the Stribeck curve of Canudas de Wit et al. (IEEE Trans. Automatic Control 40(3), 1995) in its
static form: stick while the applied force is below breakaway, else Coulomb + (static - Coulomb)
exp(-(v/vs)^2) + viscous. Elastic presliding is left out: it is micrometres, far below what the bench
resolves.
"""

from __future__ import annotations

from math import exp

import numpy as np
from numpy.typing import NDArray


def slide(
    speed: float,
    net: float,
    coulomb: float,
    extra: float,
    stribeck_speed: float,
    viscous: float,
    inertia: float,
    dt_s: float,
) -> float:
    """Return the speed after ``dt_s`` under the force ``net`` (all other than friction).

    ``extra`` = static - Coulomb.  A body that would pass through zero stops there first; it starts again in
    the next step if the force is above breakaway.  Units are those of the caller (N, m/s, kg or N m, rad/s,
    kg m2).
    """
    if speed == 0.0:
        level = coulomb + extra
        if -level <= net <= level:
            return 0.0
        direction = 1.0 if net > 0.0 else -1.0
        dry = level
    else:
        direction = 1.0 if speed > 0.0 else -1.0
        ratio = speed / stribeck_speed
        dry = coulomb + extra * exp(-ratio * ratio)
    new = (inertia * speed + dt_s * (net - direction * dry)) / (inertia + dt_s * viscous)
    return new if new * direction > 0.0 else 0.0


def level_along(
    share: NDArray[np.float64], coulomb: float, uneven: float, rng: np.random.Generator
) -> NDArray[np.float64]:
    """Coulomb level over the ``share`` of travel (0..1): smooth random waves of relative size ``uneven``."""
    phases = rng.uniform(0, 2 * np.pi, 4)
    weights = rng.normal(0, 1, 4) / 2
    waves = sum(
        w * np.sin(2 * np.pi * (n + 1) * share + p)
        for n, (w, p) in enumerate(zip(weights, phases, strict=True))
    )
    level: NDArray[np.float64] = coulomb * (1 + uneven * waves)
    return level


def bump(share: NDArray[np.float64], place: float, width: float = 0.015) -> NDArray[np.float64]:
    """A bell of height 1 at ``place`` of travel, standard deviation ``width``."""
    bell: NDArray[np.float64] = np.exp(-0.5 * ((share - place) / width) ** 2)
    return bell
