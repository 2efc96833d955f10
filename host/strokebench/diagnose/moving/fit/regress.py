"""Linear regression with noise in some of its variables, weak prior knowledge and correlated residuals.

Noise in a variable pulls its factor towards zero; its known power is taken off the normal matrix (compensated
least squares: Fuller, "Measurement Error Models", 1987, chapter 2, from memory). The covariance is that of
least squares times the residuals' integrated correlation. A factor that the data say nothing about keeps its
prior's width, so nothing has to be left out by hand.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from strokebench.diagnose.stats import Floats

ROUNDS = 4
MOST_TAKEN = 0.5
"""Noise is taken off a column up to this share of what is left of it."""
HUBER = 2.5
"""Residuals beyond so many robust sigma count less (Huber's weights)."""


@dataclass(frozen=True)
class Solved:
    """``answer`` and its ``covariance``; ``residual``: standard deviation; ``memory``: correlated rows."""

    answer: Floats
    covariance: Floats
    residual: float
    memory: float
    rows: int

    def of(self, weights: Floats) -> tuple[float, float]:
        """Return the value of a weighted sum of the factors and its standard uncertainty."""
        return float(weights @ self.answer), math.sqrt(max(float(weights @ self.covariance @ weights), 0.0))


def weak(widths: Floats) -> Floats:
    """Return the precision of factors that are zero give or take ``widths``, independent of each other."""
    return np.diag(1 / widths**2)


def solve(
    design: Floats, values: Floats, prior: Floats, noise: Floats, groups: NDArray[np.intp], overlap: float
) -> Solved:
    """Return the factors of ``design`` (rows, factors) that give ``values``.

    ``prior``: precision (inverse covariance about zero) of the factors before anything was measured;
    ``noise``: standard deviation of each column's noise; ``groups``: rows that may be correlated with their
    neighbours have the same number; ``overlap``: neighbours that share samples.
    """
    rows, count = design.shape
    weight, sigma = np.ones(rows), 1.0
    answer: Floats = np.zeros(count)
    normal: Floats = np.eye(count)
    for turn in range(ROUNDS):
        weighted = design * weight[:, None]
        normal = weighted.T @ design + (sigma if turn else _size(values)) ** 2 * prior
        normal -= _of_noise(normal, noise * math.sqrt(float(weight.sum())))
        answer = np.asarray(np.linalg.solve(normal, weighted.T @ values), float)
        left = values - design @ answer
        sigma = max(1.4826 * float(np.median(np.abs(left))), 1e-9)
        weight = np.minimum(1.0, HUBER * sigma / np.maximum(np.abs(left), 1e-12))
    left = values - design @ answer
    power = float((weight * left) @ left) / max(float(weight.sum()) - count, 1.0)
    memory = max(_memory(left, groups), overlap / 2)
    return Solved(answer, power * memory * np.linalg.inv(normal), math.sqrt(power), memory, rows)


def _of_noise(normal: Floats, noise: Floats) -> Floats:
    """Return what the columns' noise adds to the normal matrix, less where it is nearly all that is there.

    What a noisy column tells that no other does is its Schur complement; that must stay positive.
    """
    spoiled = np.flatnonzero(noise > 0)
    taken = np.zeros_like(normal)
    if len(spoiled):
        alone = np.linalg.inv(np.linalg.inv(normal)[np.ix_(spoiled, spoiled)])
        size = noise[spoiled]
        least = float(np.linalg.eigvalsh(alone / np.outer(size, size))[0])
        taken[spoiled, spoiled] = min(1.0, MOST_TAKEN * least) * size**2
    return taken


def _size(values: Floats) -> float:
    return 0.02 * float(np.std(values)) + 1e-9


def _memory(left: Floats, groups: NDArray[np.intp], longest: int = 40) -> float:
    """Return 1 + twice the sum of the residuals' correlations up to the first that is not positive."""
    power = float(left @ left) / len(left)
    total = 1.0
    for lag in range(1, min(longest, len(left) // 3)):
        same = groups[lag:] == groups[:-lag]
        if same.sum() < 10:
            break
        along = float(np.mean(left[lag:][same] * left[:-lag][same])) / power
        if along <= 0.05:
            break
        total += 2 * along
    return total
