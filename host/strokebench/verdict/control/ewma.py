"""The exponentially weighted moving average as a control chart, with a stated run length.

Roberts 1959, Technometrics 1; Lucas and Saccucci 1990, Technometrics 32. The run length is how many readings
pass on average until the chart signals. It comes from Crowder's integral equation (1987, Technometrics 29),
solved on Gauss-Legendre nodes.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

NODES = 61


def run_length(weight: float, width: float, shift: float = 0.0) -> float:
    """Return the average run length of a two-sided chart that begins at its middle.

    ``weight`` of the newest reading; ``width``: of the limits in standard deviations of the average once it
    has settled; ``shift`` of the readings' mean in their standard deviations.
    """
    from scipy.stats import norm

    edge = width * math.sqrt(weight / (2 - weight))
    nodes, shares = np.polynomial.legendre.leggauss(NODES)
    nodes, shares = nodes * edge, shares * edge

    def next_to(before: NDArray[np.float64]) -> NDArray[np.float64]:
        reading = (nodes[None, :] - (1 - weight) * before[:, None]) / weight
        chance: NDArray[np.float64] = shares[None, :] * norm.pdf(reading - shift) / weight
        return chance

    lengths = np.linalg.solve(np.eye(NODES) - next_to(nodes), np.ones(NODES))
    return float(1 + (next_to(np.zeros(1)) @ lengths)[0])


@lru_cache(maxsize=64)
def width_for(weight: float, length: float) -> float:
    """Return the limits' width for an average run length without a shift."""
    from scipy.optimize import brentq

    return float(brentq(lambda width: math.log(run_length(weight, width) / length), 1.0, 5.5, xtol=1e-6))


def averages(readings: NDArray[np.float64], weight: float) -> NDArray[np.float64]:
    """Return the moving average after each reading; it begins at zero, in the readings' unit."""
    found, average = [], 0.0
    for reading in readings:
        average += weight * (float(reading) - average)
        found.append(average)
    return np.array(found)
