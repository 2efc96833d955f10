"""Friction with elastic presliding for one sub-step: the LuGre model.

Canudas de Wit, Olsson, Astrom, Lischinsky, "A new model for control of systems with friction", IEEE Trans.
Automatic Control 40(3), 1995: bristles bend by z, dz/dt = v - stiffness |v| z / g(v), and pull with
stiffness z + damping dz/dt; g is the Stribeck curve.  z goes by the exact solution for constant v, which is
stable however fast the body slides.
"""

from __future__ import annotations

from math import exp

import numpy as np
from numpy.typing import NDArray


def bent(
    z: float,
    speed: float,
    coulomb: float,
    extra: float,
    stribeck_speed: float,
    stiffness: float,
    step_s: float,
) -> float:
    """Return the bristles' bend after a step at ``speed``; ``extra`` = static - Coulomb, in N or N m."""
    ratio = speed / stribeck_speed
    level = coulomb + extra * exp(-ratio * ratio)
    rate = stiffness * abs(speed) / level * step_s
    if rate < 1e-6:
        return z + speed * step_s
    end = level / stiffness if speed > 0.0 else -level / stiffness
    return end + (z - end) * exp(-rate)


def uneven(
    share: NDArray[np.float64], spread: float, length: float, rng: np.random.Generator
) -> NDArray[np.float64]:
    """Return 1 plus a Gaussian process over ``share`` of travel, of this standard deviation and length.

    A wear pattern has no period; the correlation falls as exp(-d^2 / 2 length^2).
    """
    knots = np.linspace(-0.2, 1.2, 57)
    apart = knots[:, None] - knots[None, :]
    covariance = np.exp(-0.5 * (apart / length) ** 2) + 1e-8 * np.eye(len(knots))
    wave = np.linalg.cholesky(covariance) @ rng.normal(0, 1, len(knots))
    level: NDArray[np.float64] = 1 + spread * np.interp(share, knots, wave)
    return np.maximum(level, 0.3)
