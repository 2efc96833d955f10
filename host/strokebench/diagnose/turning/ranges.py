"""The coarse current range against the fine one, from bursts of the coarse range at currents that the fine
one read.

The chip's converter has steps (RP2040 datasheet, erratum E11) that act as an error of the slope between
them; the same steps are in bursts and rows, so what a run shows of them holds for that run's other currents
too."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from strokebench.diagnose.stats import Floats

COARSE_U = 0.006
"""Relative: +-1 % (rectangular) between the current ranges, from the steps of the chip's converter."""
OFFSET_A, POINT_A = 0.02, 0.004
"""Standard uncertainties: of the coarse range's zero, and of one comparison (curvature of the fine range,
burst)."""


@dataclass(frozen=True)
class Coarse:
    """How much more than the fine range the coarse one shows, relative, and its standard uncertainty."""

    gain: float = 0.0
    u: float = COARSE_U


def compare(fine_a: Floats, coarse_a: Floats) -> Coarse:
    """Return the ratio by a line through means of both ranges at the same time, with what is known before."""
    if not len(fine_a):
        return Coarse()
    design = np.column_stack((fine_a, np.ones(len(fine_a)))) / POINT_A
    prior = np.diag((COARSE_U**-2.0, OFFSET_A**-2.0))
    covariance = np.linalg.inv(design.T @ design + prior)
    answer = covariance @ (design.T @ ((coarse_a - fine_a) / POINT_A))
    return Coarse(float(answer[0]), math.sqrt(float(covariance[0, 0])))
