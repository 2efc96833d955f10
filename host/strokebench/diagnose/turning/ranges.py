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

STEPS_U = 0.006
"""Relative: +-1 % (rectangular) between the current ranges, from the steps of the chip's converter."""
OFFSETS = 6.0
"""The coarse range's zero is off by so many times the fine one's (the ratio of their spans)."""
LEAST_OFFSET_A, POINT_A = 0.02, 0.008
"""Standard uncertainties: of the coarse range's zero at least, and of one comparison (curvature of the fine
range, burst)."""


@dataclass(frozen=True)
class Coarse:
    """What the coarse range shows beyond the fine one: ``beyond_a`` at ``pivot_a`` amperes, and ``gain`` of
    the current's distance from there. ``u`` and ``u_pivot_a``: their standard uncertainties, independent."""

    gain: float
    u: float
    pivot_a: float
    beyond_a: float
    u_pivot_a: float

    def fine_a(self, current_a: float, share: float) -> tuple[float, float]:
        """Return a current as the fine range would show it, and its u, where ``share`` came from the coarse
        one."""
        away_a = current_a - self.pivot_a
        u_a = math.hypot(self.u * away_a, self.u_pivot_a)
        return current_a - share * (self.beyond_a + self.gain * away_a), share * u_a


def compare(fine_a: Floats, coarse_a: Floats, u_gain: float, u_offset_a: float) -> Coarse:
    """Return the comparison by a line through means of both ranges at the same time, with what is known
    before: ``u_gain`` (relative) and ``u_offset_a`` are those of either range, uncertain by themselves."""
    known_gain = math.hypot(STEPS_U, math.sqrt(2) * u_gain)
    known_offset_a = max(LEAST_OFFSET_A, OFFSETS * u_offset_a)
    design = np.column_stack((fine_a, np.ones(len(fine_a)))) / POINT_A
    covariance = np.linalg.inv(design.T @ design + np.diag((known_gain**-2.0, known_offset_a**-2.0)))
    gain, offset_a = covariance @ (design.T @ ((coarse_a - fine_a) / POINT_A))
    pivot_a = -float(covariance[0, 1] / covariance[0, 0])
    u_pivot_a = math.sqrt(float(covariance[1, 1] - covariance[0, 1] ** 2 / covariance[0, 0]))
    beyond_a = float(offset_a + gain * pivot_a)
    return Coarse(float(gain), math.sqrt(float(covariance[0, 0])), pivot_a, beyond_a, u_pivot_a)
