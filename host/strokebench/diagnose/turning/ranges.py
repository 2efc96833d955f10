"""The coarse current range against the fine one, from bursts of the coarse range at currents that the fine
one read.

The chip's converter has steps (RP2040 datasheet, erratum E11) that act as an error of the slope between
them; the same steps are in bursts and rows, so what a run shows of them holds for that run's other currents
too."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from strokebench.data.run import Burst
from strokebench.diagnose.stats import Floats

MEETS = 1 / 16
"""Share of the fine range below and above its end: means between which the coarse range takes over in rows
beside which no burst shows the peaks. The bench fades by the peaks, which lie about so far above the mean."""
BELOW_A, BEYOND_A = 0.5, 0.2
"""So far below the first and above the last of them the share is not certain (reference bench)."""
SHARE_U = 0.08
BENT_A = 0.0025
"""Standard uncertainty of a current against another in the fine range: its converter's curvature."""
COARSE = "current_coarse"
MOST = 0.95
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


@dataclass(frozen=True)
class Reading:
    """A mean current in the fine range's amperes and its u against other currents, A; ``share`` of the coarse
    range in it, and ``u_share_a``: what that share's own uncertainty makes of the current."""

    current_a: float
    u_a: float
    share: float
    u_share_a: float


def peak_a(burst: Burst) -> float:
    """How far the peaks of most milliseconds lie above the burst's mean; noise included, so rather more than
    less."""
    count = max(round(burst.rate_hz * 1e-3), 1)
    ticks = burst.values[: len(burst.values) // count * count].reshape(-1, count)
    if not len(ticks):
        return math.inf
    return float(np.quantile(ticks.max(axis=1), MOST) - np.mean(burst.values))


@dataclass(frozen=True)
class Ranges:
    """Where the ranges meet: the fine one ends at ``limit_a``, ``finer`` is its share of the reference
    bench's."""

    limit_a: float
    finer: float

    def share(self, current_a: float) -> float:
        """Share of the coarse range in rows of a mean current, 0 within the fine one."""
        return float(np.clip((abs(current_a) / self.limit_a - 1 + MEETS) / (2 * MEETS), 0, 1))

    def all_fine(self, current_a: float, burst: Burst) -> bool:
        """True where a burst of the same time shows that no peak left the fine range."""
        return abs(current_a) + peak_a(burst) <= self.limit_a

    def read(self, rows_a: float, burst: Burst | None, coarse: Coarse) -> Reading:
        """Return a level's current from its rows' mean, or from a burst at that level where peaks leave the
        fine range: rows are then a blend that depends on each peak, a burst is all of the coarse range."""
        amps, share, u_share_a = rows_a, self.share(rows_a), 0.0
        if burst is not None and burst.channel == COARSE:
            share = 0.0 if self.all_fine(rows_a, burst) else 1.0
            amps = rows_a if share == 0 else float(np.mean(burst.values))
        elif (
            self.limit_a * (1 - MEETS) - BELOW_A * self.finer
            < abs(amps)
            < (self.limit_a * (1 + MEETS) + BEYOND_A * self.finer)
        ):
            u_share_a = SHARE_U * abs(amps - coarse.fine_a(amps, 1.0)[0])
        true_a, u_range_a = coarse.fine_a(amps, share)
        return Reading(true_a, math.hypot(BENT_A, u_range_a, u_share_a), share, u_share_a)
